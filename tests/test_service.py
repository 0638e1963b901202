"""Equal service: who is ranked, who is shown with a reason, and that no option wins by giving less.

The cases were reproduced with an earlier version of the program, in which each of them was ranked first without a
remark.
"""

import dataclasses
import functools
import json
import re
from types import SimpleNamespace

import numpy as np
import pytest
from builders import FILES, WEATHER, merged, project_of, unit_of, weather_of
from hypothesis import strategies as st
from laws import law

from binestimator.errors import InputError
from binestimator.estimate import estimate, oa_at_minimum_cfm
from binestimator.hours import build_conditions
from binestimator.inputs.read import project_from_mapping
from binestimator.model import air_handler as ah
from binestimator.model.loads import zone_loads
from binestimator.model.system import evaluate, zones_of
from binestimator.results import to_plain
from binestimator.service import (
    FAILURES,
    ZONE_DEPTHS,
    ServiceFigures,
    Yardstick,
    failing,
    judge,
    rises,
    rule_texts,
    service_figures,
    shortfalls,
    zone_depths,
)

SIDES = ("north", "east", "south", "west")


def office_zones():
    """24 zones: four along each facade, one of them under the roof, and eight in the core."""
    zones = [
        {
            "name": f"{side} {k + 1}",
            "area_ft2": 900,
            "ua_btuh_f": 165 if k == 3 else 135,
            f"glass_{side}_ft2": 120,
            "infiltration_cfm": 20,
            "roof_ft2": 900 if k == 3 else 0,
            "index_share": 0.4 + 0.024 * (4 * s + k),
        }
        for s, side in enumerate(SIDES)
        for k in range(4)
    ]
    zones += [
        {
            "name": f"core {k + 1}",
            "area_ft2": 1400,
            "gain_multiplier": 0.9 + 0.03 * k,
            "index_share": 0.35 + 0.08 * k,
            "roof_ft2": 1400 if k > 5 else 0,
            "ua_btuh_f": 84 if k > 5 else 0,
        }
        for k in range(8)
    ]
    return zones


OFFICE = {
    "project": {"name": "24 zones", "default_candidates": False},
    "weather": {"file": FILES["greensboro"]},
    "group": [{"name": "office"}],
    "zone": office_zones(),
    "air_handler": {"zone_sizing_factor": 1.2},
    "bins": {"rows": "mean"},  # what is judged comes from the hours; rows are the others' business
}
AS_FOUND = {"id": "as_found"}
HONEST = {"id": "honest", "name": "Demand DSP", "sat": "as_found", "dsp": "demand"}


def gamed(id_, **override):
    """A candidate that saves by an override, called a companion measure by whoever offers it."""
    return {
        "id": id_,
        "name": id_,
        "kind": "companion",
        "sat": "as_found",
        "dsp": "as_found",
        "override": {path.replace("__", "."): value for path, value in override.items()},
    }


SERVICE_GIVEN_UP = [
    gamed("nights_off", schedule__unoccupied_mode="off"),
    gamed("setpoints", group__office__cooling_setpoint_f=78, group__office__heating_setpoint_f=68),
    gamed("less_required", outdoor_air__required_cfm=1000),
    gamed("humid_limit", air_handler__humid_dewpoint_f=70),
]
MORNINGS = [gamed("no_warmup", schedule__warmup_hours=0)]
LESS_AIR = [gamed("oa_1000", outdoor_air__minimum_cfm=1000), gamed("minimums_5", group__office__minimum_flow_frac=0.05)]


def run_of(raw, place="greensboro"):
    """Results of a project, run once for all tests."""
    return _run_of(json.dumps(raw), place)


@functools.cache
def _run_of(raw, place):
    return run_anew(json.loads(raw), place)


def run_anew(raw, place="greensboro"):
    return estimate(
        project_from_mapping(merged(raw, {"weather": {"file": FILES[place]}}), source_dir=WEATHER), weather_of(place)
    )


@functools.cache
def office():
    return run_of(OFFICE | {"candidate": [AS_FOUND, HONEST, *SERVICE_GIVEN_UP, *MORNINGS, *LESS_AIR]})


# --- what used to win -----------------------------------------------------------------------------


@pytest.mark.regression
def test_an_honest_reset_of_eight_percent_is_ranked_first_without_a_flag():
    results = office()
    honest = results["honest"]
    assert results.best.id == "honest" and honest.rank == 1 and not honest.equal_service.flagged
    # 8 % is this office's own figure, to half a point; the saving does not come from giving less outdoor air.
    assert honest.saving["cost_usd"] / results.baseline.annual["cost_usd"] == pytest.approx(0.085, abs=0.012)
    assert honest.saving_at_equal_oa == honest.saving
    assert results.baseline_service.fails == ()


@pytest.mark.invariant
@pytest.mark.parametrize("id_", [c["id"] for c in SERVICE_GIVEN_UP])
def test_a_candidate_that_changes_the_promise_is_shown_and_never_ranked(id_):
    results = office()
    c = results[id_]
    assert c.candidate.kind == "companion" and c.kind == "changed_service"
    assert c.rank is None and c.equal_service.flagged and c.id != results.best.id
    path, value = next(iter(c.candidate.overrides.items()))
    assert (
        f"{path} = {value:g}" in c.equal_service.reasons[0]
        if isinstance(value, int | float)
        else f"{path} = {value}" in c.equal_service.reasons[0]
    )
    plain = next(p for p in to_plain(results)["candidates"] if p["id"] == id_)
    assert plain["kind"] == "changed_service" and plain["rank"] is None and plain["equal_service"] is False


