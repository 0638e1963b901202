"""The command: files, printed text, exit codes, and everything that can go wrong."""

import csv
import io
import json
import os
import signal
import subprocess
import sys
import time
from pathlib import Path

import earlier
import numpy as np
import pytest
from builders import FILES, PLAIN, WEATHER, merged
from recalculation import edited

from binestimator import __version__, cli
from binestimator.inputs import fields_of, project_from_mapping, project_to_toml
from binestimator.inputs.schema import SECTIONS
from binestimator.results import ANNUAL_KEYS
from binestimator.workbook import workbook_bytes

FILES_OF_A_RUN = ["plain.json", "plain.xlsx", "plain_handover.txt"]
FEW = {
    "project": {"name": "Two candidates", "default_candidates": False},
    "candidate": [{"id": "as_found"}, {"id": "sat_demand"}],
}


def write_project(folder, name="plain.toml", text="", **changes):
    """Project file of the plain project with two candidates and changes; ``text`` is put behind it."""
    raw = merged(merged(PLAIN, FEW), changes)
    path = folder / name
    path.write_text(project_to_toml(project_from_mapping(raw, source_dir=WEATHER)) + text, encoding="utf-8")
    return path


def run(capsys, *arguments):
    """Exit code, standard output and standard error of the command."""
    code = cli.main([str(argument) for argument in arguments])
    out, err = capsys.readouterr()
    return code, out, err


def by_subprocess(*arguments, **options):
    return subprocess.run(
        [sys.executable, "-m", "binestimator", *map(str, arguments)],
        capture_output=True,
        text=True,
        timeout=120,
        **options,
    )


# --- estimate: what comes out -----------------------------------------------------------------


@pytest.fixture(scope="module")
def plain_run(tmp_path_factory):
    """One run of the command on the plain project: process, output folder."""
    folder = tmp_path_factory.mktemp("plain")
    path = write_project(folder)
    return by_subprocess("estimate", path, "--out", folder / "a" / "b"), folder / "a" / "b"


def test_writes_both_files_and_tells_where(plain_run):
    process, out = plain_run
    assert process.returncode == 0 and process.stderr == ""
    assert sorted(path.name for path in out.iterdir()) == FILES_OF_A_RUN
    assert (
        f"Workbook      {out / 'plain.xlsx'}" in process.stdout
        and f"Results file  {out / 'plain.json'}" in process.stdout
        and f"Hand-over     {out / 'plain_handover.txt'}" in process.stdout
    )
    assert "as_found" in process.stdout and "sat_demand" in process.stdout
    # A spreadsheet file is a zip archive.
    assert (out / "plain.xlsx").read_bytes()[:2] == b"PK"


def test_results_file_has_the_documented_keys(plain_run):
    data = json.loads((plain_run[1] / "plain.json").read_text(encoding="utf-8"))
    assert data["baseline"] == "as_found"
    for candidate in data["candidates"]:
        assert {"id", "name", "annual", "hourly", "saving", "equal_service"} <= set(candidate)
        assert set(candidate["annual"]) == set(candidate["hourly"]) == set(ANNUAL_KEYS)
        assert candidate["sat"]["strategy"] and candidate["dsp"]["strategy"] == "as_found"


@pytest.mark.invariant
def test_savings_of_the_results_file(plain_run):
    """Baseline minus candidate; the baseline saves exactly nothing."""
    data = json.loads((plain_run[1] / "plain.json").read_text(encoding="utf-8"))
    base, other = data["candidates"]
    assert set(base["saving"].values()) == {0.0}
    for key, value in other["saving"].items():
        assert value == base["annual"][key] - other["annual"][key]


# The command as ``-m`` runs it, and at its end the names of all modules that it loaded, in a file.
AND_MODULES = """
import atexit, pathlib, runpy, sys
modules = pathlib.Path(sys.argv.pop(1))
atexit.register(lambda: modules.write_text("\\n".join(sorted(sys.modules))))
runpy.run_module("binestimator", run_name="__main__", alter_sys=True)
"""


@pytest.fixture(scope="module")
def run_elsewhere(tmp_path_factory):
    """The plain project once more under other surroundings: process, output folder, modules that were loaded."""
    folder = tmp_path_factory.mktemp("elsewhere")
    path, modules = write_project(folder), folder / "modules"
    process = subprocess.run(
        [sys.executable, "-c", AND_MODULES, modules, "estimate", path, "--out", folder / "out"],
        capture_output=True,
        text=True,
        timeout=120,
        env={**os.environ, "PYTHONHASHSEED": "7", "TZ": "Asia/Tokyo", "LANG": "C", "LC_ALL": "C"},
    )
    return process, folder / "out", set(modules.read_text().split())


def test_same_input_same_files(plain_run, run_elsewhere):
    """In two processes: the command fixes the number of threads, on which last digits depend."""
    assert run_elsewhere[0].returncode == 0
    for name in FILES_OF_A_RUN:
        assert (run_elsewhere[1] / name).read_bytes() == (plain_run[1] / name).read_bytes()


