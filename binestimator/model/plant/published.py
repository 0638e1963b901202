"""Published curves of plants, kept as data in ``plant_curves.csv``, and part load."""

from __future__ import annotations

import csv
from functools import cache
from pathlib import Path

import numpy as np

from ...dataclass import dataclass
from ...errors import InputError
from ...named import Constant, floats, named

CURVES_FILE = Path(__file__).with_name("plant_curves.csv")

# Water-cooled chillers below 150 tons have their own part-load curves and the temperature
# curves of the next size, 150 to 300 tons: from their published full-load rating this gives
# their published integrated part load value within 1.5 % (tested).
AIR_COOLED_SETS = ("air_cooled_below_150_ton", "air_cooled_from_150_ton")
"""Chiller sets of 90.1-2022 table J-4 without tower and condenser pump."""


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
    run = named(running_share(plr, minimum_plr_frac, below), part + "run")
    value = 0.0
    for coefficient in tuple(curve_coefficients)[::-1]:
        value = coefficient + steady * value
    return value / _at_full_load(curve_coefficients) * run


def _at_full_load(curve_coefficients):
    # Value at a part load of 1; coefficients of a curve of the data file have it under the curve's name.
    curve = getattr(curve_coefficients[0], "name", "").rpartition(".")[0]
    total = sum(curve_coefficients)
    return Constant(total, f"{curve}.rated") if curve else total


def running_share(plr, minimum_plr_frac, below):
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


def pump_power_frac(flow_frac, control):
    """Power of a pump over its power at design, 0 at no flow.

    ``constant``: full power at any flow above 0. ``variable``: curve ``pump_variable``.
    """
    if control == "constant":
        return np.where(floats(flow_frac) > 0.0, 1.0, 0.0)
    return curves()["pump_variable"].relative(flow_frac)
