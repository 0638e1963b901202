"""What the run at time steps says of the estimate: a check, and the reasons where both differ."""

from __future__ import annotations

from dataclasses import replace

from ..results import AsRun, Check, Results
from ..strategies.registry import dsp_strategy, sat_strategy

# Savings of resets by demand agree within this. [points of the baseline's energy cost]
SAVING_POINTS = 0.5


def with_as_run(results: Results, found: dict[str, AsRun]) -> Results:
    """The same results with the candidates as run, and the check of savings by demand against them."""
    results = replace(results, as_run=found)
    return replace(results, checks=(*results.checks, _check(results)))


def by_demand(results: Results) -> list[str]:
    """Candidates in which a setpoint goes by requests."""
    return [
        c.id
        for c in results.candidates
        if c.id in (results.as_run or {})
        and (sat_strategy(c.candidate.sat).listens or dsp_strategy(c.candidate.dsp).listens)
    ]


def _check(results: Results) -> Check:
    name, expected = "Savings by demand as run", f"within {SAVING_POINTS:g} points of rooms at rest"
    source = "own simulation at time steps of requests that latch, rooms with mass and trim and respond"
    listening = by_demand(results)
    if not listening:
        return Check(
            name=name,
            status="pass",
            value="no option goes by requests",
            expected=expected,
            text="Nothing to compare.",
            source=source,
        )
    gaps = {id_: run - rest for id_ in listening for rest, run in [results.as_run_points(id_)]}
    worst = max(gaps, key=lambda id_: abs(gaps[id_]))
    fits = abs(gaps[worst]) <= SAVING_POINTS
    rest, run = results.as_run_points(worst)
    return Check(
        name=name,
        status="pass" if fits else "explain",
        value=f"{gaps[worst]:+.2f} points ({results[worst].name})",
        expected=expected,
        text=f"{results[worst].name} saves {rest:.1f} % with rooms at rest and {run:.1f} % as run. "
        + ("" if fits else _reason(results, worst)),
        source=source,
    )


def _reason(results: Results, candidate_id: str) -> str:
    """Where setpoints and loads of a candidate differ as run, in words."""
    found = results.as_run or {}
    rest, run = results[candidate_id].hourly, found[candidate_id].annual
    base_rest, base_run = results.baseline.hourly, found[results.baseline_id].annual
    parts = []
    if sat_strategy(results[candidate_id].candidate.sat).listens:
        parts.append(f"supply air {run['mean_sat_f']:.1f} °F on the mean, {rest['mean_sat_f']:.1f} at rest")
    if dsp_strategy(results[candidate_id].candidate.dsp).listens:
        parts.append(
            f"duct static {run['mean_dsp_inwc']:.2f} in. w.c. on the mean, {rest['mean_dsp_inwc']:.2f} at rest"
        )
    change = lambda a, b: 100.0 * (a / b - 1.0) if b else 0.0
    parts.append(
        f"energy cost of the baseline {change(base_run['cost_usd'], base_rest['cost_usd']):+.0f} % as run, its reheat "
        f"{change(base_run['reheat_kbtu'], base_rest['reheat_kbtu']):+.0f} %, since rooms store heat"
    )
    return "As run: " + "; ".join(parts) + ". Quote the saving as run beside the claim."
