"""TMY2: a station line and the hours in fixed columns, sliced here.

pvlib's reader takes 0.6 s for a file and refuses station names of more than one word; the tests compare every used
column with it.

References
----------
Marion and Urban, User's Manual for TMY2s, NREL (1995), table 3-2 (columns).
"""

from __future__ import annotations

import re

import numpy as np

from binestimator.errors import WeatherError
from binestimator.weather.parsing import RawWeather, WeatherFormat, check_calendar, numbers_of, quoted, site_of

_DATE = re.compile(r" [ \d]\d([ \d]\d)([ \d]\d)([ \d]\d)[ \d]{8}")
_STATION = re.compile(
    r"\s*(\d{5})\s+(\S.*?)\s+([A-Z]{2})\s+(-?\d+)\s+([NS])\s+(\d+)\s+(\d+)\s+([EW])\s+(\d+)"
    r"\s+(\d+)\s+(-?\d+)\s*$"
)
# first and last character of the row counted from 1 as in the manual's table 3-2, and what
# one unit of the field is worth
_COLUMNS = {
    "temp_c": ("dry bulb", 68, 71, 0.1),
    "dew_c": ("dew point", 74, 77, 0.1),
    "rh_pct": ("relative humidity", 80, 82, 1.0),
    "pressure_pa": ("pressure", 85, 88, 100.0),
    "ghi_wm2": ("global horizontal radiation", 18, 21, 1.0),
    "dni_wm2": ("direct normal radiation", 24, 27, 1.0),
    "dhi_wm2": ("diffuse horizontal radiation", 30, 33, 1.0),
}
_LAST_CHARACTER = 88


def _recognises(lines: list[str]) -> bool:
    return any(_STATION.match(line) or _DATE.match(line) for line in lines[:2])


def _parse(file_name: str, lines: list[str]) -> RawWeather:
    match = _STATION.match(lines[0])
    if match is None:
        raise WeatherError(
            f"{file_name}, line 1: not the station line of a TMY2 file; got {quoted(lines[0])}; "
            "expected number, name, state, time zone, N or S with degrees and minutes, E or W "
            "with degrees and minutes, elevation"
        )
    station, city, state, zone, ns, lat_deg, lat_min, ew, lon_deg, lon_min, elevation = match.groups()
    latitude = (int(lat_deg) + int(lat_min) / 60.0) * (1 if ns == "N" else -1)
    longitude = (int(lon_deg) + int(lon_min) / 60.0) * (1 if ew == "E" else -1)
    site = site_of(file_name, lines[0], latitude, longitude, zone, elevation)
    rows = lines[1:]
    for number, row in enumerate(rows, start=2):
        if len(row) < _LAST_CHARACTER:
            raise WeatherError(
                f"{file_name}, line {number:,}: {len(row)} characters; got {quoted(row)}; a TMY2 row has 142; "
                "the file may have been cut off or edited"
            )
    check_calendar(file_name, rows, 2, _DATE, "year, month, day, hour of two digits each")
    labels, columns = {}, {}

    def written(name: str, row: int) -> str:
        _, first, last, _ = _COLUMNS[name]
        return rows[row][first - 1 : last]

    for name, (label, first, last, unit) in _COLUMNS.items():
        labels[name] = f"{label} (characters {first}-{last})"
        texts = np.array([row[first - 1 : last] for row in rows])
        try:
            columns[name] = texts.astype(np.int64) * unit
        except ValueError:
            columns[name] = numbers_of(file_name, texts, labels[name], 2, written, name) * unit
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
        **site,
    )


TMY2 = WeatherFormat(
    name="TMY2",
    shows="first line: station number, name, state, time zone, latitude, longitude, elevation",
    recognises=_recognises,
    parse=_parse,
)
