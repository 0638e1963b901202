"""The command ``binestimator``: reads arguments, calls the library, tells how it ended.

Exit codes: 0 done · 1 done, but a check that must hold failed, or ``--strict`` and there is something to look at
· 2 the input or the place of the output cannot be used · 3 a fault of the program · 130 interrupted.
"""

from __future__ import annotations

import argparse
import contextlib
import gc
import os
import signal
import sys
import threading
import warnings
from pathlib import Path

from binestimator import __version__
from binestimator.errors import BinestimatorError, InputError

DONE, FINDINGS, BAD_INPUT, FAULT, INTERRUPTED = 0, 1, 2, 3, 130

_WEEKDAYS = ("Monday", "Tuesday", "Wednesday", "Thursday", "Friday", "Saturday", "Sunday")


def command() -> int:
    """The command as a process of its own; exit code of :func:`main`."""
    # A process that ends in seconds: collecting garbage is wasted time, above all at the end.
    gc.disable()
    # Messages of libraries are for those who call them. Tests see them all, as errors.
    if not sys.warnoptions:
        warnings.simplefilter("ignore")
    try:
        return main()
    finally:
        gc.freeze()


def main(arguments: list[str] | None = None) -> int:
    """Run the command.

    Parameters
    ----------
    arguments : list of str, optional
        Those of the process when not given.

    Returns
    -------
    int
        Exit code.

    Raises
    ------
    SystemExit
        From the reader of arguments: 0 after ``--help`` and ``--version``, 2 on wrong usage.
    """
    for stream in (sys.stdout, sys.stderr):
        if hasattr(stream, "reconfigure"):
            stream.reconfigure(errors="replace")  # a terminal that lacks a character shows "?"
    try:
        args = parser().parse_args(arguments)
    except SystemExit as ended:
        if ended.code or sys.stdout is None:
            raise
        # Help and version have to arrive as well; their text is in the parser's last message.
        code = _guarded(
            argparse.Namespace(run=lambda args: _say(args, _Parser.unsaid), debug=False, watched=None, code=DONE)
        )
        if code != DONE:
            return code
        raise
    args.watched, args.code = None, DONE
    # Matrices here are small: more threads cost more than they bring, and one gives the same
    # last digits on every machine. Has to be said before the libraries load.
    for name in ("OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS"):
        os.environ.setdefault(name, "1")
    with _termination_as_interrupt():
        return _guarded(args)


def _guarded(args) -> int:
    """Run a command; every way to end has its code and at most one message."""
    try:
        if sys.stdout is None:
            raise _OutputError(
                "standard output is closed; nothing was begun; run again with it open, or send it to a file"
            )
        _check_current_folder(args)
        args.run(args)
        return args.code
    except BinestimatorError as error:
        return _ended(args, BAD_INPUT, f"error: {error}")
    except KeyboardInterrupt:
        return _ended(args, INTERRUPTED, f"interrupted; {_state_of_files(args)}")
    except BrokenPipeError:
        # The reader of the output has closed it.
        _silence(sys.stdout)
        return args.code
    except MemoryError:
        return _ended(
            args,
            BAD_INPUT,
            f"error: this machine has not enough memory for that; {_state_of_files(args)}; close other programs, "
            "or make the project smaller",
        )
    except Exception as error:  # noqa: BLE001 - the last resort: no traceback for users
        from binestimator.writing import remedy

        do = remedy(error, "use another place") if isinstance(error, OSError) else ""
        if do:
            return _ended(args, BAD_INPUT, f"error: {error.strerror}; {_state_of_files(args)}; {do}")
        what = f"{type(error).__name__}: {error}".splitlines()[0]
        return _ended(
            args,
            FAULT,
            f"error: a fault of the program, not of your input ({what}); {_state_of_files(args)}. "
            "Run again with --debug and report what it prints.",
        )


