"""Cost-optimal supply air temperature: the least energy cost in each row.

The cost of a row is not convex in supply temperature (economizer, minimum flows, reheat and
limits put kinks into it), so the search tries a grid over the whole allowed range, the
edges of the limits and the other candidates' temperatures, then halves the step around
the best. Prices are those of energy; demand charges and tiers are not in them.
"""

from __future__ import annotations

import numpy as np

from ..model.loads import ZoneLoads
from ..model.system import evaluate, heating_enabled
from ..model.terminals import cooling_flow_cfm, requested_flow_cfm
from ..model.unit import Unit

GRID_STEP_F = 1.0
REFINEMENTS = 3
# A dearer row is not exchanged for one that is cheaper by rounding only. [USD/h]
LEAST_GAIN_USD_H = 1e-9


def search(unit: Unit, conditions, loads: ZoneLoads, limits, dsp_of_flows, resets_pressure, other_sats=()):
    """Cheapest supply air temperature of each row that serves the zones no worse.

    Parameters
    ----------
    limits : SatLimits
    dsp_of_flows : callable
        The partner strategy: duct pressure setpoint (R,) from requested and cooling flows (R, Z).
    other_sats : sequence of ndarray (R,)
        Tried as well; the first one is the baseline's, whose service is a reference.

    Returns
    -------
    ndarray (R,)
        Supply air temperature. [degF]

    Notes
    -----
    A temperature is allowed when unmet degrees, starved and ventilation-short zones of the
    row are not above those of the coldest supply air or of the baseline, whichever serves
    worse: the optimum may not pay with comfort. The coldest supply air is always allowed.
    """
    shape = conditions.oat_f.shape
    top = np.maximum(limits.max_f, limits.min_f)
    enabled = heating_enabled(unit, conditions.oat_f, conditions.fan_on)

    def run(sat):
        requested = requested_flow_cfm(unit, loads, sat, enabled)
        state = evaluate(unit, conditions, loads, sat, dsp_of_flows(requested, cooling_flow_cfm(unit, loads, sat)), resets_pressure=resets_pressure)
        return state.cost_usd_h, (state.unmet_degrees, state.starved_zones, state.ventilation_short_zones)

    best_sat = np.full(shape, float(limits.min_f))
    best_cost, allowed = run(best_sat)
    pending = []
    if len(other_sats):
        cost, service = run(other_sats[0])
        allowed = tuple(np.maximum(a, b) for a, b in zip(allowed, service))
        inside = (other_sats[0] >= limits.min_f) & (other_sats[0] <= top)
        take = inside & (cost < best_cost - LEAST_GAIN_USD_H)
        best_sat, best_cost = np.where(take, other_sats[0], best_sat), np.where(take, cost, best_cost)

    def consider(sat):
        nonlocal best_sat, best_cost
        cost, service = run(sat)
        ok = np.logical_and.reduce([s <= a + 1e-9 for s, a in zip(service, allowed)])
        take = ok & (cost < best_cost - LEAST_GAIN_USD_H)
        best_sat, best_cost = np.where(take, sat, best_sat), np.where(take, cost, best_cost)

    highest = float(np.max(top, initial=limits.min_f))
    for value in np.arange(limits.min_f + GRID_STEP_F, highest + GRID_STEP_F, GRID_STEP_F):
        pending.append(np.minimum(value, top))
    for sat in other_sats[1:]:
        pending.append(np.clip(sat, limits.min_f, top))
    for sat in pending:
        consider(sat)
    step = GRID_STEP_F
    for _ in range(REFINEMENTS):
        step *= 0.5
        centre = best_sat
        for sign in (-1.0, 1.0):
            consider(np.clip(centre + sign * step, limits.min_f, top))
    return best_sat
