"""Rogue zones: how they are given, what they ask for, when they pin a reset, what options save afterwards."""

from dataclasses import fields, replace
from functools import cache

import numpy as np
import pytest
from books import Book
from builders import PLAIN, merged, project_of, unit_of, weather_of
from hypothesis import given
from hypothesis import strategies as st

from binestimator.advice.advise import advise
from binestimator.advice.rogue import EXCLUSION, REPAIR, driving_zones, find_after_repairs
from binestimator.errors import InputError
from binestimator.estimate import estimate, size_unit
from binestimator.estimate.requests import alarm_hours, request_hours, sent
from binestimator.estimate.rows import Rows
from binestimator.estimate.running import run_parts
from binestimator.hours import build_conditions
from binestimator.inputs.read import project_from_mapping
from binestimator.model.system import zones_of
from binestimator.model.terminals import cooling_flow_cfm
from binestimator.results import AsRun, to_plain
from binestimator.strategies.choose import dsp_setpoint_inwc, setpoints
from binestimator.terminal import comparison
from binestimator.workbook.layout import SERVICE
from binestimator.workbook.write import workbook_bytes

QUICK = {
    "project": {"name": "Quick"},
    "weather": {"file": "723170TYA.CSV"},
    "building": {"floor_area_ft2": 40_000, "floors": 4},
    "group": [{"name": "office"}],
}


def quick(**building):
    return project_from_mapping(merged(QUICK, {"building": building}))


def with_rogue(kind, zone="North", **changes):
    """The plain zones, one of them rogue."""
    zones = [{**each, "rogue": kind, **changes} if each["name"] == zone else each for each in PLAIN["zone"]]
    return project_of(zone=zones)


# ---------------------------------------------------------------- given by number


@pytest.mark.invariant
@given(st.integers(0, 12), st.integers(0, 12), st.integers(0, 12))
def test_zones_by_number_are_as_many_as_given_and_nothing_else_changes(sensor, branch, small):
    """So many zones of each kind; area, zones and gains of the building are those without."""
    plain = quick()
    project = quick(failed_sensor_zones=sensor, starved_branch_zones=branch, undersized_zones=small)
    for kind, number in (("failed_sensor", sensor), ("starved_branch", branch), ("undersized", small)):
        assert sum(z.multiplier for z in project.zones if z.rogue == kind) == number
    total = lambda p, value: sum(z.multiplier * value(z) for z in p.zones)
    for value in (lambda z: 1, lambda z: z.area_ft2, lambda z: z.area_ft2 * z.gain_multiplier, lambda z: z.ua_btuh_f):
        assert total(project, value) == pytest.approx(total(plain, value), rel=1e-12)
    assert sensor + branch + small > 0 or project.zones == plain.zones


@pytest.mark.invariant
def test_a_share_is_a_number_of_all_zones():
    total = sum(z.multiplier for z in quick().zones)
    project = quick(starved_branch_zones=0.1)
    assert sum(z.multiplier for z in project.zones if z.rogue == "starved_branch") == round(0.1 * total)
    one_name = next(z.name for z in project.zones if z.rogue == "starved_branch")
    assert one_name.endswith(", starved branch")


def test_more_rogue_zones_than_there_are_is_an_error():
    with pytest.raises(InputError, match="more rogue zones than the quick description has zones"):
        quick(undersized_zones=5000)


@pytest.mark.invariant
def test_an_undersized_terminal_is_found_small_and_stays_as_given():
    """0.7 of what its load takes where it is sized; a given size is what is there."""
    plain = project_from_mapping(merged(QUICK, {"special": [{"name": "Hall", "group": "office", "area_ft2": 900}]}))
    small = project_from_mapping(
        merged(QUICK, {"special": [{"name": "Hall", "group": "office", "area_ft2": 900, "rogue": "undersized"}]})
    )
    conditions = build_conditions(weather_of(), plain)
    sizes, found = size_unit(plain, conditions), size_unit(small, conditions)
    share = found.zone_max_cfm / sizes.zone_max_cfm
    hall = [z.rogue == "undersized" for z in small.zones]
    assert share == pytest.approx(np.where(hall, 0.7, 1.0), rel=1e-12)
    assert found.design_cfm == sizes.design_cfm
    assert unit_of(with_rogue("undersized")).zones.max_cfm[1] == PLAIN["zone"][1]["max_cfm"]


