"""Any input ends in a correct result or in one clear message, and no file of a person is lost.

    python -m tests.robustness                     everything, about an hour
    python -m tests.robustness --part projects --count 500
    python -m tests.robustness --seed 7

Parts: ``projects`` (mutated texts of the demo projects and their zones files), ``weather`` (mutated typical years),
``workbooks`` (mutated forms and workbooks of results), ``edges`` (ends of ranges and counts, through to the workbook),
``faults`` (runs that are ended at a random moment, meet a locked target, or run twice at once). The rule: an exception
other than the package's own, a message of more than ``LONGEST_MESSAGE`` lines, a warning, more than ``SECONDS`` for one
case, exit code 3, or files that are neither the old nor the new pair count against the program.
"""

from __future__ import annotations

import argparse
import io
import json
import os
import random
import shutil
import signal
import subprocess
import sys
import tempfile
import time
import warnings
import zipfile
from pathlib import Path

from binestimator.errors import BinestimatorError
from binestimator.estimate import estimate
from binestimator.inputs.form import read_form
from binestimator.inputs.read import project_from_mapping, read_project
from binestimator.weather import read_weather
from binestimator.workbook.form import form_bytes
from binestimator.workbook.write import build_workbook, workbook_bytes

try:
    import edges
except ModuleNotFoundError:  # run as a module from the folder above
    from tests import edges

ROOT = Path(__file__).parents[1]
COUNTS = {"projects": 10_000, "weather": 1_000, "workbooks": 500, "edges": 300, "faults": 200}
#: Longest that one case may take. [s]
SECONDS, LARGEST_SECONDS = 60, 400
LONGEST_MESSAGE = 400
#: What is put into texts: signs and words that break readers.
BITS = [
    "",
    "\x00",
    "\t",
    "\ufeff",
    "“",
    "0,5",
    "[",
    "]",
    "{",
    "=1+1",
    "1e999",
    "-1",
    "nan",
    "true",
    "#",
    "\n\n",
    ";",
    "\\",
    "\u202e",
    "\U0001f3e2",
    "9" * 400,
    "none",
    "[[zone]]",
    "yes",
    "12:00",
    "2020-02-30",
    "'",
    '"',
    "=",
    ",",
    "  ",
]


def mutated_text(text: str, rng: random.Random) -> str:
    """A text with one to four small faults: signs lost, doubled or put in, lines moved, words exchanged."""
    for _ in range(rng.randint(1, 4)):
        at = rng.randrange(len(text) + 1)
        what = rng.randrange(6)
        if what == 0:
            text = text[:at] + rng.choice(BITS) + text[at:]
        elif what == 1:
            text = text[:at] + text[at + rng.randint(1, 30) :]
        elif what == 2:
            lines = text.split("\n")
            lines.insert(rng.randrange(len(lines)), rng.choice(lines))
            text = "\n".join(lines)
        elif what == 3:
            lines = text.split("\n")
            del lines[rng.randrange(len(lines))]
            text = "\n".join(lines)
        elif what == 4:
            words = text.split(" ")
            words[rng.randrange(len(words))] = rng.choice(words + BITS)
            text = " ".join(words)
        else:
            text = text[:at] + text[at : at + 1] * 3 + text[at + 1 :]
    return text


def mutated_bytes(data: bytes, rng: random.Random) -> bytes:
    """Bytes with one to six faults."""
    data = bytearray(data)
    for _ in range(rng.randint(1, 6)):
        at = rng.randrange(max(len(data), 1))
        what = rng.randrange(4)
        if what == 0:
            data[at : at + 1] = bytes([rng.randrange(256)])
        elif what == 1:
            del data[at : at + rng.randint(1, 200)]
        elif what == 2:
            data[at:at] = rng.choice(BITS).encode("utf-8", "surrogatepass")
        else:
            data[at:at] = data[at : at + rng.randint(1, 100)]
    return bytes(data)


class _Late(Exception):
    """A case took too long."""


def _late(*_):
    raise _Late


