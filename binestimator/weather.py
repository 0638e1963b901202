"""Typical-year weather files: TMY3, TMY2 and EPW to one hourly frame with our names.

A row is an hour, labelled by its start in local standard time: ``hour_start`` 12 of 1 July
is the hour from 12:00 to 13:00. All three formats number hours by their end (1 to 24), give
irradiation summed over that hour and temperatures as observed near its end; the row keeps
them together. The years in the files differ by month and are dropped: month, day and hour
come from the file's own columns and must follow a 365-day calendar without a break.

TMY3 and EPW are parsed by ``pvlib.iotools``. TMY2 is sliced here by its fixed columns:
pvlib's reader takes 0.6 s for a file and refuses station names of more than one word; the
tests compare every used column with it.

References
----------
Wilcox and Marion, Users Manual for TMY3 Data Sets, NREL/TP-581-43156 (2008).
Marion and Urban, User's Manual for TMY2s, NREL (1995), table 3-2 (columns).
EnergyPlus Auxiliary Programs, EPW data dictionary (order of fields and missing codes; from
memory).
"""

from __future__ import annotations

import csv
import hashlib
import io
import re
import warnings
from collections.abc import Callable
from dataclasses import dataclass
from difflib import get_close_matches
from pathlib import Path

import numpy as np
import pandas as pd

from binestimator.errors import Finding, WeatherError
from binestimator.moist_air import (
    dewpoint_f,
    humidity_ratio_from_dewpoint,
    pressure_at_elevation_psia,
    saturation_humidity_ratio,
    saturation_pressure_psia,
    wetbulb_f,
)
from binestimator.units import FOOT_M, PSI_PA, fahrenheit_from_celsius

HOURS_IN_YEAR = 8760
"""Hours of a typical year [h]; none of the formats knows a 29 February."""

DAYS_IN_MONTH = np.array([31, 28, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31])
"""Days of the months of the 365-day calendar."""

WHOLE_F_SHARE = 0.8
"""Share of dry bulbs on whole degrees F from which ``auto`` rounds to them.

Assumption between what is found in files that were recorded in whole degrees F (91 % and
99 %) and in one that was not (27 %); chance alone gives about a fifth.
"""

MONTH_NAMES = (
    "January", "February", "March", "April", "May", "June", "July", "August",
    "September", "October", "November", "December",
)  # fmt: skip

WEATHER_FOLDER = Path(__file__).resolve().parent.parent / "weather"
"""Folder of the weather files that come with the project."""

_LARGEST_FILE_BYTES = 50_000_000
_DEW_POINT_SLACK_F = 0.2  # a tenth of a degree C of rounding in the file
_PRESSURE_BAND_FRAC = 0.04  # station pressure against that of the standard atmosphere

# Used columns: lowest and highest value taken as real, and the unit. Temperature and
# pressure limits are those of the EPW data dictionary (from memory); no hour on Earth has
# more than the extraterrestrial 1 412 W/m2 by much.
_LIMITS = {
    "temp_c": (-70.0, 70.0, "degC"),
    "dew_c": (-80.0, 50.0, "degC"),
    "rh_pct": (0.0, 110.0, "%"),
    "pressure_pa": (31_000.0, 110_000.0, "Pa, that is 310 to 1100 mbar"),
    "ghi_wm2": (0.0, 1500.0, "W/m2"),
    "dni_wm2": (0.0, 1500.0, "W/m2"),
    "dhi_wm2": (0.0, 1500.0, "W/m2"),
}
# As written in the files, whatever the unit of the column.
_MISSING_CODES = (-9900.0, 99.9, 999.0, 9999.0, 99999.0, 999999.0)


