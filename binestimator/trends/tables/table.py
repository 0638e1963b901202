"""A table of a log that was looked at, and its reading in pieces of bounded size."""

from __future__ import annotations

import csv
import io
import os
import warnings
from collections.abc import Callable, Iterator, Sequence
from dataclasses import field
from pathlib import Path

import pandas as pd

from binestimator.dataclass import dataclass
from binestimator.errors import InputError
from binestimator.inputs.problems import printable
from binestimator.trends import times

#: Largest file that is read, and largest workbook unpacked. [bytes]
LARGEST_LOG, LARGEST_UNPACKED = 20_000_000_000, 2_000_000_000
#: Longest line, and most columns, of a table.
LONGEST_LINE, MOST_COLUMNS = 400_000, 4_000
#: What is looked at of a file's beginning, and of each place further on. [bytes]
HEAD_BYTES, WINDOW_BYTES, WINDOWS = 1_000_000, 20_000, 8
HEAD_RECORDS = 400
#: Cells of one piece.
_PIECE = 600_000


@dataclass(frozen=True, slots=True)
class Column:
    """A column of values.

    Parameters
    ----------
    place : int
    name : str
        As the file has it; that of the file where the column has none.
    unit : str
        Unit that name or heading names, or empty.
    label : str
        Class or tags in the heading, or empty.
    sample : tuple of str
        Some cells.
    status : int
        Place of the column that says whether its values are to be trusted, -1 where there is none.
    """

    place: int
    name: str
    unit: str
    label: str
    sample: tuple[str, ...] = ()
    status: int = -1


@dataclass(frozen=True, slots=True)
class Group:
    """Columns that share a column of time (or one of dates and one of times of day)."""

    time_places: tuple[int, ...]
    form: times.TimeForm
    columns: tuple[Column, ...]


@dataclass(frozen=True, slots=True)
class Long:
    """Columns of a table whose lines each name their point; places, -1 where there is none."""

    name: int
    value: int
    unit: int = -1
    label: int = -1
    status: int = -1


