"""Repairs, exclusions and remedies of options as run, beside the same options without them.

What was found with rooms at rest (``advice``) is run at time steps with the same overrides. Where options are judged as
run, those that then leave rooms worse are helped here: first by the values at which their loops start, then as with
rooms at rest.
"""

from __future__ import annotations

import itertools
from collections.abc import Callable, Iterator, Sequence
from dataclasses import replace
from typing import Any

import numpy as np

from ..advice.remedies import KINDS, ways_of, worst_zone
from ..advice.rogue import REPAIR, after_ways
from ..dataclass import dataclass
from ..errors import InputError
from ..estimate.tariff import with_charges
from ..hours import build_conditions
from ..inputs.project import Candidate, Project
from ..inputs.schema import STRATEGY_SECTIONS
from ..model.build import build_unit
from ..model.loads import zone_loads
from ..results import AS_RUN, ChangedAsRun, Results, overrides_key
from ..service import ServiceFigures
from ..strategies.registry import sat_strategy, strategies_of
from .audit import RUNS_TOGETHER, annual_as_run, dsp_tuning, night_as_run, promised, runs_of, sat_tuning
from .served import Share, judged, service_as_run
from .settings import Settings
from .steps import Run, Year

#: The remedy of an option that leaves rooms worse while its loops come from where they start.
START_VALUES = "start_values"
# Paths of inputs that change no building: options that differ in them alone share a unit.
_CONTROLS = ("as_run.", "candidate.")


@dataclass(frozen=True, slots=True, kw_only=True)
class _Change:
    """What is tried of an option: see ``results.ChangedAsRun``. ``alone`` whether it changes the baseline as well."""

    candidate_id: str
    kind: str
    zones: tuple[str, ...]
    text: str
    overrides: dict[str, object]
    at_rest_usd: float | None
    alone: bool


def with_changes_as_run(results: Results, progress: Callable[[float], None] | None = None) -> Results:
    """Results that were run at time steps, with repairs and remedies as run.

    Parameters
    ----------
    progress : callable, optional
        Called with the share that is done.
    """
    return replace(results, changed_as_run=changes_as_run(results, progress))


def changes_as_run(results: Results, progress: Callable[[float], None] | None = None) -> tuple[ChangedAsRun, ...]:
    """Repairs and exclusions of zones that pin resets, then remedies, as run; by candidate.

    Notes
    -----
    Remedies are those that advice has found for options that serve worse with rooms at rest. Where options are judged
    as run, each that serves worse gets the first remedy that lets it serve, or the last that was tried; the milder ones
    before it are left out. Demand and tiers of a tariff stay those of the hours with rooms at rest.
    """
    runner = _Runner(results)
    wanted = [*_repairs(results), *_found_remedies(results)]
    waiting = _tried_remedies(results) if results.ranked_by == AS_RUN else []
    total = max(len(wanted) + len(waiting), 1)
    found: list[ChangedAsRun] = []

    def tell(count: int) -> None:
        if progress is not None:
            progress(min(count / total, 1.0))

    if wanted:
        found += [result for result in runner.run(wanted) if result is not None]
        tell(len(wanted))
    last: dict[str, ChangedAsRun] = {}
    while waiting:
        tries = [(way, change) for way in waiting for change in itertools.islice(way, 1)]
        results_of = runner.run([change for _, change in tries])
        waiting = []
        for (way, change), result in zip(tries, results_of, strict=True):
            if result is not None:
                last[change.candidate_id] = result
            if result is None or not result.serves:
                waiting.append(way)
        tell(total - len(waiting))
    tell(total)
    order = [c.id for c in results.candidates]
    return tuple(sorted([*found, *last.values()], key=lambda each: order.index(each.candidate_id)))


