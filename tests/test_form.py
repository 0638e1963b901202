"""Input forms: nothing is lost on the way through a workbook, and no workbook can do harm."""

import io
import json
import random
import re
import string
import struct
import subprocess
import sys
import tempfile
import time
import tomllib
import zipfile
from ast import literal_eval
from copy import copy
from functools import cache
from pathlib import Path

import openpyxl
import pytest
from builders import PLAIN, WEATHER, merged, weather_of
from hypothesis import example, given, settings
from hypothesis import strategies as st
from laws import law
from openpyxl.styles import numbers as openpyxl_numbers
from recalculation import edited, has_cell
from test_cli import FEW
from test_inputs import projects

from binestimator import cli
from binestimator.errors import InputError
from binestimator.estimate import estimate
from binestimator.inputs import cells, project_from_mapping, project_to_toml, read_project
from binestimator.inputs.cell_parts import MOST_CELLS, address_of
from binestimator.inputs.cells import WorkbookFile
from binestimator.inputs.form import is_workbook, read_form
from binestimator.inputs.form_content import form_content
from binestimator.inputs.form_keys import FORM_SHEETS, QUICK
from binestimator.inputs.form_values import cell_of, raw_of
from binestimator.inputs.paths import parse_path
from binestimator.inputs.problems import InputErrors
from binestimator.inputs.schema import FIELDS, fields_of
from binestimator.inputs.trail import read_trail
from binestimator.inputs.values import REPLACED, check_value
from binestimator.workbook.addresses import cell_name
from binestimator.workbook.form import form_bytes
from binestimator.workbook.form_layout import FORM_SPARE, FormPlan, Spare

DEMOS = Path(__file__).parents[1] / "demo_projects"
SMALL = Spare(group=1, special=1, zone=2, candidate=1, lines=1)

PROJECT = {
    "project": {"name": '=HYPERLINK("x")', "notes": "two\nlines", "building": "", "zones_csv": "zones.csv"},
    "weather": {"file": "723170TYA.CSV"},
    "calendar": {"holidays": []},
    "building": {"floor_area_ft2": 30_000, "floors": 2},
    "special": [{"name": "Network", "group": "network", "area_ft2": 120.5, "sat_max_f": 62}],
    "group": [
        {"name": "office", "saturday_hours": [], "people_profile": [0.1 + 0.2] + [0.5] * 23},
        {"name": "network", "always_on": True},
    ],
    "zone": [
        {"name": "Lobby", "area_ft2": 1e6 / 3, "group": "none"},
        {"name": "Atrium*", "area_ft2": 800, "max_cfm": 900},
    ],
    "heating": {"type": "heat_pump", "cop_points": [[0, 2], [40, 3.3]]},
    "fan": {"motor_hp": 40},
    "limits": {"dsp_max_inwc": "none"},
    "sat": {"as_found": {"points": [[45, 58], [50, 57.25], [65, 55]]}, "demand": {"max_f": 64}},
    "candidate": [
        {
            "id": "x-1",
            "name": "+1 'repair' \"it\"",
            "kind": "repair",
            "sat": {"strategy": "outdoor_air", "points": [[60, 62], [70.5, 55]]},
            "dsp": "fixed",
            "override": {"fan.motor_hp": 50, "heating.cop_points": [[0, 2]]},
        },
        {"id": "sat_demand", "cost_usd": 10, "baseline": False, "sat": {"override_frac": 0.25}},
        {"id": "as_found", "baseline": True, "sat": {"points": "none"}},
    ],
    "override": {
        "zone.*.importance": 2,
        "zone.Lobby.area_ft2": 900,
        "fan.motor_hp": 45,
        "group[office].people_ft2": 123.4,
        "candidate.*.sat.override_frac": 0.125,
        "limits.dsp_max_inwc": 1.5,
    },
    "evidence": {"fan.motor_hp": "=nameplate", "zone.*.max_cfm": "report"},
    "status": {"fan.motor_hp": "nameplate", "zone.Lobby.area_ft2": "drawing", "zone.*.max_cfm": "measured"},
}


@pytest.fixture
def saved(tmp_path):
    """Writes bytes to a file of the test and gives its path."""

    def save(content, name="form.xlsx"):
        path = tmp_path / name
        path.write_bytes(content)
        return path

    return save


# ---------------------------------------------------------------- there and back


def same(form, project):
    """The form says the project and nothing else, order included."""
    assert form.project == project and form.project.given == project.given
    assert form.project.origins == project.origins and form.project.statuses == project.statuses
    assert list(form.project.overrides.items()) == list(project.overrides.items())
    assert [c.id for c in form.project.candidates] == [c.id for c in project.candidates]
    assert form.review == {} and form.reviewed is None
    assert form.project.checksum() == project.checksum()


@pytest.mark.invariant
@law(3, 12, projects())
def test_random_projects_come_back_from_their_forms_whole(raw):
    project = project_from_mapping(raw)
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder, "form.xlsx")
        path.write_bytes(form_bytes(project, SMALL))
        same(read_form(path), project)


@pytest.mark.invariant
@pytest.mark.parametrize(
    "demo",
    [
        pytest.param("office/office", marks=pytest.mark.slow),
        pytest.param("clinic/clinic", marks=pytest.mark.slow),
        pytest.param("clinic/clinic_position", marks=pytest.mark.slow),
        "field_station/field_station",
    ],
)
def test_demo_projects_come_back_from_their_forms_whole(saved, demo):
    project = read_project(DEMOS / f"{demo}.toml")
    path = saved(form_bytes(project))
    form = read_form(path)
    same(form, project)
    again = project_from_mapping(tomllib.loads(project_to_toml(form.project)), (DEMOS / demo).parent)
    assert again == project  # and from the form to a project file


def rich(folder):
    """A project that uses everything a form has a place for, zones of a file among it."""
    (folder / "zones.csv").write_text('name,area_ft2,reheat,group\n"A, B",1000,no,\n=C,0.1e3,yes,network\n')
    return project_from_mapping(PROJECT, folder)


@pytest.mark.invariant
def test_everything_a_project_can_say_comes_back(tmp_path):
    project = rich(tmp_path)
    path = tmp_path / "form.xlsx"
    path.write_bytes(form_bytes(project, SMALL))
    (tmp_path / "zones.csv").unlink()  # the zones are in the form
    form = read_form(path)
    same(form, project)
    assert form.project.info.zones_csv == "zones.csv" and form.project.info.building == ""
    assert form.project.candidate("as_found").sat.points == (
        (0.0, 55.0),
        (100.0, 55.0),
    )  # its own "none" beats the shared line
    assert form_bytes(form.project, SMALL) == path.read_bytes()  # the same project, the same bytes


# The first of three may have several lines.
TEXTS = [
    ("a\nb\tc", '""', '"'),
    ('"""', '""""', "none"),
    ("=1+1", "'x", "x005F_"),
    ("_x0041_", "#N/A", "1e5"),
    ("TRUE", "12-01", "\U0001f600"),
    ("+1", "@x", "–"),
]


@pytest.mark.invariant
@pytest.mark.parametrize(
    "texts", [pytest.param(t, marks=pytest.mark.slow if k > 2 else (), id=repr(t)) for k, t in enumerate(TEXTS)]
)
def test_texts_come_back_letter_by_letter(tmp_path, texts):
    """As inputs and as evidence of others."""
    info = dict(zip(("notes", "building", "prepared_by"), texts, strict=True))
    evidence = dict(zip(("fan.motor_hp", "cooling.capacity_tons", "prices.fuel_usd_therm"), texts, strict=True))
    path = tmp_path / "form.xlsx"
    given = {"project": {"name": "P", **info}, "evidence": evidence}
    path.write_bytes(form_bytes(project_from_mapping(merged(PLAIN, given)), SMALL))
    project = read_form(path).project
    assert {name: getattr(project.info, name) for name in info} == info
    assert {name: project.evidence[name] for name in evidence} == evidence


@pytest.mark.invariant
def test_zero_has_no_sign(tmp_path):
    project = project_from_mapping(
        merged(PLAIN, {"fan": {"efficiency_droop": -0.0}, "building": {"rotation_deg": -0.0}})
    )
    path = tmp_path / "form.xlsx"
    path.write_bytes(form_bytes(project, SMALL))
    same(read_form(path), project)


