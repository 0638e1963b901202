"""Realised savings: the interval holds what it says, plans give what they promise, and what spoils a saving is told."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
import realised_logs as logs

from binestimator.realised.compare import BIN_F, compare, terms_of
from binestimator.realised.hours import Calendar, Hours
from binestimator.realised.plan import Spread, expected, plan_weeks, sampling, spell
from binestimator.realised.season import day_of_year, season_deviation
from binestimator.realised.spread import QUANTILES, combined, fit_hours, interval, sizes_of


def _case(seed: int, name: str = "fan_kw", longest: int = 240):
    """A pair of periods of any season, and what is true of them in their covered hours and in the year."""
    rng = np.random.default_rng(seed)
    years = logs.years()
    rho, day_sd = rng.uniform(0.2, 0.7), rng.uniform(0.06, 0.12)
    a, b = rng.integers(2, len(years), 2)
    periods = [
        logs.period(
            rng,
            years[k],
            state,
            int(rng.integers(0, 365)),
            int(rng.integers(84, longest)),
            names=(name,),
            rho=rho,
            day_sd=day_sd,
        )
        for k, state in ((a, years[a].before), (b, years[b].after))
    ]
    claimed = years[0]
    found = compare(*periods, claimed.hours, name, False, (claimed.before[name], claimed.after[name]))
    return found, years[1].before[name] - years[1].after[name]


def _counted(cases: int):
    """Of so many pairs of logs that have weather in common: how often the truth is inside, below and above, of the
    covered hours; and inside, and told, of the year."""
    inside = told = year_inside = year_told = below = above = seed = 0
    while told < cases:
        found, saved = _case(seed)
        seed += 1
        if found is None:
            continue
        true = float(saved[found.covered].sum())
        low, high = found.interval()
        told += 1
        inside += low <= true <= high
        below += true < low
        above += true > high
        if found.covered_frac >= 0.85:
            low, high = interval(found.saving_year)
            year_told += 1
            year_inside += low <= float(saved.sum()) <= high
    return inside, below, above, year_inside, year_told


@pytest.mark.slow
@pytest.mark.crosscheck
def test_the_true_saving_is_in_its_interval_nine_times_of_ten():
    """200 pairs of logs of any seasons, with days that hang together, another building than the project has, weather
    that is not the typical one. Of 200 the interval of 90 % should hold 180; 8 is twice the standard deviation of that
    count."""
    inside, below, above, year_inside, year_told = _counted(200)
    assert 172 <= inside <= 188
    # Misses on both sides: the middle is where it should be.
    assert min(below, above) >= 4
    # Of some 80 that cover the year: 72 expected, standard deviation 2.7.
    assert year_told >= 60 and 0.82 <= year_inside / year_told <= 0.98


@pytest.mark.crosscheck
def test_a_slice_of_the_same():
    inside, *_ = _counted(20)
    assert inside >= 15  # 18 expected; fewer than 15 has a chance of 4 % by the binomial distribution


# ---------------------------------------------------------------- statistics


def _days(rng, days: int, rho: float, day_sd: float, hours: int = 10, hour_sd: float = 0.05):
    """Hours of days that hang together, about a mean of 1: day and value of each."""
    u = np.zeros(days)
    u[0] = rng.normal(0.0, day_sd)
    for k in range(1, days):
        u[k] = rho * u[k - 1] + rng.normal(0.0, day_sd * np.sqrt(1.0 - rho**2))
    day = np.repeat(np.arange(days), hours)
    return day, 1.0 + u[day] + rng.normal(0.0, hour_sd, len(day))


@pytest.mark.crosscheck
def test_a_mean_of_days_that_hang_together_is_as_unsure_as_it_is():
    """Means of 60 days with rho 0.6: the interval of 90 % holds the truth in 90 %, where one that takes hours for
    independent holds it in less than half."""
    rng = np.random.default_rng(5)
    inside = naive = 0
    for _ in range(150):
        day, y = _days(rng, 60, 0.6, 0.1)
        fit = fit_hours(np.ones((len(y), 1)), y, day)
        low, high = interval(fit.total(np.ones(1)))
        inside += low <= 1.0 <= high
        naive += abs(y.mean() - 1.0) <= 1.645 * y.std(ddof=1) / np.sqrt(len(y))
    assert 127 <= inside <= 143  # 135 expected, standard deviation 3.7
    assert naive < 75


@pytest.mark.crosscheck
def test_days_of_which_hours_say_almost_the_same_are_as_unsure():
    """Hours that deviate from their day by a tenth of what days do: the variance of days is a hundred times theirs."""
    rng = np.random.default_rng(6)
    inside = 0
    for _ in range(150):
        day, y = _days(rng, 120, 0.7, 0.1, hour_sd=0.01)
        low, high = interval(fit_hours(np.ones((len(y), 1)), y, day).total(np.ones(1)))
        inside += low <= 1.0 <= high
    assert 127 <= inside <= 143  # 135 expected, standard deviation 3.7


@pytest.mark.crosscheck
def test_coefficients_are_those_of_whole_matrices():
    """All pairs of parameters together, day after day, against the restricted likelihood of whole covariance matrices
    of the hours, pair by pair; some days are missing and have hours of their own number."""
    rng = np.random.default_rng(8)
    days = np.flatnonzero(rng.random(30) < 0.7)
    day = np.repeat(days, rng.integers(1, 7, len(days)))
    n = len(day)
    x = np.column_stack([np.ones(n), rng.normal(0.0, 1.0, (n, 2))])
    y = x @ [5.0, 0.5, -0.3] + np.repeat(rng.normal(0.0, 0.3, len(days)), np.unique(day, return_counts=True)[1])
    y += rng.normal(0.0, 0.2, n)
    found = fit_hours(x, y, day)
    m = sizes_of(x, y)[1]
    xs, ys = x / m[:, None], y / m
    beta = np.linalg.solve(xs.T @ xs, xs.T @ ys)
    assert found.beta == pytest.approx(beta, rel=1e-9)
    log_l, covariances = [], []
    for rho, frac in zip(found.rho, found.day_frac):
        of_days = rho ** np.abs(day[:, None] - day[None, :])
        v = frac / (1.0 - frac) * of_days + np.eye(n)  # in units of the variance of hours
        a = xs.T @ np.linalg.solve(v, xs)
        left = ys - xs @ np.linalg.solve(a, xs.T @ np.linalg.solve(v, ys))
        rest = float(left @ np.linalg.solve(v, left))
        log_det = np.linalg.slogdet(v)[1] + np.linalg.slogdet(a)[1]
        log_l.append(-0.5 * (log_det + (n - 3) * np.log(rest)) + np.log(frac * (1.0 - frac)))
        inverse = np.linalg.inv(xs.T @ xs)
        covariances.append(rest / (n - 3) * inverse @ xs.T @ v @ xs @ inverse)
    # Pairs count by the spacing of rho as well, which is the same for those of one rho.
    one = found.rho == found.rho[np.argmax(found.weight)]
    assert one.sum() > 3
    weights = np.exp(np.array(log_l) - max(log_l))[one]
    assert found.weight[one] / found.weight[one].max() == pytest.approx(weights / weights.max(), rel=1e-6)
    for pair, covariance in enumerate(covariances):
        # Conditions of the matrices and the subtraction of what days explain.
        assert found.cov[pair] == pytest.approx(covariance, rel=1e-7)


@pytest.mark.crosscheck
def test_independent_days_are_those_of_the_guideline():
    """n' = n (1 - rho) / (1 + rho), Guideline 14-2014, with the correlation that long logs show."""
    day, y = _days(np.random.default_rng(2), 2000, 0.5, 0.1)
    fit = fit_hours(np.ones((len(y), 1)), y, day)
    mean = np.bincount(day, y) / 10.0 - 1.0
    rho = float(np.sum(mean[1:] * mean[:-1]) / np.sum(mean**2))
    # Daily means have the noise of hours in them, which lowers their correlation a little.
    assert fit.mean_rho == pytest.approx(rho, abs=0.05)
    assert fit.independent_days == pytest.approx(2000 * (1 - fit.mean_rho) / (1 + fit.mean_rho))


