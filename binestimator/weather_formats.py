"""Lines of a TMY3, TMY2 or EPW file to columns in SI units, checked for form and order.

TMY3 and EPW are parsed by ``pvlib.iotools``. TMY2 is sliced here by its fixed columns:
pvlib's reader takes 0.6 s for a file and refuses station names of more than one word; the
tests compare every used column with it. What pvlib does not check is checked before: the
header, the number of fields, and that the rows are the 8,760 hours of a year in order.

References
----------
Wilcox and Marion, Users Manual for TMY3 Data Sets, NREL/TP-581-43156 (2008).
Marion and Urban, User's Manual for TMY2s, NREL (1995), table 3-2 (columns).
EnergyPlus Auxiliary Programs, EPW data dictionary (order of fields; from memory).
"""

from __future__ import annotations

import csv
import io
import re
import warnings
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import pandas as pd

from binestimator.errors import WeatherError
from binestimator.inputs.files import text_of
from binestimator.inputs.problems import printable

HOURS_IN_YEAR = 8760
"""Hours of a typical year [h]; none of the formats knows a 29 February."""

DAYS_IN_MONTH = np.array([31, 28, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31])
"""Days of the months of the 365-day calendar."""

MONTH_NAMES = (
    "January",
    "February",
    "March",
    "April",
    "May",
    "June",
    "July",
    "August",
    "September",
    "October",
    "November",
    "December",
)


def typical_calendar() -> pd.DataFrame:
    """The 365-day calendar: ``hour_of_year``, ``month``, ``day``, ``hour_start`` by hour."""
    month_of_day = np.repeat(np.arange(1, 13), DAYS_IN_MONTH)
    day_of_month = np.concatenate([np.arange(1, days + 1) for days in DAYS_IN_MONTH])
    return pd.DataFrame(
        {
            "hour_of_year": np.arange(HOURS_IN_YEAR),
            "month": np.repeat(month_of_day, 24),
            "day": np.repeat(day_of_month, 24),
            "hour_start": np.tile(np.arange(24), 365),
        }
    )


def lines_of(file_name: str, content: bytes) -> list[str]:
    """Lines of the file, line 1 first; no blank lines at its end."""
    if not content.strip():
        raise WeatherError(f"{file_name}: the file is empty; expected TMY3, TMY2 or EPW weather")
    # Station names of older files are in Latin-1, with which decoding cannot fail.
    text = text_of(
        content,
        file_name,
        "weather file",
        "expected TMY3, TMY2 or EPW weather: unpack an archive, and save a sheet as plain text",
        WeatherError,
        other="latin-1",
    )
    return text.rstrip().split("\n")


def quoted(line: str) -> str:
    """Start of a line between accents for a message."""
    return f"`{printable(line[:70])}{' ...' if len(line) > 70 else ''}`"


@dataclass(slots=True, kw_only=True)
class RawWeather:
    """A parsed file in SI units; every column is a float array (8760,)."""

    format: str
    file_name: str
    name: str
    station: str
    latitude_deg: float
    longitude_deg: float
    elevation_m: float
    utc_offset_h: float
    first_line: int
    labels: dict[str, str]
    columns: dict[str, np.ndarray]
    written: Callable[[str, int], str]
    filled_dew_points: int = 0


