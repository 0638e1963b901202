"""Results to files: the workbook and the plain-data results beside it."""

from __future__ import annotations

import gc
import json
from collections.abc import Callable
from pathlib import Path

from .. import __version__
from ..handover.build import handover_data, handover_of
from ..handover.pages import ACTS, PROGRAM, PROVEN
from ..handover.records import Handover
from ..handover.text import handover_bytes as text_bytes
from ..inputs.form_content import form_content
from ..inputs.trail import Trail
from ..ranges.plain import with_ranges
from ..results import Results, Review, to_plain
from ..seal import CLIENT, RESULTS, UNSEALED, seal_text
from ..writing import Manners, NewFile, write_files
from .figures import advised, runs_at_all
from .form_layout import results_plan
from .formats import Styles, in_currency
from .layout import (
    ACCEPTANCE,
    AS_RUN,
    BINS,
    CAUTIONS,
    CHECKS,
    CHECKS_BRIEF,
    COMPARISON,
    GLANCE,
    GUIDE,
    HANDOVER,
    INPUTS,
    INPUTS_BRIEF,
    MEASURES,
    MONEY_CHARTS,
    OPTIONS,
    OWNER_SHEETS,
    PATTERNS,
    PRINTED_SHEETS,
    PROFILES,
    RANGES,
    REALISED,
    REVIEW,
    ROWS,
    SEQUENCE,
    SERVICE,
    SOURCES,
    STRATEGIES,
    TRENDS,
    ZONES,
    candidate_sheet_names,
    sheet_candidates,
    sheet_order,
)
from .live.pen import Pen
from .live.registry import form_registry
from .live.write import live_sheet_names, write_live
from .page import Work
from .sheets import (
    as_run,
    bins,
    brief,
    cautions,
    checks,
    comparison,
    form_inputs,
    form_tables,
    glance,
    guide,
    handover,
    measures,
    money_charts,
    patterns,
    ranges,
    realised,
    review,
    rows,
    service,
    sources,
    trends,
)
from .sheets.form_cells import FormPages
from .strict import Book
from .texts import CAUTIONS as CAUTION_TEXTS
from .texts import DEFERENCE
from .trail import trail_data

# Sheets that ranges change nothing of: they may still be drawn while these are written.
_BEFORE_RANGES = {
    CAUTIONS: cautions.write,
    GUIDE: guide.write,
    BINS: bins.write,
    ROWS: rows.write,
    COMPARISON: comparison.write,
    MEASURES: measures.write,
    SERVICE: service.write,
    CHECKS: checks.write,
    SOURCES: sources.write,
}
_WRITERS = {
    # Patterns first: charts on other sheets draw its tables.
    PATTERNS: patterns.write,
    GLANCE: glance.write,
    RANGES: ranges.write,
    MONEY_CHARTS: money_charts.write,
    OPTIONS: brief.write_options,
    INPUTS_BRIEF: brief.write_inputs,
    CHECKS_BRIEF: brief.write_checks,
}
# Parts of the hand-over.
_HANDOVER_PARTS = {HANDOVER: PROGRAM, SEQUENCE: ACTS, ACCEPTANCE: PROVEN}
# Sheets of inputs: the same as in a form, so that a workbook can be given as input again.
_FORM_WRITERS = {
    INPUTS: form_inputs.write,
    PROFILES: form_tables.write_profiles,
    ZONES: form_tables.write_zones,
    STRATEGIES: form_tables.write_strategies,
}


def form_pages(work: Work) -> FormPages:
    """The sheets of inputs of a workbook of results as a form: no spare lines for things, sizes as they came out."""
    content = form_content(work.results.project, work.results.sizes, spare_points=0)
    return FormPages(
        book=work.book, styles=work.styles, content=content, plan=results_plan(content), footer=work.footer
    )


def workbook_bytes(
    results: Results,
    review: Review | None = None,
    trail: Trail | None = None,
    ranged: Callable[[], Results] | None = None,
) -> bytes:
    """The workbook as bytes; the same results give the same bytes.

    Parameters
    ----------
    results : Results
        The claim.
    review : Review, optional
        A second run with a reviewer's overrides, shown beside the claim on the sheet for reviews.
    trail : Trail, optional
        What the file that was read carries over: revisions, questions and answers, its run and claim.
    ranged : callable, optional
        Gives the same results with their ranges; called as late as can be.

    Raises
    ------
    WorkbookError
        Something cannot be put into a workbook, such as a number that is not finite.
    FormulaFault
        A formula does not give the figure of the run: a fault of the program.
    """
    return build_workbook(results, review, trail, ranged=ranged)[0]


def build_workbook(
    results: Results,
    second: Review | None = None,
    trail: Trail | None = None,
    *,
    blank: bool = False,
    ranged: Callable[[], Results] | None = None,
) -> tuple[bytes, Pen | None]:
    """The workbook, and the pen that wrote its formulas (for proofs); none where nothing runs.

    Parameters
    ----------
    results : Results
    second : Review, optional
    trail : Trail, optional
    blank : bool
        Formulas without values, so that whoever reads the file has to compute them.
    ranged : callable, optional
        As for :func:`workbook_bytes`.
    """
    # Hundreds of thousands of cells are kept until the end: collecting garbage among them frees nothing.
    collecting = gc.isenabled()
    gc.disable()
    try:
        with in_currency(results.project.prices.currency):
            return _build(results, second, trail, blank, ranged)
    finally:
        if collecting:
            gc.enable()


