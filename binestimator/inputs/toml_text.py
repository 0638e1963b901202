"""Where the inputs of a project file are, and what is wrong with lines that are not TOML.

The standard reader stops at the first line that it cannot read, and names a place that may lie
lines below the mistake. Here the file is taken apart into statements (a table's heading, or a key with its
value), each is read on its own, and what cannot be read is explained in the words of the person
who wrote it. Used only when something is wrong: it is slower than the standard reader.
"""

from __future__ import annotations

import re
import tomllib
from dataclasses import field as dataclass_field

from binestimator.dataclass import dataclass
from binestimator.inputs.problems import MOST_LISTED, Problem, printable
from binestimator.inputs.schema import LIST_SECTIONS, SECTIONS, Field, fields_of
from binestimator.inputs.toml_causes import cause, cause_in_path
from binestimator.inputs.toml_statements import HEADING, bare_of, key_of, statements
from binestimator.inputs.toml_words import CURLY, quoted_line

_HEADINGS = (*SECTIONS, "override", "evidence", "status")
#: Tables whose keys are paths of inputs, in quotes.
_OF_PATHS = ("override", "evidence", "status")


@dataclass(slots=True)
class Outline:
    """Statements of a project file.

    Parameters
    ----------
    raw : dict
        As the TOML reader gives it, of the statements that can be read.
    lines : dict
        In the same layout, with the number of the line in place of each value; a table's own
        heading is under the empty key.
    problems : list of Problem
        What cannot be read, by line.
    """

    raw: dict = dataclass_field(default_factory=dict)
    lines: dict = dataclass_field(default_factory=dict)
    problems: list[Problem] = dataclass_field(default_factory=list)


def outline(text: str) -> Outline:
    """Take a project file apart.

    Parameters
    ----------
    text : str
        Content of the file, with ``\\n`` at the ends of lines.

    Returns
    -------
    Outline
    """
    found = Outline()
    table, lines = found.raw, found.lines
    section: tuple[str, ...] = ()
    for number, statement, closed in statements(text):
        if len(found.problems) >= MOST_LISTED:
            break
        if HEADING.match(statement) or statement.strip() in _HEADINGS:
            table, lines, section = _open_table(found, number, statement)
            continue
        try:
            values = tomllib.loads(statement)
        except (ValueError, RecursionError):
            key = key_of(statement)
            what = cause_in_path(statement) if section and section[-1] in _OF_PATHS else None
            _note(found, number, statement, *(what or cause(statement, closed, _field_of(section, key))))
            if key in ("name", "id"):  # so that what belongs to it is not said to lack it
                table.setdefault(key, f"line{number}")
            continue
        _merge(found, number, statement, section, values, table, lines)
    return found


def _field_of(section: tuple[str, ...], key: str) -> Field | None:
    """Input that a key under a heading means."""
    for name in (section[:1], section[1:2]):
        if name and name[0] in SECTIONS and key in fields_of(name[0]):
            return fields_of(name[0])[key]
    return None


def _open_table(found: Outline, number: int, statement: str):
    """Table that a heading opens, its lines, and its path; a table of no consequence when it cannot be read."""
    try:
        value: object = tomllib.loads(statement)
    except ValueError:
        names, known = _mended_heading(statement)
        right = _heading_text(names) if known else ""
        bare = bare_of(statement).strip()
        if "[" not in bare and "]" not in bare:
            what = "a heading without brackets"
        elif bare.count("[") > bare.count("]"):
            what = "a heading without its closing bracket"
        elif bare.count("[") < bare.count("]"):
            what = "a heading with a bracket too many"
        elif set(bare) & set(CURLY):
            what = "typographic quotes in a heading"
        else:
            what = "not the heading of a table"
        _note(
            found,
            number,
            statement,
            what,
            f"write {right}" if right else "write the name of a section in brackets, such as [fan]",
        )
        if not known:
            return {}, {}, ()
        many = names[0] in LIST_SECTIONS and len(names) == 1
    else:
        names, many = [], False
        while isinstance(value, dict) and value:
            ((name, value),) = value.items()
            names.append(name)
            if isinstance(value, list):
                many, value = True, value[0]
    table, lines = found.raw, found.lines
    for place, name in enumerate(names):
        last = place == len(names) - 1
        if last and many:
            if not isinstance(table.setdefault(name, []), list) or not isinstance(lines.setdefault(name, []), list):
                _twice(found, number, statement, names, lines[name])
                return {}, {}, ()
            table[name].append({})
            lines[name].append({"": number})
        below, below_lines = table.setdefault(name, {}), lines.setdefault(name, {})
        if isinstance(below, list):
            if last and not many:
                _twice(found, number, statement, names, below_lines)
                return {}, {}, ()
            below, below_lines = below[-1], below_lines[-1]
        if not isinstance(below, dict) or not isinstance(below_lines, dict):
            _twice(found, number, statement, names, below_lines)
            return {}, {}, ()
        if last and not many and "" in below_lines:
            _twice(found, number, statement, names, below_lines[""])
            return below, below_lines, tuple(names)
        table, lines = below, below_lines
    lines.setdefault("", number)
    return table, lines, tuple(names)


def _mended_heading(statement: str) -> tuple[list[str], bool]:
    bare = "".join(CURLY.get(character, character) for character in statement)
    names = re.findall(r"[A-Za-z_][\w-]*", bare.partition("#")[0])
    return names, bool(names) and names[0] in _HEADINGS


def _heading_text(names: list[str]) -> str:
    text = ".".join(names)
    return f"[[{text}]]" if names[0] in LIST_SECTIONS and len(names) == 1 else f"[{text}]"


def _twice(found: Outline, number: int, statement: str, names: list[str], first: object) -> None:
    """A heading that is given twice or does not agree with what came before."""
    section = names[0]
    if section in LIST_SECTIONS and len(names) == 1:
        do = f"write [[{section}]] with double brackets each time, one for each {section}"
        what = f"{section} comes in numbers, and is written with single brackets here or above"
    else:
        do = f"put all its inputs under one [{'.'.join(names)}]"
        what = "the heading is given twice" + (f", first in line {first}" if isinstance(first, int) else "")
    _note(found, number, statement, what, do)


def _merge(
    found: Outline, number: int, statement: str, section: tuple[str, ...], values: dict, table: dict, lines: dict
) -> None:
    """Put the values of a statement into their table; a key given twice is noted."""
    for key, value in values.items():
        if key in table:
            if isinstance(value, dict) and isinstance(table[key], dict) and isinstance(lines.get(key), dict):
                _merge(found, number, statement, (*section, key), value, table[key], lines[key])
                continue
            first = lines.get(key)
            where = f" under {_heading_text(list(section))}" if section else ""
            _note(
                found,
                number,
                statement,
                f"{printable(key[:60])} is given twice{where}"
                + (f", first in line {first}" if isinstance(first, int) else ""),
                "remove one of the lines",
            )
            continue
        table[key] = value
        lines[key] = _numbered(value, number)


def _numbered(value: object, number: int) -> object:
    if isinstance(value, dict):
        return {key: _numbered(inner, number) for key, inner in value.items()} | {"": number}
    return number


def _note(found: Outline, number: int, statement: str, what: str, do: str) -> None:
    found.problems.append(Problem(f"line {number}", f"{what}; got {quoted_line(statement)}; {do}"))
