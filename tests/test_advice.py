"""Drivers of the answer, value for money, parts of combined options and options that coincide."""

from dataclasses import replace
from functools import cache
from types import SimpleNamespace

import numpy as np
import pytest
from builders import PLAIN, WEATHER, merged, weather_of

from binestimator.advice import estimate_and_advise
from binestimator.advice.advise import driven_id
from binestimator.advice.drivers import assumptions, find_drivers, overrides_of, paths_assumed
from binestimator.advice.value import NO_COSTS, best_value, coincidences, combined_parts
from binestimator.estimate import estimate
from binestimator.inputs.read import project_from_mapping
from binestimator.results import to_plain

COSTED = [
    {"id": "sat_outdoor_air", "cost_usd": 2000.0},
    {"id": "dsp_demand", "cost_usd": 6000.0, "incentive_usd": 1500.0},
    {"id": "dsp_outdoor_air", "cost_usd": 1500.0},
]


def project_with(**changes):
    return project_from_mapping(merged(PLAIN, {"candidate": COSTED, **changes}), source_dir=WEATHER)


@cache
def run(key="plain"):
    changes = {
        "plain": {},
        "combined": {
            "economizer": {"stuck_frac": 0.1},
            "candidate": [
                *COSTED,
                {
                    "id": "all",
                    "name": "Repair, minimums and reset",
                    "kind": "repair",
                    "sat": "demand",
                    "dsp": "demand",
                    "cost_usd": 20000.0,
                    "override": {"economizer.stuck_frac": "none", "group.office.minimum_flow_frac": 0.2},
                },
            ],
        },
        "pinned": {
            "zone": [
                {**zone, "rogue": "both" if zone["name"] == "Core" else "none", "multiplier": 3}
                for zone in PLAIN["zone"]
            ]
        },
    }[key]
    return estimate(project_with(bins={"rows": "mean"}, **changes), weather_of())


def options(*cost_and_saving, given=True, limit=5.0):
    """Results with ranked options of these costs and savings, as far as the steps from cheap to expensive need them."""
    candidate = lambda place, cost: SimpleNamespace(
        cost_usd=cost, incentive_usd=0.0, sat=SimpleNamespace(strategy="demand"), dsp=SimpleNamespace(strategy="fixed")
    )
    found = [
        SimpleNamespace(
            id=f"c{place}",
            rank=place + 1,
            saving={"cost_usd": saving},
            candidate=candidate(place, cost),
            worth=SimpleNamespace(cost_basis="given" if given else "none"),
        )
        for place, (cost, saving) in enumerate(cost_and_saving)
    ]
    base = SimpleNamespace(id="base", rank=9, saving={"cost_usd": 0.0}, candidate=candidate(0, 0.0))
    project = SimpleNamespace(prices=SimpleNamespace(payback_limit_years=limit))
    return SimpleNamespace(candidates=(base, *found), baseline_id="base", project=project)


# --- value for money


@pytest.mark.invariant
def test_the_next_dollar_pays_less_along_the_way_and_the_limit_ends_it():
    # By hand: 1,000 saves 500 (2 yr); 2,000 more saves 400 more (5 yr); 3,000 more saves 300 more (10 yr).
    way = options((1000.0, 500.0), (3000.0, 900.0), (6000.0, 1200.0), (5000.0, 800.0))
    value = best_value(way)
    assert [step.id for step in value.path] == ["c0", "c1", "c2"]
    assert [step.added_payback_years for step in value.path] == [2.0, 5.0, 10.0]
    assert value.best_id == "c1"
    assert best_value(options((1000.0, 500.0), (3000.0, 900.0), (6000.0, 1200.0), limit=4.9)).best_id == "c0"
    assert best_value(options((1000.0, 500.0), (3000.0, 900.0), (6000.0, 1200.0), limit=50.0)).best_id == "c2"


@pytest.mark.invariant
def test_an_option_that_is_dearer_and_saves_less_is_passed_over_and_so_is_one_below_the_hull():
    # c1 lies between c0 and c2 but each of its dollars returns less than those of c2.
    assert [step.id for step in best_value(options((1000.0, 500.0), (2000.0, 550.0), (3000.0, 1000.0))).path] == [
        "c0",
        "c2",
    ]


@pytest.mark.invariant
def test_random_ways_rise_in_cost_saving_and_added_payback():
    rng = np.random.default_rng(3)
    for _ in range(200):
        pairs = [(float(c), float(s)) for c, s in zip(rng.uniform(0, 2e4, 8), rng.uniform(-500, 4000, 8))]
        path = best_value(options(*pairs)).path
        years = [step.added_payback_years for step in path]
        assert years == sorted(years)
        assert all(step.added_saving_usd > 0.0 and step.added_cost_usd >= 0.0 for step in path)
        if any(s > 0 for _, s in pairs):
            assert path[-1].saving_usd == max(s for _, s in pairs)


@pytest.mark.invariant
def test_without_costs_nothing_is_said_of_value_and_flagged_options_have_none():
    assert best_value(options((0.0, 500.0), given=False)).note == NO_COSTS
    way = options((1000.0, 500.0), (1100.0, 5000.0))
    way.candidates[2].rank = None
    assert best_value(way).best_id == "c0"


