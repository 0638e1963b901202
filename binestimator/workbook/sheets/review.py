"""Sheet for those who check the file: revisions, and questions with their answers."""

from __future__ import annotations

from ...inputs.form_content import cell_of
from ...inputs.paths import known_path
from ..page import height_of, lines_of, title
from ..strict import Sheet

SHEET = "Review"
_STATES = ("open", "answered", "closed")
_REVISIONS = (("Date", 20.0), ("Version", 14.0), ("Prepared by", 42.0), ("Checked by", 42.0), ("What changed", 50.0))
_REVISION_LINES, _QUESTION_LINES = 12, 20


def write(pages, sheet: Sheet, first: tuple[str, str, str, str, str] | None = None, second=None) -> None:
    """Write the sheet.

    Parameters
    ----------
    pages : Work or FormPages
        Styles and footer.
    first : tuple of str, optional
        First line of the revisions: date, version, prepared by, checked by, what changed.
    second : (Review, lines), optional
        A second run with a reviewer's overrides and the savings of both.
    """
    s = pages.styles
    title(
        pages,
        sheet,
        "Review",
        "For whoever prepares and checks this file. A new run writes a new file and leaves this one as it is.",
    )
    sheet.widths([width for _, width in _REVISIONS])
    row = _head(sheet, s, 3, "Revisions", [label for label, _ in _REVISIONS])
    for line in range(_REVISION_LINES):
        texts = first if line == 0 and first is not None else ("",) * len(_REVISIONS)
        for column, text in enumerate(texts):
            sheet.text(row, column, text, s("text_small", "as_text", "entry_filled" if text else "entry"))
        row += 1
    row = _head(
        sheet, s, row + 1, "Questions and answers", ["Item (sheet, cell)", "Status", "Question", "Answer", "Remarks"]
    )
    start = row
    for _ in range(_QUESTION_LINES):
        for column in range(len(_REVISIONS)):
            sheet.blank(row, column, s("text_small", "as_text", "entry"))
        sheet.height(row, 30)
        row += 1
    sheet.validate(
        start,
        1,
        row - 1,
        1,
        validate="list",
        source=list(_STATES),
        input_title="Status",
        input_message="open, answered or closed",
        error_title="Not allowed",
        error_message="Expected open, answered or closed.",
    )
    if second is not None:
        row = _second_run(sheet, s, row + 1, *second)
    sheet.freeze(3, 0)
    sheet.on_paper(footer=pages.footer, last_row=row - 1, last_column=len(_REVISIONS) - 1)


def _second_run(sheet: Sheet, s, row: int, review, lines) -> int:
    """Overrides that stood in the file that was read, and what a whole run makes of them."""
    row = _head(
        sheet,
        s,
        row,
        "As reviewed: a second run with the reviewer’s overrides; the claim stands on all other sheets",
        ["Claimed, USD/yr", "Ratio", "Candidate", "As reviewed, USD/yr", "Service and rank as reviewed"],
    )
    for line in lines:
        sheet.number(row, 0, line.claimed_usd, s("f0", "line", "left"))
        if line.ratio is None:
            sheet.text(row, 1, "–", s("line"))
        else:
            sheet.number(row, 1, line.ratio, s("pct0", "line", "left"))
        sheet.text(row, 2, line.name, s("line", "wrap"))
        sheet.number(row, 3, line.reviewed_usd, s("f0", "line", "left"))
        c = review.results[line.id]
        standing = f"rank {c.rank}" if c.rank is not None else f"not ranked: {c.not_ranked}".replace("degF", "°F")
        sheet.text(row, 4, standing, s("line", "text_small", "wrap"))
        sheet.height(
            row, height_of(max(lines_of(standing, _REVISIONS[4][1], 8.0), lines_of(line.name, _REVISIONS[2][1])))
        )
        row += 1
    best, failed = review.results.best, review.results.baseline_service.fails
    said = f"Best of the second run: {'none' if best is None else best.name}." + (
        f" Its baseline fails in {', '.join(failed).replace('_', ' ')}." if failed else ""
    )
    sheet.merged_text(row, 0, row, 4, said, s("wrap", "bold"))
    row += 1
    row = _head(sheet, s, row + 1, "Overrides of that run", ["Value", "", "Input", "", ""])
    for path, value in review.overrides.items():
        shown = cell_of(known_path(path).field, value)
        sheet.cell(row, 0, shown, s("general" if isinstance(shown, float) else "text_small", "line", "left"))
        for column in (1, 3, 4):
            sheet.text(row, column, "", s("line"))
        sheet.text(row, 2, path, s("text_small", "line"))
        row += 1
    return row


def _head(sheet: Sheet, s, row: int, text: str, labels: list[str]) -> int:
    sheet.height(row, 24)
    for column in range(len(labels)):
        sheet.text(row, column, text if column == 0 else "", s("section"))
        sheet.text(row + 1, column, labels[column], s("head_left"))
    return row + 2
