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
    resets_pressure=True,
    dsp_of_sat=None,
    floating: Floating | None = None,
) -> Iterator[RowState]:
    """States of the rows at each setting, in order; arguments as for ``system.evaluate``.

    Parameters
    ----------
    settings : sequence of (ndarray (R,), ndarray (R,) or None)
        Supply air temperature and duct pressure; without a pressure that of ``dsp_of_sat`` at the temperature. [degF,
        in. w.c.]
    """
    count = len(conditions.oat_f)
    together = max(MOST_NUMBERS // max(loads.q_cool_btuh.size, 1), 1)
    on, of_rows, here, index = conditions, loads, unit, np.arange(count)
    for first in range(0, len(settings), together):
        some = settings[first : first + together]
        known = floating
        if len(some) == 1:
            on, of_rows, here, index = conditions, loads, unit, np.arange(count)
        else:
            if len(index) != count * len(some):
                index = np.tile(np.arange(count), len(some))
                on, of_rows, here = conditions.take(index), loads.take(index), unit.take(index)
            known = None if floating is None else floating.take(index)
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
        for k in range(len(some)):
            rows = slice(k * count, (k + 1) * count)
            if floating is not None and known is not None and known is not floating:
                floating.learn(known, rows)
            yield state.take(rows) if len(some) > 1 else state
