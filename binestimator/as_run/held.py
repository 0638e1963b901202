"""Supply air as mixed air and plant can hold it at a time step, and the energy of an hour of steps.

The same air side as in rows (``model.system``), at the airflows and room temperatures that loops and rooms have come
to: the return air is what rooms were at the start of the step, so that nothing is circular.
"""

from __future__ import annotations

from dataclasses import fields, is_dataclass, replace

import numpy as np

from ..hours import Conditions
from ..model import system
from ..model.loads import ZoneLoads
from ..model.system import Air, Coils, RowState
from ..model.unit import Unit

# Rounds in which the supply air rises to what the plant can carry; each brings the excess down to the share that
# moisture takes of it.
CAPACITY_ROUNDS = 3


def held(unit: Unit, c: Conditions, loads: ZoneLoads, air: Air) -> tuple[Air, Coils, np.ndarray]:
    """Air and coils with the supply temperature that can be held; the last marks rows short of cooling. (R,) bool

    Mixed air too cold without heat: the supply air falls to it. Load beyond the plant: the supply air rises until the
    coil carries what there is.
    """
    mixed = system.mixed_air(unit, c, loads, air, None)
    if system.supply_heating_mode(unit) != "hold":
        short = np.minimum(system.short_f(unit, air, mixed.mat_f), 0.0)
        if (short < -system.SAT_HELD_F).any():
            air = replace(air, sat_f=air.sat_f + np.where(air.flow > 0.0, short, 0.0))
    coils = system.coils_of(unit, c, loads, air, mixed)
    load = coils.sensible_btuh + coils.latent_btuh
    high = (load - coils.capacity_btuh > system.CAPACITY_SLACK_FRAC * np.maximum(load, 1.0)) & (air.flow > 0.0)
    if not high.any():
        return air, coils, high
    for _ in range(CAPACITY_ROUNDS):
        excess = np.maximum(load - coils.capacity_btuh, 0.0)
        # Latent load is taken to fall with the sensible one.
        per_f = air.flow * loads.fs * load / np.maximum(coils.sensible_btuh, 1.0)
        air = replace(air, sat_f=air.sat_f + np.where(high, excess / np.where(per_f > 0.0, per_f, 1.0), 0.0))
        coils = system.coils_of(unit, c, loads, air, system.mixed_air(unit, c, loads, air, None))
        load = coils.sensible_btuh + coils.latent_btuh
    return air, coils, high


def joined(records, pick):
    """Arrays of rows, or records of them, one after another, of each the rows ``pick``."""
    first = records[0]
    if is_dataclass(first) and not isinstance(first, type):
        return type(first)(**{f.name: joined([getattr(r, f.name) for r in records], pick) for f in fields(first)})
    return np.concatenate([r[pick] for r in records])


def energy(unit: Unit, c: Conditions, loads: ZoneLoads, steps, sat_set, enabled, pick) -> RowState:
    """States of the rows ``pick`` in all steps of an hour, one step after another.

    Parameters
    ----------
    c : Conditions
        Of the hour, R rows.
    steps : list of (Conditions, Air, Coils, ndarray)
        Of each step: weather inside the hour, what :func:`held` gives.
    sat_set : list of ndarray (R,)
    enabled : ndarray (R,)
        From ``system.heating_enabled``.
    """
    weather, airs, coils, short = zip(*steps)
    many = np.tile(pick, len(steps))
    inside = {name: joined([getattr(w, name) for w in weather], pick) for name in ("oat_f", "oawb_f", "humidity_ratio")}
    return system.finished(
        unit,
        replace(c.take(many), **inside),
        loads.take(many),
        joined(sat_set, pick),
        joined(airs, pick),
        joined(coils, pick),
        enabled[many],
        joined(short, pick),
    )
