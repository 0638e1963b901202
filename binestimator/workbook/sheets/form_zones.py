"""The table of zones of a form: a line each, layers side by side."""

from __future__ import annotations

from ...inputs.form_entries import Entry, Item
from ...inputs.form_keys import CORNER, FROM, FROM_FILE, FROM_QUICK, OTHERWISE, TABLES, YOURS
from ...inputs.schema import Field, fields_of
from ..form_layout import ZONE_BAND_ROW, ZONE_FIELDS, ZONE_KEY_COLUMN, ZONE_ROWS
from ..page import height_of, lines_of, unit_text
from ..strict import Sheet
from .form_cells import LAYER_WORDS, FormPages, allowed_text, put_layers
from .form_side import spare_entry


def zone_width(field: Field, entries: list[Entry]) -> float:
    """Width of a column for the longest word of its label and for its texts. [characters]"""
    longest = max((len(c) for e in entries for c in (e.yours, e.otherwise) if isinstance(c, str)), default=0)
    word = max(len(part) for part in field.label.split())
    return min(max(9.0, longest * 0.85 + 2.5, word * 1.05 + 0.8), 18.0)


def zone_head(form: FormPages, sheet: Sheet) -> None:
    """Lines above the zones: band, labels, units, what is allowed, source of the default, keys."""
    s, fields = form.styles, fields_of("zone")
    for column, text in enumerate(("Zone", "From")):
        sheet.text(ZONE_BAND_ROW, column, "" if column else "Zones", s("band"))
        sheet.text(ZONE_ROWS["label"], column, text, s("head_left"))
        for row in ("unit", "allowed", "default"):
            sheet.text(
                ZONE_ROWS[row],
                column,
                "" if column else {"unit": "unit", "allowed": "allowed", "default": "source of the default"}[row],
                s("units"),
            )
    sheet.text(ZONE_ROWS["key"], 0, TABLES["zone"].column_key(YOURS, key="name"), s("key"))
    sheet.text(ZONE_ROWS["key"], 1, FROM, s("key"))
    for layer in form.plan.layers:
        for place, name in enumerate(ZONE_FIELDS):
            field, column = fields[name], form.plan.zone_column(layer, name)
            sheet.text(ZONE_BAND_ROW, column, LAYER_WORDS[layer] if place == 0 else "", s("band"))
            sheet.text(ZONE_ROWS["label"], column, field.label, s("head"))
            sheet.text(ZONE_ROWS["unit"], column, unit_text(field.unit), s("units"))
            sheet.text(
                ZONE_ROWS["allowed"],
                column,
                allowed_text(field) if len(allowed_text(field)) < 45 else "see the list in the cell",
                s("units"),
            )
            sheet.text(ZONE_ROWS["default"], column, field.source if layer == OTHERWISE else "", s("units"))
            sheet.text(ZONE_ROWS["key"], column, TABLES["zone"].column_key(layer, key=name), s("key"))
    sheet.text(ZONE_ROWS["key"], ZONE_KEY_COLUMN, CORNER + "zone", s("key"))
    for row, height in (("label", 62.0), ("allowed", 44.0), ("default", 34.0), ("key", 10.0)):
        sheet.height(ZONE_ROWS[row], height)


def zone_line(form: FormPages, sheet: Sheet, row: int, at: int, item: Item | None, widths: list[float]) -> None:
    """The line of a zone, or an empty one where ``item`` is None; ``at`` is its place from 0."""
    s, fields = form.styles, fields_of("zone")
    lines = 1
    if item is None:
        sheet.blank(row, 0, s("as_text", "text_small", "entry"))
        sheet.text(row, 1, "", s("text_small", "line", "quiet"))
    else:
        made = item.origin == FROM_QUICK
        sheet.text(
            row,
            0,
            item.name if made else str(item.entries["name"].yours or item.name),
            s("as_text", "wrap", "line" if made else "entry_filled", "bold"),
        )
        sheet.text(
            row, 1, item.origin if item.origin in (FROM_QUICK, FROM_FILE) else "", s("text_small", "line", "quiet")
        )
        lines = max(lines_of(item.name, widths[0], bold=True), lines_of(item.origin, widths[1], 8.0))
    for name in ZONE_FIELDS:
        field = fields[name]
        entry = item.entries[name] if item is not None else spare_entry("zone", field, "")
        columns = form.plan.zone_columns(name)
        put_layers(form, sheet, row, columns, entry, "top", "right")
        for content, column in ((entry.yours, columns[0]), (entry.otherwise, columns[1])):
            if isinstance(content, str):
                lines = max(lines, lines_of(content, widths[column], 8.0))
    sheet.text(row, ZONE_KEY_COLUMN, f"zone {at + 1}", s("key"))
    sheet.height(row, height_of(lines, 8.2))
