"""Recalculation of workbooks by an independent spreadsheet program, and edits made in the file itself."""

from __future__ import annotations

import csv
import functools
import html
import io
import os
import re
import shutil
import string
import subprocess
import zipfile
from pathlib import Path

import numpy as np

from binestimator.workbook.addresses import column_name

# Two programs add in another order and round exponentials and powers their own way.
RELATIVE = 1e-6
# Absolute floor, in the unit of each cell (°F, cfm, kW, kBtu/h, USD, lb/lb × 1000 ...): differences of
# sums that cancel are no smaller than the rounding of what they are the difference of.
FLOOR = 1e-6

# Everything is computed anew on loading, whatever values the file carries.
_PROFILE = """<?xml version="1.0" encoding="UTF-8"?>
<oor:items xmlns:oor="http://openoffice.org/2001/registry"
 xmlns:xs="http://www.w3.org/2001/XMLSchema" xmlns:xsi="http://www.w3.org/2001/XMLSchema-instance">
<item oor:path="/org.openoffice.Office.Calc/Formula/Load">
<prop oor:name="OOXMLRecalcMode" oor:op="fuse"><value>0</value></prop></item>
</oor:items>
"""
_ROW = re.compile(r'<row r="(\d+)"[^>]*?(?:/>|>(.*?)</row>)', re.DOTALL)
_CELL = re.compile(r'<c(?: r="([A-Z]+)\d+")?((?: [a-z]+="[^"]*")*)\s*(?:/>|>(.*?)</c>)', re.DOTALL)
# A table of each sheet: comma, quotes, UTF-8, texts quoted and numbers not, values rather than what is shown.
_ALL_SHEETS = "csv:Text - txt - csv (StarCalc):44,34,76,1,,0,true,true,false,false,false,-1"
_TABLE_CELL = re.compile(r'("(?:[^"]|"")*")?([^",\n]*)(,|\n|\Z)')
_NUMBER = re.compile(r"-?\d[\d.]*(?:E[+-]?\d+)?%?")
_ERROR = re.compile(r"#(?:DIV/0!|N/A|NAME\?|NULL!|NUM!|REF!|VALUE!)|Err:\d+")
_LETTERS = ["", *string.ascii_uppercase]
# Names of columns: A to Z, AA to ZZ, AAA on.
_COLUMNS = [a + b + c for a in _LETTERS for b in (_LETTERS if not a else _LETTERS[1:]) for c in _LETTERS[1:]][:16_384]
# The value that a formula carries, and the cells that an array formula fills.
_CARRIED = re.compile(r"(</f>|<f[^>]*/>)<v>[^<]*</v>")
_ARRAY = re.compile(r'<f t="array" ref="([A-Z]+)(\d+):([A-Z]+)(\d+)"')


class Spreadsheet:
    """LibreOffice under a profile of its own.

    Parameters
    ----------
    folder : Path
        For the profile and the files.
    """

    def __init__(self, folder: Path):
        self.program = shutil.which("soffice") or shutil.which("libreoffice")
        # The proof is the point of these tests: without the program they fail.
        assert self.program, "LibreOffice (soffice) is not installed: the workbook cannot be proven"
        self.folder = folder
        user = folder / "profile" / "user"
        user.mkdir(parents=True)
        (user / "registrymodifications.xcu").write_text(_PROFILE, encoding="utf-8")
        self._rounds = 0

    def _convert(self, to: str, files: list[Path], out: Path) -> None:
        out.mkdir(parents=True, exist_ok=True)
        done = subprocess.run(
            [
                self.program,
                f"-env:UserInstallation={(self.folder / 'profile').as_uri()}",
                "--headless",
                "--convert-to",
                to,
                "--outdir",
                str(out),
                *map(str, files),
            ],
            capture_output=True,
            text=True,
            timeout=900,
            env={**os.environ, "SAL_USE_VCLPLUGIN": "svp"},
        )
        assert done.returncode == 0, done.stderr

    def converted(self, to: str, workbooks: dict[str, bytes]) -> Path:
        """Folder with what workbooks become in another format, all in one start of the program."""
        self._rounds += 1
        source, out = self.folder / f"given{self._rounds}", self.folder / f"found{self._rounds}"
        source.mkdir()
        files = []
        for name, content in workbooks.items():
            files.append(source / f"{name}.xlsx")
            files[-1].write_bytes(content)
        self._convert(to, files, out)
        return out

    def resaved(self, workbooks: dict[str, bytes]) -> dict[str, bytes]:
        """Workbooks by name as the program saves them, after everything in them has been computed anew."""
        out = self.converted("xlsx", workbooks)
        return {name: (out / f"{name}.xlsx").read_bytes() for name in workbooks}

    def recalculated(self, workbooks: dict[str, bytes]) -> dict[str, Recalculated]:
        """Values of all sheets of workbooks by name, after everything in them has been computed anew."""
        out = self.converted(_ALL_SHEETS, workbooks)
        return {
            name: Recalculated({sheet: out / f"{name}-{sheet}.csv" for sheet in members_of(content)})
            for name, content in workbooks.items()
        }


