"""The live workbook: an independent spreadsheet program finds the engine's numbers, before and after edits."""

from __future__ import annotations

import functools
import html
import io
import re
import tomllib
import zipfile
from contextlib import suppress
from itertools import zip_longest
from pathlib import Path

import numpy as np
import pytest
from builders import FILES, PLAIN, project_of, zones_with
from builders import weather_of as builders_weather
from recalculation import RELATIVE, Spreadsheet, cells, compare_books, edited, number_of, without_values
from shared import shared
from test_demos import results_of

from binestimator.bins import group_keys
from binestimator.errors import WorkbookError
from binestimator.estimate import estimate
from binestimator.estimate.running import annual_figures, night_totals, run_parts
from binestimator.estimate.sites import Sites
from binestimator.hours import build_conditions
from binestimator.inputs import read_project
from binestimator.inputs.read import project_from_mapping
from binestimator.weather import find_weather, read_weather
from binestimator.workbook import layout
from binestimator.workbook.addresses import cell_name
from binestimator.workbook.form_layout import INPUT_AT
from binestimator.workbook.layout import sheet_candidates
from binestimator.workbook.live import year
from binestimator.workbook.live.formulas import Scope
from binestimator.workbook.live.grid import Grid
from binestimator.workbook.live.method import fixed
from binestimator.workbook.live.rows import floating
from binestimator.workbook.sheets.glance.columns import columns_of
from binestimator.workbook.sheets.glance.places import STALE_ROW
from binestimator.workbook.sheets.glance.remarks import review_row
from binestimator.workbook.write import build_workbook

DEMOS = ("office", "clinic", "field_station")
FOLDER = Path(__file__).parents[1] / "demo_projects"

# Strategies that between them need every kind of setpoint formula.
FEW = [
    {"id": "as_found"}, {"id": "sat_outdoor_air_dsp_demand"},
    {"id": "demand_line", "name": "SAT by demand, DSP by airflow", "sat": "demand", "dsp": "airflow"},
    {"id": "sat_cost_optimal_dsp_demand"},
]  # fmt: skip

# Projects whose supply air cannot be held in many rows, and edits of each.
_FLOAT = {"project": {"name": "Floating", "default_candidates": False}, "bins": {"rows": "mean"}, "candidate": [
    {"id": "as_found"}, {"id": "both", "name": "Both by demand", "sat": "demand", "dsp": "demand"},
    {"id": "line", "name": "Line", "sat": "outdoor_air", "dsp": "airflow"}]}  # fmt: skip
FLOATING = {
    "cold": (
        {**_FLOAT, "air_handler": {"supply_heating": "none"}, "outdoor_air": {"minimum_cfm": 4500}},
        {"outdoor_air.minimum_cfm": 4600.0, "building.window_shgc": 0.3, "prices.electricity_usd_kwh": 0.2},
    ),
    "own": (
        {
            **_FLOAT,
            "air_handler": {"supply_heating": "own_setpoint"},
            "zone": zones_with(heating_law="dual_maximum", heat_min_cfm=600),
            "fan": {"arrangement": "blow_through"},
            "outdoor_air": {"minimum_cfm": 4500},
        },
        {
            "air_handler.supply_heating_setpoint_f": 49.0,
            "zone[South].heat_min_cfm": 700.0,
            "prices.fuel_usd_therm": 1.5,
        },
    ),
    "lockout": (
        {
            **_FLOAT,
            "cooling": {"type": "direct_expansion", "lockout_f": 66},
            "economizer": {"type": "fixed_dry_bulb", "high_limit_f": 70, "integrated": False},
        },
        {"fan.efficiency_frac": 0.58, "building.window_shgc": 0.3, "cooling.eer": 11.0},
    ),
    "short": (
        {**_FLOAT, "cooling": {"capacity_tons": 10}, "air_handler": {"max_cfm": 5000}},
        {"cooling.capacity_tons": 10.2, "building.window_shgc": 0.36, "cooling.kw_per_ton": 0.7},
    ),
}

# A candidate whose other inputs have sheets of their own.
MORE = {
    "office": [
        {
            "id": "repaired",
            "name": "Economizer repaired",
            "sat": "demand",
            "dsp": "demand",
            "kind": "repair",
            "override": {"economizer.stuck_frac": "none"},
        }
    ],
    "field_station": [
        {
            "id": "moved",
            "name": "Store left out",
            "sat": "as_found",
            "dsp": "demand",
            "kind": "companion",
            "override": {"zone.Specimen store.importance": 0},
        }
    ],
}