@dataclass(frozen=True, slots=True, kw_only=True)
class Weather:
    """A typical year at one site.

    Parameters
    ----------
    frame : DataFrame
        8,760 rows in order of the calendar, plain RangeIndex, no time stamps. Columns:
        ``hour_of_year`` 0-8759, ``month``, ``day``, ``hour_start`` 0-23 (local standard
        time); ``oat_f`` dry bulb [degF], ``dewpoint_f`` [degF], ``oawb_f`` wet bulb [degF],
        ``humidity_ratio`` [lb/lb], all at the one site pressure; ``ghi_wm2``, ``dni_wm2``,
        ``dhi_wm2`` global horizontal, direct normal, diffuse horizontal [W/m2].
    pressure_psia : float
        Site pressure used everywhere: the mean of the file, or as given [psia].
    name : str
        Station name with state or country, as in the file.
    station : str
        Station number in the file.
    latitude_deg, longitude_deg : float
        North and east positive [deg].
    elevation_ft : float
        Elevation of the station [ft].
    utc_offset_h : float
        Local standard time minus UTC [h].
    format : str
        ``TMY3``, ``TMY2`` or ``EPW``, recognised by the content of the file.
    file_name, sha256 : str
        Name of the file without its folder, and the digest of its bytes.
    whole_f : bool
        Whether dry bulb and dew point were rounded to whole degrees F.
    findings : tuple of Finding
        What a reader should know about the file.
    """

    frame: pd.DataFrame
    pressure_psia: float
    name: str
    station: str
    latitude_deg: float
    longitude_deg: float
    elevation_ft: float
    utc_offset_h: float
    format: str
    file_name: str
    sha256: str
    whole_f: bool
    findings: tuple[Finding, ...]


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


def find_weather(name, project_dir) -> Path:
    """Path of a weather file named in a project.

    Looked up as given when absolute; else beside the project file, in a ``weather`` folder
    beside it, in ``weather/`` of the working folder, and among the files that come with
    the project.

    Parameters
    ----------
    name : str or Path
        File name or path.
    project_dir : str or Path
        Folder of the project file.

    Raises
    ------
    WeatherError
        When it is in none of these places; lists the weather files there are.
    """
    folders = [Path(project_dir), Path(project_dir) / "weather", Path("weather"), WEATHER_FOLDER]
    for folder in folders:
        candidate = folder / name  # an absolute name replaces the folder
        if candidate.is_file():
            return candidate
    raise WeatherError(
        f"{name}: weather file not found beside the project file or in weather/; "
        f"{_what_there_is(Path(name).name, folders[1:])}"
    )


def read_weather(path, *, whole_f: str = "auto", pressure_psia: float | None = None) -> Weather:
    """Read a typical-year file; its format is recognised by its content.

    Parameters
    ----------
    path : str or Path
        The file.
    whole_f : {'auto', 'yes', 'no'}
        Round dry bulb and dew point to whole degrees F. US typical years were recorded so
        and stored in tenths of a degree C: 40 degF became 4.4 degC, which converts back to
        39.92 degF and would fall into the bin below. ``auto`` rounds when at least
        ``WHOLE_F_SHARE`` of the dry bulbs lie on a whole degree F.
    pressure_psia : float, optional
        Site pressure [psia]; the mean of the file's station pressures when not given.

    Returns
    -------
    Weather

    Raises
    ------
    WeatherError
        When the file cannot be read, is none of the formats, is not one whole typical year
        of 8,760 hours in order, or holds a missing code or an impossible value in a used
        column; names the file and the line or column.

    Notes
    -----
    A missing dew point is filled from the relative humidity of the same hour where that is
    there; everything else must be complete. Air more humid than saturated is taken as
    saturated. Both leave a finding.
    """
    if whole_f not in ("auto", "yes", "no"):
        raise WeatherError(f"weather.whole_f: got {whole_f!r}; expected auto, yes or no")
    path = Path(path)
    content = _bytes_of(path)
    raw = _parse(path.name, _lines_of(path.name, content))

    findings: list[Finding] = []
    _check_values(raw, skip=("pressure_pa",) if pressure_psia is not None else ())
    if pressure_psia is None:
        pressure_psia = float(raw.columns["pressure_pa"].mean() / PSI_PA)
    findings += _pressure_findings(raw, pressure_psia)

    share = whole_f_share(raw.columns["temp_c"])
    rounded = whole_f == "yes" or (whole_f == "auto" and share >= WHOLE_F_SHARE)
    findings.append(_rounding_finding(raw.file_name, share, whole_f, rounded))
    to_f = whole_f_from_celsius if rounded else exact_f_from_celsius
    oat_f = to_f(raw.columns["temp_c"])
    dew_f = to_f(raw.columns["dew_c"])

    above = dew_f > oat_f + _DEW_POINT_SLACK_F
    if above.any():
        findings.append(
            Finding(
                "check",
                f"weather {raw.file_name}",
                f"The dew point lies above the dry bulb in {above.sum():,} hours, by up to "
                f"{(dew_f - oat_f).max():.1f} degF (first at line "
                f"{raw.first_line + int(above.argmax()):,}); taken as saturated air.",
            )
        )
    dew_f = np.minimum(dew_f, oat_f)
    if raw.filled_dew_points:
        findings.append(
            Finding(
                "check",
                f"weather {raw.file_name}",
                "Dew points missing in the file and computed from the relative humidity of the "
                f"hour: {raw.filled_dew_points:,}.",
            )
        )
    if not raw.columns["ghi_wm2"].any():
        findings.append(
            Finding("caution", f"weather {raw.file_name}", "The file holds no sun at all.")
        )

    humidity_ratio = humidity_ratio_from_dewpoint(dew_f, pressure_psia)
    frame = typical_calendar()
    frame["oat_f"] = oat_f
    frame["dewpoint_f"] = dew_f
    frame["oawb_f"] = wetbulb_f(oat_f, humidity_ratio, pressure_psia)
    frame["humidity_ratio"] = humidity_ratio
    for name in ("ghi_wm2", "dni_wm2", "dhi_wm2"):
        frame[name] = raw.columns[name]
    return Weather(
        frame=frame,
        pressure_psia=float(pressure_psia),
        name=raw.name,
        station=raw.station,
        latitude_deg=raw.latitude_deg,
        longitude_deg=raw.longitude_deg,
        elevation_ft=raw.elevation_m / FOOT_M,
        utc_offset_h=raw.utc_offset_h,
        format=raw.format,
        file_name=raw.file_name,
        sha256=hashlib.sha256(content).hexdigest(),
        whole_f=rounded,
        findings=tuple(findings),
    )


