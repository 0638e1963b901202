"""The whole air handler in rows of conditions: setpoints in, energy out.

:func:`evaluate` runs zones, fan, mixing, moisture, coils and plant from left to right. Where
the supply temperature asked for cannot be held (cold mixed air without enough heat, or too
little cooling capacity) it is the one at which the balances close, found without looking at
the setpoint (:mod:`.floating`), and the row is evaluated there.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, fields, replace
from typing import Any

import numpy as np

from ..end_uses import ELECTRIC_RATES, cost_rate_usd_h
from ..moist_air import humidity_ratio_from_dewpoint, wetbulb_two_step_f
from ..rates import prices_at
from ..units import BTU_PER_WH
from . import air_handler as ah
from . import fan as fans
from .floating import UP_START_F, floating_down_f, floating_up_f
from .loads import ZoneLoads
from .plant import HeatingPower, cooling_capacity_kbtuh, cooling_power, heating_power, preheat_source
from .terminals import ZoneState, rationed_dsp_inwc, requested_flow_cfm, zone_state
from .unit import Unit

# A supply temperature off its setpoint by less is held. [degF]
SAT_HELD_F = 1e-7
# A load beyond capacity by less is carried. [share of the load]
CAPACITY_SLACK_FRAC = 1e-6
# A load beyond capacity by less is rounding. [share of the load]
UNSERVED_FRAC = 1e-9
# Return and outdoor air closer than this are the same: no damper makes a difference. [degF]
SAME_AIR_F = 1e-9
# Cooling below this is rounding where mixed air just meets its target: it is not counted. [Btu/h]
LEAST_COOLING_BTUH = 1.0
# Supply heating below this is rounding where mixed air just meets its target: no source starts for it. [kBtu/h]
LEAST_PREHEAT_KBTUH = 1e-6
# Rows that are still looked for are set apart when they are so few among those last set apart. [share]
NARROWED_FRAC = 0.7


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


def zone_sums(unit: Unit, loads: ZoneLoads, zones: ZoneState) -> ZoneSums:
    """Sums and counts of zones."""
    mult, tolerance = unit.zones.multiplier, unit.service.unmet_tolerance_f
    if not unit.counts:
        none = np.zeros(len(loads.latent_btuh))
        counts = dict.fromkeys((f.name for f in fields(ZoneSums)), none)
        return ZoneSums(**{**counts, "reheat_btuh": zones.reheat_btuh @ mult})
    over = np.maximum(zones.room_f - loads.cool_f - tolerance, 0.0)
    return ZoneSums(
        requested_cfm=zones.requested_cfm @ mult,
        flow_cfm=zones.flow_cfm @ mult,
        room_cfm_f=(zones.flow_cfm * zones.room_f) @ mult,
        reheat_btuh=zones.reheat_btuh @ mult,
        unmet_zones=(over > 0.0) @ mult,
        unmet_degrees=over @ mult,
        cold_zones=(zones.room_f < loads.heat_f - tolerance) @ mult,
        starved_zones=zones.starved @ mult,
        ventilation_short_zones=zones.ventilation_short @ mult,
        reheating_zones=(zones.reheat_btuh > 0.0) @ mult,
    )


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


def heating_enabled(unit: Unit, oat_f, fan_on):
    """Whether the heating plant of the terminals is enabled. (R,) 0/1"""
    if unit.heating.type == "none":
        return np.zeros(np.shape(oat_f))
    running = np.ones(np.shape(oat_f)) if unit.heating.enabled_unoccupied else np.asarray(fan_on, dtype=float)
    return running * (np.asarray(oat_f) < unit.heating.enabled_below_f)


def _air(unit: Unit, c, loads: ZoneLoads, sat_f, dsp_set, resets_pressure, reheat_on, oa_least_cfm) -> Air:
    """Zones, fan and return air at a supply air temperature."""
    z = unit.zones
    requested = requested_flow_cfm(unit, loads, sat_f, reheat_on)
    leak_at = lambda dsp_inwc, rows=unit: fans.leakage_cfm(rows, dsp_inwc)
    standing = fans.standing_dsp_inwc(unit, requested @ z.multiplier + leak_at(dsp_set), dsp_set)
    dsp, share, binds = rationed_dsp_inwc(unit, requested, standing, leak_at)
    zones = zone_state(unit, loads, sat_f, dsp, requested, reheat_on)

    return air_of(unit, c, loads, zones, sat_f, dsp_set, dsp, share, binds, resets_pressure, oa_least_cfm)


def air_of(
    unit: Unit,
    c,
    loads: ZoneLoads,
    zones: ZoneState | ZoneSums,
    sat_f,
    dsp_set,
    dsp,
    share,
    binds,
    resets_pressure=True,
    oa_least_cfm=None,
) -> Air:
    """Fan and return air of zones whatever has set their airflows and temperatures.

    Parameters
    ----------
    sat_f : ndarray (R,)
        Supply air temperature. [degF]
    dsp_set, dsp : ndarray (R,)
        Setpoint of duct pressure, and what is left at the terminals. [in. w.c.]
    share, binds : ndarray (R,)
        From ``rationed_dsp_inwc``.
    """
    fs = loads.fs
    if isinstance(zones, ZoneSums):
        room_flow, room_sum = zones.flow_cfm, zones.room_cfm_f
    else:
        mult = unit.zones.multiplier
        room_flow, room_sum = zones.flow_cfm @ mult, (zones.flow_cfm * zones.room_f) @ mult
    leak = fans.leakage_cfm(unit, dsp)
    flow = room_flow + leak
    safe = np.where(flow > 0.0, flow, 1.0)
    # The fan sees what really flows; starved zones can leave it a little above its setpoint. At its
    # airflow ceiling it is compared with the pressure that is left.
    fan = fans.supply_fan(unit, flow, np.where(binds, np.minimum(dsp, dsp_set), dsp_set), resets_pressure)
    rise = fans.temperature_rise_f(fan.heat_kw, flow, fs)
    return_kw = (
        fans.secondary_fan_kw(unit, flow * unit.return_fan.flow_frac)
        if unit.return_fan.type == "return"
        else np.zeros_like(flow)
    )

    # Return air: rooms, leaked supply air, plenum lights, return fan; duct gain taken from
    # the plenum comes off again here.
    gain_f = unit.air_handler.duct_gain_f
    room_mean = np.where(room_flow > 0.0, room_sum / np.where(room_flow > 0.0, room_flow, 1.0), np.nan)
    duct_taken = room_flow * gain_f if unit.air_handler.duct_gain_from == "plenum" else 0.0
    rat = np.where(
        flow > 0.0,
        (room_sum + leak * sat_f - duct_taken) / safe
        + (loads.plenum_btuh / fs) / safe
        + fans.temperature_rise_f(return_kw, flow, fs),
        sat_f,
    )
    return Air(
        zones=zones,
        sat_f=sat_f,
        dsp_set_inwc=dsp_set,
        dsp_held_inwc=dsp,
        ceiling_frac=share,
        at_ceiling=binds,
        fan=fan,
        room_flow=room_flow,
        leak=leak,
        flow=flow,
        return_kw=return_kw,
        rise_f=rise,
        room_mean_f=room_mean,
        rat_f=rat,
        oa_min_frac=ah.minimum_oa_frac(unit, flow, c.occupied, loads.oa_people_cfm, oa_least_cfm),
    )


def _leaving_f(unit: Unit, a: Air):
    """Air that leaves the cooling coil. [degF]"""
    return a.sat_f - a.rise_f if unit.fan.arrangement == "draw_through" else a.sat_f


def _before_f(unit: Unit, a: Air):
    """Warming between mixing box and cooling coil. [degF]"""
    return 0.0 if unit.fan.arrangement == "draw_through" else a.rise_f


def _economizer_allowed(unit: Unit, c, loads: ZoneLoads, a: Air):
    """Whether the economizer may open. (R,) bool"""
    return_w = c.humidity_ratio
    if unit.economizer.type == "differential_enthalpy" and unit.economizer.stuck_frac is None:
        tm0 = a.rat_f + a.oa_min_frac * (c.oat_f - a.rat_f)
        leaving = _leaving_f(unit, a)
        return_w = ah.moisture(
            unit,
            loads.fl,
            a.flow,
            loads.infiltration_cfm,
            a.oa_min_frac,
            c.humidity_ratio,
            loads.latent_btuh,
            np.maximum(tm0 + _before_f(unit, a), leaving),
            leaving,
            c.pressure_psia,
        ).room
    return ah.economizer_allowed(unit, c.oat_f, c.humidity_ratio, a.rat_f, return_w)


def _stuck_frac(unit: Unit, a: Air, oa_least_cfm):
    """Share of a stuck damper; more only where a least outdoor air is asked for. (R,)"""
    stuck = np.full(a.flow.shape, unit.economizer.stuck_frac, dtype=float)
    if oa_least_cfm is None:
        return stuck
    least = np.minimum(oa_least_cfm / np.where(a.flow > 0.0, a.flow, 1.0), unit.outdoor_air.maximum_frac)
    return np.maximum(stuck, least)


def mixed_air(unit: Unit, c, loads: ZoneLoads, a: Air, oa_least_cfm) -> ah.MixedAir:
    """Mixed air at the setting that controls choose."""
    if unit.economizer.stuck_frac is not None:
        x = _stuck_frac(unit, a, oa_least_cfm)
        return ah.MixedAir(
            oa_frac=x, mat_f=a.rat_f + x * (c.oat_f - a.rat_f), economizing=np.zeros(x.shape, dtype=bool)
        )
    return ah.mix(unit, _economizer_allowed(unit, c, loads, a), a.oa_min_frac, c.oat_f, a.rat_f, a.sat_f - a.rise_f)


def _share_for(c, a: Air, mat_f, share):
    """Outdoor-air share that gives a mixed-air temperature; as it is where outdoor and return air are the same. (R,)"""
    gap = a.rat_f - c.oat_f
    wide = np.abs(gap) > SAME_AIR_F
    return np.clip(np.where(wide, (a.rat_f - mat_f) / np.where(wide, gap, 1.0), share), 0.0, 1.0)


def coils_of(unit: Unit, c, loads: ZoneLoads, a: Air, mixed: ah.MixedAir) -> Coils:
    """Moisture, loads of the coils and capacity at a mixing."""
    fs, fl = loads.fs, loads.fl
    target = a.sat_f - a.rise_f  # mixed air that needs no coil, either way
    leaving = _leaving_f(unit, a)
    preheat = fs * a.flow * np.maximum(target - mixed.mat_f, 0.0)
    entering = np.maximum(mixed.mat_f, target) + _before_f(unit, a)
    args = (
        unit,
        fl,
        a.flow,
        loads.infiltration_cfm,
        mixed.oa_frac,
        c.humidity_ratio,
        loads.latent_btuh,
        entering,
        leaving,
        c.pressure_psia,
    )
    wet = ah.moisture(*args)
    wb = wetbulb_two_step_f(entering, wet.mixed, c.pressure_psia)
    capacity = 1000.0 * cooling_capacity_kbtuh(unit.cooling, unit.cooling_tons, c.oat_f, c.oawb_f, wb)
    sensible = fs * a.flow * (entering - leaving)
    latent = fl * a.flow * (wet.mixed - wet.leaving)
    if unit.cooling.type == "direct_expansion" and unit.cooling.cycling_drying_loss_frac > 0.0:
        first_stage = capacity / unit.cooling.stages
        run = np.where(
            first_stage > 0.0,
            np.clip((sensible + latent) / np.where(first_stage > 0.0, first_stage, 1.0), 0.0, 1.0),
            0.0,
        )
        drying = 1.0 - unit.cooling.cycling_drying_loss_frac * (1.0 - run)
        wet = ah.moisture(*args, drying)
        latent = fl * a.flow * (wet.mixed - wet.leaving)
    return Coils(
        mixed=mixed,
        preheat_btuh=preheat,
        entering_f=entering,
        leaving_f=leaving,
        wet=wet,
        entering_wb_f=wb,
        sensible_btuh=sensible,
        latent_btuh=latent,
        capacity_btuh=capacity,
    )


def supply_heating_mode(unit: Unit) -> str:
    """``air_handler.supply_heating``, or ``none`` where the coil has no source of heat."""
    if unit.preheat.type == "same" and unit.heating.type == "none":
        return "none"
    return unit.air_handler.supply_heating


def short_f(unit: Unit, a: Air, mat_f):
    """How far the air before the fan, mixed and heated as the mode allows, is above what the supply temperature needs.
    (R,) [degF]

    Negative where the supply temperature cannot be held because the mixed air is too cold.
    """
    heated = mat_f
    if supply_heating_mode(unit) == "own_setpoint":
        heated = np.maximum(mat_f, unit.air_handler.supply_heating_setpoint_f)
    return heated + a.rise_f - a.sat_f


def _excess_btuh(unit: Unit, c, loads: ZoneLoads, a: Air, oa_least_cfm):
    """Load of the cooling coil beyond its capacity while outdoor air does all it can. (R,) [Btu/h]

    Negative also where mixed air is colder than the supply temperature needs: then by the sensible
    load below none.
    """
    fs = loads.fs
    if unit.economizer.stuck_frac is not None:
        x = _stuck_frac(unit, a, oa_least_cfm)
    else:
        allowed = _economizer_allowed(unit, c, loads, a)
        if not unit.economizer.integrated:
            # Without capacity the air rises until outdoor air does it alone; with some the coil works at minimum
            # outdoor air.
            allowed = allowed & _no_capacity(unit, c)
        x = np.where(allowed, np.maximum(unit.outdoor_air.maximum_frac, a.oa_min_frac), a.oa_min_frac)
    mat = a.rat_f + x * (c.oat_f - a.rat_f)
    at = coils_of(unit, c, loads, a, ah.MixedAir(oa_frac=x, mat_f=mat, economizing=x > a.oa_min_frac))
    return fs * a.flow * (mat - (a.sat_f - a.rise_f)) + at.latent_btuh - at.capacity_btuh


def _no_capacity(unit: Unit, c):
    """Rows in which the plant gives nothing whatever the coil's state. (R,) bool"""
    at = cooling_capacity_kbtuh(unit.cooling, unit.cooling_tons, c.oat_f, c.oawb_f, np.full(c.oat_f.shape, 67.0))
    return np.broadcast_to(at, c.oat_f.shape) <= 0.0


