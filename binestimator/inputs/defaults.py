"""Defaults that follow from what was chosen: one row of ``defaults.csv`` is one *when ... then ...*.

An input that has rows there takes, where it is not given, the value of the first row whose
condition holds; without one the default of ``inputs.csv``. It stays a default, with the row's
source as its reason.

Columns of ``defaults.csv``
    section, name
        The input.
    when
        Conditions joined by `` and ``. ``section.name=a|b``: one of these choices;
        ``section.name=none`` and ``=given``: left out or not; ``section.name<number`` and ``>=number``: only
        where there is a number; a quotient of two inputs may be on the left. Two facts are not inputs:
        ``zones`` (terminals of all lines) and ``climate`` (zone of 90.1; unknown before the weather is read).
    value, source
        The default, and where it comes from.

Inputs that follow from other derived defaults come below these.
"""

from __future__ import annotations

import csv
import functools
import re
from collections.abc import Callable, Collection, Mapping
from importlib import resources

from binestimator.dataclass import dataclass
from binestimator.inputs.schema import Field, default_text, fields_of, value_text
from binestimator.inputs.values import check_value, raw_from_text

#: Facts that conditions may ask for besides inputs.
FACTS = ("zones", "climate")
_CONDITION = re.compile(r"([a-z0-9_./]+)(=|<|>=)(.+)")


@dataclass(frozen=True, slots=True)
class Condition:
    """One condition.

    Parameters
    ----------
    left : str
        Path of an input, or a fact.
    over : str
        Path that it is divided by, or empty.
    sign : str
        ``=``, ``<`` or ``>=``.
    right : tuple of str
        Choices (or ``none`` or ``given``); empty for a comparison.
    number : float
        Of a comparison.
    """

    left: str
    over: str
    sign: str
    right: tuple[str, ...]
    number: float = 0.0

    def holds(self, value_of: Callable[[str], object]) -> bool:
        """Whether it holds; ``value_of`` gives the value of an input by its path, or of a fact."""
        value = value_of(self.left)
        if self.sign == "=":
            if self.right in (("none",), ("given",)):
                return (value is None) == (self.right == ("none",))
            return value in self.right
        if not isinstance(value, (int, float)):  # a comparison holds only where there is a number
            return False
        if self.over:
            divisor = value_of(self.over)
            assert isinstance(divisor, (int, float)), f"{self.over} always has a number"
            value = value / divisor
        return value < self.number if self.sign == "<" else value >= self.number

    @property
    def words(self) -> str:
        """In words, with names of inputs."""
        name = self.left.rpartition(".")[2] + (f" / {self.over.rpartition('.')[2]}" if self.over else "")
        if self.sign != "=":
            return f"{name} is {'below' if self.sign == '<' else 'at least'} {value_text(self.number)}"
        if self.right in (("none",), ("given",)):
            return f"{name} is {'not ' if self.right == ('none',) else ''}given"
        return f"{name} is {' or '.join(self.right)}"

    def formula(self, facts: Mapping[str, object]) -> str:
        """Template of a formula: paths in braces, with ``?`` where what is given is meant and not what was sized.

        Facts are put in as they are.
        """
        if self.left in FACTS:
            return "TRUE" if self.holds(facts.get) else "FALSE"
        if self.sign == "=" and self.right in (("none",), ("given",)):
            return f"{'NOT' if self.right == ('none',) else ''}(ISNUMBER({{{self.left}?}}))"
        if self.sign == "=":
            return "OR(" + ",".join(f'{{{self.left}}}="{choice}"' for choice in self.right) + ")"
        left = f"{{{self.left}?}}" + (f"/{{{self.over}}}" if self.over else "")
        return f"IF(ISNUMBER({{{self.left}?}}),{left}{self.sign}{self.number:.12g},FALSE)"


@dataclass(frozen=True, slots=True)
class Rule:
    """One row: a default that counts while its conditions hold.

    Parameters
    ----------
    field : Field
    conditions : tuple of Condition
    value : object
        As the records hold it.
    source : str
    """

    field: Field
    conditions: tuple[Condition, ...]
    value: object
    source: str

    @property
    def words(self) -> str:
        """Its conditions in words."""
        return " and ".join(condition.words for condition in self.conditions)


