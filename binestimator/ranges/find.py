"""Ranges of results, whole: draws, percentiles, probabilities, drivers, what to measure next."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace

import numpy as np

from ..results import Results
from .draw import base_factors, joined_factors, taken
from .lines import drawn_lines
from .nights import COARSE_NIGHTS, NIGHTS
from .points import points_of
from .put_together import put_together
from .results import (
    Ranges,
)
from .years import Years

#: Draws of the model: coarse, which every run has, and full.
COARSE_DRAWS, FULL_DRAWS = 128, 2048
#: Draws that full ranges repeat in all hours of the year: for service, and to be set beside the rows.
SERVICE_DRAWS = 200


def find_ranges(
    results: Results,
    *,
    full: bool = False,
    draws: int | None = None,
    progress: Callable[[float], None] | None = None,
    years: Sequence = (),
) -> Ranges:
    """How sure an estimate is.

    Parameters
    ----------
    results : Results
        Whole, with advice if there is any.
    full : bool
        Many draws, of which some are repeated hour by hour; else few, an indication.
    draws : int, optional
        Of the model instead, a power of two.
    progress : callable, optional
        Told the share that is done.
    years : sequence of Weather
        Other years that the project names (``steps.weather_years_of``).

    Returns
    -------
    Ranges

    Raises
    ------
    InputError
        A range of the project does not go with its inputs.

    Notes
    -----
    Draws are scrambled Sobol' points by the project's seed. Those of the model are evaluated on the rows of the run,
    many at once; what only multiplies results is drawn several times for each, every time from points of its own that
    are spread evenly together with those of the model. Percentiles are of the draws themselves. In coarse ranges
    options serve equally as in the run; in full ones by the hours of some draws, of which the probability to be the
    best is as well.
    """
    count = draws or (FULL_DRAWS if full else COARSE_DRAWS)
    project = results.project
    drawn = drawn_lines(project, results.unit)
    seed = project.terms.draws.seed
    of_years = Years.of(results, drawn, years, NIGHTS if full else COARSE_NIGHTS)
    points = points_of(drawn, count, seed, of_years)
    tell = progress or (lambda share: None)
    hours_part = 0.5 if full else 0.0
    # The run itself is one more draw.
    with_run = joined_factors(points.factors, base_factors(drawn))
    year = np.append(points.year, of_years.own)
    found = of_years.on_rows(with_run, year, lambda share: tell((1.0 - hours_part) * share))
    energies = {id_: each.take(slice(0, count)) for id_, each in found.items()}
    at_base = {id_: each.take(slice(count, None)) for id_, each in found.items()}
    hourly = None
    if full:
        some = min(SERVICE_DRAWS, count)
        hourly = of_years.hour_by_hour(
            taken(points.factors, slice(0, some)),
            points.year[:some],
            lambda share: tell(1.0 - hours_part + 0.95 * hours_part * share),
        )
    demands = (of_years.demand(points.factors, points.year), of_years.demand(base_factors(drawn), year[-1:]))
    out = put_together(results, of_years, points, demands, energies, at_base, hourly, full, seed)
    tell(1.0)
    return out


def with_ranges(results: Results, *, full: bool = False, progress=None, years: Sequence = ()) -> Results:
    """The same results with their ranges; without any where the air handler never runs, as there is nothing to draw."""
    if not any(c.hourly["running_hours"] > 0.0 for c in results.candidates):
        return results
    return replace(results, ranges=find_ranges(results, full=full, progress=progress, years=years))
