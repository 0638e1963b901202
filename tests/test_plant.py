"""Plant: published curve points, nameplate values and laws of loads and energy."""

import csv
import dataclasses
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from binestimator.errors import InputError
from binestimator.inputs.schema import fields_of, record_type
from binestimator.model import plant
from binestimator.units import KBTU_PER_KWH, KBTUH_PER_TON, KW_PER_TON

PUBLISHED = Path(__file__).parent / "published"
SETS = fields_of("cooling")["chiller_set"].choices
RATED = {"oat_f": 95.0, "oawb_f": 78.0, "entering_wb_f": 67.0}  # 78 + 7 = 85 degF condenser water


def cooling(**changes):
    return record_type("cooling")(**changes)


def heating(**changes):
    return record_type("heating")(**changes)


def preheat(**changes):
    return record_type("preheat")(**changes)


def rows(name):
    with (PUBLISHED / name).open(newline="", encoding="utf-8") as handle:
        return [
            pytest.param(row, id=" ".join([*list(row.values())[:2], f"[{row['source']}]"]))
            for row in csv.DictReader(handle)
        ]


def half_a_last_place(row):
    # plus rounding of the decimal comparison itself
    return 0.5 * 10.0 ** -int(row["printed_decimals"]) * 1.000001


# --- published ------------------------------------------------------------------------
@pytest.mark.published
@pytest.mark.parametrize("row", rows("plant.csv"))
def test_published_curve_points(row):
    y = float(row["y"]) if row["y"] else None
    got = plant.curves()[row["curve"]].published(float(row["x"]), y)
    assert got == pytest.approx(float(row["value"]), rel=0, abs=half_a_last_place(row))


@pytest.mark.published
@pytest.mark.parametrize("row", rows("boiler_relative_efficiency.csv"))
def test_relative_efficiency_of_boilers_and_furnaces(row):
    # published as coefficients; relative efficiency = PLR / fuel fraction
    plr = float(row["plr"])
    got = plr / plant.curves()[row["curve"]].published(plr)
    assert got == pytest.approx(float(row["relative_efficiency"]), rel=0, abs=half_a_last_place(row))


@pytest.mark.published
def test_fan_free_cop():
    # 90.1-2022 12.5.2(c): EER 11 at 240 000 Btu/h, computed from the clause, three decimals
    assert plant.fan_free_cop(11.0, 240_000.0) == pytest.approx(3.925, rel=0, abs=5e-4)
    # the capacity in the formula is held at 760 000 Btu/h
    assert plant.fan_free_cop(10.0, 2_000_000.0) == plant.fan_free_cop(10.0, 760_000.0)
    # taking the fan out can only raise the ratio
    assert plant.fan_free_cop(11.0, 240_000.0) > 11.0 / KBTU_PER_KWH


@pytest.mark.published
def test_variable_pump_curve():
    # 90.1-2022 table L4.2.3-1: the coefficients sum to 1.0059 at design flow
    curve = plant.curves()["pump_variable"]
    assert curve.published(1.0) == pytest.approx(1.0059, rel=1e-12)
    assert curve.relative(1.0) == 1.0
    assert curve.relative(0.0) == 0.0


# Part load and the temperature beside it (condenser water or outdoor air, degF) of the
# integrated part load value, and its weights: AHRI 550/590, from memory.
IPLV_WEIGHTS = (0.01, 0.42, 0.45, 0.12)
IPLV_LOADS = (1.0, 0.75, 0.5, 0.25)
IPLV_CONDENSER_F = (85.0, 75.0, 65.0, 65.0)
IPLV_OUTDOOR_F = (95.0, 80.0, 65.0, 55.0)


@pytest.mark.published
@pytest.mark.parametrize("row", rows("chiller_iplv.csv"))
def test_full_load_rating_gives_the_published_part_load_rating(row):
    """The table names each set by both ratings: the curves must lead from one to the other."""
    full = float(row["full_load"])
    kw_per_ton = KBTUH_PER_TON / full if row["unit"] == "EER" else full
    c = cooling(chiller_set=row["set"], kw_per_ton=kw_per_ton)
    tons_per_kw = []
    for load, condenser_f, outdoor_f in zip(IPLV_LOADS, IPLV_CONDENSER_F, IPLV_OUTDOOR_F):
        wet_bulb_f = condenser_f - c.tower_approach_f
        power = plant.cooling_power(c, 300.0, 3600.0 * load, 1.0, outdoor_f, wet_bulb_f, 63.0)
        tons_per_kw.append(300.0 * load / power.compressor_kw)
    mean = float(np.dot(IPLV_WEIGHTS, tons_per_kw))
    got = KBTUH_PER_TON * mean if row["unit"] == "EER" else 1.0 / mean
    assert got == pytest.approx(float(row["iplv"]), rel=float(row["relative_tolerance"]))


