"""Results to files: the workbook and the plain-data results beside it."""

from __future__ import annotations

import gc
import json

from ..results import Results, to_plain
from .formats import Styles
from .layout import (
    AFTER_CANDIDATES, BEFORE_CANDIDATES, BINS, CAUTIONS, CHECKS, COMPARISON, GLANCE, GUIDE, INPUTS, PATTERNS, PROFILES,
    ROWS, SERVICE, SOURCES, STRATEGIES, ZONES, candidate_sheet_names, sheet_candidates,
)
from .page import Work
from .sheets import (
    bins, candidate, cautions, checks, comparison, glance, guide, inputs, patterns, rows, service, sources, tables,
)
from .strict import Book, write_atomically

_WRITERS = {
    # Patterns first: charts on other sheets draw its tables.
    PATTERNS: patterns.write, GLANCE: glance.write, GUIDE: guide.write, CAUTIONS: cautions.write, INPUTS: inputs.write,
    PROFILES: tables.write_profiles, ZONES: tables.write_zones, STRATEGIES: tables.write_strategies, BINS: bins.write,
    ROWS: rows.write, COMPARISON: comparison.write, SERVICE: service.write, CHECKS: checks.write, SOURCES: sources.write,
}


def workbook_bytes(results: Results) -> bytes:
    """The workbook as bytes; the same results give the same bytes.

    Raises
    ------
    WorkbookError
        Something cannot be put into a workbook, such as a number that is not finite.
    """
    # Hundreds of thousands of cells live until the end: looking for garbage among them is in vain.
    collecting = gc.isenabled()
    gc.disable()
    try:
        return _workbook_bytes(results)
    finally:
        if collecting:
            gc.enable()


def _workbook_bytes(results: Results) -> bytes:
    with Book(title=results.project.info.name, comments=f"binestimator, run {results.run_id}") as book:
        work = Work(book=book, styles=Styles(book), results=results)
        positions = sheet_candidates(results)
        # Numbered by their place among all candidates, as everywhere in the workbook.
        names = candidate_sheet_names([c.name for c in results.candidates])
        work.candidate_sheets = {position: names[position] for position in positions}
        for name in (*BEFORE_CANDIDATES, *work.candidate_sheets.values(), *AFTER_CANDIDATES):
            work.sheets[name] = book.sheet(name)
        for name, write in _WRITERS.items():
            write(work, work.sheets[name])
        for position, name in work.candidate_sheets.items():
            candidate.write(work, work.sheets[name], position)
        return book.content()


def write_workbook(results: Results, path) -> None:
    """Write the workbook.

    Parameters
    ----------
    results : Results
        From ``estimate``.
    path : str or Path
        File to write; an existing one is replaced in one step, or kept whole on any failure.

    Raises
    ------
    WorkbookError
        It cannot be written.
    """
    write_atomically(path, workbook_bytes(results))


def write_results_json(results: Results, path) -> None:
    """Write the results as plain data (JSON, UTF-8); keys are documented in the README.

    Raises
    ------
    WorkbookError
        It cannot be written.
    """
    text = json.dumps(to_plain(results), indent=1, ensure_ascii=False, allow_nan=False)
    write_atomically(path, (text + "\n").encode("utf-8"))
