"""Options as run that leave rooms too warm, and options as run with repairs and remedies."""

from __future__ import annotations

import json
from dataclasses import replace
from functools import cache, partial

import numpy as np
import pytest
from books import Book
from builders import PLAIN, SHORT_PIECES, project_of, weather_of
from recalculation import edited

from binestimator import cli
from binestimator.advice import advise, estimate_and_advise
from binestimator.as_run.audit import audit
from binestimator.as_run.changed import START_VALUES, changes_as_run, start_values, with_changes_as_run
from binestimator.as_run.ranking import ranked_as_run
from binestimator.as_run.report import with_as_run
from binestimator.as_run.warm import shortest, warm_words
from binestimator.estimate import estimate
from binestimator.inputs.cell_parts import address_of
from binestimator.inputs.cells import WorkbookFile
from binestimator.results import Review, to_plain
from binestimator.terminal import comparison, reviewed
from binestimator.workbook import layout
from binestimator.workbook.write import workbook_bytes

#: A room that is as warm by night as by day: it begins each morning warmer than its setpoint.
NETWORK = {"name": "Network", "group": "network", "area_ft2": 150, "max_cfm": 420, "index_share": 0.6, "importance": 4}
GROUPS = [*PLAIN["group"], {"name": "network", "always_on": True, "people_ft2": 2000, "equipment_w_ft2": 15}]


def run(project, of=estimate):
    results = of(project, weather_of())
    return with_as_run(results, audit(results))


def project_with(candidates, **changes):
    return project_of(
        project={"default_candidates": False},
        bins={"rows": "mean"},
        as_run=SHORT_PIECES,
        candidate=candidates,
        **changes,
    )


@cache
def warm():
    """Demand resets over a room that begins the day warm, judged as run."""
    project = project_with(
        [{"id": "as_found"}, {"id": "sat_demand_dsp_demand"}], group=GROUPS, zone=[*PLAIN["zone"], NETWORK]
    )
    return with_changes_as_run(advise(ranked_as_run(run(project)), drivers=False))


@cache
def rogue():
    """A zone on a starved branch, which pins duct pressure."""
    zones = [{**z, "rogue": "starved_branch", "index_share": 1.4} if z["name"] == "North" else z for z in PLAIN["zone"]]
    advised = partial(estimate_and_advise, drivers=False)
    return with_changes_as_run(run(project_with([{"id": "as_found"}, {"id": "dsp_demand"}], zone=zones), advised))


@cache
def repaired():
    """The same project with the repair in its inputs, estimated and run by itself."""
    (repair,) = [each for each in rogue().changed_as_run if each.kind == "repair"]
    return run(rogue().project.with_overrides(repair.overrides))


# --- where and when rooms are too warm ----------------------------------------------------------


@pytest.mark.invariant
@pytest.mark.parametrize(
    ("parts", "span"),
    [([0, 0, 5, 5, 0, 0], (2, 3)), ([5, 0, 0, 0, 0, 5], (5, 0)), ([1] * 10, (0, 8)), ([0, 9, 0, 1, 0], (1, 1)),
     ([0, 8, 0, 2, 0], (1, 3))],
)  # fmt: skip
def test_shortest_run_with_most_of_a_sum(parts, span):
    """Nine tenths of it, past the end too."""
    assert shortest(np.array(parts, dtype=float)) == span


@pytest.mark.invariant
def test_hours_and_months_are_the_whole_of_what_is_judged():
    results = warm()
    for found in results.as_run.values():
        whole = found.service.warm_degree_hours
        assert found.warm_when["by_hour"].sum(axis=0) == pytest.approx(whole, rel=1e-6, abs=1e-6)
        assert found.warm_when["by_month"].sum(axis=0) == pytest.approx(whole, rel=1e-6, abs=1e-6)
        assert (found.warm_when["at_start"] <= whole * (1.0 + 1e-6) + 1e-6).all()
    # A room that is too warm is so while the unit runs, and by day: 7 to 18 h at the latest with daylight saving.
    base = results.as_run["as_found"]
    assert base.warm_when["by_hour"][[0, 1, 2, 3, 20, 21, 22, 23]].sum() == 0.0


