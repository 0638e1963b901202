"""Columns of a fan at its airflow ceiling: the duct pressure at which zones and leaks take just what it gives."""

from __future__ import annotations

import numpy as np

from ....model.terminals import LEAKAGE_ROUNDS, ceiling_root
from .fans import leakage


def rationing(chain, x: str) -> None:
    """Columns from the pressure that would result without a ceiling, ``dsp_open``, to ``dsp_held``.

    Each straight piece of airflow over the root of pressure gives a root at which it meets the ceiling, and
    the largest is where all together do (``model.terminals.rationed_dsp_inwc``).
    """
    g, more = chain.grid, chain.more(x)
    n = lambda key: f"{{{x}{key}}}"
    req = n("req")
    chain.col(x + "root_open", "Its root" + more, "√in. w.c.", f"SQRT(MAX({n('dsp_open')},0))", "f3")
    opened = f"{{z.open}}*{n('root_open')}"
    g.add(
        x + "full_cfm",
        "Airflow of all rooms without a ceiling" + more,
        "cfm",
        f"SUM({{z.mult}}*IF({req}<{opened},{req},{opened}))",
        "f0",
        array=True,
    )
    draw = chain.drawing
    leak = lambda dsp: draw.template(leakage(chain, dsp))
    chain.col(
        x + "binds",
        "Ceiling binds" + more,
        "1/0",
        f"IF({n('full_cfm')}+{leak(draw.name(x + 'dsp_open'))}>{{c.max_cfm}}*(1+{{k.ceiling_slack}}),1,0)",
        "f0",
    )
    asked, passes, mult = g.scope[x + "req"], np.asarray(g.outer["z.open"])[0], np.asarray(g.outer["z.mult"])[0]
    u = g.scope[x + "root_open"][:, 0]
    before = n("root_open")
    needs, turned = f"{req}/{{z.open}}", f"TRANSPOSE({req}/{{z.open}})"
    for k in range(1, LEAKAGE_ROUNDS + 1):
        power = "2*{air_handler.leakage_exponent}"
        chain.col(f"{x}leak_{k}", f"Leakage, round {k}" + more, "cfm", leak(draw.name(before[1:-1]) ** 2), "f1")
        chain.col(
            f"{x}tangent_{k}",
            f"Leakage over root by its tangent, round {k}" + more,
            "cfm/√in. w.c.",
            f"{power}*{{{x}leak_{k}}}/IF({before}>0,{before},1)",
            "f1",
        )
        slope = f"{{{x}tangent_{k}}}"
        gives = f"({{c.max_cfm}}-(1-{power})*{{{x}leak_{k}}})"
        kept = f"MMULT({{z.mult}}*{req},({turned}<={needs})*1)"
        starved = f"(MMULT({{z.mult}}*{{z.open}},({turned}>{needs})*1)+{slope})"
        template = (
            f"MIN(MAX(MAX(IF({starved}>0,({gives}-{kept})/{starved},0)),{gives}/(SUM({{z.mult}}*{{z.open}})+{slope}),"
            f"0),{n('root_open')})"
        )
        found = ceiling_root(
            asked,
            passes,
            mult,
            np.broadcast_to(g.scope.evaluate(gives), (len(u), 1))[:, 0],
            g.scope[f"{x}tangent_{k}"][:, 0],
        )
        u = np.clip(found, 0.0, g.scope[x + "root_open"][:, 0])
        g.add(
            f"{x}root_{k}", f"Root at the ceiling, round {k}" + more, "√in. w.c.", template, "f4", array=True, values=u
        )
        before = f"{{{x}root_{k}}}"
    chain.col(
        x + "dsp_held",
        "Duct static at the terminals" + more,
        "in. w.c.",
        f"IF({n('binds')}=1,{before}^2,{n('dsp_open')})",
        "f3",
    )
