"""Columns of the moisture of rooms and coil, and of the wet bulb that enters a coil, drawn from the model."""

from __future__ import annotations

from ....model.air_handler import moisture
from ....moist_air import wetbulb_two_step_f
from .chain import Chain


def moisture_columns(
    chain: Chain, x: str, part: str, a: str, share: str, entering: str, leaving: str, drying: str = ""
) -> None:
    """Steady moisture balance of rooms and coil.

    Names of the columns start with ``x`` and ``part``, that of the airflow with ``a``; outdoor-air share, entering and
    leaving air, and the share of the drying that remains, are names of columns.
    """
    draw = chain.drawing
    name = draw.name
    with draw.part(x, chain.more(x)):
        balance = moisture(
            chain.unit_symbols,
            name("fl"),
            name(a + "flow_cfm"),
            name("infiltration"),
            name(share),
            name("humidity_ratio"),
            name("latent"),
            name(entering),
            name(leaving),
            name("pressure"),
            name(drying) if drying else 1.0,
            part,
        )
    draw.template(balance.leaving)


def wet_bulb_columns(chain: Chain, x: str, entering: str, humidity_ratio: str) -> None:
    """Entering wet bulb: a start and two Newton steps."""
    draw = chain.drawing
    with draw.part(x, chain.more(x)):
        found = wetbulb_two_step_f(draw.name(entering), draw.name(humidity_ratio), draw.name("pressure"))
    template = draw.template(found)
    if x:
        chain.col(x + "coil_entering_wb_f", "Entering wet bulb" + chain.more(x), "°F", template)
    else:
        chain.out("coil_entering_wb_f", template)
