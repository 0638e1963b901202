"""Zone loads: what each room gains and loses, before any air handler decision.

:func:`zone_loads` computes once, for rows of conditions, every room quantity that does not
depend on supply air temperature or duct pressure; strategies and terminals then reuse it.
"""

from __future__ import annotations

from collections.abc import Callable, Hashable, Iterator
from dataclasses import fields, replace
from typing import Any

import numpy as np

from ..dataclass import dataclass
from ..moist_air import latent_factor_btuh_cfm_lblb, sensible_factor_btuh_cfm_f
from .unit import Unit, rows_by_zones, rows_of

#: Most rows times zones that are worked on at once: some thirty arrays of so many numbers are alive at a time.
MOST_NUMBERS_AT_ONCE = 250_000


class Known:
    """What has been found of loads, for whoever asks the same again: candidates on the same zones and rows.

    Arrays that it gives are shared: nobody may write into them. ``full`` where many options ask, so that rooms of full
    supply are worth working out; else it lasts for one evaluation, whose strategy and terminals ask for the same
    airflows.
    """

    def __init__(self, *, full: bool = True) -> None:
        self.full = full
        self._found: dict[tuple[Hashable, ...], Any] = {}

    def of(self, find: Callable[[], Any], name: str, *values) -> Any:
        """What ``find`` gives, found once for a name and values: arrays, or anything that can be compared."""
        key = (name, *(value.tobytes() if isinstance(value, np.ndarray) else value for value in values))
        if key not in self._found:
            self._found[key] = find()
        return self._found[key]


@dataclass(frozen=True, slots=True, kw_only=True)
class ZoneLoads:
    """Rows R by zones Z; one zone's values, not yet times its multiplier.

    ``gains_btuh`` sensible room gains with sun [Btu/h] · ``ua_btuh_f`` conductance with
    sensible infiltration [Btu/h.F] · ``cool_f, heat_f`` setpoints in force [degF] ·
    ``min_cfm`` minimum airflow in force [cfm] · ``q_cool_btuh, q_heat_btuh`` room load at the
    cooling and heating setpoint, positive when it needs cooling [Btu/h] ·
    ``latent_btuh`` (R,) latent gain of all rooms [Btu/h] · ``plenum_btuh`` (R,) lighting heat
    to the plenum [Btu/h] · ``infiltration_cfm`` (R,) of all rooms [cfm] ·
    ``people`` (R,) present · ``oa_people_cfm`` (R,) outdoor air asked by people present,
    before the ventilation efficiency [cfm] · ``fs, fl`` sensible and latent factors at site
    pressure [Btu/h.cfm.F, Btu/h.cfm.(lb/lb)] · ``known`` keeps what follows from loads and a supply temperature where
    many candidates ask for it, None where nothing is kept.
    """

    gains_btuh: np.ndarray
    ua_btuh_f: np.ndarray
    cool_f: np.ndarray
    heat_f: np.ndarray
    min_cfm: np.ndarray
    q_cool_btuh: np.ndarray
    q_heat_btuh: np.ndarray
    latent_btuh: np.ndarray
    plenum_btuh: np.ndarray
    infiltration_cfm: np.ndarray
    people: np.ndarray
    oa_people_cfm: np.ndarray
    fs: float
    fl: float
    known: Known | None = None

    def take(self, index, only: tuple[str, ...] = ()) -> ZoneLoads:
        """The same for chosen rows; of these nothing is kept. ``only`` these fields, as ``Unit.take``."""
        if isinstance(index, slice) and index == slice(None):
            return self
        if only:
            return replace(self, known=None, **self._rows(only, index))
        return ZoneLoads(fs=self.fs, fl=self.fl, **self._rows(_BY_ROW, index))

    def _rows(self, names, index) -> dict[str, Any]:
        return {name: rows_of(getattr(self, name), index) for name in names}

    def for_once(self) -> ZoneLoads:
        """The same, which keep airflows that zones ask for while they are evaluated once."""
        return self if self.known is not None else replace(self, known=Known(full=False))

    def by_zone(self) -> ZoneLoads:
        """The same with the rows of a zone side by side in memory: what goes over rows and zones then takes less time,
        as most of it sets a number of the row or of the zone beside them."""
        turned: dict[str, Any] = {}
        for name in self.__slots__:
            value = getattr(self, name)
            turned[name] = np.asfortranarray(value) if isinstance(value, np.ndarray) and value.ndim == 2 else value
        return ZoneLoads(**turned)


#: Fields of loads by row.
_BY_ROW = tuple(f.name for f in fields(ZoneLoads) if f.name not in ("fs", "fl", "known"))


class LoadsOnDemand:
    """Loads of rows that are worked out as they are asked for, where those of all rows and zones are too large to keep.

    Parameters
    ----------
    unit : Unit
    conditions : Conditions, R rows
    """

    def __init__(self, unit: Unit, conditions):
        self.unit, self.conditions = unit, conditions
        self.fs = sensible_factor_btuh_cfm_f(conditions.pressure_psia)

    def take(self, index, only: tuple[str, ...] = ()) -> ZoneLoads:
        """Those of chosen rows."""
        return zone_loads(self.unit, self.conditions.take(index))


