"""How measured hours scatter about what weather and occupancy explain: by the hour, and by days one after the other.

What is measured in hour i of day d is ``y = x b + m (u_d + v_i)``: terms of weather and time, and deviations in
proportion to ``m``, the size of what is measured. Those of a day, u, are alike for all its hours and fade from day to
day
with the correlation rho (over k days rho^k); those of an hour, v, are by themselves. Of the two parameters, rho and the
share of u in the variance, nothing is assumed: each pair of a grid counts by how well it explains the residuals (the
restricted likelihood, with all pairs alike beforehand). A sum of coefficients is then a mixture of t distributions,
one a
pair, so that few days, or days that hang together, widen the interval by themselves.

References
----------
Restricted likelihood: Harville, Biometrika 61 (1974) 383-385, which shows that it is the likelihood of the variances
with
flat coefficients; from memory. Effective number of independent days: ASHRAE Guideline 14-2014, ``n' = n (1 - rho) /
(1 + rho)``, as quoted from memory in sources on measurement and verification.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.linalg import cho_solve_banded, cholesky_banded
from scipy.special import stdtrit

#: Pairs of parameters: correlation from day to day, and logit of the share of the variance that days have.
_RHO = np.array([0.02, 0.1, 0.2, 0.3, 0.4, 0.5, 0.6, 0.7, 0.8, 0.88, 0.94])
_LOGIT = np.linspace(-4.0, 8.0, 19)
#: Pairs that count less than this for the best one are left out.
_LEAST_WEIGHT = 1e-4
#: Hours deviate in proportion to what is measured, and by no less than in proportion to this share of its mean.
LEAST_SIZE = 0.2
#: Equally likely values by which a distribution is held.
QUANTILES = (np.arange(400) + 0.5) / 400.0


@dataclass(frozen=True, slots=True)
class Fit:
    """Coefficients of measured hours, and how sure they are.

    Parameters
    ----------
    weight : ndarray (G,)
        Of each pair of parameters; they add up to 1.
    beta : ndarray (p,)
    cov : ndarray (G, p, p)
        Covariance of the coefficients.
    rho, day_frac, sigma : ndarray (G,)
        Correlation from day to day, share of days in the variance, and standard deviation of an hour relative to ``m``.
    dof : int
        Hours less coefficients.
    days, hours : int
    size : float
        Mean of ``m``.
    cv_day : float
        Standard deviation of daily means about the fit, relative to the mean: CV(RMSE) of days.
    """

    weight: np.ndarray
    beta: np.ndarray
    cov: np.ndarray
    rho: np.ndarray
    day_frac: np.ndarray
    sigma: np.ndarray
    dof: int
    days: int
    hours: int
    size: float
    cv_day: float

    @property
    def mean_rho(self) -> float:
        """Correlation from day to day, as the residuals have it in the mean."""
        return float(self.weight @ self.rho)

    @property
    def independent_days(self) -> float:
        """Days that tell as much as these if each were by itself: n (1 - rho) / (1 + rho)."""
        return self.days * (1.0 - self.mean_rho) / (1.0 + self.mean_rho)

    def total(self, c: np.ndarray) -> np.ndarray:
        """Distribution of ``c b``: its values at :data:`QUANTILES`. (Q,)"""
        scale = np.sqrt(np.maximum(np.einsum("i,gij,j->g", c, self.cov, c), 0.0))
        # Each t distribution by its own equally likely values; the mixture by weighted order.
        t = stdtrit(float(self.dof), QUANTILES)
        values = (float(self.beta @ c) + scale[:, None] * t).ravel()
        weights = np.repeat(self.weight / len(t), len(t))
        order = np.argsort(values)
        at = np.cumsum(weights[order]) - 0.5 * weights[order]
        return np.interp(QUANTILES, at, values[order])

    def expected(self, c: np.ndarray) -> float:
        """Mean of ``c b``."""
        return float(self.beta @ c)


def fit_hours(x: np.ndarray, y: np.ndarray, day: np.ndarray) -> Fit:
    """Coefficients of measured hours.

    Parameters
    ----------
    x : ndarray (n, p)
        Terms of weather and time; of full rank.
    y : ndarray (n,)
        Measured, finite, more hours than terms.
    day : ndarray (n,) of int
        Number of the day of each hour, in any order.
    """
    order = np.argsort(day, kind="stable")
    x, y, day = x[order], y[order], day[order]
    n, p = x.shape
    explained, m, size = sizes_of(x, y)
    xs, ys = x / m[:, None], y / m
    days, place, count = np.unique(day, return_inverse=True, return_counts=True)
    gaps = np.diff(days).astype(float)
    zx = np.zeros((len(days), p))
    np.add.at(zx, place, xs)
    zy = np.bincount(place, ys, len(days))
    xx, xy, yy = xs.T @ xs, xs.T @ ys, float(ys @ ys)
    z = np.column_stack([zx, zy])
    # Coefficients are those of least squares, which are means of bins. Weights by days would rest on the course of
    # single days, in which warmth is also the time of day.
    inverse = np.linalg.inv(xx)
    beta = inverse @ xy
    apart = np.abs(days[:, None] - days[None, :])
    found, of_days = [], []
    for rho in _RHO:
        phi = rho**gaps
        inner = 1.0 / (1.0 - phi**2)
        main = np.ones(len(days))
        main[1:] = inner
        main[:-1] += phi**2 * inner
        beside = -phi * inner
        log_r = float(np.sum(np.log1p(-(phi**2))))
        of_days.append(inverse @ (zx.T @ (rho**apart) @ zx) @ inverse)
        for logit in _LOGIT:
            ratio = np.exp(logit)  # variance of days over that of hours
            band = np.zeros((2, len(days)))
            band[0] = main / ratio + count
            band[1, :-1] = beside / ratio
            chol = cholesky_banded(band, lower=True)
            solved = cho_solve_banded((chol, True), z)
            a = xx - zx.T @ solved[:, :-1]
            b = xy - zx.T @ solved[:, -1]
            q = yy - float(zy @ solved[:, -1])
            low = np.linalg.cholesky(a)
            half = np.linalg.solve(low, b)
            rest = max(q - float(half @ half), 1e-300)
            log_v = 2.0 * float(np.log(chol[0]).sum()) + log_r + len(days) * logit
            log_l = -0.5 * (log_v + 2.0 * float(np.log(np.diag(low)).sum()) + (n - p) * np.log(rest))
            share = ratio / (1.0 + ratio)
            # All shares alike beforehand: a step of the logit is a step of share (1 - share).
            found.append((log_l + np.log(share * (1.0 - share)), rho, share, ratio, rest / (n - p)))
    best = max(f[0] for f in found)
    spacing = np.gradient(_RHO)
    weights = np.array([np.exp(f[0] - best) * spacing[k // len(_LOGIT)] / spacing.max() for k, f in enumerate(found)])
    kept = np.flatnonzero(weights > _LEAST_WEIGHT)
    weights = weights[kept]
    _, rho_kept, share_kept, ratio_kept, rest_kept = np.array([found[k] for k in kept]).T
    cov = np.array([v * (inverse + r * of_days[k // len(_LOGIT)]) for k, r, v in zip(kept, ratio_kept, rest_kept)])
    residual = np.bincount(place, y - explained, len(days)) / count
    return Fit(
        weight=weights / weights.sum(),
        beta=beta,
        cov=cov,
        rho=rho_kept,
        day_frac=share_kept,
        sigma=np.sqrt(rest_kept / (1.0 - share_kept)),
        dof=n - p,
        days=len(days),
        hours=n,
        size=size,
        cv_day=float(np.sqrt(np.average(residual**2, weights=count)) / size),
    )


def sizes_of(x: np.ndarray, y: np.ndarray) -> tuple[np.ndarray, np.ndarray, float]:
    """What the terms explain, the size in proportion to which hours deviate, and its mean. (n,), (n,), float"""
    explained = x @ np.linalg.lstsq(x, y, rcond=None)[0]
    size = max(float(np.mean(np.abs(explained))), 1e-12)
    return explained, np.maximum(np.abs(explained), LEAST_SIZE * size), size


def combined(first: np.ndarray, second: np.ndarray, sign: float = -1.0) -> np.ndarray:
    """Distribution of ``first + sign * second``, independent of one another, each given by equally likely values."""
    both = np.sort((first[:, None] + sign * second[None, :]).ravel())
    return np.quantile(both, QUANTILES)


def interval(values: np.ndarray, confidence: float = 0.90) -> tuple[float, float]:
    """Ends of the interval that has this probability in its middle."""
    tail = 0.5 * (1.0 - confidence)
    low, high = np.interp([tail, 1.0 - tail], QUANTILES, values)
    return float(low), float(high)