@pytest.mark.invariant
def test_days_by_themselves_give_the_interval_of_students_t():
    """Without a part of days, the interval of a mean is that of independent hours."""
    rng = np.random.default_rng(3)
    day = np.repeat(np.arange(300), 4)
    y = 1.0 + rng.normal(0.0, 0.1, len(day))
    low, high = interval(fit_hours(np.ones((len(y), 1)), y, day).total(np.ones(1)))
    plain = 1.645 * y.std(ddof=1) / np.sqrt(len(y))
    assert low + high == pytest.approx(2.0 * y.mean(), abs=1e-3)
    # The share of days is not known to be none, so that the interval is a little wider.
    assert plain <= 0.5 * (high - low) <= 1.3 * plain


@pytest.mark.crosscheck
def test_differences_of_distributions():
    """Two normal distributions: the difference has the root of the sum of squares."""
    from scipy.special import ndtri

    found = combined(3.0 * ndtri(QUANTILES) + 10.0, 4.0 * ndtri(QUANTILES) + 4.0)
    low, high = interval(found)
    # 400 values stand for each distribution: a hundredth of the standard deviation.
    assert low == pytest.approx(6.0 - 1.645 * 5.0, abs=0.05) and high == pytest.approx(6.0 + 1.645 * 5.0, abs=0.05)