@pytest.mark.slow
def test_a_name_that_begins_with_an_equals_sign_stays_text(tmp_path, capsys):
    from openpyxl import load_workbook

    path = write_project(tmp_path, project={"name": "=1+1"}, bins={"rows": "mean"})
    assert run(capsys, "estimate", path, "--out", tmp_path)[0] == 0
    cells = [
        cell
        for sheet in load_workbook(tmp_path / "plain.xlsx")
        for row in sheet.iter_rows()
        for cell in row
        if cell.value == "=1+1"
    ]
    assert cells and {cell.data_type for cell in cells} == {"s"}
    assert json.loads((tmp_path / "plain.json").read_text())["project"] == "=1+1"


@pytest.mark.invariant
def test_an_air_handler_that_never_runs(tmp_path, capsys):
    """No hour in which the fan runs: no division by zero, nothing used, nothing saved."""
    closed = {"weekday_hours": [], "saturday_hours": [], "sunday_hours": []}
    path = write_project(tmp_path, schedule={**closed, "unoccupied_mode": "off"}, heating={"enabled_unoccupied": False})
    code, out, err = run(capsys, "estimate", path, "--out", tmp_path)
    assert code == 0 and err == "" and "nan" not in out.lower()
    data = json.loads((tmp_path / "plain.json").read_text())
    assert data["candidates"][1]["annual"]["fan_kwh"] == 0.0 and data["candidates"][1]["saving"]["cost_usd"] == 0.0


# --- estimate: bad input -----------------------------------------------------------------------


def bad_weather(folder, change, source="greensboro"):
    """Weather file in the folder made by a function on the lines of a good one."""
    lines = (WEATHER / FILES[source]).read_text(encoding="latin-1").splitlines()
    (folder / "bad.csv").write_text("\n".join(change(lines)) + "\n", encoding="latin-1")
    return {"file": "bad.csv"}


def dry_bulb_missing(lines):
    columns = lines[1].split(",")
    cells = lines[1000].split(",")
    cells[columns.index("Dry-bulb (C)")] = "-9900"
    return [*lines[:1000], ",".join(cells), *lines[1001:]]


WEATHER_CASES = {
    "missing dry bulb": (dry_bulb_missing, ["line 1,001", "Dry-bulb", "-9900"]),
    "8,784 rows": (lambda lines: lines + lines[-24:], ["8,784", "8,760"]),
    "EPW without a header line": (
        lambda lines: (
            ["LOCATION,X,NC,USA,TMY3,723170,36.1,-79.95,-5,273", *["HEADER,0"] * 6]
            + ["1999,1,1,1,60," + ",".join(["1"] * 30)] * 8760
        ),
        ["bad.csv", "line 2", "DESIGN CONDITIONS"],
    ),
    "no weather at all": (lambda lines: ["just", "text"], ["bad.csv"]),
}


@pytest.mark.parametrize("case", WEATHER_CASES)
def test_bad_weather_is_one_clear_message(tmp_path, capsys, case):
    change, fragments = WEATHER_CASES[case]
    path = write_project(tmp_path, weather=bad_weather(tmp_path, change))
    assert_refused(tmp_path, capsys, path, fragments)


PROJECT_CASES = {
    "unknown key": ("\n[fan]\nmotor_hpp = 15\n", ["fan.motor_hpp", "motor_hp"]),
    "swapped points": ("\n[sat.outdoor_air]\npoints = [[70, 55], [60, 65]]\n", ["points"]),
    "SAT above room setpoint": (
        "\n[[candidate]]\nid = 'w'\nname = 'w'\ndsp = 'as_found'\nsat = {strategy = 'fixed', setpoint_f = 74}\n",
        ["setpoint_f", "74"],
    ),
    "minimum above maximum": (
        "\n[[zone]]\nname = 'z'\narea_ft2 = 100\nmin_cfm = 200\nmax_cfm = 100\n",
        ["zone[z]", "min_cfm"],
    ),
    "negative price": ("\n[prices]\nelectricity_usd_kwh = -0.1\n", ["prices.electricity_usd_kwh", "-0.1"]),
    "not modelled": ("\n[[zone]]\nname = 'z'\narea_ft2 = 100\nfan_powered = true\n", ["not modelled"]),
    "not TOML": ("\nthis is not TOML\n", ["plain.toml", "line"]),
    "control characters": ('\n[fan]\n"\\u001b[31m" = 1\n', ["unknown"]),
}


@pytest.mark.parametrize("case", PROJECT_CASES)
def test_bad_project_is_one_clear_message(tmp_path, capsys, case):
    text, fragments = PROJECT_CASES[case]
    path = tmp_path / "plain.toml"
    zone = "[[zone]]\nname = 'a'\narea_ft2 = 1000\n"
    path.write_text(
        f"[project]\nname = 'x'\n[weather]\nfile = '{WEATHER / FILES['greensboro']}'\n[[group]]\nname = "
        f"'g'\n{zone}{text}"
    )
    assert_refused(tmp_path, capsys, path, fragments)


def test_no_zones_and_other_files_that_are_no_project(tmp_path, capsys):
    path = tmp_path / "plain.toml"
    path.write_text("[project]\nname = 'x'\n[weather]\nfile = 'x'\n[[group]]\nname = 'g'\n")
    assert_refused(tmp_path, capsys, path, ["zone"])
    assert_refused(tmp_path, capsys, tmp_path / "missing.toml", ["missing.toml", "does not exist"])
    assert_refused(tmp_path, capsys, tmp_path, ["folder"])
    path.write_bytes(b"\xff\xfe\x00")
    assert_refused(tmp_path, capsys, path, ["UTF-8"])


