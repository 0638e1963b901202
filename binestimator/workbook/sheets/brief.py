"""Pages to print and send: the options in figures, the inputs that matter, the checks and benchmarks in brief.

Each is as wide as a page in landscape at full size, so that nothing is shrunk.
"""

from __future__ import annotations

import re
from dataclasses import replace

from ...benchmarks import benchmarks
from ...inputs.schema import SINGLE_SECTIONS, fields_of, title_of
from ...ranges.drivers import drivers_of
from ...results import ANNUAL, CHANGED_SERVICE, COUNT_KEYS
from ..charts import FULL_SIZE_PIXELS, FULL_SIZE_POINTS, pixels_of, room
from ..figures import (
    bound_text,
    check_counts,
    driver_lines,
    number_of,
    percent,
    plain_words,
    used_end_uses,
    with_numbers,
)
from ..layout import CHECKS
from ..page import Work, height_of, lines_of, title, unit_text
from ..strict import CHARACTER_PIXELS, PADDING_PIXELS, Sheet
from .checks import STATUS
from .inputs import number_style, number_text, value_cell

# ---------------------------------------------------------------- options

_FIGURE_WIDTH = 22.5
# Up to so many options have their names above their columns; more of them have numbers there and share a line of names.
_MOST_NAMED = 8
# Options side by side at most; with more of them the table goes on below the page, the baseline first again.
MOST_SIDE_BY_SIDE = 14
_WIDEST = 16.0
# A comma takes less room than a digit, and a figure needs some room beside it. [characters]
_COMMA, _AIR = 0.5, 0.1


def _blocks(results) -> list[list[int]]:
    """Positions of the options of each table, the baseline first in each; where there are several tables, the options
    with the best ranks are in the first."""
    base = number_of(results, results.baseline_id) - 1
    others = [k for k in range(len(results.candidates)) if k != base]
    size = _side_by_side(results) - 1
    if len(others) > size:
        rank = lambda k: results.candidates[k].rank or len(others) + 1
        first = sorted(sorted(others, key=rank)[:size])
        others = first + [k for k in others if k not in first]
    return [[base, *others[k : k + size]] for k in range(0, max(len(others), 1), size)]


def _side_by_side(results) -> int:
    """Options that fit side by side at full size with their longest figure."""
    figures = (f"{c.annual[key]:,.0f}" for c in results.candidates for key in _energy_keys(results))
    longest = max(len(figure) - (1.0 - _COMMA) * figure.count(",") for figure in figures)
    return max(min(int(_room() / pixels_of(longest + _AIR)), MOST_SIDE_BY_SIDE), _MOST_NAMED)


def _room() -> int:
    """Width of the page beside the names of figures. [pixels]"""
    return FULL_SIZE_PIXELS - pixels_of(_FIGURE_WIDTH)


def write_options(work: Work, sheet: Sheet) -> None:
    """Write the sheet of annual figures of every option, energies from the bin rows, counts hour by hour."""
    s, results = work.styles, work.results
    blocks = _blocks(results)
    most = max(map(len, blocks))
    width = min((_room() / most - PADDING_PIXELS) / CHARACTER_PIXELS, _WIDEST)
    widths = [_FIGURE_WIDTH, *[width] * most]
    sheet.widths(widths)
    title(
        work,
        sheet,
        "Options in figures",
        "A year: energy and cost from the bin rows, hours counted from the hour-by-hour run",
    )
    row = 2
    if most > _MOST_NAMED:
        names = "  ·  ".join(f"{k} {c.name}" for k, c in enumerate(results.candidates, 1))
        row = _wide(sheet, s, row, names, widths)
    else:
        sheet.height(row, _GAP_POINTS)
        row += 1
    row = _options(work, sheet, row, blocks[0], width, named=most <= _MOST_NAMED)
    notes = ["Saved: baseline less option; a minus sign means spent more.", bound_text(results)]
    if blocks[1:]:
        below = ", ".join(str(k + 1) for k in sorted({k for block in blocks[1:] for k in block} - {*blocks[0]}))
        notes.append(f"Option{'s' if ',' in below else ''} {below}: in the same way below, not on paper.")
    for note in notes:
        row = _wide(sheet, s, row, note, widths)
    # A page for whoever decides; the rest is in the file.
    sheet.on_paper(footer=work.footer, last_row=row - 1, last_column=most)
    for block in blocks[1:]:
        row = _options(work, sheet, row + 1, block, width, named=most <= _MOST_NAMED)


