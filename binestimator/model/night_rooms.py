"""Rooms outside occupied hours: what they lose, what a night run and the first hours of the day give them.

The only part of the physics that needs the sequence of hours. It runs hour by hour with a first-order room mass, for
all nights side by side.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from typing import Any

import numpy as np

from ..dataclass import dataclass
from ..units import KBTU_PER_KWH
from . import fan as fans
from .loads import LoadsOnDemand, ZoneLoads, occupied_setpoints_f
from .plant import cooling_capacity_kbtuh, heat_source, most_heat_of_source_kbtuh, preheat_source
from .system import heating_enabled, supply_heating_mode
from .terminals import heating_need_btuh, requested_flow_cfm, zone_supply_f
from .unit import Unit

# Wet bulb of the recirculated air entering the coil at night: 75 degF at 50 % humidity. [degF]
NIGHT_ENTERING_WB_F = 62.6
# A zone that heats at night takes at least this share of its design airflow (assumption).
LEAST_HEATING_FLOW_FRAC = 0.3
# Rounds in which what a day has not made up is handed on to the night after it; it shrinks from day to day.
HANDED_ON_ROUNDS = 8
# What setpoints and calls of rooms at night ask of a unit, of the numbers that may differ by row.
_ASKED_AT_NIGHT = ("max_cfm", "zones.cool_occupied_f", "zones.heat_occupied_f")
_LOADS_AT_NIGHT = ("heat_f", "cool_f", "ua_btuh_f", "gains_btuh")
# Rooms nearer their setpoint than this are ready. [degF]
LEAST_MISS_F = 1e-6


def heat_capacity_btu_f(unit: Unit, time_constant_h, fs):
    """Heat capacity of each room. (Z,), of a unit whose numbers differ by row (R, Z) [Btu/F]

    Spread by floor area so that the building as a whole, in one piece, decays with the given time
    constant when the air handler is off: envelope and the infiltration of that time. Rooms
    without outer walls then have mass as well; rooms with more envelope than most cool faster.

    Parameters
    ----------
    time_constant_h : float
        ``schedule.room_time_constant_h``. [h]
    fs : float
        Sensible factor of air at the site. [Btu/h.cfm.F]
    """
    z = unit.zones
    area = float(np.sum(z.area_ft2 * z.multiplier))
    conductance = np.sum((z.ua_btuh_f + fs * z.infiltration_cfm) * z.multiplier, axis=-1)
    # A building without conductance still has furniture and slabs.
    per_area = np.maximum(time_constant_h * conductance / area, 1.0)
    return per_area[..., None] * z.area_ft2


def nights(fan_on):
    """First hour and length of each run of hours with the air handler off, over the end of the year. [(start,
    length)]"""
    off = np.asarray(fan_on) <= 0.0
    n = len(off)
    if off.all():
        return [(0, n)]
    if not off.any():
        return []
    first_on = int(np.argmax(~off))
    rolled = np.roll(off, -first_on)
    edges = np.flatnonzero(np.diff(np.concatenate([[0], rolled.astype(int), [0]])))
    return [((int(a) + first_on) % n, int(b - a)) for a, b in zip(edges[::2], edges[1::2])]


@dataclass(frozen=True, slots=True, kw_only=True)
class Rooms:
    """What rooms were given in the hours of the year; (H, Z) unless said, of one zone of the line.

    ``heat, cool`` of night runs [Btu/h] · in the L ``late_hours`` of the first of the day (L, Z): ``late_heat`` to the
    room, ``late_coil`` the same with the reheat of ``late_cfm`` of added airflow [Btu/h, cfm] · ``heat_cap, cool_cap``
    the most at night · ``heat_flow, cool_flow`` airflow of a zone that calls (one line where it is the same in every
    hour) [cfm] · ``capacity`` (Z,)
    [Btu/F] · by night (N, Z): ``begin_f, end_f`` room temperature as the unit stops and as occupancy starts, ``lack_f``
    what the day has to make up, ``handed_f`` what it has not made up [degF] · the others as in ``NightBlock``.
    """

    heat: np.ndarray
    cool: np.ndarray
    late_hours: np.ndarray
    late_heat: np.ndarray
    late_coil: np.ndarray
    late_cfm: np.ndarray
    heat_cap: np.ndarray
    cool_cap: np.ndarray
    heat_flow: np.ndarray
    cool_flow: np.ndarray
    capacity: np.ndarray
    begin_f: np.ndarray
    end_f: np.ndarray
    lack_f: np.ndarray
    handed_f: np.ndarray
    start_miss_f: np.ndarray
    late_cold_degree_hours: np.ndarray
    late_cold_hours: np.ndarray
    cold_zone_hours: float
    lowest_f: np.ndarray
    starts: float


def night_caps(unit: Unit, schedule, fs, heat_flow, cool_flow) -> dict[str, np.ndarray]:
    """What each zone can be given while the unit runs for it at night: ``heat_cap``, ``cool_cap`` [Btu/h] and the
    airflows of :func:`night_air_cfm`. (1 or H, Z)"""
    z = unit.zones
    night_drop = np.maximum(z.cool_occupied_f - unit.air_handler.design_sat_f, 5.0)
    cool_cap = fs * cool_flow * night_drop * (unit.cooling.type != "none")
    if supply_heating_mode(unit) == "hold":
        heat_cap = fs * heat_flow * np.maximum(schedule.night_sat_f - z.heat_occupied_f, 5.0)
    else:
        heat_cap = np.where(z.has_reheat, np.minimum(z.reheat_btuh, fs * heat_flow * z.reheat_rise_max_f), 0.0)
    return {"heat_cap": heat_cap, "cool_cap": cool_cap, "heat_flow": heat_flow, "cool_flow": cool_flow}


def most_heat_kbtuh(unit: Unit, central: bool, oat_f):
    """Heat that the source of the supply heating coil (``central``) or of the terminals can give. (H,) [kBtu/h]

    The plant of the terminals only below the outdoor temperature at which it is enabled.
    """
    if central and unit.preheat.type != "same":
        return most_heat_of_source_kbtuh(preheat_source(unit.preheat, unit.heating), unit.preheat_kbtuh, oat_f)
    enabled = 1.0 if central else (np.asarray(oat_f) < unit.heating.enabled_below_f).astype(float)
    return most_heat_of_source_kbtuh(heat_source(unit.heating), unit.heating_kbtuh, oat_f) * enabled


@dataclass(frozen=True, slots=True, kw_only=True)
class _Step:
    """An hour of each night that lasts so long, whatever rooms are given in it: ``active`` nights and their ``hours``
    (n,), the ``unit`` of these rows, ``warming`` (n,) bool in warm-up, and (n, Z) ``low_f`` and ``high_f`` limits,
    ``ua_btuh_f`` and ``gains_btuh`` of rooms, ``gain_f`` their rise over the hour for a Btu/h; ``oat_f`` (n, 1)."""

    active: np.ndarray
    hours: np.ndarray
    unit: Unit
    warming: np.ndarray
    low_f: np.ndarray
    high_f: np.ndarray
    ua_btuh_f: np.ndarray
    gains_btuh: np.ndarray
    gain_f: np.ndarray
    oat_f: np.ndarray


class NightSteps:
    """Steps of the nights of a unit, found once for all airflows; anew each time where loads are too large to keep."""

    def __init__(self) -> None:
        self._kept: list[_Step] | None = None

    def of(self, unit: Unit, conditions, loads, schedule, capacity, start, length) -> Iterable[_Step]:
        """The steps in order; always the same arguments."""
        if isinstance(loads, LoadsOnDemand):
            return _steps(unit, conditions, loads, schedule, capacity, start, length)
        if self._kept is None:
            self._kept = list(_steps(unit, conditions, loads, schedule, capacity, start, length))
        return self._kept


def _steps(unit: Unit, conditions, loads, schedule, capacity, start, length) -> Iterator[_Step]:
    hours = len(conditions.oat_f)
    warmup = int(np.ceil(schedule.warmup_hours)) if schedule.unoccupied_mode == "setback" else 0
    for step in range(int(length.max())):
        active = np.flatnonzero(step < length)
        h = (start[active] + step) % hours
        left = length[active] - step  # hours to occupancy, this one included
        ramp = np.where(left <= warmup, (warmup - left + 1) / max(warmup, 1), 0.0)[:, None]
        # A group may be occupied while the unit is off (a network room): its own setpoints hold then.
        now, of_rows = loads.take(h, only=_LOADS_AT_NIGHT), unit.take(h, only=_ASKED_AT_NIGHT)
        low, high = now.heat_f, now.cool_f
        cool_occupied, heat_occupied = occupied_setpoints_f(of_rows, conditions.oat_f[h])
        ua = np.maximum(now.ua_btuh_f, 1e-9)
        yield _Step(
            active=active,
            hours=h,
            unit=of_rows,
            warming=ramp[:, 0] > 0.0,
            low_f=low + ramp * (np.maximum(heat_occupied, low) - low),
            high_f=high + ramp * (np.minimum(cool_occupied, high) - high),
            ua_btuh_f=ua,
            gains_btuh=now.gains_btuh,
            gain_f=-np.expm1(-ua / _of_rows(capacity, h)) / ua,
            oat_f=conditions.oat_f[h][:, None],
        )


def rooms_of(
    unit: Unit,
    conditions,
    loads: ZoneLoads | LoadsOnDemand,
    schedule,
    spans,
    heat_flow,
    cool_flow,
    rounds: int = HANDED_ON_ROUNDS,
    steps: NightSteps | None = None,
) -> Rooms:
    """Room temperatures from the stop of the unit to the end of what the morning lacks, all nights side by side.

    With one of the ``rounds`` nights begin settled, whatever days before them have not made up. ``steps`` keeps what
    does not depend on airflows from one call to the next for the same unit and hours.
    """
    steps = NightSteps() if steps is None else steps
    hours = len(conditions.oat_f)
    fs = loads.fs
    capacity = heat_capacity_btu_f(unit, schedule.room_time_constant_h, fs)
    start = np.array([s for s, _ in spans])
    length = np.array([n for _, n in spans])
    central = supply_heating_mode(unit) == "hold"

    # Room temperatures when the unit stops: between their setpoints by their own balance.
    last = (start - 1) % hours
    before = loads.take(last)
    settled = np.clip(
        conditions.oat_f[last][:, None] + before.gains_btuh / np.maximum(before.ua_btuh_f, 1e-9),
        before.heat_f,
        before.cool_f,
    )

    caps: dict[str, Any] = night_caps(unit, schedule, fs, heat_flow, cool_flow)
    most = (1000.0 * most_heat_kbtuh(unit, central, conditions.oat_f), 1000.0 * most_cooling_kbtuh(unit, conditions))
    by_day = 1000.0 * most_heat_kbtuh(unit, False, conditions.oat_f)

    first = (start + length) % hours
    handed = np.zeros(settled.shape)
    for _ in range(rounds):
        begin = settled - handed
        walk = steps.of(unit, conditions, loads, schedule, capacity, start, length)
        night = _nights(unit, hours, walk, schedule.unoccupied_mode == "setback", begin, caps, most)
        day = _morning(unit, conditions, loads, capacity, first, night["end_f"], by_day)
        after = np.roll(day["handed_f"], 1, axis=0)
        if np.abs(after - handed).max() <= LEAST_MISS_F:
            break
        handed = after
    after_night = loads.take(first)
    cold = np.maximum(after_night.heat_f - night["end_f"], 0.0)
    warm = np.maximum(night["end_f"] - after_night.cool_f, 0.0)
    miss = sum(np.where(d > LEAST_MISS_F, d, 0.0).sum(axis=0) for d in (cold, warm))
    return Rooms(**caps, **night, **day, capacity=capacity, begin_f=begin, start_miss_f=miss, starts=float(len(spans)))


def _nights(unit: Unit, hours: int, steps: Iterable[_Step], served: bool, begin_f, caps, most):
    """All nights side by side from room temperatures as the unit stops (N, Z); ``most`` heat and cooling of plants
    (H,). [Btu/h]"""
    count = len(unit.zones)
    here = lambda values, h: values[h] if len(values) > 1 else values
    room = begin_f.copy()
    heat, cool = np.zeros((hours, count)), np.zeros((hours, count))
    lowest = np.full(count, np.inf)
    for at in steps:
        h, gain, before = at.hours, at.gain_f, room[at.active]
        drift = before + gain * (at.gains_btuh + at.ua_btuh_f * (at.oat_f - before))
        if served:
            q_heat, q_cool = setback_calls(
                at.unit,
                (at.low_f - drift) / gain,
                (drift - at.high_f) / gain,
                {name: here(values, h) for name, values in caps.items()},
                tuple(limit[h] for limit in most),
                at.warming,
            )
            heat[h], cool[h] = q_heat, q_cool
            drift = drift + gain * (q_heat - q_cool)
        room[at.active] = drift
        lowest = np.minimum(lowest, drift.min(axis=0))
    return {"heat": heat, "cool": cool, "end_f": room, "lowest_f": lowest}


def _of_rows(values, index):
    """Values of rows by zone (R, Z); those of zones (Z,) as they are."""
    return values[index] if values.ndim > 1 else values


def setback_calls(unit: Unit, heat_wanted, cool_wanted, caps: dict, most, warming):
    """Room heat and cooling that the unit gives zones in setback, warm-up and cool-down. (R, Z) each [Btu/h]

    Parameters
    ----------
    heat_wanted, cool_wanted : ndarray (R, Z)
        What would hold the limits of each room; below zero where nothing is wanted. [Btu/h]
    caps : dict
        From :func:`night_caps`, (R or 1, Z) each.
    most : pair of ndarray (R,)
        Heat and cooling that plants can give. [Btu/h]
    warming : ndarray (R,) bool
        In warm-up heat comes first, since the day's supply air cools rooms at once.

    Notes
    -----
    The unit heats or cools, never both: the larger need decides. All rooms together get no more than the plants and
    the airflow of the fan have.
    """
    multiplier = unit.zones.multiplier
    q_heat = np.minimum(np.maximum(heat_wanted, 0.0), caps["heat_cap"])
    q_cool = np.minimum(np.maximum(cool_wanted, 0.0), caps["cool_cap"])
    asked = q_heat @ multiplier
    heats = (asked >= q_cool @ multiplier) | (warming & (asked > 0.0))
    given = []
    # A row heats or cools: only the rows of each are worked on where there are both.
    for q, part, mine in ((q_heat, "heat", heats), (q_cool, "cool", ~heats)):
        rows = np.flatnonzero(mine)
        if len(rows) == len(q):
            given.append(_given(q, part, caps, slice(None), multiplier, unit.max_cfm, most[part == "cool"]))
            continue
        whole = np.zeros(q.shape, dtype=q.dtype)
        if len(rows):
            whole[rows] = _given(q[rows], part, caps, rows, multiplier, unit.max_cfm, most[part == "cool"])
        given.append(whole)
    return tuple(given)


def _given(q, part, caps, rows, multiplier, max_cfm, most):
    """Heat or cooling of rows (R, Z) within the airflow of the fan and what the plant has."""
    cap, flow = (values[rows] if len(values) > 1 else values for values in (caps[f"{part}_cap"], caps[f"{part}_flow"]))
    air = (_over(q, cap) * flow) @ multiplier
    max_cfm = max_cfm[rows] if np.ndim(max_cfm) else max_cfm
    if (air > max_cfm).any():
        q = q * _share_of(air, max_cfm)[:, None]
    return within(q, multiplier, np.asarray(most)[rows])


def _over(a, b):
    """a / b where b is above zero, else 0."""
    return np.where(b > 0.0, a / np.where(b > 0.0, b, 1.0), 0.0)


def _share_of(asked, most):
    """Share of what is asked for that there is, at most 1."""
    return np.where(asked > most, _over(most, asked), 1.0)


def within(q, multiplier, most):
    """Heat of zones, all cut by one share where together they ask for more than there is. (R, Z)"""
    asked = q @ multiplier
    return q * _share_of(asked, most)[:, None] if (asked > most).any() else q


def _morning(unit: Unit, conditions, loads, capacity, first, end_f, most_heat) -> dict:
    """How cold rooms come to their setpoints from the start of occupancy on, at the latest by the end of the day.

    Parameters
    ----------
    first : ndarray (N,)
        First occupied hours.
    end_f : ndarray (N, Z)
        Room temperatures as they start.
    most_heat : ndarray (H,)
        What the source of the terminals has. [Btu/h]

    Returns
    -------
    dict
        The fields of ``Rooms`` that it finds.
    """
    z = unit.zones
    hours = len(conditions.oat_f)
    late: list[tuple] = []
    handed, lack, counted, degree_hours = (
        np.zeros(end_f.shape),
        np.zeros(end_f.shape),
        np.zeros(len(z)),
        np.zeros(len(z)),
    )
    tolerance = unit.service.unmet_tolerance_f
    at, cold = np.arange(len(first)), np.zeros(end_f.shape)  # of the first step, below
    for step in range(hours):
        h = (first[at] + step) % hours
        if step > 0:
            ends = conditions.fan_on[h] <= 0.0
            handed[at[ends]] = cold[ends]
            on = ~ends & (cold > 0.0).any(axis=1)
            at, h, cold = at[on], h[on], cold[on]
            if len(at) == 0:
                break
        of_rows = unit.take(h)
        day = own_day(of_rows, conditions.take(h), loads.take(h))
        if step == 0:
            lack = np.maximum(day.target_f - end_f, 0.0)
            cold = lack = np.where(lack > LEAST_MISS_F, lack, 0.0)
            if not cold.any():
                break
        before = cold
        k = day.conductance
        mass = _of_rows(capacity, h)
        gain = -np.expm1(-k / mass) / k
        left = np.maximum(before * np.exp(-k / mass) - gain * day.help_btuh, 0.0)
        q = np.where(before > 0.0, np.clip(left / gain, 0.0, day.spare_btuh), 0.0)
        added = day.widest_cfm * _over(q, day.spare_btuh)
        coil = q + loads.fs * added * day.lift_f
        share = np.minimum(
            _share_of(coil @ z.multiplier, np.maximum(most_heat[h] - day.heat_btuh @ z.multiplier, 0.0)),
            _share_of(added @ z.multiplier, np.maximum(of_rows.max_cfm - day.cfm @ z.multiplier, 0.0)),
        )[:, None]
        cold = left - gain * q * share
        cold = np.where(cold > LEAST_MISS_F, cold, 0.0)
        late.append((h, q * share, coil * share, added * share))
        mean = 0.5 * (before + cold)
        degree_hours += np.maximum(mean - np.maximum(tolerance - day.short_f, 0.0), 0.0).sum(axis=0)
        # Hours that are cold in the steady count already are not counted again.
        counted += ((mean > tolerance - day.short_f) & (day.short_f <= tolerance)).sum(axis=0)
    nothing = (np.zeros(0, dtype=int), *(np.zeros((0, len(z))) for _ in range(3)))
    h, *given = (np.concatenate(same) for same in zip(nothing, *late, strict=True))
    order = np.argsort(h, kind="stable")
    return {
        "late_hours": h[order],
        **{name: values[order] for name, values in zip(("late_heat", "late_coil", "late_cfm"), given, strict=True)},
        "lack_f": lack,
        "handed_f": handed,
        "late_cold_degree_hours": degree_hours,
        "late_cold_hours": counted,
        "cold_zone_hours": float(counted @ z.multiplier),
    }


@dataclass(frozen=True, slots=True, kw_only=True)
class _OwnDay:
    """Cold rooms in steady hours of the day at the design supply temperature; (n, Z).

    ``target_f`` where the hour holds a cold room: its heating setpoint, ``short_f`` less where its terminal is short ·
    ``cfm`` airflow, ``heat_btuh`` reheat of the hour · ``conductance`` envelope and airflow [Btu/h.F] · ``help_btuh``
    what warms a cold room for nothing · ``spare_btuh`` room heat that the coil has left, with ``widest_cfm`` of added
    airflow (dual maximum) that is lifted by ``lift_f``.
    """

    target_f: np.ndarray
    short_f: np.ndarray
    cfm: np.ndarray
    heat_btuh: np.ndarray
    conductance: np.ndarray
    help_btuh: np.ndarray
    spare_btuh: np.ndarray
    widest_cfm: np.ndarray
    lift_f: np.ndarray


def own_day(unit: Unit, c, loads: ZoneLoads) -> _OwnDay:
    """See ``_OwnDay``."""
    z, fs = unit.zones, loads.fs
    sat = np.full(c.oat_f.shape, float(unit.air_handler.design_sat_f))
    satz = zone_supply_f(unit, sat)[:, None]
    enabled = heating_enabled(unit, c.oat_f, c.fan_on)
    coil = z.reheat_btuh * z.has_reheat * enabled[:, None]
    asked = requested_flow_cfm(unit, loads, sat, enabled)
    # A cold room's terminal is at its minimum, or at the airflow at which it heats in that hour anyway.
    flow = np.where(heating_need_btuh(loads, loads.min_cfm, satz) > 0.0, asked, loads.min_cfm)
    need = heating_need_btuh(loads, flow, satz)
    rise = np.maximum(loads.heat_f + z.reheat_rise_max_f - satz, 0.0)
    heat = np.clip(np.minimum(np.minimum(need, fs * flow * rise), coil), 0.0, None)
    conductance = np.maximum(loads.ua_btuh_f + fs * flow, 1e-9)
    short = np.maximum(need - heat, 0.0) / conductance
    widest = np.where(z.dual_maximum & (coil > 0.0), np.maximum(z.heat_max_cfm - flow, 0.0), 0.0)
    lift = np.maximum(loads.heat_f - short - satz, 0.0)
    spare = np.minimum(coil, fs * (flow + widest) * rise) - heat - fs * widest * lift
    still = np.minimum(coil, fs * flow * rise) - heat
    # More airflow than the coil can warm is no help.
    widest = np.where(spare > still, widest, 0.0)
    return _OwnDay(
        target_f=loads.heat_f - short,
        short_f=short,
        cfm=asked,
        heat_btuh=heat,
        conductance=conductance,
        help_btuh=np.maximum(heat - need, 0.0),
        spare_btuh=np.maximum(np.maximum(spare, still), 0.0),
        widest_cfm=widest,
        lift_f=lift,
    )


def most_cooling_kbtuh(unit: Unit, c):
    """Room cooling that plant and outdoor air can give at night, fan heat at full flow taken off. (H,) [kBtu/h]"""
    if unit.cooling.type == "none":
        return np.zeros(np.shape(c.oat_f))
    plant = cooling_capacity_kbtuh(
        unit.cooling, unit.cooling_tons, c.oat_f, c.oawb_f, np.full(np.shape(c.oat_f), NIGHT_ENTERING_WB_F)
    )
    flow = np.atleast_1d(unit.max_cfm)
    fan = fans.supply_fan(unit, flow, np.full(len(flow), unit.fan.design_dsp_inwc))
    free = free_cooling_frac(unit, c.oat_f)
    gross = np.where(free < 1.0, plant / np.where(free < 1.0, 1.0 - free, 1.0), np.inf)
    return np.maximum(gross - fan.heat_kw * KBTU_PER_KWH, 0.0)


def free_cooling_frac(unit: Unit, oat_f):
    """Share of night cooling that full outdoor air can carry, by dry bulb only. (R,)"""
    eco = unit.economizer
    if eco.type == "none" or eco.stuck_frac is not None:
        return np.zeros(np.shape(oat_f))
    weights = unit.zones.max_cfm * unit.zones.multiplier
    room = np.average(np.broadcast_to(unit.zones.cool_occupied_f, weights.shape), axis=-1, weights=weights)
    sat = unit.air_handler.design_sat_f
    limit = room if eco.type == "differential_dry_bulb" else eco.high_limit_f
    share = np.clip((room - oat_f) / np.maximum(room - sat, 1.0), 0.0, unit.outdoor_air.maximum_frac)
    allowed = oat_f <= (limit if eco.integrated else np.minimum(limit, sat))
    return np.where(allowed, share, 0.0)
