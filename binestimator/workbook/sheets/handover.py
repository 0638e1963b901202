"""Sheets of the hand-over: what to program, how it acts, how it is proven and kept. Pages to print and send."""

from __future__ import annotations

import numpy as np

from ...handover.pages import TITLES, Grid, Procedure, Section, Words, sections_of
from ...handover.records import Handover
from ..charts import FULL_SIZE_PIXELS, FULL_SIZE_POINTS, room
from ..page import Work, height_of, lines_of, title
from ..strict import CHARACTER_PIXELS, PADDING_PIXELS, Sheet

# Many columns print wider than few of the same sum, since programs round each; what is left over is theirs. [pixels]
_PAGE_PIXELS = FULL_SIZE_PIXELS - 30
# Edges of columns nearer than this are one. [pixels]
_SNAP_PIXELS = 24
# Programs show no row that is higher. [points]
_HIGHEST = 400.0
_GAP_POINTS = 6.0
# Rows that stay on the page of the heading above them, the heading among them.
_KEPT_ROWS = 4
# What capital letters and underscores, and the widest signs, are wider than a mean letter of running text, as a share
# of it.
_CAPITAL, _WIDEST = 0.4, 1.1
# A number, a text and a line for the result, of a test.
_TEST = Grid(heads=("", "", ""), rows=(), weights=(1.0, 11.0, 5.0))


def write(work: Work, sheet: Sheet, handover: Handover, part: str) -> None:
    """Write the sheet of one part of a hand-over; without an option the reason alone."""
    sections = [section for section in sections_of(handover) if section.part == part]
    grids = [block for section in sections for block in section.blocks if isinstance(block, Grid)]
    if any(isinstance(block, Procedure) for section in sections for block in section.blocks):
        grids.insert(0, _TEST)
    columns = _Columns(grids)
    sheet.widths(columns.widths)
    name = shown(f"{handover.name or handover.project}  ·  run {handover.run_id}")
    title(work, sheet, TITLES[part][0], f"{TITLES[part][1]}  ·  {name}" if len(name) < 60 else TITLES[part][1])
    row, last = 3, columns.last
    if not sections:
        sheet.merged_text(row, 0, row, last, "No option is handed over: see “Hand-over”.", work.styles("wrap"))
        row += 1
    heads: list[int] = []
    for section in sections:
        heads.append(row)
        row = _section(work, sheet, columns, row, section, heads)
    breaks = _breaks(sheet, row, heads)
    sheet.on_paper(footer=work.footer, last_row=row - 1, last_column=last, breaks=breaks)


def _breaks(sheet: Sheet, end: int, heads: list[int]) -> list[int]:
    """Rows before which a page starts, so that no heading is the last of a page."""
    breaks, used = [], 0.0
    for row in range(end):
        high = sheet.points(row, row)
        if row in heads and used + sheet.points(row, min(row + _KEPT_ROWS, end) - 1) > FULL_SIZE_POINTS:
            breaks.append(row)
            used = 0.0
        used = used + high if used + high <= FULL_SIZE_POINTS else high
    return breaks


def shown(text: str) -> str:
    """A text of the hand-over as sheets print it."""
    return text.replace("degF", "°F").replace("ft2", "ft²")


class _Columns:
    """Columns of a sheet on which tables of different columns stand: edges of all, near ones made one."""

    def __init__(self, grids: list[Grid]):
        edges = [0, _PAGE_PIXELS]
        # Those with most rows have their edges as they are.
        for grid in sorted(grids, key=lambda g: (-len(g.rows) * len(g.heads), len(g.heads))):
            for edge in _edges(grid):
                if min(abs(edge - other) for other in edges) > _SNAP_PIXELS:
                    edges.append(edge)
        self.edges = sorted(edges)
        self.widths = [(b - a - PADDING_PIXELS) / CHARACTER_PIXELS for a, b in zip(self.edges, self.edges[1:])]
        self.last = len(self.widths) - 1

    def spans(self, grid: Grid) -> list[tuple[int, int]]:
        """First and last column of each column of a table."""
        at = [int(np.argmin(np.abs(np.array(self.edges) - edge))) for edge in _edges(grid)]
        ends = [0, *at, len(self.edges) - 1]
        return [(a, max(b - 1, a)) for a, b in zip(ends, ends[1:])]

    def room(self, first: int, last: int) -> float:
        """Width of merged columns. [characters]"""
        return room(self.widths[first : last + 1]) - 0.5


