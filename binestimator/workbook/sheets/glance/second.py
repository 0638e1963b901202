"""The second page: charts side by side, and below them what it is worth, what can go wrong and how sure it is."""

from __future__ import annotations

from itertools import accumulate, pairwise, product

from ...charts import FULL_SIZE_POINTS, legend_lines, pixels_of, place_at, room, style_chart
from ...figures import (
    advised,
    holdback_lines,
    number_of,
    risk_lines,
    sure_lines,
    used_end_uses,
    value_lines,
    what_moves,
)
from ...formats import NUMBERS, money_words
from ...page import Work, lines_of
from ...strict import Sheet
from ..patterns import (
    SAME_DSP_INWC,
    SAME_SAT_F,
    bins_of,
    change_chart,
    lines_chart,
    whole_fives,
)
from .columns import spans

# More curves than these in one small chart cannot be told apart.
_MOST_CURVES = 5
# On the second page charts are side by side over the whole width, with texts below them in columns. Charts take what
# the texts leave of the page: their least height, the one for which texts give way, and the largest. [points]
_CHART_POINTS, _TEXT_COLUMNS = (130.0, 166.0, 260.0), 3
_MOST_CAUSES = 4
# A line of text, and a heading, in the columns. [points]
_LINE_POINTS, _HEADING_POINTS = 12.0, 15.0
_LONG_LINES = 8
# Charts side by side, and rows of the sheet behind them.
_CHART_ROWS = 16
# Shares of the page's width: change of cost, supply air, duct static, which has most curves.
_CHART_SHARES = (0.29, 0.32, 0.39)


def write_second(work: Work, sheet: Sheet, row: int, widths: list[float], above: float) -> int:
    """Charts side by side, and below them what it is worth, what can go wrong and how sure; returns the first row
    below. ``above`` are the points of the page that are taken by then."""
    # Where texts are long, fewer of the causes that hold resets back are listed.
    for causes in range(_MOST_CAUSES, 0, -1):
        columns = _placed_texts(work, widths, causes)
        rows = max(sum(2 + sum(rows for _, rows in lines) for _, lines in column) for column in columns)
        taken = above + _HEADING_POINTS + (rows - 2) * _LINE_POINTS + 8.0
        if taken + _CHART_POINTS[1] <= FULL_SIZE_POINTS:
            break
    if len(bins_of(work.results)) > 0:
        points = min(max(FULL_SIZE_POINTS - taken, _CHART_POINTS[0]), _CHART_POINTS[2])
        # Rows without cells keep their height in every program only if it is given.
        for _ in range(_CHART_ROWS):
            sheet.height(row, points / _CHART_ROWS)
            row += 1
        _charts(work, sheet, row - _CHART_ROWS, [pixels_of(w) for w in widths], int(points / 0.75))
        sheet.height(row, 6)
        row += 1
    return _texts(work, sheet, row, widths, columns)


def _placed_texts(work: Work, widths: list[float], causes: int) -> list[list[tuple[str, list[tuple[str, int]]]]]:
    """Blocks of text of each column: label, and lines with the rows that each takes."""
    results = work.results
    blocks = [
        (label, lines)
        for label, lines in (
            ("What is worth the money", value_lines(results)),
            ("What changes", [text for text in (what_moves(results),) if text]),
            ("What can go wrong", risk_lines(results)),
            ("What holds the resets back", holdback_lines(results, causes, table=not work.client)),
            ("How sure it is", sure_lines(results)),
        )
        if lines
    ]
    rooms = [room(widths[first : last + 1]) - (1.5 if first else 0.5) for first, last in spans(widths, _TEXT_COLUMNS)]

    # Rows have the height of a line, as there are other texts beside. A long text may take a line more in another font.
    rows_of = lambda text, column: (lines := lines_of(text, rooms[column], 9.0)) + (lines >= _LONG_LINES)
    heights = [
        [1 + sum(rows_of(text, column) for text in lines) for column in range(_TEXT_COLUMNS)] for _, lines in blocks
    ]
    # The first block starts the first column; the others go where the longest column stays shortest and all are as
    # even as can be, in their order in each.

    def longest_and_unevenness(at):
        tops = [sum(heights[k][c] + 1 for k, c in enumerate(at) if c == column) for column in range(_TEXT_COLUMNS)]
        return at[0], max(tops), sum(top * top for top in tops), at

    chosen = min(product(range(_TEXT_COLUMNS), repeat=len(blocks)), key=longest_and_unevenness)
    return [
        [
            (label, [(text, rows_of(text, column)) for text in lines])
            for (label, lines), where in zip(blocks, chosen, strict=True)
            if where == column
        ]
        for column in range(_TEXT_COLUMNS)
    ]


