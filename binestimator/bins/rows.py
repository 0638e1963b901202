"""The few real hours that represent a year, with weights."""

from __future__ import annotations

import numpy as np

from ..dataclass import dataclass
from .directions import leading
from .elimination import LOCAL_DIRECTIONS, Likely, select
from .recombination import moment_rows

#: Most rows for a year at the default grouping.
MAX_ROWS = 240
#: Rows kept for the match columns when the groups alone need almost all of ``MAX_ROWS``.
RESERVED_ROWS = 60
#: Principal directions of the match columns that are followed over the year.
_DIRECTIONS = 160
#: Least penalty on uneven weights (``elimination._EVENNESS``), of the largest variance. Where running hours are far
#: dearer to move than hours that cost nothing the first leaves too few digits: the selection is then tried with the
#: next.
_LEAST_PENALTIES = (1e-9, 1e-6)
#: Exact conditions must hold to this relative error, or the selection counts as failed.
EXACT_TOLERANCE = 1e-9
METHOD_REPRESENTATIVE = "real hours by recombination and least-error elimination"
METHOD_MOMENTS = "real hours that keep hours, temperature and moisture of each group only"


@dataclass(frozen=True, slots=True, kw_only=True)
class RowSelection:
    """Real hours that represent a year.

    Parameters
    ----------
    index : ndarray (n,), int
        Rows of the hourly conditions, ascending.
    weights : ndarray (n,)
        Hours that each represents. [h/yr] > 0
    group : ndarray (n,), int
        Group of each row.
    residuals : ndarray (P, M)
        (sum over the rows - sum over the hours) / scale of every match column, by rate
        period. [fraction of the column's scale]
    worst_error : float
        Largest absolute residual.
    exact_error : float
        Largest relative error of an exact column's mean in a group (of the hours: of the
        group's hours; of another column: of its largest magnitude in the year).
    method : str
        How the rows were found, in words; names the fallback and its reason if one was used.
    fell_back : bool
        True if the rows do not reproduce the match columns.
    rows : int
        Number of rows.
    bound : int
        Largest number of rows this grouping can give.
    """

    index: np.ndarray
    weights: np.ndarray
    group: np.ndarray
    residuals: np.ndarray
    worst_error: float
    exact_error: float
    method: str
    fell_back: bool
    rows: int
    bound: int


