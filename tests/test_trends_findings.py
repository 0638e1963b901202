"""What is found in trend logs is what they were made of."""

from __future__ import annotations

from dataclasses import replace
from functools import cache

import numpy as np
import pytest
from trend_logs import Truth, column_of, make_log

from binestimator.strategies.tables import line
from binestimator.trends.study import read_trends, study

#: Noise, table, overrides: fixed and bent tables, with none, few and many overrides.
CASES = {
    "line": Truth(),
    "line overridden": Truth(sat_override=(0.35, 58.0), dsp_override=(0.1, 2.0)),
    "fixed overridden": Truth(
        sat_points=((60.0, 55.0),), dsp_points=((70.0, 1.4),), sat_override=(0.2, 52.0), dsp_override=(0.25, 2.0)
    ),
    "bent, override at its end": Truth(
        sat_points=((35.0, 65.0), (50.0, 61.0), (70.0, 55.0)), sat_override=(0.35, 55.0), dsp_override=(0.2, 0.6)
    ),
    "starved, stuck damper": Truth(dsp_points=((60.0, 0.45),), stuck_share=0.3, high_limit_f=70.0),
}
#: Those whose zones are looked at.
WITH_ZONES = ("line", "starved, stuck damper")


@cache
def log_of(case, seed=1):
    return make_log(CASES[case], seed=seed)


@cache
def study_of(case, folder, seed=1):
    made = log_of(case, seed)
    sizes = dict(zip((f"VAV-{n[1:]}" for n in made.unit.zones.names), map(float, made.unit.zones.max_cfm)))
    path = made.csv(folder / f"{case}.csv".replace(" ", "_"), zones=case in WITH_ZONES)
    return study(read_trends([path]), 1.5, sizes)


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    return tmp_path_factory.mktemp("logs")


def part(made, *keys, days=30):
    """The first days of a log, with some of its points."""
    count = days * 144
    return replace(
        made, stamps=made.stamps[:count], on=made.on[:count], values={k: made.values[k][:count].copy() for k in keys}
    )


def apart(found, points):
    """Largest difference of two tables over the outdoor temperatures that the log has."""
    at = np.arange(32.0, 85.0, 0.5)
    return float(np.abs(line(at, found) - line(at, points)).max())


@pytest.mark.crosscheck
@pytest.mark.parametrize("case", CASES)
def test_setpoint_tables(case, folder):
    """Within half a degree and 0.03 in. w.c.: what bins of 2.5 degF and noisy sensors allow."""
    found, truth = study_of(case, folder), CASES[case]
    assert apart(found["sat_setpoint"].value["points"], truth.sat_points) < 0.5
    assert apart(found["dsp_setpoint"].value["points"], truth.dsp_points) < 0.03
    assert found["sat_reset"].value["reset"] == (len(truth.sat_points) > 1)
    assert found["dsp_reset"].value["reset"] == (len(truth.dsp_points) > 1)


@pytest.mark.crosscheck
@pytest.mark.parametrize("case", CASES)
def test_overrides(case, folder):
    """Within three points, where the log itself holds the share."""
    found, made = study_of(case, folder), log_of(case)
    for part, over, said in (
        ("sat", made.sat_overridden, CASES[case].sat_override),
        ("dsp", made.dsp_overridden, CASES[case].dsp_override),
    ):
        value = found[f"{part}_override"].value
        assert abs(value["override_frac"] - over[made.on].mean()) < 0.03, (part, value)
        if said[0] > 0.0:
            assert abs(value["override"] - said[1]) < 0.06


@pytest.mark.crosscheck
@pytest.mark.parametrize("case", CASES)
def test_hours_of_the_week(case, folder):
    inputs = {one.path: one.value for one in study_of(case, folder).inputs}
    assert inputs["schedule.weekday_hours"] == [6.0, 18.0]
    assert inputs["schedule.saturday_hours"] == [8.0, 13.0]
    assert inputs["schedule.sunday_hours"] == []
    assert inputs["schedule.unoccupied_mode"] == "off"


@pytest.mark.crosscheck
def test_economizer_that_works_and_one_that_is_stuck(folder):
    works, stuck = study_of("line", folder), study_of("starved, stuck damper", folder)
    assert works["economizer"].value["state"] == "works"
    assert works["economizer_limit"].value["limit_f"] == pytest.approx(65.0, abs=1.0)  # width of the cuts tried
    assert works["minimum_outdoor_air"].value["share"][1] == pytest.approx(0.25, abs=0.03)  # noise of three sensors
    assert stuck["economizer"].value["state"] == "stuck" and stuck["economizer"].caution
    inputs = {one.path: one.value for one in stuck.inputs}
    assert inputs["economizer.stuck_frac"] == pytest.approx(0.3, abs=0.03)
    assert "outdoor_air.position_frac" not in inputs


