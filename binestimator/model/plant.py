"""Plant: electricity, fuel and purchased energy that coil and reheat loads take.

Loads come in as arrays of rows in kBtu/h; energy rates go out. Sizes are given (or were
sized once) and never change here. Part-load and temperature behaviour are published
curves kept as data in ``plant_curves.csv``, clamped to their ranges and divided by their
value at rating conditions, so that a plant at rating takes exactly what its nameplate
says: the published coefficients miss that by up to 0.5 %.

All results are continuous in the load apart from real switching: a second unit of several
equal ones starts (:func:`cooling_power`), a pump at constant flow starts with the first
load, and ``hold`` keeps a unit at its least steady load down to no load.

Not modelled: starting losses of units, chilled-water reset, heat of pumps and pipes in the
chilled water, free cooling by the tower, frost on heat pumps beyond what the coefficient
of performance by outdoor temperature holds.

References
----------
ANSI/ASHRAE/IES Standard 90.1-2022, tables J-4 and L4.2.3-1, section 12.5.2. National
Energy Code of Canada for Buildings 2025, 8.4.6. The table with each coefficient, its
limits and its source is ``plant_curves.csv``; :func:`curve_description` prints a line of it.
"""

from __future__ import annotations

import csv
from dataclasses import dataclass
from functools import cache
from pathlib import Path

import numpy as np

from binestimator import units
from binestimator.errors import InputError
from binestimator.named import Constant, decided, floats, named

CURVES_FILE = Path(__file__).with_name("plant_curves.csv")

# Water-cooled chillers below 150 tons have their own part-load curves and the temperature
# curves of the next size, 150 to 300 tons: from their published full-load rating this gives
# their published integrated part load value within 1.5 % (tested).
AIR_COOLED_SETS = ("air_cooled_below_150_ton", "air_cooled_from_150_ton")
"""Chiller sets of 90.1-2022 table J-4 without tower and condenser pump."""

KBTUH_PER_TON = Constant(units.KBTUH_PER_TON, "k.kbtu_ton")
KW_PER_TON = Constant(units.KW_PER_TON, "k.kw_ton")
KBTU_PER_KWH = Constant(units.KBTU_PER_KWH, "k.btu_wh")
KBTU_PER_THERM = Constant(units.KBTU_PER_THERM, "k.kbtu_therm")

OTHER_LOAD_DESIGN_F = Constant(95.0, "k.other_design_f")
"""Outdoor temperature [degF] at which the other load on the plant is as given."""

FAN_FREE_COP_CAP_BTUH = Constant(760_000.0, "k.fan_free_cap")
"""Rated capacity [Btu/h] above which the fan-free formula is held (90.1-2022 12.5.2(c))."""

# COP = a EER Q + b EER (90.1-2022 12.5.2(c)).
FAN_FREE_A = Constant(7.84e-8, "k.fan_free_a")
FAN_FREE_B = Constant(0.338, "k.fan_free_b")

STANDING_LOSS_FRAC = Constant(0.03, "k.standing_share")
"""Standby and distribution loss of a hot-water plant over its capacity when no figure is
given (assumption)."""

CONDENSING_FURNACE_EFFICIENCY_FRAC = 0.9
"""From this efficiency on a gas furnace condenses and gets the curve of such (common
practice, no source)."""

LEAST_LOAD_FRAC = Constant(1e-6, "k.least_load")
"""Loads below this share of plant capacity are rounding, not loads: nothing starts for them."""

# Loads this little above a whole number of units do not start another one.
STAGING_SLACK = Constant(1e-9, "k.staging")