@pytest.mark.invariant
@given(st.floats(10, 1e6))
@example(0.1 + 0.2 + 10)
@example(1e6 / 3)
def test_numbers_survive_with_all_their_digits(number):
    """Seventeen digits: the writer's own format would round to sixteen."""
    from binestimator.workbook.strict import _Exact

    shown = f"{number if float(f'{number:.16G}') == number else _Exact(number):.16G}"
    assert float(shown) == number


@pytest.mark.invariant
def test_any_value_of_any_input_is_the_same_through_its_cell():
    from test_inputs import values_of

    @settings(max_examples=400)
    @given(st.sampled_from(FIELDS).flatmap(lambda field: st.tuples(st.just(field), values_of(field))))
    def run(pair):
        field, raw = pair
        value, problem = check_value(field, raw)
        if problem is None:
            content = cell_of(field, value)
            assert check_value(field, raw_of(field, content)) == (value, None)
            if isinstance(content, str):  # as a spreadsheet program may hand it back
                assert check_value(field, raw_of(field, f" {content} ")) == (value, None)

    run()


# ---------------------------------------------------------------- forms and people


def plan_of(project):
    return FormPlan(form_content(project, spare_points=3), FORM_SPARE)


class Editor:
    """A form as a user edits it: cells by the path of their input.

    ``save`` lets another program write the whole file; ``put`` puts numbers and texts into the file as this one wrote
    it, which is quicker, and saves where that does not do: formulas, dates, errors, cells beyond the last line.
    """

    def __init__(self, path, plan, book, content=None):
        self.path, self.plan, self.book, self.content = path, plan, book, content
        self._as_they_were = {}

    def save(self):
        self.book.save(self.path)

    def put(self):
        changes = {}
        for (sheet, *_), (cell, *before) in self._as_they_were.items():
            if [cell._value, cell.data_type] != before[:2]:
                changes[sheet, cell.coordinate] = (cell.value, cell.data_type)
        plain = all(kind in ("n", "s", "b") for _, kind in changes.values())
        if self.content is not None and plain and all(has_cell(self.content, *place) for place in changes):
            self.path.write_bytes(edited(self.content, {place: value for place, (value, _) in changes.items()}))
        else:
            self.save()

    def cell(self, sheet, row, column):
        cell = self.book[sheet].cell(row + 1, column + 1)
        self._as_they_were.setdefault((sheet, row, column), (cell, cell._value, cell.data_type, copy(cell._style)))
        return cell

    def put_back(self):
        """Every cell that was asked for as it was."""
        for cell, *before in self._as_they_were.values():
            cell._value, cell.data_type, cell._style = before

    def yours(self, path):
        return self.cell(*self.plan.yours[path])

    def review(self, path):
        sheet, row, column = self.plan.counts[path]
        shift = {"Inputs": 1, "Zone inputs": 29}.get(sheet)
        if shift is None:
            shift = self.plan.side["candidate" if sheet == "Strategies" else "group"].slots
        if sheet == "Zone inputs":
            from binestimator.workbook.form_layout import ZONE_FIELDS

            shift = len(ZONE_FIELDS)
        return self.cell(sheet, row, column - shift)

    def read(self):
        self.put()
        return read_form(self.path)

    def refused(self):
        self.put()
        with pytest.raises(InputError) as caught:
            read_form(self.path)
        return str(caught.value)


#: Options of the office that are edited in some test.
EDITED = ("as_found", "sat_outdoor_air", "sat_demand", "minimums_lowered")


@cache
def office():
    """The office with fewer zones and options: whatever is typed is typed into some of these cells, and a form of all
    of them takes three times as long to read."""
    path = DEMOS / "office" / "office.toml"
    raw = tomllib.loads(path.read_text(encoding="utf-8"))
    raw["project"]["default_candidates"] = False
    raw["building"]["zones_per_facade"] = 1
    raw["candidate"] = [given for given in raw["candidate"] if given["id"] in EDITED]
    return project_from_mapping(raw, path.parent)


@cache
def filled():
    return form_bytes(office())


@cache
def whole_office():
    """The office as it is, and its form."""
    project = read_project(DEMOS / "office" / "office.toml")
    return project, form_bytes(project)


@cache
def office_plan():
    return plan_of(office())


def opened(content):
    return openpyxl.load_workbook(io.BytesIO(content))


@pytest.fixture(scope="module")
def office_book():
    return opened(filled())


@pytest.fixture
def edit(tmp_path, office_book):
    """The form of the office, opened once: cells are put back after each test."""
    editor = Editor(tmp_path / "office form.xlsx", office_plan(), office_book, filled())
    yield editor
    editor.put_back()


@pytest.fixture
def edit_lines(tmp_path):
    """A form of its own, for tests that merge cells or move lines."""
    return Editor(tmp_path / "office form.xlsx", office_plan(), opened(filled()))


def at(cell):
    return f"{cell.parent.title}!{cell.coordinate}"


@pytest.mark.invariant
def test_a_form_saved_by_another_program_says_the_same(edit):
    edit.save()
    assert read_form(edit.path).project == office()


@pytest.mark.invariant
def test_cells_say_the_same_whether_another_program_saved_them_or_they_were_put_in(edit):
    """Numbers, texts, truths and cells that were emptied."""
    typed = {
        "prices.electricity_usd_kwh": 0.2,
        "fan.motor_hp": None,
        "economizer.integrated": False,
        "group[office].weekday_hours": "6 to 18.5",
        "zone[Lobby].name": "<Lobby> & 'hall'",
    }
    for path, value in typed.items():
        edit.yours(path).value = value
    edit.save()
    saved = read_form(edit.path).project
    edit.path.unlink()
    edit.put()
    assert read_form(edit.path).project == saved != office()


@pytest.mark.invariant
def test_what_a_user_types_counts(edit):
    edit.yours("prices.electricity_usd_kwh").value = 0.2
    edit.yours("fan.motor_hp").value = None  # taken away: sized again
    edit.yours("economizer.integrated").value = False
    edit.yours("group[office].weekday_hours").value = "6 to 18.5"
    edit.yours("group[office].saturday_hours").value = "closed"
    edit.yours("zone[Top floor core 1].area_ft2").value = 1234.5  # of the quick description: an override
    edit.yours("zone[Network rooms].max_cfm").value = 700  # lies over the project's own override
    edit.yours("candidate[sat_demand].sat.max_f").value = "64"
    edit.yours("sat.as_found.points.y1").value = 59
    edit.yours("candidate[as_found].sat.points.y2").value = 54.5
    project = edit.read().project
    assert project.prices.electricity_usd_kwh == 0.2 and project.fan.motor_hp is None
    assert project.economizer.integrated is False
    assert project.groups[0].weekday_hours == (6.0, 18.5) and project.groups[0].saturday_hours == ()
    zones = {zone.name: zone for zone in project.zones}
    assert zones["Top floor core 1"].area_ft2 == 1234.5 and zones["Network rooms"].max_cfm == 700
    assert set(list(project.overrides)[-2:]) == {"zone[Top floor core 1].area_ft2", "zone[Network rooms].max_cfm"}
    assert project.candidate("sat_demand").sat.max_f == 64
    assert project.candidate("as_found").sat.points == (
        (45.0, 59.0),
        (65.0, 54.5),
    )  # its own line now, the rest of it as it counts
    assert project.given.library["sat"]["as_found"]["points"] == ((45.0, 59.0), (65.0, 55.0))


@pytest.mark.invariant
def test_spare_lines_take_new_things(edit):
    group, special, candidate = (edit.plan.side[kind] for kind in ("group", "special", "candidate"))

    def fill(table, place, **values):
        for key, value in values.items():
            edit.cell(table.sheet, table.rows[key.replace("__", ".")], table.column("value", place)).value = value

    fill(group, 4, name="storage", people_ft2=900)
    fill(special, 3, name="Store", group="storage", area_ft2=80)
    fill(
        candidate,
        len(EDITED),
        id="warm",
        name="Warmer",
        sat__strategy="fixed",
        sat__setpoint_f=57,
        dsp__strategy="as_found",
        cost_usd=5,
    )
    row = edit.plan.zones_last_row
    for column, value in ((0, "Annexe"), (2, "storage"), (4, 640)):
        edit.cell("Zone inputs", row - 2, column).value = value  # after empty lines
    edit.cell("Zone inputs", row + 1, 0).value = "Below"  # beyond the last spare line
    edit.cell("Zone inputs", row + 1, 4).value = 100
    project = edit.read().project
    assert [g.name for g in project.groups][-1] == "storage" and project.groups[-1].people_ft2 == 900
    assert [s.name for s in project.specials][-1] == "Store"
    assert [(z.name, z.group, z.area_ft2) for z in project.zones[-2:]] == [
        ("Annexe", "storage", 640.0),
        ("Below", "office", 100.0),
    ]
    assert project.candidates[-1].id == "warm" and project.candidates[-1].sat.setpoint_f == 57


