"""Tariffs: bills worked by hand, energy by rate period in rows and hours, and prices that are flat in disguise."""

import numpy as np
import pytest
from books import Book
from builders import project_of, weather_of

from binestimator.as_run.audit import audit
from binestimator.bins import group_keys
from binestimator.estimate import estimate
from binestimator.hours import build_conditions, clock_calendar, price_lines, tariff_periods
from binestimator.inputs.schema import record_type
from binestimator.money.tariffs import Meter, billed_kw, tiered_usd
from binestimator.rates import Rates, prices_of
from binestimator.row_accuracy import COST_ERROR_FRAC, SAVING_ERROR_POINTS
from binestimator.workbook.write import build_workbook

TARIFF = {
    "tariff": {
        "name": "General service", "tax_frac": 0.06, "electricity_rider_usd_kwh": 0.004,
        "other_weekday_kw": [20.0] * 8 + [45.0] * 10 + [20.0] * 6,
    },
    "energy_price": [
        {"name": "Summer on-peak", "usd": 0.21, "months": ["jun", "jul", "aug", "sep"], "days": ["weekday"],
         "hours": [12, 18]},
        {"name": "Summer off-peak", "usd": 0.09, "months": ["jun", "jul", "aug", "sep"]},
        {"name": "Winter", "usd": 0.11, "tier2_from": 20000, "tier2_usd": 0.08},
        {"name": "Winter gas", "source": "fuel", "usd": 1.3, "months": ["nov", "dec", "jan", "feb", "mar"]},
    ],
    "demand_charge": [
        {"name": "Peak", "usd_kw": 14.0, "months": ["jun", "jul", "aug", "sep"], "days": ["weekday"],
         "hours": [12, 18]},
        {"name": "Any time", "usd_kw": 5.0, "ratchet_frac": 0.7, "ratchet_months": ["jun", "jul", "aug", "sep"]},
    ],
}  # fmt: skip
FEW = {
    "project": {"name": "Four zones", "default_candidates": False},
    "candidate": [
        {"id": "as_found"},
        {"id": "both", "name": "Both by demand", "sat": "demand", "dsp": "demand", "cost_usd": 4000},
        {"id": "optimal", "name": "Least cost", "sat": "cost_optimal", "dsp": "demand"},
    ],
}


def line(**changes):
    return record_type("energy_price")(name="Line", usd=0.10, **changes)


@pytest.mark.crosscheck
def test_tiers_worked_by_hand():
    """1,000 at 0.10, 2,000 at 0.08, the rest at 0.05: 5,000 kWh cost 100 + 160 + 100."""
    tiers = line(tier2_from=1000.0, tier2_usd=0.08, tier3_from=3000.0, tier3_usd=0.05)
    assert tiered_usd([0.0, 500.0, 1000.0, 2500.0, 5000.0], tiers) == pytest.approx([0.0, 50.0, 100.0, 220.0, 360.0])
    assert tiered_usd(5000.0, line()) == pytest.approx(500.0)


@pytest.mark.crosscheck
def test_a_ratchet_worked_by_hand():
    """Summer peak 100 kW, ratchet 70 %: winter months with 50 kW are billed 70, with 90 kW 90."""
    charge = record_type("demand_charge")(name="D", usd_kw=1.0, ratchet_frac=0.7, ratchet_months=("jun", "jul"))
    peaks = [50, 50, 90, 60, 60, 100, 80, 120, 60, 50, 50, 50]
    assert billed_kw(peaks, charge) == pytest.approx([70, 70, 90, 70, 70, 100, 80, 120, 70, 70, 70, 70])
    summer = record_type("demand_charge")(name="D", usd_kw=1.0, months=("jun",))
    assert billed_kw(peaks, summer).nonzero()[0].tolist() == [5]