def test_a_repair_of_an_undersized_terminal_names_its_size():
    zones = [{**z, "rogue": "undersized"} if z["name"] == "North" else z for z in PLAIN["zone"]]
    option = {"id": "repaired", "name": "Repaired", "kind": "repair", "sat": "demand", "dsp": "demand"}
    override = {"zone.North.rogue": "none"}
    with pytest.raises(InputError, match="North is undersized: its terminal stays as small as it is"):
        project_of(zone=zones, candidate=[{**option, "override": override}])
    larger = override | {"zone.*.max_cfm": 3000}
    assert project_of(zone=zones, candidate=[{**option, "override": larger}]).candidate("repaired").kind == "repair"


# ---------------------------------------------------------------- requests, alarms, pinned hours


@pytest.mark.published
def test_requests_at_a_setpoint_are_those_of_the_guideline():
    """Guideline 36 5.6.8: one, two and three requests; between the points of asking and releasing half of one."""
    edges = [np.array([[60.0]]), np.array([[58.0]]), np.array([[63.0]]), np.array([[65.0]])]
    at = lambda sat: sent(np.array([sat]), edges, np.array([False]), below=False)[0, 0]
    assert [at(sat) for sat in (57.0, 59.0, 61.0, 64.0, 66.0)] == [0.0, 0.5, 1.0, 2.0, 3.0]
    assert sent(np.array([50.0]), edges, np.array([True]), below=False)[0, 0] == 3.0
    edges = [np.array([[1.0]]), np.array([[1.2]]), np.array([[0.7]]), np.array([[0.5]])]
    at = lambda dsp: sent(np.array([dsp]), edges, np.array([False]), below=True)[0, 0]
    assert [at(dsp) for dsp in (1.3, 1.1, 0.9, 0.6, 0.4)] == [0.0, 0.5, 1.0, 2.0, 3.0]


@pytest.mark.published
def test_alarm_of_the_guideline():
    """Guideline 36: request-hours above 70 % of run hours, run hours above 40, importance above 0; counted anew at
    400 h."""
    rules = project_of().rogue_zones
    assert (rules.alarm_request_pct, rules.alarm_run_hours, rules.alarm_reset_hours) == (70.0, 40.0, 400.0)
    hours = 1000
    requests = np.zeros((hours, 4))
    requests[:, 0] = 0.70  # not above
    requests[:, 1] = 0.71
    requests[400:460, 2] = 1.0  # counted anew at 400: 60 h, alarm from hour 41 of them while above 70 % since
    requests[:, 3] = 3.0
    found = alarm_hours(requests, rules, np.array([1.0, 1.0, 1.0, 0.0]))
    # Two whole stretches of 400 h and one of 200, each without its first 40 h.
    assert found[0] == 0.0 and found[1] == 2 * 360 + 160 and found[3] == 0.0
    # 60 requests are more than 70 % of up to 85 run hours: hours 41 to 85.
    assert found[2] == 45.0


