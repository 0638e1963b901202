"""One setpoint in all hours."""

from __future__ import annotations

import numpy as np

from .strategy import DspStrategy, SatStrategy, Strategy


class _Fixed(Strategy):
    name = "fixed"
    words = "fixed"
    about = "one setpoint"

    def range(self, record):
        value = getattr(record, f"setpoint_{self.suffix}")
        return value, value

    def say(self, record):
        return f"{self.words} at {self.range(record)[0]:g} {self.shown_unit}"

    def parameters(self, record, sheet):
        sheet.input(f"setpoint_{self.suffix}")

    def formula(self, record, sheet):
        return f"{{p.{self.part}_setpoint_{self.suffix}}}"


class FixedSat(_Fixed, SatStrategy):
    """One supply air temperature."""

    def setpoint_f(self, record, rows, top_f):
        return np.full(rows.conditions.oat_f.shape, float(record.setpoint_f))


class FixedDsp(_Fixed, DspStrategy):
    """One duct static pressure."""

    def setpoint_inwc(self, record, rows):
        return np.full(1, float(record.setpoint_inwc))

    def moves(self, record):
        return False


SAT, DSP = FixedSat(), FixedDsp()
