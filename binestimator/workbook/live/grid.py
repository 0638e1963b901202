"""Tables of formulas: one formula a column, and formulas over all zones in each row.

A table of some hundred rows and columns is written as ready rows of the file format: through the
library's cells the same takes ten times as long. Cells follow one another without a gap, so that only those of shared
formulas say where they are (ECMA-376 part 1, 18.3.1.4: a cell without an address follows the one before it): a fifth
of the file. Above the table stand, over the columns that use
them, the constants its formulas need, each with a label and a unit. Where there is no more room
above, formulas read a constant where it stands.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Callable, Sequence
from dataclasses import field
from functools import cached_property
from html import escape
from typing import TYPE_CHECKING

import numpy as np

from ...dataclass import dataclass
from ...errors import FormulaFault, WorkbookError
from ..strict import Sheet, column_name, sheet_ref
from .all_lines import of_all_lines
from .formulas import OWN, SOURCE, Scope, names_in

if TYPE_CHECKING:
    from .registry import Registry

# The first line of every table of rows: a row has the same place on all sheets.
FIRST_ROW = 34
# Heads come first, as they stay in view while the rest scrolls: what stays has to leave room for lines on a small
# screen.
GROUP_ROW, LABEL_ROW, UNIT_ROW = 4, 5, 6
# Totals and constants are between the heads and the first line.
TOTAL_ROWS = {"unit": 7, "rows": 8, "night": 9, "idle": 10, "year": 11, "run": 12, "difference": 13}
PARAMETER_ROW = 15
MOST_TIERS = 9
# Lines that are printed, as a specimen: hundreds of lines and columns are read on the screen.
PRINTED_LINES, PRINTED_COLUMNS = 24, 26
# A formula may be off the engine's value by so much of the largest value of its column; sums of another order are off
# by a millionth of it.
MOST_RESIDUAL = 1e-7
# Columns of smaller values are taken to be this large, in their unit.
LEAST_SCALE = 1e-6


@dataclass(slots=True)
class GridColumn:
    """A column, or a block of one column a zone.

    Parameters
    ----------
    key, label, unit, style : str
        ``style`` is a number style of ``formats``.
    templates : tuple of str
        One formula a part of the table (or one for all); empty: values.
    values : ndarray (R, 1) or (R, Z)
        Empty for texts.
    texts : list of str
        Values that are texts.
    width : int
        Columns it takes.
    array : bool
        The formula works on arrays and gives ``width`` results in each row.
    above : tuple of str
        Constants above this very column, so that a row of columns can be multiplied with a row of constants.
    total : str
        ``sum``, ``mean``, ``weight`` or empty; see ``layout.Column``.
    """

    key: str
    label: str
    unit: str
    style: str
    templates: tuple[str, ...] = ()
    values: np.ndarray = field(default_factory=lambda: np.empty(0))
    width: int = 1
    array: bool = False
    total: str = ""
    total_unit: str = ""
    annual: str = ""
    column: int = -1
    head: tuple[str, ...] = ()
    above: tuple[str, ...] = ()
    texts: list[str] = field(default_factory=list)

    @property
    def text(self) -> bool:
        """Whether its values are texts."""
        return bool(self.texts)


@dataclass(slots=True)
class Group:
    """Columns of one step of the calculation."""

    label: str
    columns: list[GridColumn] = field(default_factory=list)


class Grid:
    """A table of formulas on a sheet.

    Parameters
    ----------
    pen : Pen
    sheet : Sheet
    scope : Scope
        Names outside the table.
    lines : int
        Lines of one part.
    parts : int
        The lines are repeated so often, each time with some other formulas.
    source : sequence of int, optional
        Line of the conditions that each line represents; the same line without it.
    by_line : bool
        Formulas of the first part stand line by line, where otherwise one fills all lines. Further parts repeat them.
    """

    def __init__(
        self, pen, sheet: Sheet, scope: Scope, lines: int, parts: int = 1, source=None, *, by_line: bool = True
    ):
        self.by_line = by_line
        self.source = range(lines) if source is None else source
        self.pen, self.sheet, self.lines, self.parts = pen, sheet, lines, parts
        self.outer = scope
        self.scope = Scope(scope)
        self.groups: list[Group] = []
        self._by_key: dict[str, GridColumn] = {}
        self._next = 0
        self._labels: dict[str, tuple[str, str]] = {}
        self.parameters: dict[str, tuple[int, int]] = {}

    # --- building

    def group(self, label: str) -> None:
        """Start a step."""
        self.groups.append(Group(label))

    def add(
        self,
        key: str,
        label: str,
        unit: str,
        template,
        style: str = "f2",
        *,
        values=None,
        texts: Sequence[str] = (),
        width: int = 1,
        array: bool = False,
        total: str = "",
        total_unit: str = "",
        annual: str = "",
        head: tuple[str, ...] = (),
        above: tuple[str, ...] = (),
    ) -> GridColumn:
        """Add a column; without ``values`` the template gives them, else it is compared with them. ``texts`` are
        taken as they are.

        ``template`` is one text, a tuple with one a part, or None for plain values.
        """
        templates = () if template is None else (template,) if isinstance(template, str) else tuple(template)
        if texts:
            values = np.empty(0)
        elif values is None:
            values = self._evaluated(templates, width)
        else:
            values = np.asarray(values, dtype=float).reshape(self.lines * self.parts, width)
            if templates:
                self.pen.compare(self.sheet.name, key, self._evaluated(templates, width), values, label)
        column = GridColumn(
            key,
            label,
            unit,
            style,
            templates,
            values,
            width,
            array,
            total,
            total_unit,
            annual,
            self._next,
            head,
            above,
            list(texts),
        )
        self._next += width
        self.groups[-1].columns.append(column)
        self._by_key[key] = column
        left = column_name(column.column)
        address = f"{left}{OWN}" if width == 1 else f"{left}{OWN}:{column_name(column.column + width - 1)}{OWN}"
        self.scope.put(key, address, column.texts or values)
        return column

    @property
    def place(self) -> int:
        """Columns added so far."""
        return len(self._by_key)

    def repeat(self, first: int, last: int, renamed: Callable[[str], str], relabelled: Callable[[str], str]) -> None:
        """Add the columns from place ``first`` to before ``last`` once more, in their groups.

        Parameters
        ----------
        renamed : callable
            Gives keys and templates their new names.
        relabelled : callable
            The same for labels of columns and groups.
        """
        again = dict(itertools.islice(self._by_key.items(), first, last))
        for group in list(self.groups):
            columns = [column for column in group.columns if column.key in again]
            if columns:
                self.group(relabelled(group.label))
            for c in columns:
                self.add(
                    renamed(c.key),
                    relabelled(c.label),
                    c.unit,
                    tuple(renamed(template) for template in c.templates) or None,
                    c.style,
                    values=None if c.templates else c.values,
                    width=c.width,
                    array=c.array,
                    head=c.head,
                )

    def block(self, name: str, first: str, last: str) -> None:
        """Name neighbouring columns, from ``first`` to ``last``, as one range of a row."""
        keys = self._keys(first, last)
        self.scope.put(
            name,
            f"{self.scope.address(first)}:{self.scope.address(last)}",
            np.hstack([self.scope[key] for key in keys]),
        )

    def block_above(self, name: str, first: str, last: str, place: int) -> None:
        """Name the constants above neighbouring columns, the ``place``-th of each, as one range."""
        keys = self._keys(first, last)
        left, right = (column_name(self._by_key[key].column) for key in (first, last))
        row = PARAMETER_ROW + 2 * place + 2
        values = np.array([[float(self.outer[self._by_key[key].above[place]]) for key in keys]])
        self.scope.put(name, f"${left}${row}:${right}${row}", values)

    def _keys(self, first: str, last: str) -> list[str]:
        keys = list(self._by_key)
        return keys[keys.index(first) : keys.index(last) + 1]

    def _evaluated(self, templates, width) -> np.ndarray:
        shape = (self.lines * self.parts, width)
        whole = {}
        for template in dict.fromkeys(templates):
            if "TRANSPOSE(" in template:
                whole[template] = self.scope.evaluate_by_row(template, *shape)
            else:
                whole[template] = np.broadcast_to(np.asarray(self.scope.evaluate(template), dtype=float), shape)
        if len(templates) == 1:
            return np.array(whole[templates[0]])
        return np.concatenate([whole[t][k * self.lines : (k + 1) * self.lines] for k, t in enumerate(templates)])

    def compare(self, key: str, wanted, found=None) -> None:
        """Compare a column (or what follows from it) with the engine."""
        c = self._by_key[key]
        self.pen.compare(self.sheet.name, key, c.values if found is None else found, wanted, c.label)

    def set_values(self, key: str, values) -> None:
        """Replace the values of a column by those of the engine, for what follows as well."""
        column = self._by_key[key]
        column.values = np.array(np.asarray(values, dtype=float).reshape(self.lines * self.parts, column.width))
        self.scope.put(key, self.scope.address(key), column.values)

    def __contains__(self, key: str) -> bool:
        return key in self._by_key

    def column(self, key: str) -> GridColumn:
        return self._by_key[key]

    @property
    def last_row(self) -> int:
        return FIRST_ROW + self.lines * self.parts - 1

    def show(self, fixed_columns: int, footer: str, *, whole: bool = True) -> None:
        """What stays in view, and what is printed: heads, totals, constants and the first lines, the columns in pages
        side by side.

        Without ``whole`` the first page of columns is printed only.
        """
        self.sheet.freeze(UNIT_ROW + 1, fixed_columns)
        last = min(self.last_row, FIRST_ROW + PRINTED_LINES - 1)
        width = self.width if whole else min(self.width, PRINTED_COLUMNS)
        said = [f"{PRINTED_LINES} of {self.lines * self.parts} are printed"] if last < self.last_row else []
        said += [f"{width} of {self.width} columns are printed"] if width < self.width else []
        self.sheet.text(FIRST_ROW - 1, 0, "; ".join(["Lines", *said]), self.pen.s("small", "quiet"))
        self.sheet.on_paper(
            footer=footer,
            last_row=last,
            last_column=width - 1,
            letter=False,
            pages_wide=-(-width // PRINTED_COLUMNS),
            pages_high=1,
            repeat_rows=(GROUP_ROW, UNIT_ROW),
            repeat_columns=(0, fixed_columns - 1),
        )

    def area(self, key: str) -> str:
        """Absolute range of a column on its own sheet."""
        c = self._by_key[key]
        left, right = column_name(c.column), column_name(c.column + c.width - 1)
        return f"${left}${FIRST_ROW + 1}:${right}${self.last_row + 1}"

    def outside_address(self, key: str) -> str:
        """Address of a column in the same row, for formulas of other sheets whose line follows this table's."""
        c = self._by_key[key]
        left = f"{sheet_ref(self.sheet.name)}!{column_name(c.column)}{SOURCE}"
        return left if c.width == 1 else f"{left}:{column_name(c.column + c.width - 1)}{SOURCE}"

    # --- writing

    def _place_parameters(self) -> int:
        """Constants above the group that uses them first, as far as there is room. Returns tiers used."""
        tiers = 0
        for group in self.groups:
            reserved = max(len(column.above) for column in group.columns)
            tiers = max(tiers, reserved)
            for column in group.columns:
                for tier, name in enumerate(column.above):
                    self._place(name, tier, column.column)
        pen = self.pen
        for group in self.groups:
            reserved = max(len(column.above) for column in group.columns)
            wanted = []
            for column in group.columns:
                for template in column.templates:
                    for name in names_in(template):
                        if (
                            name not in self._by_key
                            and name in pen.labels
                            and name not in self.parameters
                            and name not in wanted
                        ):
                            wanted.append(name)
            at = group.columns[0].column
            room = sum(c.width for c in group.columns)
            if at == 0 and room > 1:  # the column of row numbers is too narrow for words
                at, room = 1, room - 1
            for k, name in enumerate(wanted[: room * (MOST_TIERS - reserved)]):
                tier, place = divmod(k, room)
                tiers = max(tiers, reserved + tier + 1)
                self._place(name, reserved + tier, at + place)
        return tiers

    def _place(self, name: str, tier: int, column: int) -> None:
        """A constant in a tier above a column; formulas of the table read it there."""
        row = PARAMETER_ROW + 2 * tier
        label, unit = self.pen.labels[name]
        self.sheet.text(row, column, f"{label} [{unit}]" if unit else label, self.pen.s("parameter_label"))
        self.pen.formula(
            self.sheet,
            row + 1,
            column,
            "=" + self.outer.address(name),
            self.outer[name],
            self.pen.parameter(self.outer[name]),
        )
        self.parameters[name] = (row + 1, column)
        self.scope.put(name, f"${column_name(column)}${row + 2}", self.outer[name])

    def write(self) -> None:
        """Constants, heads and lines."""
        self.groups = [group for group in self.groups if group.columns]
        pen, sheet = self.pen, self.sheet
        tiers = self._place_parameters()
        for tier in range(MOST_TIERS):
            if tier < tiers:
                sheet.height(PARAMETER_ROW + 2 * tier, 44)
            else:
                for row in (0, 1):
                    sheet.height(PARAMETER_ROW + 2 * tier + row, 2)
        for group in self.groups:
            first = group.columns[0].column
            last = group.columns[-1].column + group.columns[-1].width - 1
            sheet.merged_text(GROUP_ROW, first, GROUP_ROW, last, group.label, pen.s("step", "wrap"))
            for c in group.columns:
                heads = c.head or (c.label,) * c.width
                for k in range(c.width):
                    sheet.text(
                        LABEL_ROW, c.column + k, heads[k], pen.s("head", "small") if c.width > 1 else pen.s("head")
                    )
                    sheet.text(UNIT_ROW, c.column + k, c.unit, pen.s("units"))
        sheet.height(GROUP_ROW, 26)
        sheet.height(LABEL_ROW, 50)
        self._write_lines()

    def _write_lines(self) -> None:
        pen, blank = self.pen, self.pen.blank
        count = self.lines * self.parts
        flat: list = []
        shared = 0
        firsts: list[list[str]] = [[] for _ in range(self.parts)]
        nexts: list[list[str]] = [[] for _ in range(self.parts)]
        for group in self.groups:
            for c in group.columns:
                style = self.sheet.style_index(pen.s(c.style, "line", "small"))
                if c.text:
                    flat.append([escape(v, quote=False) for v in c.texts])
                else:
                    if not np.all(np.isfinite(c.values)):
                        raise WorkbookError(f"{self.sheet.name}: column {c.label!r} has a number that is not finite")
                    flat.extend(c.values.T.tolist())
                letters = [column_name(c.column + k) for k in range(c.width)]
                value = "%s" if c.text else "%.7g" if c.templates else "%r"
                for part in range(self.parts):
                    start = FIRST_ROW + part * self.lines
                    if not c.templates:
                        if c.text:
                            cell = f'<c s="{style}" t="inlineStr"><is><t>%s</t></is></c>' * c.width
                        else:
                            cell = f'<c s="{style}"><v>{value}</v></c>' * c.width
                        firsts[part].append(cell)
                        nexts[part].append(cell)
                        continue
                    template = c.templates[part if len(c.templates) > 1 else 0]
                    text = self.scope.formula(template).lstrip("=")
                    tail = "<v></v>" if blank else f"<v>{value}</v>"
                    kind = ' t="str"' if c.text else ""
                    whole = None
                    if c.array or part or not self.by_line:
                        whole = self._of_all_lines(text, start, c.width)
                    text = _markup(text)
                    if whole is not None:
                        area = f"{letters[0]}{start + 1}:{letters[-1]}{start + self.lines}"
                        rest = f'<c s="{style}"{kind}>{tail}</c>'
                        firsts[part].append(
                            f'<c s="{style}"{kind}><f t="array" ref="{area}">{_markup(whole)}</f>{tail}</c>'
                            + rest * (c.width - 1)
                        )
                        nexts[part].append(rest * c.width)
                    elif c.array:
                        area = f"{letters[0]}{OWN}" + (f":{letters[-1]}{OWN}" if c.width > 1 else "")
                        cell = f'<c s="{style}"><f t="array" ref="{area}">{text}</f>{tail}</c>'
                        cell += f'<c s="{style}">{tail}</c>' * (c.width - 1)
                        firsts[part].append(cell)
                        nexts[part].append(cell)
                    elif "!" in text:
                        # The binary format forbade shared formulas that reach other sheets; programs may still.
                        cell = f'<c s="{style}"{kind}><f>{text}</f>{tail}</c>'
                        firsts[part].append(cell)
                        nexts[part].append(cell)
                    else:
                        area = f"{letters[0]}{start + 1}:{letters[0]}{start + self.lines}"
                        firsts[part].append(
                            f'<c r="{letters[0]}{OWN}" s="{style}"{kind}><f t="shared" ref="{area}" si="{shared}">'
                            f"{text}</f>{tail}</c>"
                        )
                        nexts[part].append(
                            f'<c r="{letters[0]}{OWN}" s="{style}"{kind}><f t="shared" si="{shared}"/>{tail}</c>'
                        )
                        shared += 1
        rows = []
        if blank:
            kept = [values for values, c in zip(flat, self._flat_columns(), strict=True) if not c.templates]
        else:
            kept = flat
        values = list(zip(*kept)) if kept else [()] * count
        for part in range(self.parts):
            first, following = "".join(firsts[part]), "".join(nexts[part])
            for k in range(self.lines):
                line = part * self.lines + k
                row = FIRST_ROW + line + 1
                text = (
                    (first if k == 0 else following)
                    .replace(OWN, str(row))
                    .replace(SOURCE, str(FIRST_ROW + int(self.source[k]) + 1))
                )
                rows.append(f'<row r="{row}">' + text % values[line] + "</row>")
        self.sheet.ready_rows(rows, self.last_row, self._next - 1)

    def _of_all_lines(self, text: str, start: int, width: int) -> str | None:
        """The formula of a line as one of all lines of a part; None where it cannot be, or lines do not follow one
        another."""
        first = FIRST_ROW + int(self.source[0]) + 1
        if self.lines < 2 or not self._in_sequence:
            return None
        return of_all_lines(text, (start + 1, start + self.lines), (first, first + self.lines - 1), width)

    @cached_property
    def _in_sequence(self) -> bool:
        """Whether conditions of the lines follow one another as the lines do."""
        source = [int(line) for line in self.source]
        return source == list(range(source[0], source[0] + self.lines))

    def _flat_columns(self):
        for group in self.groups:
            for c in group.columns:
                yield from (c,) * c.width

    @property
    def columns(self):
        """All columns in order."""
        return [c for group in self.groups for c in group.columns]

    @property
    def width(self) -> int:
        return self._next


