"""The estimate: a project and a typical year in, results out.

No files, no printing, no clock. The same functions run on the hours of the year (the audit,
and all counts shown to people) and on the bin rows (the annual figures).
"""

from __future__ import annotations

import hashlib
from dataclasses import dataclass, fields, replace

import numpy as np
import pandas as pd

from . import __version__
from .bins import EXACT_TOLERANCE, RowSelection, bin_table, group_keys, mean_rows, row_table
from .checks import run_checks, worst_bin_errors
from .climate import climate_of
from .end_uses import ELECTRIC, ELECTRICITY_KEY, END_USES, ENERGY_KEYS
from .errors import Finding, InputError
from .hours import Conditions, build_conditions
from .model.air_handler import required_oa_cfm
from .model.build import build_unit
from .model.fan import fan_power_at
from .model.loads import ZoneLoads, zone_loads
from .model.night import NightBlock, NightDuct, run_nights
from .model.plant import cooling_capacity_kbtuh
from .model.system import RowState, evaluate, heat_sources, heating_enabled, zones_of
from .model.terminals import cooling_flow_cfm, heating_need_btuh, requested_flow_cfm
from .model.unit import Sizes, Unit
from .money import annual_cost_usd, simple_payback_years
from .results import (
    ANNUAL_KEYS,
    SAVING_KEYS,
    CandidateResult,
    CandidateRun,
    Held,
    Interaction,
    Results,
    RowChoice,
    overrides_key,
)
from .selection import choose_rows, end_use_costs
from .service import (
    FAILURES,
    ZONE_DEPTHS,
    Yardstick,
    failing,
    judge,
    judge_baseline,
    rises,
    service_figures,
    zone_depths,
)
from .strategies.choose import (
    Setpoints,
    at_dsp_ends,
    dsp_of_sat,
    dsp_setpoint_inwc,
    night_dsp_inwc,
    resets_pressure,
    setpoints,
)
from .strategies.cost_optimal import SERVED_TOLERANCE
from .strategies.cost_optimal import search as search_sat
from .strategies.demand import pressure_thresholds_inwc, temperature_thresholds_f
from .strategies.limits import sat_limits
from .strategies.registry import sat_strategy, strategies_of

# Motor sizes that are made, hp (NEMA MG 1 standard ratings, from memory).
MOTOR_SIZES_HP = (
    1,
    1.5,
    2,
    3,
    5,
    7.5,
    10,
    15,
    20,
    25,
    30,
    40,
    50,
    60,
    75,
    100,
    125,
    150,
    200,
    250,
    300,
    400,
    500,
    600,
    700,
    800,
    900,
    1000,
)
MOTOR_MARGIN = 1.1
# A terminal is not made smaller. [cfm]
LEAST_TERMINAL_CFM = 30.0
# Duct pressures above the least that a perfect reset tries, evenly up to the highest.
BOUND_STEPS = 3
# Cooling capacity at which sizing finds no limit. [ton]
UNLIMITED_TONS = 1.0e6
# Outdoor air missing by less is rounding. [cfm]
OA_ROUNDING_CFM = 1e-6
# Heating capacity at which sizing finds no limit; finite, since losses are a share of it. [kBtu/h]
UNLIMITED_KBTUH = 1.0e9


@dataclass(frozen=True, slots=True, kw_only=True)
class Part:
    """A share of the running time of a candidate under one pair of setpoints."""

    share: float
    setpoints: Setpoints
    state: RowState


@dataclass(frozen=True, slots=True, kw_only=True)
class Rows:
    """Rows of conditions split into running and off ones, with the loads of the running ones."""

    conditions: Conditions
    running: np.ndarray
    on: Conditions
    loads: ZoneLoads

    @classmethod
    def of(cls, unit: Unit, conditions: Conditions) -> Rows:
        running = np.flatnonzero(conditions.fan_on > 0.0)
        on = conditions.take(running)
        return cls(conditions=conditions, running=running, on=on, loads=zone_loads(unit, on))


# --- sizing -------------------------------------------------------------------------------


def motor_size_hp(bhp: float) -> float:
    """Smallest made motor with 10 % margin over the power at design. [hp]"""
    needed = bhp * MOTOR_MARGIN
    for size in MOTOR_SIZES_HP:
        if size >= needed:
            return float(size)
    return float(np.ceil(needed / 100.0) * 100.0)


