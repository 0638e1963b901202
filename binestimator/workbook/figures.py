"""Figures and sentences that the sheets show and that are not in the results as such.

Pure functions of the results; the later formulas of the sheets say the same.
"""

from __future__ import annotations

import math
import re
from dataclasses import dataclass

import numpy as np

from ..advice.value import is_limit_of_control
from ..end_uses import END_USES as _USES
from ..findings import NOT_VENTILATED, baseline_failures, more_humid, saves_by_ventilation, short_of_outdoor_air
from ..inputs.paths import parse_path
from ..money.bills import reconciled_words
from ..money.cost import NONE
from ..money.life_cycle import NEVER
from ..ranges.claim import claim_of
from ..ranges.drivers import drivers_of
from ..ranges.results import Ranges, sensible
from ..rates import typical_prices
from ..results import AS_RUN, CHANGED_SERVICE, CandidateResult, Results
from ..row_accuracy import bin_errors
from ..strategies.registry import DSP_STRATEGIES, SAT_STRATEGIES, dsp_strategy, sat_strategy, strategies_of
from .formats import currency_sign
from .layout import END_USES

SAT_WORDS = {strategy.name: strategy.words for strategy in SAT_STRATEGIES}
DSP_WORDS = {strategy.name: strategy.words for strategy in DSP_STRATEGIES}


def prices_of_end_uses(prices) -> dict[str, float]:
    """Price of a unit of each end use. [USD per kWh, therm or kBtu]"""
    return {use.key: getattr(prices, use.price) for use in _USES}


def cost_by_end_use(results: Results, candidate) -> dict[str, float]:
    """Annual cost of each end use; they sum to ``cost_usd``. [USD]

    Where prices differ by rate period, or demand and tiers are charged, each end use has its share of the cost by its
    energy at mean prices.
    """
    prices = prices_of_end_uses(typical_prices(results.unit.prices))
    costs = {key: candidate.annual[key] * prices[key] for key, _, _ in END_USES}
    if not results.project.terms.has_tariff:
        return costs
    total = sum(costs.values())
    return {key: cost * candidate.annual["cost_usd"] / total if total else 0.0 for key, cost in costs.items()}


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
    """``$1,230`` or ``−$40``; in another currency its name for the sign."""
    number = rounded(value, step)
    return f"{'−' if number < 0 else ''}{currency_sign()}{abs(number):,.0f}"


def money_step(results: Results) -> float:
    """Rounding of money on the summary: three digits of the most expensive candidate."""
    return step_for(max(c.annual["cost_usd"] for c in results.candidates))


def share(part: float, whole: float) -> float:
    """Part of a whole; 0 where there is no whole."""
    return part / whole if whole else 0.0


def number_of(results: Results, candidate_id: str) -> int:
    """Number of a candidate as printed, from 1."""
    return next(k for k, c in enumerate(results.candidates, 1) if c.id == candidate_id)


def setpoint_words(part: str, record) -> str:
    """A strategy with its parameters in one sentence."""
    strategy = sat_strategy(record) if part == "sat" else dsp_strategy(record)
    said = strategy.say(record)
    if record.override_frac > 0.0:
        value = getattr(record, f"override_{strategy.suffix}")
        said += f"; overridden to {value:g} {strategy.shown_unit} in {100 * record.override_frac:g} % of running hours"
    return said


def same_line(first: np.ndarray, second: np.ndarray, tolerance: float) -> bool:
    """Whether two curves lie on each other where both are known."""
    both = np.isfinite(first) & np.isfinite(second)
    return bool(
        np.array_equal(np.isfinite(first), np.isfinite(second)) and np.all(np.abs(first - second)[both] <= tolerance)
    )


def check_counts(results: Results) -> dict[str, int]:
    """Number of checks by status."""
    return {status: sum(k.status == status for k in results.checks) for status in ("pass", "explain", "fail")}


def bin_claims(results: Results) -> tuple[float, float, float]:
    """Largest errors against the hourly run: annual cost of the bin rows [%]; savings of the bin rows and of classic
    bins [points]."""
    base = results.baseline
    ours = [bin_errors(c, base) for c in results.candidates]
    classic = [bin_errors(c, base, "classic") for c in results.candidates]
    return (
        100.0 * max(abs(e["cost_frac"]) for e in ours),
        max(abs(e["saving_points"]) for e in ours),
        max(abs(e["saving_points"]) for e in classic),
    )


def payback_text(years: float | None, note: str) -> str:
    """Payback in words for a sentence."""
    if years is None:
        return note or "none"
    return f"{years:.1f} years" if years >= 0.05 else "less than a month"


def today(results: Results) -> CandidateResult | None:
    """The candidate that leaves everything as it was found; None if no candidate does."""
    plain = [
        c
        for c in (results.baseline, *results.candidates)
        if all(strategy.changes_nothing for strategy in strategies_of(c.candidate)) and not c.candidate.overrides
    ]
    return plain[0] if plain else None


