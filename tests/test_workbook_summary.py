"""The summary page and the check sheet say what the results say, in words that need no glossary."""

import io
import re
import zipfile
from dataclasses import replace
from functools import cache

import numpy as np
import openpyxl
import pytest
from books import Book
from builders import PLAIN, project_of, weather_of

from binestimator.advice.value import Coincidence, Parts, Value, is_limit_of_control
from binestimator.estimate import estimate
from binestimator.results import Advice
from binestimator.row_accuracy import COST_ERROR_FRAC, bin_accuracy_table, bin_errors, count_accuracy_table
from binestimator.terminal import comparison
from binestimator.workbook import layout, workbook_bytes
from binestimator.workbook.figures import (
    DEFEATS_FRAC,
    advised,
    answer,
    bin_claims,
    bound_text,
    failing_text,
    holdback_lines,
    holdbacks,
    key_figures,
    known_text,
    money,
    money_step,
    options,
    plain_words,
    risk_lines,
    rounded,
    sure_lines,
    today,
    use_step,
    value_lines,
    what_moves,
)
from binestimator.workbook.live import pen
from binestimator.workbook.live.columns import FIRST_ROW as FIRST_LINE
from binestimator.workbook.live.columns import PRINTED_COLUMNS
from binestimator.workbook.sheets.glance.columns import columns_of, spans
from binestimator.workbook.sheets.glance.places import ANSWER_ROW, FIRST_ROW, KNOWN_ROW, STALE_ROW
from binestimator.workbook.sheets.glance.remarks import review_row

# Words of the trade and of the program that an owner would have to look up.
UNEXPLAINED = re.compile(
    r"\b(OAT|MAT|RAT|VAV|AHU|DX|EUI|COP|IPLV|MCWB|RH|OA|BHP|VFD|TMY|degF|unmet|latent|sensible|inwc|in\. "
    r"w\.c\.)(?![\w’])"
)


@cache
def pinned():
    """Demand resets pinned by a zone that asks without need; one candidate repairs it, one leaves it out."""
    zones = [{**zone, "rogue": "both"} if zone["name"] == "Core" else zone for zone in PLAIN["zone"]]
    project = project_of(
        project={"name": "Pinned", "default_candidates": True},
        zone=zones,
        candidate=[
            {
                "id": "repaired",
                "name": "Zone repaired",
                "kind": "repair",
                "sat": "demand",
                "dsp": "demand",
                "override": {"zone.Core.rogue": "none"},
            },
            {
                "id": "left_out",
                "name": "Zone left out",
                "kind": "companion",
                "sat": "demand",
                "dsp": "demand",
                "override": {"zone.Core.importance": 0},
            },
        ],
    )
    return estimate(project, weather_of("greensboro"))


@cache
def humid():
    """A candidate in a humid place that is not equal in service."""
    project = project_of(
        project={"name": "Damp", "default_candidates": False},
        bins={"rows": "mean"},
        limits={"humidity": "none"},
        candidate=[
            {"id": "as_found", "name": "As found", "sat": "as_found", "dsp": "as_found"},
            {"id": "warm", "name": "Warm", "sat": {"strategy": "fixed", "setpoint_f": 68.0}, "dsp": "as_found"},
        ],
    )
    return estimate(project, weather_of("miami"))


@cache
def content(which):
    return workbook_bytes(which())


@cache
def book(which):
    return Book(content(which))


def glance_of(results):
    """The first sheet of a workbook that is looked at once."""
    return Book(workbook_bytes(results)).only(layout.GLANCE)[layout.GLANCE]


def texts_of(sheet):
    return [str(cell) for line in sheet.iter_rows(values_only=True) for cell in line if cell is not None]


# ---------------------------------------------------------------- what holds resets back


