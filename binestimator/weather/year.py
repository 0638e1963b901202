"""Typical-year weather files: TMY3, TMY2 and EPW to one hourly frame with our names.

A row is an hour, labelled by its start in local standard time: ``hour_start`` 12 of 1 July
is the hour from 12:00 to 13:00. All three formats number hours by their end (1 to 24), give
irradiation summed over that hour and temperatures as observed near its end; the row keeps
them together. The years in the files differ by month and are dropped: month, day and hour
come from the file's own columns and must follow a 365-day calendar without a break.

The formats are listed in :mod:`binestimator.weather.formats`.

References
----------
Wilcox and Marion, Users Manual for TMY3 Data Sets, NREL/TP-581-43156 (2008).
EnergyPlus Auxiliary Programs, EPW data dictionary (limits and missing codes; from memory).
"""

from __future__ import annotations

import hashlib
from dataclasses import replace
from pathlib import Path

import numpy as np
import pandas as pd

from binestimator.dataclass import dataclass
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
from binestimator.weather.find import bytes_of, find_place
from binestimator.weather.formats import lines_of, parse
from binestimator.weather.parsing import RawWeather, typical_calendar

WHOLE_F_SHARE = 0.8
"""Share of dry bulbs on whole degrees F from which ``auto`` rounds to them.

Assumption between what is found in files that were recorded in whole degrees F (91 % and
99 %) and in one that was not (27 %); chance alone gives about a fifth.
"""

_DEW_POINT_SLACK_F = 0.2  # a tenth of a degree C of rounding in the file
# Mean pressure of a year against that of the standard atmosphere at the elevation of the station. Long-term means of
# sea-level pressure lie between some 985 mbar (around Antarctica) and 1 025 mbar (inner Asia), 2.8 % below and 1.2 %
# above the standard 1 013; warm or cold air under a high station adds about 1.5 % at 2,000 m (common knowledge, from
# memory). So 3 % is more than weather explains: it corresponds to some 250 m of elevation, and to as much of the
# density of air.
_PRESSURE_BAND_FRAC = 0.03
# The middle of the lit hours of a day against noon by the sun [h]. It is within 0.1 h in the three files of weather/;
# hills on one side of a station and samples taken within the hour move it by a quarter of an hour each.
_SUN_BAND_H = 0.5

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
    found : str
        Where the file was found, in words; empty beside the project and for files named by their path.
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
    found: str = ""


def weather_for(name, project_dir, *, whole_f: str = "auto", pressure_psia: float | None = None) -> Weather:
    """Find a weather file as :func:`find_weather` does and read it as :func:`read_weather` does.

    The result says in :attr:`Weather.found` where the file was, unless it lies beside the project.
    """
    path, words = find_place(name, project_dir)
    return replace(read_weather(path, whole_f=whole_f, pressure_psia=pressure_psia), found=words)


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
    content = bytes_of(path)
    raw = parse(path.name, lines_of(path.name, content))

    findings: list[Finding] = []
    _check_values(raw, skip=("pressure_pa",) if pressure_psia is not None else ())
    given = pressure_psia is not None
    if pressure_psia is None:
        pressure_psia = float(raw.columns["pressure_pa"].mean() / PSI_PA)
    findings += _pressure_findings(raw, pressure_psia, given)
    findings += _sun_findings(raw)

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
        findings.append(Finding("caution", f"weather {raw.file_name}", "The file holds no sun at all."))

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
        f"{share:.0%} of the dry bulbs lie on whole degrees F; dry bulb and dew point are {how}{why}.",
    )


# --- values ----------------------------------------------------------------------------


