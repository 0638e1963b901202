"""Samples that cannot be are left out and counted by reason."""

from __future__ import annotations

import numpy as np
import pandas as pd

from binestimator.trends.days import Days
from binestimator.trends.log import PointStats
from binestimator.trends.point_map import Entry
from binestimator.trends.point_units import converted
from binestimator.trends.points import kinds
from binestimator.trends.tables import BAD_STATUS

#: A sample this far from the median of the five around it is a spike. [degF]
SPIKE_F = 10.0
#: Longest interval between samples at which spikes can be told from changes. [s]
_SPIKE_INTERVAL = 300
_MOST_STEPS = 4_000


def leave_out(raw: np.ndarray, status: pd.Series, stats: PointStats) -> None:
    """Take out values that their status says are not to be trusted."""
    bad = status.astype(str).str.contains(BAD_STATUS).to_numpy(dtype=bool)
    stats.untrusted += int(np.count_nonzero(bad & np.isfinite(raw)))
    raw[bad] = np.nan


def zero_lines(columns) -> np.ndarray:
    """Lines in which all air temperatures of the unit are exactly zero: a controller that has just started. (n,)"""
    raws = [
        raw
        for entry, raw in columns
        if kinds()[entry.kind].unit_class == "temperature" and entry.kind in ("sat", "mat", "rat")
    ]
    n = len(columns[0][1])
    if len(raws) < 2:
        return np.zeros(n, dtype=bool)
    return np.all([raw == 0.0 for raw in raws], axis=0)


def add(stats: PointStats, place: int, entry: Entry, seconds: np.ndarray, raw: np.ndarray, days: Days) -> None:
    """Clean the samples of a point, count what is left out, and add the rest."""
    kind = kinds()[entry.kind]
    stats.samples += len(raw)
    valid = np.isfinite(raw)
    seconds, raw = seconds[valid], raw[valid]
    if not len(raw):
        return
    if kind.unit_class == "status":
        values = (raw > 0.0).astype(float) if raw.max() > 1.0 else raw.astype(float)
    else:
        values = converted(raw, entry.unit)
    # A temperature of exactly zero in the log's own unit is what a lost sensor reads; outdoors it may be true.
    zero = np.zeros(len(raw), dtype=bool)
    if kind.unit_class == "temperature" and entry.kind not in ("oat", "oa_dewpoint"):
        zero = raw == 0.0
        stats.zeros += int(np.count_nonzero(zero))
    outside = ~zero & ((values < kind.low) | (values > kind.high))
    count = int(np.count_nonzero(outside))
    if count:
        stats.out_of_range += count
        if len(stats.outliers) < 3:
            stats.outliers += [float(v) for v in raw[outside][: 3 - len(stats.outliers)]]
    keep = ~(zero | outside)
    seconds, values = seconds[keep], values[keep]
    again = np.zeros(len(seconds), dtype=bool)
    if len(seconds) > 1:
        again[1:] = (seconds[1:] == seconds[:-1]) & (values[1:] == values[:-1])
        stats.repeated += int(np.count_nonzero(again))
        seconds, values = seconds[~again], values[~again]
    if not len(values):
        return
    steps = np.diff(seconds)
    if sum(stats.steps.values()) < _MOST_STEPS and len(steps):
        part = steps[:_MOST_STEPS]
        stats.steps.update(part[part > 0].tolist())
        changes = np.abs(np.diff(values[: _MOST_STEPS + 1]))
        stats.equal += int(np.count_nonzero(changes == 0.0))
        stats.changes.append(changes.astype(np.float32))
    elif sum(stats.steps.values()) < _MOST_STEPS and np.isfinite(stats.tail_s) and seconds[0] > stats.tail_s:
        stats.steps[int(seconds[0] - stats.tail_s)] += 1
        stats.equal += int(values[0] == stats.last_value)
    if kind.unit_class == "temperature" and len(values) >= 5 and np.median(steps) <= _SPIKE_INTERVAL:
        spike = _spikes(values)
        stats.spikes += int(np.count_nonzero(spike))
        seconds, values = seconds[~spike], values[~spike]
    stats.kept += len(values)
    stats.low, stats.high = min(stats.low, float(values.min())), max(stats.high, float(values.max()))
    stats.first_s, stats.last_s = min(stats.first_s, float(seconds[0])), max(stats.last_s, float(seconds[-1]))
    stats.tail_s, stats.last_value = float(seconds[-1]), float(values[-1])
    days.add(place, seconds, values)


def _spikes(values: np.ndarray) -> np.ndarray:
    """Single samples, or two, that leave the median of the five around them and come back. (n,)"""
    padded = np.pad(values, 2, mode="edge")
    around = np.stack([padded[k : k + len(values)] for k in range(5)])
    return np.abs(values - np.median(around, axis=0)) > SPIKE_F
