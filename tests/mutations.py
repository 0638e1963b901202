"""Small wrong changes of the physics, one at a time: which ones do the tests notice?

    python -m tests.mutations
    python -m tests.mutations --count 100 --seed 2 --only model/night.py
    python -m tests.mutations --count 20 --seed 2 --part 1/4

A seeded sample of all places of the modules below. In a copy of the package one of them is changed (a comparison moved
or turned, + and -, * and /, least and most, "and" and "or" swapped, a constant changed, a term or factor dropped), and
the tests of that module run, fast ones first, without those that need a spreadsheet program. Printed: mutants that
survive, and the score. Not all that survive are faults: slacks for rounding, starting points of a search, and branches
that give the same.
"""

from __future__ import annotations

import argparse
import ast
import os
import random
import shutil
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from pathlib import Path

try:
    from parts import of_share, share
except ModuleNotFoundError:  # run as a module from the folder above
    from tests.parts import of_share, share

ROOT = Path(__file__).parents[1]
# Formulas tell the physics a second time: where no test of a module notices, they may.
_FORMULAS = ("test_formula_gate.py -k largest_residual", "test_changed_inputs.py -k first_change")
#: Module -> its tests, in stages: the next one runs only where those before passed.
TESTS: dict[str, tuple[str, ...]] = {
    "model/air_handler.py": ("test_air_handler.py test_system.py", "test_strategies.py test_limits.py"),
    "model/build.py": ("test_terminals.py test_system.py test_defaults.py", "test_estimate.py"),
    "model/fan.py": ("test_fan.py", "test_system.py"),
    "model/floating.py": ("test_system.py", "test_floating.py"),
    "model/loads.py": ("test_loads.py test_terminals.py", "test_system.py"),
    "model/night.py": ("test_night.py", "test_estimate.py"),
    "model/night_rooms.py": ("test_night.py", "test_estimate.py"),
    "model/plant/cooling.py": ("test_plant.py", "test_system.py test_estimate.py"),
    "model/plant/heating.py": ("test_plant.py", "test_system.py test_estimate.py"),
    "model/plant/published.py": ("test_plant.py", "test_system.py test_estimate.py"),
    "model/system/air.py": (
        "test_system.py test_air_handler.py",
        "test_estimate.py test_strategies.py",
        "test_floating.py",
    ),
    "model/system/balance.py": (
        "test_system.py test_air_handler.py",
        "test_estimate.py test_strategies.py",
        "test_floating.py",
    ),
    "model/system/coils.py": (
        "test_system.py test_air_handler.py",
        "test_estimate.py test_strategies.py",
        "test_floating.py",
    ),
    "model/system/floats.py": (
        "test_system.py test_air_handler.py",
        "test_estimate.py test_strategies.py",
        "test_floating.py",
    ),
    "model/system/rows.py": (
        "test_system.py test_air_handler.py",
        "test_estimate.py test_strategies.py",
        "test_floating.py",
    ),
    "model/system/states.py": (
        "test_system.py test_air_handler.py",
        "test_estimate.py test_strategies.py",
        "test_floating.py",
    ),
    "model/terminals.py": ("test_terminals.py", "test_system.py test_strategies.py"),
    "model/unit.py": ("test_terminals.py test_strategies.py",),
    "strategies/airflow.py": ("test_strategies.py",),
    "strategies/as_found.py": ("test_strategies.py", "test_estimate.py"),
    "strategies/outdoor_air.py": ("test_strategies.py",),
    "strategies/choose.py": ("test_strategies.py", "test_estimate.py"),
    "strategies/cost_optimal.py": ("test_strategies.py",),
    "strategies/demand.py": ("test_strategies.py",),
    "strategies/limits.py": ("test_strategies.py test_limits.py",),
    "strategies/tables.py": ("test_strategies.py",),
    "money/payback.py": ("test_money.py",),
    "money/prices.py": ("test_money.py", "test_estimate.py"),
    "service.py": ("test_service.py",),
    "end_uses.py": ("test_end_uses.py", "test_estimate.py"),
    "estimate/bound.py": ("test_estimate.py",),
    "estimate/choice.py": ("test_estimate.py test_selection.py",),
    "estimate/comparing.py": ("test_estimate.py", "test_limits.py"),
    "estimate/reports.py": ("test_estimate.py", "test_strategies.py"),
    "estimate/rows.py": ("test_estimate.py",),
    "estimate/run.py": ("test_estimate.py", "test_night.py test_service.py"),
    "estimate/running.py": ("test_estimate.py", "test_night.py test_service.py"),
    "estimate/sites.py": ("test_estimate.py",),
    "estimate/sizing.py": ("test_estimate.py", "test_defaults.py"),
}
_NO_FORMULAS = ("money", "service", "model/night", "estimate", "end_uses")
_TURNED = {
    ast.Lt: ast.LtE, ast.LtE: ast.Lt, ast.Gt: ast.GtE, ast.GtE: ast.Gt, ast.Eq: ast.NotEq, ast.NotEq: ast.Eq,
    ast.Is: ast.IsNot, ast.IsNot: ast.Is, ast.Add: ast.Sub, ast.Sub: ast.Add, ast.Mult: ast.Div, ast.Div: ast.Mult,
    ast.And: ast.Or, ast.Or: ast.And, ast.BitAnd: ast.BitOr, ast.BitOr: ast.BitAnd,
}  # fmt: skip
_REVERSED = {ast.Lt: ast.Gt, ast.LtE: ast.GtE, ast.Gt: ast.Lt, ast.GtE: ast.LtE}
_SWAPPED = {"minimum": "maximum", "maximum": "minimum", "min": "max", "max": "min", "any": "all", "all": "any"}


