"""Realised savings and plans from files: what the commands say and write, and what is told where a saving is none."""

from __future__ import annotations

import json
from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
from realised_logs import project_mapping
from trend_logs import Truth, make_log

import binestimator as be
from binestimator import cli
from binestimator.errors import InputError
from binestimator.inputs import project_from_mapping
from binestimator.inputs.write import project_to_toml
from binestimator.realised.periods import cut
from binestimator.realised.planning import plan_measurement
from binestimator.realised.report import plan_text, realised_plain, realised_text
from binestimator.realised.results_file import of_project, read_realised
from binestimator.realised.study import realised
from binestimator.realised.year import at_setpoints, year_model
from binestimator.seal import PLAN, REALISED, mark_of

BEFORE = Truth(sat_points=((60.0, 55.0),), dsp_points=((60.0, 1.5),))
AFTER = Truth(sat_points=((45.0, 62.0), (65.0, 55.0)), dsp_points=((50.0, 0.8), (80.0, 1.5)))
BOTH = ("realised", "p.toml", "--before", "before.csv", "--after", "after.csv")


@pytest.fixture(scope="module")
def made():
    """Logs of winter to summer before, and of summer to winter after."""
    return (
        make_log(BEFORE, seed=1, first_day=0, days=165, step_min=30),
        make_log(AFTER, seed=2, first_day=195, days=165, step_min=30),
    )


@pytest.fixture(scope="module")
def project():
    return project_from_mapping(project_mapping())


@pytest.fixture(scope="module")
def weather(project):
    return be.weather_of(project)


@pytest.fixture(scope="module")
def as_made(made, tmp_path_factory):
    """The logs as they are, without zones, read once: reading takes longer than most of what is done with them."""
    folder = tmp_path_factory.mktemp("as_made")
    logs = [be.read_trends([m.csv(folder / f"{k}.csv", zones=False)]) for k, m in enumerate(made)]
    for log in logs:
        for values in log.values.values():
            values.flags.writeable = False
    return logs


@pytest.fixture
def read(tmp_path, made, as_made):
    def reader(log, *, zones=False, **changes):
        if not zones and not changes:
            for own, found in zip(made, as_made):
                if log is own:
                    return found
        changed = replace(log, values={**log.values, **changes})
        number = len(list(tmp_path.iterdir()))
        return be.read_trends([changed.csv(tmp_path / f"log{number}.csv", zones=zones)])

    return reader


@pytest.fixture(scope="module")
def plain(as_made, project, weather):
    """What was realised by the logs as they are, without zones."""
    return realised(project, weather, "reset", *as_made)


@pytest.fixture(scope="module")
def folder(made, project, tmp_path_factory):
    folder = tmp_path_factory.mktemp("logs")
    (folder / "p.toml").write_text(project_to_toml(project), encoding="utf-8")
    made[0].csv(folder / "before.csv", zones=False)
    made[1].csv(folder / "after.csv", zones=False)
    return folder


def run(folder, *arguments):
    return cli.main([str(folder / a) if a.endswith((".toml", ".csv", ".json")) else a for a in arguments])


def told(found, key):
    return [change for change in found.changes if change.key == key]


