"""Which slips in formulas are found: every name in every formula off by 1 %, over changed inputs and options.

    python -m tests.slips
    python -m tests.slips --seeds 5 --refused 100 --list

Small projects that between them have the plants, options and floating rows stand for all; each is run as it is and
again with all numbers that its formulas read changed at once, by up to a tenth, on the rows and sizes of the first run.
Every run compares its formulas with the engine (``live/pen.py``), so that a slip can show only where it moves its
formula in some row of some run. Printed: pairs of a formula and a name in it (steps of a search count as one), and how
many of them move in the runs of the projects as they are, and in all runs. ``--refused`` draws pairs, writes the slip
into the formula and builds the workbooks again: that many are refused.
"""

from __future__ import annotations

import argparse
import random
import re
import sys
from contextlib import contextmanager
from functools import cache
from pathlib import Path

import numpy as np

if __package__:  # run as a module: helpers stand beside it
    sys.path.insert(0, str(Path(__file__).parent))

from builders import FILES, PLAIN, project_of, weather_of, zones_with
from test_live import _SOME, FLOATING, OTHERS, floated, other

from binestimator.errors import FormulaFault, InputError
from binestimator.estimate import estimate
from binestimator.workbook.live.formulas import Scope, names_in
from binestimator.workbook.write import build_workbook

SLIP = 1.01
# A formula moves if some value does by more than this share of its largest.
MOVES = 1e-6
MOST_CHANGE = 0.1

_SURVEY = {"survey_flow_cfm": 1200, "survey_damper_pct": 80, "survey_dsp_inwc": 1.2}
_ZONES = [dict(zone) for zone in PLAIN["zone"]]
_ZONES[0] |= {"sat_max_f": 62.0, "importance": 0.7, "cooling_setpoint_f": 74.5}
_ZONES[1] |= {"sat_max_f": 64.0, "rogue": "failed_sensor", "roof_ft2": 900, "glass_east_ft2": 60, "glass_west_ft2": 80}
_ZONES[2] |= _SURVEY
_LOOPS = {
    "sat": {"strategy": "demand", "ignored_requests": 5, "override_frac": 0.2, "override_f": 56},
    "dsp": {"strategy": "demand", "ignored_requests": 2, "override_frac": 0.1, "override_inwc": 1.2},
}
_TABLES = {
    "sat": {"strategy": "as_found", "points": [[40.0, 60.0], [70.0, 55.0]], "points_unoccupied": [[50, 62], [60, 58]]},
    "dsp": {"strategy": "outdoor_air", "points": [[40.0, 1.0], [70.0, 1.4]]},
}
#: Kind -> weather, changes of the plain project.
KINDS = {
    **{kind: (place, changes) for kind, (place, changes, _) in OTHERS.items()},
    **{kind: ("greensboro", changes) for kind, (changes, _) in FLOATING.items()},
    "loops": (
        "miami",
        {
            **_SOME,
            "zone": _ZONES,
            "limits": {"humidity": "room_dewpoint"},
            "heating": {"type": "boiler", "enabled_unoccupied": True, "pump_control": "variable"},
            "fan": {"measured_cfm": 6000, "measured_total_inwc": 2.5, "measured_kw": 4.0},
            "outdoor_air": {"minimum_cfm": None},
            "cooling": {"type": "direct_expansion", "cycling_drying_loss_frac": 0.5},
            "candidate": [
                {"id": "as_found", "cost_usd": 100},
                {"id": "loops", "name": "Loops", "cost_usd": 9000, "incentive_usd": 1000, **_LOOPS},
                {"id": "tables", "name": "Tables", "incentive_usd": 50, "cost_usd": 4000, **_TABLES},
            ],
        },
    ),
    "other_load": (
        "sand_point",
        {
            **_SOME,
            "zone": zones_with(heating_law="dual_maximum", heat_min_cfm=400, min_cfm=300, roof_ft2=500),
            "outdoor_air": {"control": "position", "position_frac": 0.25},
            "economizer": {"type": "differential_dry_bulb"},
            "cooling": {
                "chiller_set": "air_cooled_from_150_ton",
                "other_load_tons": 20,
                "other_load_zero_f": 45,
                "capacity_tons": 70,
            },
            "heating": {"type": "purchased", "pump_control": "variable"},
            "preheat": {"type": "electric"},
            "prices": {"heat_usd_kbtu": 0.02},
            "candidate": [
                {"id": "as_found"},
                {"id": "both", "name": "Both by demand", "sat": "demand", "dsp": "demand"},
                {
                    "id": "own",
                    "name": "Fewer hours",
                    "kind": "companion",
                    "sat": "outdoor_air",
                    "dsp": "airflow",
                    "override": {"fan.motor_hp": 20, "heating.enabled_below_f": 60},
                },
            ],
        },
    ),
}
assert all(place in FILES for place, _ in KINDS.values())