@pytest.mark.invariant
def test_overrides_of_a_reviewer_are_kept_apart(edit):
    edit.review("prices.electricity_usd_kwh").value = 0.09
    edit.review("economizer.stuck_frac").value = "none"
    edit.review("group[office].people_ft2").value = 200
    edit.review("zone[Lobby].area_ft2").value = 1500
    edit.review("candidate[sat_outdoor_air].sat.points.y1").value = 59
    edit.review("candidate[sat_demand].cost_usd").value = 12_000
    form = edit.read()
    assert form.project == office()  # the claim is what it was
    assert form.review == {
        "prices.electricity_usd_kwh": 0.09,
        "economizer.stuck_frac": None,
        "group[office].people_ft2": 200.0,
        "zone[Lobby].area_ft2": 1500.0,
        "candidate[sat_outdoor_air].sat.points": ((60.0, 59.0), (70.0, 55.0)),
        "candidate[sat_demand].cost_usd": 12_000.0,
    }
    assert form.reviewed == office().with_overrides(form.review)
    assert form.reviewed.prices.electricity_usd_kwh == 0.09 and form.reviewed.economizer.stuck_frac is None
    assert form.reviewed.candidate("sat_outdoor_air").sat.points == ((60.0, 59.0), (70.0, 55.0))
    edit.review("limits.sat_min_f").value = 70
    assert (
        at(edit.review("limits.sat_min_f")) + ", Coldest SAT (limits.sat_min_f): not below “Warmest SAT” at Inputs!B"
        in edit.refused()
    )


@pytest.mark.invariant
def test_mistakes_are_named_by_sheet_and_cell(edit):
    """The same checks as in a project file, all at once."""
    wrong = {
        "fan.motor_hp": (-5, "below the smallest allowed value; got -5"),
        "weather.whole_f": ("maybe", "not one of the choices"),
        "prices.fuel_usd_therm": ("=1+1", "holds a formula"),
        "prices.electricity_usd_kwh": ("#REF!", "holds an error value"),
        "project.date": (__import__("datetime").date(2024, 5, 1), "holds a date"),
        "cooling.capacity_tons": (True, "not a number; got true"),
        "calendar.first_weekday": ("Mon", "did you mean"),
        "group[office].lights_w_ft2": (50, "above the largest"),
        "zone[Lobby].min_cfm": ("1,000", "1000 if the comma is a thousands separator"),
        "special[Meeting rooms].group": ("meetings", "no such profile group"),
        "candidate[minimums_lowered].sat.strategy": ("reset", "not one of the choices"),
        "candidate[sat_demand].cost_usd": (-1, "below"),
    }
    for path, (value, _) in wrong.items():
        edit.yours(path).value = value
    text = edit.refused()
    for path, (_, expected) in wrong.items():
        lines = [line for line in text.splitlines() if line.startswith(f"  - {at(edit.yours(path))}")]
        assert lines and any(expected in line for line in lines), (path, text)


@pytest.mark.invariant
def test_mistakes_between_inputs_and_in_lists_of_paths_are_placed(edit):
    edit.yours("limits.sat_min_f").value = 66
    edit.cell("Inputs", edit.plan.overrides_row + 3, 0).value = "zone.Nowhere.importance"
    edit.cell("Inputs", edit.plan.about_row + 3, 9).value = "seen"
    edit.cell("Inputs", edit.plan.about_row + 8, 9).value = "measured"
    edit.yours("zone[Lobby].name").value = "Core"
    changes = edit.plan.changes_row + 3
    edit.cell("Strategies", changes, 3).value = "nobody"
    text = edit.refused()
    assert (
        f"{at(edit.yours('limits.sat_min_f'))}, Coldest SAT (limits.sat_min_f): not below “Warmest SAT” at Inputs!B"
        in text
    )
    assert (
        f"Inputs!B{edit.plan.overrides_row + 4}, Importance multiplier of Nowhere (zone.Nowhere.importance): there is "
        'no zone "Nowhere"' in text
    )
    assert f"Inputs!J{edit.plan.about_row + 4}, " in text and "not a status" in text
    assert f"Inputs!A{edit.plan.about_row + 9}: the line needs the path" in text
    assert f"Strategies!E{changes + 1}: no candidate of this id" in text


# What a person who fills in cells should never have to read: signs of a project file, and advice about it.
_FILE_WORDS = re.compile(r'\[\[|\]\]|\[\]|\[start|\["|\w = |true or false|TOML|quotes|"none"|under \[')
_SPOILED = {
    "text": True,
    "path": True,
    "bool": "perhaps",
    "int": "many",
    "float": "seven",
    "optional_float": "7,5 cfm",
    "choice": "strange",
    "choice_float": 3.3,
    "hour_pair": "7:00",
    "date_list": "July",
    "profile24": "1, 2",
    "points": "x?",
    "choice_list": "strange",
}
_COORDINATE = re.compile(r"\.[xy]\d+$")


@pytest.fixture(scope="module")
def spoiled(tmp_path_factory):
    """A form with a bad value in every cell, and the error it ends in."""
    raw = {key: value for key, value in PROJECT.items() if key not in ("override", "evidence", "status")}
    raw |= {
        "project": {"name": "P"},
        "candidate": [{"id": "mine", "name": "Mine", "sat": "outdoor_air", "dsp": "demand"}],
    }
    project = project_from_mapping(raw)
    path = tmp_path_factory.mktemp("spoiled") / "form.xlsx"
    editor = Editor(path, plan_of(project), opened(form_bytes(project)))
    cells = {}
    for path in editor.plan.yours:
        head = _COORDINATE.sub("", path)
        part, _, rest = head.partition(".")
        field = fields_of(part)[rest.partition(".")[2]] if part in ("sat", "dsp") else parse_path(head)[0].field
        if path.startswith("zone[") and not path.startswith(("zone[Lobby]", "zone[Atrium*]")):
            continue  # zones of the quick description, which a bad floor area leaves without
        if field.name not in ("name", "id"):  # names stay, so that every message says whose cell it is
            editor.yours(path).value = _SPOILED[field.type]
            cells[path] = (field, at(editor.yours(path)))
    editor.book.save(editor.path)
    with pytest.raises(InputErrors) as caught:
        read_form(editor.path)
    return cells, caught.value.problems


def test_every_bad_cell_of_a_form_is_named_with_its_label_and_what_it_wants(spoiled):
    cells, problems = spoiled
    for path, (field, cell) in cells.items():
        if _COORDINATE.search(path) and not path.endswith(".x1"):
            continue  # the first wrong coordinate of a line represents it
        if field.path in ("special.group", "building.group") or path.startswith("zone[") and field.name == "group":
            continue  # zones made of others; a group of that name may exist
        found = [problem for problem in problems if problem.where.startswith(f"{cell}, ")]
        assert found, (path, cell)
        assert field.label in found[0].where
        assert f"expected {field.allowed_as(in_cell=True)}" in found[0].text or "outside" in found[0].text, str(
            found[0]
        )
    assert {field.type for field, _ in cells.values()} >= {field.type for field in FIELDS} - {"path"}


def test_no_message_of_a_form_speaks_of_project_files(spoiled):
    _, problems = spoiled
    for problem in problems:
        assert re.match(r"[A-Z][a-z ]+![A-Z]+\d+, ", problem.where), problem.where
        bare = re.sub(r"got .*?; expected", "", problem.text)
        assert not _FILE_WORDS.search(bare), str(problem)


