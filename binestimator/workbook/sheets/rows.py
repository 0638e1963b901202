"""The rows that represent the year, shared by all candidates."""

from __future__ import annotations

import numpy as np

from ..formats import money_words
from ..layout import ROW_COLUMNS, ROWS_FIRST_ROW
from ..page import Work, title
from ..strict import Sheet


def write(work: Work, sheet: Sheet) -> None:
    """Write the sheet."""
    s, results = work.styles, work.results
    table = results.row_table
    columns = [c for c in ROW_COLUMNS if c.key == "row" or c.key in table.columns]
    title(
        work,
        sheet,
        "Bin rows",
        f"{len(table)} rows represent the {len(results.weather.frame):,} hours of the file: {results.row_method}",
        link_column=len(columns) - 1,
    )
    total = float(table["weight_h"].sum())
    sheet.text(2, 0, f"Weights total {total:,.1f} h; the file has {len(results.weather.frame):,} h.", s("bold"))
    sheet.text(
        3,
        0,
        "A value block: found by the program from the weather file, the schedules and the site; it does not follow "
        "from "
        "formulas. Every option is evaluated on these rows.",
        s("subtitle"),
    )
    head, units, first = ROWS_FIRST_ROW - 3, ROWS_FIRST_ROW - 2, ROWS_FIRST_ROW
    sheet.height(head, 28)
    for place, column in enumerate(columns):
        sheet.text(head, place, column.label, s("head"))
        sheet.text(units, place, money_words(column.unit), s("units"))
    weights = table["weight_h"].to_numpy(dtype=float)
    for place, column in enumerate(columns):
        value: object = None
        if column.key == "when":
            value = "Total or mean"
        elif column.key == "weight_h":
            value = total
        elif column.key in ("oat_f", "oawb_f", "humidity_ratio", "oa_dewpoint_f"):
            value = float(weights @ table[column.key].to_numpy(dtype=float)) / total
        sheet.cell(first - 1, place, value, s(column.style, "total"))
    styles = [s(c.style, "line") for c in columns]
    for place, column in enumerate(columns):
        if column.key == "when":
            for row, text in enumerate(table["when"], first):
                sheet.text(row, place, text, s("line", "inset"))
        elif column.key == "row":
            sheet.number_columns(first, place, [np.arange(1.0, len(table) + 1.0)], [styles[place]])
        else:
            data = table[column.key].to_numpy(dtype=float)
            if column.key in ("month", "day", "hour_start", "hour_of_year"):
                data = np.where(data < 0.0, np.nan, data)  # rows that are means are no real hour
            sheet.number_columns(first, place, [data], [styles[place]])
    sheet.widths(c.width for c in columns)
    sheet.freeze(first, 3)
    sheet.on_paper(
        footer=work.footer, last_row=first + len(table) - 1, last_column=len(columns) - 1, repeat_rows=(head, units)
    )
