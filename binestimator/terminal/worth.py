"""Blocks of money, ranges, advice and zones that hold resets up."""

from __future__ import annotations

import math

from binestimator.money.bills import reconciled_words
from binestimator.money.cost import BUILD_UP, DEFAULT, NONE
from binestimator.money.life_cycle import NEVER
from binestimator.ranges.drivers import drivers_of

from .line import columns_now, mark_of, plain_ascii, probability_text, share_of, tenths, whole, wrapped


def money_lines(results) -> list[str]:
    """What the option to choose is worth: the best value, or the best where there is none."""
    best_id = None if results.advice is None else results.advice.value.best_id
    best = results.best if best_id is None else results[best_id]
    if best is None or best.id == results.baseline_id:
        return []
    worth, terms = best.worth, results.project.life_cycle
    life = worth.life
    said = [
        f"{best.id}: net present value {whole(float(life.npv_usd))} USD over {terms.years} years at "
        f"{tenths(100.0 * terms.discount_frac)} % real"
    ]
    if math.isfinite(life.sir):
        said.append(f"savings-to-investment ratio {float(life.sir):.1f}")
        paid = life.discounted_payback_years
        said.append(f"discounted payback {f'{paid:.0f} yr' if math.isfinite(paid) else NEVER}")
    else:
        said.append("no cost is given, so no ratio")
    window = worth.windows[0]
    assumed = ", a window that is an assumption" if results.project.terms.window_assumed else ""
    said.append(f"demand saved in {window.name.lower()} {tenths(window.saving_kw)} kW{assumed}")
    lines = wrapped("; ".join(said), "Money     ")
    own = worth.build_up
    if own.lines:
        marked = sum(line.mark != DEFAULT for line in own.lines)
        used = "used as the cost" if worth.cost_basis == BUILD_UP else "not used, since the cost is given"
        used = "not used, since cost.build_up is false" if worth.cost_basis == NONE else used
        text = (
            f"build-up {whole(own.total_usd['low'])} to {whole(own.total_usd['high'])} USD, "
            f"{whole(own.total_usd['expected'])} expected, {marked} of {len(own.lines)} lines the estimator's; {used}"
        )
        lines += wrapped(text + (f"; without {own.lacks}" if own.lacks else ""), "  cost    ")
    if worth.incentive_bound_by:
        lines += wrapped(
            f"{whole(worth.incentive_usd)} USD by rules, bound by {worth.incentive_bound_by}", "  paid    "
        )
    if results.project.terms.has_tariff:
        charged, cost = results.baseline.charges.year_usd, results.baseline.annual["cost_usd"]
        table = results.baseline.by_rate_period
        periods = f"{len(table)} rate periods" if table is not None else "one price of each energy"
        lines += wrapped(
            f"{periods}; demand and tiers are {whole(charged)} of the {whole(cost)} USD of the baseline; cost-optimal "
            "sees the marginal price of energy of each period, without demand",
            "  tariff  ",
        )
    if results.bills:
        lines += wrapped(reconciled_words(results.bills), "  bills   ")
    return lines


# Most lines about what to measure next.
_MOST_NEXT = 3
# Columns of the ranges: key of the percentiles, heading.
_RANGE_COLUMNS = (("cost_saving_usd", "Saving, USD a year"), ("payback_after_incentive_years", "Payback, yr"))


def range_lines(results) -> list[str]:
    """How sure the savings are: percentiles, probabilities, what to measure next, whether it may stand behind a
    claim."""
    ranges = results.ranges
    lines = [] if ranges is None else _range_table(results)
    if ranges is not None and ranges.measure_next:
        lines += ["", *wrapped(f"by the spread of the saving of {ranges.about_id} that it would remove", "Measure   ")]
        for each in ranges.measure_next[:_MOST_NEXT]:
            text = f"{plain_ascii(each.label)}, {whole(100.0 * each.spread_removed_frac)} %: {plain_ascii(each.what)}"
            lines += wrapped(text, "  next    ")
    return lines if ranges is None else lines + claim_lines(results)


def claim_lines(results) -> list[str]:
    """That a result may not stand behind a programme claim, and why."""
    from binestimator.ranges.claim import claim_of

    claim = claim_of(results)
    if claim.option_id is None or claim.fit:
        return []
    return wrapped(
        f"not fit for a programme claim: the saving of {claim.option_id} rests on defaults for {claim.words}",
        "Claim     ",
    )


def _range_width(key: str) -> int:
    """Columns of a percentile."""
    return 9 if key == "cost_saving_usd" else 7


def _range_table(results) -> list[str]:
    from binestimator.ranges.results import sensible, years_in_words

    ranges = results.ranges
    others = [option for option in ranges.options if option.id != results.baseline_id]
    groups = list(_RANGE_COLUMNS)
    while True:
        first = max(len("Option"), *(len(option.id) + 2 for option in ranges.options)) + 2
        width = first + sum(3 * _range_width(key) for key, _ in groups) + 16
        if width <= columns_now.get() or len(groups) == 1:
            break
        groups.pop()
    heads, units = "  Option".ljust(first), " " * first
    for key, head in groups:
        size = _range_width(key)
        heads += head.rjust(3 * size)
        units += "".join(word.rjust(size) for word in ("P10", "P50", "P90"))
    heads += "    Best    Pays"
    units += "       %  back %"
    rows = []
    for option in ranges.options:
        line = f"{mark_of(results, results[option.id])} {option.id}".ljust(first)
        for key, _ in groups:
            size = _range_width(key)
            found = sensible(option.quantities[key])
            values = (found.p10, found.p50, found.p90)
            text = whole if key == "cost_saving_usd" else tenths
            line += "".join(
                ("" if option not in others else found.missing if value is None else text(value)).rjust(size)
                for value in values
            )
        line += probability_text(option.probability_best).rjust(8)
        line += ("" if option not in others else probability_text(option.probability_pays_back)).rjust(8)
        rows.append(line.rstrip())
    limit = results.project.prices.payback_limit_years
    introduction = wrapped(
        f"{ranges.label}; 8 of 10 draws lie between P10 and P90. Best: probability of the least energy cost at equal "
        f"service. Pays back: within the owner's limit of {limit:g} yr, after the incentive",
        "Ranges    ",
    )
    years = wrapped(years_in_words(ranges.years), "  years   ") if ranges.years else []
    return [*introduction, *years, "", heads.rstrip(), units.rstrip(), "-" * len(heads), *rows]


