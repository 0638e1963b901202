"""Tables by outdoor temperature behind logged setpoints, and overrides.

A setpoint that operators override is a mixture of two: what the table says, and a constant. The constant is told by
being exactly the same over a wide range of outdoor temperature while other values occur there too; its share is counted
where the table says something else. What is left is the table: bin medians through which straight lines are laid.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from ..dataclass import dataclass

#: Width of the bins that a table is laid through [degF], and slots that make one.
_BIN_F, _LEAST_SLOTS = 2.5, 6
#: Share of the bins where table and override differ in which an override must occur, to be one.
_OVERRIDE_SPREAD = 0.5
#: Share of slots at which table and override must differ for the share of overrides to be told.
LEAST_TOLD = 0.4
#: Share of slots at one value of a table above which that no override is seen says nothing.
MOST_FLAT = 0.9


@dataclass(frozen=True, slots=True)
class Quantity:
    """What is set: names, units and tolerances.

    Parameters
    ----------
    part : str
        ``sat`` or ``dsp``: section of the strategy in a project.
    setpoint, measured : str
        Kinds of points.
    words, unit : str
    near : float
        Within this of the table a setpoint follows it.
    grain : float
        Values closer than this are the same.
    no_reset : float
        A range below this is no reset.
    held : float
        Within this the measured value is held.
    low, high : float
        Range of the input.
    override : str
        Input of the override's value.
    digits : int
    """

    part: str
    setpoint: str
    measured: str
    words: str
    unit: str
    near: float
    grain: float
    no_reset: float
    held: float
    low: float
    high: float
    override: str
    digits: int


SAT = Quantity(
    "sat", "sat_setpoint", "sat", "Supply air temperature", "degF", 0.5, 0.06, 2.0, 2.0, 45.0, 75.0, "override_f", 1
)
DSP = Quantity(
    "dsp",
    "dsp_setpoint",
    "dsp",
    "Duct static pressure",
    "in. w.c.",
    0.03,
    0.006,
    0.25,
    0.1,
    0.05,
    6.0,
    "override_inwc",
    3,
)


@dataclass(frozen=True, slots=True)
class Table:
    """A table by outdoor temperature, with an override.

    Parameters
    ----------
    points : tuple of (float, float)
    override : float or None
    override_frac : float
    explained : float
        Share of slots within ``near`` of table or override.
    spread : float
        Median distance of the setpoints from the table, of all slots.
    bins : int
    told_frac : float
        Share of slots at which table and override differ, so that an override shows.
    flat_frac : float
        Share of slots with the commonest value.
    """

    points: tuple[tuple[float, float], ...]
    override: float | None
    override_frac: float
    explained: float
    spread: float
    bins: int
    told_frac: float = 1.0
    flat_frac: float = 0.0

    def at(self, oat_f: np.ndarray) -> np.ndarray:
        """Setpoint of the table."""
        x, y = np.array(self.points).T
        return np.interp(oat_f, x, y)


def fit_table(oat_f: np.ndarray, setpoint: np.ndarray, quantity: Quantity, *, overrides: bool = True) -> Table | None:
    """Table and override that explain most of the setpoints, or None where there are too few.

    Parameters
    ----------
    oat_f, setpoint : ndarray (n,)
        Finite, of running slots.
    quantity : Quantity
    overrides : bool
        Look for an override.
    """
    bins = np.floor(oat_f / _BIN_F).astype(int)
    numbers, place, count = np.unique(bins, return_inverse=True, return_counts=True)
    if count.max(initial=0) < _LEAST_SLOTS:
        return None
    grains = np.round(setpoint / quantity.grain).astype(np.int64)
    values, where, occurs = np.unique(grains, return_inverse=True, return_counts=True)
    tables = [_with_override(oat_f, setpoint, place, count, None, None, quantity)]
    for k in np.argsort(-occurs)[:6]:
        if not overrides or occurs[k] < max(0.01 * len(setpoint), _LEAST_SLOTS):
            break
        atom = where == k
        # A value between two grains belongs to both.
        atom = np.abs(setpoint - np.median(setpoint[atom])) <= quantity.grain
        tables.append(_with_override(oat_f, setpoint, place, count, atom, float(np.median(setpoint[atom])), quantity))
    found = [table for table in tables if table is not None]
    # An override, and each knot, is kept only where it explains enough more.
    best = max(
        found,
        key=lambda t: (
            t.explained
            - 0.002 * len(t.points)
            - (0.01 + 0.1 * max(t.override_frac - 0.5, 0) if t.override is not None else 0.0)
        ),
        default=None,
    )
    return None if best is None else replace(best, flat_frac=float(occurs.max() / len(setpoint)))


def _with_override(oat_f, setpoint, place, count, atom, value, quantity: Quantity) -> Table | None:
    rest = np.ones(len(setpoint), dtype=bool) if atom is None else ~atom
    x, y, weight = [], [], []
    for k in range(len(count)):
        if count[k] < _LEAST_SLOTS:
            continue
        here = place == k
        chosen = here & rest
        if np.count_nonzero(chosen) < max(0.1 * count[k], 3):
            if atom is None:
                continue
            chosen = here  # only the override occurs: the table may say the same
        x.append(np.median(oat_f[chosen]))
        y.append(np.median(setpoint[chosen]))
        weight.append(np.count_nonzero(chosen))
    if not x:
        return None
    xs, ys, ws = np.array(x), np.array(y), np.sqrt(np.array(weight, dtype=float))
    points = _lines(xs, ys, ws, quantity)
    knots_x, knots_y = np.array(points).T
    line = np.interp(oat_f, knots_x, knots_y)
    # Setpoints move with an outdoor sensor that is read at another moment: steep lines explain more.
    slope = np.abs(np.gradient(np.interp(np.arange(-60.0, 140.0), knots_x, knots_y))).max()
    near = quantity.near + 0.3 * slope
    fits = np.abs(setpoint - line) <= near
    override_frac, told_frac = 0.0, 1.0
    if value is not None:
        apart = np.abs(line - value) > 2.0 * quantity.near
        n_apart = np.count_nonzero(apart)
        if n_apart < max(_LEAST_SLOTS, 0.05 * len(setpoint)):
            return None
        # Where the table says the same nothing tells: overrides last, so that what was seen next to it in time counts.
        override_frac, told_frac = float(_nearest(atom, apart).mean()), float(apart.mean())
        used = [k for k in range(len(count)) if np.count_nonzero(apart & (place == k)) >= 2 * _LEAST_SLOTS]
        with_atom = [k for k in used if np.count_nonzero(apart & atom & (place == k)) >= 0.02 * count[k]]
        if not used or len(with_atom) < _OVERRIDE_SPREAD * len(used) or override_frac < 0.005:
            return None
        fits |= atom
    spread = float(np.median(np.abs(setpoint - line)))
    return Table(points, value, override_frac, float(fits.mean()), spread, len(xs), told_frac)


def _nearest(state: np.ndarray, told: np.ndarray) -> np.ndarray:
    """State of the nearest slot at which it can be told. (n,)"""
    places = np.flatnonzero(told)
    after = np.searchsorted(places, np.arange(len(state)))
    left, right = places[np.maximum(after - 1, 0)], places[np.minimum(after, len(places) - 1)]
    here = np.arange(len(state))
    return state[np.where(np.abs(here - left) <= np.abs(right - here), left, right)]


def _lines(x: np.ndarray, y: np.ndarray, weight: np.ndarray, quantity: Quantity) -> tuple[tuple[float, float], ...]:
    """The fewest straight lines through bin medians: none, one between flat ends, or several."""
    digits = quantity.digits
    middle = float(np.median(np.repeat(y, np.maximum(weight.astype(int), 1))))
    if np.average(np.abs(y - middle) <= 0.6 * quantity.near, weights=weight) >= 0.97 or len(x) < 3:
        return ((round(float(np.median(x)), 0), round(middle, digits)),)
    steps = np.arange(np.floor(x[0]), np.ceil(x[-1]) + 0.01, 1.0)
    first, second, low, high = _flat_line_flat(x, y, weight, steps, steps)
    near = np.arange(-1.0, 1.01, 0.25)
    first, second, low, high = _flat_line_flat(x, y, weight, first + near, second + near)
    fit = np.interp(x, [first, second], [low, high])
    if np.average(np.abs(y - fit) <= 0.8 * quantity.near, weights=weight) >= 0.85:
        points = [(first, low), (second, high)]
    else:
        points = _corners(x, y, weight, 0.8 * quantity.near)
    rounded: list[tuple[float, float]] = []
    for px, py in points:
        px = round(float(px), 1)
        if not rounded or px > rounded[-1][0]:
            rounded.append((px, round(float(py), digits)))
    return tuple(rounded)


def _flat_line_flat(x, y, weight, firsts, seconds) -> tuple[float, float, float, float]:
    """Knots and heights of a line between flat ends, the best of all pairs of knots tried.

    The line of each pair is that of least squares; of the pairs, the one of the least absolute distance is taken, so
    that a few odd bins do not bend it.
    """
    first, second = (knots.ravel() for knots in np.meshgrid(firsts, seconds, indexing="ij"))
    ascending = second > first + 1e-9
    first, second = first[ascending], second[ascending]
    share = np.clip((x - first[:, None]) / (second - first)[:, None], 0.0, 1.0)
    w = weight * weight / np.sum(weight * weight)
    ms, my = share @ w, float(y @ w)
    spread = (share - ms[:, None]) ** 2 @ w
    slope = np.where(spread > 1e-12, ((share - ms[:, None]) * (y - my)) @ w / np.maximum(spread, 1e-12), 0.0)
    low = my - slope * ms
    distance = np.abs(y - low[:, None] - slope[:, None] * share) @ (weight / weight.sum())
    k = int(distance.argmin())
    return float(first[k]), float(second[k]), float(low[k]), float(low[k] + slope[k])


def _corners(x, y, weight, tolerance: float) -> list[tuple[float, float]]:
    """Knots of straight lines that stay within a tolerance of points; heights by least squares."""
    keep = {0, len(x) - 1}
    stack = [(0, len(x) - 1)]
    while stack and len(keep) < 12:
        a, b = stack.pop()
        if b - a < 2:
            continue
        line = np.interp(x[a + 1 : b], [x[a], x[b]], [y[a], y[b]])
        off = np.abs(y[a + 1 : b] - line)
        if off.max() > tolerance:
            k = a + 1 + int(off.argmax())
            keep.add(k)
            stack += [(a, k), (k, b)]
    knots = x[sorted(keep)]
    basis = np.stack([np.interp(x, knots, row) for row in np.eye(len(knots))], axis=1)
    heights = np.linalg.lstsq(basis * weight[:, None], y * weight, rcond=None)[0]
    return [(float(a), float(b)) for a, b in zip(knots, heights)]
