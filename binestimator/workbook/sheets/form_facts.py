"""First sheet of an empty input form: the facts of a quick check, with which all other inputs may stay empty."""

from __future__ import annotations

from ...inputs.facts import Fact, facts, uses
from ...inputs.form_keys import CORNER, NOT_READ, TABLES, YOURS
from ..charts import room
from ..page import height_of, lines_of, title, unit_text
from ..strict import Sheet
from .form_cells import FormPages, add_rule, cut, put_yours

_HEADS = (
    (NOT_READ, "Fact", 29.0),
    (YOURS, "Your answer", 24.0),
    (NOT_READ, "Unit", 9.0),
    (NOT_READ, "Such as", 17.0),
    (NOT_READ, "If left empty", 17.0),
    (NOT_READ, "What it is, and what is allowed", 62.0),
)
_KEY = len(_HEADS)
_HEAD_ROW, _KEY_ROW = 4, 5
_WIDTHS = [width for *_, width in _HEADS]
_NEXT = (
    "Save this file beside the weather file, or where a folder weather with it is, and type:  binestimator estimate "
    "THIS-FILE.xlsx. The same facts can be typed in a terminal: binestimator quick.",
    "All other sheets may stay empty: what is empty there is a default, and the result says which defaults it rests on "
    "and what to measure next. Until those are measured it is not fit for a programme claim.",
    "What is given on another sheet as well counts there where it only follows from a fact here; where both say the "
    "same thing otherwise, the form is refused, with both cells.",
)


def write(form: FormPages, sheet: Sheet) -> None:
    """Write the sheet."""
    s = form.styles
    needed = sum(each.needed for each in facts())
    title(form, sheet, "Quick check", "What is known at a first meeting: enough for a range and what to measure next")
    text = f"Fill the sand-coloured cells; the {needed} with a star are needed, the others may stay empty."
    sheet.text(2, 0, text, s("small", "quiet"))
    sheet.widths([*_WIDTHS, 10.0])
    for column, (key, label, _) in enumerate(_HEADS):
        sheet.text(_HEAD_ROW, column, label, s("head_left"))
        sheet.text(_KEY_ROW, column, key, s("key"))
    sheet.text(_HEAD_ROW, _KEY, "Key", s("head_left"))
    sheet.text(_KEY_ROW, _KEY, f"{CORNER}{TABLES['facts'].name}", s("key"))
    sheet.height(_KEY_ROW, 10)
    row = _KEY_ROW + 1
    for each in facts():
        _line(form, sheet, row, each)
        row += 1
    row += 1
    for text in (*_NEXT, _uses_text()):
        sheet.merged_text(row, 0, row, _KEY - 1, text, s("wrap", "line"))
        sheet.height(row, height_of(lines_of(text, room(_WIDTHS))))
        row += 1
    sheet.freeze(_KEY_ROW + 1, 1)
    sheet.on_paper(footer=form.footer, last_row=row - 1, last_column=_KEY - 1, pages_high=1)


def _uses_text() -> str:
    """What the uses stand for."""
    words = {
        "people_ft2": "ft² a person",
        "lights_w_ft2": "W/ft² of lights",
        "equipment_w_ft2": "W/ft² of equipment",
        "oa_cfm_person": "cfm a person",
        "oa_cfm_ft2": "cfm/ft²",
    }
    said = "; ".join(
        f"{use}: " + ", ".join(f"{values[name][0]:g} {unit}" for name, unit in words.items() if name in values)
        if values
        else f"{use}: the defaults of “Profile groups”"
        for use, values in uses().items()
    )
    return f"Uses stand for {said}. They are assumptions, from memory; put your own under “Profile groups”."


def _line(form: FormPages, sheet: Sheet, row: int, each: Fact) -> None:
    s = form.styles
    what = _signs(f"{each.question}. {each.allowed()[:1].upper()}{each.allowed()[1:]}.")
    sheet.text(row, 0, each.label + (" *" if each.needed else ""), s("line", "bold", "top"))
    put_yours(form, sheet, row, 1, None, each.field, "left", "top")
    sheet.text(row, 2, unit_text(each.field.unit.rpartition(":")[2]), s("text_small", "line", "quiet"))
    sheet.text(row, 3, each.example, s("text_small", "line"))
    sheet.text(row, 4, _signs(each.empty()), s("text_small", "line", "bold" if each.needed else "quiet"))
    sheet.text(row, 5, what, s("text_small", "line"))
    sheet.text(row, _KEY, each.name, s("text_small", "quiet"))
    sheet.height(row, height_of(max(lines_of(what, _WIDTHS[5], 8.0), 1), 8.2))
    if each.field.type in ("points", "hour_pair"):
        sheet.validate(
            row,
            1,
            row,
            1,
            validate="any",
            input_title=each.label[:32],
            input_message=cut(what),
        )
    else:
        add_rule(form, sheet, each.field, (row, 1, row, 1))


def _signs(text: str) -> str:
    """Units in a sentence as sheets print them."""
    return text.replace("degF", "°F").replace("ft2", "ft²")
