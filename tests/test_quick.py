"""A quick check: facts from options, answers or a form; the project that follows; its file; what is said."""

import io
import os
import pty
import re
import select
import shlex
import signal
import sys
import tomllib
from contextlib import redirect_stderr
from functools import cache

import openpyxl
import pytest
from books import Book
from builders import WEATHER
from hypothesis import given
from hypothesis import strategies as st
from recalculation import edited

from binestimator import cli, quick
from binestimator.errors import InputError
from binestimator.inputs import fields_of, project_from_mapping, read_project
from binestimator.inputs.facts import fact, facts, uses
from binestimator.inputs.first_project import raw_project, read_fact
from binestimator.inputs.form import read_form
from binestimator.inputs.starter import starter_text
from binestimator.seal import QUICK, mark_of
from binestimator.workbook.form import form_bytes

SHEET = "Quick check"
#: What a first meeting tells, as typed.
TYPED = {
    "name": "Corner office",
    "weather": "723170TYA.CSV",
    "area": "12000",
    "floors": "2",
    "use": "office",
    "hours": "8, 17",
    "zones": "12",
    "cooling": "direct_expansion",
    "heating": "electric",
    "sat": "50: 60, 70: 55",
    "dsp": "2",
    "electricity": "0.13",
}
NEEDED = {each.name for each in facts() if each.needed}


def values_of(typed):
    found = {name: read_fact(fact(name), text) for name, text in typed.items()}
    assert all(problem is None for _, problem in found.values())
    return {name: value for name, (value, _) in found.items()}


def project_of(typed=TYPED):
    return project_from_mapping(raw_project(values_of(typed)), WEATHER)


def options(typed):
    out = []
    for name, text in typed.items():
        out += [f"--{name}", *(re.split(r",\s*", text) if name == "hours" else [text])]
    return out


@pytest.fixture
def estimated(monkeypatch):
    """The command without the estimate, whose results others test: projects that would have been estimated."""
    import binestimator.advice
    import binestimator.ranges.find
    import binestimator.steps
    import binestimator.terminal

    seen = []

    class Nothing:
        def __init__(self, project):
            self.project = project.in_climate("4A")

    monkeypatch.setattr(binestimator.steps, "weather_of", lambda project: None)
    monkeypatch.setattr(
        binestimator.advice, "estimate_and_advise", lambda project, _: seen.append(project) or Nothing(project)
    )
    monkeypatch.setattr(binestimator.ranges.find, "with_ranges", lambda results: results)
    monkeypatch.setattr(binestimator.terminal, "quick_check", lambda results, columns: "said")
    return seen


def run(capsys, *arguments):
    code = cli.main(["quick", *map(str, arguments)])
    out, err = capsys.readouterr()
    return code, out, err


# --- facts ------------------------------------------------------------------------------------


def test_facts_are_few_and_each_is_an_input_or_says_what_counts_otherwise():
    assert 10 <= len(facts()) - 1 <= 14  # the name apart
    for each in facts():
        path = each.path or each.otherwise
        if each.name != "use":
            section, _, name = path.partition(".")
            assert name in fields_of(section), each.name
        assert each.question and each.example and each.label
        assert read_fact(each, each.example)[1] is None, each.name
        assert each.empty() == "has to be given" if each.needed else each.empty()


@pytest.mark.parametrize("use", list(uses()))
def test_every_use_makes_a_project_and_is_marked_as_not_looked_at(use):
    project = project_of({**TYPED, "use": use})
    (group,) = project.groups
    assert group.name == use
    for name, (value, source) in uses()[use].items():
        path = f"group[{use}].{name}"
        assert getattr(group, name) == value and project.status_of(path) == "default"
        assert source in project.evidence[path]
    assert (use == "office") == (not uses()[use])


