"""What a workbook carries from run to run: questions and answers, revisions, what changed, the earlier claim."""

import json
from functools import cache

import pytest
from books import Book
from builders import project_of, weather_of

from binestimator.cli import main
from binestimator.errors import InputError
from binestimator.estimate import estimate
from binestimator.inputs.form import read_form
from binestimator.inputs.form_keys import FORM_SHEETS
from binestimator.inputs.trail import (
    CHANGED,
    EARLIER,
    GIVEN,
    MOST_LINES,
    QUESTIONS,
    REVISIONS,
    RUN,
    SHEET,
    Trail,
    given_inputs,
    read_trail,
)
from binestimator.results import Review
from binestimator.workbook.form import form_bytes
from binestimator.workbook.write import results_bytes, workbook_bytes

HOSTILE = '=HYPERLINK("x","y")'


def project(**more):
    return project_of(
        project={"name": "Trail", "prepared_by": "A. Person", "date": "2026-11-02", "default_candidates": False},
        bins={"rows": "mean"},
        candidate=[
            {"id": "as_found", "name": "As found", "sat": "as_found", "dsp": "as_found"},
            {"id": "low", "name": HOSTILE, "sat": "as_found", "dsp": {"strategy": "fixed", "setpoint_inwc": 1.0}},
        ],
        **more,
    )


@cache
def first_run():
    return estimate(project(), weather_of("greensboro"))


@cache
def second_run():
    return estimate(project(prices={"electricity_usd_kwh": 0.2}), weather_of("greensboro"))


@cache
def first_file():
    return workbook_bytes(first_run())


@cache
def review_sheet(content):
    """The sheet for reviews of a workbook that is only looked at."""
    return Book(content).only(SHEET)[SHEET]


def row_of(sheet, heading):
    return next(row for row in range(1, sheet.max_row + 1) if str(sheet.cell(row, 1).value).startswith(heading))


def saved(tmp_path, change, content=None):
    """The file of the first run after somebody worked on its sheet for reviews and saved it."""
    book = Book(first_file() if content is None else content).only(SHEET)
    for sheet in book.sheetnames:
        if sheet != SHEET:
            del book[sheet]
    change(book[SHEET])
    path = tmp_path / "saved.xlsx"
    book.save(path)
    return path


def ask(sheet):
    at = row_of(sheet, QUESTIONS) + 2
    sheet.cell(at, 1).value, sheet.cell(at, 2).value = "Inputs, E12", "open"
    cell = sheet.cell(at, 3)
    cell.value, cell.data_type = HOSTILE, "s"
    sheet.cell(at + 3, 3).value = "two\nlines"
    sheet.cell(row_of(sheet, REVISIONS) + 3, 5).value = "sent to the utility"


def lines_below(content, heading, columns=5):
    sheet = review_sheet(content)
    at = row_of(sheet, heading) + 2
    return [[sheet.cell(row, k).value for k in range(1, columns + 1)] for row in range(at, sheet.max_row + 1)]


def test_questions_answers_and_revisions_are_carried_over_as_text(tmp_path):
    trail = read_trail(saved(tmp_path, ask))
    results = second_run()
    assert trail.run_id == first_run().run_id
    assert trail.questions == (("Inputs, E12", "open", HOSTILE, "", ""), ("", "", "two\nlines", "", ""))
    content = workbook_bytes(results, trail=trail)
    assert lines_below(content, QUESTIONS)[0][:3] == ["Inputs, E12", "open", HOSTILE]
    sheet = review_sheet(content)
    assert not any(cell.data_type == "f" for line in sheet.iter_rows() for cell in line)
    told = [line[4] for line in lines_below(content, REVISIONS)[:3]]
    assert told[0].startswith(f"Run {first_run().run_id}") and told[1] == "sent to the utility"
    assert f"Run {results.run_id}" in told[2] and f"from run {first_run().run_id}, 1 input changed" in told[2]