def test_all_errors_of_a_project_are_told_at_once(tmp_path, capsys):
    path = tmp_path / "plain.toml"
    path.write_text(
        "[project]\nname = 'x'\n[weather]\nfile = 'x'\n[fan]\nmotor_hpp = 1\nefficiency_frac = "
        "65\n[prices]\nfuel_usd_therm = -1\n[[group]]\nname='g'\n"
    )
    assert_refused(tmp_path, capsys, path, ["motor_hpp", "efficiency_frac", "fuel_usd_therm", "zone"])


def assert_refused(folder, capsys, path, fragments):
    """Exit code 2, one message on standard error, nothing else anywhere."""
    code, out, err = run(capsys, "estimate", path, "--out", folder / "out")
    assert (code, out) == (2, "")
    assert err.startswith("error: ") and err.count("error: ") == 1
    assert "Traceback" not in err and "\x1b" not in err
    for fragment in fragments:
        assert fragment in err
    assert not (folder / "out").exists()


# --- estimate: how it can end ------------------------------------------------------------------


@pytest.fixture
def quick(monkeypatch, plain_results, plain_workbook):
    """The estimate and its workbook replaced by those made before: only what comes after them is tried."""
    import binestimator.advice as module

    monkeypatch.setattr(module, "estimate_and_advise", lambda project, weather, **_: plain_results)
    monkeypatch.setattr("binestimator.steps.weather_of", lambda project: None)
    monkeypatch.setattr("binestimator.workbook.write.workbook_bytes", lambda results, ranged: plain_workbook)


@pytest.fixture(scope="module")
def plain_results():
    from builders import weather_of

    from binestimator.estimate import estimate

    # Mean rows: what is tried is how files are written, and these are small.
    return estimate(
        project_from_mapping(merged(PLAIN, FEW | {"bins": {"rows": "mean"}}), source_dir=WEATHER), weather_of()
    )


@pytest.fixture(scope="module")
def plain_workbook(plain_results):
    return workbook_bytes(plain_results)


def test_default_folder_is_output_under_the_current_one(tmp_path, capsys, monkeypatch, quick):
    path = write_project(tmp_path, "named.toml")
    monkeypatch.chdir(tmp_path)
    code, out, _ = run(capsys, "estimate", path)
    assert code == 0 and sorted(p.name for p in (tmp_path / "output").iterdir()) == [
        "named.json",
        "named.xlsx",
        "named_handover.txt",
    ]
    assert os.path.join("output", "named.xlsx") in out


def old_files(folder):
    earlier.leave_run(folder, "plain")
    return folder


def assert_untouched(folder):
    assert earlier.contents(folder) == {
        "plain.xlsx": earlier.workbook(),
        "plain.json": earlier.results_file(),
        "plain_handover.txt": earlier.handover(),
    }


def test_output_that_is_a_file(tmp_path, capsys, quick):
    path = write_project(tmp_path)
    code, out, err = run(capsys, "estimate", path, "--out", path)
    assert (code, out) == (2, "") and "is a file, not a folder" in err and err.count("\n") == 1
    assert path.read_text().startswith("[project]")


@pytest.mark.parametrize("how", ["interrupt", "SIGTERM", "SIGHUP"])
def test_an_interrupted_run_leaves_the_files_of_an_earlier_one(tmp_path, capsys, quick, monkeypatch, how):
    def interrupted(results, *_):
        if how.startswith("SIG"):
            os.kill(os.getpid(), getattr(signal, how))
        raise KeyboardInterrupt

    monkeypatch.setattr("binestimator.workbook.write.results_bytes", interrupted)
    numbers = (signal.SIGTERM, signal.SIGHUP)
    before = [signal.getsignal(number) for number in numbers]
    out = old_files(tmp_path / "out")
    code, text, err = run(capsys, "estimate", write_project(tmp_path), "--out", out)
    assert (code, text) == (130, "") and "nothing was written" in err and "Traceback" not in err
    assert_untouched(out)
    assert [signal.getsignal(number) for number in numbers] == before


def test_a_signal_that_is_ignored_stays_ignored(tmp_path, capsys, quick, monkeypatch):
    """As under ``nohup``: the run outlives its terminal."""
    monkeypatch.setattr(
        "binestimator.terminal.comparison", lambda results, width: os.kill(os.getpid(), signal.SIGHUP) or "done"
    )
    before = signal.signal(signal.SIGHUP, signal.SIG_IGN)
    try:
        code, text, err = run(capsys, "estimate", write_project(tmp_path), "--out", tmp_path / "out")
    finally:
        signal.signal(signal.SIGHUP, before)
    assert (code, err) == (0, "") and "done" in text


def test_an_interruption_after_the_files_are_there_says_so(tmp_path, capsys, quick, monkeypatch):
    def interrupted(results, *_):
        raise KeyboardInterrupt

    monkeypatch.setattr("binestimator.terminal.comparison", interrupted)
    code, _, err = run(capsys, "estimate", write_project(tmp_path), "--out", tmp_path / "out")
    assert code == 130 and "files of this run are complete" in err
    assert len(list((tmp_path / "out").iterdir())) == 3


