"""Columns of fans, of the heat that they give to the air and of duct leakage, drawn from ``model.fan``."""

from __future__ import annotations

import numpy as np

from ....model import fan as fans
from ..symbols import Symbol
from .chain import Chain


def leakage(chain: Chain, dsp: Symbol) -> Symbol:
    """Duct leakage at a duct pressure."""
    return fans.leakage_cfm(chain.unit_symbols, dsp)


def standing_dsp(chain: Chain, x: str) -> str:
    """Template of the duct pressure at what zones ask for, after the column of the leakage there."""
    draw = chain.drawing
    dsp_set = draw.name(chain.dsp(x)[1:-1])
    with draw.part(x, chain.more(x)):
        leak = draw.step(leakage(chain, dsp_set), "leak_set")
        asked = draw.name(x + "requested_cfm", low=0.0) + leak
        return draw.template(fans.standing_dsp_inwc(chain.unit_symbols, asked, dsp_set)) or "0"


def supply_fan(chain: Chain, x: str, flow: str, dsp, *, out: bool = False) -> None:
    """Fan power and temperature rise at the flow of a column and a duct pressure setpoint.

    Parameters
    ----------
    chain : Chain
    x : str
        Prefix of the columns.
    flow : str
        Column of the flow.
    dsp : Symbol
    out : bool
        The columns are those of the layout.
    """
    draw, unit = chain.drawing, chain.unit_symbols
    if unit.fan.part_load == "published_curves" and chain.candidate.dsp.strategy == "as_found":
        _decided_by_points(chain)
    # The limit by room dew point knows no strategy yet and takes the curve with reset.
    resets = x == "h_" or chain.dsp_strategy.moves(chain.candidate.dsp)
    airflow = draw.name(flow, low=0.0)
    with draw.part(x, chain.more(x)):
        state = fans.supply_fan(unit, airflow, dsp, resets)
        rise = fans.temperature_rise_f(draw.step(draw.symbol(state.heat_kw), "fan_heat_kw"), airflow, draw.name("fs"))
        if out:
            draw.template(state.total_inwc)
            chain.out("dsp_inwc", draw.template(state.dsp_inwc))
            chain.out("fan_speed_frac", draw.template(state.speed_frac))
            chain.out("fan_kw", draw.template(state.kw))
        draw.template(draw.step(draw.symbol(rise), "fan_rise_f"))


def _decided_by_points(chain: Chain) -> None:
    """Note that the curve of the fan goes by whether as-found duct pressures are all the same."""
    start = f"candidate[{chain.candidate.id}].dsp.points"
    registry = chain.pen.registry
    registry.decides |= {path for path in registry.places if path.startswith((start + ".y", start + "_unoccupied.y"))}


def second_fan(chain: Chain, flow: Symbol) -> str:
    """Template of the return or relief fan's power at its own flow."""
    return chain.drawing.template(fans.secondary_fan_kw(chain.unit_symbols, flow)) or "0"


def held_dsp(chain: Chain, x: str) -> Symbol:
    """Duct pressure that the supply fan holds: its setpoint, and what is left where it is at its airflow ceiling."""
    draw = chain.drawing
    dsp_set = draw.name(chain.dsp(x)[1:-1])
    if not chain.rationed:
        return dsp_set
    held = np.minimum(draw.name(x + "dsp_held"), dsp_set)
    return draw.choose(draw.name(x + "binds", 0.0, 1.0) > 0.0, held, dsp_set)