@pytest.mark.crosscheck
def test_the_saving_of_the_log_is_in_the_interval(folder, capsys, project, weather):
    """Logs of the model's own building: what the model saves is what was realised, and the claim."""
    code = run(folder, *BOTH, "--json", "found.json")
    text = capsys.readouterr().out
    assert code == 0
    data = json.loads((folder / "found.json").read_text(encoding="utf-8"))
    assert mark_of((folder / "found.json").read_bytes()).kind == REALISED
    fans = next(use for use in data["uses"] if use["key"] == "fan_kwh")
    model = year_model(project, weather, "reset")
    claim = model.claim(("fan_kw",))
    assert fans["basis"] == "measured" and fans["claimed_year"] == pytest.approx(claim)
    assert fans["interval_90_year"][0] <= claim <= fans["interval_90_year"][1]
    assert fans["interval_90"][0] <= fans["claimed"] <= fans["interval_90"][1]
    assert fans["realised_frac"] == pytest.approx(fans["saving_year"] / claim)
    assert fans["covered_frac"] > 0.85 and data["still_needed"] is None
    # What is not measured is the model's own at these setpoints: 10 % for the noise of sensors and gains fitted to
    # airflow.
    cooling = next(use for use in data["uses"] if use["key"] == "cooling_kwh")
    assert cooling["basis"] == "modelled" and cooling["interval_90"] is None
    assert cooling["saving"] == pytest.approx(model.claim(("cooling_kw",)), rel=0.1)
    assert fans["modelled_year"] == pytest.approx(claim, rel=0.1)
    # What the workbook of the project takes from the file.
    for_workbook = of_project(read_realised(folder / "found.json"), project, "found.json")
    assert not for_workbook.other_inputs and for_workbook.data == data
    first = for_workbook.uses[0]
    assert (first.saving, first.interval_90) == (fans["saving_year"], tuple(fans["interval_90_year"]))
    assert first.of_before == pytest.approx([fans[k] / fans["before"] for k in ("saving", "claimed")]
                                            + [v / fans["before"] for v in fans["interval_90"]], rel=1e-12)  # fmt: skip
    assert "Realised / claimed" in text and "as modelled" in text
    # Run again: the file is the program's, and is made again.
    assert run(folder, *BOTH, "--json", "found.json") == 0


@pytest.mark.crosscheck
def test_the_model_at_the_claims_setpoints_gives_the_claim(project, weather):
    model = year_model(project, weather, "reset")
    before, after = at_setpoints(
        model, (model.before["sat_f"], model.after["sat_f"]), (model.before["dsp_inwc"], model.after["dsp_inwc"])
    )
    for rate in ("fan_kw", "cooling_kw", "fuel_thermh", "pump_tower_kw", "cost_usd_h"):
        assert np.sum(before[rate] - after[rate]) == pytest.approx(model.claim((rate,)), rel=1e-9)


@pytest.mark.invariant
def test_a_repair_that_setpoints_do_not_show_saves_nothing_as_modelled(weather, folder):
    """The same log twice, and an option that lowers the outdoor air besides: no end use is saved by the model, and the
    words say what is left out."""
    given = project_mapping()
    given["candidate"][-1] |= {"kind": "companion", "override": {"outdoor_air.minimum_cfm": 500.0}}
    log = be.read_trends([folder / "before.csv"])
    found = realised(project_from_mapping(given), weather, "reset", log, log)
    modelled = [use for use in found.uses if not use.measured]
    assert modelled and all(abs(use.saving) < 1e-6 for use in modelled)
    assert any(abs(use.claimed) > 1.0 for use in modelled)
    assert any("outdoor_air.minimum_cfm" in words and "as modelled" in words for words in found.notes)


def test_plan_says_points_interval_and_weeks(folder, capsys):
    code = run(
        folder, "plan-measurement", "p.toml", "--before", "before.csv", "--json", "plan.json", "--start", "2025-07-01"
    )
    text = capsys.readouterr().out
    assert code == 0
    data = json.loads((folder / "plan.json").read_text(encoding="utf-8"))
    assert mark_of((folder / "plan.json").read_bytes()).kind == PLAN
    best = data["best"]
    assert best["enough"] and 8 <= best["weeks_before"] + best["weeks_after"] <= 52
    assert best["expected"]["precision"] <= 0.5 and best["expected"]["covered_frac"] >= 0.85
    assert "From 1 July on" in text and "! Outdoor relative humidity" in text and "- Supply fan power" in text
    assert data["starts"] == "1 July" and data["interval_min"] in (30, 60)


