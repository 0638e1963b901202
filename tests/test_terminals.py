"""Terminals: hand cases of flow, room temperature and reheat; continuity; monotony."""

import dataclasses

import numpy as np
import pytest
from builders import PLAIN, conditions_of, random_conditions, unit_of, zones_with
from hypothesis import given
from hypothesis import strategies as st
from laws import law

from binestimator.model.loads import zone_loads
from binestimator.model.terminals import available_flow_cfm, rationed_dsp_inwc, requested_flow_cfm, zone_state

ONE_ZONE = [{"name": "Room", "area_ft2": 1000, "ua_btuh_f": 200, "max_cfm": 1000, "min_cfm": 300, "reheat_kbtuh": 20,
             "index_share": 0.8}]  # fmt: skip


def room(gains=0.0, oat=70.0, sat=55.0, dsp=1.5, ceiling=1.0, reheat_on=1.0, duct_gain=0.0, **zone):
    """One zone with given gains: unit, loads, requested flow and state."""
    unit = unit_of(zone=[{**ONE_ZONE[0], **zone}], air_handler={"duct_gain_f": duct_gain})
    c = conditions_of(oat, infiltration=0.0)
    loads = zone_loads(unit, c)
    ua = loads.ua_btuh_f
    loads = dataclasses.replace(loads, gains_btuh=np.full((1, 1), gains), q_cool_btuh=gains + ua * (oat - loads.cool_f),
                                q_heat_btuh=gains + ua * (oat - loads.heat_f))  # fmt: skip
    requested = requested_flow_cfm(unit, loads, np.array([sat]), reheat_on)
    # The share that the fan gives of what flows without a ceiling, as the pressure at which it does.
    full = float(np.minimum(requested, available_flow_cfm(unit, np.array([dsp])))[0, 0])
    unit = dataclasses.replace(unit, max_cfm=ceiling * full)
    left, _, _ = rationed_dsp_inwc(unit, requested, np.array([dsp]), lambda p: np.zeros(p.shape))
    state = zone_state(unit, loads, np.array([sat]), left, requested, reheat_on)
    return unit, loads, requested[0, 0], state


# --- hand cases -----------------------------------------------------------------------------


@pytest.mark.crosscheck
def test_cooling_flow_by_hand():
    """q = 10 000 + 200 x (90 - 75) = 13 000 Btu/h over 1.08 x 20 F = 601.9 cfm, and the room at 75."""
    _, _, flow, state = room(10000.0, 90.0)
    assert flow == pytest.approx(13000 / (1.08 * 20))
    assert state.room_f[0, 0] == pytest.approx(75.0)
    assert state.reheat_btuh[0, 0] == 0.0


@pytest.mark.published
def test_warmer_supply_air_takes_a_third_more_air():
    """From 55 to 60 degF at 75 degF room: 20/15 = 1.333 of the flow (arithmetic of the balance)."""
    assert room(10000.0, 90.0, 60.0)[2] / room(10000.0, 90.0, 55.0)[2] == pytest.approx(20 / 15)


@pytest.mark.crosscheck
def test_duct_gain_counts_as_warmer_supply_air():
    assert room(10000.0, 90.0, 55.0, duct_gain=1.0)[2] == pytest.approx(room(10000.0, 90.0, 56.0)[2])


@pytest.mark.crosscheck
def test_room_floats_between_its_setpoints_at_minimum():
    """300 cfm of 55 degF: T = (5400 + 200 x 70 + 324 x 55) / (200 + 324) = 71.03."""
    _, _, flow, state = room(5400.0, 70.0)
    assert flow == 300.0
    assert state.room_f[0, 0] == pytest.approx((5400 + 200 * 70 + 324 * 55) / 524)
    assert state.reheat_btuh[0, 0] == 0.0


