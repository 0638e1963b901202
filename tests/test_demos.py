"""Demo projects: what they show is a fact of the results, and their READMEs print what the engine gives.

``python tests/test_demos.py --print`` shows the tables of the READMEs as the engine gives them
now; ``--write`` puts them into the READMEs and lets the numbers quoted in their prose follow. The
prose has to be read again then: the test of quoted numbers finds those that are no longer in a
table, and the tests of the lessons those that are no longer true.
"""

from __future__ import annotations

import re
import sys
import tomllib
from functools import cache
from pathlib import Path

import pytest
from shared import shared

from binestimator.end_uses import site_kbtu
from binestimator.estimate import estimate
from binestimator.inputs.given import DEFAULT_CANDIDATES
from binestimator.inputs.read import project_from_mapping, read_project
from binestimator.model.fan import fan_power_at
from binestimator.weather import find_weather, read_weather

FOLDER = Path(__file__).resolve().parents[1] / "demo_projects"
PROJECTS = (
    "office/office.toml",
    "clinic/clinic.toml",
    "clinic/clinic_position.toml",
    "field_station/field_station.toml",
    "field_station/field_station_tariff.toml",
)
READMES = ("office", "clinic", "field_station")
# The clinic, whose two projects take longest, is a larger slice.
QUICK_PROJECTS, QUICK_READMES = (
    [pytest.param(name, marks=pytest.mark.slow if name.startswith("clinic") else ()) for name in names]
    for names in (PROJECTS, READMES)
)
# A table of a README: a comment that says what is in it, then the table.
TABLE = re.compile(r"(<!-- figures: (\S+) (\w+) -->\n)((?:\|.*\n)+)")
NUMBER = re.compile(r"[-+]?\$?\d+(?:,\d{3})*(?:\.\d+)?")


@cache
def results_of(project: str):
    """Results of a demo project (one run for all tests)."""

    def made():
        read = read_project(FOLDER / project)
        return estimate(read, read_weather(find_weather(read.weather.file, read.source_dir)))

    return shared(f"results of {Path(project).stem}", made)


def area_ft2(results) -> float:
    return sum(z.area_ft2 * z.multiplier for z in results.project.zones)


# --- the tables of the READMEs -------------------------------------------------------------------


def building_table(results):
    """Sizes and what the baseline uses: what a practitioner looks at first."""
    unit, base, area = results.unit, results.baseline.annual, area_ft2(results)
    design = fan_power_at(unit, unit.design_cfm, unit.fan.design_total_inwc)
    lines = [
        ("Floor area", f"{area:,.0f} ft2"),
        ("Zones (lines)", f"{unit.zones.multiplier.sum():.0f} ({len(unit.zones)})"),
        ("Design airflow", f"{unit.design_cfm:,.0f} cfm"),
        ("Design airflow per area", f"{unit.design_cfm / area:.2f} cfm/ft2"),
        ("Minimum outdoor air", f"{unit.oa_minimum_cfm:,.0f} cfm"),
        ("Cooling capacity", f"{unit.cooling_tons:,.0f} tons"),
        ("Floor area per capacity", f"{area / unit.cooling_tons:,.0f} ft2/ton"),
        ("Fan at design", f"{float(design.kw):.1f} kW"),
        ("Fan power per airflow at design", f"{1000.0 * float(design.kw) / unit.design_cfm:.2f} W/cfm"),
        ("Running hours", f"{base['running_hours']:,.0f} h"),
        ("Mean airflow as found", f"{base['mean_flow_cfm']:,.0f} cfm"),
        ("HVAC energy as found, site", f"{site_kbtu(base) / area:.1f} kBtu/ft2"),
        ("Energy cost as found", f"${base['cost_usd']:,.0f}"),
        ("Night runs: fan", f"{results.night['fan_kwh']:,.0f} kWh"),
        ("Night runs: heat to the rooms", f"{results.night['heat_kbtu']:,.0f} kBtu"),
    ]
    return [("What", "Figure"), *lines]


