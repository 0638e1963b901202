"""EPW: eight header lines and the hours, parsed by ``pvlib.iotools``.

References
----------
EnergyPlus Auxiliary Programs, EPW data dictionary (order of fields; from memory).
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

_DATE = re.compile(r"\s*\d{4}\s*,\s*(\d{1,2})\s*,\s*(\d{1,2})\s*,\s*(\d{1,2})\s*,\s*(-?\d+)\s*,")
_HEADER = (
    "LOCATION",
    "DESIGN CONDITIONS",
    "TYPICAL/EXTREME PERIODS",
    "GROUND TEMPERATURES",
    "HOLIDAYS/DAYLIGHT SAVING",
    "COMMENTS 1",
    "COMMENTS 2",
    "DATA PERIODS",
)
_FIELDS = 35

# name, EPW field, its place in the row counted from 0
_COLUMNS = {
    "temp_c": ("temp_air", "Dry Bulb Temperature", 6),
    "dew_c": ("temp_dew", "Dew Point Temperature", 7),
    "rh_pct": ("relative_humidity", "Relative Humidity", 8),
    "pressure_pa": ("atmospheric_pressure", "Atmospheric Station Pressure", 9),
    "ghi_wm2": ("ghi", "Global Horizontal Radiation", 13),
    "dni_wm2": ("dni", "Direct Normal Radiation", 14),
    "dhi_wm2": ("dhi", "Diffuse Horizontal Radiation", 15),
}


def _recognises(lines: list[str]) -> bool:
    return any(line.lstrip('" ').upper().startswith(_HEADER) for line in lines[:9])


def _parse(file_name: str, lines: list[str]) -> RawWeather:
    # pvlib counts lines instead of reading them: with one header line less it would take
    # the first hour for a header.
    for number, keyword in enumerate(_HEADER, start=1):
        got = lines[number - 1] if number <= len(lines) else ""
        if not got.lstrip('" ').upper().startswith(keyword):
            raise WeatherError(
                f"{file_name}, line {number}: header line {keyword!r} of an EPW file is missing; "
                f"got {quoted(got)}; expected the eight header lines in order"
            )
    periods = [field.strip() for field in lines[7].split(",")]
    if len(periods) > 2 and periods[2] not in ("1", ""):
        raise WeatherError(f"{file_name}, line 8: the file holds {periods[2]} records an hour; expected 1")
    fields = split_station(file_name, lines[0], least=10)
    _, *names, state, country, _, station, latitude, longitude, zone, elevation = fields
    site = site_of(file_name, lines[0], latitude, longitude, zone, elevation)
    rows = lines[8:]
    # Older files stop before the last fields, which are not used here; more would shift every column.
    count = rows[0].count(",") + 1 if rows else _FIELDS
    if not 16 <= count <= _FIELDS:
        raise WeatherError(
            f"{file_name}, line 9: {count} fields; got {quoted(rows[0])}; expected 16 to {_FIELDS} in an EPW row"
        )
    check_field_count(file_name, rows, 9, count)
    check_calendar(file_name, rows, 9, _DATE, "year,month,day,hour,minute", minutes=("0", "00", "60"))
    # As above; and no comment of the header, where a quotation mark may stay open.
    plain = f"LOCATION,station,-,-,-,0,{latitude},{longitude},{zone},{elevation}"
    header = [plain, *_HEADER[1:]]
    missing = "," * (_FIELDS - count)
    read_epw = pvlib_part("iotools.epw").read_epw
    frame = through_pvlib(file_name, read_epw, [*header, *(row + missing for row in rows)], coerce_year=None)
    labels = {name: label for name, (_, label, _) in _COLUMNS.items()}

    def written(name: str, row: int) -> str:
        return rows[row].split(",")[_COLUMNS[name][2]]

    return RawWeather(
        format="EPW",
        file_name=file_name,
        name=", ".join([*names, *(part for part in (state, country) if part.strip("- "))]),
        station=station,
        first_line=9,
        labels=labels,
        columns={
            name: numbers_of(file_name, frame[column].to_numpy(), label, 9, written, name)
            for name, (column, label, _) in _COLUMNS.items()
        },
        written=written,
        **site,
    )


EPW = WeatherFormat(
    name="EPW",
    shows="first line begins 'LOCATION,'",
    recognises=_recognises,
    parse=_parse,
)
