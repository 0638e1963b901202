"""Zones files: one zone a line (CSV), as spreadsheet programs save them."""

from __future__ import annotations

import csv
import re
from collections.abc import Mapping
from pathlib import Path

from binestimator.errors import InputError
from binestimator.inputs.files import read_text
from binestimator.inputs.given import MOST, nameless
from binestimator.inputs.problems import NOT_GIVEN, Problems, sentence
from binestimator.inputs.raw_tables import unknown, values_of
from binestimator.inputs.schema import fields_of
from binestimator.inputs.toml_words import quoted_line
from binestimator.inputs.values import check_value, raw_from_text


def read_zones_csv(problems: Problems, path: Path, before: int) -> list[dict]:
    """Zones of a CSV file: a header of input names, one zone a line, empty cells not given.

    Cells are separated by commas, semicolons, tabs or bars, whichever the header uses. Empty lines are skipped, and so
    is a first line ``sep=;``. A cell cannot hold a line break: no input of a zone may, so that each line is read for
    itself.
    """
    where, fields = path.name, fields_of("zone")
    try:
        text = read_text(path, "zones file", "in a spreadsheet program, save the sheet of zones as CSV (UTF-8)")
    except InputError as error:
        problems.add_bad("project.zones_csv", str(error))
        return []
    lines = [(number, line) for number, line in enumerate(text.split("\n"), start=1) if line.strip(" \t,;|")]
    if lines and re.fullmatch(r'"?sep=.?"?', lines[0][1].strip(), re.IGNORECASE):
        del lines[0]
    if not lines:
        problems.add_bad("project.zones_csv", sentence(f"{where} is empty", expected="a header line of zone inputs"))
        return []
    delimiter = _delimiter(lines[0][1], fields)
    number, header = lines[0]
    columns = [name.strip() for name in _csv_cells(problems, where, number, header, delimiter) or ()]
    while columns and not columns[-1]:  # a separator at the end of the line
        columns.pop()
    if not _good_columns(problems, f"{where} line {number}", header, columns, fields):
        problems.bad.add("zone")
        return []
    if len(lines) - 1 > MOST["zone"]:
        problems.add_bad(
            "zone",
            sentence(
                f"{where} has {len(lines) - 1} zones",
                expected=f"at most {MOST['zone']}",
                do="join alike zones by their multiplier",
            ),
        )
        return []
    zones: list[dict] = []
    for number, line in lines[1:]:
        place = f"{where} line {number}"
        cells = _csv_cells(problems, where, number, line, delimiter)
        if cells is not None and (len(cells) < len(columns) or any(cell.strip() for cell in cells[len(columns) :])):
            problems.add(place, *_miscounted(line, cells, columns, delimiter, fields))
            cells = None
        stand_in = nameless(before + len(zones))
        if cells is None:  # nothing is said about the values of a line that is not whole
            problems.bad.update(f"zone[{stand_in}].{name}" for name in fields)
            zones.append({})
            continue
        raw = {
            name: raw_from_text(fields[name], cell)
            for name, cell in zip(columns, cells, strict=False)
            if name in fields and cell.strip()
        }
        values = values_of(problems, "zone", raw, place, in_cells=True)
        name = values.get("name", stand_in)
        for key in raw:
            if f"{place}.{key}" in problems.bad:
                problems.bad.add(f"zone[{name}].{key}")
        zones.append(values)
    return zones


_DELIMITERS = {",": "comma", ";": "semicolon", "\t": "tab", "|": "bar"}


def _delimiter(header: str, fields: Mapping) -> str:
    """Separator under which most cells of the header name inputs; the comma if none does better."""

    def known(delimiter: str) -> int:
        return sum(cell.strip(' "') in fields for cell in header.split(delimiter))

    return max(_DELIMITERS, key=known)


