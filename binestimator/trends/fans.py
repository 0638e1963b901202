"""Fans: power by airflow and speed, lowest speed, airflow, ratio of return to supply fan."""

from __future__ import annotations

import numpy as np

from binestimator.trends.found import Found, InputFound, quantiles, unknown
from binestimator.trends.log import Log
from binestimator.trends.points import read_name
from binestimator.trends.running import Running

_LEAST_HOURS = 4.0


def fan_findings(log: Log, running: Running) -> list[Found]:
    """Power, airflow, speed and the return fan."""
    titles = {
        "fan_power": "Fan power",
        "airflow": "Airflow",
        "fan_speed": "Fan speed",
        "return_fan": "Return or relief fan",
    }
    if not running.by:
        return [unknown(key, title, "when the fan runs cannot be told") for key, title in titles.items()]
    return [
        _power(log, running, titles["fan_power"]),
        _airflow(log, running, titles["airflow"]),
        _speed(log, running, titles["fan_speed"]),
        _return_fan(log, running, titles["return_fan"]),
    ]


def _power(log, running, title) -> Found:
    key = "fan_power"
    power, flow, speed = log.get("supply_fan_power"), log.get("supply_flow"), log.get("supply_fan_speed")
    if power is None:
        return unknown(key, title, "fan power is not in the log")
    other, words, unit = (flow, "airflow", "cfm") if flow is not None else (speed, "speed", "share of full speed")
    good = running.settled & np.isfinite(power)
    if other is not None:
        good &= np.isfinite(other)
    hours = float(np.count_nonzero(good)) * log.step_h
    if hours < _LEAST_HOURS:
        return unknown(key, title, f"only {hours:.1f} settled hours with power", hours)
    kw = power[good].astype(float)
    q10, q50, q90 = quantiles(kw, 0.1, 0.5, 0.9)
    value: dict = {"kw": [round(q10, 3), round(q50, 3), round(q90, 3)]}
    text = f"{q50:.1f} kW in the middle (80 % between {q10:.1f} and {q90:.1f} kW)"
    inputs: list[InputFound] = []
    if other is not None:
        x = other[good].astype(float)
        top = np.quantile(x, 0.98)
        used = (x > 0.15 * top) & (kw > 0.0)
        if np.count_nonzero(used) > 30 and np.quantile(x[used], 0.95) > 1.15 * np.quantile(x[used], 0.05):
            slope, level = np.polyfit(np.log(x[used]), np.log(kw[used]), 1)
            off = np.log(kw[used]) - level - slope * np.log(x[used])
            value |= {"exponent": round(float(slope), 3), "spread": round(float(np.std(off)), 4)}
            text += f"; goes with {words} to the power of {slope:.1f}"
        # A calibration is best where most power is used: the upper fifth of what the log has.
        high = (x >= np.quantile(x, 0.8)) & (x <= np.quantile(x, 0.98))
        x_high, kw_high = float(np.median(x[high])), float(np.median(kw[high]))
        spread = quantiles(kw[high], 0.1, 0.9)
        value |= {words: round(x_high, 3), "kw_there": round(kw_high, 3)}
        text += (
            f"; {kw_high:.1f} kW at {x_high:,.0f} cfm"
            if unit == "cfm"
            else f"; {kw_high:.1f} kW at {100 * x_high:.0f} % speed"
        )
        if unit == "cfm":
            total = log.get("fan_pressure")
            hours_high = float(np.count_nonzero(high)) * log.step_h
            if total is not None and np.isfinite(total[good][high]).any():
                pressure = float(np.nanmedian(total[good][high]))
                said = f"Trend log, {hours_high:.0f} h near {x_high:,.0f} cfm"
                inputs = [
                    InputFound("fan.measured_cfm", round(x_high, -1), said),
                    InputFound("fan.measured_total_inwc", round(pressure, 2), said),
                    InputFound("fan.measured_kw", round(kw_high, 2), said, *spread),
                ]
            else:
                text += "; a calibration takes total static pressure as well, which is not in the log"
    else:
        text += "; neither airflow nor speed is in the log to set it against"
    return Found(key, title, True, text, "settled running hours", hours, value, tuple(inputs))


