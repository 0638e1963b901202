"""Groups of like hours, and the few rows that represent them.

Hours are grouped by outdoor-temperature bin and running mode. Two ways to represent the
hours of a group: :func:`mean_rows` (one row at mean conditions, the classic bin method)
and :func:`representative_rows` (a few real hours with weights). The second exists because
the model is not linear: the mean of max(0, x), of a clipped flow and of a cube differ from
the same functions of the mean, so mean rows put reheat and fan energy low.

Representative rows are found in two steps, with numpy alone and always with a feasible
answer, since the hours with their own weights satisfy every condition:

1. *Recombination* in each group: hours are removed and their weight moved to others along
   null vectors of the moment matrix, which leaves hours, temperature, moisture and the
   group's principal directions of the match columns exact and no weight negative, with as
   many hours left as there are moments (Caratheodory's theorem, by pivoting).
2. *Elimination* over the year, down to the row limit: the hour goes whose removal, when all
   other weights move to make up for it, adds least to the squared error that is expected:
   of the match columns over the year and in each rate period, of strategies that differ from
   those columns here and there (below), and of what no column shows (unevenness of weights).
   Hours, temperature and moisture of each group stay exact; a step that would make a weight
   negative stops at zero.

A strategy that is not among the match columns follows one setting in some hours and another
in others, and like hours get like settings. Its cost less that of the mean setting is taken
for a random combination of the ways in which settings differ (*variation*), whose factors
are the more alike the nearer two hours are (*place*): covariance v_i . v_j exp(-distance).
The expected squared error of weights is then a quadratic form, as in Bayesian quadrature. Where
cost jumps with a setting, as where mechanical cooling stops at once, an hour is on one side or
the other by itself, and what counts is the square of its own weight (*jump*).

References
----------
C. Litterer and T. Lyons, High order recombination and an application to cubature on Wiener
space, Annals of Applied Probability 22 (2012), section 3 (recombination by blocks; from
memory). B. Hassibi and D. Stork, Second order derivatives for network pruning: optimal
brain surgeon, NIPS 1992 (removal at least squared error with all others readjusted; from
memory). A. O'Hagan, Bayes-Hermite quadrature, Journal of Statistical Planning and Inference 29
(1991) (weights of least expected squared error under a covariance; from memory). The
combination is this project's.
"""

from __future__ import annotations

import dataclasses
from dataclasses import dataclass

import numpy as np
import pandas as pd

from binestimator.hours import bin_low_f

#: Most rows for a year at the default grouping.
MAX_ROWS = 240
#: Rows kept for the match columns when the groups alone need almost all of ``MAX_ROWS``.
RESERVED_ROWS = 60
#: Principal directions of the match columns that are followed over the year, and in each
#: rate period and group.
_DIRECTIONS, _PART_DIRECTIONS = 160, 64
#: Hours kept by the first step beyond the rows wanted, and at least beyond the moments.
_SURPLUS = 240
#: Candidates that the second step treats at a time; its work grows with their cube.
_TOGETHER = 700
#: Of these, how many are set beside the hours of a year at a time.
_ROWS_AT_ONCE = 80
#: Most principal directions held exact in one group and rate period by the first step. Where
#: settings differ from hour to hour, as around the stop of mechanical cooling, fewer leave too
#: few hours to choose from.
_GROUP_DIRECTIONS = 64
#: Weight of an error in the year's total of a match column, and in that of one rate period of
#: several. Tuned on sixty projects: less weight on the periods makes the year no better, more
#: of it makes it worse.
_YEAR_WEIGHT, _PERIOD_WEIGHT = 100.0, 30.0
#: Weight of the covariance of strategies that are not among the match columns, in the unit in
#: which a squared error of the year counts ``_YEAR_WEIGHT``^2; and principal directions of
#: variation that it uses. Compared on 27 projects that are hard to represent: results change no more
#: than by chance from 100 to 600 and with half to twice the distances; much more takes too much from
#: the year.
_LOCAL_WEIGHT, _LOCAL_DIRECTIONS = 400.0, 24
#: Weight of the sum of squared weights times jumps of cost: a strategy not among the match columns
#: puts some hours on the other side of a jump than any of those does. Compared as above.
_JUMP_WEIGHT = 2000.0
#: Weight of the sum of squared weights times the group's variance: the error expected of
#: whatever the match columns do not show. Results change little between 0.5 and 8.
_EVENNESS = 2.0
#: Least of that weight, of the largest variance. Where running hours are far dearer to move than hours
#: that cost nothing the first leaves too few digits: the selection is then tried with the next.
_LEAST_PENALTIES = (1e-9, 1e-6)
#: Values this near each other, relatively, are equal: the same hours then come out on every machine.
_TIE = 1e-6
#: Its multiples leave remainders that are spread evenly and never meet (see :func:`_move_to_vertex`).
_GOLDEN = 0.6180339887498949
#: A weight that is less than this below 0 is 0. [h]
_NO_HOURS = 1e-7
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


