"""Duct pressure reset by airflow, as the airflow station reads it."""

from __future__ import annotations

from .strategy import DspStrategy
from .tables import ResetByPoints, by_airflow


class AirflowDsp(ResetByPoints, DspStrategy):
    """Duct static pressure by airflow in % of design."""

    name = "airflow"
    words = "by airflow"
    about = "line on airflow in % of design, with the error of its measurement"
    x_words = "% airflow"
    follows_zones = True

    def setpoint_inwc(self, record, rows):
        return by_airflow(record, rows.requested_cfm() @ rows.unit.zones.multiplier, rows.unit.design_cfm)

    def parameters(self, record, sheet):
        super().parameters(record, sheet)
        sheet.input("flow_error_frac")

    def formula(self, record, sheet):
        sheet.column(
            "flow_reading",
            "Airflow as the station reads it",
            "% of design",
            f"100*SUMPRODUCT({{z.mult}},{sheet.own('req')})/{{air_handler.design_cfm}}*(1+{{p.dsp_flow_error_frac}})",
            "f1",
        )
        return sheet.line(sheet.own("flow_reading"))


DSP = AirflowDsp()
