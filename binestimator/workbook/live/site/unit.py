"""Constants of the air handler: groups, outdoor air, limits; fans and plants have modules of their own."""

from __future__ import annotations

import numpy as np

from ....model.system import supply_heating_mode
from ....moist_air import humidity_ratio_from_dewpoint
from ....strategies.demand import MOST_REQUESTS
from ..constants import ln_pressure
from .constants_sheet import ConstantsSheet
from .fans import fan_constants
from .plants import plant_constants
from .site import Site


def write_unit(site: Site, paper) -> None:
    """All constants of the air handler; the zones' sheet must have been laid out."""
    sheet = ConstantsSheet(site, paper)
    pr = site.project
    sheet.section("Site")
    sheet.held(
        "pressure",
        "Site pressure",
        "psia",
        float(sheet.site.run.rows.on.pressure_psia),
        "value block: mean of the weather file, or input weather.pressure_psia",
    )
    sheet.derive("fs", "Sensible factor", "Btu/h·cfm·°F", "{k.sensible}*{pressure}/{k.standard_psia}")
    sheet.derive("fl", "Latent factor", "Btu/h·cfm per lb/lb", "{k.latent}*{pressure}/{k.standard_psia}")
    sheet.mirror("building.infiltration_running_frac")
    sheet.section("Groups")
    for g, record in enumerate(pr.groups):
        _group(sheet, g, record.name)
    sheet.section("Air handler")
    sheet.mirror("air_handler.design_cfm")
    sheet.fallback(
        "c.max_cfm",
        "air_handler.max_cfm",
        "{air_handler.design_cfm}",
        "the design airflow when not given",
        sheet.site.unit.max_cfm,
    )
    ah = "air_handler."
    sheet.mirror(
        ah + "duct_gain_f",
        ah + "leakage_frac",
        ah + "leakage_exponent",
        ah + "coil_rh_frac",
        ah + "coil_contact_f",
        ah + "latent_extra_btuh",
    )
    if pr.limits.humidity == "room_dewpoint":
        sheet.mirror(ah + "humid_dewpoint_f")
    if supply_heating_mode(sheet.site.unit) == "own_setpoint":
        sheet.mirror(ah + "supply_heating_setpoint_f")
    sheet.derive(
        "c.leak_cfm",
        "Leakage at design duct pressure",
        "cfm",
        "{air_handler.leakage_frac}*{air_handler.design_cfm}",
    )
    if sheet.site.follows:
        sheet.section("Room setpoints by outdoor temperature")
        sheet.points("room_cooling", "room_setpoints.cooling_points")
        sheet.points("room_heating", "room_setpoints.heating_points")
    _outdoor_air(sheet)
    fan_constants(sheet)
    _limits(sheet)
    plant_constants(sheet)
    sheet.section("Prices")
    sheet.mirror(
        "prices.electricity_usd_kwh", "prices.fuel_usd_therm", "prices.cooling_usd_kbtu", "prices.heat_usd_kbtu"
    )
    sheet.finish()


def _group(sheet: ConstantsSheet, g: int, name: str) -> None:
    at = f"group[{name}]."
    i = f"g{g}."
    paths = (
        "people_ft2",
        "people_sensible_btuh",
        "people_latent_btuh",
        "lights_w_ft2",
        "lights_plenum_frac",
        "equipment_w_ft2",
        "oa_cfm_person",
        "oa_cfm_ft2",
        "minimum_flow_frac",
        "minimum_unoccupied_frac",
        "cooling_setpoint_f",
        "heating_setpoint_f",
        "cooling_unoccupied_f",
        "heating_unoccupied_f",
    )
    sheet.mirror(*(at + part for part in paths), start=i, whose=name)
    g_ = "{" + i
    sheet.derive(
        i + "people",
        f"{name}: sensible heat of people per area",
        "Btu/h·ft²",
        f"{g_}people_sensible_btuh}}/{g_}people_ft2}}",
    )
    sheet.derive(
        i + "lights",
        f"{name}: light into the room per area",
        "Btu/h·ft²",
        f"{g_}lights_w_ft2}}*{{k.btu_wh}}*(1-{g_}lights_plenum_frac}})",
    )
    sheet.derive(
        i + "plenum",
        f"{name}: light into the plenum per area",
        "Btu/h·ft²",
        f"{g_}lights_w_ft2}}*{{k.btu_wh}}*{g_}lights_plenum_frac}}",
    )
    sheet.derive(i + "equipment", f"{name}: equipment per area", "Btu/h·ft²", f"{g_}equipment_w_ft2}}*{{k.btu_wh}}")
    member = f"z.in_{g}"
    sheet.derive(
        i + "gain_area",
        f"{name}: area that gains count on",
        "ft²",
        f"SUMPRODUCT({{z.mult}},{{z.area_gain}},{{{member}}})",
    )
    sheet.derive(i + "area", f"{name}: floor area", "ft²", f"SUMPRODUCT({{z.mult}},{{z.area_ft2}},{{{member}}})")
    sheet.derive(i + "persons", f"{name}: people when full", "persons", f"{{{i}gain_area}}/{g_}people_ft2}}")
    sheet.derive(
        i + "latent_full",
        f"{name}: moisture of people when full",
        "Btu/h",
        f"{{{i}persons}}*{g_}people_latent_btuh}}",
    )
    sheet.derive(
        i + "oa_full", f"{name}: outdoor air by people when full", "cfm", f"{{{i}persons}}*{g_}oa_cfm_person}}"
    )
    sheet.derive(
        i + "plenum_full",
        f"{name}: light into the plenum when all is on",
        "Btu/h",
        f"{{{i}gain_area}}*{{{i}plenum}}",
    )


