"""All annual figures of all candidates in full."""

from __future__ import annotations

from ...findings import saves_by_ventilation
from ...results import ANNUAL, AS_RUN, CHANGED_SERVICE, COUNT_KEYS
from ..formats import money_words
from ..layout import annual_name
from ..page import Work, height_of, lines_of, title, unit_text
from ..strict import Sheet

_FIXED = (("Figure", 27), ("Unit", 11))
_LAST_WIDTH = 74
_WIDTH = 15.5
_DECIMALS = {"degF": "f2", "in. w.c.": "f3", "USD": "usd2"}


def _style(unit: str) -> str:
    return _DECIMALS.get(unit, "f1")


def write(work: Work, sheet: Sheet) -> None:
    """Write the sheet."""
    s, results = work.styles, work.results
    count = len(results.candidates)
    last = len(_FIXED) + count
    title(
        work,
        sheet,
        "Comparison",
        "Full figures. The summary rounds them; money is at the prices of the project.",
        link_column=last,
    )
    sheet.text(
        2,
        0,
        "Annual figures come from the bin rows. Counts, months and peaks come from the hour-by-hour run, because "
        "chosen rows keep "
        "energies, not counts.",
        s("subtitle"),
    )
    sheet.widths([*(w for _, w in _FIXED), *[_WIDTH] * count, _LAST_WIDTH])
    row = 4
    heads = _heads(work, sheet, row)
    row += 1
    row = _strategies(work, sheet, row)
    counts = set(COUNT_KEYS)
    energies = [line for line in ANNUAL if line[0] not in counts]
    row = _part(work, sheet, row, "A year, from the bin rows", energies, "annual", names=True)
    row = _saving(work, sheet, row)
    row = _money(work, sheet, row)
    row = _part(
        work,
        sheet,
        row,
        "Hours counted, from the hour-by-hour run",
        [line for line in ANNUAL if line[0] in counts],
        "hourly",
    )
    row = _part(work, sheet, row, "The same year hour by hour, as an audit of the bin rows", energies, "hourly")
    row = _part(
        work, sheet, row, "The classic bin method, one mean row a bin, to show what it misses", energies, "classic"
    )
    row = _interactions(work, sheet, row, last)
    sheet.freeze(heads + 1, len(_FIXED))
    sheet.on_paper(
        footer=work.footer,
        last_row=row,
        last_column=last,
        repeat_rows=(heads, heads),
        repeat_columns=(0, 1),
        pages_wide=1 + count // 13,
        letter=count <= 6,
    )


def _heads(work: Work, sheet: Sheet, row: int) -> int:
    s, results = work.styles, work.results
    texts = [f"{k} {c.name}" for k, c in enumerate(results.candidates, 1)]
    sheet.height(row, height_of(max(lines_of(t, _WIDTH, bold=True) for t in texts)))
    for place, (label, _) in enumerate(_FIXED):
        sheet.text(row, place, label, s("head_left"))
    for place, text in enumerate(texts, len(_FIXED)):
        sheet.text(row, place, text, s("head"))
    sheet.text(row, len(_FIXED) + len(texts), "What it contains", s("head_left"))
    return row


def _section(work: Work, sheet: Sheet, row: int, text: str) -> int:
    last = len(_FIXED) + len(work.results.candidates)
    sheet.height(row, 24)
    for place in range(last + 1):
        sheet.text(row, place, text if place == 0 else "", work.styles("section"))
    return row + 1


def _line(work: Work, sheet: Sheet, row: int, label: str, unit: str, values, style: str, text: str = "") -> int:
    s = work.styles
    sheet.text(row, 0, label, s("line"))
    sheet.text(row, 1, unit_text(unit), s("line", "small", "quiet"))
    for place, (value, candidate) in enumerate(zip(values, work.results.candidates), len(_FIXED)):
        pieces = ("base",) if candidate.id == work.results.baseline_id else ()
        sheet.cell(row, place, value, s(style, "line", "right", *pieces))
    sheet.text(row, len(_FIXED) + len(work.results.candidates), text, s("line", "small", "quiet", "inset"))
    return row + 1


