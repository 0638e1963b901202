"""Draws hour by hour: how well rows bear them, and how options serve the rooms in them."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import replace

import numpy as np

from ..dataclass import dataclass
from ..estimate.rows import Rows
from ..estimate.running import run_parts
from ..hours import build_conditions
from ..service import ServiceFigures, judge, rises
from ..strategies.registry import sat_strategy
from .draw import Draws, Factors, base_factors, taken
from .energies import Energies, Model, SharedRows, same_fields
from .given import Promised
from .spans import told_in_order

#: Most hours times zones of draws that are worked out at once, in memory's sake.
MOST_NUMBERS_AT_ONCE = 250_000


@dataclass(frozen=True, slots=True, kw_only=True)
class HourlyDraws:
    """Draws hour by hour: energies by option, and whether each serves the rooms as well as the baseline of the draw
    (D,)."""

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
        numbers = running * max(len(run.unit.zones) for run in results.runs.values())
        #: Draws that are worked out at once.
        self.at_once = max(1, MOST_NUMBERS_AT_ONCE // max(numbers, 1))

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
        progress: Callable[[float], None] | None = None,
    ) -> HourlyDraws:
        """The first so many draws."""
        some = taken(factors, slice(0, count))
        sites = self.model.of_sites(some)
        each = told_in_order(
            lambda part: self._draws({site: of.part(part) for site, of in sites.items()}, taken(some, part)),
            [slice(first, min(first + self.at_once, count)) for first in range(0, count, self.at_once)],
            progress,
        )
        ids = list(self.model.results.runs)
        return HourlyDraws(
            energies={id_: Energies.joined([energies[id_] for energies, _ in each]) for id_ in ids},
            serves={id_: np.concatenate([serves[id_] for _, serves in each]) for id_ in ids},
        )

    def _draws(self, sites: Mapping[str, Draws], factors: Factors) -> tuple[dict[str, Energies], dict[str, np.ndarray]]:
        """Energies of some draws (D,) and their verdicts (D,) by option."""
        results, model = self.model.results, self.model
        energies: dict[str, Energies] = {}
        serves: dict[str, np.ndarray] = {}
        base_site = results.runs[results.baseline_id].site
        promised: Promised | None = None
        base: list[ServiceFigures] | None = None
        shared = SharedRows()
        # The baseline's site first: its rooms are the yardstick of all.
        for site in sorted(sites, key=lambda site: site != base_site):
            draws, run = sites[site], results.runs[model.sites[site][0]]
            hours = self.conditions[site]
            unit, rows = shared.hours(draws, hours)
            alone = [replace(draws.alone(d), counts=False) for d in range(draws.count)]
            promised = promised or Promised(alone, rows)
            idle = model.idle(draws, hours, run.unit.prices)
            floating: dict = {}
            for id_ in sorted(model.sites[site], key=lambda id_: id_ != results.baseline_id):
                candidate, held = results.project.candidate(id_), self.found.get(id_)
                held = None if held is None else np.tile(held, draws.count)
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


def run_serves(model: Model, hours: Hours) -> dict[str, bool]:
    """Whether options serve equally by the hours of the run, worked out as draws are."""
    found = hours.draws(base_factors(model.drawn), 1)
    return {id_: bool(each[0]) for id_, each in found.serves.items()}
