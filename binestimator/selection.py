"""Representative hours of a project: what they must reproduce, and the choice itself.

The rows are chosen once, from *reference settings*: pairs of supply temperature and duct
pressure that span what strategies may ask for. Hours that give the right cost of every end
use at all of them give it for the strategies between them as well. Of the candidates only
the baseline is among the references, since every saving is counted from it; a candidate
whose setpoints happen to be those of a reference is no evidence of accuracy.

The settings at constant supply temperature are evaluated with the model. Those whose supply
temperature moves (with outdoor temperature, with demand, to the least cost) are read from
them, straight between neighbouring temperatures: they need to point in the right direction
only, and cost no further evaluation.
"""

from __future__ import annotations

import numpy as np

from .bins import RowSelection, representative_rows
from .inputs.schema import fields_of
from .model.system import RowState, evaluate, heating_enabled
from .model.terminals import requested_flow_cfm
from .model.unit import Unit
from .strategies.choose import resets_pressure, setpoints
from .strategies.demand import settled_dsp_inwc, settled_sat_f
from .strategies.tables import line

#: Supply temperatures with the design duct pressure, and with that of demand.
DESIGN_PRESSURE_SATS, DEMAND_PRESSURE_SATS = 12, 6
#: How far the references reach beyond the resets, so that limits may be edited later. [degF]
SAT_MARGIN_F = 2.0
#: Outdoor temperatures around which a reset by outdoor air falls from its warmest to its
#: coldest supply temperature, and over how much. [degF]
LINE_MIDDLES_F, LINE_SPAN_F = (40.0, 48.0, 56.0, 64.0, 72.0), 8.0
#: Least share of its default price at which an energy counts, however little it costs.
LEAST_WORTH_FRAC = 0.25
#: Requests that demand ignores in the references.
IGNORED_REQUESTS = 2.0


def sat_range_f(project) -> tuple[float, float]:
    """Coldest and warmest supply temperature that any candidate may ask for. [degF]"""
    low, high = [project.limits.sat_min_f], [project.limits.sat_max_f]
    for record in (candidate.sat for candidate in project.candidates):
        if record.strategy == "fixed":
            values = [record.setpoint_f]
        elif record.strategy in ("as_found", "outdoor_air"):
            values = [y for _, y in (*record.points, *(record.points_unoccupied or ()))]
        else:
            values = [record.min_f, record.max_f]
        low.append(min(values))
        high.append(max(values))
    return float(min(low)), float(max(high))


def reference_settings(project, unit: Unit, rows):
    """Settings that are evaluated with the model.

    Parameters
    ----------
    project : Project
    unit : Unit
    rows : Rows
        Hours; ``on`` (conditions of the R running ones) and ``loads`` are used.

    Returns
    -------
    dict of str to list of (sat, dsp, resets)
        ``design`` and ``demand``: constant supply temperatures, ascending and evenly spaced,
        at the design duct pressure and at that of demand; ``other``: the baseline as it is
        (without operators' overrides), and the warmest supply temperature at the lowest duct
        pressure. ``sat`` [degF] and ``dsp`` [in. w.c.] are ndarrays (R,), ``resets`` says
        whether duct pressure is reset.
    """
    on = rows.on
    enabled = heating_enabled(unit, on.oat_f, on.fan_on)
    design = float(unit.fan.design_dsp_inwc)
    low, high = sat_range_f(project)
    baseline = next(c for c in project.candidates if c.id == project.baseline_id)
    found = setpoints(unit, baseline, on, rows.loads)

    def constant(value):
        return np.full(on.oat_f.shape, float(value))

    def demanded(sat):
        requested = requested_flow_cfm(unit, rows.loads, sat, enabled)
        return settled_dsp_inwc(unit, requested, IGNORED_REQUESTS, unit.limits.dsp_min_inwc, _highest_dsp(unit))

    at_design = np.linspace(low - SAT_MARGIN_F, high + SAT_MARGIN_F, DESIGN_PRESSURE_SATS)
    at_demand = np.linspace(low, high, DEMAND_PRESSURE_SATS)
    return {
        "design": [(constant(v), constant(design), False) for v in at_design],
        "demand": [(constant(v), demanded(constant(v)), True) for v in at_demand],
        "other": [
            (found.sat_f, found.dsp_inwc, resets_pressure(baseline.dsp)),
            (constant(high), constant(unit.limits.dsp_min_inwc), True),
        ],
    }


def _highest_dsp(unit: Unit) -> float:
    return float(unit.fan.design_dsp_inwc if unit.limits.dsp_max_inwc is None else unit.limits.dsp_max_inwc)


