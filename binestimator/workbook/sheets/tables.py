"""Inputs of things that come in numbers: profile groups and special zones, zones, candidates.

Numbers carry the mark of their origin behind them; texts carry it in the cell.
"""

from __future__ import annotations

from ...inputs.schema import fields_of, title_of
from ..figures import DSP_WORDS, SAT_WORDS
from ..formats import ORIGINS
from ..page import Work, height_of, lines_of, title
from ..strict import Sheet
from .inputs import change_text, effective, number_style, range_text, split_path, value_cell

_LABEL_WIDTH, _UNIT_WIDTH, _RANGE_WIDTH, _SOURCE_WIDTH = 30, 13, 15, 52


def collect(results, section: str) -> tuple[list[str], dict[str, dict[str, tuple]]]:
    """Items of a section in order, and input -> item -> row of ``effective``."""
    items: list[str] = []
    inputs: dict[str, dict[str, tuple]] = {}
    for row in effective(results):
        this, item, name = split_path(row[0])
        if this != section:
            continue
        if item not in items:
            items.append(item)
        inputs.setdefault(name, {})[item] = row
    return items, inputs


def marked_cell(work: Work, sheet: Sheet, row: int, column: int, value, origin: str, *pieces: str) -> str:
    """A value with the mark of its origin; returns the text it takes, for heights."""
    s = work.styles
    mark = ORIGINS[origin][0]
    shown = "–" if value is None else value_cell(value)
    if isinstance(shown, str):
        text = f"{shown} {mark}"
        sheet.text(row, column, text, s("text_small", "line", "right", origin, *pieces))
        return text
    sheet.number(row, column, shown, s(number_style(shown), "line", "right", origin, *pieces, mark=mark))
    return ""


def legend(work: Work, sheet: Sheet, row: int) -> None:
    """What the marks mean."""
    text = "  ·  ".join(f"{mark} {word}" for mark, word, _ in ORIGINS.values())
    sheet.text(row, 0, "Marks behind values: " + text, work.styles("small", "quiet"))


def side_by_side(work: Work, sheet: Sheet, row: int, section: str, heads: list[str], items: list[str],
                 inputs: dict[str, dict[str, tuple]], width: float, across: int) -> int:
    """Inputs down, items across, sources after ``across`` items; returns the row after the table."""
    s = work.styles
    row = _head(work, sheet, row, title_of(section), heads, width, across)
    last = across
    part = ""
    for name, cells in inputs.items():
        this_part = name.split(".")[0] if "." in name else ""
        if this_part != part:
            part = this_part
            words = {"sat": "Supply air temperature", "dsp": "Duct static pressure"}[part]
            for place in range(last + 4):
                sheet.text(row, place, words if place == 0 else "", s("section"))
            row += 1
        any_row = next(iter(cells.values()))
        unit, low, high = any_row[3], any_row[4], any_row[5]
        sheet.text(row, 0, any_row[1], s("wrap", "line", "bold"))
        sheet.text(row, 1, unit.replace("degF", "°F"), s("text_small", "line"))
        sheet.text(row, 2, range_text(low, high), s("text_small", "line", "quiet"))
        lines = 1
        for place, item in enumerate(items, 3):
            found = cells.get(item)
            if found is None:
                sheet.text(row, place, "", s("line", "top"))
            else:
                value = found[2]
                if name.endswith(".strategy"):
                    value = (SAT_WORDS if name.startswith("sat") else DSP_WORDS)[value]
                lines = max(lines, lines_of(marked_cell(work, sheet, row, place, value, found[6], "top"), width, 8.0))
        sources = dict.fromkeys(r[7] for r in cells.values() if r[7] and r[7] != "given")
        evidence = [f"{item}: {r[9]}" for item, r in cells.items() if r[9]]
        text = "; ".join([*sources, *(["Evidence: " + "; ".join(evidence)] if evidence else [])])
        for place in range(len(items) + 3, last + 3):
            sheet.text(row, place, "", s("line"))
        sheet.text(row, last + 3, text, s("text_small", "line"))
        lines = max(lines, lines_of(text, _SOURCE_WIDTH, 8.0), lines_of(any_row[1], _LABEL_WIDTH, bold=True), lines_of(unit, _UNIT_WIDTH, 8.0))
        sheet.height(row, height_of(lines, 8.2))
        row += 1
    return row


def _head(work: Work, sheet: Sheet, row: int, label: str, heads: list[str], width: float, across: int) -> int:
    s = work.styles
    titles = [label, "Unit", "Allowed", *heads, *[""] * (across - len(heads)), "Source of defaults and derived values; evidence"]
    lines = 1
    for place, text in enumerate(titles):
        sheet.text(row, place, text, s("head_left" if place < 3 or place == len(titles) - 1 else "head"))
        if 3 <= place < len(titles) - 1:
            lines = max(lines, lines_of(text, width, bold=True))
    sheet.height(row, height_of(lines))
    return row + 1


