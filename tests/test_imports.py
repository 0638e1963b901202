"""Imports run one way, from inputs to the command line, without circles."""

import ast
from functools import cache
from pathlib import Path

import pytest

PACKAGE = Path(__file__).parents[1] / "binestimator"

#: Later parts may import earlier ones.
LINE = (
    "inputs",
    "weather",
    "climate",
    "hours",
    "rates",
    "model",
    "strategies",
    "bins",
    "selection",
    "money",
    "service",
    "benchmarks",
    "row_accuracy",
    "findings",
    "checks",
    "estimate",
    "advice",
    "as_run",
    "ranges",
    "handover",
    "trends",
    "realised",
    "workbook",
    "terminal",
    "steps",
    "console",
    "quick",
    "commands",
    "cli",
    "__main__",
)
#: Beside the line: what each may import. Everything may import them.
BESIDE = {
    "dataclass": set(),
    "errors": {"dataclass"},
    "seal": {"dataclass"},
    "writing": {"dataclass", "errors", "seal"},
    "named": set(),
    "parallel": set(),
    "units": set(),
    "moist_air": {"named", "units"},
    "end_uses": {"dataclass", "units"},
    "results": {"dataclass", "end_uses", "errors"},
    "__init__": set(),
}


def _parts():
    found = {}
    for path in sorted(PACKAGE.rglob("*.py")):
        parts = path.relative_to(PACKAGE).with_suffix("").parts
        found[path] = parts
    return found


def _part(module):
    return module[0]


def _run_nodes(tree):
    """All statements but those that only type checkers read. Expressions hold no imports."""
    waiting = [tree]
    while waiting:
        node = waiting.pop()
        if isinstance(node, ast.If) and isinstance(node.test, ast.Name) and node.test.id == "TYPE_CHECKING":
            waiting += node.orelse
        elif isinstance(node, ast.Module | ast.stmt | ast.excepthandler | ast.match_case):
            yield node
            waiting += ast.iter_child_nodes(node)


@cache
def imported(path, parts):
    """Modules of the package that a file imports anywhere: tuples of names after the package.

    What stands under ``if TYPE_CHECKING:`` is never run: names of types in annotations.
    """
    return tuple(_imported(path, parts))


def _imported(path, parts):
    package = parts[:-1]
    for node in _run_nodes(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            for alias in node.names:
                names = alias.name.split(".")
                if names[0] == "binestimator":
                    yield tuple(names[1:]) or ("__init__",)
        elif isinstance(node, ast.ImportFrom):
            if node.level:
                base = package[: len(package) - node.level + 1]
                names = (*base, *(node.module.split(".") if node.module else ()))
            elif node.module and node.module.split(".")[0] == "binestimator":
                names = tuple(node.module.split(".")[1:])
            else:
                continue
            if names:
                yield names
            if not names or (PACKAGE.joinpath(*names)).is_dir():
                for alias in node.names:
                    target = (*names, alias.name)
                    if PACKAGE.joinpath(*target).is_dir() or PACKAGE.joinpath(*target).with_suffix(".py").is_file():
                        yield target
                    elif not names:
                        yield ("__init__",)


FILES = _parts()


def test_every_part_has_a_place():
    """A new part of the package must be put on the line or beside it."""
    parts = {_part(module) for module in FILES.values()}
    assert parts <= set(LINE) | set(BESIDE)
    assert {"inputs", "weather", "hours", "model", "strategies", "bins", "selection", "money", "estimate"} <= parts


@pytest.mark.parametrize("path", FILES, ids=lambda path: "/".join(FILES[path]))
def test_imports_run_one_way(path):
    own = _part(FILES[path])
    for module in imported(path, FILES[path]):
        other = _part(module)
        if other == own:
            continue
        if own in BESIDE:
            assert other in BESIDE[own], f"{own} imports {other}"
        elif other not in BESIDE:
            assert LINE.index(other) < LINE.index(own), f"{own} imports {other}, which comes later"


def test_no_circles_between_modules():
    """Within a part, too, no two modules need each other."""
    graph = {}
    for path, parts in FILES.items():
        name = parts[:-1] if parts[-1] == "__init__" else parts
        graph[name] = {
            module[:-1] if module[-1] == "__init__" else module
            for module in imported(path, parts)
            if path.name != "__init__.py"
        }
    done, active = set(), []

    def visit(name):
        assert name not in active, f"circle: {' -> '.join('.'.join(n) for n in (*active, name))}"
        if name in done or name not in graph:
            return
        active.append(name)
        for other in sorted(graph[name]):
            if other != name:
                visit(other)
        active.pop()
        done.add(name)

    for name in sorted(graph):
        visit(name)


def test_walk_sees_relative_absolute_and_late_imports(tmp_path):
    """The walk itself finds the imports it is meant to judge."""
    file = tmp_path / "x.py"
    file.write_text("from ..errors import Finding\nfrom . import fan\nimport binestimator.bins\n"
                    "def f():\n    from binestimator.money import prices\n"
                    "if TYPE_CHECKING:\n    from .loads import ZoneLoads\nelse:\n    from . import plant\n",
                    encoding="utf-8")  # fmt: skip
    found = set(imported(file, ("model", "x")))
    assert {("errors",), ("model", "fan"), ("bins",), ("money", "prices"), ("model", "plant")} <= found
    assert ("model", "loads") not in found