# --- curves ---------------------------------------------------------------------------
@dataclass(frozen=True, slots=True, kw_only=True)
class Curve:
    """A published performance curve with its limits and source.

    ``biquadratic``: c0 + c1 X + c2 X^2 + c3 Y + c4 Y^2 + c5 X Y. ``polynomial``:
    c0 + c1 X + c2 X^2 + ... X and Y are held at the nearer limit outside their range.
    """

    name: str
    title: str
    form: str
    coefficients: tuple[float, ...]
    x: str
    x_unit: str
    x_range: tuple[float, float]
    x_rated: float
    y: str
    y_unit: str
    y_range: tuple[float, float] | None
    y_rated: float | None
    source: str
    table: str
    note: str

    def published(self, x, y=None):
        """Value as published, inputs held within the limits."""
        if self.y_range is not None:
            y = np.clip(y, *self.y_range)
        return self.within(np.clip(x, *self.x_range), y)

    def within(self, x, y=None):
        """Value as published of inputs that are within the limits."""
        c = self.coefficients
        if self.form == "biquadratic":
            return c[0] + x * (c[1] + c[2] * x + c[5] * y) + y * (c[3] + c[4] * y)
        value = c[-1]
        for coefficient in c[-2::-1]:
            value = coefficient + x * value
        return value

    def relative(self, x, y=None):
        """Value over the value at rating conditions: exactly 1 there."""
        return self.published(x, y) / self.at_rating

    @property
    def at_rating(self) -> Constant:
        """Published value at rating conditions."""
        return _at_rating(self.name)


@cache
def _at_rating(name: str) -> Constant:
    curve = curves()[name]
    return Constant(curve.published(curve.x_rated, curve.y_rated), f"q.{name}.rated")


@cache
def curves() -> dict[str, Curve]:
    """All curves by name, read once from the data file of the package."""

    def numbers(row, *columns):
        """Numbers that are given, each under the name of the curve and of its place."""
        places = [(row[column], column) for column in columns if row[column] != ""]
        return tuple(Constant(float(text), f"q.{row['curve']}.{column}") for text, column in places)

    table = {}
    with CURVES_FILE.open(newline="", encoding="utf-8") as handle:
        for row in csv.DictReader(handle):
            y_range = numbers(row, "y_low", "y_high")
            table[row["curve"]] = Curve(
                name=row["curve"],
                title=row["title"],
                form=row["form"],
                coefficients=numbers(row, *(f"c{index}" for index in range(6))),
                x=row["x"],
                x_unit=row["x_unit"],
                x_range=numbers(row, "x_low", "x_high"),
                x_rated=float(row["x_rated"]),
                y=row["y"],
                y_unit=row["y_unit"],
                y_range=y_range or None,
                y_rated=float(row["y_rated"]) if row["y_rated"] else None,
                source=row["source"],
                table=row["table"],
                note=row["note"],
            )
    return table


def curve_description(name):
    """A curve in words: equation, limits, rating point, source.

    Parameters
    ----------
    name : str
        Name of a curve in ``plant_curves.csv``.

    Returns
    -------
    str
        One line for a method sheet.
    """
    curve = curves()[name]
    powers: tuple[str, ...] = ("", "X", "X^2", "Y", "Y^2", "X*Y")
    if curve.form == "polynomial":
        powers = ("", "X", "X^2", "X^3")
    equation = ""
    for coefficient, power in zip(curve.coefficients, powers):
        if coefficient == 0.0:
            continue
        sign = ("- " if coefficient < 0 else "+ ") if equation else ("-" if coefficient < 0 else "")
        magnitude = f"{abs(coefficient):.8f}".rstrip("0")
        equation += f"{' ' if equation else ''}{sign}{magnitude}{'*' + power if power else ''}"

    def variable(symbol, quantity, unit, limits):
        unit = f" {unit}" if unit else ""
        return f"{symbol} = {quantity}, held within {limits[0]:g} to {limits[1]:g}{unit}"

    parts = [f"{curve.title}: {equation}", variable("X", curve.x, curve.x_unit, curve.x_range)]
    rated = f"X = {curve.x_rated:g}"
    if curve.form == "biquadratic":
        parts.append(variable("Y", curve.y, curve.y_unit, curve.y_range))
        rated += f", Y = {curve.y_rated:g}"
    at_rating = float(curve.published(curve.x_rated, curve.y_rated))
    parts.append(f"divided by its value {at_rating:.4f} at {rated}")
    note = f" ({curve.note})" if curve.note else ""
    return "; ".join(parts) + f". Source: {curve.source}, {curve.table}{note}."


