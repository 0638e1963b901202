"""Options at time steps, as controllers run them."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from builders import PLAIN, SHORT_PIECES, merged, project_of, unit_of, weather_of
from hypothesis import given
from hypothesis import strategies as st

from binestimator.as_run.audit import audit, dsp_tuning, runs_of, sat_tuning, trace_days
from binestimator.as_run.hour_on import total
from binestimator.as_run.loops import ProportionalIntegral, Requests, moved
from binestimator.as_run.report import SAVING_POINTS, with_as_run
from binestimator.as_run.rooms import Masses
from binestimator.as_run.settings import Settings, TrimRespond
from binestimator.as_run.steps import Year
from binestimator.end_uses import END_USES
from binestimator.estimate import estimate
from binestimator.estimate.rows import Rows
from binestimator.estimate.running import run_parts
from binestimator.hours import build_conditions
from binestimator.model.loads import zone_loads
from binestimator.results import ANNUAL_KEYS, to_plain
from binestimator.strategies.choose import setpoints
from binestimator.strategies.registry import dsp_strategy, sat_strategy

# Guideline 36 informative table 5.1.14.4, the example for duct pressure.
EXAMPLE = TrimRespond(
    start=0.5, delay_min=5.0, step_min=2.0, trim=-0.04, respond=0.06, respond_most=0.15, ignored=2.0, low=0.15, high=1.5
)


def settings_of(project, **changes):
    return replace(Settings.of(project.as_run), **changes)


def days_of(project, *spans):
    """Conditions of some days of Greensboro's year, given as first day and number, one after another."""
    conditions = build_conditions(weather_of(), project)
    hours = np.concatenate([np.arange(24 * first, 24 * (first + count)) for first, count in spans])
    return replace(conditions.take(hours), hour_of_year=np.arange(len(hours)))


# --- trim and respond, requests, loops --------------------------------------------------------


@pytest.mark.published
@pytest.mark.parametrize(("requests", "after"), [(1, 0.46), (2, 0.46), (3, 0.56), (4, 0.62), (5, 0.65), (9, 0.65)])
def test_example_of_the_guideline(requests, after):
    """Guideline 36 informative table 5.1.14.4: trim -0.04, respond +0.06 a request beyond 2, at most +0.15."""
    assert moved(EXAMPLE, np.array([0.5]), np.array([float(requests)])) == pytest.approx(after)


@pytest.mark.invariant
@given(
    st.floats(0.15, 1.5), st.floats(0.0, 40.0), st.sampled_from([-1.0, 1.0]), st.floats(0.01, 0.1), st.floats(0.01, 0.3)
)
def test_a_move_stays_in_range_and_within_its_largest(setpoint, requests, sign, trim, most):
    loop = replace(EXAMPLE, trim=-sign * trim, respond=sign * 0.06, respond_most=sign * most)
    new = moved(loop, np.array([setpoint]), np.array([requests]))[0]
    assert loop.low <= new <= loop.high
    assert abs(new - setpoint) <= max(trim, most) + 1e-12
    if requests > loop.ignored:
        assert sign * (new - setpoint) >= 0.0
    else:
        assert sign * (new - setpoint) <= 0.0


@pytest.mark.published
def test_requests_latch_and_count_as_in_the_guideline():
    """Guideline 36 5.6.8.1 and 5.6.8.2: 1 above 95 % until below 85 %, 2 and 3 beyond 3 and 5 degF, or below 70 and
    50 % of the airflow setpoint with the damper above 95 %."""
    unit = unit_of()
    requests = Requests(unit, *(np.zeros((1, 4), dtype=bool) for _ in range(2)))
    loops = np.array([[0.96, 0.94, 0.96, 0.5]])
    none = np.zeros((1, 4))
    assert requests.temperature(loops, none)[0].tolist() == [1, 0, 1, 0]
    assert requests.temperature(np.full((1, 4), 0.86), none)[0].tolist() == [1, 0, 1, 0]
    assert requests.temperature(np.full((1, 4), 0.84), none)[0].tolist() == [0, 0, 0, 0]
    assert requests.temperature(none, np.array([[2.9, 3.1, 5.1, 0.0]]))[0].tolist() == [0, 2, 3, 0]
    full = np.full((1, 4), 1.0)
    flows = np.array([[100.0, 69.0, 49.0, 40.0]])
    positions = np.array([[0.96, 0.96, 0.96, 0.9]])
    assert requests.pressure(positions, flows, 100.0 * full)[0].tolist() == [1, 2, 3, 0]