def candidates_table(results):
    """Changes against the baseline (more is +, less is -); the baseline's own line is in full."""
    base = results.baseline
    uses = [
        ("fan_kwh", "Fans kWh"),
        ("cooling_kwh", "Cooling kWh"),
        ("pump_tower_kwh", "Pumps, tower kWh"),
        ("heating_kwh", "Electric heat kWh"),
        ("fuel_therm", "Fuel therm"),
        ("purchased_heating_kbtu", "Bought heat kBtu"),
        ("reheat_kbtu", "Reheat kBtu"),
        ("preheat_kbtu", "Preheat kBtu"),
    ]
    uses = [(key, label) for key, label in uses if any(c.annual[key] > 0.5 for c in results.candidates)]
    table = [
        (
            "Option",
            "Saves per year",
            *(label for _, label in uses),
            "SAT F",
            "DSP in. w.c.",
            "Pays back, years",
            "Rank",
        )
    ]
    for c in results.candidates:
        signed = "{:,.0f}" if c is base else "{:+,.0f}"
        changes = [c.annual[key] - (0.0 if c is base else base.annual[key]) for key, _ in uses]
        payback = "-" if c.payback_years is None else f"{c.payback_years:.1f}"
        table.append(
            (
                f"`{c.id}`",
                f"{'-' if round(c.saving['cost_usd']) < 0 else ''}${abs(c.saving['cost_usd']):,.0f}",
                *(signed.format(v + 0.0 if round(v) else 0.0) for v in changes),
                f"{c.annual['mean_sat_f']:.1f}",
                f"{c.annual['mean_dsp_inwc']:.2f}",
                payback,
                "flagged" if c.rank is None else str(c.rank),
            )
        )
    return table


def counts_table(results):
    """Hours from the hourly run."""
    keys = [
        ("starved_zone_hours", "Starved zone-h"),
        ("unmet_degree_hours", "Unmet zone-F-h"),
        ("cold_zone_hours", "Too cold zone-h"),
        ("humid_hours", "Humid h"),
        ("humidity_limited_hours", "Held by humidity h"),
        ("oa_short_hours", "Short of outdoor air h"),
        ("economizer_hours", "Economizer h"),
        ("airflow_ceiling_hours", "Fan at its limit h"),
        ("capacity_hours", "Short of cooling h"),
    ]
    keys = [(key, label) for key, label in keys if any(c.hourly[key] >= 0.5 for c in results.candidates)]
    table = [("Option", *(label for _, label in keys))]
    for c in results.candidates:
        table.append((f"`{c.id}`", *(f"{c.hourly[key]:,.0f}" for key, _ in keys)))
    return table


def zones_table(results):
    """The worst zone of each candidate, and how often it is (hours of one such zone)."""
    keys = [
        ("starved_hours", "Most starved"),
        ("unmet_degree_hours", "Most too warm (F-h)"),
        ("cold_hours", "Most too cold"),
        ("pressure_request_hours", "Asks most for pressure"),
        ("temperature_request_hours", "Asks most for colder air"),
    ]
    table = [("Option", *(label for _, label in keys))]
    for c in results.candidates:
        cells = []
        for key, _ in keys:
            worst = c.zones.loc[c.zones[key].idxmax()]
            cells.append(f"{worst['zone']}, {worst[key]:,.0f} h" if worst[key] >= 0.5 else "none")
        table.append((f"`{c.id}`", *cells))
    return table