@pytest.mark.invariant
def test_an_option_too_warm_is_told_with_zone_time_and_what_acts_on_it():
    results = warm()
    run_of = results.as_run["sat_demand_dsp_demand"]
    found = run_of.warm
    assert run_of.equal_service.flagged and found.zone == "Network"
    assert found.rise_degree_hours > found.limit_degree_hours > 0.0
    at = list(results.unit.zones.names).index("Network")
    mine, base = (results.as_run[id_].service.warm_degree_hours[at] for id_ in ("sat_demand_dsp_demand", "as_found"))
    assert found.rise_degree_hours == pytest.approx(mine - base, rel=1e-9)
    assert found.baseline_degree_hours == pytest.approx(base, rel=1e-9)
    assert found.at_start_frac > 0.5 and found.hours[0] in (6, 7)
    words = warm_words(results, "sat_demand_dsp_demand")
    assert "as_run.sat_start_f" in words and "as_run.dsp_start_inwc" in words and "Network: too warm" in words
    assert warm_words(results, "as_found") == ""
    text = " ".join(comparison(results).split())
    assert "Warm rooms too warm as run" in text and "Network: too warm by" in text
    (caution,) = [f for f in results.findings if f.text.startswith("As run rooms")]
    assert caution.level == "caution" and "most in Network: sat_demand_dsp_demand." in caution.text
    assert not [f for f in rogue().findings if f.text.startswith("As run rooms")]
    plain = next(c for c in to_plain(results)["candidates"] if c["id"] == "sat_demand_dsp_demand")["as_run"]
    assert plain["warm"]["zone"] == "Network" and plain["service"]["flagged"] is True


@pytest.mark.crosscheck
def test_options_start_where_rooms_get_most_as_their_first_remedy():
    """The same project with these start values as inputs, estimated and run anew: saving and service of the remedy."""
    results = warm()
    option = results["sat_demand_dsp_demand"]
    starts = start_values(results, option.candidate)
    assert starts == {
        "as_run.sat_start_f": option.candidate.sat.min_f,
        "as_run.dsp_start_inwc": option.candidate.dsp.max_inwc,
    }
    (found,) = [each for each in results.changed_as_run if each.kind == START_VALUES]
    assert found.overrides == starts and found.serves and found.alone_usd == 0.0
    again = run(results.project.with_overrides(starts))
    assert found.after_usd == pytest.approx(again.as_run[option.id].saving["cost_usd"], rel=1e-9)
    assert again.as_run[option.id].equal_service.flagged is False
    assert found.after_usd < found.saving_usd  # it costs what it cures
    assert again.as_run[option.id].warm is None
    # Loops that start there already have no such remedy.
    assert start_values(again, again[option.id].candidate) == {}


# --- repairs ----------------------------------------------------------------------------------------


@pytest.mark.crosscheck
def test_repair_as_run_is_the_repaired_building_as_run():
    """The repaired building, estimated and run anew: what the option saves against the baseline as found, and of that
    what the repair saves at the baseline's setpoints."""
    results = rogue()
    at_rest = {after.way: after for after in results.advice.after_repairs}
    found = {each.kind: each for each in results.changed_as_run}
    assert set(found) == set(at_rest) == {"repair", "exclusion"}
    for way, each in found.items():
        assert each.after_at_rest_usd == at_rest[way].after_usd and each.zones == ("North",)
        assert each.saving_usd == results.as_run["dsp_demand"].saving["cost_usd"]
        # Without the zone that pins it the reset saves more, as run too.
        assert each.value_usd > 0.0
    base, again = results.as_run["as_found"].annual["cost_usd"], repaired().as_run
    repair = found["repair"]
    assert repair.after_usd == pytest.approx(base - again["dsp_demand"].annual["cost_usd"], rel=1e-9)
    assert repair.alone_usd == pytest.approx(base - again["as_found"].annual["cost_usd"], rel=1e-9, abs=1e-6)


