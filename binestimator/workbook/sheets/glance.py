"""First the page that an owner reads, at full size: what changes, what it saves and costs.

Behind it a page of charts, what can go wrong and how sure it is.
"""

from __future__ import annotations

import re
from itertools import accumulate, pairwise, product

from ...advice.value import is_limit_of_control
from ...ranges.results import sensible
from ...results import CHANGED_SERVICE
from ..addresses import column_name, quoted
from ..charts import FULL_SIZE_PIXELS, FULL_SIZE_POINTS, legend_lines, pixels_of, place_at, room, style_chart
from ..figures import (
    advised,
    answer,
    holdback_lines,
    in_percent,
    key_figures,
    known_text,
    money_step,
    number_of,
    options,
    plain_words,
    risk_lines,
    rounded,
    sure_lines,
    today,
    use_step,
    used_end_uses,
    value_lines,
    what_moves,
)
from ..formats import NUMBERS, money_words
from ..layout import GLANCE, GUIDE, LIVE_YEAR, NOTHING_EDITED, sheet_candidates
from ..page import Work, height_of, lines_of
from ..strict import CHARACTER_PIXELS, PADDING_PIXELS, Sheet
from .patterns import (
    SAME_DSP_INWC,
    SAME_SAT_F,
    bins_of,
    change_chart,
    lines_chart,
    whole_fives,
)

_RANK_WIDTH, _OTHER_WIDTH = 10.5, 9.0
#: Most columns of the table, rank and name among them.
MOST_COLUMNS = 10
# Columns that give way, in this order, where a project uses many kinds of energy.
_GIVES_WAY = ("saving_frac", "cost_usd", "implementation", "saving_usd")
# Columns of ranges, which are values of the run.
_RANGE, _BEST = "saving_range", "probability_best"
_RANGE_WIDTH = 12.5
# More curves than these in one small chart cannot be told apart.
_MOST_CURVES = 5

# Rows of the page. Above the answer is what the baseline is known to fail in; below the key figures is whether an edit
# made anything of the run stale. Behind the remarks under the table, on the second page, come lines for reviews, empty
# until an input is edited: what was claimed, what the formulas give with the inputs now in the file, and their ratio.
KNOWN_ROW, ANSWER_ROW, FIGURES_ROW, STALE_ROW, TABLE_HEAD_ROW = 3, 4, 6, 10, 12
FIRST_ROW = TABLE_HEAD_ROW + 2
REVIEW_LINES = ("claimed", "reviewed", "ratio")

# On the second page charts are side by side over the whole width, with texts below them in columns. Charts take what
# the texts leave of the page: their least height, the one for which texts give way, and the largest. [points]
_CHART_POINTS, _TEXT_COLUMNS = (130.0, 166.0, 260.0), 3
_MOST_CAUSES = 4
# A line of text, and a heading, in the columns. [points]
_LINE_POINTS, _HEADING_POINTS = 12.0, 15.0
# Charts side by side, and rows of the sheet behind them.
_CHART_ROWS = 16
# Shares of the page's width: change of cost, supply air, duct static, which has most curves.
_CHART_SHARES = (0.29, 0.32, 0.39)
# Reasons of options that serve worse, each on a line of its own.
_MOST_REASONS = 3
# Line of the limit; least heights of an option's first line and of each further one, where the page is full. [points]
_BOUND_POINTS, _LEAST_POINTS = 14.25, (12.0, 10.75)
# What the lines for reviews hold before there is something to review: a formula must carry a value.
NOT_YET = " "
_ONLY_LIVE = "On this page the lines “as reviewed” and “ratio” follow; all else stays the claim."
# A claim below this, in its unit, is the rounding of a difference of nothing: no ratio is formed with it.
_LEAST, _LEAST_FRAC = 0.001, 0.000001


# End uses that make one column, since a reader of the first page asks what cools and what heats: label, keys.
_USE_COLUMNS = (
    ("Fans", ("fan_kwh",)),
    ("Cooling", ("cooling_kwh", "pump_tower_kwh")),
    ("Purchased cooling", ("purchased_cooling_kbtu",)),
    ("Electric heat", ("heating_kwh",)),
    ("Fuel", ("fuel_therm",)),
    ("Purchased heat", ("purchased_heating_kbtu",)),
)


