"""Where the cells of an input form are, in forms and in workbooks of results alike.

The registry of addresses: a path leads to the cell that *counts* (what formulas read) and to the
cell of the user (what a user edits). Rows and columns count from 0.
"""

from __future__ import annotations

from collections.abc import Callable

from ..dataclass import dataclass
from ..inputs.form_entries import Entry, FormContent
from ..inputs.form_keys import (
    COUNTS,
    EVIDENCE,
    INPUTS,
    LAYERS,
    NOT_READ,
    OTHERWISE,
    PROFILES,
    REVIEWER,
    STATUS,
    STRATEGIES,
    YOURS,
    ZONES,
)
from ..inputs.form_values import Content
from ..inputs.schema import STRATEGY_SECTIONS, fields_of

#: Columns of an input in its line: yours, otherwise, reviewer's, what counts, as in ``LAYERS``.
LayerColumns = tuple[int, int, int, int]


def _columns(column: Callable[[str], int]) -> LayerColumns:
    return column(YOURS), column(OTHERWISE), column(REVIEWER), column(COUNTS)


# Columns of the sheet of inputs that occur once: key, label, width. Keys are those the reader looks for.
INPUT_COLUMNS = (
    (NOT_READ, "Input", 27.0),
    (YOURS, "Your value", 17.0),
    (NOT_READ, "Unit", 10.0),
    (NOT_READ, "Allowed", 13.5),
    (OTHERWISE, "Otherwise", 15.0),
    (NOT_READ, "which is", 9.0),
    (REVIEWER, "Reviewer’s override", 12.0),
    (COUNTS, "Counts", 17.0),
    (NOT_READ, "Whose", 10.0),
    (STATUS, "Status", 10.0),
    (EVIDENCE, "Evidence", 24.0),
    (NOT_READ, "Where “otherwise” comes from", 27.0),
    (NOT_READ, "What it is", 44.0),
)
INPUT_KEY = len(INPUT_COLUMNS)
INPUT_AT = {key: column for column, (key, _, _) in enumerate(INPUT_COLUMNS) if key != NOT_READ}
INPUT_LAYERS = _columns(INPUT_AT.__getitem__)
INPUT_WHOSE, INPUT_KIND, INPUT_UNIT, INPUT_ALLOWED, INPUT_SOURCE, INPUT_WHAT = 8, 5, 2, 3, 11, 12
INPUT_HEAD_ROW, INPUT_KEY_ROW, INPUT_FIRST_ROW = 5, 6, 7

# Tables with inputs down and things across: columns before the layers, and rows above the inputs.
SIDE_FIRST_COLUMN = 3
SIDE_BAND_ROW = 4

# The zones.
ZONE_FIRST_COLUMN = 2
ZONE_BAND_ROW = 4
ZONE_ROWS = {"label": 5, "unit": 6, "allowed": 7, "default": 8, "key": 9}
ZONE_FIRST_ROW = 10
ZONE_FIELDS = tuple(name for name in fields_of("zone") if name != "name")


@dataclass(frozen=True, slots=True)
class Spare:
    """Empty lines for things that a user adds. A workbook of results has none for things."""

    group: int = 0
    special: int = 0
    zone: int = 0
    candidate: int = 0
    lines: int = 3


#: Layers of tables from left to right in a workbook of results: its readers ask first what counts.
RESULT_LAYERS = (COUNTS, REVIEWER, YOURS, OTHERWISE)
FORM_SPARE = Spare(group=4, special=4, zone=40, candidate=4, lines=12)


