"""Columns of zones and terminals: airflow asked for and given, duct pressure that stands, reheat."""

from __future__ import annotations

import numpy as np

from ....model.system import zones_of
from .ceiling import rationing
from .chain import Chain
from .fans import standing_dsp
from .requests import heating_flow, request
from .setpoints import duct_setpoint


def terminal_columns(chain: Chain, x: str, sat: str) -> None:
    g = chain.grid
    more = chain.more(x)
    g.group("Zones" + more)
    chain.col(x + "satz", "Supply air at the terminals" + more, "°F", f"{sat}+{{air_handler.duct_gain_f}}")
    s = f"{{{x}satz}}"
    if chain.site.dual:
        heating_flow(chain, x, s)
    chain.block(x + "req", "Airflow asked for" + more, "cfm", request(chain, x, s))
    duct_setpoint(chain, x)
    g.group("Duct pressure" + more)
    chain.out("requested_cfm", f"SUMPRODUCT({{z.mult}},{{{x}req}})", prefix=x)
    standing = standing_dsp(chain, x)
    if chain.rationed:
        chain.col(x + "dsp_open", "Duct static without a ceiling" + more, "in. w.c.", standing, "f3")
        rationing(chain, x)
    else:
        chain.col(x + "dsp_held", "Duct static at the terminals" + more, "in. w.c.", standing, "f3")
    if not x:
        g.compare("dsp_held", chain.engine("dsp_held_inwc")[:, None])
    chain.col(x + "root", "Its root" + more, "√in. w.c.", f"SQRT(MAX({{{x}dsp_held}},0))", "f3")
    chain.block(
        x + "v", "Airflow" + more, "cfm", f"IF({{{x}req}}<{{z.open}}*{{{x}root}},{{{x}req}},{{z.open}}*{{{x}root}})"
    )
    need = f"{{fs}}*{{{x}v}}*({{L.th}}-{s})-{{L.qh}}"
    hottest = f"{{fs}}*{{{x}v}}*({{L.th}}+{{z.reheat_rise_max_f}}-{s})"
    coil = "{z.coil}*{enabled}"
    # The least of need, coil and highest discharge; none where the supply air is warmer than that.
    chain.block(
        x + "reheat",
        "Reheat" + more,
        "Btu/h",
        f"({need}>0)*({{L.th}}+{{z.reheat_rise_max_f}}>{s})*IF({need}<{hottest},IF({need}<{coil},{need},{coil}),"
        f"IF({hottest}<{coil},{hottest},{coil}))",
    )
    if not x:
        _compare_zones(chain)


def _compare_zones(chain: Chain) -> None:
    """The engine's zones behind the values of the blocks."""
    found: dict[str, list[np.ndarray]] = {"req": [], "v": [], "reheat": []}
    on, loads = chain.run.rows.on, chain.run.rows.loads
    for p in chain.run.parts:
        z = zones_of(chain.unit, on, loads, p.state)
        found["req"].append(z.requested_cfm)
        found["v"].append(z.flow_cfm)
        found["reheat"].append(z.reheat_btuh)
    for key, parts in found.items():
        values = np.vstack(parts)
        chain.grid.compare(key, values)
        chain.grid.set_values(key, values)
