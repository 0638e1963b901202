"""How sure the savings are: percentiles and probabilities of every option, what moves them, what to measure next.

All figures are values of the run: draws of uncertain inputs are no formulas.
"""

from __future__ import annotations

import math
import re
from collections.abc import Callable
from typing import Any

from ...ranges.claim import claim_of
from ...ranges.results import HOURLY_DRAWS, Driver, OptionRange, Quantiles, sensible
from ..addresses import column_name, quoted
from ..charts import FULL_SIZE_PIXELS, fill_of, pixels_of, place_at, room, style_chart
from ..figures import drawn, in_percent, number_of
from ..formats import INK, LAGOON, NUMBERS, OCHRE, SLATE, currency_name, money_words
from ..page import Work, height_of, lines_of, title
from ..strict import CHARACTER_PIXELS, PADDING_PIXELS, Sheet
from .range_years import write_years

_NUMBER_WIDTH = 4.0
# Columns of the table after number and name of the option: heading, width in characters.
_COLUMNS = (
    ("P10", 9.0),
    ("P50", 9.0),
    ("P90", 9.0),
    ("P10 to P90", 12.5),
    ("P10 to P90", 17.0),
    ("Best", 7.5),
    ("Pays back", 7.5),
    ("Serves", 7.5),
)
#: Drivers in the chart.
MOST_DRIVERS = 10
_CHART_POINTS = 240.0
CHART_ROWS = 12
# Width of the chart of ranges, and of the labels of inputs in the other one.
_FIRST_SHARE, _LABELS_SHARE = 0.4, 0.47
_GAP = 6
_NUMBER = re.compile(r"(?P<factor>x |)(?P<number>[-+]?[\d.,]+)(?P<unit>(?: .*)?)")


def about(results) -> OptionRange | None:
    """Range of the option that drivers and measuring are about."""
    ranges = results.ranges
    return None if ranges is None or ranges.about_id is None else ranges[ranges.about_id]


def shown_drivers(results) -> tuple[Driver, ...]:
    """Drivers of that option's saving, the strongest first."""
    option = about(results)
    return () if option is None else option.drivers[:MOST_DRIVERS]


def range_columns(results) -> tuple[list[str], list[list[float]]]:
    """Numbers of options, and of the saving of each P50, what P10 lies below it, and what P90 lies above it."""
    labels: list[str] = []
    columns: list[list[float]] = [[], [], []]
    for each in drawn(results).options:
        q = sensible(each.quantities["cost_saving_usd"])
        if q.p10 is not None and q.p50 is not None and q.p90 is not None:
            labels.append(str(number_of(results, each.id)))
            for column, value in zip(columns, (q.p50, q.p50 - q.p10, q.p90 - q.p50), strict=True):
                column.append(value)
    return labels, columns


def write_tables(work: Work, sheet: Sheet, row: int, table) -> int:
    """Numbers behind the charts, among the tables of “Patterns”; returns the row after. ``table`` is
    :func:`patterns.table`."""
    results = work.results
    if results.ranges is None:
        return row
    labels, columns = range_columns(results)
    if labels:
        heads = ["P50", "P50 less P10", "P90 less P50"]
        what = f"Range of the saving of energy cost, {currency_name()} a year, by number of the option"
        row = table(work, sheet, row, "saving_range", what, "Option", labels, heads, columns, "usd_signed")
    option = about(results)
    middle = None if option is None else option.quantities["cost_saving_usd"].p50
    if option is not None and middle is not None and option.drivers:
        drivers = shown_drivers(results)
        columns = [[d.low_usd - middle for d in drivers], [d.high_usd - middle for d in drivers]]
        labels = [d.label for d in drivers]
        what = (
            f"Saving of option {number_of(results, option.id)} less its P50, {currency_name()} a year, with one input"
        )
        heads = ["At its P10", "At its P90"]
        row = table(work, sheet, row, "tornado", what, "Input", labels, heads, columns, "usd_signed")
    return row


