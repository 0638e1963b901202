"""Measure accounting: both baselines side by side, shares of what savings are taken from, orders, parts, bills."""

from __future__ import annotations

from ...end_uses import END_USES
from ...hours import MONTHS
from ...money.accounting import CODE_NOTE
from ...money.bills import SOURCE, reconciled_words
from ...results import ANNUAL
from ..formats import money_words
from ..page import Work, height_of, lines_of, section, title, unit_text
from ..strict import Sheet

_WIDTHS = (34, 12)
_WIDTH, _LAST = 16.0, 60
_KEYS = ("cost_usd", "electricity_kwh", "fuel_therm")


def write(work: Work, sheet: Sheet) -> None:
    """Write the sheet."""
    results = work.results
    count = max(len(results.candidates), 6)
    last = len(_WIDTHS) + count
    title(
        work,
        sheet,
        "Measures",
        "What each option saves, against which baseline, of what, and in which order; values of the run",
        link_column=last,
    )
    sheet.widths([*_WIDTHS, *[_WIDTH] * count, _LAST])
    row = _head(work, sheet, 3)
    row = _baselines(work, sheet, row)
    row = _shares(work, sheet, row)
    row = _orders(work, sheet, row)
    row = _parts(work, sheet, row)
    row = _bills(work, sheet, row, last)
    sheet.freeze(4, 2)
    sheet.on_paper(footer=work.footer, last_row=row, last_column=last, repeat_rows=(3, 3), repeat_columns=(0, 1))


def _head(work: Work, sheet: Sheet, row: int) -> int:
    s, results = work.styles, work.results
    texts = [f"{k} {c.name}" for k, c in enumerate(results.candidates, 1)]
    sheet.text(row, 0, "Figure", s("head_left"))
    sheet.text(row, 1, "Unit", s("head_left"))
    for place, text in enumerate(texts, len(_WIDTHS)):
        sheet.text(row, place, text, s("head"))
    sheet.height(row, height_of(max(lines_of(text, _WIDTH, bold=True) for text in texts)))
    return row + 1


def _section(work: Work, sheet: Sheet, row: int, text: str) -> int:
    return section(work, sheet, row, text, len(_WIDTHS) + max(len(work.results.candidates), 6) + 1)


def _line(work: Work, sheet: Sheet, row: int, label: str, unit: str, values, style: str, text: str = "") -> int:
    s = work.styles
    sheet.text(row, 0, label, s("line"))
    sheet.text(row, 1, unit, s("line", "small", "quiet"))
    for place, value in enumerate(values, len(_WIDTHS)):
        sheet.cell(row, place, value, s(style, "line", "right"))
    sheet.text(row, len(_WIDTHS) + max(len(work.results.candidates), 6), text, s("line", "small", "quiet", "inset"))
    return row + 1


def _baselines(work: Work, sheet: Sheet, row: int) -> int:
    results, s = work.results, work.styles
    known = {key: (label, unit) for key, label, unit, _ in ANNUAL}
    row = _section(work, sheet, row, "Saved against the existing baseline, and against the code baseline")
    code = results.code_baseline
    for key in _KEYS:
        label, unit = known[key]
        style = "usd2_signed" if unit == "USD" else "signed"
        existing = [c.saving[key] for c in results.candidates]
        row = _line(work, sheet, row, f"{label}, existing", unit_text(unit), existing, style, results.baseline.name)
        if code is not None:
            against = [(results.saving_against_code(c.id) or {})[key] for c in results.candidates]
            row = _line(work, sheet, row, f"{label}, code", unit_text(unit), against, style, code.name)
    if code is None:
        text = "No code baseline is named (measures.code_baseline): savings are against what exists alone."
        sheet.text(row, 0, text, s("small", "quiet"))
        row += 1
    last = len(_WIDTHS) + max(len(results.candidates), 6) - 1
    sheet.merged_text(row, 0, row, last, CODE_NOTE, s("text_small", "quiet"))
    width = sum(_WIDTHS) + _WIDTH * (last + 1 - len(_WIDTHS))
    sheet.height(row, height_of(lines_of(CODE_NOTE, width, 8.0), 8.2))
    return row + 2