class Recalculated:
    """What the spreadsheet program found in a workbook: a table of texts for each sheet, numbers with all digits.

    Parameters
    ----------
    files : dict
        Sheet name -> its table. A sheet that the program left out is a missing file, on which reading fails.
    """

    def __init__(self, files: dict[str, Path]):
        self.files = files

    def table(self, sheet: str) -> list[list[str]]:
        """One sheet as rows of texts."""
        with self.files[sheet].open(encoding="utf-8", newline="") as handle:
            return list(csv.reader(handle))

    def cells(self, sheet: str) -> dict[str, tuple[str, str]]:
        """Address -> (kind, value) of the cells of a sheet with a value; kind ``n`` number, ``s`` text, ``b`` a truth
        value or a date. Errors are texts here."""
        found, row, column = {}, 1, 0
        for quoted, plain, end in _TABLE_CELL.findall(self.files[sheet].read_text(encoding="utf-8")):
            if quoted:
                found[f"{_COLUMNS[column]}{row}"] = ("s", quoted[1:-1].replace('""', '"'))
            elif plain:
                kind = "n" if _NUMBER.fullmatch(plain) else "b"
                found[f"{_COLUMNS[column]}{row}"] = (kind, plain)
            if end == ",":
                column += 1
            else:
                row, column = row + 1, 0
        return found


def number_of(text: str) -> float:
    """Number of a table; cells shown in percent are in percent there, with all their digits."""
    return float(text[:-1]) / 100.0 if text.endswith("%") else float(text)


@functools.lru_cache(maxsize=2)
def members_of(content: bytes) -> dict[str, str]:
    """Part of the file by sheet name, in order."""
    with zipfile.ZipFile(io.BytesIO(content)) as archive:
        book = archive.read("xl/workbook.xml").decode()
        relations = archive.read("xl/_rels/workbook.xml.rels").decode()
    targets = {}
    for tag in re.findall(r"<Relationship [^>]*>", relations):
        targets[re.search(r' Id="([^"]+)"', tag).group(1)] = re.search(r' Target="([^"]+)"', tag).group(1)
    found = {}
    for tag in re.findall(r"<sheet [^>]*>", book):
        name = html.unescape(re.search(r' name="([^"]+)"', tag).group(1))
        found[name] = "xl/" + targets[re.search(r' r:id="([^"]+)"', tag).group(1)].removeprefix("/xl/")
    return found


def cells(content: bytes) -> dict[str, dict[str, tuple[str, str]]]:
    """Sheet -> address -> (kind, value) of all cells with a value; kind ``n`` number, ``e`` error, others text.

    Read from the file's own text: a library takes minutes for the half million cells of a workbook.
    """
    found = {}
    with zipfile.ZipFile(io.BytesIO(content)) as archive:
        for name, member in members_of(content).items():
            sheet = {}
            for row, line in _ROW.findall(archive.read(member).decode()):
                place = -1
                for letters, attributes, body in _CELL.findall(line):
                    # A cell without an address follows the one before it.
                    place = _place_of(letters) if letters else place + 1
                    # Signs are looked for one after the other, not by patterns: this runs over half a million cells.
                    start = body.find("<v")
                    if start < 0:
                        continue
                    start = body.index(">", start) + 1
                    value = body[start : body.index("<", start)]
                    if value != "":
                        kind = attributes.find(' t="') + 4
                        sheet[(letters or column_name(place)) + row] = (
                            attributes[kind : attributes.index('"', kind)] if kind > 3 else "n",
                            html.unescape(value) if "&" in value else value,
                        )
            found[name] = sheet
    return found


@functools.cache
def _place_of(letters: str) -> int:
    """Column counted from 0 by its letters."""
    return functools.reduce(lambda number, letter: 26 * number + ord(letter) - 64, letters, 0) - 1


def without_values(content: bytes) -> bytes:
    """The file with its formulas, and none of the values that they carry: whoever reads it has to compute them."""
    out = io.BytesIO()
    sheets = set(members_of(content).values())
    with (
        zipfile.ZipFile(io.BytesIO(content)) as archive,
        zipfile.ZipFile(out, "w", zipfile.ZIP_STORED) as made,
    ):
        for name in archive.namelist():
            part = archive.read(name)
            if name in sheets:
                text = _CARRIED.sub(r"\1<v></v>", part.decode())
                part = _without_values_of_arrays(text).encode()
            made.writestr(name, part)
    return out.getvalue()


