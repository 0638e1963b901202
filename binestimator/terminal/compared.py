"""The comparison as text: heading, table, marks, how to read it."""

from __future__ import annotations

from binestimator.end_uses import END_USES
from binestimator.findings import baseline_failures, saves_by_ventilation
from binestimator.inputs.schema import value_text
from binestimator.results import AS_RUN, CHANGED_SERVICE
from binestimator.strategies.registry import sat_strategy

from .line import (
    BEST,
    CHANGED,
    FLAGGED,
    NO_CURE,
    WIDTH,
    columns_now,
    file_of,
    in_currency,
    made_for,
    mark_of,
    plain_ascii,
    share_of,
    tenths,
    whole,
    wrapped,
    years_text,
)
from .steps import as_run_lines, indicator_lines
from .worth import advice_lines, claim_lines, driver_lines, money_lines, range_lines

# End uses of the comparison: annual key, two lines of heading. Left out where no candidate has any;
# the last ones go first when the table would be too wide.
_END_USES = tuple((use.key, use.heading, use.unit) for use in sorted(END_USES, key=lambda use: use.keeps))


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
    with made_for(width):
        blocks = [
            _first(results),
            _heading(results),
            _table(results),
            _marks(results),
            as_run_lines(results),
            indicator_lines(results),
            money_lines(results),
            range_lines(results),
            advice_lines(results),
            _reading(results),
            _cautions(results),
        ]
    return in_currency(results, blocks)


def quick_check(results, width: int = WIDTH) -> str:
    """What a quick check found: how much the options save, how sure that is, what to measure next.

    Parameters
    ----------
    results : Results
    width : int
        As for :func:`comparison`.
    """
    with made_for(width):
        blocks = [
            _first(results),
            _quick_heading(results),
            [] if results.ranges is not None else _table(results),
            range_lines(results),
            _marks(results),
            [] if results.ranges is not None else [*driver_lines(results), *claim_lines(results)],
            wrapped(
                "An estimate from few facts, not a design: ventilation, humidity and pressure relationships must stay "
                "within local codes; have changes designed and checked by licensed practitioners.",
                "Caution   ",
            ),
        ]
    return in_currency(results, blocks)


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
    with made_for(width):
        return _reviewed(results, review)


