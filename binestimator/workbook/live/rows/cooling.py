"""Columns of the cooling plant: what it can give, and what a load takes."""

from __future__ import annotations

import numpy as np

from ..constants import biquadratic, curve_key, polynomial
from .chain import Chain
from .heat_sources import coefficients


def capacity_columns(chain: Chain, x: str, *, out: bool) -> None:
    """Cooling that the plant can give; the outdoor part stands once."""
    cool = chain.project.cooling
    if cool.type == "purchased":
        return
    if cool.type == "none":
        if x == "" and not out:
            chain.grid.add(
                "open_capacity_kbtuh",
                "Plant can give, before closing",
                "kBtu/h",
                None,
                "f1",
                values=np.zeros(chain.lines * chain.parts),
            )
        else:
            chain.out("cooling_capacity_kbtuh", None, prefix=x)
        return
    dx = cool.type == "direct_expansion"
    cap = curve_key("dx_cap_f_t" if dx else f"chiller_{cool.chiller_set}_cap_f_t")
    if dx:
        chain.col(
            x + "cap_x",
            "Entering wet bulb within the curve",
            "°F",
            f"MEDIAN({{{cap}.x_low}},{{{x}coil_entering_wb_f}},{{{cap}.x_high}})",
        )
    y = x if dx else ""
    if dx or "plant_y" not in chain.grid:
        condenser = (
            "{oat_f}"
            if dx or cool.chiller_set in ("A", "B")
            else "MAX({oawb_f}+{cooling.tower_approach_f},{cooling.condenser_water_min_f})"
        )
        chain.col(
            y + "plant_y",
            "Heat rejection temperature within the curve",
            "°F",
            f"MEDIAN({{{cap}.y_low}},{condenser},{{{cap}.y_high}})",
            "f1",
        )
        variable = f"{{{x}cap_x}}" if dx else "{c.chw_f}"
        chain.col(
            y + "cap_factor",
            "Capacity over rating",
            "share",
            f"{biquadratic(cap, variable, f'{{{y}plant_y}}')}/{{{cap}.rated}}",
            "f3",
        )
        full = f"{{c.rated_kbtuh}}*{{{y}cap_factor}}"
        chain.col(
            y + "plant_kbtuh",
            "Plant at the conditions",
            "kBtu/h",
            f"IF({{oat_f}}<{{cooling.lockout_f}},0,{full})" if dx else full,
            "f1",
        )
        if cool.type == "chilled_water" and cool.other_load_tons > 0.0:
            chain.col(
                "other_load",
                "Other load on the plant",
                "kBtu/h",
                "{cooling.other_load_tons}*{k.kbtu_ton}*MAX(({oat_f}-{cooling.other_load_zero_f})/({k.other_design_f}-{cooling.other_load_zero_f}),0)",
                "f1",
            )
    other = "-{other_load}" if "other_load" in chain.grid else ""
    template = f"MAX({{{y}plant_kbtuh}}{other},0)"
    if x == "" and not out:
        chain.col("open_capacity_kbtuh", "Plant can give, before closing", "kBtu/h", template, "f1")
    else:
        chain.out("cooling_capacity_kbtuh", template, prefix=x)


