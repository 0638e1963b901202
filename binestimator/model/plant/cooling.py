"""Cooling plants: what they take at a load, and what they can carry."""

from __future__ import annotations

import numpy as np

from ... import units
from ...dataclass import dataclass
from ...errors import InputError
from ...named import Constant, decided, floats, named
from .common import KBTU_PER_KWH, LEAST_LOAD_FRAC, over
from .published import AIR_COOLED_SETS, curves, part_load_input_frac, pump_power_frac, running_share

KBTUH_PER_TON = Constant(units.KBTUH_PER_TON, "k.kbtu_ton")

KW_PER_TON = Constant(units.KW_PER_TON, "k.kw_ton")

OTHER_LOAD_DESIGN_F = Constant(95.0, "k.other_design_f")
"""Outdoor temperature [degF] at which the other load on the plant is as given."""

FAN_FREE_COP_CAP_BTUH = Constant(760_000.0, "k.fan_free_cap")
"""Rated capacity [Btu/h] above which the fan-free formula is held (90.1-2022 12.5.2(c))."""

# COP = a EER Q + b EER (90.1-2022 12.5.2(c)).
FAN_FREE_A = Constant(7.84e-8, "k.fan_free_a")

FAN_FREE_B = Constant(0.338, "k.fan_free_b")

# Loads this little above a whole number of units do not start another one.
STAGING_SLACK = Constant(1e-9, "k.staging")


@dataclass(frozen=True, slots=True)
class CoolingPower:
    """What a cooling load takes, row by row.

    Parameters
    ----------
    compressor_kw : ndarray
        Chiller or condensing unit, of this air handler alone [kW].
    pump_tower_kw : ndarray
        Chilled-water pump, condenser pump and tower fan, of this air handler alone [kW].
    purchased_kbtuh : ndarray
        Purchased cooling at the meter [kBtu/h].
    plr : ndarray
        Load of the plant, other load included, over its available capacity, 0 to 1.
    units_on : ndarray
        Equal units that run for it.
    unserved_kbtuh : ndarray
        Load beyond what the plant has left for this air handler [kBtu/h].
    """

    compressor_kw: np.ndarray
    pump_tower_kw: np.ndarray
    purchased_kbtuh: np.ndarray
    plr: np.ndarray
    units_on: np.ndarray
    unserved_kbtuh: np.ndarray


def fan_free_cop(eer, rated_capacity_btuh):
    """Coefficient of performance of a packaged unit without its indoor fan.

    Parameters
    ----------
    eer : float
        Rated energy efficiency ratio with the indoor fan [Btu/Wh].
    rated_capacity_btuh : float
        Rated net capacity of the whole unit [Btu/h]; held at 760 000.

    Returns
    -------
    float
        Cooling over power of compressors and condenser fans, both in the same unit.

    Notes
    -----
    COP = 7.84e-8 EER Q + 0.338 EER. The model compares it with the load of the coil, which
    holds the heat of the supply fan; capacity therefore means capacity of the coil, before
    fan heat is taken off. A rated (net) capacity is lower by the fan heat, some 5 %: over
    that range of Q the formula moves by less than 1 %.

    References
    ----------
    ANSI/ASHRAE/IES Standard 90.1-2022, 12.5.2(c).

    Examples
    --------
    >>> round(float(fan_free_cop(11.0, 240_000.0)), 3)
    3.925
    """
    capped = np.minimum(rated_capacity_btuh, FAN_FREE_COP_CAP_BTUH)
    return FAN_FREE_A * eer * capped + FAN_FREE_B * eer


def rated_input_kw_per_ton(cooling, capacity_tons):
    """Full-load input of the compressors at rating conditions [kW/ton].

    Chilled water: the input ``kw_per_ton``. Direct expansion: from the EER, without the
    indoor fan when the EER includes it. 0 for other types.
    """
    if cooling.type == "chilled_water":
        return cooling.kw_per_ton
    if cooling.type == "direct_expansion":
        if cooling.rated_with_fan:
            return KW_PER_TON / fan_free_cop(cooling.eer, capacity_tons * KBTUH_PER_TON * 1000.0)
        return KW_PER_TON * KBTU_PER_KWH / cooling.eer
    return 0.0