def override_path(path: str) -> str:
    """Path of an override of an input of the registry."""
    return re.sub(r"\[([^\]]*)\]", r".\1", path)


@cache
def base(kind: str):
    """Project, results, pen and templates of a kind as it is."""
    if kind in OTHERS or kind in FLOATING:
        project, results = other(kind) if kind in OTHERS else floated(kind)
    else:
        place, changes = KINDS[kind]
        project = project_of(**{**changes, "weather": {"file": FILES[place]}})
        results = estimate(project, weather_of(place))
    with templates_kept() as kept:
        _, pen = build_workbook(results)
    return project, results, pen, kept


@contextmanager
def templates_kept():
    """Templates of all formulas that are written meanwhile, as a set."""
    kept, plain = set(), Scope.formula

    def keep(self, template):
        kept.add(template)
        return plain(self, template)

    Scope.formula = keep
    try:
        yield kept
    finally:
        Scope.formula = plain


def numbers_read(pen, results) -> list[str]:
    """Paths of inputs that formulas read and that are numbers, or points."""
    values = {row[0]: row[2] for row in results.project.effective_rows()}
    read = dict.fromkeys(path if path in values else path.rpartition(".")[0] for path in sorted(pen.registry.read))
    return [
        path
        for path in read
        if isinstance(value := values[path], tuple) or (isinstance(value, (int, float)) and type(value) is not bool)
    ]


def _changed(value, rng: random.Random):
    by = lambda: 1.0 + rng.uniform(-MOST_CHANGE, MOST_CHANGE)
    if isinstance(value, tuple):
        return tuple((x, y * by()) for x, y in value)
    return value + rng.choice((0, 1)) if isinstance(value, int) else value * by()