# --- nameplate ------------------------------------------------------------------------
@pytest.mark.crosscheck
@pytest.mark.parametrize("chiller_set", SETS)
@pytest.mark.parametrize("units", [1, 3])
def test_full_load_at_rating_is_the_nameplate(chiller_set, units):
    c = cooling(chiller_set=chiller_set, kw_per_ton=0.733, units=units)
    assert plant.cooling_capacity_kbtuh(c, 200.0, **RATED) == pytest.approx(2400.0)
    power = plant.cooling_power(c, 200.0, 2400.0, 1.0, **RATED)
    assert power.compressor_kw / 200.0 == pytest.approx(0.733)
    assert power.plr == pytest.approx(1.0)
    assert power.units_on == units


@pytest.mark.crosscheck
def test_direct_expansion_at_rating():
    c = cooling(type="direct_expansion", eer=11.0)
    assert plant.cooling_capacity_kbtuh(c, 20.0, **RATED) == pytest.approx(240.0)
    power = plant.cooling_power(c, 20.0, 240.0, 1.0, **RATED)
    assert power.compressor_kw == pytest.approx(20.0 * KW_PER_TON / plant.fan_free_cop(11.0, 240e3))
    assert power.pump_tower_kw == 0.0
    # an EER without the fan: power is capacity over EER, by definition
    bare = cooling(type="direct_expansion", eer=11.0, rated_with_fan=False)
    assert plant.cooling_power(bare, 20.0, 240.0, 1.0, **RATED).compressor_kw == pytest.approx(240.0 / 11.0)


@pytest.mark.crosscheck
def test_pumps_and_tower_at_full_load():
    c = cooling(chilled_pump_w_ton=45.0, condenser_pump_w_ton=50.0, tower_w_ton=55.0)
    power = plant.cooling_power(c, 100.0, 1200.0, 1.0, **RATED)
    assert power.pump_tower_kw == pytest.approx(4.5 + 5.0 + 5.5)
    # air-cooled sets have neither tower nor condenser pump
    air = dataclasses.replace(c, chiller_set="air_cooled_below_150_ton")
    assert plant.cooling_power(air, 100.0, 1200.0, 1.0, **RATED).pump_tower_kw == pytest.approx(4.5)


@pytest.mark.crosscheck
def test_half_load_of_a_variable_chilled_pump_by_hand():
    # (0.0205/2 + 0.4101/4 + 0.5753/8) / 1.0059 = 0.18361 of 4.5 kW
    c = cooling(condenser_pump_w_ton=0.0, tower_w_ton=0.0)
    power = plant.cooling_power(c, 100.0, 600.0, 1.0, **RATED)
    assert power.pump_tower_kw == pytest.approx(4.5 * 0.1846875 / 1.0059)
    constant = dataclasses.replace(c, chilled_pump_control="constant")
    assert plant.cooling_power(constant, 100.0, 600.0, 1.0, **RATED).pump_tower_kw == pytest.approx(4.5)


@pytest.mark.crosscheck
def test_condenser_water_floor_and_approach():
    c = cooling(chiller_set="water_cooled_300_to_600_ton", tower_approach_f=7.0, condenser_water_min_f=65.0)
    at = [plant.cooling_power(c, 100.0, 600.0, 1.0, 60.0, wb, 60.0).compressor_kw for wb in (30.0, 58.0, 70.0)]
    assert at[0] == at[1] < at[2]
    curve = plant.curves()["chiller_water_cooled_300_to_600_ton_eir_f_t"]
    full = [c.kw_per_ton * 100.0 * curve.relative(44.0, y) for y in (65.0, 77.0)]
    cap = plant.curves()["chiller_water_cooled_300_to_600_ton_cap_f_t"]
    plrs = [0.5 / cap.relative(44.0, y) for y in (65.0, 77.0)]
    plf = plant.curves()["chiller_water_cooled_300_to_600_ton_eir_f_plr"]
    want = [f * 0.5 / plr * plf.relative(plr) for f, plr in zip(full, plrs)]
    assert [at[1], at[2]] == pytest.approx(want)