@dataclass(slots=True)
class Table:
    """A table of a log, looked at but not yet read.

    Parameters
    ----------
    path : Path
    sheet : str
        Of a workbook, else empty.
    encoding, delimiter, decimal : str
    before : int
        Records before the first line of data.
    width : int
        Columns.
    groups : tuple of Group
        One, or several where columns of time and values take turns; of a long table one, without columns.
    long : Long or None
    first_s, last_s : float
        First and last stamp of what was looked at.
    interval_s : float
        Usual step between stamps of one point.
    records : float
        Estimate of the lines.
    skipped : int
        Lines with more cells than the table has columns, left out while reading.
    unread_times : int
        Lines whose stamp could not be read.
    """

    path: Path
    sheet: str
    encoding: str
    delimiter: str
    decimal: str
    before: int
    width: int
    groups: tuple[Group, ...]
    long: Long | None
    first_s: float
    last_s: float
    interval_s: float
    records: float
    head: list[list[str]] = field(default_factory=list)
    skipped: int = 0
    unread_times: int = 0

    @property
    def name(self) -> str:
        """Name in messages."""
        return f"{self.path.name}, sheet {self.sheet}" if self.sheet else self.path.name

    def words(self) -> str:
        """What the table is, in plain words."""
        signs = {",": "commas", ";": "semicolons", "\t": "tabs", "|": "bars", "": "cells"}
        kind = "one line a sample, which names its point" if self.long else "a column a point"
        decimal = ", decimal commas" if self.decimal == "," else ""
        encoding = f", {self.encoding.removesuffix('-sig').upper()}" if self.encoding else ""
        return (
            f"{kind}, {signs.get(self.delimiter, self.delimiter)}{decimal}{encoding}; times: "
            f"{self.groups[0].form.words()}"
        )

    def pieces(self, progress: Callable[[float], None] | None = None) -> Iterator[pd.DataFrame]:
        """Lines of data in pieces: a column for each place, texts or numbers.

        Parameters
        ----------
        progress : callable, optional
            Called with the share of the file that has been read.
        """
        if self.sheet:
            yield from self._sheet_pieces(progress)
        else:
            yield from self._text_pieces(progress)

    def _text_pieces(self, progress) -> Iterator[pd.DataFrame]:
        size = max(os.path.getsize(self.path), 1)
        texts = {place: str for group in self.groups for place in group.time_places if group.form.kind == "text"}
        if self.long:
            texts |= dict.fromkeys((self.long.name, *(p for p in (self.long.unit, self.long.status) if p >= 0)), str)
        with open(self.path, "rb") as raw, io.TextIOWrapper(raw, self.encoding, "replace", newline="") as lines:
            reader = csv.reader(without_nul(lines), delimiter=self.delimiter)
            left = self.before
            while left:
                record = next(reader, None)
                if record is None:
                    return
                left -= any(cell.strip() for cell in record)
            with warnings.catch_warnings(record=True) as said:
                warnings.simplefilter("always")
                try:
                    pieces = pd.read_csv(
                        lines,
                        sep=self.delimiter,
                        header=None,
                        names=list(range(self.width)),
                        index_col=False,
                        dtype=texts,
                        decimal=self.decimal,
                        chunksize=max(500, _PIECE // self.width),
                        on_bad_lines="warn",
                        skip_blank_lines=True,
                        low_memory=False,
                        skipinitialspace=True,
                        keep_default_na=True,
                    )
                    for piece in pieces:
                        yield piece
                        if progress is not None:
                            progress(min(raw.tell() / size, 1.0))
                except pd.errors.EmptyDataError:
                    return
                except (pd.errors.ParserError, UnicodeError, ValueError) as error:
                    raise InputError(
                        f"{self.name}: the table cannot be read to its end ({printable(str(error))[:150]}); "
                        "open it in an editor and look for a quotation mark without its partner"
                    ) from None
                finally:
                    self.skipped = sum(str(one.message).count("Skipping line") for one in said)

    def _sheet_pieces(self, progress) -> Iterator[pd.DataFrame]:
        rows = sheet_rows(self.path, self.sheet)
        batch: list[Sequence] = []
        done = 0
        for number, row in enumerate(rows):
            if number < self.before:
                continue
            batch.append([*row[: self.width], *[None] * (self.width - len(row))])
            if len(batch) * self.width >= _PIECE:
                done += len(batch)
                yield pd.DataFrame(batch, dtype=object)
                batch = []
                if progress is not None:
                    progress(min(done / max(self.records, 1.0), 1.0))
        if batch:
            yield pd.DataFrame(batch, dtype=object)


def without_nul(lines):
    for line in lines:
        yield line.replace("\0", "")


def sheet_rows(path: Path, sheet: str) -> Iterator[tuple]:
    """Rows of a sheet with content, as the library gives them."""
    import openpyxl

    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        book = openpyxl.load_workbook(path, read_only=True, data_only=True)
        try:
            page = book[sheet]
            page.reset_dimensions()
            for row in page.iter_rows(values_only=True, max_col=MOST_COLUMNS):
                if any(cell is not None and cell != "" for cell in row):
                    yield row
        except InputError:
            raise
        except Exception as error:  # noqa: BLE001 - the library raises anything on files that are damaged
            raise InputError(
                f"{path.name}, sheet {sheet}: cannot be read ({printable(str(error))[:120]}); save the workbook "
                f"again, or "
                "export it as .csv"
            ) from None
        finally:
            book.close()


def text_of(cell: object) -> str:
    if isinstance(cell, str):
        return cell.strip()
    import datetime

    if isinstance(cell, (datetime.datetime, datetime.date)):
        return cell.isoformat(sep=" ") if isinstance(cell, datetime.datetime) else cell.isoformat()
    return str(cell).strip()
