"""Hours of the weather file by outdoor temperature; they visibly total those of the file."""

from __future__ import annotations

import numpy as np

from ..charts import style_chart
from ..formats import LAGOON, PETROL, RULE, money_words
from ..layout import BIN_COLUMNS, BINS_FIRST_ROW
from ..page import Work, height_of, lines_of, title
from ..strict import Sheet


def write(work: Work, sheet: Sheet) -> None:
    """Write the sheet."""
    s, results = work.styles, work.results
    table, weather = results.bin_table, results.weather
    columns = [c for c in BIN_COLUMNS if c.key in table.columns]
    title(
        work,
        sheet,
        "Weather bins",
        f"{weather.name}, station {weather.station}  ·  {weather.format}, file {weather.file_name}",
        link_column=len(columns) - 1,
    )
    file_hours = float(len(weather.frame))
    total = float(table["hours"].sum())
    agree = abs(total - file_hours) <= 1e-6 * file_hours
    sheet.text(
        2,
        0,
        f"Hours of the bins {total:,.0f}  ·  hours of the weather file {file_hours:,.0f}  ·  "
        + ("they agree" if agree else "THEY DIFFER"),
        s("bold"),
    )
    sheet.text(
        3,
        0,
        f"Mean outdoor temperature of the file {weather.frame['oat_f'].mean():.1f} °F  ·  site pressure "
        f"{weather.pressure_psia:.3f} psia  ·  {weather.latitude_deg:.2f}°, {weather.longitude_deg:.2f}°, "
        f"{weather.elevation_ft:,.0f} ft  ·  local standard time, UTC {weather.utc_offset_h:+g} h  ·  "
        + ("rounded to whole °F as recorded" if weather.whole_f else "temperatures as in the file"),
        s("subtitle"),
    )
    sheet.text(
        4,
        0,
        f"A bin includes its lower edge. {len(results.row_table)} rows represent the year: {results.row_method}.",
        s("subtitle"),
    )

    head, units, first = BINS_FIRST_ROW - 2, BINS_FIRST_ROW - 1, BINS_FIRST_ROW
    sheet.height(head, 40)
    for place, column in enumerate(columns):
        sheet.text(head, place, column.label, s("head_left" if column.style.startswith("text") else "head"))
        sheet.text(units, place, money_words(column.unit), s("units"))
    last = first + len(table) - 1
    for place, column in enumerate(columns):
        # Counts of rows are kept clear of the text beside them.
        style = s(column.style, "line", "top", *(("centre",) if column.key == "rows" else ()))
        if column.style.startswith("text"):
            for row, text in enumerate(table[column.key], first):
                sheet.text(row, place, str(text).replace(" x ", " × "), style)
        else:
            sheet.number_columns(first, place, [table[column.key].to_numpy(dtype=float)], [style])
    if "representative_hours" in table.columns:
        width = columns[-1].width
        for row, text in enumerate(table["representative_hours"], first):
            sheet.height(row, height_of(lines_of(text, width, 8.0), 8.0))
    _totals(work, sheet, columns, table, last + 1)
    sheet.widths(c.width for c in columns)
    sheet.freeze(first, 1)
    end = _chart(work, sheet, columns, first, last)
    sheet.on_paper(
        footer=work.footer,
        last_row=end,
        last_column=len(columns) - 1,
        repeat_rows=(head, units),
        pages_high=1 if len(table) <= 26 else 0,
    )


def _totals(work: Work, sheet: Sheet, columns, table, row: int) -> None:
    s = work.styles
    hours = table["hours"].to_numpy(dtype=float)
    running = hours - table["hours_off"].to_numpy(dtype=float)
    for place, column in enumerate(columns):
        value = None
        if column.total:
            data = table[column.key].to_numpy(dtype=float)
            weight = {"hours_mean": hours, "running_mean": running}.get(column.total)
            if weight is None:
                value = float(np.nansum(data))
            else:
                known = np.isfinite(data) & (weight > 0.0)
                value = float(weight[known] @ data[known] / weight[known].sum()) if known.any() else None
        sheet.cell(
            row,
            place,
            "Total or mean" if place == 0 else value,
            s("text" if place == 0 else column.style, "total", *(("centre",) if column.key == "rows" else ())),
        )


def _chart(work: Work, sheet: Sheet, columns, first: int, last: int) -> int:
    """Hours by temperature, stacked by mode; returns the last row it covers."""
    chart = work.book.chart("column", "stacked")
    keys = [c.key for c in columns]
    for key, colour in (("hours_occupied", PETROL), ("hours_unoccupied_running", LAGOON), ("hours_off", RULE)):
        at = keys.index(key)
        chart.add_series(
            {
                "name": [sheet.name, first - 2, at],
                "categories": [sheet.name, first, 0, last, 0],
                "values": [sheet.name, first, at, last, at],
                "fill": {"color": colour},
                "border": {"color": "#FFFFFF", "width": 0.5},
                "gap": 30,
            }
        )
    style_chart(chart, "Hours of the year by outdoor temperature", "Outdoor temperature, °F", "h/yr", size=(980, 300))
    sheet.chart(last + 3, 0, chart)
    return last + 3 + 16