@pytest.mark.crosscheck
def test_boiler_by_hand():
    # 400 kBtu/h boiler at half load with no loss: 200 / 0.8 / relative efficiency 0.989
    h = heating(standing_loss_kbtuh=0.0, pump_w_per_kbtuh=0.76)
    p = plant.heating_power(h, 400.0, 200.0, 1.0, 40.0)
    fuel = 0.01798667 + 0.96742420 / 2 + 0.01545455 / 4
    assert p.fuel_thermh == pytest.approx(400.0 / 0.8 * fuel / 1.00086542 / 100.0)
    assert p.pump_kw == pytest.approx(0.76 * 400.0 / 1000.0)
    assert p.electric_kw == p.purchased_kbtuh == p.unserved_kbtuh == 0.0
    full = plant.heating_power(h, 400.0, 400.0, 1.0, 40.0)
    assert full.fuel_thermh == pytest.approx(5.0)


@pytest.mark.crosscheck
def test_boiler_standing_loss():
    h = heating(minimum_plr_frac=0.1)
    idle = plant.heating_power(h, 1000.0, 0.0, 1.0, 40.0)
    curve = plant.curves()["boiler_modulating"]
    # 3 % of capacity, cycling at the least part load of 10 %
    assert idle.fuel_thermh == pytest.approx(0.3 * curve.relative(0.1) * 1000.0 / 0.8 / 100.0)
    assert plant.heating_power(h, 1000.0, 0.0, 0.0, 40.0).fuel_thermh == 0.0
    given_loss = plant.heating_power(heating(standing_loss_kbtuh=50.0), 1000.0, 450.0, 1.0, 40.0)
    assert given_loss.fuel_thermh == pytest.approx(
        plant.heating_power(heating(standing_loss_kbtuh=0.0), 1000.0, 500.0, 1.0, 40.0).fuel_thermh
    )


@pytest.mark.crosscheck
def test_heat_pump_by_hand():
    h = heating(type="heat_pump", standing_loss_kbtuh=0.0, pump_w_per_kbtuh=0.0)
    # 17 degF: COP 2.3, 65 % of 100 kBtu/h from the heat pump, 15 kBtu/h electric
    p = plant.heating_power(h, 100.0, 80.0, 1.0, 17.0)
    assert p.electric_kw == pytest.approx((65.0 / 2.3 + 15.0) / KBTU_PER_KWH)
    # below its limit all is electric; flat beyond the last point of the table
    assert plant.heating_power(h, 100.0, 80.0, 1.0, -10.1).electric_kw == pytest.approx(80.0 / KBTU_PER_KWH)
    assert plant.heating_power(h, 100.0, 80.0, 1.0, 75.0).electric_kw == pytest.approx(80.0 / 3.9 / KBTU_PER_KWH)
    # 60 degF: the heat pump itself goes to 110 % of rating
    assert plant.heating_power(h, 100.0, 120.0, 1.0, 60.0).unserved_kbtuh == pytest.approx(10.0)


@pytest.mark.crosscheck
def test_electric_and_purchased_by_hand():
    e = plant.heating_power(heating(type="electric"), 100.0, 34.12141633127942, 1.0, 40.0)
    assert e.electric_kw == pytest.approx(10.0)
    assert e.pump_kw == 0.0
    b = plant.heating_power(heating(type="purchased", purchased_loss_frac=0.05), 100.0, 38.0, 1.0, 40.0)
    assert b.purchased_kbtuh == pytest.approx(40.0)
    c = plant.cooling_power(cooling(type="purchased", purchased_loss_frac=0.04), None, 48.0, 1.0, **RATED)
    assert c.purchased_kbtuh == pytest.approx(50.0)
    assert c.compressor_kw == c.pump_tower_kw == c.unserved_kbtuh == 0.0