def _air_cooled(cooling):
    return cooling.type == "direct_expansion" or cooling.chiller_set in AIR_COOLED_SETS


def _temperature_factors(cooling, oat_f, oawb_f, entering_wb_f):
    """Capacity and full-load input at the conditions over those at rating."""
    table = curves()
    if cooling.type == "direct_expansion":
        capacity, full_input = table["dx_cap_f_t"], table["dx_eir_f_t"]
        x, y = named(np.clip(entering_wb_f, *capacity.x_range), "curve_wb_f"), oat_f
    else:
        capacity = table[f"chiller_{cooling.chiller_set}_cap_f_t"]
        full_input = table[f"chiller_{cooling.chiller_set}_eir_f_t"]
        x = named(np.clip(cooling.chilled_water_f, *capacity.x_range), "chw_f")
        y = oat_f
        if not _air_cooled(cooling):
            y = np.maximum(oawb_f + cooling.tower_approach_f, cooling.condenser_water_min_f)
    # Both curves of a plant have the same limits (tested).
    assert capacity.y_range is not None, "a curve by temperatures has both limits"
    y = named(np.clip(y, *capacity.y_range), "rejection_f")
    return (
        named(capacity.within(x, y) / capacity.at_rating, "cap_factor"),
        named(full_input.within(x, y) / full_input.at_rating, "eir_factor"),
    )


def _has_other_load(cooling):
    return cooling.type == "chilled_water" and decided(cooling.other_load_tons > 0.0)


def other_load_kbtuh(cooling, oat_f):
    """Other load on the same chilled-water plant.

    Parameters
    ----------
    cooling : record of section cooling
    oat_f : float or ndarray
        Outdoor temperature [degF].

    Returns
    -------
    float or ndarray
        [kBtu/h]: ``other_load_tons`` at 95 degF, on a straight line to none at
        ``other_load_zero_f``; the line goes on above 95 degF. None on direct expansion and
        purchased cooling, which serve this air handler alone.
    """
    oat_f = floats(oat_f)
    if not _has_other_load(cooling):
        return 0.0 * oat_f
    share = (oat_f - cooling.other_load_zero_f) / (OTHER_LOAD_DESIGN_F - cooling.other_load_zero_f)
    return named(cooling.other_load_tons * KBTUH_PER_TON * np.maximum(share, 0.0), "other_load")


def _rated_kbtuh(capacity_tons):
    return named(capacity_tons * KBTUH_PER_TON, "rated_kbtuh")


def _plant_capacity_kbtuh(cooling, capacity_tons, oat_f, capacity_factor):
    """Capacity of all units at the conditions; none for direct expansion in lockout."""
    capacity = _rated_kbtuh(capacity_tons) * capacity_factor
    if cooling.type == "direct_expansion":
        capacity = np.where(oat_f < cooling.lockout_f, 0.0, capacity)
    return named(capacity, "plant_kbtuh")


def cooling_capacity_kbtuh(cooling, capacity_tons, oat_f, oawb_f, entering_wb_f):
    """Cooling that this air handler can get.

    Parameters
    ----------
    cooling : record of section cooling
    capacity_tons : float
        Rated capacity of the plant, measured at the coil [ton].
    oat_f, oawb_f, entering_wb_f : float or ndarray
        Outdoor dry bulb and wet bulb, wet bulb entering the coil [degF]. The last matters
        to direct expansion only, where it is held within 57 to 77 degF.

    Returns
    -------
    float or ndarray
        [kBtu/h]. Chilled water: all units at the conditions less the other load, not below
        0. Direct expansion: all stages; 0 below ``lockout_f``. Purchased: infinite.
        None: 0.
    """
    oat, oawb, entering = np.broadcast_arrays(*(floats(value) for value in (oat_f, oawb_f, entering_wb_f)))
    if cooling.type == "none":
        return np.zeros(oat.shape)[()]
    if cooling.type == "purchased":
        return np.full(oat.shape, np.inf)[()]
    factor, _ = _temperature_factors(cooling, oat, oawb, entering)
    capacity = _plant_capacity_kbtuh(cooling, capacity_tons, oat, factor)
    return np.maximum(capacity - other_load_kbtuh(cooling, oat), 0.0)


