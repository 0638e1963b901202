"""Lines of a project file that cannot be read: quoted, with the cause and a remedy that works."""

import random
import re
import tomllib
from pathlib import Path

import pytest

from binestimator.errors import InputError
from binestimator.inputs.hints import as_clock_hours, instead_of, not_modelled, number_hint, plain_number, unit_suffixed
from binestimator.inputs.read import read_project
from binestimator.inputs.schema import FIELDS, SECTIONS
from binestimator.inputs.toml_text import outline

DEMOS = Path(__file__).parents[1] / "demo_projects"
PROJECT = """\
[project]
name = "Corner office"
[weather]
file = "723170TYA.CSV"
[building]
floor_area_ft2 = 40000
[[group]]
name = "office"
weekday_hours = [7, 18]
"""

# Line under [fan] or, where it says so, under another table: (line, cause, remedy).
LINES = [
    ("fan", "motor_hp = 7,5", "a decimal comma", "motor_hp = 7.5"),
    ("fan", "motor_hp = 1.250,5", "a decimal comma", "motor_hp = 1250.5"),
    ("building", "floor_area_ft2 = 40,000", "a comma in a number", "floor_area_ft2 = 40000"),
    ("fan", "motor_hp = 07", "a zero before the number", "motor_hp = 7"),
    ("fan", "motor_hp = 1 250", "a number that is not plain", "motor_hp = 1250"),
    ("fan", "motor_hp = 40 hp", "a unit after the number", "motor_hp = 40"),
    ("fan", "motor_efficiency_frac = 94 %", "a share is written from 0 to 1", "motor_efficiency_frac = 0.94"),
    ("fan", "design_total_inwc = 3.5 in. w.c.", "a unit after the number", "design_total_inwc = 3.5"),
    ("fan", "motor_hp: 40", "a colon after the key", "motor_hp = 40"),
    ("fan", "motor_hp 40", "no equals sign", "motor_hp = 40"),
    ("fan", "motor_hp == 40", "two equals signs", "motor_hp = 40"),
    ("fan", "motor_hp = 40;", "a sign at the end", "motor_hp = 40"),
    ("fan", "motor_hp = 40,", "a sign at the end", "motor_hp = 40"),
    ("fan", "motor_hp =", "no value after the equals sign", "so that the default counts"),
    ("fan", "motor_hp = 40 design_total_inwc = 3", "two inputs on one line", "a line of its own"),
    ("fan", "motor_hp\u00a0= 40", "a no-break space (U+00A0)", "type a space"),
    ("fan", "// as measured", "a remark without its sign", "#"),
    ("fan", "limits", "a heading without brackets", "[limits]"),
    ("fan", "motor#_hp = 40", "a # in the key", "motor_hp = 40"),
    ("fan", "motor_hp = 4\\0", "a value that cannot be read", "write a number"),
    ("project", 'building = Main hall"', "without its opening quote", 'building = "Main hall"'),
    (
        "evidence",
        'zone.North room.max_cfm = "seen"',
        "the path of an input must be in quotes",
        'write "zone.North room.max_cfm" = "seen"',
    ),
    ("evidence", '"fan.motor_hp"   "nameplate"', "no equals sign", '"fan.motor_hp" = "nameplate"'),
    ("evidence", '"fan.motor_hp" : "nameplate"', "a colon after the key", '"fan.motor_hp" = "nameplate"'),
    ("fan", "]", "a closing bracket without an opening one", "remove it"),
    ("fan", "[50, 58],", "a line that belongs to no input", "points = "),
    ("project", "building = Main hall", "a text without quotes", 'building = "Main hall"'),
    ("project", "building = \u201cMain hall\u201d", "typographic quotes", 'building = "Main hall"'),
    ("project", 'building = "Main hall', "a text without its closing quote", 'building = "Main hall"'),
    ("project", "building = 'Main hall", "a text without its closing quote", "building = 'Main hall'"),
    ("project", 'building = "the "old" hall"', "goes on after its closing quote", "building = 'the \"old\" hall'"),
    (
        "project",
        'zones_csv = "C:\\zones\\a.csv"',
        "a backslash in a text in double quotes",
        'zones_csv = "C:/zones/a.csv"',
    ),
    ("project", 'zones_csv = "C:\\zones\\"', "a backslash before the closing quote", 'zones_csv = "C:/zones/"'),
    ("project", "default_candidates = True", "not written as true or false", "default_candidates = true"),
    ("project", "default_candidates = no", "not written as true or false", "default_candidates = false"),
    ("weather", "whole_f = Yes", "not written as true or false", 'whole_f = "yes"'),
    ("calendar", "rate_period_hours = [07:00, 18:30]", "times of day", "rate_period_hours = [7, 18.5]"),
    ("calendar", "rate_period_hours = [7 am, 6 pm]", "times of day", "rate_period_hours = [7, 18]"),
    ("calendar", "rate_period_hours = [07, 18]", "no plain numbers", "rate_period_hours = [7, 18]"),
    ("calendar", "rate_period_hours = 7 to 18", "a list without its brackets", "rate_period_hours = [7, 18]"),
    ("calendar", "rate_period_hours = 7, 18", "a list without its brackets", "rate_period_hours = [7, 18]"),
    ("calendar", "rate_period_hours = (7, 18)", "round brackets", "rate_period_hours = [7, 18]"),
    ("calendar", "rate_period_hours = [7, 18", "without its closing bracket", "rate_period_hours = [7, 18]"),
    ("calendar", "rate_period_hours = [7, 18]]", "a closing bracket too many", "rate_period_hours = [7, 18]"),
    ("calendar", "rate_period_hours = [7; 18]", "semicolons in a list", "rate_period_hours = [7, 18]"),
    ("calendar", "rate_period_hours = [7 18]", "without a comma between them", "such as"),
    ("calendar", "holidays = [01-01, 12-25]", "days without quotes", 'holidays = ["01-01", "12-25"]'),
]