def _build(
    results: Results, second: Review | None, trail: Trail | None, blank: bool, ranged: Callable[[], Results] | None
) -> tuple[bytes, Pen | None]:
    with Book(title=results.project.info.name, kind=RESULTS, comments=results.run_id, without_values=blank) as book:
        work = Work(book=book, styles=Styles(book), results=results)
        work.ranged = results.ranges is not None or ranged is not None
        # An air handler that never runs has no rows to compute: its figures are nights and idle plants.
        live = runs_at_all(results)
        positions = sheet_candidates(results) if live else []
        before, after = live_sheet_names(results) if live else ([], [])
        # Numbered by their place among all candidates, as everywhere in the workbook.
        names = candidate_sheet_names([c.name for c in results.candidates], [*before, *after])
        work.candidate_sheets = {position: names[position] for position in positions}
        order = sheet_order(
            before,
            list(work.candidate_sheets.values()),
            after,
            as_run=results.as_run is not None,
            trends=results.trends is not None,
            realised=results.realised is not None,
        )
        for name in order:
            work.sheets[name] = book.sheet(name)
        for name, write in _BEFORE_RANGES.items():
            write(work, work.sheets[name])
        pages = form_pages(work)
        for name, write_form in _FORM_WRITERS.items():
            write_form(pages, work.sheets[name])
        pen = write_live(work, results, form_registry(results, pages.plan), blank=blank) if live else None
        _write_handover(work, results)
        if ranged is not None:
            work.results = results = ranged()
        for name, write in _WRITERS.items():
            write(work, work.sheets[name])
        if AS_RUN in work.sheets:
            as_run.write(work, work.sheets[AS_RUN])
        if TRENDS in work.sheets:
            trends.write(work, work.sheets[TRENDS])
        if REALISED in work.sheets:
            realised.write(work, work.sheets[REALISED])
        beside = None if second is None else (second, second.lines(results))
        review.write(work, work.sheets[REVIEW], results, beside, trail, __version__)
        glance.write_review(work, pen)
        checks.write_formulas(work, pen)
        for name, sheet in work.sheets.items():
            if name not in PRINTED_SHEETS:
                sheet.off_paper()
        return book.content(), pen


def handed_over(results: Results) -> Handover:
    """The hand-over of a run: of the option of the first page, or of the one that ``results.handover_id`` names."""
    return handover_of(results, advised(results), results.handover_id, cautions=CAUTION_TEXTS, deference=DEFERENCE)


def _write_handover(work: Work, results: Results) -> None:
    record = handed_over(results)
    for name, part in _HANDOVER_PARTS.items():
        handover.write(work, work.sheets[name], record, part)


# Of the client edition: charts on other sheets draw the tables of patterns, so these come first.
_CLIENT_WRITERS = {
    PATTERNS: patterns.write,
    **{name: (_BEFORE_RANGES | _WRITERS)[name] for name in OWNER_SHEETS if name not in _HANDOVER_PARTS},
}


def client_bytes(results: Results) -> bytes:
    """The client edition as bytes: the sheets for the owner alone, every cell a text or a number.

    The numbers that its charts draw are on a sheet that is hidden, since it is not to be printed.

    Raises
    ------
    WorkbookError
        Something cannot be put into a workbook.
    """
    with (
        in_currency(results.project.prices.currency),
        Book(title=results.project.info.name, kind=CLIENT, comments=results.run_id) as book,
    ):
        work = Work(book=book, styles=Styles(book), results=results, client=True)
        for name in (*OWNER_SHEETS, PATTERNS):
            work.sheets[name] = book.sheet(name)
        for name, write in _CLIENT_WRITERS.items():
            write(work, work.sheets[name])
        _write_handover(work, results)
        # Some programs print hidden sheets with the whole file.
        work.sheets[PATTERNS].off_paper()
        work.sheets[PATTERNS].hide()
        return book.content()


def results_bytes(results: Results, review: Review | None = None, trail: Trail | None = None) -> bytes:
    """The results as plain data (JSON, UTF-8) with their checksum; keys are documented in output/README.md.

    ``review`` and ``trail`` as for :func:`workbook_bytes`.
    """
    data = with_ranges(to_plain(results, review), results)
    data |= {
        "handover": handover_data(handed_over(results)),
        "trail": trail_data(results, review, trail, __version__),
        "checksum": UNSEALED,
    }
    return seal_text(json.dumps(data, indent=1, ensure_ascii=False, allow_nan=False) + "\n")


def handover_bytes(results: Results) -> bytes:
    """The hand-over as plain text of 80 columns (UTF-8) with its checksum."""
    return text_bytes(handed_over(results))


def write_workbook(results: Results, path, review: Review | None = None, manners: Manners = Manners()) -> None:
    """Write the workbook.

    Parameters
    ----------
    results : Results
        From ``estimate``.
    path : str or Path
        File to write. A workbook of an earlier run is replaced while it is as this program wrote it.
    review : Review, optional
        A second run with a reviewer's overrides.
    manners : Manners
        How to treat a file of that name that may not be replaced.

    Raises
    ------
    WorkbookError
        It cannot be written, or would replace a file that may hold somebody's work.
    """
    write_files([NewFile(Path(path), workbook_bytes(results, review), RESULTS)], manners)


def write_results_json(results: Results, path, review: Review | None = None, manners: Manners = Manners()) -> None:
    """Write the results file; parameters and errors as :func:`write_workbook`."""
    write_files([NewFile(Path(path), results_bytes(results, review), RESULTS)], manners)