@pytest.mark.skipif(not hasattr(os, "memfd_create"), reason="this system makes no copies of processes")
@pytest.mark.parametrize("number", [signal.SIGTERM, signal.SIGINT])
def test_a_run_that_is_ended_ends_its_copies(tmp_path, number):
    """The command itself, ended while a copy of it is at work: no process and no file is left."""
    # Programs that a shell starts in the background ignore interruptions; this one must not.
    code = (
        "import signal; signal.signal(signal.SIGINT, signal.default_int_handler); "
        "from binestimator import cli, parallel; parallel.cores = lambda: 2; raise SystemExit(cli.command())"
    )
    out = tmp_path / "out"
    arguments = ["estimate", str(write_project(tmp_path)), "--out", str(out)]
    process = subprocess.Popen([sys.executable, "-c", code, *arguments], stderr=subprocess.PIPE, text=True)
    children = Path(f"/proc/{process.pid}/task/{process.pid}/children")
    limit, copies = time.monotonic() + 60.0, ""
    while not copies and process.poll() is None and time.monotonic() < limit:
        copies = children.read_text()
    assert copies, "no copy was made"
    process.send_signal(number)
    said = process.communicate(timeout=60)[1]
    assert process.returncode == 130 and said.startswith("interrupted") and "Traceback" not in said
    assert not any(Path(f"/proc/{copy}").exists() for copy in copies.split())
    assert not out.exists()


@pytest.mark.parametrize("debug", [True, False])
def test_a_fault_of_the_program(tmp_path, capsys, quick, monkeypatch, debug):
    def fault(results, ranged):
        raise ZeroDivisionError("in the middle of it")

    monkeypatch.setattr("binestimator.workbook.write.workbook_bytes", fault)
    out = old_files(tmp_path / "out")
    code, text, err = run(capsys, "estimate", write_project(tmp_path), "--out", out, *["--debug"] * debug)
    assert (code, text) == (3, "") and "ZeroDivisionError: in the middle of it" in err and "--debug" in err
    assert ("Traceback" in err) == debug
    assert_untouched(out)


def test_debug_shows_where_bad_input_was_found(tmp_path, capsys):
    code, _, err = run(capsys, "estimate", tmp_path / "missing.toml", "--debug")
    assert code == 2 and "Traceback" in err and err.rstrip().splitlines()[-1].startswith("error: ")


@pytest.mark.parametrize(
    ("status", "level", "plain", "strict"),
    [("pass", "info", 0, 0), ("explain", "check", 0, 0), ("fail", "info", 1, 1), ("pass", "caution", 0, 1)],
)
def test_exit_code_1(tmp_path, capsys, monkeypatch, quick, plain_results, status, level, plain, strict):
    """A check that must hold and failed is told always; what only wants a look with --strict."""
    import dataclasses

    import binestimator.advice as module
    from binestimator.errors import Finding
    from binestimator.results import Check

    changed = dataclasses.replace(
        plain_results,
        checks=(Check(name="n", status=status, value="v", expected="e", text="t"),),
        findings=(Finding(level, "w", "t"),),
    )
    monkeypatch.setattr(module, "estimate_and_advise", lambda project, weather, **_: changed)
    path = write_project(tmp_path)
    for options, expected in (([], plain), (["--strict"], strict)):
        code, out, _ = run(capsys, "estimate", path, "--out", tmp_path, *options)
        # The reason of a code that is not 0 is said, and says no more than that.
        assert code == expected and ("Exit code     1: " in out) == (code == 1)
        assert ("Exit code     1: there is a caution (--strict)" in out) == (code == 1 and status == "pass")
    assert (tmp_path / "plain.xlsx").exists()


# --- what is in the way --------------------------------------------------------------------


def test_a_workbook_in_which_somebody_worked_is_kept(tmp_path, capsys, quick):
    """Overrides, questions and comments of a reviewer are in a file that a new run would replace."""
    path = write_project(tmp_path)
    assert run(capsys, "estimate", path, "--out", tmp_path / "out")[0] == 0
    assert run(capsys, "estimate", path, "--out", tmp_path / "out", "--strict")[1].count("Kept") == 0
    file = tmp_path / "out" / "plain.xlsx"
    file.write_bytes(edited(file.read_bytes(), {("Review", "A1"): "Question of a reviewer"}))
    before = earlier.contents(tmp_path / "out")
    code, out, err = run(capsys, "estimate", path, "--out", tmp_path / "out")
    assert (code, err) == (0, "") and "plain_kept_1.xlsx" in out and "plain_kept_1.json" in out
    after = earlier.contents(tmp_path / "out")
    assert (after["plain_kept_1.xlsx"], after["plain_kept_1.json"], after["plain.json"]) == (
        before["plain.xlsx"],
        before["plain.json"],
        before["plain.json"],
    )
    assert len(after) == 6 and after["plain.xlsx"] != before["plain.xlsx"]


