"""Recalculation of workbooks by an independent spreadsheet program, and edits made in the file itself."""

from __future__ import annotations

import csv
import functools
import html
import io
import os
import re
import shutil
import subprocess
import zipfile
from pathlib import Path

import numpy as np

from binestimator.workbook.strict import column_name

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

    def recalculated(self, workbooks: dict[str, bytes]) -> dict[str, bytes]:
        """Workbooks by name, after everything in them has been computed anew."""
        source, out = self.folder / "given", self.folder / "found"
        source.mkdir(exist_ok=True)
        files = []
        for name, content in workbooks.items():
            files.append(source / f"{name}.xlsx")
            files[-1].write_bytes(content)
        self._convert("xlsx", files, out)
        return {name: (out / f"{name}.xlsx").read_bytes() for name in workbooks}

    def sheet_after(self, workbooks: dict[str, bytes], sheet: str) -> dict[str, list[list[str]]]:
        """One sheet of each workbook as rows of texts, numbers with all digits, after everything has been computed
        anew."""
        source, out = self.folder / "edited", self.folder / "tables"
        source.mkdir(exist_ok=True)
        by_number: dict[int, list[Path]] = {}
        for name, content in workbooks.items():
            file = source / f"{name}.xlsx"
            file.write_bytes(content)
            by_number.setdefault(1 + list(_members(content)).index(sheet), []).append(file)
        for number, files in by_number.items():
            self._convert(
                f"csv:Text - txt - csv (StarCalc):44,34,76,1,,0,false,false,false,false,false,{number}", files, out
            )
        tables = {}
        for name in workbooks:
            (found,) = out.glob(f"{name}-*.csv")
            with found.open(encoding="utf-8", newline="") as handle:
                tables[name] = list(csv.reader(handle))
        return tables


def _members(content: bytes) -> dict[str, str]:
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
        for name, member in _members(content).items():
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


def edited(content: bytes, changes: dict[tuple[str, str], float]) -> bytes:
    """The file with other numbers in some cells, everything else as it is.

    Parameters
    ----------
    changes : dict
        (sheet, address) -> number.
    """
    members = _members(content)
    with zipfile.ZipFile(io.BytesIO(content)) as archive:
        parts = {item.filename: archive.read(item.filename) for item in archive.infolist()}
    for (sheet, address), value in changes.items():
        text = parts[members[sheet]].decode()
        pattern = rf'<c r="{address}"((?: s="\d+")?)[^>]*?(?:/>|>.*?</c>)'
        text, count = re.subn(
            pattern, lambda m: f'<c r="{address}"{m.group(1)}><v>{value!r}</v></c>', text, count=1, flags=re.DOTALL
        )
        assert count == 1, f"{sheet}!{address} is not in the file"
        parts[members[sheet]] = text.encode()
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, part in parts.items():
            archive.writestr(name, part)
    return out.getvalue()


def compare_books(label: str, own_book: bytes, found: bytes) -> int:
    """Every number and every text of a formula, as written and as computed anew; returns how many numbers there are."""
    wanted, got = cells(own_book), cells(found)
    compared = 0
    for sheet, own in wanted.items():
        other = got[sheet]
        bad = [address for address, (kind, _) in other.items() if kind == "e"]
        assert not bad, f"{label} {sheet}: errors in {bad[:5]}"
        numbers = [address for address, (kind, _) in own.items() if kind == "n"]
        missing = [address for address in numbers if other.get(address, ("",))[0] != "n"]
        assert not missing, f"{label} {sheet}: no number in {missing[:5]}"
        mine = np.array([float(own[address][1]) for address in numbers])
        theirs = np.array([float(other[address][1]) for address in numbers])
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
