"""Terms of utilities and programmes: read from project files and forms, checked, and followed through an estimate."""

import io
import tomllib
from functools import cache

import openpyxl
import pytest
from builders import WEATHER, merged, project_of
from recalculation import edited

from binestimator.errors import InputError
from binestimator.inputs import project_to_toml, read_project
from binestimator.inputs.form import read_form
from binestimator.inputs.read import project_from_mapping
from binestimator.inputs.terms import NO_TERMS, USUAL_WINDOW
from binestimator.workbook.addresses import cell_name
from binestimator.workbook.form import form_bytes

TERMS = {
    "peak_window": [
        {"name": "Afternoons", "months": ["jun", "aug"], "hours": [13, 16], "averaging": "mean_of_daily_max"},
        {"name": "Winter mornings", "months": ["dec", "jan"], "days": ["weekday", "holiday"], "hours": [6, 9]},
    ],
    "incentive": [
        {"name": "Custom", "usd_kwh": 0.04, "usd_kw": 100, "usd_therm": 0.8, "cost_share_frac": 0.5,
         "window": "Winter mornings"},
    ],
}  # fmt: skip


def project_with_terms(**changes):
    return project_of(**merged(TERMS, changes))


@pytest.mark.invariant
def test_a_project_without_terms_has_one_window_that_is_an_assumption():
    project = project_of()
    assert project.terms == NO_TERMS and project.terms.window_assumed
    assert [window.name for window in project.terms.windows] == [USUAL_WINDOW]
    assert not project_with_terms().terms.window_assumed


@pytest.mark.invariant
def test_terms_are_read_with_their_defaults():
    terms = project_with_terms().terms
    first, second = terms.windows
    assert (first.months, first.days, first.averaging) == (("jun", "aug"), ("weekday",), "mean_of_daily_max")
    assert second.days == ("weekday", "holiday") and second.hours == (6.0, 9.0)
    assert terms.window_of(terms.incentives[0]) == 1
    assert terms.incentives[0].cap_usd is None


@pytest.mark.invariant
def test_terms_outlast_overrides_and_the_project_file(tmp_path):
    project = project_with_terms()
    assert project.with_overrides({"fan.motor_hp": 20}).terms == project.terms
    path = tmp_path / "again.toml"
    path.write_text(project_to_toml(project), encoding="utf-8")
    assert read_project(path).terms == project.terms
    assert set(TERMS) <= set(tomllib.loads(path.read_text(encoding="utf-8")))
    assert project.checksum() != project_of().checksum()


@pytest.mark.invariant
def test_terms_outlast_a_form(tmp_path):
    project = project_with_terms()
    path = tmp_path / "form.xlsx"
    path.write_bytes(form_bytes(project))
    assert read_form(path).project.terms == project.terms
    # and values typed on the form are taken
    book = openpyxl.load_workbook(io.BytesIO(form_bytes(project_of())))
    sheet = book["Inputs"]
    corner = next(cell for row in sheet.iter_rows() for cell in row if cell.value == "key: terms")
    keys = {sheet.cell(corner.row, column).value: column for column in range(1, corner.column)}
    for k, (name, value) in enumerate((("name", "Typed"), ("hours", "14, 17"), ("months", "jul, aug")), 1):
        sheet.cell(corner.row + k, keys["path"], f"peak_window[1].{name}")
        sheet.cell(corner.row + k, keys["value"], value)
    book.save(path)
    (window,) = read_form(path).project.terms.windows
    assert (window.name, window.hours, window.months) == ("Typed", (14.0, 17.0), ("jul", "aug"))


@cache
def plain_form():
    """A form without terms, the row above their first line, and columns of their table by key."""
    content = form_bytes(project_of())
    sheet = openpyxl.load_workbook(io.BytesIO(content))["Inputs"]
    corner = next(cell for row in sheet.iter_rows() for cell in row if cell.value == "key: terms")
    return content, corner.row, {sheet.cell(corner.row, column).value: column for column in range(1, corner.column)}


@pytest.mark.invariant
@pytest.mark.parametrize(
    ("path", "value", "said"),
    [
        ("peak_window[1].hours", "25, 26", "hours"),
        ("peak_window[1].nonsense", 3, "unknown input"),
        ("peak_windows[1].name", "x", "no path of terms"),
        ("peak_window.name", "x", "no path of terms"),
        ("peak_window[99].name", "x", "expected numbers 1 to"),
    ],
)
def test_what_is_wrong_on_a_form_is_said_by_cell(path, value, said, tmp_path):
    content, row, keys = plain_form()
    lines = [("peak_window[1].name", "First")] if path.startswith("peak_window[1]") else []
    typed = {}
    for k, line in enumerate([*lines, (path, value)], row):
        typed |= {("Inputs", cell_name(k, keys[key] - 1)): said for key, said in zip(("path", "value"), line)}
    file = tmp_path / "form.xlsx"
    file.write_bytes(edited(content, typed))
    with pytest.raises(InputError) as error:
        read_form(file)
    assert said in str(error.value) and "Inputs!" in str(error.value)


@pytest.mark.invariant
@pytest.mark.parametrize(
    ("terms", "said"),
    [
        ({"peak_window": [{"months": ["jun"]}]}, ["peak_window[#1].name", "is missing"]),
        ({"peak_window": [{"name": "A"}, {"name": "a"}]}, ["the name is given twice"]),
        ({"peak_window": [{"name": "A", "months": []}]}, ["peak_window[A].months", "is empty"]),
        ({"peak_window": [{"name": "A", "months": ["june"]}]}, ["peak_window[A].months", "not one of the choices"]),
        ({"peak_window": {"name": "A"}}, ["peak_window", "double brackets"]),
        ({"incentive": [{"name": "A", "window": "Summer"}]}, ["incentive[A].window", "no such peak window"]),
        (
            {"incentive": [{"name": "A", "shortest_payback_years": 3, "longest_payback_years": 2}]},
            ["longest_payback_years", "below shortest_payback_years"],
        ),
        ({"incentive": [{"name": "A", "usd_kwhs": 2}]}, ["incentive[A].usd_kwhs", "unknown input"]),
    ],
)
def test_terms_that_do_not_fit_are_refused_with_what_to_do(terms, said):
    with pytest.raises(InputError) as error:
        project_from_mapping(merged({"weather": {"file": "x"}}, merged(project_mapping(), terms)), source_dir=WEATHER)
    for each in said:
        assert each in str(error.value)


def project_mapping():
    from builders import PLAIN

    return PLAIN
