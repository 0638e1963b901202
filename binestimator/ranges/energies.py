"""Energies of options in draws: on the held rows, many draws at once, or hour by hour, one draw after the other."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import fields, replace

import numpy as np

from ..dataclass import dataclass
from ..end_uses import END_USES
from ..estimate.rows import Part, Rows
from ..estimate.running import off_energy, run_parts
from ..estimate.sizing import with_full_gains
from ..hours import Conditions
from ..model.loads import Known, ZoneLoads, minimum_flow_cfm, zone_loads
from ..model.unit import Unit, field_of
from ..rates import Rates, prices_at
from ..results import CandidateRun, Results
from .draw import Draws, Factors, draws_of, sizes_that_follow, taken
from .lines import Drawn, overridden

#: Draws that are further rows of one evaluation: fewer take more calls of functions for each, more leave the cache.
DRAWS_AT_ONCE = 64
#: Most rows times zones of one evaluation. Thirty arrays of so many numbers are alive at a time.
MOST_NUMBERS_AT_ONCE = 350_000
#: Draws whose units are worked out at once.
DRAWS_OF_UNITS = 128
# Sets of draws whose units are kept: those of the run, and the last ones.
_MOST_KNOWN = 2
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


def even_spans(count: int, most: int) -> list[slice]:
    """Spans of nearly equal length that hold so many at most, or a sixteenth more: the run itself, which goes with a
    power of two of draws, is not evaluated alone, which takes the calls of many draws."""
    spans = -(-count // (most + most // 16))
    ends = [count * k // max(spans, 1) for k in range(spans + 1)]
    return [slice(first, last) for first, last in zip(ends, ends[1:], strict=False)]


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
        self._known: list[tuple[Factors, dict[str, Draws]]] = []
        # Options that share a unit share its draws and loads.
        self.sites: dict[str, list[str]] = {}
        for id_, run in results.runs.items():
            self.sites.setdefault(run.site, []).append(id_)

    def of_sites(self, factors: Factors) -> dict[str, Draws]:
        """Draws of the unit of each site: rows and nights ask for those of the same draws one after the other."""
        for known, draws in self._known:
            if _same_factors(known, factors):
                return draws
        draws = self._of_sites(factors)
        self._known = [*self._known, (factors, draws)][-_MOST_KNOWN:]
        return draws

    def _of_sites(self, factors: Factors) -> dict[str, Draws]:
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
        """Energies of all options by id, in all draws. In one thread: a second one takes a fifth of the processor time
        for itself, and memory."""
        count = _count(factors)
        found: dict[str, list[Energies]] = {id_: [] for id_ in self.results.runs}
        at_once = min(self._at_once(self.results.runs[ids[0]]) for ids in self.sites.values())
        for span in even_spans(count, DRAWS_OF_UNITS):
            some = taken(factors, span)
            draws = self.of_sites(some)
            for part in even_spans(_count(some), at_once):
                each = self._tile({site: of.part(part) for site, of in draws.items()}, taken(some, part))
                for id_, energies in each.items():
                    found[id_].append(energies)
            if progress is not None:
                progress(span.stop / count)
        return {id_: Energies.joined(parts) for id_, parts in found.items()}

    def _at_once(self, run: CandidateRun) -> int:
        numbers = max(len(run.rows.on), 1) * len(run.unit.zones)
        return max(1, min(DRAWS_AT_ONCE, MOST_NUMBERS_AT_ONCE // numbers))

    def _tile(self, sites: Mapping[str, Draws], factors: Factors) -> dict[str, Energies]:
        """Energies of all options in a few draws, all at once."""
        found: dict[str, Energies] = {}
        shared = SharedRows()
        for site, draws in sites.items():
            ids = self.sites[site]
            run = self.results.runs[ids[0]]
            on = run.rows.on
            unit, rows = shared.rows(draws, on)
            idle = self.idle(draws, run.rows.conditions, run.unit.prices)
            floating: dict = {}
            for id_ in ids:
                candidate, held = self.project.candidate(id_), self.results.held.optimal_sat.get(id_)
                held = None if held is None else np.tile(held, draws.count)
                parts = run_parts(unit, candidate, rows.rows, (), held, floating=floating) if len(on) else []
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

    def units_alone(self, factors: Factors) -> list[dict[str, Draws]]:
        """Draws of each site, one after the other."""
        draws = self.of_sites(factors)
        return [{site: each.part(slice(d, d + 1)) for site, each in draws.items()} for d in range(_count(factors))]


#: Fields of a unit that nothing but its loads goes by: most of what differs by row and zone.
ONLY_IN_LOADS = (
    "zones.aperture_ft2", "zones.roof_ft2_eq", "zones.ua_btuh_f", "zones.infiltration_cfm", "zones.min_cfm",
    "zones.min_unoccupied_cfm", "zones.cool_unoccupied_f", "zones.heat_unoccupied_f", "groups.lights_btuh_ft2",
    "zones.gain_multiplier", "groups.equipment_btuh_ft2", "groups.people_sensible_btuh", "groups.people_latent_btuh",
)  # fmt: skip
#: What else than zones and groups is read by loads, by zones at a supply temperature, and by the setpoint of duct
#: pressure that a strategy has there: all that loads keep.
_BESIDE_ZONES = (
    "air_handler.duct_gain_f", "air_handler.latent_extra_btuh", "index_dsp_inwc", "room_setpoints", "design_cfm",
    "found.dsp_factor", "limits.damper_exponent", "limits.damper_open_pct", "limits.damper_release_pct",
    "limits.loop_ask_pct", "limits.loop_release_pct",
)  # fmt: skip


#: Fields of zones that their loads do not go by, but for the minimum airflow.
_MINIMUMS = (
    "min_cfm", "min_unoccupied_cfm", "dual_maximum", "heat_min_cfm", "heat_max_cfm", "max_cfm", "reheat_btuh",
    "has_reheat", "reheat_rise_max_f", "index_share", "weight", "asks_temperature", "asks_pressure", "sat_max_f",
)  # fmt: skip


@dataclass(frozen=True, slots=True, kw_only=True)
class DrawnRows:
    """Running rows of some draws, one draw after the other.

    ``rows`` of all draws, with their loads · ``on`` (Conditions) those of one draw, before what is drawn of them ·
    ``count`` of draws.
    """

    rows: Rows
    on: Conditions
    count: int

    @property
    def shares(self) -> bool:
        """Whether loads keep what is found of them; not where they are too large to be kept themselves."""
        return isinstance(self.rows.kept, ZoneLoads)

    def of(self, draw: int) -> slice:
        """Which rows are those of a draw."""
        return slice(draw * len(self.on), (draw + 1) * len(self.on))

    def of_draw(self, draw: int) -> Rows:
        """Rows of one draw."""
        if self.count == 1:
            return self.rows
        on = self.rows.on.take(self.of(draw))
        return Rows(conditions=on, running=np.arange(len(on)), on=on, kept=self.rows.loads.take(self.of(draw)))


def running_rows(conditions: Conditions) -> Conditions:
    """Rows in which the air handler runs."""
    return conditions.take(np.flatnonzero(conditions.fan_on > 0.0))


class SharedRows:
    """Rows of draws with loads that sites share where rooms and conditions are the same: an option that repairs an
    economizer changes neither.

    Loads keep what is found of them at a supply temperature, so that all options of these sites find it there.
    """

    def __init__(self) -> None:
        self._found: list[tuple[Draws, Conditions, DrawnRows]] = []

    def rows(self, draws: Draws, on: Conditions) -> tuple[Unit, DrawnRows]:
        """Running rows ``on`` in draws, and the unit that goes with them."""
        unit = draws.unit_over_rows(len(on), by_zone=True)
        known = self._known(draws, on)
        if known is None:
            known = DrawnRows(rows=self._rows(draws, on, unit), on=on, count=draws.count)
            self._found.append((draws, on, known))
        return unit.without(ONLY_IN_LOADS), known

    def _rows(self, draws: Draws, on: Conditions, unit: Unit) -> Rows:
        for other, of, like in self._found:
            if same_fields(on, of) and same_rooms(draws, other, but=_MINIMUMS):
                # Lower minimum airflows change nothing else of loads.
                rows = like.rows
                occupied = rows.on.group_occupied[:, unit.zones.group]
                loads = replace(rows.loads, min_cfm=minimum_flow_cfm(unit, occupied), known=Known())
                return replace(rows, kept=loads.by_zone())
        drawn = draws.conditions(on)
        loads = replace(zone_loads(unit, drawn), known=Known())
        return Rows(conditions=drawn, running=np.arange(len(drawn)), on=drawn, kept=loads.by_zone())

    def hours(self, draws: Draws, hours: Conditions) -> tuple[Unit, DrawnRows]:
        """The same of the running ones among hours; one draw alone has an ordinary unit."""
        if draws.count > 1:
            return self.rows(draws, running_rows(hours))
        unit = replace(draws.alone(0), counts=False)
        known = self._known(draws, hours)
        if known is None:
            rows = Rows.of(unit, draws.conditions(hours))
            if isinstance(rows.kept, ZoneLoads):
                rows = replace(rows, kept=replace(rows.kept, known=Known()))
            known = DrawnRows(rows=rows, on=rows.on, count=1)
            self._found.append((draws, hours, known))
        return unit, known

    def _known(self, draws: Draws, on: Conditions) -> DrawnRows | None:
        """Rows that have been made for another site and serve this one."""
        for other, of, rows in self._found:
            if same_fields(on, of) and same_rooms(draws, other):
                return rows
        return None


def same_rooms(one: Draws, other: Draws, but: Sequence[str] = ()) -> bool:
    """Whether the draws of two sites have the same zones, terminals, requests and people; ``but`` for some fields."""
    return (
        same_fields(one.unit.zones, other.unit.zones, but)
        and same_fields(one.unit.groups, other.unit.groups)
        and all(_same(field_of(one.unit, path), field_of(other.unit, path)) for path in _BESIDE_ZONES)
        and _same(one.people, other.people)
        and _same(one.warmer_f, other.warmer_f)
    )


def same_fields(one, other, but: Sequence[str] = ()) -> bool:
    """Whether two records are the same in all of their fields, but for some."""
    return one is other or all(
        f.name in but or _same(getattr(one, f.name), getattr(other, f.name)) for f in fields(one)
    )


def _same_factors(one: Factors, other: Factors) -> bool:
    return one is other or (
        one.keys() == other.keys()
        and all(
            one[key].keys() == other[key].keys()
            and all(np.array_equal(values, other[key][basis]) for basis, values in one[key].items())
            for key in one
        )
    )


def _same(one, other) -> bool:
    if one is other:
        return True
    if isinstance(one, np.ndarray) or isinstance(other, np.ndarray):
        return np.array_equal(one, other)
    return one == other


def _tiled_rows(unit: Unit, conditions: Conditions) -> Rows:
    """Running rows of all draws, with loads of their own."""
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
