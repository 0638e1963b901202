"""Constants of supply and return fan."""

from __future__ import annotations

from .constants_sheet import ConstantsSheet


def fan_constants(sheet: ConstantsSheet) -> None:
    fan = sheet.site.project.fan
    f = "fan."
    sheet.section("Fans")
    sheet.mirror(
        f + "design_total_inwc",
        f + "design_dsp_inwc",
        f + "efficiency_frac",
        f + "efficiency_droop",
        f + "shutoff_ratio",
        f + "belt_efficiency_frac",
        f + "motor_hp",
        f + "motor_efficiency_frac",
        f + "drive_efficiency_frac",
        f + "motor_fixed_loss_frac",
        f + "drive_fixed_loss_frac",
        f + "minimum_speed_frac",
    )
    vd = "{air_handler.design_cfm}"
    sheet.derive(
        "c.system",
        "Pressure lost outside the duct over flow²",
        "in. w.c./cfm²",
        "({fan.design_total_inwc}-{fan.design_dsp_inwc})/" + vd + "^2",
    )
    sheet.derive(
        "c.shutoff",
        "Fan law: shut-off pressure at full speed",
        "in. w.c.",
        "{fan.shutoff_ratio}*{fan.design_total_inwc}",
    )
    sheet.derive(
        "c.droop",
        "Fan law: fall of pressure over flow²",
        "in. w.c./cfm²",
        "({fan.shutoff_ratio}-1)*{fan.design_total_inwc}/" + vd + "^2",
    )
    sheet.derive(
        "c.minimum_inwc",
        "Fan pressure at minimum speed without flow",
        "in. w.c.",
        "{c.shutoff}*{fan.minimum_speed_frac}^2",
    )
    sheet.derive("c.rated_kw", "Motor output", "kW", "{fan.motor_hp}*{k.hp_kw}")
    sheet.derive("c.motor_loss", "Motor losses at full load over output", "share", "1/{fan.motor_efficiency_frac}-1")
    sheet.derive("c.drive_rated_kw", "Drive output at full load", "kW", "{c.rated_kw}/{fan.motor_efficiency_frac}")
    sheet.derive("c.drive_loss", "Drive losses at full load over output", "share", "1/{fan.drive_efficiency_frac}-1")

    def point(name: str, label: str, flow: str, total: str) -> None:
        sheet.derive(
            f"c.{name}_phi",
            f"{label}: operating point",
            "",
            f"MIN({{k.phi_max}},{flow}/{vd}/SQRT({total}/{{fan.design_total_inwc}}))",
        )
        sheet.derive(
            f"c.{name}_shaft",
            f"{label}: fan shaft",
            "kW",
            f"{flow}*{total}/({{k.fan}}*{{fan.efficiency_frac}}*(1-{{fan.efficiency_droop}}*(1-{{c.{name}_phi}})^2))*{{k.hp_kw}}",
        )
        load = f"({{c.{name}_shaft}}/{{fan.belt_efficiency_frac}}/{{c.rated_kw}})"
        sheet.derive(
            f"c.{name}_motor",
            f"{label}: motor input",
            "kW",
            f"{{c.rated_kw}}*({load}+{{c.motor_loss}}*({{fan.motor_fixed_loss_frac}}+(1-{{fan.motor_fixed_loss_frac}})*{load}^2))",
        )
        drive = f"({{c.{name}_motor}}/{{c.drive_rated_kw}})"
        sheet.derive(
            f"c.{name}_drive_kw",
            f"{label}: drive input",
            "kW",
            f"{{c.drive_rated_kw}}*({drive}+{{c.drive_loss}}*({{fan.drive_fixed_loss_frac}}+(1-{{fan.drive_fixed_loss_frac}})*{drive}))",
        )

    if fan.measured_kw is None:
        sheet.held("c.scale", "Calibration of fan power", "", 1.0, "no measured point is given")
    else:
        sheet.mirror(f + "measured_cfm", f + "measured_total_inwc", f + "measured_kw")
        point("measured", "At the measured point", "{fan.measured_cfm}", "{fan.measured_total_inwc}")
        sheet.derive(
            "c.scale",
            "Calibration of fan power",
            "",
            "{fan.measured_kw}/{c.measured_drive_kw}",
            "measured over modelled power",
            engine=sheet.site.unit.fan_scale,
        )
    if fan.part_load == "published_curves":
        sheet.mirror(f + "curve_least_flow_frac")
        point("design", "At design", vd, "{fan.design_total_inwc}")
        heat = "motor" if fan.motor_in_airstream else "shaft"
        sheet.derive("c.design_kw", "At design: fan power", "kW", "{c.scale}*{c.design_drive_kw}")
        sheet.derive("c.design_heat_kw", "At design: fan heat into the air", "kW", f"{{c.scale}}*{{c.design_{heat}}}")
        for kind in ("static", "reset"):
            sheet.derive(
                f"c.{kind}_sum", f"Sum of the curve ({kind})", "", "+".join(f"{{k.{kind}_{i}}}" for i in range(4))
            )
    if sheet.site.project.return_fan.type != "none":
        r = "return_fan."
        sheet.mirror(r + "design_inwc", r + "flow_frac", r + "efficiency_frac")
        sheet.derive(
            "c.second_kw",
            "Return or relief fan at design",
            "kW",
            vd + "*{return_fan.flow_frac}*{return_fan.design_inwc}/({k.fan}*{return_fan.efficiency_frac})*{k.hp_kw}",
        )
        if fan.part_load != "published_curves":
            sheet.derive(
                "c.reset_sum", "Sum of the curve with reset", "", "+".join(f"{{k.reset_{i}}}" for i in range(4))
            )
    sheet.fallback(
        "c.index",
        "fan.index_dsp_inwc",
        "{fan.design_dsp_inwc}",
        "the design duct pressure when not given",
        sheet.site.unit.index_dsp_inwc,
    )