@pytest.mark.crosscheck
@pytest.mark.parametrize("kind", ["none", "failed_sensor", "starved_branch", "undersized"])
def test_pinned_hours_against_every_hour_without_each_zone(kind):
    """All hours are worked out again without one zone of each line: no hour is lost by looking at near ones only."""
    project = with_rogue(kind, max_cfm=900 if kind == "undersized" else 1400)
    unit = unit_of(project)
    conditions = build_conditions(weather_of(), project)
    few = conditions.take(np.arange(0, len(conditions.oat_f), 3))
    rows = Rows.of(unit, few)
    z, rules = unit.zones, project.rogue_zones
    for id_ in ("sat_demand", "sat_demand_dsp_demand"):
        candidate = project.candidate(id_)
        candidate = replace(
            candidate,
            sat=replace(candidate.sat, ignored_requests=2.0),
            **({} if id_ == "sat_demand" else {"dsp": replace(candidate.dsp, ignored_requests=2.0)}),
        )
        parts = run_parts(unit, candidate, rows)
        found = request_hours(unit, candidate, rows, parts, rules)
        assert set(found.by_one_hours) == ({"sat"} if id_ == "sat_demand" else {"sat", "dsp"})
        for k in range(len(z)):
            weight = z.weight.copy()
            weight[k] -= z.weight[k] / z.multiplier[k]
            other = replace(unit, zones=replace(z, weight=weight))
            without = setpoints(other, candidate, rows.on, rows.loads)
            wanted = np.abs(without.sat_f - parts[0].setpoints.sat_f) > rules.sat_step_f
            assert found.pinned_hours["sat"][k] == pytest.approx(rows.on.hours @ wanted)
        if kind == "failed_sensor":
            # Three requests are more than two that are ignored: without it supply air would be warmer in most hours.
            assert found.pinned_hours["sat"][1] > 0.5 * rows.on.hours.sum()
            assert found.requests["sat"][1] == pytest.approx(3.0 * rows.on.hours.sum())
        assert found.by_one_hours["sat"] >= found.pinned_hours["sat"].max()
        assert found.by_one_hours["sat"] <= found.pinned_hours["sat"].sum() + 1e-9
        if "dsp" in found.by_one_hours:
            # Duct pressure at the same supply air.
            sat = parts[0].state.sat_f
            for k in range(len(z)):
                weight = z.weight.copy()
                weight[k] -= z.weight[k] / z.multiplier[k]
                other = replace(unit, zones=replace(z, weight=weight))
                without = dsp_setpoint_inwc(other, candidate.dsp, rows.on, rows.loads, sat)
                wanted = np.abs(without - parts[0].setpoints.dsp_inwc) > rules.dsp_step_inwc
                assert found.pinned_hours["dsp"][k] == pytest.approx(rows.on.hours @ wanted)


@pytest.mark.invariant
def test_hours_of_an_override_are_not_pinned():
    """An operator's override rules for two fifths of the time: a zone that asks always pins the rest."""
    project = with_rogue("starved_branch")
    unit = unit_of(project)
    rows = Rows.of(unit, build_conditions(weather_of(), project))
    candidate = project.candidate("dsp_demand")
    found = []
    for share in (0.0, 0.4):
        own = replace(candidate, dsp=replace(candidate.dsp, override_frac=share, override_inwc=1.0))
        found.append(request_hours(unit, own, rows, run_parts(unit, own, rows), project.rogue_zones))
    whole, part = (f.pinned_hours["dsp"][1] for f in found)
    assert part == pytest.approx(0.6 * whole, rel=1e-9) and whole > 0.0


@pytest.mark.invariant
def test_a_room_short_of_air_asks_by_the_airflow_it_gets():
    """Guideline 36 5.6.8.1: a room 3 and 5 degF above its setpoint sends two and three requests, also where it is warm
    because the pressure requests that would bring it air are ignored."""
    project = project_of(zone=[{**z, "max_cfm": 1000} if z["name"] == "North" else z for z in PLAIN["zone"]])
    unit = unit_of(project)
    rows = Rows.of(unit, build_conditions(weather_of(), project))
    candidate = project.candidate("sat_demand_dsp_demand")
    candidate = replace(
        candidate,
        sat=replace(candidate.sat, ignored_requests=12.0),
        dsp=replace(candidate.dsp, ignored_requests=12.0, min_inwc=0.3),
    )
    (part,) = run_parts(unit, candidate, rows)
    zones = zones_of(unit, rows.on, rows.loads, part.state)
    over = zones.room_f - rows.loads.cool_f
    for least, most, count in ((3.01, 4.99, 2.0), (5.01, 99.0, 3.0)):
        for k in range(len(unit.zones)):
            warm = (over[:, k] > least) & (over[:, k] < most)
            if not warm.any():
                continue
            at = rows.conditions.take(rows.running[warm])
            some = Rows.of(unit, at)
            own = [replace(part, setpoints=taken(part.setpoints, warm), state=part.state.take(np.flatnonzero(warm)))]
            found = request_hours(unit, candidate, some, own, project.rogue_zones).requests["sat"][k]
            assert found == pytest.approx(count * warm.sum()), (k, count)
    short = zones.flow_cfm < 0.9 * np.minimum(unit.zones.max_cfm, cooling_flow_cfm(unit, rows.loads, part.state.sat_f))
    assert (short & (over > 3.01)).sum() > 20  # there are such rooms


