"""Limits of resets, and that each is counted where it binds."""

from pathlib import Path

import numpy as np
import pytest
from builders import conditions_of, loads_of, project_of, unit_of, weather_of

from binestimator.estimate import estimate
from binestimator.inputs.read import project_from_mapping
from binestimator.model.system import evaluate
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
        "bins": {"rows": "mean"},
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


def _state(oat_f, sat_f, **changes):
    unit = unit_of(**changes)
    conditions = conditions_of(oat_f)
    shape = conditions.oat_f.shape
    return evaluate(unit, conditions, loads_of(unit, conditions), np.full(shape, sat_f), np.full(shape, 1.5))


@pytest.mark.invariant
def test_supply_air_too_cold_for_direct_expansion_is_counted_while_it_cools():
    """Hot hours below the coldest supply air count; hours without mechanical cooling and other plants do not."""
    dx = {"type": "direct_expansion", "dx_minimum_sat_f": 50}
    assert _state([90.0, 20.0], 48.0, cooling=dx).cold_dx.tolist() == [1.0, 0.0]
    assert _state([90.0, 20.0], 55.0, cooling=dx).cold_dx.tolist() == [0.0, 0.0]
    assert _state([90.0], 48.0, cooling={"type": "direct_expansion", "dx_minimum_sat_f": 45}).cold_dx.tolist() == [0.0]
    assert _state([90.0], 48.0).cold_dx.tolist() == [0.0]


@pytest.mark.invariant
def test_economizer_with_cooling_is_counted_apart_from_free_cooling():
    """Between supply air and the high limit both run together; colder outdoors is free, warmer takes no economizer."""
    economizer = {"type": "fixed_dry_bulb", "high_limit_f": 70}
    state = _state([40.0, 62.0, 85.0], 55.0, economizer=economizer)
    assert state.economizing.tolist() == [1.0, 1.0, 0.0]
    assert state.economizer_cooling.tolist() == [0.0, 1.0, 0.0]
    # Warmer supply air leaves the mild hour to outdoor air.
    assert _state([62.0], 65.0, economizer=economizer).economizer_cooling.tolist() == [0.0]


@pytest.mark.crosscheck
@pytest.mark.parametrize("mode", ["setback", "off", "continuous"])
def test_hours_out_of_the_reset_are_those_of_setback_and_warm_up(mode):
    """What the night block runs, hour by hour; nothing where the unit is off or never leaves its steady mode."""
    results = estimate(
        project_of(
            schedule={"unoccupied_mode": mode},
            project={"default_candidates": False},
            bins={"rows": "mean"},
            candidate=[
                {"id": "as_found", "name": "As found", "sat": "as_found", "dsp": "as_found"},
                {"id": "demand", "name": "Demand", "sat": "demand", "dsp": "demand"},
            ],
        ),
        weather_of(),
    )
    for c in results.candidates:
        ran = float(results.held.nights[c.id].running_frac.sum())
        assert c.hourly["reset_excluded_hours"] == pytest.approx(ran)
        assert c.hourly["reset_excluded_hours"] == c.annual["reset_excluded_hours"]
        assert (ran > 100.0) == (mode == "setback")
        assert c.hourly["running_hours"] + ran <= 8760.0
