"""Setback, morning warm-up and what is left of it for the day: the air handler outside occupied hours.

The only part of the physics that needs the sequence of hours. It runs hour by hour with a
first-order room mass, for all nights side by side. Candidates share what rooms are given as far as their
duct pressures bring the same air; the fan's energy is each candidate's own. Without room mass, night
heating would come out several times too high.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from ..units import KBTU_PER_KWH
from . import fan as fans
from .loads import ZoneLoads
from .plant import cooling_capacity_kbtuh, cooling_power, heat_source, most_heat_of_source_kbtuh, preheat_source
from .system import heat_sources, heating_enabled, supply_heating_mode
from .terminals import available_flow_cfm
from .unit import Unit


# Wet bulb of the recirculated air entering the coil at night: 75 degF at 50 % humidity. [degF]
NIGHT_ENTERING_WB_F = 62.6


# A zone that heats at night takes at least this share of its design airflow (assumption).
LEAST_HEATING_FLOW_FRAC = 0.3
# Hours into the day after which what a room still lacks is no longer followed.
MOST_MORNING_HOURS = 12
# Rooms nearer their setpoint than this are ready. [degF]
LEAST_MISS_F = 1e-6


@dataclass(frozen=True, slots=True, kw_only=True)
class NightDuct:
    """Duct pressure of a candidate at night.

    ``setpoint_inwc(oat_f, zone_cfm)`` gives the setpoint (R,) for outdoor temperatures (R,) and airflows that zones ask for
    (R, Z); with one line of airflows a number will do. ``override_frac`` of the time ``override_inwc`` stands instead.
    ``resets_pressure`` says which published fan curve applies.
    """

    setpoint_inwc: Callable
    override_frac: float
    override_inwc: float
    resets_pressure: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class NightBlock:
    """Energy of setback, warm-up and cool-down and of what the morning makes up; arrays (H,) over the hours of the year, rates per hour.

    ``running_frac`` share of the hour the fan runs · ``heat_kbtuh`` room heat given, ``late_heat_kbtuh`` of it after the start of
    occupancy · ``cool_kbtuh`` room cooling given · the other energies as in ``RowState``.

    By zone line (one zone of it), (Z,): ``start_miss_f`` degrees outside the setpoints at the first occupied hour, cold or warm, summed over
    ``starts`` days · ``lowest_f`` lowest room temperature of the nights (NaN where there is no night). ``cold_zone_hours``
    hours of all zones after the start in which they are still colder than the heating setpoint by more than the tolerance.
    """

    running_frac: np.ndarray
    heat_kbtuh: np.ndarray
    cool_kbtuh: np.ndarray
    late_heat_kbtuh: np.ndarray
    fan_kw: np.ndarray
    cooling_kw: np.ndarray
    pump_tower_kw: np.ndarray
    heating_kw: np.ndarray
    fuel_thermh: np.ndarray
    purchased_cooling_kbtuh: np.ndarray
    purchased_heating_kbtuh: np.ndarray
    start_miss_f: np.ndarray
    lowest_f: np.ndarray
    cold_zone_hours: float
    starts: float

    @property
    def electricity_kw(self) -> np.ndarray:
        return self.fan_kw + self.cooling_kw + self.pump_tower_kw + self.heating_kw


def empty_night(hours: int, zones: int) -> NightBlock:
    """No night operation."""
    by_hour, by_zone = np.zeros(hours), np.zeros(zones)
    names = NightBlock.__slots__[: NightBlock.__slots__.index("start_miss_f")]
    return NightBlock(**{name: by_hour for name in names}, start_miss_f=by_zone, lowest_f=np.full(zones, np.nan), cold_zone_hours=0.0, starts=0.0)


def heat_capacity_btu_f(unit: Unit, time_constant_h, fs):
    """Heat capacity of each room. (Z,) [Btu/F]

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
    conductance = float(np.sum((z.ua_btuh_f + fs * z.infiltration_cfm) * z.multiplier))
    # A building without conductance still has furniture and slabs.
    per_area = max(time_constant_h * conductance / area, 1.0)
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


