"""Supply air that cannot be held: the same whatever the setpoint, at the root of the balances, nothing beyond a plant.

The roots here are found by bisection over the whole balance of a row, written again from the equations of
binestimator/README.md (handbook balances of room, mixing, fan and coil); they call neither the steps nor the terminals
of the program.
"""

from __future__ import annotations

import dataclasses
from dataclasses import fields
from functools import cache
from pathlib import Path

import numpy as np
import pytest
from accuracy import generated
from builders import conditions_of, project_of, random_conditions, unit_of, weather_of, zones_with
from hypothesis import given
from hypothesis import strategies as st

from binestimator.estimate import Rows, size_unit
from binestimator.hours import build_conditions
from binestimator.inputs.read import project_from_mapping
from binestimator.model.air_handler import required_oa_cfm
from binestimator.model.build import build_unit
from binestimator.model.fan import leakage_cfm
from binestimator.model.floating import floating_down_f, floating_up_f
from binestimator.model.loads import zone_loads
from binestimator.model.plant import cooling_capacity_kbtuh
from binestimator.model.system import (
    Floating,
    RowState,
    balance_error_btuh,
    evaluate,
    floats,
    moisture_error_btuh,
    supply_heating_mode,
    zones_of,
)
from binestimator.model.terminals import available_flow_cfm, rationed_dsp_inwc, requested_flow_cfm
from binestimator.moist_air import saturation_humidity_ratio
from binestimator.strategies.choose import dsp_of_sat
from binestimator.weather import find_weather, read_weather

# --- projects -------------------------------------------------------------------------------------

SHORT = {"capacity_tons": 14}
DX = {"type": "direct_expansion", "cycling_drying_loss_frac": 0.0}
CASES = {
    "no supply heating": {"air_handler": {"supply_heating": "none"}},
    "no supply heating, dual maximum": {
        "air_handler": {"supply_heating": "none"},
        "zone": zones_with(heating_law="dual_maximum", heat_min_cfm=700),
    },
    "no supply heating, position, blow-through": {
        "air_handler": {"supply_heating": "none"},
        "outdoor_air": {"control": "position", "minimum_cfm": 4500},
        "fan": {"arrangement": "blow_through"},
    },
    "no supply heating, stuck": {"air_handler": {"supply_heating": "none"}, "economizer": {"stuck_frac": 0.4}},
    "no supply heating, published curves": {
        "air_handler": {"supply_heating": "none"},
        "fan": {"part_load": "published_curves"},
    },
    "own setpoint": {
        "air_handler": {"supply_heating": "own_setpoint", "supply_heating_setpoint_f": 46.0},
        "economizer": {"type": "none"},
    },
    "lockout": {"cooling": {**DX, "lockout_f": 68}, "economizer": {"type": "differential_dry_bulb"}},
    "lockout, no economizer": {"cooling": {**DX, "lockout_f": 62}, "economizer": {"type": "none"}},
    "lockout, not integrated": {
        "cooling": {**DX, "lockout_f": 62},
        "economizer": {"type": "fixed_dry_bulb", "high_limit_f": 70, "integrated": False},
    },
    "short": {"cooling": SHORT},
    "short, stuck, blow-through": {
        "cooling": {"capacity_tons": 11},
        "economizer": {"stuck_frac": 0.3},
        "fan": {"arrangement": "blow_through"},
    },
    "short, other load": {
        "cooling": {"capacity_tons": 32, "other_load_tons": 22},
        "economizer": {"type": "fixed_enthalpy", "high_limit_f": 75},
    },
    "no cooling": {"cooling": {"type": "none"}, "economizer": {"type": "differential_enthalpy", "high_limit_f": 75}},
}
PRESSURES = {
    "fixed": {"strategy": "fixed", "setpoint_inwc": 1.5},
    "demand": {"strategy": "demand", "min_inwc": 0.3, "max_inwc": 1.5, "ignored_requests": 1},
    "airflow": {"strategy": "airflow", "points": [[30, 0.4], [100, 1.5]]},
}  # fmt: skip


