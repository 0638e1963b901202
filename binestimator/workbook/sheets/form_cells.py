"""Cells of a form: the layers of an input, rules for what may be typed, and their look."""

from __future__ import annotations

from ...dataclass import dataclass
from ...inputs.defaults import rules
from ...inputs.form_entries import Entry, FormContent, can_review
from ...inputs.form_keys import COUNTS, OTHERWISE, REVIEWER, UNUSED, YOURS
from ...inputs.form_values import Content
from ...inputs.schema import Field, default_text
from ...inputs.values import POINT_X_RANGE
from ..addresses import cell_name, reference
from ..form_layout import INPUT_AT, FormPlan, LayerColumns
from ..formats import Styles
from ..strict import LONGEST_RULE_LIST, LONGEST_RULE_TEXT, Book, Sheet
from .inputs import number_style

#: Mark and word of what counts otherwise, by its kind; marks as in the legend of the guide.
KIND_WORDS = {
    "default": "○ default",
    "derived": "△ derived",
    "sized": "□ sized",
    "override": "◆ overridden",
    "required": "! required",
    "unused": "– not used",
}
KIND_MARKS = {kind: words[0] for kind, words in KIND_WORDS.items()}
LAYER_WORDS = {
    YOURS: "Your values: what is empty is not given",
    OTHERWISE: "Otherwise: what counts where nothing is given",
    REVIEWER: "Reviewer’s overrides: never part of the claim",
    COUNTS: "Counts: reviewer’s, else yours, else otherwise",
}


@dataclass(frozen=True, slots=True)
class FormPages:
    """What the sheets of a form are written from.

    Parameters
    ----------
    book, styles
    content : FormContent
    plan : FormPlan
    footer : str
    empty : bool
        A form for someone who has given nothing yet.
    """

    book: Book
    styles: Styles
    content: FormContent
    plan: FormPlan
    footer: str
    empty: bool = False

    def address(self, path: str) -> str:
        """Address, for formulas, of the cell that counts; of a shared setting that of the user.

        With a ``?`` behind the path of an input that occurs once: what the reviewer or the user gives, not what
        is used where neither does.
        """
        if path.endswith("?"):
            sheet, row, column = self.plan.yours[path[:-1]]
            yours, review = reference(sheet, row, column), reference(sheet, row, INPUT_AT[REVIEWER])
            return f'IF({review}<>"",{review},{yours})'
        return reference(*(self.plan.counts.get(path) or self.plan.yours[path]))


def is_number(field: Field) -> bool:
    """Whether cells of an input hold numbers; points do, coordinate by coordinate."""
    return field.type in ("int", "float", "optional_float", "choice_float", "points")


def put_yours(
    form: FormPages, sheet: Sheet, row: int, column: int, content: Content | None, field: Field, *more: str
) -> None:
    """Cell for the user."""
    kind = "entry" if content is None else "entry_filled"
    style = number_style(content) if isinstance(content, float) else "general" if is_number(field) else "as_text"
    small = ("text_small",) if not is_number(field) else ()
    sheet.cell(row, column, content, form.styles(style, *small, kind, *more))


def put_review(form: FormPages, sheet: Sheet, row: int, column: int, field: Field, allowed: bool) -> None:
    """Cell for the reviewer, or a blocked one."""
    s = form.styles
    if allowed:
        sheet.blank(
            row,
            column,
            s("general" if is_number(field) else "as_text", *(() if is_number(field) else ("text_small",)), "review"),
        )
    else:
        sheet.text(row, column, "–", s("centre", "quiet", "line"))


def put_otherwise(
    form: FormPages, sheet: Sheet, row: int, column: int, entry: Entry, *more: str, mark: bool = True
) -> None:
    """Cell with what counts when the user gives nothing; a formula where it follows from others."""
    s, content = form.styles, entry.otherwise
    look = {"required": "flagged" if entry.yours is None else "quiet", "override": "italic", "unused": "quiet"}.get(
        entry.kind, entry.kind
    )
    if isinstance(content, float):
        style = s(number_style(content), "line", look, *more, mark=KIND_MARKS[entry.kind] if mark else "")
    else:
        style = s("text_small", "line", look, *more)
    if entry.follows:
        sheet.formula(row, column, "=" + _with_addresses(form, entry.follows), content, style)
    else:
        sheet.cell(row, column, content, style)


def _with_addresses(form: FormPages, template: str) -> str:
    pieces = template.split("{")
    text = [pieces[0]]
    for piece in pieces[1:]:
        path, _, rest = piece.partition("}")
        text += [form.address(path), rest]
    return "".join(text)


def put_counts(
    form: FormPages,
    sheet: Sheet,
    row: int,
    columns: LayerColumns,
    content: Content,
    numbers_only: bool,
    field: Field,
    *more: str,
) -> None:
    """Cell with what counts: the reviewer's, else the user's, else what counts otherwise."""
    yours, otherwise, review = (cell_name(row, column) for column in columns[:3])
    if not can_review(field):
        formula = f'=IF({yours}<>"",{yours},{otherwise})'
    elif numbers_only:
        formula = f"=IF(ISNUMBER({review}),{review},IF(ISNUMBER({yours}),{yours},{otherwise}))"
    else:
        formula = f'=IF({review}<>"",{review},IF({yours}<>"",{yours},{otherwise}))'
    style = number_style(content) if isinstance(content, float) else "general"
    small = () if isinstance(content, float) else ("text_small",)
    sheet.formula(row, columns[3], formula, content, form.styles(style, *small, "counts", *more))