def size_unit(project, conditions: Conditions) -> Sizes:
    """Sizes that were not given, from the hours of the file and the baseline's setpoints.

    Terminals: largest hourly need at the design supply temperature in occupied hours with all
    internal gains fully on, times ``zone_sizing_factor``, at least the zone's outdoor air. Fan: largest sum of what
    zones ask for at the design supply temperature, with leakage. Reheat coils and heat sources: largest hourly need
    times ``heating.sizing_factor``; cooling: largest hourly coil load of the baseline over capacity at those
    conditions, times ``cooling.sizing_factor``.
    """
    count = len(project.zones)
    nothing = Sizes(
        zone_max_cfm=np.ones(count),
        zone_reheat_btuh=np.full(count, np.inf),
        design_cfm=1.0,
        motor_hp=1.0,
        cooling_tons=UNLIMITED_TONS,
        heating_kbtuh=UNLIMITED_KBTUH,
        preheat_kbtuh=UNLIMITED_KBTUH,
    )
    fan_free = replace_measured(project)
    unit = build_unit(fan_free, nothing)
    occupied = conditions.take(np.flatnonzero(conditions.occupied > 0.0))
    if len(occupied.oat_f) == 0:
        occupied = conditions
    occupied = with_full_gains(occupied)
    loads = zone_loads(unit, occupied)
    z = unit.zones
    drop = np.maximum(loads.cool_f - unit.air_handler.design_sat_f - unit.air_handler.duct_gain_f, 1.0)
    need = np.max(loads.q_cool_btuh / (loads.fs * drop), axis=0)
    people = z.area_ft2 / unit.groups.people_ft2[z.group]
    fresh = z.area_ft2 * unit.groups.oa_cfm_ft2[z.group] + people * unit.groups.oa_cfm_person[z.group]
    zone_max = np.maximum(np.maximum(need * unit.air_handler.zone_sizing_factor, fresh), LEAST_TERMINAL_CFM)

    sizes = replace(nothing, zone_max_cfm=zone_max)
    unit = build_unit(fan_free, sizes)
    loads = zone_loads(unit, occupied)
    sat = np.full(occupied.oat_f.shape, float(unit.air_handler.design_sat_f))
    asked = requested_flow_cfm(unit, loads, sat) @ unit.zones.multiplier
    design_cfm = float(np.max(asked)) / (1.0 - unit.air_handler.leakage_frac)
    sizes = replace(sizes, design_cfm=design_cfm)
    unit = build_unit(fan_free, sizes)
    design = fan_power_at(unit, unit.design_cfm, unit.fan.design_total_inwc)
    bhp = float(design.shaft_kw) / 0.745699872 / unit.fan.belt_efficiency_frac
    sizes = replace(sizes, motor_hp=motor_size_hp(bhp))

    # A unit that never runs still gets coils, from all hours.
    running = conditions.take(np.flatnonzero(conditions.fan_on > 0.0))
    loads = zone_loads(unit, running if len(running.oat_f) else conditions)
    sat = np.full(len(loads.latent_btuh), float(unit.air_handler.design_sat_f))
    flow = np.where(unit.zones.dual_maximum, np.maximum(unit.zones.heat_max_cfm, unit.zones.min_cfm), loads.min_cfm)
    coil = heating_need_btuh(loads, flow, sat[:, None] + unit.air_handler.duct_gain_f)
    factor = project.heating.sizing_factor
    sizes = replace(sizes, zone_reheat_btuh=np.maximum(np.max(coil, axis=0) * factor, 0.0))

    steady = replace(project.cooling, cycling_drying_loss_frac=0.0)
    unit = replace(build_unit(fan_free, sizes), cooling=steady, cooling_tons=UNLIMITED_TONS)
    rows = Rows.of(unit, conditions)
    if len(rows.running) == 0:
        return replace(sizes, cooling_tons=1.0, heating_kbtuh=1.0, preheat_kbtuh=1.0)
    baseline = next(c for c in project.candidates if c.id == project.baseline_id)
    state = run_parts(unit, without_overrides(baseline), rows)[0].state
    if project.cooling.type in ("purchased", "none"):
        tons = max(float(np.max(state.cooling_kbtuh)) / 12.0, 1.0)
    else:
        on = rows.on
        at = [
            cooling_capacity_kbtuh(steady, n * UNLIMITED_TONS, on.oat_f, on.oawb_f, state.coil_entering_wb_f)
            for n in (1.0, 2.0)
        ]
        per_ton = (at[1] - at[0]) / UNLIMITED_TONS
        other = per_ton * UNLIMITED_TONS - at[0]
        usable = per_ton > 0.0
        with_other = np.where(usable, (state.cooling_kbtuh + other) / np.where(usable, per_ton, 1.0), 0.0)
        tons = max(float(np.max(with_other)) * project.cooling.sizing_factor, 1.0)
    preheat = float(np.max(state.preheat_kbtuh)) * factor
    shared = state.reheat_kbtuh + (state.preheat_kbtuh if project.preheat.type == "same" else 0.0)
    return replace(
        sizes,
        cooling_tons=tons,
        heating_kbtuh=max(float(np.max(shared)) * factor, 1.0),
        preheat_kbtuh=max(preheat, 1.0),
    )


def without_overrides(candidate):
    """The candidate as its controls run it, without its operators' overrides."""
    return replace(
        candidate, sat=replace(candidate.sat, override_frac=0.0), dsp=replace(candidate.dsp, override_frac=0.0)
    )


def with_full_gains(conditions: Conditions) -> Conditions:
    """Conditions with everybody in and everything on while a group is occupied, as designers size."""
    full = conditions.group_occupied
    return replace(
        conditions,
        people_gain_frac=np.maximum(conditions.people_gain_frac, full),
        lights_gain_frac=np.maximum(conditions.lights_gain_frac, full),
        equipment_gain_frac=np.maximum(conditions.equipment_gain_frac, full),
    )


def replace_measured(project):
    """The project without the fan's measured point (sizing has no motor yet)."""
    if project.fan.measured_kw is None:
        return project
    return replace(project, fan=replace(project.fan, measured_kw=None, measured_cfm=None, measured_total_inwc=None))


def size_list(project, unit: Unit) -> dict[str, tuple[float, str, str]]:
    """Sizes in force: path to (value, unit, 'given' or 'sized')."""
    origin = lambda value: "sized" if value is None else "given"
    out = {
        "air_handler.design_cfm": (unit.design_cfm, "cfm", origin(project.air_handler.design_cfm)),
        "air_handler.max_cfm": (unit.max_cfm, "cfm", origin(project.air_handler.max_cfm)),
        "fan.motor_hp": (unit.motor_hp, "hp", origin(project.fan.motor_hp)),
        "outdoor_air.minimum_cfm": (unit.oa_minimum_cfm, "cfm", origin(project.outdoor_air.minimum_cfm)),
        "cooling.capacity_tons": (unit.cooling_tons, "ton", origin(project.cooling.capacity_tons)),
        "heating.capacity_kbtuh": (unit.heating_kbtuh, "kBtu/h", origin(project.heating.capacity_kbtuh)),
    }
    if project.preheat.type != "same":
        out["preheat.capacity_kbtuh"] = (unit.preheat_kbtuh, "kBtu/h", "sized")
    for i, zone in enumerate(project.zones):
        out[f"zone[{zone.name}].max_cfm"] = (float(unit.zones.max_cfm[i]), "cfm", origin(zone.max_cfm))
        if unit.zones.has_reheat[i]:
            out[f"zone[{zone.name}].reheat_kbtuh"] = (
                float(unit.zones.reheat_btuh[i]) / 1000.0,
                "kBtu/h",
                origin(zone.reheat_kbtuh),
            )
    return out


# --- running a candidate --------------------------------------------------------------------


