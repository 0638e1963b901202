"""Paths that name inputs: ``fan.motor_hp``, ``zone[Lobby].area_ft2``, ``group.*.lights_w_ft2``.

Written by users with dots or with brackets; in ``Project.origins`` and in messages always with
brackets around the name. A name may be a pattern with ``*`` and ``?``, compared without regard
to case; an exact name takes precedence over a pattern.
"""

from __future__ import annotations

import fnmatch
import re

from binestimator.dataclass import dataclass
from binestimator.inputs.hints import instead_of, not_modelled
from binestimator.inputs.problems import sentence
from binestimator.inputs.schema import LIST_SECTIONS, SECTIONS, SINGLE_SECTIONS, STRATEGY_SECTIONS, Field, fields_of
from binestimator.inputs.values import did_you_mean, replaced

_LONGEST = 300
_MOST_STARS = 6  # each star multiplies the work of looking for a name


@dataclass(frozen=True, slots=True)
class InputPath:
    """A parsed path.

    Parameters
    ----------
    kind : str
        Section; ``candidate`` also for the strategy inputs of a candidate.
    name : str or None
        Name or pattern of the group, zone, special zone or candidate.
    part : str or None
        ``sat`` or ``dsp`` for the strategy inputs of a candidate.
    field : Field
        The input.
    """

    kind: str
    name: str | None
    part: str | None
    field: Field

    @property
    def tail(self) -> str:
        """Path inside the named thing."""
        return f"{self.part}.{self.field.name}" if self.part else self.field.name

    def matches(self, names: list[str]) -> list[int]:
        """Places in ``names`` that the name or pattern of this path means."""
        if self.name is None:  # a section that occurs once
            return []
        exact = [place for place, name in enumerate(names) if name == self.name]
        if exact:
            return exact
        pattern = re.compile(fnmatch.translate(self.name.casefold()))
        return [place for place, name in enumerate(names) if name and pattern.match(name.casefold())]


def item_path(kind: str, name: str, tail: str) -> str:
    """Path of an input of a named thing: ``kind[name].tail``."""
    return f"{kind}[{name}].{tail}"


def known_path(path: str) -> InputPath:
    """Parse a path that has been checked before, or is the program's own.

    Raises
    ------
    ValueError
        It is no path of an input: a mistake of the program.
    """
    parsed, problem = parse_path(path)
    if parsed is None:
        raise ValueError(f"{path}: {problem}")
    return parsed


def parse_path(path: object) -> tuple[InputPath | None, str | None]:
    """Parse a path.

    Returns
    -------
    parsed : InputPath or None
    problem : str or None
        What is wrong with it.
    """
    expected = "section.input, group.<name or *>.input, zone.<name or *>.input or candidate.<id>.sat.input"
    if not isinstance(path, str) or len(path) > _LONGEST:
        return None, sentence("not the path of an input", path, expected)
    match = re.match(r"\s*(\w+)\s*[.\[]", path)
    if not match:
        return None, sentence("not the path of an input", path, expected)
    kind = match[1]
    if kind not in SECTIONS or kind in STRATEGY_SECTIONS:
        if kind in STRATEGY_SECTIONS:
            hint = f"write candidate.<id>.{kind}.<input>, or give the value with the settings of the strategy"
        else:
            hint = did_you_mean(kind, [*SINGLE_SECTIONS, *LIST_SECTIONS])
        return None, sentence(f'unknown section "{kind[:60]}"', path, expected, hint)
    rest = path[match.end() :].strip()
    name = part = None
    if kind in LIST_SECTIONS:
        if path[match.end() - 1] == "[":
            name, divider, rest = rest.rpartition("].")
        elif kind == "candidate":
            name, divider, rest = rest.partition(".")
        else:
            name, divider, rest = rest.rpartition(".")
        name = name.strip()
        if not divider or not name:
            return None, sentence(f"names no {kind}", path, f"{kind}.<name or *>.<input>")
        if name.count("*") > _MOST_STARS:
            return None, sentence("has too many stars", path, f"at most {_MOST_STARS}")
        left, divider, right = rest.partition(".")
        if kind == "candidate" and divider and left in STRATEGY_SECTIONS:
            part, rest = left, right
    section = part or kind
    fields = fields_of(section)
    if rest not in fields:
        old = replaced(section, rest)
        if old:
            return None, sentence(old[0], path, do=old[1])
        what = not_modelled(rest)
        if what:
            return None, sentence(f"{what} are not modelled", path, "", instead_of(rest))
        return None, sentence(f'"{rest[:60]}" is no input of {section}', path, "", did_you_mean(rest, fields))
    return InputPath(kind, name, part, fields[rest]), None
