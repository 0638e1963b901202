"""The comparison of all options, the limit of perfect resets as its last line."""

from __future__ import annotations

from ....advice.value import is_limit_of_control
from ....ranges.results import sensible
from ....results import CHANGED_SERVICE
from ...charts import FULL_SIZE_POINTS
from ...figures import (
    in_percent,
    money_step,
    rounded,
    today,
)
from ...page import Work, height_of, lines_of
from ...strict import Sheet
from .columns import BEST, RANGE, change_of, step_of
from .places import FIRST_ROW, TABLE_HEAD_ROW

# Line of the limit; least heights of an option's first line and of each further one, where the page is full. [points]
_BOUND_POINTS, _LEAST_POINTS = 14.25, (12.0, 10.75)


def write_table(work: Work, sheet: Sheet, columns, widths: list[float]) -> None:
    s, results = work.styles, work.results
    width = widths[1]
    head = TABLE_HEAD_ROW
    base = results.baseline
    for part, label in (
        ("change", "Change: + more, − less"),
        ("money", "Energy cost"),
        ("once", "To get there"),
    ):
        places = [k for k, c in enumerate(columns, 2) if c[3] == part]
        label = label if len(places) > 2 else label.split(": ")[-1]
        if not places:
            continue
        sheet.merged_text(head, places[0], head, places[-1], label, s("step"))
    for place, text in ((0, ""), (1, "Options")):
        sheet.text(head, place, text, s("step"))
    heads = [
        "Rank",
        "Option, numbered as on all sheets",
        *(f"{label}\n{unit}" if unit else label for _, label, unit, _ in columns),
    ]
    lines = max(lines_of(text, width, 9.0, bold=True) for text, width in zip(heads, widths))
    sheet.height(head + 1, height_of(lines, 9.0))
    for place, text in enumerate(heads):
        sheet.text(head + 1, place, text, s("head_left" if place < 2 else "head"))
    steps = {key: step_of(results, key) for key, _, _, part in columns if part == "change"}
    usd = money_step(results)
    names = [_name_of(results, k) for k in range(len(results.candidates))]
    taken = [lines_of(name, width, 9.0, bold=c.rank == 1) for name, c in zip(names, results.candidates, strict=True)]
    heights = [max(13.5, height_of(lines, 9.0) - 1.5) for lines in taken]
    if sheet.points(0, FIRST_ROW - 1) + sum(heights) + _BOUND_POINTS > FULL_SIZE_POINTS:
        heights = [_LEAST_POINTS[0] + (lines - 1) * _LEAST_POINTS[1] for lines in taken]
    for row, (c, name, points) in enumerate(zip(results.candidates, names, heights, strict=True), FIRST_ROW):
        tint = (
            ("best",)
            if c.rank == 1
            else ("base",)
            if c.id == base.id
            else ("flagged",)
            if c.equal_service.flagged
            else ()
        )
        sheet.height(row, points)
        sheet.text(row, 0, standing(results, c), s("line", "bold", *tint))
        sheet.text(row, 1, name, s("wrap", "middle", "line", *tint))
        for place, (key, _, _, part) in enumerate(columns, 2):
            if part == "change":
                value: object = rounded(change_of(results, c.annual, key), steps[key])
                style = "signed"
            else:
                value, style = _money_cell(results, key, c, usd)
            pieces = ("centre",) if isinstance(value, str) else ("right",)
            sheet.cell(row, place, value, s(style, "line", *pieces, *tint))
    _bound_line(work, sheet, columns, FIRST_ROW + len(results.candidates), steps, usd)


def _name_of(results, position: int) -> str:
    """Number and name of an option, and what it is besides."""
    c, now = results.candidates[position], today(results)
    marks = [
        word
        for word, true in (
            ("do nothing", now is not None and c.id == now.id),
            ("baseline", c.id == results.baseline_id),
            ("best value", results.advice is not None and results.advice.value.best_id == c.id),
            ("limit of control", is_limit_of_control(c.candidate)),
        )
        if true
    ]
    return f"{position + 1}  {c.name}" + (f"  ({', '.join(marks)})" if marks else "")


def _bound_line(work: Work, sheet: Sheet, columns, row: int, steps, usd: float) -> None:
    """The limit of perfect resets as the last line of the table."""
    s, results = work.styles, work.results
    base, bound = results.baseline.annual, results.bound
    sheet.height(row, _BOUND_POINTS)
    sheet.text(row, 0, "◇ limit", s("total"))
    sheet.text(row, 1, "Perfect resets: limit of setpoints alone", s("total"))
    saved = base["cost_usd"] - bound["cost_usd"]
    cells = {
        "cost_usd": (rounded(bound["cost_usd"], usd), "usd_short"),
        "saving_usd": (rounded(saved, usd), "usd_signed"),
        "saving_frac": (saved / base["cost_usd"], "signed_pct") if base["cost_usd"] else ("–", "text"),
    }
    for place, (key, _, _, part) in enumerate(columns, 2):
        value, style = (
            (rounded(change_of(results, bound, key), steps[key]), "signed")
            if part == "change"
            else cells.get(key, ("–", "text"))
        )
        sheet.cell(row, place, value, s("total", style, "centre" if isinstance(value, str) else "right"))


def standing(results, c) -> str:
    """Mark of a candidate in the first column: words, not colour alone."""
    if c.kind == CHANGED_SERVICE:
        return "▲ changed"
    if c.rank is None:
        return "▲ WORSE" if c.equal_service.flagged else "▲ not ranked"
    if c.rank == 1:
        return "★ BEST"
    return f"rank {c.rank}"


def _money_cell(results, key: str, c, usd: float) -> tuple[object, str]:
    base = results.baseline
    saving, cost = c.saving["cost_usd"], c.candidate.cost_usd
    if key == "cost_usd":
        return rounded(c.annual["cost_usd"], usd), "usd_short"
    if key == BEST:
        return in_percent(results.ranges[c.id].probability_best), "text"
    if c.id == base.id:
        return "–", "text"
    if key == RANGE:
        found = sensible(results.ranges[c.id].quantities["cost_saving_usd"])
        if found.p10 is None or found.p90 is None:
            return found.missing or "–", "text"
        between = " to " if found.p10 < 0.0 else "–"
        return between.join(f"{'−' if end < 0.0 else ''}{abs(end):,.0f}" for end in (found.p10, found.p90)), "text"
    if key == "saving_usd":
        return rounded(saving, usd), "usd_signed"
    if key == "saving_frac":
        return (saving / base.annual["cost_usd"], "signed_pct") if base.annual["cost_usd"] else ("–", "text")
    if key == "implementation":
        return (cost, "usd_short") if cost > 0.0 or c.candidate.incentive_usd > 0.0 else ("not given", "text")
    years = c.payback_years if key == "payback" else c.payback_after_incentive_years
    if cost <= 0.0:
        return "–", "text"
    return (years, "years") if years is not None else ("none", "text")