@pytest.mark.parametrize(("options", "code"), [([], 0), (["--strict"], 1), (["--force"], 0)])
def test_what_was_kept_counts_for_strict_and_not_for_force(
    tmp_path, capsys, monkeypatch, quick, plain_results, options, code
):
    import dataclasses

    import binestimator.advice as module

    monkeypatch.setattr(
        module,
        "estimate_and_advise",
        lambda project, weather, **_: dataclasses.replace(plain_results, checks=(), findings=()),
    )
    earlier.leave_run(tmp_path / "out", "plain", sealed=False)
    assert run(capsys, "estimate", write_project(tmp_path), "--out", tmp_path / "out", *options)[0] == code
    assert len(earlier.contents(tmp_path / "out")) == (3 if "--force" in options else 6)


def foreign(name, folder):
    (folder / name).write_bytes(
        earlier.workbook(kind=earlier.FORM) if name.endswith("xlsx") else b'{"of": "another program"}'
    )


@pytest.mark.parametrize("name", ["plain.xlsx", "plain.json"])
def test_files_that_are_no_results_are_refused_before_the_work(tmp_path, capsys, monkeypatch, name):
    monkeypatch.setattr("binestimator.steps.weather_of", lambda project: pytest.fail("the work has begun"))
    foreign(name, tmp_path)
    path = write_project(tmp_path)
    before = earlier.contents(tmp_path)
    code, out, err = run(capsys, "estimate", path, "--out", tmp_path)
    assert (code, out) == (2, "") and name in err and "--out" in err and "--force" in err
    assert earlier.contents(tmp_path) == before


def test_a_form_is_not_written_over(tmp_path, capsys):
    form = tmp_path / "f.xlsx"
    assert run(capsys, "form", form)[0] == 0
    assert run(capsys, "form", form)[0] == 0  # still as it was written
    filled = form.read_bytes() + b"\0"
    form.write_bytes(filled)
    code, out, err = run(capsys, "form", form)
    assert (code, out) == (2, "") and "not as this program wrote it" in err and form.read_bytes() == filled
    assert run(capsys, "form", form, "--force")[0] == 0 and form.read_bytes() != filled
    path = write_project(tmp_path)
    os.link(path, tmp_path / "p.xlsx")
    code, out, err = run(capsys, "form", tmp_path / "p.xlsx", "--from", path, "--force")
    assert (
        (code, out) == (2, "")
        and "never overwritten" in err
        and path.read_bytes() == (tmp_path / "p.xlsx").read_bytes()
    )


@pytest.mark.parametrize(
    "how", ["weather", "hard link to weather", "symbolic link to weather", "project", "zones", "somebody's table"]
)
@pytest.mark.parametrize("force", [True, False])
def test_a_table_is_not_written_over_what_was_read(tmp_path, capsys, how, force):
    weather = tmp_path / "w.csv"
    weather.write_bytes((WEATHER / FILES["miami"]).read_bytes())
    (tmp_path / "z.csv").write_text("name,area_ft2\na,1000\n")
    (tmp_path / "p.toml").write_text(
        "[project]\nname = 'p'\nzones_csv = 'z.csv'\n[weather]\nfile = 'w.csv'\n[[group]]\nname = 'g'\n"
    )
    target = {"weather": weather, "project": tmp_path / "p.toml", "zones": tmp_path / "z.csv"}.get(
        how, tmp_path / "t.csv"
    )
    if how.startswith("hard"):
        os.link(weather, target)
    elif how.startswith("symbolic"):
        target.symlink_to(weather)
    elif how.startswith("somebody"):
        target.write_text("zone,area\n")
    before = earlier.contents(tmp_path)
    code, out, err = run(
        capsys, "bins", weather, "--project", tmp_path / "p.toml", "--csv", target, *["--force"] * force
    )
    if how.startswith("somebody") and force:
        assert (code, err) == (0, "") and target.read_text().startswith("bin_low_f,")
        return
    assert (code, out) == (2, "") and target.name in err and err.count("\n") == 1
    assert earlier.contents(tmp_path) == before


def test_results_beside_a_project_never_replace_what_it_reads(tmp_path, capsys, quick):
    """A zones file called like the results file: the new files take another name, --force or not."""
    (tmp_path / "plain.json").write_text("name,area_ft2\na,1000\n")
    (tmp_path / "plain.toml").write_text(
        "[project]\nname = 'p'\nzones_csv = 'plain.json'\n[weather]\nfile = "
        f"'{WEATHER / FILES['miami']}'\n[[group]]\nname = 'g'\n"
    )
    before = earlier.contents(tmp_path)
    code, _, err = run(capsys, "estimate", tmp_path / "plain.toml", "--out", tmp_path, "--force")
    assert (code, err) == (0, "")
    after = earlier.contents(tmp_path)
    assert (
        sorted(set(after) - set(before)) == ["plain_rerun.json", "plain_rerun.xlsx", "plain_rerun_handover.txt"]
        and {name: after[name] for name in before} == before
    )


@pytest.mark.parametrize("locked", FILES_OF_A_RUN)
def test_a_locked_file_is_named_and_both_stay(tmp_path, capsys, monkeypatch, quick, locked):
    """A colleague's file in a shared folder, or one that is open elsewhere: moving back meets the same obstacle."""
    real = os.replace

    def replace(source, target):
        if Path(target).name == locked:
            raise PermissionError(1, "Operation not permitted")
        real(source, target)

    monkeypatch.setattr(os, "replace", replace)
    out = old_files(tmp_path / "out")
    code, text, err = run(capsys, "estimate", write_project(tmp_path), "--out", out)
    assert (code, text) == (2, "") and locked in err and "close or unlock it" in err and "fault" not in err
    assert_untouched(out)


