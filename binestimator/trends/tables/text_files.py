"""Text files of a log: encoding, delimiter, what is looked at."""

from __future__ import annotations

import csv
import io
import os
import re
from pathlib import Path

from binestimator.errors import InputError
from binestimator.inputs.files import readable_file

from .headings import table_of
from .table import HEAD_BYTES, LARGEST_LOG, LONGEST_LINE, WINDOW_BYTES, WINDOWS, Table
from .workbooks import look_at_workbook

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


def look(path: str | Path, date_order: str = "") -> list[Table]:
    """Tables of a file: one of a text, one for each sheet of a workbook that holds times.

    Raises
    ------
    InputError
        The file is missing, no text and no workbook, or holds no table with times.
    """
    path = readable_file(path, "trend log", largest=LARGEST_LOG)
    with open(path, "rb") as file:
        start = file.read(HEAD_BYTES)
    if not start.strip(b"\0 \t\r\n"):
        raise InputError(f"{path}: the trend log is empty; export it again")
    if start.startswith(b"PK"):
        return look_at_workbook(path, date_order)
    return [look_at_text(path, start, date_order)]


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


def look_at_text(path: Path, start: bytes, date_order: str) -> Table:
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
    delimiter = delimiter_of(text)
    records = records_of(text, delimiter)
    windows: list[list[list[str]]] = []
    if size > len(start):
        with open(path, "rb") as file:
            for k in range(1, WINDOWS + 1):
                at = len(start) + (size - len(start) - WINDOW_BYTES) * k // WINDOWS
                at -= at % 4
                file.seek(max(at, 0))
                part = file.read(WINDOW_BYTES).decode(_unmarked(encoding, start), "replace")
                windows.append(records_of("\n".join(re.split(r"\r\n|\r|\n", part)[1:-1]), delimiter))
    table = table_of(path, "", records, windows, delimiter, encoding, date_order)
    used = len(text.encode(encoding, "replace")) / max(len(records), 1) if size > len(start) else 0.0
    table.records = size / used if used else float(len(records))
    return table


def records_of(text: str, delimiter: str) -> list[list[str]]:
    found = []
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=delimiter)
    try:
        for record in reader:
            bare = [cell.strip() for cell in record]
            if any(bare):
                found.append(bare)
    except csv.Error:
        pass  # a field of more than 131,072 characters: what came before is enough to judge by
    return found


def delimiter_of(text: str) -> str:
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
