"""Text for terminals: what is in it, marks, widths."""

import dataclasses
import json
import re

import pytest
from builders import WEATHER, project_of, weather_of

from binestimator import terminal
from binestimator.bins import bin_table
from binestimator.errors import Finding
from binestimator.estimate import estimate
from binestimator.hours import build_conditions
from binestimator.results import Check, EqualService


@pytest.fixture(scope="module")
def results():
    """Three candidates of the plain project, with costs."""
    candidates = [
        {"id": "as_found"},
        {"id": "dsp_outdoor_air", "cost_usd": 5000, "incentive_usd": 1000},
        {
            "id": "colder",
            "name": "Colder supply air",
            "sat": {"strategy": "fixed", "setpoint_f": 52},
            "dsp": "as_found",
            "cost_usd": 100,
        },
    ]
    return estimate(project_of(project={"default_candidates": False}, candidate=candidates), weather_of())


def with_candidates(results, change):
    """Results whose candidates went through a function."""
    return dataclasses.replace(results, candidates=tuple(change(c) for c in results.candidates))


def row_of(text, candidate_id):
    """Mark and cells of a candidate's line of the table."""
    line = next(line for line in text.splitlines() if line[2:].split(" ")[0] == candidate_id and line[1] == " ")
    return line[0], line[2:].split()[1:]


@pytest.mark.crosscheck
def test_table_holds_the_rounded_figures_of_the_results(results):
    base, best = results.baseline, results["dsp_outdoor_air"]
    _, cells = row_of(terminal.comparison(results), "dsp_outdoor_air")
    figures = [float(cell.replace(",", "")) for cell in cells]
    keys = ("fan_kwh", "cooling_kwh", "fuel_therm", "pump_tower_kwh", "cost_usd")
    saving = best.saving["cost_usd"]
    expected = [best.annual[key] for key in keys] + [
        saving,
        100 * saving / base.annual["cost_usd"],
        5000 / saving,
        4000 / saving,
    ]
    # Printed to whole numbers; percent and years to one decimal.
    for figure, value, step in zip(figures, expected, [1.0] * 6 + [0.1] * 3, strict=True):
        assert abs(figure - value) <= 0.5000001 * step


def test_rows_residual_and_worst_errors_are_printed(results):
    choice = results.selection
    text = " ".join(terminal.comparison(results).split())
    assert f"{choice.rows} rows represent 8,760 h" in text and results.row_method in text
    assert (
        f"energy cost within {100 * choice.worst_cost_frac:.2f} % of the hour-by-hour run, savings within "
        f"{choice.worst_saving_points:.2f} points" in text
    )
    residual = float(re.search(r"residual of the choice (\S+) %", text).group(1))
    assert residual == pytest.approx(100 * choice.worst_residual_frac, rel=0.5)  # one digit is printed
    classic = dataclasses.replace(results, selection=dataclasses.replace(choice, worst_residual_frac=None))
    assert "residual" not in terminal.comparison(classic)


def test_marks(results):
    text = terminal.comparison(results)
    assert row_of(text, "as_found")[0] == "="
    assert row_of(text, "dsp_outdoor_air")[0] == "*"
    assert results.best.id == "dsp_outdoor_air" and "* best  dsp_outdoor_air" in text
    flag = EqualService(flagged=True, reasons=("rooms too warm: 12 against 0",))
    flagged = with_candidates(
        results, lambda c: dataclasses.replace(c, equal_service=flag, rank=None) if c.id == "dsp_outdoor_air" else c
    )
    text = terminal.comparison(flagged)
    assert row_of(text, "dsp_outdoor_air")[0] == "!"
    assert "    dsp_outdoor_air: rooms too warm: 12 against 0" in text.splitlines()
    none = with_candidates(results, lambda c: dataclasses.replace(c, rank=None))
    assert "best  none" in terminal.comparison(none)


def test_the_baseline_can_be_best(results):
    rank = {"as_found": 1, "dsp_outdoor_air": 2, "colder": 3}
    text = terminal.comparison(with_candidates(results, lambda c: dataclasses.replace(c, rank=rank[c.id])))
    assert row_of(text, "as_found")[0] == "*"
    assert "as_found, the baseline: no option of equal service costs less" in text


