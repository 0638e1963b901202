"""Setback, warm-up and cool-down in draws: chosen nights of the run, with their weights, under every draw.

Nights have a memory of hours and cannot be bin rows. A few of them, chosen by what they cost the baseline and how
cold they are, are run with each draw's unit, many draws side by side; what they change against the same nights at base
values, weighted up to the year, is added to the nights of the run. At base values nothing changes.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from ..dataclass import dataclass
from ..end_uses import END_USES
from ..estimate.rows import Rows
from ..estimate.running import night_duct, nights_of
from ..hours import Conditions, build_conditions
from ..inputs.project import Project
from ..model.loads import zone_loads
from ..model.night import night_air_cfm, run_nights, same_air
from ..model.night_rooms import nights
from ..model.unit import Unit
from ..rates import prices_at, typical_prices
from ..results import Results
from .draw import Draws, Factors, base_factors, taken
from .energies import DRAWS_AT_ONCE, DRAWS_OF_UNITS, MOST_NUMBERS_AT_ONCE, PRICE_OF, Energies, Model
from .spans import even_spans, told_in_order

#: Nights that are chosen: for few draws, which are an indication, and for many.
COARSE_NIGHTS, NIGHTS = 3, 5
#: Running hours that are kept after those in which a night costs something.
HOURS_AFTER = 2


# Costs of nights that differ by less of the median are as near to it.
_AS_NEAR_FRAC = 1e-9


@dataclass(frozen=True, slots=True, kw_only=True)
class ChosenNights:
    """Nights that stand for those of a year.

    ``index`` (C,) hours of the year, night after night: the last running hour before it, the night, and the running
    hours after it · ``weights`` (C,) nights of the year that each stands for, by the hour.
    """

    index: np.ndarray
    weights: np.ndarray

    @classmethod
    def of(cls, results: Results, count: int) -> ChosenNights | None:
        """Nights of a run; None where there are none, or they cost nothing.

        Notes
        -----
        Nights in the order of their mean outdoor temperature are parted where equal shares of what they cost the
        baseline end; of the shortest of each part the one whose cost is nearest the part's median stands for it, with
        the weight that gives the part's cost; of two that are as near, the colder. Weekends take three times the
        hours and say no more.
        """
        base = results.runs[results.baseline_id]
        block, hours = results.held.nights[results.baseline_id], build_conditions(results.weather, base.project)
        prices = typical_prices(base.unit.prices)
        cost = np.zeros(len(hours))
        for use in END_USES:
            if use.night:
                cost = cost + getattr(block, use.night) * float(getattr(prices, PRICE_OF[use.key]))
        spans = nights(hours.fan_on)
        if not cost.any() or not spans or len(spans) == 1:
            return None
        pieces = [_piece(start, length, cost, hours.fan_on) for start, length in spans]
        of_night = np.array([max(cost[piece].sum(), 0.0) for piece in pieces])
        lengths = np.array([length for _, length in spans])
        order = np.argsort([hours.oat_f[piece].mean() for piece in pieces], kind="stable")
        order = order[of_night[order] > 0.0]
        reached = np.cumsum(of_night[order]) / of_night[order].sum()
        part = np.minimum((reached * count - 1e-9).astype(int), count - 1)
        chosen, weights = [], []
        for k in np.unique(part):
            mine = order[part == k]
            short = mine[lengths[mine] == lengths[mine].min()]
            median = np.median(of_night[mine])
            beyond = np.abs(of_night[short] - median)
            # Of an even number of nights two are as near: rounding, which differs by machine, must not choose.
            middle = short[np.flatnonzero(beyond <= beyond.min() + _AS_NEAR_FRAC * median)[0]]
            chosen.append(pieces[middle])
            weights.append(np.full(len(pieces[middle]), of_night[mine].sum() / of_night[middle]))
        return cls(index=np.concatenate(chosen), weights=np.concatenate(weights))


def _piece(start: int, length: int, cost, fan_on) -> np.ndarray:
    """Hours of a night: the running one before it, itself, and those after it that it costs something in, with a few
    more."""
    hours = len(cost)
    last = day = length
    while day < hours and fan_on[(start + day) % hours] > 0.0:
        last = day + 1 if cost[(start + day) % hours] > 0.0 else last
        day += 1
    return np.arange(start - 1, start + min(last + HOURS_AFTER, day)) % hours


class Nights:
    """Chosen nights of a run under draws.

    Parameters
    ----------
    model : Model
    count : int
        Nights that are chosen.
    """

    def __init__(self, model: Model, count: int = NIGHTS):
        self.model, self.results = model, model.results
        self.chosen = ChosenNights.of(self.results, count)
        self.hours: dict[str, Conditions] = {}
        if self.chosen is None:
            return
        made: list[tuple] = []
        for site, ids in model.sites.items():
            project = self.results.runs[ids[0]].project
            key = (project.schedule, project.building, project.groups)
            known = next((hours for other, hours in made if other == key), None)
            if known is None:
                known = build_conditions(self.results.weather, project).take(self.chosen.index)
                made.append((key, known))
            self.hours[site] = known
        self.at_base = self._found(base_factors(model.drawn))

    def changed(self, factors: Factors) -> dict[str, Energies]:
        """What draws change of the nights of the run, by option. (D,) each; nothing where no night was chosen"""
        if self.chosen is None:
            return {}
        count = len(next(iter(next(iter(factors.values())).values())))
        spans = even_spans(count, DRAWS_OF_UNITS)
        found = told_in_order(lambda span: self._found(taken(factors, span)), spans, None)
        return {
            id_: _added(Energies.joined([each[id_] for each in found]), at, -1.0) for id_, at in self.at_base.items()
        }

    def _found(self, factors: Factors) -> dict[str, Energies]:
        """Chosen nights weighted up to the year, by option."""
        out: dict[str, Energies] = {}
        for site, draws in self.model.of_sites(factors).items():
            ids = self.model.sites[site]
            zones = len(self.results.runs[ids[0]].unit.zones)
            at_once = max(1, min(DRAWS_AT_ONCE, MOST_NUMBERS_AT_ONCE // (len(self.hours[site]) * zones)))
            parts = [self._tile(site, draws.part(span)) for span in even_spans(draws.count, at_once)]
            for id_ in ids:
                out[id_] = Energies.joined([part[id_] for part in parts])
        return out

    def _tile(self, site: str, draws: Draws) -> dict[str, Energies]:
        """Chosen nights of the options of a site in a few draws, all at once."""
        ids: Sequence[str] = self.model.sites[site]
        project = self.results.runs[ids[0]].project
        unit, hours = draws.over_rows(self.hours[site])
        loads = zone_loads(unit, hours)
        rooms: dict[bytes, dict] = {}
        known: dict = {}
        out = {}
        for id_ in ids:
            dsp = self.model.project.candidate(id_).dsp
            duct = night_duct(unit, project.schedule, dsp)
            key = None if duct is None else dsp
            if key not in known:
                air = night_air_cfm(unit, hours, duct)
                kept = rooms.setdefault(same_air(air), {})
                block = run_nights(unit, hours, loads, project.schedule, duct, kept, air, rounds=1)
                known[key] = self._totals(block, unit.prices, draws.count, site)
            out[id_] = known[key]
        return out

    def _totals(self, block, prices, count: int, site: str) -> Energies:
        now = prices_at(prices, self.hours[site].rate_period)
        weights = self.chosen.weights  # type: ignore[union-attr]
        amounts, costs = {}, {}
        for use in END_USES:
            rate = (
                getattr(block, use.night).reshape(count, len(weights)) if use.night else np.zeros((count, len(weights)))
            )
            amounts[use.key] = rate @ weights
            costs[use.key] = rate @ (weights * getattr(now, PRICE_OF[use.key]))
        return Energies(amounts=amounts, costs_usd=costs)


def with_nights(energies: dict[str, Energies], changed: dict[str, Energies]) -> dict[str, Energies]:
    """Energies of options with what draws change of their nights."""
    return {id_: _added(each, changed[id_], 1.0) if id_ in changed else each for id_, each in energies.items()}


def _added(first: Energies, second: Energies, sign: float) -> Energies:
    join = lambda name: {
        key: values + sign * getattr(second, name)[key] for key, values in getattr(first, name).items()
    }
    return Energies(amounts=join("amounts"), costs_usd=join("costs_usd"))


def all_nights(model: Model, factors: Factors) -> dict[str, Energies]:
    """What draws change of the nights of the run, from all nights of the year with the draws one after the other."""
    results, hours = model.results, {}
    for site, ids in model.sites.items():
        hours[site] = build_conditions(results.weather, results.runs[ids[0]].project)
    found: dict[str, list[Energies]] = {id_: [] for id_ in results.runs}
    for units in model.units_alone(factors):
        for site, draws in units.items():
            unit, conditions = draws.alone(0), draws.conditions(hours[site])
            project = results.runs[model.sites[site][0]].project
            here = _Hours(unit=unit, project=project, key=site, hourly=Rows.of(unit, conditions))
            ids = model.sites[site]
            for id_, block in nights_of(
                [model.project.candidate(id_) for id_ in ids], lambda c, here=here: here
            ).items():
                now = prices_at(unit.prices, conditions.rate_period)
                energy = {
                    use.key: getattr(block, use.night) if use.night else np.zeros(len(conditions)) for use in END_USES
                }
                run = results.held.nights[id_]
                before = {use.key: getattr(run, use.night) if use.night else 0.0 for use in END_USES}
                more = {key: values - before[key] for key, values in energy.items()}
                found[id_].append(
                    Energies(
                        amounts={key: np.array([values.sum()]) for key, values in more.items()},
                        costs_usd={
                            key: np.array([np.sum(values * getattr(now, PRICE_OF[key]))])
                            for key, values in more.items()
                        },
                    )
                )
    return {id_: Energies.joined(each) for id_, each in found.items()}


@dataclass(frozen=True, slots=True, kw_only=True)
class _Hours:
    """A site of one draw, as ``nights_of`` asks for it."""

    unit: Unit
    project: Project
    key: str
    hourly: Rows
