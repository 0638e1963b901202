"""Inputs that trend logs give, as a fragment of a project file with evidence and status."""

from __future__ import annotations

import re
from collections.abc import Sequence

from binestimator.inputs.problems import printable
from binestimator.inputs.write import toml_key, toml_value
from binestimator.seal import FRAGMENT, UNSEALED
from binestimator.trends.found import InputFound
from binestimator.trends.study import TrendStudy

#: Status of an input that comes from a trend log.
STATUS = "trended"
_ITEM = re.compile(r"(zone|group|special)\[(.*)\]\.(\w+)")
_STRATEGY = re.compile(r"candidate\.as_found\.(sat|dsp)\.(\w+)")
_LONGEST_EVIDENCE = 900


def place_of(path: str) -> tuple[str, ...]:
    """Where a project file has an input: keys of its tables, the last that of the input.

    Those of zones are under ``override``, which reaches every zone, of a list, a file or a quick description.
    """
    item = _ITEM.fullmatch(path)
    if item:
        return "override", f"{item[1]}.{item[2]}.{item[3]}"
    strategy = _STRATEGY.fullmatch(path)
    if strategy:
        return strategy[1], "as_found", strategy[2]
    section, _, name = path.partition(".")
    return section, name


def path_in_file(path: str) -> str:
    """Path of an input as evidence and status name it in a project file."""
    item = _ITEM.fullmatch(path)
    return f"{item[1]}.{item[2]}.{item[3]}" if item else path


def evidence_of(one: InputFound, source: str) -> str:
    """Evidence of an input, with its range and the name of the log."""
    text = one.evidence
    if one.low is not None and one.high is not None and one.high > one.low:
        text += f"; range {one.low:.4g} to {one.high:.4g}"
    return printable(f"{text} [{source}]".replace("\n", " "))[:_LONGEST_EVIDENCE]


def source_of(study: TrendStudy) -> str:
    """Name of the log: its files, the air handler, first and last day."""
    names = list(dict.fromkeys(table.path.name for table in study.log.tables))
    shown = ", ".join(names[:3]) + (f" and {len(names) - 3} more" if len(names) > 3 else "")
    unit = f", {study.log.points.air_handler}" if study.log.points.air_handler else ""
    return printable(f"{shown}{unit}, {study.log.day[0]} to {study.log.day[-1]}")


def fragment_text(study: TrendStudy, inputs: Sequence[InputFound] | None = None) -> str:
    """Fragment of a project file.

    Parameters
    ----------
    study : TrendStudy
    inputs : sequence of InputFound, optional
        Those that are written; all that were found when not given.

    Returns
    -------
    str
        TOML, with a place for its seal.
    """
    inputs = study.inputs if inputs is None else inputs
    source = source_of(study)
    tables: dict[tuple[str, ...], dict[str, object]] = {}
    for one in inputs:
        *table, name = place_of(one.path)
        tables.setdefault(tuple(table), {})[name] = one.value
    lines = [
        f"# binestimator {FRAGMENT} {UNSEALED}",
        f"# Inputs found in trend logs: {source}.",
        "# Each has evidence and a status below. Put them into a project file, or let the program do it:",
        "# binestimator trends LOG.csv --project PROJECT.toml --merged NEW.toml",
        "#",
    ]
    lines += [f"# Cannot be told: {printable(f.title)}: {printable(f.reason)}" for f in study.found if not f.known]
    lines.append("")
    for names, values in tables.items():
        lines.append(f"[{'.'.join(map(toml_key, names))}]")
        lines += [f"{toml_key(name)} = {toml_value(value)}" for name, value in values.items()]
        lines.append("")
    if inputs:
        lines.append("[evidence]")
        lines += [f"{toml_key(path_in_file(one.path))} = {toml_value(evidence_of(one, source))}" for one in inputs]
        lines += ["", "[status]"]
        lines += [f"{toml_key(path_in_file(one.path))} = {toml_value(STATUS)}" for one in inputs]
        lines.append("")
    return "\n".join(lines)
