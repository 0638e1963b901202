"""Rows from left to right: zones, fan, mixing, moisture, coils and plant; energy and cost."""

from __future__ import annotations

from dataclasses import fields

import numpy as np

from ...end_uses import ELECTRIC_RATES, cost_rate_usd_h
from ...moist_air import humidity_ratio_from_dewpoint
from ...rates import prices_at
from .. import air_handler as ah
from .. import fan as fans
from ..loads import ZoneLoads
from ..plant import HeatingPower, cooling_power, heating_power, preheat_source
from ..terminals import ZoneState, requested_flow_cfm, zone_state
from ..unit import Unit
from .air import LEAST_COOLING_BTUH, heating_enabled, mixed_air, rationed_air
from .coils import (
    CAPACITY_SLACK_FRAC,
    LEAST_PREHEAT_KBTUH,
    UNSERVED_FRAC,
    closed_coils,
    coils_of,
    short_f,
    supply_heating_mode,
)
from .floats import Floating, _Moved, floats_down, floats_up
from .states import Air, Coils, RowState, ZoneSums, not_worked_out, zone_sums

# A supply temperature off its setpoint by less is held. [degF]
SAT_HELD_F = 1e-7


def evaluate(
    unit: Unit,
    conditions,
    loads: ZoneLoads,
    sat_set_f,
    dsp_set_inwc,
    *,
    resets_pressure=True,
    dsp_of_sat=None,
    oa_least_cfm=None,
    floating: Floating | None = None,
) -> RowState:
    """Energy, temperatures and counts of every running row.

    Parameters
    ----------
    unit : Unit
    conditions : Conditions, R rows with ``fan_on`` = 1
    loads : ZoneLoads
        From ``zone_loads(unit, conditions)``.
    sat_set_f, dsp_set_inwc : ndarray (R,)
        Setpoints of the candidate; pressure as it is at ``sat_set_f``. [degF, in. w.c.]
    resets_pressure : bool
        Which published fan curve applies, if those are used.
    dsp_of_sat : callable, optional
        Duct pressure setpoint (R,) for ``(conditions, loads, sat_f)``: what the pressure strategy
        asks where the supply air floats to another temperature. Without it the setpoint holds. Of a unit whose numbers
        differ by row it gets that of these rows as well.
    oa_least_cfm : ndarray (R,), optional
        Outdoor air below which the minimum does not go, whatever its control: raises the minimum of
        a modulating or stuck damper, up to its largest share, and leaves the economizer as it is. [cfm]
    floating : Floating, optional
        Filled with the temperatures found, and read where they are known: only for the same unit, rows and
        pressure strategy.

    Returns
    -------
    RowState
    """
    c = conditions
    shape = c.oat_f.shape
    sat_set = np.broadcast_to(np.asarray(sat_set_f, dtype=float), shape)
    dsp_set = np.broadcast_to(np.asarray(dsp_set_inwc, dtype=float), shape)
    least = None if oa_least_cfm is None else np.broadcast_to(np.asarray(oa_least_cfm, dtype=float), shape)
    enabled = heating_enabled(unit, c.oat_f, c.fan_on)
    air = rationed_air(unit, c, loads, sat_set, dsp_set, resets_pressure, enabled, least)
    coils = coils_of(unit, c, loads, air, mixed_air(unit, c, loads, air, least))
    none = np.zeros(shape, dtype=bool)
    low = none if supply_heating_mode(unit) == "hold" else short_f(unit, air, coils.mixed.mat_f) < -SAT_HELD_F
    load = coils.sensible_btuh + coils.latent_btuh
    high = ~low & (load - coils.capacity_btuh > CAPACITY_SLACK_FRAC * np.maximum(load, 1.0))
    state = finished(unit, c, loads, sat_set, air, coils, enabled, none)
    moved = low | high
    if not moved.any():
        return state
    rows = np.flatnonzero(moved)
    high = high[rows]
    some = _Moved(
        unit=unit.take(rows),
        conditions=c.take(rows),
        loads=loads.take(rows),
        dsp_set=dsp_set[rows],
        dsp_of_sat=dsp_of_sat,
        resets_pressure=resets_pressure,
        enabled=enabled[rows],
        oa_least_cfm=None if least is None else least[rows],
    )
    floating = Floating(len(sat_set)) if floating is None else floating
    sat = np.array(sat_set[rows])
    for which, known in ((~high, floating.low_f), (high, floating.high_f)):
        new = np.flatnonzero(which & np.isnan(known[rows]))
        if new.size:
            find = floats_down if known is floating.low_f else floats_up
            known[rows[new]] = find(some.take(new))
        limit = np.minimum if known is floating.low_f else np.maximum
        sat = np.where(which, limit(sat, known[rows]), sat)
    air = some.air(sat)
    coils = closed_coils(
        some.unit,
        some.conditions,
        some.loads,
        air,
        mixed_air(some.unit, some.conditions, some.loads, air, some.oa_least_cfm),
        high,
    )
    fixed = finished(some.unit, some.conditions, some.loads, sat_set[rows], air, coils, enabled[rows], high)
    merged = {}
    for f in fields(RowState):
        whole = getattr(state, f.name)
        if unit.counts or whole.strides != (0,):  # what is not worked out stays so
            whole = np.array(whole)
            whole[rows] = getattr(fixed, f.name)
        merged[f.name] = whole
    return RowState(**merged)


