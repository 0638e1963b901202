"""The workbook says what the results say, cell by cell, and can be trusted as a file."""

import io
import json
import re
import zipfile
from dataclasses import replace
from functools import cache

import numpy as np
import openpyxl
import pytest
from books import Book
from builders import project_of, weather_of
from openpyxl.utils.cell import coordinate_to_tuple

from binestimator.end_uses import END_USES, ENERGY_KEYS
from binestimator.estimate import estimate
from binestimator.inputs import FIELDS
from binestimator.inputs.form_content import form_content
from binestimator.inputs.schema import SINGLE_SECTIONS
from binestimator.results import ANNUAL, COUNT_KEYS
from binestimator.workbook import layout, workbook_bytes, write_results_json, write_workbook
from binestimator.workbook.addresses import cell_name
from binestimator.workbook.figures import cost_by_end_use, plain_words, rounded, step_for, when_text
from binestimator.workbook.form_layout import results_plan
from binestimator.workbook.live.columns import FIRST_ROW as LINES_FIRST_ROW
from binestimator.workbook.live.columns import TOTAL_ROWS
from binestimator.workbook.page import unit_text
from binestimator.workbook.sheets.glance.columns import MOST_COLUMNS, columns_of
from binestimator.workbook.sheets.glance.places import ANSWER_ROW, FIRST_ROW, STALE_ROW
from binestimator.workbook.sheets.glance.remarks import review_row

# Numbers are written with 16 significant digits.
DIGITS = 1e-15

HOSTILE = "=1+1 [all]: \"DSP\" / SAT* ? & <b>'end'"


@cache
def small():
    """Results of a small project that has every kind of sheet content, a hostile name among it.

    On mean rows: reading a table of 240 rows for each of eight candidates takes ten seconds.
    """
    project = project_of(
        project={
            "name": '=HYPERLINK("x") & Söhne 100% {name}',
            "building": "=2+2",
            "notes": "two\nlines",
            "prepared_by": "@SUM(A1)",
            "default_candidates": True,
        },
        candidate=[
            {"id": "dsp_demand", "cost_usd": 4000, "incentive_usd": 500},
            {"id": "hostile", "name": HOSTILE, "sat": "outdoor_air", "dsp": "demand"},
            {"id": "hostile_2", "name": HOSTILE + " and more", "sat": "as_found", "dsp": "airflow", "cost_usd": 10},
            {
                "id": "repair",
                "name": "Minimums lowered",
                "kind": "companion",
                "sat": "demand",
                "dsp": "demand",
                "override": {"group.*.minimum_flow_frac": 0.15, "heating.enabled_unoccupied": True},
            },
        ],
        sat={"as_found": {"override_frac": 0.2, "override_f": 57}},
        evidence={"fan.motor_hp": "nameplate, photo 12", "zone.South.max_cfm": "=balancing report"},
        heating={"enabled_unoccupied": True},
        bins={"rows": "mean"},
    )
    return estimate(project, weather_of("greensboro"))


@cache
def on_rows():
    """Results of two candidates on representative rows, whose figures differ from those of mean rows."""
    project = project_of(
        project={"name": "Representative rows", "default_candidates": False},
        candidate=[{"id": "as_found"}, {"id": "dsp_demand", "cost_usd": 4000, "incentive_usd": 500}],
        sat={"as_found": {"override_frac": 0.2, "override_f": 57}},
        bins={"width_f": 10},
    )
    return estimate(project, weather_of("greensboro"))


@cache
def content():
    return workbook_bytes(small())


@cache
def book_of(results):
    return Book(content() if results is small else workbook_bytes(results()))


def book():
    return book_of(small)


@cache
def values_book():
    """The same with the values that formulas carry."""
    return Book(content(), data_only=True)


def close(value):
    """The value as a file holds it."""
    return value if value is None else pytest.approx(value, rel=DIGITS, abs=0.0)


def sheet_names_of_candidates(results):
    names = layout.candidate_sheet_names([c.name for c in results.candidates])
    return {k: names[k] for k in layout.sheet_candidates(results)}


def rows_by_label(sheet, column=1):
    found = {}
    for row in range(1, sheet.max_row + 1):
        found.setdefault(sheet.cell(row, column).value, []).append(row)
    return found


