"""A page of charts for the owner: how sure the saving is, cash flow, months before and after, hours of work."""

from __future__ import annotations

from typing import Any

import numpy as np

from ...dataclass import dataclass
from ...money.life_cycle import MOST_YEARS
from ..charts import FULL_SIZE_PIXELS, FULL_SIZE_POINTS, fill_of, line_of, pixels_of, place_at, room, style_chart
from ..figures import advised, number_of, runs_at_all
from ..formats import FONT, INK, LAGOON, NUMBERS, OCHRE, SLATE, currency_name
from ..layout import MONEY, sheet_candidates
from ..live.money_plan import FIRST_COLUMN, MoneyPlan
from ..page import Work, height_of, lines_of, title
from ..strict import CHARACTER_PIXELS, PADDING_PIXELS, Sheet
from . import ranges

_COLUMNS, _ROWS, _FIRST_ROW, _GAP = 12, 14, 3, 6
_CAPTION_LINES = 3
# Share of the page that charts of ranges take.
_RANGES_SHARE = 0.46

#: Cells of a series, as the chart library takes them, by position of an option and kind of flow.
_Flows = dict[tuple[int, str], tuple[list, list]]


def shown_option(results):
    """The option that months and cash flow are about, of those with a sheet: the one of the first page, else the one
    that saves most; None where there is none besides the baseline."""
    others = [results.candidates[k] for k in sheet_candidates(results)]
    others = [c for c in others if c.id != results.baseline_id]
    found = advised(results)
    if found is not None and any(c.id == found.id for c in others):
        return found
    return max(others, key=lambda c: c.saving["cost_usd"], default=None)


def write(work: Work, sheet: Sheet) -> None:
    """Write the sheet."""
    s, results = work.styles, work.results
    width = (FULL_SIZE_PIXELS / _COLUMNS - PADDING_PIXELS) / CHARACTER_PIXELS
    widths = [width] * _COLUMNS
    sheet.widths(widths)
    live = "" if work.client or not runs_at_all(results) else " Cash flows follow the sheet “Money” after an edit."
    title(
        work,
        sheet,
        "Money in charts",
        f"What resets cost, bring and when, and how sure that is; amounts in {currency_name()}.{live}",
    )
    option = shown_option(results)
    if option is None:
        sheet.text(_FIRST_ROW, 0, "There is no option besides the baseline: nothing to draw.", s("text"))
        sheet.on_paper(footer=work.footer, last_row=_FIRST_ROW, last_column=_COLUMNS - 1)
        return
    number = number_of(results, option.id)
    flows = _flows_of(work)
    charts = [
        _Drawn(
            chart=_flow_chart(work, flows, option, number),
            heading=f"Cash flow of option {number}",
            caption="Minus: paid; plus: saved, less maintenance. Year 0 is today: cost less incentive.",
            tick_lines=2,
        ),
        _Drawn(
            chart=_back_chart(work, flows),
            heading="Back by year’s end, by option",
            caption="Discounted and summed over the years. Where a line crosses zero the outlay is back; it ends at "
            "the net present value.",
            tick_lines=2,
        ),
        _Drawn(
            chart=_month_chart(work, option, number),
            heading=f"Cost by month, option {number}",
            caption="From the hour-by-hour run of a typical year.",
            y_format="#,##0",
        ),
        _Drawn(
            chart=_effort_chart(work, number),
            heading="Saving a year by expected hours of work",
            caption="Each point is an option with its number. Hours are those of the build-up of the cost; a repair’s "
            "equipment is not among them.",
        ),
    ]
    page = FULL_SIZE_POINTS - sheet.points(0, _FIRST_ROW - 1) - 8.0
    row = _FIRST_ROW
    if "saving_range" in work.blocks:
        # How sure the saving is comes first; with it the page is full, and hours of work follow below it.
        points = _RANGES_SHARE * page
        row = ranges.write_charts(work, sheet, row, widths, points)
        left = page - points - height_of(_CAPTION_LINES)
        row = printed = _side_by_side(work, sheet, row, charts[:3], widths, left)
        _side_by_side(work, sheet, row, charts[3:], widths, left)
    else:
        left = page / 2 - height_of(_CAPTION_LINES)
        for first in (0, 2):
            row = _side_by_side(work, sheet, row, charts[first : first + 2], widths, left)
        printed = row
    sheet.on_paper(footer=work.footer, last_row=printed - 1, last_column=_COLUMNS - 1)


