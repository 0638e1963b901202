"""The command: files, printed text, exit codes, and everything that can go wrong."""

import csv
import json
import os
import signal
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest

from builders import FILES, PLAIN, WEATHER, merged
from binestimator import __version__, cli
from binestimator.inputs import fields_of, project_from_mapping, project_to_toml
from binestimator.inputs.schema import SECTIONS
from binestimator.results import ANNUAL_KEYS

OLD = "of an earlier run"
FEW = {"project": {"name": "Two candidates", "default_candidates": False}, "candidate": [{"id": "as_found"}, {"id": "sat_demand"}]}


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
    return subprocess.run([sys.executable, "-m", "binestimator", *map(str, arguments)], capture_output=True, text=True, timeout=120, **options)


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
    assert sorted(path.name for path in out.iterdir()) == ["plain.json", "plain.xlsx"]
    assert f"Workbook      {out / 'plain.xlsx'}" in process.stdout and f"Results file  {out / 'plain.json'}" in process.stdout
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


def test_same_input_same_files(tmp_path, plain_run):
    """In two processes: the command fixes the number of threads, on which last digits depend."""
    path = write_project(tmp_path)
    elsewhere = {**os.environ, "PYTHONHASHSEED": "7", "TZ": "Asia/Tokyo", "LANG": "C", "LC_ALL": "C"}
    assert by_subprocess("estimate", path, "--out", tmp_path, env=elsewhere).returncode == 0
    for name in ("plain.json", "plain.xlsx"):
        assert (tmp_path / name).read_bytes() == (plain_run[1] / name).read_bytes()


def test_a_name_that_begins_with_an_equals_sign_stays_text(tmp_path, capsys):
    from openpyxl import load_workbook

    path = write_project(tmp_path, project={"name": "=1+1"})
    assert run(capsys, "estimate", path, "--out", tmp_path)[0] == 0
    cells = [cell for sheet in load_workbook(tmp_path / "plain.xlsx") for row in sheet.iter_rows() for cell in row if cell.value == "=1+1"]
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
        lambda lines: ["LOCATION,X,NC,USA,TMY3,723170,36.1,-79.95,-5,273", *["HEADER,0"] * 6] + ["1999,1,1,1,60," + ",".join(["1"] * 30)] * 8760,
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
    "SAT above room setpoint": ("\n[[candidate]]\nid = 'w'\nname = 'w'\ndsp = 'as_found'\nsat = {strategy = 'fixed', setpoint_f = 74}\n", ["setpoint_f", "74"]),
    "minimum above maximum": ("\n[[zone]]\nname = 'z'\narea_ft2 = 100\nmin_cfm = 200\nmax_cfm = 100\n", ["zone[z]", "min_cfm"]),
    "negative price": ("\n[prices]\nelectricity_usd_kwh = -0.1\n", ["prices.electricity_usd_kwh", "-0.1"]),
    "not modelled": ("\n[[zone]]\nname = 'z'\narea_ft2 = 100\nfan_powered = true\n", ["not modelled"]),
    "not TOML": ("\nthis is not TOML\n", ["plain.toml", "line"]),
    "control characters": ("\n[fan]\n\"\\u001b[31m\" = 1\n", ["unknown"]),
}


@pytest.mark.parametrize("case", PROJECT_CASES)
def test_bad_project_is_one_clear_message(tmp_path, capsys, case):
    text, fragments = PROJECT_CASES[case]
    path = tmp_path / "plain.toml"
    zone = "[[zone]]\nname = 'a'\narea_ft2 = 1000\n"
    path.write_text(f"[project]\nname = 'x'\n[weather]\nfile = '{WEATHER / FILES['greensboro']}'\n[[group]]\nname = 'g'\n{zone}{text}")
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
    path.write_text("[project]\nname = 'x'\n[weather]\nfile = 'x'\n[fan]\nmotor_hpp = 1\nefficiency_frac = 65\n[prices]\nfuel_usd_therm = -1\n[[group]]\nname='g'\n")
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
def quick(monkeypatch, plain_results):
    """The estimate itself replaced by one made before: only what comes after it is tried."""
    import binestimator.estimate as module

    monkeypatch.setattr(module, "estimate", lambda project, weather: plain_results)
    monkeypatch.setattr("binestimator.steps.weather_of", lambda project: None)


@pytest.fixture(scope="module")
def plain_results():
    from binestimator.estimate import estimate
    from builders import weather_of

    return estimate(project_from_mapping(merged(PLAIN, FEW), source_dir=WEATHER), weather_of())


