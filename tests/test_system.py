"""The whole air handler in rows: balances under every combination of options, one row among many,
rows that float, rows short of cooling, rows without air."""

import dataclasses
import itertools

import numpy as np
import pytest
from builders import PLAIN, conditions_of, random_conditions, unit_of, zones_with
from hypothesis import strategies as st
from laws import law

from binestimator.model.loads import zone_loads
from binestimator.model.system import (
    RowState,
    balance_error_btuh,
    evaluate,
    heat_sources,
    heating_enabled,
    moisture_error_btuh,
    zones_of,
)  # fmt: skip
from binestimator.moist_air import humidity_ratio_from_dewpoint, saturation_humidity_ratio

NAMES = [f.name for f in dataclasses.fields(RowState)]

#: Each option with its choices: changes to sections of the plain project.
OPTIONS = {
    "supply heating": [{"air_handler": {"supply_heating": mode}} for mode in ("hold", "own_setpoint", "none")],
    "fan": [
        {"fan": {"arrangement": side, "part_load": kind}}
        for side in ("draw_through", "blow_through")
        for kind in ("pressure", "published_curves")
    ],
    "return fan": [{"return_fan": {"type": kind}} for kind in ("none", "return", "relief")],
    "cooling": [
        {},
        {"cooling": {"type": "direct_expansion", "capacity_tons": 18, "lockout_f": 55}},
        {"cooling": {"type": "purchased", "capacity_tons": None}},
    ],
    "outdoor air": [{"outdoor_air": {"control": kind}} for kind in ("flow", "position", "people")],
    "economizer": [
        {"economizer": {"type": "none"}},
        {"economizer": {"type": "fixed_dry_bulb", "integrated": False}},
        {"economizer": {"type": "differential_dry_bulb"}},
        {"economizer": {"type": "fixed_enthalpy", "high_limit_f": 75}},
        {"economizer": {"type": "differential_enthalpy", "high_limit_f": 75}},
        {"economizer": {"stuck_frac": 0.7}},
    ],
    "pressure": [{"psia": 14.696}, {"psia": 12.0}],
    "ducts": [
        {"air_handler": {"duct_gain_from": place, "leakage_frac": leak}}
        for place, leak in (("plenum", 0.03), ("outside", 0.0), ("outside", 0.2))
    ],
    "heat": [
        {"heating": {"type": "boiler"}},
        {"heating": {"type": "electric"}},
        {"preheat": {"type": "gas_furnace"}},
        {"heating": {"type": "heat_pump"}},
        {"heating": {"type": "none", "capacity_kbtuh": None}},
    ],
    "terminals": [{}, {"zone": zones_with(heating_law="dual_maximum")}, {"air_handler": {"max_cfm": 4000}}],
    "motor": [{}, {"fan": {"motor_in_airstream": False, "minimum_speed_frac": 0.45}}],
}


def joined(*changes):
    out = {}
    for change in changes:
        for section, values in change.items():
            if isinstance(values, dict):
                out.setdefault(section, {}).update(values)
            else:
                out[section] = values
    return out


def combinations():
    """Every pair of choices of any two options at least once, in random whole combinations."""
    rng = np.random.default_rng(7)
    keys = list(OPTIONS)
    owed = {
        (a, i, b, j)
        for a, b in itertools.combinations(keys, 2)
        for i in range(len(OPTIONS[a]))
        for j in range(len(OPTIONS[b]))
    }
    while owed:
        best, gained = None, -1
        for _ in range(30):
            pick = {k: int(rng.integers(len(OPTIONS[k]))) for k in keys}
            a, i, b, j = next(iter(sorted(owed)))
            pick[a], pick[b] = i, j
            covers = {(a, pick[a], b, pick[b]) for a, b in itertools.combinations(keys, 2)} & owed
            if len(covers) > gained:
                best, gained, won = pick, len(covers), covers
        owed -= won
        yield best


COMBINATIONS = list(combinations())