def _texts(work: Work, sheet: Sheet, row: int, widths: list[float], columns) -> int:
    """Blocks of text in columns, in rows of the height of a line; returns the row after them."""
    s, bottom = work.styles, row
    for column, ((first, last), blocks) in enumerate(zip(spans(widths, _TEXT_COLUMNS), columns, strict=True)):
        inset, at = ("inset",) if column else (), row
        for label, lines in blocks:
            for place in range(first, last + 1):
                sheet.text(at, place, label if place == first else "", s("section", *inset))
            at += 1
            for text, rows in lines:
                sheet.merged_text(at, first, at + rows - 1, last, text, s("wrap", "left", *inset))
                at += rows
            bottom = max(bottom, at)
            at += 1
    sheet.height(row, _HEADING_POINTS)
    for at in range(row + 1, bottom):
        sheet.height(at, _LINE_POINTS)
    return bottom


def _charts(work: Work, sheet: Sheet, row: int, pixels: list[int], height: int) -> None:
    """Charts side by side over so many pixels of the sheet's height."""
    results, charts = work.results, []
    width = sum(pixels)
    starts = [int(share * width) for share in (0.0, *accumulate(_CHART_SHARES))]
    sizes = [(end - start - 6, height - 6) for start, end in pairwise(starts)]
    edges = bins_of(results)
    bin_width = float(results.project.bins.width_f)
    x_range = (20.0 * (edges.min() // 20.0), 20.0 * -(-(edges.max() + bin_width) // 20.0))
    change = change_chart(work)
    style_chart(
        change,
        money_words("Change of cost, USD"),
        "",
        "",
        size=sizes[0],
        y_format=NUMBERS["signed"],
        # Two names fit side by side.
        legend_lines=len(used_end_uses(results)) // 2 + 1,
    )
    where = "in the working file" if work.client else "on “Patterns”"
    for size, block, key, tolerance, label, how in (
        (
            sizes[1],
            "sat",
            "sat_f",
            SAME_SAT_F,
            "Supply air, °F, by outdoor °F",
            {"y_format": "0", "y_range": whole_fives(results, edges)},
        ),
        (
            sizes[2],
            "dsp",
            "dsp_inwc",
            SAME_DSP_INWC,
            "Duct static, in., by outdoor °F",
            {"y_format": "0.0", "y_range": (0.0, None)},
        ),
    ):
        chart, left_out = lines_chart(work, block, key, tolerance, _shown(results), _MOST_CURVES)
        more = f"{left_out} more curve{'s' if left_out > 1 else ''} {where}" if left_out else ""
        lines = legend_lines([str(one["name"]) for one in chart.series], size[0])
        style_chart(chart, label, more, "", size=size, x_range=x_range, x_unit=20.0, legend_lines=lines, **how)
        charts.append(chart)
    for k, chart in enumerate((change, *charts)):
        column, offset = place_at(pixels, starts[k])
        sheet.chart(row, column, chart, x_offset=offset, y_offset=3)


def _shown(results) -> list[int]:
    """Options whose curves come first: the baseline and the one that the page presents."""
    c = advised(results)
    return [number_of(results, id_) - 1 for id_ in (results.baseline_id, *(() if c is None else (c.id,)))]
