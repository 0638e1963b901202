"""Money of every option by formulas: cost line by line, incentive, saving by source, cash flow, life-cycle measures."""

from __future__ import annotations

from ...money.life_cycle import MOST_YEARS
from ..page import height_of, lines_of, title
from .money_cost import write_cost, write_terms, write_windows
from .money_incentives import write_counted
from .money_life import YEAR_ZERO, write_emissions, write_life, write_savings
from .money_lines import LABEL_WIDTH, NOTE_WIDTH, MoneyLines
from .money_plan import FIRST_COLUMN, HEAD_ROW, MoneyPlan


def write(pen, sheet, results, registry, positions, plan: MoneyPlan, year: dict) -> None:
    """Write the sheet.

    Parameters
    ----------
    pen : Pen
    sheet : Sheet
    results : Results
    registry : Registry
    positions : list of int
        Candidates with a sheet.
    plan : MoneyPlan
    year : dict
        Row by key of the sheet “Live year”.
    """
    s, work = pen.s, pen.work
    last = FIRST_COLUMN + len(positions)
    title(
        work,
        sheet,
        "Money",
        "What each option costs, what a programme pays, and what it is worth over its life, by formulas from inputs "
        "and the sheet “Live year”.",
        link_column=last,
    )
    currency = results.project.prices.currency
    widths = [LABEL_WIDTH, 11.0, *[17.0] * len(positions), NOTE_WIDTH]
    sheet.widths(widths)
    about = (
        f"All amounts are in {currency}. Fixed charges of utilities are in no saving. Edit hours, rates and terms on "
        "the sheet of inputs: this sheet follows. What nobody gave is a default and an assumption."
    )
    # Within the columns of the first options, which stay together on paper.
    for row, text in ((2, YEAR_ZERO), (3, about)):
        end = min(FIRST_COLUMN + 3, last)
        sheet.merged_text(row, 0, row, end, text, s("text_small", "quiet"))
        sheet.height(row, height_of(lines_of(text, sum(widths[: end + 1]), 8.0), 8.2))
    for place, text in enumerate(("Figure", "Unit")):
        sheet.text(HEAD_ROW, place, text, s("head_left"))
    for place, k in enumerate(positions, FIRST_COLUMN):
        sheet.text(HEAD_ROW, place, f"{k + 1} {results.candidates[k].name}", s("head"))
    sheet.text(HEAD_ROW, last, "What it is", s("head_left", "inset"))
    sheet.height(HEAD_ROW, 40)
    sheet.freeze(HEAD_ROW + 1, 2)
    for row, text in plan.sections:
        for place in range(last + 1):
            sheet.text(row, place, text if place == 0 else "", s("section"))
    lines = MoneyLines(pen, sheet, results, registry, positions, plan, year)
    write_terms(lines)
    write_cost(lines)
    write_windows(lines)
    write_counted(lines)
    write_savings(lines)
    write_life(lines)
    write_emissions(lines)
    shown = plan.rows[f"flow.{min(results.project.life_cycle.years, MOST_YEARS)}"]
    sheet.on_paper(
        footer=work.footer, last_row=shown, last_column=last, repeat_rows=(HEAD_ROW, HEAD_ROW), repeat_columns=(0, 1)
    )
