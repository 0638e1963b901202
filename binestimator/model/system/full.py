"""Zones that get all the air they ask for: what many candidates at the same supply temperature share."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from ...dataclass import dataclass
from .. import fan as fans
from ..loads import ZoneLoads
from ..terminals import (
    available_flow_cfm,
    open_flow_cfm,
    rationed_dsp_inwc,
    requested_flow_cfm,
    rooms_at,
    zone_state,
)
from ..unit import Unit, rows_of
from .states import ZoneSums, sums_alone, zone_sums

# Rows are worked out apart from the others when they are so few; more take longer to pick than to work out. [share]
MOST_APART_FRAC = 0.6
#: Fields of a unit that ``terminals.zone_state`` goes by, beside loads and requested airflow.
_OF_ROOMS = ("open_cfm", "zones.reheat_btuh", "zones.reheat_rise_max_f", "air_handler.duct_gain_f")


@dataclass(frozen=True, slots=True, kw_only=True)
class FullSupply:
    """Zones that get the airflow they ask for at a supply air temperature.

    ``requested_cfm``, ``room_f`` (R, Z) · ``root`` (R,) root of the duct pressure below which some zone is starved
    [sqrt(in. w.c.)] · ``sums`` of zones, without counts.
    """

    requested_cfm: np.ndarray
    room_f: np.ndarray
    root: np.ndarray
    sums: ZoneSums


def full_supply(unit: Unit, loads: ZoneLoads, sat_f, reheat_on) -> FullSupply:
    """Zones at a supply temperature where the duct pressure starves none, whatever it is. ``loads.known`` keeps it."""
    assert loads.known is not None, "of loads that keep what is found"
    return loads.known.of(lambda: _full_supply(unit, loads, sat_f, reheat_on), "full", sat_f, reheat_on)


def _full_supply(unit: Unit, loads: ZoneLoads, sat_f, reheat_on) -> FullSupply:
    requested = requested_flow_cfm(unit, loads, sat_f, reheat_on)
    room, reheat = rooms_at(unit, loads, sat_f, requested, reheat_on)
    return FullSupply(
        requested_cfm=requested,
        room_f=room,
        root=(requested / open_flow_cfm(unit)).max(axis=1),
        sums=sums_alone(unit, requested, requested, room, reheat),
    )


def starved_rows(full: FullSupply, dsp_inwc) -> np.ndarray:
    """Rows in which a duct pressure (R,) starves a zone. (N,) positions"""
    return np.flatnonzero(np.sqrt(np.maximum(dsp_inwc, 0.0)) < full.root)


def air_from_full(unit: Unit, loads: ZoneLoads, sat_f, dsp_set, reheat_on, leak_at):
    """Sums of zones at a duct pressure, and what ``rationed_dsp_inwc`` gives: pressure, share, rows at the ceiling.

    Rows whose duct pressure starves no zone have the sums of full supply; the others are worked out.
    """
    full = full_supply(unit, loads, sat_f, reheat_on)
    mult, sums, asked = unit.zones.multiplier, full.sums, full.requested_cfm
    taken = sums.flow_cfm
    standing = fans.standing_dsp_inwc(unit, taken + leak_at(dsp_set), dsp_set)
    some = _apart(starved_rows(full, standing), len(taken))
    if some is not None:
        taken = np.array(taken)
        passes = available_flow_cfm(unit.take(some, _OF_ROOMS), standing[some])
        taken[some] = np.minimum(rows_of(asked, some), passes) @ mult
    dsp, share, binds = rationed_dsp_inwc(unit, asked, standing, leak_at, taken)
    some = _apart(starved_rows(full, dsp), len(taken))
    if some is not None:
        here, of = unit.take(some, _OF_ROOMS), loads.take(some)
        zones = zone_state(here, of, sat_f[some], dsp[some], rows_of(asked, some), reheat_on[some])
        found, changed = zone_sums(here, of, zones), {}
        for name in ("flow_cfm", "room_cfm_f", "reheat_btuh"):
            whole = np.array(getattr(sums, name))
            whole[some] = getattr(found, name)
            changed[name] = whole
        sums = replace(sums, **changed)
    return sums, dsp, share, binds


def _apart(rows: np.ndarray, count: int):
    """Rows to be worked out: these, all where they are many, None where there are none."""
    if not rows.size:
        return None
    return slice(None) if rows.size > MOST_APART_FRAC * count else rows
