"""Properties of moist air in inch-pound units, for scalars and arrays alike.

The ideal-gas relations of the ASHRAE Handbook, Fundamentals (2017/2021), chapter 1. Every
function takes floats or arrays that broadcast together and returns a float for floats and
an array otherwise. Nothing here reads files, keeps state or warns.

Symbols: t dry bulb [degF], w humidity ratio [lb of water per lb of dry air], p absolute
pressure of the site [psia]. Temperatures may lie from -148 to 200 degF, which the vapour
pressure relations cover at any site pressure; humidity ratios are not negative.

References
----------
ASHRAE Handbook, Fundamentals (2017 and 2021), chapter 1, I-P edition: vapour pressure
equations 3 and 4 (over ice and over water), humidity ratio, enthalpy, specific volume and
wet-bulb equations, atmospheric pressure by elevation. Four coefficients of the equation
over ice and the wet-bulb, enthalpy, volume and elevation equations were written from
memory and reproduce the handbook's tables and examples (``tests/published/moist_air.csv``).
"""

from __future__ import annotations

import numpy as np

from binestimator import units
from binestimator.named import Constant, Constants, anywhere, beside, floats, named
from binestimator.units import LATENT_BTUH_CFM_LBLB, SENSIBLE_BTUH_CFM_F

RANKINE_AT_0_F = Constant(units.RANKINE_AT_0_F, "k.rankine")
STANDARD_PRESSURE_PSIA = Constant(units.STANDARD_PRESSURE_PSIA, "k.standard_psia")

MOLAR_MASS_RATIO = Constant(0.621945, "k.molar")
"""Molar mass of water over that of dry air (handbook chapter 1)."""

FREEZING_F = Constant(32.0, "k.freezing")
"""Vapour pressure is taken over ice below this temperature, over water from it on."""

LOWEST_F = -148.0
"""Lower end of the vapour pressure relations; dew points are not reported below it."""

# ln(pws / psi) = a0/T + a1 + a2 T + a3 T2 + a4 T3 + a5 T4 + a6 ln T with T in degR
OVER_WATER = Constants(
    (-1.0440397e4, -11.294650, -2.7022355e-2, 1.2890360e-5, -2.4780681e-9, 0.0, 6.5459673),
    (f"k.water_{i}" for i in range(7)),
)
OVER_ICE = Constants(
    (-1.0214165e4, -4.8932428, -5.3765794e-3, 1.9202377e-7, 3.5575832e-10, -9.0344688e-14, 4.1635019),
    (f"k.ice_{i}" for i in range(7)),
)

# Wet-bulb balance (a - b tw) Ws(tw) - 0.240 (t - tw) = W (a + 0.444 t - c tw): a, b, c
WET_WICK = Constants((1093.0, 0.556, 1.0), ("k.wick_a", "k.wick_b", "k.wick_c"))
FROZEN_WICK = Constants((1220.0, 0.04, 0.48), ())

DRY_AIR_CP = Constant(0.240, "k.cp")
VAPOUR_CP = Constant(0.444, "k.cpv")
VAPOUR_ENTHALPY_AT_0_F = Constant(1061.0, "k.h0")

# Both Newton solutions start within a few degrees and square their error in each step:
# the counts below leave rounding only, over the whole range (tested).
_WET_BULB_STEPS = 7
_DEW_POINT_STEPS = 6


def _float_arrays(*values):
    """Broadcast to arrays of float64 (0-d for scalars)."""
    return np.broadcast_arrays(*(floats(value) for value in values))


def _ln_pressure_and_slope(t_f, coefficients):
    """ln of the vapour pressure [psi] and its derivative by temperature [1/F]."""
    a0, a1, a2, a3, a4, a5, a6 = beside(t_f, coefficients)
    t = t_f + RANKINE_AT_0_F
    ln_p = a0 / t + a1 + t * (a2 + t * (a3 + t * (a4 + t * a5))) + a6 * np.log(t)
    slope = a2 + t * (2.0 * a3 + t * (3.0 * a4 + t * 4.0 * a5)) + (a6 - a0 / t) / t
    return ln_p, slope


