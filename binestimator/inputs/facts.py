"""The facts of a quick check: what is known of a building at a first meeting.

``facts.csv`` has one row a fact, in the order in which they are asked. A fact with a ``path`` is that input; the others
stand for several: the use of the building for gains and outdoor air of its rooms (``uses.csv``), the number of
terminals for the floor area of one, a setpoint of today for a table of the strategy ``as_found``. Everything else is
left to the defaults of the program.
"""

from __future__ import annotations

import csv
import functools
from collections.abc import Iterable
from importlib import resources

from binestimator.dataclass import dataclass
from binestimator.inputs.field import Field
from binestimator.inputs.schema import fields_of, value_text
from binestimator.inputs.values import check_value


@dataclass(frozen=True, slots=True)
class Fact:
    """One fact.

    Parameters
    ----------
    name : str
        Of its option and of its line on a form.
    field : Field
        What it allows: that of the input that it is, or its own.
    path : str
        Input that it is; empty where it stands for several.
    needed : bool
        Without it there is no quick check.
    otherwise : str
        Input whose default counts where a fact of its own is not known.
    question, example : str
    """

    name: str
    field: Field
    path: str
    needed: bool
    otherwise: str
    question: str
    example: str

    @property
    def label(self) -> str:
        """Name in plain words."""
        return self.field.label

    @property
    def one_number(self) -> bool:
        """Whether one number may stand for a table of points."""
        return self.field.type == "points"

    def allowed(self) -> str:
        """What may be typed, in words."""
        if self.one_number:
            low, high = self.field.bounds
            unit = self.field.unit.rpartition(":")[2]
            return f"{low:g} to {high:g} {unit}, or points such as 50: {self.example}, 70: {self.example}"
        if self.field.low is not None and self.field.low < 1000.0 <= (self.field.high or 0.0):
            low, high = self.field.bounds
            return f"{low:,.0f} to {high:,.0f} {self.field.unit}"
        if self.field.type == "hour_pair":
            return "two clock hours from 0 to 24 such as 7, 18"
        return self.field.allowed_as(in_cell=True).replace(", or the word none", "")

    @property
    def metavar(self) -> str:
        """What stands for its value in the help of the command."""
        if self.field.choices:
            return "|".join(self.field.choices)
        return "FILE" if self.field.type == "path" else "TEXT" if self.field.type == "text" else "NUMBER"

    def empty(self) -> str:
        """What counts where it is not known, in words."""
        if self.needed:
            return "has to be given"
        section, _, name = (self.path or self.otherwise).partition(".")
        field = fields_of(section)[name]
        if field.default is None:
            return "found by the run"
        text = value_text(field.default).strip("[]") + (f" {field.unit}" if field.unit else "")
        return f"one for {text}" if self.name == "zones" else text


def _rows(name: str) -> Iterable[dict[str, str]]:
    return csv.DictReader(
        resources.files("binestimator.inputs").joinpath(name).read_text(encoding="utf-8").splitlines()
    )


@functools.cache
def uses() -> dict[str, dict[str, tuple[float, str]]]:
    """Uses of a building -> inputs of its profile group that differ from the defaults -> value and where it is from."""
    rows = {row.pop("use"): row for row in _rows("uses.csv")}
    sources, fields = rows.pop("source"), fields_of("group")
    found: dict[str, dict[str, tuple[float, str]]] = {}
    for use, row in rows.items():
        found[use] = {name: (float(text), sources[name]) for name, text in row.items() if text}
        for name, (value, _) in found[use].items():
            if check_value(fields[name], value)[1]:
                raise ValueError(f"uses.csv {use}: {name} = {value} is not allowed")
    return found


def _own_field(row: dict[str, str]) -> Field:
    low, high = (float(row[end]) if row[end] else None for end in ("low", "high"))
    return Field(
        section="facts",
        name=row["name"],
        role="shared",
        type=row["type"],
        unit=row["unit"],
        low=low,
        high=high,
        default=None,
        required=True,
        choices=tuple(uses()) if row["name"] == "use" else (),
        earlier=(),
        used_when=(),
        description=row["question"],
        source="",
        label=row["label"],
    )


@functools.cache
def facts() -> tuple[Fact, ...]:
    """All facts in the order in which they are asked."""
    found = []
    for row in _rows("facts.csv"):
        section, _, name = row["path"].partition(".")
        field = fields_of(section)[name] if row["path"] else _own_field(row)
        needed = row["needed"] == "yes"
        found.append(Fact(row["name"], field, row["path"], needed, row["otherwise"], row["question"], row["example"]))
    return tuple(found)


def fact(name: str) -> Fact:
    """A fact by its name."""
    return next(each for each in facts() if each.name == name)