def run_parts(unit: Unit, candidate, rows: Rows, other_sats=(), optimal_sat=None, oa_least_cfm=None) -> list[Part]:
    """Evaluate a candidate on running rows, split by its operators' overrides.

    An override rules for a share of every running row, so the row is evaluated with and
    without it and the parts are weighted: the mean of the setpoints would not do, since
    energy is not linear in them. ``oa_least_cfm`` raises the minimum outdoor air of each part, in their
    order. [cfm]
    """
    normal = setpoints(unit, candidate, rows.on, rows.loads, other_sats, optimal_sat)
    sat, dsp = candidate.sat, candidate.dsp
    shape = rows.on.oat_f.shape
    cases = [(1.0 - sat.override_frac, None)] + (
        [(sat.override_frac, float(sat.override_f))] if sat.override_frac > 0.0 else []
    )
    pressures = [(1.0 - dsp.override_frac, None)] + (
        [(dsp.override_frac, float(dsp.override_inwc))] if dsp.override_frac > 0.0 else []
    )
    parts = []
    for sat_share, sat_value in cases:
        for dsp_share, dsp_value in pressures:
            share = sat_share * dsp_share
            if share <= 0.0:
                continue
            used = normal
            if sat_value is not None or dsp_value is not None:
                new_sat = normal.sat_f if sat_value is None else np.full(shape, sat_value)
                if dsp_value is not None:
                    new_dsp = np.full(shape, dsp_value)
                elif sat_value is None:
                    new_dsp = normal.dsp_inwc
                else:
                    new_dsp = dsp_setpoint_inwc(unit, dsp, rows.on, rows.loads, new_sat)
                none = np.zeros(shape, dtype=bool)
                marks = {}
                if sat_value is not None:
                    marks.update(humidity_limited=none, cold_zone_limited=none, sat_at_max=none, sat_at_min=none)
                if dsp_value is not None:
                    marks.update(dsp_at_max=none, dsp_at_min=none)
                used = replace(normal, sat_f=new_sat, dsp_inwc=new_dsp, **marks)
            state = evaluate(
                unit,
                rows.on,
                rows.loads,
                used.sat_f,
                used.dsp_inwc,
                resets_pressure=resets_pressure(dsp),
                dsp_of_sat=dsp_of_sat(unit, dsp, dsp_value),
                oa_least_cfm=None if oa_least_cfm is None else oa_least_cfm[len(parts)],
            )
            if dsp_value is None:
                # Where the supply air floats, the pressure strategy answers to the temperature that results.
                used = replace(used, dsp_inwc=state.dsp_set_inwc, **at_dsp_ends(dsp, state.dsp_set_inwc))
            parts.append(Part(share=share, setpoints=used, state=state))
    return parts


def off_energy(unit: Unit, conditions: Conditions):
    """Energy of hours with the air handler off: the heating plant's losses if it stays enabled. (R,) arrays"""
    off = conditions.fan_on <= 0.0
    zero = np.zeros(conditions.oat_f.shape)
    enabled = np.where(off, heating_enabled(unit, conditions.oat_f, conditions.fan_on), 0.0)
    if not enabled.any():
        return {"fuel_thermh": zero, "heating_kw": zero, "pump_tower_kw": zero, "purchased_heating_kbtuh": zero}
    heat, second = heat_sources(unit, zero, zero, enabled, conditions.oat_f)
    return {
        "fuel_thermh": heat.fuel_thermh + second.fuel_thermh,
        "heating_kw": heat.electric_kw + second.electric_kw,
        "pump_tower_kw": heat.pump_kw + second.pump_kw,
        "purchased_heating_kbtuh": heat.purchased_kbtuh + second.purchased_kbtuh,
    }


def night_totals(night: NightBlock) -> dict[str, float]:
    """Annual figures of setback, warm-up and cool-down, and of what the morning makes up."""
    return {
        "running_hours": float(night.running_frac.sum()),
        "heat_kbtu": float(night.heat_kbtuh.sum()),
        "late_heat_kbtu": float(night.late_heat_kbtuh.sum()),
        "cold_zone_hours": night.cold_zone_hours,
        "cool_kbtu": float(night.cool_kbtuh.sum()),
        **{use.key: float(getattr(night, use.night).sum()) if use.night else 0.0 for use in END_USES},
        "electricity_kwh": float(night.electricity_kw.sum()),
    }


def annual_figures(unit: Unit, rows: Rows, parts: list[Part], night: dict[str, float]) -> dict[str, float]:
    """Figures of ``results.ANNUAL`` from evaluated rows and the night block."""
    w = rows.on.hours
    total = lambda name: sum(p.share * float(w @ getattr(p.state, name)) for p in parts)
    limit = lambda name: sum(p.share * float(w @ getattr(p.setpoints, name)) for p in parts)
    off = off_energy(unit, rows.conditions)
    idle = {k: float(rows.conditions.hours @ v) for k, v in off.items()}
    running = float(w.sum())
    mean = lambda name: total(name) / running if running > 0.0 else float("nan")
    figures = {
        "hours": float(rows.conditions.hours.sum()),
        "running_hours": running,
        "reheat_kbtu": total("reheat_kbtuh"),
        "preheat_kbtu": total("preheat_kbtuh"),
        "cooling_sensible_kbtu": total("cooling_sensible_kbtuh"),
        "cooling_latent_kbtu": total("cooling_latent_kbtuh"),
        "unmet_zone_hours": total("unmet_zones"),
        "unmet_degree_hours": total("unmet_degrees"),
        "cold_zone_hours": total("cold_zones") + night["cold_zone_hours"],
        "starved_zone_hours": total("starved_zones"),
        "ventilation_short_hours": total("ventilation_short_zones"),
        "oa_short_hours": total("oa_short"),
        "airflow_ceiling_hours": total("airflow_ceiling"),
        "humid_hours": total("humid"),
        "capacity_hours": total("capacity_limited"),
        "freeze_hours": total("freeze"),
        "minimum_speed_hours": total("minimum_speed"),
        "low_flow_hours": total("low_flow"),
        "stage_cycling_hours": total("stage_cycling"),
        "sat_at_max_hours": limit("sat_at_max"),
        "sat_at_min_hours": limit("sat_at_min"),
        "dsp_at_max_hours": limit("dsp_at_max"),
        "dsp_at_min_hours": limit("dsp_at_min"),
        "economizer_hours": total("economizing"),
        "humidity_limited_hours": limit("humidity_limited"),
        "cold_zone_limited_hours": limit("cold_zone_limited"),
        "unserved_cooling_kbtu": total("unserved_kbtuh"),
        "unserved_heating_kbtu": total("heat_unserved_kbtuh"),
        "mean_sat_f": mean("sat_f"),
        "mean_dsp_inwc": mean("dsp_inwc"),
        "mean_flow_cfm": mean("flow_cfm"),
    }
    for use in END_USES:
        figures[use.key] = sum(total(rate) for rate in use.rates) + night[use.key] + idle.get(use.off, 0.0)
    figures[ELECTRICITY_KEY] = sum(figures[use.key] for use in ELECTRIC)
    figures["cost_usd"] = annual_cost_usd(figures, unit.prices)
    return {key: float(figures[key]) for key in ANNUAL_KEYS}


