"""Maps, fragments, merging and the command: what is written is read again, and nothing given is lost unsaid."""

from __future__ import annotations

import json
import tomllib
from dataclasses import replace

import numpy as np
import pytest
from trend_logs import Truth, make_log, mapping

from binestimator import cli
from binestimator.errors import InputError
from binestimator.inputs import project_from_mapping, read_project
from binestimator.inputs.write import project_to_toml
from binestimator.seal import FRAGMENT, MERGED, TREND_MAP, TRENDS, mark_of, seal_text
from binestimator.strategies.tables import line
from binestimator.trends.found import Found, InputFound
from binestimator.trends.fragment import fragment_text
from binestimator.trends.map_file import map_to_toml, read_map
from binestimator.trends.match import guideline_14
from binestimator.trends.merge import ADDED, KEPT, REFUSED, REPLACED, SAME, merge
from binestimator.trends.report import trends_text
from binestimator.trends.study import read_trends, study

TRUTH = Truth(sat_override=(0.3, 58.0))

PROJECT = """
[project]
name = "Short"
default_candidates = false
[weather]
file = "723170TYA.CSV"
[schedule]
weekday_hours = [7, 19]
[[group]]
name = "office"
[[zone]]
name = "VAV-1"
area_ft2 = 1200
[sat.as_found]
points = [[60, 56]]
[[candidate]]
id = "as_found"
name = "As found"
sat = "as_found"
dsp = "as_found"
"""


@pytest.fixture(scope="module")
def log(tmp_path_factory):
    return make_log(TRUTH, days=40).csv(tmp_path_factory.mktemp("log") / "ahu.csv")


@pytest.fixture(scope="module")
def found(log):
    return study(read_trends([log]))


@pytest.fixture
def project(tmp_path):
    path = tmp_path / "short.toml"
    path.write_text(PROJECT)
    return path


@pytest.mark.invariant
def test_a_drafted_map_is_read_as_it_was_written(log, tmp_path):
    first = read_trends([log])
    path = tmp_path / "map.toml"
    path.write_bytes(seal_text(map_to_toml(first.points)))
    points = read_map(path)
    assert [(e.column, e.key, e.unit) for e in points.used] == [(e.column, e.key, e.unit) for e in first.points.used]
    again = read_trends([log], points)
    assert set(again.values) == set(first.values)
    for key in first.values:
        assert np.array_equal(again.values[key], first.values[key], equal_nan=True)


def test_what_is_wrong_with_a_map_is_said_at_once(tmp_path, log, capsys):
    path = tmp_path / "map.toml"
    path.write_text(
        '[log]\ntimezone = "Mars/Olympus"\ndate_order = "upwards"\n'
        '[[point]]\ncolumn = "a"\nkind = "satt"\nunit = "degF"\n'
        '[[point]]\ncolumn = "b"\nkind = "sat"\nunit = "cfm"\n'
        '[[point]]\ncolumn = "c"\nkind = "zone_temp"\nunit = "degF"\n'
        '[[point]]\nkind = "sat"\n[[point]]\ncolumn = "d"\ntype = "sat"\n'
    )
    assert cli.main(["trends", str(log), "--map", str(path)]) == 2
    said = capsys.readouterr().err
    for words in (
        "Mars/Olympus",
        "date_order",
        "satt",
        "did you mean",
        "no unit of supply air temperature",
        "point[3].zone",
        "point[4].column",
        "point[5].type",
    ):
        assert words in said, words
    path.write_text('[[point]]\ncolumn = "Suply Air Temp (degF)"\nkind = "sat"\nunit = "degF"\n')
    assert cli.main(["trends", str(log), "--map", str(path)]) == 2
    assert "did you mean Supply Air Temp (degF)?" in capsys.readouterr().err


@pytest.mark.invariant
def test_a_fragment_is_part_of_a_project(found):
    raw = tomllib.loads(fragment_text(found))
    assert raw["schedule"]["weekday_hours"] == [6, 18]
    assert set(raw["evidence"]) == set(raw["status"]) and set(raw["status"].values()) == {"trended"}
    assert all("ahu.csv" in text for text in raw["evidence"].values())
    base = tomllib.loads(PROJECT)
    zones = [{"name": f"VAV-{k}", "area_ft2": 1000} for k in range(1, 7)]
    whole = {**raw, **{k: v for k, v in base.items() if k not in raw}, "zone": zones}
    project = project_from_mapping(whole)
    assert project.status_of("schedule.weekday_hours") == "trended"
    assert project.candidate("as_found").sat.override_frac == pytest.approx(0.3, abs=0.03)