def refused(tmp_path, text, encoding="utf-8"):
    path = tmp_path / "p.toml"
    path.write_bytes(text.encode(encoding) if isinstance(text, str) else text)
    with pytest.raises(InputError) as caught:
        read_project(path)
    return str(caught.value)


@pytest.mark.parametrize(("section", "line", "cause", "remedy"), LINES, ids=[line for _, line, _, _ in LINES])
def test_a_line_is_quoted_with_cause_and_remedy(tmp_path, section, line, cause, remedy):
    text = (
        PROJECT.replace(f"[{section}]\n", f"[{section}]\n{line}\n", 1)
        if f"[{section}]\n" in PROJECT
        else f"{PROJECT}[{section}]\n{line}\n"
    )
    if line.startswith("floor_area"):
        text = text.replace("floor_area_ft2 = 40000\n", "")
    number = text.split("\n").index(line) + 1
    message = refused(tmp_path, text)
    assert "1 problem in the inputs" in message, message
    shown = line.replace("\u00a0", "\\u00a0")
    assert f"line {number}: " in message and f"got `{shown}`" in message and cause in message and remedy in message, (
        message
    )
    right = re.search(r"write (\w+ = .*)$", message)
    if right and right[1].startswith(line.split()[0]):  # what it says to write can be read
        fixed = re.sub(r" (?:with a decimal point|without the thousands separator)$", "", right[1])
        tomllib.loads(fixed)


def test_all_wrong_lines_and_values_are_told_at_once_in_the_order_of_the_file(tmp_path):
    lines = [line for section, line, _, _ in LINES if section == "fan" and "=" in line]
    text = (
        PROJECT
        + "[prices]\nfuel_usd_therm = '0,98'\n[fan]\n"
        + "\n".join(dict.fromkeys(lines))
        + "\n[limits]\nsat_max_f = 650\n"
    )
    message = refused(tmp_path, text)
    numbers = [int(number) for number in re.findall(r"^  - line (\d+)", message, re.MULTILINE)]
    assert numbers == sorted(numbers) and len(numbers) == len(dict.fromkeys(lines)) + 2
    assert "line 11, prices.fuel_usd_therm: not a number" in message and "write 0.98 with a decimal point" in message
    assert "limits.sat_max_f: above the largest" in message and "is missing" not in message


