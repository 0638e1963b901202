"""Formulas of one line as formulas of all lines at once.

Where the same formula fills many lines, one array formula takes less than half of the space: a cell that it fills
carries its value and nothing else, while a cell of a shared formula says where it is and whose formula it has. In an
array formula ``MIN``, ``MAX``, ``MEDIAN``, ``AND`` and ``OR`` would take all lines together, so they are written out by
``IF`` and signs, and sums over a row become products of matrices. Values are those of the template, whichever form is
written; ``tests/test_all_lines.py`` compares them and ``tests/test_live.py`` recalculates both.
"""

from __future__ import annotations

import re
from functools import partial

from .formulas import OWN, SOURCE

# Functions that go cell by cell through arrays in every spreadsheet program.
_CELL_BY_CELL = frozenset(("ABS", "EXP", "IF", "LN", "ROUNDUP", "SIGN", "SQRT"))
# Written out, a formula may not be longer: it is still to be read.
LONGEST = 800
_CALLED = re.compile(r"([A-Z][A-Z0-9._]*)\(")
_FOLDED = re.compile(r"(?<![A-Z0-9._])(MIN|MAX|MEDIAN|AND|OR)\(")
_PRODUCT = "MMULT("
_SUM = re.compile(r"SUMPRODUCT\(([^(),]*),([^(),]*)\)")
_TRANSPOSED = re.compile(r"TRANSPOSE\(([^()]*)\)")
# The same for all lines: a number or an absolute address.
_FIXED = re.compile(r"[\d.]+|\{[a-z]\.[a-z_0-9.]+\}|[^\x01\x02()+*/<>=,-]*\$[A-Z]+\$\d+")
_PLAIN = re.compile(r"[$A-Z0-9.!\x01\x02]+", re.IGNORECASE)


def of_all_lines(text: str, own: tuple[int, int], source: tuple[int, int], width: int) -> str | None:
    """One formula of all lines with the values that a formula has line by line.

    Parameters
    ----------
    text : str
        Formula of a line, without its sign, rows of the line and of its conditions as ``OWN`` and ``SOURCE``.
    own, source : (int, int)
        First and last row of the lines, and of their conditions.
    width : int
        Cells of a line that the formula fills.

    Returns
    -------
    str or None
        None where a part of the formula takes a whole row or column, or it would be too long to read.
    """
    if ":" in text:
        text = _SUM.sub(_as_product, text)
    found = _products_apart(text)
    if found is None:
        return None
    rest, products = found
    if width == 1 and ":" in rest:  # a row of numbers as one
        return None
    whole = written_out(text) if products == 0 else text
    # Where there are products, what is in them goes cell by cell as it stands.
    if whole is None or not _CELL_BY_CELL.issuperset(
        _CALLED.findall(_TRANSPOSED.sub("", whole).replace(_PRODUCT, "("))
    ):
        return None
    for mark, (first, last) in ((OWN, own), (SOURCE, source)):
        if mark in whole:
            pattern = rf"([A-Z]+){mark}(?::([A-Z]+){mark})?"
            whole = re.sub(pattern, partial(_area, first=first, last=last), whole)
    return whole


def _area(found: re.Match, *, first: int, last: int) -> str:
    """Address of a cell of a line, or of a row of them, as that of all lines."""
    return f"{found[1]}{first}:{found[2] or found[1]}{last}"


def written_out(text: str) -> str | None:
    """A formula without ``MIN``, ``MAX``, ``MEDIAN``, ``AND`` and ``OR``, with the same values; None where one of them
    takes a range, where a value is not held between two that are the same for all lines, or where the formula would be
    too long."""
    while (found := _FOLDED.search(text)) is not None:
        end, parts = _arguments(text, found.end())
        if len(parts) < 2 or (found.group(1) == "MEDIAN" and not all(_FIXED.fullmatch(parts[k]) for k in (0, 2))):
            return None
        text = text[: found.start()] + _folded(found.group(1), parts) + text[end:]
        if len(text) > LONGEST:
            return None
    return text


def _folded(name: str, parts: list[str]) -> str:
    if name == "AND":
        return "(" + "*".join(f"({_bracketed(part)}<>0)" for part in parts) + "<>0)"
    if name == "OR":
        return "(" + "+".join(f"({_bracketed(part)}<>0)" for part in parts) + "<>0)"
    if name == "MEDIAN":
        least, value, most = parts
        return f"IF({_bracketed(value)}<{_bracketed(least)},{least},{_folded('MIN', [value, most])})"
    sign = "<" if name == "MIN" else ">"
    one = parts[0]
    for other in parts[1:]:
        one = f"IF({_bracketed(one)}{sign}{_bracketed(other)},{one},{other})"
    return one


def _bracketed(text: str) -> str:
    return text if _PLAIN.fullmatch(text) else f"({text})"


def _as_product(found: re.Match) -> str:
    """A sum over a row of a line, with weights that are the same for all lines, as a product of matrices."""
    weights, row = found.groups()
    if OWN in weights or SOURCE in weights or ":" not in weights or not (OWN in row or SOURCE in row):
        return found.group(0)
    return f"MMULT({row},TRANSPOSE({weights}))"


def _products_apart(text: str) -> tuple[str, int] | None:
    """The formula without its products of matrices, and how many there are; None where the second matrix of one is
    not the same for all lines, or stands for itself."""
    count = 0
    rest = text
    while (start := rest.find(_PRODUCT)) >= 0:
        end, parts = _arguments(rest, start + len(_PRODUCT))
        if len(parts) != 2 or not parts[0] or OWN in parts[1] or SOURCE in parts[1] or _PRODUCT in parts[0]:
            return None
        rest = rest[:start] + "0" + rest[end:]
        count += 1
    return None if "TRANSPOSE(" in rest else (rest, count)


def _arguments(text: str, start: int) -> tuple[int, list[str]]:
    """Place behind the closing bracket of a function whose arguments begin at ``start``, and these."""
    parts, depth, last = [], 0, start
    for at in range(start, len(text)):
        sign = text[at]
        if sign == "(":
            depth += 1
        elif sign == ")":
            if not depth:
                parts.append(text[last:at])
                return at + 1, parts
            depth -= 1
        elif sign == "," and not depth:
            parts.append(text[last:at])
            last = at + 1
    raise ValueError(f"formula without its closing bracket: {text!r}")
