"""Results with advice: drivers of the answer and value for money, found once a run is whole."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

from ..estimate import estimate
from ..results import BINS, Advice, Held, Results
from .drivers import find_drivers
from .remedies import find_remedies
from .rogue import find_after_repairs
from .value import best_value, coincidences, combined_parts, is_limit_of_control


def driven_id(results) -> str | None:
    """Candidate whose saving the drivers are about: the best value, else the best, else the largest saving."""
    value = best_value(results).best_id
    if value is not None:
        return value
    others = [c for c in results.candidates if c.id != results.baseline_id]
    open_to = [c for c in others if c.rank is not None and not is_limit_of_control(c.candidate)] or others
    return max(open_to, key=lambda c: c.saving["cost_usd"]).id if open_to else None


def advise(results: Results, *, drivers: bool = True) -> Results:
    """The same results with ``advice`` (see ``results.Advice``).

    Remedies and repairs are judged with rooms at rest: there are none where options are judged as run.
    """
    about, at_rest = driven_id(results), results.ranked_by == BINS
    return replace(
        results,
        advice=Advice(
            drivers_of=about,
            drivers=find_drivers(results, about) if about and drivers else (),
            value=best_value(results),
            parts=combined_parts(results),
            coincidences=coincidences(results),
            remedies=find_remedies(results) if at_rest else (),
            after_repairs=find_after_repairs(results) if at_rest else (),
        ),
    )


def estimate_and_advise(
    project,
    weather,
    held: Held | None = None,
    *,
    drivers: bool = True,
    estimated: Callable[[Results], object] | None = None,
) -> Results:
    """:func:`estimate.estimate`, then :func:`advise`; ``estimated`` is called between them, with results that are whole
    but for advice."""
    results = estimate(project, weather, held)
    if estimated is not None:
        estimated(results)
    return advise(results, drivers=drivers)