# ---------------------------------------------------------------- values


@pytest.mark.crosscheck
def test_live_year_carries_every_annual_figure():
    """What a viewer without calculation shows; that the formulas give it is tested in test_live.py."""
    results, sheet = small(), values_book()[layout.LIVE_YEAR]
    rows = {}
    for line in sheet.iter_rows(min_row=6, values_only=True):
        rows.setdefault((line[0], line[1]), line[2:])
    for key, label, unit, _ in ANNUAL:
        found = rows.get((label, unit.replace("degF", "°F")))
        if key in (*ENERGY_KEYS, "electricity_kwh", "cost_usd", "reheat_kbtu", "mean_sat_f", "mean_dsp_inwc"):
            for place, position in enumerate(sheet_names_of_candidates(results)):
                assert found[place] == pytest.approx(results.candidates[position].annual[key], rel=1e-12, abs=1e-12), (
                    key,
                    position,
                )


def test_band_for_reviews_stays_empty_until_an_input_is_edited():
    """Before a review the file says that nothing was edited, and nothing looks claimed or reviewed; formulas wait.

    What they give after an edit is recalculated in test_live.py.
    """
    results, sheet, formulas = small(), values_book()[layout.GLANCE], book()[layout.GLANCE]
    row = review_row(results) + 1
    for k in range(3):
        for place in range(1, 3 + len(columns_of(results))):
            assert not (sheet.cell(row + k, place).value or "").strip()
            assert str(formulas.cell(row + k, place).value).startswith("=IF($A$")
    assert not any("claimed" in str(c) for line in sheet.iter_rows(values_only=True) for c in line)
    assert sheet.cell(STALE_ROW + 1, 1).value == layout.NOTHING_EDITED


@pytest.mark.crosscheck
@pytest.mark.parametrize("of", [small, on_rows])
def test_comparison_holds_every_figure_of_every_candidate_in_full(of):
    results, sheet = of(), book_of(of)[layout.COMPARISON]
    if of is on_rows:  # else figures of rows could stand for those of classic bins
        assert results.baseline.annual["cost_usd"] != results.baseline.classic["cost_usd"]
    at = rows_by_label(sheet)
    for key, label, _, _ in ANNUAL:
        sources = ["hourly"] if key in COUNT_KEYS else ["annual", "hourly", "classic"]
        rows = [row for row in at[label] if not str(sheet.cell(row, 3).number_format).startswith("+")]
        if key in results.baseline.saving:
            saving = [row for row in at[label] if str(sheet.cell(row, 3).number_format).startswith("+")]
            assert len(saving) == 1
            for place, c in enumerate(results.candidates, 3):
                assert sheet.cell(saving[0], place).value == close(c.saving[key])
        assert len(rows) == len(sources), label
        for row, source in zip(rows, sources, strict=True):
            for place, c in enumerate(results.candidates, 3):
                assert sheet.cell(row, place).value == close(getattr(c, source)[key])
    for place, c in enumerate(results.candidates, 3):
        assert sheet.cell(at["Peak electricity"][0], place).value == close(c.peak_kw)
        assert sheet.cell(at["Implementation cost"][0], place).value == c.candidate.cost_usd
        assert sheet.cell(at["Simple payback"][0], place).value == close(c.payback_years)