@pytest.mark.crosscheck
def test_pressure_shares_of_zones_that_were_wide_open(folder):
    """k within 0.1 for every zone whose damper was ever wide open, and none made up for the others."""
    found, made = study_of("starved, stuck damper", folder), log_of("starved, stuck damper")
    shares = found["pressure_shares"].value
    open_h = {
        f"VAV-{name[1:]}": np.count_nonzero(made.values[f"zone_damper@{name}"] >= 95.0) / 6.0
        for name in made.unit.zones.names
    }
    assert {zone for zone, hours in open_h.items() if hours >= 1.0} <= set(shares)
    assert all(open_h[zone] >= 0.4 for zone in shares) and len(shares) >= 4
    for name, k in zip(made.unit.zones.names, made.truth.index_share):
        if f"VAV-{name[1:]}" in shares:
            assert shares[f"VAV-{name[1:]}"]["k"] == pytest.approx(k, abs=0.1)
    quiet = study_of("line", folder)["pressure_shares"]
    assert not quiet.known or len(quiet.value) < 6


@pytest.mark.crosscheck
def test_starved_zones_ask_and_are_named(folder):
    found = study_of("starved, stuck damper", folder)
    assert found["requests"].value["pressure"]["mean"] > study_of("line", folder)["requests"].value["pressure"]["mean"]
    assert study_of("line", folder)["rogue_zones"].value == {"rogue": []}


@pytest.mark.crosscheck
def test_minimums_and_zone_setpoints(folder):
    found, unit = study_of("line", folder), log_of("line").unit
    for name, low in zip(unit.zones.names, 0.3 * unit.zones.max_cfm):
        said = found["zone_minimums"].value[f"VAV-{name[1:]}"]
        assert said["min_cfm"] == pytest.approx(
            low, rel=0.02
        )  # airflow is written to a thousandth, noise is in the flow
    assert set(map(tuple, found["zone_setpoints"].value.values())) == {(75.0, 70.0)}


@pytest.mark.crosscheck
def test_fan_power_goes_with_airflow_as_the_model_says(folder):
    from binestimator.model.fan import supply_fan

    found, made = study_of("fixed overridden", folder), log_of("fixed overridden")
    value = found["fan_power"].value
    model = supply_fan(made.unit, np.array([value["airflow"]]), np.array([1.4])).kw[0]
    # A quarter of the time the pressure is overridden to 2.0.
    assert value["kw_there"] == pytest.approx(model, rel=0.08)


@pytest.mark.crosscheck
def test_profiles_hold_the_hours_and_means_of_the_log(folder):
    from binestimator.trends.profiles import by_outdoor_air, typical_week

    found, made = study_of("line", folder), log_of("line")
    lines = by_outdoor_air(found.log, found.running)
    settled = np.count_nonzero(found.running.settled & np.isfinite(found.log.values["oat"])) * found.log.step_h
    # Bins of less than half an hour are left out.
    assert sum(line_["hours"] for line_ in lines) == pytest.approx(settled, abs=0.5 * 4)
    for line_ in lines:
        middle = line_["oat_low_f"] + 2.5
        # Half a bin's width of a line of 0.35 degF per degF, and noise.
        assert line_["sat_setpoint_f"] == pytest.approx(line(np.array([middle]), CASES["line"].sat_points)[0], abs=1.0)
    week = typical_week(found.log, found.running)
    assert [w["hour"] for w in week] == list(range(168))
    running = sum(w["running_frac"] for w in week)
    assert running == pytest.approx(5 * 12 + 5, abs=0.1)  # hours of the schedule
    assert made.truth.hours[6] is None and all(w["running_frac"] == 0.0 for w in week[144:])


@pytest.mark.invariant
def test_what_the_log_does_not_hold_is_not_said(folder):
    made = part(log_of("line"), "oat", "sat", "sat_setpoint", "supply_fan_status", days=10)
    few = replace(made, values={k: made.values[k] for k in ("oat", "sat", "sat_setpoint")})
    found = study(read_trends([few.csv(folder / "few.csv")]))
    assert not any(f.known for f in found.found)
    assert not found.inputs
    assert all(f.reason for f in found.found)
    fan = replace(made, values={k: made.values[k] for k in ("oat", "supply_fan_status")})
    found = study(read_trends([fan.csv(folder / "fan.csv")]))
    assert {f.key for f in found.found if f.known} == {"operating_hours", "outside_hours"}


