"""What parsers of weather files share: the raw columns they give, and checks of form and order.

Lines become columns in SI units. What pvlib does not check is checked before it is used: the header, the number of
fields, and that the rows are the 8,760 hours of a year in order.
"""

from __future__ import annotations

import csv
import io
import warnings
from collections.abc import Callable
from typing import TypedDict

import numpy as np
import pandas as pd

from binestimator.dataclass import dataclass
from binestimator.errors import WeatherError
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


def quoted(line: str) -> str:
    """Start of a line between accents for a message."""
    return f"`{printable(line[:70])}{' ...' if len(line) > 70 else ''}`"


@dataclass(frozen=True, slots=True, kw_only=True)
class WeatherFormat:
    """A format of typical-year files.

    ``name`` as people call it · ``shows`` how its first lines look, in words · ``recognises`` whether the lines of a
    file are of it, by its first ones · ``parse`` gives the raw columns of a file's name and lines.
    """

    name: str
    shows: str
    recognises: Callable[[list[str]], bool]
    parse: Callable[[str, list[str]], RawWeather]


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


def split_station(file_name: str, line: str, least: int) -> list[str]:
    """Fields of a comma-separated station line; quoted names may hold commas."""
    fields = [field.strip() for field in next(csv.reader([line], skipinitialspace=True))]
    if len(fields) < least:
        raise WeatherError(
            f"{file_name}, line 1: the station line has {len(fields)} fields; expected {least}; got {quoted(line)}"
        )
    return fields


class Position(TypedDict):
    """Of a station, as :class:`RawWeather` takes it."""

    latitude_deg: float
    longitude_deg: float
    elevation_m: float
    utc_offset_h: float


def site_of(file_name: str, line: str, latitude, longitude, zone, elevation) -> Position:
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
                f"{file_name}, line 1: {what}: got {str(value)!r} in {quoted(line)}; expected {low:g} to {high:g}; "
                "numbers have decimal points, and "
                "put a name that holds a comma in quotes"
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
    return Position(
        latitude_deg=site["latitude_deg"],
        longitude_deg=site["longitude_deg"],
        elevation_m=site["elevation_m"],
        utc_offset_h=site["utc_offset_h"],
    )


def check_field_count(file_name: str, rows: list[str], first_line: int, count: int) -> None:
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


def check_calendar(file_name, rows, first_line, pattern, form, minutes=None) -> None:
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


def through_pvlib(file_name: str, reader, lines: list[str], **options) -> pd.DataFrame:
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


def numbers_of(file_name: str, values, label: str, first_line: int, written, name: str) -> np.ndarray:
    """Floats of a parsed column; text or an empty field is an error with its line."""
    numbers = pd.to_numeric(pd.Series(values), errors="coerce").to_numpy(dtype=float)
    bad = ~np.isfinite(numbers)
    if bad.any():
        row = int(bad.argmax())
        raise WeatherError(
            f"{file_name}, line {first_line + row:,}, column {label}: got {written(name, row)!r}; expected a number"
        )
    return numbers
