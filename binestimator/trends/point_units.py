"""Units of points: by the words that name them or, where nothing does, by the size of the values.

Everything becomes degF, in. w.c., cfm, shares from 0 to 1, kW. Where neither words nor size can tell, there is no unit,
and the point is left out until somebody says.
"""

from __future__ import annotations

import re

import numpy as np

from binestimator.dataclass import dataclass
from binestimator.units import HORSEPOWER_KW, PSI_PA

#: Pascals in an inch of water column at 39.2 degF, the conventional value [Pa]. NIST SP 811 appendix B.
INWC_PA = 249.082
#: Cubic feet a minute in a litre a second, from the exact foot [cfm per L/s].
CFM_PER_LS = 60.0 / (0.3048**3 * 1000.0)

#: Unit -> (class, factor, shift): value * factor + shift is in the unit of the class.
UNITS = {
    "degF": ("temperature", 1.0, 0.0),
    "degC": ("temperature", 1.8, 32.0),
    "K": ("temperature", 1.8, -459.67),
    "in. w.c.": ("pressure", 1.0, 0.0),
    "Pa": ("pressure", 1.0 / INWC_PA, 0.0),
    "hPa": ("pressure", 100.0 / INWC_PA, 0.0),
    "kPa": ("pressure", 1000.0 / INWC_PA, 0.0),
    "psi": ("pressure", PSI_PA / INWC_PA, 0.0),
    "cfm": ("flow", 1.0, 0.0),
    "L/s": ("flow", CFM_PER_LS, 0.0),
    "m3/s": ("flow", 1000.0 * CFM_PER_LS, 0.0),
    "m3/h": ("flow", CFM_PER_LS / 3.6, 0.0),
    "share": ("percent", 1.0, 0.0),
    "%": ("percent", 0.01, 0.0),
    "Hz": ("percent", 1.0 / 60.0, 0.0),
    "Hz of 50": ("percent", 1.0 / 50.0, 0.0),
    "V of 10": ("percent", 0.1, 0.0),
    "kW": ("power", 1.0, 0.0),
    "W": ("power", 0.001, 0.0),
    "hp": ("power", HORSEPOWER_KW, 0.0),
    "on": ("status", 1.0, 0.0),
    "% RH": ("humidity", 1.0, 0.0),
    "share RH": ("humidity", 100.0, 0.0),
}
#: Unit of each class inside the program.
UNIT_OF = {
    "temperature": "degF",
    "pressure": "in. w.c.",
    "flow": "cfm",
    "percent": "share",
    "power": "kW",
    "status": "on",
    "humidity": "% RH",
}
_SPELLED = {
    "degF": "f °f ºf degf deg_f deg.f fahrenheit degreesfahrenheit degreefahrenheit deg_fahrenheit df",
    "degC": "c °c ºc degc deg_c deg.c celsius degreescelsius degreecelsius deg_celsius centigrade",
    "K": "k kelvin kelvins",
    "in. w.c.": 'inwc inh2o inwg inw.c. in.w.c. in.w.g. in.wc in.wg inhg2o inw.g. "wc "wg "h2o iwc iwg wc wg '
    "inchesofwater "
    "inches_of_water inh20 inh₂o in.h2o inwater incheswater inchesw.c.",
    "Pa": "pa pascal pascals",
    "hPa": "hpa mbar hectopascals millibars",
    "kPa": "kpa kilopascals kilopascal",
    "psi": "psi psig lb/in2 poundsforcepersquareinch",
    "cfm": "cfm ft3/min ft³/min cubicfeetperminute cubic_feet_per_minute cu.ft./min scfm acfm",
    "L/s": "l/s lps litresperse litersperse liters_per_second litres_per_second literspersecond litrespersecond",
    "m3/s": "m3/s m³/s cms cubicmeterspersecond cubic_meters_per_second",
    "m3/h": "m3/h m³/h cmh m3/hr m³/hr cubicmetersperhour cubic_meters_per_hour",
    "share": "fraction frac 0-1 0..1 unitless share pu perunit",
    "%": "% pct percent pct. %open percentopen prc % percentage",
    "Hz": "hz hertz",
    "kW": "kw kilowatt kilowatts",
    "W": "w watt watts",
    "hp": "hp bhp horsepower",
    "on": "on/off bool boolean binary 0/1 on-off offon off/on",
    "% RH": "%rh rh%",
}
_UNIT_WORDS = {word: unit for unit, words in _SPELLED.items() for word in words.split()}


def unit_named(text: str) -> str:
    """Unit that a text names, or empty; any text is allowed."""
    bare = re.sub(r"\s+", "", text.strip().strip("[](){}").casefold())
    return _UNIT_WORDS.get(bare, "")


