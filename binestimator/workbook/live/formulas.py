"""Formulas as templates: where a name is in the workbook, and what the formula gives.

A template names what it needs in braces, ``{flow_cfm}*{fs}``. A :class:`Scope` knows for each
name its address and its value, so that one text gives both the formula of the sheet and,
evaluated with arrays, the number that it carries as cached value.

Names are rows of one value (R, 1), rows of one value a zone (R, Z), constants (float) or
constants a zone (1, Z); they combine as arrays do. A formula that turns a row of zones into a column works on
each row by itself and is evaluated so (:meth:`Scope.evaluate_by_row`). Cells left empty are NaN. Only functions
that every spreadsheet program has known since 2007 are allowed.
"""

from __future__ import annotations

import re
from functools import lru_cache

import numpy as np

from ...errors import WorkbookError
from ...money.life_cycle import internal_rate

# Placeholders in addresses for the row of the line itself and for the row of its conditions.
OWN, SOURCE = "\x01", "\x02"

_NAME = re.compile(r"\{([A-Za-z0-9_.]+)\}")
_WORD = re.compile(r"(?<![\d.])[A-Za-z_]\w*")
_PLAIN = re.compile(r"[A-Za-z0-9.+\-*/^(),<>= ]*", re.ASCII)


def _if(condition, yes, no):
    return np.where(condition, yes, no)


def _fold(function):
    def folded(*values):
        result = values[0]
        for value in values[1:]:
            result = function(result, value)
        return result

    return folded


def _sumproduct(*values):
    product = _fold(np.multiply)(*values)
    return np.sum(product, axis=_range(product), keepdims=True) if np.ndim(product) > 1 else float(np.sum(product))


def _sum(*values):
    return _fold(np.add)(*(np.sum(v, axis=_range(v), keepdims=True) if np.ndim(v) > 1 else v for v in values))


def _range(values):
    """Axes of the range that one formula sees: the zones of a row, or the square of a row by itself."""
    return 1 if np.ndim(values) == 2 else (1, 2)


def _median(low, value, high):
    """Middle one of three."""
    return np.maximum(np.minimum(low, value), np.minimum(np.maximum(low, value), high))


def _roundup(value, digits):
    return np.sign(value) * np.ceil(np.abs(value))


def _extreme(function, known):
    """Of several values as arrays combine, or of one range by itself, where empty cells do not count."""
    folded = _fold(function)

    def extreme(*values):
        if len(values) == 1 and np.ndim(values[0]) > 1:
            return known.reduce(values[0], axis=_range(values[0]), keepdims=True)
        return folded(*values)

    return extreme


def _lookup(value, keys, results):
    """Of the results, the one at the last key not above the value; keys rise."""
    keys, results = np.ravel(keys), np.ravel(results)
    return results[np.searchsorted(keys, value, side="right") - 1]


def _index(values, place):
    """Cells of a column by their place from 1; nothing where the place is none."""
    column, at = np.ravel(values), np.asarray(place).astype(int)
    return np.where((at >= 1) & (at <= column.size), column[np.clip(at, 1, column.size) - 1], np.nan)


def _isnumber(value):
    return np.isfinite(np.asarray(value, dtype=float)).astype(float)


def _count(values):
    return np.sum(_isnumber(values), axis=1, keepdims=True)


def _search(word, texts):
    """1 where the word is in the text, an error otherwise: only whether it is a number is asked."""
    return np.where(np.char.find(np.asarray(texts, dtype=str), word) >= 0, 1.0, np.nan)


def _transpose(values):
    if np.ndim(values) != 3:
        raise WorkbookError("formula: TRANSPOSE is allowed only in formulas that are evaluated row by row")
    return np.swapaxes(values, 1, 2)


def _npv(rate, values):
    """Present value of a range, its first value discounted by one year, as spreadsheet programs do."""
    values = np.ravel(values)
    return float(np.sum(values / (1.0 + rate) ** np.arange(1.0, len(values) + 1.0)))


def _irr(values, guess):
    """Internal rate of return of a range; the guess is for programs that search from it."""
    return float(internal_rate(np.ravel(values)))


FUNCTIONS = {
    "IF": _if,
    "MIN": _extreme(np.minimum, np.fmin),
    "MAX": _extreme(np.maximum, np.fmax),
    "MEDIAN": _median,
    "AND": _fold(np.logical_and),
    "OR": _fold(np.logical_or),
    "SQRT": np.sqrt,
    "EXP": np.exp,
    "LN": np.log,
    "ABS": np.abs,
    "SUMPRODUCT": _sumproduct,
    "SUM": _sum,
    "MMULT": np.matmul,
    "ROUNDUP": _roundup,
    "LOOKUP": _lookup,
    "INDEX": _index,
    "ISNUMBER": _isnumber,
    "COUNT": _count,
    "SEARCH": _search,
    "TRANSPOSE": _transpose,
    "NPV": _npv,
    "IRR": _irr,
}
# Cells of a square of zones that are worked out at once.
_MOST_CELLS = 100_000


def _as_number(compare):
    return lambda self, other: compare(self, other).astype(float)


