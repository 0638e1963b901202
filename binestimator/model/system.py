"""The whole air handler in rows of conditions: setpoints in, energy out.

:func:`evaluate` runs zones, fan, mixing, moisture, coils and plant from left to right. Where
the supply temperature asked for cannot be held (cold mixed air without enough heat, or too
little cooling capacity) the zones are evaluated once more at the temperature that results.
"""

from __future__ import annotations

from dataclasses import dataclass, fields

import numpy as np

from ..moist_air import humidity_ratio_from_dewpoint, wetbulb_two_step_f
from ..units import BTU_PER_WH
from . import air_handler as ah
from . import fan as fans
from .loads import ZoneLoads
from .plant import HeatingPower, cooling_capacity_kbtuh, cooling_power, heating_power, preheat_source
from .terminals import ZoneState, requested_flow_cfm, zone_state
from .unit import Unit

# A supply temperature off its setpoint by less is held. [degF]
SAT_HELD_F = 1e-7
# Supply heating below this is rounding where mixed air just meets its target: no source starts for it. [kBtu/h]
LEAST_PREHEAT_KBTUH = 1e-6


@dataclass(frozen=True, slots=True, kw_only=True)
class RowState:
    """One candidate in R running rows; every field is an array (R,), rates per hour.

    Zone counts are already times the zones' multipliers. ``unserved_kbtuh`` is cooling that
    the plant could not give after the supply air had risen; ``preheat_kbtuh`` heat of the
    supply heating coil. See the nomenclature in the README for the rest.
    """

    sat_set_f: np.ndarray
    sat_f: np.ndarray
    dsp_set_inwc: np.ndarray
    dsp_inwc: np.ndarray
    requested_cfm: np.ndarray
    ceiling_frac: np.ndarray
    room_flow_cfm: np.ndarray
    leakage_cfm: np.ndarray
    flow_cfm: np.ndarray
    fan_total_inwc: np.ndarray
    fan_speed_frac: np.ndarray
    fan_kw: np.ndarray
    return_fan_kw: np.ndarray
    fan_rise_f: np.ndarray
    room_mean_f: np.ndarray
    rat_f: np.ndarray
    oa_min_frac: np.ndarray
    oa_frac: np.ndarray
    oa_cfm: np.ndarray
    mat_f: np.ndarray
    coil_leaving_f: np.ndarray
    coil_entering_f: np.ndarray
    coil_entering_wb_f: np.ndarray
    room_humidity_ratio: np.ndarray
    mixed_humidity_ratio: np.ndarray
    leaving_humidity_ratio: np.ndarray
    cooling_sensible_kbtuh: np.ndarray
    cooling_latent_kbtuh: np.ndarray
    cooling_kbtuh: np.ndarray
    cooling_capacity_kbtuh: np.ndarray
    unserved_kbtuh: np.ndarray
    preheat_kbtuh: np.ndarray
    reheat_kbtuh: np.ndarray
    heat_unserved_kbtuh: np.ndarray
    cooling_kw: np.ndarray
    pump_tower_kw: np.ndarray
    heating_kw: np.ndarray
    fuel_thermh: np.ndarray
    purchased_cooling_kbtuh: np.ndarray
    purchased_heating_kbtuh: np.ndarray
    electricity_kw: np.ndarray
    cost_usd_h: np.ndarray
    unmet_zones: np.ndarray
    unmet_degrees: np.ndarray
    cold_zones: np.ndarray
    starved_zones: np.ndarray
    ventilation_short_zones: np.ndarray
    reheating_zones: np.ndarray
    humid: np.ndarray
    airflow_ceiling: np.ndarray
    oa_short: np.ndarray
    economizing: np.ndarray
    minimum_speed: np.ndarray
    capacity_limited: np.ndarray
    freeze: np.ndarray
    low_flow: np.ndarray
    stage_cycling: np.ndarray

    def take(self, index) -> "RowState":
        return RowState(**{f.name: getattr(self, f.name)[index] for f in fields(self)})


