"""Columns of the setpoints of supply air temperature and duct static pressure."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from ....model.terminals import cooling_flow_cfm
from ....strategies import demand
from ....strategies.registry import sat_strategy
from ..formulas import line_through
from .chain import Chain, part_overrides
from .limits import supply_limits
from .requests import room_drop


def by_part(chain: Chain, normal: str, override: str, which: int) -> tuple[str, ...] | str:
    """Formula of each part: the operators' override where that part has it.

    ``which`` 0 is supply temperature, 1 duct pressure.
    """
    record = (chain.candidate.sat, chain.candidate.dsp)[which]
    if record.override_frac <= 0.0:
        return normal
    return tuple(override if has[which] else normal for has in part_overrides(chain.candidate))


def supply_setpoint(chain: Chain) -> None:
    record, strategy = chain.candidate.sat, sat_strategy(chain.candidate.sat)
    if strategy.resets and not strategy.held:
        supply_limits(chain)
    columns = StrategyColumns(chain, "", "sat", "Supply setpoint", settled_supply)
    normal = strategy.formula(record, columns)
    columns.start()
    chain.out("sat_set_f", by_part(chain, normal, "{p.sat_override_f}", 0))


def settled_supply(chain: Chain, x: str) -> None:
    """Six helper cells of trim and respond for supply air: where the requests of a level settle."""
    g = chain.grid
    for edge, first in (("ask", "t_ask"), ("release", "t_release")):
        levels = (first, "t_second", "t_third")
        for k, level in enumerate(levels, 1):
            count = "+".join(f"(TRANSPOSE({{L.{other}}})<={{L.{level}}})" for other in levels)
            over = f"MMULT({{z.weight_t}},{count})>{{p.sat_left}}+{{k.request_slack}}"
            template = f"MIN(IF({over},{{L.{level}}},{{k.never_f}}))"
            g.add(
                f"sat_{edge}_{k}",
                f"Settles at request {k}, {'asking' if edge == 'ask' else 'releasing'}",
                "°F",
                template,
                "f2",
                array=True,
            )
    left, weights = float(g.outer["p.sat_left"]), np.ravel(g.outer["z.weight_t"])
    if left < -demand.REQUEST_SLACK:  # zones that always ask decide alone
        return
    first, release, second, third = demand.temperature_thresholds_f(chain.unit, chain.engine_loads)
    settled = demand.edges(-first, -release, -second, -third, weights, left)
    _compare_settled(chain, "sat", np.minimum.reduce, [-edge for edge in settled], "Settled supply air")


def _compare_settled(chain: Chain, start: str, of_three, settled, label: str) -> None:
    """Compare what the cells of three requests give together with the engine's pool; where all requests are
    ignored there is none."""
    for edge, wanted in zip(("ask", "release"), settled, strict=True):
        found = of_three([chain.grid.scope[f"{start}_{edge}_{k}"][:, 0] for k in (1, 2, 3)])
        chain.pen.compare(chain.grid.sheet.name, f"{start}_{edge}", found, wanted, f"{label}, {edge} edge")


def duct_setpoint(chain: Chain, x: str) -> None:
    """Pressure setpoint, which may follow what zones ask for at the supply temperature of these columns."""
    follows = chain.dsp_strategy.follows_zones
    if x == "" and chain.two_pass and not follows:
        return
    columns = StrategyColumns(chain, x, "dsp", "Pressure setpoint", settled_duct)
    normal = chain.dsp_strategy.formula(chain.candidate.dsp, columns)
    columns.start()
    chain.out("dsp_set_inwc", by_part(chain, normal, "{p.dsp_override_inwc}", 1), prefix=x if follows else "")


def settled_duct(chain: Chain, x: str) -> None:
    """Six helper cells of trim and respond for duct pressure, as :func:`settled_supply`."""
    g, more = chain.grid, chain.more(x)
    asked = f"{x}req"
    opens = f"{{{asked}}}^2*{{z.kv}}"
    second, third = f"{{{x}p_second}}", f"{{{x}p_third}}"
    for edge, first in (("ask", "c.ask"), ("release", "c.release")):
        levels = (f"{opens}*{{{first}}}", second, third)
        turned = (f"TRANSPOSE({opens})*{{{first}}}", f"TRANSPOSE({second})", f"TRANSPOSE({third})")
        for k, level in enumerate(levels, 1):
            count = "+".join(f"({other}>={level})" for other in turned)
            template = f"MAX(IF(MMULT({{z.weight_p}},{count})>{{p.dsp_left}}+{{k.request_slack}},{level},0))"
            g.add(
                f"{x}dsp_{edge}_{k}",
                f"Settles at request {k}, {'asking' if edge == 'ask' else 'releasing'}" + more,
                "in. w.c.",
                template,
                "f3",
                array=True,
            )
    _compare_pressures(chain, x, asked)


def _compare_pressures(chain: Chain, x: str, asked: str) -> None:
    """Thresholds of pressure requests, and where they settle, beside the engine's at the same airflows."""
    g = chain.grid
    sat = g.scope[f"{x}satz"][:, 0] - chain.unit.air_handler.duct_gain_f
    thresholds = demand.pressure_thresholds_inwc(
        chain.unit, g.scope[asked], cooling_flow_cfm(chain.unit, chain.engine_loads, sat)
    )
    for which, wanted in zip(("second", "third"), thresholds[2:], strict=True):
        g.compare(f"{x}p_{which}", wanted)
    left, weights = float(g.outer["p.dsp_left"]), np.ravel(g.outer["z.weight_p"])
    if left < -demand.REQUEST_SLACK:
        return
    ask, release, second, third = thresholds
    settled = demand.edges(ask, release, second, third, weights, left)
    _compare_settled(chain, f"{x}dsp", np.maximum.reduce, settled, "Settled duct pressure" + chain.more(x))


