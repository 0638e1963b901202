"""The page that an owner reads first: the case, key figures and the comparison; the second page behind it."""

from __future__ import annotations

from ...charts import FULL_SIZE_POINTS, room
from ...figures import (
    answer,
    key_figures,
    known_text,
)
from ...layout import GUIDE
from ...page import Work, height_of, lines_of
from ...strict import Sheet
from .columns import columns_of, spans, widths_of
from .places import ANSWER_ROW, FIGURES_ROW, KNOWN_ROW, REVIEW_LINES, STALE_ROW
from .remarks import remark_texts, review_row, write_remarks
from .second import write_second
from .table import write_table


def write(work: Work, sheet: Sheet) -> None:
    """Write the sheet."""
    s, results = work.styles, work.results
    columns, widths = columns_of(work.results), widths_of(work)
    last = len(widths) - 1
    width = room(widths)
    info, weather = results.project.info, results.weather
    sheet.on_screen(tab_colour="#A85F00", zoom=90)
    sheet.widths(widths)

    sheet.height(0, 23)
    sheet.text(0, 0, info.name, s("title"))
    if not work.client:
        sheet.internal_link(0, last, GUIDE, "to the guide", s("link", "small", "right"))
    sheet.text(
        1,
        0,
        "What resetting the supply air temperature (SAT) and the duct static pressure (DSP) is worth, compared with "
        "the baseline",
        s("subtitle", "bold"),
    )
    about = [
        info.building,
        f"typical year {weather.name} ({weather.format}, station {weather.station})",
        f"prepared by {info.prepared_by}" if info.prepared_by else "",
        f"checked by {info.checked_by}" if info.checked_by else "",
        info.date,
        f"run {results.run_id}",
    ]
    said = "  ·  ".join(text for text in about if text)
    sheet.merged_text(2, 0, 2, last, said, s("quiet", "wrap"))
    sheet.height(2, height_of(lines_of(said, width, 9.0), 9.0))

    for row, text, style, size in (
        (KNOWN_ROW, known_text(results), "known", 9.0),
        (ANSWER_ROW, answer(results), "answer", 10.0),
    ):
        if row == KNOWN_ROW and not text:
            sheet.height(row, 3)
            continue
        sheet.merged_text(row, 0, row, last, text, s(style))
        sheet.height(row, height_of(lines_of(text, width, size, bold=True), size))
    _figures(work, sheet, widths)
    _stale(work, sheet, last)
    write_table(work, sheet, columns, widths)
    write_remarks(work, sheet, last, width)
    # Remarks that the first page has no room for go to the second.
    after = review_row(results)
    second = after if sheet.points(0, after - 1) <= FULL_SIZE_POINTS else after - len(remark_texts(results))
    row = after + (0 if work.client else len(REVIEW_LINES))
    row = write_second(work, sheet, row, widths, sheet.points(second, row - 1) if row > second else 0.0)
    sheet.freeze(0, 0)
    sheet.activate()
    sheet.on_paper(footer=work.footer, last_row=row - 1, last_column=last, breaks=[second])


def _figures(work: Work, sheet: Sheet, widths: list[float]) -> None:
    """Key figures side by side."""
    s = work.styles
    found = key_figures(work.results)
    sheet.height(FIGURES_ROW - 1, 3)
    places = spans(widths, len(found))
    rooms = [room(widths[a : b + 1]) - 2.0 for a, b in places]
    for down, size in ((0, 9.0), (1, 11.0), (2, 9.0)):
        lines = max(lines_of(texts[down], width, size, bold=down < 2) for texts, width in zip(found, rooms))
        sheet.height(FIGURES_ROW + down, height_of(lines, size))
    for texts, (first, last) in zip(found, places):
        for down, (text, style) in enumerate(zip(texts, ("tile_label", "tile_figure", "tile_remark"))):
            sheet.merged_text(FIGURES_ROW + down, first, FIGURES_ROW + down, last, text, s(style))
    sheet.height(FIGURES_ROW + 3, 2)


def _stale(work: Work, sheet: Sheet, last: int) -> None:
    """Place of the line that says whether an edit made anything stale; its formula is written by
    :func:`write_review`."""
    if work.client:
        sheet.height(STALE_ROW, 3)
        sheet.height(STALE_ROW + 1, 3)
        return
    sheet.merged_text(STALE_ROW, 0, STALE_ROW, last, "", work.styles("quiet", "wrap", "middle"))
    sheet.height(STALE_ROW, 24)
    sheet.height(STALE_ROW + 1, 3)
