"""Nights, warm-up and the start of occupancy: what the air handler does outside occupied hours.

The only part of the physics that needs the sequence of hours. Rooms are followed hour by hour
with a first-order mass, all nights side by side. What heat or cooling is missing when occupancy
starts is carried into the day: given there as far as terminals and plants have room beside the
day's own load, and counted in degree-hours until then. Without room mass, night heating would
come out several times too high.

:func:`room_sequence` finds what rooms ask for and is shared by candidates; :func:`night_block`
adds fans and plants under the duct pressure of a candidate.
"""

from __future__ import annotations

from dataclasses import dataclass, fields

import numpy as np

from ..units import KBTU_PER_KWH
from . import fan as fans
from .loads import ZoneLoads
from .plant import cooling_capacity_kbtuh, cooling_power, heat_source, heating_capacity_kbtuh, preheat_source
from .system import heat_sources, heating_enabled, supply_heating_mode
from .terminals import available_flow_cfm, heating_need_btuh, requested_flow_cfm, zone_supply_f
from .unit import Unit


# Wet bulb of the recirculated air entering the coil at night: 75 degF at 50 % humidity. [degF]
NIGHT_ENTERING_WB_F = 62.6
# Least heat capacity of rooms: furniture and slabs of a building without conductance (assumption). [Btu/F.ft2]
LEAST_CAPACITY_BTU_F_FT2 = 1.0
# A room this close to its setpoint has reached it. [degF]
REACHED_F = 1e-9
# Rounds in which what a day leaves over is handed on to its next night. What is left shrinks from day to day.
HANDED_ON_ROUNDS = 8


@dataclass(frozen=True, slots=True, kw_only=True)
class RoomSequence:
    """Rooms outside occupied hours and while they catch up; of one zone each, not times its multiplier.

    ``heat_btuh, cool_btuh`` (H, Z) given while the unit is off by schedule · ``heat_cap_btuh, cool_cap_btuh``
    (Z,) most that a terminal gives while the unit runs for it · ``heat_cfm`` (Z,) its airflow then ·
    ``extra_heat_btuh, extra_cool_btuh`` (H, Z) given to catch up in occupied hours beside the day's own load,
    room heat · ``extra_reheat_btuh`` (H, Z) the same with the reheat of added airflow · ``extra_cfm`` (H, Z)
    added airflow · ``warm_coil_btuh`` (H, Z) heat that the day's own airflow takes out of rooms still too warm ·
    ``own_heat_btuh, own_cool_btuh, own_cfm`` (H, Z) the day's own heat, cooling and airflow in those hours at
    the design supply temperature · ``capacity_btu_f`` (Z,) heat capacity ·
    ``start_hour`` (N,) first hour of each night · ``length_h`` (N,) ·
    ``start_f, end_f`` (N, Z) room temperature as the unit stops and as occupancy starts ·
    ``start_miss_f`` (Z,) sum over starts of degrees outside the setpoints of the first occupied hour ·
    ``lowest_f`` (Z,) lowest room temperature · ``cold_degree_hours, warm_degree_hours`` (Z,) below and above
    what the day's hours count with, until caught up · ``left_btu`` (Z,) heat still missing (positive) or in
    excess when a day ended, summed (handed on to the next night).
    """

    heat_btuh: np.ndarray
    cool_btuh: np.ndarray
    heat_cap_btuh: np.ndarray
    cool_cap_btuh: np.ndarray
    heat_cfm: np.ndarray
    extra_heat_btuh: np.ndarray
    extra_cool_btuh: np.ndarray
    extra_reheat_btuh: np.ndarray
    extra_cfm: np.ndarray
    warm_coil_btuh: np.ndarray
    own_heat_btuh: np.ndarray
    own_cool_btuh: np.ndarray
    own_cfm: np.ndarray
    capacity_btu_f: np.ndarray
    start_hour: np.ndarray
    length_h: np.ndarray
    start_f: np.ndarray
    end_f: np.ndarray
    start_miss_f: np.ndarray
    lowest_f: np.ndarray
    cold_degree_hours: np.ndarray
    warm_degree_hours: np.ndarray
    left_btu: np.ndarray


