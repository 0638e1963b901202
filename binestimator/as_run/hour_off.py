"""An hour with the unit off by schedule: rooms drift, and are served as far as their setback asks.

Nothing hunts here, and heat is what just holds a limit: longer steps do. Arrays are (N, K, Z) of runs, chunks and zones
unless said.
"""

from __future__ import annotations

import numpy as np

from ..model.loads import occupied_setpoints_f
from ..model.night_rooms import night_caps, setback_calls
from .hour_on import short

# Longest step; between rooms heat goes by their temperatures before the step, which is stable up to a share of what
# warms their air by the difference. [min]
OFF_STEP_MIN = 4.0
MOST_EXCHANGE_FRAC = 0.5


def steps_an_hour(settings) -> int:
    """Steps in an hour with the unit off: never more than with it on."""
    hourly = settings.room_exchange_btuh_f_ft2 / settings.air_capacity_btu_f_ft2
    wanted = max(60.0 / OFF_STEP_MIN, hourly / MOST_EXCHANGE_FRAC)
    return int(min(np.ceil(wanted), round(60.0 / settings.step_min)))


def hour_off(year, hour, air_f, mass_f):
    """Room temperatures after an hour, and what rooms were given in it.

    Parameters
    ----------
    year : Year
    hour : ndarray (K,)
        Hours of the year of the chunks.
    air_f, mass_f : ndarray (N, K, Z)
        Overwritten.

    Returns
    -------
    air_f, mass_f : ndarray (N, K, Z)
        Room temperatures. [degF]
    heat_btuh, cool_btuh : ndarray (N, K, Z)
        Mean of the hour. [Btu/h]
    """
    z, loads, steps, masses = year.unit.zones, year.loads, year.per_hour_off, year.masses_off
    ua = loads.ua_btuh_f[hour]
    outside = year.inside(year.sun_btuh, hour, steps)
    outside += year.inside_btuh[hour]
    outside += ua * year.inside(year.conditions.oat_f, hour, steps)[:, :, None]
    outside, exchange, share = short(outside), short(year.exchange_btuh_f), short(year.share_of_area * z.multiplier)
    conductance = short(masses.air_btuh_f + masses.through_btuh_f + ua)
    served = _Served(year, hour, air_f.shape) if year.served else None
    heat, cool, brought, work = (np.zeros_like(air_f) for _ in range(4))
    for j in range(steps):
        # Rooms reach each other while no supply air holds them apart.
        masses.stored(air_f, mass_f, brought, work)
        np.subtract((air_f @ share)[:, :, None], air_f, out=work)
        work *= exchange
        brought += work
        brought += outside[j]
        if served is not None:
            served.give(brought, conductance, heat, cool)
        np.divide(brought, conductance, out=air_f)
        masses.follow(mass_f, air_f, work)
    return air_f, mass_f, heat / steps, cool / steps


class _Served:
    """Limits of rooms in setback, warm-up and cool-down, and what the unit can give in an hour."""

    def __init__(self, year, hour, shape):
        unit = year.unit
        self.unit = unit
        heat_f, cool_f = year.loads.heat_f[hour], year.loads.cool_f[hour]
        left = year.to_start[hour]
        ramp = np.where((left > 0) & (left <= year.warmup), (year.warmup - left + 1) / max(year.warmup, 1), 0.0)
        self.warming = ramp > 0.0
        cool_occupied, heat_occupied = occupied_setpoints_f(unit, year.conditions.oat_f[hour])
        self.low_f = short(heat_f + ramp[:, None] * (np.maximum(heat_occupied, heat_f) - heat_f))
        self.high_f = short(cool_f + ramp[:, None] * (np.minimum(cool_occupied, cool_f) - cool_f))
        self.most = tuple(most[hour] for most in year.most_at_night)
        flows = [
            [np.broadcast_to(flow[hour] if len(flow) > 1 else flow, shape[1:]) for flow in air]
            for air in year.night_air
        ]
        heat_flow, cool_flow = (np.stack(parts) for parts in zip(*flows))
        self.caps = {
            name: np.broadcast_to(short(values), shape)
            for name, values in night_caps(unit, year.schedule, year.loads.fs, heat_flow, cool_flow).items()
        }

    def give(self, brought, conductance, heat, cool):
        """Add what a step gives to what it brought without, ``heat`` less ``cool``, and to both of these. [Btu/h]"""
        drift_f = brought / conductance
        calls = ((drift_f < self.low_f) | (drift_f > self.high_f)).any(axis=2)
        run, chunk = np.nonzero(calls)
        if not len(run):
            return
        drift, per_f = drift_f[run, chunk], conductance[chunk]
        given = setback_calls(
            self.unit,
            (self.low_f[chunk] - drift) * per_f,
            (drift - self.high_f[chunk]) * per_f,
            {name: values[run, chunk] for name, values in self.caps.items()},
            tuple(most[chunk] for most in self.most),
            self.warming[chunk],
        )
        heat[run, chunk] += given[0]
        cool[run, chunk] += given[1]
        brought[run, chunk] += given[0] - given[1]
