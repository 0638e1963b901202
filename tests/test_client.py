"""The client edition: what it holds, that it says the same as the workbook, and what is printed."""

import io
import re
import shutil
import subprocess
import zlib
from functools import cache
from pathlib import Path

import openpyxl
import pytest
from books import Book
from builders import project_of, weather_of
from recalculation import Spreadsheet

from binestimator.advice import estimate_and_advise
from binestimator.errors import InputError
from binestimator.inputs.form import read_form
from binestimator.inputs.read import read_project
from binestimator.ranges.find import with_ranges
from binestimator.seal import CLIENT, mark_of
from binestimator.weather import find_weather, read_weather
from binestimator.workbook import layout
from binestimator.workbook.formats import LINES
from binestimator.workbook.sheets.glance.columns import MOST_COLUMNS, columns_of
from binestimator.workbook.write import client_bytes, workbook_bytes

DEMOS = Path(__file__).resolve().parents[1] / "demo_projects"
HOSTILE = '=HYPERLINK("x","y")'
#: Sheets of the hand-over, behind those for the owner: as many pages as there are setpoints, tests and zones.
HANDED_OVER = (layout.HANDOVER, layout.SEQUENCE, layout.ACCEPTANCE)


@cache
def results():
    """The default eight and one with a hostile name."""
    project = project_of(
        project={"name": HOSTILE, "default_candidates": True},
        bins={"rows": "mean"},
        candidate=[
            {"id": "dsp_demand", "cost_usd": 4000, "incentive_usd": 500},
            {"id": "hostile", "name": HOSTILE, "sat": "outdoor_air", "dsp": "demand", "cost_usd": 9000},
        ],
        evidence={"fan.motor_hp": "nameplate, photo 12"},
    )
    return estimate_and_advise(project, weather_of("greensboro"))


@cache
def client_file():
    return client_bytes(results())


@cache
def working_file():
    return workbook_bytes(results())


@cache
def client():
    return openpyxl.load_workbook(io.BytesIO(client_file()))


@cache
def working():
    return Book(working_file(), data_only=True)


def test_it_has_the_sheets_of_the_owner_and_no_formula_or_link():
    names = [sheet.title for sheet in client().worksheets if sheet.sheet_state == "visible"]
    assert names == list(layout.OWNER_SHEETS) == working().sheetnames[: len(names)]
    for sheet in client().worksheets:
        for line in sheet.iter_rows():
            for cell in line:
                assert cell.data_type in ("s", "n") and cell.hyperlink is None, (sheet.title, cell.coordinate)
    assert mark_of(client_file()).kind == CLIENT and mark_of(client_file()).whole
    assert client_bytes(results()) == client_file()


@pytest.mark.crosscheck
def test_every_number_is_that_of_the_working_file():
    """In the order of reading, as the lines for reviews take rows of the first sheet in the working file alone."""
    compared = 0
    for name in layout.OWNER_SHEETS:
        numbers = [
            [c.value for line in book[name].iter_rows() for c in line if isinstance(c.value, (int, float))]
            for book in (client(), working())
        ]
        assert numbers[0] == numbers[1], name
        compared += len(numbers[0])
    assert compared > 200


def test_no_text_sends_a_reader_to_a_sheet_that_is_not_there():
    others = set(layout.CONTENTS) - set(layout.OWNER_SHEETS)
    for name in layout.OWNER_SHEETS:
        for line in client()[name].iter_rows(values_only=True):
            for text in (str(cell) for cell in line if cell is not None):
                for named in set(re.findall("“([^”]*)”", text)) & others:
                    assert f"“{named}” of the working file" in text, text


def test_read_as_a_project_it_says_what_it_is(tmp_path):
    path = tmp_path / "office_client.xlsx"
    path.write_bytes(client_file())
    with pytest.raises(InputError) as caught:
        read_form(path)
    said = str(caught.value)
    assert said.startswith("office_client.xlsx: is a client edition") and "office.xlsx" in said and "\n" not in said


def test_the_first_page_has_at_most_ten_columns_and_fits_a_page():
    sheet = client()[layout.GLANCE]
    assert 2 + len(columns_of(results())) <= MOST_COLUMNS == 10
    (end,) = [b.id for b in sheet.row_breaks.brk]
    heights = [sheet.row_dimensions[row].height or 14.25 for row in range(1, end + 1)]
    assert sum(heights) <= (8.5 - sheet.page_margins.top - sheet.page_margins.bottom) * 72


def scale_of(sheet, digit_pixels):
    """Scale at which a program prints a sheet as wide as the page, where a digit of the book's font has this width.

    The file gives a column in digits. Programs shrink to the width of the page, and do not enlarge.
    """
    digits = sum(d.width * (d.max - d.min + 1) for d in sheet.column_dimensions.values())
    page = (11.0 - sheet.page_margins.left - sheet.page_margins.right) * 96
    return min(1.0, page / (digits * digit_pixels))