def run_nights(unit: Unit, conditions, loads: ZoneLoads, schedule, duct: NightDuct | None = None, sequences: dict | None = None) -> NightBlock:
    """Hour-by-hour room temperatures, the heat and cooling that hold the setback limits, and what the morning still lacks.

    Parameters
    ----------
    conditions : Conditions
        All hours of the year in order.
    loads : ZoneLoads
        Of the same hours.
    schedule : record of section ``schedule``
    duct : NightDuct, optional
        Duct pressure while terminals are served at night; the design pressure when not given.
    sequences : dict, optional
        Keeps what does not depend on duct pressure from one call to the next for the same unit and hours.

    Notes
    -----
    Room: ``C dT/dt = gains + UA (OAT - T) + q``, exact over an hour of constant conditions.
    ``setback``: below the heating setback (or above the cooling set-up; in groups occupied at that hour,
    their occupied setpoints) the unit cycles with outdoor air shut; over the last
    ``warmup_hours`` the limits move in even steps to the occupied setpoints. ``off``: nothing is given.
    Cool-down is sensible only; where the economizer may work by dry bulb, full outdoor air
    carries its share ``(T - OAT)/(T - SAT)`` of it and the coil the rest.
    Heat comes from the supply heating coil when the air handler has one that holds
    temperature, else from the terminals; fan heat is credited. All rooms together get no more than the source has, and
    each no more than its coil and the air that the duct pressure brings it.

    Heat that a room lacks at the start of occupancy is made up in the hours that follow, by what its coil and
    the source have left beside the day's own load (at the design supply temperature): it is paid for as it is
    given, and hours that stay cold until then count. A room that is too warm is counted at the start only: rooms here have no
    neighbours to share their mass with, so that the warmth of inner rooms on cold mornings is overstated. Supply
    temperature resets have no part in any of this.
    """
    hours = len(conditions.oat_f)
    spans = nights(conditions.fan_on)
    if schedule.unoccupied_mode == "continuous" or not spans or (len(spans) == 1 and spans[0][1] == hours):
        return empty_night(hours, len(unit.zones))
    heat_flow, cool_flow = _flows(unit, conditions, duct)
    key = (heat_flow.tobytes(), cool_flow.tobytes())
    rooms = None if sequences is None else sequences.get(key)
    if rooms is None:
        rooms = _rooms(unit, conditions, loads, schedule, spans, heat_flow, cool_flow)
        if sequences is not None:
            sequences[key] = rooms
    return _night_energy(unit, conditions, loads, rooms, duct)


@dataclass(frozen=True, slots=True, kw_only=True)
class _Rooms:
    """What rooms were given in the hours of the year; (H, Z) unless said.

    ``heat, cool`` of night runs and ``late_heat`` in the first hours of the day [Btu/h] · ``heat_cap, cool_cap`` the most at
    night · ``heat_flow, cool_flow`` airflow of a zone that calls (one line where it is the same in every hour) [cfm] · the
    others as in ``NightBlock``.
    """

    heat: np.ndarray
    cool: np.ndarray
    late_heat: np.ndarray
    heat_cap: np.ndarray
    cool_cap: np.ndarray
    heat_flow: np.ndarray
    cool_flow: np.ndarray
    start_miss_f: np.ndarray
    cold_zone_hours: float
    lowest_f: np.ndarray
    starts: float


def _flows(unit: Unit, conditions, duct: NightDuct | None):
    """Airflow of a zone that calls for heat and for cooling at night, as far as the duct brings it with all calling. (1 or H, Z) [cfm]"""
    z = unit.zones
    central = supply_heating_mode(unit) == "hold"
    heat = z.max_cfm if central else np.maximum(np.where(z.dual_maximum, z.heat_max_cfm, z.min_cfm), LEAST_HEATING_FLOW_FRAC * z.max_cfm)
    out = []
    for flow in (heat, z.max_cfm):
        flow = flow[None, :]
        if duct is not None:
            dsp = np.atleast_1d(duct.setpoint_inwc(conditions.oat_f, flow))
            flow = np.minimum(flow, available_flow_cfm(unit, dsp))
        out.append(flow)
    return out


