"""Terminals: airflow each zone asks for, gets and needs, and the reheat it takes.

Left to right without iteration: requested flow from the loads and supply temperature;
what the duct pressure can push through an open damper, at the pressure that is left where
the fan has come to its airflow ceiling; then room temperature and reheat at the flow that
arrives.
"""

from __future__ import annotations

import numpy as np

from ..dataclass import dataclass
from .loads import ZoneLoads
from .unit import Unit, beside_zones, rows_by_zones, rows_of


@dataclass(frozen=True, slots=True, kw_only=True)
class ZoneState:
    """Rows R by zones Z, one zone's values (not times its multiplier).

    ``requested_cfm`` what the zone controller asks · ``available_cfm`` what duct pressure can push through an
    open damper · ``flow_cfm`` what arrives · ``room_f`` room temperature ·
    ``reheat_btuh`` terminal heat · ``starved`` flow cut by duct pressure (bool) ·
    ``ventilation_short`` flow below the minimum (bool).
    """

    requested_cfm: np.ndarray
    available_cfm: np.ndarray
    flow_cfm: np.ndarray
    room_f: np.ndarray
    reheat_btuh: np.ndarray
    starved: np.ndarray
    ventilation_short: np.ndarray


# Shortfalls below this share of the request are rounding, not starvation.
FLOW_TOLERANCE_FRAC = 1e-6
# A room this far below its heating setpoint at the cooling minimum has the whole heating minimum of the
# dual maximum law; between, the flow rises in proportion. Proportional band of a room's loop (assumption). [degF]
HEATING_RAMP_F = 1.0
# Newton rounds for the leakage at the pressure that the fan's ceiling leaves; exact from the first where leakage goes
# with the root of pressure.
LEAKAGE_ROUNDS = 4
# An airflow above the fan's ceiling by less is rounding. [share]
CEILING_SLACK_FRAC = 1e-12
# Rows times zones of rooms that are worked on at once.
ROOMS_AT_ONCE = 18_000
_NOT_COUNTED = np.zeros((0, 0), dtype=bool)


def zone_supply_f(unit: Unit, sat_f):
    """Supply air temperature as it reaches the terminals, with duct gain. [degF]"""
    return np.asarray(sat_f, dtype=float) + unit.air_handler.duct_gain_f


def cooling_flow_cfm(unit: Unit, loads: ZoneLoads, sat_f):
    """Airflow that holds each room at its cooling setpoint, without the limits of its terminal. (R, Z) [cfm]

    ``q(Tcool) / (fs (Tcool - SATz))``; infinite where the supply air is not colder than the
    cooling setpoint and the room needs cooling, at most 0 where it needs none.
    """
    if loads.known is not None and not loads.known.full:
        return loads.known.of(lambda: _cooling_flow_cfm(unit, loads, sat_f), "cooling", sat_f)
    return _cooling_flow_cfm(unit, loads, sat_f)