def _strategies(work: Work, sheet: Sheet, row: int) -> int:
    results = work.results
    marks = []
    for c in results.candidates:
        words = ["baseline"] if c.id == results.baseline_id else []
        if c.kind == CHANGED_SERVICE:
            words.append("changes the service")
        basis = " as run" if results.ranked_by == AS_RUN else ""
        words.append("not ranked" if c.rank is None else f"rank {c.rank}{basis}")
        if c.rank == 1:
            words.append("BEST")
        marks.append(", ".join(words))
    row = _line(
        work,
        sheet,
        row,
        "Standing",
        "",
        marks,
        "small",
        "By energy cost, among those that serve as well as the baseline and cure what it fails in",
    )
    return row


def _part(work: Work, sheet: Sheet, row: int, label: str, lines, attribute: str, *, names: bool = False) -> int:
    row = _section(work, sheet, row, label)
    for key, name, unit, text in lines:
        values = [getattr(c, attribute)[key] for c in work.results.candidates]
        if names:
            for number, _ in enumerate(values, 1):
                work.book.define_name(annual_name(number, key), sheet.name, row, len(_FIXED) + number - 1)
        row = _line(work, sheet, row, name, unit, values, _style(unit), text)
    return row


def _saving(work: Work, sheet: Sheet, row: int) -> int:
    row = _section(
        work, sheet, row, "Saved against the baseline: baseline minus option; a minus sign means that more is spent"
    )
    known = {key: (name, unit) for key, name, unit, _ in ANNUAL}
    for key in work.results.baseline.saving:
        name, unit = known[key]
        style = "usd2_signed" if unit == "USD" else "signed"
        row = _line(work, sheet, row, name, unit, [c.saving[key] for c in work.results.candidates], style)
    base = work.results.baseline.annual["cost_usd"]
    shares = [c.saving["cost_usd"] / base if base else None for c in work.results.candidates]
    row = _line(work, sheet, row, "Energy cost, share saved", "of baseline", shares, "pct2_signed")
    row = _as_run(work, sheet, row)
    row = _reached(work, sheet, row)
    text = "Minimum outdoor air raised to what the baseline gives at its minimum, as far as required"
    row = _line(
        work,
        sheet,
        row,
        "Energy cost, at equal outdoor air",
        money_words("USD"),
        [c.saving_at_equal_oa["cost_usd"] for c in work.results.candidates],
        "usd2_signed",
        text,
    )
    if saves_by_ventilation(work.results.candidates, work.results.baseline):
        row = _section(work, sheet, row, "Saved at equal outdoor air: without the saving of air that is not given")
        for key in work.results.baseline.saving_at_equal_oa:
            name, unit = known[key]
            style = "usd2_signed" if unit == "USD" else "signed"
            row = _line(
                work, sheet, row, name, unit, [c.saving_at_equal_oa[key] for c in work.results.candidates], style
            )
    return row


def _as_run(work: Work, sheet: Sheet, row: int) -> int:
    """Savings at time steps beside the claim, and the claim corrected for the heat that rooms store."""
    results = work.results
    if results.as_run is None:
        return row
    runs = [results.as_run.get(c.id) for c in results.candidates]
    of = lambda number: [None if run is None else number(c.id) for c, run in zip(results.candidates, runs)]
    corrected = lambda id_: (results.as_run_points(id_)[0] + results.as_run_causes(id_)[0]) / 100.0
    for label, values, text in (
        (
            "The same, rooms with mass",
            of(corrected),
            "Hour by hour at rest, each room releasing the heat that it released as run: the claim corrected for mass",
        ),
        (
            "The same, as run",
            of(lambda id_: results.as_run_points(id_)[1] / 100.0),
            "At time steps with loops; where it differs by more than half a point the sheet of checks says why",
        ),
    ):
        row = _line(work, sheet, row, label, "of baseline", values, "pct2_signed", text)
    return _line(
        work,
        sheet,
        row,
        "Energy cost, as run",
        money_words("USD"),
        [None if run is None else run.saving["cost_usd"] for run in runs],
        "usd2_signed",
        "Against the baseline as run",
    )