def test_a_loss_keeps_its_sign_and_never_pays_back(results):
    loss = results["colder"].saving["cost_usd"]
    assert loss < 0, "colder air than the rooms need costs more here"
    mark, cells = row_of(terminal.comparison(results), "colder")
    assert mark == " " and cells[-4] == f"{round(loss):,}" and cells[-3].startswith("-") and cells[-2:] == ["-", "-"]


@pytest.mark.invariant
@pytest.mark.parametrize("scale", [1.0, 1e4])
def test_lines_fit_the_terminal(results, scale):
    """Pumps give way where figures are wide."""

    def scaled(c):
        return dataclasses.replace(
            c, annual={k: v * scale for k, v in c.annual.items()}, saving={k: v * scale for k, v in c.saving.items()}
        )

    text = terminal.comparison(with_candidates(results, scaled))
    assert max(len(line) for line in text.splitlines()) <= terminal.WIDTH
    assert text.isascii()
    assert ("Pumps" in text) == (scale == 1.0)


def test_repairs_are_told_apart_from_resets(results):
    assert "Repair " not in terminal.comparison(results)
    kinds = {"as_found": "reset", "dsp_outdoor_air": "repair", "colder": "companion"}
    text = terminal.comparison(
        with_candidates(
            results, lambda c: dataclasses.replace(c, candidate=dataclasses.replace(c.candidate, kind=kinds[c.id]))
        )
    )
    assert "Repair    dsp_outdoor_air: with a repair" in text and "Companion colder: with a companion" in text


def test_nothing_is_printed_as_minus_zero():
    assert [terminal.whole(v) for v in (-0.3, 0.0, -0.0, 1234.5678, -1234.5678)] == ["0", "0", "0", "1,235", "-1,235"]
    assert [terminal.tenths(v) for v in (-0.04, -0.0, -0.06, 3.14)] == ["0.0", "0.0", "-0.1", "3.1"]


def test_failed_checks_and_cautions_are_told(results):
    changed = dataclasses.replace(
        results,
        checks=(
            *results.checks,
            Check(name="Hours", status="fail", value="8,759", expected="8,760", text=""),
            Check(name="Bins", status="fail", value="+0.6 %", expected="±0.5 %", text=""),
        ),
        findings=(*results.findings, Finding("caution", "coils", "Mixed air falls below the limit.")),
    )
    text = terminal.comparison(changed)
    assert (
        re.search(
            r"Checks .* 2 fail\n  failed  Hours: 8,759; expected 8,760\n  failed  Bins: \+0.6 %; expected \+/-0.5 %",
            text,
        )
        and text.isascii()
    )
    assert "Caution   Mixed air falls below the limit." in text.splitlines()
    assert "licensed practitioners" in text


@pytest.mark.invariant
@pytest.mark.parametrize("place", ["greensboro", "miami", "sand_point"])
def test_bins_show_all_hours(place):
    weather = weather_of(place)
    conditions = build_conditions(weather, project_of(weather={"file": str(WEATHER / weather.file_name)}))
    text = terminal.bins(bin_table(conditions), weather, "weekdays", 8760.0)
    lines = text.splitlines()
    rules = [k for k, line in enumerate(lines) if line.startswith("---")]
    rows = [line.split() for line in lines[rules[0] + 1 : rules[1]]]
    total = lines[rules[1] + 1].split()
    for column in (3, 4, 5):  # hours, occupied, off; behind "60 to <65"
        assert sum(int(row[column].replace(",", "")) for row in rows) == int(total[column - 2].replace(",", ""))
    assert total[1] == "8,760" and "all of them" in text
    assert max(map(len, lines)) <= terminal.WIDTH
    assert f"{abs(weather.longitude_deg):.2f} W" in text
    json.dumps(text)


def test_text_fits_a_narrow_terminal(results):
    wide, narrow = terminal.comparison(results), terminal.comparison(results, terminal.LEAST_WIDTH)
    assert (
        max(map(len, narrow.splitlines())) <= terminal.LEAST_WIDTH < max(map(len, wide.splitlines())) <= terminal.WIDTH
    )
    assert terminal.comparison(results, 60) == narrow and terminal.comparison(results, 300) == wide
    # The same saving in both; energies and paybacks may give way.
    saving = terminal.whole(results["dsp_outdoor_air"].saving["cost_usd"])
    assert all(saving in row_of(text, "dsp_outdoor_air")[1] for text in (wide, narrow))
