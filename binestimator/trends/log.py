"""A log on a common time base, and what became of the samples of its points."""

from __future__ import annotations

from collections import Counter
from dataclasses import field

import numpy as np

from binestimator.dataclass import dataclass
from binestimator.trends.cells import Words
from binestimator.trends.point_map import Entry, PointMap
from binestimator.trends.tables import Table


@dataclass(slots=True)
class PointStats:
    """What became of the samples of a point.

    Parameters
    ----------
    entry : Entry
    samples : int
        Cells with a time, empty ones included.
    kept : int
    words : Words
        Cells without a number.
    out_of_range, zeros, spikes, repeated, untrusted : int
        Samples left out: outside the plausible range, zero where no air is, spikes, a second sample of the same time,
        marked bad by a column of status.
    low, high : float
        Range of those kept.
    first_s, last_s : float
    interval_s : float
        Usual step between samples.
    on_change : bool
        Logged on change of value.
    stuck_h : float
        Hours left out because the value did not move at all.
    outliers : list
        Some of the values out of range, for the reader.
    """

    entry: Entry
    samples: int = 0
    kept: int = 0
    words: Words = field(default_factory=Words)
    out_of_range: int = 0
    zeros: int = 0
    spikes: int = 0
    repeated: int = 0
    untrusted: int = 0
    low: float = np.inf
    high: float = -np.inf
    first_s: float = np.inf
    last_s: float = -np.inf
    interval_s: float = np.nan
    on_change: bool = False
    stuck_h: float = 0.0
    outliers: list = field(default_factory=list)
    steps: Counter = field(default_factory=Counter)
    equal: int = 0
    changes: list = field(default_factory=list)
    last_value: float = np.nan
    tail_s: float = np.nan

    @property
    def left_out(self) -> int:
        """Samples with a number that were left out."""
        return self.out_of_range + self.zeros + self.spikes + self.repeated + self.untrusted


@dataclass(slots=True)
class Log:
    """A log on a common time base.

    Parameters
    ----------
    start : ndarray of datetime64[s] (R,)
        Wall-clock start of each slot; only slots of days that the log has.
    step_s : int
    values : dict
        Key of a point -> float32 (R,), NaN where nothing was logged.
    stats : dict
        Key -> :class:`PointStats`.
    points : PointMap
    tables : tuple of Table
    zero_lines : int
        Lines in which all temperatures are zero: left out whole.
    set_back, set_forward, backwards : int
        Clock changes seen, and lines out of order.
    """

    start: np.ndarray
    step_s: int
    values: dict[str, np.ndarray]
    stats: dict[str, PointStats]
    points: PointMap
    tables: tuple[Table, ...]
    zero_lines: int = 0
    set_back: int = 0
    set_forward: int = 0
    backwards: int = 0

    @property
    def step_h(self) -> float:
        """Length of a slot. [h]"""
        return self.step_s / 3600.0

    def get(self, key: str) -> np.ndarray | None:
        """Values of a point, or None where the log has none."""
        values = self.values.get(key)
        return values if values is not None and np.isfinite(values).any() else None

    @property
    def zones(self) -> tuple[str, ...]:
        """Names of the zones that have points."""
        return tuple(dict.fromkeys(key.partition("@")[2] for key in self.values if "@" in key))

    @property
    def day(self) -> np.ndarray:
        """Day of each slot. (R,)"""
        return self.start.astype("datetime64[D]")

    @property
    def hour(self) -> np.ndarray:
        """Clock hour of each slot's start, with fraction. (R,)"""
        return (self.start - self.day).astype(np.int64) / 3600.0

    @property
    def weekday(self) -> np.ndarray:
        """0 for Monday to 6. (R,)"""
        return (self.day.astype(np.int64) + 3) % 7  # 1 January 1970 was a Thursday