@pytest.mark.crosscheck
def test_at_a_glance_rounds_and_never_clips():
    results, sheet = small(), book()[layout.GLANCE]
    heads = {str(sheet.cell(FIRST_ROW, k).value).split("\n")[0]: k for k in range(1, sheet.max_column + 1)}
    base = results.baseline
    labels = {"Fans": ("fan_kwh",), "Cooling": ("cooling_kwh", "pump_tower_kwh"), "Fuel": ("fuel_therm",)}
    assert 2 + len(columns_of(results)) <= MOST_COLUMNS
    signs = set()
    for row, c in enumerate(results.candidates, FIRST_ROW + 1):
        for label, keys in labels.items():
            step = max(step_for(max(abs(x.annual[key]) for x in results.candidates)) for key in keys)
            found = sheet.cell(row, heads[label]).value
            assert abs(found - sum(c.annual[key] - base.annual[key] for key in keys)) <= step / 2 + 1e-6
            assert found == pytest.approx(round(found / step) * step)
            signs.add(np.sign(found))
        assert (
            abs(sheet.cell(row, heads["Energy cost"]).value - c.annual["cost_usd"])
            <= step_for(max(x.annual["cost_usd"] for x in results.candidates)) / 2
        )
        mark = sheet.cell(row, 1).value
        assert ("BEST" in mark) == (c.rank == 1) and ("▲" in mark) == c.equal_service.flagged
        assert c.name in sheet.cell(row, 2).value and ("baseline" in sheet.cell(row, 2).value) == (c.id == base.id)
    assert signs == {-1.0, 0.0, 1.0}
    text = " ".join(str(cell) for line in sheet.iter_rows(values_only=True) for cell in line if cell is not None)
    assert "Not reconciled with bills" in text and "▲" in text and results.run_id in text
    for c in results.candidates:
        for reason in c.equal_service.reasons:
            assert plain_words(reason) in text


@pytest.mark.invariant
def test_hours_of_the_bins_visibly_total_those_of_the_file():
    sheet = book_of(on_rows)[layout.BINS]
    row = rows_by_label(sheet)["Total or mean"][0]
    heads = {sheet.cell(layout.BINS_FIRST_ROW - 1, k).value: k for k in range(1, sheet.max_column + 1)}
    hours = [
        sheet.cell(row, heads[label]).value for label in ("Hours", "Occupied", "Unoccupied, running", "Air handler off")
    ]
    assert hours[0] == 8760.0 and sum(hours[1:]) == pytest.approx(8760.0, rel=1e-12)
    assert "they agree" in sheet["A3"].value
    rows = book_of(on_rows)[layout.ROWS]
    at = next(
        row for row, value in enumerate((rows.cell(r, 3).value for r in range(1, 20)), 1) if value == "Total or mean"
    )
    weight = next(k for k in range(1, rows.max_column + 1) if rows.cell(layout.ROWS_FIRST_ROW - 2, k).value == "Weight")
    assert rows.cell(at, weight).value == pytest.approx(8760.0, rel=1e-9)
    assert sum(rows.cell(r, weight).value for r in range(at + 1, rows.max_row + 1)) == pytest.approx(8760.0, rel=1e-9)


@pytest.mark.crosscheck
def test_cost_of_the_end_uses_sums_to_the_cost():
    for c in small().candidates:
        assert sum(cost_by_end_use(small(), c).values()) == pytest.approx(c.annual["cost_usd"], rel=1e-9)


def test_every_input_stands_somewhere_with_its_origin():
    """Each input has a cell that counts, with the engine's value, beside what was given and what counts otherwise."""
    results = small()
    plan = results_plan(form_content(results.project, results.sizes, spare_points=0))
    values, shown = values_book(), book()
    paths = set()
    for path, _, value, _, _, _, origin, _, _, _ in results.project.effective_rows():
        sized = results.sizes.get(path, (None, "", ""))
        if isinstance(value, tuple) and value and isinstance(value[0], tuple):  # points have cells by coordinate
            cells = [
                (f"{path}.{axis}{k}", part)
                for k, point in enumerate(value, 1)
                for axis, part in zip("xy", point, strict=True)
            ]
        elif f"{path}.x1" in plan.counts:  # a line that is not given
            cells = [(f"{path}.x1", None), (f"{path}.y1", None)]
        else:
            cells = [(path, sized[0] if value is None and sized[2] == "sized" else value)]
        for cell_path, expected in cells:
            sheet, row, column = plan.counts[cell_path]
            found = values[sheet].cell(row + 1, column + 1).value
            if isinstance(expected, (int, float)) and not isinstance(expected, bool):
                assert found == close(expected), cell_path
            elif isinstance(expected, str) and expected:
                assert found == expected, cell_path
            elif expected is None:
                assert found in ("none", "–"), cell_path
            if "." in cell_path and not path.endswith((".id", ".name", ".strategy")):
                sheet, row, column = plan.yours[cell_path]
                given = shown[sheet].cell(row + 1, column + 1).value is not None
                shared = path.startswith("candidate") and results.project.origins[path] == "given"
                assert given == (origin == "given" and path not in results.project.overrides) or shared, cell_path
        paths.add(path)
    assert len(paths) > 300
    inputs = {c for line in values[layout.INPUTS].iter_rows(values_only=True) for c in line}
    assert "nameplate, photo 12" in inputs and "=balancing report" in inputs
    assert {field.description for field in FIELDS if field.section in SINGLE_SECTIONS} <= inputs
    # The source of a default that follows from other inputs is that of its rule.
    defaults = results.project.defaults
    assert {
        defaults[f.path][1] if f.path in defaults else f.source
        for f in FIELDS
        if f.section in SINGLE_SECTIONS and f.source
    } <= inputs


