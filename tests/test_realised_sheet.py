"""What was realised on the sheet Realised: values of the results file, beside the claim, and no sheet without one."""

from __future__ import annotations

import copy
import io
import json
import re
import zipfile
from dataclasses import replace
from functools import cache

import openpyxl
import pytest
from hypothesis import given as given_values
from hypothesis import strategies
from realised_logs import project_mapping

from binestimator import cli
from binestimator.errors import InputError
from binestimator.estimate import estimate
from binestimator.inputs import project_from_mapping
from binestimator.inputs.write import project_to_toml
from binestimator.realised.report import as_json
from binestimator.realised.results_file import OTHER_INPUTS, of_project, read_realised
from binestimator.results import to_plain
from binestimator.seal import RESULTS, UNSEALED, seal_text
from binestimator.steps import weather_of
from binestimator.workbook import layout
from binestimator.workbook.charts import axis_of
from binestimator.workbook.formats import Styles
from binestimator.workbook.page import Work
from binestimator.workbook.sheets import realised
from binestimator.workbook.strict import Book

TEXTS = ("=1+1", "@SUM(A1)", "+2", "-3", "=cmd|' /C calc'!A0")


@cache
def project():
    return project_from_mapping({**project_mapping(), "bins": {"rows": "mean"}})


@cache
def results():
    return estimate(project(), weather_of(project()))


def log(name):
    return {"files": [name], "first_day": "2025-01-01", "last_day": "2025-05-01", "days": 121, "days_running": 80,
            "slot_min": 15.0}  # fmt: skip


def use(key, label, **changes):
    """An end use as modelled, with a figure of the year."""
    return {
        "key": key, "label": label, "unit": "kWh", "basis": "modelled", "saving": 900.0, "interval_90": None,
        "before": 3000.0, "claimed": 1000.0, "covered_frac": 1.0, "saving_year": 900.0, "interval_90_year": None,
        "claimed_year": 1000.0, "modelled_year": None, "realised_frac": 0.9, "realised_interval_90": None,
        "no_number": None, "notes": [],
    } | changes  # fmt: skip


def fit(days):
    return {"days": days, "hours": 9 * days, "day_to_day_correlation": 0.4, "independent_days": 0.5 * days,
            "cv_rmse_day": 0.1}  # fmt: skip


def measured(key, label, **changes):
    found = {
        "basis": "measured", "interval_90": [700.0, 1000.0], "saving": 850.0, "before": 3400.0, "claimed": 1020.0,
        "covered_frac": 0.9, "saving_year": 950.0, "interval_90_year": [760.0, 1140.0], "claimed_year": 1140.0,
        "modelled_year": 1100.0, "realised_frac": 950 / 1140, "realised_interval_90": [760 / 1140, 1.0],
        "season_correction": -12.5, "held": 60.0, "days_before": fit(80), "days_after": fit(70),
        "fractional_savings_uncertainty": 0.18, "terms": ["oat"], "by_bin": [{"oat_low_f": 50.0}],
    }  # fmt: skip
    return use(key, label, **{**found, **changes})


@cache
def _sound():
    return {
        "realised": "binestimator",
        "version": "0",
        "project": project().info.name,
        "inputs": project().checksum(),
        "option": "reset",
        "baseline": project().baseline_id,
        "weather": {"file": "w.csv", "running_hours": 3000},
        "before": log("before.csv"),
        "after": log("after.csv"),
        "uses": [
            measured("fan_kwh", "Fans"),
            measured("cooling_kwh", "Cooling", before=6800.0, covered_frac=0.6, saving_year=None, interval_90_year=None,
                     realised_frac=850 / 1020, realised_interval_90=[700 / 1020, 1000 / 1020]),
            measured("heating_kwh", "Electric heat", saving=None, saving_year=None, interval_90=None, before=None,
                     interval_90_year=None, realised_frac=None, realised_interval_90=None,
                     no_number="the log after has 3 days"),
            use("pump_tower_kwh", "Pumps and tower", before=0.0),
            use("reheat_kwh", "Reheat", saving=-500.0, saving_year=-500.0, realised_frac=-0.5),
        ],
        "cost_usd": {"realised_year": None, "claimed_year": 321.0},
        "gain_multiplier": 1.25,
        "still_needed": None,
        "still_needed_text": ["Still needed: 3 more weeks after"],
        "changes": [{"key": "load", "text": "the load was lower", "caution": True, "value": {"frac": 0.1}}],
        "defeats": [
            {"part": "sat", "kind": "at_limit", "text": "at its coldest", "hours": 30.0, "frac": 0.25, "zone": None,
             "caution": True},
            {"part": "dsp", "kind": "overridden", "text": "held by hand", "hours": 3.0, "frac": 0.03, "zone": "Z1",
             "caution": False},
        ],
        "not_told": ["fan power of one day is missing"],
        "checksum": UNSEALED,
    }  # fmt: skip