class Floating:
    """Supply air temperatures of rows that float, found once for a pressure strategy.

    They do not depend on the supply setpoint, so that trials of many setpoints share them.
    Arrays (R,), NaN where not yet found. [degF]
    """

    def __init__(self, rows: int):
        self.low_f = np.full(rows, np.nan)
        self.high_f = np.full(rows, np.nan)

    def take(self, index) -> Floating:
        """What is known of rows with these positions."""
        some = Floating(0)
        some.low_f, some.high_f = self.low_f[index], self.high_f[index]
        return some

    def learn(self, other: Floating, rows: slice) -> None:
        """Add what is known of these rows of another, where nothing is known here."""
        for own, found in ((self.low_f, other.low_f), (self.high_f, other.high_f)):
            np.copyto(own, found[rows], where=np.isnan(own))


def evaluate(
    unit: Unit,
    conditions,
    loads: ZoneLoads,
    sat_set_f,
    dsp_set_inwc,
    *,
    resets_pressure=True,
    dsp_of_sat=None,
    oa_least_cfm=None,
    floating: Floating | None = None,
) -> RowState:
    """Energy, temperatures and counts of every running row.

    Parameters
    ----------
    unit : Unit
    conditions : Conditions, R rows with ``fan_on`` = 1
    loads : ZoneLoads
        From ``zone_loads(unit, conditions)``.
    sat_set_f, dsp_set_inwc : ndarray (R,)
        Setpoints of the candidate; pressure as it is at ``sat_set_f``. [degF, in. w.c.]
    resets_pressure : bool
        Which published fan curve applies, if those are used.
    dsp_of_sat : callable, optional
        Duct pressure setpoint (R,) for ``(conditions, loads, sat_f)``: what the pressure strategy
        asks where the supply air floats to another temperature. Without it the setpoint holds. Of a unit whose numbers
        differ by row it gets that of these rows as well.
    oa_least_cfm : ndarray (R,), optional
        Outdoor air below which the minimum does not go, whatever its control: raises the minimum of
        a modulating or stuck damper, up to its largest share, and leaves the economizer as it is. [cfm]
    floating : Floating, optional
        Filled with the temperatures found, and read where they are known: only for the same unit, rows and
        pressure strategy.

    Returns
    -------
    RowState
    """
    c = conditions
    shape = c.oat_f.shape
    sat_set = np.broadcast_to(np.asarray(sat_set_f, dtype=float), shape)
    dsp_set = np.broadcast_to(np.asarray(dsp_set_inwc, dtype=float), shape)
    least = None if oa_least_cfm is None else np.broadcast_to(np.asarray(oa_least_cfm, dtype=float), shape)
    enabled = heating_enabled(unit, c.oat_f, c.fan_on)
    air = _air(unit, c, loads, sat_set, dsp_set, resets_pressure, enabled, least)
    coils = coils_of(unit, c, loads, air, mixed_air(unit, c, loads, air, least))
    none = np.zeros(shape, dtype=bool)
    low = none if supply_heating_mode(unit) == "hold" else short_f(unit, air, coils.mixed.mat_f) < -SAT_HELD_F
    load = coils.sensible_btuh + coils.latent_btuh
    high = ~low & (load - coils.capacity_btuh > CAPACITY_SLACK_FRAC * np.maximum(load, 1.0))
    state = finished(unit, c, loads, sat_set, air, coils, enabled, none)
    moved = low | high
    if not moved.any():
        return state
    rows = np.flatnonzero(moved)
    high = high[rows]
    some = _Moved(
        unit=unit.take(rows),
        conditions=c.take(rows),
        loads=loads.take(rows),
        dsp_set=dsp_set[rows],
        dsp_of_sat=dsp_of_sat,
        resets_pressure=resets_pressure,
        enabled=enabled[rows],
        oa_least_cfm=None if least is None else least[rows],
    )
    floating = Floating(len(sat_set)) if floating is None else floating
    sat = np.array(sat_set[rows])
    for which, known in ((~high, floating.low_f), (high, floating.high_f)):
        new = np.flatnonzero(which & np.isnan(known[rows]))
        if new.size:
            find = _floats_down if known is floating.low_f else _floats_up
            known[rows[new]] = find(some.take(new))
        limit = np.minimum if known is floating.low_f else np.maximum
        sat = np.where(which, limit(sat, known[rows]), sat)
    air = some.air(sat)
    coils = _closed(
        some.unit,
        some.conditions,
        some.loads,
        air,
        mixed_air(some.unit, some.conditions, some.loads, air, some.oa_least_cfm),
        high,
    )
    fixed = finished(some.unit, some.conditions, some.loads, sat_set[rows], air, coils, enabled[rows], high)
    merged = {}
    for f in fields(RowState):
        whole = np.array(getattr(state, f.name))
        whole[rows] = getattr(fixed, f.name)
        merged[f.name] = whole
    return RowState(**merged)


