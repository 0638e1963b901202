"""Sheets of inputs that come in numbers, as forms: profile groups and special zones, zones, strategies."""

from __future__ import annotations

from ...inputs.follows import default_lines
from ...inputs.form_entries import Entry, Item, can_review
from ...inputs.form_keys import (
    CORNER,
    COUNTS,
    END,
    FROM,
    FROM_FILE,
    FROM_QUICK,
    NOT_READ,
    OTHERWISE,
    REVIEWER,
    TABLES,
    UNUSED,
    YOURS,
)
from ...inputs.form_values import Content, cell_of
from ...inputs.schema import STRATEGY_SECTIONS, Field, fields_of, title_of
from ..addresses import cell_name
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
from ..page import height_of, lines_of, title, unit_text
from ..strict import Sheet
from .form_cells import (
    KIND_WORDS,
    LAYER_WORDS,
    FormPages,
    add_rule,
    allowed_text,
    put_counts,
    put_layers,
    put_otherwise,
    put_review,
    put_yours,
)

_LABEL, _UNIT, _ALLOWED, _SOURCE, _WHAT, _ITEM = 30.0, 13.0, 18.5, 40.0, 46.0, 15.5


def _legend(form: FormPages, sheet: Sheet, row: int) -> None:
    marks = "  ·  ".join(words for kind, words in KIND_WORDS.items() if kind != "unused")
    sheet.text(
        row,
        0,
        f"Sand-coloured cells are yours, green-rimmed ones a reviewer’s. Marks behind what counts otherwise: {marks}",
        form.styles("small", "quiet"),
    )


# ---------------------------------------------------------------- inputs down, things across


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
            _side_table(form, sheet, form.plan.side[kind], title_of(kind))
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
    _side_table(form, sheet, table, title_of("candidate"))
    _changes(form, sheet, table)
    _library(form, sheet, table)
    _finish_side(form, sheet, table, form.plan.strategies_last_row)


def _finish_side(form: FormPages, sheet: Sheet, table: SideTable, last_row: int) -> None:
    sheet.widths([_LABEL, _UNIT, _ALLOWED, *[_ITEM] * (4 * table.slots), _SOURCE, _WHAT, 22.0])
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


def _side_table(form: FormPages, sheet: Sheet, table: SideTable, label: str) -> None:
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
    lines = max(lines_of(label, _LABEL, bold=True), lines_of(unit, _UNIT, 8.0), lines_of(allowed, _ALLOWED, 8.0))
    sources = []
    for place in range(table.slots):
        item = items[place] if place < len(items) else None
        entry = item.entries[key] if item is not None else _spare_entry(table.kind, field, coordinate)
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
                lines = max(lines, lines_of(content, _ITEM, 8.0))
    source = "; ".join(dict.fromkeys(sources)) if first else ""
    what = field.description if first else ""
    sheet.text(row, table.source_column, source, s("text_small", "line"))
    sheet.text(row, table.source_column + 1, what, s("text_small", "line"))
    sheet.text(row, table.key_column, key, s("text_small", "quiet"))
    lines = max(lines, lines_of(source, _SOURCE, 8.0), lines_of(what, _WHAT, 8.0))
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


def _spare_entry(kind: str, field: Field, coordinate: str) -> Entry:
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
    sheet.height(row, height_of(lines_of(what, _WHAT, 8.0), 8.2))
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


def _changes(form: FormPages, sheet: Sheet, table: SideTable) -> None:
    """What options change besides their setpoints."""
    s, row = form.styles, form.plan.changes_row
    path, id_, value = 0, SIDE_FIRST_COLUMN, SIDE_FIRST_COLUMN + 1
    _small_head(
        form,
        sheet,
        table,
        row,
        "What options change besides their setpoints (repair and companion measures)",
        "changes",
        {path: "path", id_: "id", value: YOURS},
        {path: "Path of the input", id_: "Id of the option", value: "Value"},
    )
    row += 3
    first = row
    for candidate, at, content in [*form.content.changes, *[(None, None, None)] * form.plan.spare.lines]:
        for column, text in ((path, at), (id_, candidate)):
            sheet.cell(row, column, text, s("text_small", "as_text", "entry" if text is None else "entry_filled"))
        if isinstance(content, float):
            sheet.number(row, value, content, s("general", "entry_filled", "right"))
        else:
            sheet.cell(row, value, content, s("general", "entry" if content is None else "entry_filled", "right"))
        sheet.text(row, table.key_column, f"line {row - first + 1}", s("key"))
        sheet.height(row, height_of(max(lines_of(at or "", _LABEL, 8.0), lines_of(candidate or "", _ITEM, 8.0)), 8.2))
        row += 1