@cache
def case(name: str, pressure: str):
    """Unit, pressure strategy, and running hours of Greensboro of a project."""
    changes = CASES[name]
    project = project_of(
        **changes, candidate=[{"id": "as_found"}, {"id": "x", "name": "x", "sat": "demand", "dsp": PRESSURES[pressure]}]
    )
    conditions = build_conditions(weather_of(), project)
    unit = build_unit(project, size_unit(project, conditions))
    record = next(c for c in project.candidates if c.id == "x").dsp
    return unit, dsp_of_sat(unit, record), Rows.of(unit, conditions)


def run(name: str, pressure: str, sat: float, pick=None, **more) -> tuple:
    unit, dsp, rows = case(name, pressure)
    c, loads = (rows.on, rows.loads) if pick is None else (rows.on.take(pick), rows.loads.take(pick))
    at = np.full(len(c.oat_f), float(sat))
    return unit, c, loads, evaluate(unit, c, loads, at, dsp(c, loads, at), dsp_of_sat=dsp, **more)


# --- the row does not see the setpoint -------------------------------------------------------------


def pairs_with(*pressures):
    """Every case under one of the pressure strategies and these in turn; the others as larger slices."""
    return [
        pytest.param(name, pressure, marks=() if (n + m) % len(pressures) == 0 else pytest.mark.slow)
        for n, name in enumerate(CASES)
        for m, pressure in enumerate(pressures)
    ]


PAIRS = pairs_with(*PRESSURES)


@pytest.mark.invariant
@pytest.mark.parametrize(("name", "pressure"), PAIRS)
def test_two_setpoints_out_of_reach_are_the_same_row(name, pressure):
    """Every column but the setpoint, to the last digit."""
    warm, cold = (65.0, 61.0) if "no supply" in name or name == "own setpoint" else (52.0, 55.0)
    _, _, _, a = run(name, pressure, warm)
    _, _, _, b = run(name, pressure, cold)
    away = lambda s: np.abs(s.sat_f - s.sat_set_f) > 0.0
    both = away(a) & away(b)
    assert both.sum() > 50
    for f in fields(RowState):
        if f.name != "sat_set_f":
            assert np.array_equal(getattr(a, f.name)[both], getattr(b, f.name)[both], equal_nan=True), f.name


@pytest.mark.invariant
@pytest.mark.parametrize("position", [False, True])
@pytest.mark.parametrize("dual", [False, True])
def test_any_cold_row_at_two_setpoints(dual, position):
    """Rows side by side, at outdoor temperatures drawn from a seed."""
    oat = np.concatenate([[-15.0, 0.0, 32.0, 35.0], np.random.default_rng(9).uniform(-15.0, 35.0, 300)])
    unit = unit_of(
        air_handler={"supply_heating": "none"},
        zone=zones_with(heating_law="dual_maximum" if dual else "single_maximum"),
        outdoor_air={"control": "position" if position else "flow", "minimum_cfm": 2500},
    )
    c = conditions_of(oat, glass_sun=0.0)
    loads = zone_loads(unit, c)
    ones = np.ones(len(oat))
    a, b = (evaluate(unit, c, loads, sat * ones, ones) for sat in (62.0, 66.0))
    cold = (a.sat_f < 61.9) & (b.sat_f < 61.9)
    assert cold.sum() > 200
    for f in fields(RowState):
        same = np.array_equal(getattr(a, f.name)[cold], getattr(b, f.name)[cold], equal_nan=True)
        assert f.name == "sat_set_f" or same, f.name


@pytest.mark.regression
def test_a_cold_hour_keeps_its_outdoor_air_at_any_setpoint():
    """12.9 degF outside, no supply heating, a held minimum: 55 and 65 degF are the same hour and the minimum is given.
    (With supply air worked out once more from each setpoint it was 7 and 38 % short, by the setpoint.)"""
    unit = unit_of(air_handler={"supply_heating": "none"}, outdoor_air={"minimum_cfm": 2400})
    c = conditions_of(12.9, glass_sun=0.0, people=0.3, lights=0.3, equipment=0.3)
    loads = zone_loads(unit, c)
    states = [evaluate(unit, c, loads, np.array([sat]), np.array([1.5])) for sat in (55.0, 65.0)]
    for s in states:
        assert s.sat_f[0] < 50.0
        # What five evaluations leave of the closing.
        assert s.oa_cfm[0] == pytest.approx(2400.0, rel=1e-6)
        assert s.oa_short[0] == 0.0
    assert states[0].reheat_kbtuh[0] == states[1].reheat_kbtuh[0]


