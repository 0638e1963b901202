"""What all sheets share: titles, footers, tables of cells, heights of wrapped text."""

from __future__ import annotations

import re
from dataclasses import field
from typing import Protocol

from ..dataclass import dataclass
from ..results import Results
from .formats import PETROL, Styles, money_words
from .layout import GUIDE
from .strict import LONGEST_FOOTER, Book, Sheet

# A point between two units, not one of "in. w.c.".
_PRODUCT = re.compile(r"(?<!w)\.(?=\w)")


def unit_text(unit: str) -> str:
    """A unit of the inputs or results as sheets print it."""
    text = _PRODUCT.sub("·", money_words(unit).replace("degF", "°F").replace("ft2", "ft²"))
    return text.replace("·F", "·°F")


@dataclass(slots=True)
class Work:
    """A workbook in the making.

    Parameters
    ----------
    book, styles, results
        What is written with, and what is written.
    sheets : dict
        Sheet by name, in order.
    candidate_sheets : dict
        Position of a candidate -> name of its sheet.
    blocks : dict
        Name of a table -> its place, for charts: see :class:`Block`.
    kept_rows : dict
        Name of a line -> row kept free for it until what it says is known.
    client : bool
        The client edition: sheets for the owner alone, without formulas or links to others.
    ranged : bool
        Whether draws are made; ``results`` may be without their ranges until these are found.
    """

    book: Book
    styles: Styles
    results: Results
    sheets: dict[str, Sheet] = field(default_factory=dict)
    candidate_sheets: dict[int, str] = field(default_factory=dict)
    blocks: dict[str, Block] = field(default_factory=dict)
    kept_rows: dict[str, int] = field(default_factory=dict)
    client: bool = False
    ranged: bool = False
    footer_made: str = ""

    @property
    def footer(self) -> str:
        """Footer of printed pages: project, run and checksum of its inputs, sheet, page of pages."""
        if not self.footer_made:
            self.footer_made = footer_text(
                self.results.project.info.name, f"run {self.results.run_id}, inputs {self.results.project.checksum()}"
            )
        return self.footer_made


@dataclass(frozen=True, slots=True)
class Block:
    """A table of numbers: label column, then one column per series; rows ``first`` to ``last``."""

    sheet: str
    header: int
    first: int
    last: int
    label_column: int
    first_column: int

    def series(self, column: int) -> tuple[list, list, list]:
        """Name, categories and values of a series as the chart library takes them."""
        at = self.first_column + column
        return (
            [self.sheet, self.header, at],
            [self.sheet, self.first, self.label_column, self.last, self.label_column],
            [self.sheet, self.first, at, self.last, at],
        )


def footer_text(project: str, what: str) -> str:
    """Footer codes with the project's name cut so that it fits; ampersands doubled."""
    # A blank keeps digits at the start of the name from joining the font size.
    # A text in the middle would be drawn over by the left one, which is longer than half of a small page.
    right = "&R&8 &A  ·  Page &P of &N"
    left_end = f"  ·  {what}"
    room = LONGEST_FOOTER - len("&L&8 ") - len(left_end) - len(right)
    name = project.replace("&", "&&")
    if len(name) > min(room, 90):
        name = project[: min(room, 90) // 2].rstrip().replace("&", "&&") + "…"
    return f"&L&8 {name}{left_end}{right}"


class Pages(Protocol):
    """What pages of any kind of workbook are written with."""

    @property
    def styles(self) -> Styles: ...


def title(pages: Pages, sheet: Sheet, text: str, under: str = "", *, link_column: int | None = None) -> None:
    """Title in the first row, a line below it, and a link back to the guide, which a client edition has none of."""
    s = pages.styles
    sheet.height(0, 26)
    sheet.text(0, 0, text, s("sheet_title"))
    if under:
        sheet.text(1, 0, under, s("subtitle"))
    if link_column is not None and not (isinstance(pages, Work) and pages.client):
        sheet.internal_link(0, link_column, GUIDE, "to the guide", s("link", "small"))
    sheet.on_screen(tab_colour=PETROL)


def section(pages: Pages, sheet: Sheet, row: int, text: str, columns: int) -> int:
    """A heading over some columns; the row after it."""
    sheet.height(row, 24)
    for place in range(columns):
        sheet.text(row, place, text if place == 0 else "", pages.styles("section"))
    return row + 1


def lines_of(text: str, width: float, size: float = 9.0, *, bold: bool = False) -> int:
    """Lines that wrapped text takes in so many characters of column width.

    A unit of column width is a digit of Arial at 9 points, 0.556 of its size; a mean character of running text is
    0.465 of its size wide (measured on printed pages).
    """
    per_line = max(width * 10.8 / size * (0.93 if bold else 1.0), 4.0)
    lines = 0
    for part in text.split("\n"):
        if len(part) < per_line - 1e-6:
            lines += 1
            continue
        room, here = per_line, 1
        for word in part.split(" "):
            if len(word) > room and room < per_line:
                here, room = here + 1, per_line
            here += int(len(word) // (per_line + 1e-9)) if len(word) > per_line else 0
            room -= min(len(word), per_line) + 1
        lines += here
    return lines


def height_of(lines: int, size: float = 9.0) -> float:
    """Row height for so many lines. [points]"""
    return max(lines * (size * 1.28) + 3.5, 15.0)