def _library(form: FormPages, sheet: Sheet, table: SideTable) -> None:
    """Settings that all candidates with a strategy share."""
    s, row = form.styles, form.plan.library_row
    value, otherwise = SIDE_FIRST_COLUMN, SIDE_FIRST_COLUMN + 1
    _small_head(
        form,
        sheet,
        table,
        row,
        "Settings shared by every option with that strategy",
        "library",
        {value: YOURS},
        {0: "Setting", 1: "Unit", 2: "Allowed", value: "Your value", otherwise: "Otherwise"},
    )
    for row, what in form.plan.library_rows:
        if isinstance(what, str):
            part, strategy = what.split(".")
            words = "Supply air temperature" if part == "sat" else "Duct static pressure"
            for column in range(table.key_column):
                sheet.text(row, column, f"{words}, {strategy.replace('_', ' ')}" if column == 0 else "", s("section"))
            sheet.height(row, 20)
            continue
        field = what.field
        coordinate = what.path.rpartition(".")[2] if field.type == "points" else ""
        first = coordinate in ("", "x1")
        unit = unit_text(field.unit)
        if coordinate:
            line = default_lines().get((part, strategy))
            x_unit = (line.x_unit if line is not None else "") or unit.partition(":")[0]
            unit = x_unit if coordinate[0] == "x" else unit.rpartition(":")[2]
        sheet.text(row, 0, f"{field.label}: {coordinate}" if coordinate else field.label, s("wrap", "line", "bold"))
        sheet.text(row, 1, unit, s("text_small", "line"))
        sheet.text(row, 2, allowed_text(field) if first else "", s("text_small", "line", "quiet"))
        put_yours(form, sheet, row, value, what.yours, field, "top", "right")
        put_otherwise(form, sheet, row, otherwise, what, "top", "right")
        description = field.description if first else ""
        sheet.text(row, table.source_column, what.source if first else "", s("text_small", "line"))
        sheet.text(row, table.source_column + 1, description, s("text_small", "line"))
        sheet.text(row, table.key_column, what.path, s("text_small", "quiet"))
        sheet.height(
            row,
            height_of(
                max(
                    lines_of(description, _WHAT, 8.0),
                    lines_of(allowed_text(field) if first else "", _ALLOWED, 8.0),
                    lines_of(field.label, _LABEL, bold=True),
                ),
                8.2,
            ),
        )
        add_rule(form, sheet, field, (row, value, row, value), coordinate[:1])


def _small_head(
    form: FormPages,
    sheet: Sheet,
    table: SideTable,
    row: int,
    text: str,
    name: str,
    keys: dict[int, str],
    heads: dict[int, str],
) -> None:
    s = form.styles
    sheet.height(row, 22)
    sheet.text(row, table.key_column, END, s("key"))
    for column in range(table.key_column):
        sheet.text(row, column, text if column == 0 else "", s("section"))
        if column in heads:
            sheet.text(row + 1, column, heads[column], s("head_left"))
        if column in keys:
            sheet.text(row + 2, column, keys[column], s("key"))
    sheet.text(row + 2, table.key_column, CORNER + name, s("key"))
    sheet.height(row + 2, 10)


# ---------------------------------------------------------------- zones


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
    _zone_head(form, sheet)
    widths = [26.0, 13.0] + [
        _zone_width(fields[name], [item.entries[name] for item in zones])
        for _ in form.plan.layers
        for name in ZONE_FIELDS
    ]
    rows = range(ZONE_FIRST_ROW, form.plan.zones_last_row + 1)
    for at, row in enumerate(rows):
        item = zones[at] if at < len(zones) else None
        _zone_line(form, sheet, row, at, item, widths)
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


def _zone_width(field: Field, entries: list[Entry]) -> float:
    longest = max((len(c) for e in entries for c in (e.yours, e.otherwise) if isinstance(c, str)), default=0)
    word = max(len(part) for part in field.label.split())
    return min(max(9.0, longest * 0.85 + 2.5, word * 1.05 + 0.8), 18.0)


def _zone_head(form: FormPages, sheet: Sheet) -> None:
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


def _zone_line(form: FormPages, sheet: Sheet, row: int, at: int, item: Item | None, widths: list[float]) -> None:
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
        entry = item.entries[name] if item is not None else _spare_entry("zone", field, "")
        columns = form.plan.zone_columns(name)
        put_layers(form, sheet, row, columns, entry, "top", "right")
        for content, column in ((entry.yours, columns[0]), (entry.otherwise, columns[1])):
            if isinstance(content, str):
                lines = max(lines, lines_of(content, widths[column], 8.0))
    sheet.text(row, ZONE_KEY_COLUMN, f"zone {at + 1}", s("key"))
    sheet.height(row, height_of(lines, 8.2))