def night_duct(unit: Unit, schedule, dsp) -> NightDuct | None:
    """Duct pressure of a strategy at night; None where the sequence holds it at design."""
    if schedule.night_dsp == "design":
        return None
    return NightDuct(
        setpoint_inwc=lambda oat_f, zone_cfm: night_dsp_inwc(unit, dsp, oat_f, zone_cfm),
        override_frac=dsp.override_frac,
        override_inwc=dsp.override_inwc,
        resets_pressure=resets_pressure(dsp),
    )


def _nights(candidates, site_for) -> dict[str, NightBlock]:
    """Night block of every candidate by id; rooms are run once for candidates that share unit and air."""
    nights, blocks, hourly = {}, {}, {}
    for candidate in candidates:
        site = site_for(candidate)
        schedule, dsp = site.project.schedule, candidate.dsp
        duct = night_duct(site.unit, schedule, dsp)
        key = (site.key, None if duct is None else dsp)
        if key not in blocks:
            if site.key not in hourly:
                hourly[site.key] = (zone_loads(site.unit, site.hourly.conditions), {})
            loads, rooms = hourly[site.key]
            blocks[key] = run_nights(site.unit, site.hourly.conditions, loads, schedule, duct, rooms)
        nights[candidate.id] = blocks[key]
    return nights


def _cheapest_night(nights, runs, site) -> dict[str, float]:
    """Annual figures of the cheapest night block of candidates that share a site."""
    totals = [night_totals(nights[id_]) for id_, (of, _, _) in runs.items() if of is site]
    return min(totals, key=lambda n: annual_cost_usd(n, site.unit.prices))


def reset_bound(project, site, night, tried=(), asked=()) -> dict[str, float]:
    """Annual figures of perfect resets: the least energy cost that setpoints alone can reach.

    In every row the cheapest supply air over the widest range of any reset of the project, and
    just the duct pressure that the neediest zone takes with its damper open; no zone asks
    without need, none is ignored, nothing swings. Zones of importance 0 stay left out. A higher
    duct pressure (``BOUND_STEPS`` up to the highest) or a pair of setpoints that a candidate asks
    for stands instead where it is cheaper and serves no worse: leakage and heat of the fan can be
    worth more than its power. On the bin rows of the baseline's plant.

    Parameters
    ----------
    night : dict
        Annual figures of the night block that goes with them.
    tried : sequence of ndarray (R,)
        Supply temperatures for the search. [degF]
    asked : sequence of Setpoints
        Of candidates on the same rows.
    """
    rows, unit = site.rows, site.unit
    nobody = np.zeros(len(unit.zones), dtype=bool)
    honest = replace(unit, zones=replace(unit.zones, asks_temperature=nobody, asks_pressure=nobody))
    sat_resets, dsp_resets = [], []
    for candidate in project.candidates:
        sat_way, dsp_way = strategies_of(candidate)
        sat_resets += [sat_way.range(candidate.sat)] if sat_way.resets else []
        dsp_resets += [dsp_way.range(candidate.dsp)] if dsp_way.resets else []
    low = min([project.limits.sat_min_f, *(r[0] for r in sat_resets)])
    high = max([project.limits.sat_max_f, *(r[1] for r in sat_resets)])
    highest = max([project.fan.design_dsp_inwc, *(r[1] for r in dsp_resets)])
    limits = sat_limits(honest, rows.on, rows.loads, low, high)
    heard = honest.zones.weight > 0.0

    def least_dsp(conditions, loads, sat_f):
        enabled = heating_enabled(honest, conditions.oat_f, conditions.fan_on)
        share = requested_flow_cfm(honest, loads, sat_f, enabled) / honest.zones.max_cfm
        needed = honest.index_dsp_inwc * honest.zones.index_share * share * share
        return np.clip(np.max(np.where(heard, needed, 0.0), axis=1, initial=0.0), 0.0, highest)

    def run(sat_f, dsp_inwc):
        state = evaluate(honest, rows.on, rows.loads, sat_f, dsp_inwc)
        return state.cost_usd_h, np.stack(
            [
                state.unmet_degrees,
                state.starved_zones,
                state.ventilation_short_zones,
                state.cold_zones,
                state.unserved_kbtuh,
                state.heat_unserved_kbtuh,
            ]
        )

    sat = search_sat(honest, rows.on, rows.loads, limits, least_dsp, True, tried)
    # Where the supply air floats, the least pressure is that at the temperature that results.
    dsp = evaluate(
        honest, rows.on, rows.loads, sat, least_dsp(rows.on, rows.loads, sat), dsp_of_sat=least_dsp
    ).dsp_set_inwc
    best, allowed = run(sat, dsp)
    higher = [(sat, dsp + k / BOUND_STEPS * np.maximum(highest - dsp, 0.0)) for k in range(1, BOUND_STEPS + 1)]
    for sat_f, dsp_inwc in [*higher, *((s.sat_f, s.dsp_inwc) for s in asked)]:
        cost, service = run(sat_f, dsp_inwc)
        take = (service <= allowed + SERVED_TOLERANCE).all(axis=0) & (cost < best)
        best, sat, dsp = np.where(take, cost, best), np.where(take, sat_f, sat), np.where(take, dsp_inwc, dsp)
    state = evaluate(honest, rows.on, rows.loads, sat, dsp)
    never = np.zeros(len(rows.on), dtype=bool)
    at = Setpoints(
        sat_f=sat,
        dsp_inwc=dsp,
        humidity_limited=never,
        cold_zone_limited=never,
        sat_at_max=never,
        sat_at_min=never,
        dsp_at_max=never,
        dsp_at_min=never,
    )
    return annual_figures(honest, rows, [Part(share=1.0, setpoints=at, state=state)], night)


# --- reports from the hourly run -----------------------------------------------------------------


