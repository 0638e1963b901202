"""How sure the figures are: ranges from draws, confidence, what a saving depends on."""

from __future__ import annotations

import re

from ...money.bills import reconciled_words
from ...money.life_cycle import NEVER
from ...ranges.claim import claim_of
from ...ranges.drivers import drivers_of
from ...ranges.results import Ranges, sensible
from ...results import Results
from .amounts import bin_claims, check_counts, in_percent, money, share
from .value import interaction_text
from .words import number_of


def drawn(results: Results) -> Ranges:
    """Ranges of a run in which draws were made.

    Raises
    ------
    ValueError
        None were made.
    """
    if results.ranges is None:
        raise ValueError("no draws were made")
    return results.ranges


def saving_range(results: Results, c) -> str:
    """From P10 to P90 of the saving of an option, ``$5,800 to 11,200``; empty where no draws were made."""
    if results.ranges is None:
        return ""
    found = sensible(results.ranges[c.id].quantities["cost_saving_usd"])
    if found.p10 is None or found.p90 is None:
        return ""
    low, high = found.p10, found.p90
    return f"{money(low)} to {money(high) if low < 0.0 or high < 0.0 else f'{high:,.0f}'}"


def payback_range(results: Results, c) -> str:
    """From P10 to P90 of the payback of an option that costs something; empty where no draws were made."""
    if results.ranges is None or c.candidate.cost_usd <= 0.0:
        return ""
    found = sensible(results.ranges[c.id].quantities["payback_after_incentive_years"])
    if found.p10 is None:
        return found.missing or NEVER
    if found.p90 is None:
        return f"{found.p10:.1f} years at the best, or {found.missing or NEVER}"
    return f"{found.p10:.1f} to {found.p90:.1f} years"


def driver_lines(results: Results) -> list[str]:
    """What the saving depends on, the strongest first."""
    drivers = drivers_of(results)
    if drivers.option_id is None or not drivers.shown:
        return []
    c = results[drivers.option_id]
    said = 100.0 * share(c.saving["cost_usd"], results.baseline.annual["cost_usd"])
    which = f"Option {number_of(results, c.id)}" + ("" if c.rank is not None else ", which is not ranked,")
    lines = [f"{which} saves {said:.0f} % as estimated; {drivers.how}:"]
    for d in drivers.shown:
        low, high = (re.sub(r"^x ", "× ", str(end)) for end in (d.low, d.high))
        lines.append(
            f"{d.label}, {low} to {high}: {d.saving_low_pct:.0f} to {d.saving_high_pct:.0f} %.".replace("degF", "°F")
        )
    return lines


def confidence(results: Results, c) -> tuple[str, str, str]:
    """How sure it is that an option is the best, and that it pays back, as a key figure."""
    option, limit = drawn(results)[c.id], results.project.prices.payback_limit_years
    pays = in_percent(option.probability_pays_back)
    return (
        "It is the best in",
        f"{in_percent(option.probability_best)} %",
        f"of draws; in {pays} % it pays back within {limit:g} years",
    )


def sure_lines(results: Results) -> list[str]:
    """How sure the figures are, and what they rest on."""
    counts = check_counts(results)
    cost, ours, classic = bin_claims(results)
    origins = results.project.estimate_origins
    defaults = sum(o == "default" for o in origins)
    first = (
        f"{counts['pass']} checks pass, {counts['explain']} need{'s' if counts['explain'] == 1 else ''} an "
        f"explanation, {counts['fail'] or 'none'} fail" + (": do not use these results." if counts["fail"] else ".")
    )
    said = [
        first
        + f" Against the same equations hour by hour: cost within {cost:.2f} %, savings within {ours:.2f} points"
        + (
            f"; classic bins would miss savings by up to {classic:.1f} points."
            if results.project.bins.rows == "representative"
            else "."
        ),
        f"{reconciled_words(results.bills)}. {defaults:,} of {len(origins):,} inputs are defaults"
        f"{_looked_at(results)}: measured values make the estimate firmer.",
        *(
            _range_lines(results)
            or ["A typical year is no forecast: no ± is given, as none has been measured for this building."]
        ),
    ]
    # Ranges take the room; how resets add up is on the sheet of measures as well.
    added = "" if results.ranges is not None else interaction_text(results)
    return [*said, added] if added else said


def _looked_at(results: Results) -> str:
    """How many inputs were measured, trended or read off, where any were."""
    statuses = [results.project.status_of(path) for path in results.project.origins]
    counts = {word: statuses.count(word) for word in ("measured", "trended", "nameplate", "drawing")}
    said = ", ".join(f"{count:,} {word}" for word, count in counts.items() if count)
    return f", {said}" if said else ""


def _range_lines(results: Results) -> list[str]:
    """What the ranges are, and what they rest on; empty where no draws were made."""
    ranges = results.ranges
    if ranges is None:
        return []
    claim = claim_of(results)
    said = (
        f"Ranges are from draws of {len(ranges.inputs)} uncertain inputs ({ranges.label}), of which "
        f"{in_percent(ranges.default_frac)} % are defaults; a typical year is no forecast. More on “Ranges”."
    )
    if claim.option_id is None or claim.fit:
        return [said]
    return [
        said,
        f"Not fit for a programme claim: the saving of option {number_of(results, claim.option_id)} rests on defaults "
        f"for {claim.words}.",
    ]