def most_heat_kbtuh(unit: Unit, central: bool, oat_f):
    """Heat that the source of night runs can give. (H,) [kBtu/h]"""
    if central and unit.preheat.type != "same":
        return most_heat_of_source_kbtuh(preheat_source(unit.preheat, unit.heating), unit.preheat_kbtuh, oat_f)
    return most_heat_of_source_kbtuh(heat_source(unit.heating), unit.heating_kbtuh, oat_f)


def _rooms(unit: Unit, conditions, loads: ZoneLoads, schedule, spans, heat_flow, cool_flow) -> _Rooms:
    """Room temperatures from the stop of the unit to the end of what the morning lacks, all nights side by side."""
    z = unit.zones
    hours, count = len(conditions.oat_f), len(z)
    fs = loads.fs
    capacity = heat_capacity_btu_f(unit, schedule.room_time_constant_h, fs)
    start = np.array([s for s, _ in spans])
    length = np.array([n for _, n in spans])
    served = schedule.unoccupied_mode == "setback"
    warmup = int(np.ceil(schedule.warmup_hours)) if served else 0
    central = supply_heating_mode(unit) == "hold"
    here = lambda values, h: values[h] if len(values) > 1 else values  # noqa: E731

    # Where the rooms stand when the unit stops: between their setpoints by their own balance.
    last = (start - 1) % hours
    ua_last = np.maximum(loads.ua_btuh_f[last], 1e-9)
    room = np.clip(conditions.oat_f[last][:, None] + loads.gains_btuh[last] / ua_last, loads.heat_f[last], loads.cool_f[last])

    # What each zone can be given while the unit runs for it.
    night_drop = np.maximum(z.cool_occupied_f - unit.air_handler.design_sat_f, 5.0)
    cool_cap = fs * cool_flow * night_drop * (unit.cooling.type != "none")
    if central:
        heat_cap = fs * heat_flow * np.maximum(schedule.night_sat_f - z.heat_occupied_f, 5.0)
    else:
        heat_cap = np.where(z.has_reheat, np.minimum(z.reheat_btuh, fs * heat_flow * z.reheat_rise_max_f), 0.0)
    most_heat = 1000.0 * most_heat_kbtuh(unit, central, conditions.oat_f)
    most_cool = 1000.0 * _most_cooling_kbtuh(unit, conditions)

    heat, cool = np.zeros((hours, count)), np.zeros((hours, count))
    lowest = np.full(count, np.inf)
    for step in range(int(length.max())):
        active = np.flatnonzero(step < length)
        h = (start[active] + step) % hours
        left = length[active] - step  # hours to occupancy, this one included
        ramp = np.where(left <= warmup, (warmup - left + 1) / max(warmup, 1), 0.0)[:, None]
        # A group may be occupied while the unit is off (a network room): its own setpoints hold then.
        low, high = loads.heat_f[h], loads.cool_f[h]
        low = low + ramp * (np.maximum(z.heat_occupied_f, low) - low)
        high = high + ramp * (np.minimum(z.cool_occupied_f, high) - high)
        ua = np.maximum(loads.ua_btuh_f[h], 1e-9)
        gain = -np.expm1(-ua / capacity) / ua  # degF per Btu/h over the hour
        drift = room[active] + gain * (loads.gains_btuh[h] + ua * (conditions.oat_f[h][:, None] - room[active]))
        if served:
            q_heat = np.clip((low - drift) / gain, 0.0, here(heat_cap, h))
            q_cool = np.clip((drift - high) / gain, 0.0, here(cool_cap, h))
            # The unit heats or cools in an hour, never both: the larger need decides, but in warm-up heat comes first, since the
            # day's supply air cools rooms at once.
            asked = q_heat @ z.multiplier
            heats = ((asked >= q_cool @ z.multiplier) | ((ramp[:, 0] > 0.0) & (asked > 0.0)))[:, None]
            q_heat = np.where(heats, _within(q_heat, z.multiplier, most_heat[h]), 0.0)
            q_cool = np.where(heats, 0.0, _within(q_cool, z.multiplier, most_cool[h]))
            heat[h], cool[h] = q_heat, q_cool
            drift = drift + gain * (q_heat - q_cool)
        room[active] = drift
        lowest = np.minimum(lowest, drift.min(axis=0))

    first = (start + length) % hours
    cold = np.maximum(loads.heat_f[first] - room, 0.0)
    warm = np.maximum(room - loads.cool_f[first], 0.0)
    cold, warm = (np.where(d > LEAST_MISS_F, d, 0.0) for d in (cold, warm))
    miss = (cold + warm).sum(axis=0)
    by_day = 1000.0 * most_heat_kbtuh(unit, False, conditions.oat_f)
    late_heat, cold_zone_hours = _morning(unit, conditions, loads, capacity, first, cold, by_day)
    return _Rooms(
        heat=heat, cool=cool, heat_cap=heat_cap, cool_cap=cool_cap, heat_flow=heat_flow, cool_flow=cool_flow,
        late_heat=late_heat, start_miss_f=miss, cold_zone_hours=cold_zone_hours, lowest_f=lowest, starts=float(len(spans)))