def plant_columns(chain: Chain) -> list[str]:
    cool = chain.project.cooling
    dx = cool.type == "direct_expansion"
    eir = curve_key("dx_eir_f_t" if dx else f"chiller_{cool.chiller_set}_eir_f_t")
    chain.col(
        "eir_factor",
        "Full-load input over rating",
        "share",
        f"{biquadratic(eir, '{cap_x}' if dx else '{c.chw_f}', '{plant_y}')}/{{{eir}.rated}}",
        "f3",
    )
    chain.col(
        "unit_kw",
        "Full load of a unit",
        "kW",
        "{cooling.capacity_tons}/{cooling.units}*{c.full_kw_ton}*({plant_kbtuh}/{c.rated_kbtuh})*{eir_factor}",
    )
    if "other_load" in chain.grid:
        chain.col("other", "Other load that is served", "kBtu/h", "MIN({other_load},{plant_kbtuh})", "f1")
        chain.col(
            "total_load", "Load of the plant", "kBtu/h", "MIN({cooling_kbtuh},{plant_kbtuh}-{other})+{other}", "f1"
        )
        main, pumps = _units(chain, "n_", "{total_load}")
        alone, pumps_alone = _units(chain, "o_", "{other}")
        chain.out("cooling_kw", f"{main}-{alone}")
        return [*pumps, f"(-1)*({'+'.join(pumps_alone)})"]
    main, pumps = _units(chain, "n_", "{cooling_kbtuh}")
    chain.out("cooling_kw", main)
    return pumps


def _units(chain: Chain, n: str, load: str) -> tuple[str, list[str]]:
    """Running units, their part load and power under a load."""
    cool = chain.project.cooling
    dx = cool.type == "direct_expansion"
    chain.col(
        n + "load",
        "Load of the plant" + (" without this air handler" if n == "o_" else ""),
        "kBtu/h",
        f"IF({load}>{{k.least_load}}*{{c.rated_kbtuh}},{load},0)",
        "f1",
    )
    kbtuh = f"{{{n}load}}"
    each = "({plant_kbtuh}/{cooling.units})"
    chain.col(
        n + "on",
        "Units on",
        "units",
        f"IF(AND({kbtuh}>0,{each}>0),MEDIAN(1,ROUNDUP({kbtuh}/IF({each}>0,{each},1)-{{k.staging}},0),{{cooling.units}}),0)",
        "f0",
    )
    on = f"{{{n}on}}"
    chain.col(
        n + "plr",
        "Part load ratio",
        "0–1",
        f"MIN(IF({on}*{each}>0,{kbtuh}/IF({on}*{each}>0,{on}*{each},1),0),1)",
        "f3",
    )
    plr = f"{{{n}plr}}"
    hold = cool.below_minimum == "hold"
    chain.col(
        n + "run",
        "Running share of the units",
        "0–1",
        f"IF({plr}>0,1,0)" if hold else f"MIN({plr},{{c.least_plr}})/{{c.least_plr}}",
        "f3",
    )
    q = curve_key("dx_eir_f_plr" if dx else f"chiller_{cool.chiller_set}_eir_f_plr")
    count = 4 if dx else len(coefficients(q))
    chain.col(n + "steady", "Steady part load", "0–1", f"MAX({plr},{{c.least_plr}})", "f3")
    power = f"{on}*{{unit_kw}}*{polynomial(q, count, f'{{{n}steady}}')}/{{{q}.rated}}*{{{n}run}}"
    if dx:
        return power, []
    share = f"({kbtuh}/{{c.rated_kbtuh}})"
    pump = "{cooling.chilled_pump_w_ton}*{cooling.capacity_tons}/1000*"
    if cool.chilled_pump_control == "constant":
        pump += f"IF({kbtuh}>0,1,0)"
    else:
        v = curve_key("pump_variable")
        pump += f"{polynomial(v, 4, f'MEDIAN({{{v}.x_low}},{share},{{{v}.x_high}})')}/{{{v}.rated}}"
    chain.col(n + "pump_kw", "Chilled-water pump", "kW", pump)
    pumps = [f"{{{n}pump_kw}}"]
    if cool.chiller_set not in ("A", "B"):
        chain.col(
            n + "tower_kw",
            "Condenser pump and tower",
            "kW",
            f"({on}*{{{n}run}}*{{cooling.capacity_tons}}/{{cooling.units}}*{{cooling.condenser_pump_w_ton}}+{kbtuh}/{{k.kbtu_ton}}*{{cooling.tower_w_ton}})/1000",
        )
        pumps.append(f"{{{n}tower_kw}}")
    return power, pumps
