"""Schema: the table is sound, single values are checked, records and reference follow from it."""

import math
import pickle

import pytest
from hypothesis import given
from hypothesis import strategies as st

from binestimator.inputs import schema
from binestimator.inputs.hints import not_modelled
from binestimator.inputs.reference import documentation_markdown
from binestimator.inputs.schema import (
    FIELDS,
    LIST_SECTIONS,
    SECTIONS,
    TERM_FIELDS,
    default_text,
    fields_of,
    is_used,
    record_type,
    used_when_text,
)
from binestimator.inputs.values import check_value, raw_from_text


def field(path):
    section, _, name = path.partition(".")
    return fields_of(section)[name]


def problem_of(path, raw):
    value, problem = check_value(field(path), raw)
    assert value is None or problem is None
    return problem


@pytest.mark.invariant
def test_every_row_is_whole():
    """Each input has a description and a label; numbers have a unit or are plain ratios; conditions name inputs."""
    assert len({each.path for each in FIELDS}) == len(FIELDS)
    for each in FIELDS:
        assert each.description and each.label and each.label[0] == each.label[0].upper()
        for section, name, values in each.used_when:
            other = fields_of(section)[name]
            if other.choices:
                assert set(values) <= set(other.choices)
            else:
                assert values in (("given",), ("none",)) and other.optional or other.type == "bool"
        assert not not_modelled(each.name), each.path
        for choice in each.choices:
            assert each.type == "choice_float" or not not_modelled(choice), each.path


@pytest.mark.invariant
def test_labels_of_a_section_differ():
    for section in SECTIONS:
        labels = [each.label for each in fields_of(section).values()]
        assert len(set(labels)) == len(labels), section


@pytest.mark.invariant
def test_defaults_pass_their_own_check_and_survive_text():
    for each in FIELDS:
        if each.required:
            continue
        assert check_value(each, each.default) == (each.default, None)
        if each.type not in ("points", "hour_pair", "date_list", "profile24", "choice_list"):
            assert check_value(each, raw_from_text(each, default_text(each))) == (each.default, None)


@pytest.mark.invariant
def test_units_follow_the_suffix_of_the_name():
    """A name with a unit suffix carries that unit, so that a column cannot be misread."""
    units = {"_inwc": "in. w.c.", "_cfm": "cfm", "_ft2": "ft2", "_psia": "psia", "_kw": "kW", "_hp": "hp",
             "_tons": "ton", "_kbtuh": "kBtu/h", "_usd": "USD", "_pct": "%", "_frac": ""}  # fmt: skip
    for each in FIELDS:
        for suffix, unit in units.items():
            if (
                each.name.endswith(suffix)
                and "_per_" not in each.name
                and not each.name.endswith(("cfm_ft2", "_f_ft2"))
            ):
                if each.name in ("people_ft2", "lights_w_ft2", "equipment_w_ft2"):
                    continue  # per person, watts per area
                assert each.unit == unit, each.path
        if each.name.endswith("_f") and not each.name.endswith(("btuh_f", "gain_f")) and each.type.endswith("float"):
            assert each.unit == "degF", each.path


def test_records_are_frozen_documented_and_have_defaults():
    for section in SECTIONS:
        record = record_type(section)
        assert record is record_type(section)
        assert all(name in record.__doc__ for name in fields_of(section))
        required = {name: "x" for name, each in fields_of(section).items() if each.required}
        made = record(**required)
        for name, each in fields_of(section).items():
            assert getattr(made, name) == required.get(name, each.default)
        with pytest.raises(AttributeError):
            setattr(made, next(iter(fields_of(section))), 1)
        with pytest.raises((AttributeError, TypeError)):
            made.never_heard_of = 1
        with pytest.raises(TypeError):
            record("x")
        assert pickle.loads(pickle.dumps(made)) == made


def test_a_record_without_its_required_value_is_refused():
    with pytest.raises(TypeError, match="name"):
        record_type("zone")(area_ft2=100.0)