def _within(q, multiplier, most):
    """Heat of zones, all cut by one share where together they ask for more than there is. (R, Z)"""
    total = q @ multiplier
    return q * np.where(total > most, most / np.where(total > 0.0, total, 1.0), 1.0)[:, None]


def _morning(unit: Unit, conditions, loads: ZoneLoads, capacity, first, cold, most_heat):
    """How cold rooms come to their setpoints in the first hours of occupancy.

    A room that lacks ``d`` degrees loses ``UA d`` less than the day's balance at the setpoint says, and keeps what gains it has
    beyond that balance; the rest is given by what coil and source have left beside the day's load.

    Returns
    -------
    late_heat : ndarray (H, Z)
        Heat given to make it up. [Btu/h]
    cold_zone_hours : float
    """
    z = unit.zones
    hours, fs = len(conditions.oat_f), loads.fs
    late_heat, counted = np.zeros((hours, len(z))), 0.0
    satz = unit.air_handler.design_sat_f + unit.air_handler.duct_gain_f
    at = np.arange(len(first))
    for step in range(MOST_MORNING_HOURS):
        h = (first[at] + step) % hours
        on = (conditions.fan_on[h] > 0.0) & cold[at].any(axis=1)
        at, h = at[on], h[on]
        if len(at) == 0:
            break
        need, own, most = _day_heat(unit, conditions, loads, h, satz)
        source = np.maximum(most_heat[h] - own @ z.multiplier, 0.0)
        ua = np.maximum(loads.ua_btuh_f[h], 1e-9)
        gain, stay = -np.expm1(-ua / capacity) / ua, np.exp(-ua / capacity)
        before = cold[at]
        left = np.maximum(before * stay - gain * np.maximum(-need, 0.0), 0.0)
        q = _within(np.clip(left / gain, 0.0, most - own), z.multiplier, source)
        after = left - gain * q
        after = np.where(after > LEAST_MISS_F, after, 0.0)
        late_heat[h] += q
        cold[at] = after
        counted += float(((0.5 * (before + after) > unit.service.unmet_tolerance_f) @ z.multiplier).sum())
    return late_heat, counted


def _day_heat(unit: Unit, conditions, loads: ZoneLoads, h, satz_f):
    """Heat that rooms need by day at their heating setpoints, of it what their coils give, and the most these could. (len(h), Z) [Btu/h]"""
    z, fs = unit.zones, loads.fs
    enabled = (heating_enabled(unit, conditions.oat_f[h], conditions.fan_on[h]) > 0.0)[:, None]
    need = fs * loads.min_cfm[h] * (loads.heat_f[h] - satz_f) - loads.q_heat_btuh[h]
    flow = np.where(z.dual_maximum, np.maximum(z.heat_max_cfm, loads.min_cfm[h]), loads.min_cfm[h])
    discharge = fs * flow * np.maximum(loads.heat_f[h] + z.reheat_rise_max_f - satz_f, 0.0)
    most = np.where(z.has_reheat & enabled, np.minimum(z.reheat_btuh, discharge), 0.0)
    return need, np.clip(need, 0.0, most), most


