"""Weather files: what is read, what is refused, and counts recomputed from the raw files.

The counts are not published anywhere: they were computed from the public files by a route
of their own (plain csv, integer arithmetic), which the tests walk again before they compare
the package with it.
"""

import csv
import dataclasses
import functools
import hashlib
import re
import subprocess
import sys

import numpy as np
import psychrolib
import pytest
from hypothesis import given
from hypothesis import strategies as st

from binestimator import moist_air
from binestimator.errors import WeatherError
from binestimator.units import PSI_PA
from binestimator.weather import find_weather, read_weather, weather_for
from binestimator.weather.find import WEATHER_FOLDER
from binestimator.weather.formats import FORMATS
from binestimator.weather.parsing import DAYS_IN_MONTH
from binestimator.weather.year import exact_f_from_celsius, whole_f_from_celsius, whole_f_share

FOLDER = WEATHER_FOLDER
GREENSBORO, SAND_POINT, MIAMI = "723170TYA.CSV", "703165TY.csv", "12839.tm2"
STATIONS = (GREENSBORO, MIAMI, SAND_POINT)


@functools.cache
def lines_of(name):
    return (FOLDER / name).read_text(encoding="ascii").split("\n")[:-1]


@functools.cache
def raw_columns(name):
    """Dry bulb, dew point [degC], pressure [mbar] straight from the file."""
    if name == MIAMI:
        rows = lines_of(name)[1:]
        return tuple(
            np.array([int(row[first:last]) for row in rows]) / unit
            for first, last, unit in ((67, 71, 10), (73, 77, 10), (84, 88, 1))
        )
    header, *rows = list(csv.reader(lines_of(name)[1:]))
    return tuple(
        np.array([float(row[header.index(column)]) for row in rows])
        for column in ("Dry-bulb (C)", "Dew-point (C)", "Pressure (mbar)")
    )


def hundredths_f(temp_c):
    return 18 * np.rint(temp_c * 10).astype(int) + 3200


@functools.cache
def year_of(name, **options):
    """The year of one of the three files, read once for all tests: nobody changes it."""
    return read_weather(FOLDER / name, **options)


# --- counts of the three stations --------------------------------------------------------

# Lower edge of the 5 degF bin: hours as converted, hours after rounding to whole degrees F.
BIN_HOURS = {
    GREENSBORO: {
        0: (5, 5),
        5: (12, 12),
        10: (48, 48),
        15: (166, 137),
        20: (185, 168),
        25: (230, 276),
        30: (335, 335),
        35: (610, 484),
        40: (649, 636),
        45: (575, 712),
        50: (729, 730),
        55: (697, 697),
        60: (1049, 845),
        65: (1017, 1008),
        70: (810, 1024),
        75: (702, 702),
        80: (649, 568),
        85: (216, 271),
        90: (66, 92),
        95: (10, 10),
    },
    MIAMI: {
        35: (5, 2),
        40: (13, 15),
        45: (27, 28),
        50: (123, 123),
        55: (242, 235),
        60: (427, 349),
        65: (867, 718),
        70: (1506, 1721),
        75: (2705, 2703),
        80: (2174, 1901),
        85: (663, 932),
        90: (8, 33),
    },
    SAND_POINT: {
        10: (15, 6),
        15: (224, 212),
        20: (475, 351),
        25: (542, 646),
        30: (1097, 1067),
        35: (2332, 2229),
        40: (1513, 1307),
        45: (966, 1318),
        50: (1207, 1116),
        55: (314, 413),
        60: (70, 86),
        65: (5, 9),
    },
}
# Greensboro, rounded: hours of a bin by hour of day 1-8, 9-16, 17-24.
HOUR_GROUPS = {
    30: (163, 81, 91),
    40: (295, 145, 196),
    50: (239, 222, 269),
    60: (315, 259, 271),
    65: (403, 257, 348),
    70: (337, 339, 348),
    75: (112, 310, 280),
    80: (17, 369, 182),
    85: (1, 200, 70),
    90: (0, 69, 23),
    95: (0, 7, 3),
}
# As converted. Degree-days: of daily means, of daily (max + min) / 2, hourly integral / 24.
ANNUAL = {
    GREENSBORO: {
        "mean": 57.96,
        "min": 1.94,
        "max": 96.08,
        "pressure_mbar": 986.9,
        "hdd65": (3876, 3869, 4050),
        "cdd65": (1306, 1370, 1481),
        "cdd50": 4286,
        "percentiles": (12.0, 15.1, 91.9, 90.0, 88.0),
        "above_70": 2453,
        "to_55": 3544,
        "from_60_to_70": 2066,
        "dew_above": (3010, 3762),
    },
    MIAMI: {
        "mean": 75.77,
        "min": 37.94,
        "max": 93.02,
        "pressure_mbar": 1017.4,
        "hdd65": (130, 140, 218),
        "cdd65": (4059, 4127, 4148),
        "cdd50": 9404,
        "percentiles": (48.0, 52.0, 89.1, 89.1, 88.0),
        "above_70": 7056,
        "to_55": 168,
        "from_60_to_70": 1294,
        "dew_above": (6919, 7782),
    },
    SAND_POINT: {
        "mean": 39.96,
        "min": 12.92,
        "max": 66.92,
        "pressure_mbar": 1012.0,
        "hdd65": (9141, 9140, 9141),
        "cdd65": (0, 0, 0),
        "cdd50": 231,
        "percentiles": (16.0, 17.6, 61.9, 59.9, 57.0),
        "above_70": 0,
        "to_55": 8371,
        "from_60_to_70": 75,
        "dew_above": (0, 0),
    },
}


