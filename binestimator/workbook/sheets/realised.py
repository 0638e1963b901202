"""What was saved beside what was claimed, by logs of before and after the work: values of a results file."""

from __future__ import annotations

import numpy as np

from ...realised.results_file import OTHER_INPUTS, RealisedFile, UseFound, modelled_words
from ..addresses import column_name, quoted
from ..charts import axis_of, fill_of, pixels_of, style_chart
from ..figures import number_of
from ..formats import INK, LAGOON, OCHRE, money_words
from ..page import Work, height_of, lines_of, section, title
from ..strict import ROW_PIXELS, Sheet
from .patterns import table

_LABEL_WIDTH, _WIDTH = 42, 13.5
_HEADS = (
    "Unit",
    "Basis",
    "Share of the year's running hours",
    "Saving",
    "90 % within, from",
    "to",
    "Claimed",
    "Realised / claimed",
    "90 % within, from",
    "to",
)
_COLUMNS = len(_HEADS)
_FIRST_ROW, _CHART_PIXELS = 4, 300


def write(work: Work, sheet: Sheet) -> None:
    """Write the sheet; the results must carry what was realised."""
    found = work.results.realised
    if found is None:
        raise ValueError("the results carry nothing that was realised")
    title(
        work,
        sheet,
        "Realised",
        "What logs of before and after the work say was saved in running hours, beside what was claimed for them.",
        link_column=_COLUMNS,
    )
    sheet.text(
        2,
        0,
        "These are values of the results file of realised savings: an edit of inputs does not reach them.",
        work.styles("subtitle"),
    )
    sheet.widths([_LABEL_WIDTH, *[_WIDTH] * _COLUMNS])
    row = _facts(work, sheet, _FIRST_ROW, found)
    row = _uses(work, sheet, row + 1, found)
    chart_row, row = row, row + _CHART_PIXELS // ROW_PIXELS + 2
    shown = [use for use in found.uses if use.of_before is not None]
    if not shown:
        row = chart_row
    row = _texts(work, sheet, row, "What it takes for a better figure", [(text, True) for text in found.needed])
    row = _texts(
        work, sheet, row, "What else differs between both periods (marked: may make the saving look other than it is)",
        found.changes,
    )  # fmt: skip
    nothing = "Nothing was found that kept the reset from acting" + (
        "; what cannot be told is below." if found.not_told else "."
    )
    row = _texts(
        work, sheet, row, "What kept the reset from acting, after the work (marked: a tenth of the time and more)",
        found.defeats or ((nothing, False),),
    )  # fmt: skip
    row = _texts(work, sheet, row, "What cannot be told, and what is not in the figures",
                 [(text, False) for text in found.not_told])  # fmt: skip
    row = _rests_on(work, sheet, row, found)
    if shown:
        row = _chart(work, sheet, chart_row, row, shown)
    sheet.freeze(0, 1)
    sheet.on_paper(footer=work.footer, last_row=row, last_column=_COLUMNS, repeat_columns=(0, 0))


def _section(work: Work, sheet: Sheet, row: int, label: str) -> int:
    return section(work, sheet, row, label, _COLUMNS + 1)


def _long(work: Work, sheet: Sheet, row: int, text: str, *pieces: str) -> int:
    """A text over the whole width."""
    sheet.merged_text(row, 0, row, _COLUMNS, text, work.styles(*pieces))
    sheet.height(row, height_of(lines_of(text, _LABEL_WIDTH + _COLUMNS * _WIDTH)))
    return row + 1


def _texts(work: Work, sheet: Sheet, row: int, label: str, texts) -> int:
    """Lines of text under a heading, cautions marked; nothing where there are none."""
    if not texts:
        return row
    row = _section(work, sheet, row, label)
    for text, caution in texts:
        row = _long(work, sheet, row, text, *(("caution",) if caution else ("wrap", "line")))
    return row + 1


def _facts(work: Work, sheet: Sheet, row: int, found: RealisedFile) -> int:
    """Option, baseline and periods."""
    results, s = work.results, work.styles
    named = lambda key: f"{number_of(results, key)} {results[key].name} ({key})"
    for label, text in (
        ("Option", named(found.option)),
        ("Compared with", named(found.baseline)),
        ("Before", found.before),
        ("After", found.after),
    ):
        sheet.text(row, 0, label, s("bold", "line", "top"))
        sheet.merged_text(row, 1, row, _COLUMNS, text, s("wrap", "line"))
        sheet.height(row, height_of(lines_of(text, _COLUMNS * _WIDTH)))
        row += 1
    if found.other_inputs:
        row = _long(work, sheet, row, OTHER_INPUTS[0].upper() + OTHER_INPUTS[1:], "caution")
    return row


def _number_style(*values: float | None) -> str:
    """No decimals where a number is large."""
    return "f0" if max((abs(v) for v in values if v is not None), default=0.0) >= 100.0 else "f1"


