"""Conditions of every hour of the year: weather, sun, calendar, schedules and gains.

Weather is in standard time all year; schedules, profiles and rate periods are in clock time,
an hour ahead of it while daylight saving lasts. ``month``, ``day``, ``hour_start`` and
``hour_of_year`` of :class:`Conditions` are those of the weather row, in standard time.

Sun on the facades is taken through glass whose solar heat gain coefficient and shading
factor are 1; a zone multiplies it by its own glass area and factors. What surfaces absorb
of the sun and of internal gains reaches the room air late, by a first-order lag.
"""

from __future__ import annotations

import dataclasses
import math
from dataclasses import dataclass

import numpy as np

from binestimator.units import BTUH_FT2_PER_WM2, FOOT_M, PSI_PA
from binestimator.weather.parsing import DAYS_IN_MONTH, HOURS_IN_YEAR
from binestimator.weather.pvlib_parts import pvlib_part
from binestimator.weather.year import Weather

WEEKDAYS = ("Monday", "Tuesday", "Wednesday", "Thursday", "Friday", "Saturday", "Sunday")
"""Names of the weekdays as inputs spell them, Monday first."""

FACADE_AZIMUTH_DEG = (0.0, 90.0, 180.0, 270.0)
"""Azimuth of the N, E, S and W facades before rotation [deg clockwise from north]."""

GROUND_REFLECTANCE = 0.2
"""Solar reflectance of the ground in front of the facades (assumption: the usual 0.2)."""

GLASS_INCIDENCE_B0 = 0.17
"""Coefficient of the incidence modifier 1 - b0 (1 / cos(incidence) - 1) of glass.

Assumption: fits the heat gain coefficients of uncoated double glazing by angle as recalled
from the ASHRAE Handbook, Fundamentals (0.96 at 40, 0.83 at 60, 0.64 at 70 degrees and 0.86
for diffuse light, relative to normal incidence; from memory).
"""

GLASS_DIFFUSE_MODIFIER = 1.0 / (1.0 + GLASS_INCIDENCE_B0)
"""The same for isotropic light from sky and ground: the modifier averaged over the
hemisphere, 2 x integral of K sin cos, K cut off at 0. Sky and ground mirror each other in
front of a vertical pane, so one value serves both."""

SUN_YEAR = 2001
"""Year of the solar position. Any common year serves: declination on a date differs by at
most 0.3 degrees between years."""

EARTH_TIME_LAG_S = 67.0
"""Terrestrial time less universal time [s] (Delta T of about 2010, as pvlib takes it)."""

_LEAST_COSINE = 1e-9  # of incidence: no light comes along a pane
_LEAST_COSINE_ZENITH = 0.01745  # a sun lower than 1 degree is taken to be there, as in pvlib
_DAY_TYPES = ("weekday", "saturday", "sunday")  # 0, 1, 2; holidays count as 2
_LEAST_LAG_H = 1e-3