@pytest.mark.crosscheck
def test_reheat_by_hand_and_its_change_with_supply_air():
    """Heating: 324 x (70 - 55) - (1000 + 200 x (40 - 70)) = 9860 Btu/h; 5 F warmer supply air saves 1.08 cfm 5."""
    _, _, flow, state = room(1000.0, 40.0)
    assert flow == 300.0
    assert state.reheat_btuh[0, 0] == pytest.approx(9860.0)
    assert state.room_f[0, 0] == pytest.approx(70.0)
    assert 9860.0 - room(1000.0, 40.0, 60.0)[3].reheat_btuh[0, 0] == pytest.approx(1.08 * 300 * 5)


@pytest.mark.crosscheck
def test_reheat_held_by_the_coil():
    _, loads, _, state = room(1000.0, 40.0, reheat_kbtuh=5)
    assert state.reheat_btuh[0, 0] == 5000.0
    assert state.room_f[0, 0] == pytest.approx((1000 + 200 * 40 + 324 * 55 + 5000) / 524)
    assert state.room_f[0, 0] < loads.heat_f[0, 0]


@pytest.mark.crosscheck
def test_reheat_held_by_the_discharge_limit():
    """At most 25 F above the heating setpoint: 324 x (95 - 55)."""
    state = room(0.0, -10.0, reheat_kbtuh=100)[3]
    assert state.reheat_btuh[0, 0] == pytest.approx(324 * 40)


@pytest.mark.crosscheck
@pytest.mark.parametrize(("sat", "rise"), [(94.5, 0.5), (95.0, 0.0), (97.0, 0.0)])
def test_supply_air_at_the_discharge_limit_leaves_nothing_to_reheat(sat, rise):
    """25 F above the heating setpoint of 70: half a degree below that is all there is, and none beyond it."""
    state = room(0.0, -100.0, sat, reheat_kbtuh=100)[3]
    assert state.reheat_btuh[0, 0] == pytest.approx(1.08 * state.flow_cfm[0, 0] * rise)
    assert state.room_f[0, 0] < 70.0


@pytest.mark.invariant
def test_no_reheat_without_coil_or_plant():
    for changes in ({"reheat": False, "reheat_kbtuh": None}, {}):
        state = room(0.0, 30.0, reheat_on=1.0 if changes else 0.0, **changes)[3]
        assert state.reheat_btuh[0, 0] == 0.0
        assert state.room_f[0, 0] < 70.0
    without = unit_of(heating={"type": "none", "capacity_kbtuh": None})
    assert not without.zones.has_reheat.any() and not without.zones.reheat_btuh.any()


@pytest.mark.crosscheck
def test_dual_maximum_raises_flow_in_heating():
    """Heating load 10 000 Btu/h over 1.08 x 25 F = 370 cfm, air at the discharge limit of 95."""
    law = {"heating_law": "dual_maximum", "heat_max_cfm": 500, "reheat_kbtuh": 100}
    _, loads, flow, state = room(0.0, 20.0, **law)
    assert flow == pytest.approx(10000 / (1.08 * 25))
    assert state.reheat_btuh[0, 0] == pytest.approx(1.08 * flow * 40)
    assert state.room_f[0, 0] == pytest.approx(70.0)
    # a load too large for heat_max: held there, and the room falls short
    _, _, flow, state = room(0.0, -10.0, **law)
    assert flow == 500.0 and state.room_f[0, 0] < 70.0
    # without heat there is no reason to blow more
    assert room(0.0, 20.0, reheat_on=0.0, **law)[2] == 300.0


@pytest.mark.crosscheck
def test_duct_pressure_gives_what_the_open_damper_passes():
    """Vmax sqrt(DSP / (index x k)): 1000 x sqrt(0.3 / (1.5 x 0.8)) = 500 cfm; the room warms."""
    unit, loads, flow, state = room(10000.0, 90.0, dsp=0.3)
    assert available_flow_cfm(unit, np.array([0.3]))[0, 0] == pytest.approx(500.0)
    assert state.flow_cfm[0, 0] == pytest.approx(500.0)
    assert state.starved[0, 0] and not state.ventilation_short[0, 0]
    assert state.room_f[0, 0] == pytest.approx((10000 + 200 * 90 + 540 * 55) / 740)
    assert not room(10000.0, 90.0, dsp=0.5)[3].starved[0, 0]