@pytest.mark.crosscheck
def test_what_changed_and_the_earlier_claim_stand_beside_the_new_ones(tmp_path):
    trail = read_trail(saved(tmp_path, lambda sheet: None))
    results = second_run()
    assert trail.given == given_inputs(first_run().project)
    before = given_inputs(first_run().project).get("prices.electricity_usd_kwh", "")
    assert trail.changes(results.project) == [("prices.electricity_usd_kwh", before, 0.2)]
    content = workbook_bytes(results, trail=trail)
    assert lines_below(content, CHANGED)[0][2:4] == ["prices.electricity_usd_kwh", 0.2]
    by_name = {line[2]: line for line in lines_below(content, EARLIER)[:2]}
    earlier, now = first_run()["low"].saving["cost_usd"], results["low"].saving["cost_usd"]
    assert earlier != now
    assert by_name[HOSTILE][0] == pytest.approx(earlier, rel=1e-15) and by_name[HOSTILE][1] == pytest.approx(now)
    assert by_name[HOSTILE][3] == pytest.approx(now / earlier, rel=1e-14)


def test_only_what_was_typed_counts_as_changed():
    """Another price of electricity moves costs, rows and sizes of the run; one input was typed."""
    trail = Trail(run_id=first_run().run_id, given=given_inputs(first_run().project))
    assert trail.changes(first_run().project) == []
    assert len(trail.changes(second_run().project)) == 1


def test_a_chain_of_runs_keeps_its_revisions_and_names_the_last_run(tmp_path):
    trail = read_trail(saved(tmp_path, ask))
    path = saved(tmp_path, lambda sheet: None, workbook_bytes(second_run(), trail=trail))
    again = read_trail(path)
    assert again.run_id == second_run().run_id and again.questions == trail.questions
    assert len(again.revisions) == len(trail.revisions) + 1
    # The same run once more adds no line.
    once_more = saved(tmp_path, lambda sheet: None, workbook_bytes(second_run(), trail=again))
    assert read_trail(once_more).revisions == again.revisions


def test_a_second_run_of_a_reviewer_leaves_a_line(tmp_path):
    review = Review(overrides={"prices.electricity_usd_kwh": 0.2}, results=second_run())
    path = saved(tmp_path, lambda sheet: None, workbook_bytes(first_run(), review))
    trail = read_trail(path)
    assert trail.run_id == first_run().run_id
    said = trail.revisions[-1][4]
    assert second_run().run_id in said and "prices.electricity_usd_kwh = 0.2" in said


def test_a_form_carries_questions_and_no_run(tmp_path):
    path = tmp_path / "form.xlsx"
    path.write_bytes(form_bytes(project()))
    assert read_trail(path) == Trail()


def test_a_form_filled_from_a_workbook_carries_its_trail(tmp_path, capsys):
    """Questions, answers, revisions, the run, its claim and what was given in it reach the run on that form."""
    book = Book(first_file()).only(SHEET, *FORM_SHEETS)
    ask(book[SHEET])
    source, form = tmp_path / "run.xlsx", tmp_path / "form.xlsx"
    book.save(source)
    assert main(["form", "--from", str(source), str(form)]) == 0
    assert f"Earlier   run {first_run().run_id}: 2 questions carried over" in capsys.readouterr().out
    trail = read_trail(form)
    assert trail == read_trail(source) and trail.run_id == first_run().run_id and len(trail.claims) == 2
    assert read_form(form).project.in_climate("4A") == first_run().project
    content = workbook_bytes(second_run(), trail=trail)
    assert lines_below(content, QUESTIONS)[0][:3] == ["Inputs, E12", "open", HOSTILE]
    assert lines_below(content, CHANGED)[0][2:4] == ["prices.electricity_usd_kwh", 0.2]
    again = form_bytes(second_run().project, trail=trail)
    assert not any(cell.data_type == "f" for line in review_sheet(again) for cell in line)


