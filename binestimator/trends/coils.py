"""Coil valves that leak, fight each other, or open further than they should for what they do."""

from __future__ import annotations

import numpy as np

from binestimator.trends.found import Found, days_listed, quantiles, unknown
from binestimator.trends.log import Log
from binestimator.trends.running import Running

#: A valve below this is shut, above this open.
SHUT, OPEN = 0.01, 0.05
#: Time that a coil takes to come to rest after its valve has shut. [h]
_REST_H = 0.33
#: Rise of air through the fan that is usual [degF]; beyond it heat, and below it cold, gets in through a shut valve.
_RISE_LOW, _RISE_HIGH = -1.0, 4.5
_LEAST_HOURS = 2.0
#: A day on which a valve opens this much further than on the others for the same work is named.
_MORE = 0.15
#: Hours of steady cooling that a day needs to be judged.
_STEADY_H = 3.0


def coil_findings(log: Log, running: Running) -> list[Found]:
    """Leaks with both valves shut, heating against cooling, and days on which the cooling valve opens further."""
    titles = {
        "coil_leak": "Coil valves that leak",
        "coil_fight": "Heating against cooling",
        "cooling_valve_use": "Cooling valve for what it does",
    }
    cool, heat = log.get("cooling_valve"), log.get("heating_valve")
    if not running.by or cool is None and heat is None:
        why = "coil valves are not in the log" if running.by else "when the fan runs cannot be told"
        return [unknown(key, title, why) for key, title in titles.items()]
    return [
        _leak(log, running, cool, heat, titles["coil_leak"]),
        _fight(log, running, cool, heat, titles["coil_fight"]),
        _use(log, running, cool, heat, titles["cooling_valve_use"]),
    ]


def _leak(log, running, cool, heat, title) -> Found:
    key = "coil_leak"
    sat, mat = log.get("sat"), log.get("mat")
    if sat is None or mat is None:
        return unknown(key, title, "it takes supply and mixed air temperature")
    if cool is None or heat is None:
        which = "cooling" if cool is None else "heating"
        return unknown(key, title, f"the {which} valve's signal is not in the log")
    shut = running.settled & (np.nan_to_num(cool, nan=1.0) < SHUT) & (np.nan_to_num(heat, nan=1.0) < SHUT)
    rest = max(int(round(_REST_H / log.step_h)), 1)
    calm = shut.copy()
    for k in range(1, rest + 1):
        calm[k:] &= shut[:-k]
        calm[:k] = False
    calm &= np.isfinite(sat) & np.isfinite(mat)
    hours = float(np.count_nonzero(calm)) * log.step_h
    used = np.unique(log.day[running.on])
    days, place = np.unique(log.day[calm], return_inverse=True)
    blind = len(used) - len(days)
    if hours < _LEAST_HOURS:
        return unknown(
            key,
            title,
            f"both valves are shut at rest for only {hours:.1f} h while the fan runs; a valve that "
            f"leaks while the "
            "other works does not show",
            hours,
        )
    rise = (sat - mat)[calm].astype(float)
    q10, q50, q90 = quantiles(rise, 0.1, 0.5, 0.9)
    by_day = np.array([np.median(rise[place == k]) for k in range(len(days))])
    warm, cold = days[by_day > _RISE_HIGH], days[by_day < _RISE_LOW]
    value = {
        "rise_f": [round(q10, 2), round(q50, 2), round(q90, 2)],
        "warm_days": [str(d) for d in warm],
        "cold_days": [str(d) for d in cold],
        "days_seen": len(days),
        "days_not_seen": blind,
    }
    seen = (
        f"; seen on {len(days)} of {len(used)} days, on the others one valve is always open and a leak would not show"
        if blind
        else ""
    )
    said = (
        f"supply air {q50:+.1f} degF against mixed air with both valves shut (80 % between {q10:+.1f} and {q90:+.1f})"
    )
    if len(warm) or len(cold):
        parts = []
        if len(warm):
            parts.append(f"heat gets in on {days_listed(warm)}")
        if len(cold):
            parts.append(f"cold gets in on {days_listed(cold)}")
        return Found(
            key,
            title,
            True,
            f"{'; '.join(parts)}: {said}{seen}",
            "more than the rise of a fan accounts for; a sensor that reads wrong looks the same",
            hours,
            value,
            (),
            True,
        )
    return Found(
        key,
        title,
        True,
        f"none seen: {said}, what a fan accounts for{seen}",
        "both valves shut and at rest",
        hours,
        value,
    )


