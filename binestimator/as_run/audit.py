"""Candidates of an estimate as controllers run them: which loops, which setpoints, and what it comes to."""

from __future__ import annotations

from collections.abc import Callable, Sequence

import numpy as np

from ..estimate.rows import Rows
from ..estimate.running import figures_of_totals, night_duct, night_totals, run_parts
from ..hours import Conditions, build_conditions
from ..inputs.project import Candidate, Project
from ..model.loads import ZoneLoads, zone_loads
from ..model.night import empty_night, energy_of_given, night_air_cfm
from ..model.unit import Unit
from ..results import ANNUAL_KEYS, SAVING_KEYS, AsRun, Results
from ..strategies.choose import AT_END_F, at_dsp_ends, dsp_of_sat, resets_pressure
from ..strategies.limits import SatLimits, sat_limits
from ..strategies.registry import dsp_strategy, sat_strategy
from ..strategies.strategy import DspRows, SatRows
from .settings import Settings, TrimRespond
from .steps import BY_ZONE, HOURLY, Run, Year


def audit(
    results: Results, only: Sequence[str] | None = None, progress: Callable[[float], None] | None = None
) -> dict[str, AsRun]:
    """All candidates of an estimate at time steps.

    Parameters
    ----------
    results : Results
        Sizes are those that the estimate found.
    only : sequence of str, optional
        Candidates to run; the baseline is always among them.
    progress : callable, optional
        Told the share that is done.

    Returns
    -------
    dict
        Candidate id to AsRun, in the order of the project.
    """
    wanted = [c.candidate for c in results.candidates if only is None or c.id in only or c.id == results.baseline_id]
    sites: dict[str, list[Candidate]] = {}
    for candidate in wanted:
        sites.setdefault(results.runs[candidate.id].site, []).append(candidate)
    found: dict[str, tuple] = {}
    done = 0
    for candidates in sites.values():
        count = len(candidates)

        def tell(share: float, done: int = done, count: int = count) -> None:
            if progress is not None:
                progress((done + share * count) / len(wanted))

        found |= _site(results, candidates, tell)
        done += len(candidates)
    base = found[results.baseline_id][0]
    return {
        c.id: AsRun(
            annual=found[c.id][0],
            saving={key: base[key] - found[c.id][0][key] for key in SAVING_KEYS},
            zones=found[c.id][1],
            hourly=found[c.id][2],
            trace=found[c.id][3],
            trace_days=found[c.id][4],
        )
        for c in wanted
    }


def _site(results: Results, candidates: list[Candidate], progress) -> dict[str, tuple]:
    """Candidates that share a unit, side by side."""
    of = results.runs[candidates[0].id]
    unit, project = of.unit, of.project
    conditions = build_conditions(results.weather, project)
    loads = zone_loads(unit, conditions)
    searched = _searched(unit, conditions, results, candidates)
    runs, owners = [], []
    for candidate in candidates:
        for run in runs_of(unit, conditions, loads, project, candidate, searched.get(candidate.id)):
            runs.append(run)
            owners.append(candidate.id)
    days = trace_days(conditions)
    settings = Settings.of(project.as_run)
    outcomes = Year(unit, conditions, project.schedule, runs, settings, trace_days=days, progress=progress).run()
    found = {}
    for candidate in candidates:
        mine = [(r, o) for r, o, owner in zip(runs, outcomes, owners) if owner == candidate.id]
        mean = lambda name, part, mine=mine: sum(r.share * getattr(o, part)[name] for r, o in mine)
        found[candidate.id] = (
            _annual(unit, conditions, loads, project, mine),
            {name: mean(name, "zones") for name in BY_ZONE},
            {name: mean(name, "hourly") for name in HOURLY},
            {name: mean(name, "trace") for name in HOURLY},
            days,
        )
    return found