def periods_table(results):
    """Electricity by rate period in running time from rows and from hours, at its marginal price: baseline and best."""
    base, best = (results[i].by_rate_period for i in (results.baseline_id, results.best.id))
    table = [
        (
            "Rate period",
            "Hours",
            "Marginal price a kWh",
            "As found, rows kWh",
            "As found, hours kWh",
            "Best, rows kWh",
            "Best, hours kWh",
            "Best saves, nights too kWh",
        )
    ]
    key = "electricity_kwh"
    for k, period in base.iterrows():
        own = best.loc[k]
        table.append(
            (
                period["label"],
                f"{period['hours']:,.0f}",
                f"${period[f'{key}_price']:.3f}",
                f"{period[f'{key}_rows']:,.0f}",
                f"{period[f'{key}_hours']:,.0f}",
                f"{own[f'{key}_rows']:,.0f}",
                f"{own[f'{key}_hours']:,.0f}",
                f"{period[f'{key}_all_hours'] - own[f'{key}_all_hours']:+,.0f}",
            )
        )
    return table


def money_table(results):
    """What of the saving is demand, what the window saves, and what the programme pays."""
    base = results.baseline.charges.demand_usd.sum()
    table = [
        ("Option", "Saves per year", "Demand charges", "Window saves kW", "Incentive", "By", "Net pays back, years")
    ]
    for c in results.candidates:
        worth, demand = c.worth, c.charges.demand_usd.sum()
        usd = lambda value: f"{'-' if round(value) < 0 else ''}${abs(round(value)):,.0f}"
        years = worth.payback.after_years
        table.append(
            (
                f"`{c.id}`",
                usd(c.saving["cost_usd"]),
                usd(base - demand),
                f"{worth.windows[0].saving_kw + 0.0:.2f}",
                usd(worth.incentive_usd),
                worth.incentive_bound_by or "-",
                "-" if years is None else f"{years:.1f}",
            )
        )
    return table


TABLES = {
    "building": building_table,
    "candidates": candidates_table,
    "counts": counts_table,
    "zones": zones_table,
    "periods": periods_table,
    "money": money_table,
}


def markdown(table) -> str:
    head, *rows = table
    lines = [head, ["---"] + ["---:"] * (len(head) - 1), *rows]
    return "".join("| " + " | ".join(line) + " |\n" for line in lines)


def table_of(readme: str, project: str, what: str) -> str:
    return markdown(TABLES[what](results_of(f"{readme}/{project}")))


def readme_of(folder: str) -> str:
    return (FOLDER / folder / "README.md").read_text(encoding="utf-8")


def value(text: str) -> float:
    return float(text.replace(",", "").replace("$", ""))


def differences(printed: str, now: str) -> list[str]:
    """What differs between two tables beyond rounding."""
    found = []
    old_lines, new_lines = printed.splitlines(), now.splitlines()
    if len(old_lines) != len(new_lines):
        return [f"{len(old_lines)} lines printed, {len(new_lines)} now"]
    for old, new in zip(old_lines, new_lines, strict=True):
        if NUMBER.sub("#", old) != NUMBER.sub("#", new):
            found.append(f"{old} -> {new}")
            continue
        for a, b in zip(NUMBER.findall(old), NUMBER.findall(new), strict=True):
            last_place = 10.0 ** -len(a.partition(".")[2])
            if abs(value(a) - value(b)) > 1.001 * last_place + 0.001 * abs(value(b)):
                found.append(f"{a} -> {b} in {new}")
    return found


@pytest.mark.regression
@pytest.mark.parametrize("folder", QUICK_READMES)
def test_tables_of_the_readme_are_what_the_engine_gives(folder):
    """Own output: the tables are printed by this module.

    Tolerance: one unit of the last place and 0.1 %, so that another version of a numerical
    library does not ask for new READMEs.
    """
    tables = TABLE.findall(readme_of(folder))
    assert {"building", "candidates", "counts", "zones"} <= {what for _, _, what, _ in tables}
    for _, project, what, printed in tables:
        assert differences(printed, table_of(folder, project, what)) == []


