"""Accuracy of representative rows against the hourly run, over many projects.

    python -m tests.accuracy            all projects, ten to twenty minutes
    python -m tests.accuracy --quick    a few of them
    python -m tests.accuracy --csv errors.csv

Generated projects span 5 to 60 zones, minimum flows of 0 to 50 %, every plant, every way of
running at night, all outdoor-air controls and economizers, three weather files, sites at
altitude and three rate periods; the seed of each is printed and gives the same project
again. Rows are chosen for the project with its own candidates (the default eight; of a demo
all that its file names). Held, they then run further strategies with limits that the choice
has not seen, and strategies drawn at random from the seed: these are the evidence. The
project's own candidates, and any whose setpoints are among the reference settings of the
choice, are marked ``seen``: their errors are bound as well, but prove nothing.

Bounds: annual cost within 0.5 %, every end use within 1 % of all HVAC energy, savings
within 0.3 percentage points, at most 240 rows at the default grouping; with rows held after
an edit of inputs, cost within 1 %. The worst case counts, not the mean. Exit status 1 if
a bound is broken.
"""

from __future__ import annotations

import argparse
import dataclasses
import sys
import time
import tomllib
from pathlib import Path

import numpy as np
import pandas as pd

from binestimator.bins import MAX_ROWS
from binestimator.end_uses import ENERGY_KEYS, site_kbtu
from binestimator.estimate import Rows, annual_figures, estimate, night_duct, night_totals, run_parts
from binestimator.hours import build_conditions
from binestimator.inputs import project_from_mapping, read_project
from binestimator.model.loads import zone_loads
from binestimator.model.night import run_nights
from binestimator.money import annual_cost_usd
from binestimator.row_accuracy import COST_ERROR_FRAC, END_USE_ERROR_FRAC, SAVING_ERROR_POINTS, end_use_kbtu
from binestimator.selection import moving_sats_f, reference_settings
from binestimator.strategies.choose import setpoints
from binestimator.weather import find_weather, read_weather

ROOT = Path(__file__).resolve().parent.parent
WEATHER_FILES = ("723170TYA.CSV", "12839.tm2", "703165TY.csv")
SEEDS = tuple(range(101, 131))
QUICK_SEEDS = (102, 107, 113)
HELD_ERROR_FRAC = 0.01
#: Strategies drawn at random for each generated project.
DRAWN = 8

COOLING = (
    {"type": "chilled_water", "chiller_set": "water_cooled_300_to_600_ton", "kw_per_ton": 0.61, "units": 2},
    {"type": "direct_expansion", "stages": 4, "lockout_f": 50},
    {"type": "purchased"},
    {"type": "chilled_water", "chiller_set": "air_cooled_below_150_ton", "kw_per_ton": 1.2, "units": 1},
    {"type": "direct_expansion", "stages": 2, "units": 2},
    {
        "type": "chilled_water",
        "chiller_set": "water_cooled_below_75_ton",
        "kw_per_ton": 0.75,
        "units": 3,
        "below_minimum": "hold",
    },
    {
        "type": "chilled_water",
        "chiller_set": "water_cooled_from_600_ton",
        "kw_per_ton": 0.58,
        "other_load_tons": 150,
        "chilled_pump_control": "constant",
    },
)
HEATING = (
    {"type": "boiler"},
    {"type": "electric"},
    {"type": "heat_pump"},
    {"type": "purchased"},
    {"type": "boiler", "efficiency_frac": 0.9, "boiler_curve": "non_condensing", "enabled_below_f": 70},
)
MODES = ("continuous", "setback", "never", "off")
ECONOMIZER = (
    {"type": "fixed_dry_bulb"},
    {"type": "differential_enthalpy", "high_limit_f": 75},
    {"type": "none"},
    {"type": "fixed_enthalpy", "high_limit_f": 75},
    {"type": "differential_dry_bulb"},
    {"type": "fixed_dry_bulb", "integrated": False},
    {"type": "fixed_dry_bulb", "stuck_frac": 0.4},
)


