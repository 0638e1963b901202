"""Conditions of every hour of the year as arrays, from weather, calendar, schedules and gains."""

from __future__ import annotations

import dataclasses
import math

import numpy as np

from binestimator.weather.parsing import HOURS_IN_YEAR
from binestimator.weather.year import Weather

from ..dataclass import dataclass
from .clock import air_handler_occupied, clock_calendar, gain_fraction, group_hours, rate_periods, tariff_periods
from .meter import price_tiers
from .sun import sun_on_building

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
        values = {field.name: getattr(self, field.name) for field in dataclasses.fields(self)}
        return Conditions(
            **{name: value[index] if isinstance(value, np.ndarray) else value for name, value in values.items()}
        )

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
        rate_period=tariff_periods(
            clock,
            project.calendar,
            project.terms.energy_prices,
            price_tiers(clock, project.calendar, project.terms),
        )[0]
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
