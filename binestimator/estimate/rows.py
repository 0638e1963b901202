"""Rows that a candidate is worked out on, and its parts on them: setpoints and states."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from ..dataclass import dataclass
from ..hours import Conditions
from ..model.loads import LoadsOnDemand, ZoneLoads, blocks, loads_of
from ..model.system import RowState
from ..model.unit import Unit
from ..strategies.choose import Setpoints

_ROWS_SUMMED = 64
# Fewer rows take hardly longer at once.
_LEAST_HALF = 1000


@dataclass(frozen=True, slots=True, kw_only=True)
class Part:
    """A share of the running time of a candidate under one pair of setpoints."""

    share: float
    setpoints: Setpoints
    state: RowState


@dataclass(frozen=True, slots=True, kw_only=True)
class Rows:
    """Rows of conditions split into running and off ones, with the loads of the running ones.

    What goes over hours and zones takes them block by block (:meth:`blocks`): ``loads`` of many are worked out anew
    each time.
    """

    conditions: Conditions
    running: np.ndarray
    on: Conditions
    kept: ZoneLoads | LoadsOnDemand

    @classmethod
    def of(cls, unit: Unit, conditions: Conditions) -> Rows:
        running = np.flatnonzero(conditions.fan_on > 0.0)
        on = conditions.take(running)
        return cls(conditions=conditions, running=running, on=on, kept=loads_of(unit, on))

    @property
    def loads(self) -> ZoneLoads:
        """Loads of all running rows."""
        return self.kept.take(slice(None)) if isinstance(self.kept, LoadsOnDemand) else self.kept

    def blocks(self) -> Iterator[tuple[slice, Rows]]:
        """The running rows in blocks small enough to be worked on at once: which of them, and they themselves."""
        if isinstance(self.kept, ZoneLoads):
            yield slice(0, len(self.on)), self
            return
        for part in blocks(len(self.on), len(self.kept.unit.zones)):
            yield part, self.running_part(part)

    def halves(self) -> list[tuple[slice, Rows]]:
        """The running rows in two halves, to be worked on side by side: which of them, and they themselves. One where
        there are few."""
        count = len(self.on)
        # Sums over zones are taken some rows at a time: at a whole number of these they come out as without halves.
        middle = count // 2 // _ROWS_SUMMED * _ROWS_SUMMED
        parts = [slice(0, count)] if middle < _LEAST_HALF else [slice(0, middle), slice(middle, count)]
        return [(part, self.running_part(part)) for part in parts]

    def running_part(self, part: slice) -> Rows:
        """Some of the running rows alone."""
        on = self.on.take(part)
        return Rows(conditions=on, running=np.arange(len(on)), on=on, kept=self.kept.take(part))
