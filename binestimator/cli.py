"""The command ``binestimator``: reads arguments, calls the library, tells how it ended.

Exit codes: 0 done · 1 done, but ``--strict`` and a check failed or a caution stands · 2 the
input or the output folder cannot be used · 3 a fault of the program · 130 interrupted.
"""

from __future__ import annotations

import argparse
import gc
import os
import signal
import sys
import threading
from pathlib import Path

from binestimator import __version__
from binestimator.errors import BinestimatorError, InputError

DONE, FINDINGS, BAD_INPUT, FAULT, INTERRUPTED = 0, 1, 2, 3, 130

_WEEKDAYS = ("Monday", "Tuesday", "Wednesday", "Thursday", "Friday", "Saturday", "Sunday")


def command() -> int:
    """The command as a process of its own; exit code of :func:`main`."""
    # A process that ends in seconds: looking for garbage, last of all on the way out, is in vain.
    gc.disable()
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
    args = parser().parse_args(arguments)
    args.written = False
    # Matrices here are small: more threads cost more than they bring, and one gives the same
    # last digits on every machine. Has to be said before the libraries load.
    for name in ("OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS"):
        os.environ.setdefault(name, "1")
    with _termination_as_interrupt():
        return _guarded(args)


def _guarded(args) -> int:
    """Run a command; every way to end has its code and at most one message."""
    try:
        code = args.run(args)
        sys.stdout.flush()
        return code
    except BinestimatorError as error:
        return _ended(args, BAD_INPUT, f"error: {error}")
    except KeyboardInterrupt:
        return _ended(args, INTERRUPTED, f"interrupted: {_state_of_files(args)}")
    except BrokenPipeError:
        # Whoever read the output had enough of it. What is left must not fail at exit.
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return DONE
    except Exception as error:  # noqa: BLE001 - the last resort: no traceback for users
        what = f"{type(error).__name__}: {error}".splitlines()[0]
        return _ended(args, FAULT, f"error: a fault of the program, not of your input ({what}); {_state_of_files(args)}. "
                                   "Run again with --debug and report what it prints.")  # fmt: skip


def _state_of_files(args) -> str:
    return "the files of this run are complete" if args.written else "nothing was written, files of earlier runs are as they were"


def _ended(args, code: int, message: str) -> int:
    if args.debug:
        import traceback

        traceback.print_exc()
    print(_printable(message), file=sys.stderr)
    return code


def _printable(text: str) -> str:
    """Text without control characters, which files of others could bring along."""
    from binestimator.inputs.problems import printable

    return "\n".join(printable(line) for line in text.split("\n"))


class _termination_as_interrupt:  # noqa: N801 - reads as a statement
    """A request to terminate, or a terminal that is closed, ends the run as an interrupt does: nothing half-written stays."""

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


