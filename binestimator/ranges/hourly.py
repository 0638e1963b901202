"""Draws hour by hour, one after the other: how well rows bear them, and how options serve the rooms in them."""

from __future__ import annotations

import itertools
import threading
from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np

from ..estimate.rows import Rows
from ..estimate.running import run_parts
from ..hours import Conditions, build_conditions
from ..parallel import in_order, threads_for
from ..service import ServiceFigures, judge, rises
from ..strategies.registry import sat_strategy
from .draw import Factors, base_factors, taken
from .energies import Energies, Model, SharedLoads
from .given import Promised

HOURS_IN_DAY = 24
#: Days apart of the hours of draws that are not repeated in whole: no divisor of a week, so that all weekdays occur.
DAYS_APART = 4


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
                made.append((key, known))
            self.conditions[site] = known
        self.found = self._found()

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
        some = taken(factors, slice(0, count))
        sites = self.model.units_alone(some)
        whole = count if whole is None else min(whole, count)
        done = itertools.count(1)

        def one(d: int):
            found = self._draw(sites[d], taken(some, slice(d, d + 1)), None if d < whole else d)
            if progress is not None and threading.current_thread() is threading.main_thread():
                progress(next(done) / count)
            else:
                next(done)
            return found

        most = max(len(c) for c in self.conditions.values()) * max(
            len(run.unit.zones) for run in self.model.results.runs.values()
        )
        each = in_order(one, range(count), threads_for(most))
        ids = list(self.model.results.runs)
        return HourlyDraws(
            energies={id_: Energies.joined([energies[id_] for energies, _ in each[:whole]]) for id_ in ids},
            serves={id_: np.array([serves[id_] for _, serves in each]) for id_ in ids},
        )

    def _draw(self, sites, factors, phase: int | None) -> tuple[dict[str, Energies], dict[str, bool]]:
        """Energies and verdicts of one draw, of all hours or of the days of a phase."""
        results, model = self.model.results, self.model
        energies: dict[str, Energies] = {}
        serves: dict[str, bool] = {}
        base_site = results.runs[results.baseline_id].site
        promised: Promised | None = None
        base: ServiceFigures | None = None
        shared = SharedLoads()
        shared_hours: dict[tuple[int, bytes], Conditions] = {}
        # The baseline's site first: its rooms are the yardstick of all.
        for site in sorted(sites, key=lambda site: site != base_site):
            draws, run = sites[site], results.runs[model.sites[site][0]]
            unit = replace(draws.alone(0), counts=False)
            hours = self.conditions[site]
            # Sites that share their hours share what is drawn of them, unless an option changes the people present.
            people = b"" if draws.people is None else draws.people.tobytes()
            if (id(hours), people) not in shared_hours:
                own_hours = draws.conditions(hours if phase is None else _of_days(hours, phase))
                shared_hours[id(hours), people] = own_hours
            conditions = shared_hours[id(hours), people]
            rows = shared.hours(draws, unit, conditions)
            if promised is None:
                promised = Promised(unit, rows)
            idle = model.idle(draws, conditions, run.unit.prices)
            floating: dict = {}
            for id_ in sorted(model.sites[site], key=lambda id_: id_ != results.baseline_id):
                candidate, held = results.project.candidate(id_), self.found.get(id_)
                if held is not None and phase is not None:
                    held = held[_days(hours, phase)[hours.fan_on > 0.0]]
                parts = run_parts(unit, candidate, rows, (), held, floating=floating)
                weights = model.part_shares(candidate, parts, factors, 1)
                night = results.runs[id_].night
                energies[id_] = model.summed(parts, weights, rows.on, unit.prices, 1, idle, night)
                shares = [replace(p, share=float(w[0])) for p, w in zip(parts, weights, strict=True)]
                own = promised.given(unit, rows, shares, results.held.nights[id_])
                base = own if id_ == results.baseline_id else base
                changes = [(path, candidate.overrides[path]) for path in candidate.changed_service]
                assert base is not None, "the baseline is the first"
                serves[id_] = not judge(rises(own, base, promised.yardstick), promised.yardstick, changes).flagged
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