@pytest.mark.parametrize(
    ("text", "words"),
    [
        (
            "[fan]\nmotor_hp = 5\nmotor_hp = 6\n",
            ["line 12: motor_hp is given twice under [fan], first in line 11; got `motor_hp = 6`; remove one"],
        ),
        (
            "[fan]\nmotor_hp = 5\n[limits]\n[fan]\n",
            ["line 13: the heading is given twice, first in line 10; got `[fan]`", "under one [fan]"],
        ),
        ("[fan\nmotor_hp = 5\n", ["line 10: a heading without its closing bracket", "write [fan]"]),
        ("[[zone]\nname = 'a'\narea_ft2 = 100\n", ["line 10: a heading without its closing bracket", "write [[zone]]"]),
        (
            "fan\nmotor_hp = 7000\n",
            ["line 10: a heading without brackets; got `fan`; write [fan]", "line 11, fan.motor_hp: above the largest"],
        ),
        ("[[[zone]]\nname = 'a'\narea_ft2 = 100\n", ["line 10: a heading with", "write [[zone]]"]),
        ("[fan]]\n", ["line 10: a heading with a bracket too many", "write [fan]"]),
        ("[group]\nname = 'b'\n", ["line 10: group comes in numbers", "[[group]] with double brackets"]),
        (
            "[sat.as_found]\npoints = [[50, 58],\n  [70, 55]\n\n[fan]\nmotor_hp = 5,0\n",
            ["line 11: a list without its closing bracket", "line 15: a decimal comma"],
        ),
        ('[project.x]\nnotes = """open\n', ["line 11: a text of several lines that is not closed", 'end it with """']),
        (
            "[[group]]\nname = 'b'\nweekday_hours = [07:00:00, 18:30:00]\n",
            [
                "line 12, group[b].weekday_hours: value 1 is not a number; got 07:00:00",
                "clock hours are numbers: write [7, 18.5]",
            ],
        ),
        (
            "[[group]]\nname = 'b'\nweekday_hours = '7-18'\n",
            ["line 12, group[b].weekday_hours: not a list", "write [7, 18]"],
        ),
        ("[[group]]\nname = 'b'\nweekday_hours = [7,5, 18,0]\n", ["has 4 values", "half hours have a decimal point"]),
        (
            "[[group]]\nname = 'b'\nalways_on = 'Yes'\n",
            ["line 12, group[b].always_on: not a truth value", "write always_on = true, without quotes"],
        ),
        (
            '[[zone]]\nname = "a"\narea_ft2 = "1.250,5"\n',
            ["line 12, zone[a].area_ft2: not a number", "write 1250.5 with a decimal point"],
        ),
        ("[calendar]\nholidays = [2024-07-04]\n", ["line 11, calendar.holidays", 'write "07-04"']),
        ("[limits]\nsat_min_f = 66\n", ["line 11, limits.sat_min_f: not below limits.sat_max_f"]),
        ('[project]\nzones_csv = "new\\table.csv"\n', ["the heading is given twice"]),
        (
            "[sat.demand]\nignored_request = 2\n",
            ["line 11, sat.demand.ignored_request: unknown input", 'did you mean "ignored_requests"'],
        ),
        (
            '[override]\n"fan.motor_hp" = "40 hp"\n',
            ['line 11, override["fan.motor_hp"]: not a number', "write 40 alone; the unit (hp)"],
        ),
    ],
)
def test_what_lies_between_lines_and_values_is_placed_too(tmp_path, text, words):
    message = refused(tmp_path, PROJECT + text)
    for word in words:
        assert word in message, message