@pytest.mark.invariant
def test_a_loop_at_its_end_comes_back_at_once():
    project = project_of()
    loop = ProportionalIntegral(np.zeros((1, 1)), np.zeros((1, 1)), settings_of(project))
    for _ in range(500):
        loop.step(np.full((1, 1), 4.0))
    assert loop.output[0, 0] == 1.0
    assert loop.step(np.full((1, 1), 3.5))[0, 0] < 1.0


# --- rooms ------------------------------------------------------------------------------------


@pytest.mark.invariant
@given(st.floats(0.05, 5.0), st.floats(0.0, 40.0), st.floats(0.01, 2.0), st.floats(50.0, 90.0), st.floats(50.0, 90.0))
def test_heat_of_both_masses_is_what_came_in(air_capacity, behind, step_h, air_f, mass_f):
    """Over a step, what both masses gained is what gains and envelope brought: to rounding, whatever the step."""
    project = project_of()
    area = np.array([1000.0, 2000.0])
    capacity = area * (air_capacity + behind)
    masses = Masses.of(area, capacity, settings_of(project, air_capacity_btu_f_ft2=air_capacity), step_h)
    before_air, before_mass = np.full((1, 2), air_f), np.full((1, 2), mass_f)
    gains, ua, oat = np.array([[5000.0, 9000.0]]), np.array([[100.0, 300.0]]), np.array([[30.0]])
    heat, conductance = masses.balance(before_air, before_mass, gains, ua, oat)
    air = heat / conductance
    mass = before_mass.copy()
    masses.follow(mass, air, np.empty(mass.shape))
    stored = masses.air_btuh_f * (air - before_air) + masses.mass_btuh_f * (mass - before_mass)
    brought = gains + ua * (oat - air)
    assert stored == pytest.approx(brought, abs=1e-6 * float(np.abs(heat).max()))


@pytest.mark.crosscheck
def test_rooms_against_their_exact_solution():
    """Two masses left alone: the matrix exponential of scipy gives the same decay as short steps."""
    from scipy.linalg import expm

    project = project_of()
    s = settings_of(project, air_capacity_btu_f_ft2=0.9, mass_coupling_btuh_f_ft2=2.0)
    area, ua = np.array([1000.0]), 400.0
    step_h, hours = 0.5 / 60.0, 6.0
    masses = Masses.of(area, np.array([6000.0]), s, step_h)
    air, mass = np.full((1, 1), 75.0), np.full((1, 1), 75.0)
    for _ in range(round(hours / step_h)):
        heat, conductance = masses.balance(air, mass, np.zeros((1, 1)), np.full((1, 1), ua), np.full((1, 1), 20.0))
        air = heat / conductance
        masses.follow(mass, air, np.empty(mass.shape))
    c_air, c_mass, k = 900.0, 5100.0, 2000.0
    rates = np.array([[-(ua + k) / c_air, k / c_air], [k / c_mass, -k / c_mass]])
    exact = 20.0 + expm(rates * hours) @ np.array([55.0, 55.0])
    # First-order steps of half a minute: 0.1 degF of 55.
    assert air[0, 0] == pytest.approx(exact[0], abs=0.1)
    assert mass[0, 0] == pytest.approx(exact[1], abs=0.1)


# --- limits -----------------------------------------------------------------------------------

# Same setpoints day and night, so that rooms have nothing to recover from.
STEADY = {
    "schedule": {"unoccupied_mode": "continuous"},
    "group": [
        {"name": name, **more, "cooling_unoccupied_f": 75, "heating_unoccupied_f": 70}
        for name, more in (("office", {}), ("meeting", {"people_ft2": 20, "minimum_flow_frac": 0.2}))
    ],
}