@pytest.mark.regression
@pytest.mark.parametrize("folder", READMES)
def test_numbers_in_the_prose_stand_in_a_table_or_an_input(folder):
    """Every number of 100 or more, with decimals or with a dollar sign in the text of a README."""
    text = readme_of(folder)
    tables = "".join(table for *_, table in TABLE.findall(text))
    inputs = "".join(
        p.read_text(encoding="utf-8") for p in sorted((FOLDER / folder).iterdir()) if p.suffix in (".toml", ".csv")
    )
    # Commas part the columns of the inputs, they part thousands in the tables.
    known = {abs(value(n)) for n in NUMBER.findall(tables) + NUMBER.findall(inputs.replace(",", " "))}
    prose = re.sub(r"`[^`]*`", "", TABLE.sub("", text))
    quoted = [n for n in NUMBER.findall(prose) if "$" in n or "." in n or value(n) >= 100]
    assert quoted
    assert [n for n in quoted if abs(value(n)) not in known] == []


@pytest.mark.regression
@pytest.mark.parametrize("folder", QUICK_READMES)
def test_readme_explains_every_flag_and_the_best(folder):
    text = TABLE.sub("", readme_of(folder))
    for project in (p for p in PROJECTS if p.startswith(folder + "/")):
        results = results_of(project)
        for c in results.candidates:
            if c.equal_service.flagged:
                assert f"`{c.id}`" in text
        assert f"`{results.best.id}`" in text


# --- what the demos have to be ---------------------------------------------------------------------


@pytest.mark.invariant
@pytest.mark.parametrize("project", QUICK_PROJECTS)
def test_default_eight_costs_and_evidence(project):
    results = results_of(project)
    assert set(DEFAULT_CANDIDATES) <= {c.id for c in results.candidates}
    assert results.baseline_id == "as_found"
    for c in results.candidates:
        assert c.id == "as_found" or c.candidate.cost_usd > 0.0
    assert any(c.candidate.incentive_usd > 0.0 for c in results.candidates)
    assert len(results.project.evidence) >= 3


@pytest.mark.invariant
@pytest.mark.parametrize("project", QUICK_PROJECTS)
def test_no_check_of_a_demo_fails(project):
    results = results_of(project)
    assert [c for c in results.checks if c.status == "fail"] == []


@pytest.mark.invariant
@pytest.mark.parametrize("project", QUICK_PROJECTS)
def test_sizes_are_those_of_real_buildings(project):
    """Common practice, no source: 0.6 to 1.5 cfm/ft2, 250 to 500 ft2/ton (more where it is cool), 0.5 to 1.2 W/cfm."""
    results = results_of(project)
    unit, area = results.unit, area_ft2(results)
    assert 0.6 <= unit.design_cfm / area <= 1.5
    cool_climate = project.startswith("field_station")
    assert 250.0 <= area / unit.cooling_tons <= (1000.0 if cool_climate else 500.0)
    design = fan_power_at(unit, unit.design_cfm, unit.fan.design_total_inwc)
    assert 0.0005 <= float(design.kw) / unit.design_cfm <= 0.0012
    assert 0.15 <= unit.oa_minimum_cfm / unit.design_cfm <= 0.35
    assert 10.0 <= site_kbtu(results.baseline.annual) / area <= 60.0


@pytest.mark.crosscheck
def test_energy_by_rate_period_agrees_between_rows_and_hours():
    """By period within 1 % of the period's electricity in running time and 0.05 % of the year's: rows are chosen for
    the year, and a period of few running hours has few rows."""
    results = results_of("field_station/field_station_tariff.toml")
    assert len(results.unit.prices.labels) == 4
    for c in results.candidates:
        table = c.by_rate_period
        rows, hours = table["electricity_kwh_rows"], table["electricity_kwh_hours"]
        apart = abs(rows - hours)
        assert (apart < 0.01 * hours).all(), c.id
        assert apart.max() < 0.0005 * c.annual["electricity_kwh"], c.id
        assert table["electricity_kwh_all_hours"].sum() == pytest.approx(c.hourly["electricity_kwh"], rel=1e-9)


