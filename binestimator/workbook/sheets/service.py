"""What each candidate takes from the rooms, which zones are unmet or starved, and which hold the resets up."""

from __future__ import annotations

import numpy as np

from ...findings import baseline_failures
from ...results import AS_RUN, CHANGED_SERVICE
from ...service import rule_texts
from ..layout import ZONE_RESULT_COLUMNS
from ..page import Work, height_of, lines_of, title
from ..strict import Sheet
from . import requests

_WORST = (
    ("unmet_degree_hours", "Warmest beyond setpoint", "°F·h", "zone °F·h"),
    ("starved_hours", "Most starved", "h", "zone h"),
    ("cold_hours", "Most under-heated", "h", "zone h"),
    ("temperature_request_hours", "Asks most for colder air", "h", "zone h"),
    ("pressure_request_hours", "Asks most for pressure", "h", "zone h"),
)


# Rises over the baseline that are judged: figure, the zone it is of, heading, unit.
_RISES = (
    ("unmet_degree_hours_rise", "unmet_zone", "Too warm", "°F·h"),
    ("cold_degree_hours_rise", "cold_zone", "Too cold", "°F·h"),
    ("oa_short_cfmh_rise", "", "Outdoor air missing at the unit", "cfm·h"),
    ("zone_oa_short_cfmh_rise", "zone_oa_zone", "Outdoor air missing in a zone", "cfm·h"),
    ("dewpoint_degree_hours_rise", "", "Dew point above the limit", "°F·h"),
    ("start_miss_f_rise", "start_miss_zone", "Outside setpoints at the start", "°F, all days"),
    ("night_low_drop_f", "night_low_zone", "Colder night", "°F"),
    ("unserved_cooling_kbtu_rise", "", "Cooling not served", "kBtu"),
    ("unserved_heating_kbtu_rise", "", "Heat not served", "kBtu"),
)


#: Width of the column of options, in which a name and its number stay on one line in the table of zones.
OPTION_WIDTH = 34.0


def _verdict(results, c) -> tuple[str, str]:
    """Standing of a candidate in service, and the style of its cell."""
    if c.id == results.baseline_id:
        failed = ", ".join(results.baseline_service.fails).replace("_", " ")
        return (f"yardstick; fails in {failed}", "flagged") if failed else ("yardstick", "base")
    if c.kind == CHANGED_SERVICE:
        return "▲ changes the service", "flagged"
    if c.equal_service.flagged:
        return "▲ worse", "flagged"
    return ("equal", "text") if c.rank is not None else ("equal, not ranked", "text")


def _rises(work: Work, sheet: Sheet, row: int, last: int) -> int:
    """The limits in words, and every rise over the baseline beside what is allowed; returns the row after."""
    s, results = work.styles, work.results
    for word, said, do in baseline_failures(results.baseline_service):
        text = f"▲ The baseline fails in {word.replace('_', ' ')}: {said}; {do}.".replace("degF", "°F")
        sheet.merged_text(row, 0, row, last, text, s("wrap", "bold"))
        sheet.height(row, height_of(lines_of(text, 150.0, bold=True)))
        row += 1
    text = (
        "Equal service: "
        + "  ·  ".join(f"{head.lower()}: {said[0].lower()}{said[1:]}" for head, said in rule_texts(results.project))
        + "."
    )
    text += (
        " All are rises over the baseline, on its setpoints and its required outdoor air. Rooms are steady in the "
        "hour, so that warmth and cold are upper bounds; counts are shown and never judged."
    )
    sheet.merged_text(row, 0, row, last, text, s("wrap", "quiet"))
    sheet.height(row, height_of(lines_of(text, 150.0)))
    row += 2
    heads = ("Option", "Service", *(f"{label}, {unit}" for _, _, label, unit in _RISES))
    sheet.height(row, 42)
    for place, text in enumerate(heads):
        sheet.text(row, place, text, s("head_left" if place < 2 else "head"))
    row += 1
    for number, c in enumerate(results.candidates, 1):
        said, style = _verdict(results, c)
        sheet.text(row, 0, f"{number} {c.name}", s("wrap", "line", "bold"))
        sheet.text(row, 1, said, s("wrap", "line", style))
        lines = max(lines_of(f"{number} {c.name}", OPTION_WIDTH, bold=True), lines_of(said, 27))
        for place, (key, where, _, _) in enumerate(_RISES, 2):
            rise, limit = getattr(c.service, key), c.service.limits[key]
            digits = 1 if key == "night_low_drop_f" else 0
            at = f" {getattr(c.service, where)}" if where and rise > 0.0 else ""
            text = (
                "baseline"
                if c.id == results.baseline_id
                else "–"
                if abs(rise) < 0.5 * 10.0**-digits
                else f"{rise:+,.{digits}f} of {limit:,.{digits}f}{at}".replace("-", "−")
            )
            beyond = rise > limit + 1e-6
            sheet.text(
                row,
                place,
                ("▲ " if beyond else "") + text,
                s("wrap", "line", "small", *(("flagged",) if beyond else ())),
            )
            # Amounts are wider than running text.
            lines = max(lines, lines_of(text, 9.0, 8.0))
        sheet.height(row, height_of(lines))
        row += 1
    return row + 1


