"""Columns of heating coil, cooling coil and cooling load."""

from __future__ import annotations

from .chain import Chain
from .moisture import moisture_columns, wet_bulb_columns
from .plant import capacity_columns


def coil_columns(chain: Chain, a: str, x: str, sat: str, *, open_latent: str = "") -> None:
    """Heating coil, cooling coil and moisture behind mixed air.

    ``a`` begins the names of the air, ``x`` those of the mixing and of these columns. ``open_latent``: the latent
    load is only a first one, under this name, and columns that follow from it are left to others.
    """
    g, project = chain.grid, chain.project
    out = not x
    n = lambda key: f"{{{a}{key}}}"
    m = lambda key: f"{{{x}{key}}}"
    more = chain.more(x)
    g.group("Heating coil and cooling coil" + more)
    if out:
        chain.out("preheat_kbtuh", f"{{fs}}*{n('flow_cfm')}*MAX({n('target_f')}-{m('mat_f')},0)/1000")
    chain.out(
        "coil_entering_f",
        f"MAX({m('mat_f')},{n('target_f')})" + ("" if chain.draw else f"+{n('fan_rise_f')}"),
        prefix=x,
    )
    chain.out("coil_leaving_f", n("target_f") if chain.draw else sat, prefix=x)
    g.group("Moisture" + more)
    args = (a, x + "oa_frac", x + "coil_entering_f", x + "coil_leaving_f")
    dx = project.cooling.type == "direct_expansion"
    dries = dx and project.cooling.cycling_drying_loss_frac > 0.0
    last = "o_" if open_latent else ""
    first = "s_" if dries else last
    moisture_columns(chain, x, first, *args)
    if dx:
        wet_bulb_columns(chain, x, x + "coil_entering_f", f"{x}{first}mixed_humidity_ratio")
    g.group("Cooling load" + more)
    capacity_columns(chain, x, out=out and not open_latent)
    chain.col(
        x + "sensible",
        "Sensible load" + (more or ", held to capacity or not"),
        "kBtu/h",
        f"{{fs}}*{n('flow_cfm')}*({m('coil_entering_f')}-{m('coil_leaving_f')})/1000",
    )
    if dries:
        latent = _latent(a, x + first)
        capacity = m("cooling_capacity_kbtuh") if not open_latent else "{open_capacity_kbtuh}"
        stage = f"({capacity}/{{cooling.stages}})"
        chain.col(
            x + "running",
            "Running share of the first stage" + more,
            "0–1",
            f"IF({stage}>0,MEDIAN(0,({m('sensible')}+{latent})/IF({stage}>0,{stage},1),1),0)",
            "f3",
        )
        chain.col(
            x + "drying",
            "Share of the drying that remains" + more,
            "0–1",
            f"1-{{cooling.cycling_drying_loss_frac}}*(1-{m('running')})",
            "f3",
        )
        moisture_columns(chain, x, last, *args, x + "drying")
    latent = _latent(a, x + last)
    if open_latent:
        chain.col(open_latent, "Latent load of the coil before it is held to capacity", "kBtu/h", latent)
    else:
        chain.out("cooling_latent_kbtuh", latent, prefix=x)


def _latent(a: str, m: str) -> str:
    """Template of the latent load of a coil by a moisture balance."""
    return f"{{fl}}*{{{a}flow_cfm}}*({{{m}mixed_humidity_ratio}}-{{{m}leaving_humidity_ratio}})/1000"
