"""Results and bins as text for a terminal. Pure: results and width in, text out.

Plain ASCII apart from what the user's own files hold, so that every terminal can show it.
"""

from __future__ import annotations

import math
import re
import textwrap
from collections.abc import Iterator
from contextlib import contextmanager
from contextvars import ContextVar

from binestimator.end_uses import END_USES
from binestimator.findings import baseline_failures, saves_by_ventilation
from binestimator.inputs.schema import USUAL_CURRENCY, value_text
from binestimator.money.bills import reconciled_words
from binestimator.money.cost import BUILD_UP, DEFAULT, NONE
from binestimator.money.life_cycle import NEVER
from binestimator.ranges.drivers import drivers_of
from binestimator.results import AS_RUN, CHANGED_SERVICE
from binestimator.strategies.registry import sat_strategy

#: Columns of text that is not for a narrower terminal, and the fewest that text is made for.
WIDTH, LEAST_WIDTH = 100, 80
_width: ContextVar[int] = ContextVar("width", default=WIDTH)
#: Mark of a row, and what it says.
BASELINE, BEST, FLAGGED, CHANGED, NO_CURE = "=", "*", "!", "~", "-"

# End uses of the comparison: annual key, two lines of heading. Left out where no candidate has any;
# the last ones go first when the table would be too wide.
_END_USES = tuple((use.key, use.heading, use.unit) for use in sorted(END_USES, key=lambda use: use.keeps))


@contextmanager
def _columns(width: int) -> Iterator[None]:
    """Make text for so many columns."""
    before = _width.set(min(max(width, LEAST_WIDTH), WIDTH))
    try:
        yield
    finally:
        _width.reset(before)


def comparison(results, width: int = WIDTH) -> str:
    """What a run found: heading, comparison table, marks, how to read it, cautions.

    Parameters
    ----------
    results : Results
    width : int
        Columns of the terminal; ``LEAST_WIDTH`` to ``WIDTH`` of them are used.

    Returns
    -------
    str
        Lines of at most so many characters, as far as the user's own words allow, without
        the names of the files written.
    """
    with _columns(width):
        blocks = [
            _first(results),
            _heading(results),
            _table(results),
            _marks(results),
            _as_run(results),
            _indicators(results),
            _money(results),
            _ranges(results),
            _advice(results),
            _reading(results),
            _cautions(results),
        ]
    return _in_currency(results, blocks)


def quick_check(results, width: int = WIDTH) -> str:
    """What a quick check found: how much the options save, how sure that is, what to measure next.

    Parameters
    ----------
    results : Results
    width : int
        As for :func:`comparison`.
    """
    with _columns(width):
        blocks = [
            _first(results),
            _quick_heading(results),
            [] if results.ranges is not None else _table(results),
            _ranges(results),
            _marks(results),
            [] if results.ranges is not None else [*_drivers(results), *_claim(results)],
            _wrapped(
                "An estimate from few facts, not a design: ventilation, humidity and pressure relationships must stay "
                "within local codes; have changes designed and checked by licensed practitioners.",
                "Caution   ",
            ),
        ]
    return _in_currency(results, blocks)


def _in_currency(results, blocks) -> str:
    """Blocks of lines as one text; names and headings say USD for the currency of the project."""
    text = "\n\n".join("\n".join(block) for block in blocks if block)
    currency = results.project.prices.currency
    return text if currency == USUAL_CURRENCY else re.sub(r"\bUSD\b", lambda found: currency, text)


def reviewed(results, review, width: int = WIDTH) -> str:
    """The claim beside a run with a reviewer's overrides: savings of both, their ratio, and the overrides.

    Parameters
    ----------
    results : Results
        The claim.
    review : Review
    width : int
        As for :func:`comparison`.
    """
    with _columns(width):
        return _reviewed(results, review)