def runs_at_all(results: Results) -> bool:
    """Whether some candidate runs in some hour."""
    return any(c.hourly["running_hours"] > 0.0 for c in results.candidates)


def advised(results: Results) -> CandidateResult | None:
    """The candidate of the first page, None if nothing may be best.

    The best value; else the least energy cost among ranked candidates that can be bought, as long as that is less than
    the baseline's; else the best, be it a limit of control.
    """
    best = results.best
    if best is None:
        return None
    value = None if results.advice is None else results.advice.value.best_id
    if value is not None:
        return results[value]
    if not is_limit_of_control(best.candidate):
        return best
    bought = min(
        ((c.rank, c) for c in results.candidates if c.rank is not None and not is_limit_of_control(c.candidate)),
        key=lambda ranked: ranked[0],
        default=(1, best),
    )[1]
    return bought if bought.saving["cost_usd"] > 0.0 else best


def basis_text(results: Results) -> str:
    """What ranks go by, where it is not the bins; else empty."""
    if results.ranked_by != AS_RUN:
        return ""
    return (
        "Service and ranks here are those of the runs at time steps (sheet As run); energy, cost and saving are those "
        "of the bins, with rooms at rest."
    )


def answer(results: Results) -> str:
    """The three sentences an owner reads first: do what, what it costs and saves, what can go wrong."""
    return " ".join(filter(None, (_answer(results), basis_text(results))))


def _answer(results: Results) -> str:
    base, best = results.baseline, results.best
    if not runs_at_all(results):
        return "The air handler never runs by its schedule: there is nothing to reset and nothing to save."
    failed = [check.name for check in results.checks if check.status == "fail"]
    if failed:
        return (
            f"Do not use these results: a check that must not fail has failed ({', '.join(failed[:3])}). Nothing is "
            "ranked."
        )
    first = failing_text(results)
    c = advised(results)
    if best is None and first:
        return first + " No option cures that and serves the rooms as well, so none is called best."
    if best is None or c is None:
        return (
            "No option can be called best; see below the table. Put right what is named there before money is "
            "spent on a reset."
        )
    if first:
        change = best.saving["cost_usd"]
        moves = (
            f"about {money(abs(change), money_step(results))} a year {'less' if change >= 0.0 else 'more'} than the "
            "baseline"
        )
        return (
            f"{first} Of the options that cure it, option {number_of(results, best.id)}, {best.name}, costs least to "
            f"run: {moves}."
        )
    if c.id == base.id:
        advice = "leave the setpoints as they are" if today(results) is base else "stay with the baseline"
        return f"None of the ranked options costs less to run than the baseline ({base.name}): so far, {advice}."
    return " ".join((_do_what(results, best, c), _cost_and_saving(results, c), _risk(results, c)))


def _do_what(results: Results, best: CandidateResult, c: CandidateResult) -> str:
    number = number_of(results, c.id)
    if is_limit_of_control(c.candidate):
        return (
            f"Option {number}, {c.name}, costs least to run, but it is a limit of control that no loop reaches: "
            "take it as what is to be had at most."
        )
    said = f"Carry out option {number}, {c.name}"
    limit = results.project.prices.payback_limit_years
    if best.id == c.id:
        known = results.advice is not None and results.advice.value.best_id is not None
        return said + (
            f": it costs least to run, and every step of its cost pays back within {limit:g} years." if known else "."
        )
    if is_limit_of_control(best.candidate):
        why = "is a limit of control that no loop reaches"
    elif best.worth.cost_basis == NONE:
        why = "its cost is not given"
    else:
        why = f"what it costs more does not pay back within {limit:g} years"
    return f"{said}: option {number_of(results, best.id)} would cost still less to run, but {why}."


def drawn(results: Results) -> Ranges:
    """Ranges of a run in which draws were made.

    Raises
    ------
    ValueError
        None were made.
    """
    if results.ranges is None:
        raise ValueError("no draws were made")
    return results.ranges


def saving_range(results: Results, c) -> str:
    """From P10 to P90 of the saving of an option, ``$5,800 to 11,200``; empty where no draws were made."""
    if results.ranges is None:
        return ""
    found = sensible(results.ranges[c.id].quantities["cost_saving_usd"])
    if found.p10 is None or found.p90 is None:
        return ""
    low, high = found.p10, found.p90
    return f"{money(low)} to {money(high) if low < 0.0 or high < 0.0 else f'{high:,.0f}'}"


def payback_range(results: Results, c) -> str:
    """From P10 to P90 of the payback of an option that costs something; empty where no draws were made."""
    if results.ranges is None or c.candidate.cost_usd <= 0.0:
        return ""
    found = sensible(results.ranges[c.id].quantities["payback_after_incentive_years"])
    if found.p10 is None:
        return found.missing or NEVER
    if found.p90 is None:
        return f"{found.p10:.1f} years at the best, or {found.missing or NEVER}"
    return f"{found.p10:.1f} to {found.p90:.1f} years"


