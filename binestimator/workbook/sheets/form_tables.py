"""Sheets of inputs that come in numbers, as forms: profile groups and special zones, zones, strategies."""

from __future__ import annotations

from ...inputs.form_keys import COUNTS, REVIEWER, YOURS
from ...inputs.schema import fields_of, title_of
from ..form_layout import (
    SIDE_BAND_ROW,
    SIDE_FIRST_COLUMN,
    ZONE_BAND_ROW,
    ZONE_FIELDS,
    ZONE_FIRST_ROW,
    ZONE_KEY_COLUMN,
    ZONE_ROWS,
    SideTable,
)
from ..page import title
from ..strict import Sheet
from .form_cells import KIND_WORDS, FormPages, add_rule
from .form_options import changes, library
from .form_side import ALLOWED, ITEM, LABEL, SOURCE, UNIT, WHAT, side_table
from .form_zones import zone_head, zone_line, zone_width


def _legend(form: FormPages, sheet: Sheet, row: int) -> None:
    marks = "  ·  ".join(words for kind, words in KIND_WORDS.items() if kind != "unused")
    sheet.text(
        row,
        0,
        f"Sand-coloured cells are yours, green-rimmed ones a reviewer’s. Marks behind what counts otherwise: {marks}",
        form.styles("small", "quiet"),
    )


def write_profiles(form: FormPages, sheet: Sheet) -> None:
    """Profile groups, and special zones of the quick description."""
    title(
        form,
        sheet,
        "Profile groups",
        "Hours, gains, setpoints and minimums that zones share by their group"
        + (
            "; below, special zones taken out of the core of the quick description"
            if "special" in form.plan.side
            else ""
        ),
    )
    _legend(form, sheet, 2)
    table = form.plan.side["group"]
    for kind in ("group", "special"):
        if kind in form.plan.side:
            side_table(form, sheet, form.plan.side[kind], title_of(kind))
    last = form.plan.side["special" if "special" in form.plan.side else "group"].last_row
    _finish_side(form, sheet, table, last)


def write_strategies(form: FormPages, sheet: Sheet) -> None:
    """Candidates with the parameters of their strategies, what else they change, and settings they share."""
    title(
        form,
        sheet,
        "Strategies",
        "Options across; empty or – is what a strategy does not use. Shared settings are below and count where an "
        "option "
        "gives nothing of its own.",
    )
    _legend(form, sheet, 2)
    table = form.plan.side["candidate"]
    side_table(form, sheet, table, title_of("candidate"))
    changes(form, sheet, table)
    library(form, sheet, table)
    _finish_side(form, sheet, table, form.plan.strategies_last_row)


def _finish_side(form: FormPages, sheet: Sheet, table: SideTable, last_row: int) -> None:
    sheet.widths([LABEL, UNIT, ALLOWED, *[ITEM] * (4 * table.slots), SOURCE, WHAT, 22.0])
    sheet.freeze(SIDE_BAND_ROW + 3, 1)
    last_column, pages = table.source_column + 1, 4 if table.slots > 5 else 2
    if _prints_what_counts(form):
        last_column, pages = SIDE_FIRST_COLUMN + max(table.slots, 2) - 1, -(-table.slots // 12)
    sheet.on_paper(
        footer=form.footer,
        last_row=last_row,
        last_column=last_column,
        repeat_columns=(0, 0),
        letter=False,
        repeat_rows=(SIDE_BAND_ROW, SIDE_BAND_ROW + 2),
        pages_wide=pages,
    )


def _prints_what_counts(form: FormPages) -> bool:
    """Whether the value that counts comes first, as in a workbook of results, of which only it is printed; a form is
    printed whole."""
    return form.plan.layers[0] == COUNTS


def write_zones(form: FormPages, sheet: Sheet) -> None:
    """One line a zone; the layers are side by side."""
    zones, fields = form.content.zones, fields_of("zone")
    count = sum(int(item.entries["multiplier"].counts) for item in zones)
    title(
        form,
        sheet,
        "Zones",
        f"{len(zones)} zone lines represent {count:,} zones"
        if zones
        else "One line for each zone, or none: the quick description of the building makes zones by itself",
    )
    _legend(form, sheet, 2)
    zone_head(form, sheet)
    widths = [26.0, 13.0] + [
        zone_width(fields[name], [item.entries[name] for item in zones])
        for _ in form.plan.layers
        for name in ZONE_FIELDS
    ]
    rows = range(ZONE_FIRST_ROW, form.plan.zones_last_row + 1)
    for at, row in enumerate(rows):
        item = zones[at] if at < len(zones) else None
        zone_line(form, sheet, row, at, item, widths)
    if rows:
        add_rule(form, sheet, fields["name"], (rows[0], 0, rows[-1], 0))
        for name in ZONE_FIELDS:
            for layer in (YOURS, REVIEWER):
                column = form.plan.zone_column(layer, name)
                add_rule(form, sheet, fields[name], (rows[0], column, rows[-1], column), who=layer)
    sheet.widths([*widths, 12.0])
    sheet.freeze(ZONE_FIRST_ROW, 1)
    last_column, pages = ZONE_KEY_COLUMN - 1, 4
    if _prints_what_counts(form):
        last_column, pages = form.plan.zone_column(COUNTS, ZONE_FIELDS[-1]), 1
    sheet.on_paper(
        footer=form.footer,
        last_row=max(form.plan.zones_last_row, ZONE_FIRST_ROW),
        last_column=last_column,
        repeat_rows=(ZONE_BAND_ROW, ZONE_ROWS["default"]),
        repeat_columns=(0, 0),
        letter=False,
        pages_wide=pages,
    )
