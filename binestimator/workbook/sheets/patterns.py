"""By month, by outdoor temperature and by airflow; the numbers behind the charts."""

from __future__ import annotations

from typing import Any

import numpy as np

from ..charts import (
    fill_of,
    fill_of_use,
    line_of,
    pixels_of,
    place_at,
    rows_of_page,
    style_chart,
)
from ..figures import DSP_WORDS, SAT_WORDS, cost_by_end_use, holdbacks, same_line, used_end_uses
from ..formats import END_USE_COLOURS, INK, LAGOON, LINES, NUMBERS, OCHRE, money_words
from ..layout import sheet_candidates
from ..page import Block, Work, height_of, lines_of, title
from ..strict import ROW_PIXELS, Sheet
from . import money_charts, ranges

_MONTHS = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")
_LABEL_WIDTH, _WIDTH = 42, 13.5
# Charts are above the tables, in five rows of two.
_CHART_PIXELS, _CHARTS_ROW = 300, 3
_CHART_ROWS = _CHART_PIXELS // ROW_PIXELS + 1
_TABLES_ROW = _CHARTS_ROW + 5 * _CHART_ROWS + 1
# Curves that lie closer than this are drawn as one.
SAME_SAT_F, SAME_DSP_INWC = 0.25, 0.02


def bins_of(results) -> np.ndarray:
    """Lower edges of all outdoor-temperature bins in which some candidate runs."""
    return np.unique(np.concatenate([c.by_temperature["bin_low_f"].to_numpy(dtype=float) for c in results.candidates]))


def by_bin(results, candidate, key: str, edges: np.ndarray) -> np.ndarray:
    """A column of ``by_temperature`` on common bins; NaN where the candidate does not run."""
    table = candidate.by_temperature
    values = np.full(len(edges), np.nan)
    values[np.searchsorted(edges, table["bin_low_f"].to_numpy(dtype=float))] = table[key].to_numpy(dtype=float)
    return values


def short_names(results, positions) -> list[str]:
    """``1 As found`` for the candidates at these positions."""
    return [f"{k + 1} {results.candidates[k].name}" for k in positions]


