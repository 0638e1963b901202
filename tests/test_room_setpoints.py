"""Room setpoints that follow the outdoor temperature: rows, nights, steps, formulas, and a service of another kind."""

from dataclasses import replace
from functools import cache

import numpy as np
import pytest
from builders import PLAIN, conditions_of, merged, project_of, unit_of, weather_of

from binestimator.as_run.audit import runs_of
from binestimator.as_run.settings import Settings
from binestimator.as_run.steps import Year
from binestimator.errors import InputError
from binestimator.estimate import estimate
from binestimator.hours import build_conditions
from binestimator.model.loads import occupied_setpoints_f, zone_loads
from binestimator.results import to_plain
from binestimator.workbook.write import build_workbook

FOLLOW = {
    "rule": "outdoor_air",
    "cooling_points": [[60, 74], [90, 78]],
    "heating_points": [[30, 69], [60, 71]],
}
# One zone has a cooling setpoint of its own; the rooms of the other group stay as they are.
ZONES = [{**zone, "cooling_setpoint_f": 76} if zone["name"] == "North" else zone for zone in PLAIN["zone"]]
GROUPS = [PLAIN["group"][0], {**PLAIN["group"][1], "follows_outdoor_air": False}]


@pytest.mark.invariant
def test_setpoints_are_on_their_lines_but_for_rooms_that_do_not_follow():
    unit = unit_of(project_of(zone=ZONES, group=GROUPS, room_setpoints=FOLLOW))
    cool, heat = occupied_setpoints_f(unit, np.array([50.0, 75.0, 100.0]))
    names = list(unit.zones.names)
    south, north, meeting = (names.index(name) for name in ("South", "North", "Meeting"))
    assert cool[:, south].tolist() == [74.0, 76.0, 78.0]
    assert cool[:, north].tolist() == [76.0] * 3 and cool[:, meeting].tolist() == [75.0] * 3
    assert heat[:, south] == pytest.approx([69.0 + 2.0 * 20 / 30, 71.0, 71.0])
    assert heat[:, north] == pytest.approx(heat[:, south]) and heat[:, meeting].tolist() == [70.0] * 3
    loads = zone_loads(unit, conditions_of([50.0, 75.0, 100.0], occupied=[1.0, 0.0, 1.0]))
    assert loads.cool_f[:, south].tolist() == [74.0, 85.0, 78.0]


def options(**rule):
    return [
        {"id": "as_found", "name": "As found", "sat": "as_found", "dsp": "as_found", "baseline": True},
        {"id": "demand", "name": "Demand", "sat": "demand", "dsp": "demand"},
        {
            "id": "follow", "name": "Setpoints follow", "kind": "companion", "sat": "demand", "dsp": "demand",
            "override": {f"room_setpoints.{key}": value for key, value in rule.items()},
        },
    ]  # fmt: skip


@cache
def results_of(flat):
    rule = {"rule": "outdoor_air"}
    rule |= {key: FOLLOW[key] for key in ("cooling_points", "heating_points")}
    if flat:
        rule |= {"cooling_points": [[60, 75], [70, 75]], "heating_points": [[50, 70]]}
    return estimate(
        project_of(
            project={"default_candidates": False},
            bins={"rows": "mean"},
            group=[PLAIN["group"][0], GROUPS[1]],
            zone=ZONES,
            candidate=options(**rule),
        ),
        weather_of(),
    )


@pytest.mark.crosscheck
def test_a_line_at_the_fixed_setpoints_changes_no_figure():
    """Rows, hours, nights: all as with the fixed ones; still of another service, since the promise is another."""
    results = results_of(True)
    for key, value in results["demand"].annual.items():
        assert results["follow"].annual[key] == pytest.approx(value, rel=1e-9, abs=1e-6), key
        assert results["follow"].hourly[key] == pytest.approx(results["demand"].hourly[key], rel=1e-9, abs=1e-6), key


@pytest.mark.invariant
def test_it_is_of_another_service_with_a_caution_and_never_ranked():
    results = results_of(False)
    follow = results["follow"]
    assert follow.kind == "changed_service" and follow.rank is None and follow.equal_service.flagged
    assert any("room_setpoints.rule" in reason for reason in follow.equal_service.reasons)
    assert results.share_of_bound("follow") is None
    cautions = [f.text for f in results.findings if f.where == "comfort"]
    assert len(cautions) == 1 and cautions[0].endswith("follow.")
    # Warmer rooms in hot weather take less cooling; the baseline's standard finds them too warm.
    assert follow.annual["cooling_kwh"] < results["demand"].annual["cooling_kwh"]
    assert follow.service.unmet_degree_hours_rise > results["demand"].service.unmet_degree_hours_rise
    assert next(c for c in to_plain(results)["candidates"] if c["id"] == "follow")["kind"] == "changed_service"


@pytest.mark.crosscheck
def test_formulas_follow():
    """Every formula gives the engine's value, or the workbook is not written."""
    content, pen = build_workbook(results_of(False))
    assert len(content) > 100_000 and pen is not None


@pytest.mark.crosscheck
def test_steps_follow_the_line():
    """Some warm days: as run a line at the fixed setpoints changes nothing, a warmer one takes less cooling."""
    outcomes = []
    for rule in (
        {},
        {"rule": "outdoor_air", "cooling_points": [[60, 75]], "heating_points": [[60, 70]]},
        {"rule": "outdoor_air", "cooling_points": [[60, 75], [80, 79]], "heating_points": [[60, 70]]},
    ):
        project = project_of(room_setpoints=rule)
        unit = unit_of(project)
        year = build_conditions(weather_of(), project)
        days = replace(year.take(np.arange(24 * 195, 24 * 199)), hour_of_year=np.arange(96))
        (run,) = runs_of(unit, days, zone_loads(unit, days), project, project.candidate("as_found"))[:1]
        settings = replace(Settings.of(project.as_run), chunk_days=2, spin_up_days=1)
        (outcome,) = Year(unit, days, project.schedule, [run], settings).run()
        outcomes.append(outcome.totals)
    fixed, flat, warm = outcomes
    assert flat["cooling_kw"] == pytest.approx(fixed["cooling_kw"], rel=1e-9)
    assert warm["cooling_kw"] < 0.99 * fixed["cooling_kw"]


def test_lines_that_meet_and_supply_air_too_warm_for_them_are_errors():
    with pytest.raises(InputError, match="at 60 degF outdoors not at least 1 degF below"):
        project_of(room_setpoints=merged(FOLLOW, {"heating_points": [[60, 73.5]]}))
    with pytest.raises(InputError, match="colder than room_setpoints.cooling_points"):
        project_of(
            room_setpoints=merged(FOLLOW, {"cooling_points": [[60, 65]], "heating_points": [[60, 60]]}),
            limits={"sat_max_f": 64},
        )