@pytest.mark.invariant
def test_mornings_without_a_warm_up_are_seen():
    """A control and no promise, so it may be a candidate; but rooms are not ready when people come."""
    c = office()["no_warmup"]
    assert (
        c.kind == "companion"
        and c.rank is None
        and c.service.start_miss_f_rise > c.service.limits["start_miss_f_rise"] > 200.0
    )
    assert any(reason.startswith("rooms not ready at the start of occupancy") for reason in c.equal_service.reasons)


@pytest.mark.invariant
def test_wider_setpoints_are_measured_on_the_setpoints_of_the_baseline():
    """78 and 68 degF where 75 and 70 are promised: thousands of degree-hours in every room, none on the candidate's own
    setpoints."""
    c = office()["setpoints"]
    assert c.service.unmet_degree_hours_rise > 5000.0 and c.service.cold_degree_hours_rise > 500.0
    assert c.hourly["unmet_degree_hours"] < 0.01 * c.service.total_unmet_degree_hours_rise


@pytest.mark.invariant
def test_less_outdoor_air_is_seen_at_the_unit_and_in_the_rooms():
    results = office()
    low = results["oa_1000"]
    assert low.kind == "companion" and low.rank is None
    assert any(reason.startswith("less outdoor air at the unit") for reason in low.equal_service.reasons)
    assert any(reason.startswith("less outdoor air in ") for reason in low.equal_service.reasons)
    # With as much outdoor air as the baseline gives nothing is left of the saving.
    assert low.saving["cost_usd"] > 0.03 * results.baseline.annual["cost_usd"]
    assert abs(low.saving_at_equal_oa["cost_usd"]) < 0.001 * low.saving["cost_usd"]
    starved = results["minimums_5"]
    assert starved.rank is None and any(
        reason.startswith("less outdoor air in ") for reason in starved.equal_service.reasons
    )
    assert starved.service.oa_short_cfmh_rise <= starved.service.limits["oa_short_cfmh_rise"]


@pytest.mark.parametrize(
    ("override", "words"),
    [
        ({"schedule.room_time_constant_h": 100}, "assumption"),
        ({"group.office.people_occupied_frac": 0}, "another building"),
        ({"group.*.people_ft2": 100000}, "another building"),
        ({"group.office.equipment_w_ft2": 0.4}, "another building"),
        ({"zone.*.index_share": 0.3}, "by a pattern"),
        (
            {"zone.core*.survey_flow_cfm": 500, "zone.core*.survey_damper_pct": 50, "zone.core*.survey_dsp_inwc": 0.5},
            "by a pattern",
        ),
        ({f"zone.{zone['name']}.index_share": 0.3 for zone in office_zones()}, "every zone"),
        ({"air_handler.zone_sizing_factor": 1.0}, "assumption"),
        ({"cooling.chilled_water_f": 55}, "assumption"),
        ({"service.temperature_rise_f": 1}, "all candidates share it"),
        ({"prices.electricity_usd_kwh": 0.01}, "all candidates share it"),
        ({"candidate.honest.dsp.min_inwc": 0.2}, "all candidates share it"),
    ],
)
def test_another_building_or_another_assumption_is_another_project(override, words):
    raw = OFFICE | {"candidate": [AS_FOUND, HONEST, gamed("other") | {"override": override}]}
    with pytest.raises(InputError, match=words) as error:
        project_from_mapping(raw, source_dir=WEATHER)
    assert "candidate[other].override" in str(error.value)


def test_what_is_free_stays_free():
    """Controls and equipment, and repair of named zones."""
    free = {
        "zone.core 1.index_share": 0.5,
        "zone.core 2.rogue": "none",
        "zone.core 3.importance": 0,
        "zone.*.heating_law": "dual_maximum",
        "group.office.minimum_flow_frac": 0.2,
        "economizer.stuck_frac": "none",
        "economizer.type": "none",
        "outdoor_air.minimum_cfm": 3000,
        "schedule.warmup_hours": 3,
        "limits.humidity": "none",
    }
    project = project_from_mapping(
        OFFICE | {"candidate": [AS_FOUND, gamed("free") | {"override": free}]}, source_dir=WEATHER
    )
    assert project.candidate("free").changed_service == ()
    assert (
        project_from_mapping(
            OFFICE
            | {"candidate": [AS_FOUND, gamed("x") | {"kind": "reset", "override": {"zone.core 1.sat_max_f": 60}}]},
            source_dir=WEATHER,
        )
        .candidate("x")
        .changed_service
    )


def test_the_baseline_is_the_yardstick_and_cannot_change_it():
    raw = OFFICE | {"candidate": [gamed("code", group__office__cooling_setpoint_f=76) | {"baseline": True}, HONEST]}
    with pytest.raises(InputError, match="the baseline cannot change what the rooms are promised"):
        project_from_mapping(raw, source_dir=WEATHER)


@pytest.mark.invariant
def test_air_short_by_less_than_the_margin_is_not_short():
    """Each zone given its own need less a bit less, and a bit more, than ``service.outdoor_air_margin_frac``."""
    unit = unit_of()
    conditions = build_conditions(weather_of(), project_of()).take(np.arange(24 * 10, 24 * 11))
    on = conditions.take(conditions.fan_on > 0.0)
    yardstick = Yardstick.of(unit, on, zone_loads(unit, on))
    need = yardstick.need_cfm()
    state = SimpleNamespace(oa_frac=np.ones(len(on)), flow_cfm=np.full(len(on), 9000.0))
    margin = yardstick.rules.outdoor_air_margin_frac
    assert margin == 0.05 and need.max() > 0.0
    for less, short in ((margin - 0.01, False), (margin + 0.01, True)):
        zones = SimpleNamespace(flow_cfm=(1.0 - less) * need, room_f=yardstick.cool_f)
        found = zone_depths(yardstick, state, zones)["zone_oa_short_cfmh"]
        assert (found > 0.0).any() == short


