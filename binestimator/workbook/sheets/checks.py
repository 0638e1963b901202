"""Checks of the run: pass, explain or fail; bins against hours, classic bins beside them; counts; findings."""

from __future__ import annotations

from ...bins import METHOD_REPRESENTATIVE
from ...end_uses import ENERGY_KEYS
from ...rates import Rates
from ...results import ANNUAL
from ...row_accuracy import (
    COST_ERROR_FRAC,
    END_USE_ERROR_FRAC,
    SAVING_ERROR_POINTS,
    bin_accuracy_table,
    bin_errors,
    bin_status,
    count_accuracy_table,
)
from ..charts import fill_of, pixels_of, place_at, room, style_chart
from ..figures import check_counts
from ..formats import LAGOON, OCHRE, PETROL, money_words
from ..layout import CHECKS
from ..live.pen import MOST_RESIDUAL
from ..page import Block, Work, height_of, lines_of, title
from ..strict import ROW_PIXELS, Sheet

# One grid for all tables: texts are merged over several of its columns.
_WIDTHS = (38.0, 11.0, 10.0, 12.5, 12.5, 12.5, 10.5, 10.5, 9.0, 19.0, 10.5, 10.5, 11.0)
_LAST = len(_WIDTHS) - 1
# First and last column of the texts of a check: found, expected, what it says, source.
_CHECK_FIELDS = ((0, 0), (1, 1), (2, 4), (5, 6), (7, 10), (11, 12))
#: Word and style of the status of a check.
STATUS = {"pass": ("PASS", "good"), "explain": ("EXPLAIN", "explain"), "fail": ("FAIL", "bad")}
_LEVEL = {"info": ("note", "quiet"), "check": ("CHECK", "explain"), "caution": ("CAUTION", "bad")}
_CHART_PIXELS = 270
# Lines of a long table after which it goes on on a new page, with its header again.
_PAGE_LINES = 50


def write(work: Work, sheet: Sheet) -> None:
    """Write the sheet."""
    counts = check_counts(work.results)
    title(
        work,
        sheet,
        "Checks",
        f"{counts['pass']} pass, {counts['explain']} to explain, {counts['fail']} fail",
        link_column=_LAST,
    )
    sheet.text(
        2,
        0,
        "PASS holds.  EXPLAIN lies outside what is published or usual; the text says what drives it.  FAIL must not "
        "happen: do not "
        "use the results; nothing is ranked.",
        work.styles("small", "quiet"),
    )
    sheet.widths(_WIDTHS)
    head = 4
    row = _checks(work, sheet, head)
    # A page holds about twenty checks.
    breaks = [row + 1] if len(work.results.checks) > 14 else []
    row = _findings(work, sheet, row + 1)
    row = _choice(work, sheet, row + 1)
    row = _section(work, sheet, row + 1, "The formulas of this file against the run, as they were written")
    # Written by write_formulas, once the formulas are.
    work.kept_rows["formulas"] = row
    row += 2
    breaks.append(row + 1)
    row = _by_candidate(work, sheet, row + 1)
    row = _charts(work, sheet, row + 1)
    breaks.append(row)
    row = _accuracy(work, sheet, row, breaks)
    breaks.append(row + 1)
    row = _counts(work, sheet, row + 1, breaks)
    sheet.freeze(3, 1)
    sheet.on_paper(footer=work.footer, last_row=row - 1, last_column=_LAST, breaks=breaks)


def write_formulas(work: Work, pen) -> None:
    """How far the formulas are from the run.

    Parameters
    ----------
    pen : Pen
        The one that wrote them; None where the air handler never runs.
    """
    s, sheet, row = work.styles, work.sheets[CHECKS], work.kept_rows["formulas"]
    if pen is None:
        sheet.text(row, 0, "The air handler never runs: there are no formulas.", s("line"))
        return
    where, label, residual = pen.worst
    lines = (
        (
            "Compared with the run",
            f"{len(pen.residuals):,} columns and constants",
            "Each of these formulas was evaluated as it was written and compared with the figure of the run in every "
            "line; the program’s DEVELOPERS.md says what is written as a value and cannot be compared",
        ),
        (
            "Largest residual",
            f"{residual:.1e}: “{label}” on “{where}”",
            f"As a share of the largest value of its column. Above {MOST_RESIDUAL:.0e} no workbook is written",
        ),
    )
    for at, (label, value, text) in enumerate(lines, row):
        sheet.text(at, 0, label, s("line", "bold"))
        sheet.merged_text(at, 1, at, 5, value, s("line", "wrap", "middle"))
        sheet.merged_text(at, 6, at, _LAST, text, s("line", "small", "quiet", "wrap", "middle"))
        sheet.height(
            at, height_of(max(lines_of(text, room(_WIDTHS[6:]), 8.0), lines_of(value, room(_WIDTHS[1:6]))), 8.0)
        )


