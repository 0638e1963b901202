"""All else on the meter of an air handler, and the tiers of prices that it leaves the air handler in."""

from __future__ import annotations

import numpy as np

from .clock import MONTHS, SOURCES, Clock, price_lines


def other_load_kw(clock: Clock, terms) -> np.ndarray:
    """Power of all else on the meter: profiles of the tariff, each month at its own energy where that is given.
    (8760,) [kW]

    Energy by month without a profile is spread evenly over the hours of the month.
    """
    tariff = terms.tariff
    months = other_month_kwh(terms)
    weekday = tariff.other_weekday_kw or ((0.0,) * 24 if months is None else (1.0,) * 24)
    weekend = tariff.other_weekend_kw or weekday
    works = clock.day_type[clock.day] == 0
    kw = np.where(works, np.asarray(weekday)[clock.hour], np.asarray(weekend)[clock.hour])
    if months is None:
        return kw
    by_profile = np.bincount(clock.month, kw, len(MONTHS))
    # A profile of nothing says nothing of when: the hours share evenly.
    hours = np.bincount(clock.month, minlength=len(MONTHS))
    even = (np.asarray(months) / hours)[clock.month]
    scale = np.asarray(months) / np.where(by_profile > 0.0, by_profile, 1.0)
    return np.where(by_profile[clock.month] > 0.0, kw * scale[clock.month], even)


def other_month_kwh(terms):
    """Electricity of all else by month (12,), of the tariff or of the bills; None where neither says it. [kWh]"""
    return terms.tariff.other_month_kwh or terms.bills.other_electricity_kwh or None


def tier_of(line, other_amount: float) -> int:
    """Tier of a price line, from 1, in which one more unit is priced after so much of other loads in a month."""
    tier = 1
    for k in (2, 3):
        start = getattr(line, f"tier{k}_from")
        if start is not None and other_amount >= start:
            tier = k
    return tier


def price_tiers(clock: Clock, calendar, terms) -> np.ndarray:
    """Tier that counts at the margin, by source and hour. (4, 8760) of int, from 1

    Where other loads of the meter end in the hours of the line: in each month, where their energy by month is known;
    else in the mean of the months in which the line is in force.
    """
    lines = price_lines(clock, calendar, terms.energy_prices)
    tiers = np.ones(lines.shape, dtype=int)
    other, known = other_load_kw(clock, terms), other_month_kwh(terms) is not None
    for place, line in enumerate(terms.energy_prices):
        row = SOURCES.index(line.source)
        inside = lines[row] == place
        if line.source != "electricity" or not inside.any():
            continue
        months = np.unique(clock.month[inside])
        by_month = np.bincount(clock.month[inside], other[inside], len(MONTHS))
        for month in months:
            amount = by_month[month] if known else by_month[months].sum() / len(months)
            tiers[row, inside & (clock.month == month)] = tier_of(line, float(amount))
    return tiers
