"""What else differs between both periods: a saving that is not the reset's, or a sensor that is not what it was."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from binestimator.dataclass import dataclass
from binestimator.realised.compare import compare, terms_of
from binestimator.realised.hours import Hours
from binestimator.realised.spread import sizes_of
from binestimator.realised.year import YearModel
from binestimator.trends.found import days_listed
from binestimator.trends.study import TrendStudy

#: Changes below these are not told (of the load, where its interval reaches below): running hours, airflow limits,
#: power at equal speed, load [share], room
#: setpoints [degF].
_HOURS_FRAC, _LIMIT_FRAC, _POWER_FRAC, _LOAD_FRAC, _ROOM_F = 0.05, 0.1, 0.05, 0.05, 0.5
#: A day below this share of what its weather explains is no usual day.
_IDLE_FRAC = 0.6
#: Share of the running hours with the energy measured, below which it is told.
_LEAST_KNOWN = 0.9
#: Days that each period needs for its load.
_LOAD_DAYS = 10


@dataclass(frozen=True, slots=True)
class Change:
    """Something that differs between both periods.

    Parameters
    ----------
    key, text : str
    caution : bool
        The saving may be another than it looks.
    value : dict
        Figures, as plain data.
    """

    key: str
    text: str
    caution: bool
    value: dict


def changes_between(
    studies: tuple[TrendStudy, TrendStudy], periods: tuple[Hours, Hours], model: YearModel, name: str
) -> list[Change]:
    """What differs, beside the reset.

    Parameters
    ----------
    studies : two TrendStudy
        Before and after.
    periods : two Hours
    model : YearModel
    name : str
        What was measured and is judged.
    """
    year = model.hours
    found = [
        *_days(studies),
        *_running(studies, periods, year),
        *_known(periods, name),
        *(_idle(periods, year, name) if name in ("fan_kw", "_fans_kw") else ()),
        *_rooms(studies),
        *_load(periods, model),
        *_power(periods),
    ]
    for words, study in zip(("before", "after"), studies):
        found += [Change("sensors", f"{words}: {text}", True, {"period": words}) for text in study.contradictions]
    return found


def _days(studies):
    first, second = (np.unique(s.log.day) for s in studies)
    both = np.intersect1d(first, second)
    if len(both):
        yield Change(
            "overlap",
            f"{len(both)} day{'' if len(both) == 1 else 's'} are in both logs ({days_listed(both, 3)}): "
            "they count in both, "
            "and in them nothing can have been saved",
            True,
            {"days": len(both)},
        )


def _running(studies, periods, year):
    """Running time, and running hours of a kind that the typical year has none of."""
    weekly = [168.0 * np.count_nonzero(s.running.on) / max(int(np.count_nonzero(s.running.known)), 1) for s in studies]
    by_hour = [np.bincount(s.log.hour[s.running.known].astype(int), minlength=24) for s in studies]
    whole = all(count.min() > 0.5 * count.max() for count in by_hour)  # a log of some hours says nothing of a week
    if whole and abs(weekly[1] - weekly[0]) > _HOURS_FRAC * max(weekly[0], 1.0):
        yield Change(
            "running_hours",
            f"the fan ran {weekly[0]:.0f} h a week before and {weekly[1]:.0f} h after: the difference is "
            "not counted, both "
            "periods are brought to the running hours of the project",
            True,
            {"before_h_week": round(weekly[0], 1), "after_h_week": round(weekly[1], 1)},
        )
    for words, hours in zip(("before", "after"), periods):
        odd = np.zeros(len(hours), bool)
        for occupied in (False, True):
            for weekend in (False, True):
                if not np.any((year.occupied == occupied) & (year.weekend == weekend)):
                    odd |= (hours.occupied == occupied) & (hours.weekend == weekend)
        if np.count_nonzero(odd) > 0.02 * len(hours):
            yield Change(
                "other_hours",
                f"{words}: {np.count_nonzero(odd)} running hours left out, outside the hours of the project "
                f"({days_listed(hours.day[odd].astype('datetime64[D]'), 3)})",
                False,
                {"period": words, "hours": int(np.count_nonzero(odd))},
            )


def _known(periods, name):
    for words, hours in zip(("before", "after"), periods):
        known = len(hours.measured(name)) / max(len(hours), 1)
        if known < _LEAST_KNOWN:
            yield Change(
                "missing",
                f"{words}: only {100 * known:.0f} % of the running hours are measured; if the others are "
                "another kind of "
                "hours the saving is wrong by as much",
                True,
                {"period": words, "known_frac": round(known, 4)},
            )


def _idle(periods, year, name):
    """Days that take far less than their weather explains: nobody there, or the meter off."""
    both = [p.measured(name) for p in periods]
    terms = terms_of(both[0], both[1], year) if all(len(p) for p in both) else None
    if terms is None:
        return
    counted = []
    for p in both:
        p = p.take(terms.inside(p))
        x = terms.matrix(p)
        ratio = p.values[name] / sizes_of(x, p.values[name])[1] if len(p) > x.shape[1] else np.ones(len(p))
        days, place, count = np.unique(p.day, return_inverse=True, return_counts=True)
        mean = np.bincount(place, ratio, len(days)) / count
        counted.append(days[mean < _IDLE_FRAC * np.median(mean)] if len(days) else days)
    for words, days in zip(("before", "after"), counted):
        if len(days):
            yield Change(
                "idle_days",
                f"{words}: {len(days)} day{'' if len(days) == 1 else 's'} with less than "
                f"{100 * _IDLE_FRAC:.0f} % of what "
                f"weather explains ({days_listed(days.astype('datetime64[D]'), 4)}): if nobody was there, "
                "leave them out "
                "of the log or name them under calendar.holidays",
                True,
                {"period": words, "days": [str(d) for d in days.astype("datetime64[D]")][:20]},
            )


def _rooms(studies):
    for key, words, least, unit in (
        ("zone_setpoints", "cooling setpoints of rooms", _ROOM_F, "degF"),
        ("zone_minimums", "lowest airflows of zones", _LIMIT_FRAC, "%"),
    ):
        values = []
        for s in studies:
            found = next((f for f in s.found if f.key == key and f.known), None)
            if found is None:
                break
            values.append(
                {zone: (v[0] if key == "zone_setpoints" else v["min_cfm"]) for zone, v in found.value.items()}
            )
        if len(values) < 2:
            continue
        shared = [z for z in values[0] if values[0][z] is not None and values[1].get(z) is not None]
        off = {
            z: values[1][z] - values[0][z] if unit == "degF" else values[1][z] / max(values[0][z], 1.0) - 1.0
            for z in shared
        }
        moved = {z: d for z, d in off.items() if abs(d) >= least - 1e-9}
        if moved:
            most = max(moved, key=lambda z: abs(moved[z]))
            mean = float(np.mean(list(off.values())))
            said = (lambda d: f"{d:+.1f} degF") if unit == "degF" else (lambda d: f"{100 * d:+.0f} %")
            yield Change(
                key,
                f"{words} differ in {len(moved)} of {len(shared)} zones, {said(mean)} in the mean (most "
                f"{said(moved[most])} in "
                f"{most}): what that saves or costs is in the measured saving",
                True,
                {"zones": len(moved), "of": len(shared), "mean": round(mean, 4)},
            )


def _load(periods, model: YearModel):
    """Cooling that the rooms take from the supply air at equal weather, before and after."""
    loads = []
    for p in periods:
        if not {"supply_flow", "rat", "sat"} <= set(p.values):
            return
        v = p.values
        loads.append(replace(p, values={"load": v["supply_flow"] * (v["rat"] - v["sat"])}))
    modelled = [side["flow_cfm"] * (side["rat_f"] - side["sat_f"]) for side in (model.before, model.after)]
    if any(len(np.unique(p.measured("load").day)) < _LOAD_DAYS for p in loads):
        return
    found = compare(loads[0], loads[1], model.hours, "load", False, (modelled[0], modelled[1]))
    base = 0.0 if found is None else float(np.median(found.before_total))
    if found is None or base <= 0.0:
        return
    low, high = (-v / base for v in reversed(found.interval()))
    middle = -float(np.median(found.saving)) / base
    if low > _LOAD_FRAC or high < -_LOAD_FRAC:
        word = "more" if middle > 0 else "less"
        yield Change(
            "load",
            f"at equal weather the rooms took {abs(100 * middle):.0f} % {word} cooling from the "
            f"supply air after than before (90 % within {100 * low:+.0f} to {100 * high:+.0f} %): part of the "
            f"{'loss' if middle > 0 else 'saving'} is load, not the reset",
            True,
            {"change_frac": round(middle, 4), "interval_90": [round(low, 4), round(high, 4)]},
        )


def _power(periods):
    """Fan power at equal speed: a change is the meter's, the fan's or the drive's."""
    curves = []
    for p in periods:
        speed, kw = p.values.get("supply_fan_speed"), p.values.get("fan_kw")
        if speed is None or kw is None:
            return
        good = np.isfinite(speed) & np.isfinite(kw) & (speed > 0.15) & (kw > 0.0)
        curves.append((np.log(speed[good]), np.log(kw[good])))
    (x0, y0), (x1, y1) = curves
    if len(x0) < 30 or len(x1) < 30:
        return
    low, high = max(np.quantile(x0, 0.02), np.quantile(x1, 0.02)), min(np.quantile(x0, 0.98), np.quantile(x1, 0.98))
    here0, here1 = (x0 >= low) & (x0 <= high), (x1 >= low) & (x1 <= high)
    if np.count_nonzero(here0) < 20 or np.count_nonzero(here1) < 20:
        return
    degree = 1 if high - low > 0.05 else 0
    curve = np.polyfit(x0[here0], y0[here0], degree)
    off = float(np.exp(np.median(y1[here1] - np.polyval(curve, x1[here1]))) - 1.0)
    if abs(off) >= _POWER_FRAC:
        yield Change(
            "power_at_speed",
            f"at equal fan speed the meter reads {abs(100 * off):.0f} % {'more' if off > 0 else 'less'} "
            "after than before: a "
            "lower duct pressure explains some of it, a meter, belt or filter that is not what it was "
            "the rest; check the "
            "meter against a second one",
            abs(off) >= 3 * _POWER_FRAC,
            {"change_frac": round(off, 4)},
        )