def _check_current_folder(args) -> None:
    """Names without a folder mean nothing where the folder that the command was started in was deleted since."""
    try:
        os.getcwd()
    except OSError:
        for name in ("project", "source", "csv", "out"):
            path = getattr(args, name, None)
            if path is not None and not os.path.isabs(path):
                raise InputError(
                    f"{path}: the current folder no longer exists; change to another one (cd), or give full paths"
                ) from None


class _OutputError(BinestimatorError):
    """Standard output cannot be written."""


class _Watched:
    """Files that a run is about to write: what has become of them is looked up, not remembered."""

    def __init__(self, *paths):
        from binestimator.writing import signature

        self._signature = signature
        self._before = {path: signature(path) for path in paths}

    def state(self) -> str:
        changed = [path for path, before in self._before.items() if self._signature(path) != before]
        if not changed:
            return "nothing was written, files of earlier runs are as they were"
        if len(changed) == len(self._before):
            return "the files of this run are complete"
        return f"only these were written: {', '.join(map(str, changed))}"


def _state_of_files(args) -> str:
    return "no file had been written yet" if args.watched is None else args.watched.state()


def _say(args, text: str | None) -> None:
    """Print, and make sure that this and what was printed before arrives."""
    try:
        if text is not None:
            print(_printable(text))
        sys.stdout.flush()
    except BrokenPipeError:
        raise
    except OSError as error:
        _silence(sys.stdout)
        raise _OutputError(
            f"standard output cannot be written ({error.strerror or error}); {_state_of_files(args)}; free some space "
            "where it goes, or send it elsewhere"
        ) from error


def _silence(stream) -> None:
    """Send what is left in a stream nowhere: it must not fail at exit."""
    with contextlib.suppress(OSError, ValueError):  # no stream of the system
        os.dup2(os.open(os.devnull, os.O_WRONLY), stream.fileno())


def _ended(args, code: int, message: str) -> int:
    if sys.stderr is None:
        return code
    try:
        if args.debug:
            import traceback

            traceback.print_exc()
        print(_printable(message), file=sys.stderr)
        sys.stderr.flush()
    except OSError:
        _silence(sys.stderr)  # nobody can be told; the exit code says it
    return code


def _printable(text: str) -> str:
    """Text without control characters, which files of others could bring along."""
    from binestimator.inputs.problems import printable

    return "\n".join(printable(line) for line in text.split("\n"))


class _termination_as_interrupt:
    """A request to terminate, or a terminal that is closed, ends the run as an interrupt does: nothing half-written
    stays."""

    def __enter__(self):
        self._before = {}
        if threading.current_thread() is threading.main_thread():
            for name in ("SIGTERM", "SIGHUP"):  # the second is unknown to some systems
                number = getattr(signal, name, None)
                # What is ignored stays ignored: a run may be meant to outlive its terminal.
                if number is not None and signal.getsignal(number) is not signal.SIG_IGN:
                    self._before[number] = signal.signal(number, self._interrupt)

    def __exit__(self, *_):
        for number, before in self._before.items():
            signal.signal(number, before)

    @staticmethod
    def _interrupt(*_):
        raise KeyboardInterrupt


# --- arguments ----------------------------------------------------------------------------


class _Parser(argparse.ArgumentParser):
    """A parser that leaves help and version to be printed with the care of all other output: argparse drops what cannot
    be written."""

    unsaid = ""

    def _print_message(self, message, file=None):
        if file is sys.stdout:
            _Parser.unsaid = (message or "").rstrip("\n")
        else:
            super()._print_message(message, file)