def plant_curve_names(cooling, heating, preheat=None):
    """Names of the curves that a plant uses, in the order of the data file.

    Parameters
    ----------
    cooling, heating : record of the inputs of that section
    preheat : record of section preheat, optional
    """
    used = set()
    if cooling.type == "chilled_water":
        used |= {f"chiller_{cooling.chiller_set}_{kind}" for kind in ("eir_f_t", "cap_f_t", "eir_f_plr")}
    if cooling.type == "direct_expansion":
        used |= {"dx_cap_f_t", "dx_eir_f_t", "dx_eir_f_plr"}
    if cooling.type == "chilled_water" and cooling.chilled_pump_control == "variable":
        used.add("pump_variable")
    sources = [heat_source(heating)]
    if preheat is not None:
        sources.append(preheat_source(preheat, heating))
    for source in sources:
        if source.fuel_curve:
            used.add(source.fuel_curve)
        if source.pump_w_per_kbtuh > 0 and source.pump_control == "variable":
            used.add("pump_variable")
    return tuple(name for name in curves() if name in used)


def part_load_input_frac(plr, curve_coefficients, minimum_plr_frac, below="cycle", part=""):
    """Input at part load over input at full load under the same conditions.

    Parameters
    ----------
    plr : float or ndarray
        Load over available capacity; values outside 0 to 1 count as 0 or 1.
    curve_coefficients : sequence of float
        Polynomial of part load, constant first. Divided by its sum, the value at 1.
    minimum_plr_frac : float
        Least steady part load, 0 to 1.
    below : {"cycle", "hold"}
        Below it: ``cycle`` falls linearly to 0 at no load (the unit runs part of the time
        at its least steady load); ``hold`` keeps the input of the least steady load at any
        load above 0.
    part : str
        Begins the names of its steps.

    Returns
    -------
    float or ndarray
        0 at no load, 1 at full load. With a least part load of 0 the curve itself holds
        down to, but not at, no load.

    Examples
    --------
    >>> round(float(part_load_input_frac(0.1, (0.2, 0.8), 0.2)), 6)  # half of 0.2 + 0.8 * 0.2
    0.18
    """
    plr = np.clip(plr, 0.0, 1.0)
    steady = named(np.maximum(plr, minimum_plr_frac), part + "steady")
    run = named(_running_share(plr, minimum_plr_frac, below), part + "run")
    value = 0.0
    for coefficient in tuple(curve_coefficients)[::-1]:
        value = coefficient + steady * value
    return value / _at_full_load(curve_coefficients) * run


def _at_full_load(curve_coefficients):
    # Value at a part load of 1; coefficients of a curve of the data file have it under the curve's name.
    curve = getattr(curve_coefficients[0], "name", "").rpartition(".")[0]
    total = sum(curve_coefficients)
    return Constant(total, f"{curve}.rated") if curve else total


def _running_share(plr, minimum_plr_frac, below):
    """Share of the time that a unit runs at the given part load."""
    if below not in ("cycle", "hold"):
        raise InputError(
            f"below_minimum: not a rule below the least part load; got {below!r}; "
            "allowed are cycle and hold; choose one of them"
        )
    at_once = np.where(floats(plr) > 0.0, 1.0, 0.0)
    if below == "hold":
        return at_once
    cycles = floats(minimum_plr_frac) > 0.0
    least = np.where(cycles, minimum_plr_frac, 1.0)
    return np.where(cycles, np.minimum(plr, least) / least, at_once)


def _over(value, size):
    """Quotient, 0 where the size is 0."""
    size = floats(size)
    return np.where(size > 0.0, value / np.where(size > 0.0, size, 1.0), 0.0)


def _pump_power_frac(flow_frac, control):
    """Power of a pump over its power at design, 0 at no flow.

    ``constant``: full power at any flow above 0. ``variable``: curve ``pump_variable``.
    """
    if control == "constant":
        return np.where(floats(flow_frac) > 0.0, 1.0, 0.0)
    return curves()["pump_variable"].relative(flow_frac)


