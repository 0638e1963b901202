"""What comes out of a row: states of the air handler, its air, its zones in sum, its coils."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import fields

import numpy as np

from ...dataclass import dataclass
from .. import air_handler as ah
from .. import fan as fans
from ..loads import ZoneLoads
from ..terminals import ZoneState
from ..unit import Unit


@dataclass(frozen=True, slots=True, kw_only=True)
class RowState:
    """One candidate in R running rows; every field is an array (R,), rates per hour.

    Zone counts are already times the zones' multipliers. ``unserved_kbtuh`` is cooling that
    the plant could not give after the supply air had risen (nearly none: the rooms grow warm
    instead) and no load of the coil; ``dsp_held_inwc`` pressure at the terminals; ``preheat_kbtuh`` heat of the
    supply heating coil. The nomenclature in binestimator/README.md has the rest.
    """

    sat_set_f: np.ndarray
    sat_f: np.ndarray
    dsp_set_inwc: np.ndarray
    dsp_inwc: np.ndarray
    dsp_held_inwc: np.ndarray
    requested_cfm: np.ndarray
    ceiling_frac: np.ndarray
    room_flow_cfm: np.ndarray
    leakage_cfm: np.ndarray
    flow_cfm: np.ndarray
    fan_total_inwc: np.ndarray
    fan_speed_frac: np.ndarray
    fan_kw: np.ndarray
    return_fan_kw: np.ndarray
    fan_rise_f: np.ndarray
    room_mean_f: np.ndarray
    rat_f: np.ndarray
    oa_min_frac: np.ndarray
    oa_frac: np.ndarray
    oa_cfm: np.ndarray
    mat_f: np.ndarray
    coil_leaving_f: np.ndarray
    coil_entering_f: np.ndarray
    coil_entering_wb_f: np.ndarray
    room_humidity_ratio: np.ndarray
    mixed_humidity_ratio: np.ndarray
    leaving_humidity_ratio: np.ndarray
    cooling_sensible_kbtuh: np.ndarray
    cooling_latent_kbtuh: np.ndarray
    cooling_kbtuh: np.ndarray
    cooling_capacity_kbtuh: np.ndarray
    unserved_kbtuh: np.ndarray
    preheat_kbtuh: np.ndarray
    reheat_kbtuh: np.ndarray
    heat_unserved_kbtuh: np.ndarray
    cooling_kw: np.ndarray
    pump_tower_kw: np.ndarray
    heating_kw: np.ndarray
    fuel_thermh: np.ndarray
    purchased_cooling_kbtuh: np.ndarray
    purchased_heating_kbtuh: np.ndarray
    electricity_kw: np.ndarray
    cost_usd_h: np.ndarray
    unmet_zones: np.ndarray
    unmet_degrees: np.ndarray
    cold_zones: np.ndarray
    starved_zones: np.ndarray
    ventilation_short_zones: np.ndarray
    reheating_zones: np.ndarray
    humid: np.ndarray
    airflow_ceiling: np.ndarray
    oa_short: np.ndarray
    economizing: np.ndarray
    minimum_speed: np.ndarray
    capacity_limited: np.ndarray
    freeze: np.ndarray
    low_flow: np.ndarray
    stage_cycling: np.ndarray
    cold_dx: np.ndarray
    economizer_cooling: np.ndarray

    def take(self, index) -> RowState:
        return RowState(**{f.name: getattr(self, f.name)[index] for f in fields(self)})

    @classmethod
    def joined(cls, states: Sequence[RowState]) -> RowState:
        """Rows that follow one another."""
        return cls(**{f.name: np.concatenate([getattr(state, f.name) for state in states]) for f in fields(cls)})


@dataclass(frozen=True, slots=True, kw_only=True)
class ZoneSums:
    """What rows take from their zones, times multipliers (arrays (R,)).

    ``room_cfm_f`` airflow times room temperature [cfm degF] · the others as in ``ZoneState`` and ``RowState``.
    """

    requested_cfm: np.ndarray
    flow_cfm: np.ndarray
    room_cfm_f: np.ndarray
    reheat_btuh: np.ndarray
    unmet_zones: np.ndarray
    unmet_degrees: np.ndarray
    cold_zones: np.ndarray
    starved_zones: np.ndarray
    ventilation_short_zones: np.ndarray
    reheating_zones: np.ndarray


#: What of zones is counted; the others are sums.
_COUNTED_ZONES = (
    "unmet_zones", "unmet_degrees", "cold_zones", "starved_zones", "ventilation_short_zones", "reheating_zones"
)  # fmt: skip


def not_worked_out(rows: int) -> np.ndarray:
    """What stands for a figure that nobody is to read. (R,) of NaN, one number in memory"""
    return np.broadcast_to(np.nan, (rows,))


def sums_alone(unit: Unit, requested_cfm, flow_cfm, room_f, reheat_btuh) -> ZoneSums:
    """Sums of zones (R, Z) without counts."""
    mult = unit.zones.multiplier
    return ZoneSums(
        requested_cfm=requested_cfm @ mult,
        flow_cfm=flow_cfm @ mult,
        room_cfm_f=(flow_cfm * room_f) @ mult,
        reheat_btuh=reheat_btuh @ mult,
        **dict.fromkeys(_COUNTED_ZONES, not_worked_out(len(requested_cfm))),
    )


def zone_sums(unit: Unit, loads: ZoneLoads, zones: ZoneState) -> ZoneSums:
    """Sums of zones, and counts unless the unit is without."""
    mult, tolerance = unit.zones.multiplier, unit.service.unmet_tolerance_f
    if not unit.counts:
        return sums_alone(unit, zones.requested_cfm, zones.flow_cfm, zones.room_f, zones.reheat_btuh)
    over = zones.room_f - loads.cool_f
    over -= tolerance
    np.maximum(over, 0.0, out=over)
    return ZoneSums(
        requested_cfm=zones.requested_cfm @ mult,
        flow_cfm=zones.flow_cfm @ mult,
        room_cfm_f=(zones.flow_cfm * zones.room_f) @ mult,
        reheat_btuh=zones.reheat_btuh @ mult,
        unmet_zones=_count(over > 0.0, mult),
        unmet_degrees=over @ mult,
        cold_zones=_count(zones.room_f < loads.heat_f - tolerance, mult),
        starved_zones=_count(zones.starved, mult),
        ventilation_short_zones=_count(zones.ventilation_short, mult),
        reheating_zones=_count(zones.reheat_btuh > 0.0, mult),
    )


def _count(marks, multiplier) -> np.ndarray:
    """Rooms of marked zones (R, Z). (R,)"""
    return marks.astype(float) @ multiplier if marks.any() else np.zeros(len(marks))


@dataclass(frozen=True, slots=True, kw_only=True)
class Air:
    """Zones, fan and return air at a supply temperature (arrays (R,) unless said)."""

    zones: ZoneState | ZoneSums
    sat_f: np.ndarray
    dsp_set_inwc: np.ndarray
    dsp_held_inwc: np.ndarray
    ceiling_frac: np.ndarray
    at_ceiling: np.ndarray
    fan: fans.FanState
    room_flow: np.ndarray
    leak: np.ndarray
    flow: np.ndarray
    return_kw: np.ndarray
    rise_f: np.ndarray
    room_mean_f: np.ndarray
    rat_f: np.ndarray
    oa_min_frac: np.ndarray


@dataclass(frozen=True, slots=True, kw_only=True)
class Coils:
    """Mixing, moisture and coils behind an :class:`Air` (arrays (R,))."""

    mixed: ah.MixedAir
    preheat_btuh: np.ndarray
    entering_f: np.ndarray
    leaving_f: np.ndarray
    wet: ah.Moisture
    entering_wb_f: np.ndarray
    sensible_btuh: np.ndarray
    latent_btuh: np.ndarray
    capacity_btuh: np.ndarray