@dataclass(frozen=True, slots=True, kw_only=True)
class Conditions:
    """What surrounds the building in R rows; a row is an hour or represents several.

    Parameters
    ----------
    hours : ndarray (R,)
        Weight of the row [h/yr].
    oat_f, oawb_f, oa_dewpoint_f : ndarray (R,)
        Outdoor dry bulb, wet bulb and dew point [degF].
    humidity_ratio : ndarray (R,)
        Outdoor humidity ratio [lb/lb].
    pressure_psia : float
        The one site pressure [psia].
    fan_on, occupied : ndarray (R,)
        1 while the air handler is scheduled to run, and to run in occupied mode; else 0.
        Cycling at night in setback is the model's affair and is not in ``fan_on``.
    glass_sun_btuh_ft2 : ndarray (R, 4)
        Sun through glass of the N, E, S and W facade as it reaches the room air
        [Btu/h.ft2 of glass of SHGC 1 and shading factor 1].
    roof_sun_btuh_ft2 : ndarray (R,)
        Sun on the roof, lagged [Btu/h.ft2].
    people_frac, lights_frac, equipment_frac : ndarray (R, G)
        Share of people present, lights and equipment on, by profile group.
    people_gain_frac, lights_gain_frac, equipment_gain_frac : ndarray (R, G)
        The same as sensible gain to the room air, the radiant share lagged.
    group_occupied : ndarray (R, G)
        1 while the group is occupied.
    infiltration_frac : ndarray (R,)
        Infiltration over that with the air handler off.
    month, day, hour_start, hour_of_year : ndarray (R,) of int
        The hour in standard time; -1 in rows that are no real hour.
    rate_period : ndarray (R,) of int
        0 off-peak, 1 on-peak, 2 mid-peak; with a tariff the periods of :func:`tariff_periods`.
    bin_low_f : ndarray (R,)
        Lower edge of the outdoor-temperature bin, left-closed [degF].
    """

    hours: np.ndarray
    oat_f: np.ndarray
    oawb_f: np.ndarray
    oa_dewpoint_f: np.ndarray
    humidity_ratio: np.ndarray
    pressure_psia: float
    fan_on: np.ndarray
    occupied: np.ndarray
    glass_sun_btuh_ft2: np.ndarray
    roof_sun_btuh_ft2: np.ndarray
    people_frac: np.ndarray
    lights_frac: np.ndarray
    equipment_frac: np.ndarray
    people_gain_frac: np.ndarray
    lights_gain_frac: np.ndarray
    equipment_gain_frac: np.ndarray
    group_occupied: np.ndarray
    infiltration_frac: np.ndarray
    month: np.ndarray
    day: np.ndarray
    hour_start: np.ndarray
    hour_of_year: np.ndarray
    rate_period: np.ndarray
    bin_low_f: np.ndarray

    def __len__(self) -> int:
        """Number of rows."""
        return len(self.hours)

    def take(self, index) -> Conditions:
        """The rows with these positions, in their order; repeated rows stay repeated.

        Parameters
        ----------
        index : ndarray of int, ndarray of bool (R,) or slice
            Any index along the first axis.
        """
        changes = {}
        for field in dataclasses.fields(self):
            value = getattr(self, field.name)
            if isinstance(value, np.ndarray):
                changes[field.name] = value[index]
        return dataclasses.replace(self, **changes)

    def with_hours(self, hours) -> Conditions:
        """The same rows with other weights.

        Parameters
        ----------
        hours : array-like (R,)
            New weights [h/yr], not negative.

        Raises
        ------
        ValueError
            When their number is not that of the rows.
        """
        hours = np.array(hours, dtype=float)
        if hours.shape != self.hours.shape:
            raise ValueError(f"hours: got shape {hours.shape}; expected {self.hours.shape}")
        return dataclasses.replace(self, hours=hours)


