"""Ranges where people and programs read them: terminal, first page, sheets, charts, results file."""

import io
import json
import re
from dataclasses import replace

import openpyxl
import pytest
from books import Book
from builders import merged, project_of, weather_of
from test_money_sheet import RULES

from binestimator.advice import estimate_and_advise
from binestimator.ranges.claim import LEAST_SPREAD_FRAC, claim_of
from binestimator.ranges.results import DEFAULT, NEVER, OWN, PHYSICS, PRICES, Quantiles, example_ranges, sensible
from binestimator.terminal import comparison, quick_check
from binestimator.workbook import layout
from binestimator.workbook.figures import in_percent, key_figures, sure_lines
from binestimator.workbook.sheets.glance.columns import MOST_COLUMNS, columns_of
from binestimator.workbook.sheets.money_charts import effort_lines, flow_columns, shown_option
from binestimator.workbook.sheets.ranges import span
from binestimator.workbook.write import client_bytes, results_bytes, workbook_bytes


def with_ranges(results, **changes):
    ids = [c.id for c in results.candidates]
    return replace(results, ranges=replace(example_ranges(ids, results.baseline_id, about_id="both"), **changes))


@pytest.fixture(scope="module")
def bare():
    # A name that begins as a formula does, in a currency of its own.
    raw = merged(RULES, {"prices": {"currency": "EUR"}})
    raw["candidate"] = [{**c, "name": "=1+1"} if c["id"] == "both" else c for c in raw["candidate"]]
    return estimate_and_advise(project_of(**raw), weather_of("greensboro"))


@pytest.fixture(scope="module")
def results(bare):
    return with_ranges(bare)


@pytest.fixture(scope="module")
def files(results):
    return {"working": workbook_bytes(results), "client": client_bytes(results)}


@pytest.fixture(scope="module")
def books(files):
    return {name: openpyxl.load_workbook(io.BytesIO(content)) for name, content in files.items()}


def texts(sheet):
    return [str(cell.value) for line in sheet.iter_rows() for cell in line if cell.value is not None]


# --- claim ------------------------------------------------------------------------------------


def test_a_result_that_rests_on_defaults_is_not_fit_for_a_claim(results):
    claim = claim_of(results)
    assert claim.option_id == "both" and claim.defaults == ("Plug and process power",) and not claim.fit
    assert claim.words == "plug and process power"
    ranges = results.ranges
    # Prices are not what a programme pays for, and a little of the spread may rest on defaults.
    for changes in ({"basis": OWN}, {"spread_frac": LEAST_SPREAD_FRAC / 2}):
        options = tuple(
            replace(option, drivers=tuple(replace(d, **changes) for d in option.drivers)) for option in ranges.options
        )
        assert claim_of(with_ranges(results, options=options)).fit
    kinds = tuple(replace(one, kind=PRICES) for one in ranges.inputs)
    assert claim_of(with_ranges(results, inputs=kinds)).fit
    assert {one.kind for one in ranges.inputs} == {PHYSICS, PRICES} and ranges.inputs[0].basis == DEFAULT
    assert claim_of(with_ranges(results, about_id=None)).option_id is None


def test_without_draws_the_drivers_say_it(bare):
    claim = claim_of(bare)
    assert claim.option_id == bare.advice.drivers_of and claim.defaults
    assert not any("Price" in label for label in claim.defaults)


# --- terminal ---------------------------------------------------------------------------------


@pytest.mark.parametrize("width", [80, 100])
@pytest.mark.parametrize("say", [comparison, quick_check])
def test_the_terminal_says_range_and_confidence(results, say, width):
    text = say(results, width)
    assert max(map(len, text.split("\n"))) <= width and text.isascii()
    for words in ("Ranges    coarse, 128 draws", "Measure   ", "Claim     not fit for a programme claim", "P50"):
        assert words in text
    line = next(line for line in text.split("\n") if re.match(r". airflow ", line) and "85" in line)
    assert (NEVER in line) == (width == 100 and results.ranges["airflow"].quantities["payback_years"].p90 is None)
    assert "USD" not in text and "EUR" in text
    assert "Ranges" not in say(replace(results, ranges=None), width)


def test_a_probability_is_never_rounded_to_certainty():
    assert [in_percent(value) for value in (None, 0.0, 0.001, 0.5, 0.996, 1.0)] == ["–", "0", "<1", "50", ">99", "100"]


def test_a_range_says_never():
    years = lambda value: f"{value:.1f}"
    assert span(Quantiles(p10=1.0, p50=2.0, p90=3.0, run=2.0), years) == "1.0 to 3.0"
    assert span(Quantiles(p10=1.0, p50=None, p90=None, run=None, missing=NEVER), years) == "1.0 to never"
    assert span(Quantiles(p10=None, p50=None, p90=None, run=None, missing=NEVER), years) == NEVER
    assert span(Quantiles(p10=None, p50=None, p90=None, run=None), years) == "–"


# --- results file -----------------------------------------------------------------------------


