"""Where a reset can hurt someone or something, and what the estimate does not know: a page in two columns."""

from __future__ import annotations

from ..charts import FULL_SIZE_PIXELS, FULL_SIZE_POINTS, room
from ..figures import plain_words, with_numbers
from ..page import Work, height_of, lines_of, title
from ..strict import CHARACTER_PIXELS, PADDING_PIXELS, Sheet
from ..texts import CAUTIONS, DEFERENCE, NOT_MODELLED, WEATHER_CAVEATS

# Two columns of text with a gap between them. [characters]
_GAP_WIDTH = 1.5
_TEXT_WIDTH = (FULL_SIZE_PIXELS / CHARACTER_PIXELS - _GAP_WIDTH) / 2 - 1.5 * PADDING_PIXELS / CHARACTER_PIXELS
_WIDTHS = (_TEXT_WIDTH, _GAP_WIDTH, _TEXT_WIDTH)
_COLUMNS = (0, 2)
# Least and largest height of a line of text; a heading takes two lines. [points]
_LINE_POINTS, _WIDEST_LINE_POINTS = 11.25, 13.0
_HEADING_LINES = 2
# Places of findings that need another word here.
_PLACES = {"summary": "ranking"}


def write(work: Work, sheet: Sheet) -> None:
    """Write the sheet."""
    s = work.styles
    title(work, sheet, "Cautions", "Read before anything is changed on site", link_column=None)
    sheet.widths(_WIDTHS)
    sheet.height(2, 4)
    sheet.merged_text(3, 0, 3, _COLUMNS[-1], DEFERENCE, s("wrap", "caution", "bold"))
    sheet.height(3, height_of(lines_of(DEFERENCE, room(_WIDTHS), bold=True)))
    sheet.height(4, 4)
    left = FULL_SIZE_POINTS - sheet.points(0, 4) - 4.0
    parts, below = _parts(work), []
    columns = _in_two(_items(parts))
    if _lines(columns) * _LINE_POINTS > left:
        below = [parts[-1]]
        note = f"{below[0][0]}: in the file below this page, not on paper."
        columns = _in_two([*_items(parts[:-1]), (note, False, lines_of(note, _TEXT_WIDTH - 0.5))])
    row = _write_columns(work, sheet, 5, columns, left)
    sheet.on_paper(footer=work.footer, last_row=row - 1, last_column=_COLUMNS[-1])
    if below:
        _write_columns(work, sheet, row + 1, (_items(below), []), 0.0)


def _lines(columns) -> int:
    """Lines of the longer column."""
    return max(sum(lines for *_, lines in column) for column in columns)


def _write_columns(work: Work, sheet: Sheet, first: int, columns, points: float) -> int:
    """Columns side by side, spread over so many points of height; returns the row after them."""
    s, count = work.styles, _lines(columns)
    for row in range(first, first + count):
        sheet.height(row, max(min(points / count, _WIDEST_LINE_POINTS), _LINE_POINTS))
    for place, column in zip(_COLUMNS, columns, strict=True):
        row = first
        for text, heading, lines in column:
            style = s("section") if heading else s("wrap", "line")
            sheet.merged_text(row, place, row + lines - 1, place, text, style)
            row += lines
    return first + count


def _parts(work: Work) -> list[tuple[str, list[str]]]:
    """Headings with their texts, in order; what a reader can do without on paper comes last."""
    results = work.results
    found = []
    for finding in results.findings:
        if finding.level == "caution":
            where = _PLACES.get(finding.where, finding.where)
            said = plain_words(with_numbers(results, finding.text, [c.id for c in results.candidates]))
            found.append(f"▲ {where[:1].upper()}{where[1:]}: {said}")
    return [
        *([("Found in this run", found)] if found else []),
        ("Always", [f"▲ {label}: {text}" for label, text in CAUTIONS]),
        ("Not modelled", [f"–  {text}" for text in NOT_MODELLED]),
        ("What the weather file cannot tell", [f"–  {text}" for text in WEATHER_CAVEATS]),
    ]


def _items(parts) -> list[tuple[str, bool, int]]:
    """Headings and texts in order: text, whether it is a heading, lines that it takes."""
    items = []
    for heading, texts in parts:
        items.append((heading, True, _HEADING_LINES))
        items += [(text, False, lines_of(text, _TEXT_WIDTH - 0.5)) for text in texts]
    return items


def _in_two(items: list[tuple[str, bool, int]]) -> tuple[list, list]:
    """The items in two columns as even as can be, none of which ends with a heading."""
    longest = lambda cut: max(sum(lines for *_, lines in part) for part in (items[:cut], items[cut:]))
    cut = min((k for k in range(1, len(items)) if not items[k - 1][1]), key=longest)
    return items[:cut], items[cut:]