def _reviewed(results, review) -> str:
    lines = review.lines(results)
    second = review.results
    heads = (("Claimed", "USD"), ("Reviewed", "USD"), ("Ratio", "%"), ("Rank", "claimed"), ("Rank", "reviewed"))
    rank = lambda c: "-" if c.rank is None else str(c.rank)
    cells = [
        (
            line.id,
            whole(line.claimed_usd),
            whole(line.reviewed_usd),
            "-" if line.ratio is None else _tenths(100 * line.ratio),
            rank(results[line.id]),
            rank(second[line.id]),
        )
        for line in lines
    ]
    first = max([len("Saving a year"), *(len(row[0]) for row in cells)]) + 2
    widths = [
        max([len(word) for word in head] + [len(row[k + 1]) for row in cells]) + 2 for k, head in enumerate(heads)
    ]
    table = [("Saving a year", *(head for head, _ in heads)), ("", *(unit for _, unit in heads)), *cells]
    text = [
        "".join(
            [row[0].ljust(first), *(cell.rjust(width) for cell, width in zip(row[1:], widths, strict=True))]
        ).rstrip()
        for row in table
    ]
    text.insert(2, "-" * (first + sum(widths)))
    count = len(review.overrides)
    head = _wrapped(
        f"a second run with {count} override{'' if count == 1 else 's'} of a reviewer; the claim above stays as it is",
        "Reviewed  ",
    )
    overrides = [
        line
        for path, value in review.overrides.items()
        for line in _wrapped(f"{path} = {value_text(value)}", "  ", "    ")
    ]
    return "\n".join([*head, "", *text, "", *_first(second), *_marks(second), "", "Overrides", *overrides])


def _as_run(results) -> list[str]:
    """Savings at time steps beside those of rooms at rest."""
    if results.as_run is None:
        return []
    others = [c for c in results.candidates if c.id != results.baseline_id and c.id in results.as_run]
    cells = [
        (
            f"{mark_of(results, c)} {c.id}",
            *(_tenths(value) for value in results.as_run_points(c.id)),
            whole(results.as_run[c.id].saving["cost_usd"]),
            _tenths(results.as_run[c.id].annual["mean_sat_f"]),
            f"{results.as_run[c.id].annual['mean_dsp_inwc']:.2f}",
        )
        for c in others
    ]
    heads = (
        ("  Option", ""),
        ("At rest", "%"),
        ("As run", "%"),
        ("As run", "USD"),
        ("Mean SAT", "degF"),
        ("Mean DSP", "in. w.c."),
    )
    first = max([len("  Option"), *(len(row[0]) for row in cells)]) + 2
    line = lambda row: "".join([row[0].ljust(first), *(cell.rjust(10) for cell in row[1:])]).rstrip()
    return [
        *_wrapped(
            "savings of energy cost hour by hour with rooms at rest, and at time steps with rooms that have mass, "
            "requests that latch and trim and respond; "
            + ("ranks, service and marks go by the runs" if results.ranked_by == AS_RUN else "ranks go by the bins"),
            "As run    ",
        ),
        "",
        line([head for head, _ in heads]),
        line([unit for _, unit in heads]),
        "-" * (first + 50),
        *(line(row) for row in cells),
        *_cost_seeking(results),
    ]


def _indicators(results) -> list[str]:
    """What weakens resets, as run: changes of saving, fan energy and starved hours."""
    if results.indicators is None:
        return []
    if not results.indicators:
        return _wrapped("no option that indicators could be told of", "What if   ")
    out = _wrapped(
        "options as run with something wrong beside the same without it, each against the baseline in the same "
        "building; sizes of what is wrong are inputs (as_run)",
        "What if   ",
    )
    out += ["", f"{'Saving clean':>14}{'wrong':>9}{'change':>11}{'Fans':>11}{'Starved':>11}{'Too warm':>12}",
            f"{'%':>14}{'%':>9}{'USD':>11}{'kWh':>11}{'zone h':>11}{'zone degF.h':>12}", "-" * 68]  # fmt: skip
    for found in results.indicators:
        clean, wrong = found.saving_pct
        option = f"{found.candidate_id} with that strategy" if found.made else found.candidate_id
        out += _wrapped(f"{option}: {found.text}", "  ", "    ")
        changes = (
            found.change_of_saving_usd(),
            *(found.change(key) for key in ("fan_kwh", "starved_zone_hours", "unmet_degree_hours")),
        )
        out.append(
            f"{_tenths(clean):>14}{_tenths(wrong):>9}"
            + "".join(f"{round(v) + 0:+,d}".rjust(w) for v, w in zip(changes, (11, 11, 11, 12)))
        )
    return out


