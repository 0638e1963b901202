"""Representative rows against hours on real runs: accuracy, groupings, bin table, fallback.

The whole evidence is ``python -m tests.accuracy``; a few of its projects run here.
"""

import dataclasses
import functools
import re

import accuracy
import numpy as np
import pytest

from binestimator import bins, selection
from binestimator.end_uses import ENERGY_KEYS
from binestimator.estimate import estimate
from binestimator.hours import build_conditions
from binestimator.inputs import project_from_mapping
from binestimator.results import COUNT_KEYS, to_plain
from binestimator.row_accuracy import (
    COST_ERROR_FRAC,
    END_USE_ERROR_FRAC,
    SAVING_ERROR_POINTS,
    bin_accuracy_table,
    count_accuracy_table,
)
from binestimator.weather import find_weather, read_weather

#: Few zones and a day-and-night schedule with three rate periods: quick, and not easy.
SMALL_SEED = 101
#: All of them: python -m tests.accuracy.
SEEDS = (SMALL_SEED, *(pytest.param(seed, marks=pytest.mark.slow) for seed in accuracy.QUICK_SEEDS))
#: Candidates held out that edits are judged by in a quick run.
FEW_HELD_OUT = ("h_table", "h_dsp_demand")
# In the units of the table of errors.
BOUNDS = {"cost_pct": 100 * COST_ERROR_FRAC, "saving_points": SAVING_ERROR_POINTS} | dict.fromkeys(
    accuracy.END_USES, 100 * END_USE_ERROR_FRAC
)


@functools.cache
def weather_of(file, pressure_psia=None):
    return read_weather(find_weather(file, accuracy.ROOT), pressure_psia=pressure_psia)


def run(project, **options):
    return estimate(project, weather_of(project.weather.file, project.weather.pressure_psia), **options)


@functools.cache
def evidence_of(seed):
    """Table of errors and both results: see ``accuracy.errors_of``."""
    own, _, project = accuracy.projects_of(f"seed {seed}")
    return accuracy.errors_of(
        f"seed {seed}", own, project, weather_of(project.weather.file, project.weather.pressure_psia)
    )


@functools.cache
def small_of(**bins_inputs):
    """The same building with the default candidates only and other bins."""
    raw = accuracy.generated(SMALL_SEED)
    del raw["candidate"]
    raw["bins"] = bins_inputs
    return run(project_from_mapping(raw, accuracy.ROOT / "tests"))


# --- accuracy ------------------------------------------------------------------------------


@pytest.mark.crosscheck
@pytest.mark.parametrize("seed", SEEDS)
def test_candidates_are_within_the_bounds_whether_the_choice_has_seen_them_or_not(seed):
    """Rows against the hourly run of the same equations. The bounds are those the program states."""
    table, chosen, results = evidence_of(seed)
    assert accuracy.broken(table) == []
    lines = table.set_index("candidate")
    assert len(chosen.candidates) == 8 and lines.loc[[c.id for c in chosen.candidates], "seen"].all()
    assert (~table["seen"]).sum() >= 12  # held out: all but those and what coincides with a reference
    assert np.array_equal(results.held.row_index, chosen.held.row_index) and np.array_equal(
        results.held.row_weights, chosen.held.row_weights
    )
    # What the table of the project's own candidates shows is what the program says of them.
    for c in chosen.candidates:
        if (
            c.candidate.sat.strategy != "cost_optimal"
        ):  # it tries what the others do, so it may find more where they are more
            assert lines.loc[c.id, "cost_pct"] == pytest.approx(
                100.0 * (c.annual["cost_usd"] / c.hourly["cost_usd"] - 1.0), rel=1e-9, abs=1e-12
            )
    errors = [
        accuracy.figures_error(c.annual, c.hourly, chosen.baseline.annual, chosen.baseline.hourly)
        for c in chosen.candidates
    ]
    worst = {
        "worst_cost_frac": max(abs(e["cost_pct"]) for e in errors) / 100,
        "worst_saving_points": max(abs(e["saving_points"]) for e in errors),
        "worst_end_use_frac": max(abs(e[key]) for e in errors for key in accuracy.END_USES) / 100,
    }
    for name, value in worst.items():
        assert getattr(chosen.selection, name) == pytest.approx(value, rel=1e-9, abs=1e-15)