@dataclass(frozen=True, slots=True, kw_only=True)
class _Moved:
    """Rows whose supply temperature is looked for: what :func:`evaluate` was given, of these rows."""

    unit: Unit
    conditions: Any
    loads: ZoneLoads
    dsp_set: np.ndarray
    dsp_of_sat: Any
    resets_pressure: Any
    enabled: np.ndarray
    oa_least_cfm: np.ndarray | None

    def take(self, pick: np.ndarray) -> _Moved:
        """Some of these rows; themselves where it is all of them."""
        if len(pick) == len(self.enabled):
            return self
        return replace(
            self,
            unit=self.unit.take(pick),
            conditions=self.conditions.take(pick),
            loads=self.loads.take(pick),
            dsp_set=self.dsp_set[pick],
            enabled=self.enabled[pick],
            oa_least_cfm=None if self.oa_least_cfm is None else self.oa_least_cfm[pick],
        )

    def air(self, sat_f) -> Air:
        """Zones and air at other supply temperatures."""
        args = self.conditions, self.loads, sat_f
        if self.dsp_of_sat is None:
            dsp = self.dsp_set
        else:
            dsp = self.dsp_of_sat(*args, self.unit) if self.unit.by_row else self.dsp_of_sat(*args)
        return _air(self.unit, *args, dsp, self.resets_pressure, self.enabled, self.oa_least_cfm)