@dataclass(frozen=True, slots=True, kw_only=True)
class _Drawn:
    """A chart with its heading and caption."""

    chart: Any
    heading: str
    caption: str
    y_format: str = NUMBERS["signed"]
    #: Of the labels below the plot: years take two.
    tick_lines: int = 1


def _side_by_side(work: Work, sheet: Sheet, row: int, charts: list[_Drawn], widths, points: float) -> int:
    """Charts side by side in so many points of height, captions below them; returns the row after."""
    s, pixels = work.styles, [pixels_of(w) for w in widths]
    count = max(len(charts), 2)  # one alone takes half of the page
    columns = _COLUMNS // count
    size = (sum(pixels) // count - _GAP, int(points / 0.75) - _GAP)
    for at in range(row, row + _ROWS):
        sheet.height(at, points / _ROWS)
    lines = 1
    for place, one in enumerate(charts):
        left, chart = place * columns, one.chart
        if not chart.series and not (chart.combined and chart.combined.series):
            sheet.text(row, left, f"{one.heading}: nothing to draw.", s("quiet"))
            continue
        # Labels that lie on their side where there is little room take more lines.
        ticks = one.tick_lines + (count > 2)
        style_chart(chart, one.heading, "", "", size=size, y_format=one.y_format, legend_lines=2, tick_lines=ticks)
        column, offset = place_at(pixels, place * sum(pixels) // count)
        sheet.chart(row, column, chart, x_offset=offset, y_offset=2)
        inset = ("inset",) if place else ()
        sheet.merged_text(
            row + _ROWS, left, row + _ROWS, left + columns - 1, one.caption, s("wrap", "left", "quiet", *inset)
        )
        lines = max(lines, lines_of(one.caption, room(widths[:columns]) - 1.0))
    sheet.height(row + _ROWS, height_of(lines))
    return row + _ROWS + 1


def _flows_of(work: Work) -> _Flows:
    """Cells of the cash flows of options with a sheet: live ones on “Money”, values of the run in a client edition."""
    results = work.results
    positions = sheet_candidates(results)
    years = min(results.project.life_cycle.years, MOST_YEARS)
    found: _Flows = {}
    if not work.client and runs_at_all(results):
        plan = MoneyPlan.of(results, positions)
        for column, k in enumerate(positions, FIRST_COLUMN):
            for key in ("flow", "back"):
                first, last = plan.rows[f"{key}.0"], plan.rows[f"{key}.{years}"]
                found[k, key] = (
                    [MONEY, plan.rows["flow.0"], 0, plan.rows[f"flow.{years}"], 0],
                    [MONEY, first, column, last, column],
                )
        return found
    for key in ("flow", "back"):
        block = work.blocks[f"money_{key}"]
        for place, k in enumerate(positions):
            _, categories, values = block.series(place)
            found[k, key] = (categories, values)
    return found


def flow_columns(results) -> tuple[list[str], dict[str, list[np.ndarray]]]:
    """Years, and of each option with a sheet its cash flow and what is back by the end of each year, discounted."""
    record = results.project.life_cycle
    chosen = [results.candidates[k].worth.life for k in sheet_candidates(results)]
    flows = [np.asarray(life.flows_usd, dtype=float) for life in chosen]
    worth = (1.0 + record.discount_frac) ** -np.arange(record.years + 1.0)
    years = [f"Year {t}" for t in range(record.years + 1)]
    return years, {"flow": flows, "back": [np.cumsum(flow * worth) for flow in flows]}


def _flow_chart(work: Work, flows: _Flows, option, number: int):
    """Columns of the cash flow of an option, and a line of what is back."""
    k = number - 1
    chart, line = work.book.chart("column"), work.book.chart("line")
    categories, values = flows[k, "flow"]
    chart.add_series(
        {
            "name": "Cash flow of the year",
            "categories": categories,
            "values": values,
            "gap": 60,
            **fill_of(LAGOON, hatched=True),
            "border": {"color": LAGOON, "width": 0.5},
        }
    )
    categories, values = flows[k, "back"]
    line.add_series({"name": "Back so far, discounted", "categories": categories, "values": values, **line_of(0)})
    chart.combine(line)
    return chart


def _back_chart(work: Work, flows: _Flows):
    """Lines of what is back by the end of each year, an option each."""
    results = work.results
    chart = work.book.chart("line")
    others = [k for k in sheet_candidates(results) if results.candidates[k].id != results.baseline_id]
    for place, k in enumerate(others):
        categories, values = flows[k, "back"]
        chart.add_series({"name": str(k + 1), "categories": categories, "values": values, **line_of(place % 8)})
    return chart


def _month_chart(work: Work, option, number: int):
    """Columns by month: the baseline, and with an option."""
    results = work.results
    chart = work.book.chart("column")
    if "month_cost" not in work.blocks:
        return chart
    block = work.blocks["month_cost"]
    base = number_of(results, results.baseline_id) - 1
    for name, k, fill in (
        (f"Baseline ({base + 1})", base, fill_of(SLATE, hatched=True)),
        (f"Option {number}", number - 1, fill_of(LAGOON)),
    ):
        _, categories, values = block.series(k)
        chart.add_series(
            {
                "name": name,
                "categories": categories,
                "values": values,
                "gap": 50,
                **fill,
                "border": {"color": INK, "width": 0.5},
            }
        )
    return chart


def effort_lines(results) -> list[tuple[int, float, float]]:
    """Position, expected hours of work and saving of every option that takes work; the one of the page comes last."""
    option = shown_option(results)
    found = [
        (k, c.worth.build_up.hours["expected"], c.saving["cost_usd"])
        for k, c in enumerate(results.candidates)
        if c.id != results.baseline_id and c.worth.build_up.hours
    ]
    return sorted(found, key=lambda line: option is not None and results.candidates[line[0]].id == option.id)


def write_tables(work: Work, sheet: Sheet, row: int, table) -> int:
    """Numbers behind the charts that no other sheet has, among the tables of “Patterns”; returns the row after.

    ``table`` is :func:`patterns.table`.
    """
    results = work.results
    lines = effort_lines(results)
    if lines:
        labels = [f"{k + 1} {results.candidates[k].name}" for k, _, _ in lines]
        columns = [[hours for _, hours, _ in lines], [usd for *_, usd in lines]]
        heads = ["Hours of work, expected", f"Saving, {currency_name()} a year"]
        what = "Saving of energy cost beside the hours of work that the build-up of the cost expects"
        row = table(work, sheet, row, "effort", what, "Option", labels, heads, columns, "f1")
    if work.client or not runs_at_all(results):
        years, columns_of = flow_columns(results)
        names = [f"{k + 1} {results.candidates[k].name}" for k in sheet_candidates(results)]
        for key, what in (("flow", "Cash flow of each year"), ("back", "The same discounted and summed")):
            block = f"money_{key}"
            row = table(work, sheet, row, block, what, "Year", years, names, columns_of[key], "usd_signed")
    return row


def _effort_chart(work: Work, number: int):
    """Points of hours of work and saving with the numbers of options, the option of the page apart."""
    chart = work.book.chart("scatter")
    lines = effort_lines(work.results)
    if not lines:
        return chart
    block = work.blocks["effort"]
    last = len(lines) - 1 if lines[-1][0] == number - 1 else len(lines)
    for name, first, end, (shape, fill, edge) in (
        ("Options", 0, last, ("diamond", LAGOON, LAGOON)),
        (f"Option {number}", last, len(lines), ("circle", OCHRE, OCHRE)),
    ):
        if first == end:
            continue
        hours, saving = (
            [block.sheet, block.first + first, column, block.first + end - 1, column]
            for column in (block.first_column, block.first_column + 1)
        )
        marker = {"type": shape, "size": 8, "fill": {"color": fill}, "border": {"color": edge}}
        labels = [{"value": str(k + 1)} for k, _, _ in lines[first:end]]
        chart.add_series(
            {
                "name": name,
                "categories": hours,
                "values": saving,
                "line": {"none": True},
                "marker": marker,
                "data_labels": {
                    "value": True,
                    "position": "right",
                    "custom": labels,
                    "font": {"size": 8, "name": FONT},
                },
            }
        )
    return chart