@dataclass(frozen=True, slots=True, kw_only=True)
class _Pass:
    """What one pass through zones and air side found (arrays (R,) unless said)."""

    zones: ZoneState
    sat_f: np.ndarray
    dsp_inwc: np.ndarray
    fan: fans.FanState
    room_flow: np.ndarray
    leak: np.ndarray
    flow: np.ndarray
    return_kw: np.ndarray
    rise_f: np.ndarray
    room_mean_f: np.ndarray
    rat_f: np.ndarray
    oa_min_frac: np.ndarray
    mixed: ah.MixedAir
    preheat_btuh: np.ndarray
    entering_f: np.ndarray
    leaving_f: np.ndarray
    wet: ah.Moisture
    entering_wb_f: np.ndarray
    sensible_btuh: np.ndarray
    latent_btuh: np.ndarray
    capacity_btuh: np.ndarray


def heating_enabled(unit: Unit, oat_f, fan_on):
    """Whether the heating plant of the terminals is enabled. (R,) 0/1"""
    if unit.heating.type == "none":
        return np.zeros(np.shape(oat_f))
    running = np.ones(np.shape(oat_f)) if unit.heating.enabled_unoccupied else np.asarray(fan_on, dtype=float)
    return running * (np.asarray(oat_f) < unit.heating.enabled_below_f)