@pytest.mark.crosscheck
def test_ventilation_short_below_the_minimum():
    state = room(3000.0, 70.0, dsp=0.05)[3]
    assert state.flow_cfm[0, 0] == pytest.approx(1000 * np.sqrt(0.05 / 1.2))
    assert state.ventilation_short[0, 0] and state.starved[0, 0]


@pytest.mark.crosscheck
def test_airflow_ceiling_of_one_zone_is_its_airflow():
    state = room(10000.0, 90.0, ceiling=0.5)[3]
    assert state.flow_cfm[0, 0] == pytest.approx(0.5 * 13000 / 21.6)
    assert state.starved[0, 0]  # the pressure that is left passes no more


@pytest.mark.crosscheck
def test_supply_air_that_cannot_cool():
    """At or above the room setpoint a needing zone opens fully, the others stay at minimum."""
    for sat in (75.0, 78.0):
        assert room(10000.0, 90.0, sat)[2] == 1000.0
        assert room(-10000.0, 60.0, sat)[2] == 300.0


@pytest.mark.invariant
def test_room_without_air_or_conductance_keeps_its_setpoint():
    state = room(5000.0, 90.0, dsp=0.0, ua_btuh_f=0)[3]
    assert state.flow_cfm[0, 0] == 0.0
    assert state.room_f[0, 0] == 75.0


# --- laws ---------------------------------------------------------------------------------------

inputs = st.fixed_dictionaries(
    {
        "gains": st.floats(-5000, 40000),
        "oat": st.floats(-20, 110),
        "sat": st.floats(45, 74),
        "dsp": st.floats(0.05, 2.0),
        "ceiling": st.floats(0.3, 1.0),
        "min_cfm": st.integers(0, 1000),
        "heating_law": st.sampled_from(["single_maximum", "dual_maximum"]),
        "ua_btuh_f": st.integers(5, 1000),
        "reheat_kbtuh": st.integers(1, 60),
    }
)


@pytest.mark.invariant
@given(inputs)
def test_room_balance_closes_and_flow_keeps_its_bounds(values):
    """Gains, envelope, air and reheat sum to nothing; reheat within every limit."""
    unit, loads, requested, state = room(**values)
    flow, t, reheat = state.flow_cfm[0, 0], state.room_f[0, 0], state.reheat_btuh[0, 0]
    error = values["gains"] + values["ua_btuh_f"] * (values["oat"] - t) + loads.fs * flow * (values["sat"] - t) + reheat
    assert abs(error) < 1e-9 * max(values["ua_btuh_f"] * 100.0, loads.fs * flow * 20.0, 1000.0)
    assert min(values["min_cfm"], 1000) <= requested <= 1000.0
    assert 0 <= flow <= requested * (1 + 1e-12)
    assert 0 <= reheat <= 1000.0 * values["reheat_kbtuh"]
    assert reheat == 0 or t <= loads.heat_f[0, 0] + 1e-9  # heat only as far as the heating setpoint
    assert state.starved[0, 0] == (state.available_cfm[0, 0] < requested * (1 - 1e-6))


@pytest.mark.invariant
@law(25, 100, inputs, st.floats(0.0, 10.0))
def test_warmer_supply_air_never_lowers_requested_flow(values, rise):
    cold = room(**values)[2]
    warm = room(**{**values, "sat": min(values["sat"] + rise, 74.0)})[2]
    assert warm >= cold * (1 - 1e-12)