# --- an independent root --------------------------------------------------------------------------


class Balance:
    """A row's balances by the equations of binestimator/README.md, at any supply temperature; arrays (R,)."""

    def __init__(self, unit, dsp, c, loads):
        self.unit, self.dsp, self.c, self.loads = unit, dsp, c, loads

    def air(self, sat):
        """Flow, fan rise and return air from rooms, fan and plenum."""
        u, z, q, c = self.unit, self.unit.zones, self.loads, self.c
        supply = (sat + u.air_handler.duct_gain_f)[:, None]
        on = ((c.oat_f < u.heating.enabled_below_f) & (u.heating.type != "none"))[:, None]
        drop = q.fs * (q.cool_f - supply)
        with np.errstate(divide="ignore", invalid="ignore"):
            cools = np.where(drop > 0.0, q.q_cool_btuh / drop, np.where(q.q_cool_btuh > 0.0, np.inf, 0.0))
        asked = np.minimum(np.maximum(cools, q.min_cfm), z.max_cfm)
        need = q.fs * q.min_cfm * (q.heat_f - supply) - q.q_heat_btuh
        ramp = np.clip(need / (q.ua_btuh_f + q.fs * q.min_cfm), 0.0, 1.0)
        low = q.min_cfm + ramp * np.maximum(z.heat_min_cfm - q.min_cfm, 0.0)
        heats = np.minimum(
            np.maximum(-q.q_heat_btuh / (q.fs * z.reheat_rise_max_f), low), np.maximum(z.heat_max_cfm, q.min_cfm)
        )
        asked = np.where(z.dual_maximum & z.has_reheat & on & (need > 0.0), heats, asked)
        setpoint = self.dsp(c, q, sat)
        fan, vd = u.fan, u.design_cfm
        leak = lambda p: u.air_handler.leakage_frac * vd * (p / fan.design_dsp_inwc) ** u.air_handler.leakage_exponent
        k_system = (fan.design_total_inwc - fan.design_dsp_inwc) / vd**2
        droop = (fan.shutoff_ratio - 1.0) * fan.design_total_inwc / vd**2
        least = fan.shutoff_ratio * fan.design_total_inwc * fan.minimum_speed_frac**2
        wanted = asked @ z.multiplier + leak(setpoint)
        p = np.maximum(setpoint, least - (droop + k_system) * wanted**2)
        passes = lambda p: np.minimum(asked, z.max_cfm * np.sqrt(p[:, None] / (u.index_dsp_inwc * z.index_share)))
        # The fan's ceiling by bisection of pressure.
        over = passes(p) @ z.multiplier + leak(p) > u.max_cfm
        low_p, high_p = np.zeros_like(p), p.copy()
        for _ in range(80 if over.any() else 0):
            middle = 0.5 * (low_p + high_p)
            above = passes(middle) @ z.multiplier + leak(middle) > u.max_cfm
            low_p, high_p = np.where(above, low_p, middle), np.where(above, middle, high_p)
        held = np.where(over, low_p, p)
        flow = passes(held)
        air = q.fs * flow
        coil = np.minimum(
            np.minimum(air * (q.heat_f - supply) - q.q_heat_btuh, z.reheat_btuh * on),
            air * np.maximum(q.heat_f + z.reheat_rise_max_f - supply, 0.0),
        )
        reheat = np.maximum(coil, 0.0)
        room = (q.gains_btuh + q.ua_btuh_f * c.oat_f[:, None] + air * supply + reheat) / (q.ua_btuh_f + air)
        total = flow @ z.multiplier + leak(held)
        stands = np.where(over, np.minimum(held, setpoint), setpoint)
        pressure = np.maximum(stands + k_system * total**2, least - droop * total**2)
        heat = self.fan_heat_kw(total, pressure)
        rise = 1000.0 * BTU_PER_WH * heat / (q.fs * total)
        back = ((flow * room) @ z.multiplier + leak(held) * sat + q.plenum_btuh / q.fs) / total
        if u.air_handler.duct_gain_from == "plenum":
            back = back - (flow @ z.multiplier) * u.air_handler.duct_gain_f / total
        return total, rise, back, reheat @ z.multiplier, pressure

    def fan_heat_kw(self, flow, pressure):
        fan = self.unit.fan
        rated = self.unit.motor_hp * HP_KW
        loss = 1.0 / fan.motor_efficiency_frac - 1.0

        def heat(v, dp):
            phi = np.minimum(v / self.unit.design_cfm / np.sqrt(dp / fan.design_total_inwc), 1.6)
            shaft = v * dp / (6356.0 * fan.efficiency_frac * (1.0 - fan.efficiency_droop * (1.0 - phi) ** 2)) * HP_KW
            out = shaft / fan.belt_efficiency_frac
            motor = out + rated * loss * (
                fan.motor_fixed_loss_frac + (1.0 - fan.motor_fixed_loss_frac) * (out / rated) ** 2
            )
            return motor if fan.motor_in_airstream else shaft

        if fan.part_load != "published_curves":
            return heat(flow, pressure)
        x = np.maximum(flow / self.unit.design_cfm, fan.curve_least_flow_frac)
        # 90.1-2022 table L4.2.3-1, variable speed with static-pressure reset.
        curve = 0.0408 + 0.0880 * x - 0.0729 * x**2 + 0.9437 * x**3
        return heat(self.unit.design_cfm, fan.design_total_inwc) * curve / (0.0408 + 0.0880 - 0.0729 + 0.9437)

    def least_share(self, flow):
        oa = self.unit.outdoor_air
        share = self.unit.oa_position_frac if oa.control == "position" else self.unit.oa_minimum_cfm / flow
        return np.minimum(share * self.c.occupied, oa.maximum_frac)

    def cold(self, sat):
        """Air that results, heated as far as the mode allows, above the supply temperature."""
        flow, rise, back, *_ = self.air(sat)
        stuck = self.unit.economizer.stuck_frac
        share = self.least_share(flow) if stuck is None else stuck
        mixed = back + share * (self.c.oat_f - back)
        if supply_heating_mode(self.unit) == "own_setpoint":
            mixed = np.maximum(mixed, self.unit.air_handler.supply_heating_setpoint_f)
        return mixed + rise - sat


