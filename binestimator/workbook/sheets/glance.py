"""One printed page: what was compared, what it saves and costs, how sure, what can go wrong."""

from __future__ import annotations

import numpy as np

from ..charts import style_chart
from ..figures import (
    DSP_WORDS, SAT_WORDS, answer, check_counts, holding_text, interaction_text, main_caution, money_step, rounded, step_for,
    used_end_uses, worst_bin_error,
)
from ..formats import NUMBERS
from ..layout import GUIDE, sheet_candidates
from ..page import Work, height_of, lines_of
from ..strict import CHARACTER_PIXELS, PADDING_PIXELS, ROW_PIXELS, Sheet
from .patterns import bins_of, by_bin, lines_chart, use_chart

_NAME_WIDTH, _WIDTH = 36, 9.6
# Curves that lie closer than this are drawn as one.
SAME_SAT_F, SAME_DSP_INWC = 0.25, 0.02
TABLE_HEAD_ROW = 8
FIRST_ROW = 11


def columns_of(work: Work) -> list[tuple[str, str, str, str]]:
    """Columns of the comparison after mark and name: key, label, unit, part."""
    changes = [(key, label, f"{unit}/yr", "change") for key, label, unit in used_end_uses(work.results)]
    return [
        *changes, ("reheat_kbtu", "Reheat, at the coils", "kBtu/yr", "change"),
        ("electricity_kwh", "All electricity", "kWh/yr", "change"),
        ("cost_usd", "Energy cost", "USD/yr", "money"), ("saving_usd", "Saving", "USD/yr", "money"),
        ("saving_frac", "Saving", "of baseline", "money"), ("implementation", "Cost to implement", "USD", "money"),
        ("incentive", "Incentive", "USD", "money"), ("payback", "Simple payback", "years", "money"),
        ("payback_after", "Payback after incentive", "years", "money"), ("service", "Service", "as the baseline", "service"),
    ]


def write(work: Work, sheet: Sheet) -> None:
    """Write the sheet."""
    s, results = work.styles, work.results
    columns = columns_of(work)
    last = 1 + len(columns)
    info, weather = results.project.info, results.weather
    sheet.on_screen(tab_colour="#A85F00", zoom=90)
    widths = [12.5, _NAME_WIDTH, *[_WIDTH] * (len(columns) - 1), 11.0]
    sheet.widths(widths)
    total_width = sum(widths)

    sheet.height(0, 30)
    sheet.text(0, 0, info.name, s("title"))
    sheet.internal_link(0, last, GUIDE, "to the guide", s("link", "small", "right"))
    sheet.text(1, 0, "Resets of supply air temperature (SAT) and duct static pressure (DSP): energy and cost in a typical year", s("subtitle", "bold"))
    about = [info.building, f"weather {weather.name} ({weather.format}, station {weather.station})",
             f"prepared by {info.prepared_by}" if info.prepared_by else "", f"checked by {info.checked_by}" if info.checked_by else "",
             info.date, f"run {results.run_id}"]
    sheet.text(2, 0, "  ·  ".join(text for text in about if text), s("subtitle"))

    first, more = answer(results)
    row = 4
    for text, style, size in ((first, "answer", 12.0), (more, "answer_more", 10.0), ("▲ " + main_caution(results), "caution", 9.0)):
        sheet.merged_text(row, 0, row, last, text, s(style))
        sheet.height(row, height_of(lines_of(text, total_width, size, bold=size > 10), size) + 2)
        row += 1
    sheet.height(3, 5)
    sheet.height(row, 6)

    _table(work, sheet, columns, last)
    row = _remarks(work, sheet, FIRST_ROW + len(results.candidates), last, total_width)
    row = _charts(work, sheet, row + 1, widths)
    row = _how_sure(work, sheet, row, last, total_width)
    sheet.freeze(0, 0)
    sheet.activate()
    sheet.on_paper(footer=work.footer, last_row=row - 1, last_column=last, pages_high=1)