def finished(unit: Unit, c, loads: ZoneLoads, sat_set, a: Air, p: Coils, enabled, short_of_cooling) -> RowState:
    """Plant, cost and counts of rows."""
    zones = a.zones if isinstance(a.zones, ZoneSums) else zone_sums(unit, loads, a.zones)
    # What the plant cannot give is no load of the coil: it has a column of its own.
    excess = p.sensible_btuh + p.latent_btuh - p.capacity_btuh
    unserved = np.where(excess > UNSERVED_FRAC * np.maximum(p.sensible_btuh + p.latent_btuh, 1.0), excess, 0.0)
    sensible = p.sensible_btuh - unserved
    served = load = np.maximum(sensible + p.latent_btuh, 0.0)
    running = np.ones_like(load)
    cool = cooling_power(unit.cooling, unit.cooling_tons, served / 1000.0, running, c.oat_f, c.oawb_f, p.entering_wb_f)
    reheat = zones.reheat_btuh / 1000.0
    preheat = p.preheat_btuh / 1000.0
    heat, preheat_source = heat_sources(unit, reheat, preheat, enabled, c.oat_f)
    relief_kw = (
        fans.secondary_fan_kw(unit, np.maximum(p.mixed.oa_frac * a.flow, 0.0))
        if unit.return_fan.type == "relief"
        else a.return_kw
    )
    rates = {
        "fan_kw": a.fan.kw,
        "return_fan_kw": relief_kw,
        "cooling_kw": cool.compressor_kw,
        "pump_tower_kw": cool.pump_tower_kw + heat.pump_kw + preheat_source.pump_kw,
        "heating_kw": heat.electric_kw + preheat_source.electric_kw,
        "fuel_thermh": heat.fuel_thermh + preheat_source.fuel_thermh,
        "purchased_cooling_kbtuh": cool.purchased_kbtuh,
        "purchased_heating_kbtuh": heat.purchased_kbtuh + preheat_source.purchased_kbtuh,
    }
    oa_cfm = p.mixed.oa_frac * a.flow
    if unit.counts:
        counted = {
            "electricity_kw": sum(rates[name] for name in ELECTRIC_RATES),
            "cost_usd_h": cost_rate_usd_h(rates, prices_at(unit.prices, c.rate_period)),
            **_marks(unit, c, loads, a, p, load, oa_cfm),
        }
    else:
        counted = dict.fromkeys(_COUNTED_ROWS, not_worked_out(len(load)))
    return RowState(
        sat_set_f=sat_set,
        sat_f=a.sat_f,
        dsp_set_inwc=a.dsp_set_inwc,
        dsp_inwc=a.fan.dsp_inwc,
        dsp_held_inwc=a.dsp_held_inwc,
        requested_cfm=zones.requested_cfm,
        ceiling_frac=a.ceiling_frac,
        room_flow_cfm=a.room_flow,
        leakage_cfm=a.leak,
        flow_cfm=a.flow,
        fan_total_inwc=a.fan.total_inwc,
        fan_speed_frac=a.fan.speed_frac,
        fan_rise_f=a.rise_f,
        room_mean_f=a.room_mean_f,
        rat_f=a.rat_f,
        oa_min_frac=a.oa_min_frac,
        oa_frac=p.mixed.oa_frac,
        oa_cfm=oa_cfm,
        mat_f=p.mixed.mat_f,
        coil_leaving_f=p.leaving_f,
        coil_entering_f=p.entering_f,
        coil_entering_wb_f=p.entering_wb_f,
        room_humidity_ratio=p.wet.room,
        mixed_humidity_ratio=p.wet.mixed,
        leaving_humidity_ratio=p.wet.leaving,
        cooling_sensible_kbtuh=sensible / 1000.0,
        cooling_latent_kbtuh=p.latent_btuh / 1000.0,
        cooling_kbtuh=load / 1000.0,
        cooling_capacity_kbtuh=p.capacity_btuh / 1000.0,
        unserved_kbtuh=unserved / 1000.0,
        preheat_kbtuh=preheat,
        reheat_kbtuh=reheat,
        heat_unserved_kbtuh=heat.unserved_kbtuh + preheat_source.unserved_kbtuh,
        **rates,
        unmet_zones=zones.unmet_zones,
        unmet_degrees=zones.unmet_degrees,
        cold_zones=zones.cold_zones,
        starved_zones=zones.starved_zones,
        ventilation_short_zones=zones.ventilation_short_zones,
        reheating_zones=zones.reheating_zones,
        airflow_ceiling=a.at_ceiling.astype(float),
        capacity_limited=short_of_cooling.astype(float),
        **counted,
    )