@dataclass(frozen=True, slots=True)
class SideTable:
    """Place of a table with inputs down and things across.

    Parameters
    ----------
    kind, sheet : str
    slots : int
        Columns of each layer.
    layers : tuple of str
        From left to right.
    band_row : int
        Row of the names of the layers; the row of keys is the next, then the inputs.
    rows : dict
        Key of a line -> row.
    heads : dict
        Row -> heading of a part.
    last_row : int
    """

    kind: str
    sheet: str
    slots: int
    layers: tuple[str, ...]
    band_row: int
    rows: dict[str, int]
    heads: dict[int, str]
    last_row: int

    def column(self, layer: str, place: int) -> int:
        """Column of a thing in a layer."""
        return SIDE_FIRST_COLUMN + self.layers.index(layer) * self.slots + place

    def columns(self, place: int) -> LayerColumns:
        """Columns of a thing."""
        return _columns(lambda layer: self.column(layer, place))

    @property
    def source_column(self) -> int:
        return SIDE_FIRST_COLUMN + len(self.layers) * self.slots

    @property
    def key_column(self) -> int:
        return self.source_column + 2


ZONE_KEY_COLUMN = ZONE_FIRST_COLUMN + len(LAYERS) * len(ZONE_FIELDS)


@dataclass(frozen=True, slots=True)
class PlannedCell:
    """A cell of an input in a layer: what it holds when it is written, and its (sheet, row, column).

    Parameters
    ----------
    entry : Entry
    layer : str
    place : (str, int, int)
    """

    entry: Entry
    layer: str
    place: tuple[str, int, int]

    @property
    def path(self) -> str:
        """Of the input; of points of a coordinate."""
        return self.entry.path

    @property
    def content(self) -> Content | None:
        """What it holds; None for an empty cell."""
        entry = self.entry
        return {YOURS: entry.yours, OTHERWISE: entry.otherwise, REVIEWER: None, COUNTS: entry.counts}[self.layer]


