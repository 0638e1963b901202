"""Defaults that follow from choices, the number of terminals and the climate."""

import re
from importlib import resources

import pytest
from builders import PLAIN, merged, project_of, weather_of
from hypothesis import given
from hypothesis import strategies as st
from recalculation import Spreadsheet, edited, number_of, without_values

from binestimator.climate import climate_of, climate_zone, degree_days
from binestimator.estimate import estimate
from binestimator.inputs import documentation_markdown, project_from_mapping
from binestimator.inputs.defaults import default_in_force, rules
from binestimator.inputs.follows import default_lines, followed, follows_template, lines_of
from binestimator.inputs.form_content import form_content
from binestimator.inputs.schema import FIELDS, fields_of
from binestimator.workbook.addresses import cell_name
from binestimator.workbook.form import FORM_SPARE, form_bytes
from binestimator.workbook.form_layout import FormPlan

LEAST = {
    "project": {"name": "Least"},
    "weather": {"file": "723170TYA.CSV"},
    "building": {"floor_area_ft2": 48_000, "floors": 4},
    "group": [{"name": "office"}],
}


def least(**changes):
    return project_from_mapping(merged(LEAST, changes))


# --- by choice -----------------------------------------------------------------------------------


@pytest.mark.published
@pytest.mark.parametrize(
    ("chiller_set", "kw_per_ton", "kind"),
    [
        ("air_cooled_below_150_ton", 12 / 10.1, "air-cooled"),
        ("air_cooled_from_150_ton", 12 / 10.1, "air-cooled"),
        ("water_cooled_below_75_ton", 0.75, "water-cooled below 75 tons"),
        ("water_cooled_75_to_150_ton", 0.72, "water-cooled 75 to 150 tons"),
        ("water_cooled_150_to_300_ton", 0.66, "water-cooled 150 to 300 tons"),
        ("water_cooled_300_to_600_ton", 0.61, "water-cooled 300 to 600 tons"),
        ("water_cooled_from_600_ton", 0.56, "water-cooled from 600 tons"),
    ],
)
def test_input_of_a_chiller_is_that_of_its_set(chiller_set, kw_per_ton, kind):
    """90.1-2022 table J-4: 10.1 EER air-cooled, .750 to .560 kW/ton water-cooled. 3e-4: 1.188 is rounded."""
    project = least(cooling={"chiller_set": chiller_set})
    assert project.cooling.kw_per_ton == pytest.approx(kw_per_ton, rel=3e-4)
    assert project.origins["cooling.kw_per_ton"] == "default"
    pumps = project.cooling.condenser_pump_w_ton, project.cooling.tower_w_ton
    assert pumps == (0.0, 0.0) if kind == "air-cooled" else min(pumps) > 0.0
    source = {row[0]: row[7] for row in project.effective_rows()}["cooling.kw_per_ton"]
    assert "90.1-2022" in source and kind in source


@pytest.mark.published
@pytest.mark.parametrize(
    ("tons", "units", "expected"),
    [
        (74, 1, "water_cooled_below_75_ton"),
        (75, 1, "water_cooled_75_to_150_ton"),
        (150, 1, "water_cooled_150_to_300_ton"),
        (300, 1, "water_cooled_300_to_600_ton"),
        (600, 1, "water_cooled_from_600_ton"),
        (600, 4, "water_cooled_150_to_300_ton"),
    ],
)
def test_set_of_a_chiller_is_that_of_its_size(tons, units, expected):
    """Sizes of 90.1-2022 table J-4, by chiller."""
    assert least(cooling={"capacity_tons": tons, "units": units}).cooling.chiller_set == expected


def test_without_a_capacity_the_floor_area_stands_in():
    assert least().cooling.chiller_set == "water_cooled_75_to_150_ton"  # 48,000 ft2 at 400 ft2 a ton
    assert least(building={"floor_area_ft2": 20_000, "floors": 1}).cooling.chiller_set == "water_cooled_below_75_ton"
    assert (
        project_from_mapping(
            merged(LEAST, {"building": None, "zone": [{"name": "A", "area_ft2": 900}]})
        ).cooling.chiller_set
        == "water_cooled_300_to_600_ton"
    )