@dataclass(frozen=True, slots=True, kw_only=True)
class NightBlock:
    """Energy of setback, warm-up, cool-down and catching up; arrays (H,) over the hours of the year, rates per hour.

    ``running_frac`` share of the hour the fan runs while off by schedule · ``heat_kbtuh`` room heat given then ·
    ``cool_kbtuh`` cooling given then · ``carried_heat_kbtuh, carried_cool_kbtuh`` the same in occupied hours for
    what was missing at their start · the other energies as in ``RowState``, both together ·
    ``dsp_inwc`` duct pressure setpoint while it runs then, else 0.

    Of zones, (Z,), one of each line: ``start_miss_f`` sum over starts of occupancy of degrees outside the
    setpoints at the first occupied hour [degF] · ``starts`` their number · ``lowest_f`` lowest room temperature
    outside occupied hours; the lowest heating setpoint where the air handler never stops ·
    ``cold_degree_hours, warm_degree_hours`` from the start of occupancy until caught up [degF h].
    """

    running_frac: np.ndarray
    heat_kbtuh: np.ndarray
    cool_kbtuh: np.ndarray
    carried_heat_kbtuh: np.ndarray
    carried_cool_kbtuh: np.ndarray
    fan_kw: np.ndarray
    cooling_kw: np.ndarray
    pump_tower_kw: np.ndarray
    heating_kw: np.ndarray
    fuel_thermh: np.ndarray
    purchased_cooling_kbtuh: np.ndarray
    purchased_heating_kbtuh: np.ndarray
    dsp_inwc: np.ndarray
    start_miss_f: np.ndarray
    lowest_f: np.ndarray
    cold_degree_hours: np.ndarray
    warm_degree_hours: np.ndarray
    starts: int

    @property
    def electricity_kw(self) -> np.ndarray:
        return self.fan_kw + self.cooling_kw + self.pump_tower_kw + self.heating_kw


ZONE_FIELDS = ("start_miss_f", "lowest_f", "cold_degree_hours", "warm_degree_hours")


def empty_night(hours: int, lowest_f) -> NightBlock:
    """No hours off: nothing is stored, nothing is missing. ``lowest_f`` (Z,) stands for room temperatures."""
    lowest = np.asarray(lowest_f, dtype=float)
    none = {name: np.zeros(lowest.shape) for name in ZONE_FIELDS}
    hourly = {f.name: np.zeros(hours) for f in fields(NightBlock) if f.name not in (*ZONE_FIELDS, "starts")}
    return NightBlock(**hourly, starts=0, **{**none, "lowest_f": lowest})


def mean_of_nights(shares, blocks) -> NightBlock:
    """Blocks weighted by the shares of the time in which they hold."""
    if len(blocks) == 1:
        return blocks[0]
    mixed = {f.name: sum(w * getattr(b, f.name) for w, b in zip(shares, blocks)) for f in fields(NightBlock)}
    mixed.update(starts=blocks[0].starts, lowest_f=np.min([b.lowest_f for b in blocks], axis=0))
    return NightBlock(**mixed)


def heat_capacity_btu_f(unit: Unit, time_constant_h, fs):
    """Heat capacity of each room. (Z,) [Btu/F]

    That of the building is its conductance with the infiltration of hours off, times the time constant; rooms
    share it by floor area, so that rooms without outer walls have mass as well. A building whose rooms are
    alike decays with the time constant; where they are not, its heat content falls at that rate at
    first, outer rooms faster and inner ones slower.
    """
    z = unit.zones
    area = float(np.sum(z.area_ft2 * z.multiplier))
    conductance = float(np.sum((z.ua_btuh_f + fs * z.infiltration_cfm) * z.multiplier))
    per_area = max(time_constant_h * conductance / area, LEAST_CAPACITY_BTU_F_FT2)
    return per_area * z.area_ft2


def nights(fan_on):
    """First hour and length of each run of hours with the air handler off, over the end of the year. [(start, length)]"""
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
class _Means:
    """What can be given: per zone (Z,), and per hour (H,) by plants. [Btu/h, cfm, kBtu/h]"""

    central: bool
    heat_cap: np.ndarray
    cool_cap: np.ndarray
    heat_cfm: np.ndarray
    heat_limit: np.ndarray
    reheat_limit: np.ndarray
    cool_limit: np.ndarray
    free: np.ndarray


def _means(unit: Unit, c, fs, schedule) -> _Means:
    """What terminals and plants can give outside occupied hours and in them."""
    z = unit.zones
    central = supply_heating_mode(unit) == "hold"
    heat_cfm = np.maximum(np.where(z.dual_maximum, z.heat_max_cfm, z.min_cfm), 0.3 * z.max_cfm)
    night_drop = np.maximum(z.cool_occupied_f - unit.air_handler.design_sat_f, 5.0)
    cool_cap = fs * z.max_cfm * night_drop * (unit.cooling.type != "none")
    enabled = (c.oat_f < unit.heating.enabled_below_f).astype(float)
    reheat_limit = heating_capacity_kbtuh(heat_source(unit.heating), unit.heating_kbtuh, c.oat_f) * enabled
    heat_limit = reheat_limit
    if central:
        heat_cap = fs * z.max_cfm * np.maximum(schedule.night_sat_f - z.heat_occupied_f, 5.0)
        heat_cfm = z.max_cfm
        if unit.preheat.type == "same":
            heat_limit = heating_capacity_kbtuh(heat_source(unit.heating), unit.heating_kbtuh, c.oat_f)
        else:
            heat_limit = heating_capacity_kbtuh(preheat_source(unit.preheat, unit.heating), unit.preheat_kbtuh, c.oat_f)
    else:
        heat_cap = np.where(z.has_reheat, np.minimum(z.reheat_btuh, fs * heat_cfm * z.reheat_rise_max_f), 0.0)
    if schedule.unoccupied_mode != "setback":
        heat_cap, cool_cap = np.zeros(len(z)), np.zeros(len(z))
    entering_wb = np.full(c.oat_f.shape, NIGHT_ENTERING_WB_F)
    return _Means(central=central, heat_cap=heat_cap, cool_cap=cool_cap, heat_cfm=heat_cfm, heat_limit=heat_limit,
                  reheat_limit=reheat_limit, free=free_cooling_frac(unit, c.oat_f),
                  cool_limit=cooling_capacity_kbtuh(unit.cooling, unit.cooling_tons, c.oat_f, c.oawb_f, entering_wb))