@pytest.mark.invariant
def test_one_sacrificed_room_is_enough():
    """A hot training room left out of a demand reset: one of 24 rooms, cheaper than the honest reset, and named."""
    zones = office_zones()
    zones[-1] |= {"name": "Training", "gain_multiplier": 1.8, "index_share": 1.0, "max_cfm": 1150}
    demand = {"sat": "demand", "dsp": {"strategy": "demand", "ignored_requests": 0}}
    raw = OFFICE | {
        "zone": zones,
        "candidate": [
            AS_FOUND,
            {"id": "honest", "name": "Honest", **demand},
            gamed("left_out", zone__Training__importance=0) | demand,
        ],
    }
    results = run_of(raw)
    left = results["left_out"]
    assert not results["honest"].equal_service.flagged
    assert left.saving["cost_usd"] > results["honest"].saving["cost_usd"]
    assert left.rank is None and left.service.zone == "Training" and left.service.unmet_degree_hours_rise > 56.32
    assert any(" in Training, " in reason for reason in left.equal_service.reasons)
    # The limit: 0.02 degF times the 2,816 hours of the default weekday schedule.
    assert left.service.limits["unmet_degree_hours_rise"] == pytest.approx(0.02 * 2816)


@pytest.mark.invariant
def test_a_fan_of_a_third_of_the_need_is_told_before_anything_else():
    """Zones ask for up to 11,400 cfm; 4,200 are given. Nothing may be best, whatever it saves, unless the failure is
    cured or confirmed."""
    raw = OFFICE | {"air_handler": {"zone_sizing_factor": 1.2, "design_cfm": 4200}, "candidate": [AS_FOUND, HONEST]}
    results = run_of(raw)
    found = results.baseline_service
    assert {"airflow", "temperature"} <= set(found.fails) and results.best is None
    assert all(c.rank is None for c in results.candidates)
    word, path, text = next(s for s in found.suspects if s[0] == "airflow")
    assert path == "air_handler.design_cfm" and text.startswith("4,200 cfm, where zones ask for up to ")
    assert float(re.findall(r"[\d,]+$", text)[0].replace(",", "")) > 2.5 * 4200
    plain = to_plain(results)
    assert plain["best"] is None and plain["baseline_service"]["fails"] == list(found.fails)
    cured = run_of(
        raw
        | {
            "candidate": [
                AS_FOUND,
                HONEST,
                gamed("larger_fan", air_handler__max_cfm=14000, air_handler__design_cfm=14000, fan__motor_hp=20),
            ]
        }
    )
    assert cured.best is not None and cured.best.id == "larger_fan" and cured["honest"].rank is None
    assert cured["larger_fan"].fails == ()
    known = run_of(raw | {"service": {"as_found_confirmed": list(found.fails)}})
    assert known.best is not None and known.baseline_service.open == () and known.baseline_service.fails == found.fails


@pytest.mark.invariant
def test_moisture_is_judged_by_depth():
    """Hot, humid, day and night: a demand reset without a humidity limit, whose reheat saving once diluted the share of
    moisture."""
    raw = merged(
        OFFICE,
        {
            "schedule": {"unoccupied_mode": "continuous"},
            "economizer": {"type": "none"},
            "heating": {"type": "electric"},
            "group": [{"name": "office", "minimum_flow_frac": 0.45, "minimum_unoccupied_frac": 0.4}],
        },
    )
    wide = {"strategy": "demand", "oat_min_f": 80, "oat_max_f": 95, "max_f": 65}
    raw |= {
        "candidate": [
            AS_FOUND,
            {"id": "wide", "name": "Wide", "sat": wide, "dsp": "as_found"},
            {"id": "optimal", "name": "Optimal", "sat": {"strategy": "cost_optimal", "max_f": 65}, "dsp": "as_found"},
        ]
    }
    results = run_of(raw, "miami")
    c = results["wide"]
    assert c.saving["cost_usd"] > 0.03 * results.baseline.annual["cost_usd"] and c.service.humid_hours_rise > 100.0
    assert c.rank is None and any("rooms too moist" in reason for reason in c.equal_service.reasons)
    assert any(f.where == "humidity" and f"wide {c.hourly['humid_hours']:,.0f} h" in f.text for f in results.findings)
    # The search for the optimum keeps the limit by itself.
    assert (
        results["optimal"].service.dewpoint_degree_hours_rise
        <= results["optimal"].service.limits["dewpoint_degree_hours_rise"]
    )
    assert not results["optimal"].equal_service.flagged and results["optimal"].saving["cost_usd"] > 0.0


