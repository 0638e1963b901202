"""Peak demand in a window of hours by the averaging rule of a programme, from the hours of that window alone."""

from __future__ import annotations

import numpy as np

#: Averaging rules in words, by their names in ``terms.csv``.
AVERAGING = {
    "mean": "mean of all its hours",
    "max_hour": "its largest hour",
    "mean_of_top": "mean of its {top} largest hours",
    "mean_of_daily_max": "mean over its days of the largest hour",
}


def window_demand_kw(kw, inside, day, averaging: str, top_hours: int = 10):
    """Demand of a window. [kW]

    Parameters
    ----------
    kw : ndarray (H,) or (H, ...)
        Mean power of each hour. [kW]
    inside : ndarray (H,) of bool
        Hours of the window.
    day : ndarray (H,) of int
        Day of each hour, by the clock.
    averaging : str
        One of ``AVERAGING``.
    top_hours : int
        Largest hours that ``mean_of_top`` takes; all of them where the window has fewer.

    Returns
    -------
    float or ndarray (...)
        0 for a window without hours.

    Raises
    ------
    ValueError
        Another averaging rule.
    """
    values = np.asarray(kw, dtype=float)[inside]
    if averaging not in AVERAGING:
        raise ValueError(f"averaging: got {averaging!r}; expected one of {', '.join(AVERAGING)}")
    if len(values) == 0:
        return np.zeros(values.shape[1:])[()]
    if averaging == "mean":
        return values.mean(axis=0)
    if averaging == "max_hour":
        return values.max(axis=0)
    if averaging == "mean_of_top":
        return np.sort(values, axis=0)[-top_hours:].mean(axis=0)
    days = np.asarray(day)[inside]
    return np.mean([values[days == each].max(axis=0) for each in np.unique(days)], axis=0)


def windows_asked(project) -> tuple[int, ...]:
    """Windows whose demand is drawn: those that the project names, and those that an incentive pays for."""
    terms = project.terms
    paid = {terms.window_of(rule) for rule in terms.incentives if rule.usd_kw > 0.0}
    named = set() if terms.window_assumed else set(range(len(terms.windows)))
    return tuple(sorted(paid | named))