def test_what_is_given_stays_and_overrides_move_what_follows():
    project = least(cooling={"kw_per_ton": 0.9, "chiller_set": "air_cooled_below_150_ton"})
    assert project.cooling.kw_per_ton == 0.9 and project.origins["cooling.kw_per_ton"] == "given"
    assert project.defaults["cooling.kw_per_ton"][0] == 1.188  # what would count otherwise
    assert least().with_overrides({"cooling.chiller_set": "water_cooled_from_600_ton"}).cooling.kw_per_ton == 0.56
    assert least(heating={"boiler_curve": "non_condensing"}).heating.efficiency_frac == 0.8
    assert least().heating.efficiency_frac == 0.84
    assert least(fan={"motor_hp": 5}, air_handler={"design_cfm": 2000}).fan.motor_efficiency_frac == 0.895
    assert least(cooling={"type": "direct_expansion", "capacity_tons": 15}).cooling.eer == 11.0


@pytest.mark.parametrize(
    ("area", "floors", "zones", "ignored"),
    [(8_000, 1, 7, 0.0), (20_000, 1, 20, 0.0), (30_000, 2, 28, 1.0), (48_000, 4, 48, 2.0)],
)
def test_ignored_requests_follow_the_number_of_terminals(area, floors, zones, ignored):
    project = least(building={"floor_area_ft2": area, "floors": floors})
    assert sum(zone.multiplier for zone in project.zones) == zones
    each = project.candidate("sat_demand_dsp_demand")
    assert each.sat.ignored_requests == each.dsp.ignored_requests == ignored
    assert least(sat={"demand": {"ignored_requests": 5}}).candidate("sat_demand").sat.ignored_requests == 5.0


@pytest.mark.invariant
def test_rules_are_sound():
    """Each rule can be reached, differs from what comes before it, says where it comes from, and is in the
    reference."""
    text = documentation_markdown()
    for path, lines in rules().items():
        section, _, name = path.partition(".")
        assert lines[0].field is fields_of(section)[name]
        for rule in lines:
            assert rule.source and rule.conditions
            assert f" when {rule.words}" in text or f"or {rule.words}" in text
        assert len({rule.words for rule in lines}) == len(lines)
    assert all(
        source not in documentation_markdown() for source in ("90.1 performance rating practice", "appendix G sizing")
    )


@pytest.mark.invariant
@given(st.floats(1, 20_000), st.integers(1, 12), st.none() | st.floats(500, 5_000_000), st.booleans())
def test_some_default_always_counts(tons, units, area, sized):
    values = {"cooling.capacity_tons": None if sized else tons, "cooling.units": units, "building.floor_area_ft2": area}
    value, source = default_in_force("cooling.chiller_set", values.get)
    assert value.startswith("water_cooled") and source


def test_sources_do_not_claim_more_than_was_seen():
    """The default of infiltration is an assumption, and heating at half the maximum is from memory."""
    source = {field.path: field.source for field in FIELDS}
    assert source["building.infiltration_running_frac"].startswith("assumption")
    assert source["zone.heat_max_cfm"].startswith("from memory")
    assert source["limits.damper_exponent"].startswith("assumption")
    field = fields_of("limits")["damper_exponent"]
    assert field.low <= 0.3 and field.high >= 3.0  # quick opening to equal percentage


# --- by climate ----------------------------------------------------------------------------------


@pytest.mark.crosscheck
@pytest.mark.parametrize(
    ("place", "zone", "limit", "warmest"),
    [("greensboro", "4A", 65.0, 65.0), ("miami", "1A", 65.0, 60.0), ("sand_point", "7", 75.0, 65.0)],
)
def test_climate_of_the_three_stations(place, zone, limit, warmest):
    """Zones by degree-days as published limits give them (Miami 1A, Greensboro 4A, Sand Point 7); limits of 90.1 table
    6.5.1.1.3."""
    weather = weather_of(place)
    assert climate_of(weather) == zone
    project = least().in_climate(zone)
    assert (project.economizer.high_limit_f, project.limits.sat_max_f) == (limit, warmest)
    assert project.origins["economizer.high_limit_f"] == "default"


