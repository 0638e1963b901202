"""Tables of a form below the candidates: what else they change, and settings that they share."""

from __future__ import annotations

from ...inputs.follows import default_lines
from ...inputs.form_keys import CORNER, END, YOURS
from ..form_layout import SIDE_FIRST_COLUMN, SideTable
from ..page import height_of, lines_of, unit_text
from ..strict import Sheet
from .form_cells import FormPages, add_rule, allowed_text, put_otherwise, put_yours
from .form_side import ALLOWED, ITEM, LABEL, WHAT


def changes(form: FormPages, sheet: Sheet, table: SideTable) -> None:
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
        sheet.height(row, height_of(max(lines_of(at or "", LABEL, 8.0), lines_of(candidate or "", ITEM, 8.0)), 8.2))
        row += 1


def library(form: FormPages, sheet: Sheet, table: SideTable) -> None:
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
                    lines_of(description, WHAT, 8.0),
                    lines_of(allowed_text(field) if first else "", ALLOWED, 8.0),
                    lines_of(field.label, LABEL, bold=True),
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
