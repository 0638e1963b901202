"""Flat prices and simple payback."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from binestimator.errors import InputError
from binestimator.inputs.schema import record_type
from binestimator.money import annual_cost_by_source_usd, annual_cost_usd, simple_payback_years


def prices(**changes):
    return record_type("prices")(**changes)


def amounts_of(electricity_kwh, fuel_therm, purchased_cooling_kbtu, purchased_heating_kbtu):
    return {
        "electricity_kwh": electricity_kwh,
        "fuel_therm": fuel_therm,
        "purchased_cooling_kbtu": purchased_cooling_kbtu,
        "purchased_heating_kbtu": purchased_heating_kbtu,
    }


amounts = st.floats(-1e7, 1e7)
money = st.floats(0.0, 1e6)


@pytest.mark.published
def test_default_prices_are_the_code_reference_rates():
    # 90.1-2022 C3.3: 0.1063 USD/kWh and 0.98 USD/therm
    assert annual_cost_usd(amounts_of(10_000.0, 0.0, 0.0, 0.0), prices()) == pytest.approx(1063.0)
    assert annual_cost_usd(amounts_of(0.0, 100.0, 0.0, 0.0), prices()) == pytest.approx(98.0)


@pytest.mark.published
def test_published_simple_payback():
    # NIST Handbook 135 (2025), example 7-1: 2000 USD more at first; 1500 against 1300 therm
    # at 1.05 USD/therm, 1200 against 1100 kWh at 0.135 USD/kWh. The payback of 8.95 years,
    # to two decimals, is computed from these figures.
    rates = prices(electricity_usd_kwh=0.135, fuel_usd_therm=1.05)
    costs = [annual_cost_usd(amounts_of(*each, 0.0, 0.0), rates) for each in ((1200.0, 1500.0), (1100.0, 1300.0))]
    saving = costs[0] - costs[1]
    payback = simple_payback_years(2000.0, 0.0, saving)
    assert payback.before_years == pytest.approx(8.95, rel=0, abs=0.005)
    assert payback.after_years == payback.before_years
    assert payback.before_reason == payback.after_reason == ""


@pytest.mark.crosscheck
def test_each_source_has_its_own_price():
    rates = prices(electricity_usd_kwh=0.2, fuel_usd_therm=1.5, cooling_usd_kbtu=0.01, heat_usd_kbtu=0.03)
    parts = annual_cost_by_source_usd(amounts_of(100.0, 10.0, 1000.0, 2000.0), rates)
    assert parts == pytest.approx(
        {"electricity_kwh": 20.0, "fuel_therm": 15.0, "purchased_cooling_kbtu": 10.0, "purchased_heating_kbtu": 60.0}
    )
    assert annual_cost_usd(amounts_of(100.0, 10.0, 1000.0, 2000.0), rates) == pytest.approx(105.0)


@pytest.mark.invariant
@given(st.tuples(amounts, amounts, amounts, amounts), st.tuples(amounts, amounts, amounts, amounts))
def test_cost_is_linear(first, second):
    rates = prices(cooling_usd_kbtu=0.02)
    difference = [a - b for a, b in zip(first, second)]
    apart = annual_cost_usd(amounts_of(*first), rates) - annual_cost_usd(amounts_of(*second), rates)
    # rounding of amounts up to 1e7
    assert annual_cost_usd(amounts_of(*difference), rates) == pytest.approx(apart, rel=1e-9, abs=1e-6)
    rows = [np.array(pair) for pair in zip(first, second)]
    assert annual_cost_usd(amounts_of(*rows), rates) == pytest.approx(
        [annual_cost_usd(amounts_of(*first), rates), annual_cost_usd(amounts_of(*second), rates)]
    )


@pytest.mark.invariant
@given(money, money, st.floats(0.01, 1e6))
def test_incentive_never_lengthens_the_payback(cost, incentive, saving):
    payback = simple_payback_years(cost, incentive, saving)
    assert 0.0 <= payback.after_years <= payback.before_years
    assert payback.before_years * saving == pytest.approx(cost)
    assert payback.after_years * saving == pytest.approx(max(cost - incentive, 0.0))
    assert bool(payback.after_reason) == (payback.after_years == 0.0)


@pytest.mark.invariant
@given(money, money, st.floats(-1e6, 0.0))
def test_no_saving_no_payback(cost, incentive, saving):
    payback = simple_payback_years(cost, incentive, saving)
    assert payback.before_years is None and payback.after_years is None
    assert payback.before_reason.startswith("no payback")
    assert payback.after_reason == payback.before_reason
    assert ("rises" in payback.before_reason) == (saving < 0.0)


@pytest.mark.invariant
def test_nothing_to_pay():
    free = simple_payback_years(0.0, 0.0, 100.0)
    assert (free.before_years, free.after_years) == (0.0, 0.0)
    assert free.before_reason == free.after_reason == "no cost is given"
    covered = simple_payback_years(500.0, 800.0, 100.0)
    assert (covered.before_years, covered.after_years) == (5.0, 0.0)
    assert covered.after_reason == "the incentive covers the cost"
    # a saving too small for a finite number of years is none
    assert simple_payback_years(1e6, 0.0, 5e-324).before_years is None


@pytest.mark.invariant
@pytest.mark.parametrize(
    "arguments, name",
    [
        ((-1.0, 0.0, 5.0), "cost_usd"),
        ((1.0, -2.0, 5.0), "incentive_usd"),
        ((float("nan"), 0.0, 5.0), "cost_usd"),
        ((1.0, 0.0, float("nan")), "saving_usd"),
        ((1.0, 0.0, float("inf")), "saving_usd"),
        ((1.0, float("inf"), 1.0), "incentive_usd"),
    ],
)
def test_refused_values(arguments, name):
    with pytest.raises(InputError, match=f"{name}: .*; got .*; allowed is "):
        simple_payback_years(*arguments)