def test_a_path_whose_backslashes_mean_signs(tmp_path):
    message = refused(tmp_path, PROJECT.replace("723170TYA.CSV", "\\nice\\typical.csv"))
    assert "line 4, weather.file: holds a control" in message and "write / for it" in message


def test_the_advice_for_a_wrong_heading_keeps_what_is_under_it(tmp_path):
    message = refused(tmp_path, PROJECT + "[fan\nmotor_hp = 7000\n")
    assert "write [fan]" in message and "line 11, fan.motor_hp: above the largest" in message


@pytest.mark.parametrize(
    ("encoding", "ends"), [("utf-16", "\n"), ("utf-8-sig", "\r\n"), ("utf-8", "\r"), ("utf-16", "\r\n")]
)
def test_other_encodings_and_line_ends_are_read(tmp_path, encoding, ends):
    path = tmp_path / "p.toml"
    path.write_bytes(
        PROJECT.replace("Corner", "C\u00f6rner").replace("\nname", "\n\tname").replace("\n", ends).encode(encoding)
    )
    assert read_project(path).info.name == "C\u00f6rner office"


def test_files_of_another_kind(tmp_path):
    for text, words in (
        ('{"candidates": []}', "a JSON file"),
        ("<html>", "a web page"),
        ("LOCATION,A,B\n", "a weather file"),
        ("name,area_ft2\nA,100\n", "a zones file"),
        (b"PK\x03\x04 and more", "a workbook or another packed file, not a plain text file"),
        (b"\xd0\xcf\x11\xe0", "a document of the old office kind"),
        (PROJECT.encode("utf-16-le"), "UTF-16 text without its mark"),
        (
            "[project]\nname = 'Caf\u00e9'\n".encode("cp1252"),
            "line 2: the project file is not UTF-8 text; got `name = 'Caf\u00e9'`",
        ),
    ):
        assert words in refused(tmp_path, text), words


@pytest.mark.invariant
def test_lists_over_several_lines_are_one_statement():
    text = (
        'holidays = [\n  "01-01",  # [new year]\n\n  "12-25",\n]\npoints = [\n[50, 58], [\n70, 55]\n]\nnotes = '
        '"""a\n[fan]\nx = 1\n"""\nlast = 1\n'
    )
    found = outline(text)
    assert found.problems == [] and found.raw == tomllib.loads(text)
    assert found.lines["holidays"] == 1 and found.lines["points"] == 6 and found.lines["last"] == 14


@pytest.mark.invariant
@pytest.mark.parametrize(
    "demo",
    [
        "office/office",
        "clinic/clinic",
        "clinic/clinic_position",
        "field_station/field_station",
        "field_station/field_station_tariff",
    ],
)
def test_a_good_file_is_taken_apart_into_what_the_reader_gives(demo):
    text = (DEMOS / f"{demo}.toml").read_text(encoding="utf-8")
    found = outline(text)
    assert found.problems == [] and found.raw == tomllib.loads(text)


@pytest.mark.invariant
@pytest.mark.parametrize("seed", range(60))
def test_spoiled_files_are_read_or_every_problem_has_words(tmp_path, seed):
    """Whatever happens to a file: a project, or an error of which no line is the bare text of a library."""
    random_ = random.Random(seed)
    text = (DEMOS / "office" / "office.toml").read_text(encoding="utf-8")
    for _ in range(random_.choice((1, 1, 2, 5))):
        at = random_.randrange(len(text))
        text = (
            text[:at]
            + random_.choice(
                ["", '"', "'", "[", "]", ",", ";", "\\", "=", "\n", "\u201c", "\u00a0", "{", "#", "x", "7,5"]
            )
            + text[at + random_.choice((0, 1, 3)) :]
        )
    path = tmp_path / "p.toml"
    path.write_text(text, encoding="utf-8")
    try:
        read_project(path)
    except InputError as error:
        message = str(error)
        assert len(message) < 40_000 and all(
            word not in message for word in ("(at line", "Traceback", "not valid TOML")
        )