def _floats_down(moved: _Moved):
    """Supply air temperature at which mixed air, heated as far as the mode allows, gives itself. (R,) [degF]"""

    def residual(some, sat_f):
        unit, a = some.unit, some.air(sat_f)
        x = a.oa_min_frac if unit.economizer.stuck_frac is None else _stuck_frac(unit, a, some.oa_least_cfm)
        return short_f(unit, a, a.rat_f + x * (some.conditions.oat_f - a.rat_f))

    # Mixed air is no colder than outdoors, and the fan only adds to it.
    start = moved.conditions.oat_f
    if supply_heating_mode(moved.unit) == "own_setpoint":
        start = np.maximum(start, moved.unit.air_handler.supply_heating_setpoint_f)
    return floating_down_f(lambda sat_f: residual(moved, sat_f), start, *_of_some(moved, residual))


def _floats_up(moved: _Moved):
    """Supply air temperature at which the plant just carries the coil's load. (R,) [degF]"""

    def residual(some, sat_f):
        a = some.air(sat_f)
        excess = _excess_btuh(some.unit, some.conditions, some.loads, a, some.oa_least_cfm)
        return excess / (some.loads.fs * np.maximum(a.flow, 1.0))

    shape = moved.conditions.oat_f.shape
    return floating_up_f(lambda sat_f: residual(moved, sat_f), shape, *_of_some(moved, residual))