def _reached(work: Work, sheet: Sheet, row: int) -> int:
    """Share of what perfect resets would save, and as run where there was a run."""
    results = work.results
    ids = [c.id for c in results.candidates]
    shares = [results.share_of_bound(id_) for id_ in ids]
    if all(share is None for share in shares):
        return row
    text = (
        "Saving over that of perfect resets of the same plant at equal service; blank where an option changes more "
        "than setpoints"
    )
    if results.bound_service.flagged:
        text += "; perfect resets would here serve worse: " + "; ".join(results.bound_service.reasons)
    row = _line(work, sheet, row, "Reached of what setpoints allow", "of bound", shares, "pct0", text)
    run = [results.share_of_bound_as_run(id_) for id_ in ids]
    if any(share is not None for share in run):
        text = "Saving at time steps, as a share of the baseline as run, over that of perfect resets at rest"
        row = _line(work, sheet, row, "The share reached, as run", "of bound", run, "pct0", text)
    return row


def _money(work: Work, sheet: Sheet, row: int) -> int:
    candidates = work.results.candidates
    row = _section(work, sheet, row, "Money and peak")
    row = _line(
        work, sheet, row, "Implementation cost", money_words("USD"), [c.candidate.cost_usd for c in candidates], "usd"
    )
    row = _line(
        work, sheet, row, "Incentive, once", money_words("USD"), [c.candidate.incentive_usd for c in candidates], "usd"
    )
    row = _line(
        work,
        sheet,
        row,
        "Simple payback",
        "years",
        [c.payback_years for c in candidates],
        "f2",
        "Cost over annual saving, not discounted",
    )
    row = _line(
        work,
        sheet,
        row,
        "Simple payback after incentive",
        "years",
        [c.payback_after_incentive_years for c in candidates],
        "f2",
    )
    row = _line(work, sheet, row, "Remark", "", [c.payback_note for c in candidates], "text_small")
    longest = max(lines_of(c.payback_note, _WIDTH, 8.0) for c in candidates)
    sheet.height(row - 1, height_of(longest, 8.0))
    return _line(
        work,
        sheet,
        row,
        "Peak electricity",
        "kW",
        [c.peak_kw for c in candidates],
        "f1",
        "Largest single hour of the typical year; neither a design day nor a tariff's peak period",
    )


def _interactions(work: Work, sheet: Sheet, row: int, last: int) -> int:
    s, results = work.styles, work.results
    if not results.interactions:
        return row
    row = _section(work, sheet, row, money_words("Do the two resets add up? Saving of energy cost, USD a year"))
    number = {c.id: k for k, c in enumerate(results.candidates, 1)}
    for place, text in enumerate(
        ("Pair", "", "SAT alone", "DSP alone", "The two added", "Both, as run", "Interaction")
    ):
        sheet.text(row, place, text, s("head_left" if place < 2 else "head"))
    row += 1
    for i in results.interactions:
        sheet.text(row, 0, f"{number[i.sat_id]} with {number[i.dsp_id]} = {number[i.both_id]}", s("line"))
        sheet.text(row, 1, money_words("USD"), s("line", "small", "quiet"))
        for place, value in enumerate((i.sat_usd, i.dsp_usd, i.sat_usd + i.dsp_usd, i.both_usd, i.interaction_usd), 2):
            sheet.number(row, place, value, s("usd2_signed", "line", "right"))
        row += 1
    sheet.text(
        row,
        0,
        "A negative interaction: the two share a saving. They are run together, never added.",
        s("small", "quiet"),
    )
    return row + 1