def run(pick, rows=60, seed=3):
    changes = joined(*(OPTIONS[k][i] for k, i in pick.items()))
    psia = changes.pop("psia")
    unit = unit_of(**changes)
    c = random_conditions(rows, seed, pressure_psia=psia)
    loads = zone_loads(unit, c)
    rng = np.random.default_rng(seed)
    state = evaluate(
        unit, c, loads, rng.uniform(50, 66, rows), rng.uniform(0.15, 1.5, rows), resets_pressure=bool(seed % 2)
    )
    return unit, c, loads, state


@pytest.mark.invariant
@pytest.mark.parametrize("pick", COMBINATIONS, ids=lambda pick: "".join(str(i) for i in pick.values()))
def test_heat_and_moisture_balance_in_every_row(pick):
    """Closes to 1e-9 of the coil load or of 20 F of the airflow, whichever is more; nothing is NaN.

    Rooms with people but hardly any air from outside, and a dry coil, are held at saturation of
    80 degF instead of growing wetter without end; moisture does not balance there.
    """
    unit, c, loads, s = run(pick)
    scale = np.maximum(np.maximum(1000.0 * s.cooling_kbtuh, loads.fs * s.flow_cfm * 20.0), 1.0)
    assert np.max(np.abs(balance_error_btuh(unit, c, loads, s)) / scale) < 1e-9
    held = s.room_humidity_ratio >= saturation_humidity_ratio(80.0, c.pressure_psia) * (1 - 1e-9)
    assert np.max(np.abs(moisture_error_btuh(unit, c, loads, s))[~held] / scale[~held]) < 1e-9
    assert held.mean() < 0.2
    for name in NAMES:
        assert np.isfinite(getattr(s, name)[s.room_flow_cfm > 0]).all() or name == "cooling_capacity_kbtuh", name
    assert np.all(s.oa_frac >= 0) and np.all(s.oa_frac <= 1)
    assert (
        np.all(s.cooling_latent_kbtuh >= -1e-12)
        and np.all(s.preheat_kbtuh >= 0)
        and np.all(s.cooling_sensible_kbtuh > -1e-9)
    )
    assert np.all(s.electricity_kw >= 0) and np.all(s.fuel_thermh >= 0) and np.all(s.cost_usd_h > 0)


@pytest.mark.crosscheck
@pytest.mark.parametrize("pick", COMBINATIONS[::6], ids=lambda pick: "".join(str(i) for i in pick.values()))
def test_one_row_is_the_same_row_among_many(pick):
    """Within 1e-10: sums over zones round differently by the number of rows."""
    unit, c, loads, many = run(pick, 24)
    rng = np.random.default_rng(3)
    sat, dsp = rng.uniform(50, 66, 24), rng.uniform(0.15, 1.5, 24)
    for i in (0, 11, 23):
        at = slice(i, i + 1)
        one = evaluate(unit, c.take(at), zone_loads(unit, c.take(at)), sat[at], dsp[at], resets_pressure=True)
        for name in NAMES:
            assert getattr(one, name)[0] == pytest.approx(getattr(many, name)[i], rel=1e-10, abs=1e-9, nan_ok=True), (
                name
            )


# --- by hand ---------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def summer():
    unit = unit_of()
    c = conditions_of(95.0, 0.014)
    loads = zone_loads(unit, c)
    return unit, c, loads, evaluate(unit, c, loads, np.array([55.0]), np.array([1.5]))