@pytest.mark.invariant
def test_at_a_fixed_position_a_saving_of_air_not_given_is_taken_off():
    """Hot and humid, outdoor-air damper at a fixed share: colder supply air is less of it, and so less outdoor air."""
    raw = merged(
        OFFICE,
        {
            "outdoor_air": {"control": "position", "position_frac": 0.5},
            "economizer": {"type": "none"},
            "group": [{"name": "office", "people_ft2": 60}],
        },
    )
    results = run_of(
        raw
        | {
            "candidate": [
                AS_FOUND,
                {"id": "cold", "name": "Cold", "sat": {"strategy": "fixed", "setpoint_f": 52}, "dsp": "as_found"},
            ]
        },
        "miami",
    )
    c, base = results["cold"], results.baseline
    assert 0.0 < c.saving_at_equal_oa["cost_usd"] < 0.85 * c.saving["cost_usd"]
    # The other saving is left as it is: fans move as much air.
    assert c.saving_at_equal_oa["fan_kwh"] == pytest.approx(c.saving["fan_kwh"], rel=1e-6)
    assert results.baseline.saving_at_equal_oa["cost_usd"] == 0.0
    assert any(f.where == "equal outdoor air" for f in results.findings) and base.saving_at_equal_oa == base.saving


# --- laws ---------------------------------------------------------------------------------------------


@pytest.mark.invariant
@pytest.mark.parametrize(
    "changes",
    [
        {},
        {"outdoor_air": {"control": "position"}},
        pytest.param({"economizer": {"stuck_frac": 0.1}}, marks=pytest.mark.slow),
        {
            "sat": {"as_found": {"override_frac": 0.3, "override_f": 58}},
            "dsp": {"as_found": {"override_frac": 0.2, "override_inwc": 1.1}},
        },
        pytest.param(
            {"air_handler": {"supply_heating": "none"}, "schedule": {"unoccupied_mode": "continuous"}},
            marks=pytest.mark.slow,
        ),
    ],
)
def test_the_settings_of_the_baseline_save_nothing_and_serve_equally(changes):
    results = run_of(
        merged(
            OFFICE | {"candidate": [AS_FOUND, {"id": "twin", "name": "Twin", "sat": "as_found", "dsp": "as_found"}]},
            changes,
        )
    )
    twin = results["twin"]
    assert set(twin.saving.values()) == {0.0} == set(twin.saving_at_equal_oa.values())
    assert not twin.equal_service.flagged and twin.service.zone is None
    assert all(getattr(twin.service, name) == 0.0 for name in twin.service.limits)
    assert twin.fails == results.baseline_service.fails


def yardstick_of(zones=3, rows=40, seed=1, multiplier=None):
    """A yardstick of its own: random need, hours and promises."""
    rng = np.random.default_rng(seed)
    rules = project_of().service
    here = (rng.random((rows, 2)) < 0.8).astype(float)
    group = rng.integers(0, 2, zones)
    hours = rng.uniform(1.0, 100.0, rows)
    return Yardstick(
        hours=hours,
        cool_f=np.full((rows, zones), 75.0),
        heat_f=np.full((rows, zones), 70.0),
        occupied_hours=(hours @ here)[group],
        required_cfm=rng.uniform(0.0, 3000.0, rows),
        group=group,
        area_share=here,
        people_share=here,
        area_cfm=rng.uniform(0, 100, zones),
        people_cfm=rng.uniform(0, 100, zones),
        humid_dewpoint_f=60.0,
        pressure_psia=14.696,
        air_btuh_cfm_f=1.08,
        multiplier=np.ones(zones) if multiplier is None else multiplier,
        names=tuple(f"Z{k}" for k in range(zones)),
        rules=rules,
    )


KEYS = (
    "cooling_sensible_kbtu",
    "cooling_latent_kbtu",
    "reheat_kbtu",
    "preheat_kbtu",
    "unserved_cooling_kbtu",
    "unserved_heating_kbtu",
    "humid_hours",
    "running_hours",
    "capacity_hours",
    "starved_zone_hours",
)
BY_ZONE = ("warm_degree_hours", "cold_degree_hours", "zone_oa_short_cfmh", "start_miss_f")
AT_UNIT = ("oa_short_cfmh", "oa_missing_cfmh", "dewpoint_degree_hours", "cooling_missing_kbtu", "short_ceiling_hours")


def figures_of(rng, y, scale):
    """Random figures; rises between two of them lie around their limits."""
    count = len(y.names)
    limits = {
        "warm_degree_hours": 0.02 * y.occupied_hours,
        "cold_degree_hours": 0.02 * y.occupied_hours,
        "zone_oa_short_cfmh": 0.05 * y.zone_need_cfmh(),
        "start_miss_f": np.full(count, 250.0),
    }
    unit = {
        "oa_short_cfmh": 0.03 * y.required_cfmh,
        "oa_missing_cfmh": 0.03 * y.required_cfmh,
        "dewpoint_degree_hours": 0.02 * y.hours.sum(),
        "cooling_missing_kbtu": 20.0,
        "short_ceiling_hours": 10.0,
    }
    figures = dict.fromkeys(KEYS, 1000.0) | {
        "airflow_ceiling_hours": 0.0,
        "unserved_cooling_kbtu": scale * 20.0 * rng.random(),
        "unserved_heating_kbtu": scale * 20.0 * rng.random(),
    }
    short = {name: scale * limits[name] * rng.random(count) for name in BY_ZONE}
    return ServiceFigures(
        **short,
        zone_oa_promised_short_cfmh=short["zone_oa_short_cfmh"] + limits["zone_oa_short_cfmh"] * rng.random(count),
        **{name: scale * unit[name] * rng.random() for name in AT_UNIT},
        lowest_f=60.0 + scale * 0.5 * rng.random(count),
        starts=250.0,
        figures=figures,
    )