@pytest.mark.crosscheck
def test_mean_rows_are_worse_than_representative_ones():
    """Otherwise the whole effort would be for nothing; on the same bins."""
    table, _, _ = evidence_of(SMALL_SEED)
    unseen = table[~table["seen"]]
    assert unseen["classic_cost_pct"].abs().min() > 5 * unseen["cost_pct"].abs().max()


@pytest.mark.crosscheck
@pytest.mark.parametrize("ids", [FEW_HELD_OUT, pytest.param(None, marks=pytest.mark.slow)], ids=["few", "all"])
def test_held_rows_stay_good_after_moderate_edits(ids, monkeypatch):
    """Every other edit and a few candidates quickly."""
    _, project, _ = accuracy.projects_of(
        f"seed {SMALL_SEED}"
    )  # edits are judged by its own candidates and those held out
    if ids is not None:
        raw = accuracy.generated(SMALL_SEED)
        listed = [c for c in raw["candidate"] if c["id"] in ids]
        assert len(listed) == len(ids)
        # Without the default candidates, which the choice of rows has seen.
        few = {
            "candidate": [{"id": "as_found"}, *listed],
            "project": {**raw.get("project", {}), "default_candidates": False},
        }
        project = project_from_mapping(raw | few, accuracy.ROOT / "tests")
        some = dict(list(accuracy.edits(project).items())[::2])
        monkeypatch.setattr(accuracy, "edits", lambda project: some)
    # On rows that were chosen without any candidate that is held out.
    held = accuracy.held_errors_of("small", project, weather_of(project.weather.file), evidence_of(SMALL_SEED)[2])
    assert set(held["edit"]) == set(accuracy.edits(project)) and len(held["edit"].unique()) == (8 if ids is None else 4)
    assert held["cost_pct"].abs().max() <= 100 * accuracy.HELD_ERROR_FRAC
    # Setpoints of a search are values in a live workbook; the other strategies follow an edit.
    assert held.loc[~held["optimal"], "live_cost_pct"].abs().max() <= 100 * accuracy.HELD_ERROR_FRAC


@pytest.mark.slow
@pytest.mark.invariant
def test_the_choice_is_deterministic():
    # The same bins, by default and given: two runs. Quickly: a run of a smaller project twice, in test_estimate.py.
    first, again = small_of(), small_of(width_f=5)
    assert np.array_equal(first.held.row_index, again.held.row_index)
    assert np.array_equal(first.held.row_weights, again.held.row_weights)
    assert first.selection == again.selection


@pytest.mark.invariant
def test_seeds_give_the_same_project_again_and_span_what_is_claimed():
    assert accuracy.generated(117) == accuracy.generated(117)
    raws = [accuracy.generated(seed) for seed in accuracy.SEEDS]
    assert len(raws) >= 24
    assert {len(raw["zone"]) for raw in raws} >= {5, 60} and all(5 <= len(raw["zone"]) <= 60 for raw in raws)
    minimums = {g["minimum_flow_frac"] for raw in raws for g in raw["group"]}
    assert min(minimums) == 0.0 and max(minimums) == 0.5
    for section, kinds in (
        ("cooling", accuracy.COOLING),
        ("heating", accuracy.HEATING),
        ("economizer", accuracy.ECONOMIZER),
    ):
        assert all(kind in [raw[section] for raw in raws] for kind in kinds)
    assert {raw["outdoor_air"]["control"] for raw in raws} == {"flow", "position", "people"}
    assert {raw["weather"]["file"] for raw in raws} == set(accuracy.WEATHER_FILES)
    modes = {"never" if raw["group"][0].get("always_on") else raw["schedule"]["unoccupied_mode"] for raw in raws}
    assert modes == set(accuracy.MODES)
    assert any("pressure_psia" in raw["weather"] for raw in raws)
    assert any(zone.get("heating_law") == "dual_maximum" for raw in raws for zone in raw["zone"])


@pytest.mark.invariant
def test_a_bound_that_is_broken_is_told():
    table = evidence_of(SMALL_SEED)[0].copy()
    assert accuracy.broken(table) == []
    for column, bound in BOUNDS.items():
        worse = table.copy()
        worse.loc[3, column] = -1.001 * bound
        assert len(accuracy.broken(worse)) == 1
    worse = table.copy()
    worse.loc[0, "cost_pct"] = np.nan
    assert len(accuracy.broken(worse)) == 1
    table["cost_pct"] = np.nan
    assert len(accuracy.broken(table)) == 1


# --- groupings -----------------------------------------------------------------------------