def test_what_facts_stand_for():
    project = project_of()
    assert project.building.floor_area_ft2 == 12000 and project.building.zone_area_ft2 == 1000
    assert project.candidate("as_found").sat.points == ((50.0, 60.0), (70.0, 55.0))
    assert project.candidate("as_found").dsp.points == ((65.0, 2.0),)
    assert project.fan.design_dsp_inwc == 2.0 and project.fan.design_total_inwc == 4.5
    assert project.cost.build_up and project.prices.electricity_usd_kwh == 0.13
    assert project.status_of("prices.electricity_usd_kwh") == "interview"
    assert project.status_of("fan.design_total_inwc") == "default"
    always = project_of({**TYPED, "hours": "0, 24"})
    assert always.groups[0].always_on and not project.groups[0].always_on
    plain = project_of({name: TYPED[name] for name in NEEDED})
    assert plain.groups[0].weekday_hours == fields_of("group")["weekday_hours"].default
    assert plain.fan.design_total_inwc == fields_of("fan")["design_total_inwc"].default


@pytest.mark.parametrize(
    ("name", "text", "value"),
    [
        ("hours", "8 17", (8.0, 17.0)),
        ("hours", "8-17", (8.0, 17.0)),
        ("sat", "55", ((65.0, 55.0),)),
        ("sat", 55.0, ((65.0, 55.0),)),
        ("dsp", "40:1, 90:1.8", ((40.0, 1.0), (90.0, 1.8))),
        ("airflow", "none", None),
        ("floors", "  ", None),
        ("use", "OFFICE", "office"),
    ],
)
def test_ways_to_type_a_fact(name, text, value):
    assert read_fact(fact(name), text) == (value, None)


@pytest.mark.parametrize(
    ("name", "text"),
    [("hours", "closed"), ("hours", "7.18"), ("sat", "200"), ("sat", "50:55, 40:60"), ("dsp", "x"), ("area", "nan"),
     ("use", "casino"), ("cooling", "magic"), ("name", "a\x1bb"), ("name", "key: x"), ("zones", "2.5"),
     ("weather", "\ud800"), ("electricity", "1e999")],
)  # fmt: skip
def test_what_a_fact_is_not_is_told(name, text):
    value, problem = read_fact(fact(name), text)
    assert value is None and problem and "word none" not in problem


# --- the project file -------------------------------------------------------------------------


def uncommented(text):
    return re.sub(r"^# (\w+ = )", r"\1", text, flags=re.MULTILINE)


@pytest.mark.parametrize("use", ["office", "clinic"])
def test_the_file_is_the_project_and_its_comments_are_the_defaults(tmp_path, use):
    project = project_of({**TYPED, "use": use}).in_climate("4A")
    text = starter_text(project, "first", "last")
    assert text.startswith("# first\n") and text.endswith("\n\n# last\n")
    path = tmp_path / "p.toml"
    path.write_text(text, encoding="utf-8")
    read = read_project(path).in_climate("4A")
    assert read == project and read.given == project.given and read.statuses == project.statuses
    # Every comment is a line that can be put in force, and changes nothing.
    path.write_text(uncommented(text), encoding="utf-8")
    filled = read_project(path).in_climate("4A")
    assert filled.checksum() == project.checksum()
    more = sum(origin == "given" for origin in filled.origins.values())
    assert more - sum(origin == "given" for origin in project.origins.values()) > 80
    assert all(" #" in line for line in text.split("\n") if re.match(r"# \w+ = ", line))


@pytest.mark.invariant
@given(st.text(st.characters(exclude_categories=("C", "Zl", "Zp")), min_size=1, max_size=80))
def test_no_name_breaks_the_file(name):
    value, problem = read_fact(fact("name"), name)
    if problem is not None or value is None:
        return
    project = project_of({**TYPED, "name": name})
    raw = tomllib.loads(starter_text(project, "first", "last"))
    assert raw["project"]["name"] == value and set(raw["project"]) == {"name"}


