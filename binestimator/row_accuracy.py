"""How near the bin rows come to the hours: errors of figures and counts, and tables of them."""

from __future__ import annotations

import numpy as np
import pandas as pd

from .end_uses import END_USES, ENERGY_KEYS, KBTU_IN, site_kbtu
from .rates import typical_prices
from .results import ANNUAL, COUNT_KEYS

# Accuracy required of the bin rows against the hours, per candidate.
COST_ERROR_FRAC = 0.005
END_USE_ERROR_FRAC = 0.01
SAVING_ERROR_POINTS = 0.3
_UNIT_OF = {use.key: use.unit for use in END_USES}


def end_use_kbtu(figures: dict[str, float], key: str) -> float:
    """An end use in kBtu."""
    return figures[key] * KBTU_IN[_UNIT_OF[key]]


def figure_errors(figures, hourly, base, base_hourly) -> dict[str, float]:
    """Errors of annual figures of one candidate against its hourly ones, with those of the baseline.

    ``cost_frac``; ``saving_points`` (percentage points of the baseline's cost); every end use as
    a share of all HVAC energy.
    """
    total = max(site_kbtu(hourly), 1e-9)
    out = {"cost_frac": (figures["cost_usd"] - hourly["cost_usd"]) / max(hourly["cost_usd"], 1e-9)}
    by_bins = 1.0 - figures["cost_usd"] / max(base["cost_usd"], 1e-9)
    by_hours = 1.0 - hourly["cost_usd"] / max(base_hourly["cost_usd"], 1e-9)
    out["saving_points"] = 100.0 * (by_bins - by_hours)
    for key in ENERGY_KEYS:
        out[key] = (end_use_kbtu(figures, key) - end_use_kbtu(hourly, key)) / total
    return out


def bin_errors(candidate, baseline, which="annual") -> dict[str, float]:
    """Errors (see :func:`figure_errors`) of the bin rows (``which`` "annual") or of classic mean bins ("classic") of
    one candidate."""
    return figure_errors(getattr(candidate, which), candidate.hourly, getattr(baseline, which), baseline.hourly)


def worst_bin_errors(candidates, baseline) -> dict[str, float]:
    """Largest absolute errors of the bin rows over all candidates (see ``results.RowChoice``)."""
    errors = [bin_errors(c, baseline) for c in candidates]
    return {
        "worst_cost_frac": max(abs(e["cost_frac"]) for e in errors),
        "worst_end_use_frac": max(abs(e[key]) for e in errors for key in ENERGY_KEYS),
        "worst_saving_points": max(abs(e["saving_points"]) for e in errors),
    }


def bin_status(error, bound, representative: bool) -> str:
    """``pass`` within the bound; beyond it ``explain`` for mean rows, which average unlike hours, else ``fail``."""
    return "pass" if abs(error) <= bound else "fail" if representative else "explain"


def bin_accuracy_table(results) -> pd.DataFrame:
    """Bins against hours: every candidate by cost, saving and end use, with classic mean bins beside.

    Parameters
    ----------
    results : Results

    Returns
    -------
    DataFrame
        One line a candidate and quantity: ``candidate, name, quantity`` (``cost_usd``,
        ``saving_pct`` of the baseline's cost, or one of ``ENERGY_KEYS`` that some candidate
        uses), ``label, unit``; figures ``hourly, bins, classic`` (bin rows of the run, and classic
        mean bins of the same grouping); errors ``bins_error, classic_error`` and their ``bound``,
        all in ``error_unit`` ("% of the cost", "% of all HVAC energy", "points"); ``status``
        (pass, explain, fail) of the bins and ``classic_status``; ``bins_error_usd,
        classic_error_usd`` where the quantity has a price, else NaN. [USD]
    """
    base, prices = results.baseline, typical_prices(results.unit.prices)
    representative = results.project.bins.rows == "representative"
    labels = {key: (label, unit) for key, label, unit, _ in ANNUAL}
    price = {use.key: getattr(prices, use.price) for use in END_USES} | {"cost_usd": 1.0}
    used = [key for key in ENERGY_KEYS if any(c.hourly[key] != 0.0 or c.annual[key] != 0.0 for c in results.candidates)]
    lines = []

    def add(c, quantity, label, unit, figures, errors, bound, error_unit):
        bins, classic = errors
        usd = [(figures[k] - figures[0]) * price[quantity] if quantity in price else np.nan for k in (1, 2)]
        lines.append(
            {
                "candidate": c.id,
                "name": c.name,
                "quantity": quantity,
                "label": label,
                "unit": unit,
                "hourly": figures[0],
                "bins": figures[1],
                "classic": figures[2],
                "bins_error": bins,
                "classic_error": classic,
                "bound": bound,
                "error_unit": error_unit,
                "status": bin_status(bins, bound, representative),
                "classic_status": bin_status(classic, bound, False),
                "bins_error_usd": usd[0],
                "classic_error_usd": usd[1],
            }
        )

    for c in results.candidates:
        three = (c.hourly, c.annual, c.classic)
        ours, theirs = bin_errors(c, base), bin_errors(c, base, "classic")
        add(
            c,
            "cost_usd",
            *labels["cost_usd"],
            [f["cost_usd"] for f in three],
            (100.0 * ours["cost_frac"], 100.0 * theirs["cost_frac"]),
            100.0 * COST_ERROR_FRAC,
            "% of the cost",
        )
        if c.id != base.id:
            saved = [
                100.0 * (1.0 - f["cost_usd"] / max(b["cost_usd"], 1e-9))
                for f, b in zip(three, (base.hourly, base.annual, base.classic))
            ]
            add(
                c,
                "saving_pct",
                "Saving",
                "% of the baseline's cost",
                saved,
                (ours["saving_points"], theirs["saving_points"]),
                SAVING_ERROR_POINTS,
                "points",
            )
        for key in used:
            add(
                c,
                key,
                *labels[key],
                [f[key] for f in three],
                (100.0 * ours[key], 100.0 * theirs[key]),
                100.0 * END_USE_ERROR_FRAC,
                "% of all HVAC energy",
            )
    return pd.DataFrame(lines)


def count_accuracy_table(results) -> pd.DataFrame:
    """Counts of the hourly run, which are those shown, beside what the bin rows would give.

    Returns
    -------
    DataFrame
        One line a candidate and count of ``results.COUNT_KEYS`` that is not 0 in both:
        ``candidate, name, count, label, unit, hourly, bins, error`` (bins - hourly).
    """
    labels = {key: (label, unit) for key, label, unit, _ in ANNUAL}
    lines = []
    for c in results.candidates:
        for key in COUNT_KEYS:
            hourly, bins = c.hourly[key], c.annual[key]
            if hourly != 0.0 or bins != 0.0:
                label, unit = labels[key]
                lines.append(
                    {
                        "candidate": c.id,
                        "name": c.name,
                        "count": key,
                        "label": label,
                        "unit": unit,
                        "hourly": hourly,
                        "bins": bins,
                        "error": bins - hourly,
                    }
                )
    return pd.DataFrame(lines, columns=["candidate", "name", "count", "label", "unit", "hourly", "bins", "error"])