def _cost_and_saving(results: Results, c) -> str:
    saving, base = c.saving["cost_usd"], results.baseline
    within = saving_range(results, c)
    about = f"{within} a year in 8 of 10 draws, about" if within else "about"
    said = (
        f"It saves {about} {money(saving, money_step(results))} a year"
        + (" as estimated" if within else "")
        + f", {100 * share(saving, base.annual['cost_usd']):.0f} % of the energy cost of this air handler and its plant"
        + equal_oa_text(results, c)
    )
    cost, incentive = c.candidate.cost_usd, c.candidate.incentive_usd
    if cost <= 0.0:
        return said + "; what it costs to carry out is not given."
    said += f", for {money(cost)} once"
    if paid := payback_range(results, c):
        net = f" ({money(max(cost - incentive, 0.0))} after the incentive)" if incentive > 0.0 else ""
        return said + f"{net}, and pays back in {paid}."
    if incentive > 0.0:
        return (
            said + f" ({money(max(cost - incentive, 0.0))} after the incentive), and pays back in "
            f"{payback_text(c.payback_after_incentive_years, c.payback_note)}."
        )
    return said + f", and pays back in {payback_text(c.payback_years, c.payback_note)}."


def _risk(results: Results, c) -> str:
    """The weightiest thing that can go wrong with an option: damp rooms, air not given, else what its saving hangs
    on."""
    base = results.baseline
    humid = c.hourly["humid_hours"] - base.hourly["humid_hours"]
    if c.id in more_humid(results.candidates, base):
        return (
            f"The risk: rooms are damp for {humid:,.0f} more hours a year, so that a humidity limit on the reset "
            "should come with it."
        )
    if c.id in short_of_outdoor_air(results.candidates, base):
        return "The risk: rooms get less outdoor air than today in some hours; the minimum has to be put right with it."
    drivers = drivers_of(results)
    if drivers.shown and drivers.option_id == c.id:
        first = drivers.shown[0]
        low, high = sorted((first.saving_low_pct, first.saving_high_pct))
        return (
            f"The risk: the saving rests on assumptions, most of all on “{first.label.lower()}”, with "
            "which it lies between "
            f"{low:.0f} and {high:.0f} %; rooms that complain can undo a reset in a day."
        )
    return "The risk: a reset is undone in a day where rooms complain, so that somebody has to watch it."


def value_lines(results: Results) -> list[str]:
    """The steps from cheap to expensive, parts of combined options, options that coincide."""
    advice = results.advice
    if advice is None:
        return []
    lines = []
    number = lambda id_: number_of(results, id_)
    for step in advice.value.path:
        end = (
            " This is the best value."
            if step.id == advice.value.best_id
            else ""
            if step.pays
            else f" That is beyond the owner’s limit of {advice.value.limit_years:g} years."
        )
        lines.append(
            f"{'▸' if step.pays else '▹'} Option {number(step.id)}: {money(step.net_cost_usd)} after incentive saves "
            f"{money(step.saving_usd, money_step(results))} a year; "
            f"what it adds pays back in {payback_text(step.added_payback_years, '')}.{end}"
        )
    if any(step.pays for step in advice.value.path):
        lines.append(
            "Best value: the last step whose added cost pays back within the owner’s limit of "
            f"{advice.value.limit_years:g} years."
        )
    if advice.value.note:
        said = with_numbers(results, advice.value.note, [c.id for c in results.candidates])
        lines.append(said[:1].upper() + said[1:] + ".")
    whole: dict[str, list[tuple[int, str]]] = {}
    for part in advice.parts:
        amounts = [
            (word, money(usd, money_step(results)))
            for word, usd in (
                ("repair", part.repair_usd),
                ("companion measures", part.companion_usd),
                ("reset", part.reset_usd),
            )
            if rounded(usd, money_step(results))
        ]
        if len(amounts) == 1:
            whole.setdefault(amounts[0][0], []).append((number(part.id), amounts[0][1]))
        else:
            lines.append(
                f"Option {number(part.id)} in parts, each added to the one before: "
                f"{', '.join(f'{word} {usd}' for word, usd in amounts) or 'nothing'} a year."
            )
    for word, found in whole.items():
        much = f"the {found[0][1]} a year" if len(found) == 1 else "what they save"
        lines.append(f"{options([option for option, _ in found])} in parts: all of {much} is the {word}’s.")
    for remedy in advice.remedies:
        if remedy.serves:
            lines.append(
                f"Option {number(remedy.candidate_id)} could be ranked: {plain_words(remedy.text)}; it would then "
                f"save {money(remedy.saving_usd, money_step(results))} a year, "
                f"for {money(remedy.cost_usd)} more."
            )
    alike: dict[str, list[list[int]]] = {}
    reasons = [with_numbers(results, same.why, same.ids) for same in advice.coincidences]
    general = [re.sub(r" of option \d+", "", reason) for reason in reasons]
    for same, reason, without in zip(advice.coincidences, reasons, general, strict=True):
        # Several sets of options that are the same for one reason make one sentence.
        key = without if general.count(without) > 1 else reason
        alike.setdefault(key, []).append([number(i) for i in same.ids])
    for reason, sets in alike.items():
        which = "; ".join([options(sets[0]), *(options(numbers).split(" ", 1)[1] for numbers in sets[1:])])
        lines.append(f"{which} come to the same: {reason}.")
    return lines


