"""Tables of formulas: one formula a column, and formulas over all zones in each row.

A table of some hundred rows and columns is written as ready rows of the file format (``ready_lines``). Above the table
stand, over the columns that use them, the constants its formulas need, each with a label and a unit. Where there is no
more room above, formulas read a constant where it stands.
"""

from __future__ import annotations

import itertools
from collections.abc import Callable, Sequence

import numpy as np

from ..addresses import column_name, sheet_ref
from ..strict import Sheet
from .columns import (
    FIRST_ROW,
    GROUP_ROW,
    LABEL_ROW,
    MOST_TIERS,
    PARAMETER_ROW,
    PRINTED_COLUMNS,
    PRINTED_LINES,
    UNIT_ROW,
    GridColumn,
    Group,
)
from .formulas import OWN, SOURCE, Scope, names_in
from .ready_lines import ready_lines


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
                whole[template] = np.empty(shape)
                whole[template][:] = self.scope.evaluate(template)
        if len(templates) == 1:
            return whole[templates[0]]
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
        self.sheet.ready_rows(ready_lines(self), self.last_row, self._next - 1)

    @property
    def columns(self):
        """All columns in order."""
        return [c for group in self.groups for c in group.columns]

    @property
    def width(self) -> int:
        return self._next
