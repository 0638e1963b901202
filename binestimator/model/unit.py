"""One air handler with its zones as arrays, every size resolved.

A :class:`Unit` is what the physics works on. ``build.build_unit`` makes it from a project and
:class:`Sizes`; sizes are inputs or are found once from the as-found run (see
``estimate.size_unit``) and then held for every candidate, so that candidates differ only
in what they change.
"""

from __future__ import annotations

from dataclasses import fields, replace
from functools import cache
from typing import Any

import numpy as np

from ..dataclass import dataclass


@dataclass(frozen=True, slots=True, kw_only=True)
class Sizes:
    """Sizes that were not given and are found once, then held.

    Parameters
    ----------
    zone_max_cfm : ndarray (Z,)
        Cooling maximum airflow of each terminal. [cfm]
    zone_reheat_btuh : ndarray (Z,)
        Reheat coil capacity of each terminal. [Btu/h]
    design_cfm : float
        Design supply airflow. [cfm]
    motor_hp : float
        Nameplate output of the supply fan motor. [hp]
    cooling_tons : float
        Rated cooling capacity. [ton]
    heating_kbtuh, preheat_kbtuh : float
        Output capacity of the heat sources of reheat and supply heating. [kBtu/h]
    """

    zone_max_cfm: np.ndarray
    zone_reheat_btuh: np.ndarray
    design_cfm: float
    motor_hp: float
    cooling_tons: float
    heating_kbtuh: float
    preheat_kbtuh: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Groups:
    """Profile groups as arrays (G,); the meaning of each is that of the input of its name."""

    names: tuple[str, ...]
    people_ft2: np.ndarray
    people_sensible_btuh: np.ndarray
    people_latent_btuh: np.ndarray
    lights_btuh_ft2: np.ndarray
    lights_plenum_frac: np.ndarray
    equipment_btuh_ft2: np.ndarray
    oa_cfm_person: np.ndarray
    oa_cfm_ft2: np.ndarray


@dataclass(frozen=True, slots=True, kw_only=True)
class Zones:
    """Zones as arrays (Z,). Areas in ft2, flows in cfm, temperatures in degF.

    ``aperture_ft2`` (Z, 4) is glass area times SHGC times shading factor by facade
    (north, east, south, west); ``roof_ft2_eq`` turns sun on the roof [Btu/h.ft2] into
    room heat. ``weight`` multiplies a zone's requests (multiplier times importance).
    ``follows_cool``, ``follows_heat``: whose occupied setpoints go by the outdoor temperature (bool).
    """

    names: tuple[str, ...]
    group: np.ndarray
    multiplier: np.ndarray
    area_ft2: np.ndarray
    gain_multiplier: np.ndarray
    ua_btuh_f: np.ndarray
    aperture_ft2: np.ndarray
    roof_ft2_eq: np.ndarray
    infiltration_cfm: np.ndarray
    max_cfm: np.ndarray
    min_cfm: np.ndarray
    min_unoccupied_cfm: np.ndarray
    dual_maximum: np.ndarray
    heat_min_cfm: np.ndarray
    heat_max_cfm: np.ndarray
    has_reheat: np.ndarray
    reheat_btuh: np.ndarray
    reheat_rise_max_f: np.ndarray
    cool_occupied_f: np.ndarray
    heat_occupied_f: np.ndarray
    cool_unoccupied_f: np.ndarray
    heat_unoccupied_f: np.ndarray
    follows_cool: np.ndarray
    follows_heat: np.ndarray
    index_share: np.ndarray
    weight: np.ndarray
    asks_temperature: np.ndarray
    asks_pressure: np.ndarray
    sat_max_f: np.ndarray

    def __len__(self) -> int:
        return len(self.names)


