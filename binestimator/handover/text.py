"""A hand-over as plain text of 80 columns, to be read in any editor and pasted into a controls submittal."""

from __future__ import annotations

import unicodedata

from ..inputs.problems import printable
from ..seal import UNSEALED, seal_text
from .pages import NONE, NOT_IN_USE, TITLES, Grid, Procedure, Section, Words, sections_of
from .records import Handover

WIDTH = 80
#: How the file begins, by which a later run knows it.
FIRST_LINE = "binestimator hand-over"
_INDENT, _LABEL = 2, 13


def handover_bytes(h: Handover) -> bytes:
    """The text file, UTF-8, with its checksum in the last line."""
    return seal_text(handover_text(h) + f"\nChecksum {UNSEALED}\n")


def handover_text(h: Handover) -> str:
    """The text: lines of at most ``WIDTH`` columns, whatever names a project has."""
    lines = [FIRST_LINE, "", *wrapped(printable(h.project)), *wrapped(printable(h.name)), ""]
    part = None
    for section in sections_of(h):
        if section.part != part:
            part = section.part
            title, under = TITLES[part]
            lines += ["=" * WIDTH, title.upper(), *wrapped(under), "=" * WIDTH, ""]
        lines += _section(section)
    return "\n".join(line.rstrip() for line in lines)


def _section(section: Section) -> list[str]:
    lines = [section.title, "-" * min(columns_of(section.title), WIDTH)]
    for block in section.blocks:
        if isinstance(block, Words):
            lines += [*wrapped(("! " if block.strong else "") + printable(block.text)), ""]
        elif isinstance(block, Procedure):
            lines += [*_procedure(block), ""]
        else:
            lines += [*_grid(block), ""]
    return [*lines, ""]


def _procedure(block: Procedure) -> list[str]:
    lines = wrapped(f"{block.id}  {printable(block.title)}")
    for k, step in enumerate(block.steps, 1):
        lines += wrapped(printable(step), f"  {k:>2}. ", "      ")
    for k, line in enumerate(block.passes):
        lines += wrapped(printable(line), "  Pass: [ ] " if k == 0 else "        [ ] ", "            ")
    return [*lines, f"  Result: {'_' * 24}  Date: {'_' * 12}  By: {'_' * 14}"]


def _grid(block: Grid) -> list[str]:
    rows = [tuple(printable(cell) for cell in row) for row in block.rows]
    if not block.entries:
        table = _columns(block, rows)
        if table is not None:
            return table
    lines = []
    for row in rows:
        lines += _entry(block.heads, row)
    return lines


def _columns(block: Grid, rows) -> list[str] | None:
    """Rows side by side, None where they do not fit. Without heads the last column wraps."""
    if not any(block.heads):
        label = max([columns_of(row[0]) for row in rows], default=0) + 2
        return [line for row in rows for line in wrapped(row[1], padded(row[0], label), " " * label)]
    # Heads are broken at their comma: what, then its unit.
    heads = [head.split(", ", 1) for head in block.heads]
    cells = [list(head) + [""] * (2 - len(head)) for head in heads]
    widths = [
        max([columns_of(text) for text in cells[k]] + [columns_of(row[k]) for row in rows]) for k in range(len(heads))
    ]
    if sum(widths) + 2 * (len(widths) - 1) + _INDENT > WIDTH:
        return None
    line = lambda texts: (
        " " * _INDENT
        + "  ".join(padded(text, width, right=k in block.numbers) for k, (text, width) in enumerate(zip(texts, widths)))
    )
    return [line([c[0] for c in cells]), line([c[1] for c in cells]), *map(line, rows)]


def _entry(heads, row) -> list[str]:
    """A row that is too wide: its first cell as the name, then what the others say."""
    if not any(heads):
        return [*wrapped(row[0]), *wrapped(row[1], "    ", "    "), ""]
    if len(row) == 3:  # an id, a title and a text; or a thing, before and after
        if heads[0] == "Id":
            return [*wrapped(f"{row[0]}  {row[1]}"), *wrapped(row[2], "    ", "    "), ""]
        pairs = list(zip(heads[1:], row[1:]))
        return [*wrapped(row[0]), *(line for head, cell in pairs for line in _pair(head, cell))]
    if heads[0] == "Id":
        pairs = [pair for pair in zip(heads[2:], row[2:]) if pair[1] not in (NONE, NOT_IN_USE)]
        return [*wrapped(f"{row[0]}  {row[1]}"), *(line for head, cell in pairs for line in _pair(head, cell)), ""]
    rest = "; ".join(f"{head.split(',')[0].lower()} {cell}{_unit_of(head)}" for head, cell in zip(heads[1:], row[1:])
                     if cell not in ("", NONE))  # fmt: skip
    return [*wrapped(row[0]), *wrapped(rest, "    ", "    ")]


def _unit_of(head: str) -> str:
    return f" {head.split(', ', 1)[1]}" if ", " in head else ""


def _pair(head: str, cell: str) -> list[str]:
    return wrapped(cell, f"    {head:<{_LABEL}}", " " * (4 + _LABEL))


# ---------------------------------------------------------------- columns of a terminal


def columns_of(text: str) -> int:
    """Columns that a text takes in a terminal: wide signs take two, marks on others none."""
    if text.isascii():
        return len(text)
    return sum(_columns_of_sign(sign) for sign in text)


def _columns_of_sign(sign: str) -> int:
    if unicodedata.combining(sign) or unicodedata.category(sign) in ("Mn", "Me", "Cf"):
        return 0
    return 2 if unicodedata.east_asian_width(sign) in ("W", "F") else 1


def padded(text: str, width: int, *, right: bool = False) -> str:
    """Text filled up to so many columns."""
    gap = " " * max(width - columns_of(text), 0)
    return gap + text if right else text + gap


def wrapped(text: str, first: str = "", later: str | None = None, width: int = WIDTH) -> list[str]:
    """Lines of at most so many columns; a word that is too long is broken."""
    later = " " * len(first) if later is None else later
    lines, line, empty = [], first, True
    for word in text.split():
        while True:
            room = width - columns_of(line) - (0 if empty else 1)
            if columns_of(word) <= room:
                line += ("" if empty else " ") + word
                empty = False
                break
            if not empty:
                lines.append(line)
                line, empty = later, True
                continue
            head, word = _cut(word, max(room, 2))
            lines.append(line + head)
            line = later
    if not empty or not lines:
        lines.append(line)
    return lines


def _cut(word: str, columns: int) -> tuple[str, str]:
    """As much of a word as so many columns hold, and the rest."""
    taken, used = 0, 0
    while taken < len(word) and used + _columns_of_sign(word[taken]) <= columns:
        used += _columns_of_sign(word[taken])
        taken += 1
    taken = max(taken, 1)
    return word[:taken], word[taken:]
