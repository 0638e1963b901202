"""The sheets of money: an independent spreadsheet program finds the same NPV, IRR, incentives and costs, before and
after edits."""

import re

import numpy as np
import pytest
from books import Book
from builders import merged, project_of, weather_of
from recalculation import RELATIVE, Spreadsheet, edited, number_of, without_values
from test_tariffs import TARIFF

from binestimator.advice import estimate_and_advise
from binestimator.estimate import estimate
from binestimator.results import to_plain
from binestimator.terminal import comparison
from binestimator.workbook import layout
from binestimator.workbook.addresses import cell_name
from binestimator.workbook.layout import NOTHING_EDITED, sheet_candidates
from binestimator.workbook.live.money_plan import FIRST_COLUMN, MoneyPlan
from binestimator.workbook.sheets.glance.places import STALE_ROW
from binestimator.workbook.write import build_workbook

RULES = {
    "peak_window": [{"name": "Afternoons", "hours": [13, 17], "averaging": "mean_of_daily_max"}],
    "incentive": [
        {"name": "Custom", "usd_kwh": 0.04, "usd_kw": 60, "usd_therm": 0.8, "cost_share_frac": 0.5,
         "longest_payback_years": 30},
        {"name": "Bonus", "usd_kwh": 0.01, "cap_usd": 100, "buy_down_years": 1.0},
    ],
    "cost": {"build_up": True, "dsp_demand_h": 11},
    "life_cycle": {"years": 12, "electricity_escalation_frac": 0.01, "fuel_escalation_frac": -0.01},
    "project": {"name": "Four zones", "default_candidates": False},
    "bins": {"rows": "mean"},
    "candidate": [
        {"id": "as_found"},
        {"id": "line", "name": "SAT by outdoor air", "sat": "outdoor_air", "dsp": "as_found"},
        {"id": "both", "name": "Both by demand", "sat": "demand", "dsp": "demand"},
        {"id": "airflow", "name": "DSP by airflow", "sat": "as_found", "dsp": "airflow", "hardware_usd": 500,
         "maintenance_usd_yr": 20},
        {"id": "dear", "name": "Dear", "sat": "as_found", "dsp": "demand", "cost_usd": 90000, "incentive_usd": 100},
    ],
}  # fmt: skip


@pytest.fixture(scope="module")
def results():
    return estimate_and_advise(project_of(**RULES), weather_of("greensboro"))


@pytest.fixture(scope="module")
def built(results):
    """Workbook of these results, and its pen."""
    return build_workbook(results)


@pytest.fixture(scope="module")
def spreadsheet(tmp_path_factory):
    return Spreadsheet(tmp_path_factory.mktemp("money"))


def sheet_figures(table, results):
    """Figures of the sheet by option and key."""
    positions = sheet_candidates(results)
    plan = MoneyPlan.of(results, positions)
    return {
        (results.candidates[k].id, key): table[row][column]
        for key, row in plan.rows.items()
        for column, k in enumerate(positions, FIRST_COLUMN)
        if row < len(table) and column < len(table[row])
    }


def same(text, value):
    return number_of(text) == pytest.approx(value, rel=RELATIVE, abs=1e-6)


def check(table, results):
    found = sheet_figures(table, results)
    for c in results.candidates:
        life = c.worth.life
        assert same(found[c.id, "npv"], float(life.npv_usd))
        assert same(found[c.id, "cost_usd"], c.worth.cost_usd)
        assert same(found[c.id, "incentive_usd"], c.worth.incentive_usd)
        for key, value in (("sir", life.sir), ("airr", life.airr), ("irr", life.irr)):
            if np.isfinite(value):
                # the program searches the internal rate of return to a tolerance of its own
                assert number_of(found[c.id, key]) == pytest.approx(float(value), rel=1e-5, abs=1e-7), (c.id, key)
            else:
                assert found[c.id, key] in ("no cost", "none")
        years = life.discounted_payback_years
        assert (
            found[c.id, "discounted_payback"] == "never"
            if np.isnan(years)
            else same(found[c.id, "discounted_payback"], float(years))
        )
        for t, flow in enumerate(life.flows_usd):
            assert same(found[c.id, f"flow.{t}"], float(flow))
        for n, line in enumerate(c.worth.incentive_lines):
            assert same(found[c.id, f"rule.{n}.usd"], line.usd)
            assert found[c.id, f"rule.{n}.bound"] == line.bound_by