@dataclass(frozen=True, slots=True, kw_only=True)
class Found:
    """What was found of setpoints, less what they are: errors that draws put on as-found setpoints and overrides.

    ``sat_shift_f`` on supply air setpoints [degF] · ``dsp_factor`` of duct pressures [-].
    """

    sat_shift_f: Any = 0.0
    dsp_factor: Any = 1.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Unit:
    """Everything the physics needs of one air handler.

    Records (``air_handler``, ``fan``, …) are those of the project, documented in the
    inputs reference; the plain numbers beside them are the resolved sizes.

    Numbers may differ by row: a field named in ``by_row``, such as ``max_cfm``, ``fan.efficiency_frac`` or
    ``zones.max_cfm``, has one more axis in front, that of the rows it is used with: (R,), (R, Z) or (R, G).
    :meth:`take` gives the unit of some of the rows. Functions of the model broadcast over that axis; numbers that
    meet zones go through :func:`beside_zones`. ``open_cfm`` keeps ``terminals.open_flow_cfm`` of such rows. Without
    ``counts`` rooms that are too warm, starved and the like are not counted, nor is anything worked out that neither
    energies nor equal service are made of: draws ask for no more.
    """

    zones: Zones
    groups: Groups
    room_setpoints: Any
    air_handler: Any
    outdoor_air: Any
    economizer: Any
    fan: Any
    return_fan: Any
    cooling: Any
    heating: Any
    preheat: Any
    limits: Any
    service: Any
    prices: Any
    infiltration_running_frac: float
    design_cfm: float
    max_cfm: float
    motor_hp: float
    fan_scale: float
    index_dsp_inwc: float
    oa_minimum_cfm: float
    oa_required_cfm: float
    oa_required_by: str
    oa_area_cfm: float
    oa_position_frac: float
    cooling_tons: float
    heating_kbtuh: float
    preheat_kbtuh: float
    found: Found = Found()
    open_cfm: np.ndarray | None = None
    by_row: tuple[str, ...] = ()
    counts: bool = True

    def take(self, index, only: tuple[str, ...] = ()) -> Unit:
        """The unit of rows with these positions; itself where nothing differs by row.

        ``only`` these fields where the others are not asked for, and stay those of all rows: a night takes rows sixty
        times.
        """
        paths = [path for path in self.by_row if not only or path in only]
        if not paths or (isinstance(index, slice) and index == slice(None)):
            return self
        return with_fields(self, {path: rows_of(field_of(self, path), index) for path in paths})

    def without(self, paths) -> Unit:
        """The unit for functions that do not read these fields, which take memory where they differ by row."""
        gone = [path for path in self.by_row if path in paths]
        unit = with_fields(self, dict.fromkeys(gone, np.nan))
        return replace(unit, by_row=tuple(path for path in self.by_row if path not in gone))


def rows_of(values: np.ndarray, index) -> np.ndarray:
    """Some rows of numbers by row, in the order in memory that these have."""
    if values.ndim == 2 and isinstance(index, np.ndarray) and values.strides[0] < values.strides[1]:
        if index.dtype != bool and values.flags.f_contiguous:
            return values.T.take(index, axis=1).T
        return np.ascontiguousarray(values.T[:, index]).T
    return values[index]


def field_of(unit: Unit, path: str):
    """Value of a field by its path, such as ``fan.efficiency_frac``."""
    value: Any = unit
    for name in path.split("."):
        value = getattr(value, name)
    return value


def with_fields(unit: Unit, values) -> Unit:
    """The unit with other values of fields by their paths."""
    own: dict[str, Any] = {}
    parts: dict[str, dict[str, Any]] = {}
    for path, value in values.items():
        part, _, name = path.rpartition(".")
        if part:
            parts.setdefault(part, {})[name] = value
        else:
            own[name] = value
    own.update((part, _changed(getattr(unit, part), changes)) for part, changes in parts.items())
    return _changed(unit, own)


def _changed(record, changes: dict[str, Any]):
    """``dataclasses.replace`` of a record that checks nothing: a third of the time, where draws ask for it often."""
    new = object.__new__(type(record))
    kind: Any = type(record)
    for name in _names(kind):
        object.__setattr__(new, name, changes[name] if name in changes else getattr(record, name))
    return new


@cache
def _names(kind: Any) -> tuple[str, ...]:
    return tuple(f.name for f in fields(kind))


def number(value):
    """A float of one number; numbers by row as they are."""
    return float(value) if np.ndim(value) == 0 else np.asarray(value, dtype=float)


def beside_zones(value):
    """A number of the unit as it is, one by row (R,) as it is set beside rows and zones (R, 1)."""
    return value if np.ndim(value) == 0 else value[:, None]


def rows_by_zones(of_rows, of_zones):
    """Products of a number by row (R,) and one by zone (Z,), or (R, Z) of them. (R, Z)

    The rows of a zone lie side by side in memory, as those of loads do: arithmetic on arrays that lie otherwise takes
    several times as long.
    """
    if np.ndim(of_zones) == 1:
        return np.multiply.outer(of_zones, of_rows).T
    return of_rows[:, None] * of_zones


def damper_flow_frac(position_frac, exponent):
    """Flow through a damper as a share of the flow fully open at the same pressure.

    ``position ** exponent``: an assumption unless the characteristic is known.
    """
    return np.asarray(position_frac, dtype=float) ** exponent
