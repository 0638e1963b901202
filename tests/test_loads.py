"""Zone loads: hand cases, setpoints in force, multipliers."""

import numpy as np
import pytest
from builders import PLAIN, conditions_of, project_of, random_conditions, unit_of
from hypothesis import given
from hypothesis import strategies as st

from binestimator.model.loads import zone_loads
from binestimator.units import BTU_PER_WH


@pytest.fixture(scope="module")
def unit():
    return unit_of()


@pytest.mark.crosscheck
def test_gains_by_hand(unit):
    """South zone: people, lights less plenum share, equipment, glass and nothing else."""
    c = conditions_of(85.0, people=0.75, lights=0.85, equipment=0.8, glass_sun=40.0, roof_sun=0.0)
    loads = zone_loads(unit, c)
    area = 2000.0
    people = area / 200.0 * 0.75 * 250.0
    lights = area * 0.79 * 3.41214163 * 0.85 * 0.8
    equipment = area * 0.75 * 3.41214163 * 0.8
    sun = 200.0 * 0.4 * 0.8 * 40.0
    assert loads.gains_btuh[0, 0] == pytest.approx(people + lights + equipment + sun, rel=1e-8)  # 3.41214163: 9 digits
    ua = 250.0 + 1.08 * 0.25 * 40.0
    assert loads.ua_btuh_f[0, 0] == pytest.approx(ua, rel=1e-12)
    assert loads.q_cool_btuh[0, 0] == pytest.approx(loads.gains_btuh[0, 0] + ua * (85.0 - 75.0), rel=1e-12)
    assert loads.q_heat_btuh[0, 0] == pytest.approx(loads.gains_btuh[0, 0] + ua * (85.0 - 70.0), rel=1e-12)


@pytest.mark.crosscheck
def test_moisture_plenum_and_people_by_hand(unit):
    """Sums over zones with their multipliers: office 2000 + 2000 + 2 x 4000 ft2, meeting 500 ft2."""
    c = conditions_of(60.0, people=0.5, lights=0.6)
    loads = zone_loads(unit, c)
    office, meeting = 12000.0 / 200.0 * 0.5, 500.0 / 20.0 * 0.5
    assert loads.people[0] == pytest.approx(office + meeting)
    assert loads.latent_btuh[0] == pytest.approx(200.0 * (office + meeting))
    assert loads.plenum_btuh[0] == pytest.approx(12500.0 * 0.79 * BTU_PER_WH * 0.2 * 0.6)
    assert loads.infiltration_cfm[0] == pytest.approx(0.25 * 100.0)
    assert loads.oa_people_cfm[0] == pytest.approx(5.0 * (office + meeting))


@pytest.mark.crosscheck
def test_facade_and_roof_sun_reach_the_right_zone():
    """Each facade's sun falls on the glass of that facade alone; roof sun by U alpha / h_o."""
    zones = [{**z, "roof_ft2": 1000} if z["name"] == "Core" else z for z in PLAIN["zone"]]
    unit = unit_of(zone=zones)
    c = conditions_of(70.0, glass_sun=0.0, roof_sun=0.0)
    dark = zone_loads(unit, c).gains_btuh[0]
    south = conditions_of(70.0, glass_sun=0.0, roof_sun=0.0)
    south.glass_sun_btuh_ft2[:, 2] = 100.0
    assert zone_loads(unit, south).gains_btuh[0] - dark == pytest.approx([200 * 0.4 * 0.8 * 100.0, 0, 0, 0], abs=1e-6)
    roof = conditions_of(70.0, glass_sun=0.0, roof_sun=240.0)
    expected = 0.06 * 0.7 * 1000.0 * 240.0 / 3.0
    assert zone_loads(unit, roof).gains_btuh[0] - dark == pytest.approx([0, 0, expected, 0], abs=1e-6)


@pytest.mark.invariant
def test_setpoints_and_minimums_follow_occupancy(unit):
    on = zone_loads(unit, conditions_of(70.0, group_occupied=1.0))
    off = zone_loads(unit, conditions_of(70.0, group_occupied=0.0))
    assert np.all(on.cool_f == 75.0) and np.all(on.heat_f == 70.0)
    assert np.all(off.cool_f == 85.0) and np.all(off.heat_f == 60.0)
    assert on.min_cfm[0] == pytest.approx([660.0, 420.0, 720.0, 180.0])
    assert np.all(off.min_cfm == 0.0)


