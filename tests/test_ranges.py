"""Ranges of results: draws of uncertain inputs, percentiles, probabilities, and what they rest on."""

import math
from dataclasses import replace
from functools import cache
from statistics import NormalDist

import numpy as np
import pytest
from builders import PLAIN, WEATHER, merged, weather_of

from binestimator.cli import parser
from binestimator.end_uses import END_USES
from binestimator.errors import InputError
from binestimator.estimate import estimate
from binestimator.estimate.rows import Rows
from binestimator.estimate.running import annual_figures, run_parts
from binestimator.hours import build_conditions
from binestimator.inputs import DEFAULT_CANDIDATES
from binestimator.inputs.paths import known_path
from binestimator.inputs.range_lines import range_lines
from binestimator.inputs.read import project_from_mapping
from binestimator.inputs.schema import record_type
from binestimator.model.build import build_unit
from binestimator.model.system import zones_of
from binestimator.moist_air import relative_humidity_frac
from binestimator.money.life_cycle import life_cycle
from binestimator.money.payback import payback_years, simple_payback_years
from binestimator.ranges import hourly
from binestimator.ranges.distributions import Distribution, joined, normal_scores, normal_shares
from binestimator.ranges.draw import base_factors, factors_of, room_pattern, sizes_that_follow, taken, warmer
from binestimator.ranges.effects import Effects
from binestimator.ranges.energies import Model, even_spans, part_shares
from binestimator.ranges.find import find_ranges
from binestimator.ranges.hourly import Hours, run_serves
from binestimator.ranges.lines import drawn_lines
from binestimator.ranges.percentiles import quantiles, share_interval
from binestimator.ranges.results import NEVER, QUANTITIES, example_ranges, sensible
from binestimator.ranges.sobol import most_dimensions, sobol
from binestimator.service import Yardstick, judge, rises, service_figures, zone_depths

COSTED = [
    {"id": "sat_outdoor_air", "cost_usd": 2000.0},
    {"id": "dsp_demand", "cost_usd": 6000.0, "incentive_usd": 1500.0},
    {
        "id": "repaired",
        "name": "Damper repaired, minimums lowered, resets",
        "kind": "repair",
        "sat": "demand",
        "dsp": "demand",
        "cost_usd": 9000.0,
        "override": {"economizer.stuck_frac": "none", "group.office.minimum_flow_frac": 0.2},
    },
]
CASES = {
    # A water-cooled plant, a boiler, overrides by operators, a stuck damper; all sizes given.
    "overridden": {
        "candidate": COSTED,
        "economizer": {"stuck_frac": 0.25},
        "service": {"as_found_confirmed": ["outdoor_air", "temperature", "airflow", "capacity"]},
        "sat": {"as_found": {"points": [[45, 60], [70, 55]], "override_frac": 0.3, "override_f": 56}},
        "dsp": {"as_found": {"points": [[60, 1.5]], "override_frac": 0.1, "override_inwc": 1.8}},
    },
    # Direct expansion, electric reheat, a return fan, people by demand control; terminals, coils and fan are sized.
    "sized": {
        "zone": [
            {key: value for key, value in zone.items() if key not in ("max_cfm", "reheat_kbtuh")}
            for zone in PLAIN["zone"]
        ],
        "air_handler": {"design_cfm": None, "supply_heating": "none"},
        "fan": {"motor_hp": None},
        "outdoor_air": {"control": "people"},
        "cooling": {"type": "direct_expansion", "capacity_tons": None},
        "heating": {"type": "electric", "capacity_kbtuh": None},
        "return_fan": {"type": "return"},
        "economizer": {"type": "differential_enthalpy"},
    },
    # A plant that is too small, a fan at its ceiling, a measured fan, surveyed dampers, a tariff, runs day and night.
    "short": {
        "cooling": {"capacity_tons": 16},
        "air_handler": {"design_cfm": 5200},
        "fan": {"measured_cfm": 4000, "measured_total_inwc": 3.0, "measured_kw": 3.4},
        "zone": [
            {**zone, "survey_flow_cfm": 0.6 * zone["max_cfm"], "survey_damper_pct": 70, "survey_dsp_inwc": 1.2}
            if zone["name"] == "South"
            else zone
            for zone in PLAIN["zone"]
        ],
        "heating": {"enabled_unoccupied": True},
        "schedule": {"unoccupied_mode": "off"},
        "energy_price": [{"name": "Summer", "usd": 0.16, "months": ["jun", "jul", "aug"], "hours": [12, 18]}],
        "demand_charge": [{"name": "Peak", "usd_kw": 8.0}],
    },
}


#: One of them, and the others as larger slices.
ONE_OR_LARGER = [pytest.param(case, marks=() if case == "overridden" else pytest.mark.slow) for case in CASES]
ONE_OR_SHORT = ["overridden", pytest.param("short", marks=pytest.mark.slow)]


def project_with(case, **changes):
    mapping = merged(merged(PLAIN, {"bins": {"width_f": 10}, **CASES[case]}), changes)
    return project_from_mapping(mapping, source_dir=WEATHER)


@cache
def run(case):
    return estimate(project_with(case), weather_of())


@cache
def drawn(case):
    results = run(case)
    return drawn_lines(results.project, results.unit)


