"""Coils of a row: supply heating, cooling and moisture, what a plant too small leaves."""

from __future__ import annotations

from dataclasses import fields, replace

import numpy as np

from ...moist_air import wetbulb_two_step_f
from .. import air_handler as ah
from ..loads import ZoneLoads
from ..plant import cooling_capacity_kbtuh
from ..unit import Unit
from .air import economizer_allowed, leaving_coil_f, rise_before_coil_f, share_for, stuck_frac
from .states import Air, Coils, not_worked_out

# A load beyond capacity by less is carried. [share of the load]
CAPACITY_SLACK_FRAC = 1e-6
# A load beyond capacity by less is rounding. [share of the load]
UNSERVED_FRAC = 1e-9
# Supply heating below this is rounding where mixed air just meets its target: no source starts for it. [kBtu/h]
LEAST_PREHEAT_KBTUH = 1e-6


def coils_of(unit: Unit, c, loads: ZoneLoads, a: Air, mixed: ah.MixedAir) -> Coils:
    """Moisture, loads of the coils and capacity at a mixing."""
    fs, fl = loads.fs, loads.fl
    target = a.sat_f - a.rise_f  # mixed air that needs no coil, either way
    leaving = leaving_coil_f(unit, a)
    preheat = fs * a.flow * np.maximum(target - mixed.mat_f, 0.0)
    entering = np.maximum(mixed.mat_f, target) + rise_before_coil_f(unit, a)
    args = (
        unit,
        fl,
        a.flow,
        loads.infiltration_cfm,
        mixed.oa_frac,
        c.humidity_ratio,
        loads.latent_btuh,
        entering,
        leaving,
        c.pressure_psia,
    )
    wet = ah.moisture(*args)
    # Without counts it is read for direct expansion alone.
    if unit.counts or unit.cooling.type == "direct_expansion":
        wb = wetbulb_two_step_f(entering, wet.mixed, c.pressure_psia)
    else:
        wb = not_worked_out(len(entering))
    capacity = 1000.0 * cooling_capacity_kbtuh(unit.cooling, unit.cooling_tons, c.oat_f, c.oawb_f, wb)
    sensible = fs * a.flow * (entering - leaving)
    latent = fl * a.flow * (wet.mixed - wet.leaving)
    if unit.cooling.type == "direct_expansion" and unit.cooling.cycling_drying_loss_frac > 0.0:
        first_stage = capacity / unit.cooling.stages
        run = np.where(
            first_stage > 0.0,
            np.clip((sensible + latent) / np.where(first_stage > 0.0, first_stage, 1.0), 0.0, 1.0),
            0.0,
        )
        drying = 1.0 - unit.cooling.cycling_drying_loss_frac * (1.0 - run)
        wet = ah.moisture(*args, drying)
        latent = fl * a.flow * (wet.mixed - wet.leaving)
    return Coils(
        mixed=mixed,
        preheat_btuh=preheat,
        entering_f=entering,
        leaving_f=leaving,
        wet=wet,
        entering_wb_f=wb,
        sensible_btuh=sensible,
        latent_btuh=latent,
        capacity_btuh=capacity,
    )


def supply_heating_mode(unit: Unit) -> str:
    """``air_handler.supply_heating``, or ``none`` where the coil has no source of heat."""
    if unit.preheat.type == "same" and unit.heating.type == "none":
        return "none"
    return unit.air_handler.supply_heating


def short_f(unit: Unit, a: Air, mat_f):
    """How far the air before the fan, mixed and heated as the mode allows, is above what the supply temperature needs.
    (R,) [degF]

    Negative where the supply temperature cannot be held because the mixed air is too cold.
    """
    heated = mat_f
    if supply_heating_mode(unit) == "own_setpoint":
        heated = np.maximum(mat_f, unit.air_handler.supply_heating_setpoint_f)
    return heated + a.rise_f - a.sat_f


