"""Benchmarks: figures by hand, ranges with sources, and what is said outside."""

import dataclasses

import pytest
from builders import project_of, unit_of, weather_of

from binestimator.benchmarks import benchmarks, ranges
from binestimator.estimate import estimate


def annual(**figures):
    return {"electricity_kwh": 0.0, "fuel_therm": 0.0, "purchased_cooling_kbtu": 0.0, "purchased_heating_kbtu": 0.0,
            "running_hours": 3000.0, "cost_usd": 0.0} | figures  # fmt: skip


@pytest.mark.invariant
def test_figures_by_hand():
    """9,000 cfm, 60 tons and 1,800 cfm outdoor air for 12,500 ft2; 100,000 kWh and 1,000 therms are 441,214 kBtu."""
    unit = unit_of()
    found = {
        b.key: b for b in benchmarks(unit, annual(electricity_kwh=100_000.0, fuel_therm=1_000.0, cost_usd=12_500.0))
    }
    assert found["cfm_ft2"].value == pytest.approx(9000 / 12_500, rel=1e-12)
    assert found["ft2_ton"].value == pytest.approx(12_500 / 60, rel=1e-12)
    assert found["oa_cfm_ft2"].value == pytest.approx(1800 / 12_500, rel=1e-12)
    assert found["usd_ft2"].value == pytest.approx(1.0, rel=1e-12)
    assert found["kbtu_ft2"].value == pytest.approx(
        (341_214.16 + 100_000) / 12_500, rel=1e-6
    )  # 3.4121416 kBtu/kWh is rounded
    # 4 in. w.c.: 1/(6356 x 0.65 x 0.96) hp a cfm and in., through motor and drive
    assert found["fan_w_cfm"].value == pytest.approx(
        4 / (6356 * 0.65 * 0.96) * 745.7 / (0.93 * 0.97), rel=0.02
    )  # losses of the motor at part load
    assert found["electricity_usd_kwh"].value == 0.1063 and "heat_usd_kbtu" not in found
    assert all(b.usual and not b.remark for b in found.values())


@pytest.mark.invariant
def test_outside_says_what_to_look_at():
    unit = unit_of()
    low = {
        b.key: b
        for b in benchmarks(dataclasses.replace(unit, design_cfm=3000.0), annual(electricity_kwh=1.0, cost_usd=1e6))
    }
    assert not low["cfm_ft2"].usual and "little air" in low["cfm_ft2"].remark and "high cost" in low["usd_ft2"].remark
    assert "ft2_ton" not in {
        b.key
        for b in benchmarks(dataclasses.replace(unit, cooling=dataclasses.replace(unit.cooling, type="none")), annual())
    }


def test_every_range_has_a_source():
    for row in ranges():
        assert float(row["low"]) < float(row["high"]) and row["label"] and row["what"]
        assert "common practice" in row["source"]


def test_a_price_out_of_range_and_a_figure_outside_are_told():
    one = {
        "project": {"name": "Prices", "default_candidates": False},
        "candidate": [{"id": "as_found"}],
        "bins": {"rows": "mean"},
    }
    results = estimate(project_of(prices={"electricity_usd_kwh": 4}, **one), weather_of())
    said = [f.text for f in results.findings if f.where == "prices"]
    assert len(said) == 1 and "4 USD/kWh" in said[0] and "usual 0.05 to 0.35" in said[0]
    assert any(check.name.startswith("HVAC energy cost") and check.status == "explain" for check in results.checks)
    calm = estimate(project_of(**one), weather_of())
    assert not [f for f in calm.findings if f.where == "prices"]
