"""The strict writer: nothing unusable reaches a file."""

import io
import subprocess
import sys

import openpyxl
import pytest

from binestimator.errors import WorkbookError
from binestimator.seal import FORM
from binestimator.workbook import page, strict
from binestimator.workbook.strict import Book


def made(write):
    """A one-sheet workbook, read back."""
    with Book(title="t", kind=FORM) as book:
        write(book, book.sheet("S"))
        return openpyxl.load_workbook(io.BytesIO(book.content()))["S"]


def refused(write):
    with pytest.raises(WorkbookError) as caught:
        made(write)
    return str(caught.value)


@pytest.mark.parametrize("value", [float("nan"), float("inf"), -float("inf"), True])
def test_numbers_that_are_none_are_refused(value):
    assert "S!B2" in refused(lambda b, s: s.number(1, 1, value))


def test_blocks_refuse_infinities_and_leave_nan_empty():
    import numpy as np

    sheet = made(lambda b, s: s.number_columns(0, 0, [np.array([1.0, np.nan, 3.0])], [None]))
    assert [c.value for c in sheet["A"]] == [1.0, None, 3.0]
    with pytest.raises(WorkbookError):
        made(lambda b, s: s.number_columns(0, 0, [np.array([1.0, np.inf])], [None]))


@pytest.mark.parametrize(
    "text", ["=1+1", "http://example.org", "mailto:x", "{=A1}", "@A1", "1e5", "  lead", "\u0001 control", "'quote"]
)
def test_text_is_text(text):
    sheet = made(lambda b, s: s.text(0, 0, text))
    assert sheet["A1"].data_type == "s" and sheet["A1"].hyperlink is None
    assert sheet["A1"].value.endswith(text[-3:])


def test_text_that_no_cell_holds_is_refused():
    assert "32767" in refused(lambda b, s: s.text(0, 0, "x" * 32768))
    assert "not a text" in refused(lambda b, s: s.text(0, 0, 5))
    assert "no file can hold" in refused(lambda b, s: s.text(0, 0, "\ud800"))


def test_cells_beyond_the_sheet_are_refused():
    assert "refused" in refused(lambda b, s: s.text(strict.MOST_ROWS, 0, "x"))
    assert "refused" in refused(lambda b, s: s.number(0, strict.MOST_COLUMNS, 1.0))


@pytest.mark.parametrize("name", ["", "x" * 32, "s", "S"])
def test_bad_and_double_sheet_names_are_refused(name):
    refused(lambda b, s: b.sheet(name))


def test_warnings_of_the_library_are_errors():
    assert "refused" in refused(lambda b, s: b.define_name("A1", "S", 0, 0))
    assert "refused" in refused(lambda b, s: b.sheet("a[b"))
    assert "footer" in refused(lambda b, s: s.on_paper(footer="x" * 256, last_row=1, last_column=1))


def test_the_footer_fits_whatever_the_name():
    for name in ("x" * 80, "&" * 80, "12 Main & Söhne", "ä" * 80, ""):
        text = page.footer_text(name, "run 0123456789ab, inputs 12345678")
        assert (
            len(text) <= strict.LONGEST_FOOTER
            and "run 0123456789ab, inputs 12345678" in text
            and "Page &P of &N" in text
        )
        assert name.replace("&", "&&") in text or text.count("…") == 1
    assert page.footer_text("12 Main", "r").startswith("&L&8 12 Main")


@pytest.mark.invariant
def test_lines_of_wrapped_text_grow_with_text_and_shrink_with_width():
    counts = [page.lines_of("word " * n, 40) for n in (1, 10, 40, 160)]
    assert counts == sorted(counts) and counts[0] == 1
    assert page.lines_of("word " * 100, 20) > page.lines_of("word " * 100, 80)
    assert page.lines_of("a\nb\nc", 40) == 3 and page.lines_of("x" * 400, 10) > 10


def test_the_spreadsheet_library_is_loaded_only_to_write():
    code = "import sys, binestimator.workbook.write; sys.exit('xlsxwriter' in sys.modules or 'openpyxl' in sys.modules)"
    assert subprocess.run([sys.executable, "-c", code], check=False).returncode == 0
