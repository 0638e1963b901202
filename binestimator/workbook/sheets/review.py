"""Sheet for those who check the file: revisions, and questions with their answers."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from ...inputs.form_values import Content, cell_of
from ...inputs.paths import known_path
from ...inputs.trail import CHANGED, COLUMNS, EARLIER, GIVEN, QUESTIONS, REVIEWED, REVISIONS, RUN, Claim, given_inputs
from ..formats import money_words
from ..page import height_of, lines_of, title
from ..strict import Sheet
from ..trail import QUESTION_COLUMNS, REVISION_COLUMNS, has_parent, in_words, revisions

_STATES = ("open", "answered", "closed")
_WIDTHS = (32.0, 16.0, 46.0, 40.0, 46.0)
# Empty lines for what is to come.
_REVISION_LINES, _QUESTION_LINES = 11, 20


def write(pages, sheet: Sheet, results=None, second=None, trail=None, version: str = "") -> None:
    """Write the sheet.

    Parameters
    ----------
    pages : Work or FormPages
        Styles and footer.
    results : Results, optional
        The run; none for a form.
    second : (Review, lines), optional
        A second run with a reviewer's overrides and the savings of both.
    trail : Trail, optional
        What the file that was read carries over; a form keeps it for the run on it.
    version : str
        Of the program.
    """
    s = pages.styles
    title(
        pages,
        sheet,
        "Review",
        "For those who prepare and check this file. A run on this file writes a new one, leaves this one as it is, and "
        "carries over what is written here.",
    )
    sheet.widths(_WIDTHS)
    changes = [] if trail is None or results is None else trail.changes(results.project)
    review = None if second is None else second[0]
    kept = () if trail is None else trail.revisions
    told = kept if results is None else revisions(results, review, trail, version)
    row = _head(sheet, s, 3, REVISIONS, [label for _, label in REVISION_COLUMNS])
    row = _lines(sheet, s, row, told, _REVISION_LINES, 15)
    row = _head(sheet, s, row + 1, QUESTIONS, [label for _, label in QUESTION_COLUMNS])
    start = row
    row = _lines(sheet, s, row, () if trail is None else trail.questions, _QUESTION_LINES, 30)
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
    if results is not None and has_parent(results, trail):
        row = _changes(sheet, s, row + 1, trail, changes)
        row = _claims(sheet, s, row + 1, results, trail)
    if second is not None:
        row = _second_run(sheet, s, row + 1, *second)
    last = row - 1
    if results is not None:
        claims = [Claim(c.id, c.name, c.annual["cost_usd"], c.saving["cost_usd"]) for c in results.candidates]
        _for_the_next_run(sheet, s, row + 1, results.run_id, claims, given_inputs(results.project))
    elif trail is not None and trail.run_id:
        _for_the_next_run(sheet, s, row + 1, trail.run_id, trail.claims, trail.given or {})
    sheet.freeze(3, 0)
    sheet.on_paper(footer=pages.footer, last_row=last, last_column=COLUMNS - 1)


def _lines(sheet: Sheet, s, row: int, lines, spare: int, least: float) -> int:
    """Lines of people's words, and empty ones; returns the row after them."""
    for texts in (*lines, *[("",) * COLUMNS] * spare):
        for column, text in enumerate(texts):
            sheet.text(row, column, text, s("text_small", "as_text", "entry_filled" if text else "entry"))
        high = max(lines_of(text, width - 1.0, 8.0, bold=True) for text, width in zip(texts, _WIDTHS, strict=True))
        sheet.height(row, min(max(height_of(high, 8.0), least), 400.0))
        row += 1
    return row


def _changes(sheet: Sheet, s, row: int, trail, changes) -> int:
    """What was typed since the earlier run: path, before, now."""
    row = _head(sheet, s, row, f"{CHANGED} {trail.run_id}", ("Before", "", "Input", "Now", ""))
    if trail.given is None:
        sheet.text(row, 0, "Not known: that file does not say what was given in its run.", s("line"))
        return row + 1
    if not changes:
        sheet.text(row, 0, "Nothing was typed since; what was given is the same.", s("line"))
        return row + 1
    for path, was, now in changes:
        for column, content in ((0, was), (1, ""), (2, path), (3, now), (4, "")):
            shown = "not given" if content == "" and column in (0, 3) else content
            look = s("line", "general", "left") if isinstance(shown, float) else s("line", "as_text", "wrap")
            sheet.cell(row, column, shown, look)
        high = max(lines_of(in_words(c), _WIDTHS[k] - 1.0) for k, c in ((0, was), (2, path), (3, now)))
        sheet.height(row, min(height_of(high), 400.0))
        row += 1
    return row


