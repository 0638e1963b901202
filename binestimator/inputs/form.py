"""Reads an input form, or any workbook of results, into a project.

What counts as given are the cells of the user; cells with defaults, formulas and results are not
read. The reviewer's overrides are kept apart: they never become part of the project. Everything is
checked as in a project file, and what is wrong is named by sheet and cell.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from pathlib import Path

from binestimator.dataclass import dataclass
from binestimator.inputs.build import build_project
from binestimator.inputs.cell_parts import TypedContent
from binestimator.inputs.cells import WorkbookFile
from binestimator.inputs.form_entries import can_review, hit_by
from binestimator.inputs.form_facts import lay_facts, read_facts
from binestimator.inputs.form_keys import (
    EVIDENCE,
    FROM_FILE,
    FROM_QUICK,
    REVIEWER,
    STATUS,
    YOURS,
    is_coordinate,
)
from binestimator.inputs.form_records import PathRecord, path_records, remarks_of, term_records
from binestimator.inputs.form_sheets import FoundTable, find_tables
from binestimator.inputs.form_terms import terms_from
from binestimator.inputs.form_things import Thing, things_of
from binestimator.inputs.form_values import as_text, joined, points_of, raw_of
from binestimator.inputs.form_words import placed
from binestimator.inputs.given import MOST, nameless
from binestimator.inputs.mapping import given_from_mapping, zone_values
from binestimator.inputs.overrides import override_place
from binestimator.inputs.paths import InputPath, item_path, parse_path
from binestimator.inputs.problems import InputErrors, Problem, Problems, printable, sentence
from binestimator.inputs.project import Project
from binestimator.inputs.schema import fields_of
from binestimator.inputs.values import check_value, did_you_mean

# Tables whose cells are inputs of things; the others are lists of paths.
_TABLES_OF_INPUTS = ("inputs", "group", "special", "zone", "candidate", "library")
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
        self._read_terms()
        self._read_facts()
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

    # -- inputs

    def _read_tables(self) -> None:
        """Inputs of all tables but those of records."""
        things = {
            name: things_of(self.tables[name], self.problems) if name in self.tables else []
            for name in _TABLES_OF_INPUTS
        }
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

    def _note_places(self, prefix: str, thing: Thing) -> None:
        """Cells of the user by the paths of their inputs; of points by coordinate and as a whole."""
        for (layer, key), place in thing.places.items():
            if layer == YOURS and key:
                self.places.setdefault(f"{prefix}{key}", place)
                if is_coordinate(key) and key in thing.table.fields:
                    head = key.rpartition(".")[0]
                    self.places.setdefault(f"{prefix}{head}", thing.place_of_points(YOURS, head))

    def _take(
        self,
        thing: Thing,
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

    def _take_review(self, thing: Thing, prefix: str, candidate: str | None = None) -> None:
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

    def _review_of_nothing(self, thing: Thing) -> None:
        for key in thing.reviewer:
            self._bad(thing.places[REVIEWER, key], "overrides an input of a line that is empty; remove it")

    def _take_remarks(self, thing: Thing) -> None:
        """Evidence and status on the lines of inputs; of points the first that is given."""
        for name in (EVIDENCE, STATUS):
            for key, content in thing.contents.get(name, {}).items():
                path, remarks = thing.field(key).path, self.raw.setdefault(name, {})
                if path not in remarks:
                    remarks[path] = as_text(content)
                    self.places[override_place(name, path)] = thing.places[name, key]

    # -- things that come in numbers

    def _zone_lines(self, things: list[Thing]) -> list[Thing]:
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

    def _take_item(self, kind: str, thing: Thing, target: list[dict], hit: set[str]) -> None:
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

    def _take_quick_zone(self, thing: Thing) -> None:
        """What is typed on a line of the quick description lies over it."""
        prefix = f"zone[{thing.name}]."
        self._note_places(prefix, thing)
        self._take(thing, prefix, {}, {f"{prefix}{key}" for key in thing.yours})
        self._take_review(thing, prefix)

    # -- candidates

    def _take_candidates(self, things: list[Thing], hit: set[str]) -> None:
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

    def _candidate(self, thing: Thing, hit: set[str]) -> dict:
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
        for record in self._records("changes"):
            candidate_id, path, raw, place = record.candidate_id, record.path, record.raw, record.place
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

    def _records(self, name: str) -> Iterator[PathRecord]:
        return path_records(self.tables[name], self.problems) if name in self.tables else iter(())

    def _paths_and_values(self, table: str, target: str) -> None:
        for record in self._records(table):
            path, raw, place = record.path, record.raw, record.place
            if path in self.raw.get(target, {}):
                self._bad(place, f"the path {printable(path[:80])} appears twice; remove one of the lines")
                continue
            self.raw.setdefault(target, {})[path] = raw
            self.places[override_place(target, path)] = place

    def _lay_underneath(self) -> None:
        """Given values under the project's own overrides: kept, though they do not count."""
        for record in self._records("underneath"):
            path, raw, place = record.path, record.raw, record.place
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
        """Evidence and status of inputs that come in numbers."""
        for remark in remarks_of(self.tables["about"], self.problems):
            target = self.raw.setdefault(remark.name, {})
            if remark.path in target:
                self._bad(remark.place, f"the {remark.name} of {printable(remark.path[:80])} appears twice; remove one")
                continue
            target[remark.path] = remark.text
            self.places[override_place(remark.name, remark.path)] = remark.place

    def _read_terms(self) -> None:
        """Terms of utilities and programmes."""
        if "terms" in self.tables:
            raw, places = terms_from(term_records(self.tables["terms"], self.problems), self.problems)
            self.raw |= raw
            self.places |= places

    def _read_facts(self) -> None:
        """The facts of a quick check: the project that follows from them lies under what the other sheets say."""
        for thing in things_of(self.tables["facts"], self.problems) if "facts" in self.tables else ():
            facts = {each.name: each for each in read_facts(thing, self.problems)}
            if facts:
                before = len(self.problems)
                lay_facts(facts, self.raw, self.places, self.problems)
                if len(self.problems) > before or any(each.wrong for each in facts.values()):
                    self._raise_if_any((), {}, "the inputs")  # what lacks a fact would lack much else

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
