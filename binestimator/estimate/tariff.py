"""What the tariff of a project adds to energy at marginal prices, and energy by rate period."""

from __future__ import annotations

import numpy as np
import pandas as pd

from ..end_uses import ELECTRIC, ELECTRICITY_KEY, END_USES, PRICED
from ..money import annual_cost_by_source_usd
from ..money.tariffs import Charges, Meter
from ..rates import Rates, prices_at
from .running import off_energy


def priced_amounts(energy) -> dict[str, np.ndarray]:
    """Amounts of ``end_uses.PRICED`` from energies of end uses."""
    electricity = np.sum([energy[use.key] for use in ELECTRIC], axis=0)
    return {key: electricity if key == ELECTRICITY_KEY else energy[key] for key, _, _ in PRICED}


def charges_of(project, sites, energies) -> dict[str, Charges]:
    """Charges of every candidate by id, from its hours; empty without a tariff."""
    if not project.terms.has_tariff:
        return {}
    meter = Meter.of(project)
    out = {}
    for id_, energy in energies.items():
        site = sites.of(project.candidate(id_))
        out[id_] = meter.charges(priced_amounts(energy), site.unit.prices, site.hourly.conditions.rate_period)
    return out


def add_charges(figures, charges) -> None:
    """Add the charges of the year to the cost of candidates, in place; figures by kind of rows that are one are charged
    once."""
    seen: set[int] = set()
    for of_kind in figures.values():
        for id_, own in of_kind.items():
            if id_ in charges and id(own) not in seen:
                seen.add(id(own))
                own["cost_usd"] += charges[id_].year_usd


def with_charges(figures: dict[str, float], charges: Charges | None) -> dict[str, float]:
    """Figures with the charges of another run beside them: demand and tiers of perfect resets are not known."""
    return figures if charges is None else figures | {"cost_usd": figures["cost_usd"] + charges.year_usd}


def cost_by_source_usd(unit, rows, parts, night, figures, charges: Charges | None) -> dict[str, float]:
    """Cost of a year by key of ``end_uses.PRICED``; demand and tiers are in that of electricity. [USD]"""
    if not isinstance(unit.prices, Rates):
        paid = annual_cost_by_source_usd(figures, unit.prices)
    else:
        now, out = prices_at(unit.prices, rows.on.rate_period), {}
        off = off_energy(unit, rows.conditions)
        idle_now = prices_at(unit.prices, rows.conditions.rate_period)
        for key, price, _ in PRICED:
            uses = ELECTRIC if key == ELECTRICITY_KEY else [use for use in END_USES if use.key == key]
            usd = 0.0
            for use in uses:
                rate = sum(p.share * sum(getattr(p.state, r) for r in use.rates) for p in parts)
                usd += float(rows.on.hours @ (rate * getattr(now, price)))
                if use.off:
                    usd += float(rows.conditions.hours @ (off[use.off] * getattr(idle_now, price)))
            out[key] = usd
        # Nights are known by their cost as a whole: shared by what their energies cost at mean prices.
        mean = unit.prices.mean
        parts_of_night = {key: night[key] * float(getattr(mean, price)) for key, price, _ in PRICED}
        whole = sum(parts_of_night.values())
        paid = {
            key: out[key] + (night["cost_usd"] * share / whole if whole else 0.0)
            for key, share in parts_of_night.items()
        }
    added = 0.0 if charges is None else charges.year_usd
    return {key: usd + (added if key == ELECTRICITY_KEY else 0.0) for key, usd in paid.items()}


def by_rate_period(site, parts, night, energy) -> pd.DataFrame | None:
    """Energy of a candidate by rate period, running rows beside running hours; None without rate periods of a tariff.

    Columns ``period, label, hours``, and for each of ``end_uses.PRICED`` its amount in running time from the rows and
    from the hours, ``<key>_rows`` and ``<key>_hours``, without what a night's block makes up in the morning: rows know
    no nights. ``<key>_all_hours`` is all that the year takes.

    Parameters
    ----------
    site : Site
    parts : list of Part
        On the rows.
    night : NightBlock
    energy : dict
        Of the hours by end use, nights included (H,).
    """
    prices = site.unit.prices
    if not isinstance(prices, Rates):
        return None
    count = len(prices.labels)
    rows, hours = site.rows, site.hourly
    table = {"period": np.arange(count), "label": list(prices.labels), "hours": prices.hours}
    for key, price, _ in PRICED:
        uses = ELECTRIC if key == ELECTRICITY_KEY else [use for use in END_USES if use.key == key]
        rate = sum(p.share * sum(getattr(p.state, r) for use in uses for r in use.rates) for p in parts)
        table[f"{key}_rows"] = np.bincount(rows.on.rate_period, rows.on.hours * rate, count)
        table[f"{key}_price"] = prices.usd[price][:-1]
    running = hours.running
    alone = {use.key: energy[use.key] - (getattr(night, use.night) if use.night else 0.0) for use in END_USES}
    steady = priced_amounts(alone)
    for key, amounts in priced_amounts(energy).items():
        table[f"{key}_all_hours"] = np.bincount(hours.conditions.rate_period, amounts, count)
        table[f"{key}_hours"] = np.bincount(hours.on.rate_period, steady[key][running], count)
    return pd.DataFrame(table)
