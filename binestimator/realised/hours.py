"""Logs to hours: what an hour was like outdoors, and what was measured in it while the fan ran."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import field, replace

import numpy as np

from binestimator.dataclass import dataclass
from binestimator.moist_air import (
    dewpoint_f,
    humidity_ratio_from_vapour_pressure,
    saturation_pressure_psia,
    sensible_factor_btuh_cfm_f,
)
from binestimator.trends.fans import zone_sum
from binestimator.trends.log import Log
from binestimator.trends.running import Running
from binestimator.units import BTU_PER_WH

#: Share of an hour that the fan must run, and of that share that must be measured, for the hour to count.
_RUNS, _KNOWN = 0.5, 0.5
#: A cooling or reheat valve below this is shut.
_SHUT = 0.02
#: Kinds of points whose hourly means are kept under their own names.
KEPT = (
    "sat",
    "sat_setpoint",
    "dsp",
    "dsp_setpoint",
    "supply_flow",
    "supply_fan_speed",
    "rat",
    "mat",
    "oa_damper",
)


@dataclass(frozen=True, slots=True)
class Hours:
    """Hours with the fan running, of a log or of a typical year.

    Parameters
    ----------
    day : ndarray (n,) of int
        Number of the day, of a log from 1 January 1970.
    hour : ndarray (n,) of int
        Clock hour at its start, 0 to 23.
    weekend : ndarray (n,) of bool
        Saturdays, Sundays and holidays.
    occupied : ndarray (n,) of bool
    oat_f, dewpoint_f : ndarray (n,)
        Outdoor air; the dew point is NaN where it is not known. [degF]
    values : dict
        What was measured: name -> (n,), NaN where it was not. Fans and cooling in kW; ``cooling_sensible_kbtuh`` of the
        cooling coil and ``reheat_kbtuh`` of the terminals by airflow and temperatures; points of :data:`KEPT` in the
        units of trend logs.
    """

    day: np.ndarray
    hour: np.ndarray
    weekend: np.ndarray
    occupied: np.ndarray
    oat_f: np.ndarray
    dewpoint_f: np.ndarray
    values: Mapping[str, np.ndarray] = field(default_factory=dict)

    def __len__(self) -> int:
        return len(self.day)

    def take(self, index) -> Hours:
        """The hours with these positions."""
        arrays = ("day", "hour", "weekend", "occupied", "oat_f", "dewpoint_f")
        return replace(
            self,
            **{name: getattr(self, name)[index] for name in arrays},
            values={name: v[index] for name, v in self.values.items()},
        )

    def measured(self, name: str) -> Hours:
        """The hours in which something was measured; none where it never was."""
        values = self.values.get(name)
        return self.take(np.zeros(len(self), bool) if values is None else np.isfinite(values))


@dataclass(frozen=True, slots=True)
class Calendar:
    """What days and hours are by a project.

    Parameters
    ----------
    holidays : sequence of str
        ``MM-DD``.
    occupied : ndarray (3, 24) of bool
        By kind of day (weekday, Saturday, Sunday or holiday) and clock hour.
    """

    holidays: Sequence[str]
    occupied: np.ndarray

    def kind_of_day(self, day: np.ndarray) -> np.ndarray:
        """0 weekday, 1 Saturday, 2 Sunday or holiday, of days as dates. (n,)"""
        number = day.astype("datetime64[D]")
        weekday = (number.astype(np.int64) + 3) % 7
        kind = np.where(weekday < 5, 0, np.where(weekday == 5, 1, 2))
        different = np.unique(number)
        held = [d for d in different if str(d)[5:] in set(self.holidays)]
        return np.where(np.isin(number, np.array(held, dtype="datetime64[D]")), 2, kind)


def hours_of(log: Log, running: Running, calendar: Calendar, pressure_psia: float, draw_through: bool = True) -> Hours:
    """Hours of a log in which the fan ran.

    Parameters
    ----------
    log : Log
        Needs outdoor temperature, and a point that tells when the fan runs.
    running : Running
    calendar : Calendar
        Of the project: holidays, and occupancy where the log has no occupied mode.
    pressure_psia : float
        Of the site.
    draw_through : bool
        The fan is behind the cooling coil and warms the air that leaves it.
    """
    stamp = log.start.astype("datetime64[h]").astype(np.int64)
    numbers, place = np.unique(stamp, return_inverse=True)
    count = len(numbers)
    total = lambda mask: np.bincount(place, mask, count)
    on = running.on
    slots, slots_on = total(running.known), total(on)
    day = numbers // 24
    hour = numbers % 24
    kind = calendar.kind_of_day(day.astype("datetime64[D]"))
    ran = (slots_on >= _RUNS * np.maximum(slots, 1)) & (slots_on > 0)
    # Of hours that the log has in part only, as much as the others have of theirs.
    ran &= slots >= _KNOWN * np.median(slots[slots > 0])

    def mean(values: np.ndarray, where: np.ndarray) -> np.ndarray:
        good = where & np.isfinite(values)
        n = total(good)
        with np.errstate(invalid="ignore", divide="ignore"):
            return np.where(n >= _KNOWN * total(where), total(np.where(good, values, 0.0)) / n, np.nan)

    oat = log.get("oat")
    assert oat is not None, "a log without outdoor temperature is refused before"
    every = np.ones(len(stamp), bool)
    if running.mode:
        occupied = total(running.occupied & on) >= 0.5 * np.maximum(slots_on, 1)
    else:
        occupied = calendar.occupied[kind, hour]
    values = {name: mean(v, on) for name in KEPT if (v := log.get(name)) is not None}
    if "supply_flow" not in values and (flow := zone_sum(log)) is not None:
        values["supply_flow"] = mean(flow, on)
    for name, point in (
        ("fan_kw", "supply_fan_power"),
        ("return_fan_kw", "return_fan_power"),
        ("cooling_kw", "cooling_power"),
        ("heating_kw", "heating_power"),
    ):
        if (v := log.get(point)) is not None:
            values[name] = mean(v, on)
    fs = sensible_factor_btuh_cfm_f(pressure_psia)
    if (cooling := _cooling_kbtuh(log, fs, draw_through)) is not None:
        values["cooling_sensible_kbtuh"] = mean(cooling, on)
    if (reheat := _reheat_kbtuh(log, fs)) is not None:
        values["reheat_kbtuh"] = mean(reheat, on)
    oat_f = mean(oat, every)
    found = Hours(
        day=day,
        hour=hour.astype(int),
        weekend=kind > 0,
        occupied=occupied,
        oat_f=oat_f,
        dewpoint_f=mean(_dewpoint(log, pressure_psia), every),
        values=values,
    )
    return found.take(ran & np.isfinite(oat_f))


def _dewpoint(log: Log, pressure_psia: float) -> np.ndarray:
    """Outdoor dew point, or NaN. (R,) [degF]"""
    own, humidity, oat = log.get("oa_dewpoint"), log.get("oa_rh"), log.get("oat")
    if own is not None:
        return own.astype(float)
    found = np.full(len(log.start), np.nan)
    if humidity is None or oat is None:
        return found
    known = np.isfinite(humidity) & np.isfinite(oat)
    vapour = np.clip(humidity[known] / 100.0, 0.01, 1.0) * saturation_pressure_psia(oat[known].astype(float))
    found[known] = dewpoint_f(humidity_ratio_from_vapour_pressure(vapour, pressure_psia), pressure_psia)
    return found


def _cooling_kbtuh(log: Log, fs: float, draw_through: bool) -> np.ndarray | None:
    """Sensible cooling of the coil by airflow and temperatures, or None where a point is missing. (R,) [kBtu/h]"""
    flow, mat, sat, valve = log.get("supply_flow"), log.get("mat"), log.get("sat"), log.get("cooling_valve")
    if flow is None or mat is None or sat is None or valve is None:
        return None
    rise = np.zeros(len(flow))
    kw = log.get("supply_fan_power")
    if draw_through and kw is not None:
        with np.errstate(divide="ignore", invalid="ignore"):
            rise = np.where(flow > 50.0, 1000.0 * BTU_PER_WH * kw / (fs * flow), 0.0)
    taken = fs * flow * (mat - (sat - rise)) / 1000.0
    return np.where(valve > _SHUT, taken, np.where(np.isfinite(valve) & np.isfinite(taken), 0.0, np.nan))


def _reheat_kbtuh(log: Log, fs: float) -> np.ndarray | None:
    """Reheat of all terminals by airflow and temperatures, or None where a point of one is missing. (R,) [kBtu/h]"""
    sat = log.get("sat")
    if sat is None or not log.zones:
        return None
    found = np.zeros(len(log.start))
    for zone in log.zones:
        flow, leaving, valve = (
            log.get(f"{kind}@{zone}") for kind in ("zone_flow", "zone_discharge_temp", "zone_reheat")
        )
        if flow is None or leaving is None or valve is None:
            return None
        heat = fs * flow * (leaving - sat) / 1000.0
        found = found + np.where(valve > _SHUT, heat, np.where(np.isfinite(valve) & np.isfinite(heat), 0.0, np.nan))
    return found