def test_overrides_and_findings_and_checks_are_printed():
    results = small()
    text = {
        name: " ".join(str(c) for line in book()[name].iter_rows(values_only=True) for c in line if c is not None)
        for name in (layout.CHECKS, layout.CAUTIONS, layout.SERVICE)
    }
    changes = [
        line for line in book()[layout.STRATEGIES].iter_rows(values_only=True) if "group.*.minimum_flow_frac" in line
    ]
    assert len(changes) == 1 and "repair" in changes[0] and 0.15 in changes[0]
    for check in results.checks:
        assert check.name in text[layout.CHECKS] and check.text in text[layout.CHECKS]
    for finding in results.findings:
        assert finding.text in text[layout.CHECKS]
    for word in (
        "Ventilation",
        "mould",
        "Freezing",
        "Pressure relationships",
        "Smoke control",
        "Healthcare",
        "laboratories",
        "Local codes",
        "licensed",
        "Not modelled",
        "typical year",
    ):
        assert word in text[layout.CAUTIONS]
    for c in results.candidates:
        for zone in c.zones["zone"]:
            assert zone in text[layout.SERVICE]


# ---------------------------------------------------------------- the file


def test_there_is_no_formula_error_or_hidden_sheet():
    for sheet in book().worksheets:
        assert sheet.sheet_state == "visible"
        for line in sheet.iter_rows():
            for cell in line:
                assert cell.data_type != "e", (sheet.title, cell.coordinate)
                if isinstance(cell.value, str):
                    assert not re.match(r"#(N/A|REF|VALUE|NUM|DIV|NAME|NULL)", cell.value)
    with zipfile.ZipFile(io.BytesIO(content())) as file:
        names = file.namelist()
        assert not [n for n in names if "vba" in n.lower() or "external" in n.lower()]
        for name in names:
            if name.startswith("xl/worksheets/sheet"):
                xml = file.read(name).decode()
                formulas = re.findall(
                    r'<c(?: r="([A-Z]+\d+)")?[^>]*>(?:<f[^>]*>[^<]*</f>|<f[^>]*/>)(<v>[^<]+</v>)?', xml
                )
                assert len(formulas) == len(re.findall("<f[ >]", xml))
                assert not [(name, address) for address, value in formulas if not value]
                assert "nan" not in re.sub("financ|maintenance", "", xml.lower()) and 'r:id="rId1"' not in re.sub(
                    r"<drawing[^>]*>", "", xml
                )


def test_hostile_text_stays_text():
    results = small()
    cells = {
        (s.title, c.coordinate): c
        for s in book().worksheets
        for line in s.iter_rows()
        for c in line
        if isinstance(c.value, str) and c.value.startswith(("=", "@", "+", "-"))
    }
    values = {c.value for c in cells.values()}
    assert results.project.info.name in values and "=2+2" in values and "@SUM(A1)" in values
    hostile = [
        c for c in cells.values() if c.value in (results.project.info.name, "=2+2", "@SUM(A1)") or c.value[0] != "="
    ]
    assert len(hostile) > 5 and all(c.data_type == "s" for c in hostile)
    assert book()[layout.GLANCE]["A1"].value == results.project.info.name


