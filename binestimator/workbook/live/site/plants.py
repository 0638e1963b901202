"""Constants of the cooling plant and of heat sources."""

from __future__ import annotations

from ....model.plant import AIR_COOLED_SETS, heat_source, preheat_source
from ..constants import curve_key
from .constants_sheet import ConstantsSheet


def plant_constants(sheet: ConstantsSheet) -> None:
    pr, cool, heat = sheet.site.project, sheet.site.project.cooling, sheet.site.project.heating
    c = "cooling."
    sheet.section("Cooling plant")
    if cool.type in ("chilled_water", "direct_expansion"):
        sheet.mirror(c + "capacity_tons", c + "units")
        sheet.derive("c.rated_kbtuh", "Rated capacity", "kBtu/h", "{cooling.capacity_tons}*{k.kbtu_ton}")
    if cool.type == "chilled_water":
        sheet.mirror(c + "kw_per_ton", c + "minimum_plr_frac", c + "chilled_water_f", c + "chilled_pump_w_ton")
        for kind in ("cap", "eir"):
            q = curve_key(f"chiller_{cool.chiller_set}_{kind}_f_t")
            if kind == "cap":
                sheet.derive(
                    "c.chw_f",
                    "Leaving chilled water within the curves",
                    "°F",
                    f"MEDIAN({{{q}.x_low}},{{cooling.chilled_water_f}},{{{q}.x_high}})",
                )
        if cool.chiller_set not in AIR_COOLED_SETS:
            sheet.mirror(
                c + "tower_approach_f", c + "condenser_water_min_f", c + "condenser_pump_w_ton", c + "tower_w_ton"
            )
        sheet.derive("c.full_kw_ton", "Full-load input at rating", "kW/ton", "{cooling.kw_per_ton}")
        sheet.derive("c.least_plr", "Least steady part load", "share", "{cooling.minimum_plr_frac}")
        if cool.other_load_tons > 0.0:
            sheet.mirror(c + "other_load_tons", c + "other_load_zero_f")
    elif cool.type == "direct_expansion":
        sheet.mirror(c + "eer", c + "stages", c + "lockout_f")
        if cool.cycling_drying_loss_frac > 0.0:
            sheet.mirror(c + "cycling_drying_loss_frac")
        if cool.rated_with_fan:
            sheet.derive(
                "c.cop",
                "COP without the indoor fan",
                "",
                "{k.fan_free_a}*{cooling.eer}*MIN({c.rated_kbtuh}*1000,{k.fan_free_cap})+{k.fan_free_b}*{cooling.eer}",
            )
            sheet.derive("c.full_kw_ton", "Full-load input at rating", "kW/ton", "{k.kw_ton}/{c.cop}")
        else:
            sheet.derive("c.full_kw_ton", "Full-load input at rating", "kW/ton", "{k.kw_ton}*{k.btu_wh}/{cooling.eer}")
        sheet.derive(
            "c.least_plr",
            "Least steady part load: one stage over a unit",
            "share",
            "MIN(1,{cooling.units}/{cooling.stages})",
        )
    elif cool.type == "purchased":
        sheet.mirror(c + "purchased_loss_frac")
    sheet.section("Heat sources")
    if heat.type != "none":
        sheet.mirror("heating.capacity_kbtuh", "heating.enabled_below_f")
    _heat_points(sheet)
    if heat.type != "none":
        _source(sheet, "heat", heat_source(heat), "heating.capacity_kbtuh")
    if pr.preheat.type not in ("same", "none"):
        sheet.held(
            "c.preheat_capacity",
            "Capacity of the supply heating coil's source",
            "kBtu/h",
            sheet.site.unit.preheat_kbtuh,
            "value block: sized once",
        )
        if pr.preheat.type == "gas_furnace":
            sheet.mirror("preheat.efficiency_frac")
        _source(sheet, "pre", preheat_source(pr.preheat, heat), "c.preheat_capacity")


def _heat_points(sheet: ConstantsSheet) -> None:
    heat, pre = sheet.site.project.heating, sheet.site.project.preheat
    if "heat_pump" in (heat.type, pre.type):
        sheet.points("heating_cop_points", "heating.cop_points")
        sheet.points("heating_capacity_points", "heating.capacity_points")


def _source(sheet: ConstantsSheet, n: str, source, capacity: str) -> None:
    h = "heating."
    once = lambda *paths: sheet.mirror(*(q for q in paths if not sheet.site.scope.has(q)))
    if source.type == "boiler" or (source.type == "heat_pump" and n == "heat"):  # no loss may be given as 0
        sheet.fallback(
            f"c.{n}_standing",
            h + "standing_loss_kbtuh",
            f"{{k.standing_share}}*{{{capacity}}}",
            "a share of capacity when not given",
        )
        if source.standing_loss_kbtuh is not None:  # the model names it by its path
            scope, given = sheet.site.scope, f"c.{n}_standing"
            scope.put(h + "standing_loss_kbtuh", scope.address(given), scope[given])
        sheet.derive(f"c.{n}_loss", "Standing loss while enabled", "kBtu/h", f"MIN({{c.{n}_standing}},{{{capacity}}})")
    else:
        sheet.held(f"c.{n}_loss", "Standing loss while enabled", "kBtu/h", 0.0, "none with this source")
    if source.type == "boiler":
        once(h + "efficiency_frac", h + "minimum_plr_frac")
    if source.type == "gas_furnace":
        once(h + "minimum_plr_frac")
    if source.type == "purchased":
        once(h + "purchased_loss_frac")
    if source.type == "heat_pump":
        once(h + "heat_pump_off_below_f")
    if source.pump_w_per_kbtuh > 0.0:
        once(h + "pump_w_per_kbtuh")
        sheet.derive(
            f"c.{n}_pump_kw", "Hot-water pump at design", "kW", f"{{heating.pump_w_per_kbtuh}}*{{{capacity}}}/1000"
        )
