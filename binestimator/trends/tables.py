"""Tables of trend logs: text files of any delimiter and encoding, and workbooks.

A file is looked at first: a part of its beginning, of its end and from between. That tells encoding, delimiter, decimal
sign, lines of heading (names, units, classes), columns of time, and whether each point has its column (wide) or each
line
names its point (long). Then it is read in pieces of bounded size.
"""

from __future__ import annotations

import csv
import io
import os
import re
import warnings
import zipfile
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path

import pandas as pd

from binestimator.errors import InputError
from binestimator.inputs.files import readable_file
from binestimator.inputs.problems import printable
from binestimator.trends import times
from binestimator.trends.cells import MISSING, STATES, plain_number
from binestimator.trends.point_units import unit_in_name, unit_named
from binestimator.trends.points import kind_of_class, read_name

#: Largest file that is read, and largest workbook unpacked. [bytes]
LARGEST_LOG, LARGEST_UNPACKED = 20_000_000_000, 2_000_000_000
#: Longest line, and most columns, of a table.
LONGEST_LINE, MOST_COLUMNS = 400_000, 4_000
#: What is looked at of a file's beginning, and of each place further on. [bytes]
_HEAD, _WINDOW, _WINDOWS = 1_000_000, 20_000, 8
_HEAD_RECORDS = 400
#: Cells of one piece.
_PIECE = 600_000
_MARKS = (
    (b"\xff\xfe\0\0", "utf-32"),
    (b"\0\0\xfe\xff", "utf-32"),
    (b"\xef\xbb\xbf", "utf-8-sig"),
    (b"\xff\xfe", "utf-16"),
    (b"\xfe\xff", "utf-16"),
)
_NO_TEXT = (
    (b"\xd0\xcf\x11\xe0", "a document of the old office kind (such as .xls); save it as .xlsx or .csv"),
    (b"%PDF", "a PDF document; export the trends as .csv"),
    (b"\x1f\x8b", "a packed file (gzip); unpack it"),
    (b"BZh", "a packed file (bzip2); unpack it"),
    (b"PAR1", "a Parquet file; export it as .csv"),
    (b"SQLite format 3", "a database; export the trends as .csv"),
)
_POINT_HEADS = frozenset(
    [
        "point",
        "pointname",
        "point_name",
        "name",
        "tag",
        "tagname",
        "object",
        "objectname",
        "object_name",
        "sensor",
        "variable",
        "id",
        "pointid",
        "point_id",
        "trend",
        "trendname",
        "item",
        "parameter",
        "metric",
        "series",
        "channel",
        "path",
        "ref",
        "key",
        "label",
        "objectid",
    ]
)
_VALUE_HEADS = frozenset(
    ["value", "val", "reading", "data", "measurement", "presentvalue", "present_value", "result", "actual"]
)
_CLASS_HEADS = frozenset(
    ["class", "brick", "brickclass", "brick_class", "type", "brick_type", "tags", "haystack", "haystacktags", "markers"]
)
_UNIT_HEADS = frozenset(["unit", "units", "uom", "engineeringunits", "engunits", "unit_of_measure"])
_STATUS_HEADS = frozenset(["status", "quality", "reliability", "flag", "flags", "statusflags"])
_TIME_HEADS = re.compile(r"time|date|stamp|epoch|\bts\b", re.I)
#: Words of a status column that say the value is not to be trusted.
BAD_STATUS = re.compile(
    r"bad|fault|stale|down|offline|invalid|unreliable|uncertain|questionable|null|overridden_bad", re.I
)


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
            reader = csv.reader(_without_nul(lines), delimiter=self.delimiter)
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
        rows = _sheet_rows(self.path, self.sheet)
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


def _without_nul(lines):
    for line in lines:
        yield line.replace("\0", "")


