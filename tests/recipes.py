"""The recipes of DEVELOPERS.md for a strategy and for an end use, followed step by step in a copy of the package.

    python -m tests.recipes [--no-recalculation] [--keep FOLDER]

A supply temperature strategy with an input of its own (warm below a changeover temperature, cold above it) and an end
use (lamps at the cooling coil) are put into the copy, by the files that the recipes name and no others. Then the
command estimates a small project with them, and what it wrote is looked through: results file, terminal, workbook,
checks. The workbook is computed anew by LibreOffice.
"""

from __future__ import annotations

import argparse
import json
import os
import shutil
import subprocess
import sys
import tempfile
from pathlib import Path

from openpyxl.utils import range_boundaries

if not __package__:  # loaded by name, as tests are
    from books import Book
    from recalculation import Spreadsheet, compare_books
else:
    from .books import Book
    from .recalculation import Spreadsheet, compare_books

ROOT = Path(__file__).resolve().parent.parent
STRATEGY, END_USE = "changeover", "coil_lamps_kwh"
LAMPS_W_CFM = 0.04


def after(anchor: str, added: str) -> tuple[str, str]:
    """A replacement that adds text behind one that stands in the file."""
    return anchor, anchor + added


def before(anchor: str, added: str) -> tuple[str, str]:
    """A replacement that adds text before one that stands in the file."""
    return anchor, added + anchor


#: Recipe of a strategy: file -> replacements, each of a text that stands there once.
STRATEGY_STEPS = {
    "inputs/inputs.csv": (
        # Its name among the choices, its name with the inputs that it shares, a row for its own input.
        after("as_found|fixed|outdoor_air|demand|cost_optimal", f"|{STRATEGY}"),
        after('limits.sat_min_f when not given",,strategy=demand|cost_optimal|cost_seeking', f"|{STRATEGY}"),
        after('limits.sat_max_f when not given",,strategy=demand|cost_optimal|cost_seeking', f"|{STRATEGY}"),
        before(
            "sat,override_frac,control,",
            f"sat,changeover_f,control,float,degF,30,90,62,,{STRATEGY}: outdoor temperature at and above which the "
            f"setpoint is the coldest,assumption: made up for the recipe,strategy={STRATEGY},Changeover temperature\n",
        ),
    ),
    "strategies/registry.py": (
        after("from . import airflow, as_found", ", changeover"),
        after("    cost_optimal.SAT,\n", "    changeover.SAT,\n"),
    ),
}
STRATEGY_MODULE = '''"""Warm supply air below a changeover temperature, cold at and above it."""

from __future__ import annotations

import numpy as np

from .strategy import SatStrategy


class ChangeoverSat(SatStrategy):
    """Two supply air temperatures by outdoor temperature."""

    name = "changeover"
    words = "by changeover"
    about = "warm below an outdoor temperature, cold at and above it"
    resets = True

    def setpoint_f(self, record, rows, top_f):
        free = np.where(rows.conditions.oat_f >= record.changeover_f, record.min_f, record.max_f)
        return np.minimum(free, top_f)

    def say(self, record):
        return f"{super().say(record)}, coldest at and above {record.changeover_f:g} °F outdoors"

    def parameters(self, record, sheet):
        super().parameters(record, sheet)
        sheet.input("changeover_f")

    def formula(self, record, sheet):
        sheet.column("sat_free", "By changeover", "°F", "IF({oat_f}>={p.sat_changeover_f},{p.sat_low},{p.sat_high})")
        return "MIN({sat_free},{sat_top})"


SAT = ChangeoverSat()
'''

