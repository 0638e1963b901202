"""Measured beside modelled: setpoints, airflow and fan power by outdoor temperature, and a typical week of the log."""

from __future__ import annotations

import numpy as np

from ..charts import line_of, pixels_of, place_at, put_in_pairs, style_chart
from ..formats import LINES
from ..page import Work, title
from ..strict import ROW_PIXELS, Sheet
from .patterns import table

_LABEL_WIDTH, _WIDTH = 42, 13.5
_CHART_PIXELS, _CHARTS_ROW = 300, 4
_TABLES_ROW = _CHARTS_ROW + 2 * (_CHART_PIXELS // ROW_PIXELS + 1) + 1
#: Figures: heading, key of the measured and of the modelled mean (empty: not modelled).
_FIGURES = (
    ("SAT setpoint, °F", "sat_setpoint_f", "sat_setpoint_f"),
    ("SAT, °F", "sat_f", "sat_f"),
    ("DSP setpoint, in. w.c.", "dsp_setpoint_inwc", ""),
    ("DSP, in. w.c.", "dsp_inwc", "dsp_inwc"),
    ("Airflow, cfm", "flow_cfm", "flow_cfm"),
    ("Fan, kW", "fan_kw", "fan_kw"),
)
_CHARTS = (
    ("SAT, °F", "Supply air temperature", "°F", "0.0", None),
    ("DSP, in. w.c.", "Duct static pressure", "in. w.c.", "0.00", (0.0, None)),
    ("Airflow, cfm", "Airflow by outdoor temperature", "cfm", "#,##0", (0.0, None)),
)


def write(work: Work, sheet: Sheet) -> None:
    """Write the sheet; the results must carry measured means."""
    measured = work.results.trends
    if measured is None:
        raise ValueError("the results carry no measured means")
    modelled = {(line["oat_low_f"], bool(line["occupied"])): line for line in measured.modelled}
    lines = [line for line in measured.by_outdoor_air if line["occupied"]] or list(measured.by_outdoor_air)
    columns = max(2 * len(_FIGURES), 8)
    title(
        work,
        sheet,
        "Trends",
        "What the controls have logged beside what the baseline does in its typical year: means of running hours.",
        link_column=columns,
    )
    sheet.text(
        2,
        0,
        f"Log: {measured.source}. These are values: an edit of inputs does not reach them.",
        work.styles("subtitle"),
    )
    sheet.widths([_LABEL_WIDTH, *[_WIDTH] * columns])
    heads, values, places = ["Hours of the log"], [[line["hours"] for line in lines]], {}
    for head, key, model_key in _FIGURES:
        if not any(key in line for line in lines):
            continue
        places[head] = [len(heads)]
        heads.append(f"{head}, measured")
        values.append([line.get(key, np.nan) for line in lines])
        beside = [
            modelled.get((line["oat_low_f"], bool(line["occupied"])), {}).get(model_key, np.nan) for line in lines
        ]
        if model_key and np.isfinite(beside).any():
            places[head].append(len(heads))
            heads.append(f"{head}, modelled")
            values.append(beside)
    # The middle of a bin, which charts need as a number.
    row = table(
        work, sheet, _TABLES_ROW, "trends_oat", "By outdoor temperature, occupied; middle of bins of 5 "
            "°F", "Outdoors, °F",
        [line["oat_low_f"] + 2.5 for line in lines], heads, values, "f2",
    )  # fmt: skip
    week = measured.typical_week
    week_heads: list[str] = []
    week_values: list[list[float]] = []
    week_places: dict[str, int] = {}
    for head, key in (("Outdoors, °F", "oat_f"), *((head, key) for head, key, _ in _FIGURES)):
        if any(key in line for line in week):
            week_places[head] = len(week_heads)
            week_heads.append(head)
            week_values.append([line.get(key, np.nan) for line in week])
    if week_heads:
        row = table(
            work, sheet, row, "trends_week", "A typical week of the log: means by hour from Monday, air while the "
                "fan runs",
            "Hour of the week", [line["hour"] + 0.5 for line in week], week_heads, week_values, "f2",
        )  # fmt: skip
    _charts(work, sheet, columns, places, week_places)
    sheet.freeze(0, 1)
    sheet.on_paper(footer=work.footer, last_row=row, last_column=columns, repeat_columns=(0, 0), pages_wide=2)


def _charts(work: Work, sheet: Sheet, columns: int, places: dict, week_places: dict) -> None:
    """Measured and modelled by outdoor temperature, and the week."""
    pixels = [pixels_of(w) for w in (_LABEL_WIDTH, *[_WIDTH] * columns)]
    # Two charts side by side on the first of two pages, both of which have the labels.
    half = min(sum(pixels[:9]), int(0.97 * (sum(pixels) + pixels[0]) / 2)) // 2
    middle = place_at(pixels, half)
    size = (half - 4, _CHART_PIXELS)
    charts = []
    for head, label, unit, y_format, y_range in _CHARTS:
        if head not in places:
            continue
        chart = work.book.chart("scatter", "straight")
        for k, place in enumerate(places[head]):
            name, categories, values = work.blocks["trends_oat"].series(place)
            chart.add_series({"name": name, "categories": categories, "values": values, **line_of(k)})
        style_chart(chart, label, "Outdoors, °F", unit, size=size, y_format=y_format, y_range=y_range)
        charts.append(chart)
    key = next((head for head in ("SAT, °F", "SAT setpoint, °F", "Outdoors, °F") if head in week_places), None)
    if key is not None:
        chart = work.book.chart("scatter", "straight")
        for k, head in enumerate(dict.fromkeys((key, "Outdoors, °F"))):
            if head in week_places:
                name, categories, values = work.blocks["trends_week"].series(week_places[head])
                chart.add_series(
                    {
                        "name": name,
                        "categories": categories,
                        "values": values,
                        "line": {"color": LINES[k][0], "width": 1.5},
                    }
                )
        style_chart(
            chart,
            "A typical week of the log",
            "Hour of the week, from Monday",
            "°F",
            size=size,
            x_range=(0.0, 168.0),
            x_unit=24.0,
        )
        charts.append(chart)
    put_in_pairs(sheet, charts, _CHARTS_ROW, _CHART_PIXELS, middle)
