"""Findings of setpoints of supply air temperature and duct static pressure: table, overrides, how well held.

References
----------
Limits below which a setpoint counts as not reset: 2 degF and 0.25 in. w.c. (PNNL-27338).
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from binestimator.trends.found import Found, InputFound, days_listed, quantiles, unknown
from binestimator.trends.log import Log
from binestimator.trends.running import Running

from .setpoint_tables import LEAST_TOLD, MOST_FLAT, Quantity, Table, fit_table

#: Hours below which no table is made of them.
LEAST_HOURS = 8.0
#: Share of slots that table and override must explain together.
EXPLAINED = 0.75


def points_text(points: Sequence[tuple[float, float]], quantity: Quantity) -> str:
    """A table in words."""
    show = lambda y: f"{y:.{quantity.digits}f}".rstrip("0").rstrip(".") if quantity.digits == 3 else f"{y:g}"
    if len(points) == 1:
        return f"{show(points[0][1])} {quantity.unit} throughout"
    return ", ".join(f"{show(y)} {quantity.unit} at {x:g}" for x, y in points) + " degF outdoors"


def setpoint_findings(log: Log, running: Running, quantity: Quantity) -> list[Found]:
    """What the setpoint is, whether it is reset, overrides, and how well it is held."""
    key, title = f"{quantity.part}_setpoint", f"{quantity.words} setpoint"
    override_title = f"Overrides of {quantity.words.lower()}"
    held_title = f"{quantity.words} held"
    reset_title = f"Reset of {quantity.words.lower()}"
    setpoint, measured = log.get(quantity.setpoint), log.get(quantity.measured)
    missing = [
        unknown(f"{quantity.part}_reset", reset_title, "the setpoint is not in the log"),
        unknown(f"{quantity.part}_override", override_title, "the setpoint is not in the log"),
    ]
    if not running.by:
        reason = "when the fan runs cannot be told"
        return [
            unknown(k, t, reason)
            for k, t in (
                (key, title),
                (f"{quantity.part}_reset", reset_title),
                (f"{quantity.part}_override", override_title),
                (f"{quantity.part}_held", held_title),
            )
        ]
    if setpoint is None or not np.isfinite(setpoint[running.on]).any():
        if measured is None:
            return [unknown(key, title, "neither setpoint nor measured value is in the log"), *missing]
        return [_by_measured(log, running, quantity, measured), *missing]
    oat = log.get("oat")
    good = running.on & np.isfinite(setpoint)
    hours = np.count_nonzero(good) * log.step_h
    if hours < 1.0:
        return [unknown(key, title, f"only {hours:.1f} running hours with it", hours), *missing]
    findings = _described(log, running, quantity, setpoint, oat, good)
    if measured is not None:
        findings.append(_held(log, running, quantity, setpoint, measured))
    else:
        findings.append(
            unknown(f"{quantity.part}_held", held_title, f"the measured {quantity.words.lower()} is not in the log")
        )
    return findings


def _described(log, running, quantity, setpoint, oat, good) -> list[Found]:
    key, title = f"{quantity.part}_setpoint", f"{quantity.words} setpoint"
    hours = float(np.count_nonzero(good)) * log.step_h
    values = setpoint[good].astype(float)
    low, high = quantiles(values, 0.02, 0.98)
    occupied = good & running.occupied
    chosen = occupied if np.count_nonzero(occupied) * log.step_h >= LEAST_HOURS else good
    name = "occupied running hours" if chosen is occupied else "running hours"
    by_day = _by_day(log, quantity, setpoint, chosen) if high - low >= quantity.no_reset else None
    table = None
    if oat is not None:
        with_oat = chosen & np.isfinite(oat)
        if np.count_nonzero(with_oat) * log.step_h >= min(LEAST_HOURS, 0.5 * hours):
            table = fit_table(
                oat[with_oat].astype(float), setpoint[with_oat].astype(float), quantity, overrides=by_day is None
            )
    fixed = high - low < quantity.no_reset and (table is None or len(table.points) == 1)
    if table is None:
        middle = float(np.median(setpoint[chosen]))
        near = float(np.mean(np.abs(setpoint[chosen] - middle) <= quantity.near))
        table = Table(((60.0, round(middle, quantity.digits)),), None, 0.0, near, 0.0, 0)
    explained = table.explained >= EXPLAINED
    value: dict = {
        "points": [list(p) for p in table.points],
        "range": [round(low, quantity.digits), round(high, quantity.digits)],
        "explained_frac": round(table.explained, 4),
        "hours": round(hours, 1),
    }
    steps = _steps(setpoint, chosen, quantity)
    demand = not explained and steps is not None
    words = points_text(table.points, quantity)
    caution = False
    seen = (
        ""
        if oat is None
        else "seen from {:.0f} to {:.0f} degF outdoors".format(
            *(q + 0.0 if abs(q) >= 0.5 else 0.0 for q in quantiles(oat[chosen], 0.0, 1.0))
        )
    )
    if by_day is not None and oat is not None:
        text = f"two values that change with the day, not within it: {by_day}"
        overlap = _overlap(oat, setpoint, chosen, quantity)
        if overlap:
            text += f"; {overlap}"
        text += f"; as a table by outdoor temperature: {words}"
        reason = (
            "a season or a heating mode sets it; a table by outdoor temperature is the nearest that a project can say"
        )
        caution = True
    elif demand:
        text = f"moves between {low:.{quantity.digits}f} and {high:.{quantity.digits}f} {quantity.unit}, {steps}; "
        text += f"its middle by outdoor temperature: {words}"
        reason = (
            f"a table explains only {100 * table.explained:.0f} % of the time: something else than outdoor air sets it"
        )
        caution = True
    elif not explained:
        text = f"between {low:.{quantity.digits}f} and {high:.{quantity.digits}f} {quantity.unit}; its middle: {words}"
        reason = f"a table by outdoor temperature explains only {100 * table.explained:.0f} % of the time"
        caution = True
    else:
        text = words
        reason = f"explains {100 * table.explained:.0f} % of {name}" + (f", {seen}" if seen else "")
    if not any(quantity.low <= y <= quantity.high for _, y in table.points):
        why = f"reads {words}, outside what a project allows ({quantity.low:g} to {quantity.high:g} {quantity.unit})"
        names = (
            ("setpoint", title),
            ("reset", f"Reset of {quantity.words.lower()}"),
            ("override", f"Overrides of {quantity.words.lower()}"),
        )
        return [unknown(f"{quantity.part}_{end}", words_of, why, hours) for end, words_of in names]
    points = [[x, float(np.clip(y, quantity.low, quantity.high))] for x, y in table.points]
    evidence = f"Trend log, {np.count_nonzero(chosen) * log.step_h:.0f} {name}: {words}; {reason}"
    path = f"candidate.as_found.{quantity.part}"
    inputs = [InputFound(f"{path}.points", points, evidence, round(low, quantity.digits), round(high, quantity.digits))]
    night = good & ~running.occupied if running.mode else np.zeros(len(good), dtype=bool)
    if oat is not None and np.count_nonzero(night & np.isfinite(oat)) * log.step_h >= LEAST_HOURS:
        at_night = night & np.isfinite(oat)
        other = fit_table(oat[at_night].astype(float), setpoint[at_night].astype(float), quantity)
        if other is not None and other.explained >= EXPLAINED:
            apart = np.median(np.abs(other.at(oat[at_night]) - table.at(oat[at_night])))
            if apart > quantity.near:
                said = points_text(other.points, quantity)
                value["points_unoccupied"] = [list(p) for p in other.points]
                text += f"; unoccupied: {said}"
                inputs.append(
                    InputFound(
                        f"{path}.points_unoccupied",
                        [[x, float(np.clip(y, quantity.low, quantity.high))] for x, y in other.points],
                        f"Trend log, {np.count_nonzero(at_night) * log.step_h:.0f} unoccupied running hours: {said}",
                    )
                )
    findings = [Found(key, title, True, text, reason, hours, value, tuple(inputs), caution)]
    findings.append(_reset(quantity, table, fixed, by_day, demand, explained, low, high, hours, words))
    findings.append(_override(quantity, table, explained, hours, path, oat is None, by_day is not None))
    return findings


def _reset(quantity, table, fixed, by_day, demand, explained, low, high, hours, words) -> Found:
    key, title = f"{quantity.part}_reset", f"Reset of {quantity.words.lower()}"
    value = {"reset": not fixed, "range": [round(low, quantity.digits), round(high, quantity.digits)]}
    if by_day is None and (fixed or len(table.points) == 1 and explained):
        value["reset"] = False
        return Found(
            key,
            title,
            True,
            f"none: fixed at {table.points[0][1]:g} {quantity.unit}",
            f"the setpoint stays within {quantity.no_reset:g} {quantity.unit}, the limit of PNNL-27338, "
            "but for overrides",
            hours,
            {**value, "reads": "nothing"},
        )
    if by_day is not None:
        return Found(
            key,
            title,
            True,
            "by season or mode, not by outdoor temperature within a day",
            "constant within each day",
            hours,
            {**value, "reads": "season or mode"},
        )
    if demand:
        return Found(
            key,
            title,
            True,
            "by something else than outdoor air, in steps such as requests make",
            "many small equal steps",
            hours,
            {**value, "reads": "steps"},
        )
    if not explained:
        return unknown(
            key,
            title,
            f"it moves between {low:.3g} and {high:.3g} {quantity.unit}, and outdoor temperature does not tell how; "
            "what it reads is not in the log",
            hours,
        )
    return Found(
        key,
        title,
        True,
        f"by outdoor temperature: {words}",
        f"the table explains {100 * table.explained:.0f} %",
        hours,
        {**value, "reads": "outdoor temperature"},
    )


def _override(quantity, table, explained, hours, path, no_oat, by_season) -> Found:
    key, title = f"{quantity.part}_override", f"Overrides of {quantity.words.lower()}"
    if no_oat:
        return unknown(key, title, "without outdoor temperature a table and an override cannot be told apart", hours)
    if by_season:
        return unknown(
            key, title, "the setpoint changes with season or mode, and an override would look the same", hours
        )
    if not explained:
        return unknown(key, title, "the setpoint follows no table, so that overrides cannot be told from it", hours)
    if table.override is None and len(table.points) > 1 and table.flat_frac > MOST_FLAT:
        return unknown(
            key,
            title,
            f"none stands out, but for {100 * table.flat_frac:.0f} % of the time the table rests at one value, at "
            f"which an "
            "override to it would not show",
            hours,
        )
    if table.override is None:
        return Found(
            key,
            title,
            True,
            "none seen",
            "no constant value stands out of the table; one that says the same as the table would not show",
            hours,
            {"override_frac": 0.0},
            (
                InputFound(
                    f"{path}.override_frac",
                    0.0,
                    f"Trend log, {hours:.0f} running hours: no constant value stands out of the table",
                ),
            ),
        )
    share, value = table.override_frac, round(table.override, quantity.digits)
    if table.told_frac < LEAST_TOLD:
        return unknown(
            key,
            title,
            f"{value:g} {quantity.unit} occurs as an override, but for {100 * (1 - table.told_frac):.0f} % of the "
            f"time the "
            "table says the same: for what share it stands cannot be told",
            hours,
        )
    text = f"{100 * share:.0f} % of the time at {value:g} {quantity.unit}"
    evidence = f"Trend log, {hours:.0f} running hours: {text}, where the table says something else"
    inputs = [InputFound(f"{path}.override_frac", round(share, 3), evidence)]
    if quantity.low <= value <= quantity.high:
        inputs.append(InputFound(f"{path}.{quantity.override}", value, evidence))
    return Found(
        key,
        title,
        True,
        text,
        "one exact value at all outdoor temperatures; where the table says the same, what was seen next to it in time",
        hours,
        {"override_frac": round(share, 4), "override": value},
        tuple(inputs),
        share > 0.05,
    )


#: Changes from one value to the other up to which they are seasons.
_MOST_SEASONS = 3


def _by_day(log, quantity, setpoint, chosen) -> str | None:
    """Days of each of two values, where the setpoint is the same all day long on nearly every day."""
    days, place = np.unique(log.day[chosen], return_inverse=True)
    values = setpoint[chosen].astype(float)
    if len(days) < 4:
        return None
    middle = np.array([np.median(values[place == k]) for k in range(len(days))])
    constant = (
        np.array([np.mean(np.abs(values[place == k] - middle[k]) <= quantity.near) for k in range(len(days))]) > 0.9
    )
    levels = np.unique(np.round(middle[constant] / quantity.near) * quantity.near)
    if constant.mean() < 0.9 or not 2 <= len(levels) <= 3:
        return None
    # Seasons are few; what goes back and forth is somebody's hand.
    if np.count_nonzero(np.abs(np.diff(middle[constant])) > 2.0 * quantity.near) > _MOST_SEASONS:
        return None
    parts = []
    for level in levels:
        at = constant & (np.abs(middle - level) <= quantity.near)
        parts.append(
            f"{np.median(middle[at]):g} {quantity.unit} on {np.count_nonzero(at)} days ({days_listed(days[at], 4)})"
        )
    return "; ".join(parts)


def _overlap(oat, setpoint, chosen, quantity) -> str:
    """Outdoor temperatures at which both of two values occur."""
    values, x = setpoint[chosen], oat[chosen]
    cut = 0.5 * (np.nanmin(values) + np.nanmax(values))
    cold, warm = x[values > cut], x[values <= cut]
    cold, warm = cold[np.isfinite(cold)], warm[np.isfinite(warm)]
    if not len(cold) or not len(warm):
        return ""
    low, high = float(np.quantile(warm, 0.005)), float(np.quantile(cold, 0.995))
    return f"between {low:.0f} and {high:.0f} degF outdoors both occur" if high > low + 1.0 else ""


def _steps(setpoint, chosen, quantity) -> str | None:
    """Words for a setpoint that moves in small equal steps, or None."""
    joined = chosen[1:] & chosen[:-1]
    moves = np.abs(np.diff(setpoint.astype(float))[joined])
    moves = moves[moves > 0.5 * quantity.grain]
    if len(moves) < 30 or len(moves) < 0.02 * np.count_nonzero(joined):
        return None
    return f"moves of {np.median(moves):.{quantity.digits + 1}f} {quantity.unit} as a rule"


def _held(log, running, quantity, setpoint, measured) -> Found:
    key, title = f"{quantity.part}_held", f"{quantity.words} held"
    good = running.settled & np.isfinite(setpoint) & np.isfinite(measured)
    hours = float(np.count_nonzero(good)) * log.step_h
    if hours < LEAST_HOURS:
        return unknown(key, title, f"only {hours:.1f} settled hours with setpoint and measured value", hours)
    off = (measured[good] - setpoint[good]).astype(float)
    low, middle, high = quantiles(off, 0.1, 0.5, 0.9)
    within = float(np.mean(np.abs(off) <= quantity.held))
    d = 1 if quantity.part == "sat" else 2
    text = (
        f"within {quantity.held:g} {quantity.unit} for {100 * within:.0f} % of the time; measured less setpoint "
        f"{middle:+.{d}f} "
        f"(80 % between {low:+.{d}f} and {high:+.{d}f}) {quantity.unit}"
    )
    value = {"within_frac": round(within, 4), "median": round(middle, 3), "p10": round(low, 3), "p90": round(high, 3)}
    valve = log.get("cooling_valve")
    if quantity.part == "sat" and valve is not None:
        warm = off > quantity.held
        full = np.nan_to_num(valve[good]) > 0.95
        above, at_limit = np.count_nonzero(warm) * log.step_h, np.count_nonzero(warm & full) * log.step_h
        value |= {"above_h": round(above, 1), "above_with_valve_open_h": round(at_limit, 1)}
        if above > 0.02 * hours:
            text += f"; too warm for {above:.0f} h, {at_limit:.0f} h of them with the cooling valve open"
    return Found(key, title, True, text, "running for half an hour and more", hours, value, (), within < 0.8)


def _by_measured(log, running, quantity, measured) -> Found:
    """The table of the measured value, where no setpoint is in the log."""
    key, title = f"{quantity.part}_setpoint", f"{quantity.words} setpoint"
    oat = log.get("oat")
    good = running.settled & np.isfinite(measured)
    if oat is not None:
        good &= np.isfinite(oat)
    hours = float(np.count_nonzero(good)) * log.step_h
    if oat is None or hours < LEAST_HOURS:
        return unknown(key, title, "the setpoint is not in the log, and too little else to tell it by", hours)
    wide = Quantity(**{**{f: getattr(quantity, f) for f in Quantity.__slots__}, "near": 2.5 * quantity.near})
    table = fit_table(oat[good].astype(float), measured[good].astype(float), wide)
    if table is None or table.explained < EXPLAINED or table.override is not None:
        return unknown(key, title, "the setpoint is not in the log, and the measured value follows no table", hours)
    words = points_text(table.points, quantity)
    reason = "the setpoint is not in the log: the measured value stands for it, which is right only where it is held"
    if not all(quantity.low <= y <= quantity.high for _, y in table.points):
        return unknown(key, title, f"measured {words}, outside what a project allows", hours)
    evidence = f"Trend log, {hours:.0f} settled running hours: {words}; {reason}"
    return Found(
        key,
        title,
        True,
        f"by what is measured: {words}",
        reason,
        hours,
        {"points": [list(p) for p in table.points]},
        (InputFound(f"candidate.as_found.{quantity.part}.points", [list(p) for p in table.points], evidence),),
        True,
    )