def _without_values_of_arrays(text: str) -> str:
    """The cells that array formulas fill: all but the first carry values, and no formula of their own."""
    areas = [
        (int(top), int(bottom), _place_of(left), _place_of(right)) for left, top, right, bottom in _ARRAY.findall(text)
    ]
    if not areas:
        return text
    by_row: dict[int, list[tuple[int, int]]] = {}
    for top, bottom, left, right in areas:
        for row in range(top, bottom + 1):
            by_row.setdefault(row, []).append((left, right))

    def line(found: re.Match) -> str:
        spans = by_row.get(int(found.group(1)))
        if not spans:
            return found.group(0)
        place = -1

        def cell(of: re.Match) -> str:
            nonlocal place
            letters, _, body = of.groups()
            place = _place_of(letters) if letters else place + 1
            if not body or "<f" in body or not any(left <= place <= right for left, right in spans):
                return of.group(0)
            return of.group(0).replace(body, "<v></v>")

        return _CELL.sub(cell, found.group(0))

    return _ROW.sub(line, text)


_PLACE = r'<c r="{}"((?: s="\d+")?)[^>]*?(?:/>|>.*?</c>)'


@functools.lru_cache(maxsize=2)
def _parts_of(content: bytes) -> dict[str, bytes]:
    """Parts of a file by name. Several edits are made in one file after the other."""
    with zipfile.ZipFile(io.BytesIO(content)) as archive:
        return {item.filename: archive.read(item.filename) for item in archive.infolist()}


def has_cell(content: bytes, sheet: str, address: str) -> bool:
    """Whether a cell is in the file, and can be edited."""
    return f'<c r="{address}"'.encode() in _parts_of(content)[members_of(content)[sheet]]


def edited(content: bytes, changes: dict[tuple[str, str], float | str | bool | None]) -> bytes:
    """The file with other values in some cells, everything else as it is.

    Parameters
    ----------
    changes : dict
        (sheet, address) -> number, text, truth, or None for an empty cell.
    """
    members, parts = members_of(content), dict(_parts_of(content))
    texts = {sheet: parts[members[sheet]].decode() for sheet, _ in changes}
    for (sheet, address), value in changes.items():
        if isinstance(value, str):
            kind, inner = ' t="inlineStr"', f'<is><t xml:space="preserve">{html.escape(value)}</t></is>'
        elif isinstance(value, bool):
            kind, inner = ' t="b"', f"<v>{value:d}</v>"
        else:
            kind, inner = "", "" if value is None else f"<v>{value!r}</v>"
        new = lambda m, kind=kind, inner=inner, address=address: f'<c r="{address}"{m.group(1)}{kind}>{inner}</c>'
        texts[sheet], count = re.subn(_PLACE.format(address), new, texts[sheet], count=1, flags=re.DOTALL)
        assert count == 1, f"{sheet}!{address} is not in the file"
    parts |= {members[sheet]: text.encode() for sheet, text in texts.items()}
    out = io.BytesIO()
    # Files that are read once are not worth compressing.
    with zipfile.ZipFile(out, "w", zipfile.ZIP_STORED) as archive:
        for name, part in parts.items():
            archive.writestr(name, part)
    return out.getvalue()


def compare_books(label: str, own_book: bytes, found: Recalculated) -> int:
    """Every number and every text of a formula, as written and as computed anew; returns how many numbers there are."""
    compared = 0
    for sheet, own in cells(own_book).items():
        other = found.cells(sheet)
        errors = [a for a, (kind, value) in other.items() if kind == "s" and _ERROR.fullmatch(value)]
        # Words of a user that read as an error are none.
        bad = [a for a in errors if own.get(a, ("", ""))[0] != "s" and own.get(a, ("", ""))[1] != other[a][1]]
        assert not bad, f"{label} {sheet}: errors in {bad[:5]}"
        numbers = [address for address, (kind, _) in own.items() if kind == "n"]
        missing = [address for address in numbers if other.get(address, ("",))[0] != "n"]
        assert not missing, f"{label} {sheet}: no number in {missing[:5]}"
        mine = np.array([float(own[address][1]) for address in numbers])
        theirs = np.array([number_of(other[address][1]) for address in numbers])
        apart = np.abs(mine - theirs) > RELATIVE * np.maximum(np.abs(mine), FLOOR / RELATIVE * 1e-3)
        assert not apart.any(), (
            f"{label} {sheet}: {[(numbers[k], mine[k], theirs[k]) for k in np.flatnonzero(apart)[:5]]}"
        )
        compared += len(numbers)
        texts = [
            address
            for address, (kind, value) in own.items()
            if kind == "str" and other.get(address, ("", ""))[1] != value
        ]
        assert not texts, f"{label} {sheet}: other texts in {texts[:5]}"
    return compared
