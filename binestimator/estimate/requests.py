"""Which zones drive a reset by demand: request-hours, alarms, and hours in which one zone alone pins the setpoint."""

from __future__ import annotations

from dataclasses import fields, replace

import numpy as np

from ..dataclass import dataclass
from ..model.system import heating_enabled
from ..model.terminals import available_flow_cfm, cooling_flow_cfm, requested_flow_cfm
from ..model.unit import Unit, rows_of
from ..strategies.choose import dsp_at_airflows_inwc, dsp_of_sat, resets_pressure
from ..strategies.demand import MOST_REQUESTS, pressure_thresholds_inwc, temperature_thresholds_f
from ..strategies.limits import sat_limits
from ..strategies.registry import dsp_strategy, sat_strategy
from ..strategies.strategy import SatRows
from .rows import Part, Rows

# A zone that would stop asking this far before the setpoint does not hold it: a setpoint is the mean of its edges of
# asking and releasing, and a zone that is at one of them releases beyond that mean. [degF, share of duct pressure]
NEAR_F, NEAR_FRAC = 0.5, 0.05
# A setpoint this near to the warmest that requests allow is there for their sake. [degF]
AT_REQUESTS_F = 1e-6
# Requests of hours are kept to seven digits: shares that are nearer are equal.
ALARM_SLACK = 1e-6


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
        total = np.cumsum(requests[start : start + window], axis=0, dtype=float)
        run = np.arange(1, len(total) + 1)
        late = run > rules.alarm_run_hours
        most = rules.alarm_request_pct / 100.0 * run[late, None]
        standing += (total[late] > most * (1.0 + ALARM_SLACK)).sum(axis=0)
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
    z = unit.zones
    zeros = lambda: {"sat": np.zeros(len(z)), "dsp": np.zeros(len(z))}
    found = RequestHours(requests=zeros(), alarm_hours=zeros(), pinned_hours=zeros(), by_one_hours={})
    for part, listens, add in (
        ("sat", sat_strategy(candidate.sat).listens, _of_sat),
        ("dsp", dsp_strategy(candidate.dsp).listens, _of_dsp),
    ):
        if not listens:
            continue
        found.by_one_hours[part] = 0.0
        acting = [_acts(candidate, part, p) for p in parts]
        sequence = []
        for here, block in rows.blocks():
            requests = add(found, unit, candidate, block, [_of_block(p, here) for p in parts], acting, rules)
            found.requests[part] += block.on.hours @ requests
            sequence.append(requests.astype(np.float32))
        found.alarm_hours[part][:] = alarm_hours(np.concatenate(sequence), rules, z.weight)
    return found


def _of_block(p: Part, here: slice) -> Part:
    """A part in some of its rows."""
    taken = {f.name: getattr(p.setpoints, f.name)[here] for f in fields(p.setpoints)}
    return Part(share=p.share, setpoints=type(p.setpoints)(**taken), state=p.state.take(here))


def _acts(candidate, part: str, p: Part) -> bool:
    """Whether the reset acts in a part of the time, no operators' override."""
    record = getattr(candidate, part)
    held, setpoint = (
        (record.override_f, p.setpoints.sat_f) if part == "sat" else (record.override_inwc, p.setpoints.dsp_inwc)
    )
    return record.override_frac <= 0.0 or not bool((setpoint == held).all())