def look(path: str | Path, date_order: str = "") -> list[Table]:
    """Tables of a file: one of a text, one for each sheet of a workbook that holds times.

    Raises
    ------
    InputError
        The file is missing, no text and no workbook, or holds no table with times.
    """
    path = readable_file(path, "trend log", largest=LARGEST_LOG)
    with open(path, "rb") as file:
        start = file.read(_HEAD)
    if not start.strip(b"\0 \t\r\n"):
        raise InputError(f"{path}: the trend log is empty; export it again")
    if start.startswith(b"PK"):
        return _look_at_workbook(path, date_order)
    return [_look_at_text(path, start, date_order)]


# ---------------------------------------------------------------- text


def _encoding(start: bytes, path: Path) -> str:
    kind = next((words for mark, words in _NO_TEXT if start.startswith(mark)), "")
    if kind:
        raise InputError(f"{path}: the trend log is {kind}; expected a table as text or an .xlsx workbook")
    found = next((encoding for mark, encoding in _MARKS if start.startswith(mark)), "")
    if not found:
        if b"\0" in start:
            even, odd = start[0:4000:2], start[1:4000:2]
            if odd.count(0) > 0.4 * len(odd) and even.count(0) < 0.1 * len(even):
                found = "utf-16-le"
            elif even.count(0) > 0.4 * len(even) and odd.count(0) < 0.1 * len(odd):
                found = "utf-16-be"
        if not found:
            try:
                start[: start.rfind(b"\n") + 1 or len(start)].decode("utf-8")
                found = "utf-8"
            except UnicodeDecodeError:
                found = "cp1252"
    text = start.decode(found, "replace")
    odd_signs = sum(text.count(chr(code)) for code in (*range(9), *range(14, 32)) if code != 27)
    if odd_signs > 0.002 * len(text) + 2:
        raise InputError(
            f"{path}: the trend log is no text (it holds control characters); expected a table as text, such as "
            f".csv, or "
            "an .xlsx workbook; export it again"
        )
    return found


def _unmarked(encoding: str, start: bytes) -> str:
    """Encoding of a part further on, where no mark stands."""
    if encoding in ("utf-16", "utf-32"):
        little = start[:2] == b"\xff\xfe"
        return f"{encoding}-{'le' if little else 'be'}"
    return encoding.removesuffix("-sig")


def _look_at_text(path: Path, start: bytes, date_order: str) -> Table:
    encoding = _encoding(start, path)
    size = os.path.getsize(path)
    text = start.decode(encoding, "replace").lstrip("\ufeff").replace("\0", "")
    if size > len(start):
        text = text[: text.rfind("\n") + 1] or text
    longest = max((len(line) for line in re.split(r"[\r\n]", text)), default=0)
    if longest > LONGEST_LINE or size > len(start) and "\n" not in text and "\r" not in text:
        raise InputError(
            f"{path}: a line of more than {LONGEST_LINE:,} characters; expected a table with a line for each "
            f"time; check "
            "that it is the right file"
        )
    if text.lstrip()[:1] in ("{", "<") or text.lstrip()[:2] in ("[{", "[\n", "[ "):
        what = "JSON" if text.lstrip()[0] in "{[" else "a web page or XML"
        raise InputError(
            f"{path}: the trend log is {what}; expected a table as text or an .xlsx workbook; export it as .csv"
        )
    delimiter = _delimiter(text)
    records = _records(text, delimiter)
    windows: list[list[list[str]]] = []
    if size > len(start):
        with open(path, "rb") as file:
            for k in range(1, _WINDOWS + 1):
                at = len(start) + (size - len(start) - _WINDOW) * k // _WINDOWS
                at -= at % 4
                file.seek(max(at, 0))
                part = file.read(_WINDOW).decode(_unmarked(encoding, start), "replace")
                windows.append(_records("\n".join(re.split(r"\r\n|\r|\n", part)[1:-1]), delimiter))
    table = _table(path, "", records, windows, delimiter, encoding, date_order)
    used = len(text.encode(encoding, "replace")) / max(len(records), 1) if size > len(start) else 0.0
    table.records = size / used if used else float(len(records))
    return table