def parser() -> argparse.ArgumentParser:
    """Reader of the arguments: the one place of commands, options and their help."""
    top = _Parser(
        prog="binestimator",
        description="Annual energy and cost of supply air temperature and duct static pressure reset strategies of "
        "VAV air handlers.",
        epilog="Exit codes: 0 done; 1 a check that must hold failed, or --strict and there is something to look at; 2 "
        "input or output cannot be used; 3 fault of the program; 130 interrupted.",
    )
    top.add_argument("--version", action="version", version=f"binestimator {__version__}")
    commands = top.add_subparsers(title="commands", metavar="COMMAND", required=True)

    estimate = commands.add_parser(
        "estimate",
        help="evaluate a project: workbook, results file and a comparison in the terminal",
        description="Evaluates every option of a project in its typical year and writes <project>.xlsx and "
        "<project>.json; with --edition client also <project>_client.xlsx. "
        "Overrides of a reviewer in a form or workbook are run a second time and reported beside the claim.",
    )
    estimate.add_argument(
        "project",
        metavar="PROJECT",
        help="project file (.toml), filled-in input form, or a workbook of an earlier run (.xlsx)",
    )
    estimate.add_argument(
        "--out", metavar="DIR", default="output", help="folder of the files, made if missing (default: output)"
    )
    estimate.add_argument(
        "--edition",
        choices=("working", "client"),
        default="working",
        help="client: also write the sheets for the owner alone, with values, as <project>_client.xlsx (default: "
        "working, the workbook that calculates)",
    )
    estimate.add_argument(
        "--strict",
        action="store_true",
        help="exit with 1 also if there is a caution or an earlier file was kept under another name; the files are "
        "written all the same",
    )
    estimate.add_argument(
        "--as-run",
        action="store_true",
        help="run all options at time steps as well, as controllers run them; as the input as_run.enabled does",
    )
    _add_force(
        estimate,
        "replace existing files whatever they hold, instead of keeping or refusing them; never a file that is read",
    )
    _add_debug(estimate)
    estimate.set_defaults(run=_estimate)

    bins = commands.add_parser(
        "bins",
        help="bin-hour table of a weather file for a schedule",
        description="Shows the hours of a typical year by outdoor temperature, occupied and not, with mean coincident "
        "humidity. "
        "The schedule is that of a project, or weekday hours given here.",
    )
    bins.add_argument(
        "weather",
        metavar="WEATHER",
        help="typical-year file (TMY3, TMY2 or EPW), looked for here and where a project would look",
    )
    bins.add_argument(
        "--csv", metavar="FILE", help="write the table to this file as well, with the hours in thirds of the day"
    )
    _add_force(bins, "replace FILE whatever it holds; never a file that is read")
    bins.add_argument(
        "--width", type=int, choices=(2, 5, 10), help="width of the bins in degF (default: that of the project, else 5)"
    )
    bins.add_argument(
        "--whole-f",
        choices=("auto", "yes", "no"),
        help="round temperatures back to whole degF (default: that of the project, else auto)",
    )
    bins.add_argument(
        "--project", metavar="PROJECT.toml", help="take calendar, schedule, bins and site pressure from this project"
    )
    bins.add_argument(
        "--hours",
        nargs=2,
        type=float,
        metavar=("START", "END"),
        help="occupied clock hours on weekdays (default: 7 18)",
    )
    bins.add_argument(
        "--saturday", nargs=2, type=float, metavar=("START", "END"), help="the same on Saturdays (default: closed)"
    )
    bins.add_argument(
        "--sunday",
        nargs=2,
        type=float,
        metavar=("START", "END"),
        help="the same on Sundays and holidays (default: closed)",
    )
    bins.add_argument("--day-and-night", action="store_true", help="occupied in every hour")
    bins.add_argument(
        "--first-weekday", choices=_WEEKDAYS, metavar="DAY", help="weekday of 1 January (default: Monday)"
    )
    bins.add_argument("--holidays", metavar="MM-DD,...", help="days that count as Sundays; an empty text means none")
    bins.add_argument(
        "--standard-time", action="store_true", help="no daylight saving: clock time is standard time all year"
    )
    _add_debug(bins)
    bins.set_defaults(run=_bins)

    form = commands.add_parser(
        "form",
        help="input form as a workbook, empty or filled from a project",
        description="Writes an input form: every input with unit, allowed range, default and its source, as cells to "
        "fill in. "
        "A filled-in form is evaluated with: binestimator estimate FORM.xlsx",
    )
    form.add_argument("out", metavar="OUT.xlsx", help="form to write")
    form.add_argument(
        "--from", dest="source", metavar="PROJECT", help="fill it from this project file, form or workbook"
    )
    _add_force(form, "replace OUT.xlsx whatever it holds; never a file that is read")
    _add_debug(form)
    form.set_defaults(run=_form)

    inputs = commands.add_parser(
        "inputs",
        help="reference of all inputs of a project file",
        description="Prints every input with unit, allowed range, default and its source, as Markdown.",
    )
    inputs.add_argument("section", metavar="SECTION", nargs="?", help="only this section, such as fan or zone")
    _add_debug(inputs)
    inputs.set_defaults(run=_inputs)
    return top