@pytest.mark.crosscheck
def test_a_bill_worked_by_hand():
    """1 kW of the air handler in every hour on top of the other loads, 2.4 therm a day."""
    project = project_of(**TARIFF)
    meter = Meter.of(project)
    amounts = {
        "electricity_kwh": np.ones(8760), "fuel_therm": np.full(8760, 0.1),
        "purchased_cooling_kbtu": np.zeros(8760), "purchased_heating_kbtu": np.zeros(8760),
    }  # fmt: skip
    clock = clock_calendar(project.calendar)
    period, _ = tariff_periods(clock, project.calendar, project.terms.energy_prices)
    charges = meter.charges(amounts, prices_of(project), period)
    # July by the clock: on-peak weekdays less the 4th, times 6 h; the rest off-peak; fuel at the flat 0.98 in summer
    days = [d for d in range(181, 212) if clock.day_type[d] == 0]
    on = 6 * len(days)
    by_hand = (on * (0.21 + 0.004) + (744 - on) * (0.09 + 0.004) + 74.4 * 0.98) * 1.06
    assert charges.energy_usd[6] == pytest.approx(by_hand)
    # January: the other loads alone use 31 x 730 = 22,630 kWh (weekends as weekdays, none are given).
    # beyond the tier all of the air handler's 744 kWh are at 0.08
    assert charges.energy_usd[0] == pytest.approx((744 * (0.08 + 0.004) + 74.4 * 1.3) * 1.06)
    # demand is 1 kW more in every month, times the charges of the month
    assert charges.demand_usd[0] == pytest.approx([0, 0, 0, 0, 0, 14.84, 14.84, 14.84, 14.84, 0, 0, 0])
    assert charges.demand_usd[1] == pytest.approx([5.0 * 1.06] * 12)
    assert charges.year_usd == pytest.approx((4 * 14 + 12 * 5) * 1.06 + charges.tiers_usd.sum())


@pytest.mark.invariant
def test_the_first_line_counts_where_lines_share_an_hour_and_every_hour_has_one_period():
    project = project_of(**TARIFF)
    clock = clock_calendar(project.calendar)
    found = price_lines(clock, project.calendar, project.terms.energy_prices)
    assert found.shape == (4, 8760) and set(found[0]) == {0, 1, 2} and set(found[1]) == {-1, 3}
    period, lines = tariff_periods(clock, project.calendar, project.terms.energy_prices)
    assert (lines[:, period] == found).all()
    rates = prices_of(project)
    assert rates.hours.sum() == 8760 and len(rates.labels) == lines.shape[1]
    assert isinstance(rates, Rates) and prices_of(project_of()) is not rates


@pytest.mark.crosscheck
@pytest.mark.parametrize("of_bills", [False, True])
def test_each_month_has_the_tier_that_its_own_other_loads_leave(of_bills):
    """Other loads of 15,000 kWh in winter months and 26,000 in January and December, tier from 20,000: only there one
    more kWh costs 0.08. By the mean month (17,700) it would nowhere."""
    months = [26000.0, *[15000.0] * 10, 26000.0]
    extra = {"bills": {"electricity_kwh": [40000.0] * 12, "other_electricity_kwh": months}} if of_bills else {}
    tariff = dict(TARIFF["tariff"]) if of_bills else {**TARIFF["tariff"], "other_month_kwh": months}
    project = project_of(**{**TARIFF, "tariff": tariff, **extra})
    rates, clock = prices_of(project), clock_calendar(project.calendar)
    assert "Winter, tier 2 · Winter gas" in rates.labels and "Winter, tier 1" in rates.labels
    period = build_conditions(weather_of("greensboro"), project).rate_period
    price = rates.at(period).electricity_usd_kwh
    for month, wanted in ((0, 0.08), (1, 0.11), (3, 0.11), (11, 0.08)):
        here = clock.month == month
        assert price[here] == pytest.approx(np.full(here.sum(), (wanted + 0.004) * 1.06))
    # At the margin of each month: a small air handler pays its marginal prices and nothing for tiers.
    amounts = {key: np.full(8760, 0.5 * (key == "electricity_kwh")) for key in (
        "electricity_kwh", "fuel_therm", "purchased_cooling_kbtu", "purchased_heating_kbtu")}  # fmt: skip
    meter = Meter.of(project)
    charges = meter.charges(amounts, rates, period)
    assert np.abs(charges.tiers_usd).max() == 0.0
    assert np.bincount(clock.month, meter.other_kw) == pytest.approx(months)
    plain = project_of(**TARIFF)
    assert "Winter · Winter gas" in prices_of(plain).labels


