"""Sizes that were not given, from the hours of the file and the baseline's setpoints."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from ..hours import Conditions
from ..model.build import build_unit
from ..model.fan import fan_power_at
from ..model.loads import loads_blocks
from ..model.plant import cooling_capacity_kbtuh
from ..model.terminals import heating_need_btuh, requested_flow_cfm
from ..model.unit import Sizes, Unit
from .rows import Rows
from .running import run_parts

# Standard motor sizes, hp (NEMA MG 1 standard ratings, from memory).
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
# Cooling capacity at which sizing finds no limit. [ton]
UNLIMITED_TONS = 1.0e6
# Heating capacity at which sizing finds no limit; finite, since losses are a share of it. [kBtu/h]
UNLIMITED_KBTUH = 1.0e9


def motor_size_hp(bhp: float) -> float:
    """Smallest standard motor with 10 % margin over the power at design. [hp]"""
    needed = bhp * MOTOR_MARGIN
    for size in MOTOR_SIZES_HP:
        if size >= needed:
            return float(size)
    return float(np.ceil(needed / 100.0) * 100.0)


def size_unit(project, conditions: Conditions) -> Sizes:
    """Sizes that were not given, from the hours of the file and the baseline's setpoints.

    All is sized as if no terminal were too small; undersized ones then have ``rogue_zones.undersized_frac`` of what
    their load takes.
    """
    sizes = _sized(project, conditions)
    undersized = np.array([zone.rogue == "undersized" for zone in project.zones])
    share = np.where(undersized, project.rogue_zones.undersized_frac, 1.0)
    return replace(sizes, zone_max_cfm=sizes.zone_max_cfm * share)


def _sized(project, conditions: Conditions) -> Sizes:
    """Sizes of :func:`size_unit` with all terminals as their loads take them.

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
    z, handler = unit.zones, unit.air_handler

    def full_cooling_cfm(loads):
        drop = np.maximum(loads.cool_f - handler.design_sat_f - handler.duct_gain_f, 1.0)
        return loads.q_cool_btuh / (loads.fs * drop)

    need = _largest(full_cooling_cfm(loads) for loads in loads_blocks(unit, occupied))
    people = z.area_ft2 / unit.groups.people_ft2[z.group]
    fresh = z.area_ft2 * unit.groups.oa_cfm_ft2[z.group] + people * unit.groups.oa_cfm_person[z.group]
    zone_max = np.maximum(np.maximum(need * unit.air_handler.zone_sizing_factor, fresh), LEAST_TERMINAL_CFM)

    sizes = replace(nothing, zone_max_cfm=zone_max)
    unit = build_unit(fan_free, sizes)
    sat_of = lambda loads: np.full(len(loads.latent_btuh), float(handler.design_sat_f))
    asked = _largest(
        requested_flow_cfm(unit, loads, sat_of(loads)) @ unit.zones.multiplier for loads in loads_blocks(unit, occupied)
    )
    design_cfm = float(asked) / (1.0 - handler.leakage_frac)
    sizes = replace(sizes, design_cfm=design_cfm)
    unit = build_unit(fan_free, sizes)
    design = fan_power_at(unit, unit.design_cfm, unit.fan.design_total_inwc)
    bhp = float(design.shaft_kw) / 0.745699872 / unit.fan.belt_efficiency_frac
    sizes = replace(sizes, motor_hp=motor_size_hp(bhp))

    # A unit that never runs still gets coils, from all hours.
    running = conditions.take(np.flatnonzero(conditions.fan_on > 0.0))

    def coil_btuh(loads):
        z = unit.zones
        flow = np.where(z.dual_maximum, np.maximum(z.heat_max_cfm, z.min_cfm), loads.min_cfm)
        return heating_need_btuh(loads, flow, sat_of(loads)[:, None] + handler.duct_gain_f)

    coil = _largest(coil_btuh(loads) for loads in loads_blocks(unit, running if len(running.oat_f) else conditions))
    factor = project.heating.sizing_factor
    sizes = replace(sizes, zone_reheat_btuh=np.maximum(coil * factor, 0.0))

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


def _largest(blocks):
    """Largest of the rows of blocks (R, ...)."""
    return np.max([np.max(block, axis=0) for block in blocks], axis=0)


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
