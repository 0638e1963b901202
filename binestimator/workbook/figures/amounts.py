"""Amounts as the sheets show them: rounded money, shares, costs by end use, times."""

from __future__ import annotations

import math

import numpy as np

from ...end_uses import END_USES as _USES
from ...rates import typical_prices
from ...results import Results
from ...row_accuracy import bin_errors
from ..formats import currency_sign
from ..layout import END_USES


def prices_of_end_uses(prices) -> dict[str, float]:
    """Price of a unit of each end use. [USD per kWh, therm or kBtu]"""
    return {use.key: getattr(prices, use.price) for use in _USES}


def cost_by_end_use(results: Results, candidate) -> dict[str, float]:
    """Annual cost of each end use; they sum to ``cost_usd``. [USD]

    Where prices differ by rate period, or demand and tiers are charged, each end use has its share of the cost by its
    energy at mean prices.
    """
    prices = prices_of_end_uses(typical_prices(results.unit.prices))
    costs = {key: candidate.annual[key] * prices[key] for key, _, _ in END_USES}
    if not results.project.terms.has_tariff:
        return costs
    total = sum(costs.values())
    return {key: cost * candidate.annual["cost_usd"] / total if total else 0.0 for key, cost in costs.items()}


def used_end_uses(results: Results) -> list[tuple[str, str, str]]:
    """End uses that some candidate has; fans at least."""
    return [use for use in END_USES if any(abs(c.annual[use[0]]) > 1e-9 for c in results.candidates)] or [END_USES[0]]


def step_for(largest: float, digits: int = 3) -> float:
    """Rounding step that leaves so many digits of the largest number, at least 1."""
    if not largest > 0.0:
        return 1.0
    return max(10.0 ** (math.floor(math.log10(largest)) - digits + 1), 1.0)


def rounded(value: float, step: float) -> float:
    """Value to the nearest step, halves away from zero as spreadsheets round."""
    return math.copysign(math.floor(abs(value) / step + 0.5) * step, value) if value else 0.0


def money(value: float, step: float = 1.0) -> str:
    """``$1,230`` or ``−$40``; in another currency its name for the sign."""
    number = rounded(value, step)
    return f"{'−' if number < 0 else ''}{currency_sign()}{abs(number):,.0f}"


def money_step(results: Results) -> float:
    """Rounding of money on the summary: three digits of the most expensive candidate."""
    return step_for(max(c.annual["cost_usd"] for c in results.candidates))


def share(part: float, whole: float) -> float:
    """Part of a whole; 0 where there is no whole."""
    return part / whole if whole else 0.0


def same_line(first: np.ndarray, second: np.ndarray, tolerance: float) -> bool:
    """Whether two curves lie on each other where both are known."""
    both = np.isfinite(first) & np.isfinite(second)
    return bool(
        np.array_equal(np.isfinite(first), np.isfinite(second)) and np.all(np.abs(first - second)[both] <= tolerance)
    )


def check_counts(results: Results) -> dict[str, int]:
    """Number of checks by status."""
    return {status: sum(k.status == status for k in results.checks) for status in ("pass", "explain", "fail")}


def bin_claims(results: Results) -> tuple[float, float, float]:
    """Largest errors against the hourly run: annual cost of the bin rows [%]; savings of the bin rows and of classic
    bins [points]."""
    base = results.baseline
    ours = [bin_errors(c, base) for c in results.candidates]
    classic = [bin_errors(c, base, "classic") for c in results.candidates]
    return (
        100.0 * max(abs(e["cost_frac"]) for e in ours),
        max(abs(e["saving_points"]) for e in ours),
        max(abs(e["saving_points"]) for e in classic),
    )


def payback_text(years: float | None, note: str) -> str:
    """Payback in words for a sentence."""
    if years is None:
        return note or "none"
    return f"{years:.1f} years" if years >= 0.05 else "less than a month"


def runs_at_all(results: Results) -> bool:
    """Whether some candidate runs in some hour."""
    return any(c.hourly["running_hours"] > 0.0 for c in results.candidates)


def use_step(results: Results, key: str) -> float:
    """Rounding of an end use: by what the largest candidate uses, so that a large share of little stays little."""
    return step_for(max(abs(c.annual[key]) for c in results.candidates))


def in_percent(value: float | None) -> str:
    """A probability in whole per cent; what is neither never nor always does not read as if it were."""
    if value is None:
        return "–"
    percent = 100.0 * value
    return "<1" if 0.0 < percent < 0.5 else ">99" if 99.5 <= percent < 100.0 else f"{percent:.0f}"


def percent(value: float) -> str:
    """``84 %`` or ``−14 %``."""
    number = rounded(100.0 * value, 1.0)
    return f"{'−' if number < 0 else ''}{abs(number):.0f} %"


_MONTHS = ("", "Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")


def when_text(month: int, day: int, hour: int) -> str:
    """``Jul 04 14h``; rows that are no real hour are means of their bin."""
    return f"{_MONTHS[month]} {day:02d} {hour:02d}h" if month > 0 else "mean of bin"