@pytest.mark.invariant
@law(
    50,
    150,
    seed=st.integers(0, 10**6),
    zones=st.integers(1, 8),
    scale=st.sampled_from([0.5, 1.2, 2.0, 5.0]),
    less=st.floats(0.0, 1.0),
)
def test_whoever_serves_at_least_as_well_is_never_flagged(seed, zones, scale, less):
    rng = np.random.default_rng(seed)
    y = yardstick_of(zones, seed=seed)
    base = figures_of(rng, y, scale)
    better = ServiceFigures(
        **{name: getattr(base, name) * (1.0 - less * rng.random(zones)) for name in BY_ZONE},
        zone_oa_promised_short_cfmh=base.zone_oa_promised_short_cfmh,
        **{name: getattr(base, name) * (1.0 - less * rng.random()) for name in AT_UNIT},
        starts=base.starts,
        lowest_f=base.lowest_f + less * rng.random(zones),
        figures={key: value * (1.0 - less * rng.random()) for key, value in base.figures.items()},
    )
    found = rises(better, base, y)
    assert judge(found, y).reasons == ()
    assert set(failing(better, y)) <= set(failing(base, y)) or less > 0.0  # shares of other totals may rise


@pytest.mark.invariant
@law(75, 300, seed=st.integers(0, 10**6), zones=st.integers(1, 8), scale=st.sampled_from([0.5, 1.2, 2.0, 5.0]))
def test_flagged_where_and_only_where_a_limit_is_passed(seed, zones, scale):
    """The limits written out a second time, zone by zone."""
    rng = np.random.default_rng(seed)
    y = yardstick_of(zones, seed=seed + 1)
    base, found = figures_of(rng, y, 1.0), figures_of(rng, y, scale)
    slack = 1e-6
    beyond = False
    for z in range(zones):
        beyond |= found.warm_degree_hours[z] - base.warm_degree_hours[z] > 0.02 * y.occupied_hours[z] + slack
        beyond |= found.cold_degree_hours[z] - base.cold_degree_hours[z] > 0.02 * y.occupied_hours[z] + slack
        need = float(y.hours @ y.need_cfm()[:, z])
        beyond |= found.zone_oa_short_cfmh[z] - base.zone_oa_promised_short_cfmh[z] > 0.05 * need + slack
        beyond |= found.start_miss_f[z] - base.start_miss_f[z] > 250.0 + slack
        beyond |= base.lowest_f[z] - found.lowest_f[z] > 0.5 + slack
    beyond |= found.oa_short_cfmh - base.oa_short_cfmh > 0.03 * float(y.hours @ y.required_cfm) + slack
    beyond |= found.dewpoint_degree_hours - base.dewpoint_degree_hours > 0.02 * float(y.hours.sum()) + slack
    for key in ("unserved_cooling_kbtu", "unserved_heating_kbtu"):
        beyond |= found.figures[key] - base.figures[key] > 0.005 * 4000.0 + slack
    rise = rises(found, base, y)
    assert judge(rise, y).flagged == bool(beyond)
    # What is reported is the worst of each kind, and the totals follow from the zones.
    assert rise.unmet_degree_hours_rise in found.warm_degree_hours - base.warm_degree_hours
    assert rise.total_unmet_degree_hours_rise == pytest.approx(
        float((found.warm_degree_hours - base.warm_degree_hours) @ y.multiplier), abs=1e-9
    )


@pytest.mark.invariant
def test_rooms_not_ready_in_the_morning_are_flagged():
    """As with a warm-up that is left out: 1 degF a day is allowed on the mean, 0.5 degF at the coldest of the
    nights."""
    y = yardstick_of()
    base = figures_of(np.random.default_rng(3), y, 0.0)
    for miss, low, flagged in ((249.0, 0.0, False), (251.0, 0.0, True), (0.0, 0.4, False), (0.0, 0.6, True)):
        found = dataclasses.replace(
            base,
            start_miss_f=base.start_miss_f + np.array([0.0, miss, 0.0]),
            lowest_f=base.lowest_f - np.array([low, 0.0, 0.0]),
        )
        said = judge(rises(found, base, y), y)
        assert said.flagged == flagged
        assert not flagged or ("Z1" if miss else "Z0") in said.reasons[0]


@pytest.mark.invariant
def test_what_a_night_block_knows_is_taken_and_what_it_does_not_know_is_nothing():
    """Rooms that catch up in the morning are too cold in occupied hours, beside what the hours of the day count."""
    y = yardstick_of()
    by_zone = {name: np.full(3, 10.0) for name in ZONE_DEPTHS}
    bare = service_figures(y, [], by_zone, SimpleNamespace(), {})
    assert (
        bare.starts == 0.0
        and np.isnan(bare.lowest_f).all()
        and not bare.start_miss_f.any()
        and (bare.cold_degree_hours == 10.0).all()
    )
    night = SimpleNamespace(
        start_miss_f=np.array([1.0, 2.0, 3.0]),
        starts=250,
        lowest_f=np.full(3, 61.0),
        cold_degree_hours=np.array([0.0, 5.0, 0.0]),
        warm_degree_hours=np.zeros(3),
    )
    known = service_figures(y, [], by_zone, night, {})
    assert list(known.cold_degree_hours) == [10.0, 15.0, 10.0] and list(known.warm_degree_hours) == [10.0] * 3
    assert known.starts == 250.0 and list(known.start_miss_f) == [1.0, 2.0, 3.0] and (known.lowest_f == 61.0).all()
    assert (by_zone["cold_degree_hours"] == 10.0).all()


