"""What cooling and heating plants share: conversions and the least load."""

from __future__ import annotations

import numpy as np

from ... import units
from ...named import Constant, floats

KBTU_PER_KWH = Constant(units.KBTU_PER_KWH, "k.btu_wh")

KBTU_PER_THERM = Constant(units.KBTU_PER_THERM, "k.kbtu_therm")

LEAST_LOAD_FRAC = Constant(1e-6, "k.least_load")
"""Loads below this share of plant capacity are rounding, not loads: nothing starts for them."""


def over(value, size):
    """Quotient, 0 where the size is 0."""
    size = floats(size)
    return np.where(size > 0.0, value / np.where(size > 0.0, size, 1.0), 0.0)
