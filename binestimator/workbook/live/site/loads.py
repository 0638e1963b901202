"""Loads of every zone in every running row."""

from __future__ import annotations

from functools import partial

import numpy as np

from ....strategies.demand import temperature_thresholds_f
from ...figures import when_text
from ...page import title
from ..formulas import line_through
from ..grid import Grid
from .site import SUN, Site


def write_loads(site: Site, sheet, base_rows, demand_sat: bool) -> None:
    """Loads of every zone in every running row.

    Parameters
    ----------
    base_rows : callable or None
        Template of a column of the sheet of rows, by its key, where this site's conditions are those of that sheet.
    demand_sat : bool
        A candidate of the site resets supply temperature by demand.
    """
    pen, loads, n = site.pen, site.run.rows.loads, len(site.run.rows.running)
    grid = site.loads = Grid(pen, sheet, site.scope, n)
    title(
        pen.work,
        sheet,
        "Loads" + ("" if site.number == 1 else f" of {', '.join(site.users)}"),
        "Running rows: conditions, then for every zone what does not depend on setpoints. Zone columns are one "
        "zone each, not times its multiplier.",
        link_column=11,
    )
    _conditions(site, grid, base_rows or (lambda key: None))
    if site.follows:
        _setpoint_lines(site, grid)
    _group_shares(site, grid)
    _gains(site, grid)
    _zones(site, grid)
    if demand_sat:
        _temperature_requests(site, grid)
    for key, values in (
        ("infiltration", loads.infiltration_cfm),
        ("latent", loads.latent_btuh),
        ("plenum", loads.plenum_btuh),
        ("oa_people", loads.oa_people_cfm),
        ("gains", loads.gains_btuh),
        ("ua", loads.ua_btuh_f),
        ("tc", loads.cool_f),
        ("th", loads.heat_f),
        ("vmin", loads.min_cfm),
        ("qc", loads.q_cool_btuh),
        ("qh", loads.q_heat_btuh),
    ):
        wanted = np.asarray(values, dtype=float).reshape(n, -1)
        grid.compare(key, wanted)
        grid.set_values(key, wanted)
    if demand_sat:
        keys = ("t_ask", "t_release", "t_second", "t_third")
        for key, wanted in zip(keys, temperature_thresholds_f(site.unit, loads), strict=True):
            grid.compare(key, wanted)
    grid.write()
    sheet.widths([5.5, 12, *[9.5] * (grid.width - 2)])
    grid.show(3, pen.work.footer)


def _column(values) -> np.ndarray:
    return np.asarray(values, dtype=float).reshape(-1, 1)


def _conditions(site: Site, grid: Grid, pick) -> None:
    """Rows with what is the same for all zones; ``pick`` gives the template of a column of the sheet of rows."""
    rows = site.run.rows
    on, n = rows.on, len(rows.running)
    grid.group("Row")
    grid.add("row", "Row", "no.", None, "f0", values=_column(rows.running + 1.0))
    when = [when_text(*at) for at in zip(on.month.tolist(), on.day.tolist(), on.hour_start.tolist())]
    grid.add("when", "Date and hour", "std. time", None, "inset", texts=when)
    grid.add(
        "weight", "Weight", "h/yr", pick("weight_h"), "f2", values=_column(on.hours), total="weight", total_unit="h"
    )
    grid.group("Conditions")
    grid.add("oat", "Outdoor dry bulb", "°F", pick("oat_f"), "f1", values=_column(on.oat_f))
    grid.add("oawb", "Outdoor wet bulb", "°F", pick("oawb_f"), "f1", values=_column(on.oawb_f))
    grid.add(
        "dewpoint",
        "Outdoor dew point",
        "°F",
        pick("oa_dewpoint_f") if "oa_dewpoint_f" in site.results.row_table.columns else None,
        "f1",
        values=_column(on.oa_dewpoint_f),
    )
    grid.add("w", "Outdoor humidity ratio", "lb/lb", pick("humidity_ratio"), "f5", values=_column(on.humidity_ratio))
    grid.add("occupied", "Occupied", "1/0", pick("occupied"), "f0", values=_column(on.occupied))
    if site.project.heating.type == "none":
        grid.add("enabled", "Heating plant enabled", "1/0", None, "f0", values=_column(np.zeros(n)))
    else:
        grid.add("enabled", "Heating plant enabled", "1/0", "IF({oat}<{heating.enabled_below_f},1,0)", "f0")


