"""Setpoints of a candidate in rows of conditions: the one door to all strategies."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ..model.loads import ZoneLoads
from ..model.system import heating_enabled
from ..model.terminals import cooling_flow_cfm, requested_flow_cfm
from ..model.unit import Unit
from . import cost_optimal
from .demand import outdoor_envelope_f, settled_dsp_inwc, settled_sat_f
from .limits import sat_limits
from .tables import by_airflow, by_outdoor_air

RESET_SAT = ("outdoor_air", "demand", "cost_optimal")
RESET_DSP = ("outdoor_air", "airflow", "demand")
# Setpoints this close to an end of the range stand at it. [degF, in. w.c.]
AT_END_F, AT_END_INWC = 0.05, 0.005


@dataclass(frozen=True, slots=True, kw_only=True)
class Setpoints:
    """Arrays (R,): ``sat_f`` [degF], ``dsp_inwc`` [in. w.c.], and the limits in force:
    ``humidity_limited``, ``cold_zone_limited`` (bool) where that limit is what holds SAT down;
    ``sat_at_max``, ``sat_at_min``, ``dsp_at_max``, ``dsp_at_min`` (bool) where a reset stands at an
    end of its range."""

    sat_f: np.ndarray
    dsp_inwc: np.ndarray
    humidity_limited: np.ndarray
    cold_zone_limited: np.ndarray
    sat_at_max: np.ndarray
    sat_at_min: np.ndarray
    dsp_at_max: np.ndarray
    dsp_at_min: np.ndarray


def resets_pressure(record) -> bool:
    """Whether a duct pressure strategy moves the setpoint at all."""
    if record.strategy == "fixed":
        return False
    if record.strategy == "as_found":
        values = {y for _, y in record.points} | {y for _, y in (record.points_unoccupied or ())}
        return len(values) > 1
    return True


def dsp_setpoint_inwc(unit: Unit, record, conditions, loads: ZoneLoads, sat_f):
    """Duct static pressure setpoint of a strategy. (R,) [in. w.c.]

    Parameters
    ----------
    record : DSP strategy record
    sat_f : ndarray (R,)
        Supply temperature. [degF] With the loads it gives what zones ask for; never what they
        get, so that nothing is circular.
    """
    if record.strategy == "fixed":
        return np.full(conditions.oat_f.shape, float(record.setpoint_inwc))
    if record.strategy in ("as_found", "outdoor_air"):
        return by_outdoor_air(record, conditions.oat_f, conditions.occupied)
    requested = requested_flow_cfm(unit, loads, sat_f, heating_enabled(unit, conditions.oat_f, conditions.fan_on))
    if record.strategy == "airflow":
        return by_airflow(record, requested @ unit.zones.multiplier, unit.design_cfm)
    return settled_dsp_inwc(
        unit, requested, cooling_flow_cfm(unit, loads, sat_f), record.ignored_requests, record.min_inwc, record.max_inwc
    )


def dsp_of_sat(unit: Unit, record, override_inwc=None):
    """The duct pressure strategy as a function ``(conditions, loads, sat_f)`` of rows, for ``system.evaluate``.

    ``override_inwc`` is an operators' override that stands instead.
    """

    def of_rows(conditions, loads, sat_f):
        if override_inwc is not None:
            return np.full(conditions.oat_f.shape, float(override_inwc))
        return dsp_setpoint_inwc(unit, record, conditions, loads, sat_f)

    return of_rows


def at_dsp_ends(record, dsp_inwc) -> dict[str, np.ndarray]:
    """``dsp_at_max`` and ``dsp_at_min`` of a pressure strategy at its setpoints."""
    none = np.zeros(dsp_inwc.shape, dtype=bool)
    if record.strategy not in RESET_DSP:
        return {"dsp_at_max": none, "dsp_at_min": none}
    low, high = reset_range(record, "min_inwc", "max_inwc")
    return {"dsp_at_max": dsp_inwc >= high - AT_END_INWC, "dsp_at_min": dsp_inwc <= low + AT_END_INWC}


def night_dsp_inwc(unit: Unit, record, oat_f, zone_cfm):
    """Duct pressure setpoint of a strategy at night, in setback, warm-up and cool-down. [in. w.c.]

    Parameters
    ----------
    oat_f : ndarray (R,)
    zone_cfm : ndarray (R, Z) or (1, Z)
        What zones ask for at night. [cfm]

    Returns
    -------
    ndarray (R,), or (1,) where it goes by airflow alone and one line of airflows was given.
    """
    if record.strategy == "fixed":
        return np.full(1, float(record.setpoint_inwc))
    if record.strategy in ("as_found", "outdoor_air"):
        return by_outdoor_air(record, oat_f, np.zeros(np.shape(oat_f)))
    if record.strategy == "airflow":
        return by_airflow(record, zone_cfm @ unit.zones.multiplier, unit.design_cfm)
    return settled_dsp_inwc(unit, zone_cfm, zone_cfm, record.ignored_requests, record.min_inwc, record.max_inwc)


def demand_sat_f(unit: Unit, record, conditions, loads: ZoneLoads, ceiling_f):
    """Supply setpoint of the demand strategy: where zones are satisfied, inside the outdoor-air envelope. (R,)"""
    warmest = outdoor_envelope_f(conditions.oat_f, record.max_f, record.min_f, record.oat_min_f, record.oat_max_f)
    top = np.maximum(np.minimum(warmest, ceiling_f), record.min_f)
    return settled_sat_f(unit, loads, record.ignored_requests, record.min_f, top)


def setpoints(unit: Unit, candidate, conditions, loads: ZoneLoads, other_sats=(), optimal_sat=None) -> Setpoints:
    """Setpoints of a candidate without its overrides by operators.

    Parameters
    ----------
    candidate : Candidate
    optimal_sat : ndarray (R,), optional
        Held supply temperatures of an earlier cost-optimal search, used instead of a new one.
    other_sats : sequence of ndarray (R,)
        Supply temperatures of other candidates, tried by the cost-optimal search. [degF]
    """
    sat_record, dsp_record = candidate.sat, candidate.dsp
    shape = conditions.oat_f.shape
    none = np.zeros(shape, dtype=bool)
    humid, cold = none, none
    if sat_record.strategy == "fixed":
        sat = np.full(shape, float(sat_record.setpoint_f))
    elif sat_record.strategy == "as_found":
        sat = by_outdoor_air(sat_record, conditions.oat_f, conditions.occupied)
    else:
        low, high = reset_range(sat_record, "min_f", "max_f")
        limits = sat_limits(unit, conditions, loads, low, high)
        if sat_record.strategy == "outdoor_air":
            free = by_outdoor_air(sat_record, conditions.oat_f, conditions.occupied)
            sat = np.minimum(free, limits.max_f)
        elif sat_record.strategy == "demand":
            free = demand_sat_f(unit, sat_record, conditions, loads, high)
            sat = demand_sat_f(unit, sat_record, conditions, loads, limits.max_f)
        elif optimal_sat is not None:
            sat = free = np.asarray(optimal_sat, dtype=float)
        else:
            sat = cost_optimal.search(
                unit, conditions, loads, limits, dsp_of_sat(unit, dsp_record), resets_pressure(dsp_record), other_sats
            )
            free = sat
        held = (sat < free - 1e-9) | (
            (sat_record.strategy == "cost_optimal") & (sat >= limits.max_f - 1e-9) & (limits.max_f < high - 1e-9)
        )
        humid = held & (limits.humidity_f <= limits.zone_f)
        cold = held & ~humid
    dsp = dsp_setpoint_inwc(unit, dsp_record, conditions, loads, sat)
    return Setpoints(
        sat_f=sat,
        dsp_inwc=dsp,
        humidity_limited=humid,
        cold_zone_limited=cold,
        **_at_ends(sat_record, dsp_record, sat, dsp),
    )


def reset_range(record, low_name: str, high_name: str) -> tuple[float, float]:
    """Lowest and highest setpoint that a reset may give."""
    if record.points is not None and record.strategy in ("outdoor_air", "airflow"):
        values = [y for _, y in record.points]
        return min(values), max(values)
    return getattr(record, low_name), getattr(record, high_name)


def _at_ends(sat_record, dsp_record, sat, dsp):
    none = np.zeros(sat.shape, dtype=bool)
    out = {"sat_at_max": none, "sat_at_min": none, **at_dsp_ends(dsp_record, dsp)}
    if sat_record.strategy in RESET_SAT:
        low, high = reset_range(sat_record, "min_f", "max_f")
        out.update(sat_at_max=sat >= high - AT_END_F, sat_at_min=sat <= low + AT_END_F)
    return out