def group_keys(conditions, bins_record):
    """Group of each row, and what each group is.

    Parameters
    ----------
    conditions : Conditions
        Hourly conditions (R rows).
    bins_record : record
        ``width_f``, ``by_month``, ``by_rate_period``.

    Returns
    -------
    group_id : ndarray (R,), int
        0 .. groups - 1, in ascending order of the keys.
    groups : DataFrame
        One line a group: ``bin_low_f, occupied, fan_on``, ``month`` and ``rate_period`` if
        they are keys, ``rows`` (of the conditions) and ``hours`` [h/yr].
    """
    keys = {
        "bin_low_f": bin_low_f(conditions.oat_f, bins_record.width_f).astype(np.int64),
        "occupied": np.asarray(conditions.occupied > 0.5, dtype=np.int64),
        "fan_on": np.asarray(conditions.fan_on > 0.5, dtype=np.int64),
    }
    if bins_record.by_month:
        keys["month"] = np.asarray(conditions.month, dtype=np.int64)
    if bins_record.by_rate_period:
        keys["rate_period"] = np.asarray(conditions.rate_period, dtype=np.int64)
    # One integer per row instead of rows of keys: the order is that of the keys.
    code = np.zeros(len(conditions.oat_f), dtype=np.int64)
    for values in keys.values():
        low = values.min()
        code = code * (values.max() - low + 1) + (values - low)
    _, first, group_id, rows = np.unique(code, return_index=True, return_inverse=True, return_counts=True)
    groups = pd.DataFrame({name: values[first] for name, values in keys.items()})
    groups["rows"] = rows
    groups["hours"] = np.bincount(group_id, conditions.hours, len(rows))
    return group_id, groups


