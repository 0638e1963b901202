"""Setback and morning warm-up: what the air handler does outside occupied hours.

The only part of the physics that needs the sequence of hours. It runs once per project,
hour by hour with a first-order room mass, for all nights side by side; its energy is the
same for every candidate and is shown apart. Without room mass, night heating would come out
several times too high.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ..units import KBTU_PER_KWH
from . import fan as fans
from .loads import ZoneLoads
from .plant import cooling_capacity_kbtuh, cooling_power
from .system import heat_sources, heating_enabled, supply_heating_mode
from .unit import Unit


# Wet bulb of the recirculated air entering the coil at night: 75 degF at 50 % humidity. [degF]
NIGHT_ENTERING_WB_F = 62.6


@dataclass(frozen=True, slots=True, kw_only=True)
class NightBlock:
    """Energy of setback, warm-up and cool-down; arrays (H,) over the hours of the year, rates per hour.

    ``running_frac`` share of the hour the fan runs · ``heat_kbtuh`` room heat given ·
    ``cool_kbtuh`` cooling given · the other fields as in ``RowState``.
    """

    running_frac: np.ndarray
    heat_kbtuh: np.ndarray
    cool_kbtuh: np.ndarray
    fan_kw: np.ndarray
    cooling_kw: np.ndarray
    pump_tower_kw: np.ndarray
    heating_kw: np.ndarray
    fuel_thermh: np.ndarray
    purchased_cooling_kbtuh: np.ndarray
    purchased_heating_kbtuh: np.ndarray

    @property
    def electricity_kw(self) -> np.ndarray:
        return self.fan_kw + self.cooling_kw + self.pump_tower_kw + self.heating_kw


def empty_night(hours: int) -> NightBlock:
    """No night operation."""
    zero = np.zeros(hours)
    return NightBlock(**{name: zero for name in NightBlock.__slots__})


def heat_capacity_btu_f(unit: Unit, time_constant_h):
    """Heat capacity of each room. (Z,) [Btu/F]

    Spread by floor area so that the building as a whole cools with the given time constant
    when the air handler is off; rooms without outer walls then have mass as well.
    """
    z = unit.zones
    area = float(np.sum(z.area_ft2 * z.multiplier))
    conductance = float(np.sum(z.ua_btuh_f * z.multiplier))
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


def run_nights(unit: Unit, conditions, loads: ZoneLoads, schedule) -> NightBlock:
    """Hour-by-hour room temperatures and the heat and cooling that hold the setback limits.

    Parameters
    ----------
    conditions : Conditions
        All hours of the year in order.
    loads : ZoneLoads
        Of the same hours.
    schedule : record of section ``schedule``

    Notes
    -----
    Room: ``C dT/dt = gains + UA (OAT - T) + q``, exact over an hour of constant conditions.
    Below the heating setback (or above the cooling set-up; in groups occupied at that hour,
    their occupied setpoints) the unit cycles with outdoor air shut; over the last
    ``warmup_hours`` the limits move in even steps to the occupied setpoints.
    Cool-down is sensible only; where the economizer may work by dry bulb, full outdoor air
    carries its share ``(T - OAT)/(T - SAT)`` of it and the coil the rest.
    Heat comes from the supply heating coil when the air handler has one that holds
    temperature, else from the terminals; fan heat is credited.
    """
    z = unit.zones
    hours = len(conditions.oat_f)
    spans = nights(conditions.fan_on)
    if not spans or len(spans) == 1 and spans[0][1] == hours:
        return empty_night(hours)
    fs = loads.fs
    capacity = heat_capacity_btu_f(unit, schedule.room_time_constant_h)
    start = np.array([s for s, _ in spans])
    length = np.array([n for _, n in spans])
    warmup = int(np.ceil(schedule.warmup_hours))
    central = supply_heating_mode(unit) == "hold"

    # Where the rooms stand when the unit stops: between their setpoints by their own balance.
    last = (start - 1) % hours
    ua_last = np.maximum(loads.ua_btuh_f[last], 1e-9)
    room = np.clip(conditions.oat_f[last][:, None] + loads.gains_btuh[last] / ua_last, loads.heat_f[last], loads.cool_f[last])

    # What each zone can be given while the unit runs for it.
    heat_flow = np.maximum(np.where(z.dual_maximum, z.heat_max_cfm, z.min_cfm), 0.3 * z.max_cfm)
    night_drop = np.maximum(z.cool_occupied_f - unit.air_handler.design_sat_f, 5.0)
    cool_cap = fs * z.max_cfm * night_drop * (unit.cooling.type != "none")
    if central:
        heat_cap = fs * z.max_cfm * np.maximum(schedule.night_sat_f - z.heat_occupied_f, 5.0)
        heat_flow = z.max_cfm
    else:
        heat_cap = np.where(z.has_reheat, np.minimum(z.reheat_btuh, fs * heat_flow * z.reheat_rise_max_f), 0.0)

    heat = np.zeros((hours, len(z)))
    cool = np.zeros((hours, len(z)))
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
        q_heat = np.clip((low - drift) / gain, 0.0, heat_cap)
        q_cool = np.clip((drift - high) / gain, 0.0, cool_cap)
        # The unit heats or cools in an hour, never both: the larger need decides.
        heats = (q_heat @ z.multiplier >= q_cool @ z.multiplier)[:, None]
        q_heat, q_cool = np.where(heats, q_heat, 0.0), np.where(heats, 0.0, q_cool)
        room[active] = drift + gain * (q_heat - q_cool)
        heat[h], cool[h] = q_heat, q_cool
    return _night_energy(unit, conditions, fs, heat, cool, heat_cap, cool_cap, heat_flow, central)


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


def _night_energy(unit, c, fs, heat, cool, heat_cap, cool_cap, heat_flow, central) -> NightBlock:
    """Fan, plant and heat source energy of given room heat and cooling (H, Z)."""
    z = unit.zones
    share = lambda q, cap: np.where(cap > 0.0, q / np.where(cap > 0.0, cap, 1.0), 0.0)  # noqa: E731
    r_heat, r_cool = share(heat, heat_cap), share(cool, cool_cap)
    run = np.maximum(r_heat.max(axis=1), r_cool.max(axis=1))
    # While it runs, flow is what the calling zones take on average over the run.
    taken = (r_heat * heat_flow + r_cool * z.max_cfm) @ z.multiplier
    flow = np.minimum(np.where(run > 0.0, taken / np.where(run > 0.0, run, 1.0), 0.0), unit.max_cfm)
    fan = fans.supply_fan(unit, flow, np.full(flow.shape, unit.fan.design_dsp_inwc))
    secondary = fans.secondary_fan_kw(unit, flow * unit.return_fan.flow_frac) if unit.return_fan.type == "return" else 0.0
    fan_kw = np.where(run > 0.0, run * (fan.kw + secondary), 0.0)
    fan_heat = np.where(run > 0.0, run * fan.heat_kw * KBTU_PER_KWH, 0.0)
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
    heat_time = running_share(run, from_plant, unit.preheat_kbtuh if central and unit.preheat.type != "same" else unit.heating_kbtuh)
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
    return NightBlock(
        running_frac=run, heat_kbtuh=heat_total, cool_kbtuh=cool_total, fan_kw=fan_kw,
        cooling_kw=cool_time * plant.compressor_kw,
        pump_tower_kw=cool_time * plant.pump_tower_kw + added["pump_kw"],
        heating_kw=added["electric_kw"], fuel_thermh=added["fuel_thermh"],
        purchased_cooling_kbtuh=cool_time * plant.purchased_kbtuh, purchased_heating_kbtuh=added["purchased_kbtuh"])


def running_share(run, load, capacity):
    """Share of the hour a plant works: that of the unit, or more where its capacity asks for it. (R,)"""
    needed = np.where(load > 0.0, load / np.maximum(capacity, 1e-9), 0.0)
    return np.where(load > 0.0, np.clip(np.maximum(run, needed), 0.0, 1.0), 0.0)
