"""The spreadsheet library's kinds of things with ours in place of some.

All private parts of the library that are used are used in this module; ``tests/test_workbook_strict.py`` names
them, for a new version to be held against.
"""

from __future__ import annotations

import io
import re
from functools import cache
from html import escape
from types import SimpleNamespace

from ..errors import WorkbookError
from .addresses import column_name
from .package import Package, Piece

# Functions that the library never renames. It looks for each of some 170 newer ones in every formula, a tenth of the
# time of a workbook; formulas with these alone are spared that.
_CALLED = re.compile(r"([A-Z][A-Z0-9._]*)\(")
_OLD_FUNCTIONS = frozenset(
    (
        "ABS",
        "AND",
        "AVERAGE",
        "CHAR",
        "COLUMN",
        "COLUMNS",
        "COUNT",
        "COUNTA",
        "COUNTIF",
        "EXP",
        "IF",
        "INDEX",
        "INDIRECT",
        "INT",
        "ISBLANK",
        "ISERROR",
        "ISNUMBER",
        "ISTEXT",
        "LEFT",
        "LEN",
        "LN",
        "LOOKUP",
        "LOWER",
        "MATCH",
        "MAX",
        "MEDIAN",
        "MID",
        "MIN",
        "MOD",
        "N",
        "NOT",
        "OR",
        "RANK",
        "RIGHT",
        "ROUND",
        "ROUNDUP",
        "ROW",
        "ROWS",
        "SIGN",
        "SQRT",
        "SUBSTITUTE",
        "SUM",
        "SUMIF",
        "SUMPRODUCT",
        "T",
        "TEXT",
        "TRIM",
        "UPPER",
        "VALUE",
    )
)


def only_old_functions(formula: str) -> bool:
    """Whether a formula calls no function that the library might rename."""
    return "(" not in formula or _OLD_FUNCTIONS.issuperset(_CALLED.findall(formula))


def is_refusal(error: BaseException | None) -> bool:
    """Whether an error is one of the library's own."""
    return error is not None and type(error).__module__.startswith("xlsxwriter")


def style_index(style) -> int:
    """Number by which cells of the file name a format."""
    return style._get_xf_index()