def columns_of(results) -> list[tuple[str, str, str, str]]:
    """Columns of the comparison after rank and name: key, label, unit, part. The key of a column that sums end uses
    joins theirs with a plus sign."""
    used = {key: (label, unit) for key, label, unit in used_end_uses(results)}
    changes = []
    for label, keys in _USE_COLUMNS:
        here = [key for key in keys if key in used]
        if here:
            name = label if len(here) == len(keys) else used[here[0]][0]
            changes.append(("+".join(here), name, used[here[0]][1], "change"))
    after = any(c.candidate.incentive_usd > 0.0 for c in results.candidates)
    paid = ("payback_after", "Pays back", "years, net", "once") if after else ("payback", "Pays back", "years", "once")
    if results.ranges is not None:
        others = [
            ("saving_usd", "Saving", "as estimated", "money"),
            (_RANGE, "8 of 10 draws", "within", "money"),
            (_BEST, "Best in", "% of draws", "money"),
            ("implementation", "Cost", "once", "once"),
            paid,
        ]
    else:
        others = _without_ranges(paid)
    for key in _GIVES_WAY:
        if 2 + len(changes) + len(others) > MOST_COLUMNS:
            others = [column for column in others if column[0] != key]
    return [*changes, *others]


def _without_ranges(paid: tuple[str, str, str, str]) -> list[tuple[str, str, str, str]]:
    """Columns of money where no draws were made."""
    return [
        ("cost_usd", "Energy cost", "a year", "money"),
        ("saving_usd", "Saving", "a year", "money"),
        ("saving_frac", "Saving", "of cost", "money"),
        ("implementation", "Cost", "once", "once"),
        paid,
    ]


def change_of(results, annual, key: str) -> float:
    """Change against the baseline of a column of end uses."""
    return sum(annual[part] - results.baseline.annual[part] for part in key.split("+"))


def _step_of(results, key: str) -> float:
    """Rounding of a column of end uses: the coarsest of its parts'."""
    return max(use_step(results, part) for part in key.split("+"))


def widths_of(work: Work) -> list[float]:
    """Widths of the columns of the page, which fill it at full size. [characters]"""
    others = [_RANGE_WIDTH if key == _RANGE else _OTHER_WIDTH for key, *_ in columns_of(work.results)]
    left = FULL_SIZE_PIXELS - sum(pixels_of(w) for w in (_RANK_WIDTH, *others))
    return [_RANK_WIDTH, (left - PADDING_PIXELS) / CHARACTER_PIXELS, *others]


def spans(widths: list[float], count: int) -> list[tuple[int, int]]:
    """First and last column of ``count`` neighbouring fields: rank and name, and about equal parts of the rest."""
    found, first = [(0, 1)], 2
    for left in range(count - 1, 0, -1):
        last = first
        target = sum(widths[first:]) / left
        while len(widths) - 1 - last > left - 1 and (
            left == 1 or sum(widths[first : last + 1]) + widths[last + 1] / 2 < target
        ):
            last += 1
        found.append((first, last))
        first = last + 1
    return found


def review_row(results) -> int:
    """First of the lines for reviews: claimed, as reviewed, ratio."""
    return FIRST_ROW + len(results.candidates) + 1 + len(remark_texts(results))