def zone_report(
    unit: Unit, rows: Rows, parts: list[Part], yardstick: Yardstick, night: NightBlock | None = None
) -> tuple[pd.DataFrame, dict[str, np.ndarray]]:
    """What happens zone by zone over the hourly run (see ``CandidateResult.zones``), and its depths on the yardstick.

    Room temperatures are found once a part, added up and dropped: those of all hours and zones are large. Hours of
    rooms that catch up after the start of occupancy stand among the cold ones; the yardstick has the start of occupancy
    as a depth of its own. Without a night block they are left out.
    """
    z = unit.zones
    w = rows.on.hours
    names = (
        "unmet_hours",
        "unmet_degree_hours",
        "starved_hours",
        "ventilation_short_hours",
        "cold_hours",
        "cold_degree_hours",
        "reheat_kbtu",
        "temperature_request_hours",
        "pressure_request_hours",
        "minimum_flow_hours",
    )
    out = {name: np.zeros(len(z)) for name in names}
    depths = {name: np.zeros(len(z)) for name in ZONE_DEPTHS}
    ask_sat = temperature_thresholds_f(unit, rows.loads)[0]
    tolerance = unit.service.unmet_tolerance_f
    for p in parts:
        s = zones_of(unit, rows.on, rows.loads, p.state)
        over = np.maximum(s.room_f - rows.loads.cool_f - tolerance, 0.0)
        ask_dsp = pressure_thresholds_inwc(unit, s.requested_cfm, cooling_flow_cfm(unit, rows.loads, p.state.sat_f))[0]
        asks_t = (p.state.sat_set_f[:, None] > ask_sat) | z.asks_temperature
        asks_p = (p.state.dsp_inwc[:, None] < ask_dsp) | z.asks_pressure
        for name, values in (
            ("unmet_hours", over > 0.0),
            ("unmet_degree_hours", over),
            ("starved_hours", s.starved),
            ("ventilation_short_hours", s.ventilation_short),
            ("cold_hours", s.room_f < rows.loads.heat_f - tolerance),
            ("cold_degree_hours", np.maximum(rows.loads.heat_f - tolerance - s.room_f, 0.0)),
            ("reheat_kbtu", s.reheat_btuh / 1000.0),
            ("temperature_request_hours", asks_t),
            ("pressure_request_hours", asks_p),
            ("minimum_flow_hours", s.flow_cfm <= rows.loads.min_cfm * (1.0 + 1e-9)),
        ):
            out[name] += p.share * (w @ values)
        for name, values in zone_depths(yardstick, p.state, s).items():
            depths[name] += p.share * values
    if night is not None:
        out["cold_hours"] += night.late_cold_hours
        out["cold_degree_hours"] += night.late_cold_degree_hours
    frame = pd.DataFrame(
        {"zone": z.names, "group": [unit.groups.names[g] for g in z.group], "multiplier": z.multiplier, **out}
    )
    return frame, depths


def _hourly_energy(unit: Unit, rows: Rows, parts: list[Part], night: NightBlock) -> dict[str, np.ndarray]:
    """Hour-by-hour energies of a candidate, night runs and idle plant included. (H,) each"""
    n = len(rows.conditions.oat_f)
    off = off_energy(unit, rows.conditions)

    def spread(name):
        whole = np.zeros(n)
        whole[rows.running] = sum(p.share * getattr(p.state, name) for p in parts)
        return whole

    energy = {}
    for use in END_USES:
        energy[use.key] = sum(spread(rate) for rate in use.rates)
        energy[use.key] = energy[use.key] + (getattr(night, use.night) if use.night else 0.0)
        energy[use.key] = energy[use.key] + (off[use.off] if use.off else 0.0)
    return energy


def monthly_table(unit: Unit, rows: Rows, energy: dict[str, np.ndarray]) -> pd.DataFrame:
    """Energies, electricity and cost by month from the hourly run."""
    month = rows.conditions.month
    table = {key: np.bincount(month, energy[key], 13)[1:] for key in ENERGY_KEYS}
    table[ELECTRICITY_KEY] = sum(table[use.key] for use in ELECTRIC)
    table["cost_usd"] = annual_cost_usd(table, unit.prices)
    return pd.DataFrame({"month": np.arange(1, 13), **table})


def temperature_table(rows: Rows, parts: list[Part]) -> pd.DataFrame:
    """Means of supply temperature, duct pressure and airflow, and cost, by outdoor-temperature bin (running hours)."""
    low = rows.on.bin_low_f
    edges, inverse = np.unique(low, return_inverse=True)
    w = rows.on.hours
    hours = np.bincount(inverse, w, len(edges))
    out = {"bin_low_f": edges, "hours": hours}
    for label, name in (("sat_f", "sat_f"), ("dsp_inwc", "dsp_inwc"), ("flow_cfm", "flow_cfm")):
        values = sum(p.share * getattr(p.state, name) for p in parts)
        out[label] = np.bincount(inverse, w * values, len(edges)) / hours
    out["cost_usd"] = np.bincount(inverse, w * sum(p.share * p.state.cost_usd_h for p in parts), len(edges))
    return pd.DataFrame(out)


def flow_table(unit: Unit, rows: Rows, parts: list[Part]) -> pd.DataFrame:
    """Running hours by airflow in tenths of the design airflow; the last class is open upwards."""
    hours = np.zeros(11)
    for p in parts:
        tenth = np.clip((10.0 * p.state.flow_cfm / unit.design_cfm + 1e-9).astype(int), 0, 10)
        hours += p.share * np.bincount(tenth, rows.on.hours, 11)
    return pd.DataFrame({"low_pct": np.arange(0, 110, 10), "hours": hours})


ROW_CONDITION_COLUMNS = (
    "hours",
    "bin_low_f",
    "occupied",
    "fan_on",
    "month",
    "day",
    "hour_start",
    "hour_of_year",
    "rate_period",
    "oat_f",
    "oawb_f",
    "oa_dewpoint_f",
    "humidity_ratio",
)


