"""The only way to the spreadsheet library (``library``): whatever it would silently accept is refused.

The library answers an unusable cell, an over-long text or a mistyped option with a negative
number or a warning and writes the file all the same. Here each of these is a
:class:`WorkbookError`, numbers that are not finite are refused, and text is written as text
only, whatever it begins with.
"""

from __future__ import annotations

import datetime
import io
import math
import warnings
from collections.abc import Iterable, Sequence

import numpy as np

from ..errors import WorkbookError
from ..seal import COMMENTS, seal_workbook
from .addresses import area_name, cell_name, quoted, reference
from .library import is_refusal, library, only_old_functions, style_index
from .package import Package

# One fixed date in every file: same inputs, same bytes, and no clock.
CREATED = datetime.datetime(2000, 1, 1)

# Limits of the file format (Office Open XML spreadsheets, as the library states them).
LONGEST_SHEET_NAME = 31
LONGEST_TEXT = 32_767
LONGEST_FOOTER = 255
LONGEST_FORMULA = 8_000
LONGEST_RULE_TITLE, LONGEST_RULE_TEXT, LONGEST_RULE_LIST = 32, 255, 255
MOST_ROWS = 1_048_576
MOST_COLUMNS = 16_384

# Font of the book, in which programs measure column widths. Its digits are 0.556 of its size wide: 6.67 pixels at 9
# points, 7 on a screen, by which the file counts widths. Where neither Arial nor a font of the same widths is
# installed, the wider DejaVu Sans takes its place, with digits of 0.636 of the size.
BOOK_FONT, BOOK_FONT_SIZE = "Arial", 9
CHARACTER_PIXELS, PADDING_PIXELS = 7, 5
WIDEST_CHARACTER_PIXELS = 0.636 * BOOK_FONT_SIZE * 96.0 / 72.0
ROW_PIXELS = 19


class Book:
    """A workbook in memory.

    Parameters
    ----------
    title : str
        Document property.
    kind : str
        Kind of file, as in :mod:`binestimator.seal`.
    comments : str
        Added to the kind in the document property of this name.
    without_values : bool
        Formulas carry no values, so that another program has to find them.

    Notes
    -----
    Use as a context manager: inside it a warning of the library is an error.
    """

    def __init__(self, *, title: str, kind: str, comments: str = "", without_values: bool = False):
        self.without_values = without_values
        self.kind = kind
        self._book = library().PackedBook(
            io.BytesIO(),
            {
                "in_memory": True,
                "default_format_properties": {"font_name": BOOK_FONT, "font_size": BOOK_FONT_SIZE},
                "strings_to_formulas": False,
                "strings_to_urls": False,
                "strings_to_numbers": False,
            },
        )
        self._book.set_properties({"title": title, "comments": COMMENTS[kind] + comments, "created": CREATED})
        self._book.set_calc_mode("auto")
        self._formats: dict = {}
        self._sheet_names: set[str] = set()
        self._catch = warnings.catch_warnings()
        self.package = self._book.package = Package()

    def __enter__(self) -> Book:
        self.package.__enter__()
        self._catch.__enter__()
        warnings.simplefilter("error")
        return self

    def __exit__(self, kind, error, trace) -> None:
        self._catch.__exit__(kind, error, trace)
        self.package.__exit__()
        if isinstance(error, Warning) or is_refusal(error):
            raise WorkbookError(f"workbook: the spreadsheet library refused something ({error})") from error

    def format(self, **properties):
        """A cell format; equal properties give the same one."""
        key = tuple(sorted(properties.items()))
        found = self._formats.get(key)
        if found is None:
            found = self._formats[key] = self._book.add_format(properties)
        return found

    def sheet(self, name: str) -> Sheet:
        """A new sheet. Raises WorkbookError if the name is too long, in use or has forbidden characters."""
        if not 0 < utf16_length(name) <= LONGEST_SHEET_NAME:
            raise WorkbookError(
                f"sheet name {name!r}: {utf16_length(name)} characters as the file counts them; 1 to "
                f"{LONGEST_SHEET_NAME} are allowed"
            )
        if name.casefold() in self._sheet_names:
            raise WorkbookError(f"sheet name {name!r}: already in use")
        self._sheet_names.add(name.casefold())
        return Sheet(self, self._book.add_worksheet(name, library().FastSheet))

    def define_name(self, name: str, sheet: str, row: int, column: int) -> None:
        """A workbook-wide name of one cell."""
        _done(self._book.define_name(name, "=" + reference(sheet, row, column)), f"name {name}")

    def chart(self, kind: str, subtype: str | None = None):
        """A chart of the library; put on a sheet with :meth:`Sheet.chart`."""
        made = self._book.add_chart({"type": kind, **({"subtype": subtype} if subtype else {})})
        if made is None:
            raise WorkbookError(f"chart: unknown type {kind!r}")
        return made

    def content(self) -> bytes:
        """The finished file, sealed."""
        self._book.close()
        return seal_workbook(self.package.content(), self.kind)


