"""Perfect resets: the least energy cost that setpoints alone can reach."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from ..model.system import evaluate, heating_enabled
from ..model.terminals import requested_flow_cfm
from ..strategies.choose import Setpoints
from ..strategies.cost_optimal import SERVED_TOLERANCE
from ..strategies.cost_optimal import search as search_sat
from ..strategies.limits import sat_limits
from ..strategies.registry import strategies_of
from .rows import Part
from .running import annual_figures

# Duct pressures above the least that a perfect reset tries, evenly up to the highest.
BOUND_STEPS = 3


def reset_bound(project, site, night, tried=(), asked=()) -> dict[str, float]:
    """Annual figures of perfect resets: the least energy cost that setpoints alone can reach.

    In every row the cheapest supply air over the widest range of any reset of the project, and
    just the duct pressure that the neediest zone takes with its damper open; no zone asks
    without need, none is ignored, nothing swings. Zones of importance 0 stay left out. A higher
    duct pressure (``BOUND_STEPS`` up to the highest) or a pair of setpoints that a candidate asks
    for is used instead where it is cheaper and serves no worse: leakage and heat of the fan can be
    worth more than its power. On the bin rows of the baseline's plant.

    Parameters
    ----------
    night : dict
        Annual figures of the night block that goes with them.
    tried : sequence of ndarray (R,)
        Supply temperatures for the search. [degF]
    asked : sequence of Setpoints
        Of candidates on the same rows.
    """
    rows, unit = site.rows, site.unit
    nobody = np.zeros(len(unit.zones), dtype=bool)
    honest = replace(unit, zones=replace(unit.zones, asks_temperature=nobody, asks_pressure=nobody))
    sat_resets, dsp_resets = [], []
    for candidate in project.candidates:
        sat_way, dsp_way = strategies_of(candidate)
        sat_resets += [sat_way.range(candidate.sat)] if sat_way.resets else []
        dsp_resets += [dsp_way.range(candidate.dsp)] if dsp_way.resets else []
    low = min([project.limits.sat_min_f, *(r[0] for r in sat_resets)])
    high = max([project.limits.sat_max_f, *(r[1] for r in sat_resets)])
    highest = max([project.fan.design_dsp_inwc, *(r[1] for r in dsp_resets)])
    limits = sat_limits(honest, rows.on, rows.loads, low, high)
    heard = honest.zones.weight > 0.0

    def least_dsp(conditions, loads, sat_f):
        enabled = heating_enabled(honest, conditions.oat_f, conditions.fan_on)
        share = requested_flow_cfm(honest, loads, sat_f, enabled) / honest.zones.max_cfm
        needed = honest.index_dsp_inwc * honest.zones.index_share * share * share
        return np.clip(np.max(np.where(heard, needed, 0.0), axis=1, initial=0.0), 0.0, highest)

    def run(sat_f, dsp_inwc):
        state = evaluate(honest, rows.on, rows.loads, sat_f, dsp_inwc)
        return state.cost_usd_h, np.stack(
            [
                state.unmet_degrees,
                state.starved_zones,
                state.ventilation_short_zones,
                state.cold_zones,
                state.unserved_kbtuh,
                state.heat_unserved_kbtuh,
            ]
        )

    sat = search_sat(honest, rows.on, rows.loads, limits, least_dsp, True, tried)
    # Where the supply air floats, the least pressure is that at the temperature that results.
    dsp = evaluate(
        honest, rows.on, rows.loads, sat, least_dsp(rows.on, rows.loads, sat), dsp_of_sat=least_dsp
    ).dsp_set_inwc
    best, allowed = run(sat, dsp)
    higher = [(sat, dsp + k / BOUND_STEPS * np.maximum(highest - dsp, 0.0)) for k in range(1, BOUND_STEPS + 1)]
    for sat_f, dsp_inwc in [*higher, *((s.sat_f, s.dsp_inwc) for s in asked)]:
        cost, service = run(sat_f, dsp_inwc)
        take = (service <= allowed + SERVED_TOLERANCE).all(axis=0) & (cost < best)
        best, sat, dsp = np.where(take, cost, best), np.where(take, sat_f, sat), np.where(take, dsp_inwc, dsp)
    state = evaluate(honest, rows.on, rows.loads, sat, dsp)
    never = np.zeros(len(rows.on), dtype=bool)
    at = Setpoints(
        sat_f=sat,
        dsp_inwc=dsp,
        humidity_limited=never,
        cold_zone_limited=never,
        sat_at_max=never,
        sat_at_min=never,
        dsp_at_max=never,
        dsp_at_min=never,
    )
    return annual_figures(honest, rows, [Part(share=1.0, setpoints=at, state=state)], night)