def blocks(rows: int, zones: int) -> list[slice]:
    """Neighbouring rows that are worked on at once, as even in number as can be; all in one where they are few."""
    count = max(-(-rows * zones // MOST_NUMBERS_AT_ONCE), 1)
    edges = [rows * k // count for k in range(count + 1)]
    return [slice(first, last) for first, last in zip(edges, edges[1:])]


def loads_blocks(unit: Unit, conditions) -> Iterator[ZoneLoads]:
    """Room loads of rows in blocks that are worked on at once."""
    for part in blocks(len(conditions.oat_f), len(unit.zones)):
        yield zone_loads(unit, conditions.take(part))


def loads_of(unit: Unit, conditions) -> ZoneLoads | LoadsOnDemand:
    """Room loads of every zone in every row, or on demand where they are too large to keep."""
    few = len(blocks(len(conditions.oat_f), len(unit.zones))) == 1
    return zone_loads(unit, conditions) if few else LoadsOnDemand(unit, conditions)


def occupied_setpoints_f(unit: Unit, oat_f):
    """Occupied cooling and heating setpoints of rooms at outdoor temperatures (R,). (1 or R, Z) each [degF]"""
    z, rule = unit.zones, unit.room_setpoints

    def of(follows, points, fixed):
        if not follows.any():
            return fixed[None, :]
        x, y = zip(*points)
        return np.where(follows, np.interp(oat_f, x, y)[:, None], fixed)

    return (
        of(z.follows_cool, rule.cooling_points, z.cool_occupied_f),
        of(z.follows_heat, rule.heating_points, z.heat_occupied_f),
    )


def zone_loads(unit: Unit, conditions) -> ZoneLoads:
    """Room loads of every zone in every row.

    Parameters
    ----------
    unit : Unit
    conditions : Conditions, R rows

    Notes
    -----
    ``q(T) = gains + UA (OAT - T)``, UA with sensible infiltration. People, lights and
    equipment enter with the radiant share delayed (``*_gain_frac``); moisture and plenum
    heat follow the instantaneous shares.
    """
    zones, groups = unit.zones, unit.groups
    g = zones.group
    fs = sensible_factor_btuh_cfm_f(conditions.pressure_psia)
    fl = latent_factor_btuh_cfm_lblb(conditions.pressure_psia)
    area = zones.area_ft2 * zones.gain_multiplier

    people_full = area / groups.people_ft2[..., g]
    per_group = (
        conditions.people_gain_frac * (groups.people_sensible_btuh / groups.people_ft2)
        + conditions.lights_gain_frac * (groups.lights_btuh_ft2 * (1.0 - groups.lights_plenum_frac))
        + conditions.equipment_gain_frac * groups.equipment_btuh_ft2
    )
    gains = per_group[:, g] * area
    gains += _sun_btuh(conditions.glass_sun_btuh_ft2, zones.aperture_ft2)
    gains += rows_by_zones(conditions.roof_sun_btuh_ft2, zones.roof_ft2_eq)

    infiltration = rows_by_zones(conditions.infiltration_frac, zones.infiltration_cfm)
    ua = zones.ua_btuh_f + fs * infiltration
    occupied = conditions.group_occupied[:, g]
    cool_occupied, heat_occupied = occupied_setpoints_f(unit, conditions.oat_f)
    cool = zones.cool_unoccupied_f + occupied * (cool_occupied - zones.cool_unoccupied_f)
    heat = zones.heat_unoccupied_f + occupied * (heat_occupied - zones.heat_unoccupied_f)
    minimum = minimum_flow_cfm(unit, occupied)
    oat = conditions.oat_f[:, None]

    weighted = people_full * zones.multiplier
    people_by_group = _by_group(g, weighted, len(groups.names))
    lights_area = _by_group(g, area * zones.multiplier, len(groups.names))
    return ZoneLoads(
        gains_btuh=gains,
        ua_btuh_f=ua,
        cool_f=cool,
        heat_f=heat,
        min_cfm=minimum,
        q_cool_btuh=gains + ua * (oat - cool),
        q_heat_btuh=gains + ua * (oat - heat),
        latent_btuh=_of_groups(conditions.people_frac, people_by_group * groups.people_latent_btuh)
        + conditions.occupied * unit.air_handler.latent_extra_btuh,
        plenum_btuh=_of_groups(
            conditions.lights_frac, lights_area * groups.lights_btuh_ft2 * groups.lights_plenum_frac
        ),
        infiltration_cfm=infiltration @ zones.multiplier,
        people=_of_groups(conditions.people_frac, people_by_group),
        oa_people_cfm=_of_groups(conditions.people_frac, people_by_group * groups.oa_cfm_person),
        fs=fs,
        fl=fl,
    )


def minimum_flow_cfm(unit: Unit, occupied):
    """Minimum airflow in force, of zones that are occupied (R, Z) or not. (R, Z) [cfm]"""
    zones = unit.zones
    return zones.min_unoccupied_cfm + occupied * (zones.min_cfm - zones.min_unoccupied_cfm)


def _by_group(group, weights, count: int):
    """Sums of zones by group. (G,), or (R, G) of weights by row"""
    if weights.ndim == 1:
        return np.bincount(group, weights=weights, minlength=count)
    return weights @ (group[:, None] == np.arange(count)).astype(float)


def _of_groups(by_row, of_group):
    """What groups (G,) or (R, G) add up to at their shares by row (R, G). (R,)"""
    return by_row @ of_group if of_group.ndim == 1 else np.einsum("rg,rg->r", by_row, of_group)


def _sun_btuh(sun, aperture):
    """Sun through the glass of zones (Z, 4), or (D, Z, 4) of draws that follow one another. (R, Z) [Btu/h]"""
    if aperture.ndim == 2:
        return (aperture @ sun.T).T
    draws, zones, facades = aperture.shape
    return (sun.reshape(draws, -1, facades) @ aperture.transpose(0, 2, 1)).reshape(len(sun), zones)
