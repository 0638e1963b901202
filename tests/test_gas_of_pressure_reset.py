"""Why a duct static pressure reset can raise gas use, and where it does not.

NREL technical report 98345, Fan Static Pressure Reset for Multizone VAV Systems: in the buildings
to which it applies, electricity -14 %, natural gas +4.5 %. Less fan power is less heat in the supply
air. With the supply temperature held after the fan, no zone notices: reheat is what it was, and
the fan's heat is replaced by less cooling, by less cold outdoor air of the economizer, or, where
mixed air at minimum outdoor air is already too cold, by the supply heating coil. Without such a
coil the supply air itself gets colder and the terminals make up for it.
"""

import functools

import numpy as np
import pytest
from builders import project_of, unit_of, weather_of

from binestimator.hours import build_conditions
from binestimator.model.loads import zone_loads
from binestimator.model.system import evaluate
from binestimator.model.terminals import cooling_flow_cfm, requested_flow_cfm
from binestimator.strategies.demand import settled_dsp_inwc
from binestimator.units import KBTU_PER_KWH

LITTLE_OA, MUCH_OA = {"minimum_cfm": 1300}, {"minimum_cfm": 2600}
CASES = {
    "held, little outdoor air": {"outdoor_air": LITTLE_OA},
    "held, much outdoor air": {"outdoor_air": MUCH_OA},
    "held by a furnace, electric reheat": {
        "outdoor_air": MUCH_OA, "preheat": {"type": "gas_furnace"}, "heating": {"type": "electric"}},
    "floating, much outdoor air": {"outdoor_air": MUCH_OA, "air_handler": {"supply_heating": "none"}},
}  # fmt: skip


@functools.cache
def runs(name):
    """Occupied hours of Greensboro at 55 degF: with 1.5 in. w.c. held, and with that of demand."""
    project = project_of(**CASES[name])
    unit = unit_of(project)
    conditions = build_conditions(weather_of("greensboro"), project)
    on = conditions.take(np.flatnonzero(conditions.fan_on > 0))
    loads = zone_loads(unit, on)
    sat = np.full(len(on), 55.0)
    dsp = settled_dsp_inwc(
        unit, requested_flow_cfm(unit, loads, sat), cooling_flow_cfm(unit, loads, sat), 0.0, 0.3, 1.5
    )
    return tuple(evaluate(unit, on, loads, sat, pressure) for pressure in (np.full(len(on), 1.5), dsp))


def change(name, key):
    """Change of an annual sum by the reset, as a share of what it was."""
    before, after = (float(np.sum(getattr(s, key))) for s in runs(name))
    return after / before - 1.0


@pytest.mark.published
@pytest.mark.parametrize(
    "name", ["held, much outdoor air", "held by a furnace, electric reheat", "floating, much outdoor air"]
)
def test_gas_rises_where_mixed_air_is_cold(name):
    """NREL 98345 prints +4.5 % gas at -14 % electricity over many buildings; here single ones: 3 to 7 %,
    and more where gas heats the mixed air alone and hardly anything else."""
    assert change(name, "electricity_kw") == pytest.approx(-0.15, abs=0.02)
    furnace = name.startswith("held by a furnace")
    assert (0.10 if furnace else 0.03) < change(name, "fuel_thermh") < (0.25 if furnace else 0.07)


@pytest.mark.invariant
def test_gas_hardly_moves_where_mixed_air_is_mild():
    """Little outdoor air: the economizer, not a coil, replaces the heat of the fan."""
    assert 0.0 <= change("held, little outdoor air", "fuel_thermh") < 0.01
    assert change("held, little outdoor air", "electricity_kw") < -0.10


@pytest.mark.invariant
@pytest.mark.parametrize("name", [n for n in CASES if n.startswith("held")])
def test_reheat_does_not_move_where_supply_air_is_held_after_the_fan(name):
    before, after = runs(name)
    assert np.all(before.sat_f == 55.0) and np.all(after.sat_f == 55.0)
    assert np.abs(after.reheat_kbtuh - before.reheat_kbtuh).max() < 1e-9
    # What the coil gives more is at most what the fan gives less, and all of it where it heats anyway.
    more = after.preheat_kbtuh - before.preheat_kbtuh
    less = (
        (before.fan_rise_f * before.flow_cfm - after.fan_rise_f * after.flow_cfm)
        * 1.08
        * weather_of().pressure_psia
        / 14.696
        / 1000.0
    )
    assert np.all(more >= -1e-9)
    mild = (before.preheat_kbtuh == 0) & (after.preheat_kbtuh == 0)
    assert mild.any() and np.all(more[mild] == 0)
    heating = before.preheat_kbtuh > 0
    # The lower pressure also leaks a little less air at 55 degF into the return plenum.
    leak = (before.leakage_cfm - after.leakage_cfm)[heating] * 1.08 * 30.0 / 1000.0
    assert np.all(np.abs(more[heating] - less[heating]) <= leak + 1e-9)


@pytest.mark.invariant
def test_reheat_rises_where_supply_air_floats():
    before, after = runs("floating, much outdoor air")
    assert np.abs(before.preheat_kbtuh).max() < 1e-9
    floats = before.sat_f < 55.0 - 1e-6
    assert floats.sum() > 100
    assert np.all(after.sat_f[floats] <= before.sat_f[floats] + 1e-9)
    assert after.reheat_kbtuh[floats].sum() > before.reheat_kbtuh[floats].sum()
    assert np.all(after.reheat_kbtuh[~floats] >= before.reheat_kbtuh[~floats] - 1e-9)


@pytest.mark.crosscheck
def test_fan_power_in_the_airstream_is_fan_heat():
    before, _ = runs("held, much outdoor air")
    fs = 1.08 * weather_of().pressure_psia / 14.696
    heat = before.fan_rise_f * before.flow_cfm * fs / 1000.0
    assert np.all(heat <= before.fan_kw * KBTU_PER_KWH + 1e-9)
    assert heat.sum() > 0.85 * before.fan_kw.sum() * KBTU_PER_KWH  # all but the drive's losses
