"""Rows that a candidate is worked out on, and its parts on them: setpoints and states."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ..hours import Conditions
from ..model.loads import ZoneLoads, zone_loads
from ..model.system import RowState
from ..model.unit import Unit
from ..strategies.choose import Setpoints


@dataclass(frozen=True, slots=True, kw_only=True)
class Part:
    """A share of the running time of a candidate under one pair of setpoints."""

    share: float
    setpoints: Setpoints
    state: RowState


@dataclass(frozen=True, slots=True, kw_only=True)
class Rows:
    """Rows of conditions split into running and off ones, with the loads of the running ones."""

    conditions: Conditions
    running: np.ndarray
    on: Conditions
    loads: ZoneLoads

    @classmethod
    def of(cls, unit: Unit, conditions: Conditions) -> Rows:
        running = np.flatnonzero(conditions.fan_on > 0.0)
        on = conditions.take(running)
        return cls(conditions=conditions, running=running, on=on, loads=zone_loads(unit, on))