@pytest.mark.invariant
def test_identical_logs_save_nothing():
    years = logs.years()
    rng = np.random.default_rng(1)
    period = logs.period(rng, years[2], years[2].before, 60, 150)
    found = compare(period, period, years[0].hours, "fan_kw")
    low, high = found.interval()
    assert np.median(found.saving) == pytest.approx(0.0, abs=1e-6 * found.before_year_expected)
    assert low < 0.0 < high


@pytest.mark.invariant
def test_means_of_bins_are_the_measured_ones():
    """Values that are a line over outdoor temperature come out to the last digit, whatever days there are."""
    years = logs.years()
    rng = np.random.default_rng(4)
    exact = lambda hours: {"fan_kw": 2.0 + 0.05 * np.maximum(hours.oat_f, -99.0)}
    period = logs.period(rng, years[2], exact(years[2].hours), 30, 200, day_sd=1e-9, hour_sd=1e-9, noise=1e-9)
    period = replace(period, values={"fan_kw": 2.0 + 0.05 * period.oat_f})
    found = compare(period, period, years[0].hours, "fan_kw")
    true = (2.0 + 0.05 * years[0].hours.oat_f)[found.covered].sum()
    assert found.before.expected(found.terms.matrix(years[0].hours)[found.covered].sum(axis=0)) == pytest.approx(true)


@pytest.mark.invariant
def test_only_weather_of_both_periods_is_covered():
    """January before and July after have nothing in common; spring and autumn cover what both have."""
    years = logs.years()
    rng = np.random.default_rng(6)
    winter = logs.period(rng, years[2], years[2].before, 0, 28)
    summer = logs.period(rng, years[3], years[3].after, 190, 28)
    assert compare(winter, summer, years[0].hours, "fan_kw") is None
    spring = logs.period(rng, years[2], years[2].before, 80, 60)
    terms = terms_of(spring, summer, years[0].hours)
    inside = years[0].hours.take(terms.inside(years[0].hours))
    for p in (spring, summer):
        assert inside.oat_f.min() >= p.oat_f.min() and inside.oat_f.max() <= p.oat_f.max()
    assert max(np.diff(k).max() for k in terms.knots.values() if len(k) > 1) <= 2.1 * BIN_F