def _one_pass(unit: Unit, c, loads: ZoneLoads, sat_f, dsp_set, resets_pressure, reheat_on, held_by_mixing, oa_least_cfm=None) -> _Pass:
    """Zones and air side at a supply air temperature.

    ``held_by_mixing`` (R,) bool marks rows whose supply temperature is the one that the
    mixed air itself gives (nothing else acts): there the outdoor-air share is the one that
    closes the balance, a hair off its minimum.
    """
    z = unit.zones
    fs, fl = loads.fs, loads.fl
    requested = requested_flow_cfm(unit, loads, sat_f, reheat_on)
    wanted = requested @ z.multiplier
    ceiling_cfm = np.maximum(unit.max_cfm - fans.leakage_cfm(unit, dsp_set), 0.0)
    ceiling = np.minimum(1.0, ceiling_cfm / np.where(wanted > 0.0, wanted, 1.0))
    expected = wanted * ceiling + fans.leakage_cfm(unit, dsp_set)
    dsp = fans.standing_dsp_inwc(unit, expected, dsp_set)
    zones = zone_state(unit, loads, sat_f, dsp, requested, ceiling, reheat_on)

    room_flow = zones.flow_cfm @ z.multiplier
    leak = fans.leakage_cfm(unit, dsp)
    flow = room_flow + leak
    safe = np.where(flow > 0.0, flow, 1.0)
    # The fan sees what really flows; starved zones can leave it a little above its setpoint.
    fan = fans.supply_fan(unit, flow, dsp_set, resets_pressure)
    rise = fans.temperature_rise_f(fan.heat_kw, flow, fs)
    return_kw = fans.secondary_fan_kw(unit, flow * unit.return_fan.flow_frac) if unit.return_fan.type == "return" else np.zeros_like(flow)

    # Return air: rooms, leaked supply air, plenum lights, return fan; duct gain taken from
    # the plenum comes off again here.
    gain_f = unit.air_handler.duct_gain_f
    room_sum = (zones.flow_cfm * zones.room_f) @ z.multiplier
    room_mean = np.where(room_flow > 0.0, room_sum / np.where(room_flow > 0.0, room_flow, 1.0), np.nan)
    duct_taken = room_flow * gain_f if unit.air_handler.duct_gain_from == "plenum" else 0.0
    rat = np.where(
        flow > 0.0,
        (room_sum + leak * sat_f - duct_taken) / safe
        + (loads.plenum_btuh / fs) / safe
        + fans.temperature_rise_f(return_kw, flow, fs),
        sat_f)

    draw = unit.fan.arrangement == "draw_through"
    leaving = sat_f - rise if draw else sat_f
    target = sat_f - rise  # mixed air that needs no coil, either way
    before = 0.0 if draw else rise  # warming between mixing box and coil
    oa_min = ah.minimum_oa_frac(unit, flow, c.occupied, loads.oa_people_cfm, oa_least_cfm)
    least = None if oa_least_cfm is None else np.minimum(oa_least_cfm / safe, unit.outdoor_air.maximum_frac)
    eco = unit.economizer
    if eco.type in ("differential_enthalpy",) and eco.stuck_frac is None:
        tm0 = rat + oa_min * (c.oat_f - rat)
        at_minimum = ah.moisture(unit, fl, flow, loads.infiltration_cfm, oa_min, c.humidity_ratio, loads.latent_btuh,
                                 np.maximum(tm0 + before, leaving), leaving, c.pressure_psia)
        return_w = at_minimum.room
    else:
        return_w = c.humidity_ratio
    allowed = ah.economizer_allowed(unit, c.oat_f, c.humidity_ratio, rat, return_w)
    mixed = ah.mix(unit, allowed, oa_min, c.oat_f, rat, target, least)
    if held_by_mixing.any():
        gap = rat - c.oat_f
        x = np.where(held_by_mixing & (np.abs(gap) > 1e-9), (rat - target) / np.where(np.abs(gap) > 1e-9, gap, 1.0), mixed.oa_frac)
        x = np.where(held_by_mixing, np.clip(x, 0.0, 1.0), mixed.oa_frac)
        mixed = ah.MixedAir(oa_frac=x, mat_f=rat + x * (c.oat_f - rat), economizing=mixed.economizing)

    short_f = target - mixed.mat_f
    preheat = fs * flow * np.maximum(short_f, 0.0)
    entering = np.maximum(mixed.mat_f, target) + before
    drying = np.ones_like(flow)
    args = (unit, fl, flow, loads.infiltration_cfm, mixed.oa_frac, c.humidity_ratio, loads.latent_btuh, entering, leaving, c.pressure_psia)
    wet = ah.moisture(*args)
    wb = wetbulb_two_step_f(entering, wet.mixed, c.pressure_psia)
    capacity = 1000.0 * cooling_capacity_kbtuh(unit.cooling, unit.cooling_tons, c.oat_f, c.oawb_f, wb)
    sensible = fs * flow * (entering - leaving)
    latent = fl * flow * (wet.mixed - wet.leaving)
    if unit.cooling.type == "direct_expansion" and unit.cooling.cycling_drying_loss_frac > 0.0:
        first_stage = capacity / unit.cooling.stages
        run = np.where(first_stage > 0.0, np.clip((sensible + latent) / np.where(first_stage > 0.0, first_stage, 1.0), 0.0, 1.0), 0.0)
        drying = 1.0 - unit.cooling.cycling_drying_loss_frac * (1.0 - run)
        wet = ah.moisture(*args, drying)
        latent = fl * flow * (wet.mixed - wet.leaving)
    return _Pass(
        zones=zones, sat_f=sat_f, dsp_inwc=dsp, fan=fan, room_flow=room_flow, leak=leak, flow=flow,
        return_kw=return_kw, rise_f=rise, room_mean_f=room_mean, rat_f=rat, oa_min_frac=oa_min, mixed=mixed,
        preheat_btuh=preheat, entering_f=entering, leaving_f=leaving, wet=wet, entering_wb_f=wb,
        sensible_btuh=sensible, latent_btuh=latent, capacity_btuh=capacity)


def supply_heating_mode(unit: Unit) -> str:
    """``air_handler.supply_heating``, or ``none`` where the coil has no source of heat."""
    if unit.preheat.type == "same" and unit.heating.type == "none":
        return "none"
    return unit.air_handler.supply_heating


