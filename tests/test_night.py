"""Setback and warm-up nights."""

import dataclasses
from pathlib import Path

import numpy as np
import pytest
from builders import PLAIN, project_of, unit_of, weather_of, zones_with
from hypothesis import strategies as st
from laws import law

from binestimator.errors import InputError
from binestimator.estimate import estimate, off_energy, size_unit
from binestimator.hours import build_conditions
from binestimator.inputs.read import project_from_mapping
from binestimator.model.build import build_unit
from binestimator.model.loads import zone_loads
from binestimator.model.night import NightDuct, run_nights, running_share
from binestimator.model.night_rooms import heat_capacity_btu_f, nights
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
    # in the middle of the longest nights every zone is at 60 degF: heat is UA x 60, as far
    # as 30 % of the design airflow at 25 F above the room, or the coil, gives it
    hours = [(start + length // 2) % 8760 for start, length in nights(cold.fan_on) if length > 40]
    ua = still.ua_btuh_f[hours[0]]
    most = np.minimum(z.reheat_btuh, still.fs * 0.3 * z.max_cfm * 25.0)
    # 1e-3: rooms that are short creep towards their balance for days
    assert night.heat_kbtuh[hours] == pytest.approx(
        float(np.minimum(ua * 60.0, most) @ z.multiplier) / 1000.0, rel=1e-3
    )


@pytest.mark.crosscheck
def test_hours_of_a_night_by_hand():
    """One room from 70 degF at 20 degF outdoors without gains: T falls to OAT + (T - OAT) exp(-UA/C) each
    hour; below 60 degF heat brings it back to 60, C = 24 h x UA / area x area."""
    zone = [
        {"name": "Room", "area_ft2": 1000, "ua_btuh_f": 200, "max_cfm": 2000, "reheat_kbtuh": 100, "index_share": 1.0}
    ]
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
            assert np.isfinite(values).all() and np.min(values) >= -1e-9, (changes, field.name)
            # Only heat that the morning lacks, and its energy, falls into running hours.
            if np.shape(values) == conditions.oat_f.shape and field.name in (
                "running_frac",
                "fan_kw",
                "cool_kbtuh",
                "cooling_kw",
            ):
                assert not values[conditions.fan_on > 0].any()
        assert np.all(night.running_frac <= 1.0 + 1e-12)
        assert not np.any((night.heat_kbtuh > 0) & (night.cool_kbtuh > 0))


@pytest.mark.crosscheck
def test_standing_loss_of_an_enabled_plant_counts_once():
    """With the plant enabled while the unit is off its standing loss is that of the hours off; the night
    adds the heat of the rooms less that of the fan, and no second loss. A source of COP 1 at any
    temperature: heat in, heat out."""
    source = {"type": "heat_pump", "cop_points": [[0, 1], [60, 1]], "capacity_points": [[0, 2], [60, 2]]}
    changes = {
        "heating": {**source, "enabled_unoccupied": True, "standing_loss_kbtuh": 10},
        "air_handler": {"supply_heating": "none"},
    }
    project, unit, conditions = office(**changes)
    night = block(project, unit, conditions)
    off = off_energy(unit, conditions)["heating_kw"]
    hours_off = float((conditions.fan_on == 0).sum())
    assert off.sum() * KBTU_PER_KWH == pytest.approx(10.0 * hours_off)
    heats = (night.heat_kbtuh > night.cool_kbtuh) & (conditions.fan_on == 0.0)
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


# --- what the morning lacks, duct pressure, modes -------------------------------------------------


ROOM = [{"name": "Room", "area_ft2": 1000, "ua_btuh_f": 200, "max_cfm": 2000, "reheat_kbtuh": 100, "index_share": 1.0}]


def cold_week(project, unit, conditions, oat_f=20.0):
    """The hours of the year at one outdoor temperature without gains."""
    cold = dataclasses.replace(conditions, oat_f=np.full(8760, oat_f))
    loads = zone_loads(unit, cold)
    still = dataclasses.replace(
        loads,
        gains_btuh=np.zeros_like(loads.gains_btuh),
        q_heat_btuh=loads.ua_btuh_f * (oat_f - loads.heat_f),
        q_cool_btuh=loads.ua_btuh_f * (oat_f - loads.cool_f),
    )
    return cold, still


def rooms_of(project, unit, conditions, loads):
    """Rooms behind a night block."""
    kept = {}
    run_nights(unit, conditions, loads, project.schedule, None, kept)
    return next(iter(kept.values()))


@pytest.mark.crosscheck
@pytest.mark.parametrize("tau", [6.0, 24.0, 80.0])
def test_a_building_decays_with_its_time_constant(tau):
    """One room off all night: T = OAT + (T0 - OAT) exp(-t / tau), infiltration of the off unit included (analytic)."""
    zone = [{**ROOM[0], "infiltration_cfm": 150}]
    project, unit, conditions = office(zone=zone, schedule={"room_time_constant_h": tau, "unoccupied_mode": "off"})
    cold, still = cold_week(project, unit, conditions)
    rooms = rooms_of(project, unit, cold, still)
    length = np.array([n for _, n in nights(cold.fan_on)])
    begin, end = rooms.begin_f[:, 0], rooms.end_f[:, 0]
    assert end == pytest.approx(20.0 + (begin - 20.0) * np.exp(-length / tau), rel=1e-9)
    assert end.max() < 70.0 and rooms.lowest_f[0] == end.min()


@pytest.mark.invariant
def test_an_uneven_building_loses_heat_at_first_by_its_time_constant():
    """Outer rooms cool faster and inner ones slower than the building, whose heat content falls by 1 / tau at first."""
    project, unit, conditions = office()
    z, fs = unit.zones, 1.08
    capacity = heat_capacity_btu_f(unit, 24.0, fs)
    loss = ((z.ua_btuh_f + fs * z.infiltration_cfm) * z.multiplier).sum()
    assert (capacity * z.multiplier).sum() / loss == pytest.approx(24.0, rel=1e-12)


@pytest.mark.crosscheck
def test_heat_missing_in_the_morning_is_made_up_and_the_balance_closes():
    """Room, supply air and full coil in small steps until the setpoint is met: heat beyond the day's own. 0.5 %:
    quarter-minute steps, and the model spreads the heat of the last hour over all of it."""
    zone = [{**ROOM[0], "min_cfm": 400.0, "reheat_kbtuh": 16}]
    project, unit, conditions = office(
        zone=zone, air_handler={"supply_heating": "none", "duct_gain_f": 0.0}, schedule={"warmup_hours": 0}
    )
    cold, still = cold_week(project, unit, conditions, 40.0)
    night = run_nights(unit, cold, still, project.schedule)
    capacity, ua, air = 24.0 * 200.0, 200.0, still.fs * 400.0
    start = next((s + n) % 8760 for s, n in nights(cold.fan_on) if n == 13 and 1000 < s < 4000)
    own = air * 15.0 + ua * 30.0  # reheat at 70 degF from 55 degF supply and the envelope's loss
    coil = min(16000.0, air * 40.0)
    assert coil > own
    room, given, cold_hours, step = max(40.0 + 30.0 * np.exp(-13.0 / 24.0), 60.0), 0.0, 0.0, 1.0 / 240.0
    start_f = room
    while room < 70.0:
        room += step * (ua * (40.0 - room) + air * (55.0 - room) + coil) / capacity
        given += step * (coil - own)
        cold_hours += step * max(70.0 - room - 0.5, 0.0)
    assert night.late_heat_kbtuh[(start + np.arange(11)) % 8760].sum() == pytest.approx(given / 1000.0, rel=5e-3)
    ends = [(s + n) % 8760 for s, n in nights(cold.fan_on)]
    assert night.starts == len(ends) and night.start_miss_f[0] == pytest.approx(
        (70.0 - start_f) * len(ends), rel=0.2
    )  # short nights are warmer
    # 2 %: the hour in which the room gets ready counts with the mean of its ends
    short = dataclasses.replace(
        cold, fan_on=np.where(np.isin(np.arange(8760), (start + np.arange(-13, 0)) % 8760), 0.0, 1.0)
    )
    alone = run_nights(unit, short, still, project.schedule)
    assert alone.late_cold_degree_hours[0] == pytest.approx(cold_hours, rel=2e-2)
    assert night.start_miss_f[0] > 0.0 and night.cold_zone_hours > 0.0


@pytest.mark.invariant
def test_no_more_heat_than_the_source_has():
    """A heat source far too small: room heat stays below its output, all of it is paid, and the rest counts as cold."""
    small = {"type": "electric", "capacity_kbtuh": 20.0}
    project, unit, conditions = office(heating=small, air_handler={"supply_heating": "none"})
    night, plenty = block(project, unit, conditions), block(*office(air_handler={"supply_heating": "none"}))
    off = conditions.fan_on == 0.0
    assert night.heat_kbtuh[off].max() <= 20.0 + 1e-9
    assert night.start_miss_f.sum() > plenty.start_miss_f.sum()
    assert night.cold_zone_hours > plenty.cold_zone_hours
    paid = (night.heating_kw + night.fan_kw) * KBTU_PER_KWH
    assert np.all(paid[off] >= night.heat_kbtuh[off] - 1e-6)


@pytest.mark.invariant
def test_longer_warm_up_and_more_source_never_miss_more():
    cold = []
    for hours in (0, 1, 2, 4):
        project, unit, conditions = office(schedule={"warmup_hours": hours}, air_handler={"supply_heating": "none"})
        cold.append(block(project, unit, conditions).cold_zone_hours)
    assert cold == sorted(cold, reverse=True)
    by_source = []
    for capacity in (20.0, 60.0, 200.0, 500.0):
        project, unit, conditions = office(heating={"capacity_kbtuh": capacity}, air_handler={"supply_heating": "none"})
        by_source.append(block(project, unit, conditions).cold_zone_hours)
    assert by_source == sorted(by_source, reverse=True)


@pytest.mark.invariant
def test_off_gives_nothing_at_night_and_the_morning_tells():
    project, unit, conditions = office(schedule={"unoccupied_mode": "off"})
    night, setback = block(project, unit, conditions), block(*office())
    off = conditions.fan_on == 0.0
    for name in ("heat_kbtuh", "cool_kbtuh", "fan_kw", "fuel_thermh", "heating_kw", "cooling_kw"):
        assert not getattr(night, name)[off].any()
    assert night.lowest_f.min() < setback.lowest_f.min()
    assert night.start_miss_f.sum() > setback.start_miss_f.sum()
    assert night.late_heat_kbtuh.sum() > setback.late_heat_kbtuh.sum()


@pytest.mark.invariant
def test_duct_pressure_of_the_candidate_acts_at_night_or_stands_at_design():
    zones = [{**zone, "reheat_kbtuh": 60} for zone in PLAIN["zone"]]
    ids, results = ("sat_outdoor_air", "sat_demand", "sat_demand_dsp_demand", "dsp_demand"), {}
    for mode in ("strategy", "design"):
        project = project_of(
            schedule={"night_dsp": mode},
            zone=zones,
            bins={"rows": "mean"},
            project={"default_candidates": False},
            candidate=[{"id": id_} for id_ in ("as_found", *ids)],
        )
        results[mode] = estimate(project, weather_of())
    at_design, free = results["design"].held.nights, results["strategy"].held.nights
    for id_ in ids:
        # Held at design all candidates have the same nights; supply temperature resets never have any part in them.
        assert at_design[id_].fan_kw.sum() == at_design["as_found"].fan_kw.sum()
        assert free[id_].cooling_kw.sum() == pytest.approx(
            free["as_found"].cooling_kw.sum(), rel=0.05
        )  # fan heat, and air that the duct brings
    assert free["sat_demand"].fan_kw.sum() == free["as_found"].fan_kw.sum()
    assert free["dsp_demand"].fan_kw.sum() < 0.98 * free["as_found"].fan_kw.sum()


@pytest.mark.invariant
def test_a_low_fixed_pressure_brings_less_air_for_warm_up():
    duct = lambda inwc: NightDuct(
        setpoint_inwc=lambda oat_f, cfm: np.full(1, inwc), override_frac=0.0, override_inwc=0.0, resets_pressure=False
    )
    project, unit, conditions = office()
    loads = zone_loads(unit, conditions)
    missed = [
        run_nights(unit, conditions, loads, project.schedule, duct(inwc)).start_miss_f.sum() for inwc in (1.5, 0.5, 0.1)
    ]
    assert missed[0] <= missed[1] <= missed[2] and missed[0] < missed[2]


@pytest.mark.invariant
def test_a_standing_loss_that_no_plant_has_is_refused():
    with pytest.raises(InputError, match="standing_loss_kbtuh.*no standing loss"):
        project_of(heating={"type": "purchased", "standing_loss_kbtuh": 20.0})
    project_of(heating={"type": "boiler", "standing_loss_kbtuh": 20.0})


# --- laws over drawn buildings ---------------------------------------------------------------------

BUILDINGS = st.fixed_dictionaries(
    {
        "reheat": st.sampled_from([2.0, 8.0, 20.0, 60.0]),
        "source": st.sampled_from([15.0, 40.0, 120.0, 500.0]),
        "tau": st.sampled_from([4.0, 24.0, 90.0]),
        "warmup": st.integers(0, 5),
        "mode": st.sampled_from(["setback", "off"]),
        "law": st.sampled_from(["single_maximum", "dual_maximum"]),
        "coil": st.sampled_from(["hold", "none"]),
        "max_cfm": st.sampled_from([3000.0, 9000.0]),
    }
)


def drawn(b, **changes):
    """Project, unit, conditions and loads of a drawn building; ``changes`` to what was drawn."""
    b = b | changes
    project, unit, conditions = office(
        zone=zones_with(reheat_kbtuh=b["reheat"], heating_law=b["law"]),
        schedule={"room_time_constant_h": b["tau"], "warmup_hours": b["warmup"], "unoccupied_mode": b["mode"]},
        heating={"capacity_kbtuh": b["source"]},
        air_handler={"supply_heating": b["coil"], "max_cfm": b["max_cfm"]},
    )
    return project, unit, conditions, zone_loads(unit, conditions)


@pytest.mark.crosscheck
@law(4, 12, BUILDINGS)
def test_heat_of_nights_and_mornings_is_kept(b):
    """What a room has gained from stop to start is what it was given, its gains and what came through its envelope,
    with the mean temperature of each hour by the analytic solution; what a morning makes up is no more than was
    missing."""
    project, unit, c, loads = drawn(b)
    rooms = rooms_of(project, unit, c, loads)
    spans = nights(c.fan_on)
    for k in range(0, len(spans), 29):
        start, length = spans[k]
        room, total = rooms.begin_f[k].copy(), np.zeros(len(unit.zones))
        for h in (start + np.arange(length)) % 8760:
            ua = np.maximum(loads.ua_btuh_f[h], 1e-9)
            put = loads.gains_btuh[h] + rooms.heat[h] - rooms.cool[h]
            rest = c.oat_f[h] + put / ua
            fade = ua / rooms.capacity
            mean = rest + (room - rest) * -np.expm1(-fade) / fade
            total += put + ua * (c.oat_f[h] - mean)
            room = rest + (room - rest) * np.exp(-fade)
        # 1e-6: rooms without envelope have a rest of 1e9 degF and more in this form
        held = np.max(np.abs(loads.gains_btuh)) * 1e-6 * length
        assert np.all(
            np.abs(rooms.capacity * (rooms.end_f[k] - rooms.begin_f[k]) - total) <= 1e-3 * np.abs(total) + held + 1.0
        )
    made_up = (rooms.lack_f - rooms.handed_f) * rooms.capacity
    assert np.all(made_up >= -1e-6)
    assert np.all(rooms.late_heat.sum(axis=0) <= made_up.sum(axis=0) * (1.0 + 1e-9) + 1e-6)
    assert np.all(rooms.late_coil >= rooms.late_heat - 1e-9)
    assert np.all(rooms.late_coil <= unit.zones.reheat_btuh * (1.0 + 1e-9))
    source = 1000.0 * b["source"]
    assert (rooms.late_coil @ unit.zones.multiplier).max(initial=0.0) <= source * (1.0 + 1e-9)
    if b["coil"] == "none":
        assert (rooms.heat @ unit.zones.multiplier).max() <= source * (1.0 + 1e-9)
    block = run_nights(unit, c, loads, project.schedule)
    assert np.all(block.late_cold_degree_hours >= 0.0) and np.isfinite(block.lowest_f).all()
    energies = block.heating_kw, block.fuel_thermh, block.purchased_heating_kbtuh
    late = block.late_heat_kbtuh > 1e-6
    assert np.all(sum(energies)[late] > 0.0)
    # a boiler of 80 % at most as good as its rating (1e-6: rounding)
    assert 100.0 * block.fuel_thermh[late].sum() >= block.late_heat_kbtuh[late].sum() * (1.0 - 1e-6)


@pytest.mark.invariant
@law(
    4,
    12,
    BUILDINGS.filter(lambda b: b["mode"] == "setback"),
    st.sampled_from([("warmup", 1), ("source", 2.0), ("reheat", 2.0), ("max_cfm", 1.5)]),
)
def test_more_warm_up_or_plant_never_misses_more(b, more):
    """Cold at the start over the building, in heat; a tenth of a percent where zones share a source that is short."""
    name, step = more
    larger = {name: b[name] + step if name == "warmup" else b[name] * step}
    missing = []
    for project, unit, c, loads in (drawn(b), drawn(b, **larger)):
        rooms = rooms_of(project, unit, c, loads)
        missing.append(float((rooms.lack_f * rooms.capacity * unit.zones.multiplier).sum()))
    assert missing[1] <= missing[0] * 1.001 + 1.0


@pytest.mark.invariant
def test_what_a_day_does_not_make_up_the_next_night_starts_with():
    """Nothing heats: rooms come nearer to outdoors from day to day, and what is missing grows with the length of the
    cold."""
    zone = [{**ROOM[0], "min_cfm": 100.0, "reheat_kbtuh": 4.0}]
    project, unit, conditions = office(zone=zone, schedule={"unoccupied_mode": "off", "room_time_constant_h": 90})
    cold, still = cold_week(project, unit, conditions)
    rooms = rooms_of(project, unit, cold, still)
    assert rooms.handed_f.max() > 0.1
    assert rooms.begin_f.min() < 70.0 - 0.1
    np.testing.assert_allclose(70.0 - rooms.begin_f, np.roll(rooms.handed_f, 1, axis=0), atol=1e-4)  # by rounds


@pytest.mark.invariant
def test_fan_does_not_bring_more_air_than_it_has():
    """A fan far too small for all zones at once: it runs the whole hour and rooms get what its air carries."""
    zones = zones_with(reheat_kbtuh=60)
    project, unit, c = office(zone=zones, air_handler={"max_cfm": 1500.0})
    loads = zone_loads(unit, c)
    rooms = rooms_of(project, unit, c, loads)
    air = (
        rooms.heat / np.maximum(rooms.heat_cap, 1e-9) * rooms.heat_flow + rooms.cool / rooms.cool_cap * rooms.cool_flow
    ) @ unit.zones.multiplier
    assert 1500.0 * (1.0 - 1e-9) <= air.max() <= 1500.0 * (1.0 + 1e-9)


@pytest.mark.invariant
def test_what_a_morning_lacks_is_made_up_with_air_that_the_fan_has_left():
    """Zones that open for heat bring it with more air: little where the fan has little more than the hour's own,
    and all that rooms take where it has enough."""
    zone = [{**ROOM[0], "min_cfm": 400.0, "reheat_kbtuh": 40, "heating_law": "dual_maximum", "heat_max_cfm": 1200.0}]
    found = []
    for max_cfm in (450.0, 600.0, 2000.0):
        project, unit, conditions = office(
            zone=zone, air_handler={"supply_heating": "none", "max_cfm": max_cfm}, outdoor_air={"minimum_cfm": 100},
            schedule={"warmup_hours": 0},
        )  # fmt: skip
        found.append(run_nights(unit, *cold_week(project, unit, conditions, 40.0), project.schedule))
    heat, cold = ([value(n) for n in found] for value in (
        lambda n: float(n.late_heat_kbtuh.sum()), lambda n: float(n.late_cold_degree_hours[0])
    ))  # fmt: skip
    assert 0.0 < heat[0] < 0.5 * heat[1] < heat[1] < 0.9 * heat[2]
    assert cold[0] > 1.2 * cold[1] > 2.0 * cold[2] > 0.0


@pytest.mark.invariant
def test_overridden_duct_pressure_brings_its_own_air_at_night():
    """An operators' override to a very low pressure does not warm rooms with the air of the strategy's."""
    project, unit, conditions = office()
    loads = zone_loads(unit, conditions)
    duct = lambda share: NightDuct(
        setpoint_inwc=lambda oat_f, cfm: np.full(1, 1.5), override_frac=share, override_inwc=0.05, resets_pressure=False
    )
    missed = [
        run_nights(unit, conditions, loads, project.schedule, duct(share)).start_miss_f.sum()
        for share in (0.0, 0.5, 1.0)
    ]
    assert missed[0] < missed[1] < missed[2]


@pytest.mark.invariant
def test_an_overridden_duct_pressure_takes_its_share_of_the_fan_at_night():
    """Two pressures that bring all the air: the fan takes the mean of what it takes at each, by their shares."""
    project, unit, conditions = office()
    loads = zone_loads(unit, conditions)

    def fan_kwh(share):
        duct = NightDuct(
            setpoint_inwc=lambda oat_f, cfm: np.full(1, 2.5),
            override_frac=share,
            override_inwc=4.0,
            resets_pressure=False,
        )
        return float(run_nights(unit, conditions, loads, project.schedule, duct).fan_kw.sum())

    low, mixed, high = fan_kwh(0.0), fan_kwh(0.3), fan_kwh(1.0)
    assert low < high
    assert mixed == pytest.approx(0.7 * low + 0.3 * high, rel=1e-9)


@pytest.mark.invariant
def test_without_nights_the_lowest_setpoint_stands_for_room_temperatures():
    project, unit, conditions = office(schedule={"unoccupied_mode": "continuous"})
    night = block(project, unit, conditions)
    assert night.starts == 0 and not night.start_miss_f.any() and (night.lowest_f == 60.0).all()


@pytest.mark.crosscheck
def test_warm_up_takes_the_rooms_up_in_even_steps_that_end_at_the_occupied_setpoint():
    """Four hours from 60 to 70 degF: rooms end them at 62.5, 65, 67.5 and 70, and each hour's heat is that of the room
    between the two (analytic: one room, 30 degF outside, no gains)."""
    project, unit, conditions = office(
        zone=[{**ROOM[0], "reheat_kbtuh": 200}],
        group=[{"name": "office", "heating_setpoint_f": 70, "heating_unoccupied_f": 60}],
        schedule={"warmup_hours": 4, "room_time_constant_h": 24.0},
    )
    cold, still = cold_week(project, unit, conditions, 30.0)
    night = run_nights(unit, cold, still, project.schedule)
    # The week-end: rooms have long been at the setback setpoint.
    start, length = max(nights(cold.fan_on), key=lambda span: span[1])
    before = [(start + length - k) % 8760 for k in (5, 4, 3, 2, 1)]
    ua, capacity = 200.0, 24.0 * 200.0
    gain = -np.expm1(-ua / capacity) / ua
    steps = [60.0, 60.0, 62.5, 65.0, 67.5, 70.0]
    by_hand = [(end - (began + gain * ua * (30.0 - began))) / gain for began, end in zip(steps, steps[1:])]
    assert night.heat_kbtuh[before] == pytest.approx(np.array(by_hand) / 1000.0, rel=1e-9)
    assert night.start_miss_f[0] == pytest.approx(0.0, abs=1e-9)


@pytest.mark.invariant
def test_at_night_the_unit_heats_with_its_own_coil_where_it_has_one():
    """Electric terminals beside a gas furnace in the unit: gas where its coil holds supply air, else electricity."""
    furnace = {"preheat": {"type": "gas_furnace"}, "air_handler": {"supply_heating": "hold"}}
    fuel, power = [], []
    for changes in (furnace, {"air_handler": {"supply_heating": "none"}}):
        project, unit, conditions = office(heating={"type": "electric"}, **changes)
        night, off = block(project, unit, conditions), conditions.fan_on <= 0.0
        fuel.append(float(night.fuel_thermh[off].sum()))
        power.append(float(night.heating_kw[off].sum()))
    assert fuel[0] > 1.0 and fuel[1] == 0.0
    assert power[0] == 0.0 and power[1] > 1.0


@pytest.mark.crosscheck
def test_a_plant_works_as_long_as_the_unit_or_its_capacity_asks_for():
    """A quarter of the hour for small loads, half for half of its capacity, all of it at most; not at all without."""
    share = running_share(np.full(5, 0.25), np.array([1.0, 50.0, 200.0, 0.0, 10.0]), np.array([100.0] * 4 + [0.0]))
    assert share.tolist() == [0.25, 0.5, 1.0, 0.0, 1.0]