@pytest.mark.invariant
def test_missing_parts_of_the_day_are_not_covered():
    years = logs.years()
    rng = np.random.default_rng(6)
    before = logs.period(rng, years[2], years[2].before, 60, 120)
    after = logs.period(rng, years[3], years[3].after, 60, 120)
    after = after.take(after.hour >= 12)
    found = compare(before, after, years[0].hours, "fan_kw")
    assert not found.covered[years[0].hours.hour < 10].any()
    assert found.covered_frac < 0.7


@pytest.mark.crosscheck
def test_the_season_is_told_from_the_weather():
    """A saving of logs of different seasons, without any scatter of days and in the weather of the typical year: the
    model's correction takes most of the error away, though its building has less gains and more glass."""
    years = logs.years()
    claimed, building = years[0], years[1]
    errors = {True: [], False: []}
    for seed, (first, second) in enumerate(((60, 240), (90, 200), (30, 270), (120, 260), (240, 60), (200, 90))):
        rng = np.random.default_rng(seed)
        quiet = {"day_sd": 1e-6, "hour_sd": 1e-6, "noise": 1e-6, "lost": 0.0}
        before = logs.period(rng, building, building.before, first, 100, **quiet)
        after = logs.period(rng, building, building.after, second, 100, **quiet)
        for corrected in errors:
            model = (claimed.before["fan_kw"], claimed.after["fan_kw"]) if corrected else None
            found = compare(before, after, claimed.hours, "fan_kw", False, model)
            true = (building.before["fan_kw"] - building.after["fan_kw"])[found.covered].sum()
            errors[corrected].append((np.median(found.saving) - true) / building.before["fan_kw"][found.covered].sum())
    rms = {key: float(np.sqrt(np.mean(np.square(v)))) for key, v in errors.items()}
    assert rms[True] < 0.6 * rms[False]


@pytest.mark.invariant
def test_no_season_where_the_model_goes_by_weather_alone():
    year = logs.years()[0].hours
    terms = terms_of(year, year, year)
    x = terms.matrix(year)
    assert np.abs(season_deviation(year, x, x @ np.linspace(1.0, 2.0, x.shape[1]), year)).max() < 1e-9


@pytest.mark.invariant
def test_days_of_the_year():
    days = np.array(["2024-02-28", "2024-02-29", "2024-03-01", "2025-03-01", "2024-12-31"], "datetime64[D]")
    assert day_of_year(days.astype(int)).tolist() == [58, 58, 59, 59, 364]


@pytest.mark.invariant
def test_kinds_of_days():
    calendar = Calendar(("07-04",), np.zeros((3, 24), bool))
    days = np.array(["2025-07-03", "2025-07-04", "2025-07-05", "2025-07-06"], "datetime64[D]")
    assert calendar.kind_of_day(days).tolist() == [0, 2, 1, 2]


# ---------------------------------------------------------------- plans


def _planned(seed: int, precision: float):
    """A plan from eight weeks before, and what it promises."""
    years = logs.years()
    rng = np.random.default_rng(seed)
    before = logs.period(rng, years[2], years[2].before, 60, 56, rho=0.4, day_sd=0.06)
    year = years[0].hours
    terms = terms_of(before, before, year)
    inside = before.measured("fan_kw")
    inside = inside.take(terms.inside(inside))
    spread = Spread.of(fit_hours(terms.matrix(inside), inside.values["fan_kw"], inside.day))
    modelled = years[0].before["fan_kw"], years[0].after["fan_kw"]
    have = day_of_year(np.unique(before.day)), np.zeros(0, int)
    goal = float(np.sum(modelled[0] - modelled[1]))
    best, table = plan_weeks(year, modelled, have, (spread, spread), goal, 0.9, precision)
    return rng, before, best, table