def resulting_sat_f(unit: Unit, fs, sat_set_f, first: _Pass):
    """Supply air temperature that really results from a setpoint.

    Falls below the setpoint where mixed air is colder and is not heated enough; rises above
    it where the cooling load exceeds what the plant can give, by the missing sensible part.

    Returns
    -------
    sat_f, floats_low, floats_high : ndarray (R,)
    """
    target = sat_set_f - first.rise_f
    cold = first.mixed.mat_f < target
    mode = supply_heating_mode(unit)
    if mode == "hold":
        floor = target
    elif mode == "own_setpoint":
        floor = np.minimum(target, np.maximum(first.mixed.mat_f, unit.air_handler.supply_heating_setpoint_f))
    else:
        floor = np.minimum(target, first.mixed.mat_f)
    low = cold & (floor < target - SAT_HELD_F)
    load = first.sensible_btuh + first.latent_btuh
    excess = load - first.capacity_btuh
    high = excess > 1e-6 * np.maximum(load, 1.0)
    share = np.where(load > 0.0, first.sensible_btuh / np.where(load > 0.0, load, 1.0), 1.0)
    lost = np.where(high, excess * share / (fs * np.where(first.flow > 0.0, first.flow, 1.0)), 0.0)
    sat = np.where(low, floor + first.rise_f, sat_set_f + lost)
    return sat, low, high & ~low


def evaluate(unit: Unit, conditions, loads: ZoneLoads, sat_set_f, dsp_set_inwc, *, resets_pressure=True, oa_least_cfm=None) -> RowState:
    """Energy, temperatures and counts of every running row.

    Parameters
    ----------
    unit : Unit
    conditions : Conditions, R rows with ``fan_on`` = 1
    loads : ZoneLoads
        From ``zone_loads(unit, conditions)``.
    sat_set_f, dsp_set_inwc : ndarray (R,)
        Setpoints of the candidate. [degF, in. w.c.]
    resets_pressure : bool
        Which published fan curve applies, if those are used.
    oa_least_cfm : ndarray (R,), optional
        Raises the minimum outdoor air of a row to this airflow; the economizer adds nothing to it. [cfm]

    Returns
    -------
    RowState
    """
    c = conditions
    sat_set = np.broadcast_to(np.asarray(sat_set_f, dtype=float), c.oat_f.shape)
    dsp_set = np.broadcast_to(np.asarray(dsp_set_inwc, dtype=float), c.oat_f.shape)
    enabled = heating_enabled(unit, c.oat_f, c.fan_on)
    nothing = np.zeros(c.oat_f.shape, dtype=bool)
    first = _one_pass(unit, c, loads, sat_set, dsp_set, resets_pressure, enabled, nothing, oa_least_cfm)
    sat, low, high = resulting_sat_f(unit, loads.fs, sat_set, first)
    moved = low | high
    state = _finish(unit, c, loads, sat_set, dsp_set, first, enabled, high)
    if not moved.any():
        return state
    rows = np.flatnonzero(moved)
    sub = c.take(rows)
    by_mixing = low[rows] & (supply_heating_mode(unit) == "none")
    again = _one_pass(unit, sub, loads.take(rows), sat[rows], dsp_set[rows], resets_pressure, enabled[rows], by_mixing,
                      None if oa_least_cfm is None else oa_least_cfm[rows])
    fixed = _finish(unit, sub, loads.take(rows), sat_set[rows], dsp_set[rows], again, enabled[rows], high[rows])
    merged = {}
    for f in fields(RowState):
        whole = np.array(getattr(state, f.name))
        whole[rows] = getattr(fixed, f.name)
        merged[f.name] = whole
    return RowState(**merged)


