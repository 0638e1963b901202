"""Columns of the air handler's airflow, its fan, return air and least outdoor air."""

from __future__ import annotations

from .chain import Chain
from .fans import held_dsp, leakage, second_fan, supply_fan


def least_outdoor_air(chain: Chain, key: str, flow: str, out: bool = False, more: str = "") -> None:
    control = chain.project.outdoor_air.control
    safe = f"IF({flow}>0,{flow},1)"
    if control == "position":
        share = "{c.oa_position}"
    elif control == "people":
        share = f"({{c.oa_area_cfm}}+{{L.oa_people}}/{{outdoor_air.ventilation_efficiency}})/{safe}"
    else:
        share = f"{{c.oa_minimum}}/{safe}"
    template = f"MIN({share}*{{occupied}},{{outdoor_air.maximum_frac}})"
    if out:
        chain.out("oa_min_frac", template)
    else:
        chain.col(key, "Least outdoor-air share" + more, "0–1", template, "f3")


def air_columns(chain: Chain, x: str, sat: str) -> None:
    """Airflow, fan, return air and the least outdoor air."""
    g, project, draw = chain.grid, chain.project, chain.drawing
    n = lambda key: f"{{{x}{key}}}"
    more = chain.more(x)
    g.group("Airflow" + more)
    chain.out("room_flow_cfm", f"SUMPRODUCT({{z.mult}},{n('v')})", prefix=x)
    chain.out("leakage_cfm", draw.template(leakage(chain, draw.name(x + "dsp_held"))), prefix=x)
    chain.out("flow_cfm", f"{n('room_flow_cfm')}+{n('leakage_cfm')}", prefix=x)
    if chain.rationed:
        chain.out(
            "ceiling_frac",
            f"IF({n('binds')}=1,{n('room_flow_cfm')}/IF({n('full_cfm')}>0,{n('full_cfm')},1),1)",
            prefix=x,
        )
    elif not x:
        # Below 1 only after an edit, which needs a new run.
        chain.out("ceiling_frac", "IF({flow_cfm}>{c.max_cfm}*(1+{k.ceiling_slack}),{c.max_cfm}/{flow_cfm},1)")
    g.group("Supply fan" + more)
    supply_fan(chain, x, x + "flow_cfm", held_dsp(chain, x), out=not x)
    kind = project.return_fan.type
    if kind == "return":
        flow = draw.name(x + "flow_cfm", low=0.0) * chain.unit_symbols.return_fan.flow_frac
        chain.col(x + "return_kw", "Return fan" + more, "kW", second_fan(chain, flow))
    g.group("Return air" + more)
    air = f"({{fs}}*{n('v')})"
    balance = f"({{L.qc}}-{air}*({{L.tc}}-{n('satz')})+{n('reheat')})/({{L.ua}}+{air})"
    heat = f"{n('v')}*({{L.tc}}+IF({{L.ua}}+{air}>0,{balance},0))"
    chain.grid.add(
        x + "room_sum",
        "Airflow × room temperature, all zones" + more,
        "cfm·°F",
        # As a product of matrices one formula gives the sums of all lines.
        f"MMULT({heat},TRANSPOSE({{z.mult}}))" if chain.site.count > 1 else f"{{z.mult}}*{heat}",
        "f0",
        array=True,
    )
    if not x:
        chain.out(
            "room_mean_f",
            f"IF({n('room_flow_cfm')}>0,{n('room_sum')}/IF({n('room_flow_cfm')}>0,{n('room_flow_cfm')},1),0)",
        )
    taken = (
        f"-{n('room_flow_cfm')}*{{air_handler.duct_gain_f}}" if project.air_handler.duct_gain_from == "plenum" else ""
    )
    second = f"+1000*{{k.btu_wh}}*{n('return_kw')}/({{fs}}*{n('flow_cfm')})" if kind == "return" else ""
    chain.out(
        "rat_f",
        f"IF({n('flow_cfm')}>0,"
        f"({n('room_sum')}+{n('leakage_cfm')}*{sat}{taken}+{{plenum}}/{{fs}})/{n('flow_cfm')}{second},{sat})",
        prefix=x,
    )
    chain.col(x + "target_f", "Mixed air that needs no coil" + more, "°F", f"{sat}-{n('fan_rise_f')}")
    if x:
        least_outdoor_air(chain, x + "oa_min_frac", n("flow_cfm"), more=more)
    else:
        least_outdoor_air(chain, "oa_min_frac", "{flow_cfm}", out=True)
