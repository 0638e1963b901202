"""The typical year of a project as hours: its claim in each of them, and the model at measured setpoints."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import field

import numpy as np

from binestimator.bins import group_keys
from binestimator.climate import climate_of
from binestimator.dataclass import dataclass
from binestimator.end_uses import END_USES, cost_rate_usd_h
from binestimator.errors import InputError
from binestimator.estimate.rows import Rows
from binestimator.estimate.running import run_parts
from binestimator.estimate.sites import Site, Sites
from binestimator.estimate.sizing import size_unit
from binestimator.hours import air_handler_occupied, build_conditions, clock_calendar
from binestimator.inputs.project import Candidate, Project
from binestimator.model.build import build_unit
from binestimator.model.system import evaluate
from binestimator.model.unit import Sizes
from binestimator.rates import prices_at
from binestimator.realised.hours import Calendar, Hours
from binestimator.strategies.choose import resets_pressure
from binestimator.strategies.registry import sat_strategy
from binestimator.trends.match import gains
from binestimator.weather import Weather

#: Of the model's state, what logs measure or setpoints and flows are compared by.
_FIELDS = (
    "sat_f",
    "dsp_inwc",
    "flow_cfm",
    "rat_f",
    "cooling_sensible_kbtuh",
    "reheat_kbtuh",
    "fan_kw",
    "return_fan_kw",
    "cooling_kw",
)
_RATES = tuple(dict.fromkeys(rate for use in END_USES for rate in use.rates))


@dataclass(frozen=True, slots=True)
class YearModel:
    """Running hours of a typical year with what a project's baseline and one option take in each.

    Parameters
    ----------
    project : Project
    weather : Weather
    option : Candidate
        The claim is its.
    hours : Hours
    before, after : dict
        Of baseline and option: field of ``RowState``, or ``cost_usd``, -> (H,).
    calendar : Calendar
    at_limit : dict
        ``sat`` and ``dsp`` -> share of the hour at which the option's setpoint is at its coldest, or its highest. (H,)
    sites : tuple of Site
        Of baseline and option.
    """

    project: Project
    weather: Weather
    option: Candidate
    hours: Hours
    before: Mapping[str, np.ndarray]
    after: Mapping[str, np.ndarray]
    calendar: Calendar
    at_limit: Mapping[str, np.ndarray]
    sites: tuple[Site, Site] = field(repr=False)
    sizes: Sizes = field(repr=False)

    def claim(self, rates, where=slice(None)) -> float:
        """What the option saves of fields of the model's state in hours of the typical year."""
        return float(sum(np.sum((self.before[rate] - self.after[rate])[where]) for rate in rates))


def running_hours(project: Project, conditions) -> Hours:
    """Running hours of a year of conditions."""
    clock = clock_calendar(project.calendar)
    on = np.flatnonzero(conditions.fan_on > 0.0)
    return Hours(
        day=clock.day[on] % 365,
        hour=clock.hour[on],
        weekend=clock.day_type[clock.day[on] % 365] > 0,
        occupied=conditions.occupied[on] > 0.5,
        oat_f=conditions.oat_f[on],
        dewpoint_f=conditions.oa_dewpoint_f[on],
    )


def calendar_of(project: Project) -> Calendar:
    """Holidays, and occupancy of the air handler by kind of day and clock hour."""
    clock = clock_calendar(project.calendar)
    occupied = air_handler_occupied(clock, project.schedule, project.groups)
    kind = clock.day_type[clock.day % 365]
    share = [[np.mean(occupied[(kind == k) & (clock.hour == h)]) for h in range(24)] for k in range(3)]
    return Calendar(tuple(project.calendar.holidays), np.array(share) > 0.5)


def check_option(project: Project, option: str) -> None:
    """Refuse an id that no option but the baseline has.

    Raises
    ------
    InputError
    """
    others = [candidate.id for candidate in project.candidates if candidate.id != project.baseline_id]
    if option not in others:
        what = "is the baseline" if option == project.baseline_id else "there is no such option"
        raise InputError(
            f'--option: "{option[:60]}": {what}; expected the option that was put in place, one of {", ".join(others)}'
        )