def parser() -> argparse.ArgumentParser:
    """Reader of the arguments: the one place of commands, options and their help."""
    top = argparse.ArgumentParser(
        prog="binestimator",
        description="Annual energy and cost of supply air temperature and duct static pressure reset strategies of VAV air handlers.",
        epilog="Exit codes: 0 done; 1 --strict and a check failed or a caution stands; 2 input or output cannot be used; "
               "3 fault of the program; 130 interrupted.",
    )  # fmt: skip
    top.add_argument("--version", action="version", version=f"binestimator {__version__}")
    commands = top.add_subparsers(title="commands", metavar="COMMAND", required=True)

    estimate = commands.add_parser(
        "estimate", help="evaluate a project: workbook, results file and a comparison in the terminal",
        description="Evaluates every candidate of a project in its typical year and writes <project>.xlsx and <project>.json. "
                    "Overrides of a reviewer in a form or workbook are run a second time and reported beside the claim.",
    )  # fmt: skip
    estimate.add_argument("project", metavar="PROJECT", help="project file (.toml), filled-in input form, or a workbook of an earlier run (.xlsx)")
    estimate.add_argument("--out", metavar="DIR", default="output", help="folder of the two files, made if missing (default: output)")
    estimate.add_argument("--strict", action="store_true", help="exit with 1 if a check fails or a caution stands; the files are written all the same")
    _add_debug(estimate)
    estimate.set_defaults(run=_estimate)

    bins = commands.add_parser(
        "bins", help="bin-hour table of a weather file for a schedule",
        description="Shows the hours of a typical year by outdoor temperature, occupied and not, with mean coincident humidity. "
                    "The schedule is that of a project, or weekday hours given here.",
    )  # fmt: skip
    bins.add_argument("weather", metavar="WEATHER", help="typical-year file (TMY3, TMY2 or EPW), looked up here and in weather/")
    bins.add_argument("--csv", metavar="FILE", help="write the table to this file as well, with the hours in thirds of the day")
    bins.add_argument("--width", type=int, choices=(2, 5, 10), help="width of the bins in degF (default: that of the project, else 5)")
    bins.add_argument("--whole-f", choices=("auto", "yes", "no"), help="round temperatures back to whole degF (default: that of the project, else auto)")
    bins.add_argument("--project", metavar="PROJECT.toml", help="take calendar, schedule, bins and site pressure from this project")
    bins.add_argument("--hours", nargs=2, type=float, metavar=("START", "END"), help="occupied clock hours on weekdays (default: 7 18)")
    bins.add_argument("--saturday", nargs=2, type=float, metavar=("START", "END"), help="the same on Saturdays (default: closed)")
    bins.add_argument("--sunday", nargs=2, type=float, metavar=("START", "END"), help="the same on Sundays and holidays (default: closed)")
    bins.add_argument("--day-and-night", action="store_true", help="occupied in every hour")
    bins.add_argument("--first-weekday", choices=_WEEKDAYS, metavar="DAY", help="weekday of 1 January (default: Monday)")
    bins.add_argument("--holidays", metavar="MM-DD,...", help="days that count as Sundays; an empty text means none")
    bins.add_argument("--standard-time", action="store_true", help="no daylight saving: clock time is standard time all year")
    _add_debug(bins)
    bins.set_defaults(run=_bins)

    form = commands.add_parser(
        "form", help="input form as a workbook, empty or filled from a project",
        description="Writes an input form: every input with unit, allowed range, default and its source, as cells to fill in. "
                    "A filled-in form is evaluated with: binestimator estimate FORM.xlsx",
    )  # fmt: skip
    form.add_argument("out", metavar="OUT.xlsx", help="form to write")
    form.add_argument("--from", dest="source", metavar="PROJECT", help="fill it from this project file, form or workbook")
    _add_debug(form)
    form.set_defaults(run=_form)

    inputs = commands.add_parser(
        "inputs", help="reference of all inputs of a project file",
        description="Prints every input with unit, allowed range, default and its source, as Markdown.",
    )  # fmt: skip
    inputs.add_argument("section", metavar="SECTION", nargs="?", help="only this section, such as fan or zone")
    _add_debug(inputs)
    inputs.set_defaults(run=_inputs)
    return top


def _add_debug(command: argparse.ArgumentParser) -> None:
    command.add_argument("--debug", action="store_true", help="show where in the program an error arose")


# --- commands -----------------------------------------------------------------------------


def _estimate(args) -> int:
    from binestimator.steps import free_stem, read_any, weather_of, write_outputs

    project, overrides, reviewed_project = read_any(args.project)
    # Only now the heavy part: what is wrong with a file is said at once.
    from binestimator.advice import estimate_and_advise as estimate
    from binestimator.results import Review
    from binestimator.terminal import comparison, reviewed

    results = estimate(project, weather_of(project))
    review = None
    if reviewed_project is not None:
        review = Review(overrides=overrides, results=estimate(reviewed_project, weather_of(reviewed_project)))
    workbook, results_file = write_outputs(results, args.out, free_stem(args.project, args.out), review)
    args.written = True
    print(_printable(comparison(results)))
    if review is not None:
        print(_printable("\n" + reviewed(results, review)))
    print(_printable(f"\nWorkbook      {workbook}\nResults file  {results_file}"))
    failed = any(check.status == "fail" for check in results.checks)
    cautions = any(finding.level == "caution" for finding in results.findings)
    return FINDINGS if args.strict and (failed or cautions) else DONE