def some_factors(case, count=8, seed=3):
    lines = drawn(case)
    points = sobol(count, len(lines), seed)
    return factors_of(lines, {one.key: points[:, k] for k, one in enumerate(lines)})


@cache
def coarse(case):
    return find_ranges(run(case), draws=16)


# --- points and distributions -------------------------------------------------------------------


@pytest.mark.invariant
@pytest.mark.parametrize("most", [1, 5, 16, 64, 128])
@pytest.mark.parametrize("count", [0, 1, 16, 128, 129, 2049])
def test_spans_of_draws_follow_one_another_and_none_is_far_shorter_than_the_others(count, most):
    spans = even_spans(count, most)
    lengths = [span.stop - span.start for span in spans]
    assert [k for span in spans for k in range(span.start, span.stop)] == list(range(count))
    assert all(0 < length <= most + most / 16 for length in lengths)
    assert max(lengths, default=0) - min(lengths, default=0) <= 1


@pytest.mark.invariant
def test_the_run_itself_is_evaluated_with_draws_of_a_power_of_two():
    assert [span.stop - span.start for span in even_spans(129, 64)] == [64, 65]
    assert len(even_spans(129, 128)) == 1


@pytest.mark.crosscheck
def test_points_are_those_of_a_general_library():
    """The library goes by Gray's code, these points in the order of binary numbers; both are exact in binary."""
    from scipy.stats import qmc  # as below: a second for every worker that collects this file

    ours, theirs = sobol(512, most_dimensions(), None), qmc.Sobol(most_dimensions(), scramble=False).random(512)
    place = np.arange(512)
    assert np.array_equal((ours - 0.5 / 2.0**30)[place ^ (place >> 1)], theirs)


@pytest.mark.invariant
@pytest.mark.parametrize("seed", [0, 1, 77])
def test_scrambled_points_stay_evenly_spread(seed):
    from scipy.stats import qmc

    points = sobol(256, 20, seed)
    for column in points.T:
        assert len(set((column * 256).astype(int))) == 256  # one in each part
    # Every 16 points in a row are spread as well, and pairs of dimensions fill all 16 by 16 squares.
    assert len(set((points[:16, 3] * 16).astype(int))) == 16
    pairs = set(zip((points[:, 0] * 16).astype(int), (points[:, 1] * 16).astype(int), strict=True))
    assert len(pairs) == 256
    random = np.random.default_rng(seed).random((256, 6))
    assert qmc.discrepancy(points[:, :6]) < 0.2 * qmc.discrepancy(random)
    assert not np.array_equal(points, sobol(256, 20, seed + 1))
    assert np.array_equal(points[:, 5:], sobol(256, range(5, 20), seed)) is False  # a scramble of its own


@pytest.mark.regression
def test_seeded_points_are_the_same_bytes_everywhere():
    """Own earlier output: whole numbers of 30 binary digits, made with integers alone."""
    first = (sobol(4, 3, 1) * 2.0**30 - 0.5).astype(int)
    assert first.tolist() == FIRST_POINTS


FIRST_POINTS = [
    [549564284, 1020552622, 154790205],
    [95009969, 111402975, 984358009],
    [1050611796, 529495459, 588577056],
    [469173145, 637063122, 276892772],
]


def test_points_refuse_what_they_cannot_give():
    with pytest.raises(ValueError, match="power of two"):
        sobol(100, 2, 1)
    with pytest.raises(ValueError, match="more than"):
        sobol(8, most_dimensions() + 1, 1)


@pytest.mark.crosscheck
def test_distributions_beside_a_general_library():
    from scipy import stats

    u = np.linspace(0.0005, 0.9995, 400)
    ours = Distribution("triangular", 0.5, 1.0, 2.5).quantile(u)
    assert ours == pytest.approx(stats.triang(c=0.25, loc=0.5, scale=2.0).ppf(u), rel=1e-9)
    assert Distribution("uniform", 2.0, 3.0, 6.0).quantile(u) == pytest.approx(
        stats.uniform(2.0, 4.0).ppf(u), rel=1e-12
    )
    even = Distribution("normal", 8.0, 10.0, 12.0)
    assert even.quantile(u) == pytest.approx(stats.norm(10.0, 2.0 / stats.norm.ppf(0.9)).ppf(u), rel=1e-9)
    assert normal_shares(normal_scores(u)) == pytest.approx(u, rel=1e-9)


@pytest.mark.invariant
def test_ends_of_distributions():
    for kind in ("triangular", "uniform", "normal"):
        one = Distribution(kind, 0.8, 1.0, 1.5)
        assert np.all(np.diff(one.quantile(np.linspace(0.01, 0.99, 50))) > 0.0)
        assert Distribution(kind, 1.0, 1.0, 1.0).quantile(np.array([0.1, 0.9])).tolist() == [1.0, 1.0]
    lopsided = Distribution("normal", 0.8, 1.0, 1.5)
    assert lopsided.quantile(np.array([0.1, 0.5, 0.9])) == pytest.approx([0.8, 1.0, 1.5], rel=1e-12)


