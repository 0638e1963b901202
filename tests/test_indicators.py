"""What weakens resets, as run: the same option with something wrong, beside itself without it."""

from __future__ import annotations

from dataclasses import replace
from functools import cache

import numpy as np
import pytest
from builders import PLAIN, SHORT_DAYS, SHORT_PIECES, merged, project_of, unit_of, weather_of
from hypothesis import given
from hypothesis import strategies as st
from test_as_run import days_of, settings_of

from binestimator.as_run.audit import audit, runs_of
from binestimator.as_run.indicators import KEYS, _reading, _some_zones, _wrongs, with_indicators
from binestimator.as_run.loops import Requests
from binestimator.as_run.report import with_as_run
from binestimator.as_run.steps import Year
from binestimator.estimate import estimate
from binestimator.model.loads import zone_loads
from binestimator.results import ANNUAL_KEYS, to_plain
from binestimator.terminal import comparison

OPTIONS = ["as_found", "sat_outdoor_air", "dsp_demand"]
#: One zone of five.
FEW = {"high_load_zones": 1, "stuck_zones": 1}


@cache
def four_zones(**sizes):
    """The plain project as run, with its indicators."""
    # Steps go by hours, not by rows.
    project = project_of(as_run=SHORT_PIECES | FEW | sizes, bins={"rows": "mean"}, schedule=SHORT_DAYS)
    results = estimate(project, weather_of())
    return with_indicators(with_as_run(results, audit(results, only=OPTIONS)))


def by_key(results):
    return {found.key: found for found in results.indicators}


@pytest.mark.invariant
def test_end_switches_say_open_and_nothing_else():
    """One request beyond the switch while it is made, whatever the airflow; a run beside it that measures sends two and
    three below 70 and 50 %."""
    unit = unit_of()
    switches = np.array([[[np.nan]], [[0.9]]])
    shape = (2, 1, 4)
    requests = Requests(unit, *(np.zeros(shape, dtype=bool) for _ in range(2)), switches)
    position = np.broadcast_to(np.array([0.92, 0.96, 0.96, 0.96]), shape).copy()
    flow = np.broadcast_to(np.array([100.0, 100.0, 69.0, 49.0]), shape).copy()
    asked = np.full(shape, 100.0)
    assert requests.pressure(position, flow, asked)[:, 0].tolist() == [[0, 1, 2, 3], [1, 1, 1, 1]]
    # The first run latches down to 85 %, the switch opens where it closes.
    assert requests.pressure(position - 0.07, asked, asked)[:, 0].tolist() == [[0, 1, 1, 1], [0, 0, 0, 0]]


@pytest.mark.invariant
@given(st.integers(1, 5))
def test_zones_on_lines_of_their_own_are_the_same_building(count):
    """Sums over zones by multiplier and by requests, and how many are taken; zones of a line are divided."""
    unit = unit_of()
    split, some = _some_zones(unit, count)
    z, new = unit.zones, split.zones
    assert new.multiplier[some].sum() == count
    assert (new.multiplier > 0.0).all()
    for name in ("max_cfm", "area_ft2", "reheat_btuh", "aperture_ft2"):
        assert new.multiplier @ getattr(new, name) == pytest.approx(z.multiplier @ getattr(z, name), rel=1e-12)
    assert new.weight.sum() == pytest.approx(z.weight.sum(), rel=1e-12)
    assert new.weight / new.multiplier == pytest.approx([1.0] * len(new))


@pytest.mark.crosscheck
def test_a_unit_with_zones_on_lines_of_their_own_runs_as_before():
    """Dampers that stand where they would be and gains of one time: the run of the building as it was."""
    project = project_of()
    unit = unit_of(project)
    conditions = days_of(project, (100, 3))
    s = settings_of(project, spin_up_days=1, chunk_days=3)
    found = []
    for of in (unit, _some_zones(unit, 2)[0]):
        (run,) = runs_of(of, conditions, zone_loads(of, conditions), project, project.candidate("dsp_demand"))
        found.append(Year(of, conditions, project.schedule, [run], s).run()[0].totals)
    # Single precision of zones that are added in another order.
    for name in ("fan_kw", "reheat_kbtuh", "flow_cfm", "cooling_kw"):
        assert found[1][name] == pytest.approx(found[0][name], rel=1e-3), name