def test_sheet_names_are_short_unique_and_allowed():
    names = book().sheetnames
    assert len({n.casefold() for n in names}) == len(names)
    assert all(
        0 < len(n) <= 31 and not set(n) & set("[]:*?/\\") and not n.startswith("'") and not n.endswith("'")
        for n in names
    )
    only_where_given = {layout.AS_RUN, layout.TRENDS, layout.REALISED}
    assert names[0] == layout.GLANCE and set(layout.CONTENTS) - only_where_given <= set(names)
    # At most eight candidates have a sheet, baseline and best among them; all are on the comparison.
    results = small()
    with_sheet = layout.sheet_candidates(results)
    assert len(with_sheet) == layout.MOST_CANDIDATE_SHEETS < len(results.candidates)
    assert {results.baseline_id, results.best.id} <= {results.candidates[k].id for k in with_sheet}
    guide = [c for line in book()[layout.GUIDE].iter_rows(values_only=True) for c in line if isinstance(c, str)]
    for k, c in enumerate(results.candidates):
        if k not in with_sheet:
            assert any(f"{k + 1} {c.name}" in text for text in guide)


@pytest.mark.parametrize(
    "names",
    [
        ["a" * 80, "a" * 80],
        ["", ""],
        ["'quoted'", "[]:*?/\\"],
        ["Checks", "checks"],
        ["ẞ" * 40, "ss" * 20],
        ["History"] * 3,
        ["\u00a0", "1"],
    ],
)
def test_any_candidate_names_make_good_sheet_names(names):
    made = layout.candidate_sheet_names(names)
    assert len({n.casefold() for n in made} | {n.casefold() for n in layout.CONTENTS}) == len(made) + len(
        layout.CONTENTS
    )
    assert all(0 < len(n) <= 31 and not re.search(r"[\[\]:*?/\\]", n) and n == n.strip("' ") for n in made)


def test_print_set_up_of_every_sheet():
    for sheet in book().worksheets:
        # The title is not lost under a link.
        assert sheet["A1"].value and sheet["A1"].value != "to the guide" and not sheet["A1"].hyperlink, sheet.title
        assert sheet.page_setup.orientation == "landscape" and sheet.sheet_properties.pageSetUpPr.fitToPage, sheet.title
        footer = sheet.oddFooter
        assert small().run_id in footer.left.text and footer.right.text.strip() == "&A  ·  Page &P of &N"
        assert (
            footer.left.size == footer.right.size == 8 and not footer.center.text
        )  # no digit of a name joins the size
        assert sheet.print_area
        assert not sheet.sheet_view.showGridLines
    assert book()[layout.GLANCE].page_setup.fitToHeight == 0 and len(book()[layout.GLANCE].row_breaks.brk) == 1
    assert book()[layout.INPUTS].page_setup.fitToHeight == 0
    for name in (
        layout.INPUTS,
        layout.ZONES,
        layout.ROWS,
        layout.COMPARISON,
        layout.BINS,
        *sheet_names_of_candidates(small()).values(),
    ):
        assert book()[name].freeze_panes and book()[name].print_title_rows, name


def shown_length(value, code):
    """Characters of a number under one of the number styles, and the mark behind it."""
    codes = code.split(";")
    one = codes[1] if value < 0 and len(codes) > 1 else codes[0]
    mark = re.search(r'" .+"$', one)
    digits = len(one.split(".")[1].rstrip('%"')) if "." in one and "General" not in one else 0
    digits = min(digits, len(re.sub(r"[^0#]", "", one.split(".")[1])) if "." in one and "General" not in one else 0)
    scale = 100.0 if "%" in one else 1.0
    text = f"{abs(value):g}" if "General" in one else f"{abs(value) * scale:,.{digits}f}"
    extra = sum(sign in one for sign in ("+", "−", "%", "$")) + (value < 0 and len(codes) == 1)
    return len(text) + extra + (2 if mark else 0)


def test_no_number_is_wider_than_its_column():
    merged = {
        s.title: {c for m in s.merged_cells.ranges for line in m.cells for c in [line]} for s in book().worksheets
    }
    checked = 0
    for sheet in book().worksheets:
        for line in sheet.iter_rows():
            for cell in line:
                if not isinstance(cell.value, (int, float)) or (cell.row, cell.column) in merged[sheet.title]:
                    continue
                # A digit of Arial 10 is 7 pixels wide, of Arial 9 six and a half; 5 pixels of padding.
                width = sheet.column_dimensions[cell.column_letter].width * 7.0
                bold = 1.05 if cell.font.b else 1.0
                needed = shown_length(cell.value, cell.number_format) * 0.71 * cell.font.sz * bold
                assert needed <= width, (sheet.title, cell.coordinate, cell.value, cell.number_format)
                checked += 1
    assert checked > 10_000


