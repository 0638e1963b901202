"""What was saved, or how long to measure: logs of both periods beside a project, all steps in order."""

from __future__ import annotations

from dataclasses import dataclass, field, replace

import numpy as np

from binestimator.end_uses import END_USES
from binestimator.errors import InputError
from binestimator.inputs.project import Project
from binestimator.rates import prices_at
from binestimator.realised.changes import Change, changes_between
from binestimator.realised.compare import MOST_HELD, PART_WORDS, Compared, compare, part_of, terms_of
from binestimator.realised.defeated import Defeat, defeats
from binestimator.realised.hours import Hours, hours_of
from binestimator.realised.plan import Spread, Weeks, plan_weeks, points_wanted, sampling
from binestimator.realised.season import day_of_year
from binestimator.realised.spread import fit_hours, interval
from binestimator.realised.year import YearModel, at_setpoints, year_model
from binestimator.trends.gather import Log
from binestimator.trends.match import KEY as MATCH
from binestimator.trends.match import compare_with_model
from binestimator.trends.study import TrendStudy, study

#: Days with the fan running that each period needs: from fewer, what hangs together from day to day cannot be judged.
#: Assumption: two working weeks.
LEAST_DAYS = 10
#: Share of the typical year's running hours that both periods must have between them. Assumption.
LEAST_COVERED = 0.2
#: Measured and modelled energy before the work may differ by this factor before it is told. Assumption.
_ALIKE = 1.3
#: Confidence of ``interval_90``, and what is asked of a plan where nothing else is: half width over saving. Assumption.
CONFIDENCE, PRECISION = 0.90, 0.5


@dataclass(frozen=True, slots=True)
class _Kind:
    """Something that logs can measure: end use or load, what it is in hours of logs, fields of the model, moisture."""

    key: str
    label: str
    unit: str
    logged: tuple[str, ...]
    rates: tuple[str, ...]
    moist: bool = False


_KINDS = (
    _Kind("fan_kwh", "Fans", "kWh", ("fan_kw", "return_fan_kw"), ("fan_kw", "return_fan_kw")),
    _Kind("cooling_kwh", "Cooling", "kWh", ("cooling_kw",), ("cooling_kw",), True),
    _Kind("heating_kwh", "Electric heat", "kWh", ("heating_kw",), ("heating_kw",)),
    _Kind(
        "cooling_sensible_kbtu",
        "Sensible cooling of the coil",
        "kBtu",
        ("cooling_sensible_kbtuh",),
        ("cooling_sensible_kbtuh",),
    ),
    _Kind("reheat_kbtu", "Reheat of the terminals", "kBtu", ("reheat_kbtuh",), ("reheat_kbtuh",)),
)


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


# ---------------------------------------------------------------- logs


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
        raise InputError(f"{_names(log)}: has no day {side}; expected a log of both sides of the change")
    return replace(log, start=log.start[keep], values={key: v[keep] for key, v in log.values.items()})


def _names(log: Log) -> str:
    return ", ".join(dict.fromkeys(table.path.name for table in log.tables)) or "log"


def _studied(log: Log, project: Project) -> TrendStudy:
    index = project.fan.index_dsp_inwc or project.fan.design_dsp_inwc
    limits = {zone.name: float(zone.max_cfm) for zone in project.zones if zone.max_cfm is not None}
    return study(log, index, limits)


def _checked(found: TrendStudy, words: str) -> None:
    log = found.log
    for missing, what in (
        (log.get("oat") is None, "outdoor air temperature"),
        (not found.running.by, "fan status, power, speed, airflow or duct pressure, by which running hours are told"),
    ):
        if missing:
            raise InputError(
                f"{_names(log)}: the log {words} lacks {what}; expected it among the points; see which "
                "column was taken for "
                "which point with: binestimator trends LOG.csv --draft-map MAP.toml"
            )


def _hours(found: TrendStudy, model: YearModel) -> Hours:
    unit = model.sites[0].unit
    pressure = model.sites[0].hourly.conditions.pressure_psia
    hours = hours_of(found.log, found.running, model.calendar, pressure, unit.fan.arrangement == "draw_through")
    kw, more = hours.values.get("fan_kw"), hours.values.get("return_fan_kw")
    if kw is not None and more is not None:
        return replace(hours, values={**hours.values, "_fans_kw": kw + more})
    return hours


