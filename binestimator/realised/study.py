"""What was saved: logs of both periods beside a project, all steps in order."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from binestimator.end_uses import END_USES
from binestimator.errors import InputError
from binestimator.inputs.project import Project
from binestimator.rates import prices_at
from binestimator.realised.changes import Change, changes_between
from binestimator.realised.compare import MOST_HELD, PART_WORDS, Compared, compare, part_of, terms_of
from binestimator.realised.defeated import Defeat, defeats
from binestimator.realised.hours import Hours
from binestimator.realised.plan import Weeks, plan_weeks
from binestimator.realised.spread import interval
from binestimator.realised.year import YearModel, at_setpoints, year_model
from binestimator.trends.log import Log
from binestimator.trends.match import KEY as MATCH
from binestimator.trends.match import compare_with_model
from binestimator.trends.study import TrendStudy

from ..dataclass import dataclass
from .periods import (
    CONFIDENCE,
    KINDS,
    LEAST_COVERED,
    LEAST_DAYS,
    PRECISION,
    Kind,
    check_period,
    days_of,
    files_of,
    logged,
    period_hours,
    spreads_of,
    studied,
)

#: Measured and modelled energy before the work may differ by this factor before it is told. Assumption.
_ALIKE = 1.3


@dataclass(frozen=True, slots=True)
class Use:
    """What was saved of an end use, or of a load of a coil.

    Parameters
    ----------
    key, label, unit : str
    measured : bool
        Else as modelled from the measured setpoints and flows.
    saving, claimed : float or None
        In the covered hours of the typical year; None where the logs cannot carry a number.
    interval_90 : (float, float) or None
    before : float or None
        Energy before, in the covered hours.
    covered_frac : float
        Share of the typical year's running hours that both logs have the weather of.
    saving_year, interval_90_year : float, (float, float) or None
        In all running hours; None where too many are not covered.
    claimed_year : float
    compared : Compared or None
    modelled_year : float or None
        Of an end use that is measured: the saving by the model at the measured setpoints and equal loads.
    why : str
        Why there is no number.
    notes : tuple of str
    """

    key: str
    label: str
    unit: str
    measured: bool
    saving: float | None
    claimed: float
    interval_90: tuple[float, float] | None
    before: float | None
    covered_frac: float
    saving_year: float | None
    interval_90_year: tuple[float, float] | None
    claimed_year: float
    compared: Compared | None = None
    modelled_year: float | None = None
    why: str = ""
    notes: tuple[str, ...] = ()

    def missing_parts(self, year: Hours) -> tuple[str, ...]:
        """Parts of the day in which the unit runs in the year and the logs lack it."""
        if self.compared is None:
            return ()
        return tuple(PART_WORDS[k] for k in np.unique(part_of(year.hour)) if k not in self.compared.terms.parts)

    @property
    def realised_frac(self) -> float | None:
        """Realised over claimed, of the year where there is a figure of it, else of the covered hours."""
        saving, claimed = (
            (self.saving_year, self.claimed_year) if self.saving_year is not None else (self.saving, self.claimed)
        )
        return None if saving is None or not claimed else saving / claimed

    @property
    def realised_interval_90(self) -> tuple[float, float] | None:
        """The same with its interval."""
        found, claimed = (
            (self.interval_90_year, self.claimed_year)
            if self.interval_90_year is not None
            else (self.interval_90, self.claimed)
        )
        if found is None or not claimed:
            return None
        low, high = sorted(v / claimed for v in found)
        return low, high


@dataclass(frozen=True, slots=True)
class Realised:
    """What the logs of both periods say.

    Parameters
    ----------
    year : YearModel
    studies : two TrendStudy
        Before and after.
    periods : two Hours
    uses : tuple of Use
        Measured ones first.
    changes : tuple of Change
    defeats : tuple of Defeat
    blind : tuple of str
        What cannot be told of the reset.
    needed : Weeks or None
        Further weeks with which a figure of the year would be within half of the claim at 90 %; None where there is
        nothing measured, or a year would not do.
    cost_usd : (float or None, float)
        Realised, where every end use has a figure of the year, and claimed. [USD/yr]
    """

    year: YearModel
    studies: tuple[TrendStudy, TrendStudy]
    periods: tuple[Hours, Hours]
    uses: tuple[Use, ...]
    changes: tuple[Change, ...]
    defeats: tuple[Defeat, ...]
    blind: tuple[str, ...]
    needed: Weeks | None
    cost_usd: tuple[float | None, float]
    gain: float = 1.0
    notes: tuple[str, ...] = ()

    def __getitem__(self, key: str) -> Use:
        """An end use by its key."""
        return next(use for use in self.uses if use.key == key)


def realised(project: Project, weather, option: str, before: Log, after: Log) -> Realised:
    """What was saved by an option that was put in place.

    Parameters
    ----------
    project : Project
        The claim is that of its estimate, hour by hour.
    weather : Weather
        Typical year of the project.
    option : str
        Id of the option.
    before, after : Log
        From ``trends.study.read_trends``.

    Raises
    ------
    InputError
        A log lacks what everything goes by, or the logs are exchanged.
    """
    if before.day[0] > after.day[-1]:
        raise InputError(
            f"{files_of(before)}: given with --before, begins on {before.day[0]}, after the last day of the "
            "log given with "
            f"--after ({files_of(after)}, {after.day[-1]}); exchange them"
        )
    studies = studied(before, project), studied(after, project)
    for found, words in zip(studies, ("before", "after")):
        check_period(found, words)
    model = year_model(project, weather, option)
    periods = period_hours(studies[0], model), period_hours(studies[1], model)
    measured, notes = _measured(model, periods, min(len(s.log.zones) for s in studies))
    gain = _gain(studies[0], model, weather)
    modelled, why = _modelled(model, periods, gain)
    known = {use.key: use for use in modelled}
    uses = (
        *(replace(use, modelled_year=known[use.key].saving_year if use.key in known else None) for use in measured),
        *(use for use in modelled if all(use.key != one.key for one in measured)),
    )
    main = next((use for use in measured if use.saving is not None), measured[0] if measured else None)
    name = _name_of(main, periods) if main is not None else ""
    changes = tuple(changes_between(studies, periods, model, name)) if name else ()
    defeated, blind = defeats(studies[1], model)
    return Realised(
        year=model,
        studies=studies,
        periods=periods,
        uses=uses,
        changes=changes,
        defeats=tuple(defeated),
        blind=tuple(blind),
        needed=_needed(model, periods, main),
        cost_usd=_cost(model, uses),
        gain=gain,
        notes=(*notes, *why),
    )


def _name_of(use: Use, periods) -> str:
    kind = next(kind for kind in KINDS if kind.key == use.key)
    return logged(kind, periods)[0] or ""


def _measured(model: YearModel, periods, zones: int) -> tuple[list[Use], list[str]]:
    """What both logs measure; ``zones`` of the logs."""
    found, notes = [], []
    count = int(sum(zone.multiplier for zone in model.project.zones))
    for kind in KINDS:
        name, rates = logged(kind, periods)
        if name is None:
            continue
        if kind.key == "reheat_kbtu" and zones < count:
            notes.append(
                f"reheat can be measured in {zones} of {count} zones: it is as modelled instead of as measured"
            )
            continue
        found.append(_use(kind, name, rates, model, periods))
    if not any(use.key == "fan_kwh" for use in found):
        notes.append("fan power is not in both logs: no end use of the fan is measured")
    return found, notes


def _use(kind: Kind, name: str, rates, model: YearModel, periods) -> Use:
    year = model.hours
    notes = []
    label = kind.label
    if kind.key == "fan_kwh" and name == "fan_kw" and float(np.sum(model.before["return_fan_kw"])) > 0.0:
        label = "Supply fan"
        notes.append("the return fan is not in both logs: measured and claimed are the supply fan alone")
    humid = all(np.isfinite(p.measured(name).dewpoint_f).mean() > 0.9 for p in periods if len(p.measured(name)))
    if kind.moist and not humid:
        notes.append(
            "outdoor humidity is not in both logs: cooling is compared by temperature alone, so that a "
            "more humid period "
            "looks like more cooling"
        )
    modelled = tuple(np.asarray(sum(side[rate] for rate in rates)) for side in (model.before, model.after))
    claim_year = model.claim(rates)
    days = [len(np.unique(p.measured(name).day)) for p in periods]
    nothing = lambda why, covered=0.0: Use(
        kind.key, label, kind.unit, True, None, claim_year, None, None, covered, None, None, claim_year, why=why,
        notes=tuple(notes),
    )  # fmt: skip
    if min(days) < LEAST_DAYS:
        words = ("before", "after")[int(np.argmin(days))]
        return nothing(
            f"the log {words} has {min(days)} days with it measured, and {LEAST_DAYS} are needed to see how days differ"
        )
    result = compare(periods[0], periods[1], year, name, kind.moist and humid, (modelled[0], modelled[1]))
    if result is None:
        return nothing("both logs have no weather in common in which each has hours of three days")
    if result.covered_frac < LEAST_COVERED:
        return nothing(
            f"only {100 * result.covered_frac:.0f} % of the year's running hours are like hours that both logs have",
            result.covered_frac,
        )
    whole = result.covered_frac >= 1.0 - MOST_HELD
    taken, baseline = float(np.median(result.before_total)), float(np.sum(modelled[0][result.covered]))
    if baseline > 0.0 and not 1.0 / _ALIKE <= taken / baseline <= _ALIKE:
        notes.append(
            f"before the work {taken:,.0f} {kind.unit} were measured in hours for which the project's baseline has "
            f"{baseline:,.0f}: realised over claimed says little before log (unit, air handler) and baseline agree"
        )
    return Use(
        key=kind.key,
        label=label,
        unit=kind.unit,
        measured=True,
        saving=float(np.median(result.saving)),
        claimed=model.claim(rates, result.covered),
        interval_90=interval(result.saving),
        before=float(np.median(result.before_total)),
        covered_frac=result.covered_frac,
        saving_year=float(np.median(result.saving_year)) if whole else None,
        interval_90_year=interval(result.saving_year) if whole else None,
        claimed_year=claim_year,
        compared=result,
        notes=tuple(notes),
    )


def _gain(before: TrendStudy, model: YearModel, weather) -> float:
    """Multiplier of internal gains by which the model has the airflow measured before; 1 where that is not known."""
    compared = compare_with_model(before, model.project, weather)
    found = next((f for f in compared.found if f.key == MATCH and f.known), None)
    if found is None or not found.inputs:
        return 1.0
    return float(found.value["multiplier"])


def _modelled(model: YearModel, periods, gain: float) -> tuple[list[Use], list[str]]:
    """End uses by the model at the setpoints that were measured."""
    year = model.hours
    setpoints = []
    for name, words in (("sat", "supply air temperature"), ("dsp", "duct static pressure")):
        for choice in (name, f"{name}_setpoint"):
            levels = _levels(periods, year, choice)
            if levels is not None:
                setpoints.append(levels)
                break
        else:
            return [], [
                f"{words} is not in both logs for weather that they share: end uses without a meter cannot be modelled "
                "as measured"
            ]
    before, after = at_setpoints(model, setpoints[0], setpoints[1], gain)
    found = []
    for use in END_USES:
        saving = float(sum(np.sum(before[rate] - after[rate]) for rate in use.rates))
        base = float(sum(np.sum(before[rate]) for rate in use.rates))
        claim = model.claim(use.rates)
        if not base and not saving and not claim:
            continue
        found.append(
            Use(use.key, use.label, use.unit, False, saving, claim, None, base, 1.0, saving, None, claim)
        )  # fmt: skip
    if not model.option.overrides:
        return found, []
    also = at_setpoints(model, setpoints[0], setpoints[1], gain, changed=True)[1]
    more = {use.key: float(sum(np.sum(after[rate] - also[rate]) for rate in use.rates)) for use in END_USES}
    added = [f"{use.label.lower()} {more[use.key]:+,.0f} {use.unit}" for use in END_USES if abs(more[use.key]) >= 0.5]
    return found, [
        f"what the option changes besides its setpoints ({', '.join(model.option.overrides)}) is not in the figures "
        "as modelled, since setpoints do not show that it was done"
        + (f"; by the model it would add {', '.join(added)} a year" if added else "")
    ]


def _levels(periods, year: Hours, name: str) -> tuple[np.ndarray, np.ndarray] | None:
    """What was held before and after, in the hours of the typical year. (H,), (H,)"""
    both = [p.measured(name) for p in periods]
    if not all(len(p) for p in both):
        return None
    terms = terms_of(both[0], both[1], year)
    if terms is None:
        return None
    found = []
    for p in both:
        p = p.take(terms.inside(p))
        x = terms.matrix(p)
        if len(p) <= x.shape[1]:
            return None
        y = p.values[name]
        level = terms.matrix(year) @ np.linalg.lstsq(x, y, rcond=None)[0]
        found.append(np.clip(level, float(y.min()), float(y.max())))
    return found[0], found[1]


def _cost(model: YearModel, uses) -> tuple[float | None, float]:
    """Realised and claimed cost saving in running hours. [USD/yr]"""
    site = model.sites[0]
    prices = prices_at(site.unit.prices, site.hourly.on.rate_period)
    claimed = float(np.sum(model.before["cost_usd_h"] - model.after["cost_usd_h"]))
    by_key = {use.key: use for use in uses}
    total = 0.0
    for use in END_USES:
        one = by_key.get(use.key)
        claim = model.claim(use.rates)
        if one is None:
            if claim:
                return None, claimed
            continue
        if one.saving_year is None:
            return None, claimed
        total += one.saving_year * float(np.mean(getattr(prices, use.price)))
    return total, claimed


def _needed(model: YearModel, periods, main: Use | None) -> Weeks | None:
    """Further weeks after, or before and after, that would give a figure of the year within half of the claim."""
    if main is None:
        return None
    fine = main.interval_90_year is not None and _half(main.interval_90_year) <= PRECISION * abs(main.claimed_year)
    if fine or not main.claimed_year or main.missing_parts(model.hours):
        return None
    kind = next(kind for kind in KINDS if kind.key == main.key)
    name, rates = logged(kind, periods)
    assert name is not None
    spread = spreads_of(periods, model.hours, name)
    if spread is None:
        return None
    modelled = tuple(np.asarray(sum(side[rate] for rate in rates)) for side in (model.before, model.after))
    have = tuple(days_of(p.measured(name)) for p in periods)
    saving = float(np.sum(modelled[0] - modelled[1]))
    best, _ = plan_weeks(
        model.hours, (modelled[0], modelled[1]), (have[0], have[1]), spread, saving, CONFIDENCE, PRECISION
    )
    return best


def _half(ends: tuple[float, float]) -> float:
    return 0.5 * (ends[1] - ends[0])