def write(work: Work, sheet: Sheet) -> None:
    """Write the sheet."""
    s, results = work.styles, work.results
    ranges = results.ranges
    others = [width for _, width in _COLUMNS]
    left = FULL_SIZE_PIXELS - sum(map(pixels_of, (_NUMBER_WIDTH, *others)))
    widths = [_NUMBER_WIDTH, (left - PADDING_PIXELS) / CHARACTER_PIXELS, *others]
    last = len(widths) - 1
    sheet.widths(widths)
    if ranges is None:
        title(work, sheet, "Ranges", "How sure the savings are")
        sheet.text(3, 0, "No ranges were drawn in this run.", s("text"))
        sheet.on_paper(footer=work.footer, last_row=3, last_column=last)
        return
    title(work, sheet, "Ranges", f"How sure the savings are: {ranges.label}; values of the run, ranges {ranges.run_id}")
    row = 2
    for text in _introduction(results):
        sheet.merged_text(row, 0, row, last, text, s("wrap", "quiet"))
        sheet.height(row, height_of(lines_of(text, room(widths))))
        row += 1
    row = _table(work, sheet, row, widths)
    row = _next(work, sheet, row, widths)
    # The charts are printed among those of money, and what was drawn is for whoever checks it: neither is on paper.
    note = (
        "Below, not on paper: the charts that “Money in charts” prints, and every range that was drawn with its source."
    )
    sheet.merged_text(row, 0, row, last, note, s("wrap", "quiet"))
    sheet.height(row, height_of(lines_of(note, room(widths))))
    sheet.on_paper(footer=work.footer, last_row=row, last_column=last)
    row = write_charts(work, sheet, row + 1, widths, _CHART_POINTS)
    row = write_years(work, sheet, row, lambda first, end: room(widths[first : end + 1]) - 0.5)
    _inputs(work, sheet, row, widths)


def _introduction(results) -> list[str]:
    """What the figures are, and what they may be used for."""
    ranges = drawn(results)
    limit = results.project.prices.payback_limit_years
    first = (
        "8 of 10 draws lie between P10 and P90, and as many below P50 as above. Best: share of the draws in which the "
        "option costs least to run and serves as well. Pays back: share in which it does within the owner’s limit of "
        f"{limit:g} years, after the incentive. Serves: probability that rooms are served as well as today."
    )
    second = []
    if ranges.coarse:
        second.append(
            "Few draws, without hours of their own: an indication, which “binestimator estimate --ranges” replaces."
        )
    claim = claim_of(results)
    if claim.option_id is not None and not claim.fit:
        second.append(
            f"Not fit for a programme claim: the saving of option {number_of(results, claim.option_id)} rests on "
            f"defaults for {claim.words}."
        )
    return [first, *([" ".join(second)] if second else [])]


def span(found: Quantiles, text: Callable[[float], str]) -> str:
    """From P10 to P90 in words: ``1.2 to 2.2``, ``9.0 to never``."""
    ends = [found.missing or "–" if value is None else text(value) for value in (found.p10, found.p90)]
    return ends[0] if ends[0] == ends[1] else " to ".join(ends)


def _table(work: Work, sheet: Sheet, row: int, widths: list[float]) -> int:
    """Percentiles and probabilities of every option."""
    s, results = work.styles, work.results
    ranges, base = drawn(results), results.baseline_id
    currency = currency_name()
    sheet.height(row, 4)
    row += 1
    for place in range(len(widths)):
        sheet.text(row, place, "", s("step"))
    sheet.merged_text(row, 0, row, 1, "Options", s("step"))
    sheet.merged_text(row, 2, row, 4, f"Saving, {currency} a year", s("step"))
    sheet.text(row, 5, "Pays back", s("step"))
    sheet.text(row, 6, "Net present value", s("step"))
    sheet.merged_text(row, 7, row, 9, "Probability, %", s("step"))
    row += 1
    heads = ["", "Option", *(head for head, _ in _COLUMNS)]
    heads[5:7] = ["P10 to P90\nyears, net", f"P10 to P90\n{currency}"]
    for place, text in enumerate(heads):
        sheet.text(row, place, text, s("head_left" if place < 2 else "head"))
    sheet.height(row, height_of(2))
    row += 1
    for option in ranges.options:
        c, own = results[option.id], option.id == base
        mine = ("base",) if own else ("best",) if c.rank == 1 else ()
        tint = ("flagged",) if c.equal_service.flagged and not mine else mine
        sheet.text(row, 0, str(number_of(results, option.id)), s("line", "centre", *tint))
        sheet.text(row, 1, c.name, s("line", "wrap", "middle", *tint))
        saving = sensible(option.quantities["cost_saving_usd"])
        for place, value in enumerate((saving.p10, saving.p50, saving.p90), 2):
            if own or value is None:
                sheet.text(row, place, "–" if own else saving.missing or "–", s("line", "centre", *tint))
            else:
                sheet.number(row, place, value, s("signed", "right", "line", *tint))
        payback = sensible(option.quantities["payback_after_incentive_years"])
        worth = sensible(option.quantities["npv_usd"])
        serves = None if own else option.serves.probability
        texts = (
            "–" if own else span(payback, lambda years: f"{years:.1f}"),
            "–" if own else span(worth, lambda usd: f"{'−' if usd < 0 else ''}{abs(usd):,.0f}"),
            *map(in_percent, (option.probability_best, None if own else option.probability_pays_back, serves)),
        )
        for place, text in enumerate(texts, 5):
            sheet.text(row, place, text, s("line", "centre", *tint))
        sheet.height(row, max(13.5, height_of(lines_of(c.name, widths[1], bold=c.rank == 1)) - 1.5))
        row += 1
    numbers = row - len(ranges.options)
    sheet.ignore_text_numbers(numbers, 0, row - 1, len(widths) - 1)
    notes = list(ranges.notes)
    if any(option.serves.basis == HOURLY_DRAWS for option in ranges.options):
        notes.append(f"Serves: {ranges.service_draws} draws judged hour by hour.")
    elif ranges.options:
        notes.append("Serves: the verdict of the run, 0 or 100.")
    text = " ".join([*notes, *_peak_saving(results)])
    sheet.merged_text(row, 0, row, len(widths) - 1, _signs(text), s("wrap", "quiet"))
    sheet.height(row, height_of(lines_of(text, room(widths))))
    return row + 1