def saturation_pressure_psia(t_f):
    """Pressure of saturated water vapour, over ice below 32 degF and over water from there.

    Parameters
    ----------
    t_f : float or ndarray
        Temperature [degF], -148 to 392.

    Returns
    -------
    float or ndarray
        Vapour pressure [psia].

    Notes
    -----
    The two relations meet at 32 degF within 0.01 % of the pressure.

    References
    ----------
    ASHRAE Handbook, Fundamentals (2017), chapter 1, equations 3 and 4.

    Examples
    --------
    >>> round(float(saturation_pressure_psia(77.0)), 5)
    0.45966
    """
    t = floats(t_f)
    pressure = np.exp(_ln_pressure_and_slope(t, OVER_WATER)[0])
    ice = t < FREEZING_F
    if anywhere(ice):
        over_ice = np.exp(_ln_pressure_and_slope(np.minimum(t, FREEZING_F), OVER_ICE)[0])
        pressure = np.where(ice, over_ice, pressure)
    return pressure[()]


def humidity_ratio_from_vapour_pressure(vapour_psia, pressure_psia):
    """Humidity ratio from the partial pressure of water vapour.

    Parameters
    ----------
    vapour_psia, pressure_psia : float or ndarray
        Partial pressure of vapour and total pressure [psia].

    Returns
    -------
    float or ndarray
        Humidity ratio [lb/lb]; infinite where the vapour pressure reaches the total.

    References
    ----------
    ASHRAE Handbook, Fundamentals (2017), chapter 1: W = 0.621945 pw / (p - pw).
    """
    dry = floats(pressure_psia - vapour_psia)
    ratio = MOLAR_MASS_RATIO * vapour_psia / np.where(dry > 0.0, dry, 1.0)
    return np.where(dry > 0.0, ratio, np.inf)[()]


def humidity_ratio_below_boiling(vapour_psia, pressure_psia):
    """The same where the vapour pressure is below the total for sure [lb/lb]."""
    return MOLAR_MASS_RATIO * vapour_psia / (pressure_psia - vapour_psia)


def saturation_humidity_ratio(t_f, pressure_psia):
    """Humidity ratio of saturated air.

    Parameters
    ----------
    t_f : float or ndarray
        Temperature [degF].
    pressure_psia : float or ndarray
        Absolute pressure [psia].

    Returns
    -------
    float or ndarray
        Humidity ratio [lb/lb]; infinite at and above the boiling point of the pressure.

    References
    ----------
    ASHRAE Handbook, Fundamentals (2017), chapter 1: W = 0.621945 pws / (p - pws).
    """
    return humidity_ratio_from_vapour_pressure(saturation_pressure_psia(t_f), pressure_psia)


def humidity_ratio_from_dewpoint(dewpoint_f, pressure_psia):
    """Humidity ratio of air with a given dew point (frost point below 32 degF) [lb/lb].

    Parameters
    ----------
    dewpoint_f : float or ndarray
        Dew point [degF].
    pressure_psia : float or ndarray
        Absolute pressure [psia].
    """
    return saturation_humidity_ratio(dewpoint_f, pressure_psia)


def humidity_ratio_from_wetbulb(t_f, wetbulb_f, pressure_psia):
    """Humidity ratio from dry bulb and wet bulb.

    Parameters
    ----------
    t_f, wetbulb_f : float or ndarray
        Dry bulb and thermodynamic wet bulb [degF]; the wet bulb is not above the dry bulb.
    pressure_psia : float or ndarray
        Absolute pressure [psia].

    Returns
    -------
    float or ndarray
        Humidity ratio [lb/lb], 0 where the wet bulb is lower than any air could have.

    Notes
    -----
    Wet wick from 32 degF on, frozen wick below. The two balances give different humidity
    ratios at a wet bulb of 32 degF unless the dry bulb is 32 degF too (0.0004 lb/lb apart
    at a dry bulb of 48 degF): see :func:`wetbulb_f`.

    References
    ----------
    ASHRAE Handbook, Fundamentals (2017), chapter 1, equations 33 and 35.
    """
    t, tw, p = _float_arrays(t_f, wetbulb_f, pressure_psia)
    ws = saturation_humidity_ratio(tw, p)
    wet = _wick_humidity_ratio(t, tw, ws, WET_WICK)
    frozen = _wick_humidity_ratio(t, tw, ws, FROZEN_WICK)
    return np.maximum(np.where(tw >= FREEZING_F, wet, frozen), 0.0)[()]