@pytest.mark.slow
@pytest.mark.crosscheck
def test_weeks_of_a_plan_reach_the_precision():
    """Logs as long as plans ask for: half the width of their intervals over the claim is in the mean as promised."""
    years = logs.years()
    claimed = years[0]
    promised, reached = [], []
    for seed in range(24):
        rng, before, best, _ = _planned(seed, 0.5)
        if best is None:
            continue
        first = 116 + 7 * best.before
        parts = [
            logs.period(rng, years[2], years[2].before, 60, 56 + 7 * best.before, rho=0.4, day_sd=0.06),
            logs.period(rng, years[3], years[3].after, first, 7 * best.after, rho=0.4, day_sd=0.06),
        ]
        model = claimed.before["fan_kw"], claimed.after["fan_kw"]
        found = compare(*parts, claimed.hours, "fan_kw", False, model)
        low, high = found.interval()
        claim = (model[0] - model[1])[found.covered].sum()
        promised.append(best.expected.precision)
        reached.append(0.5 * (high - low) / claim)
        assert found.covered_frac == pytest.approx(best.expected.covered_frac, abs=0.15)  # other weather than typical
    assert len(promised) >= 18
    assert np.mean(reached) == pytest.approx(np.mean(promised), rel=0.25)  # the scatter of days is known by eight weeks
    assert np.mean(np.array(reached) <= 1.25 * 0.5) >= 0.75


@pytest.mark.invariant
def test_plans_ask_for_more_where_more_is_wanted():
    *_, loose, table = _planned(1, 0.6)
    *_, tight, _ = _planned(1, 0.35)
    assert loose is not None and loose.enough
    assert tight is None or tight.before + tight.after >= loose.before + loose.after
    covered = [weeks.expected.covered_frac for weeks in table if weeks.expected is not None]
    # Ends of temperature ranges move a little with what is in them.
    assert all(b >= a - 0.02 for a, b in zip(covered, covered[1:])) and covered[-1] > 0.85


@pytest.mark.invariant
def test_what_hangs_together_takes_longer():
    """The same days, more correlation: a wider interval. Nothing in common: no expectation."""
    claimed = logs.years()[0]
    modelled = claimed.before["fan_kw"], claimed.after["fan_kw"]
    goal = float(np.sum(modelled[0] - modelled[1]))
    spells = spell(60, 12), spell(240, 12)
    widths = [
        expected(claimed.hours, modelled, spells, (one, one), goal, 0.9).half_width
        for one in (Spread(rho, 0.6, 0.1, 60) for rho in (0.1, 0.4, 0.8))
    ]
    assert widths[0] < widths[1] < widths[2]
    one = Spread(0.4, 0.6, 0.1, 60)
    assert expected(claimed.hours, modelled, (spell(0, 3), spell(190, 3)), (one, one), goal, 0.9) is None


@pytest.mark.invariant
def test_coarser_samples_add_scatter():
    rng = np.random.default_rng(0)
    values = 5.0 * (1.0 + rng.normal(0.0, 0.2, 60 * 24 * 20))
    found = dict(sampling(values, np.ones(len(values), bool), 60, Spread(0.4, 0.5, 0.1, 20)))
    assert found[1] == pytest.approx(0.0, abs=1e-9)
    assert found[1] < found[5] < found[15] < found[60]
    # One sample an hour of a value that varies by 20 %: the root of 0.2 squared and of an hour's own 0.1 times root
    # 0.5.
    assert found[60] == pytest.approx(np.hypot(0.2, 0.0707) / 0.0707 - 1.0, rel=0.05)  # 480 hours of chance


def test_hours_keep_their_names():
    hours = logs.years()[0].hours
    assert isinstance(hours, Hours) and len(hours.take(slice(0, 5))) == 5
    assert len(hours.measured("fan_kw")) == 0
