"""Figures and sentences that the sheets show and that are not in the results as such.

Pure functions of the results; the later formulas of the sheets say the same.
"""

from __future__ import annotations

import math

import numpy as np

from ..results import Results
from .layout import END_USES

SAT_WORDS = {
    "as_found": "as found", "fixed": "fixed", "outdoor_air": "by outdoor air", "demand": "by demand",
    "cost_optimal": "cost-optimal",
}
DSP_WORDS = SAT_WORDS | {"airflow": "by airflow"}


def prices_of_end_uses(prices) -> dict[str, float]:
    """Price of a unit of each end use. [USD per kWh, therm or kBtu]"""
    per_kwh = prices.electricity_usd_kwh
    return {
        "fan_kwh": per_kwh, "cooling_kwh": per_kwh, "pump_tower_kwh": per_kwh, "heating_kwh": per_kwh,
        "fuel_therm": prices.fuel_usd_therm, "purchased_cooling_kbtu": prices.cooling_usd_kbtu,
        "purchased_heating_kbtu": prices.heat_usd_kbtu,
    }


def cost_by_end_use(results: Results, candidate) -> dict[str, float]:
    """Annual cost of each end use; they sum to ``cost_usd`` as long as prices are flat. [USD]"""
    prices = prices_of_end_uses(results.project.prices)
    return {key: candidate.annual[key] * prices[key] for key, _, _ in END_USES}


def used_end_uses(results: Results) -> list[tuple[str, str, str]]:
    """End uses that some candidate has; fans at least."""
    return [use for use in END_USES if any(abs(c.annual[use[0]]) > 1e-9 for c in results.candidates)] or [END_USES[0]]


def step_for(largest: float, digits: int = 3) -> float:
    """Rounding step that leaves so many digits of the largest number, at least 1."""
    if not largest > 0.0:
        return 1.0
    return max(10.0 ** (math.floor(math.log10(largest)) - digits + 1), 1.0)


def rounded(value: float, step: float) -> float:
    """Value to the nearest step, halves away from zero as spreadsheets round."""
    return math.copysign(math.floor(abs(value) / step + 0.5) * step, value) if value else 0.0


def money(value: float, step: float = 1.0) -> str:
    """``$1,230`` or ``−$40``."""
    number = rounded(value, step)
    return f"{'−' if number < 0 else ''}${abs(number):,.0f}"


def money_step(results: Results) -> float:
    """Rounding of money on the summary: three digits of the dearest candidate."""
    return step_for(max(c.annual["cost_usd"] for c in results.candidates))


def share(part: float, whole: float) -> float:
    """Part of a whole; 0 where there is no whole."""
    return part / whole if whole else 0.0


def number_of(results: Results, candidate_id: str) -> int:
    """Number of a candidate as printed, from 1."""
    return next(k for k, c in enumerate(results.candidates, 1) if c.id == candidate_id)


def setpoint_words(part: str, record) -> str:
    """A strategy with its parameters in one sentence."""
    unit = "°F" if part == "sat" else "in. w.c."
    suffix = "f" if part == "sat" else "inwc"
    words = (SAT_WORDS if part == "sat" else DSP_WORDS)[record.strategy]
    value = lambda name: getattr(record, f"{name}_{suffix}")  # noqa: E731
    if record.strategy == "fixed":
        said = f"{words} at {value('setpoint'):g} {unit}"
    elif record.strategy in ("as_found", "outdoor_air", "airflow"):
        x_unit = "% airflow" if record.strategy == "airflow" else "°F outdoors"
        levels = {y for _, y in record.points}
        if len(levels) == 1:
            said = f"{words}, {levels.pop():g} {unit} throughout"
        else:
            line = ", ".join(f"{y:g} {unit} at {x:g}" for x, y in record.points)
            said = f"{words}: {line} {x_unit}; straight between, flat outside"
        night = getattr(record, "points_unoccupied", None)
        if night:
            said += "; unoccupied: " + ", ".join(f"{y:g} at {x:g}" for x, y in night)
    else:
        said = f"{words} from {value('min'):g} to {value('max'):g} {unit}"
        if record.strategy == "demand":
            said += f" of the zones, {record.ignored_requests:g} requests ignored"
            if part == "sat":
                said += f", coldest at and above {record.oat_max_f:g} °F outdoors"
    if record.override_frac > 0.0:
        said += f"; overridden to {value('override'):g} {unit} in {100 * record.override_frac:g} % of running hours"
    return said


def same_line(first: np.ndarray, second: np.ndarray, tolerance: float) -> bool:
    """Whether two curves lie on each other where both are known."""
    both = np.isfinite(first) & np.isfinite(second)
    return bool(np.array_equal(np.isfinite(first), np.isfinite(second)) and np.all(np.abs(first - second)[both] <= tolerance))


