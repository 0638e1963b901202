"""When the air handler runs: what tells, operating hours by weekday, what it does outside them."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from binestimator.dataclass import dataclass
from binestimator.trends.found import Found, InputFound, clock, days_listed, runs, unknown
from binestimator.trends.log import Log

DAYS = ("Monday", "Tuesday", "Wednesday", "Thursday", "Friday", "Saturday", "Sunday")
#: Days of a kind: input of their hours, words, and which weekdays.
_KINDS = (
    ("schedule.weekday_hours", "weekdays", (0, 1, 2, 3, 4)),
    ("schedule.saturday_hours", "Saturdays", (5,)),
    ("schedule.sunday_hours", "Sundays", (6,)),
)
#: Share of a day's slots that must be known.
_WHOLE_DAY = 0.9
#: Stops shorter than this belong to the run around them; runs shorter are no day's work. [h]
_SHORT_STOP_H, _SHORT_RUN_H = 0.5, 1.0
#: A day that starts or ends this far from the usual is named. [h]
_UNUSUAL_H = 0.5


@dataclass(frozen=True, slots=True)
class Running:
    """When the fan runs and when the unit is occupied.

    Parameters
    ----------
    on, occupied, known : ndarray of bool (R,)
        Occupied: by the occupied mode if the log has it, else as the fan runs in its usual hours.
    settled : ndarray of bool (R,)
        Running for at least 30 minutes.
    by : str
        What tells whether the fan runs, in words; empty where nothing does.
    mode : bool
        The log has the occupied mode.
    """

    on: np.ndarray
    occupied: np.ndarray
    known: np.ndarray
    settled: np.ndarray
    by: str
    mode: bool


def _level(share: float, least: float) -> Callable[[np.ndarray], float]:
    return lambda values: max(share * float(np.nanpercentile(values, 95)), least)


#: Points that tell whether the fan runs, the best first, with the level above which it does.
_TELLS = (
    ("supply_fan_status", "fan status", lambda values: 0.5),
    ("supply_fan_power", "fan power", _level(0.05, 0.05)),
    ("dsp", "duct pressure", _level(0.15, 0.08)),
    ("supply_flow", "airflow", _level(0.05, 20.0)),
    ("supply_fan_speed", "fan speed", lambda values: 0.05),
)


def find_running(log: Log) -> Running:
    """When the fan runs, by the best point the log has for it."""
    count = len(log.start)
    nothing = np.zeros(count, dtype=bool)
    for key, words, level in _TELLS:  # noqa: B007 - the one that was found is used after the loop
        values = log.get(key)
        if values is not None and np.isfinite(values).any():
            break
    else:
        return Running(nothing, nothing, nothing, nothing, "", False)
    known = np.isfinite(values)
    on = known & (np.nan_to_num(values) > level(values))
    least = max(int(round(0.5 / log.step_h)), 1)
    settled = on.copy()
    for k in range(1, least + 1):  # running at each of the slots before, too
        settled[k:] &= on[:-k]
        settled[:k] = False
    joined = np.concatenate(([False], np.diff(log.start.astype(np.int64)) == log.step_s))
    for k in range(least):
        settled[k:] &= joined[: count - k] if k else joined
    mode = log.get("mode")
    has_mode = mode is not None and bool(np.isfinite(mode).mean() > 0.5)
    occupied = np.nan_to_num(mode) > 0.5 if has_mode and mode is not None else on
    return Running(on, occupied, known, settled, words, has_mode)


@dataclass(frozen=True, slots=True)
class _Day:
    day: np.datetime64
    weekday: int
    start: float
    end: float
    share: float


def _days(log: Log, mask: np.ndarray, known: np.ndarray) -> list[_Day]:
    """Longest run of each day that is known whole."""
    found = []
    slots = int(round(24.0 / log.step_h))
    hour, weekday = log.hour, log.weekday
    day = log.day
    edges = np.flatnonzero(np.diff(day.astype(np.int64))) + 1
    for begin, end in zip((0, *edges), (*edges, len(day))):
        if np.count_nonzero(known[begin:end]) < _WHOLE_DAY * slots:
            continue
        on = mask[begin:end].copy()
        here = known[begin:end]
        for a, b in runs(~on):
            # Between two parts of a run nothing is a stop that is short, or of which nothing is known.
            between = a > 0 and b < len(on)
            if between and ((b - a) * log.step_h < _SHORT_STOP_H or not here[a:b].any()):
                on[a:b] = True
        found_runs = [(a, b) for a, b in runs(on) if (b - a) * log.step_h >= _SHORT_RUN_H]
        share = float(mask[begin:end].mean())
        if not found_runs:
            found.append(_Day(day[begin], int(weekday[begin]), np.nan, np.nan, share))
            continue
        a, b = max(found_runs, key=lambda run: run[1] - run[0])
        last = hour[begin + b - 1] + log.step_h
        found.append(_Day(day[begin], int(weekday[begin]), float(hour[begin + a]), float(last), share))
    return found


def _quarter(hour: float) -> float:
    return float(np.clip(round(hour * 4.0) / 4.0, 0.0, 24.0))


def operating_hours(log: Log, running: Running) -> tuple[list[Found], dict[int, tuple[float, float] | None]]:
    """Operating hours by weekday, and what the unit does outside them.

    Returns
    -------
    findings : list of Found
    hours : dict
        Weekday -> clock hours of occupancy, or None where it is closed; without those that the log does not show.
    """
    title = "Operating hours"
    if not running.by:
        reason = "no fan status, power, speed, airflow or duct pressure in the log"
        return [unknown("operating_hours", title, reason), unknown("outside_hours", "Outside those hours", reason)], {}
    fan = _days(log, running.on, running.known)
    if running.mode:
        mode = log.get("mode")
        assert mode is not None
        shown = _days(log, running.occupied, np.isfinite(mode))
    else:
        shown = fan
    if not shown:
        longest = f"no day is known for more than {_WHOLE_DAY:.0%} of its slots"
        return [
            unknown("operating_hours", title, longest),
            unknown("outside_hours", "Outside those hours", longest),
        ], {}
    by = "occupied mode" if running.mode else running.by
    parts, inputs, hours, unusual = [], [], {}, []
    value: dict = {"by": by, "days": len(shown), "weekdays": {}}
    utc = any(g.form.zoned == "utc" for t in log.tables for g in t.groups) and not log.points.timezone
    for path, words, which in _KINDS:
        days = [d for d in shown if d.weekday in which]
        if not days:
            parts.append(f"{words} not in the log")
            continue
        open_days = [d for d in days if np.isfinite(d.start)]
        if len(open_days) <= 0.5 * len(days):
            given: list[float] = []
            span = None
            said = f"{words} closed" + (
                f" (but {days_listed(np.array([d.day for d in open_days]))})" if open_days else ""
            )
            low = high = None
        elif np.mean([d.share for d in open_days]) > 0.97:
            span, given, said = (0.0, 24.0), [0.0, 24.0], f"{words} day and night"
            low = high = 24.0
        else:
            start = float(np.median([d.start for d in open_days]))
            end = float(np.median([d.end for d in open_days]))
            span = (_quarter(start), _quarter(end))
            given = list(span)
            said = f"{words} {clock(span[0])} to {clock(span[1])}"
            lengths = [d.end - d.start for d in open_days]
            low, high = min(lengths), max(lengths)
            unusual += [d for d in open_days if abs(d.start - start) > _UNUSUAL_H or abs(d.end - end) > _UNUSUAL_H]
            unusual += [d for d in days if not np.isfinite(d.start)]
        for weekday in which:
            if any(d.weekday == weekday for d in days):
                hours[weekday] = span
        parts.append(said)
        few = "" if len(days) >= (5 if len(which) > 1 else 2) else "; few days"
        evidence = f"Trend log, {len(days)} day{'' if len(days) == 1 else 's'} of {words}, by {by}: {said}{few}"
        inputs.append(InputFound(path, given, evidence, low, high))
        value["weekdays"][words] = {"hours": given, "days": len(days)}
    for weekday in range(7):
        days = [d for d in shown if d.weekday == weekday and np.isfinite(d.start)]
        value[DAYS[weekday]] = (
            [round(float(np.median([d.start for d in days])), 2), round(float(np.median([d.end for d in days])), 2)]
            if days
            else []
        )
    text = "; ".join(parts)
    if unusual:
        text += "; other hours on " + days_listed(np.array([d.day for d in unusual]))
        value["other_days"] = [str(d.day) for d in unusual]
    reason = f"longest run of each of {len(shown)} whole days, by {by}; hours to the quarter"
    if utc:
        reason += "; stamps are UTC and no timezone is named: these are not clock hours"
    first = Found(
        "operating_hours",
        title,
        True,
        text,
        reason,
        float(np.count_nonzero(running.known)) * log.step_h,
        value,
        () if utc else tuple(inputs),
        bool(unusual) or utc,
    )
    return [first, _outside(log, running, fan, hours, utc)], hours


def _outside(log: Log, running: Running, fan: list[_Day], hours, utc: bool) -> Found:
    """What the fan does outside the occupied hours."""
    key, title = "outside_hours", "Outside those hours"
    hour, weekday = log.hour, log.weekday
    inside = np.zeros(len(hour), dtype=bool)
    shown = np.isin(weekday, list(hours))
    slack = max(0.25, log.step_h)  # a fan that starts a little early and stops a little late is on time
    for number, span in hours.items():
        if span is not None:
            inside |= (weekday == number) & (hour >= span[0] - slack) & (hour < span[1] + slack)
    outside = running.known & ~inside & shown
    total = float(np.count_nonzero(outside)) * log.step_h
    if total < 8.0:
        return unknown(key, title, "the unit is occupied at nearly all hours of the log", total)
    on = outside & running.on
    share = float(np.count_nonzero(on)) / max(int(np.count_nonzero(outside)), 1)
    every = np.unique(log.day[outside])
    with_runs = np.unique(log.day[on])
    longest = max(((b - a) * log.step_h for a, b in runs(on)), default=0.0)
    nights = f"{len(with_runs)} of {len(every)} days"
    value: dict = {"running_frac": round(share, 4), "days_with_runs": [str(d) for d in with_runs][:50]}
    if share > 0.9:
        mode, text = "continuous", f"the fan runs on ({100 * share:.0f} % of {total:.0f} h)"
    elif len(with_runs) <= 0.2 * len(every):
        mode = "off"
        text = "the fan is off"
        if len(with_runs):
            text += f", but for {np.count_nonzero(on) * log.step_h:.1f} h on {days_listed(with_runs)}"
    else:
        mode = "setback"
        text = (
            f"the fan runs at times: {100 * share:.0f} % of {total:.0f} h, on {nights}, at most {longest:.1f} h at once"
        )
    value["mode"] = mode
    lead = (
        []
        if not running.mode
        else [hours[d.weekday][0] - d.start for d in fan if np.isfinite(d.start) and hours.get(d.weekday) is not None]
    )
    if lead and np.median(lead) > 0.3:
        value["starts_before_h"] = round(float(np.median(lead)), 2)
        text += f"; it starts {np.median(lead):.1f} h before occupancy"
    evidence = f"Trend log, {total:.0f} h outside occupied hours, by {running.by}: {text}"
    inputs = () if utc else (InputFound("schedule.unoccupied_mode", mode, evidence),)
    return Found(key, title, True, text, f"by {running.by}", total, value, inputs, mode == "off" and len(with_runs) > 0)
