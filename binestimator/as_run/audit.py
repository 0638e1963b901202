"""Candidates of an estimate as controllers run them: which loops, which setpoints, and what it comes to."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace

import numpy as np

from ..estimate.rows import Rows
from ..estimate.running import annual_figures, figures_of_totals, night_duct, night_totals, run_parts
from ..estimate.tariff import with_charges
from ..hours import Conditions, build_conditions
from ..inputs.project import Candidate, Project
from ..model.loads import ZoneLoads, zone_loads
from ..model.night import empty_night, energy_of_given, night_air_cfm
from ..model.unit import Unit
from ..parallel import at_once, in_order, shared_numbers
from ..results import SAVING_KEYS, AsRun, Results, Sought, SoughtCase
from ..service import Yardstick
from ..strategies.choose import AT_END_F, at_dsp_ends, dsp_of_sat, resets_pressure
from ..strategies.limits import SatLimits, sat_limits
from ..strategies.registry import dsp_strategy, sat_strategy
from ..strategies.strategy import DspRows, SatRows
from .room_heat import figures_with_room_heat
from .seek import NONE, Errors, Seeker
from .served import Share, judged, service_as_run
from .settings import Settings, TrimRespond
from .steps import BY_ZONE, HOURLY, Outcome, Run, Year

# Runs whose rows are worked on together, whatever the number of threads: results do not depend on it. More take longer,
# since their arrays leave the cache.
RUNS_TOGETHER = 8
#: What can be wrong with a cost-seeking controller, as further runs: in words, and the errors.
CASES: tuple[tuple[str, Errors], ...] = (
    ("cooling taken to need 30 % less, heat 30 % more", Errors(cooling=0.7, heat=1.3)),
    ("cooling taken to need 30 % more, heat 30 % less", Errors(cooling=1.3, heat=0.7)),
    ("airflow reads 5 % high", Errors(flow=1.05)),
    ("mixed air sensor reads 1 °F high", Errors(mat_f=1.0)),
    ("mixed air sensor reads 1 °F low", Errors(mat_f=-1.0)),
    ("supply air sensor reads 1 °F high", Errors(sat_f=1.0)),
    ("supply air sensor reads 1 °F low", Errors(sat_f=-1.0)),
)
AS_GIVEN = "figures and readings as given"
# What the least cost saves beyond the baseline's supply air is nothing to take a share of below this part of the cost.
LEAST_IDEAL_FRAC = 0.002


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
        Called with the share that is done.

    Returns
    -------
    dict
        Candidate id to AsRun, in the order of the project.
    """
    wanted = [c.candidate for c in results.candidates if only is None or c.id in only or c.id == results.baseline_id]
    by_site: dict[str, list[Candidate]] = {}
    for candidate in wanted:
        by_site.setdefault(results.runs[candidate.id].site, []).append(candidate)
    sites = [_Site(results, candidates) for candidates in by_site.values()]
    yardstick = promised(results)
    jobs = [(site, k) for site in sites for k in range(0, len(site.runs), RUNS_TOGETHER)]
    count = sum(len(site.runs) for site in sites)
    done = shared_numbers(len(jobs))

    def simulated(at: int) -> list[Outcome]:
        site, first = jobs[at]
        runs = site.runs[first : first + RUNS_TOGETHER]

        def tell(share: float) -> None:
            done[at] = share * len(runs)
            if progress is not None:
                progress(sum(done) / count)

        year = Year(
            site.unit,
            site.conditions,
            site.project.schedule,
            runs,
            Settings.of(site.project.as_run),
            trace_days=site.days,
            yardstick=yardstick,
            progress=tell,
        )
        return year.run()

    found: dict[str, AsRun] = {}
    outcomes = in_order(simulated, range(len(jobs)), at_once())
    for site in sites:
        mine = [o for (of, _), group in zip(jobs, outcomes) if of is site for o in group]
        found |= site.as_run(mine)
    base, base_service = found[results.baseline_id].annual, found[results.baseline_id].service
    sought = {id_: found_of for site in sites for id_, found_of in site.sought(base["cost_usd"]).items()}
    out = {}
    for c in wanted:
        rise, equal_service = judged(found[c.id].service, base_service, yardstick[0], c)
        out[c.id] = replace(
            found[c.id],
            saving={key: base[key] - found[c.id].annual[key] for key in SAVING_KEYS},
            rise=rise,
            equal_service=equal_service,
            sought=sought.get(c.id),
        )
    return out


