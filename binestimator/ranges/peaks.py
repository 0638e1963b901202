"""Demand in draws: what a tariff bills by the month and what a programme pays for in its window, from hours of the run.

Billed demand is that of the highest hours of each month, and a window's demand that of its own hours. Those that may
count are taken from the hours of the run, for every option, and evaluated under each draw as further rows; what they
change against base values is added to the power of the run, nights and idle plant included. Means of many hours go by a
part of them, evenly spread by power, in the proportion in which these change. Tiers go by the energy of each month in
the proportion of the year's. At base values demand, charges and tiers are those of the run.
"""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from ..dataclass import dataclass
from ..end_uses import ELECTRIC, ELECTRICITY_KEY, PRICED
from ..estimate.peaks import Windows
from ..estimate.running import run_parts
from ..hours import MONTHS, Conditions, build_conditions, clock_calendar, price_tiers
from ..money.peaks import window_demand_kw, windows_asked
from ..money.tariffs import Meter, billed_kw, tiered_usd
from ..rates import SOURCE_OF, tier_usd
from .draw import Factors, base_factors, taken
from .energies import DRAWS_AT_ONCE, DRAWS_OF_UNITS, MOST_NUMBERS_AT_ONCE, Model, _tiled_rows, even_spans

#: Highest hours of each month that may become its peak in a draw, for each option and charge.
HOURS_OF_MONTH = 3
#: Highest hours of a window whose largest ones count, beside those that do in the run.
MORE_HOURS = 4
#: Hours that stand for a window whose demand is a mean of many.
HOURS_OF_MEAN = 24
#: End use whose power goes with the input of the compressor.
COMPRESSOR = "cooling_kwh"
_MONTH_COUNT = len(MONTHS)


@dataclass(frozen=True, slots=True, kw_only=True)
class Power:
    """Power of an option in chosen hours (n,) in draws, (D, n) each: of the compressor and of all else. [kW]"""

    compressor: np.ndarray
    rest: np.ndarray


@dataclass(frozen=True, slots=True, kw_only=True)
class Demand:
    """Demand of options in draws: ``power`` by option in the hours that ``peaks`` has chosen."""

    peaks: Peaks
    power: Mapping[str, Power]

    def charges_usd(self, id_: str, compressor, amounts: Mapping[str, np.ndarray]) -> np.ndarray:
        """What the tariff adds to energy at marginal prices. (D, K) [USD/yr]

        Parameters
        ----------
        compressor : ndarray (D, K)
            Factor on the energy of the compressor.
        amounts : mapping
            Of the year by key of ``end_uses.PRICED``, (D, K) each.
        """
        return self.peaks.demand_usd(self.power[id_], compressor) + self.peaks.tiers_usd(id_, amounts)

    def window_kw(self, id_: str, window: int, compressor) -> np.ndarray:
        """Demand of an option in a window. (D, K) [kW]"""
        return self.peaks.window_kw(id_, self.power[id_], window, compressor)


