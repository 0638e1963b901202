"""Checks of the run: pass, explain or fail; bins against hours; findings."""

from __future__ import annotations

from ...results import ENERGY_KEYS
from ..figures import check_counts, share
from ..layout import END_USES
from ..page import Work, height_of, lines_of, title
from ..strict import Sheet

_WIDTHS = (36, 12, 33, 26, 62, 46)
_STATUS = {"pass": ("PASS", "good"), "explain": ("EXPLAIN", "explain"), "fail": ("FAIL", "bad")}
_LEVEL = {"info": ("note", "quiet"), "check": ("CHECK", "explain"), "caution": ("CAUTION", "bad")}


def write(work: Work, sheet: Sheet) -> None:
    """Write the sheet."""
    s, results = work.styles, work.results
    counts = check_counts(results)
    title(work, sheet, "Checks", f"{counts['pass']} pass, {counts['explain']} to explain, {counts['fail']} fail", link_column=len(_WIDTHS) - 1)
    sheet.text(2, 0, "PASS holds.  EXPLAIN lies outside what is published or usual; the text says what drives it.  FAIL must not happen: do not "
               "use the results.", s("small", "quiet"))
    sheet.widths(_WIDTHS)
    head = 4
    for place, text in enumerate(("Check", "Status", "Found", "Expected", "What it says", "Source")):
        sheet.text(head, place, text, s("head_left" if place != 1 else "head"))
    row = head + 1
    # What wants attention first.
    for check in sorted(results.checks, key=lambda k: ("fail", "explain", "pass").index(k.status)):
        word, style = _STATUS[check.status]
        texts = (check.name, word, check.value, check.expected, check.text, check.source)
        for place, text in enumerate(texts):
            pieces = (style, "line") if place == 1 else ("wrap", "line") + (("bold",) if place == 0 else ("small",))
            sheet.text(row, place, text, s(*pieces))
        sheet.height(row, height_of(max(lines_of(t, w, 8.0 if k else 9.0, bold=k == 0) for k, (t, w) in enumerate(zip(texts, _WIDTHS)))))
        row += 1
    row = _bins_against_hours(work, sheet, row + 1)
    row = _findings(work, sheet, row + 1)
    sheet.freeze(head + 1, 1)
    sheet.on_paper(footer=work.footer, last_row=row - 1, last_column=len(_WIDTHS) - 1, repeat_rows=(head, head))


def _section(work: Work, sheet: Sheet, row: int, text: str) -> int:
    sheet.height(row, 24)
    for place in range(len(_WIDTHS)):
        sheet.text(row, place, text if place == 0 else "", work.styles("section"))
    return row + 1


def _bins_against_hours(work: Work, sheet: Sheet, row: int) -> int:
    """One line per candidate and end use: both figures and their difference."""
    s, results = work.styles, work.results
    row = _section(work, sheet, row, "Bin rows against the same equations hour by hour")
    labels = {key: (label, unit) for key, label, unit in END_USES} | {"cost_usd": ("Energy cost", "USD"), "reheat_kbtu": ("Reheat", "kBtu")}
    for place, text in enumerate(("Candidate and end use", "Unit", "From the bin rows", "Hour by hour", "Difference, share of the hourly figure", "Classic bins (one mean row a bin): difference")):
        sheet.text(row, place, text, s("head_left" if place == 0 else "head"))
    row += 1
    for number, c in enumerate(results.candidates, 1):
        for key in (*ENERGY_KEYS, "reheat_kbtu", "cost_usd"):
            a, h = c.annual[key], c.hourly[key]
            if a == 0.0 and h == 0.0:
                continue
            label, unit = labels[key]
            kind = "subtotal" if key == "cost_usd" else "line"
            sheet.text(row, 0, f"{number} {c.name}: {label}", s(kind, "small"))
            sheet.text(row, 1, unit, s(kind, "small", "quiet", "centre"))
            sheet.number(row, 2, a, s("f1", kind, "small"))
            sheet.number(row, 3, h, s("f1", kind, "small"))
            sheet.cell(row, 4, share(a - h, h) if h else None, s("diff_pct", kind, "small", "centre"))
            sheet.cell(row, 5, share(c.classic[key] - h, h) if h else None, s("diff_pct", kind, "small", "centre"))
            row += 1
    return row


def _findings(work: Work, sheet: Sheet, row: int) -> int:
    s, results = work.styles, work.results
    row = _section(work, sheet, row, "Findings of the run")
    order = ("caution", "check", "info")
    for finding in sorted(results.findings, key=lambda f: order.index(f.level)):
        word, style = _LEVEL[finding.level]
        sheet.text(row, 0, finding.where, s("wrap", "line"))
        sheet.text(row, 1, word, s(style, "line", "centre"))
        sheet.merged_text(row, 2, row, len(_WIDTHS) - 1, finding.text, s("wrap", "line"))
        sheet.height(row, height_of(max(lines_of(finding.text, sum(_WIDTHS[2:])), lines_of(finding.where, _WIDTHS[0]))))
        row += 1
    return row
