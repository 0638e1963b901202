"""Setback and warm-up nights."""

import dataclasses
from pathlib import Path

import numpy as np
import pytest

from binestimator.estimate import build_unit, size_unit
from binestimator.hours import build_conditions
from binestimator.inputs.read import project_from_mapping
from binestimator.model.loads import zone_loads
from binestimator.model.night import run_nights
from binestimator.weather import find_weather, read_weather


@pytest.fixture(scope="module")
def weather():
    return read_weather(find_weather("723170TYA.CSV", Path(".")))


def night_of(weather, network_unoccupied_f):
    """Night block of an office with one network room that is occupied day and night."""
    project = project_from_mapping({
        "project": {"name": "Night test"},
        "weather": {"file": "723170TYA.CSV"},
        "group": [
            {"name": "office"},
            {"name": "network", "always_on": True, "equipment_w_ft2": 15.0, "equipment_occupied_frac": 0.8,
             "cooling_setpoint_f": 76.0, "cooling_unoccupied_f": network_unoccupied_f},
        ],
        "zone": [
            {"name": "Open office", "area_ft2": 6000.0, "ua_btuh_f": 900.0, "glass_south_ft2": 300.0},
            {"name": "Network room", "group": "network", "area_ft2": 200.0},
        ],
    })  # fmt: skip
    conditions = build_conditions(weather, project)
    unit = build_unit(project, size_unit(project, conditions))
    return run_nights(unit, conditions, zone_loads(unit, conditions), project.schedule)


@pytest.mark.invariant
def test_network_room_keeps_its_occupied_setpoint_at_night(weather):
    """A group occupied while the unit is off has no use for its unoccupied setpoint."""
    low, high = night_of(weather, 78.0), night_of(weather, 95.0)
    for field in dataclasses.fields(low):
        np.testing.assert_array_equal(getattr(low, field.name), getattr(high, field.name))
    # 200 ft2 at 15 W/ft2 and 80 %: 2.4 kW in every hour that the unit is off, all taken out again
    # (but for hours in which the unit heats).
    off = low.running_frac > 0.0
    assert low.cool_kbtuh.max() >= 0.9 * 2.4 * 3.412
    assert off.sum() > 4000