GROUPINGS = [
    {"width_f": 2},
    {"width_f": 5},
    {"width_f": 10},
    {"width_f": 10, "by_month": True},
    {"width_f": 5, "by_rate_period": True},
]


@pytest.mark.crosscheck
@pytest.mark.parametrize(
    "grouping",
    [pytest.param(g, marks=() if g in ({"width_f": 2}, {"width_f": 5}) else pytest.mark.slow) for g in GROUPINGS],
    ids=lambda g: " ".join(f"{k}={v}" for k, v in g.items()),
)
def test_every_grouping_states_its_rows_and_bound_and_keeps_groups_exact(grouping):
    results = small_of(**({} if grouping == {"width_f": 5} else grouping))  # the default
    choice, table = results.selection, results.row_table
    assert choice.rows == len(table) <= choice.bound
    assert not choice.fallback
    if grouping == {"width_f": 5}:
        assert choice.bound <= bins.MAX_ROWS
    hourly = build_conditions(results.weather, results.project)
    group_id, groups = bins.group_keys(hourly, results.project.bins)
    assert choice.groups == len(groups)
    for values in (np.ones(8760), hourly.oat_f, hourly.humidity_ratio):
        wanted = np.bincount(group_id, values)
        found = np.bincount(
            group_id[results.held.row_index], results.held.row_weights * values[results.held.row_index], len(groups)
        )
        # 1e-9 of the largest: weights are settled to EXACT_TOLERANCE.
        np.testing.assert_allclose(found, wanted, rtol=1e-8, atol=1e-9 * np.abs(wanted).max())
    assert choice.worst_cost_frac <= COST_ERROR_FRAC
    # Within the bounds of the default grouping, though the promise is for that one only.
    assert choice.worst_saving_points <= SAVING_ERROR_POINTS and choice.worst_end_use_frac <= END_USE_ERROR_FRAC


@pytest.mark.invariant
def test_mean_rows_state_their_rows_too():
    results = small_of(rows="mean")
    choice = results.selection
    assert choice.rows == choice.bound == choice.groups == len(results.row_table)
    assert choice.worst_residual_frac is None and not choice.fallback
    assert "classic" in choice.method


# --- when the choice fails -----------------------------------------------------------------


@pytest.mark.crosscheck
@pytest.mark.parametrize(("default", "least"), [(False, 4), pytest.param(True, 20, marks=pytest.mark.slow)])
def test_candidates_are_among_the_references(monkeypatch, default, least):
    """From hardly any other references the rows still reproduce the project's candidates, with those that its user
    adds or that change inputs; without the candidates the same choice misses a bound, and the checks say so. A few
    candidates, and all of them beside the default ones as a larger slice."""
    whole, choose = selection.match_columns, selection.choose_rows

    def hardly_any(project, unit, rows, candidates=(), asked=None):
        columns, more = whole(project, unit, rows, candidates, asked), 8 * len(candidates)
        few = [0, 1, 2, 3, *range(columns.match.shape[1] - more, columns.match.shape[1])]
        return dataclasses.replace(
            columns, match=columns.match[:, few], scale=columns.scale[few], variation=columns.variation[:, :0]
        )

    raw = accuracy.generated(SMALL_SEED)
    raw["candidate"].append(
        {
            "id": "o_leaky",
            "name": "More leakage",
            "kind": "repair",
            "sat": "as_found",
            "dsp": "as_found",
            "override": {"air_handler.leakage_frac": 0.15},
        }
    )
    if not default:
        raw["candidate"] = [{"id": "as_found"}, *raw["candidate"][:4], raw["candidate"][-1]]
        raw["project"] = {**raw.get("project", {}), "default_candidates": False}
    project, weather = project_from_mapping(raw, accuracy.ROOT / "tests"), weather_of(accuracy.WEATHER_FILES[0])
    monkeypatch.setattr(selection, "match_columns", hardly_any)
    with_them = estimate(project, weather)
    assert len(with_them.candidates) > least
    # A fifth of the bounds: 24 candidates with five end uses each take most of the freedom of 240 rows.
    assert with_them.selection.worst_cost_frac <= 0.2 * COST_ERROR_FRAC
    assert with_them.selection.worst_saving_points <= 0.2 * SAVING_ERROR_POINTS
    assert not any(c.status == "fail" and c.name.startswith("Bins against hours") for c in with_them.checks)

    monkeypatch.setattr("binestimator.estimate.run.choose_rows", lambda *arguments: choose(*arguments[:4]))
    without = estimate(project, weather)
    assert (
        without.selection.worst_cost_frac > COST_ERROR_FRAC
        or without.selection.worst_saving_points > SAVING_ERROR_POINTS
    )
    assert any(c.status == "fail" and c.name.startswith("Bins against hours") for c in without.checks)
    for c in without.candidates:  # the hours do not depend on the rows
        assert c.hourly == with_them[c.id].hourly