@pytest.mark.invariant
def test_what_stays_in_view_leaves_room_for_lines():
    """A common screen shows some 700 pixels of rows; half of them at least must be free to scroll."""
    checked = 0
    for sheet in book().worksheets:
        if sheet.freeze_panes:
            row, _ = coordinate_to_tuple(sheet.freeze_panes)
            points = sum(sheet.row_dimensions[k].height or sheet.sheet_format.defaultRowHeight for k in range(1, row))
            assert points * 4.0 / 3.0 < 350.0, sheet.title
            checked += 1
    assert checked > 15


@pytest.mark.parametrize("whole", [False, pytest.param(True, marks=pytest.mark.slow)])
def test_tables_of_rows_print_a_specimen(whole):
    """The loads; with the sheets of candidates as a larger slice."""
    names = ("Loads", *(sheet_names_of_candidates(on_rows()).values() if whole else ()))
    read = book_of(on_rows).only(*names)
    for name in names:
        sheet = read[name]
        last = int(re.search(r"(\d+)$", sheet.defined_names["paper"].attr_text).group(1))
        assert sheet.page_setup.fitToHeight in (None, 1) and last < sheet.max_row
        assert "are printed" in sheet.cell(LINES_FIRST_ROW, 1).value


def test_charts_draw_cells_that_hold_numbers():
    glance = book()[layout.GLANCE]
    assert len(glance._charts) == 3
    drawn = 0
    with zipfile.ZipFile(io.BytesIO(content())) as file:
        for name in file.namelist():
            if not name.startswith("xl/charts/chart"):
                continue
            xml = file.read(name).decode()
            for kind in ("val", "yVal", "xVal"):
                for ref in re.findall(rf"<c:{kind}><c:numRef><c:f>(.*?)</c:f>", xml):
                    sheet, area = re.fullmatch(r"'?(.*?)'?!(.*)", ref).groups()
                    found = values_book()[sheet][area.replace("$", "")]
                    cells = [c.value for line in found for c in line] if isinstance(found, tuple) else [found.value]
                    assert cells and all(isinstance(v, (int, float)) for v in cells if v is not None), ref
                    drawn += 1
    assert drawn > 20


def test_defined_names_cannot_be_read_as_cells_and_lead_to_their_values():
    results = small()
    names = book().defined_names
    assert len(names) > 300
    for name, defined in names.items():
        assert not re.match(r"(?i)^([a-z]{1,3}\d+|r\d*c\d*)$", name) and re.fullmatch(r"[A-Za-z_][\w.]*", name)
        ((sheet, at),) = defined.destinations
        assert sheet in book().sheetnames and at.startswith("$")
    ((sheet, at),) = names["year_1_cost_usd"].destinations
    assert book()[sheet][at].value == close(results.candidates[0].annual["cost_usd"])
    ((sheet, at),) = names["in_prices_electricity_usd_kwh"].destinations
    assert values_book()[sheet][at].value == results.project.prices.electricity_usd_kwh


@pytest.mark.slow
def test_same_results_same_bytes():
    """Estimated and written twice; that a second process gives the same is tested in test_cli.py."""
    project = project_of(
        bins={"rows": "mean"},
        project={"default_candidates": False},
        candidate=[{"id": "as_found"}, {"id": "hostile", "name": HOSTILE, "sat": "outdoor_air", "dsp": "demand"}],
    )
    first, again = (workbook_bytes(estimate(project, weather_of("greensboro"))) for _ in range(2))
    assert first == again


def test_a_number_that_is_not_finite_stops_the_workbook():
    from binestimator.errors import WorkbookError

    results = small()
    broken = replace(results.candidates[0], annual=results.candidates[0].annual | {"fan_kwh": float("inf")})
    with pytest.raises(WorkbookError):
        workbook_bytes(replace(results, candidates=(broken, *results.candidates[1:])))


# ---------------------------------------------------------------- kinds of projects


