"""The estimate: a project and a typical year in, results out. No files, no printing, no clock.

``sizing`` finds what was not given, ``running`` works a candidate out on ``rows``, ``reports`` sums up its hours,
``bound`` is the limit of resets, ``comparing`` sets candidates against the baseline, ``choice`` says how rows were
chosen, and ``run`` does all of it in order.
"""

from .comparing import oa_at_minimum_cfm
from .reports import zone_report
from .rows import Part, Rows
from .run import estimate
from .running import annual_figures, night_duct, night_totals, off_energy, run_parts
from .sizing import motor_size_hp, size_unit
from .tariff import with_charges

__all__ = [
    "Part",
    "Rows",
    "annual_figures",
    "estimate",
    "motor_size_hp",
    "night_duct",
    "night_totals",
    "oa_at_minimum_cfm",
    "off_energy",
    "run_parts",
    "size_unit",
    "with_charges",
    "zone_report",
]