def changed_project(kind: str, seed: int):
    """The project with all numbers that formulas read changed, but for those whose change it does not allow."""
    project, results, pen, _ = base(kind)
    rng = random.Random(f"{kind} {seed}")
    values = {row[0]: row[2] for row in project.effective_rows()}
    wanted = {path: _changed(values[path], rng) for path in numbers_read(pen, results)}

    def accepted(project, paths):
        try:
            return project.with_overrides({override_path(path): wanted[path] for path in paths}), paths
        except InputError:
            if len(paths) == 1:
                return project, []
        done = []
        for part in (paths[: len(paths) // 2], paths[len(paths) // 2 :]):
            project, more = accepted(project, part)
            done += more
        return project, done

    return accepted(project, list(wanted))


@cache
def changed_run(kind: str, seed: int):
    """Results on the rows and sizes of the first run, and the paths that were changed."""
    _, results, _, _ = base(kind)
    project, paths = changed_project(kind, seed)
    return estimate(project, weather_of(KINDS[kind][0]), held=results.held), paths


_STEP = re.compile(r"\{(?:s\d+|a|b)_|(?<=[a-z]_)\d+(?=\})")


def typed(template: str) -> str:
    """A template without numbers of steps and looks: as it is typed in the program."""
    return _STEP.sub(lambda found: "{" if found.group().startswith("{") else "k", template)


class _Slipped:
    """A scope, one name of which is off."""

    def __init__(self, scope, name: str):
        self._scope, self._name = scope, name

    def __getitem__(self, name: str):
        value = self._scope[name]
        return value * SLIP if name == self._name else value

    evaluate, evaluate_by_row = Scope.evaluate, Scope.evaluate_by_row


class Pairs:
    """Pairs of a formula and a name in it, and those whose formula has moved; one of each as it was met."""

    def __init__(self):
        self.all: set[tuple[str, str]] = set()
        self.moved: set[tuple[str, str]] = set()
        self.drawn_from: dict[tuple[str, str], tuple[str, str]] = {}

    @contextmanager
    def watched(self):
        """Slip each name of each formula that is evaluated meanwhile, where it has not moved yet."""
        plain, by_row = Scope.evaluate, Scope.evaluate_by_row

        def evaluate(scope, template):
            value = plain(scope, template)
            self._slip(scope, template, value, lambda other: plain(other, template))
            return value

        def evaluate_by_row(scope, template, rows, width):
            value = by_row(scope, template, rows, width)
            self._slip(scope, template, value, lambda other: by_row(other, template, rows, width))
            return value

        Scope.evaluate, Scope.evaluate_by_row = evaluate, evaluate_by_row
        try:
            yield self
        finally:
            Scope.evaluate, Scope.evaluate_by_row = plain, by_row

    def _slip(self, scope, template, value, again) -> None:
        value = np.asarray(value, dtype=float)
        known = np.isfinite(value)
        scale = float(np.abs(value[known]).max()) if known.any() else 0.0
        for name in names_in(template):
            if np.asarray(scope[name]).dtype.kind not in "fiub":
                continue  # words
            pair = typed(template), typed(f"{{{name}}}")
            self.all.add(pair)
            self.drawn_from.setdefault(pair, (template, name))
            if pair in self.moved:
                continue
            found = np.asarray(again(_Slipped(scope, name)), dtype=float)
            apart = np.where(np.isfinite(found) & known, np.abs(found - np.where(known, value, 0.0)), 0.0)
            if (np.isfinite(found) != known).any() or float(apart.max()) > MOVES * max(scale, 1e-9):
                self.moved.add(pair)


def measure(kinds, seeds: int):
    """Pairs after the runs of the projects as they are, and after the changed ones as well."""
    pairs = Pairs()
    for kind in kinds:
        with pairs.watched():
            build_workbook(base(kind)[1])
    alone = len(pairs.all), len(pairs.moved)
    for kind in kinds:
        for seed in range(1, seeds + 1):
            results, _ = changed_run(kind, seed)
            with pairs.watched():
                build_workbook(results)
    return pairs, alone


@contextmanager
def slipped(template: str, name: str):
    """The slip in one formula, in its text and as it is evaluated."""
    plain = {what: getattr(Scope, what) for what in ("formula", "evaluate", "evaluate_by_row")}
    wrong = template.replace(f"{{{name}}}", f"({{{name}}}*{SLIP})")
    for what, call in plain.items():
        setattr(
            Scope,
            what,
            lambda self, text, *more, call=call: call(self, wrong if text == template else text, *more),
        )
    try:
        yield
    finally:
        for what, call in plain.items():
            setattr(Scope, what, call)


def refused(pair, runs) -> bool:
    """Whether one of the runs refuses its workbook with the slip."""
    with slipped(*pair):
        for results in runs:
            try:
                build_workbook(results)
            except FormulaFault:
                return True
    return False


def main(arguments: list[str] | None = None) -> int:
    """Measure and print."""
    reader = argparse.ArgumentParser(description=__doc__.split("\n")[0])
    reader.add_argument("--seeds", type=int, default=4, help="changed runs of each project (default 4)")
    reader.add_argument("--refused", type=int, default=0, help="slips to draw and to write into their formula")
    reader.add_argument("--list", action="store_true", help="print the pairs that never move")
    asked = reader.parse_args(arguments)
    pairs, (count, moved) = measure(KINDS, asked.seeds)
    share = 100 * moved / count
    print(f"{len(KINDS)} projects as they are: {moved} of {count} pairs move by a slip of 1 % ({share:.1f} %)")
    share = 100 * len(pairs.moved) / len(pairs.all)
    print(f"with {asked.seeds} changed runs of each: {len(pairs.moved)} of {len(pairs.all)} ({share:.1f} %)")
    if asked.list:
        for template, name in sorted(pairs.all - pairs.moved, key=lambda pair: (pair[1], pair[0])):
            print(f"  {name}: {template[:200]}")
    if asked.refused:
        drawn = random.Random(1).sample(sorted(pairs.drawn_from.values()), min(asked.refused, len(pairs.all)))
        runs = {kind: [base(kind)[1], *(changed_run(kind, seed)[0] for seed in (1, 2))] for kind in KINDS}
        kept = []
        for pair in drawn:
            having = [results for kind in KINDS if pair[0] in base(kind)[3] for results in runs[kind]]
            if not refused(pair, having):
                kept.append(pair)
        print(f"{len(drawn) - len(kept)} of {len(drawn)} slips drawn are refused; not refused:")
        for template, name in kept:
            print(f"  {name}: {template[:150]}")
    return 0


if __name__ == "__main__":
    sys.exit(main())
