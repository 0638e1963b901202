"""Bins: hours conserved, moments exact, rows few, non-negative and good for unseen settings."""

import dataclasses
import types
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from binestimator import bins
from binestimator.bins import directions, elimination
from binestimator.hours import Conditions, bin_low_f
from binestimator.weather import read_weather

MONTH_DAYS = np.array([31, 28, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31])


def make_year(seed=1, always_on=False, mean_f=60.0, swing_f=25.0):
    """A year of whole-degree weather with seasons, days and noise, and an 11 h weekday schedule."""
    random = np.random.default_rng(seed)
    hour = np.arange(8760)
    day, clock = hour // 24, hour % 24
    noise = np.convolve(random.normal(0, 6, 8760 + 47), np.ones(48) / np.sqrt(48), "valid")
    oat = mean_f - swing_f * np.cos(2 * np.pi * (day - 20) / 365)
    oat = np.rint(oat - 9 * np.cos(2 * np.pi * (clock - 4) / 24) + noise)
    dewpoint = oat - np.abs(random.normal(8, 6, 8760))
    occupied = (((clock >= 7) & (clock < 18) & (day % 7 < 5)) | always_on).astype(float)
    # Sun: a daily arc for each facade, a season and hourly cloud.
    arc = np.clip(np.cos(2 * np.pi * (clock[:, None] - [12, 9, 12, 15]) / 24), 0, None)
    cloud = random.beta(2, 1.2, 8760) * (1 - 0.4 * np.cos(2 * np.pi * day / 365))
    share = np.column_stack([occupied * 0.8, np.where(clock % 2, 0.9, 0.2) * occupied])
    return Conditions(
        hours=np.ones(8760),
        oat_f=oat,
        oawb_f=oat - 0.35 * (oat - dewpoint),
        oa_dewpoint_f=dewpoint,
        humidity_ratio=0.0038 * np.exp(0.0365 * (dewpoint - 32)),
        pressure_psia=14.5,
        fan_on=occupied,
        occupied=occupied,
        glass_sun_btuh_ft2=60 * cloud[:, None] * arc * [0.4, 1, 1, 1],
        roof_sun_btuh_ft2=200 * cloud * arc[:, 2],
        people_frac=share,
        lights_frac=share,
        equipment_frac=share,
        people_gain_frac=share,
        lights_gain_frac=share,
        equipment_gain_frac=share,
        group_occupied=np.column_stack([occupied, occupied]),
        infiltration_frac=1 - 0.5 * occupied,
        month=np.repeat(np.repeat(np.arange(1, 13), MONTH_DAYS), 24),
        day=np.repeat(np.concatenate([np.arange(1, n + 1) for n in MONTH_DAYS]), 24),
        hour_start=clock,
        hour_of_year=hour,
        rate_period=((clock >= 12) & (clock < 19) & (day % 7 < 5)).astype(int),
        bin_low_f=bin_low_f(oat, 5),
    )


def record(width_f=5, by_month=False, by_rate_period=False):
    return types.SimpleNamespace(width_f=width_f, by_month=by_month, by_rate_period=by_rate_period)


FACADE_AREA = np.array([1, 1, 1, 1, 0.3, 0.3, 0.3, 0.0])