def _reviewed(results, review) -> str:
    lines = review.lines(results)
    second = review.results
    heads = [("Claimed", "USD"), ("Reviewed", "USD"), ("Ratio", "%"), ("Rank", "claimed"), ("Rank", "reviewed")]
    stepped = any(line.reviewed_as_run_usd is not None for line in lines)
    if stepped:
        heads += [("As run", "claimed"), ("As run", "reviewed")]
    usd = lambda value: "-" if value is None else whole(value)
    rank = lambda c: "-" if c.rank is None else str(c.rank)
    cells = [
        (
            line.id,
            whole(line.claimed_usd),
            whole(line.reviewed_usd),
            "-" if line.ratio is None else tenths(100 * line.ratio),
            rank(results[line.id]),
            rank(second[line.id]),
            *((usd(line.claimed_as_run_usd), usd(line.reviewed_as_run_usd)) if stepped else ()),
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
    head = wrapped(
        f"a second run with {count} override{'' if count == 1 else 's'} of a reviewer; the claim above stays as it is",
        "Reviewed  ",
    )
    overrides = [
        line
        for path, value in review.overrides.items()
        for line in wrapped(f"{path} = {value_text(value)}", "  ", "    ")
    ]
    return "\n".join([*head, "", *text, "", *_first(second), *_marks(second), "", "Overrides", *overrides])


def _heading(results) -> list[str]:
    base, choice = results.baseline, results.selection
    hours, residual = base.annual["hours"], choice.worst_residual_frac
    return [
        *wrapped(results.project.info.name),
        *wrapped(f"{base.id} ({base.name}), the option all others are compared with", "Baseline  "),
        *(
            wrapped(
                "options are judged and ranked as run at time steps; energy and cost in the table below are those of "
                "the bins, with rooms at rest",
                "Ranked    ",
            )
            if results.ranked_by == AS_RUN
            else []
        ),
        *_weather_line(results),
        *wrapped(
            f"{len(results.row_table)} rows represent {whole(hours)} h ({results.row_method}); energy cost within "
            f"{100 * choice.worst_cost_frac:.2f} % of the hour-by-hour run, savings within "
            f"{choice.worst_saving_points:.2f} points"
            + ("" if residual is None else f"; residual of the choice {100 * residual:.1g} %"),
            "Rows      ",
        ),
    ]


def _weather_line(results) -> list[str]:
    weather, hours = results.weather, results.baseline.annual["hours"]
    place = f"{weather.name or 'station'} ({file_of(weather)})"
    mean_f = float(weather.frame["oat_f"].mean())
    said = f"{place}, {whole(hours)} h, mean {mean_f:.1f} degF, {weather.pressure_psia:.2f} psia"
    return wrapped(said, "Weather   ")


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
        *wrapped(f"{project.info.name}, a quick check"),
        *_weather_line(results),
        *wrapped("; ".join(said), "Today     "),
        *wrapped(
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
            lines += wrapped(
                f"a check that must not fail has failed, so nothing is ranked: {check.name}, {check.value}; expected "
                f"{plain_ascii(check.expected)}",
                "FAIL      ",
            )
    found = results.baseline_service
    for word, said, do in baseline_failures(found):
        lines += wrapped(
            f"the baseline fails in {word.replace('_', ' ')}: {said}; {do}",
            "Known     " if word in found.confirmed else "FAILS     ",
        )
    if found.open:
        lines += wrapped("until then only options that cure it may be best", "          ")
    return lines


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
                "" if c is base else tenths(100 * share_of(c.saving["cost_usd"], base.annual["cost_usd"]))
                for c in candidates
            ],
        ),
    ]
    if with_cost:
        money.append(("Payback", "yr", [years_text(c.candidate.cost_usd, c.payback_years) for c in candidates]))
    if with_incentive:
        money.append(
            ("w. inc.", "yr", [years_text(c.candidate.cost_usd, c.payback_after_incentive_years) for c in candidates])
        )
    while True:
        columns = [(head, unit, [whole(c.annual[key]) for c in candidates]) for key, head, unit in uses] + money
        lines = _lines(results, columns)
        if len(lines[2]) <= columns_now.get():
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
    lines = wrapped(said, f"{BEST} best  ", "    ")
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
            lines += wrapped(words, f"{mark} ")
        for c in mine:
            lines += wrapped("; ".join(c.equal_service.reasons), f"    {c.id}: ", "        ")
    if any(mark_of(results, c) == NO_CURE for c in results.candidates):
        lines.append(
            f"{NO_CURE} does not cure what the baseline fails in: not ranked" if cured else f"{NO_CURE} not ranked"
        )
    return lines


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
    lines = wrapped(text, "Reading   ")
    part = saves_by_ventilation(results.candidates, results.baseline)
    if part:
        said = ", ".join(
            f"{c.id} {whole(c.saving_at_equal_oa['cost_usd'])} for {whole(c.saving['cost_usd'])}"
            for c in results.candidates
            if c.id in part
        )
        lines += wrapped(
            f"saving with as much outdoor air as the baseline gives at its minimum, USD a year: {said}", "Equal OA  "
        )
    for kind, words in (
        ("repair", "with a repair, whose part of the saving is not due to a reset"),
        ("companion", "with a companion measure, whose part of the saving is not due to a reset"),
    ):
        mixed = [c.id for c in results.candidates if c.kind == kind]
        if mixed:
            lines += wrapped(f"{', '.join(mixed)}: {words}", kind.capitalize().ljust(10))
    lines += _reached(results)
    if results.interactions:
        i = max(results.interactions, key=lambda item: item.both_usd)
        left = round(i.interaction_usd)
        sense = f"{whole(abs(left))} {'less' if left < 0 else 'more'} than the sum" if left else "just the sum"
        lines += wrapped(
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
    return wrapped(text, "Bound     ")


def _cautions(results) -> list[str]:
    counts = {status: sum(k.status == status for k in results.checks) for status in ("pass", "explain", "fail")}
    lines = wrapped(
        f"{counts['pass']} pass, {counts['explain']} need{'s' if counts['explain'] == 1 else ''} an explanation, "
        f"{counts['fail']} fail",
        "Checks    ",
    )
    for check in results.checks:
        if check.status == "fail":
            lines += wrapped(f"{check.name}: {check.value}; expected {plain_ascii(check.expected)}", "  failed  ")
    # Which candidates are not equal in service, and what the baseline fails in, has been printed above.
    cautions = [
        f
        for f in results.findings
        if f.level == "caution" and f.where not in ("summary", "baseline", "equal outdoor air")
    ]
    for finding in cautions:
        lines += wrapped(finding.text, "Caution   ")
    return lines + wrapped(
        "An estimate, not a design: ventilation, humidity and pressure relationships must stay within local codes; "
        "have changes designed and checked by licensed practitioners.",
        "Caution   ",
    )
