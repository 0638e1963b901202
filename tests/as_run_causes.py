"""Savings of resets by demand as run, and what parts them from rooms at rest, over many projects.

    python -m tests.as_run_causes                 demo projects and twelve generated ones, some fifteen minutes
    python -m tests.as_run_causes --seeds 101,105 these generated projects only
    python -m tests.as_run_causes --csv causes.csv
    python -m tests.as_run_causes --terms         what further terms in closed form would bring, a fifth longer

Between rooms at rest and the run lies a third: rooms at rest that release the heat which rooms of the run
released (``binestimator.as_run.room_heat``). From the first to the third the mass of rooms is the only
difference, from the third to the run the loops. Bounds are on the loops, since the closed form of demand
claims where they settle: savings within 0.5 points and end uses within 2 %. The mass of rooms is reported.
Terms that were tried and are not in the bins: the room heat of the baseline's run for all options, and the
start of loops every morning (``STARTS``).
Generated projects are those of ``tests.accuracy``, with the default candidates. Exit status 1 if a bound is
broken.
"""

from __future__ import annotations

import argparse
import sys
from contextlib import ExitStack
from pathlib import Path
from unittest import mock

import numpy as np
import pandas as pd

from binestimator.as_run import audit as audits
from binestimator.as_run.audit import audit, dsp_tuning, sat_tuning
from binestimator.as_run.report import END_USE_FRAC, LEAST_COST_FRAC, SAVING_POINTS, by_demand, with_as_run
from binestimator.end_uses import END_USES
from binestimator.estimate import Rows, estimate, with_charges
from binestimator.hours import build_conditions
from binestimator.strategies import choose, demand
from binestimator.weather import find_weather, read_weather
from tests.accuracy import DEMOS, projects_of

SEEDS = tuple(range(101, 113))
#: Of a demo those whose rows are the table of tests/README.md, where it has them.
OPTIONS = ("sat_demand", "dsp_demand", "sat_demand_dsp_demand", "economizer_repaired_resets")


#: How loops move at their start, each as a term of the hour in which the unit starts: which loops, and how far between
#: the response to one request and the largest they respond.
STARTS = {"slow": (("sat", "dsp"), 0.0), "mean": (("sat", "dsp"), 0.5), "fast": (("sat", "dsp"), 1.0),
          "dsp": (("dsp",), 1.0)}  # fmt: skip


def causes_of(name: str, project, weather, terms: bool = False) -> pd.DataFrame:
    """A line for each option of a project that goes by requests; with ``terms`` what further terms leave of the
    difference."""
    results = estimate(project, weather)
    ids = {c.id for c in results.candidates} & set(OPTIONS)
    given: dict[str, tuple] = {}

    def kept(unit, rows, candidate, released, night, searched=None):
        given[candidate.id] = unit, rows, candidate, released, night, searched
        return figures(unit, rows, candidate, released, night, searched)

    figures = audits.figures_with_room_heat
    with mock.patch.object(audits, "figures_with_room_heat", kept):
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
                "uses_at_rest_frac": max(map(abs, end_use_changes(results, id_, at_rest=True).values()), default=0.0),
            }
            | (_left_by_terms(results, id_, given) if terms else {})
        )
    return pd.DataFrame(lines)


def _left_by_terms(results, candidate_id: str, given) -> dict[str, float]:
    """Points of saving that are left of the difference from the run, by term."""
    found, base = results.as_run[candidate_id], results.as_run[results.baseline_id]
    run = results.as_run_points(candidate_id)[1]
    charges = results[candidate_id].charges

    def left(released, *patches) -> float:
        unit, rows, candidate, _, night, searched = given[candidate_id]
        with ExitStack() as stack:
            for patch in patches:
                stack.enter_context(patch)
            closed = with_charges(
                audits.figures_with_room_heat(unit, rows, candidate, released, night, searched), charges
            )
        return run - 100.0 * (1.0 - closed["cost_usd"] / base.with_room_heat["cost_usd"])

    own = given[candidate_id][3]
    out = {"baselines_heat": left(given[results.baseline_id][3])}
    for word, (parts, share) in STARTS.items():
        out[f"start_{word}"] = left(own, *_starting(results, candidate_id, given[candidate_id][1], parts, share))
    as_is = run - 100.0 * (1.0 - found.with_room_heat["cost_usd"] / base.with_room_heat["cost_usd"])
    assert abs(left(own) - as_is) < 1e-6, "the figures that are varied are those of the run"
    return out


