"""Projects: reading, defaults, candidates, overrides, checks between inputs, and writing back."""

import copy
import dataclasses
import os
import pickle
import subprocess
import sys
import tomllib

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from laws import law

from binestimator.errors import BinestimatorError, InputError
from binestimator.inputs import (
    DEFAULT_CANDIDATES,
    FIELDS,
    InputErrors,
    Project,
    documentation_markdown,
    fields_of,
    project_from_mapping,
    project_to_toml,
    read_project,
)
from binestimator.inputs.problems import MOST_LISTED, shown
from binestimator.inputs.schema import LIST_SECTIONS, SINGLE_SECTIONS, STATUSES, STRATEGY_SECTIONS

QUICK = {
    "project": {"name": "Harbour Office"},
    "weather": {"file": "station.csv"},
    "building": {"floor_area_ft2": 60_000, "floors": 3, "zones_per_facade": 1, "core_zones": 1},
    "group": [{"name": "office"}, {"name": "network", "always_on": True, "equipment_w_ft2": 40}],
    "special": [{"name": "Network room", "group": "network", "area_ft2": 300, "sat_max_f": 58}],
}
LISTED = {
    "project": {"name": "Clinic"},
    "weather": {"file": "station.csv"},
    "group": [{"name": "ward"}],
    "zone": [{"name": "A", "area_ft2": 1000}, {"name": "B", "area_ft2": 900}, {"name": "C", "area_ft2": 800}],
}


def changed(base, *changes):
    """Copy of a mapping with values set at (key, ..., value) places."""
    raw = copy.deepcopy(base)
    for *keys, last, value in changes:
        target = raw
        for key in keys:
            target = target.setdefault(key, {}) if isinstance(target, dict) else target[key]
        target[last] = value
    return raw


def errors_of(raw, **kwargs):
    with pytest.raises(InputError) as caught:
        project_from_mapping(raw, **kwargs)
    assert isinstance(caught.value, InputErrors) and isinstance(caught.value, BinestimatorError)
    return caught.value


def lines_about(error, where):
    return [problem.text for problem in error.problems if problem.where == where]


# ---------------------------------------------------------------- a good project


def test_the_least_project_is_enough():
    project = project_from_mapping(LISTED)
    assert project.info.name == "Clinic" and project.weather.file == "station.csv"
    assert [zone.name for zone in project.zones] == ["A", "B", "C"]
    assert all(zone.group == "ward" for zone in project.zones)
    assert [candidate.id for candidate in project.candidates] == list(DEFAULT_CANDIDATES)
    assert project.baseline_id == "as_found" and project.baseline is project.candidates[0]
    assert project.findings == ()
    assert hash(project) == hash(project_from_mapping(LISTED))
    assert pickle.loads(pickle.dumps(project)) == project


def test_a_project_cannot_be_changed():
    project = project_from_mapping(LISTED)
    with pytest.raises(dataclasses.FrozenInstanceError):
        project.fan = None
    with pytest.raises(dataclasses.FrozenInstanceError):
        project.fan.motor_hp = 3.0
    with pytest.raises(KeyError):
        project.candidate("none_such")


def test_every_input_has_an_origin_and_a_row():
    """No default hides: every input of every thing is in the rows with its origin."""
    project = project_from_mapping(
        changed(QUICK, ("fan", "motor_hp", 50), ("evidence", "fan.motor_hp", "nameplate photo 3"))
    )
    rows = project.effective_rows()
    paths = [row[0] for row in rows]
    assert len(set(paths)) == len(paths) and set(paths) <= set(project.origins)
    count = sum(len(fields_of(section)) for section in SINGLE_SECTIONS)
    count += len(project.groups) * len(fields_of("group")) + len(project.zones) * len(fields_of("zone"))
    count += len(project.specials) * len(fields_of("special"))
    assert len([path for path in paths if not path.startswith("candidate[")]) == count
    by_path = {row[0]: row for row in rows}
    assert {row[6] for row in rows} == {"given", "default", "derived"}
    assert by_path["fan.motor_hp"] == (
        "fan.motor_hp",
        "Motor nameplate output",
        50.0,
        "hp",
        0.5,
        1000.0,
        "given",
        "given",
        "Motor nameplate output; sized once when not given",
        "nameplate photo 3",
    )
    assert by_path["fan.efficiency_frac"][6:8] == ("default", "assumption")
    assert by_path["building.floors"][6] == "given"
    assert by_path["zone[Top floor north].area_ft2"][6] == "derived"
    assert by_path["zone[Top floor north].index_share"][7].endswith("assumption")
    assert by_path["zone[Top floor north].reheat"][6] == "default"
    assert by_path["zone[Network room].sat_max_f"][2:3] == (58.0,)
    assert "candidate[sat_demand].sat.ignored_requests" in by_path
    assert "candidate[sat_demand].sat.points" not in by_path  # demand has no points
    assert by_path["candidate[sat_demand].sat.max_f"][6] == "derived"
    assert by_path["candidate[sat_demand].sat.strategy"][6] == "default"


def test_rows_stand_in_reading_order():
    rows = [row[0] for row in project_from_mapping(QUICK).effective_rows()]
    heads = list(dict.fromkeys(path.partition(".")[0].partition("[")[0] for path in rows))
    assert heads[:4] == ["project", "weather", "calendar", "schedule"]
    assert heads.index("zone") < heads.index("air_handler") < heads.index("candidate") == len(heads) - 1


@pytest.mark.invariant
def test_quick_and_listed_zones_stand_side_by_side():
    project = project_from_mapping(changed(QUICK, ("zone", [{"name": "Annex", "area_ft2": 500, "group": "network"}])))
    assert project.zones[-1].name == "Annex" and project.zones[-1].group == "network"
    assert len(project.zones) == 2 * 5 + 1 + 1
    # Both lists run to the index run of their own: the annex is alone, so it is the farthest.
    assert project.zones[-1].index_share == 1.0
    assert max(zone.index_share for zone in project.zones[:-1]) == 1.0
    assert min(zone.index_share for zone in project.zones) == project.building.index_share_low == 0.4


@pytest.mark.invariant
def test_index_shares_of_a_list_run_to_one_around_given_ones():
    raw = changed(LISTED, ("building", "index_share_low", 0.6), ("zone", 1, "index_share", 0.7))
    project = project_from_mapping(raw)
    assert [zone.index_share for zone in project.zones] == [0.6, 0.7, 1.0]
    origins = [project.origins[f"zone[{name}].index_share"] for name in "ABC"]
    assert origins == ["derived", "given", "derived"]
    plain = project_from_mapping(changed(LISTED, ("building", "index_share_low", 0.5)))
    assert [zone.index_share for zone in plain.zones] == [0.5, 0.75, 1.0]
    moved = plain.with_overrides({"zone.A.index_share": 0.9})
    assert [zone.index_share for zone in moved.zones] == [0.9, 0.75, 1.0]  # no other zone moves


def test_a_survey_takes_the_place_of_the_index_share():
    survey = {"survey_flow_cfm": 500, "survey_damper_pct": 60, "survey_dsp_inwc": 1.1}
    raw = changed(LISTED, ("zone", 2, LISTED["zone"][2] | survey | {"index_share": 0.5}))
    project = project_from_mapping(raw)
    assert [zone.index_share for zone in project.zones[:2]] == [0.4, 1.0]
    assert [finding.where for finding in project.findings] == ["zone[C].index_share"]
    del raw["zone"][2]["index_share"]
    assert project_from_mapping(raw).zones[2].index_share is None


# ---------------------------------------------------------------- candidates


@pytest.mark.invariant
def test_default_strategies_come_from_limits_and_design_values():
    raw = changed(
        LISTED,
        ("limits", {"sat_min_f": 54, "sat_max_f": 62, "dsp_min_inwc": 0.4, "dsp_max_inwc": 1.2}),
        ("air_handler", "design_sat_f", 53),
        ("fan", "design_dsp_inwc", 1.6),
    )
    project = project_from_mapping(raw)
    assert project.candidate("as_found").sat.points == ((0.0, 53.0), (100.0, 53.0))
    assert project.candidate("as_found").dsp.points == ((0.0, 1.6), (100.0, 1.6))
    assert project.candidate("sat_outdoor_air").sat.points == ((60.0, 62.0), (70.0, 54.0))
    assert project.candidate("dsp_outdoor_air").dsp.points == ((50.0, 0.8), (90.0, 1.2))
    demand = project.candidate("sat_demand_dsp_demand")
    assert (demand.sat.min_f, demand.sat.max_f, demand.dsp.min_inwc, demand.dsp.max_inwc) == (54, 62, 0.4, 1.2)
    assert (demand.sat.setpoint_f, demand.dsp.setpoint_inwc) == (53, 1.6)
    assert (demand.sat.override_f, demand.dsp.override_inwc) == (53, 1.6)
    for candidate in project.candidates:
        for record in (candidate.sat, candidate.dsp):
            unset = {
                name for name in fields_of("sat" if record is candidate.sat else "dsp") if getattr(record, name) is None
            }
            # Of the unit's plants where they are not given, as those of a cost-seeking controller are.
            figures = {"cooling_kw_ton", "heat_eff_frac"}
            assert unset <= figures | (
                {"points_unoccupied"}
                if record.strategy in ("as_found", "outdoor_air")
                else {"points", "points_unoccupied"}
            )