@pytest.mark.crosscheck
def test_a_rogue_zone_is_named_with_the_candidates_it_holds_and_no_others():
    results = pinned()
    number = {c.id: k for k, c in enumerate(results.candidates, 1)}
    found = {h.label: h for h in holdbacks(results)}
    for what, part in (("colder air", "sat"), ("more pressure", "dsp")):
        faulty = found[f"Faulty zone “Core” asks for {what} without need"]
        held = {
            number[c.id]
            for c in results.candidates
            if getattr(c.candidate, part).strategy == "demand" and not c.candidate.overrides
        }
        assert held and set(faulty.shares) == held
        assert all(share == pytest.approx(1.0, rel=1e-12) for share in faulty.shares.values())
    highest = next(h for label, h in found.items() if "highest limit" in label)
    assert highest.shares[number["dsp_demand"]] == pytest.approx(
        results["dsp_demand"].hourly["dsp_at_max_hours"] / results["dsp_demand"].hourly["running_hours"]
    )
    # Three requests are more than are ignored: pressure stays where it was, until the zone is repaired or left out.
    assert highest.shares[number["dsp_demand"]] > DEFEATS_FRAC > highest.shares[number["repaired"]]
    assert highest.shares[number["left_out"]] < DEFEATS_FRAC
    lines = " ".join(holdback_lines(results))
    assert "▲ Faulty zone “Core” asks for more pressure without need: 100 % of running hours" in lines
    assert all(0.0 <= share <= 1.0 + 1e-12 for h in holdbacks(results) for share in h.shares.values())


@pytest.mark.invariant
def test_causes_come_worst_first_and_none_is_lost():
    results = pinned()
    found = holdbacks(results)
    assert [h.worst for h in found] == sorted((h.worst for h in found), reverse=True)
    worth = [h for h in found if h.worst >= h.least]
    for most in (1, 2, len(worth)):
        lines = holdback_lines(results, most)
        assert len(lines) == min(most, len(worth)) + 1
        assert (f"{len(worth) - most} more" in lines[-1]) == (len(worth) > most)
    # Every cause is given in full on the sheet of patterns.
    sheet = book(pinned)[layout.PATTERNS]
    at = {sheet.cell(row, 1).value: row for row in range(1, sheet.max_row + 1)}
    for h in found:
        for number in range(1, len(results.candidates) + 1):
            value = sheet.cell(at[h.label], 1 + number).value
            assert value == (pytest.approx(100.0 * h.shares[number], rel=1e-12) if number in h.shares else None)


# ---------------------------------------------------------------- the page


def test_the_summary_has_no_word_that_needs_a_glossary_and_no_id():
    for which in (pinned, humid):
        results = which()
        names = [c.name for c in results.candidates]
        for text in texts_of(book(which)[layout.GLANCE]):
            for name in sorted(names, key=len, reverse=True):
                text = text.replace(name, "")
            text = text.replace(
                f"{results.weather.name} ({results.weather.format}, station {results.weather.station})", ""
            )
            assert not UNEXPLAINED.search(text), text
            for c in results.candidates:
                if "_" in c.id:
                    assert c.id not in text, text
            assert len(text) < 700, text
    page = " ".join(texts_of(book(pinned)[layout.GLANCE]))
    for abbreviation, words in (
        ("SAT", "supply air temperature (SAT)"),
        ("DSP", "duct static pressure (DSP)"),
        ("kWh", "kWh: "),
        ("kBtu", "kBtu: "),
        ("therm", "therm: "),
    ):
        assert abbreviation in page and words in page


@pytest.mark.crosscheck
def test_key_figures_are_those_of_the_results():
    results = pinned()
    base, best, step = results.baseline, advised(results), money_step(results)
    found = {label: (figure, remark) for label, figure, remark in key_figures(results)}
    assert found["Do nothing"][0] == f"{money(base.annual['cost_usd'], step)} a year"
    number = next(k for k, c in enumerate(results.candidates, 1) if c.id == best.id)
    label = "Best" if best.id == results.best.id else "Best in practice"
    assert found[f"{label}: option {number}"][0] == f"{money(best.annual['cost_usd'], step)} a year"
    assert found["It saves"][0] == f"{money(best.saving['cost_usd'], step)} a year"
    shares = [results.share_of_bound(c.id) for c in results.candidates if c.rank is not None and c.id != base.id]
    assert found["Setpoints alone reach"][0] == f"{100 * max(s for s in shares if s is not None):.0f} %"
    cells = texts_of(book(pinned)[layout.GLANCE])
    for label, (figure, remark) in found.items():
        assert label in cells and figure in cells and remark in cells
    assert answer(results) in cells and what_moves(results) in cells