def _uses(work: Work, sheet: Sheet, row: int, found: RealisedFile) -> int:
    """Saving and claim of each end use, of the energy cost, and what to know of them."""
    s = work.styles
    if not found.uses:
        return _texts(work, sheet, row, "What was saved", [("Nothing can be said of what was saved.", True)])
    row = _section(work, sheet, row, "What was saved, by end use")
    sheet.height(row, height_of(max(lines_of(head, _WIDTH, bold=True) for head in _HEADS)))
    sheet.text(row, 0, "End use", s("head_left"))
    sheet.cells(row, 1, _HEADS, s("head"))
    row += 1
    for use in found.uses:
        low, high = use.interval_90 or (None, None)
        style = _number_style(use.saving, use.claimed)
        sheet.text(row, 0, use.label, s("line", "left", "wrap"))
        sheet.height(row, height_of(lines_of(use.label, _LABEL_WIDTH)))
        sheet.text(row, 1, use.unit, s("line", "centre"))
        sheet.text(row, 2, "measured" if use.measured else "as modelled", s("line", "centre"))
        if use.saving is None:
            sheet.blank(row, 3, s("line"))
            sheet.text(row, 4, "not told", s("line", "right", "quiet"))
        else:
            sheet.number(row, 3, 1.0 if use.of_year else use.covered_frac, s("line", "pct0"))
            sheet.number(row, 4, use.saving, s("line", "bold", style))
        for column, value in ((5, low), (6, high), (7, use.claimed)):
            sheet.cell(row, column, value, s("line", style))
        for column, value in ((8, use.realised_frac), *zip((9, 10), use.realised_interval_90 or (None, None))):
            sheet.cell(row, column, value, s("line", "pct0"))
        row += 1
    realised, claimed = found.cost_usd
    if claimed is not None:
        style = _number_style(realised, claimed)
        sheet.text(row, 0, "Energy cost of these hours", s("total", "left"))
        sheet.text(row, 1, money_words("USD"), s("total", "centre"))
        for column in range(2, _COLUMNS + 1):
            sheet.blank(row, column, s("total"))
        if realised is None:
            sheet.text(row, 4, "not told", s("total", "right"))
        else:
            sheet.number(row, 3, 1.0, s("total", "pct0"))
            sheet.number(row, 4, realised, s("total", style))
            if claimed:
                sheet.number(row, 8, realised / claimed, s("total", "pct0"))
        sheet.number(row, 7, claimed, s("total", style))
        row += 1
    for use in found.uses:
        if use.no_number:
            row = _long(work, sheet, row, f"{use.label}: no number: {use.no_number}", "caution")
        for note in use.notes:
            row = _long(work, sheet, row, f"{use.label}: {note}", "caution")
    if any(not use.measured for use in found.uses):
        row = _long(work, sheet, row, modelled_words(found.gain), "wrap", "quiet")
    return row + 1


def _rests_on(work: Work, sheet: Sheet, row: int, found: RealisedFile) -> int:
    """What the measured figures rest on, by end use."""
    shown = [(use, use.measurement) for use in found.uses if use.measurement is not None]
    if not shown:
        return row
    return table(
        work,
        sheet,
        row,
        "realised_basis",
        "What the measured figures rest on (corrections and model in the unit of the end use)",
        "End use",
        [f"{use.label}, {use.unit}" for use, _ in shown],
        [
            "Days before",
            "Days after",
            "Independent days before",
            "Independent days after",
            "Share of hours in both logs, %",
            "Saving taken for the other hours",
            "Correction for the season of the logs",
            "Model at these setpoints, a year",
        ],
        [
            *([m.days[k] for _, m in shown] for k in (0, 1)),
            *([m.independent_days[k] for _, m in shown] for k in (0, 1)),
            [100.0 * use.covered_frac for use, _ in shown],
            [m.held if use.of_year else np.nan for use, m in shown],
            [m.season for _, m in shown],
            [np.nan if use.modelled_year is None else use.modelled_year for use, _ in shown],
        ],
        "f0",
    )


def _chart(work: Work, sheet: Sheet, at: int, row: int, shown: list[UseFound]) -> int:
    """Saving with its interval beside the claim as shares of the energy before, and their numbers; the row after."""
    shares = [100.0 * np.array(use.of_before or ()) for use in shown]
    below = [float(v[0] - v[2]) if len(v) > 2 else np.nan for v in shares]
    above = [float(v[3] - v[0]) if len(v) > 2 else np.nan for v in shares]
    row = table(
        work,
        sheet,
        row,
        "realised_shares",
        "Numbers behind the chart, % of the energy before in hours that both logs have the weather of",
        "End use",
        [use.label + ("" if use.measured else ", as modelled") for use in shown],
        ["Realised", "Claimed", "Realised less lower end", "Upper end less realised"],
        [[float(v[0]) for v in shares], [float(v[1]) for v in shares], below, above],
        "f1",
    )
    block = work.blocks["realised_shares"]
    chart = work.book.chart("column")
    area = lambda place: (
        f"={quoted(block.sheet)}!${column_name(block.first_column + place)}${block.first + 1}:"
        f"${column_name(block.first_column + place)}${block.last + 1}"
    )
    for place, fill, edge in ((0, fill_of(LAGOON), LAGOON), (1, fill_of(OCHRE, hatched=True), OCHRE)):
        name, categories, values = block.series(place)
        bars = {
            "type": "custom",
            "plus_values": area(3),
            "plus_data": [0.0 if np.isnan(v) else v for v in above],
            "minus_values": area(2),
            "minus_data": [0.0 if np.isnan(v) else v for v in below],
            "line": {"color": INK, "width": 1.5},
        }
        chart.add_series(
            {
                "name": name,
                "categories": categories,
                "values": values,
                "gap": 80,
                **fill,
                "border": {"color": edge, "width": 0.5},
                **({"y_error_bars": bars} if place == 0 else {}),
            }
        )
    pixels = sum(pixels_of(w) for w in (_LABEL_WIDTH, *[_WIDTH] * 7))
    label = "Saving beside the claim, % of the energy before; lines: 90 % interval of what is measured"
    # Programs that choose the range themselves leave intervals out of it.
    low, high, unit = axis_of(float(v) for share in shares for v in share)
    size = (pixels, _CHART_PIXELS)
    style_chart(chart, label, "", "", size=size, y_format="0", y_range=(low, high), y_unit=unit)
    sheet.chart(at, 0, chart)
    return row