def _energy_keys(results) -> list[str]:
    """Annual figures of energy that some option has."""
    uses = [key for key, *_ in used_end_uses(results)]
    others = [
        key
        for key in ("electricity_kwh", "reheat_kbtu", "preheat_kbtu")
        if any(c.annual[key] for c in results.candidates)
    ]
    return list(dict.fromkeys([*uses, *others]))


def _options(work: Work, sheet: Sheet, row: int, block: list[int], width: float, *, named: bool) -> int:
    """One table of options side by side, named or numbered; returns the row after it."""
    s, results = work.styles, work.results
    chosen = [results.candidates[k] for k in block]
    base = results.baseline
    last = len(chosen)
    known = {key: (label, unit) for key, label, unit, _ in ANNUAL}
    heads = [f"{k + 1} {c.name}" if named else str(k + 1) for k, c in zip(block, chosen)]
    sheet.height(row, height_of(max(lines_of(text, width - 1.0, bold=True) for text in heads)))
    sheet.ignore_text_numbers(row, 1, row, last)
    sheet.text(row, 0, "Figure" if named else "Option", s("head_left"))
    sheet.cells(row, 1, heads, s("head"))
    row += 1

    def section(text: str) -> None:
        nonlocal row
        sheet.height(row, 16)
        for place in range(last + 1):
            sheet.text(row, place, text if place == 0 else "", s("section"))
        row += 1

    def line(label: str, unit: str, values, style: str) -> None:
        nonlocal row
        # Counts of hours have their unit in their names.
        sheet.text(row, 0, f"{label}, {unit_text(unit)}" if unit and "hours" not in label else label, s("line"))
        for place, (value, c) in enumerate(zip(values, chosen), 1):
            tint = ("base",) if c.id == base.id else ("best", *(() if named else ("plain",))) if c.rank == 1 else ()
            look = ("text", "right") if isinstance(value, str) else (style, "right")
            sheet.cell(row, place, value, s(*look, "line", *tint))
        sheet.height(row, 12.75)
        row += 1

    line("Standing", "", [_standing(results, c) for c in chosen], "text")
    section("Energy and cost of a year")
    for key in _energy_keys(results):
        line(*known[key], [c.annual[key] for c in chosen], "f0")
    line("Energy cost", "USD", [c.annual["cost_usd"] for c in chosen], "f0")
    line("Peak electricity", "kW", [c.peak_kw for c in chosen], "f1")
    section("Saved against the baseline")
    line("Energy cost", "USD", [c.saving["cost_usd"] for c in chosen], "signed")
    if base.annual["cost_usd"]:
        line("Energy cost", "share", [c.saving["cost_usd"] / base.annual["cost_usd"] for c in chosen], "signed_pct")
    line("At equal outdoor air", "USD", [c.saving_at_equal_oa["cost_usd"] for c in chosen], "signed")
    shares = [results.share_of_bound(c.id) for c in chosen]
    line("Share of perfect resets", "", ["–" if share is None else percent(share) for share in shares], "text")
    section("To get there")
    line("Cost to carry out", "USD", [c.candidate.cost_usd for c in chosen], "f0")
    line("Incentive", "USD", [c.candidate.incentive_usd for c in chosen], "f0")
    for label, paid in (
        ("Pays back in", lambda c: c.payback_years),
        ("After the incentive", lambda c: c.payback_after_incentive_years),
    ):
        values = ["–" if paid(c) is None or c.candidate.cost_usd <= 0.0 else paid(c) for c in chosen]
        line(label, "years", values, "years")
    counts = [key for key in _SERVICE_COUNTS if any(c.hourly[key] for c in results.candidates)]
    if counts:
        section("Service of the rooms")
    for key in counts:
        line(*known[key], [c.hourly[key] for c in chosen], "f0")
    return row


# Counts about people in rooms and about coils; those about controls are on the working sheet.
_SERVICE_COUNTS = tuple(
    key
    for key in COUNT_KEYS
    if key
    in (
        "unmet_zone_hours",
        "cold_zone_hours",
        "starved_zone_hours",
        "ventilation_short_hours",
        "oa_short_hours",
        "humid_hours",
        "capacity_hours",
        "freeze_hours",
        "low_flow_hours",
    )
)


