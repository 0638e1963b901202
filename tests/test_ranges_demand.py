"""Nights, demand charges, tiers and peak windows in draws of ranges, beside the same draws by hand."""

from dataclasses import replace
from functools import cache

import numpy as np
import pytest
from builders import PLAIN, WEATHER, merged, weather_of

from binestimator.end_uses import ELECTRICITY_KEY, END_USES
from binestimator.estimate import estimate
from binestimator.estimate.peaks import Windows
from binestimator.estimate.reports import hourly_energy
from binestimator.estimate.rows import Rows
from binestimator.estimate.running import night_duct, run_parts
from binestimator.estimate.tariff import priced_amounts
from binestimator.hours import build_conditions, clock_calendar
from binestimator.inputs.read import project_from_mapping
from binestimator.model.loads import zone_loads
from binestimator.model.night import run_nights
from binestimator.money.peaks import windows_asked
from binestimator.money.tariffs import Meter
from binestimator.ranges.compared import NIGHT_DRAWS
from binestimator.ranges.draw import base_factors, factors_of, taken
from binestimator.ranges.energies import Model
from binestimator.ranges.find import find_ranges
from binestimator.ranges.lines import drawn_lines
from binestimator.ranges.nights import ChosenNights, Nights, all_nights
from binestimator.ranges.peaks import Peaks, is_asked
from binestimator.ranges.sobol import sobol

SUMMER = ["jun", "jul", "aug", "sep"]
MAPPING = merged(
    PLAIN,
    {
        "bins": {"width_f": 10},
        "project": {"default_candidates": False},
        "candidate": [
            {"id": "found", "name": "As found", "baseline": True, "sat": "as_found", "dsp": "as_found"},
            {"id": "outdoor", "name": "Outdoor", "sat": "outdoor_air", "dsp": "outdoor_air", "cost_usd": 3000.0},
            {"id": "demand", "name": "Demand", "sat": "demand", "dsp": "demand", "cost_usd": 6000.0},
            {"id": "least", "name": "Least cost", "sat": "cost_optimal", "dsp": "demand", "cost_usd": 9000.0},
        ],
        "energy_price": [
            {"name": "Summer peak", "usd": 0.21, "months": SUMMER, "days": ["weekday"], "hours": [13, 19]},
            {"name": "Rest", "usd": 0.09, "tier2_from": 9000.0, "tier2_usd": 0.07},
        ],
        "demand_charge": [
            {"name": "Any time", "usd_kw": 6.0, "ratchet_frac": 0.7, "ratchet_months": SUMMER},
            {"name": "Peak", "usd_kw": 9.0, "months": SUMMER, "days": ["weekday"], "hours": [13, 19]},
        ],
        "tariff": {"name": "Test", "tax_frac": 0.05, "other_weekday_kw": [8.0] * 7 + [20.0] * 11 + [10.0] * 6},
        "peak_window": [
            {"name": "Mean", "hours": [14, 18]},
            {"name": "Largest", "averaging": "max_hour"},
            {"name": "Top", "averaging": "mean_of_top", "top_hours": 10},
            {"name": "Daily", "averaging": "mean_of_daily_max"},
        ],
        "incentive": [{"name": "Peak", "usd_kw": 250.0, "window": "Mean"}],
    },
)


@cache
def run():
    return estimate(project_from_mapping(MAPPING, source_dir=WEATHER), weather_of())


@cache
def model():
    return Model(run(), drawn_lines(run().project, run().unit))


def some_factors(count):
    lines = model().drawn
    points = sobol(count, len(lines), 5)
    return factors_of(lines, {one.key: points[:, k] for k, one in enumerate(lines)})


# --- nights --------------------------------------------------------------------------------------


@pytest.mark.invariant
def test_nights_at_base_values_are_those_of_the_run():
    for id_, each in Nights(model()).changed(base_factors(model().drawn, 3)).items():
        for key, values in each.amounts.items():
            # A draw is a row of an evaluation of many: sums go in another order.
            assert np.abs(values).max() <= 1e-9 * max(run()[id_].annual["electricity_kwh"], 1.0), key


