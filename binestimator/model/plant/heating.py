"""Heat sources: what they take at a load, and what they can give."""

from __future__ import annotations

import numpy as np

from ...dataclass import dataclass
from ...errors import InputError
from ...named import Constant, decided, floats, named
from .common import KBTU_PER_KWH, KBTU_PER_THERM
from .published import curves, part_load_input_frac, pump_power_frac

STANDING_LOSS_FRAC = Constant(0.03, "k.standing_share")
"""Standby and distribution loss of a hot-water plant over its capacity when no figure is
given (assumption)."""

CONDENSING_FURNACE_EFFICIENCY_FRAC = 0.9
"""From this efficiency on a gas furnace condenses and gets the curve of such (common
practice, no source)."""


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
        pump_kw = design_kw * pump_power_frac(served / capacity, "variable") * enabled
    return HeatingPower(electric_kw, fuel_thermh, purchased_kbtuh, named(pump_kw, "pump"), load - served)