HP_KW = 0.745699871582
BTU_PER_WH = 3.412141633


def down_roots(unit, dsp, c, loads, near):
    """Where mixed air, heated as far as the mode allows, gives itself: of several such temperatures the nearest to
    ``near``."""
    cold = lambda rows: Balance(unit, dsp, c.take(rows), loads.take(rows)).cold
    return nearest_fall(cold, near, np.arange(-40.0, 76.0, 0.5))


def up_roots(unit, dsp, c, loads, near):
    """Where the load of the coil, with a plant that holds every supply temperature, is what the real plant gives.

    Fan heat, and an economizer that opens as rooms warm, give some rows several such temperatures, each a steady state
    of the unit: the root nearest to ``near``, out of all that a scan by a quarter of a degree finds.
    """
    ample = dataclasses.replace(
        unit,
        cooling_tons=1e5,
        cooling=dataclasses.replace(
            unit.cooling,
            type="direct_expansion" if unit.cooling.type == "none" else unit.cooling.type,
            lockout_f=-100.0,
            other_load_tons=0.0,
            cycling_drying_loss_frac=0.0,
        ),
    )

    def excess_of(rows):
        some, its = c.take(rows), loads.take(rows)

        def excess(sat):
            s = evaluate(ample, some, its, sat, dsp(some, its, sat))
            assert not s.capacity_limited.any()
            gives = cooling_capacity_kbtuh(
                unit.cooling, unit.cooling_tons, some.oat_f, some.oawb_f, s.coil_entering_wb_f
            )
            # A load of rounding is none.
            return s.cooling_kbtuh - gives - 1e-7

        return excess

    return nearest_fall(
        excess_of,
        near,
        np.concatenate([np.arange(20.0, 52.0, 1.0), np.arange(52.0, 80.0, 0.25), np.arange(80.0, 180.0, 1.0)]),
    )


