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
    given = project.given
    lines: list[str] = []
    for section in SINGLE_SECTIONS:
        if section in given.sections:
            _table(lines, f"[{section}]", given.sections[section])
    for kind, items in (("special", given.specials), ("group", given.groups), ("zone", given.zones)):
        for values in items:
            _table(lines, f"[[{kind}]]", values)
    for part in STRATEGY_SECTIONS:
        for strategy, values in given.library[part].items():
            _table(lines, f"[{part}.{strategy}]", values)
    for values in given.candidates:
        table = {name: value for name, value in values.items() if name in fields_of("candidate") or name == "baseline"}
        table |= {part: values[part] for part in STRATEGY_SECTIONS if part in values}
        _table(lines, "[[candidate]]", table)
        if "override" in values:
            _table(lines, "[candidate.override]", values["override"])
    if project.overrides:
        _table(lines, "[override]", project.overrides)
    for section, tables in given.terms.items():
        for values in tables:
            _table(lines, f"[[{section}]]" if section in TERM_LISTS else f"[{section}]", values)
    if given.evidence:
        _table(lines, "[evidence]", given.evidence)
    if given.status:
        _table(lines, "[status]", given.status)
    return "\n".join(lines)


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
