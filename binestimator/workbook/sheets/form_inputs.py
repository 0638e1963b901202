"""Sheet of the inputs that occur once, as a form: yours, otherwise, reviewer's override, what counts."""

from __future__ import annotations

from ...inputs.form_entries import Entry
from ...inputs.form_keys import CORNER, COUNTS, END, NOT_READ, OTHERWISE, PROFILES, REVIEWER, STRATEGIES, YOURS, ZONES
from ...inputs.form_values import Content
from ...inputs.schema import STATUSES, fields_of, title_of
from ..addresses import cell_name
from ..form_layout import (
    INPUT_ALLOWED,
    INPUT_AT,
    INPUT_COLUMNS,
    INPUT_FIRST_ROW,
    INPUT_HEAD_ROW,
    INPUT_KEY,
    INPUT_KEY_ROW,
    INPUT_KIND,
    INPUT_LAYERS,
    INPUT_SOURCE,
    INPUT_UNIT,
    INPUT_WHAT,
    INPUT_WHOSE,
)
from ..layout import input_name
from ..page import height_of, lines_of, title, unit_text
from ..strict import Sheet
from .form_cells import KIND_WORDS, FormPages, add_rule, allowed_text, put_layers, put_yours

_WIDTHS = [width for _, _, width in INPUT_COLUMNS]
_STATUS_MESSAGE = "How the value was obtained: " + ", ".join(STATUSES) + ". Leave it empty where that is not known."


def write(form: FormPages, sheet: Sheet) -> None:
    """Write the sheet."""
    s, content = form.styles, form.content
    title(
        form,
        sheet,
        "Inputs",
        f"Every input that occurs once. Profile groups, zones and options are on “{PROFILES}”, “{ZONES}” and "
        f"“{STRATEGIES}”.",
        link_column=None if form.empty else INPUT_WHAT,
    )
    counts = {kind: sum(e.yours is None and e.kind == kind for e in content.singles) for kind in KIND_WORDS}
    given = sum(e.yours is not None for e in content.singles)
    sheet.text(
        2,
        0,
        f"● {given} given  ·  "
        + "  ·  ".join(f"{words} {counts[kind]}" for kind, words in KIND_WORDS.items() if counts[kind]),
        s("bold"),
    )
    sheet.text(
        3,
        0,
        "Fill the sand-coloured cells; empty ones take what is under “Otherwise”. Green-rimmed cells are a "
        "reviewer’s: they change “Counts” "
        "and what is reviewed, never the claim.",
        s("small", "quiet"),
    )
    sheet.widths([*_WIDTHS, 30.0])
    for column, (_, label, _) in enumerate(INPUT_COLUMNS):
        sheet.text(INPUT_HEAD_ROW, column, label, s("head_left"))
    sheet.text(INPUT_HEAD_ROW, INPUT_KEY, "Key in the project file", s("head_left"))
    sheet.height(INPUT_HEAD_ROW, 27)
    _keys(form, sheet, INPUT_KEY_ROW, "inputs", {column: key for column, (key, _, _) in enumerate(INPUT_COLUMNS)})
    for row, what in form.plan.input_rows:
        if isinstance(what, str):
            sheet.height(row, 22)
            for column in range(INPUT_KEY):
                sheet.text(row, column, title_of(what) if column == 0 else "", s("section"))
        else:
            _line(form, sheet, row, what)
    first, last = INPUT_FIRST_ROW, form.plan.about_row - 2
    _offer_statuses(sheet, first, last, INPUT_AT["status"])
    _about(form, sheet)
    _paths(
        form,
        sheet,
        form.plan.overrides_row,
        "overrides",
        "Values the project lays over others: path and value; they win over the cells above",
        content.overrides,
        form.plan.spare.lines,
    )
    if form.plan.underneath_row is not None:
        _paths(
            form,
            sheet,
            form.plan.underneath_row,
            "underneath",
            "Given values that lie under those",
            content.underneath,
            0,
        )
    if form.plan.terms_row is not None:
        _paths(
            form,
            sheet,
            form.plan.terms_row,
            "terms",
            "Terms of utilities and programmes: peak_window[1].months, incentive[1].usd_kwh; the number is that of the "
            "window or incentive",
            content.terms,
            form.plan.spare.lines,
        )
    sheet.freeze(INPUT_KEY_ROW + 1, 1)
    sheet.on_paper(
        footer=form.footer,
        last_row=form.plan.inputs_last_row,
        last_column=INPUT_WHAT,
        repeat_rows=(INPUT_HEAD_ROW, INPUT_HEAD_ROW),
        letter=False,
    )