def write(work: Work, sheet: Sheet) -> None:
    """Write the sheet."""
    s, results = work.styles, work.results
    columns, widths = columns_of(work.results), widths_of(work)
    last = len(widths) - 1
    width = room(widths)
    info, weather = results.project.info, results.weather
    sheet.on_screen(tab_colour="#A85F00", zoom=90)
    sheet.widths(widths)

    sheet.height(0, 23)
    sheet.text(0, 0, info.name, s("title"))
    if not work.client:
        sheet.internal_link(0, last, GUIDE, "to the guide", s("link", "small", "right"))
    sheet.text(
        1,
        0,
        "What resetting the supply air temperature (SAT) and the duct static pressure (DSP) is worth, compared with "
        "the baseline",
        s("subtitle", "bold"),
    )
    about = [
        info.building,
        f"typical year {weather.name} ({weather.format}, station {weather.station})",
        f"prepared by {info.prepared_by}" if info.prepared_by else "",
        f"checked by {info.checked_by}" if info.checked_by else "",
        info.date,
        f"run {results.run_id}",
    ]
    said = "  ·  ".join(text for text in about if text)
    sheet.merged_text(2, 0, 2, last, said, s("quiet", "wrap"))
    sheet.height(2, height_of(lines_of(said, width, 9.0), 9.0))

    for row, text, style, size in (
        (KNOWN_ROW, known_text(results), "known", 9.0),
        (ANSWER_ROW, answer(results), "answer", 10.0),
    ):
        if row == KNOWN_ROW and not text:
            sheet.height(row, 3)
            continue
        sheet.merged_text(row, 0, row, last, text, s(style))
        sheet.height(row, height_of(lines_of(text, width, size, bold=True), size))
    _figures(work, sheet, widths)
    _stale(work, sheet, last)
    _table(work, sheet, columns, widths)
    _remarks(work, sheet, last, width)
    # Remarks that the first page has no room for go to the second.
    after = review_row(results)
    second = after if sheet.points(0, after - 1) <= FULL_SIZE_POINTS else after - len(remark_texts(results))
    row = after + (0 if work.client else len(REVIEW_LINES))
    row = _lower_half(work, sheet, row, widths, sheet.points(second, row - 1) if row > second else 0.0)
    sheet.freeze(0, 0)
    sheet.activate()
    sheet.on_paper(footer=work.footer, last_row=row - 1, last_column=last, breaks=[second])


def _figures(work: Work, sheet: Sheet, widths: list[float]) -> None:
    """Key figures side by side."""
    s = work.styles
    found = key_figures(work.results)
    sheet.height(FIGURES_ROW - 1, 3)
    places = spans(widths, len(found))
    rooms = [room(widths[a : b + 1]) - 2.0 for a, b in places]
    for down, size in ((0, 9.0), (1, 11.0), (2, 9.0)):
        lines = max(lines_of(texts[down], width, size, bold=down < 2) for texts, width in zip(found, rooms))
        sheet.height(FIGURES_ROW + down, height_of(lines, size))
    for texts, (first, last) in zip(found, places):
        for down, (text, style) in enumerate(zip(texts, ("tile_label", "tile_figure", "tile_remark"))):
            sheet.merged_text(FIGURES_ROW + down, first, FIGURES_ROW + down, last, text, s(style))
    sheet.height(FIGURES_ROW + 3, 2)


def _stale(work: Work, sheet: Sheet, last: int) -> None:
    """Place of the line that says whether an edit made anything stale; its formula is written by
    :func:`write_review`."""
    if work.client:
        sheet.height(STALE_ROW, 3)
        sheet.height(STALE_ROW + 1, 3)
        return
    sheet.merged_text(STALE_ROW, 0, STALE_ROW, last, "", work.styles("quiet", "wrap", "middle"))
    sheet.height(STALE_ROW, 24)
    sheet.height(STALE_ROW + 1, 3)


def _claimed(results):
    """Position and candidate that the lines for reviews are about: the one that the page presents, or the baseline
    where there is none."""
    c = advised(results)
    c = results.baseline if c is None else c
    position = number_of(results, c.id) - 1
    if position not in sheet_candidates(results):
        c = results.best if results.best is not None else results.baseline
    return number_of(results, c.id) - 1, c