def _markup(text: str) -> str:
    """A formula as text of the file and of a template for values."""
    return escape(text, quote=False).replace("%", "%%")


class Pen:
    """What live sheets are written with.

    Parameters
    ----------
    work : Work
    blank : bool
        Write formulas without values, to have them found by another program.

    Of the live sheets once they are written, for those that follow: ``registry`` of inputs, ``places`` row by key of
    the sheet “Live year”, ``banner`` template of the line on stale values.
    """

    registry: Registry
    places: dict[str, int]
    banner: str

    def __init__(self, work, blank: bool = False):
        self.work, self.blank = work, blank
        self.labels: dict[str, tuple[str, str]] = {}
        self.residuals: dict[tuple[str, str], float] = {}
        self.compared: dict[tuple[str, str], str] = {}
        self._book = work.book
        base = {"font_name": "Arial", "font_size": 8, "valign": "top", "text_wrap": True}
        self._own = {
            "parameter_label": {**base, "font_color": "#5F6F78", "bg_color": "#F6F1E4"},
            "parameter": {
                **base,
                "bg_color": "#F6F1E4",
                "num_format": "General",
                "align": "left",
                "bold": True,
                "text_wrap": False,
            },
        }

    def compare(self, sheet: str, key: str, found, wanted, label: str = "") -> None:
        """Keep how far the values of a formula are from the engine's, as a share of the largest of its column.

        Values of the engine that are not finite are not compared.

        Raises
        ------
        FormulaFault
            Farther than ``MOST_RESIDUAL``.
        """
        found, wanted = np.asarray(found, dtype=float), np.asarray(wanted, dtype=float)
        if not wanted.size:
            return
        if found.size == wanted.size == 1:
            # Most are single numbers, for which functions of arrays take longest.
            largest = abs(wanted.item())
            if not math.isfinite(largest):
                return
            apart = most = abs(found.item() - wanted.item())
        else:
            found = np.broadcast_to(found, wanted.shape) if found.size == 1 else found.reshape(wanted.shape)
            largest = float(np.abs(wanted).max())
            if not math.isfinite(largest):
                known = np.isfinite(wanted)
                if not known.any():
                    return
                found, wanted = np.where(known, found, 0.0), np.where(known, wanted, 0.0)
                largest = float(np.abs(wanted).max())
            apart = np.abs(found - wanted)
            most = float(apart.max())
        residual = most / max(largest, LEAST_SCALE)
        self.residuals[(sheet, key)] = max(residual, self.residuals.get((sheet, key), 0.0))
        self.compared[(sheet, key)] = label or key
        if not residual <= MOST_RESIDUAL:
            at = int(np.argmax(np.where(np.isfinite(apart), apart, np.inf)))
            raise FormulaFault(
                f"sheet “{sheet}”, “{label or key}” ({key}): the formula gives {found.ravel()[at]:.9g}, the engine "
                f"{wanted.ravel()[at]:.9g}; no workbook is written"
            )

    @property
    def worst(self) -> tuple[str, str, float]:
        """Sheet, label and size of the largest residual."""
        (sheet, key), residual = max(self.residuals.items(), key=lambda item: item[1])
        return sheet, self.compared[(sheet, key)], residual

    def parameter(self, value):
        """Format of a constant above a table, with the digits that its cell has room for."""
        number = float(np.asarray(value, dtype=float).reshape(()))
        size = abs(number)
        if number.is_integer():
            code = "#,##0" if size >= 1000.0 else "General"
        else:
            code = "#,##0.0" if size >= 100.0 else "0.0000" if size >= 0.001 else "0.00E+00"
        return self._book.format(**self._own["parameter"] | {"num_format": code})

    def s(self, *pieces: str):
        """A cell format by the names of its pieces."""
        if pieces[0] in self._own:
            return self._book.format(**self._own[pieces[0]])
        return self.work.styles(*pieces)

    def evaluated(self, sheet: Sheet, row: int, column: int, scope: Scope, template: str, style=None, shown=None):
        """A formula from a template, with the value that the template gives or, where it is known, the engine's;
        returns what the template gives."""
        value = float(np.asarray(scope.evaluate(template), dtype=float).reshape(()))
        self.formula(sheet, row, column, "=" + scope.formula(template), value if shown is None else shown, style)
        return value

    def formula(
        self, sheet: Sheet, row: int, column: int, text: str, value, style=None, *, array: bool = False
    ) -> None:
        """A formula with the value it gives."""
        number = lambda: float(np.asarray(value, dtype=float).reshape(()))
        if array:
            sheet.array_formula(row, column, text, number(), style)
        else:
            sheet.formula(row, column, text, value if isinstance(value, str) else number(), style)