def _finish(unit: Unit, c, loads: ZoneLoads, sat_set, dsp_set, p: _Pass, enabled, short_of_cooling) -> RowState:
    """Plant, cost and counts of a pass."""
    z = unit.zones
    mult = z.multiplier
    load = np.maximum(p.sensible_btuh + p.latent_btuh, 0.0)
    served = np.minimum(load, p.capacity_btuh)
    running = np.ones_like(load)
    cool = cooling_power(unit.cooling, unit.cooling_tons, served / 1000.0, running, c.oat_f, c.oawb_f, p.entering_wb_f)
    reheat = (p.zones.reheat_btuh @ mult) / 1000.0
    preheat = p.preheat_btuh / 1000.0
    heat, preheat_source = heat_sources(unit, reheat, preheat, enabled, c.oat_f)
    relief_kw = (fans.secondary_fan_kw(unit, np.maximum(p.mixed.oa_frac * p.flow, 0.0))
                 if unit.return_fan.type == "relief" else p.return_kw)
    heating_kw = heat.electric_kw + preheat_source.electric_kw
    pump_kw = cool.pump_tower_kw + heat.pump_kw + preheat_source.pump_kw
    fuel = heat.fuel_thermh + preheat_source.fuel_thermh
    bought_heat = heat.purchased_kbtuh + preheat_source.purchased_kbtuh
    electricity = p.fan.kw + relief_kw + cool.compressor_kw + pump_kw + heating_kw
    prices = unit.prices
    cost = (electricity * prices.electricity_usd_kwh + fuel * prices.fuel_usd_therm
            + cool.purchased_kbtuh * prices.cooling_usd_kbtu + bought_heat * prices.heat_usd_kbtu)

    tolerance = unit.service.unmet_tolerance_f
    over = np.maximum(p.zones.room_f - loads.cool_f - tolerance, 0.0)
    limit_w = humidity_ratio_from_dewpoint(unit.air_handler.humid_dewpoint_f, c.pressure_psia)
    oa_cfm = p.mixed.oa_frac * p.flow
    dx = unit.cooling.type == "direct_expansion"
    return RowState(
        sat_set_f=sat_set, sat_f=p.sat_f, dsp_set_inwc=dsp_set, dsp_inwc=p.fan.dsp_inwc,
        requested_cfm=p.zones.requested_cfm @ mult, ceiling_frac=p.zones.ceiling_frac,
        room_flow_cfm=p.room_flow, leakage_cfm=p.leak, flow_cfm=p.flow,
        fan_total_inwc=p.fan.total_inwc, fan_speed_frac=p.fan.speed_frac, fan_kw=p.fan.kw,
        return_fan_kw=relief_kw, fan_rise_f=p.rise_f, room_mean_f=p.room_mean_f, rat_f=p.rat_f,
        oa_min_frac=p.oa_min_frac, oa_frac=p.mixed.oa_frac, oa_cfm=oa_cfm, mat_f=p.mixed.mat_f,
        coil_leaving_f=p.leaving_f, coil_entering_f=p.entering_f, coil_entering_wb_f=p.entering_wb_f,
        room_humidity_ratio=p.wet.room, mixed_humidity_ratio=p.wet.mixed, leaving_humidity_ratio=p.wet.leaving,
        cooling_sensible_kbtuh=p.sensible_btuh / 1000.0, cooling_latent_kbtuh=p.latent_btuh / 1000.0,
        cooling_kbtuh=load / 1000.0, cooling_capacity_kbtuh=p.capacity_btuh / 1000.0,
        unserved_kbtuh=(load - served) / 1000.0, preheat_kbtuh=preheat, reheat_kbtuh=reheat,
        heat_unserved_kbtuh=heat.unserved_kbtuh + preheat_source.unserved_kbtuh,
        cooling_kw=cool.compressor_kw, pump_tower_kw=pump_kw, heating_kw=heating_kw, fuel_thermh=fuel,
        purchased_cooling_kbtuh=cool.purchased_kbtuh, purchased_heating_kbtuh=bought_heat,
        electricity_kw=electricity, cost_usd_h=cost,
        unmet_zones=(over > 0.0) @ mult, unmet_degrees=over @ mult,
        cold_zones=(p.zones.room_f < loads.heat_f - tolerance) @ mult,
        starved_zones=p.zones.starved @ mult, ventilation_short_zones=p.zones.ventilation_short @ mult,
        reheating_zones=(p.zones.reheat_btuh > 0.0) @ mult,
        humid=((p.wet.room > limit_w) & (c.occupied > 0.0)).astype(float),
        airflow_ceiling=(p.zones.ceiling_frac < 1.0).astype(float),
        # Where supply air floats the share is a hair off its minimum to close the row: that is no shortage.
        oa_short=(np.maximum(p.mixed.oa_frac, np.where(p.sat_f < sat_set - SAT_HELD_F, p.oa_min_frac, 0.0)) * p.flow
                  < 0.98 * ah.required_oa_cfm(unit, c.occupied, loads.oa_people_cfm)).astype(float),
        economizing=p.mixed.economizing.astype(float), minimum_speed=p.fan.at_minimum.astype(float),
        capacity_limited=short_of_cooling.astype(float),
        freeze=(p.mixed.mat_f < unit.air_handler.freeze_limit_f).astype(float),
        low_flow=((p.flow < unit.cooling.dx_minimum_flow_frac * unit.design_cfm) & (load > 0.0)).astype(float) if dx else np.zeros_like(load),
        stage_cycling=((load > 0.0) & (load < p.capacity_btuh / unit.cooling.stages)).astype(float) if dx else np.zeros_like(load),
    )


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
    return (heating_power(unit.heating, unit.heating_kbtuh, reheat_kbtuh, enabled, oat_f),
            heating_power(preheat_source(unit.preheat, unit.heating), unit.preheat_kbtuh, preheat_kbtuh, preheats, oat_f))