def unit_in_name(name: str) -> str:
    """Unit in brackets in a name, or as its last word after an underscore, space or comma."""
    for match in re.finditer(r"[\[(]([^\[\]()]{1,30})[\])]", name):
        unit = unit_named(match[1])
        if unit:
            return unit
    # A single letter at the end may be anything.
    last = re.split(r"[\s_,:;/|-]+", name.strip())[-1]
    if "°" in name:
        return unit_named(name[name.index("°") :]) or ("degC" if re.search(r"°\s*[cC]", name) else "degF")
    slashed = re.search(r"(m[3³]/h|m[3³]/s|l/s|L/s)\s*$", name)
    if slashed:
        return unit_named(slashed[1])
    return unit_named(last) if len(last) >= 2 else ""


@dataclass(frozen=True, slots=True)
class UnitGuess:
    """A unit and why: ``unit`` is empty where it cannot be told."""

    unit: str
    reason: str


def unit_of_values(unit_class: str, named: str, values: np.ndarray, celsius: bool | None, outdoor: bool) -> UnitGuess:
    """Unit of the values of a point.

    Parameters
    ----------
    unit_class : str
    named : str
        Unit that the file names, or empty.
    values : ndarray
        A sample, finite.
    celsius : bool or None
        What other temperatures of the log are in, where known.
    outdoor : bool
        The point is outdoors, where the size of a temperature does not tell its unit.
    """
    size = float(np.nanpercentile(np.abs(values), 98)) if values.size else np.nan
    if named and UNITS[named][0] == unit_class:
        if unit_class == "pressure" and named == "psi" and size < 6.0:
            return UnitGuess("in. w.c.", f"named psi; by its size ({size:.3g}) in. w.c., since a duct has no such psi")
        if unit_class == "percent" and named == "%" and size <= 1.0 and _has_fractions(values):
            return UnitGuess("share", f"named %; by its size (at most {size:.3g}, in fractions) a share of 1")
        if unit_class == "percent" and named == "share" and size > 1.5:
            return UnitGuess("%", f"named a share; by its size (up to {size:.3g}) in %")
        if (
            unit_class == "temperature"
            and named == "degF"
            and not outdoor
            and values.size
            and np.nanmedian(values) < 32.0 < size + 20
        ):
            return UnitGuess(
                named, f"named {named}; its size (median {np.nanmedian(values):.3g}) would fit degC better"
            )
        return UnitGuess(named, f"named {named}")
    if not values.size:
        return UnitGuess("", "no values to tell the unit by")
    if named == "%" and unit_class == "humidity":
        return UnitGuess("% RH", "named %")
    if unit_class == "temperature":
        if outdoor:
            if celsius is None:
                return UnitGuess("degC" if size < 42.0 and np.nanmin(values) < 0.0 else "degF", "by its size alone")
            return UnitGuess("degC" if celsius else "degF", "as the other temperatures of the log")
        middle = float(np.nanmedian(values[values != 0])) if np.any(values != 0) else 0.0
        if 5.0 <= middle <= 40.0:
            return UnitGuess("degC", f"by its size (median {middle:.3g})")
        if middle > 270.0:
            return UnitGuess("K", f"by its size (median {middle:.3g})")
        if 40.0 < middle <= 160.0:
            return UnitGuess("degF", f"by its size (median {middle:.3g})")
        return UnitGuess("", f"a median of {middle:.3g} is no temperature of air")
    if unit_class == "pressure":
        if size > 12.0:
            return UnitGuess("Pa", f"by its size (up to {size:.3g})")
        if celsius and size < 1.0:
            return UnitGuess("kPa", f"by its size (up to {size:.3g}) beside temperatures in degC")
        if celsius:
            return UnitGuess("", f"up to {size:.3g} beside temperatures in degC: in. w.c. or kPa cannot be told")
        return UnitGuess("in. w.c.", f"by its size (up to {size:.3g})")
    if unit_class == "flow":
        if celsius:
            return UnitGuess("", "L/s, m3/h or m3/s cannot be told by size")
        return UnitGuess("cfm", "as usual beside degF") if size > 15.0 else UnitGuess("", f"up to {size:.3g} is no cfm")
    if unit_class == "percent":
        if size <= 1.2:
            return UnitGuess("share", f"by its size (up to {size:.3g})")
        if size <= 110.0:
            return UnitGuess("%", f"by its size (up to {size:.3g})")
        return UnitGuess("", f"up to {size:.3g} is neither a share nor %")
    if unit_class == "humidity":
        return UnitGuess("share RH" if size <= 1.0 else "% RH", f"by its size (up to {size:.3g})")
    if unit_class == "power":
        return UnitGuess("kW" if size <= 500.0 else "W", f"by its size (up to {size:.3g})")
    return UnitGuess("on", "on and off")


def _has_fractions(values: np.ndarray) -> bool:
    return bool(np.any(np.abs(values - np.round(values)) > 1e-9))


def converted(values: np.ndarray, unit: str) -> np.ndarray:
    """Values in the program's unit of their class."""
    _, factor, shift = UNITS[unit]
    return values * factor + shift if shift else values * factor if factor != 1.0 else values