def with_numbers(results: Results, text: str, ids) -> str:
    """Words of a run for the summary: options by their numbers, rows by what they are."""
    for id_ in sorted(ids, key=len, reverse=True):
        text = re.sub(rf"(?<!\w){re.escape(id_)}(?!\w)", f"option {number_of(results, id_)}", text)
    return text.replace("in every row", "in every hour").replace("of each row", "of each hour")


def driver_lines(results: Results) -> list[str]:
    """What the saving depends on, the strongest first."""
    drivers = drivers_of(results)
    if drivers.option_id is None or not drivers.shown:
        return []
    c = results[drivers.option_id]
    said = 100.0 * share(c.saving["cost_usd"], results.baseline.annual["cost_usd"])
    which = f"Option {number_of(results, c.id)}" + ("" if c.rank is not None else ", which is not ranked,")
    lines = [f"{which} saves {said:.0f} % as estimated; {drivers.how}:"]
    for d in drivers.shown:
        low, high = (re.sub(r"^x ", "× ", str(end)) for end in (d.low, d.high))
        lines.append(
            f"{d.label}, {low} to {high}: {d.saving_low_pct:.0f} to {d.saving_high_pct:.0f} %.".replace("degF", "°F")
        )
    return lines


def failing_text(results: Results) -> str:
    """What the baseline fails in and is not confirmed, for the first sentence; empty where there is nothing."""
    found = results.baseline_service
    said = [text for word, text, _ in baseline_failures(found) if word in found.open]
    paths = dict.fromkeys(path for word, path, _ in found.suspects if word in found.open)
    if not said:
        return ""
    return (
        f"First: the baseline as entered fails: {plain_words('; '.join(said))}. Check "
        f"{' and '.join(_input_words(path) for path in paths)}."
    )


def known_text(results: Results) -> str:
    """What the baseline fails in and the project confirms as found; empty where there is nothing."""
    found = results.baseline_service
    said = [
        f"in {word.replace('_', ' ')}: {plain_words(text)}"
        for word, text, _ in baseline_failures(found)
        if word in found.confirmed
    ]
    if not said:
        return ""
    return (
        f"Before anything else: the baseline fails {'; and '.join(said)}. The project confirms this as found: all "
        "savings are against an air handler that fails."
    )


def _input_words(path: str) -> str:
    """An input by its label and its path."""
    parsed, _ = parse_path(path)
    return path if parsed is None else f"“{parsed.field.label}” ({path})"


def equal_oa_text(results: Results, candidate) -> str:
    """The saving at equal outdoor air, where it differs; else empty."""
    if candidate.id not in saves_by_ventilation(results.candidates, results.baseline):
        return ""
    return f" ({money(candidate.saving_at_equal_oa['cost_usd'], money_step(results))} with as much outdoor air as now)"


# Uses of energy as they move, in the order of the table: key, what it is called in a sentence, unit.
MOVES = (
    *((use.key, use.word, use.unit) for use in _USES),
    ("reheat_kbtu", "of which reheat at the zones", "kBtu"),
)


def use_step(results: Results, key: str) -> float:
    """Rounding of an end use: by what the largest candidate uses, so that a large share of little stays little."""
    return step_for(max(abs(c.annual[key]) for c in results.candidates))


def moves_text(results: Results, candidate) -> str:
    """Signed change of each end use of a candidate, in words: ``fans +1,000 kWh, cooling −3,000 kWh``."""
    said = []
    for key, word, unit in MOVES:
        change = rounded(candidate.annual[key] - results.baseline.annual[key], use_step(results, key))
        if change:
            said.append(f"{word} {'+' if change > 0 else '−'}{abs(change):,.0f} {unit}")
    return ", ".join(said)


