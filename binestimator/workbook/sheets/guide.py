"""How to read the file: sheets with links, marks, signs, words."""

from __future__ import annotations

from ...service import rule_texts
from ..formats import ORIGINS
from ..layout import CANDIDATE_CONTENTS, CONTENTS, GUIDE, live_contents
from ..page import Work, height_of, lines_of, section, title
from ..strict import Sheet
from ..texts import GLOSSARY, HOW_TO_READ, KINDS

_WIDTHS = (34, 92)


def write(work: Work, sheet: Sheet) -> None:
    """Write the sheet."""
    s, results = work.styles, work.results
    title(work, sheet, "Guide", f"{results.project.info.name}  ·  run {results.run_id}")
    sheet.widths(_WIDTHS)
    row = section(work, sheet, 3, "How to read this file", len(_WIDTHS))
    for text in HOW_TO_READ:
        sheet.merged_text(row, 0, row, 1, text, s("wrap", "line"))
        sheet.height(row, height_of(lines_of(text, sum(_WIDTHS))))
        row += 1
    row = section(work, sheet, row + 1, "Sheets", len(_WIDTHS))
    candidates = {
        name: f"{results.candidates[position].name}: {CANDIDATE_CONTENTS}"
        for position, name in work.candidate_sheets.items()
    }
    for name in work.sheets:
        if name != GUIDE:
            row = _link(work, sheet, row, name, candidates.get(name) or CONTENTS.get(name) or live_contents(name))
    without = [f"{k + 1} {c.name}" for k, c in enumerate(results.candidates) if k not in work.candidate_sheets]
    if without:
        row = _pair(work, sheet, row, "No sheet of their own", "Figures only, on “Comparison”: " + "; ".join(without))
    row = section(
        work,
        sheet,
        row + 1,
        "Kinds of cells; each has a word or a mark, so that print in grey reads the same",
        len(_WIDTHS),
    )
    for kind, (mark, word, meaning) in ORIGINS.items():
        sheet.text(row, 0, f"{mark} {word}", s("line", kind))
        sheet.text(row, 1, meaning, s("line"))
        row += 1
    for word, style, meaning in KINDS:
        sheet.text(row, 0, word, s(style, "line", "left"))
        sheet.text(row, 1, meaning, s("line"))
        row += 1
    row = section(
        work,
        sheet,
        row + 1,
        "Equal service: how much more an option may take from the rooms than the baseline does, and still be ranked",
        len(_WIDTHS),
    )
    for head, said in rule_texts(results.project):
        row = _pair(work, sheet, row, head, said)
    row = section(work, sheet, row + 1, "Words", len(_WIDTHS))
    for word, meaning in GLOSSARY:
        row = _pair(work, sheet, row, word, meaning)
    sheet.on_paper(footer=work.footer, last_row=row - 1, last_column=1)


def _pair(work: Work, sheet: Sheet, row: int, label: str, text: str) -> int:
    sheet.text(row, 0, label, work.styles("wrap", "line", "bold"))
    sheet.text(row, 1, text, work.styles("wrap", "line"))
    sheet.height(row, height_of(lines_of(text, _WIDTHS[1])))
    return row + 1


def _link(work: Work, sheet: Sheet, row: int, name: str, text: str) -> int:
    sheet.internal_link(row, 0, name, name, work.styles("link", "line"))
    sheet.text(row, 1, text, work.styles("line"))
    return row + 1