@pytest.mark.crosscheck
def test_the_limit_stands_as_the_last_line_and_is_explained():
    results, sheet = pinned(), book(pinned)[layout.GLANCE]
    row = FIRST_ROW + len(results.candidates) + 1
    heads = {str(sheet.cell(FIRST_ROW, k).value).split("\n")[0]: k for k in range(1, sheet.max_column + 1)}
    assert sheet.cell(row, 1).value == "◇ limit"
    for label, key in (("Fans", "fan_kwh"), ("Fuel", "fuel_therm")):
        change = results.bound[key] - results.baseline.annual[key]
        assert sheet.cell(row, heads[label]).value == rounded(change, use_step(results, key))
    assert sheet.cell(row, heads["Energy cost"]).value == rounded(results.bound["cost_usd"], money_step(results))
    text = bound_text(results)
    others = [k for k, c in enumerate(results.candidates, 1) if results.share_of_bound(c.id) is None]
    assert text in texts_of(book(pinned)[layout.OPTIONS]) and f"{options(others)} change more than setpoints" in text


def test_there_is_a_place_for_reviews_in_every_column():
    results, sheet = pinned(), book(pinned)[layout.GLANCE]
    row, number = review_row(results) + 1, 1 + [c.id for c in results.candidates].index(advised(results).id)
    assert f"Option {number} as claimed" in sheet.cell(row, 2).value
    for place, (key, *_) in enumerate(columns_of(results), 3):
        claimed, reviewed, ratio = (sheet.cell(row + k, place).value for k in range(3))
        if claimed.endswith(',"–")'):
            assert reviewed == ratio == claimed
        else:
            assert layout.LIVE_YEAR in reviewed and "ISNUMBER" in ratio, key
    assert "Held values" in sheet.cell(STALE_ROW + 1, 1).value


@pytest.mark.invariant
@pytest.mark.parametrize("count", range(1, 7))
@pytest.mark.parametrize("widths", [[12.0, 50.0, *[9.0] * 12], [12.0, 42.0, *[10.0] * 9, 11.5, 20.0, 5.0], [1.0] * 9])
def test_fields_side_by_side_cover_the_page_once(widths, count):
    found = spans(widths, count)
    if count == 1:
        assert found == [(0, 1)]
        return
    assert len(found) == count and found[0][0] == 0 and found[-1][1] == len(widths) - 1
    assert all(last >= first for first, last in found) and all(b[0] == a[1] + 1 for a, b in zip(found, found[1:]))


def test_a_candidate_that_serves_worse_is_told_in_plain_words():
    results = humid()
    warm = results["warm"]
    assert warm.equal_service.flagged
    page = " ".join(texts_of(book(humid)[layout.GLANCE]))
    assert "▲ Option 2 is not ranked, as it serves the rooms worse" in page and "▲ WORSE" in page
    for reason in warm.equal_service.reasons:
        assert plain_words(reason) in page
        assert re.findall(r"[\d,]+", plain_words(reason)) == re.findall(r"[\d,]+", reason)
    damp = next(line for line in risk_lines(results) if line.startswith("▲ Damp rooms"))
    assert f"{warm.hourly['humid_hours']:,.0f} h with option 2" in damp and damp in page