def _peak_saving(results) -> list[str]:
    """Range of what the option that the sheet is about saves in the first peak window, where that was drawn."""
    option = about(results)
    found = None if option is None else sensible(option.quantities["peak_saving_kw"])
    if option is None or found is None or found.p10 is None:
        return []
    window = results.project.terms.windows[0].name
    number = number_of(results, option.id)
    return [f"{window}: option {number} saves {span(found, lambda kw: f'{kw:g}')} kW (P10 to P90)."]


def _next(work: Work, sheet: Sheet, row: int, widths: list[float]) -> int:
    """What to measure next."""
    s, results = work.styles, work.results
    ranges = drawn(results)
    if not ranges.measure_next:
        return row
    number = number_of(results, str(ranges.about_id))
    sheet.height(row, 20)
    for place in range(len(widths)):
        text = f"What to measure next, by how much of the range of option {number} would go" if place == 0 else ""
        sheet.text(row, place, text, s("section"))
    row += 1
    for rank, each in enumerate(ranges.measure_next[:5], 1):
        said = f"{100.0 * each.spread_removed_frac:.0f} %"
        sheet.text(row, 0, str(rank), s("line", "centre"))
        sheet.text(row, 1, each.label, s("line", "bold", "wrap", "middle"))
        sheet.text(row, 2, said, s("line", "centre", "middle"))
        sheet.merged_text(row, 3, row, len(widths) - 1, _signs(each.what), s("line", "wrap", "middle"))
        lines = max(lines_of(each.label, widths[1], bold=True), lines_of(each.what, room(widths[3:])))
        sheet.height(row, max(13.5, height_of(lines) - 1.5))
        row += 1
    return row


def write_charts(work: Work, sheet: Sheet, row: int, widths: list[float], points: float) -> int:
    """Ranges by option, and what moves the saving of one, side by side in so many points of height; returns the row
    after them."""
    if "saving_range" not in work.blocks:
        return row
    results, pixels = work.results, [pixels_of(w) for w in widths]
    for at in range(row, row + CHART_ROWS):
        sheet.height(at, points / CHART_ROWS)
    height = int(points / 0.75) - _GAP
    parts = [int(share * sum(pixels)) for share in (_FIRST_SHARE, 1.0 - _FIRST_SHARE)]
    currency = currency_name()
    ranges_how = {"legend": "none", "y_range": _span_of_axis(work)}
    charts: list[tuple[Any, str, dict[str, Any]]] = [
        (_range_chart(work), f"Saving, {currency} a year: P10, P50, P90", ranges_how)
    ]
    if "tornado" in work.blocks:
        number = number_of(results, str(drawn(results).about_id))
        label = f"What moves the saving of option {number}, {currency} a year"
        charts.append((_tornado(work), label, {"labels_pixels": int(_LABELS_SHARE * parts[1]), "legend_lines": 2}))
    for place, (chart, label, how) in enumerate(charts):
        size = (parts[place] - _GAP, height)
        style_chart(chart, label, "", "", size=size, y_format=NUMBERS["signed"], **how)
        column, offset = place_at(pixels, place * parts[0])
        sheet.chart(row, column, chart, x_offset=offset, y_offset=3)
    return row + CHART_ROWS


def _span_of_axis(work: Work) -> tuple[float, float]:
    """Range of an axis that holds all ranges, on steps of a digit."""
    found = [sensible(option.quantities["cost_saving_usd"]) for option in drawn(work.results).options]
    ends = [end for q in found for end in (q.p10, q.p90) if end is not None]
    low, high = min(0.0, *ends, 0.0), max(0.0, *ends, 0.0)
    step = 10.0 ** math.floor(math.log10(max(high - low, 1.0))) / 5.0
    return step * math.floor(low / step), step * math.ceil(high / step) or step


