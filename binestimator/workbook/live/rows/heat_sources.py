"""Columns of heat sources: what heat at the coils takes."""

from __future__ import annotations

from collections.abc import Callable

from ....model.plant import HeatSource, curves
from ..constants import curve_key, polynomial
from ..formulas import line_through


def source_columns(
    col: Callable[..., None], n: str, source: HeatSource, capacity: str, load: str, enabled: str, oat: str
) -> tuple[list[str], list[str], list[str], list[str], str]:
    """Columns of a heat source.

    Returns
    -------
    electric, fuel, purchased, pumps : list of str
        Templates to add up.
    unserved : str
    """
    cap = f"{{{capacity}}}"
    where = {"heat": "", "pre": ", supply coil"}[n]
    col(f"{n}_on", "Heat source enabled" + where, "1/0", enabled, "f0")
    on = f"{{{n}_on}}"
    limit = cap
    if source.type == "heat_pump":
        col(
            f"{n}_cap",
            "Heat pump can give" + where,
            "kBtu/h",
            f"{cap}*IF({oat}<{{heating.heat_pump_off_below_f}},0,"
            f"{line_through(oat, len(source.capacity_points), 'p.heating_capacity_points')})",
            "f1",
        )
        limit = f"MAX({cap},{{{n}_cap}})"
    col(f"{n}_served", "Heat served" + where, "kBtu/h", f"MIN(MAX({load},0),{limit}-{{c.{n}_loss}})*{on}", "f1")
    served = f"{{{n}_served}}"
    col(f"{n}_output", "Output with standing loss" + where, "kBtu/h", f"{served}+{{c.{n}_loss}}*{on}", "f1")
    output = f"{{{n}_output}}"
    electric: list[str] = []
    fuel: list[str] = []
    purchased: list[str] = []
    pumps: list[str] = []
    if source.type in ("boiler", "gas_furnace"):
        assert source.fuel_curve is not None, "boilers and furnaces have one"
        q = curve_key(source.fuel_curve)
        least = "{heating.minimum_plr_frac}"
        col(f"{n}_plr", "Part load ratio" + where, "0–1", f"MEDIAN(0,{output}/{cap},1)", "f3")
        plr = f"{{{n}_plr}}"
        run = f"IF({least}>0,MIN({plr},{least})/IF({least}>0,{least},1),IF({plr}>0,1,0))"
        eff = "{heating.efficiency_frac}" if source.type == "boiler" else "{preheat.efficiency_frac}"
        steady = f"MAX({plr},{least})"
        col(f"{n}_steady", "Steady part load" + where, "0–1", steady, "f3")
        col(
            f"{n}_fuel",
            "Fuel" + where,
            "therm/h",
            f"{cap}/{eff}*{polynomial(q, len(coefficients(q)), f'{{{n}_steady}}')}/{{{q}.rated}}"
            f"*{run}/{{k.kbtu_therm}}",
            "f4",
        )
        fuel.append(f"{{{n}_fuel}}")
    elif source.type == "electric":
        electric.append(f"{output}/{{k.btu_wh}}")
    elif source.type == "heat_pump":
        col(f"{n}_cop", "COP" + where, "", line_through(oat, len(source.cop_points), "p.heating_cop_points"), "f2")
        by = f"MIN({output},{{{n}_cap}})"
        col(
            f"{n}_kw",
            "Heat pump and supplementary heat" + where,
            "kW",
            f"({by}/{{{n}_cop}}+{output}-{by})/{{k.btu_wh}}",
        )
        electric.append(f"{{{n}_kw}}")
    elif source.type == "purchased":
        purchased.append(f"{output}/(1-{{heating.purchased_loss_frac}})")
    if source.pump_w_per_kbtuh > 0.0:
        if source.pump_control == "constant":
            power = f"{{c.{n}_pump_kw}}*{on}"
        else:
            v = curve_key("pump_variable")
            flow = f"MEDIAN({{{v}.x_low}},{served}/{cap},{{{v}.x_high}})"
            power = f"{{c.{n}_pump_kw}}*{polynomial(v, 4, flow)}/{{{v}.rated}}*{on}"
        col(f"{n}_pump", "Hot-water pump" + where, "kW", power)
        pumps.append(f"{{{n}_pump}}")
    return electric, fuel, purchased, pumps, f"{load}-{served}"


def coefficients(key: str) -> tuple[float, ...]:
    """Coefficients of a curve by its name in formulas."""
    return curves()[key.removeprefix("q.")].coefficients
