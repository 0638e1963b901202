"""The table of terms on a form: one value of a peak window, an incentive or another table of terms on a line."""

from __future__ import annotations

import re
from collections.abc import Mapping

from binestimator.inputs.form_values import Content, cell_of, raw_of
from binestimator.inputs.given import MOST
from binestimator.inputs.problems import Problem, printable
from binestimator.inputs.schema import TERM_SECTIONS, fields_of
from binestimator.inputs.terms import TERM_LISTS

_PATH = re.compile(r"([a-z_]+)(?:\[(\d{1,3})\])?\.([a-z0-9_]+)", re.ASCII)


def term_lines(given: Mapping[str, list[dict]]) -> list[tuple[str, Content]]:
    """Lines of the table: path such as ``peak_window[1].months``, and content, of all that was given."""
    return [
        (term_path(section, place, name), cell_of(fields_of(section)[name], value))
        for section, tables in given.items()
        for place, table in enumerate(tables)
        for name, value in table.items()
    ]


def term_path(section: str, place: int, name: str) -> str:
    """Path of a value of the table in a place, counted from 0; sections that occur once are not numbered."""
    return f"{section}[{place + 1}].{name}" if section in TERM_LISTS else f"{section}.{name}"


def terms_from(lines, problems: list[Problem]) -> tuple[dict[str, object], dict[str, str]]:
    """Raw tables of the lines of a form, as a project file has them, and the cell of each value.

    Parameters
    ----------
    lines : iterable of (path, content, place)
    problems : list
        Takes what is wrong.

    Returns
    -------
    raw : dict
        Section -> list of tables, or table.
    places : dict
        Path of a value in messages -> its cell.
    """
    found: dict[str, dict[int, dict[str, object]]] = {}
    cells: dict[tuple[str, int, str], str] = {}
    for path, content, place in lines:
        match = _PATH.fullmatch(path.strip())
        section = match[1] if match else ""
        if match is None or section not in TERM_SECTIONS or (section in TERM_LISTS) != (match[2] is not None):
            known = ", ".join(term_path(each, 0, "name").rpartition(".")[0] for each in TERM_SECTIONS)
            problems.append(
                Problem(place, f"{printable(path[:80])} is no path of terms; expected one that begins with {known}")
            )
            continue
        number, name = int(match[2] or 1), match[3]
        if not 1 <= number <= MOST.get(section, 1):
            problems.append(Problem(place, f"{printable(path[:80])}: expected numbers 1 to {MOST.get(section, 1)}"))
            continue
        table = found.setdefault(section, {}).setdefault(number, {})
        if name in table:
            problems.append(Problem(place, f"the path {printable(path[:80])} appears twice; remove one of the lines"))
            continue
        field = fields_of(section).get(name)
        table[name] = content if field is None else raw_of(field, content)
        cells[section, number, name] = place
    raw: dict[str, object] = {}
    places: dict[str, str] = {}
    for section, tables in found.items():
        order = sorted(tables)
        listed = section in TERM_LISTS
        raw[section] = [tables[number] for number in order] if listed else tables[order[0]]
        for at, number in enumerate(order):
            shown = tables[number].get("name")
            for name in tables[number]:
                for key in (f"#{at + 1}", shown):
                    where = f"{section}[{key}].{name}" if listed else f"{section}.{name}"
                    places[where] = cells[section, number, name]
                    if listed:
                        places.setdefault(f"{section}[{key}]", cells[section, number, name])
    return raw, places