def _standing(results, c) -> str:
    if c.id == results.baseline_id:
        return "baseline"
    if c.kind == CHANGED_SERVICE:
        return "▲ changed"
    if c.rank is None:
        return "▲ worse" if c.equal_service.flagged else "▲ none"
    return "★ BEST" if c.rank == 1 else f"rank {c.rank}"


# ---------------------------------------------------------------- inputs


def _filled(*widths: float) -> tuple[float, ...]:
    """Widths of columns, with one more that fills the page at full size. [characters]"""
    left = FULL_SIZE_PIXELS - sum(map(pixels_of, widths)) - PADDING_PIXELS
    return (*widths, left / CHARACTER_PIXELS)


_INPUT_WIDTHS = _filled(31.0, 25.0, 13.0)


def write_inputs(work: Work, sheet: Sheet) -> None:
    """Write the sheet of the inputs that matter: what moves the saving most, and what was given for
    the air handler and its plant."""
    s, results = work.styles, work.results
    project = results.project
    sheet.widths(_INPUT_WIDTHS)
    title(
        work,
        sheet,
        "Inputs that matter",
        "What moves the saving most, and what was given for the air handler, its plant and the building",
    )
    row = _drivers(work, sheet, 3)
    row = _section(sheet, s, row, "Given by the project", len(_INPUT_WIDTHS))
    rows = {line[0]: line for line in project.effective_rows()}
    known_rows, others, single = [], [], []
    for section in SINGLE_SECTIONS:
        given = [line for path, line in rows.items() if path.split(".")[0] == section and line[6] == "given"]
        if section == "project":
            continue
        plain = []
        for path, label, value, unit, *_, evidence in given:
            shown = value_cell(value)
            if fields_of(section)[path.split(".")[1]].type in ("choice", "choice_list"):
                shown = str(shown).replace("_", " ")
            known = "; ".join(text for text in (project.status_of(path), evidence) if text)
            if known:
                known_rows.append((label, shown, unit_text(unit), known))
            else:
                text = shown if isinstance(shown, str) else number_text(shown)
                plain.append(f"{label}: {text}" + (f" {unit_text(unit)}" if unit else ""))
        if len(plain) == 1:
            single += plain
        elif plain:
            others.append((title_of(section), "  ·  ".join(plain)))
    if known_rows:
        row = _heads(sheet, s, row, ("Input", "Value", "Unit", "How it is known"))
        for line in known_rows:
            row = _input(sheet, s, row, *line)
    if others or single:
        if single:
            others.append(("Other sections", "  ·  ".join(single)))
        lines = [f"{heading}  –  {said}" for heading, said in others]
        row = _wide(sheet, s, row, "\n".join(["Given without a word on how it is known:", *lines]), _INPUT_WIDTHS)
    row = _counts_of_inputs(work, sheet, row, rows)
    sheet.on_paper(
        footer=work.footer,
        last_row=row - 1,
        last_column=len(_INPUT_WIDTHS) - 1,
    )


def _drivers(work: Work, sheet: Sheet, row: int) -> int:
    s, results = work.styles, work.results
    drivers, project = drivers_of(results), results.project
    if not drivers.shown:
        return row
    lines = driver_lines(results)
    row = _section(sheet, s, row, "What the saving depends on", len(_INPUT_WIDTHS))
    row = _wide(sheet, s, row, lines[0], _INPUT_WIDTHS)
    row = _heads(sheet, s, row, ("Assumption", "Tried from, to", "Saving then", "How it is known; source of the range"))
    for d in drivers.shown:
        low, high = (str(end).replace("x ", "× ").replace("degF", "°F") for end in (d.low, d.high))
        status = next((project.status_of(path) for path in d.paths if path in project.origins), "")
        known = "; ".join(text for text in (status or "assumed", d.source) if text)
        saved = f"{d.saving_low_pct:.0f} to {d.saving_high_pct:.0f} %"
        row = _input(sheet, s, row, d.label, f"{low} to {high}", saved, known)
    return row + 1