@pytest.mark.crosscheck
def test_sources_of_the_supply_heating_coil():
    h = heating(pump_w_per_kbtuh=0.8)
    assert plant.preheat_source(preheat(), h).type == "same"
    furnace = plant.preheat_source(preheat(type="gas_furnace", efficiency_frac=0.8), h)
    p = plant.heating_power(furnace, 100.0, 100.0, 1.0, 20.0)
    assert p.fuel_thermh == pytest.approx(1.25)
    assert p.pump_kw == 0.0
    assert plant.heating_power(furnace, 100.0, 0.0, 1.0, 20.0).fuel_thermh == 0.0
    condensing = plant.preheat_source(preheat(type="gas_furnace", efficiency_frac=0.92), h)
    assert condensing.fuel_curve == "furnace_condensing"
    heat_pump = plant.preheat_source(preheat(type="heat_pump"), h)
    p = plant.heating_power(heat_pump, 100.0, 0.0, 1.0, 20.0)
    assert p.electric_kw == p.pump_kw == 0.0
    boiler = plant.preheat_source(preheat(type="boiler"), heating(type="electric"))
    assert plant.heating_power(boiler, 100.0, 97.0, 1.0, 20.0).fuel_thermh == pytest.approx(1.25)
    same = plant.heating_power(plant.preheat_source(preheat(), h), 100.0, 0.0, 1.0, 20.0)
    assert same.fuel_thermh == same.pump_kw == 0.0


@pytest.mark.crosscheck
def test_condenser_pump_stops_with_a_cycling_unit():
    c = cooling(chilled_pump_w_ton=0.0, tower_w_ton=0.0, condenser_pump_w_ton=50.0, minimum_plr_frac=0.25)
    # 100 ton, one unit: 5 kW while it runs; at 10 % load it runs 40 % of the time
    pump = plant.cooling_power(c, 100.0, np.array([1200.0, 300.0, 120.0]), 1.0, **RATED).pump_tower_kw
    assert pump == pytest.approx([5.0, 5.0, 2.0])
    held = dataclasses.replace(c, below_minimum="hold")
    assert plant.cooling_power(held, 100.0, 120.0, 1.0, **RATED).pump_tower_kw == pytest.approx(5.0)
    # two units: the second starts above half load
    two = dataclasses.replace(c, units=2)
    pump = plant.cooling_power(two, 100.0, np.array([600.0, 601.0]), 1.0, **RATED).pump_tower_kw
    assert pump == pytest.approx([2.5, 5.0])


@pytest.mark.crosscheck
def test_direct_expansion_cycles_below_one_stage():
    # least steady load of a unit of 5 stages: 1/5; power is linear below it and only there
    c = cooling(type="direct_expansion", stages=5)
    loads = np.array([240.0, 48.0, 24.0, 60.0])
    kw = plant.cooling_power(c, 20.0, loads, 1.0, **RATED).compressor_kw
    curve = plant.curves()["dx_eir_f_plr"]
    assert kw[1:] / kw[0] == pytest.approx([curve.relative(0.2), curve.relative(0.2) / 2.0, curve.relative(0.25)])
    # two units with five stages each in all: a stage is 1/5 of a unit again
    two = cooling(type="direct_expansion", stages=10, units=2)
    kw = plant.cooling_power(two, 20.0, np.array([240.0, 12.0]), 1.0, **RATED).compressor_kw
    assert kw[1] / kw[0] == pytest.approx(curve.relative(0.2) / 4.0)


@pytest.mark.crosscheck
def test_standing_loss_takes_from_capacity():
    h = heating(standing_loss_kbtuh=50.0, pump_control="variable", pump_w_per_kbtuh=1.0)
    p = plant.heating_power(h, 500.0, np.array([0.0, 225.0, 450.0, 500.0]), 1.0, 30.0)
    assert p.unserved_kbtuh.tolist() == [0.0, 0.0, 0.0, 50.0]
    assert p.fuel_thermh[2:] == pytest.approx([6.25, 6.25])
    # the pump carries what the coils take, not the loss: 0.45 and 0.9 of design flow
    pump = plant.curves()["pump_variable"]
    assert p.pump_kw == pytest.approx(
        [0.0, 0.5 * pump.relative(0.45), 0.5 * pump.relative(0.9), 0.5 * pump.relative(0.9)]
    )
    # a loss above capacity serves nothing and burns no more than capacity
    p = plant.heating_power(heating(standing_loss_kbtuh=900.0), 500.0, 10.0, 1.0, 30.0)
    assert p.unserved_kbtuh == 10.0
    assert p.fuel_thermh == pytest.approx(6.25)


# --- laws -----------------------------------------------------------------------------
plr_lists = st.lists(st.floats(0.0, 1.0), min_size=2, max_size=20)
part_load_curves = st.sampled_from([name for name, curve in plant.curves().items() if curve.form == "polynomial"])