def _section(work: Work, sheet: Sheet, row: int, text: str) -> int:
    sheet.height(row, 24)
    for place in range(_LAST + 1):
        sheet.text(row, place, text if place == 0 else "", work.styles("section"))
    return row + 1


def _remark(work: Work, sheet: Sheet, row: int, text: str) -> int:
    """Text over the whole width."""
    sheet.merged_text(row, 0, row, _LAST, text, work.styles("wrap", "quiet"))
    sheet.height(row, height_of(lines_of(text, room(_WIDTHS))))
    return row + 1


def _heads(work: Work, sheet: Sheet, row: int, texts) -> int:
    s = work.styles
    sheet.height(row, height_of(max(lines_of(t, w, bold=True) for t, w in zip(texts, _WIDTHS))))
    for place, text in enumerate(texts):
        sheet.text(row, place, text, s("head_left" if place == 0 else "head"))
    return row + 1


def _status_cell(work: Work, sheet: Sheet, row: int, column: int, status: str, *pieces: str) -> None:
    word, style = STATUS[status]
    sheet.text(row, column, word, work.styles(style, "line", *pieces))


def _checks(work: Work, sheet: Sheet, row: int) -> int:
    s = work.styles
    for (first, last), text in zip(_CHECK_FIELDS, ("Check", "Status", "Found", "Expected", "What it says", "Source")):
        sheet.merged_text(row, first, row, last, text, s("head_left" if text != "Status" else "head"))
    row += 1
    # What needs attention first.
    for check in sorted(work.results.checks, key=lambda k: ("fail", "explain", "pass").index(k.status)):
        lines = 1
        for place, ((first, last), text) in enumerate(
            zip(_CHECK_FIELDS, (check.name, "", check.value, check.expected, check.text, check.source))
        ):
            if place == 1:
                _status_cell(work, sheet, row, first, check.status)
                continue
            sheet.merged_text(
                row, first, row, last, text, s("wrap", "middle", "line", "bold" if place == 0 else "small")
            )
            lines = max(
                lines, lines_of(text, room(_WIDTHS[first : last + 1]), 9.0 if place == 0 else 8.0, bold=place == 0)
            )
        sheet.height(row, height_of(lines, 8.5))
        row += 1
    return row


