"""Setpoints of a candidate in rows of conditions: the one door to all strategies."""

from __future__ import annotations

import numpy as np

from ..dataclass import dataclass
from ..model.loads import ZoneLoads
from ..model.system import heating_enabled
from ..model.terminals import cooling_flow_cfm, requested_flow_cfm
from ..model.unit import Unit
from .limits import sat_limits
from .registry import dsp_strategy, sat_strategy
from .strategy import DspRows, SatRows

# Setpoints this close to an end of the range are at it. [degF, in. w.c.]
AT_END_F, AT_END_INWC = 0.05, 0.005


@dataclass(frozen=True, slots=True, kw_only=True)
class Setpoints:
    """Arrays (R,): ``sat_f`` [degF], ``dsp_inwc`` [in. w.c.], and the limits in force:
    ``humidity_limited``, ``cold_zone_limited`` (bool) where that limit is what holds SAT down;
    ``sat_at_max``, ``sat_at_min``, ``dsp_at_max``, ``dsp_at_min`` (bool) where a reset is at an
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
    return dsp_strategy(record).moves(record)


def dsp_setpoint_inwc(unit: Unit, record, conditions, loads: ZoneLoads, sat_f):
    """Duct static pressure setpoint of a strategy. (R,) [in. w.c.]

    Parameters
    ----------
    record : DSP strategy record
    sat_f : ndarray (R,)
        Supply temperature. [degF] With the loads it gives what zones ask for; never what they
        get, so that nothing is circular.
    """

    def find():
        return dsp_at_airflows_inwc(
            unit,
            record,
            conditions.oat_f,
            conditions.occupied,
            lambda: requested_flow_cfm(unit, loads, sat_f, heating_enabled(unit, conditions.oat_f, conditions.fan_on)),
            lambda: cooling_flow_cfm(unit, loads, sat_f),
        )

    return find() if loads.known is None else loads.known.of(find, "pressure", record, sat_f)


def dsp_at_airflows_inwc(unit: Unit, record, oat_f, occupied, requested_cfm, cooling_cfm, thresholds=None):
    """Duct static pressure setpoint of a strategy at what zones ask for. (R,) [in. w.c.]

    Parameters
    ----------
    record : DSP strategy record
    oat_f, occupied : ndarray (R,)
        Outdoor temperature and occupancy. [degF, 0/1]
    requested_cfm, cooling_cfm : callable
        Airflows (R, Z) as for ``demand.pressure_thresholds_inwc``, for strategies that read them. [cfm]
    thresholds : callable, optional
        What that gives, where it is known.
    """
    rows = DspRows(
        unit=unit,
        oat_f=oat_f,
        occupied=occupied,
        requested_cfm=requested_cfm,
        cooling_cfm=cooling_cfm,
        thresholds=thresholds,
    )
    found = dsp_strategy(record).setpoint_inwc(record, rows)
    return found if found.shape == oat_f.shape else np.broadcast_to(found, oat_f.shape).copy()


def dsp_of_sat(unit: Unit, record, override_inwc=None):
    """The duct pressure strategy as a function ``(conditions, loads, sat_f)`` of rows, for ``system.evaluate``.

    ``override_inwc`` is an operators' override that holds instead. Where numbers of the unit differ by row the function
    takes the unit of these rows as well.
    """

    def of_rows(conditions, loads, sat_f, unit=unit):
        if override_inwc is not None:
            return np.full(conditions.oat_f.shape, override_inwc * unit.found.dsp_factor)
        return dsp_setpoint_inwc(unit, record, conditions, loads, sat_f)

    return of_rows


def at_dsp_ends(record, dsp_inwc) -> dict[str, np.ndarray]:
    """``dsp_at_max`` and ``dsp_at_min`` of a pressure strategy at its setpoints."""
    none = np.zeros(dsp_inwc.shape, dtype=bool)
    strategy = dsp_strategy(record)
    if not strategy.resets:
        return {"dsp_at_max": none, "dsp_at_min": none}
    low, high = strategy.range(record)
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
    ndarray (R,), or (1,) where it is fixed, or goes by airflow alone and one line of airflows was given.
    """
    rows = DspRows(
        unit=unit,
        oat_f=oat_f,
        occupied=np.zeros(np.shape(oat_f)),
        requested_cfm=lambda: zone_cfm,
        cooling_cfm=lambda: zone_cfm,
    )
    return dsp_strategy(record).setpoint_inwc(record, rows)


def sat_rows(
    unit: Unit, candidate, conditions, loads: ZoneLoads, other_sats=(), optimal_sat=None, pulled_f=None
) -> SatRows:
    """What the supply temperature strategy of a candidate may read; arguments as for :func:`setpoints`."""
    strategy = sat_strategy(candidate.sat)
    return SatRows(
        unit=unit,
        conditions=conditions,
        loads=loads,
        limits=sat_limits(unit, conditions, loads, *strategy.range(candidate.sat)) if strategy.resets else None,
        dsp_of_sat=dsp_of_sat(unit, candidate.dsp),
        resets_pressure=resets_pressure(candidate.dsp),
        other_sats=tuple(other_sats),
        held_sat=optimal_sat,
        held_pulled_f=pulled_f,
    )


def setpoints(
    unit: Unit, candidate, conditions, loads: ZoneLoads, other_sats=(), optimal_sat=None, pulled_f=None
) -> Setpoints:
    """Setpoints of a candidate without its overrides by operators.

    Parameters
    ----------
    candidate : Candidate
    optimal_sat : ndarray (R,), optional
        Held supply temperatures of an earlier search, used instead of a new one.
    other_sats : sequence of ndarray (R,)
        Supply temperatures of other candidates, tried by a strategy that searches. [degF]
    pulled_f : ndarray (R,), optional
        Held :meth:`SatStrategy.pulled_f` of an earlier run. [degF]
    """
    record, strategy = candidate.sat, sat_strategy(candidate.sat)
    none = np.zeros(conditions.oat_f.shape, dtype=bool)
    humid, cold, ends = none, none, {"sat_at_max": none, "sat_at_min": none}
    low, high = strategy.range(record)
    rows = sat_rows(unit, candidate, conditions, loads, other_sats, optimal_sat, pulled_f)
    if rows.limits is None:
        sat = strategy.setpoint_f(record, rows, high)
    else:
        sat = strategy.setpoint_f(record, rows, rows.limits.max_f)
        held = strategy.limited(record, rows, sat)
        humid = held & (rows.limits.humidity_f <= rows.limits.zone_f)
        cold = held & ~humid
        ends = {"sat_at_max": sat >= high - AT_END_F, "sat_at_min": sat <= low + AT_END_F}
    dsp = dsp_setpoint_inwc(unit, candidate.dsp, conditions, loads, sat)
    return Setpoints(
        sat_f=sat,
        dsp_inwc=dsp,
        humidity_limited=humid,
        cold_zone_limited=cold,
        **ends,
        **at_dsp_ends(candidate.dsp, dsp),
    )
