"""Reads project files (TOML); reports everything wrong at once."""

from __future__ import annotations

import re
import tomllib
from collections.abc import Mapping
from pathlib import Path

from binestimator.errors import InputError
from binestimator.inputs.build import build_project
from binestimator.inputs.files import read_text
from binestimator.inputs.mapping import given_from_mapping
from binestimator.inputs.overrides import override_place
from binestimator.inputs.problems import InputErrors, Problem, Problems, sentence
from binestimator.inputs.project import Project
from binestimator.inputs.raw_tables import item_of
from binestimator.inputs.schema import LIST_SECTIONS
from binestimator.inputs.terms import TERM_LISTS
from binestimator.inputs.toml_statements import QUOTED
from binestimator.inputs.toml_text import Outline, outline
from binestimator.inputs.toml_words import quoted_line


def read_project(path: str | Path) -> Project:
    """Read, check and complete a project file.

    Parameters
    ----------
    path : str or Path
        TOML file. Files named in it are looked up from its folder.

    Returns
    -------
    Project

    Raises
    ------
    InputError
        When the file cannot be read, or with everything that is wrong in it.
    """
    path = Path(path)
    text = read_text(path, "project file", "a form or workbook is read when its name ends in .xlsx")
    line = _line_of_deep_key(text)
    if line:
        raise InputError(f"{path.name}: line {line}: a key with too many dots; expected keys such as design_sat_f = 55")
    try:
        raw = tomllib.loads(text)
    except RecursionError:
        raise InputError(f"{path.name}: lists or tables are nested too deep") from None
    except ValueError as error:  # includes TOMLDecodeError, whose text names line and column
        raise _unreadable(text, str(error), path) from None
    try:
        return _project(raw, path.name, path.parent)
    except InputErrors as error:
        raise _by_line(error, outline(text)) from None


def _unreadable(text: str, message: str, path: Path) -> InputError:
    """Everything that can be said about a file that is no TOML: its lines, and the values of those that can be read."""
    other = _other_kind(text)
    if other:
        return InputError(
            f"{path.name}: line 1: {other}; got {quoted_line(text.lstrip())}; expected a project file with lines such "
            "as "
            "design_sat_f = 55 under [air_handler]"
        )
    found = outline(text)
    if not found.problems:  # what is wrong lies between the lines
        number = re.search(r"line (\d+)", message)
        line = text.split("\n")[int(number[1]) - 1] if number else ""
        found.problems.append(
            Problem(
                f"line {number[1]}" if number else "",
                "not valid TOML"
                + (f"; got {quoted_line(line)}" if line else "")
                + f"; {message}; expected lines such as design_sat_f = 55 under [air_handler]",
            )
        )
    problems = Problems()
    given_from_mapping(found.raw, path.parent, problems)
    problems.items[:0] = found.problems
    return _by_line(problems.error(path.name), found)


# A file of so many lines, of which less than such a share looks like a heading or a key with its value, is prose.
_LEAST_PROSE_LINES, _MOST_STATEMENTS_FRAC = 10, 0.1


def _other_kind(text: str) -> str:
    """What a file is that was taken for a project file, in words, or an empty text."""
    start = text.lstrip()[:2000]
    first = start.partition("\n")[0]
    if start.startswith(("{", "[{")) or first.strip() == "[":
        return "this looks like a JSON file, such as the results of a run, not a project file"
    if start.startswith("<"):
        return "this looks like a web page or XML file, not a project file"
    if first.startswith("LOCATION,") or re.match(r'"?\d{5,6}"?,.*,-?\d+\.\d+,', first) or "Date (MM/DD/YYYY)" in start:
        return "this looks like a weather file, not a project file; name it there as file under [weather]"
    names = set(re.split(r"[,;\t]", first.strip()))
    if {"name", "area_ft2"} <= names:
        return "this looks like a zones file, not a project file; name it there as zones_csv under [project]"
    lines = [line for line in text.splitlines() if line.strip() and not line.lstrip().startswith("#")]
    statements = sum(re.match(r"\s*(\[|[\w.\"'-]+\s*[=:])", line) is not None for line in lines)
    if len(lines) >= _LEAST_PROSE_LINES and statements < _MOST_STATEMENTS_FRAC * len(lines):
        return "this looks like prose, not a project file"
    return ""