def mean_excess(start, settled, loop, share: float):
    """Mean over an hour of what a loop that starts at ``start`` lies above where it settles, in closed form.

    It stands for the delay and goes on a straight line then: back by the trim, or by the response to one request and
    a ``share`` of the way from there to the largest.
    """
    gap = np.abs(start - settled)
    responds = (settled > start) if loop.respond > 0.0 else (settled < start)
    one, most = abs(loop.respond), abs(loop.respond_most)
    speed = np.where(responds, one + share * (most - one), abs(loop.trim)) / loop.step_min
    still = min(loop.delay_min, 60.0)
    moving = 60.0 - still
    reaches = gap / speed
    area = gap * still + np.where(reaches <= moving, gap * reaches / 2.0, gap * moving - speed * moving**2 / 2.0)
    return np.sign(start - settled) * area / 60.0


def _starting(results, candidate_id: str, rows: Rows, parts, share: float):
    """Patches under which demand setpoints have the start of their loops in the hour in which the unit starts."""
    candidate, run = results[candidate_id].candidate, results.runs[candidate_id]
    on = build_conditions(results.weather, run.project).fan_on > 0.0
    first = (on & ~np.roll(on, 1)).astype(float)
    tuning, plain_dsp, plain_sat = run.project.as_run, choose.dsp_setpoint_inwc, demand.DemandSat.setpoint_f

    def dsp_at(unit, record, conditions, loads, sat_f):
        found = plain_dsp(unit, record, conditions, loads, sat_f)
        loop = dsp_tuning(unit, record, tuning)
        return found + first[conditions.hour_of_year] * mean_excess(loop.start, found, loop, share)

    def sat_at(self, record, rows, top_f):
        found, loop = plain_sat(self, record, rows, top_f), sat_tuning(record, tuning)
        warmest = demand.outdoor_envelope_f(
            rows.conditions.oat_f, record.max_f, record.min_f, record.oat_min_f, record.oat_max_f
        )
        top = np.maximum(np.minimum(warmest, top_f), record.min_f)
        excess = mean_excess(np.minimum(loop.start, top), found, loop, share)
        return np.clip(found + first[rows.conditions.hour_of_year] * excess, record.min_f, top)

    patches = []
    if "dsp" in parts and choose.dsp_strategy(candidate.dsp).listens:
        patches.append(mock.patch.object(choose, "dsp_setpoint_inwc", dsp_at))
    if "sat" in parts and choose.sat_strategy(candidate.sat).listens:
        patches.append(mock.patch.object(demand.DemandSat, "setpoint_f", sat_at))
    return patches


def end_use_changes(results, candidate_id: str, at_rest: bool = False) -> dict[str, float]:
    """End uses as run over those of rooms that release the same heat, or of rooms at rest, less 1; of those that matter
    to the cost."""
    found, prices = results.as_run[candidate_id], results.runs[candidate_id].unit.prices
    closed = results[candidate_id].hourly if at_rest else found.with_room_heat
    return {
        use.key: found.annual[use.key] / closed[use.key] - 1.0
        for use in END_USES
        if closed[use.key] * getattr(prices, use.price) >= LEAST_COST_FRAC * found.annual["cost_usd"]
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
    parser.add_argument("--terms", action="store_true", help="what further terms in closed form would bring")
    options = parser.parse_args(arguments)
    seeds = options.seeds.split(",") if options.seeds else SEEDS
    demos = [] if options.seeds else [name for name in DEMOS if name != "clinic_position"]
    tables = []
    for name in [*demos, *(f"seed {seed}" for seed in seeds)]:
        tables.append(causes_of(name, *project_and_weather(name), terms=options.terms))
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
    small = lambda fractions, most: int((fractions.abs() <= most).sum())
    for most in (END_USE_FRAC, 0.03):
        print(
            f"All end uses within {100 * most:g} %: rooms at rest {small(table['uses_at_rest_frac'], most)}, with the "
            f"same room heat {small(table['end_use_frac'], most)}"
        )
    for term in [column for column in table if column == "baselines_heat" or column.startswith("start_")]:
        print(f"{term:15s} {within(table[term])} within, mean {table[term].abs().mean():.3f} points")
    failures = broken(table)
    print("\n".join("BROKEN " + f for f in failures) if failures else "All bounds hold.")
    return 1 if failures else 0


if __name__ == "__main__":
    sys.exit(main())
