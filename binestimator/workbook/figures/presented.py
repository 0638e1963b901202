"""The option that the first page presents, and the sentences that an owner reads first."""

from __future__ import annotations

from ...advice.value import is_limit_of_control
from ...end_uses import END_USES as _USES
from ...findings import baseline_failures, more_humid, saves_by_ventilation, short_of_outdoor_air
from ...inputs.paths import parse_path
from ...money.cost import NONE
from ...ranges.claim import claim_of
from ...ranges.drivers import drivers_of
from ...results import AS_RUN, CHANGED_SERVICE, CandidateResult, Results
from ...strategies.registry import strategies_of
from .amounts import money, money_step, payback_text, percent, rounded, runs_at_all, share, step_for, use_step
from .ranged import confidence, payback_range, saving_range
from .words import number_of, options, plain_words


def today(results: Results) -> CandidateResult | None:
    """The candidate that leaves everything as it was found; None if no candidate does."""
    plain = [
        c
        for c in (results.baseline, *results.candidates)
        if all(strategy.changes_nothing for strategy in strategies_of(c.candidate)) and not c.candidate.overrides
    ]
    return plain[0] if plain else None


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
            f"In a year with option {number_of(results, c.id)}: {moves_text(results, c) or 'next to nothing'}."
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
    return " ".join(parts)


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