def _counts_of_inputs(work: Work, sheet: Sheet, row: int, rows: dict) -> int:
    """How many inputs were given and how many are defaults, where they are too many to list."""
    s, project = work.styles, work.results.project
    said = []
    for kind, words, count in (
        ("group", "profile groups", len(project.groups)),
        ("special", "special zones", len(project.specials)),
        ("zone", "zone lines", len(project.zones)),
        ("candidate", "options", len(project.candidates)),
    ):
        of_kind = [line[6] for path, line in rows.items() if path.startswith(f"{kind}[")]
        if count:
            given = sum(origin == "given" for origin in of_kind)
            said.append(f"{count} {words} with {given:,} of {len(of_kind):,} inputs given")
    origins = project.estimate_origins
    text = (
        f"{'; '.join(said)}. Of the whole project {sum(o == 'given' for o in origins):,} of {len(origins):,} inputs "
        "were given; the others are defaults or follow from what was given. The working file lists them all with "
        "their sources."
    )
    return _wide(sheet, s, row, text, _INPUT_WIDTHS)


def _input(sheet: Sheet, s, row: int, label: str, value, beside: str, known: str) -> int:
    """A line of the page: ``beside`` is a unit, or a saving."""
    number = isinstance(value, float)
    sheet.text(row, 0, label, s("line", "wrap", "middle"))
    look = (number_style(value), "left") if number else ("wrap", "middle", "as_text")
    sheet.cell(row, 1, value, s(*look, "line", "bold"))
    sheet.text(row, 2, beside, s("line", "wrap", "middle"))
    sheet.text(row, 3, known, s("line", "wrap", "middle", "quiet"))
    texts = (label, "" if number else value, beside, known)
    sheet.height(row, height_of(max(lines_of(t, w - 0.5) for t, w in zip(texts, _INPUT_WIDTHS))))
    return row + 1


# ---------------------------------------------------------------- checks

_CHECK_WIDTHS = _filled(27.0, 9.0, 12.5, 18.5)


def write_checks(work: Work, sheet: Sheet) -> None:
    """Write the sheet of checks, findings and benchmarks in brief."""
    s, results = work.styles, work.results
    counts = check_counts(results)
    sheet.widths(_CHECK_WIDTHS)
    title(
        work,
        sheet,
        "Checks in brief",
        f"{counts['pass']} pass, {counts['explain']} to explain, {counts['fail']} fail; all of them are on "
        f"“{CHECKS}” of the working file",
    )
    row, found = 3, _condensed(results)
    # Figures outside what is usual are in the table of benchmarks, with the same words.
    usual = {b.label for b in benchmarks(results.runs[results.baseline_id].unit, results.baseline.annual)}
    look = [check for check in found if check.status != "pass" and check.name not in usual]
    if look:
        row = _section(sheet, s, row, "Checks that need a look", len(_CHECK_WIDTHS))
        row = _heads(sheet, s, row, ("Check", "Status", "Found", "Expected", "What it says"))
    for check in look:
        word, style = STATUS[check.status]
        texts = (check.name, word, check.value, check.expected, check.text)
        for place, said in enumerate(texts):
            plain = ("line", "wrap", "middle", *(("bold",) if place == 0 else ()))
            sheet.text(row, place, said, s(style, "line") if place == 1 else s(*plain))
        lines = max(lines_of(t, w - 0.5, bold=k == 0) for k, (t, w) in enumerate(zip(texts, _CHECK_WIDTHS)))
        sheet.height(row, height_of(lines))
        row += 1
    row = _section(sheet, s, row + (1 if look else 0), "Checks that hold", len(_CHECK_WIDTHS))
    hold = [
        f"{check.name}: {check.value} ({'; '.join(text for text in (check.expected, check.text) if text)})"
        for check in found
        if check.status == "pass"
    ]
    row = _wide(sheet, s, row, "  ·  ".join(hold), _CHECK_WIDTHS)
    row = _benchmarks(work, sheet, row + 1)
    sheet.on_paper(footer=work.footer, last_row=row - 1, last_column=len(_CHECK_WIDTHS) - 1)


