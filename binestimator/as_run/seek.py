"""The cost-seeking loop of a run at time steps: what the controller reads, with its errors, and how it moves.

Arrays (K,) of chunks of one run, or (K, Z) of their zones.
"""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np

from ..dataclass import dataclass
from ..model import system
from ..rates import prices_at
from ..strategies.cost_seeking import Figures, Readings, direction
from .held import taken

# A reheat valve open by less gives no heat that is worth counting.
VALVE_SHUT = 0.02
# Supply air further off its setpoint is not held: to move the setpoint would change nothing. [degF]
NOT_HELD_F = 1.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Errors:
    """What is wrong with the figures and readings of a controller.

    ``cooling``, ``heat`` factors on the energy that it takes a kBtu to need · ``flow`` factor on airflows as read ·
    ``mat_f``, ``sat_f`` what the sensors of mixed and supply air read too much [degF]: supply air is held by its
    sensor, so that it is as much too cold.
    """

    cooling: float = 1.0
    heat: float = 1.0
    flow: float = 1.0
    mat_f: float = 0.0
    sat_f: float = 0.0


NONE = Errors()


@dataclass(frozen=True, slots=True, kw_only=True)
class Seeker:
    """The cost-seeking loop of a run.

    ``period_min`` from one estimate to the next · ``step_f`` tried either way · ``move_f`` largest move in a period ·
    ``delay_min`` from the start of the fan to the first move · ``ignored`` requests above which no estimate moves it ·
    ``low``, ``high`` ends of the range [degF] · ``figures`` what it takes plants and fan to need · ``errors``.
    """

    period_min: float
    step_f: float
    move_f: float
    delay_min: float
    ignored: float
    low: float
    high: float
    figures: Figures
    errors: Errors

    @classmethod
    def of(cls, unit, record, tuning, errors: Errors = NONE) -> Seeker:
        """From the record of the strategy and that of section ``as_run``."""
        figures = Figures.of(unit, record)
        return cls(
            period_min=record.period_min,
            step_f=record.step_f,
            move_f=min(record.step_f, record.rate_f_h * record.period_min / 60.0),
            delay_min=tuning.sat_delay_min,
            ignored=record.ignored_requests,
            low=record.min_f,
            high=record.max_f,
            figures=replace(
                figures,
                **{name: errors.cooling * getattr(figures, name) for name in ("cooling_kwh", "cooling_kbtu")},
                **{name: errors.heat * getattr(figures, name) for name in ("heat_kwh", "heat_therm", "heat_kbtu")},
            ),
            errors=errors,
        )

    def due(self, ran_min, step_min: float):
        """Whether a period ends in the time step that begins ``ran_min`` after the start of the fan. bool"""
        count = lambda minutes: np.floor((minutes - self.delay_min) / self.period_min + 1e-9)
        return count(ran_min + step_min) > np.maximum(count(ran_min), -1.0)


def moved(seeker: Seeker, setpoint_f, way, requests, off_f):
    """Setpoint after a period. (K,) [degF]

    Parameters
    ----------
    way : ndarray (K,)
        -1 colder, 0 stays, 1 warmer.
    requests : ndarray (K,)
        For colder air: beyond those ignored they move the setpoint themselves.
    off_f : ndarray (K,)
        Supply air above its setpoint. [degF]
    """
    held = (requests <= seeker.ignored) & (np.abs(off_f) <= NOT_HELD_F)
    return np.clip(setpoint_f + np.where(held, way * seeker.move_f, 0.0), seeker.low, seeker.high)


def readings(hour: Any, j: int, i: int, seeker: Seeker) -> Readings:
    """What the controller of run ``i`` reads at step ``j`` of an hour (``hour_on.HourOn``)."""
    unit, steps, state = hour.unit, hour.steps, hour.state
    _, runs, chunks = steps.sat.shape
    rows = slice((j * runs + i) * chunks, (j * runs + i + 1) * chunks)
    c, whole = taken(hour.of_rows, rows), taken(hour.whole, rows)
    air = replace(hour.air_at((j, i), c, whole, hour.resets[rows]), sat_f=steps.sat[j, i])
    mixed = system.mixed_air(unit, c, whole, air, None)
    wrong = seeker.errors
    flow = wrong.flow * hour.flow_cfm[i]
    return Readings(
        flow_cfm=flow,
        least_cfm=wrong.flow * hour.min_cfm,
        most_cfm=wrong.flow * np.broadcast_to(hour.max_cfm, flow.shape),
        room_f=state.air_f[i],
        heats=state.valve[i] > VALVE_SHUT,
        multiplier=hour.multiplier,
        supply_cfm=wrong.flow * air.flow,
        fan_kw=air.fan.kw,
        sat_f=steps.sat[j, i] + wrong.sat_f,
        mat_f=mixed.mat_f + wrong.mat_f,
        oat_f=c.oat_f,
        oa_frac=mixed.oa_frac,
        economizing=mixed.economizing,
        fs=float(whole.fs),
    )


def sought(hour: Any, j: int, i: int, seeker: Seeker, requests) -> np.ndarray:
    """Setpoint of run ``i`` after a period that ends with step ``j``. (K,) [degF]"""
    steps, state = hour.steps, hour.state
    read = readings(hour, j, i, seeker)
    prices = prices_at(hour.unit.prices, hour.at_step(j).rate_period)
    in_force = steps.sat_set[j, i]
    # Limits hold the loop as well, so that it is back at once when they let go.
    loop = np.minimum(state.sat_f[i], in_force + seeker.errors.sat_f)
    return moved(
        seeker, loop, direction(read, seeker.figures, prices, seeker.step_f), requests, steps.sat[j, i] - in_force
    )
