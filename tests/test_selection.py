"""Reference settings and the choice of rows from them."""

import functools

import accuracy
import numpy as np
import pytest

from binestimator import bins, selection
from binestimator.end_uses import END_USES
from binestimator.estimate import Rows, size_unit
from binestimator.hours import build_conditions
from binestimator.inputs import project_from_mapping
from binestimator.model.build import build_unit
from binestimator.model.system import evaluate
from binestimator.strategies.choose import setpoints
from binestimator.weather import find_weather, read_weather


@functools.cache
def prepared(seed=101, mode=None):
    raw = accuracy.generated(seed)
    del raw["candidate"]
    if mode:
        raw["schedule"]["unoccupied_mode"] = mode
    project = project_from_mapping(raw, accuracy.ROOT / "tests")
    weather = read_weather(find_weather(project.weather.file, accuracy.ROOT))
    conditions = build_conditions(weather, project)
    unit = build_unit(project, size_unit(project, conditions))
    return project, unit, Rows.of(unit, conditions)


def table_of(seed=101, name="design"):
    project, unit, rows = prepared(seed)
    listed = selection.reference_settings(project, unit, rows, selection.moving_sats_f(project, unit, rows))[name]
    answers = [selection._Answer.of(unit, rows.on, s, None) for s in listed]
    cost = np.stack([answer.cost for answer in answers])
    sats = [answer.set_f for answer in answers]
    plant = np.isin(np.arange(len(END_USES)), selection._COOLING_PLANT)
    return sats, cost, selection._Table.of(answers, cost, plant, rows.on.oat_f)


@pytest.mark.invariant
@pytest.mark.parametrize("seed", [101, 113])  # an integrated economizer, and one that shuts the plant off
def test_table_gives_back_what_it_holds_and_stays_between(seed):
    sats, cost, table = table_of(seed)
    for k, sat in enumerate(sats):
        # Places of the nodes are rounded: 1e-9 of a step of cost.
        np.testing.assert_allclose(table.at(sat), cost[k], rtol=1e-9, atol=1e-9 * cost.max())
    for beyond, end in ((sats[0] - 9.0, cost[0]), (sats[-1] + 9.0, cost[-1])):
        np.testing.assert_allclose(table.at(beyond), end, rtol=1e-12)
    middle = table.at(0.5 * (sats[3] + sats[4]))
    low, high = np.minimum(cost[3], cost[4]), np.maximum(cost[3], cost[4])
    assert (middle >= low - 1e-9).all() and (middle <= high + 1e-9).all()


@pytest.mark.crosscheck
def test_table_between_is_near_the_model():
    """A setting that is not in the table, evaluated: total cost within 0.5 %, and cooling stops in the right hours.

    Tolerance: the table is straight between temperatures 1.7 degF apart.
    """
    project, unit, rows = prepared()
    sats, _, table = table_of()
    sat = np.full(rows.on.oat_f.shape, sats[4] + 0.4 * (sats[5] - sats[4]))
    state = evaluate(
        unit, rows.on, rows.loads, sat, np.full(sat.shape, unit.fan.design_dsp_inwc), resets_pressure=False
    )
    wanted = selection.end_use_costs(unit.prices, state)
    found = table.at(sat)
    assert found.sum() == pytest.approx(wanted.sum(), rel=0.005)
    assert np.mean((found[1] > 0) == (wanted[1] > 0)) > 0.99


@pytest.mark.invariant
def test_cheapest_is_no_dearer_than_any_temperature_tried():
    project, unit, rows = prepared()
    sats, _, table = table_of()
    low, high = selection.sat_range_f(project)
    top = np.full(rows.on.oat_f.shape, high)
    cheapest = table.cheapest(low, top).sum(axis=0)
    for sat in np.arange(low, high + 1e-9, selection.SEARCH_STEP_F):
        assert (cheapest <= table.at(sat).sum(axis=0) + 1e-12).all()
    # Where nothing but the coldest is allowed, it is that.
    np.testing.assert_allclose(table.cheapest(low, np.full(top.shape, low)), table.at(low))


@pytest.mark.invariant
def test_references_span_what_candidates_may_ask_for():
    project, unit, rows = prepared()
    moving = selection.moving_sats_f(project, unit, rows)
    settings = selection.reference_settings(project, unit, rows, moving)
    low, high = selection.sat_range_f(project)
    for name in ("design", "demand"):
        sats = np.array([s.sat_f[0] for s in settings[name]])
        assert np.allclose(np.diff(sats, 2), 0.0) and sats[0] <= low and sats[-1] >= high
        assert np.abs(sats - low).min() < 1e-9 and np.abs(sats - high).min() < 1e-9
        assert all(np.ptp(s.sat_f) == 0.0 for s in settings[name])
    for candidate in project.candidates:
        asked = setpoints(unit, candidate, rows.on, rows.loads) if candidate.sat.strategy != "cost_optimal" else None
        if asked is not None:
            assert asked.sat_f.min() >= low - 1e-9 and asked.sat_f.max() <= high + 1e-9
    baseline = next(c for c in project.candidates if c.id == project.baseline_id)
    found = setpoints(unit, baseline, rows.on, rows.loads)
    assert any(
        np.array_equal(s.sat_f, found.sat_f) and np.array_equal(s.dsp_inwc, found.dsp_inwc) for s in settings["other"]
    )
    louder = [s for s in settings["other"] if s.loads is not rows.loads]
    assert len(louder) == 1 and louder[0].loads.latent_btuh.sum() > 1.19 * rows.loads.latent_btuh.sum()
    assert all((sat <= moving[-1] + 1e-9).all() for sat in moving)