@pytest.mark.crosscheck
@pytest.mark.parametrize(
    ("law", "within"), [("single_maximum", 0.005), pytest.param("dual_maximum", 0.03, marks=pytest.mark.slow)]
)
def test_light_rooms_come_to_the_hourly_run(law, within):
    """Rooms without mass and setpoints that do not go by requests: every end use within 0.5 % of rooms at rest.

    3 % with the dual maximum law: where heating begins a row raises the airflow over 1 degF of room temperature, a loop
    over the first 10 % of its output.
    """
    zones = [{**zone, "heating_law": law} for zone in PLAIN["zone"]]
    project = project_of(**merged(STEADY, {"zone": zones}))
    unit = unit_of(project)
    conditions = days_of(project, (10, 8), (100, 8), (190, 8), (280, 8))
    light = settings_of(
        project,
        step_min=0.5,
        chunk_days=1,
        spin_up_days=1,
        air_capacity_btu_f_ft2=0.02,
        loop_band_f=40.0,
        loop_integral_min=1.0,
        damper_stroke_min=0.5,
        valve_stroke_min=0.5,
    )
    loads = zone_loads(unit, conditions)
    rows = Rows.of(unit, conditions)
    moves = lambda c: sat_strategy(c.sat).listens or sat_strategy(c.sat).searches or dsp_strategy(c.dsp).listens
    steady = [c for c in project.candidates if not moves(c)]
    assert [c.id for c in steady] == ["as_found", "sat_outdoor_air", "dsp_outdoor_air"]
    runs = [run for c in steady for run in runs_of(unit, conditions, loads, project, c)]
    year = Year(unit, conditions, project.schedule, runs, light, capacity_btu_f=0.02 * unit.zones.area_ft2)
    for candidate, outcome in zip(steady, year.run(), strict=True):
        (part,) = run_parts(unit, candidate, rows)
        for use in END_USES:
            at_rest = sum(float(rows.on.hours @ getattr(part.state, rate)) for rate in use.rates)
            run = sum(outcome.totals[rate] for rate in use.rates)
            assert run == pytest.approx(at_rest, rel=within, abs=1e-6), f"{candidate.id} {use.key}"


@pytest.mark.crosscheck
def test_settled_setpoints_are_where_steps_tend_to():
    """Light rooms, one condition held, first requests released where they are sent: the mean of trim and respond in
    ever smaller moves is the closed form, for supply air and for duct pressure."""
    project = project_of(
        **merged(
            STEADY,
            {"limits": {"loop_release_pct": 94.9, "damper_release_pct": 94.9}, "schedule": {"night_dsp": "strategy"}},
        )
    )
    unit = unit_of(project)
    year = build_conditions(weather_of(), project)
    # A mild and busy hour over and over: 10 days of it.
    busy = np.flatnonzero((year.occupied > 0.0) & (year.oat_f > 56.0) & (year.oat_f < 59.0) & (year.hour_start == 14))[
        0
    ]
    conditions = replace(year.take(np.full(240, busy)), hour_of_year=np.arange(240))
    loads = zone_loads(unit, conditions)
    small = settings_of(
        project,
        chunk_days=3,
        spin_up_days=1,
        air_capacity_btu_f_ft2=0.1,
        loop_band_f=20.0,
        loop_integral_min=5.0,
        damper_stroke_min=0.5,
        valve_stroke_min=0.5,
    )
    runs = []
    for id_ in ("sat_demand", "dsp_demand"):
        (run,) = runs_of(unit, conditions, loads, project, project.candidate(id_))
        slow = lambda loop: (
            loop and replace(loop, **{name: getattr(loop, name) / 20.0 for name in ("trim", "respond", "respond_most")})
        )
        runs.append(replace(run, sat_loop=slow(run.sat_loop), dsp_loop=slow(run.dsp_loop)))
    year = Year(unit, conditions, project.schedule, runs, small, capacity_btu_f=0.1 * unit.zones.area_ft2)
    supply, duct = year.run()
    last = slice(48, 72)
    at_rest = setpoints(unit, project.candidate("sat_demand"), conditions, loads)
    assert 55.5 < at_rest.sat_f[0] < 73.5
    assert np.mean(supply.hourly["sat_set_f"][last]) == pytest.approx(at_rest.sat_f[0], abs=0.1)
    at_rest = setpoints(unit, project.candidate("dsp_demand"), conditions, loads)
    assert 0.06 < at_rest.dsp_inwc[0] < 1.4
    assert np.mean(duct.hourly["dsp_set_inwc"][last]) == pytest.approx(at_rest.dsp_inwc[0], rel=0.01)


