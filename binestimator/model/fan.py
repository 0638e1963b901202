"""Supply fan, return or relief fan, and duct leakage.

The fan works against the duct pressure held at the sensor plus what falls off with the
square of flow: ``dp = DSP + (dp_design - DSP_design) (V/V_design)^2``. Power follows from
flow, pressure and the efficiencies of fan, belt, motor and drive, each falling off in its
own way; or, by input, from the two published part-load curves.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from .. import units
from ..dataclass import dataclass
from ..named import Constant, Constants, beside, floats, named
from .unit import Unit

BTU_PER_WH = Constant(units.BTU_PER_WH, "k.btu_wh")
FAN_CFM_INWC_PER_HP = Constant(units.FAN_CFM_INWC_PER_HP, "k.fan")
HORSEPOWER_KW = Constant(units.HORSEPOWER_KW, "k.hp_kw")

# 90.1-2022 Table L4.2.3-1 (variable-speed fan without and with static-pressure reset):
# constant, x, x^2, x^3 of power over design power against flow over design flow.
CURVE_FIXED_STATIC = Constants((0.0013, 0.1470, 0.9506, -0.0998), (f"k.static_{i}" for i in range(4)))
CURVE_RESET_STATIC = Constants((0.0408, 0.0880, -0.0729, 0.9437), (f"k.reset_{i}" for i in range(4)))

# The droop parabola is used up to this operating point (phi). Beyond it power would no
# longer fall as pressure falls; real systems with a held setpoint stay below it.
PHI_MAX = Constant(1.6, "k.phi_max")


@dataclass(frozen=True, slots=True, kw_only=True)
class FanState:
    """Supply fan at given flows; arrays (R,).

    ``total_inwc`` fan pressure · ``dsp_inwc`` actual duct pressure · ``speed_frac``
    speed over full speed · ``fan_eff_frac`` ·
    ``shaft_kw`` power into the fan shaft · ``kw`` power into the drive · ``heat_kw`` the part
    that warms the supply air · ``at_minimum`` speed at its minimum (bool).
    """

    total_inwc: np.ndarray
    dsp_inwc: np.ndarray
    speed_frac: np.ndarray
    fan_eff_frac: np.ndarray
    shaft_kw: np.ndarray
    kw: np.ndarray
    heat_kw: np.ndarray
    at_minimum: np.ndarray


def _system_inwc_cfm2(unit: Unit):
    """Pressure lost outside the held duct section over the square of flow. [in. w.c./cfm2]"""
    fan = unit.fan
    return named((fan.design_total_inwc - fan.design_dsp_inwc) / unit.design_cfm**2, "system")


def _fan_law(unit: Unit):
    """``a`` and ``b`` of the fan law ``dp = a s^2 - b V^2`` at a share s of full speed. [in. w.c., in. w.c./cfm2]"""
    fan = unit.fan
    a = named(fan.shutoff_ratio * fan.design_total_inwc, "shutoff")
    return a, named((fan.shutoff_ratio - 1.0) * fan.design_total_inwc / unit.design_cfm**2, "droop")


def system_inwc(unit: Unit, flow_cfm):
    """Pressure lost outside the held duct section, with the square of flow. [in. w.c.]"""
    return _system_inwc_cfm2(unit) * floats(flow_cfm) ** 2


def minimum_speed_inwc(unit: Unit, flow_cfm):
    """Fan pressure at minimum speed, ``a s_min^2 - b V^2`` (may be negative: no effect). [in. w.c.]"""
    a, b = _fan_law(unit)
    return named(a * unit.fan.minimum_speed_frac**2, "minimum_inwc") - b * floats(flow_cfm) ** 2


def standing_dsp_inwc(unit: Unit, flow_cfm, dsp_set_inwc):
    """Actual duct pressure: the setpoint, or more where the fan cannot go slower. [in. w.c.]"""
    return np.maximum(dsp_set_inwc, minimum_speed_inwc(unit, flow_cfm) - system_inwc(unit, flow_cfm))


def leakage_cfm(unit: Unit, dsp_inwc):
    """Supply duct leakage at a duct pressure. [cfm]

    A power law on duct static pressure through the leakage given at design. ASHRAE
    Transactions 116(1) OR-10-046 reports that static reset lowers leakage; the exponent is
    an input.
    """
    ah = unit.air_handler
    share = (np.maximum(dsp_inwc, 0.0) / unit.fan.design_dsp_inwc) ** ah.leakage_exponent
    return named(ah.leakage_frac * unit.design_cfm, "leak_cfm") * share


def machine_input_frac(load_frac, loss_frac, fixed_loss_frac, order):
    """Input of a motor (order 2) or drive (order 1) over its rated output, at a load. [-]

    Losses at full load, a share ``loss_frac`` of rated output, are split into a part that does not change with load
    and a part that falls with ``load ** order``: ``L + loss (f + (1 - f) L^order)``. The split is an assumption; it
    reproduces that motors hold their efficiency to about half load.

    Parameters
    ----------
    load_frac : array
        Output over rated output, > 0. [-]
    """
    return load_frac + loss_frac * (fixed_loss_frac + (1.0 - fixed_loss_frac) * load_frac**order)


def machine_efficiency_frac(load_frac, full_load_efficiency, fixed_loss_frac, order):
    """Efficiency of a motor (order 2) or drive (order 1) at part load; exact at full load. [-]"""
    return load_frac / machine_input_frac(load_frac, 1.0 / full_load_efficiency - 1.0, fixed_loss_frac, order)


def fan_power_at(unit: Unit, flow_cfm, total_inwc) -> FanState:
    """Power of the supply fan at flow and fan pressure.

    Parameters
    ----------
    flow_cfm, total_inwc : float or ndarray, broadcastable
        Flow [cfm] and total static pressure of the fan as measured at the site [in. w.c.], >= 0.

    Notes
    -----
    ``bhp = V dp / (6356 eta_fan)``; belt, motor and drive follow. Fan efficiency
    ``eta_design (1 - droop (1 - phi)^2)`` with ``phi = (V/Vd)/sqrt(dp/dpd)``, held beyond
    phi = 1.6. No flow or no pressure: no power.
    """
    fan = unit.fan
    flow, total = np.broadcast_arrays(floats(flow_cfm), floats(total_inwc))
    works = (flow > 0.0) & (total > 0.0)
    over_design = np.where(works, total, fan.design_total_inwc) / fan.design_total_inwc
    phi = named(np.where(works, np.minimum(PHI_MAX, flow / unit.design_cfm / np.sqrt(over_design)), 1.0), "phi")
    fan_eff = named(fan.efficiency_frac * (1.0 - fan.efficiency_droop * (1.0 - phi) ** 2), "fan_eff")
    shaft_kw = named(flow * total / (FAN_CFM_INWC_PER_HP * fan_eff) * HORSEPOWER_KW, "shaft_kw")
    rated_kw = named(unit.motor_hp * HORSEPOWER_KW, "rated_kw")
    motor_load = named(shaft_kw / fan.belt_efficiency_frac / rated_kw, "motor_load")
    motor_loss = named(1.0 / fan.motor_efficiency_frac - 1.0, "motor_loss")
    motor_in = rated_kw * machine_input_frac(motor_load, motor_loss, fan.motor_fixed_loss_frac, 2)
    motor_kw = named(np.where(shaft_kw > 0.0, motor_in, 0.0), "motor_kw")
    drive_rated_kw = named(rated_kw / fan.motor_efficiency_frac, "drive_rated_kw")
    drive_loss = named(1.0 / fan.drive_efficiency_frac - 1.0, "drive_loss")
    drive_in = drive_rated_kw * machine_input_frac(motor_kw / drive_rated_kw, drive_loss, fan.drive_fixed_loss_frac, 1)
    # The drive is outside the air stream; motor and belt are in it or not by input.
    heat_kw = motor_kw if fan.motor_in_airstream else shaft_kw
    a, b = _fan_law(unit)
    return FanState(
        total_inwc=total,
        dsp_inwc=total - system_inwc(unit, flow),
        speed_frac=np.sqrt((np.maximum(total, 0.0) + b * flow**2) / a),
        fan_eff_frac=fan_eff,
        shaft_kw=unit.fan_scale * shaft_kw,
        kw=unit.fan_scale * np.where(motor_kw > 0.0, drive_in, 0.0),
        heat_kw=unit.fan_scale * heat_kw,
        at_minimum=np.zeros(flow.shape, dtype=bool),
    )


def supply_fan(unit: Unit, flow_cfm, dsp_set_inwc, resets_pressure=True) -> FanState:
    """Supply fan that holds a duct pressure setpoint at a flow.

    Parameters
    ----------
    flow_cfm : ndarray (R,)
        Supply flow with leakage. [cfm]
    dsp_set_inwc : ndarray (R,)
        Duct static pressure setpoint. [in. w.c.]
    resets_pressure : bool or ndarray (R,)
        Only for ``part_load = published_curves``: which of the two curves applies.

    Notes
    -----
    Below the minimum speed the fan gives more pressure than asked and the duct pressure
    rises. With the published curves the power is design power times the curve (divided by
    its value at 1, held below ``curve_least_flow_frac`` since the two curves cross at
    0.1855) and does not depend on the setpoint; temperatures and pressures still do.
    """
    fan = unit.fan
    flow = floats(flow_cfm)
    wanted = dsp_set_inwc + system_inwc(unit, flow)
    least = minimum_speed_inwc(unit, flow)
    state = fan_power_at(unit, flow, named(np.maximum(wanted, least), "fan_total_inwc"))
    if fan.part_load == "published_curves":
        design = fan_power_at(unit, unit.design_cfm, fan.design_total_inwc)
        share = published_power_frac(flow / unit.design_cfm, resets_pressure, fan.curve_least_flow_frac)
        share = named(np.where(flow > 0.0, share, 0.0), "curve")
        state = replace(
            state,
            shaft_kw=design.shaft_kw * share,
            kw=named(design.kw, "design_kw") * share,
            heat_kw=named(design.heat_kw, "design_heat_kw") * share,
        )
    return replace(state, at_minimum=least > wanted)


def published_power_frac(flow_frac, resets_pressure, least_flow_frac=0.2):
    """Fan power over design power by the published curves of 90.1-2022 Table L4.2.3-1. [-]

    Held below ``least_flow_frac``; 1 at design flow.
    """
    x = named(np.maximum(flow_frac, least_flow_frac), "curve_x")
    fixed, reset = _cubic(x, CURVE_FIXED_STATIC, "static_sum"), _cubic(x, CURVE_RESET_STATIC, "reset_sum")
    return np.where(resets_pressure, reset, fixed)[()]


def _cubic(x, curve: Constants, key: str):
    """A curve at a share of flow, over its value at 1."""
    c = beside(x, curve)
    return (c[0] + x * (c[1] + x * (c[2] + x * c[3]))) / named(sum(c), key)


def secondary_design_kw(unit: Unit) -> float:
    """Power of the return or relief fan at its design flow; 0 without one. [kW]"""
    fan = unit.return_fan
    if fan.type == "none":
        return 0.0
    design_cfm = unit.design_cfm * fan.flow_frac
    return design_cfm * fan.design_inwc / (FAN_CFM_INWC_PER_HP * fan.efficiency_frac) * HORSEPOWER_KW


def secondary_fan_kw(unit: Unit, flow_cfm):
    """Power of the return or relief fan at a flow. [kW]

    Its speed follows the supply fan with no pressure held, so the 90.1-2022 curve with
    reset (normalised at 1) is used; no flow, no power.
    """
    flow = floats(flow_cfm)
    share = flow / (unit.design_cfm * unit.return_fan.flow_frac)
    design_kw = named(secondary_design_kw(unit), "second_kw")
    return np.where(flow > 0.0, design_kw * _cubic(share, CURVE_RESET_STATIC, "reset_sum"), 0.0)


def temperature_rise_f(heat_kw, flow_cfm, fs):
    """Warming of an air stream by heat put into it. [degF]; 0 without flow."""
    flow = floats(flow_cfm)
    return np.where(flow > 0.0, 1000.0 * (BTU_PER_WH * heat_kw) / (fs * np.where(flow > 0.0, flow, 1.0)), 0.0)