@pytest.mark.crosscheck
@pytest.mark.parametrize(
    "changes",
    [
        {},
        {"air_handler": {"supply_heating": "hold"}, "heating": {"type": "electric"}},
        # Sizes follow the draws; without setback of cooling some rooms heat while others cool.
        {"air_handler": {"design_cfm": None}, "zone": [{"name": "z", "area_ft2": 4000, "glass_south_ft2": 300}]},
    ],
    ids=["reheat", "central", "sized"],
)
def test_chosen_nights_of_draws_side_by_side_are_those_of_each_alone(changes):
    """Rows of many draws with numbers of their own against ordinary units."""
    this = model()
    if changes:
        mapping = merged(MAPPING, changes)
        results = estimate(project_from_mapping(mapping, source_dir=WEATHER), weather_of())
        this = Model(results, drawn_lines(results.project, results.unit))
    points = sobol(4, len(this.drawn), 5)
    factors = factors_of(this.drawn, {one.key: points[:, k] for k, one in enumerate(this.drawn)})
    nights = Nights(this, 5)
    found = nights._found(factors)
    moved = 0.0
    for d, units in enumerate(this.units_alone(factors)):
        for site, draws in units.items():
            unit, hours = draws.alone(0), draws.conditions(nights.hours[site])
            for id_ in this.sites[site]:
                duct = night_duct(unit, this.project.schedule, this.project.candidate(id_).dsp)
                block = run_nights(unit, hours, zone_loads(unit, hours), this.project.schedule, duct, rounds=1)
                for use in END_USES:
                    if use.night:
                        alone = float(getattr(block, use.night) @ nights.chosen.weights)
                        assert found[id_].amounts[use.key][d] == pytest.approx(alone, rel=1e-9, abs=1e-7)
                        base = nights.at_base[id_].amounts[use.key][0]
                        moved = max(moved, abs(alone - base) / max(base, 1.0))
    assert moved > 0.1


@pytest.mark.invariant
@pytest.mark.parametrize("count", [3, 5])
def test_rounding_does_not_choose_nights(count):
    """Machines differ in the last digits of the nights' costs; of two nights as near to the median the same stands for
    the others everywhere."""
    results = run()
    block = results.held.nights[results.baseline_id]
    used = sorted({use.night for use in END_USES if use.night})
    first = ChosenNights.of(results, count)
    rng = np.random.default_rng(11)
    for _ in range(20):
        noisy = {name: getattr(block, name) * (1.0 + 1e-14 * rng.standard_normal(8760)) for name in used}
        nights = {**results.held.nights, results.baseline_id: replace(block, **noisy)}
        again = ChosenNights.of(replace(results, held=replace(results.held, nights=nights)), count)
        assert np.array_equal(again.index, first.index)
        np.testing.assert_allclose(again.weights, first.weights, rtol=1e-11)


@pytest.mark.crosscheck
def test_chosen_nights_say_what_all_nights_do():
    """Five nights of the year against all of them leave less than two fifths of what nights held as in the run would
    leave, in the cost of the baseline. The tolerance is what a sample of nights is worth, not a rounding."""
    factors = some_factors(8)
    chosen, every = Nights(model()).changed(factors), all_nights(model(), factors)
    usd = lambda found, id_: np.sum(list(found[id_].costs_usd.values()), axis=0)
    rms = lambda values: float(np.sqrt(np.mean(values**2)))
    assert rms(usd(every, "found")) > 0.005 * run().baseline.annual["cost_usd"]
    assert rms(usd(every, "found") - usd(chosen, "found")) < 0.4 * rms(usd(every, "found"))


# --- demand --------------------------------------------------------------------------------------


def by_hand(factors, d):
    """Hourly energies of options in a draw, hour by hour with the nights of the run."""
    results, out = run(), {}
    units = model().units_alone(taken(factors, slice(d, d + 1)))[0]
    for site, draws in units.items():
        project = results.runs[model().sites[site][0]].project
        unit, hours = draws.alone(0), draws.conditions(build_conditions(results.weather, project))
        rows = Rows.of(unit, hours)
        for id_ in model().sites[site]:
            if id_ != "least":  # what it searches for is held in the draws
                parts = run_parts(unit, results.project.candidate(id_), rows)
                out[id_] = hourly_energy(unit, rows, parts, results.held.nights[id_])
    return out


def amounts_of(energy):
    return {key: np.array([[values.sum()]]) for key, values in priced_amounts(energy).items()}


@pytest.mark.invariant
def test_demand_at_base_values_is_that_of_the_run():
    results, peaks = run(), Peaks(model())
    demand = peaks.under(base_factors(model().drawn, 2))
    ones = np.ones((2, 3))
    for c in results.candidates:
        amounts = {
            key: np.full((2, 3), results.runs[c.id].hourly[key].sum()) for key in ("electricity_kwh", "fuel_therm")
        }
        charges = demand.charges_usd(c.id, ones, amounts)
        assert charges == pytest.approx(np.full((2, 3), c.charges.year_usd), rel=1e-9)
        for k, window in enumerate(c.worth.windows):
            assert demand.window_kw(c.id, k, ones) == pytest.approx(np.full((2, 3), window.demand_kw), rel=1e-9)
    assert windows_asked(results.project) == (0, 1, 2, 3) and is_asked(results.project)