@pytest.mark.crosscheck
@pytest.mark.parametrize("correlation", [0.3, 0.7])
def test_joined_inputs_are_correlated_as_said(correlation):
    points = sobol(4096, 3, 5)
    first, second = (normal_scores(joined(points[:, k], points[:, 2], correlation)) for k in (0, 1))
    # Sampling of 4,096 points: a hundredth.
    assert np.corrcoef(first, second)[0, 1] == pytest.approx(correlation, abs=0.01)
    assert first.std() == pytest.approx(1.0, abs=0.01)


# --- percentiles ---------------------------------------------------------------------------------


@pytest.mark.crosscheck
@pytest.mark.parametrize(("count", "allowed"), [(256, 0.03), (2048, 0.011)])
def test_percentiles_come_to_those_of_a_closed_form(count, allowed):
    """A sum of twelve normal inputs has known percentiles; root mean square of errors over seeds, as a share of the
    spread between P10 and P90: 0.011 is what full ranges may be off, and draws by chance would be off by 0.014."""
    weights = np.array([5.0, 4.0, 3.0, 3.0, 2.0, 2.0, 1.5, 1.0, 1.0, 0.7, 0.5, 0.3])
    exact = NormalDist(100.0, float(np.sqrt(np.sum(weights**2))))
    errors = []
    for seed in range(12):
        values = 100.0 + normal_scores(sobol(count, len(weights), seed)) @ weights
        found = quantiles(values, None)
        spread = exact.inv_cdf(0.9) - exact.inv_cdf(0.1)
        for level, value in zip((0.1, 0.5, 0.9), (found.p10, found.p50, found.p90), strict=True):
            errors.append((value - exact.inv_cdf(level)) / spread)
    assert np.sqrt(np.mean(np.square(errors))) < allowed


@pytest.mark.crosscheck
def test_percentiles_beside_a_general_library():
    values = np.random.default_rng(4).normal(size=1001)
    found = quantiles(values, 1.0)
    assert [found.p10, found.p50, found.p90] == pytest.approx(np.quantile(values, [0.1, 0.5, 0.9]), rel=1e-12)


@pytest.mark.invariant
def test_what_never_comes_ranks_last():
    found = quantiles(np.array([1.0, 2.0, 3.0, np.inf, np.inf, np.inf]), np.inf)
    assert (found.p10, found.p50, found.p90) == (1.5, None, None)
    assert (found.never_frac, found.missing, found.run, found.spread) == (0.5, NEVER, None, None)
    none = quantiles(np.array([np.nan, np.nan]), np.nan, "no cost")
    assert (none.p10, none.p50, none.p90, none.run, none.missing) == (None, None, None, None, "no cost")


@pytest.mark.crosscheck
@pytest.mark.parametrize(("count", "of"), [(0, 208), (1, 208), (104, 208), (199, 208), (208, 208), (3, 7)])
def test_interval_of_a_share_beside_a_general_library(count, of):
    from scipy import stats

    wanted = stats.binomtest(count, of).proportion_ci(0.9, method="exact")
    assert share_interval(count, of) == pytest.approx((wanted.low, wanted.high), abs=1e-9)


@pytest.mark.published
def test_uncertainty_of_a_measured_saving_as_published():
    """Fractional savings uncertainty of twelve months before and after, CV(RMSE) and saving 10 %, confidence 90 %: the
    formula with the polynomial of Sun and Baltazar (2013) as CalTRACK 4.3.2.4 quotes it gives 0.738. Draws of the noise
    of all 24 months through a straight line fitted to the first twelve give the same: 1 %, since the polynomial is a
    fit and percentiles of 8,192 draws are off by a little."""
    months, cv, saving = 12, 0.10, 0.10
    k = -0.00022 * months**2 + 0.03306 * months + 0.94054
    formula = 1.812 * k * cv * math.sqrt((months / months) * (1 + 2 / months) / months) / saving
    assert formula == pytest.approx(0.738, abs=0.0005)
    x = np.cos(2 * np.pi * (np.arange(months) + 0.5) / months)
    noise = normal_scores(sobol(8192, 2 * months, 11)) * cv
    design = np.stack([np.ones(months), x], axis=1)
    fit = np.linalg.pinv(design) @ noise[:, :months].T
    residual = noise[:, :months].T - design @ fit
    error = (design @ fit).sum(axis=0) - noise[:, months:].sum(axis=1)
    s = np.sqrt((residual**2).sum(axis=0) / (months - 2))
    # What 90 % of savings lie within, at the scatter that each draw would report.
    reach = np.quantile(np.abs(error / s), 0.9)
    assert reach * cv / (months * saving) == pytest.approx(formula, rel=0.01)


@pytest.mark.invariant
def test_digits_of_the_spread():
    shown = sensible(quantiles(np.linspace(4012.0, 5987.0, 400), 5004.4))
    assert (shown.p10, shown.p50, shown.p90, shown.run) == (4200.0, 5000.0, 5800.0, 5000.0)
    nothing = sensible(quantiles(np.zeros(8), 0.0))
    assert (nothing.p10, nothing.p50) == (0.0, 0.0)


# --- draws of the model --------------------------------------------------------------------------