@pytest.mark.invariant
def test_given_values_stay_unless_they_are_to_be_replaced(found, project):
    merged, actions, text = merge(project, found)
    by_path = {m.path: m for m in actions}
    assert by_path["schedule.weekday_hours"].action == KEPT and by_path["schedule.weekday_hours"].given == [7, 19]
    assert by_path["candidate.as_found.sat.points"].action == KEPT
    assert by_path["candidate.as_found.dsp.points"].action == ADDED
    assert by_path["zone[VAV-1].min_cfm"].action == ADDED and by_path["zone[VAV-2].min_cfm"].action == REFUSED
    assert list(merged.schedule.weekday_hours) == [7.0, 19.0]
    assert merged.statuses["schedule.saturday_hours"] == "trended" and "schedule.weekday_hours" not in merged.statuses
    assert project_from_mapping(tomllib.loads(text), project.parent) == merged
    merged, actions, _ = merge(project, found, replace_given=True)
    assert {m.path: m.action for m in actions}["schedule.weekday_hours"] == REPLACED
    assert list(merged.schedule.weekday_hours) == [6.0, 18.0]
    # Once more, and nothing changes.
    path = project.parent / "merged.toml"
    path.write_text(merge(project, found, replace_given=True)[2])
    again, actions, _ = merge(path, found)
    assert again == read_project(path)
    assert {m.action for m in actions} <= {SAME, REFUSED}


@pytest.mark.invariant
def test_what_does_not_go_with_a_project_is_refused_alone(found, project):
    project.write_text(PROJECT + '[override]\n"economizer.type" = "none"\n')
    base = read_project(project)
    merged, actions, _ = merge(project, found)
    assert merged.economizer.type == "none" == base.economizer.type
    assert {m.path: m.action for m in actions}["candidate.as_found.dsp.points"] == ADDED


def test_the_command_writes_all_or_nothing(log, project, tmp_path, capsys):
    names = {"--draft-map": "map.toml", "--out": "fragment.toml", "--json": "found.json", "--merged": "new.toml"}
    given = [part for option, name in names.items() for part in (option, str(tmp_path / name))]
    assert cli.main(["trends", str(log), "--project", str(project), *given]) == 0
    said = capsys.readouterr().out
    kinds = {"map.toml": TREND_MAP, "fragment.toml": FRAGMENT, "found.json": TRENDS, "new.toml": MERGED}
    for name, kind in kinds.items():
        mark = mark_of((tmp_path / name).read_bytes())
        assert mark.kind == kind and mark.whole, name
        assert name in said
    data = json.loads((tmp_path / "found.json").read_text())
    assert {f["key"] for f in data["found"] if not f["known"]} and data["log"]["days"] == 40
    assert any(m["action"] == "kept" for m in data["merged"]) and "KEPT" in said
    # A second run replaces what the program wrote; a map that was changed is somebody's work.
    assert cli.main(["trends", str(log), "--project", str(project), *given]) == 0
    (tmp_path / "map.toml").write_text((tmp_path / "map.toml").read_text() + "# mine\n")
    before = {name: (tmp_path / name).read_bytes() for name in kinds}
    capsys.readouterr()
    assert cli.main(["trends", str(log), "--project", str(project), *given]) == 2
    assert "map.toml" in capsys.readouterr().err
    assert before == {name: (tmp_path / name).read_bytes() for name in kinds}


@pytest.mark.parametrize(
    "options, words",
    [
        (["--merged", "x.toml"], "--project"),
        (["--replace-given"], "--merged"),
        (["--timezone", "Nowhere/Town"], "Nowhere/Town"),
        (["--out", "same.toml", "--json", "same.toml"], "two files"),
    ],
)
def test_options_that_do_not_go_together(log, options, words, tmp_path, capsys, monkeypatch):
    monkeypatch.chdir(tmp_path)
    code = cli.main(["trends", str(log), *options])
    assert code == 2 and words in capsys.readouterr().err
    assert not list(tmp_path.iterdir())


def test_a_log_is_never_overwritten(log, capsys):
    before = log.read_bytes()
    assert cli.main(["trends", str(log), "--out", str(log), "--force"]) == 2
    assert log.read_bytes() == before


@pytest.mark.parametrize("width", [80, 100])
def test_the_report_fits_the_terminal(found, width):
    text = trends_text(found, width)
    assert text.isascii() and max(map(len, text.splitlines())) <= width
    for words in ("Cannot be told", "Supply air temperature setpoint", "schedule.weekday_hours = [6, 18]"):
        assert words in text