@pytest.mark.parametrize(
    "arguments, words",
    [
        (("--before", "after.csv", "--after", "before.csv"), "exchange them"),
        (("--before", "before.csv", "--after", "after.csv", "--option", "rset"), "there is no such option"),
        (("--before", "before.csv", "--after", "after.csv", "--option", "as_found"), "is the baseline"),
        (("--before", "before.csv", "--after", "after.csv", "--changed-on", "July"), "expected YYYY-MM-DD"),
        (("--before", "before.csv", "--after", "after.csv", "--changed-on", "2024-12-31"), "no day up to 2024-12-30"),
        (("--before", "before.csv", "--after", "after.csv", "--json", "before.csv"), "before.csv"),
        (("--before", "missing.csv", "--after", "after.csv"), "missing.csv"),
    ],
)
def test_one_message_for_what_cannot_be(folder, capsys, arguments, words):
    size = (folder / "before.csv").stat().st_size
    assert run(folder, "realised", "p.toml", *arguments) == 2
    error = capsys.readouterr().err
    assert words in error and error.count("error:") == 1
    assert (folder / "before.csv").stat().st_size == size


@pytest.mark.parametrize("option, value", [("--saving", "0"), ("--confidence", "100"), ("--precision", "0.1")])
def test_what_a_plan_is_asked_for(folder, capsys, option, value):
    assert run(folder, "plan-measurement", "p.toml", "--before", "before.csv", option, value) == 2
    assert "out of range" in capsys.readouterr().err


def test_a_file_of_somebody_else_stays(folder, capsys):
    own = folder / "mine.json"
    own.write_text("{}", encoding="utf-8")
    assert run(folder, *BOTH, "--json", "mine.json") == 2
    assert own.read_text(encoding="utf-8") == "{}" and "mine.json" in capsys.readouterr().err


def test_a_week_tells_no_number_but_what_is_needed(made, project, weather, read):
    log = read(made[0])
    found = realised(project, weather, "reset", log, cut(read(made[1]), last="2025-07-21"))
    fans = found["fan_kwh"]
    assert fans.saving is None and fans.interval_90 is None and "days with it measured" in fans.why
    assert found.needed is not None and found.needed.after >= 4 and found.cost_usd[0] is None
    text = realised_text(found, 100)
    assert "not told" in text and "Still needed:" in text
    assert realised_plain(found)["uses"][0]["saving"] is None


def test_the_same_log_twice(made, project, weather, read):
    """Nothing was saved: none is in the interval, and that the days are the same is told."""
    found = realised(project, weather, "reset", read(made[0]), read(made[0]))
    fans = found["fan_kwh"]
    assert fans.interval_90[0] < 0.0 < fans.interval_90[1]
    assert told(found, "overlap")[0].value["days"] == 165
    assert any(d.kind == "other_sequence" and d.part == "dsp" for d in found.defeats)


def test_mild_weather_is_no_year(made, project, weather, read):
    after = cut(read(made[1]), first="2025-09-20", last="2025-11-05")
    found = realised(project, weather, "reset", read(made[0]), after)
    fans = found["fan_kwh"]
    assert fans.saving is not None and fans.saving_year is None and fans.covered_frac < 0.85
    # What is claimed beside it is claimed of the same hours.
    assert fans.claimed < fans.claimed_year and fans.realised_frac == pytest.approx(fans.saving / fans.claimed)
    assert found.needed is not None
    assert "of these hours alone" in realised_text(found, 100)


def test_missing_hours_of_the_day_are_asked_for(made, project, weather, read):
    log = made[1]
    clock = (log.stamps - log.stamps.astype("datetime64[D]")).astype(float) / 3600.0
    cut_off = {key: np.where(clock >= 13.0, np.nan, v) for key, v in log.values.items()}
    found = realised(project, weather, "reset", read(made[0]), read(log, **cut_off))
    assert found["fan_kwh"].saving_year is None
    assert "the hours 14 to 18, which are not in both logs" in realised_text(found, 200)


def test_less_load_is_told_from_the_reset(made, project, weather, read, plain):
    light = make_log(replace(AFTER, gain_multiplier=0.6), seed=2, first_day=195, days=165, step_min=30)
    found = realised(project, weather, "reset", read(made[0]), read(light))
    assert told(found, "load")[0].value["change_frac"] < -0.1
    fans = found["fan_kwh"]
    assert fans.interval_90_year[0] > fans.claimed_year
    assert fans.modelled_year == pytest.approx(fans.claimed_year, rel=0.1)  # setpoints, not load
    assert "more was saved than claimed" in realised_text(found, 200)
    assert not told(plain, "load")