def test_the_command_writes_a_file_that_estimate_reads_and_never_replaces_one_that_was_changed(
    tmp_path, capsys, estimated
):
    path = tmp_path / "p.toml"
    code, out, err = run(capsys, path, *options(TYPED))
    assert (code, err) == (0, "") and f"Project   {path}" in out and "binestimator estimate" in out
    assert read_project(path) == estimated[0]
    mark = mark_of(path.read_bytes())
    assert mark.kind == QUICK and mark.whole
    # As it was written: replaced, and told.
    code, out, _ = run(capsys, path, *options({**TYPED, "area": "15000"}))
    assert code == 0 and "in place of the one that was there" in out
    assert read_project(path).building.floor_area_ft2 == 15000
    path.write_text(path.read_text(encoding="utf-8") + "# mine\n", encoding="utf-8")
    before = path.read_bytes()
    code, out, err = run(capsys, path, *options(TYPED))
    assert code == 2 and "already exists" in err and path.read_bytes() == before and len(estimated) == 2
    code, *_ = run(capsys, path, *options(TYPED), "--force")
    assert code == 0 and read_project(path).building.floor_area_ft2 == 12000


@pytest.mark.parametrize("name", ["sha256:0000000000000000", "=1+1", '"; [x]', "a'b\\n", "-x"])
def test_odd_names_are_names(tmp_path, capsys, estimated, name):
    path = tmp_path / "p.toml"
    typed = {key: text for key, text in TYPED.items() if key != "name"}
    code, _, err = run(capsys, path, *options(typed), f"--name={name}")
    assert (code, err) == (0, "") and read_project(path).info.name == name and mark_of(path.read_bytes()).whole


def test_the_name_is_that_of_the_file_if_none_is_given(tmp_path, capsys, estimated):
    typed = {name: TYPED[name] for name in NEEDED if name != "name"}
    assert run(capsys, tmp_path / "west wing.toml", *options(typed))[0] == 0
    assert estimated[0].info.name == "west wing"


def test_weather_named_from_the_working_folder_is_found_from_the_project(tmp_path, capsys, estimated, monkeypatch):
    (tmp_path / "data").mkdir()
    (tmp_path / "out").mkdir()
    (tmp_path / "data" / "mine.csv").write_bytes((WEATHER / "723170TYA.CSV").read_bytes())
    monkeypatch.chdir(tmp_path)
    assert run(capsys, "out/p.toml", *options({**TYPED, "weather": "data/mine.csv"}))[0] == 0
    assert read_project("out/p.toml").weather.file == "../data/mine.csv"


# --- what is missing or wrong -----------------------------------------------------------------


def test_without_a_terminal_everything_missing_is_named_and_nothing_is_waited_for(tmp_path, capsys, estimated):
    path = tmp_path / "p.toml"
    code, out, err = run(capsys, path, "--area", "9000")
    assert code == 2 and not out and not path.exists() and not estimated
    for name in NEEDED - {"name", "area"}:
        assert f"--{name}: is missing" in err
    assert "--floors" not in err and "--area" not in err


def test_all_that_is_wrong_is_named_by_its_option(tmp_path, capsys, estimated):
    typed = {**TYPED, "area": "many", "weather": "none.csv", "cooling": "magic", "zones": "x"}
    code, _, err = run(capsys, tmp_path / "p.toml", *options(typed))
    assert code == 2 and "4 problems" in err
    for name in ("area", "weather", "cooling", "zones"):
        assert f"--{name}: " in err
    assert "weather file not found" in err
    code, _, err = run(capsys, tmp_path / "p.toml", *options({**TYPED, "zones": "4000"}))
    assert code == 2 and "--zones: each terminal would serve 3 ft2" in err
    code, _, err = run(capsys, tmp_path / "p.toml", *options({**TYPED, "floors": "90"}))
    assert code == 2 and "--area: 133 ft2 on each of 90 floors" in err
    code, _, err = run(capsys, tmp_path / "p.txt", *options(TYPED))
    assert code == 2 and "ends in .toml" in err
    assert not list(tmp_path.iterdir())


class Terminal(io.StringIO):
    def isatty(self):
        return True


@pytest.fixture
def answers(monkeypatch):
    """A person at the terminal who types these lines; gives what was asked."""

    def sit(*lines):
        monkeypatch.setattr(sys, "stdin", Terminal("".join(f"{line}\n" for line in lines)))
        asked = Terminal()
        monkeypatch.setattr(sys, "stderr", asked)
        return asked

    return sit


