"""Charts in one style: series differ by more than colour, labels are clear of the plot."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence

from ..end_uses import END_USES
from .formats import END_USE_COLOURS, FONT, INK, LINES, PAPER, RULE, SLATE
from .strict import CHARACTER_PIXELS, PADDING_PIXELS, ROW_PIXELS, WIDEST_CHARACTER_PIXELS, Sheet


def pixels_of(width: float) -> int:
    """Width of a column of so many characters. [pixels]"""
    return int(width * CHARACTER_PIXELS + PADDING_PIXELS)


def place_at(pixels: list[int], x: int) -> tuple[int, int]:
    """Column and offset in it of a point so many pixels from the left edge of the sheet."""
    column = 0
    while x >= pixels[column]:
        x -= pixels[column]
        column += 1
    return column, x


def room(widths) -> float:
    """Width of merged columns, with the padding that each brings. [characters]"""
    return sum(widths) + (len(widths) - 1) * PADDING_PIXELS / CHARACTER_PIXELS


def put_in_pairs(sheet: Sheet, charts: Iterable, first_row: int, height: int, middle: tuple[int, int]) -> None:
    """Charts side by side, two in a line; the second at the column of ``middle``, moved by its pixels."""
    column, offset = middle
    for k, chart in enumerate(charts):
        at = first_row + (k // 2) * (height // ROW_PIXELS + 1)
        if k % 2 == 0:
            sheet.chart(at, 0, chart)
        else:
            sheet.chart(at, column, chart, x_offset=offset)


def axis_of(values: Iterable[float], most: int = 8) -> tuple[float, float, float]:
    """Ends of an axis that holds zero and all values, and its unit: at most so many steps, one of which is at zero."""
    found = [0.0, *values]
    low, high = min(found), max(found)
    power = math.floor(math.log10((high - low) / most)) if high > low else 0
    for unit in (digit * 10.0**k for k in (power, power + 1) for digit in (1.0, 2.0, 5.0)):
        first, last = math.floor(low / unit), math.ceil(high / unit)
        if last - first <= most:
            break
    return first * unit, max(last, first + 1) * unit, unit


# Room for cells on a page of US Letter in landscape inside the margins that sheets have. [pixels]
_PAGE_PIXELS = (979, 720)
#: Width of sheets that print at full size, also where a wider font takes the place of the book's. [pixels]
FULL_SIZE_PIXELS = int(_PAGE_PIXELS[0] * CHARACTER_PIXELS / WIDEST_CHARACTER_PIXELS) - 8
#: Height of rows that such a page holds. [points]
FULL_SIZE_POINTS = 0.75 * _PAGE_PIXELS[1]


def rows_of_page(width: int, pages_wide: int = 1) -> int:
    """Rows of standard height on a page that is scaled to hold a width of so many pixels."""
    scale = min(1.0, pages_wide * _PAGE_PIXELS[0] / width)
    return int(_PAGE_PIXELS[1] / scale / ROW_PIXELS)


# Uses of heat are hatched, so that they differ from those of cooling by more than colour.
_HATCHED_USES = tuple(use.key for use in END_USES if use.heats)


def fill_of(colour: str, *, hatched: bool = False) -> dict:
    """Fill of a series, plain or hatched, as the chart library takes it."""
    if hatched:
        return {"pattern": {"pattern": "wide_upward_diagonal", "fg_color": colour, "bg_color": PAPER}}
    return {"fill": {"color": colour}}


def fill_of_use(key: str) -> dict:
    """Fill of an end use."""
    return fill_of(END_USE_COLOURS[key], hatched=key in _HATCHED_USES)


def legend_lines(names: Sequence[str], width: int) -> int:
    """Lines of a legend of curves at the bottom of a chart of so many pixels, as many side by side as the longest name
    allows."""
    widest = _LEGEND_SAMPLE_PIXELS + _LEGEND_CHARACTER_PIXELS * max(map(len, names), default=0)
    return -(-len(names) // max(int(0.95 * width / widest), 1))


def line_of(place: int) -> dict:
    """Line and marker of the series at this place, as the chart library takes them."""
    colour, dash, marker, fill = LINES[place]
    return {
        "line": {"color": colour, "width": 1.75, "dash_type": dash},
        "marker": {"type": marker, "size": 6, "border": {"color": colour}, "fill": {"color": fill}},
    }


# Parts of a chart around its plot, with letters of the sizes that charts have. [pixels]
_LEGEND_LINE_PIXELS, _TICK_PIXELS, _AXIS_NAME_PIXELS, _TITLE_PIXELS, _Y_LABEL_PIXELS = 15, 18, 20, 28, 48
# Longest sample of a curve in a legend, and a character beside it, as LibreOffice draws them. [pixels]
_LEGEND_SAMPLE_PIXELS, _LEGEND_CHARACTER_PIXELS = 62, 5.6


def style_chart(
    chart,
    title: str,
    x_label: str,
    y_label: str,
    *,
    size: tuple[int, int],
    y_format: str | None = None,
    x_range: tuple[float, float] | None = None,
    y_range: tuple[float, float | None] | None = None,
    legend: str = "bottom",
    x_unit: float | None = None,
    y_unit: float | None = None,
    legend_lines: int = 0,
    labels_pixels: int = 0,
    tick_lines: int = 1,
) -> None:
    """Titles, fonts, axes and legend of a chart. ``size`` in pixels.

    ``legend_lines`` keeps a legend of so many lines at the bottom and leaves all the rest to the plot: programs that
    share the room out by themselves make a small chart flat. There must be a line for each entry that may not fit
    beside another: entries without room are dropped. ``labels_pixels`` is of bars that lie: room for their labels, the
    first on top; ``y_format`` is that of their values. ``tick_lines`` of the labels below the plot.
    """
    font = {"name": FONT, "size": 8, "color": INK}
    chart.set_title(
        {
            "name": title,
            "name_font": {"name": FONT, "size": 9 if legend_lines else 10, "bold": True, "color": INK},
            "overlay": False,
        }
    )
    x_axis: dict[str, object] = {
        "name": x_label,
        "name_font": {**font, "bold": False, "color": SLATE},
        "num_font": font,
        "line": {"color": SLATE},
        "label_position": "low",
        "major_tick_mark": "none",
    }
    if not x_label:
        del x_axis["name"], x_axis["name_font"]
    if x_range is not None:
        x_axis |= {"min": x_range[0], "max": x_range[1]}
    if x_unit is not None:
        x_axis["major_unit"] = x_unit
    y_axis: dict[str, object] = {
        "name": y_label,
        "name_font": {**font, "bold": False, "color": SLATE},
        "num_font": font,
        "line": {"none": True},
        "major_gridlines": {"visible": True, "line": {"color": RULE, "width": 0.5}},
        "major_tick_mark": "none",
    }
    if y_format is not None:
        y_axis["num_format"] = y_format
    if y_range is not None:
        y_axis |= {"min": y_range[0], "max": y_range[1]}
    if y_unit is not None:
        y_axis["major_unit"] = y_unit
    if labels_pixels:
        # Where bars lie the library calls the axis of their values x; it goes to the top with the first category.
        x_axis, y_axis = {**y_axis, "label_position": "high"}, {**x_axis, "reverse": True, "line": {"none": True}}
    chart.set_x_axis(x_axis)
    chart.set_y_axis(y_axis)
    legend_place: dict[str, object] = {"position": legend, "font": font}
    plot: dict[str, object] = {"fill": {"none": True}}
    if legend_lines:
        width, height = size
        bottom = 1.0 - (legend_lines * _LEGEND_LINE_PIXELS + 4) / height
        below = (tick_lines * _TICK_PIXELS + (_AXIS_NAME_PIXELS if x_label else 0)) / height
        top = _TITLE_PIXELS / height
        left = (labels_pixels or _Y_LABEL_PIXELS) / width
        legend_place["layout"] = {"x": 0.03, "y": bottom, "width": 0.95, "height": 1.0 - bottom - 3 / height}
        plot["layout"] = {"x": left, "y": top, "width": 0.96 - left, "height": bottom - below - top}
    chart.set_legend({"none": True} if legend == "none" else legend_place)
    chart.set_chartarea({"border": {"color": RULE}})
    chart.set_plotarea(plot)
    chart.set_size({"width": size[0], "height": size[1]})
    chart.show_blanks_as("gap")