class Sheet:
    """A sheet of a :class:`Book`. Rows and columns count from 0."""

    def __init__(self, book: Book, sheet):
        self.book = book
        self._sheet = sheet
        self._sheet.set_default_row(ROW_PIXELS * 0.75)
        self.name: str = sheet.get_name()
        self._heights: dict[int, float] = {}
        self._kinds = library()

    def _put(self, row: int, column: int, cell) -> None:
        """Keep a cell, as the library's own methods do after a number of questions that are settled here."""
        if not self._sheet.keep(row, column, cell):
            raise WorkbookError(f"{self._at(row, column)}: the spreadsheet library refused it (beyond the sheet)")

    def style_index(self, style) -> int:
        """Number by which cells of the file name a format."""
        return style_index(style)

    def text(self, row: int, column: int, value: str, style=None) -> None:
        """Text, never a formula or a link."""
        if not isinstance(value, str):
            raise WorkbookError(f"{self._at(row, column)}: {value!r} is not a text")
        index = self._sheet.text_again(value)
        if index is None:
            if not value:
                self.blank(row, column, style)
                return
            self._check_text(row, column, value)
            index = self._sheet.new_text(value)
        self._put(row, column, self._kinds.Text(index, style))

    def _check_text(self, row: int, column: int, value: str) -> None:
        if len(value) > LONGEST_TEXT // 2 and utf16_length(value) > LONGEST_TEXT:
            raise WorkbookError(
                f"{self._at(row, column)}: text of {utf16_length(value)} characters; at most {LONGEST_TEXT} fit"
            )
        try:
            value.isascii() or value.encode("utf-8")
        except UnicodeEncodeError as error:
            raise WorkbookError(
                f"{self._at(row, column)}: text {value!r} has characters that no file can hold"
            ) from error

    def number(self, row: int, column: int, value: float, style=None) -> None:
        """A finite number."""
        if isinstance(value, bool) or not math.isfinite(value):
            raise WorkbookError(f"{self._at(row, column)}: {value!r} is not a finite number")
        number = float(value)
        if float(f"{number:.16G}") != number:
            number = _Exact(number)
        self._put(row, column, self._kinds.Number(number, style))

    def formula(self, row: int, column: int, text: str, value: float | str, style=None) -> None:
        """A formula with the value it gives, which must be finite.

        Raises
        ------
        WorkbookError
            It is no formula, or is too long, or has no value.
        """
        if not text.startswith("=") or len(text) > LONGEST_FORMULA:
            raise WorkbookError(
                f"{self._at(row, column)}: {text[:60]!r} is no formula, or longer than {LONGEST_FORMULA} characters"
            )
        if isinstance(value, str):
            # Alone, the text of an error would be taken for the error itself.
            value = value + " " if value.startswith("#") else value
        elif isinstance(value, bool) or not math.isfinite(value):
            raise WorkbookError(f"{self._at(row, column)}: formula with {value!r}, not a finite number or text")
        if self.book.without_values:
            value = ""
        if only_old_functions(text):
            self._put(row, column, self._kinds.Formula(text[1:], style, value))
        else:
            _done(self._sheet.write_formula(row, column, text, style, value), self._at(row, column))

    def array_formula(self, row: int, column: int, text: str, value: float, style=None) -> None:
        """A formula of one cell that works on arrays, with the value it gives; errors as :meth:`formula`."""
        if not text.startswith("=") or len(text) > LONGEST_FORMULA or not math.isfinite(value):
            raise WorkbookError(
                f"{self._at(row, column)}: {text[:60]!r} is no formula, or longer than {LONGEST_FORMULA} characters, "
                f"or gives {value!r}, not a finite number"
            )
        cached = "" if self.book.without_values else value
        answer = self._sheet.write_array_formula(row, column, row, column, "{" + text + "}", style, cached)
        _done(answer, self._at(row, column))

    def ready_rows(self, rows: list[str], last_row: int, last_column: int) -> None:
        """Rows in the form of the file, down to a cell; all other cells of the sheet are above them."""
        if not self._sheet.keep_rows(self.book.package.piece(rows), last_row, last_column):
            raise WorkbookError(f"{self._at(last_row, last_column)}: beyond the end of a sheet")

    def validate(self, row: int, column: int, last_row: int, last_column: int, /, **rule) -> None:
        """What cells may hold, and what a user is told; options as the library names them."""
        rule["input_title"] = rule.get("input_title", "")[:LONGEST_RULE_TITLE]
        for name in ("input_message", "error_message"):
            rule[name] = rule.get(name, "")[:LONGEST_RULE_TEXT]
        _done(self._sheet.data_validation(row, column, last_row, last_column, rule), self._at(row, column))

    def highlight(self, row: int, column: int, last_row: int, last_column: int, condition: str, style) -> None:
        """Another look of cells while a formula, written for the first of them, holds."""
        rule = {"type": "formula", "criteria": condition, "format": style}
        _done(self._sheet.conditional_format(row, column, last_row, last_column, rule), self._at(row, column))

    def blank(self, row: int, column: int, style=None) -> None:
        """An empty cell with a format."""
        if style is not None:
            self._put(row, column, self._kinds.Blank(style))

    def cell(self, row: int, column: int, value, style=None) -> None:
        """Text, number or, for None and NaN, an empty cell."""
        if value is None or (isinstance(value, float) and math.isnan(value)):
            self.blank(row, column, style)
        elif isinstance(value, str):
            self.text(row, column, value, style)
        else:
            self.number(row, column, value, style)

    def cells(self, row: int, column: int, values: Iterable, style=None) -> None:
        """Cells side by side."""
        for k, value in enumerate(values):
            self.cell(row, column + k, value, style)

    def number_columns(self, row: int, column: int, columns: Sequence, styles: Sequence, *, bare: bool = False) -> None:
        """A block of numbers, column by column; NaN leaves a cell empty, infinities are refused.

        Parameters
        ----------
        columns : sequence of ndarray (R,)
        styles : sequence
            One format per column.
        bare : bool
            Empty cells get no format either (saves time and space in large tables).
        """
        last = row
        for k, (values, style) in enumerate(zip(columns, styles, strict=True)):
            place = column + k
            if np.isinf(values).any():
                at = int(np.flatnonzero(np.isinf(values))[0])
                raise WorkbookError(f"{self._at(row + at, place)}: {values[at]!r} is not a finite number")
            for at, value in enumerate(values.tolist(), row):
                if value == value:  # not NaN
                    self._put(at, place, self._kinds.Number(value, style))
                elif not bare:
                    self.blank(at, place, style)
            last = max(last, row + len(values) - 1)
        if last >= MOST_ROWS or column + len(columns) > MOST_COLUMNS:
            raise WorkbookError(f"{self._at(last, column + len(columns) - 1)}: beyond the end of a sheet")

    def internal_link(self, row: int, column: int, sheet: str, text: str, style=None) -> None:
        """A link to the top of another sheet."""
        target = f"internal:'{sheet.replace(chr(39), chr(39) * 2)}'!A1"
        _done(self._sheet.write_url(row, column, target, style, text), self._at(row, column))

    def merged_text(self, row: int, column: int, last_row: int, last_column: int, value: str, style=None) -> None:
        """Text over several cells."""
        if (row, column) == (last_row, last_column):
            self.text(row, column, value, style)
            return
        _done(self._sheet.merge_range(row, column, last_row, last_column, "", style), self._at(row, column))
        self.text(row, column, value, style)

    def widths(self, widths: Iterable[float], first: int = 0, style=None) -> None:
        """Widths of columns from ``first`` on. [characters]"""
        for column, width in enumerate(widths, first):
            _done(self._sheet.set_column(column, column, width, style), f"{self.name} column {column + 1}")

    def height(self, row: int, points: float) -> None:
        """Height of a row. [points]"""
        _done(self._sheet.set_row(row, points), f"{self.name} row {row + 1}")
        self._heights[row] = points

    def points(self, first: int, last: int) -> float:
        """Height of rows together. [points]"""
        return sum(self._heights.get(row, ROW_PIXELS * 0.75) for row in range(first, last + 1))

    def freeze(self, row: int, column: int) -> None:
        """Keep the rows above and the columns left of a cell in view."""
        self._sheet.freeze_panes(row, column)

    def filter(self, row: int, column: int, last_row: int, last_column: int) -> None:
        """Filter buttons on a table whose header is ``row``."""
        _done(self._sheet.autofilter(row, column, last_row, last_column), self._at(row, column))

    def ignore_text_numbers(self, row: int, column: int, last_row: int, last_column: int) -> None:
        """No green corners on text that looks like a number."""
        area = area_name(row, column, last_row, last_column)
        _done(self._sheet.ignore_errors({"number_stored_as_text": area}), self._at(row, column))

    def chart(self, row: int, column: int, chart, **options) -> None:
        """Put a chart with its upper left corner in a cell."""
        _done(self._sheet.insert_chart(row, column, chart, options), self._at(row, column))

    def on_screen(self, *, tab_colour: str, zoom: int = 100) -> None:
        """No gridlines, a coloured tab, a zoom."""
        self._sheet.hide_gridlines(2)
        self._sheet.set_tab_color(tab_colour)
        self._sheet.set_zoom(zoom)

    def activate(self) -> None:
        """Open the file on this sheet."""
        self._sheet.activate()

    def on_paper(
        self,
        *,
        footer: str,
        last_row: int,
        last_column: int,
        pages_high: int = 0,
        repeat_rows: tuple[int, int] | None = None,
        repeat_columns: tuple[int, int] | None = None,
        pages_wide: int = 1,
        breaks: Sequence[int] = (),
        letter: bool = True,
    ) -> None:
        """Landscape, margins, fit to width, repeated headers, footer, print area.

        ``pages_high`` 0 means as many as it takes; ``breaks`` are rows before which a page starts.
        """
        s = self._sheet
        s.set_landscape()
        s.center_horizontally()
        s.set_paper(1 if letter else 3)  # US Letter or Tabloid (11 x 17 in)
        s.set_margins(left=0.4, right=0.4, top=0.4, bottom=0.55)
        s.fit_to_pages(pages_wide, pages_high)
        if len(footer) > LONGEST_FOOTER:
            raise WorkbookError(f"{self.name}: footer of {len(footer)} characters; at most {LONGEST_FOOTER} fit")
        _done(s.set_footer(footer, {"margin": 0.25}), f"{self.name} footer")
        _done(s.print_area(0, 0, last_row, last_column), f"{self.name} print area")
        if repeat_rows is not None:
            s.repeat_rows(*repeat_rows)
        if repeat_columns is not None:
            s.repeat_columns(*repeat_columns)
        if breaks:
            s.set_h_pagebreaks(list(breaks))

    def off_paper(self) -> None:
        """Print nothing of this sheet when the whole file is printed: its print area is one empty cell.

        What would have been printed keeps its place as the name ``paper`` of the sheet.
        """
        s = self._sheet
        area = s.printed
        # One column beyond all cells; programs that leave out empty pages then leave out the sheet.
        column = s.last_column + 2
        _done(s.print_area(0, column, 0, column), f"{self.name} print area")
        if area:
            where = area if "!" in area else f"{quoted(self.name)}!{area}"
            # The library looks the sheet up by its bare name, apostrophes of the name not doubled.
            _done(self.book._book.define_name(f"'{self.name}'!paper", "=" + where), f"{self.name} paper")

    def hide(self) -> None:
        """Leave the sheet out of sight, and so out of print."""
        self._sheet.hide()

    def _at(self, row: int, column: int) -> str:
        return f"{self.name}!{cell_name(row, column)}"


class _Exact(float):
    """A number that needs its seventeenth digit, which the library would round away."""

    def __format__(self, how: str) -> str:
        return repr(float(self))


def _done(answer, where: str) -> None:
    """Raise if the library answered with a failure."""
    if isinstance(answer, int) and answer < 0:
        raise WorkbookError(f"{where}: the spreadsheet library refused it (answer {answer})")


def utf16_length(text: str) -> int:
    """Length as the file format counts it: characters outside the basic plane take two units."""
    return len(text) + sum(character > "\uffff" for character in text)