def _records(text: str, delimiter: str) -> list[list[str]]:
    found = []
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=delimiter)
    try:
        for record in reader:
            if any(cell.strip() for cell in record):
                found.append([cell.strip() for cell in record])
    except csv.Error:
        pass  # a field of more than 131,072 characters: what came before is enough to judge by
    return found


def _delimiter(text: str) -> str:
    """The sign between cells."""
    named = re.match(r"\s*sep=(.)\r?\n", text)
    if named:
        return named[1]
    lines = [line for line in re.split(r"\r\n|\r|\n", text[:200_000]) if line.strip()][:200]
    later = lines[min(len(lines) // 3, 12) :] or lines
    best = (0.0, ",")
    for sign in ("\t", ";", "|", ","):
        counts = []
        for line in later:
            try:
                counts.append(len(next(csv.reader([line], delimiter=sign), [])))
            except csv.Error:
                counts.append(0)
        usual = max(set(counts), key=counts.count)
        share = counts.count(usual) / len(counts)
        if usual > 1 and share >= 0.7 and share > best[0] + 0.1:
            best = (share, sign)
    return best[1]


# ---------------------------------------------------------------- workbooks


def _look_at_workbook(path: Path, date_order: str) -> list[Table]:
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
        for row in _sheet_rows(path, sheet):
            if any(cell is not None and cell != "" for cell in row):
                last = max(place for place, cell in enumerate(row) if cell is not None and cell != "")
                records.append(["" if cell is None else cell for cell in row[: last + 1]])
            if len(records) >= 5 * _HEAD_RECORDS:
                break
        try:
            table = _table(path, sheet, records, [], "", "", date_order)
        except InputError as error:
            first = first or str(error)
            continue
        tables.append(table)
    if not tables:
        raise InputError(
            first or f"{path}: the workbook holds no table; expected a column of times and columns of values"
        )
    return tables


def _sheet_rows(path: Path, sheet: str) -> Iterator[tuple]:
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


# ---------------------------------------------------------------- what a table is


def _text(cell: object) -> str:
    import datetime

    if isinstance(cell, (datetime.datetime, datetime.date)):
        return cell.isoformat(sep=" ") if isinstance(cell, datetime.datetime) else cell.isoformat()
    return str(cell).strip()


def _is_number(text: str) -> bool:
    return plain_number(text, ".") is not None


def _table(path, sheet, records, windows, delimiter, encoding, date_order) -> Table:
    import datetime

    where = f"{path.name}, sheet {sheet}" if sheet else str(path)
    width = max((len(record) for record in records[:_HEAD_RECORDS]), default=0)
    if width > MOST_COLUMNS:
        raise InputError(
            f"{where}: {width:,} columns; at most {MOST_COLUMNS:,} are read; export fewer points at a time"
        )
    real_dates = [
        any(isinstance(r[k], (datetime.datetime, datetime.date)) for r in records if k < len(r)) for k in range(width)
    ]
    head = [[_text(cell) for cell in record] + [""] * (width - len(record)) for record in records]
    later = head[min(len(head) // 4, 25) :][:_HEAD_RECORDS]
    time_places, dates_only, clocks = _time_columns(head, later, width)
    if not time_places:
        shown = "; ".join(printable(" | ".join(cell for cell in row if cell)[:60]) for row in head[:2])
        what = "times of day but no dates" if clocks else "no column of dates and times"
        raise InputError(
            f"{where}: {what}; got lines such as `{shown}`; expected a table with a column such as 2024-01-31 "
            f"07:05; check "
            "that it is the right file, or export it with dates"
        )
    paired = {place: next((c for c in clocks if abs(c - place) == 1), None) for place in dates_only}
    first_time = time_places[0]
    start = next(k for k, row in enumerate(head) if _stamp_like(row[first_time]))
    heads = head[:start]
    names, units, labels = _headings(heads, head[start:], width, time_places)
    decimal = _decimal(head[start : start + 200], delimiter, time_places)
    european = decimal == "," or delimiter == ";"

    def form_of(place: int) -> tuple[times.TimeForm, tuple[int, ...]]:
        clock = paired.get(place)
        places = (place,) if clock is None else (place, clock)
        if real_dates[place]:
            return times.TimeForm("stamps" if clock is None else "text"), places
        texts = [
            " ".join(row[p] for p in places)
            for part in (head[start:], *windows)
            for row in part
            if len(row) > max(places) and _stamp_like(row[place])
        ]
        if texts and all(_is_number(text) for text in texts[:50]):
            form = times.number_form([float(text) for text in texts if _is_number(text)])
            if form is not None:
                return form, places
        return times.text_form(texts, european, date_order), places

    used = set(time_places) | {clock for clock in paired.values() if clock is not None}
    groups = []
    for k, place in enumerate(time_places):
        end = time_places[k + 1] if k + 1 < len(time_places) else width
        begin = place if k else 0
        columns = [p for p in range(begin, end) if p not in used]
        if not columns:
            continue
        form, places = form_of(place)
        groups.append(
            Group(
                places,
                form,
                tuple(Column(p, names[p], units[p], labels[p], _sample(p, head[start:], windows)) for p in columns),
            )
        )
    if not groups:
        raise InputError(f"{where}: columns of times and no column of values; check that it is the right file")
    long = _long(names, groups[0], head[start:]) if len(groups) == 1 else None
    if long is None:
        groups = [_named_by_file(_with_status(group), path, sheet, heads) for group in groups]
    else:
        groups = [Group(groups[0].time_places, groups[0].form, ())]
    seconds = [s for part in (head[start:], *windows) for s in _stamps_of(part, groups[0], first_time) if s is not None]
    interval = _interval(head[start:], groups[0], first_time, long)
    # Duplicated headings and gaps do not matter here; that times are found at all does.
    if not seconds:
        raise InputError(
            f"{where}: stamps such as `{printable(head[start][first_time])[:40]}` cannot be read as dates and times; "
            "expected such as 2024-01-31 07:05"
        )
    table = Table(
        path,
        sheet,
        encoding,
        delimiter,
        decimal,
        start,
        width,
        tuple(groups),
        long,
        float(min(seconds)),
        float(max(seconds)),
        interval,
        float(len(head)),
        head[start:],
    )
    return table


def _sample(place, data, windows) -> tuple[str, ...]:
    """Cells of a column from all over what was looked at."""
    parts = ([row[place] for row in part if len(row) > place and row[place]] for part in (data, *windows))
    return tuple(cell for part in parts for cell in part[:: max(len(part) // 300, 1)])


def _stamp_like(text: str) -> bool:
    if times.is_stamp(text):
        return True
    if _is_number(text):
        return times.number_form([float(text.replace(",", "."))]) is not None
    return False


def _time_columns(head, later, width) -> tuple[list[int], list[int], list[int]]:
    """Places of columns of time, those of them with dates alone, and columns of times of day."""
    found, dates_only, clocks = [], [], []
    for place in range(width):
        cells = [row[place] for row in later if row[place]]
        if len(later) == len(head):  # of a log of a few lines headings are a good part
            first = next((k for k, cell in enumerate(cells) if times.is_stamp(cell)), 0)
            cells = cells[first:]
        if not cells:
            continue
        stamps = sum(map(times.is_stamp, cells))
        if stamps >= 0.6 * len(cells):
            found.append(place)
            if not any(times.has_time_of_day(cell) for cell in cells):
                dates_only.append(place)
        elif sum(map(times.is_time_of_day, cells)) >= 0.6 * len(cells):
            clocks.append(place)
    if not found:
        for place in range(min(width, 12)):
            cells = [row[place] for row in later if row[place]]
            heads = " ".join(row[place] for row in head[:6] if not _is_number(row[place]))
            if not cells or not (place == 0 or _TIME_HEADS.search(heads)):
                continue
            values = [float(cell) for cell in cells if re.fullmatch(r"\d+(\.\d+)?", cell)]
            if len(values) >= 0.9 * len(cells) and times.number_form(values) is not None:
                if len(values) > 2 and len(set(values)) < 2:
                    continue
                found.append(place)
                break
    # Beside a column with dates and times, one with dates alone or a second stamp of the same line says nothing more.
    whole = [place for place in found if place not in dates_only]
    if whole:
        found = whole
        if len(found) > 1 and any(b - a == 1 for a, b in zip(found, found[1:])):
            found = found[:1]
        dates_only = []
    else:
        found = found[:1]
    return found, dates_only, clocks


def _headings(heads, data, width, time_places) -> tuple[list[str], list[str], list[str]]:
    """Names, units and classes of columns, of the lines right above the data."""
    rows: list[list[str]] = []
    for row in reversed(heads[-6:]):
        cells = [cell for place, cell in enumerate(row) if cell and place not in time_places]
        if not cells or (len(cells) < 2 and width > 3 and len([c for c in row if c]) < 3):
            break
        if sum(map(_is_number, cells)) > 0.5 * len(cells):
            break
        rows.insert(0, row)
    names, units, labels = [""] * width, [""] * width, [""] * width
    parts: list[list[str]] = []
    for row in rows:
        cells = [cell for place, cell in enumerate(row) if cell and place not in time_places]
        named = sum(bool(unit_named(cell)) for cell in cells)
        classes = sum(
            kind_of_class(cell, False) is not None and ("_" in cell or len(re.split(r"[\s,;-]+", cell)) > 2)
            for cell in cells
        )
        if rows.index(row) > 0 and named >= 0.5 * len(cells):
            units = [unit_named(cell) for cell in row]
        elif len(rows) > 1 and classes >= 0.5 * len(cells) and (parts or row is not rows[-1]):
            labels = list(row)
        else:
            parts.append(row)
    if not parts and any(labels):
        parts, labels = [labels], [""] * width
    for row in parts[-2:]:
        names = [f"{before} {cell}".strip() if cell != before else before for before, cell in zip(names, row)]
    lines = {row[0].rstrip(":").strip(): row[1] for row in heads if width > 1 and row[0] and row[1] and row not in rows}
    for place, name in enumerate(names):
        # Some exports number their columns and say above the table which point each is.
        if name in lines and read_name(lines[name]).ideas:
            names[place] = lines[name]
        if not units[place]:
            units[place] = unit_in_name(names[place])
    seen: dict[str, int] = {}
    for place, name in enumerate(names):
        name = name or f"column {place + 1}"
        seen[name] = seen.get(name, 0) + 1
        names[place] = name if seen[name] == 1 else f"{name} ({seen[name]})"
    return names, units, labels


def _decimal(data, delimiter, time_places) -> str:
    """The decimal sign of the numbers."""
    if delimiter == ",":
        cells = [c for row in data for p, c in enumerate(row) if p not in time_places and "," in c]
        return "," if cells and all(re.fullmatch(r"-?\d+,\d{1,2}", c) for c in cells) else "."
    commas = points = 0
    for row in data:
        for place, cell in enumerate(row):
            if place not in time_places:
                commas += re.fullmatch(r"[-+]?\d{1,7},\d+(\s*\D.*)?", cell) is not None
                points += re.fullmatch(r"[-+]?\d{1,7}\.\d+(\s*\D.*)?", cell) is not None
    return "," if commas > points else "."


def _long(names, group: Group, data) -> Long | None:
    """Places of a table whose lines name their points, or None."""
    if len(group.columns) > 12:
        return None
    plain = {c.place: re.sub(r"[\s.]+", "", c.name.casefold()) for c in group.columns}
    numeric, texts = [], []
    for column in group.columns:
        cells = [row[column.place] for row in data if row[column.place]]
        if not cells:
            continue
        kinds = [_is_number(c) or c.casefold() in STATES or c.casefold() in MISSING for c in cells]
        head = plain[column.place]
        if sum(kinds) < 0.3 * len(cells) or head in _POINT_HEADS | _CLASS_HEADS | _UNIT_HEADS | _STATUS_HEADS:
            texts.append(column.place)
        else:
            numeric.append(column.place)
    if not texts:
        return None
    distinct = {place: len({row[place] for row in data}) for place in texts}
    by_head = lambda heads, places: next((p for p in places if plain[p] in heads), -1)
    unit, label = by_head(_UNIT_HEADS, texts), by_head(_CLASS_HEADS, texts)
    status = by_head(_STATUS_HEADS, texts)
    rest = [p for p in texts if p not in (unit, label, status)]
    name = by_head(_POINT_HEADS, rest)
    if name < 0:
        likely = [p for p in rest if any(read_name(row[p]).ideas for row in data[:50])]
        repeated = [p for p in likely if 1 < distinct[p] <= max(0.5 * len(data), 2)]
        name = max(repeated, key=lambda p: distinct[p], default=-1) if len(numeric) == 1 else -1
    value = by_head(_VALUE_HEADS, [*numeric, *rest])
    if value < 0 and len(numeric) == 1:
        value = numeric[0]
    if name < 0 or value < 0 or value == name:
        return None
    return Long(name, value, unit, label, status)


def _with_status(group: Group) -> Group:
    """Columns of values, each with the column of status right behind it."""
    columns: list[Column] = []
    for column in group.columns:
        head = re.sub(r"[\s.]+", "", re.sub(r" \(\d+\)$", "", column.name).casefold())
        plain = sum(_is_number(cell) or cell.casefold() in STATES for cell in column.sample)
        says = columns and head in _STATUS_HEADS and columns[-1].place == column.place - 1
        if says and plain < 0.5 * max(len(column.sample), 1):
            columns[-1] = replace(columns[-1], status=column.place)
        else:
            columns.append(column)
    return replace(group, columns=tuple(columns))


def _named_by_file(group: Group, path: Path, sheet: str, heads) -> Group:
    """Columns with names; where the only one's says nothing, that of the file, of the sheet or above the table."""
    if len(group.columns) > 2:
        return group
    columns = []
    for column in group.columns:
        ideas = read_name(re.sub(r"(?i)^(present )?val(ue)?\b", "", column.name)).ideas
        name = column.name
        if not ideas - {"status", "signal"}:
            above = [cell.partition(":")[2].strip() or cell for row in heads for cell in row if cell and cell != name]
            choices = [text for text in (path.stem, sheet, *above) if read_name(text).ideas]
            name = choices[0] if choices else f"{path.stem} {column.name}"
        columns.append(replace(column, name=name, unit=column.unit or unit_in_name(name)))
    return Group(group.time_places, group.form, tuple(columns))


def _stamps_of(rows, group: Group, place: int) -> list[float | None]:
    form = group.form
    found: list[float | None] = []
    for row in rows:
        if len(row) <= max(group.time_places):
            continue
        text = " ".join(row[p] for p in group.time_places)
        if form.kind in ("s", "ms", "serial"):
            if _is_number(text):
                number = float(text)
                found.append({"s": number, "ms": number / 1000.0}.get(form.kind, (number - 25569.0) * 86400.0))
        else:
            found.append(times.seconds_of(text, "year first" if form.kind == "stamps" else form.order))
    return found


def _interval(rows, group: Group, place: int, long: Long | None) -> float:
    """Usual step between stamps of one point, of the lines looked at. [s]"""
    import numpy as np

    if long is not None:
        counts: dict[str, int] = {}
        for row in rows:
            counts[row[long.name]] = counts.get(row[long.name], 0) + 1
        most = max(counts, key=counts.get) if counts else ""  # type: ignore[arg-type]
        rows = [row for row in rows if row[long.name] == most]
    stamps = [s for s in _stamps_of(rows, group, place) if s is not None]
    steps = np.diff(np.array(stamps))
    back = float(np.mean(steps < 0)) if steps.size else 0.0
    if 0.1 < back < 0.9:  # in no order: neighbours in time may not be among the lines looked at
        steps = np.diff(np.unique(stamps))
        return float(np.quantile(steps, 0.1)) if steps.size else 300.0
    steps = np.abs(steps)[steps != 0]
    return float(np.median(steps)) if steps.size else 300.0