def test_rooms_meters_and_idle_days_are_told(made, project, weather, read):
    log = made[1]
    day = log.stamps.astype("datetime64[D]")
    idle = np.isin(day, np.arange("2025-08-04", "2025-08-07", dtype="datetime64[D]"))
    changes = {key: v + 2.0 for key, v in log.values.items() if key.startswith(("zone_temp", "zone_cooling_setpoint"))}
    changes["supply_fan_power"] = np.where(idle, 0.4, 1.0) * log.values["supply_fan_power"]
    changes["supply_fan_speed"] = 1.08 * log.values["supply_fan_speed"]
    found = realised(project, weather, "reset", read(made[0], zones=True), read(log, zones=True, **changes))
    assert told(found, "zone_setpoints")[0].value == {"zones": 6, "of": 6, "mean": pytest.approx(2.0, abs=0.1)}
    assert told(found, "idle_days")[0].value["days"] == ["2025-08-04", "2025-08-05", "2025-08-06"]
    # A speed that reads 8 % high is 15 to 20 % less power at equal speed by fan curves.
    assert told(found, "power_at_speed")[0].value["change_frac"] < -0.1


def test_other_running_hours_are_not_counted(made, project, weather, read):
    """A unit that runs shorter after the work saves no more by its reset: the year has the hours of the project."""
    hours = {**dict.fromkeys(range(5), (8.0, 16.0)), 5: None, 6: None}
    short = make_log(replace(AFTER, hours=hours), seed=2, first_day=195, days=165, step_min=30)
    found = realised(project, weather, "reset", read(made[0]), read(short))
    assert told(found, "running_hours")[0].caution
    fans = found["fan_kwh"]
    assert fans.covered_frac < 0.95
    low, high = fans.interval_90
    assert low <= fans.claimed <= high


def test_an_override_and_a_pinned_zone_are_named(made, project, weather, read):
    log = make_log(replace(AFTER, dsp_override=(0.2, 1.8)), seed=3, first_day=195, days=165, step_min=30)
    found = realised(project, weather, "reset", read(made[0]), read(log))
    over = [d for d in found.defeats if d.kind == "overridden"]
    assert [d.part for d in over] == ["dsp"] and over[0].frac == pytest.approx(0.2, abs=0.03)
    assert not any(d.kind == "other_sequence" for d in found.defeats)

    demand = project_from_mapping(project_mapping(dsp="demand", sat="fixed"))
    log, on = made[1], made[1].on
    names = log.unit.zones.names
    pinned = {f"zone_damper@{n}": np.where(on, 100.0 if k == 2 else 60.0, 0.0) for k, n in enumerate(names)}
    pinned[f"zone_flow@{names[2]}"] = 0.4 * log.values[f"zone_flow_setpoint@{names[2]}"]
    pinned |= {"dsp_setpoint": np.full(len(on), 1.4), "dsp": np.where(on, 1.4, 0.0)}
    found = realised(demand, weather, "reset", read(made[0]), read(log, zones=True, **pinned))
    pins = [d for d in found.defeats if d.kind == "pinned"]
    assert pins[0].zone == "VAV-3" and pins[0].frac > 0.9
    assert any(d.kind == "other_sequence" and "no reset acts" in d.text for d in found.defeats)