# --- cooling --------------------------------------------------------------------------
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
    units_on = np.clip(np.ceil(_over(total_kbtuh, unit_kbtuh) - STAGING_SLACK), 1, cooling.units)
    units_on = named(np.where((total_kbtuh > 0.0) & (unit_kbtuh > 0.0), units_on, 0.0), part + "on")
    plr = named(np.clip(_over(total_kbtuh, units_on * unit_kbtuh), 0.0, 1.0), part + "plr")
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
        * _over(plant_kbtuh, rated_kbtuh)
        * input_factor
    )
    unit_full_kw = named(unit_full_kw, "unit_kw")
    compressor_kw = units_on * unit_full_kw * part_load_input_frac(plr, curve.coefficients, least, below, part)
    pump_tower_kw = 0.0 * compressor_kw
    if cooling.type == "chilled_water":
        flow_frac = _over(total_kbtuh, rated_kbtuh)
        chilled_pump_kw = cooling.chilled_pump_w_ton * capacity_tons / 1000.0
        pump_kw = chilled_pump_kw * _pump_power_frac(flow_frac, cooling.chilled_pump_control)
        pump_tower_kw = pump_tower_kw + named(pump_kw, part + "pump_kw")
        if not _air_cooled(cooling):
            # the condenser pump is interlocked: it stops with a cycling unit
            running = units_on * named(_running_share(plr, least, below), part + "run")
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
        plr=np.minimum(_over(total, plant), 1.0),
        units_on=units_on,
        unserved_kbtuh=load - served,
    )


# --- heating --------------------------------------------------------------------------
@dataclass(frozen=True, slots=True)
class HeatingPower:
    """What a heating load takes, row by row.

    Parameters
    ----------
    electric_kw : ndarray
        Electric heat and heat pump with its supplementary electric heat [kW].
    fuel_thermh : ndarray
        Fuel of a boiler or furnace, standing loss included [therm/h].
    purchased_kbtuh : ndarray
        Purchased heat at the meter [kBtu/h].
    pump_kw : ndarray
        Hot-water pump [kW].
    unserved_kbtuh : ndarray
        Load beyond capacity, and any load while the plant is not enabled [kBtu/h].
    """

    electric_kw: np.ndarray
    fuel_thermh: np.ndarray
    purchased_kbtuh: np.ndarray
    pump_kw: np.ndarray
    unserved_kbtuh: np.ndarray


@dataclass(frozen=True, slots=True, kw_only=True)
class HeatSource:
    """A source of heat, the same for reheat and for the supply heating coil.

    Built by :func:`heat_source` and :func:`preheat_source` from the inputs; see there.
    ``standing_loss_kbtuh`` None means 3 % of capacity.
    """

    type: str
    efficiency_frac: float = 1.0
    fuel_curve: str | None = None
    minimum_plr_frac: float = 0.0
    standing_loss_kbtuh: float | None = 0.0
    pump_w_per_kbtuh: float = 0.0
    pump_control: str = "constant"
    cop_points: tuple = ((0.0, 1.0),)
    capacity_points: tuple = ((0.0, 1.0),)
    heat_pump_off_below_f: float = -100.0
    purchased_loss_frac: float = 0.0