def test_no_ratio_is_formed_with_the_rounding_of_nothing(monkeypatch):
    """A use that the claimed candidate leaves alone differs from the baseline's by the last digits, or not at all."""
    # Such a use is put into the results here, which the formulas of the year would rightly not accept.
    monkeypatch.setattr(pen, "MOST_RESIDUAL", float("inf"))
    results = pinned()
    best = next(k for k, c in enumerate(results.candidates) if c.id == advised(results).id)
    kept = dict(results.candidates[best].annual, fuel_therm=results.baseline.annual["fuel_therm"] + 1e-9)
    same = replace(
        results, candidates=tuple(replace(c, annual=kept) if k == best else c for k, c in enumerate(results.candidates))
    )
    sheet = glance_of(same)
    place = 3 + [column[0] for column in columns_of(same)].index("fuel_therm")
    row = review_row(same) + 1
    # The claim stands as nothing, and the ratio asks for more than nothing.
    assert sheet.cell(row, place).value.endswith(",0.0)")
    letter = sheet.cell(row, place).column_letter
    assert f"IF(ABS(N({letter}{row}))>0.001," in sheet.cell(row + 2, place).value


def test_a_candidate_that_gives_less_outdoor_air_is_told():
    """With the damper at a position outdoor air follows supply air: lower minimums save what they no longer
    ventilate."""
    project = project_of(
        project={"name": "Position", "default_candidates": False},
        bins={"rows": "mean"},
        outdoor_air={"control": "position", "minimum_cfm": None, "position_frac": 0.5},
        candidate=[
            {"id": "as_found", "name": "As found", "sat": "as_found", "dsp": "as_found"},
            {
                "id": "lowered",
                "name": "Minimums lowered",
                "kind": "companion",
                "sat": "as_found",
                "dsp": "as_found",
                "override": {"group.office.minimum_flow_frac": 0.05, "group.meeting.minimum_flow_frac": 0.05},
            },
        ],
    )
    results = estimate(project, weather_of("greensboro"))
    base, lowered = results.baseline, results["lowered"]
    assert lowered.hourly["oa_short_hours"] > base.hourly["oa_short_hours"] + 0.01 * base.hourly["running_hours"]
    assert lowered.saving["cost_usd"] > 0.0
    (told,) = (f for f in results.findings if f.where == "outdoor air")
    hours = f"{lowered.hourly['oa_short_hours']:,.0f} h"
    assert (
        told.level == "caution"
        and f"lowered {hours}" in told.text
        and hours + " with option 2" in "".join(risk_lines(results))
    )
    assert not any("outdoor air" in line for line in risk_lines(humid()))


def test_who_does_nothing():
    assert today(pinned()).id == "as_found"
    project = project_of(
        project={"name": "Code", "default_candidates": False},
        bins={"rows": "mean"},
        candidate=[
            {
                "id": "code",
                "name": "Code",
                "baseline": True,
                "sat": {"strategy": "fixed", "setpoint_f": 55.0},
                "dsp": "as_found",
            },
            {"id": "b", "name": "B", "sat": "outdoor_air", "dsp": "as_found"},
        ],
    )
    results = estimate(project, weather_of("greensboro"))
    assert today(results) is None and key_figures(results)[0][0] == "Baseline"


@pytest.mark.invariant
def test_a_limit_that_only_worse_service_comes_near_is_still_told():
    """No ranked reset is no reason to say that setpoints could save nothing."""
    results = estimate(
        project_of(
            project={"name": "Starved", "default_candidates": False},
            bins={"rows": "mean"},
            candidate=[
                {"id": "as_found"},
                {
                    "id": "low",
                    "name": "Low",
                    "sat": "as_found",
                    "dsp": {"strategy": "fixed", "setpoint_inwc": 0.2},
                    "cost_usd": 5e7,
                },
            ],
        ),
        weather_of("greensboro"),
    )
    assert results["low"].equal_service.flagged and results.best.id == "as_found"
    possible = results.baseline.annual["cost_usd"] - results.bound["cost_usd"]
    assert possible > 0.02 * results.baseline.annual["cost_usd"]
    label, figure, remark = key_figures(results)[-1]
    assert (
        label == "Perfect resets"
        and figure == f"{money(possible, money_step(results))} a year"
        and "no ranked option" in remark
    )


