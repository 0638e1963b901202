"""Air of a row: terminals and fan at the airflow that zones ask for, mixed air, economizer."""

from __future__ import annotations

import numpy as np

from .. import air_handler as ah
from .. import fan as fans
from ..loads import ZoneLoads
from ..terminals import ZoneState, rationed_dsp_inwc, requested_flow_cfm, zone_state
from ..unit import Unit
from .full import air_from_full
from .states import Air, ZoneSums

# Return and outdoor air closer than this are the same: no damper makes a difference. [degF]
SAME_AIR_F = 1e-9
# Cooling below this is rounding where mixed air just meets its target: it is not counted. [Btu/h]
LEAST_COOLING_BTUH = 1.0


def heating_enabled(unit: Unit, oat_f, fan_on):
    """Whether the heating plant of the terminals is enabled. (R,) 0/1"""
    if unit.heating.type == "none":
        return np.zeros(np.shape(oat_f))
    running = np.ones(np.shape(oat_f)) if unit.heating.enabled_unoccupied else np.asarray(fan_on, dtype=float)
    return running * (np.asarray(oat_f) < unit.heating.enabled_below_f)


def rationed_air(unit: Unit, c, loads: ZoneLoads, sat_f, dsp_set, resets_pressure, reheat_on, oa_least_cfm) -> Air:
    """Zones, fan and return air at a supply air temperature."""
    z = unit.zones
    leak_at = lambda dsp_inwc, rows=unit: fans.leakage_cfm(rows, dsp_inwc)
    if loads.known is not None and loads.known.full and not unit.counts:
        sums, dsp, share, binds = air_from_full(unit, loads, sat_f, dsp_set, reheat_on, leak_at)
        return air_of(unit, c, loads, sums, sat_f, dsp_set, dsp, share, binds, resets_pressure, oa_least_cfm)
    requested = requested_flow_cfm(unit, loads, sat_f, reheat_on)
    standing = fans.standing_dsp_inwc(unit, requested @ z.multiplier + leak_at(dsp_set), dsp_set)
    dsp, share, binds = rationed_dsp_inwc(unit, requested, standing, leak_at)
    zones = zone_state(unit, loads, sat_f, dsp, requested, reheat_on)

    return air_of(unit, c, loads, zones, sat_f, dsp_set, dsp, share, binds, resets_pressure, oa_least_cfm)


def air_of(
    unit: Unit,
    c,
    loads: ZoneLoads,
    zones: ZoneState | ZoneSums,
    sat_f,
    dsp_set,
    dsp,
    share,
    binds,
    resets_pressure=True,
    oa_least_cfm=None,
) -> Air:
    """Fan and return air of zones whatever has set their airflows and temperatures.

    Parameters
    ----------
    sat_f : ndarray (R,)
        Supply air temperature. [degF]
    dsp_set, dsp : ndarray (R,)
        Setpoint of duct pressure, and what is left at the terminals. [in. w.c.]
    share, binds : ndarray (R,)
        From ``rationed_dsp_inwc``.
    """
    fs = loads.fs
    if isinstance(zones, ZoneSums):
        room_flow, room_sum = zones.flow_cfm, zones.room_cfm_f
    else:
        mult = unit.zones.multiplier
        room_flow, room_sum = zones.flow_cfm @ mult, (zones.flow_cfm * zones.room_f) @ mult
    leak = fans.leakage_cfm(unit, dsp)
    flow = room_flow + leak
    safe = np.where(flow > 0.0, flow, 1.0)
    # The fan sees what really flows; starved zones can leave it a little above its setpoint. At its
    # airflow ceiling it is compared with the pressure that is left.
    fan = fans.supply_fan(unit, flow, np.where(binds, np.minimum(dsp, dsp_set), dsp_set), resets_pressure)
    rise = fans.temperature_rise_f(fan.heat_kw, flow, fs)
    return_kw = (
        fans.secondary_fan_kw(unit, flow * unit.return_fan.flow_frac)
        if unit.return_fan.type == "return"
        else np.zeros_like(flow)
    )

    # Return air: rooms, leaked supply air, plenum lights, return fan; duct gain taken from
    # the plenum comes off again here.
    gain_f = unit.air_handler.duct_gain_f
    room_mean = np.where(room_flow > 0.0, room_sum / np.where(room_flow > 0.0, room_flow, 1.0), np.nan)
    duct_taken = room_flow * gain_f if unit.air_handler.duct_gain_from == "plenum" else 0.0
    rat = np.where(
        flow > 0.0,
        (room_sum + leak * sat_f - duct_taken) / safe
        + (loads.plenum_btuh / fs) / safe
        + fans.temperature_rise_f(return_kw, flow, fs),
        sat_f,
    )
    return Air(
        zones=zones,
        sat_f=sat_f,
        dsp_set_inwc=dsp_set,
        dsp_held_inwc=dsp,
        ceiling_frac=share,
        at_ceiling=binds,
        fan=fan,
        room_flow=room_flow,
        leak=leak,
        flow=flow,
        return_kw=return_kw,
        rise_f=rise,
        room_mean_f=room_mean,
        rat_f=rat,
        oa_min_frac=ah.minimum_oa_frac(unit, flow, c.occupied, loads.oa_people_cfm, oa_least_cfm),
    )


