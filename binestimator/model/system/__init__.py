"""The whole air handler in rows of conditions: setpoints in, energy out.

:func:`evaluate` runs zones, fan, mixing, moisture, coils and plant from left to right. Where
the supply temperature asked for cannot be held (cold mixed air without enough heat, or too
little cooling capacity) it is the one at which the balances close, found without looking at
the setpoint (:mod:`..floating`), and the row is evaluated there.

``states`` what comes out of a row · ``full`` zones that get all the air they ask for · ``air`` terminals, fan, mixed
air · ``coils`` coils and what a plant too small leaves · ``floats`` supply air that cannot be held · ``rows`` all of
it · ``balance`` what the balances leave over.
"""

from .air import SAME_AIR_F, air_of, heating_enabled, mixed_air
from .balance import balance_error_btuh, moisture_error_btuh
from .coils import CAPACITY_SLACK_FRAC, LEAST_PREHEAT_KBTUH, UNSERVED_FRAC, coils_of, short_f, supply_heating_mode
from .floats import Floating
from .full import MOST_APART_FRAC, FullSupply, full_supply, starved_rows
from .rows import SAT_HELD_F, evaluate, finished, heat_sources, zones_of
from .states import Air, Coils, RowState, ZoneSums, not_worked_out

__all__ = [
    "Air",
    "CAPACITY_SLACK_FRAC",
    "Coils",
    "Floating",
    "FullSupply",
    "LEAST_PREHEAT_KBTUH",
    "MOST_APART_FRAC",
    "RowState",
    "SAME_AIR_F",
    "SAT_HELD_F",
    "UNSERVED_FRAC",
    "ZoneSums",
    "air_of",
    "balance_error_btuh",
    "coils_of",
    "evaluate",
    "finished",
    "full_supply",
    "heat_sources",
    "heating_enabled",
    "mixed_air",
    "moisture_error_btuh",
    "not_worked_out",
    "short_f",
    "starved_rows",
    "supply_heating_mode",
    "zones_of",
]
