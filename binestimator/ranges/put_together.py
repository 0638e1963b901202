"""What draws come to: percentiles, probabilities and differences of options."""

from __future__ import annotations

import numpy as np

from ..advice.advise import driven_id
from ..end_uses import ELECTRICITY_KEY
from ..results import CandidateResult, Results
from .compared import check_of_hours, check_of_nights, searched_anew
from .drawn_money import DrawnMoney
from .hourly import HourlyDraws
from .influence import break_even_of, drivers_by_share, effects_of, measures_of
from .percentiles import quantiles, share_interval
from .points import NESTED_DRAWS, DrawnPoints, nested_at_base
from .results import (
    DEFAULT,
    HOURLY_DRAWS,
    NOT_DRAWN,
    OWN,
    QUANTITIES,
    THE_RUN,
    Difference,
    OptionRange,
    Quantiles,
    Ranges,
    Serves,
)
from .said import HELD, notes_of, ranged_input, ranges_id
from .years import Years


def put_together(
    results, years: Years, points: DrawnPoints, demands, energies, at_base, hourly, full: bool, seed: int
) -> Ranges:
    project = results.project
    run = DrawnMoney.of(results, at_base, nested_at_base(points), demands[1])
    all_draws = DrawnMoney.of(results, energies, points.nested, demands[0])
    count = all_draws.nested.shape[0]
    serves = {c.id: _serves(c, hourly) for c in results.candidates}
    best = _probability_best(results, all_draws, hourly)
    effects = effects_of(points, years)
    options = []
    for c in results.candidates:
        is_base = c.id == results.baseline_id
        paid, realised = all_draws.money[c.id], all_draws.realised[c.id]
        limit = project.prices.payback_limit_years
        options.append(
            OptionRange(
                id=c.id,
                quantities=_quantities(results, c, all_draws, run),
                probability_best=None if best is None else best[c.id],
                probability_pays_back=None if is_base else float((paid.payback_after_years <= limit).mean()),
                realised_probability_pays_back=None
                if is_base
                else float((realised.payback_after_years <= limit).mean()),
                serves=serves[c.id],
                drivers=() if is_base else drivers_by_share(points, effects.of(np.ravel(paid.saving_usd)), years),
                break_even=None if is_base else break_even_of(results, c, run.money[c.id]),
            )
        )
    about = results.advice.drivers_of if results.advice is not None else driven_id(results)
    inputs = tuple(ranged_input(one, points.drawn, project) for one in points.drawn)
    inputs += (years.as_input(),) if years.several else ()
    shown_years = years.shown(points.year)
    narrow = tuple(one.label for one in inputs if one.width_frac is not None and one.width_frac < 1.0)
    judged = 0 if hourly is None else len(next(iter(hourly.serves.values())))
    own = sum(one.basis == OWN for one in inputs)
    default = sum(one.basis == DEFAULT for one in inputs)
    return Ranges(
        run_id=ranges_id(
            results, points, count, seed, full, [run.weather for run in years.runs] if years.several else ()
        ),
        draws=count,
        nested=NESTED_DRAWS,
        seed=seed,
        coarse=not full,
        options=tuple(options),
        differences=_differences(results, all_draws, run),
        inputs=inputs,
        about_id=about,
        measure_next=() if about is None else measures_of(points, effects, all_draws.money[about]),
        hourly=None if hourly is None else check_of_hours(results, all_draws, energies, hourly),
        reoptimised=searched_anew(results, years, points, energies) if full else (),
        service_draws=judged,
        own_frac=own / len(inputs) if inputs else 0.0,
        default_frac=default / len(inputs) if inputs else 0.0,
        narrow=narrow,
        notes=notes_of(inputs, narrow, judged, results, shown_years),
        held=HELD,
        years=shown_years,
        nights=check_of_nights(results, years, points, all_draws) if full else None,
    )


