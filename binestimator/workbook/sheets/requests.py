"""Which zones drive resets by demand, and what the options save after their repair or exclusion: blocks of a sheet."""

from __future__ import annotations

from ...advice.rogue import REPAIR, driving_zones
from ..formats import money_words
from ..page import Work, height_of, lines_of
from ..strict import Sheet

#: Zones shown of each reset of an option, of those that are rogue or have as many requests; the results file has all.
_MOST, _LEAST_PCT = 3, 1.0
# Characters of the columns of options and of zones, a little less than their width.
_OPTION_WIDTH, _ZONE_WIDTH = 31, 25
_PARTS = {"sat": "supply air", "dsp": "duct static"}
_DRIVING = (
    ("Requests, % of running hours", "f0"),
    ("Alarm stands, h", "f0"),
    ("Holds the setpoint alone, % of running hours", "f0"),
    ("Asks as run, h", "f0"),
)
_AFTER = (
    "Saving as found, USD",
    "Saving afterwards, USD",
    "More by it, USD",
    "Repair alone, USD",
    "Reset afterwards, USD",
)


def kind_words(kind: str) -> str:
    """What is wrong with a zone, in words."""
    return kind.replace("_", " ") if kind else "–"


def write(work: Work, sheet: Sheet, row: int, last: int) -> int:
    """Both blocks from a row on; returns the row after."""
    row = _driving(work, sheet, row, last)
    return _after(work, sheet, row, last)


def _driving(work: Work, sheet: Sheet, row: int, last: int) -> int:
    results, s = work.results, work.styles
    listening = [(n, c) for n, c in enumerate(results.candidates, 1) if c.pinned_hours]
    if not listening:
        return row
    rules = results.project.rogue_zones
    text = (
        "Zones that drive resets by demand. Requests are requests times hours of one zone of a line, over running "
        f"hours; the alarm stands above {rules.alarm_request_pct:g} % after {rules.alarm_run_hours:g} h, counted anew "
        f"every {rules.alarm_reset_hours:g} h, unless importance is 0 (Guideline 36). A zone holds the setpoint alone "
        f"where it would be elsewhere by more than {rules.sat_step_f:g} °F or {rules.dsp_step_inwc:g} in. w.c. without "
        "it."
    )
    sheet.merged_text(row, 0, row, last, text, s("wrap", "quiet"))
    sheet.height(row, height_of(lines_of(text, 150.0)))
    row += 1
    heads = ("Option", "Zone", "What is wrong with it", "Zones alike", "Reset", *(label for label, _ in _DRIVING))
    shown = len(_DRIVING) - (results.as_run is None)
    sheet.height(row, 54)
    for place, label in enumerate(heads[: 5 + shown]):
        sheet.text(row, place, label, s("head_left" if place < 3 else "head"))
    row += 1
    any_shown = False
    for number, c in listening:
        hours = max(c.hourly["running_hours"], 1e-9)
        found = driving_zones(results, c)
        for part in c.pinned_hours:
            for d in [d for d in found if d.part == part and (d.kind or d.request_pct >= _LEAST_PCT)][:_MOST]:
                name = f"{number} {c.name}"
                sheet.text(row, 0, name, s("text_small", "line"))
                sheet.text(row, 1, d.zone, s("text_small", "line"))
                style = ("flagged",) if d.kind else ()
                sheet.text(row, 2, kind_words(d.kind), s("text_small", "line", *style))
                sheet.number(row, 3, float(d.alike), s("f0", "line", "small", "centre"))
                sheet.text(row, 4, _PARTS[part], s("line", "small"))
                values = (d.request_pct, d.alarm_hours, 100.0 * d.pinned_hours / hours, d.as_run_hours)
                for place, (value, (_, code)) in enumerate(zip(values, _DRIVING, strict=True), 5):
                    if value is not None:
                        sheet.number(row, place, value, s(code, "line", "small"))
                lines = max(lines_of(name, _OPTION_WIDTH, 8.0), lines_of(d.zone, _ZONE_WIDTH, 8.0))
                sheet.height(row, height_of(lines))
                row += 1
                any_shown = True
    if not any_shown:
        sheet.text(row, 0, "None asks for 1 % of the hours or more.", s("line", "small"))
        row += 1
    return row + 1


def _after(work: Work, sheet: Sheet, row: int, last: int) -> int:
    results, s = work.results, work.styles
    found = () if results.advice is None else results.advice.after_repairs
    if not found:
        return row
    text = (
        "Resets that zones hold up, as found and after the repair of these zones or with them left out (importance 0), "
        "on the rows of the run. Options are ranked as found. What a repair saves by itself, at the baseline’s "
        "setpoints, and what the reset saves afterwards stand apart: a repair is no saving of a reset."
    )
    sheet.merged_text(row, 0, row, last, text, s("wrap", "quiet"))
    sheet.height(row, height_of(lines_of(text, 150.0)))
    row += 1
    sheet.height(row, 42)
    for place, label in enumerate(("Option", "Zones", "Way", "", *map(money_words, _AFTER))):
        sheet.text(row, place, label, s("head_left" if place < 3 else "head"))
    sheet.merged_text(row, 4 + len(_AFTER), row, last, "Service", s("head_left"))
    row += 1
    number_of = {c.id: n for n, c in enumerate(results.candidates, 1)}
    for a in found:
        name = f"{number_of[a.candidate_id]} {results[a.candidate_id].name}"
        zones = ", ".join(
            zone + (f" ({kind_words(kind)})" if kind else "") for zone, kind in zip(a.zones, a.kinds, strict=True)
        )
        said = (
            "equal" if a.serves else "▲ worse: " + "; ".join(a.reasons).replace("degF.h", "°F·h").replace("degF", "°F")
        )
        sheet.text(row, 0, name, s("text_small", "line"))
        sheet.text(row, 1, zones, s("text_small", "line"))
        sheet.text(row, 2, "repaired" if a.way == REPAIR else "left out", s("line", "small"))
        sheet.blank(row, 3, s("line"))
        for place, usd in enumerate((a.saving_usd, a.after_usd, a.value_usd, a.repair_usd, a.reset_usd), 4):
            sheet.number(row, place, usd, s("usd", "line", "small"))
        style = s("text_small", "line", "inset", *(() if a.serves else ("flagged",)))
        sheet.merged_text(row, 4 + len(_AFTER), row, last, said, style)
        width = 11.5 * (last - 3 - len(_AFTER))
        lines = max(lines_of(name, _OPTION_WIDTH, 8.0), lines_of(zones, _ZONE_WIDTH, 8.0), lines_of(said, width, 8.0))
        sheet.height(row, height_of(lines))
        row += 1
    return row + 1