def nearest_fall(f_of, near, grid):
    """Where a function falls through nothing nearest to ``near``, by bisection: within a hundredth of a degree of it,
    else out of a scan. ``f_of`` gives the function of some rows. (R,)"""
    f = f_of(np.arange(len(near)))
    a, b = near - 0.01, near + 0.01
    far = np.flatnonzero(~((f(a) > 0.0) & (f(b) <= 0.0)))
    if len(far):
        scanned = f_of(far)
        above = np.array([scanned(np.full(len(far), s)) for s in grid]) > 0.0
        falls = above[:-1] & ~above[1:]
        assert falls.any(axis=0).all()
        k = np.where(falls, np.abs(0.5 * (grid[:-1] + grid[1:])[:, None] - near[far]), np.inf).argmin(axis=0)
        a[far], b[far] = grid[k], grid[k + 1]
    for _ in range(45):
        middle = 0.5 * (a + b)
        high = f(middle) > 0.0
        a, b = np.where(high, middle, a), np.where(high, b, middle)
    return 0.5 * (a + b)


END_USES = (
    "fan_kw",
    "return_fan_kw",
    "reheat_kbtuh",
    "preheat_kbtuh",
    "cooling_sensible_kbtuh",
    "cooling_latent_kbtuh",
    "cooling_kw",
    "pump_tower_kw",
    "heating_kw",
    "fuel_thermh",
    "cost_usd_h",
    "flow_cfm",
    "oa_cfm",
)


@pytest.mark.crosscheck
@pytest.mark.parametrize(("name", "pressure"), PAIRS)
def test_steps_agree_with_an_independent_root(name, pressure):
    """Each end use of the year within 0.1 %, from every fourth running hour: what the fixed number of steps leaves."""
    unit, dsp, rows = case(name, pressure)
    pick = np.arange(0, len(rows.on.oat_f), 4)
    floats_down = "no supply" in name or name == "own setpoint"
    sat = 63.0 if floats_down else 55.0
    mine = Floating(len(pick))
    _, c, loads, found = run(name, pressure, sat, pick, floating=mine)
    known, root = (mine.low_f, down_roots) if floats_down else (mine.high_f, up_roots)
    rows_of = np.flatnonzero(np.isfinite(known))
    assert len(rows_of) > 20
    exact = Floating(len(pick))
    exact.low_f, exact.high_f = mine.low_f.copy(), mine.high_f.copy()
    target = exact.low_f if floats_down else exact.high_f
    target[rows_of] = root(unit, dsp, c.take(rows_of), loads.take(rows_of), known[rows_of])
    wanted = run(name, pressure, sat, pick, floating=exact)[3]
    apart = np.abs(known[rows_of] - target[rows_of])
    # Rows with several roots, or at the edge of an economizer, may be elsewhere: energies hardly notice.
    assert np.median(apart) < 1e-5 and np.mean(apart > 0.05) < 0.15, np.sort(apart)[-20:]
    for key in END_USES:
        a, b = (float(c.hours @ getattr(s, key)) for s in (found, wanted))
        assert abs(a - b) <= 1e-3 * abs(b) + 1e-6 * len(pick), (key, a, b)


def of_rows(f, count):
    """From a function of all rows one that gives the function of some. What the others are does not matter."""

    def of(rows):
        def some(sat):
            whole = np.full(count, 60.0)
            whole[rows] = sat
            return f(whole)[rows]

        return some

    return of


DOWN = np.arange(-60.0, 80.0, 1.0)
COARSE = np.concatenate([np.arange(30.0, 54.0, 2.0), np.arange(54.0, 78.0, 0.5), np.arange(78.0, 170.0, 4.0)])