def mean_rows(conditions, group_id):
    """One row per group at the mean conditions of its hours: the classic bin method.

    Parameters
    ----------
    conditions : Conditions
        Hourly conditions (R rows).
    group_id : ndarray (R,), int
        0 .. groups - 1, each used.

    Returns
    -------
    Conditions
        One row a group, ascending. Hours are summed; every other array keeps a value that
        all rows of the group share, and is otherwise their mean weighted by hours, or -1
        if it holds integers. Those that name one hour (``hour_of_year, day, hour_start``)
        are always -1.
    """
    group_id = np.asarray(group_id)
    groups = int(group_id.max()) + 1
    rows = len(group_id)
    hours = np.asarray(conditions.hours, dtype=float)
    total = np.bincount(group_id, hours, groups)
    weight = hours / total[group_id]
    order = np.argsort(group_id, kind="stable")
    start = np.searchsorted(group_id[order], np.arange(groups))
    changes = {}
    for field in dataclasses.fields(conditions):
        values = getattr(conditions, field.name)
        if not isinstance(values, np.ndarray) or values.ndim == 0 or len(values) != rows:
            continue
        if field.name == "hours":
            changes[field.name] = total
            continue
        low = np.minimum.reduceat(values[order], start, axis=0)
        high = np.maximum.reduceat(values[order], start, axis=0)
        if field.name in ("hour_of_year", "day", "hour_start"):
            changes[field.name] = np.full_like(low, -1)
        elif np.issubdtype(values.dtype, np.integer):
            changes[field.name] = np.where(low == high, low, -1)
        else:
            shaped = weight.reshape((rows,) + (1,) * (values.ndim - 1))
            mean = np.add.reduceat((values * shaped)[order], start, axis=0)
            # A shared value, and the range of the hours, survive the rounding of the sum.
            changes[field.name] = np.clip(mean, low, high)
    return dataclasses.replace(conditions, **changes)


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
    likely = _Likely(variation=_leading(variation, _LOCAL_DIRECTIONS), place=place, jump=jump, hours=hours)

    moments = _moments(exact, group_id, hours)
    needed = int(np.minimum(counts, moments.shape[1]).sum())
    reserved = max(RESERVED_ROWS, needed // 3)
    limit = min(len(hours), max(int(max_rows), needed + reserved))
    for least_penalty in _LEAST_PENALTIES:
        reason = ""
        try:
            scores = _leading(match / scale, _DIRECTIONS)
            index, weights = _select(scores, moments, group_id, hours, period, likely, limit, least_penalty)
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
        index, weights = _moment_rows(moments, group_id, hours)
        exact_error = _exact_error(index, weights, moments, group_id, hours)

    periods = int(period.max()) + 1
    residuals = np.empty((periods, match.shape[1]))
    for k in range(periods):
        chosen, all_hours = period[index] == k, period == k
        reached = weights[chosen] @ match[index[chosen]]
        residuals[k] = (reached - hours[all_hours] @ match[all_hours]) / scale
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


def _runs(key):
    """Positions of each value of an integer key, ascending: list of index arrays."""
    order = np.argsort(key, kind="stable")
    return np.split(order, np.flatnonzero(np.diff(key[order])) + 1)


def _digits(values):
    """Values to five digits, to be compared: what is equal but for rounding is then equal on every machine."""
    values = np.asarray(values, dtype=float)
    usual = np.isfinite(values) & (values != 0.0)
    unit = 10.0 ** (np.floor(np.log10(np.abs(values), where=usual, out=np.zeros_like(values))) - 4.0)
    return np.where(usual, np.round(values / unit) * unit, values)


def _first_least(values):
    """Position of the least value; of several that are equal but for rounding, the first."""
    return int((values <= values.min() * (1.0 + _TIE)).argmax())


def _signs_fixed(directions):
    """Directions (M, k) with their largest component above 0: an eigenvector has no sign of its own."""
    if not directions.size:
        return directions
    largest = np.take_along_axis(directions, np.abs(directions).argmax(axis=0)[None], axis=0)
    return directions * np.where(largest < 0.0, -1.0, 1.0)


def _move_to_vertex(features, weights):
    """Non-negative weights with the same weighted sums of the features, at most d of them above 0.

    ``features`` is (m, d) with m > d. Each null vector of the transpose is followed until a
    weight reaches zero; that point is then pivoted out of the remaining null vectors.
    """
    m, d = features.shape
    # Rows are scaled unevenly for the decomposition, since it goes by the signs of leading elements,
    # and those that are 0 by symmetry would be left to rounding.
    uneven = (1.0 + np.modf(_GOLDEN * np.arange(m))[0])[:, None]
    null = uneven * np.linalg.qr(uneven * features, mode="complete")[0][:, d:]
    weights = weights.copy()
    ratio = np.empty(m)
    for k in range(m - d):
        step = null[:, k]
        if step.max() * (1.0 + _TIE) < -step.min():
            step = -step
        ratio.fill(np.inf)
        np.divide(weights, step, out=ratio, where=step > 1e-12)
        out = _first_least(ratio)
        weights -= ratio[out] * step
        np.maximum(weights, 0.0, out=weights)
        weights[out] = 0.0
        rest = null[:, k + 1 :]
        rest -= np.outer(step / step[out], rest[out])
        rest[out] = 0.0
    return weights


def _recombine(features, weights):
    """Positions and weights of at most d points with the same weighted sums of (n, d) features.

    Works on at most 2 d blocks of neighbours at a time (each at its barycentre), drops about
    half of the blocks, and repeats, so that the work grows with log n.
    """
    d = features.shape[1]
    index = np.arange(len(weights))
    weights = np.asarray(weights, dtype=float)
    while len(index) > d:
        blocks = min(len(index), 2 * d)
        start = (np.arange(blocks) * len(index)) // blocks
        mass = np.add.reduceat(weights, start)
        centre = np.add.reduceat(features[index] * weights[:, None], start, axis=0) / mass[:, None]
        factor = _move_to_vertex(centre, mass) / mass
        factor = np.repeat(factor, np.diff(np.append(start, len(index))))
        keep = factor > 0
        index, weights = index[keep], weights[keep] * factor[keep]
    return index, weights


def _independent(moments):
    """Moment columns of one group without those that do not vary in it."""
    varies = np.ptp(moments, axis=0) > 1e-12
    varies[0] = True
    return moments[:, varies]


def _moment_rows(moments, group_id, hours):
    """Hours that keep the moments of each group only (the fallback)."""
    index, weights = [], []
    for members in _runs(group_id):
        chosen, weight = _recombine(_independent(moments[members]), hours[members])
        index.append(members[chosen])
        weights.append(weight)
    rows, row_weights = np.concatenate(index), np.concatenate(weights)
    order = np.argsort(rows)
    return rows[order], row_weights[order]


def _principal(values):
    """Directions (M, M) and energies (M,), descending, of rows of values about their mean."""
    centred = values - values.mean(axis=0)
    energy, directions = np.linalg.eigh(centred.T @ centred)
    return centred, np.maximum(energy[::-1], 0.0), _signs_fixed(directions[:, ::-1])


def _leading(values, count):
    """Rows of values along their ``count`` strongest directions, about zero."""
    return values @ _signs_fixed(np.linalg.eigh(values.T @ values)[1][:, ::-1][:, :count])


@dataclass(frozen=True, slots=True, kw_only=True)
class _Likely:
    """What strategies that are not among the match columns may cost: see the module's text.

    ``variation`` (H, V), ``place`` (H, K), ``jump`` (H,), ``hours`` (H,).
    """

    variation: np.ndarray
    place: np.ndarray
    jump: np.ndarray
    hours: np.ndarray

    def covariance(self, some, others):
        """Covariance of costs between two sets of hours, (len(some), len(others))."""
        a, b = self.place[some], self.place[others]
        # In place: these are large.
        squared = (a**2).sum(axis=1)[:, None] + (b**2).sum(axis=1)
        twice = a @ b.T
        twice *= 2.0
        squared -= twice
        del twice
        np.sqrt(np.maximum(squared, 0.0, out=squared), out=squared)
        alike = np.exp(np.negative(squared, out=squared), out=squared)
        out = self.variation[some] @ self.variation[others].T
        out *= alike
        return out

    def form(self, index, all_hours):
        """Hessian (n, n) and gradient at no weights, times -1, (n,) of half the expected squared error of weights at
        ``index`` that represent ``all_hours``. Which side of a jump an hour is on is its own matter, so
        that error grows with the square of each weight."""
        live = all_hours[np.any(self.variation[all_hours] != 0.0, axis=1)]
        # Some of the rows at a time: all of them with the hours of a year take some fifty megabytes.
        some = [index[first : first + _ROWS_AT_ONCE] for first in range(0, len(index), _ROWS_AT_ONCE)]
        target = np.concatenate([self.covariance(rows, live) @ self.hours[live] for rows in some])
        hessian = _LOCAL_WEIGHT * self.covariance(index, index) + np.diag(_JUMP_WEIGHT * self.jump[index] ** 2)
        return hessian, _LOCAL_WEIGHT * target


def _select(scores, moments, group_id, hours, period, likely, limit, least_penalty):
    """Both steps. ``scores`` of the scaled match columns along their strongest directions. Returns index (ascending)
    and weights."""
    index, weights = _candidates(scores, moments, group_id, hours, period, limit)
    if len(index) > limit:
        kept = []
        # Totals of the year, by rate period, less what the rows chosen so far give: an error that one
        # part has to leave is passed on to the next.
        residual_target = np.zeros((int(period.max()) + 1, scores.shape[1]))
        for part, part_limit in _parts(group_id, group_id[index], moments.shape[1], limit):
            own = np.flatnonzero(part[group_id])
            chosen = np.flatnonzero(part[group_id[index]])
            stay, moved = index[chosen], weights[chosen]
            np.add.at(residual_target, period[own], hours[own, None] * scores[own])
            if len(chosen) > part_limit:
                keep, moved = _eliminate(
                    np.searchsorted(own, stay),
                    moved,
                    scores[own],
                    moments[own],
                    np.unique(group_id[own], return_inverse=True)[1],
                    period[own],
                    residual_target,
                    likely.form(stay, own),
                    part_limit,
                    least_penalty,
                )
                stay = stay[keep]
            np.subtract.at(residual_target, period[stay], moved[:, None] * scores[stay])
            kept.append((stay, moved))
        index, weights = (np.concatenate(arrays) for arrays in zip(*kept))
        order = np.argsort(index)
        index, weights = index[order], weights[order]
    return _polish(index, weights, moments, group_id, hours)


def _parts(group_id, group, moments, limit):
    """Runs of groups of at most about ``_TOGETHER`` candidates, each with its share of the rows.

    Yields a mask over groups and a row limit. At the default grouping there is one part. A
    part gets the rows that its groups need and a share of the rest in proportion to the
    candidates that it has beyond them.
    """
    groups = int(group_id.max()) + 1
    needed = np.cumsum(np.minimum(np.bincount(group_id, minlength=groups), moments))
    candidates = np.cumsum(np.bincount(group, minlength=groups))
    parts = -(-int(candidates[-1]) // _TOGETHER)
    number = np.minimum((candidates - 1) * parts // candidates[-1], parts - 1)
    surplus = max(int(candidates[-1] - needed[-1]), 1)
    allowed = needed + (candidates - needed) * (limit - int(needed[-1])) // surplus
    before = 0
    for k in range(parts):
        mask = number == k
        if mask.any():
            after = int(allowed[mask][-1])
            yield mask, after - before
            before = after


def _candidates(scores, moments, group_id, hours, period, limit):
    """First step: hours that keep moments and leading directions of each group and period."""
    members = _runs(group_id * (period.max() + 1) + period)
    parts = [_principal(scores[m, :_PART_DIRECTIONS]) for m in members]
    # The directions kept are the strongest of the whole year, wherever they lie.
    energies = np.sort(np.concatenate([energy for _, energy, _ in parts]))[::-1]
    spare = max(limit + _SURPLUS - len(members) * moments.shape[1], _SURPLUS)
    floor = energies[min(spare, len(energies) - 1)] if len(energies) else 0.0
    floor = max(floor, 1e-12 * energies.max(initial=0.0))
    index, weights = [], []
    for m, (centred, energy, directions) in zip(members, parts):
        kept = min(int((energy > floor).sum()), _GROUP_DIRECTIONS)
        along = centred @ directions[:, :kept] / np.sqrt(energy[:kept] / len(m))
        features = np.column_stack([_independent(moments[m]), along])
        # Blocks of neighbours along the strongest direction are alike, so that the hours
        # left spread over the whole range.
        order = np.argsort(np.round(along[:, 0], 7), kind="stable") if kept else np.arange(len(m))
        chosen, weight = _recombine(features[order], hours[m][order])
        index.append(m[order[chosen]])
        weights.append(weight)
    rows, row_weights = np.concatenate(index), np.concatenate(weights)
    order = np.argsort(rows)
    return rows[order], row_weights[order]


def _eliminate(index, weights, scores, moments, group_id, period, residual_target, likely, limit, least_penalty):
    """Second step: positions within ``index`` that stay, and their weights.

    ``residual_target`` (P, directions) are the totals of the scores to reach, by rate period; ``likely``
    Hessian (n, n) and gradient (n,) of the error expected of other strategies.
    """
    n = len(index)
    group = group_id[index]
    # Freedom: an orthonormal basis of weight changes that keep the moments of every group.
    bases = []
    variance = np.zeros(n)
    members = _runs(group_id)
    for g, local in enumerate(_runs(group)):
        u, singular, _ = np.linalg.svd(moments[index[local]], full_matrices=True)
        rank = int((singular > 1e-10 * singular[0]).sum())
        basis = np.zeros((n, len(local) - rank))
        basis[local] = u[:, rank:]
        bases.append(basis)
        variance[local] = scores[members[g], :_PART_DIRECTIONS].var(axis=0).sum()
    soft_parts, target_parts = [_YEAR_WEIGHT * scores[index].T], [_YEAR_WEIGHT * residual_target.sum(axis=0)]
    if len(residual_target) > 1:
        for k, total in enumerate(residual_target):
            own = np.where((period[index] == k)[:, None], scores[index, :_PART_DIRECTIONS], 0.0)
            soft_parts.append(_PERIOD_WEIGHT * own.T)
            target_parts.append(_PERIOD_WEIGHT * total[:_PART_DIRECTIONS])
    basis, soft, target = np.hstack(bases), np.vstack(soft_parts), np.concatenate(target_parts)
    penalty = _EVENNESS * variance + least_penalty * max(variance.max(), 1e-30)

    hessian, gradient = likely
    reduced = soft @ basis
    curvature = reduced.T @ reduced + basis.T @ ((hessian + np.diag(penalty)) @ basis)
    # covariance: change of all weights per unit of force on one, moments held (n, n).
    covariance = basis @ np.linalg.solve(curvature, basis.T)
    covariance = 0.5 * (covariance + covariance.T)
    diagonal = np.maximum(np.diag(covariance).copy(), 0.0)
    solid = 1e-12 * diagonal.max()

    # The covariance of the rows left is covariance - L L', a pivoted Cholesky factor that grows by one
    # column a removal.
    factor = np.zeros((n, n - limit))
    alive = np.ones(n, dtype=bool)
    settled = False
    for k in range(n - limit):
        free = alive & (diagonal > solid)
        if not free.any():
            break
        past = factor[:, :k]
        out = None
        if not settled:
            # To the least error with these rows; one that reaches zero on the way leaves.
            force = soft.T @ (target - soft @ weights) + gradient - hessian @ weights
            step = np.where(free, covariance @ force - past @ (past.T @ force), 0.0)
            weights, out = _advance(weights, step, free)
            settled = out is None
        if settled:
            # Removal of row i moves the weights by -w_i covariance[:, i] / covariance[i, i] and adds
            # w_i^2 / (2 covariance[i, i]) to the error. Cheapest first, if no weight turns negative.
            cost = np.full(n, np.inf)
            np.divide(weights**2, diagonal, out=cost, where=free)
            trial = np.argsort(_digits(cost), kind="stable")[: min(12, int(free.sum()))]
            columns = covariance[:, trial] - past @ factor[trial, :k].T
            steps = np.where(free[:, None], -columns * (weights[trial] / diagonal[trial]), 0.0)
            feasible = np.flatnonzero((weights[:, None] + steps).min(axis=0) >= -_NO_HOURS)
            if len(feasible):
                out = int(trial[feasible[0]])
                weights = weights + steps[:, feasible[0]]
            else:
                weights, out = _advance(weights, steps[:, 0], free)
                settled = False
        np.maximum(weights, 0.0, out=weights)
        alive[out] = False
        weights[out] = 0.0
        column = covariance[:, out] - past @ factor[out, :k]
        factor[:, k] = column / np.sqrt(diagonal[out])
        diagonal = np.maximum(diagonal - factor[:, k] ** 2, 0.0)
    keep = np.flatnonzero(alive)
    return keep, weights[keep]


def _advance(weights, step, free):
    """Weights after a step, or at the first that reaches zero, and which that is (or None)."""
    ratio = np.full(len(weights), np.inf)
    np.divide(weights, -step, out=ratio, where=free & (step < 0))
    out = _first_least(ratio)
    if ratio[out] >= 1.0:
        return weights + step, None
    return weights + ratio[out] * step, out


def _polish(index, weights, moments, group_id, hours):
    """Rounding in the moments of every group, and rows without a weight, taken out."""
    if not np.isfinite(weights).all():
        raise np.linalg.LinAlgError("weights are not finite")
    weights = weights.copy()
    total = np.bincount(group_id, hours)
    while True:
        for local in _runs(group_id[index]):
            features = moments[index[local]]
            miss = -weights[local] @ features
            miss[0] += total[group_id[index[local[0]]]]
            weights[local] += np.linalg.lstsq(features.T, miss, rcond=1e-10)[0]
        # A row left with next to nothing, or with less by rounding, goes; then look again.
        keep = weights > 1e-10 * total[group_id[index]]
        if keep.all():
            return index, weights
        index, weights = index[keep], weights[keep]
        if len(index) == 0:
            raise np.linalg.LinAlgError("no row has a weight above 0")


def row_table(conditions, selection):
    """Each representative hour with its date, weight and weather.

    Parameters
    ----------
    conditions : Conditions
        The hourly conditions that the selection was made from.
    selection : RowSelection
        The rows.

    Returns
    -------
    DataFrame
        One line a row, by group, then by hour of the year: ``group, bin_low_f, occupied,
        fan_on, month, day, hour_start`` (standard time), ``hour_of_year, when`` (text such
        as "Jul 04 14h"), ``weight_h, oat_f, oawb_f, humidity_ratio, rate_period`` and
        ``index`` (row of the hourly conditions).
    """
    order = np.lexsort((selection.index, selection.group))
    index = selection.index[order]
    table = pd.DataFrame({"group": selection.group[order]})
    for name in ("bin_low_f", "occupied", "fan_on", "month", "day", "hour_start", "hour_of_year"):
        table[name] = np.asarray(getattr(conditions, name))[index].astype(np.int64)
    table["when"] = [
        f"{_MONTHS[m]} {d:02d} {h:02d}h" for m, d, h in zip(table["month"], table["day"], table["hour_start"])
    ]
    table["weight_h"] = selection.weights[order]
    for name in ("oat_f", "oawb_f", "humidity_ratio"):
        table[name] = np.asarray(getattr(conditions, name))[index]
    table["rate_period"] = np.asarray(conditions.rate_period)[index].astype(np.int64)
    table["index"] = index
    return table


_MONTHS = ("", "Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")


def bin_table(conditions, selection=None, *, width_f=5, means=None):
    """Bins of outdoor temperature: hours, coincident moisture, representative hours.

    Parameters
    ----------
    conditions : Conditions
        Hourly conditions (R rows).
    selection : RowSelection, optional
        Representative hours to list.
    width_f : int
        Bin width. [degF] 2, 5 or 10
    means : mapping of name to ndarray (R,), optional
        Further columns to average by hours, such as airflow; hours with NaN (fan off) do
        not count.

    Returns
    -------
    DataFrame
        One line a bin, ascending, without gaps between the coldest and the warmest:
        ``bin_low_f, bin_high_f`` (left-closed), ``range`` (text), ``midpoint_f, hours,
        hours_occupied, hours_unoccupied_running, hours_off`` [h/yr], ``mean_oat_f, mcwb_f``
        (mean coincident wet bulb) [degF], ``mean_humidity_ratio`` [lb/lb], those of
        ``means``, ``rows`` and ``representative_hours`` (text "Jul 04 14h x 31.2; ...",
        date, hour, weight in h/yr). A bin without hours has 0 hours and NaN means.

    Raises
    ------
    ArithmeticError
        Hours of the bins do not total those of the conditions.
    """
    low = bin_low_f(conditions.oat_f, width_f).astype(np.int64)
    first = int(low.min())
    bins = (low - first) // int(width_f)
    count = int(bins.max()) + 1
    hours = np.asarray(conditions.hours, dtype=float)
    fan_on = np.asarray(conditions.fan_on) > 0.5
    occupied = (np.asarray(conditions.occupied) > 0.5) & fan_on

    def total(values):
        return np.bincount(bins, values, count)

    def mean(values):
        values = np.asarray(values, dtype=float)
        weight = np.where(np.isnan(values), 0.0, hours)
        counted = total(weight)
        result = np.full(count, np.nan)
        np.divide(total(weight * np.nan_to_num(values)), counted, out=result, where=counted > 0)
        return result

    low_f = first + int(width_f) * np.arange(count)
    table = pd.DataFrame({"bin_low_f": low_f, "bin_high_f": low_f + int(width_f)})
    table["range"] = [f"{a} to <{a + int(width_f)}" for a in low_f]
    table["midpoint_f"] = low_f + int(width_f) / 2
    table["hours"] = total(hours)
    table["hours_occupied"] = total(hours * occupied)
    table["hours_unoccupied_running"] = total(hours * (fan_on & ~occupied))
    table["hours_off"] = total(hours * ~fan_on)
    table["mean_oat_f"] = mean(conditions.oat_f)
    table["mcwb_f"] = mean(conditions.oawb_f)
    table["mean_humidity_ratio"] = mean(conditions.humidity_ratio)
    for name, values in (means or {}).items():
        table[name] = mean(values)
    parts = table[["hours_occupied", "hours_unoccupied_running", "hours_off"]].sum(axis=1)
    year = hours.sum()
    miss = max(abs(table["hours"].sum() - year), (parts - table["hours"]).abs().max())
    if not miss <= 1e-9 * year:
        raise ArithmeticError(f"bin hours total {table['hours'].sum()}, not the {year} h given")
    if selection is not None:
        rows = row_table(conditions, selection)
        rows = rows.assign(bin=bins[rows["index"].to_numpy()]).sort_values(["bin", "index"])
        texts = [""] * count
        for b, when, weight in zip(rows["bin"], rows["when"], rows["weight_h"]):
            texts[b] += f"{'; ' if texts[b] else ''}{when} x {weight:.1f}"
        table["rows"] = np.bincount(rows["bin"].to_numpy(), minlength=count)
        table["representative_hours"] = texts
    return table