def _add_debug(command: argparse.ArgumentParser) -> None:
    command.add_argument("--debug", action="store_true", help="show where in the program an error arose")


def _add_force(command: argparse.ArgumentParser, help_text: str) -> None:
    command.add_argument("--force", action="store_true", help=help_text)


# --- commands -----------------------------------------------------------------------------


def _estimate(args) -> None:
    from binestimator.steps import (
        check_outputs,
        files_read,
        free_stem,
        output_places,
        read_any,
        trail_of,
        weather_of,
        write_outputs,
    )
    from binestimator.writing import Manners

    project, overrides, reviewed_project = read_any(args.project)
    trail = trail_of(args.project)
    # Only now the heavy part: what is wrong with a file, or stands in the way, is said at once.
    read = files_read(args.project, project, *([] if reviewed_project is None else [reviewed_project]))
    client = args.edition == "client"
    stem = free_stem(args.project, args.out, read, client=client)
    manners = Manners(read=read, force=args.force, elsewhere="choose another folder with --out", insist="--force")
    args.watched = _Watched(*output_places(args.out, stem, client=client))
    check_outputs(args.out, stem, manners, client=client)

    from binestimator.advice import estimate_and_advise as estimate
    from binestimator.results import Review
    from binestimator.terminal import comparison, reviewed

    results = estimate(project, weather_of(project))
    if args.as_run or project.as_run.enabled:
        from binestimator.as_run.audit import audit
        from binestimator.as_run.report import with_as_run

        results = with_as_run(results, audit(results, progress=_progress("As run")))
    review = None
    if reviewed_project is not None:
        review = Review(overrides=overrides, results=estimate(reviewed_project, weather_of(reviewed_project)))
    written = write_outputs(results, args.out, stem, review, manners, client=client, trail=trail)
    failed = any(check.status == "fail" for check in results.checks)
    cautions = any(finding.level == "caution" for finding in results.findings)
    if failed or args.strict and (cautions or written.kept):
        args.code = FINDINGS
    parts = [comparison(results)]
    if review is not None:
        parts.append(reviewed(results, review))
    if trail is not None and trail.run_id not in ("", results.run_id):
        changed, carried = len(trail.changes(project)), len(trail.questions)
        parts.append(
            f"Earlier   run {trail.run_id}: {changed} input{'' if changed == 1 else 's'} changed since, {carried} "
            f"question{'' if carried == 1 else 's'} carried over; see the sheet Review"
        )
    files = [f"Workbook      {written.workbook}", f"Results file  {written.results_file}"]
    if written.client is not None:
        files.append(f"Client        {written.client}")
    if written.kept:
        files.append(
            f"Kept          {', '.join(map(str, written.kept.values()))}\n"
            "              (earlier results that are not as this program wrote them: changed since, or of an earlier "
            "version)"
        )
    if args.code == FINDINGS:
        why = (
            ["a check that must hold has failed"]
            if failed
            else [
                *(["there is a caution"] if cautions else []),
                *(["an earlier file was kept under another name"] if written.kept else []),
            ]
        )
        files.append(f"Exit code     1: {' and '.join(why)}" + ("" if failed else " (--strict)"))
    _say(args, "\n\n".join([*parts, "\n".join(files)]))