@pytest.mark.invariant
def test_the_optimum_of_each_row_is_no_best_value():
    way = options((1000.0, 500.0), (1100.0, 5000.0))
    way.candidates[2].candidate.sat.strategy = "cost_optimal"
    value = best_value(way)
    assert value.best_id == "c0" and "limit of control" in value.note


# --- parts of combined options


@pytest.mark.crosscheck
def test_parts_add_up_to_the_saving_and_the_repair_part_is_that_of_the_repair_alone():
    results = run("combined")
    part = next(p for p in combined_parts(results) if p.id == "all")
    assert part.total_usd == pytest.approx(results["all"].saving["cost_usd"], rel=1e-9)
    # The repair alone as a candidate of its own, on the same rows and sizes.
    alone = {
        "id": "repair",
        "name": "Repair",
        "kind": "repair",
        "sat": "as_found",
        "dsp": "as_found",
        "override": {"economizer.stuck_frac": "none"},
    }
    project = project_with(
        project={"default_candidates": False},
        bins={"rows": "mean"},
        economizer={"stuck_frac": 0.1},
        candidate=[{"id": "as_found"}, alone],
    )
    held = estimate(project, weather_of(), replace(results.held, nights=estimate(project, weather_of()).held.nights))
    assert part.repair_usd == pytest.approx(held["repair"].saving["cost_usd"], rel=1e-9)
    assert part.companion_usd != 0.0 and part.reset_usd != 0.0


# --- options that coincide


@pytest.mark.invariant
def test_a_reset_that_a_rogue_zone_pins_coincides_with_what_it_was_and_says_so():
    results = run("pinned")
    found = next(c for c in coincidences(results) if "dsp_demand" in c.ids)
    assert results.baseline_id in found.ids
    assert "is at the highest of its range all year" in found.why
    for ids in (c.ids for c in coincidences(results)):
        costs = [results[i].annual["cost_usd"] for i in ids]
        assert max(costs) - min(costs) <= 1e-5 * max(costs)


@pytest.mark.invariant
def test_options_of_an_honest_project_do_not_coincide():
    assert not any("dsp_demand" in c.ids for c in coincidences(run()))


# --- drivers


@pytest.mark.invariant
def test_assumptions_name_inputs_and_lie_in_their_ranges():
    for line in assumptions():
        assert line.field.role in ("assumption", "building", "equipment", "control", "shared")
        if line.kind == "value":
            assert line.field.low <= line.low < line.high <= line.field.high
        assert line.source


@pytest.mark.crosscheck
def test_a_driver_is_the_saving_of_a_project_with_that_assumption():
    """Against a run of its own with the same rows: the route of with_overrides and a whole estimate."""
    # Of two candidates: what others do has no part in it.
    project = project_with(
        project={"default_candidates": False}, bins={"rows": "mean"}, candidate=[{"id": "as_found"}, COSTED[1]]
    )
    results = estimate(project, weather_of())
    found = {d.assumption.path: d for d in find_drivers(results, "dsp_demand", count=None)}
    for path in ("fan.efficiency_frac", "air_handler.duct_gain_f", "cooling.kw_per_ton", "prices.electricity_usd_kwh"):
        line = next(a for a in assumptions() if a.path == path)
        for end, usd in ((line.low, found[path].saving_low_usd), (line.high, found[path].saving_high_usd)):
            changes = overrides_of(results.project, results.unit, line, end)
            other = estimate(results.project.with_overrides(changes), weather_of(), results.held)
            assert usd == pytest.approx(other["dsp_demand"].saving["cost_usd"], rel=1e-9)


@pytest.mark.invariant
def test_drivers_are_sorted_and_what_is_measured_drives_nothing():
    results = run()
    found = find_drivers(results, "dsp_demand", count=None)
    assert [d.points for d in found] == sorted((d.points for d in found), reverse=True)
    first = found[0].assumption.path
    measured = (
        project_with(status={first: "measured"})
        if "*" not in first
        else project_with(status=dict.fromkeys(paths_assumed(results.project, found[0].assumption), "measured"))
    )
    assert paths_assumed(measured, found[0].assumption) == []
    assert first not in {
        d.assumption.path for d in find_drivers(replace(results, project=measured), "dsp_demand", count=None)
    }


@pytest.mark.invariant
def test_shares_that_were_given_are_not_spread_anew():
    line = next(a for a in assumptions() if a.kind == "spread")
    assert overrides_of(run().project, run().unit, line, line.low) == {}
    zones = [{k: v for k, v in zone.items() if k != "index_share"} for zone in PLAIN["zone"]]
    project = project_with(zone=zones)
    low = overrides_of(project, run().unit, line, line.low)
    assert low and all(
        value < next(z.index_share for z in project.zones if f"[{z.name}]" in path) for path, value in low.items()
    )
    assert min(low.values()) == pytest.approx(line.low, rel=1e-9)


@pytest.mark.invariant
def test_advice_is_in_the_results_file_and_about_an_option_that_can_be_bought():
    results = estimate_and_advise(project_with(bins={"rows": "mean"}), weather_of())
    data = to_plain(results)
    assert data["best_value"] == results.advice.value.best_id
    assert 0 < len(data["drivers"]) <= 5
    assert data["drivers_of"] == driven_id(results)
    assert results[data["drivers_of"]].candidate.sat.strategy != "cost_optimal"