def write(work: Work, sheet: Sheet) -> None:
    """Write the sheet and remember where its tables are."""
    results = work.results
    positions = list(range(len(results.candidates)))
    names = short_names(results, positions)
    columns = max(len(names), len(used_end_uses(results)) + 2, 4)
    title(
        work,
        sheet,
        "Patterns",
        "The numbers behind the charts; legends give the numbers of options. Months, temperatures and airflows "
        "come from the hour-by-hour run.",
        link_column=columns,
    )
    sheet.widths([_LABEL_WIDTH, *[_WIDTH] * columns])
    uses = used_end_uses(results)
    costs = [cost_by_end_use(results, c) for c in results.candidates]
    base = costs[positions[[c.id for c in results.candidates].index(results.baseline_id)]]
    row = _TABLES_ROW
    row = table(
        work,
        sheet,
        row,
        "cost",
        money_words("Energy cost by end use, USD a year, from the bin rows"),
        "Option",
        names,
        [label for _, label, _ in uses],
        [[c[key] for c in costs] for key, _, _ in uses],
        "usd",
        numbered=True,
    )
    row = table(
        work,
        sheet,
        row,
        "change",
        money_words("Change of energy cost against the baseline by end use, USD a year: plus costs more"),
        "Option",
        names,
        [*(label for _, label, _ in uses), "Net"],
        [
            *([c[key] - base[key] for c in costs] for key, _, _ in uses),
            [sum(c.values()) - sum(base.values()) for c in costs],
        ],
        "usd_signed",
        numbered=True,
    )
    row = _bound_table(work, sheet, row, names)
    row = _holdback_table(work, sheet, row, names)
    edges = bins_of(results)
    width = float(results.project.bins.width_f)
    middles = edges + width / 2.0
    for block, key, label, style in (
        ()
        if not len(edges)
        else (
            ("sat", "sat_f", "Mean supply air temperature, °F, by outdoor temperature (middle of the bin, °F)", "f2"),
            (
                "dsp",
                "dsp_inwc",
                "Mean duct static pressure, in. w.c., by outdoor temperature (middle of the bin, °F)",
                "f3",
            ),
            ("flow", "flow_cfm", "Mean supply airflow, cfm, by outdoor temperature (middle of the bin, °F)", "f0"),
            (
                "cost_by_temperature",
                "cost_usd",
                money_words("Energy cost of running hours, USD a year, by outdoor temperature (middle of the bin, °F)"),
                "usd",
            ),
        )
    ):
        row = table(
            work,
            sheet,
            row,
            block,
            label,
            "Outdoor °F",
            middles.tolist(),
            names,
            [by_bin(results, c, key, edges) for c in results.candidates],
            style,
        )
    for block, key, label, style in (
        ("month_cost", "cost_usd", money_words("Energy cost, USD by month"), "usd"),
        ("month_kwh", "electricity_kwh", "Electricity, kWh by month", "f0"),
        ("month_therm", "fuel_therm", "Fuel, therm by month", "f1"),
    ):
        values = [c.monthly[key].to_numpy(dtype=float) for c in results.candidates]
        if any(np.any(v != 0.0) for v in values):
            row = table(work, sheet, row, block, label, "Month", list(_MONTHS), names, values, style, total=True)
    lows = results.candidates[0].flow_hours["low_pct"].to_numpy(dtype=float)
    labels = [f"{low:.0f}–{low + 10:.0f}" if k + 1 < len(lows) else f"{low:.0f} up" for k, low in enumerate(lows)]
    row = table(
        work,
        sheet,
        row,
        "flow_hours",
        "Running hours by supply airflow, % of design",
        "Airflow",
        labels,
        names,
        [c.flow_hours["hours"].to_numpy(dtype=float) for c in results.candidates],
        "f0",
        total=True,
    )
    row = money_charts.write_tables(work, sheet, row, table)
    row = ranges.write_tables(work, sheet, row, table)
    _charts(work, sheet, columns)
    sheet.freeze(0, 1)
    pages = 1 + columns // 14
    sheet.on_paper(
        footer=work.footer,
        last_row=row,
        last_column=columns,
        repeat_columns=(0, 0),
        pages_wide=pages,
        breaks=_breaks(work, sheet, columns, pages),
    )


def _breaks(work: Work, sheet: Sheet, columns: int, pages: int) -> list[int]:
    """Rows before which a page starts, so that no chart and no table is torn apart."""
    room = rows_of_page(pixels_of(_LABEL_WIDTH) + columns * pixels_of(_WIDTH), pages)
    # What headers with long names take beyond a row.
    names = short_names(work.results, range(len(work.results.candidates)))
    high = height_of(max(lines_of(name, _WIDTH, bold=True) for name in names)) / 15.0
    breaks, start, more = [], 0, 0.0
    for row in range(_CHARTS_ROW, _TABLES_ROW - _CHART_ROWS, _CHART_ROWS):
        if row + _CHART_ROWS - start > room and row > start:
            breaks.append(row)
            start = row
    for block in (b for b in work.blocks.values() if b.sheet == sheet.name):
        more += high
        if block.last + 2 + more - start > room and block.header - 1 > start:
            start, more = block.header - 1, high
            breaks.append(start)
    return breaks


