"""Columns from the load that is carried to energy and cost."""

from __future__ import annotations

import numpy as np

from ....end_uses import ELECTRIC, ELECTRICITY_PRICE, END_USES
from ....model.plant import heat_source, preheat_source
from ....model.system import supply_heating_mode
from . import floating
from .chain import Chain
from .cooling import plant_columns
from .fans import second_fan
from .heat_sources import source_columns


def carried_load(chain: Chain) -> None:
    """What the coil carries, what is not served, and rows that an edit lets float."""
    bought = chain.project.cooling.type == "purchased"
    chain.group("Load that is carried")
    load = "({sensible}+{cooling_latent_kbtuh})"
    chain.out(
        "unserved_kbtuh",
        None
        if bought
        else f"IF({load}-{{cooling_capacity_kbtuh}}>{{k.unserved}}*MAX({load},1/1000),"
        f"{load}-{{cooling_capacity_kbtuh}},0)",
    )
    chain.out("cooling_sensible_kbtuh", "{sensible}" if bought else "{sensible}-{unserved_kbtuh}")
    chain.out("cooling_kbtuh", "MAX({cooling_sensible_kbtuh}+{cooling_latent_kbtuh},0)")
    if not chain.two_pass:
        tests = [] if bought else ["{unserved_kbtuh}>{k.capacity_slack}*MAX({sensible}+{cooling_latent_kbtuh},1/1000)"]
        if supply_heating_mode(chain.unit) != "hold":
            tests.append(f"{floating.heated(chain, '{mat_f}')}+{{fan_rise_f}}<{{sat_f}}-{{k.sat_held}}")
        if tests:
            chain.col(
                "short",
                "Would float after an edit: needs a new run",
                "1/0",
                f"IF({tests[0] if len(tests) == 1 else 'OR(' + ','.join(tests) + ')'},1,0)",
                "f0",
            )
            chain.compare_rows("short", np.zeros(chain.lines))


def energy_columns(chain: Chain) -> None:
    g, project = chain.grid, chain.project
    cool = project.cooling
    bought = cool.type == "purchased"
    pumps: list[str] = []
    g.group("Cooling plant")
    if cool.type in ("chilled_water", "direct_expansion"):
        pumps += plant_columns(chain)
    else:
        chain.out("cooling_kw", None)
    chain.out("purchased_cooling_kbtuh", "{cooling_kbtuh}/(1-{cooling.purchased_loss_frac})" if bought else None)
    g.group("Reheat and heat sources")
    chain.out("reheat_kbtuh", "SUMPRODUCT({z.mult},{reheat})/1000")
    electric: list[str] = []
    fuel: list[str] = []
    purchased: list[str] = []
    unserved: list[str] = []
    for n, source, capacity, load, on in _sources(chain):
        e, f, b, w, missing = source_columns(chain.col, n, source, capacity, load, on, "{oat_f}")
        electric += e
        fuel += f
        purchased += b
        pumps += w
        unserved.append(missing)
    if project.heating.type == "none":
        unserved.append("{reheat_kbtuh}" + ("+{preheat_kbtuh}" if project.preheat.type == "same" else ""))
    if project.preheat.type == "none":
        unserved.append("{preheat_kbtuh}")
    chain.out("heat_unserved_kbtuh", "+".join(unserved) or None)
    kind = project.return_fan.type
    second = {"none": None, "return": "{return_kw}", "relief": second_fan("MAX({oa_cfm},0)")}[kind]
    g.group("Energy")
    chain.out("return_fan_kw", second)
    chain.out("fans_kw", "{fan_kw}+{return_fan_kw}")
    chain.out("pump_tower_kw", "+".join(pumps) or None)
    chain.out("heating_kw", "+".join(electric) or None)
    chain.out("fuel_thermh", "+".join(fuel) or None)
    chain.out("purchased_heating_kbtuh", "+".join(purchased) or None)
    for use in END_USES:
        if use.formula:
            chain.out(use.column, use.formula)
    chain.out("electricity_kw", "+".join(f"{{{use.column}}}" for use in ELECTRIC))
    g.group("Cost")
    chain.out(
        "cost_usd_h",
        "+".join(
            f"{{{column}}}*{{prices.{price}}}"
            for column, price in (
                ("electricity_kw", ELECTRICITY_PRICE),
                *((use.column, use.price) for use in END_USES if not use.electric),
            )
        ),
    )


def _sources(chain: Chain):
    """Heat sources: name, source, capacity, load, whether enabled."""
    heat, pre = chain.project.heating, chain.project.preheat
    if heat.type != "none":
        if pre.type == "same":
            yield (
                "heat",
                heat_source(heat),
                "heating.capacity_kbtuh",
                "({reheat_kbtuh}+{preheat_kbtuh})",
                "IF({preheat_kbtuh}>{k.least_preheat},1,{enabled})",
            )
        else:
            yield ("heat", heat_source(heat), "heating.capacity_kbtuh", "{reheat_kbtuh}", "{enabled}")
    if pre.type not in ("same", "none"):
        yield (
            "pre",
            preheat_source(pre, heat),
            "c.preheat_capacity",
            "{preheat_kbtuh}",
            "IF({preheat_kbtuh}>{k.least_preheat},1,0)",
        )