@pytest.mark.crosscheck
def test_rules_and_build_up_count_where_an_option_gives_none(results):
    both, dear = results["both"], results["dear"]
    assert both.worth.cost_basis == "build_up" and both.candidate.cost_usd == both.worth.build_up.total_usd["expected"]
    assert both.worth.incentive_basis == "rules" and both.candidate.incentive_usd == both.worth.incentive_usd > 0.0
    assert dear.worth.cost_basis == dear.worth.incentive_basis == "given" and dear.candidate.cost_usd == 90000.0
    assert results["as_found"].worth.cost_basis == "none" and results["as_found"].candidate.incentive_usd == 0.0
    assert "airflow_station" in {line.key for line in results["airflow"].worth.build_up.lines}
    data = {c["id"]: c for c in to_plain(results)["candidates"]}
    assert data["both"]["sir"] > 0.0 and data["as_found"]["sir"] is None and data["as_found"]["airr"] is None
    assert data["dear"]["discounted_payback_years"] is None
    assert data["dear"]["life_cycle_notes"]["discounted_payback_years"] == "never"
    assert data["both"]["implementation_cost_usd"] == both.worth.cost_usd


@pytest.mark.crosscheck
def test_demand_of_a_window_is_from_its_hours_and_negative_where_it_rises(results):
    """Warmer supply air takes more air at the peak; nothing is prorated from the year's energy."""
    line = results["line"]
    assert line.worth.peak_saving_kw == pytest.approx(
        results.baseline.worth.windows[0].demand_kw - line.worth.windows[0].demand_kw
    )
    warm = estimate(
        project_of(
            **merged(RULES, {"candidate": [
                {"id": "as_found"}, {"id": "warm", "name": "Warm", "sat": {"strategy": "fixed", "setpoint_f": 62},
                                     "dsp": "as_found"},
            ]})
        ),
        weather_of("miami"),
    )  # fmt: skip
    rises = warm["warm"]
    assert rises.worth.peak_saving_kw == warm.baseline.worth.windows[0].demand_kw - rises.worth.windows[0].demand_kw
    assert rises.annual["fan_kwh"] > warm.baseline.annual["fan_kwh"]


def edited_money(built):
    """Workbook with other inputs of money, and these."""
    content, pen = built
    edits = {
        "life_cycle.discount_frac": 0.06,
        "cost.rate_usd_h": 150.0,
        "life_cycle.years": 9,
        "prices.fuel_usd_therm": 1.4,
    }
    cells = {path: (sheet, cell_name(row, column)) for path, (sheet, row, column) in pen.registry.edited.items()}
    return edited(content, {cells[path]: value for path, value in edits.items()}), edits


def check_all(found, expected):
    """Tables of the sheet by name against results."""
    for name, results in expected.items():
        table = found[name].table("Money")
        check(table, results)
        assert not [cell for row in table for cell in row if cell.startswith(("#", "Err:"))]


@pytest.mark.crosscheck
def test_spreadsheet_functions_find_the_same_money_after_edits(results, built, spreadsheet):
    changed, edits = edited_money(built)
    again = estimate(results.project.with_overrides(edits), results.weather, held=results.held)
    found = spreadsheet.recalculated({"changed": without_values(changed)})
    check_all(found, {"changed": again})
    told = found["changed"].table("At a glance")[STALE_ROW][0]
    assert "4 inputs edited" in told
    # Prices move no peak, but the rows that energy is summed over, ranks, and every range.
    assert "; ranges" in told and "peak windows" not in told


