"""Where a reset can hurt someone or something, and what the estimate does not know."""

from __future__ import annotations

from ..charts import FULL_SIZE_PIXELS, pixels_of, room
from ..figures import plain_words, with_numbers
from ..page import Work, height_of, lines_of, section, title
from ..strict import CHARACTER_PIXELS, PADDING_PIXELS, Sheet
from ..texts import CAUTIONS, DEFERENCE, NOT_MODELLED, WEATHER_CAVEATS

_LABEL_WIDTH = 27.0
_WIDTHS = (_LABEL_WIDTH, (FULL_SIZE_PIXELS - pixels_of(_LABEL_WIDTH) - PADDING_PIXELS) / CHARACTER_PIXELS)
# Places of findings that need another word here.
_PLACES = {"summary": "ranking"}


def write(work: Work, sheet: Sheet) -> None:
    """Write the sheet."""
    results = work.results
    title(work, sheet, "Cautions", "Read before anything is changed on site", link_column=None)
    sheet.widths(_WIDTHS)
    row = _wide(work, sheet, 3, DEFERENCE, "caution", "bold")
    found = [f for f in results.findings if f.level == "caution"]
    if found:
        row = section(work, sheet, row + 1, "Found in this run", len(_WIDTHS))
        for finding in found:
            where = _PLACES.get(finding.where, finding.where)
            said = plain_words(with_numbers(results, finding.text, [c.id for c in results.candidates]))
            row = _pair(work, sheet, row, f"▲ {where[:1].upper()}{where[1:]}", said)
    row = section(work, sheet, row + 1, "Always", len(_WIDTHS))
    for label, text in CAUTIONS:
        row = _pair(work, sheet, row, "▲ " + label, text)
    row = section(work, sheet, row + 1, "Not modelled", len(_WIDTHS))
    for text in NOT_MODELLED:
        row = _wide(work, sheet, row, "–  " + text, "line")
    row = section(work, sheet, row + 1, "What the weather file cannot tell", len(_WIDTHS))
    for text in WEATHER_CAVEATS:
        row = _wide(work, sheet, row, "–  " + text, "line")
    sheet.on_paper(footer=work.footer, last_row=row - 1, last_column=1)


def _pair(work: Work, sheet: Sheet, row: int, label: str, text: str) -> int:
    sheet.text(row, 0, label, work.styles("wrap", "line", "bold"))
    sheet.text(row, 1, text, work.styles("wrap", "line"))
    sheet.height(row, height_of(max(lines_of(text, _WIDTHS[1]), lines_of(label, _WIDTHS[0], bold=True))))
    return row + 1


def _wide(work: Work, sheet: Sheet, row: int, text: str, *pieces: str) -> int:
    sheet.merged_text(row, 0, row, 1, text, work.styles("wrap", *pieces))
    sheet.height(row, height_of(lines_of(text, room(_WIDTHS), bold="bold" in pieces)))
    return row + 1
