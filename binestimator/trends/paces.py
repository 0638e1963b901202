"""How often a point is logged, and how long its values hold: at fixed times, or on change of value."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from binestimator.trends.log import PointStats
from binestimator.trends.points import kinds

#: Of a point that is logged on change of value: changes it takes to tell, share that may be none or tiny, and a rest as
#: a multiple of the usual step, in at least a share of the time.
_LEAST_CHANGES, _FEW, _RESTED, _LEAST_REST = 20, 0.01, 2.5, 0.1


def paces(points: Sequence[PointStats]) -> None:
    """Pace of all points. Where most are logged on change of value, a noisy one that rests at times is as well."""
    for stats in points:
        _pace(stats)
    if sum(stats.on_change for stats in points) > 0.5 * len(points):
        for stats in points:
            stats.on_change = stats.on_change or _rests(stats)


def _pace(stats: PointStats) -> None:
    """Usual interval, and whether the point is logged on change of value."""
    total = sum(stats.steps.values())
    if not total:
        stats.on_change = stats.kept > 0
        return
    steps = np.array(list(stats.steps), dtype=float)
    weights = np.array(list(stats.steps.values()), dtype=float)
    order = np.argsort(steps)
    middle = int(np.searchsorted(np.cumsum(weights[order]), 0.5 * total))
    stats.interval_s = float(steps[order][min(middle, len(steps) - 1)])
    usual = (
        weights[np.abs(steps - steps[np.argmax(weights)]) <= max(2.0, 0.02 * steps[np.argmax(weights)])].sum() / total
    )
    # On and off that never repeats itself is a list of starts and stops.
    switches = kinds()[stats.entry.kind].unit_class == "status" and total > 1 and stats.equal == 0
    stats.on_change = (
        bool(usual < 0.6 and (stats.equal < 0.3 * total or total < 50)) or switches or _by_threshold(stats)
    )


def _by_threshold(stats: PointStats) -> bool:
    """Whether samples are there only where the value has moved: none repeats the one before, all move by some least
    amount, and where it rested there is none. A value that is read at fixed times repeats itself or moves by next to
    nothing now and then, whatever is missing."""
    if not _rests(stats):
        return False
    changes = np.concatenate(stats.changes)
    return bool(np.mean(changes < 0.25 * np.median(changes)) <= _FEW)


def _rests(stats: PointStats) -> bool:
    """Whether a point has pauses and hardly a sample that repeats the one before."""
    steps = np.array(list(stats.steps), dtype=float)
    counts = np.array(list(stats.steps.values()), dtype=float)
    changes = sum(map(len, stats.changes))
    if changes < _LEAST_CHANGES or stats.equal > _FEW * changes:
        return False
    rested = steps > _RESTED * stats.interval_s
    return bool((steps * counts)[rested].sum() >= _LEAST_REST * (steps * counts).sum())


def held_on(mean: np.ndarray, last: np.ndarray, start: np.ndarray, hold_s: float) -> np.ndarray:
    """Empty slots take the last value before them while it holds."""
    known = np.isfinite(mean)
    place = np.where(known, np.arange(len(mean)), -1)
    place = np.maximum.accumulate(place)
    filled = mean.copy()
    empty = ~known & (place >= 0)
    age = start[empty] - start[place[empty]]
    within = age <= hold_s
    target = np.flatnonzero(empty)[within]
    filled[target] = last[place[target]]
    return filled