def _least_steady_plr(cooling):
    """Least steady part load of one unit.

    Direct expansion: one of the equal stages of the plant, over a unit's share of it; 1
    when each unit is one stage. ``minimum_plr_frac`` is for chillers.
    """
    if cooling.type == "direct_expansion":
        return named(np.minimum(1.0, cooling.units / cooling.stages), "least_plr")
    return named(cooling.minimum_plr_frac, "least_plr")


def _plant_power(cooling, capacity_tons, total_kbtuh, plant_kbtuh, input_factor, part="all_"):
    """Power of the whole plant under a total load: compressors, pumps with tower, units on.

    ``part`` begins the names of its steps.
    """
    rated_kbtuh = _rated_kbtuh(capacity_tons)
    unit_kbtuh = plant_kbtuh / cooling.units
    total_kbtuh = named(np.where(total_kbtuh > LEAST_LOAD_FRAC * rated_kbtuh, total_kbtuh, 0.0), part + "load")
    units_on = np.clip(np.ceil(over(total_kbtuh, unit_kbtuh) - STAGING_SLACK), 1, cooling.units)
    units_on = named(np.where((total_kbtuh > 0.0) & (unit_kbtuh > 0.0), units_on, 0.0), part + "on")
    plr = named(np.clip(over(total_kbtuh, units_on * unit_kbtuh), 0.0, 1.0), part + "plr")
    if cooling.type == "direct_expansion":
        curve = curves()["dx_eir_f_plr"]
    else:
        curve = curves()[f"chiller_{cooling.chiller_set}_eir_f_plr"]
    below = cooling.below_minimum
    least = _least_steady_plr(cooling)
    unit_tons = capacity_tons / cooling.units
    # The published input factor is a ratio of input to capacity: power is the product.
    unit_full_kw = (
        unit_tons
        * named(rated_input_kw_per_ton(cooling, capacity_tons), "full_kw_ton")
        * over(plant_kbtuh, rated_kbtuh)
        * input_factor
    )
    unit_full_kw = named(unit_full_kw, "unit_kw")
    compressor_kw = units_on * unit_full_kw * part_load_input_frac(plr, curve.coefficients, least, below, part)
    pump_tower_kw = 0.0 * compressor_kw
    if cooling.type == "chilled_water":
        flow_frac = over(total_kbtuh, rated_kbtuh)
        chilled_pump_kw = cooling.chilled_pump_w_ton * capacity_tons / 1000.0
        pump_kw = chilled_pump_kw * pump_power_frac(flow_frac, cooling.chilled_pump_control)
        pump_tower_kw = pump_tower_kw + named(pump_kw, part + "pump_kw")
        if not _air_cooled(cooling):
            # the condenser pump is interlocked: it stops with a cycling unit
            running = units_on * named(running_share(plr, least, below), part + "run")
            condenser_w = running * unit_tons * cooling.condenser_pump_w_ton
            tower_w = total_kbtuh / KBTUH_PER_TON * cooling.tower_w_ton
            pump_tower_kw = pump_tower_kw + named((condenser_w + tower_w) / 1000.0, part + "tower_kw")
    return compressor_kw, pump_tower_kw, units_on