def _choice(work: Work, sheet: Sheet, row: int) -> int:
    """How the rows were chosen."""
    s, choice, bins = work.styles, work.results.selection, work.results.project.bins
    row = _section(work, sheet, row, "How the rows that represent the year were chosen")
    number = lambda value, code: "–" if value is None else format(value, code)
    periods = bins.by_rate_period or (bins.rows == "mean" and isinstance(work.results.unit.prices, Rates))
    keys = ", ".join(
        [
            f"outdoor temperature in steps of {bins.width_f:g} °F",
            "running mode",
            *(word for word, true in (("month", bins.by_month), ("rate period", periods)) if true),
        ]
    )
    method = (
        "Fallback: not the method meant for this project; trust the hourly figures"
        if choice.fallback
        else "The method meant for this project; no fallback"
    )
    if choice.method == METHOD_REPRESENTATIVE:
        method += (
            ". Chosen for reference settings and for these options’ own hours, so the agreement below is by "
            "construction. The program’s tests/README.md gives the errors for strategies that had no part in the choice"
        )
    lines = (
        ("Method", choice.method, method),
        ("Groups of like hours", f"{choice.groups:,}", f"By {keys}"),
        (
            "Rows",
            f"{choice.rows:,} of at most {choice.bound:,}",
            "The most that this grouping and the limit of rows allow",
        ),
        (
            "Residual",
            number(choice.worst_residual_frac, ".3%").replace("%", " %"),
            "Largest error of annual cost, of all end uses or one, at a reference setting or of an option, as a "
            "share of all end uses: what the choice itself could not remove",
        ),
        (
            "Hours, temperature and moisture of each group",
            number(choice.exact_error_frac, ".1e"),
            "Largest relative error; these are kept exactly, to rounding",
        ),
        (
            "Worst option: annual cost",
            f"{100 * choice.worst_cost_frac:.3f} %",
            f"Bound {100 * COST_ERROR_FRAC:g} % of the hourly cost",
        ),
        (
            "Worst option: end use",
            f"{100 * choice.worst_end_use_frac:.3f} %",
            f"Bound {100 * END_USE_ERROR_FRAC:g} % of all HVAC energy",
        ),
        (
            "Worst option: saving",
            f"{choice.worst_saving_points:.3f} points",
            f"Bound {SAVING_ERROR_POINTS:g} percentage points of the baseline’s cost",
        ),
    )
    for label, value, text in lines:
        sheet.text(row, 0, label, s("line", "bold"))
        sheet.merged_text(row, 1, row, 5, value, s("line"))
        sheet.merged_text(row, 6, row, _LAST, text, s("line", "small", "quiet", "wrap", "middle"))
        sheet.height(row, height_of(lines_of(text, room(_WIDTHS[6:]), 8.0), 8.0))
        row += 1
    return row


def _by_candidate(work: Work, sheet: Sheet, row: int) -> int:
    """Errors of each candidate in one line; the table that the charts draw."""
    s, results = work.styles, work.results
    row = _section(work, sheet, row, "Bin rows and classic bins against the same equations hour by hour, by option")
    row = _remark(
        work,
        sheet,
        row,
        "Rows: the real hours with weights of this file. Classic bins: one row of mean conditions for each bin and "
        "mode, the usual bin method, run with the same "
        "equations. An error is the figure less that of the hourly run; the worst end use is in % of all HVAC energy.",
    )
    header = row
    row = _heads(
        work,
        sheet,
        row,
        (
            "Option",
            "Rows",
            "Number",
            "Cost, rows, %",
            "Cost, classic, %",
            "Cost, bound, ± %",
            "Saving, rows, points",
            "Saving, classic, points",
            "Bound, ± points",
            "Worst end use",
            "Rows, %",
            "Classic, %",
            "Classic bins",
        ),
    )
    first = row
    representative = results.project.bins.rows == "representative"
    labels = {key: label for key, label, *_ in ANNUAL}
    for number, c in enumerate(results.candidates, 1):
        ours, theirs = bin_errors(c, results.baseline), bin_errors(c, results.baseline, "classic")
        worst = max(ENERGY_KEYS, key=lambda key: max(abs(ours[key]), abs(theirs[key])))
        statuses = []
        for errors, ruled in ((ours, representative), (theirs, False)):
            found = [
                bin_status(errors["cost_frac"], COST_ERROR_FRAC, ruled),
                bin_status(errors["saving_points"], SAVING_ERROR_POINTS, ruled),
                *(bin_status(errors[key], END_USE_ERROR_FRAC, ruled) for key in ENERGY_KEYS),
            ]
            statuses.append(max(found, key=("pass", "explain", "fail").index))
        sheet.text(row, 0, c.name, s("wrap", "middle", "line", "bold"))
        sheet.height(row, height_of(lines_of(c.name, _WIDTHS[0], bold=True)))
        _status_cell(work, sheet, row, 1, statuses[0])
        sheet.text(row, 2, str(number), s("line", "centre", "quiet"))
        values = (
            100.0 * ours["cost_frac"],
            100.0 * theirs["cost_frac"],
            100.0 * COST_ERROR_FRAC,
            ours["saving_points"],
            theirs["saving_points"],
            SAVING_ERROR_POINTS,
        )
        for place, value in enumerate(values, 3):
            sheet.number(
                row,
                place,
                value,
                s("error" if place not in (5, 8) else "f2", "line", "quiet" if place in (5, 8) else "body"),
            )
        sheet.text(row, 9, labels[worst], s("line", "centre", "small"))
        sheet.number(row, 10, 100.0 * ours[worst], s("error", "line"))
        sheet.number(row, 11, 100.0 * theirs[worst], s("error", "line"))
        _status_cell(work, sheet, row, 12, statuses[1])
        row += 1
    sheet.ignore_text_numbers(first, 2, row - 1, 2)
    work.blocks["errors"] = Block(sheet.name, header, first, row - 1, 2, 3)
    return row