#: What of rows is counted, and what follows from their rates: left out of a unit without counts.
_COUNTED_ROWS = (
    "electricity_kw", "cost_usd_h", "humid", "oa_short", "economizing", "minimum_speed", "freeze", "low_flow",
    "stage_cycling", "cold_dx", "economizer_cooling",
)  # fmt: skip


def _marks(unit: Unit, c, loads: ZoneLoads, a: Air, p: Coils, load_btuh, oa_cfm) -> dict[str, np.ndarray]:
    """1 in rows that are to be counted, by the name of the count, else 0. (R,) each"""
    limit_w = humidity_ratio_from_dewpoint(unit.air_handler.humid_dewpoint_f, c.pressure_psia)
    cooling, load = unit.cooling, load_btuh
    marks = {
        "humid": (p.wet.room > limit_w) & (c.occupied > 0.0),
        "oa_short": oa_cfm < 0.98 * ah.required_oa_cfm(unit, c.occupied, loads.oa_people_cfm),
        "economizing": p.mixed.economizing,
        "minimum_speed": a.fan.at_minimum,
        "freeze": p.mixed.mat_f < unit.air_handler.freeze_limit_f,
        "economizer_cooling": p.mixed.economizing & (load > LEAST_COOLING_BTUH),
    }
    none = np.zeros(load.shape, dtype=bool)
    marks |= dict.fromkeys(("low_flow", "stage_cycling", "cold_dx"), none)
    if cooling.type == "direct_expansion":
        marks |= {
            "low_flow": (a.flow < cooling.dx_minimum_flow_frac * unit.design_cfm) & (load > 0.0),
            "stage_cycling": (load > 0.0) & (load < p.capacity_btuh / cooling.stages),
            "cold_dx": (a.sat_f < cooling.dx_minimum_sat_f) & (load > LEAST_COOLING_BTUH),
        }
    return {name: np.asarray(mark).astype(float) for name, mark in marks.items()}


def heat_sources(unit: Unit, reheat_kbtuh, preheat_kbtuh, enabled, oat_f):
    """Energy of reheat and supply heating at their sources.

    One source for both when ``preheat.type = same``; else two, each with its own load.

    Returns
    -------
    HeatingPower of the terminals' source (with supply heating when shared), and of the
    supply heating source (nothing when shared).
    """
    preheats = (preheat_kbtuh > LEAST_PREHEAT_KBTUH).astype(float)
    if unit.preheat.type == "same":
        active = np.maximum(enabled, preheats)
        both = heating_power(unit.heating, unit.heating_kbtuh, reheat_kbtuh + preheat_kbtuh, active, oat_f)
        nothing = np.zeros(np.shape(reheat_kbtuh))
        return both, HeatingPower(nothing, nothing, nothing, nothing, nothing)
    return (
        heating_power(unit.heating, unit.heating_kbtuh, reheat_kbtuh, enabled, oat_f),
        heating_power(preheat_source(unit.preheat, unit.heating), unit.preheat_kbtuh, preheat_kbtuh, preheats, oat_f),
    )


def zones_of(unit: Unit, conditions, loads: ZoneLoads, state: RowState) -> ZoneState:
    """Zone by zone what evaluated rows are made of (not kept, to save memory)."""
    enabled = heating_enabled(unit, conditions.oat_f, conditions.fan_on)
    requested = requested_flow_cfm(unit, loads, state.sat_f, enabled)
    return zone_state(unit, loads, state.sat_f, state.dsp_held_inwc, requested, enabled)