def _over(a, b):
    """a / b where b is above zero, else 0."""
    return np.where(b > 0.0, a / np.where(b > 0.0, b, 1.0), 0.0)


def room_sequence(unit: Unit, conditions, loads: ZoneLoads, schedule, pressure=None) -> RoomSequence | None:
    """Room temperatures outside occupied hours, what holds and warms them, and what is left for the day.

    Parameters
    ----------
    conditions : Conditions
        All hours of the year in order.
    loads : ZoneLoads
        Of the same hours.
    schedule : record of section ``schedule``
    pressure : callable, optional
        Duct pressure setpoint of hours and requests as in :func:`night_block`; airflow of terminals is then
        limited to what it pushes through open dampers. Not limited without it.

    Returns
    -------
    RoomSequence or None
        None where the air handler never stops or never starts.

    Notes
    -----
    Room: ``C dT/dt = gains + UA (OAT - T) + q``, exact over an hour of constant conditions.
    Below the heating setback (or above the cooling set-up; in groups occupied at that hour,
    their occupied setpoints) the unit cycles with outdoor air shut; over the last
    ``warmup_hours`` the limits move in even steps to the occupied setpoints. In mode ``off``
    nothing is given. What zones ask for is cut in proportion where it exceeds the source of heat, the cooling
    plant (fan heat included, at design duct pressure) or the airflow of the fan.

    Start of occupancy: the steady hours of the day count with rooms at their setpoints. A room off by ``d``
    catches up by ``C dd/dt = -(UA + fs V) d - B - q``: ``V`` the day's own airflow at the design supply
    temperature (a supply air reset neither helps nor hurts), ``B`` what gains or cold supply air bring beyond the
    setpoint for nothing, ``q`` added reheat or cooling within what terminals, sources and the fan have left.
    """
    z = unit.zones
    hours = len(conditions.oat_f)
    spans = nights(conditions.fan_on)
    if not spans or len(spans) == 1 and spans[0][1] == hours:
        return None
    fs = loads.fs
    means = _means(unit, conditions, fs, schedule)
    capacity = heat_capacity_btu_f(unit, schedule.room_time_constant_h, fs)
    start = np.array([s for s, _ in spans])
    length = np.array([n for _, n in spans])
    day = (np.roll(start, -1) - start - length) % hours

    # Where the rooms stand when the unit stops: between their setpoints by their own balance.
    last = (start - 1) % hours
    ua_last = np.maximum(loads.ua_btuh_f[last], 1e-9)
    rest = np.clip(conditions.oat_f[last][:, None] + loads.gains_btuh[last] / ua_last, loads.heat_f[last], loads.cool_f[last])
    left = np.zeros(rest.shape)
    for _ in range(HANDED_ON_ROUNDS):
        night = _nights(unit, conditions, loads, schedule, means, capacity, start, length, rest + left, pressure)
        caught = _days(unit, conditions, loads, means, capacity, (start + length) % hours, day, night["end_f"])
        handed = np.roll(caught.pop("left_f"), 1, axis=0)
        if np.abs(handed - left).max() < 1e-6:
            break
        left = handed
    first = (start + length) % hours
    miss = np.maximum(np.maximum(loads.heat_f[first] - night["end_f"], night["end_f"] - loads.cool_f[first]), 0.0)
    return RoomSequence(
        **night, **caught, heat_cap_btuh=means.heat_cap, cool_cap_btuh=means.cool_cap, heat_cfm=means.heat_cfm,
        capacity_btu_f=capacity, start_hour=start, length_h=length, start_f=rest + left,
        start_miss_f=np.where(miss > REACHED_F, miss, 0.0).sum(axis=0), left_btu=-(handed * capacity).sum(axis=0))


