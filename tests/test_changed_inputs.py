"""Formulas against the engine on changed inputs, over plants, options and floating rows, without a spreadsheet program.

A file whose inputs are edited keeps the formulas of its run. So a run on changed inputs has to write the same formulas,
and they have to give what the engine finds: each build compares them (``live/pen.py``).
"""

import pytest
from books import Book
from builders import project_of, weather_of
from slips import KINDS, base, changed_run, measure, numbers_read, templates_kept

from binestimator.estimate import estimate
from binestimator.workbook.addresses import column_name
from binestimator.workbook.live import held
from binestimator.workbook.live.rows.floating import floating_rows
from binestimator.workbook.write import build_workbook


def structure(results):
    """What the sheets of formulas are made for besides choices: rows that float, and the fan at its ceiling."""
    ids = [c.id for c in results.candidates]
    return (
        [sorted(floating_rows(results, id_)) for id_ in ids],
        [any(p.state.airflow_ceiling.any() for p in results.runs[id_].parts) for id_ in ids],
    )


def check(kind, seed):
    """All numbers that formulas read, changed at once by up to a tenth, on the rows and sizes of the first run."""
    _, results, pen, before = base(kind)
    changed, paths = changed_run(kind, seed)
    # A change that the project does not allow is left out: few are.
    assert len(paths) > 0.9 * len(numbers_read(pen, results)) > 50
    with templates_kept() as after:
        _, pen = build_workbook(changed)
    # Sums of another order, and powers.
    assert 0.0 < max(pen.residuals.values()) < 1e-10
    if structure(results) == structure(changed):
        assert after == before


#: Larger slices; what is left has loops with overrides.
LARGER = ("position", "own", "lockout", "heat_pump", "short", "other_load", "cold")


@pytest.mark.crosscheck
@pytest.mark.parametrize("kind", [pytest.param(k, marks=pytest.mark.slow if k in LARGER else ()) for k in KINDS])
def test_formulas_equal_the_engine_at_a_first_change_of_all_inputs(kind):
    check(kind, 1)


@pytest.mark.slow
@pytest.mark.crosscheck
@pytest.mark.parametrize("kind", KINDS)
def test_formulas_equal_the_engine_at_another_change_of_all_inputs(kind):
    check(kind, 2)


@pytest.mark.slow
@pytest.mark.crosscheck
def test_most_slips_of_a_name_move_their_formula_in_some_run():
    """What moves nothing stands behind a branch or below a limit in all runs, or is a slack for rounding: a fifth."""
    pairs, (count, moved) = measure(KINDS, 1)
    assert len(pairs.all) == count > 1900
    assert moved / count < len(pairs.moved) / count
    assert len(pairs.moved) / count > 0.79


@pytest.mark.crosscheck
@pytest.mark.parametrize("least", [0.0, pytest.param(0.25, marks=pytest.mark.slow)])
def test_a_boiler_whose_least_part_load_is_edited_to_or_from_nothing_is_followed(least):
    """The formulas that stand in the file of 0.1 are those of any other least part load."""
    changes = {
        "bins": {"rows": "mean"},
        "project": {"name": "Boiler", "default_candidates": False},
        "candidate": [{"id": "as_found"}],
    }
    found = []
    for value in (0.1, least):
        with templates_kept() as kept:
            build_workbook(estimate(project_of(heating={"minimum_plr_frac": value}, **changes), weather_of()))
        found.append(kept)
    assert found[0] == found[1]


@pytest.mark.crosscheck
def test_as_found_pressures_that_decide_the_curve_of_the_fan_are_named_as_not_fully_reached():
    """Published curves: pressures that are made to move turn a fixed setpoint into a reset, which has its own curve."""
    _, results, pen, _ = base("position")
    path = "candidate[as_found].dsp.points.y1"
    assert path in pen.registry.read and path in pen.registry.decides
    changes = {
        "bins": {"rows": "mean"},
        "project": {"name": "Curves", "default_candidates": False},
        "fan": {"part_load": "published_curves"},
    }
    found = []
    for last in (1.5, 1.0):
        candidate = {"id": "as_found", "dsp": {"strategy": "as_found", "points": [[0.0, 1.5], [100.0, last]]}}
        with templates_kept() as kept:
            build_workbook(estimate(project_of(candidate=[candidate], **changes), weather_of()))
        found.append(any("*{k.reset_3}" in template for template in kept))
    assert found == [False, True]
    sheet = Book(build_workbook(results)[0]).only(held.SHEET)[held.SHEET]
    row = next(cell.row for cell in sheet["B"] if cell.value == path)
    unread = column_name(held._FLAGS + held.UNREAD)
    assert sheet[f"{unread}{row}"].value == 1 and sheet[f"{column_name(held._READ)}{row}"].value == "in part"