@pytest.mark.invariant
def test_both_curves_by_temperatures_of_a_plant_have_the_same_limits():
    curves = plant.curves()
    pairs = [("dx_cap_f_t", "dx_eir_f_t"), *((f"chiller_{n}_cap_f_t", f"chiller_{n}_eir_f_t") for n in SETS)]
    for capacity, full_input in pairs:
        one, other = curves[capacity], curves[full_input]
        assert (one.x_range, one.y_range) == (other.x_range, other.y_range)


@pytest.mark.invariant
@given(part_load_curves, plr_lists, st.floats(0.05, 0.9), st.sampled_from(["cycle", "hold"]))
def test_part_load_input(name, plrs, least, below):
    coefficients = plant.curves()[name].coefficients
    plrs = np.sort(np.array([0.0, *plrs, 1.0]))
    value = plant.part_load_input_frac(plrs, coefficients, least, below)
    assert value[0] == 0.0
    assert value[-1] == pytest.approx(1.0)
    assert np.diff(value).min() >= -1e-12
    edge = plant.part_load_input_frac(np.array([least - 1e-9, least, least + 1e-9]), coefficients, least, below)
    assert np.ptp(edge) < 1e-7  # continuous; slopes are of the order of 1
    assert plant.part_load_input_frac(1.7, coefficients, least, below) == pytest.approx(1.0)
    if below == "hold":
        assert plant.part_load_input_frac(1e-6, coefficients, least, below) == edge[1]
    else:
        half = plant.part_load_input_frac(least / 2.0, coefficients, least, below)
        assert half == pytest.approx(edge[1] / 2.0)


@pytest.mark.invariant
def test_part_load_rule_must_be_known():
    with pytest.raises(InputError, match="cycle and hold"):
        plant.part_load_input_frac(0.5, (0.0, 1.0), 0.2, "stop")


cooling_types = st.sampled_from(
    [{"chiller_set": name} for name in SETS] + [{"type": "direct_expansion"}, {"type": "purchased"}]
)
weathers = st.tuples(st.floats(20.0, 120.0), st.floats(0.0, 25.0), st.floats(45.0, 80.0))


def weather(of):
    oat, depression, entering = of
    return {"oat_f": oat, "oawb_f": oat - depression, "entering_wb_f": entering}


@pytest.mark.invariant
@given(
    cooling_types,
    st.lists(st.floats(0.0, 1500.0), min_size=2, max_size=12),
    weathers,
    st.sampled_from(["cycle", "hold"]),
    st.sampled_from(["constant", "variable"]),
    st.floats(0.0, 80.0),
)
def test_one_unit_never_takes_less_for_more_load(kind, loads, conditions, below, pump, other):
    c = cooling(**kind, below_minimum=below, chilled_pump_control=pump, other_load_tons=other, units=1)
    loads = np.sort(np.array([0.0, *loads]))
    p = plant.cooling_power(c, 100.0, loads, 1.0, **weather(conditions))
    for name in ("compressor_kw", "pump_tower_kw", "purchased_kbtuh", "plr", "unserved_kbtuh"):
        values = getattr(p, name)
        assert np.isfinite(values).all()
        assert np.diff(values).min() >= -1e-9, name
        assert values[0] == pytest.approx(0.0, abs=1e-9) or name == "plr"
    capacity = plant.cooling_capacity_kbtuh(c, 100.0, **weather(conditions))
    assert p.unserved_kbtuh == pytest.approx(np.maximum(loads - capacity, 0.0), abs=1e-9)
    # at capacity and beyond, energy stays
    if np.isfinite(capacity):
        beyond = plant.cooling_power(c, 100.0, np.array([capacity, capacity + 500.0]), 1.0, **weather(conditions))
        assert np.ptp(beyond.compressor_kw) < 1e-9