def _nights(unit, c, loads, schedule, means, capacity, start, length, room, pressure):
    """All nights side by side from given room temperatures (N, Z)."""
    z = unit.zones
    hours = len(c.oat_f)
    warmup = int(np.ceil(schedule.warmup_hours))
    fs = loads.fs
    room = room.copy()
    lowest = np.full(len(z), np.inf)
    heat = np.zeros((hours, len(z)))
    cool = np.zeros((hours, len(z)))
    for step in range(int(length.max())):
        active = np.flatnonzero(step < length)
        h = (start[active] + step) % hours
        to_go = length[active] - step  # hours to occupancy, this one included
        ramp = np.where(to_go <= warmup, (warmup - to_go + 1) / max(warmup, 1), 0.0)[:, None]
        # A group may be occupied while the unit is off (a network room): its own setpoints hold then.
        low, high = loads.heat_f[h], loads.cool_f[h]
        low = low + ramp * (np.maximum(z.heat_occupied_f, low) - low)
        high = high + ramp * (np.minimum(z.cool_occupied_f, high) - high)
        ua = np.maximum(loads.ua_btuh_f[h], 1e-9)
        gain = -np.expm1(-ua / capacity) / ua  # degF per Btu/h over the hour
        drift = room[active] + gain * (loads.gains_btuh[h] + ua * (c.oat_f[h][:, None] - room[active]))
        q_heat = np.clip((low - drift) / gain, 0.0, means.heat_cap)
        q_cool = np.clip((drift - high) / gain, 0.0, means.cool_cap)
        # The unit heats or cools in an hour, never both: the larger need decides.
        heats = (q_heat @ z.multiplier >= q_cool @ z.multiplier)[:, None]
        q_heat, q_cool = np.where(heats, q_heat, 0.0), np.where(heats, 0.0, q_cool)
        if pressure is not None:
            asked = np.where(q_heat > 0.0, means.heat_cfm, 0.0) + np.where(q_cool > 0.0, z.max_cfm, 0.0)
            reach = _reach(unit, pressure(h, asked, np.where(q_cool > 0.0, z.max_cfm, 0.0)), asked)
            q_heat, q_cool = np.minimum(q_heat, reach * means.heat_cap), np.minimum(q_cool, reach * means.cool_cap)
        within = _within_plants(unit, means, h, fs, q_heat, q_cool)[:, None]
        q_heat, q_cool = q_heat * within, q_cool * within
        room[active] = drift + gain * (q_heat - q_cool)
        heat[h], cool[h] = q_heat, q_cool
        lowest = np.minimum(lowest, room[active].min(axis=0))
    return {"heat_btuh": heat, "cool_btuh": cool, "end_f": room, "lowest_f": lowest}


def _reach(unit: Unit, dsp_inwc, asked_cfm):
    """Share of the asked airflow that duct pressure pushes through open dampers. (n, Z)"""
    return np.where(asked_cfm > 0.0, np.minimum(1.0, _over(available_flow_cfm(unit, dsp_inwc), asked_cfm)), 1.0)


def _within_plants(unit: Unit, means: _Means, h, fs, q_heat, q_cool):
    """Share of what zones ask for that plants and fan can give. (n,)"""
    z = unit.zones
    r_heat, r_cool = _over(q_heat, means.heat_cap), _over(q_cool, means.cool_cap)
    taken = (r_heat * means.heat_cfm + r_cool * z.max_cfm) @ z.multiplier
    share = np.minimum(1.0, _over(unit.max_cfm, taken) + (taken <= 0.0))
    heat = q_heat @ z.multiplier / 1000.0
    share = np.where(heat > 0.0, np.minimum(share, _over(means.heat_limit[h], heat)), share)
    cool = q_cool @ z.multiplier / 1000.0
    if (cool > 0.0).any():
        run = r_cool.max(axis=1)
        flow = np.minimum(_over(taken, run), unit.max_cfm)
        fan_heat = run * fans.supply_fan(unit, flow, np.full(flow.shape, unit.fan.design_dsp_inwc), False).heat_kw * KBTU_PER_KWH
        coil = (cool + fan_heat) * (1.0 - means.free[h])
        share = np.where(coil > means.cool_limit[h], np.minimum(share, _over(means.cool_limit[h], coil)), share)
    return share


