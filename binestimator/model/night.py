"""Setback, morning warm-up and what is left of it for the day: the air handler outside occupied hours.

The only part of the physics that needs the sequence of hours. It runs hour by hour with a
first-order room mass, for all nights side by side. Candidates share what rooms are given as far as their
duct pressures bring the same air; the fan's energy is each candidate's own. Without room mass, night
heating would come out several times too high.
"""

from __future__ import annotations

import hashlib
from collections.abc import Callable

import numpy as np

from ..dataclass import dataclass
from ..end_uses import ELECTRIC
from ..units import KBTU_PER_KWH
from . import fan as fans
from .loads import LoadsOnDemand, ZoneLoads, blocks
from .night_rooms import (
    HANDED_ON_ROUNDS,
    LEAST_HEATING_FLOW_FRAC,
    NIGHT_ENTERING_WB_F,
    NightSteps,
    Rooms,
    free_cooling_frac,
    most_heat_kbtuh,
    night_caps,
    nights,
    own_day,
    rooms_of,
)
from .plant import cooling_capacity_kbtuh, cooling_power
from .system import heat_sources, heating_enabled, supply_heating_mode
from .terminals import available_flow_cfm
from .unit import Unit


@dataclass(frozen=True, slots=True, kw_only=True)
class NightDuct:
    """Duct pressure of a candidate at night.

    ``setpoint_inwc(oat_f, zone_cfm)`` gives the setpoint (R,) for outdoor temperatures (R,) and airflows that zones ask
    for (R, Z); with one line of airflows a number will do. Of a unit whose numbers differ by row it is also given the
    unit of these rows. ``override_frac`` of the time ``override_inwc`` holds
    instead. ``resets_pressure`` says which published fan curve applies.
    """

    setpoint_inwc: Callable
    override_frac: float
    override_inwc: float
    resets_pressure: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class NightBlock:
    """Energy of setback, warm-up and cool-down and of what the morning makes up; arrays (H,) over the hours of the
    year, rates per hour.

    ``running_frac`` share of the hour the fan runs · ``heat_kbtuh`` room heat given, ``late_heat_kbtuh`` of it after
    the start of occupancy · ``cool_kbtuh`` room cooling given · the other energies as in ``RowState``.

    By zone line (one zone of it), (Z,): ``start_miss_f`` degrees outside the setpoints at the first occupied hour, cold
    or warm, summed over ``starts`` days · ``lowest_f`` lowest room temperature of the nights (without nights the lowest
    heating setpoint) · ``late_cold_degree_hours`` after the start, colder than the heating setpoint by more than the
    tolerance, on top of those that the steady hours count [degF.h] · ``late_cold_hours`` hours in which that is so;
    ``cold_zone_hours`` of all zones.
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
    late_cold_degree_hours: np.ndarray
    late_cold_hours: np.ndarray
    cold_zone_hours: float
    starts: float

    @property
    def electricity_kw(self) -> np.ndarray:
        return sum(getattr(self, use.night) for use in ELECTRIC if use.night)


def empty_night(hours: int, lowest_f) -> NightBlock:
    """No night operation; ``lowest_f`` (Z,) takes the place of room temperatures."""
    by_hour, by_zone = np.zeros(hours), np.zeros(len(lowest_f))
    names = NightBlock.__slots__[: NightBlock.__slots__.index("start_miss_f")]
    return NightBlock(
        **dict.fromkeys(names, by_hour),
        start_miss_f=by_zone,
        lowest_f=lowest_f,
        late_cold_degree_hours=by_zone,
        late_cold_hours=by_zone,
        cold_zone_hours=0.0,
        starts=0.0,
    )


def run_nights(
    unit: Unit,
    conditions,
    loads: ZoneLoads | LoadsOnDemand,
    schedule,
    duct: NightDuct | None = None,
    sequences: dict | None = None,
    air: tuple | None = None,
    rounds: int = HANDED_ON_ROUNDS,
    steps: NightSteps | None = None,
    air_key: bytes | None = None,
) -> NightBlock:
    """Hour-by-hour room temperatures, the heat and cooling that hold the setback limits, and what the morning still
    lacks.

    Parameters
    ----------
    conditions : Conditions
        All hours of the year in order.
    loads : ZoneLoads or LoadsOnDemand
        Of the same hours.
    schedule : record of section ``schedule``
    duct : NightDuct, optional
        Duct pressure while terminals are served at night; the design pressure when not given.
    sequences : dict, optional
        Keeps what depends on the duct by its airflow alone from one call to the next for the same unit and hours: some
        fifteen megabytes for each airflow of 23 zone lines.
    air : tuple of ndarray, optional
        ``night_air_cfm`` of the same arguments, where it is known.
    rounds : int
        As :func:`night_rooms.rooms_of` has it.
    steps : NightSteps, optional
        Keeps what does not depend on airflows from one call to the next for the same unit and hours.
    air_key : bytes, optional
        :func:`same_air` of ``air``, where it is known.

    Notes
    -----
    Room: ``C dT/dt = gains + UA (OAT - T) + q``, exact over an hour of constant conditions.
    ``setback``: below the heating setback (or above the cooling set-up; in groups occupied at that hour,
    their occupied setpoints) the unit cycles with outdoor air shut; over the last
    ``warmup_hours`` the limits move in even steps to the occupied setpoints. ``off``: nothing is given.
    Cool-down is sensible only; where the economizer may work by dry bulb, full outdoor air
    carries its share ``(T - OAT)/(T - SAT)`` of it and the coil the rest.
    Heat comes from the supply heating coil when the air handler has one that holds
    temperature, else from the terminals; fan heat is credited. All rooms together get no more than the source and the
    airflow of the fan have, and each no more than its coil and the air that the duct pressure brings it.

    Heat that a room lacks at the start of occupancy is made up in the hours that follow, by what its coil and
    the source have left beside the day's own load (at the design supply temperature): it is paid for as it is
    given, and degree-hours until then count. A room that lacks ``d`` degrees follows ``C dd/dt = -(UA + fs V) d - B -
    q``: at the day's airflow ``V`` it loses less, ``B`` are gains beyond the day's balance, ``q`` the added heat. What
    a day has not made up the next night starts with. A room that is too warm is counted at the start only: rooms here
    have no neighbours to share their mass with, so that the warmth of inner rooms on cold mornings is overstated.
    Supply temperature resets have no part in any of this.
    """
    hours = len(conditions.oat_f)
    spans = nights(conditions.fan_on)
    if schedule.unoccupied_mode == "continuous" or not spans or (len(spans) == 1 and spans[0][1] == hours):
        lowest = [loads.take(here).heat_f.min(axis=0) for here in blocks(hours, len(unit.zones))]
        return empty_night(hours, np.min(lowest, axis=0))
    heat_flow, cool_flow = night_air_cfm(unit, conditions, duct) if air is None else air
    key = same_air((heat_flow, cool_flow)) if air_key is None else air_key
    rooms = None if sequences is None else sequences.get(key)
    if rooms is None:
        rooms = rooms_of(unit, conditions, loads, schedule, spans, heat_flow, cool_flow, rounds, steps)
        if sequences is not None:
            sequences[key] = rooms
    return _night_energy(unit, conditions, loads, rooms, duct)


def energy_of_given(unit: Unit, conditions, loads: ZoneLoads, schedule, heat_btuh, cool_btuh, duct, air) -> NightBlock:
    """Night block of what rooms were given hour by hour, found elsewhere; nothing is left for the morning.

    Parameters
    ----------
    heat_btuh, cool_btuh : ndarray (H, Z)
        Of one zone of each line, means of the hour. [Btu/h]
    duct : NightDuct or None
    air : tuple of ndarray
        From :func:`night_air_cfm` with the same duct.
    """
    count = len(unit.zones)
    none, by_zone, nights_by_zone = np.zeros((0, count)), np.zeros(count), np.zeros((0, count))
    rooms = Rooms(
        heat=heat_btuh,
        cool=cool_btuh,
        late_hours=np.zeros(0, dtype=int),
        late_heat=none,
        late_coil=none,
        late_cfm=none,
        **night_caps(unit, schedule, loads.fs, *air),
        capacity=np.ones(count),
        begin_f=nights_by_zone,
        end_f=nights_by_zone,
        lack_f=nights_by_zone,
        handed_f=nights_by_zone,
        start_miss_f=by_zone,
        late_cold_degree_hours=by_zone,
        late_cold_hours=by_zone,
        cold_zone_hours=0.0,
        lowest_f=by_zone,
        starts=0.0,
    )
    return _night_energy(unit, conditions, loads, rooms, duct)


def same_air(air) -> bytes:
    """Key of an airflow of ``night_air_cfm``: equal for equal air."""
    # Rows of a zone lie side by side in memory: the other way round every number would be copied.
    return b"".join(hashlib.sha256(np.ascontiguousarray(flow.T).data).digest() for flow in air)


def night_air_cfm(unit: Unit, conditions, duct: NightDuct | None = None):
    """Airflow of a zone that calls for heat and for cooling at night, as far as the duct brings it with all calling. (1
    or H, Z) [cfm]"""
    z = unit.zones
    central = supply_heating_mode(unit) == "hold"
    heat = (
        z.max_cfm
        if central
        else np.maximum(np.where(z.dual_maximum, z.heat_max_cfm, z.min_cfm), LEAST_HEATING_FLOW_FRAC * z.max_cfm)
    )
    out = []
    for flow in (heat, z.max_cfm):
        flow = np.atleast_2d(flow)
        if duct is not None:
            dsp = np.atleast_1d(_setpoint_inwc(unit, duct, conditions.oat_f, flow))
            brought = np.minimum(flow, available_flow_cfm(unit, dsp))
            if duct.override_frac > 0.0:
                overridden = np.minimum(flow, available_flow_cfm(unit, np.array([float(duct.override_inwc)])))
                brought = (1.0 - duct.override_frac) * brought + duct.override_frac * overridden
            flow = brought
        out.append(flow)
    return out


def _runs(unit: Unit, c, rooms: Rooms, duct: NightDuct | None, here: slice):
    """Share of chosen hours that the fan runs to give rooms what they were given, its power and its heat, and the heat
    and cooling of all rooms. (R,) each [-, kW, kW, kBtu/h, kBtu/h]"""
    unit = unit.take(here)
    z = unit.zones
    heat, cool = rooms.heat[here], rooms.cool[here]
    of_hours = lambda values: values[here] if len(values) > 1 else values
    share = lambda q, cap: np.where(cap > 0.0, q / np.where(cap > 0.0, cap, 1.0), 0.0)
    r_heat, r_cool = share(heat, of_hours(rooms.heat_cap)), share(cool, of_hours(rooms.cool_cap))
    taken = r_heat * of_hours(rooms.heat_flow) + r_cool * of_hours(rooms.cool_flow)
    # The fan runs as long as the zone that calls longest, or longer where it cannot bring the air of all in that time.
    run = np.maximum(
        np.maximum(r_heat.max(axis=1), r_cool.max(axis=1)), np.minimum(taken @ z.multiplier / unit.max_cfm, 1.0)
    )
    # While it runs, flow is what the calling zones take on average over the run.
    each = taken / np.where(run > 0.0, run, 1.0)[:, None]
    flow = np.minimum(each @ z.multiplier, unit.max_cfm)
    fan_kw, fan_heat_kw = np.zeros(len(run)), np.zeros(len(run))
    runs = np.flatnonzero(run > 0.0)
    running = unit.take(runs)
    for part, dsp in _pressures(running, c.oat_f[here][runs], each[runs], duct):
        fan = fans.supply_fan(running, flow[runs], dsp, duct is not None and duct.resets_pressure)
        fan_kw[runs] += part * run[runs] * fan.kw
        fan_heat_kw[runs] += part * run[runs] * fan.heat_kw
    if unit.return_fan.type == "return":
        fan_kw[runs] += run[runs] * fans.secondary_fan_kw(running, flow[runs] * unit.return_fan.flow_frac)
    return run, fan_kw, fan_heat_kw, (heat @ z.multiplier) / 1000.0, (cool @ z.multiplier) / 1000.0


def _night_energy(unit: Unit, c, loads, rooms: Rooms, duct: NightDuct | None) -> NightBlock:
    """Fan, plant and heat source energy of what rooms were given."""
    central = supply_heating_mode(unit) == "hold"
    found = [_runs(unit, c, rooms, duct, here) for here in blocks(len(c.oat_f), len(unit.zones))]
    run, fan_kw, fan_heat_kw, heat_total, cool_total = (np.concatenate(same) for same in zip(*found, strict=True))
    fan_heat = fan_heat_kw * KBTU_PER_KWH
    heats = heat_total > cool_total
    from_plant = np.where(heats, np.maximum(heat_total - fan_heat, 0.0), heat_total)
    coil = np.where(
        cool_total > 0.0, (cool_total + np.where(heats, 0.0, fan_heat)) * (1.0 - free_cooling_frac(unit, c.oat_f)), 0.0
    )
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
    added = {
        name: heat_time
        * (getattr(source, name) + getattr(second, name) - getattr(idle, name) - getattr(idle_second, name))
        for name in ("electric_kw", "fuel_thermh", "purchased_kbtuh", "pump_kw")
    }
    plant = cooling_power(
        unit.cooling,
        unit.cooling_tons,
        coil / np.where(cool_time > 0.0, cool_time, 1.0),
        (coil > 0.0).astype(float),
        c.oat_f,
        c.oawb_f,
        entering_wb,
    )
    block = {
        "running_frac": run,
        "heat_kbtuh": heat_total,
        "cool_kbtuh": cool_total,
        "fan_kw": fan_kw,
        "cooling_kw": cool_time * plant.compressor_kw,
        "pump_tower_kw": cool_time * plant.pump_tower_kw + added["pump_kw"],
        "heating_kw": added["electric_kw"],
        "fuel_thermh": added["fuel_thermh"],
        "purchased_cooling_kbtuh": cool_time * plant.purchased_kbtuh,
        "purchased_heating_kbtuh": added["purchased_kbtuh"],
    }
    late = np.flatnonzero(rooms.late_heat.any(axis=1))
    block["late_heat_kbtuh"] = np.zeros(len(run))
    for here in blocks(len(late), len(unit.zones)):
        for name, values in _late_energy(unit, c, loads, rooms, late[here], duct).items():
            block[name][rooms.late_hours[late[here]]] += values
    return NightBlock(
        **block,
        start_miss_f=rooms.start_miss_f,
        lowest_f=rooms.lowest_f,
        starts=rooms.starts,
        late_cold_degree_hours=rooms.late_cold_degree_hours,
        late_cold_hours=rooms.late_cold_hours,
        cold_zone_hours=rooms.cold_zone_hours,
    )


def _setpoint_inwc(unit: Unit, duct: NightDuct, oat_f, zone_cfm):
    """Setpoint of duct pressure of rows, whose unit this is."""
    return duct.setpoint_inwc(oat_f, zone_cfm, unit) if unit.by_row else duct.setpoint_inwc(oat_f, zone_cfm)


def _pressures(unit: Unit, oat_f, zone_cfm, duct: NightDuct | None):
    """Duct pressures of given airflows of zones, each with its share of the time. [(share, (R,) in. w.c.)]"""
    if duct is None:
        return [(1.0, np.full(len(oat_f), float(unit.fan.design_dsp_inwc)))]
    rows = np.broadcast_to(_setpoint_inwc(unit, duct, oat_f, zone_cfm), np.shape(oat_f))
    if duct.override_frac <= 0.0:
        return [(1.0, rows)]
    return [(1.0 - duct.override_frac, rows), (duct.override_frac, np.full(len(oat_f), float(duct.override_inwc)))]


def _late_energy(unit: Unit, c, loads, rooms: Rooms, late, duct: NightDuct | None) -> dict[str, np.ndarray]:
    """What heat after the start of occupancy adds to the day's own, in some of the late hours by their place. (n,)
    each"""
    if len(late) == 0:
        return {}
    h = rooms.late_hours[late]
    unit = unit.take(h)
    z, oat = unit.zones, c.oat_f[h]
    enabled = heating_enabled(unit, oat, c.fan_on[h])
    day = own_day(unit, c.take(h), loads.take(h))
    heat, coil, own = (
        values @ z.multiplier / 1000.0 for values in (rooms.late_heat[late], rooms.late_coil[late], day.heat_btuh)
    )
    more, less = (sum_sources(heat_sources(unit, load, np.zeros(len(h)), enabled, oat)) for load in (own + coil, own))
    added = {name: more[name] - less[name] for name in more}
    fan_kw = np.zeros(len(h))
    if rooms.late_cfm[late].any():
        for sign, cfm in ((1.0, day.cfm + rooms.late_cfm[late]), (-1.0, day.cfm)):
            flow = np.minimum(cfm @ z.multiplier, unit.max_cfm)
            for part, dsp in _pressures(unit, oat, cfm, duct):
                fan_kw += sign * part * fans.supply_fan(unit, flow, dsp, duct is not None and duct.resets_pressure).kw
            if unit.return_fan.type == "return":
                fan_kw += sign * fans.secondary_fan_kw(unit, flow * unit.return_fan.flow_frac)
    return {
        "late_heat_kbtuh": heat,
        "heat_kbtuh": heat,
        "fan_kw": fan_kw,
        "pump_tower_kw": added["pump_kw"],
        "heating_kw": added["electric_kw"],
        "fuel_thermh": added["fuel_thermh"],
        "purchased_heating_kbtuh": added["purchased_kbtuh"],
    }


def sum_sources(both) -> dict[str, np.ndarray]:
    """Energies of two heat sources together."""
    return {
        name: getattr(both[0], name) + getattr(both[1], name)
        for name in ("electric_kw", "fuel_thermh", "purchased_kbtuh", "pump_kw")
    }


def running_share(run, load, capacity):
    """Share of the hour a plant works: that of the unit, or more where its capacity asks for it. (R,)"""
    needed = np.where(load > 0.0, load / np.maximum(capacity, 1e-9), 0.0)
    return np.where(load > 0.0, np.clip(np.maximum(run, needed), 0.0, 1.0), 0.0)