@pytest.mark.invariant
@pytest.mark.parametrize("case", ONE_OR_LARGER)
def test_a_draw_at_base_values_is_the_run(case):
    results = run(case)
    energies = Model(results, drawn(case)).on_rows(base_factors(drawn(case), 3))
    for c in results.candidates:
        for use in END_USES:
            assert energies[c.id].amounts[use.key] == pytest.approx(c.annual[use.key], rel=1e-9, abs=1e-9)
        cost = sum(energies[c.id].costs_usd.values()) + (0.0 if c.charges is None else c.charges.year_usd)
        assert cost == pytest.approx(c.annual["cost_usd"], rel=1e-9)


def own_overrides(project, lines, factors, d):
    """Inputs of a project of its own for one draw, by their paths."""
    out = {}
    number = lambda one, item: float(factors[one.key][one.basis_of(item)][d])
    pattern = room_pattern(project)
    for one in lines:
        act = one.line.act
        for item in one.items:
            if one.nested or act in ("weather", "found_sat", "found_dsp"):
                continue
            f = number(one, item)
            field = known_path(item.path).field
            clip = lambda value, field=field: float(np.clip(value, field.low, field.high))
            if act == "people":
                f = min(f, 1.0 / max(other.value for other in one.items if other.place == item.place))
                group = project.groups[item.place]
                now = getattr(group, field.name)
                out[item.path] = [v * f for v in now] if field.type == "profile24" else now * f
            elif act == "share":
                out[item.path] = min(item.value * f, 1.0)
            elif act == "shift":
                out[item.path] = clip(item.value + f)
            elif act == "from_one":
                out[item.path] = clip(1.0 - (1.0 - item.value) * f)
            elif act == "pattern":
                out[item.path] = clip(item.value * (1.0 + f * pattern[item.place]))
            elif item.value is not None:
                out[item.path] = clip(item.value * f)
    found = {one.line.act: one for one in lines if one.line.act in ("found_sat", "found_dsp")}
    for part, act, override in (("sat", "found_sat", "override_f"), ("dsp", "found_dsp", "override_inwc")):
        one = found.get(act)
        if one is None:
            continue
        f = float(factors[one.key][one.basis][d])
        move = (lambda y, f=f: y + f) if part == "sat" else (lambda y, f=f: y * f)
        for candidate in project.candidates:
            record = getattr(candidate, part)
            if record.strategy == "as_found":
                out[f"candidate.{candidate.id}.{part}.points"] = [[x, move(y)] for x, y in record.points]
                if record.points_unoccupied:
                    moved = [[x, move(y)] for x, y in record.points_unoccupied]
                    out[f"candidate.{candidate.id}.{part}.points_unoccupied"] = moved
            if record.override_frac > 0.0:
                out[f"candidate.{candidate.id}.{part}.{override}"] = move(getattr(record, override))
    return out


def sizes_of(sizes, d, count):
    pick = lambda value: value[d] if np.ndim(value) and len(value) == count else value
    return replace(sizes, **{name: pick(getattr(sizes, name)) for name in sizes.__slots__})


@pytest.mark.crosscheck
@pytest.mark.parametrize("case", ONE_OR_LARGER)
def test_a_draw_is_a_project_of_its_own(case):
    """Each draw as an ordinary project on the rows of the run: rows of draws side by side against a run alone."""
    results, lines, count = run(case), drawn(case), 8
    factors = some_factors(case, count)
    model = Model(results, lines)
    energies = model.on_rows(factors)
    base = results.runs[results.baseline_id]
    sizes = sizes_that_follow(
        base.project, base.unit, results.held.sizes, lines, factors, results.project.baseline, model.full
    )
    shift = next(factors[one.key][one.basis] for one in lines if one.line.act == "weather")
    moved = 0.0
    for d in (0, 3, 6):
        changes = own_overrides(results.project, lines, factors, d)
        for c in results.candidates:
            project = results.project.with_overrides({**changes, **c.candidate.overrides})
            unit = build_unit(project, sizes_of(sizes, d, count))
            run_ = results.runs[c.id]
            conditions = build_conditions(results.weather, project)
            if results.held.row_index is not None:
                conditions = conditions.take(results.held.row_index).with_hours(results.held.row_weights)
            rows = Rows.of(unit, warmer(conditions, np.full(len(conditions), shift[d])))
            candidate = project.candidate(c.id)
            parts = run_parts(unit, candidate, rows, (), results.held.optimal_sat.get(c.id))
            figures = annual_figures(unit, rows, parts, run_.night)
            for use in END_USES:
                found = energies[c.id].amounts[use.key][d]
                assert found == pytest.approx(figures[use.key], rel=1e-9, abs=1e-7), (c.id, use.key)
            cost = sum(values[d] for values in energies[c.id].costs_usd.values())
            assert cost == pytest.approx(figures["cost_usd"], rel=1e-9)
            moved = max(moved, abs(cost - c.annual["cost_usd"]) / c.annual["cost_usd"])
    assert moved > 0.02  # the draws do something