def _annual(unit: Unit, conditions: Conditions, loads: ZoneLoads, project: Project, mine) -> dict[str, float]:
    """Annual figures of the runs of a candidate, by their shares of the time."""
    figures = dict.fromkeys(ANNUAL_KEYS, 0.0)
    for run, outcome in mine:
        if (conditions.fan_on > 0.0).all():
            night = empty_night(len(conditions.oat_f), loads.heat_f.min(axis=0))
        else:
            air = night_air_cfm(unit, conditions, run.duct)
            night = energy_of_given(
                unit, conditions, loads, project.schedule, outcome.heat_btuh, outcome.cool_btuh, run.duct, air
            )
        own = figures_of_totals(
            unit,
            conditions,
            outcome.totals.__getitem__,
            lambda name, outcome=outcome: outcome.limits.get(name, 0.0),
            night_totals(night),
        )
        for key, value in own.items():
            figures[key] += run.share * value
    return figures


def trace_days(conditions: Conditions) -> tuple[int, ...]:
    """A cold, a mild and a hot day whose steps are kept, of those with the unit on: days of the year."""
    days = conditions.oat_f.reshape(-1, 24).mean(axis=1)
    runs = np.flatnonzero((conditions.fan_on > 0.0).reshape(-1, 24).sum(axis=1) >= 6)
    if not len(runs):
        return ()
    order = runs[np.argsort(days[runs], kind="stable")]
    return tuple(int(order[round(q * (len(order) - 1))]) for q in (0.05, 0.5, 0.95))


def _searched(unit: Unit, conditions: Conditions, results: Results, candidates) -> dict[str, np.ndarray]:
    """Supply temperatures (H,) of strategies that search, hour by hour as rooms at rest ask: a limit of control."""
    if not any(sat_strategy(c.sat).searches for c in candidates):
        return {}
    rows = Rows.of(unit, conditions)
    tried: list[np.ndarray] = []
    found = {}
    base = results.baseline.candidate
    for candidate in sorted(
        {c.id: c for c in [base, *candidates]}.values(), key=lambda c: (sat_strategy(c.sat).searches, c.id != base.id)
    ):
        sat = run_parts(unit, candidate, rows, tried)[0].setpoints.sat_f
        if sat_strategy(candidate.sat).searches:
            whole = np.full(len(conditions.oat_f), float(unit.air_handler.design_sat_f))
            whole[rows.running] = sat
            found[candidate.id] = whole
        else:
            tried.append(sat)
    return found


def runs_of(
    unit: Unit, conditions: Conditions, loads: ZoneLoads, project: Project, candidate: Candidate, searched_f=None
) -> list[Run]:
    """A candidate as runs, one for each share of operators' overrides.

    ``searched_f`` supply temperatures (H,) of a strategy that searches.
    """
    sat, dsp, tuning = candidate.sat, candidate.dsp, project.as_run
    duct = night_duct(unit, project.schedule, dsp)
    sat_loop, dsp_loop = sat_tuning(sat, tuning), dsp_tuning(unit, dsp, tuning)
    limits = None
    if sat_strategy(sat).resets:
        low, high = sat_strategy(sat).range(sat)
        limits = sat_limits(unit, conditions, loads, low, high)
    sat_set = _sat_setpoint(unit, candidate, loads, limits, searched_f)
    dsp_set = _dsp_setpoint(unit, dsp)
    sats = [(1.0 - sat.override_frac, None)] + [(sat.override_frac, sat.override_f)] * (sat.override_frac > 0.0)
    dsps = [(1.0 - dsp.override_frac, None)] + [(dsp.override_frac, dsp.override_inwc)] * (dsp.override_frac > 0.0)
    return [
        Run(
            share=sat_share * dsp_share,
            sat_set_f=sat_set if sat_held is None else _held_at(sat_held),
            dsp_set_inwc=dsp_set if dsp_held is None else _held_at(dsp_held),
            limits=_limits_of(sat, dsp, limits, sat_held is None, dsp_held is None),
            sat_loop=sat_loop if sat_held is None else None,
            dsp_loop=dsp_loop if dsp_held is None else None,
            resets_pressure=resets_pressure(dsp),
            duct=duct,
        )
        for sat_share, sat_held in sats
        for dsp_share, dsp_held in dsps
        if sat_share * dsp_share > 0.0
    ]


