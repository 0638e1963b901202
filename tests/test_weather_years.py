"""Draws of ranges in other weather years of the same place."""

from dataclasses import replace
from functools import cache

import numpy as np
import pytest
from builders import FILES, PLAIN, WEATHER, merged, weather_of

from binestimator import cli
from binestimator.errors import InputError, WeatherError
from binestimator.estimate import estimate
from binestimator.inputs.read import project_from_mapping
from binestimator.inputs.weather_years import shares_of, with_weather_years
from binestimator.ranges.draw import base_factors, taken
from binestimator.ranges.effects import Effects
from binestimator.ranges.find import find_ranges
from binestimator.ranges.lines import drawn_lines
from binestimator.ranges.results import QUANTITIES
from binestimator.ranges.sobol import sobol
from binestimator.ranges.years import Years
from binestimator.steps import weather_years_of
from binestimator.weather import read_weather

# Climate given, so that a warmer file alone by itself has the defaults of the other; all sizes given.
MAPPING = merged(
    PLAIN,
    {
        "weather": {"climate_zone": "4A"},
        "bins": {"rows": "mean", "width_f": 10},
        "project": {"default_candidates": False},
        "candidate": [
            {"id": "found", "name": "As found", "baseline": True, "sat": "as_found", "dsp": "as_found"},
            {"id": "outdoor", "name": "Outdoor", "sat": "outdoor_air", "dsp": "as_found", "cost_usd": 3000.0},
            {"id": "demand", "name": "Demand", "sat": "demand", "dsp": "demand", "cost_usd": 6000.0},
        ],
    },
)
OTHER = "warm.csv"


def warmer_file(folder, by_c=2.5, name=OTHER):
    """The typical year with every dry bulb and dew point warmer by so much."""
    lines = (WEATHER / FILES["greensboro"]).read_text().splitlines()
    places = [lines[1].split(",").index(column) for column in ("Dry-bulb (C)", "Dew-point (C)")]
    out = lines[:2]
    for line in lines[2:]:
        cells = line.split(",")
        for place in places:
            cells[place] = f"{float(cells[place]) + by_c:.1f}"
        out.append(",".join(cells))
    path = folder / name
    path.write_text("\n".join(out) + "\n")
    return path


@pytest.fixture(scope="module")
def warm(tmp_path_factory):
    return read_weather(warmer_file(tmp_path_factory.mktemp("weather")))


def project_of(*years, **changes):
    mapping = merged(MAPPING, {"weather_year": list(years), **changes})
    return project_from_mapping(mapping, source_dir=WEATHER)


def year(name, share_frac=None, file=FILES["greensboro"]):
    return {"name": name, "file": file, **({} if share_frac is None else {"share_frac": share_frac})}


@cache
def alone():
    return estimate(project_of(), weather_of())


def named(*years):
    """The run, of a project that names other years."""
    return replace(alone(), project=project_of(*years))


def quantities(found):
    return {one.id: one.quantities for one in found.options}


# --- shares --------------------------------------------------------------------------------------


@pytest.mark.invariant
@pytest.mark.parametrize(
    ("shares", "wanted"),
    [((), (1.0,)), ((None,), (0.5, 0.5)), ((0.2,), (0.8, 0.2)), ((0.4, None), (0.3, 0.4, 0.3)), ((1.0,), (0.0, 1.0))],
)
def test_years_share_what_is_left(shares, wanted):
    found = shares_of(project_of(*(year(f"y{k}", share) for k, share in enumerate(shares))).terms.weather_years)
    assert found == pytest.approx(wanted, abs=1e-12)


def test_shares_that_leave_nothing_are_told():
    with pytest.raises(InputError, match="sum to more than 1; got 1.1"):
        project_of(year("a", 0.6), year("b", 0.5))
    with pytest.raises(
        InputError, match=r"weather_year\[b\]\.share_frac: is missing, and the other years leave nothing"
    ):
        project_of(year("a", 1.0), year("b"))
    with pytest.raises(InputError, match="weather_year: the name is given twice|the name is given twice"):
        project_of(year("a"), year("A"))


@pytest.mark.invariant
def test_an_option_of_the_command_is_a_year_of_the_project():
    project = with_weather_years(project_of(year("a", 0.5)), ["x/y.epw=0.2", "x/y.epw", "odd=name.csv"])
    assert [(one.name, one.file, one.share_frac) for one in project.terms.weather_years] == [
        ("a", FILES["greensboro"], 0.5),
        ("y", "x/y.epw", 0.2),
        ("y 2", "x/y.epw", None),
        ("odd=name", "odd=name.csv", None),
    ]
    with pytest.raises(InputError, match='--weather-year: no probability; got "7"'):
        with_weather_years(project_of(), ["y.epw=7"])


