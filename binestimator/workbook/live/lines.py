"""Parameters of every candidate's strategies as formulas read them: ranges, points, requests left."""

from __future__ import annotations

import numpy as np

from ...strategies.registry import dsp_strategy, sat_strategy
from ..page import title
from .formulas import Scope
from .points import write_points
from .rows.chain import part_overrides

SHEET = "Setpoints"
_STRATEGY_OF = {"sat": sat_strategy, "dsp": dsp_strategy}


class Lines:
    """The sheet of strategy parameters."""

    def __init__(self, pen, sheet, registry):
        self.pen, self.sheet, self.registry, self.row = pen, sheet, registry, 4
        title(
            pen.work,
            sheet,
            "Setpoints",
            "Parameters of each option's strategies as its rows read them: inputs in force, points of reset lines, "
            "and what follows",
            link_column=3,
        )
        sheet.widths([58, 16, 18, 70])
        for place, text in enumerate(("Parameter", "Value", "Unit", "How")):
            sheet.text(3, place, text, pen.s("head_left"))
        sheet.freeze(4, 1)

    def candidate(self, candidate, number: int, site_scope: Scope) -> Scope:
        """Parameters of a candidate; returns the scope with names ``p.*`` over the site's."""
        self.scope = Scope(site_scope)
        self.id = candidate.id
        self.row += 1
        for place in range(4):
            self.sheet.text(self.row, place, f"{number} {candidate.name}" if place == 0 else "", self.pen.s("section"))
        self.row += 1
        for part, unit in (("sat", "f"), ("dsp", "inwc")):
            self._part(part, getattr(candidate, part), unit)
        overrides = part_overrides(candidate)
        if len(overrides) > 1:
            for k, (sat, dsp) in enumerate(overrides):
                factors = []
                for part, on in (("sat", sat), ("dsp", dsp)):
                    if getattr(candidate, part).override_frac > 0.0:
                        factors.append(f"{{p.{part}_override_frac}}" if on else f"(1-{{p.{part}_override_frac}})")
                words = {
                    (False, False): "no override",
                    (True, False): "supply air overridden",
                    (False, True): "duct static overridden",
                    (True, True): "both overridden",
                }
                self._derive(f"p.share_{k}", f"Share of time: {words[(sat, dsp)]}", "share", "*".join(factors))
        return self.scope

    def finish(self) -> None:
        self.sheet.on_paper(footer=self.pen.work.footer, last_row=self.row, last_column=3, repeat_rows=(3, 3))

    def _part(self, part: str, record, unit: str) -> None:
        sheet = PartParameters(self, part, record)
        _STRATEGY_OF[part](record).parameters(record, sheet)
        if record.override_frac > 0.0:
            sheet.input("override_frac")
            sheet.input(f"override_{unit}")

    def _put(self, name: str, label: str, unit: str, value: float, how: str) -> None:
        s = self.pen.s
        self.sheet.text(self.row, 0, label, s("line", "small"))
        self.sheet.text(self.row, 2, unit, s("line", "small"))
        self.sheet.text(self.row, 3, how, s("line", "small", "quiet"))
        self.scope.put(name, f"{SHEET}!$B${self.row + 1}", value)
        self.pen.labels[name] = (label, unit)
        self.row += 1

    def _mirror(self, name: str, path: str) -> None:
        label, unit = self.registry.label(path)
        value = float(self.registry.value(path))
        self.pen.compare(SHEET, f"{self.id}.{path}", value, self.registry.contents[path], label)
        self.pen.formula(
            self.sheet, self.row, 1, "=" + self.registry.address(path), value, self.pen.s("general", "line", "left")
        )
        self._put(name, label, unit, value, "input")

    def _derive(self, name: str, label: str, unit: str, template: str) -> None:
        value = float(np.asarray(self.scope.evaluate(template)).reshape(()))
        self.pen.formula(
            self.sheet, self.row, 1, "=" + self.scope.formula(template), value, self.pen.s("general", "line", "left")
        )
        self._put(name, label, unit, value, "")

    def _points(self, name: str, path: str, points, x_unit: str = "") -> None:
        self.row = write_points(
            self.pen, self.sheet, self.row, self.scope, name, path, self.registry, points, x_unit=x_unit
        )


class PartParameters:
    """Where a strategy writes its parameters (``strategies.strategy.Parameters``)."""

    def __init__(self, lines: Lines, part: str, record):
        self.lines, self.part, self.record = lines, part, record

    def _path(self, field: str) -> str:
        return f"candidate[{self.lines.id}].{self.part}.{field}"

    def input(self, field: str, name: str | None = None) -> None:
        self.lines._mirror(f"p.{self.part}_{name or field}", self._path(field))

    def points(self, field: str, x_unit: str = "") -> None:
        self.lines._points(f"p.{self.part}_{field}", self._path(field), getattr(self.record, field), x_unit)

    def derived(self, name: str, label: str, unit: str, template: str) -> None:
        self.lines._derive(f"p.{self.part}_{name}", label, unit, template)