@pytest.mark.invariant
def test_files_and_terminal_tell_repairs_as_run():
    results = rogue()
    plain = to_plain(results)["repairs_and_remedies_as_run"]
    assert [each["after_usd"] for each in plain] == [each.after_usd for each in results.changed_as_run]
    assert plain[0]["value_usd"] == pytest.approx(plain[0]["after_usd"] - plain[0]["saving_usd"])
    text = " ".join(comparison(results).split())
    assert "Repaired repairs and remedies as run" in text and "North repaired: saves" in text
    sheet = Book(workbook_bytes(results), data_only=True)[layout.AS_RUN]
    cells = [cell for line in sheet.iter_rows(values_only=True) for cell in line if cell is not None]
    assert any(isinstance(cell, str) and "North repaired" in cell for cell in cells)
    for each in results.changed_as_run:
        assert any(isinstance(cell, float) and cell == pytest.approx(each.after_usd) for cell in cells)


@pytest.mark.invariant
def test_nothing_is_run_again_where_nothing_is_repaired():
    results = estimate(project_with([{"id": "as_found"}, {"id": "dsp_outdoor_air"}]), weather_of())
    assert changes_as_run(replace(results, as_run={})) == ()


# --- a reviewer's second run ------------------------------------------------------------------------


@pytest.mark.invariant
def test_a_second_run_as_run_stands_beside_the_claim_as_run():
    claimed, again = rogue(), repaired()
    review = Review(overrides={"zone.North.rogue": "none"}, results=again)
    (line,) = review.lines(claimed)
    assert line.claimed_as_run_usd == claimed.as_run["dsp_demand"].saving["cost_usd"]
    assert line.reviewed_as_run_usd == again.as_run["dsp_demand"].saving["cost_usd"]
    assert line.reviewed_as_run_usd > line.claimed_as_run_usd
    text = reviewed(claimed, review)
    assert "As run" in text and f"{line.reviewed_as_run_usd:,.0f}" in text
    plain = to_plain(claimed, review)["reviewed"]["candidates"][0]
    assert plain["reviewed_saving_as_run_usd"] == line.reviewed_as_run_usd
    at_rest = Review(overrides={}, results=replace(again, as_run=None))
    assert at_rest.lines(claimed)[0].reviewed_as_run_usd is None
    assert "As run" not in reviewed(claimed, at_rest)


@pytest.mark.crosscheck
@pytest.mark.slow
def test_the_command_runs_a_reviewers_project_at_steps_as_well(tmp_path, capsys):
    """A workbook of results with an override of a reviewer in it, and --as-run: both as their projects are by
    themselves."""
    source = tmp_path / "rogue.xlsx"
    source.write_bytes(workbook_bytes(rogue()))
    with WorkbookFile(source) as file:
        places = {
            cell.value: place
            for place, cell in file.sheet("Inputs").cells.items()
            if cell.value in ("prices.electricity_usd_kwh", "override")
        }
    cell = address_of(places["prices.electricity_usd_kwh"][0], places["override"][1])
    path = tmp_path / "returned.xlsx"
    path.write_bytes(edited(source.read_bytes(), {("Inputs", cell): 0.05}))
    code = cli.main(["estimate", str(path), "--as-run", "--no-ranges", "--out", str(tmp_path / "out")])
    out = capsys.readouterr().out
    assert code == 0 and "As run" in out[out.index("Reviewed  ") :]
    data = json.loads((tmp_path / "out/returned.json").read_text(encoding="utf-8"))
    (line,) = data["reviewed"]["candidates"]
    claimed = rogue().as_run["dsp_demand"].saving["cost_usd"]
    assert line["claimed_saving_as_run_usd"] == pytest.approx(claimed, rel=1e-9)
    again = run(rogue().project.with_overrides({"prices.electricity_usd_kwh": 0.05}))
    assert line["reviewed_saving_as_run_usd"] == pytest.approx(again.as_run["dsp_demand"].saving["cost_usd"], rel=1e-9)
    assert len(data["repairs_and_remedies_as_run"]) == len(rogue().changed_as_run)
