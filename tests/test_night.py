"""Setback and warm-up nights."""

import dataclasses
from pathlib import Path

import numpy as np
import pytest
from builders import project_of, unit_of, weather_of

from binestimator.estimate import build_unit, off_energy, size_unit
from binestimator.hours import build_conditions
from binestimator.inputs.read import project_from_mapping
from binestimator.model.loads import zone_loads
from binestimator.model.night import nights, run_nights
from binestimator.units import KBTU_PER_KWH
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


# --- hand cases and laws --------------------------------------------------------------------------


def office(**changes):
    """An office of two zones with fixed sizes and its hours of the year."""
    project = project_of(weather={"file": "723170TYA.CSV"}, **changes)
    conditions = build_conditions(weather_of(), project)
    return project, unit_of(project), conditions


def block(project, unit, conditions):
    return run_nights(unit, conditions, zone_loads(unit, conditions), project.schedule)


@pytest.mark.invariant
def test_spans_of_nights_cover_the_hours_off_once():
    fan_on = np.zeros(48)
    fan_on[7:18] = fan_on[31:42] = 1.0
    assert nights(fan_on) == [(18, 13), (42, 13)]
    assert nights(np.zeros(5)) == [(0, 5)] and nights(np.ones(5)) == []
    rng = np.random.default_rng(0)
    on = (rng.random(500) < 0.5).astype(float)
    seen = np.zeros(500)
    for start, length in nights(on):
        seen[(start + np.arange(length)) % 500] += 1
    assert np.array_equal(seen, 1.0 - on)


@pytest.mark.crosscheck
def test_a_cooling_night_by_hand():
    """One room, steady night: C dT/dt = UA (OAT - T) + gains, exact over the hour, until the set-back
    limit is met; then heat balances the loss."""
    project, unit, conditions = office()
    unit = dataclasses.replace(unit, air_handler=dataclasses.replace(unit.air_handler, supply_heating="none"))
    cold = dataclasses.replace(conditions, oat_f=np.full(8760, 0.0))
    loads = zone_loads(unit, cold)
    still = dataclasses.replace(loads, gains_btuh=np.zeros_like(loads.gains_btuh))
    night = run_nights(unit, cold, still, project.schedule)
    z = unit.zones
    # in the middle of the longest nights every zone stands at 60 degF: heat is UA x 60, as far
    # as 30 % of the design airflow at 25 F above the room, or the coil, gives it
    hours = [(start + length // 2) % 8760 for start, length in nights(cold.fan_on) if length > 40]
    ua = still.ua_btuh_f[hours[0]]
    most = np.minimum(z.reheat_btuh, still.fs * 0.3 * z.max_cfm * 25.0)
    # 1e-3: rooms that are short creep towards their balance for days
    assert night.heat_kbtuh[hours] == pytest.approx(float(np.minimum(ua * 60.0, most) @ z.multiplier) / 1000.0, rel=1e-3)


@pytest.mark.crosscheck
def test_hours_of_a_night_by_hand():
    """One room from 70 degF at 20 degF outdoors without gains: T falls to OAT + (T - OAT) exp(-UA/C) each
    hour; below 60 degF heat brings it back to 60, C = 24 h x UA / area x area."""
    zone = [{"name": "Room", "area_ft2": 1000, "ua_btuh_f": 200, "max_cfm": 2000, "reheat_kbtuh": 100, "index_share": 1.0}]
    project, unit, conditions = office(zone=zone, air_handler={"supply_heating": "none"})
    cold = dataclasses.replace(conditions, oat_f=np.full(8760, 20.0))
    loads = zone_loads(unit, cold)
    still = dataclasses.replace(loads, gains_btuh=np.zeros_like(loads.gains_btuh))
    night = run_nights(unit, cold, still, project.schedule)
    start, length = next((s, n) for s, n in nights(cold.fan_on) if n > 20)
    t, heat = 70.0, []
    for _ in range(12):
        t = 20.0 + (t - 20.0) * np.exp(-1.0 / 24.0)
        q = max(60.0 - t, 0.0) * 200.0 / (1.0 - np.exp(-1.0 / 24.0))
        t = max(t, 60.0)
        heat.append(q / 1000.0)
    hours = (start + np.arange(12)) % 8760
    assert heat[2] == 0.0 < heat[8]
    assert night.heat_kbtuh[hours] == pytest.approx(heat, abs=1e-9)


@pytest.mark.invariant
def test_no_cooling_plant_cools_nothing_at_night():
    project, unit, conditions = office(cooling={"type": "none", "capacity_tons": None})
    night = block(project, unit, conditions)
    assert not night.cool_kbtuh.any() and not night.cooling_kw.any()
    assert night.heat_kbtuh.any()


@pytest.mark.invariant
def test_night_runs_are_never_negative_and_only_while_off():
    for changes in ({}, {"heating": {"type": "electric"}}, {"air_handler": {"supply_heating": "none"}},
                    {"heating": {"enabled_unoccupied": True}}, {"preheat": {"type": "gas_furnace"}}):  # fmt: skip
        project, unit, conditions = office(**changes)
        night = block(project, unit, conditions)
        for field in dataclasses.fields(night):
            values = getattr(night, field.name)
            assert np.isfinite(values).all() and values.min() >= -1e-9, (changes, field.name)
            assert not values[conditions.fan_on > 0].any()
        assert np.all(night.running_frac <= 1.0 + 1e-12)
        assert not np.any((night.heat_kbtuh > 0) & (night.cool_kbtuh > 0))


@pytest.mark.crosscheck
def test_standing_loss_of_an_enabled_plant_counts_once():
    """With the plant enabled while the unit is off its standing loss is that of the hours off; the night
    adds the heat of the rooms less that of the fan, and no second loss. A source of COP 1 at any
    temperature: heat in, heat out."""
    source = {"type": "heat_pump", "cop_points": [[0, 1], [60, 1]], "capacity_points": [[0, 2], [60, 2]]}
    changes = {"heating": {**source, "enabled_unoccupied": True, "standing_loss_kbtuh": 10}, "air_handler": {"supply_heating": "none"}}
    project, unit, conditions = office(**changes)
    night = block(project, unit, conditions)
    off = off_energy(unit, conditions)["heating_kw"]
    hours_off = float((conditions.fan_on == 0).sum())
    assert off.sum() * KBTU_PER_KWH == pytest.approx(10.0 * hours_off)
    heats = night.heat_kbtuh > night.cool_kbtuh
    # fan heat within the stream is taken off: what is left is at most the heat of the rooms
    given = night.heating_kw[heats] * KBTU_PER_KWH
    assert np.all(given <= night.heat_kbtuh[heats] + 1e-9)
    fan_heat = night.fan_kw[heats] * KBTU_PER_KWH
    assert np.all(given >= night.heat_kbtuh[heats] - fan_heat - 1e-9)


@pytest.mark.invariant
def test_more_mass_takes_less_night_heat():
    heat = []
    for hours in (24, 72, 200):
        project, unit, conditions = office(schedule={"room_time_constant_h": hours})
        heat.append(block(project, unit, conditions).heat_kbtuh.sum())
    assert heat[0] > heat[1] > heat[2] > 0


@pytest.mark.invariant
def test_deeper_setback_takes_less_heat():
    def total(low):
        groups = [{"name": "office", "heating_unoccupied_f": low}, {"name": "meeting", "heating_unoccupied_f": low}]
        project, unit, conditions = office(group=groups)
        return block(project, unit, conditions).heat_kbtuh.sum()

    assert total(55) < total(60) < total(66)