def write_profiles(work: Work, sheet: Sheet) -> None:
    """Profile groups, and special zones of the quick description."""
    title(work, sheet, "Profile groups", "Hours, gains, setpoints and minimums that zones share by their group", link_column=None)
    legend(work, sheet, 2)
    row, width = 4, 17.0
    parts = {section: collect(work.results, section) for section in ("group", "special")}
    most = max(len(items) for items, _ in parts.values())
    for section, (items, inputs) in parts.items():
        if not items:
            continue
        inputs.pop("name")
        row = side_by_side(work, sheet, row, section, items, items, inputs, width, most) + 1
    _widths(sheet, most, width)
    sheet.freeze(4, 1)
    sheet.on_paper(footer=work.footer, last_row=row - 1, last_column=most + 3, repeat_columns=(0, 0),
                   pages_wide=1 + most // 8)


def _widths(sheet: Sheet, items: int, width: float) -> None:
    sheet.widths([_LABEL_WIDTH, _UNIT_WIDTH, _RANGE_WIDTH, *[width] * items, _SOURCE_WIDTH])


def write_strategies(work: Work, sheet: Sheet) -> None:
    """Parameters of every candidate side by side, and its overrides."""
    s, results = work.styles, work.results
    items, inputs = collect(results, "candidate")
    title(work, sheet, "Strategies", "Only parameters that a strategy uses are shown; – means not given", link_column=len(items) + 3)
    legend(work, sheet, 2)
    inputs.pop("name", None)
    order = {name: place for place, name in enumerate(
        [*fields_of("candidate"), *(f"{part}.{name}" for part in ("sat", "dsp") for name in fields_of(part))])}
    inputs = dict(sorted(inputs.items(), key=lambda item: order[item[0]]))
    width = 16.0
    heads = [f"{k} {c.name}" for k, c in enumerate(results.candidates, 1)]
    row = side_by_side(work, sheet, 4, "candidate", heads, items, inputs, width, len(items)) + 1
    changed = [(k, c) for k, c in enumerate(results.candidates, 1) if c.candidate.overrides]
    if changed:
        sheet.text(row, 0, "What candidates change besides their setpoints", s("section"))
        for place in range(1, len(items) + 4):
            sheet.text(row, place, "", s("section"))
        row += 1
        for k, c in changed:
            for path, value in c.candidate.overrides.items():
                sheet.text(row, 0, f"{k} {c.name}", s("top"))
                sheet.text(row, 3, f"{c.candidate.kind}:  {change_text({path: value})}", s("top"))
                row += 1
    _widths(sheet, len(items), width)
    sheet.freeze(5, 1)
    sheet.on_paper(footer=work.footer, last_row=row, last_column=len(items) + 3, repeat_rows=(4, 4), repeat_columns=(0, 0),
                   pages_wide=1 + len(items) // 14, letter=len(items) <= 6)


def write_zones(work: Work, sheet: Sheet) -> None:
    """One line a zone."""
    s, results = work.styles, work.results
    items, inputs = collect(results, "zone")
    names = [name for name in inputs if name != "name"]
    title(work, sheet, "Zone schedule", f"{len(items)} zone lines stand for {sum(z.multiplier for z in results.project.zones):,} zones",
          link_column=len(names))
    legend(work, sheet, 2)
    head, unit_row, range_row, first = 4, 5, 6, 7
    sheet.height(head, 62)
    sheet.height(range_row, 24)
    sheet.text(head, 0, "Zone", s("head_left"))
    sheet.text(unit_row, 0, "unit", s("units"))
    sheet.text(range_row, 0, "allowed", s("units"))
    widths = [26.0]
    for place, name in enumerate(names, 1):
        any_row = next(iter(inputs[name].values()))
        sheet.text(head, place, any_row[1], s("head"))
        sheet.text(unit_row, place, any_row[3].replace("degF", "°F"), s("units"))
        sheet.text(range_row, place, range_text(any_row[4], any_row[5]), s("units"))
        values = [value_cell(r[2]) for r in inputs[name].values()]
        longest = max((len(v) for v in values if isinstance(v, str)), default=0)
        word = max(len(part) for part in any_row[1].split())
        widths.append(min(max(9.0, longest * 0.85 + 2.5, word * 1.05 + 0.8), 18.0))
    for row, item in enumerate(items, first):
        sheet.text(row, 0, item, s("wrap", "line", "bold"))
        lines = lines_of(item, widths[0], bold=True)
        for place, name in enumerate(names, 1):
            cell = inputs[name][item]
            lines = max(lines, lines_of(marked_cell(work, sheet, row, place, cell[2], cell[6], "top"), widths[place], 8.0))
        sheet.height(row, height_of(lines, 8.2))
    row = first + len(items)
    evidence = [(item, r[1], r[9]) for name in names for item, r in inputs[name].items() if r[9]]
    if evidence:
        row += 1
        sheet.text(row, 0, "Evidence", s("section"))
        for item, label, text in evidence:
            row += 1
            sheet.text(row, 0, item, s("top"))
            sheet.text(row, 1, f"{label}: {text}", s("top"))
        row += 1
    row += 1
    sheet.text(row, 0, "Sources of defaults and derived values", s("section"))
    for name in names:
        sources = dict.fromkeys(r[7] for r in inputs[name].values() if r[7] and r[7] != "given")
        if sources:
            row += 1
            sheet.text(row, 0, next(iter(inputs[name].values()))[1], s("small", "top"))
            sheet.text(row, 1, "; ".join(sources), s("small", "top"))
    sheet.widths(widths)
    sheet.freeze(first, 1)
    sheet.on_paper(footer=work.footer, last_row=row, last_column=len(names), repeat_rows=(head, range_row),
                   repeat_columns=(0, 0), letter=False)