@pytest.mark.parametrize(
    "changes",
    [
        {"cooling": {"type": "purchased"}, "heating": {"type": "purchased"}},
        pytest.param(
            {
                "cooling": {"type": "none"},
                "heating": {"type": "electric"},
                "schedule": {"unoccupied_mode": "off"},
                "bins": {"rows": "mean"},
            },
            marks=pytest.mark.slow,
        ),
        pytest.param({"bins": {"rows": "mean"}, "schedule": {"unoccupied_mode": "continuous"}}, marks=pytest.mark.slow),
    ],
)
def test_other_plants_and_rows_are_written(changes):
    project = project_of(
        **{"bins": {"width_f": 10}, **changes},
        project={"name": "Other", "default_candidates": False},
        candidate=[
            {"id": "a", "name": "A", "sat": "as_found", "dsp": "as_found"},
            {"id": "b", "name": "B", "sat": "outdoor_air", "dsp": "demand"},
        ],
    )
    results = estimate(project, weather_of("greensboro"))
    values = Book(workbook_bytes(results), data_only=True).only("1 A", "2 B", layout.COMPARISON)
    row = TOTAL_ROWS["difference"] + 1
    for name in ("1 A", "2 B"):
        said = [c.value for c in values[name][row] if isinstance(c.value, (int, float))]
        # Six decimals of kWh, kBtu or therms: rounding of the order of adding.
        assert len(said) > 8 and max(map(abs, said)) < 1e-5, said
    assert values[layout.COMPARISON].max_column == 5


@pytest.mark.invariant
@pytest.mark.parametrize("mode", [pytest.param("off", marks=pytest.mark.slow), "setback"])
def test_an_air_handler_that_never_runs_says_so(mode):
    closed = {"weekday_hours": [], "saturday_hours": [], "sunday_hours": [], "unoccupied_mode": mode}
    results = estimate(project_of(schedule=closed, heating={"enabled_unoccupied": False}), weather_of("greensboro"))
    made = Book(workbook_bytes(results))
    assert "never runs" in made[layout.GLANCE].cell(ANSWER_ROW + 1, 1).value and not made[layout.GLANCE]._charts
    assert layout.LIVE_YEAR not in made.sheetnames and "1 As found" not in made.sheetnames
    assert "never runs" in made[layout.GLANCE].cell(STALE_ROW + 1, 1).value
    assert made[layout.COMPARISON]["C9"].value == 0.0


# ---------------------------------------------------------------- files


def test_files_are_written_whole(tmp_path):
    write_workbook(small(), tmp_path / "a.xlsx")
    write_results_json(small(), tmp_path / "a.json")
    assert (tmp_path / "a.xlsx").read_bytes() == content()
    data = json.loads((tmp_path / "a.json").read_text(encoding="utf-8"))
    assert data["run_id"] == small().run_id and data["baseline"] == small().baseline_id
    for line, c in zip(data["candidates"], small().candidates, strict=True):
        assert line["annual"] == c.annual and line["saving"]["cost_usd"] == c.saving["cost_usd"]
    assert sorted(p.name for p in tmp_path.iterdir()) == ["a.json", "a.xlsx"]


@pytest.mark.invariant
def test_rounding_halves_go_away_from_zero():
    assert [rounded(v, 10.0) for v in (5, -5, 14.9, -15.0, 0.0)] == [10.0, -10.0, 10.0, -20.0, 0.0]
    assert [step_for(v) for v in (26016.0, 999.0, 0.0, 12.0)] == [100.0, 1.0, 1.0, 1.0]


def test_rows_that_are_no_real_hour_say_so():
    assert when_text(7, 4, 14) == "Jul 04 14h" and when_text(-1, -1, -1) == "mean of bin"
    assert cell_name(0, 0) == "A1" and cell_name(9, 27) == "AB10" and cell_name(0, 16383) == "XFD1"


HEATS = ("boiler", "electric", "heat_pump", "purchased", "none")
PREHEATS = ("same", "boiler", "electric", "heat_pump", "purchased", "gas_furnace")
COOLS = ("chilled_water", "direct_expansion", "purchased", "none")


def written(heating, preheat):
    project = project_of(
        project={"name": "Pairs", "default_candidates": False},
        candidate=[{"id": "as_found"}],
        bins={"rows": "mean"},
        preheat={"type": preheat},
        heating={"type": heating, "capacity_kbtuh": None},
        cooling={"type": COOLS[PREHEATS.index(preheat) % len(COOLS)], "capacity_tons": None},
    )
    return workbook_bytes(estimate(project, weather_of()))