def _by_line(error: InputErrors, found: Outline) -> InputErrors:
    """The error with the line of each problem's input, or of the nearest thing it belongs to, and in the order of the
    file."""
    places = _lines_of_inputs(found)

    def placed(problem: Problem) -> tuple[int, Problem]:
        number = re.match(r"line (\d+)$", problem.where)
        if number:
            return int(number[1]), problem
        where = problem.where
        while where and where not in places:
            where = where[: max(where.rfind("."), where.rfind("["), 0)]
        if not where:
            return 1 << 30, problem
        return places[where], Problem(f"line {places[where]}, {problem.where}", problem.text)

    return InputErrors(
        error.title, tuple(problem for _, problem in sorted(map(placed, error.problems), key=lambda pair: pair[0]))
    )


def _lines_of_inputs(found: Outline) -> dict[str, int]:
    """Line of each input of a project file by its path in messages."""
    places: dict[str, int] = {}

    def note(path: str, lines: object) -> None:
        if isinstance(lines, int):
            places.setdefault(path, lines)
        elif isinstance(lines, dict):
            places.setdefault(path, lines.get("", 0))
            for key, inner in lines.items():
                if key and isinstance(key, str):
                    listed = path in ("override", "evidence", "status") or path.endswith(".override")
                    note(override_place(path, key) if listed else f"{path}.{key}", inner)

    for section, lines in found.lines.items():
        tables = found.raw.get(section)
        if isinstance(lines, list) and isinstance(tables, list):
            key = "id" if section == "candidate" else "name"
            for place, (table, inner) in enumerate(zip(tables, lines, strict=False)):
                if section in (*LIST_SECTIONS, *TERM_LISTS) and isinstance(table, Mapping):
                    note(item_of(section, table, place, key), inner)
        elif section:
            note(section, lines)
    return {path: line for path, line in places.items() if line}


def project_from_mapping(raw: Mapping, source_dir: str | Path | None = None) -> Project:
    """Project from a mapping of the layout of the project file.

    Parameters
    ----------
    raw : mapping
        As the TOML reader gives it: sections, lists of tables, values.
    source_dir : path, optional
        Folder from which file names in it are looked up; the current one when not given.

    Raises
    ------
    InputError
        With everything that is wrong.
    """
    if not isinstance(raw, Mapping):
        raise InputError(f"project: {sentence('not a table of sections', raw)}")
    return _project(raw, "", Path("." if source_dir is None else source_dir))


def _project(raw: Mapping, name: str, folder: Path) -> Project:
    problems = Problems()
    given, overrides = given_from_mapping(raw, folder, problems)
    project = build_project(given, overrides, problems, source_path=name, source_dir=str(folder), try_candidates=True)
    problems.raise_if_any(name or "project")
    return project


_MOST_KEY_DOTS = 4


def _line_of_deep_key(text: str) -> int:
    """Number of the first line with an absurdly long dotted key, or 0.

    The standard TOML reader keeps every beginning of a dotted key, so that memory grows with
    the square of its parts: a small file could exhaust the memory of any machine. A key is on one line.
    """
    bare = QUOTED.sub(lambda match: "q" + "\n" * match[0].count("\n"), text)
    for number, line in enumerate(bare.split("\n"), start=1):
        if line.count(".") > _MOST_KEY_DOTS:
            joined = ".".join(part.strip(" \t") for part in line.split("."))
            if any(word.count(".") > _MOST_KEY_DOTS for word in re.split(r"[\s=,{}\[\]]", joined)):
                return number
    return 0
