"""Marginal prices of energy by rate period: what one more kWh or therm costs, with riders and taxes.

A rate period is a set of hours in which no price differs; ``Conditions.rate_period`` has that of each row. A project
without a tariff has one price of each energy, and nothing here is asked.
"""

from __future__ import annotations

import functools
from dataclasses import dataclass

import numpy as np

from .end_uses import PRICED
from .hours import clock_calendar, other_load_kw, price_lines, tariff_periods

#: Input of section ``prices`` -> source of energy as terms name it.
SOURCE_OF = {
    "electricity_usd_kwh": "electricity",
    "fuel_usd_therm": "fuel",
    "cooling_usd_kbtu": "cooling",
    "heat_usd_kbtu": "heat",
}


@dataclass(frozen=True, slots=True, kw_only=True)
class At:
    """Prices in force in rows, (R,) each, by the names of section ``prices``."""

    electricity_usd_kwh: np.ndarray
    fuel_usd_therm: np.ndarray
    cooling_usd_kbtu: np.ndarray
    heat_usd_kbtu: np.ndarray


@dataclass(frozen=True, slots=True, kw_only=True)
class Rates:
    """Marginal prices by rate period.

    ``labels`` of the P periods in words · ``hours`` (P,) of the year in each [h] · ``usd`` input of section ``prices``
    -> (P + 1,) price in each, and as the last one the mean over the hours of the year · ``tiers`` tier of each price
    line that counts at the margin, from 1.
    """

    labels: tuple[str, ...]
    hours: np.ndarray
    usd: dict[str, np.ndarray]
    tiers: tuple[int, ...]

    def at(self, period) -> At:
        """Prices of rows by their rate period (R,)."""
        return At(**{name: values[period] for name, values in self.usd.items()})

    @property
    def mean(self) -> At:
        """Means over the hours of the year, for figures that need one price."""
        return At(**{name: values[-1] for name, values in self.usd.items()})


def prices_at(prices, period):
    """Prices in force in rows: those of the section where there is no tariff.

    Parameters
    ----------
    prices : record of section ``prices`` or Rates
    period : ndarray (R,) of int
        Rate period of each row.
    """
    return prices.at(period) if isinstance(prices, Rates) else prices


def typical_prices(prices):
    """One price of each energy: that of the section, or the mean over the hours of the year."""
    return prices.mean if isinstance(prices, Rates) else prices


def hourly_cost_usd(amounts, prices, period):
    """Cost of hourly energies at marginal prices. (H,) [USD]

    Parameters
    ----------
    amounts : mapping
        Amounts of ``end_uses.PRICED``, (H,) each.
    """
    now = prices_at(prices, period)
    return sum(amounts[key] * getattr(now, price) for key, price, _ in PRICED)


def prices_of(project):
    """Prices of a project for its unit: the section itself, or the rates of its tariff."""
    if not project.terms.energy_prices:
        return project.prices
    return _rates(project.prices, project.calendar, project.terms)


def with_riders(usd, source: str, tariff):
    """A price with the riders and taxes of the tariff."""
    rider = {"electricity": tariff.electricity_rider_usd_kwh, "fuel": tariff.fuel_rider_usd_therm}.get(source, 0.0)
    return (usd + rider) * (1.0 + tariff.tax_frac)


def tier_of(line, other_amount: float) -> int:
    """Tier of a price line, from 1, in which one more unit is priced after so much of other loads in a month."""
    tier = 1
    for k in (2, 3):
        start = getattr(line, f"tier{k}_from")
        if start is not None and other_amount >= start:
            tier = k
    return tier


def tier_usd(line, tier: int) -> float:
    """Price of a tier of a line."""
    return line.usd if tier == 1 else getattr(line, f"tier{tier}_usd")


def _tier_in_force(line, other_kw, inside, month) -> int:
    """Tier that counts at the margin: where other loads of the meter end in the mean of the months in which the line
    is in force."""
    if line.source != "electricity" or not inside.any():
        return 1
    return tier_of(line, float(other_kw[inside].sum()) / len(np.unique(month[inside])))


@functools.lru_cache(maxsize=16)
def _rates(prices, calendar, terms) -> Rates:
    clock = clock_calendar(calendar)
    period, lines = tariff_periods(clock, calendar, terms.energy_prices)
    other = other_load_kw(clock, terms.tariff)
    count = lines.shape[1]
    in_force = price_lines(clock, calendar, terms.energy_prices)
    sources = list(SOURCE_OF.values())
    tiers = tuple(
        _tier_in_force(line, other, in_force[sources.index(line.source)] == place, clock.month)
        for place, line in enumerate(terms.energy_prices)
    )
    hours = np.bincount(period, minlength=count).astype(float)
    usd = {}
    for name, source in SOURCE_OF.items():
        of_period = np.full(count, with_riders(getattr(prices, name), source, terms.tariff))
        for p in range(count):
            place = lines[sources.index(source), p]
            if place >= 0:
                usd_of_tier = tier_usd(terms.energy_prices[place], tiers[place])
                of_period[p] = with_riders(usd_of_tier, source, terms.tariff)
        usd[name] = np.append(of_period, float(of_period @ hours) / hours.sum())
    labels = tuple(
        " · ".join(terms.energy_prices[place].name for place in lines[:, p] if place >= 0) or "all other hours"
        for p in range(count)
    )
    return Rates(labels=labels, hours=hours, usd=usd, tiers=tiers)