@pytest.mark.invariant
@given(cooling_types, st.integers(1, 6), st.floats(0.0, 90.0), st.floats(0.0, 1200.0), weathers)
def test_increments_add_up(kind, units, other, load, conditions):
    """Other load alone plus this air handler's increment is the plant under both."""
    shared = cooling(**kind, units=units, other_load_tons=other)
    alone = dataclasses.replace(shared, other_load_tons=0.0)
    at = weather(conditions)
    base = min(
        float(plant.other_load_kbtuh(shared, at["oat_f"])),
        float(plant.cooling_capacity_kbtuh(alone, 100.0, **at)),
    )
    increment = plant.cooling_power(shared, 100.0, load, 1.0, **at)
    before = plant.cooling_power(alone, 100.0, base, 1.0, **at)
    both = plant.cooling_power(alone, 100.0, base + load, 1.0, **at)
    for name in ("compressor_kw", "pump_tower_kw", "purchased_kbtuh"):
        assert getattr(before, name) + getattr(increment, name) == pytest.approx(getattr(both, name), abs=1e-9)


@pytest.mark.invariant
@pytest.mark.parametrize(
    "kind", [{"chiller_set": name} for name in SETS] + [{"type": "direct_expansion", "stages": 12}]
)
def test_steps_of_staging_are_those_stated(kind):
    c = cooling(**kind, units=4, chilled_pump_w_ton=0.0, condenser_pump_w_ton=0.0, tower_w_ton=0.0)
    loads = np.array([300.0, 600.0, 900.0])
    below = plant.cooling_power(c, 100.0, loads, 1.0, **RATED)
    above = plant.cooling_power(c, 100.0, loads + 1e-5, 1.0, **RATED)
    assert below.units_on.tolist() == [1.0, 2.0, 3.0]
    assert above.units_on.tolist() == [2.0, 3.0, 4.0]
    unit_kw = plant.cooling_power(c, 100.0, 1200.0, 1.0, **RATED).compressor_kw / 4.0
    step = (above.compressor_kw - below.compressor_kw) / unit_kw
    assert step.min() > -0.22
    assert step.max() < (0.22 if "type" in kind else 0.03)
    # between the steps the power rises
    for n in range(4):
        inside = np.linspace(300.0 * n + 1.0, 300.0 * (n + 1), 50)
        assert np.diff(plant.cooling_power(c, 100.0, inside, 1.0, **RATED).compressor_kw).min() > 0.0


@pytest.mark.invariant
@given(cooling_types, st.floats(0.0, 1200.0), weathers, st.sampled_from(["cycle", "hold"]), st.floats(0.0, 50.0))
def test_not_running_takes_nothing(kind, load, conditions, below, other):
    c = cooling(**kind, below_minimum=below, other_load_tons=other, chilled_pump_control="constant")
    p = plant.cooling_power(c, 100.0, load, 0.0, **weather(conditions))
    for item in dataclasses.fields(p):
        assert getattr(p, item.name) == 0.0, item.name


@pytest.mark.invariant
def test_rounding_starts_nothing():
    c = cooling(chilled_pump_control="constant", below_minimum="hold")
    for load in (0.0, -3.0, 1e-10):
        p = plant.cooling_power(c, 100.0, load, 1.0, **RATED)
        assert p.compressor_kw == p.pump_tower_kw == p.units_on == 0.0


@pytest.mark.invariant
def test_capacity_limits():
    dx = cooling(type="direct_expansion", lockout_f=45.0)
    assert plant.cooling_capacity_kbtuh(dx, 20.0, 44.9, 40.0, 60.0) == 0.0
    assert plant.cooling_capacity_kbtuh(dx, 20.0, 45.0, 40.0, 60.0) > 240.0
    locked = plant.cooling_power(dx, 20.0, 50.0, 1.0, 44.9, 40.0, 60.0)
    assert locked.compressor_kw == 0.0
    assert locked.unserved_kbtuh == 50.0
    # held within the stated limits
    for inside, outside in (((95.0, 57.0), (95.0, 40.0)), ((95.0, 77.0), (95.0, 90.0)), ((60.0, 67.0), (46.0, 67.0))):
        values = [plant.cooling_capacity_kbtuh(dx, 20.0, oat, 40.0, wb) for oat, wb in (inside, outside)]
        assert values[0] == values[1]
    assert plant.cooling_capacity_kbtuh(cooling(type="purchased"), None, **RATED) == np.inf
    assert plant.cooling_capacity_kbtuh(cooling(type="none"), None, **RATED) == 0.0
    shared = cooling(other_load_tons=60.0, other_load_zero_f=55.0)
    assert plant.cooling_capacity_kbtuh(shared, 100.0, **RATED) == pytest.approx(480.0)
    assert plant.other_load_kbtuh(shared, np.array([30.0, 55.0, 75.0, 95.0])) == pytest.approx([0, 0, 360, 720])
    # a plant full of other load leaves nothing
    full = cooling(other_load_tons=150.0)
    p = plant.cooling_power(full, 100.0, 100.0, 1.0, **RATED)
    assert p.unserved_kbtuh == pytest.approx(100.0)
    assert p.compressor_kw == pytest.approx(0.0, abs=1e-9)