def _airflow(log, running, title) -> Found:
    key = "airflow"
    flow = log.get("supply_flow")
    source = "supply airflow"
    if flow is None:
        flow = zone_sum(log)
        source = f"sum of {len([k for k in log.values if k.startswith('zone_flow@')])} zones"
        if flow is None:
            return unknown(key, title, "airflow is not in the log")
    good = running.settled & np.isfinite(flow)
    hours = float(np.count_nonzero(good)) * log.step_h
    if hours < _LEAST_HOURS:
        return unknown(key, title, f"only {hours:.1f} settled hours with airflow", hours)
    shares = (0.02, 0.1, 0.25, 0.5, 0.75, 0.9, 0.99)
    q = quantiles(flow[good].astype(float), *shares)
    value = {"cfm": {f"{share:g}": round(v) for share, v in zip(shares, q)}, "source": source}
    text = f"{q[3]:,.0f} cfm in the middle, 80 % between {q[1]:,.0f} and {q[5]:,.0f}, most {q[6]:,.0f} cfm"
    return Found(key, title, True, text, f"{source}, settled running hours", hours, value)


def zone_sum(log: Log) -> np.ndarray | None:
    """Sum of zone airflows where all are known, or None."""
    parts = [values for name, values in log.values.items() if name.startswith("zone_flow@")]
    return np.sum(parts, axis=0) if parts else None


def _speed(log, running, title) -> Found:
    key = "fan_speed"
    speed = log.get("supply_fan_speed")
    if speed is None:
        return unknown(key, title, "fan speed is not in the log")
    good = running.settled & np.isfinite(speed)
    hours = float(np.count_nonzero(good)) * log.step_h
    if hours < _LEAST_HOURS:
        return unknown(key, title, f"only {hours:.1f} settled hours with speed", hours)
    values = speed[good].astype(float)
    low, q10, q50, q90, high = quantiles(values, 0.005, 0.1, 0.5, 0.9, 0.995)
    at_low, next_to_it = (
        float(np.mean(values <= low + 0.006)),
        float(np.mean((values > low + 0.006) & (values <= low + 0.056))),
    )
    value = {"speed": [round(v, 3) for v in (low, q10, q50, q90, high)], "at_lowest_frac": round(at_low, 4)}
    text = (
        f"{100 * q50:.0f} % in the middle, 80 % between {100 * q10:.0f} and {100 * q90:.0f} %, lowest {100 * low:.0f} %"
    )
    inputs: tuple[InputFound, ...] = ()
    dsp, setpoint = log.get("dsp"), log.get("dsp_setpoint")
    rests = 0.03 <= at_low < 0.9 and at_low > next_to_it
    if rests and dsp is not None and setpoint is not None:
        # At its least speed a fan gives more pressure than is asked for.
        slow = good.copy()
        slow[good] = values <= low + 0.006
        rests = bool(np.nanmedian((dsp - setpoint)[slow]) > 0.03)
    if rests and 0.0 <= low <= 0.9:
        text += f"; it rests there for {100 * at_low:.0f} % of the time: the least speed of the drive"
        inputs = (
            InputFound(
                "fan.minimum_speed_frac", round(low, 2), f"Trend log, {hours:.0f} settled running hours: {text}"
            ),
        )
    else:
        text += "; it does not rest there, so that the least speed of the drive cannot be told"
    return Found(key, title, True, text, "settled running hours", hours, value, inputs)


def _return_fan(log, running, title) -> Found:
    key = "return_fan"
    supply, back, status = log.get("supply_fan_speed"), log.get("return_fan_speed"), log.get("return_fan_status")
    if back is None and status is None:
        return unknown(key, title, "no point of a return or relief fan is in the log")
    if back is None or supply is None:
        return Found(
            key,
            title,
            True,
            "there is one; how its speed goes with the supply fan cannot be told",
            "its status is in the log",
            0.0,
            {},
        )
    good = running.settled & np.isfinite(back) & (np.nan_to_num(supply) > 0.05)
    hours = float(np.count_nonzero(good)) * log.step_h
    if hours < _LEAST_HOURS:
        return unknown(key, title, f"only {hours:.1f} settled hours with both speeds", hours)
    ratio = (back[good] / supply[good]).astype(float)
    q10, q50, q90 = quantiles(ratio, 0.1, 0.5, 0.9)
    value = {"speed_ratio": [round(q10, 3), round(q50, 3), round(q90, 3)]}
    if q90 - q10 < 0.06:
        text = f"runs at {100 * q50:.0f} % of the supply fan's speed"
    else:
        text = f"between {100 * q10:.0f} and {100 * q90:.0f} % of the supply fan's speed: by something of its own"
    evidence = f"Trend log, {hours:.0f} settled running hours: {text}"
    named = read_name(log.stats["return_fan_speed"].entry.column).ideas
    kind = "return" if "return" in named else "relief" if "exhaust" in named else ""
    inputs = (
        (InputFound("return_fan.type", kind, f"{evidence}; the kind is that of its name in the log"),) if kind else ()
    )
    return Found(key, title, True, text, "ratio of both speed signals", hours, value, inputs)