@pytest.mark.invariant
def test_airflow_line_runs_between_the_limits():
    raw = changed(LISTED, ("candidate", [{"id": "x", "name": "X", "sat": "fixed", "dsp": "airflow"}]))
    assert project_from_mapping(raw).candidate("x").dsp.points == ((30.0, 0.3), (100.0, 1.5))


def test_library_and_own_values():
    raw = changed(
        LISTED,
        ("sat", {"demand": {"ignored_requests": 5, "max_f": 63}}),
        (
            "candidate",
            [
                {"id": "mine", "name": "Mine", "sat": {"strategy": "demand", "max_f": 61}, "dsp": "fixed"},
                {"id": "sat_demand", "cost_usd": 900},
            ],
        ),
    )
    project = project_from_mapping(raw)
    ids = [candidate.id for candidate in project.candidates]
    assert ids == [*DEFAULT_CANDIDATES, "mine"]
    mine, default = project.candidate("mine"), project.candidate("sat_demand")
    assert (mine.sat.ignored_requests, mine.sat.max_f, mine.sat.min_f) == (5.0, 61.0, 55.0)
    assert (default.sat.ignored_requests, default.sat.max_f, default.cost_usd, default.name) == (
        5.0,
        63.0,
        900.0,
        "SAT by demand",
    )
    assert project.origins["candidate[mine].sat.max_f"] == "given"
    assert project.origins["candidate[mine].sat.min_f"] == "derived"
    assert project.origins["candidate[mine].sat.oat_min_f"] == "default"
    assert project.origins["candidate[sat_demand].name"] == "default"
    assert project.origins["candidate[sat_demand].cost_usd"] == "given"


def test_listed_candidates_alone():
    listed = [{"id": "b", "name": "B", "sat": "fixed", "dsp": "fixed"}, {"id": "as_found"}]
    raw = changed(LISTED, ("project", "default_candidates", False), ("candidate", listed))
    project = project_from_mapping(raw)
    assert [candidate.id for candidate in project.candidates] == ["b", "as_found"]
    assert project.baseline_id == "b"
    raw["candidate"][1]["baseline"] = True
    assert project_from_mapping(raw).baseline_id == "as_found"
    raw["project"]["default_candidates"] = True
    raw["candidate"][0]["baseline"], raw["candidate"][1]["baseline"] = True, False
    assert project_from_mapping(raw).baseline_id == "b"


@pytest.mark.parametrize(
    ("candidates", "where", "words"),
    [
        ([{"id": "A b", "name": "x", "sat": "fixed", "dsp": "fixed"}], "candidate[#1].id", "small letters"),
        ([{"id": "é", "name": "x", "sat": "fixed", "dsp": "fixed"}], "candidate[#1].id", "small letters"),
        ([{"id": "x" * 32, "name": "x", "sat": "fixed", "dsp": "fixed"}], "candidate[#1].id", "at most 31"),
        ([{"name": "x", "sat": "fixed", "dsp": "fixed"}], "candidate[#1].id", "is missing"),
        ([{"id": "x", "sat": "fixed", "dsp": "fixed"}], "candidate[x].name", "is missing"),
        ([{"id": "x", "name": "x", "dsp": "fixed"}], "candidate[x].sat", "is missing"),
        (
            [{"id": "x", "name": "x", "sat": "demnad", "dsp": "fixed"}],
            "candidate[x].sat.strategy",
            'did you mean "demand"',
        ),
        ([{"id": "x", "name": "x", "sat": 55, "dsp": "fixed"}], "candidate[x].sat", "not a strategy"),
        ([{"id": "x", "name": "x", "sat": "airflow", "dsp": "fixed"}], "candidate[x].sat.strategy", "not one of"),
        (
            [{"id": "x", "name": "x", "sat": {"strategy": "demand", "points": [[50, 60]]}, "dsp": "fixed"}],
            "candidate[x].sat.points",
            'not used by strategy "demand"',
        ),
        (
            [{"id": "x", "name": "x", "sat": {"strategy": "demand", "ignored": 3}, "dsp": "fixed"}],
            "candidate[x].sat.ignored",
            'did you mean "ignored_requests"',
        ),
        (
            [{"id": "x", "name": "x", "sat": {"strategy": "demand", "min_f": 64, "max_f": 60}, "dsp": "fixed"}],
            "candidate[x].sat.min_f",
            "not below max_f",
        ),
        (
            [{"id": "x", "name": "x", "sat": {"strategy": "demand", "min_f": 66}, "dsp": "fixed"}],
            "candidate[x].sat.min_f",
            "less than 65",
        ),
        (
            [{"id": "x", "name": "x", "sat": {"strategy": "demand", "oat_min_f": 75}, "dsp": "fixed"}],
            "candidate[x].sat.oat_min_f",
            "less than 70",
        ),
        (
            [{"id": "x", "name": "x", "sat": "fixed", "dsp": {"strategy": "demand", "min_inwc": 2}}],
            "candidate[x].dsp.min_inwc",
            "less than 1.5",
        ),
        (
            [{"id": "x", "name": "x", "sat": "fixed", "dsp": {"strategy": "airflow", "points": [[-5, 1], [50, 2]]}}],
            "candidate[x].dsp.points",
            "airflow below zero",
        ),
        (
            [{"id": "x", "name": "x", "sat": {"strategy": "fixed", "setpoint_f": 73}, "dsp": "fixed"}],
            "candidate[x].sat.setpoint_f",
            "at most 72",
        ),
        (
            [{"id": "x", "name": "x", "sat": "fixed", "dsp": "fixed", "baseline": "yes"}],
            "candidate[x].baseline",
            "truth value",
        ),
        ([{"id": "x", "name": "x", "sat": "fixed", "dsp": "fixed", "cost_usd": -5}], "candidate[x].cost_usd", "below"),
        (
            [{"id": "x", "name": "x", "sat": "fixed", "dsp": "fixed", "kind": "retrofit"}],
            "candidate[x].kind",
            "not one of",
        ),
        ([{"id": "x", "name": "x", "sat": "fixed", "dsp": "fixed", "price": 3}], "candidate[x].price", "unknown input"),
        ([{"id": "sat_demand"}, {"id": "sat_demand"}], "candidate[sat_demand]", "twice"),
        (
            [{"id": "as_found", "baseline": True}, {"id": "sat_demand", "baseline": True}],
            "candidate",
            "more than one baseline",
        ),
        (
            [{"id": "x", "name": "x", "sat": "fixed", "dsp": "fixed", "kind": "repair", "override": {"fan.motor": 5}}],
            'candidate[x].override["fan.motor"]',
            'did you mean "motor_hp"',
        ),
        (
            [
                {
                    "id": "x",
                    "name": "x",
                    "sat": "fixed",
                    "dsp": "fixed",
                    "kind": "repair",
                    "override": {"zone.D.min_cfm": 5},
                }
            ],
            'candidate[x].override["zone.D.min_cfm"]',
            'no zone "D"',
        ),
        (
            [
                {
                    "id": "x",
                    "name": "x",
                    "sat": "fixed",
                    "dsp": "fixed",
                    "kind": "repair",
                    "override": {"prices.fuel_usd_therm": 1},
                }
            ],
            'candidate[x].override["prices.fuel_usd_therm"]',
            "all candidates share it",
        ),
        (
            [
                {
                    "id": "x",
                    "name": "x",
                    "sat": "fixed",
                    "dsp": "fixed",
                    "kind": "repair",
                    "override": {"limits.sat_max_f": 54},
                }
            ],
            "candidate[x].override",
            "limits.sat_min_f: not below limits.sat_max_f",
        ),
        (
            [{"id": "x", "name": "x", "sat": "fixed", "dsp": "fixed", "override": {"economizer.type": "none"}}],
            "candidate[x].kind",
            '"repair" or "companion"',
        ),
        (
            [{"id": "x", "name": "x", "sat": "fixed", "dsp": "fixed", "override": 5}],
            "candidate[x].override",
            "not a table",
        ),
    ],
)
def test_candidates_that_cannot_be(candidates, where, words):
    error = errors_of(changed(LISTED, ("candidate", candidates)))
    assert any(words in text for text in lines_about(error, where)), str(error)