# --- streams and places ------------------------------------------------------------------------


def by_shell(command, **options):
    return subprocess.run(["bash", "-c", command], capture_output=True, text=True, timeout=120, **options)


COMMAND = f"{sys.executable} -m binestimator"


@pytest.mark.parametrize("every", [False, pytest.param(True, marks=pytest.mark.slow)], ids=["some", "all"])
def test_standard_output_that_is_closed_or_full(tmp_path, every):
    """Some commands, and all of them as a larger slice."""
    path, weather = write_project(tmp_path, bins={"rows": "mean"}), WEATHER / FILES["miami"]
    out = tmp_path / "out"
    more = (f"bins {weather}", f"form {tmp_path / 'f.xlsx'}") if every else ()
    for command in (f"estimate {path} --out {out}", "inputs", *more):
        process = by_shell(f"{COMMAND} {command} >&-")
        assert (
            process.returncode == 2
            and "standard output is closed" in process.stderr
            and process.stderr.count("\n") == 1
        )
    assert sorted(os.listdir(tmp_path)) == ["plain.toml"]
    process = by_shell(f"{COMMAND} estimate {path} --out {out} >/dev/full")
    assert (
        process.returncode == 2
        and "No space left" in process.stderr
        and "files of this run are complete" in process.stderr
    )
    assert sorted(os.listdir(out)) == FILES_OF_A_RUN
    for command in ("inputs", "--version", *((f"bins {weather}", "--help") if every else ())):
        process = by_shell(f"{COMMAND} {command} >/dev/full")
        assert (
            process.returncode == 2
            and process.stderr.startswith("error: standard output cannot be written")
            and process.stderr.count("\n") == 1
        )
    for where in (">&-", ">/dev/full"):
        process = by_shell(f"{COMMAND} inputs nosuch 2{where}")
        assert (process.returncode, process.stdout, process.stderr) == (2, "", "")


@pytest.mark.parametrize("every", [False, pytest.param(True, marks=pytest.mark.slow)], ids=["some", "all"])
def test_a_current_folder_that_was_deleted(tmp_path, every):
    """Some commands, and all of them as a larger slice."""
    path = write_project(tmp_path)
    gone = f"mkdir {tmp_path}/gone; cd {tmp_path}/gone; rmdir {tmp_path}/gone; {COMMAND}"
    package = {**os.environ, "PYTHONPATH": str(Path(cli.__file__).parents[1])}
    more = (f"estimate {path}", f"bins {FILES['miami']} --csv t.csv") if every else ()
    for command in ("estimate plain.toml", "form f.xlsx", *more):
        process = by_shell(f"{gone} {command}", env=package)
        assert (
            process.returncode == 2
            and "current folder no longer exists" in process.stderr
            and process.stderr.count("\n") == 1
        )
    assert by_shell(f"{gone} form {tmp_path}/f.xlsx", env=package).returncode == 0
    assert sorted(os.listdir(tmp_path)) == ["f.xlsx", "plain.toml"]


def test_a_limit_on_the_size_of_files(tmp_path):
    process = by_shell(f"ulimit -f 100; {COMMAND} form {tmp_path}/f.xlsx")
    assert process.returncode == 2 and "File too large" in process.stderr and "lift it" in process.stderr
    assert os.listdir(tmp_path) == []


SPECIAL = ("pipe", "folder", "dangling", "loop", "/dev/zero", "/dev/stdin")


@pytest.mark.parametrize("kind", SPECIAL)
@pytest.mark.parametrize(
    "argument",
    [
        "PROJECT",
        "weather of a project",
        "zones of a project",
        "--out",
        "WEATHER",
        "--project",
        "--csv",
        "--from",
        "OUT",
    ],
)
def test_special_files_are_answered_at_once(tmp_path, capsys, monkeypatch, kind, argument):
    import binestimator.advice as module

    name = Path(kind) if kind.startswith("/") else tmp_path / f"{kind}.xlsx"
    if kind == "pipe":
        os.mkfifo(name)
    elif kind == "folder":
        name.mkdir()
    elif not kind.startswith("/"):
        name.symlink_to(name if kind == "loop" else tmp_path / "none" / "nowhere.xlsx")
    if argument == "--out" and kind == "folder":
        name = name / "pipe"
        os.mkfifo(name)
    monkeypatch.setattr(module, "estimate_and_advise", lambda project, weather, **_: pytest.fail("the work has begun"))
    plain = write_project(tmp_path)
    if " of a " in argument:
        key = {"weather of a project": ("weather", "file"), "zones of a project": ("project", "zones_csv")}[argument]
        text = plain.read_text()
        old = f'file = "{FILES["greensboro"]}"' if key[0] == "weather" else "[project]\n"
        assert old in text
        plain.write_text(
            text.replace(old, f"file = '{name}'" if key[0] == "weather" else f"[project]\nzones_csv = '{name}'\n")
        )
    weather = WEATHER / FILES["miami"]
    arguments = {
        "PROJECT": ["estimate", name],
        "--out": ["estimate", plain, "--out", name],
        "WEATHER": ["bins", name],
        "--project": ["bins", weather, "--project", name],
        "--csv": ["bins", weather, "--csv", name],
        "--from": ["form", tmp_path / "new.xlsx", "--from", name],
        "OUT": ["form", name if name.suffix else tmp_path / "link.xlsx"],
    }.get(argument, ["estimate", plain, "--out", tmp_path / "out"])
    if argument == "OUT" and not name.suffix:
        (tmp_path / "link.xlsx").symlink_to(name)
    signal.alarm(60)  # a hang would end the tests here
    try:
        code, out, err = run(capsys, *arguments)
    finally:
        signal.alarm(0)
    assert (code, out) == (2, "") and "Traceback" not in err and err.startswith("error: ")
    assert (tmp_path / "link.xlsx" if argument == "OUT" and not name.suffix else name).name in err
    assert not (tmp_path / "new.xlsx").exists() and not (tmp_path / "out").exists()