@pytest.fixture(scope="module")
def results():
    return estimate(project_of(**TARIFF, **FEW), weather_of("greensboro"))


@pytest.mark.crosscheck
def test_rows_price_energy_by_rate_period_as_the_hours_do(results):
    """Within the bounds of the rows' accuracy, for every option, the searched one among them."""
    base = results.baseline
    for c in results.candidates:
        assert c.annual["cost_usd"] == pytest.approx(c.hourly["cost_usd"], rel=COST_ERROR_FRAC)
        assert c.monthly["cost_usd"].sum() == pytest.approx(c.hourly["cost_usd"], rel=1e-9)
        saved = [
            100 * (1 - x["cost_usd"] / b["cost_usd"]) for x, b in ((c.annual, base.annual), (c.hourly, base.hourly))
        ]
        assert saved[0] == pytest.approx(saved[1], abs=SAVING_ERROR_POINTS)
        table = c.by_rate_period
        for key in ("electricity_kwh", "fuel_therm"):
            apart = (table[f"{key}_rows"] - table[f"{key}_hours"]).abs() * table[f"{key}_price"]
            assert apart.max() <= COST_ERROR_FRAC * base.hourly["cost_usd"]
        assert sum(c.worth.saving_by_source_usd.values()) == pytest.approx(c.saving["cost_usd"], abs=1e-6)
    check = next(k for k in results.checks if k.name == "Energy by rate period")
    assert check.status == "pass"


@pytest.mark.crosscheck
def test_mean_rows_have_one_rate_period_each_and_its_price_in_the_engine_and_in_the_workbook(results):
    """Otherwise a row of the hours on- and off-peak has the mean price of the year, 14 % of cost off here."""
    some = {**FEW, "candidate": FEW["candidate"][:2], "bins": {"rows": "mean"}}
    mean = estimate(project_of(**TARIFF, **some), weather_of("greensboro"))
    rates, table = prices_of(mean.project), mean.row_table
    assert np.bincount(table["rate_period"], table["weight_h"], len(rates.hours)) == pytest.approx(rates.hours)
    assert mean.selection.rows == mean.selection.groups == len(table)
    plain = estimate(project_of(**some), weather_of("greensboro"))
    for c in mean.candidates:
        # The mean rows that stand beside representative ones are the same, and prices add nothing to their bias.
        assert c.annual["cost_usd"] == pytest.approx(results[c.id].classic["cost_usd"], rel=1e-9)
        off, usual = (abs(x[c.id].annual["cost_usd"] / x[c.id].hourly["cost_usd"] - 1.0) for x in (mean, plain))
        assert off < usual
    _, pen = build_workbook(mean)
    assert 0.0 < max(pen.residuals.values()) < 1e-7


@pytest.mark.invariant
def test_rate_periods_of_a_tariff_may_split_the_bins():
    by_period = project_of(**TARIFF, bins={"by_rate_period": True})
    hours = build_conditions(weather_of("greensboro"), by_period)
    group_id, groups = group_keys(hours, by_period.bins)
    assert (groups["rate_period"].to_numpy()[group_id] == hours.rate_period).all()
    assert set(groups["rate_period"]) == set(range(len(prices_of(by_period).hours)))