def heat_source(heating, type=None):
    """Source of heat of the reheat coils from the inputs of section heating.

    Parameters
    ----------
    heating : record of section heating
    type : str, optional
        Another type with the same figures (supply heating coil).

    Returns
    -------
    HeatSource
        Boiler, heat pump and purchased heat reach the terminals as hot water and have its
        pump; boiler and heat pump have the standing loss; purchased heat has its loss
        share instead. Electric heat has none of them.
    """
    kind = type or heating.type
    values = {"type": kind}
    if kind == "boiler":
        values.update(
            efficiency_frac=heating.efficiency_frac,
            fuel_curve=f"boiler_{heating.boiler_curve}",
            minimum_plr_frac=heating.minimum_plr_frac,
        )
    if kind == "heat_pump":
        values.update(
            cop_points=tuple(map(tuple, heating.cop_points)),
            capacity_points=tuple(map(tuple, heating.capacity_points)),
            heat_pump_off_below_f=heating.heat_pump_off_below_f,
        )
    if kind == "purchased":
        values.update(purchased_loss_frac=heating.purchased_loss_frac)
    if kind in ("boiler", "heat_pump"):
        values.update(standing_loss_kbtuh=heating.standing_loss_kbtuh)
    if kind in ("boiler", "heat_pump", "purchased"):
        values.update(pump_w_per_kbtuh=heating.pump_w_per_kbtuh, pump_control=heating.pump_control)
    return HeatSource(**values)


def preheat_source(preheat, heating):
    """Source of heat of the supply heating coil when it differs from that of reheat.

    Parameters
    ----------
    preheat : record of section preheat
    heating : record of section heating; gives the figures of shared types

    Returns
    -------
    HeatSource
        Type ``same`` takes no energy of its own: that load belongs to the plant of the
        reheat coils, added to theirs before :func:`heating_power`. A heat pump here is one of the air handler,
        without hot water: no pump and no standing loss. A gas furnace cycles below the
        least part load given for the boiler and has no standing loss.
    """
    if preheat.type == "same":
        return HeatSource(type="same")
    if preheat.type == "gas_furnace":
        condensing = decided(preheat.efficiency_frac >= CONDENSING_FURNACE_EFFICIENCY_FRAC)
        return HeatSource(
            type="gas_furnace",
            efficiency_frac=preheat.efficiency_frac,
            fuel_curve="furnace_condensing" if condensing else "furnace_atmospheric",
            minimum_plr_frac=heating.minimum_plr_frac,
        )
    if preheat.type == "heat_pump":
        return HeatSource(
            type="heat_pump",
            cop_points=tuple(map(tuple, heating.cop_points)),
            capacity_points=tuple(map(tuple, heating.capacity_points)),
            heat_pump_off_below_f=heating.heat_pump_off_below_f,
        )
    return heat_source(heating, preheat.type)


def standing_loss_kbtuh(source, capacity_kbtuh):
    """Standby and distribution loss of a source while enabled [kBtu/h], not above capacity."""
    loss = source.standing_loss_kbtuh
    if loss is None:
        loss = STANDING_LOSS_FRAC * capacity_kbtuh
    return named(np.minimum(loss, capacity_kbtuh), "loss")


def heat_pump_cop(source, oat_f):
    """Coefficient of performance by outdoor temperature: straight lines, flat outside."""
    x, y = zip(*source.cop_points)
    return named(np.interp(oat_f, x, y), "cop")


def heat_pump_capacity_frac(source, oat_f):
    """Share of rated capacity by outdoor temperature; 0 below the heat pump's limit."""
    x, y = zip(*source.capacity_points)
    return np.where(floats(oat_f) < source.heat_pump_off_below_f, 0.0, np.interp(oat_f, x, y))


def most_heat_of_source_kbtuh(source, capacity_kbtuh, oat_f):
    """Heat that a source can bring to coils beside its standing loss [kBtu/h], shape of ``oat_f``; 0 without a
    source."""
    oat, capacity = floats(oat_f), _capacity_given(capacity_kbtuh)
    if source.type in ("none", "same") or decided(capacity <= 0.0):
        return np.zeros(oat.shape)
    limit = np.broadcast_to(capacity, oat.shape)
    if source.type == "heat_pump":
        limit = np.maximum(limit, _heat_pump_kbtuh(source, capacity, oat))
    return limit - standing_loss_kbtuh(source, capacity)


def _capacity_given(capacity_kbtuh):
    return floats(0.0 if capacity_kbtuh is None else capacity_kbtuh)


def _heat_pump_kbtuh(source, capacity_kbtuh, oat_f):
    return named(capacity_kbtuh * heat_pump_capacity_frac(source, oat_f), "cap")


