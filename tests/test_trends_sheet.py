"""Measured beside modelled on the sheet Trends: values of the log and of the baseline, and no sheet without a log."""

from __future__ import annotations

import json
from dataclasses import replace
from functools import cache

import openpyxl
import pytest
from trend_logs import Truth, make_log, mapping

from binestimator import cli
from binestimator.errors import InputError
from binestimator.estimate import estimate
from binestimator.inputs import project_from_mapping
from binestimator.seal import seal_text
from binestimator.steps import weather_of
from binestimator.trends.measured import Measured, beside_model, read_measured
from binestimator.trends.report import trends_json
from binestimator.trends.study import read_trends, study
from binestimator.workbook import layout
from binestimator.workbook.write import workbook_bytes

TRUTH = Truth()


@cache
def results():
    project = project_from_mapping({**mapping(TRUTH), "bins": {"rows": "mean"}})
    return estimate(project, weather_of(project))


@pytest.fixture(scope="module")
def found(tmp_path_factory):
    folder = tmp_path_factory.mktemp("found")
    made = make_log(TRUTH, days=40)
    text = trends_json(study(read_trends([made.csv(folder / "ahu.csv", zones=False)])))
    (folder / "found.json").write_bytes(seal_text(text))
    return folder / "found.json"


def cells_of(content, tmp_path, name):
    (tmp_path / "book.xlsx").write_bytes(content)
    book = openpyxl.load_workbook(tmp_path / "book.xlsx", data_only=True, read_only=True)
    return book.sheetnames, [
        list(row) for row in book[name].iter_rows(values_only=True)
    ] if name in book.sheetnames else []


@pytest.mark.crosscheck
def test_the_sheet_holds_what_was_measured_and_what_is_modelled(found, tmp_path):
    run = results()
    measured = beside_model(read_measured(found), run.project, run.weather)
    names, rows = cells_of(workbook_bytes(replace(run, trends=measured)), tmp_path, layout.TRENDS)
    assert layout.TRENDS in names
    head = next(k for k, row in enumerate(rows) if row[0] == "Outdoors, °F")
    columns = {text: k for k, text in enumerate(rows[head]) if text}
    data = json.loads(found.read_text())
    wanted = [line for line in data["by_outdoor_air"] if line["occupied"]]
    modelled = {line["oat_low_f"]: line for line in measured.modelled if line["occupied"]}
    for row, line in zip(rows[head + 1 :], wanted):
        assert row[0] == line["oat_low_f"] + 2.5
        for heading, key in (("SAT, °F", "sat_f"), ("DSP, in. w.c.", "dsp_inwc"), ("Airflow, cfm", "flow_cfm")):
            assert row[columns[f"{heading}, measured"]] == pytest.approx(line[key], rel=1e-12)
            if line["oat_low_f"] in modelled:
                assert row[columns[f"{heading}, modelled"]] == pytest.approx(
                    modelled[line["oat_low_f"]][key], rel=1e-12
                )
    week = next(k for k, row in enumerate(rows) if row[0] == "Hour of the week")
    assert len(rows) - week > 168
    names, _ = cells_of(workbook_bytes(run), tmp_path, layout.TRENDS)
    assert layout.TRENDS not in names


@pytest.mark.invariant
def test_a_log_with_little_in_it_makes_a_sheet_all_the_same(tmp_path):
    run = results()
    little = Measured("=cmd|x, 2025", ({"oat_low_f": 50.0, "occupied": 0.0, "hours": 4.0, "sat_f": 56.0},), ())
    names, rows = cells_of(workbook_bytes(replace(run, trends=little)), tmp_path, layout.TRENDS)
    assert any("=cmd|x" in str(cell) for row in rows for cell in row if cell)


@pytest.mark.parametrize(
    "content, words",
    [
        ("", "not valid JSON"),
        ("[1]", "no results file of trend logs"),
        ('{"program": "binestimator"}', "no results file of trend logs"),
        ('{"trends": "binestimator"}', "the part log"),
        ('{"trends": "binestimator", "log": {"files": []}, "by_outdoor_air": 3}', "by_outdoor_air"),
        ('{"trends": "binestimator", "log": {"files": []}, "by_outdoor_air": [{"hours": 1}]}', "lacks"),
        (
            '{"trends": "binestimator", "log": {"files": []}, "by_outdoor_air": [], "typical_week": []}',
            "nothing was measured",
        ),
        ("[" * 5000, "not valid JSON"),
    ],
)
def test_what_is_no_results_file_of_trend_logs(content, words, tmp_path):
    path = tmp_path / "found.json"
    path.write_text(content)
    with pytest.raises(InputError, match=words):
        read_measured(path)


def test_the_command_refuses_it_before_it_estimates(tmp_path, capsys):
    from binestimator.inputs.write import project_to_toml

    (tmp_path / "p.toml").write_text(project_to_toml(project_from_mapping(mapping(TRUTH))))
    given = ["estimate", str(tmp_path / "p.toml"), "--out", str(tmp_path), "--trends", str(tmp_path / "none.json")]
    assert cli.main(given) == 2
    assert "none.json" in capsys.readouterr().err
    assert [p.name for p in tmp_path.iterdir()] == ["p.toml"]