def test_default_folder_is_output_under_the_current_one(tmp_path, capsys, monkeypatch, quick):
    path = write_project(tmp_path, "named.toml")
    monkeypatch.chdir(tmp_path)
    code, out, _ = run(capsys, "estimate", path)
    assert code == 0 and sorted(p.name for p in (tmp_path / "output").iterdir()) == ["named.json", "named.xlsx"]
    assert os.path.join("output", "named.xlsx") in out


def old_files(folder):
    folder.mkdir(exist_ok=True)
    for ending in ("xlsx", "json"):
        (folder / f"plain.{ending}").write_text(OLD)
    return folder


def assert_untouched(folder):
    assert {path.name: path.read_text() for path in folder.iterdir()} == {"plain.xlsx": OLD, "plain.json": OLD}


def test_output_that_is_a_file(tmp_path, capsys, quick):
    path = write_project(tmp_path)
    code, out, err = run(capsys, "estimate", path, "--out", path)
    assert (code, out) == (2, "") and "is a file, not a folder" in err and err.count("\n") == 1
    assert path.read_text().startswith("[project]")


@pytest.mark.parametrize("how", ["interrupt", "SIGTERM", "SIGHUP"])
def test_an_interrupted_run_leaves_the_files_of_an_earlier_one(tmp_path, capsys, quick, monkeypatch, how):
    def interrupted(results, path):
        if how.startswith("SIG"):
            os.kill(os.getpid(), getattr(signal, how))
        raise KeyboardInterrupt

    monkeypatch.setattr("binestimator.workbook.write.write_results_json", interrupted)
    numbers = (signal.SIGTERM, signal.SIGHUP)
    before = [signal.getsignal(number) for number in numbers]
    out = old_files(tmp_path / "out")
    code, text, err = run(capsys, "estimate", write_project(tmp_path), "--out", out)
    assert (code, text) == (130, "") and "nothing was written" in err and "Traceback" not in err
    assert_untouched(out)
    assert [signal.getsignal(number) for number in numbers] == before


def test_a_signal_that_is_ignored_stays_ignored(tmp_path, capsys, quick, monkeypatch):
    """As under ``nohup``: the run outlives its terminal."""
    monkeypatch.setattr("binestimator.terminal.comparison", lambda results: os.kill(os.getpid(), signal.SIGHUP) or "done")
    before = signal.signal(signal.SIGHUP, signal.SIG_IGN)
    try:
        code, text, err = run(capsys, "estimate", write_project(tmp_path), "--out", tmp_path / "out")
    finally:
        signal.signal(signal.SIGHUP, before)
    assert (code, err) == (0, "") and "done" in text


def test_an_interruption_after_the_files_are_there_says_so(tmp_path, capsys, quick, monkeypatch):
    def interrupted(results):
        raise KeyboardInterrupt

    monkeypatch.setattr("binestimator.terminal.comparison", interrupted)
    code, _, err = run(capsys, "estimate", write_project(tmp_path), "--out", tmp_path / "out")
    assert code == 130 and "files of this run are complete" in err
    assert len(list((tmp_path / "out").iterdir())) == 2


@pytest.mark.parametrize("debug", [True, False])
def test_a_fault_of_the_program(tmp_path, capsys, quick, monkeypatch, debug):
    def fault(results, path):
        raise ZeroDivisionError("in the middle of it")

    monkeypatch.setattr("binestimator.workbook.write.write_workbook", fault)
    out = old_files(tmp_path / "out")
    code, text, err = run(capsys, "estimate", write_project(tmp_path), "--out", out, *["--debug"] * debug)
    assert (code, text) == (3, "") and "ZeroDivisionError: in the middle of it" in err and "--debug" in err
    assert ("Traceback" in err) == debug
    assert_untouched(out)


def test_debug_shows_where_bad_input_was_found(tmp_path, capsys):
    code, _, err = run(capsys, "estimate", tmp_path / "missing.toml", "--debug")
    assert code == 2 and "Traceback" in err and err.rstrip().splitlines()[-1].startswith("error: ")


@pytest.mark.parametrize(("status", "level", "code"), [("pass", "info", 0), ("explain", "check", 0), ("fail", "info", 1), ("pass", "caution", 1)])
def test_strict(tmp_path, capsys, monkeypatch, quick, plain_results, status, level, code):
    import dataclasses

    import binestimator.estimate as module
    from binestimator.errors import Finding
    from binestimator.results import Check

    changed = dataclasses.replace(
        plain_results, checks=(Check(name="n", status=status, value="v", expected="e", text="t"),), findings=(Finding(level, "w", "t"),)
    )
    monkeypatch.setattr(module, "estimate", lambda project, weather: changed)
    path = write_project(tmp_path)
    assert run(capsys, "estimate", path, "--out", tmp_path)[0] == 0
    assert run(capsys, "estimate", path, "--out", tmp_path, "--strict")[0] == code
    assert (tmp_path / "plain.xlsx").exists()


