"""Measured hours before and after a reset with known truth, for tests.

The hourly model runs the baseline and the option of an invented building in several years whose weather is not the
typical
one: days in another order, warmer and colder, clearer and cloudier spells. Days deviate from the model by what hangs
together from day to day,
hours by what does not, sensors by noise. The truth is what the model saves in the typical year.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cache

import numpy as np
from trend_logs import Truth, mapping

from binestimator.estimate.rows import Rows
from binestimator.estimate.running import run_parts
from binestimator.estimate.sizing import size_unit
from binestimator.hours import build_conditions, clock_calendar
from binestimator.inputs import project_from_mapping
from binestimator.model.build import build_unit
from binestimator.moist_air import humidity_ratio_from_dewpoint, wetbulb_f
from binestimator.realised.hours import Hours
from binestimator.steps import weather_of

FIELDS = ("fan_kw", "cooling_kw", "cooling_sensible_kbtuh", "sat_f", "dsp_inwc", "flow_cfm", "rat_f", "mat_f")
YEARS = 6
#: How the building differs from its project.
OTHER = {
    **{f"zone.Z{k + 1}.gain_multiplier": 1.25 * (0.7 + 0.1 * k) for k in range(6)},
    **{f"zone.Z{k + 1}.glass_{side}_ft2": 105.0 for k, side in enumerate(("south", "west", "north", "east"))},
}
#: 1 January 2025, as a number of days since 1970.
FIRST_DAY = int(np.datetime64("2025-01-01").astype(int))


def project_mapping(dsp="outdoor_air", sat="outdoor_air", **changes) -> dict:
    """The building of the trend logs with fixed setpoints as found and one option."""
    found = mapping(Truth(sat_points=((60.0, 55.0),), dsp_points=((60.0, 1.5),)))
    found["candidate"].append({"id": "reset", "name": "Both reset", "sat": sat, "dsp": dsp})
    found["sat"]["outdoor_air"] = {"points": [[45.0, 62.0], [65.0, 55.0]]}
    found["dsp"]["outdoor_air"] = {"points": [[50.0, 0.8], [80.0, 1.5]]}
    return found | changes


@dataclass(frozen=True)
class Year:
    """Running hours of a year: conditions as hours, and what baseline and option take in them by name of field."""

    hours: Hours
    before: dict
    after: dict


def _disturbed(weather, rng):
    """Another year of the same climate: spells of days from about their season, warmer or colder."""
    days = np.empty(365, int)
    at = 0
    while at < 365:
        length = int(rng.integers(3, 8))
        shift = int(rng.integers(-12, 13))
        for k in range(at, min(at + length, 365)):
            days[k] = (k + shift) % 365
        at += length
    anomaly, cloud = np.zeros(365), np.zeros(365)
    for k in range(1, 365):
        anomaly[k] = 0.7 * anomaly[k - 1] + rng.normal(0.0, 2.5)
        cloud[k] = 0.85 * cloud[k - 1] + rng.normal(0.0, 0.15)
    rows = (days[:, None] * 24 + np.arange(24)).ravel()
    warm = np.repeat(anomaly, 24)
    frame = weather.frame.copy()
    for name in ("oat_f", "dewpoint_f", "ghi_wm2", "dni_wm2", "dhi_wm2"):
        frame[name] = weather.frame[name].to_numpy()[rows]
    for name in ("ghi_wm2", "dni_wm2", "dhi_wm2"):
        frame[name] *= np.clip(1.0 + np.repeat(cloud, 24), 0.3, 1.7)
    frame["oat_f"] += warm
    frame["dewpoint_f"] = np.minimum(frame["dewpoint_f"] + warm, frame["oat_f"])
    p = weather.pressure_psia
    frame["humidity_ratio"] = humidity_ratio_from_dewpoint(frame["dewpoint_f"].to_numpy(), p)
    frame["oawb_f"] = wetbulb_f(frame["oat_f"].to_numpy(), frame["humidity_ratio"].to_numpy(), p)
    return replace(weather, frame=frame)


def hours_of_conditions(project, c) -> Hours:
    """Running hours of a year of conditions."""
    clock = clock_calendar(project.calendar)
    on = np.flatnonzero(c.fan_on > 0.0)
    return Hours(
        day=clock.day[on],
        hour=clock.hour[on],
        weekend=clock.day_type[clock.day[on]] > 0,
        occupied=c.occupied[on] > 0.5,
        oat_f=c.oat_f[on],
        dewpoint_f=c.oa_dewpoint_f[on],
    )


def _year(project, weather, unit) -> Year:
    conditions = build_conditions(weather, project)
    rows = Rows.of(unit, conditions)
    found = []
    for candidate in project.candidates:
        parts = run_parts(unit, candidate, rows)
        found.append({name: sum(p.share * getattr(p.state, name) for p in parts) for name in FIELDS})
    return Year(hours_of_conditions(project, conditions), *found)


@cache
def years(dsp="outdoor_air", sat="outdoor_air") -> tuple[Year, ...]:
    """The typical year of the project, then that of the building as it is, then other years of it.

    The building has more internal gains and less glass than the project says.
    """
    project = project_from_mapping(project_mapping(dsp, sat))
    weather = weather_of(project)
    sizes = size_unit(project, build_conditions(weather, project))
    other = project.with_overrides(OTHER)
    rng = np.random.default_rng(11)
    return (
        _year(project, weather, build_unit(project, sizes)),
        *(
            _year(other, w, build_unit(other, sizes))
            for w in (weather, *(_disturbed(weather, rng) for _ in range(YEARS)))
        ),
    )


def truth(name="fan_kw", **kinds) -> float:
    """What the option saves in the typical year. [kWh or kBtu]"""
    year = years(**kinds)[1]
    return float(np.sum(year.before[name] - year.after[name]))


def period(rng, year: Year, state: dict, first_day: int, days: int, *, names=("fan_kw",), day_sd=0.08, rho=0.5,
           hour_sd=0.06, noise=0.01, lost=0.03) -> Hours:  # fmt: skip
    """Hours of some days of a year as they would have been measured.

    Parameters
    ----------
    first_day, days : int
        From this day of the year on, past its end into its beginning.
    day_sd, rho : float
        Deviation of days, relative, and its correlation from day to day.
    hour_sd, noise : float
        Deviation of hours, and noise of the meter, relative.
    lost : float
        Share of hours lost, half of them in one spell.
    """
    u = np.zeros(365 * 2)
    u[0] = rng.normal(0.0, day_sd)
    for k in range(1, len(u)):
        u[k] = rho * u[k - 1] + rng.normal(0.0, day_sd * np.sqrt(1.0 - rho**2))
    h = year.hours
    since = (h.day - first_day) % 365
    here = np.flatnonzero(since < days)
    here = here[np.argsort(since[here] * 24 + h.hour[here])]
    found = h.take(here)
    n = len(here)
    drift = np.exp(u[since[here]] - 0.5 * day_sd**2) * (1.0 + rng.normal(0.0, hour_sd, n))
    values = {name: state[name][here] * drift * (1.0 + rng.normal(0.0, noise, n)) for name in names}
    for v in values.values():
        v[rng.random(n) < 0.5 * lost] = np.nan
        start = int(rng.integers(0, n))
        v[start : start + int(0.5 * lost * n)] = np.nan
    return replace(
        found, day=FIRST_DAY + first_day + since[here], oat_f=found.oat_f + rng.normal(0.0, 0.3, n), values=values
    )