def _progress(what: str):
    """Shows the share that is done on the error stream, where a person watches; else nothing."""
    stream = sys.stderr
    if stream is None or not stream.isatty():
        return None
    shown = [-1]

    def tell(share: float) -> None:
        percent = int(100.0 * share)
        if percent != shown[0]:
            shown[0] = percent
            stream.write(f"\r{what} {percent} %" + ("\r" + " " * 20 + "\r" if percent >= 100 else ""))
            stream.flush()

    return tell


def _bins(args) -> None:
    import csv
    import io

    import numpy as np

    from binestimator.bins import bin_table
    from binestimator.hours import bin_low_f, build_conditions
    from binestimator.seal import BINS, UNSEALED, seal_text
    from binestimator.steps import files_read, read_any
    from binestimator.terminal import bins as bins_text
    from binestimator.weather import find_weather, read_weather, weather_for
    from binestimator.writing import Manners, NewFile, check_places, write_files

    if args.project is None:
        project, schedule = _schedule_project(args)
        folder, whole_f, pressure_psia, read = ".", args.whole_f or "auto", None, ()
    else:
        given = _schedule_options(args)
        if given:
            raise InputError(f"{given[0]}: the schedule is that of --project; leave out one of them")
        project = read_any(args.project)[0]
        schedule = f"that of {project.info.name}"
        folder, whole_f, pressure_psia = (
            project.source_dir,
            args.whole_f or project.weather.whole_f,
            project.weather.pressure_psia,
        )
        read = files_read(args.project, project, weather=False)
    here = os.path.lexists(args.weather)
    path = Path(args.weather) if here else find_weather(args.weather, folder)
    manners = Manners(read=(path, *read), force=args.force, elsewhere="give another name with --csv", insist="--force")
    if args.csv is not None:
        args.watched = _Watched(args.csv)
        check_places([args.csv], [BINS], manners)
    how = {"whole_f": whole_f, "pressure_psia": pressure_psia}
    weather = read_weather(path, **how) if here else weather_for(args.weather, folder, **how)
    width_f = args.width or project.bins.width_f
    conditions = build_conditions(weather, project)
    occupied = conditions.occupied > 0.5
    means = {"mcwb_occupied_f": conditions.oawb_f, "mean_humidity_ratio_occupied": conditions.humidity_ratio}
    table = bin_table(
        conditions, width_f=int(width_f), means={k: np.where(occupied, v, np.nan) for k, v in means.items()}
    )
    text = bins_text(table, weather, schedule, float(len(weather.frame)))
    if args.csv is not None:
        place = ((bin_low_f(conditions.oat_f, width_f) - table["bin_low_f"].iloc[0]) / width_f).astype(int)
        for start in (0, 8, 16):
            third = (conditions.hour_start >= start) & (conditions.hour_start < start + 8)
            table[f"hours_{start:02d}_{start + 8:02d}"] = np.bincount(place, third, len(table))
        file = io.StringIO()
        writer = csv.writer(file, lineterminator="\n")
        # The checksum of the file is in its first line: a line of its own would be taken for a bin.
        writer.writerow([*table.columns, "checksum"])
        writer.writerows(
            [*(_csv_cell(value) for value in row), "" if number else UNSEALED]
            for number, row in enumerate(table.itertuples(index=False))
        )
        write_files([NewFile(Path(args.csv), seal_text(file.getvalue()), BINS)], manners)
        text += f"\n\nTable  {args.csv}"
    _say(args, text)