@pytest.mark.invariant
def test_field_station_tariff_is_about_when_energy_is_used():
    """The same building as with one price: energies are those of its other file, money and ranks are not."""
    flat = results_of("field_station/field_station.toml")
    timed = results_of("field_station/field_station_tariff.toml")
    for c in timed.candidates:
        if c.candidate.sat.strategy != "cost_optimal":
            # Rows are chosen for other prices: energies by rows agree as rows do, those of hours are the same.
            assert c.hourly["electricity_kwh"] == pytest.approx(flat[c.id].hourly["electricity_kwh"], rel=1e-9)
            assert c.annual["electricity_kwh"] == pytest.approx(flat[c.id].annual["electricity_kwh"], rel=2e-3)
    best = timed.best
    assert best.charges.year_usd < timed.baseline.charges.year_usd
    # Warmer air takes more fan power just when demand is billed.
    assert timed["sat_demand"].worth.peak_saving_kw < 0.0
    assert timed["sat_demand"].charges.year_usd > timed.baseline.charges.year_usd
    assert timed["dsp_outdoor_air"].worth.incentive_bound_by == "payback floor: it pays back too soon"


@pytest.mark.invariant
def test_office_has_its_parts():
    results = results_of("office/office.toml")
    project = results.project
    assert len(project.zones) >= 20
    assert project.schedule.unoccupied_mode == "setback"
    assert (project.cooling.type, project.heating.type) == ("chilled_water", "boiler")
    assert project.fan.measured_kw is not None
    assert results.baseline.candidate.sat.override_frac > 0.0
    assert {c.candidate.kind for c in results.candidates} == {"reset", "repair", "companion"}
    assert not any(results[i].equal_service.flagged for i in DEFAULT_CANDIDATES)


@pytest.mark.invariant
def test_office_repair_is_told_apart_from_resets():
    """The economizer's repair saves without any reset, and the resets save less in dollars beside it than the sum."""
    results = results_of("office/office.toml")
    repair, both, reset = (
        results[i].saving["cost_usd"]
        for i in ("economizer_repaired", "economizer_repaired_resets", "sat_demand_dsp_demand")
    )
    assert repair > 0.0 and reset > 0.0
    assert max(repair, reset) < both < repair + reset
    # A repaired economizer takes more outdoor air when it is cold: fuel rises, which no reset did.
    assert results["economizer_repaired"].saving["fuel_therm"] < 0.0
    assert results["economizer_repaired"].hourly["oa_short_hours"] < results.baseline.hourly["oa_short_hours"]


@pytest.mark.invariant
def test_office_line_to_65_would_leave_the_core_too_warm():
    """Why the outdoor-air line of the office ends at 60 degF: with the usual 65 the core zones are too warm."""
    raw = tomllib.loads((FOLDER / "office/office.toml").read_text(encoding="utf-8"))
    raw["sat"]["outdoor_air"]["points"] = [[60, 65], [70, 55]]
    raw["project"]["default_candidates"] = False
    raw["candidate"] = [{"id": "as_found"}, {"id": "sat_outdoor_air"}]
    project = project_from_mapping(raw, FOLDER / "office")
    line = estimate(project, read_weather(find_weather(project.weather.file, project.source_dir)))["sat_outdoor_air"]
    assert line.equal_service.flagged
    assert "core" in line.zones.loc[line.zones["unmet_degree_hours"].idxmax(), "zone"]