@pytest.mark.invariant
def test_resets_that_cost_more_reach_nothing():
    results = estimate(
        project_of(
            project={"name": "Dear fans", "default_candidates": False},
            bins={"rows": "mean"},
            cooling={"type": "purchased"},
            prices={"electricity_usd_kwh": 0.6, "fuel_usd_therm": 0.0, "cooling_usd_kbtu": 0.0001},
            economizer={"type": "none"},
            candidate=[
                {"id": "as_found"},
                {"id": "warm", "name": "Warm", "sat": {"strategy": "demand", "max_f": 60}, "dsp": "as_found"},
            ],
        ),
        weather_of("greensboro"),
    )
    assert results["warm"].saving["cost_usd"] < 0.0 and results["warm"].rank == 2
    assert key_figures(results)[-1][:2] == ("Setpoints alone reach", "nothing")
    assert answer(results).endswith("leave the setpoints as they are.")


def test_many_reasons_of_worse_service_share_a_paragraph():
    lows = [
        {
            "id": f"low{k}",
            "name": f"Low {k}",
            "sat": "as_found",
            "dsp": {"strategy": "fixed", "setpoint_inwc": 0.14 + 0.02 * k},
        }
        for k in range(5)
    ]
    results = estimate(
        project_of(
            project={"name": "Starved", "default_candidates": False},
            bins={"rows": "mean"},
            candidate=[{"id": "as_found"}, *lows],
        ),
        weather_of("greensboro"),
    )
    assert all(c.equal_service.flagged for c in results.candidates[1:])
    found = [text for text in texts_of(glance_of(results)) if "worse:" in text]
    assert len(found) == 1 and all(f"option {k}: " in found[0] for k in range(2, 7))


# ---------------------------------------------------------------- the check sheet


@pytest.mark.crosscheck
def test_the_check_sheet_holds_every_error_of_rows_and_classic_bins():
    results, sheet = pinned(), book(pinned)[layout.CHECKS]
    lines = [[c.value for c in line] for line in sheet.iter_rows()]
    start = next(k for k, line in enumerate(lines) if line[0] == "Bins against hours, by option and end use")
    found = [line for line in lines[start:] if line[1] in ("PASS", "EXPLAIN", "FAIL")]
    table = bin_accuracy_table(results)
    assert len(found) == len(table) > 50
    for cells, line in zip(found, table.itertuples(index=False), strict=True):
        assert cells[0] == line.label and cells[1].lower() == line.status and cells[12].lower() == line.classic_status
        assert cells[3:9] == pytest.approx(
            [line.hourly, line.bins, line.classic, line.bins_error, line.classic_error, line.bound], rel=1e-12
        )
        for cell, usd in ((cells[10], line.bins_error_usd), (cells[11], line.classic_error_usd)):
            assert cell is None if np.isnan(usd) else cell == pytest.approx(usd, rel=1e-12)
    # The table can tell good from bad: classic bins miss here.
    assert {"pass", "explain"} == set(table["classic_status"]) and set(table["status"]) == {"pass"}


@pytest.mark.crosscheck
def test_counts_stand_beside_those_of_the_rows():
    results, sheet = pinned(), book(pinned)[layout.CHECKS]
    lines = [[c.value for c in line] for line in sheet.iter_rows()]
    start = next(k for k, line in enumerate(lines) if str(line[0]).startswith("Counts: hour by hour"))
    found = [line for line in lines[start:] if isinstance(line[3], (int, float))]
    table = count_accuracy_table(results)
    assert len(found) == len(table) > 30
    for cells, line in zip(found, table.itertuples(index=False), strict=True):
        assert cells[0] == line.label and cells[3:6] == pytest.approx([line.hourly, line.bins, line.error], rel=1e-12)
        assert cells[6] == ("–" if line.hourly == 0.0 else pytest.approx(100.0 * line.error / line.hourly, rel=1e-12))