@pytest.mark.parametrize(
    ("path", "raw", "value"),
    [
        ("fan.efficiency_frac", 0.65, 0.65),
        ("fan.efficiency_frac", 0.2, 0.2),
        ("fan.efficiency_frac", 0.9, 0.9),
        ("fan.design_total_inwc", 4, 4.0),
        ("fan.motor_hp", "none", None),
        ("fan.motor_hp", None, None),
        ("building.floors", 3.0, 3),
        ("bins.width_f", 10, 10.0),
        ("economizer.type", " Fixed_Dry_Bulb ", "fixed_dry_bulb"),
        ("return_fan.type", "none", "none"),
        ("group.weekday_hours", [7, 18.5], (7.0, 18.5)),
        ("group.weekday_hours", [22, 6], (22.0, 6.0)),
        ("group.weekday_hours", [0, 24], (0.0, 24.0)),
        ("group.weekday_hours", [], ()),
        ("schedule.weekday_hours", "none", None),
        ("calendar.holidays", [], ()),
        ("calendar.holidays", ["07-04", "12-25", "07-04"], ("07-04", "12-25")),
        ("sat.points", [[50, 65], (70, 55)], ((50.0, 65.0), (70.0, 55.0))),
        ("group.people_profile", [0.5] * 24, (0.5,) * 24),
        ("project.name", "  =1+1  ", "=1+1"),
        ("project.notes", "two\nlines", "two\nlines"),
        ("zone.group", "none", None),
        ("zone.group", "", None),
        ("zone.name", "none", "none"),
    ],
)
def test_good_values(path, raw, value):
    found, problem = check_value(field(path), raw)
    assert problem is None
    assert found == value and type(found) is type(value)


@pytest.mark.parametrize(
    ("path", "raw", "words"),
    [
        ("fan.efficiency_frac", 65, ["above", "got 65", "0.2 to 0.9", "enter 0.65 for 65 %"]),
        ("heating.efficiency_frac", 1.2, ["above", "0.5 to 1"]),
        ("prices.electricity_usd_kwh", -0.1, ["below", "-0.1", "0 to 5 USD/kWh"]),
        ("fan.efficiency_frac", "0.65", ["not a number", "without quotes"]),
        ("air_handler.design_cfm", "20,000", ["not a number", "thousands separator"]),
        ("fan.efficiency_frac", True, ["not a number", "got true"]),
        ("fan.efficiency_frac", math.nan, ["not a finite number"]),
        ("fan.efficiency_frac", -math.inf, ["not a finite number"]),
        ("fan.efficiency_frac", 10**400, ["not a finite number"]),
        pytest.param("fan.efficiency_frac", 10**9000, ["not a finite number"], id="too long to print"),
        ("fan.efficiency_frac", None, ["not a number", "nothing"]),
        ("fan.efficiency_frac", [0.6], ["not a number"]),
        ("fan.efficiency_frac", 1j, ["not a number"]),
        ("building.floors", 2.5, ["not a whole number"]),
        ("building.floors", 0, ["below"]),
        ("building.floors", True, ["not a number"]),
        ("group.always_on", 1, ["not a truth value", "true or false"]),
        ("group.always_on", "true", ["without quotes"]),
        ("economizer.type", "fixed_drybulb", ['did you mean "fixed_dry_bulb"?']),
        ("weather.whole_f", True, ['write "yes"']),
        ("weather.whole_f", 3, ["not one of the choices", '"auto"']),
        ("zone.heating_law", "parallel_fan", ["fan-powered terminals are not modelled", "single-duct"]),
        ("cooling.type", "VRF", ["variable refrigerant flow systems are not modelled"]),
        ("cooling.type", "evaporative cooler", ["not modelled"]),
        ("bins.width_f", 4, ["one of 2, 5, 10"]),
        ("bins.width_f", "wide", ["not a number"]),
        ("group.weekday_hours", [7], ["has 1 value;"]),
        ("group.weekday_hours", [7, 25], ["value 2 is outside"]),
        ("group.weekday_hours", [7, "18"], ["value 2 is not a number"]),
        ("group.weekday_hours", [7, 7], ["starts when it ends", "[0, 24]"]),
        ("group.weekday_hours", [24, 0], ["starts when it ends"]),
        ("group.weekday_hours", "7-18", ["not a list"]),
        ("calendar.holidays", ["02-29"], ["not a day of a 365-day year"]),
        ("calendar.holidays", ["13-01"], ["value 1"]),
        ("calendar.holidays", ["7-4"], ["month-day"]),
        ("calendar.holidays", [704], ["value 1"]),
        ("calendar.holidays", "07-04", ["not a list"]),
        ("calendar.holidays", ["07-04"] * 400, ["at most 365"]),
        ("group.people_profile", [0.5] * 23, ["has 23 values"]),
        ("group.people_profile", [0.5] * 23 + [1.5], ["value 24 is outside"]),
        ("sat.points", [[75, 55], [50, 65]], ["swapped", "ascend", "write the point at 50 before the one at 75"]),
        ("sat.points", [[50, 65], [50, 55]], ["same x"]),
        ("sat.points", [[50, 65], [60, 90]], ["y of point 2", "45 to 75"]),
        ("sat.points", [[500, 65]], ["x of point 1"]),
        ("sat.points", [[50, 65, 1]], ["not a pair"]),
        ("sat.points", [], ["0 points"]),
        ("sat.points", [[i, 55] for i in range(60)], ["60 points", "1 to 50"]),
        ("sat.points", 55, ["not a list of points"]),
        ("sat.points", [[50, "65"]], ["not a number", "without quotes"]),
        ("project.name", "", ["is empty"]),
        ("project.name", " \t ", ["is empty"]),
        ("project.name", "x" * 81, ["81 characters", "at most 80"]),
        ("project.notes", "x" * 2001, ["at most 2000"]),
        ("project.name", "a\x07b", ["control", "U+0007 at place 2"]),
        ("project.name", "a\nb", ["control"]),
        ("project.notes", "a\rb", ["control"]),
        ("project.name", "a\u202eb", ["U+202E"]),
        ("project.name", "a\ud800b", ["U+D800"]),
        ("project.name", "a\ufffeb", ["U+FFFE"]),
        ("project.name", 5, ["not a text", "quotes"]),
        ("weather.file", "x" * 401, ["at most 400"]),
        ("zone.name", "\x1b[31mred", ["control", "\\u001b"]),
    ],
)
def test_bad_values_say_what_is_wrong(path, raw, words):
    problem = problem_of(path, raw)
    assert problem is not None
    for word in words:
        assert word in problem
    assert problem.isprintable()