def energies(rows, sat_f, dsp_inwc, load=1.0, minimum=0.3):
    """Cost of fan, cooling and reheat of eight zones [USD/h]: clips, max(0, .) and a cube.

    A stand-in with the kinks of the real model, so that rows can be judged without it.
    """
    oat = rows.oat_f[:, None]
    people = rows.people_frac[:, [0, 1, 0, 1, 0, 1, 0, 0]]
    sun = rows.glass_sun_btuh_ft2[:, [0, 1, 2, 3, 0, 1, 2, 3]]
    gains = load * (1500 + 9000 * people) + 120 * sun * FACADE_AREA
    ua = np.array([150, 150, 150, 150, 90, 90, 90, 20.0])
    vmax = 900.0
    sat = np.broadcast_to(np.asarray(sat_f, float), len(oat))[:, None]
    dsp = np.broadcast_to(np.asarray(dsp_inwc, float), len(oat))
    flow = np.clip((gains + ua * (oat - 75)) / (1.08 * (75 - sat)), minimum * vmax, vmax)
    reheat = np.maximum(1.08 * flow * (70 - sat) - gains - ua * (oat - 70), 0).sum(axis=1)
    total = flow.sum(axis=1)
    fan = total * (dsp + 2.5 * (total / (8 * vmax)) ** 2) / (6356 * 0.6) * 0.7457
    outdoor = np.clip((74 - sat[:, 0]) / np.maximum(74 - rows.oat_f, 1e-6), 0.2, 1)
    outdoor = np.where(rows.oat_f < 70, outdoor, 0.2)
    mixed = outdoor * rows.oat_f + (1 - outdoor) * 74
    moist = 4840 * total * outdoor * np.maximum(rows.humidity_ratio - 0.009, 0)
    cooling = (1.08 * total * np.maximum(mixed - sat[:, 0], 0) + moist) / 12000
    plant = np.where(cooling > 0, 0.3 + 0.5 * cooling + 0.01 * cooling**2, 0)
    on = rows.fan_on
    return np.column_stack([0.106 * fan * on, 0.106 * plant * on, 0.98e-5 / 0.8 * reheat * on])


def references(rows):
    line = np.interp(rows.oat_f, [55, 70], [65, 55])
    cases = [(s, 1.5) for s in (53, 56, 59, 62, 65, 67)] + [(53, 0.5), (60, 0.5), (67, 0.5)]
    cases += [(line, 1.5), (line, 0.5)]
    columns = [energies(rows, s, d) for s, d in cases]
    columns += [energies(rows, 59, 1.0, load=1.2), energies(rows, 59, 1.0, minimum=0.15)]
    return np.hstack(columns)


@pytest.fixture(scope="module", params=[False, True], ids=["weekdays", "always_on"])
def chosen(request):
    rows = make_year(always_on=request.param)
    group_id, groups = bins.group_keys(rows, record())
    match = references(rows)
    selection = bins.representative_rows(rows, group_id, match, period=rows.rate_period)
    return types.SimpleNamespace(rows=rows, group_id=group_id, groups=groups, match=match, selection=selection)


# Edges and groups ---------------------------------------------------------------------


@pytest.mark.invariant
@pytest.mark.parametrize("width", [2, 5, 10])
def test_values_on_an_edge_lie_in_the_bin_that_begins_there(width):
    # Tenths of degC turned to degF: degF = (18 n + 3200) / 100, so bins follow from integers.
    n = np.arange(-300, 401)
    rows = make_year().take(np.arange(len(n)))
    rows = dataclasses.replace(rows, oat_f=n * 0.1 * 9 / 5 + 32)
    group_id, groups = bins.group_keys(rows, record(width))
    exact = (18 * n + 3200) // (100 * width) * width
    assert (groups["bin_low_f"].to_numpy()[group_id] == exact).all()
    table = bins.bin_table(rows, width_f=width)
    counts = pd.Series(exact).value_counts()
    assert table.set_index("bin_low_f")["hours"].to_dict() == counts.to_dict()