def _of_sat(found: RequestHours, unit: Unit, candidate, block: Rows, parts, acting, rules) -> np.ndarray:
    """Requests for colder air in a block of hours (R, Z); hours that zones pin are added to ``found``."""
    record, strategy, loads = candidate.sat, sat_strategy(candidate.sat), block.loads
    always = unit.zones.asks_temperature
    requests, first, share = np.zeros(loads.q_cool_btuh.shape), None, 0.0
    for p, acts in zip(parts, acting, strict=True):
        # A room that duct pressure leaves short of air has its loop wound up.
        own = temperature_thresholds_f(unit, loads, available_flow_cfm(unit, p.state.dsp_inwc))
        requests += p.share * sent(p.state.sat_set_f, own, always, below=False)
        if acts:
            share += p.share
            if first is None:
                first, thresholds = p, own
    if first is None:
        return requests
    low, high = strategy.range(record)
    limits = sat_limits(unit, block.on, loads, low, high)
    sat, dsp = first.setpoints.sat_f, first.setpoints.dsp_inwc
    by_requests = np.ones(len(sat), dtype=bool)

    def setpoint(other: Unit, at):
        some = SatRows(
            unit=other,
            conditions=block.on.take(at),
            loads=loads.take(at),
            limits=replace(limits, max_f=limits.max_f[at], humidity_f=limits.humidity_f[at]),
            dsp_of_sat=dsp_of_sat(other, candidate.dsp),
            resets_pressure=resets_pressure(candidate.dsp),
            held_dsp_inwc=dsp[at],
        )
        asked = strategy.asked_f(record, some, limits.max_f[at])
        return np.where(by_requests[at], asked, sat[at])

    if strategy.held:
        # A zone without which requests allow more changes nothing where something else than requests decides.
        by_requests = sat >= setpoint(unit, np.arange(len(sat))) - AT_REQUESTS_F
    near = (thresholds[1] < (sat + NEAR_F)[:, None]) | always
    _pinned(found, "sat", unit, block, sat, near, setpoint, rules.sat_step_f, share)
    return requests


def _of_dsp(found: RequestHours, unit: Unit, candidate, block: Rows, parts, acting, rules) -> np.ndarray:
    """Requests for pressure in a block of hours (R, Z); hours that zones pin are added to ``found``."""
    loads, always = block.loads, unit.zones.asks_pressure
    enabled = heating_enabled(unit, block.on.oat_f, block.on.fan_on)
    requests = np.zeros(loads.q_cool_btuh.shape)
    for p, acts in zip(parts, acting, strict=True):
        sat, dsp = p.state.sat_f, p.setpoints.dsp_inwc
        asked, cooling = requested_flow_cfm(unit, loads, sat, enabled), cooling_flow_cfm(unit, loads, sat)
        thresholds = pressure_thresholds_inwc(unit, asked, cooling)
        requests += p.share * sent(p.state.dsp_inwc, thresholds, always, below=True)
        if not acts:
            continue

        def setpoint(other: Unit, at, asked=asked, cooling=cooling, thresholds=thresholds):
            # What zones ask for does not depend on which requests are ignored.
            of = lambda values: lambda: rows_of(values, at)
            known = lambda: tuple(rows_of(each, at) for each in thresholds)
            return dsp_at_airflows_inwc(
                other, candidate.dsp, block.on.oat_f[at], block.on.occupied[at], of(asked), of(cooling), known
            )

        near = (thresholds[1] > (dsp * (1.0 - NEAR_FRAC))[:, None]) | always
        _pinned(found, "dsp", unit, block, dsp, near, setpoint, rules.dsp_step_inwc, p.share)
    return requests


def _pinned(found: RequestHours, part: str, unit: Unit, block: Rows, setpoint, near, without, step, share) -> None:
    """Add hours in which a setpoint would be elsewhere by more than a step without one zone of a line.

    ``near`` (R, Z) where the zone may matter · ``without(unit, rows)`` the setpoint with another unit.
    """
    z, by_one, hours = unit.zones, np.zeros(len(setpoint), dtype=bool), block.on.hours
    for k in np.flatnonzero((z.weight > 0.0) & near.any(axis=0)):
        weight = z.weight.copy()
        weight[k] *= (z.multiplier[k] - 1.0) / z.multiplier[k]
        at = np.flatnonzero(near[:, k])
        moved = at[np.abs(without(replace(unit, zones=replace(z, weight=weight)), at) - setpoint[at]) > step]
        found.pinned_hours[part][k] += share * hours[moved].sum()
        by_one[moved] = True
    found.by_one_hours[part] += share * float(hours[by_one].sum())
