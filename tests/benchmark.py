"""Speed of the whole command as a ratio, measured in one run.

    python -m tests.benchmark
    python -m tests.benchmark --pairs 15 --project demo_projects/clinic/clinic.toml
    python -m tests.benchmark --all

Machines differ, so nothing is timed against the clock: the command ``binestimator estimate``
(the project's default eight candidates, or with ``--all`` all of them; bins, hourly audit, workbook) runs in turns with
a fresh interpreter that does nothing but import the six run-time packages, and the ratio of the two is reported.
Bounds: ratio of the least times, and median of the pairs, below 3 (the clinic, which runs all hours: 4); peak memory
of the command below 300 MB (350). Exit status 1 if one is broken. Run it on an idle machine.

Where the time goes is measured once more inside one process: reading, sizing, choice of
rows, candidates, workbook, results file.
"""

from __future__ import annotations

import argparse
import contextlib
import json
import os
import statistics
import subprocess
import sys
import tempfile
import time
from dataclasses import replace
from pathlib import Path

from binestimator.inputs import DEFAULT_CANDIDATES, read_project
from binestimator.inputs.write import project_to_toml
from binestimator.weather import find_weather

ROOT = Path(__file__).parents[1]
OFFICE = ROOT / "demo_projects" / "office" / "office.toml"
PACKAGES = "pandas, numpy, pvlib, scipy, openpyxl, xlsxwriter"
#: Most times the bare import and most memory [MB], by the name of the project file.
BOUNDS = {"clinic": (4.0, 350.0)}
BOUND = (3.0, 300.0)


def run_once(arguments: list[str], environment: dict[str, str]) -> tuple[float, float, float]:
    """Wall time [s], peak memory [MB] and processor time [s] of a child process; its output is thrown away."""
    start = time.perf_counter()
    process = subprocess.Popen(arguments, stdout=subprocess.DEVNULL, cwd=ROOT, env=environment)
    _, status, usage = os.wait4(process.pid, 0)
    seconds = time.perf_counter() - start
    process.returncode = os.waitstatus_to_exitcode(status)
    if process.returncode:
        raise SystemExit(f"{' '.join(arguments)}: exit code {process.returncode}")
    # Linux counts in KiB, macOS in bytes.
    return seconds, usage.ru_maxrss / (1e6 if sys.platform == "darwin" else 1024.0), usage.ru_utime + usage.ru_stime


def together_mb(arguments: list[str], environment: dict[str, str]) -> float | None:
    """Peak memory of a child process with the copies that it makes of itself, what they share counted once [MB]; None
    where the system does not tell."""
    process = subprocess.Popen(arguments, stdout=subprocess.DEVNULL, cwd=ROOT, env=environment)
    peak = 0
    while process.poll() is None:
        kib = 0
        with contextlib.suppress(OSError):  # one of them has just ended
            children = Path(f"/proc/{process.pid}/task/{process.pid}/children").read_text().split()
            for one in (process.pid, *children):
                lines = Path(f"/proc/{one}/smaps_rollup").read_text().splitlines()
                kib += sum(int(line.split()[1]) for line in lines if line.startswith("Pss:"))
        peak = max(peak, kib)
        time.sleep(0.01)
    return peak / 1024.0 or None


SHARES = """
import json, sys, time
marks = [("start", time.perf_counter())]
mark = lambda name: marks.append((name, time.perf_counter()))
import binestimator.workbook.write as book
from binestimator.estimate import run as engine, running
from binestimator.inputs.read import read_project
from binestimator.results import to_plain
from binestimator.steps import weather_of
from binestimator.terminal import comparison
mark("imports")
inside = {}
def timed(owner, name, label):
    plain = getattr(owner, name)
    def call(*args, **kwargs):
        begin = time.perf_counter()
        try:
            return plain(*args, **kwargs)
        finally:
            inside[label] = inside.get(label, 0.0) + time.perf_counter() - begin
    setattr(owner, name, call)
for name, label in (("build_conditions", "hours and sun"), ("choose_rows", "choice of rows"), ("size_unit", "sizing"),
                    ("run_nights", "night runs"), ("run_checks", "checks")):
    timed(engine if hasattr(engine, name) else running, name, label)
project = read_project(sys.argv[1]); mark("project file")
weather = weather_of(project); mark("weather file")
results = engine.estimate(project, weather); mark("estimate")
comparison(results); mark("terminal text")
content = book.workbook_bytes(results); mark("workbook")
text = json.dumps(to_plain(results)); mark("results file")
parts = {name: at - before for (_, before), (name, at) in zip(marks, marks[1:])}
print(json.dumps({"parts": parts, "inside": inside, "rows": len(results.row_table), "zones": len(project.zones),
                  "candidates": len(results.candidates), "bytes": len(content)}))
"""