def _bins(args) -> int:
    import csv
    import io

    import numpy as np

    from binestimator.bins import bin_table
    from binestimator.hours import bin_low_f, build_conditions
    from binestimator.steps import read_any
    from binestimator.terminal import bins as bins_text
    from binestimator.weather import find_weather, read_weather

    if args.project is None:
        project, schedule = _schedule_project(args)
        folder, whole_f, pressure_psia = ".", args.whole_f or "auto", None
    else:
        given = _schedule_options(args)
        if given:
            raise InputError(f"{given[0]}: the schedule is that of --project; leave out one of them")
        project = read_any(args.project)[0]
        schedule = f"that of {project.info.name}"
        folder, whole_f, pressure_psia = project.source_dir, args.whole_f or project.weather.whole_f, project.weather.pressure_psia
    path = Path(args.weather)
    weather = read_weather(path if path.exists() else find_weather(args.weather, folder), whole_f=whole_f, pressure_psia=pressure_psia)
    width_f = args.width or project.bins.width_f
    conditions = build_conditions(weather, project)
    occupied = conditions.occupied > 0.5
    means = {"mcwb_occupied_f": conditions.oawb_f, "mean_humidity_ratio_occupied": conditions.humidity_ratio}
    table = bin_table(conditions, width_f=int(width_f), means={k: np.where(occupied, v, np.nan) for k, v in means.items()})
    text = bins_text(table, weather, schedule, float(len(weather.frame)))
    if args.csv is not None:
        from binestimator.workbook.strict import write_atomically

        place = ((bin_low_f(conditions.oat_f, width_f) - table["bin_low_f"].iloc[0]) / width_f).astype(int)
        for start in (0, 8, 16):
            third = (conditions.hour_start >= start) & (conditions.hour_start < start + 8)
            table[f"hours_{start:02d}_{start + 8:02d}"] = np.bincount(place, third, len(table))
        file = io.StringIO()
        writer = csv.writer(file, lineterminator="\n")
        writer.writerow(table.columns)
        writer.writerows([_csv_cell(value) for value in row] for row in table.itertuples(index=False))
        write_atomically(args.csv, file.getvalue().encode())
        args.written = True
        text += f"\n\nTable  {args.csv}"
    print(_printable(text))
    return DONE


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
    project = project_from_mapping({
        "project": {"name": "bins"}, "weather": {"file": args.weather}, "calendar": calendar, "group": [group],
        "schedule": {"unoccupied_mode": "off"}, "zone": [{"name": "zone", "area_ft2": 1000}],
    })  # fmt: skip
    clock = "clock time with daylight saving" if project.calendar.daylight_saving else "standard time"
    record = project.groups[0]
    spans = ((record.weekday_hours, "weekdays"), (record.saturday_hours, "Saturdays"), (record.sunday_hours, "Sundays and holidays"))
    hours = "day and night" if record.always_on else "; ".join(
        f"{day} {span[0]:g} to {span[1]:g}" if span else f"{day} closed" for span, day in spans)  # fmt: skip
    return project, f"{hours}; {clock}; 1 January is a {project.calendar.first_weekday}; {len(project.calendar.holidays)} holidays"


def _form(args) -> int:
    from binestimator.steps import read_any
    from binestimator.workbook.form import write_form

    out = Path(args.out)
    if out.suffix.casefold() != ".xlsx":
        raise InputError(f"{out}: a form is a workbook; give it a name that ends in .xlsx")
    if args.source is not None and os.path.realpath(out) == os.path.realpath(args.source):
        raise InputError(f"{out}: is the file that the form is filled from; give another name")
    project = None if args.source is None else read_any(args.source)[0]
    write_form(out, project)
    args.written = True
    print(_printable(f"Form  {out}"))
    return DONE


def _inputs(args) -> int:
    from binestimator.inputs.schema import SECTIONS, did_you_mean, documentation_markdown, title_of

    text = documentation_markdown()
    if args.section is not None:
        if args.section not in SECTIONS:
            hint = did_you_mean(args.section, SECTIONS)
            raise InputError(f"{args.section}: unknown section; {hint or 'known are ' + ', '.join(SECTIONS)}")
        start = text.index(f"## {title_of(args.section)}\n")
        end = text.find("\n## ", start)
        text = text[start : len(text) if end < 0 else end]
    print(text.rstrip())
    return DONE
