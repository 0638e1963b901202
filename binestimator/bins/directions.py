"""Principal directions of columns, and comparisons that come out the same on every machine."""

from __future__ import annotations

import numpy as np

#: Values this near each other, relatively, are equal: the same hours then come out on every machine.
TIE = 1e-6
#: Principal directions of the match columns that are followed in each rate period and group.
PART_DIRECTIONS = 64


def runs(key):
    """Positions of each value of an integer key, ascending: list of index arrays."""
    order = np.argsort(key, kind="stable")
    return np.split(order, np.flatnonzero(np.diff(key[order])) + 1)


def digits(values):
    """Values to five digits, to be compared: what is equal but for rounding is then equal on every machine."""
    values = np.asarray(values, dtype=float)
    usual = np.isfinite(values) & (values != 0.0)
    unit = 10.0 ** (np.floor(np.log10(np.abs(values), where=usual, out=np.zeros_like(values))) - 4.0)
    return np.where(usual, np.round(values / unit) * unit, values)


def first_least(values):
    """Position of the least value; of several that are equal but for rounding, the first."""
    return int((values <= values.min() * (1.0 + TIE)).argmax())


def signs_fixed(directions):
    """Directions (M, k) with their largest component above 0: an eigenvector has no sign of its own."""
    if not directions.size:
        return directions
    largest = np.take_along_axis(directions, np.abs(directions).argmax(axis=0)[None], axis=0)
    return directions * np.where(largest < 0.0, -1.0, 1.0)


def independent(moments):
    """Moment columns of one group without those that do not vary in it."""
    varies = np.ptp(moments, axis=0) > 1e-12
    varies[0] = True
    return moments[:, varies]


def principal(values):
    """Directions (M, M) and energies (M,), descending, of rows of values about their mean."""
    centred = values - values.mean(axis=0)
    energy, directions = np.linalg.eigh(centred.T @ centred)
    return centred, np.maximum(energy[::-1], 0.0), signs_fixed(directions[:, ::-1])


def leading(values, count, scale=1.0):
    """Rows of values (H, M) along their ``count`` strongest directions, about zero.

    ``scale`` by which each column is divided: of a year of hours a copy takes thirty megabytes.
    """
    scale = np.broadcast_to(np.asarray(scale, dtype=float), values.shape[1:])
    # More than half of the hours of a year may cost nothing, whatever the setting.
    live = values.any(axis=1)
    some = values if live.all() else values[live]
    directions = signs_fixed(np.linalg.eigh(some.T @ some / np.multiply.outer(scale, scale))[1][:, ::-1][:, :count])
    found = some @ (directions / scale[:, None])
    if some is values:
        return found
    out = np.zeros((len(values), found.shape[1]))
    out[live] = found
    return out