def _repairs(results: Results) -> list[_Change]:
    known = {
        (after.candidate_id, after.way, after.zones): after.after_usd
        for after in (() if results.advice is None else results.advice.after_repairs)
    }
    base_listens = any(way.listens for way in strategies_of(results.baseline.candidate))
    out = []
    for candidate in results.candidates:
        for way, places, overrides in after_ways(results, candidate):
            zones = tuple(results.runs[candidate.id].project.zones[k].name for k in places)
            out.append(
                _Change(
                    candidate_id=candidate.id,
                    kind=way,
                    zones=zones,
                    text=f"{', '.join(zones)} {'repaired' if way == REPAIR else 'left out of the resets'}",
                    overrides=overrides,
                    at_rest_usd=known.get((candidate.id, way, zones)),
                    alone=way == REPAIR or base_listens,
                )
            )
    return out


def _found_remedies(results: Results) -> list[_Change]:
    return [
        _Change(
            candidate_id=remedy.candidate_id,
            kind=remedy.kind,
            zones=() if remedy.zone is None else (remedy.zone,),
            text=remedy.text,
            overrides=remedy.overrides,
            at_rest_usd=remedy.saving_usd,
            alone=False,
        )
        for remedy in (() if results.advice is None else results.advice.remedies)
    ]


def _tried_remedies(results: Results) -> list[Iterator[_Change]]:
    """Of each option that goes by requests and is flagged: its remedies, the mildest first."""
    out = []
    for candidate in results.candidates:
        parts = zip(STRATEGY_SECTIONS, strategies_of(candidate.candidate), strict=True)
        resets = [part for part, way in parts if way.listens]
        if resets and candidate.equal_service.flagged and not candidate.candidate.changed_service:
            out.append(_ways(results, candidate, resets))
    return out


def _ways(results: Results, candidate, resets) -> Iterator[_Change]:
    change = lambda kind, zones, text, overrides: _Change(
        candidate_id=candidate.id, kind=kind, zones=zones, text=text, overrides=overrides, at_rest_usd=None, alone=False
    )
    starts = start_values(results, candidate.candidate)
    if starts:
        said = {
            "as_run.sat_start_f": "supply air starts at {:g} °F",
            "as_run.dsp_start_inwc": "duct pressure at {:g} in. w.c.",
        }
        text = ", ".join(said[path].format(value) for path, value in starts.items())
        yield change(START_VALUES, (), text[0].upper() + text[1:], starts)
    run = results.runs[candidate.id]
    place = worst_zone(candidate, run.unit.zones.names)
    if place is None:
        return
    zone = results.project.zones[place].name
    for kind in KINDS:
        for overrides, _, text in ways_of(results.project, candidate.candidate, resets, run.unit, kind, place):
            together = f"{text}, with these start values" if starts else text
            yield change(kind, () if kind == KINDS[0] else (zone,), together, starts | overrides)


def start_values(results: Results, candidate: Candidate) -> dict[str, object]:
    """Path to value of loops that start at the end of their range which gives rooms most: the coldest supply air, the
    highest duct pressure. Empty where they do already."""
    run = results.runs[candidate.id]
    tuning = run.project.as_run
    sat, dsp = sat_tuning(candidate.sat, tuning), dsp_tuning(run.unit, candidate.dsp, tuning)
    out: dict[str, object] = {}
    if sat is not None and sat.start > sat.low:
        out["as_run.sat_start_f"] = float(sat.low)
    if dsp is not None and dsp.start < dsp.high:
        out["as_run.dsp_start_inwc"] = float(dsp.high)
    return out


