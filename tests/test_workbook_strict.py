"""The strict writer: nothing unusable reaches a file."""

import inspect
import io
import re
import subprocess
import sys
import threading
import zipfile
import zlib
from pathlib import Path

import numpy as np
import openpyxl
import pytest
from hypothesis import given
from hypothesis import strategies as st

from binestimator.errors import WorkbookError
from binestimator.seal import FORM, Mark, mark_of
from binestimator.workbook import package, page, strict
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


def test_texts_are_read_back_sign_by_sign():
    """Those that the format writes as they are, and those that it does not; each as a new text and as a known one."""
    texts = [
        "plain",
        'a < b & "c" > d',
        "x > y & z",
        " lead",
        "trail ",
        "two\nlines",
        "\ttab",
        "_x0041_",
        "a_xyz",
        "<r>",
        "é",
        "\xa0",
    ]

    def write(book, sheet):
        for column in range(2):
            for row, text in enumerate(texts):
                sheet.text(row, column, text)

    sheet = made(write)
    for column in "AB":
        assert [cell.value for cell in sheet[column]] == texts


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


def test_private_parts_of_the_spreadsheet_library_that_are_used_are_there():
    """What a new version of it must still have, by the same names and with the same arguments."""
    import xlsxwriter
    from xlsxwriter import format as formats
    from xlsxwriter import packager, sharedstrings, worksheet

    def arguments(function):
        return list(inspect.signature(function).parameters)[1:]

    sheet = worksheet.Worksheet
    for name in ("_write_rows", "_assemble_xml_file"):
        assert arguments(getattr(sheet, name)) == []
    assert arguments(sheet._write_row)[:2] == arguments(sheet._write_empty_row)[:2] == ["row", "spans"]
    assert arguments(sheet._write_cell) == ["row", "col", "cell"]
    assert arguments(sheet._check_dimensions)[:2] == ["row", "col"]
    assert arguments(sheet._prepare_formula)[0] == "formula"
    assert arguments(formats.Format._get_xf_index) == []
    assert arguments(sharedstrings.SharedStringTable._get_shared_string_index) == ["string"]
    assert arguments(packager.Packager._filename) == ["xml_filename"]
    assert arguments(packager.Packager._create_package) == arguments(packager.Packager._write_shared_strings_file) == []
    texts = sharedstrings.SharedStrings
    assert arguments(texts._write_sst_strings) == arguments(texts._assemble_xml_file) == []
    assert arguments(texts._write_si) == ["string"] and arguments(texts._set_xml_writer) == ["filename"]
    assert arguments(xlsxwriter.Workbook._get_packager) == []
    for kind, fields in (("String", 2), ("Number", 2), ("Blank", 1), ("Formula", 3)):
        assert len(getattr(worksheet, f"Cell{kind}Tuple")._fields) == fields
    # Attributes that are read or filled.
    book = xlsxwriter.Workbook(io.BytesIO())
    made = book.add_worksheet("S", sheet)
    made.write_string(3, 2, "text")
    assert type(made.table[3][2]) is worksheet.CellStringTuple
    assert {"str_table", "dim_rowmin", "dim_rowmax", "dim_colmin", "dim_colmax", "print_area_range", "comments"} <= set(
        vars(made)
    )
    assert {"row_info", "set_rows"} & set(vars(made))
    assert {"count", "string_table", "string_array"} <= set(vars(book.str_table)) and "xf_index" in vars(
        book.add_format()
    )
    assert "string_table" in vars(texts())
    assert packager.Packager().filenames == []


def test_no_other_module_touches_private_parts_of_the_spreadsheet_library():
    folder = Path(strict.__file__).parent
    for path in folder.rglob("*.py"):
        text = path.read_text(encoding="utf-8")
        if path.name != "library.py":
            touched = (
                r"import xlsxwriter|from xlsxwriter|\.(?:_sheet|_book)\._|_get_xf_index|_check_dimensions|str_table"
            )
            assert not re.search(touched + r"|\.dim_(?:row|col)m", text), path