def test_unquoted_dates_are_texts():
    import datetime

    assert check_value(field("project.date"), datetime.date(2024, 5, 1)) == ("2024-05-01", None)


_ANY = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats() | st.text(max_size=20)
    | st.sampled_from(["none", "demand", "07-04", 10**400, -(10**400), 1e308]),
    lambda children: st.lists(children, max_size=25) | st.dictionaries(st.text(max_size=5), children, max_size=3),
    max_leaves=30,
)  # fmt: skip


@pytest.mark.invariant
@given(st.sampled_from(FIELDS), _ANY)
def test_any_value_is_accepted_or_explained(each, raw):
    """No value makes the check fail; what it accepts it accepts again, unchanged."""
    value, problem = check_value(each, raw)
    if problem is None:
        assert check_value(each, value) == (value, None)
    else:
        assert value is None and problem.isprintable()


@pytest.mark.invariant
@given(st.sampled_from([each for each in FIELDS if each.type in ("float", "optional_float", "int")]), st.floats())
def test_accepted_numbers_lie_in_the_range(each, raw):
    value, problem = check_value(each, raw)
    inside = math.isfinite(raw) and each.low <= raw <= each.high and (each.type != "int" or raw == int(raw))
    assert (problem is None) == inside
    assert problem is not None or value == raw


@pytest.mark.invariant
@given(st.sampled_from(FIELDS), st.text(max_size=30))
def test_any_cell_text_is_accepted_or_explained(each, text):
    value, problem = check_value(each, raw_from_text(each, text))
    assert value is None or problem is None