def generated(seed: int) -> dict:
    """Inputs of a project. Kinds follow the seed in turn so that all occur; sizes are drawn."""
    rng = np.random.default_rng(seed)
    i = seed - SEEDS[0]
    count = int(rng.integers(5, 61)) if i not in (0, 1) else (5, 60)[i]
    minimum = float(rng.uniform(0.0, 0.5)) if i % 6 else float(rng.choice([0.0, 0.5]))
    mode = MODES[i % 4]
    always = {"always_on": True} if mode == "never" else {}
    groups = []
    for name, people, power, start in (("work", 180, 0.9, 7), ("class", 30, 0.5, 8), ("lab", 250, 3.0, 6)):
        groups.append(
            {
                "name": name,
                **always,
                "people_ft2": people,
                "equipment_w_ft2": float(power * rng.uniform(0.7, 1.3)),
                "lights_w_ft2": float(rng.uniform(0.5, 1.2)),
                "minimum_flow_frac": round(minimum, 3),
                "minimum_unoccupied_frac": round(0.5 * minimum, 3) if i % 2 else 0.0,
                "heating_setpoint_f": float(rng.choice([68, 70, 71])),
                "cooling_setpoint_f": float(rng.choice([73, 75, 76])),
                "people_occupied_frac": float(rng.uniform(0.4, 0.9)),
                "equipment_unoccupied_frac": float(rng.uniform(0.1, 0.6)),
            }
        )
        if mode != "never":
            groups[-1].update(weekday_hours=[start, start + 11])
            if i % 3 == 0:
                groups[-1].update(saturday_hours=[8, 14])
        if name == "work":
            groups[-1]["people_profile"] = (
                [0] * 7 + [0.3, 0.8, 0.9, 0.9, 0.8, 0.5, 0.8, 0.9, 0.9, 0.8, 0.4, 0.1] + [0] * 5
            )
        if name == "class" and mode == "never":
            groups[-1]["equipment_profile"] = [0.1] * 8 + [0.9] * 10 + [0.3] * 6
    zones = []
    for n in range(count):
        area = float(rng.uniform(150, 2500))
        side = ("north", "east", "south", "west", None)[n % 5]
        zone = {"name": f"Z{n + 1:02d}", "group": ("work", "class", "lab")[int(rng.choice(3, p=[0.6, 0.25, 0.15]))],
                "area_ft2": area, "multiplier": int(rng.choice([1, 1, 1, 2, 4])),
                "gain_multiplier": float(rng.uniform(0.5, 1.6))}  # fmt: skip
        if side:
            zone.update(
                {
                    f"glass_{side}_ft2": area * float(rng.uniform(0.05, 0.25)),
                    "ua_btuh_f": area * float(rng.uniform(0.05, 0.3)),
                    "infiltration_cfm": area * 0.03,
                }
            )
        if rng.random() < 0.3:
            zone.update(roof_ft2=area)
        if i % 5 == 2 and rng.random() < 0.7:
            zone.update(heating_law="dual_maximum")
        if rng.random() < 0.05:
            zone.update(reheat=False)
        if i % 7 == 3 and n == 1:
            zone.update(rogue="failed_sensor", importance=0.3)
        if i % 9 == 4 and n == 2:
            zone.update(sat_max_f=60.0)
        zones.append(zone)
    sat_max = float(rng.choice([60, 62, 65, 68]))
    dsp = float(rng.choice([1.2, 1.5, 2.0]))
    air_handler = {"supply_heating": str(rng.choice(["hold", "own_setpoint", "none"], p=[0.6, 0.2, 0.2])),
                   "design_sat_f": float(rng.choice([53, 55, 55, 56]))}  # fmt: skip
    design = air_handler["design_sat_f"]
    raw = {
        "project": {"name": f"Generated {seed}"},
        "weather": {"file": WEATHER_FILES[i % 3]},
        "calendar": {"rate_period_hours": [12, 18], "mid_peak_hours": [8, 22]},
        "schedule": {"unoccupied_mode": "off" if mode == "never" else mode},
        "group": groups,
        "zone": zones,
        "air_handler": air_handler,
        "outdoor_air": {"control": ("flow", "position", "people")[(i // 2) % 3]},
        "economizer": dict(ECONOMIZER[i % 7]),
        "fan": {
            "design_dsp_inwc": dsp,
            "design_total_inwc": dsp + float(rng.uniform(2.0, 3.5)),
            "minimum_speed_frac": float(rng.choice([0.1, 0.2, 0.3])),
            "arrangement": "blow_through" if i % 8 == 5 else "draw_through",
            "part_load": "published_curves" if i % 11 == 7 else "pressure",
        },
        "return_fan": {"type": ("none", "return", "relief")[i % 3 if i % 4 else 0]},
        "cooling": dict(COOLING[(3 * i + i // 7) % 7]),
        "heating": dict(HEATING[(2 * i + i // 5) % 5]),
        "preheat": {"type": "gas_furnace" if i % 6 == 5 else "same"},
        "limits": {
            "sat_min_f": design,
            "sat_max_f": sat_max,
            "humidity": ("none", "none", "outdoor_dewpoint", "room_dewpoint")[(i // 3) % 4],
        },
        "prices": {
            "electricity_usd_kwh": float(rng.uniform(0.08, 0.25)),
            "fuel_usd_therm": float(rng.uniform(0.7, 2.0)),
        },
        "sat": {},
        "dsp": {},
    }
    if i % 5 == 1:
        raw["weather"]["pressure_psia"] = 12.1  # about 5,200 ft
    if i % 4 == 1:
        raw["sat"]["as_found"] = {"points": [[50, 58.0], [75, 54.0]], "override_frac": 0.2, "override_f": 56.0}
        raw["dsp"]["as_found"] = {"points": [[50, 0.9 * dsp], [85, dsp]]}
    elif i % 4 == 2:
        raw["sat"]["as_found"] = {"points": [[60, 57.3]]}
    raw["candidate"] = held_out(design, sat_max, dsp) + drawn(seed, design, sat_max, dsp)
    return raw


def held_out(design_sat, sat_max, dsp) -> list[dict]:
    """Strategies and limits that the choice of rows has not seen."""
    low, high = design_sat, min(sat_max, 64.0)
    return [
        {
            "id": "h_fixed_sat",
            "name": "Fixed SAT between the limits",
            "sat": {"strategy": "fixed", "setpoint_f": low + 0.37 * (high - low)},
            "dsp": "as_found",
        },
        {
            "id": "h_steep_line",
            "name": "Steep outdoor-air line",
            "dsp": "as_found",
            "sat": {"strategy": "outdoor_air", "points": [[48.0, high - 0.6], [57.0, low + 1.2]]},
        },
        {
            "id": "h_table",
            "name": "Table of four points, DSP by airflow",
            "sat": {
                "strategy": "outdoor_air",
                "points": [[30.0, high], [50.0, high - 1.5], [66.0, low + 2.2], [82.0, low]],
            },
            "dsp": {"strategy": "airflow", "points": [[30, 0.4 * dsp], [90, 0.9 * dsp]], "flow_error_frac": 0.05},
        },
        {
            "id": "h_demand",
            "name": "Demand within other limits",
            "sat": {
                "strategy": "demand",
                "min_f": low + 0.7,
                "max_f": high - 1.3,
                "oat_min_f": 52.0,
                "oat_max_f": 78.0,
                "ignored_requests": 4,
            },
            "dsp": {"strategy": "demand", "min_inwc": 0.45, "max_inwc": 0.85 * dsp, "ignored_requests": 1},
        },
        {
            "id": "h_low_dsp",
            "name": "Fixed low DSP",
            "sat": "as_found",
            "dsp": {"strategy": "fixed", "setpoint_inwc": 0.62 * dsp},
        },
        {
            "id": "h_dsp_demand",
            "name": "DSP by demand, other range",
            "sat": {"strategy": "fixed", "setpoint_f": low + 1.3},
            "dsp": {"strategy": "demand", "min_inwc": 0.6, "ignored_requests": 5},
        },
        {
            "id": "h_optimal",
            "name": "Cost optimal to a lower limit, DSP by outdoor air",
            "sat": {"strategy": "cost_optimal", "max_f": high - 1.7},
            "dsp": {"strategy": "outdoor_air", "points": [[45, 0.45 * dsp], [80, 0.95 * dsp]]},
        },
    ]


def drawn(seed: int, design_sat, sat_max, dsp, count: int = DRAWN) -> list[dict]:
    """Strategies drawn at random, each with another; no choice of rows can have been made with them in mind."""
    rng = np.random.default_rng([seed, 1])

    def between(low, high):
        return round(float(rng.uniform(low, high)), 2)

    def falling(low, high, first, last):
        """Points of a reset line with two to four outdoor temperatures, at least 2 degF apart."""
        n = int(rng.integers(2, 5))
        temperatures = np.sort(rng.uniform(first, last, n)) + 2.0 * np.arange(n)
        values = np.sort(rng.uniform(low, high, n))[::-1]
        return [[round(float(t), 2), round(float(v), 2)] for t, v in zip(temperatures, values)]

    def sat():
        low = between(design_sat, design_sat + 2.0)
        high = between(low + 1.0, max(sat_max, low + 1.0))
        first = between(45.0, 65.0)
        return (
            lambda: "as_found",
            lambda: {"strategy": "fixed", "setpoint_f": between(design_sat, sat_max)},
            lambda: {"strategy": "outdoor_air", "points": falling(design_sat, sat_max, 25.0, 85.0)},
            lambda: {
                "strategy": "demand",
                "min_f": low,
                "max_f": high,
                "oat_min_f": first,
                "oat_max_f": between(first + 3.0, first + 30.0),
                "ignored_requests": int(rng.integers(0, 9)),
            },
            lambda: {"strategy": "cost_optimal", "min_f": low, "max_f": high},
        )[int(rng.integers(5))]()

    def pressure():
        low = between(0.25, 0.6)
        return (
            lambda: "as_found",
            lambda: {"strategy": "fixed", "setpoint_inwc": between(0.4 * dsp, dsp)},
            lambda: {
                "strategy": "outdoor_air",
                "points": [
                    [t, v] for (t, _), v in zip(falling(0, 1, 25.0, 85.0), np.sort(rng.uniform(0.3 * dsp, dsp, 4)))
                ],
            },
            lambda: {
                "strategy": "airflow",
                "points": [
                    [between(20, 45), between(0.3 * dsp, 0.6 * dsp)],
                    [between(70, 100), between(0.7 * dsp, dsp)],
                ],
                "flow_error_frac": between(-0.1, 0.1),
            },
            lambda: {
                "strategy": "demand",
                "min_inwc": low,
                "max_inwc": between(max(0.6 * dsp, low + 0.1), dsp),
                "ignored_requests": int(rng.integers(0, 9)),
            },
        )[int(rng.integers(5))]()

    out = []
    for n in range(count):
        record = {"sat": sat(), "dsp": pressure()}
        words = [r if isinstance(r, str) else r["strategy"] for r in record.values()]
        out.append(
            {"id": f"d_{n + 1}_{words[0]}_{words[1]}", "name": f"Drawn {n + 1}: {words[0]}, {words[1]}", **record}
        )
    return out


DEMOS = {path.stem: path for path in sorted(ROOT.glob("demo_projects/*/*.toml"))}


def projects_of(name: str):
    """A project of the evidence with its own candidates; with those that edits are judged by; and with all, held out
    and drawn too."""
    if name in DEMOS:
        own = read_project(DEMOS[name])
        raw = tomllib.loads(DEMOS[name].read_text(encoding="utf-8"))
        more = [own.air_handler.design_sat_f, own.limits.sat_max_f, own.fan.design_dsp_inwc]
        raw["candidate"] = raw.get("candidate", []) + held_out(*more) + drawn(list(DEMOS).index(name), *more)
        return own, own, project_from_mapping(raw, DEMOS[name].parent)
    raw = generated(int(name.split()[1]))
    few = [c for c in raw["candidate"] if not c["id"].startswith("d_")]
    return tuple(
        project_from_mapping(raw | {"candidate": listed}, ROOT / "tests") for listed in ([], few, raw["candidate"])
    )


def figures_error(figures, hourly, base, base_hourly) -> dict[str, float]:
    """Errors of annual figures against hourly ones: cost [%], saving [points], end uses [% of all energy]."""
    total = site_kbtu(hourly)
    saved = 1.0 - figures["cost_usd"] / base["cost_usd"]
    saved_hourly = 1.0 - hourly["cost_usd"] / base_hourly["cost_usd"]
    out = {
        "cost_pct": 100.0 * (figures["cost_usd"] / hourly["cost_usd"] - 1.0),
        "saving_points": 100.0 * (saved - saved_hourly),
    }
    for key in ENERGY_KEYS:
        out[key + "_pct"] = 100.0 * (end_use_kbtu(figures, key) - end_use_kbtu(hourly, key)) / total
    return out


END_USES = tuple(key + "_pct" for key in ENERGY_KEYS)


def seen_candidates(own, project, results, weather) -> set[str]:
    """The project's own candidates, and those whose setpoints are, in every running hour, those of a reference
    setting."""
    unit = results.unit
    rows = Rows.of(unit, build_conditions(weather, project))
    moving = moving_sats_f(own, unit, rows)
    settings = reference_settings(own, unit, rows, moving)
    known = [(s.sat_f, s.dsp_inwc) for listed in settings.values() for s in listed]
    # Costs at moving temperatures are read from tables, whatever the duct pressure.
    known += [(sat, None) for sat in moving]
    seen = {c.id for c in own.candidates}
    for c in project.candidates:
        if c.overrides or c.sat.strategy == "cost_optimal":
            continue
        s = setpoints(unit, c, rows.on, rows.loads)
        if any(
            np.abs(s.sat_f - sat).max() < 0.05 and (dsp is None or np.abs(s.dsp_inwc - dsp).max() < 0.01)
            for sat, dsp in known
        ):
            seen.add(c.id)
    return seen


def errors_of(name: str, own, project, weather):
    """One line a candidate of the project: errors of rows chosen for its ``own`` candidates, and of classic mean bins.

    Returns the table, the results of the own candidates, with which the rows were chosen, and the results of the
    project on those rows.
    """
    started = time.perf_counter()
    chosen = estimate(own, weather)
    seconds = time.perf_counter() - started
    results = estimate(project, weather, held=dataclasses.replace(chosen.held, optimal_sat={}, pulled_f={}))
    seen = seen_candidates(own, project, results, weather)
    base = results.baseline
    lines = []
    for c in results.candidates:
        line = {
            "project": name,
            "candidate": c.id,
            "seen": c.id in seen,
            "zones": len(project.zones),
            "rows": len(results.row_table),
        }
        line |= figures_error(c.annual, c.hourly, base.annual, base.hourly)
        classic = figures_error(c.classic, c.hourly, base.classic, base.hourly)
        line |= {"classic_" + k: classic[k] for k in ("cost_pct", "saving_points")}
        line["classic_end_use_pct"] = max((classic[k] for k in END_USES), key=abs)
        line["hours_error"] = c.annual["hours"] - c.hourly["hours"]
        line["seconds"] = seconds
        lines.append(line)
    return pd.DataFrame(lines), chosen, results


def edits(project) -> dict[str, dict]:
    """Moderate edits of inputs as overrides by path."""
    loads, flows = {}, {}
    for g in project.groups:
        path = f"group.{g.name}."
        loads |= {
            path + "lights_w_ft2": 1.2 * g.lights_w_ft2,
            path + "equipment_w_ft2": 1.2 * g.equipment_w_ft2,
            path + "people_ft2": g.people_ft2 / 1.2,
        }
        flows |= {
            path + "minimum_flow_frac": 0.5 * g.minimum_flow_frac,
            path + "minimum_unoccupied_frac": 0.5 * g.minimum_unoccupied_frac,
        }
    for z in project.zones:
        if z.min_cfm is not None:
            flows[f"zone.{z.name}.min_cfm"] = 0.5 * z.min_cfm
    low, high = project.limits.sat_min_f, project.limits.sat_max_f
    # Inputs refuse supply air less than 3 degF colder than a cooling setpoint.
    warmest = (
        min(
            [g.cooling_setpoint_f for g in project.groups]
            + [z.cooling_setpoint_f for z in project.zones if z.cooling_setpoint_f]
        )
        - 3.0
    )
    tops = [c.sat.max_f for c in project.candidates if c.sat.strategy in ("demand", "cost_optimal")]
    return {
        "internal loads +20 %": loads,
        "minimum flows halved": flows,
        "warmest SAT +3 F": {"limits.sat_max_f": min(high + 3.0, warmest)},
        "warmest SAT -3 F": {"limits.sat_max_f": max(high - 3.0, low + 1.0)},
        "coldest SAT -3 F": {"limits.sat_min_f": low - 3.0},
        "coldest SAT +3 F": {"limits.sat_min_f": min(low + 3.0, *(top - 1.0 for top in (high, *tops)))},
        "electricity price x 2": {"prices.electricity_usd_kwh": 2.0 * project.prices.electricity_usd_kwh},
        "all prices x 2": {
            f"prices.{k}": 2.0 * getattr(project.prices, k)
            for k in ("electricity_usd_kwh", "fuel_usd_therm", "cooling_usd_kbtu", "heat_usd_kbtu")
        },
    }


def held_errors_of(name: str, project, weather, results) -> pd.DataFrame:
    """Cost of an edited project on held rows against a fresh hourly run of it, with the same sizes.

    ``cost_pct``: rows and weights are held, all else follows the edit. ``live_cost_pct``: the
    setpoints of the cost-optimal search and the night block are held as well, as in a live
    workbook, where they are marked as stale.
    """
    lines = []
    for edit, overrides in edits(project).items():
        changed = project.with_overrides(overrides)
        held = estimate(changed, weather, held=dataclasses.replace(results.held, optimal_sat={}, pulled_f={}))
        nights = {}
        for c in held.candidates:
            run = held.runs[c.id]
            duct = night_duct(run.unit, run.project.schedule, c.candidate.dsp)
            key = (run.site, None if duct is None else c.candidate.dsp)
            if key not in nights:
                conditions = build_conditions(weather, run.project)
                nights[key] = night_totals(
                    run_nights(run.unit, conditions, zone_loads(run.unit, conditions), run.project.schedule, duct)
                )
            night_usd = [annual_cost_usd(n, run.unit.prices) for n in (run.night, nights[key])]
            fresh = c.hourly["cost_usd"] - night_usd[0] + night_usd[1]
            live = c.annual["cost_usd"]
            if c.id in results.held.optimal_sat:
                parts = run_parts(run.unit, c.candidate, run.rows, (), results.held.optimal_sat[c.id])
                live = annual_figures(run.unit, run.rows, parts, run.night)["cost_usd"]
            lines.append(
                {
                    "project": name,
                    "edit": edit,
                    "candidate": c.id,
                    "optimal": c.id in results.held.optimal_sat,
                    "cost_pct": 100.0 * (c.annual["cost_usd"] / c.hourly["cost_usd"] - 1.0),
                    "live_cost_pct": 100.0 * (live / fresh - 1.0),
                }
            )
    return pd.DataFrame(lines)


def broken(table: pd.DataFrame, held: pd.DataFrame | None = None) -> list[str]:
    """Bounds that are broken, in words."""
    out = []

    def bound(values, limit, what):
        worst = float(values.abs().max(skipna=False))  # an error that is no number is none that is known
        if not worst <= limit:
            out.append(f"{what}: {worst:.3f}, bound {limit}")

    bound(table["cost_pct"], 100.0 * COST_ERROR_FRAC, "annual cost [%]")
    bound(table["saving_points"], SAVING_ERROR_POINTS, "saving [points]")
    for key in END_USES:
        bound(table[key], 100.0 * END_USE_ERROR_FRAC, f"{key} of all HVAC energy")
    bound(table["hours_error"], 1e-6, "hours")
    bound(table["rows"], MAX_ROWS, "rows")
    if held is not None:
        bound(held["cost_pct"], 100.0 * HELD_ERROR_FRAC, "cost on held rows [%]")
    return out


def worst_lines(table: pd.DataFrame, columns, count=5) -> pd.DataFrame:
    """The lines with the largest error in any of the columns."""
    return table.loc[table[list(columns)].abs().max(axis=1).nlargest(count).index]


def describe(project) -> str:
    c, z = project, project.zones
    minimum = max(g.minimum_flow_frac for g in c.groups)
    mode = "never unoccupied" if all(g.always_on for g in c.groups) else c.schedule.unoccupied_mode
    return (
        f"{len(z)} zones, minimum {100 * minimum:.0f} %, {c.cooling.type} + {c.heating.type}, {mode}, OA "
        f"{c.outdoor_air.control}, "
        f"{c.economizer.type}{'' if c.economizer.stuck_frac is None else ' stuck'}, {c.weather.file}"
        f"{'' if c.weather.pressure_psia is None else ', at altitude'}"
    )


def run_one(job):
    """Worker: errors of one project."""
    name, with_edits = job
    own, edited, project = projects_of(name)
    weather = read_weather(
        find_weather(project.weather.file, project.source_dir),
        whole_f=project.weather.whole_f,
        pressure_psia=project.weather.pressure_psia,
    )
    table, chosen, results = errors_of(name, own, project, weather)
    held = held_errors_of(name, edited, weather, results) if with_edits else None
    return name, describe(project), table, held, chosen.selection


def main(arguments=None) -> int:
    parser = argparse.ArgumentParser(description="Errors of representative rows against hourly runs")
    parser.add_argument("--quick", action="store_true", help="a few projects only")
    parser.add_argument("--csv", help="write the whole table to this file")
    parser.add_argument("--no-edits", action="store_true", help="leave the edits on held rows out")
    parser.add_argument("--jobs", type=int, default=1, help="processes")
    parser.add_argument("--seeds", help="these seeds only, such as 101,105")
    options = parser.parse_args(arguments)
    names = (
        [f"seed {s}" for s in options.seeds.split(",")]
        if options.seeds
        else list(
            [f"seed {s}" for s in (QUICK_SEEDS if options.quick else SEEDS)] + ([] if options.quick else list(DEMOS))
        )
    )
    jobs = [(name, not options.no_edits) for name in names]
    tables, helds = [], []
    if options.jobs > 1:
        from multiprocessing import Pool

        pool = Pool(options.jobs)
        stream = pool.imap(run_one, jobs)
    else:
        stream = map(run_one, jobs)
    for name, text, table, held, _selection in stream:
        tables.append(table)
        unseen, own = table[~table["seen"]], table[table["seen"]]
        line = (
            f"{name:14s} rows {table['rows'].iloc[0]:3d}  own: cost {own['cost_pct'].abs().max():.2f} %  saving "
            f"{own['saving_points'].abs().max():.2f} pt"
            f"  held out: cost {unseen['cost_pct'].abs().max():.2f} %  saving "
            f"{unseen['saving_points'].abs().max():.2f} pt"
            f"  end use {unseen[list(END_USES)].abs().to_numpy().max():.2f} %  classic: cost "
            f"{unseen['classic_cost_pct'].abs().max():5.2f} %"
            f"  saving {unseen['classic_saving_points'].abs().max():.2f} pt"
        )
        if held is not None:
            helds.append(held)
            line += f"  held {held['cost_pct'].abs().max():.2f} %"
        print(line + f"  [{table['seconds'].iloc[0]:.1f} s]  {text}", flush=True)
    table = pd.concat(tables, ignore_index=True)
    held = pd.concat(helds, ignore_index=True) if helds else None
    if options.csv:
        table.to_csv(options.csv, index=False)
        if held is not None:
            held.to_csv(Path(options.csv).with_suffix(".edits.csv"), index=False)
    evidence = table[~table["seen"]]
    print(
        f"\n{table['project'].nunique()} projects, {len(table)} candidates, {len(evidence)} of them held out, "
        f"{len(END_USES)} end uses each"
    )
    show = [
        "project",
        "candidate",
        "rows",
        "cost_pct",
        "saving_points",
        *END_USES,
        "classic_cost_pct",
        "classic_saving_points",
    ]
    with pd.option_context("display.width", 250, "display.max_columns", 30, "display.float_format", "{:.3f}".format):
        for what, columns in (("annual cost", ["cost_pct"]), ("saving", ["saving_points"]), ("end uses", END_USES)):
            print(f"\nWorst by {what}:")
            print(worst_lines(evidence, columns)[show].to_string(index=False))
        if held is not None:
            worst = held.groupby("edit", sort=False)["cost_pct"].agg(lambda v: v.abs().max()).to_frame("rows held")
            for what, chosen in (("live, other strategies", ~held["optimal"]), ("live, cost optimal", held["optimal"])):
                worst[what] = held[chosen].groupby("edit")["live_cost_pct"].agg(lambda v: v.abs().max())
            print(
                "\nHeld rows after an edit against a fresh hourly run, worst cost error [%]; live: optimal setpoints "
                "and nights held too"
            )
            print(worst.to_string())
            print(worst_lines(held, ["cost_pct"]).drop(columns="optimal").to_string(index=False))
    failures = broken(table, held)
    print("\n" + ("\n".join("BROKEN " + f for f in failures) if failures else "All bounds hold."))
    return 1 if failures else 0


if __name__ == "__main__":
    sys.exit(main())
