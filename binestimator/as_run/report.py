"""What the run at time steps says of the estimate: checks, and the reasons where both differ."""

from __future__ import annotations

from dataclasses import replace

from ..end_uses import END_USES
from ..errors import Finding
from ..results import AsRun, Check, Results, Sought
from ..strategies.registry import dsp_strategy, sat_strategy
from .warm import warm_of

# Savings of resets by demand agree within this. [points of the baseline's energy cost]
SAVING_POINTS = 0.5
# Their end uses agree within this where rooms release the same heat, if they are not less than a share of the energy
# cost. [share]
END_USE_FRAC, LEAST_COST_FRAC = 0.02, 0.05
# Cost-responsive supply air in buildings: lowest and highest saving of HVAC cost that is published. [%]
PUBLISHED_PCT = (1.0, 29.0)
SOURCE = "own simulation at time steps of requests that latch, rooms with mass and trim and respond"


def with_as_run(results: Results, found: dict[str, AsRun]) -> Results:
    """The same results with the candidates as run, and the checks of savings by demand against them."""
    base, names = found[results.baseline_id], results.unit.zones.names
    found = {id_: replace(run, warm=warm_of(run, base, names)) for id_, run in found.items()}
    results = replace(results, as_run=found)
    return replace(
        results,
        checks=(*results.checks, *_checks(results), *_sought(results)),
        findings=(*results.findings, *_warm(results)),
    )


def _warm(results: Results) -> list[Finding]:
    """That options leave rooms too warm as run, which rooms at rest do not show."""
    found = {id_: run.warm for id_, run in (results.as_run or {}).items()}
    zones = dict.fromkeys(warm.zone for warm in found.values() if warm is not None)
    ids = [id_ for id_, warm in found.items() if warm is not None]
    if not ids:
        return []
    return [
        Finding(
            "caution",
            "service",
            f"As run rooms are left warmer than is allowed, most in {', '.join(zones)}: {', '.join(ids)}. The sheet As "
            "run says when, and which inputs act on it; --rank-as-run judges and ranks by it.",
        )
    ]


def by_demand(results: Results) -> list[str]:
    """Candidates in which a setpoint goes by requests, and none by an estimate of cost."""
    return [
        c.id
        for c in results.candidates
        if c.id in (results.as_run or {})
        and (sat_strategy(c.candidate.sat).listens or dsp_strategy(c.candidate.dsp).listens)
        and not sat_strategy(c.candidate.sat).seeks
    ]


def _checks(results: Results) -> list[Check]:
    expected = (
        ("Savings by demand as run", f"within {SAVING_POINTS:g} points of rooms at rest"),
        (
            "Trim and respond in closed form",
            f"savings within {SAVING_POINTS:g} points, where rooms release the same heat",
        ),
        ("End uses in closed form", f"within {100 * END_USE_FRAC:g} %, where rooms release the same heat"),
    )
    listening = by_demand(results)
    if not listening:
        return [
            Check(
                name=name,
                status="pass",
                value="no option goes by requests",
                expected=bound,
                text="Nothing to compare.",
                source=SOURCE,
            )
            for name, bound in expected
        ]
    found = (_savings(results, listening), _settled(results, listening), _end_uses(results, listening))
    return [
        Check(
            name=name,
            status="pass" if fits else "explain",
            value=value,
            expected=bound,
            text=text,
            source=SOURCE,
        )
        for (name, bound), (fits, value, text) in zip(expected, found, strict=True)
    ]


def _sought(results: Results) -> list[Check]:
    """What cost-seeking supply air saves as run, beside what was published."""
    found = {id_: run.sought for id_, run in (results.as_run or {}).items() if run.sought is not None}
    checks = []
    for id_, sought in found.items():
        saving = sought.cases[0].saving_usd - (sought.ideal_saving_usd + sought.ideal_usd - sought.plain_usd)
        percent = 100.0 * saving / sought.plain_usd if sought.plain_usd else 0.0
        low, high = PUBLISHED_PCT
        fits = low <= percent <= high
        checks.append(
            Check(
                name=f"Cost-seeking supply air as run: {results[id_].name}",
                status="pass" if fits else "explain",
                value=f"{percent:.1f} % of the cost at the baseline's supply air",
                expected=f"{low:g} to {high:g} %",
                text=_reached(sought) + ("" if fits else " " + _outside(results, id_, sought, percent)),
                source="Raftery et al., Energy and Buildings 158 (2018), abstract: -29 % of HVAC cost; a later summary "
                "of the same work: 1 to 20 % in three more buildings",
            )
        )
    return checks