def test_cells_are_read_by_type():
    assert raw_from_text(field("zone.area_ft2"), " 1200 ") == 1200
    assert raw_from_text(field("zone.area_ft2"), "1.2e3") == 1200
    assert raw_from_text(field("zone.area_ft2"), "1_200") == "1_200"
    assert raw_from_text(field("zone.area_ft2"), "nan") == "nan"
    assert raw_from_text(field("zone.area_ft2"), "١٢") == "١٢"  # digits of another script
    assert raw_from_text(field("zone.reheat"), "No") is False
    assert raw_from_text(field("zone.max_cfm"), "None") == "none"
    assert raw_from_text(field("zone.name"), "12") == "12"


@pytest.mark.parametrize(
    "word",
    ["fan_powered", "Parallel Fan", "series-fan", "dual_duct", "induction_unit", "chilled_beam", "underfloor", "vrf",
     "fan_coil", "multizone", "doas", "heat_recovery", "ice_storage", "constant_volume"],
)  # fmt: skip
def test_equipment_that_is_not_modelled_is_known_by_name(word):
    assert not_modelled(word)


@pytest.mark.parametrize("word", ["fan", "dual_maximum", "zones", "evaporator_note", "beamish", "vrfx", "building"])
def test_other_words_are_not_taken_for_it(word):
    assert not not_modelled(word)


def test_used_when_looks_at_other_sections():
    each = field("heating.efficiency_frac")
    values = {("heating", "type"): "electric", ("preheat", "type"): "same"}
    assert not is_used(each, lambda *key: values[key])
    values["preheat", "type"] = "boiler"
    assert is_used(each, lambda *key: values[key])
    assert used_when_text(each) == "type is boiler, or preheat.type is boiler"


def test_used_when_looks_at_truth_and_presence():
    assert is_used(field("zone.reheat_kbtuh"), lambda *key: True)
    assert not is_used(field("zone.reheat_kbtuh"), lambda *key: False)
    assert is_used(field("building.floors"), lambda *key: 1000.0)
    assert not is_used(field("building.floors"), lambda *key: None)
    assert is_used(field("building.diversity_frac"), lambda section, name: {"zones_per_facade": 2}.get(name))
    assert not is_used(field("building.diversity_frac"), lambda *key: 2)


def test_reference_names_every_input_once_and_keeps_its_tables_whole():
    text = documentation_markdown()
    rows = [line for line in text.splitlines() if line.startswith("| `")]
    assert len(rows) == len(FIELDS) + len(TERM_FIELDS)
    for row, each in zip(rows, (*FIELDS, *TERM_FIELDS), strict=True):
        assert row.startswith(f"| `{each.name}` |")
        assert row.replace("\\|", "").count("|") == 8
        assert default_text(each) in row
    for section in LIST_SECTIONS:
        assert f"`[[{section}]]`" in text
    assert "`[sat.cost_optimal]`" in text


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"type": "number"}, "unknown type"),
        ({"role": "comfort"}, "unknown role"),
        ({"choices": "a|b"}, "choices"),
        ({"low": ""}, "range"),
        ({"low": "9", "high": "1"}, "range"),
        ({"default": "99"}, "default"),
    ],
)
def test_a_row_that_contradicts_itself_is_refused(change, words):
    row = {
        "section": "fan",
        "name": "x",
        "role": "equipment",
        "type": "float",
        "unit": "",
        "low": "0",
        "high": "1",
        "default": "0.5",
        "choices": "",
        "description": "d",
        "source": "s",
    }
    assert schema._field_from_row(row).default == 0.5
    with pytest.raises(ValueError, match=words):
        schema._field_from_row(row | change)


def test_a_choice_is_read_by_its_name_in_earlier_versions():
    field = fields_of("cooling")["chiller_set"]
    assert dict(field.earlier)["F"] == "water_cooled_300_to_600_ton" and "F" not in field.choices
    assert len(dict(field.earlier)) == len(field.choices) == 7
    for in_cell in (False, True):
        for old, choice in field.earlier:
            assert (
                check_value(field, old, in_cell=in_cell)
                == check_value(field, choice, in_cell=in_cell)
                == (choice, None)
            )
    assert "F" not in field.allowed.split(", ")