def test_no_candidate_and_too_many():
    assert "no candidate" in str(errors_of(changed(LISTED, ("project", "default_candidates", False))))
    many = [{"id": f"c{i}", "name": "x", "sat": "fixed", "dsp": "fixed"} for i in range(33)]
    assert "at most 40" in str(errors_of(changed(LISTED, ("candidate", many))))
    assert len(project_from_mapping(changed(LISTED, ("candidate", many[:32]))).candidates) == 40


# ---------------------------------------------------------------- what can be wrong


@pytest.mark.parametrize(
    ("change", "where", "words"),
    [
        (("fan", "motr_hp", 5), "fan.motr_hp", ['did you mean "motor_hp"']),
        (("fann", {"motor_hp": 5}), "fann", ["unknown section", 'did you mean "fan"']),
        (("fan", "design_cfm", 5), "fan.design_cfm", ["unknown input"]),
        (("air_handler", "kw_per_ton", 5), "air_handler.kw_per_ton", ["belongs to cooling"]),
        (("fan", [{"motor_hp": 5}]), "fan", ["not a table", "single brackets"]),
        (("fan", 5), "fan", ["not a table"]),
        (("group", {"name": "x"}), "group", ["double brackets"]),
        (("group", [5]), "group", ["entry 1 is not a table"]),
        (("group", []), "group", ["no profile group"]),
        (("zone", []), "zone", ["no zone", "floor_area_ft2"]),
        (("zone", 0, "name", "B"), "zone[B]", ["twice"]),
        (("zone", 0, "name", "b"), "zone[B]", ["twice", "regard to case"]),
        (("zone", 0, "name", "\x00"), "zone[#1].name", ["control"]),
        (("zone", 0, "name", 5), "zone[#1].name", ["not a text"]),
        (("zone", 0, "area_ft2", -1), "zone[A].area_ft2", ["below"]),
        (("zone", 0, {"name": "A"}), "zone[A].area_ft2", ["is missing", "Floor area"]),
        (("zone", 0, "group", "wards"), "zone[A].group", ["no such profile group", 'did you mean "ward"']),
        (("zone", 0, "terminal", "series_fan_powered"), "zone[A].terminal", ["fan-powered terminals are not modelled"]),
        (("zone", 0, "dual_duct", True), "zone[A].dual_duct", ["dual-duct systems are not modelled"]),
        (("zone", 0, "heating_law", "induction"), "zone[A].heating_law", ["induction terminals are not modelled"]),
        (("chilled_beam", [{}]), "chilled_beam", ["chilled beams are not modelled"]),
        (("air_handler", "underfloor", True), "air_handler.underfloor", ["underfloor"]),
        (("cooling", "type", "vrf"), "cooling.type", ["variable refrigerant flow"]),
        (
            ("zone", 0, {"name": "A", "area_ft2": 100, "min_cfm": 500, "max_cfm": 400}),
            "zone[A].min_cfm",
            ["above max_cfm (400)", "got 500", "at most 400"],
        ),
        (
            (
                "zone",
                0,
                {"name": "A", "area_ft2": 100, "heating_law": "dual_maximum", "heat_max_cfm": 500, "max_cfm": 400},
            ),
            "zone[A].heat_max_cfm",
            ["above max_cfm"],
        ),
        (
            (
                "zone",
                0,
                {"name": "A", "area_ft2": 100, "heating_law": "dual_maximum", "heat_max_cfm": 300, "heat_min_cfm": 400},
            ),
            "zone[A].heat_min_cfm",
            ["above heat_max_cfm"],
        ),
        (
            (
                "zone",
                0,
                {"name": "A", "area_ft2": 100, "heating_law": "dual_maximum", "heat_max_cfm": 300, "min_cfm": 400},
            ),
            "zone[A].min_cfm",
            ["above heat_max_cfm"],
        ),
        (
            ("zone", 0, {"name": "A", "area_ft2": 100, "survey_flow_cfm": 300}),
            "zone[A]",
            ["damper survey without survey_damper_pct and survey_dsp_inwc"],
        ),
        (
            ("zone", 0, {"name": "A", "area_ft2": 100, "survey_damper_pct": 140}),
            "zone[A].survey_damper_pct",
            ["1 to 100"],
        ),
        (
            ("zone", 0, {"name": "A", "area_ft2": 100, "sat_max_f": 50}),
            "zone[A].sat_max_f",
            ["limits.sat_min_f", "at least 55"],
        ),
        (
            ("zone", 0, {"name": "A", "area_ft2": 100, "cooling_setpoint_f": 66}),
            "limits.sat_max_f",
            ["zone[A].cooling_setpoint_f (66)", "at most 63"],
        ),
        (
            ("zone", 0, {"name": "A", "area_ft2": 100, "heating_setpoint_f": 75}),
            "zone[A].heating_setpoint_f",
            ["group[ward].cooling_setpoint_f (75)"],
        ),
        (("group", 0, {"name": "ward", "heating_setpoint_f": 76}), "group[ward].heating_setpoint_f", ["at most 74"]),
        (
            ("group", 0, {"name": "ward", "heating_unoccupied_f": 80, "cooling_unoccupied_f": 70}),
            "group[ward].heating_unoccupied_f",
            ["swapped"],
        ),
        (("group", 0, {"name": "none"}), "group[none]", ['called "none"']),
        (("air_handler", "design_sat_f", 65), None, None),
        (("limits", "sat_max_f", 73), "limits.sat_max_f", ["at least 3 degF colder", "at most 72"]),
        (("sat", {"as_found": {"points": [[40, 74], [70, 55]]}}), "sat.as_found.points", ["got 74", "at most 72"]),
        (("sat", {"outdoor_air": {"points": [[70, 55], [50, 65]]}}), "sat.outdoor_air.points", ["swapped"]),
        (("sat", {"as_found": {"override_f": 73}}), "sat.as_found.override_f", ["at most 72"]),
        (("limits", {"sat_min_f": 66, "sat_max_f": 60}), "limits.sat_min_f", ["not below limits.sat_max_f", "swapped"]),
        (("limits", {"dsp_min_inwc": 2}), "limits.dsp_min_inwc", ["not below fan.design_dsp_inwc"]),
        (("limits", {"dsp_min_inwc": 1.4, "dsp_max_inwc": 1.2}), "limits.dsp_min_inwc", ["limits.dsp_max_inwc"]),
        (("limits", {"damper_open_pct": 80}), "limits.damper_release_pct", ["not below"]),
        (("limits", {"loop_ask_pct": 85}), "limits.loop_release_pct", ["not below"]),
        (("limits", {"oa_dewpoint_low_f": 60}), "limits.oa_dewpoint_low_f", ["not below"]),
        (("fan", {"design_dsp_inwc": 4}), "fan.design_dsp_inwc", ["not below fan.design_total_inwc"]),
        (("prices", {"electricity_usd_kwh": -0.1}), "prices.electricity_usd_kwh", ["below", "0 to 5 USD/kWh"]),
        (("fan", {"efficiency_frac": 1.05}), "fan.efficiency_frac", ["above"]),
        (("fan", {"motor_efficiency_frac": 93}), "fan.motor_efficiency_frac", ["enter 0.93 for 93 %"]),
        (("fan", {"measured_cfm": 9000, "measured_kw": 8}), "fan", ["measured point without measured_total_inwc"]),
        (
            ("fan", {"motor_hp": 10, "measured_cfm": 20000, "measured_total_inwc": 1, "measured_kw": 15}),
            "fan.measured_kw",
            ["output against input power", "8.1 kW of input", "at most 10.2 kW"],
        ),
        (
            ("fan", {"measured_cfm": 10000, "measured_total_inwc": 4, "measured_kw": 4}),
            "fan.measured_kw",
            ["carries 4.69 kW: efficiency above 1"],
        ),
        (
            ("fan", {"measured_cfm": 1000, "measured_total_inwc": 4, "measured_kw": 8}),
            "fan.measured_kw",
            ["0.008000 kW/cfm"],
        ),
        (
            ("fan", {"measured_cfm": 100000, "measured_total_inwc": 0.1, "measured_kw": 8}),
            "fan.measured_kw",
            ["out of reach"],
        ),
        (
            ("outdoor_air", {"position_frac": 0.5, "maximum_frac": 0.4, "control": "position"}),
            "outdoor_air.position_frac",
            ["above outdoor_air.maximum_frac"],
        ),
        (("bins", {"by_rate_period": True}), "bins.by_rate_period", ["rate_period_hours"]),
        (("special", [{"name": "M", "group": "ward", "area_ft2": 100}]), "special", ["without the quick description"]),
        (("building", {"floor_area_ft2": 10_000, "group": "offices"}), "building.group", ["no such profile group"]),
        (("sat", {"min_f": 55}), "sat.min_f", ["is outside a strategy"]),
        (("sat", {"demands": {}}), "sat.demands", ['did you mean "demand"']),
        (("sat", {"demand": 5}), "sat.demand", ["not a table"]),
        (("sat", 5), "sat", ["not a table"]),
        (("dsp", {"demand": {"points": [[50, 1]]}}), "dsp.demand.points", ["not used by strategy"]),
        (("dsp", {"demand": {"strategy": "airflow"}}), "dsp.demand.strategy", ["differs"]),
        (("evidence", {"fan.motorhp": "x"}), 'evidence["fan.motorhp"]', ['did you mean "motor_hp"']),
        (("evidence", {"zone.Z.max_cfm": "x"}), 'evidence["zone.Z.max_cfm"]', ['no zone "Z"']),
        (("evidence", {"fan.motor_hp": 5}), 'evidence["fan.motor_hp"]', ["not a text"]),
        (("evidence", {"fan.motor_hp": "x" * 1001}), 'evidence["fan.motor_hp"]', ["at most 1000"]),
        (("evidence", {"fan.motor_hp": "\x07"}), 'evidence["fan.motor_hp"]', ["control"]),
        (("evidence", {"sat.demand.min_f": "x"}), 'evidence["sat.demand.min_f"]', ["candidate.<id>.sat"]),
        (("evidence", {"zone": "x"}), 'evidence["zone"]', ["not the path"]),
        (("evidence", {"zone.max_cfm": "x"}), 'evidence["zone.max_cfm"]', ["names no zone"]),
        (("status", {"fan.motorhp": "measured"}), 'status["fan.motorhp"]', ['did you mean "motor_hp"']),
        (
            ("status", {"fan.motor_hp": "measurd"}),
            'status["fan.motor_hp"]',
            ["not a status", 'did you mean "measured"'],
        ),
        (("status", {"fan.motor_hp": 5}), 'status["fan.motor_hp"]', ["not a text", '"nameplate"']),
        (("status", {"zone.Z.max_cfm": "drawing"}), 'status["zone.Z.max_cfm"]', ['no zone "Z"']),
        (("status", "measured"), "status", ["not a table"]),
        (("override", {"zone.A.name": "x"}), 'override["zone.A.name"]', ["cannot be overridden"]),
        (("override", {"project.zones_csv": "x"}), 'override["project.zones_csv"]', ["cannot be overridden"]),
        (
            ("override", {"candidate.as_found.sat.strategy": "fixed"}),
            'override["candidate.as_found.sat.strategy"]',
            ["list another candidate"],
        ),
        (
            ("override", {"candidate.as_found.sat.min_f": 50}),
            'override["candidate.as_found.sat.min_f"]',
            ["has no effect"],
        ),
        (
            ("override", {"zone.*a*a*a*a*a*a*a*.min_cfm": 5}),
            'override["zone.*a*a*a*a*a*a*a*.min_cfm"]',
            ["too many stars"],
        ),
        (("override", {"fan.motor_hp": "big"}), 'override["fan.motor_hp"]', ["not a number"]),
    ],
)
def test_each_mistake_is_named_where_it_is(change, where, words):
    raw = changed(LISTED, change)
    if where is None:
        project_from_mapping(raw)
        return
    error = errors_of(raw)
    texts = lines_about(error, where)
    assert texts, str(error)
    for word in words:
        assert any(word in text for text in texts), texts
    assert all(problem.text.isprintable() and problem.where.isprintable() for problem in error.problems)