def excess_btuh(unit: Unit, c, loads: ZoneLoads, a: Air, oa_least_cfm):
    """Load of the cooling coil beyond its capacity while outdoor air does all it can. (R,) [Btu/h]

    Negative also where mixed air is colder than the supply temperature needs: then by the sensible
    load below none.
    """
    fs = loads.fs
    if unit.economizer.stuck_frac is not None:
        x = stuck_frac(unit, a, oa_least_cfm)
    else:
        allowed = economizer_allowed(unit, c, loads, a)
        if not unit.economizer.integrated:
            # Without capacity the air rises until outdoor air does it alone; with some the coil works at minimum
            # outdoor air.
            allowed = allowed & _no_capacity(unit, c)
        x = np.where(allowed, np.maximum(unit.outdoor_air.maximum_frac, a.oa_min_frac), a.oa_min_frac)
    mat = a.rat_f + x * (c.oat_f - a.rat_f)
    at = coils_of(unit, c, loads, a, ah.MixedAir(oa_frac=x, mat_f=mat, economizing=x > a.oa_min_frac))
    return fs * a.flow * (mat - (a.sat_f - a.rise_f)) + at.latent_btuh - at.capacity_btuh


def _no_capacity(unit: Unit, c):
    """Rows in which the plant gives nothing whatever the coil's state. (R,) bool"""
    at = cooling_capacity_kbtuh(unit.cooling, unit.cooling_tons, c.oat_f, c.oawb_f, np.full(c.oat_f.shape, 67.0))
    return np.broadcast_to(at, c.oat_f.shape) <= 0.0


def closed_coils(unit: Unit, c, loads: ZoneLoads, a: Air, mixed: ah.MixedAir, high) -> Coils:
    """Coils of rows that float, so that balances close whatever the steps have left. ``high`` (R,) bool marks plants
    too small.

    Mixed air too cold: the outdoor-air share is the one that gives the supply temperature, a hair
    off its setting, and no economizer is at work; a coil that heats takes the hair instead. Plant too small: a wet coil
    dries just what capacity is left, and where the sensible load alone is beyond it the share gives way.
    """
    target = a.sat_f - a.rise_f
    at = coils_of(unit, c, loads, a, mixed)
    spare = np.where(high, at.capacity_btuh, 0.0)
    if supply_heating_mode(unit) == "own_setpoint":
        heats = mixed.mat_f < unit.air_handler.supply_heating_setpoint_f
    else:
        heats = np.zeros(target.shape, dtype=bool)
    # Btu/h: rounding of a load of nothing is not beyond a plant that is locked out.
    beyond = high & (at.sensible_btuh - spare > UNSERVED_FRAC * np.maximum(at.sensible_btuh, 1.0))
    moved = beyond | np.where(high, (mixed.mat_f < target) & (spare <= 0.0), ~heats)
    carried = np.where(beyond, spare, 0.0)
    wanted = target + carried / (loads.fs * np.where(a.flow > 0.0, a.flow, 1.0))
    x = np.where(moved, share_for(c, a, wanted, mixed.oa_frac), mixed.oa_frac)
    at = coils_of(
        unit,
        c,
        loads,
        a,
        ah.MixedAir(oa_frac=x, mat_f=a.rat_f + x * (c.oat_f - a.rat_f), economizing=mixed.economizing & high),
    )
    left = np.clip(at.latent_btuh, 0.0, np.maximum(spare - at.sensible_btuh, 0.0))
    less = high & (at.latent_btuh - left > UNSERVED_FRAC * np.maximum(at.latent_btuh, 1.0))
    latent = np.where(less, left, at.latent_btuh)
    wet = ah.moisture_of_latent(
        loads.fl, a.flow, loads.infiltration_cfm, x, c.humidity_ratio, loads.latent_btuh, latent, at.wet.wet_frac
    )
    wet = ah.Moisture(
        **{f.name: np.where(less, getattr(wet, f.name), getattr(at.wet, f.name)) for f in fields(ah.Moisture)}
    )
    return replace(at, latent_btuh=latent, wet=wet, capacity_btuh=np.where(high, spare, at.capacity_btuh))
