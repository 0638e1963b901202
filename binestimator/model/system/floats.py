"""Supply air that cannot be held: the temperatures at which the balances close."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np

from ...dataclass import dataclass
from ..floating import UP_START_F, floating_down_f, floating_up_f
from ..loads import ZoneLoads
from ..unit import Unit
from .air import rationed_air, stuck_frac
from .coils import excess_btuh, short_f, supply_heating_mode
from .states import Air

# Rows that are still looked for are set apart when they are so few among those last set apart. [share]
NARROWED_FRAC = 0.7


class Floating:
    """Supply air temperatures of rows that float, found once for a pressure strategy.

    They do not depend on the supply setpoint, so that trials of many setpoints share them.
    Arrays (R,), NaN where not yet found. [degF]
    """

    def __init__(self, rows: int):
        self.low_f = np.full(rows, np.nan)
        self.high_f = np.full(rows, np.nan)

    def take(self, index) -> Floating:
        """What is known of rows with these positions."""
        some = Floating(0)
        some.low_f, some.high_f = self.low_f[index], self.high_f[index]
        return some

    def learn(self, other: Floating, rows: slice, at) -> None:
        """Add what is known of these rows of another, which are those ``at`` positions here, where nothing is known."""
        for own, found in ((self.low_f, other.low_f), (self.high_f, other.high_f)):
            own[at] = np.where(np.isnan(own[at]), found[rows], own[at])


@dataclass(frozen=True, slots=True, kw_only=True)
class _Moved:
    """Rows whose supply temperature is looked for: what :func:`evaluate` was given, of these rows."""

    unit: Unit
    conditions: Any
    loads: ZoneLoads
    dsp_set: np.ndarray
    dsp_of_sat: Any
    resets_pressure: Any
    enabled: np.ndarray
    oa_least_cfm: np.ndarray | None

    def take(self, pick: np.ndarray) -> _Moved:
        """Some of these rows; themselves where it is all of them."""
        if len(pick) == len(self.enabled):
            return self
        return replace(
            self,
            unit=self.unit.take(pick),
            conditions=self.conditions.take(pick),
            loads=self.loads.take(pick),
            dsp_set=self.dsp_set[pick],
            enabled=self.enabled[pick],
            oa_least_cfm=None if self.oa_least_cfm is None else self.oa_least_cfm[pick],
        )

    def air(self, sat_f) -> Air:
        """Zones and air at other supply temperatures."""
        args = self.conditions, self.loads, sat_f
        if self.dsp_of_sat is None:
            dsp = self.dsp_set
        else:
            dsp = self.dsp_of_sat(*args, self.unit) if self.unit.by_row else self.dsp_of_sat(*args)
        return rationed_air(self.unit, *args, dsp, self.resets_pressure, self.enabled, self.oa_least_cfm)


def floats_down(moved: _Moved):
    """Supply air temperature at which mixed air, heated as far as the mode allows, gives itself. (R,) [degF]"""

    def residual(some, sat_f):
        unit, a = some.unit, some.air(sat_f)
        x = a.oa_min_frac if unit.economizer.stuck_frac is None else stuck_frac(unit, a, some.oa_least_cfm)
        return short_f(unit, a, a.rat_f + x * (some.conditions.oat_f - a.rat_f))

    # Mixed air is no colder than outdoors, and the fan only adds to it.
    start = moved.conditions.oat_f
    if supply_heating_mode(moved.unit) == "own_setpoint":
        start = np.maximum(start, moved.unit.air_handler.supply_heating_setpoint_f)
    return floating_down_f(lambda sat_f: residual(moved, sat_f), start, *_of_some(moved, residual))


def floats_up(moved: _Moved):
    """Supply air temperature at which the plant just carries the coil's load. (R,) [degF]"""

    def residual(some, sat_f):
        a = some.air(sat_f)
        excess = excess_btuh(some.unit, some.conditions, some.loads, a, some.oa_least_cfm)
        return excess / (some.loads.fs * np.maximum(a.flow, 1.0))

    shape = moved.conditions.oat_f.shape
    return floating_up_f(lambda sat_f: residual(moved, sat_f), shape, *_of_some(moved, residual))


def _of_some(moved: _Moved, residual):
    """The residual of some rows alone, where many draws are rows: most of them are found after a few steps.

    Nothing for an ordinary unit: sums of other numbers of rows may round otherwise in the last digit.
    """
    if not moved.unit.by_row:
        return ()
    last, part = np.arange(len(moved.enabled)), moved

    def of_rows(pick: np.ndarray, sat_f):
        """Residual of the rows ``pick``, fewer from time to time."""
        nonlocal last, part
        if len(pick) < NARROWED_FRAC * len(last):
            part, last = part.take(np.searchsorted(last, pick)), pick
        at = np.full(len(last), UP_START_F)
        here = np.searchsorted(last, pick)
        at[here] = sat_f
        return residual(part, at)[here]

    return (of_rows,)