# --- draws ---------------------------------------------------------------------------------------


@pytest.mark.invariant
def test_the_same_year_again_changes_nothing():
    """Given as another year, the run's own is estimated anew, with rows of its own, and draws are the same."""
    before = find_ranges(alone(), draws=16)
    twice = find_ranges(named(year("again"), year("once more", 0.3)), draws=16, years=[weather_of()] * 2)
    for id_, found in quantities(twice).items():
        for key in QUANTITIES:
            for of in ("p10", "p50", "p90", "run"):
                first, second = getattr(before[id_].quantities[key], of), getattr(found[key], of)
                assert first == second or first == pytest.approx(second, rel=1e-9), (id_, key)
    assert [one.draws for one in twice.years] and sum(one.draws for one in twice.years) == 16
    assert all(driver.key != "weather_year" for one in twice.options for driver in one.drivers)
    assert before.years == () and before.run_id != twice.run_id


@pytest.mark.crosscheck
def test_a_warmer_year_moves_ranges_as_runs_by_hand_do(warm):
    """All draws in the warm year are the ranges of a project with that file; some of them are a mixture of both."""
    by_hand = estimate(project_of(), warm)
    cold_range, warm_range = find_ranges(alone(), draws=32), find_ranges(by_hand, draws=32)
    all_warm = find_ranges(named(year("warm", 1.0)), draws=32, years=[warm])
    for c in alone().candidates:
        for key in ("electricity_kwh", "fuel_therm", "cost_saving_usd", "npv_usd", "payback_years"):
            wanted, found = warm_range[c.id].quantities[key], all_warm[c.id].quantities[key]
            for of in ("p10", "p50", "p90"):
                first, second = getattr(found, of), getattr(wanted, of)
                assert first == second or first == pytest.approx(second, rel=1e-9), (c.id, key, of)
            # What the run itself says stays.
            kept = cold_range[c.id].quantities[key].run
            assert found.run == kept or found.run == pytest.approx(kept, rel=1e-9, abs=1e-9)
    fuel = lambda found, of: getattr(found["found"].quantities["fuel_therm"], of)
    assert fuel(warm_range, "p50") < 0.9 * fuel(cold_range, "p50")
    both = find_ranges(named(year("warm", 0.5)), draws=32, years=[warm])
    assert (
        fuel(warm_range, "p10") <= fuel(both, "p10") < fuel(both, "p50") < fuel(both, "p90") <= fuel(cold_range, "p90")
    )
    cold, hot = both.years
    assert (cold.own, hot.own) == (True, False) and hot.mean_f == pytest.approx(cold.mean_f + 4.5, abs=0.1)
    assert (cold.draws, hot.draws) == (16, 16)
    assert hot.saving_usd["demand"] == pytest.approx(by_hand["demand"].saving["cost_usd"], rel=1e-9)
    assert cold.saving_usd["demand"] == pytest.approx(alone()["demand"].saving["cost_usd"], rel=1e-9)
    assert "Weather years: own year (723170TYA.CSV" in both.notes[0] and "50 % of the draws" in both.notes[0]
    shown = both.inputs[-1]
    assert (shown.key, shown.low, shown.base, shown.high) == ("weather_year", "own year", "own year", "warm")


@pytest.mark.crosscheck
def test_draws_in_a_year_are_those_of_that_year_alone(warm):
    results = named(year("warm", 0.4))
    drawn = drawn_lines(results.project, results.unit)
    years = Years.of(results, drawn, [warm])
    factors = base_factors(drawn, 6)
    which = np.array([1, 0, 0, 1, 1, 0])
    found = years.on_rows(factors, which)
    for k, run in enumerate(years.runs):
        for c in run.candidates:
            cost = sum(found[c.id].costs_usd.values())[which == k]
            assert cost == pytest.approx(np.full(3, c.annual["cost_usd"]), rel=1e-9)
    hourly = years.hour_by_hour(taken(factors, slice(0, 4)), which[:4], lambda share: None)
    for c in results.candidates:
        costs = sum(hourly.energies[c.id].costs_usd.values())
        wanted = [years.runs[k][c.id].hourly["cost_usd"] for k in which[:4]]
        assert costs == pytest.approx(np.array(wanted), rel=1e-9)
        assert len(hourly.serves[c.id]) == 4 and hourly.serves["found"].all()