def _of_some(moved: _Moved, residual):
    """The residual of some rows alone, where many draws are rows: most of them are found after a few steps.

    Nothing for an ordinary unit: sums of other numbers of rows may round otherwise in the last digit.
    """
    if not moved.unit.by_row:
        return ()
    last, part = np.arange(len(moved.enabled)), moved

    def of_rows(pick: np.ndarray, sat_f):
        """Residual of the rows ``pick``, fewer from time to time."""
        nonlocal last, part
        if len(pick) < NARROWED_FRAC * len(last):
            part, last = part.take(np.searchsorted(last, pick)), pick
        at = np.full(len(last), UP_START_F)
        here = np.searchsorted(last, pick)
        at[here] = sat_f
        return residual(part, at)[here]

    return (of_rows,)


def _closed(unit: Unit, c, loads: ZoneLoads, a: Air, mixed: ah.MixedAir, high) -> Coils:
    """Coils of rows that float, so that balances close whatever the steps have left. ``high`` (R,) bool marks plants
    too small.

    Mixed air too cold: the outdoor-air share is the one that gives the supply temperature, a hair
    off its setting, and no economizer is at work; a coil that heats takes the hair instead. Plant too small: a wet coil
    dries just what capacity is left, and where the sensible load alone is beyond it the share gives way.
    """
    target = a.sat_f - a.rise_f
    at = coils_of(unit, c, loads, a, mixed)
    spare = np.where(high, at.capacity_btuh, 0.0)
    if supply_heating_mode(unit) == "own_setpoint":
        heats = mixed.mat_f < unit.air_handler.supply_heating_setpoint_f
    else:
        heats = np.zeros(target.shape, dtype=bool)
    # Btu/h: rounding of a load of nothing is not beyond a plant that is locked out.
    beyond = high & (at.sensible_btuh - spare > UNSERVED_FRAC * np.maximum(at.sensible_btuh, 1.0))
    moved = beyond | np.where(high, (mixed.mat_f < target) & (spare <= 0.0), ~heats)
    carried = np.where(beyond, spare, 0.0)
    wanted = target + carried / (loads.fs * np.where(a.flow > 0.0, a.flow, 1.0))
    x = np.where(moved, _share_for(c, a, wanted, mixed.oa_frac), mixed.oa_frac)
    at = coils_of(
        unit,
        c,
        loads,
        a,
        ah.MixedAir(oa_frac=x, mat_f=a.rat_f + x * (c.oat_f - a.rat_f), economizing=mixed.economizing & high),
    )
    left = np.clip(at.latent_btuh, 0.0, np.maximum(spare - at.sensible_btuh, 0.0))
    less = high & (at.latent_btuh - left > UNSERVED_FRAC * np.maximum(at.latent_btuh, 1.0))
    latent = np.where(less, left, at.latent_btuh)
    wet = ah.moisture_of_latent(
        loads.fl, a.flow, loads.infiltration_cfm, x, c.humidity_ratio, loads.latent_btuh, latent, at.wet.wet_frac
    )
    wet = ah.Moisture(
        **{f.name: np.where(less, getattr(wet, f.name), getattr(at.wet, f.name)) for f in fields(ah.Moisture)}
    )
    return replace(at, latent_btuh=latent, wet=wet, capacity_btuh=np.where(high, spare, at.capacity_btuh))