@pytest.mark.invariant
def test_match_columns_cost_nothing_while_the_unit_is_off():
    project, unit, rows = prepared(104)  # off at night
    columns = selection.match_columns(project, unit, rows)
    off = rows.conditions.fan_on == 0.0
    for values in (columns.match, columns.variation, columns.place, columns.jump):
        assert len(values) == len(off) and np.isfinite(values).all()
        assert off.any() and not values[off].any() and values[~off].any()
    assert columns.match.shape[1] == len(columns.scale) and (columns.scale > 0).all()


@pytest.mark.invariant
def test_variation_is_about_the_mean_setting_and_candidates_are_columns():
    project, unit, rows = prepared()
    asked = np.random.default_rng(5).uniform(0.0, 3.0, (2, 7, len(rows.running)))
    columns, more = selection.match_columns(project, unit, rows), selection.match_columns(project, unit, rows, asked)
    total = asked.sum(axis=1, keepdims=True)
    np.testing.assert_array_equal(
        more.match[rows.running, -16:].T, np.concatenate([total, asked], axis=1).reshape(16, -1)
    )
    np.testing.assert_array_equal(more.match[:, :20], columns.match[:, :20])
    np.testing.assert_array_equal(more.variation, columns.variation)
    listed = selection.reference_settings(project, unit, rows, selection.moving_sats_f(project, unit, rows))
    settings = sum(s.loads is rows.loads for settings in listed.values() for s in settings)
    uses = columns.variation.shape[1] // settings
    assert uses * settings == columns.variation.shape[1] and uses >= 3  # all together, and at least two
    by_setting = columns.variation.reshape(len(columns.variation), settings, uses)
    assert np.abs(by_setting.mean(axis=1)).max() < 1e-15 and np.abs(by_setting).max() > 0.0
    np.testing.assert_allclose(by_setting[..., 0], by_setting[..., 1:].sum(axis=-1), atol=1e-15)


@pytest.mark.crosscheck
def test_rows_hold_the_references_in_every_rate_period():
    project, unit, rows = prepared()
    group_id, _ = bins.group_keys(rows.conditions, project.bins)
    chosen = selection.choose_rows(project, unit, rows, group_id)
    columns = selection.match_columns(project, unit, rows)
    match, scale = columns.match, columns.scale
    periods = rows.conditions.rate_period
    assert set(periods) == {0, 1, 2}
    for period in range(3):
        mine = periods[chosen.index] == period
        reached = chosen.weights[mine] @ match[chosen.index[mine]]
        # 0.5 % of the annual cost of all end uses: less than the bound on annual cost.
        assert np.abs(reached - match[periods == period].sum(axis=0)).max() < 0.005 * scale[0]
    whole = np.abs(chosen.weights @ match[chosen.index] - match.sum(axis=0)) / scale
    assert whole.max() < 0.001


@pytest.mark.invariant
def test_jumps_are_where_mechanical_cooling_stops_at_once():
    """An economizer that does not run together with the plant shuts off the whole load; one that does takes it over bit
    by bit."""

    def share(seed, **economizer):
        raw = accuracy.generated(seed)
        del raw["candidate"]
        raw["economizer"] = {"type": "fixed_dry_bulb", **economizer}
        project = project_from_mapping(raw, accuracy.ROOT / "tests")
        conditions = build_conditions(read_weather(find_weather(project.weather.file, accuracy.ROOT)), project)
        unit = build_unit(project, size_unit(project, conditions))
        return selection.match_columns(project, unit, Rows.of(unit, conditions)).jump.sum()

    apart, together = share(101, integrated=False), share(101, integrated=True)
    assert apart > 1.3 * together > 0.0


@pytest.mark.invariant
def test_jump_of_a_table_by_hand():
    """Two end uses of three hours at four supply temperatures: even, one jump, and none at all."""
    cost = np.zeros((4, 2, 3))
    cost[:, 0, 0], cost[:, 1, 0] = [1.0, 2.0, 3.0, 4.0], [4.0, 3.0, 2.0, 1.0]
    cost[:, 0, 1], cost[:, 1, 1] = [9.0, 8.0, 1.0, 0.5], [0.0, 0.5, 0.5, 0.5]
    table = selection._Table(
        first_f=55.0, step_f=1.0, cost=cost, plant=np.array([True, False]), stop_f=np.full((3, 3), np.nan)
    )
    np.testing.assert_allclose(table.jump(), [0.0, 7.0 - 0.5, 0.0])


