"""Samples added to the slots of their days, in memory that does not grow with their number."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from binestimator.trends.tables import Table

DAY_S = 86_400
#: Slots that a log may be put into. [s]
SLOTS = (60, 120, 300, 600, 900, 1800, 3600)
#: Cells (slots times points) up to which the finest are taken: some 100 MB.
MOST_CELLS = 8_000_000


def slot_seconds(tables: Sequence[Table], points: int) -> int:
    """Length of slots: the finest that the samples fill and that memory allows. [s]"""
    finest = min((table.interval_s for table in tables), default=300.0)
    spans = 0.0
    for table in tables:
        span = table.last_s - table.first_s
        by_lines = np.inf if table.long else table.records * table.interval_s * 1.2
        spans = max(spans, min(span, by_lines) + DAY_S)
    for step in SLOTS:
        if step >= 0.75 * finest and spans / step * max(points, 1) <= MOST_CELLS:
            return step
    return SLOTS[-1]


class Days:
    """Sums and counts of samples by day, point and slot."""

    def __init__(self, points: int, step_s: int):
        self.points, self.step, self.slots = points, step_s, DAY_S // step_s
        self.sums: dict[int, np.ndarray] = {}
        self.counts: dict[int, np.ndarray] = {}
        self.lasts: dict[int, np.ndarray] = {}

    def add(self, place: int, seconds: np.ndarray, values: np.ndarray) -> None:
        """Samples of a point in the order of time."""
        days = seconds // DAY_S
        slot = (seconds - days * DAY_S) // self.step
        edges = np.flatnonzero(np.diff(days)) + 1
        for begin, end in zip((0, *edges), (*edges, len(days))):
            day = int(days[begin])
            if day not in self.sums:
                self.sums[day] = np.zeros((self.points, self.slots), np.float32)
                self.counts[day] = np.zeros((self.points, self.slots), np.uint16)
                self.lasts[day] = np.full((self.points, self.slots), np.nan, np.float32)
            part, within = slot[begin:end], values[begin:end]
            self.sums[day][place] += np.bincount(part, within, self.slots).astype(np.float32)
            count = self.counts[day][place]
            count += np.minimum(np.bincount(part, minlength=self.slots), 65_535 - count).astype(np.uint16)
            self.lasts[day][place][part] = within