def _cost_seeking(results) -> list[str]:
    """What cost-seeking controllers reach of the least cost, with figures and readings as given and with wrong ones."""
    lines: list[str] = []
    for id_, run in results.as_run.items():
        sought = run.sought
        if sought is None:
            continue
        share = sought.at_rest_of_ideal
        lines += [
            "",
            *_wrapped(
                f"{id_} as run, of what least-cost supply air saves beyond the baseline's at the same duct pressure "
                f"({whole(sought.plain_usd - sought.ideal_usd)} USD as run)"
                + ("" if share is None else f"; {whole(100.0 * share)} % of it with rooms at rest"),
                "  cost-seeking  ",
            ),
        ]
        width = max(len(case.words) for case in sought.cases)
        lines += [
            f"    {case.words.replace('°F', 'degF').ljust(width + 4)}"
            + ("-" if case.of_ideal is None else f"{100.0 * case.of_ideal:.0f} %").rjust(6)
            + f"{whole(case.saving_usd)} USD saved".rjust(20)
            for case in sought.cases
        ]
    return lines


def whole(value: float) -> str:
    """Whole number with thousands separated; never ``-0``."""
    return f"{round(value) + 0:,d}"


def _tenths(value: float) -> str:
    """Number to one decimal; never ``-0.0``."""
    return f"{round(value, 1) + 0.0:.1f}"


def _wrapped(text: str, first: str = "", later: str | None = None) -> list[str]:
    """Lines of a sentence behind a heading word; a word that is too long gets a line of its own."""
    return textwrap.wrap(
        text,
        _width.get(),
        initial_indent=first,
        subsequent_indent=" " * len(first) if later is None else later,
        break_long_words=False,
        break_on_hyphens=False,
    ) or [first.rstrip()]


def _heading(results) -> list[str]:
    base, choice = results.baseline, results.selection
    hours, residual = base.annual["hours"], choice.worst_residual_frac
    return [
        *_wrapped(results.project.info.name),
        *_wrapped(f"{base.id} ({base.name}), the option all others are compared with", "Baseline  "),
        *(
            _wrapped(
                "options are judged and ranked as run at time steps; energy and cost in the table below are those of "
                "the bins, with rooms at rest",
                "Ranked    ",
            )
            if results.ranked_by == AS_RUN
            else []
        ),
        *_weather_line(results),
        *_wrapped(
            f"{len(results.row_table)} rows represent {whole(hours)} h ({results.row_method}); energy cost within "
            f"{100 * choice.worst_cost_frac:.2f} % of the hour-by-hour run, savings within "
            f"{choice.worst_saving_points:.2f} points"
            + ("" if residual is None else f"; residual of the choice {100 * residual:.1g} %"),
            "Rows      ",
        ),
    ]


def _weather_line(results) -> list[str]:
    weather, hours = results.weather, results.baseline.annual["hours"]
    place = f"{weather.name or 'station'} ({_file_of(weather)})"
    mean_f = float(weather.frame["oat_f"].mean())
    said = f"{place}, {whole(hours)} h, mean {mean_f:.1f} degF, {weather.pressure_psia:.2f} psia"
    return _wrapped(said, "Weather   ")


def _quick_heading(results) -> list[str]:
    project, base = results.project, results.baseline
    area = sum(zone.area_ft2 * zone.multiplier for zone in project.zones)
    zones = sum(zone.multiplier for zone in project.zones)
    said = [
        f"{whole(area)} ft2 with {zones} terminals, {whole(results.unit.design_cfm)} cfm at design",
        f"energy cost of the air handler and its plant {whole(base.annual['cost_usd'])} USD a year",
    ]
    origins = project.estimate_origins
    given = sum(origin == "given" for origin in origins)
    return [
        *_wrapped(f"{project.info.name}, a quick check"),
        *_weather_line(results),
        *_wrapped("; ".join(said), "Today     "),
        *_wrapped(
            f"{given} of {whole(len(origins))} inputs are given or stand for the use of the building; all others are "
            "defaults or follow",
            "Rests on  ",
        ),
    ]


def _first(results) -> list[str]:
    """What a reader must know before any figure: a failed check, and what the baseline fails in."""
    lines = []
    for check in results.checks:
        if check.status == "fail":
            lines += _wrapped(
                f"a check that must not fail has failed, so nothing is ranked: {check.name}, {check.value}; expected "
                f"{_ascii(check.expected)}",
                "FAIL      ",
            )
    found = results.baseline_service
    for word, said, do in baseline_failures(found):
        lines += _wrapped(
            f"the baseline fails in {word.replace('_', ' ')}: {said}; {do}",
            "Known     " if word in found.confirmed else "FAILS     ",
        )
    if found.open:
        lines += _wrapped("until then only options that cure it may be best", "          ")
    return lines


