"""Where equations and figures come from, and how each was seen."""

from __future__ import annotations

from ..page import Work, height_of, lines_of, title
from ..strict import Sheet
from ..texts import SEEN, SOURCES

_WIDTHS = (50, 20, 72, 26)


def write(work: Work, sheet: Sheet) -> None:
    """Write the sheet."""
    s, results = work.styles, work.results
    title(
        work,
        sheet,
        "Sources",
        "Documents are named, not quoted. Sources of single inputs are beside them on the sheets of inputs.",
    )
    sheet.widths(_WIDTHS)
    head = 3
    for place, text in enumerate(("Document", "Where in it", "Used for", "How it was seen")):
        sheet.text(head, place, text, s("head_left"))
    row = head + 1
    weather = results.weather
    own = (
        f"Weather file {weather.file_name}",
        weather.format,
        f"{weather.name}, station {weather.station}; SHA-256 {weather.sha256}",
        "read by the program",
    )
    for line in (own, *((document, where, use, SEEN[how]) for document, where, use, how in SOURCES)):
        for place, text in enumerate(line):
            sheet.text(row, place, text, s("wrap", "line", *(("bold",) if place == 0 else ())))
        sheet.height(row, height_of(max(lines_of(t, w, bold=k == 0) for k, (t, w) in enumerate(zip(line, _WIDTHS)))))
        row += 1
    sheet.freeze(head + 1, 0)
    sheet.on_paper(footer=work.footer, last_row=row - 1, last_column=len(_WIDTHS) - 1, repeat_rows=(head, head))