@pytest.mark.invariant
@pytest.mark.parametrize("case", ONE_OR_SHORT)
def test_plant_efficiencies_multiply_results_exactly(case):
    """Compressor energy and fuel go with the nameplate, so their draws may be nested; fan power does not, since the fan
    heats the air."""
    results = run(case)
    project = results.project
    changes = {
        "cooling.kw_per_ton": project.cooling.kw_per_ton * 1.2,
        "heating.efficiency_frac": project.heating.efficiency_frac / 1.1,
    }
    held = replace(results.held, nights={})  # nights are found anew
    changed = estimate(project.with_overrides(changes), results.weather, held)
    fan = estimate(project.with_overrides({"fan.efficiency_frac": 0.65 / 1.1}), results.weather, held)
    # A chiller that takes more changes what is cheapest: the search holds its setpoints, as draws do.
    for c in results.candidates:
        now = changed[c.id].annual
        assert now["cooling_kwh"] == pytest.approx(1.2 * c.annual["cooling_kwh"], rel=1e-9)
        assert now["fuel_therm"] == pytest.approx(1.1 * c.annual["fuel_therm"], rel=1e-9)
        assert now["fan_kwh"] == pytest.approx(c.annual["fan_kwh"], rel=1e-9)
        assert now["pump_tower_kwh"] == pytest.approx(c.annual["pump_tower_kwh"], rel=1e-9)
    if case == "overridden":
        ratio = fan["as_found"].annual["cooling_kwh"] / results["as_found"].annual["cooling_kwh"]
        assert ratio > 1.0005


@pytest.mark.invariant
def test_warmer_air_keeps_its_relative_humidity():
    conditions = build_conditions(weather_of(), project_with("sized"))
    same = warmer(conditions, np.zeros(len(conditions)))
    assert np.array_equal(same.oawb_f, conditions.oawb_f) and np.array_equal(
        same.humidity_ratio, conditions.humidity_ratio
    )
    hot = warmer(conditions, np.full(len(conditions), 2.0))
    humidity = lambda c: relative_humidity_frac(c.oat_f, c.humidity_ratio, c.pressure_psia)
    assert humidity(hot) == pytest.approx(humidity(conditions), rel=1e-9)
    assert np.all(hot.oawb_f > conditions.oawb_f) and np.all(hot.oa_dewpoint_f > conditions.oa_dewpoint_f)


@pytest.mark.invariant
def test_spread_of_gains_leaves_the_gains_of_a_group():
    project = run("overridden").project
    pattern = room_pattern(project)
    weight = np.array([zone.area_ft2 * zone.gain_multiplier * zone.multiplier for zone in project.zones])
    group = np.array([zone.group for zone in project.zones])
    for name in set(group):
        assert abs(pattern[group == name] @ weight[group == name]) < 1e-9 * weight.sum()
    assert np.ptp(pattern) > 0.5


@pytest.mark.invariant
def test_shares_of_overrides_sum_to_the_year():
    results, lines = run("overridden"), drawn("overridden")
    factors = some_factors("overridden")
    for c in results.candidates:
        own = [p.share for p in results.runs[c.id].parts]
        found = part_shares(c.candidate, own, lines, factors, 8)
        assert sum(found) == pytest.approx(np.ones(8), rel=1e-12)
        base = part_shares(c.candidate, own, lines, base_factors(lines, 2), 2)
        assert [float(each[0]) for each in base] == pytest.approx(own, rel=1e-12)


@pytest.mark.crosscheck
@pytest.mark.parametrize("case", ONE_OR_SHORT)
def test_hours_at_base_values_are_the_hours_of_the_run(case):
    results = run(case)
    model = Model(results, drawn(case))
    hours = Hours(model)
    found = hours.draws(base_factors(drawn(case)), 1)
    for c in results.candidates:
        assert bool(found.serves[c.id][0]) is not c.equal_service.flagged
        for use in END_USES:
            if c.candidate.sat.strategy != "cost_optimal":
                here = found.energies[c.id].amounts[use.key][0]
                assert here == pytest.approx(c.hourly[use.key], rel=1e-9, abs=1e-7)
    assert run_serves(model, hours)[results.baseline_id]


