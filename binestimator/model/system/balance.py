"""What the balances of energy and moisture of a row leave over."""

from __future__ import annotations

from dataclasses import replace

from ...units import BTU_PER_WH
from ..loads import ZoneLoads
from ..unit import Unit
from .rows import zones_of
from .states import RowState


def balance_error_btuh(unit: Unit, conditions, loads: ZoneLoads, state: RowState):
    """Heat balance of rooms, plenum and air handler, from reported columns. [Btu/h] (R,)

    Gains of rooms and plenum, fans, coils, outdoor air and duct gain from outside, and what the plant
    could not give, must sum to nothing; independent of how the row was computed. Needs the zones' temperatures, so it
    evaluates the terminals again at the reported supply temperature and duct pressure.
    """
    z = unit.zones
    zones = zones_of(replace(unit, counts=False), conditions, loads, state)
    envelope = (loads.gains_btuh + loads.ua_btuh_f * (conditions.oat_f[:, None] - zones.room_f)) @ z.multiplier
    outside_duct = 0.0
    if unit.air_handler.duct_gain_from == "outside":
        outside_duct = loads.fs * state.room_flow_cfm * unit.air_handler.duct_gain_f
    fan_heat = loads.fs * state.flow_cfm * state.fan_rise_f
    return_heat = 1000.0 * BTU_PER_WH * state.return_fan_kw if unit.return_fan.type == "return" else 0.0
    outdoor = loads.fs * state.oa_frac * state.flow_cfm * (conditions.oat_f - state.rat_f)
    return (
        envelope
        + loads.plenum_btuh
        + outside_duct
        + fan_heat
        + return_heat
        + outdoor
        + 1000.0 * (state.reheat_kbtuh + state.preheat_kbtuh - state.cooling_sensible_kbtuh - state.unserved_kbtuh)
    )


def moisture_error_btuh(unit: Unit, conditions, loads: ZoneLoads, state: RowState):
    """Moisture balance of rooms and coil from reported columns, as latent heat. [Btu/h] (R,)"""
    exchange = loads.fl * (state.oa_frac * state.flow_cfm + loads.infiltration_cfm)
    return (
        loads.latent_btuh
        + exchange * (conditions.humidity_ratio - state.room_humidity_ratio)
        - 1000.0 * state.cooling_latent_kbtuh
    )