def moving_sats_f(project, unit: Unit, rows) -> list[np.ndarray]:
    """Supply temperatures of the references that move: by outdoor temperature, by demand. (R,) each [degF]"""
    low, high = sat_range_f(project)
    half = 0.5 * LINE_SPAN_F
    lines = [line(rows.on.oat_f, ((middle - half, high), (middle + half, low))) for middle in LINE_MIDDLES_F]
    return [*lines, settled_sat_f(unit, rows.loads, IGNORED_REQUESTS, low, high)]


def match_columns(project, unit: Unit, rows) -> tuple[np.ndarray, np.ndarray]:
    """Hourly cost of every end use at every reference setting.

    Parameters
    ----------
    project : Project
    unit : Unit
    rows : Rows
        H hours, of which R run.

    Returns
    -------
    match : ndarray (H, M)
        Cost; 0 while the air handler is off. [USD/h]
    scale : ndarray (M,)
        What an error of a column counts against: the mean annual cost of all end uses
        together. [USD]
    """
    hours = len(rows.conditions.oat_f)
    if len(rows.running) == 0:
        return np.zeros((hours, 1)), np.ones(1)
    settings = reference_settings(project, unit, rows)
    cost = {
        name: np.stack([_end_use_costs(unit.prices, evaluate(unit, rows.on, rows.loads, sat, dsp, resets_pressure=resets))
                        for sat, dsp, resets in listed])
        for name, listed in settings.items()
    }  # fmt: skip
    columns = [*cost["design"], *cost["demand"], *cost["other"]]
    moving = moving_sats_f(project, unit, rows)
    for name in ("design", "demand"):
        first, second = (setting[0][0] for setting in settings[name][:2])
        columns += [_between(cost[name], (sat - first) / (second - first)) for sat in moving]
        # The cheapest of the supply temperatures of each hour: what an optimum asks for.
        cheapest = cost[name].sum(axis=1).argmin(axis=0)
        columns.append(np.take_along_axis(cost[name], cheapest[None, None, :], axis=0)[0])
    columns = np.concatenate(columns)
    columns = columns[np.any(columns != 0.0, axis=1)]
    if len(columns) == 0:
        return np.zeros((hours, 1)), np.ones(1)
    match = np.zeros((hours, len(columns)))
    match[rows.running] = columns.T
    count = sum(len(c) for c in cost.values())
    total = sum(float((c @ rows.on.hours).sum()) for c in cost.values()) / count
    return match, np.full(len(columns), total)


def _end_use_costs(prices, state: RowState) -> np.ndarray:
    """Cost of the end uses of ``results.ENERGY_KEYS``. (7, R) [USD/h]"""
    kwh = _worth(prices, "electricity_usd_kwh")
    return np.stack([
        (state.fan_kw + state.return_fan_kw) * kwh, state.cooling_kw * kwh, state.pump_tower_kw * kwh, state.heating_kw * kwh,
        state.fuel_thermh * _worth(prices, "fuel_usd_therm"), state.purchased_cooling_kbtuh * _worth(prices, "cooling_usd_kbtu"),
        state.purchased_heating_kbtuh * _worth(prices, "heat_usd_kbtu"),
    ])  # fmt: skip


def _worth(prices, name: str) -> float:
    """What a unit of energy counts for: its price, but at least a share of the usual one, since an
    energy that costs nothing is reported as well and its price may be edited later."""
    return max(getattr(prices, name), LEAST_WORTH_FRAC * fields_of("prices")[name].default)


def _between(cost, place) -> np.ndarray:
    """Values (E, R) of (K, E, R) tabulated costs at a fractional place (R,) in the table, held at its ends."""
    place = np.clip(place, 0.0, len(cost) - 1.0)
    below = np.minimum(place.astype(int), len(cost) - 2)
    share = place - below
    index = below[None, None, :]
    lower = np.take_along_axis(cost, index, axis=0)[0]
    upper = np.take_along_axis(cost, index + 1, axis=0)[0]
    return lower + share * (upper - lower)


def choose_rows(project, unit: Unit, rows, group_id) -> RowSelection:
    """Representative hours of the project's grouping.

    Parameters
    ----------
    project : Project
    unit : Unit
    rows : Rows
        All hours.
    group_id : ndarray (H,), int
        From ``bins.group_keys``.

    Notes
    -----
    Totals are reproduced in each rate period, whether it is a key of the groups or not.
    """
    match, scale = match_columns(project, unit, rows)
    return representative_rows(rows.conditions, group_id, match, scale=scale, period=rows.conditions.rate_period)