def _reached(sought: Sought) -> str:
    share = sought.cases[0].of_ideal
    if share is None:
        return "The least-cost supply air itself saves next to nothing beyond the baseline's."
    rest = "" if sought.at_rest_of_ideal is None else f" ({100.0 * sought.at_rest_of_ideal:.0f} % with rooms at rest)"
    beyond = (
        " Least-cost supply air is that of rooms at rest, so as run it is no bound: the controller sees the loads that "
        "there are."
        if share > 1.0
        else ""
    )
    return f"It reaches {100.0 * share:.0f} % of what least-cost supply air saves as run{rest}.{beyond}"


def _outside(results: Results, candidate_id: str, sought: Sought, percent: float) -> str:
    """Why the saving is outside what was published, in words."""
    annual = (results.as_run or {})[candidate_id].annual
    ideal = 100.0 * (sought.plain_usd - sought.ideal_usd) / sought.plain_usd if sought.plain_usd else 0.0
    running = annual["running_hours"] or 1.0
    at_end = {key: 100.0 * annual[f"sat_at_{key}_hours"] / running for key in ("min", "max")}
    limited = 100.0 * (annual["humidity_limited_hours"] + annual["cold_zone_limited_hours"]) / running
    parts = [
        f"the least cost there is saves {ideal:.1f} %",
        f"the setpoint is at its coldest in {at_end['min']:.0f} % and at its warmest in {at_end['max']:.0f} % of the "
        f"hours, held by humidity or cold rooms in {limited:.0f} %",
        f"reheat left is {annual['reheat_kbtu']:,.0f} kBtu a year",
    ]
    cause = (
        "Fans cost what colder air saves elsewhere, or the baseline's supply air is near the least cost already"
        if percent < PUBLISHED_PCT[0]
        else "The baseline's supply air is far from the least cost"
    )
    return f"{cause}: {'; '.join(parts)}."


def _savings(results: Results, listening) -> tuple[bool, str, str]:
    """Savings at rest against those as run: whether they agree, the largest difference, and why."""
    gaps = {id_: run - rest for id_ in listening for rest, run in [results.as_run_points(id_)]}
    worst = max(gaps, key=lambda id_: abs(gaps[id_]))
    fits = abs(gaps[worst]) <= SAVING_POINTS
    rest, run = results.as_run_points(worst)
    name = results[worst].name
    text = f"{name} saves {rest:.1f} % with rooms at rest and {run:.1f} % as run. "
    if not fits:
        text += _reason(results, worst)
    others = [id_ for id_ in gaps if id_ != worst and abs(gaps[id_]) > SAVING_POINTS]
    if others:
        text += f" The others that differ: {'; '.join(_short_reason(results, id_) for id_ in others)}."
    return fits, f"{gaps[worst]:+.2f} points ({name})", text


def _short_reason(results: Results, candidate_id: str) -> str:
    """Both savings of a candidate and what parts them, in a few words."""
    rest, run = results.as_run_points(candidate_id)
    by_heat, by_loops = results.as_run_causes(candidate_id)
    return (
        f"{results[candidate_id].name} {rest:.1f} % at rest, {run:.1f} % as run ({by_heat:+.1f} room heat, "
        f"{by_loops:+.1f} loops)"
    )


def baseline_points(results: Results, candidate_id: str) -> float:
    """Of what loops part (``Results.as_run_causes``) the points that are the baseline's: its own zone loops. The rest
    are the option's."""
    base, found = (results.as_run or {})[results.baseline_id], (results.as_run or {})[candidate_id]
    closed, run = base.with_room_heat["cost_usd"], base.annual["cost_usd"]
    return 100.0 * found.annual["cost_usd"] * (1.0 / closed - 1.0 / run) if closed and run else 0.0