def sound(**changes):
    return {**copy.deepcopy(_sound()), **changes}


def given(tmp_path, data, name="realised.json"):
    path = tmp_path / name
    path.write_bytes(seal_text(as_json(data)))
    return path


def shown(tmp_path, data):
    """Results that carry what a file says, and what the file says."""
    found = of_project(read_realised(given(tmp_path, data)), project(), "realised.json")
    return replace(results(), realised=found), found


def alone(run):
    """A workbook with nothing but this sheet: the whole one is written once, by the command."""
    with Book(title="Realised", kind=RESULTS) as book:
        work = Work(book=book, styles=Styles(book), results=run)
        realised.write(work, book.sheet(layout.REALISED))
        return book.content()


def rows_of(content):
    return [list(row) for row in openpyxl.load_workbook(io.BytesIO(content))[layout.REALISED].iter_rows()]


def line_of(rows, label, after=""):
    start = next(k for k, row in enumerate(rows) if row[0].value == after) if after else 0
    return [cell.value for cell in next(row for row in rows[start:] if row[0].value == label)]


@pytest.mark.crosscheck
def test_the_sheet_holds_the_figures_of_the_file(tmp_path):
    run, _ = shown(tmp_path, sound())
    rows = rows_of(alone(run))
    fans = line_of(rows, "Fans", "End use")
    assert fans[1:4] == ["kWh", "measured", 1] and fans[4:8] == [950, 760, 1140, 1140]
    assert fans[8:11] == pytest.approx([950 / 1140, 760 / 1140, 1.0], rel=1e-15)
    # No figure of the year: that of the covered hours, with their claim.
    assert line_of(rows, "Cooling", "End use")[3:8] == [0.6, 850, 700, 1000, 1020]
    assert line_of(rows, "Electric heat", "End use")[3:8] == [None, "not told", None, None, 1140]
    assert line_of(rows, "Reheat", "End use")[2:8] == ["as modelled", 1, -500, None, None, 1000]
    assert line_of(rows, "Energy cost of these hours")[4:8] == ["not told", None, None, 321]
    assert line_of(rows, "Fans, kWh")[1:9] == [80, 70, 40, 35, 90, 60, -12.5, 1100]
    # Where there is no figure of the year, nothing was taken for hours that are not covered.
    assert line_of(rows, "Cooling, kWh")[6] is None
    text = "\n".join(str(cell.value) for row in rows for cell in row if cell.value is not None)
    for said in (
        f"{[c.id for c in run.candidates].index('reset') + 1} {run['reset'].name} (reset)",
        "before.csv: 2025-01-01 to 2025-05-01, 80 days with the fan running",
        "Electric heat: no number: the log after has 3 days",
        "internal gains times 1.25",
        "Still needed: 3 more weeks after",
        "the load was lower",
        "at its coldest (25 % more of the running time)",
        "held by hand (3 % of the running time)",
        "fan power of one day is missing",
    ):
        assert said in text
    assert not any(cell.data_type == "f" for row in rows for cell in row)
    assert OTHER_INPUTS[1:] not in text