def _check_values(raw: RawWeather, skip: tuple[str, ...]) -> None:
    """Missing codes and impossible values of the used columns; fills dew points from RH."""
    outside = {
        name: ~((raw.columns[name] >= low) & (raw.columns[name] <= high)) for name, (low, high, _) in _LIMITS.items()
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


def _dew_point_from_rh_c(raw: RawWeather) -> np.ndarray:
    """Dew point from dry bulb and relative humidity [degC]; free of the pressure assumed."""
    pressure = pressure_at_elevation_psia(raw.elevation_m / FOOT_M)
    oat_f = fahrenheit_from_celsius(raw.columns["temp_c"])
    share = np.clip(raw.columns["rh_pct"], 1.0, 100.0) / 100.0
    vapour = share * saturation_pressure_psia(oat_f)
    saturated = saturation_humidity_ratio(oat_f, pressure)
    # W / Ws = share (p - pws) / (p - share pws), from W = 0.622 pw / (p - pw) for both.
    ratio = saturated * share * (pressure - saturation_pressure_psia(oat_f)) / (pressure - vapour)
    return np.round((dewpoint_f(ratio, pressure) - 32.0) / 1.8, 1)


def _pressure_findings(raw: RawWeather, pressure_psia: float, given: bool) -> list[Finding]:
    standard = float(pressure_at_elevation_psia(raw.elevation_m / FOOT_M))
    off = pressure_psia / standard - 1.0
    if abs(off) <= _PRESSURE_BAND_FRAC:
        return []
    apart = (
        f"{abs(off):.1%} {'above' if off > 0 else 'below'} the standard atmosphere at the station's elevation of "
        f"{raw.elevation_m / FOOT_M:,.0f} ft"
    )
    if given:
        text = (
            f"The site pressure given, {pressure_psia:.2f} psia, is {apart} ({standard:.2f} psia): right only if the "
            "building is that much "
            "higher or lower than the station."
        )
        return [Finding("check", f"weather {raw.file_name}", text)]
    text = (
        f"The mean pressure in the file, {pressure_psia:.2f} psia, is {apart} ({standard:.2f} psia, U.S. Standard "
        "Atmosphere), more than weather "
        "explains: the pressure or the elevation in the file is wrong. It scales the density of air and with it "
        "loads and fan energy. If the elevation "
        f"is right, set weather.pressure_psia = {standard:.2f}."
    )
    return [Finding("caution", f"weather {raw.file_name}", text)]


def _sun_findings(raw: RawWeather) -> list[Finding]:
    """Whether the sun in the file keeps the time that longitude and time zone say."""
    early_h = _sun_early_h(raw)
    if early_h is None or abs(early_h) <= _SUN_BAND_H:
        return []
    return [
        Finding(
            "caution",
            f"weather {raw.file_name}",
            f"The sun in the file comes {abs(early_h):.1f} h too {'early' if early_h > 0 else 'late'} for the "
            "longitude and time zone of its first line "
            f"({raw.longitude_deg:g} deg, {raw.utc_offset_h:+g} h): its hours may be in UTC or in daylight-saving "
            "time. Schedules and sun on facades are off by as "
            "much. Take a file in local standard time.",
        )
    ]


def _sun_early_h(raw: RawWeather) -> float | None:
    """Mean of solar noon less the middle of the lit hours, over days with a night [h]; ``None`` with too few of them.

    Notes
    -----
    Equation of time after Spencer (1971), good to a minute.
    """
    lit = raw.columns["ghi_wm2"].reshape(365, 24) > 0.0
    days = np.flatnonzero(lit.any(axis=1) & ~lit[:, 0] & ~lit[:, -1])
    if len(days) < 100:
        return None
    first, last = lit[days].argmax(axis=1), 23 - lit[days, ::-1].argmax(axis=1)
    turn = 2.0 * np.pi * days / 365.0
    minutes = 229.18 * (
        0.000075
        + 0.001868 * np.cos(turn)
        - 0.032077 * np.sin(turn)
        - 0.014615 * np.cos(2 * turn)
        - 0.040849 * np.sin(2 * turn)
    )
    noon = 12.0 - (raw.longitude_deg / 15.0 - raw.utc_offset_h) - minutes / 60.0
    return float(np.mean((noon - (first + last + 1) / 2.0 + 12.0) % 24.0 - 12.0))
