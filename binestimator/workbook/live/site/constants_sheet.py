"""A sheet of constants: inputs as they are in force, and what follows from them."""

from __future__ import annotations

import numpy as np

from ...addresses import sheet_ref
from ...page import title
from ...sheets.inputs import number_style
from ..points import write_points
from ..registry import FOLLOWS
from .site import Site


class ConstantsSheet:
    """Lines of the sheet of an air handler.

    Parameters
    ----------
    site : Site
    sheet : Sheet
    """

    def __init__(self, site: Site, sheet) -> None:
        self.site, self.sheet, self.pen, self.row = site, sheet, site.pen, 4
        title(
            self.pen.work,
            sheet,
            "Air handler" + ("" if site.number == 1 else f" of {', '.join(site.users)}"),
            "Inputs as they are in force, and what follows from them; the rows of every option read from here.",
            link_column=3,
        )
        sheet.widths([58, 16, 18, 70])
        for place, text in enumerate(("Constant", "Value", "Unit", "How")):
            sheet.text(3, place, text, self.pen.s("head_left"))
        sheet.freeze(4, 1)

    def finish(self) -> None:
        """What is printed."""
        self.sheet.on_paper(footer=self.pen.work.footer, last_row=self.row, last_column=3, repeat_rows=(3, 3))

    def section(self, text: str) -> None:
        self.row += 1
        for place in range(4):
            self.sheet.text(self.row, place, text if place == 0 else "", self.pen.s("section"))
        self.row += 1

    def _put(self, name: str, label: str, unit: str, value, how: str) -> None:
        s, row = self.pen.s, self.row
        self.sheet.text(row, 0, label, s("line", "small"))
        self.sheet.text(row, 2, unit, s("line", "small"))
        self.sheet.text(row, 3, how, s("line", "small", "quiet"))
        self.pen.labels[name] = (label, unit)
        self.site.scope.put(name, f"{sheet_ref(self.site.unit_name)}!$B${row + 1}", value)
        self.row += 1

    def mirror(self, *paths: str, start: str = "", whose: str = "") -> None:
        """Inputs that are numbers, as they are in force.

        Formulas name an input by its path, or by ``start`` and the end of its path where that holds a
        user's words: no word of a user may be in a template. ``whose`` comes before the label.
        """
        style = self.pen.s("general", "line", "left")
        for path in paths:
            label, unit = self.site.registry.label(path)
            label = f"{whose}: {label[:1].lower()}{label[1:]}" if whose else label
            value = float(self.site.value(path))
            source = self.site.source(path)
            if source is None:
                self.sheet.number(self.row, 1, value, style)
            else:
                self.pen.formula(self.sheet, self.row, 1, "=" + source, value, style)
                self.pen.compare(self.site.unit_name, path, value, self.site.registry.contents[path], label)
            name = start + path.rpartition(".")[2] if start else path
            self._put(name, label, unit, value, "the option's own value" if source is None else "input")

    def derive(self, name: str, label: str, unit: str, template: str, how: str = "", *, engine=None) -> None:
        """A constant that follows from others; ``engine`` is its value of the run where the model keeps one."""
        value = float(np.asarray(self.site.scope.evaluate(template)).reshape(()))
        if engine is not None:
            self.pen.compare(self.site.unit_name, name, value, engine, label)
        text = "=" + self.site.scope.formula(template)
        self.pen.formula(self.sheet, self.row, 1, text, value, self.pen.s(number_style(value), "line", "left"))
        self._put(name, label, unit, value, how)

    def fallback(self, name: str, path: str, template: str, how: str, engine=None) -> None:
        """An input that need not be given, and what takes its place."""
        label, unit = self.site.registry.label(path)
        given = self.site.own[path] if path in self.site.own else self.site.registry.value(path)
        if path in self.site.own and given is not None:
            self.sheet.number(self.row, 1, given, self.pen.s("general", "line", "left"))
            self._put(name, label, unit, float(given), "the option's own value")
            return
        if path not in self.site.own:
            content = self.site.registry.contents[path]
            shown = float(content) if isinstance(content, (int, float)) else np.nan
            self.site.scope.put(f"cell.{path}", self.site.registry.address(path), shown)
            if given is None and path in FOLLOWS:
                # The cell shows what came out of the run: it counts as given once it shows something else.
                self.site.scope.put(f"run.{path}", self.site.registry.held(path), shown)
                template = f"IF({{cell.{path}}}={{run.{path}}},{template},{{cell.{path}}})"
            else:
                template = f"IF(ISNUMBER({{cell.{path}}}),{{cell.{path}}},{template})"
        self.derive(name, label, unit, template, how, engine=engine if given is None else float(given))

    def held(self, name: str, label: str, unit: str, value: float, how: str) -> None:
        """A number found by the program."""
        self.sheet.number(self.row, 1, value, self.pen.s(number_style(value), "line", "left"))
        self._put(name, label, unit, float(value), how)

    def points(self, name: str, path: str) -> None:
        """A table of points, with the slopes between them."""
        self.row = write_points(
            self.pen,
            self.sheet,
            self.row,
            self.site.scope,
            f"p.{name}",
            path,
            self.site.registry,
            self.site.value(path),
            path in self.site.own,
        )