def _ascii(text: str) -> str:
    return text.replace("±", "+/-")


def _share(part: float, of: float) -> float:
    return part / of if of else 0.0


def _table(results) -> list[str]:
    candidates, base = results.candidates, results.baseline
    uses = [use for use in _END_USES if any(abs(c.annual[use[0]]) >= 0.5 for c in candidates)]
    with_cost = any(c.candidate.cost_usd > 0.0 for c in candidates)
    with_incentive = with_cost and any(c.candidate.incentive_usd > 0.0 for c in candidates)

    money = [
        ("Cost", "USD", [whole(c.annual["cost_usd"]) for c in candidates]),
        ("Saving", "USD", ["" if c is base else whole(c.saving["cost_usd"]) for c in candidates]),
        (
            "",
            "%",
            [
                "" if c is base else _tenths(100 * _share(c.saving["cost_usd"], base.annual["cost_usd"]))
                for c in candidates
            ],
        ),
    ]
    if with_cost:
        money.append(("Payback", "yr", [_years(c.candidate.cost_usd, c.payback_years) for c in candidates]))
    if with_incentive:
        money.append(
            ("w. inc.", "yr", [_years(c.candidate.cost_usd, c.payback_after_incentive_years) for c in candidates])
        )
    while True:
        columns = [(head, unit, [whole(c.annual[key]) for c in candidates]) for key, head, unit in uses] + money
        lines = _lines(results, columns)
        if len(lines[2]) <= _width.get():
            return lines
        # Energies give way before money, and paybacks before savings.
        if len(uses) > 2:
            uses.pop()
        elif with_cost and len(money) > 3:
            money.pop()
        elif len(uses) > 1:
            uses.pop()
        else:
            return lines


def _lines(results, columns) -> list[str]:
    names = [c.id for c in results.candidates]
    first = max(len("Option"), *(len(name) for name in names)) + 2
    widths = [max(len(head), len(unit), *(len(cell) for cell in cells)) + 2 for head, unit, cells in columns]
    rows = [("  Option", [head for head, _, _ in columns]), ("", [unit for _, unit, _ in columns])]
    for place, c in enumerate(results.candidates):
        rows.append((f"{mark_of(results, c)} {c.id}", [cells[place] for _, _, cells in columns]))
    lines = [
        name.ljust(first) + "".join(cell.rjust(width) for cell, width in zip(cells, widths, strict=True))
        for name, cells in rows
    ]
    rule = "-" * len(lines[0])
    return [line.rstrip() for line in (*lines[:2], rule, *lines[2:])]


def mark_of(results, candidate) -> str:
    """Mark of a candidate: of another service, flagged, best, baseline, no cure of what the baseline fails in, or a
    blank."""
    if candidate.kind == CHANGED_SERVICE:
        return CHANGED
    if candidate.equal_service.flagged:
        return FLAGGED
    if results.best is not None and candidate.id == results.best.id:
        return BEST
    if candidate.id == results.baseline_id:
        return BASELINE
    return NO_CURE if candidate.rank is None else " "


def _years(cost_usd: float, years: float | None) -> str:
    """Payback of a candidate that costs something; a dash where it never pays back."""
    if cost_usd <= 0.0:
        return ""
    return "-" if years is None else f"{years:.1f}"