def _outdoor_air(sheet: ConstantsSheet) -> None:
    oa, eco = sheet.site.project.outdoor_air, sheet.site.project.economizer
    groups = range(len(sheet.site.project.groups))
    sheet.section("Outdoor air and economizer")
    sheet.mirror("outdoor_air.ventilation_efficiency", "outdoor_air.maximum_frac")
    sheet.derive(
        "c.oa_area",
        "Outdoor air by area, at the zones",
        "cfm",
        "+".join(f"{{g{g}.area}}*{{g{g}.oa_cfm_ft2}}" for g in groups),
    )
    sheet.derive(
        "c.oa_people",
        "Outdoor air by people when full, at the zones",
        "cfm",
        "+".join(f"{{g{g}.oa_full}}" for g in groups),
    )
    sheet.fallback(
        "c.oa_required",
        "outdoor_air.required_cfm",
        "({c.oa_area}+{c.oa_people})/{outdoor_air.ventilation_efficiency}",
        "zones' outdoor air over the ventilation efficiency when not given",
        sheet.site.unit.oa_required_cfm,
    )
    sheet.fallback(
        "c.oa_minimum",
        "outdoor_air.minimum_cfm",
        "{c.oa_required}",
        "required outdoor air when not given",
        sheet.site.unit.oa_minimum_cfm,
    )
    sheet.derive(
        "c.oa_area_cfm",
        "Outdoor air by area, at the intake",
        "cfm",
        "{c.oa_area}/{outdoor_air.ventilation_efficiency}",
        engine=sheet.site.unit.oa_area_cfm,
    )
    if oa.control == "position":
        sheet.fallback(
            "c.oa_position",
            "outdoor_air.position_frac",
            "MIN({c.oa_minimum}/{air_handler.design_cfm},1)",
            "minimum outdoor air over design airflow when not given",
            sheet.site.unit.oa_position_frac,
        )
    if eco.stuck_frac is not None:
        sheet.mirror("economizer.stuck_frac")
    elif eco.type in ("fixed_dry_bulb", "fixed_enthalpy", "differential_enthalpy"):
        sheet.mirror("economizer.high_limit_f")
    if eco.type == "fixed_enthalpy":
        sheet.mirror("economizer.high_limit_btu_lb")
    t = "{k.w_ceiling_f}+{k.rankine}"
    sheet.derive(
        "c.w_ceiling",
        "Humidity ratio of the most humid rooms",
        "lb/lb",
        f"{{k.molar}}*EXP({ln_pressure('water', t)})/({{pressure}}-EXP({ln_pressure('water', t)}))",
    )


def _limits(sheet: ConstantsSheet) -> None:
    limits = sheet.site.project.limits
    m = "limits."
    sheet.section("Limits and requests")
    sheet.mirror(
        m + "damper_open_pct",
        m + "damper_release_pct",
        m + "loop_ask_pct",
        m + "loop_release_pct",
        m + "damper_exponent",
    )
    if limits.humidity == "outdoor_dewpoint":
        sheet.mirror(m + "oa_dewpoint_low_f", m + "oa_dewpoint_high_f")
    sheet.derive(
        "c.ask",
        "Pressure at the asking damper over that at an open one",
        "",
        "1/(({limits.damper_open_pct}/100)^{limits.damper_exponent})^2",
    )
    sheet.derive(
        "c.release",
        "Pressure at the releasing damper over that at an open one",
        "",
        "1/(({limits.damper_release_pct}/100)^{limits.damper_exponent})^2",
    )
    sheet.derive("c.second", "Pressure at the second request over that at an open damper", "", "{k.second_flow}^2")
    sheet.derive("c.third", "Pressure at the third request over that at an open damper", "", "{k.third_flow}^2")
    zones = sheet.site.unit.zones
    sheet.derive(
        "c.zone_top",
        "Warmest supply air that zones which must stay cold allow",
        "°F",
        "IF(COUNT({z.sat_max_f})=0,{k.never_f},MIN({z.sat_max_f}))",
        engine=float(np.min(zones.sat_max_f)),
    )
    sheet.derive(
        "c.always_t",
        "Requests for temperature that are always sent",
        "requests",
        "{k.most_requests}*SUMPRODUCT({z.importance},{z.mult},{z.asks_t})",
        engine=MOST_REQUESTS * float(np.sum(zones.weight * zones.asks_temperature)),
    )
    sheet.derive(
        "c.always_p",
        "Requests for pressure that are always sent",
        "requests",
        "{k.most_requests}*SUMPRODUCT({z.importance},{z.mult},{z.asks_p})",
        engine=MOST_REQUESTS * float(np.sum(zones.weight * zones.asks_pressure)),
    )
    if limits.humidity == "room_dewpoint":
        sheet.mirror("limits.dsp_min_inwc")
        sheet.derive(
            "c.lowest_inwc",
            "Lowest duct pressure of the humidity limit",
            "in. w.c.",
            "MIN({limits.dsp_min_inwc},{fan.design_dsp_inwc})",
        )
        t = "{air_handler.humid_dewpoint_f}+{k.rankine}"
        sheet.derive(
            "c.humid_w",
            "Humidity ratio of the humid limit",
            "lb/lb",
            f"{{k.molar}}*EXP({ln_pressure('water', t)})/({{pressure}}-EXP({ln_pressure('water', t)}))",
            engine=humidity_ratio_from_dewpoint(
                sheet.site.unit.air_handler.humid_dewpoint_f, sheet.site.scope["pressure"]
            ),
        )
