"""Supply air as mixed air and plant can hold it at a time step, and the energy of an hour of steps.

The same air side as in rows (``model.system``), at the airflows and room temperatures that loops and rooms have come
to: the return air is what rooms were at the start of the step, so that nothing is circular.
"""

from __future__ import annotations

from dataclasses import fields, replace

import numpy as np

from ..dataclass import dataclass
from ..model import system
from ..model.system import Air, Coils
from ..model.unit import Unit

# Rounds in which the supply air rises to what the plant can carry; each brings the excess down to the share that
# moisture takes of it.
CAPACITY_ROUNDS = 3


def taken(record, index):
    """The rows of a record of arrays with these positions along the first axis; numbers are the same in all."""
    return type(record)(
        **{
            f.name: value[index] if isinstance(value := getattr(record, f.name), np.ndarray) else value
            for f in fields(record)
        }
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class Outdoors:
    """What the air side and setpoints read of ``Conditions``, at steps. (R,)"""

    oat_f: np.ndarray
    oawb_f: np.ndarray
    humidity_ratio: np.ndarray
    occupied: np.ndarray
    fan_on: np.ndarray
    hour_of_year: np.ndarray
    rate_period: np.ndarray
    pressure_psia: float


@dataclass(frozen=True, slots=True, kw_only=True)
class WholeLoads:
    """What the air side reads of ``ZoneLoads``: sums over all zones. (R,)"""

    latent_btuh: np.ndarray
    plenum_btuh: np.ndarray
    infiltration_cfm: np.ndarray
    oa_people_cfm: np.ndarray
    fs: float
    fl: float


def not_held(unit: Unit, c, loads, air: Air) -> tuple[Coils, np.ndarray]:
    """Coils, and the rows whose supply temperature cannot be held. (R,) bool"""
    mixed = system.mixed_air(unit, c, loads, air, None)
    coils = system.coils_of(unit, c, loads, air, mixed)
    return coils, _too_cold(unit, air, mixed) | _beyond(coils, air)


def held(unit: Unit, c, loads, air: Air) -> tuple[np.ndarray, np.ndarray]:
    """Supply temperature that can be held, and the rows that are short of cooling. (R,), (R,) bool

    Mixed air too cold without heat: the supply air falls to it. Load beyond the plant: the supply air rises until the
    coil carries what there is.
    """
    mixed = system.mixed_air(unit, c, loads, air, None)
    cold = _too_cold(unit, air, mixed)
    if cold.any():
        air = replace(air, sat_f=air.sat_f + np.where(cold, system.short_f(unit, air, mixed.mat_f), 0.0))
    coils = system.coils_of(unit, c, loads, air, mixed)
    high = _beyond(coils, air)
    if not high.any():
        return air.sat_f, high
    for _ in range(CAPACITY_ROUNDS):
        load = coils.sensible_btuh + coils.latent_btuh
        excess = np.maximum(load - coils.capacity_btuh, 0.0)
        # Latent load is taken to fall with the sensible one.
        per_f = air.flow * loads.fs * load / np.maximum(coils.sensible_btuh, 1.0)
        air = replace(air, sat_f=air.sat_f + np.where(high, excess / np.where(per_f > 0.0, per_f, 1.0), 0.0))
        coils = system.coils_of(unit, c, loads, air, system.mixed_air(unit, c, loads, air, None))
    return air.sat_f, high


def _too_cold(unit: Unit, air: Air, mixed) -> np.ndarray:
    """Where mixed air is too cold for the setpoint and is not heated enough. (R,) bool"""
    if system.supply_heating_mode(unit) == "hold":
        return np.zeros(air.flow.shape, dtype=bool)
    return (system.short_f(unit, air, mixed.mat_f) < -system.SAT_HELD_F) & (air.flow > 0.0)


def _beyond(coils: Coils, air: Air) -> np.ndarray:
    """Where the coil's load is beyond the plant. (R,) bool"""
    load = coils.sensible_btuh + coils.latent_btuh
    return (load - coils.capacity_btuh > system.CAPACITY_SLACK_FRAC * np.maximum(load, 1.0)) & (air.flow > 0.0)