def table(
    work: Work,
    sheet: Sheet,
    row: int,
    block: str,
    label: str,
    corner: str,
    labels: list,
    heads: list[str],
    columns: list,
    style: str,
    *,
    total: bool = False,
    numbered: bool = False,
) -> int:
    """One table; ``numbered`` puts the number of the candidate, short enough for an axis, behind the series."""
    s = work.styles
    sheet.height(row, 24)
    for place in range(len(heads) + 1):
        sheet.text(row, place, label if place == 0 else "", s("section"))
    header = row + 1
    sheet.height(header, height_of(max(lines_of(t, _WIDTH, bold=True) for t in heads)))
    sheet.text(header, 0, corner, s("head_left"))
    for place, text in enumerate(heads, 1):
        sheet.text(header, place, text, s("head"))
    first = header + 1
    for at, value in enumerate(labels, first):
        if isinstance(value, str):
            sheet.text(at, 0, value, s("line", "left", "wrap"))
            if lines_of(value, _LABEL_WIDTH) > 1:
                sheet.height(at, height_of(lines_of(value, _LABEL_WIDTH)))
        else:
            sheet.number(at, 0, value, s("line", "left", "f1"))
    data = [np.asarray(c, dtype=float) for c in columns]
    sheet.number_columns(first, 1, data, [s(style, "line")] * len(data))
    last = first + len(labels) - 1
    if total:
        sheet.text(last + 1, 0, "Year", s("total"))
        for place, values in enumerate(data, 1):
            sheet.number(last + 1, place, float(values.sum()), s(style, "total"))
    label_column = 0
    if numbered:
        label_column = len(heads) + 1
        sheet.text(header, label_column, "Number", s("head"))
        for at in range(len(labels)):
            sheet.text(first + at, label_column, str(at + 1), s("line", "centre", "quiet"))
        sheet.ignore_text_numbers(first, label_column, last, label_column)
    work.blocks[block] = Block(sheet.name, header, first, last, label_column, 1)
    return last + (4 if total else 3)


def distinct_curves(results, key: str, tolerance: float, first: list[int]) -> list[tuple[np.ndarray, list[int]]]:
    """Distinct curves by outdoor temperature with the positions of the candidates that share each: those of ``first``,
    then always the one farthest from those before it."""
    edges = bins_of(results)
    drawn: list[tuple[np.ndarray, list[int]]] = []
    for position in dict.fromkeys((*first, *sheet_candidates(results))):
        curve = by_bin(results, results.candidates[position], key, edges)
        for other, members in drawn:
            if same_line(curve, other, tolerance):
                members.append(position)
                break
        else:
            drawn.append((curve, [position]))
    kept = [item for item in drawn if set(item[1]) & set(first)]
    left = [item for item in drawn if not set(item[1]) & set(first)]
    while left:
        # Where one of two does not run nothing tells them apart.
        apart = [min((float(np.nansum(np.abs(c - other))) for other, _ in kept), default=0.0) for c, _ in left]
        kept.append(left.pop(int(np.argmax(apart))))
    return kept


def lines_chart(work: Work, block: str, key: str, tolerance: float, first: list[int], most: int, *, words=None):
    """Scatter lines by outdoor temperature, one for each distinct curve, and how many were left out.

    A curve has the numbers of all candidates that share it; ``words`` gives the strategy of a candidate, which then
    stands before them. ``first`` are positions drawn in any case, ``most`` the number of curves.
    """
    results = work.results
    chart = work.book.chart("scatter", "straight_with_markers")
    table = work.blocks[block]
    curves = distinct_curves(results, key, tolerance, first)
    for place, (_, members) in enumerate(curves[:most]):
        name = ", ".join(str(m + 1) for m in sorted(members))
        if words is not None:
            name = f"{words(results.candidates[members[0]])} ({name})"
        _, categories, values = table.series(members[0])
        chart.add_series(
            {
                "name": name,
                "categories": categories,
                "values": values,
                **line_of(place),
            }
        )
    return chart, max(len(curves) - most, 0)


def use_chart(work: Work, block: str):
    """Columns by candidate, stacked by end use."""
    chart = work.book.chart("column", "stacked")
    table = work.blocks[block]
    for place, (key, _, _) in enumerate(used_end_uses(work.results)):
        name, categories, values = table.series(place)
        chart.add_series(
            {
                "name": name,
                "categories": categories,
                "values": values,
                "gap": 45,
                **fill_of_use(key),
                "border": {"color": END_USE_COLOURS[key], "width": 0.5},
            }
        )
    return chart