@pytest.mark.slow
@pytest.mark.crosscheck
@pytest.mark.parametrize("rows", ["representative", "mean"])
def test_spreadsheet_functions_find_the_same_money_before_edits_and_with_a_tariff(results, built, spreadsheet, rows):
    tariff = estimate(project_of(**merged(merged(TARIFF, RULES), {"bins": {"rows": rows}})), weather_of("greensboro"))
    content, pen = built
    sheet, row, column = pen.registry.terms("incentive[1].usd_kwh")
    rule = edited(content, {(sheet, cell_name(row, column)): 0.09})
    books = {"blank": without_values(content), "rule": rule, "tariff": without_values(build_workbook(tariff)[0])}
    found = spreadsheet.recalculated(books)
    check_all(found, {"blank": results, "tariff": tariff})
    # Terms of programmes are inputs as well: an edit of one is told, and followed.
    assert NOTHING_EDITED in found["blank"].table("At a glance")[STALE_ROW][0]
    assert "1 input edited" in found["rule"].table("At a glance")[STALE_ROW][0]
    assert "; ranges" in found["rule"].table("At a glance")[STALE_ROW][0]
    after, before = (sheet_figures(found[name].table("Money"), results) for name in ("rule", "blank"))
    assert number_of(after["both", "rule.0.earned"]) > number_of(before["both", "rule.0.earned"])
    for table in (found[name].table("Money") for name in found):
        assert not [cell for row in table for cell in row if cell.startswith(("#", "Err:"))]


@pytest.mark.invariant
def test_every_amount_of_the_build_up_is_an_input_that_says_whose_it_is(results, built):
    marks = {line.key: line.mark for line in results["both"].worth.build_up.lines}
    assert marks["dsp_demand"] == "estimator's" and marks["test"] == "default"
    book = Book(built[0], data_only=True)
    texts = [str(cell.value) for row in book["Money"].iter_rows() for cell in row if cell.value is not None]
    assert any("11 h each: estimator's" in text for text in texts)
    assert any("each: default" in text for text in texts)


@pytest.mark.invariant
def test_another_currency_is_on_sheets_and_in_the_terminal_and_changes_no_figure(results):
    named = estimate(project_of(**merged(RULES, {"prices": {"currency": "EUR"}})), weather_of("greensboro"))
    assert to_plain(named)["currency"] == "EUR" and to_plain(results)["currency"] == "USD"
    assert {c.id: c.annual for c in named.candidates} == {c.id: c.annual for c in results.candidates}
    assert " EUR" in comparison(named) and "USD" not in comparison(named) and "USD" in comparison(results)
    content, _ = build_workbook(named)
    book = Book(content)
    formats = {cell.number_format for row in book["Money"].iter_rows() for cell in row if cell.value is not None}
    assert any("EUR" in code for code in formats) and not any("$" in code for code in formats)
    texts = [str(cell.value) for row in book["At a glance"].iter_rows() for cell in row if cell.value is not None]
    assert any("EUR " in text for text in texts) and not any("$" in text for text in texts if not text.startswith("="))
    # Headings and units of the program say the currency; sources and inputs keep their own words.
    for name in (*layout.PRINTED_SHEETS, "Money", "Live year", "Comparison", "Measures", "Patterns", "Review"):
        texts = [str(cell.value) for row in book[name].iter_rows() for cell in row if cell.value is not None]
        wrong = [text for text in texts if re.search(r"\bUSD\b", text)]
        assert not wrong, (name, wrong)


@pytest.mark.invariant
def test_held_values_say_what_demand_and_ranges_rest_on(results, built):
    """What an edit leaves as in the run: demand of windows by what moves hours, ranges by everything."""
    sheet = Book(built[0], data_only=True)["Held values"]
    head = next(row for row in sheet.iter_rows() if row[1].value == "Key in the project file")
    at = {str(cell.value): k for k, cell in enumerate(head) if cell.value}
    rests = {str(row[1].value): row for row in sheet.iter_rows(min_row=head[0].row + 1)}
    demand, ranges = at["Peak windows and billed demand"], at["Ranges"]
    for path, wanted in {
        "fan.efficiency_frac": (1, 1),
        "peak_window[1].hours": (1, 1),
        "prices.fuel_usd_therm": (None, 1),
        "incentive[1].usd_kw": (None, 1),
        "cost.rate_usd_h": (None, 1),
    }.items():
        assert (rests[path][demand].value, rests[path][ranges].value) == wanted, path
    banner = [str(cell.value) for row in Book(built[0])["Held values"].iter_rows(max_row=6) for cell in row]
    assert any("; peak windows and billed demand" in text and "; ranges" in text for text in banner)