@pytest.mark.crosscheck
@pytest.mark.parametrize("case", [pytest.param(c, marks=() if c == "short" else pytest.mark.slow) for c in CASES])
def test_hours_of_draws_side_by_side_are_those_of_each_alone(case, monkeypatch):
    """Draws as further rows, rooms that options share and counts left out, against an ordinary unit with loads of its
    own and service as the estimate judges it."""
    results, lines = run(case), drawn(case)
    model, given = Model(results, lines), []

    class Kept(hourly.Promised):
        def given(self, *args):
            given.append(super().given(*args))
            return given[-1]

    monkeypatch.setattr(hourly, "Promised", Kept)
    hours, factors, base_id = Hours(model), some_factors(case, 4), results.baseline_id
    hours.at_once = 2
    found = hours.draws(factors, 3)
    first = sorted(model.sites, key=lambda site: site != results.runs[base_id].site)
    ids = [id_ for site in first for id_ in sorted(model.sites[site], key=lambda id_: id_ != base_id)]
    kept = {id_: [*given[k], *given[len(ids) + k]] for k, id_ in enumerate(ids)}
    depths, starved = ("warm_degree_hours", "cold_degree_hours", "zone_oa_short_cfmh"), 0.0
    for d in range(3):
        sites = model.units_alone(taken(factors, slice(d, d + 1)))[0]
        yardstick = base = None
        for id_ in ids:
            run_of, candidate = results.runs[id_], results.project.candidate(id_)
            draws = sites[run_of.site]
            unit = draws.alone(0)
            rows = Rows.of(unit, draws.conditions(hours.conditions[run_of.site]))
            parts = run_parts(unit, candidate, rows, (), hours.found.get(id_))
            weights = model.part_shares(candidate, parts, taken(factors, slice(d, d + 1)), 1)
            parts = [replace(p, share=float(w[0])) for p, w in zip(parts, weights, strict=True)]
            yardstick = yardstick or Yardstick.of(unit, rows.on, rows.loads)
            by_zone = {}
            for p in parts:
                zones = zones_of(unit, rows.on, rows.loads, p.state)
                for name, values in zone_depths(yardstick, p.state, zones).items():
                    by_zone[name] = by_zone.get(name, 0.0) + p.share * values
            figures = annual_figures(unit, rows, parts, run_of.night)
            own = service_figures(yardstick, parts, by_zone, results.held.nights[id_], figures)
            base = base or own
            changes = [(path, candidate.overrides[path]) for path in candidate.changed_service]
            assert found.serves[id_][d] == (not judge(rises(own, base, yardstick), yardstick, changes).flagged)
            for name in (*depths, *(("zone_oa_promised_short_cfmh",) if own is base else ())):
                assert getattr(kept[id_][d], name) == pytest.approx(getattr(own, name), rel=1e-9, abs=1e-6)
            for name in ("oa_short_cfmh", "oa_missing_cfmh", "dewpoint_degree_hours", "cooling_missing_kbtu"):
                assert getattr(kept[id_][d], name) == pytest.approx(getattr(own, name), rel=1e-9, abs=1e-6)
            for key, value in kept[id_][d].figures.items():
                if key != "humid_hours":  # hours are not counted in draws
                    assert value == pytest.approx(figures[key], rel=1e-9, abs=1e-6)
            for use in END_USES:
                here = found.energies[id_].amounts[use.key][d]
                assert here == pytest.approx(figures[use.key], rel=1e-9, abs=1e-6)
            starved += figures["starved_zone_hours"] + figures["airflow_ceiling_hours"]
    # Rows whose rooms cannot be shared are among them.
    assert starved > 0.0 or case != "short"


# --- money ---------------------------------------------------------------------------------------


@pytest.mark.crosscheck
def test_money_of_draws_is_that_of_one_after_the_other():
    terms = record_type("life_cycle")()
    generator = np.random.default_rng(8)
    cost, paid = generator.uniform(0.0, 9000.0, 40), generator.uniform(0.0, 3000.0, 40)
    cost[:3] = 0.0
    electricity, fuel = generator.normal(900.0, 900.0, 40), generator.normal(0.0, 400.0, 40)
    by_source = {"electricity_kwh": electricity, "fuel_therm": fuel}
    whole = life_cycle(cost, paid, by_source, 50.0, terms, internal=False)
    outlay = np.maximum(cost - paid, 0.0)
    before, after = payback_years(cost, electricity + fuel), payback_years(outlay, electricity + fuel)
    for k in range(40):
        one = life_cycle(cost[k], paid[k], {key: value[k] for key, value in by_source.items()}, 50.0, terms)
        for name in ("npv_usd", "sir", "airr", "discounted_payback_years", "saved_present_usd"):
            assert getattr(whole, name)[k] == pytest.approx(float(getattr(one, name)), rel=1e-9, nan_ok=True)
        alone = simple_payback_years(cost[k], paid[k], electricity[k] + fuel[k])
        for found, wanted in ((before[k], alone.before_years), (after[k], alone.after_years)):
            assert (math.isinf(found) and wanted is None) or found == pytest.approx(wanted, rel=1e-9)
    assert np.isnan(whole.irr).all()


# --- the whole -----------------------------------------------------------------------------------


@pytest.mark.invariant
@pytest.mark.parametrize("case", ONE_OR_LARGER)
def test_ranges_hold_together(case):
    results, found = run(case), coarse(case)
    assert [one.id for one in found.options] == [c.id for c in results.candidates]
    if all(c.rank is None for c in results.candidates):
        assert all(one.probability_best is None for one in found.options)
    else:
        assert sum(one.probability_best for one in found.options) == pytest.approx(1.0, rel=1e-12)
    for one in found.options:
        c = results[one.id]
        assert set(one.quantities) == set(QUANTITIES)
        for key, q in one.quantities.items():
            known = [value for value in (q.p10, q.p50, q.p90) if value is not None]
            assert known == sorted(known), key
        assert one.quantities["energy_cost_usd"].run == pytest.approx(c.annual["cost_usd"], rel=1e-9)
        if one.id == results.baseline_id:
            assert one.quantities["cost_saving_usd"].p90 == 0.0 and one.break_even is None
            assert one.quantities["payback_years"].missing == NEVER and one.quantities["sir"].missing == "no cost"
            continue
        assert one.quantities["cost_saving_usd"].run == pytest.approx(c.saving["cost_usd"], rel=1e-9, abs=1e-6)
        assert one.quantities["npv_usd"].run == pytest.approx(float(c.worth.life.npv_usd), rel=1e-9, abs=1e-6)
        wanted = c.worth.payback.after_years
        assert one.quantities["payback_after_incentive_years"].run == (
            None if wanted is None else pytest.approx(wanted, rel=1e-9)
        )
        assert 0.0 <= one.realised_probability_pays_back <= one.probability_pays_back <= 1.0
        # Sixteen draws cannot part all inputs: the fit gives each less than its share, and 0.27 has been seen.
        assert 0.2 < sum(driver.spread_frac for driver in one.drivers) < 1.6
    assert len(found.differences) == len(results.candidates) * (len(results.candidates) - 1) // 2


