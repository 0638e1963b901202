"""How to measure what a saving is: points, interval, weeks."""

from __future__ import annotations

from dataclasses import field

import numpy as np

from binestimator.errors import InputError
from binestimator.inputs.project import Project
from binestimator.realised.plan import Spread, Weeks, plan_weeks, points_wanted, sampling
from binestimator.realised.season import day_of_year
from binestimator.realised.year import YearModel, year_model
from binestimator.trends.log import Log

from ..dataclass import dataclass
from .periods import (
    CONFIDENCE,
    KINDS,
    LEAST_DAYS,
    PRECISION,
    check_period,
    days_of,
    files_of,
    logged,
    period_hours,
    spreads_of,
    studied,
)


@dataclass(frozen=True, slots=True)
class Plan:
    """How to measure what a saving is.

    Parameters
    ----------
    year : YearModel
    label, unit : str
        Of what is proven.
    saving_frac : float
        Of the energy before, that is expected.
    confidence, precision : float
    best : Weeks or None
    table : tuple of Weeks
    points : tuple of (kind, longest interval [min], why, in the log)
    intervals : tuple of (minutes, share)
        What coarser samples add to the scatter of hours.
    spread : two Spread
    have : two int
        Days that there are.
    start : int
        Day of the year on which the next weeks begin.
    """

    year: YearModel
    label: str
    unit: str
    before_year: float
    saving_frac: float
    confidence: float
    precision: float
    best: Weeks | None
    table: tuple[Weeks, ...]
    points: tuple[tuple[str, int, str, bool], ...]
    intervals: tuple[tuple[int, float], ...]
    spread: tuple[Spread, Spread]
    have: tuple[int, int]
    start: int
    notes: tuple[str, ...] = field(default=())

    @property
    def longest_interval_min(self) -> int | None:
        """The coarsest sampling that adds no more than a tenth to the scatter of hours."""
        fine = [minutes for minutes, share in self.intervals if share <= 0.1]
        return max(fine) if fine else None


def plan_measurement(
    project: Project,
    weather,
    option: str,
    before: Log,
    after: Log | None = None,
    *,
    saving_frac: float | None = None,
    confidence: float = CONFIDENCE,
    precision: float = PRECISION,
    start: str | None = None,
) -> Plan:
    """Points, interval and weeks that prove a saving.

    Parameters
    ----------
    project, weather, option
        As for :func:`realised`.
    before : Log
        Of any days before the change.
    after : Log, optional
    saving_frac : float, optional
        Of the energy before, that is to be proven; the claim where not given.
    confidence, precision : float
        Of the interval, and its half width over the saving.
    start : str, optional
        Date on which the next weeks can begin; the day after the last one measured where not given.

    Raises
    ------
    InputError
        The log lacks what everything goes by, or too few days to judge how they scatter.
    """
    logs = [before] if after is None else [before, after]
    studies = [studied(log, project) for log in logs]
    for found, words in zip(studies, ("before", "after")):
        check_period(found, words)
    model = year_model(project, weather, option)
    hours = [period_hours(found, model) for found in studies]
    both = (hours[0], hours[-1])
    kind = next((kind for kind in KINDS if logged(kind, both)[0] is not None), None)
    if kind is None:
        raise InputError(
            f"{files_of(before)}: nothing that is to be proven is measured: no fan power, nor cooling by "
            "power or by airflow "
            "and temperatures; expected at least the power of the supply fan"
        )
    name, rates = logged(kind, both)
    assert name is not None
    spread = spreads_of(both, model.hours, name)
    if spread is None:
        raise InputError(
            f"{files_of(before)}: too few days with {kind.label.lower()} measured to see how they scatter; expected "
            f"some {LEAST_DAYS} days with the fan running"
        )
    modelled = tuple(np.asarray(sum(side[rate] for rate in rates)) for side in (model.before, model.after))
    total = float(np.sum(modelled[0]))
    claim = float(np.sum(modelled[0] - modelled[1]))
    notes = []
    if saving_frac is None:
        saving_frac = claim / total if total else 0.0
        if saving_frac <= 0.0:
            notes.append(
                f"the claim saves no {kind.label.lower()}: what is proven then is that it takes no more; "
                "give what is to be "
                "told with --saving"
            )
    goal = saving_frac * total
    have = (days_of(hours[0].measured(name)), np.zeros(0, int))
    if after is not None:
        have = have[0], days_of(hours[1].measured(name))
    last = have[1] if len(have[1]) else have[0]
    begin = int(last[-1]) + 1 if start is None else int(day_of_year(np.array([np.datetime64(start).astype(int)]))[0])
    best, table = plan_weeks(
        model.hours, (modelled[0], modelled[1]), have, spread, goal, confidence, precision, start=begin,
        more_before=after is None,
    )  # fmt: skip
    log = studies[0].log
    point = {"fan_kwh": "supply_fan_power", "cooling_kwh": "cooling_power", "heating_kwh": "heating_power"}.get(
        kind.key
    )
    values = None if point is None else log.get(point)
    intervals = [] if values is None else sampling(values, studies[0].running.on, log.step_s, spread[0])
    known = {key.partition("@")[0] for key in log.values}
    wanted = [(p, m, why, p in known) for p, m, why in points_wanted(model.option)]
    return Plan(
        year=model,
        label=kind.label,
        unit=kind.unit,
        before_year=total,
        saving_frac=saving_frac,
        confidence=confidence,
        precision=precision,
        best=best,
        table=tuple(table),
        points=tuple(wanted),
        intervals=tuple(intervals),
        spread=spread,
        have=(len(have[0]), len(have[1])),
        start=begin % 365,
        notes=tuple(notes),
    )