def put_layers(
    form: FormPages, sheet: Sheet, row: int, columns: LayerColumns, entry: Entry, *more: str, mark: bool = True
) -> None:
    """Cells of an input in all its layers."""
    put_yours(form, sheet, row, columns[0], entry.yours, entry.field, *more)
    put_otherwise(form, sheet, row, columns[1], entry, *more, mark=mark)
    put_review(form, sheet, row, columns[2], entry.field, entry.can_review)
    put_counts(form, sheet, row, columns, entry.counts, entry.numbers_only, entry.field, *more)


# ---------------------------------------------------------------- rules


def add_rule(
    form: FormPages, sheet: Sheet, field: Field, area: tuple[int, int, int, int], coordinate: str = "", who: str = YOURS
) -> None:
    """What cells of an input may hold, with a message as they are entered and one on refusal.

    Parameters
    ----------
    area : (first row, first column, last row, last column)
    coordinate : str
        ``x`` or ``y`` of points.
    who : str
        Layer: the message of the reviewer's cells says that they are.
    """
    rule: dict[str, object] = {"validate": "any"}
    at = cell_name(area[0], area[1])
    allowed = field.allowed_as(in_cell=True)
    none = field.optional or bool(coordinate)
    if field.type in ("float", "optional_float", "int") or coordinate:
        low, high = POINT_X_RANGE if coordinate == "x" else field.bounds
        if coordinate:
            allowed = f"{low:.12g} to {high:.12g}"
        whole = field.type == "int"
        if none:
            test = f"{at}>={low:.12g},{at}<={high:.12g}" + (f",{at}=INT({at})" if whole else "")
            rule = {"validate": "custom", "value": f'=OR({at}="none",{at}="{UNUSED}",AND(ISNUMBER({at}),{test}))'}
            allowed = allowed if "none" in allowed else f"{allowed}, or the word none"
        else:
            rule = {
                "validate": "integer" if whole else "decimal",
                "criteria": "between",
                "minimum": low,
                "maximum": high,
            }
    elif field.type in ("choice", "bool", "choice_float"):
        words = (
            ["yes", "no"] if field.type == "bool" else [c if isinstance(c, str) else f"{c:g}" for c in field.choices]
        )
        words += ["none"] if field.optional else []
        allowed = "yes or no" if field.type == "bool" else allowed
        if len(",".join(words)) <= LONGEST_RULE_LIST:
            rule = {"validate": "list", "source": words}
    elif field.type in ("text", "path"):
        source = _names(form) if field.path in ("zone.group", "special.group", "building.group") else None
        if source:
            rule = {"validate": "list", "source": source, "error_type": "warning"}
            allowed = "name of a profile group"
        else:
            rule = {"validate": "length", "criteria": "between", "minimum": 0, "maximum": field.max_length}
    default = (
        "" if field.required or coordinate else f" Empty: {default_text(field)}." if field.default is not None else ""
    )
    if field.path in rules():
        default = " Empty: what is under “Otherwise”."
    message = f"Allowed: {allowed}.{default} {field.description}."
    if who == REVIEWER:
        message = f"Reviewer’s value; the claim stays as it is. Allowed: {allowed}."
    unit = f" [{field.unit.replace('degF', '°F')}]" if field.unit and not coordinate else ""
    title = field.label + (f", {coordinate}" if coordinate else unit)
    sheet.validate(
        *area,
        **rule,
        input_title=title,
        input_message=cut(message),
        error_title="Not allowed",
        error_message=cut(f"Expected {allowed}."),
    )


def allowed_text(field: Field) -> str:
    """Allowed values as a form asks for them: lists without brackets."""
    if field.type in ("bool", "hour_pair", "date_list", "profile24", "choice_list"):
        return field.allowed_as(in_cell=True)
    if field.type == "points":
        return f"x {POINT_X_RANGE[0]:g} to {POINT_X_RANGE[1]:g}, y {field.low:g} to {field.high:g}"
    if field.low is not None:
        return " to ".join(f"{end:,.0f}" if abs(end) >= 1000 else f"{end:g}" for end in field.bounds)
    if field.type in ("choice", "choice_float"):
        return ", ".join(c if isinstance(c, str) else f"{c:g}" for c in field.choices)
    return f"text, at most {field.max_length} characters"


def cut(text: str) -> str:
    """A text as long as the message of a cell may be."""
    return text if len(text) <= LONGEST_RULE_TEXT else text[: LONGEST_RULE_TEXT - 1].rstrip() + "…"


def _names(form: FormPages) -> str:
    """Cells with the names of the profile groups, as the source of a list."""
    table = form.plan.side["group"]
    row = table.rows["name"]
    first, last = (cell_name(row, table.column(YOURS, place)) for place in (0, table.slots - 1))
    absolute = [f"${''.join(c for c in cell if c.isalpha())}${row + 1}" for cell in (first, last)]
    return f"='{table.sheet}'!{':'.join(absolute)}"