def rows_frame(rows: Rows, parts: list[Part]) -> pd.DataFrame:
    """One line per row and part: conditions, then every field of ``RowState``.

    Off rows have zero energy and no temperatures. With operators' overrides a row has one line
    per part, ``share`` says which part of its hours.
    """
    c = rows.conditions
    base = pd.DataFrame({name: np.asarray(getattr(c, name)) for name in ROW_CONDITION_COLUMNS})
    base.insert(0, "row", np.arange(1, len(base) + 1))
    names = [f.name for f in fields(RowState)]
    empty = dict.fromkeys(names, 0.0)
    for name in (
        "sat_set_f",
        "sat_f",
        "dsp_set_inwc",
        "dsp_inwc",
        "room_mean_f",
        "rat_f",
        "mat_f",
        "coil_leaving_f",
        "coil_entering_f",
        "coil_entering_wb_f",
        "room_humidity_ratio",
        "mixed_humidity_ratio",
        "leaving_humidity_ratio",
        "fan_rise_f",
        "fan_total_inwc",
        "cooling_capacity_kbtuh",
        "ceiling_frac",
    ):
        empty[name] = np.nan
    frames = []
    for k, p in enumerate(parts):
        whole = {name: np.full(len(base), empty[name]) for name in names}
        for name in names:
            whole[name][rows.running] = getattr(p.state, name)
        frame = pd.concat([base, pd.DataFrame(whole)], axis=1)
        frame.insert(1, "share", np.where(base["fan_on"] > 0.0, p.share, 1.0 if k == 0 else 0.0))
        frames.append(frame)
    if len(frames) == 1:
        return frames[0]
    joined = pd.concat(frames, ignore_index=True)
    return joined[joined["share"] > 0.0].sort_values(["row"], kind="stable", ignore_index=True)


# --- comparing ---------------------------------------------------------------------------------


def oa_at_minimum_cfm(unit: Unit, state: RowState) -> np.ndarray:
    """Outdoor air that dampers at their minimum give, without what the economizer adds. (R,) [cfm]"""
    share = state.oa_frac if unit.economizer.stuck_frac is not None else np.minimum(state.oa_frac, state.oa_min_frac)
    return share * state.flow_cfm


def figures_at_equal_oa(
    unit: Unit, candidate, rows: Rows, parts: list[Part], wanted_cfm, night: dict[str, float], figures: dict[str, float]
):
    """Annual figures of a candidate whose minimum outdoor air is raised to what is wanted; those it has where it gives
    as much.

    Parameters
    ----------
    wanted_cfm : ndarray (R,)
        What the baseline gives at its minimum, as far as that is required. [cfm]

    Notes
    -----
    The mean over the parts is raised, each part by the same airflow, and economizer air is not topped up: an hour in
    which the candidate's dampers open wider by themselves has what it needs.
    """
    given = [oa_at_minimum_cfm(unit, p.state) for p in parts]
    missing = wanted_cfm - sum(p.share * cfm for p, cfm in zip(parts, given, strict=True))
    missing = np.where(missing > OA_ROUNDING_CFM, missing, 0.0)
    if not missing.any():
        return figures
    raised = run_parts(
        unit,
        candidate,
        rows,
        (),
        parts[0].setpoints.sat_f,
        [np.where(missing > 0.0, cfm + missing, 0.0) for cfm in given],
    )
    return annual_figures(unit, rows, raised, night)


def find_interactions(candidates: list[CandidateResult], baseline: CandidateResult) -> tuple[Interaction, ...]:
    """SAT alone, DSP alone and both, wherever all three were evaluated with the same overrides as the baseline."""
    plain = [c for c in candidates if c.candidate.overrides == baseline.candidate.overrides]
    base_sat, base_dsp = baseline.candidate.sat, baseline.candidate.dsp
    out = []
    for both in plain:
        if both.candidate.sat == base_sat or both.candidate.dsp == base_dsp:
            continue
        sat_only = next(
            (c for c in plain if c.candidate.sat == both.candidate.sat and c.candidate.dsp == base_dsp), None
        )
        dsp_only = next(
            (c for c in plain if c.candidate.dsp == both.candidate.dsp and c.candidate.sat == base_sat), None
        )
        if sat_only and dsp_only:
            out.append(
                Interaction(
                    sat_id=sat_only.id,
                    dsp_id=dsp_only.id,
                    both_id=both.id,
                    sat_usd=sat_only.saving["cost_usd"],
                    dsp_usd=dsp_only.saving["cost_usd"],
                    both_usd=both.saving["cost_usd"],
                )
            )
    return tuple(out)


def make_run_id(project, weather) -> str:
    """Short id from everything the results depend on: inputs, weather and version."""
    text = repr(
        (__version__, project.effective_rows(), weather.sha256, weather.whole_f, round(weather.pressure_psia, 9))
    )
    return hashlib.sha256(text.encode()).hexdigest()[:12]


# Sizes and rows are shared by all candidates, so these cannot differ between them.
_OTHER_PROJECT = (
    "candidate[{}].override: changes {}, which all candidates share; expected overrides that leave it "
    "as it is; estimate a second project file with that change and compare the two"
)


@dataclass(frozen=True, slots=True, kw_only=True)
class _Site:
    """A unit with its hours and rows: shared by candidates with the same overrides."""

    project: object
    key: str
    unit: Unit
    hourly: Rows
    rows: Rows
    mean: Rows


@dataclass(frozen=True, slots=True, kw_only=True)
class _Evaluated:
    """Parts and annual figures of every candidate by id on one kind of rows, and the supply temperatures tried."""

    parts: dict[str, list[Part]]
    figures: dict[str, dict[str, float]]
    tried: tuple[np.ndarray, ...]


