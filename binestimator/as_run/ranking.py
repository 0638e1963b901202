"""Candidates judged and ranked as run at time steps, by the rules that judge them at rest."""

from __future__ import annotations

from dataclasses import replace

from ..estimate.comparing import ranked
from ..results import AS_RUN, Results


def ranked_as_run(results: Results) -> Results:
    """The same results with service and ranks of the runs; everything else stays what rooms at rest give.

    Parameters
    ----------
    results : Results
        With all candidates as run.

    Notes
    -----
    Depths of rooms, air and moisture are those of the runs, limits and words those of :mod:`service`; the cost by which
    they are ranked is that of the runs. So no option is ranked by one basis and judged by the other. What the baseline
    lacks in itself, and who cures it, stays as rooms at rest tell it: it is a check of the inputs of the building.
    """
    runs = results.as_run or {}
    found = []
    for c in results.candidates:
        rise, equal_service = runs[c.id].rise, runs[c.id].equal_service
        if rise is None or equal_service is None:
            raise ValueError(f"{c.id} was not judged as run")
        found.append(replace(c, service=rise, equal_service=equal_service))
    failed = [check.name for check in results.checks if check.status == "fail"]
    found = ranked(found, results.baseline_service.open, failed, lambda c: runs[c.id].annual["cost_usd"])
    return replace(results, candidates=tuple(found), ranked_by=AS_RUN)