@functools.cache
def rules() -> dict[str, tuple[Rule, ...]]:
    """Rules by the path of the input, in the order of the file; a row that contradicts the inputs raises ValueError."""
    text = resources.files("binestimator.inputs").joinpath("defaults.csv").read_text(encoding="utf-8")
    found: dict[str, tuple[Rule, ...]] = {}
    for row in csv.DictReader(text.splitlines()):
        field = fields_of(row["section"])[row["name"]]
        value, problem = check_value(field, raw_from_text(field, row["value"]))
        if problem:
            raise ValueError(f"defaults.csv {field.path}: {problem}")
        rule = Rule(
            field, tuple(_condition(part, field.path) for part in row["when"].split(" and ")), value, row["source"]
        )
        found[field.path] = (*found.get(field.path, ()), rule)
    return found


def _condition(text: str, path: str) -> Condition:
    match = _CONDITION.fullmatch(text)
    if not match:
        raise ValueError(f"defaults.csv {path}: condition {text!r} is not understood")
    left, _, over = match[1].partition("/")
    for name in filter(None, (left, over)):
        section, _, key = name.partition(".")
        if name not in FACTS and key not in fields_of(section):
            raise ValueError(f"defaults.csv {path}: no input {name}")
    if match[2] == "=":
        return Condition(left, over, match[2], tuple(match[3].split("|")))
    return Condition(left, over, match[2], (), float(match[3]))


def paths_by(fact: str) -> tuple[str, ...]:
    """Inputs whose default asks for a fact."""
    return tuple(
        path for path, lines in rules().items() if any(c.left == fact for rule in lines for c in rule.conditions)
    )


def default_in_force(path: str, value_of: Callable[[str], object]) -> tuple[object, str]:
    """Default of an input and its source, as other inputs and facts make it.

    Parameters
    ----------
    path : str
        ``section.name`` of an input with rules.
    value_of : callable
        Value of another input by its path, or of a fact.
    """
    for rule in rules()[path]:
        if all(condition.holds(value_of) for condition in rule.conditions):
            return rule.value, rule.source
    section, _, name = path.partition(".")
    field = fields_of(section)[name]
    return field.default, field.source


def default_formula(path: str, facts: Mapping[str, object], in_force: Collection[str] = ()) -> str:
    """Template of a formula of the default of an input; empty when no cell changes it.

    Parameters
    ----------
    path : str
        ``section.name`` of an input with rules.
    facts : mapping
        Value of each of ``FACTS``.
    in_force : collection of str
        Paths whose cell that counts shows a given value, so that no ``?`` is needed.
    """
    section, _, name = path.partition(".")
    out, depth, cells = "", 0, False
    for rule in rules()[path]:
        tests = [condition.formula(facts) for condition in rule.conditions]
        if "FALSE" in tests:
            continue
        tests = [test for test in tests if test != "TRUE"]
        if not tests:
            out += _literal(rule.value)
            break
        cells = True
        out += f"IF({tests[0] if len(tests) == 1 else 'AND(' + ','.join(tests) + ')'},{_literal(rule.value)},"
        depth += 1
    else:
        out += _literal(fields_of(section)[name].default)
    for given in in_force:
        out = out.replace(f"{{{given}?}}", f"{{{given}}}")
    return out + ")" * depth if cells else ""


def _literal(value: object) -> str:
    return f"{value:.12g}" if isinstance(value, (int, float)) else f'"{value}"'


def defaults_text(field: Field) -> str:
    """Default of an input with what it follows from, in words, for references."""
    text = default_text(field)
    joined: dict[str, list[str]] = {}
    for rule in rules().get(field.path, ()):
        joined.setdefault(value_text(rule.value), []).append(rule.words)
    return "; ".join([text, *(f"{value} when {', or '.join(words)}" for value, words in joined.items())])


def sources_text(field: Field) -> str:
    """Source of the default of an input, and those of what it follows from."""
    return "; ".join(
        dict.fromkeys(filter(None, [field.source, *(rule.source for rule in rules().get(field.path, ()))]))
    )