@pytest.mark.crosscheck
def test_summer_row_by_hand(summer):
    """From left to right with the numbers of the row itself."""
    unit, c, loads, s = summer
    z = unit.zones
    flow = np.minimum(np.maximum(loads.q_cool_btuh[0] / (1.08 * 19.5), loads.min_cfm[0]), z.max_cfm)
    assert s.requested_cfm[0] == pytest.approx(flow @ z.multiplier)
    assert s.flow_cfm[0] == pytest.approx(flow @ z.multiplier + 270.0)
    total = 1.5 + 2.5 * (s.flow_cfm[0] / 9000) ** 2
    assert s.fan_total_inwc[0] == pytest.approx(total)
    assert s.coil_leaving_f[0] == pytest.approx(55.0 - s.fan_rise_f[0])
    room = loads.cool_f[0] + (loads.q_cool_btuh[0] - 1.08 * flow * 19.5) / (loads.ua_btuh_f[0] + 1.08 * flow)
    rooms = np.sum(flow * z.multiplier * room)
    rat = (rooms + 270.0 * 55.0 - (s.flow_cfm[0] - 270.0) * 0.5 + loads.plenum_btuh[0] / 1.08) / s.flow_cfm[0]
    assert s.rat_f[0] == pytest.approx(rat)
    x = 1800.0 / s.flow_cfm[0]
    assert s.oa_frac[0] == pytest.approx(x)
    assert s.mat_f[0] == pytest.approx(rat + x * (95.0 - rat))
    assert s.cooling_sensible_kbtuh[0] == pytest.approx(
        1.08 * s.flow_cfm[0] * (s.mat_f[0] - s.coil_leaving_f[0]) / 1000
    )
    assert s.cooling_latent_kbtuh[0] == pytest.approx(
        4.84 * s.flow_cfm[0] * (s.mixed_humidity_ratio[0] - s.leaving_humidity_ratio[0])
    )
    assert s.reheat_kbtuh[0] == s.preheat_kbtuh[0] == 0.0
    assert s.cost_usd_h[0] == pytest.approx(0.1063 * s.electricity_kw[0] + 0.98 * s.fuel_thermh[0])


@pytest.mark.invariant
def test_hours_are_humid_where_somebody_is_there():
    """Two rows of the same moist air, with and without people in them, and a dry one."""
    unit = unit_of()
    c = conditions_of([75.0, 75.0, 75.0], [0.018, 0.018, 0.004], occupied=[1.0, 0.0, 1.0], infiltration=1.0)
    s = evaluate(unit, c, zone_loads(unit, c), np.full(3, 70.0), np.full(3, 1.5))
    limit = humidity_ratio_from_dewpoint(unit.air_handler.humid_dewpoint_f, c.pressure_psia)
    assert (s.room_humidity_ratio > limit).tolist() == [True, True, False]
    assert s.humid.tolist() == [1.0, 0.0, 0.0]


@pytest.mark.invariant
def test_blow_through_moves_the_fan_heat_before_the_coil(summer):
    """The same coil load with the fan before the coil; the coil leaves at the supply temperature, not below."""
    unit, c, loads, draw = summer
    blow_unit = unit_of(fan={"arrangement": "blow_through"})
    blow = evaluate(blow_unit, c, zone_loads(blow_unit, c), np.array([55.0]), np.array([1.5]))
    assert blow.cooling_sensible_kbtuh[0] == pytest.approx(draw.cooling_sensible_kbtuh[0])
    assert blow.coil_leaving_f[0] == 55.0 and draw.coil_leaving_f[0] < 55.0
    assert blow.cooling_latent_kbtuh[0] < draw.cooling_latent_kbtuh[0]


# --- cold rows ----------------------------------------------------------------------------------


def cold(mode, oat=5.0, sat=58.0, **changes):
    unit = unit_of(**joined({"air_handler": {"supply_heating": mode}}, changes))
    c = conditions_of(oat, glass_sun=0.0)
    loads = zone_loads(unit, c)
    return unit, c, loads, evaluate(unit, c, loads, np.array([sat]), np.array([1.5]))


@pytest.mark.crosscheck
def test_cold_mixed_air_is_held_by_the_coil():
    unit, _, loads, s = cold("hold")
    assert s.sat_f[0] == 58.0 and s.mat_f[0] < 55.0
    target = 58.0 - s.fan_rise_f[0]
    assert s.preheat_kbtuh[0] == pytest.approx(1.08 * s.flow_cfm[0] * (target - s.mat_f[0]) / 1000)
    assert s.cooling_kbtuh[0] == 0.0
    assert s.freeze[0] == (s.mat_f[0] < 40.0)
    assert cold("hold", -10.0, outdoor_air={"minimum_cfm": 3000})[3].freeze[0] == 1.0


