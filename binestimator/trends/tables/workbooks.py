"""Workbooks of a log: sheets, what is looked at."""

from __future__ import annotations

import os
import zipfile
from pathlib import Path

from binestimator.errors import InputError
from binestimator.inputs.problems import printable

from .headings import table_of
from .table import HEAD_RECORDS, LARGEST_UNPACKED, Table, sheet_rows


def look_at_workbook(path: Path, date_order: str) -> list[Table]:
    try:
        with zipfile.ZipFile(path) as archive:
            parts = archive.infolist()
            names = {part.filename for part in parts}
            unpacked = sum(part.file_size for part in parts)
    except (zipfile.BadZipFile, OSError, ValueError):
        raise InputError(f"{path}: the trend log is a packed file that cannot be opened; export it again") from None
    if "xl/workbook.xml" not in names:
        raise InputError(
            f"{path}: the trend log is a packed file (zip), not a table; unpack it and name the files in it"
        )
    if unpacked > LARGEST_UNPACKED or unpacked > 1000 * os.path.getsize(path) + 1_000_000:
        raise InputError(
            f"{path}: the workbook holds {unpacked:,} bytes unpacked, more than is read; export it as .csv"
        )
    import openpyxl

    try:
        book = openpyxl.load_workbook(path, read_only=True, data_only=True)
        sheets = [sheet.title for sheet in book.worksheets][:100]
        book.close()
    except Exception as error:  # noqa: BLE001 - the library raises anything on files that are no workbook
        raise InputError(
            f"{path}: the workbook cannot be read ({printable(str(error))[:120]}); save it again, or export it as .csv"
        ) from None
    tables, first = [], ""
    for sheet in sheets:
        records: list[list] = []
        for row in sheet_rows(path, sheet):
            if any(cell is not None and cell != "" for cell in row):
                last = max(place for place, cell in enumerate(row) if cell is not None and cell != "")
                records.append(["" if cell is None else cell for cell in row[: last + 1]])
            if len(records) >= 5 * HEAD_RECORDS:
                break
        try:
            table = table_of(path, sheet, records, [], "", "", date_order)
        except InputError as error:
            first = first or str(error)
            continue
        tables.append(table)
    if not tables:
        raise InputError(
            first or f"{path}: the workbook holds no table; expected a column of times and columns of values"
        )
    return tables
