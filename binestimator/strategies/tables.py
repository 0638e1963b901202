"""Strategies that follow a table: as found, outdoor air, airflow."""

from __future__ import annotations

import numpy as np


def line(x, points):
    """Straight lines between points, flat outside.

    Parameters
    ----------
    x : ndarray
    points : sequence of (x, y), x ascending
        One point gives a constant.

    Returns
    -------
    ndarray like ``x``

    Notes
    -----
    With two points this is the outdoor-air line of Guideline 36 5.16.2.2.
    """
    table = np.asarray(points, dtype=float)
    return np.interp(x, table[:, 0], table[:, 1])


def by_outdoor_air(record, oat_f, occupied):
    """Setpoint by outdoor temperature; with its own table when unoccupied, if it has one. (R,)"""
    setpoint = line(oat_f, record.points)
    if record.points_unoccupied is None:
        return setpoint
    return np.where(occupied > 0.0, setpoint, line(oat_f, record.points_unoccupied))


def by_airflow(record, requested_cfm, design_cfm):
    """Duct pressure setpoint by airflow in % of design, as the airflow station reads it. (R,)

    ``requested_cfm`` is what all zones ask for together: reading the delivered flow would make
    the setpoint depend on itself.
    """
    reading_pct = 100.0 * requested_cfm / design_cfm * (1.0 + record.flow_error_frac)
    return line(reading_pct, record.points)