_TMY3_DATE = re.compile(r"\s*(\d{1,2})/(\d{1,2})/\d{4}\s*,\s*(\d{1,2}):(\d{2})\s*,")
_EPW_DATE = re.compile(r"\s*\d{4}\s*,\s*(\d{1,2})\s*,\s*(\d{1,2})\s*,\s*(\d{1,2})\s*,\s*(-?\d+)\s*,")
_TMY2_DATE = re.compile(r" [ \d]\d([ \d]\d)([ \d]\d)([ \d]\d)[ \d]{8}")
_TMY2_STATION = re.compile(
    r"\s*(\d{5})\s+(\S.*?)\s+([A-Z]{2})\s+(-?\d+)\s+([NS])\s+(\d+)\s+(\d+)\s+([EW])\s+(\d+)"
    r"\s+(\d+)\s+(-?\d+)\s*$"
)
_EPW_HEADER = (
    "LOCATION",
    "DESIGN CONDITIONS",
    "TYPICAL/EXTREME PERIODS",
    "GROUND TEMPERATURES",
    "HOLIDAYS/DAYLIGHT SAVING",
    "COMMENTS 1",
    "COMMENTS 2",
    "DATA PERIODS",
)
_EPW_FIELDS = 35

_TMY3_COLUMNS = {
    "temp_c": ("temp_air", "Dry-bulb (C)"),
    "dew_c": ("temp_dew", "Dew-point (C)"),
    "rh_pct": ("relative_humidity", "RHum (%)"),
    "pressure_pa": ("pressure", "Pressure (mbar)"),
    "ghi_wm2": ("ghi", "GHI (W/m^2)"),
    "dni_wm2": ("dni", "DNI (W/m^2)"),
    "dhi_wm2": ("dhi", "DHI (W/m^2)"),
}
# name, EPW field, its place in the row counted from 0
_EPW_COLUMNS = {
    "temp_c": ("temp_air", "Dry Bulb Temperature", 6),
    "dew_c": ("temp_dew", "Dew Point Temperature", 7),
    "rh_pct": ("relative_humidity", "Relative Humidity", 8),
    "pressure_pa": ("atmospheric_pressure", "Atmospheric Station Pressure", 9),
    "ghi_wm2": ("ghi", "Global Horizontal Radiation", 13),
    "dni_wm2": ("dni", "Direct Normal Radiation", 14),
    "dhi_wm2": ("dhi", "Diffuse Horizontal Radiation", 15),
}
# first and last character of the row counted from 1 as in the manual's table 3-2, and what
# one unit of the field is worth
_TMY2_COLUMNS = {
    "temp_c": ("dry bulb", 68, 71, 0.1),
    "dew_c": ("dew point", 74, 77, 0.1),
    "rh_pct": ("relative humidity", 80, 82, 1.0),
    "pressure_pa": ("pressure", 85, 88, 100.0),
    "ghi_wm2": ("global horizontal radiation", 18, 21, 1.0),
    "dni_wm2": ("direct normal radiation", 24, 27, 1.0),
    "dhi_wm2": ("diffuse horizontal radiation", 30, 33, 1.0),
}
_TMY2_LAST_CHARACTER = 88


def parse(file_name: str, lines: list[str]) -> RawWeather:
    reader = _reader_of(file_name, lines)
    # After the format is known: a file of another kind is not blamed for its blank lines.
    for number, line in enumerate(lines, start=1):
        if not line.strip():
            raise WeatherError(f"{file_name}, line {number:,}: the line is blank; remove it")
    return reader(file_name, lines)


