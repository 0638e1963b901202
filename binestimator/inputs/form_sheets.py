"""Tables of a form as they are found on its sheets, and the cells of each in one stream."""

from __future__ import annotations

import functools
from collections.abc import Iterator

from binestimator.dataclass import dataclass
from binestimator.errors import InputError
from binestimator.inputs.cell_parts import Cell, TypedContent, address_of
from binestimator.inputs.cells import SheetCells, WorkbookFile
from binestimator.inputs.form_keys import (
    CLIENT_SHEETS,
    CORNER,
    COUNTS,
    EARLIER_NAMES,
    END,
    FORM_SHEETS,
    FROM,
    NOT_READ,
    OTHERWISE,
    QUICK,
    TABLES,
    FormTable,
    Spot,
    is_coordinate,
)
from binestimator.inputs.problems import Problem, printable
from binestimator.inputs.schema import Field

#: Lines of a table, empty ones with a key among them.
MOST_LINES = 5_000


@dataclass(frozen=True)
class FoundTable:
    """A table found on a sheet.

    Parameters
    ----------
    table : FormTable
    sheet : SheetCells
    corner : (int, int)
        Row and column of its key; the row is that of the keys of columns.
    lines : list of (str, int)
        Key, or empty, and row of each line with a key or content.
    columns : dict
        Key -> column.
    file : str
        Name of the file.
    """

    table: FormTable
    sheet: SheetCells
    corner: tuple[int, int]
    lines: list[tuple[str, int]]
    columns: dict[str, int]
    file: str

    @property
    def place(self) -> str:
        """Sheet and address of its key."""
        return self.at(*self.corner)

    def at(self, row: int, column: int) -> str:
        """Sheet and address of a cell."""
        return f"{self.sheet.name}!{address_of(row, column)}"

    def needed(self, *keys: str) -> list[int]:
        """Columns of some keys.

        Raises
        ------
        InputError
            One is missing.
        """
        for key in keys:
            if key not in self.columns:
                raise InputError(
                    f"{self.file}: sheet {self.sheet.name}: the column with the key “{key}” of the table at "
                    f"{self.place} is missing; take the sheet from a new form"
                )
        return [self.columns[key] for key in keys]

    def cell(self, row: int, column: int) -> Cell | None:
        """A cell; None for an empty one."""
        return self.sheet.cells.get((row, column))

    def stream(self) -> Iterator[FormCell]:
        """All cells that are for an input in a layer, empty ones among them, from left to right and down."""
        for header, column in sorted(self.columns.items(), key=lambda pair: pair[1]):
            for key, row in self.lines:
                spot = self.table.spot(key, row, header)
                if spot is not None:
                    yield FormCell(spot, self, row, column)

    @functools.cached_property
    def merged(self) -> set[tuple[int, int]]:
        """Input cells that are part of merged areas."""
        columns = {
            column for key, column in self.columns.items() if key.partition(" ")[0] not in (OTHERWISE, COUNTS, FROM)
        }
        rows = {row for _, row in self.lines}
        keyed = {row for key, row in self.lines if key}
        found: set[tuple[int, int]] = set()
        for first_row, first_column, last_row, last_column in self.sheet.merged:
            wide = [column for column in columns if first_column <= column <= last_column]
            if wide:
                for row in keyed | rows if len(keyed) < last_row - first_row else range(first_row, last_row + 1):
                    if first_row <= row <= last_row and row in keyed:
                        found |= {(row, column) for column in wide}
        return found

    def read(self, row: int, column: int, field: Field | None = None) -> tuple[TypedContent | None, Problem | None]:
        """Content of an input cell, and what is wrong with it, in words of what ``field`` allows."""
        place, wanted = self.at(row, column), "a value"
        if (row, column) in self.merged:
            text = "is part of merged cells, so that it is not clear which input the value is for; unmerge them"
            return None, Problem(place, text)
        cell = self.cell(row, column)
        if cell is None:
            return None, None
        if field is not None:
            place, wanted = f"{place}, {field.label}", field.allowed_as(in_cell=True)
        if cell.kind == "formula":
            text = (
                f"holds a formula; expected {wanted}, as formulas are not worked out here; copy the cell and paste it "
                "as a value"
            )
            return None, Problem(place, text)
        if cell.kind == "error":
            return None, Problem(place, f"holds an error value; expected {wanted}; type it again")
        if cell.kind == "date":
            text = f"holds a date or time; expected {wanted}; format the cell as text and type the value again"
            return None, Problem(place, text)
        if isinstance(cell.value, str) and not cell.value.strip():
            return None, None
        return cell.value, None


@dataclass(frozen=True, slots=True)
class FormCell:
    """A cell of a table: what it is for, and where it is."""

    spot: Spot
    found: FoundTable
    row: int
    column: int

    @property
    def place(self) -> str:
        """Sheet and address."""
        return self.found.at(self.row, self.column)

    @property
    def cell(self) -> Cell | None:
        """The cell as it is; None for an empty one."""
        return self.found.cell(self.row, self.column)

    def read(self) -> tuple[TypedContent | None, Problem | None]:
        """Content, and what is wrong with it; see :meth:`FoundTable.read`."""
        # What a line of points allows is not what one of its coordinates does.
        field = None if is_coordinate(self.spot.key) else self.found.table.fields.get(self.spot.key)
        return self.found.read(self.row, self.column, field)