def test_without_its_sheet_for_reviews_a_file_carries_nothing(tmp_path):
    path = saved(tmp_path, lambda sheet: setattr(sheet, "title", "Other"))
    assert read_trail(path) == Trail()


def test_what_cannot_be_carried_over_is_said_and_formulas_are_not_kept(tmp_path):
    def change(sheet):
        at = row_of(sheet, QUESTIONS) + 2
        sheet.cell(at, 3).value = "=1+1"
        run = row_of(sheet, RUN) + 2
        sheet.cell(run, 2).value = "not a run"

    trail = read_trail(saved(tmp_path, change))
    assert trail.run_id == "" and trail.claims == () and trail.given is None
    assert "type it as text" in trail.questions[0][2] and "=" not in trail.questions[0][2]
    assert CHANGED not in str(lines_below(workbook_bytes(first_run(), trail=trail), REVISIONS))


def test_too_many_lines_are_refused_in_one_message(tmp_path):
    def change(sheet):
        at = row_of(sheet, GIVEN) - 1
        sheet.insert_rows(at, MOST_LINES + 1)
        for row in range(at, at + MOST_LINES + 1):
            sheet.cell(row, 1).value = "more"

    with pytest.raises(InputError, match=f"sheet {SHEET}: the table .* lines; at most {MOST_LINES}"):
        read_trail(saved(tmp_path, change))


def test_a_workbook_with_a_trail_is_read_as_the_same_project(tmp_path):
    path = tmp_path / "again.xlsx"
    path.write_bytes(workbook_bytes(second_run(), trail=Trail(run_id="0" * 12, given={})))
    assert read_form(path).project.checksum() == second_run().project.checksum()


@pytest.mark.crosscheck
def test_the_results_file_says_what_the_sheet_says(tmp_path):
    trail = read_trail(saved(tmp_path, ask))
    review = Review(overrides={"prices.electricity_usd_kwh": 0.3}, results=first_run())
    results = second_run()
    said = json.loads(results_bytes(results, review, trail))["trail"]
    content = workbook_bytes(results, review, trail)
    assert said["parent_run_id"] == first_run().run_id
    assert said["changes"] == [{"input": "prices.electricity_usd_kwh", "before": None, "now": 0.2}]
    (claim,) = (c for c in said["earlier_claim"] if c["id"] == "low")
    assert claim["name"] == HOSTILE and claim["saving_usd"] == pytest.approx(first_run()["low"].saving["cost_usd"])
    assert claim["saving_now_usd"] == results["low"].saving["cost_usd"]
    for key, heading in (("revisions", REVISIONS), ("questions", QUESTIONS)):
        lines = [[text or "" for text in line] for line in lines_below(content, heading)]
        assert [list(line.values()) for line in said[key]] == lines[: len(said[key])] and any(said[key])
    assert said["revisions"][-1]["what_changed"].startswith("Second run")


def test_a_run_without_a_parent_says_so_in_the_results_file():
    for trail in (None, Trail(run_id=first_run().run_id, given={}, revisions=(("", "", "", "", "first"),))):
        said = json.loads(results_bytes(first_run(), trail=trail))["trail"]
        assert (said["parent_run_id"], said["changes"], said["earlier_claim"], said["questions"]) == (
            None,
            None,
            [],
            [],
        )
        assert len(said["revisions"]) == 1


def test_a_choice_that_has_another_name_now_is_no_change():
    cooled = project(cooling={"chiller_set": "C"})
    before = dict(given_inputs(cooled))
    assert before["cooling.chiller_set"] == "water_cooled_below_75_ton"
    before["cooling.chiller_set"] = "C"
    assert Trail(run_id="0" * 12, given=before).changes(cooled) == []
    other = Trail(run_id="0" * 12, given=before | {"cooling.chiller_set": "D"}).changes(cooled)
    assert other == [("cooling.chiller_set", "water_cooled_75_to_150_ton", "water_cooled_below_75_ton")]