@pytest.mark.invariant
@pytest.mark.parametrize("k", [pytest.param(k, marks=pytest.mark.slow if k else ()) for k in range(len(PREHEATS))])
def test_a_workbook_for_every_heat_source(k):
    """Every formula finds the inputs it names, whatever heats the terminals and the supply air (and whatever cools)."""
    assert written(HEATS[(k + 1) % len(HEATS)], PREHEATS[k]).startswith(b"PK")


@pytest.mark.slow
@pytest.mark.invariant
@pytest.mark.parametrize("heating", HEATS)
def test_a_workbook_for_every_pair_of_heat_sources(heating):
    """But for the pairs above."""
    for k, preheat in enumerate(PREHEATS):
        if HEATS[(k + 1) % len(HEATS)] == heating:
            continue
        assert written(heating, preheat).startswith(b"PK"), preheat


@pytest.mark.parametrize(
    ("unit", "printed"),
    [
        ("degF", "°F"),
        ("in. w.c.", "in. w.c."),
        ("Btu/h.ft2.F", "Btu/h·ft²·°F"),
        ("Btu/h.F", "Btu/h·°F"),
        ("zone degF.h", "zone °F·h"),
        ("ft2/person", "ft²/person"),
        ("degF:in. w.c. or %:in. w.c.", "°F:in. w.c. or %:in. w.c."),
        ("W/(kBtu/h)", "W/(kBtu/h)"),
        ("", ""),
    ],
)
def test_units_are_printed_as_they_are_written_by_hand(unit, printed):
    assert unit_text(unit) == printed


def test_constants_of_a_group_name_it():
    results = small()
    labels = [row[0].value for row in book()["Air handler"].iter_rows(max_col=1) if row[0].value]
    own = labels[labels.index("Groups") + 1 : labels.index("Air handler", labels.index("Groups"))]
    assert own and len(set(own)) == len(own)
    assert all(any(label.startswith(f"{group.name}: ") for group in results.project.groups) for label in own)


def test_the_row_inspector_shows_every_end_use_of_the_project():
    project = project_of(
        project={"default_candidates": False},
        cooling={"type": "purchased"},
        heating={"type": "purchased"},
        candidate=[{"id": "as_found", "sat": "as_found", "dsp": "as_found"}],
        bins={"rows": "mean"},
    )
    results = estimate(project, weather_of("greensboro"))
    made = Book(workbook_bytes(results), data_only=True).only("Row inspector")
    shown = rows_by_label(made["Row inspector"])
    used = [use for use in END_USES if results.baseline.annual[use.key] > 0.0]
    assert {"purchased_cooling_kbtu", "purchased_heating_kbtu"} <= {use.key for use in used}
    assert all(use.column_label in shown for use in used)


def test_formulas_quote_names_of_sheets_that_need_it():
    """A second set of inputs has a number behind the names of its sheets, so a blank in them."""
    project = project_of(
        project={"default_candidates": False},
        heating={"enabled_unoccupied": True},
        candidate=[
            {"id": "as_found", "sat": "as_found", "dsp": "as_found"},
            {
                "id": "lowered",
                "name": "Minimums lowered",
                "kind": "companion",
                "sat": "as_found",
                "dsp": "as_found",
                "override": {"group.*.minimum_flow_frac": 0.15, "heating.efficiency_frac": 0.9},
            },
        ],
        bins={"rows": "mean"},
    )
    made = openpyxl.load_workbook(io.BytesIO(workbook_bytes(estimate(project, weather_of("greensboro")))))
    names = set(made.sheetnames)
    assert {f"{kind} 2" for kind in layout.SITE_SHEETS} <= names
    for sheet in made.worksheets:
        for line in sheet.iter_rows():
            for cell in line:
                if cell.data_type == "f" and "!" in str(cell.value):
                    bare = re.sub(r"\"[^\"]*\"|'(?:[^']|'')*'!", "", str(cell.value))
                    assert set(re.findall(r"([^\s(),=*/+\-&<>^:;]+)!", bare)) <= names, (sheet.title, cell.coordinate)