EDITS = {
    "office": (
        ("prices.electricity_usd_kwh", 0.2),
        ("prices.fuel_usd_therm", 1.7),
        ("zone[Lobby].area_ft2", 1500.0),
        ("zone[Lobby].min_cfm", 400.0),
        ("zone[Lobby].max_cfm", 1500.0),
        ("candidate[as_found].dsp.points", ((70.0, 1.2),)),
        ("candidate[sat_outdoor_air_dsp_demand].sat.points", ((58.0, 64.0), (72.0, 55.0))),
        ("group[office].lights_w_ft2", 1.1),
        ("heating.efficiency_frac", 0.9),
        ("cooling.kw_per_ton", 0.7),
        ("candidate[demand_line].sat.ignored_requests", 20.0),
        ("candidate[sat_outdoor_air_dsp_demand].dsp.ignored_requests", 5.0),
        ("outdoor_air.minimum_cfm", 9000.0),
        ("economizer.high_limit_f", 72.0),
        ("group[office].cooling_setpoint_f", 76.0),
        ("building.window_shgc", 0.3),
        ("fan.motor_hp", 60.0),
        ("outdoor_air.ventilation_efficiency", 0.6),
        ("limits.damper_open_pct", 90.0),
    ),
    "clinic": (
        ("cooling.eer", 11.0),
        ("air_handler.humid_dewpoint_f", 52.0),
        ("group[waiting].people_ft2", 25.0),
        ("air_handler.duct_gain_f", 1.0),
        ("prices.electricity_usd_kwh", 0.2),
        ("outdoor_air.minimum_cfm", 3500.0),
        ("building.window_shgc", 0.3),
        ("fan.efficiency_frac", 0.58),
        ("air_handler.leakage_frac", 0.05),
        ("group[waiting].lights_w_ft2", 1.4),
        ("limits.damper_open_pct", 90.0),
        ("candidate[sat_outdoor_air_dsp_demand].dsp.ignored_requests", 4.0),
        ("cooling.cycling_drying_loss_frac", 0.3),
    ),
    "field_station": (
        ("economizer.high_limit_f", 60.0),
        ("prices.heat_usd_kbtu", 0.02),
        ("fan.measured_kw", 3.6),
        ("zone[Library].reheat_rise_max_f", 20.0),
        ("fan.design_total_inwc", 4.2),
        ("candidate[demand_line].dsp.points", ((30.0, 0.5), (100.0, 1.5))),
        ("prices.electricity_usd_kwh", 0.3),
        ("zone[Library].area_ft2", 1500.0),
        ("fan.efficiency_droop", 0.5),
        ("heating.purchased_loss_frac", 0.1),
        ("building.shading_factor", 0.6),
        ("air_handler.duct_gain_f", 1.0),
        ("outdoor_air.required_cfm", 2500.0),
    ),
}


@functools.cache
def weather_of(demo: str):
    project = read_project(FOLDER / demo / f"{demo}.toml")
    return read_weather(find_weather(project.weather.file, project.source_dir))


@functools.cache
def full(demo: str):
    """Results of a demo project as it is."""
    return results_of(f"{demo}/{demo}.toml")


@functools.cache
def book(demo: str):
    """Workbook of a demo project as it is, and its pen."""
    return build_workbook(full(demo))


@functools.cache
def every(demo: str):
    """Results of a demo with every candidate of its workbook on mean rows: the formulas are those of all rows."""
    project = read_project(FOLDER / demo / f"{demo}.toml")
    return estimate(project.with_overrides({"bins.rows": "mean"}), weather_of(demo))


@functools.cache
def few(demo: str):
    """Project and results of a demo with a few candidates."""
    with (FOLDER / demo / f"{demo}.toml").open("rb") as handle:
        given = tomllib.load(handle)
    given["project"] |= {"default_candidates": False}
    given["candidate"] = FEW + MORE.get(demo, [])
    # Fewer rows; the other tests have the rows of the demos as they are.
    given["bins"] = {"rows": "mean"}
    given.pop("evidence", None)
    project = project_from_mapping(given, source_dir=str(FOLDER / demo))
    return project, estimate(project, weather_of(demo))


@functools.cache
def few_book(demo: str):
    """Workbook of a demo with a few candidates, without the values of formulas, and its pen."""
    content, pen = build_workbook(few(demo)[1])
    return without_values(content), pen


def years(found):
    """Tables of the sheet of the year by name of the workbook."""
    return {name: book.table(year.SHEET) for name, book in found.items()}


def recalculates(books_of):
    """Marks a test whose argument ``again`` is what the spreadsheet program finds in these workbooks.

    Parameters
    ----------
    books_of : callable
        Workbooks by name; its parameters are those of the test.
    """

    def mark(test):
        test.books_of = books_of
        return test

    return mark


def _books_of(item) -> dict[str, bytes]:
    return item.function.books_of(**(item.callspec.params if hasattr(item, "callspec") else {}))


@pytest.fixture(scope="module")
def all_again(request, tmp_path_factory):
    """Workbooks of all tests that run, computed anew in one start of the program: a start takes seconds."""
    books = {}
    for n, item in enumerate(request.session.items):
        if item.path == request.path and hasattr(item.function, "books_of"):
            with suppress(Exception):  # met again in the test itself
                books |= {(item.nodeid, name): (f"{n}_{name}", book) for name, book in _books_of(item).items()}
    found = Spreadsheet(tmp_path_factory.mktemp("spreadsheet")).recalculated(dict(books.values()))
    return {key: found[name] for key, (name, _) in books.items()}


