"""All strategies: registering one is a line here."""

from __future__ import annotations

from . import airflow, as_found, cost_optimal, cost_seeking, demand, fixed, outdoor_air
from .strategy import DspStrategy, SatStrategy

#: Strategies in the order of the choices of ``sat.strategy``.
SAT_STRATEGIES: tuple[SatStrategy, ...] = (
    as_found.SAT,
    fixed.SAT,
    outdoor_air.SAT,
    demand.SAT,
    cost_optimal.SAT,
    cost_seeking.SAT,
)
#: Strategies in the order of the choices of ``dsp.strategy``.
DSP_STRATEGIES: tuple[DspStrategy, ...] = (
    as_found.DSP,
    fixed.DSP,
    outdoor_air.DSP,
    airflow.DSP,
    demand.DSP,
)

_SAT = {strategy.name: strategy for strategy in SAT_STRATEGIES}
_DSP = {strategy.name: strategy for strategy in DSP_STRATEGIES}


def sat_strategy(record) -> SatStrategy:
    """Strategy of a record of section ``sat``."""
    return _SAT[record.strategy]


def dsp_strategy(record) -> DspStrategy:
    """Strategy of a record of section ``dsp``."""
    return _DSP[record.strategy]


def strategies_of(candidate) -> tuple[SatStrategy, DspStrategy]:
    """Both strategies of a candidate."""
    return sat_strategy(candidate.sat), dsp_strategy(candidate.dsp)