def test_a_reader_that_stops_reading_is_no_error():
    process = subprocess.Popen(
        [sys.executable, "-m", "binestimator", "inputs"], stdout=subprocess.PIPE, stderr=subprocess.PIPE
    )
    process.stdout.close()
    assert process.stderr.read() == b"" and process.wait(60) == 0
    process.stderr.close()


def test_a_terminal_without_the_characters(tmp_path, capsys, monkeypatch):
    path = write_project(
        tmp_path,
        project={"name": "Bürohaus \u2603"},
        bins={"rows": "mean"},
        zone=[{"name": "z", "area_ft2": 1000, "max_cfm": 500, "reheat_kbtuh": 20}],
    )
    terminal = io.TextIOWrapper(io.BytesIO(), encoding="ascii", errors="strict")
    monkeypatch.setattr(sys, "stdout", terminal)
    code, _, err = run(capsys, "estimate", path, "--out", tmp_path)
    terminal.flush()
    assert code == 0 and err == "" and terminal.buffer.getvalue().startswith(b"B?rohaus ?")


# --- usage -------------------------------------------------------------------------------------


def test_version_and_help(capsys):
    for arguments, said in (
        (["--version"], __version__),
        (["--help"], "estimate"),
        (["estimate", "--help"], "--strict"),
        (["bins", "--help"], "--csv"),
    ):
        with pytest.raises(SystemExit) as ended:
            cli.main(arguments)
        assert ended.value.code == 0 and said in capsys.readouterr().out


@pytest.mark.parametrize(
    "arguments", [[], ["estimate"], ["nosuch"], ["estimate", "a", "--nosuch"], ["bins", "x", "--width", "3"]]
)
def test_wrong_usage(capsys, arguments):
    with pytest.raises(SystemExit) as ended:
        cli.main(arguments)
    out, err = capsys.readouterr()
    assert ended.value.code == 2 and out == "" and "usage:" in err


# --- bins --------------------------------------------------------------------------------------


def bins_csv(capsys, tmp_path, *arguments):
    """Columns of the exported table: texts of ``range``, numbers of the others, and the printed text."""
    code, out, err = run(capsys, "bins", *arguments, "--csv", tmp_path / "bins.csv")
    assert (code, err) == (0, "")
    with open(tmp_path / "bins.csv", newline="") as file:
        rows = list(csv.DictReader(file))
    # In the first line only: a line of its own would be taken for a bin.
    assert [bool(row.pop("checksum")) for row in rows] == [True] + [False] * (len(rows) - 1)
    number = lambda text: float(text) if text else np.nan
    return {key: np.array([row[key] if key == "range" else number(row[key]) for row in rows]) for key in rows[0]}, out


@pytest.mark.invariant
@pytest.mark.parametrize("name", FILES.values())
def test_bins_hold_every_hour_once(capsys, tmp_path, name):
    table, _ = bins_csv(capsys, tmp_path, name)
    assert table["hours"].sum() == 8760
    modes = table["hours_occupied"] + table["hours_unoccupied_running"] + table["hours_off"]
    thirds = table["hours_00_08"] + table["hours_08_16"] + table["hours_16_24"]
    assert (modes == table["hours"]).all() and (thirds == table["hours"]).all()
    assert (thirds >= 0).all() and table["hours_08_16"].sum() == 8 * 365


@pytest.mark.invariant
def test_bins_of_a_given_schedule(capsys, tmp_path):
    """260 weekdays and 52 Saturdays in a year that starts on a Tuesday, no holidays, standard time."""
    options = ["--hours", 6, 22, "--saturday", 8, 12, "--holidays", "", "--first-weekday", "Tuesday", "--standard-time"]
    table, out = bins_csv(capsys, tmp_path, FILES["miami"], *options)
    assert table["hours_occupied"].sum() == 261 * 16 + 52 * 4
    assert (
        "weekdays 6 to 22; Saturdays 8 to 12; Sundays and holidays closed; standard time; 1 January is a Tuesday; 0 "
        "holidays" in " ".join(out.split())
    )
    table, _ = bins_csv(capsys, tmp_path, FILES["miami"], "--day-and-night", "--width", 10)
    assert table["hours_occupied"].sum() == 8760 and set(np.diff(table["bin_low_f"])) == {10.0}
    np.testing.assert_array_equal(table["mcwb_occupied_f"], table["mcwb_f"])