#: What is typed into one form, by what has to be said of it. Checks between inputs come once each is good by itself.
WANTED = [
    {
        ("group[office].weekday_hours", "7:00 - 18:30"): "type 7, 18.5",
        ("group[office].saturday_hours", "7, 7"): "type 0, 24 for the whole day",
        ("group[office].always_on", "1"): "type yes",
        ("weather.whole_f", "maybe"): "one of auto, yes, no",
        ("fan.motor_hp", "40,5"): "type 40.5 with a decimal point",
        ("calendar.holidays", "7/4"): "two digits each: 07-04",
        ("zone[Lobby].group", "ofice"): "no such profile group",
    },
    {
        ("group[office].weekday_hours", 7.18): "format the cell as text",
        ("fan.motor_hp", "40 hp"): "type 40 alone; the unit (hp)",
    },
    {("group[office].weekday_hours", 7.0): "such as 7, 18, or the word closed"},
    {
        ("limits.sat_min_f", 66): "“Warmest SAT” at Inputs!B",
        ("fan.design_dsp_inwc", 6): "“Total static pressure at design” at Inputs!B",
        ("bins.by_rate_period", "yes"): "“On-peak rate period” at Inputs!B",
    },
    {("candidate[sat_demand].sat.min_f", 66): "candidate sat_demand"},
    {("fan.measured_cfm", "none"): "measured point without “Measured airflow”"},
]


@pytest.mark.parametrize("wanted", WANTED, ids=lambda wanted: next(iter(wanted))[0])
def test_what_a_cell_wants_is_said_in_its_own_words(edit, wanted):
    for path, value in wanted:
        edit.yours(path).value = value
    text = edit.refused()
    for (path, _), words in wanted.items():
        # Where a check is between inputs, the line is that of another.
        lines = [line for line in text.splitlines() if f"{at(edit.yours(path))}, " in line or len(wanted) == 1]
        assert any(words in line for line in lines), (path, text)
    assert not _FILE_WORDS.search(re.sub(r"got .*?; expected", "", text)), text


def test_bad_overrides_of_a_reviewer_in_words_of_cells(edit):
    edit.review("economizer.stuck_frac").value = "half"
    edit.review("group[office].people_ft2").value = "90,5"
    text = edit.refused()
    assert (
        f"{at(edit.review('economizer.stuck_frac'))}, " in text and "or the word none" in text and "type 90.5" in text
    )
    assert not _FILE_WORDS.search(text)


def test_a_candidate_whose_short_name_cannot_be_used_is_placed(edit):
    edit.yours("candidate[minimums_lowered].id").value = "Minimums lowered"
    edit.yours("candidate[minimums_lowered].cost_usd").value = "much"
    text = edit.refused()
    for path in ("id", "cost_usd"):
        assert f"{at(edit.yours(f'candidate[minimums_lowered].{path}'))}, " in text, text


@pytest.mark.invariant
def test_names_that_stand_twice_are_placed(edit):
    edit.yours("group[meeting].name").value = "office"
    text = edit.refused()
    assert "Profile groups!" in text and "the name is given twice" in text


def test_an_empty_form_says_what_is_required(tmp_path):
    path = tmp_path / "empty.xlsx"
    path.write_bytes(form_bytes())
    with pytest.raises(InputError) as caught:
        read_form(path)
    text = str(caught.value)
    for words in (
        "Inputs!B9, Name (project.name): is missing",
        "(weather.file): is missing",
        "sheet Profile groups (group): no profile group",
        "sheet Zone inputs (zone): no zone",
    ):
        assert words in text
    book = openpyxl.load_workbook(path)
    assert book.sheetnames == [QUICK, "How to fill in", *FORM_SHEETS, "Review"]
    guide = " ".join(str(c) for line in book["How to fill in"].iter_rows(values_only=True) for c in line if c)
    assert "Required inputs" in guide and "723170TYA.CSV" in guide and "binestimator estimate" in guide
    assert len(guide) > 2000


@pytest.mark.invariant
def test_the_least_an_empty_form_needs(tmp_path):
    path = tmp_path / "form.xlsx"
    path.write_bytes(form_bytes())
    book = openpyxl.load_workbook(path)
    from binestimator.inputs.form_content import empty_project

    plan = FormPlan(form_content(empty_project(), spare_points=3), FORM_SPARE)
    for path_, value in (
        ("project.name", "First"),
        ("weather.file", "723170TYA.CSV"),
        ("building.floor_area_ft2", 20_000),
    ):
        sheet, row, column = plan.yours[path_]
        book[sheet].cell(row + 1, column + 1).value = value
    group = plan.side["group"]
    book["Profile groups"].cell(group.rows["name"] + 1, group.column("value", 0) + 1).value = "office"
    book.save(path)
    project = read_form(path).project
    assert project == project_from_mapping(
        {
            "project": {"name": "First"},
            "weather": {"file": "723170TYA.CSV"},
            "building": {"floor_area_ft2": 20_000},
            "group": [{"name": "office"}],
        }
    )


# ---------------------------------------------------------------- what is on the sheets


@pytest.mark.crosscheck
def test_every_formula_carries_the_value_of_the_engine():
    """Cells that count show the project's values before any program has calculated."""
    project, content = whole_office()
    book = openpyxl.load_workbook(io.BytesIO(content), data_only=True)
    plan = plan_of(project)
    seen = 0
    for path, _, value, *_ in project.effective_rows():
        if path in plan.counts and isinstance(value, (int, float)) and not isinstance(value, bool):
            sheet, row, column = plan.counts[path]
            assert book[sheet].cell(row + 1, column + 1).value == value, path
            seen += 1
    assert seen > 500


@pytest.mark.slow
@pytest.mark.crosscheck
def test_an_independent_program_calculates_the_same(edit):
    """LibreOffice works out every cell that counts from its layers, and hands back a form that says the same.

    That it works out cells just typed is tested in test_defaults.py as well."""
    from recalculation import Spreadsheet

    edit.yours("limits.sat_max_f").value = 63
    edit.review("air_handler.design_sat_f").value = 56
    edit.yours("sat.as_found.points.y2").value = 55.5
    edit.yours("zone[Lobby].min_cfm").value = 200
    edit.review("zone[Lobby].min_cfm").value = 250
    edit.book.save(edit.path)  # this program saves formulas without values
    found = Spreadsheet(edit.path.parent).resaved({"form": edit.path.read_bytes()})["form"]
    edit.path.write_bytes(found)
    form = read_form(edit.path)
    assert form.project.limits.sat_max_f == 63 and form.review == {
        "air_handler.design_sat_f": 56.0,
        "zone[Lobby].min_cfm": 250.0,
    }
    book = openpyxl.load_workbook(io.BytesIO(found), data_only=True)
    seen = 0
    for path, _, value, *_ in form.reviewed.effective_rows():
        if path in edit.plan.counts and isinstance(value, (int, float)) and not isinstance(value, bool):
            sheet, row, column = edit.plan.counts[path]
            assert book[sheet].cell(row + 1, column + 1).value == pytest.approx(value, rel=1e-12), path
            seen += 1
    assert seen > 500
    for candidate in ("as_found", "sat_outdoor_air"):
        points = form.reviewed.candidate(candidate).sat.points
        for k, point in enumerate(points, 1):
            for axis, expected in zip("xy", point, strict=True):
                sheet, row, column = edit.plan.counts[f"candidate[{candidate}].sat.points.{axis}{k}"]
                assert book[sheet].cell(row + 1, column + 1).value == expected
    for sheet in book.worksheets:
        for line in sheet.iter_rows():
            assert not [cell.coordinate for cell in line if cell.data_type == "e"]


def test_user_text_is_never_a_formula():
    project = project_from_mapping({**PROJECT, "project": {"name": "=1+1", "notes": "@SUM(A1)"}, "override": {}}, ".")
    book = openpyxl.load_workbook(io.BytesIO(form_bytes(project, SMALL)))
    for sheet in book.worksheets:
        for line in sheet.iter_rows():
            for cell in line:
                if cell.data_type == "f":
                    assert re.match(r"=(IF\(|[A-Z]+\d+$)", cell.value), cell.value
    assert book["Inputs"]["B9"].value == "=1+1" and book["Inputs"]["B9"].data_type == "s"


