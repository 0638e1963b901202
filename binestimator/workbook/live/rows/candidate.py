"""A candidate row by row, as formulas: from outdoor air to cost, in the order of the calculation."""

from __future__ import annotations

from . import floating
from .air import air_columns
from .chain import Chain
from .coils import coil_columns
from .energy import carried_load, energy_columns
from .mixing import mixing_columns
from .setpoints import supply_setpoint
from .terminals import terminal_columns


def build(chain: Chain) -> None:
    """All columns of a candidate."""
    chain.row_columns()
    supply_setpoint(chain)
    if chain.two_pass:
        terminal_columns(chain, "a_", "{sat_set_f}")
        air_columns(chain, "a_", "{sat_set_f}")
        mixing_columns(chain, "a_", "{sat_set_f}")
        coil_columns(chain, "a_", "a_", "{sat_set_f}")
        chain.group("Supply air that results")
        floating.result(chain)
    else:
        chain.group("Supply air")
        chain.out("sat_f", "{sat_set_f}")
    terminal_columns(chain, "", "{sat_f}")
    air_columns(chain, "", "{sat_f}")
    if chain.two_pass:
        floating.closed(chain)
    else:
        mixing_columns(chain, "", "{sat_f}")
        coil_columns(chain, "", "", "{sat_f}")
    carried_load(chain)
    energy_columns(chain)