def bins_of(oat_hundredths):
    edges, counts = np.unique(oat_hundredths // 500 * 5, return_counts=True)
    return {int(edge): int(count) for edge, count in zip(edges, counts, strict=True)}


@pytest.mark.crosscheck
@pytest.mark.parametrize("name", STATIONS)
def test_bin_hours_as_converted_and_rounded(name):
    """Source: recomputed from the public file; the package reads the same counts."""
    exact = hundredths_f(raw_columns(name)[0])
    whole = (exact + 50) // 100 * 100
    for column, (hundredths, choice) in enumerate(((exact, "no"), (whole, "yes"))):
        counts = {edge: pair[column] for edge, pair in BIN_HOURS[name].items()}
        assert bins_of(hundredths) == counts
        oat_f = year_of(name, whole_f=choice).frame["oat_f"].to_numpy()
        assert np.array_equal(np.rint(oat_f * 100).astype(int), hundredths)
        # No help from rounding here: a bin edge must be met exactly by the float itself.
        edges, hours = np.unique(np.floor(oat_f / 5.0) * 5.0, return_counts=True)
        assert dict(zip(edges, hours, strict=True)) == counts
        assert sum(counts.values()) == 8760


@pytest.mark.crosscheck
def test_bin_hours_by_time_of_day():
    """Source: recomputed from the public file (hours numbered by their end, 1-8 first)."""
    frame = year_of(GREENSBORO).frame
    third = frame["hour_start"] // 8
    for edge, counts in HOUR_GROUPS.items():
        inside = (frame["oat_f"] >= edge) & (frame["oat_f"] < edge + 5)
        assert tuple(int((inside & (third == k)).sum()) for k in range(3)) == counts


@pytest.mark.crosscheck
@pytest.mark.parametrize("name", STATIONS)
def test_annual_figures(name):
    """Source: recomputed from the public file; tolerance is half the last digit written."""
    expected = ANNUAL[name]
    read = year_of(name, whole_f="no")
    exact = hundredths_f(raw_columns(name)[0]) / 100.0
    dew = hundredths_f(raw_columns(name)[1]) / 100.0
    for oat_f, dew_f in (
        (exact, dew),
        (read.frame["oat_f"].to_numpy(), read.frame["dewpoint_f"].to_numpy()),
    ):
        assert oat_f.mean() == pytest.approx(expected["mean"], abs=0.005)
        assert (oat_f.min(), oat_f.max()) == (expected["min"], expected["max"])
        days = oat_f.reshape(365, 24)
        daily = days.mean(axis=1), (days.max(axis=1) + days.min(axis=1)) / 2.0
        hdd = [np.maximum(65.0 - day, 0.0).sum() for day in daily]
        cdd = [np.maximum(day - 65.0, 0.0).sum() for day in daily]
        hdd.append(np.maximum(65.0 - oat_f, 0.0).sum() / 24.0)
        cdd.append(np.maximum(oat_f - 65.0, 0.0).sum() / 24.0)
        assert hdd == pytest.approx(expected["hdd65"], abs=0.51)
        assert cdd == pytest.approx(expected["cdd65"], abs=0.51)
        cdd50 = np.maximum(daily[0] - 50.0, 0.0).sum()
        assert cdd50 == pytest.approx(expected["cdd50"], abs=0.51)
        ranked = np.sort(oat_f)
        percentiles = [ranked[int(np.ceil(8760 * q)) - 1] for q in (0.004, 0.01, 0.996, 0.99, 0.98)]
        assert percentiles == pytest.approx(expected["percentiles"], abs=0.051)
        assert (oat_f > 70.0).sum() == expected["above_70"]
        assert (oat_f <= 55.0).sum() == expected["to_55"]
        assert ((oat_f >= 60.0) & (oat_f < 70.0)).sum() == expected["from_60_to_70"]
        assert ((dew_f > 60.0).sum(), (dew_f > 55.0).sum()) == expected["dew_above"]
    mbar = read.pressure_psia * PSI_PA / 100.0
    assert mbar == pytest.approx(raw_columns(name)[2].mean(), rel=1e-12)
    assert mbar == pytest.approx(expected["pressure_mbar"], abs=0.051)


# Mean coincident wet bulb [degF] and humidity ratio [lb/lb] of bins as converted, from dew
# point and the pressure of each hour.
COINCIDENT = {
    GREENSBORO: {
        30: (28.1, 0.00249),
        50: (46.7, 0.00583),
        60: (57.0, 0.00906),
        70: (66.2, 0.01297),
        80: (70.9, 0.01421),
        90: (76.2, 0.01651),
        95: (78.4, 0.01761),
    },
    MIAMI: {
        60: (57.2, None),
        70: (67.1, None),
        75: (71.1, 0.01504),
        80: (74.3, 0.01648),
        85: (76.4, 0.01709),
        90: (78.7, None),
    },
    SAND_POINT: {30: (29.1, None), 40: (39.5, None), 50: (48.6, None), 60: (52.4, None)},
}


@pytest.mark.crosscheck
@pytest.mark.parametrize("name", STATIONS)
def test_mean_coincident_wet_bulb(name):
    """Source: recomputed from the public file with the pressure of each hour.

    The package uses one site pressure and a wick that freezes at 32 degF: within 0.2 degF.
    Humidity ratio within 0.4 %, as pressure strays from its mean.
    """
    frame = year_of(name, whole_f="no").frame
    for edge, (wet_bulb_f, ratio) in COINCIDENT[name].items():
        hours = frame[(frame["oat_f"] >= edge) & (frame["oat_f"] < edge + 5)]
        assert hours["oawb_f"].mean() == pytest.approx(wet_bulb_f, abs=0.2)
        if ratio is not None:
            assert hours["humidity_ratio"].mean() == pytest.approx(ratio, rel=0.004)


@pytest.mark.crosscheck
@pytest.mark.parametrize(("name", "edge"), [(GREENSBORO, 90), (MIAMI, 90), (SAND_POINT, 60)])
def test_wet_bulb_of_a_bin_by_another_library(name, edge):
    """psychrolib with the raw dew point and the pressure of each hour.

    0.05 degF for the one site pressure, whose hours stray by 1 %.
    """
    psychrolib.SetUnitSystem(psychrolib.IP)
    temp_c, dew_c, mbar = raw_columns(name)
    t, dew = hundredths_f(temp_c) / 100.0, hundredths_f(dew_c) / 100.0
    rows = np.flatnonzero((t >= edge) & (t < edge + 5))
    theirs = np.mean([psychrolib.GetTWetBulbFromTDewPoint(t[k], dew[k], mbar[k] * 100.0 / PSI_PA) for k in rows])
    frame = year_of(name, whole_f="no").frame
    assert frame["oawb_f"].to_numpy()[rows].mean() == pytest.approx(theirs, abs=0.05)


# --- the three formats -------------------------------------------------------------------


@functools.cache
def epw_text(name=GREENSBORO, header=None):
    """The rows of a TMY3 file as an EPW file (35 fields; public-domain data)."""
    columns, *rows = list(csv.reader(lines_of(name)[1:]))
    place = {column: columns.index(column) for column in columns}
    station, city, state, zone, latitude, longitude, elevation = next(csv.reader(lines_of(name)))
    text = header or [
        f'LOCATION,"{city}",{state},USA,TMY3,{station},{latitude},{longitude},{zone},{elevation}',
        "DESIGN CONDITIONS,0",
        "TYPICAL/EXTREME PERIODS,0",
        "GROUND TEMPERATURES,0",
        "HOLIDAYS/DAYLIGHT SAVINGS,No,0,0,0",
        'COMMENTS 1,rows of a TMY3 file with a quotation mark " left open',
        "COMMENTS 2,",
        "DATA PERIODS,1,1,Data,Sunday, 1/ 1,12/31",
    ]
    text = list(text)
    for row in rows:
        month, day, year = row[0].split("/")
        value = {key: row[place[key]] for key in place}
        text.append(
            ",".join(
                [
                    year,
                    str(int(month)),
                    str(int(day)),
                    str(int(row[1][:2])),
                    "0",
                    "?9?9",
                    value["Dry-bulb (C)"],
                    value["Dew-point (C)"],
                    value["RHum (%)"],
                    str(int(value["Pressure (mbar)"]) * 100),
                    value["ETR (W/m^2)"],
                    value["ETRN (W/m^2)"],
                    "9999",
                    value["GHI (W/m^2)"],
                    value["DNI (W/m^2)"],
                    value["DHI (W/m^2)"],
                ]
                + ["0"] * 19
            )
        )
    return text


@functools.cache
def tmy2_text(name=GREENSBORO):
    """The rows of a TMY3 file in the columns of TMY2 (Wilcox and Marion call them alike)."""
    columns, *rows = list(csv.reader(lines_of(name)[1:]))
    text = [" 13723 GREENSBORO PIEDMONT    NC  -5 N 36  6 W  79 57   273"]
    blank = lines_of(MIAMI)[1]
    for row in rows:
        month, day, year = row[0].split("/")
        line = f" {year[2:]}{month}{day}{row[1][:2]}" + blank[9:]
        for column, start, width, unit in (
            ("GHI (W/m^2)", 17, 4, 1),
            ("DNI (W/m^2)", 23, 4, 1),
            ("DHI (W/m^2)", 29, 4, 1),
            ("Dry-bulb (C)", 67, 4, 10),
            ("Dew-point (C)", 73, 4, 10),
            ("RHum (%)", 79, 3, 1),
            ("Pressure (mbar)", 84, 4, 1),
        ):
            value = round(float(row[columns.index(column)]) * unit)
            line = line[:start] + f"{value:0{width}d}" + line[start + width :]
        text.append(line)
    return text


def write(folder, name, lines):
    path = folder / name
    path.write_text("\n".join(lines) + "\n", encoding="utf-8")
    return path


def test_stations_of_the_three_files():
    facts = {}
    for name in STATIONS:
        read = year_of(name)
        facts[name] = (read.format, read.station, read.name, read.utc_offset_h, read.whole_f)
        assert read.file_name == name
        assert len(read.sha256) == 64
    assert facts == {
        GREENSBORO: ("TMY3", "723170", "GREENSBORO PIEDMONT TRIAD INT, NC", -5.0, True),
        MIAMI: ("TMY2", "12839", "MIAMI, FL", -5.0, True),
        SAND_POINT: ("TMY3", "703165", "SAND POINT, AK", -9.0, False),
    }


@pytest.mark.published
def test_position_of_the_stations():
    """Source: the station lines of the files themselves."""
    miami = year_of(MIAMI)
    assert miami.latitude_deg == pytest.approx(25 + 48 / 60)
    assert miami.longitude_deg == pytest.approx(-(80 + 16 / 60))
    assert miami.elevation_ft == pytest.approx(2 / 0.3048)
    greensboro = year_of(GREENSBORO)
    assert (greensboro.latitude_deg, greensboro.longitude_deg) == (36.1, -79.95)
    assert greensboro.elevation_ft == pytest.approx(273 / 0.3048)


@pytest.mark.published
def test_hour_12_of_1_july_is_the_row_that_ends_at_13():
    """Source: line 4,359 of both TMY3 files (07/01, 13:00), line 4,358 of the TMY2 file."""
    for name, ghi, temp_c in ((GREENSBORO, 831, None), (SAND_POINT, 764, None), (MIAMI, 919, 30.6)):
        frame = year_of(name, whole_f="no").frame
        row = frame[(frame["month"] == 7) & (frame["day"] == 1) & (frame["hour_start"] == 12)]
        assert list(row.index) == [4356]
        assert list(row["hour_of_year"]) == [4356]
        assert row["ghi_wm2"].item() == ghi
        if temp_c is None:
            line = lines_of(name)[4358].split(",")
            assert line[1] == "13:00"
            temp_c = float(line[lines_of(name)[1].split(",").index("Dry-bulb (C)")])
        assert row["oat_f"].item() == pytest.approx(temp_c * 1.8 + 32.0)


def test_each_file_is_recognised_by_one_format():
    """The order of the list of formats decides nothing."""
    for lines, name in ((TMY3, "TMY3"), (EPW, "EPW"), (TMY2, "TMY2")):
        assert [known.name for known in FORMATS if known.recognises(lines)] == [name]
        # Nor with a line of the head lost.
        assert {known.name for known in FORMATS if known.recognises(lines[1:])} <= {name}


@pytest.mark.crosscheck
@pytest.mark.parametrize("whole_f", ["yes", "no"])
def test_the_same_rows_in_three_formats_give_the_same_frame(tmp_path, whole_f):
    """Same hours written as EPW and TMY2: every column and the site are equal."""
    tmy3 = year_of(GREENSBORO, whole_f=whole_f)
    epw = read_weather(write(tmp_path, "any.txt", epw_text()), whole_f=whole_f)
    tmy2 = read_weather(write(tmp_path, "other.csv", tmy2_text()), whole_f=whole_f)
    assert (tmy3.format, epw.format, tmy2.format) == ("TMY3", "EPW", "TMY2")
    assert tmy2.name == "GREENSBORO PIEDMONT, NC"
    assert epw.name == "GREENSBORO PIEDMONT TRIAD INT, NC, USA"
    for other in (epw, tmy2):
        assert other.frame.equals(tmy3.frame)
        for fact in ("pressure_psia", "latitude_deg", "longitude_deg", "elevation_ft", "utc_offset_h", "whole_f"):
            assert getattr(other, fact) == pytest.approx(getattr(tmy3, fact), rel=1e-9)


@pytest.mark.crosscheck
def test_tmy2_columns_against_the_reader_of_pvlib():
    from pvlib.iotools import read_tmy2

    theirs, site = read_tmy2(FOLDER / MIAMI)
    ours = year_of(MIAMI, whole_f="no")
    frame = ours.frame
    for column, field, unit in (
        ("ghi_wm2", "GHI", 1),
        ("dni_wm2", "DNI", 1),
        ("dhi_wm2", "DHI", 1),
    ):
        assert np.array_equal(frame[column], theirs[field].to_numpy() / unit)
    dry, dew = (theirs[field].to_numpy() / 10.0 for field in ("DryBulb", "DewPoint"))
    assert np.allclose(frame["oat_f"], dry * 1.8 + 32.0, rtol=0, atol=1e-6)
    assert np.allclose(frame["dewpoint_f"], dew * 1.8 + 32.0, rtol=0, atol=1e-6)
    assert ours.pressure_psia == pytest.approx(theirs["Pressure"].mean() * 100.0 / PSI_PA)
    assert ours.latitude_deg == pytest.approx(site["latitude"])
    assert ours.longitude_deg == pytest.approx(site["longitude"])


@pytest.mark.parametrize("name", STATIONS)
def test_frame_is_a_plain_year(name):
    """Columns as documented, no stamps, no gaps, humidity within what air can hold."""
    read = year_of(name)
    frame = read.frame
    assert list(frame.columns) == [
        "hour_of_year",
        "month",
        "day",
        "hour_start",
        "oat_f",
        "dewpoint_f",
        "oawb_f",
        "humidity_ratio",
        "ghi_wm2",
        "dni_wm2",
        "dhi_wm2",
    ]
    assert frame.index.equals(frame["hour_of_year"].rename(None).index)
    assert {dtype.kind for dtype in frame.dtypes} == {"i", "f"}
    assert np.isfinite(frame.to_numpy(dtype=float)).all()
    assert frame["month"].value_counts().to_dict() == {
        month: days * 24 for month, days in enumerate(DAYS_IN_MONTH, start=1)
    }
    assert (frame["dewpoint_f"] <= frame["oawb_f"] + 1e-6).all()
    assert (frame["oawb_f"] <= frame["oat_f"] + 1e-6).all()
    with pytest.raises(dataclasses.FrozenInstanceError):
        read.pressure_psia = 14.0


@pytest.mark.invariant
def test_given_pressure_is_used_everywhere():
    high = year_of(GREENSBORO, pressure_psia=12.0)
    expected = moist_air.humidity_ratio_from_dewpoint(high.frame["dewpoint_f"].to_numpy(), 12.0)
    assert np.array_equal(high.frame["humidity_ratio"], expected)
    assert high.pressure_psia == 12.0
    assert any("standard atmosphere" in finding.text for finding in high.findings)
    usual = year_of(GREENSBORO)
    assert not any("standard atmosphere" in finding.text for finding in usual.findings)


# --- whole degrees Fahrenheit ------------------------------------------------------------


@pytest.mark.invariant
def test_every_whole_degree_f_survives_storage_in_tenths_of_a_degree_c():
    whole = np.arange(-60.0, 131.0)
    stored = np.round((whole - 32.0) / 1.8, 1)
    assert np.array_equal(whole_f_from_celsius(stored), whole)
    assert whole_f_share(stored) == 1.0
    # The trap: 40 degF is stored as 4.4 degC and converts back to 39.92 degF.
    assert exact_f_from_celsius(4.4) == 39.92


@pytest.mark.invariant
@given(st.integers(-600, 600))
def test_rounding_moves_by_at_most_half_a_degree_f(tenths):
    exact = exact_f_from_celsius(tenths / 10.0)
    whole = whole_f_from_celsius(tenths / 10.0)
    assert whole == np.round(whole)
    assert abs(whole - exact) <= 0.5 + 1e-9


@pytest.mark.crosscheck
def test_share_on_whole_degrees_f():
    """Source: recomputed; Greensboro and Miami were recorded in whole degF, Sand Point not.

    A tenth of a degC is 0.18 degF, so that chance puts 18 % on whole degrees F.
    """
    shares = {name: whole_f_share(raw_columns(name)[0]) for name in STATIONS}
    assert shares[GREENSBORO] == pytest.approx(0.992, abs=0.0005)
    assert shares[MIAMI] == pytest.approx(0.91, abs=0.005)
    assert shares[SAND_POINT] == pytest.approx(0.27, abs=0.005)
    assert whole_f_share(np.arange(-400, 400) / 10.0) == pytest.approx(0.18, abs=0.002)
    assert whole_f_share(raw_columns(GREENSBORO)[0] + 0.03) == 0.0


@pytest.mark.parametrize(("name", "auto"), [(GREENSBORO, True), (SAND_POINT, False)])
def test_rounding_is_decided_by_the_file_and_can_be_forced(name, auto):
    for choice, rounded in (("auto", auto), ("yes", True), ("no", False)):
        read = year_of(name, whole_f=choice)
        assert read.whole_f is rounded
        for column in ("oat_f", "dewpoint_f"):
            on_whole = (read.frame[column] == read.frame[column].round()).all()
            assert on_whole == rounded
        assert any("whole degrees F" in finding.text for finding in read.findings)


# --- what is refused ---------------------------------------------------------------------


def field(lines, number, column, text):
    """TMY3 or EPW lines with one field of line ``number`` (from 1) replaced."""
    place = column if isinstance(column, int) else lines[1].split(",").index(column)
    fields = lines[number - 1].split(",")
    fields[place] = text
    return [*lines[: number - 1], ",".join(fields), *lines[number:]]


def characters(lines, number, first, text):
    """TMY2 lines with characters of one line replaced, counted from 1."""
    line = lines[number - 1]
    line = line[: first - 1] + text + line[first - 1 + len(text) :]
    return [*lines[: number - 1], line, *lines[number:]]


def leap_day(lines, marks, leap):
    """Lines with the rows of 28 February repeated as 29 February."""
    rows = [k for k, line in enumerate(lines) if marks in line[:10]]
    extra = [lines[k].replace(marks, leap, 1) for k in rows]
    return [*lines[: rows[-1] + 1], *extra, *lines[rows[-1] + 1 :]]


TMY3 = lines_of(GREENSBORO)
TMY2 = lines_of(MIAMI)
EPW = epw_text()
BROKEN = {
    "dry bulb -9900": (
        field(TMY3, 5000, "Dry-bulb (C)", "-9900"),
        ["line 5,000", "Dry-bulb (C)", "-9900", "missing value"],
    ),
    "pressure -9900": (
        field(TMY3, 12, "Pressure (mbar)", "-9900"),
        ["line 12", "Pressure (mbar)", "missing", "weather.pressure_psia"],
    ),
    "sun -9900": (field(TMY3, 12, "DNI (W/m^2)", "-9900"), ["line 12", "DNI (W/m^2)"]),
    "dew point and humidity missing": (
        field(field(TMY3, 12, "Dew-point (C)", "-9900"), 12, "RHum (%)", "-9900"),
        ["line 12", "Dew-point (C)", "missing"],
    ),
    "dry bulb out of range": (
        field(TMY3, 12, "Dry-bulb (C)", "77.0"),
        ["line 12", "77.0", "out of range", "-70 to 70 degC"],
    ),
    "text in dry bulb": (field(TMY3, 12, "Dry-bulb (C)", "warm"), ["line 12", "'warm'"]),
    "empty dry bulb": (field(TMY3, 12, "Dry-bulb (C)", ""), ["line 12", "Dry-bulb (C)", "''"]),
    "8784 rows": (leap_day(TMY3, "02/28/", "02/29/"), ["line 1,419", "8,784", "29 February", "drop the 24 rows"]),
    "gap": (TMY3[:500] + TMY3[501:], ["line 501", "hours are missing", "8,759", "8,760"]),
    "duplicate": (TMY3[:500] + TMY3[499:], ["line 501", "there twice", "8,761"]),
    "two rows swapped": (TMY3[:500] + [TMY3[501], TMY3[500]] + TMY3[502:], ["line 501"]),
    "a row moved back": (TMY3[:500] + [TMY3[400]] + TMY3[501:], ["line 501", "out of order"]),
    "cut off": (TMY3[:4000], ["line 4,000", "3,998", "cut off"]),
    "cut within a row": (TMY3[:4000] + [TMY3[4000][:60]], ["line 4,001", "fields"]),
    "more rows": (TMY3 + TMY3[-24:], ["line 8,763", "8,784", "after the last hour"]),
    "no station line": (TMY3[1:], ["line 1", "station line", "missing"]),
    "no column names": (TMY3[:1] + TMY3[2:], ["line 2", "column names", "missing"]),
    "only a station line": (TMY3[:1], ["line 1", "not recognised"]),
    "no data rows": (TMY3[:2], ["line 3", "no data rows"]),
    "column renamed": (field(TMY3, 2, "Dry-bulb (C)", "Dry"), ["line 2", "Dry-bulb (C)"]),
    "station line too short": (['723170,"GREENSBORO",NC'] + TMY3[1:], ["line 1", "3 fields"]),
    "west longitude positive": (field(TMY3, 1, 5, "79.950"), ["line 1", "longitude", "east"]),
    "latitude a word": (field(TMY3, 1, 4, "north"), ["line 1", "latitude", "'north'"]),
    "date a word": (field(TMY3, 12, 0, "tenth"), ["line 12", "MM/DD/YYYY"]),
    "no such day": (field(TMY3, 12, 0, "02/31/1988"), ["line 12", "no such hour", "31"]),
    "half hours": (field(TMY3, 12, 1, "10:30"), ["line 12", "minute 30"]),
    "hours from 0": ([line.replace(",01:00,", ",00:00,", 1) for line in TMY3], ["line 3", "numbered 0"]),
    "blank line": (TMY3[:100] + [""] + TMY3[100:], ["line 101", "blank"]),
    "EPW without a header line": (EPW[:2] + EPW[3:], ["line 3", "TYPICAL/EXTREME PERIODS"]),
    "EPW without LOCATION": (EPW[1:], ["line 1", "LOCATION"]),
    "EPW without DATA PERIODS": (EPW[:7] + EPW[8:], ["line 8", "DATA PERIODS"]),
    "EPW header alone": (EPW[:8], ["no data rows"]),
    "EPW dry bulb 99.9": (field(EPW, 100, 6, "99.9"), ["line 100", "Dry Bulb Temperature", "99.9", "missing"]),
    "EPW pressure 999999": (field(EPW, 100, 9, "999999"), ["line 100", "Pressure", "missing"]),
    "EPW sun 9999": (field(EPW, 100, 13, "9999"), ["line 100", "Global Horizontal", "missing"]),
    "EPW with four records an hour": (field(EPW, 8, 2, "4"), ["line 8", "4 records"]),
    "EPW 36 fields": (EPW[:8] + [line + "," for line in EPW[8:]], ["line 9", "36 fields"]),
    "EPW 29 February": (leap_day(EPW, ",2,28,", ",2,29,"), ["8,784", "29 February"]),
    "TMY2 dry bulb missing": (characters(TMY2, 50, 68, "9999"), ["line 50", "characters 68-71", "missing"]),
    "TMY2 letters": (characters(TMY2, 50, 68, "99x9"), ["line 50", "'99x9'"]),
    "TMY2 short row": (TMY2[:49] + [TMY2[49][:70]] + TMY2[50:], ["line 50", "70 characters"]),
    "TMY2 without station": (TMY2[1:], ["line 1", "station line"]),
    "TMY2 gap": (TMY2[:49] + TMY2[50:], ["line 50", "missing", "8,759"]),
    "TMY2 date": (characters(TMY2, 50, 4, "xx"), ["line 50", "date"]),
    "prose": (["Dear reader,", "no weather here"], ["line 1", "not recognised", "Dear"]),
    "a project file": (["[project]", 'name = "A"', "", "[weather]"], ["line 1", "not recognised", "[project]"]),
}


@pytest.mark.parametrize("case", BROKEN)
def test_broken_file_is_refused_with_its_place(tmp_path, case):
    lines, fragments = BROKEN[case]
    path = write(tmp_path, "broken.csv", lines)
    with pytest.raises(WeatherError) as caught:
        read_weather(path)
    message = str(caught.value)
    assert message.startswith("broken.csv")
    assert "\n" not in message
    for fragment in fragments:
        assert fragment in message


@pytest.mark.parametrize(
    ("content", "fragment"),
    [
        (b"", "empty"),
        (b" \r\n\n", "empty"),
        (b"PK\x03\x04\x00\x00", "not a plain text file"),
        ("LOCATION,Nowhere".encode("utf-16-le"), "UTF-16 text without its mark"),
        ("LOCATION,Nowhere".encode("utf-16"), "line 2: header line"),
        (b"\xff\xfe\xfd\xfc", "not recognised"),
    ],
)
def test_content_that_is_no_weather(tmp_path, content, fragment):
    path = tmp_path / "broken.epw"
    path.write_bytes(content)
    with pytest.raises(WeatherError, match=fragment):
        read_weather(path)


def test_folder_and_missing_file(tmp_path):
    with pytest.raises(WeatherError, match="is a folder"):
        read_weather(tmp_path)
    with pytest.raises(WeatherError, match="the weather file does not exist.*12839.tm2, 703165TY.csv, 7231"):
        read_weather(tmp_path / "nowhere.epw")
    with pytest.raises(WeatherError, match="whole_f.*auto, yes or no"):
        read_weather(FOLDER / MIAMI, whole_f="maybe")


def test_weather_is_looked_for_in_the_order_that_is_said(tmp_path, monkeypatch):
    """Beside the project, weather/ of it and of the folders above, the working folder, the program, the data of
    pvlib."""
    project, work, bare = tmp_path / "a" / "b", tmp_path / "work", tmp_path / "bare"
    for folder in (project / "weather", tmp_path / "a" / "weather", tmp_path / "weather", work / "weather", bare):
        folder.mkdir(parents=True)
    monkeypatch.chdir(work)
    monkeypatch.setattr("binestimator.weather.find.WEATHER_FOLDER", bare)
    source = (FOLDER / MIAMI).read_bytes()
    pvlib_own = weather_for(MIAMI, project)
    assert (
        pvlib_own.found == "the data of the installed pvlib" and pvlib_own.sha256 == hashlib.sha256(source).hexdigest()
    )
    for folder, words in (
        (bare, "weather/ of this program"),
        (work / "weather", "weather/ of the working folder"),
        (work, "the working folder"),
        (tmp_path / "weather", "weather/ two folders above the project"),
        (tmp_path / "a" / "weather", "weather/ one folder above the project"),
        (project / "weather", "weather/ beside the project"),
        (project, ""),
    ):
        (folder / MIAMI).write_bytes(source)
        assert weather_for(MIAMI, project).found == words and find_weather(MIAMI, project).samefile(folder / MIAMI)
    assert weather_for(project / MIAMI, tmp_path).found == "" and weather_for(f"../b/{MIAMI}", project).found == ""


def test_a_missing_file_says_where_it_was_looked_for_and_where_others_are_to_be_had(tmp_path, monkeypatch):
    (tmp_path / "zones.csv").write_text("name\n")
    (tmp_path / "town.epw").write_text("")
    monkeypatch.chdir(tmp_path.parent)
    with pytest.raises(WeatherError) as caught:
        find_weather("towm.epw", tmp_path)
    text = str(caught.value)
    for words in (
        f"looked in {tmp_path}, weather/ in it and in the folders above it, the working folder {tmp_path.parent}",
        "come with pvlib",
        "did you mean town.epw?",
        "12839.tm2, 703165TY.csv, 723170TYA.CSV, town.epw;",
        "TMY3 archive",
        "PVGIS",
        "free of charge",
    ):
        assert words in text, text
    assert "zones.csv" not in text and "sam-library" not in text
    for name in (" ", "..", "bad\0name"):
        with pytest.raises(WeatherError):
            find_weather(name, tmp_path)
    (tmp_path / "dead.epw").symlink_to("gone.epw")
    with pytest.raises(WeatherError, match="is a link to gone.epw, and nothing is there"):
        weather_for("dead.epw", tmp_path)


def test_looking_for_weather_loads_no_pvlib():
    code = (
        "import sys; from binestimator.weather import find_weather; find_weather('12839.tm2', '/'); assert not "
        "any(m.startswith('pvlib') for m in sys.modules)"
    )
    subprocess.run([sys.executable, "-c", code], check=True)


READING = """
import sys
from pathlib import Path
from binestimator.hours import sun_on_building
from binestimator.weather import read_weather
"""


def test_reading_weather_and_sun_loads_single_modules_of_pvlib():
    """The rest of pvlib and scipy cost half as much again as all that an estimate imports; pvlib itself is whole
    for whoever imports it next."""
    code = READING + (
        f"sun_on_building(read_weather(Path({str(FOLDER / GREENSBORO)!r})))\n"
        "assert not [m for m in sys.modules if m.partition('.')[0] in ('pvlib', 'scipy', 'requests', 'h5py')]\n"
        "import pvlib, pvlib.iotools\nassert pvlib.__version__ and pvlib.iotools.read_epw and pvlib.location.Location"
    )
    subprocess.run([sys.executable, "-c", code], check=True)


@pytest.mark.parametrize(
    "before",
    [
        pytest.param("import pvlib", id="loaded before"),
        pytest.param(
            "import binestimator.weather.pvlib_parts as p\ndef no(full): raise AttributeError\np._alone = no",
            marks=pytest.mark.slow,
            id="module that needs more",
        ),
    ],
)
def test_reading_weather_takes_the_whole_pvlib_where_it_is_loaded_or_needed(before):
    code = (
        f"{before}\n{READING}sun_on_building(read_weather(Path({str(FOLDER / GREENSBORO)!r})))\n"
        "import pvlib.spa, binestimator.weather.pvlib_parts as p; assert p.pvlib_part('spa') is pvlib.spa"
    )
    subprocess.run([sys.executable, "-c", code], check=True)


def saved_by_a_spreadsheet(lines, decimal=","):
    return [";".join(line.split(",")).replace(".", decimal) for line in lines]


@pytest.mark.parametrize(
    ("lines", "words"),
    [
        (
            saved_by_a_spreadsheet(TMY3),
            [
                "separated by semicolons and decimal commas; got `",
                "expected commas and decimal points",
                "as in the file at its source",
            ],
        ),
        (
            saved_by_a_spreadsheet(EPW, "."),
            ["line 1: the fields are separated by semicolons; got `LOCATION;", "expected commas,"],
        ),
        ([line.replace(",", "\t") for line in TMY3], ["separated by tabs; got `"]),
        ([f'"{line}"' for line in TMY3], ['line 2: quotes around the whole line; got `"Date (MM/DD/YYYY)']),
        (
            [*TMY3[:11], TMY3[11].replace(",", ',"', 1), *TMY3[12:]],
            ["line 12: a quote in a row of numbers; got `", "remove the quotes"],
        ),
        ([*TMY3[:2], *(line.replace(".", ",") for line in TMY3[2:])], ["line 3: ", "fields (decimal commas?); got `"]),
        (
            ["Latitude (decimal degrees): 45.000", "x"],
            ["line 1: a typical year in the CSV layout of the European Commission's PVGIS", "EPW form: take that"],
        ),
        (
            [",Year,Month,Day,Hour,Minute,GHI,DNI", "0,2020,1,1,0,30,0,0"],
            ["CSV layout of the National Solar Radiation Database", "got `,Year,Month"],
        ),
        (['{"inputs": 1}'], ["a JSON file, not a weather file", 'got `{"inputs": 1}`']),
        (["<!DOCTYPE html>"], ["a web page or XML file", "fetch the file again"]),
        (["[project]", "name = 'x'", "[weather]"], ["this looks like a project file"]),
    ],
)
def test_files_changed_on_saving_or_of_another_layout(tmp_path, lines, words):
    with pytest.raises(WeatherError) as caught:
        read_weather(write(tmp_path, "saved.csv", lines))
    for word in words:
        assert word in str(caught.value), str(caught.value)


@pytest.mark.parametrize(("encoding", "ends"), [("utf-8-sig", "\r\n"), ("utf-16", "\r\n"), ("latin-1", "\r")])
def test_encodings_and_line_ends_of_weather_files(tmp_path, encoding, ends):
    path = tmp_path / "w.csv"
    path.write_bytes(ends.join([TMY3[0].replace("GREENSBORO", "GR\u00dcNSBORO"), *TMY3[1:]]).encode(encoding))
    read = read_weather(path)
    assert read.name.startswith("GR\u00dcNSBORO") and read.frame.equals(year_of(GREENSBORO).frame)


def _levels(read):
    return {
        finding.level: finding.text for finding in read.findings if "pressure" in finding.text or "sun" in finding.text
    }


@pytest.mark.published
def test_a_pressure_that_does_not_fit_the_elevation_is_a_caution(tmp_path):
    """U.S. Standard Atmosphere (1976): 1013.25 mbar at sea level; 101.25 kPa at 6 m, against 93.0 kPa in a public file
    of a station at 6 m."""
    column = TMY3[1].split(",").index("Pressure (mbar)")

    def with_pressure(mbar, elevation="6"):
        station = ",".join([*TMY3[0].split(",")[:6], elevation])
        rows = [
            ",".join([*fields[:column], str(mbar), *fields[column + 1 :]])
            for fields in (line.split(",") for line in TMY3[2:])
        ]
        return write(tmp_path, "low.csv", [station, TMY3[1], *rows])

    path = with_pressure(930)
    text = _levels(read_weather(path))["caution"]
    for words in (
        "13.49 psia",
        "8.2% below the standard atmosphere at the station's elevation of 20 ft (14.69 psia",
        "set weather.pressure_psia = 14.69",
    ):
        assert words in text, text
    assert _levels(read_weather(path, pressure_psia=14.69)) == {}  # the remedy ends it
    assert "given" in _levels(read_weather(path, pressure_psia=13.5))["check"]
    assert "4.9% above" in _levels(read_weather(with_pressure(930, "1112")))["caution"]
    for name in (GREENSBORO, MIAMI, SAND_POINT):
        assert _levels(year_of(name)) == {}
    # What weather can explain is none: yearly means of 985 and 1025 mbar at the sea.
    for mbar in (985, 1025):
        assert _levels(read_weather(with_pressure(mbar))) == {}


@pytest.mark.invariant
@pytest.mark.parametrize(("shift", "words"), [(-1, "h too early"), (1, "h too late"), (0, "")])
def test_a_sun_that_keeps_another_time_is_a_caution(tmp_path, shift, words):
    """Rows moved by an hour, as in a file stamped in UTC or in daylight-saving time."""
    stamps = [line.split(",", 2)[:2] for line in TMY3[2:]]
    rest = [line.split(",", 2)[2] for line in TMY3[2:]]
    lines = [*TMY3[:2], *(f"{date},{hour},{rest[(at - shift) % 8760]}" for at, (date, hour) in enumerate(stamps))]
    levels = _levels(read_weather(write(tmp_path, "moved.csv", lines)))
    if not words:
        assert levels == {}
        return
    assert words in levels["caution"]
    hours = float(re.search(r"comes (\d\.\d) h", levels["caution"])[1])
    assert abs(hours - 1.0) <= 0.15  # the file itself is within 0.1 h; one decimal is printed


def test_the_sun_is_not_judged_where_there_are_too_few_days_with_a_night(tmp_path):
    rows = [",".join([*fields[:13], "5", *fields[14:]]) for fields in (line.split(",") for line in EPW[8:])]
    assert _levels(read_weather(write(tmp_path, "light.epw", [*EPW[:8], *rows]))) == {}


def test_file_is_found_beside_the_project_first(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    assert find_weather(MIAMI, tmp_path) == FOLDER / MIAMI
    own = write(tmp_path, MIAMI, ["own"])
    assert find_weather(MIAMI, tmp_path) == own
    assert find_weather(str(own), tmp_path / "elsewhere") == own
    with pytest.raises(WeatherError, match="did you mean 723170TYA.CSV"):
        find_weather("723170TY.csv", tmp_path)


# --- what is read although it is unusual -------------------------------------------------


@pytest.mark.parametrize(
    ("station", "name"),
    [
        (
            '723170,"GREENSBORO, PIEDMONT TRIAD",NC,-5.0,36.1,-79.95,273',
            "GREENSBORO, PIEDMONT TRIAD, NC",
        ),
        ("723170,GREENSBORO, PIEDMONT,NC,-5.0,36.1,-79.95,273", "GREENSBORO, PIEDMONT, NC"),
        ('69019A,"D\'ARC FIELD",NC,-5,36.1,-79.95,273', "D'ARC FIELD, NC"),
    ],
)
def test_station_names_with_commas_and_numbers_with_letters(tmp_path, station, name):
    read = read_weather(write(tmp_path, "a.csv", [station, *TMY3[1:]]))
    assert read.name == name
    assert read.station == station[:6]
    assert read.frame.equals(year_of(GREENSBORO).frame)


def test_epw_station_with_a_comma_and_an_accent(tmp_path):
    header = ['LOCATION,"Grünsboro, Süd",NC,USA,X,723170,36.1,-79.95,-5.0,273.0', *EPW[1:8]]
    lines = header + EPW[8:]
    assert read_weather(write(tmp_path, "u.epw", lines)).name == "Grünsboro, Süd, NC, USA"
    path = tmp_path / "l.epw"
    path.write_bytes("\r\n".join(lines).encode("latin-1"))
    assert read_weather(path).name == "Grünsboro, Süd, NC, USA"


@pytest.mark.invariant
@pytest.mark.parametrize("fields", [32, 20])
def test_epw_rows_without_the_last_fields(tmp_path, fields):
    """Albedo and precipitation came late to the format; nothing of them is used."""
    lines = EPW[:8] + [",".join(line.split(",")[:fields]) for line in EPW[8:]]
    assert read_weather(write(tmp_path, "o.epw", lines)).frame.equals(read_weather(write(tmp_path, "n.epw", EPW)).frame)


@pytest.mark.invariant
def test_midnight_written_as_hour_0_of_the_next_day(tmp_path):
    """A vendor's variant of TMY3: same hours, same frame."""
    stamps = [line[:16] for line in TMY3]
    lines = list(TMY3)
    for k, stamp in enumerate(stamps):
        if stamp.endswith("24:00"):
            following = stamps[k + 1] if k + 1 < len(stamps) else stamps[2]
            lines[k] = following[:11] + "00:00" + TMY3[k][16:]
    read = read_weather(write(tmp_path, "v.csv", lines))
    assert read.frame.equals(year_of(GREENSBORO).frame)


@pytest.mark.invariant
def test_text_in_unused_columns_does_not_matter(tmp_path):
    lines = field(TMY3, 8000, "Wspd (m/s)", "gusty")
    read = read_weather(write(tmp_path, "w.csv", lines))
    assert read.frame.equals(year_of(GREENSBORO).frame)


@pytest.mark.crosscheck
def test_missing_dew_point_is_filled_from_relative_humidity(tmp_path):
    """Dew points dropped on purpose come back within what whole percents of RH allow.

    One percent of RH moves the dew point by up to 1.5 degF at the driest of these rows.
    """
    lines = TMY3
    numbers = range(3000, 3010)
    for number in numbers:
        lines = field(lines, number, "Dew-point (C)", "-9900")
    read = read_weather(write(tmp_path, "d.csv", lines), whole_f="no")
    original = year_of(GREENSBORO, whole_f="no")
    rows = [number - 3 for number in numbers]
    ours, theirs = (x.frame["dewpoint_f"].to_numpy() for x in (read, original))
    assert np.abs(ours - theirs)[rows].max() < 1.0
    assert not np.array_equal(ours[rows], theirs[rows])
    others = np.setdiff1d(np.arange(8760), rows)
    assert np.array_equal(ours[others], theirs[others])
    assert any("10" in f.text and f.level == "check" for f in read.findings)


@pytest.mark.invariant
def test_dew_point_above_dry_bulb_is_saturated_air_and_said(tmp_path):
    read = read_weather(write(tmp_path, "d.csv", field(TMY3, 3000, "Dew-point (C)", "35.0")))
    row = read.frame.iloc[2997]
    assert row["dewpoint_f"] == row["oat_f"]
    assert row["oawb_f"] == pytest.approx(row["oat_f"], abs=1e-6)
    assert any("line 3,000" in f.text and f.level == "check" for f in read.findings)


def test_a_file_without_sun_is_said(tmp_path):
    lines = list(EPW)
    for column in (13, 14, 15):
        lines = lines[:8] + [
            ",".join([*row.split(",")[:column], "0", *row.split(",")[column + 1 :]]) for row in lines[8:]
        ]
    read = read_weather(write(tmp_path, "dark.epw", lines))
    assert [f.level for f in read.findings if "no sun" in f.text] == ["caution"]
