"""Groups of like hours by outdoor-temperature bin and running mode, and the one row at mean conditions of each."""

from __future__ import annotations

import dataclasses

import numpy as np
import pandas as pd

from ..hours import bin_low_f


def group_keys(conditions, bins_record):
    """Group of each row, and what each group is.

    Parameters
    ----------
    conditions : Conditions
        Hourly conditions (R rows).
    bins_record : record
        ``width_f``, ``by_month``, ``by_rate_period``.

    Returns
    -------
    group_id : ndarray (R,), int
        0 .. groups - 1, in ascending order of the keys.
    groups : DataFrame
        One line a group: ``bin_low_f, occupied, fan_on``, ``month`` and ``rate_period`` if
        they are keys, ``rows`` (of the conditions) and ``hours`` [h/yr].
    """
    keys = {
        "bin_low_f": bin_low_f(conditions.oat_f, bins_record.width_f).astype(np.int64),
        "occupied": np.asarray(conditions.occupied > 0.5, dtype=np.int64),
        "fan_on": np.asarray(conditions.fan_on > 0.5, dtype=np.int64),
    }
    if bins_record.by_month:
        keys["month"] = np.asarray(conditions.month, dtype=np.int64)
    if bins_record.by_rate_period:
        keys["rate_period"] = np.asarray(conditions.rate_period, dtype=np.int64)
    # One integer per row instead of rows of keys: the order is that of the keys.
    code = np.zeros(len(conditions.oat_f), dtype=np.int64)
    for values in keys.values():
        low = values.min()
        code = code * (values.max() - low + 1) + (values - low)
    _, first, group_id, rows = np.unique(code, return_index=True, return_inverse=True, return_counts=True)
    groups = pd.DataFrame({name: values[first] for name, values in keys.items()})
    groups["rows"] = rows
    groups["hours"] = np.bincount(group_id, conditions.hours, len(rows))
    return group_id, groups


def split_groups(group_id, key):
    """Groups split further, so that no group has two values of a key.

    Parameters
    ----------
    group_id, key : ndarray (R,), int

    Returns
    -------
    ndarray (R,), int
        0 .. groups - 1, in ascending order of the group, then of the key.
    """
    key = np.asarray(key, dtype=np.int64) - np.min(key)
    return np.unique(np.asarray(group_id, dtype=np.int64) * (key.max() + 1) + key, return_inverse=True)[1].reshape(-1)


def mean_rows(conditions, group_id):
    """One row per group at the mean conditions of its hours: the classic bin method.

    Parameters
    ----------
    conditions : Conditions
        Hourly conditions (R rows).
    group_id : ndarray (R,), int
        0 .. groups - 1, each used.

    Returns
    -------
    Conditions
        One row a group, ascending. Hours are summed; every other array keeps a value that
        all rows of the group share, and is otherwise their mean weighted by hours, or -1
        if it holds integers. Those that name one hour (``hour_of_year, day, hour_start``)
        are always -1.
    """
    group_id = np.asarray(group_id)
    groups = int(group_id.max()) + 1
    rows = len(group_id)
    hours = np.asarray(conditions.hours, dtype=float)
    total = np.bincount(group_id, hours, groups)
    weight = hours / total[group_id]
    order = np.argsort(group_id, kind="stable")
    start = np.searchsorted(group_id[order], np.arange(groups))
    changes = {}
    for field in dataclasses.fields(conditions):
        values = getattr(conditions, field.name)
        if not isinstance(values, np.ndarray) or values.ndim == 0 or len(values) != rows:
            continue
        if field.name == "hours":
            changes[field.name] = total
            continue
        low = np.minimum.reduceat(values[order], start, axis=0)
        high = np.maximum.reduceat(values[order], start, axis=0)
        if field.name in ("hour_of_year", "day", "hour_start"):
            changes[field.name] = np.full_like(low, -1)
        elif np.issubdtype(values.dtype, np.integer):
            changes[field.name] = np.where(low == high, low, -1)
        else:
            shaped = weight.reshape((rows,) + (1,) * (values.ndim - 1))
            mean = np.add.reduceat((values * shaped)[order], start, axis=0)
            # A shared value, and the range of the hours, survive the rounding of the sum.
            changes[field.name] = np.clip(mean, low, high)
    return dataclasses.replace(conditions, **changes)
