"""The command ``binestimator``: reads arguments, calls the library, tells how it ended.

Exit codes: 0 done · 1 done, but a check that must hold failed, or ``--strict`` and there is something to look at
· 2 the input or the place of the output cannot be used · 3 a fault of the program · 130 interrupted.
"""

from __future__ import annotations

import argparse
import gc
import os
import signal
import sys
import threading
import warnings

from binestimator import __version__, parallel
from binestimator.commands import (
    run_bins,
    run_estimate,
    run_form,
    run_inputs,
    run_plan_measurement,
    run_quick,
    run_realised,
    run_trends,
)
from binestimator.console import (
    BAD_INPUT,
    DONE,
    FAULT,
    INTERRUPTED,
    OutputError,
    ended,
    say,
    silence,
    state_of_files,
)
from binestimator.errors import BinestimatorError, InputError
from binestimator.inputs.facts import facts

_WEEKDAYS = ("Monday", "Tuesday", "Wednesday", "Thursday", "Friday", "Saturday", "Sunday")


def command() -> int:
    """The command as a process of its own; exit code of :func:`main`."""
    # A process that ends in seconds: collecting garbage is wasted time, above all at the end.
    gc.disable()
    parallel.allow_copies()
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
            argparse.Namespace(run=lambda args: say(args, _Parser.unsaid), debug=False, watched=None, code=DONE)
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
            raise OutputError(
                "standard output is closed; nothing was begun; run again with it open, or send it to a file"
            )
        _check_current_folder(args)
        args.run(args)
        return args.code
    except BinestimatorError as error:
        return ended(args, BAD_INPUT, f"error: {error}")
    except KeyboardInterrupt:
        return ended(args, INTERRUPTED, f"interrupted; {state_of_files(args)}")
    except BrokenPipeError:
        # The reader of the output has closed it.
        silence(sys.stdout)
        return args.code
    except MemoryError:
        return ended(
            args,
            BAD_INPUT,
            f"error: this machine has not enough memory for that; {state_of_files(args)}; close other programs, "
            "or make the project smaller",
        )
    except Exception as error:  # noqa: BLE001 - the last resort: no traceback for users
        from binestimator.writing import remedy

        if isinstance(error, OSError) and (do := remedy(error, "use another place")):
            return ended(args, BAD_INPUT, f"error: {error.strerror}; {state_of_files(args)}; {do}")
        what = f"{type(error).__name__}: {error}".splitlines()[0]
        return ended(
            args,
            FAULT,
            f"error: a fault of the program, not of your input ({what}); {state_of_files(args)}. "
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
        description="Evaluates every option of a project in its typical year and writes <project>.xlsx, "
        "<project>.json and <project>_handover.txt; with --edition client also <project>_client.xlsx. "
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
    how_sure = estimate.add_mutually_exclusive_group()
    how_sure.add_argument(
        "--ranges",
        action="store_true",
        help="full ranges of all results from many draws of the uncertain inputs, some of them hour by hour (default: "
        "coarse ranges from few draws)",
    )
    how_sure.add_argument(
        "--no-ranges",
        action="store_true",
        help="no ranges at all; as the input ranges.coarse = false does",
    )
    estimate.add_argument(
        "--weather-year",
        metavar="FILE[=P]",
        action="append",
        default=[],
        help="weather file of another year of the same place, in which a share P of the draws is made (default: years "
        "without P and the project's own share evenly what is left); may be repeated; as [[weather_year]] does",
    )
    estimate.add_argument(
        "--indicators",
        action="store_true",
        help="run also what weakens resets, each beside the same option without it, and --as-run; as the input "
        "as_run.indicators does",
    )
    estimate.add_argument(
        "--rank-as-run",
        action="store_true",
        help="run all options at time steps, and judge and rank all of them as run instead of by the bins",
    )
    estimate.add_argument(
        "--handover",
        metavar="OPTION",
        help="id of the option whose setpoints, sequence and tests are handed over (default: the one that the first "
        "page presents)",
    )
    estimate.add_argument(
        "--trends",
        metavar="FOUND.json",
        help="results file of trend logs (binestimator trends --json): measured beside modelled on a sheet of its own",
    )
    estimate.add_argument(
        "--realised",
        metavar="REALISED.json",
        help="results file of realised savings (binestimator realised --json): what was saved beside what was claimed, "
        "on a sheet of its own",
    )
    _add_force(
        estimate,
        "replace existing files whatever they hold, instead of keeping or refusing them; never a file that is read",
    )
    _add_debug(estimate)
    estimate.set_defaults(run=run_estimate)

    quick = commands.add_parser(
        "quick",
        help="a first range and what to measure next, from some ten facts; writes a project file to grow from",
        description="Makes a project of what is known at a first meeting, all else by default, and says what resets "
        "save, how sure that is and what to measure next. Facts that are needed and not given are asked for at a "
        "terminal; elsewhere they are named, with exit code 2. Numbers that begin with a minus sign need an equals "
        "sign before them.",
    )
    quick.add_argument("out", metavar="PROJECT.toml", help="project file to write")
    for each in facts():
        marks = "needed" if each.needed else f"default: {each.empty()}"
        marks = "default: that of the file" if each.name == "name" else marks
        quick.add_argument(
            f"--{each.name}",
            nargs=2 if each.field.type == "hour_pair" else None,
            metavar=("START", "END") if each.field.type == "hour_pair" else each.metavar,
            help=f"{each.label}: {each.question[:1].lower()}{each.question[1:]}, such as "
            f"{each.example.replace(',', '')} ({marks})".replace("%", "%%"),
        )
    _add_force(quick, "replace PROJECT.toml whatever it holds; never a file that is read")
    _add_debug(quick)
    quick.set_defaults(run=run_quick)

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
    bins.set_defaults(run=run_bins)

    form = commands.add_parser(
        "form",
        help="input form as a workbook, empty or filled from a project",
        description="Writes an input form: every input with unit, allowed range, default and its source, as cells to "
        "fill in. "
        "A filled-in form is evaluated with: binestimator estimate FORM.xlsx",
    )
    form.add_argument("out", metavar="OUT.xlsx", help="form to write")
    form.add_argument(
        "--from",
        dest="source",
        metavar="PROJECT",
        help="fill it from this project file, form or workbook; questions, revisions and run on its sheet Review stay",
    )
    _add_force(form, "replace OUT.xlsx whatever it holds; never a file that is read")
    _add_debug(form)
    form.set_defaults(run=run_form)

    inputs = commands.add_parser(
        "inputs",
        help="reference of all inputs of a project file",
        description="Prints every input with unit, allowed range, default and its source, as Markdown.",
    )
    inputs.add_argument("section", metavar="SECTION", nargs="?", help="only this section, such as fan or zone")
    _add_debug(inputs)
    inputs.set_defaults(run=run_inputs)

    trends = commands.add_parser(
        "trends",
        help="what trend logs of the controls say of the air handler as found, as inputs with evidence",
        description="Reads exports of trend logs (tables as text of any delimiter and date order, or .xlsx), says what "
        "they are worth and what they show of the air handler as found, and writes that as inputs of a project.",
    )
    trends.add_argument(
        "files", metavar="FILE", nargs="+", help="trend log: one file with a column a point, or several"
    )
    trends.add_argument(
        "--map", metavar="MAP.toml", help="which column is which point (default: drafted by name and content)"
    )
    trends.add_argument(
        "--draft-map",
        metavar="MAP.toml",
        help="write the draft of the map, to look at and change; alone, go no further",
    )
    trends.add_argument("--out", metavar="FRAGMENT.toml", help="write the inputs found, with evidence and status")
    trends.add_argument("--json", metavar="FILE.json", help="write everything found as a results file")
    trends.add_argument("--project", metavar="PROJECT", help="project that the log belongs to")
    trends.add_argument(
        "--merged", metavar="NEW.toml", help="write the project with the inputs found; given values stay"
    )
    trends.add_argument(
        "--replace-given", action="store_true", help="with --merged: found values take the place of given ones"
    )
    trends.add_argument(
        "--air-handler",
        metavar="NAME",
        help="which air handler, where the log holds several (default: that with most points)",
    )
    trends.add_argument(
        "--timezone", metavar="ZONE", help="move stamps in UTC or with an offset to this zone, such as America/New_York"
    )
    _add_force(trends, "replace the files that are written whatever they hold; never a file that is read")
    _add_debug(trends)
    trends.set_defaults(run=run_trends)

    realised = commands.add_parser(
        "realised",
        help="what was saved, from trend logs of the time before and after the work",
        description="Brings trend logs of the time before and after a reset to the typical year of the project, says "
        "what was saved with its 90 % interval, beside the claim, and what kept the reset from acting.",
    )
    _add_measured(realised, after=True)
    realised.add_argument(
        "--changed-on",
        metavar="DATE",
        help="day of the change (YYYY-MM-DD), for logs that hold both: days before it count as before, days after it "
        "as after",
    )
    realised.add_argument("--json", metavar="FILE.json", help="write the results file of what was realised")
    _add_force(realised, "replace FILE.json whatever it holds; never a file that is read")
    _add_debug(realised)
    realised.set_defaults(run=run_realised)

    plan = commands.add_parser(
        "plan-measurement",
        help="which points, what interval and how many weeks prove a saving",
        description="From the scatter of days in trend logs so far: points, interval, and weeks before and after the "
        "work that prove a saving to the wanted confidence.",
    )
    _add_measured(plan, after=False)
    plan.add_argument(
        "--saving",
        type=float,
        metavar="PERCENT",
        help="saving to be proven, in %% of the energy before (default: the claim)",
    )
    plan.add_argument(
        "--confidence", type=float, metavar="PERCENT", default=90.0, help="confidence in %% (default: 90)"
    )
    plan.add_argument(
        "--precision", type=float, metavar="PERCENT", default=50.0,
        help="half width of the interval in %% of the saving (default: 50)",
    )  # fmt: skip
    plan.add_argument(
        "--start",
        metavar="DATE",
        help="first day of the weeks to come, YYYY-MM-DD (default: the day after the logs end)",
    )
    plan.add_argument("--json", metavar="FILE.json", help="write the plan as a results file")
    _add_force(plan, "replace FILE.json whatever it holds; never a file that is read")
    _add_debug(plan)
    plan.set_defaults(run=run_plan_measurement)
    return top


def _add_measured(command: argparse.ArgumentParser, after: bool) -> None:
    command.add_argument("project", metavar="PROJECT", help="project file (.toml), form or workbook with the claim")
    command.add_argument(
        "--before", metavar="FILE", nargs="+", required=True, help="trend logs of the time before the change"
    )
    command.add_argument(
        "--after", metavar="FILE", nargs="+", required=after, help="trend logs of the time after the change"
    )
    command.add_argument("--map", metavar="MAP.toml", help="which column is which point, of both (default: drafted)")
    command.add_argument("--map-before", metavar="MAP.toml", help="the same of the logs before alone")
    command.add_argument("--map-after", metavar="MAP.toml", help="the same of the logs after alone")
    command.add_argument(
        "--option",
        metavar="OPTION",
        help="id of the option that was put in place (default: the one that is handed over)",
    )
    command.add_argument(
        "--air-handler",
        metavar="NAME",
        help="which air handler, where the logs hold several (default: that with most points)",
    )
    command.add_argument(
        "--timezone", metavar="ZONE", help="move stamps in UTC or with an offset to this zone, such as America/New_York"
    )


def _add_debug(command: argparse.ArgumentParser) -> None:
    command.add_argument("--debug", action="store_true", help="show where in the program an error arose")


def _add_force(command: argparse.ArgumentParser, help_text: str) -> None:
    command.add_argument("--force", action="store_true", help=help_text)