@pytest.mark.invariant
@pytest.mark.parametrize("longer", [4, pytest.param(5, marks=pytest.mark.slow)])
def test_pieces_of_the_year_give_the_same_means(longer):
    """Pieces of 2 and of more days, of two of these: energies within 0.5 %, since limit cycles change phase and rooms
    remember."""
    project = project_of()
    unit = unit_of(project)
    conditions = days_of(project, (98, 2 * longer if longer > 4 else longer))
    loads = zone_loads(unit, conditions)
    (run,) = runs_of(unit, conditions, loads, project, project.candidate("sat_demand_dsp_demand"))
    found = []
    for days in (2, longer):
        s = settings_of(project, chunk_days=days, spin_up_days=3)
        (outcome,) = Year(unit, conditions, project.schedule, [run], s).run()
        found.append(outcome.totals)
        assert np.isnan(outcome.hourly["sat_f"][conditions.fan_on == 0.0]).all()
        assert not np.isnan(outcome.hourly["sat_f"][conditions.fan_on > 0.0]).any()
    for name in ("fan_kw", "cooling_kw", "flow_cfm"):
        assert [t[name] for t in found] == pytest.approx([found[-1][name]] * 2, rel=0.005)


@pytest.mark.crosscheck
@pytest.mark.parametrize("days", [((7, 2), (197, 2)), pytest.param(((5, 5), (195, 5)), marks=pytest.mark.slow)])
def test_an_hour_that_is_run_again_is_that_of_steps_that_close(days):
    """A plant too small and no heat in the unit: whether each hour is first run as if supply air could be held, or
    every step finds what can be, comes to the same, and the coil takes no more than the plant has."""
    small = {"cooling": {"capacity_tons": 14}, "air_handler": {"supply_heating": "none"}}
    project = project_of(**small)
    unit = unit_of(project)
    conditions = days_of(project, *days)
    loads = zone_loads(unit, conditions)
    (run,) = runs_of(unit, conditions, loads, project, project.candidate("sat_demand"))
    s = settings_of(project, spin_up_days=1, chunk_days=days[0][1] // 2)
    first, always = (Year(unit, conditions, project.schedule, [run], s) for _ in range(2))
    always.off_setpoint = Always(first.chunks)
    one, other = first.run()[0], always.run()[0]
    assert one.totals["capacity_limited"] > 5.0
    assert np.nanmin(one.hourly["sat_f"] - one.hourly["sat_set_f"]) < -0.1
    assert np.nanmax(one.hourly["sat_f"] - one.hourly["sat_set_f"]) > 0.1
    # Single precision of zones, and limit cycles that follow it.
    for name in ("fan_kw", "cooling_kw", "reheat_kbtuh", "preheat_kbtuh", "sat_f", "capacity_limited"):
        assert one.totals[name] == pytest.approx(other.totals[name], rel=1e-4, abs=1e-9), name
    # A share of the excess is left after three rounds.
    assert one.totals["unserved_kbtuh"] < 0.01 * one.totals["cooling_kbtuh"]


class Always(np.ndarray):
    """Flags that stay set."""

    def __new__(cls, count):
        return np.ones(count, dtype=bool).view(cls)

    def __setitem__(self, key, value):
        pass


# --- the whole --------------------------------------------------------------------------------


@pytest.mark.invariant
def test_rates_that_are_no_number_add_nothing_to_a_year():
    rates = np.array([[[1.0, np.inf]], [[np.nan, 2.0]], [[3.0, 4.0]]])  # steps, runs, chunks
    assert total(rates, np.array([1.0, 0.5])) == pytest.approx([4.0 + 0.5 * 6.0], rel=1e-12)
    assert total(rates[2:], np.array([1.0, 0.5])) == pytest.approx([5.0], rel=1e-12)


@pytest.mark.invariant
def test_figures_as_run_stand_beside_those_at_rest():
    """Same keys, all candidates, savings against the baseline as run; the file has them, and null without a run."""
    project = project_of(bins={"rows": "mean"}, as_run=SHORT_PIECES)  # steps go by hours, not by rows
    results = estimate(project, weather_of())
    assert all(c["as_run"] is None for c in to_plain(results)["candidates"])
    told = []
    found = audit(results, only=["as_found", "sat_demand"], progress=told.append)
    assert list(found) == ["as_found", "sat_demand"]
    assert told == sorted(told)
    assert told[-1] == pytest.approx(1.0)
    everything = with_as_run(
        results, found | {c.id: found["as_found"] for c in results.candidates if c.id not in found}
    )
    for c in to_plain(everything)["candidates"][:2]:
        assert set(ANNUAL_KEYS) <= set(c["as_run"])
        assert all(np.isfinite(c["as_run"][key]) for key in ANNUAL_KEYS)
        assert [zone["zone"] for zone in c["as_run"]["zones"]] == list(results.unit.zones.names)
    base, demand = found["as_found"], found["sat_demand"]
    assert demand.saving["cost_usd"] == pytest.approx(base.annual["cost_usd"] - demand.annual["cost_usd"])
    # Energies of an office with mass are those of rooms at rest in size: within a third.
    for use in END_USES:
        if results.baseline.hourly[use.key] > 0.0:
            assert base.annual[use.key] == pytest.approx(results.baseline.hourly[use.key], rel=0.33)
    check = next(c for c in everything.checks if c.name == "Savings by demand as run")
    rest, run = everything.as_run_points("sat_demand")
    assert check.status == ("pass" if abs(run - rest) <= SAVING_POINTS else "explain")
    assert demand.trace["sat_set_f"].shape == (3, 720)
    assert trace_days(build_conditions(weather_of(), project)) == demand.trace_days


@pytest.mark.invariant
def test_tuning_is_that_of_the_inputs():
    project = project_of(as_run={"sat_start_f": 80.0 - 10.0, "dsp_start_inwc": 5.0})
    unit = unit_of(project)
    both = project.candidate("sat_demand_dsp_demand")
    sat, dsp = sat_tuning(both.sat, project.as_run), dsp_tuning(unit, both.dsp, project.as_run)
    assert (sat.start, sat.trim, sat.respond, sat.respond_most) == (both.sat.max_f, 0.2, -0.3, -1.0)
    assert (dsp.start, dsp.trim, dsp.respond, dsp.respond_most) == (dsp.high, -0.05, 0.06, 0.13)
    assert sat_tuning(project.candidate("as_found").sat, project.as_run) is None
    assert dsp_tuning(unit, project.candidate("sat_demand").dsp, project.as_run) is None


@pytest.mark.invariant
def test_moves_closer_together_than_the_steps_are_all_made():
    """Nothing asks: 12 minutes after the delay a trim of 0.1 degF each minute has moved by 1.2, in steps of 1 and of 2
    minutes."""
    project = project_of(**merged(STEADY, {"limits": {"sat_min_f": 55, "sat_max_f": 65}}))
    unit = unit_of(project)
    # A cold night: no zone asks for cooling.
    conditions = replace(days_of(project, (10, 1)), occupied=np.ones(24), fan_on=np.ones(24))
    loads = zone_loads(unit, conditions)
    (run,) = runs_of(unit, conditions, loads, project, project.candidate("sat_demand"))
    loop = replace(run.sat_loop, start=55.0, delay_min=0.0, step_min=1.0, trim=0.1)
    ends = []
    for step_min in (1.0, 2.0):
        year = Year(
            unit,
            conditions,
            project.schedule,
            [replace(run, sat_loop=loop)],
            settings_of(project, step_min=step_min, chunk_days=1, spin_up_days=1),
            trace_days=(0,),
        )
        year._hour(0)
        ends.append(year.state.sat_f[0, 0])
    assert ends == pytest.approx([61.0, 61.0], abs=0.2)