heat_types = st.sampled_from(
    [
        {"type": "boiler", "boiler_curve": "modulating"},
        {"type": "boiler", "boiler_curve": "non_condensing"},
        {"type": "electric"},
        {"type": "heat_pump"},
        {"type": "purchased"},
    ]
)


@pytest.mark.invariant
@given(
    heat_types,
    st.lists(st.floats(0.0, 700.0), min_size=2, max_size=12),
    st.floats(-20.0, 70.0),
    st.sampled_from(["constant", "variable"]),
    st.floats(0.0, 0.9),
)
def test_more_heat_never_takes_less(kind, loads, oat, pump, least):
    h = heating(**kind, pump_control=pump, minimum_plr_frac=least)
    loads = np.sort(np.array([0.0, *loads]))
    p = plant.heating_power(h, 500.0, loads, 1.0, oat)
    for item in dataclasses.fields(p):
        values = getattr(p, item.name)
        assert values.shape == loads.shape
        assert np.isfinite(values).all()
        assert values.min() >= 0.0
        assert np.diff(values).min() >= -1e-9, item.name
    # no source but a heat pump gives more heat than it takes
    taken = p.electric_kw * KBTU_PER_KWH + p.fuel_thermh * 100.0 + p.purchased_kbtuh
    if kind["type"] != "heat_pump":
        assert (taken >= (loads - p.unserved_kbtuh) * (1.0 - 1e-9) - 1e-9).all()
    off = plant.heating_power(h, 500.0, loads, 0.0, oat)
    for name in ("electric_kw", "fuel_thermh", "purchased_kbtuh", "pump_kw"):
        assert (getattr(off, name) == 0.0).all()
    assert (off.unserved_kbtuh == loads).all()


@pytest.mark.invariant
@given(heat_types, st.floats(0.0, 600.0), st.floats(-20.0, 70.0))
def test_heat_is_continuous_in_load(kind, load, oat):
    h = heating(**kind)
    p = plant.heating_power(h, 500.0, np.array([load, load + 1e-6]), 1.0, oat)
    for name in ("electric_kw", "fuel_thermh", "purchased_kbtuh", "pump_kw"):
        # slopes are below 10 per kBtu/h
        assert abs(np.diff(getattr(p, name))[0]) < 1e-5


@pytest.mark.invariant
def test_no_capacity_serves_nothing():
    p = plant.heating_power(heating(), 0.0, 10.0, 1.0, 30.0)
    assert p.unserved_kbtuh == 10.0
    assert p.fuel_thermh == p.pump_kw == 0.0
    assert plant.heating_power(heating(type="none"), None, 10.0, 1.0, 30.0).unserved_kbtuh == 10.0
    q = plant.cooling_power(cooling(), 0.0, 10.0, 1.0, **RATED)
    assert q.unserved_kbtuh == 10.0
    assert q.compressor_kw == q.pump_tower_kw == 0.0
    assert plant.cooling_power(cooling(type="none"), None, 10.0, 1.0, **RATED).unserved_kbtuh == 10.0


@pytest.mark.invariant
@pytest.mark.parametrize(
    "kind",
    [
        {"chiller_set": "air_cooled_below_150_ton", "units": 2},
        {"chiller_set": "water_cooled_from_600_ton", "units": 3, "other_load_tons": 30.0},
        {"type": "direct_expansion", "units": 2},
        {"type": "purchased"},
        {"type": "none"},
    ],
)
def test_scalars_equal_arrays_of_cooling(kind):
    c = cooling(**kind)
    generator = np.random.default_rng(7)
    load = generator.uniform(-50.0, 1400.0, (5, 3))
    oat = generator.uniform(30.0, 105.0, (5, 1))
    running = np.array([1.0, 0.0, 1.0])
    whole = plant.cooling_power(c, 100.0, load, running, oat, oat - 8.0, 62.0)
    room = plant.cooling_capacity_kbtuh(c, 100.0, oat, oat - 8.0, 62.0)
    for i, j in np.ndindex(load.shape):
        one = plant.cooling_power(c, 100.0, load[i, j], running[j], oat[i, 0], oat[i, 0] - 8.0, 62.0)
        for item in dataclasses.fields(one):
            assert getattr(one, item.name) == pytest.approx(getattr(whole, item.name)[i, j], rel=1e-12, abs=1e-12)
        assert plant.cooling_capacity_kbtuh(c, 100.0, oat[i, 0], oat[i, 0] - 8.0, 62.0) == room[i, 0]