@pytest.fixture
def again(request, all_again):
    """Workbooks of a test by name, computed anew (see ``recalculates``)."""
    return {name: all_again[request.node.nodeid, name] for name in _books_of(request.node)}


#: The demo with the fewest zones; the others as larger slices.
SMALL_FIRST = [pytest.param(demo, marks=() if demo == "field_station" else pytest.mark.slow) for demo in DEMOS]


def test_a_workbook_without_values_is_the_same_but_for_them():
    """What is computed anew in these tests is what the program writes if it is told to leave values out."""
    written, stripped = build_workbook(other("position")[1], blank=True)[0], without_values(other_book("position")[0])
    with zipfile.ZipFile(io.BytesIO(written)) as first, zipfile.ZipFile(io.BytesIO(stripped)) as second:
        sheets = [name for name in first.namelist() if name.startswith("xl/worksheets/sheet")]
        assert len(sheets) > 20
        for name in sheets:
            texts = [re.sub(r"<v></v>| t=\"str\"", "", file.read(name).decode()) for file in (first, second)]
            assert texts[0] == texts[1], name


@functools.cache
def four_zones():
    """Results of a small project on representative rows, with operators' overrides: every kind of column of a row."""
    project = project_of(
        project={"name": "On representative rows", "default_candidates": False},
        sat={"as_found": {"override_frac": 0.2, "override_f": 57}},
        candidate=[
            {"id": "as_found"},
            {"id": "both", "name": "Both by demand", "sat": "demand", "dsp": "demand"},
            {"id": "best", "name": "Least cost, by airflow", "sat": "cost_optimal", "dsp": "airflow"},
        ],
    )
    results = estimate(project, builders_weather("greensboro"))
    assert results.selection.rows > 200
    return results


@functools.cache
def every_book(demo: str):
    """Workbook of a demo with every candidate on mean rows, and its pen."""
    return build_workbook(every(demo))


@functools.cache
def four_zones_book():
    return build_workbook(four_zones())


#: What is recalculated as it is: results, workbook with its pen, least count of numbers.
WHOLE = {
    "four zones": (four_zones, four_zones_book, 70_000),
    "office, mean rows": (lambda: every("office"), lambda: every_book("office"), 70_000),
    **{demo: (lambda demo=demo: full(demo), lambda demo=demo: book(demo), 200_000) for demo in DEMOS},
}


#: The demos, and the office with all its candidates, are larger slices.
WHOLE_OR_LARGER = [pytest.param(which, marks=() if which == "four zones" else pytest.mark.slow) for which in WHOLE]


@pytest.mark.crosscheck
@pytest.mark.parametrize("which", WHOLE_OR_LARGER)
def test_formulas_follow_the_engine(which):
    """Each formula, evaluated with arrays, gives what the engine found: column by column, from the engine's values left
    of it."""
    content, pen = WHOLE[which][1]()
    assert len(pen.residuals) > 200
    worst = max(pen.residuals, key=pen.residuals.get)
    # Rounding of sums over zones and of powers.
    assert pen.residuals[worst] < 1e-9, worst
    if which == "office":
        assert len(content) < 3_600_000


@functools.cache
def whole_books(which):
    return {which: without_values(WHOLE[which][1]()[0])}


@recalculates(whole_books)
@pytest.mark.crosscheck
@pytest.mark.parametrize("which", WHOLE_OR_LARGER)
def test_recalculated_workbooks_equal_the_engine(which, again):
    """Written without values and computed anew by another program, every number is that of the engine: some candidates
    on representative rows, all of the office on mean rows, and the demos as they are."""
    results, built, least = WHOLE[which]
    content, pen = built()
    assert compare_books(which, content, again[which]) > least
    table = again[which].table(year.SHEET)
    assert table[year.BANNER_ROW][0] == layout.NOTHING_EDITED
    compare_years(table, pen, results(), results(), "no edit")


def changes_of(pen, path: str, value) -> dict[tuple[str, str], float]:
    """Cells of an input, and the numbers to put there."""
    if not isinstance(value, tuple):
        sheet, row, column = pen.registry.edited[path]
        return {(sheet, cell_name(row, column)): float(value)}
    changes = {}
    for k, point in enumerate(value, 1):
        for axis, number in zip("xy", point, strict=True):
            sheet, row, column = pen.registry.edited[f"{path}.{axis}{k}"]
            changes[(sheet, cell_name(row, column))] = float(number)
    return changes


def override_path(path: str) -> str:
    return re.sub(r"\[([^\]]*)\]", r".\1", path)


