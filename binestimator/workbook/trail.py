"""The reviewer's trail of a run, for the sheet for reviews and for the results file."""

from __future__ import annotations

from ..inputs.form_content import cell_of
from ..inputs.paths import known_path
from ..inputs.trail import Trail
from ..results import Results, Review, plain

#: Columns of revisions and of questions: key in the results file, heading on the sheet.
REVISION_COLUMNS = (
    ("date", "Date"),
    ("version", "Version"),
    ("prepared_by", "Prepared by"),
    ("checked_by", "Checked by"),
    ("what_changed", "What changed"),
)
QUESTION_COLUMNS = (
    ("item", "Item (sheet, cell)"),
    ("status", "Status"),
    ("question", "Question"),
    ("answer", "Answer"),
    ("remarks", "Remarks"),
)
# Changes that are told one by one in the line of a revision.
_TOLD = 3


def has_parent(results: Results, trail: Trail | None) -> bool:
    """Whether the file that was read is from another run. The same run once more is no other run: nothing changed, and
    its claim is the same."""
    return trail is not None and trail.run_id not in ("", results.run_id)


def revisions(results: Results, second: Review | None, trail: Trail | None, version: str) -> list[tuple[str, ...]]:
    """Lines of the file that was read, and those that this run adds: the run, unless it is there already, and a second
    run with a reviewer's overrides."""
    info = results.project.info
    who = (info.date, version, info.prepared_by, info.checked_by)
    lines = [] if trail is None else list(trail.revisions)
    if trail is None or trail.run_id != results.run_id:
        said = f"Run {results.run_id}, inputs {results.project.checksum()}"
        if trail is not None and trail.run_id:
            said += f"; from run {trail.run_id}, {_changes_in_words(trail.changes(results.project))}"
        lines.append((*who, said))
    if second is not None:
        told = [f"{path} = {in_words(cell_of(known_path(path).field, v))}" for path, v in second.overrides.items()]
        more = f" and {len(told) - _TOLD} more" if len(told) > _TOLD else ""
        lines.append((*who, f"Second run {second.results.run_id} with the reviewer’s {', '.join(told[:_TOLD])}{more}"))
    return lines


def _changes_in_words(changes) -> str:
    if not changes:
        return "no input changed"
    told = "; ".join(f"{path}: {in_words(was)} to {in_words(now)}" for path, was, now in changes[:_TOLD])
    more = f"; {len(changes) - _TOLD} more below" if len(changes) > _TOLD else ""
    return f"{len(changes)} input{'s' if len(changes) > 1 else ''} changed: {told}{more}"


def in_words(content) -> str:
    """Content of a cell in a sentence."""
    return "not given" if content == "" else content if isinstance(content, str) else f"{content:g}"


def trail_data(results: Results, second: Review | None, trail: Trail | None, version: str) -> dict:
    """The trail as plain data; its keys are documented in output/README.md."""
    parent = trail if has_parent(results, trail) else None
    now = {c.id: c.saving["cost_usd"] for c in results.candidates}
    questions = () if trail is None else trail.questions
    lines = lambda columns, found: [dict(zip((key for key, _ in columns), line, strict=True)) for line in found]
    return plain(
        {
            "parent_run_id": None if parent is None else parent.run_id,
            "changes": None
            if parent is None or parent.given is None
            else [
                {"input": path, "before": None if was == "" else was, "now": None if new == "" else new}
                for path, was, new in parent.changes(results.project)
            ],
            "earlier_claim": []
            if parent is None
            else [
                {
                    "id": claim.id,
                    "name": claim.name,
                    "cost_usd": claim.cost_usd,
                    "saving_usd": claim.saving_usd,
                    "saving_now_usd": now.get(claim.id),
                }
                for claim in parent.claims
            ],
            "revisions": lines(REVISION_COLUMNS, revisions(results, second, trail, version)),
            "questions": lines(QUESTION_COLUMNS, questions),
        }
    )
