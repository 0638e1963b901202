"""Tables of raw values, as the TOML reader gives them, checked input by input."""

from __future__ import annotations

import re
from collections.abc import Mapping

from binestimator.inputs.given import MOST, nameless
from binestimator.inputs.hints import instead_of, not_modelled
from binestimator.inputs.problems import Problems, sentence, shown
from binestimator.inputs.schema import SECTIONS, fields_of
from binestimator.inputs.values import check_value, did_you_mean, replaced


def table_of(problems: Problems, where: str, raw: object, expected: str) -> Mapping:
    if isinstance(raw, Mapping):
        return raw
    do = f"write [{where}] once, with single brackets" if isinstance(raw, (list, tuple)) else ""
    problems.add_bad(where, sentence("not a table", raw, expected, do))
    return {}


def tables_of(problems: Problems, kind: str, raw: object) -> list[Mapping]:
    if not isinstance(raw, (list, tuple)):
        problems.add_bad(kind, sentence("not a list of tables", raw, f"[[{kind}]] with double brackets, one for each"))
        return []
    tables = []
    if len(raw) > MOST[kind]:
        problems.add_bad(kind, sentence(f"too many: {len(raw)}", expected=f"at most {MOST[kind]}"))
    for place, table in enumerate(raw[: MOST[kind]]):
        if isinstance(table, Mapping):
            tables.append(table)
        else:
            problems.add_bad(kind, sentence(f"entry {place + 1} is not a table", table, f"[[{kind}]] with its inputs"))
    return tables


def item_of(kind: str, table: Mapping, place: int, key: str = "name") -> str:
    """Path of a table of a list: by its name when it has a usable one, else by its place."""
    field = fields_of(kind)[key]
    name, problem = check_value(field, table[key]) if key in table else (None, "")
    if problem is None and key == "id" and not id_is_plain(name):
        problem = ""
    return f"{kind}[{name if problem is None else nameless(place)}]"


def values_of(
    problems: Problems, section: str, table: Mapping, where: str, extra: tuple[str, ...] = (), in_cells: bool = False
) -> dict:
    """Checked values of one table, or of a line of a zones file (``in_cells``)."""
    fields, values = fields_of(section), {}
    for key, raw in table.items():
        if key in extra:
            continue
        if key not in fields:
            unknown(problems, where, key, raw, (*fields, *extra), section)
            continue
        value, problem = check_value(fields[key], raw, in_cell=in_cells or problems.in_cells)
        if problem is None:
            values[key] = value
        else:
            problems.add_bad(f"{where}.{key}", problem)
    return values


def unknown(problems: Problems, where: str, key: object, raw: object, known, section: str = "") -> None:
    key = key if isinstance(key, str) else shown(key)
    short = key if len(key) <= 60 and key.isprintable() else shown(key)
    place = f"{where}.{short}" if where else short
    if problems.crowded:
        problems.add(place, "unknown input" if where else "unknown section")
        return
    old = replaced(section, key)
    if old:
        problems.add(place, old[0], do=old[1])
        return
    for text in (key[:200], raw[:200] if isinstance(raw, str) else ""):
        if not_modelled(text):
            problems.add(place, f"{not_modelled(text)} are not modelled", text, do=instead_of(text))
            return
    hint = did_you_mean(key, known)
    others = [other for other in SECTIONS if other != section and key in fields_of(other)]
    if others and where and not hint:
        hint = f"{key} belongs to {', '.join(others)}"
    listed = ", ".join(list(known)[:12]) + (", ..." if len(known) > 12 else "")
    problems.add(place, "unknown input" if where else "unknown section", do=hint or f"known are {listed}")


def id_is_plain(text: object) -> bool:
    return isinstance(text, str) and re.fullmatch(r"[a-z0-9_-]+", text, re.ASCII) is not None


def without_share(values: dict) -> dict:
    """Values of a zone; an ``index_share`` of none means that it is not given: the share is then spread, and shown so
    wherever inputs are shown."""
    return {name: value for name, value in values.items() if name != "index_share" or value is not None}
