"""How bin rows were chosen: summary, what a reader must know, held rows."""

from __future__ import annotations

import numpy as np

from ..bins import EXACT_TOLERANCE, RowSelection
from ..errors import Finding
from ..hours import Conditions
from ..results import CandidateResult, RowChoice
from ..row_accuracy import worst_bin_errors

METHOD_MEAN = "mean conditions of each bin and mode (classic bins)"
METHOD_HELD = "rows held from an earlier run"


def row_choice(selection: RowSelection | None, groups: int, results, baseline: CandidateResult) -> RowChoice:
    """Summary of how rows were chosen and how well they do (see ``results.RowChoice``)."""
    worst = worst_bin_errors(results, baseline)
    if selection is None:
        return RowChoice(
            method=METHOD_MEAN,
            fallback=False,
            groups=groups,
            rows=groups,
            bound=groups,
            worst_residual_frac=None,
            exact_error_frac=None,
            **worst,
        )
    return RowChoice(
        method=selection.method,
        fallback=selection.fell_back,
        groups=groups,
        rows=selection.rows,
        bound=selection.bound,
        worst_residual_frac=None if selection.method == METHOD_HELD else selection.worst_error,
        exact_error_frac=selection.exact_error,
        **worst,
    )


def choice_findings(choice: RowChoice) -> tuple[Finding, ...]:
    """What a reader must know about the choice of rows."""
    out = []
    if choice.fallback:
        out.append(
            Finding(
                "caution",
                "bins",
                f"The choice of rows fell back to a simpler method: {choice.method}. "
                "Trust the hour-by-hour figures of the check sheet, or change the bin width.",
            )
        )
    if choice.exact_error_frac is not None and not choice.exact_error_frac <= EXACT_TOLERANCE:
        out.append(
            Finding(
                "caution",
                "bins",
                f"The rows miss the hours of a bin by {100.0 * choice.exact_error_frac:.2g} %: the schedule "
                "or the bins have changed since they were chosen.",
            )
        )
    return tuple(out)


def held_selection(conditions: Conditions, row_index, row_weights, group_id) -> RowSelection:
    """Held rows in the form of a fresh selection."""
    groups = int(group_id.max()) + 1
    hours = np.bincount(group_id, conditions.hours, groups)
    reached = np.bincount(group_id[row_index], row_weights, groups)
    return RowSelection(
        index=row_index,
        weights=row_weights,
        group=group_id[row_index],
        residuals=np.zeros((1, 1)),
        worst_error=0.0,
        exact_error=float(np.abs(reached / hours - 1.0).max()),
        method=METHOD_HELD,
        fell_back=False,
        rows=len(row_index),
        bound=len(row_index),
    )
