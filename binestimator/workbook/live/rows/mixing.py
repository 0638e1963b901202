"""Columns of mixed air and of the economizer that decides it."""

from __future__ import annotations

from ....model.air_handler import economizer_allowed, mix
from .chain import Chain
from .moisture import moisture_columns


def mixed_air(a: str, share: str) -> str:
    """Template of mixed air at an outdoor-air share."""
    return f"{{{a}rat_f}}+{share}*({{oat_f}}-{{{a}rat_f}})"


def mixing_columns(chain: Chain, x: str, sat: str) -> None:
    """The outdoor-air share that controls choose, and the mixed air it gives."""
    chain.group("Mixing" + chain.more(x))
    chain.out("oa_frac", outdoor_air_share(chain, x, sat), prefix=x)
    if not x:
        economizing(chain, "{oa_frac}")
        chain.out("oa_cfm", "{oa_frac}*{flow_cfm}")
    chain.out("mat_f", mixed_air(x, f"{{{x}oa_frac}}"), prefix=x)


def economizing(chain: Chain, chosen: str, unless: str = "") -> None:
    eco = chain.project.economizer
    if eco.type == "none" or eco.stuck_frac is not None:
        chain.out("economizing", None)
    else:
        chain.out("economizing", f"IF(AND({{allowed}}=1,{chosen}>{{oa_min_frac}}{unless}),1,0)")


def outdoor_air_share(chain: Chain, a: str, sat: str) -> str:
    """Template of the outdoor-air share that controls choose, after the columns of the economizer's decision."""
    eco, draw = chain.project.economizer, chain.drawing
    if eco.stuck_frac is not None:
        return "{economizer.stuck_frac}"
    if eco.type == "none":
        return f"{{{a}oa_min_frac}}"
    allowed = _allowed(chain, a, sat)
    with draw.part(a, chain.more(a)):
        at = ("oa_min_frac", "rat_f", "target_f")
        least, returned, target = (draw.name(a + key) for key in at)
        mixed = mix(chain.unit_symbols, allowed, least, draw.name("oat_f"), returned, target)
    return draw.template(mixed.oa_frac) or "0"


def economizer_test(chain: Chain, x: str, sat: str) -> str:
    """Template of whether the economizer may open."""
    return chain.drawing.template(_allowed(chain, x, sat)) or "0"


def _allowed(chain: Chain, x: str, sat: str):
    draw = chain.drawing
    humid = chain.project.economizer.type == "differential_enthalpy"
    if humid:
        _return_moisture(chain, x, sat)
    room = draw.name(x + "r_room_humidity_ratio") if humid else draw.name("humidity_ratio")
    return economizer_allowed(
        chain.unit_symbols, draw.name("oat_f"), draw.name("humidity_ratio"), draw.name(x + "rat_f"), room
    )


def _return_moisture(chain: Chain, x: str, sat: str) -> None:
    n = lambda key: f"{{{x}{key}}}"
    before = "" if chain.draw else f"+{n('fan_rise_f')}"
    leaving = x + "target_f" if chain.draw else sat[1:-1]
    chain.col(
        x + "r_entering",
        "Entering the coil at least outdoor air" + chain.more(x),
        "°F",
        f"MAX({n('rat_f')}+{n('oa_min_frac')}*({{oat_f}}-{n('rat_f')}){before},{{{leaving}}})",
    )
    moisture_columns(chain, x, "r_", x, x + "oa_min_frac", x + "r_entering", leaving)
