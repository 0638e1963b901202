"""Columns of mixed air and of the economizer that decides it."""

from __future__ import annotations

from ..constants import enthalpy
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
    eco = chain.project.economizer
    if eco.stuck_frac is not None:
        return "{economizer.stuck_frac}"
    if eco.type == "none":
        return f"{{{a}oa_min_frac}}"
    return _economizer(chain, a, sat)


def economizer_allowed(chain: Chain, x: str, sat: str) -> str:
    """Template of whether the economizer may open."""
    eco = chain.project.economizer
    n = lambda key: f"{{{x}{key}}}"
    if eco.type == "differential_enthalpy":
        _return_moisture(chain, x, sat, chain.draw)
    cap = "AND({oat_f}<={economizer.high_limit_f},"
    outdoor = enthalpy("{oat_f}", "{humidity_ratio}")
    return {
        "fixed_dry_bulb": "{oat_f}<={economizer.high_limit_f}",
        "differential_dry_bulb": f"{{oat_f}}<={n('rat_f')}",
        "fixed_enthalpy": f"{cap}{outdoor}<={{economizer.high_limit_btu_lb}})",
        "differential_enthalpy": f"{cap}{outdoor}<={enthalpy(n('rat_f'), n('r_room_humidity_ratio'))})",
    }[eco.type]


def _economizer(chain: Chain, x: str, sat: str) -> str:
    """Columns of the economizer's decision; returns the template of the outdoor-air share."""
    n = lambda key: f"{{{x}{key}}}"
    test = economizer_allowed(chain, x, sat)
    if not chain.project.economizer.integrated:
        test = f"AND({test},{{oat_f}}<{n('target_f')})"
    chain.col(x + "allowed", "Economizer allowed" + chain.more(x), "1/0", f"IF({test},1,0)", "f0")
    gap = f"({n('rat_f')}-{{oat_f}})"
    chain.col(
        x + "modulated",
        "Share that gives the target" + chain.more(x),
        "0–1",
        f"IF(AND({{oat_f}}<{n('target_f')},{gap}>0),({n('rat_f')}-{n('target_f')})/IF({gap}>0,{gap},1),1)",
        "f3",
    )
    return (
        f"IF({n('allowed')}=1,MEDIAN({n('oa_min_frac')},{n('modulated')},MAX({{outdoor_air.maximum_frac}},"
        f"{n('oa_min_frac')})),{n('oa_min_frac')})"
    )


def _return_moisture(chain: Chain, x: str, sat: str, draw: bool) -> None:
    n = lambda key: f"{{{x}{key}}}"
    before = "" if draw else f"+{n('fan_rise_f')}"
    leaving = n("target_f") if draw else sat
    chain.col(
        x + "r_entering",
        "Entering the coil at least outdoor air",
        "°F",
        f"MAX({n('rat_f')}+{n('oa_min_frac')}*({{oat_f}}-{n('rat_f')}){before},{leaving})",
    )
    moisture_columns(chain, x + "r_", x, n("oa_min_frac"), n("r_entering"), leaving, "", out=False)
