"""Ranges as plain data for the results file; its keys are documented in output/README.md."""

from __future__ import annotations

from dataclasses import asdict

from binestimator.results import Results, plain

from .claim import claim_of
from .drivers import drivers_of
from .results import sensible


def with_ranges(data: dict, results: Results) -> dict:
    """Plain data of a run with how sure it is: keys of every candidate, and ``ranges``; ``None`` where no draws were
    made.

    Parameters
    ----------
    data : dict
        From ``results.to_plain``.
    """
    candidates = [{**each, **plain(_range_of(results, each["id"]))} for each in data["candidates"]]
    drivers = drivers_of(results)
    return {
        **data,
        "candidates": candidates,
        "drivers_of": drivers.option_id,
        "drivers": [
            {"input": ", ".join(each.paths), **{k: v for k, v in asdict(each).items() if k != "paths"}}
            for each in drivers.shown
        ],
        "ranges": plain(_ranges(results)),
    }


def _range_of(results: Results, candidate_id: str) -> dict:
    """Plain data of how sure the figures of a candidate are; ``None`` where no draws were made."""
    keys = ("range", "probability_best", "probability_pays_back", "realised_probability_pays_back")
    if results.ranges is None:
        return dict.fromkeys((*keys, "probability_serves", "range_drivers", "break_even"))
    found = results.ranges[candidate_id]
    quantities = {}
    for key, each in found.quantities.items():
        rounded = sensible(each)
        quantities[key] = {
            "p10": rounded.p10,
            "p50": rounded.p50,
            "p90": rounded.p90,
            "missing": rounded.missing or None,
            "never_frac": rounded.never_frac,
        }
    return {
        "range": quantities,
        "probability_best": found.probability_best,
        "probability_pays_back": found.probability_pays_back,
        "realised_probability_pays_back": found.realised_probability_pays_back,
        "probability_serves": asdict(found.serves),
        "range_drivers": [asdict(driver) for driver in found.drivers],
        "break_even": None if found.break_even is None else asdict(found.break_even),
    }


def _ranges(results: Results) -> dict | None:
    """Plain data of the draws, and of what stands between the result and a programme claim."""
    ranges = results.ranges
    if ranges is None:
        return None
    claim = claim_of(results)
    return {
        "run_id": ranges.run_id,
        "coarse": ranges.coarse,
        "draws": ranges.draws,
        "nested": ranges.nested,
        "seed": ranges.seed,
        "about": ranges.about_id,
        "fit_for_claim": claim.fit,
        "rests_on_defaults": list(claim.defaults),
        "measure_next": [asdict(each) for each in ranges.measure_next],
        "inputs": [asdict(each) for each in ranges.inputs],
        "differences": [asdict(each) for each in ranges.differences],
        "hourly": None if ranges.hourly is None else asdict(ranges.hourly),
        "reoptimised": [asdict(each) for each in ranges.reoptimised],
        "service_draws": ranges.service_draws,
        "own_frac": ranges.own_frac,
        "default_frac": ranges.default_frac,
        "narrow": list(ranges.narrow),
        "notes": list(ranges.notes),
        "held": ranges.held,
        "nights": None if ranges.nights is None else asdict(ranges.nights),
        "weather_years": [asdict(each) for each in ranges.years],
    }