def _fight(log, running, cool, heat, title) -> Found:
    key = "coil_fight"
    if cool is None or heat is None:
        return unknown(key, title, f"the {'cooling' if cool is None else 'heating'} valve's signal is not in the log")
    known = running.settled & np.isfinite(cool) & np.isfinite(heat)
    hours = float(np.count_nonzero(known)) * log.step_h
    if hours < _LEAST_HOURS:
        return unknown(key, title, f"only {hours:.1f} settled hours with both valves", hours)
    both = known & (cool > OPEN) & (heat > OPEN)
    fight = float(np.count_nonzero(both)) * log.step_h
    value = {"both_open_h": round(fight, 2), "frac": round(fight / hours, 4)}
    if fight < max(0.005 * hours, 0.25):
        return Found(key, title, True, "none seen", "both signals open at the same time", hours, value)
    return Found(
        key,
        title,
        True,
        f"both valves are open for {fight:.1f} of {hours:.0f} h, on {days_listed(log.day[both])}",
        "both signals open at the same time",
        hours,
        value,
        (),
        True,
    )


def _use(log, running, cool, heat, title) -> Found:
    """Days on which the cooling valve opens further than on the others for the same drop of temperature."""
    key = "cooling_valve_use"
    sat, mat = log.get("sat"), log.get("mat")
    if cool is None or sat is None or mat is None:
        return unknown(key, title, "it takes the cooling valve, supply and mixed air temperature")
    good = (
        running.settled
        & np.isfinite(sat)
        & np.isfinite(mat)
        & (np.nan_to_num(cool) > 0.1)
        & (np.nan_to_num(cool) < 0.95)
    )
    if heat is not None:
        good &= np.nan_to_num(heat) < SHUT
    good &= (mat - sat) > 8.0
    hours = float(np.count_nonzero(good)) * log.step_h
    days, place, counts = np.unique(log.day[good], return_inverse=True, return_counts=True)
    enough = counts * log.step_h >= _STEADY_H
    if np.count_nonzero(enough) < 5:
        return unknown(
            key, title, f"only {np.count_nonzero(enough)} days with {_STEADY_H:g} h of steady cooling", hours
        )
    # What a coil does at an opening goes with how warm the air is above the water; 44 degF stands for the water.
    work = ((mat - sat) / np.maximum(mat - 44.0, 5.0))[good].astype(float)
    index = work / cool[good].astype(float)
    by_day = np.array([np.median(index[place == k]) if enough[k] else np.nan for k in range(len(days))])
    warmth = np.array([np.median(mat[good][place == k]) for k in range(len(days))]).astype(float)
    usual = _usual_for(by_day, warmth)
    weak = days[np.nan_to_num(by_day, nan=np.inf) < (1.0 - _MORE) * usual]
    value = {
        "weak_days": [str(d) for d in weak],
        "days": int(np.count_nonzero(enough)),
        "by_day_frac": {str(d): round(float(v), 3) for d, v in zip(days, by_day / usual) if np.isfinite(v)},
    }
    if not len(weak):
        return Found(
            key,
            title,
            True,
            "alike on all days",
            "drop of air temperature for the opening of the valve, day by day",
            hours,
            value,
        )
    text = (
        f"opens {100 * _MORE:.0f} % and more further than usual for the same drop of air temperature on "
        f"{days_listed(weak, 10)}: heat from a heating coil whose valve leaks, warmer or less chilled water, or "
        f"moister air; "
        "which cannot be told from this"
    )
    return Found(
        key,
        title,
        True,
        text,
        f"drop for the opening, of {np.count_nonzero(enough)} days with {_STEADY_H:g} h and more",
        hours,
        value,
        (),
        True,
    )


def _usual_for(by_day: np.ndarray, warmth: np.ndarray) -> np.ndarray:
    """What is usual at the warmth of each day's mixed air: a line through logarithms by the median of slopes. (D,)

    Warmer air is moister as a rule, and a valve that is open further does less by the step: both go with warmth.
    """
    known = np.isfinite(by_day) & (by_day > 0.0)
    x, y = warmth[known], np.log(by_day[known])
    first, second = np.triu_indices(len(x), 1)
    apart = np.abs(x[first] - x[second]) > 1.0
    slopes = (y[first] - y[second])[apart] / (x[first] - x[second])[apart]
    slope = min(float(np.median(slopes)), 0.0) if len(slopes) else 0.0
    return np.exp(np.median(y - slope * x) + slope * warmth)