def _table(work: Work, sheet: Sheet, columns, last: int) -> None:
    s, results = work.styles, work.results
    head = TABLE_HEAD_ROW
    base = results.baseline
    changes = [k for k, c in enumerate(columns, 2) if c[3] == "change"]
    moneys = [k for k, c in enumerate(columns, 2) if c[3] == "money"]
    sheet.text(head, 0, "", s("step"))
    sheet.text(head, 1, "Compared", s("step"))
    sheet.merged_text(head, changes[0], head, changes[-1], "Change against the baseline: + more, − less", s("step"))
    sheet.merged_text(head, moneys[0], head, moneys[-1], "Money", s("step"))
    sheet.text(head, last, "", s("step"))
    sheet.height(head + 1, 38)
    for place, (label, unit) in enumerate([("Standing", ""), ("Candidate", "number as on its sheet"), *((c[1], c[2]) for c in columns)]):
        sheet.text(head + 1, place, label, s("head_left" if place < 2 else "head"))
        sheet.text(head + 2, place, unit, s("units"))
    steps = {}
    for key, _, _, part in columns:
        if part == "change":
            # Rounded by what the baseline uses, so that a large percentage of little stays little.
            steps[key] = step_for(max(abs(base.annual[key]), max(abs(c.annual[key]) for c in results.candidates)))
    usd = money_step(results)
    for row, c in enumerate(results.candidates, FIRST_ROW):
        baseline = c.id == base.id
        tint = ("best",) if c.rank == 1 else ("base",) if baseline else ("flagged",) if c.equal_service.flagged else ()
        name = f"{row - FIRST_ROW + 1}  {c.name}" + ("  (baseline)" if baseline else "")
        sheet.height(row, max(16.5, height_of(lines_of(name, _NAME_WIDTH, 10.0, bold=c.rank == 1), 10.0)))
        sheet.text(row, 0, standing(results, c), s("line", "large", "bold", *tint))
        sheet.text(row, 1, name, s("wrap", "middle", "line", "large", *tint))
        for place, (key, _, _, part) in enumerate(columns, 2):
            if part == "change":
                value: object = rounded(c.annual[key] - base.annual[key], steps[key])
                style = "signed"
            else:
                value, style = _money_cell(key, c, base, usd)
            pieces = ("centre",) if isinstance(value, str) else ("right",)
            sheet.cell(row, place, value, s("large", style, "line", *pieces, *tint))


def standing(results, c) -> str:
    """Mark of a candidate in the first column: words, not colour alone."""
    if c.rank is None:
        return "▲ not ranked"
    if c.rank == 1:
        return "★ BEST"
    return f"rank {c.rank}"


def _money_cell(key: str, c, base, usd: float) -> tuple[object, str]:
    saving, cost = c.saving["cost_usd"], c.candidate.cost_usd
    if key == "cost_usd":
        return rounded(c.annual["cost_usd"], usd), "usd"
    if key == "service":
        return ("as baseline" if not c.equal_service.flagged else "▲ WORSE") if c.id != base.id else "–", "text"
    if c.id == base.id:
        return "–", "text"
    if key == "saving_usd":
        return rounded(saving, usd), "usd_signed"
    if key == "saving_frac":
        return (saving / base.annual["cost_usd"] if base.annual["cost_usd"] else None), "signed_pct"
    if key in ("implementation", "incentive"):
        value = cost if key == "implementation" else c.candidate.incentive_usd
        return (value, "usd") if cost > 0.0 or value > 0.0 else ("not given", "small")
    years = c.payback_years if key == "payback" else c.payback_after_incentive_years
    if cost <= 0.0:
        return "–", "text"
    return (years, "years") if years is not None else ("none", "text")


def _remarks(work: Work, sheet: Sheet, row: int, last: int, width: float) -> int:
    """Why candidates are not ranked."""
    s, results = work.styles, work.results
    for number, c in enumerate(results.candidates, 1):
        if c.equal_service.flagged:
            text = f"▲ {number} is not ranked: " + "; ".join(c.equal_service.reasons) + "."
            sheet.merged_text(row, 0, row, last, text, s("small", "wrap"))
            sheet.height(row, height_of(lines_of(text, width, 8.0), 8.0) - 2)
            row += 1
    text = ("Rounded; full figures and what each contains: “Comparison”. Signs are kept: a reset that costs more shows it. Simple payback is not discounted.")
    sheet.merged_text(row, 0, row, last, text, s("small", "quiet"))
    return row + 1