@pytest.mark.invariant
def test_own_setpoints_and_minimums_of_zones():
    zones = [{**z, "cooling_setpoint_f": 72, "heating_setpoint_f": 68, "min_cfm": 333} if z["name"] == "North" else z
             for z in PLAIN["zone"]]  # fmt: skip
    loads = zone_loads(unit_of(zone=zones), conditions_of(70.0))
    assert loads.cool_f[0] == pytest.approx([75, 72, 75, 75])
    assert loads.heat_f[0] == pytest.approx([70, 68, 70, 70])
    assert loads.min_cfm[0, 1] == pytest.approx(333.0)


@pytest.mark.invariant
@given(pressure=st.floats(10.0, 15.0))
def test_sensible_and_latent_factors_go_with_pressure(pressure):
    loads = zone_loads(unit_of(), conditions_of(70.0, pressure_psia=pressure))
    assert loads.fs == pytest.approx(1.08 * pressure / 14.696)
    assert loads.fl == pytest.approx(4840.0 * pressure / 14.696)


@pytest.mark.invariant
def test_a_multiplier_is_that_many_zones():
    """One line with multiplier 2 and two lines give the same sums."""
    core = {**PLAIN["zone"][2], "infiltration_cfm": 30}
    once = [*PLAIN["zone"][:2], core, PLAIN["zone"][3]]
    twice = [
        *PLAIN["zone"][:2],
        {**core, "multiplier": 1},
        {**core, "name": "Core 2", "multiplier": 1},
        PLAIN["zone"][3],
    ]
    c = random_conditions(40, 3)
    one, two = zone_loads(unit_of(zone=once), c), zone_loads(unit_of(zone=twice), c)
    for name in ("latent_btuh", "plenum_btuh", "infiltration_cfm", "people", "oa_people_cfm"):
        assert getattr(one, name) == pytest.approx(getattr(two, name), rel=1e-12)
    assert two.gains_btuh[:, 2] == pytest.approx(two.gains_btuh[:, 3], rel=1e-15)


@pytest.mark.invariant
def test_gain_multiplier_scales_internal_gains_alone():
    c = conditions_of(70.0, glass_sun=0.0)
    plain = zone_loads(unit_of(), c)
    double = zone_loads(unit_of(zone=[{**z, "gain_multiplier": 2} for z in PLAIN["zone"]]), c)
    assert double.gains_btuh == pytest.approx(2.0 * plain.gains_btuh)
    assert double.latent_btuh == pytest.approx(2.0 * plain.latent_btuh)
    sunny = conditions_of(70.0, glass_sun=50.0)
    sun = zone_loads(unit_of(), sunny).gains_btuh - plain.gains_btuh
    assert zone_loads(
        unit_of(zone=[{**z, "gain_multiplier": 2} for z in PLAIN["zone"]]), sunny
    ).gains_btuh == pytest.approx(2.0 * plain.gains_btuh + sun)


@pytest.mark.invariant
def test_extra_latent_only_while_occupied():
    project = project_of(air_handler={"latent_extra_btuh": 5000})
    unit = unit_of(project)
    plain = unit_of()
    for occupied, extra in ((1.0, 5000.0), (0.0, 0.0)):
        c = conditions_of(70.0, occupied=occupied)
        assert zone_loads(unit, c).latent_btuh - zone_loads(plain, c).latent_btuh == pytest.approx(extra)


@pytest.mark.invariant
def test_rows_taken_are_rows_computed():
    unit, c = unit_of(), random_conditions(30, 5)
    index = np.array([3, 3, 17, 0])
    some, all_rows = zone_loads(unit, c.take(index)), zone_loads(unit, c).take(index)
    for name in set(all_rows.__slots__) - {"known"}:  # what is kept of them, not part of them
        assert np.asarray(getattr(some, name)) == pytest.approx(np.asarray(getattr(all_rows, name)), rel=1e-12)