def _parts(node: ast.AST) -> Iterator[ast.AST]:
    """Nodes that compute: not messages, annotations, indexes and words."""
    if isinstance(node, ast.Raise | ast.JoinedStr | ast.Import | ast.ImportFrom):
        return
    yield node
    for name, value in ast.iter_fields(node):
        if name in ("annotation", "returns", "slice", "decorator_list", "type_params"):
            continue
        for child in value if isinstance(value, list) else [value]:
            if isinstance(child, ast.keyword) and child.arg in (
                "axis",
                "kind",
                "keepdims",
                "slots",
                "frozen",
                "kw_only",
            ):
                continue
            if isinstance(child, ast.AST):
                yield from _parts(child)


def mutants_of(source: str) -> list[tuple[int, str, Callable[[ast.Module], None]]]:
    """Line, words and change of every mutant of a module; a change works on a fresh tree of the same source."""
    found = []

    def add(at: int, node: ast.AST, words: str, change: Callable[[ast.AST], None]) -> None:
        found.append((node.lineno, words, lambda tree: change(list(_parts(tree))[at])))

    for at, node in enumerate(_parts(ast.parse(source))):
        if isinstance(node, ast.Compare) and len(node.ops) == 1:
            for table in (_TURNED, _REVERSED):
                other = table.get(type(node.ops[0]))
                if other:
                    words = f"{type(node.ops[0]).__name__} -> {other.__name__}"
                    add(at, node, words, lambda n, other=other: setattr(n, "ops", [other()]))
        elif isinstance(node, ast.BinOp | ast.BoolOp) and type(node.op) in _TURNED:
            other = _TURNED[type(node.op)]
            add(at, node, f"{type(node.op).__name__} -> {other.__name__}", lambda n, o=other: setattr(n, "op", o()))
            if isinstance(node, ast.BinOp) and isinstance(node.op, ast.Add | ast.Sub | ast.Mult | ast.Div):
                add(at, node, f"{type(node.op).__name__}: right side dropped", _left_only)
        elif isinstance(node, ast.Call):
            function = node.func
            name = getattr(function, "attr", None) or getattr(function, "id", "")
            if name in _SWAPPED:
                key = "attr" if isinstance(function, ast.Attribute) else "id"
                add(at, node, f"{name} -> {_SWAPPED[name]}",
                    lambda n, key=key, name=name: setattr(n.func, key, _SWAPPED[name]))  # fmt: skip
        elif isinstance(node, ast.Constant) and type(node.value) in (int, float):
            value = node.value
            other = value + 1 if isinstance(value, int) else value * 1.1 if value else 1.0
            add(at, node, f"{value!r} -> {other!r}", lambda n, other=other: setattr(n, "value", other))
    return found