def _wick_humidity_ratio(t, tw, ws, wick):
    a, b, c = wick
    return ((a - b * tw) * ws - DRY_AIR_CP * (t - tw)) / (a + VAPOUR_CP * t - c * tw)


# Start of the Newton steps, tw = A + B y + C y^2 + (D + E y) ln(p / 14.696) with y = ln(h):
# least-squares fit to the wet wick over 35-110 degF, any humidity, 10-14.7 psia, within
# 2.4 F there (own fit; it only sets where the steps begin).
WETBULB_START = Constants((-33.75, 19.89, 2.70, -15.07, 10.26), (f"k.start_{x}" for x in "abcde"))
LEAST_START_ENTHALPY = Constant(8.0, "k.least_h")


def _wet_bulb_start_f(t, w, p):
    """Empirical first guess of the wet bulb [degF], not above the dry bulb."""
    a, b, c, d, e = beside(t, WETBULB_START)
    y = named(np.log(np.maximum(enthalpy_btu_lb(t, w), LEAST_START_ENTHALPY)), "wb_y")
    return np.minimum(a + y * (b + c * y) + (d + e * y) * np.log(p / STANDARD_PRESSURE_PSIA), t)


def _wick_balance(t, w, tw, p, wick, coefficients, step=""):
    """Excess of the wick's balance at a trial wet bulb [Btu/lb] and its slope [Btu/lb.F]; ``step`` ends the names.

    Zero at the wet bulb; rising and convex in the trial value, so that Newton steps
    approach the solution from above after the first of them.
    """
    a, b, c = beside(tw, wick)
    ln_p, ln_slope = _ln_pressure_and_slope(tw, coefficients)
    vapour = named(np.exp(ln_p), "wb_p" + step)
    dry = p - vapour
    ws = named(MOLAR_MASS_RATIO * vapour / dry, "wb_w" + step)
    ws_slope = ws * ln_slope * p / dry
    excess = (a - b * tw) * ws - DRY_AIR_CP * (t - tw) - w * (a + VAPOUR_CP * t - c * tw)
    return excess, named((a - b * tw) * ws_slope - b * ws + DRY_AIR_CP + c * w, "wb_s" + step)


def _solve_wick(t, w, p, wick, coefficients, low_f, high_f):
    """Wet bulb within [low_f, high_f] by a fixed number of Newton steps."""
    tw = np.clip(_wet_bulb_start_f(t, w, p), low_f, high_f)
    for _ in range(_WET_BULB_STEPS):
        excess, slope = _wick_balance(t, w, tw, p, wick, coefficients)
        tw = np.clip(tw - excess / slope, low_f, high_f)
    return tw


def wetbulb_f(t_f, humidity_ratio, pressure_psia):
    """Thermodynamic wet bulb from dry bulb and humidity ratio.

    Parameters
    ----------
    t_f : float or ndarray
        Dry bulb [degF], -100 to 200 and below the boiling point of the pressure.
    humidity_ratio : float or ndarray
        Humidity ratio [lb/lb], 0 or more.
    pressure_psia : float or ndarray
        Absolute pressure [psia].

    Returns
    -------
    float or ndarray
        Wet bulb [degF], within 1e-6 F of the solution of the wick's balance and never above
        the dry bulb: air said to hold more than saturation counts as saturated.

    Notes
    -----
    Newton's method in a fixed number of steps on the balance of a wet wick (from 32 degF)
    or a frozen one (below). Near a wet bulb of 32 degF both balances have a solution: the
    wick may be wet or frozen, and the two differ by up to 1.6 F in very dry air. In that
    narrow band the result is the sum of both solutions less 32 degF. It equals one of them
    at each edge of the band, so that the wet bulb is continuous and rises with humidity.

    References
    ----------
    ASHRAE Handbook, Fundamentals (2017), chapter 1, equations 33 and 35. The rule inside
    the band is an assumption.
    """
    t, w, p = _float_arrays(t_f, humidity_ratio, pressure_psia)
    shape = t.shape
    t, w, p = t.ravel(), w.ravel(), p.ravel()
    w = np.minimum(w, saturation_humidity_ratio(t, p))
    at_freezing = np.full(t.shape, FREEZING_F)
    wet = _wick_balance(t, w, at_freezing, p, WET_WICK, OVER_WATER)[0] < 0.0
    frozen = _wick_balance(t, w, at_freezing, p, FROZEN_WICK, OVER_ICE)[0] > 0.0
    result = np.full(t.shape, FREEZING_F)
    for rows, wick, coefficients, low, high in (
        (wet, WET_WICK, OVER_WATER, FREEZING_F, None),
        (frozen, FROZEN_WICK, OVER_ICE, LOWEST_F, FREEZING_F),
    ):
        if rows.any():
            top = np.maximum(t[rows], low) if high is None else high
            tw = _solve_wick(t[rows], w[rows], p[rows], wick, coefficients, low, top)
            result[rows] += tw - FREEZING_F
    return np.minimum(result, t).reshape(shape)[()]