@pytest.mark.invariant
@pytest.mark.parametrize("word", FAILURES)
def test_each_failure_of_a_baseline_starts_at_its_limit(word):
    """5 % of the year's outdoor air; 1 degF in 5 % of zone-hours; 10 % of running hours; 2 % of cooling or of heat."""
    y = yardstick_of()
    base = figures_of(np.random.default_rng(3), y, 0.0)
    for share, fails in ((0.999, False), (1.001, True)):
        changes = {
            "outdoor_air": {"oa_missing_cfmh": share * 0.05 * y.required_cfmh},
            "temperature": {
                "warm_degree_hours": share * 0.03 * y.occupied_hours,
                "cold_degree_hours": share * 0.02 * y.occupied_hours,
            },
            "airflow": {
                "figures": base.figures | {"airflow_ceiling_hours": share * 0.1 * base.figures["running_hours"]}
            },
            "capacity": {"figures": base.figures | {"unserved_heating_kbtu": share * 0.02 * 2000.0}},
        }[word]
        found = dataclasses.replace(base, **changes)
        assert failing(found, y) == ((word,) if fails else ())
        assert set(shortfalls(found, y)) == set(FAILURES)
        if word == "capacity":  # what is missing of the cooling that would have held the supply air
            found = dataclasses.replace(base, cooling_missing_kbtu=share * 0.02 / 0.98 * 2000.0)
            assert failing(found, y) == ((word,) if fails else ())


@pytest.mark.invariant
def test_a_plant_far_too_small_is_what_the_baseline_is_suspected_of():
    """Supply air warms, zones ask for more than the fan gives, rooms are too warm: one cause, one input."""
    ample = run_of(OFFICE | {"candidate": [AS_FOUND, HONEST]})
    assert "capacity" not in ample.baseline_service.fails
    tons = 0.25 * ample.held.sizes.cooling_tons
    found = run_of(OFFICE | {"candidate": [AS_FOUND, HONEST], "cooling": {"capacity_tons": tons}}).baseline_service
    assert {"capacity", "temperature"} <= set(found.fails)
    assert {path for _, path, _ in found.suspects} == {"cooling.capacity_tons"}


@pytest.mark.invariant
def test_ranking_does_not_depend_on_how_zones_are_written_down():
    """Eight zones in lines of their own, or in four lines for two zones each."""
    lines = [z for z in office_zones() if z["name"].endswith(("1", "5"))][:5]
    split = [{**z, "name": f"{z['name']} {half}"} for z in lines for half in ("a", "b")]
    joined = [{**z, "multiplier": 2} for z in lines]
    candidates = [
        AS_FOUND,
        HONEST,
        {"id": "sat", "name": "SAT", "sat": "demand", "dsp": "as_found"},
        {"id": "line", "name": "Line", "sat": "outdoor_air", "dsp": "as_found"},
        {"id": "low", "name": "Low", "sat": "as_found", "dsp": {"strategy": "fixed", "setpoint_inwc": 0.4}},
        *LESS_AIR,
    ]
    one, two = (run_of(OFFICE | {"zone": zones, "candidate": candidates}) for zones in (split, joined))
    assert [c.rank for c in one.candidates] == [c.rank for c in two.candidates]
    assert {c.rank for c in one.candidates} >= {None, 1, 2}
    for a, b in zip(one.candidates, two.candidates, strict=True):
        assert a.equal_service.flagged == b.equal_service.flagged
        assert a.service.unmet_degree_hours_rise == pytest.approx(b.service.unmet_degree_hours_rise, rel=1e-9, abs=1e-6)
        assert a.service.zone_oa_short_cfmh_rise == pytest.approx(b.service.zone_oa_short_cfmh_rise, rel=1e-9, abs=1e-6)
        assert a.service.total_unmet_degree_hours_rise == pytest.approx(
            b.service.total_unmet_degree_hours_rise, rel=1e-9, abs=1e-6
        )


# --- required outdoor air ---------------------------------------------------------------------------------


@pytest.mark.invariant
def test_required_air_is_by_design_or_by_those_present():
    unit = unit_of(outdoor_air={"minimum_cfm": 900})
    area, people = ah.design_outdoor_air_cfm(unit.zones, unit.groups)
    on, present = np.array([1.0, 1.0, 0.0]), np.array([people, 0.0, people])
    assert ah.required_oa_cfm(unit, on, present) == pytest.approx([(area + people) / 0.75, (area + people) / 0.75, 0.0])
    by_people = unit_of(outdoor_air={"required_cfm": 1500, "required_by": "people"})
    assert ah.required_oa_cfm(by_people, on, present) == pytest.approx([1500.0, 1500.0 * area / (area + people), 0.0])
    # What the controls hold follows the requirement where nothing else is said, and is no part of it.
    assert unit_of(outdoor_air={"minimum_cfm": None, "required_cfm": 1500}).oa_minimum_cfm == 1500.0
    assert unit.oa_minimum_cfm == 900.0 and unit.oa_required_cfm == pytest.approx((area + people) / 0.75)
    assert unit_of(outdoor_air={"control": "people"}).oa_required_by == "people" and unit.oa_required_by == "design"


@pytest.mark.invariant
def test_trimming_an_excess_is_free_and_too_little_is_seen_in_the_baseline():
    excess = {"outdoor_air": {"minimum_cfm": 4500}}
    results = run_of(
        merged(OFFICE, excess) | {"candidate": [AS_FOUND, gamed("trimmed", outdoor_air__minimum_cfm=2904)]}
    )
    assert results["trimmed"].rank == 1 and not results["trimmed"].equal_service.flagged
    assert results["trimmed"].saving_at_equal_oa["cost_usd"] == pytest.approx(
        results["trimmed"].saving["cost_usd"], rel=1e-3
    )
    short = run_of(
        merged(OFFICE, {"outdoor_air": {"minimum_cfm": 1500}})
        | {"candidate": [AS_FOUND, HONEST, gamed("raised", outdoor_air__minimum_cfm=2904)]}
    )
    assert (
        short.baseline_service.fails == ("outdoor_air",)
        and short.baseline_service.suspects[0][1] == "outdoor_air.minimum_cfm"
    )
    assert "1,500 cfm, where 2,903 are required" in short.baseline_service.suspects[0][2]
    assert short.best.id == "raised" and short.best.saving["cost_usd"] < 0.0 and short["honest"].rank is None


