"""Air handler: return air, outdoor air and economizer, moisture, cooling and heating coils.

All closed form. The moisture balance of rooms and coil is solved for the steady state of
each row, with the wet coil fading in over a small sensible drop so that nothing jumps
where the coil starts to work.
"""

from __future__ import annotations

import numpy as np

from ..dataclass import dataclass
from ..moist_air import (
    enthalpy_btu_lb,
    humidity_ratio_below_boiling,
    saturation_pressure_psia,
)
from ..named import Constant, named
from .unit import Groups, Unit, Zones, number

# Denominators of the moisture balance are kept above this flow [cfm] so that a room with
# neither outdoor air nor infiltration has a (very humid) answer instead of none.
LEAST_EXCHANGE_CFM = Constant(1e-6, "k.least_exchange")
# No room is held moister than saturated air of this temperature. [degF]
ROOM_SATURATION_F = 80.0
# Saturation at a coil is held at this leaving temperature, where it is far above any air's humidity: a plant that is
# absurdly short would come to the boiling point, from which saturation is not defined. [degF]
WARMEST_DRYING_F = Constant(150.0, "k.warmest_drying_f")


@dataclass(frozen=True, slots=True, kw_only=True)
class MixedAir:
    """Arrays (R,): ``oa_frac`` outdoor-air share of supply air · ``mat_f`` mixed air ·
    ``economizing`` outdoor air above its minimum by choice (bool)."""

    oa_frac: np.ndarray
    mat_f: np.ndarray
    economizing: np.ndarray


@dataclass(frozen=True, slots=True, kw_only=True)
class Moisture:
    """Arrays (R,), humidity ratios [lb/lb]: ``room`` · ``mixed`` · ``leaving`` the coil ·
    ``wet_frac`` how far the coil dries (0 to 1)."""

    room: np.ndarray
    mixed: np.ndarray
    leaving: np.ndarray
    wet_frac: np.ndarray


def minimum_oa_frac(unit: Unit, flow_cfm, occupied, oa_people_cfm, oa_least_cfm=None):
    """Outdoor-air share at the minimum setting of the chosen control. [-]

    ``flow`` holds an airflow, so its share falls as supply air rises; ``position`` holds the
    share, so outdoor air follows supply air; ``people`` follows the people present. Shut
    when unoccupied. Never above the largest share the dampers reach.

    Parameters
    ----------
    flow_cfm, occupied, oa_people_cfm : ndarray (R,)
    oa_least_cfm : ndarray (R,), optional
        Outdoor air below which the minimum does not go, whatever its control. [cfm]
    """
    oa = unit.outdoor_air
    safe = np.where(flow_cfm > 0.0, flow_cfm, 1.0)
    if oa.control == "position":
        share = np.full(np.shape(flow_cfm), unit.oa_position_frac)
    elif oa.control == "people":
        share = (unit.oa_area_cfm + oa_people_cfm / oa.ventilation_efficiency) / safe
    else:
        share = unit.oa_minimum_cfm / safe
    share = share * occupied
    if oa_least_cfm is not None:
        share = np.maximum(share, oa_least_cfm / safe)
    return np.minimum(share, oa.maximum_frac)


def design_outdoor_air_cfm(zones: Zones, groups: Groups):
    """Sum of zone outdoor air at full occupancy: share by area and share by people. [cfm]

    ASHRAE 62.1 breathing-zone form, rates per group; the system ventilation efficiency
    is applied by the caller.
    """
    area = zones.area_ft2 * zones.multiplier
    people = area * zones.gain_multiplier / groups.people_ft2[..., zones.group]
    by_area = np.sum(area * groups.oa_cfm_ft2[..., zones.group], axis=-1)
    by_people = np.sum(people * groups.oa_cfm_person[..., zones.group], axis=-1)
    return number(by_area), number(by_people)