def _most_cooling_kbtuh(unit: Unit, c):
    """Room cooling that plant and outdoor air can give at night, fan heat at full flow taken off. (H,) [kBtu/h]"""
    if unit.cooling.type == "none":
        return np.zeros(np.shape(c.oat_f))
    plant = cooling_capacity_kbtuh(unit.cooling, unit.cooling_tons, c.oat_f, c.oawb_f, np.full(np.shape(c.oat_f), NIGHT_ENTERING_WB_F))
    fan = fans.supply_fan(unit, np.array([unit.max_cfm]), np.array([unit.fan.design_dsp_inwc]))
    free = free_cooling_frac(unit, c.oat_f)
    gross = np.where(free < 1.0, plant / np.where(free < 1.0, 1.0 - free, 1.0), np.inf)
    return np.maximum(gross - float(fan.heat_kw[0]) * KBTU_PER_KWH, 0.0)


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


def _night_energy(unit: Unit, c, loads: ZoneLoads, rooms: _Rooms, duct: NightDuct | None) -> NightBlock:
    """Fan, plant and heat source energy of what rooms were given."""
    z, fs = unit.zones, loads.fs
    central = supply_heating_mode(unit) == "hold"
    heat, cool = rooms.heat, rooms.cool
    share = lambda q, cap: np.where(cap > 0.0, q / np.where(cap > 0.0, cap, 1.0), 0.0)  # noqa: E731
    r_heat, r_cool = share(heat, rooms.heat_cap), share(cool, rooms.cool_cap)
    run = np.maximum(r_heat.max(axis=1), r_cool.max(axis=1))
    # While it runs, flow is what the calling zones take on average over the run.
    each = (r_heat * rooms.heat_flow + r_cool * rooms.cool_flow) / np.where(run > 0.0, run, 1.0)[:, None]
    flow = np.minimum(each @ z.multiplier, unit.max_cfm)
    fan_kw, fan_heat_kw = np.zeros(len(run)), np.zeros(len(run))
    runs = np.flatnonzero(run > 0.0)
    for part, dsp in _pressures(unit, c.oat_f[runs], each[runs], duct):
        fan = fans.supply_fan(unit, flow[runs], dsp, duct is not None and duct.resets_pressure)
        fan_kw[runs] += part * run[runs] * fan.kw
        fan_heat_kw[runs] += part * run[runs] * fan.heat_kw
    if unit.return_fan.type == "return":
        fan_kw[runs] += run[runs] * fans.secondary_fan_kw(unit, flow[runs] * unit.return_fan.flow_frac)
    fan_heat = fan_heat_kw * KBTU_PER_KWH
    heat_total = (heat @ z.multiplier) / 1000.0
    cool_total = (cool @ z.multiplier) / 1000.0
    heats = heat_total > cool_total
    from_plant = np.where(heats, np.maximum(heat_total - fan_heat, 0.0), heat_total)
    coil = np.where(cool_total > 0.0, (cool_total + np.where(heats, 0.0, fan_heat)) * (1.0 - free_cooling_frac(unit, c.oat_f)), 0.0)
    # Plants work only while the unit runs (longer if they are too small for that), so pumps and
    # part load are those of the running time.
    entering_wb = np.full(coil.shape, NIGHT_ENTERING_WB_F)
    cooling_cap = cooling_capacity_kbtuh(unit.cooling, unit.cooling_tons, c.oat_f, c.oawb_f, entering_wb)
    cool_time = running_share(run, coil, cooling_cap)
    heat_time = running_share(run, from_plant, most_heat_kbtuh(unit, central, c.oat_f))
    zero = np.zeros_like(from_plant)
    rate = from_plant / np.where(heat_time > 0.0, heat_time, 1.0)
    terminal, supply = (zero, rate) if central else (rate, zero)
    source, second = heat_sources(unit, terminal, supply, (terminal > 0.0).astype(float), c.oat_f)
    # A heating plant that stays enabled while the unit is off has its standing loss and pump
    # counted for all of those hours: only what the night adds to them counts here.
    idle, idle_second = heat_sources(unit, zero, zero, heating_enabled(unit, c.oat_f, zero), c.oat_f)
    added = {name: heat_time * (getattr(source, name) + getattr(second, name) - getattr(idle, name) - getattr(idle_second, name))
             for name in ("electric_kw", "fuel_thermh", "purchased_kbtuh", "pump_kw")}
    plant = cooling_power(unit.cooling, unit.cooling_tons, coil / np.where(cool_time > 0.0, cool_time, 1.0),
                          (coil > 0.0).astype(float), c.oat_f, c.oawb_f, entering_wb)
    block = {
        "running_frac": run, "heat_kbtuh": heat_total, "cool_kbtuh": cool_total, "fan_kw": fan_kw,
        "cooling_kw": cool_time * plant.compressor_kw, "pump_tower_kw": cool_time * plant.pump_tower_kw + added["pump_kw"],
        "heating_kw": added["electric_kw"], "fuel_thermh": added["fuel_thermh"],
        "purchased_cooling_kbtuh": cool_time * plant.purchased_kbtuh, "purchased_heating_kbtuh": added["purchased_kbtuh"]}
    late = np.flatnonzero(rooms.late_heat.any(axis=1))
    block["late_heat_kbtuh"] = np.zeros(len(run))
    for name, values in _late_energy(unit, c, loads, rooms, late).items():
        block[name][late] += values
    return NightBlock(**block, start_miss_f=rooms.start_miss_f, lowest_f=rooms.lowest_f, starts=rooms.starts,
                      cold_zone_hours=rooms.cold_zone_hours)