def _quantities(results, c: CandidateResult, draws: DrawnMoney, run: DrawnMoney) -> dict[str, Quantiles]:
    def values(of: DrawnMoney) -> dict[str, np.ndarray]:
        year, base = of.years[c.id], of.years[results.baseline_id]
        paid, practice = of.money[c.id], of.realised[c.id]
        sir = np.where(np.isnan(paid.life.sir), np.nan, paid.life.sir)
        # A return below any: savings that are worth nothing.
        airr = np.where(np.isnan(paid.life.airr) & (sir <= 0.0), -np.inf, paid.life.airr)
        share = np.where(base.cost_usd > 0.0, paid.saving_usd / np.where(base.cost_usd > 0.0, base.cost_usd, 1.0), 0.0)
        return {
            "electricity_kwh": year.amounts[ELECTRICITY_KEY],
            "fuel_therm": year.amounts["fuel_therm"],
            "energy_cost_usd": year.cost_usd,
            "electricity_saving_kwh": base.amounts[ELECTRICITY_KEY] - year.amounts[ELECTRICITY_KEY],
            "fuel_saving_therm": base.amounts["fuel_therm"] - year.amounts["fuel_therm"],
            "cost_saving_usd": paid.saving_usd,
            "cost_saving_pct": 100.0 * share,
            "peak_saving_kw": base.windows_kw[0] - year.windows_kw[0]
            if 0 in year.windows_kw
            else paid.cost_usd * np.nan,
            "implementation_cost_usd": paid.cost_usd,
            "incentive_usd": paid.incentive_usd,
            "payback_years": paid.payback_years,
            "payback_after_incentive_years": paid.payback_after_years,
            "npv_usd": paid.life.npv_usd,
            "sir": sir,
            "airr": airr,
            "realised_cost_saving_usd": practice.saving_usd,
            "realised_payback_after_incentive_years": practice.payback_after_years,
            "realised_npv_usd": practice.life.npv_usd,
        }

    all_draws, at_run = values(draws), values(run)
    words = {
        "peak_saving_kw": NOT_DRAWN,
        "sir": "no cost",
        "airr": "no cost" if np.isnan(all_draws["sir"]).any() else "no return",
    }
    return {key: quantiles(all_draws[key], float(np.ravel(at_run[key])[0]), words.get(key, "")) for key in QUANTITIES}


def _serves(c: CandidateResult, hourly: HourlyDraws | None) -> Serves:
    if hourly is None:
        equal = not c.equal_service.flagged
        return Serves(probability=float(equal), low=None, high=None, draws=0, basis=THE_RUN)
    judged = hourly.serves[c.id]
    low, high = share_interval(int(judged.sum()), len(judged))
    return Serves(probability=float(judged.mean()), low=low, high=high, draws=len(judged), basis=HOURLY_DRAWS)


def _probability_best(results: Results, draws: DrawnMoney, hourly: HourlyDraws | None) -> dict[str, float] | None:
    """Share of the judged draws in which each option costs least among those that may be best; the baseline where none
    may. None where the run ranks nothing."""
    if not any(c.rank is not None for c in results.candidates):
        return None
    judged = draws.nested.shape[0] if hourly is None else len(next(iter(hourly.serves.values())))
    costs = []
    for c in results.candidates:
        cost = np.round(draws.years[c.id].cost_usd[:judged], 6)
        # An option that the run does not rank for another reason than service, such as a failure that it leaves, is
        # not ranked in draws either.
        open_to = c.rank is not None or c.equal_service.flagged
        may = np.full(judged, c.rank is not None) if hourly is None else hourly.serves[c.id] & open_to
        costs.append(np.where(may[:, None], cost, np.inf))
    stacked = np.stack(costs)
    first = np.argmin(stacked, axis=0)
    place = [c.id for c in results.candidates].index(results.baseline_id)
    first = np.where(np.isinf(stacked.min(axis=0)), place, first)
    return {c.id: float((first == k).mean()) for k, c in enumerate(results.candidates)}


def _differences(results: Results, draws: DrawnMoney, run: DrawnMoney) -> tuple[Difference, ...]:
    out = []
    ids = [c.id for c in results.candidates]
    for k, first in enumerate(ids):
        for second in ids[k + 1 :]:
            more = draws.money[first].saving_usd - draws.money[second].saving_usd
            at_run = float(np.ravel(run.money[first].saving_usd - run.money[second].saving_usd)[0])
            out.append(
                Difference(
                    first_id=first,
                    second_id=second,
                    cost_saving_usd=quantiles(more, at_run),
                    probability_more=float((more > 0.0).mean()),
                )
            )
    return tuple(out)
