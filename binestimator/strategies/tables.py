"""What strategies that follow a table share: as found, outdoor air, airflow."""

from __future__ import annotations

import numpy as np

from ..inputs.follows import default_lines
from .strategy import Strategy


def line(x, points):
    """Straight lines between points, flat outside.

    Parameters
    ----------
    x : ndarray
    points : sequence of (x, y), x ascending
        One point gives a constant.

    Returns
    -------
    ndarray like ``x``

    Notes
    -----
    With two points this is the outdoor-air line of Guideline 36 5.16.2.2.
    """
    table = np.asarray(points, dtype=float)
    return np.interp(x, table[:, 0], table[:, 1])


def by_outdoor_air(record, oat_f, occupied):
    """Setpoint by outdoor temperature; with its own table when unoccupied, if it has one. (R,)"""
    setpoint = line(oat_f, record.points)
    if record.points_unoccupied is None:
        return setpoint
    return np.where(occupied > 0.0, setpoint, line(oat_f, record.points_unoccupied))


def by_airflow(record, requested_cfm, design_cfm):
    """Duct pressure setpoint by airflow in % of design, as the airflow station reads it. (R,)

    ``requested_cfm`` is what all zones ask for together: reading the delivered flow would make
    the setpoint depend on itself.
    """
    reading_pct = 100.0 * requested_cfm / design_cfm * (1.0 + record.flow_error_frac)
    return line(reading_pct, record.points)


class ByPoints(Strategy):
    """Part of a strategy that goes by points: straight lines between, flat outside.

    ``x_words`` what the points depend on, in a sentence. The line that it takes where none is given, and the unit of
    x, are its row of ``inputs/default_lines.csv``.
    """

    x_words = "°F outdoors"

    def say(self, record):
        unit = self.shown_unit
        levels = {y for _, y in record.points}
        if len(levels) == 1:
            said = f"{self.words}, {levels.pop():g} {unit} throughout"
        else:
            line = ", ".join(f"{y:g} {unit} at {x:g}" for x, y in record.points)
            said = f"{self.words}: {line} {self.x_words}; straight between, flat outside"
        night = getattr(record, "points_unoccupied", None)
        if night:
            said += "; unoccupied: " + ", ".join(f"{y:g} at {x:g}" for x, y in night)
        return said

    def parameters(self, record, sheet):
        sheet.points("points", default_lines()[self.part, self.name].x_unit)


class ResetByPoints(ByPoints):
    """Part of a reset that goes by points: its range is that of the points."""

    resets = True

    def range(self, record):
        values = [y for _, y in record.points]
        return min(values), max(values)

    def parameters(self, record, sheet):
        super().parameters(record, sheet)
        # Of one point there is no table.
        ys = f"{{p.{self.part}_points.y}}" if len(record.points) > 1 else f"{{p.{self.part}_points.y1}}"
        sheet.derived("low", f"Lowest {self.what} of the line", self.shown_unit, f"MIN({ys})")
        sheet.derived("high", f"Highest {self.what} of the line", self.shown_unit, f"MAX({ys})")