@pytest.mark.invariant
def test_nameplate_against_design_point():
    """12 000 cfm at 4 in. w.c.: 12000 x 4 / (6356 x 0.65 x 0.96) = 12.1 hp at the shaft."""
    raw = changed(LISTED, ("air_handler", "design_cfm", 12_000), ("fan", "motor_hp", 7.5))
    text = lines_about(errors_of(raw), "fan.motor_hp")[0]
    assert "needs 12.1 hp" in text and "got 7.5" in text and "at least 9.7 hp" in text
    assert "more than the 10 hp" in project_from_mapping(changed(raw, ("fan", "motor_hp", 10))).findings[0].text
    assert project_from_mapping(changed(raw, ("fan", "motor_hp", 15))).findings == ()
    assert "only 12.1 hp" in project_from_mapping(changed(raw, ("fan", "motor_hp", 60))).findings[0].text


def test_all_errors_come_at_once():
    raw = {
        "fan": {"efficiency_frac": 65, "motr_hp": 3},
        "prices": {"fuel_usd_therm": -1},
        "group": [{"name": "office"}],
        "zone": [{"name": "A", "area_ft2": 100, "min_cfm": 50, "max_cfm": 40}],
        "dsp": {"outdoor_air": {"points": [[90, 1.5], [50, 0.5]]}},
        "limits": {"sat_max_f": 74},
    }
    error = errors_of(raw)
    assert [problem.where for problem in error.problems] == [
        "fan.efficiency_frac",
        "fan.motr_hp",
        "prices.fuel_usd_therm",
        "dsp.outdoor_air.points",
        "project.name",
        "weather.file",
        "zone[A].min_cfm",
        "limits.sat_max_f",
    ]
    assert str(error).startswith("project: 8 problems in the inputs\n  - fan.efficiency_frac: ")
    assert str(error).count("\n") == 8


def test_a_wrong_value_brings_no_further_errors():
    """A value that is wrong itself is not held against others."""
    error = errors_of(changed(LISTED, ("limits", {"sat_min_f": "cold", "sat_max_f": 50})))
    assert [problem.where for problem in error.problems] == ["limits.sat_min_f"]
    error = errors_of(changed(LISTED, ("zone", 0, "area_ft2", "big")))
    assert [problem.where for problem in error.problems] == ["zone[A].area_ft2"]
    error = errors_of(changed(QUICK, ("building", "floor_area_ft2", -1)))
    assert [problem.where for problem in error.problems] == ["building.floor_area_ft2"]
    error = errors_of(changed(LISTED, ("zone", 5)))
    assert [problem.where for problem in error.problems] == ["zone"]


def test_many_errors_are_counted_not_listed():
    raw = changed(LISTED, ("fan", {f"key_{number}": 1 for number in range(5000)}))
    text = str(errors_of(raw))
    assert text.count("\n") == MOST_LISTED + 1 and text.endswith(f"and {5000 - MOST_LISTED} more")


@pytest.mark.parametrize(("kind", "most"), [("zone", 500), ("group", 50), ("special", 50), ("candidate", 40)])
def test_lists_are_limited(kind, most):
    entries = [{"name": f"n{number}", "id": f"n{number}"} for number in range(most + 1)]
    assert f"at most {most}" in " ".join(lines_about(errors_of(changed(LISTED, (kind, entries))), kind))