def test_a_person_is_asked_for_what_is_not_given(tmp_path, answers):
    asked = answers("no.csv", "723170TYA.CSV", "", "12000", "2", "casino", "office", "8 17", "12", "",
                    "direct_expansion", "electric", "50:60, 70:55", "2", "0.13")  # fmt: skip
    project = quick.quick_project({"name": "Corner office"}, WEATHER / "p.toml")
    assert project == project_of()
    text = asked.getvalue()
    assert "weather file not found" in text and "has to be given" in text and "not one of the choices" in text
    # Where heat is electric nobody pays for fuel.
    assert "Fuel price" not in text and "Name" not in text
    assert text.count("\n  [") == 15


def test_a_person_is_not_asked_where_the_command_line_is_complete(answers):
    asked = answers()
    assert quick.quick_project(TYPED, WEATHER / "p.toml") == project_of() and not asked.getvalue()


def test_answers_that_end_early_make_nothing(answers):
    answers("723170TYA.CSV", "12000")
    with pytest.raises(InputError, match="the answers ended at “Floors”"):
        quick.quick_project({}, WEATHER / "p.toml")


def test_what_is_no_text_is_asked_again(monkeypatch):
    raw = io.TextIOWrapper(io.BytesIO(b"\xff\xfe\n"), encoding="utf-8")
    monkeypatch.setattr(sys, "stdin", raw)
    with redirect_stderr(io.StringIO()):
        assert quick._answer(fact("use"), WEATHER) == (None, "not text; type it again")


def ended(fd, seen) -> bool:
    """Whether the terminal's other side ends within some seconds; what it says is added to ``seen``."""
    while select.select([fd], [], [], 3)[0]:
        try:
            more = os.read(fd, 4096)
        except OSError:
            return True
        if not more:
            return True
        seen += more
    return False


def test_a_terminal_of_its_own_is_asked_and_an_interrupt_ends_it(tmp_path):
    pid, fd = pty.fork()
    if pid == 0:  # the command itself
        # A shell that runs the tests in its background has them ignore interrupts, and their children after them.
        signal.signal(signal.SIGINT, signal.SIG_DFL)
        os.execv(sys.executable, [sys.executable, "-m", "binestimator", "quick", str(tmp_path / "p.toml")])
    seen = bytearray()
    while b"[such as 723170TYA.CSV]" not in seen:
        assert select.select([fd], [], [], 60)[0], seen
        seen += os.read(fd, 4096)
    # An interrupt between the question and the wait for its answer is seen when the wait ends: people repeat it.
    for _ in range(20):
        os.write(fd, b"\x03")
        if ended(fd, seen):
            break
    else:
        os.kill(pid, signal.SIGKILL)
    assert os.waitstatus_to_exitcode(os.waitpid(pid, 0)[1]) == 130 and b"interrupted" in seen
    assert not list(tmp_path.iterdir())
    os.close(fd)


# --- the form ---------------------------------------------------------------------------------


@cache
def empty_form():
    """An empty form, its sheets, and the cell of each fact."""
    content = form_bytes()
    book = Book(content)
    return content, book, {line[6].value: line[1].coordinate for line in facts_of(book) if line[6].value}


def facts_of(book):
    return book[SHEET].iter_rows(min_row=7)


def filled_form(path, typed, more=()):
    """Path of a form with facts as typed, and other cells as sheet, address and value."""
    content, _, places = empty_form()
    cells = {(SHEET, places[name]): value for name, value in typed.items()}
    path.write_bytes(edited(content, cells | {(sheet, cell): value for sheet, cell, value in more}))
    return path


def saved_form(path, typed):
    """The same by a library, for which what begins with an equals sign is a formula."""
    content, _, places = empty_form()
    book = openpyxl.load_workbook(io.BytesIO(content))
    for name, value in typed.items():
        book[SHEET][places[name]] = value
    book.save(path)
    return path


