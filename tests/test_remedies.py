"""Remedies of flagged demand resets: what cures, what it saves, what it costs."""

from functools import cache

import pytest
from builders import merged, weather_of

from binestimator.advice.remedies import KINDS, LARGER_TERMINAL, find_remedies
from binestimator.estimate import estimate
from binestimator.inputs import project_from_mapping

# A small unit whose resets ignore two of seven terminals, as one would with settings of a large one.
SMALL = {
    "project": {"name": "Small"},
    "weather": {"file": "723170TYA.CSV"},
    "building": {"floor_area_ft2": 8_000},
    "group": [{"name": "office"}],
    "sat": {"demand": {"ignored_requests": 2}},
    "dsp": {"demand": {"ignored_requests": 2}},
    "remedies": {"setting_usd": 250, "terminal_usd": 3000},
    "bins": {"rows": "mean"},
}


@cache
def results_of(place="greensboro"):
    return estimate(project_from_mapping(SMALL), weather_of(place))


@pytest.mark.crosscheck
def test_fewer_ignored_requests_cure_and_save_what_a_run_of_their_own_says():
    results = results_of()
    assert results["dsp_demand"].equal_service.flagged
    found = {r.kind: r for r in find_remedies(results, ["dsp_demand"])}
    assert set(found) <= set(KINDS)
    remedy = found["ignored_requests"]
    assert remedy.serves and remedy.cost_usd == 250.0 and remedy.zone is None
    assert remedy.saving_usd > 0.0 and remedy.change_usd == pytest.approx(
        remedy.saving_usd - results["dsp_demand"].saving["cost_usd"], rel=1e-9
    )
    again = estimate(results.project.with_overrides(remedy.overrides), results.weather)
    assert not again["dsp_demand"].equal_service.flagged
    # 5 % of the saving: the nights of the run of its own are those of its own duct pressure.
    assert again["dsp_demand"].saving["cost_usd"] == pytest.approx(remedy.saving_usd, rel=0.05)


@pytest.mark.invariant
def test_larger_terminals_keep_their_minimum_and_are_priced_by_the_zone():
    results = results_of()
    remedy = next(r for r in find_remedies(results) if r.kind == "terminal_size")
    name = remedy.zone
    place = [zone.name for zone in results.project.zones].index(name)
    unit = results.runs[remedy.candidate_id].unit
    assert remedy.overrides[f"zone[{name}].max_cfm"] == pytest.approx(
        LARGER_TERMINAL * unit.zones.max_cfm[place], abs=0.5
    )  # whole cfm
    assert remedy.overrides[f"zone[{name}].min_cfm"] == pytest.approx(unit.zones.min_cfm[place], rel=1e-12)
    assert remedy.cost_usd == 3000.0 * results.project.zones[place].multiplier


@pytest.mark.invariant
def test_weight_is_just_enough_to_be_heard_alone():
    remedy = next(r for r in find_remedies(results_of()) if r.kind == "importance")
    assert list(remedy.overrides.values()) == [3.0]  # a request weighs more than the two that are ignored
    assert remedy.zone in remedy.text and remedy.cost_usd == 250.0


@pytest.mark.invariant
def test_a_crowded_room_is_cured_by_weight_alone():
    """One room of its own kind, used when others are not: its request is among those ignored, so that weight cures, and
    so does one ignored request."""
    crowded = merged(
        SMALL,
        {
            "building": {"floor_area_ft2": 48_000, "floors": 4},
            "group": [{"name": "office"}, {"name": "hall", "weekday_hours": [7, 22], "people_ft2": 15}],
            "special": [{"name": "Hall", "group": "hall", "area_ft2": 1200, "index_share": 1.0}],
        },
    )
    results = estimate(project_from_mapping(crowded), weather_of())
    flagged = results["dsp_demand"]
    assert flagged.equal_service.flagged and flagged.service.zone == "Hall"
    found = {r.kind: r for r in find_remedies(results, ["dsp_demand"])}
    assert found["importance"].zone == "Hall" and found["importance"].serves
    assert (
        found["ignored_requests"].serves and "ignore 1 requests instead of 2" in found["ignored_requests"].text
    )  # the gentler of two
    for remedy in found.values():
        assert (remedy.change_usd < 0.0) or not remedy.serves  # serving the hall costs some of the saving


def test_nothing_for_what_needs_no_remedy():
    """No remedy for options that serve, for lines that respond to no zone, and none beyond those asked for."""
    results = results_of()
    flagged = {c.id for c in results.candidates if c.equal_service.flagged}
    ids = {r.candidate_id for r in find_remedies(results)}
    assert ids and ids <= flagged and not ids & {"as_found", "sat_outdoor_air", "dsp_outdoor_air"}
    assert find_remedies(results, []) == ()