@pytest.mark.crosscheck
def test_degree_days_are_those_counted_elsewhere():
    """24-hour means of the files, counted by another route: 3876, 1306 + ... degF.days; half a unit of the last
    place."""
    heating, cooling = degree_days(weather_of("greensboro").frame["oat_f"].to_numpy())
    assert heating == pytest.approx(3876, abs=0.5) and cooling == pytest.approx(4286, abs=0.5)
    heating, cooling = degree_days(weather_of("miami").frame["oat_f"].to_numpy())
    assert heating == pytest.approx(130, abs=0.5) and cooling == pytest.approx(9404, abs=0.5)


@pytest.mark.invariant
def test_moist_dry_and_marine():
    """Greensboro's temperatures with desert air are 4B; cooled to a mild year with a cool summer they are marine."""
    frame = weather_of("greensboro").frame
    oat, dew, month = (frame[name].to_numpy() for name in ("oat_f", "dewpoint_f", "month"))
    assert climate_zone(oat, dew - 25.0, month) == "4B"
    mild = 52.0 + (oat - oat.mean()) * 0.45
    assert climate_zone(mild, mild - 8.0, month)[-1] == "C"
    assert climate_zone(oat + 30.0, dew, month)[0] == "0" and climate_zone(oat - 40.0, dew - 40.0, month) == "8"
    zones = [int(climate_zone(oat + shift, dew + shift, month)[0]) for shift in range(-45, 35, 5)]
    assert zones == sorted(zones, reverse=True)


def test_a_given_climate_goes_before_the_weather():
    project = least(weather={"climate_zone": "5A"})
    assert project.climate == "5A" and project.economizer.high_limit_f == 70.0
    assert project.in_climate("1A") is project
    enthalpy = least(weather={"climate_zone": "1A"}, economizer={"type": "fixed_enthalpy"})
    assert enthalpy.economizer.high_limit_f == 75.0
    cold = least(weather={"climate_zone": "7"})
    assert cold.building.wall_u == 0.07 and {zone.heating_law for zone in cold.zones} == {"dual_maximum"}
    assert (
        cold.zones[0].ua_btuh_f < enthalpy.zones[0].ua_btuh_f
        and cold.origins[f"zone[{cold.zones[0].name}].heating_law"] == "default"
    )
    over = least().in_climate("2B").with_overrides({"limits.sat_min_f": 54})
    assert over.climate == "2B" and over.economizer.high_limit_f == 75.0


def test_the_run_says_which_defaults_the_climate_set():
    results = estimate(
        project_of(
            project={"name": "One", "default_candidates": False}, candidate=[{"id": "as_found"}], bins={"rows": "mean"}
        ),
        weather_of(),
    )
    assert results.project.climate == "4A"
    assert any(
        "Climate zone 4A" in finding.text and "economizer.high_limit_f = 65" in finding.text
        for finding in results.findings
    )


# --- in forms --------------------------------------------------------------------------------------


@pytest.mark.crosscheck
def test_cells_of_a_form_follow_as_the_engine_does(tmp_path):
    """LibreOffice works out defaults that follow from cells just typed; the engine reads the same."""
    project = least()
    plan = FormPlan(form_content(project, spare_points=3), FORM_SPARE)
    cases = {
        "air": {"cooling.chiller_set": "air_cooled_below_150_ton", "heating.boiler_curve": "non_condensing"},
        "small": {
            "cooling.capacity_tons": 120.0,
            "cooling.units": 2.0,
            "fan.motor_hp": 60.0,
            "economizer.type": "fixed_enthalpy",
        },
        "large": {"building.floor_area_ft2": 300_000.0},
    }
    blank = without_values(form_bytes(project))
    books = {}
    for name, typed in cases.items():
        places = {path: plan.yours[path] for path in typed}
        books[name] = edited(
            blank, {(sheet, cell_name(row, column)): typed[path] for path, (sheet, row, column) in places.items()}
        )
    found = Spreadsheet(tmp_path).recalculated(books)
    for name, typed in cases.items():
        expected = project.with_overrides(typed)
        tables = {sheet: found[name].table(sheet) for sheet in found[name].files}
        kinds = set()
        for path in rules():
            if path.partition(".")[0] not in ("sat", "dsp", "zone"):
                sheet, row, column = plan.counts[path]
                section, _, key = path.partition(".")
                said, value = tables[sheet][row][column], getattr(expected.section(section), key)
                assert (said if isinstance(value, str) else number_of(said)) == value, (name, path)
                kinds.add(type(value))
        assert {str, float} <= kinds


