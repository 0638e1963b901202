"""Zone loops, requests, and trim and respond, a step at a time. Arrays (R, Z) of rows and zones unless said."""

from __future__ import annotations

import numpy as np

from ..model.unit import Unit
from ..strategies.demand import (
    MOST_REQUESTS,
    SECOND_REQUEST_F,
    SECOND_REQUEST_FLOW,
    THIRD_REQUEST_F,
    THIRD_REQUEST_FLOW,
)
from .settings import Settings, TrimRespond


class ProportionalIntegral:
    """Loops with an output from 0 to 1, in velocity form: they never wind up beyond their ends."""

    def __init__(self, shape, settings: Settings):
        self.output, self._error = np.zeros(shape), np.zeros(shape)
        self._by_change = 1.0 / settings.loop_band_f
        self._by_error = settings.step_min / (settings.loop_integral_min * settings.loop_band_f)

    def reset(self, rows):
        """Nothing asked in some rows."""
        self.output[rows] = 0.0
        self._error = np.where(rows[:, None], 0.0, self._error)

    def step(self, error_f, on):
        """Move where the unit runs (``on`` (R, 1)); ``error_f`` positive where more is wanted. [degF]"""
        self.output += on * (self._by_change * (error_f - self._error) + self._by_error * error_f)
        np.clip(self.output, 0.0, 1.0, out=self.output)
        self._error = error_f
        return self.output


class Latch:
    """First requests: sent from above one share of a loop until below another."""

    def __init__(self, shape, ask_pct, release_pct):
        self.on, self.ask, self.release = np.zeros(shape, dtype=bool), ask_pct / 100.0, release_pct / 100.0

    def step(self, share):
        self.on = (share > self.ask) | (self.on & (share >= self.release))
        return self.on


class Requests:
    """Requests of all zones for colder supply air (Guideline 36 5.6.8.1) and more duct pressure (5.6.8.2)."""

    def __init__(self, unit: Unit, shape):
        limits = unit.limits
        self._zones = unit.zones
        self._loop = Latch(shape, limits.loop_ask_pct, limits.loop_release_pct)
        self._damper = Latch(shape, limits.damper_open_pct, limits.damper_release_pct)

    def reset(self, rows):
        self._loop.on[rows] = False
        self._damper.on[rows] = False

    def temperature(self, loop, over_f):
        """From cooling loops and room temperatures over their setpoints. [degF]"""
        sent = self._loop.step(loop).astype(float)
        sent = np.where(over_f > SECOND_REQUEST_F, 2.0, sent)
        sent = np.where(over_f > THIRD_REQUEST_F, 3.0, sent)
        return np.where(self._zones.asks_temperature, MOST_REQUESTS, sent)

    def pressure(self, position, flow_cfm, setpoint_cfm):
        """From damper positions, airflows and their setpoints."""
        sent = self._damper.step(position).astype(float)
        wide = position > self._damper.ask
        sent = np.where(wide & (flow_cfm < SECOND_REQUEST_FLOW * setpoint_cfm), 2.0, sent)
        sent = np.where(wide & (flow_cfm < THIRD_REQUEST_FLOW * setpoint_cfm), 3.0, sent)
        return np.where(self._zones.asks_pressure, MOST_REQUESTS, sent)


def moved(loop: TrimRespond, setpoint, requests):
    """Setpoint after a move of trim and respond (Guideline 36 5.1.14.4). (R,)"""
    beyond = np.maximum(requests - loop.ignored, 0.0)
    respond = np.sign(loop.respond) * np.minimum(abs(loop.respond) * beyond, abs(loop.respond_most))
    return np.clip(setpoint + np.where(beyond > 0.0, respond, loop.trim), loop.low, loop.high)
