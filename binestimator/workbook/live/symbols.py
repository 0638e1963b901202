"""Formulas drawn from the model: its functions are run on symbols, and what they do to them is written down.

A :class:`Symbol` stands for the cells of a column, or for a constant. It answers numpy's dispatch protocols, so that
the functions of the model take it for an array; each operation gives the symbol of a longer formula. Steps that the
model names (``named``) become columns. What has no formula, or would make a number of a symbol, is refused.

Formulas are kept short where that changes no value: nothing is added to or multiplied by 0 or 1, a limit that bounds
of inputs keep anyway is left out, and so is a test inside a branch in which its outcome is known.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from typing import Any

import numpy as np

from ...errors import WorkbookError
from ...inputs.schema import fields_of
from ...named import Constant
from .formulas import Scope, line_through, names_in

_COMPARISON, _SUM, _PRODUCT, _SIGN, _POWER, _WHOLE = range(6)
_LEVEL = {
    **dict.fromkeys((">", "<", ">=", "<="), _COMPARISON),
    **dict.fromkeys("+-", _SUM),
    **dict.fromkeys("*/", _PRODUCT),
    "^": _POWER,
}
# A constant of a sheet may be off what the model makes of its inputs by rounding alone. [share]
_SAME = 1e-12
_INF = float("inf")

_OPERATION = {
    np.add: "+",
    np.subtract: "-",
    np.multiply: "*",
    np.true_divide: "/",
    np.power: "^",
    np.greater: ">",
    np.less: "<",
    np.greater_equal: ">=",
    np.less_equal: "<=",
    np.minimum: "MIN",
    np.maximum: "MAX",
    np.bitwise_and: "AND",
    np.logical_and: "AND",
    np.bitwise_or: "OR",
    np.logical_or: "OR",
    np.ceil: "ROUNDUP",
    np.sqrt: "SQRT",
    np.exp: "EXP",
    np.log: "LN",
    np.absolute: "ABS",
}


class Symbol(np.lib.mixins.NDArrayOperatorsMixin):
    """A formula in the making.

    Parameters
    ----------
    drawing : Drawing
    operation : str
        Of a formula, ``number``, ``name`` or ``step``.
    of : tuple of Symbol
        What it works on; of a step, its formula.
    text : str
        Its template.
    bounds : (float, float)
        Between which its values are for all allowed inputs.
    level : int
        How tightly its outermost operation binds.
    words : (str, str, str)
        Of a step: label, unit and style of its column.
    """

    __slots__ = ("drawing", "operation", "of", "text", "bounds", "level", "words")

    shape = ()

    def __init__(
        self,
        drawing: Drawing,
        operation: str,
        of: tuple[Symbol, ...],
        text: str,
        bounds: tuple[float, float],
        level: int = _WHOLE,
        words: tuple[str, str, str] = ("", "", ""),
    ) -> None:
        self.drawing, self.operation, self.of, self.text = drawing, operation, of, text
        self.bounds, self.level, self.words = bounds, level, words

    def __array_ufunc__(self, ufunc, method, *values, **more):
        if method != "__call__" or more or (ufunc not in _OPERATION and ufunc is not np.negative):
            raise TypeError(f"{ufunc.__name__}: has no formula")
        if ufunc is np.negative:
            return self.drawing.apply("-", 0.0, *values)
        return self.drawing.apply(_OPERATION[ufunc], *values)

    def __array_function__(self, function, types, values, more):
        draw = self.drawing
        if more:
            raise TypeError(f"{function.__name__}: has a formula without keywords only")
        if function is np.where:
            return draw.choose(*values)
        if function is np.clip:
            return draw.apply("MEDIAN", values[1], values[0], values[2])
        if function is np.interp:
            return draw.line(*values)
        if function is np.broadcast_arrays:
            return values
        if function is np.broadcast_to:
            return values[0]
        raise TypeError(f"{function.__name__}: has no formula")

    def named(self, key: str) -> Symbol:
        """Itself as a step (``named.named``)."""
        return self.drawing.step(self, key)

    def decided(self) -> bool:
        """What it is in the run (``named.decided``)."""
        return bool(self.drawing.value(self) if self.number is None else self.number)

    def _refused(self, *_):
        raise TypeError(f"{self.text}: a formula is no number; keep to arrays and numpy's functions")

    __bool__ = __float__ = __int__ = __index__ = __len__ = __iter__ = __setitem__ = __array__ = _refused

    def __getitem__(self, key) -> Symbol:
        return self if key == () else self._refused()

    @property
    def low(self) -> float:
        return self.bounds[0]

    @property
    def high(self) -> float:
        return self.bounds[1]

    @property
    def number(self) -> float | None:
        """Its value where it is a number that no cell holds."""
        return self.bounds[0] if self.operation == "number" else None


class Inputs:
    """A record of inputs as symbols: numbers by their path, points by the name of their table; choices as they are."""

    def __init__(self, drawing: Drawing, section: str, record) -> None:
        self._drawing, self._section, self._record = drawing, section, record

    def __getattr__(self, name: str):
        value = getattr(self._record, name)
        if isinstance(value, tuple):
            table = f"p.{self._section}_{name}"
            return tuple(
                tuple(Constant(v, f"{table}.{axis}{k}") for axis, v in zip("xy", point))
                for k, point in enumerate(value, 1)
            )
        if isinstance(value, bool) or not isinstance(value, (int, float)):
            return value
        path = f"{self._section}.{name}"
        if not self._drawing.scope.has(path):
            # No cell holds it: it may decide which formulas are written, and is refused in one.
            return Symbol(self._drawing, "name", (), f"{{{path}}}", (float(value), float(value)))
        field = fields_of(self._section)[name]
        low, high = (default if v is None else float(v) for v, default in ((field.low, -_INF), (field.high, _INF)))
        return self._drawing.name(path, low, high)


class Drawing:
    """Symbols of a table of formulas, and the columns of its steps.

    Parameters
    ----------
    scope : Scope
        Of the table.
    column : callable, optional
        Writes a column: key, label, unit, template, style. Without it there are no columns of steps.
    words : dict, optional
        Key of a step as the model names it -> label, unit, style.
    """

    def __init__(
        self,
        scope: Scope,
        column: Callable[[str, str, str, str, str], None] | None = None,
        words: dict[str, tuple[str, str, str]] | None = None,
    ) -> None:
        self.scope, self._column, self._words = scope, column, words or {}
        self._start, self._more, self._always = "", "", False
        self._written: dict[str, str] = {}

    @contextmanager
    def part(self, start: str, more: str = "", *, always: bool = False) -> Iterator[None]:
        """Meanwhile the keys of steps begin so where they follow from names that do, with ``always`` those of all;
        ``more`` is behind their labels."""
        before = self._start, self._more, self._always
        self._start, self._more, self._always = start, more, always
        try:
            yield
        finally:
            self._start, self._more, self._always = before

    # --- symbols

    def name(self, name: str, low: float = -_INF, high: float = _INF) -> Symbol:
        """What stands under a name, with bounds where they are known."""
        self.scope[name]  # an unknown one is refused here
        return Symbol(self, "name", (), f"{{{name}}}", (low, high))

    def symbol(self, value: Any) -> Symbol:
        """A number, constant or symbol as a symbol."""
        if isinstance(value, Symbol):
            return value
        number = float(value)
        if isinstance(value, Constant):
            return self.name(value.name, number, number)
        short = f"{number:.15g}"
        return Symbol(self, "number", (), short if float(short) == number else repr(number), (number, number))

    def inputs(self, section: str, record) -> Any:
        """A record of inputs as symbols; stands in for the record."""
        return Inputs(self, section, record)

    def value(self, symbol: Symbol) -> float:
        """Value of a symbol that is no column."""
        return float(np.asarray(self.scope.evaluate(symbol.text), dtype=float).reshape(()))

    def _is_constant(self, symbol: Symbol) -> bool:
        return all(self.scope.has(n) and np.ndim(self.scope[n]) < 2 for n in names_in(symbol.text))

    def step(self, symbol: Symbol, key: str) -> Symbol:
        """A symbol as a step of its own: a column, or a constant that the sheet of the air handler has."""
        if self._is_constant(symbol):
            constant = f"c.{self._start if self._always else ''}{key}"
            if symbol.operation == "number" or not self.scope.has(constant):
                return symbol
            found, held = self.value(symbol), float(self.scope[constant])
            if abs(found - held) > _SAME * max(abs(held), 1.0):
                raise WorkbookError(f"constant {constant}: {held!r} on the sheet, {found!r} by the model")
            return Symbol(self, "name", (), f"{{{constant}}}", symbol.bounds)
        if symbol.operation in ("name", "step"):
            return symbol
        if symbol.level == _COMPARISON or symbol.operation in ("AND", "OR"):
            symbol = self.choose(symbol, 1.0, 0.0)
        own = self._always or any(n.startswith(self._start) for n in names_in(symbol.text))
        label, unit, style = self._words[key]
        words = (label + (self._more if own else ""), unit, style)
        return Symbol(self, "step", (symbol,), f"{{{self._start if own else ''}{key}}}", symbol.bounds, words=words)

    # --- operations

    def apply(self, operation: str, *values: Any) -> Symbol:
        """An operation or function on values."""
        of = tuple(self.symbol(v) for v in values)
        simpler = _simpler(self, operation, of)
        return self._formula(operation, of) if simpler is None else simpler

    def _formula(self, operation: str, of: tuple[Symbol, ...]) -> Symbol:
        bounds = _bounds(operation, of)
        if operation in _LEVEL:
            level = _LEVEL[operation]
            left, right = of
            before = f"({left.text})" if left.level < level else left.text
            after = f"({right.text})" if right.level <= level else right.text
            return Symbol(self, operation, of, f"{before}{operation}{after}", bounds, level)
        listed = ",".join(part.text for part in of) + (",0" if operation == "ROUNDUP" else "")
        return Symbol(self, operation, of, f"{operation}({listed})", bounds)

    def choose(self, condition: Any, yes: Any, no: Any) -> Symbol:
        """The one where a condition holds, else the other."""
        c, a, b = (self.symbol(v) for v in (condition, yes, no))
        if c.number is not None:
            return a if c.number else b
        a, b = self._where(a, _facts(c, True)), self._where(b, _facts(c, False))
        return a if a.text == b.text else self._formula("IF", (c, a, b))

    def _where(self, symbol: Symbol, facts: dict[str, bool]) -> Symbol:
        """A symbol in a branch in which the outcome of some tests is known."""
        if symbol.text in facts:
            return self.symbol(float(facts[symbol.text]))
        if not symbol.of or symbol.operation in ("step", "LOOKUP"):
            return symbol
        if symbol.operation == "MIN" and facts.get(f"{symbol.of[0].text}<{symbol.of[1].text}"):
            return self._where(symbol.of[0], facts)
        of = tuple(self._where(part, facts) for part in symbol.of)
        if all(new is old for new, old in zip(of, symbol.of)):
            return symbol
        return self.choose(*of) if symbol.operation == "IF" else self.apply(symbol.operation, *of)

    def line(self, x: Any, abscissas: Any, ordinates: Any) -> Symbol:
        """Straight lines through the points of a table of inputs."""
        table = abscissas[0].name.rpartition(".")[0]
        at = self.symbol(x)
        text = line_through(at.text, len(abscissas), table)
        return Symbol(self, "LOOKUP", (at,), text, (min(ordinates), max(ordinates)))

    # --- columns

    def column(self, key: str, label: str, unit: str, template: str, style: str) -> None:
        """A column that no step of the model is."""
        if self._column is None:
            raise WorkbookError(f"step {key}: no columns are written here")
        self._column(key, label, unit, template, style)

    def template(self, value: Any) -> str | None:
        """Template of a result, after the columns of the steps that it needs; None where it is 0 whatever the row."""
        symbol = self.symbol(value)
        if symbol.number == 0.0:
            return None
        self._write_steps(symbol, set())
        return symbol.text

    def _write_steps(self, symbol: Symbol, seen: set[int]) -> None:
        """Columns of the steps of a symbol; ``seen`` are parts, by identity, whose steps are written: formulas share
        many."""
        if id(symbol) in seen:
            return
        seen.add(id(symbol))
        if symbol.operation == "step" and symbol.text in self._written:
            if self._written[symbol.text] != symbol.of[0].text:
                raise WorkbookError(f"step {symbol.text}: stands for two formulas")
            return
        for part in symbol.of:
            self._write_steps(part, seen)
        if symbol.operation != "step":
            return
        formula = symbol.of[0].text
        self._written[symbol.text] = formula
        label, unit, style = symbol.words
        self.column(symbol.text[1:-1], label, unit, formula, style)


def _facts(condition: Symbol, holds: bool) -> dict[str, bool]:
    """Tests whose outcome follows from that of a condition."""
    found = {condition.text: holds}
    if condition.operation == ("AND" if holds else "OR"):
        for part in condition.of:
            found |= _facts(part, holds)
    return found


def _simpler(draw: Drawing, operation: str, of: tuple[Symbol, ...]) -> Symbol | None:
    """A symbol of the same value that needs no such operation, if there is one."""
    a, b = of[0], of[-1]
    if operation == "+":
        return b if a.number == 0.0 else a if b.number == 0.0 else None
    if operation == "-":
        return a if b.number == 0.0 else None
    if operation == "*":
        if 0.0 in (a.number, b.number):
            return draw.symbol(0.0)
        return b if a.number == 1.0 else a if b.number == 1.0 else None
    if operation == "^":
        return a if b.number == 1.0 else None
    if operation == "/":
        return a if b.number == 1.0 or a.number == 0.0 else None
    if operation in ("<", "<="):
        return _compared(draw, operation == "<", b, a)
    if operation in (">", ">="):
        return _compared(draw, operation == ">", a, b)
    if operation in ("AND", "OR"):
        neutral = 1.0 if operation == "AND" else 0.0
        if 1.0 - neutral in (a.number, b.number):
            return draw.symbol(1.0 - neutral)
        return b if a.number == neutral else a if b.number == neutral else None
    if operation == "MIN":
        return a if a.high <= b.low else b if b.high <= a.low else None
    if operation == "MAX":
        return a if a.low >= b.high else b if b.low >= a.high else None
    if operation == "MEDIAN":
        low, value, high = of
        if value.low >= low.high:
            return draw.apply("MIN", value, high)
        return draw.apply("MAX", value, low) if value.high <= high.low else None
    return None


def _compared(draw: Drawing, strictly: bool, larger: Symbol, smaller: Symbol) -> Symbol | None:
    """Outcome of a comparison that bounds decide."""
    if larger.low > smaller.high or (not strictly and larger.low == smaller.high):
        return draw.symbol(1.0)
    if larger.high < smaller.low or (strictly and larger.high == smaller.low):
        return draw.symbol(0.0)
    return None


def _bounds(operation: str, of: tuple[Symbol, ...]) -> tuple[float, float]:
    """Bounds of what an operation gives."""
    lows, highs = [part.low for part in of], [part.high for part in of]
    if operation == "+":
        return sum(lows), sum(highs)
    if operation == "-":
        return lows[0] - highs[1], highs[0] - lows[1]
    if operation in "*/" and min(lows) >= 0.0:
        if operation == "*":
            return lows[0] * lows[1], _INF if _INF in highs else highs[0] * highs[1]
        return lows[0] / highs[1] if highs[1] > 0.0 else 0.0, highs[0] / lows[1] if lows[1] > 0.0 else _INF
    if operation in ("MIN", "MAX"):
        pick = min if operation == "MIN" else max
        return pick(lows), pick(highs)
    if operation == "MEDIAN":
        return min(max(lows[0], lows[1]), lows[2]), max(min(highs[1], highs[2]), highs[0])
    if operation == "IF":
        return min(lows[1:]), max(highs[1:])
    if operation == "ROUNDUP":
        return float(np.ceil(lows[0])), float(np.ceil(highs[0]))
    if operation in ("AND", "OR") or _LEVEL.get(operation) == _COMPARISON:
        return 0.0, 1.0
    return -_INF, _INF