def finished(unit: Unit, c, loads: ZoneLoads, sat_set, a: Air, p: Coils, enabled, short_of_cooling) -> RowState:
    """Plant, cost and counts of rows."""
    zones = a.zones if isinstance(a.zones, ZoneSums) else zone_sums(unit, loads, a.zones)
    # What the plant cannot give is no load of the coil: it has a column of its own.
    excess = p.sensible_btuh + p.latent_btuh - p.capacity_btuh
    unserved = np.where(excess > UNSERVED_FRAC * np.maximum(p.sensible_btuh + p.latent_btuh, 1.0), excess, 0.0)
    sensible = p.sensible_btuh - unserved
    served = load = np.maximum(sensible + p.latent_btuh, 0.0)
    running = np.ones_like(load)
    cool = cooling_power(unit.cooling, unit.cooling_tons, served / 1000.0, running, c.oat_f, c.oawb_f, p.entering_wb_f)
    reheat = zones.reheat_btuh / 1000.0
    preheat = p.preheat_btuh / 1000.0
    heat, preheat_source = heat_sources(unit, reheat, preheat, enabled, c.oat_f)
    relief_kw = (
        fans.secondary_fan_kw(unit, np.maximum(p.mixed.oa_frac * a.flow, 0.0))
        if unit.return_fan.type == "relief"
        else a.return_kw
    )
    rates = {
        "fan_kw": a.fan.kw,
        "return_fan_kw": relief_kw,
        "cooling_kw": cool.compressor_kw,
        "pump_tower_kw": cool.pump_tower_kw + heat.pump_kw + preheat_source.pump_kw,
        "heating_kw": heat.electric_kw + preheat_source.electric_kw,
        "fuel_thermh": heat.fuel_thermh + preheat_source.fuel_thermh,
        "purchased_cooling_kbtuh": cool.purchased_kbtuh,
        "purchased_heating_kbtuh": heat.purchased_kbtuh + preheat_source.purchased_kbtuh,
    }

    limit_w = humidity_ratio_from_dewpoint(unit.air_handler.humid_dewpoint_f, c.pressure_psia)
    oa_cfm = p.mixed.oa_frac * a.flow
    dx = unit.cooling.type == "direct_expansion"
    return RowState(
        sat_set_f=sat_set,
        sat_f=a.sat_f,
        dsp_set_inwc=a.dsp_set_inwc,
        dsp_inwc=a.fan.dsp_inwc,
        dsp_held_inwc=a.dsp_held_inwc,
        requested_cfm=zones.requested_cfm,
        ceiling_frac=a.ceiling_frac,
        room_flow_cfm=a.room_flow,
        leakage_cfm=a.leak,
        flow_cfm=a.flow,
        fan_total_inwc=a.fan.total_inwc,
        fan_speed_frac=a.fan.speed_frac,
        fan_rise_f=a.rise_f,
        room_mean_f=a.room_mean_f,
        rat_f=a.rat_f,
        oa_min_frac=a.oa_min_frac,
        oa_frac=p.mixed.oa_frac,
        oa_cfm=oa_cfm,
        mat_f=p.mixed.mat_f,
        coil_leaving_f=p.leaving_f,
        coil_entering_f=p.entering_f,
        coil_entering_wb_f=p.entering_wb_f,
        room_humidity_ratio=p.wet.room,
        mixed_humidity_ratio=p.wet.mixed,
        leaving_humidity_ratio=p.wet.leaving,
        cooling_sensible_kbtuh=sensible / 1000.0,
        cooling_latent_kbtuh=p.latent_btuh / 1000.0,
        cooling_kbtuh=load / 1000.0,
        cooling_capacity_kbtuh=p.capacity_btuh / 1000.0,
        unserved_kbtuh=unserved / 1000.0,
        preheat_kbtuh=preheat,
        reheat_kbtuh=reheat,
        heat_unserved_kbtuh=heat.unserved_kbtuh + preheat_source.unserved_kbtuh,
        **rates,
        electricity_kw=sum(rates[name] for name in ELECTRIC_RATES),
        cost_usd_h=cost_rate_usd_h(rates, prices_at(unit.prices, c.rate_period)),
        unmet_zones=zones.unmet_zones,
        unmet_degrees=zones.unmet_degrees,
        cold_zones=zones.cold_zones,
        starved_zones=zones.starved_zones,
        ventilation_short_zones=zones.ventilation_short_zones,
        reheating_zones=zones.reheating_zones,
        humid=((p.wet.room > limit_w) & (c.occupied > 0.0)).astype(float),
        airflow_ceiling=a.at_ceiling.astype(float),
        oa_short=(oa_cfm < 0.98 * ah.required_oa_cfm(unit, c.occupied, loads.oa_people_cfm)).astype(float),
        economizing=p.mixed.economizing.astype(float),
        minimum_speed=a.fan.at_minimum.astype(float),
        capacity_limited=short_of_cooling.astype(float),
        freeze=(p.mixed.mat_f < unit.air_handler.freeze_limit_f).astype(float),
        low_flow=((a.flow < unit.cooling.dx_minimum_flow_frac * unit.design_cfm) & (load > 0.0)).astype(float)
        if dx
        else np.zeros_like(load),
        stage_cycling=((load > 0.0) & (load < p.capacity_btuh / unit.cooling.stages)).astype(float)
        if dx
        else np.zeros_like(load),
        cold_dx=((a.sat_f < unit.cooling.dx_minimum_sat_f) & (load > LEAST_COOLING_BTUH)).astype(float)
        if dx
        else np.zeros_like(load),
        economizer_cooling=(p.mixed.economizing & (load > LEAST_COOLING_BTUH)).astype(float),
    )