def representative_rows(
    conditions,
    group_id,
    match,
    exact=None,
    *,
    scale=None,
    period=None,
    variation=None,
    place=None,
    jump=None,
    max_rows=MAX_ROWS,
):
    """A few real hours per group, with weights, that represent all hours.

    Parameters
    ----------
    conditions : Conditions
        Hourly conditions (H rows).
    group_id : ndarray (H,), int
        Group of each hour, 0 .. groups - 1, each used.
    match : ndarray (H, M)
        What the rows should reproduce over the year: end uses of a few reference settings.
    exact : ndarray (H, E), optional
        What must be exact in every group besides the hours; outdoor temperature and
        humidity ratio when not given.
    scale : ndarray (M,), optional
        Total against which an error of a match column counts. Default: its own sum over the
        year, but at least a twentieth of the largest (columns in one unit, such as cost).
    period : ndarray (H,), int, optional
        Rate period: totals of the match columns are reproduced in each.
    variation : ndarray (H, V), optional
        How settings differ in each hour: cost of every end use at several settings less that
        of the mean setting, as fractions of the scale of the match columns. Default: nothing
        is expected of strategies beyond the match columns.
    place : ndarray (H, K), optional
        Coordinates of each hour; strategies treat hours alike if they lie well within one unit
        of each other. Default: all hours are alike.
    jump : ndarray (H,), optional
        By how much the cost of each hour may change at once with a small change of a setting, as
        a fraction of the scale of the match columns. Default: by nothing.
    max_rows : int
        Most rows, unless the groups alone need more (see Notes).

    Returns
    -------
    RowSelection

    Raises
    ------
    ValueError
        Shapes differ, a value is not finite, a weight is not above 0, or a group is unused.

    Notes
    -----
    A group of n hours needs at most min(n, 1 + E) rows for its exact columns. Where these
    leave too few of ``max_rows`` for the match columns (``RESERVED_ROWS``, or a third of
    their sum if that is more), the row limit is their sum plus that many instead.
    ``RowSelection.bound`` is the limit.
    If the linear algebra fails or the exact columns are missed by more than
    ``EXACT_TOLERANCE``, with each of the least penalties, the rows keep the exact columns only and
    ``method`` says why.
    The same input gives the same rows.
    """
    group_id = np.asarray(group_id, dtype=np.int64)
    hours = np.asarray(conditions.hours, dtype=float)
    if exact is None:
        exact = np.column_stack([conditions.oat_f, conditions.humidity_ratio])
    exact = _columns("exact", exact, len(hours))
    match = _columns("match", match, len(hours))
    if len(group_id) != len(hours):
        raise ValueError(f"group_id: {len(group_id)} values for {len(hours)} hours")
    counts = np.bincount(group_id)
    if counts.min() == 0:
        raise ValueError(f"group_id: group {int(counts.argmin())} has no hours")
    if not (np.isfinite(hours).all() and (hours > 0).all()):
        raise ValueError("hours: every weight must be a number above 0")
    period = np.zeros(len(hours), np.int64) if period is None else np.asarray(period)
    period = np.unique(period, return_inverse=True)[1]
    if scale is None:
        total = hours @ np.abs(match)
        scale = np.maximum(total, 0.05 * total.max(initial=0.0))
    scale = np.where(np.asarray(scale, dtype=float) > 0, scale, 1.0)

    variation = _columns("variation", np.zeros((len(hours), 0)) if variation is None else variation, len(hours))
    place = _columns("place", np.zeros((len(hours), 0)) if place is None else place, len(hours))
    jump = _columns("jump", np.zeros((len(hours), 1)) if jump is None else np.reshape(jump, (-1, 1)), len(hours))[:, 0]
    likely = Likely(variation=leading(variation, LOCAL_DIRECTIONS), place=place, jump=jump, hours=hours)

    moments = _moments(exact, group_id, hours)
    needed = int(np.minimum(counts, moments.shape[1]).sum())
    reserved = max(RESERVED_ROWS, needed // 3)
    limit = min(len(hours), max(int(max_rows), needed + reserved))
    for least_penalty in _LEAST_PENALTIES:
        reason = ""
        try:
            scores = leading(match, _DIRECTIONS, scale)
            index, weights = select(scores, moments, group_id, hours, period, likely, limit, least_penalty)
        except np.linalg.LinAlgError as error:
            reason = f"linear algebra failed ({error})"
        else:
            exact_error = _exact_error(index, weights, moments, group_id, hours)
            if not exact_error <= EXACT_TOLERANCE:
                reason = f"exact columns missed by {exact_error:.1e}"
            elif not (weights > 0).all():
                reason = "a weight is not above 0"
        if not reason:
            break
    method = METHOD_REPRESENTATIVE
    if reason:
        method = f"{METHOD_MOMENTS}; fallback, because the selection failed: {reason}"
        index, weights = moment_rows(moments, group_id, hours)
        exact_error = _exact_error(index, weights, moments, group_id, hours)

    periods = int(period.max()) + 1
    residuals = np.empty((periods, match.shape[1]))
    for k in range(periods):
        chosen = period[index] == k
        reached = weights[chosen] @ match[index[chosen]]
        # Other periods by no hours: a part of the columns would be another thirty megabytes.
        residuals[k] = (reached - np.where(period == k, hours, 0.0) @ match) / scale
    return RowSelection(
        index=index,
        weights=weights,
        group=group_id[index],
        residuals=residuals,
        worst_error=float(np.abs(residuals).max(initial=0.0)),
        exact_error=exact_error,
        method=method,
        fell_back=bool(reason),
        rows=len(index),
        bound=needed if reason else limit,
    )


def _columns(name, values, rows):
    values = np.asarray(values, dtype=float)
    if values.ndim != 2 or len(values) != rows:
        raise ValueError(f"{name}: expected ({rows}, columns); got {values.shape}")
    if not np.isfinite(values).all():
        column = int(np.flatnonzero(~np.isfinite(values).all(axis=0))[0])
        raise ValueError(f"{name}: column {column} holds a value that is not a finite number")
    return values


def _moments(exact, group_id, hours):
    """Columns [1, (exact - group mean) / range of the year], that sum to [hours, 0 ...]."""
    total = np.bincount(group_id, hours)
    columns = [np.ones(len(hours))]
    for values in exact.T:
        spread = values.max() - values.min()
        mean = np.bincount(group_id, hours * values) / total
        columns.append((values - mean[group_id]) / (spread if spread > 0 else 1.0))
    return np.column_stack(columns)


def _exact_error(index, weights, moments, group_id, hours):
    """Largest error of a moment of a group, as a share of the group's hours."""
    groups = int(group_id.max()) + 1
    total = np.bincount(group_id, hours, groups)
    worst = 0.0
    for k, column in enumerate(moments.T):
        reached = np.bincount(group_id[index], weights * column[index], groups)
        target = total if k == 0 else 0.0
        worst = max(worst, float(np.abs((reached - target) / total).max()))
    return worst