def test_the_results_file_carries_the_ranges(results, bare):
    data = json.loads(results_bytes(results))
    by_id = {c["id"]: c for c in data["candidates"]}
    for option in results.ranges.options:
        found = by_id[option.id]
        assert {"npv_usd", "sir", "peak_kw_saving"} <= set(found)
        for key in ("cost_saving_usd", "electricity_saving_kwh", "payback_years"):
            rounded = sensible(option.quantities[key])
            assert [found["range"][key][p] for p in ("p10", "p50", "p90")] == [rounded.p10, rounded.p50, rounded.p90]
            assert found["range"][key]["missing"] == (rounded.missing or None)
        assert found["probability_best"] == option.probability_best
        assert found["probability_pays_back"] == option.probability_pays_back
    never = by_id["both"]["range"]["payback_years"]
    assert never["p90"] is None and never["missing"] == "never"
    assert sum(c["probability_best"] for c in data["candidates"]) == pytest.approx(1.0)
    assert data["ranges"]["fit_for_claim"] is False and data["ranges"]["rests_on_defaults"] == [
        "Plug and process power"
    ]
    assert data["ranges"]["run_id"] == results.ranges.run_id
    none = json.loads(results_bytes(bare))
    assert none["ranges"] is None and all(c["range"] is None for c in none["candidates"])


def test_every_key_of_ranges_is_documented(results):
    from test_readme import keys_of, text_of

    full = example_ranges([c.id for c in results.candidates], results.baseline_id, coarse=False, about_id="both")
    data = json.loads(results_bytes(replace(results, ranges=full)))
    ids = {c.id for c in results.candidates}
    own = ("range", "probability", "realised", "break")
    of_options = [{key: value for key, value in c.items() if key.startswith(own)} for c in data["candidates"]]
    found = {key for each in (*of_options, {"ranges": data["ranges"]}) for key in keys_of(each)}
    known = set(re.findall(r"`([a-z_0-9.]+)`", text_of("output/README.md")))
    assert found - ids <= known, found - ids - known


# --- workbook ---------------------------------------------------------------------------------


def test_the_first_page_leads_with_range_and_confidence(results, bare, books):
    assert 2 + len(columns_of(results)) <= MOST_COLUMNS
    keys = [key for key, *_ in columns_of(results)]
    assert {"saving_range", "probability_best"} <= set(keys)
    assert not {"saving_range", "probability_best"} & {key for key, *_ in columns_of(bare)}
    for book in books.values():
        said = texts(book[layout.GLANCE])
        assert any("in 8 of 10 draws" in text for text in said)
    shown = shown_option(results)
    first = key_figures(results)
    assert "8 of 10 draws" in first[0][1] or shown is None
    assert any("not fit for a programme claim" in remark for *_, remark in first)
    sure = " ".join(sure_lines(results))
    assert "inputs are defaults" in sure and "Not fit for a programme claim" in sure and "coarse, 128 draws" in sure


def test_sheets_of_ranges_and_charts_are_there_with_values_alone(results, books):
    for name, book in books.items():
        said = texts(book[layout.RANGES])
        joined = " ".join(said)
        assert results.ranges.run_id in joined and "coarse, 128 draws" in joined and "Plug and process power" in joined
        assert "log the power of the panels" in joined and NEVER in joined and "=1+1" in said
        assert len(book[layout.RANGES]._charts) == 2 and len(book[layout.MONEY_CHARTS]._charts) == 6
        for sheet in (book[layout.RANGES], book[layout.MONEY_CHARTS]):
            assert all(cell.data_type != "f" for line in sheet.iter_rows() for cell in line), name
            assert sheet.sheet_properties.pageSetUpPr.fitToPage
        assert "USD" not in joined and "EUR" in joined
    assert layout.MONEY in books["working"].sheetnames and layout.MONEY not in books["client"].sheetnames


def drawn(chart):
    """Formulas of the cells that the series of a chart draw."""
    found = []
    for each in chart._charts:
        for series in each.ser:
            values = getattr(series, "val", None) or getattr(series, "yVal", None)
            found.append(values.numRef.f)
    return found


def test_charts_draw_cells_with_the_figures_of_the_run(results, files, books):
    """Cash flows are live in the working file and values in a client edition; both show the same numbers."""
    option = shown_option(results)
    years, columns = flow_columns(results)
    assert len(years) == results.project.life_cycle.years + 1
    for name, book in books.items():
        values = Book(files[name], data_only=True)
        charts = book[layout.MONEY_CHARTS]._charts
        sheets = {formula.split("!")[0].strip("'") for chart in charts for formula in drawn(chart)}
        assert (layout.MONEY in sheets) == (name == "working") and layout.PATTERNS in sheets
        (flow, *_) = drawn(charts[2])  # behind those of the ranges
        where, _, area = flow.partition("!")
        cells = [cell.value for (cell,) in values[where.strip("'")][area.replace("$", "")]]
        life = option.worth.life
        assert cells == pytest.approx([float(v) for v in life.flows_usd], rel=1e-9, abs=1e-9)
        effort = drawn(charts[5])
        hours = {round(hours, 6) for _, hours, _ in effort_lines(results)}
        assert len(hours) >= 2 and sum(1 for _ in effort) == 2
    back = columns["back"]
    assert all(len(column) == len(years) for column in back)


def test_without_ranges_the_sheet_says_so(bare):
    book = openpyxl.load_workbook(io.BytesIO(client_bytes(bare)))
    assert any("No ranges were drawn" in text for text in texts(book[layout.RANGES]))
    assert len(book[layout.MONEY_CHARTS]._charts) == 4


def test_same_results_same_bytes(results, files):
    assert workbook_bytes(results) == files["working"]
