"""Second step: hours leave over the year, the one next whose removal adds least to the error that is expected."""

from __future__ import annotations

import numpy as np

from ..dataclass import dataclass
from .directions import PART_DIRECTIONS, digits, first_least, runs
from .recombination import candidates

#: Candidates that the second step treats at a time; its work grows with their cube.
_TOGETHER = 700
#: How many of them leave before arrays are made smaller.
_DROPPED_TOGETHER = 48
#: Of these, how many are set beside the hours of a year at a time.
_ROWS_AT_ONCE = 80
#: Weight of an error in the year's total of a match column, and in that of one rate period of
#: several. Tuned on sixty projects: less weight on the periods makes the year no better, more
#: of it makes it worse.
_YEAR_WEIGHT, _PERIOD_WEIGHT = 100.0, 30.0
#: Weight of the covariance of strategies that are not among the match columns, in the unit in
#: which a squared error of the year counts ``_YEAR_WEIGHT``^2; and principal directions of
#: variation that it uses. Compared on 27 projects that are hard to represent: results change no more
#: than by chance from 100 to 600 and with half to twice the distances; much more takes too much from
#: the year.
LOCAL_WEIGHT, LOCAL_DIRECTIONS = 400.0, 24
#: Weight of the sum of squared weights times jumps of cost: a strategy not among the match columns
#: puts some hours on the other side of a jump than any of those does. Compared as above.
_JUMP_WEIGHT = 2000.0
#: Weight of the sum of squared weights times the group's variance: the error expected of
#: whatever the match columns do not show. Results change little between 0.5 and 8.
_EVENNESS = 2.0
#: A weight that is less than this below 0 is 0. [h]
_NO_HOURS = 1e-7


@dataclass(frozen=True, slots=True, kw_only=True)
class Likely:
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
        hessian = LOCAL_WEIGHT * self.covariance(index, index) + np.diag(_JUMP_WEIGHT * self.jump[index] ** 2)
        return hessian, LOCAL_WEIGHT * target


def select(scores, moments, group_id, hours, period, likely, limit, least_penalty):
    """Both steps. ``scores`` of the scaled match columns along their strongest directions. Returns index (ascending)
    and weights."""
    index, weights = candidates(scores, moments, group_id, hours, period, limit)
    if len(index) > limit:
        kept = []
        # Totals of the year, by rate period, less what the rows chosen so far give: an error that one
        # part has to leave is passed on to the next.
        residual_target = np.zeros((int(period.max()) + 1, scores.shape[1]))
        for part, part_limit in _parts(group_id, group_id[index], moments.shape[1], limit):
            own = np.flatnonzero(part[group_id])
            chosen = np.flatnonzero(part[group_id[index]])
            stay, moved = index[chosen], weights[chosen]
            _add_by_period(residual_target, period[own], hours[own], scores[own])
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
            _add_by_period(residual_target, period[stay], -moved, scores[stay])
            kept.append((stay, moved))
        index, weights = (np.concatenate(arrays) for arrays in zip(*kept))
        order = np.argsort(index)
        index, weights = index[order], weights[order]
    return _polish(index, weights, moments, group_id, hours)


def _add_by_period(totals, period, weights, scores):
    """Add weighted scores (n, directions) to the totals of their rate periods (P, directions), in place."""
    for k in range(len(totals)):
        own = period == k
        totals[k] += weights[own] @ scores[own]


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
    members = runs(group_id)
    for g, local in enumerate(runs(group)):
        u, singular, _ = np.linalg.svd(moments[index[local]], full_matrices=True)
        rank = int((singular > 1e-10 * singular[0]).sum())
        basis = np.zeros((n, len(local) - rank))
        basis[local] = u[:, rank:]
        bases.append(basis)
        variance[local] = scores[members[g], :PART_DIRECTIONS].var(axis=0).sum()
    soft_parts, target_parts = [_YEAR_WEIGHT * scores[index].T], [_YEAR_WEIGHT * residual_target.sum(axis=0)]
    if len(residual_target) > 1:
        for k, total in enumerate(residual_target):
            own = np.where((period[index] == k)[:, None], scores[index, :PART_DIRECTIONS], 0.0)
            soft_parts.append(_PERIOD_WEIGHT * own.T)
            target_parts.append(_PERIOD_WEIGHT * total[:PART_DIRECTIONS])
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
    factor = np.zeros((n, _DROPPED_TOGETHER))
    alive = np.ones(n, dtype=bool)
    places, k = np.arange(n), 0
    settled = False
    for _ in range(n - limit):
        if k == _DROPPED_TOGETHER:
            # Rows that have left are dropped from time to time: the work goes with the square of those that are there.
            left = np.flatnonzero(alive)
            pairs = np.ix_(left, left)
            covariance = covariance[pairs] - factor[left] @ factor[left].T
            hessian, soft, gradient = hessian[pairs], soft[:, left], gradient[left]
            weights, diagonal, places = weights[left], diagonal[left], places[left]
            factor, alive, k = np.zeros((len(left), _DROPPED_TOGETHER)), np.ones(len(left), dtype=bool), 0
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
            cost = np.full(len(places), np.inf)
            np.divide(weights**2, diagonal, out=cost, where=free)
            trial = np.argsort(digits(cost), kind="stable")[: min(12, int(free.sum()))]
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
        k += 1
    return places[alive], weights[alive]


def _advance(weights, step, free):
    """Weights after a step, or at the first that reaches zero, and which that is (or None)."""
    ratio = np.full(len(weights), np.inf)
    np.divide(weights, -step, out=ratio, where=free & (step < 0))
    out = first_least(ratio)
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
        for local in runs(group_id[index]):
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