def worst_zone(table, key: str) -> tuple[str, float] | None:
    """Zone with the most of something; None when no zone has any."""
    values = table[key].to_numpy(dtype=float)
    if not len(values) or not values.max() > 0.0:
        return None
    at = int(np.argmax(values))
    return str(table["zone"].iloc[at]), float(values[at])


def write(work: Work, sheet: Sheet) -> None:
    """Write the sheet."""
    s, results = work.styles, work.results
    last = 3 + len(ZONE_RESULT_COLUMNS)
    title(
        work,
        sheet,
        "Zone service",
        "From the hour-by-hour run"
        + (
            "; rises over the baseline and standings from the runs at time steps. "
            if results.ranked_by == AS_RUN
            else ". "
        )
        + "A zone that asks in most hours is what holds a demand reset up; "
        "more than one zone may be ignored by input.",
        link_column=last,
    )
    sheet.widths([OPTION_WIDTH, 27, 15, 10, *(max(c.width, 11.5) for c in ZONE_RESULT_COLUMNS)])
    row = _rises(work, sheet, 3, last)
    for place, text in enumerate(("Option", *(label for _, label, _, _ in _WORST))):
        first, end = (0, 0) if place == 0 else (2 * place - 1, 2 * place)
        sheet.merged_text(row, first, row, end, text, s("head_left" if place == 0 else "head"))
    row += 1
    for number, c in enumerate(results.candidates, 1):
        hours = max(c.hourly["running_hours"], 1e-9)
        sheet.text(row, 0, f"{number} {c.name}", s("wrap", "line", "bold"))
        lines = lines_of(f"{number} {c.name}", OPTION_WIDTH, bold=True)
        for place, (key, _, unit, _) in enumerate(_WORST):
            found = worst_zone(c.zones, key)
            if found is None:
                text = "none"
            else:
                name, value = found
                text = f"{name}: {value:,.0f} {unit}"
                if key.endswith("request_hours"):
                    text += f" ({100 * value / hours:.0f} % of running)"
            sheet.merged_text(row, 2 * place + 1, row, 2 * place + 2, text, s("text_small", "line"))
            lines = max(lines, lines_of(text, 42 if place == 0 else 23, 8.0))
        sheet.height(row, height_of(lines))
        row += 1
    row = requests.write(work, sheet, row + 1, last)
    head = row
    sheet.height(head, 42)
    for place, text in enumerate(("Option", "Zone", "Group", "Zones alike", *(c.label for c in ZONE_RESULT_COLUMNS))):
        sheet.text(head, place, text, s("head_left" if place < 3 else "head"))
    units = ("", "", "", "no.", *(f"{c.unit} a zone" for c in ZONE_RESULT_COLUMNS))
    for place, text in enumerate(units):
        sheet.text(head + 1, place, text, s("units"))
    row = head + 2
    first = row
    text_style, number_style = s("line", "small"), s("f0", "line", "small")
    styles = [s(c.style, "line", "small") for c in ZONE_RESULT_COLUMNS]
    for number, c in enumerate(results.candidates, 1):
        table = c.zones
        label = f"{number} {c.name}"
        for at, (zone, group) in enumerate(zip(table["zone"], table["group"]), row):
            sheet.text(at, 0, label, text_style)
            sheet.text(at, 1, str(zone), text_style)
            sheet.text(at, 2, str(group), text_style)
        sheet.number_columns(row, 3, [table["multiplier"].to_numpy(dtype=float)], [number_style])
        sheet.number_columns(
            row, 4, [table[column.key].to_numpy(dtype=float) for column in ZONE_RESULT_COLUMNS], styles
        )
        row += len(table)
    # The header of the filter is the row of units, so that the line of units is never sorted away.
    sheet.filter(head + 1, 0, row - 1, last)
    sheet.freeze(3, 2)
    sheet.on_paper(
        footer=work.footer, last_row=row - 1, last_column=last, repeat_rows=(head, head + 1) if first else None
    )
