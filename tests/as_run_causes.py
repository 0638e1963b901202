"""Savings of resets by demand as run, and what parts them from rooms at rest, over many projects.

    python -m tests.as_run_causes                 demo projects and twelve generated ones, some fifteen minutes
    python -m tests.as_run_causes --seeds 101,105 these generated projects only
    python -m tests.as_run_causes --csv causes.csv

Between rooms at rest and the run lies a third: rooms at rest that release the heat which rooms of the run
released (``binestimator.as_run.room_heat``). From the first to the third the mass of rooms is the only
difference, from the third to the run the loops. Bounds are on the loops, since the closed form of demand
claims where they settle: savings within 0.5 points and end uses within 2 %. The mass of rooms is reported.
Generated projects are those of ``tests.accuracy``, with the default candidates. Exit status 1 if a bound is
broken.
"""

from __future__ import annotations

import argparse
import sys
from pathlib import Path

import pandas as pd

from binestimator.as_run.audit import audit
from binestimator.as_run.report import END_USE_FRAC, LEAST_COST_FRAC, SAVING_POINTS, by_demand, with_as_run
from binestimator.end_uses import END_USES
from binestimator.estimate import estimate
from binestimator.weather import find_weather, read_weather
from tests.accuracy import DEMOS, projects_of

SEEDS = tuple(range(101, 113))
#: Of a demo those whose rows are the table of tests/README.md, where it has them.
OPTIONS = ("sat_demand", "dsp_demand", "sat_demand_dsp_demand", "economizer_repaired_resets")


def causes_of(name: str, project, weather) -> pd.DataFrame:
    """A line for each option of a project that goes by requests."""
    results = estimate(project, weather)
    ids = {c.id for c in results.candidates} & set(OPTIONS)
    results = with_as_run(results, audit(results, only=sorted(ids)))
    lines = []
    for id_ in by_demand(results):
        rest, run = results.as_run_points(id_)
        by_heat, by_loops = results.as_run_causes(id_)
        found = results.as_run[id_]
        uses = end_use_changes(results, id_)
        worst = max(uses, key=lambda key: abs(uses[key]), default=None)
        lines.append(
            {
                "project": name,
                "option": id_,
                "at_rest": rest,
                "as_run": run,
                "by_room_heat": by_heat,
                "by_loops": by_loops,
                "sat_f": found.annual["mean_sat_f"],
                "sat_closed_f": found.with_room_heat["mean_sat_f"],
                "dsp_inwc": found.annual["mean_dsp_inwc"],
                "dsp_closed_inwc": found.with_room_heat["mean_dsp_inwc"],
                "end_use": worst,
                "end_use_frac": uses.get(worst, 0.0),
            }
        )
    return pd.DataFrame(lines)


def end_use_changes(results, candidate_id: str) -> dict[str, float]:
    """End uses as run over those of rooms that release the same heat, less 1; of those that matter to the cost."""
    found, prices = results.as_run[candidate_id], results.runs[candidate_id].unit.prices
    return {
        use.key: found.annual[use.key] / found.with_room_heat[use.key] - 1.0
        for use in END_USES
        if found.with_room_heat[use.key] * getattr(prices, use.price) >= LEAST_COST_FRAC * found.annual["cost_usd"]
    }


def broken(table: pd.DataFrame) -> list[str]:
    """Lines beyond a bound, in words."""
    return [
        f"{line.project} {line.option}: loops {line.by_loops:+.2f} points, {line.end_use} "
        f"{100 * line.end_use_frac:+.1f} %"
        for line in table.itertuples()
        if not (abs(line.by_loops) <= SAVING_POINTS and abs(line.end_use_frac) <= END_USE_FRAC)
    ]


def project_and_weather(name: str):
    """A demo or generated project with its own candidates, and its weather."""
    project = projects_of(name)[0]
    weather = read_weather(
        find_weather(project.weather.file, project.source_dir),
        whole_f=project.weather.whole_f,
        pressure_psia=project.weather.pressure_psia,
    )
    return project, weather


def main(arguments=None) -> int:
    parser = argparse.ArgumentParser(description="What parts resets by demand as run from rooms at rest")
    parser.add_argument("--seeds", help="these generated projects only, such as 101,105")
    parser.add_argument("--csv", type=Path, help="write the table to this file")
    options = parser.parse_args(arguments)
    seeds = options.seeds.split(",") if options.seeds else SEEDS
    demos = [] if options.seeds else [name for name in DEMOS if name != "clinic_position"]
    tables = []
    for name in [*demos, *(f"seed {seed}" for seed in seeds)]:
        tables.append(causes_of(name, *project_and_weather(name)))
        for line in tables[-1].itertuples():
            print(
                f"{name:14s} {line.option:28s} at rest {line.at_rest:6.2f} %  as run {line.as_run:6.2f} %  room heat "
                f"{line.by_room_heat:+6.2f}  loops {line.by_loops:+6.2f} points  SAT {line.sat_f:.2f} "
                f"({line.sat_closed_f:.2f})  DSP {line.dsp_inwc:.3f} ({line.dsp_closed_inwc:.3f})  {line.end_use} "
                f"{100 * line.end_use_frac:+.1f} %",
                flush=True,
            )
    table = pd.concat(tables, ignore_index=True)
    if options.csv:
        table.to_csv(options.csv, index=False)
    within = lambda points: int((points.abs() <= SAVING_POINTS).sum())
    at_rest, with_heat = within(table["as_run"] - table["at_rest"]), within(table["by_loops"])
    print(
        f"\n{table['project'].nunique()} projects, {len(table)} options. Within {SAVING_POINTS:g} points of the run: "
        f"rooms at rest {at_rest}, with the same room heat {with_heat}"
    )
    failures = broken(table)
    print("\n".join("BROKEN " + f for f in failures) if failures else "All bounds hold.")
    return 1 if failures else 0


if __name__ == "__main__":
    sys.exit(main())
