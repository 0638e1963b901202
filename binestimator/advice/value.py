"""Value for money: the steps from cheap to expensive, parts of combined options, options that coincide.

The least energy cost is one question, the best value another: from option to option the next dollar
saves less, and an owner stops where it no longer pays back within their limit.
"""

from __future__ import annotations

import numpy as np

from ..dataclass import dataclass
from ..estimate import Rows, annual_figures, night_duct, night_totals, run_parts, with_charges
from ..hours import build_conditions
from ..inputs.paths import known_path
from ..model.build import build_unit
from ..model.loads import zone_loads
from ..model.night import run_nights
from ..money.cost import NONE
from ..results import overrides_key
from ..strategies.registry import sat_strategy

#: Costs that differ by less are the same. [share of the baseline's]
SAME_FRAC = 1e-6
#: Setpoints that differ by less are the same. [degF, in. w.c.]
SAME_SETPOINT = 1e-6
#: A reset that is at one end of its range for this share of its hours is pinned there.
PINNED_FRAC = 0.98
NO_COSTS = "no implementation cost is given, so nothing can be said about value"


@dataclass(frozen=True, slots=True, kw_only=True)
class Step:
    """One step from cheap to expensive.

    ``id`` of the option · ``net_cost_usd`` after its incentive · ``saving_usd`` a year against the baseline ·
    ``added_cost_usd``, ``added_saving_usd`` against the step before · ``added_payback_years`` their ratio ·
    ``pays`` whether that is within the owner's limit.
    """

    id: str
    net_cost_usd: float
    saving_usd: float
    added_cost_usd: float
    added_saving_usd: float
    added_payback_years: float
    pays: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class Value:
    """Best value among the options that may be best.

    ``best_id`` None where nothing pays or costs are not known · ``path`` from cheap to expensive · ``note`` why there
    is no best value, or what was left out, in plain words (may be empty) · ``limit_years`` the owner's.
    """

    best_id: str | None
    path: tuple[Step, ...]
    note: str
    limit_years: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Parts:
    """Saving of a combined option by what saves it; the three sum to ``total_usd``. [USD/yr]

    ``repair_usd`` of what puts equipment right · ``companion_usd`` of other control changes made with it ·
    ``reset_usd`` of the resets, last.
    """

    id: str
    repair_usd: float
    companion_usd: float
    reset_usd: float

    @property
    def total_usd(self) -> float:
        return self.repair_usd + self.companion_usd + self.reset_usd


@dataclass(frozen=True, slots=True, kw_only=True)
class Coincidence:
    """Options whose year is the same, and why, in plain words."""

    ids: tuple[str, ...]
    why: str


def is_limit_of_control(candidate) -> bool:
    """Whether an option is a limit that no control loop reaches: the supply temperature that is cheapest in each
    row."""
    return not sat_strategy(candidate.sat).buildable


def best_value(results) -> Value:
    """The steps from cheap to expensive, and where the next dollar stops paying.

    Notes
    -----
    Only ranked options that can be bought (:func:`is_limit_of_control` leaves out the optimum), beside the baseline at
    no cost. From each step the next is the more expensive option with the shortest payback of what it adds, so
    that added paybacks rise along the way: the upper convex hull of saving over cost. The best value is the
    last step whose addition pays back within ``prices.payback_limit_years``. Simple payback, not discounted.
    """
    project = results.project
    limit = float(project.prices.payback_limit_years)
    options = [
        c
        for c in results.candidates
        if c.rank is not None and c.id != results.baseline_id and not is_limit_of_control(c.candidate)
    ]
    if not options:
        return Value(best_id=None, path=(), note="no option besides the baseline may be best", limit_years=limit)
    if not any(c.worth.cost_basis != NONE for c in options):
        return Value(best_id=None, path=(), note=NO_COSTS, limit_years=limit)
    priced = [c for c in options if c.worth.cost_basis != NONE]
    unpriced = [c.id for c in options if c not in priced]
    points = sorted(
        ((max(c.candidate.cost_usd - c.candidate.incentive_usd, 0.0), c.saving["cost_usd"], c.id) for c in priced),
        key=lambda p: (p[0], -p[1]),
    )
    path, cost, saving = [], 0.0, 0.0
    while True:
        ahead = [
            (max(c - cost, 0.0) / (s - saving), -(s - saving), c, s, i)
            for c, s, i in points
            if s > saving + 1e-9 and c >= cost
        ]
        if not ahead:
            break
        years, _, c, s, id_ = min(ahead)
        path.append(
            Step(
                id=id_,
                net_cost_usd=c,
                saving_usd=s,
                added_cost_usd=c - cost,
                added_saving_usd=s - saving,
                added_payback_years=years,
                pays=years <= limit,
            )
        )
        cost, saving = c, s
    paying = [step for step in path if step.pays]
    notes = []
    if unpriced:
        notes.append("left out because no cost is given: " + ", ".join(unpriced))
    if any(is_limit_of_control(c.candidate) and c.rank is not None for c in results.candidates):
        notes.append("the optimum of each row is a limit of control that cannot be bought")
    if not path:
        notes.insert(0, "no option that may be best saves anything")
    elif not paying:
        notes.insert(0, f"no option pays back within {limit:g} years")
    return Value(best_id=paying[-1].id if paying else None, path=tuple(path), note="; ".join(notes), limit_years=limit)