def test_an_empty_form_opens_with_the_facts():
    book = openpyxl.load_workbook(io.BytesIO(empty_form()[0]))
    assert book.sheetnames[0] == SHEET == book.active.title
    keys = [line[6].value for line in book[SHEET].iter_rows(min_row=7) if line[6].value]
    assert keys == [each.name for each in facts()]
    texts = " ".join(str(c) for line in book[SHEET].iter_rows(values_only=True) for c in line if c)
    assert "not fit for a programme claim" in texts and "binestimator estimate" in texts
    assert SHEET not in openpyxl.load_workbook(io.BytesIO(form_bytes(project_of()))).sheetnames


def test_a_form_with_the_facts_alone_is_the_project_of_the_command(tmp_path):
    form = read_form(filled_form(tmp_path / "f.xlsx", TYPED))
    project = project_of()
    assert form.project == project and form.project.given == project.given
    assert form.project.origins == project.origins and form.project.statuses == project.statuses
    assert form.project.evidence == project.evidence and form.project.checksum() == project.checksum()
    numbers = {**TYPED, "area": 12000, "floors": 2, "zones": 12, "dsp": 2, "electricity": 0.13}
    assert read_form(filled_form(tmp_path / "n.xlsx", numbers)).project == project


def test_other_sheets_say_more_than_the_facts(tmp_path):
    typed = {**TYPED, "use": "clinic"}
    lines = empty_form()[1]["Profile groups"].iter_rows()
    row = next(line[0].row for line in lines if any(cell.value == "people_ft2" for cell in line))
    more = [("Profile groups", "D7", "clinic"), ("Profile groups", f"D{row}", 66)]
    project = read_form(filled_form(tmp_path / "f.xlsx", typed, more)).project
    assert project.groups[0].people_ft2 == 66 and project.groups[0].oa_cfm_ft2 == 0.12
    assert len(project.groups) == 1


def test_facts_that_contradict_another_sheet_are_refused_with_both_cells(tmp_path):
    with pytest.raises(InputError) as caught:
        read_form(filled_form(tmp_path / "f.xlsx", TYPED, [("Inputs", "B9", "Another name")]))
    assert "Quick check!B7" in str(caught.value) and "Inputs!B9" in str(caught.value)
    same = filled_form(tmp_path / "f.xlsx", TYPED, [("Inputs", "B9", TYPED["name"])])
    assert read_form(same).project == project_of()


def test_facts_that_are_missing_or_wrong_are_named_by_cell(tmp_path):
    with pytest.raises(InputError) as caught:
        read_form(saved_form(tmp_path / "f.xlsx", {"name": "x", "area": "many", "zones": "=1+1"}))
    text = str(caught.value)
    assert "Quick check!B9, Floor area: not a number" in text and "Quick check!B13" in text and "formula" in text
    assert text.count("is missing") == len(NEEDED) - 2


def test_text_on_the_sheet_of_facts_is_never_a_formula(tmp_path):
    project = read_form(filled_form(tmp_path / "f.xlsx", {**TYPED, "name": "'=HYPERLINK(1)"})).project
    assert project.info.name == "'=HYPERLINK(1)"
    for line in empty_form()[1][SHEET].iter_rows():
        assert all(cell.data_type != "f" for cell in line)


# --- the whole of it --------------------------------------------------------------------------


def printed_command():
    text = (WEATHER.parent / "README.md").read_text(encoding="utf-8")
    (line,) = re.findall(r"^\.venv/bin/binestimator (quick .*)$", text, flags=re.MULTILINE)
    return shlex.split(line)


def test_the_command_that_a_newcomer_reads_first_works_as_printed(tmp_path, capsys, monkeypatch):
    (tmp_path / "output").mkdir()
    monkeypatch.chdir(tmp_path)
    assert cli.main(printed_command()) == 0
    out, err = capsys.readouterr()
    assert not err and max(map(len, out.split("\n"))) <= 100
    for words in (
        "a quick check",
        "Ranges    coarse",
        "Measure   ",
        "* best",
        "not fit for a programme claim",
        "binestimator estimate output/corner.toml",
    ):
        assert words in out
    project = read_project(tmp_path / "output" / "corner.toml")
    assert project.building.floor_area_ft2 == 40000 and project.groups[0].name == "office"
    assert sorted(path.name for path in tmp_path.rglob("*")) == ["corner.toml", "output"]
