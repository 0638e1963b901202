"""The way from cheap to expensive, parts of combined options, how near the bound."""

from __future__ import annotations

import re

from ...results import Results
from .amounts import money, money_step, payback_text, rounded
from .words import number_of, options, plain_words, with_numbers


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
