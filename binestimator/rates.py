"""Marginal prices of energy by rate period: what one more kWh or therm costs, with riders and taxes.

A rate period is a set of hours in which no price differs; ``Conditions.rate_period`` has that of each row. A project
without a tariff has one price of each energy, and nothing here is asked.
"""

from __future__ import annotations

import functools

import numpy as np

from .dataclass import dataclass
from .end_uses import PRICED
from .hours import clock_calendar, price_tiers, tariff_periods

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
    -> (P + 1,) price in each, and as the last one the mean over the hours of the year · ``tiers`` (4, P) tier
    that counts at the margin by source, from 1.
    """

    labels: tuple[str, ...]
    hours: np.ndarray
    usd: dict[str, np.ndarray]
    tiers: np.ndarray

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


def tier_usd(line, tier: int) -> float:
    """Price of a tier of a line."""
    return line.usd if tier == 1 else getattr(line, f"tier{tier}_usd")


@functools.lru_cache(maxsize=16)
def _rates(prices, calendar, terms) -> Rates:
    clock = clock_calendar(calendar)
    in_force = price_tiers(clock, calendar, terms)
    period, lines = tariff_periods(clock, calendar, terms.energy_prices, in_force)
    count = lines.shape[1]
    sources = list(SOURCE_OF.values())
    first = np.array([int(np.argmax(period == p)) for p in range(count)])
    tiers = in_force[:, first]
    hours = np.bincount(period, minlength=count).astype(float)
    usd = {}
    for name, source in SOURCE_OF.items():
        of_period = np.full(count, with_riders(getattr(prices, name), source, terms.tariff))
        for p in range(count):
            place = lines[sources.index(source), p]
            if place >= 0:
                usd_of_tier = tier_usd(terms.energy_prices[place], int(tiers[sources.index(source), p]))
                of_period[p] = with_riders(usd_of_tier, source, terms.tariff)
        usd[name] = np.append(of_period, float(of_period @ hours) / hours.sum())
    labels = tuple(_label(terms, lines, tiers, p) for p in range(count))
    return Rates(labels=labels, hours=hours, usd=usd, tiers=tiers)


def _label(terms, lines, tiers, p: int) -> str:
    """A rate period in words: its lines, with the tier where a line is in force in several."""
    words = []
    for source, place in enumerate(lines[:, p]):
        if place >= 0:
            several = len(set(tiers[source][lines[source] == place])) > 1
            words.append(terms.energy_prices[place].name + (f", tier {tiers[source, p]}" if several else ""))
    return " · ".join(words) or "all other hours"
