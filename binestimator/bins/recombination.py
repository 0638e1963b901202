"""First step: in each group, fewer hours that keep its moments and leading directions exact."""

from __future__ import annotations

import numpy as np

from .directions import PART_DIRECTIONS, TIE, first_least, independent, principal, runs

#: Hours kept by the first step beyond the rows wanted, and at least beyond the moments.
_SURPLUS = 240
#: Most principal directions held exact in one group and rate period by the first step. Where
#: settings differ from hour to hour, as around the stop of mechanical cooling, fewer leave too
#: few hours to choose from.
_GROUP_DIRECTIONS = 64
#: Its multiples leave remainders that are spread evenly and never meet (see :func:`_move_to_vertex`).
_GOLDEN = 0.6180339887498949


def _move_to_vertex(features, weights):
    """Non-negative weights with the same weighted sums of the features, at most d of them above 0.

    ``features`` is (m, d) with m > d. Each null vector of the transpose is followed until a
    weight reaches zero; that point is then pivoted out of the remaining null vectors.
    """
    m, d = features.shape
    # Rows are scaled unevenly for the decomposition, since it goes by the signs of leading elements,
    # and those that are 0 by symmetry would be left to rounding.
    uneven = (1.0 + np.modf(_GOLDEN * np.arange(m))[0])[:, None]
    # A null vector a row.
    null = np.ascontiguousarray((uneven * np.linalg.qr(uneven * features, mode="complete")[0][:, d:]).T)
    weights = weights.copy()
    ratio = np.empty(m)
    work = np.empty(null.shape)
    for k in range(m - d):
        step = null[k]
        if step.max() * (1.0 + TIE) < -step.min():
            step = -step
        ratio.fill(np.inf)
        np.divide(weights, step, out=ratio, where=step > 1e-12)
        out = first_least(ratio)
        weights -= ratio[out] * step
        np.maximum(weights, 0.0, out=weights)
        weights[out] = 0.0
        rest = null[k + 1 :]
        rest -= np.multiply.outer(rest[:, out], step / step[out], out=work[k + 1 :])
        rest[:, out] = 0.0
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


def moment_rows(moments, group_id, hours):
    """Hours that keep the moments of each group only (the fallback)."""
    index, weights = [], []
    for members in runs(group_id):
        chosen, weight = _recombine(independent(moments[members]), hours[members])
        index.append(members[chosen])
        weights.append(weight)
    rows, row_weights = np.concatenate(index), np.concatenate(weights)
    order = np.argsort(rows)
    return rows[order], row_weights[order]


def candidates(scores, moments, group_id, hours, period, limit):
    """First step: hours that keep moments and leading directions of each group and period."""
    members = runs(group_id * (period.max() + 1) + period)
    parts = [principal(scores[m, :PART_DIRECTIONS]) for m in members]
    # The directions kept are the strongest of the whole year, wherever they lie.
    energies = np.sort(np.concatenate([energy for _, energy, _ in parts]))[::-1]
    spare = max(limit + _SURPLUS - len(members) * moments.shape[1], _SURPLUS)
    floor = energies[min(spare, len(energies) - 1)] if len(energies) else 0.0
    floor = max(floor, 1e-12 * energies.max(initial=0.0))
    index, weights = [], []
    for m, (centred, energy, directions) in zip(members, parts):
        kept = min(int((energy > floor).sum()), _GROUP_DIRECTIONS)
        along = centred @ directions[:, :kept] / np.sqrt(energy[:kept] / len(m))
        features = np.column_stack([independent(moments[m]), along])
        # Blocks of neighbours along the strongest direction are alike, so that the hours
        # left spread over the whole range.
        order = np.argsort(np.round(along[:, 0], 7), kind="stable") if kept else np.arange(len(m))
        chosen, weight = _recombine(features[order], hours[m][order])
        index.append(m[order[chosen]])
        weights.append(weight)
    rows, row_weights = np.concatenate(index), np.concatenate(weights)
    order = np.argsort(rows)
    return rows[order], row_weights[order]