@pytest.mark.parametrize(
    ("change", "where", "words"),
    [
        (
            ("cooling", {"type": "direct_expansion", "kw_per_ton": 0.6}),
            "cooling.kw_per_ton",
            "counts when type is chilled_water",
        ),
        (
            ("heating", {"type": "electric", "efficiency_frac": 0.9}),
            "heating.efficiency_frac",
            "preheat.type is boiler",
        ),
        (("building", {"wall_u": 0.1}), "building.wall_u", "floor_area_ft2 is given"),
        (("zone", 0, {"name": "A", "area_ft2": 100, "heat_max_cfm": 100}), "zone[A].heat_max_cfm", "dual_maximum"),
        (
            ("group", 0, {"name": "ward", "always_on": True, "weekday_hours": [7, 18]}),
            "group[ward].weekday_hours",
            "always_on is false",
        ),
        (("zone", 0, {"name": "A", "area_ft2": 100, "index_share": 1.2}), "zone[A].index_share", "starved"),
        (
            ("group", 0, {"name": "ward", "cooling_unoccupied_f": 74}),
            "group[ward].cooling_unoccupied_f",
            "colder than the occupied",
        ),
        (
            ("group", 0, {"name": "ward", "heating_unoccupied_f": 72}),
            "group[ward].heating_unoccupied_f",
            "warmer than the occupied",
        ),
        (("limits", {"sat_min_f": 53}), "limits.sat_min_f", "colder than the design"),
        (("limits", {"dsp_max_inwc": 2}), "limits.dsp_max_inwc", "above the design"),
        (("fan", {"index_dsp_inwc": 2}), "fan.index_dsp_inwc", "starved at design"),
        (("fan", {"design_total_inwc": 15}), "fan", "kW/cfm"),
        (("fan", {"measured_cfm": 20000, "measured_total_inwc": 4, "measured_kw": 10}), "fan.measured_kw", "94%"),
        (
            ("fan", {"measured_cfm": 2000, "measured_total_inwc": 4, "measured_kw": 7}),
            "fan.measured_kw",
            "0.00350 kW/cfm",
        ),
        (("air_handler", {"design_cfm": 9000, "max_cfm": 8000}), "air_handler.max_cfm", "below the design airflow"),
        (
            ("air_handler", {"supply_heating": "own_setpoint", "supply_heating_setpoint_f": 60}),
            "air_handler.supply_heating_setpoint_f",
            "against the cooling coil",
        ),
        (("cost", {"test_low_h": 7}), "cost.test_low_h", "test_low_h = 7, test_h = 6, test_high_h = 8"),
        (("cooling", {"chilled_water_f": 52}), "cooling.chilled_water_f", "within 5 degF"),
        (("candidate", [{"id": "sat_demand", "kind": "repair"}]), "candidate[sat_demand].kind", "overrides no input"),
        (
            ("candidate", [{"id": "sat_demand", "incentive_usd": 9}]),
            "candidate[sat_demand].incentive_usd",
            "larger than the cost",
        ),
    ],
)
def test_what_is_unlikely_is_a_finding(change, where, words):
    findings = project_from_mapping(changed(LISTED, change)).findings
    assert [finding.where for finding in findings] == [where]
    assert findings[0].level == "check" and words in findings[0].text and findings[0].text.endswith(".")


# ---------------------------------------------------------------- overrides


@pytest.mark.invariant
def test_overrides_reach_sections_groups_zones_and_candidates():
    project = project_from_mapping(QUICK)
    over = project.with_overrides(
        {
            "fan.motor_hp": 40,
            "group.*.lights_w_ft2": 0.5,
            "zone.*NORTH*.max_cfm": 2000,
            "zone[Network room].rogue": "both",
            "candidate.*.sat.ignored_requests": 4,
            "candidate.sat_demand.cost_usd": 12,
            "special.Network room.count": 2,
            "zone.Top floor north.max_cfm": 1500,
        }
    )
    assert over.fan.motor_hp == 40.0 and over.origins["fan.motor_hp"] == "given"
    assert [group.lights_w_ft2 for group in over.groups] == [0.5, 0.5]
    flows = {zone.name: zone.max_cfm for zone in over.zones}
    assert flows["Lower floors north"] == 2000 and flows["Top floor north"] == 1500 and flows["Top floor east"] is None
    network = over.zones[-1]
    assert (network.rogue, network.multiplier) == ("both", 2)
    assert over.candidate("sat_demand").sat.ignored_requests == 4.0
    assert (
        over.candidate("as_found").sat.ignored_requests == 0.0
    )  # as found does not use it: the default of 12 terminals
    assert over.candidate("sat_demand").cost_usd == 12.0
    assert project == project_from_mapping(QUICK)  # the first one is as it was


@pytest.mark.invariant
def test_overrides_of_the_building_make_the_zones_anew():
    project = project_from_mapping(changed(QUICK, ("evidence", "zone.Top floor *.area_ft2", "drawing A2")))
    over = project.with_overrides({"building.floors": 1, "building.core_zones": 2})
    assert [zone.name for zone in over.zones] == ["North", "East", "South", "West", "Core 1", "Core 2", "Network room"]
    assert sum(zone.area_ft2 * zone.multiplier for zone in over.zones) == pytest.approx(60_000, rel=1e-9)
    assert over.evidence == {} and "zone[Top floor core].area_ft2" in project.evidence


def test_status_says_how_values_were_come_by():
    """A status meets every input its path means; defaults that were not looked at say so themselves."""
    raw = changed(
        QUICK,
        ("fan", {"motor_hp": 50}),
        (
            "status",
            {
                "fan.motor_hp": " Nameplate ",
                "zone.Top floor *.area_ft2": "drawing",
                "fan.drive_efficiency_frac": "measured",
                "group.*.people_ft2": "interview",
            },
        ),
    )
    project = project_from_mapping(raw)
    assert project.status_of("fan.motor_hp") == "nameplate"
    assert project.status_of("zone[Top floor core].area_ft2") == "drawing"
    assert project.status_of("zone[Lower floors core].area_ft2") == ""  # derived; no status was given
    assert project.status_of("building.floor_area_ft2") == ""  # given, but without saying how
    assert project.status_of("fan.efficiency_frac") == "default"
    found = {finding.where: finding.text for finding in project.findings}
    assert "Called measured, but no value is given" in found["fan.drive_efficiency_frac"]
    assert found["group[office].people_ft2"].endswith("(and 1 more).")
    over = project.with_overrides({"building.floors": 1})
    assert over.status_of("fan.motor_hp") == "nameplate" and "zone[Top floor core].area_ft2" not in over.statuses


@pytest.mark.invariant
def test_resolved_values_follow_what_they_come_from():
    over = project_from_mapping(LISTED).with_overrides({"limits.sat_max_f": 60, "fan.design_dsp_inwc": 1})
    assert over.candidate("sat_outdoor_air").sat.points == ((60.0, 60.0), (70.0, 55.0))
    assert over.candidate("dsp_demand").dsp.max_inwc == 1.0


@pytest.mark.invariant
def test_later_overrides_win_and_none_unsets():
    project = project_from_mapping(changed(LISTED, ("fan", "motor_hp", 50), ("override", {"zone.A.min_cfm": 90})))
    assert project.zones[0].min_cfm == 90.0
    over = project.with_overrides({"zone.*.min_cfm": 70, "fan.motor_hp": "none"})
    assert [zone.min_cfm for zone in over.zones] == [70, 70, 70] and over.fan.motor_hp is None
    again = over.with_overrides({"zone.A.min_cfm": "none"})
    assert [zone.min_cfm for zone in again.zones] == [None, 70, 70]
    assert list(again.overrides) == ["zone.*.min_cfm", "fan.motor_hp", "zone.A.min_cfm"]
    assert project.with_overrides({}) == project


def test_unset_inputs_and_overrides_are_written_as_such():
    raw = changed(LISTED, ("fan", {"motor_hp": "none"}), ("zone", 0, "name", 'say "hi" \\ é'))
    over = project_from_mapping(raw).with_overrides({"zone.*.min_cfm": 25.5, "outdoor_air.minimum_cfm": None})
    text = project_to_toml(over)
    for line in (
        'motor_hp = "none"',
        'name = "say \\"hi\\" \\\\ é"',
        '"zone.*.min_cfm" = 25.5',
        '"outdoor_air.minimum_cfm" = "none"',
    ):
        assert line in text.splitlines()
    assert project_from_mapping(tomllib.loads(text)) == over


def test_overrides_are_checked_all_at_once():
    project = project_from_mapping(LISTED)
    with pytest.raises(InputErrors) as caught:
        project.with_overrides(
            {"fan.x": 1, "zone.Q.min_cfm": 1, "limits.sat_max_f": 74, 5: 6, "zone.A.min_cfm": "\x07"}
        )
    assert [problem.where for problem in caught.value.problems] == [
        'override["fan.x"]',
        'override["5"]',
        'override["zone.A.min_cfm"]',
        'override["zone.Q.min_cfm"]',
        "limits.sat_max_f",
    ]