def change_chart(work: Work):
    """Changes of cost stacked by end use, more above and less below the line, with the net of each candidate."""
    chart = use_chart(work, "change")
    name, categories, values = work.blocks["change"].series(len(used_end_uses(work.results)))
    net = work.book.chart("line")
    net.add_series(
        {
            "name": name,
            "categories": categories,
            "values": values,
            "line": {"none": True},
            "marker": {"type": "diamond", "size": 7, "border": {"color": INK}, "fill": {"color": OCHRE}},
        }
    )
    chart.combine(net)
    return chart


def _bound_table(work: Work, sheet: Sheet, row: int, names: list[str]) -> int:
    """Saving of each candidate beside that of perfect resets; empty where a candidate changes more than setpoints."""
    results = work.results
    shares = [results.share_of_bound(c.id) for c in results.candidates]
    possible = results.baseline.annual["cost_usd"] - results.bound["cost_usd"]
    saved = [c.saving["cost_usd"] for c in results.candidates]
    columns = [
        saved,
        [np.nan if s is None else possible for s in shares],
        [np.nan if s is None else 100.0 * s for s in shares],
    ]
    return table(
        work,
        sheet,
        row,
        "bound",
        "Saving of energy cost beside that of perfect resets, the most that setpoints alone can save (from the bin "
        "rows; empty where more than setpoints changes)",
        "Option",
        names,
        [money_words("Saving, USD a year"), money_words("Perfect resets, USD a year"), "Share reached, %"],
        columns,
        "f0",
        numbered=True,
    )


def _holdback_table(work: Work, sheet: Sheet, row: int, names: list[str]) -> int:
    """What holds each reset back, in shares of running hours; empty where it cannot act."""
    found = holdbacks(work.results)
    if not found:
        return row
    columns = [[100.0 * h.shares[k] if k in h.shares else np.nan for h in found] for k in range(1, len(names) + 1)]
    return table(
        work,
        sheet,
        row,
        "holdbacks",
        "What holds resets back, % of running hours of each option (hour by hour; empty where it cannot act)",
        "Cause",
        [h.label for h in found],
        names,
        columns,
        "f1",
    )