@pytest.mark.crosscheck
def test_cold_mixed_air_floats_without_a_coil():
    unit, c, loads, s = cold("none")
    assert s.preheat_kbtuh[0] == pytest.approx(0.0, abs=1e-9) and s.cooling_kbtuh[0] == pytest.approx(0.0, abs=1e-9)
    assert s.sat_f[0] < 50.0
    assert s.sat_f[0] == pytest.approx(s.mat_f[0] + s.fan_rise_f[0])
    assert s.reheat_kbtuh[0] > cold("hold")[3].reheat_kbtuh[0]


@pytest.mark.crosscheck
def test_own_lower_setpoint_heats_to_that_only():
    unit, _, _, s = cold("own_setpoint")
    assert s.sat_f[0] == pytest.approx(50.0 + s.fan_rise_f[0], abs=0.05)  # the fan's rise of the first pass
    assert 0 < s.preheat_kbtuh[0] < cold("hold")[3].preheat_kbtuh[0]


@pytest.mark.invariant
def test_no_source_of_heat_holds_no_supply_air():
    """A coil without a source cannot hold the supply temperature, whatever the mode says."""
    none = {"heating": {"type": "none", "capacity_kbtuh": None}}
    _, _, _, held = cold("hold", **none)
    _, _, _, floating = cold("none", **none)
    assert held.preheat_kbtuh[0] == pytest.approx(0.0, abs=1e-9)
    assert held.sat_f[0] == floating.sat_f[0] < 58.0
    own = cold("hold", preheat={"type": "gas_furnace"}, **none)[3]
    assert own.sat_f[0] == 58.0 and own.fuel_thermh[0] > 0.0


@pytest.mark.invariant
@law(25, 100, oat=st.floats(-10, 60), sat=st.floats(52, 66))
def test_floating_is_continuous_where_it_begins(oat, sat):
    """Nothing jumps as mixed air falls below what the setpoint wants."""
    for mode in ("hold", "none"):
        unit = UNITS[mode]
        c = conditions_of(np.array([oat, oat + 1e-6]), 0.002, glass_sun=0.0)
        s = evaluate(unit, c, zone_loads(unit, c), np.full(2, sat), np.full(2, 1.5))
        for name in ("sat_f", "flow_cfm", "preheat_kbtuh", "reheat_kbtuh", "fan_kw", "cooling_kbtuh"):
            a = getattr(s, name)
            assert a[1] == pytest.approx(a[0], abs=1e-3), name


UNITS = {mode: unit_of(air_handler={"supply_heating": mode}) for mode in ("hold", "none")}


# --- short of cooling ------------------------------------------------------------------------------


@pytest.mark.invariant
def test_supply_air_rises_where_capacity_ends():
    c = conditions_of(np.full(3, 98.0), 0.015)
    state = {}
    for tons in (60, 10, 8):
        unit = unit_of(cooling={"type": "direct_expansion", "capacity_tons": tons})
        state[tons] = evaluate(unit, c, zone_loads(unit, c), np.full(3, 55.0), np.full(3, 1.5))
    assert state[60].capacity_limited[0] == 0 and state[60].sat_f[0] == 55.0
    assert 55.0 < state[10].sat_f[0] < state[8].sat_f[0]
    assert state[8].unserved_kbtuh[0] >= 0.0
    assert state[8].cooling_kw[0] < state[60].cooling_kw[0]


@pytest.mark.crosscheck
def test_rise_of_supply_air_by_hand():
    """It rises to where the coil's load is what the plant gives: an ample plant at that setpoint has just that load,
    and nothing is left unserved."""
    c = conditions_of(98.0, 0.015)
    steady = {"type": "direct_expansion", "cycling_drying_loss_frac": 0.0}
    ample, short = (unit_of(cooling={**steady, "capacity_tons": tons}) for tons in (60, 9))
    s = evaluate(short, c, zone_loads(short, c), np.array([55.0]), np.array([1.5]))
    a = evaluate(ample, c, zone_loads(ample, c), s.sat_f, np.array([1.5]))
    assert s.sat_f[0] > 65.0 and s.capacity_limited[0] == 1.0
    # What six evaluations leave.
    assert a.cooling_kbtuh[0] == pytest.approx(a.cooling_capacity_kbtuh[0] * 9 / 60, rel=1e-6)
    assert s.cooling_kbtuh[0] == pytest.approx(s.cooling_capacity_kbtuh[0], rel=1e-6)
    assert s.cooling_kbtuh[0] <= s.cooling_capacity_kbtuh[0] * (1.0 + 1e-12)
    assert s.unserved_kbtuh[0] == pytest.approx(0.0, abs=1e-9)