def advice_lines(results) -> list[str]:
    """Best value and the steps to it, parts of combined options, options that coincide, drivers of the saving."""
    advice = results.advice
    if advice is None:
        return []
    value, lines = advice.value, []
    if value.best_id is not None:
        lines += wrapped(
            f"{value.best_id}: the last step whose added cost pays back within the owner's limit of "
            f"{value.limit_years:g} yr",
            "Value     ",
        )
    for step in value.path:
        lines += wrapped(
            f"{step.id}: {whole(step.net_cost_usd)} USD after incentive saves {whole(step.saving_usd)} a year; what "
            "it adds pays back in "
            f"{step.added_payback_years:.1f} yr" + ("" if step.pays else ", beyond the limit"),
            "  step    ",
        )
    if value.note:
        lines += wrapped(value.note, "  note    " if value.path else "Value     ")
    for part in advice.parts:
        amounts = (("repair", part.repair_usd), ("companion", part.companion_usd), ("reset", part.reset_usd))
        said = ", ".join(f"{word} {whole(usd)}" for word, usd in amounts if round(usd)) or "nothing"
        lines += wrapped(f"{part.id}: {said} USD a year, each added to the one before", "Parts     ")
    for remedy in advice.remedies:
        if remedy.serves:
            lines += wrapped(
                f"{remedy.candidate_id}: {plain_ascii(remedy.text)}; it would then save {whole(remedy.saving_usd)} USD "
                f"a year, for {whole(remedy.cost_usd)} USD more",
                "Remedy    ",
            )
    lines += pinned_lines(results)
    for same in advice.coincidences:
        lines += wrapped(f"{', '.join(same.ids)}: {same.why}", "Same      ")
    return lines + driver_lines(results)


def driver_lines(results) -> list[str]:
    """What the saving depends on."""
    drivers, lines = drivers_of(results), list[str]()
    if drivers.shown:
        c = results[drivers.option_id]
        lines += wrapped(
            f"saving of {c.id}, {tenths(100 * share_of(c.saving['cost_usd'], results.baseline.annual['cost_usd']))} %, "
            f"{drivers.how}",
            "Drivers   ",
        )
        for d in drivers.shown:
            lines += wrapped(
                f"{plain_ascii(d.label)}, {plain_ascii(d.low)} to {plain_ascii(d.high)}: {tenths(d.saving_low_pct)} to "
                f"{tenths(d.saving_high_pct)} %",
                "  ",
            )
    return lines


def pinned_lines(results) -> list[str]:
    """Zones that pin resets by demand, and what options save as found and after their repair or exclusion."""
    lines: list[str] = []
    told: tuple[str, ...] | None = None
    groups: dict[tuple, list] = {}
    for after in results.advice.after_repairs:
        groups.setdefault((after.zones, after.candidate_id), []).append(after)
    for (zones, id_), ways in sorted(groups.items(), key=lambda item: item[0][0]):
        if zones != told:
            told = zones
            named = [
                zone + (f" ({kind.replace('_', ' ')})" if kind else "")
                for zone, kind in zip(zones, ways[0].kinds, strict=True)
            ]
            lines += wrapped(f"{', '.join(named)}: {_held_up(results, results[id_], zones)}", "Pinned    ")
        said = [f"saves {whole(ways[0].saving_usd)} USD as found"]
        for after in ways:
            if after.way == "repair":
                text = (
                    f"{whole(after.after_usd)} after repair (repair alone {whole(after.repair_usd)}, reset "
                    f"{whole(after.reset_usd)})"
                )
            else:
                text = f"{whole(after.after_usd)} with {'it' if len(zones) == 1 else 'them'} left out of the reset"
            said.append(text + ("" if after.serves else ", rooms worse"))
        lines += wrapped(f"{id_}: {'; '.join(said)}", "  ", "    ")
    return lines


def _held_up(results, candidate, zones) -> str:
    """How long zones pin the resets of an option, and whether their alarms would stand."""
    from binestimator.advice.rogue import driving_zones

    running = max(candidate.hourly["running_hours"], 1e-9)
    mine = [d for d in driving_zones(results, candidate) if d.zone in zones]
    said = []
    for part, words in (("sat", "supply air"), ("dsp", "duct pressure")):
        hours = max((d.pinned_hours for d in mine if d.part == part), default=0.0)
        if hours > 0.0:
            said.append(f"{words} in {whole(100.0 * hours / running)} % of running hours")
    if not said:
        return f"asks of {candidate.id} without moving its setpoints by a step"
    alarm = "; its alarm stands" if any(d.alarm_hours > 0.0 for d in mine) else ""
    return f"one zone alone holds {' and '.join(said)} of {candidate.id}{alarm}"
