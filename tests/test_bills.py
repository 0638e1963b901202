"""Bills beside the model, both baselines, orders of two resets: worked by hand and through an estimate."""

import numpy as np
import pytest
from books import Book
from builders import merged, project_of, weather_of

from binestimator.errors import InputError
from binestimator.estimate import estimate
from binestimator.money.bills import NOT_RECONCILED, cv_rmse, nmbe, reconciled_words
from binestimator.results import to_plain
from binestimator.workbook.write import build_workbook

# Bills are set beside months, which are those of the hours.
FEW = {
    "project": {"name": "Four zones", "default_candidates": False},
    "bins": {"rows": "mean"},
    "candidate": [
        {"id": "as_found"},
        {"id": "sat", "name": "SAT", "sat": "demand", "dsp": "as_found"},
        {"id": "dsp", "name": "DSP", "sat": "as_found", "dsp": "demand"},
        {"id": "both", "name": "Both", "sat": "demand", "dsp": "demand", "cost_usd": 5000},
    ],
}


@pytest.mark.crosscheck
def test_statistics_worked_by_hand():
    """Measured 10, 20, 30, model 9, 22, 27: errors 1, -2, 3; n - 1 = 2, mean 20. NMBE 2 / 40, CV sqrt(14 / 2) / 20."""
    measured, modelled = [10.0, 20.0, 30.0], [9.0, 22.0, 27.0]
    assert nmbe(measured, modelled) == pytest.approx(0.05)
    assert cv_rmse(measured, modelled) == pytest.approx(np.sqrt(7.0) / 20.0)
    assert nmbe(measured, measured) == cv_rmse(measured, measured) == 0.0


@pytest.fixture(scope="module")
def plain():
    return estimate(project_of(**FEW), weather_of("greensboro"))


@pytest.fixture(scope="module")
def same(plain):
    """With bills that are those of the model."""
    return with_bills(plain, 1.0)


def with_bills(plain, factor, **more):
    """The project with bills that are a multiple of the model and 5,000 kWh of other loads."""
    months = plain.baseline.monthly
    other = np.full(12, 5000.0)
    bills = {
        "electricity_kwh": list(factor * (months["electricity_kwh"].to_numpy() + other)),
        "other_electricity_kwh": list(other),
        "electricity_usd": list(0.12 * (months["electricity_kwh"].to_numpy() + other)),
    }
    terms = {"bills": bills, "measures": {"code_baseline": "sat"}}
    return estimate(project_of(**merged(merged(FEW, terms), more)), weather_of("greensboro"))


@pytest.mark.crosscheck
def test_bills_equal_to_the_model_are_reconciled_and_others_are_not(plain, same):
    (electricity,) = same.bills
    assert electricity.nmbe_frac == pytest.approx(0.0, abs=1e-12) and electricity.within
    assert "Reconciled with bills by month" in reconciled_words(same.bills)
    assert any("Reconciled with bills" in f.text for f in same.findings)
    off = with_bills(plain, 1.2)
    # (1.2 - 1) of a mean of 1.2, times 12 / 11
    assert off.bills[0].nmbe_frac == pytest.approx(0.2 / 1.2 * 12 / 11)
    assert not off.bills[0].within and reconciled_words(off.bills).startswith(NOT_RECONCILED)
    assert reconciled_words(plain.bills) == NOT_RECONCILED


@pytest.mark.invariant
def test_bills_below_the_air_handler_and_bills_without_other_loads_say_so(plain):
    small = with_bills(plain, 0.01)
    assert "above the bill" in reconciled_words(small.bills)
    assert next(k for k in small.checks if k.name.startswith("Savings within")).status == "explain"
    lone = with_bills(plain, 1.0, bills={"other_electricity_kwh": None})
    assert "not what else is on their meters" in reconciled_words(lone.bills)


@pytest.mark.invariant
def test_both_baselines_shares_and_orders(plain, same):
    found = same
    code, both = found["sat"], found["both"]
    against = found.saving_against_code("both")
    assert against["cost_usd"] == pytest.approx(both.saving["cost_usd"] - code.saving["cost_usd"])
    assert found.saving_against_code("sat")["cost_usd"] == 0.0 and plain.saving_against_code("sat") is None
    shares = found.saving_shares("both")
    assert shares["fan_kwh"] == pytest.approx(both.saving["fan_kwh"] / found.baseline.annual["fan_kwh"])
    assert shares["bill_cost"] == pytest.approx(both.saving["cost_usd"] / found.bill_usd)
    assert plain.saving_shares("both")["bill_cost"] is None and shares["purchased_cooling_kbtu"] is None
    assert max(share for share in shares.values() if share is not None) <= 1.0
    (pair,) = found.interactions
    assert pair.sat_usd + pair.dsp_after_sat_usd == pytest.approx(pair.both_usd)
    assert pair.dsp_usd + pair.sat_after_dsp_usd == pytest.approx(pair.both_usd)
    data = to_plain(found)
    assert data["code_baseline"] == "sat" and data["bills"][0]["within_guideline_14"] is True
    assert {c["id"]: c["saving_against_code"]["cost_usd"] for c in data["candidates"]}["sat"] == 0.0


@pytest.mark.invariant
def test_the_workbook_says_both_baselines_and_the_bills(same):
    book = Book(build_workbook(same)[0], data_only=True)
    texts = [str(cell.value) for row in book["Measures"].iter_rows() for cell in row if cell.value is not None]
    assert any("Reconciled with bills by month" in text for text in texts)
    assert any(text.startswith("Codes commonly require") for text in texts)
    assert "Energy cost, code" in texts and "then DSP" in texts


@pytest.mark.invariant
def test_a_code_baseline_that_is_no_candidate_is_refused():
    with pytest.raises(InputError, match="measures.code_baseline: no such candidate"):
        project_of(**FEW, measures={"code_baseline": "saat"})