def sat_tuning(record, tuning) -> TrimRespond | None:
    """Trim and respond of a supply temperature strategy, None where it does not go by requests."""
    strategy = sat_strategy(record)
    if not strategy.listens:
        return None
    low, high = strategy.range(record)
    return TrimRespond(
        start=high if tuning.sat_start_f is None else min(max(tuning.sat_start_f, low), high),
        delay_min=tuning.sat_delay_min,
        step_min=tuning.reset_step_min,
        trim=tuning.sat_trim_f,
        respond=-tuning.sat_respond_f,
        respond_most=-tuning.sat_respond_most_f,
        ignored=record.ignored_requests,
        low=low,
        high=high,
    )


def dsp_tuning(unit: Unit, record, tuning) -> TrimRespond | None:
    """Trim and respond of a duct pressure strategy, None where it does not go by requests."""
    strategy = dsp_strategy(record)
    if not strategy.listens:
        return None
    low, high = strategy.range(record)
    return TrimRespond(
        start=min(max(tuning.dsp_start_inwc, low), high),
        delay_min=tuning.dsp_delay_min,
        step_min=tuning.reset_step_min,
        trim=-tuning.dsp_trim_inwc,
        respond=tuning.dsp_respond_inwc,
        respond_most=tuning.dsp_respond_most_inwc,
        ignored=record.ignored_requests,
        low=low,
        high=high,
    )


def _held_at(value):
    return lambda c, *_: np.full(len(c.oat_f), float(value))


def _sat_setpoint(unit: Unit, candidate: Candidate, loads: ZoneLoads, limits: SatLimits | None, searched_f):
    """Supply setpoint of rows at a time step, as ``Run.sat_set_f``."""
    record, strategy = candidate.sat, sat_strategy(candidate.sat)
    high = strategy.range(record)[1]
    if strategy.searches:
        return lambda c, loop_f: searched_f[c.hour_of_year]

    def setpoint(c: Conditions, loop_f):
        rows = SatRows(
            unit=unit,
            conditions=c,
            loads=loads,
            limits=limits,
            dsp_of_sat=dsp_of_sat(unit, candidate.dsp),
            resets_pressure=resets_pressure(candidate.dsp),
        )
        return strategy.of_step_f(record, rows, loop_f, high if limits is None else limits.max_f[c.hour_of_year])

    return setpoint


def _dsp_setpoint(unit: Unit, record):
    """Duct pressure setpoint of rows at a time step, as ``Run.dsp_set_inwc``."""
    strategy = dsp_strategy(record)
    if strategy.listens:
        return lambda c, asked_cfm, loop_inwc: loop_inwc

    def setpoint(c, asked_cfm, loop_inwc):
        asked = lambda: asked_cfm
        rows = DspRows(unit=unit, oat_f=c.oat_f, occupied=c.occupied, requested_cfm=asked, cooling_cfm=asked)
        return strategy.setpoint_inwc(record, rows)

    return setpoint


def _limits_of(sat, dsp, limits: SatLimits | None, sat_moves: bool, dsp_moves: bool):
    """Limits in force at a time step, as ``Run.limits``."""

    def found(c, sat_set_f, dsp_set_inwc):
        out = at_dsp_ends(dsp, dsp_set_inwc) if dsp_moves else {}
        if limits is None or not sat_moves:
            return out
        low, high = sat_strategy(sat).range(sat)
        top = limits.max_f[c.hour_of_year]
        held = (sat_set_f >= top - AT_END_F) & (top < high - 1e-9)
        humid = held & (limits.humidity_f[c.hour_of_year] <= limits.zone_f)
        return out | {
            "sat_at_max": sat_set_f >= high - AT_END_F,
            "sat_at_min": sat_set_f <= low + AT_END_F,
            "humidity_limited": humid,
            "cold_zone_limited": held & ~humid,
        }

    return found
