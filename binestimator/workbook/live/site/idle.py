"""Energy of the heating plant that stays enabled while the air handler is off."""

from __future__ import annotations

import numpy as np

from ...addresses import column_name, sheet_ref
from ...page import title
from ..columns import TOTAL_ROWS
from ..formulas import Scope
from ..grid import Grid
from ..rows.plant import source_columns
from ..rows.steps import STEPS
from ..symbols import Drawing
from .site import Site


def write_idle(site: Site, sheet, base_rows) -> None:
    """Energy of the idle heating plant in the rows with the air handler off."""
    c = site.run.rows.conditions
    off = np.flatnonzero(c.fan_on <= 0.0)
    grid = Grid(site.pen, sheet, site.scope, len(off))
    col = lambda values: np.asarray(values, dtype=float).reshape(-1, 1)
    title(
        site.pen.work,
        sheet,
        "Idle heating plant" + ("" if site.number == 1 else f" of {', '.join(site.users)}"),
        "Rows with the air handler off: what the heating plant takes while it stays enabled. The same for all options.",
        link_column=11,
    )
    grid.group("Row")
    grid.add("row", "Row", "no.", None, "f0", values=col(off + 1.0))
    pick = base_rows or (lambda key: None)
    grid.add("weight", "Weight", "h/yr", pick("weight_h"), "f2", values=col(c.hours[off]))
    grid.add("oat_f", "Outdoor dry bulb", "°F", pick("oat_f"), "f1", values=col(c.oat_f[off]))
    grid.group("Heat source")

    def add(key: str, label: str, unit: str, template: str, style: str = "f2") -> None:
        grid.add(key, label, unit, template, style)

    draw = Drawing(grid.scope, add, STEPS)
    source = source_columns(draw, site.project, "heat", 0.0, "IF({oat_f}<{heating.enabled_below_f},1,0)")
    site.idle = {}
    grid.group("Energy")
    for annual, label, unit, energy in (
        ("heating_kwh", "Electric heat", "kW", source.electric_kw),
        ("fuel_therm", "Fuel", "therm/h", source.fuel_thermh),
        ("purchased_heating_kbtu", "Purchased heat", "kBtu/h", source.purchased_kbtuh),
        ("pump_tower_kwh", "Hot-water pump", "kW", source.pump_kw),
    ):
        if (template := draw.template(energy)) is not None:
            grid.add(annual, label, unit, template, "f4")
    style = site.pen.s("f1", "subtotal", "small")
    sheet.text(TOTAL_ROWS["rows"], 0, "Rows", site.pen.s("subtotal", "small"))
    names = Scope()
    names.put("weight", grid.area("weight"), grid.scope["weight"].T)
    for c_ in grid.groups[-1].columns:
        names.put("column", grid.area(c_.key), c_.values.T)
        template = "SUMPRODUCT({weight},{column})"
        value = site.pen.evaluated(sheet, TOTAL_ROWS["rows"], c_.column, names, template, style)
        site.idle[c_.key] = (f"{sheet_ref(sheet.name)}!${column_name(c_.column)}${TOTAL_ROWS['rows'] + 1}", value)
    grid.write()
    sheet.widths([9.5] * grid.width)
    grid.show(1, site.pen.work.footer)
