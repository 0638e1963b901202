"""How formulas and the file name cells and sheets. Rows and columns count from 0."""

from __future__ import annotations

from functools import cache


@cache
def column_name(column: int) -> str:
    """Letters of a column counted from 0."""
    name = ""
    column += 1
    while column:
        column, rest = divmod(column - 1, 26)
        name = chr(65 + rest) + name
    return name


def cell_name(row: int, column: int) -> str:
    """Address such as ``B7``."""
    return f"{column_name(column)}{row + 1}"


def area_name(row: int, column: int, last_row: int, last_column: int) -> str:
    return f"{cell_name(row, column)}:{cell_name(last_row, last_column)}"


def quoted(sheet: str) -> str:
    """Sheet name as formulas write it."""
    return "'" + sheet.replace("'", "''") + "'"


def sheet_ref(name: str) -> str:
    """Name of a sheet in a formula, quoted where it has to be: in apostrophes a formula is longer."""
    return name if name.replace("_", "").isalnum() else quoted(name)


def reference(sheet: str, row: int, column: int) -> str:
    """Absolute address with its sheet."""
    return f"{quoted(sheet)}!${column_name(column)}${row + 1}"