def cooling_power(cooling, capacity_tons, load_kbtuh, running, oat_f, oawb_f, entering_wb_f):
    """Power that the cooling load of this air handler takes.

    Parameters
    ----------
    cooling : record of section cooling
    capacity_tons : float
        Rated capacity of the plant, measured at the coil [ton]. 0 serves nothing.
    load_kbtuh : float or ndarray
        Coil load, sensible and latent [kBtu/h]; below 0 counts as 0.
    running : float or ndarray
        1 where the air handler runs, 0 where not: no energy and no load then.
    oat_f, oawb_f, entering_wb_f : float or ndarray
        Outdoor dry bulb and wet bulb, wet bulb entering the coil [degF].

    Returns
    -------
    CoolingPower
        Arrays of the broadcast shape of load, running and weather.

    Raises
    ------
    InputError
        The type of cooling is not one of the inputs' choices.

    Notes
    -----
    Chilled water and direct expansion, with all factors relative to rating::

        capacity   = tons 12 CAPfT(X, Y)          per unit: capacity / units
        other      = min(other load, capacity)    served = min(load + other, capacity)
        n          = units on = ceil(load of plant / capacity per unit), 1 to units
        PLR        = load of plant / (n capacity per unit)
        compressor = n (tons / units) kW/ton CAPfT EIRfT EIRfPLR(max(PLR, least)) x run
        run        = min(1, PLR / least) where the unit cycles, 1 where it holds
        power of this air handler = power(served) - power(other)

    Y is the outdoor temperature of air-cooled sets (A, B) and direct expansion, else the
    condenser water: wet bulb + approach, not below ``condenser_water_min_f``. Pumps and
    tower are increments over the other load too: chilled-water pump on plant load over
    rated capacity (``constant``: full power from the first load on), condenser pumps of
    running units, tower per ton of load. When the plant serves another load already, a
    pump at constant flow costs this air handler nothing.

    Direct expansion: the least steady load is one of the equal stages; no pumps.
    Purchased cooling: load / (1 - loss share) at the meter; no pumps, no capacity limit.

    Steps: where the plant load passes a whole number n of units, n + 1 units take over at
    part load n / (n + 1). The compressors' power changes there by (n + 1)
    EIRfPLR(n / (n + 1)) - n of a unit's full power: for n up to 3 between -0.22 (water-cooled, 75 to 150 tons) and
    +0.03 (from 600 tons), by up to +0.21 for direct expansion. Where it falls, a little more load
    takes a little less power, and an increment over another load just below such a step
    can be negative by as much. One unit has no such steps.
    """
    load, running, oat, oawb, entering = np.broadcast_arrays(
        *(floats(value) for value in (load_kbtuh, running, oat_f, oawb_f, entering_wb_f))
    )
    load = np.maximum(load, 0.0) * running
    nothing = np.zeros(load.shape)
    if cooling.type == "none":
        return CoolingPower(nothing, nothing, nothing, nothing, nothing, load)
    if cooling.type == "purchased":
        metered = load / (1.0 - cooling.purchased_loss_frac)
        return CoolingPower(nothing, nothing, metered, nothing, nothing, nothing)
    if cooling.type not in ("chilled_water", "direct_expansion"):
        raise InputError(
            f"cooling.type: not a source of cooling; got {cooling.type!r}; allowed are "
            "chilled_water, direct_expansion, purchased, none; choose one of them"
        )
    capacity_factor, input_factor = _temperature_factors(cooling, oat, oawb, entering)
    plant = _plant_capacity_kbtuh(cooling, capacity_tons, oat, capacity_factor) + nothing
    if _has_other_load(cooling):
        other = named(np.minimum(other_load_kbtuh(cooling, oat), plant) * running, "other")
        served = np.minimum(load, plant - other)
        total = named(served + other, "total_load")
        alone_compressor, alone_pumps, _ = _plant_power(cooling, capacity_tons, other, plant, input_factor, "alone_")
    else:
        served = total = np.minimum(load, plant)
        alone_compressor, alone_pumps = nothing, nothing
    compressor, pumps, units_on = _plant_power(cooling, capacity_tons, total, plant, input_factor)
    compressor, pumps = compressor - alone_compressor, pumps - alone_pumps
    return CoolingPower(
        compressor_kw=compressor,
        pump_tower_kw=pumps,
        purchased_kbtuh=nothing,
        plr=np.minimum(over(total, plant), 1.0),
        units_on=units_on,
        unserved_kbtuh=load - served,
    )
