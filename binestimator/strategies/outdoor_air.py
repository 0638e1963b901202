"""Reset by outdoor temperature: a line or a table."""

from __future__ import annotations

import numpy as np

from .strategy import DspStrategy, SatStrategy
from .tables import ResetByPoints, by_outdoor_air


class OutdoorAirSat(ResetByPoints, SatStrategy):
    """Supply air by outdoor temperature, as warm as the limits allow."""

    name = "outdoor_air"
    words = "by outdoor air"
    about = "line or table by outdoor temperature"

    def setpoint_f(self, record, rows, top_f):
        return np.minimum(by_outdoor_air(record, rows.conditions.oat_f, rows.conditions.occupied), top_f)

    def formula(self, record, sheet):
        free = lambda conditions: by_outdoor_air(record, conditions.oat_f, conditions.occupied)
        sheet.column("sat_free", "Reset line", "°F", sheet.line("{oat_f}"), wanted=free)
        return "MIN({sat_free},{sat_top})"


class OutdoorAirDsp(ResetByPoints, DspStrategy):
    """Duct static pressure by outdoor temperature."""

    name = "outdoor_air"
    words = "by outdoor air"
    about = "the same"

    def setpoint_inwc(self, record, rows):
        return by_outdoor_air(record, rows.oat_f, rows.occupied)

    def formula(self, record, sheet):
        return sheet.line("{oat_f}")


SAT, DSP = OutdoorAirSat(), OutdoorAirDsp()
