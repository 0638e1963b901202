"""What inputs of strategies follow from where nobody gives them: the limits and design values of the project.

One description gives both the value that the engine takes and the template of the formula on the sheets of inputs.
Lines of strategies that go by points are the rows of ``default_lines.csv``, one for each such strategy.

Columns of ``default_lines.csv``
    section, strategy
        As in ``inputs.csv``; the strategy is one that uses ``points``.
    points
        ``x: end`` by commas, x ascending; an end is ``low`` or ``high`` of the limits, ``middle`` between them, or the
        ``design`` value.
    x, x_unit, x_low
        What the points are over, its unit where it is not that of the input, and the least x that makes sense, if any.
    source
        Where the line comes from.
"""

from __future__ import annotations

import csv
import functools
from collections.abc import Callable
from importlib import resources

from binestimator.dataclass import dataclass
from binestimator.inputs.schema import STRATEGY_SECTIONS, Field, fields_of, is_used

#: Section of a strategy -> end -> paths of the inputs that give it: the first that is given.
_ENDS: dict[str, dict[str, tuple[str, ...]]] = {
    "sat": {
        "design": ("air_handler.design_sat_f",),
        "low": ("limits.sat_min_f",),
        "high": ("limits.sat_max_f",),
    },
    "dsp": {
        "design": ("fan.design_dsp_inwc",),
        "low": ("limits.dsp_min_inwc",),
        "high": ("limits.dsp_max_inwc", "fan.design_dsp_inwc"),
    },
}
_MIDDLE = "middle"
#: End that an input follows from, by its name without its unit.
_END_OF = {"setpoint": "design", "override": "design", "min": "low", "max": "high"}
_UNITS = {"sat": "f", "dsp": "inwc"}


@dataclass(frozen=True, slots=True)
class DefaultLine:
    """Line of a strategy that goes by points: one row of ``default_lines.csv``.

    Parameters
    ----------
    part, strategy : str
    points : tuple of (float, str)
        x and the end that it has there.
    x, x_unit : str
    x_low : float or None
    source : str
    """

    part: str
    strategy: str
    points: tuple[tuple[float, str], ...]
    x: str
    x_unit: str
    x_low: float | None
    source: str

    def values(self, value_of: Callable[[str], object]) -> tuple[tuple[float, float], ...]:
        """Points of a project; ``value_of`` gives the value of an input by its path."""
        return tuple((x, _value(self.part, end, value_of)) for x, end in self.points)

    def templates(self) -> tuple[tuple[float, str], ...]:
        """x and the template of the formula of each point."""
        return tuple((x, _template(self.part, end)) for x, end in self.points)


@functools.cache
def default_lines() -> dict[tuple[str, str], DefaultLine]:
    """Lines by section and strategy."""
    return lines_of(resources.files("binestimator.inputs").joinpath("default_lines.csv").read_text(encoding="utf-8"))


def lines_of(text: str) -> dict[tuple[str, str], DefaultLine]:
    """Lines of the text of ``default_lines.csv``.

    Raises
    ------
    ValueError
        A row contradicts the inputs, or a strategy that uses points has none.
    """
    found: dict[tuple[str, str], DefaultLine] = {}
    for row in csv.DictReader(text.splitlines()):
        part, strategy = row["section"], row["strategy"]
        points = []
        for pair in row["points"].split(","):
            x, _, end = pair.partition(":")
            if end.strip() not in (*_ENDS[part], _MIDDLE):
                raise ValueError(f"default_lines.csv {part}.{strategy}: no end {end.strip()!r}")
            points.append((float(x), end.strip()))
        low = float(row["x_low"]) if row["x_low"] else None
        found[part, strategy] = DefaultLine(part, strategy, tuple(points), row["x"], row["x_unit"], low, row["source"])
    by_points = {
        (part, strategy)
        for part in STRATEGY_SECTIONS
        for strategy in fields_of(part)["strategy"].choices
        if used_by(fields_of(part)["points"], strategy)
    }
    if by_points != set(found):
        names = sorted(".".join(key) for key in by_points ^ set(found))
        raise ValueError(f"default_lines.csv: needs one row for each strategy that uses points; see {', '.join(names)}")
    return found


def used_by(field: Field, strategy: str) -> bool:
    """Whether a strategy uses an input of its section."""
    return is_used(field, lambda section, name: strategy)


def followed(part: str, strategy: str, value_of: Callable[[str], object]) -> dict[str, object]:
    """Values that inputs of a strategy take from the project where nobody gives them: input -> value.

    Parameters
    ----------
    part : str
        ``sat`` or ``dsp``.
    value_of : callable
        Value of an input that occurs once, by its path.
    """
    found: dict[str, object] = {
        f"{start}_{_UNITS[part]}": _value(part, end, value_of) for start, end in _END_OF.items()
    }
    line = default_lines().get((part, strategy))
    if line is not None:
        found["points"] = line.values(value_of)
    return found


def follows_template(field: Field) -> str:
    """Template of the formula of an input of a strategy that is one number; empty where it follows from nothing."""
    start, _, unit = field.name.rpartition("_")
    if start not in _END_OF or unit != _UNITS[field.section]:
        return ""
    return _template(field.section, _END_OF[start])


def _value(part: str, end: str, value_of: Callable[[str], object]) -> float:
    if end == _MIDDLE:
        return (_value(part, "low", value_of) + _value(part, "high", value_of)) / 2
    value = next(value for path in _ENDS[part][end] if (value := value_of(path)) is not None)
    if not isinstance(value, (int, float)):
        raise TypeError(f"{_ENDS[part][end]}: {value!r} is no number")
    return value


def _template(part: str, end: str) -> str:
    if end == _MIDDLE:
        return f"({_template(part, 'low')}+{_template(part, 'high')})/2"
    *first, last = (f"{{{path}}}" for path in _ENDS[part][end])
    text = last
    for path in reversed(first):
        text = f"IF(ISNUMBER({path}),{path},{text})"
    return text
