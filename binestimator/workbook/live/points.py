"""Tables of points with the slopes between them, where formulas look them up."""

from __future__ import annotations

import numpy as np

from ..addresses import sheet_ref
from .formulas import Scope

# Colder than any air and less than any airflow: the abscissa from which the first point's value holds.
_BELOW_ALL_POINTS = -1000.0


def write_points(
    pen,
    sheet,
    row: int,
    scope: Scope,
    name: str,
    path: str,
    registry,
    points,
    own_values: bool = False,
    x_unit: str = "",
) -> int:
    """Points of a line and the slope after each; returns the next row.

    Abscissas, ordinates and slopes are one below the other, each after a line for what lies below
    the first point, so that formulas can look up in them. ``x_unit`` where it is not that of the input.
    """
    s = pen.s
    label, unit = registry.label(path)
    # Points of two kinds name both, as "degF:in. w.c. or %:in. w.c.".
    x_unit, y_unit = x_unit or unit.partition(":")[0], unit.rpartition(":")[2]
    style = s("general", "line", "left")
    at = lambda k: f"{sheet_ref(sheet.name)}!$B${k + 1}"
    flat = "flat outside the points"
    count = len(points)

    def line(words: str, u: str, value: float, formula: str | None, how: str) -> float:
        nonlocal row
        sheet.text(row, 0, f"{label}: {words}", s("line", "small"))
        sheet.text(row, 2, u, s("line", "small"))
        sheet.text(row, 3, how, s("line", "small", "quiet"))
        if formula is None:
            sheet.number(row, 1, value, style)
        else:
            pen.formula(sheet, row, 1, "=" + formula, value, style)
        row += 1
        return value

    starts, columns = [], []
    for axis, numbers, u in (
        ("x", [float(x) for x, _ in points], x_unit),
        ("y", [float(y) for _, y in points], y_unit),
    ):
        starts.append(row)
        below = []
        if count > 1:
            words = f"{axis} below all points"
            if axis == "x":
                below.append(line(words, u, _BELOW_ALL_POINTS, None, flat))
            else:
                below.append(line(words, u, numbers[0], at(row + 1), flat))
        for k, number in enumerate(numbers, 1):
            scope.put(f"{name}.{axis}{k}", at(row), number)
            line(
                f"{axis}{k}",
                u,
                number,
                None if own_values else registry.address(f"{path}.{axis}{k}"),
                "the option's own value" if own_values else "input",
            )
        columns.append([*below, *numbers])
    if count == 1:
        return row
    starts.append(row)
    slopes = [line("slope below all points", "", 0.0, None, flat)]
    for k in range(1, count):
        template = f"({{{name}.y{k + 1}}}-{{{name}.y{k}}})/({{{name}.x{k + 1}}}-{{{name}.x{k}}})"
        slopes.append(
            line(f"slope from {k} to {k + 1}", "", float(scope.evaluate(template)), scope.formula(template), "")
        )
    slopes.append(line(f"slope from {count} on", "", 0.0, None, flat))
    for part, start, numbers in zip("xys", starts, (*columns, slopes), strict=True):
        scope.put(f"{name}.{part}", f"{at(start)}:$B${start + len(numbers)}", np.array([numbers]))
    return row