def estimate(project, weather, held: Held | None = None) -> Results:
    """Evaluate every candidate of a project in a typical year.

    Parameters
    ----------
    project : Project
        From ``inputs.read_project``.
    weather : Weather
        From ``weather.read_weather``.
    held : Held, optional
        Sizes, rows with weights, optimiser setpoints and night block of an earlier run, used
        instead of finding them again: what a live workbook does after an edit.

    Returns
    -------
    Results

    Notes
    -----
    Sizes are found once from the baseline and held. Every candidate is run hour by hour
    first; rows are chosen once, from reference settings and these runs, and held. Counts,
    months, peaks and the equal-service rule come from the hourly run.
    """
    project = project.in_climate(climate_of(weather))
    conditions = build_conditions(weather, project)
    sizes = size_unit(project, conditions) if held is None else held.sizes
    unit = build_unit(project, sizes)
    hourly = Rows.of(unit, conditions)

    group_id, _ = group_keys(conditions, project.bins)

    def site_of(this_project, key, candidate_id) -> _Site:
        same = this_project is project
        if not same and len(this_project.zones) != len(project.zones):
            raise InputError(_OTHER_PROJECT.format(candidate_id, "the list of zones"))
        # Sun and profiles are costly and most overrides leave them as they are.
        as_before = all(
            getattr(this_project, name) == getattr(project, name) for name in ("schedule", "building", "groups")
        )
        c = conditions if as_before else build_conditions(weather, this_project)
        if not as_before and not (
            np.array_equal(c.fan_on, conditions.fan_on) and np.array_equal(c.occupied, conditions.occupied)
        ):
            raise InputError(_OTHER_PROJECT.format(candidate_id, "the running hours of the air handler"))
        u = unit if same else build_unit(this_project, sizes)
        means = mean_rows(c, group_id)
        mean = Rows.of(u, means)
        return _Site(
            project=this_project, key=key, unit=u, hourly=hourly if same else Rows.of(u, c), rows=mean, mean=mean
        )

    sites: dict = {}

    def site_for(candidate) -> _Site:
        key = overrides_key(candidate.overrides)
        if key not in sites:
            sites[key] = site_of(
                project.with_overrides(candidate.overrides) if candidate.overrides else project, key, candidate.id
            )
        return sites[key]

    # The baseline first; strategies that search last, so that they can try what the others do.
    ordered = sorted(project.candidates, key=lambda c: (sat_strategy(c.sat).searches, c.id != project.baseline_id))
    for candidate in ordered:
        site_for(candidate)
    nights = {} if held is None else dict(held.nights)
    nights |= _nights(
        [c for c in ordered if c.id not in nights], site_for
    )  # a held run may be asked for further candidates

    def evaluated(name) -> _Evaluated:
        """Every candidate on the hours, the rows or the mean rows of its site."""
        tried: list[np.ndarray] = []
        parts, figures = {}, {}
        for candidate in ordered:
            site = site_for(candidate)
            kept = held.optimal_sat.get(candidate.id) if held is not None and name == "rows" else None
            parts[candidate.id] = run_parts(site.unit, candidate, getattr(site, name), _distinct(tried), kept)
            if not sat_strategy(candidate.sat).searches:
                tried.append(parts[candidate.id][0].setpoints.sat_f)
            figures[candidate.id] = annual_figures(
                site.unit, getattr(site, name), parts[candidate.id], night_totals(nights[candidate.id])
            )
        return _Evaluated(parts=parts, figures=figures, tried=tuple(_distinct(tried)))

    of_hours = evaluated("hourly")
    row_index, row_weights, selection = None, None, None
    if held is not None:
        row_index, row_weights = held.row_index, held.row_weights
    elif project.bins.rows == "representative":
        costs = [
            sum(p.share * end_use_costs(site_for(c).unit.prices, p.state) for p in of_hours.parts[c.id])
            for c in ordered
        ]
        selection = choose_rows(project, unit, hourly, group_id, costs)
        order = np.lexsort((selection.index, selection.group))
        row_index, row_weights = selection.index[order], selection.weights[order]
    if row_index is not None:
        for key, site in sites.items():
            sites[key] = replace(
                site, rows=Rows.of(site.unit, site.hourly.conditions.take(row_index).with_hours(row_weights))
            )
    of_rows = evaluated("rows")
    of_means = of_rows if row_index is None else evaluated("mean")

    runs = {c.id: (site_for(c), of_hours.parts[c.id], of_rows.parts[c.id]) for c in ordered}
    optimal = {c.id: of_rows.parts[c.id][0].setpoints.sat_f for c in ordered if sat_strategy(c.sat).searches}
    base_annual = of_rows.figures[project.baseline_id]

    base_site, base_parts, base_rows = runs[project.baseline_id]
    yardstick = Yardstick.of(base_site.unit, base_site.hourly.on, base_site.hourly.loads)
    reports, served = {}, {}
    for id_, (site, parts, _) in runs.items():
        reports[id_], depths = zone_report(site.unit, site.hourly, parts, yardstick, nights[id_])
        served[id_] = service_figures(yardstick, parts, depths, nights[id_], of_hours.figures[id_])
    base_served = served[project.baseline_id]
    baseline_service = judge_baseline(base_served, yardstick, base_site.project, base_site.unit, base_parts)
    required_cfm = required_oa_cfm(base_site.unit, base_site.rows.on.occupied, base_site.rows.loads.oa_people_cfm)
    wanted_cfm = np.minimum(required_cfm, sum(p.share * oa_at_minimum_cfm(base_site.unit, p.state) for p in base_rows))

    results = []
    for candidate in project.candidates:
        site, parts_h, parts_r = runs[candidate.id]
        annual, by_hour = of_rows.figures[candidate.id], of_hours.figures[candidate.id]
        saving = {key: base_annual[key] - annual[key] for key in SAVING_KEYS}
        equal = figures_at_equal_oa(
            site.unit, candidate, site.rows, parts_r, wanted_cfm, night_totals(nights[candidate.id]), annual
        )
        rise = rises(served[candidate.id], base_served, yardstick)
        payback = simple_payback_years(candidate.cost_usd, candidate.incentive_usd, saving["cost_usd"])
        energy = _hourly_energy(site.unit, site.hourly, parts_h, nights[candidate.id])
        power = sum(energy[use.key] for use in ELECTRIC)
        results.append(
            CandidateResult(
                candidate=candidate,
                annual=annual,
                hourly=by_hour,
                classic=of_means.figures[candidate.id],
                saving=saving,
                saving_at_equal_oa={key: base_annual[key] - equal[key] for key in SAVING_KEYS},
                equal_service=judge(
                    rise, yardstick, [(path, candidate.overrides[path]) for path in candidate.changed_service]
                ),
                service=rise,
                fails=failing(served[candidate.id], yardstick),
                payback_years=payback.before_years,
                payback_after_incentive_years=payback.after_years,
                payback_note=payback.before_reason or payback.after_reason,
                rank=None,
                not_ranked="",
                rows=rows_frame(site.rows, parts_r),
                monthly=monthly_table(site.unit, site.hourly, energy),
                by_temperature=temperature_table(site.hourly, parts_h),
                flow_hours=flow_table(site.unit, site.hourly, parts_h),
                zones=reports[candidate.id],
                peak_kw=float(power.max()),
            )
        )

    flow = np.full(len(conditions.oat_f), np.nan)
    flow[base_site.hourly.running] = sum(p.share * p.state.flow_cfm for p in base_parts)
    if row_index is not None and selection is None:
        selection = held_selection(conditions, row_index, row_weights, group_id)
    choice = row_choice(selection, int(group_id.max()) + 1, results, baseline_of(project, results))
    table = bin_table(conditions, selection, width_f=project.bins.width_f, means={"mean_flow_cfm": flow})
    rows_of_table = (
        row_table(conditions, selection) if selection is not None else _mean_row_table(base_site.rows.conditions)
    )
    baseline = baseline_of(project, results)
    interactions = find_interactions(results, baseline)
    checks, findings = run_checks(
        project, weather, unit, results, baseline, runs, selection, interactions, baseline_service
    )
    results = _ranked(results, baseline_service.open, [check.name for check in checks if check.status == "fail"])
    asked = [p.setpoints for site, _, parts in runs.values() if site is base_site for p in parts]
    return Results(
        project=project,
        weather=weather,
        baseline_id=project.baseline_id,
        candidates=tuple(results),
        bin_table=table,
        row_table=rows_of_table,
        row_method=choice.method,
        selection=choice,
        night=night_totals(nights[project.baseline_id]),
        sizes=size_list(project, unit),
        interactions=interactions,
        checks=checks,
        bound=reset_bound(project, base_site, _cheapest_night(nights, runs, base_site), of_rows.tried, asked),
        baseline_service=baseline_service,
        findings=tuple(project.findings) + tuple(weather.findings) + findings + choice_findings(choice),
        run_id=make_run_id(project, weather),
        unit=unit,
        held=Held(sizes=sizes, row_index=row_index, row_weights=row_weights, optimal_sat=optimal, nights=nights),
        runs={
            id_: CandidateRun(
                project=site.project,
                unit=site.unit,
                rows=site.rows,
                parts=tuple(parts),
                night=night_totals(nights[id_]),
                site=site.key,
            )
            for id_, (site, _, parts) in runs.items()
        },
    )


