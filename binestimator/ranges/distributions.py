"""Distributions of uncertain inputs by their quantiles, and what joins them."""

from __future__ import annotations

import math
from statistics import NormalDist

import numpy as np

from ..dataclass import dataclass

#: Kinds: ``triangular`` between low and high with its peak at the base; ``uniform`` between low and high; ``normal``
#: with low and high as P10 and P90 and the base as median, each side with its own spread.
KINDS = ("triangular", "uniform", "normal")
_P90 = NormalDist().inv_cdf(0.9)


@dataclass(frozen=True, slots=True)
class Distribution:
    """One of ``KINDS`` with its three numbers, low <= base <= high."""

    kind: str
    low: float
    base: float
    high: float

    def quantile(self, u) -> np.ndarray:
        """Value below which a share u of draws lies. (...)"""
        u = np.asarray(u, dtype=float)
        low, base, high = self.low, self.base, self.high
        if high <= low:
            return np.full(u.shape, base)
        if self.kind == "uniform":
            return low + u * (high - low)
        if self.kind == "normal":
            z = normal_scores(u) / _P90
            return base + np.where(z < 0.0, z * (base - low), z * (high - base))
        left = low + np.sqrt(u * (high - low) * (base - low))
        right = high - np.sqrt((1.0 - u) * (high - low) * (high - base))
        return np.where(u * (high - low) < base - low, left, right)

    @property
    def width(self) -> float:
        """P90 less P10."""
        low, high = self.quantile(np.array([0.1, 0.9]))
        return float(high - low)


def normal_scores(u) -> np.ndarray:
    """Values of the standard normal distribution at shares. (...)"""
    find = NormalDist().inv_cdf
    flat = [find(value) for value in np.ravel(u)]
    return np.array(flat).reshape(np.shape(u))


def normal_shares(z) -> np.ndarray:
    """Shares of the standard normal distribution below values. (...)"""
    flat = [0.5 * math.erfc(-value / math.sqrt(2.0)) for value in np.ravel(z)]
    return np.array(flat).reshape(np.shape(z))


def joined(u, common, correlation: float) -> np.ndarray:
    """Shares (N,) with a part in common with others: normal scores correlated by ``correlation`` with each of them.

    ``z = sqrt(r) z_common + sqrt(1 - r) z_own`` (one-factor normal copula).
    """
    z = math.sqrt(correlation) * normal_scores(common) + math.sqrt(1.0 - correlation) * normal_scores(u)
    return normal_shares(z)