class StrategyColumns:
    """Columns of a strategy on the sheet of its candidate (``strategies.strategy.Columns``).

    Parameters
    ----------
    chain : Chain
    x : str
        Prefix of the columns of this pass.
    part : str
        ``sat`` or ``dsp``.
    label : str
        Of the group of columns; it starts with the first of them, blocks of zones have groups of their own.
    settled : callable
        Writes the columns where pooled requests settle, of a table and a prefix.
    """

    def __init__(self, chain: Chain, x: str, part: str, label: str, settled: Callable[[Chain, str], None]) -> None:
        self.chain, self.x, self.part, self.label, self._settled, self._started = chain, x, part, label, settled, False

    def start(self) -> None:
        """Start the group unless it has been."""
        if not self._started:
            self.chain.group(self.label + self.chain.more(self.x))
        self._started = True

    def own(self, key: str) -> str:
        return f"{{{self.x}{key}}}"

    def column(self, key: str, label: str, unit: str, template: str, style: str = "f2", wanted=None) -> None:
        self.start()
        self.chain.col(self.x + key, label + self.chain.more(self.x), unit, template, style)
        if wanted is not None:
            self.chain.compare_rows(key, wanted(self.chain.run.rows.on))

    def zones(self, key: str, label: str, unit: str, template: str, style: str = "f0") -> None:
        self.chain.block(self.x + key, label + self.chain.more(self.x), unit, template, style)

    def line(self, x: str, points: str = "points") -> str:
        record = getattr(self.chain.candidate, self.part)
        return line_through(x, len(getattr(record, points)), f"p.{self.part}_{points}")

    def cooling_per_cfm(self) -> str:
        return room_drop(self.own("satz"))

    def values(self, key: str, label: str, unit: str, *, pulled: bool = False) -> str:
        self.start()
        run = self.chain.run
        if pulled:
            held = np.tile(run.pulled_f, len(run.parts))
        else:
            name = {"sat": "sat_f", "dsp": "dsp_inwc"}[self.part]
            held = np.concatenate([getattr(p.setpoints, name) for p in run.parts])
        self.chain.grid.add(key, label, unit, None, "f2", values=held)
        return f"{{{key}}}"

    def settled(self) -> None:
        self.start()
        self._settled(self.chain, self.x)