@pytest.mark.invariant
def test_raised_minimum_is_held_and_the_economizer_adds_nothing_to_it():
    """What is given at the minimum is the wanted airflow in every row that was short; rows of free cooling stay as they
    were."""
    results = office()
    low, base = results.runs["oa_1000"], results.runs["as_found"]
    state = low.parts[0].state
    wanted = np.full(len(state.flow_cfm), 2500.0)
    raised = evaluate(low.unit, low.rows.on, low.rows.loads, state.sat_set_f, state.dsp_set_inwc, oa_least_cfm=wanted)
    assert np.all(raised.oa_cfm >= np.minimum(wanted, raised.flow_cfm) - 1e-6)
    free = state.oa_cfm > 2600.0
    assert free.any() and raised.oa_cfm[free] == pytest.approx(state.oa_cfm[free])
    stuck = run_of(merged(OFFICE, {"economizer": {"stuck_frac": 0.1}}) | {"candidate": [AS_FOUND]}).runs["as_found"]
    given_cfm = oa_at_minimum_cfm(stuck.unit, stuck.parts[0].state)
    assert given_cfm == pytest.approx(0.1 * stuck.parts[0].state.flow_cfm)
    more = evaluate(
        stuck.unit,
        stuck.rows.on,
        stuck.rows.loads,
        stuck.parts[0].state.sat_set_f,
        stuck.parts[0].state.dsp_set_inwc,
        oa_least_cfm=given_cfm + 100.0,
    )
    assert more.oa_cfm == pytest.approx(given_cfm + 100.0, rel=1e-6)  # supply air hardly moves with outdoor air
    assert len(base.parts) == 1


# --- what else withholds a ranking, and who says so ---------------------------------------------------------


@pytest.mark.invariant
def test_a_failed_check_withholds_the_ranking(monkeypatch):
    from binestimator import checks
    from binestimator.terminal import comparison
    from binestimator.workbook.figures import answer

    monkeypatch.setattr(checks, "BALANCE_ERROR_FRAC", 0.0)
    results = run_anew(OFFICE | {"candidate": [AS_FOUND, HONEST]})
    assert any(check.status == "fail" for check in results.checks)
    assert results.best is None and all(c.rank is None and c.not_ranked for c in results.candidates)
    text = comparison(results)
    assert text.startswith("FAIL ") and "* best  none: a check that must not fail has failed" in text
    assert answer(results).startswith("Do not use these results")
    assert to_plain(results)["best"] is None


def test_terminal_and_first_page_tell_the_baseline_first():
    from binestimator.terminal import comparison
    from binestimator.workbook.figures import answer, key_figures

    raw = OFFICE | {"air_handler": {"zone_sizing_factor": 1.2, "design_cfm": 4200}, "candidate": [AS_FOUND, HONEST]}
    results = run_of(raw)
    text = " ".join(comparison(results).split())
    assert text.startswith("FAILS the baseline fails in ") and "check air_handler.design_cfm" in text
    assert "* best none: no option of equal service cures what the baseline fails in" in text
    assert answer(results).startswith("First: the baseline as entered fails: ") and "air_handler.design_cfm" in answer(
        results
    )
    assert key_figures(results)[1] == ("Best option", "none", "none cures what the baseline fails in")
    assert any(f.level == "caution" and f.where == "baseline" for f in results.findings)


def test_terminal_marks_other_service_apart():
    from binestimator.terminal import comparison

    text = comparison(office())
    marks = {
        line[2:].split(" ")[0]: line[0]
        for line in text.splitlines()
        if line[1:2] == " " and line[2:].split(" ")[0] in {c.id for c in office().candidates}
    }
    assert marks == {
        "as_found": "=",
        "honest": "*",
        "oa_1000": "!",
        "minimums_5": "!",
        "no_warmup": "!",
        **{c["id"]: "~" for c in SERVICE_GIVEN_UP},
    }
    assert "~ is of another service" in text and "Equal OA  saving with as much outdoor air" in text


def test_the_limits_in_words_follow_the_tolerances():
    words = dict(rule_texts(project_of(service={"temperature_rise_f": 0.05, "outdoor_air_rise_frac": 0.02})))
    assert "no more than 0.05 °F times its occupied hours" in words["Temperature"]
    assert "95 % of the required outdoor air rises by no more than 2 %" in words["Outdoor air at the unit"]


def test_a_promise_below_the_rates_is_told():
    for required, told in ((None, False), (3500, False), (1500, True)):
        results = run_of(
            merged(OFFICE, {"outdoor_air": {"required_cfm": required} if required else {}}) | {"candidate": [AS_FOUND]}
        )
        assert any("is less than the groups' rates" in f.text for f in results.findings) == told


def test_looser_limits_and_bare_confirmations_are_told():
    raw = OFFICE | {"service": {"temperature_rise_f": 0.5, "as_found_confirmed": ["capacity"]}, "candidate": [AS_FOUND]}
    texts = [f.text for f in run_of(raw).findings]
    assert any("looser than the program's: temperature_rise_f = 0.5 for 0.02" in text for text in texts)
    assert any("the baseline does not fail in it: capacity" in text for text in texts)


