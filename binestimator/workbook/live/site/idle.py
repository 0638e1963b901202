"""Energy of the heating plant that stays enabled while the air handler is off."""

from __future__ import annotations

import numpy as np

from ....model.plant import heat_source
from ...page import title
from ...strict import column_name
from ..formulas import Scope
from ..grid import TOTAL_ROWS, Grid
from ..rows.heat_sources import source_columns
from .site import Site


def write_idle(site: Site, sheet, base_rows) -> None:
    """Energy of the idle heating plant in the rows with the air handler off."""
    c, heat = site.run.rows.conditions, site.project.heating
    off = np.flatnonzero(c.fan_on <= 0.0)
    grid = Grid(site.pen, sheet, site.scope, len(off))
    col = lambda values: np.asarray(values, dtype=float).reshape(-1, 1)
    title(
        site.pen.work,
        sheet,
        "Idle heating plant" + ("" if site.number == 1 else f" of {', '.join(site.users)}"),
        "Rows with the air handler off: what the heating plant takes while it stays enabled. The same for all "
        "candidates.",
        link_column=11,
    )
    grid.group("Row")
    grid.add("row", "Row", "no.", None, "f0", values=col(off + 1.0))
    grid.add("weight", "Weight", "h/yr", base_rows("weight_h") if base_rows else None, "f2", values=col(c.hours[off]))
    grid.add("oat", "Outdoor dry bulb", "°F", base_rows("oat_f") if base_rows else None, "f1", values=col(c.oat_f[off]))
    grid.group("Heat source")

    def add(key: str, label: str, unit: str, template: str, style: str = "f2") -> None:
        grid.add(key, label, unit, template, style)

    electric, fuel, purchased, pumps, _ = source_columns(
        add,
        "heat",
        heat_source(heat),
        "heating.capacity_kbtuh",
        "0",
        "IF({oat}<{heating.enabled_below_f},1,0)",
        "{oat}",
    )
    site.idle = {}
    grid.group("Energy")
    for annual, label, unit, terms in (
        ("heating_kwh", "Electric heat", "kW", electric),
        ("fuel_therm", "Fuel", "therm/h", fuel),
        ("purchased_heating_kbtu", "Purchased heat", "kBtu/h", purchased),
        ("pump_tower_kwh", "Hot-water pump", "kW", pumps),
    ):
        if terms:
            grid.add(annual, label, unit, "+".join(terms), "f4")
    style = site.pen.s("f1", "subtotal", "small")
    sheet.text(TOTAL_ROWS["rows"], 0, "Rows", site.pen.s("subtotal", "small"))
    names = Scope()
    names.put("weight", grid.area("weight"), grid.scope["weight"].T)
    for c_ in grid.groups[-1].columns:
        names.put("column", grid.area(c_.key), c_.values.T)
        template = "SUMPRODUCT({weight},{column})"
        value = site.pen.evaluated(sheet, TOTAL_ROWS["rows"], c_.column, names, template, style)
        site.idle[c_.key] = (f"{sheet.name}!${column_name(c_.column)}${TOTAL_ROWS['rows'] + 1}", value)
    grid.write()
    sheet.widths([9.5] * grid.width)
    grid.show(1, site.pen.work.footer)