@pytest.mark.invariant
@pytest.mark.parametrize("kind", ["boiler", "electric", "heat_pump", "purchased", "none"])
def test_scalars_equal_arrays_of_heating(kind):
    h = heating(type=kind)
    generator = np.random.default_rng(8)
    load = generator.uniform(-50.0, 600.0, (6, 4))
    oat = generator.uniform(-20.0, 70.0, (6, 1))
    enabled = np.array([1.0, 0.0, 1.0, 1.0])
    whole = plant.heating_power(h, 500.0, load, enabled, oat)
    for i, j in np.ndindex(load.shape):
        one = plant.heating_power(h, 500.0, load[i, j], enabled[j], oat[i, 0])
        for item in dataclasses.fields(one):
            assert getattr(one, item.name) == pytest.approx(getattr(whole, item.name)[i, j], rel=1e-12, abs=1e-12)


@pytest.mark.invariant
@pytest.mark.parametrize("call", ["cooling", "heating"])
def test_unknown_types_are_named(call):
    with pytest.raises(InputError, match="got 'ice'"):
        if call == "cooling":
            # replace() does not check choices, as little as a hand-made record would
            plant.cooling_power(dataclasses.replace(cooling(), type="ice"), 10.0, 5.0, 1.0, **RATED)
        else:
            plant.heating_power(plant.HeatSource(type="ice"), 10.0, 5.0, 1.0, 40.0)


# --- data and words -------------------------------------------------------------------
@pytest.mark.invariant
@pytest.mark.parametrize("name", list(plant.curves()))
def test_each_curve_is_complete_and_behaves(name):
    curve = plant.curves()[name]
    assert curve.source and curve.table
    assert curve.relative(curve.x_rated, curve.y_rated) == 1.0
    x = np.linspace(*curve.x_range, 40)
    if curve.form == "biquadratic":
        assert len(curve.coefficients) == 6
        value = curve.relative(x[:, None], np.linspace(*curve.y_range, 40)[None, :])
        assert 0.5 < value.min() and value.max() < 1.7
        if "eir" in name:
            assert np.diff(value, axis=1).min() > 0.0  # hotter outdoors never helps
        assert curve.relative(x[0] - 20.0, curve.y_range[1] + 50.0) == curve.relative(x[0], curve.y_range[1])
    else:
        value = curve.relative(x)
        assert value.min() >= 0.0 and value.max() == pytest.approx(1.0)


@pytest.mark.invariant
def test_descriptions_hold_the_equation():
    for name, curve in plant.curves().items():
        text = plant.curve_description(name)
        assert curve.title in text and curve.source in text and "held within" in text
        # the printed equation, evaluated, is the curve
        equation = text.removeprefix(curve.title + ": ").split(";")[0].replace("^", "**")
        x, y = 0.5 * sum(curve.x_range), 0.5 * sum(curve.y_range or (0.0, 0.0))
        printed = eval(equation, {"__builtins__": {}}, {"X": x, "Y": y})
        assert printed == pytest.approx(curve.published(x, y))


@pytest.mark.invariant
def test_curves_of_a_plant():
    assert plant.plant_curve_names(cooling(), heating(), preheat(type="gas_furnace")) == (
        "chiller_water_cooled_300_to_600_ton_eir_f_t", "chiller_water_cooled_300_to_600_ton_cap_f_t",
        "chiller_water_cooled_300_to_600_ton_eir_f_plr",
        "boiler_modulating", "furnace_atmospheric", "pump_variable",
    )  # fmt: skip
    assert plant.plant_curve_names(cooling(type="direct_expansion"), heating(type="electric"), preheat()) == (
        "dx_cap_f_t", "dx_eir_f_t", "dx_eir_f_plr",
    )  # fmt: skip
    assert plant.plant_curve_names(cooling(type="purchased"), heating(type="none")) == ()