@pytest.mark.invariant
def test_candidate_overrides_keep_their_checked_values():
    override = {"economizer.stuck_frac": "none", "zone.*.min_cfm": 50, "limits.damper_open_pct": 90}
    listed = [{"id": "fix", "name": "Fix", "kind": "repair", "sat": "demand", "dsp": "demand", "override": override}]
    raw = changed(LISTED, ("candidate", listed), ("economizer", "stuck_frac", 0.3))
    project = project_from_mapping(raw)
    fix = project.candidate("fix")
    assert fix.overrides == {"economizer.stuck_frac": None, "zone.*.min_cfm": 50.0, "limits.damper_open_pct": 90.0}
    repaired = project.with_overrides(fix.overrides)
    assert repaired.economizer.stuck_frac is None and project.economizer.stuck_frac == 0.3
    assert [zone.min_cfm for zone in repaired.zones] == [50.0, 50.0, 50.0]


def test_names_with_dots_and_brackets_can_be_reached():
    names = ["Zone 1.2", "Room [3]", "a].b", "Star*"]
    raw = changed(LISTED, ("zone", [{"name": name, "area_ft2": 100} for name in names]))
    project = project_from_mapping(raw)
    for place, name in enumerate(names):
        for path in (f"zone.{name}.min_cfm", f"zone[{name}].min_cfm"):
            over = project.with_overrides({path: 33})
            assert [zone.min_cfm for zone in over.zones] == [33 if i == place else None for i in range(4)]


# ---------------------------------------------------------------- files


def write(folder, text, name="project.toml", encoding="utf-8"):
    path = folder / name
    path.write_bytes(text.encode(encoding))
    return path


TEXT = """
[project]
name = "=HYPERLINK(1)"
zones_csv = "zones.csv"
notes = '''
first
second'''
date = 2024-05-01

[weather]
file = "station.csv"

[[group]]
name = "office"
weekday_hours = [7, 18]

[sat.demand]
ignored_requests = 3

[[candidate]]
id = "trial"
name = "Trial"
kind = "companion"
dsp = "demand"
[candidate.sat]
strategy = "demand"
max_f = 63
[candidate.override]
"group.*.minimum_flow_frac" = 0.2

[evidence]
"zone.*.max_cfm" = "balancing report, invented"
"""
ZONES = '\ufeffname,area_ft2,max_cfm,reheat,group\n"North, upper",1000,900,yes,office\n\n=SUM(A1),800,,no,\n'


def test_a_project_file_with_a_zones_file(tmp_path):
    write(tmp_path, ZONES, "zones.csv")
    project = read_project(write(tmp_path, TEXT.replace("\n", "\r\n")))
    assert (project.info.name, project.info.date, project.info.notes) == (
        "=HYPERLINK(1)",
        "2024-05-01",
        "first\nsecond",
    )
    assert [(zone.name, zone.max_cfm, zone.reheat, zone.group) for zone in project.zones] == [
        ("North, upper", 900.0, True, "office"),
        ("=SUM(A1)", None, False, "office"),
    ]
    assert project.candidate("trial").sat.ignored_requests == 3.0 and project.candidate("trial").sat.max_f == 63.0
    assert project.evidence["zone[North, upper].max_cfm"].startswith("balancing")
    assert (project.source_path, project.source_dir) == ("project.toml", str(tmp_path))
    other = write(tmp_path, project_to_toml(project), "other.toml")
    assert read_project(str(other)) == project
    assert len(project.with_overrides({"zone.*.min_cfm": 10}).zones) == 2


def test_zones_file_with_semicolons_and_listed_zones(tmp_path):
    write(tmp_path, "name;area_ft2\nB;800\n", "z.csv")
    raw = changed(LISTED, ("project", "zones_csv", "z.csv"), ("zone", [{"name": "A", "area_ft2": 100}]))
    assert [zone.name for zone in project_from_mapping(raw, tmp_path).zones] == ["A", "B"]


@pytest.mark.parametrize(
    ("text", "encoding"),
    [
        ("name\tarea_ft2\r\nB\t800\r\n", "utf-16"),  # what a spreadsheet program calls Unicode text
        ("sep=;\nname;area_ft2\nB;800\n", "utf-8"),
        ("name,area_ft2,,\nB,800,,\n,,,\n", "utf-8-sig"),
        ("name,area_ft2\rB,800\r", "utf-8"),
        ('"name","area_ft2"\n"B","800"\n', "utf-8"),
    ],
)
def test_zones_files_as_spreadsheet_programs_save_them(tmp_path, text, encoding):
    write(tmp_path, text, "z.csv", encoding)
    raw = changed(LISTED, ("project", "zones_csv", "z.csv"), ("zone", []))
    assert [(zone.name, zone.area_ft2) for zone in project_from_mapping(raw, tmp_path).zones] == [("B", 800.0)]


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("", ["is empty"]),
        ("\n \n", ["is empty"]),
        ("name,area_ft2\n", ["no zone"]),
        ("name,area\nA,5\n", ["z.csv line 1.area", "unknown input", 'did you mean "area_ft2"']),
        ("name,area_ft2,name\nA,50,B\n", ["the column appears twice"]),
        ("name,area_ft2\nA,50,60\n", ["z.csv line 2", "3 cells, the header 2"]),
        ("name,area_ft2\n\nA,x\n", ["z.csv line 3.area_ft2: not a number", 'got "x"']),
        ('name,area_ft2\nA,"1,000"\n', ["thousands separator"]),
        (
            "name,area_ft2,max_cfm\nA,100\n",
            ["z.csv line 2: has 2 cells, the header 3; got `A,100`", "add the 1 missing comma"],
        ),
        (
            "name,area_ft2,max_cfm\nA,1,000,900\n",
            ["z.csv line 2: has 4 cells, the header 3; got `A,1,000,900`", "1.000 with a decimal point, or 1000"],
        ),
        ("name,area_ft2\nNorth, upper,100\n", ["got `North, upper,100`", "put a name that holds a comma in quotes"]),
        (
            "name,area_ft2,max_cfm\nA,100\nB,x,500\nC,1,2,3\n",
            ["line 2: has 2 cells", "line 3.area_ft2: not a number", "line 4: has 4 cells", "3 problems"],
        ),
        ("name;area_ft2\nA;12,5\n", ["z.csv line 2.area_ft2: not a number", "type 12.5 with a decimal point"]),
        (
            "name,area_ft2\nA;100\n",
            ["line 2: has 1 cell, the header 2; got `A;100` with semicolons", "commas between the cells"],
        ),
        ('name,area_ft2\nDuct 12" high,100\nB,100\n"C" x,5\n', ['got `"C" x,5`; put the comma after it']),
        (
            'name,area_ft2\n"A,100\nB","5\n',
            ['line 2: a quote without its partner; got `"A,100`', 'line 3: text after a closing quote; got `B","5`'],
        ),
        (
            "A,100\nB,200\n",
            ["z.csv line 1: no column is an input of a zone; got `A,100`", "expected a header line such as name,group"],
        ),
        (
            "name,max_cfm\nA,100\n",
            ["z.csv line 1: no column area_ft2, which every zone needs; got `name,max_cfm`; add it", "1 problem"],
        ),
        ("name,,area_ft2\nA,,100\n", ["a column without a name; got `name,,area_ft2`"]),
        ("name,area_ft2,reheat\nA,100,maybe\n", ['not a truth value; got "maybe"; expected yes or no']),
        ("PK\x03\x04", ["the zones file is a workbook or another packed file", "save the sheet of zones as CSV"]),
        ("name,area_ft2\nA,100\nA,100\n", ["zone[A]", "twice"]),
        ("name,area_ft2\n,100\n", ["zone[#1].name: is missing"]),
        ("name,area_ft2\nA,\n", ["zone[A].area_ft2: is missing"]),
        ('name,area_ft2\n"A,100\n', ["z.csv line 2", 'got `"A,100`', "a quote without its partner"]),
        ("name,area_ft2\nA\x00,100\n", ["z.csv"]),
        ("name,area_ft2\n" + "x" * 200_000 + ",5\n", ["not valid CSV"]),
        ("name,area_ft2,terminal\nA,100,parallel fan\n", ["unknown input"]),
        ("name,area_ft2,dual_duct\nA,100,yes\n", ["dual-duct systems are not modelled"]),
        (
            "name,area_ft2\n" + "".join(f"z{number},100\n" for number in range(501)),
            ["501 zones", "at most 500", "multiplier"],
        ),
    ],
)
def test_zones_files_that_cannot_be_used(tmp_path, text, words):
    write(tmp_path, text, "z.csv")
    raw = changed(LISTED, ("project", "zones_csv", "z.csv"), ("zone", []))
    message = str(errors_of(raw, source_dir=tmp_path))
    for word in words:
        assert word in message, message