def test_cells_for_users_have_rules_and_messages(office_book):
    book = office_book
    plan = office_plan()
    for name in FORM_SHEETS:
        rules = book[name].data_validations.dataValidation
        assert len(rules) > 50
        for rule in rules:
            assert rule.promptTitle and rule.prompt and len(rule.prompt) <= 255 and len(rule.promptTitle) <= 32
            assert rule.type in (None, "none") or (rule.error and rule.errorTitle)
    by_cell = {str(rule.sqref): rule for rule in book["Inputs"].data_validations.dataValidation}

    def rule_of(path):
        _, row, column = plan.yours[path]
        return by_cell[cell_name(row, column)]

    rule = rule_of("fan.efficiency_frac")
    assert (rule.type, rule.operator, float(rule.formula1), float(rule.formula2)) == (
        "decimal",
        None,
        0.2,
        0.9,
    ) or rule.operator == "between"
    assert (
        rule_of("economizer.type").formula1
        == '"none,fixed_dry_bulb,differential_dry_bulb,fixed_enthalpy,differential_enthalpy"'
    )
    assert rule_of("building.floors").type == "whole" and rule_of("project.name").type == "textLength"
    assert '"none"' in rule_of("fan.motor_hp").formula1 and rule_of("fan.motor_hp").type == "custom"
    assert "Profile groups" in rule_of("building.group").formula1


def test_columns_of_the_form(office_book):
    sheet = office_book["Inputs"]
    heads = [cell.value for cell in sheet[6]][:14]
    assert heads == [
        "Input",
        "Your value",
        "Unit",
        "Allowed",
        "Otherwise",
        "which is",
        "Reviewer’s override",
        "Counts",
        "Whose",
        "Status",
        "Evidence",
        "Where “otherwise” comes from",
        "What it is",
        "Key in the project file",
    ]
    for name in (*FORM_SHEETS, "Review"):
        page = office_book[name]
        assert (
            page.page_setup.orientation == "landscape"
            and page.oddFooter.left.text
            and office().checksum() in page.oddFooter.left.text
        )


def test_same_project_same_bytes():
    assert form_bytes(office()) == filled() and form_bytes() == form_bytes()


# ---------------------------------------------------------------- hostile files


# Reads forms one after the other, each in a process that is forked for it from one with the program loaded.
READER = r"""
import os, re, signal, sys, time
from binestimator.errors import InputError
from binestimator.inputs.form import read_form

def peak():
    # The kernel's peak of this process alone: that of getrusage begins with the peak of the parent.
    return int(re.search(r"VmHWM:\s*(\d+)", open("/proc/self/status").read())[1]) / 1024

for line in sys.stdin:
    if not os.fork():
        signal.alarm(60)
        base, start = peak(), time.process_time()
        try:
            read_form(line.rstrip("\n"))
            text = "accepted"
        except InputError as error:
            text = str(error)
        print(time.process_time() - start, peak() - base, repr(text.encode("ascii", "backslashreplace").decode()))
        sys.stdout.flush()
        os._exit(0)
    print("ended", os.wait()[1], flush=True)
"""


@pytest.fixture(scope="module")
def message():
    """The one error of a file, found in bounded time and memory (measured in a process of its own).

    Some five times what an idle machine takes: a bound against growth without end, which busy machines keep as well.
    """
    with subprocess.Popen(
        [sys.executable, "-c", READER],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
    ) as reader:

        def ask(path, seconds=20.0, megabytes=160):
            reader.stdin.write(f"{path}\n")
            reader.stdin.flush()
            said = reader.stdout.readline()
            # An exception of another kind ends the process without a line, or with exit code 1.
            assert said and not said.startswith("ended"), said
            assert reader.stdout.readline() == "ended 0\n"
            spent, used, text = said.split(" ", 2)
            assert float(spent) < seconds and float(used) < megabytes, (spent, used, text[:200])
            return literal_eval(text).strip()

        yield ask
        reader.stdin.close()
        assert reader.stderr.read() == ""


@cache
def least():
    """Parts of a small form by name."""
    content = form_bytes(
        project_from_mapping(
            {
                "project": {"name": "Least"},
                "weather": {"file": "x.csv"},
                "group": [{"name": "g"}],
                "zone": [{"name": "Z", "area_ft2": 500}],
            }
        ),
        SMALL,
    )
    with zipfile.ZipFile(io.BytesIO(content)) as file:
        return {name: file.read(name) for name in file.namelist()}


@pytest.mark.invariant
def test_forms_of_earlier_versions_are_read_under_their_sheet_names(tmp_path):
    """The zones' sheet was called “Zone schedule”; of both names at once one is a copy."""
    parts = least()
    content = {name: text.replace(b"Zone inputs", b"Zone schedule") for name, text in parts.items()}
    assert content != parts
    now, earlier = tmp_path / "now.xlsx", tmp_path / "earlier.xlsx"
    now.write_bytes(packed(parts))
    earlier.write_bytes(packed(content))
    assert read_form(earlier).project.checksum() == read_form(now).project.checksum()


def packed(parts, compression=zipfile.ZIP_DEFLATED):
    buffer = io.BytesIO()
    with zipfile.ZipFile(buffer, "w", compression) as file:
        for name, content in parts.items():
            file.writestr(name, content)
    return buffer.getvalue()


def changed_part(name, *changes, **more):
    """The small form with texts of a part replaced."""
    text = least()[name].decode()
    for old, new in changes:
        assert old in text, old
        text = text.replace(old, new, 1)
    return packed({**least(), name: text.encode(), **more})


INPUTS_PART = "xl/worksheets/sheet2.xml"


def test_the_small_form_itself_is_good(saved):
    assert read_form(saved(packed(least()))).project.info.name == "Least"