class FormPlan:
    """Places of all cells of a form.

    Parameters
    ----------
    content : FormContent
    spare : Spare
    layers : tuple of str
        Layers of tables from left to right.

    Attributes
    ----------
    cells : list of PlannedCell
        Every cell of an input, table by table; points by coordinate (``candidate[a].sat.points.x1``).
    counts, yours : dict
        Path -> (sheet, row, column) of the cell that counts, and of that of the user. ``yours`` has the settings
        shared by candidates as well (``sat.demand.max_f``).
    """

    def __init__(self, content: FormContent, spare: Spare, layers: tuple[str, ...] = LAYERS):
        self.content, self.spare, self.layers = content, spare, layers
        self.cells: list[PlannedCell] = []
        self._place_inputs()
        self._place_profiles()
        self._place_zones()
        self._place_strategies()
        self.counts, self.yours = self.places(COUNTS), self.places(YOURS)

    def places(self, layer: str) -> dict[str, tuple[str, int, int]]:
        """Path -> (sheet, row, column) of its cell in a layer."""
        return {cell.path: cell.place for cell in self.cells if cell.layer == layer}

    def _place(self, entry: Entry, sheet: str, row: int, columns: LayerColumns) -> None:
        self.cells += [
            PlannedCell(entry, layer, (sheet, row, column)) for layer, column in zip(LAYERS, columns, strict=True)
        ]

    def _place_inputs(self) -> None:
        row = INPUT_FIRST_ROW
        self.input_rows: list[tuple[int, str | Entry]] = []
        section = None
        for entry in self.content.singles:
            if entry.field.section != section:
                section = entry.field.section
                self.input_rows.append((row, section))
                row += 1
            self.input_rows.append((row, entry))
            self._place(entry, INPUTS, row, INPUT_LAYERS)
            row += 1
        self.about_row = row + 1
        row = self.about_row + 3 + len(self.content.about) + self.spare.lines
        self.overrides_row = row
        row += 3 + len(self.content.overrides) + self.spare.lines
        self.underneath_row = row if self.content.underneath else None
        row += 3 + len(self.content.underneath) if self.content.underneath else 0
        terms = len(self.content.terms) + self.spare.lines
        self.terms_row = row if terms else None
        self.inputs_last_row = row + (3 + terms if terms else 0) - 1

    def _place_profiles(self) -> None:
        groups = len(self.content.groups) + self.spare.group
        specials = len(self.content.specials) + self.spare.special
        slots = max(groups, specials)
        self.side: dict[str, SideTable] = {}
        self._side("group", PROFILES, slots, SIDE_BAND_ROW, [("", list(fields_of("group")))])
        if specials:
            self._side("special", PROFILES, slots, self.side["group"].last_row + 2, [("", list(fields_of("special")))])

    def _side(self, kind: str, sheet: str, slots: int, band_row: int, parts) -> None:
        rows, heads, row = {}, {}, band_row + 2
        for head, keys in parts:
            if head:
                heads[row] = head
                row += 1
            for key in keys:
                rows[key] = row
                row += 1
        table = self.side[kind] = SideTable(kind, sheet, slots, self.layers, band_row, rows, heads, row - 1)
        for place, item in enumerate(self.content.items(kind)):
            for key, entry in item.entries.items():
                self._place(entry, sheet, rows[key], table.columns(place))

    def term_place(self, path: str) -> tuple[str, int, int] | None:
        """Cell of a value of the terms (sheet, row, column); None for one that is not given."""
        paths = [each for each, _ in self.content.terms]
        if self.terms_row is None or path not in paths:
            return None
        return INPUTS, self.terms_row + 3 + paths.index(path), INPUT_LAYERS[LAYERS.index(YOURS)]

    def zone_column(self, layer: str, name: str) -> int:
        """Column of an input of zones in a layer."""
        return ZONE_FIRST_COLUMN + self.layers.index(layer) * len(ZONE_FIELDS) + ZONE_FIELDS.index(name)

    def zone_columns(self, name: str) -> LayerColumns:
        """Columns of an input of zones."""
        return _columns(lambda layer: self.zone_column(layer, name))

    def _place_zones(self) -> None:
        for row, item in enumerate(self.content.zones, ZONE_FIRST_ROW):
            for name, entry in item.entries.items():
                if name == "name":  # the one cell of a zone's name is its heading
                    self.cells += [PlannedCell(entry, layer, (ZONES, row, 0)) for layer in (YOURS, COUNTS)]
                else:
                    self._place(entry, ZONES, row, self.zone_columns(name))
        self.zones_last_row = ZONE_FIRST_ROW + len(self.content.zones) + self.spare.zone - 1

    def _place_strategies(self) -> None:
        content = self.content
        parts = [
            ("", ["id", "name", "listed", "baseline", *(n for n in fields_of("candidate") if n not in ("id", "name"))])
        ]
        for part, head in zip(STRATEGY_SECTIONS, ("Supply air temperature", "Duct static pressure"), strict=True):
            keys = []
            for field in fields_of(part).values():
                key = f"{part}.{field.name}"
                if field.type == "points":
                    keys += [f"{key}.{axis}{place}" for place in range(1, content.points[key] + 1) for axis in "xy"]
                else:
                    keys.append(key)
            parts.append((head, keys))
        self._side("candidate", STRATEGIES, len(content.candidates) + self.spare.candidate, SIDE_BAND_ROW, parts)
        row = self.side["candidate"].last_row + 2
        self.changes_row = row
        row += 3 + len(content.changes) + self.spare.lines
        self.library_row = row
        row += 3
        self.library_rows: list[tuple[int, str | Entry]] = []
        table = None
        for entry in content.library:
            this = ".".join(entry.path.split(".")[:2])
            if this != table:
                table = this
                self.library_rows.append((row, table))
                row += 1
            self.library_rows.append((row, entry))
            self.cells.append(PlannedCell(entry, YOURS, (STRATEGIES, row, SIDE_FIRST_COLUMN)))
            row += 1
        self.strategies_last_row = row - 1


def results_plan(content: FormContent) -> FormPlan:
    """Plan of the sheets of inputs of a workbook of results."""
    return FormPlan(content, Spare(), RESULT_LAYERS)
