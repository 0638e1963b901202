"""Every input that stands once, with value, unit, range, origin, source and evidence."""

from __future__ import annotations

import re

from ...inputs.schema import title_of, value_text
from ..formats import ORIGINS
from ..layout import PROFILES, STRATEGIES, ZONES, input_name
from ..page import Work, height_of, lines_of, title
from ..strict import Sheet

HEADS = (("Input", 27), ("Value", 18), ("Unit", 9.5), ("Allowed", 12), ("", 3), ("Origin", 7.5), ("Where the value comes from", 31),
         ("Evidence", 17), ("What it is", 46), ("Key in the project file", 30))
VALUE_COLUMN = 1
_FIRST_ROW = 6

_ITEM = re.compile(r"^(special|group|zone|candidate)\[(.*)\]\.([^\]]+)$", re.DOTALL)


def split_path(path: str) -> tuple[str, str, str]:
    """Section, item and input of a path; the item is empty for inputs that stand once."""
    found = _ITEM.match(path)
    if found:
        return found.group(1), found.group(2), found.group(3)
    section, name = path.split(".", 1)
    return section, "", name


def effective(results) -> list[tuple]:
    """Inputs in reading order; sizes that the program found stand in for values not given."""
    rows = []
    for path, label, value, unit, low, high, origin, source, description, evidence in results.project.effective_rows():
        if value is None and path in results.sizes and results.sizes[path][2] == "sized":
            value, origin, source = results.sizes[path][0], "sized", "sized once from the as-found run, then held"
        rows.append((path, label, value, unit, low, high, origin, source, description, evidence))
    return rows


def value_cell(value) -> float | str:
    """A value as a cell holds it: numbers as numbers, the rest as text."""
    if isinstance(value, bool) or value is None or isinstance(value, (str, tuple)):
        if value is None:
            return "not given"
        if isinstance(value, tuple) and value and isinstance(value[0], tuple):
            return ", ".join(f"{x:g}: {y:g}" for x, y in value)
        if isinstance(value, tuple):
            return ", ".join(value_text(part) for part in value) if value else "none"
        return value if isinstance(value, str) else ("yes" if value else "no")
    return float(value)


def change_text(overrides) -> str:
    """Overrides of a candidate in one line: path and value."""
    parts = []
    for path, value in overrides.items():
        shown = "none" if value is None else value_cell(value)
        parts.append(f"{path} = {shown if isinstance(shown, str) else format(shown, 'g')}")
    return "; ".join(parts)


def number_style(value: float) -> str:
    """Number style that shows a value without false digits."""
    if float(value).is_integer():
        return "f0" if abs(value) >= 1000 else "general"
    size = abs(value)
    return "f0" if size >= 10000 else "f1" if size >= 100 else "f2" if size >= 10 else "f3" if size >= 0.001 else "general"


def range_text(low, high) -> str:
    """Allowed range in words."""
    if low is None:
        return ""
    return " to ".join(f"{end:,.0f}" if abs(end) >= 1000 else f"{end:g}" for end in (low, high))


def write(work: Work, sheet: Sheet) -> None:
    """Write the sheet."""
    s, results = work.styles, work.results
    title(work, sheet, "Inputs", "Everything the estimate rests on. Inputs of profile groups, zones and candidates stand on "
          f"“{PROFILES}”, “{ZONES}” and “{STRATEGIES}”.", link_column=len(HEADS) - 1)
    rows = effective(results)
    counts = {kind: sum(r[6] == kind for r in rows) for kind in ORIGINS}
    sheet.text(2, 0, "  ·  ".join(f"{ORIGINS[k][0]} {counts[k]:,} {ORIGINS[k][1]}" for k in ORIGINS)
               + f"   of {len(rows):,} inputs in all", s("bold"))
    sheet.text(3, 0, "  ·  ".join(f"{mark} {meaning}" for mark, _, meaning in ORIGINS.values()), s("small", "quiet"))
    head = _FIRST_ROW - 1
    for place, (label, _) in enumerate(HEADS):
        sheet.text(head, place, label, s("head_left"))
    sheet.widths(width for _, width in HEADS)
    row, section = _FIRST_ROW, None
    for path, label, value, unit, low, high, origin, source, description, evidence in rows:
        this, item, _ = split_path(path)
        if item or this in ("special", "group", "zone", "candidate"):
            continue
        if this != section:
            section = this
            sheet.height(row, 22)
            for place in range(len(HEADS)):
                sheet.text(row, place, title_of(section) if place == 0 else "", s("section"))
            row += 1
        _line(work, sheet, row, label, value, unit, low, high, origin, source, description, evidence, path)
        work.book.define_name(input_name(path), sheet.name, row, VALUE_COLUMN)
        row += 1
    sheet.freeze(_FIRST_ROW, 1)
    # The keys are for the screen: paper is kept for what people read.
    sheet.on_paper(footer=work.footer, last_row=row - 1, last_column=len(HEADS) - 2, repeat_rows=(head, head))


def _line(work: Work, sheet: Sheet, row: int, label, value, unit, low, high, origin, source, description, evidence, path) -> None:
    s = work.styles
    mark, word, _ = ORIGINS[origin]
    shown = value_cell(value)
    style = s("line", "top", "left", "text_small", origin) if isinstance(shown, str) else s(
        number_style(shown), "line", "top", "left", origin)
    texts = (label, shown, unit.replace("degF", "°F"), range_text(low, high), mark, word, source, evidence, description, path)
    lines = 1
    for place, text in enumerate(texts):
        if place == VALUE_COLUMN:
            sheet.cell(row, place, shown, style)
        else:
            pieces = ("text_small", "line") if place not in (0, 4) else ("wrap", "line") + (("centre",) if place == 4 else ("bold",))
            sheet.text(row, place, text, s(*pieces, *(("quiet",) if place in (3, 9) else ())))
        if isinstance(text, str):
            lines = max(lines, lines_of(text, HEADS[place][1], 8.0) if place else lines_of(text, HEADS[0][1], bold=True))
    sheet.height(row, height_of(lines, 8.2))
