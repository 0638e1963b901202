"""Weather years that draws were made in, on the sheet of ranges."""

from __future__ import annotations

from ..figures import number_of
from ..formats import currency_name
from ..page import Work, height_of, lines_of
from ..strict import Sheet


def write_years(work: Work, sheet: Sheet, row: int, room_of) -> int:
    """Table of the years, where there are several; returns the row after.

    Parameters
    ----------
    room_of : callable
        First and last column to the characters that merged cells of these hold.
    """
    ranges = work.results.ranges
    if ranges is None or not ranges.years:
        return row
    s, about = work.styles, ranges.about_id
    last = 9
    # First and last column of the sheet of each column of this table.
    spans = ((0, 1), (2, 2), (3, 3), (4, 4), (5, 5), (6, last))
    sheet.height(row, 20)
    for place in range(last + 1):
        sheet.text(row, place, "Weather years that draws were made in" if place == 0 else "", s("section"))
    row += 1
    saving = f"Saving of {number_of(work.results, about)}" if about is not None else "–"
    heads = ("Year", "Mean, °F", "Draws, %", "Baseline", saving, "Weather file")
    for (first, end), text in zip(spans, heads, strict=True):
        if first == end:
            sheet.text(row, first, text, s("head"))
        else:
            sheet.merged_text(row, first, row, end, text, s("head_left"))
    row += 1
    for one in ranges.years:
        style = ("line", "bold") if one.own else ("line",)
        sheet.merged_text(row, 0, row, 1, one.name, s("wrap", "middle", *style))
        sheet.number(row, 2, one.mean_f, s("f1", "centre", "line"))
        sheet.number(row, 3, 100.0 * one.share_frac, s("f0", "centre", "line"))
        sheet.number(row, 4, one.cost_usd, s("f0", "right", "line"))
        if about is None:
            sheet.text(row, 5, "–", s("line", "centre"))
        else:
            sheet.number(row, 5, one.saving_usd[about], s("signed", "centre", "line"))
        where = f"{one.file}, {one.station}"
        sheet.merged_text(row, 6, row, last, where, s("line", "wrap", "middle", "quiet"))
        lines = max(lines_of(one.name, room_of(0, 1), bold=True), lines_of(where, room_of(6, last)))
        sheet.height(row, max(13.5, height_of(lines) - 1.5))
        row += 1
    text = (
        f"Energy cost of the baseline and saving, {currency_name()} a year, with every input other than the weather "
        "as in the run; sizes are the run’s, rows, nights and searched setpoints those of the year."
    )
    sheet.merged_text(row, 0, row, last, text, s("wrap", "quiet"))
    sheet.height(row, height_of(lines_of(text, room_of(0, last))))
    return row + 1
