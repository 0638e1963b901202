"""What an input form says about a project, cell by cell, without saying where on a sheet.

Layers and keys are those of :mod:`binestimator.inputs.form_keys`. Writers place this content,
:mod:`binestimator.inputs.form` reads it.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

from binestimator.inputs.build import build_project
from binestimator.inputs.defaults import default_formula, rules
from binestimator.inputs.follows import default_lines, followed, follows_template, used_by
from binestimator.inputs.form_entries import Entry, FormContent, Item, can_review, hit_by
from binestimator.inputs.form_keys import FROM_DEFAULT, FROM_FILE, FROM_PROJECT, FROM_QUICK, UNUSED
from binestimator.inputs.form_terms import term_lines
from binestimator.inputs.form_values import Content, cell_of, digits
from binestimator.inputs.given import DEFAULT_CANDIDATES, Given
from binestimator.inputs.paths import item_path, known_path
from binestimator.inputs.problems import Problems
from binestimator.inputs.project import Project, source_of
from binestimator.inputs.schema import SECTIONS, SINGLE_SECTIONS, STRATEGY_SECTIONS, Field, fields_of


def empty_project() -> Project:
    """Project of someone who has given nothing yet: to write an empty form from, nothing else."""
    return build_project(Given(), {}, Problems(), source_path="", source_dir=".", try_candidates=False)


def form_content(
    project: Project, sizes: Mapping[str, tuple[float, str, str]] | None = None, spare_points: int = 1
) -> FormContent:
    """Content of the form of a project.

    Parameters
    ----------
    project : Project
    sizes : mapping, optional
        Path -> (value, unit, origin) of a run: sizes found there count where none is given.
    spare_points : int
        Points that lines leave room for beyond those there are.

    Returns
    -------
    FormContent
    """
    return _Content(project, sizes or {}, spare_points).content


class _Content:
    """Work of :func:`form_content`."""

    def __init__(self, project: Project, sizes, spare_points: int):
        self.project, self.sizes, self.spare_points = project, sizes, spare_points
        self.content = FormContent()
        self.names = {
            "special": [record.name for record in project.specials],
            "group": [record.name for record in project.groups],
            "zone": [record.name for record in project.zones],
            "candidate": [record.id for record in project.candidates],
        }
        self.hit = hit_by(project.overrides, self.names)
        self._count_points()
        given = project.given
        for section in SECTIONS:
            if section in SINGLE_SECTIONS:
                values, record = given.sections.get(section, {}), project.section(section)
                for field in fields_of(section).values():
                    entry = self._entry(field.path, field, values, getattr(record, field.name))
                    if field.type != "points":
                        self.content.singles.append(entry)
                        continue
                    laid_over = field.path in self.hit
                    own = (values[field.name] or ()) if field.name in values and not laid_over else None
                    base = getattr(record, field.name) if laid_over else field.default
                    self.content.singles += self._split(entry, own, base).values()
        self.content.groups = self._items("group", project.groups, given.groups)
        self.content.specials = self._items("special", project.specials, given.specials)
        self._zones()
        self._library()
        self._candidates()
        self.content.overrides = [(path, self._content_at(path, value)) for path, value in project.overrides.items()]
        self._about()
        self.content.terms = term_lines(given.terms)

    # -- entries

    def _entry(self, path: str, field: Field, given: Mapping, value: object) -> Entry:
        """Entry of an input with what was given in its table and the value that the project holds."""
        origin = self.project.origins.get(path, "default")
        yours = cell_of(field, given[field.name]) if field.name in given else None
        sized = self.sizes[path][0] if value is None and path in self.sizes and self.sizes[path][2] == "sized" else None
        if path in self.hit:
            if yours is not None:
                self.content.underneath.append((path, yours))
            counts = cell_of(field, value) if sized is None else float(sized)
            return Entry(path, field, None, counts, "override", "overridden by the project", can_review(field))
        default, reason = self.project.default_of(field)
        follows = self._default_formula(path)
        if yours is not None and sized is None:  # a size of "none" is none: the size that was found takes its place
            otherwise, kind = (
                ("required", "required")
                if field.required
                else (UNUSED if default == "" else cell_of(field, default), "default")
            )
            return Entry(
                path, field, yours, otherwise, kind, "" if field.required else reason, can_review(field), follows
            )
        if sized is not None:
            return Entry(
                path,
                field,
                None,
                float(sized),
                "sized",
                "sized once from the as-found run, then held",
                can_review(field),
            )
        if value is None and field.required:
            return Entry(path, field, None, "required", "required", "", can_review(field))
        kind = "derived" if origin == "derived" else "default"
        source = reason if kind == "default" else source_of(kind, field)
        return Entry(
            path,
            field,
            None,
            UNUSED if value == "" else cell_of(field, value),
            kind,
            source,
            can_review(field),
            follows,
        )

    def _default_formula(self, path: str) -> str:
        """Template of a default that follows from other cells; of strategies it does from none."""
        if path not in rules() or path.partition(".")[0] in STRATEGY_SECTIONS:
            return ""
        # An override of "none" leaves nothing given: the cell shows the size that was found.
        given = [hit for hit in self.hit if hit not in self.sizes or self.sizes[hit][2] != "sized"]
        return default_formula(path, {"climate": self.project.climate or None}, given)

    def _items(self, kind: str, records, given: list[dict]) -> list[Item]:
        return [
            Item(
                record.name,
                FROM_PROJECT,
                {
                    field.name: self._entry(
                        item_path(kind, record.name, field.name), field, values, getattr(record, field.name)
                    )
                    for field in fields_of(kind).values()
                },
            )
            for record, values in zip(records, given, strict=True)
        ]

    def _zones(self) -> None:
        given = self.project.given
        lines = [(FROM_PROJECT, values) for values in given.zones] + [(FROM_FILE, values) for values in given.csv_zones]
        quick = len(self.project.zones) - len(lines)
        lines = [(FROM_QUICK, {})] * quick + lines
        for record, (origin, values) in zip(self.project.zones, lines, strict=True):
            self.content.zones.append(
                Item(
                    record.name,
                    origin,
                    {
                        field.name: self._entry(
                            item_path("zone", record.name, field.name), field, values, getattr(record, field.name)
                        )
                        for field in fields_of("zone").values()
                    },
                )
            )

    # -- strategies

    def _count_points(self) -> None:
        for part in STRATEGY_SECTIONS:
            for field in fields_of(part).values():
                if field.type == "points":
                    lists = [getattr(getattr(c, part), field.name) for c in self.project.candidates]
                    lists += [values.get(field.name) for values in self.project.given.library[part].values()]
                    lists += [c.get(part, {}).get(field.name) for c in self.project.given.candidates]
                    most = max((len(points) for points in lists if points), default=0)
                    # A shorter line says "none" where the line that counts otherwise, of two points, has one more.
                    least = 2 if most and field.name == "points" else 1
                    self.content.points[f"{part}.{field.name}"] = max(most, least) + self.spare_points
        for section in SINGLE_SECTIONS:
            for field in fields_of(section).values():
                if field.type == "points":
                    lists = [
                        getattr(self.project.section(section), field.name),
                        self.project.given.sections.get(section, {}).get(field.name),
                    ]
                    self.content.points[field.path] = (
                        max((len(points) for points in (*lists, field.default) if points), default=2)
                        + self.spare_points
                    )

    def _split(self, entry: Entry, yours, otherwise, sources=None) -> dict[str, Entry]:
        """Entries of the coordinates of points.

        A coordinate of yours that is ``none`` leaves out the point that counts otherwise.
        """
        name = f"{entry.field.section}.{entry.field.name}"
        entries: dict[str, Entry] = {}
        for place in range(self.content.points[name]):
            for axis, letter in enumerate("xy"):
                there = otherwise is not None and place < len(otherwise)
                base = float(otherwise[place][axis]) if there else UNUSED
                own = None
                if yours is not None:
                    own = float(yours[place][axis]) if place < len(yours) else ("none" if there or not yours else None)
                key = f"{letter}{place + 1}"
                follows = sources[place][axis] if sources else ""
                entries[key] = Entry(
                    f"{entry.path}.{key}", entry.field, own, base, entry.kind, entry.source, entry.can_review, follows
                )
        return entries

    def _library(self) -> None:
        for part in STRATEGY_SECTIONS:
            for strategy in fields_of(part)["strategy"].choices:
                given = self.project.given.library[part].get(strategy, {})
                for field in fields_of(part).values():
                    if field.name == "strategy" or not used_by(field, strategy):
                        continue
                    path = f"{part}.{strategy}.{field.name}"
                    value = given.get(field.name)
                    yours = cell_of(field, value) if field.name in given else None
                    default, reason = self.project.default_of(field)
                    entry = Entry(path, field, yours, cell_of(field, default), "default", reason, False)
                    if field.type == "points":
                        own = (value or ()) if field.name in given else None  # none: every coordinate says so
                        self.content.library += self._split(entry, own, None).values()
                    else:
                        self.content.library.append(entry)

    def _candidates(self) -> None:
        listed = {values.get("id"): values for values in self.project.given.candidates}
        order = list(listed)
        for candidate in self.project.candidates:
            given = listed.get(candidate.id, {})
            entries: dict[str, Entry] = {}
            for field in fields_of("candidate").values():
                path = item_path("candidate", candidate.id, field.name)
                entry = self._entry(path, field, given, getattr(candidate, field.name))
                if field.name == "id" and candidate.id not in listed:
                    entry = Entry(path, field, None, candidate.id, "default", "", False)
                elif field.name == "name" and entry.kind == "required" and candidate.id in DEFAULT_CANDIDATES:
                    entry = Entry(path, field, entry.yours, DEFAULT_CANDIDATES[candidate.id][0], "default", "", False)
                entries[field.name] = entry
            for part in STRATEGY_SECTIONS:
                entries |= self._part_entries(candidate, part, given.get(part, {}))
            origin = FROM_PROJECT if candidate.id in listed else FROM_DEFAULT
            place = order.index(candidate.id) + 1 if candidate.id in listed else None
            self.content.candidates.append(Item(candidate.id, origin, entries, given.get("baseline"), place))
            self.content.changes += [
                (candidate.id, path, self._content_at(path, value)) for path, value in given.get("override", {}).items()
            ]

    def _part_entries(self, candidate, part: str, given: Mapping) -> dict[str, Entry]:
        """Entries of the strategy inputs of a candidate, with what they follow from."""
        record = getattr(candidate, part)
        strategy = record.strategy
        library = self.project.given.library[part].get(strategy, {})
        resolved = followed(part, strategy, self.project.value_of)
        entries: dict[str, Entry] = {}
        for field in fields_of(part).values():
            path = item_path("candidate", candidate.id, f"{part}.{field.name}")
            key = f"{part}.{field.name}"
            used = used_by(field, strategy)
            own = given.get(field.name)
            yours = cell_of(field, own) if field.name in given else None
            follows, points_follow = "", None
            if path in self.hit:
                if yours is not None:
                    self.content.underneath.append((path, yours))
                own, yours, value, kind, source = (
                    None,
                    None,
                    getattr(record, field.name),
                    "override",
                    "overridden by the project",
                )
            elif field.name == "strategy":
                value, kind, source = strategy, "default", ""
                default = DEFAULT_CANDIDATES.get(candidate.id)
                if yours is not None:
                    value = default[1 + STRATEGY_SECTIONS.index(part)] if default else "required"
            else:
                unset = field.name in given and own is None  # also what the shared settings say
                if field.type == "points":
                    points_follow = _points_follow(field, strategy, self.content.points[key])
                else:
                    follows = _follows(field, strategy, self.project.default_of(field)[0], not unset)
                if not unset and library.get(field.name) is not None:
                    value, kind, source = library[field.name], "derived", f"settings of {part}.{strategy} below"
                elif resolved.get(field.name) is not None:
                    value, kind, source = (
                        resolved[field.name],
                        "derived",
                        "from the limits and design values of the project",
                    )
                else:
                    (value, source), kind = self.project.default_of(field), "default"
            content = "required" if value == "required" else cell_of(field, value) if used else UNUSED
            entry = Entry(
                path,
                field,
                yours,
                content,
                kind,
                source,
                can_review(field) and used,
                follows if used else "",
            )
            if not used and yours is None:
                entry = replace(entry, kind="unused", source="")
            if field.type != "points":
                entries[key] = entry
                continue
            given_points = (own or ()) if field.name in given and path not in self.hit else None
            split = self._split(entry, given_points, value if used else None, points_follow if used else None)
            entries |= {f"{key}.{name}": part_entry for name, part_entry in split.items()}
        return entries

    # -- paths

    def _content_at(self, path: str, value: object) -> Content:
        parsed = known_path(path)
        return cell_of(parsed.field, value)

    def _about(self) -> None:
        """Evidence and status: on the line of an input that occurs once, else in a table in their order."""
        given, content = self.project.given, self.content
        once = {field.path for section in SINGLE_SECTIONS for field in fields_of(section).values()}
        for table, target in ((given.evidence, content.evidence), (given.status, content.status)):
            canonical = [known_path(path).field.path for path in table if known_path(path).kind in SINGLE_SECTIONS]
            target.update({path: text for path, text in table.items() if path in once and canonical.count(path) == 1})
        for path in dict.fromkeys([*given.evidence, *given.status]):
            evidence = None if path in content.evidence else given.evidence.get(path)
            status = None if path in content.status else given.status.get(path)
            if evidence is not None or status is not None:
                content.about.append((path, evidence, status))


def _follows(field: Field, strategy: str, default: object, shares: bool) -> str:
    """Template of what counts otherwise for an input of a candidate that is one cell.

    The settings shared by candidates come first, then what follows from the project, then the default.
    """
    shared = f"{{{field.section}.{strategy}.{field.name}}}"
    other = follows_template(field) or (digits(default) if isinstance(default, float) else '"none"')
    return f"IF(ISNUMBER({shared}),{shared},{other})" if shares else other


def _points_follow(field: Field, strategy: str, places: int) -> list[tuple[str, str]]:
    """Templates of x and y of what counts otherwise for the points of a candidate, from the same in turn."""
    shared = f"{field.section}.{strategy}.{field.name}"
    line = default_lines().get((field.section, strategy))
    own = line.templates() if line is not None and field.name == "points" else ()
    pairs = []
    for place in range(places):
        others = (digits(own[place][0]), own[place][1]) if place < len(own) else (f'"{UNUSED}"',) * 2
        x, y = (
            f'IF(COUNT({{{shared}.x1}},{{{shared}.y1}})=0,{other},IF({cell}<>"",{cell},"{UNUSED}"))'
            for other, cell in zip(others, (f"{{{shared}.{axis}{place + 1}}}" for axis in "xy"), strict=True)
        )
        pairs.append((x, y))
    return pairs