def _marks(results) -> list[str]:
    best, base = results.best, results.baseline
    cured = results.baseline_service.open
    if best is None and any(check.status == "fail" for check in results.checks):
        said = "none: a check that must not fail has failed"
    elif best is None and cured:
        said = f"none: no option of equal service cures what the baseline fails in ({', '.join(cured)})"
    elif best is None:
        said = "none: every option serves the rooms worse than the baseline"
    elif best.id == base.id:
        said = f"{best.id}, the baseline: no option of equal service costs less"
    else:
        of = (
            "at equal service"
            if not cured
            else f"at equal service that cures what the baseline fails in ({', '.join(cured)})"
        )
        saving = results.ranked_saving_usd(best.id)
        as_run = results.ranked_by == AS_RUN
        said = (
            f"{best.id}: least energy cost {of}, "
            + (f"saves {whole(saving)}" if saving >= 0.0 else f"costs {whole(-saving)} more")
            + " USD a year"
            + (f" as run at time steps ({whole(best.saving['cost_usd'])} by the bins)" if as_run else "")
        )
        if not sat_strategy(best.candidate.sat).buildable:
            said += "; a limit of control: no control loop reaches the cheapest supply air of each row"
        if best.id in saves_by_ventilation(results.candidates, base):
            said += f" ({whole(best.saving_at_equal_oa['cost_usd'])} at equal outdoor air)"
    lines = _wrapped(said, f"{BEST} best  ", "    ")
    for mark, words, mine in (
        (
            FLAGGED,
            "serves the rooms worse than the baseline: shown, neither ranked nor called best",
            [c for c in results.candidates if c.equal_service.flagged and c.kind != CHANGED_SERVICE],
        ),
        (
            CHANGED,
            "is of another service: shown with what it changes, neither ranked nor called best",
            [c for c in results.candidates if c.kind == CHANGED_SERVICE],
        ),
    ):
        if mine:
            lines += _wrapped(words, f"{mark} ")
        for c in mine:
            lines += _wrapped("; ".join(c.equal_service.reasons), f"    {c.id}: ", "        ")
    if any(mark_of(results, c) == NO_CURE for c in results.candidates):
        lines.append(
            f"{NO_CURE} does not cure what the baseline fails in: not ranked" if cured else f"{NO_CURE} not ranked"
        )
    return lines


def _money(results) -> list[str]:
    """What the option to choose is worth: the best value, or the best where there is none."""
    best_id = None if results.advice is None else results.advice.value.best_id
    best = results.best if best_id is None else results[best_id]
    if best is None or best.id == results.baseline_id:
        return []
    worth, terms = best.worth, results.project.life_cycle
    life = worth.life
    said = [
        f"{best.id}: net present value {whole(float(life.npv_usd))} USD over {terms.years} years at "
        f"{_tenths(100.0 * terms.discount_frac)} % real"
    ]
    if math.isfinite(life.sir):
        said.append(f"savings-to-investment ratio {float(life.sir):.1f}")
        paid = life.discounted_payback_years
        said.append(f"discounted payback {f'{paid:.0f} yr' if math.isfinite(paid) else NEVER}")
    else:
        said.append("no cost is given, so no ratio")
    window = worth.windows[0]
    assumed = ", a window that is an assumption" if results.project.terms.window_assumed else ""
    said.append(f"demand saved in {window.name.lower()} {_tenths(window.saving_kw)} kW{assumed}")
    lines = _wrapped("; ".join(said), "Money     ")
    own = worth.build_up
    if own.lines:
        marked = sum(line.mark != DEFAULT for line in own.lines)
        used = "used as the cost" if worth.cost_basis == BUILD_UP else "not used, since the cost is given"
        used = "not used, since cost.build_up is false" if worth.cost_basis == NONE else used
        text = (
            f"build-up {whole(own.total_usd['low'])} to {whole(own.total_usd['high'])} USD, "
            f"{whole(own.total_usd['expected'])} expected, {marked} of {len(own.lines)} lines the estimator's; {used}"
        )
        lines += _wrapped(text + (f"; without {own.lacks}" if own.lacks else ""), "  cost    ")
    if worth.incentive_bound_by:
        lines += _wrapped(
            f"{whole(worth.incentive_usd)} USD by rules, bound by {worth.incentive_bound_by}", "  paid    "
        )
    if results.project.terms.has_tariff:
        charged, cost = results.baseline.charges.year_usd, results.baseline.annual["cost_usd"]
        table = results.baseline.by_rate_period
        periods = f"{len(table)} rate periods" if table is not None else "one price of each energy"
        lines += _wrapped(
            f"{periods}; demand and tiers are {whole(charged)} of the {whole(cost)} USD of the baseline; cost-optimal "
            "sees the marginal price of energy of each period, without demand",
            "  tariff  ",
        )
    if results.bills:
        lines += _wrapped(reconciled_words(results.bills), "  bills   ")
    return lines


# Most lines about what to measure next.
_MOST_NEXT = 3
# Columns of the ranges: key of the percentiles, heading.
_RANGE_COLUMNS = (("cost_saving_usd", "Saving, USD a year"), ("payback_after_incentive_years", "Payback, yr"))