def _keys(form: FormPages, sheet: Sheet, row: int, table: str, keys: dict[int, str]) -> None:
    """Line of keys of a table, small: the reader of forms finds cells by it."""
    sheet.height(row, 10)
    for column in range(INPUT_KEY):
        sheet.text(row, column, keys.get(column, NOT_READ), form.styles("key"))
    sheet.text(row, INPUT_KEY, CORNER + table, form.styles("key"))


def _line(form: FormPages, sheet: Sheet, row: int, entry: Entry) -> None:
    s, field = form.styles, entry.field
    coordinate = entry.path.rpartition(".")[2] if field.type == "points" else ""
    label = f"{field.label}: {coordinate}" if coordinate else field.label
    unit = unit_text(field.unit)
    if coordinate:
        unit = unit.partition(":")[0] if coordinate[0] == "x" else unit.partition(":")[2]
    first = coordinate in ("", "x1")
    evidence, status = (
        table.get(field.path) if first else None for table in (form.content.evidence, form.content.status)
    )
    sheet.text(row, 0, label, s("wrap", "line", "bold"))
    sheet.text(row, INPUT_UNIT, unit, s("text_small", "line"))
    allowed = allowed_text(field) if first else ""
    sheet.text(row, INPUT_ALLOWED, allowed, s("text_small", "line", "quiet"))
    put_layers(form, sheet, row, INPUT_LAYERS, entry, "left", "top", mark=False)
    sheet.text(row, INPUT_KIND, KIND_WORDS[entry.kind], s("text_small", "line", "quiet"))
    yours, review, kind = (cell_name(row, column) for column in (INPUT_AT[YOURS], INPUT_AT[REVIEWER], INPUT_KIND))
    own = f'IF({yours}<>"","● yours",{kind})'
    sheet.formula(
        row,
        INPUT_WHOSE,
        f'=IF({review}<>"","reviewer’s",{own})' if entry.can_review else f"={own}",
        "● yours" if entry.yours is not None else KIND_WORDS[entry.kind],
        s("text_small", "line", "quiet"),
    )
    if first:
        sheet.cell(
            row, INPUT_AT["status"], status, s("text_small", "as_text", "entry" if status is None else "entry_filled")
        )
        sheet.cell(
            row,
            INPUT_AT["evidence"],
            evidence,
            s("text_small", "as_text", "entry" if evidence is None else "entry_filled"),
        )
    else:
        for name in ("status", "evidence"):
            sheet.text(row, INPUT_AT[name], "", s("line"))
    what = field.description if first else ""
    sheet.text(row, INPUT_SOURCE, entry.source if first else "", s("text_small", "line"))
    sheet.text(row, INPUT_WHAT, what, s("text_small", "line"))
    sheet.text(row, INPUT_KEY, entry.path, s("text_small", "quiet"))
    for layer in (YOURS, REVIEWER):
        if layer == YOURS or entry.can_review:
            at = INPUT_AT[layer]
            add_rule(form, sheet, field, (row, at, row, at), coordinate[:1], layer)
    if not coordinate:
        form.book.define_name(input_name(entry.path), sheet.name, row, INPUT_AT[COUNTS])
    texts = {
        0: label,
        INPUT_ALLOWED: allowed,
        INPUT_SOURCE: entry.source if first else "",
        INPUT_WHAT: what,
        INPUT_AT["evidence"]: evidence or "",
        INPUT_AT[YOURS]: entry.yours,
        INPUT_AT[OTHERWISE]: entry.otherwise,
        INPUT_AT[COUNTS]: entry.counts,
        INPUT_UNIT: unit,
    }
    lines = max(
        lines_of(text, _WIDTHS[column], 9.0 if column == 0 else 8.0, bold=column == 0)
        for column, text in texts.items()
        if isinstance(text, str)
    )
    sheet.height(row, height_of(lines, 8.2))