@pytest.mark.invariant
@settings(max_examples=40, deadline=None)
@given(
    seed=st.integers(0, 10_000),
    size=st.integers(1, 300),
    width=st.sampled_from([2, 5, 10]),
    by_month=st.booleans(),
    by_rate_period=st.booleans(),
)
def test_hours_are_conserved(seed, size, width, by_month, by_rate_period):
    year = make_year(3)
    index = np.sort(np.random.default_rng(seed).choice(8760, size, replace=False))
    rows = year.take(index)
    group_id, groups = bins.group_keys(rows, record(width, by_month, by_rate_period))
    assert groups["hours"].sum() == size and (groups["rows"] > 0).all()
    keys = groups.drop(columns=["rows", "hours"])
    assert not keys.duplicated().any()
    pd.testing.assert_frame_equal(keys, keys.sort_values(list(keys.columns)))
    assert (keys["bin_low_f"].to_numpy()[group_id] <= rows.oat_f).all()
    assert (keys["bin_low_f"].to_numpy()[group_id] + width > rows.oat_f).all()

    assert bins.mean_rows(rows, group_id).hours.sum() == size
    table = bins.bin_table(rows, width_f=width)
    assert table["hours"].sum() == size
    parts = table["hours_occupied"] + table["hours_unoccupied_running"] + table["hours_off"]
    assert (parts == table["hours"]).all()
    # Edges are contiguous: empty bins inside the range are kept.
    assert (np.diff(table["bin_low_f"]) == width).all()
    assert (table["bin_high_f"] - table["bin_low_f"] == width).all()

    match = energies(rows, 58, 1.0)
    selection = bins.representative_rows(rows, group_id, match, max_rows=size // 2 + 1)
    assert selection.weights.sum() == pytest.approx(size, rel=1e-12)
    assert not selection.fell_back, selection.method
    assert (selection.weights > 0).all() and len(set(selection.index)) == selection.rows
    assert selection.rows <= selection.bound
    assert selection.exact_error <= bins.EXACT_TOLERANCE


# Mean rows ----------------------------------------------------------------------------


@pytest.mark.invariant
def test_mean_rows_by_hand():
    rows = make_year().take(np.array([10, 11, 34, 4000]))
    rows = dataclasses.replace(rows, hours=np.array([1.0, 3.0, 2.0, 5.0]), oat_f=np.array([40.0, 44.0, 41.0, 70.0]))
    mean = bins.mean_rows(rows, np.array([0, 0, 1, 2]))
    assert mean.hours.tolist() == [4, 2, 5]
    assert mean.oat_f.tolist() == [43, 41, 70]
    assert mean.people_frac.shape == (3, 2)
    expected = (rows.people_frac[0] + 3 * rows.people_frac[1]) / 4
    assert mean.people_frac[0] == pytest.approx(expected, rel=1e-15)
    assert mean.hour_of_year.tolist() == [-1, -1, -1] and mean.day.tolist() == [-1, -1, -1]
    assert mean.month.tolist() == [1, 1, rows.month[3]]
    assert mean.pressure_psia == rows.pressure_psia


@pytest.mark.invariant
def test_mean_rows_lose_the_kinks_and_keep_the_means(chosen):
    mean = bins.mean_rows(chosen.rows, chosen.group_id)
    for name in ("oat_f", "humidity_ratio", "oawb_f"):
        year = getattr(chosen.rows, name).sum()
        assert mean.hours @ getattr(mean, name) == pytest.approx(year, rel=1e-12)
    assert set(mean.rate_period) <= {-1, 0, 1}


# Representative rows ------------------------------------------------------------------


@pytest.mark.invariant
def test_rows_are_few_positive_real_hours_that_keep_each_group(chosen):
    s = chosen.selection
    assert s.method == bins.METHOD_REPRESENTATIVE and not s.fell_back
    assert s.rows == len(s.index) == len(s.weights) <= bins.MAX_ROWS == s.bound
    assert (s.weights > 0).all()
    assert (np.diff(s.index) > 0).all()
    assert (s.group == chosen.group_id[s.index]).all()
    groups = len(chosen.groups)
    for values in (np.ones(8760), chosen.rows.oat_f, chosen.rows.humidity_ratio):
        reached = np.bincount(s.group, s.weights * values[s.index], groups)
        # Sums of some hundred products: 1e-11 leaves room for rounding.
        assert reached == pytest.approx(np.bincount(chosen.group_id, values, groups), rel=1e-11)


@pytest.mark.invariant
def test_match_columns_are_reproduced_by_rate_period(chosen):
    s = chosen.selection
    assert s.residuals.shape == (2, chosen.match.shape[1])
    # The totals are fitted by least squares, not by equality; 0.05 % is a tenth of
    # the accuracy wanted of a candidate's cost.
    assert np.abs(s.residuals.sum(axis=0)).max() < 5e-4
    assert s.worst_error < 5e-4
    on_peak = chosen.rows.rate_period == 1
    chosen_peak = on_peak[s.index]
    reached = s.weights[chosen_peak] @ chosen.match[s.index[chosen_peak]]
    total = chosen.match.sum(axis=0)
    scale = np.maximum(total, 0.05 * total.max())
    residual = (reached - chosen.match[on_peak].sum(axis=0)) / scale
    assert s.residuals[1] == pytest.approx(residual, abs=1e-12)


@pytest.mark.crosscheck
def test_unseen_settings_agree_with_the_hours(chosen):
    """Settings not used for the selection, and those of the classic mean rows beside them.

    Bounds are the accuracy wanted of representative rows: cost within 0.5 %, an end use within
    1 % of the total, a saving within 0.3 points.
    """
    rows, selection = chosen.rows, chosen.selection
    few = rows.take(selection.index).with_hours(selection.weights)
    mean = bins.mean_rows(rows, chosen.group_id)

    def totals(conditions, sat, dsp, **edits):
        oat = conditions.oat_f
        return conditions.hours @ energies(conditions, sat(oat), dsp(oat), **edits)

    line = lambda t: np.interp(t, [60, 70], [63, 55])
    table = lambda t: np.interp(t, [20, 45, 55, 75], [64, 60, 58, 54])
    static = lambda t: np.interp(t, [50, 90], [0.6, 1.5])
    unseen = [(lambda t: 55.0, lambda t: 1.5), (line, lambda t: 1.5), (table, lambda t: 1.0)]
    unseen += [(lambda t: 55.0, static), (line, static), (lambda t: 66.0, lambda t: 0.8)]
    hourly, by_few, by_mean = (np.array([totals(c, *setting) for setting in unseen]) for c in (rows, few, mean))

    def errors(found):
        cost = hourly.sum(axis=1)
        relative = np.abs(found.sum(axis=1) / cost - 1).max()
        end_use = (np.abs(found - hourly).max(axis=1) / cost).max()
        saving = [1 - t.sum(axis=1) / t[0].sum() for t in (found, hourly)]
        return relative, end_use, np.abs(saving[0] - saving[1]).max()

    cost, end_use, saving = errors(by_few)
    assert cost < 0.005 and end_use < 0.01 and saving < 0.003
    assert errors(by_mean)[0] > 3 * cost

    # With rows held, edits of the inputs stay within 1 % in cost.
    for edit in ({"load": 1.2}, {"minimum": 0.15}):
        for setting in unseen:
            wanted = totals(rows, *setting, **edit).sum()
            assert totals(few, *setting, **edit).sum() == pytest.approx(wanted, rel=0.01)


@pytest.mark.invariant
def test_same_input_gives_the_same_rows(chosen):
    again = bins.representative_rows(chosen.rows, chosen.group_id, chosen.match.copy(), period=chosen.rows.rate_period)
    assert (again.index == chosen.selection.index).all()
    assert (again.weights == chosen.selection.weights).all()


@pytest.mark.invariant
@pytest.mark.parametrize(
    "width, by_month, by_rate_period",
    [(2, False, False), (10, False, True), (5, True, False), (5, True, True)],
)
def test_other_groupings_state_and_keep_their_bound(width, by_month, by_rate_period):
    rows = make_year(2)
    group_id, groups = bins.group_keys(rows, record(width, by_month, by_rate_period))
    s = bins.representative_rows(rows, group_id, references(rows), period=rows.rate_period)
    needed = np.minimum(groups["rows"], 3).sum()
    assert s.bound == max(bins.MAX_ROWS, needed + max(bins.RESERVED_ROWS, needed // 3))
    assert s.rows <= s.bound
    assert s.exact_error <= bins.EXACT_TOLERANCE and not s.fell_back


@pytest.mark.invariant
def test_single_hours_and_tiny_groups():
    rows = make_year().take(np.array([0, 100, 2000, 2001, 2002, 5000]))
    group_id = np.array([0, 1, 2, 2, 2, 3])
    s = bins.representative_rows(rows, group_id, energies(rows, 55, 1.5))
    assert s.index.tolist() == [0, 1, 2, 3, 4, 5]
    assert s.weights == pytest.approx(np.ones(6), rel=1e-12)
    assert s.worst_error < 1e-12
    one = rows.take(np.array([3]))
    s = bins.representative_rows(one, np.array([0]), energies(one, 55, 1.5))
    assert s.index.tolist() == [0] and s.weights.tolist() == [1]


@pytest.mark.invariant
def test_identical_hours_and_no_match_columns():
    rows = make_year().take(np.full(500, 17))
    s = bins.representative_rows(rows, np.zeros(500, int), np.zeros((500, 2)), max_rows=20)
    assert s.weights.sum() == pytest.approx(500, rel=1e-12) and s.worst_error == 0
    s = bins.representative_rows(rows, np.zeros(500, int), np.zeros((500, 0)), max_rows=20)
    assert s.weights.sum() == pytest.approx(500, rel=1e-12) and s.worst_error == 0


@pytest.mark.invariant
def test_hours_with_unequal_weights_keep_their_totals():
    rows = make_year(4)
    hours = np.random.default_rng(0).uniform(0.5, 1.5, 8760)
    rows = dataclasses.replace(rows, hours=hours)
    group_id, groups = bins.group_keys(rows, record(10))
    s = bins.representative_rows(rows, group_id, references(rows))
    assert np.bincount(s.group, s.weights) == pytest.approx(groups["hours"].to_numpy(), rel=1e-12)
    assert s.worst_error < 1e-3  # least squares, as above


# Ties --------------------------------------------------------------------------------


@pytest.mark.invariant
def test_what_is_equal_but_for_rounding_is_equal():
    values = np.array([0.1 + 0.2, 0.3, -0.3, 0.0, np.inf, 1.23456789e-12, 1.23456001e-12, 98765.4321])
    digits = directions.digits(values)
    assert digits[0] == digits[1] == -digits[2] and digits[3] == 0.0 and digits[4] == np.inf
    assert digits[5] == digits[6] == pytest.approx(1.2346e-12, rel=1e-12) and digits[7] == pytest.approx(
        98765.0, rel=1e-12
    )
    assert directions.first_least(np.array([3.0, 1.0 + 1e-9, 1.0, 2.0])) == 1
    assert directions.first_least(np.array([3.0, 1.0 + 1e-3, 1.0, np.inf])) == 2
    assert directions.first_least(np.full(4, np.inf)) == 0


@pytest.mark.invariant
@given(st.integers(0, 2**32 - 1))
@settings(max_examples=30, deadline=None)
def test_directions_have_one_sign(seed):
    random = np.random.default_rng(seed)
    some = random.normal(size=(6, 4))
    signs = random.choice([-1.0, 1.0], 4)
    upright = directions.signs_fixed(some)
    np.testing.assert_array_equal(directions.signs_fixed(some * signs), upright)
    np.testing.assert_array_equal(np.abs(upright), np.abs(some))


# Strategies that are not among the match columns ---------------------------------------


def unseen(rows):
    """Match columns, their scale, how settings differ in each hour, and coordinates of like hours."""
    match = references(rows)
    ways = np.stack([energies(rows, s, d) for s in (53, 56, 59, 62, 65, 67) for d in (1.5, 0.5)])
    total = ways.sum() / len(ways)
    variation = (ways - ways.mean(axis=0)).transpose(1, 0, 2).reshape(len(rows.oat_f), -1) / total
    sun = rows.glass_sun_btuh_ft2.sum(axis=1)
    place = np.column_stack([rows.oat_f / 3.0, rows.humidity_ratio / 0.003, 2.0 * sun / sun.std()])
    return match, np.full(match.shape[1], total), variation, place


def likely_of(rows, variation, place):
    return elimination.Likely(
        variation=directions.leading(variation, elimination.LOCAL_DIRECTIONS),
        place=place,
        jump=np.zeros(len(rows.hours)),
        hours=rows.hours,
    )


@pytest.mark.invariant
def test_covariance_of_unseen_strategies_is_one():
    """Symmetric, of no negative variance, and hour by hour what the module's text says."""
    rows = make_year().take(np.arange(0, 8760, 37))
    _, _, variation, place = unseen(rows)
    likely, every = likely_of(rows, variation, place), np.arange(len(rows.oat_f))
    covariance = likely.covariance(every, every)
    values = np.linalg.eigvalsh(covariance)
    np.testing.assert_allclose(covariance, covariance.T, rtol=1e-12, atol=1e-12 * values[-1])
    assert values[0] > -1e-12 * values[-1]
    # 24 directions of 36 columns hold all variation but rounding. The distance of an hour to itself is
    # a difference of squares: 1e-6 of it is noise of 1e-12 under a root.
    for i, j in ((3, 50), (120, 121), (200, 7), (60, 60)):
        by_hand = variation[i] @ variation[j] * np.exp(-np.sqrt(((place[i] - place[j]) ** 2).sum()))
        assert covariance[i, j] == pytest.approx(by_hand, rel=1e-5, abs=1e-9 * values[-1])


@pytest.mark.invariant
def test_form_is_the_expected_squared_error_of_weights():
    rows = make_year().take(np.arange(0, 8760, 23))
    rows = dataclasses.replace(rows, hours=np.random.default_rng(3).uniform(0.5, 2.0, len(rows.oat_f)))
    _, _, variation, place = unseen(rows)
    likely, every = likely_of(rows, variation, place), np.arange(len(rows.oat_f))
    index = every[::7]
    weights = np.random.default_rng(4).uniform(0.0, 20.0, len(index))
    miss = -rows.hours
    miss[index] += weights
    bend, aim = likely.form(index, every)
    covariance = elimination.LOCAL_WEIGHT * likely.covariance(every, every)
    constant = rows.hours @ covariance @ rows.hours
    assert weights @ bend @ weights - 2.0 * weights @ aim + constant == pytest.approx(
        miss @ covariance @ miss, rel=1e-9
    )


@pytest.mark.invariant
@pytest.mark.parametrize("always_on", [False, pytest.param(True, marks=pytest.mark.slow)])
def test_rows_expect_less_error_of_unseen_strategies_if_told_how_settings_differ(always_on):
    rows = make_year(5, always_on=always_on)
    group_id, _ = bins.group_keys(rows, record())
    match, scale, variation, place = unseen(rows)
    told = bins.representative_rows(
        rows, group_id, match, scale=scale, period=rows.rate_period, variation=variation, place=place
    )
    not_told = bins.representative_rows(rows, group_id, match, scale=scale, period=rows.rate_period)
    misses = np.tile(-rows.hours, (2, 1))
    for miss, selection in zip(misses, (told, not_told)):
        miss[selection.index] += selection.weights
    # The whole matrix is symmetric and would fill 600 MB.
    likely, blocks, expected = likely_of(rows, variation, place), np.split(np.arange(8760), 8), np.zeros(2)
    for k, first in enumerate(blocks):
        for second in blocks[k:]:
            part = np.einsum("sh,sh->s", misses[:, first] @ likely.covariance(first, second), misses[:, second])
            expected += part if first is second else 2.0 * part
    # 0.56 to 0.62 on seven other years; the totals and the evenness of weights have their say as well.
    assert expected[0] < 0.75 * expected[1]
    assert told.rows == not_told.rows == bins.MAX_ROWS and told.exact_error <= bins.EXACT_TOLERANCE
    assert told.worst_error < 1e-3


@pytest.mark.invariant
def test_hours_that_jump_get_more_and_smaller_rows():
    rows = make_year(6, always_on=True)
    group_id, _ = bins.group_keys(rows, record())
    match, scale, variation, place = unseen(rows)
    known = {"scale": scale, "period": rows.rate_period, "variation": variation, "place": place}
    zone = (rows.oat_f >= 55.0) & (rows.oat_f < 65.0)
    even = bins.representative_rows(rows, group_id, match, **known)
    # As if the whole mean cost of an hour came or went at once.
    jumpy = bins.representative_rows(rows, group_id, match, **known, jump=np.where(zone, 1.0 / 8760, 0.0))

    def squares(selection):
        return float((selection.weights[zone[selection.index]] ** 2).sum())

    assert squares(jumpy) < 0.8 * squares(even) and zone[jumpy.index].sum() > zone[even.index].sum()
    assert jumpy.exact_error <= bins.EXACT_TOLERANCE
    with pytest.raises(ValueError, match="jump"):
        bins.representative_rows(rows, group_id, match, jump=np.ones(5))


@pytest.mark.invariant
def test_failed_algebra_falls_back_and_says_so(monkeypatch, chosen):
    def fail(*_):
        raise np.linalg.LinAlgError("did not converge")

    monkeypatch.setattr(bins.rows, "select", fail)
    s = bins.representative_rows(chosen.rows, chosen.group_id, chosen.match)
    assert s.fell_back and "fallback" in s.method and "did not converge" in s.method
    assert s.exact_error <= bins.EXACT_TOLERANCE and (s.weights > 0).all()
    assert s.rows <= s.bound == np.minimum(chosen.groups["rows"], 3).sum()
    # It does not reproduce the energies, and its residual shows it.
    assert s.worst_error > 10 * chosen.selection.worst_error


@pytest.mark.invariant
def test_a_wrong_answer_is_found_out(monkeypatch, chosen):
    monkeypatch.setattr(bins.rows, "select", lambda *_: (np.array([0]), np.array([8760.0])))
    s = bins.representative_rows(chosen.rows, chosen.group_id, chosen.match)
    assert s.fell_back and "exact columns missed" in s.method
    assert s.exact_error <= bins.EXACT_TOLERANCE


def test_unusable_input_is_refused(chosen):
    rows, group_id, match = chosen.rows, chosen.group_id, chosen.match
    bad = match.copy()
    bad[5, 3] = np.nan
    with pytest.raises(ValueError, match="match: column 3"):
        bins.representative_rows(rows, group_id, bad)
    with pytest.raises(ValueError, match="match: expected"):
        bins.representative_rows(rows, group_id, match[:-1])
    with pytest.raises(ValueError, match="variation: column 3"):
        bins.representative_rows(rows, group_id, match, variation=bad)
    with pytest.raises(ValueError, match="place: expected"):
        bins.representative_rows(rows, group_id, match, variation=match, place=match[1:])
    with pytest.raises(ValueError, match="group 0 has no hours"):
        bins.representative_rows(rows, group_id + 1, match)
    with pytest.raises(ValueError, match="group_id"):
        bins.representative_rows(rows, group_id[:-1], match)
    with pytest.raises(ValueError, match="hours"):
        bins.representative_rows(dataclasses.replace(rows, hours=np.zeros(8760)), group_id, match)


# Tables -------------------------------------------------------------------------------


@pytest.mark.invariant
def test_bin_table_agrees_with_pandas(chosen):
    rows = chosen.rows
    flow = np.where(rows.fan_on > 0, 5.0, np.nan)
    table = bins.bin_table(rows, chosen.selection, means={"flow": flow})
    assert table["hours"].sum() == 8760
    edges = np.arange(table["bin_low_f"].iloc[0], table["bin_high_f"].iloc[-1] + 5, 5)
    cut = pd.cut(pd.Series(rows.oat_f), edges, right=False)
    assert (cut.value_counts(sort=False).to_numpy() == table["hours"]).all()
    wet = pd.Series(rows.oawb_f).groupby(cut, observed=False).mean()
    assert table["mcwb_f"].to_numpy() == pytest.approx(wet.to_numpy(), rel=1e-12, nan_ok=True)
    assert table["hours_occupied"].sum() == rows.occupied.sum()
    assert (table["midpoint_f"] == table["bin_low_f"] + 2.5).all()
    flow = table["flow"].to_numpy()
    assert (np.isnan(flow) == (table["hours_occupied"] == 0)).all()
    assert np.nanmax(flow) == pytest.approx(5, rel=1e-12)
    assert table["rows"].sum() == chosen.selection.rows
    assert table["representative_hours"].str.count(" x ").sum() == chosen.selection.rows


@pytest.mark.invariant
def test_empty_bins_inside_the_range_are_kept():
    rows = make_year().take(np.arange(3))
    rows = dataclasses.replace(rows, oat_f=np.array([31.0, 55.0, 55.0]))
    table = bins.bin_table(rows)
    assert table["bin_low_f"].tolist() == [30, 35, 40, 45, 50, 55]
    assert table["hours"].tolist() == [1, 0, 0, 0, 0, 2]
    assert table["range"].iloc[0] == "30 to <35"
    assert np.isnan(table["mcwb_f"].iloc[1])


@pytest.mark.invariant
def test_row_table_names_each_hour(chosen):
    table = bins.row_table(chosen.rows, chosen.selection)
    assert table["weight_h"].sum() == pytest.approx(8760, rel=1e-12)
    assert (np.diff(table["group"]) >= 0).all()
    line = table.iloc[7]
    h = int(line["index"])
    assert line["hour_of_year"] == h and line["oat_f"] == chosen.rows.oat_f[h]
    month, day, hour = line["when"].split()
    stamp = pd.Timestamp("2021-01-01") + pd.Timedelta(hours=h)
    assert (month, int(day), int(hour[:-1])) == (stamp.strftime("%b"), stamp.day, stamp.hour)


WEATHER = Path(__file__).resolve().parents[1] / "weather"


@pytest.fixture(scope="module")
def greensboro():
    def conditions(whole_f):
        frame = read_weather(WEATHER / "723170TYA.CSV", whole_f=whole_f).frame
        columns = ("oat_f", "oawb_f", "humidity_ratio", "month", "day", "hour_start")
        return dataclasses.replace(make_year(), **{c: frame[c].to_numpy() for c in columns})

    return types.SimpleNamespace(whole=conditions("yes"), raw=conditions("no"))


@pytest.mark.crosscheck
def test_greensboro_bins(greensboro):
    """Hours of 5 degF bins of TMY3 723170 (0, 5, ... 95 degF), counted separately from the
    public-domain file by whole degF and as stored, with integer arithmetic."""
    whole = [5, 12, 48, 137, 168, 276, 335, 484, 636, 712]
    whole += [730, 697, 845, 1008, 1024, 702, 568, 271, 92, 10]
    raw = [5, 12, 48, 166, 185, 230, 335, 610, 649, 575]
    raw += [729, 697, 1049, 1017, 810, 702, 649, 216, 66, 10]
    for conditions, expected in ((greensboro.whole, whole), (greensboro.raw, raw)):
        table = bins.bin_table(conditions)
        assert table["bin_low_f"].tolist() == list(range(0, 100, 5))
        assert table["hours"].tolist() == expected and sum(expected) == 8760
    # Mean coincident wet bulb and humidity ratio of the bins as stored; the figures came from
    # other moist-air routines, good to 0.2 degF, and are printed to 1e-5 lb/lb; 0.4 % is half of
    # that at 30 degF with as much again for the routines.
    table = table.set_index("bin_low_f")
    for low, wet_bulb, humidity in [
        (30, 28.1, 0.00249),
        (50, 46.7, 0.00583),
        (60, 57.0, 0.00906),
        (70, 66.2, 0.01297),
        (80, 70.9, 0.01421),
        (90, 76.2, 0.01651),
    ]:
        assert table.loc[low, "mcwb_f"] == pytest.approx(wet_bulb, abs=0.2)
        assert table.loc[low, "mean_humidity_ratio"] == pytest.approx(humidity, rel=0.004)