@pytest.mark.invariant
def test_a_stuck_damper_stays_where_it_is():
    """Shut it passes nothing and is starved all day; open it asks for pressure all day."""
    project = project_of()
    unit = unit_of(project)
    conditions = days_of(project, (100, 1))
    s = settings_of(project, spin_up_days=1, chunk_days=1)
    (run,) = runs_of(unit, conditions, zone_loads(unit, conditions), project, project.candidate("dsp_demand"))
    years = [
        Year(unit, conditions, project.schedule, [run], s, stuck_frac=np.array([at, np.nan, np.nan, np.nan]))
        for at in (0.0, 1.0)
    ]
    shut, open_ = (year.run()[0] for year in years)
    running = float((conditions.fan_on > 0.0).sum())
    assert years[0].state.flow_cfm[0, 0, 0] == 0.0
    assert shut.zones["starved_hours"][0] == pytest.approx(running)
    # A damper that the loop moves takes its stroke to open.
    assert open_.zones["pressure_request_hours"][0] == pytest.approx(running, abs=0.1)
    assert shut.zones["pressure_request_hours"][0] == 0.0


@pytest.mark.invariant
def test_arriving_air_is_what_the_strategy_reads():
    """A station before a starved branch reads what arrives: less than what is asked for, never more."""
    project = project_of(candidate=[{"id": "x", "name": "By airflow", "sat": "as_found", "dsp": "airflow"}])
    unit = unit_of(project)
    conditions = days_of(project, (190, 2))
    s = settings_of(project, spin_up_days=1, chunk_days=2)
    read = {True: [], False: []}
    (run,) = runs_of(unit, conditions, zone_loads(unit, conditions), project, project.candidate("x"))
    for arriving, seen in read.items():

        def setpoint(c, zones, loop, seen=seen):
            seen.append(np.array(zones))
            return np.full(len(c.oat_f), 0.3)  # too little for the index run

        Year(
            unit, conditions, project.schedule,
            [replace(run, dsp_set_inwc=setpoint, reads_arriving=arriving)], s,
        ).run()  # fmt: skip
    asked, arrived = (np.concatenate(read[k]).reshape(-1, 4) @ unit.zones.multiplier for k in (False, True))
    assert arrived.mean() < 0.97 * asked.mean()
    assert arrived.max() < asked.max()


@pytest.mark.invariant
def test_all_indicators_are_told_with_their_changes():
    results = four_zones()
    found = by_key(results)
    assert tuple(found) == KEYS
    for each in results.indicators:
        for figures in (each.clean, each.wrong, each.base_clean, each.base_wrong):
            assert set(ANNUAL_KEYS) <= set(figures)
            assert all(np.isfinite(figures[key]) for key in ANNUAL_KEYS)
        clean, wrong = each.saving_pct
        assert clean == pytest.approx(100.0 * (1.0 - each.clean["cost_usd"] / each.base_clean["cost_usd"]), rel=1e-12)
        usd = (each.base_wrong["cost_usd"] - each.wrong["cost_usd"]) - (
            each.base_clean["cost_usd"] - each.clean["cost_usd"]
        )
        assert each.change_of_saving_usd() == pytest.approx(usd, rel=1e-9, abs=1e-9)
    assert [found[key].made for key in KEYS] == [True, True, True, False, False, False]
    # Faults of the controls leave the baseline, conditions of the building do not.
    base = results.as_run["as_found"].annual
    assert [found[key].base_wrong == base for key in KEYS] == [True, True, True, True, False, False]
    assert found["end_switches"].clean == results.as_run["dsp_demand"].annual
    # What must have a sign: a station that reads high holds more pressure, one that reads low less.
    assert found["station_reads_high"].change("fan_kwh") > 0.0 > found["station_reads_low"].change("fan_kwh")
    assert found["summed_terminals"].change("fan_kwh") < 0.0
    assert found["high_internal_load"].change("unmet_degree_hours") > 0.0
    # An open damper asks once all day; of five zones two requests are ignored, so that pressure rises.
    assert found["stuck_open"].wrong["mean_dsp_inwc"] > found["stuck_open"].clean["mean_dsp_inwc"]
    assert found["stuck_open"].change("fan_kwh") > 0.0


