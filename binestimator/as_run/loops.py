"""Zone loops, requests, and trim and respond, a step at a time.

Arrays (..., Z) of rows and zones unless said; those that carry on from step to step are changed in place, since most of
the time would go into making new ones.
"""

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
    """Loops with an output from 0 to 1 whose integral part never winds up beyond what the output has left.

    ``output`` · ``integral`` part of it; both are changed in place. (..., Z) A setpoint that steps moves the output by
    the error beyond it alone: a room that was content for hours does not ask for more than one that was not.
    """

    def __init__(self, output, integral, settings: Settings):
        self.output, self.integral = output, integral
        self._by_error = 1.0 / settings.loop_band_f
        self._by_time = settings.step_min / settings.loop_integral_min
        self._work = np.empty_like(output)

    def step(self, error_f):
        """Move; ``error_f`` positive where more is wanted. [degF]"""
        out, integral, work = self.output, self.integral, self._work
        np.multiply(error_f, self._by_error, out=out)
        np.minimum(out, 1.0, out=out)
        np.multiply(error_f, self._by_error * self._by_time, out=work)
        integral += work
        np.subtract(1.0, out, out=work)
        np.minimum(work, 1.0, out=work)
        np.minimum(integral, work, out=integral)
        np.maximum(integral, 0.0, out=integral)
        out += integral
        np.maximum(out, 0.0, out=out)
        return out


class Latch:
    """First requests: sent from above one share of a loop until below another. ``on`` is changed in place."""

    def __init__(self, on, ask_frac, release_frac):
        self.on, self.ask, self.release = on, ask_frac, release_frac

    def step(self, share):
        self.on &= share >= self.release
        self.on |= share > self.ask
        return self.on


class Requests:
    """Requests of all zones for colder supply air (Guideline 36 5.6.8.1) and more duct pressure (5.6.8.2).

    ``for_air``, ``for_pressure`` first requests that stand; both are changed in place. (..., Z) bool ·
    ``end_switches`` (N, 1, 1) positions above which dampers are known to be open in runs where nothing else is known of
    them, NaN where positions and airflows are measured: such zones ask once while the switch is made.
    """

    def __init__(self, unit: Unit, for_air, for_pressure, end_switches=None):
        limits = unit.limits
        self._always = {
            name: always if always.any() else None
            for name, always in (("air", unit.zones.asks_temperature), ("pressure", unit.zones.asks_pressure))
        }
        self._loop = Latch(for_air, limits.loop_ask_pct / 100.0, limits.loop_release_pct / 100.0)
        ask, release = limits.damper_open_pct / 100.0, limits.damper_release_pct / 100.0
        self._measured = None
        if end_switches is not None and not np.isnan(end_switches).all():
            self._measured = np.isnan(end_switches)
            ask, release = (np.where(self._measured, of, end_switches) for of in (ask, release))
        self._damper = Latch(for_pressure, ask, release)

    def temperature(self, loop, over_f):
        """From cooling loops and room temperatures over their setpoints. [degF]"""
        first = self._loop.step(loop)
        return self._sent("air", first, lambda limit_f: over_f > limit_f, SECOND_REQUEST_F, THIRD_REQUEST_F)

    def pressure(self, position, flow_cfm, setpoint_cfm):
        """From damper positions, airflows and their setpoints."""
        first = self._damper.step(position)

        def short(share):
            found = flow_cfm < share * setpoint_cfm
            # Hardly ever a zone is as short as that.
            if found.any():
                found &= position > self._damper.ask
                if self._measured is not None:
                    found &= self._measured
            return found

        return self._sent("pressure", first, short, SECOND_REQUEST_FLOW, THIRD_REQUEST_FLOW)

    def _sent(self, of, first, beyond, second, third):
        """Requests of zones (..., Z): first ones, and more where ``beyond`` a second and a third level."""
        sent = first.astype(np.float32)
        more = beyond(second)
        if more.any():
            sent[more] = 2.0
            sent[beyond(third)] = 3.0
        always = self._always[of]
        return sent if always is None else np.where(always, MOST_REQUESTS, sent)


def moved(loop: TrimRespond, setpoint, requests):
    """Setpoint after a move of trim and respond (Guideline 36 5.1.14.4). (R,)"""
    beyond = np.maximum(requests - loop.ignored, 0.0)
    respond = np.sign(loop.respond) * np.minimum(abs(loop.respond) * beyond, abs(loop.respond_most))
    new = setpoint + np.where(beyond > 0.0, respond, loop.trim)
    return np.minimum(np.maximum(new, loop.low), loop.high)
