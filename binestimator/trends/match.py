"""Load scaling: internal gains such that modelled airflow matches the measured one by weather and occupancy.

The log and the typical year are of different days, so that means of bins are compared, weighted with the measured
hours.
Terminals and fan keep the sizes they have in the project: another load is no other building.

References
----------
NMBE and CV(RMSE) as in ASHRAE Guideline 14-2014, with its limits for hourly data of 10 % and 30 %; here of means of
bins,
with one parameter (p = 1).
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from binestimator.climate import climate_of
from binestimator.dataclass import dataclass
from binestimator.estimate.rows import Rows
from binestimator.estimate.running import run_parts
from binestimator.estimate.sizing import size_unit
from binestimator.hours import Conditions, build_conditions
from binestimator.inputs.project import Project
from binestimator.model.build import build_unit
from binestimator.model.unit import Sizes
from binestimator.trends.fans import zone_sum
from binestimator.trends.found import Found, InputFound, unknown
from binestimator.trends.log import Log
from binestimator.trends.study import TrendStudy

KEY, TITLE = "load_scaling", "Loads that match the airflow"
#: Width of bins [degF], and hours that one needs in the log.
BIN_F, _LEAST_BIN_H = 5.0, 3.0
_LEAST_HOURS, _LEAST_BINS = 24.0, 4
#: Days of the typical year so near to a day of the log have the sun of its season.
_SEASON_DAYS = 10
#: Range of the multiplier that is looked through.
_LOW, _HIGH = 0.2, 4.0
#: What is modelled beside what is measured: name as in a profile, field of the model's state.
MODELLED = {
    "sat_setpoint_f": "sat_set_f",
    "sat_f": "sat_f",
    "dsp_inwc": "dsp_inwc",
    "flow_cfm": "flow_cfm",
    "room_flow_cfm": "room_flow_cfm",
    "fan_kw": "fan_kw",
}
#: Limits of Guideline 14 for hourly data.
NMBE_LIMIT, CV_LIMIT = 0.10, 0.30


@dataclass(frozen=True, slots=True)
class Agreement:
    """Modelled against measured means of bins.

    Parameters
    ----------
    nmbe, cv_rmse : float
        Of the measured mean; NMBE is positive where the measured airflow is higher.
    modelled_cfm : ndarray (B,)
    """

    nmbe: float
    cv_rmse: float
    modelled_cfm: np.ndarray


def guideline_14(measured: np.ndarray, modelled: np.ndarray, hours: np.ndarray) -> tuple[float, float]:
    """NMBE and CV(RMSE) of means of bins, weighted with hours; ``sum/(n - 1)`` with n bins."""
    weight = hours / hours.mean()
    off, count = measured - modelled, max(len(measured) - 1, 1)
    mean = float(np.average(measured, weights=hours))
    return float((weight * off).sum() / count / mean), float(np.sqrt((weight * off**2).sum() / count) / mean)


class _Model:
    """The baseline hour by hour, for multipliers of internal gains; sizes stay."""

    def __init__(self, project: Project, weather):
        self.rooms = False
        self.project = project.in_climate(climate_of(weather))
        self.conditions: Conditions = build_conditions(weather, self.project)
        self.sizes: Sizes = size_unit(self.project, self.conditions)

    def baseline(self, multiplier: float = 1.0) -> tuple[Conditions, dict[str, np.ndarray]]:
        """Running hours of the baseline, and what it does in them by name of :data:`MODELLED`, overrides included."""
        changes = gains(self.project, multiplier) if multiplier != 1.0 else {}
        project = self.project.with_overrides(changes) if changes else self.project
        unit = build_unit(project, self.sizes)
        rows = Rows.of(unit, self.conditions)
        parts = run_parts(unit, project.candidate(project.baseline_id), rows)
        return rows.on, {
            name: np.asarray(sum(part.share * getattr(part.state, field) for part in parts))
            for name, field in MODELLED.items()
        }

    def airflow(self, multiplier: float) -> np.ndarray:
        """Airflow of the running hours: of the fan, or of the rooms without leakage."""
        return self.baseline(multiplier)[1]["room_flow_cfm" if self.rooms else "flow_cfm"]


def gains(project: Project, multiplier: float) -> dict[str, float]:
    """Path -> multiplier of the internal gains of each zone, by which they are scaled; one line where all are alike."""
    given = {zone.name: float(zone.gain_multiplier) for zone in project.zones}
    scaled = lambda value: round(min(value * multiplier, 10.0), 3)
    if len(set(given.values())) == 1:
        return {"zone.*.gain_multiplier": scaled(next(iter(given.values())))}
    return {f"zone.{name}.gain_multiplier": scaled(value) for name, value in given.items()}


def _season(log: Log, hour_of_year: np.ndarray) -> np.ndarray:
    """Whether an hour of the typical year is of the season of the log. (H,)"""
    year = log.day.astype("datetime64[Y]").astype("datetime64[D]")
    logged = np.unique((log.day - year).astype(np.int64))
    near = (logged[:, None] + np.arange(-_SEASON_DAYS, _SEASON_DAYS + 1)) % 365
    return np.isin(hour_of_year // 24, near)


def compare_with_model(study: TrendStudy, project: Project, weather) -> TrendStudy:
    """The study with what the project's baseline does in the same bins, and loads that match the measured airflow.

    Parameters
    ----------
    study : TrendStudy
    project : Project
    weather : Weather
        Typical year of the project.
    """
    model = _Model(project, weather)
    return replace(study, found=(*study.found, match_airflow(study, model)), modelled=tuple(_by_outdoor_air(model)))


def _by_outdoor_air(model: _Model) -> list[dict]:
    """Means of the baseline's running hours by bins of outdoor temperature, occupied and not."""
    on, values = model.baseline()
    key = np.floor(on.oat_f / BIN_F).astype(int) * 2 + (on.occupied > 0.5)
    return [
        {
            "oat_low_f": float(bin_key // 2 * BIN_F),
            "occupied": bool(bin_key % 2),
            "hours": float(np.count_nonzero(key == bin_key)),
            **{name: round(float(v[key == bin_key].mean()), 4) for name, v in values.items()},
        }
        for bin_key in np.unique(key)
    ]


def modelled_by_outdoor_air(project: Project, weather) -> list[dict]:
    """Means of the baseline's running hours by bins of outdoor temperature, occupied and not, as those of a profile."""
    return _by_outdoor_air(_Model(project, weather))


def match_airflow(study: TrendStudy, model: _Model) -> Found:
    """Multiplier of internal gains by which modelled and measured airflow agree, with the agreement before and after.

    Parameters
    ----------
    study : TrendStudy
    model : _Model
        Of the project, best with the as-found setpoints of the log.
    """
    log, running = study.log, study.running
    flow, source = log.get("supply_flow"), "supply airflow"
    if flow is None:
        flow, source = zone_sum(log), "sum of zones"
    oat = log.get("oat")
    if flow is None or oat is None or not running.by:
        return unknown(KEY, TITLE, "it takes airflow and outdoor temperature")
    count = sum(zone.multiplier for zone in model.project.zones)
    if source == "sum of zones" and len(log.zones) < count:
        return unknown(KEY, TITLE, f"supply airflow is not in the log, and only {len(log.zones)} of {count} zones")
    good = running.settled & np.isfinite(flow) & np.isfinite(oat)
    hours = float(np.count_nonzero(good)) * log.step_h
    if hours < _LEAST_HOURS:
        return unknown(KEY, TITLE, f"only {hours:.0f} settled running hours with airflow", hours)
    model.rooms = source == "sum of zones"
    on, values = model.baseline()
    flow_m = values["room_flow_cfm" if model.rooms else "flow_cfm"]
    measured_bin = np.floor(oat[good] / BIN_F).astype(int) * 2 + running.occupied[good]
    # The sun of the same season; the whole year where that leaves too few bins.
    season = _season(log, on.hour_of_year)
    modelled_bin = np.floor(on.oat_f / BIN_F).astype(int) * 2 + (on.occupied > 0.5)
    bins: list = []
    for kept, days in (  # noqa: B007 - both are used after the loop
        (season, f"days of the year within {_SEASON_DAYS} of those of the log"),
        (season | True, "whole year"),
    ):
        bins = [
            b
            for b in np.unique(measured_bin)
            if np.count_nonzero(measured_bin == b) * log.step_h >= _LEAST_BIN_H
            and np.count_nonzero(kept & (modelled_bin == b)) >= _LEAST_BIN_H
        ]
        if len(bins) >= _LEAST_BINS:
            break
    else:
        return unknown(
            KEY,
            TITLE,
            f"only {len(bins)} bins of {BIN_F:g} degF that both the log and the typical year have hours in",
            hours,
        )
    measured = np.array([flow[good][measured_bin == b].mean() for b in bins], dtype=float)
    weight = np.array([np.count_nonzero(measured_bin == b) * log.step_h for b in bins])

    def agreement(multiplier: float, flow_of=None) -> Agreement:
        modelled = flow_of if flow_of is not None else model.airflow(multiplier)
        means = np.array([modelled[kept & (modelled_bin == b)].mean() for b in bins])
        return Agreement(*guideline_14(measured, means, weight), means)

    before = agreement(1.0, flow_m)
    ends = {multiplier: agreement(multiplier) for multiplier in (_LOW, _HIGH)}
    value: dict = {
        "bins": [
            {
                "oat_low_f": float(b // 2 * BIN_F),
                "occupied": bool(b % 2),
                "hours": round(float(h), 1),
                "measured_cfm": round(float(m)),
                "modelled_cfm": round(float(s)),
            }
            for b, h, m, s in zip(bins, weight, measured, before.modelled_cfm)
        ],
        "before": {"nmbe": round(before.nmbe, 4), "cv_rmse": round(before.cv_rmse, 4)},
    }
    said = lambda a: f"NMBE {100 * a.nmbe:+.1f} %, CV(RMSE) {100 * a.cv_rmse:.1f} %"
    if ends[_LOW].nmbe < 0.0 or ends[_HIGH].nmbe > 0.0:
        which = "less" if ends[_LOW].nmbe < 0.0 else "more"
        return Found(
            KEY,
            TITLE,
            True,
            f"no internal gains between {_LOW:g} and {_HIGH:g} times those of the project give "
            f"the measured airflow: it "
            f"is {which} than the model's ({said(before)}); look at minimum airflows, setpoints and sizes first",
            "means of bins of outdoor temperature and occupancy",
            hours,
            value,
            (),
            True,
        )
    low, high = _LOW, _HIGH
    at_low, at_high = ends[_LOW].nmbe, ends[_HIGH].nmbe
    middle, after = 1.0, before
    for _ in range(10):
        # The line between both ends, kept off them, so that each round closes the bracket.
        share = np.clip(at_low / (at_low - at_high), 0.15, 0.85)
        middle = low + float(share) * (high - low)
        after = agreement(middle)
        if abs(after.nmbe) < 0.002:
            break
        if after.nmbe > 0.0:
            low, at_low = middle, after.nmbe
        else:
            high, at_high = middle, after.nmbe
    value |= {
        "multiplier": round(middle, 3),
        "after": {"nmbe": round(after.nmbe, 4), "cv_rmse": round(after.cv_rmse, 4)},
    }
    for line, modelled in zip(value["bins"], after.modelled_cfm):
        line["matched_cfm"] = round(float(modelled))
    good_after = abs(after.nmbe) <= NMBE_LIMIT and after.cv_rmse <= CV_LIMIT
    text = f"internal gains {middle:.2f} times those of the project: before {said(before)}, after {said(after)}"
    text += "" if good_after else "; beyond the limits of Guideline 14: something else differs as well"
    reason = f"{source}, means of {len(bins)} bins of {BIN_F:g} degF and occupancy, weighted with hours; {days}"
    inputs: tuple[InputFound, ...] = ()
    if good_after and abs(middle - 1.0) > 0.03:
        evidence = f"Trend log, {hours:.0f} h of {source}: {text}"
        inputs = tuple(
            InputFound(f"zone[{path[5 : path.rindex('.')]}].gain_multiplier", scaled, evidence)
            for path, scaled in gains(model.project, middle).items()
        )
    return Found(KEY, TITLE, True, text, reason, hours, value, inputs, not good_after)