def test_a_missing_zones_file_is_one_problem(tmp_path):
    raw = changed(LISTED, ("project", "zones_csv", "nowhere.csv"), ("zone", []))
    error = errors_of(raw, source_dir=tmp_path)
    assert [problem.where for problem in error.problems] == ["project.zones_csv"]
    assert "does not exist" in str(error)


def test_files_that_cannot_be_read(tmp_path, monkeypatch):
    def message(path):
        with pytest.raises(InputError) as caught:
            read_project(path)
        return str(caught.value)

    assert "does not exist" in message(tmp_path / "no.toml")
    assert "is a folder" in message(tmp_path)
    assert "cannot be read" in message("bad\x00name.toml") or "does not exist" in message("bad\x00name.toml")
    latin = write(tmp_path, "[project]\nname = 'Caf\u00e9'\n", encoding="latin-1")
    assert "line 2: the project file is not UTF-8 text; got `name = 'Caf\u00e9'`" in message(latin)
    assert "line 3" in message(write(tmp_path, "[project]\nname = 'x'\nthis is no line\n"))
    assert "too many digits" in message(write(tmp_path, "x = " + "9" * 5000))
    assert "deep" in message(write(tmp_path, "x = " + "[" * 100_000))
    for key in (".a" * 100, ' . "a=b,"' * 100, ".'a'" * 100):
        for form in ("a{} = 1", "x = {{a{} = 1}}", "[a{}]", "[[a{}]]"):
            assert "line 2: a key with too many dots" in message(write(tmp_path, "\n" + form.format(key)))
    hidden = 'x = {a = """\\"""\n"""", b = \'\'\'\n\'\'\', c' + ".c" * 9 + " = 1}"
    assert "line 3: a key with too many dots" in message(write(tmp_path, hidden))
    assert "5,000,001 bytes" in message(write(tmp_path, "#" * 5_000_001))
    os.mkfifo(tmp_path / "pipe.toml")
    assert "is a pipe" in message(tmp_path / "pipe.toml")
    good = write(tmp_path, TEXT)

    def refuse(*args, **kwargs):
        raise PermissionError(13, "Permission denied")

    monkeypatch.setattr(os, "open", refuse)
    assert "cannot be read (Permission denied)" in message(good)


@pytest.mark.invariant
def test_dots_in_values_are_no_keys(tmp_path):
    points = ", ".join(f"[{x}.5, 55.25]" for x in range(50))
    profile = ", ".join(["0.125"] * 24)
    notes = "See 1.1. Then a.b.c.d.e.f.g.h=1 " * 40 + "." * 300
    text = f"""
[project]
name = "x"
notes = \"\"\"
{notes[-900:]}
contents{"." * 90}page 3\"\"\"
[weather]
file = "{".a" * 70}" # {".a" * 70}
[[group]]
name = "g"
people_profile = [
  {profile}]
[[zone]]
name = "A"
area_ft2 = 100.5
[sat.as_found]
points = [{points}]
"""
    project = read_project(write(tmp_path, text))
    assert len(project.candidate("as_found").sat.points) == 50 and project.groups[0].people_profile[3] == 0.125


def test_a_mapping_is_needed():
    with pytest.raises(InputError, match="not a table"):
        project_from_mapping([1, 2])


# ---------------------------------------------------------------- property-based


def texts(length, several_lines=False):
    """Printable texts of all scripts, with what spreadsheets, TOML and CSV take for themselves."""
    plain = st.characters(exclude_categories=("C", "Zl", "Zp"))
    special = st.sampled_from(list("=+-@\"'\\#[].*?,;{}") + (["\n", "\t"] if several_lines else []))
    return (
        st.text(plain | special, min_size=1, max_size=length)
        .map(str.strip)
        .filter(lambda text: text and text.casefold() != "none")
    )


def values_of(field):
    """Values that a field accepts."""
    numbers = st.floats(field.low, field.high) if field.low is not None else None
    kinds = {
        "text": lambda: texts(min(field.max_length, 12), field.name == "notes"),
        "path": lambda: texts(12),
        "bool": st.booleans,
        "int": lambda: st.integers(int(field.low), int(field.high)),
        "float": lambda: numbers,
        "optional_float": lambda: numbers | st.just("none"),
        "choice": lambda: st.sampled_from(field.choices),
        "choice_float": lambda: st.sampled_from(field.choices),
        "hour_pair": lambda: (
            st.just([])
            | st.tuples(st.integers(0, 11), st.integers(12, 24))
            .map(list)
            .filter(lambda pair: pair[0] % 24 != pair[1] % 24)
        ),
        "date_list": lambda: st.lists(st.sampled_from(["01-01", "07-04", "12-25"]), unique=True),
        "choice_list": lambda: st.lists(st.sampled_from(field.choices), unique=True),
        "profile24": lambda: st.lists(st.floats(0, 1), min_size=24, max_size=24),
        "points": lambda: st.lists(st.integers(-40, 120), min_size=1, max_size=6, unique=True).flatmap(
            lambda xs: st.tuples(*[st.tuples(st.just(x), st.floats(field.low, field.high)) for x in sorted(xs)])
        ),
    }
    return kinds[field.type]()


# Inputs that other inputs bound: left at their defaults in random projects, so that those are
# valid by construction; the bounds themselves are tested one by one above.
BOUND = {
    "project.zones_csv",
    "project.default_candidates",
    "bins.by_rate_period",
    "air_handler.design_sat_f",
    "air_handler.design_cfm",
    "outdoor_air.minimum_cfm",
    "outdoor_air.position_frac",
    "outdoor_air.maximum_frac",
    "fan.motor_hp",
    "fan.design_total_inwc",
    "fan.design_dsp_inwc",
    "fan.measured_cfm",
    "fan.measured_total_inwc",
    "fan.measured_kw",
    "zone.min_cfm",
    "zone.max_cfm",
    "zone.heat_min_cfm",
    "zone.heat_max_cfm",
    "zone.sat_max_f",
    "zone.cooling_setpoint_f",
    "zone.heating_setpoint_f",
    "zone.survey_flow_cfm",
    "zone.survey_damper_pct",
    "zone.survey_dsp_inwc",
    "zone.group",
    "special.sat_max_f",
    "special.area_ft2",
    "special.count",
    "special.group",
    "group.cooling_setpoint_f",
    "group.heating_setpoint_f",
    "group.cooling_unoccupied_f",
    "group.heating_unoccupied_f",
    "building.group",
    "building.floor_area_ft2",
    "building.floors",
    "building.zones_per_facade",
    "building.core_zones",
    "building.failed_sensor_zones",
    "building.starved_branch_zones",
    "building.undersized_zones",
    *(
        field.path
        for field in FIELDS
        if field.section == "limits" and field.name not in ("humidity", "damper_exponent")
    ),
    *(field.path for field in FIELDS if field.section in ("sat", "dsp", "room_setpoints")),
}


@st.composite
def tables(draw, section, **fixed):
    """A table of a section with some of its free inputs given."""
    free = [field for field in fields_of(section).values() if field.path not in BOUND and field.name not in fixed]
    chosen = draw(st.lists(st.sampled_from(free), max_size=4, unique_by=lambda field: field.name)) if free else []
    table = {field.name: draw(values_of(field)) for field in free if field.required or field in chosen}
    return {**table, **fixed}


def unique_names(**kwargs):
    return st.lists(texts(10), unique_by=str.casefold, **kwargs)