def _ranges(results) -> list[str]:
    """How sure the savings are: percentiles, probabilities, what to measure next, whether it may stand behind a
    claim."""
    ranges = results.ranges
    lines = [] if ranges is None else _range_table(results)
    if ranges is not None and ranges.measure_next:
        lines += ["", *_wrapped(f"by the spread of the saving of {ranges.about_id} that it would remove", "Measure   ")]
        for each in ranges.measure_next[:_MOST_NEXT]:
            text = f"{_ascii(each.label)}, {whole(100.0 * each.spread_removed_frac)} %: {_ascii(each.what)}"
            lines += _wrapped(text, "  next    ")
    return lines if ranges is None else lines + _claim(results)


def _claim(results) -> list[str]:
    """That a result may not stand behind a programme claim, and why."""
    from binestimator.ranges.claim import claim_of

    claim = claim_of(results)
    if claim.option_id is None or claim.fit:
        return []
    return _wrapped(
        f"not fit for a programme claim: the saving of {claim.option_id} rests on defaults for {claim.words}",
        "Claim     ",
    )


def _range_width(key: str) -> int:
    """Columns of a percentile."""
    return 9 if key == "cost_saving_usd" else 7


def _range_table(results) -> list[str]:
    from binestimator.ranges.results import sensible

    ranges = results.ranges
    others = [option for option in ranges.options if option.id != results.baseline_id]
    groups = list(_RANGE_COLUMNS)
    while True:
        first = max(len("Option"), *(len(option.id) + 2 for option in ranges.options)) + 2
        width = first + sum(3 * _range_width(key) for key, _ in groups) + 16
        if width <= _width.get() or len(groups) == 1:
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
            text = whole if key == "cost_saving_usd" else _tenths
            line += "".join(
                ("" if option not in others else found.missing if value is None else text(value)).rjust(size)
                for value in values
            )
        line += _probability(option.probability_best).rjust(8)
        line += ("" if option not in others else _probability(option.probability_pays_back)).rjust(8)
        rows.append(line.rstrip())
    limit = results.project.prices.payback_limit_years
    introduction = _wrapped(
        f"{ranges.label}; 8 of 10 draws lie between P10 and P90. Best: probability of the least energy cost at equal "
        f"service. Pays back: within the owner's limit of {limit:g} yr, after the incentive",
        "Ranges    ",
    )
    return [*introduction, "", heads.rstrip(), units.rstrip(), "-" * len(heads), *rows]


def _probability(value: float | None) -> str:
    """A probability in whole per cent; what is neither never nor always does not read as if it were."""
    if value is None:
        return "-"
    percent = 100.0 * value
    return "<1" if 0.0 < percent < 0.5 else ">99" if 99.5 <= percent < 100.0 else whole(percent)


def _advice(results) -> list[str]:
    """Best value and the steps to it, parts of combined options, options that coincide, drivers of the saving."""
    advice = results.advice
    if advice is None:
        return []
    value, lines = advice.value, []
    if value.best_id is not None:
        lines += _wrapped(
            f"{value.best_id}: the last step whose added cost pays back within the owner's limit of "
            f"{value.limit_years:g} yr",
            "Value     ",
        )
    for step in value.path:
        lines += _wrapped(
            f"{step.id}: {whole(step.net_cost_usd)} USD after incentive saves {whole(step.saving_usd)} a year; what "
            "it adds pays back in "
            f"{step.added_payback_years:.1f} yr" + ("" if step.pays else ", beyond the limit"),
            "  step    ",
        )
    if value.note:
        lines += _wrapped(value.note, "  note    " if value.path else "Value     ")
    for part in advice.parts:
        amounts = (("repair", part.repair_usd), ("companion", part.companion_usd), ("reset", part.reset_usd))
        said = ", ".join(f"{word} {whole(usd)}" for word, usd in amounts if round(usd)) or "nothing"
        lines += _wrapped(f"{part.id}: {said} USD a year, each added to the one before", "Parts     ")
    for remedy in advice.remedies:
        if remedy.serves:
            lines += _wrapped(
                f"{remedy.candidate_id}: {_ascii(remedy.text)}; it would then save {whole(remedy.saving_usd)} USD a "
                f"year, for {whole(remedy.cost_usd)} USD more",
                "Remedy    ",
            )
    lines += _pinned(results)
    for same in advice.coincidences:
        lines += _wrapped(f"{', '.join(same.ids)}: {same.why}", "Same      ")
    return lines + _drivers(results)


