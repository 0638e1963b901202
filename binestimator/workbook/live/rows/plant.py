"""Columns of cooling plant and heat sources, drawn from the functions of ``model.plant``."""

from __future__ import annotations

import numpy as np

from ....model.plant import (
    HeatingPower,
    HeatSource,
    cooling_capacity_kbtuh,
    cooling_power,
    heat_source,
    heating_power,
    preheat_source,
)
from ..symbols import Drawing, Symbol
from .chain import Chain

_WHERE = {"heat": "", "pre": ", supply coil"}


def _conditions(chain: Chain, draw: Drawing, x: str) -> tuple:
    """Outdoor dry bulb and wet bulb, wet bulb that enters the coil, which matters to direct expansion alone."""
    dx = chain.project.cooling.type == "direct_expansion"
    return draw.name("oat_f"), draw.name("oawb_f"), draw.name(x + "coil_entering_wb_f") if dx else np.nan


def _tons(chain: Chain, draw: Drawing) -> Symbol | None:
    sized = chain.project.cooling.type in ("chilled_water", "direct_expansion")
    return draw.name("cooling.capacity_tons", low=1.0) if sized else None


def capacity_columns(chain: Chain, x: str, *, out: bool) -> None:
    """Cooling that the plant can give; what follows from outdoor air alone stands once."""
    cool = chain.project.cooling
    if cool.type == "purchased":
        return
    draw = chain.drawing
    with draw.part(x, chain.more(x)):
        capacity = cooling_capacity_kbtuh(
            draw.inputs("cooling", cool), _tons(chain, draw), *_conditions(chain, draw, x)
        )
    template = draw.template(capacity)
    if x or out:
        chain.out("cooling_capacity_kbtuh", template, prefix=x)
        return
    nothing = np.zeros(chain.lines * chain.parts) if template is None else None
    chain.grid.add("open_capacity_kbtuh", "Plant can give, before closing", "kBtu/h", template, "f1", values=nothing)


def cooling_columns(chain: Chain) -> Symbol:
    """Energy of the cooling load; returns pumps and tower."""
    draw = chain.drawing
    power = cooling_power(
        draw.inputs("cooling", chain.project.cooling),
        _tons(chain, draw),
        draw.name("cooling_kbtuh", low=0.0),
        1.0,
        *_conditions(chain, draw, ""),
    )
    chain.out("cooling_kw", draw.template(power.compressor_kw))
    pumps = draw.symbol(power.pump_tower_kw)
    draw.template(pumps)
    chain.out("purchased_cooling_kbtuh", draw.template(power.purchased_kbtuh))
    return pumps


def source_columns(draw: Drawing, project, which: str, load, enabled: str) -> HeatingPower:
    """Columns of a heat source.

    Parameters
    ----------
    draw : Drawing
    project : Project
    which : {"heat", "pre"}
        Source of the terminals, or of the supply heating coil where that has one of its own.
    load : Symbol or float
    enabled : str
        Template of whether it may run.

    Returns
    -------
    HeatingPower
        Of symbols; the columns of its steps are written.
    """
    heating = draw.inputs("heating", project.heating)
    source: HeatSource = (
        heat_source(heating) if which == "heat" else preheat_source(draw.inputs("preheat", project.preheat), heating)
    )
    if source.type == "none":
        return heating_power(source, None, load, 0.0, draw.name("oat_f"))
    draw.column(f"{which}_on", "Heat source enabled" + _WHERE[which], "1/0", enabled, "f0")
    capacity = draw.name({"heat": "heating.capacity_kbtuh", "pre": "c.preheat_capacity"}[which])
    on = draw.name(f"{which}_on", 0.0, 1.0)
    with draw.part(f"{which}_", _WHERE[which], always=True):
        power = heating_power(source, capacity, load, on, draw.name("oat_f"))
    for part in (power.fuel_thermh, power.electric_kw, power.purchased_kbtuh, power.pump_kw, power.unserved_kbtuh):
        draw.template(part)
    return power