def shares(project: Path) -> dict:
    """Seconds of every step of a run in one process."""
    done = subprocess.run(
        [sys.executable, "-c", SHARES, str(project)],
        capture_output=True,
        text=True,
        check=True,
        cwd=ROOT,
        env={**os.environ, "OPENBLAS_NUM_THREADS": "1"},
    )  # as the command sets it
    return json.loads(done.stdout)


def with_default_candidates(path: Path, folder: Path) -> Path:
    """The project without candidates beyond the default ones, as a file in the folder."""
    project = read_project(path)
    weather = str(Path(find_weather(project.weather.file, project.source_dir)).resolve())
    sections = {**project.given.sections, "weather": {**project.given.sections["weather"], "file": weather}}
    if project.info.zones_csv:
        zones = str((path.parent / project.info.zones_csv).resolve())
        sections["project"] = {**sections["project"], "zones_csv": zones}
    listed = [values for values in project.given.candidates if values["id"] in DEFAULT_CANDIDATES]
    copy = folder / path.name
    copy.write_text(
        project_to_toml(replace(project, given=replace(project.given, sections=sections, candidates=listed))),
        encoding="utf-8",
    )
    wanted = [c.id for c in project.candidates if c.id in DEFAULT_CANDIDATES]
    if [c.id for c in read_project(copy).candidates] != wanted:
        raise SystemExit(f"{path}: candidates of the copy are not {', '.join(wanted)}")
    return copy


def main(arguments: list[str] | None = None) -> int:
    """Measure, print, and say by the exit status whether the bounds hold."""
    reader = argparse.ArgumentParser(description=__doc__.split("\n")[0])
    reader.add_argument("--pairs", type=int, default=7, help="runs of each (default 7)")
    reader.add_argument("--project", type=Path, default=OFFICE)
    reader.add_argument("--all", action="store_true", help="with candidates beyond the default eight")
    asked = reader.parse_args(arguments)
    with tempfile.TemporaryDirectory() as folder:
        project = asked.project.resolve()
        if not asked.all:
            project = with_default_candidates(project, Path(folder))
        return measured(project, asked.pairs)


def measured(project: Path, count: int) -> int:
    """Measure one project file and print; exit status."""
    pairs = []
    most_ratio, most_mb = BOUNDS.get(project.stem, BOUND)
    with tempfile.TemporaryDirectory() as folder:
        command = [sys.executable, "-m", "binestimator", "estimate", str(project), "--out", folder]
        bare = [sys.executable, "-c", f"import {PACKAGES}"]
        # Compiled modules are kept, as where the package was installed: some environments forbid it, for our modules
        # alone, since libraries were compiled when they were installed.
        environment = {key: value for key, value in os.environ.items() if key != "PYTHONDONTWRITEBYTECODE"}
        environment["PYTHONPYCACHEPREFIX"] = str(Path(folder) / "compiled")
        run_once(bare, environment), run_once(command, environment)  # fills caches
        for _ in range(count):
            pairs.append((run_once(bare, environment), run_once(command, environment)))
        together = together_mb(command, environment)
    imports = [one[0] for one, _ in pairs]
    whole = [two[0] for _, two in pairs]
    ratio = min(whole) / min(imports)
    median = statistics.median(two[0] / one[0] for one, two in pairs)
    work = min(two[2] for _, two in pairs) / min(one[2] for one, _ in pairs)
    memory = max(max(two[1] for _, two in pairs), together or 0.0)
    print(
        f"bare import of {PACKAGES}: least {min(imports):.2f} s, median {statistics.median(imports):.2f} s, "
        f"{max(one[1] for one, _ in pairs):.0f} MB"
    )
    print(
        f"binestimator estimate {project.name}: least {min(whole):.2f} s, median {statistics.median(whole):.2f} s, "
        f"peak {memory:.0f} MB"
    )
    print(
        f"ratio of the least times {ratio:.2f}, median of {len(pairs)} pairs {median:.2f} (at most {most_ratio:g}); "
        f"memory, copies of the process included, at most {most_mb:g} MB"
    )
    print(f"ratio of the least processor times {work:.2f} (for judging on a busy machine)")

    found = shares(project)
    total = sum(found["parts"].values())
    print(
        f"\n{found['candidates']} candidates, {found['zones']} zone lines, {found['rows']} rows, workbook of "
        f"{found['bytes'] / 1e6:.2f} MB; one process, {total:.2f} s:"
    )
    for name, seconds in found["parts"].items():
        print(f"  {name:<14} {seconds:6.3f} s  {100 * seconds / total:5.1f} %")
        if name == "estimate":
            for label, part in found["inside"].items():
                print(f"    {label:<14} {part:6.3f} s")
    return 0 if max(ratio, median) < most_ratio and memory < most_mb else 1


if __name__ == "__main__":
    sys.exit(main())
