"""Life-cycle measures: a published example, a general library of finance, and limits that are plain by hand."""

import math

import numpy as np
import numpy_financial
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from binestimator.errors import InputError
from binestimator.inputs.schema import record_type
from binestimator.money.life_cycle import (
    NEVER,
    internal_rate,
    life_cycle,
    life_cycle_cost_usd,
    present_value_factor,
    uniform_present_value_factor,
)


def terms(**changes):
    return record_type("life_cycle")(**{"saving_fade_frac": 0.0, **changes})


def of(cost, saving, incentive=0.0, maintenance=0.0, **changes):
    """Life cycle of one saving of electricity."""
    return life_cycle(cost, incentive, {"electricity_kwh": saving}, maintenance, terms(**changes))


# NIST Handbook 135 (2025), example 7-1, pages 94-95: 20 years, 3 % real, factors UPV* of its tables.
UPV_GAS, UPV_ELECTRICITY = 16.15, 15.48
BASE = {"fuel_therm": 1500 * 1.05, "electricity_kwh": 1200 * 0.135}
ALTERNATIVE = {"fuel_therm": 1300 * 1.05, "electricity_kwh": 1100 * 0.135}
FACTORS = {"fuel_therm": UPV_GAS, "electricity_kwh": UPV_ELECTRICITY}


@pytest.mark.published
def test_handbook_135_example_of_life_cycle_costs():
    """Printed in whole USD: 27,944 for the base case, 24,344 of energy and 26,344 for the alternative."""
    assert life_cycle_cost_usd(0.0, BASE, 0.03, 20, FACTORS) == pytest.approx(27_944, abs=0.5)
    assert life_cycle_cost_usd(0.0, ALTERNATIVE, 0.03, 20, FACTORS) == pytest.approx(24_344, abs=0.5)
    assert life_cycle_cost_usd(2000.0, ALTERNATIVE, 0.03, 20, FACTORS) == pytest.approx(26_344, abs=0.5)


@pytest.mark.published
def test_handbook_135_example_of_net_savings_and_ratio():
    """Net savings 1,600 USD and SIR 1.80 follow from the printed costs; here from yearly flows, with the escalations
    whose UPV* are those of the handbook's tables, printed with two decimals."""

    def escalation(factor):
        low, high = 0.0, 0.1
        for _ in range(60):
            middle = 0.5 * (low + high)
            low, high = (middle, high) if uniform_present_value_factor(0.03, 20, middle) < factor else (low, middle)
        return low

    rises = {
        "electricity_escalation_frac": escalation(UPV_ELECTRICITY),
        "fuel_escalation_frac": escalation(UPV_GAS),
    }
    saving = {key: BASE[key] - ALTERNATIVE[key] for key in BASE}
    found = life_cycle(2000.0, 0.0, saving, 0.0, terms(years=20, discount_frac=0.03, **rises))
    assert found.npv_usd == pytest.approx(27_944 - 26_344, abs=1.0)
    assert found.sir == pytest.approx(1.800, abs=0.0005)
    assert found.airr == pytest.approx(0.0607, abs=0.00005)


@pytest.mark.published
@pytest.mark.parametrize(
    ("years", "uniform", "single"),
    [
        (5, 4.5797, 0.86261),
        (10, 8.5302, 0.74409),
        (15, 11.9379, 0.64186),
        (20, 14.8775, 0.55368),
        (25, 17.4131, 0.47761),
    ],
)
def test_present_value_factors_at_3_percent(years, uniform, single):
    """Textbook factors of a rate of 3 %, four and five decimals."""
    assert uniform_present_value_factor(0.03, years) == pytest.approx(uniform, abs=5e-5)
    assert present_value_factor(0.03, years) == pytest.approx(single, abs=5e-6)


@pytest.mark.invariant
def test_factors_without_discounting_count_years():
    assert uniform_present_value_factor(0.0, 7) == 7.0
    assert uniform_present_value_factor(0.04, 7, 0.04) == pytest.approx(7.0)


@pytest.mark.crosscheck
@given(
    st.floats(100.0, 1e5),
    st.floats(50.0, 5e4),
    st.integers(2, 40),
    st.floats(0.0, 0.2),
    st.floats(0.0, 0.3),
    st.floats(-0.05, 0.1),
)
def test_net_present_value_and_rate_equal_those_of_a_library(cost, saving, years, discount, fade, rise):
    found = of(
        cost, saving, years=years, discount_frac=discount, saving_fade_frac=fade, electricity_escalation_frac=rise
    )
    flows = found.flows_usd
    assert len(flows) == years + 1
    assert found.npv_usd == pytest.approx(numpy_financial.npv(discount, flows), rel=1e-9, abs=1e-6 * cost)
    rate = numpy_financial.irr(flows)
    assume(math.isfinite(rate) and rate > -0.9)
    assert found.irr == pytest.approx(rate, rel=1e-6, abs=1e-7)  # the library takes roots of a polynomial