def _csv_cell(value) -> str:
    """Ten digits of a number, nothing for NaN (a bin without hours)."""
    if isinstance(value, str):
        return value
    return "" if value != value else f"{value:.10g}"


#: Options of ``bins`` that describe a schedule.
_SCHEDULE_OPTIONS = ("hours", "saturday", "sunday", "day_and_night", "first_weekday", "holidays", "standard_time")


def _schedule_options(args) -> list[str]:
    return [f"--{name.replace('_', '-')}" for name in _SCHEDULE_OPTIONS if getattr(args, name) not in (None, False)]


def _schedule_project(args):
    """Project that carries nothing but the schedule of the options, and the schedule in words."""
    from binestimator.inputs.read import project_from_mapping

    group = {"name": "schedule"}
    if args.day_and_night:
        clash = [option for option in _schedule_options(args) if option in ("--hours", "--saturday", "--sunday")]
        if clash:
            raise InputError(f"{clash[0]}: --day-and-night occupies every hour; leave out one of them")
        group["always_on"] = True
    calendar: dict = {"daylight_saving": not args.standard_time}
    if args.first_weekday:
        calendar["first_weekday"] = args.first_weekday
    if args.holidays is not None:
        calendar["holidays"] = [day.strip() for day in args.holidays.split(",") if day.strip()]
    for option, name in (("hours", "weekday_hours"), ("saturday", "saturday_hours"), ("sunday", "sunday_hours")):
        if getattr(args, option) is not None:
            group[name] = getattr(args, option)
    project = project_from_mapping(
        {
            "project": {"name": "bins"},
            "weather": {"file": args.weather},
            "calendar": calendar,
            "group": [group],
            "schedule": {"unoccupied_mode": "off"},
            "zone": [{"name": "zone", "area_ft2": 1000}],
        }
    )
    clock = "clock time with daylight saving" if project.calendar.daylight_saving else "standard time"
    record = project.groups[0]
    spans = (
        (record.weekday_hours, "weekdays"),
        (record.saturday_hours, "Saturdays"),
        (record.sunday_hours, "Sundays and holidays"),
    )
    hours = (
        "day and night"
        if record.always_on
        else "; ".join(f"{day} {span[0]:g} to {span[1]:g}" if span else f"{day} closed" for span, day in spans)
    )
    return (
        project,
        f"{hours}; {clock}; 1 January is a {project.calendar.first_weekday}; {len(project.calendar.holidays)} holidays",
    )


def _form(args) -> None:
    from binestimator.seal import FORM
    from binestimator.steps import files_read, read_any
    from binestimator.writing import Manners, check_places

    out = Path(args.out)
    if out.suffix.casefold() != ".xlsx":
        raise InputError(f"{out}: a form is a workbook; give it a name that ends in .xlsx")
    project, read = None, ()
    if args.source is not None:
        if os.path.realpath(out) == os.path.realpath(args.source):
            raise InputError(f"{out}: is the file that the form is filled from; give another name")
        project = read_any(args.source)[0]
        read = files_read(args.source, project, weather=False)
    manners = Manners(read=read, force=args.force, elsewhere="give another name", insist="--force")
    args.watched = _Watched(out)
    check_places([out], [FORM], manners)

    from binestimator.workbook.form import write_form

    write_form(out, project, manners)
    _say(args, f"Form  {out}")


def _inputs(args) -> None:
    from binestimator.inputs.reference import documentation_markdown
    from binestimator.inputs.schema import SECTIONS, did_you_mean, title_of

    text = documentation_markdown()
    if args.section is not None:
        if args.section not in SECTIONS:
            hint = did_you_mean(args.section, SECTIONS)
            raise InputError(f"{args.section}: unknown section; {hint or 'known are ' + ', '.join(SECTIONS)}")
        start = text.index(f"## {title_of(args.section)}\n")
        end = text.find("\n## ", start)
        text = text[start : len(text) if end < 0 else end]
    _say(args, text.rstrip())