def required_oa_cfm(unit: Unit, occupied, oa_people_cfm):
    """Outdoor air that the rooms are promised: all of it in occupied hours, or its share for people by those present.
    [cfm]

    What the controls hold is another matter (:func:`minimum_oa_frac`): they may hold more, or less.
    """
    if unit.oa_required_by != "people":
        return unit.oa_required_cfm * occupied
    area, people = design_outdoor_air_cfm(unit.zones, unit.groups)
    full = area + people
    share = np.where(full > 0.0, (area + oa_people_cfm) / np.where(full > 0.0, full, 1.0), 1.0)
    return unit.oa_required_cfm * share * occupied


def economizer_allowed(unit: Unit, oat_f, oa_humidity_ratio, return_f, return_humidity_ratio):
    """Whether the economizer may open, decided on the return state at minimum outdoor air. (bool)"""
    eco = unit.economizer
    if eco.type == "none":
        return np.zeros(np.shape(oat_f), dtype=bool)
    if eco.type == "fixed_dry_bulb":
        return oat_f <= eco.high_limit_f
    if eco.type == "differential_dry_bulb":
        return oat_f <= return_f
    below_cap = oat_f <= eco.high_limit_f
    h_out = enthalpy_btu_lb(oat_f, oa_humidity_ratio)
    if eco.type == "fixed_enthalpy":
        return below_cap & (h_out <= eco.high_limit_btu_lb)
    return below_cap & (h_out <= enthalpy_btu_lb(return_f, return_humidity_ratio))


def mix(unit: Unit, allowed, oa_min_frac, oat_f, return_f, target_f) -> MixedAir:
    """Outdoor-air share and mixed air for a wanted mixed-air temperature.

    Parameters
    ----------
    allowed : ndarray (R,) bool
        From :func:`economizer_allowed`.
    oa_min_frac, oat_f, return_f : ndarray (R,)
    target_f : ndarray (R,)
        Mixed air that needs neither cooling nor heating. [degF]

    Notes
    -----
    Within the economizer ``x = clip((Tr - target)/(Tr - OAT), x0, xmax)``; fully open where
    outdoor air is not colder than the target. Not integrated: fully open with mechanical
    cooling is not allowed, so the dampers stay at minimum unless outdoor air is cold enough
    to do it alone. A stuck damper stays where it is.
    """
    eco = unit.economizer
    x_max = np.maximum(unit.outdoor_air.maximum_frac, oa_min_frac)
    if eco.stuck_frac is not None:
        x = np.full(np.shape(oat_f), eco.stuck_frac, dtype=float)
        return MixedAir(oa_frac=x, mat_f=return_f + x * (oat_f - return_f), economizing=np.zeros(x.shape, dtype=bool))
    cold_enough = oat_f < target_f
    gap = return_f - oat_f
    modulated = np.where(cold_enough & (gap > 0.0), (return_f - target_f) / np.where(gap > 0.0, gap, 1.0), 1.0)
    modulated = named(modulated, "modulated")
    if not eco.integrated:
        allowed = allowed & cold_enough
    allowed = named(allowed, "allowed")
    x = np.where(allowed, np.clip(modulated, oa_min_frac, x_max), oa_min_frac)
    return MixedAir(oa_frac=x, mat_f=return_f + x * (oat_f - return_f), economizing=allowed & (x > oa_min_frac))