def what_moves(results: Results) -> str:
    """What the candidate that the page presents changes, and what a warmer supply alone would, whose fans rise."""
    if not runs_at_all(results):
        return ""
    base, c = results.baseline, advised(results)
    parts = []
    if c is not None and c.id != base.id:
        parts.append(
            f"What changes in a year with option {number_of(results, c.id)}: "
            f"{moves_text(results, c) or 'next to nothing'}."
        )
    warm = [
        c
        for c in results.candidates
        if c.candidate.dsp == base.candidate.dsp
        and c.candidate.overrides == base.candidate.overrides
        and c.candidate.sat != base.candidate.sat
        and c.annual["fan_kwh"] > base.annual["fan_kwh"]
    ]
    if warm:
        c = max(warm, key=lambda item: item.saving["cost_usd"])
        parts.append(
            "Warmer supply air alone saves cooling or reheat and makes the fans work harder (option "
            f"{number_of(results, c.id)}: {moves_text(results, c)}); "
            "every figure here holds both."
        )
    changed = [k for k, c in enumerate(results.candidates, 1) if c.kind == CHANGED_SERVICE]
    if changed:
        parts.append(
            f"{options(changed)} change{'s' if len(changed) == 1 else ''} what the rooms are promised and cannot be "
            "called best."
        )
    flagged = [k for k, c in enumerate(results.candidates, 1) if c.equal_service.flagged and c.kind != CHANGED_SERVICE]
    if flagged:
        parts.append(
            f"{options(flagged)} serve{'s' if len(flagged) == 1 else ''} the rooms worse than the baseline and cannot "
            "be called best."
        )
    return " ".join(parts)


def in_percent(value: float | None) -> str:
    """A probability in whole per cent; what is neither never nor always does not read as if it were."""
    if value is None:
        return "–"
    percent = 100.0 * value
    return "<1" if 0.0 < percent < 0.5 else ">99" if 99.5 <= percent < 100.0 else f"{percent:.0f}"


def confidence(results: Results, c) -> tuple[str, str, str]:
    """How sure it is that an option is the best, and that it pays back, as a key figure."""
    option, limit = drawn(results)[c.id], results.project.prices.payback_limit_years
    pays = in_percent(option.probability_pays_back)
    return (
        "It is the best in",
        f"{in_percent(option.probability_best)} %",
        f"of draws; in {pays} % it pays back within {limit:g} years",
    )


def key_figures(results: Results) -> list[tuple[str, str, str]]:
    """Key figures of the summary, of the candidate that it presents: label, figure, remark."""
    base, best, step = results.baseline, advised(results), money_step(results)
    now = today(results) or base
    nothing = "Do nothing" if today(results) is not None else "Baseline"
    cost = now.annual["cost_usd"]
    found = [
        (
            nothing,
            f"{money(cost, step)} a year",
            f"{money(10 * cost, step_for(10 * cost))} in ten years at today’s prices and weather",
        )
    ]
    if best is None:
        why = (
            "a check has failed"
            if any(check.status == "fail" for check in results.checks)
            else "none cures what the baseline fails in"
            if results.baseline_service.open
            else "each serves the rooms worse"
        )
        found += [("Best option", "none", why)]
    elif best.id == base.id:
        found += [("Best option", "stay", "no ranked option costs less to run")]
    else:
        number, saving = number_of(results, best.id), best.saving["cost_usd"]
        left = best.annual["cost_usd"]
        word = (
            "Best"
            if best.rank == 1
            else "Best value"
            if results.advice is not None and results.advice.value.best_id == best.id
            else "Best in practice"
        )
        of_cost = f"{100 * share(abs(saving), base.annual['cost_usd']):.0f} % of the energy cost of the baseline"
        within = saving_range(results, best)
        if within:
            claim = claim_of(results)
            unfit = claim.option_id is not None and not claim.fit
            said = f"as estimated {money(saving, step)}, {of_cost}" + (
                "; not fit for a programme claim: it rests on defaults" if unfit else ""
            )
            found = [
                (f"{word}: option {number} saves", f"{within} a year in 8 of 10 draws", said),
                confidence(results, best),
                *found,
            ]
        else:
            found += [
                (
                    f"{word}: option {number}",
                    f"{money(left, step)} a year",
                    f"{money(10 * left, step_for(10 * left))} in ten years",
                ),
                ("It saves" if saving >= 0.0 else "It costs more", f"{money(abs(saving), step)} a year", of_cost),
            ]
        c = best.candidate
        if c.cost_usd > 0.0:
            remark = "pays back in " + payback_text(best.payback_years, best.payback_note)
            if paid := payback_range(results, best):
                remark = f"pays back in {paid}" + (
                    f", with the incentive of {money(c.incentive_usd)}" if c.incentive_usd > 0.0 else ""
                )
            elif c.incentive_usd > 0.0:
                remark += (
                    f"; in {payback_text(best.payback_after_incentive_years, best.payback_note)} with the incentive "
                    f"of {money(c.incentive_usd)}"
                )
            found.append(("It costs, once", money(c.cost_usd), remark))
        else:
            found.append(("It costs, once", "not given", "so no payback is shown"))
    possible = base.annual["cost_usd"] - results.bound["cost_usd"]
    ranked = [
        (s, c) for c in results.candidates if c.rank is not None and (s := results.share_of_bound(c.id)) is not None
    ]
    if ranked and any(c.id != base.id for _, c in ranked):
        reached, most = max(((s, c) for s, c in ranked if c.id != base.id), key=lambda item: item[0])
        # A reset that costs more reaches nothing of a saving; how much more is in the table.
        which = f" (option {number_of(results, most.id)})" if reached > 0.0 else ""
        found.append(
            (
                "Setpoints alone reach",
                percent(reached) if reached > 0.0 else "nothing",
                f"of the {money(possible, step)} a year that perfect resets would save{which}",
            )
        )
    elif possible >= max(step, 0.005 * base.annual["cost_usd"]):
        found.append(
            (
                "Perfect resets",
                f"{money(possible, step)} a year",
                "is the most that setpoints alone could save; "
                + (
                    "no ranked option is a reset alone"
                    if any(c.rank is not None and c.id != base.id for c in results.candidates)
                    else "there is no ranked option"
                ),
            )
        )
    else:
        found.append(("Setpoints alone", "no room", "perfect resets would save next to nothing here"))
    return found