def zones_of(unit: Unit, conditions, loads: ZoneLoads, state: RowState) -> ZoneState:
    """Zone by zone what stands behind evaluated rows (not kept, to save memory)."""
    enabled = heating_enabled(unit, conditions.oat_f, conditions.fan_on)
    requested = requested_flow_cfm(unit, loads, state.sat_f, enabled)
    expected = state.requested_cfm * state.ceiling_frac + fans.leakage_cfm(unit, state.dsp_set_inwc)
    dsp = fans.standing_dsp_inwc(unit, expected, state.dsp_set_inwc)
    return zone_state(unit, loads, state.sat_f, dsp, requested, state.ceiling_frac, enabled)


def balance_error_btuh(unit: Unit, conditions, loads: ZoneLoads, state: RowState):
    """Heat balance of rooms, plenum and air handler, from reported columns. [Btu/h] (R,)

    Gains of rooms and plenum, fans, coils, outdoor air and duct gain from outside must sum
    to nothing; independent of how the row was computed. Needs the zones' temperatures, so it
    evaluates the terminals again at the reported supply temperature and duct pressure.
    """
    z = unit.zones
    zones = zones_of(unit, conditions, loads, state)
    envelope = (loads.gains_btuh + loads.ua_btuh_f * (conditions.oat_f[:, None] - zones.room_f)) @ z.multiplier
    outside_duct = 0.0
    if unit.air_handler.duct_gain_from == "outside":
        outside_duct = loads.fs * state.room_flow_cfm * unit.air_handler.duct_gain_f
    fan_heat = loads.fs * state.flow_cfm * state.fan_rise_f
    return_heat = 1000.0 * BTU_PER_WH * state.return_fan_kw if unit.return_fan.type == "return" else 0.0
    outdoor = loads.fs * state.oa_frac * state.flow_cfm * (conditions.oat_f - state.rat_f)
    return (envelope + loads.plenum_btuh + outside_duct + fan_heat + return_heat + outdoor
            + 1000.0 * (state.reheat_kbtuh + state.preheat_kbtuh - state.cooling_sensible_kbtuh))


def moisture_error_btuh(unit: Unit, conditions, loads: ZoneLoads, state: RowState):
    """Moisture balance of rooms and coil from reported columns, as latent heat. [Btu/h] (R,)"""
    exchange = loads.fl * (state.oa_frac * state.flow_cfm + loads.infiltration_cfm)
    return (loads.latent_btuh + exchange * (conditions.humidity_ratio - state.room_humidity_ratio)
            - 1000.0 * state.cooling_latent_kbtuh)