def combined_parts(results) -> tuple[Parts, ...]:
    """Repair, companion and reset parts of every option that combines a reset with other changes.

    Notes
    -----
    In that order, each on top of what comes before it: the baseline's setpoints with the overrides of the role
    ``equipment``, then with all overrides, then the option. On the bin rows, weights as they were. Another order
    would share the interaction between them otherwise.
    """
    project, base = results.project, results.runs[results.baseline_id]
    baseline = project.candidate(results.baseline_id)
    if len(base.rows.running) == 0:
        return ()
    by_overrides = {}
    for c in results.candidates:
        if c.candidate.sat == baseline.sat and c.candidate.dsp == baseline.dsp:
            by_overrides[overrides_key(c.candidate.overrides)] = c.annual["cost_usd"]

    def cost_with(overrides, run):
        """Annual cost of the baseline's setpoints with these overrides, on the rows of a run."""
        key = overrides_key(overrides)
        if key not in by_overrides:
            changed = project.with_overrides(overrides)
            unit = build_unit(changed, results.held.sizes)
            rows = Rows.of(unit, run.rows.conditions)
            hours = build_conditions(results.weather, changed)
            night = run_nights(
                unit, hours, zone_loads(unit, hours), changed.schedule, night_duct(unit, changed.schedule, baseline.dsp)
            )
            totals = night_totals(night, unit, hours)
            figures = annual_figures(unit, rows, run_parts(unit, baseline, rows), totals)
            by_overrides[key] = with_charges(figures, results.baseline.charges)["cost_usd"]
        return by_overrides[key]

    out = []
    for c in results.candidates:
        same_setpoints = c.candidate.sat == baseline.sat and c.candidate.dsp == baseline.dsp
        if c.id == results.baseline_id or same_setpoints or c.candidate.overrides == baseline.overrides:
            continue
        run = results.runs[c.id]
        repairs = {
            path: value for path, value in c.candidate.overrides.items() if known_path(path).field.role == "equipment"
        }
        start = results.baseline.annual["cost_usd"]
        repaired = cost_with(repairs, base) if repairs else start
        changed = cost_with(dict(c.candidate.overrides), run)
        out.append(
            Parts(
                id=c.id,
                repair_usd=start - repaired,
                companion_usd=repaired - changed,
                reset_usd=changed - c.annual["cost_usd"],
            )
        )
    return tuple(out)


def coincidences(results) -> tuple[Coincidence, ...]:
    """Options whose annual cost and energies are the same, and why."""
    out, seen = [], set()
    scale = max(abs(results.baseline.annual["cost_usd"]), 1e-9)
    for place, first in enumerate(results.candidates):
        if first.id in seen:
            continue
        same = [first]
        for other in results.candidates[place + 1 :]:
            if other.id not in seen and all(
                abs(first.annual[key] - other.annual[key]) <= SAME_FRAC * max(scale, abs(first.annual[key]))
                for key in ("cost_usd", "electricity_kwh", "fuel_therm")
            ):
                same.append(other)
        if len(same) > 1:
            seen |= {c.id for c in same}
            out.append(Coincidence(ids=tuple(c.id for c in same), why=_why(results, same)))
    return tuple(out)


def _why(results, same) -> str:
    """Why options are the same, from their setpoints and what held them."""
    first = same[0]
    alike = []
    for part, column in (("sat", "sat_set_f"), ("dsp", "dsp_set_inwc")):
        if any(getattr(c.candidate, part) != getattr(first.candidate, part) for c in same[1:]):
            values = [results.runs[c.id].parts[0].state for c in same]
            if all(
                np.allclose(getattr(v, column), getattr(values[0], column), rtol=0.0, atol=SAME_SETPOINT)
                for v in values[1:]
            ):
                alike.append(part)
            else:
                return "their setpoints differ, but in no hour does the difference reach the air handler"
    reasons = []
    for part in alike:
        word = "supply temperature" if part == "sat" else "duct pressure"
        pinned = ""
        for c in same:
            hours = c.hourly["running_hours"]
            for end, words in (("max", "the highest of its range"), ("min", "the lowest of its range")):
                if hours > 0.0 and c.hourly[f"{part}_at_{end}_hours"] >= PINNED_FRAC * hours:
                    pinned = f": the reset of {c.id} is at {words} all year"
        reasons.append(f"both ask for the same {word} in every row{pinned}")
    if not reasons:
        reasons.append("they differ only in inputs that have no effect here")
    return "; ".join(reasons)
