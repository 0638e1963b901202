"""TMY3: a station line, a line of column names, and the hours, parsed by ``pvlib.iotools``.

References
----------
Wilcox and Marion, Users Manual for TMY3 Data Sets, NREL/TP-581-43156 (2008).
"""

from __future__ import annotations

import re

from binestimator.errors import WeatherError
from binestimator.weather.parsing import (
    RawWeather,
    WeatherFormat,
    check_calendar,
    check_field_count,
    numbers_of,
    quoted,
    site_of,
    split_station,
    through_pvlib,
)
from binestimator.weather.pvlib_parts import pvlib_part

_DATE = re.compile(r"\s*(\d{1,2})/(\d{1,2})/\d{4}\s*,\s*(\d{1,2}):(\d{2})\s*,")
_COLUMNS = {
    "temp_c": ("temp_air", "Dry-bulb (C)"),
    "dew_c": ("temp_dew", "Dew-point (C)"),
    "rh_pct": ("relative_humidity", "RHum (%)"),
    "pressure_pa": ("pressure", "Pressure (mbar)"),
    "ghi_wm2": ("ghi", "GHI (W/m^2)"),
    "dni_wm2": ("dni", "DNI (W/m^2)"),
    "dhi_wm2": ("dhi", "DHI (W/m^2)"),
}


def _recognises(lines: list[str]) -> bool:
    return any(line.startswith("Date (MM/DD/YYYY)") or _DATE.match(line) for line in lines[:3])


def _parse(file_name: str, lines: list[str]) -> RawWeather:
    if lines[0].startswith("Date (MM/DD/YYYY)") or _DATE.match(lines[0]):
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
    labels = {name: label for name, (_, label) in _COLUMNS.items()}
    for label in ("Time (HH:MM)", *labels.values()):
        if header.count(label) != 1:
            raise WeatherError(
                f"{file_name}, line 2: column {label!r} is there {header.count(label)} times; "
                "expected once, as in the TMY3 users manual"
            )
    fields = split_station(file_name, lines[0], least=7)
    station, *names, state, zone, latitude, longitude, elevation = fields
    site = site_of(file_name, lines[0], latitude, longitude, zone, elevation)
    rows = lines[2:]
    check_field_count(file_name, rows, 3, len(header))
    # Hours are numbered by their end. One vendor writes midnight as 00:00 of the next day.
    check_calendar(file_name, rows, 3, _DATE, "MM/DD/YYYY,HH:MM", minutes=("00",))

    # pvlib splits the station line at every comma and needs an integer station number: hand
    # it the numbers alone.
    plain = f"0,station,-,{zone},{latitude},{longitude},{elevation}"
    frame = through_pvlib(file_name, pvlib_part("iotools.tmy").read_tmy3, [plain, *lines[1:]], map_variables=True)

    def written(name: str, row: int) -> str:
        return rows[row].split(",")[header.index(labels[name])]

    columns = {
        name: numbers_of(file_name, frame[column].to_numpy(), labels[name], 3, written, name)
        for name, (column, _) in _COLUMNS.items()
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
        **site,
    )


TMY3 = WeatherFormat(
    name="TMY3",
    shows="second line begins 'Date (MM/DD/YYYY)'",
    recognises=_recognises,
    parse=_parse,
)