@pytest.mark.parametrize(
    ("old", "new"),
    [
        ("degree_hours_tolerance_frac", "temperature_rise_f"),
        ("degree_hours_tolerance", "temperature_rise_f"),
        ("zone_hours_tolerance", "zone_outdoor_air_rise_frac"),
        ("zone_hours_tolerance_frac", "zone_outdoor_air_rise_frac"),
        ("humid_hours_tolerance", "dewpoint_rise_f"),
        ("moisture_share_limit_frac", "dewpoint_rise_f"),
    ],
)
def test_inputs_of_earlier_versions_name_the_new_one(old, new):
    with pytest.raises(
        InputError, match=f"service.{old}: this input of an earlier version has been replaced.*service.{new}"
    ):
        project_of(service={old: 5})
    with pytest.raises(InputError, match=new):
        project_of(override={f"service.{old}": 5})


@pytest.mark.invariant
def test_a_second_run_says_all_that_the_first_says():
    from binestimator.results import Review
    from binestimator.terminal import reviewed

    first = run_of(OFFICE | {"candidate": [AS_FOUND, HONEST, *LESS_AIR]})
    project = first.project.with_overrides({"outdoor_air.minimum_cfm": 1500})
    review = Review(overrides={"outdoor_air.minimum_cfm": 1500}, results=estimate(project, weather_of()))
    plain = to_plain(first, review)["reviewed"]
    assert (
        plain["baseline_service"]["fails"] == ["outdoor_air"]
        and plain["best"] is None
        and plain["baseline_rank"] is None
    )
    line = next(c for c in plain["candidates"] if c["id"] == "honest")
    assert {
        "kind",
        "service",
        "equal_service",
        "equal_service_reasons",
        "rank",
        "not_ranked",
        "saving_at_equal_oa",
    } <= set(line)
    assert line["rank"] is None and "outdoor air" in line["not_ranked"]
    assert "FAILS     the baseline fails in outdoor air" in reviewed(first, review) and "* best  none" in reviewed(
        first, review
    )


# --- how far room mass damps what is judged -------------------------------------------------------------------


def simulated_degree_hours(unit, conditions, loads, sat_f, btu_f, tolerance):
    """Degree-hours beyond the cooling setpoint of rooms with mass, hour by hour, every hour in steps of 2 minutes.

    A controller gives a room the airflow that its cooling takes at its setpoint, and all that its terminal has while it
    is warmer. Independent of the steady balance: written from C dT/dt = gains + UA (OAT - T) + fs V (SAT - T).
    """
    z = unit.zones
    room = loads.cool_f[0].copy()
    total = np.zeros(len(z))
    step_h = 2.0 / 60.0
    for r in range(len(sat_f)):
        satz = sat_f[r] + unit.air_handler.duct_gain_f
        if r and conditions.hour_of_year[r] != conditions.hour_of_year[r - 1] + 1:
            room = np.minimum(room, loads.cool_f[r])  # after a night the rooms start at their setpoint
        for _ in range(30):
            need = loads.q_cool_btuh[r] / (loads.fs * max(float((loads.cool_f[r] - satz).min()), 0.1))
            flow = np.where(room > loads.cool_f[r] + 0.05, z.max_cfm, np.clip(need, loads.min_cfm[r], z.max_cfm))
            heat = (
                loads.gains_btuh[r]
                + loads.ua_btuh_f[r] * (conditions.oat_f[r] - room)
                + loads.fs * flow * (satz - room)
            )
            room = room + step_h * heat / btu_f
            room = np.maximum(room, loads.heat_f[r])  # reheat
            total += step_h * np.maximum(room - loads.cool_f[r] - tolerance, 0.0)
    return total


@pytest.mark.crosscheck
@pytest.mark.parametrize(
    "cases",
    [
        ((62.0, 3.0),),
        pytest.param(((62.0, 10.0), (64.0, 3.0), (64.0, 10.0)), marks=pytest.mark.slow),
    ],
)
def test_steady_rooms_give_an_upper_bound_of_warmth(cases):
    """July and August with supply air at 62 and 64 degF, warmer than the terminals are sized for; rooms of 3 to 10
    Btu/F per ft2.

    Light construction and a heavy one, from memory. Measured: a sixth to a quarter of the degree-hours is left at 3
    Btu/F per ft2, hardly any at 10, and none is added in any room.
    """
    results = run_of(OFFICE | {"air_handler": {"zone_sizing_factor": 1.2, "max_cfm": 20000}, "candidate": [AS_FOUND]})
    unit = results.unit
    hours = build_conditions(weather_of(), results.project)
    index = np.flatnonzero((hours.fan_on > 0) & (hours.month >= 7) & (hours.month <= 8))
    rows = hours.take(index)
    loads = zone_loads(unit, rows)
    bounds = {3.0: (0.12, 0.27), 10.0: (0.0, 0.03)}
    for sat_f, per_ft2 in cases:
        sat = np.full(len(index), sat_f)
        steady_room = zones_of(unit, rows, loads, evaluate(unit, rows, loads, sat, np.full(len(index), 1.5))).room_f
        steady = np.maximum(steady_room - loads.cool_f - 0.5, 0.0).sum(axis=0)
        assert steady.max() > 15.0
        low, high = bounds[per_ft2]
        damped = simulated_degree_hours(unit, rows, loads, sat, per_ft2 * unit.zones.area_ft2, 0.5)
        assert np.all(damped <= steady + 1e-9)
        assert low <= float(damped.sum() / steady.sum()) <= high
