"""Ranges of results, whole: draws, percentiles, probabilities, drivers, what to measure next."""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace

import numpy as np

from ..advice.advise import driven_id
from ..dataclass import dataclass
from ..end_uses import ELECTRICITY_KEY
from ..inputs.paths import known_path
from ..money.life_cycle import life_cycle
from ..rates import Rates
from ..results import CandidateResult, Results
from ..strategies.registry import sat_strategy
from .distributions import Distribution, joined
from .draw import Factors, base_factors, factors_of, joined_factors, taken
from .effects import HIGH, LOW, Effects
from .energies import Energies
from .hourly import HourlyDraws
from .lines import Drawn, drawn_lines
from .money import MoneyDraws, Nested, Year, money_of, year_of
from .nights import COARSE_NIGHTS, NIGHTS
from .percentiles import quantiles, share_interval
from .results import (
    DEFAULT,
    HOURLY_DRAWS,
    NOT_DRAWN,
    OWN,
    QUANTITIES,
    THE_RUN,
    BreakEven,
    Difference,
    Driver,
    HourlyCheck,
    MeasureNext,
    NightCheck,
    OptionRange,
    Quantiles,
    RangedInput,
    RangedYear,
    Ranges,
    Reoptimised,
    Serves,
    years_in_words,
)
from .sobol import sobol
from .years import LABEL, YEAR, Years

#: Draws of the model: coarse, which every run has, and full.
COARSE_DRAWS, FULL_DRAWS = 128, 2048
#: Draws of prices, plant efficiencies, cost and realisation nested in each.
NESTED_DRAWS = 16
#: Draws that full ranges repeat in all hours of the year: for service, and to be set beside the rows.
SERVICE_DRAWS = 200
#: Draws in which strategies that search do so anew.
REOPTIMISED_DRAWS = 16
#: A driver below this share of the variance is not shown. [-]
LEAST_SHARE = 0.005
# Offset of the seeds of nested draws.
_NESTED_SEED = 1_000_003
#: What draws hold, in words.
HELD = (
    "rows with their weights, sizes that were given, optimiser setpoints, what operators override at night, and which "
    "hours and nights stand for demand and for all nights are those of the run in all draws; sizes that were not given "
    "follow the loads"
)
#: Draws in which all nights of the year are run, beside those that stand for them.
NIGHT_DRAWS = 4


@dataclass(frozen=True, slots=True, kw_only=True)
class _Points:
    """Shares and factors of all draws: of the model (D,), and nested in them (D, K); place of the weather year (D,)."""

    drawn: tuple[Drawn, ...]
    shares: dict[str, np.ndarray]
    factors: Factors
    nested: Nested
    year: np.ndarray


def find_ranges(
    results: Results,
    *,
    full: bool = False,
    draws: int | None = None,
    progress: Callable[[float], None] | None = None,
    years: Sequence = (),
) -> Ranges:
    """How sure an estimate is.

    Parameters
    ----------
    results : Results
        Whole, with advice if there is any.
    full : bool
        Many draws, of which some are repeated hour by hour; else few, an indication.
    draws : int, optional
        Of the model instead, a power of two.
    progress : callable, optional
        Told the share that is done.
    years : sequence of Weather
        Other years that the project names (``steps.weather_years_of``).

    Returns
    -------
    Ranges

    Raises
    ------
    InputError
        A range of the project does not go with its inputs.

    Notes
    -----
    Draws are scrambled Sobol' points by the project's seed. Those of the model are evaluated on the rows of the run,
    many at once; what only multiplies results is drawn several times for each, every time from points of its own that
    are spread evenly together with those of the model. Percentiles are of the draws themselves. In coarse ranges
    options serve equally as in the run; in full ones by the hours of some draws, of which the probability to be the
    best is as well.
    """
    count = draws or (FULL_DRAWS if full else COARSE_DRAWS)
    project = results.project
    drawn = drawn_lines(project, results.unit)
    seed = project.terms.draws.seed
    of_years = Years.of(results, drawn, years, NIGHTS if full else COARSE_NIGHTS)
    points = _points(drawn, count, seed, of_years)
    tell = progress or (lambda share: None)
    hours_part = 0.5 if full else 0.0
    # The run itself is one more draw.
    with_run = joined_factors(points.factors, base_factors(drawn))
    year = np.append(points.year, of_years.own)
    found = of_years.on_rows(with_run, year, lambda share: tell((1.0 - hours_part) * share))
    energies = {id_: each.take(slice(0, count)) for id_, each in found.items()}
    at_base = {id_: each.take(slice(count, None)) for id_, each in found.items()}
    hourly = None
    if full:
        some = min(SERVICE_DRAWS, count)
        hourly = of_years.hour_by_hour(
            taken(points.factors, slice(0, some)),
            points.year[:some],
            lambda share: tell(1.0 - hours_part + 0.95 * hours_part * share),
        )
    demands = (of_years.demand(points.factors, points.year), of_years.demand(base_factors(drawn), year[-1:]))
    out = _put_together(results, of_years, points, demands, energies, at_base, hourly, full, seed)
    tell(1.0)
    return out


