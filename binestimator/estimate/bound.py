"""Perfect resets: the least energy cost that setpoints alone can reach."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from ..model.air_handler import required_oa_cfm
from ..model.system import evaluate, heating_enabled
from ..model.terminals import requested_flow_cfm
from ..model.trials import states_at
from ..moist_air import humidity_ratio_from_dewpoint
from ..results import EqualService
from ..service import Yardstick, judge, rises, service_figures
from ..strategies.choose import Setpoints
from ..strategies.cost_optimal import SERVED_TOLERANCE
from ..strategies.cost_optimal import search as search_sat
from ..strategies.limits import sat_limits
from ..strategies.registry import strategies_of
from .reports import zone_report
from .rows import Part
from .running import annual_figures

# Duct pressures above the least that a perfect reset tries, evenly up to the highest.
BOUND_STEPS = 3


def reset_bound(project, site, night, tried=(), asked=()) -> tuple[dict[str, float], Part]:
    """Annual figures of perfect resets, and what they do in the rows: the least energy cost that setpoints alone reach.

    In every row the cheapest supply air over the widest range of any reset of the project, and
    just the duct pressure that the neediest zone takes with its damper open; no zone asks
    without need, none is ignored, nothing swings. Zones of importance 0 stay left out. A higher
    duct pressure (``BOUND_STEPS`` up to the highest) or a pair of setpoints that a candidate asks
    for is used instead where it is cheaper and serves no worse: leakage and heat of the fan can be
    worth more than its power. Where a row would still serve worse than the baseline's own setpoints do, by more than
    equal service allows on the mean of a year, the cheapest pair asked for that does not is used. On the bin rows of
    the baseline's plant.

    Parameters
    ----------
    night : dict
        Annual figures of the night block that goes with them.
    tried : sequence of ndarray (R,)
        Supply temperatures for the search. [degF]
    asked : sequence of Setpoints
        Of candidates on the same rows, those of the baseline first.
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

    rules, dewpoint, psia = honest.service, honest.air_handler.humid_dewpoint_f, rows.on.pressure_psia
    humid, moister = (humidity_ratio_from_dewpoint(dewpoint + f, psia) for f in (0.0, rules.dewpoint_rise_f))
    enough = (1.0 - rules.outdoor_air_margin_frac) * required_oa_cfm(honest, rows.on.occupied, rows.loads.oa_people_cfm)

    def run(pairs):
        """Of each pair of setpoints: cost of rows, what they lack of service, and of outdoor air and dryness."""
        return list(map(figures, states_at(honest, rows.on, rows.loads, pairs)))

    def figures(state):
        lacks = [
            state.unmet_degrees,
            state.starved_zones,
            state.ventilation_short_zones,
            state.cold_zones,
            state.unserved_kbtuh,
            state.heat_unserved_kbtuh,
        ]
        of_air = [np.maximum(enough - state.oa_cfm, 0.0), np.maximum(state.room_humidity_ratio - humid, 0.0)]
        return state.cost_usd_h, np.stack(lacks), np.stack([*lacks, *of_air])

    sat = search_sat(honest, rows.on, rows.loads, limits, least_dsp, True, tried)
    # Where the supply air floats, the least pressure is that at the temperature that results.
    dsp = evaluate(
        honest, rows.on, rows.loads, sat, least_dsp(rows.on, rows.loads, sat), dsp_of_sat=least_dsp
    ).dsp_set_inwc
    higher = [(sat, dsp + k / BOUND_STEPS * np.maximum(highest - dsp, 0.0)) for k in range(1, BOUND_STEPS + 1)]
    pairs = [(s.sat_f, s.dsp_inwc) for s in asked]
    (best, allowed, given), *found = run([(sat, dsp), *higher, *pairs])
    for (sat_f, dsp_inwc), (cost, service, also) in zip([*higher, *pairs], found, strict=True):
        take = (service <= allowed + SERVED_TOLERANCE).all(axis=0) & (cost < best)
        best, sat, dsp = np.where(take, cost, best), np.where(take, sat_f, sat), np.where(take, dsp_inwc, dsp)
        given = np.where(take, also, given)
    if asked:
        tolerance = np.full(given.shape, SERVED_TOLERANCE)
        tolerance[-2] += rules.outdoor_air_rise_frac * enough
        tolerance[-1] += moister - humid
        found = found[len(higher) :]
        promised = found[0][2] + tolerance
        best = np.where((given <= promised).all(axis=0), best, np.inf)
        for (sat_f, dsp_inwc), (cost, _, also) in zip(pairs, found, strict=True):
            take = (also <= promised).all(axis=0) & (cost < best)
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
    part = Part(share=1.0, setpoints=at, state=state)
    return annual_figures(honest, rows, [part], night), part


def bound_service(site, night, base_parts, base_annual, part: Part, annual) -> EqualService:
    """Whether perfect resets are of equal service themselves, by the rows.

    Parameters
    ----------
    site : Site
        Of the baseline.
    night : NightBlock
        Of the baseline; setpoints of the day change nothing in it.
    base_parts, base_annual
        Parts of the baseline on the rows and its annual figures.
    part, annual
        From :func:`reset_bound`.
    """
    yardstick = Yardstick.of(site.unit, site.rows.on, site.rows.loads)

    def served(parts, figures):
        depths = zone_report(site.unit, site.rows, parts, yardstick)[1]
        return service_figures(yardstick, parts, depths, night, figures)

    return judge(rises(served([part], annual), served(base_parts, base_annual), yardstick), yardstick)
