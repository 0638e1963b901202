"""An input form as a workbook: empty for a newcomer, or filled from a project."""

from __future__ import annotations

from pathlib import Path

from ..inputs.form_content import empty_project, form_content
from ..inputs.form_keys import FORM_SHEETS, INPUTS, PROFILES, QUICK, STRATEGIES, ZONES
from ..inputs.project import Project
from ..inputs.trail import SHEET as REVIEW
from ..inputs.trail import Trail
from ..seal import FORM
from ..writing import Manners, NewFile, write_files
from .form_layout import FORM_SPARE, FormPlan, Spare
from .formats import Styles
from .page import footer_text
from .sheets import form_facts, form_guide, form_inputs, form_tables, review
from .sheets.form_cells import FormPages
from .strict import Book

_WRITERS = {
    INPUTS: form_inputs.write,
    PROFILES: form_tables.write_profiles,
    ZONES: form_tables.write_zones,
    STRATEGIES: form_tables.write_strategies,
}


def form_bytes(project: Project | None = None, spare: Spare = FORM_SPARE, trail: Trail | None = None) -> bytes:
    """An input form as bytes; the same project gives the same bytes.

    Parameters
    ----------
    project : Project, optional
        What the form is filled with; an empty form when not given.
    spare : Spare
        Empty lines for what a user adds.
    trail : Trail, optional
        What the workbook that the form is filled from carries over: questions and answers, revisions, its run.

    Raises
    ------
    WorkbookError
        Something cannot be put into a workbook.
    """
    empty = project is None
    if project is None:
        project = empty_project()
    name = "Input form" if empty else project.info.name
    content = form_content(project, spare_points=3)
    footer = footer_text(name, "input form" if empty else f"input form, inputs {project.checksum()}")
    with Book(title=name, kind=FORM) as book:
        form = FormPages(
            book=book, styles=Styles(book), content=content, plan=FormPlan(content, spare), footer=footer, empty=True
        )
        first = book.sheet(QUICK) if empty else None
        guide = book.sheet(form_guide.SHEET)
        sheets = {sheet: book.sheet(sheet) for sheet in FORM_SHEETS}
        notes = book.sheet(REVIEW)
        form_guide.write(form, guide, empty)
        for sheet, write in _WRITERS.items():
            write(form, sheets[sheet])
        review.write(form, notes, trail=trail)
        if first is not None:
            form_facts.write(form, first)
        (guide if first is None else first).activate()
        return book.content()


def write_form(path, project: Project | None = None, manners: Manners = Manners(), trail: Trail | None = None) -> None:
    """Write an input form.

    Parameters
    ----------
    path : str or Path
        File to write. A form that is there already is replaced while it is as this program wrote it.
    project : Project, optional
        What the form is filled with.
    manners : Manners
        How to treat a file of that name that may not be replaced.
    trail : Trail, optional
        See :func:`form_bytes`.

    Raises
    ------
    WorkbookError
        It cannot be written, or would replace a file that may hold somebody's work.
    """
    write_files([NewFile(Path(path), form_bytes(project, trail=trail), FORM)], manners)