def forced(seed: int, kind: str):
    """A generated project whose supply air often cannot be held: unit, pressure strategies, every twelfth running
    hour."""
    raw = generated(seed)
    drawn = np.random.default_rng([seed, 7])
    raw |= {
        "sat": {},
        "dsp": {},
        "candidate": [{"id": "as_found"}]
        + [{"id": p, "name": p, "sat": "as_found", "dsp": dsp} for p, dsp in PRESSURES.items()],
    }
    if kind == "none":
        raw["air_handler"]["supply_heating"] = "none"
    elif kind == "own setpoint":
        raw["air_handler"].update(
            supply_heating="own_setpoint", supply_heating_setpoint_f=float(drawn.uniform(40.0, 52.0))
        )
    elif kind == "lockout":
        raw["cooling"] = {**DX, "lockout_f": float(drawn.uniform(50.0, 70.0))}
    project = project_from_mapping(raw, Path(__file__).parent)
    conditions = build_conditions(read_weather(find_weather(project.weather.file, project.source_dir)), project)
    sizes = size_unit(project, conditions)
    if kind == "short":
        sizes = dataclasses.replace(sizes, cooling_tons=sizes.cooling_tons * float(drawn.uniform(0.15, 0.8)))
    unit = build_unit(project, sizes)
    rows = Rows.of(unit, conditions)
    pick = np.arange(0, len(rows.on.oat_f), 12)
    return (
        unit,
        {c.id: dsp_of_sat(unit, c.dsp) for c in project.candidates if c.id in PRESSURES},
        rows.on.take(pick),
        rows.loads.take(pick),
    )


@pytest.mark.crosscheck
@pytest.mark.parametrize(
    ("kind", "seeds"),
    [
        ("none", (101,)),
        ("own setpoint", (101,)),
        ("lockout", (107,)),
        ("short", (102,)),
        pytest.param("none", (106, 113), marks=pytest.mark.slow),
        pytest.param("own setpoint", (106,), marks=pytest.mark.slow),
        pytest.param("short", (110, 111), marks=pytest.mark.slow),
    ],
)
def test_steps_agree_with_bisection_on_generated_projects(kind, seeds, monkeypatch):
    """Each end use of the year within 0.1 %, whatever the unit (one plant: 0.2 %): zones without a minimum, fan heat
    that brings the residual near nothing over many degrees, economizers that open as rooms warm. The residual is the
    program's, the root found by bisection."""
    found_down, found_up = floats.floating_down_f, floats.floating_up_f
    for seed in seeds:
        unit, pressures, c, loads = forced(seed, kind)
        sat = np.full(len(c.oat_f), 63.0 if kind in ("none", "own setpoint") else 55.0)
        for dsp in pressures.values():
            steps, exact = Floating(len(sat)), Floating(len(sat))
            found = evaluate(unit, c, loads, sat, dsp(c, loads, sat), dsp_of_sat=dsp, floating=steps)
            with monkeypatch.context() as patch:
                patch.setattr(
                    floats,
                    "floating_down_f",
                    lambda f, start: nearest_fall(of_rows(f, len(start)), found_down(f, start), DOWN),
                )
                patch.setattr(
                    floats,
                    "floating_up_f",
                    lambda f, shape: nearest_fall(of_rows(f, shape[0]), found_up(f, shape), COARSE),
                )
                wanted = evaluate(unit, c, loads, sat, dsp(c, loads, sat), dsp_of_sat=dsp, floating=exact)
            assert np.isfinite(exact.low_f if kind in ("none", "own setpoint") else exact.high_f).sum() > 20
            # In some rows of this plant the residual stays within 0.03 degF of nothing over six degrees: steps creep
            # there (0.11 %).
            tolerance = 2e-3 if (kind, seed) == ("short", 110) else 1e-3
            for key in END_USES:
                a, b = (float(c.hours @ getattr(s, key)) for s in (found, wanted))
                assert abs(a - b) <= tolerance * abs(b) + 1e-6 * len(sat), (seed, key, a, b)


# --- nothing beyond the plant, balances, outdoor air -----------------------------------------------


