"""Supply temperature of rows that float, as a root in a fixed number of steps: each can be a spreadsheet column.

A residual F(s) says how far the air that results from supply temperature s is above s. The
steps never see a setpoint: whatever is asked for and cannot be held ends at the same temperature.
"""

from __future__ import annotations

import numpy as np

# Evaluations of a row on the way to its root; tests/test_floating.py measures what is left.
DOWN_EVALUATIONS = 8
UP_EVALUATIONS = 12
# Range of supply air that floats down. [degF]
DOWN_LOWEST_F, DOWN_HIGHEST_F = -60.0, 75.0
# Supply air that floats up is first tried at a temperature above every usual setpoint. Where the plant is short even
# there the search goes on upward, else it starts again at a cold one: supply air that a plant cannot hold warms to the
# first temperature at which the plant carries the load, and fan heat can make it short once more behind that. [degF]
UP_START_F, UP_COLD_F = 68.0, 54.0
UP_LOWEST_F, UP_HIGHEST_F = 30.0, 200.0
# The residual falls at least so fast in a step: a flatter or rising one would throw the step far away. The first steps
# take it to be steeper, since fan heat can bring the residual near zero several times within some degrees, and the
# nearest root is wanted. [degF/degF]
LEAST_FALL, EARLY_LEAST_FALL = 0.05, 0.15
EARLY_STEPS = 4
# From this evaluation on (from 0), while the residual has not yet changed its sign, steps go so many times as far as
# the secant: before a bend secants fall short time after time.
FAR_FROM, FAR = 3, 4.0
# A chord across the bracket stays this share of it away from either end.
CHORD_MARGIN = 0.05
# A residual below this is none: the steps stay, instead of following its rounding. [degF]
FOUND_F = 1e-9
# Two supply temperatures closer than this give no slope. [degF]
SAME_F = 1e-9


def floating_down_f(residual, start_f, of_some=None):
    """Lowest supply temperature at which mixed air gives itself, looked for from the cold side. (R,) [degF]

    Parameters
    ----------
    residual : callable
        F (R,) at supply temperatures (R,): positive where the air that results is warmer. [degF]
    start_f : ndarray (R,)
        First guess: a temperature that no root is below. [degF]
    of_some : callable, optional
        F of the rows at positions ``pick`` at supply temperatures of these rows, called as ``of_some(pick, sat_f)``.
        With it rows that are found are not evaluated again; they would stay where they are.
    """
    start = np.clip(start_f, DOWN_LOWEST_F, DOWN_HIGHEST_F)
    return _root(residual, start, DOWN_LOWEST_F, DOWN_HIGHEST_F, DOWN_EVALUATIONS, None, of_some)


def floating_up_f(residual, shape, of_some=None):
    """Supply temperature at which a plant too small carries the load: the first above ``UP_COLD_F`` or ``UP_START_F``.
    (R,) [degF]

    Parameters
    ----------
    residual : callable
        Load beyond capacity over ``fs V`` (R,) at supply temperatures (R,). [degF]
    of_some : callable, optional
        As for :func:`floating_down_f`.
    """
    start = np.full(shape, UP_START_F)
    return _root(residual, start, UP_LOWEST_F, UP_HIGHEST_F, UP_EVALUATIONS, UP_COLD_F, of_some)


def least_fall(step: int) -> float:
    """Least fall of the residual after evaluation ``step`` (from 0). [degF/degF]"""
    return EARLY_LEAST_FALL if step < EARLY_STEPS else LEAST_FALL


def _root(residual, start_f, lowest_f, highest_f, evaluations: int, cold_f: float | None, of_some=None):
    """Root of a falling residual by secants inside a bracket. (R,) [degF]

    Each evaluation narrows the bracket: the residual is positive at its lower end. The next
    temperature is that of the secant through the last two evaluations (at first of slope -1:
    the air that results), farther on while the upper end is not evaluated; where it leaves the bracket, the chord
    between its ends once both are evaluated, else the end. With ``cold_f`` rows whose first residual is not positive
    start a second time there.
    """
    s = start_f
    shape = np.shape(s)
    low, high = np.full(shape, lowest_f), np.full(shape, highest_f)
    low_f, high_f = np.zeros(shape), np.zeros(shape)  # zero: not evaluated
    last_s: np.ndarray | None = None
    last_f: np.ndarray | None = None
    for k in range(evaluations):
        if of_some is None or last_f is None:
            f = residual(s)
        else:
            f, sought = np.zeros(shape), np.flatnonzero(last_f != 0.0)
            if not sought.size:
                break
            f[sought] = of_some(sought, s[sought])
        f = np.where(np.abs(f) > FOUND_F, f, 0.0)
        above = f > 0.0
        low_f, high_f = np.where(above & (s >= low), f, low_f), np.where(~above & (s <= high), f, high_f)
        low, high = np.where(above, np.maximum(low, s), low), np.where(above, high, np.minimum(high, s))
        fall: np.ndarray | float = 1.0
        if last_s is not None and last_f is not None:
            run = s - last_s
            wide = np.abs(run) > SAME_F
            fall = np.where(wide, np.maximum((last_f - f) / np.where(wide, run, 1.0), least_fall(k)), 1.0)
            if k == 1 and cold_f is not None:
                fall = np.where(last_f > 0.0, fall, 1.0)
        far = np.where(high_f == 0.0, FAR, 1.0) if k >= FAR_FROM else 1.0
        secant = s + far * f / fall
        both = (low_f > 0.0) & (high_f < 0.0)
        part = np.clip(low_f / np.where(both, low_f - high_f, 1.0), CHORD_MARGIN, 1.0 - CHORD_MARGIN)
        other = np.where(both, low + part * (high - low), np.clip(secant, low, high))
        following = np.where((secant > low) & (secant < high), secant, other)
        if k == 0 and cold_f is not None:
            following = np.where(above, following, cold_f)
        last_s, last_f, s = s, f, np.where(f != 0.0, following, s)
    return s