class Peaks:
    """Hours of a run that its demand rests on.

    Parameters
    ----------
    model : Model
    """

    def __init__(self, model: Model):
        self.model, self.results = model, model.results
        project = self.results.project
        self.terms = project.terms
        clock = clock_calendar(project.calendar)
        self.meter = Meter.of(project)
        self.tiers = price_tiers(clock, project.calendar, project.terms)
        self.windows = Windows.of(project, clock)
        self.kw = {id_: run.hourly[ELECTRICITY_KEY] for id_, run in self.results.runs.items()}
        #: Windows that money or the project asks for: hours that stand for each.
        self.of_window = {k: self._hours_of_window(k) for k in windows_asked(project)}
        self.of_month = self._hours_of_months()
        chosen = [*self.of_month.values(), *self.of_window.values()]
        self.index = np.unique(np.concatenate(chosen)) if chosen else np.zeros(0, dtype=int)
        self.conditions = self._conditions()
        self.held = self._searched()
        self.at_base = self._found(base_factors(model.drawn)) if len(self.index) else {}

    def under(self, factors: Factors) -> Demand:
        """Demand in draws."""
        count = len(next(iter(next(iter(factors.values())).values())))
        found: dict[str, list[Power]] = {id_: [] for id_ in self.results.runs}
        for span in even_spans(count, DRAWS_OF_UNITS):
            if len(self.index):
                for id_, power in self._found(taken(factors, span)).items():
                    found[id_].append(power)
        return Demand(peaks=self, power={id_: self._against_base(id_, each, count) for id_, each in found.items()})

    def _against_base(self, id_: str, found, count: int) -> Power:
        """Power of the run in the chosen hours, with what draws change."""
        hourly, n = self.results.runs[id_].hourly, self.index
        compressor = np.tile(hourly[COMPRESSOR][n], (count, 1))
        rest = np.tile((hourly[ELECTRICITY_KEY] - hourly[COMPRESSOR])[n], (count, 1))
        if found:
            base = self.at_base[id_]
            compressor += np.concatenate([each.compressor for each in found]) - base.compressor
            rest += np.concatenate([each.rest for each in found]) - base.rest
        return Power(compressor=compressor, rest=rest)

    # --- which hours ---------------------------------------------------------------------------

    def _hours_of_months(self) -> dict[tuple[int, int], np.ndarray]:
        """Hours of charge and month that may be its peak."""
        out = {}
        for n, (charge, inside) in enumerate(zip(self.terms.demand_charges, self.meter.inside, strict=True)):
            asked = {*charge.months, *(charge.ratchet_months if charge.ratchet_frac > 0.0 else ())}
            for month in sorted(MONTHS.index(name) for name in asked):
                here = np.flatnonzero(inside & (self.meter.month == month))
                if len(here) and charge.usd_kw > 0.0:
                    tops = [
                        here[np.argsort(-(kw + self.meter.other_kw)[here], kind="stable")[:HOURS_OF_MONTH]]
                        for kw in self.kw.values()
                    ]
                    out[n, month] = np.unique(np.concatenate(tops))
        return out

    def _hours_of_window(self, k: int) -> np.ndarray:
        """Hours that stand for a window."""
        window, here = self.windows.records[k], np.flatnonzero(self.windows.inside[k])
        base = self.kw[self.results.baseline_id]
        if window.averaging in ("max_hour", "mean_of_top"):
            top = MORE_HOURS + (window.top_hours if window.averaging == "mean_of_top" else 1)
            tops = [here[np.argsort(-kw[here], kind="stable")[:top]] for kw in self.kw.values()]
            return np.unique(np.concatenate(tops))
        if window.averaging == "mean_of_daily_max":
            # The largest hour of each day stands for it.
            day = self.windows.day[here]
            here = np.array(
                [here[day == each][np.argmax(base[here[day == each]])] for each in np.unique(day)], dtype=int
            )
        order = here[np.argsort(base[here], kind="stable")]
        count = min(HOURS_OF_MEAN, len(order))
        return np.sort(order[((np.arange(count) + 0.5) * len(order) / max(count, 1)).astype(int)])

    # --- power in them -------------------------------------------------------------------------

    def _conditions(self) -> dict[str, tuple[np.ndarray, Conditions]]:
        """Of each site its running hours among the chosen ones: places and conditions."""
        out: dict[str, tuple[np.ndarray, Conditions]] = {}
        made: list[tuple] = []
        for site, ids in self.model.sites.items():
            project = self.results.runs[ids[0]].project
            key = (project.schedule, project.building, project.groups)
            known = next((each for other, each in made if other == key), None)
            if known is None:
                hours = build_conditions(self.results.weather, project).take(self.index)
                on = np.flatnonzero(hours.fan_on > 0.0)
                known = (on, hours.take(on))
                made.append((key, known))
            out[site] = known
        return out

    def _searched(self) -> dict[str, np.ndarray]:
        """Setpoints that strategies search for, found in the chosen hours of the run and held."""
        out = {}
        for site, ids in self.model.sites.items():
            unit, (_, on) = self.results.runs[ids[0]].unit, self.conditions[site]
            mine = [id_ for id_ in ids if id_ in self.results.held.optimal_sat]
            if not mine or not len(on):
                continue
            rows = _tiled_rows(unit, on)
            base = run_parts(unit, self.model.project.baseline, rows)[0].setpoints.sat_f
            for id_ in mine:
                out[id_] = run_parts(unit, self.model.project.candidate(id_), rows, (base,))[0].setpoints.sat_f
        return out

    def _found(self, factors: Factors) -> dict[str, Power]:
        """Power of options in the running ones of the chosen hours, 0 in the others."""
        out: dict[str, Power] = {}
        for site, draws in self.model.of_sites(factors).items():
            ids, (on, conditions) = self.model.sites[site], self.conditions[site]
            zones = len(self.results.runs[ids[0]].unit.zones)
            at_once = max(1, min(DRAWS_AT_ONCE, MOST_NUMBERS_AT_ONCE // max(len(on) * zones, 1)))
            parts: dict[str, list[Power]] = {id_: [] for id_ in ids}
            for some in even_spans(draws.count, at_once):
                tile = draws.part(some)
                unit, hours = tile.over_rows(conditions)
                rows = _tiled_rows(unit, hours)
                floating: dict = {}
                for id_ in ids:
                    candidate, held = self.model.project.candidate(id_), self.held.get(id_)
                    sat = None if held is None else np.tile(held, tile.count)
                    run = run_parts(unit, candidate, rows, (), sat, floating=floating) if len(on) else []
                    shares = self.model.part_shares(candidate, run, taken(factors, some), tile.count) if run else []
                    parts[id_].append(self._power(run, shares, on, tile.count))
            for id_, each in parts.items():
                out[id_] = Power(
                    compressor=np.concatenate([one.compressor for one in each]),
                    rest=np.concatenate([one.rest for one in each]),
                )
        return out

    def _power(self, run, shares, on, count: int) -> Power:
        whole = {True: np.zeros((count, len(self.index))), False: np.zeros((count, len(self.index)))}
        for use in ELECTRIC:
            for part, share in zip(run, shares, strict=True):
                rate = sum(getattr(part.state, name) for name in use.rates).reshape(count, len(on))
                whole[use.key == COMPRESSOR][:, on] += share[:, None] * rate
        return Power(compressor=whole[True], rest=whole[False])

    # --- what they cost ------------------------------------------------------------------------

    def _kw(self, power: Power, hours, compressor) -> np.ndarray:
        """Power in some of the chosen hours. (n, D, K) [kW]"""
        places = np.searchsorted(self.index, hours)
        return power.rest.T[places][..., None] + power.compressor.T[places][..., None] * compressor

    def demand_usd(self, power: Power, compressor) -> np.ndarray:
        """Demand charges of a year, more than without the air handler. (D, K) [USD/yr]"""
        total = np.zeros(np.shape(compressor))
        before = self.meter.peaks_kw(self.meter.other_kw)
        for n, charge in enumerate(self.terms.demand_charges):
            peaks = np.broadcast_to(before[n][:, None, None], (_MONTH_COUNT, *np.shape(compressor))).copy()
            for month in range(_MONTH_COUNT):
                hours = self.of_month.get((n, month))
                if hours is not None:
                    other = self.meter.other_kw[hours][:, None, None]
                    peaks[month] = (self._kw(power, hours, compressor) + other).max(axis=0)
            more = billed_kw(peaks, charge).sum(axis=0) - billed_kw(before[n], charge).sum()
            total = total + more * charge.usd_kw * (1.0 + self.terms.tariff.tax_frac)
        return total

    def tiers_usd(self, id_: str, amounts: Mapping[str, np.ndarray]) -> np.ndarray:
        """Tiers of a year: energy as billed less energy at marginal prices. (D, K) [USD/yr]"""
        shape = np.shape(amounts[ELECTRICITY_KEY])
        total = np.zeros(shape)
        hourly = self.results.runs[id_].hourly
        for n, line in enumerate(self.terms.energy_prices):
            if line.tier2_from is None:
                continue
            key, _, _ = next(each for each in PRICED if SOURCE_OF[each[1]] == line.source)
            mine = self.meter.lines[list(SOURCE_OF.values()).index(line.source)] == n
            own = np.bincount(self.meter.month[mine], hourly[key][mine], _MONTH_COUNT)
            year = float(hourly[key].sum())
            other: np.ndarray = np.zeros(_MONTH_COUNT)
            if key == ELECTRICITY_KEY:
                other = np.bincount(self.meter.month[mine], self.meter.other_kw[mine], _MONTH_COUNT)
            ratio = amounts[key] / year if abs(year) > 0.0 else np.ones(shape)
            drawn = own[:, None, None] * ratio
            billed = tiered_usd(other[:, None, None] + drawn, line) - tiered_usd(other, line)[:, None, None]
            margin = np.array([tier_usd(line, self._tier(mine, line.source, m)) for m in range(_MONTH_COUNT)])
            total = total + (billed - drawn * margin[:, None, None]).sum(axis=0) * (1.0 + self.terms.tariff.tax_frac)
        return total

    def _tier(self, mine, source: str, month: int) -> int:
        """Tier in force of a line in a month; 1 where it is not."""
        here = np.flatnonzero(mine & (self.meter.month == month))
        return int(self.tiers[list(SOURCE_OF.values()).index(source), here[0]]) if len(here) else 1

    def window_kw(self, id_: str, power: Power, window: int, compressor) -> np.ndarray:
        """Demand in a window. (D, K) [kW]"""
        record, hours = self.windows.records[window], self.of_window[window]
        if not len(hours):
            return np.zeros(np.shape(compressor))
        kw = self._kw(power, hours, compressor)
        if record.averaging in ("max_hour", "mean_of_top"):
            inside = np.ones(len(hours), dtype=bool)
            return window_demand_kw(kw, inside, self.windows.day[hours], record.averaging, record.top_hours)
        run = self.results[id_].worth.windows[window].demand_kw
        at_run = float(self.kw[id_][hours].mean())
        return run * kw.mean(axis=0) / at_run if at_run > 0.0 else np.full(np.shape(compressor), run)


def is_asked(project) -> bool:
    """Whether anything of a project rests on demand or tiers."""
    tiers = any(line.tier2_from is not None for line in project.terms.energy_prices)
    return bool(windows_asked(project)) or bool(project.terms.demand_charges) or tiers