def write_review(work: Work, pen) -> None:
    """Lines for reviews: the claimed figures, those the formulas give now, their ratio; and the state of the file.

    Parameters
    ----------
    pen : Pen
        The one that wrote the live sheets; it knows where the annual figures and the banner are. None
        where the air handler never runs.
    """
    s, results, sheet = work.styles, work.results, work.sheets[GLANCE]
    position, c = _claimed(results)
    base = results.baseline
    number, first = position + 1, review_row(results)
    # Empty until an input is edited: what has not been reviewed must not look as if it had been.
    edited = f'=IF($A${STALE_ROW + 1}="{NOTHING_EDITED}","{NOT_YET}",'
    for k, (mark, text) in enumerate(
        (
            ("claimed", f"Option {number} as claimed: figures of the run"),
            ("as reviewed", f"Option {number} with the inputs now in this file"),
            ("ratio", "As reviewed, over claimed"),
        )
        if pen is not None
        else ()
    ):
        sheet.height(first + k, 15)
        pen.formula(sheet, first + k, 0, f'{edited}"{mark}")', NOT_YET, s("bold", "middle"))
        pen.formula(sheet, first + k, 1, f'{edited}"{text}")', NOT_YET, s("middle"))
    if pen is None:
        sheet.text(
            STALE_ROW,
            0,
            "The air handler never runs, so there are no rows to compute and no formulas.",
            s("quiet", "wrap", "middle"),
        )
    else:
        pen.formula(
            sheet,
            STALE_ROW,
            0,
            f'={pen.banner}&IF({pen.banner}="{NOTHING_EDITED}",""," {_ONLY_LIVE}")',
            NOTHING_EDITED,
            s("quiet", "wrap", "middle"),
        )
        # An edit is shown by words; the colour only helps to notice them.
        sheet.highlight(
            STALE_ROW,
            0,
            STALE_ROW,
            len(columns_of(work.results)) + 1,
            f'=$A${STALE_ROW + 1}<>"{NOTHING_EDITED}"',
            s("stale"),
        )
        sheet.highlight(
            first,
            0,
            first + len(REVIEW_LINES) - 1,
            len(columns_of(work.results)) + 1,
            f'=$A${STALE_ROW + 1}<>"{NOTHING_EDITED}"',
            s("claim"),
        )
        letter = column_name(2 + sorted(work.candidate_sheets).index(position))
        live = lambda key: f"{quoted(LIVE_YEAR)}!{letter}{pen.places[key] + 1}"
    if pen is None:
        return
    outlay, incentive = c.candidate.cost_usd, c.candidate.incentive_usd
    value: float | None
    for place, (key, _, _, part) in enumerate(columns_of(work.results), 2):
        if part == "change":
            # Rounded far below what is shown: the last digits of a difference of nothing would show a sign.
            value, style = round(change_of(results, c.annual, key), 6), "signed"
            formula = f"ROUND({''.join(f'-{{saving.{part}}}' for part in key.split('+'))},6)"
        else:
            of_column: dict[str, tuple[float | None, str, str]] = {
                "cost_usd": (c.annual["cost_usd"], "{cost_usd}", "usd_short"),
                "saving_usd": (c.saving["cost_usd"], "{saving.cost_usd}", "usd_signed"),
                "saving_frac": (
                    c.saving["cost_usd"] / base.annual["cost_usd"] if base.annual["cost_usd"] else None,
                    "{saving.cost_usd}/({cost_usd}+{saving.cost_usd})",
                    "signed_pct",
                ),
                "implementation": (outlay if outlay > 0.0 else None, "{money.cost_usd}", "usd_short"),
                "payback": (c.payback_years if outlay > 0.0 else None, "{payback.before}", "years"),
                "payback_after": (
                    c.payback_after_incentive_years if outlay > 0.0 and incentive > 0.0 else None,
                    "{payback.after}",
                    "years",
                ),
            }
            # Draws are no formulas: in their columns nothing follows an edit.
            value, formula, style = of_column.get(key, (None, "", "text"))
        if c.id == base.id and part != "change" and key != "cost_usd":
            value = None
        look = s(style, "right", "middle")
        if value is None:
            for k in range(len(REVIEW_LINES)):
                pen.formula(sheet, first + k, place, f'{edited}"–")', NOT_YET, s("centre", "middle"))
            continue
        at, now = (f"{column_name(place)}{first + 1 + k}" for k in range(2))
        pen.formula(sheet, first, place, f"{edited}{value + 0.0!r})", NOT_YET, look)
        text = re.sub(r"\{([^}]*)\}", lambda m: live(m.group(1)), formula)
        pen.formula(sheet, first + 1, place, f"{edited}{text})", NOT_YET, look)
        least = _LEAST_FRAC if style == "signed_pct" else _LEAST
        text = f'IF(AND(ISNUMBER({now}),ISNUMBER({at})),IF(ABS(N({at}))>{least},{now}/{at},"–"),"–")'
        pen.formula(sheet, first + 2, place, f"{edited}{text})", NOT_YET, s("f3", "bold", "right", "middle"))


