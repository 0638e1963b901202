"""Columns of tables of formulas, and where on a sheet such a table is."""

from __future__ import annotations

from dataclasses import field

import numpy as np

from ...dataclass import dataclass

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
