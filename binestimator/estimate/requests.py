"""Which zones drive a reset by demand: request-hours, alarms, and hours in which one zone alone pins the setpoint."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from ..model.system import heating_enabled
from ..model.terminals import cooling_flow_cfm, requested_flow_cfm
from ..model.unit import Unit
from ..strategies.choose import dsp_of_sat, dsp_setpoint_inwc, resets_pressure
from ..strategies.demand import MOST_REQUESTS, REQUEST_SLACK, pressure_thresholds_inwc, temperature_thresholds_f
from ..strategies.limits import sat_limits
from ..strategies.registry import dsp_strategy, sat_strategy
from ..strategies.strategy import SatRows
from .rows import Part, Rows

# A zone that would stop asking this far before the setpoint does not hold it: a setpoint is the mean of its edges of
# asking and releasing, and a zone that is at one of them releases beyond that mean. [degF, share of duct pressure]
NEAR_F, NEAR_FRAC = 0.5, 0.05


#: Columns of ``CandidateResult.zones`` that come from :class:`RequestHours`, by part.
COLUMNS = {
    (part, name): f"{part}_{name}" for part in ("sat", "dsp") for name in ("requests", "alarm_hours", "pinned_hours")
}


@dataclass(frozen=True, slots=True, kw_only=True)
class RequestHours:
    """Requests of zones over a year, of one zone of each line (Z,).

    ``requests`` by part (sat, dsp): requests times hours [requests.h] · ``alarm_hours`` in which its alarm stands [h] ·
    ``pinned_hours`` in which the setpoint would be elsewhere by more than a step without the zone [h] ·
    ``by_one_hours`` by part, in which there is such a zone [h]. Parts that do not go by requests hold zeros, and have
    no entry in ``by_one_hours``.
    """

    requests: dict[str, np.ndarray]
    alarm_hours: dict[str, np.ndarray]
    pinned_hours: dict[str, np.ndarray]
    by_one_hours: dict[str, float]

    def columns(self) -> dict[str, np.ndarray]:
        """By the names of ``COLUMNS``."""
        return {column: getattr(self, name)[part] for (part, name), column in COLUMNS.items()}


def sent(setpoint, thresholds, always, *, below: bool):
    """Requests of zones at a setpoint of rows. (R, Z)

    Parameters
    ----------
    setpoint : ndarray (R,)
    thresholds : sequence of ndarray (R, Z)
        First, release, second, third, as ``strategies.demand`` gives them.
    always : ndarray (Z,) bool
        Zones that always ask.
    below : bool
        Whether zones ask below their thresholds (duct pressure) or above (supply air).

    Notes
    -----
    A first request holds half of the time where the setpoint is between its points of asking and releasing, as settled
    setpoints are the mean of both edges.
    """
    at = np.asarray(setpoint, dtype=float)[:, None]
    asks = [(at < edge) if below else (at > edge) for edge in thresholds]
    count = 0.5 * asks[0] + 0.5 * asks[1] + asks[2] + asks[3]
    return np.where(always, MOST_REQUESTS, count)


def alarm_hours(requests, rules, weight):
    """Hours in which the alarm of each zone stands (Guideline 36). (Z,) [h]

    Parameters
    ----------
    requests : ndarray (R, Z)
        In the running hours in their order.
    rules : record of section ``rogue_zones``
    weight : ndarray (Z,)
        Without importance there is no alarm.
    """
    window = max(int(round(rules.alarm_reset_hours)), 1)
    standing = np.zeros(requests.shape[1])
    for start in range(0, len(requests), window):
        total = np.cumsum(requests[start : start + window], axis=0)
        run = np.arange(1, len(total) + 1)
        late = run > rules.alarm_run_hours
        most = rules.alarm_request_pct / 100.0 * run[late, None]
        standing += (total[late] > most * (1.0 + REQUEST_SLACK)).sum(axis=0)
    return np.where(weight > 0.0, standing, 0.0)


def request_hours(unit: Unit, candidate, rows: Rows, parts: list[Part], rules) -> RequestHours:
    """Requests of zones over the hours of a candidate.

    Parameters
    ----------
    rows : Rows
        Hours in their order: alarms have a memory.
    parts : list of Part
    rules : record of section ``rogue_zones``
    """
    count = len(unit.zones)
    zeros = lambda: {"sat": np.zeros(count), "dsp": np.zeros(count)}
    found = RequestHours(requests=zeros(), alarm_hours=zeros(), pinned_hours=zeros(), by_one_hours={})
    if sat_strategy(candidate.sat).listens:
        _of_sat(found, unit, candidate, rows, parts, rules)
    if dsp_strategy(candidate.dsp).listens:
        _of_dsp(found, unit, candidate, rows, parts, rules)
    return found


def _overridden(share: float, value, setpoint) -> bool:
    return share > 0.0 and bool((setpoint == value).all())


def _of_sat(found: RequestHours, unit: Unit, candidate, rows: Rows, parts, rules) -> None:
    record, strategy, z = candidate.sat, sat_strategy(candidate.sat), unit.zones
    loads = rows.loads
    thresholds = temperature_thresholds_f(unit, loads)
    always = z.asks_temperature
    requests = sum(p.share * sent(p.state.sat_set_f, thresholds, always, below=False) for p in parts)
    found.requests["sat"][:] = rows.on.hours @ requests
    found.alarm_hours["sat"][:] = alarm_hours(requests, rules, z.weight)
    acting = [p for p in parts if not _overridden(record.override_frac, record.override_f, p.setpoints.sat_f)]
    if not acting:
        found.by_one_hours["sat"] = 0.0
        return
    low, high = strategy.range(record)
    limits = sat_limits(unit, rows.on, loads, low, high)
    sat = acting[0].setpoints.sat_f

    def setpoint(other: Unit, at):
        some = SatRows(
            unit=other,
            conditions=rows.on.take(at),
            loads=loads.take(at),
            limits=replace(limits, max_f=limits.max_f[at], humidity_f=limits.humidity_f[at]),
            dsp_of_sat=dsp_of_sat(other, candidate.dsp),
            resets_pressure=resets_pressure(candidate.dsp),
        )
        return strategy.setpoint_f(record, some, limits.max_f[at])

    near = (thresholds[1] < (sat + NEAR_F)[:, None]) | always
    _pinned(found, "sat", unit, rows, sat, near, setpoint, rules.sat_step_f, sum(p.share for p in acting))


def _of_dsp(found: RequestHours, unit: Unit, candidate, rows: Rows, parts, rules) -> None:
    record, z = candidate.dsp, unit.zones
    always = z.asks_pressure
    enabled = heating_enabled(unit, rows.on.oat_f, rows.on.fan_on)
    loads = rows.loads
    requests = np.zeros(loads.q_cool_btuh.shape)
    found.by_one_hours["dsp"] = 0.0
    for p in parts:
        sat = p.state.sat_f
        thresholds = pressure_thresholds_inwc(
            unit, requested_flow_cfm(unit, loads, sat, enabled), cooling_flow_cfm(unit, loads, sat)
        )
        requests += p.share * sent(p.state.dsp_inwc, thresholds, always, below=True)
        dsp = p.setpoints.dsp_inwc
        if _overridden(record.override_frac, record.override_inwc, dsp):
            continue

        def setpoint(other: Unit, at, sat=sat):
            return dsp_setpoint_inwc(other, record, rows.on.take(at), loads.take(at), sat[at])

        near = (thresholds[1] > (dsp * (1.0 - NEAR_FRAC))[:, None]) | always
        _pinned(found, "dsp", unit, rows, dsp, near, setpoint, rules.dsp_step_inwc, p.share)
    found.requests["dsp"][:] = rows.on.hours @ requests
    found.alarm_hours["dsp"][:] = alarm_hours(requests, rules, z.weight)


def _pinned(found: RequestHours, part: str, unit: Unit, rows: Rows, setpoint, near, without, step, share) -> None:
    """Add hours in which a setpoint would be elsewhere by more than a step without one zone of a line.

    ``near`` (R, Z) where the zone may matter · ``without(unit, rows)`` the setpoint with another unit.
    """
    z, by_one = unit.zones, np.zeros(len(setpoint), dtype=bool)
    for k in np.flatnonzero((z.weight > 0.0) & near.any(axis=0)):
        weight = z.weight.copy()
        weight[k] *= (z.multiplier[k] - 1.0) / z.multiplier[k]
        at = np.flatnonzero(near[:, k])
        moved = at[np.abs(without(replace(unit, zones=replace(z, weight=weight)), at) - setpoint[at]) > step]
        found.pinned_hours[part][k] += share * rows.on.hours[moved].sum()
        by_one[moved] = True
    found.by_one_hours[part] = found.by_one_hours.get(part, 0.0) + share * float(rows.on.hours[by_one].sum())