def promised(results: Results) -> tuple[Yardstick, np.ndarray]:
    """Yardstick of the baseline and its running hours of the year."""
    run = results.runs[results.baseline_id]
    rows = Rows.of(run.unit, build_conditions(results.weather, run.project))
    blocks = [Yardstick.of(run.unit, block.on, block.loads) for _, block in rows.blocks()]
    return Yardstick.joined(blocks), rows.running


class _Site:
    """Candidates that share a unit, as runs."""

    def __init__(self, results: Results, candidates: list[Candidate]) -> None:
        of = results.runs[candidates[0].id]
        self.unit, self.project = of.unit, of.project
        self.conditions = build_conditions(results.weather, self.project)
        self.loads = zone_loads(self.unit, self.conditions)
        self.days = trace_days(self.conditions)
        self.rows = Rows.of(self.unit, self.conditions)
        self.results, self.candidates = results, {c.id: c for c in candidates}
        self.charges = {c.id: results[c.id].charges for c in candidates}
        # Beside a cost-seeking option: its duct pressure with the baseline's supply air and with that of least cost,
        # and the controller with errors.
        self.beside = {
            c.id: (replace(c, sat=results.baseline.candidate.sat), replace(c, sat=_at_least_cost(c.sat)))
            for c in candidates
            if sat_strategy(c.sat).seeks
        }
        ideal = {(id_, "ideal"): least for id_, (_, least) in self.beside.items()}
        self.searched = _searched(self.unit, self.rows, results, candidates, ideal)
        self.runs: list[Run] = []
        self.owners: list[str | tuple[str, str]] = []
        for c in candidates:
            self._add(c.id, c)
        for id_, (plain, least) in self.beside.items():
            self._add((id_, "plain"), plain)
            self._add((id_, "ideal"), least)
            for words, errors in CASES:
                self._add((id_, words), self.candidates[id_], errors)

    def _add(self, owner, candidate: Candidate, errors: Errors = NONE) -> None:
        runs = runs_of(
            self.unit, self.conditions, self.loads, self.project, candidate, self.searched.get(owner), errors
        )
        self.runs += runs
        self.owners += [owner] * len(runs)

    def as_run(self, outcomes: list[Outcome]) -> dict[str, AsRun]:
        """Candidate id to what its runs come to by their shares of the time; without savings."""
        self.mine = {
            owner: [(r, o) for r, o, of in zip(self.runs, outcomes, self.owners) if of == owner]
            for owner in dict.fromkeys(self.owners)
        }
        ids = list(self.candidates)
        return dict(zip(ids, in_order(lambda id_: self._candidate(id_, self.mine[id_]), ids, at_once())))

    def sought(self, base_usd: float) -> dict[str, Sought]:
        """Candidate id to what its cost-seeking controller reaches; :meth:`as_run` goes before."""
        return {id_: self._sought(id_, base_usd) for id_ in self.beside}

    def _sought(self, id_: str, base_usd: float) -> Sought:
        plain, ideal = (self._annual(self.mine[id_, part], id_) for part in ("plain", "ideal"))
        possible = plain["cost_usd"] - ideal["cost_usd"]
        enough = possible > LEAST_IDEAL_FRAC * plain["cost_usd"]
        cases = []
        for words in (AS_GIVEN, *(words for words, _ in CASES)):
            mine = self.mine[id_ if words == AS_GIVEN else (id_, words)]
            annual = self._annual(mine, id_)
            cases.append(
                SoughtCase(
                    words=words,
                    saving_usd=base_usd - annual["cost_usd"],
                    of_ideal=(plain["cost_usd"] - annual["cost_usd"]) / possible if enough else None,
                    mean_sat_f=annual["mean_sat_f"],
                    unmet_degree_hours=annual["unmet_degree_hours"],
                )
            )
        rest = self._at_rest(id_)
        at_rest = rest["plain"] - rest["ideal"]
        return Sought(
            plain_usd=plain["cost_usd"],
            ideal_usd=ideal["cost_usd"],
            ideal_saving_usd=base_usd - ideal["cost_usd"],
            at_rest_of_ideal=(rest["plain"] - rest["own"]) / at_rest
            if at_rest > LEAST_IDEAL_FRAC * rest["plain"]
            else None,
            cases=tuple(cases),
        )

    def _at_rest(self, id_: str) -> dict[str, float]:
        """Energy cost of the hours at rest: the option, and both beside it."""
        night = night_totals(self.results.held.nights[id_], self.unit, self.conditions)
        found = {"own": self.results[id_].hourly["cost_usd"]}
        for part, candidate in zip(("plain", "ideal"), self.beside[id_]):
            held = self.searched.get((id_, part))
            parts = run_parts(
                self.unit, candidate, self.rows, optimal_sat=None if held is None else held[self.rows.running]
            )
            figures = annual_figures(self.unit, self.rows, parts, night)
            found[part] = with_charges(figures, self.charges[id_])["cost_usd"]
        return found

    def _annual(self, mine: list[tuple[Run, Outcome]], id_: str, nights=None) -> dict[str, float]:
        if nights is None:
            of = self.unit, self.conditions, self.loads, self.project.schedule
            nights = [night_as_run(*of, run, outcome) for run, outcome in mine]
        # Demand and tiers are those of the hours with rooms at rest.
        return with_charges(annual_as_run(self.unit, self.conditions, mine, nights), self.charges[id_])

    def _candidate(self, id_: str, mine: list[tuple[Run, Outcome]]) -> AsRun:
        mean = lambda name, part: sum(r.share * getattr(o, part)[name] for r, o in mine)
        of = self.unit, self.conditions, self.loads, self.project.schedule
        nights = [night_as_run(*of, run, outcome) for run, outcome in mine]
        annual = self._annual(mine, id_, nights)
        return AsRun(
            annual=annual,
            service=service_as_run([Share(share=r.share, depths=o.depths or {}) for r, o in mine], annual),
            with_room_heat=with_charges(
                figures_with_room_heat(
                    self.unit,
                    self.rows,
                    self.candidates[id_],
                    sum(r.share * o.released_btuh for r, o in mine),
                    _shared(nights, mine),
                    self.searched.get(id_),
                ),
                self.charges[id_],
            ),
            saving={},
            warm_when=_warm_when(mine),
            zones={name: mean(name, "zones") for name in BY_ZONE},
            hourly={name: mean(name, "hourly") for name in HOURLY},
            trace={name: mean(name, "trace") for name in HOURLY},
            trace_days=self.days,
        )


