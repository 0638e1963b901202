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

import numpy as np
from scipy.special import stdtrit

from ..dataclass import dataclass

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
    xx = xs.T @ xs
    # Coefficients are those of least squares, which are means of bins. Weights by days would rest on the course of
    # single days, in which warmth is also the time of day.
    inverse = np.linalg.inv(xx)
    beta = inverse @ (xs.T @ ys)
    # What is left of them has the same likelihood, and no difference of large numbers in it.
    left = ys - xs @ beta
    xy, yy = xs.T @ left, float(left @ left)
    z = np.column_stack([zx, np.bincount(place, left, len(days))])
    apart = np.abs(days[:, None] - days[None, :])
    rho = np.repeat(_RHO, len(_LOGIT))  # (G,)
    logit = np.tile(_LOGIT, len(_RHO))
    ratio = np.exp(logit)  # variance of days over that of hours
    zx_z, log_det = _within_days(z, count, gaps, rho, ratio)
    a = xx - zx_z[:, :-1, :-1]
    b = xy - zx_z[:, :-1, -1]
    q = yy - zx_z[:, -1, -1]
    low = np.linalg.cholesky(a)
    half = np.linalg.solve(low, b[..., None])[..., 0]
    rest = np.maximum(q - np.sum(half**2, axis=1), 1e-300)
    log_v = log_det + len(days) * logit
    log_a = 2.0 * np.log(np.diagonal(low, axis1=1, axis2=2)).sum(axis=1)
    log_l = -0.5 * (log_v + log_a + (n - p) * np.log(rest))
    share = ratio / (1.0 + ratio)
    # All shares alike beforehand: a step of the logit is a step of share (1 - share).
    log_l += np.log(share * (1.0 - share))
    spacing = np.gradient(_RHO)
    weights = np.exp(log_l - log_l.max()) * np.repeat(spacing / spacing.max(), len(_LOGIT))
    kept = np.flatnonzero(weights > _LEAST_WEIGHT)
    weights, rest = weights[kept], rest[kept] / (n - p)
    of_days = {r: inverse @ (zx.T @ (r**apart) @ zx) @ inverse for r in np.unique(rho[kept])}
    cov = np.array([v * (inverse + k * of_days[r]) for r, k, v in zip(rho[kept], ratio[kept], rest)])
    residual = np.bincount(place, y - explained, len(days)) / count
    return Fit(
        weight=weights / weights.sum(),
        beta=beta,
        cov=cov,
        rho=rho[kept],
        day_frac=share[kept],
        sigma=np.sqrt(rest / (1.0 - share[kept])),
        dof=n - p,
        days=len(days),
        hours=n,
        size=size,
        cv_day=float(np.sqrt(np.average(residual**2, weights=count)) / size),
    )


def _within_days(z, count, gaps, rho, ratio) -> tuple[np.ndarray, np.ndarray]:
    """``Z' M^-1 Z`` of sums by day for each pair of parameters, and the logarithm of the determinant of what M is of.

    Parameters
    ----------
    z : ndarray (D, k)
        Sums by day.
    count, gaps : ndarray (D,), (D - 1,)
        Hours of each day, and days between one and the next.
    rho, ratio : ndarray (G,)

    Returns
    -------
    ndarray (G, k, k), ndarray (G,)

    Notes
    -----
    M = T / ratio + diag(count), where T is the inverse of the correlation of days: three diagonals. All pairs take the
    steps of ``M = L D L'`` together, day after day.
    """
    phi = rho[:, None] ** gaps  # (G, D - 1)
    inner = 1.0 / (1.0 - phi**2)
    main = np.ones((len(rho), len(count)))
    main[:, 1:] = inner
    main[:, :-1] += phi**2 * inner
    main = main / ratio[:, None] + count
    beside = -phi * inner / ratio[:, None]
    pivot, solved = np.empty_like(main), np.empty((len(rho), len(count), z.shape[1]))
    pivot[:, 0], solved[:, 0] = main[:, 0], z[0]
    for k in range(1, len(count)):
        step = beside[:, k - 1] / pivot[:, k - 1]
        pivot[:, k] = main[:, k] - step * beside[:, k - 1]
        solved[:, k] = z[k] - step[:, None] * solved[:, k - 1]
    log_det = np.log(pivot).sum(axis=1) + np.log1p(-(phi**2)).sum(axis=1)
    solved /= np.sqrt(pivot)[:, :, None]
    return solved.transpose(0, 2, 1) @ solved, log_det


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