# --- degrees Fahrenheit ----------------------------------------------------------------


def _hundredths_of_f(temp_c):
    """Hundredths of a degree F of temperatures stored to 0.1 degC: 18 n + 3200, exact."""
    return 18 * np.rint(np.asarray(temp_c) * 10.0).astype(np.int64) + 3200


def whole_f_share(temp_c) -> float:
    """Share of temperatures that are a whole degree F rounded to a tenth of a degree C.

    Parameters
    ----------
    temp_c : ndarray (n,)
        Temperatures [degC].

    Notes
    -----
    Rounding moves a value by at most 0.05 degC, that is 9 hundredths of a degree F; a value
    that is not stored in tenths does not count.
    """
    temp_c = np.asarray(temp_c)
    in_tenths = np.abs(temp_c * 10.0 - np.rint(temp_c * 10.0)) < 1e-6
    hundredths = _hundredths_of_f(temp_c)
    off = np.abs((hundredths + 50) % 100 - 50)
    return float(np.mean(in_tenths & (off <= 9)))


def whole_f_from_celsius(temp_c):
    """Nearest whole degree F of temperatures stored to 0.1 degC [degF].

    Integer arithmetic, so that no value misses its bin by a rounding error; a half (2.5
    degC is 36.5 degF, which no whole degree F is stored as) goes up.
    """
    return ((_hundredths_of_f(temp_c) + 50) // 100).astype(float)


def exact_f_from_celsius(temp_c):
    """Temperatures as converted, to 1e-6 degF, so that bin edges are met exactly [degF]."""
    return np.round(fahrenheit_from_celsius(np.asarray(temp_c)), 6)


def _rounding_finding(file_name, share, asked, rounded) -> Finding:
    how = "rounded to whole degrees F" if rounded else "used as converted from degrees C"
    why = "" if asked == "auto" else f" (weather.whole_f = {asked})"
    return Finding(
        "info",
        f"weather {file_name}",
        f"{share:.0%} of the dry bulbs lie on whole degrees F; dry bulb and dew point are {how}"
        f"{why}.",
    )


# --- file to lines ---------------------------------------------------------------------


def _what_there_is(name: str, folders) -> str:
    """Names of the weather files in these folders, the likeliest first."""
    names = sorted(
        {
            entry.name
            for folder in folders
            if folder.is_dir()
            for entry in folder.iterdir()
            if entry.is_file() and entry.suffix.lower() != ".md"
        }
    )
    by_lower = {entry.lower(): entry for entry in names}
    close = [by_lower[key] for key in get_close_matches(name.lower(), by_lower, n=1, cutoff=0.6)]
    hint = f"did you mean {close[0]}? " if close else ""
    return f"{hint}weather/ holds {', '.join(names) if names else 'no files'}"


def _bytes_of(path: Path) -> bytes:
    if path.is_dir():
        raise WeatherError(f"{path}: is a folder; give the weather file in it")
    if not path.exists():
        there = _what_there_is(path.name, [WEATHER_FOLDER])
        raise WeatherError(f"{path}: no such weather file; {there}")
    try:
        if path.stat().st_size > _LARGEST_FILE_BYTES:
            raise WeatherError(f"{path.name}: larger than 50 MB; a typical year has about 2 MB")
        return path.read_bytes()
    except OSError as error:
        raise WeatherError(f"{path}: cannot be read: {error.strerror}") from error


def _lines_of(file_name: str, content: bytes) -> list[str]:
    """Lines of the file, line 1 first; no blank lines among them."""
    if not content.strip():
        raise WeatherError(f"{file_name}: the file is empty; expected TMY3, TMY2 or EPW weather")
    if b"\0" in content:
        raise WeatherError(
            f"{file_name}: not a plain text file; expected TMY3, TMY2 or EPW weather (unpack "
            "an archive, save UTF-16 text as UTF-8)"
        )
    try:
        text = content.decode("utf-8-sig")
    except UnicodeDecodeError:
        text = content.decode("latin-1")  # station names of older files; cannot fail
    lines = text.replace("\r\n", "\n").replace("\r", "\n").rstrip().split("\n")
    for number, line in enumerate(lines, start=1):
        if not line.strip():
            raise WeatherError(f"{file_name}, line {number:,}: the line is blank; remove it")
    return lines


# --- lines to columns ------------------------------------------------------------------


@dataclass(slots=True, kw_only=True)
class _Raw:
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
_EPW_DATE = re.compile(
    r"\s*\d{4}\s*,\s*(\d{1,2})\s*,\s*(\d{1,2})\s*,\s*(\d{1,2})\s*,\s*(-?\d+)\s*,"
)
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


def _parse(file_name: str, lines: list[str]) -> _Raw:
    head = lines[:9]
    if any(line.lstrip('" ').upper().startswith(_EPW_HEADER) for line in head):
        return _parse_epw(file_name, lines)
    if any(line.startswith("Date (MM/DD/YYYY)") or _TMY3_DATE.match(line) for line in head[:3]):
        return _parse_tmy3(file_name, lines)
    if any(_TMY2_STATION.match(line) or _TMY2_DATE.match(line) for line in head[:2]):
        return _parse_tmy2(file_name, lines)
    start = head[0][:60]
    raise WeatherError(
        f"{file_name}, line 1: the format is not recognised; the file begins {start!r}; expected "
        "TMY3 (second line begins 'Date (MM/DD/YYYY)'), TMY2 (first line: station number, name, "
        "state, time zone, latitude, longitude, elevation) or EPW (first line begins "
        "'LOCATION,'); other formats must be converted to one of them first"
    )


def _parse_tmy3(file_name: str, lines: list[str]) -> _Raw:
    from pvlib.iotools import read_tmy3

    if lines[0].startswith("Date (MM/DD/YYYY)") or _TMY3_DATE.match(lines[0]):
        raise WeatherError(
            f"{file_name}, line 1: the station line of a TMY3 file is missing; expected number, "
            f"name, state, time zone, latitude, longitude, elevation; got {lines[0][:40]!r}"
        )
    if len(lines) < 2 or not lines[1].startswith("Date (MM/DD/YYYY)"):
        raise WeatherError(
            f"{file_name}, line 2: the line with the column names of a TMY3 file is missing; "
            f"expected it to begin 'Date (MM/DD/YYYY)'; got {lines[1][:40]!r}"
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
    site = _site(file_name, latitude, longitude, zone, elevation)
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
    return _Raw(
        format="TMY3",
        file_name=file_name,
        name=", ".join([*names, state]),
        station=station,
        first_line=3,
        labels=labels,
        columns=columns,
        written=written,
        **site,
    )


def _parse_epw(file_name: str, lines: list[str]) -> _Raw:
    from pvlib.iotools import read_epw

    # pvlib counts lines instead of reading them: with one header line less it would take
    # the first hour for a header.
    for number, keyword in enumerate(_EPW_HEADER, start=1):
        got = lines[number - 1] if number <= len(lines) else ""
        if not got.lstrip('" ').upper().startswith(keyword):
            raise WeatherError(
                f"{file_name}, line {number}: header line {keyword!r} of an EPW file is missing; "
                f"got {got[:40]!r}; expected the eight header lines in order"
            )
    periods = [field.strip() for field in lines[7].split(",")]
    if len(periods) > 2 and periods[2] not in ("1", ""):
        raise WeatherError(
            f"{file_name}, line 8: the file holds {periods[2]} records an hour; expected 1"
        )
    fields = _split_station(file_name, lines[0], least=10)
    _, *names, state, country, _, station, latitude, longitude, zone, elevation = fields
    site = _site(file_name, latitude, longitude, zone, elevation)
    rows = lines[8:]
    if not rows:
        raise WeatherError(f"{file_name}: no data rows after the header; expected 8,760")
    # Fewer fields than pvlib's 35 names are fine, more would shift every column.
    count = rows[0].count(",") + 1
    if not 16 <= count <= _EPW_FIELDS:
        raise WeatherError(
            f"{file_name}, line 9: {count} fields; expected 16 to {_EPW_FIELDS} in an EPW row"
        )
    _check_field_count(file_name, rows, 9, count)
    _check_calendar(
        file_name, rows, 9, _EPW_DATE, "year,month,day,hour,minute", minutes=("0", "00", "60")
    )
    # As above; and no comment of the header, where a quotation mark may stay open.
    plain = f"LOCATION,station,-,-,-,0,{latitude},{longitude},{zone},{elevation}"
    header = [plain, *_EPW_HEADER[1:]]
    frame = _through_pvlib(file_name, read_epw, [*header, *rows], coerce_year=None)
    labels = {name: label for name, (_, label, _) in _EPW_COLUMNS.items()}

    def written(name: str, row: int) -> str:
        return rows[row].split(",")[_EPW_COLUMNS[name][2]]

    return _Raw(
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
        **site,
    )


def _parse_tmy2(file_name: str, lines: list[str]) -> _Raw:
    match = _TMY2_STATION.match(lines[0])
    if match is None:
        raise WeatherError(
            f"{file_name}, line 1: not the station line of a TMY2 file; got {lines[0][:60]!r}; "
            "expected number, name, state, time zone, N or S with degrees and minutes, E or W "
            "with degrees and minutes, elevation"
        )
    station, city, state, zone, ns, lat_deg, lat_min, ew, lon_deg, lon_min, elevation = (
        match.groups()
    )
    latitude = (int(lat_deg) + int(lat_min) / 60.0) * (1 if ns == "N" else -1)
    longitude = (int(lon_deg) + int(lon_min) / 60.0) * (1 if ew == "E" else -1)
    site = _site(file_name, latitude, longitude, zone, elevation)
    rows = lines[1:]
    for number, row in enumerate(rows, start=2):
        if len(row) < _TMY2_LAST_CHARACTER:
            raise WeatherError(
                f"{file_name}, line {number:,}: {len(row)} characters; a TMY2 row has 142"
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
    return _Raw(
        format="TMY2",
        file_name=file_name,
        name=f"{city}, {state}",
        station=station,
        first_line=2,
        labels=labels,
        columns=columns,
        written=written,
        **site,
    )


def _split_station(file_name: str, line: str, least: int) -> list[str]:
    """Fields of a comma-separated station line; quoted names may hold commas."""
    fields = [field.strip() for field in next(csv.reader([line], skipinitialspace=True))]
    if len(fields) < least:
        raise WeatherError(
            f"{file_name}, line 1: the station line has {len(fields)} fields; expected {least}; "
            f"got {line[:60]!r}"
        )
    return fields


def _site(file_name: str, latitude, longitude, zone, elevation) -> dict[str, float]:
    """Checked position of the station."""
    site = {}
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
                f"{file_name}, line 1: {what}: got {value!r}; expected {low:g} to {high:g}"
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
        if row.count(",") != count - 1:
            raise WeatherError(
                f"{file_name}, line {number:,}: {row.count(',') + 1} fields; expected {count}; "
                "the file may have been cut off or edited"
            )


def _stamp(hour_of_year: int) -> str:
    row = typical_calendar().iloc[hour_of_year]
    return f"hour {row['hour_start'] + 1} of {row['day']} {MONTH_NAMES[row['month'] - 1]}"


def _check_calendar(file_name, rows, first_line, pattern, form, minutes=None) -> None:
    """Every hour of the 365-day calendar once, in order; else say where it breaks."""
    matches = [pattern.match(row) for row in rows]
    if None in matches:
        number = matches.index(None)
        raise WeatherError(
            f"{file_name}, line {first_line + number:,}: does not begin with a date and hour "
            f"({form}); got {rows[number][:24]!r}"
        )
    stamps = [match.groups() for match in matches]
    month, day, hour = np.array([stamp[:3] for stamp in stamps], dtype=int).reshape(-1, 3).T
    if minutes is not None:
        for number, stamp in enumerate(stamps):
            if stamp[3] not in minutes:
                raise WeatherError(
                    f"{file_name}, line {first_line + number:,}: minute {stamp[3]}; expected "
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
            f"{file_name}, line {first_line + number:,}: no such hour; got month {month[number]}, "
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
    except Exception as error:  # noqa: BLE001 - the reader raises whatever its parsers raise
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
            f"{file_name}, line {first_line + row:,}, column {label}: got "
            f"{written(name, row)!r}; expected a number"
        )
    return numbers


# --- values ----------------------------------------------------------------------------


def _check_values(raw: _Raw, skip: tuple[str, ...]) -> None:
    """Missing codes and impossible values of the used columns; fills dew points from RH."""
    outside = {
        name: ~((raw.columns[name] >= low) & (raw.columns[name] <= high))
        for name, (low, high, _) in _LIMITS.items()
    }
    if not outside["temp_c"].any():
        fill = outside["dew_c"] & ~outside["rh_pct"] & (raw.columns["rh_pct"] > 0.0)
        if fill.any():
            raw.columns["dew_c"] = np.where(fill, _dew_point_from_rh_c(raw), raw.columns["dew_c"])
            raw.filled_dew_points = int(fill.sum())
            outside["dew_c"] &= ~fill
    for name, bad in outside.items():
        # Humidity only fills gaps of the dew point.
        if name in skip or name == "rh_pct" or not bad.any():
            continue
        row = int(bad.argmax())
        low, high, unit = _LIMITS[name]
        text = raw.written(name, row).strip()
        is_code = float(text) in _MISSING_CODES
        what = "is the code for a missing value" if is_code else "is out of range"
        raise WeatherError(
            f"{raw.file_name}, line {raw.first_line + row:,}, column {raw.labels[name]}: {text} "
            f"{what} (in {bad.sum():,} of 8,760 hours); expected {low:g} to {high:g} {unit}; "
            + (
                "repair the file, or give the site pressure as weather.pressure_psia"
                if name == "pressure_pa"
                else "repair the file or use another one"
            )
        )


def _dew_point_from_rh_c(raw: _Raw) -> np.ndarray:
    """Dew point from dry bulb and relative humidity [degC]; free of the pressure assumed."""
    pressure = pressure_at_elevation_psia(raw.elevation_m / FOOT_M)
    oat_f = fahrenheit_from_celsius(raw.columns["temp_c"])
    share = np.clip(raw.columns["rh_pct"], 1.0, 100.0) / 100.0
    vapour = share * saturation_pressure_psia(oat_f)
    saturated = saturation_humidity_ratio(oat_f, pressure)
    # W / Ws = share (p - pws) / (p - share pws), from W = 0.622 pw / (p - pw) for both.
    ratio = saturated * share * (pressure - saturation_pressure_psia(oat_f)) / (pressure - vapour)
    return np.round((dewpoint_f(ratio, pressure) - 32.0) / 1.8, 1)


def _pressure_findings(raw: _Raw, pressure_psia: float) -> list[Finding]:
    standard = float(pressure_at_elevation_psia(raw.elevation_m / FOOT_M))
    if abs(pressure_psia / standard - 1.0) <= _PRESSURE_BAND_FRAC:
        return []
    return [
        Finding(
            "check",
            f"weather {raw.file_name}",
            f"The site pressure {pressure_psia:.2f} psia is more than {_PRESSURE_BAND_FRAC:.0%} "
            f"off the standard atmosphere at the station's elevation ({standard:.2f} psia).",
        )
    ]