def _charts(work: Work, sheet: Sheet, row: int) -> int:
    """Errors of cost and of saving, rows beside classic bins, with their bounds; returns the first row below."""
    pixels = [pixels_of(w) for w in _WIDTHS]
    half = sum(pixels) // 2
    middle, offset = place_at(pixels, half)
    block = work.blocks["errors"]
    for place, (column, label) in enumerate(
        ((0, "Error of the annual cost, %, by option"), (3, "Error of the saving, percentage points, by option"))
    ):
        chart = work.book.chart("column")
        for at, (name, colour, hatched) in enumerate(
            (("rows of this file", PETROL, False), ("classic bins", LAGOON, True))
        ):
            _, categories, values = block.series(column + at)
            chart.add_series(
                {
                    "name": name,
                    "categories": categories,
                    "values": values,
                    "gap": 60,
                    "overlap": 0,
                    **fill_of(colour, hatched=hatched),
                    "border": {"color": colour, "width": 0.5},
                }
            )
        # The bound is in the table once, and reaches as far below zero as above.
        bound = COST_ERROR_FRAC * 100.0 if place == 0 else SAVING_ERROR_POINTS
        line = work.book.chart("line")
        _, categories, values = block.series(column + 2)
        line.add_series(
            {
                "name": "bound, ±",
                "categories": categories,
                "values": values,
                "line": {"none": True},
                "marker": {"type": "long_dash", "size": 8, "border": {"color": OCHRE}, "fill": {"color": OCHRE}},
                "y_error_bars": {
                    "type": "fixed",
                    "value": 2.0 * bound,
                    "direction": "minus",
                    "line": {"color": OCHRE, "width": 1.25},
                },
            }
        )
        chart.combine(line)
        style_chart(chart, label, "", "", size=(half - 4, _CHART_PIXELS), y_format="0.0")
        if place:
            sheet.chart(row, middle, chart, x_offset=offset)
        else:
            sheet.chart(row, 0, chart)
    return row + _CHART_PIXELS // ROW_PIXELS + 2


def _long_table(work: Work, sheet: Sheet, row: int, heads, table, breaks: list[int], write_line) -> int:
    """Lines of a table grouped by candidate; no candidate is torn apart by a page, and each page has the header."""
    band = work.styles("subtotal", "bold")
    row = page = _heads(work, sheet, row, heads)
    numbers = {c.id: k for k, c in enumerate(work.results.candidates, 1)}
    starts = [
        k for k, (this, before) in enumerate(zip(table["candidate"], [None, *table["candidate"]])) if this != before
    ]
    lines = list(table.itertuples(index=False))
    for first, end in zip(starts, [*starts[1:], len(lines)]):
        if row - page + end - first + 1 > _PAGE_LINES and row > page:
            breaks.append(row)
            row = page = _heads(work, sheet, row, heads)
        for place in range(len(heads)):
            sheet.text(row, place, f"{numbers[lines[first].candidate]} {lines[first].name}" if place == 0 else "", band)
        row += 1
        for line in lines[first:end]:
            write_line(row, line)
            row += 1
    return row


