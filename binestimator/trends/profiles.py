"""What was measured, put together for comparison with a model: by outdoor temperature, and by hour of the week."""

from __future__ import annotations

import numpy as np

from binestimator.trends.fans import zone_sum
from binestimator.trends.log import Log
from binestimator.trends.running import Running

#: Width of bins [degF], as those of an estimate.
BIN_F = 5.0
#: Hours that a bin, or an hour of the week, needs to be shown.
_LEAST_HOURS = 0.5
#: Points that are shown, with the name of their column.
SHOWN = {
    "sat": "sat_f",
    "sat_setpoint": "sat_setpoint_f",
    "dsp": "dsp_inwc",
    "dsp_setpoint": "dsp_setpoint_inwc",
    "supply_flow": "flow_cfm",
    "supply_fan_power": "fan_kw",
    "oa_damper": "oa_damper_frac",
}


def _points(log: Log) -> dict[str, np.ndarray]:
    found = {name: values for key, name in SHOWN.items() if (values := log.get(key)) is not None}
    if "flow_cfm" not in found:
        total = zone_sum(log)
        if total is not None:
            found["flow_cfm"] = total
    return found


def by_outdoor_air(log: Log, running: Running) -> list[dict]:
    """Means of settled running slots by bins of outdoor temperature, occupied and not; empty where that is unknown.

    Returns
    -------
    list of dict
        ``oat_low_f``, ``occupied``, ``hours``, and of each point its mean and under ``<name>_range`` the 10 and 90 %.
    """
    oat = log.get("oat")
    if oat is None or not running.by:
        return []
    points = _points(log)
    good = running.settled & np.isfinite(oat)
    key = np.floor(np.where(good, oat, 0.0) / BIN_F).astype(int) * 2 + running.occupied
    lines = []
    for bin_key in np.unique(key[good]):
        here = good & (key == bin_key)
        hours = float(np.count_nonzero(here)) * log.step_h
        if hours < _LEAST_HOURS:
            continue
        line: dict = {"oat_low_f": float(bin_key // 2 * BIN_F), "occupied": bool(bin_key % 2), "hours": round(hours, 2)}
        for name, values in points.items():
            known = values[here]
            known = known[np.isfinite(known)]
            if known.size:
                line[name] = round(float(known.mean()), 4)
                line[f"{name}_range"] = [round(float(q), 4) for q in np.quantile(known, (0.1, 0.9))]
        lines.append(line)
    return lines


def typical_week(log: Log, running: Running) -> list[dict]:
    """Means by hour of the week, 0 for Monday from midnight; points of the air only while the fan runs."""
    if not running.by:
        return []
    points = _points(log)
    oat = log.get("oat")
    hour = log.weekday * 24 + np.floor(log.hour).astype(int)
    lines = []
    for number in range(168):
        here = running.known & (hour == number)
        hours = float(np.count_nonzero(here)) * log.step_h
        if hours < _LEAST_HOURS:
            continue
        line: dict = {
            "hour": number,
            "hours": round(hours, 2),
            "running_frac": round(float(running.on[here].mean()), 4),
        }
        if oat is not None and np.isfinite(oat[here]).any():
            line["oat_f"] = round(float(np.nanmean(oat[here])), 2)
        for name, values in points.items():
            known = values[here & running.on]
            known = known[np.isfinite(known)]
            if known.size:
                line[name] = round(float(known.mean()), 4)
        lines.append(line)
    return lines