def taken(record, index):
    return replace(record, **{f.name: getattr(record, f.name)[index] for f in fields(record)})


# ---------------------------------------------------------------- as found and afterwards


@cache
def pinned():
    """A starved branch and a failed sensor; options of their own that repair both and leave both out.

    On mean rows, since requests are counted in the hours, and with those options of the default eight that listen.
    """
    zones = [
        {**z, "rogue": {"North": "starved_branch", "Meeting": "failed_sensor"}.get(z["name"], "none")}
        for z in PLAIN["zone"]
    ]
    both = {"sat": {"strategy": "demand", "ignored_requests": 2}, "dsp": {"strategy": "demand", "ignored_requests": 2}}
    return advise(
        estimate(
            project_of(
                project={"default_candidates": False},
                bins={"rows": "mean"},
                zone=zones,
                sat={"demand": {"ignored_requests": 2}},
                dsp={"demand": {"ignored_requests": 2}},
                candidate=[
                    *({"id": id_} for id_ in ("as_found", "sat_demand", "dsp_demand", "sat_demand_dsp_demand")),
                    {
                        "id": "repaired", "name": "Repaired", "kind": "repair", **both,
                        "override": {"zone.North.rogue": "none", "zone.Meeting.rogue": "none"},
                    },
                    {
                        "id": "left_out", "name": "Left out", "kind": "companion", **both,
                        "override": {"zone.North.importance": 0, "zone.Meeting.importance": 0},
                    },
                    {
                        "id": "only_repaired", "name": "Only repaired", "kind": "repair", "sat": "as_found",
                        "dsp": "as_found",
                        "override": {"zone.North.rogue": "none", "zone.Meeting.rogue": "none"},
                    },
                ],
            ),
            weather_of(),
        )
    )  # fmt: skip


@pytest.mark.crosscheck
def test_what_is_saved_afterwards_is_what_an_option_with_the_same_change_saves():
    results = pinned()
    ways = {a.way: a for a in results.advice.after_repairs if a.candidate_id == "sat_demand_dsp_demand"}
    for way, id_ in ((REPAIR, "repaired"), (EXCLUSION, "left_out")):
        after = ways[way]
        assert after.zones == ("North", "Meeting") and after.kinds == ("starved_branch", "failed_sensor")
        assert after.after_usd == pytest.approx(results[id_].saving["cost_usd"], rel=1e-9)
        assert after.serves == (not results[id_].equal_service.flagged)
        assert after.saving_usd == results["sat_demand_dsp_demand"].saving["cost_usd"]
    repair = ways[REPAIR]
    assert repair.repair_usd == pytest.approx(results["only_repaired"].saving["cost_usd"], rel=1e-9, abs=1e-9)
    assert repair.repair_usd + repair.reset_usd == pytest.approx(repair.after_usd, rel=1e-12)
    assert repair.value_usd == pytest.approx(repair.after_usd - repair.saving_usd, rel=1e-12)
    assert ways[EXCLUSION].repair_usd == 0.0  # the baseline goes by no requests


@pytest.mark.invariant
def test_a_part_hears_its_own_kinds_only_and_zones_left_out_are_not_told():
    results = pinned()
    told = {}
    for a in results.advice.after_repairs:
        told.setdefault(a.candidate_id, set()).update(zip(a.zones, a.kinds, strict=True))
    named = {id_: {zone for zone, kind in zones if kind} for id_, zones in told.items()}
    assert named["sat_demand"] == {"Meeting"} and named["dsp_demand"] == {"North"}
    assert not named.get("repaired") and not named.get("left_out") and "as_found" not in told


