"""One printed page: what changes, what it saves and costs, what can go wrong, how sure."""

from __future__ import annotations

import re
from itertools import product
from math import ceil

import numpy as np

from ...advice.value import is_limit_of_control
from ...checks import saves_by_ventilation
from ...results import CHANGED_SERVICE
from ..charts import fill_of, pixels_of, place_at, room, style_chart
from ..figures import (
    DSP_WORDS,
    SAT_WORDS,
    advised,
    answer,
    bound_text,
    driver_lines,
    holdback_lines,
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
from ..formats import INK, LAGOON, NUMBERS, PETROL
from ..layout import GLANCE, GUIDE, LIVE_YEAR, NOTHING_EDITED, sheet_candidates
from ..page import Work, height_of, lines_of
from ..strict import ROW_PIXELS, Sheet, column_name, quoted
from .patterns import bins_of, by_bin, change_chart, lines_chart

_RANK_WIDTH, _USE_WIDTH, _SERVICE_WIDTH = 12.0, 10.2, 11.5
# The column of names takes what the others leave of the width at which a page in landscape is full.
_PAGE_WIDTH, _NAME_WIDTHS = 196.0, (42.0, 60.0)
# Curves that lie closer than this are drawn as one.
SAME_SAT_F, SAME_DSP_INWC = 0.25, 0.02

# Rows of the page. Above the answer stands what the baseline is known to fail in; below the key figures stands whether
# an edit made anything of the run stale; the last lines of the table are for reviews: what was claimed, what the inputs
# in the file make of it, and their ratio.
KNOWN_ROW, ANSWER_ROW, MOVES_ROW, FIGURES_ROW, STALE_ROW, TABLE_HEAD_ROW = 3, 4, 5, 7, 11, 13
FIRST_ROW = TABLE_HEAD_ROW + 2
REVIEW_LINES = ("claimed", "reviewed", "ratio")

# Charts stand side by side over the whole width, texts below them in columns: so the page is as wide as paper in
# landscape is, and its print as large as can be.
_CHART_ROWS, _TEXT_COLUMNS = 13, 3
# Reasons of options that serve worse, each on a line of its own.
_MOST_REASONS = 3
_ONLY_LIVE = "On this page the lines “as reviewed” and “ratio” follow; all else stays the claim."
# A claim below this, in its unit, is the rounding of a difference of nothing: no ratio is formed with it.
_LEAST, _LEAST_FRAC = 0.001, 0.000001


def columns_of(results) -> list[tuple[str, str, str, str]]:
    """Columns of the comparison after rank and name: key, label, unit, part."""
    changes = [(key, label, unit, "change") for key, label, unit in used_end_uses(results)]
    at_equal_oa = (
        [("saving_oa_usd", "… at equal outdoor air", "a year", "money")]
        if saves_by_ventilation(results.candidates, results.baseline)
        else []
    )
    return [
        *changes,
        ("reheat_kbtu", "Reheat at zones", "kBtu", "change"),
        ("cost_usd", "Energy cost", "a year", "money"),
        ("saving_usd", "Saving", "a year", "money"),
        ("saving_frac", "Saving", "of cost", "money"),
        *at_equal_oa,
        ("bound_share", "Of what perfect resets save", "", "money"),
        ("implementation", "Cost to carry out", "once", "once"),
        ("payback", "Pays back in", "years", "once"),
        ("payback_after", "… with incentive", "years", "once"),
        ("service", "Rooms served", "", "service"),
    ]


def widths_of(work: Work) -> list[float]:
    """Widths of the columns of the page. [characters]"""
    others = [_SERVICE_WIDTH if part == "service" else _USE_WIDTH for *_, part in columns_of(work.results)]
    name = min(max(_PAGE_WIDTH - _RANK_WIDTH - sum(others), _NAME_WIDTHS[0]), _NAME_WIDTHS[1])
    return [_RANK_WIDTH, name, *others]


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
    return FIRST_ROW + len(results.candidates) + 1


def write(work: Work, sheet: Sheet) -> None:
    """Write the sheet."""
    s, results = work.styles, work.results
    columns, widths = columns_of(work.results), widths_of(work)
    last = len(widths) - 1
    width = room(widths)
    info, weather = results.project.info, results.weather
    sheet.on_screen(tab_colour="#A85F00", zoom=90)
    sheet.widths(widths)

    sheet.height(0, 30)
    sheet.text(0, 0, info.name, s("title"))
    sheet.internal_link(0, last, GUIDE, "to the guide", s("link", "small", "right"))
    sheet.text(
        1,
        0,
        "What it is worth to move two setpoints of an air handler with need, instead of holding them: the supply air "
        "temperature (SAT) and the duct static "
        "pressure (DSP)",
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
    sheet.merged_text(2, 0, 2, last, said, s("subtitle", "wrap"))
    sheet.height(2, height_of(lines_of(said, width, 10.0), 10.0))

    for row, text, style, size in (
        (KNOWN_ROW, known_text(results), "known", 10.0),
        (ANSWER_ROW, answer(results), "answer", 12.0),
        (MOVES_ROW, what_moves(results), "answer_more", 10.0),
    ):
        if row == KNOWN_ROW and not text:
            sheet.height(row, 3)
            continue
        sheet.merged_text(row, 0, row, last, text, s(style))
        sheet.height(row, height_of(lines_of(text, width, size, bold=size > 10 or row == KNOWN_ROW), size) + 2)
    _figures(work, sheet, widths)
    _stale(work, sheet, last)
    _table(work, sheet, columns, widths)
    row = _remarks(work, sheet, review_row(results) + len(REVIEW_LINES), last, width)
    row = _lower_half(work, sheet, row, widths)
    sheet.freeze(0, 0)
    sheet.activate()
    sheet.on_paper(footer=work.footer, last_row=row - 1, last_column=last, pages_high=1)


def _figures(work: Work, sheet: Sheet, widths: list[float]) -> None:
    """Key figures side by side."""
    s = work.styles
    found = key_figures(work.results)
    sheet.height(FIGURES_ROW - 1, 6)
    sheet.height(FIGURES_ROW + 1, 26)
    places = spans(widths, len(found))
    lines = max(lines_of(remark, room(widths[a : b + 1]) - 1, 9.0) for (_, _, remark), (a, b) in zip(found, places))
    sheet.height(FIGURES_ROW + 2, height_of(lines, 9.0))
    for texts, (first, last) in zip(found, places):
        for down, (text, style) in enumerate(zip(texts, ("tile_label", "tile_figure", "tile_remark"))):
            sheet.merged_text(FIGURES_ROW + down, first, FIGURES_ROW + down, last, text, s(style))
    sheet.height(FIGURES_ROW + 3, 6)


def _stale(work: Work, sheet: Sheet, last: int) -> None:
    """Place of the line that says whether an edit made anything stale; its formula is written by
    :func:`write_review`."""
    s = work.styles
    sheet.merged_text(STALE_ROW, 0, STALE_ROW, last, "", s("small", "quiet", "wrap", "middle"))
    sheet.height(STALE_ROW, 24)
    sheet.height(STALE_ROW + 1, 6)


def _claimed(results):
    """Position and candidate that the lines for reviews are about: the one that the page speaks for, or the baseline
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
        The one that wrote the live sheets; it knows where the annual figures and the banner stand. None
        where the air handler never runs.
    """
    s, results, sheet = work.styles, work.results, work.sheets[GLANCE]
    position, c = _claimed(results)
    base = results.baseline
    number, first = position + 1, review_row(results)
    for k, (mark, text) in enumerate(
        (
            ("claimed", f"Option {number} as claimed: figures of the run"),
            (
                "as reviewed",
                f"Option {number} with the inputs now in this file" if pen is not None else "nothing runs: no formulas",
            ),
            ("ratio", "As reviewed, over claimed"),
        )
    ):
        sheet.height(first + k, 15)
        sheet.text(first + k, 0, mark, s("claim", "bold", "middle"))
        sheet.text(first + k, 1, text, s("claim", "middle"))
    if pen is None:
        sheet.text(
            STALE_ROW,
            0,
            "The air handler never runs, so there are no rows to compute and no formulas.",
            s("small", "quiet", "wrap", "middle"),
        )
    else:
        pen.formula(
            sheet,
            STALE_ROW,
            0,
            f'={pen.banner}&IF({pen.banner}="{NOTHING_EDITED}",""," {_ONLY_LIVE}")',
            NOTHING_EDITED,
            s("small", "quiet", "wrap", "middle"),
        )
        # An edit is told by words and their mark; the colour only helps to notice them.
        sheet.highlight(
            STALE_ROW,
            0,
            STALE_ROW,
            len(columns_of(work.results)) + 1,
            f'=$A${STALE_ROW + 1}<>"{NOTHING_EDITED}"',
            s("stale"),
        )
        letter = column_name(2 + sorted(work.candidate_sheets).index(position))
        live = lambda key: f"{quoted(LIVE_YEAR)}!{letter}{pen.places[key] + 1}"
    outlay, incentive = c.candidate.cost_usd, c.candidate.incentive_usd
    for place, (key, _, _, part) in enumerate(columns_of(work.results), 2):
        if part == "change":
            # Rounded far below what is shown: the last digits of a difference of nothing would show a sign.
            value, formula, style = round(c.annual[key] - base.annual[key], 6), f"ROUND(-{{saving.{key}}},6)", "signed"
        else:
            value, formula, style = {
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
            }.get(key, (None, "", "text"))
        if c.id == base.id and part != "change" and key != "cost_usd":
            value = None
        if value is None or pen is None:
            for k in range(len(REVIEW_LINES)):
                if k == 0 and value is not None:
                    sheet.number(first, place, value + 0.0, s("claim", style, "right", "middle"))
                else:
                    sheet.text(first + k, place, "–", s("claim", "centre", "middle"))
            continue
        at, now = (f"{column_name(place)}{first + 1 + k}" for k in range(2))
        look = s("claim", style, "right", "middle")
        sheet.number(first, place, value + 0.0, look)
        text = "=" + re.sub(r"\{([^}]*)\}", lambda m: live(m.group(1)), formula)
        pen.formula(sheet, first + 1, place, text, value + 0.0, look)
        least = _LEAST_FRAC if style == "signed_pct" else _LEAST
        text, ratio = f'=IF(AND(ISNUMBER({now}),ABS({at})>{least}),{now}/{at},"–")', 1.0 if abs(value) > least else "–"
        pen.formula(sheet, first + 2, place, text, ratio, s("claim", "f3", "bold", "right", "middle"))


def _table(work: Work, sheet: Sheet, columns, widths: list[float]) -> None:
    s, results = work.styles, work.results
    last, width = len(widths) - 1, widths[1]
    head = TABLE_HEAD_ROW
    base, now = results.baseline, today(results)
    for part, label in (
        ("change", "Change in a year: + more, − less"),
        ("money", "Energy cost"),
        ("once", "To get there"),
    ):
        places = [k for k, c in enumerate(columns, 2) if c[3] == part]
        label = label if len(places) > 2 else label.split(": ")[-1]
        sheet.merged_text(head, places[0], head, places[-1], label, s("step"))
    for place, text in ((0, ""), (1, "Options"), (last, "Service")):
        sheet.text(head, place, text, s("step"))
    sheet.height(head + 1, 40)
    for place, (label, unit) in enumerate(
        [
            ("Rank", ""),
            ("Option, numbered as on the other sheets (there: candidate)", ""),
            *((c[1], c[2]) for c in columns),
        ]
    ):
        sheet.text(head + 1, place, f"{label}\n{unit}" if unit else label, s("head_left" if place < 2 else "head"))
    steps = {key: use_step(results, key) for key, _, _, part in columns if part == "change"}
    usd = money_step(results)
    for row, c in enumerate(results.candidates, FIRST_ROW):
        tint = (
            ("best",)
            if c.rank == 1
            else ("base",)
            if c.id == base.id
            else ("flagged",)
            if c.equal_service.flagged
            else ()
        )
        marks = [
            word
            for word, true in (
                ("do nothing", now is not None and c.id == now.id),
                ("baseline", c.id == base.id),
                ("best value", results.advice is not None and results.advice.value.best_id == c.id),
                ("limit of control", is_limit_of_control(c.candidate)),
            )
            if true
        ]
        name = f"{row - FIRST_ROW + 1}  {c.name}" + (f"  ({', '.join(marks)})" if marks else "")
        sheet.height(row, max(16.5, height_of(lines_of(name, width, 10.0, bold=c.rank == 1), 10.0)))
        sheet.text(row, 0, standing(results, c), s("line", "large", "bold", *tint))
        sheet.text(row, 1, name, s("wrap", "middle", "line", "large", *tint))
        for place, (key, _, _, part) in enumerate(columns, 2):
            if part == "change":
                value: object = rounded(c.annual[key] - base.annual[key], steps[key])
                style = "signed"
            else:
                value, style = _money_cell(results, key, c, usd)
            pieces = ("centre",) if isinstance(value, str) else ("right",)
            sheet.cell(row, place, value, s("large", style, "line", *pieces, *tint))
    _bound_line(work, sheet, columns, FIRST_ROW + len(results.candidates), steps, usd)


def _bound_line(work: Work, sheet: Sheet, columns, row: int, steps, usd: float) -> None:
    """The limit of perfect resets as the last line of the table."""
    s, results = work.styles, work.results
    base, bound = results.baseline.annual, results.bound
    sheet.height(row, 17)
    sheet.text(row, 0, "◇ limit", s("total", "large"))
    sheet.text(row, 1, "Perfect resets: limit of setpoints alone", s("total", "large"))
    saved = base["cost_usd"] - bound["cost_usd"]
    cells = {
        "cost_usd": (rounded(bound["cost_usd"], usd), "usd_short"),
        "saving_usd": (rounded(saved, usd), "usd_signed"),
        "saving_frac": (saved / base["cost_usd"], "signed_pct") if base["cost_usd"] else ("–", "text"),
        "bound_share": (
            1.0 if any(results.share_of_bound(c.id) is not None for c in results.candidates) else "–",
            "pct0",
        ),
    }
    for place, (key, _, _, part) in enumerate(columns, 2):
        value, style = (
            (rounded(bound[key] - base[key], steps[key]), "signed")
            if part == "change"
            else cells.get(key, ("–", "text"))
        )
        sheet.cell(row, place, value, s("total", "large", style, "centre" if isinstance(value, str) else "right"))


def standing(results, c) -> str:
    """Mark of a candidate in the first column: words, not colour alone."""
    if c.kind == CHANGED_SERVICE:
        return "▲ changed"
    if c.rank is None:
        return "▲ not ranked"
    if c.rank == 1:
        return "★ BEST"
    return f"rank {c.rank}"


def _money_cell(results, key: str, c, usd: float) -> tuple[object, str]:
    base = results.baseline
    saving, cost = c.saving["cost_usd"], c.candidate.cost_usd
    if key == "cost_usd":
        return rounded(c.annual["cost_usd"], usd), "usd_short"
    if c.id == base.id:
        return "–", "text"
    if key == "service" and c.kind == CHANGED_SERVICE:
        return "▲ CHANGED", "text"
    if key == "service":
        as_good = "as now" if today(results) is base else "as baseline"
        return as_good if not c.equal_service.flagged else "▲ WORSE", "text"
    if key == "saving_usd":
        return rounded(saving, usd), "usd_signed"
    if key == "saving_oa_usd":
        return rounded(c.saving_at_equal_oa["cost_usd"], usd), "usd_signed"
    if key == "saving_frac":
        return (saving / base.annual["cost_usd"], "signed_pct") if base.annual["cost_usd"] else ("–", "text")
    if key == "bound_share":
        reached = results.share_of_bound(c.id)
        return (reached, "pct0") if reached is not None else ("–", "text")
    if key == "implementation":
        return (cost, "usd_short") if cost > 0.0 or c.candidate.incentive_usd > 0.0 else ("not given", "small")
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


def _remarks(work: Work, sheet: Sheet, row: int, last: int, width: float) -> int:
    """Why candidates are not ranked, what the limit is, units; returns the row after."""
    s, results = work.styles, work.results
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
    texts.append(bound_text(results))
    units = dict.fromkeys(unit for key, _, unit, _ in columns_of(work.results) if unit in _UNIT_WORDS)
    texts.append(
        "  ·  ".join(
            [
                "Rounded; in full on “Comparison”",
                *(_UNIT_WORDS[unit] for unit in units),
                "reheat: heat that warms cooled air again at the zones, a part of fuel, electric or purchased heat",
                "payback is simple, not discounted",
            ]
        )
        + "."
    )
    for text in texts:
        sheet.merged_text(row, 0, row, last, text, s("wrap", "quiet"))
        sheet.height(row, height_of(lines_of(text, width, 9.0), 9.0) - 1)
        row += 1
    sheet.height(row, 8)
    return row + 1


def _lower_half(work: Work, sheet: Sheet, row: int, widths: list[float]) -> int:
    """Charts side by side, and below them what it is worth, what can go wrong and how sure; returns the first row
    below."""
    if len(bins_of(work.results)) > 0:
        _charts(work, sheet, row, [pixels_of(w) for w in widths])
        # Rows without cells keep their height in every program only if it is given.
        for down in range(_CHART_ROWS):
            sheet.height(row + down, ROW_PIXELS * 0.75)
        row += _CHART_ROWS
    return _texts(work, sheet, row, widths)


def _texts(work: Work, sheet: Sheet, row: int, widths: list[float]) -> int:
    """Blocks of text in columns, in rows of standard height; returns the row after them."""
    s, results = work.styles, work.results
    blocks = [
        (label, lines)
        for label, lines in (
            ("What is worth its money, from cheap to dear", value_lines(results)),
            ("What can go wrong", risk_lines(results)),
            ("What the saving hangs on", driver_lines(results)),
            ("What holds the resets back", holdback_lines(results)),
            ("How sure, and what it rests on", sure_lines(results)),
        )
        if lines
    ]
    places = spans(widths, _TEXT_COLUMNS)
    rooms = [room(widths[first : last + 1]) - 1.5 for first, last in places]

    def rows_of(text: str, column: int) -> int:
        # Rows keep their height, as other texts stand beside: long ones take several.
        return ceil((height_of(lines_of(text, rooms[column], 9.0), 9.0) - 2.0) / (ROW_PIXELS * 0.75))

    heights = [
        [1 + sum(rows_of(text, column) for text in lines) for column in range(_TEXT_COLUMNS)] for _, lines in blocks
    ]
    # The first block starts the first column; the others go where the longest column stays shortest, in their order in
    # each.
    chosen = min(
        product(range(_TEXT_COLUMNS), repeat=len(blocks)),
        key=lambda at: (
            at[0],
            max(sum(heights[k][c] + 1 for k, c in enumerate(at) if c == column) for column in range(_TEXT_COLUMNS)),
            at,
        ),
    )
    bottom = row
    for column in range(_TEXT_COLUMNS):
        (first, last), at = places[column], row
        for label, lines in (block for block, where in zip(blocks, chosen, strict=True) if where == column):
            for place in range(first, last + 1):
                sheet.text(at, place, label if place == first else "", s("section", *(("inset",) if column else ())))
            at += 1
            for text in lines:
                rows = rows_of(text, column)
                sheet.merged_text(
                    at, first, at + rows - 1, last, text, s("wrap", "middle", *(("inset",) if column else ()))
                )
                at += rows
            bottom = max(bottom, at)
            at += 1
    return bottom


def _charts(work: Work, sheet: Sheet, row: int, pixels: list[int]) -> None:
    results = work.results
    width = sum(pixels)
    size = (width // 4 - 6, _CHART_ROWS * ROW_PIXELS - 8)
    edges = bins_of(results)
    bin_width = float(results.project.bins.width_f)
    x_range = (10.0 * (edges.min() // 10.0), 10.0 * -(-(edges.max() + bin_width) // 10.0))
    change = change_chart(work)
    style_chart(change, "Change of energy cost, USD a year (by option)", "", "", size=size, y_format=NUMBERS["signed"])
    flow = _flow_chart(work)
    style_chart(flow, "Running hours by airflow, % of design", "", "", size=size, y_format="#,##0")
    sat = lines_chart(work, "sat", "sat_f", SAME_SAT_F, lambda c: SAT_WORDS[c.candidate.sat.strategy])
    style_chart(
        sat,
        "Supply air by outdoor temperature, °F (options)",
        "",
        "",
        size=size,
        x_range=x_range,
        x_unit=10.0,
        y_format="0",
        y_range=_whole_fives(results, edges),
    )
    dsp = lines_chart(work, "dsp", "dsp_inwc", SAME_DSP_INWC, lambda c: DSP_WORDS[c.candidate.dsp.strategy])
    style_chart(
        dsp,
        "Duct pressure, in. of water, by outdoor °F (options)",
        "",
        "",
        size=size,
        x_range=x_range,
        x_unit=10.0,
        y_format="0.0",
        y_range=(0.0, None),
    )
    for k, chart in enumerate((change, flow, sat, dsp)):
        # Each starts at its quarter of the width, to the pixel.
        column, offset = place_at(pixels, k * width // 4)
        sheet.chart(row, column, chart, x_offset=offset)


def _flow_chart(work: Work):
    """Hours by airflow of the baseline and of what is compared with it: what the page speaks for, else the cheapest
    other candidate."""
    results = work.results
    table = work.blocks["flow_hours"]
    base = number_of(results, results.baseline_id)
    others = [c for c in results.candidates if c.id != results.baseline_id]
    shown = [(base, PETROL)]
    if others:
        c = advised(results)
        c = c if c is not None and c.id != results.baseline_id else min(others, key=lambda c: c.annual["cost_usd"])
        shown.append((number_of(results, c.id), LAGOON))
    chart = work.book.chart("column")
    for k, (number, colour) in enumerate(shown):
        _, categories, values = table.series(number - 1)
        chart.add_series(
            {
                "name": f"option {number}" + (" (baseline)" if k == 0 else ""),
                "categories": categories,
                "values": values,
                "gap": 40,
                "overlap": 0,
                **fill_of(colour, hatched=k > 0),
                "border": {"color": colour if k else INK, "width": 0.5},
            }
        )
    return chart


def _whole_fives(results, edges) -> tuple[float, float]:
    """Range of the supply temperature axis, on whole fives with some air. [degF]"""
    curves = np.concatenate([by_bin(results, results.candidates[k], "sat_f", edges) for k in sheet_candidates(results)])
    return 5.0 * np.floor((np.nanmin(curves) - 1.0) / 5.0), 5.0 * np.ceil((np.nanmax(curves) + 1.0) / 5.0)
