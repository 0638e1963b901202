"""A quick check: facts from options or, where a person is at the terminal, from answers; the project that follows."""

from __future__ import annotations

import os
import sys
from collections.abc import Mapping
from pathlib import Path

from binestimator.errors import InputError, WeatherError
from binestimator.inputs.facts import Fact, fact, facts
from binestimator.inputs.first_project import check_together, raw_project, read_fact, without_need
from binestimator.inputs.problems import InputErrors, Problem, Problems, printable
from binestimator.inputs.project import Project
from binestimator.inputs.read import project_from_mapping
from binestimator.inputs.schema import LIST_SECTIONS
from binestimator.weather.find import find_place

_TITLE = "quick check"
#: A name is not asked for: that of the file does.
_NAME = "name"


def option_of(each: Fact) -> str:
    """Option of the command line of a fact."""
    return f"--{each.name}"


def quick_project(typed: Mapping[str, str], path: Path) -> Project:
    """Project of the facts of a command line and, where a person can answer, of what is asked.

    Parameters
    ----------
    typed : mapping
        Name of a fact -> what was typed; facts that were not are left out.
    path : Path
        Project file that is to be written: its folder is where files are looked up from, its name that of the project
        where none is given.

    Raises
    ------
    InputError
        With everything that is missing or wrong. Nothing is waited for where no terminal is.
    """
    problems = Problems(in_cells=True)
    values: dict[str, object] = {}
    for each in facts():
        if each.name in typed or each.name == _NAME:
            value, problem = read_fact(each, typed.get(each.name, path.stem))
            if problem is None and value is not None:
                values[each.name] = value
            elif problem or each.name in typed and each.needed:
                problems.add_bad(option_of(each), problem or "is empty; expected " + each.allowed())
    if "weather" in values:
        try:
            values["weather"] = weather_name(str(values["weather"]), path.parent)
        except WeatherError as error:
            problems.add_bad(option_of(fact("weather")), str(error))
    missing = [each for each in facts() if each.needed and each.name not in values]
    missing = [each for each in missing if option_of(each) not in problems.bad]
    if missing and not problems.items and _can_ask():
        ask(values, path.parent)
        missing = []
    for each in missing:
        problems.add_bad(
            option_of(each),
            f"is missing: {each.label.lower()} ({each.question[:1].lower()}{each.question[1:]}), such as "
            f"{each.example}",
        )
    check_together(values, problems, lambda name: option_of(fact(name)))
    if problems.items:
        raise _error(problems.items)
    try:
        return project_from_mapping(raw_project(values), path.parent)
    except InputErrors as error:
        raise _error([_named(problem) for problem in error.problems]) from None


def _error(problems) -> InputErrors:
    count = len(problems)
    return InputErrors(f"{_TITLE}: {count} problem{'' if count == 1 else 's'} in the facts", tuple(problems))


def _named(problem: Problem) -> Problem:
    """A problem of the project by the option of the fact that it comes from."""
    own = {each.path: each for each in facts() if each.path}
    own |= {"building.zone_area_ft2": fact("zones"), "fan.design_dsp_inwc": fact("dsp")}
    own |= {f"{part}.as_found.points": fact(part) for part in ("sat", "dsp")}
    if problem.where in own:
        return Problem(option_of(own[problem.where]), problem.text)
    section = problem.where.partition(".")[0].partition("[")[0]
    near = [option_of(each) for each in facts() if each.path.startswith(f"{section}.")]
    near = [option_of(fact("use")), option_of(fact("hours"))] if section in LIST_SECTIONS else near
    return Problem(f"{problem.where} (of {', '.join(near)})" if near else problem.where, problem.text)


def weather_name(typed: str, folder: Path) -> str:
    """Name of a weather file as a project file in a folder has it.

    Raises
    ------
    WeatherError
        There is no such file.
    """
    found, where = find_place(typed, folder)
    # What is found from where the command runs has to be found from the folder of the project as well.
    if "working folder" in where and os.path.realpath(folder) != os.path.realpath("."):
        return os.path.relpath(found, folder).replace(os.sep, "/")
    return typed


# ---------------------------------------------------------------- asking


def _can_ask() -> bool:
    """Whether a person is at the terminal, to read questions and to answer."""
    return all(stream is not None and stream.isatty() for stream in (sys.stdin, sys.stderr))


def ask(values: dict[str, object], folder: Path) -> None:
    """Ask for all facts that are not known and put the answers among the values.

    Raises
    ------
    InputError
        The answers end before all facts that are needed are known.
    """
    _tell(
        "Quick check. Enter alone takes what stands in brackets; Ctrl+C ends without a file.\n"
        "What is not known is a default, and is told as such.\n"
    )
    for each in facts():
        if each.name in values or each.name in without_need(values) or each.name == _NAME:
            continue
        _tell(f"\n{each.label}: {each.question[:1].lower()}{each.question[1:]}.\n  {each.allowed()}\n")
        while True:
            _tell(f"  [{'such as ' + each.example if each.needed else each.empty()}] ")
            value, problem = _answer(each, folder)
            if problem is None and (value is not None or not each.needed):
                break
            _tell(f"  {problem or 'has to be given'}\n")
        if value is not None:
            values[each.name] = value


def _answer(each: Fact, folder: Path) -> tuple[object, str | None]:
    """Value of an answer, and what is wrong with it."""
    try:
        line = sys.stdin.readline()
    except UnicodeDecodeError:
        return None, "not text; type it again"
    if not line:
        raise InputError(f"{_TITLE}: the answers ended at “{each.label}”; nothing was written")
    value, problem = read_fact(each, line)
    if problem is None and value is not None and each.name == "weather":
        try:
            return weather_name(str(value), folder), None
        except WeatherError as error:
            return None, str(error)
    return value, problem


def _tell(text: str) -> None:
    sys.stderr.write("\n".join(printable(line) for line in text.split("\n")))
    sys.stderr.flush()