def find_tables(file: WorkbookFile, name: str) -> dict[str, FoundTable]:
    """Tables of the form by name.

    Raises
    ------
    InputError
        A sheet or a table is missing, doubled or copied, or its keys are not clear.
    """
    found: dict[str, FoundTable] = {}
    for sheet_name, named in _sheets(file, name).items():
        sheet = file.sheet(named)
        corners = {
            place: cell.value[len(CORNER) :]
            for place, cell in sheet.cells.items()
            if cell.kind == "text" and isinstance(cell.value, str) and cell.value.startswith(CORNER)
        }
        for corner, key in sorted(corners.items()):
            if key == END[len(CORNER) :]:
                continue
            place = f"{sheet.name}!{address_of(*corner)}"
            table = TABLES.get(key)
            if table is None or table.sheet != sheet_name:
                raise InputError(
                    f"{name}: {place}: unknown key of a table “{printable(key[:40])}”; the cell was changed; "
                    "take the sheet from a new form"
                )
            if key in found:
                raise InputError(
                    f"{name}: {place}: the table “{key}” appears twice, also at {found[key].place}; delete one"
                )
            below = [row for row, column in corners if column == corner[1] and row > corner[0]]
            found[key] = _table(sheet, table, corner, min(below, default=1 << 30), name)
    lacking = [table for key, table in TABLES.items() if key not in found and not table.optional]
    if lacking:
        raise InputError(
            f"{name}: sheet {lacking[0].sheet}: the table with the key “{CORNER}{lacking[0].name}” is missing; "
            "write a new form and copy the values into it"
        )
    return found


def _sheets(file: WorkbookFile, name: str) -> dict[str, str]:
    """Sheets of the form by the names of this version -> as they are called in the file."""
    named = {sheet: sheet if sheet in file.sheet_names else EARLIER_NAMES.get(sheet, sheet) for sheet in FORM_SHEETS}
    missing = [sheet for sheet in FORM_SHEETS if named[sheet] not in file.sheet_names]
    if len(missing) == len(FORM_SHEETS) and set(CLIENT_SHEETS) <= set(file.sheet_names):
        stem = name.rpartition(".")[0].removesuffix("_client")
        raise InputError(
            f"{name}: is a client edition: pages to read, without the sheets of inputs; give the workbook of the same "
            f"run, which it was written beside (such as {stem}.xlsx), or the project file"
        )
    if missing:
        raise InputError(
            f"{name}: no sheet {', '.join(f'“{sheet}”' for sheet in missing)}; expected an input form, or a workbook "
            "that this program wrote, with its sheets of inputs under their own names; write a form with: binestimator "
            "form OUT.xlsx"
        )
    if QUICK in file.sheet_names:
        named[QUICK] = QUICK
    copies = [
        sheet
        for sheet in file.sheet_names
        if sheet not in (*named.values(), *CLIENT_SHEETS)
        and any(form.casefold() in sheet.casefold() and sheet[:1].strip().isalpha() for form in (*FORM_SHEETS, QUICK))
    ]
    if copies:
        raise InputError(
            f"{name}: the sheet “{printable(copies[0])}” looks like a copy of a sheet of inputs; "
            "which one counts is not clear; delete it or give it another name"
        )
    return named


def _table(sheet: SheetCells, table: FormTable, corner: tuple[int, int], end: int, name: str) -> FoundTable:
    """Lines and columns of a table that ends before a row."""
    corner_row, corner_column = corner
    columns: dict[str, int] = {}
    lines: dict[int, str] = {}
    for (row, column), cell in sheet.cells.items():
        if cell.kind != "text" or not isinstance(cell.value, str):
            continue
        if row == corner_row and column != corner_column and cell.value.strip() != NOT_READ:
            key = cell.value.strip()
            if key in columns:
                raise InputError(
                    f"{name}: {sheet.name}!{address_of(row, column)}: the key “{printable(key[:60])}” of a column "
                    f"appears twice, also at {address_of(row, columns[key])}; restore the keys"
                )
            columns[key] = column
        elif column == corner_column and corner_row < row < end:
            lines[row] = cell.value.strip()
    keyed = set(columns.values())
    inner = {
        row
        for (row, column), cell in sheet.cells.items()
        if column in keyed and corner_row < row < end and cell.kind != "formula"
    }
    rows = {*lines, *inner}
    if len(rows) > MOST_LINES:
        raise InputError(
            f"{name}: sheet {sheet.name}: the table of the key at {address_of(*corner)} has "
            f"{len(rows):,} lines; expected at most {MOST_LINES:,}; remove what does not belong to it"
        )
    return FoundTable(table, sheet, corner, [(lines.get(row, ""), row) for row in sorted(rows)], columns, name)
