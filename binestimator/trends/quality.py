"""What the log is worth, point by point: coverage, values that do not move, sensors that contradict each other.

What is left out is counted and said; nothing is repaired.
"""

from __future__ import annotations

import numpy as np

from binestimator.dataclass import dataclass
from binestimator.trends.found import days_listed, runs
from binestimator.trends.gather import SENSOR_HOLD
from binestimator.trends.log import Log
from binestimator.trends.points import kinds
from binestimator.trends.running import Running

#: A sensor that reads the same to the last digit for so long is stuck: of air, of what moves while the fan runs. [h]
STUCK_H, STUCK_RUNNING_H = 24.0, 6.0
#: One that seldom moves has a coarse resolution: it is stuck only after so long [h]; share of steps that is seldom.
_LONG_STUCK_H, _SELDOM = 72.0, 0.3
_SENSORS = ("oat", "oa_rh", "oa_dewpoint", "sat", "mat", "rat", "zone_temp", "zone_discharge_temp")
_RUNNING_SENSORS = ("dsp", "fan_pressure", "supply_flow", "oa_flow", "supply_fan_power", "return_fan_power")
#: Mixed air may be outside outdoor and return air by this. [degF]
_MIXED_F = 3.0


@dataclass(frozen=True, slots=True)
class PointQuality:
    """A line of the quality report.

    Parameters
    ----------
    key, label, column, unit : str
    samples, kept : int
    coverage : float
        Share of the log's slots with a value.
    low, high : float
    notes : tuple of str
        What was left out and why, and what is odd.
    """

    key: str
    label: str
    column: str
    unit: str
    samples: int
    kept: int
    coverage: float
    low: float
    high: float
    notes: tuple[str, ...]


def leave_out_stuck(log: Log, running: Running) -> None:
    """Leave out what a sensor read while it did not move at all; hours are noted with the point."""
    steps = np.diff(log.start.astype(np.int64), prepend=log.start[:1].astype(np.int64) - log.step_s)
    for key, values in log.values.items():
        kind, stats = key.partition("@")[0], log.stats[key]
        if stats.on_change or kind not in (*_SENSORS, *_RUNNING_SENSORS):
            continue
        on_only = kind in _RUNNING_SENSORS
        least = STUCK_RUNNING_H if on_only else STUCK_H
        same = np.zeros(len(values), bool)
        same[1:] = (values[1:] == values[:-1]) & (steps[1:] == log.step_s)
        if on_only:
            same &= running.on & (values != 0.0)
        still = [(a, b) for a, b in runs(same) if (b - a + 1) * log.step_h >= least]
        if not still:
            continue
        # How often it moves at all, where it is not still for so long.
        judged = np.isfinite(values) & (steps == log.step_s) & (running.on if on_only else True)
        for a, b in still:
            judged[a:b] = False
        moves = np.count_nonzero(judged & ~same) / max(int(np.count_nonzero(judged)), 1)
        for a, b in still:
            if moves < _SELDOM and (b - a + 1) * log.step_h < _LONG_STUCK_H:
                continue
            begin = max(a - 1, 0)
            stats.stuck_h += float(np.count_nonzero(np.isfinite(values[begin:b]))) * log.step_h
            values[begin:b] = np.nan