def _reader_of(file_name: str, lines: list[str]) -> Callable[[str, list[str]], RawWeather]:
    """The parser for the format that the first lines show."""
    head = lines[:9]
    _refuse_other_separators(file_name, lines)
    if any(line.lstrip('" ').upper().startswith(_EPW_HEADER) for line in head):
        return _parse_epw
    if any(line.startswith("Date (MM/DD/YYYY)") or _TMY3_DATE.match(line) for line in head[:3]):
        return _parse_tmy3
    if any(_TMY2_STATION.match(line) or _TMY2_DATE.match(line) for line in head[:2]):
        return _parse_tmy2
    what = _other_layout(lines)
    if what:
        raise WeatherError(f"{file_name}, line 1: {what}; got {quoted(lines[0])}; expected a TMY3, TMY2 or EPW file")
    raise WeatherError(
        f"{file_name}, line 1: the format is not recognised; got {quoted(lines[0])}; expected "
        "TMY3 (second line begins 'Date (MM/DD/YYYY)'), TMY2 (first line: station number, name, "
        "state, time zone, latitude, longitude, elevation) or EPW (first line begins "
        "'LOCATION,'); other formats must be converted to one of them first"
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
    """What a file is that is none of the three formats, in words, or an empty text."""
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


def _parse_tmy3(file_name: str, lines: list[str]) -> RawWeather:
    from pvlib.iotools import read_tmy3

    if lines[0].startswith("Date (MM/DD/YYYY)") or _TMY3_DATE.match(lines[0]):
        raise WeatherError(
            f"{file_name}, line 1: the station line of a TMY3 file is missing; expected number, "
            f"name, state, time zone, latitude, longitude, elevation; got {quoted(lines[0])}"
        )
    if len(lines) < 2 or not lines[1].startswith("Date (MM/DD/YYYY)"):
        raise WeatherError(
            f"{file_name}, line 2: the line with the column names of a TMY3 file is missing; "
            f"expected it to begin 'Date (MM/DD/YYYY)'; got {quoted(lines[1])}"
        )
    header = [field.strip() for field in lines[1].split(",")]
    labels = {name: label for name, (_, label) in _TMY3_COLUMNS.items()}
    for label in ("Time (HH:MM)", *labels.values()):
        if header.count(label) != 1:
            raise WeatherError(
                f"{file_name}, line 2: column {label!r} is there {header.count(label)} times; "
                "expected once, as in the TMY3 users manual"
            )
    fields = _split_station(file_name, lines[0], least=7)
    station, *names, state, zone, latitude, longitude, elevation = fields
    site = _site(file_name, lines[0], latitude, longitude, zone, elevation)
    rows = lines[2:]
    _check_field_count(file_name, rows, 3, len(header))
    # Hours are numbered by their end. One vendor writes midnight as 00:00 of the next day.
    _check_calendar(file_name, rows, 3, _TMY3_DATE, "MM/DD/YYYY,HH:MM", minutes=("00",))

    # pvlib splits the station line at every comma and wants a whole station number: hand
    # it the numbers alone.
    plain = f"0,station,-,{zone},{latitude},{longitude},{elevation}"
    frame = _through_pvlib(file_name, read_tmy3, [plain, *lines[1:]], map_variables=True)

    def written(name: str, row: int) -> str:
        return rows[row].split(",")[header.index(labels[name])]

    columns = {
        name: _numbers(file_name, frame[column].to_numpy(), labels[name], 3, written, name)
        for name, (column, _) in _TMY3_COLUMNS.items()
    }
    columns["pressure_pa"] = columns["pressure_pa"] * 100.0
    return RawWeather(
        format="TMY3",
        file_name=file_name,
        name=", ".join([*names, state]),
        station=station,
        first_line=3,
        labels=labels,
        columns=columns,
        written=written,
        **site,  # type: ignore[arg-type]  # the four numbers of the position, by their names
    )


def _parse_epw(file_name: str, lines: list[str]) -> RawWeather:
    from pvlib.iotools import read_epw

    # pvlib counts lines instead of reading them: with one header line less it would take
    # the first hour for a header.
    for number, keyword in enumerate(_EPW_HEADER, start=1):
        got = lines[number - 1] if number <= len(lines) else ""
        if not got.lstrip('" ').upper().startswith(keyword):
            raise WeatherError(
                f"{file_name}, line {number}: header line {keyword!r} of an EPW file is missing; "
                f"got {quoted(got)}; expected the eight header lines in order"
            )
    periods = [field.strip() for field in lines[7].split(",")]
    if len(periods) > 2 and periods[2] not in ("1", ""):
        raise WeatherError(f"{file_name}, line 8: the file holds {periods[2]} records an hour; expected 1")
    fields = _split_station(file_name, lines[0], least=10)
    _, *names, state, country, _, station, latitude, longitude, zone, elevation = fields
    site = _site(file_name, lines[0], latitude, longitude, zone, elevation)
    rows = lines[8:]
    # Older files stop before the last fields, which nobody uses here; more would shift every column.
    count = rows[0].count(",") + 1 if rows else _EPW_FIELDS
    if not 16 <= count <= _EPW_FIELDS:
        raise WeatherError(
            f"{file_name}, line 9: {count} fields; got {quoted(rows[0])}; expected 16 to {_EPW_FIELDS} in an EPW row"
        )
    _check_field_count(file_name, rows, 9, count)
    _check_calendar(file_name, rows, 9, _EPW_DATE, "year,month,day,hour,minute", minutes=("0", "00", "60"))
    # As above; and no comment of the header, where a quotation mark may stay open.
    plain = f"LOCATION,station,-,-,-,0,{latitude},{longitude},{zone},{elevation}"
    header = [plain, *_EPW_HEADER[1:]]
    missing = "," * (_EPW_FIELDS - count)
    frame = _through_pvlib(file_name, read_epw, [*header, *(row + missing for row in rows)], coerce_year=None)
    labels = {name: label for name, (_, label, _) in _EPW_COLUMNS.items()}

    def written(name: str, row: int) -> str:
        return rows[row].split(",")[_EPW_COLUMNS[name][2]]

    return RawWeather(
        format="EPW",
        file_name=file_name,
        name=", ".join([*names, *(part for part in (state, country) if part.strip("- "))]),
        station=station,
        first_line=9,
        labels=labels,
        columns={
            name: _numbers(file_name, frame[column].to_numpy(), label, 9, written, name)
            for name, (column, label, _) in _EPW_COLUMNS.items()
        },
        written=written,
        **site,  # type: ignore[arg-type]  # the four numbers of the position, by their names
    )


def _parse_tmy2(file_name: str, lines: list[str]) -> RawWeather:
    match = _TMY2_STATION.match(lines[0])
    if match is None:
        raise WeatherError(
            f"{file_name}, line 1: not the station line of a TMY2 file; got {quoted(lines[0])}; "
            "expected number, name, state, time zone, N or S with degrees and minutes, E or W "
            "with degrees and minutes, elevation"
        )
    station, city, state, zone, ns, lat_deg, lat_min, ew, lon_deg, lon_min, elevation = match.groups()
    latitude = (int(lat_deg) + int(lat_min) / 60.0) * (1 if ns == "N" else -1)
    longitude = (int(lon_deg) + int(lon_min) / 60.0) * (1 if ew == "E" else -1)
    site = _site(file_name, lines[0], latitude, longitude, zone, elevation)
    rows = lines[1:]
    for number, row in enumerate(rows, start=2):
        if len(row) < _TMY2_LAST_CHARACTER:
            raise WeatherError(
                f"{file_name}, line {number:,}: {len(row)} characters; got {quoted(row)}; a TMY2 row has 142; "
                "the file may have been cut off or edited"
            )
    _check_calendar(file_name, rows, 2, _TMY2_DATE, "year, month, day, hour of two digits each")
    labels, columns = {}, {}

    def written(name: str, row: int) -> str:
        _, first, last, _ = _TMY2_COLUMNS[name]
        return rows[row][first - 1 : last]

    for name, (label, first, last, unit) in _TMY2_COLUMNS.items():
        labels[name] = f"{label} (characters {first}-{last})"
        texts = np.array([row[first - 1 : last] for row in rows])
        try:
            columns[name] = texts.astype(np.int64) * unit
        except ValueError:
            columns[name] = _numbers(file_name, texts, labels[name], 2, written, name) * unit
        if unit == 0.1:  # the double nearest to the tenth, as a text file would give
            columns[name] = np.round(columns[name], 1)
    return RawWeather(
        format="TMY2",
        file_name=file_name,
        name=f"{city}, {state}",
        station=station,
        first_line=2,
        labels=labels,
        columns=columns,
        written=written,
        **site,  # type: ignore[arg-type]  # the four numbers of the position, by their names
    )


def _split_station(file_name: str, line: str, least: int) -> list[str]:
    """Fields of a comma-separated station line; quoted names may hold commas."""
    fields = [field.strip() for field in next(csv.reader([line], skipinitialspace=True))]
    if len(fields) < least:
        raise WeatherError(
            f"{file_name}, line 1: the station line has {len(fields)} fields; expected {least}; got {quoted(line)}"
        )
    return fields


def _site(file_name: str, line: str, latitude, longitude, zone, elevation) -> dict[str, float]:
    """Checked position of the station."""
    site: dict[str, float] = {}
    for name, what, value, low, high in (
        ("latitude_deg", "latitude [deg]", latitude, -90.0, 90.0),
        ("longitude_deg", "longitude [deg]", longitude, -180.0, 180.0),
        ("utc_offset_h", "time zone [h]", zone, -12.0, 14.0),
        ("elevation_m", "elevation [m]", elevation, -450.0, 6000.0),
    ):
        try:
            number = float(value)
        except ValueError:
            number = np.nan
        if not low <= number <= high:
            raise WeatherError(
                f"{file_name}, line 1: {what}: got {str(value)!r} in {quoted(line)}; expected {low:g} to {high:g}; "
                "numbers have decimal points, and "
                "a name that holds a comma stands in quotes"
            )
        site[name] = number
    # Clock and sun part by 3 h at most anywhere (western China); a longitude with the wrong
    # sign would turn the sun round the building.
    apart = (site["longitude_deg"] / 15.0 - site["utc_offset_h"] + 12.0) % 24.0 - 12.0
    if abs(apart) > 4.0:
        raise WeatherError(
            f"{file_name}, line 1: longitude {site['longitude_deg']:g} deg and time zone "
            f"{site['utc_offset_h']:+g} h do not belong together; expected both positive east "
            "of Greenwich and negative west of it"
        )
    return site


def _check_field_count(file_name: str, rows: list[str], first_line: int, count: int) -> None:
    for number, row in enumerate(rows, start=first_line):
        if '"' in row:
            raise WeatherError(
                f"{file_name}, line {number:,}: a quote in a row of numbers; got {quoted(row)}; remove the quotes, or "
                "take the file as it is "
                "at its source"
            )
        if row.count(",") != count - 1:
            commas = " (decimal commas?)" if row.count(",") > count and rows[-1].count(",") > count else ""
            raise WeatherError(
                f"{file_name}, line {number:,}: {row.count(',') + 1} fields{commas}; got {quoted(row)}; expected "
                f"{count}; "
                "the file may have been cut off or edited; take it as it is at its source"
            )


def _stamp(hour_of_year: int) -> str:
    row = typical_calendar().iloc[hour_of_year]
    return f"hour {row['hour_start'] + 1} of {row['day']} {MONTH_NAMES[row['month'] - 1]}"


def _check_calendar(file_name, rows, first_line, pattern, form, minutes=None) -> None:
    """Every hour of the 365-day calendar once, in order; else say where it breaks."""
    if not rows:
        raise WeatherError(f"{file_name}, line {first_line}: no data rows; expected 8,760")
    matches = [pattern.match(row) for row in rows]
    if None in matches:
        number = matches.index(None)
        raise WeatherError(
            f"{file_name}, line {first_line + number:,}: does not begin with a date and hour "
            f"({form}); got {quoted(rows[number])}"
        )
    stamps = [match.groups() for match in matches]
    month, day, hour = np.array([stamp[:3] for stamp in stamps], dtype=int).T
    if minutes is not None:
        for number, stamp in enumerate(stamps):
            if stamp[3] not in minutes:
                raise WeatherError(
                    f"{file_name}, line {first_line + number:,}: minute {stamp[3]}; got {quoted(rows[number])}; "
                    "expected "
                    "hourly rows stamped on the hour"
                )
    leap = (month == 2) & (day == 29)
    if leap.any():
        number = first_line + int(leap.argmax())
        raise WeatherError(
            f"{file_name}, line {number:,}: {len(rows):,} data rows, among them 29 February; "
            "a typical year has 8,760; drop the 24 rows of 29 February or use another file"
        )
    valid = (month >= 1) & (month <= 12) & (day >= 1) & (hour >= 0) & (hour <= 24)
    valid &= day <= DAYS_IN_MONTH[np.clip(month, 1, 12) - 1]
    if not valid.all():
        number = int((~valid).argmax())
        raise WeatherError(
            f"{file_name}, line {first_line + number:,}: no such hour; got {quoted(rows[number])}: month "
            f"{month[number]}, "
            f"day {day[number]}, hour {hour[number]}; expected an hour of a 365-day year"
        )
    if hour[0] == 0:
        raise WeatherError(
            f"{file_name}, line {first_line}: the first hour is numbered 0; expected hours "
            "numbered 1 to 24 by their end, the first one hour 1 of 1 January"
        )
    day_of_year = np.cumsum(DAYS_IN_MONTH)[month - 1] - DAYS_IN_MONTH[month - 1] + day - 1
    # Hour 0 of a day is the hour that ends at its midnight, the last of the day before.
    ending = (day_of_year * 24 + hour - 1) % HOURS_IN_YEAR
    n = min(len(rows), HOURS_IN_YEAR)
    wrong = ending[:n] != np.arange(n)
    if wrong.any():
        k = int(wrong.argmax())
        if k and ending[k] == ending[k - 1]:
            what = "the hour is there twice"
        elif ending[k] > k:
            what = "hours are missing"
        else:
            what = "hours are out of order"
        raise WeatherError(
            f"{file_name}, line {first_line + k:,}: {what}; got {_stamp(ending[k])}, expected "
            f"{_stamp(k)}; {len(rows):,} data rows; expected the 8,760 hours of a year in "
            "order, numbered 1 to 24 by their end"
        )
    if len(rows) < HOURS_IN_YEAR:
        raise WeatherError(
            f"{file_name}, line {first_line + n - 1:,}: the file ends at {len(rows):,} data rows; "
            "expected 8,760; it may have been cut off"
        )
    if len(rows) > HOURS_IN_YEAR:
        raise WeatherError(
            f"{file_name}, line {first_line + n:,}: {len(rows):,} data rows; expected 8,760; "
            "the file goes on after the last hour of the year"
        )


def _through_pvlib(file_name: str, reader, lines: list[str], **options) -> pd.DataFrame:
    """The frame that a pvlib reader makes of lines already checked for form and order."""
    try:
        with warnings.catch_warnings():
            # Mixed types in a column: unused ones do not matter, used ones are checked.
            warnings.simplefilter("ignore", pd.errors.DtypeWarning)
            frame, _ = reader(io.StringIO("\n".join(lines) + "\n"), **options)
    except Exception as error:
        raise WeatherError(f"{file_name}: the data rows cannot be parsed: {error}") from error
    if len(frame) != HOURS_IN_YEAR:
        raise WeatherError(f"{file_name}: parsed to {len(frame):,} rows; expected 8,760")
    return frame


def _numbers(file_name: str, values, label: str, first_line: int, written, name: str) -> np.ndarray:
    """Floats of a parsed column; text or an empty field is an error with its line."""
    numbers = pd.to_numeric(pd.Series(values), errors="coerce").to_numpy(dtype=float)
    bad = ~np.isfinite(numbers)
    if bad.any():
        row = int(bad.argmax())
        raise WeatherError(
            f"{file_name}, line {first_line + row:,}, column {label}: got {written(name, row)!r}; expected a number"
        )
    return numbers
