"""Demand of candidates in the peak windows of a project."""

from __future__ import annotations

import numpy as np

from ..dataclass import dataclass
from ..hours import Clock, window_hours
from ..money.peaks import window_demand_kw
from ..money.worth import WindowDemand


@dataclass(frozen=True, slots=True, kw_only=True)
class Windows:
    """Peak windows of a project: their records, their hours (8760,) of bool, and the day of each hour by the clock."""

    records: tuple
    inside: tuple[np.ndarray, ...]
    day: np.ndarray

    @classmethod
    def of(cls, project, clock: Clock) -> Windows:
        """Windows of a project's terms."""
        records = project.terms.windows
        inside = tuple(window_hours(clock, project.calendar, w.months, w.days, w.hours) for w in records)
        return cls(records=records, inside=inside, day=clock.day)

    def demand_kw(self, power_kw) -> tuple[float, ...]:
        """Demand in each window from hourly power (8760,). [kW]"""
        return tuple(
            float(window_demand_kw(power_kw, inside, self.day, w.averaging, w.top_hours))
            for w, inside in zip(self.records, self.inside, strict=True)
        )

    def savings(self, power_kw, baseline_kw) -> tuple[WindowDemand, ...]:
        """Demand of a candidate in each window, and the baseline's minus it: each by the same rule from its own
        hours."""
        return tuple(
            WindowDemand(name=w.name, demand_kw=own, saving_kw=base - own)
            for w, own, base in zip(self.records, self.demand_kw(power_kw), self.demand_kw(baseline_kw), strict=True)
        )