def tried(label: str, case) -> str:
    """How a case ended: ``result``, ``message``, or what is against the rule.

    The largest project has its own bound: two and a half minutes of processor time, by demo_projects/README.md.

    Parameters
    ----------
    case : callable
        Raises the package's own errors for input that cannot be used.
    """
    seconds = LARGEST_SECONDS if "zone and candidate:" in label else SECONDS
    before = signal.signal(signal.SIGALRM, _late)
    signal.alarm(seconds)
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("error")
            case()
        return "result"
    except BinestimatorError as error:
        text = str(error)
        return (
            "message"
            if text.strip() and text.count("\n") < LONGEST_MESSAGE
            else f"{label}: message of {text.count(chr(10))} lines"
        )
    except _Late:
        return f"{label}: took more than {seconds} s"
    except Exception as error:  # noqa: BLE001 - what is looked for
        return f"{label}: {type(error).__name__}: {str(error)[:200]}"
    finally:
        signal.alarm(0)
        signal.signal(signal.SIGALRM, before)


def projects(count: int, seed: int, folder: Path):
    """Mutated project files, each in a folder with its zones file and weather."""
    demos = [d for d in sorted((ROOT / "demo_projects").iterdir()) if d.is_dir()]
    for place in range(count):
        rng = random.Random(f"projects {seed} {place}")
        demo = rng.choice(demos)
        here = folder / "p"
        shutil.rmtree(here, ignore_errors=True)
        shutil.copytree(demo, here, ignore=shutil.ignore_patterns("*.md"))
        files = sorted(here.iterdir())
        hit = rng.choice(files)
        hit.write_bytes(mutated_text(hit.read_text(encoding="utf-8"), rng).encode("utf-8", "surrogatepass"))
        project = next(file for file in files if file.suffix == ".toml")
        yield f"projects {seed} {place}", lambda path=project: read_project(path)


def weather(count: int, seed: int, folder: Path):
    """Mutated weather files."""
    files = [f for f in sorted((ROOT / "weather").iterdir()) if f.suffix != ".md"]
    for place in range(count):
        rng = random.Random(f"weather {seed} {place}")
        source = rng.choice(files)
        path = folder / source.name
        path.write_bytes(mutated_bytes(source.read_bytes(), rng))
        yield f"weather {seed} {place}", lambda path=path: read_weather(path)


def _small():
    return project_from_mapping(edges.BASE, source_dir=ROOT / "weather")


def workbooks(count: int, seed: int, folder: Path):
    """Mutated forms and workbooks: bytes of the file, or of one part inside it."""
    results = estimate(_small(), edges._weather())
    sources = [form_bytes(), form_bytes(results.project), workbook_bytes(results)]
    for place in range(count):
        rng = random.Random(f"workbooks {seed} {place}")
        data = rng.choice(sources)
        if rng.random() < 0.25:
            data = mutated_bytes(data, rng)
        else:
            parts = zipfile.ZipFile(io.BytesIO(data))
            hit = rng.choice(parts.namelist())
            made = io.BytesIO()
            with zipfile.ZipFile(made, "w", zipfile.ZIP_DEFLATED) as out:
                for name in parts.namelist():
                    out.writestr(name, mutated_bytes(parts.read(name), rng) if name == hit else parts.read(name))
            data = made.getvalue()
        path = folder / "book.xlsx"
        path.write_bytes(data)
        yield f"workbooks {seed} {place}", lambda path=path: read_form(path)


def ranges(count: int, seed: int, folder: Path):
    """Ends of ranges and counts, through to a workbook whose formulas follow the engine."""
    for place, (label, mapping) in enumerate(edges.range_edges(seed)):
        if place == count:
            return

        def case(mapping=mapping):
            project = project_from_mapping(mapping, source_dir=ROOT / "weather")
            _, pen = build_workbook(estimate(project, edges._weather()))
            if pen is not None and pen.residuals and max(pen.residuals.values()) > 1e-7:
                raise AssertionError(f"a formula misses the engine by {max(pen.residuals.values()):.1e}")

        yield f"edges {seed} {label}", case