def _left_only(node: ast.AST) -> None:
    """``a + b`` becomes ``a``: as the same kind of node, with nothing added."""
    neutral = 0 if isinstance(node.op, ast.Add | ast.Sub) else 1
    node.right = ast.Constant(neutral)


def _noticed(folder: Path, stages, seconds: float) -> str:
    """First stage that fails, ``time`` where one takes too long, nothing where all pass."""
    settings = {"PYTHONPATH": str(folder), "OPENBLAS_NUM_THREADS": "1", "PYTHONDONTWRITEBYTECODE": "1"}
    environment = {**os.environ, **settings}
    for stage in stages:
        files, _, words = stage.partition(" -k ")
        command = [sys.executable, "-m", "pytest", "-x", "-q", "-n", "0", "-p", "no:cacheprovider"]
        command += [f"tests/{file}" for file in files.split()]
        command += ["-k", words] if words else []
        try:
            done = subprocess.run(command, cwd=folder, env=environment, capture_output=True, timeout=seconds, text=True)
        except subprocess.TimeoutExpired:
            return "time"
        if done.returncode in (1, 2):  # 2: the module cannot even be imported
            said = [line for line in done.stdout.splitlines() if line.startswith(("FAILED", "ERROR"))]
            return (said or [stage])[0][:120]
        if done.returncode:
            raise SystemExit(
                f"{' '.join(command)}: exit code {done.returncode}\n{done.stdout[-500:]}{done.stderr[-500:]}"
            )
    return ""


def main(arguments: list[str] | None = None) -> int:
    """Run the sample, print each mutant and the score."""
    reader = argparse.ArgumentParser(description=__doc__.split("\n")[0])
    reader.add_argument("--count", type=int, default=80)
    reader.add_argument("--seed", type=int, default=1)
    reader.add_argument("--part", type=share, default=(1, 1), help="share k/n of the sample")
    reader.add_argument("--only", help="one module, as model/night.py")
    reader.add_argument("--seconds", type=float, default=400.0, help="most for a stage of tests (default 400)")
    asked = reader.parse_args(arguments)
    modules = [asked.only] if asked.only else list(TESTS)
    places = []
    for module in modules:
        source = (ROOT / "binestimator" / module).read_text(encoding="utf-8")
        places += [(module, k, line, words) for k, (line, words, _) in enumerate(mutants_of(source))]
    chosen = random.Random(asked.seed).sample(places, min(asked.count, len(places)))
    chosen = of_share(chosen, asked.part)
    survived, late = [], []
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        leave = shutil.ignore_patterns("__pycache__", ".*")
        for part in ("binestimator", "tests", "demo_projects", "weather"):
            shutil.copytree(ROOT / part, folder / part, ignore=leave)
        for file in ("pyproject.toml", "README.md", "DEVELOPERS.md"):
            shutil.copy(ROOT / file, folder / file)
        for n, (module, k, line, words) in enumerate(chosen, 1):
            path = folder / "binestimator" / module
            source = path.read_text(encoding="utf-8")
            tree = ast.parse(source)
            mutants_of(source)[k][2](tree)
            path.write_text(ast.unparse(ast.fix_missing_locations(tree)), encoding="utf-8")
            formulas = () if module.startswith(_NO_FORMULAS) else _FORMULAS
            start = time.monotonic()
            first, *others = TESTS[module]
            by = _noticed(folder, (first, *formulas, *others), asked.seconds)
            path.write_text(source, encoding="utf-8")
            said = f"{module}:{line}: {words}"
            print(f"{n} {said}: {by or 'SURVIVED'} ({time.monotonic() - start:.0f} s)", flush=True)
            if not by:
                survived.append(f"{said}: {source.splitlines()[line - 1].strip()}")
            elif by == "time":
                late.append(said)
    judged = len(chosen) - len(late)
    noticed = judged - len(survived)
    score = 100 * noticed / max(judged, 1)
    print(f"\n{noticed} of {judged} mutants noticed ({score:.0f} %), {len(late)} not judged in time;")
    print(f"{len(places)} places in all; seed {asked.seed}. Survivors:")
    print("\n".join(f"  {line}" for line in survived))
    return 0


if __name__ == "__main__":
    sys.exit(main())