@pytest.mark.invariant
def test_a_year_is_drawn_as_often_as_is_said(warm):
    results = named(year("warm", 0.3))
    years = Years.of(results, drawn_lines(results.project, results.unit), [warm])
    which = years.drawn(sobol(1024, 1, 4)[:, 0])
    assert (which == 1).mean() == pytest.approx(0.3, abs=1.0 / 1024)
    assert years.names == ("own year", "warm")


@pytest.mark.crosscheck
def test_effect_of_something_that_is_one_of_a_few():
    """Of a sum with a known step: variances p (1 - p) step^2 and 1 / 12 x slope^2."""
    points = sobol(1024, 2, 6)
    level = (points[:, 1] > 0.75).astype(int) * 2
    found = Effects({"a": points[:, 0]}, {}, {"step": level}).of(6.0 * points[:, 0] + 4.0 * level)
    step, slope = 64.0 * 0.75 * 0.25, 36.0 / 12.0
    # 1,024 points: shares to a hundredth.
    assert found["step"].share == pytest.approx(step / (step + slope), abs=0.01)
    assert found["step"].high - found["step"].low == pytest.approx(8.0, abs=0.02)


@pytest.mark.invariant
def test_full_ranges_take_years_hour_by_hour(warm):
    found = find_ranges(named(year("warm", 0.25)), full=True, draws=8, years=[warm])
    assert found.service_draws == 8 and found.hourly.draws == 8
    assert [one.draws for one in found.years] == [6, 2]
    # Mean rows of 10 degF are coarse: what is asked is that draws of both years are set beside their own hours.
    assert max(found.hourly.gap_cost_frac.values()) < 0.01


# --- files ---------------------------------------------------------------------------------------


def test_every_file_that_cannot_be_used_is_told(tmp_path):
    (tmp_path / "short.csv").write_text((WEATHER / FILES["greensboro"]).read_text()[:5000])
    project = project_from_mapping(
        merged(
            MAPPING,
            {"weather_year": [year("a", file="none.csv"), year("b", file="short.csv"), year("c", file="12839.tm2")]},
        ),
        source_dir=tmp_path,
    )
    with pytest.raises(WeatherError) as told:
        weather_years_of(project, weather_of())
    lines = str(told.value).splitlines()
    assert lines[0].startswith("weather_year[a].file: none.csv: weather file not found")
    assert any(line.startswith("weather_year[b].file: ") and "short.csv" in line for line in lines)
    assert lines[-1].startswith("weather_year[c].file: 12839.tm2 is of another place: MIAMI")
    assert "km away from GREENSBORO" in lines[-1]


def test_years_that_were_not_read_are_asked_for():
    with pytest.raises(InputError, match="names 1 other years; got 0"):
        find_ranges(named(year("warm")), draws=8)


def test_the_command_says_which_years_took_part(tmp_path, capsys):
    warmer_file(tmp_path)
    lines = [
        '[project]\nname = "Years"\ndefault_candidates = false',
        f'[weather]\nfile = "{WEATHER / FILES["greensboro"]}"',
        '[bins]\nrows = "mean"\nwidth_f = 10',
        '[[group]]\nname = "g"',
        '[[zone]]\nname = "z"\narea_ft2 = 4000\nglass_south_ft2 = 200\nua_btuh_f = 300',
        '[[candidate]]\nid = "found"\nname = "Found"\nbaseline = true\nsat = "as_found"\ndsp = "as_found"',
        '[[candidate]]\nid = "demand"\nname = "Demand"\nsat = "demand"\ndsp = "demand"\ncost_usd = 900',
    ]
    path = tmp_path / "years.toml"
    path.write_text("\n".join(lines) + "\n")
    said = lambda *options: (cli.main(["estimate", str(path), "--out", str(tmp_path), *options]), *capsys.readouterr())
    code, out, err = said("--weather-year", f"{OTHER}=0.25")
    assert code == 0, err
    words = " ".join(out.split())
    assert "years own year (723170TYA.CSV" in words and "warm (warm.csv" in words and "25 % of the draws" in words
    code, out, err = said("--weather-year", OTHER, "--no-ranges")
    assert code == 2 and "--weather-year: is for ranges, which this run leaves out" in err
    code, out, err = said("--weather-year", "nowhere.csv", "--force")
    assert code == 2 and "weather_year[nowhere].file: nowhere.csv: weather file not found" in err