@pytest.mark.invariant
@given(st.floats(10.0, 1e5), st.floats(-1e4, 5e4), st.integers(1, 40), st.floats(0.0, 0.2))
def test_measures_agree_with_each_other(cost, saving, years, discount):
    found = of(cost, saving, years=years, discount_frac=discount)
    gap = found.npv_usd
    assert found.sir == pytest.approx(found.saved_present_usd / cost)
    if abs(gap) > 1e-6 * cost:
        assert (found.sir > 1.0) == (gap > 0.0)
        assert (gap > 0.0) == (not math.isnan(found.discounted_payback_years))
    if saving > 0.0 and not math.isnan(found.irr):
        at_rate = of(cost, saving, years=years, discount_frac=float(found.irr))
        assert at_rate.npv_usd == pytest.approx(0.0, abs=1e-6 * max(cost, saving * years))
        if abs(gap) > 1e-6 * cost:
            assert (found.airr > discount) == (gap > 0.0) == (found.irr > discount)
    if saving <= 0.0:
        assert math.isnan(found.irr) and math.isnan(found.airr)
        assert found.notes()["discounted_payback_years"] == NEVER


@pytest.mark.invariant
def test_limits_that_are_plain_by_hand():
    """1,000 USD that return 250 a year: 4 years without discounting, 5 at 10 % (250 x 3.7908 = 947.7 after five,
    1,088.8 after six: the sixth); nothing is saved, then never; without a cost no ratio and no rate."""
    assert of(1000.0, 250.0, discount_frac=0.0).discounted_payback_years == 4.0
    assert of(1000.0, 250.0, discount_frac=0.1).discounted_payback_years == 6.0
    assert of(1000.0, 250.0, years=5, discount_frac=0.1).notes() == {"discounted_payback_years": NEVER}
    assert of(1000.0, 1000.0 / 8, years=8, discount_frac=0.0).irr == pytest.approx(0.0, abs=1e-12)
    free = of(0.0, 100.0)
    assert math.isnan(free.sir) and math.isnan(free.airr) and math.isnan(free.irr)
    assert free.npv_usd > 0.0 and free.discounted_payback_years == 0.0
    nothing = of(0.0, 0.0)
    assert nothing.npv_usd == 0.0 and nothing.notes()["discounted_payback_years"] == NEVER
    covered = of(1000.0, 100.0, incentive=5000.0)
    assert covered.outlay_usd == 0.0 and math.isnan(covered.sir)


@pytest.mark.invariant
def test_a_saving_that_fades_and_maintenance_are_in_every_year():
    found = of(0.0, 100.0, years=3, maintenance=10.0, saving_fade_frac=0.2, electricity_escalation_frac=0.1)
    by_hand = [0.0, 100 * 1.1 - 10, 100 * 1.1**2 * 0.8 - 10, 100 * 1.1**3 * 0.8**2 - 10]
    assert found.flows_usd == pytest.approx(by_hand)


@pytest.mark.invariant
def test_flows_that_change_their_sign_twice_have_no_single_rate():
    """-1,000, +2,500, -1,540: worth nothing at 10 % and at 40 %."""
    flows = [-1000.0, 2500.0, -1540.0]
    assert numpy_financial.npv(0.1, flows) == pytest.approx(0.0, abs=1e-9)
    assert numpy_financial.npv(0.4, flows) == pytest.approx(0.0, abs=1e-9)
    assert math.isnan(internal_rate(flows))


@pytest.mark.invariant
def test_arrays_of_draws_give_what_each_gives_alone():
    rng = np.random.default_rng(3)
    cost, saving = rng.uniform(0, 2e4, 200), rng.uniform(-500, 5e3, 200)
    cost[:5] = 0.0
    rows = life_cycle(cost, 0.2 * cost, {"electricity_kwh": saving, "fuel_therm": -0.3 * saving}, 20.0, terms())
    assert rows.flows_usd.shape == (11, 200)
    for k in range(0, 200, 7):
        one = life_cycle(
            cost[k], 0.2 * cost[k], {"electricity_kwh": saving[k], "fuel_therm": -0.3 * saving[k]}, 20.0, terms()
        )
        for name in ("npv_usd", "sir", "airr", "irr", "discounted_payback_years"):
            assert getattr(rows, name)[k] == pytest.approx(float(getattr(one, name)), nan_ok=True)


@pytest.mark.invariant
@pytest.mark.parametrize("bad", [{"cost": -1.0}, {"cost": math.nan}, {"saving": math.inf}, {"maintenance": math.nan}])
def test_amounts_that_cannot_be_used_are_refused(bad):
    with pytest.raises(InputError):
        of(**{"cost": 10.0, "saving": 5.0, **bad})
