"""What the controls do as found: a table by outdoor temperature, with one of its own for unoccupied hours.

It is described as it is, so no limit of resets binds it.
"""

from __future__ import annotations

from .strategy import DspStrategy, SatStrategy
from .tables import ByPoints, by_outdoor_air


class _AsFound(ByPoints):
    name = "as_found"
    words = "as found"
    changes_nothing = True

    def range(self, record):
        values = [y for _, y in (*record.points, *(record.points_unoccupied or ()))]
        return min(values), max(values)

    def parameters(self, record, sheet):
        super().parameters(record, sheet)
        if record.points_unoccupied is not None:
            sheet.points("points_unoccupied")

    def formula(self, record, sheet):
        line = sheet.line("{oat_f}")
        if record.points_unoccupied is None:
            return line
        return f"IF({{occupied}}>0,{line},{sheet.line('{oat_f}', 'points_unoccupied')})"


class AsFoundSat(_AsFound, SatStrategy):
    """Supply air as found."""

    about = "table by outdoor temperature, occupied and unoccupied, with a share of hours overridden by operators"

    def setpoint_f(self, record, rows, top_f):
        return by_outdoor_air(record, rows.conditions.oat_f, rows.conditions.occupied) + rows.unit.found.sat_shift_f


class AsFoundDsp(_AsFound, DspStrategy):
    """Duct static pressure as found."""

    about = "the same"

    def setpoint_inwc(self, record, rows):
        return by_outdoor_air(record, rows.oat_f, rows.occupied) * rows.unit.found.dsp_factor

    def moves(self, record):
        values = {y for _, y in record.points} | {y for _, y in (record.points_unoccupied or ())}
        return len(values) > 1


SAT, DSP = AsFoundSat(), AsFoundDsp()