def heat_sources(unit: Unit, reheat_kbtuh, preheat_kbtuh, enabled, oat_f):
    """Energy of reheat and supply heating at their sources.

    One source for both when ``preheat.type = same``; else two, each with its own load.

    Returns
    -------
    HeatingPower of the terminals' source (with supply heating when shared), and of the
    supply heating source (nothing when shared).
    """
    preheats = (preheat_kbtuh > LEAST_PREHEAT_KBTUH).astype(float)
    if unit.preheat.type == "same":
        active = np.maximum(enabled, preheats)
        both = heating_power(unit.heating, unit.heating_kbtuh, reheat_kbtuh + preheat_kbtuh, active, oat_f)
        nothing = np.zeros(np.shape(reheat_kbtuh))
        return both, HeatingPower(nothing, nothing, nothing, nothing, nothing)
    return (
        heating_power(unit.heating, unit.heating_kbtuh, reheat_kbtuh, enabled, oat_f),
        heating_power(preheat_source(unit.preheat, unit.heating), unit.preheat_kbtuh, preheat_kbtuh, preheats, oat_f),
    )


def zones_of(unit: Unit, conditions, loads: ZoneLoads, state: RowState) -> ZoneState:
    """Zone by zone what evaluated rows are made of (not kept, to save memory)."""
    enabled = heating_enabled(unit, conditions.oat_f, conditions.fan_on)
    requested = requested_flow_cfm(unit, loads, state.sat_f, enabled)
    return zone_state(unit, loads, state.sat_f, state.dsp_held_inwc, requested, enabled)