def _drivers(results) -> list[str]:
    """What the saving depends on."""
    drivers, lines = drivers_of(results), list[str]()
    if drivers.shown:
        c = results[drivers.option_id]
        lines += _wrapped(
            f"saving of {c.id}, {_tenths(100 * _share(c.saving['cost_usd'], results.baseline.annual['cost_usd']))} %, "
            f"{drivers.how}",
            "Drivers   ",
        )
        for d in drivers.shown:
            lines += _wrapped(
                f"{_ascii(d.label)}, {_ascii(d.low)} to {_ascii(d.high)}: {_tenths(d.saving_low_pct)} to "
                f"{_tenths(d.saving_high_pct)} %",
                "  ",
            )
    return lines


def _pinned(results) -> list[str]:
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
            lines += _wrapped(f"{', '.join(named)}: {_held_up(results, results[id_], zones)}", "Pinned    ")
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
        lines += _wrapped(f"{id_}: {'; '.join(said)}", "  ", "    ")
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


def _reading(results) -> list[str]:
    text = (
        "Savings are baseline minus option; a minus sign means more is spent. Energies and costs are from the bin "
        "rows, the service of the rooms is from the hour-by-hour run, as a rise over the baseline."
    )
    hidden = [c for c in results.candidates if c.candidate.cost_usd <= 0.0]
    if len(hidden) == len(results.candidates):
        text += " No implementation cost is given, so no payback."
    else:
        text += " A dash: never pays back."
    lines = _wrapped(text, "Reading   ")
    part = saves_by_ventilation(results.candidates, results.baseline)
    if part:
        said = ", ".join(
            f"{c.id} {whole(c.saving_at_equal_oa['cost_usd'])} for {whole(c.saving['cost_usd'])}"
            for c in results.candidates
            if c.id in part
        )
        lines += _wrapped(
            f"saving with as much outdoor air as the baseline gives at its minimum, USD a year: {said}", "Equal OA  "
        )
    for kind, words in (
        ("repair", "with a repair, whose part of the saving is not due to a reset"),
        ("companion", "with a companion measure, whose part of the saving is not due to a reset"),
    ):
        mixed = [c.id for c in results.candidates if c.kind == kind]
        if mixed:
            lines += _wrapped(f"{', '.join(mixed)}: {words}", kind.capitalize().ljust(10))
    lines += _reached(results)
    if results.interactions:
        i = max(results.interactions, key=lambda item: item.both_usd)
        left = round(i.interaction_usd)
        sense = f"{whole(abs(left))} {'less' if left < 0 else 'more'} than the sum" if left else "just the sum"
        lines += _wrapped(
            f"{i.sat_id} alone saves {whole(i.sat_usd)} USD, {i.dsp_id} alone {whole(i.dsp_usd)}, both together "
            f"{whole(i.both_usd)}: {sense}",
            "Together  ",
        )
    return lines


def _reached(results) -> list[str]:
    """What setpoints alone allow here, and the share of it that each option reaches."""
    said = []
    for c in results.candidates:
        share, run = results.share_of_bound(c.id), results.share_of_bound_as_run(c.id)
        if share is not None and c.id != results.baseline_id:
            said.append(f"{c.id} {whole(100.0 * share)} %" + ("" if run is None else f" ({whole(100.0 * run)} as run)"))
    if not said:
        return []
    possible = results.baseline.annual["cost_usd"] - results.bound["cost_usd"]
    text = f"reached of the {whole(possible)} USD a year that setpoints allow here at equal service: {', '.join(said)}"
    if results.bound_service.flagged:
        text += f"; perfect resets would themselves serve worse ({'; '.join(results.bound_service.reasons)})"
    return _wrapped(text, "Bound     ")


def _cautions(results) -> list[str]:
    counts = {status: sum(k.status == status for k in results.checks) for status in ("pass", "explain", "fail")}
    lines = _wrapped(
        f"{counts['pass']} pass, {counts['explain']} need{'s' if counts['explain'] == 1 else ''} an explanation, "
        f"{counts['fail']} fail",
        "Checks    ",
    )
    for check in results.checks:
        if check.status == "fail":
            lines += _wrapped(f"{check.name}: {check.value}; expected {_ascii(check.expected)}", "  failed  ")
    # Which candidates are not equal in service, and what the baseline fails in, has been printed above.
    cautions = [
        f
        for f in results.findings
        if f.level == "caution" and f.where not in ("summary", "baseline", "equal outdoor air")
    ]
    for finding in cautions:
        lines += _wrapped(finding.text, "Caution   ")
    return lines + _wrapped(
        "An estimate, not a design: ventilation, humidity and pressure relationships must stay within local codes; "
        "have changes designed and checked by licensed practitioners.",
        "Caution   ",
    )