def _accuracy(work: Work, sheet: Sheet, row: int, breaks: list[int]) -> int:
    """One line per candidate and quantity: figures of the hours, of the rows and of classic bins, with errors and
    status."""
    s = work.styles
    row = _section(work, sheet, row, "Bins against hours, by option and end use")
    styles = {
        name: (s(code, "line", *more))
        for name, code, more in (
            ("figure", "f1", ()),
            ("error", "error", ()),
            ("bound", "f2", ("quiet",)),
            ("usd", "usd2_signed", ()),
        )
    }
    text_style, unit_style = s("line", "inset"), s("line", "small", "quiet", "centre")

    def write_line(row, line):
        sheet.text(row, 0, line.label, text_style)
        _status_cell(work, sheet, row, 1, line.status)
        # Savings are shares: one decimal would hide their errors.
        saving = line.quantity == "saving_pct"
        sheet.text(row, 2, "%" if saving else line.unit, unit_style)
        figure, error = styles["error" if saving else "figure"], styles["error"]
        for place, (value, style) in enumerate(
            (
                (line.hourly, figure),
                (line.bins, figure),
                (line.classic, figure),
                (line.bins_error, error),
                (line.classic_error, error),
                (line.bound, styles["bound"]),
            ),
            3,
        ):
            sheet.number(row, place, value, style)
        sheet.text(row, 9, line.error_unit, unit_style)
        sheet.cell(row, 10, line.bins_error_usd, styles["usd"])
        sheet.cell(row, 11, line.classic_error_usd, styles["usd"])
        _status_cell(work, sheet, row, 12, line.classic_status)

    heads = (
        "Option and quantity",
        "Status of rows",
        "Unit",
        "Hour by hour",
        "From the rows",
        "Classic bins",
        "Error of rows",
        "Error of classic bins",
        "Bound, ±",
        "Errors in",
        money_words("Error of rows, USD"),
        money_words("Error of classic bins, USD"),
        "Status of classic bins",
    )
    return _long_table(work, sheet, row, heads, bin_accuracy_table(work.results), breaks, write_line)


def _counts(work: Work, sheet: Sheet, row: int, breaks: list[int]) -> int:
    """Counts of the hourly run, which are those shown to people, beside those the rows would give."""
    s = work.styles
    row = _section(
        work, sheet, row, "Counts: hour by hour, as shown everywhere in this file, beside what the rows would give"
    )
    row = _remark(
        work,
        sheet,
        row,
        "Rows are chosen to keep energies, not counts: a zone that is too warm in a few hours may be in no row at "
        "all, or in one with a large weight. "
        "So no count in this file comes from the rows; what they would give is shown here with its error. Counts that "
        "are 0 in both are left out.",
    )
    number_style, error_style, share_style = s("f1", "line"), s("signed1", "line"), s("signed1", "line", "quiet")
    text_style, unit_style, none_style = (
        s("line", "inset"),
        s("line", "small", "quiet", "centre"),
        s("line", "right", "quiet"),
    )

    def write_line(row, line):
        sheet.text(row, 0, line.label, text_style)
        sheet.blank(row, 1, text_style)
        sheet.text(row, 2, line.unit.replace("degF.h", "°F·h"), unit_style)
        sheet.number(row, 3, line.hourly, number_style)
        sheet.number(row, 4, line.bins, number_style)
        sheet.number(row, 5, line.error, error_style)
        if line.hourly:
            sheet.number(row, 6, 100.0 * line.error / line.hourly, share_style)
        else:
            sheet.text(row, 6, "–", none_style)

    heads = (
        "Option and count",
        "",
        "Unit",
        "Hour by hour, shown",
        "From the rows",
        "Error of rows",
        "Error, % of the hourly",
    )
    return _long_table(work, sheet, row, heads, count_accuracy_table(work.results), breaks, write_line)


def _findings(work: Work, sheet: Sheet, row: int) -> int:
    s, results = work.styles, work.results
    row = _section(work, sheet, row, "Findings of the run")
    order = ("caution", "check", "info")
    for finding in sorted(results.findings, key=lambda f: order.index(f.level)):
        word, style = _LEVEL[finding.level]
        sheet.text(row, 0, finding.where, s("wrap", "line"))
        sheet.text(row, 1, word, s(style, "line", "centre"))
        sheet.merged_text(row, 2, row, _LAST, finding.text, s("wrap", "line"))
        sheet.height(
            row, height_of(max(lines_of(finding.text, room(_WIDTHS[2:])), lines_of(finding.where, _WIDTHS[0])))
        )
        row += 1
    return row