def _setpoint_lines(site: Site, grid: Grid) -> None:
    """Occupied setpoints of rooms that follow the outdoor temperature."""
    rule = site.unit.room_setpoints
    grid.group("Room setpoints by outdoor temperature")
    for key, label, points, name in (
        ("tc_line", "Cooling setpoint of rooms that follow", rule.cooling_points, "p.room_cooling"),
        ("th_line", "Heating setpoint of rooms that follow", rule.heating_points, "p.room_heating"),
    ):
        x, y = zip(*points)
        grid.add(key, label, "°F", line_through("{oat}", len(points), name), "f2")
        grid.compare(key, _column(np.interp(site.run.rows.on.oat_f, x, y)))


def _group_shares(site: Site, grid: Grid) -> None:
    on, groups = site.run.rows.on, range(len(site.project.groups))
    grid.group("Shares of the groups (value block)")
    for kind in ("people_gain", "lights_gain", "equipment_gain", "people", "lights", "group_occupied"):
        values = getattr(on, kind if kind == "group_occupied" else f"{kind}_frac")
        label = {
            "people_gain": "People, delayed",
            "lights_gain": "Lights, delayed",
            "equipment_gain": "Equipment, delayed",
            "people": "People present",
            "lights": "Lights on",
            "group_occupied": "Group occupied",
        }[kind]
        full = {"people": ("latent_full", "oa_full"), "lights": ("plenum_full",)}.get(kind, ())
        for g in groups:
            grid.add(
                f"{kind}_{g}",
                f"{label}: {site.project.groups[g].name}",
                "share",
                None,
                "f3",
                values=_column(values[:, g]),
                above=tuple(f"g{g}.{name}" for name in full),
            )
        ends = f"{kind}_0", f"{kind}_{len(groups) - 1}"
        grid.block(f"{kind}_row", *ends)
        for tier, name in enumerate(full):
            grid.block_above(f"{name}_row", *ends, tier)


def _gains(site: Site, grid: Grid) -> None:
    """Gains per area, sun, and what the whole building gives."""
    on, groups = site.run.rows.on, range(len(site.project.groups))
    grid.group("Gains per area, and sun (value block)")
    for g in groups:
        grid.add(
            f"gain_{g}",
            f"Gains per area: {site.project.groups[g].name}",
            "Btu/h·ft²",
            f"{{people_gain_{g}}}*{{g{g}.people}}+{{lights_gain_{g}}}*{{g{g}.lights}}+{{equipment_gain_{g}}}*{{g{g}.equipment}}",
            "f2",
            above=tuple(f"g{g}.{name}" for name in ("people", "lights", "equipment")),
        )
    for j, side in enumerate(SUN):
        grid.add(
            f"sun_{side}",
            f"Sun through clear glass, {side}",
            "Btu/h·ft²",
            None,
            "f1",
            values=_column(on.glass_sun_btuh_ft2[:, j]),
        )
    grid.add("sun_roof", "Sun on the roof", "Btu/h·ft²", None, "f1", values=_column(on.roof_sun_btuh_ft2))
    grid.group("Whole building")
    grid.add(
        "infiltration_frac",
        "Infiltration that remains",
        "share",
        "IF({occupied}=1,{building.infiltration_running_frac},1)",
        "f2",
    )
    grid.add(
        "infiltration",
        "Infiltration of all rooms",
        "cfm",
        "{infiltration_frac}*SUMPRODUCT({z.mult},{z.infiltration_cfm})",
        "f0",
    )
    grid.add(
        "latent",
        "Moisture gain",
        "Btu/h",
        "SUMPRODUCT({people_row},{latent_full_row})+{occupied}*{air_handler.latent_extra_btuh}",
        "f0",
    )
    grid.add("plenum", "Light into the plenum", "Btu/h", "SUMPRODUCT({lights_row},{plenum_full_row})", "f0")
    grid.add(
        "oa_people",
        "Outdoor air by people present, at the zones",
        "cfm",
        "SUMPRODUCT({people_row},{oa_full_row})",
        "f0",
    )


