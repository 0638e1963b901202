"""Inputs that are drawn and notes on ranges, in words; the id of a set of ranges."""

from __future__ import annotations

import hashlib
from collections.abc import Sequence

import numpy as np

from ..results import Results
from .effects import HIGH, LOW
from .influence import words_of
from .lines import Drawn
from .nights import COARSE_NIGHTS, NIGHTS
from .points import NESTED_DRAWS, DrawnPoints
from .results import (
    DEFAULT,
    OWN,
    RangedInput,
    RangedYear,
    years_in_words,
)

#: What draws hold, in words.
HELD = (
    "rows with their weights, sizes that were given, optimiser setpoints, what operators override at night, and which "
    "hours and nights stand for demand and for all nights are those of the run in all draws; sizes that were not given "
    "follow the loads"
)


def ranged_input(one: Drawn, drawn, project) -> RangedInput:
    d = one.distribution
    p10, p90 = d.quantile(np.array([LOW, HIGH]))
    others = tuple(
        other.key
        for other in drawn
        if one.line.together and other.line.together == one.line.together and other is not one
    )
    status = next((project.status_of(item.path) for item in one.items if item.path), "")
    return RangedInput(
        key=one.key,
        label=one.line.label,
        kind=one.line.kind,
        paths=tuple(dict.fromkeys(item.pattern for item in one.items if item.pattern)),
        low=words_of(one, d.low),
        base=words_of(one, d.base),
        high=words_of(one, d.high),
        p10=words_of(one, float(p10)),
        p90=words_of(one, float(p90)),
        distribution=d.kind,
        basis=one.basis,
        status=status,
        source=one.source,
        correlated_with=others,
        correlation=one.line.correlation if others else 0.0,
        width_frac=None if one.usual is None else d.width / max(one.usual.width, 1e-12),
        default_words="" if one.usual is None else f"{words_of(one, one.usual.low)} to {words_of(one, one.usual.high)}",
    )


def notes_of(inputs, narrow, judged: int, results: Results, years: tuple[RangedYear, ...]) -> tuple[str, ...]:
    out = [f"Weather years: {years_in_words(years)}."] if years else []
    if not judged:
        out.append(
            "Coarse: few draws, none of them hour by hour; options serve equally as in the run. --ranges makes many."
        )
    else:
        out.append(
            f"Equal service: {judged} draws judged by all hours of the year, resets worked out anew in each; nights "
            "are those of the run."
        )
    own = [one.label for one in inputs if one.basis == OWN]
    if own:
        out.append(
            f"{len(own)} of {len(inputs)} ranges are the project's own"
            + (f", narrower than usual: {', '.join(narrow)}." if narrow else ", none narrower than usual.")
        )
    default = sum(one.basis == DEFAULT for one in inputs)
    out.append(f"{NIGHTS if judged else COARSE_NIGHTS} nights stand for those of the year in the draws.")
    out.append(f"{default} of {len(inputs)} drawn inputs are defaults that nobody has looked at.")
    if not any(one.key in ("sat_override", "dsp_override") for one in inputs):
        out.append("The project names no overrides by operators, so none are drawn; trend setpoints to know.")
    if results.project.terms.has_tariff:
        out.append(
            "Demand charges go by the hours of the run that may be a month’s peak, tiers by the year’s energy; both go "
            "with the price of electricity."
        )
    return tuple(out)


def ranges_id(results: Results, points: DrawnPoints, count: int, seed: int, full: bool, years: Sequence = ()) -> str:
    """Id of ranges from everything that they depend on."""
    text = repr(
        (
            results.run_id,
            *([each.sha256 for each in years] if years else ()),
            count,
            NESTED_DRAWS,
            seed,
            full,
            [
                (one.key, sorted((basis, repr(each)) for basis, each in one.distributions.items()))
                for one in points.drawn
            ],
        )
    )
    return hashlib.sha256(text.encode()).hexdigest()[:12]