# ---------------------------------------------------------------- hints


@pytest.mark.invariant
def test_numbers_written_otherwise():
    for text, plain in (
        ("7,5", "7.5"),
        ("1,250", "1250"),
        ("1.250,5", "1250.5"),
        ("1,250.5", "1250.5"),
        ("1'250", "1250"),
        ("007", "7"),
        ("-0,5", "-0.5"),
        ("1.250.000", "1250000"),
        ("1,2,3", None),
        ("x", None),
        ("", None),
        ("1.2.3", None),
    ):
        assert plain_number(text) == plain, text
    assert (
        unit_suffixed("40 hp") == ("40", "hp")
        and unit_suffixed(".5in") == ("0.5", "in")
        and unit_suffixed("40") == ("", "")
    )
    assert (
        number_hint("1,250", "type") == "type 1250 if the comma is a thousands separator, 1.25 if it is a decimal comma"
    )
    assert number_hint("1,250", "write", 0, 10) == "write 1.25 with a decimal point"
    assert number_hint("1,250", "write", 100, 5000) == "write 1250 without the thousands separator"
    assert as_clock_hours(["7:30", "6 pm"]) == "7.5, 18" and as_clock_hours(["12 am", "24:00"]) == "0, 24"
    assert (
        as_clock_hours([]) is None
        and as_clock_hours(["7:75"]) is None
        and as_clock_hours(["25:00"]) is None
        and as_clock_hours([None]) is None
    )


@pytest.mark.parametrize(
    ("key", "name"),
    [
        ("demand_charge_usd_kw", "demand charges"),
        ("demand_usd_kw", "demand charges"),
        ("energy_recovery", "heat and energy recovery"),
        ("heat_wheel", "heat and energy recovery"),
        ("on_peak_usd_kwh", "time-of-use"),
        ("time_of_use", "time-of-use"),
        ("tou", "time-of-use"),
        ("electricity_usd_kwh_summer", "time-of-use"),
        ("fan_powered", "fan-powered"),
        ("dual duct", "dual-duct"),
        ("vrf", "variable refrigerant"),
        ("chilled_water_reset", "chilled-water temperature resets"),
        ("chw_reset", "chilled-water temperature resets"),
        ("hot_water_reset", "hot-water"),
        ("condenser_water_reset", "condenser-water"),
        ("waterside_economizer", "water-side"),
        ("humidifier", "humidifiers"),
        ("baseboard", "perimeter heating"),
        ("natural_ventilation", "natural ventilation"),
        ("pv_kw", "on-site generation"),
        ("fixed_charge_usd", "fixed monthly charges"),
        ("fume_hood_cfm", "hoods"),
        ("demand_response", "demand-response"),
        ("ice_storage", "stores"),
        ("block_rate", "tiers"),
    ],
)
def test_what_is_not_modelled_is_told_before_any_nearest_word(tmp_path, key, name):
    assert name in not_modelled(key) and len(instead_of(key)) > 20
    section = "prices" if "usd" in key else "cooling"
    message = refused(tmp_path, f'{PROJECT}[{section}]\n"{key}" = 1\n')
    assert f"{not_modelled(key)} are not modelled" in message and "did you mean" not in message
    assert f"{not_modelled(key)} are not modelled" in refused(tmp_path, f'{PROJECT}["{key}"]\nx = 1\n')


@pytest.mark.invariant
def test_no_known_input_nor_its_near_misspelling_is_taken_for_something_not_modelled():
    for field in FIELDS:
        words = [field.name, *(choice for choice in field.choices if isinstance(choice, str))]
        for word in words:
            near = {word[:at] + word[at + 1 :] for at in range(len(word))} | {
                word + "s",
                word.replace("_", "-"),
                word.upper(),
            }
            assert not [each for each in near | {word} if not_modelled(each)], word
    assert not [section for section in SECTIONS if not_modelled(section)]
