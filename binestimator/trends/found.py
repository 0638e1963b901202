"""What a finding is: value, range, hours behind it, reason; or that it cannot be told."""

from __future__ import annotations

from dataclasses import field

import numpy as np

from ..dataclass import dataclass


@dataclass(frozen=True, slots=True)
class InputFound:
    """An input of a project that a finding gives.

    Parameters
    ----------
    path : str
        As evidence names it: ``schedule.weekday_hours``, ``candidate.as_found.sat.points``, ``zone.Lobby.min_cfm``.
    value : object
        As a project file would have it.
    low, high : float or None
        Range that the log allows.
    evidence : str
        One or two sentences.
    """

    path: str
    value: object
    evidence: str
    low: float | None = None
    high: float | None = None


@dataclass(frozen=True, slots=True)
class Found:
    """One finding.

    Parameters
    ----------
    key : str
        Name of the finding, the same in every log.
    title : str
    known : bool
        False: it cannot be told from this log, and ``reason`` says why.
    text : str
        The finding in plain words; empty where it is not known.
    reason : str
        How it was found, or why it cannot be told.
    hours : float
        Hours of the log behind it.
    value : dict
        Figures, as plain data.
    inputs : tuple of InputFound
    caution : bool
        Somebody should look at it.
    """

    key: str
    title: str
    known: bool
    text: str
    reason: str
    hours: float = 0.0
    value: dict = field(default_factory=dict)
    inputs: tuple[InputFound, ...] = ()
    caution: bool = False


def unknown(key: str, title: str, reason: str, hours: float = 0.0) -> Found:
    """A finding that cannot be told from the log."""
    return Found(key, title, False, "", reason, hours)


def quantiles(values: np.ndarray, *shares: float) -> list[float]:
    """Quantiles of finite values; NaN where there are none."""
    finite = values[np.isfinite(values)]
    return [float(q) for q in np.quantile(finite, shares)] if finite.size else [float("nan")] * len(shares)


def runs(mask: np.ndarray) -> list[tuple[int, int]]:
    """Begin and end (exclusive) of each run of true values."""
    edges = np.flatnonzero(np.diff(np.concatenate(([False], mask.astype(bool), [False])).astype(np.int8)))
    return [(int(a), int(b)) for a, b in zip(edges[::2], edges[1::2])]


def clock(hour: float) -> str:
    """Clock time of an hour with fraction."""
    minutes = int(round(hour * 60.0))
    return f"{minutes // 60}:{minutes % 60:02d}"


def days_listed(days: np.ndarray, most: int = 6) -> str:
    """Days by date, the first few of many; days that follow one another as a span."""
    days = np.unique(days.astype("datetime64[D]"))
    if not len(days):
        return "none"
    cuts = np.flatnonzero(np.diff(days.astype(np.int64)) > 1) + 1
    spans = [str(part[0]) if len(part) == 1 else f"{part[0]} to {part[-1]}" for part in np.split(days, cuts)]
    more = f" and {len(spans) - most} more" if len(spans) > most else ""
    return ", ".join(spans[:most]) + more
