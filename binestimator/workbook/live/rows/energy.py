"""Columns from the load that is carried to energy and cost."""

from __future__ import annotations

import numpy as np

from ....end_uses import ELECTRIC, ELECTRICITY_PRICE, END_USES, PRICED
from ....model.system import supply_heating_mode
from ....rates import Rates
from . import floating
from .chain import Chain
from .fans import second_fan
from .plant import cooling_columns, source_columns


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
    g, project, draw = chain.grid, chain.project, chain.drawing
    g.group("Cooling plant")
    pumps = cooling_columns(chain)
    g.group("Reheat and heat sources")
    chain.out("reheat_kbtuh", "SUMPRODUCT({z.mult},{reheat})/1000")
    reheat, preheat = draw.name("reheat_kbtuh", low=0.0), draw.name("preheat_kbtuh", low=0.0)
    preheats = "{preheat_kbtuh}>{k.least_preheat}"
    if project.preheat.type == "same":
        sources = [source_columns(draw, project, "heat", reheat + preheat, f"IF({preheats},1,{{enabled}})")]
    else:
        sources = [
            source_columns(draw, project, "heat", reheat, "{enabled}"),
            source_columns(draw, project, "pre", preheat, f"IF({preheats},1,0)"),
        ]
    total = lambda part: draw.template(sum(getattr(source, part) for source in sources))
    chain.out("heat_unserved_kbtuh", total("unserved_kbtuh"))
    kind = project.return_fan.type
    g.group("Energy")
    relieved = lambda: second_fan(chain, draw.apply("MAX", draw.name("oa_cfm"), 0.0))
    chain.out("return_fan_kw", relieved() if kind == "relief" else {"none": None, "return": "{return_kw}"}[kind])
    chain.out("fans_kw", "{fan_kw}+{return_fan_kw}")
    chain.out("pump_tower_kw", draw.template(pumps + sum(source.pump_kw for source in sources)))
    chain.out("heating_kw", total("electric_kw"))
    chain.out("fuel_thermh", total("fuel_thermh"))
    chain.out("purchased_heating_kbtuh", total("purchased_kbtuh"))
    for use in END_USES:
        if use.formula:
            chain.out(use.column, use.formula)
    chain.out("electricity_kw", "+".join(f"{{{use.column}}}" for use in ELECTRIC))
    g.group("Cost")
    priced = "prices"
    if isinstance(chain.unit.prices, Rates):
        priced = "at"
        periods = np.tile(chain.run.rows.on.rate_period, chain.parts).astype(float)
        g.add("rate_period", "Rate period (value)", "no.", None, "f0", values=periods + 1.0)
        for _, price, unit in PRICED:
            label = f"Price of a {unit}" if price != "heat_usd_kbtu" else "Price of a kBtu of heat"
            chain.col(f"at.{price}", label, f"USD/{unit}", f"INDEX({{rates.{price}}},{{rate_period}})", "f5")
    chain.out(
        "cost_usd_h",
        "+".join(
            f"{{{column}}}*{{{priced}.{price}}}"
            for column, price in (
                ("electricity_kw", ELECTRICITY_PRICE),
                *((use.column, use.price) for use in END_USES if not use.electric),
            )
        ),
    )
