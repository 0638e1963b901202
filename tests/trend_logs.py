"""Trend logs of an invented building with known truth, for tests.

Airflows, dampers and fan power are those of the program's own model at short steps (loads of the hourly model, held
within
the hour), with setpoints by a known table that operators override for a known share of the time. Sensors are noisy,
samples
are lost, one may stick or read zero.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from functools import cache
from pathlib import Path

import numpy as np

from binestimator.estimate.sizing import size_unit
from binestimator.hours import build_conditions
from binestimator.inputs import project_from_mapping
from binestimator.model.build import build_unit
from binestimator.model.fan import leakage_cfm, supply_fan
from binestimator.model.loads import zone_loads
from binestimator.model.terminals import available_flow_cfm, requested_flow_cfm
from binestimator.steps import weather_of
from binestimator.strategies.tables import line

ROOT = Path(__file__).parents[1]
#: Names of columns by kind; those of zones take the name of the zone.
NAMES = {
    "oat": "Outside Air Temp (degF)",
    "sat": "Supply Air Temp (degF)",
    "sat_setpoint": "Supply Air Temp Setpoint (degF)",
    "mat": "Mixed Air Temp (degF)",
    "rat": "Return Air Temp (degF)",
    "dsp": "Duct Static Pressure (in. w.c.)",
    "dsp_setpoint": "Duct Static Pressure Setpoint (in. w.c.)",
    "supply_flow": "Supply Airflow (cfm)",
    "supply_fan_status": "Supply Fan Status",
    "supply_fan_speed": "Supply Fan Speed (%)",
    "supply_fan_power": "Supply Fan Power (kW)",
    "oa_damper": "Outside Air Damper (%)",
    "cooling_valve": "Cooling Valve (%)",
    "heating_valve": "Heating Valve (%)",
    "zone_temp": "{} Zone Temp (degF)",
    "zone_cooling_setpoint": "{} Zone Cooling Setpoint (degF)",
    "zone_heating_setpoint": "{} Zone Heating Setpoint (degF)",
    "zone_flow": "{} Zone Airflow (cfm)",
    "zone_flow_setpoint": "{} Zone Airflow Setpoint (cfm)",
    "zone_damper": "{} Zone Damper (%)",
}


@dataclass(frozen=True)
class Truth:
    """What the log is made of.

    Parameters
    ----------
    sat_points, dsp_points : tuple
        Tables by outdoor temperature.
    sat_override, dsp_override : (share, value)
    hours : dict
        Weekday (0 Monday) -> clock hours, or None.
    index_share : tuple of float
        k of each zone.
    high_limit_f, minimum_share : float
        Economizer, and outdoor-air share at its minimum.
    stuck_share : float or None
        Outdoor-air share whatever the damper's signal says.
    """

    sat_points: tuple = ((45.0, 62.0), (65.0, 55.0))
    dsp_points: tuple = ((50.0, 0.9), (75.0, 1.5))
    sat_override: tuple = (0.0, 58.0)
    dsp_override: tuple = (0.0, 1.8)
    hours: dict = field(default_factory=lambda: {**dict.fromkeys(range(5), (6.0, 18.0)), 5: (8.0, 13.0), 6: None})
    index_share: tuple = (0.4, 0.55, 0.7, 0.8, 0.9, 1.0)
    high_limit_f: float = 65.0
    minimum_share: float = 0.25
    stuck_share: float | None = None
    gain_multiplier: float = 1.0


def mapping(truth: Truth) -> dict:
    """Project of the building, with the truth as its as-found settings."""
    sides = ("glass_south_ft2", "glass_west_ft2", "glass_north_ft2", "glass_east_ft2", "roof_ft2", "roof_ft2")
    return {
        "project": {"name": "Trend logs", "default_candidates": False},
        "weather": {"file": str(ROOT / "weather/723170TYA.CSV")},
        "calendar": {"first_weekday": "Wednesday", "holidays": [], "daylight_saving": False},
        "schedule": {"unoccupied_mode": "off"},
        "group": [{"name": "office", "weekday_hours": [6, 18], "saturday_hours": [8, 13]}],
        "zone": [
            {
                "name": f"Z{k + 1}",
                "area_ft2": 1200,
                "ua_btuh_f": 150,
                side: 150,
                "index_share": share,
                "gain_multiplier": 0.7 + 0.1 * k,
            }
            for k, (share, side) in enumerate(zip(truth.index_share, sides))
        ],
        "fan": {"design_dsp_inwc": 1.5},
        "sat": {"as_found": {"points": [list(p) for p in truth.sat_points]}},
        "dsp": {"as_found": {"points": [list(p) for p in truth.dsp_points]}},
        "candidate": [{"id": "as_found", "name": "As found", "sat": "as_found", "dsp": "as_found", "baseline": True}],
    }


@cache
def _building(index_share: tuple, gain_multiplier: float):
    truth = Truth(index_share=index_share)
    project = project_from_mapping(mapping(truth))
    weather = weather_of(project)
    conditions = build_conditions(weather, project)
    unit = build_unit(project, size_unit(project, conditions))
    if gain_multiplier != 1.0:
        for zone, k in zip(project.zones, range(9)):
            project = project.with_overrides({f"zone.{zone.name}.gain_multiplier": (0.7 + 0.1 * k) * gain_multiplier})
        busy = build_unit(project, size_unit(project_from_mapping(mapping(truth)), conditions))
        return busy, conditions, zone_loads(busy, conditions)
    return unit, conditions, zone_loads(unit, conditions)


def _overridden(rng, on: np.ndarray, share: float, step_h: float) -> np.ndarray:
    """Spells of some 30 running hours that make up a share of the running time."""
    chosen = np.zeros(len(on), bool)
    running = np.flatnonzero(on)
    length = int(30.0 / step_h)
    spells = max(len(running) // length, 1)
    picked = rng.permutation(spells)
    whole = int(share * spells)
    for spell in picked[:whole]:
        chosen[running[spell * length : (spell + 1) * length]] = True
    rest = int(round(share * len(running))) - np.count_nonzero(chosen)
    if rest > 0 and whole < spells:
        start = picked[whole] * length
        chosen[running[start : start + rest]] = True
    return chosen


@dataclass
class TrendLog:
    """A log: stamps, values by kind (or kind@zone), and what is true of them."""

    stamps: np.ndarray
    values: dict[str, np.ndarray]
    truth: Truth
    on: np.ndarray
    sat_overridden: np.ndarray
    dsp_overridden: np.ndarray
    unit: object

    def csv(self, path: Path, *, zones=True, decimals=3) -> Path:
        """Write as one wide file, with the points of zones or without; NaN as empty cells."""
        import pandas as pd

        chosen = {key: v for key, v in self.values.items() if zones or "@" not in key}
        frame = pd.DataFrame({column_of(key): np.round(v, decimals) for key, v in chosen.items()})
        frame.insert(0, "Time", pd.DatetimeIndex(self.stamps).strftime("%Y-%m-%d %H:%M"))
        frame.to_csv(path, index=False)
        return path


def column_of(key: str) -> str:
    """Heading of a point."""
    kind, _, zone = key.partition("@")
    return NAMES[kind].format(zone and f"VAV-{zone[1:]}")


def make_log(truth: Truth = Truth(), *, seed=1, first_day=60, days=75, step_min=10, noise=1.0, lost=0.02) -> TrendLog:
    """A log of some days of the year.

    Parameters
    ----------
    first_day : int
        Day of the year from which on, 0 for 1 January 2025.
    noise : float
        Multiplier of the noise of sensors (0.3 degF, 1 % of airflow, 0.008 in. w.c.).
    lost : float
        Share of samples lost, each by itself and in spells.
    """
    rng = np.random.default_rng(seed)
    unit, conditions, loads = _building(truth.index_share, truth.gain_multiplier)
    per_hour = 60 // step_min
    step_h = 1.0 / per_hour
    hour_index = np.repeat(np.arange(first_day * 24, (first_day + days) * 24), per_hour)
    n = len(hour_index)
    hours = first_day * 24 + np.arange(n) * step_h
    stamps = np.datetime64("2025-01-01T00:00:00") + (hours * 3600.0).round().astype("timedelta64[s]")
    clock = hours % 24.0
    weekday = (hours // 24.0 + 2).astype(int) % 7  # 1 January 2025 was a Wednesday
    oat = np.interp(hours, np.arange(len(conditions.oat_f)) + 0.5, conditions.oat_f)
    on = np.zeros(n, bool)
    for day, span in truth.hours.items():
        if span is not None:
            on |= (weekday == day) & (clock >= span[0] - 1e-9) & (clock < span[1] - 1e-9)
    sat_set, dsp_set = line(oat, truth.sat_points), line(oat, truth.dsp_points)
    sat_over = _overridden(rng, on, truth.sat_override[0], step_h)
    dsp_over = _overridden(rng, on, truth.dsp_override[0], step_h)
    sat_set[sat_over], dsp_set[dsp_over] = truth.sat_override[1], truth.dsp_override[1]
    here = loads.take(hour_index)
    requested = requested_flow_cfm(unit, here, sat_set)
    slow = np.cumsum(rng.normal(0.0, 0.02 * (step_min / 5.0) ** 0.5, requested.shape), axis=0)
    slow -= np.apply_along_axis(
        lambda v: np.convolve(v, np.ones(24 * per_hour) / (24 * per_hour), mode="same"), 0, slow
    )
    requested = np.clip(requested * (1.0 + np.clip(slow, -0.3, 0.3)), here.min_cfm, unit.zones.max_cfm)
    available = available_flow_cfm(unit, dsp_set)
    flow = np.where(on[:, None], np.minimum(requested, available), 0.0)
    damper = np.where(on[:, None], np.clip(flow / available, 0.0, 1.0) ** (1.0 / unit.limits.damper_exponent), 0.0)
    total = flow.sum(axis=1) + leakage_cfm(unit, dsp_set)
    fan = supply_fan(unit, np.maximum(total, 1.0), dsp_set)
    rat = 73.0 + 1.5 * np.sin(2 * np.pi * (clock - 9.0) / 24.0)
    rise = 2.0
    target = sat_set - rise
    with np.errstate(divide="ignore", invalid="ignore"):
        free = np.clip((rat - target) / (rat - oat), truth.minimum_share, 1.0)
    free = np.where(oat >= target, 1.0, free)
    share = np.where(oat < truth.high_limit_f, free, truth.minimum_share)
    true_share = share if truth.stuck_share is None else np.full(n, truth.stuck_share)
    mat = np.where(on, true_share * oat + (1.0 - true_share) * rat, rat + 0.5)
    cooling = np.where(on, np.clip((mat - target) / 22.0, 0.0, 1.0), 0.0)
    heating = np.where(on, np.clip((target - mat) / 25.0, 0.0, 1.0), 0.0)
    room = np.where(flow < requested - 1.0, here.cool_f + 1.5, here.cool_f - 0.5)
    jitter = lambda sigma: rng.normal(0.0, sigma * noise, n)
    values: dict[str, np.ndarray] = {
        "oat": oat + jitter(0.2),
        "sat": np.where(on, sat_set, 72.0) + jitter(0.3),
        "sat_setpoint": sat_set.copy(),
        "mat": mat + jitter(0.3),
        "rat": rat + jitter(0.2),
        "dsp": np.where(on, dsp_set, 0.0) + np.abs(jitter(0.008)) * np.where(on, rng.choice([-1, 1], n), 1),
        "dsp_setpoint": dsp_set.copy(),
        "supply_flow": np.where(on, total * (1.0 + jitter(0.01)), 0.0),
        "supply_fan_status": on.astype(float),
        "supply_fan_speed": np.where(on, 100.0 * fan.speed_frac, 0.0),
        "supply_fan_power": np.where(on, fan.kw * (1.0 + jitter(0.01)), 0.0),
        "oa_damper": np.where(on, 100.0 * share, 0.0),
        "cooling_valve": 100.0 * cooling,
        "heating_valve": 100.0 * heating,
    }
    for k, name in enumerate(unit.zones.names):
        values |= {
            f"zone_temp@{name}": room[:, k] + jitter(0.3),
            f"zone_cooling_setpoint@{name}": here.cool_f[:, k],
            f"zone_heating_setpoint@{name}": here.heat_f[:, k],
            f"zone_flow@{name}": np.maximum(flow[:, k] * (1.0 + jitter(0.01)), 0.0),
            f"zone_flow_setpoint@{name}": np.where(on, requested[:, k], 0.0),
            f"zone_damper@{name}": 100.0 * damper[:, k],
        }
    for key, v in values.items():
        v = v.astype(float).copy()
        v[rng.random(n) < 0.5 * lost] = np.nan
        start = rng.integers(0, n)
        v[start : start + int(0.5 * lost * n)] = np.nan
        values[key] = v
    return TrendLog(stamps, values, truth, on, sat_over, dsp_over, unit)
