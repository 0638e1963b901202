"""Several settings tried in the same rows: side by side as further rows of one evaluation where rows are few.

What an evaluation of some hundred rows takes is calls of functions, whatever the number of rows.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import numpy as np

from .loads import ZoneLoads
from .system import Floating, RowState, evaluate
from .unit import Unit

# Rows times zones that are worked on at once. More take no less time each, and more memory.
MOST_NUMBERS = 80_000


def states_at(
    unit: Unit,
    conditions,
    loads: ZoneLoads,
    settings: Sequence[tuple[np.ndarray, np.ndarray | None]],
    *,
    rows: Sequence[np.ndarray] | None = None,
    resets_pressure=True,
    dsp_of_sat=None,
    floating: Floating | None = None,
) -> Iterator[RowState]:
    """States of the rows at each setting, in order; arguments as for ``system.evaluate``.

    Parameters
    ----------
    settings : sequence of (ndarray, ndarray or None)
        Supply air temperature and duct pressure of the rows; without a pressure that of ``dsp_of_sat`` at the
        temperature. [degF, in. w.c.]
    rows : sequence of ndarray, optional
        Positions, ascending, of the rows that each setting is of; all (R,) of each when not given.
    """
    every = np.arange(len(conditions.oat_f))
    rows = [every] * len(settings) if rows is None else rows
    on, of_rows, here, taken = conditions, loads, unit, [every]
    for group in _groups([len(at) for at in rows], MOST_NUMBERS // max(loads.q_cool_btuh.shape[1], 1)):
        some, these = settings[group], rows[group]
        index = np.concatenate(these)
        if len(these) == 1 and len(index) == len(every):
            on, of_rows, here = conditions, loads, unit
        elif len(these) != len(taken) or any(one is not other for one, other in zip(these, taken, strict=True)):
            on, of_rows, here = conditions.take(index), loads.take(index), unit.take(index)
        taken = list(these)
        known = None if floating is None else floating.take(index)
        # The pressure strategy and the terminals ask for the same airflows.
        its_loads = of_rows.for_once()
        sat = np.concatenate([sat_f for sat_f, _ in some])
        if some[0][1] is None:
            args = (on, its_loads, sat)
            dsp = dsp_of_sat(*args, here) if unit.by_row else dsp_of_sat(*args)
        else:
            dsp = np.concatenate([dsp_inwc for _, dsp_inwc in some])
        state = evaluate(
            here, on, its_loads, sat, dsp, resets_pressure=resets_pressure, dsp_of_sat=dsp_of_sat, floating=known
        )
        first = 0
        for at in these:
            part = slice(first, first + len(at))
            first += len(at)
            if floating is not None and known is not None:
                floating.learn(known, part, at)
            yield state.take(part) if len(these) > 1 else state


def _groups(counts: Sequence[int], most: int) -> Iterator[slice]:
    """Neighbours that together have at most so many rows; one at least."""
    first = total = 0
    for k, count in enumerate(counts):
        if k > first and total + count > most:
            yield slice(first, k)
            first, total = k, 0
        total += count
    if len(counts):
        yield slice(first, len(counts))
