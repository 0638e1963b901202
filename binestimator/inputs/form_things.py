"""Things that the tables of a form hold, with what stands in their cells, layer by layer."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import field as dataclass_field

from binestimator.dataclass import dataclass
from binestimator.inputs.cell_parts import TypedContent
from binestimator.inputs.form_keys import (
    COUNTS,
    EVIDENCE,
    FROM,
    NOT_READ,
    OTHERWISE,
    REVIEWER,
    STATUS,
    UNUSED,
    YOURS,
    FormTable,
)
from binestimator.inputs.form_sheets import FormCell, FoundTable
from binestimator.inputs.form_values import raw_of
from binestimator.inputs.problems import Problem, printable, sentence
from binestimator.inputs.schema import Field, fields_of
from binestimator.inputs.values import did_you_mean


@dataclass(slots=True)
class Thing:
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


def things_of(found: FoundTable, problems: list[Problem]) -> list[Thing]:
    """Things of a table from left to right or down; of inputs that occur once and shared settings all in one.

    Parameters
    ----------
    found : FoundTable
    problems : list of Problem
        Takes what is wrong with cells and keys.

    Raises
    ------
    InputError
        A column is missing that has to be there.
    """
    table = found.table
    _check_columns(found, problems)
    things: dict[str, Thing] = {}
    filled: dict[int, tuple[str, str]] = {}  # row -> layer and place of its first content
    for cell in found.stream():
        spot = cell.spot
        thing = things.setdefault(spot.thing, Thing(table))
        if spot.layer == FROM:
            thing.origin = _text_of(cell)
        elif spot.layer == OTHERWISE and spot.key == "id":
            thing.listed_as = _text_of(cell) or None
        if spot.layer in (FROM, OTHERWISE, COUNTS) or _nothing_to_review(cell):
            continue
        thing.places.setdefault((spot.layer, spot.key), cell.place)
        content, problem = cell.read()
        if problem is not None:
            problems.append(problem)
        if content is not None:
            if spot.layer in (YOURS, REVIEWER) or cell.row not in filled:
                filled[cell.row] = (spot.layer, cell.place)
            if spot.key in table.fields:
                thing.contents.setdefault(spot.layer, {}).setdefault(spot.key, content)
    if not table.things_down:
        _check_lines(found, filled, problems)
    return [thing for thing in things.values() if any(layer == YOURS for layer, _ in thing.places)]


def _check_columns(found: FoundTable, problems: list[Problem]) -> None:
    """Refuse keys of columns that are not known, and columns that a user put between those of the table."""
    table = found.table
    if table.name == "inputs":
        found.needed(YOURS, OTHERWISE, REVIEWER, EVIDENCE, STATUS)
    elif table.name in ("library", "facts"):
        found.needed(YOURS)
    if not (table.things_across or table.things_down):
        return
    for header, column in found.columns.items():
        layer, _, more = header.partition(" ")
        if layer == COUNTS or table.spot("", 0, header) is not None or (table.things_down and layer == OTHERWISE):
            continue
        unknown = f"unknown key “{printable(header[:60])}” of a column"
        if table.things_across:
            _bad(problems, found.place, f"{unknown}; take the sheet from a new form")
        else:
            _bad(problems, found.at(found.corner[0], column), sentence(unknown, do=did_you_mean(more, table.fields)))
    if table.things_down:
        required = [name for name, field in fields_of(table.name).items() if field.required]
        found.needed(FROM, *(table.column_key(YOURS, key=name) for name in required))
    keyed = {*found.columns.values()}
    rows = {row for key, row in found.lines if key}
    informing = {
        column for (row, column), cell in found.sheet.cells.items() if row == found.corner[0] and cell.value == NOT_READ
    }
    if not keyed:
        return
    first, last = min(keyed), max(keyed)
    for row, column in found.sheet.cells:
        if first < column < last and row in rows and column not in keyed | informing:
            _bad(
                problems,
                found.at(row, column),
                "the column has no key in the line of keys, so that its content counts for nothing; "
                "use a spare column, or remove this one",
            )
            return


def _check_lines(found: FoundTable, filled: Mapping[int, tuple[str, str]], problems: list[Problem]) -> None:
    """Refuse keys of lines that are not known or stand twice, and content in lines without one."""
    table, seen = found.table, dict[str, str]()
    once = found.columns.get(YOURS)
    for key, row in found.lines:
        layer, place = filled.get(row, ("", ""))
        at = place or (found.place if once is None else found.at(row, once))
        if key in table.fields:
            if key in seen and (place or table.name == "inputs"):
                what = "setting" if table.name == "library" else "input"
                _bad(problems, at, f"the {what} {key} appears twice, also at {seen[key]}; remove one of the lines")
            seen.setdefault(key, at)
        elif not key:
            if place:
                _bad(
                    problems,
                    place,
                    "the line has no key that says which input it is; remove the line or its content, or take the "
                    "sheet from a new form",
                )
        elif (old := table.retired(key)) is not None:
            if layer in (YOURS, REVIEWER):
                _bad(problems, place, sentence(old[0], key, do=old[1]))
        elif place or table.name == "inputs":
            do = did_you_mean(key, table.fields) or "take the sheet from a new form"
            _bad(problems, at, sentence(f"unknown key “{printable(key[:60])}” of a line", do=do))


def _bad(problems: list[Problem], place: str, text: str) -> None:
    problems.append(Problem(place, text))


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