def heating_power(heating, capacity_kbtuh, load_kbtuh, enabled, oat_f):
    """Energy that a heating load takes.

    Parameters
    ----------
    heating : record of section heating, or HeatSource
        :func:`preheat_source` gives that of the supply heating coil.
    capacity_kbtuh : float
        Output capacity [kBtu/h]. 0 serves nothing and loses nothing.
    load_kbtuh : float or ndarray
        Heat at the coils [kBtu/h]; below 0 counts as 0.
    enabled : float or ndarray
        1 where the plant may run, 0 where not: no energy then.
    oat_f : float or ndarray
        Outdoor temperature [degF].

    Returns
    -------
    HeatingPower
        Arrays of the broadcast shape of load, enabled and oat_f.

    Raises
    ------
    InputError
        The type is not one of the inputs' choices.

    Notes
    -----
    With the standing loss ``s`` while enabled and ``served = min(load, capacity - s)``::

        boiler, furnace  L = (served + s) / capacity
                         fuel = capacity / efficiency x F(max(L, least)) x min(1, L / least)
        electric         served
        heat pump        heat = min(served + s, capacity share(OAT) x capacity)
                         electricity = heat / COP(OAT) + rest of served + s
        purchased        served / (1 - loss share)

    F is the published fuel curve over its value at full load; below the least part load
    the burner cycles, so that fuel at no load is that of the standing loss alone. The COP
    does not change with part load. Supplementary electric heat brings a heat pump up to
    its rated capacity (above it only as far as the heat pump itself goes). The hot-water
    pump takes full power while enabled (``constant``) or follows curve ``pump_variable`` on
    load over capacity.
    """
    source = heating if isinstance(heating, HeatSource) else heat_source(heating)
    load, enabled, oat = np.broadcast_arrays(*(floats(value) for value in (load_kbtuh, enabled, oat_f)))
    load = np.maximum(load, 0.0)
    nothing = np.zeros(load.shape)
    capacity = _capacity_given(capacity_kbtuh)
    if source.type in ("none", "same") or decided(capacity <= 0.0):
        return HeatingPower(nothing, nothing, nothing, nothing, load)
    loss = standing_loss_kbtuh(source, capacity)
    served = named(np.minimum(load, most_heat_of_source_kbtuh(source, capacity, oat)) * enabled, "served")
    output = named(served + loss * enabled, "output")
    electric_kw, fuel_thermh, purchased_kbtuh = nothing, nothing, nothing
    if source.type in ("boiler", "gas_furnace"):
        assert source.fuel_curve is not None, "boilers and furnaces have one"
        curve = curves()[source.fuel_curve]
        plr = named(np.clip(output / capacity, 0.0, 1.0), "plr")
        input_frac = part_load_input_frac(plr, curve.coefficients, source.minimum_plr_frac)
        fuel_thermh = named(capacity / source.efficiency_frac * input_frac / KBTU_PER_THERM, "fuel")
    elif source.type == "electric":
        electric_kw = output / KBTU_PER_KWH
    elif source.type == "heat_pump":
        by_heat_pump = np.minimum(output, _heat_pump_kbtuh(source, capacity, oat))
        electric_kw = (by_heat_pump / heat_pump_cop(source, oat) + (output - by_heat_pump)) / KBTU_PER_KWH
        electric_kw = named(electric_kw, "kw")
    elif source.type == "purchased":
        purchased_kbtuh = output / (1.0 - source.purchased_loss_frac)
    else:
        raise InputError(
            f"heating.type: not a source of heat; got {source.type!r}; allowed are boiler, "
            "electric, heat_pump, purchased, gas_furnace (supply coil), none; choose one of them"
        )
    design_kw = named(source.pump_w_per_kbtuh * capacity / 1000.0, "pump_kw")
    if source.pump_control == "constant":
        pump_kw = design_kw * enabled
    else:
        pump_kw = design_kw * _pump_power_frac(served / capacity, "variable") * enabled
    return HeatingPower(electric_kw, fuel_thermh, purchased_kbtuh, named(pump_kw, "pump"), load - served)