@pytest.mark.crosscheck
def test_the_choice_of_rows_is_told():
    results = pinned()
    choice = results.selection
    text = " ".join(texts_of(book(pinned)[layout.CHECKS]))
    for word in (
        choice.method,
        f"{choice.rows:,} of at most {choice.bound:,}",
        f"{100 * choice.worst_residual_frac:.3f} %",
        "no fallback",
        f"{100 * choice.worst_cost_frac:.3f} %",
        f"{choice.worst_saving_points:.3f} points",
    ):
        assert word in text


@pytest.mark.crosscheck
def test_charts_of_errors_draw_the_errors():
    results = pinned()
    with zipfile.ZipFile(io.BytesIO(content(pinned))) as file:
        charts = [
            xml
            for name in file.namelist()
            if name.startswith("xl/charts/chart") and "Error of the" in (xml := file.read(name).decode())
        ]
    assert len(charts) == 2
    sheet = book(pinned)[layout.CHECKS]
    for title, keys in (("annual cost", ("cost_frac", 100.0)), ("saving", ("saving_points", 1.0))):
        xml = next(x for x in charts if title in x)
        areas = re.findall(r"<c:val><c:numRef><c:f>'?Checks'?!(.*?)</c:f>", xml)
        assert len(areas) == 3  # rows, classic bins, bound
        for area, which in zip(areas, ("annual", "classic")):
            drawn = [line[0].value for line in sheet[area.replace("$", "")]]
            expected = [keys[1] * bin_errors(c, results.baseline, which)[keys[0]] for c in results.candidates]
            assert drawn == pytest.approx(expected, rel=1e-9, abs=1e-12)
    cost, ours, classic = bin_claims(results)
    assert cost <= 100.0 * COST_ERROR_FRAC and classic > ours
    assert (
        f"cost within {cost:.2f} %, savings within {ours:.2f} points; classic bins would miss savings by up to "
        f"{classic:.1f} points" in sure_lines(results)[0]
    )


@pytest.mark.crosscheck
def test_net_change_is_the_change_of_cost():
    results, sheet = pinned(), book(pinned)[layout.PATTERNS]
    head = (
        next(
            row
            for row in range(1, sheet.max_row + 1)
            if str(sheet.cell(row, 1).value).startswith("Change of energy cost")
        )
        + 1
    )
    net = next(k for k in range(1, sheet.max_column + 1) if sheet.cell(head, k).value == "Net")
    for row, c in enumerate(results.candidates, head + 1):
        assert sheet.cell(row, net).value == pytest.approx(-c.saving["cost_usd"], rel=1e-9, abs=1e-6)
        assert sum(sheet.cell(row, k).value for k in range(2, net)) == pytest.approx(
            sheet.cell(row, net).value, rel=1e-9, abs=1e-6
        )


# ---------------------------------------------------------------- what comes first, and what is advised


def test_a_known_failure_of_the_baseline_stands_before_anything_else():
    """Confirmed by the project or not, whoever reads the first line or the first page meets it before any saving."""
    results = humid()
    failing = replace(
        results.baseline_service,
        fails=("outdoor_air",),
        confirmed=("outdoor_air",),
        suspects=(("outdoor_air", "economizer.stuck_frac", "the damper is stuck at 30 %"),),
    )
    known = replace(results, baseline_service=failing)
    sheet = glance_of(known)
    said = sheet.cell(KNOWN_ROW + 1, 1).value
    assert said == known_text(known) and KNOWN_ROW < ANSWER_ROW
    assert (
        said.startswith("Before anything else: the baseline fails in outdoor air: ")
        and "stuck at 30 %" in said
        and "confirms" in said
    )
    assert sheet.cell(ANSWER_ROW + 1, 1).value == answer(known)
    assert not any("baseline fails" in line for line in risk_lines(known))
    assert comparison(known).startswith("Known     the baseline fails in outdoor air")
    # Nothing is said where nothing fails, nor twice where the failure is open.
    assert known_text(results) == "" and book(humid)[layout.GLANCE].cell(KNOWN_ROW + 1, 1).value is None
    still_open = replace(results, baseline_service=replace(failing, confirmed=()))
    assert known_text(still_open) == "" and "stuck at 30 %" in failing_text(still_open)
    assert "Check “" in failing_text(still_open) and "economizer.stuck_frac" in failing_text(still_open)