def _warm_when(mine: list[tuple[Run, Outcome]]) -> dict[str, np.ndarray]:
    """``Outcome.warm_when`` of a candidate from its runs by their shares of the time."""
    found: dict[str, np.ndarray] = {}
    for run, outcome in mine:
        for name, values in (outcome.warm_when or {}).items():
            found[name] = found.get(name, 0.0) + run.share * values
    return found


def night_as_run(unit: Unit, conditions: Conditions, loads: ZoneLoads, schedule, run: Run, outcome: Outcome):
    """Annual figures of what rooms of a run were given while the unit was off, as of ``night_totals``."""
    if (conditions.fan_on > 0.0).all():
        return night_totals(empty_night(len(conditions.oat_f), loads.heat_f.min(axis=0)), unit, conditions)
    given, air = (outcome.heat_btuh, outcome.cool_btuh), night_air_cfm(unit, conditions, run.duct)
    night = energy_of_given(unit, conditions, loads, schedule, *given, run.duct, air)
    return night_totals(night, unit, conditions)


def annual_as_run(
    unit: Unit, conditions: Conditions, mine: list[tuple[Run, Outcome]], nights: list[dict[str, float]]
) -> dict[str, float]:
    """Annual figures of a candidate from its runs by their shares of the time, without charges of a tariff."""
    return _shared(
        [
            figures_of_totals(
                unit,
                conditions,
                outcome.totals.__getitem__,
                lambda name, outcome=outcome: outcome.limits.get(name, 0.0),
                night,
            )
            for (_, outcome), night in zip(mine, nights)
        ],
        mine,
    )


