"""Terminals: airflow each zone asks for, gets and needs, and the reheat it takes.

Left to right without iteration: requested flow from the loads and supply temperature;
the fan's airflow ceiling; what the duct pressure can push through an open damper; then
room temperature and reheat at the flow that arrives.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from .loads import ZoneLoads
from .unit import Unit


@dataclass(frozen=True, slots=True, kw_only=True)
class ZoneState:
    """Rows R by zones Z, one zone's values (not times its multiplier).

    ``requested_cfm`` what the zone controller asks · ``ceiling_frac`` (R,) share of the
    request that the fan can give · ``available_cfm`` what duct pressure can push through an
    open damper · ``flow_cfm`` what arrives · ``room_f`` room temperature ·
    ``reheat_btuh`` terminal heat · ``starved`` flow cut by duct pressure (bool) ·
    ``ventilation_short`` flow below the minimum (bool).
    """

    requested_cfm: np.ndarray
    ceiling_frac: np.ndarray
    available_cfm: np.ndarray
    flow_cfm: np.ndarray
    room_f: np.ndarray
    reheat_btuh: np.ndarray
    starved: np.ndarray
    ventilation_short: np.ndarray


# Shortfalls below this share of the request are rounding, not starvation.
FLOW_TOLERANCE_FRAC = 1e-6


def zone_supply_f(unit: Unit, sat_f):
    """Supply air temperature as it reaches the terminals, with duct gain. [degF]"""
    return np.asarray(sat_f, dtype=float) + unit.air_handler.duct_gain_f


def cooling_flow_cfm(unit: Unit, loads: ZoneLoads, sat_f):
    """Airflow that holds each room at its cooling setpoint, without the limits of its terminal. (R, Z) [cfm]

    ``q(Tcool) / (fs (Tcool - SATz))``; infinite where the supply air is not colder than the
    cooling setpoint and the room needs cooling, at most 0 where it needs none.
    """
    drop = loads.fs * (loads.cool_f - zone_supply_f(unit, sat_f)[:, None])
    q = loads.q_cool_btuh
    return np.where(drop > 0.0, q / np.where(drop > 0.0, drop, 1.0), np.where(q > 0.0, np.inf, 0.0))


def requested_flow_cfm(unit: Unit, loads: ZoneLoads, sat_f, reheat_on=1.0):
    """Airflow that each zone controller asks for at a supply air temperature. [cfm]

    Parameters
    ----------
    sat_f : ndarray (R,)
        Supply air temperature leaving the air handler. [degF]
    reheat_on : float or ndarray (R,)
        1 where the heating plant is enabled.

    Returns
    -------
    ndarray (R, Z)

    Notes
    -----
    Cooling: that of :func:`cooling_flow_cfm` between minimum and maximum. A zone heats where
    the minimum flow would take it below its heating setpoint; with the dual maximum law
    the flow then rises as ``-q(Theat) / (fs dTmax)``. Never falls as SAT rises.
    """
    zones = unit.zones
    satz = zone_supply_f(unit, sat_f)[:, None]
    requested = np.clip(cooling_flow_cfm(unit, loads, sat_f), loads.min_cfm, zones.max_cfm)
    if zones.dual_maximum.any():
        heats = heating_need_btuh(loads, loads.min_cfm, satz) > 0.0
        raised = np.clip(-loads.q_heat_btuh / (loads.fs * zones.reheat_rise_max_f),
                         np.maximum(zones.heat_min_cfm, loads.min_cfm),
                         np.maximum(zones.heat_max_cfm, loads.min_cfm))
        on = np.broadcast_to(np.asarray(reheat_on, dtype=float).reshape(-1, 1) > 0.0, heats.shape)
        requested = np.where(heats & zones.dual_maximum & zones.has_reheat & on, raised, requested)
    return requested


def heating_need_btuh(loads: ZoneLoads, flow_cfm, satz_f):
    """Terminal heat that holds the heating setpoint at a flow; negative when none is needed. [Btu/h]"""
    return loads.fs * flow_cfm * (loads.heat_f - satz_f) - loads.q_heat_btuh


def available_flow_cfm(unit: Unit, dsp_inwc):
    """Airflow that duct pressure can push through each open damper. [cfm]

    ``Vmax sqrt(DSP / (DSP_index k))``, (R, Z): the zone's run takes the share k of the index
    run's pressure at its own design flow, and turbulent flow goes with the root of pressure.
    """
    pressure = np.maximum(np.asarray(dsp_inwc, dtype=float), 0.0)[:, None]
    return unit.zones.max_cfm * np.sqrt(pressure / (unit.index_dsp_inwc * unit.zones.index_share))


def zone_state(unit: Unit, loads: ZoneLoads, sat_f, dsp_inwc, requested_cfm, ceiling_frac, reheat_on=1.0) -> ZoneState:
    """Airflow, room temperature and reheat of every zone.

    Parameters
    ----------
    sat_f, dsp_inwc : ndarray (R,)
        Supply air temperature and the duct pressure that really stands. [degF, in. w.c.]
    requested_cfm : ndarray (R, Z)
        From :func:`requested_flow_cfm`.
    ceiling_frac : ndarray (R,)
        Share of all requests that the fan can give.
    reheat_on : float or ndarray (R,)
        1 where the heating plant is enabled.

    Notes
    -----
    Room balance ``Tz = (gains + UA OAT + fs V SATz + reheat) / (UA + fs V)``; between its
    setpoints the room floats. Reheat is the least of need, coil and the discharge limit.
    A room with neither flow nor conductance has no balance and is given its cooling setpoint.
    """
    zones = unit.zones
    satz = zone_supply_f(unit, sat_f)[:, None]
    available = available_flow_cfm(unit, dsp_inwc)
    from_fan = requested_cfm * ceiling_frac[:, None]
    flow = np.minimum(from_fan, available)
    air = loads.fs * flow
    need = air * (loads.heat_f - satz) - loads.q_heat_btuh
    discharge = air * np.maximum(loads.heat_f + zones.reheat_rise_max_f - satz, 0.0)
    on = np.asarray(reheat_on, dtype=float).reshape(-1, 1)
    reheat = np.clip(np.minimum(np.minimum(need, discharge), zones.reheat_btuh * on), 0.0, None)
    conductance = loads.ua_btuh_f + air
    # From the balance about the cooling setpoint: exact there, no large numbers subtracted.
    surplus = loads.q_cool_btuh - air * (loads.cool_f - satz) + reheat
    room = loads.cool_f + surplus / np.where(conductance > 0.0, conductance, np.inf)
    return ZoneState(
        requested_cfm=requested_cfm,
        ceiling_frac=ceiling_frac,
        available_cfm=available,
        flow_cfm=flow,
        room_f=room,
        reheat_btuh=reheat,
        starved=available < from_fan * (1.0 - FLOW_TOLERANCE_FRAC),
        ventilation_short=flow < loads.min_cfm * (1.0 - FLOW_TOLERANCE_FRAC),
    )