def _claims(sheet: Sheet, s, row: int, results, trail) -> int:
    """Saving of every candidate as claimed by the earlier run, and now."""
    heads = (money_words("Earlier saving, USD/yr"), money_words("Now, USD/yr"), "Option", "Now over earlier", "")
    row = _head(sheet, s, row, f"{EARLIER}: run {trail.run_id}", heads)
    earlier = {claim.id: claim for claim in trail.claims}
    now = {c.id: c for c in results.candidates}
    for id_ in dict.fromkeys((*now, *earlier)):
        was, c = earlier.get(id_), now.get(id_)
        sheet.cell(row, 0, "not there" if was is None else was.saving_usd, s("f0", "line", "left"))
        sheet.cell(row, 1, "not there" if c is None else c.saving["cost_usd"], s("f0", "line", "left"))
        sheet.text(row, 2, c.name if c is not None else was.name if was else "", s("line", "wrap", "as_text"))
        ratio: float | str = "–"
        if was is not None and c is not None and abs(was.saving_usd) > 0.001:
            ratio = c.saving["cost_usd"] / was.saving_usd
        sheet.cell(row, 3, ratio, s("f3", "line", "left"))
        sheet.text(row, 4, "", s("line"))
        row += 1
    return row


def _for_the_next_run(
    sheet: Sheet, s, row: int, run_id: str, claims: Sequence[Claim], given: Mapping[str, Content]
) -> int:
    """A run, its claim and what was given in it, where the next run looks for them."""
    row = _head(
        sheet, s, row, RUN, ("Option", "Name", "", money_words("Energy cost, USD/yr"), money_words("Saving, USD/yr"))
    )
    sheet.cells(row, 0, ("Run", run_id), s("line", "as_text"))
    row += 1
    for claim in claims:
        sheet.cells(row, 0, (claim.id, claim.name, ""), s("line", "as_text"))
        sheet.cells(row, 3, (claim.cost_usd, claim.saving_usd), s("f0", "line", "left"))
        row += 1
    row = _head(sheet, s, row + 1, GIVEN, ("Input", "Value", "", "", ""))
    for path, content in given.items():
        sheet.text(row, 0, path, s("line", "as_text"))
        sheet.cell(
            row, 1, content, s("line", "general", "left") if isinstance(content, float) else s("line", "as_text")
        )
        row += 1
    return row


def _second_run(sheet: Sheet, s, row: int, review, lines) -> int:
    """Overrides in the file that was read, and what a whole run with them gives."""
    row = _head(
        sheet,
        s,
        row,
        f"{REVIEWED}: a second run with the reviewer’s overrides; the claim is on all other sheets",
        [
            money_words("Claimed, USD/yr"),
            "Ratio",
            "Option",
            money_words("As reviewed, USD/yr"),
            "Service and rank as reviewed",
        ],
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
        if line.reviewed_as_run_usd is not None:
            claimed = "" if line.claimed_as_run_usd is None else f", {line.claimed_as_run_usd:,.0f} as claimed"
            standing += money_words(f"; as run saves {line.reviewed_as_run_usd:,.0f} USD/yr{claimed}")
        sheet.text(row, 4, standing, s("line", "text_small", "wrap"))
        sheet.height(row, height_of(max(lines_of(standing, _WIDTHS[4], 8.0), lines_of(line.name, _WIDTHS[2]))))
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


def _head(sheet: Sheet, s, row: int, text: str, labels: Sequence[str]) -> int:
    sheet.height(row, 24)
    for column in range(len(labels)):
        sheet.text(row, column, text if column == 0 else "", s("section"))
        sheet.text(row + 1, column, labels[column], s("head_left"))
    return row + 2