def moisture(
    unit: Unit,
    fl,
    flow_cfm,
    infiltration_cfm,
    oa_frac,
    oa_humidity_ratio,
    latent_btuh,
    entering_f,
    leaving_f,
    pressure_psia,
    drying_frac=1.0,
    part="",
) -> Moisture:
    """Steady moisture balance of rooms and cooling coil.

    Parameters
    ----------
    fl : float
        Latent factor. [Btu/h.cfm.(lb/lb)]
    flow_cfm, infiltration_cfm, oa_frac, oa_humidity_ratio, latent_btuh : ndarray (R,)
    entering_f, leaving_f : ndarray (R,)
        Air before and after the cooling coil. [degF]
    drying_frac : float or ndarray (R,)
        Share of the coil's drying that remains while compressors cycle.
    part : str
        Begins the names of its steps.

    Notes
    -----
    With ``m = fl V``, ``mi = fl V_inf``, ``L`` latent gain, ``x`` outdoor share and
    ``w`` the wet share of the coil, air leaves at ``Wl = (1-w) Wm + w Wc`` when the mixed air
    is wetter than ``Wc = f Wsat(T_leaving)``; then
    ``Wr = (m (1-w) x Woa + m w Wc + mi Woa + L) / (m (1 - (1-w)(1-x)) + mi)``. With a dry coil
    ``Wr = Woa + L / (m x + mi)``. ``w`` grows from 0 to 1 over the first ``coil_contact_f``
    degrees of sensible drop: without it a coil that does no sensible work would dry.
    Room humidity is held at saturation of 80 degF at most.
    """
    ah = unit.air_handler
    m = fl * flow_cfm
    mi = fl * infiltration_cfm
    least = fl * LEAST_EXCHANGE_CFM
    outside = m * oa_frac + mi
    dry_room = oa_humidity_ratio + latent_btuh / np.maximum(outside, least)
    ceiling = humidity_ratio_below_boiling(saturation_pressure_psia(ROOM_SATURATION_F), pressure_psia)
    ceiling = named(ceiling, "w_ceiling")
    dry_room = named(np.minimum(dry_room, np.maximum(ceiling, oa_humidity_ratio)), part + "dry_room")
    dry_mixed = named(oa_frac * oa_humidity_ratio + (1.0 - oa_frac) * dry_room, part + "dry_mixed")
    coil_p = named(saturation_pressure_psia(np.minimum(leaving_f, WARMEST_DRYING_F)), part + "coil_p")
    coil_w = named(ah.coil_rh_frac * humidity_ratio_below_boiling(coil_p, pressure_psia), part + "coil_w")
    wet = np.clip((entering_f - leaving_f) / ah.coil_contact_f, 0.0, 1.0) * drying_frac
    # A coil no colder than the dew point of the mixed air it would see stays dry.
    wet = named(np.where(dry_mixed > coil_w, wet, 0.0), part + "wet")
    through = 1.0 - wet
    wet_room = (
        m * through * oa_frac * oa_humidity_ratio + m * wet * coil_w + mi * oa_humidity_ratio + latent_btuh
    ) / np.maximum(m * (1.0 - through * (1.0 - oa_frac)) + mi, least)
    wet_room = named(wet_room, part + "wet_room")
    room = np.where(wet > 0.0, np.minimum(wet_room, dry_room), dry_room)
    room = named(room, part + "room_humidity_ratio")
    mixed = named(oa_frac * oa_humidity_ratio + (1.0 - oa_frac) * room, part + "mixed_humidity_ratio")
    leaving = named(through * mixed + wet * np.minimum(mixed, coil_w), part + "leaving_humidity_ratio")
    return Moisture(room=room, mixed=mixed, leaving=leaving, wet_frac=wet)


def moisture_of_latent(
    fl, flow_cfm, infiltration_cfm, oa_frac, oa_humidity_ratio, latent_btuh, coil_latent_btuh, wet_frac
) -> Moisture:
    """Moisture balance of rooms where the latent load of the coil is given. [Btu/h]

    ``Wr = Woa + (L - Lcoil) / (m x + mi)`` in the names of :func:`moisture`; air leaves the coil drier by ``Lcoil /
    m``.
    """
    m = fl * flow_cfm
    outside = np.maximum(m * oa_frac + fl * infiltration_cfm, fl * LEAST_EXCHANGE_CFM)
    room = oa_humidity_ratio + (latent_btuh - coil_latent_btuh) / outside
    mixed = oa_frac * oa_humidity_ratio + (1.0 - oa_frac) * room
    return Moisture(
        room=room, mixed=mixed, leaving=mixed - coil_latent_btuh / np.where(m > 0.0, m, 1.0), wet_frac=wet_frac
    )