@pytest.mark.invariant
def test_temperatures_that_cannot_tell_are_not_asked(folder):
    """With outdoor air near return air there is no balance, whatever the sensors read."""
    made = part(log_of("line"), "oat", "mat", "rat", "supply_fan_status", "oa_damper")
    values = made.values
    values["oat"] = values["rat"] + np.random.default_rng(0).normal(0.0, 2.0, len(values["oat"]))
    found = study(read_trends([replace(made, values=values).csv(folder / "near.csv")]))
    assert found["economizer"].value["state"] == "signal moves"
    assert not any("share" in key for key in found["economizer"].value)
    assert {one.path for one in found["economizer"].inputs} <= {"economizer.integrated"}
    assert "share" not in found["minimum_outdoor_air"].value and not found["minimum_outdoor_air"].inputs


@pytest.mark.invariant
def test_stuck_and_contradicting_sensors(folder):
    made = part(log_of("line"), "oat", "mat", "rat", "sat", "supply_fan_status")
    values = made.values
    values["rat"][2000:3000] = 73.21  # 83 h to the last digit
    values["mat"] = values["mat"] + np.where(made.on, 25.0, 0.0)
    found = study(read_trends([replace(made, values=values).csv(folder / "odd.csv")]))
    rat = next(q for q in found.quality if q.key == "rat")
    assert any("stuck" in note for note in rat.notes)
    assert np.isnan(found.log.values["rat"][2200:2900]).all()
    assert any("mixed air" in text for text in found.contradictions)


@pytest.mark.invariant
def test_valves_that_leak_and_fight(folder):
    made = part(log_of("line"), "oat", "mat", "rat", "sat", "supply_fan_status", "cooling_valve", "heating_valve")
    values = made.values
    shut = (np.nan_to_num(values["cooling_valve"], nan=1.0) < 1.0) & (
        np.nan_to_num(values["heating_valve"], nan=1.0) < 1.0
    )
    values["sat"] = values["sat"] + np.where(shut & made.on, 8.0, 0.0)
    found = study(read_trends([replace(made, values=values).csv(folder / "leak.csv")]))
    assert found["coil_leak"].caution and found["coil_leak"].value["warm_days"]
    values["heating_valve"] = np.where(values["cooling_valve"] > 20.0, 30.0, values["heating_valve"])
    found = study(read_trends([replace(made, values=values).csv(folder / "fight.csv")]))
    assert found["coil_fight"].caution and found["coil_fight"].value["both_open_h"] > 5.0
    clean = study_of("line", folder)
    assert not clean["coil_leak"].caution and clean["coil_fight"].value["both_open_h"] == 0.0


@pytest.mark.invariant
def test_setpoint_by_season_is_told_from_one_by_outdoor_air(folder):
    made = part(log_of("line"), "oat", "sat_setpoint", "supply_fan_status")
    values = made.values
    values["sat_setpoint"] = np.where(made.stamps < np.datetime64("2025-03-18"), 62.0, 55.0)
    found = study(read_trends([replace(made, values=values).csv(folder / "season.csv")]))
    assert found["sat_reset"].value["reads"] == "season or mode"
    assert found["sat_override"].value.get("override_frac", 0.0) == 0.0


@pytest.mark.invariant
def test_setpoint_by_requests_is_not_taken_for_a_table(folder):
    made = part(log_of("line"), "oat", "supply_fan_status")
    rng = np.random.default_rng(5)
    steps = rng.choice([-0.3, 0.2], p=[0.4, 0.6], size=len(made.stamps))
    level = 60.0
    walk = []
    for step in steps:
        level = min(max(level + step, 55.0), 65.0)
        walk.append(level)
    values = {
        "oat": made.values["oat"],
        "sat_setpoint": np.array(walk),
        "supply_fan_status": made.values["supply_fan_status"],
    }
    found = study(read_trends([replace(made, values=values).csv(folder / "requests.csv")]))
    assert found["sat_reset"].value.get("reads") != "outdoor temperature"
    assert not found["sat_override"].known or found["sat_override"].value["override_frac"] < 0.03


def test_headings_are_those_of_the_kinds():
    assert column_of("zone_temp@Z3") == "VAV-3 Zone Temp (degF)"


@pytest.mark.invariant
def test_an_override_that_would_not_show_is_not_denied(folder):
    """A table that rests at one value most of the time, as in summer: an override to that value would not show."""
    made = make_log(CASES["bent, override at its end"], seed=12, first_day=179, days=45)
    few = part(made, "oat", "sat_setpoint", "supply_fan_status", days=45)
    found = study(read_trends([few.csv(folder / "summer.csv")]))["sat_override"]
    assert not found.known and not found.inputs