def _heading(
    form: FormPages, sheet: Sheet, row: int, text: str, table: str, keys: dict[int, str], heads: dict[int, str]
) -> None:
    s = form.styles
    sheet.height(row, 22)
    sheet.text(row, INPUT_KEY, END, s("key"))
    for column in range(INPUT_KEY):
        sheet.text(row, column, text if column == 0 else "", s("section"))
        if column in heads:
            sheet.text(row + 1, column, heads[column], s("head_left"))
    _keys(form, sheet, row + 2, table, keys)


def _about(form: FormPages, sheet: Sheet) -> None:
    """Evidence and status of inputs that come in numbers, by their paths."""
    s, row = form.styles, form.plan.about_row
    status, evidence = INPUT_AT["status"], INPUT_AT["evidence"]
    _heading(
        form,
        sheet,
        row,
        "Evidence and status of inputs of groups, zones and options, by path: zone.Lobby.max_cfm, zone.*.max_cfm",
        "about",
        {0: "path", status: "status", evidence: "evidence"},
        {0: "Path", status: "Status", evidence: "Evidence"},
    )
    row += 3
    first = row
    lines = [*form.content.about, *[(None, None, None)] * form.plan.spare.lines]
    for path, text, word in lines:
        for column, value in ((0, path), (status, word), (evidence, text)):
            sheet.cell(row, column, value, s("text_small", "as_text", "entry" if value is None else "entry_filled"))
        if path:
            tall = max(lines_of(path, _WIDTHS[0], 8.0), lines_of(text or "", _WIDTHS[evidence], 8.0))
            sheet.height(row, height_of(tall, 8.2))
        sheet.text(row, INPUT_KEY, f"line {row - first + 1}", s("key"))
        row += 1
    _offer_statuses(sheet, first, row - 1, status)


def _offer_statuses(sheet: Sheet, first: int, last: int, column: int) -> None:
    sheet.validate(
        first,
        column,
        last,
        column,
        validate="list",
        source=list(STATUSES),
        input_title="Status",
        input_message=_STATUS_MESSAGE,
        error_title="Not allowed",
        error_message="Expected one of " + ", ".join(STATUSES) + ".",
    )


def _paths(
    form: FormPages, sheet: Sheet, row: int, table: str, text: str, lines: list[tuple[str, Content]], spare: int
) -> None:
    """A table of paths and values."""
    s, at = form.styles, INPUT_AT[YOURS]
    _heading(form, sheet, row, text, table, {0: "path", at: YOURS}, {0: "Path", at: "Value"})
    row += 3
    first = row
    field = fields_of("project")["name"]
    for path, value in [*lines, *[(None, None)] * spare]:
        sheet.cell(row, 0, path, s("text_small", "as_text", "entry" if path is None else "entry_filled"))
        if value is None:
            sheet.blank(row, at, s("general", "entry"))
        else:
            put_yours(form, sheet, row, at, value, field, "left", "top")
        sheet.height(
            row,
            height_of(max(lines_of(path or "", _WIDTHS[0], 8.0), lines_of(str(value or ""), _WIDTHS[at], 8.0)), 8.2),
        )
        sheet.text(row, INPUT_KEY, f"line {row - first + 1}", s("key"))
        row += 1