@pytest.mark.invariant
def test_lockout_shuts_the_compressors():
    unit = unit_of(cooling={"type": "direct_expansion", "lockout_f": 60}, economizer={"type": "none"})
    c = conditions_of(np.array([59.0, 61.0]))
    s = evaluate(unit, c, zone_loads(unit, c), np.full(2, 55.0), np.full(2, 1.5))
    assert s.cooling_kw[0] == 0.0 < s.cooling_kw[1]
    assert s.capacity_limited[0] == 1.0 and s.sat_f[0] > 55.0


@pytest.mark.invariant
def test_dx_capacity_limit_begins_continuously():
    """A load a hair above capacity raises the supply air a hair."""
    unit = unit_of(cooling={"type": "direct_expansion", "capacity_tons": 60})
    c = conditions_of(95.0, 0.014)
    loads = zone_loads(unit, c)
    base = evaluate(unit, c, loads, np.array([55.0]), np.array([1.5]))
    edge = 60 * base.cooling_kbtuh[0] / base.cooling_capacity_kbtuh[0]
    sat = []
    for tons in (edge * (1 - 1e-5), edge * (1 + 1e-5)):
        u = dataclasses.replace(unit, cooling_tons=tons)
        s = evaluate(u, c, loads, np.array([55.0]), np.array([1.5]))
        sat.append((s.sat_f[0], s.flow_cfm[0], s.cooling_kbtuh[0]))
    assert sat[0] == pytest.approx(sat[1], rel=1e-3)


# --- rows without air, signs, states ------------------------------------------------------------------


@pytest.mark.invariant
def test_row_without_air_has_no_energy_and_no_division_by_zero():
    """Unoccupied, no minimum, no cooling need, no leakage: nothing flows and nothing is divided."""
    unit = unit_of(air_handler={"leakage_frac": 0.0})
    c = conditions_of(
        np.full(2, 65.0), occupied=0.0, people=0.0, lights=0.0, equipment=0.0, glass_sun=0.0, roof_sun=0.0
    )
    loads = zone_loads(unit, c)
    with np.errstate(all="raise"):
        s = evaluate(unit, c, loads, np.full(2, 55.0), np.full(2, 1.5))
    assert np.all(s.flow_cfm == 0) and np.all(s.fan_kw == 0) and np.all(s.cooling_kbtuh == 0)
    for name in NAMES:
        if name not in ("room_mean_f",):
            assert np.isfinite(getattr(s, name)).all(), name
    assert np.abs(balance_error_btuh(unit, c, loads, s)).max() < 1e-6


@pytest.mark.invariant
def test_row_without_air_but_with_lights_balances():
    """Lights that heat the plenum of a unit that moves no air warm nothing that is counted."""
    unit = unit_of(air_handler={"leakage_frac": 0.0})
    c = conditions_of(50.0, occupied=0.0, people=0.0, lights=0.1, equipment=0.0, glass_sun=0.0, roof_sun=0.0)
    loads = zone_loads(unit, c)
    loads = dataclasses.replace(loads, q_cool_btuh=np.minimum(loads.q_cool_btuh, -1.0))
    s = evaluate(unit, c, loads, np.full(1, 55.0), np.full(1, 1.5))
    assert s.flow_cfm[0] == 0.0
    assert np.isfinite(s.rat_f[0])


