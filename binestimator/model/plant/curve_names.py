"""Which curves a plant uses."""

from __future__ import annotations

from .heating import heat_source, preheat_source
from .published import curves


def plant_curve_names(cooling, heating, preheat=None):
    """Names of the curves that a plant uses, in the order of the data file.

    Parameters
    ----------
    cooling, heating : record of the inputs of that section
    preheat : record of section preheat, optional
    """
    used = set()
    if cooling.type == "chilled_water":
        used |= {f"chiller_{cooling.chiller_set}_{kind}" for kind in ("eir_f_t", "cap_f_t", "eir_f_plr")}
    if cooling.type == "direct_expansion":
        used |= {"dx_cap_f_t", "dx_eir_f_t", "dx_eir_f_plr"}
    if cooling.type == "chilled_water" and cooling.chilled_pump_control == "variable":
        used.add("pump_variable")
    sources = [heat_source(heating)]
    if preheat is not None:
        sources.append(preheat_source(preheat, heating))
    for source in sources:
        if source.fuel_curve:
            used.add(source.fuel_curve)
        if source.pump_w_per_kbtuh > 0 and source.pump_control == "variable":
            used.add("pump_variable")
    return tuple(name for name in curves() if name in used)