@pytest.mark.invariant
@pytest.mark.parametrize(("name", "pressure"), pairs_with("fixed", "demand"))
def test_coil_within_capacity_and_balances_close(name, pressure):
    for sat in (54.0, 64.0):
        unit, c, loads, s = run(name, pressure, sat)
        assert np.all(s.cooling_kbtuh <= s.cooling_capacity_kbtuh * (1.0 + 1e-9) + 1e-9)
        scale = np.maximum(1000.0 * s.cooling_kbtuh, loads.fs * s.flow_cfm * 20.0)
        assert np.max(np.abs(balance_error_btuh(unit, c, loads, s)) / scale) < 1e-9
        saturated = s.room_humidity_ratio >= saturation_humidity_ratio(80.0, c.pressure_psia) * (1.0 - 1e-9)
        assert np.max(np.where(saturated, 0.0, np.abs(moisture_error_btuh(unit, c, loads, s)) / scale)) < 1e-9
        held = s.oa_cfm >= 0.98 * required_oa_cfm(unit, c.occupied, loads.oa_people_cfm)
        assert np.all(held | (s.oa_short > 0.0))


@pytest.mark.invariant
def test_what_the_plant_cannot_give_is_warmth_in_the_rooms():
    """Nothing is left unserved without effect; the rooms warm up."""
    _, c, _, s = run("short", "fixed", 55.0)
    unit, dsp, rows = case("short", "fixed")
    ample = dataclasses.replace(unit, cooling_tons=1000.0)
    at = np.full(len(c.oat_f), 55.0)
    a = evaluate(ample, rows.on, rows.loads, at, dsp(rows.on, rows.loads, at))
    short = s.capacity_limited > 0.0
    assert short.sum() > 100
    assert s.unserved_kbtuh.sum() < 1e-3 * s.cooling_kbtuh.sum()
    assert s.unmet_degrees.sum() > 10.0 * max(a.unmet_degrees.sum(), 1.0)


# --- the fan at its ceiling ------------------------------------------------------------------------


def ceilinged(share: float, **changes):
    unit = unit_of(**changes)
    unit = dataclasses.replace(unit, max_cfm=share * unit.design_cfm)
    c = random_conditions(300, 21)
    loads = zone_loads(unit, c)
    return unit, c, loads, evaluate(unit, c, loads, np.full(300, 58.0), np.full(300, 1.5))


@pytest.mark.invariant
@pytest.mark.parametrize("exponent", [0.3, 0.5, 0.6, 1.0])
@pytest.mark.parametrize("share", [0.05, 0.3, 0.5])
def test_fan_at_its_ceiling_gives_just_its_ceiling(share, exponent):
    """Rooms and leaks take what the fan gives, at one duct pressure, as the duct rations it."""
    unit, c, loads, s = ceilinged(share, air_handler={"leakage_exponent": exponent, "leakage_frac": 0.05})
    at = s.airflow_ceiling > 0.0
    assert at.sum() > 10
    # Newton rounds for leakage, which at the least ceiling takes nearly all of it.
    assert s.flow_cfm[at] == pytest.approx(np.full(at.sum(), unit.max_cfm), rel=1e-4 if share < 0.1 else 1e-9)
    assert np.all(s.flow_cfm <= unit.max_cfm * (1.0 + 1e-4))
    assert s.leakage_cfm == pytest.approx(leakage_cfm(unit, s.dsp_held_inwc))
    zones = zones_of(unit, c, loads, s)
    assert np.allclose(zones.flow_cfm, np.minimum(zones.requested_cfm, available_flow_cfm(unit, s.dsp_held_inwc)))
    scale = np.maximum(1000.0 * s.cooling_kbtuh, loads.fs * s.flow_cfm * 20.0)
    assert np.max(np.abs(balance_error_btuh(unit, c, loads, s)) / scale) < 1e-9


@pytest.mark.invariant
def test_zones_near_the_fan_keep_their_minimum_at_its_ceiling():
    """The zone at the end of the index run starves before the one with half its resistance loses its minimum."""
    unit, c, loads, s = ceilinged(0.3)
    zones = zones_of(unit, c, loads, s)
    at = s.airflow_ceiling > 0.0
    given_share = zones.flow_cfm / np.maximum(zones.requested_cfm, 1e-9)
    near, far = list(unit.zones.names).index("Core"), list(unit.zones.names).index("South")
    keeps = at & (given_share[:, near] >= 1.0 - 1e-9) & (given_share[:, far] < 0.9)
    assert keeps.sum() > 20
    assert not zones.ventilation_short[keeps, near].any()