def _days(unit, c, loads, means, capacity, start, length, end_f):
    """What rooms off their setpoints as occupancy starts take until they have caught up, all days side by side.

    ``start, length`` (N,) of each day, ``end_f`` (N, Z) where rooms stand.
    """
    z = unit.zones
    hours = len(c.oat_f)
    fs = loads.fs
    names = ("extra_heat_btuh", "extra_cool_btuh", "extra_reheat_btuh", "extra_cfm", "warm_coil_btuh", "own_heat_btuh",
             "own_cool_btuh", "own_cfm")
    cold_hours, warm_hours = np.zeros(len(z)), np.zeros(len(z))
    left = np.zeros(end_f.shape)
    cold = warm = None
    taken: dict[str, np.ndarray] = {}
    for step in range(int(length.max())):
        if step == 0:
            active = np.flatnonzero(length > 0)
        else:
            # Days that still have a room to catch up; the others are done.
            active = active[((cold > 0.0) | (warm > 0.0)).any(axis=1) & (step < length[active])]
        if not len(active):
            break
        h = (start[active] + step) % hours
        day = _own_day(unit, c.take(h), loads.take(h))
        if step == 0:
            cold, warm = np.maximum(day["cold_target"] - end_f, 0.0), np.maximum(end_f - day["warm_target"], 0.0)
            cold, warm = np.where(cold > REACHED_F, cold, 0.0), np.where(warm > REACHED_F, warm, 0.0)
            if not (cold.any() or warm.any()):
                break
        else:
            keep = np.isin(before, active)
            cold, warm = cold[keep], warm[keep]
        before = active
        was_cold, was_warm = cold, warm
        q, flow_up, cold = _catch_up_cold(unit, means, h, fs, capacity, day, was_cold)
        x, flow_cool, warm = _catch_up_warm(unit, means, h, fs, capacity, day, was_warm)
        cold_hours += 0.5 * (was_cold + cold).sum(axis=0)
        warm_hours += 0.5 * (was_warm + warm).sum(axis=0)
        rows = ((was_cold > 0.0) | (was_warm > 0.0)).any(axis=1)
        if not taken:
            taken = {name: np.zeros((hours, len(z))) for name in names}
        for name, value in (
            ("extra_heat_btuh", q), ("extra_cool_btuh", x), ("extra_cfm", flow_up + flow_cool),
            ("extra_reheat_btuh", q + fs * flow_up * np.maximum(day["cold_target"] - day["satz"], 0.0)),
            ("warm_coil_btuh", fs * day["cfm"] * 0.5 * (was_warm + warm)), ("own_heat_btuh", day["heat"]),
            ("own_cool_btuh", fs * day["cfm"] * np.maximum(day["warm_target"] - day["satz"], 0.0)), ("own_cfm", day["cfm"]),
        ):
            taken[name][h] = np.where(rows[:, None], value, 0.0)
        ends = step == length[active] - 1
        left[active[ends]] = warm[ends] - cold[ends]
    if not taken:
        taken = {name: np.zeros((hours, len(z))) for name in names}
    return {**taken, "cold_degree_hours": cold_hours, "warm_degree_hours": warm_hours, "left_f": left}


def _own_day(unit: Unit, c, loads: ZoneLoads):
    """The steady hour that the day counts with, at the design supply temperature. Arrays (n, Z)

    ``cold_target``, ``warm_target`` where it holds a cold and a warm room (its setpoints, or where it leaves a room whose
    terminal is short) · ``help_cold``, ``help_warm`` what moves a room off its target back for nothing [Btu/h].
    """
    z = unit.zones
    fs = loads.fs
    sat = np.full(c.oat_f.shape, float(unit.air_handler.design_sat_f))
    satz = zone_supply_f(unit, sat)[:, None]
    enabled = heating_enabled(unit, c.oat_f, c.fan_on)
    asked = requested_flow_cfm(unit, loads, sat, enabled)
    total = asked @ z.multiplier
    flow = asked * np.minimum(1.0, _over(unit.max_cfm, total) + (total <= 0.0))[:, None]
    on = enabled[:, None] * z.has_reheat
    # A cold room's terminal stands at its minimum or at its heating flow.
    least = np.where(heating_need_btuh(loads, loads.min_cfm, satz) > 0.0, flow, np.minimum(flow, loads.min_cfm))
    need = heating_need_btuh(loads, least, satz)
    discharge = fs * least * np.maximum(loads.heat_f + z.reheat_rise_max_f - satz, 0.0)
    heat = np.clip(np.minimum(np.minimum(need, discharge), z.reheat_btuh * on), 0.0, None)
    conductance = np.maximum(loads.ua_btuh_f + fs * least, 1e-9)
    surplus = heat - need
    cold_target = loads.heat_f + np.minimum(surplus, 0.0) / conductance
    ua_warm = np.maximum(loads.ua_btuh_f + fs * flow, 1e-9)
    over = loads.q_cool_btuh - fs * flow * (loads.cool_f - satz)
    warm_target = loads.cool_f + np.maximum(over, 0.0) / ua_warm
    return {"satz": satz, "cfm": flow, "least_cfm": least, "heat": heat, "on": on, "cold_target": cold_target, "warm_target": warm_target,
            "cold_conductance": conductance, "warm_conductance": ua_warm, "help_cold": np.maximum(surplus, 0.0), "help_warm": np.maximum(-over, 0.0)}