def mixed(book, sheet):
    """Cells of every kind, also those that the library writes itself."""
    bold = book.format(bold=True)
    sheet.text(0, 0, ' a < b & "c" \n', bold)
    sheet.text(0, 1, "no format")
    sheet.number(1, 0, 1.0 / 3.0, bold)
    sheet.number(1, 1, 0.1 + 0.2)
    sheet.blank(2, 0, bold)
    sheet.formula(2, 1, '=IF(A2<1,"<&>",0)', "<&>", bold)
    sheet.formula(2, 2, "=A2*3", 1.0, bold)
    sheet.formula(2, 3, '=STDEV(A2:B2)&"x"', "#x", bold)
    sheet.array_formula(3, 0, "=SUM(A2:B2*A2:B2)", 0.2, bold)
    sheet.internal_link(4, 0, "S", "to the top", bold)
    sheet.merged_text(5, 0, 5, 3, "wide", bold)
    sheet.ready_rows(['<row r="7"><c><v>1</v></c><c><v>2</v></c></row>'], 6, 1)


def test_cells_are_read_back_as_they_were_put():
    sheet = made(mixed)
    assert [c.value for c in sheet["A"]][:3] == [' a < b & "c" \n', 1.0 / 3.0, None]
    assert sheet["A1"].font.bold and sheet["A3"].font.bold and not sheet["B1"].font.bold
    assert sheet["B2"].value == 0.1 + 0.2
    assert [sheet[at].value for at in ("B3", "C3", "D3")] == [
        '=IF(A2<1,"<&>",0)',
        "=A2*3",
        '=STDEV(A2:B2)&"x"',
    ]
    assert sheet["A4"].value.text == "=SUM(A2:B2*A2:B2)" and sheet["A4"].value.ref == "A4"
    assert sheet["A5"].hyperlink is not None and sheet["A6"].value == "wide"
    assert [c.value for c in sheet[7]][:2] == [1, 2]
    assert sheet.dimensions == "A1:D7"


def test_the_file_is_the_same_however_its_parts_fall_on_threads(monkeypatch):
    def content():
        with Book(title="t", kind=FORM) as book:
            mixed(book, book.sheet("S"))
            for k in range(20):
                book.sheet(f"S{k}").number_columns(0, 0, [np.arange(300.0)] * 5, [None] * 5)
            return book.content()

    first = content()
    assert content() == first
    # Without a helper the parts wait for the end.
    monkeypatch.setattr(package.Package, "_work", lambda self: None)
    assert content() == first
    with zipfile.ZipFile(io.BytesIO(first)) as archive:
        assert archive.testzip() is None
        assert {item.date_time for item in archive.infolist()} == {(1980, 1, 1, 0, 0, 0)}
        assert archive.namelist()[0] == "[Content_Types].xml"
    assert mark_of(first) == Mark(FORM, True)


@pytest.mark.parametrize("last", [False, True])
def test_a_fault_while_parts_are_packed_is_raised_and_no_thread_is_left(monkeypatch, last):
    before, packed = threading.active_count(), package._packed

    def fails(text, *, last):
        if last == at_last:
            raise MemoryError(text)
        return packed(text, last=last)

    at_last = last
    monkeypatch.setattr(package, "_packed", fails)
    with pytest.raises(MemoryError):
        made(mixed)
    assert threading.active_count() == before


def test_a_workbook_that_failed_leaves_no_thread():
    before = threading.active_count()
    refused(lambda b, s: (mixed(b, s), s.number(1, 1, float("nan"))))
    assert threading.active_count() == before


@pytest.mark.crosscheck
@given(st.lists(st.binary(max_size=300), max_size=6))
def test_checksums_of_parts_join_to_that_of_the_whole(pieces):
    check = 0
    for piece in pieces:
        check = package.joined_check(check, zlib.crc32(piece), len(piece))
    assert check == zlib.crc32(b"".join(pieces))