def percent(value: float) -> str:
    """``84 %`` or ``−14 %``."""
    number = rounded(100.0 * value, 1.0)
    return f"{'−' if number < 0 else ''}{abs(number):.0f} %"


def bound_text(results: Results) -> str:
    """What the limit of perfect resets is, in plain words."""
    if all(results.share_of_bound(c.id) is None for c in results.candidates):
        return (
            "◇ Perfect resets: the least that setpoints alone could cost on this plant, hour by hour with all zones "
            "served and none faulty. "
            "They would save next to nothing here."
        )
    text = (
        "◇ Perfect resets are a limit, not a product: in every hour the cheapest supply air in the project’s range, "
        "and just the duct pressure that the neediest "
        "zone takes, with no faulty zone and nothing hunting, on the plant as it is. No control reaches it."
    )
    others = [k for k, c in enumerate(results.candidates, 1) if results.share_of_bound(c.id) is None]
    if others:
        text += (
            f" {options(others)} change{'s' if len(others) == 1 else ''} more than setpoints and "
            f"{'is' if len(others) == 1 else 'are'} not held against it."
        )
    shares = [results.share_of_bound(c.id) for c in results.candidates]
    if any(s is not None and s > 1.005 for s in shares):
        text += " Above 100 %: ignored requests leave some zones short."
    if any(s is not None and s < -0.005 for s in shares):
        text += " Below zero: the option costs more than the baseline."
    return text


def options(numbers: list[int]) -> str:
    """``Option 3``, ``Options 3 and 4``, ``Options 2, 3 and 7``."""
    if len(numbers) == 1:
        return f"Option {numbers[0]}"
    return f"Options {', '.join(str(n) for n in numbers[:-1])} and {numbers[-1]}"


def plain_words(text: str) -> str:
    """A sentence of the run for readers of the summary, without terms of the trade."""
    text = re.sub(r"zone degF\.h (too \w+)", r"degree-hours \1 over all zones", text)
    for term, plain in (("degF.h", "degree-hours"), ("degF", "°F")):
        text = text.replace(term, plain)
    return text


def interaction_text(results: Results) -> str:
    """How SAT and DSP resets add up, for the pair with the largest saving."""
    if not results.interactions:
        return ""
    i = max(results.interactions, key=lambda item: item.both_usd)
    step = money_step(results)
    left = rounded(i.interaction_usd, step)
    sense = (
        "just the two added"
        if not left
        else f"{money(abs(left), step)} {'less' if left < 0 else 'more'} than the two added"
    )
    return (
        f"Do they add up? Option {number_of(results, i.sat_id)} alone saves {money(i.sat_usd, step)}, "
        f"{number_of(results, i.dsp_id)} alone {money(i.dsp_usd, step)}, both ({number_of(results, i.both_id)}) "
        f"{money(i.both_usd, step)}: {sense}."
    )


# ---------------------------------------------------------------- what holds resets back

# Something that rules in this share of running hours defeats a reset; below the second it is not worth a line on the
# summary (both assumptions).
DEFEATS_FRAC, WORTH_A_LINE_FRAC = 0.5, 0.05


@dataclass(frozen=True, slots=True)
class Holdback:
    """Something that keeps resets from saving.

    Parameters
    ----------
    label : str
        In the words of an owner.
    shares : dict of int to float
        Number of a candidate -> share of its running hours; only candidates it can act on.
    least : float
        Share from which it is worth a line on the summary. [0-1]
    """

    label: str
    shares: dict[int, float]
    least: float = WORTH_A_LINE_FRAC

    @property
    def worst(self) -> float:
        """Largest share of any candidate."""
        return max(self.shares.values(), default=0.0)