@pytest.mark.invariant
def test_a_failing_solver_falls_back_and_says_so(monkeypatch):
    def fails(*arguments):
        raise np.linalg.LinAlgError("SVD did not converge")

    monkeypatch.setattr(bins.rows, "select", fails)
    raw = accuracy.generated(SMALL_SEED)
    raw["candidate"] = [{"id": "as_found"}, *raw["candidate"][:1]]
    raw["project"] = {**raw.get("project", {}), "default_candidates": False}
    results = run(project_from_mapping(raw, accuracy.ROOT / "tests"))
    assert results.selection.fallback
    assert "SVD did not converge" in results.selection.method and results.row_method == results.selection.method
    assert results.selection.exact_error_frac <= bins.EXACT_TOLERANCE
    told = [f for f in results.findings if f.where == "bins"]
    assert len(told) == 1 and told[0].level == "caution" and "SVD did not converge" in told[0].text
    plain = to_plain(results)["rows"]
    assert plain["fallback"] is True and plain["count"] == results.selection.rows
    # The fallback keeps hours, temperature and humidity, and is told where it is not good enough.
    statuses = {c.name: c.status for c in results.checks if c.name.startswith("Bins against hours")}
    assert set(statuses.values()) <= {"pass", "fail"}


@pytest.mark.invariant
def test_no_fallback_no_finding():
    assert not [f for f in small_of().findings if f.where == "bins"]


# --- tables --------------------------------------------------------------------------------


@pytest.mark.crosscheck
def test_accuracy_table_is_recomputed_from_two_runs():
    """Classic figures are those of the same project run on mean rows."""
    ours, classic = small_of(), small_of(rows="mean")
    table = bin_accuracy_table(ours).set_index(["candidate", "quantity"])
    base, classic_base = ours.baseline, classic.baseline
    for c in ours.candidates:
        other = classic[c.id]
        line = table.loc[c.id, "cost_usd"]
        assert line["hourly"] == c.hourly["cost_usd"] == other.hourly["cost_usd"]
        assert line["classic"] == pytest.approx(other.annual["cost_usd"], rel=1e-12)
        assert line["classic_error_usd"] == pytest.approx(other.annual["cost_usd"] - c.hourly["cost_usd"], rel=1e-9)
        assert line["bins_error"] == pytest.approx(
            100 * (c.annual["cost_usd"] / c.hourly["cost_usd"] - 1), rel=1e-9, abs=1e-9
        )
        uses = [key for key in ENERGY_KEYS if (c.id, key) in table.index]
        assert table.loc[c.id].loc[uses, "bins_error_usd"].sum() == pytest.approx(
            line["bins_error_usd"], rel=1e-9, abs=1e-6
        )
        assert table.loc[c.id].loc[uses, "classic_error_usd"].sum() == pytest.approx(
            line["classic_error_usd"], rel=1e-9, abs=1e-6
        )
        if c.id != base.id:
            saved = table.loc[c.id, "saving_pct"]
            assert saved["bins_error"] == pytest.approx(saved["bins"] - saved["hourly"], abs=1e-9)
            wanted = 100 * (1 - other.annual["cost_usd"] / classic_base.annual["cost_usd"])
            assert saved["classic"] == pytest.approx(wanted, abs=1e-9)
            assert saved["error_unit"] == "points"
    within = table["bins_error"].abs() <= table["bound"]
    assert (table["status"] == np.where(within, "pass", "fail")).all()
    assert (
        table["classic_status"] == np.where(table["classic_error"].abs() <= table["bound"], "pass", "explain")
    ).all()
    assert "explain" in set(table["classic_status"])


@pytest.mark.invariant
def test_mean_rows_are_explained_not_failed():
    assert set(bin_accuracy_table(small_of(rows="mean"))["status"]) == {"pass", "explain"}


