"""Bills by month of a tariff: energy by period and tier, demand with ratchets, riders and taxes; at the margin.

What an air handler costs is the bill of its meter with it less the bill without it. Fixed charges are in both and so
in neither. Demand is that of hourly means.
"""

from __future__ import annotations

import numpy as np

from ..dataclass import dataclass
from ..end_uses import PRICED
from ..hours import MONTHS, clock_calendar, other_load_kw, price_lines, window_hours
from ..inputs.project import Project
from ..rates import SOURCE_OF, prices_at, with_riders

_MONTH_COUNT = len(MONTHS)
#: Sums of another order differ by less. [share of the largest month]
_ROUNDING_FRAC = 1e-9


@dataclass(frozen=True, slots=True, kw_only=True)
class Charges:
    """What a tariff adds to energy at marginal prices, by month; negative where tiers cost less than the margin.

    ``energy_usd`` (12,) energy at the prices of its hours and tiers · ``marginal_usd`` (12,) the same hours at the
    marginal price of their rate period · ``demand_kw`` (n, 12) billed by each demand charge, more than without the air
    handler · ``demand_usd`` (n, 12) what that costs.
    """

    energy_usd: np.ndarray
    marginal_usd: np.ndarray
    demand_kw: np.ndarray
    demand_usd: np.ndarray

    @property
    def tiers_usd(self) -> np.ndarray:
        """Tiers: energy as billed less energy at marginal prices, without what is rounding. (12,) [USD]"""
        apart = self.energy_usd - self.marginal_usd
        return np.where(np.abs(apart) > _ROUNDING_FRAC * np.abs(self.energy_usd).max(), apart, 0.0)

    @property
    def by_month_usd(self) -> np.ndarray:
        """All that is added. (12,) [USD]"""
        return self.tiers_usd + self.demand_usd.sum(axis=0)

    @property
    def year_usd(self) -> float:
        """All that is added in the year. [USD]"""
        return float(self.by_month_usd.sum())


def tiered_usd(amount, line):
    """Cost of amounts of a month by the tiers of a price line, without riders and taxes. [USD]

    Parameters
    ----------
    amount : ndarray
        Of the hours of the line. [kWh or therm]
    """
    amount = np.asarray(amount, dtype=float)
    total = amount * line.usd
    before = line.usd
    for k in (2, 3):
        start, price = getattr(line, f"tier{k}_from"), getattr(line, f"tier{k}_usd")
        if start is not None:
            total = total + np.maximum(amount - start, 0.0) * (price - before)
            before = price
    return total


def billed_kw(peaks_kw, charge):
    """Billed demand of each month from its peaks, with the ratchet. (12, ...) [kW]

    Notes
    -----
    In the months of the charge the larger of the month's peak and the ratchet's share of the largest peak of its
    months in the year; 0 in the others. The year is a closed circle: the twelve months of the typical year.
    """
    peaks = np.asarray(peaks_kw, dtype=float)
    ratchet = [MONTHS.index(month) for month in charge.ratchet_months]
    floor = charge.ratchet_frac * (peaks[ratchet].max(axis=0) if ratchet else 0.0)
    charged = np.isin(np.arange(_MONTH_COUNT), [MONTHS.index(month) for month in charge.months])
    return np.where(charged.reshape(-1, *[1] * (peaks.ndim - 1)), np.maximum(peaks, floor), 0.0)


@dataclass(frozen=True, slots=True, kw_only=True)
class Meter:
    """A tariff laid over the hours of the year: masks and places of lines, found once for all candidates."""

    project: Project
    month: np.ndarray
    other_kw: np.ndarray
    lines: np.ndarray
    inside: tuple[np.ndarray, ...]

    @classmethod
    def of(cls, project) -> Meter:
        """Meter of a project."""
        terms = project.terms
        clock = clock_calendar(project.calendar)
        return cls(
            project=project,
            month=clock.month,
            other_kw=other_load_kw(clock, terms),
            lines=price_lines(clock, project.calendar, terms.energy_prices),
            inside=tuple(
                window_hours(clock, project.calendar, c.months, c.days, c.hours) for c in terms.demand_charges
            ),
        )

    def energy_usd(self, amounts) -> np.ndarray:
        """Energy of hourly amounts by key of ``end_uses.PRICED``, by month with riders and taxes. (12,) [USD]"""
        project, terms = self.project, self.project.terms
        total = np.zeros(_MONTH_COUNT)
        for key, price, _ in PRICED:
            source = SOURCE_OF[price]
            place = self.lines[list(SOURCE_OF.values()).index(source)]
            for n in np.unique(place):
                mine = place == n
                by_month = np.bincount(self.month[mine], amounts[key][mine], _MONTH_COUNT)
                usd = (
                    tiered_usd(by_month, terms.energy_prices[n])
                    if n >= 0
                    else by_month * getattr(project.prices, price)
                )
                rider = with_riders(0.0, source, terms.tariff)
                total += usd * (1.0 + terms.tariff.tax_frac) + by_month * rider
        return total

    def peaks_kw(self, kw) -> np.ndarray:
        """Peak of each month in the hours of each demand charge. (n, 12) [kW]"""
        out = np.zeros((len(self.inside), _MONTH_COUNT))
        for n, inside in enumerate(self.inside):
            np.maximum.at(out[n], self.month[inside], np.asarray(kw)[inside])
        return out

    def charges(self, amounts, prices, period) -> Charges:
        """What the tariff adds to the energies of a candidate.

        Parameters
        ----------
        amounts : mapping
            Hourly energies by key of ``end_uses.PRICED``, (8760,) each.
        prices : record of section ``prices`` or Rates
        period : ndarray (8760,) of int
        """
        terms, charges = self.project.terms, self.project.terms.demand_charges
        without = {key: np.zeros(len(self.month)) for key, _, _ in PRICED} | {"electricity_kwh": self.other_kw}
        having = {key: without[key] + amounts[key] for key in without}
        now = prices_at(prices, period)
        hourly = sum(amounts[key] * getattr(now, price) for key, price, _ in PRICED)
        peaks, before = self.peaks_kw(having["electricity_kwh"]), self.peaks_kw(self.other_kw)
        more = np.array([billed_kw(peaks[n], c) - billed_kw(before[n], c) for n, c in enumerate(charges)])
        more = more.reshape(len(charges), _MONTH_COUNT)
        each = np.array([c.usd_kw for c in charges]).reshape(-1, 1) * (1.0 + terms.tariff.tax_frac)
        return Charges(
            energy_usd=self.energy_usd(having) - self.energy_usd(without),
            marginal_usd=np.bincount(self.month, hourly, _MONTH_COUNT),
            demand_kw=more,
            demand_usd=more * each,
        )