HOSTILE = {
    "no zip": (lambda: b"hello" * 100, "is not a workbook"),
    "empty": (lambda: b"", "is not a workbook"),
    "cut": (lambda: packed(least())[:-400], "is not whole"),
    "old": (
        lambda: b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1" + bytes(4000),
        "is a workbook of the old kind (.xls), which is not read; open it",
    ),
    "encrypted": (
        lambda: b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1" + bytes(4000) + "EncryptedPackage".encode("utf-16-le"),
        "is encrypted; save it",
    ),
    "another zip": (lambda: packed({"readme.txt": b"hello"}), "is a packed file but no workbook; open it"),
    "an OpenDocument sheet": (
        lambda: packed({"mimetype": b"application/vnd.oasis.opendocument.spreadsheet", "content.xml": b"<x/>"}),
        "is an OpenDocument spreadsheet (.ods), which is not read; open it in a spreadsheet program and save it as "
        ".xlsx",
    ),
    "a binary workbook": (
        lambda: packed({"[Content_Types].xml": b"<Types/>", "xl/workbook.bin": b""}),
        "is a binary workbook (.xlsb)",
    ),
    "a web page": (lambda: b"<html><table></table></html>", "is a web page or XML file under the name of a workbook"),
    "a project file": (
        lambda: b"[project]\nname = 'x'\n",
        "is not a workbook but plain text; a project file ends in .toml",
    ),
    "macros": (lambda: packed({**least(), "xl/vbaProject.bin": b"x"}), "holds macros"),
    "macro type": (
        lambda: changed_part(
            "[Content_Types].xml",
            (
                "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet.main+xml",
                "application/vnd.ms-excel.sheet.macroEnabled.main+xml",
            ),
        ),
        "with macros",
    ),
    "external link": (
        lambda: packed({**least(), "xl/externalLinks/externalLink1.xml": b"<x/>"}),
        "links to other files",
    ),
    "part twice": (lambda: _twice(), "holds the part XL/workbook.xml twice"),
    "many parts": (
        lambda: packed({**least(), **{f"x/{k}": b"" for k in range(2100)}}),
        "parts; expected at most 2,000",
    ),
    "huge directory": (lambda: packed({**least(), **{f"x/{k:040d}": b"" for k in range(8000)}}), "directory of"),
    "bomb": (lambda: packed({**least(), INPUTS_PART: b" " * 40_000_000}), "no spreadsheet program packs so tightly"),
    "many bombs": (lambda: _many(), "would unpack to"),
    "big part": (
        lambda: packed({**least(), "xl/sharedStrings.xml": _noise(31_000_000)}),
        "bytes; expected at most 30,000,000",
    ),
    "lying size": (lambda: _lying(), "damaged workbook"),
    "entities": (
        lambda: changed_part(
            "xl/sharedStrings.xml", ("<sst ", '<!DOCTYPE x [<!ENTITY a "aaaaaaaaaa"><!ENTITY b "&a;&a;&a;&a;">]><sst ')
        ),
        "declares a document type or entities",
    ),
    "entities in UTF-16": (
        lambda: packed(
            {
                **least(),
                "xl/sharedStrings.xml": (
                    '<?xml version="1.0" encoding="UTF-16"?><!DOCTYPE x [<!ENTITY a "a">]><sst/>'
                ).encode("utf-16"),
            }
        ),
        "declares a document type or entities",
    ),
    "document type behind a long comment": (
        lambda: packed({**least(), "xl/workbook.xml": b"<!--" + b"x" * 300_000 + b"--><!DOCTYPE x><workbook/>"}),
        "declares a document type",
    ),
    "outside entity": (
        lambda: changed_part("xl/workbook.xml", ("<workbook ", '<!DOCTYPE x SYSTEM "file:///etc/passwd"><workbook ')),
        "declares a document type",
    ),
    "deep": (lambda: changed_part(INPUTS_PART, ("<sheetData>", "<a>" * 200_000)), "nested more than"),
    "a tag without end": (
        lambda: packed(
            {**least(), INPUTS_PART: ("<worksheet " + " ".join(f'a{k:x}=""' for k in range(2_000_000)) + "/>").encode()}
        ),
        "a tag of more than 1,000,000 bytes",
    ),
    "not XML": (lambda: packed({**least(), INPUTS_PART: b"<worksheet><"}), "damaged workbook"),
    "a million rows": (
        lambda: changed_part(
            INPUTS_PART,
            (
                "<sheetData>",
                "<sheetData>" + "".join(f'<row r="{k}"><c r="A{k}"><v>{k}</v></c></row>' for k in range(1, 300_000)),
            ),
        ),
        "cells with content",
    ),
    "a million empty cells": (
        lambda: changed_part(INPUTS_PART, ("<sheetData>", "<sheetData><row>" + '<c s="1"/>' * 1_300_000 + "</row>")),
        "bytes; expected at most|elements|columns than a sheet",
    ),
    "a row no sheet has": (
        lambda: changed_part(INPUTS_PART, ('<row r="1"', '<row r="9999999"')),
        "a row 9999999 that no sheet has",
    ),
    "a cell no sheet has": (
        lambda: changed_part(INPUTS_PART, ('r="A1"', 'r="ZZZZ1"')),
        'a cell "ZZZZ1" that no sheet has',
    ),
    "a cell twice": (lambda: changed_part(INPUTS_PART, ('r="A2"', 'r="A1"')), "holds the cell A1 twice"),
    "many merged areas": (
        lambda: changed_part(
            INPUTS_PART,
            (
                "</sheetData>",
                "</sheetData><mergeCells>"
                + "".join(f'<mergeCell ref="A{k}:B{k}"/>' for k in range(1, 6000))
                + "</mergeCells>",
            ),
        ),
        "more than 5,000 merged areas",
    ),
    "a long text": (
        lambda: changed_part("xl/sharedStrings.xml", ("<t>", "<t>" + "x" * 400_000)),
        "a text of more than 32,767",
    ),
    "a text that is not there": (
        lambda: packed(
            {
                **least(),
                "xl/sharedStrings.xml": b'<sst xmlns="http://schemas.openxmlformats.org/spreadsheetml/2006/main"/>',
            }
        ),
        "is missing",
    ),
    "many sheets": (
        lambda: changed_part(
            "xl/workbook.xml",
            (
                "<sheets>",
                "<sheets>" + "".join(f'<sheet name="s{k}" sheetId="{k}" r:id="rId1"/>' for k in range(10, 400)),
            ),
        ),
        "sheets; expected 1 to 250",
    ),
    "two sheets of one name": (
        lambda: changed_part("xl/workbook.xml", ('name="Review"', 'name="INPUTS"')),
        "two sheets called",
    ),
    "a sheet renamed": (
        lambda: changed_part("xl/workbook.xml", ('name="Strategies"', 'name="Plans"')),
        "no sheet \\u201cStrategies\\u201d",
    ),
    "a sheet copied": (
        lambda: changed_part("xl/workbook.xml", ('name="Review"', 'name="Inputs (2)"')),
        "looks like a copy",
    ),
    "a sheet that is not there": (
        lambda: packed({k: v for k, v in least().items() if k != INPUTS_PART}),
        "lacks the part xl/worksheets/sheet2.xml",
    ),
    "keys taken away": (
        lambda: changed_part("xl/sharedStrings.xml", ("<t>key: inputs</t>", "<t>x</t>")),
        "the table with the key",
    ),
    "keys changed": (
        lambda: changed_part("xl/sharedStrings.xml", ("<t>key: inputs</t>", "<t>key: zone</t>")),
        "unknown key of a table",
    ),
    "an unknown line": (
        lambda: changed_part("xl/sharedStrings.xml", ("<t>fan.motor_hp</t>", "<t>fan.motor_h</t>")),
        'did you mean "fan.motor_hp"',
    ),
    "an input of an earlier version": (
        lambda: changed_part("xl/sharedStrings.xml", ("<t>project.name</t>", "<t>service.degree_hours_tolerance</t>")),
        "service.temperature_rise_f",
    ),
    "a column of keys changed": (
        lambda: changed_part("xl/sharedStrings.xml", ("<t>override</t>", "<t>overide</t>")),
        "the column with the key",
    ),
}


