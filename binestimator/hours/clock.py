"""Clock time and calendar of every hour: day types, schedules, profiles, windows and rate periods."""

from __future__ import annotations

import numpy as np

from binestimator.dataclass import dataclass
from binestimator.weather.parsing import DAYS_IN_MONTH, HOURS_IN_YEAR

WEEKDAYS = ("Monday", "Tuesday", "Wednesday", "Thursday", "Friday", "Saturday", "Sunday")
"""Names of the weekdays as inputs spell them, Monday first."""


_DAY_TYPES = ("weekday", "saturday", "sunday")  # 0, 1, 2; holidays count as 2


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


def tariff_periods(clock: Clock, calendar, energy_prices, tiers=None) -> tuple[np.ndarray, np.ndarray]:
    """Rate periods of a tariff: hours in which the same line of every source is in force.

    Parameters
    ----------
    tiers : ndarray (4, 8760) of int, optional
        Tiers in force (``meter.price_tiers``): hours of a period then have the same ones as well.

    Returns
    -------
    period : ndarray (8760,) of int
        From 0.
    lines : ndarray (4, P) of int
        Places of the lines in force in each period, by source.
    """
    found = price_lines(clock, calendar, energy_prices)
    keys = found if tiers is None else np.concatenate([found, tiers])
    different, period = np.unique(keys, axis=1, return_inverse=True)
    return period.reshape(-1), different[: len(SOURCES)]


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
