"""Draws hour by hour, one after the other: how well rows bear them, and how options serve the rooms in them."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np

from ..estimate.rows import Rows
from ..estimate.running import annual_figures, run_parts
from ..hours import build_conditions
from ..model.system import zones_of
from ..service import ServiceFigures, Yardstick, judge, rises, service_figures, zone_depths
from ..strategies.registry import sat_strategy
from .draw import Factors, base_factors, taken
from .energies import Energies, Model


@dataclass(frozen=True, slots=True, kw_only=True)
class HourlyDraws:
    """Draws hour by hour: energies by option, and whether each serves the rooms as well as the baseline of the draw.
    (D,) each"""

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

    def draws(self, factors: Factors, count: int, progress: Callable[[float], None] | None = None) -> HourlyDraws:
        """The first so many draws."""
        some = taken(factors, slice(0, count))
        energies: dict[str, list[Energies]] = {id_: [] for id_ in self.model.results.runs}
        serves: dict[str, list[bool]] = {id_: [] for id_ in self.model.results.runs}
        for d, sites in enumerate(self.model.units_alone(some)):
            self._draw(sites, taken(some, slice(d, d + 1)), energies, serves)
            if progress is not None:
                progress((d + 1) / count)
        return HourlyDraws(
            energies={id_: Energies.joined(parts) for id_, parts in energies.items()},
            serves={id_: np.array(each) for id_, each in serves.items()},
        )

    def _draw(self, sites, factors, energies, serves) -> None:
        results, model = self.model.results, self.model
        base_site = results.runs[results.baseline_id].site
        # The baseline's site first: its rooms are the yardstick of all.
        order = sorted(sites, key=lambda site: site != base_site)
        yardstick: Yardstick | None = None
        base: ServiceFigures | None = None
        for site in order:
            draws, run = sites[site], results.runs[model.sites[site][0]]
            unit = draws.alone(0)
            conditions = draws.conditions(self.conditions[site])
            rows = Rows.of(unit, conditions)
            if yardstick is None:
                yardstick = Yardstick.joined([Yardstick.of(unit, block.on, block.loads) for _, block in rows.blocks()])
            idle = model.idle(draws, conditions, run.unit.prices)
            floating: dict = {}
            ids = sorted(model.sites[site], key=lambda id_: id_ != results.baseline_id)
            for id_ in ids:
                candidate = results.project.candidate(id_)
                parts = run_parts(unit, candidate, rows, (), self.found.get(id_), floating=floating)
                weights = model.part_shares(candidate, parts, factors, 1)
                night = results.runs[id_].night
                energies[id_].append(model.summed(parts, weights, rows.on, unit.prices, 1, idle, night))
                shared = [_with_share(p, float(w[0])) for p, w in zip(parts, weights, strict=True)]
                depths = _depths(unit, rows, shared, yardstick)
                figures = annual_figures(unit, rows, shared, night)
                own = service_figures(yardstick, shared, depths, results.held.nights[id_], figures)
                base = own if id_ == results.baseline_id else base
                changes = [(path, candidate.overrides[path]) for path in candidate.changed_service]
                assert base is not None, "the baseline is the first"
                flagged = judge(rises(own, base, yardstick), yardstick, changes).flagged
                serves[id_].append(not flagged)


def _with_share(part, share: float):
    return replace(part, share=share)


def _depths(unit, rows: Rows, parts, yardstick: Yardstick) -> dict[str, np.ndarray]:
    """Depths of zones by name over the hours, added up over the parts by share. (Z,) each"""
    out: dict[str, np.ndarray] = {}
    for here, block in rows.blocks():
        promised = yardstick.take(here)
        for p in parts:
            state = p.state.take(here)
            for name, values in zone_depths(promised, state, zones_of(unit, block.on, block.loads, state)).items():
                out[name] = out.get(name, 0.0) + p.share * values
    return out


def run_serves(model: Model, hours: Hours) -> dict[str, bool]:
    """Whether options serve equally by the hours of the run, worked out as draws are."""
    found = hours.draws(base_factors(model.drawn), 1)
    return {id_: bool(each[0]) for id_, each in found.serves.items()}