@pytest.mark.invariant
def test_zone_without_flow_among_others():
    unit = unit_of(zone=zones_with(min_cfm=0))
    c = conditions_of(np.array([20.0, 60.0]), people=0.0, lights=0.0, equipment=0.1, glass_sun=0.0)
    loads = zone_loads(unit, c)
    with np.errstate(all="raise"):
        s = evaluate(unit, c, loads, np.full(2, 55.0), np.full(2, 1.5))
    z = zones_of(unit, c, loads, s)
    assert (z.flow_cfm == 0).any() and np.isfinite(z.room_f).all()


@pytest.mark.invariant
def test_lower_pressure_lowers_fan_power_and_never_raises_the_coil_load():
    c = random_conditions(200, 8)
    unit = unit_of()
    loads = zone_loads(unit, c)
    high = evaluate(unit, c, loads, np.full(200, 57.0), np.full(200, 1.5))
    low = evaluate(unit, c, loads, np.full(200, 57.0), np.full(200, 1.0))
    assert np.all(low.fan_kw <= high.fan_kw + 1e-9)
    served = low.starved_zones == 0
    assert np.all(low.cooling_sensible_kbtuh[served] <= high.cooling_sensible_kbtuh[served] + 1e-9)
    assert np.all(low.preheat_kbtuh >= high.preheat_kbtuh - 1e-9)
    assert np.allclose(low.reheat_kbtuh, high.reheat_kbtuh)  # the supply air is held after the fan


@pytest.mark.invariant
def test_warmer_supply_air_takes_more_air_and_less_reheat():
    c = random_conditions(200, 8)
    unit = unit_of()
    loads = zone_loads(unit, c)
    at = {sat: evaluate(unit, c, loads, np.full(200, sat), np.full(200, 1.5)) for sat in (55.0, 60.0)}
    assert np.all(at[60.0].requested_cfm >= at[55.0].requested_cfm - 1e-9)
    assert np.all(at[60.0].reheat_kbtuh <= at[55.0].reheat_kbtuh + 1e-9)
    heats = (at[55.0].reheat_kbtuh > 0).sum()
    assert heats > 50


@pytest.mark.invariant
def test_heating_plant_enabled_by_temperature_and_running():
    unit = unit_of(heating={"enabled_below_f": 60})
    oat, on = np.array([50.0, 59.9, 60.0, 70.0]), np.array([1.0, 0.0, 1.0, 1.0])
    assert heating_enabled(unit, oat, on).tolist() == [1.0, 0.0, 0.0, 0.0]
    always = unit_of(heating={"enabled_below_f": 60, "enabled_unoccupied": True})
    assert heating_enabled(always, oat, on).tolist() == [1.0, 1.0, 0.0, 0.0]
    assert heating_enabled(unit_of(heating={"type": "none", "capacity_kbtuh": None}), oat, on).tolist() == [0.0] * 4


@pytest.mark.invariant
def test_counts_count_zones_with_their_multipliers():
    """Two core zones on one line: starved when the pressure is short, twice."""
    unit = unit_of(zone=[{**z, "index_share": 2.0 if z["name"] == "Core" else 0.05} for z in PLAIN["zone"]])
    c = conditions_of(95.0, people=1.0, lights=1.0, equipment=1.0)
    loads = zone_loads(unit, c)
    loads = dataclasses.replace(loads, q_cool_btuh=np.maximum(loads.q_cool_btuh, 40000.0))
    s = evaluate(unit, c, loads, np.array([55.0]), np.array([0.4]))
    assert s.starved_zones[0] == 2.0


@pytest.mark.invariant
@pytest.mark.parametrize("preheat", ["same", "boiler"])
def test_no_source_starts_for_supply_heating_that_is_rounding(preheat):
    """Mixed air that the dampers bring to its target misses it by a last digit either way: no standing loss, no pump
    for that."""
    unit = unit_of(preheat={"type": preheat})
    rounding, real = (
        heat_sources(unit, np.zeros(1), np.full(1, kbtuh), np.zeros(1), np.full(1, 50.0)) for kbtuh in (1e-13, 1.0)
    )
    assert sum(float(s.fuel_thermh[0] + s.pump_kw[0]) for s in rounding) == 0.0
    assert sum(float(s.fuel_thermh[0]) for s in real) > 0.0 and sum(float(s.pump_kw[0]) for s in real) > 0.0
