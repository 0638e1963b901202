"""Cost-optimal supply air temperature: the least energy cost in each row.

The cost of a row is not convex in supply temperature (economizer, minimum flows, reheat and
limits put kinks into it), so the search tries a grid over the whole allowed range, the
edges of the limits and the other candidates' temperatures, then halves the step around
the best. Prices are those of energy; demand charges and tiers are not in them.
"""

from __future__ import annotations

import numpy as np

from ..model.air_handler import required_oa_cfm
from ..model.loads import ZoneLoads
from ..model.system import Floating
from ..model.trials import states_at
from ..model.unit import Unit
from ..moist_air import humidity_ratio_from_dewpoint
from .strategy import SatStrategy

GRID_STEP_F = 1.0
REFINEMENTS = 3
# A more expensive row is not exchanged for one that is cheaper by rounding only. [USD/h]
LEAST_GAIN_USD_H = 1e-9
# Rows are picked from the others while they are fewer than this share; more take longer to pick than to work out.
MOST_FRESH_FRAC = 0.8
# Place of the rows short of cooling among what may not be above the baseline's.
_SHORT = 1
# Differences in service below this are rounding. [degF, zones, kBtu/h]
SERVED_TOLERANCE = 1e-9


def search(unit: Unit, conditions, loads: ZoneLoads, limits, dsp_of_sat, resets_pressure, other_sats=()):
    """Cheapest supply air temperature of each row that serves the zones no worse.

    Parameters
    ----------
    limits : SatLimits
    dsp_of_sat : callable
        The partner strategy: duct pressure setpoint (R,) for ``(conditions, loads, sat_f)``.
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
    worse, and neither too cold zones, nor rows short of cooling, nor loads beyond the plant are above the baseline's
    (the coldest supply air is no reference there: it is the worst), nor is outdoor air shorter or a room moister above
    the humid limit, both by more than equal service allows on the mean of a year: the optimum may pay neither with
    comfort nor with loads that are not charged for. Where nothing else is allowed the coldest supply air is used.
    """
    shape = conditions.oat_f.shape
    top = np.maximum(limits.max_f, limits.min_f)
    rules, dewpoint = unit.service, unit.air_handler.humid_dewpoint_f
    humid, moister = (
        humidity_ratio_from_dewpoint(dewpoint + f, conditions.pressure_psia) for f in (0.0, rules.dewpoint_rise_f)
    )
    required = required_oa_cfm(unit, conditions.occupied, loads.oa_people_cfm)
    # What equal service allows a row beyond the baseline, in the order of what is never to be worse than the
    # baseline's.
    allowance = (
        np.array([0.0, 0.0, 0.0, 0.0, rules.outdoor_air_rise_frac, float(moister - humid)])[:, None] + SERVED_TOLERANCE
    )

    floating, every = Floating(len(conditions.oat_f)), np.arange(len(conditions.oat_f))

    def run(sats, rows=None):
        """What rows cost, and their service, at each of some temperatures, of which each may be of some rows alone."""
        rows = [every] * len(sats) if rows is None else rows
        states = states_at(
            unit,
            conditions,
            loads,
            [(sat[at], None) for sat, at in zip(sats, rows, strict=True)],
            rows=rows,
            resets_pressure=resets_pressure,
            dsp_of_sat=dsp_of_sat,
            floating=floating,
        )
        return map(figures, states, rows)

    def figures(state, at):
        return (
            state.cost_usd_h,
            np.stack([state.unmet_degrees, state.starved_zones, state.ventilation_short_zones]),
            np.stack(
                [
                    state.cold_zones,
                    state.capacity_limited,
                    state.unserved_kbtuh,
                    state.heat_unserved_kbtuh,
                    short_of(state, required[at]),
                    np.maximum(state.room_humidity_ratio - humid, 0.0),
                ]
            ),
        )

    def short_of(state, required):
        """Outdoor air missing as a share of what is required."""
        enough = (1.0 - rules.outdoor_air_margin_frac) * required
        return np.maximum(enough - state.oa_cfm, 0.0) / np.where(required > 0.0, required, 1.0)

    best_sat = np.full(shape, float(limits.min_f))
    ((best_cost, allowed, allowed_cold),) = run([best_sat])
    pending = []
    if len(other_sats):
        ((cost, service, cold),) = run([other_sats[0]])
        # Where the plant is short at the coldest supply air only, what that serves is no reference.
        short = allowed_cold[_SHORT] > cold[_SHORT]
        allowed = np.where(short, service, np.maximum(allowed, service))
        best_cost = np.where((allowed_cold <= cold + allowance).all(axis=0), best_cost, np.inf)
        allowed_cold = cold
        inside = (other_sats[0] >= limits.min_f) & (other_sats[0] <= top)
        take = inside & (cost < best_cost - LEAST_GAIN_USD_H)
        best_sat, best_cost = np.where(take, other_sats[0], best_sat), np.where(take, cost, best_cost)

    tried = [np.full(shape, float(limits.min_f)), *other_sats[:1]]
    best_sat, best_cost = np.array(best_sat), np.array(best_cost)

    def fresh(sat):
        """Rows in which a temperature is another than those tried before; where these are most, all of them."""
        new = np.ones(shape, dtype=bool)
        for before in tried:
            new &= sat != before
        tried.append(sat)
        at = np.flatnonzero(new)
        return at if len(at) <= MOST_FRESH_FRAC * len(every) else every

    def consider(sats):
        rows = [fresh(sat) for sat in sats]
        sats, rows = ([each for each, at in zip(values, rows, strict=True) if len(at)] for values in (sats, rows))
        for sat, at, (cost, service, cold) in zip(sats, rows, run(sats, rows), strict=True):
            ok = (service <= allowed[:, at] + SERVED_TOLERANCE).all(axis=0)
            ok &= (cold <= allowed_cold[:, at] + allowance).all(axis=0)
            take = ok & (cost < best_cost[at] - LEAST_GAIN_USD_H)
            best_sat[at[take]], best_cost[at[take]] = sat[at[take]], cost[take]

    highest = float(np.max(top, initial=limits.min_f))
    for value in np.arange(limits.min_f + GRID_STEP_F, highest + GRID_STEP_F, GRID_STEP_F):
        pending.append(np.minimum(value, top))
    for sat in other_sats[1:]:
        pending.append(np.clip(sat, limits.min_f, top))
    consider(pending)
    step = GRID_STEP_F
    for _ in range(REFINEMENTS):
        step *= 0.5
        consider([np.clip(best_sat + sign * step, limits.min_f, top) for sign in (-1.0, 1.0)])
    return best_sat


class CostOptimalSat(SatStrategy):
    """The cheapest supply air in each row: a limit of control, since no loop reaches it."""

    name = "cost_optimal"
    words = "cost-optimal"
    about = "least energy cost hour by hour over the allowed range"
    note = (
        "The cost-optimal supply temperature minimises energy cost hour by hour; demand charges and tiers are not in "
        "its price."
    )
    resets = True
    buildable = False
    searches = True
    held = True

    def setpoint_f(self, record, rows, top_f):
        # The search knows the limits and is never above them; ``top_f`` adds nothing.
        if rows.held_sat is not None:
            return np.asarray(rows.held_sat, dtype=float)
        return search(
            rows.unit, rows.conditions, rows.loads, rows.limits, rows.dsp_of_sat, rows.resets_pressure, rows.other_sats
        )

    def limited(self, record, rows, sat_f):
        high = self.range(record)[1]
        return (sat_f >= rows.limits.max_f - 1e-9) & (rows.limits.max_f < high - 1e-9)

    def formula(self, record, sheet):
        # No formula searches: the setpoints of the run are held as values.
        return sheet.values("sat_held", "Least-cost supply air (value block)", "°F")


SAT = CostOptimalSat()