#: Recipe of an end use, as above.
END_USE_STEPS = {
    "model/system/states.py": (before("    electricity_kw: np.ndarray\n", "    coil_lamps_kw: np.ndarray\n"),),
    "model/system/rows.py": (
        before('        "fuel_thermh": heat.fuel', f'        "coil_lamps_kw": {LAMPS_W_CFM} * a.flow / 1000.0,\n'),
    ),
    "end_uses.py": (
        before(
            '    EndUse(\n        key="fuel_therm",',
            f"""    EndUse(
        key="{END_USE}",
        unit="kWh",
        label="Coil lamps",
        word="coil lamps",
        contains="Lamps at the cooling coil while the fan runs",
        rates=("coil_lamps_kw",),
        column="coil_lamps_kw",
        column_label="Lamps at the coil",
        formula="{LAMPS_W_CFM}*{{flow_cfm}}/1000",
        heading="Lamps",
        keeps=8,
    ),
""",
        ),
    ),
}

PROJECT = """
[project]
name = "Recipes"
default_candidates = false

[weather]
file = "723170TYA.CSV"

[[group]]
name = "office"

[[zone]]
name = "South"
area_ft2 = 2000
ua_btuh_f = 250
glass_south_ft2 = 200
infiltration_cfm = 40

[[zone]]
name = "Core"
area_ft2 = 4000

[sat.changeover]
max_f = 63

[[candidate]]
id = "as_found"
name = "As found"
sat = "as_found"
dsp = "as_found"
baseline = true

[[candidate]]
id = "two_temperatures"
name = "Two temperatures"
sat = "changeover"
dsp = "as_found"

[[candidate]]
id = "two_and_demand"
name = "Two temperatures and demand"
sat = { strategy = "changeover", changeover_f = 58 }
dsp = "demand"
"""


def follow(steps: dict[str, tuple[tuple[str, str], ...]], package: Path) -> None:
    """Put the replacements of a recipe into a copy of the package; each must find its place once."""
    for name, pairs in steps.items():
        path = package / name
        text = path.read_text(encoding="utf-8")
        for old, new in pairs:
            assert text.count(old) == 1, f"{name}: {old!r} stands there {text.count(old)} times"
            text = text.replace(old, new)
        path.write_text(text, encoding="utf-8")


def copied(folder: Path) -> Path:
    """Copy of the package with both recipes followed, and the files of the project beside it."""
    package = folder / "binestimator"
    shutil.copytree(ROOT / "binestimator", package, ignore=shutil.ignore_patterns("__pycache__"))
    follow(STRATEGY_STEPS, package)
    (package / "strategies" / f"{STRATEGY}.py").write_text(STRATEGY_MODULE, encoding="utf-8")
    follow(END_USE_STEPS, package)
    shutil.copy(ROOT / "weather" / "723170TYA.CSV", folder)
    (folder / "recipes.toml").write_text(PROJECT, encoding="utf-8")
    return package


def command(folder: Path) -> subprocess.CompletedProcess:
    """The command of the copy, run on the project."""
    return subprocess.run(
        [sys.executable, "-m", "binestimator", "estimate", "recipes.toml", "--out", "out"],
        cwd=folder,
        env={**os.environ, "PYTHONPATH": str(folder)},
        capture_output=True,
        text=True,
        timeout=600,
    )


def estimated(folder: Path) -> tuple[str, dict, bytes]:
    """What the command of the copy prints, its results file and its workbook."""
    done = command(folder)
    assert done.returncode == 0, done.stdout + done.stderr
    data = json.loads((folder / "out" / "recipes.json").read_text(encoding="utf-8"))
    return done.stdout, data, (folder / "out" / "recipes.xlsx").read_bytes()