def check_counts(results: Results) -> dict[str, int]:
    """Number of checks by status."""
    return {status: sum(k.status == status for k in results.checks) for status in ("pass", "explain", "fail")}


def worst_bin_error(results: Results) -> float:
    """Largest relative difference of the annual cost between bin rows and hourly run. [1]"""
    return max(abs(share(c.annual["cost_usd"] - c.hourly["cost_usd"], c.hourly["cost_usd"])) for c in results.candidates)


def payback_text(years: float | None, note: str) -> str:
    """Payback in words for a sentence."""
    return f"{years:.1f} years" if years is not None else (note or "none")


def answer(results: Results) -> tuple[str, str]:
    """The two sentences an owner reads first."""
    base, best, step = results.baseline, results.best, money_step(results)
    if not any(c.hourly["running_hours"] > 0.0 for c in results.candidates):
        return "The air handler never runs by its schedule: there is nothing to reset and nothing to save.", ""
    nothing = f"Doing nothing costs about {money(base.annual['cost_usd'], step)} a year."
    flagged = [c for c in results.candidates if c.equal_service.flagged]
    more = nothing
    if flagged:
        more += (f" {len(flagged)} of {len(results.candidates)} candidates serve the rooms worse than the baseline "
                 "and are shown, but neither ranked nor called best.")
    if best is None:
        return "No candidate could be ranked: each serves the rooms worse than the baseline.", more
    if best.id == base.id:
        return (f"None of the ranked candidates costs less to run than the baseline ({base.name}): as things stand, "
                "leave the setpoints as they are."), more
    saving = best.saving["cost_usd"]
    first = (f"Least energy cost: {number_of(results, best.id)} {best.name}. It saves about {money(saving, step)} a year, "
             f"{100 * share(saving, base.annual['cost_usd']):.0f} % of the energy cost of this air handler and its plant.")
    cost, incentive = best.candidate.cost_usd, best.candidate.incentive_usd
    if cost > 0.0:
        first += f" At {money(cost)} to implement it pays back in {payback_text(best.payback_years, best.payback_note)}"
        if incentive > 0.0:
            after = payback_text(best.payback_after_incentive_years, best.payback_note)
            first += f", in {after} after an incentive of {money(incentive)}"
        first += "."
    else:
        more += " No implementation cost was given, so no payback is shown."
    return first, more


def interaction_text(results: Results) -> str:
    """How SAT and DSP resets add up, for the pair with the largest saving."""
    if not results.interactions:
        return ""
    i = max(results.interactions, key=lambda item: item.both_usd)
    step = money_step(results)
    left = rounded(i.interaction_usd, step)
    sense = "just the two added" if not left else f"{money(abs(left), step)} {'less' if left < 0 else 'more'} than the two added"
    return (f"Do they add up? {number_of(results, i.sat_id)} alone saves {money(i.sat_usd, step)}, "
            f"{number_of(results, i.dsp_id)} alone {money(i.dsp_usd, step)}, both ({number_of(results, i.both_id)}) "
            f"{money(i.both_usd, step)}: {sense}.")


# A zone that asks in at least this share of the hours is named as holding a reset up (assumption).
MOST_HOURS_FRAC = 0.5


def holding_text(results: Results) -> str:
    """Which zones hold demand resets up: those that ask in most running hours."""
    said = []
    for part, key, what in (("sat", "temperature_request_hours", "colder air"), ("dsp", "pressure_request_hours", "more pressure")):
        for c in results.candidates:
            hours = c.hourly["running_hours"]
            if getattr(c.candidate, part).strategy != "demand" or not hours > 0.0:
                continue
            asked = c.zones[key].to_numpy(dtype=float)
            most = int(np.argmax(asked))
            if asked[most] > 0.0:
                often = asked[most] / hours
                zone = f"“{c.zones['zone'].iloc[most]}” asks" if often >= MOST_HOURS_FRAC else "no zone asks"
                more = "" if often >= MOST_HOURS_FRAC else "more than "
                said.append(f"{zone} for {what} in {more}{100 * often:.0f} % of running hours ({number_of(results, c.id)})")
            break
    return "What holds demand resets up: " + "; ".join(said) + ". All zones: “Zone service”." if said else ""


# Always true of such work; used when the run itself raises no caution.
STANDING_CAUTION = ("Warmer supply air dries the rooms less and lower duct pressure leaves less reserve: keep ventilation, humidity "
                    "and pressure relationships within local codes, and have the change designed and checked by licensed practice.")


def main_caution(results: Results) -> str:
    """The caution that stands on the summary."""
    cautions = [f.text for f in results.findings if f.level == "caution"]
    # That some candidates are not ranked is said elsewhere on the page.
    cautions = [text for text in cautions if not text.startswith("Not equal in service")]
    return cautions[0] if cautions else STANDING_CAUTION