def _table(work: Work, sheet: Sheet, columns, widths: list[float]) -> None:
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
    steps = {key: _step_of(results, key) for key, _, _, part in columns if part == "change"}
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
    if key == _BEST:
        return in_percent(results.ranges[c.id].probability_best), "text"
    if c.id == base.id:
        return "–", "text"
    if key == _RANGE:
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


# What the units are, for readers who do not live with them.
_UNIT_WORDS = {
    "kWh": "kWh: kilowatt-hours of electricity",
    "therm": "therm: 100,000 Btu of fuel",
    "kBtu": "kBtu: 1,000 Btu of heat",
}


def remark_texts(results) -> list[str]:
    """What is below the table: why options are not ranked, what the limit is, units."""
    reasons: dict[tuple[str, str], list[int]] = {}
    for number, c in enumerate(results.candidates, 1):
        if c.equal_service.flagged:
            head = "changes the service" if c.kind == CHANGED_SERVICE else "serves the rooms worse"
            reasons.setdefault((head, "; ".join(plain_words(reason) for reason in c.equal_service.reasons)), []).append(
                number
            )
    several = {"changes the service": "change the service", "serves the rooms worse": "serve the rooms worse"}
    texts = [
        f"▲ {options(numbers)} {'is' if len(numbers) == 1 else 'are'} not ranked, as "
        f"{f'it {head}' if len(numbers) == 1 else f'they {several[head]}'}: {text}."
        for (head, text), numbers in reasons.items()
    ]
    if len(texts) > _MOST_REASONS:
        # One paragraph, so that the page stays readable however many options there are.
        both = " or ".join(several[head] for head in several if any(head == h for h, _ in reasons))
        texts = [
            f"▲ Not ranked, as they {both}: "
            + "  ·  ".join(f"{options(numbers).lower()}: {text}" for (_, text), numbers in reasons.items())
            + "."
        ]
    without = [k for k, c in enumerate(results.candidates, 1) if c.rank is None and not c.equal_service.flagged]
    if without and results.baseline_service.open:
        texts.append(
            f"▲ {options(without)}: not ranked, as what the baseline fails in is not cured "
            f"({', '.join(results.baseline_service.open).replace('_', ' ')})."
        )
    moves = what_moves(results)
    shown = {unit for _, _, unit, _ in columns_of(results)}
    units = [unit for unit in _UNIT_WORDS if unit in shown or f" {unit}" in moves]
    texts.append(
        "  ·  ".join(
            [
                "Rounded; in full on “Options in figures”; curves are named by their options",
                *(_UNIT_WORDS[unit] for unit in units),
                *(["cooling: with pumps and tower"] if any("+" in key for key, *_ in columns_of(results)) else []),
                *(
                    ["8 of 10 draws: from P10 to P90 of the saving, values of the run"]
                    if results.ranges is not None
                    else []
                ),
                "payback is simple, not discounted"
                + (", after the incentive" if any(key == "payback_after" for key, *_ in columns_of(results)) else ""),
            ]
        )
        + "."
    )
    return texts


def _remarks(work: Work, sheet: Sheet, last: int, width: float) -> None:
    """The texts below the table."""
    for row, text in enumerate(remark_texts(work.results), FIRST_ROW + len(work.results.candidates) + 1):
        sheet.merged_text(row, 0, row, last, text, work.styles("wrap", "quiet"))
        sheet.height(row, height_of(lines_of(text, width, 9.0), 9.0) - 1)


def _lower_half(work: Work, sheet: Sheet, row: int, widths: list[float], above: float) -> int:
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

    # Rows have the height of a line, as there are other texts beside.
    rows_of = lambda text, column: lines_of(text, rooms[column], 9.0)
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