# Counts of the hourly run that concern resets: key, words, part whose reset it concerns, share from which to tell.
# A reset that is at the limit where it saves is doing its work, unless it is there most of the time.
_LIMITS = (
    (
        "sat_at_min_hours",
        "Supply air held at its coldest limit, where its reset saves nothing",
        "sat",
        WORTH_A_LINE_FRAC,
    ),
    (
        "sat_at_max_hours",
        "Supply air at its warmest limit most of the time: hardly more than another fixed setpoint",
        "sat",
        DEFEATS_FRAC,
    ),
    (
        "dsp_at_max_hours",
        "Duct pressure held at its highest limit, where its reset saves nothing",
        "dsp",
        WORTH_A_LINE_FRAC,
    ),
    (
        "dsp_at_min_hours",
        "Duct pressure at its lowest limit most of the time: only a lower limit would save more",
        "dsp",
        DEFEATS_FRAC,
    ),
    ("humidity_limited_hours", "Humidity limit holds supply air down", "sat", WORTH_A_LINE_FRAC),
    ("cold_zone_limited_hours", "A zone that must stay cold holds supply air down", "sat", WORTH_A_LINE_FRAC),
    ("airflow_ceiling_hours", "Fan at its most: zones ask for more air than it can give", "sat", WORTH_A_LINE_FRAC),
    ("minimum_speed_hours", "Fan at its lowest speed: pressure cannot fall further", "dsp", WORTH_A_LINE_FRAC),
)


def holdbacks(results: Results) -> list[Holdback]:
    """What holds resets back, worst first; causes that can act on no candidate are left out.

    Zones count while a reset by demand uses their requests. A rogue zone asks without need; any
    other zone is named where it asks most of all zones in some candidate.
    """
    limits: dict[str, dict[int, float]] = {key: {} for key, *_ in _LIMITS}
    zones: dict[tuple[str, bool, str], dict[int, float]] = {}
    for number, c in enumerate(results.candidates, 1):
        running = c.hourly["running_hours"]
        if not running > 0.0:
            continue
        strategies = dict(zip(("sat", "dsp"), strategies_of(c.candidate), strict=True))
        for key, _, part, _ in _LIMITS:
            if strategies[part].resets:
                limits[key][number] = c.hourly[key] / running
        known = results.runs[c.id].unit.zones
        heard = known.weight > 0.0
        for part, column, rogue, what in (
            ("sat", "temperature_request_hours", known.asks_temperature, "colder air"),
            ("dsp", "pressure_request_hours", known.asks_pressure, "more pressure"),
        ):
            if not strategies[part].listens:
                continue
            asked = np.where(heard, c.zones[column].to_numpy(dtype=float) / running, 0.0)
            rogue = np.asarray(rogue, dtype=bool) & heard
            chosen = [*np.flatnonzero(rogue)]
            if not rogue.all():
                chosen.append(int(np.argmax(np.where(rogue, -1.0, asked))))
            for at in chosen:
                zones.setdefault((what, bool(rogue[at]), str(known.names[at])), {})[number] = float(asked[at])
    found = [
        Holdback(
            f"Faulty zone “{name}” asks for {what} without need" if rogue else f"Zone “{name}” asks for {what}", shares
        )
        for (what, rogue, name), shares in zones.items()
    ]
    found += [Holdback(words, limits[key], least) for key, words, _, least in _LIMITS if limits[key]]
    return sorted(found, key=lambda h: -h.worst)


def holdback_text(found: Holdback) -> str:
    """One line: mark, what, share of running hours, which options."""
    shown = {number: value for number, value in found.shares.items() if value >= found.least}
    mark = "▲" if found.worst >= DEFEATS_FRAC else "△"
    low, high = rounded(100 * min(shown.values()), 1), rounded(100 * max(shown.values()), 1)
    often = f"{high:.0f} %" if low == high else f"{low:.0f} to {high:.0f} %"
    return f"{mark} {found.label}: {often} of running hours ({options(sorted(shown)).lower()})."


def holdback_lines(results: Results, most: int = 5, *, table: bool = True) -> list[str]:
    """What holds resets back, for the summary; further causes are counted, not dropped. ``table``: the file has the
    table of all shares."""
    worth = [h for h in holdbacks(results) if h.worst >= h.least]
    lines = [holdback_text(h) for h in worth[:most]]
    if not worth:
        lines.append(
            "Nothing found that rules in 5 % or more of the running hours: no faulty zone, no limit, no zone that "
            "asks all the time."
        )
    rest = f"{len(worth) - most} more, and each" if len(worth) > most else "Each"
    where = "on “Patterns”" if table else "in the working file"
    lines.append(f"{rest} option’s share: {where}. ▲: in half of the hours or more.")
    return lines


# ---------------------------------------------------------------- what can go wrong, how sure