def with_ranges(results: Results, *, full: bool = False, progress=None, years: Sequence = ()) -> Results:
    """The same results with their ranges; without any where the air handler never runs, as there is nothing to draw."""
    if not any(c.hourly["running_hours"] > 0.0 for c in results.candidates):
        return results
    return replace(results, ranges=find_ranges(results, full=full, progress=progress, years=years))


def _points(drawn: tuple[Drawn, ...], count: int, seed: int, years: Years) -> _Points:
    """Points of all draws: those of the model first, then nested ones with scrambles of their own."""
    outer = [one for one in drawn if not one.nested]
    inner = [one for one in drawn if one.nested]
    groups = lambda lines: sorted({one.line.together for one in lines if one.line.together})
    first = len(outer) + len(groups(outer))
    shares = _shares(outer, groups(outer), sobol(count, range(first), seed))
    last = first + len(inner) + len(groups(inner))
    each = [
        _shares(inner, groups(inner), sobol(count, range(first, last), seed + _NESTED_SEED * (k + 1)))
        for k in range(NESTED_DRAWS)
    ]
    # The year has points of its own after all others, which stay as they are without it.
    year = np.zeros(count, dtype=int)
    if years.several:
        year = years.drawn(sobol(count, range(last, last + 1), seed)[:, 0])
    nested = {one.key: np.stack([shares_[one.key] for shares_ in each], axis=1) for one in inner}
    return _Points(
        drawn=drawn,
        shares=shares,
        factors=factors_of(tuple(outer), shares),
        nested=_nested(tuple(inner), nested, (count, NESTED_DRAWS)),
        year=year,
    )


def _shares(lines, groups, points: np.ndarray) -> dict[str, np.ndarray]:
    """Shares by key from points; those of a group are correlated where it has more than one line."""
    common = {name: points[:, len(lines) + k] for k, name in enumerate(groups)}
    size = {name: sum(one.line.together == name for one in lines) for name in groups}
    return {
        one.key: joined(points[:, k], common[one.line.together], one.line.correlation)
        if size.get(one.line.together, 0) > 1
        else points[:, k]
        for k, one in enumerate(lines)
    }


def _nested(inner: tuple[Drawn, ...], shares: Mapping[str, np.ndarray], shape) -> Nested:
    return Nested(drawn=inner, factors=factors_of(inner, shares), shares=shares, shape=shape)


def _at_base(points: _Points) -> Nested:
    """What is nested, at its base values, in one draw. Shares are those at which a build-up is as expected."""
    inner = points.nested.drawn
    factors = {one.key: {basis: np.full((1, 1), one.line.base) for basis in one.distributions} for one in inner}
    return Nested(drawn=inner, factors=factors, shares={}, shape=(1, 1))


# --- putting together -------------------------------------------------------------------------