def compare_years(table, pen, results, changed, label) -> float:
    """Figures of the recalculated year against those of the engine; returns how far the edit moved them."""
    for key in (*year.SUMMED, "electricity_kwh", "cost_usd"):
        for place, k in enumerate(sorted(sheet_candidates(results)), 2):
            got, want = float(table[pen.places[key]][place]), changed.candidates[k].annual[key]
            assert abs(got - want) <= RELATIVE * max(abs(want), 1e-3), (label, results.candidates[k].id, key, got, want)
    return moved_by(results, *({c.id: c.annual for c in run.candidates} for run in (results, changed)))


def _numbers(value):
    """What has cells of its own: the value, or the coordinates of points."""
    return (
        [number for point in value for number in point]
        if isinstance(value, tuple) and value and isinstance(value[0], tuple)
        else [value]
    )


def moved_by(results, before, after) -> float:
    """Largest relative change of a figure of a year between annual figures by candidate."""
    ids = [results.candidates[k].id for k in sheet_candidates(results)]
    pairs = [(before[i][key], after[i][key]) for key in (*year.SUMMED, "electricity_kwh", "cost_usd") for i in ids]
    return max(abs(now - was) / max(abs(now), 1e-3) for was, now in pairs)


def held_figures(project, results, weather) -> dict[str, dict[str, float]]:
    """Annual figures of changed inputs by candidate, on held sizes, mean rows, nights and setpoints: a held estimate
    without its run of the hours."""
    conditions = build_conditions(weather, project)
    group_id, _ = group_keys(conditions, project.bins)
    sites = Sites(project, weather, conditions, results.held.sizes, group_id)
    found = {}
    for candidate in project.candidates:
        site, night = sites.of(candidate), night_totals(results.held.nights[candidate.id])
        kept, pulled = results.held.optimal_sat.get(candidate.id), results.held.pulled_f.get(candidate.id)
        parts = run_parts(site.unit, candidate, site.mean, (), kept, pulled_f=pulled)
        found[candidate.id] = annual_figures(site.unit, site.mean, parts, night)
    return found