def _charts(work: Work, sheet: Sheet, columns: int) -> None:
    """Uses, months, airflow and temperature, in the width of eight candidates."""
    pixels = [pixels_of(w) for w in (_LABEL_WIDTH, *[_WIDTH] * max(columns, 8))]
    half = sum(pixels[:9]) // 2
    middle, offset = place_at(pixels, half)
    positions = sheet_candidates(work.results)
    specs = [
        ("month_cost", "Energy cost by month", "", money_words("USD")),
        ("flow_hours", "Running hours by airflow", "Supply airflow, % of design", "h/yr"),
        (
            "cost_by_temperature",
            "Energy cost by outdoor temperature",
            "Outdoor temperature, °F (middle of the bin)",
            money_words("USD/yr"),
        ),
        ("flow", "Supply airflow by outdoor temperature", "Outdoor temperature, °F (middle of the bin)", "cfm"),
    ]
    # An air handler that never runs has nothing to draw by temperature.
    drawn = [spec for spec in specs if spec[0] in work.blocks]
    charts = [*_bar_charts(work, (half - 4, _CHART_PIXELS)), *_setpoint_charts(work, (half - 4, _CHART_PIXELS))]
    for block, label, x_label, y_label in drawn:
        table = work.blocks[block]
        scatter = block in ("cost_by_temperature", "flow")
        chart = work.book.chart("scatter", "straight_with_markers") if scatter else work.book.chart("line")
        for place, position in enumerate(positions):
            _, categories, values = table.series(position)
            chart.add_series(
                {
                    "name": str(position + 1),
                    "categories": categories,
                    "values": values,
                    **line_of(place),
                }
            )
        style_chart(chart, label, x_label, y_label, size=(half - 4, _CHART_PIXELS), y_format="#,##0")
        charts.append(chart)
    for k, chart in enumerate(charts):
        row = _CHARTS_ROW + (k // 2) * _CHART_ROWS
        if k % 2 == 0:
            sheet.chart(row, 0, chart)
        else:
            sheet.chart(row, middle, chart, x_offset=offset)


def _setpoint_charts(work: Work, size: tuple[int, int]) -> list:
    """Setpoints chosen by outdoor temperature, a curve for each strategy and limit that differs."""
    if "sat" not in work.blocks:
        return []
    charts = []
    for block, key, same, words, label, unit in (
        ("sat", "sat_f", SAME_SAT_F, sat_words, "Supply air chosen by outdoor temperature", "°F"),
        ("dsp", "dsp_inwc", SAME_DSP_INWC, dsp_words, "Duct pressure chosen by outdoor temperature", "in. w.c."),
    ):
        chart, _ = lines_chart(work, block, key, same, [], len(LINES), words=words)
        how: dict[str, Any] = {"y_format": "0.0", "y_range": (0.0, None)}
        if block == "sat":
            how = {"y_format": "0", "y_range": whole_fives(work.results, bins_of(work.results))}
        style_chart(chart, label, "Outdoor temperature, °F (middle of the bin)", unit, size=size, **how)
        charts.append(chart)
    return charts


def sat_words(candidate) -> str:
    """Supply air strategy of an option, short enough for a legend."""
    return SAT_WORDS[candidate.candidate.sat.strategy].removeprefix("by ")


def dsp_words(candidate) -> str:
    """Duct pressure strategy of an option, short enough for a legend."""
    return DSP_WORDS[candidate.candidate.dsp.strategy].removeprefix("by ")


def _bar_charts(work: Work, size: tuple[int, int]) -> list:
    """Cost by end use, savings beside the limit of perfect resets, and the share of it that is reached."""
    cost = use_chart(work, "cost")
    style_chart(
        cost, "Energy cost of a year by end use", "Option", money_words("USD a year"), size=size, y_format="#,##0"
    )
    table = work.blocks["bound"]
    bound = work.book.chart("column")
    name, categories, values = table.series(0)
    bound.add_series(
        {
            "name": name,
            "categories": categories,
            "values": values,
            "gap": 60,
            **fill_of(LAGOON),
            "border": {"color": INK, "width": 0.5},
        }
    )
    limit = work.book.chart("line")
    name, _, values = table.series(1)
    limit.add_series(
        {
            "name": name,
            "categories": categories,
            "values": values,
            "line": {"none": True},
            "marker": {"type": "long_dash", "size": 12, "border": {"color": INK}, "fill": {"color": INK}},
        }
    )
    bound.combine(limit)
    style_chart(
        bound,
        "Saving beside what perfect resets would save",
        "Option",
        money_words("USD a year"),
        size=size,
        y_format=NUMBERS["signed"],
    )
    share = work.book.chart("column")
    name, categories, values = table.series(2)
    share.add_series(
        {
            "name": name,
            "categories": categories,
            "values": values,
            "gap": 60,
            **fill_of(LAGOON, hatched=True),
            "border": {"color": INK, "width": 0.5},
        }
    )
    style_chart(
        share,
        "Share reached of what perfect resets would save",
        "Option (none where more than setpoints changes)",
        "%",
        size=size,
        y_format=NUMBERS["signed"],
        legend="none",
    )
    return [cost, bound, share]


def whole_fives(results, edges) -> tuple[float, float]:
    """Range of the axis of supply temperatures, on whole fives with some air. [degF]"""
    curves = np.concatenate([by_bin(results, results.candidates[k], "sat_f", edges) for k in sheet_candidates(results)])
    return 5.0 * np.floor((np.nanmin(curves) - 1.0) / 5.0), 5.0 * np.ceil((np.nanmax(curves) + 1.0) / 5.0)