def test_the_page_speaks_for_an_option_that_can_be_bought():
    """The least cost of a limit of control is told, but sentences, key figures and the claim are those of an option
    that a loop can reach."""
    results = pinned()
    assert is_limit_of_control(results.best.candidate)
    c = advised(results)
    number = 1 + [x.id for x in results.candidates].index(c.id)
    assert (
        c.id
        == min(
            (x for x in results.candidates if x.rank is not None and not is_limit_of_control(x.candidate)),
            key=lambda x: x.rank,
        ).id
    )
    assert answer(results).startswith(
        f"Carry out option {number}, "
    ) and "is a limit of control that no loop reaches" in answer(results)
    assert what_moves(results).startswith(f"In a year with option {number}: ")
    sheet = book(pinned)[layout.GLANCE]
    assert f"Option {number} as claimed" in sheet.cell(review_row(results) + 1, 2).value


def test_options_are_named_by_their_numbers_in_what_the_run_says():
    results = pinned()
    ids = [c.id for c in results.candidates]
    value = Value(best_id=None, path=(), note=f"left out because no cost is given: {ids[1]}, {ids[2]}", limit_years=5.0)
    same = Coincidence(
        ids=("dsp_demand", "sat_demand_dsp_demand"),
        why="both ask for the same duct pressure in every row: the reset of sat_demand_dsp_demand stands high",
    )
    parts = (
        Parts(id="repaired", repair_usd=0.0, companion_usd=0.0, reset_usd=1000.0),
        Parts(id="left_out", repair_usd=0.0, companion_usd=-500.0, reset_usd=1500.0),
    )
    text = " ".join(
        value_lines(
            replace(
                results,
                advice=Advice(
                    drivers_of=ids[1], drivers=(), value=value, parts=parts, coincidences=(same,), remedies=()
                ),
            )
        )
    )
    assert not any(id_ in text for id_ in ids if "_" in id_)
    number = 1 + ids.index("sat_demand_dsp_demand")
    assert (
        "Left out because no cost is given: option 2, option 3." in text
        and f"in every hour: the reset of option {number} stands high" in text
    )
    assert (
        "in parts: all of the $1,000 a year is the reset’s" in text
        and "companion measures −$500, reset $1,500 a year" in text
    )


def test_points_of_reset_lines_have_the_unit_of_their_axis():
    sheet = book(pinned)["Setpoints"]
    units = {
        (line[0].split(": ")[1][0], line[2])
        for line in sheet.iter_rows(values_only=True)
        if line[0] and re.search(r"points: [xy]", str(line[0]))
    }
    assert units == {("x", "°F"), ("y", "°F"), ("y", "in. w.c.")}


def test_steps_of_supply_air_that_floats_print_their_first_page_only():
    project = project_of(
        project={"name": "Floats", "default_candidates": False},
        air_handler={"supply_heating": "none"},
        bins={"rows": "mean"},
        candidate=[{"id": "as_found"}],
    )
    sheet = Book(workbook_bytes(estimate(project, weather_of("greensboro")))).only("Cold air 1")["Cold air 1"]
    last = openpyxl.utils.range_boundaries(sheet.defined_names["paper"].attr_text.split("!")[-1])[2]
    assert sheet.max_column > 100 and last == PRINTED_COLUMNS and sheet.page_setup.fitToWidth in (None, 1)
    assert f"{PRINTED_COLUMNS} of {sheet.max_column} columns are printed" in " ".join(
        str(sheet.cell(row, 1).value) for row in range(1, FIRST_LINE + 1)
    )