@cache
def library() -> SimpleNamespace:
    """Kinds of things of the library and ours, loaded when the first workbook is made: it takes time that commands
    without a workbook need not spend."""
    from xlsxwriter import Workbook, worksheet
    from xlsxwriter.packager import Packager
    from xlsxwriter.sharedstrings import SharedStrings

    class Part(io.StringIO):
        """A part of the file as pieces of text: pieces are joined once, when all are there."""

        def __init__(self):
            super().__init__()
            self.pieces: list[str | Piece] = []
            self.write = self.pieces.append  # type: ignore[method-assign, assignment]  # takes pieces as well

    class Texts(SharedStrings):
        """Texts of all cells; those without anything that the format writes in another way are written here."""

        def _write_sst_strings(self):
            for text in self.string_table.string_array:
                if text.isprintable() and "_x" not in text and "<" not in text and text == text.strip():
                    self.fh.write(f"<si><t>{escape(text, quote=False)}</t></si>")
                else:
                    self._write_si(text)

    class Parts(Packager):
        """Gives each part away as soon as the next one is begun."""

        def __init__(self, package: Package):
            super().__init__()
            self.package = package
            self._open: tuple[str, Part] | None = None

        def _filename(self, xml_filename):
            self._give()
            part = Part()
            self._open = (xml_filename, part)
            return part

        def _give(self):
            if self._open is not None:
                name, part = self._open
                self._open = None
                self.package.add(name, part.pieces)

        def _write_shared_strings_file(self):
            table = self.workbook.str_table
            if table.count:
                texts = Texts()
                texts.string_table = table
                texts._set_xml_writer(self._filename("xl/sharedStrings.xml"))
                texts._assemble_xml_file()

        def _create_package(self):
            super()._create_package()
            self._give()
            if self.filenames:
                raise WorkbookError(f"workbook: {self.filenames[0][1]} was not packed")
            # Nothing is left for the library to put into a zip folder of its own.
            return []

    class PackedBook(Workbook):
        """A workbook whose parts go into a :class:`Package`."""

        package: Package

        def _get_packager(self):
            return Parts(self.package)

    class FastSheet(worksheet.Worksheet):
        """A sheet whose cells are written with fewer calls, and that ends with ready rows."""

        def __init__(self):
            super().__init__()
            self.ready_rows: list[Piece] = []

        def keep(self, row: int, column: int, cell) -> bool:
            """Keep a cell, whatever was there; False where the library refuses it."""
            # Between cells that the library has accepted there is nothing to ask.
            within = self.dim_rowmin is not None and self.dim_rowmin <= row <= self.dim_rowmax
            if not (within and self.dim_colmin <= column <= self.dim_colmax) and self._check_dimensions(row, column):
                return False
            self.table[row][column] = cell
            return True

        def keep_rows(self, rows: Piece, last_row: int, last_column: int) -> bool:
            """Keep ready rows below all cells, down to a cell; False where the library refuses it."""
            self.ready_rows.append(rows)
            return not self._check_dimensions(last_row, last_column)

        def text_again(self, text: str) -> int | None:
            """Number of a text that another cell has; None for a new one."""
            index = self.str_table.string_table.get(text)
            if index is not None:
                self.str_table.count += 1
            return index

        def new_text(self, text: str) -> int:
            """Number of a text."""
            return self.str_table._get_shared_string_index(text)

        @property
        def printed(self) -> str:
            """Print area; empty where there is none."""
            return self.print_area_range

        @property
        def last_column(self) -> int:
            """Last column with a cell, at least 0."""
            return max(self.dim_colmax or 0, 0)

        def _prepare_formula(self, formula, *more):
            if formula.startswith("=") and only_old_functions(formula):
                return formula[1:]
            return super()._prepare_formula(formula, *more)

        def _assemble_xml_file(self):
            super()._assemble_xml_file()
            # Written for good: a workbook has hundreds of thousands of cells.
            self.table.clear()
            self.ready_rows = []

        def _write_rows(self):
            # As the library does, with the usual kinds of cells written here and only columns with cells looked at: a
            # workbook has tens of thousands beside its ready rows.
            write = self.fh.write
            heights = self.row_info if hasattr(self, "row_info") else self.set_rows
            columns: dict[int, str] = {}
            for row in range(self.dim_rowmin, self.dim_rowmax + 1):
                cells = self.table.get(row)
                if not cells:
                    if row in heights or row in self.comments:
                        self._write_empty_row(row, None, heights.get(row))
                    continue
                self._write_row(row, None, heights.get(row))
                at = f'{row + 1}" s="'
                for column in sorted(cells):
                    cell = cells[column]
                    kind, style = type(cell), cell.format
                    if style is None or kind not in quick:
                        self._write_cell(row, column, cell)
                        continue
                    name = columns.get(column)
                    if name is None:
                        name = columns[column] = f'<c r="{column_name(column)}'
                    start = f"{name}{at}{style.xf_index or style._get_xf_index()}"
                    if kind is worksheet.CellStringTuple:
                        write(f'{start}" t="s"><v>{cell.string}</v></c>')
                    elif kind is worksheet.CellBlankTuple:
                        write(f'{start}"/>')
                    elif kind is worksheet.CellNumberTuple:
                        write(f'{start}"><v>{cell.number:.16G}</v></c>')
                    else:
                        value, type_ = cell.value, ""
                        if isinstance(value, str):
                            value, type_ = escape(value, quote=False), ' t="str"' if value else ""
                        formula = escape(cell.formula, quote=False)
                        write(f'{start}"{type_}><f>{formula}</f><v>{value}</v></c>')
                write("</row>")
            for piece in self.ready_rows:
                write(piece)

    quick = (
        worksheet.CellStringTuple,
        worksheet.CellNumberTuple,
        worksheet.CellBlankTuple,
        worksheet.CellFormulaTuple,
    )
    return SimpleNamespace(
        PackedBook=PackedBook,
        FastSheet=FastSheet,
        Text=worksheet.CellStringTuple,
        Number=worksheet.CellNumberTuple,
        Blank=worksheet.CellBlankTuple,
        Formula=worksheet.CellFormulaTuple,
    )