# --- bins ---------------------------------------------------------------------------------

_BIN_COLUMNS = (
    ("range", "Outdoor", "degF"),
    ("hours", "Hours", "h/yr"),
    ("hours_occupied", "Occupied", "h/yr"),
    ("hours_unoccupied_running", "Unocc. on", "h/yr"),
    ("hours_off", "Off", "h/yr"),
    ("mean_oat_f", "Mean db", "degF"),
    ("mcwb_f", "MC wb", "degF"),
    ("mcwb_occupied_f", "occupied", "degF"),
    ("mean_humidity_ratio", "Mean W", "lb/lb"),
    ("mean_humidity_ratio_occupied", "occupied", "lb/lb"),
)


def bins(table, weather, schedule: str, total_hours: float, width: int = WIDTH) -> str:
    """Bin-hour table as text.

    Parameters
    ----------
    table : DataFrame
        From ``bins.bin_table`` with ``mcwb_occupied_f`` and ``mean_humidity_ratio_occupied``.
    weather : Weather
    schedule : str
        Schedule in words.
    total_hours : float
        Hours of the file.
    width : int
        As for :func:`comparison`.
    """
    with _columns(width):
        return _bins(table, weather, schedule, total_hours)


def _bins(table, weather, schedule: str, total_hours: float) -> str:
    shown = [
        c for c in _BIN_COLUMNS if c[0] in table.columns and (c[0] != "hours_unoccupied_running" or table[c[0]].any())
    ]
    cells = {key: [_bin_cell(key, value) for value in table[key]] for key, _, _ in shown}
    totals = {key: _bin_cell(key, table[key].sum()) if key.startswith("hours") else "" for key, _, _ in shown}
    totals["range"] = "Total"
    widths = [max(len(head), len(unit), len(totals[key]), *map(len, cells[key])) + 2 for key, head, unit in shown]
    line = lambda values: "".join(v.rjust(w) for v, w in zip(values, widths, strict=True))
    lines = [
        *_wrapped(
            f"{weather.name or 'station'} ({_file_of(weather)}), {_position(weather)}, "
            f"{weather.elevation_ft:,.0f} ft, {weather.pressure_psia:.2f} psia",
            "Weather   ",
        ),
        *_wrapped(schedule, "Schedule  "),
        *(
            text
            for finding in weather.findings
            if finding.level == "caution"
            for text in _wrapped(finding.text, "Caution   ")
        ),
        "",
        line([head for _, head, _ in shown]),
        line([unit for _, _, unit in shown]),
        "-" * sum(widths),
    ]
    lines += [line([cells[key][k] for key, _, _ in shown]) for k in range(len(table))]
    lines += ["-" * sum(widths), line([totals[key] for key, _, _ in shown]), ""]
    missing = total_hours - float(table["hours"].sum())
    agree = "all of them" if abs(missing) < 1e-6 else f"{missing:,.1f} h missing"
    lines += _wrapped(
        "Bins are left-closed: a bin from 60 holds 60.0 up to, not with, its upper end. Hours total "
        f"{table['hours'].sum():,.0f} of "
        f"{total_hours:,.0f} h of the file, {agree}. MC wb: mean coincident wet bulb; W: humidity ratio."
    )
    return "\n".join(line.rstrip() for line in lines)


def _file_of(weather) -> str:
    """Format and name of the weather file, and where it was found if not beside the project."""
    return f"{weather.format}, {weather.file_name}" + (f" from {weather.found}" if weather.found else "")


def _position(weather) -> str:
    north, east = weather.latitude_deg, weather.longitude_deg
    return f"{abs(north):.2f} {'N' if north >= 0 else 'S'} {abs(east):.2f} {'E' if east >= 0 else 'W'}"


def _bin_cell(key: str, value) -> str:
    if key == "range":
        return str(value)
    number = float(value)
    if math.isnan(number):
        return "-"
    if key.startswith("hours"):
        return f"{number:,.0f}"
    return f"{number:.5f}" if "humidity" in key else f"{number:.1f}"