def balance_error_btuh(unit: Unit, conditions, loads: ZoneLoads, state: RowState):
    """Heat balance of rooms, plenum and air handler, from reported columns. [Btu/h] (R,)

    Gains of rooms and plenum, fans, coils, outdoor air and duct gain from outside, and what the plant
    could not give, must sum to nothing; independent of how the row was computed. Needs the zones' temperatures, so it
    evaluates the terminals again at the reported supply temperature and duct pressure.
    """
    z = unit.zones
    zones = zones_of(unit, conditions, loads, state)
    envelope = (loads.gains_btuh + loads.ua_btuh_f * (conditions.oat_f[:, None] - zones.room_f)) @ z.multiplier
    outside_duct = 0.0
    if unit.air_handler.duct_gain_from == "outside":
        outside_duct = loads.fs * state.room_flow_cfm * unit.air_handler.duct_gain_f
    fan_heat = loads.fs * state.flow_cfm * state.fan_rise_f
    return_heat = 1000.0 * BTU_PER_WH * state.return_fan_kw if unit.return_fan.type == "return" else 0.0
    outdoor = loads.fs * state.oa_frac * state.flow_cfm * (conditions.oat_f - state.rat_f)
    return (
        envelope
        + loads.plenum_btuh
        + outside_duct
        + fan_heat
        + return_heat
        + outdoor
        + 1000.0 * (state.reheat_kbtuh + state.preheat_kbtuh - state.cooling_sensible_kbtuh - state.unserved_kbtuh)
    )


def moisture_error_btuh(unit: Unit, conditions, loads: ZoneLoads, state: RowState):
    """Moisture balance of rooms and coil from reported columns, as latent heat. [Btu/h] (R,)"""
    exchange = loads.fl * (state.oa_frac * state.flow_cfm + loads.infiltration_cfm)
    return (
        loads.latent_btuh
        + exchange * (conditions.humidity_ratio - state.room_humidity_ratio)
        - 1000.0 * state.cooling_latent_kbtuh
    )