# Always true of such work; on every summary.
STANDING_CAUTION = (
    "Ventilation, humidity and pressure relationships must stay within local codes; have changes designed and checked "
    "by licensed practitioners. To undo a reset, put the setpoints back: note them first."
)


def risk_lines(results: Results) -> list[str]:
    """What can go wrong, from the run, and what is always true. What the baseline itself fails in is at the top of
    the page."""
    lines = []
    damp = more_humid(results.candidates, results.baseline)
    humid = {k: c.hourly["humid_hours"] for k, c in enumerate(results.candidates, 1) if c.id in damp}
    if humid:
        said = ", ".join(f"{hours:,.0f} h with option {k}" for k, hours in humid.items())
        lines.append(
            f"▲ Damp rooms: {said}, against {results.baseline.hourly['humid_hours']:,.0f} h. Comfort and mould need a "
            "humidity limit on the reset."
        )
    short = short_of_outdoor_air(results.candidates, results.baseline)
    if short:
        said = ", ".join(
            f"{c.hourly['oa_short_hours']:,.0f} h with option {k}"
            for k, c in enumerate(results.candidates, 1)
            if c.id in short
        )
        lines.append(f"▲ Less outdoor air than is required: {said}. {NOT_VENTILATED}")
    part = saves_by_ventilation(results.candidates, results.baseline)
    if part:
        step = money_step(results)
        pairs = [
            (k, money(c.saving_at_equal_oa["cost_usd"], step), money(c.saving["cost_usd"], step))
            for k, c in enumerate(results.candidates, 1)
            if c.id in part
        ]
        said = ", ".join(f"{equal} instead of {plain} with option {k}" for k, equal, plain in pairs if equal != plain)
        if said:
            lines.append(f"▲ Saving a year with as much outdoor air as the baseline gives: {said}.")
    for finding in results.findings:
        # That some are not ranked is under the table; the baseline, damp rooms and short ventilation are above.
        if finding.level == "caution" and finding.where not in (
            "humidity",
            "outdoor air",
            "equal outdoor air",
            "baseline",
            "summary",
        ):
            lines.append("▲ " + plain_words(finding.text))
    lines += ["▲ " + plain_words(f.text) for f in results.findings if f.level == "check" and f.where == "economizer"]
    return [*lines, STANDING_CAUTION]


def sure_lines(results: Results) -> list[str]:
    """How sure the figures are, and what they rest on."""
    counts = check_counts(results)
    cost, ours, classic = bin_claims(results)
    origins = results.project.estimate_origins
    defaults = sum(o == "default" for o in origins)
    first = (
        f"{counts['pass']} checks pass, {counts['explain']} need{'s' if counts['explain'] == 1 else ''} an "
        f"explanation, {counts['fail'] or 'none'} fail" + (": do not use these results." if counts["fail"] else ".")
    )
    said = [
        first
        + f" Against the same equations hour by hour: cost within {cost:.2f} %, savings within {ours:.2f} points"
        + (
            f"; classic bins would miss savings by up to {classic:.1f} points."
            if results.project.bins.rows == "representative"
            else "."
        ),
        f"{reconciled_words(results.bills)}. {defaults:,} of {len(origins):,} inputs are defaults"
        f"{_looked_at(results)}: measured values make the estimate firmer.",
        *(
            _range_lines(results)
            or ["A typical year is no forecast: no ± is given, as none has been measured for this building."]
        ),
    ]
    # Ranges take the room; how resets add up is on the sheet of measures as well.
    added = "" if results.ranges is not None else interaction_text(results)
    return [*said, added] if added else said


def _looked_at(results: Results) -> str:
    """How many inputs were measured, trended or read off, where any were."""
    statuses = [results.project.status_of(path) for path in results.project.origins]
    counts = {word: statuses.count(word) for word in ("measured", "trended", "nameplate", "drawing")}
    said = ", ".join(f"{count:,} {word}" for word, count in counts.items() if count)
    return f", {said}" if said else ""


def _range_lines(results: Results) -> list[str]:
    """What the ranges are, and what they rest on; empty where no draws were made."""
    ranges = results.ranges
    if ranges is None:
        return []
    claim = claim_of(results)
    said = (
        f"Ranges are from draws of {len(ranges.inputs)} uncertain inputs ({ranges.label}), of which "
        f"{in_percent(ranges.default_frac)} % are defaults; a typical year is no forecast. More on “Ranges”."
    )
    if claim.option_id is None or claim.fit:
        return [said]
    return [
        said,
        f"Not fit for a programme claim: the saving of option {number_of(results, claim.option_id)} rests on defaults "
        f"for {claim.words}.",
    ]


_MONTHS = ("", "Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")


def when_text(month: int, day: int, hour: int) -> str:
    """``Jul 04 14h``; rows that are no real hour are means of their bin."""
    return f"{_MONTHS[month]} {day:02d} {hour:02d}h" if month > 0 else "mean of bin"