@pytest.mark.invariant
@law(25, 100, inputs, st.floats(0.0, 10.0))
def test_warmer_supply_air_never_raises_reheat(values, rise):
    """At full duct pressure and fan: the minimum flow is heated from a warmer start."""
    values = {**values, "dsp": 2.0, "ceiling": 1.0}
    cold = room(**values)[3].reheat_btuh[0, 0]
    warm = room(**{**values, "sat": min(values["sat"] + rise, 74.0)})[3].reheat_btuh[0, 0]
    assert warm <= cold * (1 + 1e-12) + 1e-9


HAIR = 1e-7


@pytest.mark.invariant
@law(25, 100, inputs, st.sampled_from(["gains", "oat", "sat", "dsp", "ceiling"]))
def test_a_hair_of_change_is_a_hair_of_answer(values, which):
    """Continuity at every edge. The room cannot be judged where neither air nor wall moves it."""
    step = {"gains": 1e-4, "dsp": HAIR, "ceiling": HAIR, "oat": HAIR, "sat": HAIR}[which]
    if which == "ceiling" and values["ceiling"] + step > 1.0:
        return
    _, _, requested, a = room(**values)
    _, _, moved, b = room(**{**values, which: values[which] + step})
    # Slopes: flow per degree up to q/(fs drop2) with drops of 1 F and 100 kBtu/h.
    assert moved == pytest.approx(requested, abs=0.05)
    assert b.flow_cfm[0, 0] == pytest.approx(a.flow_cfm[0, 0], abs=0.05)
    assert b.reheat_btuh[0, 0] == pytest.approx(a.reheat_btuh[0, 0], abs=2.0)
    assert b.room_f[0, 0] == pytest.approx(a.room_f[0, 0], abs=0.2)


@pytest.mark.invariant
@pytest.mark.parametrize("law", ["single_maximum", "dual_maximum"])
def test_flow_over_a_sweep_of_load_has_no_jumps(law):
    """From deep heating to more than full cooling, in steps of 20 Btu/h: flow and reheat move by
    what the step explains."""
    gains = np.arange(-20000.0, 40000.0, 20.0)
    unit = unit_of(zone=[{**ONE_ZONE[0], "heating_law": law, "reheat_kbtuh": 60}], air_handler={"duct_gain_f": 0.0})
    c = conditions_of(np.full(gains.shape, 40.0), infiltration=0.0)
    loads = zone_loads(unit, c)
    ua = loads.ua_btuh_f
    loads = dataclasses.replace(
        loads,
        gains_btuh=gains[:, None],
        q_cool_btuh=gains[:, None] + ua * (40.0 - loads.cool_f),
        q_heat_btuh=gains[:, None] + ua * (40.0 - loads.heat_f),
    )
    sat = np.full(gains.shape, 55.0)
    requested = requested_flow_cfm(unit, loads, sat)
    state = zone_state(unit, loads, sat, np.full(gains.shape, 1.5), requested)
    assert np.abs(np.diff(requested[:, 0])).max() <= 20.0 / (1.08 * 20.0) + 1e-9
    assert np.abs(np.diff(state.reheat_btuh[:, 0])).max() <= 20.0 * 40.0 / 25.0 + 1e-6
    assert np.abs(np.diff(state.room_f[:, 0])).max() <= 20.0 / 200.0


@pytest.mark.invariant
def test_an_own_heating_minimum_is_reached_over_a_degree():
    """With heat_min_cfm above the minimum the flow rises to it as the room at the minimum flow would fall by a degree:
    a controller has a band, and supply air that floats needs a flow without jumps."""
    law = {"heating_law": "dual_maximum", "heat_min_cfm": 400, "heat_max_cfm": 500, "reheat_kbtuh": 100}
    edge = 1.08 * 300 * 15 + 200 * 30.0  # gains at which 300 cfm of 55 degF just hold 70 at 40 outdoors
    assert room(edge + 1.0, 40.0, **law)[2] == 300.0
    degree = 1.08 * 300 + 200  # Btu/h that a degree of the room is worth
    assert room(edge - 0.5 * degree, 40.0, **law)[2] == pytest.approx(350.0)
    assert room(edge - degree, 40.0, **law)[2] == pytest.approx(400.0)
    assert room(edge - 1.01 * degree, 40.0, **law)[2] == pytest.approx(400.0)


