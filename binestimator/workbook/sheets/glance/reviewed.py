"""Lines for reviews: what was claimed, what the formulas give with the inputs now in the file, their ratio."""

from __future__ import annotations

import re

from ...addresses import column_name, quoted
from ...figures import (
    advised,
    number_of,
)
from ...layout import GLANCE, LIVE_YEAR, NOTHING_EDITED, sheet_candidates
from ...page import Work
from .columns import change_of, columns_of
from .places import REVIEW_LINES, STALE_ROW
from .remarks import review_row

# What the lines for reviews hold before there is something to review: a formula must carry a value.
NOT_YET = " "
_ONLY_LIVE = "On this page the lines “as reviewed” and “ratio” follow; all else stays the claim."
# A claim below this, in its unit, is the rounding of a difference of nothing: no ratio is formed with it.
_LEAST, _LEAST_FRAC = 0.001, 0.000001


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