def build_conditions(weather: Weather, project) -> Conditions:
    """Conditions of the 8,760 hours of a typical year, each with the weight of one hour.

    Parameters
    ----------
    weather : Weather
        The typical year.
    project : Project
        Its ``calendar``, ``schedule``, ``building``, ``groups`` and ``bins`` are used.

    Notes
    -----
    Air handler: ``fan_on`` and ``occupied`` are 1 in its occupied hours. Outside of them
    ``fan_on`` is 1 in mode ``continuous`` and 0 in ``off`` and ``setback``.
    Infiltration falls to the running share in occupied hours alone: with outdoor air shut
    the air handler does not pressurise the building.
    """
    frame = weather.frame
    building = project.building
    clock = clock_calendar(project.calendar)

    occupied = air_handler_occupied(clock, project.schedule, project.groups).astype(float)
    runs_on = project.schedule.unoccupied_mode == "continuous"
    fan_on = np.ones(HOURS_IN_YEAR) if runs_on else occupied.copy()
    group_occupied = np.stack([group_hours(clock, group) for group in project.groups], axis=1)

    lag_h = building.room_lag_h
    glass, roof = sun_on_building(weather, building.rotation_deg)
    radiant = building.solar_radiant_frac
    glass = (1.0 - radiant) * glass + radiant * room_lag(glass, lag_h)

    fractions = {}
    for kind in ("people", "lights", "equipment"):
        share = np.stack(
            [
                gain_fraction(clock, group, kind, group_occupied[:, column])
                for column, group in enumerate(project.groups)
            ],
            axis=1,
        )
        radiant = building.internal_radiant_frac
        fractions[f"{kind}_frac"] = share
        fractions[f"{kind}_gain_frac"] = (1.0 - radiant) * share + radiant * room_lag(share, lag_h)

    oat_f = frame["oat_f"].to_numpy(dtype=float)
    return Conditions(
        hours=np.ones(HOURS_IN_YEAR),
        oat_f=oat_f,
        oawb_f=frame["oawb_f"].to_numpy(dtype=float),
        oa_dewpoint_f=frame["dewpoint_f"].to_numpy(dtype=float),
        humidity_ratio=frame["humidity_ratio"].to_numpy(dtype=float),
        pressure_psia=weather.pressure_psia,
        fan_on=fan_on,
        occupied=occupied,
        glass_sun_btuh_ft2=glass,
        roof_sun_btuh_ft2=room_lag(roof, lag_h),
        group_occupied=group_occupied.astype(float),
        infiltration_frac=np.where(occupied > 0.0, building.infiltration_running_frac, 1.0),
        month=frame["month"].to_numpy(),
        day=frame["day"].to_numpy(),
        hour_start=frame["hour_start"].to_numpy(),
        hour_of_year=frame["hour_of_year"].to_numpy(),
        rate_period=tariff_periods(clock, project.calendar, project.terms.energy_prices)[0]
        if project.terms.energy_prices
        else rate_periods(clock, project.calendar),
        bin_low_f=bin_low_f(oat_f, project.bins.width_f),
        **fractions,
    )


def bin_low_f(oat_f, width_f):
    """Lower edge of the left-closed bin of a temperature [degF].

    Temperatures are taken to 1e-6 degF, so that 40 degF converted from degrees C does not
    miss its bin.
    """
    return np.floor(np.round(np.asarray(oat_f, dtype=float), 6) / width_f) * width_f


# --- calendar and schedules ------------------------------------------------------------


@dataclass(frozen=True, slots=True, kw_only=True)
class Clock:
    """Clock time of the hours of the year (8,760 of them, in order of standard time).

    Parameters
    ----------
    day : ndarray (8760,) of int
        Day of the year by the clock, 0 to 364.
    hour : ndarray (8760,) of int
        Hour of the day by the clock, 0 to 23, at the start of the hour.
    day_type : ndarray (365,) of int
        0 weekday, 1 Saturday, 2 Sunday or holiday.
    daylight_saving : ndarray (8760,) of bool
        Whether the clock is an hour ahead of standard time.
    """

    day: np.ndarray
    hour: np.ndarray
    day_type: np.ndarray
    daylight_saving: np.ndarray

    @property
    def month(self) -> np.ndarray:
        """Month of each hour by the clock, 0 to 11."""
        return np.repeat(np.arange(12), DAYS_IN_MONTH)[self.day]