@pytest.mark.invariant
def test_more_pressure_never_gives_less_air():
    unit = unit_of()
    c = random_conditions(200, 4)
    loads = zone_loads(unit, c)
    sat = np.full(200, 58.0)
    requested = requested_flow_cfm(unit, loads, sat)
    last = None
    for dsp in (0.05, 0.2, 0.5, 1.0, 1.5, 3.0):
        flow = zone_state(unit, loads, sat, np.full(200, dsp), requested).flow_cfm
        assert last is None or np.all(flow >= last - 1e-9)
        last = flow
    assert np.allclose(last, requested)


@pytest.mark.invariant
def test_one_row_is_the_same_row_among_many():
    unit = unit_of(zone=zones_with(heating_law="dual_maximum"))
    c = random_conditions(60, 9)
    loads = zone_loads(unit, c)
    sat, dsp = np.linspace(50, 66, 60), np.linspace(0.1, 1.5, 60)
    requested = requested_flow_cfm(unit, loads, sat)
    many = zone_state(unit, loads, sat, dsp, requested)
    for i in (0, 13, 59):
        at = slice(i, i + 1)
        few = zone_loads(unit, c.take(at))
        asked = requested_flow_cfm(unit, few, sat[at])
        one = zone_state(unit, few, sat[at], dsp[at], asked)
        for name in ("requested_cfm", "flow_cfm", "room_f", "reheat_btuh"):
            # sums over products may round differently by matrix size
            assert getattr(one, name)[0] == pytest.approx(getattr(many, name)[i], rel=1e-12)


@pytest.mark.crosscheck
def test_damper_survey_gives_the_index_share():
    """600 cfm at 80 % open and 0.9 in. w.c. would be 750 cfm open, 1000 cfm at 1.6 in. w.c.: k = 1.6/1.5."""
    zone = {
        **PLAIN["zone"][0],
        "max_cfm": 1000,
        "survey_flow_cfm": 600,
        "survey_damper_pct": 80,
        "survey_dsp_inwc": 0.9,
    }
    zone.pop("index_share")
    unit = unit_of(zone=[zone])
    assert unit.zones.index_share[0] == pytest.approx(0.9 * (1000 / 750) ** 2 / 1.5)
    assert available_flow_cfm(unit, np.array([0.9]))[0, 0] == pytest.approx(750.0)


@pytest.mark.crosscheck
def test_a_damper_survey_counts_and_not_the_share_given_beside_it():
    """1,200 cfm at a damper of 80 % and 1.2 in. w.c.: an open damper passes 1,200 / 0.8 at that pressure, so 2,400 cfm
    need (2400 x 0.8 / 1200)^2 of it; the share that was given is not looked at."""
    survey = {"survey_flow_cfm": 1200, "survey_damper_pct": 80, "survey_dsp_inwc": 1.2}
    zones = [{**zone, **(survey if zone["name"] == "Core" else {})} for zone in PLAIN["zone"]]
    assert next(zone for zone in zones if zone["name"] == "Core")["index_share"] == 0.5
    unit = unit_of(zone=zones, fan={"index_dsp_inwc": 4.0, "design_total_inwc": 6.0}, limits={"damper_exponent": 1.0})
    at = unit.zones.names.index("Core")
    assert unit.zones.index_share[at] == pytest.approx(1.2 / 4.0 * (2400 * 0.8 / 1200) ** 2, rel=1e-12)
    assert np.delete(unit.zones.index_share, at).tolist() == [1.0, 0.8, 0.7]
