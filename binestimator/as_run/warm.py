"""Rooms that an option as run leaves warmer than is allowed: where, when, and which inputs act on it."""

from __future__ import annotations

import numpy as np

from ..results import AsRun, Results, WarmAsRun
from ..strategies.registry import dsp_strategy, sat_strategy
from .audit import dsp_tuning, sat_tuning

# A rise is said to fall in the shortest run of hours, or of months, that has this share of it.
MOST_FRAC = 0.9
# A rise is one of the start where at least this share of it is in the first hour after the unit starts.
START_FRAC = 0.5
MONTHS = ("January", "February", "March", "April", "May", "June",
          "July", "August", "September", "October", "November", "December")  # fmt: skip


def warm_of(run: AsRun, base: AsRun, zone_names) -> WarmAsRun | None:
    """Where and when a run leaves rooms too warm, against the baseline as run; None where no limit is passed."""
    rise = run.rise
    if rise is None or not run.warm_when:
        return None
    limit = rise.limits["unmet_degree_hours_rise"]
    if rise.unmet_degree_hours_rise <= limit:
        return None
    at = list(zone_names).index(rise.unmet_zone)
    more = {name: np.maximum(run.warm_when[name] - base.warm_when[name], 0.0)[..., at] for name in run.warm_when}
    first_month, last_month = shortest(more["by_month"])
    return WarmAsRun(
        zone=rise.unmet_zone,
        rise_degree_hours=rise.unmet_degree_hours_rise,
        limit_degree_hours=limit,
        baseline_degree_hours=float(base.service.warm_degree_hours[at]),
        at_start_frac=min(float(more["at_start"]) / rise.unmet_degree_hours_rise, 1.0),
        hours=shortest(more["by_hour"]),
        months=(first_month + 1, last_month + 1),
    )


def shortest(parts) -> tuple[int, int]:
    """First and last place of the shortest run, past the end too, that has most of a sum of parts >= 0."""
    n, around = len(parts), np.concatenate([[0.0], np.cumsum(np.tile(parts, 2))])
    least = MOST_FRAC * around[n]
    for length in range(1, n + 1):
        found = around[length : length + n] - around[:n]
        first = int(np.argmax(found))
        if found[first] >= least * (1.0 - 1e-12):
            break
    return first, (first + length - 1) % n


def warm_words(results: Results, candidate_id: str) -> str:
    """What is to be told of an option that leaves rooms too warm as run; empty where it does not."""
    run = (results.as_run or {})[candidate_id]
    warm = run.warm
    if warm is None:
        return ""
    first, last = warm.hours
    months = [MONTHS[month - 1] for month in warm.months]
    when = f"between {first}:00 and {last + 1}:00 standard time"
    if (warm.months[1] - warm.months[0]) % 12 < 11:
        when += f", {months[0]}" + ("" if months[0] == months[1] else f" to {months[1]}")
    return (
        f"{warm.zone}: too warm by {warm.rise_degree_hours:,.0f} °F·h a year more than in the baseline as run "
        f"({warm.baseline_degree_hours:,.0f}), {warm.limit_degree_hours:,.0f} allowed; "
        f"{100.0 * warm.at_start_frac:.0f} % of it in the first hour after the unit starts, most {when}. "
        f"{_acting(results, candidate_id, warm)}"
    )


def _acting(results: Results, candidate_id: str, warm: WarmAsRun) -> str:
    """Inputs that act on it."""
    candidate, run = results[candidate_id].candidate, results.runs[candidate_id]
    tuning = run.project.as_run
    begins = []
    sat, dsp = sat_tuning(candidate.sat, tuning), dsp_tuning(run.unit, candidate.dsp, tuning)
    if sat is not None and sat.start > sat.low:
        begins.append(f"supply air starts at {sat.start:g} °F, its coldest is {sat.low:g} (as_run.sat_start_f)")
    if dsp is not None and dsp.start < dsp.high:
        begins.append(
            f"duct pressure starts at {dsp.start:g} in. w.c., its highest is {dsp.high:g} (as_run.dsp_start_inwc)"
        )
    if sat is None and dsp is None:
        return (
            "No request of the zone acts on the setpoints of this option: colder supply air, or more duct pressure, at "
            "that time does."
        )
    if warm.at_start_frac >= START_FRAC and begins:
        text = "; ".join(begins)
        return text[0].upper() + text[1:] + "."
    ignored = [
        f"{part} ignores {record.ignored_requests:g}"
        for part, way, record in (
            ("supply air", sat_strategy(candidate.sat), candidate.sat),
            ("duct pressure", dsp_strategy(candidate.dsp), candidate.dsp),
        )
        if way.listens
    ]
    return f"Requests ignored ({', '.join(ignored)}), the weight of the zone (importance) or its terminal act on it."