@pytest.mark.crosscheck
def test_an_undersized_terminal_is_repaired_by_a_larger_one():
    """The same figures as an option with that size; the minimum airflow stays."""
    zones = [{**z, "rogue": "undersized", "max_cfm": 980} if z["name"] == "North" else z for z in PLAIN["zone"]]
    own = {"zone.North.max_cfm": 1400, "zone.North.min_cfm": 0.3 * 980}
    results = estimate(
        project_of(
            project={"default_candidates": False},
            bins={"rows": "mean"},
            zone=zones,
            sat={"demand": {"ignored_requests": 0}},
            dsp={"demand": {"ignored_requests": 0}},
            candidate=[
                {"id": "as_found"},
                {"id": "sat_demand_dsp_demand"},
                {"id": "larger", "name": "Larger", "kind": "repair", "sat": "demand", "dsp": "demand", "override": own},
            ],
        ),
        weather_of(),
    )
    found = [a for a in find_after_repairs(results) if a.candidate_id == "sat_demand_dsp_demand" and a.way == REPAIR]
    assert len(found) == 1 and found[0].kinds == ("undersized",)
    assert found[0].after_usd == pytest.approx(results["larger"].saving["cost_usd"], rel=1e-9)
    driving = [d for d in driving_zones(results, results["sat_demand_dsp_demand"]) if d.zone == "North"]
    assert driving and all(d.kind == "undersized" for d in driving)


@pytest.mark.invariant
def test_hours_in_which_zones_ask_as_run_stand_beside_those_at_rest():
    results = pinned()
    count = len(results.unit.zones)
    asks = {"temperature_request_hours": np.arange(count) + 10.0, "pressure_request_hours": np.arange(count) + 20.0}
    run = AsRun(annual={}, saving={}, service={}, with_room_heat={}, zones=asks, hourly={}, trace={}, trace_days=())
    both = results["sat_demand_dsp_demand"]
    assert all(d.as_run_hours is None for d in driving_zones(results, both))
    found = driving_zones(replace(results, as_run={both.id: run}), both)
    names = list(results.unit.zones.names)
    for d in found:
        assert d.as_run_hours == names.index(d.zone) + (10.0 if d.part == "sat" else 20.0)
    assert driving_zones(replace(results, as_run={}), both)[0].as_run_hours is None


@pytest.mark.invariant
def test_results_file_terminal_and_sheet_tell_the_same():
    results = pinned()
    data = to_plain(results)
    after = data["after_repairs"]
    assert [(a["id"], a["way"], a["after_usd"]) for a in after] == [
        (a.candidate_id, a.way, a.after_usd) for a in results.advice.after_repairs
    ]
    asked = {c["id"]: c["requests"] for c in data["candidates"]}
    assert asked["as_found"] == {} and set(asked["sat_demand"]) == {"sat"} and set(asked["dsp_demand"]) == {"dsp"}
    north = next(z for z in asked["dsp_demand"]["dsp"]["zones"] if z["zone"] == "North")
    running = results.baseline.hourly["running_hours"]
    assert north["rogue"] == "starved_branch" and north["requests"] == pytest.approx(3.0 * running)
    assert asked["dsp_demand"]["dsp"]["pinned_by_one_hours"] >= north["pinned_hours"] > 0.9 * running
    text = comparison(results)
    assert "Pinned    North (starved branch)" in text and "its alarm stands" in text
    sheet = Book(workbook_bytes(results), data_only=True)[SERVICE]
    lines = [[cell for cell in line if cell is not None] for line in sheet.iter_rows(values_only=True)]
    wanted = next(a for a in results.advice.after_repairs if a.candidate_id == "dsp_demand" and a.way == REPAIR)
    name = f"{[c.id for c in results.candidates].index('dsp_demand') + 1} {results['dsp_demand'].name}"
    mine = [line for line in lines if line and line[0] == name and "repaired" in line]
    assert len(mine) == 1
    assert wanted.after_usd == pytest.approx(mine[0][4]) and wanted.reset_usd == pytest.approx(mine[0][7])