def year_model(project: Project, weather, option: str) -> YearModel:
    """Baseline and an option in the hours of the typical year.

    Parameters
    ----------
    project : Project
    weather : Weather
    option : str
        Id of the option that was put in place.

    Raises
    ------
    InputError
        There is no such option, or it is the baseline.
    """
    check_option(project, option)
    project = project.in_climate(climate_of(weather))
    conditions = build_conditions(weather, project)
    sites = Sites(project, weather, conditions, size_unit(project, conditions), group_keys(conditions, project.bins)[0])
    found: list[dict[str, np.ndarray]] = []
    tried: list[np.ndarray] = []
    places: list[Site] = []
    for candidate in (project.candidate(project.baseline_id), project.candidate(option)):
        site = sites.of(candidate)
        parts = run_parts(site.unit, candidate, site.hourly, tried if sat_strategy(candidate.sat).searches else ())
        tried.append(parts[0].setpoints.sat_f)
        state = lambda name, parts=parts: np.asarray(sum(p.share * getattr(p.state, name) for p in parts))
        values = {name: state(name) for name in dict.fromkeys((*_FIELDS, *_RATES, "cost_usd_h"))}
        found.append(values)
        places.append(site)
        limits = {
            part: np.asarray(sum(p.share * getattr(p.setpoints, flag) for p in parts), dtype=float)
            for part, flag in (("sat", "sat_at_min"), ("dsp", "dsp_at_max"))
        }
    hours = running_hours(project, conditions)
    if not len(hours):
        raise InputError("schedule: by it the air handler never runs; give its hours")
    return YearModel(
        project,
        weather,
        project.candidate(option),
        hours,
        found[0],
        found[1],
        calendar_of(project),
        limits,
        (places[0], places[1]),
        sites.sizes,
    )


def at_setpoints(
    model: YearModel,
    sat_f: tuple[np.ndarray, np.ndarray],
    dsp_inwc: tuple[np.ndarray, np.ndarray],
    gain: float = 1.0,
    *,
    changed: bool = False,
) -> tuple[dict[str, np.ndarray], dict[str, np.ndarray]]:
    """The model in the hours of the typical year at supply temperatures and duct pressures as measured.

    Parameters
    ----------
    model : YearModel
    sat_f, dsp_inwc : two ndarrays (H,)
        Before and after.
    gain : float
        Multiplier of internal gains, the same in both, by which modelled airflow is the measured one.
    changed : bool
        What the option changes besides its setpoints (a repaired economizer, lower minimums) stands after the work.
        Setpoints do not show that it does.

    Returns
    -------
    two dicts
        Rates of end uses, ``flow_cfm`` and ``cost_usd_h`` -> (H,).
    """
    found = []
    base, option = model.sites
    for sat, dsp, site, candidate in (
        (sat_f[0], dsp_inwc[0], base, model.project.baseline),
        (sat_f[1], dsp_inwc[1], option if changed else base, model.option),
    ):
        unit, rows = site.unit, site.hourly
        if gain != 1.0:
            unit = build_unit(site.project.with_overrides(gains(site.project, gain)), model.sizes)
            rows = Rows.of(unit, site.hourly.conditions)
        parts: dict[str, list] = {}
        for here, block in rows.blocks():
            state = evaluate(
                unit, block.on, block.loads, sat[here], dsp[here], resets_pressure=resets_pressure(candidate.dsp)
            )
            for name in (*_RATES, "flow_cfm"):
                parts.setdefault(name, []).append(getattr(state, name))
        values = {name: np.concatenate(each) for name, each in parts.items()}
        values["cost_usd_h"] = np.asarray(
            cost_rate_usd_h(values, prices_at(unit.prices, rows.on.rate_period)), dtype=float
        )
        found.append(values)
    return found[0], found[1]