@pytest.mark.crosscheck
@given(seed=st.integers(0, 10_000), share=st.floats(0.02, 0.95))
def test_ceiling_pressure_by_bisection(seed, share):
    unit = unit_of()
    unit = dataclasses.replace(unit, max_cfm=share * unit.design_cfm)
    c = random_conditions(20, seed)
    requested = requested_flow_cfm(unit, zone_loads(unit, c), np.full(20, 60.0))
    leak = lambda p: leakage_cfm(unit, p)
    found, _, binds = rationed_dsp_inwc(unit, requested, np.full(20, 1.5), leak)
    total = lambda p: np.minimum(requested, available_flow_cfm(unit, p)) @ unit.zones.multiplier + leak(p)
    low, high = np.zeros(20), np.full(20, 1.5)
    for _ in range(80):
        middle = 0.5 * (low + high)
        over = total(middle) > unit.max_cfm
        low, high = np.where(over, low, middle), np.where(over, middle, high)
    assert np.array_equal(binds, total(np.full(20, 1.5)) > unit.max_cfm * (1 + 1e-12))
    # Newton rounds for leakage.
    assert found == pytest.approx(np.where(binds, low, 1.5), rel=1e-5)


# --- least outdoor air -----------------------------------------------------------------------------


@pytest.mark.invariant
def test_least_outdoor_air_raises_the_minimum_and_nothing_else():
    unit = unit_of(outdoor_air={"control": "position"})
    c = random_conditions(300, 5)
    loads = zone_loads(unit, c)
    at = (unit, c, loads, np.full(300, 58.0), np.full(300, 1.5))
    plain, same, more = (
        evaluate(*at),
        evaluate(*at, oa_least_cfm=np.zeros(300)),
        evaluate(*at, oa_least_cfm=np.full(300, 2500.0)),
    )
    for f in fields(RowState):
        assert np.array_equal(getattr(plain, f.name), getattr(same, f.name), equal_nan=True), f.name
    most = unit.outdoor_air.maximum_frac * more.flow_cfm
    assert np.all(more.oa_cfm >= np.minimum(2500.0, most) - 1e-9)
    assert np.all(more.oa_min_frac >= plain.oa_min_frac)
    # Economizer air is not topped up.
    enough = (plain.oa_cfm >= 2500.0) & (plain.economizing > 0.0)
    assert enough.sum() > 10
    assert more.oa_cfm[enough] == pytest.approx(plain.oa_cfm[enough])
    stuck = unit_of(economizer={"stuck_frac": 0.05})
    s = evaluate(
        stuck, c, zone_loads(stuck, c), np.full(300, 58.0), np.full(300, 1.5), oa_least_cfm=np.full(300, 900.0)
    )
    assert np.all(s.oa_cfm >= np.minimum(900.0, s.flow_cfm * unit.outdoor_air.maximum_frac) - 1e-9)


# --- the steps themselves --------------------------------------------------------------------------


@pytest.mark.crosscheck
def test_steps_find_the_root_of_a_line_and_the_lowest_of_a_curve():
    assert floating_down_f(lambda s: 50.0 - s + 0.4 * (s - 50.0), np.full(3, 20.0)) == pytest.approx(
        np.full(3, 50.0), rel=1e-12
    )
    # Falls through nothing at 40 and 56, rises between.
    curve = lambda s: -0.001 * (s - 40.0) * (s - 48.0) * (s - 56.0)
    assert floating_down_f(curve, np.full(1, 25.0))[0] < 41.0
    assert floating_up_f(lambda s: 80.0 - s, (2,)) == pytest.approx(np.full(2, 80.0), rel=1e-12)


@pytest.mark.invariant
def test_known_temperatures_are_not_looked_for_again():
    floating = Floating(len(case("short", "fixed")[2].on.oat_f))
    first = run("short", "fixed", 55.0, floating=floating)[3]
    kept = floating.high_f.copy()
    again = run("short", "fixed", 52.0, floating=floating)[3]
    short = np.isfinite(kept)
    assert np.array_equal(floating.high_f[short], kept[short])
    assert np.array_equal(first.sat_f[short & (first.sat_f > 55.0)], again.sat_f[short & (first.sat_f > 55.0)])
