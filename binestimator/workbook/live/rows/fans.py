"""Columns of fan power and of the heat that fans give to the air."""

from __future__ import annotations

from .chain import Chain


def supply_fan(chain: Chain, x: str, flow: str, dsp: str, *, out: bool = False) -> None:
    """Fan power and temperature rise at a flow and a duct pressure setpoint."""
    fan = chain.project.fan
    vd = "{air_handler.design_cfm}"
    total = f"MAX({dsp}+{{c.system}}*{flow}^2,{{c.minimum_inwc}}-{{c.droop}}*{flow}^2)"
    if out:
        chain.out("fan_total_inwc", total)
        chain.out("dsp_inwc", "{fan_total_inwc}-{c.system}*{flow_cfm}^2")
        chain.out("fan_speed_frac", "SQRT((MAX({fan_total_inwc},0)+{c.droop}*{flow_cfm}^2)/{c.shutoff})")
    else:
        chain.col(x + "fan_total_inwc", "Fan total static", "in. w.c.", total, "f3")
    p = f"{{{x}fan_total_inwc}}"
    published = fan.part_load == "published_curves"
    if published:
        kind = "reset" if chain.dsp_strategy.moves(chain.candidate.dsp) else "static"
        if chain.candidate.dsp.strategy == "as_found":
            _decided_by_points(chain)
        # The limit by room dew point knows no strategy yet and takes the curve with reset.
        kind = "reset" if x == "h_" else kind
        share = f"MAX({flow}/{vd},{{fan.curve_least_flow_frac}})"
        chain.col(x + "curve_x", "Share of design airflow, held", "share", share, "f3")
        q = f"{{{x}curve_x}}"
        chain.col(
            x + "curve",
            "Power over design power by the curve",
            "share",
            f"IF({flow}>0,"
            f"({{k.{kind}_0}}+{q}*({{k.{kind}_1}}+{q}*({{k.{kind}_2}}+{q}*{{k.{kind}_3}})))/{{c.{kind}_sum}},0)",
            "f3",
        )
        heat = "{c.design_motor}" if fan.motor_in_airstream else "{c.design_shaft}"
        chain.col(x + "fan_heat_kw", "Fan heat into the air", "kW", f"{{c.scale}}*{heat}*{{{x}curve}}")
        kw = f"{{c.scale}}*{{c.design_kw}}*{{{x}curve}}"
    else:
        chain.col(
            x + "phi",
            "Operating point of the fan",
            "1 at design",
            f"IF({flow}>0,MIN({{k.phi_max}},{flow}/{vd}/SQRT({p}/{{fan.design_total_inwc}})),1)",
            "f3",
        )
        chain.col(
            x + "fan_eff",
            "Fan efficiency",
            "0–1",
            f"{{fan.efficiency_frac}}*(1-{{fan.efficiency_droop}}*(1-{{{x}phi}})^2)",
            "f3",
        )
        chain.col(x + "shaft_kw", "Fan shaft", "kW", f"{flow}*{p}/({{k.fan}}*{{{x}fan_eff}})*{{k.hp_kw}}")
        chain.col(
            x + "motor_load",
            "Motor load",
            "share",
            f"{{{x}shaft_kw}}/{{fan.belt_efficiency_frac}}/{{c.rated_kw}}",
            "f3",
        )
        m = f"{{{x}motor_load}}"
        chain.col(
            x + "motor_kw",
            "Motor input",
            "kW",
            f"IF({flow}>0,"
            f"{{c.rated_kw}}*({m}+{{c.motor_loss}}*({{fan.motor_fixed_loss_frac}}+(1-{{fan.motor_fixed_loss_frac}})*{m}^2)),0)",
        )
        heat = f"{{{x}motor_kw}}" if fan.motor_in_airstream else f"{{{x}shaft_kw}}"
        chain.col(x + "fan_heat_kw", "Fan heat into the air", "kW", f"{{c.scale}}*{heat}")
        d = f"({{{x}motor_kw}}/{{c.drive_rated_kw}})"
        kw = (
            f"IF({flow}>0,"
            f"{{c.scale}}*{{c.drive_rated_kw}}*({d}+{{c.drive_loss}}*({{fan.drive_fixed_loss_frac}}+(1-{{fan.drive_fixed_loss_frac}})*{d})),0)"
        )
    if out:
        chain.out("fan_kw", kw)
    rise = f"IF({flow}>0,1000*{{k.btu_wh}}*{{{x}fan_heat_kw}}/({{fs}}*{flow}),0)"
    if out:
        chain.out("fan_rise_f", rise)
    else:
        chain.col(x + "fan_rise_f", "Fan temperature rise", "°F", rise)


def _decided_by_points(chain: Chain) -> None:
    """Note that the curve of the fan goes by whether as-found duct pressures are all the same."""
    start = f"candidate[{chain.candidate.id}].dsp.points"
    registry = chain.pen.registry
    registry.decides |= {path for path in registry.places if path.startswith((start + ".y", start + "_unoccupied.y"))}


def second_fan(flow: str) -> str:
    """Template of the return or relief fan's power at its own flow."""
    share = f"({flow}/({{air_handler.design_cfm}}*{{return_fan.flow_frac}}))"
    return (
        f"IF({flow}>0,"
        f"{{c.second_kw}}*({{k.reset_0}}+{share}*({{k.reset_1}}+{share}*({{k.reset_2}}+{share}*{{k.reset_3}})))/{{c.reset_sum}},0)"
    )