def test_a_reader_that_stops_reading_is_no_error():
    process = subprocess.Popen([sys.executable, "-m", "binestimator", "inputs"], stdout=subprocess.PIPE, stderr=subprocess.PIPE)
    process.stdout.close()
    assert process.stderr.read() == b"" and process.wait(60) == 0
    process.stderr.close()


def test_a_terminal_without_the_characters(tmp_path):
    path = write_project(tmp_path, project={"name": "Bürohaus \u2603"}, zone=[{"name": "z", "area_ft2": 1000, "max_cfm": 500, "reheat_kbtuh": 20}])
    process = by_subprocess("estimate", path, "--out", tmp_path, env={**os.environ, "PYTHONIOENCODING": "ascii"})
    assert process.returncode == 0 and process.stderr == "" and process.stdout.startswith("B?rohaus ?")


# --- usage -------------------------------------------------------------------------------------


def test_version_and_help(capsys):
    for arguments, said in ((["--version"], __version__), (["--help"], "estimate"), (["estimate", "--help"], "--strict"), (["bins", "--help"], "--csv")):
        with pytest.raises(SystemExit) as ended:
            cli.main(arguments)
        assert ended.value.code == 0 and said in capsys.readouterr().out


@pytest.mark.parametrize("arguments", [[], ["estimate"], ["nosuch"], ["estimate", "a", "--nosuch"], ["bins", "x", "--width", "3"]])
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
    number = lambda text: float(text) if text else np.nan  # noqa: E731
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
    assert "weekdays 6 to 22; Saturdays 8 to 12; Sundays and holidays closed; standard time; 1 January is a Tuesday; 0 holidays" in " ".join(out.split())
    table, _ = bins_csv(capsys, tmp_path, FILES["miami"], "--day-and-night", "--width", 10)
    assert table["hours_occupied"].sum() == 8760 and set(np.diff(table["bin_low_f"])) == {10.0}
    np.testing.assert_array_equal(table["mcwb_occupied_f"], table["mcwb_f"])


@pytest.mark.crosscheck
def test_bins_of_a_project_are_those_of_its_own_options(capsys, tmp_path):
    path = write_project(tmp_path, group=[{"name": "office", "weekday_hours": [6, 22]}, {"name": "meeting", "weekday_hours": [8, 9]}],
                         bins={"width_f": 2})  # fmt: skip
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
    (tmp_path / "bins.csv").write_text(OLD)

    def refuse(*_):
        raise PermissionError(13, "Permission denied")

    monkeypatch.setattr(os, "replace", refuse)
    code, _, err = run(capsys, "bins", FILES["miami"], "--csv", tmp_path / "bins.csv")
    assert code == 2 and "Permission denied" in err
    assert {path.name: path.read_text() for path in tmp_path.iterdir()} == {"bins.csv": OLD}


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
    process = subprocess.run([sys.executable, "-c", f"{code}\nimport sys; print('\\n'.join(sorted(sys.modules)))"], capture_output=True, text=True, check=True)
    return set(process.stdout.split())


def test_importing_the_package_and_the_command_loads_no_large_library():
    heavy = {"numpy", "pandas", "pvlib", "scipy", "openpyxl", "xlsxwriter"}
    assert not heavy & loaded_by("import binestimator, binestimator.cli; binestimator.cli.parser()")


def test_an_estimate_never_loads_what_it_does_not_use(tmp_path):
    path = write_project(tmp_path)
    code = f"from binestimator.cli import main\nimport contextlib, io\nwith contextlib.redirect_stdout(io.StringIO()): main(['estimate', {str(path)!r}, '--out', {str(tmp_path)!r}])"
    assert not {"openpyxl", "matplotlib", "pytest"} & loaded_by(code)


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

    project = be.read_project(write_project(tmp_path))
    results = be.estimate_project(project, be.weather_of(project))
    written = be.write_outputs(results, tmp_path / "output", "office")
    assert [path.name for path in written] == ["office.xlsx", "office.json"]
    be.write_results_json(results, tmp_path / "again.json")
    assert (tmp_path / "again.json").read_bytes() == written[1].read_bytes()
    assert Path(written[0]).stat().st_size > 10_000