def faults(count: int, seed: int, folder: Path):
    """Runs of the command that are disturbed; the files of an earlier run stay whole or are replaced whole."""
    project = folder / "small.toml"
    from binestimator.inputs.write import project_to_toml

    project.write_text(project_to_toml(_small()), encoding="utf-8")
    shutil.copy(ROOT / "weather" / edges.WEATHER_FILE, folder)
    command = [sys.executable, "-m", "binestimator", "estimate", str(project), "--out"]
    environment = {**os.environ, "PYTHONPATH": str(ROOT)}
    start = time.monotonic()
    out = folder / "out"
    subprocess.run([*command, str(out)], check=True, capture_output=True, env=environment)
    whole = time.monotonic() - start
    old = {path.name: path.read_bytes() for path in out.iterdir()}
    for place in range(count):
        rng = random.Random(f"faults {seed} {place}")
        kind = rng.choice(["SIGINT", "SIGTERM", "SIGKILL", "twice", "read-only"])

        def case(kind=kind, rng=rng):
            target = folder / "again"
            shutil.rmtree(target, ignore_errors=True)
            shutil.copytree(out, target)
            runs = [
                subprocess.Popen(
                    [*command, str(target)], stdout=subprocess.PIPE, stderr=subprocess.PIPE, env=environment
                )
                for _ in range(2 if kind == "twice" else 1)
            ]
            if kind == "read-only":
                target.chmod(0o500)
            elif kind != "twice":
                time.sleep(rng.uniform(0.0, 1.1 * whole))
                runs[0].send_signal(getattr(signal, kind))
            try:
                for run in runs:
                    _, errors = run.communicate(timeout=SECONDS)
                    # Before the command has begun a signal ends it, and so does the interpreter itself, after our
                    # message, where an interrupt met code that a library runs as text: shells call both 130 and 143.
                    if (
                        run.returncode not in (0, 1, 2, 130, -signal.SIGINT, -signal.SIGTERM, -signal.SIGKILL)
                        or b"Traceback" in errors
                    ):
                        raise AssertionError(f"{kind}: ended with {run.returncode}: {errors[-200:]!r}")
            finally:
                target.chmod(0o700)
                for run in runs:  # of a case that took too long
                    run.kill()
                    run.communicate()
            now = {path.name: path.read_bytes() for path in target.iterdir() if path.is_file()}
            # The same inputs give the same bytes: old and new files are equal, and no other may be there.
            if {name: data for name, data in now.items() if name in old} != old:
                raise AssertionError(f"{kind}: files are no longer whole: {sorted(now)}")
            json.loads(now["small.json"])

        yield f"faults {seed} {place} {kind}", case


PARTS = {"projects": projects, "weather": weather, "workbooks": workbooks, "edges": ranges, "faults": faults}


def run(part: str, count: int, seed: int) -> tuple[dict[str, int], list[str]]:
    """Cases of a part: how many ended in a result and in a message, and what is against the rule."""
    found, wrong = {"result": 0, "message": 0}, []
    with tempfile.TemporaryDirectory() as folder:
        for label, case in PARTS[part](count, seed, Path(folder)):
            end = tried(label, case)
            if end in found:
                found[end] += 1
            else:
                wrong.append(end)
    return found, wrong


def main(arguments: list[str] | None = None) -> int:
    reader = argparse.ArgumentParser(description=__doc__.split("\n")[0])
    reader.add_argument("--part", choices=PARTS, action="append", help="only this part; may be given several times")
    reader.add_argument("--count", type=int, help="so many cases of each part")
    reader.add_argument("--seed", type=int, default=1)
    args = reader.parse_args(arguments)
    bad = 0
    for part in args.part or PARTS:
        start = time.monotonic()
        found, wrong = run(part, COUNTS[part] if args.count is None else args.count, args.seed)
        bad += len(wrong)
        print(
            f"{part}: {sum(found.values()) + len(wrong):,} cases, {found['result']:,} results, {found['message']:,} "
            "messages, "
            f"{len(wrong)} against the rule, {time.monotonic() - start:.0f} s",
            flush=True,
        )
        for text in wrong[:20]:
            print(f"  {text}", flush=True)
    return 1 if bad else 0


if __name__ == "__main__":
    sys.exit(main())