def looked_through(printed: str, data: dict, book: bytes) -> None:
    """Strategy and end use wherever a user would look for them, and the checks of the run."""
    candidates = {c["id"]: c for c in data["candidates"]}
    assert [c["sat"]["strategy"] for c in candidates.values()] == ["as_found", STRATEGY, STRATEGY]
    # Counted on its own route: the lamps are a share of the airflow, which the results give as a mean.
    for c in candidates.values():
        a = c["annual"]
        wanted = LAMPS_W_CFM / 1000.0 * a["mean_flow_cfm"] * a["running_hours"]
        assert abs(a[END_USE] - wanted) < 1e-9 * wanted, (a[END_USE], wanted)
        uses = ("fan_kwh", "cooling_kwh", "pump_tower_kwh", "heating_kwh", END_USE)
        assert abs(a["electricity_kwh"] - sum(a[use] for use in uses)) < 1e-6
        assert c["saving"][END_USE] == candidates["as_found"]["annual"][END_USE] - a[END_USE]
    changed = candidates["two_temperatures"]["annual"]
    assert changed["mean_sat_f"] > candidates["as_found"]["annual"]["mean_sat_f"] + 1.0
    assert changed["sat_at_max_hours"] > 0.0 and changed["sat_at_min_hours"] > 0.0
    assert [k["name"] for k in data["checks"] if k["status"] == "fail"] == []
    balance = [k for k in data["checks"] if "balance" in k["name"].lower()]
    assert balance and all(k["status"] == "pass" for k in balance)
    assert "two_temperatures" in printed and "Lamps" in printed and "kWh" in printed

    formulas = Book(book)
    texts = {
        sheet.title: [str(cell) for row in sheet.iter_rows(values_only=True) for cell in row if cell is not None]
        for sheet in Book(book, data_only=True).worksheets
    }
    said = "by changeover from 55 to 63 °F, coldest at and above 62 °F outdoors"
    assert any(said in text for found in texts.values() for text in found)
    # On the sheets of inputs and of setpoints; on each candidate's; where end uses are compared.
    for label, least in (("Changeover temperature", 2), ("Lamps at the coil", 3), ("Coil lamps", 3)):
        where = [title for title, found in texts.items() if label in found]
        assert len(where) >= least, (label, where)
    ours = [formulas[title] for title, found in texts.items() if "By changeover" in found]
    ours = [sheet for sheet in ours if any(c.value == "By changeover" for row in sheet["A1:IV8"] for c in row)]
    assert len(ours) == 2, [sheet.title for sheet in ours]
    for sheet in ours:
        heads = {cell.value: cell.column for row in sheet["A1:IV8"] for cell in row if isinstance(cell.value, str)}
        for label in ("By changeover", "Lamps at the coil"):
            assert is_formula(sheet, 40, heads[label]), label


def is_formula(sheet, row: int, column: int) -> bool:
    """Whether a cell has a formula of its own, or an array formula fills it."""
    if str(sheet.cell(row, column).value).startswith("="):
        return True
    areas = [
        cell.value.ref for (cell,) in sheet.iter_rows(min_col=column, max_col=column) if hasattr(cell.value, "ref")
    ]
    return any(first <= row <= last for _, first, _, last in map(range_boundaries, areas))


def run(folder: Path, recalculate: bool = True) -> int:
    """Follow the recipes in a folder, look through what comes of it; returns the number of cells computed anew."""
    copied(folder)
    printed, data, book = estimated(folder)
    looked_through(printed, data, book)
    if not recalculate:
        return 0
    (folder / "spreadsheet").mkdir()
    found = Spreadsheet(folder / "spreadsheet").recalculated({"recipes": book})["recipes"]
    return compare_books("recipes", book, found)


def main() -> None:
    """Command line."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--no-recalculation", action="store_true", help="leave LibreOffice out")
    parser.add_argument("--keep", type=Path, metavar="FOLDER", help="a new folder, to look at what was made")
    options = parser.parse_args()
    folder = options.keep or Path(tempfile.mkdtemp(prefix="recipes-"))
    folder.mkdir(parents=True, exist_ok=True)
    try:
        count = run(folder, not options.no_recalculation)
    finally:
        if options.keep is None:
            shutil.rmtree(folder, ignore_errors=True)
    print("Both recipes work as written" + (f"; {count:,} numbers computed anew are the same." if count else "."))


if __name__ == "__main__":
    main()
