"""Lines of the sheet “Money”, and what formulas of its columns are written through."""

from __future__ import annotations

import numpy as np

from ..addresses import column_name, quoted
from ..formats import money_words
from ..layout import LIVE_YEAR
from ..page import height_of, lines_of
from .formulas import Scope
from .money_plan import FIRST_COLUMN, SHEET, MoneyPlan

LABEL_WIDTH, NOTE_WIDTH = 46.0, 70.0


class MoneyLines:
    """Lines of the sheet and the formulas of options in them; parts of the sheet are written through it."""

    def __init__(self, pen, sheet, results, registry, positions, plan: MoneyPlan, year: dict):
        self.pen, self.sheet, self.results, self.registry = pen, sheet, results, registry
        self.positions, self.plan, self.year = positions, plan, year
        self.note_column = FIRST_COLUMN + len(positions)

    def s(self, *pieces):
        return self.pen.s(*pieces)

    def head(self, key: str, label: str, unit: str, text: str = "", *, bold: bool = True) -> int:
        row, s = self.plan.rows[key], self.s
        sheet = self.sheet
        sheet.text(row, 0, label, s("line", "wrap", "middle", *(("bold",) if bold else ())))
        sheet.text(row, 1, money_words(unit), s("line", "small"))
        sheet.text(row, self.note_column, text, s("line", "text_small", "quiet", "left", "inset"))
        lines, own = lines_of(text, NOTE_WIDTH - 1.5, 8.0), lines_of(label, LABEL_WIDTH - 1.0, bold=bold)
        if lines > 1 or own > 1:
            sheet.height(row, max(height_of(lines, 8.2), height_of(own)))
        return row

    def own(self, column: int, key: str) -> str:
        """Address of a figure of the option in a column, on the sheet itself."""
        return f"{column_name(column)}{self.plan.rows[key] + 1}"

    def term(self, name: str) -> str:
        return f"${column_name(FIRST_COLUMN)}${self.plan.rows['term.' + name] + 1}"

    def year_cell(self, column: int, key: str) -> str:
        """Address on the sheet “Live year”, whose options are in the same columns."""
        return f"{quoted(LIVE_YEAR)}!{column_name(column)}{self.year[key] + 1}"

    def put(self, key: str, column: int, names: Scope, template: str, style: str, value, label: str) -> float:
        """A formula in the row of a key, compared with the engine's value."""
        found = self.pen.evaluated(
            self.sheet, self.plan.rows[key], column, names, template, self.s(style, "line"), value
        )
        self.pen.compare(SHEET, f"{column}.{key}", found, value, label)
        return float(value)

    def put_or_word(self, key: str, column: int, names: Scope, template: str, style: str, value, word: str, label: str):
        """A formula that gives a number or, where the engine has none, a word."""
        missing = value is None or not np.isfinite(value)
        found = float(np.asarray(names.evaluate(template), dtype=float).reshape(()))
        self.pen.compare(SHEET, f"{column}.{key}.none", float(np.isnan(found)), float(missing), label)
        if not missing:
            self.pen.compare(SHEET, f"{column}.{key}", found, value, label)
        self.pen.formula(
            self.sheet,
            self.plan.rows[key],
            column,
            "=" + names.formula(template),
            word if missing else float(value),
            self.s(style, "line", "right"),
        )