def _range_chart(work: Work):
    """A point for the P50 of each option, and a bar from P10 to P90."""
    block = work.blocks["saving_range"]
    chart = work.book.chart("line")
    _, categories, values = block.series(0)
    _, (_, below, above) = range_columns(work.results)
    area = lambda column: (
        f"={quoted(block.sheet)}!${column_name(column)}${block.first + 1}:${column_name(column)}${block.last + 1}"
    )
    chart.add_series(
        {
            "name": "P50",
            "categories": categories,
            "values": values,
            "line": {"none": True},
            "marker": {"type": "diamond", "size": 8, "fill": {"color": OCHRE}, "border": {"color": INK}},
            "y_error_bars": {
                "type": "custom",
                "plus_values": area(block.first_column + 2),
                "plus_data": above,
                "minus_values": area(block.first_column + 1),
                "minus_data": below,
                "line": {"color": SLATE, "width": 2.0},
            },
        }
    )
    return chart


def _tornado(work: Work):
    """Bars to either side of the P50 of the saving, the strongest input first."""
    block = work.blocks["tornado"]
    chart = work.book.chart("bar")
    for place, fill, edge in ((0, fill_of(OCHRE, hatched=True), OCHRE), (1, fill_of(LAGOON), LAGOON)):
        _, categories, values = block.series(place)
        chart.add_series(
            {
                "name": ("input at its P10", "input at its P90")[place],
                "categories": categories,
                "values": values,
                "gap": 40,
                "overlap": 100,
                **fill,
                "border": {"color": edge, "width": 0.5},
            }
        )
    return chart


def _inputs(work: Work, sheet: Sheet, row: int, widths: list[float]) -> int:
    """Inputs that were drawn, with their ranges and sources."""
    s, ranges = work.styles, drawn(work.results)
    last = len(widths) - 1
    sheet.height(row, 20)
    for place in range(len(widths)):
        sheet.text(row, place, "Ranges that were drawn" if place == 0 else "", s("section"))
    row += 1
    # Columns of this table: first and last column of the sheet.
    spans = ((0, 1), (2, 3), (4, 5), (6, last))
    heads = ("Input", "Low, base, high", "P10 to P90; whose", "Source; triangular unless said otherwise")
    for (first, end), text in zip(spans, heads, strict=True):
        sheet.merged_text(row, first, row, end, text, s("head_left"))
    row += 1
    for one in ranges.inputs:
        shape = "" if one.distribution == "triangular" else one.distribution
        texts = (
            one.label,
            ", ".join(_once((one.low, one.base, one.high))),
            f"{' to '.join(_once((one.p10, one.p90)))}; {one.basis}",
            "; ".join(text for text in (one.source, shape, _beside(one)) if text),
        )
        lines = 1
        for (first, end), text in zip(spans, map(_signs, texts), strict=True):
            style = s(
                "line", "wrap", "middle", *(("bold",) if first == 0 else ("quiet", "small") if first == 6 else ())
            )
            sheet.merged_text(row, first, row, end, text, style)
            size = 8.0 if first == 6 else 9.0
            lines = max(lines, lines_of(text, room(widths[first : end + 1]) - 0.5, size, bold=first == 0))
        sheet.height(row, max(13.5, height_of(lines) - 1.5))
        row += 1
    text = f"Held in all draws: {ranges.held}."
    sheet.merged_text(row, 0, row, last, _signs(text), s("wrap", "quiet"))
    sheet.height(row, height_of(lines_of(text, room(widths))))
    return row + 1


def _once(texts) -> list[str]:
    """Numbers whose unit or sign of a factor is the same, with it said once."""
    parts = [_NUMBER.fullmatch(text) for text in texts]
    known = [part for part in parts if part is not None]
    if len(known) < len(parts) or len({(part["factor"], part["unit"]) for part in known}) > 1:
        return list(texts)
    numbers = [part["number"] for part in known]
    return [f"{known[0]['factor']}{numbers[0]}", *numbers[1:-1], f"{numbers[-1]}{known[0]['unit']}"]


def _beside(one) -> str:
    """What else is to be known of a range: what it moves with, and the program's where it is the user's own."""
    said = []
    if one.correlated_with:
        said.append(f"moves with {', '.join(one.correlated_with)} ({one.correlation:g})".replace("_", " "))
    if one.default_words:
        said.append(f"the program’s would be {one.default_words}")
    return "; ".join(said)


def _signs(text: str) -> str:
    """Units, factors and signs as sheets print them."""
    text = re.sub(r"(?<![\w.])-(?=\d)", "−", money_words(text.replace("degF", "°F").replace("ft2", "ft²")))
    return re.sub(r"\bx (?=[\d.])", "× ", text)
