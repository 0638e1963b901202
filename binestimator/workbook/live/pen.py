"""What formulas of live sheets are written with, and the comparison of each with the engine."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np

from ...errors import FormulaFault
from ..strict import Sheet
from .formulas import Scope

if TYPE_CHECKING:
    from .registry import Registry

# A formula may be off the engine's value by so much of the largest value of its column; sums of another order are off
# by a millionth of it.
MOST_RESIDUAL = 1e-7
# Columns of smaller values are taken to be this large, in their unit.
LEAST_SCALE = 1e-6


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
        if not (type(found) is type(wanted) is float):
            found, wanted = np.asarray(found, dtype=float), np.asarray(wanted, dtype=float)
            if not wanted.size:
                return
            if found.size == wanted.size == 1:
                found, wanted = found.item(), wanted.item()
        if type(found) is float:
            # Most are single numbers, for which functions of arrays take longest.
            largest = abs(wanted)
            if not math.isfinite(largest):
                return
            apart = most = abs(found - wanted)
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
                f"sheet “{sheet}”, “{label or key}” ({key}): the formula gives {np.ravel(found)[at]:.9g}, the engine "
                f"{np.ravel(wanted)[at]:.9g}; no workbook is written"
            )

    @property
    def worst(self) -> tuple[str, str, float]:
        """Sheet, label and size of the largest residual."""
        (sheet, key), residual = max(self.residuals.items(), key=lambda item: item[1])
        return sheet, self.compared[(sheet, key)], residual

    def parameter(self, value):
        """Format of a constant above a table, with the digits that its cell has room for."""
        number = _number(value)
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
        value = _number(scope.evaluate(template))
        self.formula(sheet, row, column, "=" + scope.formula(template), value if shown is None else shown, style)
        return value

    def formula(
        self, sheet: Sheet, row: int, column: int, text: str, value, style=None, *, array: bool = False
    ) -> None:
        """A formula with the value it gives."""
        if array:
            sheet.array_formula(row, column, text, _number(value), style)
        else:
            sheet.formula(row, column, text, value if isinstance(value, str) else _number(value), style)


def _number(value) -> float:
    """A number, or the only one of an array."""
    return float(value) if isinstance(value, (float, int)) else float(np.asarray(value, dtype=float).reshape(()))
