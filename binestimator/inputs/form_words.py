"""Problems as a reader of a form sees them: by sheet and cell, and inputs by the labels on the sheets."""

from __future__ import annotations

import re
from collections.abc import Mapping

from binestimator.inputs.form_keys import INPUTS, TABLES
from binestimator.inputs.paths import parse_path
from binestimator.inputs.problems import Problem, printable
from binestimator.inputs.schema import SECTIONS, SINGLE_SECTIONS, STRATEGY_SECTIONS, fields_of

_PATH = re.compile(
    r'(?P<quoted>"[^"]*")'
    r"|(?P<item>(?:group|zone|special|candidate)\[(?:[^\]]+)\](?:\.\w+)+)"
    rf"|(?P<single>\b(?:{'|'.join(SINGLE_SECTIONS)})\.[a-z][a-z0-9_]*)\b"
    r"|(?P<name>\b[a-z][a-z0-9]*(?:_[a-z0-9]+)+\b)"
)
_ABOUT_PATH = re.compile(r'.*?(?:override|evidence|status)\["(.*)"\]')
_LABELS: dict[str, str] = {}
for _section in SECTIONS:
    for _field in fields_of(_section).values():
        if "_" in _field.name:
            _LABELS.setdefault(_field.name, _field.label)


def placed(problem: Problem, places: Mapping[str, str]) -> Problem:
    """A problem at its cell, or the nearest known; ``places`` are the cells of inputs by their paths."""
    where, text = problem.where, _with_labels(problem.text, places)
    label = _label_of(where)
    inner = _ABOUT_PATH.fullmatch(where)
    shown = inner[1] if inner else where
    named = f"{label} ({shown})" if label else where
    point = re.match(r"([xy]) of point (\d+) ", problem.text)
    nearest = f"{where}.{point[1]}{point[2]}" if point else where
    while nearest:
        if places.get(nearest):
            return Problem(f"{places[nearest]}, {named}" if label else f"{places[nearest]} ({shown})", text)
        nearest = nearest[: max(nearest.rfind("."), 0)]
    sheet = INPUTS if where in (*SINGLE_SECTIONS, "override", "evidence", "status") else ""
    if where in TABLES:
        sheet = TABLES[where].sheet
    return Problem(f"sheet {sheet} ({where})" if sheet else named, text)


def _with_labels(text: str, places: Mapping[str, str]) -> str:
    """Text with paths and keys of inputs replaced by the labels on the sheets; what is in quotes stays."""

    def named(match: re.Match) -> str:
        if match["quoted"]:
            return match[0]
        if match["name"]:
            return f"“{_LABELS[match[0]]}”" if match[0] in _LABELS else match[0]
        label = _label_of(match[0])
        if not label:
            return match[0]
        return f"“{label}”" + (f" at {places[match[0]]}" if places.get(match[0]) else "")

    return _PATH.sub(named, text)


def _label_of(path: str) -> str:
    """Label of an input on the sheets, with the name of the thing it belongs to; empty when the path is none of an
    input."""
    inner = _ABOUT_PATH.fullmatch(path)
    path = inner[1] if inner else path
    thing = re.fullmatch(r"(group|zone|special|candidate)\[(.+)\](?:\.(baseline|override))?", path)
    if thing:
        kind = {"group": "profile group", "special": "special zone"}.get(thing[1], thing[1])
        return (
            f"{'baseline of ' if thing[3] == 'baseline' else 'changes of ' if thing[3] else ''}{kind} "
            f"{printable(thing[2])}"
        )
    part, _, rest = path.partition(".")
    if part in STRATEGY_SECTIONS:
        strategy, _, name = rest.partition(".")
        field = fields_of(part).get(name)
        return f"{field.label} of the {part.upper()} strategy {strategy}" if field else ""
    parsed, _ = parse_path(path)
    if parsed is None:
        return ""
    of = f" of {printable(parsed.name)}" if parsed.name else ""
    return f"{f'{parsed.part.upper()}: ' if parsed.part else ''}{parsed.field.label}{of}"