@pytest.mark.slow
@pytest.mark.invariant
def test_nothing_wrong_changes_nothing():
    """Errors of nothing, gains of one time: the same figures but for what reading arrived air changes. Quickly, on
    three days: zones on lines of their own, above, and errors of nothing, below."""
    found = by_key(four_zones(station_error_frac=0.0, high_load_factor=1.0, stuck_zones=0))
    assert "stuck_open" not in found
    for key in ("station_reads_high", "station_reads_low"):
        assert found[key].wrong == pytest.approx(found[key].clean, rel=1e-9)
    # Single precision of zones that are added in another order.
    each = found["high_internal_load"]
    for key in ("fan_kwh", "cooling_kwh", "reheat_kbtu", "cost_usd"):
        assert each.wrong[key] == pytest.approx(each.clean[key], rel=2e-4), key
        assert each.base_wrong[key] == pytest.approx(each.base_clean[key], rel=2e-4), key


@pytest.mark.invariant
def test_an_error_of_nothing_changes_nothing_and_one_of_a_tenth_does():
    project = project_of(candidate=[{"id": "x", "name": "By airflow", "sat": "as_found", "dsp": "airflow"}])
    unit = unit_of(project)
    conditions = days_of(project, (190, 1))
    s = settings_of(project, **SHORT_PIECES)
    found = []
    for candidate in (project.candidate("x"), *(_reading(project.candidate("x"), error) for error in (0.0, 0.1))):
        (run,) = runs_of(unit, conditions, zone_loads(unit, conditions), project, candidate)
        found.append(Year(unit, conditions, project.schedule, [run], s).run()[0].totals)
    assert found[1] == pytest.approx(found[0], rel=1e-12, nan_ok=True)
    assert found[2]["fan_kw"] > 1.001 * found[0]["fan_kw"]


@pytest.mark.crosscheck
def test_terminal_and_file_tell_the_same():
    results = four_zones()
    text = comparison(results)
    plain = to_plain(results)["indicators"]
    assert [line["key"] for line in plain] == list(KEYS)
    for line, each in zip(plain, results.indicators, strict=True):
        assert line["annual"]["fan_kwh"] - line["clean"]["fan_kwh"] == pytest.approx(line["fan_kwh_change"], abs=1e-6)
        assert line["saving_pct"] == each.saving_pct[1]
        row = next(
            cells
            for cells in (row.split() for row in text.splitlines())
            if len(cells) == 6 and cells[0] == f"{each.saving_pct[0]:.1f}" and cells[1] == f"{each.saving_pct[1]:.1f}"
        )
        assert row[3] == f"{round(each.change('fan_kwh')):+,d}"
    without = replace(results, indicators=None)
    assert to_plain(without)["indicators"] is None
    assert "Indicators" not in comparison(without)


@cache
def with_an_option_by_airflow():
    points = [[20, 0.4], [90, 1.2]]
    candidates = [
        {"id": "as_found"},
        {
            "id": "by_flow",
            "name": "By airflow",
            "sat": "as_found",
            "dsp": {"strategy": "airflow", "points": points, "flow_error_frac": 0.02},
        },
    ]
    project = project_of(
        **merged(
            PLAIN,
            {
                "project": {"default_candidates": False},
                "bins": {"rows": "mean"},
                "candidate": candidates,
                "as_run": SHORT_PIECES | FEW,
                "schedule": SHORT_DAYS,
            },
        )
    )
    results = estimate(project, weather_of())
    return with_as_run(results, audit(results))


@pytest.mark.invariant
def test_an_option_by_airflow_of_the_project_is_the_one_that_is_told():
    """With its own points and error; none is made."""
    results = with_an_option_by_airflow()
    found = {w.key: w for w in _wrongs(results, results.runs[results.baseline_id].unit)}
    assert tuple(found) == tuple(key for key in KEYS if key != "stuck_open")
    assert [found[key].made for key in found] == [False, False, False, True, True]
    own = results["by_flow"].candidate
    for key, error in (("station_reads_high", 0.12), ("station_reads_low", -0.08)):
        assert found[key].of == own and found[key].error_frac == pytest.approx(error)
    assert found["summed_terminals"].of == own


@pytest.mark.slow
@pytest.mark.invariant
def test_an_option_by_airflow_of_the_project_is_told_itself():
    """The same, run through."""
    results = with_an_option_by_airflow()
    found = by_key(with_indicators(results))
    assert tuple(found) == tuple(key for key in KEYS if key != "stuck_open")
    assert [found[key].made for key in found] == [False, False, False, True, True]
    assert (found["station_reads_low"].candidate_id, found["station_reads_low"].made) == ("by_flow", False)
    assert found["station_reads_low"].clean == pytest.approx(results.as_run["by_flow"].annual)
