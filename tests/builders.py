"""Small projects, units and rows of conditions for tests."""

import copy
import dataclasses
from functools import cache
from pathlib import Path

import numpy as np

from binestimator.hours import Conditions
from binestimator.inputs.read import project_from_mapping
from binestimator.model.build import build_unit
from binestimator.model.loads import zone_loads
from binestimator.model.unit import Sizes
from binestimator.moist_air import saturation_humidity_ratio, wetbulb_f
from binestimator.weather import read_weather

WEATHER = Path(__file__).parents[1] / "weather"
FILES = {"greensboro": "723170TYA.CSV", "miami": "12839.tm2", "sand_point": "703165TY.csv"}

#: Four zones, every size given, so that no year is needed to size anything.
PLAIN = {
    "project": {"name": "Four zones"},
    "weather": {"file": FILES["greensboro"]},
    "group": [
        {"name": "office"},
        {"name": "meeting", "people_ft2": 20, "minimum_flow_frac": 0.2},
    ],
    "zone": [
        {"name": "South", "area_ft2": 2000, "ua_btuh_f": 250, "glass_south_ft2": 200, "infiltration_cfm": 40,
         "max_cfm": 2200, "reheat_kbtuh": 60, "index_share": 1.0},
        {"name": "North", "area_ft2": 2000, "ua_btuh_f": 300, "glass_north_ft2": 200, "infiltration_cfm": 60,
         "max_cfm": 1400, "reheat_kbtuh": 60, "index_share": 0.8},
        {"name": "Core", "area_ft2": 4000, "max_cfm": 2400, "reheat_kbtuh": 60, "index_share": 0.5, "multiplier": 2},
        {"name": "Meeting", "group": "meeting", "area_ft2": 500, "ua_btuh_f": 40, "max_cfm": 900, "reheat_kbtuh": 30,
         "index_share": 0.7},
    ],
    "air_handler": {"design_cfm": 9000},
    "fan": {"motor_hp": 15},
    "outdoor_air": {"minimum_cfm": 1800},
    "cooling": {"capacity_tons": 60},
    "heating": {"capacity_kbtuh": 500},
}  # fmt: skip

#: Section ``as_run`` where it does not matter what rooms carry over from days before: pieces of one day that run for
#: another before they count take a third of the processor time of usual ones.
SHORT_PIECES = {"chunk_days": 1, "spin_up_days": 1}

#: Section ``schedule`` where it does not matter how long the unit runs: an hour that is on takes most of the time of
#: steps.
SHORT_DAYS = {"weekday_hours": [9, 15]}


def merged(base, changes):
    """Copy of nested mappings with changes applied; lists are replaced, None removes."""
    out = copy.deepcopy(dict(base))
    for key, value in changes.items():
        if value is None:
            out.pop(key, None)
        elif isinstance(value, dict) and isinstance(out.get(key), dict):
            out[key] = merged(out[key], value)
        else:
            out[key] = copy.deepcopy(value)
    return out


def project_of(**changes):
    """The plain project with changes to its sections."""
    return project_from_mapping(merged(PLAIN, changes), source_dir=WEATHER)


def zones_with(**changes):
    """The plain zones, each with the same changes."""
    return [{**zone, **changes} for zone in PLAIN["zone"]]


def unit_of(project=None, **changes):
    """Unit of a project whose sizes are all given."""
    project = project_of(**changes) if project is None else project
    count = len(project.zones)
    missing = Sizes(zone_max_cfm=np.full(count, np.nan), zone_reheat_btuh=np.full(count, np.inf), design_cfm=np.nan,
                    motor_hp=np.nan, cooling_tons=np.nan, heating_kbtuh=np.nan, preheat_kbtuh=1e4)  # fmt: skip
    return build_unit(project, missing)


def conditions_of(
    oat_f,
    humidity_ratio=None,
    *,
    groups=2,
    pressure_psia=14.696,
    occupied=1.0,
    people=0.75,
    lights=0.85,
    equipment=0.8,
    glass_sun=30.0,
    roof_sun=50.0,
    infiltration=0.25,
    group_occupied=None,
):
    """Rows of running conditions from plain numbers or arrays (R,)."""
    oat = np.atleast_1d(np.asarray(oat_f, dtype=float))
    rows = len(oat)
    full = lambda value: np.broadcast_to(np.asarray(value, dtype=float), (rows,)).copy()
    wide = lambda value, n: np.repeat(full(value)[:, None], n, axis=1)
    if humidity_ratio is None:
        humidity_ratio = 0.6 * saturation_humidity_ratio(oat, pressure_psia)
    w = np.minimum(full(humidity_ratio), saturation_humidity_ratio(oat, pressure_psia))
    integers = np.full(rows, -1)
    return Conditions(
        hours=np.ones(rows),
        oat_f=oat,
        oawb_f=np.atleast_1d(wetbulb_f(oat, w, pressure_psia)),
        oa_dewpoint_f=np.minimum(oat, oat - 5.0),
        humidity_ratio=w,
        pressure_psia=float(pressure_psia),
        fan_on=np.ones(rows),
        occupied=full(occupied),
        glass_sun_btuh_ft2=wide(glass_sun, 4),
        roof_sun_btuh_ft2=full(roof_sun),
        people_frac=wide(people, groups),
        lights_frac=wide(lights, groups),
        equipment_frac=wide(equipment, groups),
        people_gain_frac=wide(people, groups),
        lights_gain_frac=wide(lights, groups),
        equipment_gain_frac=wide(equipment, groups),
        group_occupied=wide(occupied if group_occupied is None else group_occupied, groups),
        infiltration_frac=full(infiltration),
        month=integers,
        day=integers,
        hour_start=integers,
        hour_of_year=integers,
        rate_period=np.zeros(rows, dtype=int),
        bin_low_f=5.0 * np.floor(oat / 5.0),
    )


def random_conditions(rows=300, seed=1, *, groups=2, pressure_psia=14.696):
    """Rows over all weathers, loads and modes, from a seed."""
    rng = np.random.default_rng(seed)
    oat = rng.uniform(-10.0, 110.0, rows)
    w = rng.uniform(0.2, 1.0, rows) * saturation_humidity_ratio(np.minimum(oat, 82.0), pressure_psia)
    occupied = (rng.random(rows) < 0.8).astype(float)
    return conditions_of(
        oat, w, groups=groups, pressure_psia=pressure_psia, occupied=occupied, people=rng.uniform(0, 1, rows),
        lights=rng.uniform(0, 1, rows), equipment=rng.uniform(0, 1, rows), glass_sun=rng.uniform(0, 120, rows),
        roof_sun=rng.uniform(0, 300, rows), infiltration=np.where(occupied > 0, 0.25, 1.0))  # fmt: skip


def loads_of(unit, conditions):
    return zone_loads(unit, conditions)


def changed(record, **changes):
    """A frozen record with changes."""
    return dataclasses.replace(record, **changes)


@cache
def weather_of(place="greensboro"):
    """One of the typical years, read once."""
    return read_weather(WEATHER / FILES[place])