def _csv_cells(problems: Problems, where: str, number: int, line: str, delimiter: str) -> list[str] | None:
    """Cells of a line, or ``None`` with the problem noted."""
    try:
        return next(csv.reader([line], delimiter=delimiter, strict=True))
    except csv.Error as error:
        if line.count('"') % 2:
            what, do = (
                "a quote without its partner",
                'put a whole cell in quotes, or write "" for a quote (inch sign) inside one',
            )
        elif '"' in line:
            what, do = (
                "text after a closing quote",
                f'put the {_DELIMITERS[delimiter]} after it, or write "" for a quote inside a cell',
            )
        else:
            what, do = f"not valid CSV ({error})", "remove what does not print"
        problems.add_bad(f"{where} line {number}", f"{what}; got {quoted_line(line)}; {do}")
        return None


def _good_columns(problems: Problems, place: str, header: str, columns: list[str], fields: Mapping) -> bool:
    """Whether the columns can be used; what is wrong with them is noted."""
    if columns and not any(name in fields for name in columns):
        problems.add_bad(
            "project.zones_csv",
            f"{place}: no column is an input of a zone; got {quoted_line(header)}; expected a header line such as "
            "name,group,area_ft2,max_cfm with commas, semicolons or tabs between the names",
        )
        return False
    for name in columns:
        if not name:
            problems.add(place, f"a column without a name; got {quoted_line(header)}", do="name it, or remove it")
        elif name not in fields:
            unknown(problems, place, name, "", tuple(fields), "zone")
        elif columns.count(name) > 1:
            problems.add(f"{place}.{name}", "the column appears twice", do="remove one")
    lacking = [name for name, field in fields.items() if field.required and name not in columns]
    if columns and lacking:
        problems.add_bad(
            place,
            f"no column {' and no column '.join(lacking)}, which every zone needs; got {quoted_line(header)}; add it",
        )
    return bool(columns) and not lacking


def _fits(cells: list[str], columns: list[str], fields: Mapping) -> bool:
    """Whether every cell of a line could be meant as it is."""
    return all(
        not cell.strip()
        or name not in fields
        or check_value(fields[name], raw_from_text(fields[name], cell))[1] is None
        for name, cell in zip(columns, cells, strict=False)
    )


def _miscounted(line: str, cells: list[str], columns: list[str], delimiter: str, fields: Mapping) -> tuple:
    """What is wrong with a line of too few or too many cells: what, got, expected, do."""
    sign, missing = _DELIMITERS[delimiter], len(columns) - len(cells)
    what = f"has {len(cells)} cell{'' if len(cells) == 1 else 's'}, the header {len(columns)}; got {quoted_line(line)}"
    other = next((each for each in _DELIMITERS if each != delimiter and line.count(each) >= len(columns) - 1 > 0), None)
    if other and len(cells) == 1:
        return f"{what} with {_DELIMITERS[other]}s", NOT_GIVEN, f"{sign}s between the cells, as in the header"
    if missing > 0:
        return (
            what,
            NOT_GIVEN,
            "",
            f"an empty cell keeps its {sign}: add the {missing} missing {sign}{'s' if missing > 1 else ''} where a "
            "cell is empty",
        )
    if delimiter == "," and missing == -1:
        split = [
            at
            for at in range(len(columns))
            if _fits([*cells[:at], f"{cells[at]}.{cells[at + 1]}".replace(" ", ""), *cells[at + 2 :]], columns, fields)
            or _fits([*cells[:at], f"{cells[at]}{cells[at + 1]}".replace(" ", ""), *cells[at + 2 :]], columns, fields)
        ]
        numeric = [at for at in split if all(re.fullmatch(r"\s*-?\d+\s*", part) for part in cells[at : at + 2])]
        if len(numeric) == 1:
            left, right = (part.strip() for part in cells[numeric[0] : numeric[0] + 2])
            return (
                f"{what}; if {columns[numeric[0]]} is {left},{right}, its comma separates two cells",
                NOT_GIVEN,
                "",
                f"write {left}.{right} with a decimal point, or {left}{right} without the separator of thousands",
            )
        return (
            what,
            NOT_GIVEN,
            "",
            "write numbers without commas inside (12.5, 1000), and put a name that holds a comma in quotes",
        )
    return what, NOT_GIVEN, "", f"put a cell that holds a {sign} in quotes"
