"""What a run at time steps gives the rooms, on the yardstick by which options at rest are judged (``service``).

Depths of air and moisture are those of hourly means, as at rest; rooms are judged at every step.
"""

from __future__ import annotations

from collections.abc import Sequence
from types import SimpleNamespace
from typing import Any

import numpy as np

from ..dataclass import dataclass
from ..inputs.project import Candidate
from ..results import EqualService, ServiceRise
from ..service import ServiceFigures, Yardstick, judge, rises, unit_depths

#: Fields of ``RowState`` whose hourly means are kept for :func:`service.unit_depths`.
AT_UNIT = (
    "oa_cfm",
    "room_humidity_ratio",
    "flow_cfm",
    "sat_f",
    "sat_set_f",
    "capacity_limited",
    "airflow_ceiling",
)
# A room outside its setpoints by less at the first occupied hour is ready. [degF]
LEAST_MISS_F = 0.01


class Served:
    """Depths of N runs by zone line (N, Z), and hourly means at the unit (N, H), added up hour by hour.

    Parameters
    ----------
    yardstick : Yardstick
        Of the baseline, in its R running hours.
    running : ndarray (R,)
        Those hours of the year.
    month : ndarray (H,)
        Of every hour, from 1.
    """

    def __init__(self, yardstick: Yardstick, running, runs: int, hours: int, lines: int, month):
        self.yardstick, self.running = yardstick, np.asarray(running)
        self._row = np.full(hours, -1)
        self._row[self.running] = np.arange(len(self.running))
        self._wanted = ((1.0 - yardstick.rules.outdoor_air_margin_frac) * yardstick.need_cfm()).astype(np.float32)
        self.oa_short, self.oa_promised_short, self.miss_f = (np.zeros((runs, lines)) for _ in range(3))
        self.lowest_f = np.full((runs, lines), np.inf)
        self.at_unit = {name: np.zeros((runs, hours)) for name in AT_UNIT}
        self.starts = 0
        self._month = np.asarray(month) - 1
        # Degree-hours too warm by hour of the day, by month, and of the first hour after each start.
        self.warm = {
            "by_hour": np.zeros((runs, 24, lines)),
            "by_month": np.zeros((runs, 12, lines)),
            "at_start": np.zeros((runs, lines)),
        }

    def on(self, hour, use, means: dict[str, np.ndarray], zone_cfm) -> None:
        """An hour in which the unit runs.

        Parameters
        ----------
        hour : ndarray (K,)
        use : ndarray (K,) bool
            Chunks that count.
        means : dict
            Name of ``AT_UNIT`` to hourly means (N, K).
        zone_cfm : ndarray (N, K, Z)
            Hourly means of airflow.
        """
        hour = hour[use]
        for name, kept in self.at_unit.items():
            kept[:, hour] = means[name][:, use]
        row = self._row[hour]
        known = row >= 0
        if not known.any():
            return
        row, here = row[known], np.flatnonzero(use)[known]
        supply, outdoor = (means[name][:, here] for name in ("flow_cfm", "oa_cfm"))
        share = np.where(supply > 0.0, outdoor / np.where(supply > 0.0, supply, 1.0), 0.0)
        required = self.yardstick.required_cfm[row]
        promised = np.minimum(share, required / np.where(supply > 0.0, supply, 1.0))
        for kept, frac in ((self.oa_short, share), (self.oa_promised_short, promised)):
            given = frac.astype(np.float32)[:, :, None] * zone_cfm[:, here]
            kept += np.maximum(self._wanted[row] - given, 0.0).sum(axis=1)

    def too_warm(self, hour, degree_hours, first) -> None:
        """When rooms are too warm: (N, K, Z) [degF.h] of hours (K,) of the year that count; ``first`` (K,) whether the
        unit started with them."""
        for by, of in (("by_hour", hour % 24), ("by_month", self._month[hour])):
            for k in np.unique(of):
                self.warm[by][:, k] += degree_hours[:, of == k].sum(axis=1)
        self.warm["at_start"] += degree_hours[:, first].sum(axis=1)

    def started(self, air_f, heat_f, cool_f) -> None:
        """Rooms as the unit starts: (N, K, Z), setpoints (K, Z). [degF]"""
        for miss in (heat_f - air_f, air_f - cool_f):
            self.miss_f += np.where(miss > LEAST_MISS_F, miss, 0.0).sum(axis=1)
        self.starts += air_f.shape[1]

    def off(self, air_f) -> None:
        """Rooms at the end of an hour with the unit off. (N, K, Z) [degF]"""
        np.minimum(self.lowest_f, air_f.min(axis=1), out=self.lowest_f)

    def depths(self, run: int, warm, cold) -> dict[str, Any]:
        """Depths of a run by field of ``ServiceFigures``; ``warm``, ``cold`` degree-hours (Z,)."""
        rows: Any = SimpleNamespace(**{name: values[run, self.running] for name, values in self.at_unit.items()})
        return {
            "warm_degree_hours": warm,
            "cold_degree_hours": cold,
            "zone_oa_short_cfmh": self.oa_short[run],
            "zone_oa_promised_short_cfmh": self.oa_promised_short[run],
            "start_miss_f": self.miss_f[run],
            **unit_depths(self.yardstick, rows),
            "lowest_f": np.where(np.isfinite(self.lowest_f[run]), self.lowest_f[run], np.nan),
            "starts": float(self.starts),
        }


@dataclass(frozen=True, slots=True, kw_only=True)
class Share:
    """A run's part of the time of a candidate and its depths."""

    share: float
    depths: dict[str, Any]


def service_as_run(parts: Sequence[Share], figures: dict[str, float]) -> ServiceFigures:
    """Service of a candidate from its runs; ``figures`` its annual figures as run."""
    lowest = np.min([part.depths["lowest_f"] for part in parts], axis=0)
    mean = {
        name: sum(part.share * part.depths[name] for part in parts)
        for name in parts[0].depths
        if name not in ("lowest_f", "starts")
    }
    return ServiceFigures(**mean, lowest_f=lowest, starts=parts[0].depths["starts"], figures=figures)


def judged(
    found: ServiceFigures, base: ServiceFigures, yardstick: Yardstick, candidate: Candidate
) -> tuple[ServiceRise, EqualService]:
    """What a run takes from the rooms, against the baseline as run, and whether it serves as well."""
    rise = rises(found, base, yardstick)
    return rise, judge(rise, yardstick, [(path, candidate.overrides[path]) for path in candidate.changed_service])
