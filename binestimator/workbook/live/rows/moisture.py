"""Columns of the moisture of rooms and coil, and of the wet bulb that enters a coil."""

from __future__ import annotations

from ..constants import enthalpy, ln_pressure
from .chain import Chain


def moisture_columns(
    chain: Chain, m: str, x: str, share: str, entering: str, leaving: str, drying: str, *, out: bool
) -> None:
    """Steady moisture balance of rooms and coil; names start with ``m``, airflow with ``x``."""
    flow = f"{{{x}flow_cfm}}"
    n = lambda key: f"{{{m}{key}}}"
    outside = f"({{fl}}*({flow}*{share}+{{infiltration}}))"
    least = "{fl}*{k.least_exchange}"
    chain.col(
        m + "dry_room",
        "Rooms with a dry coil",
        "lb/lb",
        f"MIN({{humidity_ratio}}+{{latent}}/MAX({outside},{least}),MAX({{c.w_ceiling}},{{humidity_ratio}}))",
        "f5",
    )
    chain.col(
        m + "dry_mixed",
        "Mixed air with a dry coil",
        "lb/lb",
        f"{share}*{{humidity_ratio}}+(1-{share})*{n('dry_room')}",
        "f5",
    )
    t = f"(MIN({leaving},{{k.warmest_drying_f}})+{{k.rankine}})"
    chain.col(
        m + "ln_ps",
        "ln of saturation pressure, leaving",
        "",
        f"IF({leaving}<{{k.freezing}},{ln_pressure('ice', t)},{ln_pressure('water', t)})",
        "f5",
    )
    chain.col(
        m + "coil_w",
        "Leaving a wet coil",
        "lb/lb",
        f"{{air_handler.coil_rh_frac}}*{{k.molar}}*EXP({n('ln_ps')})/({{pressure}}-EXP({n('ln_ps')}))",
        "f5",
    )
    chain.col(
        m + "wet",
        "Wet share of the coil",
        "0–1",
        f"IF({n('dry_mixed')}>{n('coil_w')},MEDIAN(0,({entering}-{leaving})/{{air_handler.coil_contact_f}},"
        f"1){drying},0)",
        "f3",
    )
    through = f"(1-{n('wet')})"
    chain.col(
        m + "wet_room",
        "Rooms with a wet coil",
        "lb/lb",
        f"({{fl}}*{flow}*({through}*{share}*{{humidity_ratio}}+{n('wet')}*{n('coil_w')})+{{fl}}*{{infiltration}}*{{humidity_ratio}}+{{latent}})"
        f"/MAX({{fl}}*({flow}*(1-{through}*(1-{share}))+{{infiltration}}),{least})",
        "f5",
    )
    room = f"IF({n('wet')}>0,MIN({n('wet_room')},{n('dry_room')}),{n('dry_room')})"
    mixed = f"{share}*{{humidity_ratio}}+(1-{share})*{n('room_humidity_ratio')}"
    after = f"{through}*{n('mixed_humidity_ratio')}+{n('wet')}*MIN({n('mixed_humidity_ratio')},{n('coil_w')})"
    for key, template in (
        ("room_humidity_ratio", room),
        ("mixed_humidity_ratio", mixed),
        ("leaving_humidity_ratio", after),
    ):
        if out:
            chain.out(key, template)
        else:
            chain.col(
                m + key, chain.known[key].label + (", steady" if m.endswith("s_") else ""), "lb/lb", template, "f5"
            )


def wet_bulb_columns(chain: Chain, x: str, t: str, w: str, *, out: bool) -> None:
    """Entering wet bulb: a start and two Newton steps."""
    chain.col(x + "wb_y", "Wet bulb: ln of enthalpy", "", f"LN(MAX({enthalpy(t, w)},{{k.least_h}}))", "f5")
    y = f"{{{x}wb_y}}"
    chain.col(
        x + "wb_0",
        "Wet bulb: start",
        "°F",
        f"MIN({{k.start_a}}+{y}*({{k.start_b}}+{{k.start_c}}*{y})+({{k.start_d}}+{{k.start_e}}*{y})*LN({{pressure}}/{{k.standard_psia}}),{t})",
    )
    for k in (1, 2):
        tw = f"{{{x}wb_{k - 1}}}"
        absolute = f"({tw}+{{k.rankine}})"
        a = [f"{{k.water_{i}}}" for i in range(7)]
        slope = (
            f"({a[2]}+{absolute}*(2*{a[3]}+{absolute}*(3*{a[4]}+{absolute}*4*{a[5]}))"
            f"+({a[6]}-{a[0]}/{absolute})/{absolute})"
        )
        chain.col(
            f"{x}wb_p{k}",
            f"Wet bulb, step {k}: vapour pressure",
            "psia",
            f"EXP({ln_pressure('water', absolute)})",
            "f5",
        )
        chain.col(
            f"{x}wb_w{k}",
            f"Wet bulb, step {k}: saturated",
            "lb/lb",
            f"{{k.molar}}*{{{x}wb_p{k}}}/({{pressure}}-{{{x}wb_p{k}}})",
            "f5",
        )
        ws = f"{{{x}wb_w{k}}}"
        chain.col(
            f"{x}wb_s{k}",
            f"Wet bulb, step {k}: slope",
            "Btu/lb·°F",
            f"({{k.wick_a}}-{{k.wick_b}}*{tw})*{ws}*{slope}*{{pressure}}/({{pressure}}-{{{x}wb_p{k}}})-{{k.wick_b}}*{ws}+{{k.cp}}+{{k.wick_c}}*{w}",
            "f5",
        )
        excess = (
            f"(({{k.wick_a}}-{{k.wick_b}}*{tw})*{ws}-{{k.cp}}*({t}-{tw})"
            f"-{w}*({{k.wick_a}}+{{k.cpv}}*{t}-{{k.wick_c}}*{tw}))"
        )
        chain.col(f"{x}wb_{k}", f"Wet bulb, step {k}", "°F", f"{tw}-{excess}/{{{x}wb_s{k}}}")
    template = f"MIN({{{x}wb_2}},{t})"
    if out:
        chain.out("coil_entering_wb_f", template)
    else:
        chain.col(x + "coil_entering_wb_f", "Entering wet bulb", "°F", template)