@pytest.mark.invariant
def test_the_search_sees_the_price_of_the_period(results):
    """With on-peak electricity ten times as dear, the least-cost setpoint is colder on-peak (less air), elsewhere the
    same."""
    dear = {**TARIFF, "energy_price": [{**TARIFF["energy_price"][0], "usd": 2.1}, *TARIFF["energy_price"][1:]]}
    other = estimate(project_of(**dear, **FEW), weather_of("greensboro"), held=None)
    rows = lambda found: found["optimal"].rows.set_index(["month", "day", "hour_start"])["sat_set_f"]
    first, second = rows(results), rows(other)
    both = first.index.intersection(second.index)
    on = both[[m in (6, 7, 8, 9) and 12 <= h < 18 for m, _, h in both]]
    assert len(on) > 5
    assert second[on].mean() <= first[on].mean() + 1e-9


@pytest.mark.crosscheck
def test_a_tariff_with_one_price_gives_what_flat_prices_give():
    flat = {
        "energy_price": [
            {"name": "Electricity", "usd": 0.1063}, {"name": "Fuel", "source": "fuel", "usd": 0.98},
        ],
    }  # fmt: skip
    some = {**FEW, "bins": {"rows": "mean"}}  # one rate period, which splits no group
    plain = estimate(project_of(**some), weather_of("greensboro"))
    priced = estimate(project_of(**flat, **some), weather_of("greensboro"))
    for c in plain.candidates:
        for key, value in c.annual.items():
            assert priced[c.id].annual[key] == pytest.approx(value, rel=1e-9, abs=1e-6)
        assert priced[c.id].charges.year_usd == pytest.approx(0.0, abs=1e-9)


@pytest.mark.crosscheck
def test_the_workbook_of_a_tariff_says_what_the_engine_finds(results):
    content, pen = build_workbook(results)
    assert 0.0 < max(pen.residuals.values()) < 1e-7
    book = Book(content, data_only=True)
    assert {"Money", "Tariff"} <= set(book.sheetnames)
    texts = {str(cell.value) for row in book["Tariff"].iter_rows() for cell in row if cell.value is not None}
    assert "Summer on-peak" in texts and any("cost-optimal supply air" in text for text in texts)


@pytest.mark.slow
@pytest.mark.crosscheck
def test_options_at_time_steps_are_priced_by_the_period_too():
    """A tariff whose lines all have the flat price gives the run at time steps what the flat price gives."""
    flat = {
        "energy_price": [
            {"name": "Days", "usd": 0.1063, "hours": [8, 20]}, {"name": "Nights", "usd": 0.1063},
            {"name": "Fuel", "source": "fuel", "usd": 0.98, "months": ["jan", "feb", "mar"]},
        ],
    }  # fmt: skip
    # Steps go by hours, not by rows.
    some = {**FEW, "candidate": FEW["candidate"][:1], "bins": {"rows": "mean"}}
    plain, priced = (
        audit(estimate(project_of(**terms, **some), weather_of("greensboro")))["as_found"].annual
        for terms in ({}, flat)
    )
    assert priced["cost_usd"] == pytest.approx(plain["cost_usd"], rel=1e-9)


@pytest.mark.crosscheck
def test_demand_alone_is_added_to_flat_prices_in_the_engine_and_in_the_workbook():
    some = {**FEW, "candidate": FEW["candidate"][:2], "bins": {"rows": "mean"}}
    plain = estimate(project_of(**some), weather_of("greensboro"))
    charged = estimate(project_of(demand_charge=TARIFF["demand_charge"], **some), weather_of("greensboro"))
    for c in charged.candidates:
        assert c.by_rate_period is None and c.charges.tiers_usd.sum() == 0.0 < c.charges.year_usd
        assert c.annual["cost_usd"] == pytest.approx(plain[c.id].annual["cost_usd"] + c.charges.year_usd, rel=1e-9)
    _, pen = build_workbook(charged)
    assert max(pen.residuals.values()) < 1e-7