def test_units_and_sampling_do_not_matter(made, project, weather, read, tmp_path, plain):
    """The log after in metric units every hour, of which single values are those of the half hour."""
    log = made[1]
    every = slice(None, None, 2)
    c = lambda f: (f - 32.0) / 1.8
    table = pd.DataFrame(
        {
            "Time": pd.DatetimeIndex(log.stamps[every]).strftime("%d.%m.%Y %H:%M"),
            "Outside Air Temp (degC)": c(log.values["oat"][every]),
            "Supply Air Temp (degC)": c(log.values["sat"][every]),
            "Duct Static Pressure (Pa)": 249.082 * log.values["dsp"][every],
            "Supply Fan Power (W)": 1000.0 * log.values["supply_fan_power"][every],
            "Supply Fan Status": log.values["supply_fan_status"][every],
        }
    )
    path = tmp_path / "metric.csv"
    table.round(4).to_csv(path, sep=";", decimal=",", index=False)
    metric = realised(project, weather, "reset", read(made[0]), be.read_trends([path]))["fan_kwh"]
    fans = plain["fan_kwh"]
    # Half of the samples: a tenth of the interval.
    assert metric.saving_year == pytest.approx(fans.saving_year, abs=0.1 * np.ptp(fans.interval_90_year))


def test_points_that_everything_goes_by(made, project, weather, read):
    log = made[1]
    without = replace(log, values={k: v for k, v in log.values.items() if k != "oat"})
    with pytest.raises(InputError, match="lacks outdoor air temperature"):
        realised(project, weather, "reset", read(made[0]), read(without))
    few = [replace(m, values={k: m.values[k] for k in ("oat", "supply_fan_power")}) for m in made]
    found = realised(project, weather, "reset", read(few[0]), read(few[1]))
    assert [use.key for use in found.uses] == ["fan_kwh"] and found.cost_usd[0] is None
    assert len(found.blind) == 2 and "cannot be modelled" in " ".join(found.notes)
    dark = [replace(m, values={k: v for k, v in m.values.items() if "power" not in k}) for m in made]
    found = realised(project, weather, "reset", read(dark[0]), read(dark[1]))
    assert not found["fan_kwh"].measured and found["fan_kwh"].interval_90 is None


def test_another_air_handler_is_told(made, project, weather, read):
    """A meter in watts read as kilowatts, or the log of another unit: the energy before is not that of the baseline."""
    twice = [m.values["supply_fan_power"] * 2.0 for m in made]
    logs_ = [read(m, supply_fan_power=v) for m, v in zip(made, twice)]
    fans = realised(project, weather, "reset", *logs_)["fan_kwh"]
    assert any("the project's baseline has" in note for note in fans.notes)


def test_an_unmetered_log_says_so(made, project, weather, read):
    few = [replace(m, values={k: m.values[k] for k in ("oat", "supply_fan_status")}) for m in made]
    found = realised(project, weather, "reset", read(few[0]), read(few[1]))
    assert not found.uses and "Nothing can be said of what was saved" in realised_text(found, 100)
    realised_plain(found)


def test_plan_without_days(made, project, weather, read):
    with pytest.raises(InputError, match="too few days"):
        plan_measurement(project, weather, "reset", cut(read(made[0]), last="2025-01-03"))
    plan = plan_measurement(project, weather, "reset", read(made[0]), read(made[1]), saving_frac=0.02, precision=0.2)
    assert plan.best is None and "No number of weeks" in plan_text(plan, 100)


def test_one_log_of_both_sides(folder, capsys, tmp_path, plain):
    """A log that holds both sides is cut at the day of the change, which counts on neither side."""
    both = tmp_path / "both.csv"
    frames = [pd.read_csv(folder / name) for name in ("before.csv", "after.csv")]
    pd.concat(frames).to_csv(both, index=False)
    path = str(both)
    code = cli.main(
        ["realised", str(folder / "p.toml"), "--before", path, "--after", path, "--changed-on", "2025-07-01"]
        + ["--json", str(tmp_path / "r.json")]
    )
    assert code == 0, capsys.readouterr().err
    data = json.loads((tmp_path / "r.json").read_text(encoding="utf-8"))
    assert data["before"]["last_day"] < "2025-07-01" < data["after"]["first_day"]
    assert not any(change["key"] == "overlap" for change in data["changes"])
    assert data["uses"][0]["saving"] == pytest.approx(plain["fan_kwh"].saving, rel=1e-9)