def _charts(work: Work, sheet: Sheet, row: int, widths: list[float]) -> int:
    """Four charts in two rows, as wide as the table; returns the first row below them."""
    results = work.results
    pixels = sum(_pixels(w) for w in widths)
    size = (pixels // 2 - 4, 244)
    edges = bins_of(results)
    if not len(edges):
        return row
    width = float(results.project.bins.width_f)
    x_range = (10.0 * (edges.min() // 10.0), 10.0 * -(-(edges.max() + width) // 10.0))
    x_unit = 10.0

    cost = use_chart(work, "cost")
    style_chart(cost, "Energy cost of a year by end use", "Candidate", "USD a year", size=size, y_format="#,##0")
    change = use_chart(work, "change")
    style_chart(change, "What changes against the baseline: above the line costs more, below saves", "Candidate", "USD a year", size=size, y_format=NUMBERS["signed"])
    sat = lines_chart(work, "sat", "sat_f", SAME_SAT_F, lambda c: SAT_WORDS[c.candidate.sat.strategy])
    style_chart(sat, "Supply air temperature by outdoor temperature (in brackets: candidates)", "Outdoor temperature, °F", "°F", size=size,
                x_range=x_range, x_unit=x_unit, y_format="0", y_range=_whole_fives(results, edges))
    dsp = lines_chart(work, "dsp", "dsp_inwc", SAME_DSP_INWC, lambda c: DSP_WORDS[c.candidate.dsp.strategy])
    style_chart(dsp, "Duct static pressure by outdoor temperature (in brackets: candidates)", "Outdoor temperature, °F", "in. w.c.", size=size,
                x_range=x_range, x_unit=x_unit, y_format="0.0", y_range=(0.0, None))
    # The second column of charts starts in the middle of the table, to the pixel.
    middle, offset = 0, pixels // 2
    while offset >= _pixels(widths[middle]):
        offset -= _pixels(widths[middle])
        middle += 1
    rows = size[1] // ROW_PIXELS + 1
    for k, chart in enumerate((cost, change, sat, dsp)):
        down = row + rows * (k // 2)
        if k % 2 == 0:
            sheet.chart(down, 0, chart)
        else:
            sheet.chart(down, middle, chart, x_offset=offset)
    sheet.height(row + 2 * rows, 8)
    return row + 2 * rows + 1


def _whole_fives(results, edges) -> tuple[float, float]:
    """Range of the supply temperature axis, on whole fives with some air. [degF]"""
    curves = np.concatenate([by_bin(results, results.candidates[k], "sat_f", edges) for k in sheet_candidates(results)])
    return 5.0 * np.floor((np.nanmin(curves) - 1.0) / 5.0), 5.0 * np.ceil((np.nanmax(curves) + 1.0) / 5.0)


def _pixels(width: float) -> int:
    """Width of a column of so many characters. [pixels]"""
    return int(width * CHARACTER_PIXELS + PADDING_PIXELS)


def _how_sure(work: Work, sheet: Sheet, row: int, last: int, width: float) -> int:
    s, results = work.styles, work.results
    counts = check_counts(results)
    origins = list(results.project.origins.values())
    defaults = sum(o == "default" for o in origins)
    lines = [
        f"Checks: {counts['pass']} pass, {counts['explain']} to explain, {counts['fail']} FAIL" + (": do not use these results." if counts["fail"] else ".")
        + f" Bin rows against the same equations hour by hour: annual cost within {100 * worst_bin_error(results):.2f} % for every candidate.",
        f"Not reconciled with bills. {defaults} of {len(origins)} inputs are defaults; measured values make the estimate firmer.",
    ]
    lines = [text for text in (interaction_text(results), holding_text(results)) if text] + lines
    for place in range(last + 1):
        sheet.text(row, place, "How sure, and what it rests on" if place == 0 else "", s("section"))
    row += 1
    for text in lines:
        sheet.merged_text(row, 0, row, last, text, s("wrap"))
        sheet.height(row, height_of(lines_of(text, width)))
        row += 1
    return row