def _cooling_flow_cfm(unit: Unit, loads: ZoneLoads, sat_f):
    drop = loads.cool_f - zone_supply_f(unit, sat_f)[:, None]
    drop *= loads.fs
    q = loads.q_cool_btuh
    cold = drop > 0.0
    if cold.all():
        return q / drop
    return np.where(cold, q / np.where(cold, drop, 1.0), np.where(q > 0.0, np.inf, 0.0))


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
    the flow then rises as ``-q(Theat) / (fs dTmax)``, from a heating minimum that is reached
    over ``HEATING_RAMP_F`` of room temperature, so that flow does not jump where heating starts.
    """
    if loads.known is not None:
        on = np.asarray(reheat_on, dtype=float) if unit.zones.dual_maximum.any() else None
        return loads.known.of(lambda: _requested_flow_cfm(unit, loads, sat_f, reheat_on), "requested", sat_f, on)
    return _requested_flow_cfm(unit, loads, sat_f, reheat_on)


def _requested_flow_cfm(unit: Unit, loads: ZoneLoads, sat_f, reheat_on):
    zones = unit.zones
    satz = zone_supply_f(unit, sat_f)[:, None]
    requested = np.maximum(cooling_flow_cfm(unit, loads, sat_f), loads.min_cfm)
    np.minimum(requested, zones.max_cfm, out=requested)
    if zones.dual_maximum.any():
        need = heating_need_btuh(loads, loads.min_cfm, satz)
        band = (loads.ua_btuh_f + loads.fs * loads.min_cfm) * HEATING_RAMP_F
        share = np.clip(need / np.where(band > 0.0, band, 1.0), 0.0, 1.0)
        least = loads.min_cfm + share * np.maximum(zones.heat_min_cfm - loads.min_cfm, 0.0)
        raised = np.clip(
            -loads.q_heat_btuh / (loads.fs * zones.reheat_rise_max_f),
            least,
            np.maximum(zones.heat_max_cfm, loads.min_cfm),
        )
        on = np.broadcast_to(np.asarray(reheat_on, dtype=float).reshape(-1, 1) > 0.0, need.shape)
        requested = np.where((need > 0.0) & zones.dual_maximum & zones.has_reheat & on, raised, requested)
    return requested


def heating_need_btuh(loads: ZoneLoads, flow_cfm, satz_f):
    """Terminal heat that holds the heating setpoint at a flow; negative when none is needed. [Btu/h]"""
    return loads.fs * flow_cfm * (loads.heat_f - satz_f) - loads.q_heat_btuh


def open_flow_cfm(unit: Unit):
    """Airflow that each open damper passes at one inch of duct pressure. (Z,) [cfm/sqrt(in. w.c.)]

    The zone's run takes the share k of the index run's pressure at its own design flow, and
    turbulent flow goes with the root of pressure: ``Vmax sqrt(DSP / (DSP_index k))``.
    """
    if unit.open_cfm is not None:
        return unit.open_cfm
    return unit.zones.max_cfm / np.sqrt(beside_zones(unit.index_dsp_inwc) * unit.zones.index_share)


def available_flow_cfm(unit: Unit, dsp_inwc):
    """Airflow that duct pressure can push through each open damper. (R, Z) [cfm]"""
    return rows_by_zones(np.sqrt(np.maximum(np.asarray(dsp_inwc, dtype=float), 0.0)), open_flow_cfm(unit))


def rationed_dsp_inwc(unit: Unit, requested_cfm, dsp_inwc, leakage_cfm, full_cfm=None):
    """Duct pressure at the fan's airflow ceiling: where zones and leaks take just what the fan gives.

    Parameters
    ----------
    requested_cfm : ndarray (R, Z)
    dsp_inwc : ndarray (R,)
        Duct pressure that there would be without a ceiling. [in. w.c.]
    leakage_cfm : callable
        Leakage (R,) at a duct pressure (R,) [cfm]; of a unit whose numbers differ by row also the unit of these rows.
    full_cfm : ndarray (R,), optional
        What all zones take at ``dsp_inwc``, where it is known. [cfm]

    Returns
    -------
    dsp_inwc : ndarray (R,)
        The same where the ceiling does not bind. [in. w.c.]
    share : ndarray (R,)
        Airflow of all rooms over what they would take at ``dsp_inwc``; 1 where the ceiling does not bind.
    binds : ndarray (R,) bool

    Notes
    -----
    As pressure falls, zones far from the fan (large k) starve first and zones near it keep
    what they ask for: ``V = min(Vasked, a u)`` with ``u`` the root of pressure. The sum is
    concave in u and made of straight pieces, so it is the least of its tangents, and the
    root at which it meets the ceiling is the largest of theirs: exact without steps.
    Leakage, a power of pressure, is followed by its tangent at the pressure found before.
    """
    z = unit.zones
    root = np.sqrt(np.maximum(dsp_inwc, 0.0))
    known = full_cfm is not None
    full = full_cfm if known else np.minimum(requested_cfm, available_flow_cfm(unit, dsp_inwc)) @ z.multiplier
    binds = full + leakage_cfm(dsp_inwc) > unit.max_cfm * (1.0 + CEILING_SLACK_FRAC)
    share = np.ones(root.shape)
    if not binds.any():
        return dsp_inwc, share, binds
    short = unit.take(binds)
    passes, u, power = open_flow_cfm(short), root[binds], 2.0 * short.air_handler.leakage_exponent
    pieces = _ceiling_pieces(requested_cfm[binds], passes, z.multiplier)
    for _ in range(LEAKAGE_ROUNDS):
        leak = leakage_cfm(u * u, short) if unit.by_row else leakage_cfm(u * u)
        found = _largest_root(*pieces, short.max_cfm - (1.0 - power) * leak, power * leak / np.where(u > 0.0, u, 1.0))
        u = np.clip(found, 0.0, root[binds])
    found = np.array(dsp_inwc, dtype=float)
    found[binds] = u * u
    if known:
        given = np.array(full)
        given[binds] = np.minimum(rows_of(requested_cfm, binds), passes * u[:, None]) @ z.multiplier
    else:
        given = np.minimum(requested_cfm, available_flow_cfm(unit, found)) @ z.multiplier
    return found, np.where(binds, np.where(full > 0.0, given / np.where(full > 0.0, full, 1.0), 1.0), share), binds


def ceiling_root(requested_cfm, passes_cfm, multiplier, ceiling_cfm, leak_per_root):
    """Root of duct pressure at which zones and leaks together take the ceiling. (R,) [sqrt(in. w.c.)]

    Parameters
    ----------
    requested_cfm : ndarray (R, Z)
    passes_cfm : ndarray (Z,), or (R, Z) by row
        From :func:`open_flow_cfm`.
    multiplier : ndarray (Z,)
    ceiling_cfm, leak_per_root : ndarray (R,)
        What the fan gives, less leakage at no pressure by its tangent; the tangent's slope. [cfm, cfm/sqrt(in. w.c.)]
    """
    return _largest_root(*_ceiling_pieces(requested_cfm, passes_cfm, multiplier), ceiling_cfm, leak_per_root)


def _ceiling_pieces(requested_cfm, passes_cfm, multiplier) -> tuple[np.ndarray, np.ndarray]:
    """Airflow of zones that keep what they ask for, and of those that starve by root of pressure, for each number of
    zones that keep it. (R, Z + 1) each [cfm, cfm/sqrt(in. w.c.)]"""
    # Falling pressure starves those last that need least: one tangent for each number of zones that keep what they ask
    # for.
    order = np.argsort(requested_cfm / passes_cfm, axis=1, kind="stable")
    asked = np.take_along_axis(requested_cfm * multiplier, order, axis=1)
    opened = np.take_along_axis(np.broadcast_to(passes_cfm * multiplier, asked.shape), order, axis=1)
    nothing = np.zeros((len(asked), 1))
    kept = np.concatenate([nothing, np.cumsum(asked, axis=1)], axis=1)
    return kept, np.concatenate([np.cumsum(opened[:, ::-1], axis=1)[:, ::-1], nothing], axis=1)


def _largest_root(kept, starved, ceiling_cfm, leak_per_root):
    """The largest root of the tangents of :func:`_ceiling_pieces`. (R,)"""
    slope = starved + np.asarray(leak_per_root)[:, None]
    root = np.asarray(ceiling_cfm)[:, None] - kept
    rises = slope > 0.0
    if rises.all():
        root /= slope
    else:
        root = np.where(rises, root / np.where(rises, slope, 1.0), 0.0)
    return root.max(axis=1)


def zone_state(unit: Unit, loads: ZoneLoads, sat_f, dsp_inwc, requested_cfm, reheat_on=1.0) -> ZoneState:
    """Airflow, room temperature and reheat of every zone.

    Parameters
    ----------
    sat_f, dsp_inwc : ndarray (R,)
        Supply air temperature and the actual duct pressure (``rationed_dsp_inwc``). [degF, in. w.c.]
    requested_cfm : ndarray (R, Z)
        From :func:`requested_flow_cfm`.
    reheat_on : float or ndarray (R,)
        1 where the heating plant is enabled.

    Notes
    -----
    Room balance ``Tz = (gains + UA OAT + fs V SATz + reheat) / (UA + fs V)``; between its
    setpoints the room floats. Reheat is the least of need, coil and the discharge limit.
    A room with neither flow nor conductance has no balance and is given its cooling setpoint.
    """
    available = available_flow_cfm(unit, dsp_inwc)
    flow = np.minimum(requested_cfm, available)
    room, reheat = rooms_at(unit, loads, sat_f, flow, reheat_on)
    return ZoneState(
        requested_cfm=requested_cfm,
        available_cfm=available,
        flow_cfm=flow,
        room_f=room,
        reheat_btuh=reheat,
        starved=available < requested_cfm * (1.0 - FLOW_TOLERANCE_FRAC) if unit.counts else _NOT_COUNTED,
        ventilation_short=flow < loads.min_cfm * (1.0 - FLOW_TOLERANCE_FRAC) if unit.counts else _NOT_COUNTED,
    )


def rooms_at(unit: Unit, loads: ZoneLoads, sat_f, flow_cfm, reheat_on):
    """Room temperature and reheat at airflows, by the balance of :func:`zone_state`. (R, Z) each [degF, Btu/h]"""
    zones = unit.zones
    satz = zone_supply_f(unit, sat_f)[:, None]
    on = np.broadcast_to(np.asarray(reheat_on, dtype=float), (len(flow_cfm),))
    room = np.empty(flow_cfm.shape[::-1]).T
    reheat = np.empty(flow_cfm.shape[::-1]).T
    # Some zones at a time and worked in place, so that what is worked on stays near the processor: half of the time
    # otherwise.
    step = max(ROOMS_AT_ONCE // max(len(flow_cfm), 1), 1)
    for first in range(0, flow_cfm.shape[1], step):
        some = slice(first, first + step)
        heat, cool, asked = loads.heat_f[:, some], loads.cool_f[:, some], reheat[:, some]
        air = loads.fs * flow_cfm[:, some]
        np.subtract(heat, satz, out=asked)
        asked *= air
        asked -= loads.q_heat_btuh[:, some]  # what is needed
        work = heat + zones.reheat_rise_max_f[..., some]
        work -= satz
        np.maximum(work, 0.0, out=work)
        work *= air  # what the discharge limit allows
        np.minimum(asked, work, out=asked)
        np.minimum(asked, rows_by_zones(on, zones.reheat_btuh[..., some]), out=asked)
        np.maximum(asked, 0.0, out=asked)
        # From the balance about the cooling setpoint: exact there, no large numbers subtracted.
        found = room[:, some]
        np.subtract(cool, satz, out=found)
        found *= air
        np.subtract(loads.q_cool_btuh[:, some], found, out=found)
        found += asked
        np.add(loads.ua_btuh_f[:, some], air, out=work)  # conductance of envelope and air
        if not (work > 0.0).all():
            work[work <= 0.0] = np.inf
        found /= work
        found += cool
    return room, reheat
