"""Lines of a table as rows in the form of the file.

Through the library's cells the same takes ten times as long. Cells follow one another without a gap, so that only those
of shared formulas say where they are (ECMA-376 part 1, 18.3.1.4: a cell without an address follows the one before it):
a fifth of the file. What is the same in all lines is one text, cut where the number of the line or a value belongs.
Nearly half of the columns of values repeat another on the same sheet, and are turned into digits once.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable
from functools import partial
from html import escape
from itertools import repeat
from typing import TYPE_CHECKING

import numpy as np

from ...errors import WorkbookError
from ..addresses import column_name
from .all_lines import of_all_lines
from .columns import FIRST_ROW, GridColumn
from .formulas import OWN, SOURCE

if TYPE_CHECKING:
    from .grid import Grid

# Placeholder in the text of a line for the next value.
_VALUE = "\x03"
_MARK = re.compile(f"([{OWN}{SOURCE}{_VALUE}])")


def ready_lines(grid: Grid) -> list[str]:
    """Rows of the lines of a table, part after part.

    Raises
    ------
    WorkbookError
        A column has a number that is not finite.
    """
    source = [int(line) for line in grid.source]
    conditions = [str(FIRST_ROW + line + 1) for line in source]
    known: dict[tuple[bool, bytes], list[str]] = {}
    rows = []
    for part, (first, following) in enumerate(_texts(grid, source)):
        start = FIRST_ROW + part * grid.lines + 1
        numbers = [str(start + k) for k in range(grid.lines)]
        values = _values(grid, part, known)
        lines = list(_filled(following, numbers, conditions, values))
        # Formulas stand in the first line only.
        lines[:1] = _filled(first, numbers[:1], conditions[:1], values)
        rows += [f'<row r="{number}">{line}</row>' for number, line in zip(numbers, lines, strict=True)]
    return rows


def _filled(text: str, numbers: list[str], conditions: list[str], values: list[list[str]]) -> Iterable[str]:
    """A text for each number of a line, with its numbers and values in place of the marks."""
    following = iter(values)
    pieces: list[Iterable[str]] = []
    for piece in _MARK.split(text):
        if piece == _VALUE:
            pieces.append(next(following))
        elif piece == OWN:
            pieces.append(numbers)
        elif piece == SOURCE:
            pieces.append(conditions)
        elif piece:
            pieces.append(repeat(piece, len(numbers)))
    return map("".join, zip(*pieces))


def _values(grid: Grid, part: int, known: dict[tuple[bool, bytes], list[str]]) -> list[list[str]]:
    """Values of the lines of a part as digits or text, column by column; ``known`` are those of the sheet so far."""
    place = slice(part * grid.lines, (part + 1) * grid.lines)
    found = []
    for c in grid.columns:
        found_by_others = bool(c.templates) and grid.pen.blank
        if c.text:
            if not found_by_others:
                found.append([escape(text, quote=False) for text in c.texts[place]])
            continue
        for numbers in np.ascontiguousarray(c.values[place].T):
            key = bool(c.templates), numbers.tobytes()
            digits = known.get(key)
            if digits is None:
                digits = known[key] = _digits(numbers, c, grid.sheet.name)
            if not found_by_others:
                found.append(digits)
    return found


def _digits(numbers: np.ndarray, c: GridColumn, sheet: str) -> list[str]:
    """Numbers of a column: seven digits of what formulas give, all digits of values."""
    if c.templates:
        text = "%.7g " * len(numbers) % tuple(numbers.tolist())
    else:
        text = " ".join(map(repr, numbers.tolist())) + " "
    if "n" in text:  # of nan and inf
        raise WorkbookError(f"{sheet}: column {c.label!r} has a number that is not finite")
    return text.split(" ")[:-1]


def _texts(grid: Grid, source: list[int]) -> list[tuple[str, str]]:
    """Text of the first line and of each that follows, with marks, a part of the table each."""
    firsts: list[list[str]] = [[] for _ in range(grid.parts)]
    nexts: list[list[str]] = [[] for _ in range(grid.parts)]
    in_sequence = grid.lines > 1 and source == list(range(source[0], source[0] + grid.lines))
    conditions = source[0] + FIRST_ROW + 1, source[0] + FIRST_ROW + grid.lines
    shared = 0
    for c in grid.columns:
        style = grid.sheet.style_index(grid.pen.s(c.style, "line", "small"))
        for part in range(grid.parts):
            lines = FIRST_ROW + part * grid.lines + 1, FIRST_ROW + (part + 1) * grid.lines
            whole = None
            if in_sequence and c.templates and (c.array or part or not grid.by_line):
                whole = partial(of_all_lines, own=lines, source=conditions, width=c.width)
            first, following, shares = _cells(grid, c, part, style, lines, shared, whole)
            firsts[part].append(first)
            nexts[part].append(following)
            shared += shares
    return [("".join(first), "".join(following)) for first, following in zip(firsts, nexts, strict=True)]


def _cells(
    grid: Grid,
    c: GridColumn,
    part: int,
    style: int,
    lines: tuple[int, int],
    shared: int,
    of_all: Callable[[str], str | None] | None,
) -> tuple[str, str, bool]:
    """Cells of a column in the first line of a part and in those that follow, and whether they share a formula.

    Parameters
    ----------
    lines : (int, int)
        First and last row of the part.
    shared : int
        Number of the next shared formula.
    of_all : callable, optional
        Gives the one formula of all lines, or None.
    """
    if not c.templates:
        cell = f'<c s="{style}" t="inlineStr"><is><t>{_VALUE}</t></is></c>' if c.text else _cell(style, _VALUE)
        return cell * c.width, cell * c.width, False
    value = "" if grid.pen.blank else _VALUE
    kind = ' t="str"' if c.text else ""
    left, right = column_name(c.column), column_name(c.column + c.width - 1)
    text = grid.scope.formula(c.templates[part if len(c.templates) > 1 else 0]).lstrip("=")
    whole = None if of_all is None else of_all(text)
    if whole is not None:
        area = f"{left}{lines[0]}:{right}{lines[1]}"
        rest = _cell(style, value, kind)
        return _cell(style, value, kind, _array(area, whole)) + rest * (c.width - 1), rest * c.width, False
    if c.array:
        area = f"{left}{OWN}" + (f":{right}{OWN}" if c.width > 1 else "")
        cell = _cell(style, value, "", _array(area, text)) + _cell(style, value) * (c.width - 1)
        return cell, cell, False
    formula = escape(text, quote=False)
    if "!" in text:
        # The binary format forbade shared formulas that reach other sheets; programs may still.
        cell = _cell(style, value, kind, f"<f>{formula}</f>")
        return cell, cell, False
    at = f' r="{left}{OWN}"'
    first = f'<f t="shared" ref="{left}{lines[0]}:{left}{lines[1]}" si="{shared}">{formula}</f>'
    return (
        _cell(style, value, kind, first, at),
        _cell(style, value, kind, f'<f t="shared" si="{shared}"/>', at),
        True,
    )


def _cell(style: int, value: str, kind: str = "", formula: str = "", at: str = "") -> str:
    return f'<c{at} s="{style}"{kind}>{formula}<v>{value}</v></c>'


def _array(area: str, text: str) -> str:
    return f'<f t="array" ref="{area}">{escape(text, quote=False)}</f>'