def _edges(grid: Grid) -> list[int]:
    """Edges between the columns of a table that fills the page. [pixels]"""
    whole, edges, at = sum(grid.weights), [], 0.0
    for weight in grid.weights[:-1]:
        at += weight
        edges.append(round(_PAGE_PIXELS * at / whole))
    return edges


def _section(work: Work, sheet: Sheet, columns: _Columns, row: int, section: Section, heads: list[int]) -> int:
    s = work.styles
    sheet.height(row, 22)
    for place in range(columns.last + 1):
        sheet.text(row, place, shown(section.title) if place == 0 else "", s("section"))
    row += 1
    for block in section.blocks:
        if isinstance(block, Words):
            row = _words(work, sheet, columns, row, block)
        elif isinstance(block, Procedure):
            heads.append(row)
            row = _procedure(work, sheet, columns, row, block)
        else:
            row = _grid(work, sheet, columns, row, block)
    sheet.height(row, _GAP_POINTS)
    return row + 1


def _words(work: Work, sheet: Sheet, columns: _Columns, row: int, block: Words) -> int:
    text = shown(block.text)
    pieces = ("caution", "bold") if block.strong else ("wrap", "line")
    sheet.merged_text(row, 0, row, columns.last, text, work.styles(*pieces))
    _height(sheet, row, [lines_of(text, columns.room(0, columns.last), bold=block.strong)])
    return row + 1


def _line(work: Work, sheet: Sheet, columns: _Columns, row: int, cells, spans, pieces) -> int:
    """A row of a table; each cell over its columns, with pieces of style of its own."""
    lines = []
    for text, (first, last), own in zip(cells, spans, pieces, strict=True):
        text = shown(text)
        sheet.merged_text(row, first, row, last, text, work.styles(*own))
        room_for = columns.room(first, last) / _wideness(text)
        lines.append(lines_of(text, room_for, bold="bold" in own or "head_left" in own))
    _height(sheet, row, lines)
    return row + 1


def _wideness(text: str) -> float:
    """Width of a text over that of as much running text."""
    widest = sum(sign in "WM@%" or ord(sign) > 0x2E00 for sign in text)
    capitals = sum(sign.isupper() or sign == "_" for sign in text if sign not in "WM")
    return 1.0 + (_CAPITAL * capitals + _WIDEST * widest) / max(len(text), 1)


def _height(sheet: Sheet, row: int, lines: list[int]) -> None:
    sheet.height(row, min(height_of(max(lines)), _HIGHEST))


def _grid(work: Work, sheet: Sheet, columns: _Columns, row: int, grid: Grid) -> int:
    spans = columns.spans(grid)
    if any(grid.heads):
        look = [("head",) if k in grid.numbers else ("head_left",) for k in range(len(grid.heads))]
        row = _line(work, sheet, columns, row, grid.heads, spans, look)
    for cells in grid.rows:
        look = [
            ("wrap", "line", "as_text", *(("bold",) if k == 0 else ()), *(("right",) if k in grid.numbers else ()))
            for k in range(len(cells))
        ]
        row = _line(work, sheet, columns, row, cells, spans, look)
    return row


def _procedure(work: Work, sheet: Sheet, columns: _Columns, row: int, block: Procedure) -> int:
    spans = columns.spans(_TEST)
    first, last = spans[0][0], spans[-1][1]
    name = shown(f"{block.id}  {block.title}")
    for place in range(first, last + 1):
        sheet.text(row, place, name if place == first else "", work.styles("subtotal", "bold"))
    row += 1
    for k, text in enumerate(block.steps, 1):
        row = _step(work, sheet, columns, row, (f"{k}.", text), spans, "")
    for k, text in enumerate(block.passes):
        row = _step(work, sheet, columns, row, ("☐ pass", text), spans, "Result, date, by:" if k == 0 else "")
    return row


def _step(work: Work, sheet: Sheet, columns: _Columns, row: int, cells, spans, note: str) -> int:
    mark, text = cells
    if mark.startswith("☐"):
        look = [("wrap", "line", "bold"), ("wrap", "line"), ("wrap", "line", "quiet")]
        return _line(work, sheet, columns, row, (mark, text, note), spans, look)
    wide = [spans[0], (spans[1][0], spans[2][1])]
    return _line(work, sheet, columns, row, (mark, text), wide, [("wrap", "right"), ("wrap",)])