@pytest.mark.invariant
@pytest.mark.parametrize("seed", [104, *(pytest.param(seed, marks=pytest.mark.slow) for seed in (125, 130))])
def test_rounding_does_not_decide_which_hours_are_chosen(seed):
    """Processors and libraries round sums differently; whole-degree hours tie by the dozen. A reviewer gets the same
    rows."""
    project, unit, rows = prepared(seed)
    group_id, _ = bins.group_keys(rows.conditions, project.bins)
    columns = selection.match_columns(project, unit, rows)
    random = np.random.default_rng(seed)
    exact = np.column_stack([rows.conditions.oat_f, rows.conditions.humidity_ratio])

    def chosen(noise):
        def off(values):
            return values * (1.0 + noise * random.choice([-1.0, 1.0], values.shape))

        return bins.representative_rows(
            rows.conditions,
            group_id,
            off(columns.match),
            off(exact),
            scale=off(columns.scale),
            period=rows.conditions.rate_period,
            variation=off(columns.variation),
            place=off(columns.place),
            jump=off(columns.jump),
        )

    plain, rounded = chosen(0.0), chosen(2e-15)
    assert plain.method == bins.METHOD_REPRESENTATIVE
    np.testing.assert_array_equal(rounded.index, plain.index)
    # Rows of hours that cost nothing are held by the least penalty alone: 1e-3 h of them is noise, of a cost of 0.
    np.testing.assert_allclose(rounded.weights, plain.weights, rtol=0.0, atol=1e-3)
    costs = columns.match.sum(axis=0)
    np.testing.assert_allclose(
        rounded.weights @ columns.match[rounded.index],
        plain.weights @ columns.match[plain.index],
        atol=1e-8 * costs.max(),
    )


@pytest.mark.invariant
def test_a_unit_that_never_runs_has_rows_too():
    raw = accuracy.generated(104)
    del raw["candidate"]
    raw["schedule"] = {"unoccupied_mode": "off", "weekday_hours": [], "saturday_hours": [], "sunday_hours": []}
    project = project_from_mapping(raw, accuracy.ROOT / "tests")
    conditions = build_conditions(read_weather(find_weather(project.weather.file, accuracy.ROOT)), project)
    _, unit, _ = prepared(104)
    rows = Rows.of(unit, conditions)
    group_id, _ = bins.group_keys(conditions, project.bins)
    chosen = selection.choose_rows(project, unit, rows, group_id)
    assert not chosen.fell_back and chosen.weights.sum() == pytest.approx(8760, rel=1e-9)


@pytest.mark.invariant
def test_rows_are_chosen_where_running_hours_outweigh_idle_ones_by_far():
    """Two zones of a large chiller plant, no heat, off at night: the first choice ran out of digits and kept moments
    only."""
    project = project_from_mapping(
        {
            "project": {"name": "Two class rooms"},
            "weather": {"file": "723170TYA.CSV"},
            "calendar": {"rate_period_hours": [12, 18], "mid_peak_hours": [8, 22]},
            "schedule": {"unoccupied_mode": "off"},
            "limits": {"sat_max_f": 60, "humidity": "outdoor_dewpoint"},
            "heating": {"type": "none"},
            "cooling": {
                "type": "chilled_water",
                "chiller_set": "air_cooled_from_150_ton",
                "units": 4,
                "other_load_tons": 100,
            },
            "group": [
                {
                    "name": "class",
                    "people_ft2": 30,
                    "equipment_w_ft2": 0.613,
                    "lights_w_ft2": 0.505,
                    "minimum_flow_frac": 0.469,
                    "cooling_setpoint_f": 76,
                    "people_occupied_frac": 0.766,
                    "equipment_unoccupied_frac": 0.282,
                    "equipment_profile": [0.1] * 8 + [0.9] * 10 + [0.3] * 6,
                }
            ],
            "zone": [
                {
                    "name": "North",
                    "area_ft2": 1490,
                    "gain_multiplier": 0.813,
                    "glass_north_ft2": 290,
                    "ua_btuh_f": 208,
                    "infiltration_cfm": 44.7,
                    "heating_law": "dual_maximum",
                },
                {
                    "name": "East",
                    "area_ft2": 1970,
                    "multiplier": 2,
                    "gain_multiplier": 1.2,
                    "glass_east_ft2": 369,
                    "ua_btuh_f": 455,
                    "infiltration_cfm": 59.2,
                },
            ],
        }
    )
    weather = read_weather(find_weather(project.weather.file, accuracy.ROOT))
    conditions = build_conditions(weather, project)
    unit = build_unit(project, size_unit(project, conditions))
    group_id, _ = bins.group_keys(conditions, project.bins)
    choice = selection.choose_rows(project, unit, Rows.of(unit, conditions), group_id)
    assert not choice.fell_back and choice.rows == 240 and choice.exact_error < 1e-12
    assert choice.worst_error < 0.005