def _catch_up_cold(unit: Unit, means: _Means, h, fs, capacity, day, off):
    """Added room heat [Btu/h], added airflow [cfm] and what is missing after the hour [degF]; (n, Z) each."""
    z = unit.zones
    k = day["cold_conductance"]
    gain = -np.expm1(-k / capacity) / k
    free = off * np.exp(-k / capacity) - day["help_cold"] * gain
    lift = np.maximum(day["cold_target"] - day["satz"], 0.0)
    widest = np.where(z.dual_maximum & (day["on"] > 0.0), np.maximum(z.heat_max_cfm, day["least_cfm"]), day["least_cfm"])
    discharge = fs * widest * np.maximum(day["cold_target"] + z.reheat_rise_max_f - day["satz"], 0.0)
    spare = np.minimum(z.reheat_btuh * day["on"], discharge) - day["heat"] - fs * (widest - day["least_cfm"]) * lift
    spare = np.maximum(spare, 0.0)
    q = np.where(off > 0.0, np.clip(free / gain, 0.0, spare), 0.0)
    added = (widest - day["least_cfm"]) * _over(q, spare)
    coil = (q + fs * added * lift) @ z.multiplier / 1000.0
    room = np.maximum(means.reheat_limit[h] - day["heat"] @ z.multiplier / 1000.0, 0.0)
    share = np.where(coil > room, _over(room, coil), 1.0)
    fan_room = np.maximum(unit.max_cfm - day["cfm"] @ z.multiplier, 0.0)
    more = added @ z.multiplier
    share = np.where(more > fan_room, np.minimum(share, _over(fan_room, more)), share)[:, None]
    q, added = q * share, added * share
    after = np.where(off > 0.0, free - gain * q, 0.0)
    return q, added, np.where(after > REACHED_F, after, 0.0)


def _catch_up_warm(unit: Unit, means: _Means, h, fs, capacity, day, off):
    """Added cooling [Btu/h], added airflow [cfm] and what is in excess after the hour [degF]; (n, Z) each."""
    z = unit.zones
    k = day["warm_conductance"]
    gain = -np.expm1(-k / capacity) / k
    free = off * np.exp(-k / capacity) - day["help_warm"] * gain
    drop = np.maximum(day["warm_target"] - day["satz"], 0.0)
    spare = fs * np.maximum(z.max_cfm - day["cfm"], 0.0) * drop
    q = np.where(off > 0.0, np.clip(free / gain, 0.0, spare), 0.0)
    own = (fs * day["cfm"] * (drop + off)) @ z.multiplier / 1000.0
    cool = q @ z.multiplier / 1000.0
    room = np.maximum(_over(means.cool_limit[h], 1.0 - means.free[h]) - own, 0.0)
    room = np.where(means.free[h] >= 1.0, np.inf, room)
    if unit.cooling.type == "none":
        room = np.where(means.free[h] >= 1.0, np.inf, 0.0)
    share = np.where(cool > room, _over(np.where(np.isfinite(room), room, 0.0), cool), 1.0)
    fan_room = np.maximum(unit.max_cfm - day["cfm"] @ z.multiplier, 0.0)
    added = _over(q, fs * drop)
    more = added @ z.multiplier
    share = np.where(more > fan_room, np.minimum(share, _over(fan_room, more)), share)[:, None]
    q, added = q * share, added * share
    after = np.where(off > 0.0, free - gain * q, 0.0)
    return q, added, np.where(after > REACHED_F, after, 0.0)


def free_cooling_frac(unit: Unit, oat_f):
    """Share of night cooling that full outdoor air can carry, by dry bulb only. (R,)"""
    eco = unit.economizer
    if eco.type == "none" or eco.stuck_frac is not None:
        return np.zeros(np.shape(oat_f))
    room = float(np.average(unit.zones.cool_occupied_f, weights=unit.zones.max_cfm * unit.zones.multiplier))
    sat = unit.air_handler.design_sat_f
    limit = room if eco.type == "differential_dry_bulb" else eco.high_limit_f
    share = np.clip((room - oat_f) / max(room - sat, 1.0), 0.0, unit.outdoor_air.maximum_frac)
    allowed = oat_f <= (limit if eco.integrated else min(limit, sat))
    return np.where(allowed, share, 0.0)