def clock_calendar(calendar) -> Clock:
    """Clock time and day types from the calendar inputs.

    Parameters
    ----------
    calendar : record of section ``calendar``
        ``first_weekday``, ``holidays`` and ``daylight_saving`` are used.

    Notes
    -----
    Daylight saving by the US rule: from 02:00 standard time on the second Sunday of March
    to 01:00 standard time on the first Sunday of November, by the weekdays of this
    calendar. It loses the clock hour from 02:00 on the first of these days and repeats the
    one from 01:00 on the second.

    References
    ----------
    Energy Policy Act of 2005, section 110 (15 U.S.C. 260a).
    """
    weekday = (WEEKDAYS.index(calendar.first_weekday) + np.arange(365)) % 7
    day_type = np.where(weekday < 5, 0, np.where(weekday == 5, 1, 2))
    holidays = [_day_of_year(date) for date in calendar.holidays]
    day_type[holidays] = 2

    hour_of_year = np.arange(HOURS_IN_YEAR)
    ahead = np.zeros(HOURS_IN_YEAR, dtype=bool)
    if calendar.daylight_saving:
        sundays = np.flatnonzero(weekday == 6)
        start = sundays[sundays >= _day_of_year("03-01")][1] * 24 + 2
        end = sundays[sundays >= _day_of_year("11-01")][0] * 24 + 1
        ahead = (hour_of_year >= start) & (hour_of_year < end)
    clock_hour = hour_of_year + ahead
    return Clock(day=clock_hour // 24, hour=clock_hour % 24, day_type=day_type, daylight_saving=ahead)


def _day_of_year(date: str) -> int:
    """Day of the 365-day year, 0 for 1 January, of a text MM-DD."""
    month, day = (int(part) for part in date.split("-"))
    return int(DAYS_IN_MONTH[: month - 1].sum()) + day - 1


def scheduled(clock: Clock, day_type: int, hour_pair) -> np.ndarray:
    """Hours that a daily interval covers, counted for the days of one type.

    Parameters
    ----------
    clock : Clock
        Clock time of the year.
    day_type : int
        0 weekday, 1 Saturday, 2 Sunday or holiday.
    hour_pair : sequence of two floats, or empty
        Start and end by the clock [h]; empty or equal means no hours. An end before the
        start runs past midnight into the following day, whatever type that is.

    Returns
    -------
    ndarray (8760,) of bool
        Whether the middle of the hour lies in the interval.
    """
    if len(hour_pair) == 0 or hour_pair[0] == hour_pair[1]:
        return np.zeros(HOURS_IN_YEAR, dtype=bool)
    start, end = hour_pair
    middle = clock.hour + 0.5
    today = clock.day_type[clock.day] == day_type
    if start < end:
        return today & (middle >= start) & (middle < end)
    # The day before 1 January is 31 December of the same typical year.
    yesterday = np.roll(clock.day_type, 1)[clock.day] == day_type
    return (today & (middle >= start)) | (yesterday & (middle < end))


def group_hours(clock: Clock, group) -> np.ndarray:
    """Occupied hours of a profile group, (8760,) of bool."""
    if group.always_on:
        return np.ones(HOURS_IN_YEAR, dtype=bool)
    return np.logical_or.reduce(
        [scheduled(clock, number, _pair(group, kind)) for number, kind in enumerate(_DAY_TYPES)]
    )


def air_handler_occupied(clock: Clock, schedule, groups) -> np.ndarray:
    """Occupied hours of the air handler, (8760,) of bool.

    For each type of day its own hours where given, else the union of the hours of the
    groups. Groups that are always on do not count unless all are.
    """
    part_time = [group for group in groups if not group.always_on]
    covered = []
    for number, kind in enumerate(_DAY_TYPES):
        own = _pair(schedule, kind)
        if own is not None:
            covered.append(scheduled(clock, number, own))
        elif part_time:
            covered += [scheduled(clock, number, _pair(group, kind)) for group in part_time]
        else:
            covered.append(clock.day_type[clock.day] == number)
    return np.logical_or.reduce(covered)


def _pair(record, kind: str):
    return getattr(record, f"{kind}_hours")


def gain_fraction(clock: Clock, group, kind: str, occupied) -> np.ndarray:
    """Share of people, lights or equipment by hour (8760,).

    Parameters
    ----------
    clock : Clock
        Clock time of the year.
    group : record of section ``group``
        The profile group.
    kind : {'people', 'lights', 'equipment'}
        Which of its gains.
    occupied : ndarray (8760,)
        Its occupied hours.

    Notes
    -----
    The occupied share in occupied hours, the unoccupied share in the others. A 24-hour
    profile replaces both on the days whose type has occupied hours (every day of a group
    that is always on); hours that run into a closed day after midnight keep the two shares.
    """
    share = np.where(
        occupied,
        getattr(group, f"{kind}_occupied_frac"),
        getattr(group, f"{kind}_unoccupied_frac"),
    )
    profile = getattr(group, f"{kind}_profile")
    if profile is None:
        return share
    open_types = np.array([group.always_on or _opens(_pair(group, k)) for k in _DAY_TYPES])
    open_day = open_types[clock.day_type][clock.day]
    return np.where(open_day, np.asarray(profile, dtype=float)[clock.hour], share)


def _opens(hour_pair) -> bool:
    return len(hour_pair) == 2 and hour_pair[0] != hour_pair[1]


#: Months as terms of utilities and programmes name them, and kinds of days.
MONTHS = ("jan", "feb", "mar", "apr", "may", "jun", "jul", "aug", "sep", "oct", "nov", "dec")


def window_hours(clock: Clock, calendar, months, days, hours) -> np.ndarray:
    """Hours of a window of months, kinds of days and clock hours, as tariffs and programmes state it. (8760,) of bool

    Parameters
    ----------
    clock : Clock
    calendar : record of section ``calendar``
        Its ``holidays``: such a day is a holiday, neither weekday nor weekend.
    months : collection of str
        Of ``MONTHS``.
    days : collection of str
        Of ``weekday``, ``weekend``, ``holiday``.
    hours : sequence of two floats
        Start and end by the clock [h]; an end before the start runs past midnight, and belongs to the day on which it
        starts.
    """
    month_of_day = np.repeat(np.arange(12), DAYS_IN_MONTH)
    kind = np.where(clock.day_type == 0, "weekday", "weekend")
    kind[[_day_of_year(date) for date in calendar.holidays]] = "holiday"
    counts = np.isin(month_of_day, [MONTHS.index(month) for month in months]) & np.isin(kind, list(days))
    (start, end), middle = hours, clock.hour + 0.5
    today = counts[clock.day]
    if start < end:
        return today & (middle >= start) & (middle < end)
    yesterday = np.roll(counts, 1)[clock.day]
    return (today & (middle >= start)) | (yesterday & (middle < end))


#: Sources of energy as terms name them, in the order of ``end_uses.PRICED``.
SOURCES = ("electricity", "fuel", "cooling", "heat")


def price_lines(clock: Clock, calendar, energy_prices) -> np.ndarray:
    """Place of the price line in force, by source and hour. (4, 8760) of int; -1 where no line counts.

    Of lines that share an hour the first one counts.
    """
    found = np.full((len(SOURCES), HOURS_IN_YEAR), -1)
    for place, line in reversed(list(enumerate(energy_prices))):
        inside = window_hours(clock, calendar, line.months, line.days, line.hours)
        found[SOURCES.index(line.source), inside] = place
    return found


def tariff_periods(clock: Clock, calendar, energy_prices) -> tuple[np.ndarray, np.ndarray]:
    """Rate periods of a tariff: hours in which the same line of every source is in force.

    Returns
    -------
    period : ndarray (8760,) of int
        From 0.
    lines : ndarray (4, P) of int
        Places of the lines in force in each period, by source.
    """
    lines, period = np.unique(price_lines(clock, calendar, energy_prices), axis=1, return_inverse=True)
    return period.reshape(-1), lines


def other_load_kw(clock: Clock, tariff) -> np.ndarray:
    """Power of all else on the meter, by the profiles of the tariff. (8760,) [kW]"""
    weekday = tariff.other_weekday_kw or (0.0,) * 24
    weekend = tariff.other_weekend_kw or weekday
    works = clock.day_type[clock.day] == 0
    return np.where(works, np.asarray(weekday)[clock.hour], np.asarray(weekend)[clock.hour])


def rate_periods(clock: Clock, calendar) -> np.ndarray:
    """Rate period of every hour, (8760,) of int: 0 off-peak, 1 on-peak, 2 mid-peak.

    Parameters
    ----------
    clock : Clock
        Clock time of the year.
    calendar : record of section ``calendar``
        ``rate_period_hours`` (on-peak) and ``mid_peak_hours``, both of weekdays; None or
        empty: no such period. On-peak goes before mid-peak where they overlap, so that a
        mid-peak of 8 to 22 around an on-peak of 12 to 18 is two shoulders.
    """
    on_peak = scheduled(clock, 0, calendar.rate_period_hours or ())
    mid_peak = scheduled(clock, 0, calendar.mid_peak_hours or ())
    return np.where(on_peak, 1, np.where(mid_peak, 2, 0))


# --- room lag --------------------------------------------------------------------------


def room_lag(gain, time_constant_h: float) -> np.ndarray:
    """Gain after a first-order lag, as hourly means of the steady yearly cycle.

    Parameters
    ----------
    gain : ndarray (H,) or (H, ...)
        Hourly means, the first axis is time; the last hour is followed by the first.
    time_constant_h : float
        Time constant [h]; 0 returns the gain as it is.

    Returns
    -------
    ndarray
        Same shape, same sum along time, nowhere beyond the range of the gain.

    Notes
    -----
    tau dy/dt = x - y with x constant within an hour, solved exactly. With a = exp(-1 / tau)
    the state at the end of hour n is s[n] = (1 - a) sum over j >= 0 of a^j x[n - j], and the
    mean of the hour is y[n] = x[n] + tau (1 - a) (s[n - 1] - x[n]). The sum runs round the
    year without end; it doubles its length in every step until the rest is below 1e-18.
    """
    gain = np.asarray(gain, dtype=float)
    if time_constant_h < _LEAST_LAG_H:
        return gain.copy()
    decay = math.exp(-1.0 / time_constant_h)
    state = (1.0 - decay) * gain
    step, weight = 1, decay
    while weight > 1e-18:
        state = state + weight * np.roll(state, step, axis=0)
        step, weight = 2 * step, weight * weight
    late = time_constant_h * (1.0 - decay)
    return (1.0 - late) * gain + late * np.roll(state, 1, axis=0)


# --- sun -------------------------------------------------------------------------------


def solar_position(weather: Weather) -> tuple[np.ndarray, np.ndarray]:
    """Apparent zenith and azimuth of the sun in the middle of each hour, (8760,) [deg].

    Notes
    -----
    The NREL solar position algorithm in pvlib (0.0003 degrees by its authors) takes 0.03 s
    for a year; its faster siblings are no better off: ``ephemeris`` is within 0.02 degrees
    but uses what pandas has deprecated, and the analytical formulas are off by 0.6 degrees
    and not faster. Air of 12 degC and a refraction of 0.5667 degrees at the horizon, as pvlib assumes.
    """
    start_s = np.datetime64(f"{SUN_YEAR}-01-01T00:30", "s").astype(np.int64) - 3600.0 * weather.utc_offset_h
    apparent_zenith, _, _, _, azimuth, _ = pvlib_part("spa").solar_position(
        start_s + 3600.0 * np.arange(HOURS_IN_YEAR),
        weather.latitude_deg,
        weather.longitude_deg,
        weather.elevation_ft * FOOT_M,
        weather.pressure_psia * PSI_PA / 100.0,
        12.0,
        EARTH_TIME_LAG_S,
        0.5667,
    )
    return apparent_zenith, azimuth


def extraterrestrial_wm2(day_of_year) -> np.ndarray:
    """Normal irradiance above the atmosphere by the day of the year, 1 to 365. [W/m2]

    References
    ----------
    Spencer, Fourier series representation of the position of the sun, Search 2 (1971); solar constant
    1,366.1 W/m2 (ASTM E490), as pvlib takes them.
    """
    angle = (2.0 * np.pi / 365.0) * (np.asarray(day_of_year) - 1)
    return 1366.1 * (
        1.00011
        + 0.034221 * np.cos(angle)
        + 0.00128 * np.sin(angle)
        + 0.000719 * np.cos(2.0 * angle)
        + 7.7e-05 * np.sin(2.0 * angle)
    )


def glass_modifier(cosine) -> np.ndarray:
    """Transmission of glass for light at a cosine of incidence, over that at normal incidence.

    References
    ----------
    ASHRAE 93 (incidence angle modifier).
    """
    return np.maximum(1.0 - GLASS_INCIDENCE_B0 * (1.0 / np.maximum(cosine, _LEAST_COSINE) - 1.0), 0.0)


def sun_on_building(weather: Weather, rotation_deg: float = 0.0) -> tuple[np.ndarray, np.ndarray]:
    """Sun through the glass of the four facades and on the roof, before any lag.

    Parameters
    ----------
    weather : Weather
        The typical year.
    rotation_deg : float
        Rotation of the footprint clockwise from north [deg].

    Returns
    -------
    glass_btuh_ft2 : ndarray (8760, 4)
        Through glass of SHGC 1 and shading factor 1 in the N, E, S and W facade
        [Btu/h.ft2 of glass].
    roof_btuh_ft2 : ndarray (8760,)
        On the flat roof, the file's global horizontal irradiance [Btu/h.ft2].

    Notes
    -----
    Beam and circumsolar light with the sun's position in the middle of the hour, times the
    incidence modifier; isotropic sky and ground light times its mean over the hemisphere.
    Sky light by Hay and Davies. In the hours of sunrise and sunset in which the sun is down
    at mid-hour the beam is left out (0.2 to 0.7 % of the year's direct normal irradiation at
    three stations between 26 and 55 degrees north). No horizon, no neighbours.

    References
    ----------
    Hay and Davies, Calculation of the solar radiation incident on an inclined surface, First Canadian solar radiation
    data workshop (1980), and the incidence modifier of ASHRAE 93; the tests compare both with pvlib.
    """
    zenith, azimuth = solar_position(weather)
    ghi, dni, dhi = (weather.frame[f"{name}_wm2"].to_numpy() for name in ("ghi", "dni", "dhi"))
    dni = np.where(zenith < 90.0, dni, 0.0)
    # Share of the sky light that comes from around the sun.
    around = dni / extraterrestrial_wm2(np.repeat(np.arange(1, 366), 24))
    # A wall sees half of the sky and half of the ground.
    isotropic = 0.5 * (np.maximum(dhi * (1.0 - around), 0.0) + GROUND_REFLECTANCE * ghi)
    zenith_rad = np.radians(zenith)
    height, level = np.maximum(np.cos(zenith_rad), _LEAST_COSINE_ZENITH), np.sin(zenith_rad)

    glass = np.empty((HOURS_IN_YEAR, len(FACADE_AZIMUTH_DEG)))
    for facade, facade_azimuth in enumerate(FACADE_AZIMUTH_DEG):
        facing = (facade_azimuth + rotation_deg) % 360.0
        cosine = np.clip(level * np.cos(np.radians(azimuth - facing)), 0.0, 1.0)
        circumsolar = np.maximum(dhi * around * (cosine / height), 0.0)
        glass[:, facade] = glass_modifier(cosine) * (dni * cosine + circumsolar) + GLASS_DIFFUSE_MODIFIER * isotropic
    return glass * BTUH_FT2_PER_WM2, ghi * BTUH_FT2_PER_WM2