# --- a project of four inputs ------------------------------------------------------------------------


PLACES, SIZES = ("greensboro", "miami", "sand_point"), ((8_000, 1), (20_000, 1), (48_000, 4))


@pytest.mark.parametrize(
    ("place", "area", "floors"),
    [
        pytest.param(place, *size, marks=() if i == k < 2 else pytest.mark.slow)
        for i, place in enumerate(PLACES)
        for k, size in enumerate(SIZES)
    ],
)
def test_demand_resets_of_a_least_project_serve(place, area, floors):
    """Its baseline serves, and demand resets of a project of four inputs serve the rooms' temperatures: where one is
    flagged it is for moisture or for a zone's share of outdoor air, which warmer supply air really costs. Demand
    pressure is never flagged."""
    building = {"floor_area_ft2": area, "floors": floors}
    results = estimate(least(building=building, bins={"rows": "mean"}), weather_of(place))
    assert results.baseline_service.fails == () and results.best is not None
    assert not results["dsp_demand"].equal_service.flagged
    for id_ in ("sat_demand", "dsp_demand", "sat_demand_dsp_demand"):
        assert all(
            reason.startswith(("rooms too moist", "less outdoor air in"))
            for reason in results[id_].equal_service.reasons
        ), id_
        assert (
            results[id_].hourly["cost_usd"] < results.baseline.hourly["cost_usd"] or place == "sand_point"
        )  # in a cold marine climate warm supply air costs fan energy and saves little


def test_every_strategy_of_points_has_its_line():
    """A line that is missing, or names no end of a range, is refused as the inputs are read."""
    lines = resources.files("binestimator.inputs").joinpath("default_lines.csv").read_text(encoding="utf-8")
    assert {key for key, line in lines_of(lines).items() if line.source} == set(default_lines())
    short = "".join(row for row in lines.splitlines(keepends=True) if not row.startswith("dsp,airflow"))
    with pytest.raises(ValueError, match="one row for each strategy that uses points; see dsp.airflow"):
        lines_of(short)
    with pytest.raises(ValueError, match="sat.outdoor_air: no end 'warm'"):
        lines_of(lines.replace("60: high, 70: low", "60: warm, 70: low"))


@pytest.mark.invariant
@pytest.mark.parametrize("part,high", [("sat", None), ("dsp", None), ("dsp", 2.2)])
def test_what_inputs_of_strategies_follow_from(part, high):
    """The value and the formula of each: the templates, filled with the values of the project, give the same."""
    limits = {"sat_min_f": 54.0, "sat_max_f": 63.0, "dsp_min_inwc": 0.4} | ({"dsp_max_inwc": high} if high else {})
    project = project_of(limits=limits)

    def evaluated(template):
        text = re.sub(r"\{([a-z_.]+)\}", lambda match: repr(project.value_of(match[1])), template)
        found = re.fullmatch(r"(.*)IF\(ISNUMBER\((.*?)\),(.*?),(.*?)\)(.*)", text)
        if found:
            text = found[1] + (found[3] if found[2] != "None" else found[4]) + found[5]
        return float(eval(text, {"__builtins__": {}}))

    for strategy in fields_of(part)["strategy"].choices:
        values = followed(part, strategy, project.value_of)
        for name, value in values.items():
            if name == "points":
                templates = default_lines()[part, strategy].templates()
                assert [(x, evaluated(y)) for x, y in templates] == list(value)
            elif name in fields_of(part):
                assert evaluated(follows_template(fields_of(part)[name])) == value


def test_plain_builders_are_not_least():
    """The plain project of other tests gives what its own tests rest on."""
    assert project_from_mapping(PLAIN).cooling.chiller_set == "water_cooled_below_75_ton"
