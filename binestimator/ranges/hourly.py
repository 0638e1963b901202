"""Draws hour by hour, one after the other: how well rows bear them, and how options serve the rooms in them."""

from __future__ import annotations

import itertools
import threading
from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace

import numpy as np

from ..estimate.rows import Rows
from ..estimate.running import run_parts
from ..hours import Conditions, build_conditions
from ..parallel import in_order, threads_for
from ..service import ServiceFigures, judge, rises
from ..strategies.registry import sat_strategy
from .draw import Draws, Factors, base_factors, taken
from .energies import Energies, Model, SharedRows, same_fields
from .given import Promised

HOURS_IN_DAY = 24
#: Days apart of the hours of draws that are not repeated in whole: no divisor of a week, so that all weekdays occur.
DAYS_APART = 4
#: Most hours times zones of draws that are worked out at once, in memory's sake.
MOST_NUMBERS_AT_ONCE = 250_000


@dataclass(frozen=True, slots=True, kw_only=True)
class HourlyDraws:
    """Draws hour by hour: energies by option, and whether each serves the rooms as well as the baseline of the draw
    (D,); energies are those of the draws of all hours"""

    energies: dict[str, Energies]
    serves: dict[str, np.ndarray]


class Hours:
    """Hours of a run, on which draws are repeated.

    Nights are those of the run: their loads do not follow the draws. What a strategy that searches has found in the
    hours of the run is held, as it would be programmed.
    """

    def __init__(self, model: Model):
        self.model, results = model, model.results
        self.conditions = {}
        made: list[tuple] = []
        for site, ids in model.sites.items():
            project = results.runs[ids[0]].project
            key = (project.schedule, project.building, project.groups)
            known = next((conditions for other, conditions in made if other == key), None)
            if known is None:
                known = build_conditions(results.weather, project)
                # Minimum airflows are of groups, and change nothing here.
                known = next((conditions for _, conditions in made if same_fields(conditions, known)), known)
                made.append((key, known))
            self.conditions[site] = known
        self.found = self._found()
        running = max(int((hours.fan_on > 0.0).sum()) for hours in self.conditions.values())
        #: Running hours times zones of a draw, and draws that are worked out at once.
        self.numbers = running * max(len(run.unit.zones) for run in results.runs.values())
        self.at_once = max(1, MOST_NUMBERS_AT_ONCE // max(self.numbers, 1))

    def _found(self) -> dict[str, np.ndarray]:
        """Setpoints of the run's hours that strategies have searched for. (R,) by id [degF]"""
        results, out = self.model.results, {}
        for site, ids in self.model.sites.items():
            run = results.runs[ids[0]]
            searching = [id_ for id_ in ids if sat_strategy(results.project.candidate(id_).sat).searches]
            if not searching:
                continue
            rows = Rows.of(run.unit, self.conditions[site])
            base = run_parts(run.unit, results.project.baseline, rows)[0].setpoints.sat_f
            for id_ in searching:
                candidate = results.project.candidate(id_)
                out[id_] = run_parts(run.unit, candidate, rows, (base,))[0].setpoints.sat_f
        return out

    def draws(
        self,
        factors: Factors,
        count: int,
        whole: int | None = None,
        progress: Callable[[float], None] | None = None,
    ) -> HourlyDraws:
        """The first so many draws.

        Parameters
        ----------
        whole : int, optional
            So many of them in all hours, and only of these energies; the others in the hours of every
            ``DAYS_APART``-th day, other days in each draw. All if not given.
        """
        whole = count if whole is None else min(whole, count)
        some = taken(factors, slice(0, count))
        sites = self.model.of_sites(some)
        edges = [*range(0, whole, self.at_once), *range(whole, count, 1), count]
        jobs = [slice(first, last) for first, last in zip(edges, edges[1:])]
        done = itertools.count(1)

        def of(draws: slice):
            of_sites = {site: each.part(draws) for site, each in sites.items()}
            found = self._draws(of_sites, taken(some, draws), None if draws.start < whole else draws.start)
            share = next(done) / len(jobs)
            if progress is not None and threading.current_thread() is threading.main_thread():
                progress(share)
            return found

        each = in_order(of, jobs, threads_for(self.numbers))
        ids = list(self.model.results.runs)
        in_whole = [energies for draws, (energies, _) in zip(jobs, each, strict=True) if draws.start < whole]
        return HourlyDraws(
            energies={id_: Energies.joined([energies[id_] for energies in in_whole]) for id_ in ids},
            serves={id_: np.concatenate([serves[id_] for _, serves in each]) for id_ in ids},
        )

    def _draws(
        self, sites: Mapping[str, Draws], factors: Factors, phase: int | None
    ) -> tuple[dict[str, Energies], dict[str, np.ndarray]]:
        """Energies of some draws (D,) and their verdicts (D,) by option, of all hours or of the days of a phase."""
        results, model = self.model.results, self.model
        energies: dict[str, Energies] = {}
        serves: dict[str, np.ndarray] = {}
        base_site = results.runs[results.baseline_id].site
        promised: Promised | None = None
        base: list[ServiceFigures] | None = None
        shared = SharedRows()
        of_days: dict[int, Conditions] = {}
        # The baseline's site first: its rooms are the yardstick of all.
        for site in sorted(sites, key=lambda site: site != base_site):
            draws, run = sites[site], results.runs[model.sites[site][0]]
            whole = self.conditions[site]
            if id(whole) not in of_days:
                of_days[id(whole)] = whole if phase is None else _of_days(whole, phase)
            hours = of_days[id(whole)]
            unit, rows = shared.hours(draws, hours)
            alone = [replace(draws.alone(d), counts=False) for d in range(draws.count)]
            promised = promised or Promised(alone, rows)
            idle = model.idle(draws, hours, run.unit.prices)
            floating: dict = {}
            for id_ in sorted(model.sites[site], key=lambda id_: id_ != results.baseline_id):
                candidate, held = results.project.candidate(id_), self.found.get(id_)
                if held is not None:
                    held = held if phase is None else held[_days(whole, phase)[whole.fan_on > 0.0]]
                    held = np.tile(held, draws.count)
                parts = run_parts(unit, candidate, rows.rows, (), held, floating=floating)
                weights = model.part_shares(candidate, parts, factors, draws.count)
                night = results.runs[id_].night
                energies[id_] = model.summed(parts, weights, rows.on, unit.prices, draws.count, idle, night)
                night_block, is_base = results.held.nights[id_], id_ == results.baseline_id
                own = promised.given(unit, alone, rows, parts, weights, night_block, is_base)
                base = base or own
                changes = [(path, candidate.overrides[path]) for path in candidate.changed_service]
                serves[id_] = np.array(
                    [
                        not judge(rises(found, before, yardstick), yardstick, changes).flagged
                        for found, before, yardstick in zip(own, base, promised.yardsticks, strict=True)
                    ]
                )
        return energies, serves


def _days(conditions: Conditions, phase: int) -> np.ndarray:
    """Hours of every ``DAYS_APART``-th day. (H,) bool"""
    return (np.arange(len(conditions)) // HOURS_IN_DAY + phase) % DAYS_APART == 0


def _of_days(conditions: Conditions, phase: int) -> Conditions:
    """These hours, weighted up to the year."""
    some = _days(conditions, phase)
    taken_ = conditions.take(some)
    return taken_.with_hours(taken_.hours * (float(conditions.hours.sum()) / float(taken_.hours.sum())))


def run_serves(model: Model, hours: Hours) -> dict[str, bool]:
    """Whether options serve equally by the hours of the run, worked out as draws are."""
    found = hours.draws(base_factors(model.drawn), 1)
    return {id_: bool(each[0]) for id_, each in found.serves.items()}