def _shared(figures: list[dict[str, float]], mine: list[tuple[Run, Outcome]]) -> dict[str, float]:
    """Figures of a candidate from those of its runs by their shares of the time."""
    return {key: sum(run.share * each[key] for (run, _), each in zip(mine, figures)) for key in figures[0]}


def trace_days(conditions: Conditions) -> tuple[int, ...]:
    """A cold, a mild and a hot day whose steps are kept, of those with the unit on: days of the year."""
    days = conditions.oat_f.reshape(-1, 24).mean(axis=1)
    runs = np.flatnonzero((conditions.fan_on > 0.0).reshape(-1, 24).sum(axis=1) >= 6)
    if not len(runs):
        return ()
    order = runs[np.argsort(days[runs], kind="stable")]
    return tuple(int(order[round(q * (len(order) - 1))]) for q in (0.05, 0.5, 0.95))


def _at_least_cost(sat):
    """Record of the least cost over the range of another supply temperature strategy."""
    low, high = sat_strategy(sat).range(sat)
    return replace(sat, strategy="cost_optimal", min_f=low, max_f=high)


def _searched(unit: Unit, rows: Rows, results: Results, candidates, beside) -> dict[object, np.ndarray]:
    """Supply temperatures (H,) of strategies that search, hour by hour as rooms at rest ask: a limit of control.

    ``beside`` further candidates by key, which search.
    """
    if not beside and not any(sat_strategy(c.sat).searches for c in candidates):
        return {}
    tried: list[np.ndarray] = []
    found: dict[object, np.ndarray] = {}
    base = results.baseline.candidate
    wanted = sorted(
        ({c.id: c for c in [base, *candidates]} | beside).items(),
        key=lambda item: (sat_strategy(item[1].sat).searches, item[0] != base.id),
    )
    for key, candidate in wanted:
        sat = run_parts(unit, candidate, rows, tried)[0].setpoints.sat_f
        if sat_strategy(candidate.sat).searches:
            whole = np.full(len(rows.conditions.oat_f), float(unit.air_handler.design_sat_f))
            whole[rows.running] = sat
            found[key] = whole
        else:
            tried.append(sat)
    return found


def runs_of(
    unit: Unit,
    conditions: Conditions,
    loads: ZoneLoads,
    project: Project,
    candidate: Candidate,
    searched_f=None,
    errors: Errors = NONE,
) -> list[Run]:
    """A candidate as runs, one for each share of operators' overrides.

    ``searched_f`` supply temperatures (H,) of a strategy that searches · ``errors`` of a cost-seeking controller.
    """
    sat, dsp, tuning = candidate.sat, candidate.dsp, project.as_run
    duct = night_duct(unit, project.schedule, dsp)
    sat_loop, dsp_loop = sat_tuning(sat, tuning), dsp_tuning(unit, dsp, tuning)
    limits = None
    if sat_strategy(sat).resets:
        low, high = sat_strategy(sat).range(sat)
        limits = sat_limits(unit, conditions, loads, low, high)
    seeker = Seeker.of(unit, sat, tuning, errors) if sat_strategy(sat).seeks else None
    sat_set = _sat_setpoint(unit, candidate, loads, limits, searched_f, errors.sat_f)
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
            dsp_by_step=dsp_held is None and (dsp_loop is not None or dsp_strategy(dsp).follows_zones),
            resets_pressure=resets_pressure(dsp),
            duct=duct,
            sat_seek=seeker if sat_held is None else None,
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
    # A loop that seeks the least cost goes on from where it stopped, and only requests trim it.
    start = float("nan") if strategy.seeks else high
    return TrimRespond(
        start=start if tuning.sat_start_f is None else min(max(tuning.sat_start_f, low), high),
        delay_min=tuning.sat_delay_min,
        step_min=tuning.reset_step_min,
        trim=0.0 if strategy.seeks else tuning.sat_trim_f,
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


def _sat_setpoint(
    unit: Unit, candidate: Candidate, loads: ZoneLoads, limits: SatLimits | None, searched_f, reads_f: float
):
    """Supply setpoint of rows at a time step, as ``Run.sat_set_f``; colder by what its sensor reads too much."""
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
        top = high if limits is None else limits.max_f[c.hour_of_year]
        return strategy.of_step_f(record, rows, loop_f, top) - reads_f

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
