"""Percentiles of draws, and the interval of a share that was counted."""

from __future__ import annotations

import math

import numpy as np

from .results import NEVER, Quantiles

#: The percentiles that are reported. [-]
LEVELS = (0.1, 0.5, 0.9)
# Halvings of the search of an end of an interval: to 1e-15.
_HALVINGS = 50


def quantiles(values, run: float | None, missing: str = "") -> Quantiles:
    """P10, P50 and P90 of draws.

    Parameters
    ----------
    values : ndarray
        Infinite where the quantity never comes; NaN where it has no value, which it then has in no draw that is
        reported.
    run : float or None
        Value of the run; infinite or None where it has none.
    missing : str
        Why there is no value where draws are NaN or infinite; ``NEVER`` if not given.

    Notes
    -----
    Between neighbours among the sorted draws on a straight line (definition 7 of Hyndman and Fan, American Statistician
    50, 1996), no value where one of the two neighbours that count is infinite.
    """
    values = np.ravel(values)
    known = None if run is None or not math.isfinite(run) else float(run)
    if not len(values) or np.isnan(values).any():
        return Quantiles(p10=None, p50=None, p90=None, run=known, missing=missing)
    ordered = np.sort(values)
    found = [_at(ordered, level) for level in LEVELS]
    never = float(np.isinf(ordered).mean())
    some = any(value is None for value in found) or (run is not None and math.isinf(run))
    return Quantiles(
        p10=found[0],
        p50=found[1],
        p90=found[2],
        run=known,
        never_frac=never,
        missing=(missing or NEVER) if some else "",
    )


def _at(ordered: np.ndarray, level: float) -> float | None:
    place = level * (len(ordered) - 1)
    low = int(math.floor(place))
    high = min(low + 1, len(ordered) - 1)
    part = place - low
    if math.isinf(ordered[low]) or (part > 0.0 and math.isinf(ordered[high])):
        return None
    return float(ordered[low] + part * (ordered[high] - ordered[low])) if part > 0.0 else float(ordered[low])


def share_interval(count: int, of: int, level: float = 0.9) -> tuple[float, float]:
    """Interval of the share behind ``count`` of so many independent draws (Clopper and Pearson, Biometrika 26, 1934).

    Each end leaves at most half of what the level leaves. Draws that fill their space more evenly than chance make it
    cautious.
    """
    if of <= 0 or not 0 <= count <= of:
        raise ValueError(f"{count} of {of}")
    tail = 0.5 * (1.0 - level)
    low = 0.0 if count == 0 else _root(lambda p: 1.0 - _at_most(count - 1, of, p) < tail)
    high = 1.0 if count == of else _root(lambda p: _at_most(count, of, p) >= tail)
    return low, high


def _root(below) -> float:
    """Share up to which a condition holds, by halving."""
    low, high = 0.0, 1.0
    for _ in range(_HALVINGS):
        middle = 0.5 * (low + high)
        low, high = (middle, high) if below(middle) else (low, middle)
    return 0.5 * (low + high)


def _at_most(count: int, of: int, p: float) -> float:
    """Probability of at most so many of ``of`` at a share p: sum of the binomial distribution."""
    if p <= 0.0:
        return 1.0
    if p >= 1.0:
        return 1.0 if count >= of else 0.0
    terms = [
        math.lgamma(of + 1) - math.lgamma(k + 1) - math.lgamma(of - k + 1) + k * math.log(p) + (of - k) * math.log1p(-p)
        for k in range(count + 1)
    ]
    return min(math.fsum(math.exp(term) for term in terms), 1.0)
