"""Formats of weather files: registering one is a line here. A file's own first lines say which it is."""

from __future__ import annotations

import re

from binestimator.errors import WeatherError
from binestimator.inputs.files import text_of
from binestimator.weather.epw import EPW
from binestimator.weather.parsing import RawWeather, WeatherFormat, quoted
from binestimator.weather.tmy2 import TMY2
from binestimator.weather.tmy3 import TMY3

#: In the order in which messages list them; at most one recognises a file.
FORMATS: tuple[WeatherFormat, ...] = (
    TMY3,
    TMY2,
    EPW,
)


def _listed(words: list[str]) -> str:
    return f"{', '.join(words[:-1])} or {words[-1]}"


NAMES = _listed([known.name for known in FORMATS])


def lines_of(file_name: str, content: bytes) -> list[str]:
    """Lines of the file, line 1 first; no blank lines at its end."""
    if not content.strip():
        raise WeatherError(f"{file_name}: the file is empty; expected {NAMES} weather")
    # Station names of older files are in Latin-1, with which decoding cannot fail.
    text = text_of(
        content,
        file_name,
        "weather file",
        f"expected {NAMES} weather: unpack an archive, and save a sheet as plain text",
        WeatherError,
        other="latin-1",
    )
    return text.rstrip().split("\n")


def parse(file_name: str, lines: list[str]) -> RawWeather:
    """Raw columns of the lines of a file, by the format that its first lines show."""
    found = format_of(file_name, lines)
    # After the format is known: a file of another kind is not blamed for its blank lines.
    for number, line in enumerate(lines, start=1):
        if not line.strip():
            raise WeatherError(f"{file_name}, line {number:,}: the line is blank; remove it")
    return found.parse(file_name, lines)


def format_of(file_name: str, lines: list[str]) -> WeatherFormat:
    """The format that the first lines show."""
    _refuse_other_separators(file_name, lines)
    for known in FORMATS:
        if known.recognises(lines):
            return known
    what = _other_layout(lines)
    if what:
        raise WeatherError(f"{file_name}, line 1: {what}; got {quoted(lines[0])}; expected a {NAMES} file")
    shown = _listed([f"{known.name} ({known.shows})" for known in FORMATS])
    raise WeatherError(
        f"{file_name}, line 1: the format is not recognised; got {quoted(lines[0])}; expected {shown}; other formats "
        "must be converted to one of them first"
    )


_SEPARATORS = {";": "semicolons", "\t": "tabs", "|": "bars"}


def _refuse_other_separators(file_name: str, lines: list[str]) -> None:
    """Refuse a file that a spreadsheet program saved with semicolons or tabs, or with quotes around its lines."""
    look = lines[:12]
    for sign, name in _SEPARATORS.items():
        if sum(line.count(sign) >= 5 for line in look) >= min(2, len(look)):
            number = next(number for number, line in enumerate(look, start=1) if line.count(sign) >= 5)
            row = next(
                (row for row in lines[10:30] if re.search(rf"{re.escape(sign)}-?\d+,\d+{re.escape(sign)}", row)), ""
            )
            comma = " and decimal commas" if row else ""
            raise WeatherError(
                f"{file_name}, line {number}: the fields are separated by {name}{comma}; got "
                f"{quoted(row or look[number - 1])}; expected commas"
                f"{' and decimal points' if row else ''}, as in the file at its source; take that file as it is (a "
                "spreadsheet program "
                "changes it on saving)"
            )
    wrapped = next(
        (
            number
            for number, line in enumerate(look, start=1)
            if re.fullmatch(r'"[^"]*,[^"]*,[^"]*,[^"]*(""[^"]*)*"[,;]*', line.strip())
        ),
        0,
    )
    if wrapped:
        raise WeatherError(
            f"{file_name}, line {wrapped}: quotes around the whole line; got {quoted(look[wrapped - 1])}; take the "
            "file as it is at its source, or "
            "remove the quotes"
        )


def _other_layout(lines: list[str]) -> str:
    """What a file is that is none of them, in words, or an empty text."""
    start, names = lines[0].lstrip(), {name.strip().casefold() for line in lines[:4] for name in line.split(",")}
    if start.startswith(("{", "[{")):
        return (
            "a JSON file, not a weather file; if it is a typical year, its source may offer it in EPW form: take that"
        )
    if start.startswith("<"):
        return "a web page or XML file, perhaps saved in place of the weather file itself; fetch the file again"
    if start.startswith("[") and any(line.startswith("[weather]") for line in lines[:200]):
        return "the format is not recognised: this looks like a project file"
    if start.startswith("Latitude (decimal degrees)"):
        return (
            "a typical year in the CSV layout of the European Commission's PVGIS, which offers the same year in EPW "
            "form: take that"
        )
    if {"year", "month", "day", "hour", "minute", "ghi", "dni"} <= names:
        return (
            "hourly data in the CSV layout of the National Solar Radiation Database, often stamped at half past the "
            "hour; convert it to EPW, "
            "or take a TMY3 file of that database"
        )
    if "date" in "".join(names) and any("w/m" in name for name in names):
        return (
            "hourly data under column names that are not those of TMY3; the second line of TMY3 begins 'Date "
            "(MM/DD/YYYY)'"
        )
    return ""
