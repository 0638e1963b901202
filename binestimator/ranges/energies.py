"""Energies of options in draws: on the held rows, many draws at once, or hour by hour, one draw after the other."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from ..end_uses import END_USES
from ..estimate.rows import Part, Rows
from ..estimate.running import off_energy, run_parts
from ..estimate.sizing import with_full_gains
from ..hours import Conditions
from ..model.loads import zone_loads
from ..model.unit import Unit
from ..parallel import in_order, threads_for
from ..rates import Rates, prices_at
from ..results import CandidateRun, Results
from .draw import Draws, Factors, draws_of, sizes_that_follow, taken
from .lines import Drawn, overridden

#: Draws that are further rows of one evaluation: fewer take more calls of functions for each, more leave the cache.
DRAWS_AT_ONCE = 32
#: Most rows times zones of one evaluation. Thirty arrays of so many numbers are alive at a time.
MOST_NUMBERS_AT_ONCE = 200_000
#: Draws whose units are worked out at once.
DRAWS_OF_UNITS = 128
#: Price of each end use, by its key.
PRICE_OF = {use.key: use.price for use in END_USES}


@dataclass(frozen=True, slots=True, kw_only=True)
class Energies:
    """A year of one option in draws.

    ``amounts`` by key of ``end_uses.END_USES`` (D,), nights and idle plant included [unit of the end use] ·
    ``costs_usd`` the same at the prices of the run, without what a tariff charges by the month.
    """

    amounts: dict[str, np.ndarray]
    costs_usd: dict[str, np.ndarray]

    @classmethod
    def joined(cls, parts: Sequence[Energies]) -> Energies:
        """Draws that follow one another."""
        join = lambda name: {
            key: np.concatenate([getattr(part, name)[key] for part in parts]) for key in getattr(parts[0], name)
        }
        return cls(amounts=join("amounts"), costs_usd=join("costs_usd"))

    def take(self, index) -> Energies:
        return Energies(
            amounts={key: values[index] for key, values in self.amounts.items()},
            costs_usd={key: values[index] for key, values in self.costs_usd.items()},
        )


class Model:
    """What draws of a run are evaluated with.

    Parameters
    ----------
    results : Results
        Whole, with ``runs`` and ``held``.
    drawn : tuple of Drawn
    sized_by : Model, optional
        Whose design hours the sizes of draws follow from, in place of these results' own.
    """

    def __init__(self, results: Results, drawn: tuple[Drawn, ...], sized_by: Model | None = None):
        self.results, self.drawn = results, drawn
        self.project = results.project
        base = results.runs[results.baseline_id]
        on = base.rows.on
        occupied = np.flatnonzero(on.occupied > 0.0)
        full = with_full_gains(on.take(occupied if len(occupied) else slice(None)))
        self.full: Conditions = full if sized_by is None else sized_by.full
        # Options that share a unit share its draws and loads.
        self.sites: dict[str, list[str]] = {}
        for id_, run in results.runs.items():
            self.sites.setdefault(run.site, []).append(id_)

    def of_sites(self, factors: Factors) -> dict[str, Draws]:
        """Draws of the unit of each site."""
        results, project = self.results, self.project
        base = results.runs[results.baseline_id]
        sizes = sizes_that_follow(
            base.project, base.unit, results.held.sizes, self.drawn, factors, project.baseline, self.full
        )
        out = {}
        for site, ids in self.sites.items():
            run = results.runs[ids[0]]
            out[site] = draws_of(run.project, run.unit, sizes, self.drawn, factors, project.candidate(ids[0]))
        return out

    # --- on the held rows ---------------------------------------------------------------------

    def on_rows(self, factors: Factors, progress: Callable[[float], None] | None = None) -> dict[str, Energies]:
        """Energies of all options by id, in all draws."""
        count = _count(factors)
        found: dict[str, list[Energies]] = {id_: [] for id_ in self.results.runs}
        for first in range(0, count, DRAWS_OF_UNITS):
            last = min(first + DRAWS_OF_UNITS, count)
            some = taken(factors, slice(first, last))
            draws = self.of_sites(some)
            jobs = []
            for site, ids in self.sites.items():
                at_once = self._at_once(self.results.runs[ids[0]])
                for start in range(0, last - first, at_once):
                    part = slice(start, min(start + at_once, last - first))
                    jobs.append((draws[site].part(part), taken(some, part), ids))
            # Many draws alone are worth a second thread, which takes processor time of its own.
            threads = threads_for(MOST_NUMBERS_AT_ONCE) if count > DRAWS_OF_UNITS else 1
            for each in in_order(lambda job: self._tile(*job), jobs, threads):
                for id_, energies in each.items():
                    found[id_].append(energies)
            if progress is not None:
                progress(last / count)
        return {id_: Energies.joined(parts) for id_, parts in found.items()}

    def _at_once(self, run: CandidateRun) -> int:
        numbers = max(len(run.rows.on), 1) * len(run.unit.zones)
        return max(1, min(DRAWS_AT_ONCE, MOST_NUMBERS_AT_ONCE // numbers))

    def _tile(self, draws: Draws, factors: Factors, ids: Sequence[str]) -> dict[str, Energies]:
        """Energies of the options of a site in a few draws, all at once."""
        run = self.results.runs[ids[0]]
        on = run.rows.on
        unit, conditions = draws.over_rows(on)
        rows = _tiled_rows(unit, conditions)
        idle = self.idle(draws, run.rows.conditions, run.unit.prices)
        floating: dict = {}
        found = {}
        for id_ in ids:
            candidate, held = self.project.candidate(id_), self.results.held.optimal_sat.get(id_)
            parts = (
                run_parts(
                    unit,
                    candidate,
                    rows,
                    (),
                    None if held is None else np.tile(held, draws.count),
                    floating=floating,
                )
                if len(on)
                else []
            )
            weights = self.part_shares(candidate, parts, factors, draws.count) if parts else []
            night = self.results.runs[id_].night
            found[id_] = self.summed(parts, weights, on, unit.prices, draws.count, idle, night)
        return found

    def part_shares(self, candidate, parts: Sequence[Part], factors: Factors, count: int) -> list[np.ndarray]:
        """Shares of the running time of each part in each draw. [(D,)] in the order of the parts"""
        return part_shares(candidate, [p.share for p in parts], self.drawn, factors, count)

    def summed(self, parts, weights, on: Conditions, prices, count: int, idle, night) -> Energies:
        """Energies of parts in draws.

        Parameters
        ----------
        parts : sequence of Part
            With the running rows ``on`` of each draw, one after the other.
        weights : sequence of ndarray (D,)
            Shares of the parts.
        idle : dict
            Of :meth:`idle`.
        night : dict
            Totals of the night block.
        """
        w, rows = on.hours, len(on)
        now = prices_at(prices, on.rate_period)
        amounts, costs = {}, {}
        for use in END_USES:
            price = getattr(now, PRICE_OF[use.key])
            amount = cost = np.zeros(count)
            for p, share in zip(parts, weights, strict=True):
                rate = sum(getattr(p.state, name) for name in use.rates).reshape(count, rows)
                amount = amount + share * (rate @ w)
                cost = cost + share * (rate @ (w * price))
            amounts[use.key] = amount + night[use.key] + idle[use.key][0]
            costs[use.key] = cost + idle[use.key][1]
        for key, usd in _night_costs(night, prices).items():
            costs[key] = costs[key] + usd
        return Energies(amounts=amounts, costs_usd=costs)

    def idle(self, draws: Draws, conditions: Conditions, prices) -> dict[str, tuple[np.ndarray, np.ndarray]]:
        """Amount and cost of the idle plant in hours with the air handler off, by end use. ((D,), (D,))"""
        none = np.zeros(draws.count)
        out = {use.key: (none, none) for use in END_USES}
        if not (conditions.fan_on <= 0.0).any() or not draws.base.heating.enabled_unoccupied:
            return out
        unit, tiled = draws.over_rows(conditions)
        energy = off_energy(unit, tiled)
        now = prices_at(prices, conditions.rate_period)
        for use in END_USES:
            if use.off:
                rate = energy[use.off].reshape(draws.count, len(conditions))
                out[use.key] = rate @ conditions.hours, rate @ (conditions.hours * getattr(now, PRICE_OF[use.key]))
        return out

    def searched(self, factors: Factors, ids: Sequence[str]) -> dict[str, Energies]:
        """Energies of options whose setpoints are searched for anew in each of a few draws."""
        draws, out = self.of_sites(factors), {}
        for site, members in self.sites.items():
            mine = [id_ for id_ in ids if id_ in members]
            if not mine:
                continue
            run = self.results.runs[members[0]]
            on = run.rows.on
            unit, conditions = draws[site].over_rows(on)
            unit = replace(unit, counts=True)  # the search may not serve worse
            rows = _tiled_rows(unit, conditions)
            idle = self.idle(draws[site], run.rows.conditions, run.unit.prices)
            # The baseline's supply air is the reference of the search, those of the others are tried.
            others = [id_ for id_ in members if id_ not in ids and id_ != self.results.baseline_id]
            tried = [
                run_parts(unit, self.project.candidate(id_), rows)[0].setpoints.sat_f
                for id_ in [self.results.baseline_id, *others]
            ]
            for id_ in mine:
                candidate = self.project.candidate(id_)
                parts = run_parts(unit, candidate, rows, tried)
                weights = self.part_shares(candidate, parts, factors, draws[site].count)
                night = self.results.runs[id_].night
                out[id_] = self.summed(parts, weights, on, unit.prices, draws[site].count, idle, night)
        return out

    # --- hour by hour -------------------------------------------------------------------------

    def units_alone(self, factors: Factors) -> list[dict[str, Draws]]:
        """Draws of each site, one after the other."""
        draws = self.of_sites(factors)
        return [{site: each.part(slice(d, d + 1)) for site, each in draws.items()} for d in range(_count(factors))]


def _tiled_rows(unit: Unit, conditions: Conditions) -> Rows:
    """Running rows of all draws, with their loads."""
    return Rows(
        conditions=conditions, running=np.arange(len(conditions)), on=conditions, kept=zone_loads(unit, conditions)
    )


def part_shares(candidate, run: Sequence[float], drawn, factors: Factors, count: int) -> list[np.ndarray]:
    """Shares of the parts of a candidate in draws, in the order of ``estimate.running``. [(D,)]

    Parameters
    ----------
    run : sequence of float
        Shares of the parts in the run.
    """
    ends = {}
    for part in ("sat", "dsp"):
        share = np.full(count, getattr(candidate, part).override_frac)
        for one in drawn:
            if one.line.act != "share" or one.key != f"{part}_override":
                continue
            for item in one.items:
                if item.path.startswith(f"candidate[{candidate.id}].") and not overridden(candidate, item):
                    share = np.minimum(share * factors[one.key][one.basis_of(item)], 1.0)
        ends[part] = [1.0 - share] + ([share] if getattr(candidate, part).override_frac > 0.0 else [])
    out = [sat * dsp for sat in ends["sat"] for dsp in ends["dsp"]]
    kept = [
        one
        for one, share in zip(
            out,
            [sat * dsp for sat in _two(candidate.sat.override_frac) for dsp in _two(candidate.dsp.override_frac)],
            strict=True,
        )
        if share > 0.0
    ]
    if len(kept) != len(run):
        raise ValueError(f"{candidate.id}: {len(run)} parts, {len(kept)} shares")
    return kept


def _two(override_frac: float) -> list[float]:
    return [1.0 - override_frac] + ([override_frac] if override_frac > 0.0 else [])


def _count(factors: Factors) -> int:
    return len(next(iter(next(iter(factors.values())).values())))


def _night_costs(night: Mapping[str, float], prices) -> dict[str, float]:
    """Cost of the night block by end use; what is known as a whole is shared as its
    energies cost at mean prices."""
    if not isinstance(prices, Rates):
        return {use.key: night[use.key] * getattr(prices, PRICE_OF[use.key]) for use in END_USES}
    mean = prices.mean
    parts = {use.key: night[use.key] * float(getattr(mean, PRICE_OF[use.key])) for use in END_USES}
    whole = sum(parts.values())
    return {key: night["cost_usd"] * usd / whole if whole else 0.0 for key, usd in parts.items()}