class _Cells(np.ndarray):
    """Values whose comparisons are numbers, as in cells: two that hold add up to 2."""

    __lt__, __le__ = _as_number(np.ndarray.__lt__), _as_number(np.ndarray.__le__)
    __gt__, __ge__ = _as_number(np.ndarray.__gt__), _as_number(np.ndarray.__ge__)


def _of_rows(value, first: int, last: int):
    """Rows of a value, each a matrix by itself: (R, 1, 1) or (R, 1, Z), constants (1, 1, Z)."""
    if np.ndim(value) != 2:
        return value
    value = np.asarray(value)
    return (value if len(value) == 1 else value[first:last])[:, None, :].view(_Cells)


@lru_cache(maxsize=8192)
def _cut(template: str) -> tuple[str, ...]:
    """Text and names of a template in turn, text first."""
    return tuple(_NAME.split(template))


@lru_cache(maxsize=8192)
def names_in(template: str) -> tuple[str, ...]:
    """Names that a template uses, in order."""
    return tuple(dict.fromkeys(_cut(template)[1::2]))


@lru_cache(maxsize=8192)
def _code(template: str):
    """Compiled expression of a template; names become places in ``e``, in the order of :func:`names_in`."""
    places = {name: f"{{{k}}}" for k, name in enumerate(names_in(template))}
    cut = _cut(template)
    return _compiled("".join(places[piece] if k % 2 else piece for k, piece in enumerate(cut)))


@lru_cache(maxsize=4096)
def _compiled(shape: str):
    """Compiled expression of a template with numbers for names: templates that differ in names alone share it.

    What is left beside names must be numbers, operators and known functions: anything else could be
    words that came from outside, and is not run.
    """
    rest = _NAME.sub("0", shape)
    if not set(_WORD.findall(rest)) <= FUNCTIONS.keys() or not _PLAIN.fullmatch(rest):
        raise WorkbookError(f"formula: {shape[:80]!r} holds more than names, numbers and known functions")
    text = _NAME.sub(r"e[\1]", shape.lstrip("="))
    text = text.replace("^", "**").replace("<>", "!=")
    text = re.sub(r"(?<![<>=!])=(?!=)", "==", text)
    return compile(text, "formula", "eval")


class Scope:
    """Names with their addresses and values.

    Parameters
    ----------
    parent : Scope, optional
        Where names are looked up that are not here.
    """

    def __init__(self, parent: Scope | None = None):
        self._parent = parent
        self._address: dict[str, str] = {}
        self._value: dict[str, object] = {}

    def put(self, name: str, address: str, value) -> None:
        """Add a name."""
        self._address[name] = address
        self._value[name] = value

    def copy_to(self, other: Scope, start: str) -> None:
        """Put all own names that begin so into another scope."""
        for name, address in self._address.items():
            if name.startswith(start):
                other.put(name, address, self._value[name])

    def has(self, name: str) -> bool:
        return name in self._address or (self._parent is not None and self._parent.has(name))

    def _home(self, name: str) -> Scope:
        """The nearest scope that has a name."""
        scope: Scope | None = self
        while scope is not None:
            if name in scope._address:
                return scope
            scope = scope._parent
        raise WorkbookError(f"formula: unknown name {name!r}")

    def address(self, name: str) -> str:
        return self._home(name)._address[name]

    def __getitem__(self, name: str):
        return self._home(name)._value[name]

    def formula(self, template: str) -> str:
        """Template with addresses for names."""
        pieces = list(_cut(template))
        pieces[1::2] = map(self.address, pieces[1::2])
        return "".join(pieces)

    def evaluate(self, template: str):
        """Value of a template."""
        values = [self[name] for name in names_in(template)]
        with np.errstate(all="ignore"):
            # Templates are this package's own text.
            return eval(_code(template), {"__builtins__": {}, "e": values, **FUNCTIONS})

    def evaluate_by_row(self, template: str, rows: int, width: int) -> np.ndarray:
        """Values (R, width) of a template that makes a square of the zones of each row."""
        values = [self[name] for name in names_in(template)]
        sides = [np.shape(value)[1] for value in values if np.ndim(value) == 2]
        step = max(_MOST_CELLS // max(sides, default=1) ** 2, 1)
        found = np.empty((rows, width))
        with np.errstate(all="ignore"):
            for first in range(0, rows, step):
                last = min(first + step, rows)
                taken = [_of_rows(value, first, last) for value in values]
                names = {"__builtins__": {}, "e": taken, **FUNCTIONS}
                found[first:last] = np.broadcast_to(eval(_code(template), names), (last - first, 1, width))[:, 0, :]
        return found


def line_through(x: str, points: int, name: str) -> str:
    """Template of straight lines through points, flat outside.

    Any number of points gives one short formula: the point at or below the abscissa is looked up.

    Parameters
    ----------
    x : str
        Template of the abscissa.
    points : int
    name : str
        Ranges ``{name.x}``, ``{name.y}`` of the points and ``{name.s}`` of the slopes after each: the first stands
        for all below the points, and its slope and the last are 0. ``{name.y1}`` is the first point's value.
    """
    if points == 1:
        return f"{{{name}.y1}}"
    found = lambda what: f"LOOKUP({x},{{{name}.x}},{{{name}.{what}}})"
    return f"({found('y')}+{found('s')}*({x}-{found('x')}))"