@pytest.mark.crosscheck
def test_bins_of_a_project_are_those_of_its_own_options(capsys, tmp_path):
    path = write_project(
        tmp_path,
        group=[{"name": "office", "weekday_hours": [6, 22]}, {"name": "meeting", "weekday_hours": [8, 9]}],
        bins={"width_f": 2},
    )
    of_project, _ = bins_csv(capsys, tmp_path, FILES["greensboro"], "--project", path)
    of_options, _ = bins_csv(capsys, tmp_path, FILES["greensboro"], "--hours", 6, 22, "--width", 2)
    np.testing.assert_array_equal(of_project["hours_occupied"], of_options["hours_occupied"])


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (["nosuch"], "nosuch"),
        (["."], "folder"),
        ([FILES["miami"], "--hours", "8", "25"], "25"),
        ([FILES["miami"], "--hours", "8", "nan"], "weekday_hours"),
        ([FILES["miami"], "--holidays", "13-01"], "13-01"),
        ([FILES["miami"], "--day-and-night", "--hours", "8", "9"], "--day-and-night"),
        ([FILES["miami"], "--project", "PROJECT", "--hours", "8", "9"], "--project"),
        ([FILES["miami"], "--csv", "FOLDER"], "folder"),
        ([FILES["miami"], "--csv", "FOLDER/no/such.csv"], "such.csv"),
    ],
)
def test_bad_arguments_of_bins(capsys, tmp_path, arguments, said):
    path = write_project(tmp_path)
    arguments = [a.replace("PROJECT", str(path)).replace("FOLDER", str(tmp_path)) for a in arguments]
    code, out, err = run(capsys, "bins", *arguments)
    assert (code, out) == (2, "") and err.startswith("error: ") and said in err and "Traceback" not in err


def test_a_table_that_cannot_be_written_leaves_the_old_one(capsys, tmp_path, monkeypatch):
    (tmp_path / "bins.csv").write_bytes(earlier.table())

    def refuse(*_):
        raise PermissionError(13, "Permission denied")

    monkeypatch.setattr(os, "replace", refuse)
    code, _, err = run(capsys, "bins", FILES["miami"], "--csv", tmp_path / "bins.csv")
    assert code == 2 and "Permission denied" in err
    assert earlier.contents(tmp_path) == {"bins.csv": earlier.table()}


# --- inputs ------------------------------------------------------------------------------------


def test_inputs_lists_every_input(capsys):
    code, out, _ = run(capsys, "inputs")
    assert code == 0
    for section in SECTIONS:
        assert f"[{section}" in out
        for name in fields_of(section):
            assert f"| `{name}` |" in out


@pytest.mark.parametrize("section", SECTIONS)
def test_inputs_of_one_section(capsys, section):
    _, out, _ = run(capsys, "inputs", section)
    assert out.startswith("## ") and out.count("\n## ") == 0
    assert [line.split("`")[1] for line in out.splitlines() if line.startswith("| `")] == list(fields_of(section))


def test_inputs_of_no_section(capsys):
    code, out, err = run(capsys, "inputs", "fann")
    assert (code, out) == (2, "") and 'did you mean "fan"' in err


# --- what is loaded ----------------------------------------------------------------------------


def loaded_by(code):
    """Top-level modules that a fresh interpreter has loaded after running code."""
    process = subprocess.run(
        [sys.executable, "-c", f"{code}\nimport sys; print('\\n'.join(sorted(sys.modules)))"],
        capture_output=True,
        text=True,
        check=True,
    )
    return set(process.stdout.split())


def test_importing_the_package_and_the_command_loads_no_large_library():
    heavy = {"numpy", "pandas", "pvlib", "scipy", "openpyxl", "xlsxwriter"}
    assert not heavy & loaded_by("import binestimator, binestimator.cli; binestimator.cli.parser()")


def test_an_estimate_never_loads_what_it_does_not_use(run_elsewhere):
    unused = {"openpyxl", "scipy", "pvlib", "requests", "h5py", "matplotlib", "pytest"}
    assert run_elsewhere[0].returncode == 0 and not unused & run_elsewhere[2]
    assert {"pandas", "xlsxwriter"} <= run_elsewhere[2]  # the names were taken at the end


def test_public_names():
    import binestimator

    for name in binestimator.__all__:
        assert getattr(binestimator, name) is not None
        assert name in dir(binestimator)
    with pytest.raises(AttributeError, match="nosuch"):
        binestimator.nosuch


def test_the_steps_from_python(tmp_path):
    """As written in the package's own description."""
    import binestimator as be

    project = be.read_project(write_project(tmp_path, bins={"rows": "mean"}))
    results = be.estimate_project(project, be.weather_of(project))
    written = be.write_outputs(results, tmp_path / "output", "office")
    assert [path.name for path in (written.workbook, written.results_file)] == ["office.xlsx", "office.json"]
    be.write_results_json(results, tmp_path / "again.json")
    assert (tmp_path / "again.json").read_bytes() == written.results_file.read_bytes()
    assert written.workbook.stat().st_size > 10_000
