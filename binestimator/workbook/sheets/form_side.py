"""Tables of a form with inputs down and things across: profile groups, special zones, candidates."""

from __future__ import annotations

from ...inputs.form_entries import Entry, Item, can_review
from ...inputs.form_keys import CORNER, COUNTS, END, NOT_READ, OTHERWISE, REVIEWER, TABLES, UNUSED, YOURS
from ...inputs.form_values import Content, cell_of
from ...inputs.schema import STRATEGY_SECTIONS, Field, fields_of
from ..addresses import cell_name
from ..form_layout import SideTable
from ..page import height_of, lines_of, unit_text
from ..strict import Sheet
from .form_cells import LAYER_WORDS, FormPages, add_rule, allowed_text, put_counts, put_otherwise, put_review, put_yours

LABEL, UNIT, ALLOWED, SOURCE, WHAT, ITEM = 30.0, 13.0, 18.5, 40.0, 46.0, 15.5


def side_table(form: FormPages, sheet: Sheet, table: SideTable, label: str) -> None:
    """Head and all lines of a table."""
    s, band, items = form.styles, table.band_row, form.content.items(table.kind)
    for column, text in enumerate((label, "Unit", "Allowed")):
        sheet.text(band, column, text, s("band"))
        sheet.text(band + 1, column, NOT_READ, s("key"))
    for layer in table.layers:
        for place in range(table.slots):
            column = table.column(layer, place)
            sheet.text(band, column, LAYER_WORDS[layer] if place == 0 else "", s("band"))
            sheet.text(band + 1, column, TABLES[table.kind].column_key(layer, thing=f"{place + 1}"), s("key"))
    for column, text in (
        (table.source_column, "Source of defaults and derived values"),
        (table.source_column + 1, "What it is"),
    ):
        sheet.text(band, column, text, s("band"))
        sheet.text(band + 1, column, NOT_READ, s("key"))
    sheet.text(band + 1, table.key_column, CORNER + table.kind, s("key"))
    sheet.text(band, table.key_column, END, s("key"))
    sheet.height(band + 1, 10)
    for row, head in table.heads.items():
        sheet.height(row, 20)
        for column in range(table.key_column):
            sheet.text(row, column, head if column == 0 else "", s("section"))
    for key, row in table.rows.items():
        _side_line(form, sheet, table, key, row, items)


def _field_of(kind: str, key: str) -> tuple[Field, str]:
    """Field of a line and the coordinate of points."""
    parts = key.split(".")
    if parts[0] in STRATEGY_SECTIONS and len(parts) > 1:
        return fields_of(parts[0])[parts[1]], parts[2] if len(parts) > 2 else ""
    return fields_of(kind)[key], ""


def _side_line(form: FormPages, sheet: Sheet, table: SideTable, key: str, row: int, items: list[Item]) -> None:
    s = form.styles
    if key in ("listed", "baseline"):
        _mark_line(form, sheet, table, key, row, items)
        return
    field, coordinate = _field_of(table.kind, key)
    label = f"{field.label}: {coordinate}" if coordinate else field.label
    unit = unit_text(field.unit)
    if coordinate:
        # Points of duct pressure depend on outdoor temperature or on airflow, as the strategy is.
        unit = (
            ("°F or %" if key == "dsp.points." + coordinate else unit.partition(":")[0])
            if coordinate[0] == "x"
            else unit.rpartition(":")[2]
        )
    first = coordinate in ("", "x1")
    allowed = allowed_text(field) if first else ""
    for column, text, style in (
        (0, label, ("wrap", "line", "bold")),
        (1, unit, ("text_small", "line")),
        (2, allowed, ("text_small", "line", "quiet")),
    ):
        sheet.text(row, column, text, s(*style))
    lines = max(lines_of(label, LABEL, bold=True), lines_of(unit, UNIT, 8.0), lines_of(allowed, ALLOWED, 8.0))
    sources = []
    for place in range(table.slots):
        item = items[place] if place < len(items) else None
        entry = item.entries[key] if item is not None else spare_entry(table.kind, field, coordinate)
        columns = table.columns(place)
        more = ("top", "right")
        put_yours(form, sheet, row, columns[0], entry.yours, field, *more)
        if key in ("name", "id") and entry.yours is not None:
            _repeat(form, sheet, row, columns[1], columns[0], entry.yours)
        else:
            put_otherwise(form, sheet, row, columns[1], entry, *more)
        if entry.kind == "unused" and entry.yours is None and item is not None:
            continue  # neither anything to review nor anything that counts
        if key in ("name", "id") and item is not None:
            _repeat(form, sheet, row, columns[2], columns[3], entry.counts)
        else:
            put_review(form, sheet, row, columns[2], field, entry.can_review)
        put_counts(
            form,
            sheet,
            row,
            columns,
            entry.counts,
            entry.numbers_only,
            field,
            *more,
            *(("bold",) if key in ("name", "id") else ()),
        )
        if item is not None and entry.source and entry.yours is None and entry.kind != "unused":
            sources.append(entry.source)
        for content in (entry.yours, entry.otherwise):
            if isinstance(content, str):
                lines = max(lines, lines_of(content, ITEM, 8.0))
    source = "; ".join(dict.fromkeys(sources)) if first else ""
    what = field.description if first else ""
    sheet.text(row, table.source_column, source, s("text_small", "line"))
    sheet.text(row, table.source_column + 1, what, s("text_small", "line"))
    sheet.text(row, table.key_column, key, s("text_small", "quiet"))
    lines = max(lines, lines_of(source, SOURCE, 8.0), lines_of(what, WHAT, 8.0))
    sheet.height(row, height_of(lines, 8.2))
    for layer in (YOURS, REVIEWER):
        if layer == YOURS or can_review(field):
            add_rule(
                form,
                sheet,
                field,
                (row, table.column(layer, 0), row, table.column(layer, table.slots - 1)),
                coordinate[:1],
                layer,
            )