# ---------------------------------------------------------------- realised


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
            f"{_names(before)}: given with --before, begins on {before.day[0]}, after the last day of the "
            "log given with "
            f"--after ({_names(after)}, {after.day[-1]}); exchange them"
        )
    studies = _studied(before, project), _studied(after, project)
    for found, words in zip(studies, ("before", "after")):
        _checked(found, words)
    model = year_model(project, weather, option)
    periods = _hours(studies[0], model), _hours(studies[1], model)
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
    kind = next(kind for kind in _KINDS if kind.key == use.key)
    return _logged(kind, periods)[0] or ""


def _logged(kind: _Kind, periods) -> tuple[str | None, tuple[str, ...]]:
    """Name among the values of hours that both periods have, and the fields of the model that it is."""
    have = lambda name: all(name in p.values and np.isfinite(p.values[name]).any() for p in periods)
    if kind.key == "fan_kwh":
        if have("_fans_kw"):
            return "_fans_kw", kind.rates
        return ("fan_kw", ("fan_kw",)) if have("fan_kw") else (None, ())
    return (kind.logged[0], kind.rates) if have(kind.logged[0]) else (None, ())


def _measured(model: YearModel, periods, zones: int) -> tuple[list[Use], list[str]]:
    """What both logs measure; ``zones`` of the logs."""
    found, notes = [], []
    count = int(sum(zone.multiplier for zone in model.project.zones))
    for kind in _KINDS:
        name, rates = _logged(kind, periods)
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


def _use(kind: _Kind, name: str, rates, model: YearModel, periods) -> Use:
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
    return found, []


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


def _days_of(hours: Hours) -> np.ndarray:
    return day_of_year(np.unique(hours.day))


def _needed(model: YearModel, periods, main: Use | None) -> Weeks | None:
    """Further weeks after, or before and after, that would give a figure of the year within half of the claim."""
    if main is None:
        return None
    fine = main.interval_90_year is not None and _half(main.interval_90_year) <= PRECISION * abs(main.claimed_year)
    if fine or not main.claimed_year or main.missing_parts(model.hours):
        return None
    kind = next(kind for kind in _KINDS if kind.key == main.key)
    name, rates = _logged(kind, periods)
    assert name is not None
    spread = _spreads(periods, model.hours, name)
    if spread is None:
        return None
    modelled = tuple(np.asarray(sum(side[rate] for rate in rates)) for side in (model.before, model.after))
    have = tuple(_days_of(p.measured(name)) for p in periods)
    saving = float(np.sum(modelled[0] - modelled[1]))
    best, _ = plan_weeks(
        model.hours, (modelled[0], modelled[1]), (have[0], have[1]), spread, saving, CONFIDENCE, PRECISION
    )
    return best


def _half(ends: tuple[float, float]) -> float:
    return 0.5 * (ends[1] - ends[0])


def _spreads(periods, year: Hours, name: str) -> tuple[Spread, Spread] | None:
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


# ---------------------------------------------------------------- plan


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
    studies = [_studied(log, project) for log in logs]
    for found, words in zip(studies, ("before", "after")):
        _checked(found, words)
    model = year_model(project, weather, option)
    hours = [_hours(found, model) for found in studies]
    both = (hours[0], hours[-1])
    kind = next((kind for kind in _KINDS if _logged(kind, both)[0] is not None), None)
    if kind is None:
        raise InputError(
            f"{_names(before)}: nothing that is to be proven is measured: no fan power, nor cooling by "
            "power or by airflow "
            "and temperatures; expected at least the power of the supply fan"
        )
    name, rates = _logged(kind, both)
    assert name is not None
    spread = _spreads(both, model.hours, name)
    if spread is None:
        raise InputError(
            f"{_names(before)}: too few days with {kind.label.lower()} measured to see how they scatter; expected some "
            f"{LEAST_DAYS} days with the fan running"
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
    have = (_days_of(hours[0].measured(name)), np.zeros(0, int))
    if after is not None:
        have = have[0], _days_of(hours[1].measured(name))
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
