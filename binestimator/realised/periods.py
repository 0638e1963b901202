"""Periods of a comparison: logs cut and read, their hours, what is measured in them, how their days scatter."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from binestimator.dataclass import dataclass
from binestimator.errors import InputError
from binestimator.inputs.project import Project
from binestimator.realised.compare import terms_of
from binestimator.realised.hours import Hours, hours_of
from binestimator.realised.plan import Spread
from binestimator.realised.season import day_of_year
from binestimator.realised.spread import fit_hours
from binestimator.realised.year import YearModel
from binestimator.trends.log import Log
from binestimator.trends.study import TrendStudy, study

#: Days with the fan running that each period needs: from fewer, what hangs together from day to day cannot be judged.
#: Assumption: two working weeks.
LEAST_DAYS = 10
#: Share of the typical year's running hours that both periods must have between them. Assumption.
LEAST_COVERED = 0.2
#: Confidence of ``interval_90``, and what is asked of a plan where nothing else is: half width over saving. Assumption.
CONFIDENCE, PRECISION = 0.90, 0.5


@dataclass(frozen=True, slots=True)
class Kind:
    """Something that logs can measure: end use or load, what it is in hours of logs, fields of the model, moisture."""

    key: str
    label: str
    unit: str
    logged: tuple[str, ...]
    rates: tuple[str, ...]
    moist: bool = False


KINDS = (
    Kind("fan_kwh", "Fans", "kWh", ("fan_kw", "return_fan_kw"), ("fan_kw", "return_fan_kw")),
    Kind("cooling_kwh", "Cooling", "kWh", ("cooling_kw",), ("cooling_kw",), True),
    Kind("heating_kwh", "Electric heat", "kWh", ("heating_kw",), ("heating_kw",)),
    Kind(
        "cooling_sensible_kbtu",
        "Sensible cooling of the coil",
        "kBtu",
        ("cooling_sensible_kbtuh",),
        ("cooling_sensible_kbtuh",),
    ),
    Kind("reheat_kbtu", "Reheat of the terminals", "kBtu", ("reheat_kbtuh",), ("reheat_kbtuh",)),
)


def cut(log: Log, first: str | None = None, last: str | None = None) -> Log:
    """The days of a log from ``first`` on and up to ``last``, both as dates and included."""
    day = log.day
    keep = np.ones(len(day), bool)
    if first is not None:
        keep &= day >= np.datetime64(first)
    if last is not None:
        keep &= day <= np.datetime64(last)
    if not keep.any():
        side = f"from {first}" if first is not None else f"up to {last}"
        raise InputError(f"{files_of(log)}: has no day {side}; expected a log of both sides of the change")
    return replace(log, start=log.start[keep], values={key: v[keep] for key, v in log.values.items()})


def files_of(log: Log) -> str:
    return ", ".join(dict.fromkeys(table.path.name for table in log.tables)) or "log"


def studied(log: Log, project: Project) -> TrendStudy:
    index = project.fan.index_dsp_inwc or project.fan.design_dsp_inwc
    limits = {zone.name: float(zone.max_cfm) for zone in project.zones if zone.max_cfm is not None}
    return study(log, index, limits)


def check_period(found: TrendStudy, words: str) -> None:
    log = found.log
    for missing, what in (
        (log.get("oat") is None, "outdoor air temperature"),
        (not found.running.by, "fan status, power, speed, airflow or duct pressure, by which running hours are told"),
    ):
        if missing:
            raise InputError(
                f"{files_of(log)}: the log {words} lacks {what}; expected it among the points; see which "
                "column was taken for "
                "which point with: binestimator trends LOG.csv --draft-map MAP.toml"
            )


def period_hours(found: TrendStudy, model: YearModel) -> Hours:
    unit = model.sites[0].unit
    pressure = model.sites[0].hourly.conditions.pressure_psia
    hours = hours_of(found.log, found.running, model.calendar, pressure, unit.fan.arrangement == "draw_through")
    kw, more = hours.values.get("fan_kw"), hours.values.get("return_fan_kw")
    if kw is not None and more is not None:
        return replace(hours, values={**hours.values, "_fans_kw": kw + more})
    return hours


def logged(kind: Kind, periods) -> tuple[str | None, tuple[str, ...]]:
    """Name among the values of hours that both periods have, and the fields of the model that it is."""
    have = lambda name: all(name in p.values and np.isfinite(p.values[name]).any() for p in periods)
    if kind.key == "fan_kwh":
        if have("_fans_kw"):
            return "_fans_kw", kind.rates
        return ("fan_kw", ("fan_kw",)) if have("fan_kw") else (None, ())
    return (kind.logged[0], kind.rates) if have(kind.logged[0]) else (None, ())


def days_of(hours: Hours) -> np.ndarray:
    return day_of_year(np.unique(hours.day))


def spreads_of(periods, year: Hours, name: str) -> tuple[Spread, Spread] | None:
    """How days scatter in each period by itself; a period that tells nothing takes that of the other."""
    found: list[Spread | None] = []
    for p in periods:
        p = p.measured(name)
        terms = terms_of(p, p, year) if len(p) else None
        if terms is None:
            found.append(None)
            continue
        p = p.take(terms.inside(p))
        x = terms.matrix(p)
        few = len(np.unique(p.day)) < 5 or len(p) <= x.shape[1] + 5 or np.linalg.matrix_rank(x) < x.shape[1]
        found.append(None if few else Spread.of(fit_hours(x, p.values[name], p.day)))
    first, second = found[0] or found[1], found[1] or found[0]
    return None if first is None or second is None else (first, second)
