"""Rooms at rest that give and take the heat which rooms of a run stored: what parts both runs into their causes.

From rooms at rest to these it is the mass of rooms alone: setpoints and airflows are still those at which loops settle.
From these to the run it is the loops alone: start-up, hunting, requests that latch, zones that overshoot.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from ..estimate.rows import Rows
from ..estimate.running import annual_figures, run_parts
from ..inputs.project import Candidate
from ..model.loads import ZoneLoads
from ..model.unit import Unit

# Of a room that drifts without air its gains and what it stores are the same but for single precision of some thirty
# steps, 0.3 % of the gains where that was looked at. A load within this share of the gains is none: a room without
# envelope and minimum airflow has no temperature at rest, and would be heated or cooled for the sign of a rounding.
ROUNDING_FRAC = 0.005


def loads_with(loads: ZoneLoads, released_btuh) -> ZoneLoads:
    """Room loads with the heat that rooms release as a gain. (R, Z) [Btu/h]"""
    gains = loads.gains_btuh + released_btuh
    least = ROUNDING_FRAC * np.abs(loads.gains_btuh)
    beyond = lambda q: np.where(np.abs(q + released_btuh) <= least, 0.0, q + released_btuh)
    return replace(
        loads, gains_btuh=gains, q_cool_btuh=beyond(loads.q_cool_btuh), q_heat_btuh=beyond(loads.q_heat_btuh)
    )


def figures_with_room_heat(
    unit: Unit, rows: Rows, candidate: Candidate, released_btuh, night: dict[str, float], searched_f=None
) -> dict[str, float]:
    """Annual figures of a candidate at rest, its rooms releasing what they released as run.

    Parameters
    ----------
    rows : Rows
        All hours of the year.
    released_btuh : ndarray (H, Z)
        Of ``Outcome.released_btuh``, the mean of the candidate's runs by their shares of the time.
    night : dict
        ``running.night_totals`` of the run.
    searched_f : ndarray (H,), optional
        Supply temperatures of a strategy that searches.
    """
    rows = replace(rows, kept=loads_with(rows.loads, np.asarray(released_btuh)[rows.running]))
    held = None if searched_f is None else searched_f[rows.running]
    return annual_figures(unit, rows, run_parts(unit, candidate, rows, optimal_sat=held), night)