@pytest.mark.invariant
def test_the_same_seed_makes_the_same_ranges_and_another_one_others():
    results = run("overridden")
    first = find_ranges(results, draws=8)
    assert first == find_ranges(results, draws=8)
    other = replace(results.project.terms, draws=record_type("ranges")(seed=9))
    again = find_ranges(replace(results, project=replace(results.project, terms=other)), draws=8)
    assert again.run_id != first.run_id
    assert again["dsp_demand"].quantities["cost_saving_usd"] != first["dsp_demand"].quantities["cost_saving_usd"]


@pytest.mark.invariant
def test_full_ranges_look_at_hours():
    results = run("overridden")
    found = find_ranges(results, full=True, draws=16)
    assert not found.coarse and found.service_draws == 16 and found.hourly.draws == 16
    for one in found.options:
        assert one.serves.draws == 16 and one.serves.low <= one.serves.probability <= one.serves.high
    assert found[results.baseline_id].serves.probability == 1.0
    # Rows bear the draws: a few hundredths of the spread at the very most in so small a project.
    assert max(found.hourly.gap_frac.values()) < 0.1
    assert [one.id for one in found.reoptimised] == ["sat_cost_optimal_dsp_demand"]
    # Setpoints found anew in a draw cost no more than those that are held.
    assert found.reoptimised[0].mean_gain_usd > -0.001 * results.baseline.annual["cost_usd"]


@pytest.mark.invariant
def test_break_even_price_is_where_nothing_is_gained():
    results = run("overridden")
    found = coarse("overridden")
    one = next(o for o in found.options if o.break_even is not None and o.break_even.usd_kwh is not None)
    project = results.project.with_overrides({"prices.electricity_usd_kwh": one.break_even.usd_kwh})
    there = estimate(project, results.weather, results.held)
    npv = float(there[one.id].worth.life.npv_usd)
    assert abs(npv) < 1e-6 * max(abs(float(results[one.id].worth.life.npv_usd)), 1.0)


@pytest.mark.crosscheck
def test_effects_of_a_known_sum():
    """Of a sum with known variances, and of two inputs of which one tells of the other."""
    points = sobol(1024, 3, 2)
    values = 5.0 * points[:, 0] + 2.0 * points[:, 1] ** 2 + 100.0
    found = Effects({"a": points[:, 0], "b": points[:, 1], "c": points[:, 2]}, {}).of(values)
    first, second = 25.0 / 12.0, 4.0 * (1.0 / 5.0 - 1.0 / 9.0)
    # 1,024 points: shares to a hundredth.
    assert found["a"].share == pytest.approx(first / (first + second), abs=0.01)
    assert found["b"].share == pytest.approx(second / (first + second), abs=0.01)
    assert found["c"].share < 0.001
    assert found["a"].high - found["a"].low == pytest.approx(4.0, abs=0.02)
    r = 0.6
    u = [joined(points[:, k], points[:, 2], r) for k in (0, 1)]
    both = Effects({"a": u[0], "b": u[1]}, {"a": ["b"], "b": ["a"]}).of(normal_scores(u[0]) + normal_scores(u[1]))
    # E[z1 + z2 | z1] = (1 + r) z1, of variance (1 + r)^2 out of 2 + 2 r; polynomials of a share miss the tails (0.05).
    assert both["a"].share == pytest.approx((1.0 + r) / 2.0, abs=0.05)


# --- whose range ---------------------------------------------------------------------------------


def lines_of(case, **changes):
    project = project_with(case, **changes)
    return {one.key: one for one in drawn_lines(project, run(case).unit)}


@pytest.mark.invariant
def test_what_was_measured_has_a_narrower_range():
    default = lines_of("overridden")["fan_efficiency"]
    stated = lines_of("overridden", fan={"efficiency_frac": 0.66})["fan_efficiency"]
    measured = lines_of("overridden", fan={"efficiency_frac": 0.66}, status={"fan.efficiency_frac": "measured"})[
        "fan_efficiency"
    ]
    assert (default.basis, stated.basis, measured.basis) == ("default", "stated", "evidenced")
    assert default.distribution.width > stated.distribution.width > measured.distribution.width > 0.0
    for line in range_lines().values():
        widths = [high - low for low, high in line.ends]
        assert widths == sorted(widths, reverse=True), line.key