@st.composite
def projects(draw):
    raw = {
        section: draw(tables(section)) for section in SINGLE_SECTIONS if section != "building" and draw(st.booleans())
    }
    raw["project"] = draw(tables("project"))
    raw["weather"] = draw(tables("weather"))
    raw["building"] = draw(tables("building"))
    groups = draw(unique_names(min_size=1, max_size=3))
    raw["group"] = [draw(tables("group", name=name)) for name in groups]
    names = draw(unique_names(min_size=1, max_size=5))
    reserved = ("lower floors", "top floor", "north", "east", "south", "west", "core")
    names = [name for name in names if not name.casefold().startswith(reserved)] or ["Z"]
    quick = draw(st.booleans())
    if quick:
        raw["building"] |= {"floor_area_ft2": draw(st.floats(20_000, 90_000)), "floors": draw(st.integers(1, 3))}
        special = {"group": draw(st.sampled_from(groups)), "area_ft2": draw(st.floats(20, 60))}
        raw["building"]["perimeter_depth_ft"], raw["building"]["aspect_ratio"] = 12, 1.5
        raw["special"] = [draw(tables("special", name=names.pop(), **special))]
    raw["zone"] = [
        draw(
            tables("zone", name=name, area_ft2=draw(st.floats(10, 1e6)), group=draw(st.sampled_from([*groups, "none"])))
        )
        for name in names
    ]
    raw["sat"] = {"demand": {"ignored_requests": draw(st.integers(0, 9)), "max_f": draw(st.integers(56, 72))}}
    raw["candidate"] = draw(st.sampled_from([[], [{"id": "sat_demand", "cost_usd": 10}]]))
    if draw(st.booleans()):
        raw["candidate"] = raw["candidate"] + [
            {
                "id": "x-1",
                "name": draw(texts(10)),
                "kind": "repair",
                "baseline": draw(st.booleans()),
                "sat": {"strategy": "outdoor_air", "points": [[draw(st.integers(0, 60)), 65], [61.5, 55.25]]},
                "dsp": draw(st.sampled_from(["fixed", "demand", {"strategy": "airflow", "flow_error_frac": -0.1}])),
                "override": {"economizer.type": "none", "zone.*.rogue": "both"}
                if raw["zone"] or quick
                else {"economizer.type": "none"},
            }
        ]
    if draw(st.booleans()):
        raw["override"] = {"group.*.people_ft2": draw(st.floats(5, 100)), "outdoor_air.minimum_cfm": "none"}
    raw["evidence"] = {"fan.motor_hp": draw(texts(20, several_lines=True)), f"group.{groups[0]}.people_ft2": "count"}
    raw["status"] = draw(
        st.dictionaries(
            st.sampled_from(
                ["fan.motor_hp", "prices.electricity_usd_kwh", "group.*.people_ft2", f"group[{groups[0]}].lights_w_ft2"]
            ),
            st.sampled_from(STATUSES),
            max_size=3,
        )
    )
    return raw


@pytest.mark.invariant
@law(15, 60, projects())
def test_random_valid_projects_are_accepted_and_written_back_whole(raw):
    project = project_from_mapping(raw)
    text = project_to_toml(project)
    again = project_from_mapping(tomllib.loads(text))
    assert again == project
    assert again.origins == project.origins and again.given == project.given
    assert project_to_toml(again) == text
    assert set(project.origins.values()) <= {"given", "default", "derived"}
    for zone in project.zones:
        assert 0.05 <= zone.index_share <= 2 and zone.group in [group.name for group in project.groups]
    assert len(project.effective_rows()) > 200


_JUNK = st.recursive(
    st.none()
    | st.booleans()
    | st.integers()
    | st.floats()
    | st.text(max_size=8)
    | st.sampled_from(["none", "demand", "\ud800", "\x00", 10**400, "fan_powered", "*", "x" * 3000]),
    lambda children: (
        st.lists(children, max_size=4)
        | st.dictionaries(
            st.text(max_size=6) | st.integers() | st.none() | st.sampled_from([field.name for field in FIELDS]),
            children,
            max_size=4,
        )
    ),
    max_leaves=12,
)
_KEYS = st.sampled_from(
    [
        *SINGLE_SECTIONS,
        *LIST_SECTIONS,
        *STRATEGY_SECTIONS,
        "override",
        "evidence",
        "demand",
        "as_found",
        *(field.name for field in FIELDS),
        "fan.motor_hp",
        "zone.*.min_cfm",
        "zone[A].x",
        "group..x",
        "candidate.*.sat.max_f",
    ]
)


def accepted_or_explained(read):
    try:
        assert isinstance(read(), Project)
    except InputError as error:
        text = str(error)
        assert text
        text.encode("utf-8")  # can be printed anywhere


@pytest.mark.invariant
@law(
    30,
    100,
    st.dictionaries(
        _KEYS | st.text(max_size=5) | st.integers(),
        _JUNK
        | st.dictionaries(_KEYS, _JUNK, max_size=4)
        | st.lists(st.dictionaries(_KEYS, _JUNK, max_size=5), max_size=3),
        max_size=6,
    ),
)
def test_junk_raises_nothing_but_input_errors(raw):
    accepted_or_explained(lambda: project_from_mapping(raw))


@st.composite
def spoiled(draw):
    """A good project in which one or two values were replaced by junk or taken away."""
    raw = copy.deepcopy(draw(st.sampled_from([QUICK, LISTED])))
    raw |= {
        "fan": {"motor_hp": 50},
        "sat": {"demand": {"max_f": 64}},
        "evidence": {"fan.motor_hp": "seen"},
        "override": {"zone.*.rogue": "none"},
        "candidate": [
            {
                "id": "x",
                "name": "X",
                "kind": "repair",
                "sat": "demand",
                "dsp": {"strategy": "fixed"},
                "override": {"fan.motor_hp": 60},
            }
        ],
    }
    for _ in range(draw(st.integers(1, 2))):
        target, key = raw, draw(st.sampled_from(list(raw)))
        while isinstance(target.get(key) if isinstance(target, dict) else target[key], (dict, list)) and draw(
            st.integers(0, 3)
        ):
            inner = target[key]
            if not inner:
                break
            target, key = inner, draw(st.sampled_from(list(inner) if isinstance(inner, dict) else range(len(inner))))
        if isinstance(target, dict) and draw(st.booleans()):
            del target[key]
        else:
            target[key] = draw(_JUNK)
        if not raw:
            break
    return raw


@pytest.mark.invariant
@law(60, 200, spoiled())
def test_spoiled_projects_raise_nothing_but_input_errors(raw):
    accepted_or_explained(lambda: project_from_mapping(raw))


@pytest.mark.invariant
@law(30, 100, st.dictionaries(_KEYS | st.text(max_size=9), _JUNK, max_size=4))
def test_junk_overrides_raise_nothing_but_input_errors(overrides):
    project = project_from_mapping(LISTED)
    accepted_or_explained(lambda: project.with_overrides(overrides))


@pytest.mark.invariant
@settings(max_examples=50)
@given(
    data=st.binary(max_size=60)
    | st.text(max_size=80).map(lambda text: ("[project]\n" + text).encode("utf-8", "replace"))
)
def test_junk_files_raise_nothing_but_input_errors(tmp_path_factory, data):
    folder = tmp_path_factory.mktemp("junk")
    (folder / "p.toml").write_bytes(data)
    (folder / "z.csv").write_bytes(data)
    accepted_or_explained(lambda: read_project(folder / "p.toml"))
    accepted_or_explained(lambda: project_from_mapping(changed(LISTED, ("project", "zones_csv", "z.csv")), folder))


def test_shown_never_fails():
    assert shown(10**9000) == "a value of type int"
    assert shown({"a": 1}) == "a table" and shown([]) == "[]" and shown(3.0) == "3" and shown(None) == "nothing"
    assert shown("a\x1b\ud800") == '"a\\u001b\\ud800"'


# ---------------------------------------------------------------- the package


def test_importing_the_inputs_is_light():
    """Reading inputs needs none of the heavy packages."""
    code = (
        "import sys, binestimator.inputs\n"
        "print([name for name in ('numpy', 'pandas', 'scipy', 'pvlib', 'openpyxl', 'xlsxwriter') if name in "
        "sys.modules])"
    )
    result = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert result.stdout.strip() == "[]"


def test_exported_names_are_there_and_the_reference_is_made():
    import binestimator.inputs as inputs

    assert all(hasattr(inputs, name) for name in inputs.__all__)
    assert documentation_markdown().startswith("# Inputs\n")


def test_input_errors_survive_the_way_from_another_process():
    import pickle

    from binestimator.inputs.problems import InputErrors

    with pytest.raises(InputErrors) as caught:
        project_from_mapping({"project": {"name": "x"}})
    again = pickle.loads(pickle.dumps(caught.value))
    assert str(again) == str(caught.value) and again.problems == caught.value.problems


def test_prose_taken_for_a_project_file_is_one_error(tmp_path):
    path = tmp_path / "notes.md"
    path.write_text("# Notes\n\n" + "The fan was seen to run all night, and nobody knew why.\n" * 12, encoding="utf-8")
    with pytest.raises(InputError, match="line 1: this looks like prose, not a project file") as caught:
        read_project(path)
    assert "\n" not in str(caught.value)
    # A project file with many mistakes stays one.
    path.write_text("[fan]\nmotor_hp: 40\n" + "a sentence that belongs nowhere\n" * 12, encoding="utf-8")
    with pytest.raises(InputError, match="problems in the inputs"):
        read_project(path)
