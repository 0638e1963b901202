"""Which option is handed over: the one that is advised, or another by name; never a limit of control."""

from __future__ import annotations

import numpy as np

from ..advice.value import is_limit_of_control
from ..errors import InputError
from ..results import CHANGED_SERVICE, CandidateResult, Results
from .records import Choice

# A line may miss the temperatures that it is fitted to by this much. [degF]
FIT_F = 0.5
#: Strategies that are not handed over, and why.
REFUSED = {
    ("sat", "cost_optimal"): "its setpoint is the least-cost one of every hour, which no control loop finds: a "
    "limit of control"
}


def check_asked(candidates, asked: str | None) -> None:
    """Refuse the id of an option that there is not.

    Raises
    ------
    InputError
    """
    ids = [c.id for c in candidates]
    if asked is not None and asked not in ids:
        raise InputError(
            f'--handover: there is no option "{asked[:60]}"; expected one of {", ".join(ids)}; give the id of an option'
        )


def refusal(candidate) -> str:
    """Why an option cannot be handed over; empty where it can."""
    for part in ("sat", "dsp"):
        why = REFUSED.get((part, getattr(candidate, part).strategy))
        if why:
            return why
    return ""


def choose(results: Results, advised: CandidateResult | None, asked: str | None = None) -> Choice:
    """The option to hand over.

    Parameters
    ----------
    results : Results
    advised : CandidateResult or None
        The option that the first page presents.
    asked : str, optional
        Id of another one.

    Raises
    ------
    InputError
        There is no option of that id.
    """
    check_asked([c.candidate for c in results.candidates], asked)
    if not any(c.hourly["running_hours"] > 0.0 for c in results.candidates):
        return Choice(candidate_id=None, notes=("Nothing is handed over: by its schedule the air handler never runs.",))
    wanted = advised if asked is None else results[asked]
    if wanted is None:
        why = (
            "a check that must not fail has failed"
            if any(check.status == "fail" for check in results.checks)
            else "no option may be called best: each serves the rooms worse, changes the service, or leaves what the "
            "baseline fails in"
        )
        return Choice(
            candidate_id=None,
            notes=(
                f"Nothing is handed over: {why}. Put that right and run again, or, where those responsible for the "
                "rooms have agreed in writing, name an option: --handover ID.",
            ),
        )
    why = refusal(wanted.candidate)
    if not why:
        return Choice(candidate_id=wanted.id, notes=_standing(results, wanted))
    said = f"{_of(results, wanted)} is not handed over: {why}."
    points = fitted_points(wanted)
    if len(points) > 1:
        line = ", ".join(f"[{x:g}, {y:g}]" for x, y in points)
        said += (
            f" A table by outdoor temperature fitted to it would be points = [{line}] (within {FIT_F:g} degF of its "
            "mean at each bin of outdoor temperature). Its energy and service are not those of the limit: add it as "
            "an option with the strategy outdoor_air, run again, and hand over that."
        )
    next_best = _next_best(results)
    if next_best is None:
        return Choice(candidate_id=None, notes=(said, "No other option is ranked: nothing is handed over."))
    return Choice(
        candidate_id=next_best.id,
        notes=(
            said,
            f"In its place: {_of(results, next_best)}, the ranked option with the least energy cost that a controller "
            "can hold.",
            *_standing(results, next_best),
        ),
    )


def _of(results: Results, c: CandidateResult) -> str:
    return f"Option {[other.id for other in results.candidates].index(c.id) + 1} ({c.name})"


def _next_best(results: Results) -> CandidateResult | None:
    ranked = [
        (c.rank, c)
        for c in results.candidates
        if c.rank is not None and not refusal(c.candidate) and not is_limit_of_control(c.candidate)
    ]
    return min(ranked, key=lambda pair: pair[0], default=(0, None))[1]


def _standing(results: Results, c: CandidateResult) -> tuple[str, ...]:
    """What a contractor must know of an option before programming it."""
    if c.id == results.baseline_id:
        return (
            "This is the baseline: there is nothing new to program. What follows is what to hold and how to check "
            "that it is held.",
        )
    if c.rank is not None:
        return ()
    reasons = "; ".join(c.equal_service.reasons) or c.not_ranked
    head = "changes what the rooms are promised" if c.kind == CHANGED_SERVICE else "is not ranked"
    return (
        f"This option {head}: {reasons}. Do not program it before those responsible for the rooms have agreed in "
        "writing.",
    )


def fitted_points(c: CandidateResult) -> tuple[tuple[float, float], ...]:
    """Points of a line through the mean supply air of an option by outdoor temperature, as few as miss it by no more
    than ``FIT_F``. [degF]"""
    found = c.by_temperature[c.by_temperature["hours"] > 0.0]
    x = found["bin_low_f"].to_numpy(dtype=float)
    if len(x) == 0:
        return ()
    width = float(np.min(np.diff(x))) if len(x) > 1 else 5.0
    x = x + 0.5 * width
    y = np.round(2.0 * found["sat_f"].to_numpy(dtype=float)) / 2.0
    kept = _fewest(x, y, 0, len(x) - 1) if len(x) > 1 else [0]
    return tuple((float(x[k]), float(y[k])) for k in kept)


def _fewest(x, y, first: int, last: int) -> list[int]:
    """Places kept so that straight lines between them miss none of the others by more than ``FIT_F``."""
    inside = slice(first, last + 1)
    gap = np.abs(np.interp(x[inside], x[[first, last]], y[[first, last]]) - y[inside])
    worst = first + int(np.argmax(gap))
    if gap.max() <= FIT_F or worst in (first, last):
        return [first, last]
    return [*_fewest(x, y, first, worst)[:-1], *_fewest(x, y, worst, last)]