@pytest.mark.invariant
def test_the_chart_shows_saving_interval_and_claim_as_shares_of_the_energy_before(tmp_path):
    run, found = shown(tmp_path, sound())
    content = alone(run)
    rows = rows_of(content)
    head = next(k for k, row in enumerate(rows) if row[1].value == "Realised")
    table = {row[0].value: [cell.value for cell in row[1:5]] for row in rows[head + 1 :] if row[0].value}
    # Nothing told, or nothing used before: no bar.
    assert list(table) == ["Fans", "Cooling", "Reheat, as modelled"]
    fans = [100 * v / 3400 for v in (850, 1020, 850 - 700, 1000 - 850)]
    assert table["Fans"] == pytest.approx(fans, rel=1e-12)
    assert table["Reheat, as modelled"] == [pytest.approx(-100 / 6), pytest.approx(100 / 3), None, None]
    with zipfile.ZipFile(io.BytesIO(content)) as archive:
        charts = [archive.read(n).decode() for n in archive.namelist() if re.fullmatch(r"xl/charts/chart\d+\.xml", n)]
    chart = next(text for text in charts if "of the energy before" in text)
    assert chart.count("<c:ser>") == 2 and chart.count("<c:errBars>") == 1
    bars = chart[chart.index("<c:errBars>") : chart.index("</c:errBars>")]
    drawn = [float(v) for v in re.findall(r"<c:v>([^<]*)</c:v>", bars)]
    # Of fans and cooling; ends of both intervals are equally far here.
    assert drawn == pytest.approx(2 * [fans[2], table["Cooling"][2], 0], rel=1e-12)
    of_axis = chart[chart.index("<c:valAx>") :]
    low, high, unit = (float(re.search(rf'<c:{end} val="([^"]*)"', of_axis)[1]) for end in ("min", "max", "majorUnit"))
    assert (low, high, unit) == (-20, 40, 10)


@pytest.mark.invariant
@given_values(strategies.lists(strategies.floats(-1e9, 1e9).map(lambda v: round(v, 6)), max_size=5))
def test_an_axis_holds_all_values_and_zero_on_its_steps(values):
    low, high, unit = axis_of(values)
    # What is left of a multiple of the unit is rounding.
    assert low * (1 + 1e-12) <= min(0.0, *values, 0.0) and high * (1 + 1e-12) >= max(0.0, *values, 0.0)
    assert 1 <= round((high - low) / unit) <= 8 and low / unit == pytest.approx(round(low / unit), abs=1e-9)


def test_little_in_the_file_makes_a_sheet_all_the_same(tmp_path):
    run, _ = shown(
        tmp_path,
        sound(uses=[], changes=[], defeats=[], not_told=[], still_needed_text=[],
              cost_usd={"realised_year": None, "claimed_year": 0.0}),
    )  # fmt: skip
    rows = rows_of(alone(run))
    text = "\n".join(str(cell.value) for row in rows for cell in row if cell.value is not None)
    assert "Nothing can be said of what was saved" in text and "Nothing was found that kept" in text


def test_text_of_the_file_is_text(tmp_path):
    data = sound(before=log(TEXTS[0]), after=log(TEXTS[1]), still_needed_text=list(TEXTS), not_told=list(TEXTS))
    for entry, text in zip(data["uses"], TEXTS):
        entry |= {"label": text, "unit": text, "notes": list(TEXTS)}
    data["changes"] = [{"key": text, "text": text, "caution": False, "value": {}} for text in TEXTS]
    run, found = shown(tmp_path, data)
    rows = rows_of(alone(run))
    cells = [cell for row in rows for cell in row if isinstance(cell.value, str)]
    assert all(cell.data_type == "s" for cell in cells)
    assert {text for text in TEXTS if any(cell.value == text for cell in cells)} == set(TEXTS)
    assert found.data["changes"][0]["text"] == TEXTS[0]


def test_changed_inputs_are_told(tmp_path):
    run, found = shown(tmp_path, sound(inputs="00000000"))
    assert found.other_inputs
    rows = rows_of(alone(run))
    assert any(OTHER_INPUTS[1:] in str(row[0].value) for row in rows)


@pytest.mark.parametrize(
    "changes, words",
    [
        ({"project": "Another"}, "another project; got 'Another'"),
        ({"baseline": "reset"}, "another baseline; got 'reset'"),
        ({"option": "else"}, "option that the project does not have; got 'else'; expected one of reset"),
        ({"option": project().baseline_id}, "option that the project does not have"),
    ],
)
def test_a_file_of_something_else(changes, words, tmp_path):
    found = read_realised(given(tmp_path, sound(**changes)))
    with pytest.raises(InputError, match=re.escape(words)):
        of_project(found, project(), "realised.json")


def _without(key):
    return lambda data: data.pop(key)


def _in_use(**changes):
    return lambda data: data["uses"][0].update(changes)