@cache
def _noise(size):
    """Bytes that pack some hundred times: no tighter than a workbook may."""
    return "".join(random.Random(1).choices(string.ascii_letters, k=5000)).encode() * (size // 5000)


def _twice():
    buffer = io.BytesIO(packed(least()))
    with zipfile.ZipFile(buffer, "a") as file:
        file.writestr("XL/workbook.xml", b"<workbook/>")
    return buffer.getvalue()


def _many():
    """Three parts that the directory says unpack to 400 MB each, none of them too tightly."""
    names = ["x/0", "x/1", "x/2"]
    content = bytearray(packed({**least(), **{name: _noise(2_000_000) for name in names}}, zipfile.ZIP_STORED))
    for name in names:
        place = content.rfind(b"PK\x01\x02", 0, content.rfind(name.encode()))
        content[place + 24 : place + 28] = struct.pack("<I", 400_000_000)
    return bytes(content)


def _lying():
    """The directory says that a part is small; what is packed unpacks to much more."""
    content = bytearray(packed({**least(), INPUTS_PART: _noise(20_000_000)}))
    place = content.rfind(b"PK\x01\x02", 0, content.rfind(INPUTS_PART.encode()))
    content[place + 24 : place + 28] = struct.pack("<I", 5000)
    return bytes(content)


@pytest.mark.parametrize("kind", HOSTILE)
def test_hostile_files_end_in_one_clear_error_in_bounded_time_and_memory(saved, message, kind):
    make, expected = HOSTILE[kind]
    text = message(saved(make()))
    assert re.search(expected if "|" in expected else re.escape(expected), text), text[:500]
    assert text.startswith("form.xlsx")


@pytest.mark.parametrize(
    ("last", "count", "expected"),
    [
        (20_000, 100_000, "19,0"),
        pytest.param(74_000, 390_000, "73,0", marks=pytest.mark.slow),
        pytest.param(4_900, 390_000, "more than 1000 lines of zones", marks=pytest.mark.slow),
    ],
)
def test_the_most_that_is_allowed_is_bounded_too(saved, message, last, count, expected):
    """Four sheets of inputs and the texts, just within their limits in the slow cases, with more lines than a table may
    have or just as many."""
    rows = "".join(
        f'<row r="{k}"><c r="AA{k}"><v>{k}</v></c><c r="AB{k}" t="s"><v>{k + 9_000}</v></c></row>'
        for k in range(1000, last)
    )
    parts = {**least()}
    for number in (2, 3, 4, 5):
        name = f"xl/worksheets/sheet{number}.xml"
        parts[name] = parts[name].replace(b"</sheetData>", rows.encode() + b"</sheetData>")
    texts = "".join(f"<si><t>text number {k} of a long list</t></si>" for k in range(count))
    parts["xl/sharedStrings.xml"] = parts["xl/sharedStrings.xml"].replace(b"</sst>", texts.encode() + b"</sst>")
    assert expected in message(saved(packed(parts)), seconds=40.0, megabytes=300)  # 4 to 8 s, 130 MB


@pytest.mark.invariant
@pytest.mark.parametrize("count", [100, pytest.param(500, marks=pytest.mark.slow)])
def test_five_hundred_zones_fit_well_within_the_limits(saved, count):
    zones = [{"name": f"Zone {k}", "area_ft2": 500 + k / 7} for k in range(count)]
    project = project_from_mapping(
        {"project": {"name": "Many"}, "weather": {"file": "x.csv"}, "group": [{"name": "g"}], "zone": zones}
    )
    path = saved(form_bytes(project))
    with WorkbookFile(path) as file:
        assert len(file.sheet("Zone inputs").cells) * 500 / count < MOST_CELLS / 2
    same(read_form(path), project)


@pytest.mark.parametrize("kind", ["folder", "missing", "large", "encrypted part"])
def test_files_that_cannot_be_read(tmp_path, saved, kind):
    path = tmp_path / "form.xlsx"
    if kind == "folder":
        path.mkdir()
        expected = "the workbook is a folder"
    elif kind == "missing":
        expected = "does not exist"
    elif kind == "large":
        with path.open("wb") as file:
            file.truncate(cells.LARGEST_WORKBOOK + 1)
        expected = "bytes; expected at most 100,000,000"
    else:
        content = bytearray(packed(least()))
        place = content.find(b"PK\x01\x02")
        content[place + 8] |= 1
        path.write_bytes(bytes(content))
        expected = "is encrypted"
    with pytest.raises(InputError, match=re.escape(expected)):
        read_form(path)


def test_merged_cells_over_inputs_are_refused(edit_lines):
    _, row, column = edit_lines.plan.yours["fan.motor_hp"]
    edit_lines.book["Inputs"].merge_cells(
        start_row=row + 1, start_column=column + 1, end_row=row + 2, end_column=column + 1
    )
    text = edit_lines.refused()
    assert f"Inputs!{cell_name(row, column)}: is part of merged cells" in text and text.count("merged cells") == 2


def test_content_without_a_key_is_refused(edit):
    _, row, column = edit.plan.yours["fan.motor_hp"]
    edit.cell("Inputs", row, 13).value = None
    group = edit.plan.side["group"]
    edit.cell("Profile groups", group.rows["lights_w_ft2"], group.key_column).value = None
    text = edit.refused()
    assert f"Inputs!{cell_name(row, column)}: the line has no key" in text


@pytest.mark.parametrize(
    ("kind", "key", "other"), [("group", "lights_w_ft2", "people_ft2"), ("candidate", "sat.max_f", "sat.min_f")]
)
def test_a_line_that_stands_twice_is_refused(edit, kind, key, other):
    """Two lines of one input: which value counts would not be clear."""
    table = edit.plan.side[kind]
    edit.cell(table.sheet, table.rows[other], table.key_column).value = key
    edit.cell(table.sheet, table.rows[key], table.column("value", 0)).value = 60
    edit.cell(table.sheet, table.rows[other], table.column("value", 0)).value = 61
    assert f"the input {key} appears twice, also at {table.sheet}!" in edit.refused()


def test_an_input_of_an_earlier_version_says_what_took_its_place(edit):
    """An empty line of it is passed over, as forms of that version have it."""
    _, row, column = edit.plan.yours["fan.motor_hp"]
    edit.cell("Inputs", row, 13).value = next(iter(REPLACED))
    edit.cell("Inputs", row, column).value = 3
    assert f"Inputs!{cell_name(row, column)}: this input of an earlier version has been replaced" in edit.refused()
    edit.cell("Inputs", row, column).value = None
    edit.read()


def test_a_column_put_between_is_refused(edit):
    group = edit.plan.side["group"]
    edit.cell("Profile groups", group.band_row + 1, group.column("value", 4)).value = None
    edit.cell("Profile groups", group.rows["people_ft2"], group.column("value", 4)).value = 90
    assert "the column has no key" in edit.refused()


@pytest.mark.invariant
def test_lines_may_be_moved(edit_lines):
    """Cells are found by their keys: rows put in and taken out change nothing."""
    edit_lines.book["Inputs"].insert_rows(8, 3)
    edit_lines.book["Inputs"].insert_cols(3, 1)
    edit_lines.book["Zone inputs"].insert_rows(11, 2)
    project = edit_lines.read().project
    assert project == office()


@pytest.mark.invariant
def test_what_is_a_workbook(tmp_path, saved):
    assert is_workbook("a.xlsx") and is_workbook("A.XLSM") and not is_workbook("a.toml") and not is_workbook(tmp_path)
    assert is_workbook(saved(packed(least()), "form")) and not is_workbook(saved(b"[project]", "project"))


@cache
def _packed_least():
    return packed(least())


@law(16, 150, st.data())
def test_spoiled_workbooks_raise_nothing_but_input_errors(data):
    """Bytes and XML of a good form changed at random."""
    with tempfile.TemporaryDirectory() as folder:
        read_spoiled(Path(folder, "spoiled.xlsx"), data)


def read_spoiled(path, data):
    if data.draw(st.booleans()):
        content = bytearray(_packed_least())
        for _ in range(data.draw(st.integers(1, 5))):
            content[data.draw(st.integers(0, len(content) - 1))] = data.draw(st.integers(0, 255))
        path.write_bytes(bytes(content))
    else:
        name = data.draw(st.sampled_from(sorted(least())))
        text = least()[name]
        start = data.draw(st.integers(0, len(text)))
        piece = data.draw(
            st.sampled_from(
                [
                    b"",
                    b"<c>",
                    b"</row>",
                    b'r="A1"',
                    b"<v>1e999</v>",
                    b"<v>nan</v>",
                    b"\xff",
                    b"&#0;",
                    b"<mergeCell ref='A1:XFD1048576'/>",
                ]
            )
        )
        spoiled = text[:start] + piece + text[start + data.draw(st.integers(0, 40)) :]
        # Parts are read whole whatever holds them, and compressing takes as long as reading.
        path.write_bytes(packed({**least(), name: spoiled}, zipfile.ZIP_STORED))
    try:
        read_form(path)
    except InputError as error:
        str(error).encode("utf-8")


@pytest.mark.invariant
def test_dates_and_escapes_and_runs_are_read_as_other_programs_write_them(tmp_path):
    """A workbook of a third program: inline texts, rich texts, dates, booleans, merged cells, formulas."""
    book = openpyxl.Workbook()
    sheet = book.active
    sheet["A1"], sheet["A2"], sheet["A3"], sheet["A4"] = "x", 1.5, True, "=A2+1"
    sheet["B1"], sheet["B2"] = 45000, 0.25
    sheet["B1"].number_format, sheet["B2"].number_format = openpyxl_numbers.FORMAT_DATE_YYYYMMDD2, "[h]:mm"
    sheet["B3"], sheet["B4"] = 3, 4
    sheet["B3"].number_format, sheet["B4"].number_format = '0.00" days"', '[Red]0;"d"'
    sheet.merge_cells("C1:D2")
    book.save(tmp_path / "x.xlsx")
    with WorkbookFile(tmp_path / "x.xlsx") as file:
        found = file.sheet("Sheet")
    kinds = {address_of(*place): (cell.kind, cell.value) for place, cell in found.cells.items()}
    assert kinds == {
        "A1": ("text", "x"),
        "A2": ("number", 1.5),
        "A3": ("bool", True),
        "A4": ("formula", None),
        "B1": ("date", None),
        "B2": ("date", None),
        "B3": ("number", 3.0),
        "B4": ("number", 4.0),
    }
    assert found.merged == ((0, 2, 1, 3),)
    parts = least()
    text = parts["xl/sharedStrings.xml"].decode()
    rich = text.replace(
        "<t>Least</t>",
        '<r><t>Le</t></r><rPh><t>zz</t></rPh><r><rPr><b/></rPr><t xml:space="preserve">a_x0073_t</t></r>',
        1,
    )
    assert rich != text
    (tmp_path / "rich.xlsx").write_bytes(packed({**parts, "xl/sharedStrings.xml": rich.encode()}))
    assert read_form(tmp_path / "rich.xlsx").project.info.name == "Least"


def test_reading_a_form_needs_no_heavy_package():
    code = (
        "import sys, binestimator.inputs.form\n"
        "print([name for name in ('numpy', 'pandas', 'scipy', 'pvlib', 'openpyxl', 'xlsxwriter', 'zipfile') if name "
        "in sys.modules])"
    )
    result = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert result.stdout.strip() == "['zipfile']"


def test_reading_is_quick(saved):
    path = saved(whole_office()[1])
    start = time.process_time()
    read_form(path)
    assert time.process_time() - start < 2.0  # measured 0.14 s; other work may go on beside it


# ---------------------------------------------------------------- the command


def command(capsys, *arguments):
    code = cli.main([str(argument) for argument in arguments])
    out, err = capsys.readouterr()
    return code, out, err


# What is tried is where inputs come from and where results go.
MEAN_ROWS = merged(merged(PLAIN, FEW), {"bins": {"rows": "mean"}})


@pytest.fixture(scope="module")
def runs(tmp_path_factory):
    """The plain project of the tests of the command, its form with two overrides of a reviewer, and a run of each."""
    folder = tmp_path_factory.mktemp("runs")
    raw = merged(MEAN_ROWS, {"evidence": {"fan.motor_hp": "photo"}, "status": {"fan.motor_hp": "nameplate"}})
    toml = folder / "plain.toml"
    toml.write_text(project_to_toml(project_from_mapping(raw, WEATHER)), encoding="utf-8")
    assert cli.main(["form", "--from", str(toml), str(folder / "form.xlsx")]) == 0
    assert cli.main(["estimate", str(toml), "--out", str(folder / "toml")]) == 0
    assert cli.main(["estimate", str(folder / "form.xlsx"), "--out", str(folder / "form")]) == 0
    return folder


def plain_data(path):
    return json.loads(path.read_text(encoding="utf-8"))


@pytest.mark.crosscheck
def test_a_form_gives_the_same_files_as_its_project_file(runs):
    assert (runs / "toml/plain.json").read_bytes() == (runs / "form/form.json").read_bytes()
    assert (runs / "toml/plain.xlsx").read_bytes() == (runs / "form/form.xlsx").read_bytes()


@pytest.mark.slow
@pytest.mark.crosscheck
def test_a_workbook_of_results_is_input_again_and_is_never_written_over(runs, capsys, tmp_path):
    """Quickly: below, with an override of a reviewer in it, which leaves the claim as it was."""
    before = (runs / "toml/plain.xlsx").read_bytes()
    code, out, err = command(capsys, "estimate", runs / "toml/plain.xlsx", "--out", runs / "toml")
    assert code == 0 and err == "" and "plain_rerun.xlsx" in out and "Reviewed" not in out
    assert (runs / "toml/plain.xlsx").read_bytes() == before == (runs / "toml/plain_rerun.xlsx").read_bytes()
    assert (runs / "toml/plain_rerun.json").read_bytes() == (runs / "toml/plain.json").read_bytes()
    assert "reviewed" not in plain_data(runs / "toml/plain.json")
    assert command(capsys, "form", "--from", runs / "toml/plain.xlsx", tmp_path / "again.xlsx")[0] == 0
    # The same inputs as in a form of the project file; what reviewers and the next run need is carried over besides.
    given, trail = read_form(runs / "form.xlsx").project, read_trail(runs / "toml/plain.xlsx")
    assert form_bytes(given) == (runs / "form.xlsx").read_bytes()
    assert form_bytes(given, trail=trail) == (tmp_path / "again.xlsx").read_bytes() and trail.run_id


@pytest.mark.crosscheck
@pytest.mark.parametrize("source", [pytest.param("form.xlsx", marks=pytest.mark.slow), "toml/plain.xlsx"])
def test_overrides_of_a_reviewer_never_become_the_claim_and_both_are_reported(runs, capsys, tmp_path, source):
    """Typed into a form or into a workbook of results: the claim stays to the digit; the second run is that of a
    project with them."""
    with WorkbookFile(runs / source) as file:
        places = {
            cell.value: place
            for place, cell in file.sheet("Inputs").cells.items()
            if cell.value in ("prices.electricity_usd_kwh", "override")
        }
    cell = address_of(places["prices.electricity_usd_kwh"][0], places["override"][1])
    path = tmp_path / "returned.xlsx"
    path.write_bytes(edited((runs / source).read_bytes(), {("Inputs", cell): 0.05}))
    code, out, err = command(capsys, "estimate", path, "--out", tmp_path / "out")
    assert code == 0 and err == ""
    claim, data = plain_data(runs / "toml/plain.json"), plain_data(tmp_path / "out/returned.json")
    reviewed = data.pop("reviewed")
    assert claim.pop("checksum") != data.pop("checksum")  # of the whole file each
    # The trail is that of the file that was read: it tells of the second run.
    assert "prices.electricity_usd_kwh = 0.05" in data.pop("trail")["revisions"][-1]["what_changed"]
    assert "Second run" not in str(claim.pop("trail"))
    assert (
        data == claim
        and reviewed["overrides"] == {"prices.electricity_usd_kwh": 0.05}
        and reviewed["run_id"] != claim["run_id"]
    )
    project = project_from_mapping(merged(MEAN_ROWS, {"prices": {"electricity_usd_kwh": 0.05}}), WEATHER)
    other = estimate(project, weather_of())
    (line,) = reviewed["candidates"]
    assert line["reviewed_saving_usd"] == other["sat_demand"].saving["cost_usd"]
    assert line["claimed_saving_usd"] == claim["candidates"][1]["saving"]["cost_usd"]
    assert line["reviewed_over_claimed"] == line["reviewed_saving_usd"] / line["claimed_saving_usd"]
    text = out[out.index("Reviewed  ") :]
    assert (
        "sat_demand" in text
        and "prices.electricity_usd_kwh = 0.05" in text
        and f"{line['reviewed_saving_usd']:,.0f}" in text
    )
    assert max(map(len, text[: text.index("Workbook")].splitlines())) <= 100
    with WorkbookFile(tmp_path / "out/returned.xlsx") as file:
        shown = [cell.value for cell in file.sheet("Review").cells.values()]
    assert (
        "prices.electricity_usd_kwh" in shown
        and 0.05 in shown
        and pytest.approx(line["reviewed_over_claimed"]) in shown
    )
    assert read_form(tmp_path / "out/returned.xlsx").review == {}  # the claim, written as such


def test_the_form_command(tmp_path, capsys):
    code, out, err = command(capsys, "form", tmp_path / "new.xlsx")
    assert code == 0 and err == "" and out == f"Form  {tmp_path / 'new.xlsx'}\n"
    assert (tmp_path / "new.xlsx").read_bytes() == form_bytes()
    for arguments, expected in (
        ((tmp_path / "new.toml",), "ends in .xlsx"),
        (("--from", tmp_path / "new.xlsx", tmp_path / "new.xlsx"), "give another name"),
        (("--from", tmp_path / "none.toml", tmp_path / "x.xlsx"), "does not exist"),
        (("--from", tmp_path / "new.xlsx", tmp_path / "x.xlsx"), "(project.name): is missing"),
        ((tmp_path / "no" / "folder.xlsx",), "does not exist"),
    ):
        code, out, err = command(capsys, "form", *arguments)
        assert code == 2 and out == "" and expected in err, arguments
    assert not (tmp_path / "x.xlsx").exists()


def test_wrong_workbooks_end_the_command_with_one_message(tmp_path, capsys, saved):
    for name, content, expected in (
        ("x.xlsx", b"PK", "is not a workbook"),
        ("x.xls", b"\xd0\xcf\x11\xe0" + bytes(99), "of the old kind"),
        ("x.xlsm", packed({**least(), "xl/vbaProject.bin": b""}), "holds macros"),
    ):
        code, out, err = command(capsys, "estimate", saved(content, name), "--out", tmp_path / "out")
        assert code == 2 and out == "" and expected in err and len(err.splitlines()) == 1
    assert not (tmp_path / "out").exists()
