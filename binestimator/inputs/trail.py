"""What a workbook carries from run to run: revisions, questions and answers, what was given and what was claimed.

It is on the sheet for reviews, in tables that are found by their headings, wherever a user has moved them. What
people have typed there is carried over as text; it changes nothing else.
"""

from __future__ import annotations

import math
import re
from collections.abc import Mapping
from pathlib import Path

from binestimator.dataclass import dataclass
from binestimator.errors import InputError
from binestimator.inputs.cell_parts import Cell
from binestimator.inputs.cells import SheetCells, WorkbookFile
from binestimator.inputs.form_values import cell_of
from binestimator.inputs.paths import known_path, parse_path
from binestimator.inputs.problems import printable
from binestimator.inputs.project import Project
from binestimator.inputs.schema import value_text

#: Sheet of all this.
SHEET = "Review"
#: Headings of its tables, in the first column; the line below each is that of the columns.
REVISIONS, QUESTIONS = "Revisions", "Questions and answers"
RUN, GIVEN = "This run, for the next one to compare with", "Inputs given in this run, for the next one to compare with"
#: Beginnings of headings of what is shown and not read again.
CHANGED, EARLIER, REVIEWED = "What changed since the earlier run", "Earlier claim beside this one", "As reviewed"
#: Columns of a table.
COLUMNS = 5
#: Lines of a table that are carried over.
MOST_LINES = 500
_MOST_GIVEN = 60_000
_RUN_ID = re.compile(r"[0-9a-f]{12}")
_HEADINGS = (REVISIONS, QUESTIONS, RUN, GIVEN, CHANGED, EARLIER, REVIEWED)


@dataclass(frozen=True, slots=True)
class Claim:
    """What an earlier run claimed for a candidate: its id and name, energy cost and its saving. [USD/yr]"""

    id: str
    name: str
    cost_usd: float
    saving_usd: float


@dataclass(frozen=True, slots=True)
class Trail:
    """What was found on the sheet for reviews.

    Parameters
    ----------
    run_id : str
        Of the run that wrote the file; empty for a form.
    claims : tuple of Claim
    given : dict
        Path -> content of a cell, of what was given in that run.
    revisions, questions : tuple of tuple of str
        Lines as people left them.
    """

    run_id: str = ""
    claims: tuple[Claim, ...] = ()
    given: Mapping[str, str | float] | None = None
    revisions: tuple[tuple[str, ...], ...] = ()
    questions: tuple[tuple[str, ...], ...] = ()

    def changes(self, project: Project) -> list[tuple[str, str | float, str | float]]:
        """Path, content before and content now of everything that was typed since; empty where nothing was given."""
        if self.given is None:
            return []
        now = given_inputs(project)
        before = {path: _as_called_now(path, content) for path, content in self.given.items()}
        return [
            (path, before.get(path, ""), now.get(path, ""))
            for path in dict.fromkeys((*now, *before))
            if before.get(path, "") != now.get(path, "")
        ]


def _as_called_now(path: str, content: str | float) -> str | float:
    """A content in which a choice has the name it has now, so that a new name is no change."""
    known, _ = parse_path(path.rpartition(" ")[2])
    names = {} if known is None else dict(known.field.earlier)
    return names.get(content, content) if isinstance(content, str) else content


def given_inputs(project: Project) -> dict[str, str | float]:
    """Path -> content of a cell, of all that somebody gave: inputs, overrides, and what candidates change."""
    found: dict[str, str | float] = {}
    for path, _, value, *_, origin, _, _, _ in project.effective_rows():
        if origin not in ("default", "derived", "sized"):
            found[path] = cell_of(known_path(path).field, value)
    for start, overrides in (
        ("override ", project.overrides),
        *((f"candidate {c.id} changes ", c.overrides) for c in project.candidates),
    ):
        for path, value in overrides.items():
            found[start + path] = cell_of(known_path(path).field, value)
    return found


def read_trail(path: str | Path) -> Trail:
    """What a form or workbook carries over; an empty trail where its sheet for reviews is gone.

    Raises
    ------
    InputError
        The file or the sheet breaks a limit.
    """
    path = Path(path)
    with WorkbookFile(path) as file:
        if SHEET not in file.sheet_names:
            return Trail()
        return _trail_of(file.sheet(SHEET), path.name)


def _trail_of(sheet: SheetCells, name: str) -> Trail:
    starts: dict[str, int] = {}
    for row, column in sorted(sheet.cells):
        text = sheet.cells[row, column].value
        if column == 0 and isinstance(text, str):
            heading = next((h for h in _HEADINGS if text == h or (h in _HEADINGS[4:] and text.startswith(h))), None)
            if heading is not None:
                starts.setdefault(heading, row)
    last = max((row for row, _ in sheet.cells), default=-1)

    def lines(heading: str, most: int) -> list[list[Cell | None]]:
        if heading not in starts:
            return []
        first = starts[heading] + 2
        end = min((row for row in starts.values() if row >= first), default=last + 1)
        rows = sorted({row for row, column in sheet.cells if first <= row < end and column < COLUMNS})
        if len(rows) > most:
            raise InputError(
                f"{name}: sheet {SHEET}: the table “{heading}” has {len(rows):,} lines; at most {most:,} are carried "
                "over; remove those that are no longer needed"
            )
        return [[sheet.cells.get((row, column)) for column in range(COLUMNS)] for row in rows]

    texts = lambda heading: tuple(tuple(map(_text, line)) for line in lines(heading, MOST_LINES))
    run_id, claims = "", []
    for line in lines(RUN, MOST_LINES):
        key, first, _, cost, saving = line
        if _text(key) == "Run" and _RUN_ID.fullmatch(_text(first)):
            run_id = _text(first)
        else:
            cost_usd, saving_usd = _number(cost), _number(saving)
            if cost_usd is not None and saving_usd is not None:
                claims.append(Claim(_text(key), _text(first), cost_usd, saving_usd))
    given: dict[str, str | float] = {}
    for path, content, *_ in lines(GIVEN, _MOST_GIVEN):
        if path is not None and content is not None and isinstance(content.value, (str, float)):
            given[str(path.value)] = content.value
    return Trail(
        run_id,
        tuple(claims) if run_id else (),
        given if run_id and given else None,
        tuple(line for line in texts(REVISIONS) if any(line)),
        tuple(line for line in texts(QUESTIONS) if any(line)),
    )


def _number(cell: Cell | None) -> float | None:
    if cell is None or cell.kind != "number" or not isinstance(cell.value, float) or not math.isfinite(cell.value):
        return None
    return cell.value


def _text(cell: Cell | None) -> str:
    """Content as text; what is none is said in brackets, since nothing is worked out here."""
    if cell is None:
        return ""
    if cell.kind == "date":
        return "(a date; type it as text)"
    if cell.kind == "error" or cell.value is None:
        return "(a formula or an error; type it as text)"
    value = cell.value if isinstance(cell.value, str) else value_text(cell.value)
    return "\n".join(printable(line) for line in value.split("\n")).strip()