@pytest.mark.invariant
def test_office_network_rooms_need_importance_or_larger_terminals():
    """With terminals sized for their load alone they would be the ignored requests, starved all year.

    Importance alone protects them and holds the reset back; larger terminals give both.
    """
    hourly_saving = lambda results, c: results.baseline.hourly["cost_usd"] - c.hourly["cost_usd"]
    weather = results_of("office/office.toml").weather
    saving, starved, flagged = {}, {}, {}
    for case, left_out in (("neither", ("importance", "max_cfm")), ("importance", ("max_cfm",))):
        raw = tomllib.loads((FOLDER / "office/office.toml").read_text(encoding="utf-8"))
        del raw["evidence"]["zone.Network rooms.max_cfm"]
        for name in left_out:
            del raw["override"][f"zone.Network rooms.{name}"]
        raw["project"]["default_candidates"] = False
        raw["candidate"] = [{"id": "as_found"}, {"id": "sat_demand_dsp_demand"}]
        raw["bins"] = {"rows": "mean"}  # all figures here are those of the hours
        results = estimate(project_from_mapping(raw, FOLDER / "office"), weather)
        both = results["sat_demand_dsp_demand"]
        saving[case], flagged[case] = hourly_saving(results, both), both.equal_service.flagged
        starved[case] = both.zones.set_index("zone").loc["Network rooms", "starved_hours"]
    whole = results_of("office/office.toml")
    as_it_is = whole["sat_demand_dsp_demand"]
    assert flagged == {"neither": True, "importance": False}
    assert starved["neither"] > 1000.0
    assert starved["importance"] == 0.0 == as_it_is.zones.set_index("zone").loc["Network rooms", "starved_hours"]
    assert saving["importance"] < 0.95 * hourly_saving(whole, as_it_is)


@pytest.mark.invariant
def test_a_reset_that_loses_money():
    """Field station: warm supply air costs more, serves as well, and only moves heat from terminals to the air
    handler."""
    results = results_of("field_station/field_station.toml")
    for name in ("sat_outdoor_air", "sat_demand"):
        c = results[name]
        assert c.saving["cost_usd"] < 0.0
        assert not c.equal_service.flagged
        assert c.rank > results.baseline.rank
        assert c.saving["reheat_kbtu"] > 0.0 > c.saving["preheat_kbtu"]
        assert c.saving["fan_kwh"] < 0.0
        assert c.payback_years is None


@pytest.mark.invariant
def test_a_reset_pinned_by_a_rogue_zone():
    """Field station: the duct reset saves exactly nothing until the crushed duct is repaired or left out; the repair by
    itself moves only the nights, by a hair."""
    results = results_of("field_station/field_station.toml")
    pinned = results["dsp_demand"]
    assert pinned.saving["cost_usd"] == 0.0
    assert pinned.annual["mean_dsp_inwc"] == pytest.approx(
        results.unit.fan.design_dsp_inwc, abs=0.005
    )  # minimum speed may lift it
    assert abs(results["duct_repaired"].saving["cost_usd"]) < 0.001 * results.baseline.annual["cost_usd"]
    repaired, excluded = results["duct_repaired_dsp_demand"], results["store_excluded_dsp_demand"]
    for c in (repaired, excluded):
        assert c.saving["cost_usd"] > 0.1 * results.baseline.annual["cost_usd"]
        assert c.candidate.kind in ("repair", "companion")
    # Left out, the zone is starved and grows too warm, so that it is no equal service; repaired, it is not.
    assert (
        excluded.equal_service.flagged
        and excluded.service.zone == "Specimen store"
        and not repaired.equal_service.flagged
    )
    starved = {
        c.id: float(c.zones.set_index("zone").loc["Specimen store", "starved_hours"]) for c in (repaired, excluded)
    }
    assert starved["duct_repaired_dsp_demand"] == 0.0 < starved["store_excluded_dsp_demand"]


@pytest.mark.slow
@pytest.mark.invariant
def test_a_reset_bound_by_humidity():
    """Clinic: the limit binds for thousands of hours; without it rooms are humid and the candidate is flagged."""
    results = results_of("clinic/clinic.toml")
    held, free = results["sat_demand_wide"], results["sat_demand_wide_no_limit"]
    assert held.hourly["humidity_limited_hours"] > 1000.0
    assert held.service.dewpoint_degree_hours_rise <= held.service.limits["dewpoint_degree_hours_rise"]
    assert not held.equal_service.flagged
    assert free.hourly["humidity_limited_hours"] == 0.0
    assert free.hourly["humid_hours"] > 100.0
    assert free.equal_service.flagged
    assert any("rooms too moist" in reason for reason in free.equal_service.reasons)