def test_text_of_the_log_stays_text(tmp_path):
    """Headings that would be formulas, TOML or codes of a terminal go through as text."""
    bad = '=cmd|x!A1 Supply Air Temp (degF)"\x1b[31m\\'
    path = tmp_path / "log.csv"
    rows = [f"2025-01-0{1 + k // 96} {k % 96 // 4:02d}:{k % 4 * 15:02d},55,50,1" for k in range(384)]
    heading = '"' + bad.replace('"', '""') + '"'
    path.write_text("\n".join([f"Time,{heading},OAT,Supply Fan Status", *rows]))
    found = study(read_trends([path]))
    assert "sat" in found.log.values
    assert "\x1b" not in trends_text(found, 100)
    saved = tmp_path / "map.toml"
    saved.write_bytes(seal_text(map_to_toml(found.log.points)))
    assert "sat" in {e.key for e in read_map(saved).used}
    tomllib.loads(fragment_text(found))


@pytest.mark.published
def test_guideline_14_statistics():
    """ASHRAE Guideline 14-2014: NMBE = sum(m - s)/((n - p) mean m), CV(RMSE) = sqrt(sum (m - s)^2/(n - p))/mean m;
    by hand for three values."""
    measured, modelled = np.array([100.0, 120.0, 140.0]), np.array([90.0, 120.0, 160.0])
    nmbe, cv = guideline_14(measured, modelled, np.ones(3))
    assert nmbe == pytest.approx(-10.0 / 2 / 120.0, rel=1e-12)
    assert cv == pytest.approx((500.0 / 2) ** 0.5 / 120.0, rel=1e-12)


def test_an_error_of_a_project_is_that_of_the_project(found, tmp_path):
    path = tmp_path / "bad.toml"
    path.write_text("[project]\nname = 3\n")
    with pytest.raises(InputError, match="bad.toml"):
        merge(path, found)


@pytest.mark.invariant
@pytest.mark.parametrize("given, action", [(1.5, SAME), (1.4, KEPT)])
def test_a_fixed_table_is_the_same_wherever_its_point_is(found, project, given, action):
    project.write_text(PROJECT + f"[dsp.as_found]\npoints = [[71, {given}]]\n")
    one = InputFound("candidate.as_found.dsp.points", [[66.0, 1.5]], "Trend log")
    fixed = replace(found, found=(Found("dsp_setpoint", "", True, "", "", inputs=(one,)),))
    assert [m.action for m in merge(project, fixed)[1]] == [action]


@pytest.mark.crosscheck
def test_loads_are_scaled_to_the_airflow_at_the_setpoints_of_the_log(tmp_path, capsys):
    """A building with 1.3 times the gains of its project is found to have them, whatever the project's own table says:
    within 5 %, since the log is of 50 days with noise of its own and other hours of each bin than the year's."""
    truth = Truth(gain_multiplier=1.3, sat_override=(0.3, 58.0))
    path = make_log(truth, first_day=120, days=50).csv(tmp_path / "log.csv", zones=False)
    raw = mapping(truth)
    raw["sat"] = {"as_found": {"points": [[60, 55]]}}
    (tmp_path / "p.toml").write_text(project_to_toml(project_from_mapping(raw)))
    given = ["--project", str(tmp_path / "p.toml"), "--json", str(tmp_path / "found.json")]
    assert cli.main(["trends", str(path), *given]) == 0
    assert "Measured and modelled" in capsys.readouterr().out
    data = json.loads((tmp_path / "found.json").read_text())
    scaling = next(f for f in data["found"] if f["key"] == "load_scaling")
    value = scaling["value"]
    assert value["multiplier"] == pytest.approx(1.3, rel=0.05)
    assert abs(value["after"]["nmbe"]) < 0.005 < value["before"]["nmbe"]
    assert value["after"]["cv_rmse"] < value["before"]["cv_rmse"]
    assert {i["path"] for i in scaling["inputs"]} == {f"zone.Z{k}.gain_multiplier" for k in range(1, 7)}
    # The baseline follows the table of the log, overridden 30 % of the time to 58 degF; half a bin of its slope is
    # 0.9 degF.
    seen = {bin_["oat_low_f"] for bin_ in data["by_outdoor_air"] if bin_["hours"] >= 5.0}
    assert len(seen) >= 6
    for modelled in data["modelled_by_outdoor_air"]:
        if modelled["occupied"] and modelled["oat_low_f"] in seen:
            table = 0.7 * line(modelled["oat_low_f"] + 2.5, truth.sat_points) + 0.3 * 58.0
            assert modelled["sat_setpoint_f"] == pytest.approx(table, abs=1.0)