def run_nights(unit: Unit, conditions, loads: ZoneLoads, schedule, pressure=None, day_pressure=None, *, resets_pressure=False,
               rooms: RoomSequence | None = None) -> NightBlock:
    """Energy of nights, warm-up, cool-down and catching up under a duct pressure strategy.

    Parameters
    ----------
    conditions : Conditions
        All hours of the year in order.
    loads : ZoneLoads
        Of the same hours.
    schedule : record of section ``schedule``
    pressure, day_pressure : callable, optional
        ``(hours (n,), requested_cfm (n, Z), cooling_cfm (n, Z)) -> (n,)``: duct pressure setpoint outside
        occupied hours and in them, where zones ask for these airflows (the second the part for cooling).
        [in. w.c.] The design value without them.
    resets_pressure : bool
        Which published fan curve applies, if those are used.
    rooms : RoomSequence, optional
        That of ``room_sequence(unit, conditions, loads, schedule)``, shared by candidates.

    Notes
    -----
    Supply air resets have no part in these modes: heating runs at ``night_sat_f`` or by terminals, cooling at the
    design supply temperature. A calling zone asks for its whole airflow; where duct pressure pushes less, the unit runs
    longer, and where the hour is too short for that the rooms are followed again with what arrives.
    Heat comes from the supply heating coil when the air handler has one that holds temperature, else from the
    terminals; fan heat is credited. Cooling is sensible only; where the economizer may work by dry bulb,
    full outdoor air carries its share ``(T - OAT)/(T - SAT)`` of it and the coil the rest.
    """
    given = rooms if rooms is not None else room_sequence(unit, conditions, loads, schedule)
    if given is None:
        return empty_night(len(conditions.oat_f), loads.heat_f.min(axis=0))

    def design(h, requested, cooling):
        return np.full(len(h), float(unit.fan.design_dsp_inwc))

    pressure, day_pressure = pressure or design, day_pressure or design
    block = _night_energy(unit, conditions, loads.fs, schedule, given, pressure, day_pressure, resets_pressure)
    if block is None:
        given = room_sequence(unit, conditions, loads, schedule, pressure)
        block = _night_energy(unit, conditions, loads.fs, schedule, given, pressure, day_pressure, resets_pressure)
    return block


def _night_energy(unit, c, fs, schedule, s: RoomSequence, pressure, day_pressure, resets_pressure) -> NightBlock | None:
    """Fan, plant and heat source energy of a sequence; None where duct pressure cannot give it within the hour."""
    z = unit.zones
    hours = len(c.oat_f)
    out = empty_night(hours, s.lowest_f)
    out = {f.name: getattr(out, f.name) for f in fields(NightBlock)}
    out.update({name: getattr(s, name) for name in ZONE_FIELDS}, starts=len(s.start_hour))
    h = np.flatnonzero(((s.heat_btuh > 0.0) | (s.cool_btuh > 0.0)).any(axis=1))
    if len(h):
        heat, cool = s.heat_btuh[h], s.cool_btuh[h]
        r_heat, r_cool = _over(heat, s.heat_cap_btuh), _over(cool, s.cool_cap_btuh)
        cooling_cfm = np.where(cool > 0.0, z.max_cfm, 0.0)
        asked = np.where(heat > 0.0, s.heat_cfm, 0.0) + cooling_cfm
        dsp = pressure(h, asked, cooling_cfm)
        needed = (r_heat + r_cool) / np.maximum(_reach(unit, dsp, asked), 1e-9)
        # While it runs, flow is what the calling zones take on average over the run.
        taken = (r_heat * s.heat_cfm + r_cool * z.max_cfm) @ z.multiplier
        run = np.maximum(needed.max(axis=1), taken / unit.max_cfm)
        if run.max() > 1.0 + 1e-9:
            return None
        run = np.minimum(run, 1.0)
        flow = taken / run
        fan = fans.supply_fan(unit, flow, dsp, resets_pressure)
        secondary = fans.secondary_fan_kw(unit, flow * unit.return_fan.flow_frac) if unit.return_fan.type == "return" else 0.0
        fan_heat = run * fan.heat_kw * KBTU_PER_KWH
        heat_total = (heat @ z.multiplier) / 1000.0
        cool_total = (cool @ z.multiplier) / 1000.0
        heats = heat_total > cool_total
        oat, oawb = c.oat_f[h], c.oawb_f[h]
        from_plant = np.where(heats, np.maximum(heat_total - fan_heat, 0.0), heat_total)
        coil = np.where(cool_total > 0.0, (cool_total + np.where(heats, 0.0, fan_heat)) * (1.0 - free_cooling_frac(unit, oat)), 0.0)
        # Plants work only while the unit runs (longer if they are too small for that), so pumps and
        # part load are those of the running time.
        central = supply_heating_mode(unit) == "hold"
        entering_wb = np.full(coil.shape, NIGHT_ENTERING_WB_F)
        cooling_cap = cooling_capacity_kbtuh(unit.cooling, unit.cooling_tons, oat, oawb, entering_wb)
        cool_time = running_share(run, coil, cooling_cap)
        heat_time = running_share(run, from_plant, _means(unit, c, fs, schedule).heat_limit[h])
        zero = np.zeros_like(from_plant)
        rate = _over(from_plant, heat_time)
        terminal, supply = (zero, rate) if central else (rate, zero)
        # A heating plant that stays enabled while the unit is off has its standing loss and pump
        # counted for all of those hours: only what the night adds to them counts here.
        added = _added_heat(unit, (terminal, supply, (terminal > 0.0).astype(float)),
                            (zero, zero, heating_enabled(unit, oat, zero)), oat)
        plant = cooling_power(unit.cooling, unit.cooling_tons, _over(coil, cool_time), (coil > 0.0).astype(float), oat, oawb, entering_wb)
        for name, value in (
            ("running_frac", run), ("heat_kbtuh", heat_total), ("cool_kbtuh", cool_total), ("dsp_inwc", dsp),
            ("fan_kw", run * (fan.kw + secondary)), ("cooling_kw", cool_time * plant.compressor_kw),
            ("pump_tower_kw", cool_time * plant.pump_tower_kw + heat_time * added["pump_kw"]), ("heating_kw", heat_time * added["electric_kw"]),
            ("fuel_thermh", heat_time * added["fuel_thermh"]), ("purchased_cooling_kbtuh", cool_time * plant.purchased_kbtuh),
            ("purchased_heating_kbtuh", heat_time * added["purchased_kbtuh"]),
        ):
            out[name][h] = value
    _add_carried(unit, c, s, day_pressure, resets_pressure, out)
    return NightBlock(**out)