def shared_edits(demo):
    """Edits by file: neighbours of the list are of one kind, so every file gets edits from all over it."""
    files = -(-len(EDITS[demo]) // 10)
    return [EDITS[demo][n::files] for n in range(files)]


@functools.cache
def edited_books(demo):
    content, pen = few_book(demo)
    files = {
        f"{demo}{n}": edited(
            content, {cell: number for path, value in edits for cell, number in changes_of(pen, path, value).items()}
        )
        for n, edits in enumerate(shared_edits(demo))
    }
    return files


@recalculates(edited_books)
@pytest.mark.crosscheck
@pytest.mark.parametrize("demo", SMALL_FIRST)
def test_edits_in_the_file_give_the_engines_changed_run(demo, again):
    """A few inputs after the other, edited in the file: the figures are those of the engine on held rows, sizes and
    setpoints.

    Loading a file takes longer than a run of the engine, so that some ten edits share a file; each has to move the
    figures by itself, after those before it. The banner says how many inputs have been edited.
    """
    project, results = few(demo)
    _, pen = few_book(demo)
    shared = shared_edits(demo)
    assert sorted(path for edits in shared for path, _ in edits) == sorted(path for path, _ in EDITS[demo])
    tables = years(again)
    followed = 0
    for n, edits in enumerate(shared):
        changed, before = project, {c.id: c.annual for c in results.candidates}
        for path, value in edits:
            changed = changed.with_overrides({override_path(path): value})
            figures = held_figures(changed, results, weather_of(demo))
            assert moved_by(results, before, figures) > 1e-7, f"{path}: the edit moves nothing and proves nothing"
            before = figures
        after = estimate(changed, weather_of(demo), held=results.held)
        # The short way that judged the single edits leads to the same figures.
        assert moved_by(results, before, {c.id: c.annual for c in after.candidates}) < 1e-12
        table, label = tables[f"{demo}{n}"], " and ".join(path for path, _ in edits)
        compare_years(table, pen, results, after, label)
        # The banner counts what has been typed, not the defaults that follow from it.
        was, now = (
            {path: value for path, _, value, *_ in p.effective_rows()} for p in (results.project, after.project)
        )
        count = sum(a != b for path, _ in edits for a, b in zip_longest(_numbers(was[path]), _numbers(now[path])))
        followed += sum(was[path] != now[path] for path in now if path not in dict(edits))
        assert table[year.BANNER_ROW][0].startswith(f"▲ {count} inputs edited."), (label, table[year.BANNER_ROW][0])
    assert followed > 0 or demo != "office"  # else nothing tells what was typed from what follows


def all_edits(demo):
    """Edits of a demo but for those of a candidate, which not every workbook has."""
    return [(path, value) for path, value in EDITS[demo] if not path.startswith("candidate[")]


@functools.cache
def all_edited_book(demo):
    content, pen = every_book(demo)
    changes = {}
    for path, value in all_edits(demo):
        changes |= changes_of(pen, path, value)
    return {demo: edited(without_values(content), changes)}


@recalculates(all_edited_book)
@pytest.mark.slow
@pytest.mark.crosscheck
@pytest.mark.parametrize("demo", DEMOS)
def test_all_candidates_equal_the_engine_after_edits(demo, again):
    """All edits of a demo at once, every candidate of its workbook, as for the small projects below."""
    results, (_, pen) = every(demo), every_book(demo)
    changed = estimate(
        results.project.with_overrides({override_path(p): v for p, v in all_edits(demo)}),
        weather_of(demo),
        held=results.held,
    )
    compare_years(again[demo].table(year.SHEET), pen, results, changed, f"all edits of {demo}")


# Small projects that between them have the plants and options that no demo has, and edits of each.
_STRATEGIES = [
    {"id": "as_found", "name": "As found ~*? (not “fixed”)"},
    {"id": "both", "name": "Both by demand", "sat": "demand", "dsp": "demand"},
    {
        "id": "lines",
        "name": "Lines",
        "sat": {"strategy": "outdoor_air", "points": [[40.0, 62.0], [55.0, 60.0], [70.0, 55.0]]},
        "dsp": "airflow",
    },
    {"id": "optimal", "name": "Least cost", "sat": "cost_optimal", "dsp": {"strategy": "fixed", "setpoint_inwc": 1.1}},
]
_SOME = {
    "project": {"name": "Other kinds", "default_candidates": False},
    "bins": {"rows": "mean"},
    "candidate": _STRATEGIES,
}
OTHERS = {
    "heat_pump": (
        "sand_point",
        {
            **_SOME,
            "zone": zones_with(heating_law="dual_maximum"),
            "schedule": {"unoccupied_mode": "continuous"},
            "air_handler": {"supply_heating": "own_setpoint", "supply_heating_setpoint_f": 48.0},
            "outdoor_air": {"control": "people", "minimum_cfm": None},
            "economizer": {"type": "differential_enthalpy", "high_limit_f": 75},
            "return_fan": {"type": "return"},
            "fan": {"arrangement": "blow_through"},
            "cooling": {
                "type": "chilled_water",
                "chiller_set": "air_cooled_below_150_ton",
                "kw_per_ton": 1.2,
                "below_minimum": "hold",
                "chilled_pump_control": "constant",
            },
            "heating": {"type": "heat_pump", "capacity_kbtuh": 90},
            "preheat": {"type": "gas_furnace"},
        },
        {
            "heating.heat_pump_off_below_f": 20.0,
            "preheat.efficiency_frac": 0.7,
            "return_fan.flow_frac": 0.8,
            "group[office].oa_cfm_person": 8.0,
            "air_handler.supply_heating_setpoint_f": 50.0,
            "economizer.high_limit_f": 65.0,
            "zone[South].heat_max_cfm": 900.0,
            "cooling.kw_per_ton": 1.0,
        },
    ),
    "position": (
        "miami",
        {
            **_SOME,
            "group": [
                {"name": "Open office", "always_on": True},
                {"name": "meeting", "people_ft2": 20, "minimum_flow_frac": 0.2, "always_on": True},
            ],
            "zone": [{**zone, "group": zone.get("group", "Open office")} for zone in PLAIN["zone"]],
            "air_handler": {"supply_heating": "none"},
            "outdoor_air": {"control": "position"},
            "economizer": {"type": "fixed_enthalpy", "high_limit_f": 75},
            "return_fan": {"type": "relief"},
            "fan": {"part_load": "published_curves"},
            "limits": {"humidity": "outdoor_dewpoint"},
            "cooling": {"type": "purchased"},
            "heating": {
                "type": "boiler",
                "boiler_curve": "non_condensing",
                "enabled_below_f": 60,
                "pump_control": "variable",
            },
            "preheat": {"type": "electric"},
            "prices": {"cooling_usd_kbtu": 0.015},
        },
        {
            "prices.cooling_usd_kbtu": 0.02,
            "return_fan.efficiency_frac": 0.5,
            "economizer.high_limit_f": 65.0,
            "economizer.high_limit_btu_lb": 26.0,
            "heating.enabled_below_f": 55.0,
            "group[Open office].equipment_w_ft2": 1.3,
            "outdoor_air.ventilation_efficiency": 0.6,
            "cooling.purchased_loss_frac": 0.1,
        },
    ),
}


@functools.cache
def other(kind: str):
    place, changes, _ = OTHERS[kind]
    project = project_of(weather={"file": FILES[place]}, **changes)
    return project, shared(f"results of {kind}", lambda: estimate(project, builders_weather(place)))


@functools.cache
def other_book(kind: str):
    """Workbook of one of these projects, and its pen."""
    return build_workbook(other(kind)[1])


def before_and_after(kind: str, built, edits: dict) -> dict[str, bytes]:
    """A workbook without its values, and the same with edits."""
    content, pen = built
    blank, changes = without_values(content), {}
    for path, value in edits.items():
        changes |= changes_of(pen, path, value)
    return {kind: blank, f"{kind}_edited": edited(blank, changes)}


def after(books: dict[str, bytes]) -> dict[str, bytes]:
    """Of these the one with edits."""
    return {name: content for name, content in books.items() if name.endswith("_edited")}


def before(books: dict[str, bytes]) -> dict[str, bytes]:
    """Of these the one without."""
    return {name: content for name, content in books.items() if not name.endswith("_edited")}


@functools.cache
def other_books(kind):
    return before_and_after(kind, other_book(kind), OTHERS[kind][2])


@recalculates(lambda kind: after(other_books(kind)))
@pytest.mark.crosscheck
@pytest.mark.parametrize("kind", [pytest.param(k, marks=() if k == "position" else pytest.mark.slow) for k in OTHERS])
def test_plants_and_options_of_no_demo_equal_the_engine_after_edits(kind, again):
    tables, (place, _, edits) = years(again), OTHERS[kind]
    (project, results), (_, pen) = other(kind), other_book(kind)
    assert max(pen.residuals.values()) < 1e-9
    changed = estimate(
        project.with_overrides({override_path(p): v for p, v in edits.items()}),
        builders_weather(place),
        held=results.held,
    )
    assert compare_years(tables[f"{kind}_edited"], pen, results, changed, f"edits of {kind}") > 0.01


@recalculates(lambda kind: before(other_books(kind)))
@pytest.mark.slow
@pytest.mark.crosscheck
@pytest.mark.parametrize("kind", OTHERS)
def test_plants_and_options_of_no_demo_equal_the_engine_before_edits(kind, again):
    """Every number of every sheet, as of the four zones above."""
    compare_books(kind, other_book(kind)[0], again[kind])


@functools.cache
def floated(kind: str):
    """Project and results of a project whose supply air cannot be held."""
    project = project_of(**FLOATING[kind][0])
    return project, shared(f"results of {kind}", lambda: estimate(project, builders_weather("greensboro")))


#: Supply air floats down in the first, up in the second, and either way in the larger slices.
FIRST_AND_OTHERS = ("cold", *(pytest.param(kind, marks=pytest.mark.slow) for kind in FLOATING if kind != "cold"))


@functools.cache
def floated_book(kind: str):
    """Workbook of one of these projects, and its pen."""
    return build_workbook(floated(kind)[1])


@functools.cache
def floated_books(kind):
    return before_and_after(kind, floated_book(kind), FLOATING[kind][1])


@recalculates(lambda kind: after(floated_books(kind)))
@pytest.mark.crosscheck
@pytest.mark.parametrize("kind", FIRST_AND_OTHERS)
def test_supply_air_that_cannot_be_held_equals_the_engine_after_edits(kind, again):
    """No supply heating, own setpoint, lockout, a plant too small with a fan at its ceiling."""
    (_, edits), (project, results), (_, pen) = FLOATING[kind], floated(kind), floated_book(kind)
    assert max(pen.residuals.values()) < 1e-9, max(pen.residuals, key=pen.residuals.get)
    states = [p.state for run in results.runs.values() for p in run.parts]
    assert sum(np.sum(s.sat_f != s.sat_set_f) for s in states) > 0
    changed = estimate(
        project.with_overrides({override_path(p): v for p, v in edits.items()}),
        builders_weather("greensboro"),
        held=results.held,
    )
    assert compare_years(years(again)[f"{kind}_edited"], pen, results, changed, f"edits of {kind}") > 0.001


@recalculates(lambda kind: before(floated_books(kind)))
@pytest.mark.slow
@pytest.mark.crosscheck
@pytest.mark.parametrize("kind", FLOATING)
def test_supply_air_that_cannot_be_held_equals_the_engine_before_edits(kind, again):
    """Every number of every sheet, as of the four zones above."""
    compare_books(kind, floated_book(kind)[0], again[kind])


@functools.cache
def too_wide(kind: str):
    """Workbook of one of these projects whose steps are said not to fit, its pen, and rows off the setpoint as held by
    candidate and end."""
    held, add, results = {}, Grid.add, floated(kind)[1]

    def noted(grid, key, label, unit, template, style="f2", **more):
        if key in ("up_line", "down_line"):
            held[grid.sheet.name, key] = float(np.sum(more["values"]))
        return add(grid, key, label, unit, template, style, **more)

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(floating, "steps_fit", lambda results, id_, kind: False)
        patch.setattr(Grid, "add", noted)
        return *build_workbook(results), held


@functools.cache
def too_wide_books(kinds):
    books = {}
    for kind in kinds:
        content, pen, _ = too_wide(kind)
        books |= before_and_after(kind, (content, pen), dict([next(iter(FLOATING[kind][1].items()))]))
    return books


@pytest.mark.crosscheck
@pytest.mark.parametrize("kind", FIRST_AND_OTHERS)
def test_steps_too_wide_for_a_sheet_are_held(kind):
    """As with hundreds of zone lines: the run's figures, and no sheets of steps."""
    (_, results), (content, pen, held) = floated(kind), too_wide(kind)
    assert max(pen.residuals.values()) < 1e-9, max(pen.residuals, key=pen.residuals.get)
    assert not any(name.startswith((floating.DOWN, floating.UP)) for name in cells(content))
    # Rows near floating as well: the first look may take them to float, and the root leave them at the setpoint.
    for k in sheet_candidates(results):
        run = results.runs[results.candidates[k].id]
        for way, rows in floating.floating_rows(results, results.candidates[k].id).items():
            name = next(name for name, _ in held if name.startswith(f"{k + 1} "))
            key = "up_line" if way == floating.UP else "down_line"
            assert held[name, key] == len(run.parts) * len(rows)


@recalculates(too_wide_books)
@pytest.mark.slow
@pytest.mark.crosscheck
@pytest.mark.parametrize("kinds", [("cold",), ("short", "own", "lockout")])
def test_steps_too_wide_for_a_sheet_are_held_and_say_so_after_an_edit(kinds, again):
    """The run's figures without an edit, and a banner that counts the rows after it."""
    tables = years(again)
    for kind in kinds:
        (_, results), (content, _, _) = floated(kind), too_wide(kind)
        compare_books(kind, content, again[kind])
        count = sum(int(np.sum(p.state.sat_f != p.state.sat_set_f)) for r in results.runs.values() for p in r.parts)
        said = re.search(r"In (\d+) rows supply air can now not be held", tables[f"{kind}_edited"][year.BANNER_ROW][0])
        assert said and int(said.group(1)) >= 0.5 * count > 0, (kind, count)


@pytest.mark.invariant
@pytest.mark.parametrize(
    ("kinds", "ways"),
    [
        (("cold",), {floating.DOWN}),
        pytest.param(("cold", "short"), {floating.DOWN, floating.UP}, marks=pytest.mark.slow),
        pytest.param(("own", "lockout"), {floating.DOWN, floating.UP}, marks=pytest.mark.slow),
    ],
)
def test_steps_are_no_wider_than_what_decides_whether_they_fit(kinds, ways, monkeypatch):
    """A sheet of the largest projects may not run out of columns: its width is bounded beforehand."""
    widths, write = {}, floating.steps_of

    def measured(chain, kind):
        grid, key = write(chain, kind)
        widths[chain.candidate.id, kind] = grid.width
        return grid, key

    monkeypatch.setattr(floating, "steps_of", measured)
    seen = set()
    for kind in kinds:
        _, results = floated(kind)
        widths.clear()
        build_workbook(results)
        for (id_, way), width in widths.items():
            seen.add(way)
            monkeypatch.setattr(floating, "MOST_COLUMNS", width - 1)
            assert not floating.steps_fit(results, id_, way), (id_, way, width)
            monkeypatch.undo()
            monkeypatch.setattr(floating, "steps_of", measured)
            assert floating.steps_fit(results, id_, way)
    assert seen == ways


NAMES = ("Open office", "of{f}ice", "a]b.c", "50 %s %d", "x'y's", '"q" & <b>', "=1+1", "_x0041_", "ü", "#REF!")


@pytest.mark.crosscheck
@pytest.mark.parametrize("start", [0, pytest.param(5, marks=pytest.mark.slow)])
def test_names_of_any_kind_do_not_reach_the_formulas(start):
    """Each as the name of a group, a zone or a candidate."""
    names = (NAMES * 2)[start : start + len(NAMES)]
    groups = [{**PLAIN["group"][k % 2], "name": name} for k, name in enumerate(names[:4])]
    zones = [
        {**zone, "name": name, "group": group["name"]}
        for zone, name, group in zip(PLAIN["zone"], names[4:8], groups, strict=True)
    ]
    first, second, third = names[8], names[9], names[0]
    results = estimate(
        project_of(
            bins={"rows": "mean"},
            project={"name": third, "default_candidates": False},
            group=groups,
            zone=zones,
            candidate=[
                {"id": "as_found", "name": first},
                {"id": "b", "name": second, "sat": "demand", "dsp": "demand"},
                {
                    "id": "c",
                    "name": third,
                    "sat": "outdoor_air",
                    "dsp": "as_found",
                    "kind": "repair",
                    "override": {"fan.motor_hp": 20},
                },
            ],
        ),
        builders_weather("greensboro"),
    )
    content, pen = build_workbook(results)
    assert max(pen.residuals.values()) < 1e-9
    sheets = set(cells(content))
    with zipfile.ZipFile(io.BytesIO(content)) as file:
        named = {
            html.unescape(name).replace("''", "'")
            for member in file.namelist()
            if member.startswith("xl/worksheets/sheet")
            for text in re.findall(r"<f[^>]*>([^<]*)</f>", file.read(member).decode())
            for name in re.findall(r"'((?:[^']|'')+)'!", text)
        }
    assert named <= sheets and not any(re.search("_x[0-9A-Fa-f]{4}_", name) for name in sheets)


@pytest.mark.invariant
def test_words_of_a_user_are_never_run(tmp_path, monkeypatch):
    """A name made to look like the end of one formula and the start of another."""
    monkeypatch.chdir(tmp_path)
    evil = "office].people_ft2}+open('trap','w').close()+{group[office"
    groups = [PLAIN["group"][0], {**PLAIN["group"][1], "name": evil}]
    zones = [{**zone, "group": evil} if "group" in zone else zone for zone in PLAIN["zone"]]
    results = estimate(
        project_of(
            bins={"rows": "mean"},
            group=groups,
            zone=zones,
            candidate=[{"id": "as_found"}],
            project={"name": "Trap", "default_candidates": False},
        ),
        builders_weather("greensboro"),
    )
    assert len(build_workbook(results)[0]) > 10_000 and not (tmp_path / "trap").exists()
    scope = Scope()
    scope.put("a", "A1", 2.0)
    assert scope.evaluate("MAX({a},1.5e0)^2") == 4.0
    for text in (
        "{a}+open('x')",
        "__import__('os')",
        "{a}.__class__",
        "[{a}]",
        "{a}+b",
        "{a};1",
        "{group[x].a}",
        '"x"',
    ):
        with pytest.raises(WorkbookError):
            scope.evaluate(text)


#: What a reviewer types beside the claim's values.
REVIEWED = {"prices.electricity_usd_kwh": 0.15, "heating.efficiency_frac": 0.9}


@functools.cache
def reviewed_book(which):
    """Results and workbook without values, with its pen, of four zones or of the office."""
    if which == "office":
        return few(which)[1], *few_book(which)
    candidates = [{"id": "as_found"}, {"id": "airflow", "name": "DSP by airflow", "sat": "as_found", "dsp": "airflow"}]
    project = project_of(
        project={"name": "Reviewed", "default_candidates": False}, bins={"rows": "mean"}, candidate=candidates
    )
    results = estimate(project, builders_weather("greensboro"))
    content, pen = build_workbook(results)
    return results, without_values(content), pen


@functools.cache
def reviewed_books(which):
    _, content, pen = reviewed_book(which)
    changes = {}
    for path, value in REVIEWED.items():
        sheet, row, _ = pen.registry.edited[path]
        changes[(sheet, cell_name(row, INPUT_AT["override"]))] = value
    return {"reviewed": edited(content, changes)}


@recalculates(reviewed_books)
@pytest.mark.crosscheck
@pytest.mark.parametrize("which", ["four zones", pytest.param("office", marks=pytest.mark.slow)])
def test_a_reviewers_override_moves_the_review_and_not_the_claim(which, again):
    """The live year follows the engine, the first sheet shows claimed, reviewed and ratio."""
    results, _, pen = reviewed_book(which)
    found = again["reviewed"]
    changed = estimate(results.project.with_overrides(REVIEWED), results.weather, held=results.held)
    compare_years(found.table(year.SHEET), pen, results, changed, "reviewer")
    glance = found.table(layout.GLANCE)
    claimed, reviewed, ratio = glance[review_row(results) : review_row(results) + 3]
    base, best = results.baseline_id, results.best.id
    compared = []
    for place, (key, *_, part) in enumerate(columns_of(results), 2):
        figures = {"saving_usd": lambda r: r[best].saving["cost_usd"], "cost_usd": lambda r: r[best].annual["cost_usd"],
                   "saving_frac": lambda r: r[best].saving["cost_usd"] / r[base].annual["cost_usd"]}  # fmt: skip
        if part == "change":
            figure = lambda r, key=key: sum(r[best].annual[k] - r[base].annual[k] for k in key.split("+"))
        else:
            figure = figures.get(key)
        if figure is not None:
            was, now = figure(results), figure(changed)
            said = [number_of(claimed[place]), number_of(reviewed[place])]
            assert said == pytest.approx([was, now], rel=RELATIVE, abs=1e-6), key
            if abs(was) > 1e-9:
                assert abs(was) > 0.001 and float(ratio[place]) == pytest.approx(now / was, rel=RELATIVE), key
                compared.append((key, abs(now / was - 1.0)))
    assert dict(compared)["saving_usd"] > 0.05 and dict(compared)["fuel_therm"] > 0.01
    assert "2 inputs edited" in glance[STALE_ROW][0]


@pytest.mark.invariant
@pytest.mark.parametrize(
    ("value", "decimals", "text"),
    [(81.125, 2, "81.13"), (-81.125, 2, "-81.13"), (1234.5, 0, "1,235"), (2.675, 2, "2.68"), (0.0, 3, "0.000")],
)
def test_numbers_in_sentences_are_rounded_as_spreadsheets_do(value, decimals, text):
    """Halves go away from zero; Python rounds them to even, and the binary number instead of its digits."""
    assert fixed(value, decimals) == text