def _put_together(
    results, years: Years, points: _Points, demands, energies, at_base, hourly, full: bool, seed: int
) -> Ranges:
    project = results.project
    run = _Money.of(results, at_base, _at_base(points), demands[1])
    all_draws = _Money.of(results, energies, points.nested, demands[0])
    count = all_draws.nested.shape[0]
    serves = {c.id: _serves(c, hourly) for c in results.candidates}
    best = _probability_best(results, all_draws, hourly)
    effects = _effects(points, years)
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
                drivers=() if is_base else _drivers(points, effects.of(np.ravel(paid.saving_usd)), years),
                break_even=None if is_base else _break_even(results, c, run.money[c.id]),
            )
        )
    about = results.advice.drivers_of if results.advice is not None else driven_id(results)
    inputs = tuple(_ranged(one, points.drawn, project) for one in points.drawn)
    inputs += (years.as_input(),) if years.several else ()
    shown_years = years.shown(points.year)
    narrow = tuple(one.label for one in inputs if one.width_frac is not None and one.width_frac < 1.0)
    judged = 0 if hourly is None else len(next(iter(hourly.serves.values())))
    own = sum(one.basis == OWN for one in inputs)
    default = sum(one.basis == DEFAULT for one in inputs)
    return Ranges(
        run_id=_run_id(
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
        measure_next=() if about is None else _measure_next(points, effects, all_draws.money[about]),
        hourly=None if hourly is None else _hourly_check(results, all_draws, energies, hourly),
        reoptimised=_reoptimised(results, years, points, energies) if full else (),
        service_draws=judged,
        own_frac=own / len(inputs) if inputs else 0.0,
        default_frac=default / len(inputs) if inputs else 0.0,
        narrow=narrow,
        notes=_notes(inputs, narrow, judged, results, shown_years),
        held=HELD,
        years=shown_years,
        nights=_night_check(results, years, points, all_draws) if full else None,
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class _Money:
    """Years and money of all options by id in draws."""

    nested: Nested
    years: dict[str, Year]
    money: dict[str, MoneyDraws]
    realised: dict[str, MoneyDraws]

    @classmethod
    def of(cls, results: Results, energies: Mapping[str, Energies], nested: Nested, demand) -> _Money:
        project = results.project
        years = {
            c.id: year_of(
                energies[c.id],
                project.candidate(c.id),
                nested,
                0.0 if c.charges is None else c.charges.year_usd,
                demand,
            )
            for c in results.candidates
        }
        base = years[results.baseline_id]
        practice = nested.factor("realisation", project.baseline)
        money, realised = {}, {}
        for c in results.candidates:
            args = project, project.candidate(c.id), c.worth, years[c.id], base, nested
            money[c.id] = money_of(*args)
            realised[c.id] = money_of(*args, practice)
        return cls(nested=nested, years=years, money=money, realised=realised)


def _quantities(results, c: CandidateResult, draws: _Money, run: _Money) -> dict[str, Quantiles]:
    def values(of: _Money) -> dict[str, np.ndarray]:
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


def _probability_best(results: Results, draws: _Money, hourly: HourlyDraws | None) -> dict[str, float] | None:
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


def _differences(results: Results, draws: _Money, run: _Money) -> tuple[Difference, ...]:
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


# --- drivers ----------------------------------------------------------------------------------


def _effects(points: _Points, years: Years) -> Effects:
    """Effects of all inputs on quantities (D K,) of the draws."""
    k = points.nested.shape[1]
    shares = {key: np.repeat(u, k) for key, u in points.shares.items()}
    shares |= {key: np.ravel(u) for key, u in points.nested.shares.items() if key != "realisation"}
    together = {}
    for one in points.drawn:
        if one.line.together:
            others = [
                other.key for other in points.drawn if other.line.together == one.line.together and other is not one
            ]
            together[one.key] = others
    return Effects(shares, together, {YEAR: np.repeat(points.year, k)} if years.several else {})


def _drivers(points: _Points, found, years: Years) -> tuple[Driver, ...]:
    out = []
    of_year = found.get(YEAR)
    if of_year is not None and of_year.share >= LEAST_SHARE:
        out.append(
            Driver(
                key=YEAR,
                label=LABEL,
                low=years.names[0],
                high=years.names[-1],
                low_usd=of_year.low,
                high_usd=of_year.high,
                spread_frac=of_year.share,
                basis=OWN,
            )
        )
    for one in points.drawn:
        effect = found.get(one.key)
        if effect is None or effect.share < LEAST_SHARE:
            continue
        low, high = one.distribution.quantile(np.array([LOW, HIGH]))
        out.append(
            Driver(
                key=one.key,
                label=one.line.label,
                low=words_of(one, low),
                high=words_of(one, high),
                low_usd=effect.low,
                high_usd=effect.high,
                spread_frac=effect.share,
                basis=one.basis,
            )
        )
    return tuple(sorted(out, key=lambda driver: -round(driver.spread_frac, 9)))


def words_of(one: Drawn, number: float) -> str:
    """A factor or difference in words: the value itself where the line is about one input."""
    line = one.line
    if line.act in ("weather", "found_sat"):
        return f"{number:+.1f} degF"
    if line.act == "pattern":
        return f"{100.0 * number:+.0f} %"
    if line.act == "realisation":
        return f"{100.0 * number:.0f} %"
    value = one.items[0].value
    if len(one.items) == 1 and value is not None and line.act not in ("cost", "found_dsp", "people", "from_one"):
        unit = known_path(one.items[0].path).field.unit
        new = value + number if line.base == 0.0 else value * number
        digits = f"{float(f'{new:.3g}'):,.0f}" if abs(new) >= 1000.0 else f"{new:.3g}"
        return f"{digits} {unit}".strip()
    return f"x {number:.2f}"


def _measure_next(points: _Points, effects: Effects, paid: MoneyDraws) -> tuple[MeasureNext, ...]:
    found = effects.of(np.ravel(paid.saving_usd))
    saving = quantiles(paid.saving_usd, None)
    spread = saving.spread or 0.0
    out = []
    for one in points.drawn:
        effect = found.get(one.key)
        line = one.line
        if effect is None or not line.measure or effect.share < LEAST_SHARE or line.kind == "realisation":
            continue
        low, high = line.ends[-1]
        left = Distribution(line.distribution, low, line.base, high).width / max(one.distribution.width, 1e-12)
        removed = 1.0 - np.sqrt(1.0 - effect.share * max(1.0 - left**2, 0.0))
        if removed > 0.0:
            out.append(
                MeasureNext(
                    key=one.key,
                    label=line.label,
                    what=line.measure,
                    spread_removed_frac=float(removed),
                    spread_removed_usd=float(removed * spread),
                )
            )
    return tuple(sorted(out, key=lambda each: -round(each.spread_removed_frac, 9)))


# --- break-even -------------------------------------------------------------------------------


def _break_even(results: Results, c: CandidateResult, paid: MoneyDraws) -> BreakEven:
    """Electricity price at which the net present value is 0, all else as in the run; the incentive does not follow."""
    project = results.project
    one = lambda value: float(np.ravel(value)[0])
    by_source = {key: one(value) for key, value in paid.saving_by_source_usd.items()}
    zero = dict.fromkeys(by_source, 0.0)
    terms = project.life_cycle
    worth = lambda sources: one(life_cycle(0.0, 0.0, zero | sources, 0.0, terms, internal=False).saved_present_usd)
    electric = worth({ELECTRICITY_KEY: by_source[ELECTRICITY_KEY]})
    rest = one(paid.life.npv_usd) - electric
    flat = not isinstance(results.unit.prices, Rates)
    price = project.prices.electricity_usd_kwh
    money = project.prices.currency
    if abs(electric) <= 1e-9:
        return BreakEven(usd_kwh=None, multiple=None, words="does not depend on the price of electricity")
    multiple = -rest / electric
    if multiple <= 0.0:
        words = "worth it at any price of electricity" if electric > 0.0 else "not worth it at any price of electricity"
        return BreakEven(usd_kwh=None, multiple=None, words=words)
    side = "above" if electric > 0.0 else "below"
    at = f"{multiple * price:.3g} {money}/kWh" if flat else f"{multiple:.2g} times today's prices of electricity"
    return BreakEven(usd_kwh=multiple * price if flat else None, multiple=multiple, words=f"worth it {side} {at}")


# --- hours and optimiser ----------------------------------------------------------------------


def _saving(results: Results, energies: Mapping[str, Energies], id_: str, count: int) -> np.ndarray:
    """Saving at the prices of the run in the first draws. (D,) [USD/yr]"""
    cost = lambda each: np.sum([values[:count] for values in energies[each].costs_usd.values()], axis=0)
    return cost(results.baseline_id) - cost(id_)


def _hourly_check(results: Results, draws: _Money, energies, hourly: HourlyDraws) -> HourlyCheck:
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


def _night_check(results: Results, years: Years, points: _Points, draws: _Money) -> NightCheck:
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


def _reoptimised(results: Results, years: Years, points: _Points, energies) -> tuple[Reoptimised, ...]:
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


# --- words ------------------------------------------------------------------------------------


def _ranged(one: Drawn, drawn, project) -> RangedInput:
    d = one.distribution
    p10, p90 = d.quantile(np.array([LOW, HIGH]))
    others = tuple(
        other.key
        for other in drawn
        if one.line.together and other.line.together == one.line.together and other is not one
    )
    status = next((project.status_of(item.path) for item in one.items if item.path), "")
    return RangedInput(
        key=one.key,
        label=one.line.label,
        kind=one.line.kind,
        paths=tuple(dict.fromkeys(item.pattern for item in one.items if item.pattern)),
        low=words_of(one, d.low),
        base=words_of(one, d.base),
        high=words_of(one, d.high),
        p10=words_of(one, float(p10)),
        p90=words_of(one, float(p90)),
        distribution=d.kind,
        basis=one.basis,
        status=status,
        source=one.source,
        correlated_with=others,
        correlation=one.line.correlation if others else 0.0,
        width_frac=None if one.usual is None else d.width / max(one.usual.width, 1e-12),
        default_words="" if one.usual is None else f"{words_of(one, one.usual.low)} to {words_of(one, one.usual.high)}",
    )


def _notes(inputs, narrow, judged: int, results: Results, years: tuple[RangedYear, ...]) -> tuple[str, ...]:
    out = [f"Weather years: {years_in_words(years)}."] if years else []
    if not judged:
        out.append(
            "Coarse: few draws, none of them hour by hour; options serve equally as in the run. --ranges makes many."
        )
    else:
        out.append(
            f"Equal service: {judged} draws judged by all hours of the year, resets worked out anew in each; nights "
            "are those of the run."
        )
    own = [one.label for one in inputs if one.basis == OWN]
    if own:
        out.append(
            f"{len(own)} of {len(inputs)} ranges are the project's own"
            + (f", narrower than usual: {', '.join(narrow)}." if narrow else ", none narrower than usual.")
        )
    default = sum(one.basis == DEFAULT for one in inputs)
    out.append(f"{NIGHTS if judged else COARSE_NIGHTS} nights stand for those of the year in the draws.")
    out.append(f"{default} of {len(inputs)} drawn inputs are defaults that nobody has looked at.")
    if not any(one.key in ("sat_override", "dsp_override") for one in inputs):
        out.append("The project names no overrides by operators, so none are drawn; trend setpoints to know.")
    if results.project.terms.has_tariff:
        out.append(
            "Demand charges go by the hours of the run that may be a month’s peak, tiers by the year’s energy; both go "
            "with the price of electricity."
        )
    return tuple(out)


def _run_id(results: Results, points: _Points, count: int, seed: int, full: bool, years: Sequence = ()) -> str:
    """Id of ranges from everything that they depend on."""
    text = repr(
        (
            results.run_id,
            *([each.sha256 for each in years] if years else ()),
            count,
            NESTED_DRAWS,
            seed,
            full,
            [
                (one.key, sorted((basis, repr(each)) for basis, each in one.distributions.items()))
                for one in points.drawn
            ],
        )
    )
    return hashlib.sha256(text.encode()).hexdigest()[:12]