def _block(site: Site, grid: Grid, key: str, label: str, unit: str, template: str, style: str = "f0") -> None:
    """A column a zone, in a group of its own."""
    grid.group(label + ", zone by zone")
    names = tuple(z.name for z in site.project.zones)
    grid.add(key, label, unit, template, style, width=site.count, array=True, head=names)


def _zones(site: Site, grid: Grid) -> None:
    """Loads at the setpoints and least airflows."""
    block = partial(_block, site, grid)
    grid.block("gain_row", "gain_0", "sun_roof")
    block("gains", "Room gains with sun", "Btu/h", "MMULT({gain_row},{z.matrix})")
    block(
        "ua",
        "Conductance with infiltration",
        "Btu/h·°F",
        "{z.ua_btuh_f}+{fs}*{infiltration_frac}*{z.infiltration_cfm}",
        "f1",
    )
    for key, label, c in (("tc", "Cooling setpoint", "c"), ("th", "Heating setpoint", "h")):
        occupied, other = f"{{z.t{c}o}}", f"{{z.t{c}u}}"
        if site.follows:
            occupied = f"({occupied}+{{z.follows_{c}}}*({{{key}_line}}-{occupied}))"
        block(key, label, "°F", f"{other}+MMULT({{group_occupied_row}},{{z.members}})*({occupied}-{other})", "f1")
    block(
        "vmin",
        "Minimum airflow",
        "cfm",
        "{z.min_off}+MMULT({group_occupied_row},{z.members})*({z.min}-{z.min_off})",
    )
    block("qc", "Load at the cooling setpoint", "Btu/h", "{gains}+{ua}*({oat}-{tc})")
    block("qh", "Load at the heating setpoint", "Btu/h", "{gains}+{ua}*({oat}-{th})")
    zones = site.unit.zones
    site.dual = bool((zones.dual_maximum & zones.has_reheat).any())
    if site.dual:
        block("heat_low", "Least airflow while heating", "cfm", "IF({z.heat_min}>{vmin},{z.heat_min},{vmin})")
        block("heat_high", "Most airflow while heating", "cfm", "IF({z.heat_max}>{vmin},{z.heat_max},{vmin})")
        block(
            "heat_air",
            "Airflow that carries the heat at the highest discharge",
            "cfm",
            "-{qh}/({fs}*{z.reheat_rise_max_f})",
        )


def _temperature_requests(site: Site, grid: Grid) -> None:
    """Supply temperatures at which zones ask for colder air."""
    block = partial(_block, site, grid)
    for key, label, share in (
        ("t_ask", "Supply air at which the loop asks", "{limits.loop_ask_pct}"),
        ("t_release", "Supply air at which the loop releases", "{limits.loop_release_pct}"),
    ):
        block(
            key,
            label,
            "°F",
            f"IF({{qc}}>0,"
            f"{{tc}}-{{qc}}/({{fs}}*({{vmin}}+{share}/100*({{z.max_cfm}}-{{vmin}})))-{{air_handler.duct_gain_f}},{{k.never_f}})",
            "f1",
        )
    for key, label, excess in (
        ("t_second", "Supply air of the second request", "{k.second_f}"),
        ("t_third", "Supply air of the third request", "{k.third_f}"),
    ):
        warm = f"{{tc}}+{excess}-({{qc}}-{{ua}}*{excess})/({{fs}}*{{z.max_cfm}})-{{air_handler.duct_gain_f}}"
        block(
            key,
            label,
            "°F",
            f"IF({{qc}}<={{ua}}*{excess},{{k.never_f}},IF({warm}>{{t_ask}},{warm},{{t_ask}}))",
            "f1",
        )
