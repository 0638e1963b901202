"""What no reset may pass: how warm the supply air may be in each row.

Limits bind the strategies that reset (outdoor air, demand, cost optimal), not fixed and
as-found behaviour, which is described as it is.
"""

from __future__ import annotations

import numpy as np

from ..dataclass import dataclass
from ..model import fan as fans
from ..model.air_handler import minimum_oa_frac
from ..model.loads import ZoneLoads
from ..model.terminals import requested_flow_cfm
from ..model.unit import Unit
from ..moist_air import dewpoint_f, humidity_ratio_from_dewpoint


@dataclass(frozen=True, slots=True, kw_only=True)
class SatLimits:
    """Arrays (R,) or numbers. [degF]

    ``min_f`` coldest · ``max_f`` warmest setpoint in the row · ``zone_f`` the warmest that
    zones which must stay cold allow · ``humidity_f`` the warmest that the humidity limit allows.
    """

    min_f: float
    max_f: np.ndarray
    zone_f: float
    humidity_f: np.ndarray


def humidity_ceiling_f(unit: Unit, conditions, loads: ZoneLoads, min_f, max_f):
    """Warmest supply air that the chosen humidity limit allows. (R,) [degF]

    Notes
    -----
    ``outdoor_dewpoint``: from ``max_f`` at the low outdoor dew point down to ``min_f`` at the high
    one (Guideline 36-2024 addendum z; its default dew points were not seen).
    ``room_dewpoint``: the leaving-coil humidity that keeps the rooms at the humid limit, from
    the moisture balance at the airflow of ``min_f`` without more air for heating, at most the fan's
    ceiling, and with the fan heat of the lowest duct pressure (less air, and a coil less cold below
    the supply air, than in any row to come: both on the safe side); no limit where outdoor air alone
    keeps the rooms dry. A wet coil is assumed to dry fully, terminals to get what they ask for and the
    supply air to be held: direct expansion that cycles, starved terminals and a plant too small dry
    less, so some humid hours can remain.
    """
    kind = unit.limits.humidity
    top = np.full(conditions.oat_f.shape, float(max_f))
    if kind == "none":
        return top
    if kind == "outdoor_dewpoint":
        low, high = unit.limits.oa_dewpoint_low_f, unit.limits.oa_dewpoint_high_f
        share = np.clip((high - conditions.oa_dewpoint_f) / (high - low), 0.0, 1.0)
        return min_f + share * (max_f - min_f)
    fl = loads.fl
    limit_w = humidity_ratio_from_dewpoint(unit.air_handler.humid_dewpoint_f, conditions.pressure_psia)
    flow = requested_flow_cfm(unit, loads, np.full(conditions.oat_f.shape, float(min_f)), 0.0) @ unit.zones.multiplier
    flow = np.minimum(flow, unit.max_cfm)
    oa = flow * minimum_oa_frac(unit, flow, conditions.occupied, loads.oa_people_cfm)
    outside = fl * (oa + loads.infiltration_cfm)
    dry_w = conditions.humidity_ratio + loads.latent_btuh / np.maximum(outside, 1e-6)
    m, mi = fl * flow, fl * loads.infiltration_cfm
    coil_w = (limit_w * (m + mi) - mi * conditions.humidity_ratio - loads.latent_btuh) / np.maximum(m, 1e-6)
    coil_w = np.maximum(coil_w / unit.air_handler.coil_rh_frac, 1e-4)
    lowest_inwc = min(unit.limits.dsp_min_inwc, unit.fan.design_dsp_inwc)
    gentlest = fans.supply_fan(unit, flow, np.full(flow.shape, lowest_inwc))
    rise = fans.temperature_rise_f(gentlest.heat_kw, flow, loads.fs)
    if unit.fan.arrangement != "draw_through":
        rise = np.zeros_like(rise)
    ceiling = np.clip(dewpoint_f(coil_w, conditions.pressure_psia) + rise, min_f, max_f)
    return np.where(dry_w <= limit_w, top, ceiling)


def sat_limits(unit: Unit, conditions, loads: ZoneLoads, min_f=None, max_f=None) -> SatLimits:
    """Range of the supply air temperature of a reset in each row."""
    low = float(unit.limits.sat_min_f if min_f is None else min_f)
    high = float(unit.limits.sat_max_f if max_f is None else max_f)
    zone_f = max(float(np.min(unit.zones.sat_max_f)), low)
    humidity = humidity_ceiling_f(unit, conditions, loads, low, high)
    return SatLimits(
        min_f=low, max_f=np.minimum(np.minimum(humidity, high), zone_f), zone_f=zone_f, humidity_f=humidity
    )
