"""What lets formulas be drawn from functions of the model: names of its steps, constants and decisions.

Functions of the model take numbers and arrays. They take anything else that answers numpy's dispatch protocols as well:
the workbook hands them symbols and gets the formulas of the same physics (``workbook/live/symbols.py``). For numbers
all of this changes nothing.
"""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np


class Constant(float):
    """A number with the name by which formulas know it."""

    __slots__ = ("name",)

    name: str

    def __new__(cls, value: float, name: str) -> Constant:
        self = super().__new__(cls, value)
        self.name = name
        return self

    def __reduce__(self) -> tuple[type, tuple[float, str]]:
        return Constant, (float(self), self.name)


class Constants(tuple[float, ...]):
    """Several numbers with their names."""

    names: tuple[str, ...]

    def __new__(cls, values: Iterable[float], names: Iterable[str]) -> Constants:
        self = super().__new__(cls, values)
        self.names = tuple(names)
        return self


def beside(value, constants: Constants) -> tuple:
    """Constants to calculate with beside a value: as they are, or as symbols where that is one."""
    draw = getattr(value, "drawing", None)
    return constants if draw is None else tuple(draw.name(name) for name in constants.names)


def anywhere(condition) -> bool:
    """Whether a condition holds in some row: what is needed there only can be left out otherwise, but for formulas."""
    return True if hasattr(condition, "named") else bool(np.any(condition))


def named(value, key: str):
    """The value itself; formulas give this step a column of its own under the key."""
    mark = getattr(value, "named", None)
    return value if mark is None else mark(key)


def floats(value):
    """The value as an array of floats; symbols as they are."""
    return value if hasattr(value, "named") else np.asarray(value, dtype=float)


def decided(condition) -> bool:
    """Whether a condition on inputs holds; formulas are written for what it is in the run."""
    decide = getattr(condition, "decided", None)
    return bool(np.all(condition)) if decide is None else decide()