@pytest.mark.invariant
@pytest.mark.parametrize(
    "digit_pixels",
    [
        0.556
        * 12,  # Arial of 9 points, and fonts of the same widths, as a printer draws it: width of a digit in the font
        7.0,  # the same on a screen of 96 dots an inch, where it is a whole number of pixels
        0.636 * 12,  # DejaVu Sans, which takes its place where neither is installed
    ],
)
def test_type_for_the_owner_is_nine_points_as_printed(digit_pixels):
    for name in layout.OWNER_SHEETS:
        sheet = client()[name]
        assert sheet.sheet_properties.pageSetUpPr.fitToPage and sheet.page_setup.fitToHeight == 0
        assert sheet.page_setup.orientation == "landscape" and sheet.page_setup.paperSize == 1
        sizes = {c.font.sz for line in sheet.iter_rows() for c in line if c.value is not None}
        assert min(sizes) * scale_of(sheet, digit_pixels) >= 9.0, name


def type_sizes(pdf):
    """Sizes of letters on the pages of a document, from what its pages draw. [points]"""
    found = []
    for match in re.finditer(rb"stream\r?\n(.*?)endstream", pdf, re.DOTALL):
        try:
            drawn = zlib.decompress(match[1])
        except zlib.error:
            continue
        if b"BT" in drawn:
            found.append([float(size) for size in re.findall(rb"/F\d+ ([\d.]+) Tf", drawn)])
    return found


@pytest.fixture(scope="module")
def printed(request, tmp_path_factory):
    """Files that tests ask for as a spreadsheet program prints them: a folder with a document of each."""
    slow = any(item.path == request.path and item.get_closest_marker("slow") for item in request.session.items)
    files = {"client": client_file()} | ({"working": working_file()} if slow else {})
    return Spreadsheet(tmp_path_factory.mktemp("printed")).converted("pdf", files)


def test_pages_are_drawn_in_nine_points(printed):
    """Footers and charts are in 8 points; nothing else is below 9, and nothing is shrunk."""
    sizes = type_sizes((printed / "client.pdf").read_bytes())
    assert 6 + len(HANDED_OVER) <= len(sizes) <= 8 + 30
    named = pages(printed / "client.pdf")
    drawn = [number for number, name in enumerate(named, 1) if name in (layout.RANGES, layout.MONEY_CHARTS)]
    assert len(named) == len(sizes) and layout.MONEY_CHARTS in named
    for number, page in enumerate(sizes, 1):
        assert min(page) > 7.8, number
        if number != 2 and number not in drawn:
            # The footer is three texts, which programs may draw in pieces.
            # The last page of a sheet of the hand-over may be a short one.
            least = 20 if number <= 6 + len(drawn) else 3
            assert sum(size < 9.0 for size in page) <= 12 and sum(size >= 9.0 for size in page) > least, number


def test_curves_differ_without_colour():
    assert len({(dash, marker) for _, dash, marker, _ in LINES}) == len(LINES) >= layout.MOST_CANDIDATE_SHEETS


def pages(file):
    """Sheet of each page of a document, from its footer."""
    assert shutil.which("pdftotext"), "poppler-utils is not installed: pages cannot be read"
    text = subprocess.run(["pdftotext", "-layout", str(file), "-"], capture_output=True, check=True).stdout.decode()
    return [
        next(
            (
                s
                for s in layout.OWNER_SHEETS
                if re.search(rf"\s{{2,}}{re.escape(s)}\s+·\s+Page", page.rstrip().split("\n")[-1])
            ),
            "?",
        )
        for page in text.split("\f")
        if page.strip()
    ]


@pytest.mark.parametrize(
    ("name", "printed_sheets"),
    [
        ("client", layout.OWNER_SHEETS),
        pytest.param("working", layout.PRINTED_SHEETS, marks=pytest.mark.slow),
    ],
    ids=["client", "working"],
)
def test_the_working_file_prints_the_pages_for_the_owner_alone_the_client_edition_the_hand_over_too(
    printed, name, printed_sheets
):
    sheets = pages(printed / f"{name}.pdf")
    assert list(dict.fromkeys(sheets)) == list(printed_sheets), (name, sheets)
    assert 6 <= sum(sheet not in HANDED_OVER for sheet in sheets) <= 8, (name, sheets)


@pytest.mark.slow
@pytest.mark.parametrize("name", ["office", "clinic", "field_station"])
def test_a_demo_prints_six_to_eight_pages(name, tmp_path):
    """With the ranges that every run draws: up to fourteen options and long texts."""
    project = read_project(DEMOS / name / f"{name}.toml")
    weather = read_weather(find_weather(project.weather.file, project.source_dir))
    drawn = with_ranges(estimate_and_advise(project, weather))
    folder = Spreadsheet(tmp_path).converted("pdf", {name: workbook_bytes(drawn)})
    sheets = pages(folder / f"{name}.pdf")
    assert list(dict.fromkeys(sheets)) == list(layout.PRINTED_SHEETS)
    assert 6 <= len(sheets) <= 8, sheets
    for page in type_sizes((folder / f"{name}.pdf").read_bytes()):
        assert min(page) >= 7.5


def test_a_sheet_left_out_of_print_says_where_its_pages_are():
    sheet = Book(working_file())[layout.COMPARISON]
    assert "paper" in sheet.defined_names
    first = re.search(r"\$([A-Z]+)\$1$", sheet.print_area).group(1)
    assert sheet.max_column < openpyxl.utils.column_index_from_string(first)