def _repeat(form: FormPages, sheet: Sheet, row: int, column: int, source: int, text: Content) -> None:
    """A name again, as the heading of another layer."""
    sheet.formula(
        row, column, "=" + cell_name(row, source), text, form.styles("text_small", "line", "bold", "top", "right")
    )


def spare_entry(kind: str, field: Field, coordinate: str) -> Entry:
    """Entry of a column that nobody has filled yet."""
    otherwise: Content
    if field.section in STRATEGY_SECTIONS or (kind == "candidate" and field.required) or field.required:
        otherwise, word = UNUSED, "unused"
    else:
        otherwise, word = cell_of(field, field.default), "default"
    allowed = can_review(field)
    return Entry(f"{kind}.{field.name}", field, None, otherwise, word, field.source, allowed)


def _mark_line(form: FormPages, sheet: Sheet, table: SideTable, key: str, row: int, items: list[Item]) -> None:
    """Place of a candidate in the list of the project, or the mark of the baseline."""
    s = form.styles
    label, what = {
        "listed": (
            "Place in the list",
            "Which options the project lists, in their order; a default one that is not listed is evaluated all "
            "the same. "
            "Leave it empty in new columns",
        ),
        "baseline": ("Baseline", "yes at most once: the option that the others are compared with"),
    }[key]
    sheet.text(row, 0, label, s("wrap", "line", "bold"))
    for column in (1, 2):
        sheet.text(
            row, column, "yes or no" if key == "baseline" and column == 2 else "", s("text_small", "line", "quiet")
        )
    for place in range(table.slots):
        item = items[place] if place < len(items) else None
        value = None
        if item is not None:
            value = (
                (None if item.listed is None else float(item.listed))
                if key == "listed"
                else (None if item.baseline is None else "yes" if item.baseline else "no")
            )
        sheet.cell(
            row, table.column(YOURS, place), value, s("general", "entry" if value is None else "entry_filled", "right")
        )
        for layer in (OTHERWISE, REVIEWER, COUNTS):
            sheet.text(row, table.column(layer, place), "", s("line"))
    sheet.text(row, table.source_column, "", s("line"))
    sheet.text(row, table.source_column + 1, what, s("text_small", "line"))
    sheet.text(row, table.key_column, key, s("text_small", "quiet"))
    sheet.height(row, height_of(lines_of(what, WHAT, 8.0), 8.2))
    if key == "baseline":
        sheet.validate(
            row,
            table.column(YOURS, 0),
            row,
            table.column(YOURS, table.slots - 1),
            validate="list",
            source=["yes", "no"],
            input_title=label,
            input_message=what + ".",
            error_title="Not allowed",
            error_message="Expected yes or no.",
        )