class _Runner:
    """Runs options with overrides at time steps; those that share a unit together."""

    def __init__(self, results: Results) -> None:
        self.results = results
        self.as_run = results.as_run or {}
        self._yardstick: Any = None
        self._alone: dict[str, float] = {}

    def run(self, changes: Sequence[_Change]) -> list[ChangedAsRun | None]:
        """What each comes to; None where its overrides do not fit other inputs."""
        results, base = self.results, self.results.baseline
        groups: dict[str, list[tuple[int, Project, Candidate]]] = {}
        alone: dict[int, str] = {}
        for k, change in enumerate(changes):
            try:
                project, own = self._project(results[change.candidate_id].candidate, change.overrides)
                if change.alone:
                    alone[k] = overrides_key(change.overrides)
                    its = self._project(base.candidate, change.overrides)
                    if alone[k] not in self._alone:
                        self._alone[alone[k]] = float("nan")  # until it has run, below
                        groups.setdefault(_unit_key(base.candidate, change.overrides), []).append((-k - 1, *its))
            except InputError:
                continue
            groups.setdefault(_unit_key(own, change.overrides), []).append((k, project, own))
        found: dict[int, tuple[dict[str, float], ServiceFigures]] = {}
        for members in groups.values():
            for first in range(0, len(members), RUNS_TOGETHER):
                some = members[first : first + RUNS_TOGETHER]
                found |= dict(zip([k for k, _, _ in some], self._together(some), strict=True))
        base_usd = self.as_run[base.id].annual["cost_usd"]
        for k, (annual, _) in found.items():
            if k < 0:
                self._alone[alone[-k - 1]] = base_usd - annual["cost_usd"]
        out: list[ChangedAsRun | None] = []
        for k, change in enumerate(changes):
            if k not in found:
                out.append(None)
                continue
            annual, service = found[k]
            own = next(own for members in groups.values() for at, _, own in members if at == k)
            verdict = judged(service, self.as_run[base.id].service, self._yardstick[0], own)[1]
            out.append(
                ChangedAsRun(
                    candidate_id=change.candidate_id,
                    kind=change.kind,
                    zones=change.zones,
                    text=change.text,
                    overrides=change.overrides,
                    saving_usd=self.as_run[change.candidate_id].saving["cost_usd"],
                    after_usd=base_usd - annual["cost_usd"],
                    alone_usd=self._alone[alone[k]] if k in alone else 0.0,
                    after_at_rest_usd=change.at_rest_usd,
                    serves=not verdict.flagged,
                    reasons=verdict.reasons,
                )
            )
        return out

    def _project(self, candidate: Candidate, overrides) -> tuple[Project, Candidate]:
        project = self.results.project.with_overrides(dict(candidate.overrides) | overrides)
        return project, project.candidate(candidate.id)

    def _together(self, members) -> list[tuple[dict[str, float], ServiceFigures]]:
        """Annual figures and service of options that share a unit."""
        results, project = self.results, members[0][1]
        if self._yardstick is None:
            self._yardstick = promised(results)
        unit = build_unit(project, results.held.sizes)
        conditions = build_conditions(results.weather, project)
        loads = zone_loads(unit, conditions)
        runs: list[Run] = []
        owners: list[int] = []
        for k, (_, own_project, own) in enumerate(members):
            mine = runs_of(unit, conditions, loads, own_project, own, self._searched_f(own))
            runs += mine
            owners += [k] * len(mine)
        outcomes = []
        for first in range(0, len(runs), RUNS_TOGETHER):
            year = Year(
                unit, conditions, project.schedule, runs[first : first + RUNS_TOGETHER], Settings.of(project.as_run),
                yardstick=self._yardstick,
            )  # fmt: skip
            outcomes += year.run()
        out = []
        for k, (_, _, own) in enumerate(members):
            pairs = [(run, o) for run, o, owner in zip(runs, outcomes, owners, strict=True) if owner == k]
            nights = [night_as_run(unit, conditions, loads, project.schedule, *pair) for pair in pairs]
            annual = with_charges(annual_as_run(unit, conditions, pairs, nights), results[own.id].charges)
            shares = [Share(share=run.share, depths=o.depths or {}) for run, o in pairs]
            out.append((annual, service_as_run(shares, annual)))
        return out

    def _searched_f(self, candidate: Candidate):
        """Supply temperatures (H,) of a strategy that searches: they stay as the run had them."""
        if not sat_strategy(candidate.sat).searches:
            return None
        held, share = candidate.sat.override_f, candidate.sat.override_frac
        mean = self.as_run[candidate.id].hourly["sat_set_f"]
        own = mean if share == 0.0 else (mean - share * held) / (1.0 - share) if share < 1.0 else mean
        return np.where(np.isnan(own), float(self.results.unit.air_handler.design_sat_f), own)


def _unit_key(candidate: Candidate, overrides) -> str:
    """The same text for options whose unit, hours and schedule are the same."""
    both = dict(candidate.overrides) | overrides
    return overrides_key({path: value for path, value in both.items() if not path.startswith(_CONTROLS)})
