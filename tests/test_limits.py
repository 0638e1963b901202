"""Limits of the supply air temperature of resets."""

from pathlib import Path

import pytest

from binestimator.estimate import estimate
from binestimator.inputs.read import project_from_mapping
from binestimator.weather import find_weather, read_weather


@pytest.mark.invariant
def test_room_dewpoint_limit_leaves_no_humid_hour_to_warm_supply_air():
    """The humidity limit is on the safe side, also when duct pressure (and so fan heat) is lowered.

    Miami, a coil that dries fully (no cycling loss): the reset wants warm air in humid hours,
    leaves many of them humid without the limit and none with it.
    """
    wide = {"strategy": "demand", "oat_min_f": 80.0, "oat_max_f": 95.0, "max_f": 64.0}
    project = project_from_mapping({
        "project": {"name": "Humidity test", "default_candidates": False},
        "weather": {"file": "12839.tm2"},
        "building": {"floor_area_ft2": 12000.0},
        "group": [{"name": "clinic", "people_ft2": 100.0}],
        "cooling": {"type": "direct_expansion", "cycling_drying_loss_frac": 0.0},
        "economizer": {"type": "none"},
        "heating": {"type": "electric"},
        "limits": {"humidity": "room_dewpoint"},
        "candidate": [
            {"id": "fixed", "name": "Fixed", "sat": "fixed", "dsp": "fixed"},
            {"id": "limited_fixed", "name": "Limited", "sat": wide, "dsp": "fixed"},
            {"id": "limited_demand", "name": "Limited, DSP on demand", "sat": wide, "dsp": "demand"},
            {"id": "free", "name": "Not limited", "kind": "companion", "sat": wide, "dsp": "demand",
             "override": {"limits.humidity": "none"}},
        ],
    })  # fmt: skip
    results = estimate(project, read_weather(find_weather("12839.tm2", Path("."))))
    humid = {c.id: c.hourly["humid_hours"] for c in results.candidates}
    assert humid["fixed"] == 0.0
    assert humid["limited_fixed"] == 0.0
    assert humid["limited_demand"] == 0.0
    assert humid["free"] > 100.0
    assert results["limited_demand"].hourly["humidity_limited_hours"] > 0.0