@pytest.mark.invariant
def test_an_own_range_is_taken_and_shown_as_such():
    own = [{"name": "fan_efficiency", "low": 0.64, "high": 0.66, "given_as": "value", "source": "balancing report"}]
    project = project_with("overridden", range=own)
    lines = {one.key: one for one in drawn_lines(project, run("overridden").unit)}
    one = lines["fan_efficiency"].distribution
    assert (one.low * 0.65, one.high * 0.65) == pytest.approx((0.64, 0.66), rel=1e-12)
    results = replace(run("overridden"), project=project)
    found = find_ranges(results, draws=8)
    shown = next(each for each in found.inputs if each.key == "fan_efficiency")
    assert shown.basis == "own" and shown.width_frac < 0.2 and shown.source == "balancing report"
    assert shown.default_words == "0.52 to 0.728"
    assert found.narrow == ("Fan efficiency",)
    assert found.own_frac == pytest.approx(1.0 / len(found.inputs))
    assert any("narrower than usual: Fan efficiency" in note for note in found.notes)
    assert found.run_id != coarse("overridden").run_id


@pytest.mark.parametrize(
    ("given", "words"),
    [
        ({"name": "fan_eficiency", "low": 0.9, "high": 1.1}, "did you mean"),
        ({"name": "fan_efficiency", "low": 1.1, "high": 0.9}, "is not above low"),
        ({"name": "fan_efficiency", "low": 1.1, "high": 1.3}, "does not hold the value in force"),
        ({"name": "plug_power", "low": 0.5, "high": 0.9, "given_as": "value"}, "not of one input"),
        ({"name": "fan_efficiency", "low": -0.5, "high": 1.3}, "factor below 0"),
    ],
)
def test_ranges_that_cannot_be_used_are_told(given, words):
    with pytest.raises(InputError, match=words):
        project_with("overridden", range=[given])


def test_own_ranges_that_contradict_inputs_are_told_with_all_that_is_wrong():
    """Before anything is estimated, beside other mistakes of the file."""
    wrong = {
        "heating": {"type": "electric"},
        "ranges": {"weather_years": "typical"},
        "fan": {"efficiency_frac": 0.65, "design_total_inwc": 99},
        "range": [
            {"name": "boiler_efficiency", "low": 0.9, "high": 1.1},
            {"name": "fan_efficiency", "low": 0.7, "high": 0.8, "given_as": "value"},
            {"name": "weather", "low": -1.0, "high": 1.0},
            {"name": "index_pressure", "low": 0.5, "high": 1.0, "given_as": "value"},
            {"name": "duct_gain", "low": 0.9, "high": 1.1},
            {"name": "duct_gain", "low": 0.8, "high": 1.2},
        ],
    }
    with pytest.raises(InputError) as told:
        project_with("overridden", **wrong)
    text = str(told.value)
    for words in (
        "fan.design_total_inwc: above the largest allowed value",
        "range[boiler_efficiency]: this project has no such input to draw; expected one of plug_power",
        "range[fan_efficiency]: does not hold the value in force; got [0.7, 0.8]; expected low up to 0.65 and",
        "range[weather]: this project has no such input to draw",
        "range[index_pressure]: is of values of fan.index_dsp_inwc, which is not given; give fan.index_dsp_inwc itself",
        "range[duct_gain]: the name is given twice",
    ):
        assert words in text, text


def test_an_own_range_that_waits_for_the_climate_is_told_once_it_is_known():
    """The high limit of an economizer is a default by climate: 65 degF where that is not known, 75 degF in 5B."""
    limit = lambda low, high: [{"name": "economizer_limit", "low": low, "high": high, "given_as": "value"}]
    project = project_with("overridden", range=limit(74, 76))
    assert project.in_climate("5B").economizer.high_limit_f == 75.0
    with pytest.raises(InputError, match=r"climate zone 4A.*\n.*range\[economizer_limit\]: does not hold the value"):
        project.in_climate("4A")
    with pytest.raises(InputError, match="does not hold the value in force"):
        project_with("overridden", economizer={"high_limit_f": 70}, range=limit(74, 76))
    # What a candidate makes of an input is not asked.
    repaired = [COSTED[-1]]
    own = [{"name": "stuck_damper", "low": 0.2, "high": 0.3, "given_as": "value"}]
    project = project_with("overridden", candidate=repaired, range=own)
    assert project.with_overrides({"economizer.stuck_frac": "none"}).economizer.stuck_frac is None


@pytest.mark.invariant
def test_the_typical_year_alone_is_a_switch():
    assert "weather" in lines_of("overridden")
    assert "weather" not in lines_of("overridden", ranges={"weather_years": "typical"})


def test_example_ranges_are_whole():
    ids = list(DEFAULT_CANDIDATES)
    for is_coarse in (True, False):
        found = example_ranges(ids, "as_found", coarse=is_coarse)
        assert sum(one.probability_best for one in found.options) == pytest.approx(1.0)
        assert all(set(one.quantities) == set(QUANTITIES) for one in found.options)
        assert (found.hourly is None) is is_coarse


def test_switches_of_the_command(capsys):
    read = lambda *options: parser().parse_args(["estimate", "p.toml", *options])
    assert (read().ranges, read().no_ranges) == (False, False)
    assert read("--ranges").ranges and read("--no-ranges").no_ranges
    with pytest.raises(SystemExit):
        read("--ranges", "--no-ranges")
    assert "not allowed with" in capsys.readouterr().err