METHOD_MEAN = "mean conditions of each bin and mode (classic bins)"
METHOD_HELD = "rows held from an earlier run"


def baseline_of(project, results) -> CandidateResult:
    """The baseline among the results of candidates."""
    return next(c for c in results if c.id == project.baseline_id)


def row_choice(selection: RowSelection | None, groups: int, results, baseline: CandidateResult) -> RowChoice:
    """Summary of how rows were chosen and how well they do (see ``results.RowChoice``)."""
    worst = worst_bin_errors(results, baseline)
    if selection is None:
        return RowChoice(
            method=METHOD_MEAN,
            fallback=False,
            groups=groups,
            rows=groups,
            bound=groups,
            worst_residual_frac=None,
            exact_error_frac=None,
            **worst,
        )
    return RowChoice(
        method=selection.method,
        fallback=selection.fell_back,
        groups=groups,
        rows=selection.rows,
        bound=selection.bound,
        worst_residual_frac=None if selection.method == METHOD_HELD else selection.worst_error,
        exact_error_frac=selection.exact_error,
        **worst,
    )


def choice_findings(choice: RowChoice) -> tuple[Finding, ...]:
    """What a reader must know about the choice of rows."""
    out = []
    if choice.fallback:
        out.append(
            Finding(
                "caution",
                "bins",
                f"The choice of rows fell back to a simpler method: {choice.method}. "
                "Trust the hour-by-hour figures of the check sheet, or change the bin width.",
            )
        )
    if choice.exact_error_frac is not None and not choice.exact_error_frac <= EXACT_TOLERANCE:
        out.append(
            Finding(
                "caution",
                "bins",
                f"The rows miss the hours of a bin by {100.0 * choice.exact_error_frac:.2g} %: the schedule "
                "or the bins have changed since they were chosen.",
            )
        )
    return tuple(out)


def held_selection(conditions: Conditions, row_index, row_weights, group_id) -> RowSelection:
    """Held rows in the form of a fresh selection."""
    groups = int(group_id.max()) + 1
    hours = np.bincount(group_id, conditions.hours, groups)
    reached = np.bincount(group_id[row_index], row_weights, groups)
    return RowSelection(
        index=row_index,
        weights=row_weights,
        group=group_id[row_index],
        residuals=np.zeros((1, 1)),
        worst_error=0.0,
        exact_error=float(np.abs(reached / hours - 1.0).max()),
        method=METHOD_HELD,
        fell_back=False,
        rows=len(row_index),
        bound=len(row_index),
    )


def _distinct(arrays: list[np.ndarray]) -> list[np.ndarray]:
    """The arrays without repetitions, in order."""
    out: list[np.ndarray] = []
    for a in arrays:
        if not any(np.array_equal(a, b) for b in out):
            out.append(a)
    return out


def _mean_row_table(c: Conditions) -> pd.DataFrame:
    return pd.DataFrame(
        {
            "group": np.arange(len(c.oat_f)),
            "bin_low_f": c.bin_low_f,
            "occupied": c.occupied,
            "fan_on": c.fan_on,
            "month": c.month,
            "day": c.day,
            "hour_start": c.hour_start,
            "hour_of_year": c.hour_of_year,
            "when": ["mean of the bin"] * len(c.oat_f),
            "weight_h": c.hours,
            "oat_f": c.oat_f,
            "oawb_f": c.oawb_f,
            "humidity_ratio": c.humidity_ratio,
            "rate_period": c.rate_period,
        }
    )


def _ranked(results: list[CandidateResult], to_cure: tuple[str, ...], failed: list[str]) -> list[CandidateResult]:
    """Ranks by energy cost among candidates of equal service that may be best; equal costs keep the order of the list.

    Parameters
    ----------
    to_cure : tuple of str
        What the baseline fails in and nobody has confirmed: a candidate that fails in it as well is not ranked.
    failed : list of str
        Checks that must not fail and did: nothing is ranked.
    """
    why = {}
    for c in results:
        left = [word for word in to_cure if word in c.fails]
        if failed:
            why[c.id] = f"a check that must not fail has failed: {failed[0]}"
        elif c.equal_service.flagged:
            why[c.id] = "; ".join(c.equal_service.reasons)
        elif left:
            why[c.id] = "fails as the baseline does: " + ", ".join(FAILURES[word] for word in left)
    order = sorted((c for c in results if c.id not in why), key=lambda c: round(c.annual["cost_usd"], 6))
    rank = {c.id: i + 1 for i, c in enumerate(order)}
    return [replace(c, rank=rank.get(c.id), not_ranked=why.get(c.id, "")) for c in results]