@pytest.mark.crosscheck
def test_demand_of_draws_is_that_of_all_hours_by_hand():
    """Chosen hours against all hours of the year. Charges are off by less than 1 % where another hour of a month is
    its peak than those chosen, or months change in another proportion than the year (tiers); windows by less than 1 %
    where means go by a part of their hours; largest hours are the same hours and exact to 0.1 %."""
    results, factors = run(), some_factors(4)
    demand = Peaks(model()).under(factors)
    meter, clock = Meter.of(results.project), clock_calendar(results.project.calendar)
    windows = Windows.of(results.project, clock)
    period = build_conditions(results.weather, results.project).rate_period
    moved = []
    for d in range(4):
        for id_, energy in by_hand(factors, d).items():
            priced = priced_amounts(energy)
            wanted = meter.charges(priced, results.unit.prices, period).year_usd
            amounts = {key: np.tile(values, (4, 1)) for key, values in amounts_of(energy).items()}
            found = demand.charges_usd(id_, np.ones((4, 1)), amounts)[d, 0]
            assert found == pytest.approx(wanted, rel=0.01)
            moved.append(abs(wanted / results[id_].charges.year_usd - 1.0))
            for k, kw in enumerate(windows.demand_kw(priced[ELECTRICITY_KEY])):
                assert demand.window_kw(id_, k, np.ones((4, 1)))[d, 0] == pytest.approx(
                    kw, rel=0.01 if k in (0, 3) else 0.001
                )
    assert max(moved) > 0.03


@pytest.mark.crosscheck
def test_demand_goes_with_the_input_of_the_compressor():
    """A chiller that takes a fifth more, run as a project of its own."""
    results = run()
    more = results.project.with_overrides({"cooling.kw_per_ton": 1.2 * results.project.cooling.kw_per_ton})
    changed = estimate(more, results.weather, replace(results.held, nights={}))
    demand = Peaks(model()).under(base_factors(model().drawn))
    for c in results.candidates:
        if c.id == "least":
            continue  # finds other setpoints in the hours of such a plant
        own = changed.runs[c.id].hourly
        amounts = {key: np.array([[own[key].sum()]]) for key in ("electricity_kwh", "fuel_therm")}
        charges = demand.charges_usd(c.id, np.array([[1.2]]), amounts)[0, 0]
        # The peak of a month may be another hour then: 0.1 %. Tiers go by the year's energy: the rest of it.
        assert charges == pytest.approx(changed[c.id].charges.year_usd, rel=0.005)
        for k in (1, 2):
            kw = demand.window_kw(c.id, k, np.array([[1.2]]))[0, 0]
            assert kw == pytest.approx(changed[c.id].worth.windows[k].demand_kw, rel=1e-3)


@pytest.mark.invariant
def test_ranges_hold_what_rests_on_demand():
    found = find_ranges(run(), draws=16)
    for one in found.options:
        c, q = run()[one.id], one.quantities
        assert q["energy_cost_usd"].run == pytest.approx(c.annual["cost_usd"], rel=1e-9)
        if one.id == "found":
            continue
        assert q["peak_saving_kw"].run == pytest.approx(c.worth.windows[0].saving_kw, rel=1e-9)
        assert q["incentive_usd"].run == pytest.approx(c.worth.incentive_usd, rel=1e-9, abs=1e-9)
        assert q["peak_saving_kw"].spread > 0.0
    assert any(one.quantities["incentive_usd"].spread > 0.0 for one in found.options)
    assert "demand charges" not in found.held and "nights" in found.held
    assert any(note.startswith("Demand charges go by the hours of the run") for note in found.notes)


@pytest.mark.invariant
def test_full_ranges_set_chosen_nights_beside_all():
    found = find_ranges(run(), full=True, draws=8)
    assert found.nights.draws == NIGHT_DRAWS and set(found.nights.gap_frac) == {"outdoor", "demand", "least"}
    assert max(found.nights.gap_frac.values()) < 0.2
    # Rows with their nights beside hours with the same: what is left is rows.
    assert max(found.hourly.gap_cost_frac.values()) < 0.01