def wetbulb_two_step_f(t_f, humidity_ratio, pressure_psia):
    """Wet bulb in closed form: an empirical start and two Newton steps, no iteration.

    Every step can be written as a spreadsheet formula. Meant for air entering a cooling coil.

    Parameters
    ----------
    t_f : float or ndarray
        Dry bulb [degF], 35 to 110.
    humidity_ratio : float or ndarray
        Humidity ratio [lb/lb], 0 to saturation.
    pressure_psia : float or ndarray
        Absolute pressure [psia], 10 to 14.7.

    Returns
    -------
    float or ndarray
        Wet bulb of a wet wick [degF], not above the dry bulb.

    Notes
    -----
    ::

        h   = 0.240 t + W (1061 + 0.444 t)                  y = ln(max(h, 8))
        tw0 = min(t, A + B y + C y^2 + (D + E y) ln(p / 14.696))
        tw  = tw - F(tw) / F'(tw), twice, with
        F   = (1093 - 0.556 tw) Ws(tw) - 0.240 (t - tw) - W (1093 + 0.444 t - tw)
        F'  = (1093 - 0.556 tw) Ws'(tw) - 0.556 Ws(tw) + 0.240 + W
        Ws' = Ws (d ln pws / dt) p / (p - pws),  pws over water

    Within the stated ranges the result lies within 0.0002 F of :func:`wetbulb_f` where
    that is 34 degF or more. The wick stays wet here below freezing, where the frozen wick
    of :func:`wetbulb_f` reads up to 1.6 F lower; air entering a cooling coil is warmer.

    References
    ----------
    ASHRAE Handbook, Fundamentals (2017), chapter 1, equation 33; start: own fit.
    """
    t, w, p = _float_arrays(t_f, humidity_ratio, pressure_psia)
    tw = named(_wet_bulb_start_f(t, w, p), "wb_0")
    for step in "12":
        excess, slope = _wick_balance(t, w, tw, p, WET_WICK, OVER_WATER, step)
        tw = named(tw - excess / slope, "wb_" + step)
    return np.minimum(tw, t)[()]


def vapour_pressure_psia(humidity_ratio, pressure_psia):
    """Partial pressure of water vapour [psia] from humidity ratio [lb/lb] and pressure [psia].

    References
    ----------
    ASHRAE Handbook, Fundamentals (2017), chapter 1: pw = p W / (0.621945 + W).
    """
    w = np.asarray(humidity_ratio, dtype=float)
    return (pressure_psia * w / (MOLAR_MASS_RATIO + w))[()]


def dewpoint_f(humidity_ratio, pressure_psia):
    """Dew point (frost point below 32 degF) from humidity ratio.

    Parameters
    ----------
    humidity_ratio : float or ndarray
        Humidity ratio [lb/lb].
    pressure_psia : float or ndarray
        Absolute pressure [psia].

    Returns
    -------
    float or ndarray
        Temperature [degF] at which the vapour pressure is that of saturation, to 1e-9 F;
        -148 (the end of the relations) for drier air, dry air included.

    Notes
    -----
    Newton's method in a fixed number of steps on ln p against 1/T, nearly a straight line.
    Vapour pressures between the two relations' values at 32 degF give 32 degF.
    """
    w, p = _float_arrays(humidity_ratio, pressure_psia)
    shape = w.shape
    vapour = np.atleast_1d(vapour_pressure_psia(w, p)).ravel()
    result = np.full(vapour.shape, FREEZING_F)
    ln_water = _ln_pressure_and_slope(FREEZING_F, OVER_WATER)[0]
    ln_ice = _ln_pressure_and_slope(FREEZING_F, OVER_ICE)[0]
    ln_lowest = _ln_pressure_and_slope(LOWEST_F, OVER_ICE)[0]
    ln_vapour = np.log(np.maximum(vapour, np.exp(ln_lowest)))
    for rows, coefficients in ((ln_vapour > ln_water, OVER_WATER), (ln_vapour < ln_ice, OVER_ICE)):
        if rows.any():
            goal = ln_vapour[rows]
            inverse_t = np.full(goal.shape, 1.0 / (FREEZING_F + RANKINE_AT_0_F))
            for _ in range(_DEW_POINT_STEPS):
                t = 1.0 / inverse_t
                ln_p, slope = _ln_pressure_and_slope(t - RANKINE_AT_0_F, coefficients)
                inverse_t = inverse_t + (ln_p - goal) / (slope * t * t)
            result[rows] = 1.0 / inverse_t - RANKINE_AT_0_F
    return result.reshape(shape)[()]