@pytest.mark.slow
@pytest.mark.invariant
def test_outdoor_air_by_position_changes_the_ranking():
    """Clinic: warm supply air takes more air, and at a fixed damper position more outdoor air with it."""
    flow, position = results_of("clinic/clinic.toml"), results_of("clinic/clinic_position.toml")
    first, second = "sat_demand_wide", "sat_outdoor_air"
    assert flow[first].rank < flow[second].rank
    assert position[first].rank > position[second].rank
    assert position[first].saving["cooling_kwh"] < flow[first].saving["cooling_kwh"]
    # The other strategies move little: it is the airflow that matters.
    assert position[second].saving["cost_usd"] == pytest.approx(
        flow[second].saving["cost_usd"], rel=0.05
    )  # measured 2 to 3 %


@pytest.mark.invariant
def test_position_project_differs_in_outdoor_air_only():
    """The two files of the clinic may not drift apart."""
    flow, position = (read_project(FOLDER / p) for p in ("clinic/clinic.toml", "clinic/clinic_position.toml"))
    different = {
        path
        for path in set(flow.origins) | set(position.origins)
        if flow.origins.get(path) != position.origins.get(path)
    }
    assert different <= {"outdoor_air.position_frac"}
    for name in (
        "weather",
        "calendar",
        "schedule",
        "building",
        "air_handler",
        "economizer",
        "fan",
        "return_fan",
        "cooling",
        "heating",
        "preheat",
        "limits",
        "service",
        "prices",
        "bins",
        "groups",
        "zones",
        "candidates",
    ):
        assert getattr(flow, name) == getattr(position, name)
    assert (flow.outdoor_air.control, position.outdoor_air.control) == ("flow", "position")


def bare(number: str) -> str:
    """A printed number without sign and dollar sign, as the prose may quote it."""
    return number.lstrip("+-$").lstrip("$")


def moved_numbers(old: str, new: str) -> dict[str, set[str]]:
    """What each number of the old tables has become, where tables kept their shape."""
    moved: dict[str, set[str]] = {}
    for before, after in zip(old.splitlines(), new.splitlines(), strict=False):
        if NUMBER.sub("#", before) == NUMBER.sub("#", after):
            for a, b in zip(NUMBER.findall(before), NUMBER.findall(after), strict=True):
                moved.setdefault(bare(a), set()).add(bare(b))
    return moved


def write_tables() -> None:
    """Put the tables into the READMEs; numbers quoted in prose follow where it is clear what they became."""
    for folder in READMES:
        path = FOLDER / folder / "README.md"
        text = path.read_text(encoding="utf-8")
        moved: dict[str, set[str]] = {}
        tables = []
        for head, project, what, printed in TABLE.findall(text):
            now = table_of(folder, project, what)
            tables.append(head + now)
            for number, became in moved_numbers(printed, now).items():
                moved.setdefault(number, set()).update(became)
        prose = TABLE.split(text)[:: TABLE.groups + 1]

        def follow(match, folder=folder, moved=moved):
            number = match[0]
            became = moved.get(bare(number), set())
            if len(bare(number)) < 3 or became <= {bare(number)}:
                return number
            if len(became) > 1:
                print(f"{folder}: {number} is several figures, now {sorted(became)}; see to it by hand")
                return number
            return number.replace(bare(number), *became)

        prose = [NUMBER.sub(follow, part) for part in prose]
        path.write_text("".join(p + t for p, t in zip(prose, [*tables, ""], strict=True)), encoding="utf-8")


def print_tables() -> None:
    """Show the tables of all READMEs as the engine gives them now."""
    for folder in READMES:
        for head, project, what, _ in TABLE.findall(readme_of(folder)):
            print(head + table_of(folder, project, what))


if __name__ == "__main__":
    if sys.argv[1:] not in (["--print"], ["--write"]):
        sys.exit("python tests/test_demos.py --print | --write")
    print_tables() if sys.argv[1] == "--print" else write_tables()
