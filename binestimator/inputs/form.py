"""Reads an input form, or any workbook of results, into a project.

What counts as given are the cells of the user; cells with defaults, formulas and results are not
read. The reviewer's overrides are kept apart: they never become part of the project. Everything is
checked as in a project file, and what is wrong is named by sheet and cell.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from dataclasses import field as dataclass_field
from pathlib import Path

from binestimator.errors import InputError
from binestimator.inputs.cells import WorkbookFile
from binestimator.inputs.form_content import can_review, hit_by
from binestimator.inputs.form_keys import (
    COUNTS,
    EVIDENCE,
    FROM,
    FROM_FILE,
    FROM_QUICK,
    NOT_READ,
    OTHERWISE,
    REVIEWER,
    STATUS,
    UNUSED,
    YOURS,
    FormTable,
    is_coordinate,
)
from binestimator.inputs.form_sheets import FormCell, FoundTable, find_tables
from binestimator.inputs.form_values import TypedContent, as_text, joined, points_of, raw_of
from binestimator.inputs.form_words import placed
from binestimator.inputs.paths import InputPath, item_path, parse_path
from binestimator.inputs.problems import InputErrors, Problem, Problems, printable, sentence
from binestimator.inputs.project import MOST, Project, build_project, nameless, override_place
from binestimator.inputs.read import given_from_mapping, zone_values
from binestimator.inputs.schema import Field, check_value, did_you_mean, fields_of

#: Endings of files that are taken for a form or a workbook, not for a project file.
WORKBOOK_ENDINGS = (".xlsx", ".xlsm", ".xltx", ".xltm", ".xlsb", ".xls", ".ods")


@dataclass(frozen=True, slots=True)
class Form:
    """What a form says.

    Parameters
    ----------
    project : Project
        Of the cells of the user: the claim.
    review : dict
        Path -> value that a reviewer put over it.
    reviewed : Project or None
        The project with the reviewer's overrides; None when there are none.
    """

    project: Project
    review: dict[str, object]
    reviewed: Project | None


def is_workbook(path: str | Path) -> bool:
    """Whether a file is to be read as a form or workbook: by its ending, else by its first bytes."""
    path = Path(path)
    if path.suffix.casefold() in WORKBOOK_ENDINGS:
        return True
    if path.suffix.casefold() == ".toml":
        return False
    try:
        if not path.is_file():
            return False
        with path.open("rb") as file:
            return file.read(4) in (b"PK\x03\x04", b"\xd0\xcf\x11\xe0")
    except OSError:
        return False


def read_form(path: str | Path) -> Form:
    """Read, check and complete an input form or a workbook of results.

    Parameters
    ----------
    path : str or Path
        Workbook (.xlsx). The weather file named in it is looked up from its folder; zones of a zones
        file are in the workbook and are not read from that file again.

    Returns
    -------
    Form

    Raises
    ------
    InputError
        When the file cannot be read, or with everything that is wrong in it, by sheet and cell.
    """
    path = Path(path)
    with WorkbookFile(path) as file:
        tables = find_tables(file, path.name)
    return _FormReader(tables, path).form()


@dataclass(slots=True)
class _Thing:
    """Contents of the cells of one thing, or of the inputs that occur once, and where they are.

    Parameters
    ----------
    table : FormTable
    contents : dict
        Layer -> key of an input -> content.
    places : dict
        (layer, key) -> cell, of empty ones as well.
    origin : str
        Where a line of zones comes from.
    listed_as : content or None
        Id that one of the default candidates has where the user gives none.
    """

    table: FormTable
    contents: dict[str, dict[str, TypedContent]] = dataclass_field(default_factory=dict)
    places: dict[tuple[str, str], str] = dataclass_field(default_factory=dict)
    origin: str = ""
    listed_as: TypedContent | None = None

    @property
    def yours(self) -> dict[str, TypedContent]:
        """What the user gave."""
        return self.contents.get(YOURS, {})

    @property
    def reviewer(self) -> dict[str, TypedContent]:
        """What a reviewer put over it."""
        return self.contents.get(REVIEWER, {})

    @property
    def name(self) -> object:
        """Raw name; None where it has none."""
        content = self.yours.get("name")
        return None if content is None else raw_of(fields_of("zone")["name"], content)

    @property
    def id(self) -> object:
        """Raw id of a candidate; None where it has none."""
        content = self.yours.get("id", self.listed_as)
        return None if content in (None, "required") else raw_of(fields_of("candidate")["id"], content)

    def field(self, key: str) -> Field:
        """Input of a key that is no mark of a candidate."""
        field = self.table.fields[key]
        if field is None:
            raise ValueError(f"{key} is no input")
        return field

    def place_of_points(self, layer: str, head: str) -> str:
        """Cell of the first coordinate of points that is given, else of the first that there is."""
        start = f"{head}."
        given = [key for key in self.contents.get(layer, {}) if key.startswith(start)]
        return self.places[layer, given[0]] if given else self.places[layer, f"{head}.x1"]


@dataclass(frozen=True, slots=True)
class _Points:
    """Coordinates of points that someone gave.

    Parameters
    ----------
    target : dict
        Raw table that they belong to.
    path, key : str
        Full path, and the key within that table, such as ``sat.points``.
    candidate : str or None
        Id of the candidate that they are of.
    coordinates : dict
        ``x1`` -> content.
    lies_over : bool
        An override of the project lies on the input.
    """

    target: dict
    path: str
    key: str
    candidate: str | None
    coordinates: dict[str, TypedContent]
    lies_over: bool

    def over(self, project: Project) -> object:
        """Raw points: the given coordinates over those of a project; ``none`` leaves a point out."""
        base: object = ()
        if self.candidate is None:
            base = project.value_of(self.path)
        else:
            part, _, name = self.key.partition(".")
            found = next((candidate for candidate in project.candidates if candidate.id == self.candidate), None)
            base = None if found is None else getattr(getattr(found, part), name)
        below = {
            f"{axis}{place}": value
            for place, point in enumerate(base if isinstance(base, tuple) else (), 1)
            for axis, value in zip("xy", point, strict=True)
        }
        return joined({**below, **self.coordinates})


class _FormReader:
    """Work of :func:`read_form`."""

    def __init__(self, tables: dict[str, FoundTable], path: Path):
        self.tables, self.path = tables, path
        self.problems: list[Problem] = []
        self.places: dict[str, str] = {}
        self.review_places: dict[str, str] = {}
        self.raw: dict = {}
        self.csv_zones: list[dict] = []
        self.review: dict[str, object] = {}
        self.extra: dict[str, object] = {}
        self.points: list[_Points] = []
        self.review_points: list[_Points] = []

    def form(self) -> Form:
        """The form, or one error with everything wrong."""
        self._paths_and_values("overrides", "override")
        self._read_tables()
        self._lay_underneath()
        self._read_about()
        if self.points:
            self._fill_points()
        override = self.raw.get("override", {})
        for path, value in self.extra.items():  # a value typed where an override lies comes after it
            override.pop(path, None)
            override[path] = value
        if override:
            self.raw["override"] = override
        project = self._build()
        for points in self.review_points:
            self.review[points.path] = points.over(project)
        reviewed = self._reviewed(project) if self.review else None
        review = {path: reviewed.overrides[path] for path in self.review} if reviewed is not None else {}
        return Form(project, review, reviewed)

    # -- cells

    def _bad(self, place: str, text: str) -> None:
        self.problems.append(Problem(place, text))

    def _content(self, found: FoundTable, row: int, column: int) -> TypedContent | None:
        """Content of a cell of a record; what is wrong is noted."""
        content, problem = found.read(row, column)
        if problem is not None:
            self.problems.append(problem)
        return content

    def _columns(self, found: FoundTable, *wanted: str) -> list[int]:
        for key in wanted:
            if key not in found.columns:
                raise InputError(
                    f"{self.path.name}: sheet {found.sheet.name}: the column with the key “{key}” of the table at "
                    f"{found.place} is missing; take the sheet from a new form"
                )
        return [found.columns[key] for key in wanted]

    def _things(self, name: str) -> list[_Thing]:
        """Things of a table from left to right or down; of inputs that occur once and shared settings all in one."""
        if name not in self.tables:
            return []
        found = self.tables[name]
        table = found.table
        self._check_columns(found)
        things: dict[str, _Thing] = {}
        filled: dict[int, tuple[str, str]] = {}  # row -> layer and place of its first content
        for cell in found.stream():
            spot = cell.spot
            thing = things.setdefault(spot.thing, _Thing(table))
            if spot.layer == FROM:
                thing.origin = _text_of(cell)
            elif spot.layer == OTHERWISE and spot.key == "id":
                thing.listed_as = _text_of(cell) or None
            if spot.layer in (FROM, OTHERWISE, COUNTS) or _nothing_to_review(cell):
                continue
            thing.places.setdefault((spot.layer, spot.key), cell.place)
            content, problem = cell.read()
            if problem is not None:
                self.problems.append(problem)
            if content is not None:
                if spot.layer in (YOURS, REVIEWER) or cell.row not in filled:
                    filled[cell.row] = (spot.layer, cell.place)
                if spot.key in table.fields:
                    thing.contents.setdefault(spot.layer, {}).setdefault(spot.key, content)
        if not table.things_down:
            self._check_lines(found, filled)
        return [thing for thing in things.values() if any(layer == YOURS for layer, _ in thing.places)]

    def _check_columns(self, found: FoundTable) -> None:
        """Refuse keys of columns that are not known, and columns that a user put between those of the table."""
        table = found.table
        if table.name == "inputs":
            self._columns(found, YOURS, OTHERWISE, REVIEWER, EVIDENCE, STATUS)
        elif table.name == "library":
            self._columns(found, YOURS)
        if not (table.things_across or table.things_down):
            return
        for header, column in found.columns.items():
            layer, _, more = header.partition(" ")
            if layer == COUNTS or table.spot("", 0, header) is not None or (table.things_down and layer == OTHERWISE):
                continue
            unknown = f"unknown key “{printable(header[:60])}” of a column"
            if table.things_across:
                self._bad(found.place, f"{unknown}; take the sheet from a new form")
            else:
                self._bad(found.at(found.corner[0], column), sentence(unknown, do=did_you_mean(more, table.fields)))
        if table.things_down:
            required = [name for name, field in fields_of(table.name).items() if field.required]
            self._columns(found, FROM, *(table.column_key(YOURS, key=name) for name in required))
        keyed = {*found.columns.values()}
        rows = {row for key, row in found.lines if key}
        informing = {
            column
            for (row, column), cell in found.sheet.cells.items()
            if row == found.corner[0] and cell.value == NOT_READ
        }
        if not keyed:
            return
        first, last = min(keyed), max(keyed)
        for row, column in found.sheet.cells:
            if first < column < last and row in rows and column not in keyed | informing:
                self._bad(
                    found.at(row, column),
                    "the column has no key in the line of keys, so that its content counts for nothing; "
                    "use a spare column, or remove this one",
                )
                return

    def _check_lines(self, found: FoundTable, filled: Mapping[int, tuple[str, str]]) -> None:
        """Refuse keys of lines that are not known or stand twice, and content in lines without one."""
        table, seen = found.table, dict[str, str]()
        once = found.columns.get(YOURS)
        for key, row in found.lines:
            layer, place = filled.get(row, ("", ""))
            at = place or (found.place if once is None else found.at(row, once))
            if key in table.fields:
                if key in seen and (place or table.name == "inputs"):
                    what = "setting" if table.name == "library" else "input"
                    self._bad(at, f"the {what} {key} appears twice, also at {seen[key]}; remove one of the lines")
                seen.setdefault(key, at)
            elif not key:
                if place:
                    self._bad(
                        place,
                        "the line has no key that says which input it is; remove the line or its content, or take the "
                        "sheet from a new form",
                    )
            elif (old := table.retired(key)) is not None:
                if layer in (YOURS, REVIEWER):
                    self._bad(place, sentence(old[0], key, do=old[1]))
            elif place or table.name == "inputs":
                do = did_you_mean(key, table.fields) or "take the sheet from a new form"
                self._bad(at, sentence(f"unknown key “{printable(key[:60])}” of a line", do=do))

    # -- inputs

    def _read_tables(self) -> None:
        """Inputs of all tables but those of records."""
        things = {name: self._things(name) for name in ("inputs", "group", "special", "zone", "candidate", "library")}
        given = {kind: [thing for thing in things[kind] if thing.yours] for kind in ("group", "special", "zone")}
        names: dict[str, list[object]] = {kind: [thing.name for thing in given[kind]] for kind in given}
        names["candidate"] = [thing.id for thing in things["candidate"]]
        hit = hit_by(
            self.raw.get("override", {}),
            {kind: [name for name in found if isinstance(name, str)] for kind, found in names.items()},
        )
        for kind in ("special", "group"):
            for thing in things[kind]:
                self._take_item(kind, thing, self.raw.setdefault(kind, []), hit)
        for thing in self._zone_lines(things["zone"]):
            if thing.origin == FROM_QUICK:
                self._take_quick_zone(thing)
            elif thing.origin == FROM_FILE:
                self._take_item("zone", thing, self.csv_zones, hit)
            else:
                self._take_item("zone", thing, self.raw.setdefault("zone", []), hit)
        self._take_candidates(things["candidate"], hit)
        for kind in ("special", "group", "zone", "candidate"):
            if not self.raw.get(kind, True):
                del self.raw[kind]
        for thing in things["inputs"]:
            self._note_places("", thing)
            self._take(thing, "", self.raw, hit)
            self._take_review(thing, "")
            self._take_remarks(thing)
        for thing in things["library"]:
            for head, coordinates in points_of(thing.yours).items():
                _store(self.raw, head, joined(coordinates))
                self.places[head] = thing.place_of_points(YOURS, head)
            for key, content in thing.yours.items():
                self.places[key] = thing.places[YOURS, key]
                if not is_coordinate(key):
                    _store(self.raw, key, raw_of(thing.field(key), content))

    def _note_places(self, prefix: str, thing: _Thing) -> None:
        """Cells of the user by the paths of their inputs; of points by coordinate and as a whole."""
        for (layer, key), place in thing.places.items():
            if layer == YOURS and key:
                self.places.setdefault(f"{prefix}{key}", place)
                if is_coordinate(key) and key in thing.table.fields:
                    head = key.rpartition(".")[0]
                    self.places.setdefault(f"{prefix}{head}", thing.place_of_points(YOURS, head))

    def _take(
        self,
        thing: _Thing,
        prefix: str,
        target: dict,
        hit: set[str],
        candidate: str | None = None,
        without: Iterable[str] = (),
    ) -> None:
        """Put what the user gave into a raw table, and what lies over others into the overrides."""
        for head, coordinates in points_of(thing.yours).items():
            path = f"{prefix}{head}"
            self.points.append(_Points(target, path, head, candidate, coordinates, path in hit))
        for key, content in thing.yours.items():
            if is_coordinate(key) or key in without:
                continue
            field, path = thing.field(key), f"{prefix}{key}"
            if path in hit and can_review(field):
                self._lay_over(path, raw_of(field, content), thing.places[YOURS, key])
            else:
                _store(target, key, raw_of(field, content))

    def _lay_over(self, path: str, raw: object, place: str) -> None:
        self.extra[path] = raw
        self.places[override_place("override", path)] = place

    def _take_review(self, thing: _Thing, prefix: str, candidate: str | None = None) -> None:
        """What a reviewer put over the inputs of a thing."""
        for head, coordinates in points_of(thing.reviewer).items():
            path = f"{prefix}{head}"
            self.review[path] = None  # filled in when the claimed points are known
            self.review_places[path] = thing.place_of_points(REVIEWER, head)
            self.review_points.append(_Points({}, path, head, candidate, coordinates, False))
        for key, content in thing.reviewer.items():
            if is_coordinate(key):
                continue
            field, place = thing.table.fields[key], thing.places[REVIEWER, key]
            if field is None:
                self._bad(place, "this input cannot be overridden; leave the cell empty")
            elif not can_review(field):
                self._bad(
                    place,
                    "this input cannot be overridden; leave the cell empty, and have the value itself changed",
                )
            else:
                self.review[f"{prefix}{key}"] = raw_of(field, content)
                self.review_places[f"{prefix}{key}"] = place

    def _review_of_nothing(self, thing: _Thing) -> None:
        for key in thing.reviewer:
            self._bad(thing.places[REVIEWER, key], "overrides an input of a line that is empty; remove it")

    def _take_remarks(self, thing: _Thing) -> None:
        """Evidence and status on the lines of inputs; of points the first that is given."""
        for name in (EVIDENCE, STATUS):
            for key, content in thing.contents.get(name, {}).items():
                path, remarks = thing.field(key).path, self.raw.setdefault(name, {})
                if path not in remarks:
                    remarks[path] = as_text(content)
                    self.places[override_place(name, path)] = thing.places[name, key]

    # -- things that come in numbers

    def _zone_lines(self, things: list[_Thing]) -> list[_Thing]:
        """Lines of zones with content, as many as may be."""
        lines = [thing for thing in things if thing.yours or thing.reviewer]
        most = 2 * MOST["zone"]  # those of the quick description are here as well
        if len(lines) > most:
            self._bad(
                next(iter(lines[most].places.values())),
                f"more than {most} lines of zones; expected at most {MOST['zone']}; join alike zones by their "
                "multiplier",
            )
        return lines[:most]

    def _take_item(self, kind: str, thing: _Thing, target: list[dict], hit: set[str]) -> None:
        """Put a thing into the raw list of its kind."""
        if not thing.yours:
            self._review_of_nothing(thing)
            return
        name, index = thing.name, len(target)
        shown = name if isinstance(name, str) and name else nameless(index)
        for each in (shown, nameless(index)):
            self._note_places(f"{kind}[{each}].", thing)
        self.places.setdefault(f"{kind}[{shown}]", thing.places[YOURS, "name"])
        values: dict[str, object] = {}
        self._take(thing, f"{kind}[{shown}].", values, hit)
        target.append(values)
        self._take_review(thing, f"{kind}[{shown}].")

    def _take_quick_zone(self, thing: _Thing) -> None:
        """What is typed on a line of the quick description lies over it."""
        prefix = f"zone[{thing.name}]."
        self._note_places(prefix, thing)
        self._take(thing, prefix, {}, {f"{prefix}{key}" for key in thing.yours})
        self._take_review(thing, prefix)

    # -- candidates

    def _take_candidates(self, things: list[_Thing], hit: set[str]) -> None:
        listed: list[tuple[float, int, dict]] = []
        for at, thing in enumerate(things):
            if not thing.yours:
                if thing.id is None:
                    self._review_of_nothing(thing)
                else:
                    self._take_review(thing, f"candidate[{thing.id}].", str(thing.id))
                continue
            place = thing.yours.get("listed")
            if place is not None and (isinstance(place, bool) or not isinstance(place, float)):
                self._bad(
                    thing.places[YOURS, "listed"],
                    sentence("not a place in the list", place, "a whole number, or nothing"),
                )
                place = None
            listed.append((float("inf") if place is None else place, at, self._candidate(thing, hit)))
        listed.sort(key=lambda entry: entry[:2])
        if not listed:
            return
        self.raw["candidate"] = [table for _, _, table in listed]
        for index, (_, at, _) in enumerate(listed):  # one whose id cannot be used is called by its place
            self._note_places(f"candidate[{nameless(index)}].", things[at])
            self.places.setdefault(f"candidate[{nameless(index)}]", things[at].places.get((YOURS, "id"), ""))
        self._read_changes()

    def _candidate(self, thing: _Thing, hit: set[str]) -> dict:
        """Raw table of a candidate."""
        table: dict = {} if thing.id is None else {"id": thing.id}
        name = str(thing.id)
        prefix = f"candidate[{name}]."
        self.places.setdefault(f"candidate[{name}]", thing.places.get((YOURS, "id"), ""))
        self._note_places(prefix, thing)
        if "baseline" in thing.yours:
            table["baseline"] = raw_of(fields_of("zone")["reheat"], thing.yours["baseline"])
        self._take(thing, prefix, table, hit, name, without=("id", "listed", "baseline"))
        self._take_review(thing, prefix, name)
        return table

    def _read_changes(self) -> None:
        """What candidates change besides their setpoints."""
        for candidate_id, path, raw, place in self._path_lines("changes"):
            target = next((table for table in self.raw["candidate"] if table.get("id") == candidate_id), None)
            if target is None:
                ids = [str(table.get("id")) for table in self.raw["candidate"]]
                self._bad(
                    place,
                    sentence(
                        "no candidate of this id is listed above", candidate_id, do=did_you_mean(candidate_id, ids)
                    ),
                )
                continue
            target.setdefault("override", {})[path] = raw
            self.places[override_place(f"candidate[{candidate_id}].override", path)] = place
            self.places.setdefault(f"candidate[{candidate_id}].override", place)

    def _fill_points(self) -> None:
        """Lines of candidates and of inputs from the coordinates that are given and those that count otherwise.

        What counts otherwise is found by completing the project without these lines; formulas in
        the file, or what they may have given, are not trusted.
        """
        given, overrides = given_from_mapping(self._without_zones_file(), self.path.parent, Problems())
        bare = build_project(given, overrides, Problems(), source_path="", source_dir="", try_candidates=False)
        for points in self.points:
            raw = points.over(bare)
            if points.lies_over:
                self._lay_over(points.path, raw, self.places[points.path])
            else:
                _store(points.target, points.key, raw)

    def _without_zones_file(self) -> dict:
        """The mapping without the name of a zones file, so that it is not read."""
        project = {name: value for name, value in self.raw.get("project", {}).items() if name != "zones_csv"}
        return {**self.raw, "project": project} if "project" in self.raw else self.raw

    # -- records

    def _path_lines(self, name: str) -> Iterator[tuple[str, str, object, str]]:
        """(candidate id, path, raw value, place) of a table of paths."""
        found = self.tables.get(name)
        if found is None:
            return
        keys = ["path", YOURS] if name != "changes" else ["id", "path", YOURS]
        columns = self._columns(found, *keys)
        for _, row in found.lines:
            contents = [self._content(found, row, column) for column in columns]
            if all(content is None for content in contents):
                continue
            place = found.at(row, columns[-1])
            lacking = [key for key, content in zip(keys, contents, strict=True) if content is None]
            given = [content for content in contents if content is not None]
            if lacking:
                self._bad(place, f"the line lacks its {' and '.join(lacking)}; fill in the whole line or empty it")
                continue
            *texts, path = (as_text(text) for text in given[:-1])
            parsed, _ = parse_path(path)
            raw = raw_of(parsed.field, given[-1]) if parsed is not None else given[-1]
            yield texts[0] if texts else "", path, raw, place

    def _paths_and_values(self, table: str, target: str) -> None:
        for _, path, raw, place in self._path_lines(table):
            if path in self.raw.get(target, {}):
                self._bad(place, f"the path {printable(path[:80])} appears twice; remove one of the lines")
                continue
            self.raw.setdefault(target, {})[path] = raw
            self.places[override_place(target, path)] = place

    def _lay_underneath(self) -> None:
        """Given values under the project's own overrides: kept, though they do not count."""
        for _, path, raw, place in self._path_lines("underneath"):
            parsed, problem = parse_path(path)
            if parsed is None:
                self._bad(place, problem or "")
                continue
            target = self._table_of(parsed)
            if target is None:
                continue  # the thing was removed
            if parsed.field.name not in target:
                target[parsed.field.name] = raw
                full = item_path(parsed.kind, parsed.name, parsed.tail) if parsed.name else parsed.field.path
                self.places[full] = place

    def _table_of(self, parsed: InputPath) -> dict | None:
        if parsed.name is None:
            return self.raw.setdefault(parsed.kind, {})
        key = "id" if parsed.kind == "candidate" else "name"
        lines = [*self.raw.get(parsed.kind, []), *(self.csv_zones if parsed.kind == "zone" else [])]
        found = next((line for line in lines if line.get(key) == parsed.name), None)
        return found if found is None or parsed.part is None else found.setdefault(parsed.part, {})

    def _read_about(self) -> None:
        found = self.tables["about"]
        path_column, evidence, status = self._columns(found, "path", EVIDENCE, STATUS)
        for _, row in found.lines:
            path, *texts = (self._content(found, row, column) for column in (path_column, evidence, status))
            if path is None and texts == [None, None]:
                continue
            if not isinstance(path, str) or texts == [None, None]:
                self._bad(
                    found.at(row, path_column),
                    "the line needs the path of an input, such as zone.*.max_cfm, and evidence or status",
                )
                continue
            for name, column, text in zip((EVIDENCE, STATUS), (evidence, status), texts, strict=True):
                if text is None:
                    continue
                target = self.raw.setdefault(name, {})
                if path in target:
                    self._bad(found.at(row, column), f"the {name} of {printable(path[:80])} appears twice; remove one")
                    continue
                target[path] = as_text(text)
                self.places[override_place(name, path)] = found.at(row, column)

    # -- the project

    def _build(self) -> Project:
        problems = Problems(in_cells=True)
        zones_csv = self.raw.get("project", {}).get("zones_csv")
        given, overrides = given_from_mapping(self._without_zones_file(), self.path.parent, problems)
        if zones_csv is not None:
            value, problem = check_value(fields_of("project")["zones_csv"], zones_csv, in_cell=True)
            if problem:
                problems.add_bad("project.zones_csv", problem)
            elif value is not None or zones_csv == "none":
                given.sections.setdefault("project", {})["zones_csv"] = value
        if len(given.zones) + len(self.csv_zones) > MOST["zone"]:
            problems.add_bad(
                "zone",
                sentence(f"too many: {len(given.zones) + len(self.csv_zones)}", expected=f"at most {MOST['zone']}"),
            )
        else:
            given.csv_zones = zone_values(problems, self.csv_zones, len(given.zones))
        project = build_project(
            given,
            overrides,
            problems,
            source_path=self.path.name,
            source_dir=str(self.path.parent),
            try_candidates=True,
        )
        self._raise_if_any(problems.items, self.places, "the inputs")
        return project

    def _reviewed(self, project: Project) -> Project:
        places = {**self.places, **self.review_places}
        places |= {override_place("override", path): place for path, place in self.review_places.items()}
        try:
            return project.with_overrides(self.review, in_cells=True)
        except InputErrors as error:
            self._raise_if_any(error.problems, places, "the reviewer's overrides")
            raise

    def _raise_if_any(self, items: Iterable[Problem], places: Mapping[str, str], what: str) -> None:
        found = list(dict.fromkeys([*self.problems, *(placed(problem, places) for problem in items)]))
        if found:
            noun = "problem" if len(found) == 1 else "problems"
            raise InputErrors(f"{self.path.name}: {len(found)} {noun} in {what}", tuple(found))


def _store(target: dict, key: str, raw: object) -> None:
    """Put a raw value into nested tables: ``sat.demand.max_f``."""
    *outer, name = key.split(".")
    for part in outer:
        target = target.setdefault(part, {})
    target[name] = raw


def _text_of(cell: FormCell) -> str:
    """Text of a cell that the program wrote; empty for anything else."""
    found = cell.cell
    return found.value if found is not None and found.kind == "text" and isinstance(found.value, str) else ""


def _nothing_to_review(cell: FormCell) -> bool:
    """Whether a reviewer's cell is as it was written: blocked, or a name as a heading."""
    found, spot = cell.cell, cell.spot
    return (
        spot.layer == REVIEWER
        and found is not None
        and (found.value == UNUSED or (spot.key in ("id", "name") and found.kind == "formula"))
    )