def relative_humidity_frac(t_f, humidity_ratio, pressure_psia):
    """Relative humidity from dry bulb and humidity ratio.

    Parameters
    ----------
    t_f : float or ndarray
        Dry bulb [degF].
    humidity_ratio : float or ndarray
        Humidity ratio [lb/lb].
    pressure_psia : float or ndarray
        Absolute pressure [psia].

    Returns
    -------
    float or ndarray
        Vapour pressure over that of saturation, 0 to 1; above 1 for more than saturation.
    """
    return vapour_pressure_psia(humidity_ratio, pressure_psia) / saturation_pressure_psia(t_f)


def enthalpy_btu_lb(t_f, humidity_ratio):
    """Enthalpy of moist air [Btu per lb of dry air], zero for dry air at 0 degF.

    Parameters
    ----------
    t_f : float or ndarray
        Dry bulb [degF].
    humidity_ratio : float or ndarray
        Humidity ratio [lb/lb].

    References
    ----------
    ASHRAE Handbook, Fundamentals (2017), chapter 1: h = 0.240 t + W (1061 + 0.444 t).

    Examples
    --------
    >>> round(float(enthalpy_btu_lb(80.0, 0.01)), 3)
    30.165
    """
    return DRY_AIR_CP * t_f + humidity_ratio * (VAPOUR_ENTHALPY_AT_0_F + VAPOUR_CP * t_f)


def specific_volume_ft3_lb(t_f, humidity_ratio, pressure_psia):
    """Volume of moist air [ft3 per lb of dry air].

    Parameters
    ----------
    t_f : float or ndarray
        Dry bulb [degF].
    humidity_ratio : float or ndarray
        Humidity ratio [lb/lb].
    pressure_psia : float or ndarray
        Absolute pressure [psia].

    References
    ----------
    ASHRAE Handbook, Fundamentals (2017), chapter 1:
    v = 0.370486 (t + 459.67) (1 + 1.607858 W) / p.
    """
    return 0.370486 * (t_f + RANKINE_AT_0_F) * (1.0 + 1.607858 * humidity_ratio) / pressure_psia


def pressure_at_elevation_psia(elevation_ft):
    """Standard pressure at an elevation [psia].

    Parameters
    ----------
    elevation_ft : float or ndarray
        Elevation above sea level [ft], -16 000 to 36 000.

    References
    ----------
    ASHRAE Handbook, Fundamentals (2017), chapter 1: p = 14.696 (1 - 6.8754e-6 Z)^5.2559.
    """
    return STANDARD_PRESSURE_PSIA * (1.0 - 6.8754e-6 * elevation_ft) ** 5.2559


def sensible_factor_btuh_cfm_f(pressure_psia):
    """Sensible heat of an airflow per degree, 1.08 p / 14.696 [Btu/h.cfm.F].

    The rounded constant of standard air, scaled to the site's pressure [psia] at equal
    temperature.
    """
    return SENSIBLE_BTUH_CFM_F * pressure_psia / STANDARD_PRESSURE_PSIA


def latent_factor_btuh_cfm_lblb(pressure_psia):
    """Latent heat of an airflow per humidity ratio, 4840 p / 14.696 [Btu/h.cfm per lb/lb]."""
    return LATENT_BTUH_CFM_LBLB * pressure_psia / STANDARD_PRESSURE_PSIA