def _condensed(results) -> list:
    """Checks for readers: those that need a look one by one, those that hold for several options as one line."""
    ids = [c.id for c in results.candidates]
    plain = lambda text: plain_words(with_numbers(results, text, ids)).replace("ft2", "ft²")
    single = lambda k: replace(k, name=plain(k.name), value=plain(k.value), expected=plain(k.expected))
    found, said = [], set()
    for k in sorted(results.checks, key=lambda k: ("fail", "explain", "pass").index(k.status)):
        if k.status == "pass":
            continue
        # What is published of several options alike is said once.
        first, *rest = plain(k.text).split(". ", 1)
        text = f"As above. {rest[0]}" if rest and first in said else plain(k.text)
        said.add(first)
        found.append(replace(single(k), text=text))
    groups: dict[str, list] = {}
    for k in results.checks:
        if k.status == "pass":
            general = k.name
            for id_ in sorted(ids, key=len, reverse=True):
                general = re.sub(rf"(: | of ){re.escape(id_)}$", "", general)
            groups.setdefault(general, []).append(k)
    for general, members in groups.items():
        if len(members) == 1:
            found.append(replace(single(members[0]), text=""))
        else:
            expected = members[0].expected if len({k.expected for k in members}) == 1 else "as for each"
            text = f"{len(members)} of {len(ids)} options"
            found.append(replace(members[0], name=general, value="within bounds", expected=plain(expected), text=text))
    return found


def _benchmarks(work: Work, sheet: Sheet, row: int) -> int:
    """Figures of the baseline beside what is usual: a line for each, or where the page is too short for that, for those
    outside what is usual."""
    s, results = work.styles, work.results
    heading = "Benchmarks: the baseline beside orders of magnitude, to find mistakes in inputs"
    row = _section(sheet, s, row, heading, len(_CHECK_WIDTHS))
    found = benchmarks(results.runs[results.baseline_id].unit, results.baseline.annual)
    heads = 15.0
    room_left = FULL_SIZE_POINTS - sheet.points(0, row - 1) - heads
    lines = found if sum(map(_benchmark_points, found)) <= room_left else [b for b in found if b.remark]
    if lines:
        row = _heads(sheet, s, row, ("Figure", "", "Found", "Usual", "What to look at, and source of the range"))
    for b in lines:
        word, look = STATUS["explain" if b.remark else "pass"]
        usual, text = _benchmark_words(b)
        sheet.text(row, 0, b.label, s("line", "wrap", "middle"))
        sheet.text(row, 1, "outside" if b.remark else "within", s(look, "line"))
        sheet.number(row, 2, b.value, s(_benchmark_style(b), "line", "left", "bold"))
        sheet.text(row, 3, usual, s("line", "wrap", "middle"))
        sheet.text(row, 4, text, s("line", "wrap", "middle", *(() if b.remark else ("quiet",))))
        sheet.height(row, _benchmark_points(b))
        row += 1
    within = [f"{b.label} {_benchmark_text(b)} ({_benchmark_words(b)[0]})" for b in found if b not in lines]
    if within:
        row = _wide(sheet, s, row, f"Within what is usual: {'  ·  '.join(within)}.", _CHECK_WIDTHS)
    return row


def _benchmark_style(b) -> str:
    return number_style(b.value) if b.value < 100 else "f0"


def _benchmark_text(b) -> str:
    return f"{b.value:.3g}" if b.value < 100 else f"{b.value:,.0f}"


def _benchmark_words(b) -> tuple[str, str]:
    """What is usual of a benchmark, and what is said of it."""
    text = ". ".join(said[:1].upper() + said[1:] for said in (b.remark, b.source) if said)
    return f"{b.low:g} to {b.high:g} {unit_text(b.unit)}", text.replace("ft2", "ft²")


def _benchmark_points(b) -> float:
    """Height of the line of a benchmark. [points]"""
    usual, text = _benchmark_words(b)
    pairs = ((b.label, _CHECK_WIDTHS[0]), (usual, _CHECK_WIDTHS[3]), (text, _CHECK_WIDTHS[4]))
    return height_of(max(lines_of(said, width - 0.5) for said, width in pairs))


# ---------------------------------------------------------------- pieces


_GAP_POINTS = 6.0


def _section(sheet: Sheet, s, row: int, text: str, columns: int) -> int:
    # The row above is empty.
    sheet.height(row - 1, _GAP_POINTS)
    sheet.height(row, 20)
    for place in range(columns):
        sheet.text(row, place, text if place == 0 else "", s("section"))
    return row + 1


def _heads(sheet: Sheet, s, row: int, texts) -> int:
    sheet.cells(row, 0, texts, s("head_left"))
    return row + 1


def _wide(sheet: Sheet, s, row: int, text: str, widths) -> int:
    sheet.merged_text(row, 0, row, len(widths) - 1, text, s("quiet", "wrap"))
    sheet.height(row, height_of(lines_of(text, room(widths))))
    return row + 1