def _shares(work: Work, sheet: Sheet, row: int) -> int:
    results = work.results
    row = _section(work, sheet, row, "Saved as a share of what it is taken from: no share may be above 100 %")
    found = [results.saving_shares(c.id) for c in results.candidates]
    for use in END_USES:
        if results.baseline.annual[use.key]:
            row = _line(
                work, sheet, row, use.label, "of baseline", [f[use.key] for f in found], "signed_pct", use.contains
            )
    for key, label, text in (
        ("hvac_energy", "All energy of the air handler", "At the site, in one unit"),
        ("hvac_cost", "All energy cost of the air handler", ""),
        ("bill_cost", "Bills of twelve months", "Not known without the cost of bills"),
    ):
        if key != "bill_cost" or results.bill_usd is not None:
            row = _line(work, sheet, row, label, "of baseline", [f[key] for f in found], "signed_pct", text)
    return row + 1


def _orders(work: Work, sheet: Sheet, row: int) -> int:
    results, s = work.results, work.styles
    if not results.interactions:
        return row
    row = _section(
        work, sheet, row, money_words("Two resets in either order: what the second adds to the first, USD a year")
    )
    number = {c.id: k for k, c in enumerate(results.candidates, 1)}
    heads = ("Pair", "", "SAT first", "then DSP", "DSP first", "then SAT", "Both", "Interaction")
    for place, text in enumerate(heads):
        sheet.text(row, place, text, s("head_left" if place < 2 else "head"))
    row += 1
    for i in results.interactions:
        sheet.text(row, 0, f"{number[i.sat_id]} with {number[i.dsp_id]} = {number[i.both_id]}", s("line"))
        sheet.text(row, 1, money_words("USD"), s("line", "small", "quiet"))
        values = (i.sat_usd, i.dsp_after_sat_usd, i.dsp_usd, i.sat_after_dsp_usd, i.both_usd, i.interaction_usd)
        for place, value in enumerate(values, 2):
            sheet.number(row, place, value, s("usd2_signed", "line", "right"))
        row += 1
    return row + 1


def _parts(work: Work, sheet: Sheet, row: int) -> int:
    results, s = work.results, work.styles
    if results.advice is None or not results.advice.parts:
        return row
    row = _section(work, sheet, row, "Options that combine a reset with other changes, each added to the one before")
    for place, text in enumerate(("Option", "", "Repair", "Companion", "Reset", "Together")):
        sheet.text(row, place, text, s("head_left" if place < 2 else "head"))
    row += 1
    for part in results.advice.parts:
        sheet.text(row, 0, results[part.id].name, s("line"))
        sheet.text(row, 1, money_words("USD"), s("line", "small", "quiet"))
        for place, value in enumerate((part.repair_usd, part.companion_usd, part.reset_usd, part.total_usd), 2):
            sheet.number(row, place, value, s("usd2_signed", "line", "right"))
        row += 1
    return row + 1


def _bills(work: Work, sheet: Sheet, row: int, last: int) -> int:
    results, s = work.results, work.styles
    row = _section(work, sheet, row, reconciled_words(results.bills))
    if not results.bills:
        text = "Give twelve months under [bills], with what else is on the meter, to set the baseline beside them."
        sheet.text(row, 0, text, s("small", "quiet"))
        return row + 1
    for each in results.bills:
        heads = (each.label, each.unit, "Billed", "Air handler", "All else", "Model", "Billed less model")
        for place, text in enumerate(heads):
            sheet.text(row, place, text, s("head_left" if place < 2 else "head"))
        row += 1
        for m, month in enumerate(MONTHS):
            sheet.text(row, 0, month.capitalize(), s("line"))
            sheet.text(row, 1, each.unit, s("line", "small", "quiet"))
            model = None if each.modelled is None else float(each.modelled[m])
            values = (
                float(each.measured[m]),
                float(each.air_handler[m]),
                None if each.other is None else float(each.other[m]),
                model,
                None if model is None else float(each.measured[m]) - model,
            )
            for place, value in enumerate(values, 2):
                sheet.cell(row, place, value, s("signed" if place == 6 else "f0", "line", "right"))
            row += 1
        if each.modelled is not None:
            for label, value in (("NMBE", each.nmbe_frac), ("CV(RMSE)", each.cv_rmse_frac)):
                sheet.text(row, 0, label, s("line", "bold"))
                sheet.cell(row, 2, value, s("signed_pct", "line", "right"))
                sheet.text(row, 3, SOURCE if label == "NMBE" else "", s("small", "quiet"))
                row += 1
        row += 1
    text = "Bills are of the weather of their months, the model of a typical year: part of the difference is weather."
    sheet.text(row, 0, text, s("small", "quiet"))
    return row + 1
