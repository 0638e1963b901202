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
MOST_TAKEN_FRAC = 0.5


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
    served = _Served(year, hour, air_f.shape, conductance) if year.served else None
    heat, cool, brought, work = (np.zeros(air_f.shape, dtype=air_f.dtype) for _ in range(4))
    for j in range(steps):
        # Rooms reach each other while no supply air holds them apart.
        masses.stored(air_f, mass_f, brought, work)
        np.subtract((air_f @ share)[:, :, None], air_f, out=work)
        work *= exchange
        brought += work
        brought += outside[j]
        if served is not None:
            served.give(brought, heat, cool)
        np.divide(brought, conductance, out=air_f)
        masses.follow(mass_f, air_f, work)
    return air_f, mass_f, heat / steps, cool / steps


class _Served:
    """Limits of rooms in setback, warm-up and cool-down, and what the unit can give in an hour. Rows (N * K, Z)."""

    def __init__(self, year, hour, shape, conductance):
        unit = year.unit
        self.unit = unit
        heat_f, cool_f = year.loads.heat_f[hour], year.loads.cool_f[hour]
        left = year.to_start[hour]
        ramp = np.where((left > 0) & (left <= year.warmup), (year.warmup - left + 1) / max(year.warmup, 1), 0.0)
        cool_occupied, heat_occupied = occupied_setpoints_f(unit, year.conditions.oat_f[hour])
        by_row = lambda values: np.broadcast_to(short(values), shape).reshape(-1, shape[2])
        self.warming = np.tile(ramp > 0.0, shape[0])
        self.low_f = by_row(heat_f + ramp[:, None] * (np.maximum(heat_occupied, heat_f) - heat_f))
        self.high_f = by_row(cool_f + ramp[:, None] * (np.minimum(cool_occupied, cool_f) - cool_f))
        self.most = tuple(np.tile(most[hour], shape[0]) for most in year.most_at_night)
        flows = [
            [np.broadcast_to(flow[hour] if len(flow) > 1 else flow, shape[1:]) for flow in air]
            for air in year.night_air
        ]
        heat_flow, cool_flow = (np.stack(parts) for parts in zip(*flows))
        caps = night_caps(unit, year.schedule, year.loads.fs, heat_flow, cool_flow)
        self.caps = {name: by_row(values) for name, values in caps.items()}
        self.conductance = by_row(conductance)

    def give(self, brought, heat, cool):
        """Add what a step gives to what it brought without, ``heat`` less ``cool``, and to both of these. [Btu/h]"""
        brought, heat, cool = (values.reshape(-1, brought.shape[2]) for values in (brought, heat, cool))
        drift_f = brought / self.conductance
        calls = ((drift_f < self.low_f) | (drift_f > self.high_f)).any(axis=1)
        rows = np.flatnonzero(calls)
        if not len(rows):
            return
        # Taking rows out takes longer than to work on all where most of them call.
        at = slice(None) if len(rows) > MOST_TAKEN_FRAC * len(calls) else rows
        drift, per_f = drift_f[at], self.conductance[at]
        given = setback_calls(
            self.unit,
            (self.low_f[at] - drift) * per_f,
            (drift - self.high_f[at]) * per_f,
            {name: values[at] for name, values in self.caps.items()},
            tuple(most[at] for most in self.most),
            self.warming[at],
        )
        heat[at] += given[0]
        cool[at] += given[1]
        brought[at] += given[0] - given[1]