def quality_of(log: Log) -> list[PointQuality]:
    """The report, one line a point."""
    found = []
    for key, values in log.values.items():
        stats, kind = log.stats[key], kinds()[key.partition("@")[0]]
        notes: list[str] = []
        add = lambda count, words, notes=notes: notes.append(f"{count:,} {words}") if count else None
        add(stats.words.missing, "empty or marked as no data")
        for word, count in stats.words.other.most_common(3):
            notes.append(f"{count:,} times {word!r}, which is no number")
        shown = ", ".join(f"{v:g}" for v in stats.outliers)
        add(stats.out_of_range, f"outside {kind.low:g} to {kind.high:g} {_unit(kind)} left out (such as {shown})")
        add(stats.zeros, "exactly zero left out")
        add(stats.spikes, "spikes left out")
        add(stats.repeated, "repeated left out")
        add(stats.untrusted, "marked bad by the log left out")
        if stats.stuck_h:
            notes.append(f"stuck at one value for {stats.stuck_h:.0f} h, left out")
        if stats.on_change:
            held = "setpoint" in kind.name or kind.unit_class == "status"
            notes.append(
                "logged on change: held until the next sample" + ("" if held else f", at most {SENSOR_HOLD // 3600} h")
            )
        finite = np.isfinite(values)
        found.append(
            PointQuality(
                key,
                kind.label,
                stats.entry.column,
                stats.entry.unit,
                stats.samples,
                stats.kept,
                float(finite.mean()) if len(values) else 0.0,
                float(stats.low) if stats.kept else np.nan,
                float(stats.high) if stats.kept else np.nan,
                tuple(notes),
            )
        )
    return found


def _unit(kind) -> str:
    from binestimator.trends.point_units import UNIT_OF

    unit = UNIT_OF[kind.unit_class]
    return {"share": "of full", "on": ""}.get(unit, unit)


def contradictions(log: Log, running: Running) -> list[str]:
    """Sensors that contradict each other, in words."""
    said = []
    oat, mat, rat = log.get("oat"), log.get("mat"), log.get("rat")
    if oat is not None and mat is not None and rat is not None:
        good = running.settled & np.isfinite(oat) & np.isfinite(mat) & np.isfinite(rat)
        low, high = np.minimum(oat, rat) - _MIXED_F, np.maximum(oat, rat) + _MIXED_F
        odd = good & ((mat < low) | (mat > high))
        share = np.count_nonzero(odd) / max(int(np.count_nonzero(good)), 1)
        if share > 0.02:
            said.append(
                f"mixed air is more than {_MIXED_F:g} degF outside outdoor and return air for "
                f"{np.count_nonzero(odd) * log.step_h:.0f} h ({100 * share:.0f} % of settled running hours), on "
                f"{days_listed(log.day[odd], 4)}: one of the three reads wrong"
            )
    dsp = log.get("dsp")
    if dsp is not None and running.by and running.by != "duct pressure":
        off = running.known & ~running.on & np.isfinite(dsp)
        odd = off & (np.nan_to_num(dsp) > 0.3)
        if np.count_nonzero(odd) > 0.1 * max(int(np.count_nonzero(off)), 1):
            said.append(
                f"duct pressure stays above 0.3 in. w.c. for {np.count_nonzero(odd) * log.step_h:.0f} h while the "
                f"fan is off "
                f"by its {running.by}"
            )
    supply = log.get("supply_flow")
    zones = [values for key, values in log.values.items() if key.startswith("zone_flow@")]
    if supply is not None and len(zones) >= 3:
        total = np.sum(zones, axis=0)
        good = running.settled & np.isfinite(total) & (np.nan_to_num(supply) > 100.0)
        if np.count_nonzero(good) * log.step_h >= 4.0:
            ratio = float(np.median(total[good] / supply[good]))
            if not 0.8 <= ratio <= 1.1:
                said.append(
                    f"zone airflows sum to {100 * ratio:.0f} % of supply airflow: zones are missing from the log, "
                    f"ducts leak, "
                    "or an airflow station reads wrong"
                )
    status, speed = log.get("supply_fan_status"), log.get("supply_fan_speed")
    if status is not None and speed is not None:
        odd = (np.nan_to_num(status) < 0.5) & np.isfinite(status) & (np.nan_to_num(speed) > 0.5)
        if np.count_nonzero(odd) > 0.02 * len(odd):
            said.append(
                f"the fan's speed is above 50 % for {np.count_nonzero(odd) * log.step_h:.0f} h while its status "
                f"says off"
            )
    return said