@pytest.mark.parametrize(
    "damage, words",
    [
        (_without("option"), "the part option"),
        (_without("uses"), "the part uses"),
        (_without("still_needed_text"), "the part still_needed_text"),
        (lambda d: d.update(uses=[3]), "the part uses"),
        (lambda d: d.update(uses=d["uses"] * 50), "the part uses"),
        (lambda d: d.update(before={"files": "a"}), "the part before.files"),
        (lambda d: d.update(cost_usd={"realised_year": "x", "claimed_year": 1}), "the part cost_usd.realised_year"),
        (lambda d: d.update(changes=[{"text": "t", "caution": 1}]), "the part changes[0].caution"),
        (lambda d: d.update(version=1e300), "a number out of range"),
        (lambda d: d.update(version=[[[[[[[[[[[1]]]]]]]]]]]), "holds more than such a file does"),
        (lambda d: d.update(version=[0] * 60_000), "holds more than such a file does"),
        (_in_use(basis="guessed"), "the part uses[0].basis"),
        (_in_use(saving="=1+1"), "the part uses[0].saving"),
        (_in_use(saving=True), "the part uses[0].saving"),
        (_in_use(interval_90_year=[2.0, 1.0]), "the part uses[0].interval_90_year"),
        (_in_use(days_after=None), "the part uses[0].days_after"),
        (_in_use(covered_frac=None), "the part uses[0].covered_frac"),
    ],
)
def test_a_damaged_file(damage, words, tmp_path):
    data = sound()
    damage(data)
    with pytest.raises(InputError, match=re.escape(words)):
        read_realised(given(tmp_path, data))


@pytest.mark.parametrize(
    "content, words",
    [
        ("", "not valid JSON"),
        ("[" * 5000, "not valid JSON"),
        ("[1]", "no results file of realised savings"),
        ('{"trends": "binestimator"}', "no results file of realised savings, but of the kind 'trend results'"),
        ('{"program": "binestimator"}', "but of the kind 'results'"),
        ('{"realised": "binestimator"}', "its checksum is another"),
        ('{"realised": "binestimator", "a": NaN, "checksum": "sealed"}', "a number out of range"),
        ('{"realised": "binestimator", "a": 1e999, "checksum": "sealed"}', "a number out of range"),
    ],
)
def test_what_is_no_results_file_of_realised_savings(content, words, tmp_path):
    path = tmp_path / "realised.json"
    path.write_bytes(seal_text(content.replace("sealed", UNSEALED)) if "sealed" in content else content.encode())
    with pytest.raises(InputError, match=words):
        read_realised(path)


def test_a_file_changed_by_hand(tmp_path):
    path = given(tmp_path, sound())
    path.write_text(path.read_text().replace("950.0", "1950.0"))
    with pytest.raises(InputError, match="changed since it was written"):
        read_realised(path)


def test_characters_that_do_not_print(tmp_path):
    """Half a pair of UTF-16 can stand in JSON, and in no text of a workbook or results file."""
    data = sound(not_told=["\ud800 and \x07"])
    text = json.dumps(data) + "\n"
    path = tmp_path / "realised.json"
    path.write_bytes(seal_text(text))
    found = read_realised(path)
    assert found.not_told == ("\\ud800 and \\u0007",)
    assert json.dumps(found.data).encode()


def test_the_command_writes_it_and_refuses_what_is_of_another_project(tmp_path, capsys):
    (tmp_path / "p.toml").write_text(project_to_toml(project()))
    out = tmp_path / "out"
    out.mkdir()
    command = ["estimate", str(tmp_path / "p.toml"), "--out", str(out), "--realised"]
    for path in (tmp_path / "none.json", given(tmp_path, sound(project="Another"), "other.json")):
        assert cli.main([*command, str(path)]) == 2
        said = capsys.readouterr().err
        assert path.name in said and "Traceback" not in said
        assert list(out.iterdir()) == []
    data = sound(inputs="00000000")
    path = given(tmp_path, data)
    before = path.read_bytes()
    assert cli.main([*command, str(path)]) == 0
    assert OTHER_INPUTS[:40] in capsys.readouterr().out
    assert path.read_bytes() == before
    written = json.loads((out / "p.json").read_text(encoding="utf-8"))
    assert written["realised"] == json.loads(before)
    names = openpyxl.load_workbook(out / "p.xlsx", read_only=True).sheetnames
    assert names.index(layout.REALISED) + 1 == names.index(layout.SOURCES)
    assert layout.REALISED not in (*layout.OWNER_SHEETS, *layout.sheet_order([], [], []))
    assert to_plain(results())["realised"] is None