def _added_heat(unit, with_it, without, oat_f):
    """Energy of heat sources under one set of loads (terminals, supply, enabled) beyond that of another."""
    pairs = [heat_sources(unit, *loads, oat_f) for loads in (with_it, without)]
    return {name: sum(getattr(p, name) for p in pairs[0]) - sum(getattr(p, name) for p in pairs[1])
            for name in ("electric_kw", "fuel_thermh", "purchased_kbtuh", "pump_kw")}


def _add_carried(unit, c, s: RoomSequence, day_pressure, resets_pressure, out) -> None:
    """Energy that catching up adds to the day's own in occupied hours, written into ``out``."""
    z = unit.zones
    h = np.flatnonzero(((s.extra_reheat_btuh > 0.0) | (s.extra_cool_btuh > 0.0) | (s.warm_coil_btuh > 0.0)).any(axis=1))
    if not len(h):
        return
    total = lambda values: values[h] @ z.multiplier / 1000.0  # noqa: E731
    oat, oawb = c.oat_f[h], c.oawb_f[h]
    zero = np.zeros(len(h))
    own, extra = total(s.own_heat_btuh), total(s.extra_reheat_btuh)
    enabled = heating_enabled(unit, oat, c.fan_on[h])
    heat = _added_heat(unit, (own + extra, zero, enabled), (own, zero, enabled), oat)
    before, after = s.own_cfm[h], s.own_cfm[h] + s.extra_cfm[h]
    cools = s.extra_cool_btuh[h] > 0.0
    fan = [fans.supply_fan(unit, flow @ z.multiplier, day_pressure(h, flow, np.where(cools, flow, 0.0)), resets_pressure) for flow in (before, after)]
    secondary = [fans.secondary_fan_kw(unit, (flow @ z.multiplier) * unit.return_fan.flow_frac) if unit.return_fan.type == "return" else 0.0
                 for flow in (before, after)]
    coil_own = total(s.own_cool_btuh)
    carried = total(s.extra_cool_btuh) + total(s.warm_coil_btuh)
    fan_heat = np.where(carried > 0.0, np.maximum(fan[1].heat_kw - fan[0].heat_kw, 0.0) * KBTU_PER_KWH, 0.0)
    share = 1.0 - free_cooling_frac(unit, oat)
    wb = np.full(len(h), NIGHT_ENTERING_WB_F)
    limit = cooling_capacity_kbtuh(unit.cooling, unit.cooling_tons, oat, oawb, wb)
    loads = (np.minimum(coil_own * share, limit), np.minimum((coil_own + carried + fan_heat) * share, limit))
    plant = [cooling_power(unit.cooling, unit.cooling_tons, load, np.ones(len(h)), oat, oawb, wb) for load in loads]
    more = lambda name: getattr(plant[1], name) - getattr(plant[0], name)  # noqa: E731
    out["carried_heat_kbtuh"][h] = total(s.extra_heat_btuh)
    out["carried_cool_kbtuh"][h] = carried
    for name, value in (
        ("fan_kw", fan[1].kw - fan[0].kw + secondary[1] - secondary[0]), ("cooling_kw", more("compressor_kw")),
        ("pump_tower_kw", more("pump_tower_kw") + heat["pump_kw"]), ("heating_kw", heat["electric_kw"]), ("fuel_thermh", heat["fuel_thermh"]),
        ("purchased_cooling_kbtuh", more("purchased_kbtuh")), ("purchased_heating_kbtuh", heat["purchased_kbtuh"]),
    ):
        out[name][h] += value


def running_share(run, load, capacity):
    """Share of the hour a plant works: that of the unit, or more where its capacity asks for it. (R,)"""
    needed = np.where(load > 0.0, load / np.maximum(capacity, 1e-9), 0.0)
    return np.where(load > 0.0, np.clip(np.maximum(run, needed), 0.0, 1.0), 0.0)