def _pressures(unit: Unit, oat_f, zone_cfm, duct: NightDuct | None):
    """Duct pressures of given airflows of zones, each with its share of the time. [(share, (R,) in. w.c.)]"""
    if duct is None:
        return [(1.0, np.full(len(oat_f), float(unit.fan.design_dsp_inwc)))]
    rows = np.broadcast_to(duct.setpoint_inwc(oat_f, zone_cfm), np.shape(oat_f))
    if duct.override_frac <= 0.0:
        return [(1.0, rows)]
    return [(1.0 - duct.override_frac, rows), (duct.override_frac, np.full(len(oat_f), float(duct.override_inwc)))]


def _late_energy(unit: Unit, c, loads: ZoneLoads, rooms: _Rooms, h) -> dict[str, np.ndarray]:
    """What heat after the start of occupancy adds to the day's own. (len(h),) each"""
    if len(h) == 0:
        return {}
    z, oat = unit.zones, c.oat_f[h]
    enabled = heating_enabled(unit, oat, c.fan_on[h])
    heat = (rooms.late_heat[h] @ z.multiplier) / 1000.0
    own = (_day_heat(unit, c, loads, h, unit.air_handler.design_sat_f + unit.air_handler.duct_gain_f)[1] @ z.multiplier) / 1000.0
    more, less = (sum_sources(heat_sources(unit, load, np.zeros(len(h)), enabled, oat)) for load in (own + heat, own))
    added = {name: more[name] - less[name] for name in more}
    return {"late_heat_kbtuh": heat, "heat_kbtuh": heat, "pump_tower_kw": added["pump_kw"], "heating_kw": added["electric_kw"],
            "fuel_thermh": added["fuel_thermh"], "purchased_heating_kbtuh": added["purchased_kbtuh"]}


def sum_sources(both) -> dict[str, np.ndarray]:
    """Energies of two heat sources together."""
    return {name: getattr(both[0], name) + getattr(both[1], name) for name in ("electric_kw", "fuel_thermh", "purchased_kbtuh", "pump_kw")}


def running_share(run, load, capacity):
    """Share of the hour a plant works: that of the unit, or more where its capacity asks for it. (R,)"""
    needed = np.where(load > 0.0, load / np.maximum(capacity, 1e-9), 0.0)
    return np.where(load > 0.0, np.clip(np.maximum(run, needed), 0.0, 1.0), 0.0)
