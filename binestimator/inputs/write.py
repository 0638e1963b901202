"""Writes a project as a project file: what was given, nothing else."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping

from binestimator.inputs.project import Project
from binestimator.inputs.schema import SINGLE_SECTIONS, STRATEGY_SECTIONS, fields_of
from binestimator.inputs.terms import TERM_LISTS

_ESCAPES = {"\\": "\\\\", '"': '\\"', "\n": "\\n", "\t": "\\t", "\r": "\\r"}


def project_to_toml(project: Project) -> str:
    """Project file of a project: reading it in the same folder gives an equal project.

    Parameters
    ----------
    project : Project

    Returns
    -------
    str
        TOML. Defaults and derived values are left out; overrides are under ``[override]``;
        zones of a zones file stay there and are read from it again.
    """
    lines: list[str] = []
    for _, header, values in project_tables(project):
        _table(lines, header, values)
    return "\n".join(lines)


def project_tables(project: Project) -> list[tuple[str, str, Mapping]]:
    """Tables of the project file of a project in order: section, heading of the table, values by key."""
    given = project.given
    tables: list[tuple[str, str, Mapping]] = []
    for section in SINGLE_SECTIONS:
        if section in given.sections:
            tables.append((section, f"[{section}]", given.sections[section]))
    for kind, items in (("special", given.specials), ("group", given.groups), ("zone", given.zones)):
        tables += [(kind, f"[[{kind}]]", values) for values in items]
    for part in STRATEGY_SECTIONS:
        tables += [(part, f"[{part}.{strategy}]", values) for strategy, values in given.library[part].items()]
    for values in given.candidates:
        table = {name: value for name, value in values.items() if name in fields_of("candidate") or name == "baseline"}
        table |= {part: values[part] for part in STRATEGY_SECTIONS if part in values}
        tables.append(("candidate", "[[candidate]]", table))
        if "override" in values:
            tables.append(("candidate", "[candidate.override]", values["override"]))
    if project.overrides:
        tables.append(("override", "[override]", project.overrides))
    for section, items in given.terms.items():
        header = f"[[{section}]]" if section in TERM_LISTS else f"[{section}]"
        tables += [(section, header, values) for values in items]
    tables += [(name, f"[{name}]", getattr(given, name)) for name in ("evidence", "status") if getattr(given, name)]
    return tables


def _table(lines: list[str], header: str, values: Mapping) -> None:
    lines.append(header)
    lines += [f"{toml_key(name)} = {toml_value(value)}" for name, value in values.items()]
    lines.append("")


def toml_key(name: str) -> str:
    """Key as TOML has it."""
    return name if re.fullmatch(r"[A-Za-z0-9_-]+", name, re.ASCII) else toml_text(name)


def toml_text(text: str) -> str:
    """Text in quotes as TOML has it."""
    return '"' + "".join(_ESCAPES.get(c) or (c if c.isprintable() else f"\\U{ord(c):08X}") for c in text) + '"'


def toml_value(value: object) -> str:
    """Value of an input as TOML has it."""
    if value is None:
        return '"none"'
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, str):
        return toml_text(value)
    if isinstance(value, float):
        return str(int(value)) if value.is_integer() and abs(value) < 1e15 else repr(value)
    if isinstance(value, int):
        return str(value)
    if isinstance(value, Mapping):
        return "{" + ", ".join(f"{toml_key(name)} = {toml_value(item)}" for name, item in value.items()) + "}"
    if isinstance(value, Iterable):
        return "[" + ", ".join(toml_value(item) for item in value) + "]"
    raise TypeError(f"{value!r} is no value of an input")
