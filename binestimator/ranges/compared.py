"""Draws beside what they stand for: rows beside hours, chosen nights beside all, held setpoints beside new ones."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from ..results import Results
from ..strategies.registry import sat_strategy
from .draw import taken
from .drawn_money import DrawnMoney
from .energies import Energies
from .hourly import HourlyDraws
from .percentiles import quantiles
from .points import DrawnPoints
from .results import (
    HourlyCheck,
    NightCheck,
    Reoptimised,
)
from .years import Years

#: Draws in which strategies that search do so anew.
REOPTIMISED_DRAWS = 16
#: Draws in which all nights of the year are run, beside those that stand for them.
NIGHT_DRAWS = 4


def _saving(results: Results, energies: Mapping[str, Energies], id_: str, count: int) -> np.ndarray:
    """Saving at the prices of the run in the first draws. (D,) [USD/yr]"""
    cost = lambda each: np.sum([values[:count] for values in energies[each].costs_usd.values()], axis=0)
    return cost(results.baseline_id) - cost(id_)


def check_of_hours(results: Results, draws: DrawnMoney, energies, hourly: HourlyDraws) -> HourlyCheck:
    count = len(next(iter(hourly.serves.values())))
    gaps, shares, worst, worst_id = {}, {}, 0.0, results.baseline_id
    base_usd = results.baseline.annual["cost_usd"]
    for c in results.candidates:
        if c.id == results.baseline_id:
            continue
        off = _saving(results, energies, c.id, count) - _saving(results, hourly.energies, c.id, count)
        spread = quantiles(draws.money[c.id].saving_usd, None).spread or 0.0
        rms = float(np.sqrt(np.mean(off**2)))
        gaps[c.id] = rms / spread if spread > 0.0 else 0.0
        shares[c.id] = rms / base_usd if base_usd > 0.0 else 0.0
        largest = float(np.abs(off).max()) / spread if spread > 0.0 else 0.0
        if largest > worst:
            worst, worst_id = largest, c.id
    return HourlyCheck(draws=count, gap_frac=gaps, worst_frac=worst, worst_id=worst_id, gap_cost_frac=shares)


def check_of_nights(results: Results, years: Years, points: DrawnPoints, draws: DrawnMoney) -> NightCheck:
    """Chosen nights beside all nights of the year, in a few draws."""
    count, chosen, every = years.nights_alone(points.factors, points.year, NIGHT_DRAWS)
    gaps, held = {}, {}
    usd = lambda found, id_: np.sum(list(found[id_].costs_usd.values()), axis=0) if id_ in found else np.zeros(count)
    saved = lambda found, id_: usd(found, results.baseline_id) - usd(found, id_)
    for c in results.candidates:
        if c.id == results.baseline_id:
            continue
        spread = quantiles(draws.money[c.id].saving_usd, None).spread or 0.0
        rms = lambda values, spread=spread: float(np.sqrt(np.mean(values**2))) / spread if spread > 0.0 else 0.0
        gaps[c.id] = rms(saved(every, c.id) - saved(chosen, c.id))
        held[c.id] = rms(saved(every, c.id))
    return NightCheck(draws=count, gap_frac=gaps, held_frac=held)


def searched_anew(results: Results, years: Years, points: DrawnPoints, energies) -> tuple[Reoptimised, ...]:
    """Options whose setpoints are searched for, searched anew in the first draws."""
    searching = [c for c in results.candidates if sat_strategy(c.candidate.sat).searches]
    count = min(REOPTIMISED_DRAWS, points.nested.shape[0])
    if not searching or not count:
        return ()
    some = taken(points.factors, slice(0, count))
    anew = years.searched(some, points.year[:count], [c.id for c in searching])
    out = []
    for c in searching:
        held = _saving(results, energies, c.id, count)
        new = _saving(
            results, {**{k: e.take(slice(0, count)) for k, e in energies.items()}, c.id: anew[c.id]}, c.id, count
        )
        spread = lambda values: quantiles(values, None).spread or 0.0
        out.append(
            Reoptimised(
                id=c.id,
                draws=count,
                mean_gain_usd=float((new - held).mean()),
                spread_change_frac=spread(new) / spread(held) - 1.0 if spread(held) > 0.0 else 0.0,
            )
        )
    return tuple(out)