@pytest.mark.invariant
def test_counts_shown_are_hourly_and_those_of_rows_stand_beside():
    results = small_of()
    table = count_accuracy_table(results)
    assert set(table["count"]) <= set(COUNT_KEYS)
    for line in table.to_dict("records"):
        c = results[line["candidate"]]
        assert line["hourly"] == c.hourly[line["count"]] and line["bins"] == c.annual[line["count"]]
        assert line["error"] == pytest.approx(line["bins"] - line["hourly"], abs=1e-9)
    one = table[table["candidate"] == "sat_demand"].set_index("count")
    assert one.loc["running_hours", "error"] == pytest.approx(0.0, abs=1e-6)
    assert one.loc["economizer_hours", "hourly"] == results["sat_demand"].hourly["economizer_hours"]
    assert one.loc["economizer_hours", "bins"] == results["sat_demand"].annual["economizer_hours"]


@pytest.mark.crosscheck
def test_bin_table_of_a_real_run():
    """Every column of the bin table again from the hours, and the listed hours from the weather file."""
    results = small_of()
    table, frame = results.bin_table, results.weather.frame
    low = table["bin_low_f"].to_numpy()
    assert (
        (np.diff(low) == 5).all()
        and (table["bin_high_f"] - low == 5).all()
        and (table["midpoint_f"] - low == 2.5).all()
    )
    assert table["hours"].sum() == pytest.approx(8760, rel=1e-12)
    conditions = build_conditions(results.weather, results.project)
    place = np.floor(np.round(frame["oat_f"].to_numpy(), 6) / 5).astype(int) - low[0] // 5
    occupied = np.bincount(place, conditions.occupied, len(low))
    np.testing.assert_allclose(table["hours_occupied"], occupied, rtol=1e-12)
    parts = table[["hours_occupied", "hours_unoccupied_running", "hours_off"]].sum(axis=1)
    np.testing.assert_allclose(parts, table["hours"], rtol=1e-12)
    some = table["hours"] > 0
    for column, source in (("mcwb_f", "oawb_f"), ("mean_oat_f", "oat_f"), ("mean_humidity_ratio", "humidity_ratio")):
        mean = np.bincount(place, frame[source], len(low))[some] / np.bincount(place, minlength=len(low))[some]
        np.testing.assert_allclose(table.loc[some, column], mean, rtol=1e-9)
    # Mean airflow: hour by hour, of the baseline (this project runs all the time).
    total = (table["mean_flow_cfm"] * table["hours"])[some].sum()
    assert total / 8760 == pytest.approx(results.baseline.hourly["mean_flow_cfm"], rel=1e-9)

    months = {
        name: k + 1
        for k, name in enumerate(["Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec"])
    }
    count = 0
    for line in table.itertuples():
        listed = re.findall(r"(\w{3}) (\d\d) (\d\d)h x ([\d.]+)", line.representative_hours)
        assert len(listed) == line.rows
        # Weights are printed to 0.1 h.
        assert sum(float(weight) for *_, weight in listed) == pytest.approx(
            line.hours, abs=0.05 * max(len(listed), 1) + 1e-9
        )
        for month, day, hour, _ in listed:
            at = frame[
                (frame["month"] == months[month]) & (frame["day"] == int(day)) & (frame["hour_start"] == int(hour))
            ]
            assert len(at) == 1 and line.bin_low_f <= round(float(at["oat_f"].iloc[0]), 6) < line.bin_high_f
        count += len(listed)
    assert count == len(results.row_table)


@pytest.mark.invariant
def test_empty_bins_are_listed_and_single_hours_stand_for_themselves():
    results = small_of(width_f=2)
    table = results.bin_table
    hourly = build_conditions(results.weather, results.project)
    group_id, groups = bins.group_keys(hourly, results.project.bins)
    alone = groups.index[groups["rows"] == 1]
    assert len(alone) > 0
    for group in alone:
        mine = group_id[results.held.row_index] == group
        assert mine.sum() == 1 and results.held.row_weights[mine] == pytest.approx(1.0, rel=1e-9)
    empty = table[table["hours"] == 0]
    assert (empty["rows"] == 0).all() and empty["mcwb_f"].isna().all() and (empty["representative_hours"] == "").all()
    assert table["hours"].sum() == pytest.approx(8760, rel=1e-12)


@pytest.mark.invariant
def test_held_rows_of_another_schedule_are_told():
    """Rows held while the running hours change no longer represent the hours of a bin."""
    results = small_of()
    changed = dataclasses.replace(
        results.project, schedule=dataclasses.replace(results.project.schedule, weekday_hours=(0.0, 24.0))
    )
    held = estimate(changed, results.weather, held=results.held)
    assert any(f.where == "bins" and f.level == "caution" for f in held.findings)
    assert held.selection.worst_residual_frac is None