def _reason(results: Results, candidate_id: str) -> str:
    """What the difference of a candidate is made of, and the setpoints and loads behind it, in words."""
    found = results.as_run or {}
    rest, run = results[candidate_id].hourly, found[candidate_id].annual
    base_rest, base_run = results.baseline.hourly, found[results.baseline_id].annual
    by_heat, by_loops = results.as_run_causes(candidate_id)
    parts = []
    if sat_strategy(results[candidate_id].candidate.sat).listens:
        parts.append(f"supply air {run['mean_sat_f']:.1f} °F on the mean, {rest['mean_sat_f']:.1f} at rest")
    if dsp_strategy(results[candidate_id].candidate.dsp).listens:
        parts.append(
            f"duct static {run['mean_dsp_inwc']:.2f} in. w.c. on the mean, {rest['mean_dsp_inwc']:.2f} at rest"
        )
    change = lambda a, b: 100.0 * (a / b - 1.0) if b else 0.0
    parts.append(
        f"energy cost of the baseline {change(base_run['cost_usd'], base_rest['cost_usd']):+.0f} %, its reheat "
        f"{change(base_run['reheat_kbtu'], base_rest['reheat_kbtu']):+.0f} %"
    )
    return (
        f"Of the difference {by_heat:+.1f} points are heat that rooms store (nights, mornings, setpoints that step), "
        f"{by_loops:+.1f} are loops (start-up, hunting, zones that overshoot). As run: {'; '.join(parts)}. "
        "Quote the saving as run beside the claim."
    )


def _settled(results: Results, listening) -> tuple[bool, str, str]:
    """Setpoints in closed form against trim and respond, at the loads of rooms with mass."""
    gaps = {id_: results.as_run_causes(id_)[1] for id_ in listening}
    worst = max(gaps, key=lambda id_: abs(gaps[id_]))
    fits, name = abs(gaps[worst]) <= SAVING_POINTS, results[worst].name
    found = (results.as_run or {})[worst]
    text = f"{name} as run, against rooms at rest that release the same heat: {gaps[worst]:+.2f} points of saving. "
    if not fits:
        parts = []
        if sat_strategy(results[worst].candidate.sat).listens:
            parts.append(
                f"supply air {found.annual['mean_sat_f']:.1f} °F as run, {found.with_room_heat['mean_sat_f']:.1f}"
            )
        if dsp_strategy(results[worst].candidate.dsp).listens:
            parts.append(
                f"duct static {found.annual['mean_dsp_inwc']:.2f} in. w.c. as run, "
                f"{found.with_room_heat['mean_dsp_inwc']:.2f}"
            )
        own = baseline_points(results, worst)
        text += f"Zone loops of the baseline alone are {own:+.2f} of it, those of the option {gaps[worst] - own:+.2f}. "
        text += (
            f"Means: {' and '.join(parts)} in closed form. Loops begin each morning at their start values; several "
            "zones that ask at once pull a setpoint far past where they are content, and it comes back by small steps; "
            "zones that heat raise their airflow while they recover, whatever their coil can give."
        )
    return fits, f"{gaps[worst]:+.2f} points ({name})", text


def _end_uses(results: Results, listening) -> tuple[bool, str, str]:
    """The largest difference of an end use as run from the closed form, at the loads of rooms with mass."""
    found, worst, gap = results.as_run or {}, ("", ""), 0.0
    beyond = []
    for id_ in listening:
        prices = results.runs[id_].unit.prices
        for use in END_USES:
            run, closed = found[id_].annual[use.key], found[id_].with_room_heat[use.key]
            if closed * getattr(prices, use.price) < LEAST_COST_FRAC * found[id_].annual["cost_usd"]:
                continue
            if abs(run / closed - 1.0) > END_USE_FRAC:
                beyond.append(f"{use.word} of {results[id_].name} {100.0 * (run / closed - 1.0):+.1f} %")
            if not worst[0] or abs(run / closed - 1.0) > abs(gap):
                worst, gap = (id_, use.word), run / closed - 1.0
    if not worst[0]:
        return True, "no energy cost", "Nothing to compare."
    fits = abs(gap) <= END_USE_FRAC
    text = (
        ""
        if fits
        else "Zone loops overshoot where setpoints step, so that rooms are cooled and heated in one hour, or setpoints "
        "hunt; loops that follow at once do neither. "
    )
    if len(beyond) > 1:
        text += f"All beyond it: {', '.join(beyond)}. "
    text += "End uses of less than a twentieth of the energy cost are left out."
    return fits, f"{100.0 * gap:+.1f} % ({worst[1]}, {results[worst[0]].name})", text
