"""Incentives by rules, demand in peak windows, cost by lines, emissions: worked by hand."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from binestimator.hours import clock_calendar, window_hours
from binestimator.inputs.schema import record_type
from binestimator.money.cost import LEVELS, LINES, NO_HARDWARE, build_up, lines_of, quantities_of
from binestimator.money.emissions import emissions_kg
from binestimator.money.incentives import BOUND_BY, incentive
from binestimator.money.peaks import window_demand_kw


def rule(**changes):
    return record_type("incentive")(name="Programme", **changes)


# Rates and limits as one programme had them in 2019: 0.04 USD/kWh, 100 USD/kW, 0.80 USD/therm, half of the cost,
# paybacks of 1.5 to 10 years.
RATES = dict(usd_kwh=0.04, usd_kw=100.0, usd_therm=0.8)
LIMITS = dict(cost_share_frac=0.5, shortest_payback_years=1.5, longest_payback_years=10.0)


@pytest.mark.crosscheck
@pytest.mark.parametrize(
    ("changes", "kwh", "kw", "therm", "cost", "saving", "usd", "bound"),
    [
        # 20,000 x 0.04 + 3 x 100 + 500 x 0.8 = 1,500 of a cost of 10,000
        ({}, 20_000, 3.0, 500, 10_000, 3_000, 1_500.0, "rates for what is saved"),
        # therms spent more and a peak that rises count against it: 800 - 300 - 400
        ({}, 20_000, -3.0, -500, 10_000, 3_000, 100.0, "rates for what is saved"),
        ({}, 20_000, 3.0, 500, 2_000, 1_000, 1_000.0, "share of the cost"),
        ({"cap_usd": 700.0}, 20_000, 3.0, 500, 10_000, 3_000, 700.0, "cap"),
        # bought down to two years: 10,000 - 2 x 4,600 = 800
        ({"buy_down_years": 2.0}, 20_000, 3.0, 500, 10_000, 4_600, 800.0, "buy-down of the payback"),
        # the payback is shorter than two years already: nothing is left to buy
        ({"buy_down_years": 2.0}, 20_000, 3.0, 500, 10_000, 6_000, 0.0, "buy-down of the payback"),
        ({}, 20_000, 3.0, 500, 3_000, 3_000, 0.0, "payback floor: it pays back too soon"),
        ({}, 20_000, 3.0, 500, 40_000, 3_000, 0.0, "payback ceiling: it pays back too late"),
        ({}, 20_000, 3.0, 500, 40_000, -3_000, 0.0, "payback ceiling: it pays back too late"),
        ({}, -20_000, 0.0, 0, 4_000, 1_000, 0.0, "nothing saved that is paid for"),
        ({}, 20_000, 3.0, 500, 0, 3_000, 0.0, "no cost"),
    ],
)
def test_an_incentive_is_the_least_of_its_limits_and_says_which(changes, kwh, kw, therm, cost, saving, usd, bound):
    paid = incentive(rule(**RATES, **LIMITS, **changes), kwh, kw, therm, cost, saving)
    assert paid.usd == pytest.approx(usd)
    assert paid.bound_by == bound


@pytest.mark.invariant
@given(
    st.floats(-1e5, 1e5), st.floats(-50, 50), st.floats(-5e3, 5e3), st.floats(0, 1e5), st.floats(-1e4, 1e5),
    st.floats(0, 1), st.floats(0, 5),
)  # fmt: skip
def test_an_incentive_is_never_above_its_limits(kwh, kw, therm, cost, saving, share, years):
    one = rule(**RATES, cost_share_frac=share, cap_usd=5_000.0, buy_down_years=years)
    paid = incentive(one, kwh, kw, therm, cost, saving)
    assert 0.0 <= paid.usd <= min(share * cost, 5_000.0) + 1e-9
    assert 0 <= paid.bound < len(BOUND_BY)
    if paid.usd > 0.0 and saving > 0.0:
        assert (cost - paid.usd) / saving >= years - 1e-9
    rows = incentive(one, np.full(3, kwh), kw, therm, np.full(3, cost), saving)
    assert rows.usd == pytest.approx([float(paid.usd)] * 3)


@pytest.mark.crosscheck
def test_demand_of_a_window_by_each_rule():
    """Two days of four hours; the window is the last three hours of each."""
    kw = np.array([99.0, 10.0, 12.0, 14.0, 99.0, 20.0, 40.0, 30.0])
    inside = np.array([False, True, True, True, False, True, True, True])
    day = np.repeat([0, 1], 4)
    assert window_demand_kw(kw, inside, day, "mean") == pytest.approx(126 / 6)
    assert window_demand_kw(kw, inside, day, "max_hour") == 40.0
    assert window_demand_kw(kw, inside, day, "mean_of_top", 2) == 35.0
    assert window_demand_kw(kw, inside, day, "mean_of_top", 100) == pytest.approx(126 / 6)
    assert window_demand_kw(kw, inside, day, "mean_of_daily_max") == 27.0
    assert window_demand_kw(kw, np.zeros(8, dtype=bool), day, "mean") == 0.0
    both = window_demand_kw(np.stack([kw, 2 * kw], axis=1), inside, day, "mean_of_daily_max")
    assert both == pytest.approx([27.0, 54.0])
    with pytest.raises(ValueError, match="averaging"):
        window_demand_kw(kw, inside, day, "median")


@pytest.mark.crosscheck
def test_hours_of_a_window_are_those_of_its_months_days_and_clock():
    """2018 began on a Monday: July has 22 weekdays, one of them the 4th, a holiday, and 9 days of weekend."""
    calendar = record_type("calendar")(first_weekday="Monday", holidays=("07-04",), daylight_saving=False)
    clock = clock_calendar(calendar)
    count = lambda days, hours: int(window_hours(clock, calendar, ("jul",), days, hours).sum())
    assert count(("weekday",), (14.0, 18.0)) == 21 * 4
    assert count(("weekend",), (14.0, 18.0)) == 9 * 4
    assert count(("holiday",), (0.0, 24.0)) == 24
    assert count(("weekday", "weekend", "holiday"), (0.0, 24.0)) == 31 * 24
    # past midnight: belongs to the day on which it starts
    night = window_hours(clock, calendar, ("jul",), ("holiday",), (22.0, 6.0))
    first = (31 + 28 + 31 + 30 + 31 + 30 + 3) * 24
    assert list(np.flatnonzero(night)) == list(range(first + 22, first + 30))


@pytest.mark.crosscheck
def test_a_window_by_the_clock_moves_with_daylight_saving():
    calendar = record_type("calendar")(first_weekday="Monday", holidays=(), daylight_saving=True)
    inside = window_hours(clock_calendar(calendar), calendar, ("jul",), ("weekday",), (14.0, 15.0))
    assert set(np.flatnonzero(inside) % 24) == {13}


class _Options:
    """As much of a candidate as the lines of a cost look at."""

    def __init__(self, sat, dsp, overrides=()):
        self.sat = record_type("sat")(strategy=sat)
        self.dsp = record_type("dsp")(strategy=dsp)
        self.overrides = dict(overrides)


BASELINE = _Options("as_found", "as_found")


def keys(option):
    return [line.key for line in lines_of(option, BASELINE)]


@pytest.mark.invariant
def test_lines_follow_from_what_the_strategies_need():
    assert keys(BASELINE) == []
    assert keys(_Options("outdoor_air", "as_found")) == ["sat_table", "test", "training"]
    assert keys(_Options("as_found", "airflow")) == ["dsp_table", "airflow_station", "test", "training"]
    both = keys(_Options("demand", "demand"))
    assert both.count("zone_requests") == 1 and {"sat_demand", "dsp_demand", "rogue_zones"} <= set(both)
    assert keys(_Options("as_found", "as_found", {"economizer.stuck_frac": None})) == ["test", "training"]
    assert {line.key for line in LINES} == set(
        keys(_Options("demand", "demand")) + keys(_Options("outdoor_air", "airflow"))
    )


@pytest.mark.crosscheck
def test_a_build_up_worked_by_hand():
    """Duct pressure by demand in 40 zones, expected: (10 + 40 x 0.35 + 4 x 1.5 + 6 + 3) h x 120 = 39 x 120 = 4,680,
    hardware 1,000, 10 % contingency: 6,248 USD."""
    record = record_type("cost")()
    option = _Options("as_found", "demand")
    marks = dict.fromkeys(type(record).__slots__, "default") | {"hardware_usd": "estimator's"}
    marks["dsp_demand_h"] = "estimator's"
    made = build_up(record, lines_of(option, BASELINE), quantities_of(record, 40.0, 1.0, False), 1_000.0, marks)
    assert made.hours["expected"] == pytest.approx(39.0)
    assert made.total_usd["expected"] == pytest.approx((4_680 + 1_000) * 1.1)
    # low: (6 + 10 + 2 x 1 + 4 + 2) h x 90; high: (16 + 20 + 6 x 2 + 8 + 4) h x 160
    assert made.total_usd["low"] == pytest.approx((24 * 90 + 1_000) * 1.05)
    assert made.total_usd["high"] == pytest.approx((60 * 160 + 1_000) * 1.2)
    assert {line.key: line.mark for line in made.lines}["dsp_demand"] == "estimator's"
    assert {line.key: line.mark for line in made.lines}["test"] == "default"
    assert made.lacks == "" and NO_HARDWARE


@pytest.mark.invariant
def test_low_is_not_above_expected_nor_expected_above_high():
    record = record_type("cost")()
    for sat, dsp in (("demand", "demand"), ("outdoor_air", "airflow"), ("cost_optimal", "as_found")):
        marks = dict.fromkeys([*type(record).__slots__, "hardware_usd"], "default")
        made = build_up(
            record, lines_of(_Options(sat, dsp), BASELINE), quantities_of(record, 25.0, 3.0, False), 0.0, marks
        )
        low, expected, high = (made.total_usd[level] for level in LEVELS)
        assert 0.0 < low <= expected <= high


@pytest.mark.invariant
def test_zones_that_are_marked_as_rogue_are_visited_in_any_case():
    record = record_type("cost")()
    assert quantities_of(record, 40.0, 9.0, False)["rogue_zones"] == dict.fromkeys(LEVELS, 9.0)
    assert quantities_of(record, 40.0, 0.0, True)["stations"] == dict.fromkeys(LEVELS, 0.0)


@pytest.mark.crosscheck
def test_emissions_by_factors():
    """1,000 kWh x 0.3392 + 100 therm x 5.306 = 339.2 + 530.6 kg; bought heat without a factor: none."""
    amounts = {
        "electricity_kwh": 1_000.0, "fuel_therm": 100.0, "purchased_cooling_kbtu": 0.0, "purchased_heating_kbtu": 0.0,
    }  # fmt: skip
    assert emissions_kg(amounts, record_type("emissions")()) == pytest.approx(869.8)
    bought = {**amounts, "purchased_heating_kbtu": 5.0}
    assert emissions_kg(bought, record_type("emissions")()) is None
    assert emissions_kg(bought, record_type("emissions")(heat_kg_kbtu=0.1)) == pytest.approx(870.3)
    assert not math.isnan(emissions_kg(amounts, record_type("emissions")()))