def leaving_coil_f(unit: Unit, a: Air):
    """Air that leaves the cooling coil. [degF]"""
    return a.sat_f - a.rise_f if unit.fan.arrangement == "draw_through" else a.sat_f


def rise_before_coil_f(unit: Unit, a: Air):
    """Warming between mixing box and cooling coil. [degF]"""
    return 0.0 if unit.fan.arrangement == "draw_through" else a.rise_f


def economizer_allowed(unit: Unit, c, loads: ZoneLoads, a: Air):
    """Whether the economizer may open. (R,) bool"""
    return_w = c.humidity_ratio
    if unit.economizer.type == "differential_enthalpy" and unit.economizer.stuck_frac is None:
        tm0 = a.rat_f + a.oa_min_frac * (c.oat_f - a.rat_f)
        leaving = leaving_coil_f(unit, a)
        return_w = ah.moisture(
            unit,
            loads.fl,
            a.flow,
            loads.infiltration_cfm,
            a.oa_min_frac,
            c.humidity_ratio,
            loads.latent_btuh,
            np.maximum(tm0 + rise_before_coil_f(unit, a), leaving),
            leaving,
            c.pressure_psia,
        ).room
    return ah.economizer_allowed(unit, c.oat_f, c.humidity_ratio, a.rat_f, return_w)


def stuck_frac(unit: Unit, a: Air, oa_least_cfm):
    """Share of a stuck damper; more only where a least outdoor air is asked for. (R,)"""
    stuck = np.full(a.flow.shape, unit.economizer.stuck_frac, dtype=float)
    if oa_least_cfm is None:
        return stuck
    least = np.minimum(oa_least_cfm / np.where(a.flow > 0.0, a.flow, 1.0), unit.outdoor_air.maximum_frac)
    return np.maximum(stuck, least)


def mixed_air(unit: Unit, c, loads: ZoneLoads, a: Air, oa_least_cfm) -> ah.MixedAir:
    """Mixed air at the setting that controls choose."""
    if unit.economizer.stuck_frac is not None:
        x = stuck_frac(unit, a, oa_least_cfm)
        return ah.MixedAir(
            oa_frac=x, mat_f=a.rat_f + x * (c.oat_f - a.rat_f), economizing=np.zeros(x.shape, dtype=bool)
        )
    return ah.mix(unit, economizer_allowed(unit, c, loads, a), a.oa_min_frac, c.oat_f, a.rat_f, a.sat_f - a.rise_f)


def share_for(c, a: Air, mat_f, share):
    """Outdoor-air share that gives a mixed-air temperature; as it is where outdoor and return air are the same. (R,)"""
    gap = a.rat_f - c.oat_f
    wide = np.abs(gap) > SAME_AIR_F
    return np.clip(np.where(wide, (a.rat_f - mat_f) / np.where(wide, gap, 1.0), share), 0.0, 1.0)
