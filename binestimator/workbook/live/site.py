"""What all candidates with the same other inputs share: air handler, zones, loads row by row.

Three sheets: constants of the air handler and its groups, constants of every zone, and the
loads of every zone in every running row. A candidate that changes other inputs than its
setpoints has three of its own.
"""

from __future__ import annotations

import numpy as np

from ...model.build import group_of_zones
from ...model.plant import AIR_COOLED_SETS, heat_source, preheat_source
from ...model.system import supply_heating_mode
from ...moist_air import humidity_ratio_from_dewpoint
from ...strategies.demand import MOST_REQUESTS, temperature_thresholds_f
from ..figures import when_text
from ..page import title
from ..sheets.inputs import number_style, value_cell
from ..strict import column_name, sheet_ref
from .constants import curve_key
from .formulas import Scope
from .grid import TOTAL_ROWS, Grid
from .plants import source_columns
from .registry import FOLLOWS

# Stand in addresses for the column of a zone, and before an input of its group.
COLUMN, GROUP = "\x03", "\x04"
_OF_GROUP = (
    "minimum_flow_frac",
    "minimum_unoccupied_frac",
    "cooling_setpoint_f",
    "heating_setpoint_f",
    "cooling_unoccupied_f",
    "heating_unoccupied_f",
)
ZONE_COLUMN = 3
SUN = ("north", "east", "south", "west")


class Site:
    """Sheets of one set of inputs, and the names they give.

    Parameters
    ----------
    pen : Pen
    registry : InputRegistry
    constants : Scope
    results : Results
    run : CandidateRun
        Of any candidate of this site.
    number : int
        From 1.
    option : int
        Number of the first option that uses it, by which all but the first set are named.
    users : list of str
        Names of the candidates that use it.
    """

    def __init__(self, pen, registry, constants: Scope, results, run, number: int, option: int, users: list[str]):
        self.pen, self.registry, self.results, self.run = pen, registry, results, run
        self.project, self.unit = run.project, run.unit
        self.scope = Scope(constants)
        self.number, self.users = number, users
        end = "" if number == 1 else f" {option}"
        self.unit_name, self.zones_name, self.loads_name = f"Air handler{end}", f"Zones{end}", f"Loads{end}"
        self.idle_name = f"Idle{end}"
        self._own = {}
        if run.project is not results.project:
            base = {row[0]: row[2] for row in results.project.effective_rows()}
            self._own = {row[0]: row[2] for row in run.project.effective_rows() if base.get(row[0]) != row[2]}
        self.count = len(run.unit.zones)
        self.group = group_of_zones(run.project)

    # What zones and loads read besides sections of their own.
    _ALSO_READ = (
        "fan.index_dsp_inwc",
        "fan.design_dsp_inwc",
        "limits.damper_exponent",
        "limits.loop_ask_pct",
        "limits.loop_release_pct",
        "air_handler.duct_gain_f",
        "air_handler.latent_extra_btuh",
        "heating.enabled_below_f",
        "heating.type",
    )

    def can_share(self) -> bool:
        """Whether zones and loads are those of the first site: nothing that they read is changed."""
        sections = ("building", "group", "zone", "special", "schedule", "calendar", "weather")
        return not any(path in self._ALSO_READ or path.startswith(sections) for path in self._own)

    def share(self, base: Site) -> None:
        """Take zones and loads from another site."""
        self.zones_name, self.loads_name, self.loads, self.dual = (
            base.zones_name,
            base.loads_name,
            base.loads,
            base.dual,
        )
        base.scope.copy_to(self.scope, "z.")

    # --- inputs

    def value(self, path: str):
        """Value of an input in this site; the size that is used where it was not given."""
        if path in self._own:
            return self._own[path]
        return self.registry.shown(path)

    def source(self, path: str) -> str | None:
        """Address of an input, or None where the candidate has its own value."""
        return None if path in self._own else self.registry.address(path)

    # --- air handler

    def write_unit(self, sheet) -> None:
        """Constants of the air handler: first the zones' sheet must have been laid out."""
        pen, s = self.pen, self.pen.s
        self._sheet, self._row = sheet, 4
        title(
            pen.work,
            sheet,
            "Air handler" + ("" if self.number == 1 else f" of {', '.join(self.users)}"),
            "Inputs as they are in force, and what follows from them; the rows of every option read from here.",
            link_column=3,
        )
        sheet.widths([58, 16, 18, 70])
        for place, text in enumerate(("Constant", "Value", "Unit", "How")):
            sheet.text(3, place, text, s("head_left"))
        sheet.freeze(4, 1)

    def _section(self, text: str) -> None:
        self._row += 1
        for place in range(4):
            self._sheet.text(self._row, place, text if place == 0 else "", self.pen.s("section"))
        self._row += 1

    def _put(self, name: str, label: str, unit: str, value, how: str) -> None:
        s, row = self.pen.s, self._row
        self._sheet.text(row, 0, label, s("line", "small"))
        self._sheet.text(row, 2, unit, s("line", "small"))
        self._sheet.text(row, 3, how, s("line", "small", "quiet"))
        self.pen.labels[name] = (label, unit)
        self.scope.put(name, f"{sheet_ref(self.unit_name)}!$B${row + 1}", value)
        self._row += 1

    def mirror(self, *paths: str, start: str = "", whose: str = "") -> None:
        """Inputs that are numbers, as they are in force.

        Formulas name an input by its path, or by ``start`` and the end of its path where that holds a
        user's words: no word of a user may be in a template. ``whose`` comes before the label.
        """
        style = self.pen.s("general", "line", "left")
        for path in paths:
            label, unit = self.registry.label(path)
            label = f"{whose}: {label[:1].lower()}{label[1:]}" if whose else label
            value = float(self.value(path))
            source = self.source(path)
            if source is None:
                self._sheet.number(self._row, 1, value, style)
            else:
                self.pen.formula(self._sheet, self._row, 1, "=" + source, value, style)
                self.pen.compare(self.unit_name, path, value, self.registry.contents[path], label)
            name = start + path.rpartition(".")[2] if start else path
            self._put(name, label, unit, value, "the option's own value" if source is None else "input")

    def derive(self, name: str, label: str, unit: str, template: str, how: str = "", *, engine=None) -> None:
        """A constant that follows from others; ``engine`` is its value of the run where the model keeps one."""
        value = float(np.asarray(self.scope.evaluate(template)).reshape(()))
        if engine is not None:
            self.pen.compare(self.unit_name, name, value, engine, label)
        text = "=" + self.scope.formula(template)
        self.pen.formula(self._sheet, self._row, 1, text, value, self.pen.s(number_style(value), "line", "left"))
        self._put(name, label, unit, value, how)

    def fallback(self, name: str, path: str, template: str, how: str, engine=None) -> None:
        """An input that need not be given, and what takes its place."""
        label, unit = self.registry.label(path)
        given = self._own[path] if path in self._own else self.registry.value(path)
        if path in self._own and given is not None:
            self._sheet.number(self._row, 1, given, self.pen.s("general", "line", "left"))
            self._put(name, label, unit, float(given), "the option's own value")
            return
        if path not in self._own:
            content = self.registry.contents[path]
            shown = np.nan if content is None or isinstance(content, str) else float(content)
            self.scope.put(f"cell.{path}", self.registry.address(path), shown)
            if given is None and path in FOLLOWS:
                # The cell shows what came out of the run: it counts as given once it shows something else.
                self.scope.put(f"run.{path}", self.registry.held(path), shown)
                template = f"IF({{cell.{path}}}={{run.{path}}},{template},{{cell.{path}}})"
            else:
                template = f"IF(ISNUMBER({{cell.{path}}}),{{cell.{path}}},{template})"
        self.derive(name, label, unit, template, how, engine=engine if given is None else float(given))

    def held(self, name: str, label: str, unit: str, value: float, how: str) -> None:
        """A number found by the program."""
        self._sheet.number(self._row, 1, value, self.pen.s(number_style(value), "line", "left"))
        self._put(name, label, unit, float(value), how)

    def fill_unit(self) -> None:
        """All constants of the air handler."""
        pr = self.project
        self._section("Site")
        self.held(
            "pressure",
            "Site pressure",
            "psia",
            float(self.run.rows.on.pressure_psia),
            "value block: mean of the weather file, or input weather.pressure_psia",
        )
        self.derive("fs", "Sensible factor", "Btu/h·cfm·°F", "{k.sensible}*{pressure}/{k.standard_psia}")
        self.derive("fl", "Latent factor", "Btu/h·cfm per lb/lb", "{k.latent}*{pressure}/{k.standard_psia}")
        self.mirror("building.infiltration_running_frac")
        self._section("Groups")
        for g, record in enumerate(pr.groups):
            self._group(g, record.name)
        self._section("Air handler")
        self.mirror("air_handler.design_cfm")
        self.fallback(
            "c.max_cfm",
            "air_handler.max_cfm",
            "{air_handler.design_cfm}",
            "the design airflow when not given",
            self.unit.max_cfm,
        )
        ah = "air_handler."
        self.mirror(
            ah + "duct_gain_f",
            ah + "leakage_frac",
            ah + "leakage_exponent",
            ah + "coil_rh_frac",
            ah + "coil_contact_f",
            ah + "latent_extra_btuh",
        )
        if pr.limits.humidity == "room_dewpoint":
            self.mirror(ah + "humid_dewpoint_f")
        if supply_heating_mode(self.unit) == "own_setpoint":
            self.mirror(ah + "supply_heating_setpoint_f")
        self.derive(
            "c.leak_cfm",
            "Leakage at design duct pressure",
            "cfm",
            "{air_handler.leakage_frac}*{air_handler.design_cfm}",
        )
        self._outdoor_air()
        self._fan()
        self._limits()
        self._plant()
        self._section("Prices")
        self.mirror(
            "prices.electricity_usd_kwh", "prices.fuel_usd_therm", "prices.cooling_usd_kbtu", "prices.heat_usd_kbtu"
        )
        self._sheet.on_paper(footer=self.pen.work.footer, last_row=self._row, last_column=3, repeat_rows=(3, 3))

    def _group(self, g: int, name: str) -> None:
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
        self.mirror(*(at + part for part in paths), start=i, whose=name)
        g_ = "{" + i
        self.derive(
            i + "people",
            f"{name}: sensible heat of people per area",
            "Btu/h·ft²",
            f"{g_}people_sensible_btuh}}/{g_}people_ft2}}",
        )
        self.derive(
            i + "lights",
            f"{name}: light into the room per area",
            "Btu/h·ft²",
            f"{g_}lights_w_ft2}}*{{k.btu_wh}}*(1-{g_}lights_plenum_frac}})",
        )
        self.derive(
            i + "plenum",
            f"{name}: light into the plenum per area",
            "Btu/h·ft²",
            f"{g_}lights_w_ft2}}*{{k.btu_wh}}*{g_}lights_plenum_frac}}",
        )
        self.derive(i + "equipment", f"{name}: equipment per area", "Btu/h·ft²", f"{g_}equipment_w_ft2}}*{{k.btu_wh}}")
        member = f"z.in_{g}"
        self.derive(
            i + "gain_area",
            f"{name}: area that gains count on",
            "ft²",
            f"SUMPRODUCT({{z.mult}},{{z.area_gain}},{{{member}}})",
        )
        self.derive(i + "area", f"{name}: floor area", "ft²", f"SUMPRODUCT({{z.mult}},{{z.area_ft2}},{{{member}}})")
        self.derive(i + "persons", f"{name}: people when full", "persons", f"{{{i}gain_area}}/{g_}people_ft2}}")
        self.derive(
            i + "latent_full",
            f"{name}: moisture of people when full",
            "Btu/h",
            f"{{{i}persons}}*{g_}people_latent_btuh}}",
        )
        self.derive(
            i + "oa_full", f"{name}: outdoor air by people when full", "cfm", f"{{{i}persons}}*{g_}oa_cfm_person}}"
        )
        self.derive(
            i + "plenum_full",
            f"{name}: light into the plenum when all is on",
            "Btu/h",
            f"{{{i}gain_area}}*{{{i}plenum}}",
        )

    def _outdoor_air(self) -> None:
        oa, eco = self.project.outdoor_air, self.project.economizer
        groups = range(len(self.project.groups))
        self._section("Outdoor air and economizer")
        self.mirror("outdoor_air.ventilation_efficiency", "outdoor_air.maximum_frac")
        self.derive(
            "c.oa_area",
            "Outdoor air by area, at the zones",
            "cfm",
            "+".join(f"{{g{g}.area}}*{{g{g}.oa_cfm_ft2}}" for g in groups),
        )
        self.derive(
            "c.oa_people",
            "Outdoor air by people when full, at the zones",
            "cfm",
            "+".join(f"{{g{g}.oa_full}}" for g in groups),
        )
        self.fallback(
            "c.oa_required",
            "outdoor_air.required_cfm",
            "({c.oa_area}+{c.oa_people})/{outdoor_air.ventilation_efficiency}",
            "zones' outdoor air over the ventilation efficiency when not given",
            self.unit.oa_required_cfm,
        )
        self.fallback(
            "c.oa_minimum",
            "outdoor_air.minimum_cfm",
            "{c.oa_required}",
            "required outdoor air when not given",
            self.unit.oa_minimum_cfm,
        )
        self.derive(
            "c.oa_area_cfm",
            "Outdoor air by area, at the intake",
            "cfm",
            "{c.oa_area}/{outdoor_air.ventilation_efficiency}",
            engine=self.unit.oa_area_cfm,
        )
        if oa.control == "position":
            self.fallback(
                "c.oa_position",
                "outdoor_air.position_frac",
                "MIN({c.oa_minimum}/{air_handler.design_cfm},1)",
                "minimum outdoor air over design airflow when not given",
                self.unit.oa_position_frac,
            )
        if eco.stuck_frac is not None:
            self.mirror("economizer.stuck_frac")
        elif eco.type in ("fixed_dry_bulb", "fixed_enthalpy", "differential_enthalpy"):
            self.mirror("economizer.high_limit_f")
        if eco.type == "fixed_enthalpy":
            self.mirror("economizer.high_limit_btu_lb")
        t = "{k.w_ceiling_f}+{k.rankine}"
        self.derive(
            "c.w_ceiling",
            "Humidity ratio of the most humid rooms",
            "lb/lb",
            f"{{k.molar}}*EXP({ln_pressure('water', t)})/({{pressure}}-EXP({ln_pressure('water', t)}))",
        )

    def _fan(self) -> None:
        fan = self.project.fan
        f = "fan."
        self._section("Fans")
        self.mirror(
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
        self.derive(
            "c.system",
            "Pressure lost outside the duct over flow²",
            "in. w.c./cfm²",
            "({fan.design_total_inwc}-{fan.design_dsp_inwc})/" + vd + "^2",
        )
        self.derive(
            "c.shutoff",
            "Fan law: shut-off pressure at full speed",
            "in. w.c.",
            "{fan.shutoff_ratio}*{fan.design_total_inwc}",
        )
        self.derive(
            "c.droop",
            "Fan law: fall of pressure over flow²",
            "in. w.c./cfm²",
            "({fan.shutoff_ratio}-1)*{fan.design_total_inwc}/" + vd + "^2",
        )
        self.derive(
            "c.minimum_inwc",
            "Fan pressure at minimum speed without flow",
            "in. w.c.",
            "{c.shutoff}*{fan.minimum_speed_frac}^2",
        )
        self.derive("c.rated_kw", "Motor output", "kW", "{fan.motor_hp}*{k.hp_kw}")
        self.derive("c.motor_loss", "Motor losses at full load over output", "share", "1/{fan.motor_efficiency_frac}-1")
        self.derive("c.drive_rated_kw", "Drive output at full load", "kW", "{c.rated_kw}/{fan.motor_efficiency_frac}")
        self.derive("c.drive_loss", "Drive losses at full load over output", "share", "1/{fan.drive_efficiency_frac}-1")

        def point(name: str, label: str, flow: str, total: str) -> None:
            self.derive(
                f"c.{name}_phi",
                f"{label}: operating point",
                "",
                f"MIN({{k.phi_max}},{flow}/{vd}/SQRT({total}/{{fan.design_total_inwc}}))",
            )
            self.derive(
                f"c.{name}_shaft",
                f"{label}: fan shaft",
                "kW",
                f"{flow}*{total}/({{k.fan}}*{{fan.efficiency_frac}}*(1-{{fan.efficiency_droop}}*(1-{{c.{name}_phi}})^2))*{{k.hp_kw}}",
            )
            load = f"({{c.{name}_shaft}}/{{fan.belt_efficiency_frac}}/{{c.rated_kw}})"
            self.derive(
                f"c.{name}_motor",
                f"{label}: motor input",
                "kW",
                f"{{c.rated_kw}}*({load}+{{c.motor_loss}}*({{fan.motor_fixed_loss_frac}}+(1-{{fan.motor_fixed_loss_frac}})*{load}^2))",
            )
            drive = f"({{c.{name}_motor}}/{{c.drive_rated_kw}})"
            self.derive(
                f"c.{name}_kw",
                f"{label}: drive input",
                "kW",
                f"{{c.drive_rated_kw}}*({drive}+{{c.drive_loss}}*({{fan.drive_fixed_loss_frac}}+(1-{{fan.drive_fixed_loss_frac}})*{drive}))",
            )

        if fan.measured_kw is None:
            self.held("c.scale", "Calibration of fan power", "", 1.0, "no measured point is given")
        else:
            self.mirror(f + "measured_cfm", f + "measured_total_inwc", f + "measured_kw")
            point("measured", "At the measured point", "{fan.measured_cfm}", "{fan.measured_total_inwc}")
            self.derive(
                "c.scale",
                "Calibration of fan power",
                "",
                "{fan.measured_kw}/{c.measured_kw}",
                "measured over modelled power",
                engine=self.unit.fan_scale,
            )
        if fan.part_load == "published_curves":
            self.mirror(f + "curve_least_flow_frac")
            point("design", "At design", vd, "{fan.design_total_inwc}")
            for kind in ("static", "reset"):
                self.derive(
                    f"c.{kind}_sum", f"Sum of the curve ({kind})", "", "+".join(f"{{k.{kind}_{i}}}" for i in range(4))
                )
        if self.project.return_fan.type != "none":
            r = "return_fan."
            self.mirror(r + "design_inwc", r + "flow_frac", r + "efficiency_frac")
            self.derive(
                "c.second_kw",
                "Return or relief fan at design",
                "kW",
                vd
                + "*{return_fan.flow_frac}*{return_fan.design_inwc}/({k.fan}*{return_fan.efficiency_frac})*{k.hp_kw}",
            )
            if fan.part_load != "published_curves":
                self.derive(
                    "c.reset_sum", "Sum of the curve with reset", "", "+".join(f"{{k.reset_{i}}}" for i in range(4))
                )
        self.fallback(
            "c.index",
            "fan.index_dsp_inwc",
            "{fan.design_dsp_inwc}",
            "the design duct pressure when not given",
            self.unit.index_dsp_inwc,
        )

    def _limits(self) -> None:
        limits = self.project.limits
        m = "limits."
        self._section("Limits and requests")
        self.mirror(
            m + "damper_open_pct",
            m + "damper_release_pct",
            m + "loop_ask_pct",
            m + "loop_release_pct",
            m + "damper_exponent",
        )
        if limits.humidity == "outdoor_dewpoint":
            self.mirror(m + "oa_dewpoint_low_f", m + "oa_dewpoint_high_f")
        self.derive(
            "c.ask",
            "Pressure at the asking damper over that at an open one",
            "",
            "1/(({limits.damper_open_pct}/100)^{limits.damper_exponent})^2",
        )
        self.derive(
            "c.release",
            "Pressure at the releasing damper over that at an open one",
            "",
            "1/(({limits.damper_release_pct}/100)^{limits.damper_exponent})^2",
        )
        self.derive("c.second", "Pressure at the second request over that at an open damper", "", "{k.second_flow}^2")
        self.derive("c.third", "Pressure at the third request over that at an open damper", "", "{k.third_flow}^2")
        zones = self.unit.zones
        self.derive(
            "c.zone_top",
            "Warmest supply air that zones which must stay cold allow",
            "°F",
            "IF(COUNT({z.sat_max_f})=0,{k.never_f},MIN({z.sat_max_f}))",
            engine=float(np.min(zones.sat_max_f)),
        )
        self.derive(
            "c.always_t",
            "Requests for temperature that are always sent",
            "requests",
            "{k.most_requests}*SUMPRODUCT({z.importance},{z.mult},{z.asks_t})",
            engine=MOST_REQUESTS * float(np.sum(zones.weight * zones.asks_temperature)),
        )
        self.derive(
            "c.always_p",
            "Requests for pressure that are always sent",
            "requests",
            "{k.most_requests}*SUMPRODUCT({z.importance},{z.mult},{z.asks_p})",
            engine=MOST_REQUESTS * float(np.sum(zones.weight * zones.asks_pressure)),
        )
        if limits.humidity == "room_dewpoint":
            self.mirror("limits.dsp_min_inwc")
            self.derive(
                "c.lowest_inwc",
                "Lowest duct pressure of the humidity limit",
                "in. w.c.",
                "MIN({limits.dsp_min_inwc},{fan.design_dsp_inwc})",
            )
            t = "{air_handler.humid_dewpoint_f}+{k.rankine}"
            self.derive(
                "c.humid_w",
                "Humidity ratio of the humid limit",
                "lb/lb",
                f"{{k.molar}}*EXP({ln_pressure('water', t)})/({{pressure}}-EXP({ln_pressure('water', t)}))",
                engine=humidity_ratio_from_dewpoint(self.unit.air_handler.humid_dewpoint_f, self.scope["pressure"]),
            )

    def _plant(self) -> None:
        pr, cool, heat = self.project, self.project.cooling, self.project.heating
        c = "cooling."
        self._section("Cooling plant")
        if cool.type in ("chilled_water", "direct_expansion"):
            self.mirror(c + "capacity_tons", c + "units")
            self.derive("c.rated_kbtuh", "Rated capacity", "kBtu/h", "{cooling.capacity_tons}*{k.kbtu_ton}")
        if cool.type == "chilled_water":
            self.mirror(c + "kw_per_ton", c + "minimum_plr_frac", c + "chilled_water_f", c + "chilled_pump_w_ton")
            for kind in ("cap", "eir"):
                q = curve_key(f"chiller_{cool.chiller_set}_{kind}_f_t")
                if kind == "cap":
                    self.derive(
                        "c.chw_f",
                        "Leaving chilled water within the curves",
                        "°F",
                        f"MEDIAN({{{q}.x_low}},{{cooling.chilled_water_f}},{{{q}.x_high}})",
                    )
            if cool.chiller_set not in AIR_COOLED_SETS:
                self.mirror(
                    c + "tower_approach_f", c + "condenser_water_min_f", c + "condenser_pump_w_ton", c + "tower_w_ton"
                )
            self.derive("c.full_kw_ton", "Full-load input at rating", "kW/ton", "{cooling.kw_per_ton}")
            self.derive("c.least_plr", "Least steady part load", "share", "{cooling.minimum_plr_frac}")
            if cool.other_load_tons > 0.0:
                self.mirror(c + "other_load_tons", c + "other_load_zero_f")
        elif cool.type == "direct_expansion":
            self.mirror(c + "eer", c + "stages", c + "lockout_f")
            if cool.cycling_drying_loss_frac > 0.0:
                self.mirror(c + "cycling_drying_loss_frac")
            if cool.rated_with_fan:
                self.derive(
                    "c.cop",
                    "COP without the indoor fan",
                    "",
                    "{k.fan_free_a}*{cooling.eer}*MIN({c.rated_kbtuh}*1000,"
                    "{k.fan_free_cap})+{k.fan_free_b}*{cooling.eer}",
                )
                self.derive("c.full_kw_ton", "Full-load input at rating", "kW/ton", "{k.kw_ton}/{c.cop}")
            else:
                self.derive(
                    "c.full_kw_ton", "Full-load input at rating", "kW/ton", "{k.kw_ton}*{k.btu_wh}/{cooling.eer}"
                )
            self.derive(
                "c.least_plr",
                "Least steady part load: one stage over a unit",
                "share",
                "MIN(1,{cooling.units}/{cooling.stages})",
            )
        elif cool.type == "purchased":
            self.mirror(c + "purchased_loss_frac")
        self._section("Heat sources")
        if heat.type != "none":
            self.mirror("heating.capacity_kbtuh", "heating.enabled_below_f")
        self._heat_points()
        if heat.type != "none":
            self._source("heat", heat_source(heat), "heating.capacity_kbtuh")
        if pr.preheat.type not in ("same", "none"):
            self.held(
                "c.preheat_capacity",
                "Capacity of the supply heating coil's source",
                "kBtu/h",
                self.unit.preheat_kbtuh,
                "value block: sized once",
            )
            if pr.preheat.type == "gas_furnace":
                self.mirror("preheat.efficiency_frac")
            self._source("pre", preheat_source(pr.preheat, heat), "c.preheat_capacity")

    def _heat_points(self) -> None:
        heat, pre = self.project.heating, self.project.preheat
        if "heat_pump" in (heat.type, pre.type):
            self.points("heating_cop_points", "heating.cop_points")
            self.points("heating_capacity_points", "heating.capacity_points")

    def points(self, name: str, path: str) -> None:
        """A table of points, with the slopes between them."""
        self._row = write_points(
            self.pen,
            self._sheet,
            self._row,
            self.scope,
            f"p.{name}",
            path,
            self.registry,
            self.value(path),
            path in self._own,
        )

    def _source(self, n: str, source, capacity: str) -> None:
        h = "heating."
        once = lambda *paths: self.mirror(*(q for q in paths if not self.scope.has(q)))
        if source.standing_loss_kbtuh != 0.0:
            self.fallback(
                f"c.{n}_standing",
                h + "standing_loss_kbtuh",
                f"{{k.standing_share}}*{{{capacity}}}",
                "a share of capacity when not given",
            )
            self.derive(
                f"c.{n}_loss", "Standing loss while enabled", "kBtu/h", f"MIN({{c.{n}_standing}},{{{capacity}}})"
            )
        else:
            self.held(f"c.{n}_loss", "Standing loss while enabled", "kBtu/h", 0.0, "none with this source")
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
            self.derive(
                f"c.{n}_pump_kw", "Hot-water pump at design", "kW", f"{{heating.pump_w_per_kbtuh}}*{{{capacity}}}/1000"
            )

    # --- zones

    _MIRRORED = (
        "multiplier",
        "area_ft2",
        "gain_multiplier",
        "ua_btuh_f",
        "glass_north_ft2",
        "glass_east_ft2",
        "glass_south_ft2",
        "glass_west_ft2",
        "roof_ft2",
        "infiltration_cfm",
        "max_cfm",
        "min_cfm",
        "heat_min_cfm",
        "heat_max_cfm",
        "reheat_kbtuh",
        "reheat_rise_max_f",
        "cooling_setpoint_f",
        "heating_setpoint_f",
        "index_share",
        "survey_flow_cfm",
        "survey_damper_pct",
        "survey_dsp_inwc",
        "importance",
        "rogue",
        "sat_max_f",
    )
    _OPTIONAL = {
        "min_cfm",
        "heat_min_cfm",
        "heat_max_cfm",
        "reheat_kbtuh",
        "cooling_setpoint_f",
        "heating_setpoint_f",
        "index_share",
        "survey_flow_cfm",
        "survey_damper_pct",
        "survey_dsp_inwc",
        "sat_max_f",
    }

    def lay_out_zones(self) -> None:
        """Fix the rows of the zones' sheet, so that the air handler's formulas can name them."""
        project = self.project
        self._zone_rows: list[tuple] = []
        names = {"multiplier": "z.mult"}
        at = 5
        for part in self._MIRRORED:
            values = [self.value(f"zone[{zone.name}].{part}") for zone in project.zones]
            numbers = None if part == "rogue" else np.array([[np.nan if v is None else float(v) for v in values]])
            words = np.array([["" if v is None else str(v) for v in values]]) if numbers is None else None
            self._zone_rows.append((at, names.get(part, f"z.{part}"), "input", part, numbers, (values, words)))
            at += 1
        at += 1
        g = self.group
        self._matrix_row = None
        member = [np.array([(g == k).astype(float)]) for k in range(len(project.groups))]
        for k, record in enumerate(project.groups):
            self._zone_rows.append((at, f"z.in_{k}", "member", f"In group {record.name}", member[k], None))
            at += 1
        derived = self._derived(member)
        for name, label, unit, template, value in derived:
            if name == "z.first_of_matrix":
                self._matrix_row = at
                continue
            self._zone_rows.append((at, name, "derived", (label, unit, template), value, None))
            at += 1
        last = ZONE_COLUMN + self.count - 1
        left, right = column_name(ZONE_COLUMN), column_name(last)
        self._zone_local = Scope(self.scope)
        for row, name, _kind, _, value, more in self._zone_rows:
            address = f"{sheet_ref(self.zones_name)}!${left}${row + 1}:${right}${row + 1}"
            if value is not None:
                self.scope.put(name, address, value)
            self._zone_local.put(name, f"{COLUMN}{row + 1}", more[1] if value is None else value)
        for part in _OF_GROUP:
            values = [self.value(f"group[{project.groups[g].name}].{part}") for g in self.group]
            self._zone_local.put(f"group.{part}", GROUP + part, np.array([values], dtype=float))
        for path in (f"building.{part}" for part in ("window_shgc", "shading_factor", "roof_u", "roof_absorptance")):
            value, source = float(self.value(path)), self.source(path)
            self._zone_local.put(path, repr(value) if source is None else source, value)
        for word in ("failed_sensor", "starved_branch", "both"):
            self._zone_local.put(f"word.{word}", f'"{word}"', word)
        k = len(project.groups)
        rows = k + len(SUN) + 1
        matrix = np.vstack(
            [
                self.scope[n]
                for n in (*(f"z.area_{j}" for j in range(k)), *(f"z.aperture_{s}" for s in SUN), "z.roof_eq")
            ]
        )
        self.scope.put(
            "z.matrix",
            f"{sheet_ref(self.zones_name)}!${left}${self._matrix_row + 1}:${right}${self._matrix_row + rows}",
            matrix,
        )
        first = next(row for row, name, *_ in self._zone_rows if name == "z.in_0")
        self.scope.put(
            "z.members", f"{sheet_ref(self.zones_name)}!${left}${first + 1}:${right}${first + k}", np.vstack(member)
        )

    def _derived(self, member) -> list[tuple]:
        """Constants of zones that follow from inputs: name, label, unit, template, engine's value."""
        z, project = self.unit.zones, self.project
        row = lambda values: np.array([np.asarray(values, dtype=float)])
        by_group = lambda part: f"{{group.{part}}}"
        area_gain = row(z.area_ft2 * z.gain_multiplier)
        asks = lambda word: (
            f"IF(ISNUMBER(SEARCH({{word.{word}}},{{z.rogue}}))+ISNUMBER(SEARCH({{word.both}},{{z.rogue}}))>0,1,0)"
        )
        if_given = lambda part, other: f"IF(ISNUMBER({{z.{part}}}),{{z.{part}}},{other})"
        out = [
            ("z.area_gain", "Area that gains count on", "ft²", "{z.area_ft2}*{z.gain_multiplier}", area_gain),
            ("z.first_of_matrix",) + (None,) * 4,
        ]
        for k, record in enumerate(project.groups):
            out.append(
                (
                    f"z.area_{k}",
                    f"Area that gains of {record.name} count on",
                    "ft²",
                    f"{{z.area_gain}}*{{z.in_{k}}}",
                    area_gain * member[k],
                )
            )
        for j, side in enumerate(SUN):
            out.append(
                (
                    f"z.aperture_{side}",
                    f"Sun through glass facing {side}",
                    "ft²",
                    f"{{z.glass_{side}_ft2}}*{{building.window_shgc}}*{{building.shading_factor}}",
                    row(z.aperture_ft2[:, j]),
                )
            )
        out += [
            (
                "z.roof_eq",
                "Sun through the roof",
                "ft²",
                "{z.roof_ft2}*{building.roof_u}*{building.roof_absorptance}/{k.film}",
                row(z.roof_ft2_eq),
            ),
            (
                "z.min",
                "Minimum airflow, occupied",
                "cfm",
                f"MIN({if_given('min_cfm', by_group('minimum_flow_frac') + '*{z.max_cfm}')},{{z.max_cfm}})",
                row(z.min_cfm),
            ),
            (
                "z.min_off",
                "Minimum airflow, unoccupied",
                "cfm",
                f"MIN({by_group('minimum_unoccupied_frac')}*{{z.max_cfm}},{{z.max_cfm}})",
                row(z.min_unoccupied_cfm),
            ),
            (
                "z.heat_max",
                "Most airflow while heating",
                "cfm",
                f"MAX({if_given('heat_max_cfm', 'MAX({k.heat_share}*{z.max_cfm},{z.min})')},{{z.min}})",
                row(z.heat_max_cfm),
            ),
            (
                "z.heat_min",
                "Least airflow while heating",
                "cfm",
                f"MIN({if_given('heat_min_cfm', '{z.min}')},{{z.heat_max}})",
                row(z.heat_min_cfm),
            ),
            ("z.dual", "Dual maximum with a reheat coil", "1/0", None, row(z.dual_maximum & z.has_reheat)),
            ("z.has_reheat", "Reheat coil", "1/0", None, row(z.has_reheat)),
            (
                "z.coil",
                "Capacity of the reheat coil",
                "Btu/h",
                "IF({z.has_reheat}=1,{z.reheat_kbtuh}*1000,0)",
                row(z.reheat_btuh),
            ),
            (
                "z.tco",
                "Cooling setpoint, occupied",
                "°F",
                if_given("cooling_setpoint_f", by_group("cooling_setpoint_f")),
                row(z.cool_occupied_f),
            ),
            (
                "z.tho",
                "Heating setpoint, occupied",
                "°F",
                if_given("heating_setpoint_f", by_group("heating_setpoint_f")),
                row(z.heat_occupied_f),
            ),
            (
                "z.tcu",
                "Cooling setpoint, unoccupied",
                "°F",
                by_group("cooling_unoccupied_f"),
                row(z.cool_unoccupied_f),
            ),
            (
                "z.thu",
                "Heating setpoint, unoccupied",
                "°F",
                by_group("heating_unoccupied_f"),
                row(z.heat_unoccupied_f),
            ),
            (
                "z.k",
                "Share of the index run's pressure needed at design flow",
                "share",
                "IF(ISNUMBER({z.survey_flow_cfm}),"
                "{z.survey_dsp_inwc}/{c.index}*({z.max_cfm}/{z.survey_flow_cfm}*({z.survey_damper_pct}/100)^{limits.damper_exponent})^2,{z.index_share})",
                row(z.index_share),
            ),
            (
                "z.open",
                "Airflow of an open damper at 1 in. w.c.",
                "cfm",
                "{z.max_cfm}/SQRT({c.index}*{z.k})",
                row(z.max_cfm / np.sqrt(self.unit.index_dsp_inwc * z.index_share)),
            ),
            (
                "z.kv",
                "Pressure over airflow² of an open damper",
                "in. w.c./cfm²",
                "{c.index}*{z.k}/{z.max_cfm}^2",
                row(self.unit.index_dsp_inwc * z.index_share / z.max_cfm**2),
            ),
            (
                "z.asks_t",
                "Always asks for colder air",
                "1/0",
                asks("failed_sensor"),
                row(z.asks_temperature),
            ),
            (
                "z.asks_p",
                "Always asks for pressure",
                "1/0",
                asks("starved_branch"),
                row(z.asks_pressure),
            ),
            (
                "z.weight_t",
                "Weight of its temperature requests",
                "",
                "{z.mult}*{z.importance}*(1-{z.asks_t})",
                row(np.where(z.asks_temperature, 0.0, z.weight)),
            ),
            (
                "z.weight_p",
                "Weight of its pressure requests",
                "",
                "{z.mult}*{z.importance}*(1-{z.asks_p})",
                row(np.where(z.asks_pressure, 0.0, z.weight)),
            ),
        ]
        return out

    def write_zones(self, sheet) -> None:
        """Constants of zones, one column a zone."""
        pen, s, project = self.pen, self.pen.s, self.project
        title(
            pen.work,
            sheet,
            "Zones" + ("" if self.number == 1 else f" of {', '.join(self.users)}"),
            "Inputs of every zone as they are in force, and what follows from them; a column a zone, one zone each "
            "(not times its multiplier)",
            link_column=ZONE_COLUMN + 6,
        )
        sheet.text(3, 0, "Constant", s("head_left"))
        sheet.text(3, 1, "Unit", s("head_left"))
        sheet.text(3, 2, "", s("head_left"))
        sheet.height(3, 48)
        for k, zone in enumerate(project.zones):
            sheet.text(3, ZONE_COLUMN + k, zone.name, s("head", "small"))
        sheet.text(4, 0, "Group", s("line", "small"))
        for k, place in enumerate(self.group):
            sheet.text(4, ZONE_COLUMN + k, project.groups[place].name, s("line", "small", "centre"))
        sheet.widths([46, 12, 2, *[9.5] * self.count])
        letters = [column_name(ZONE_COLUMN + k) for k in range(self.count)]
        for row, name, kind, what, numbers, more in self._zone_rows:
            code = _code_of(numbers)
            style, own = s(code, "line", "right", "small"), s(code, "line", "right", "small", "derived")
            if kind == "input":
                first = f"zone[{project.zones[0].name}].{what}"
                label, unit = self.registry.label(first)
                sheet.text(row, 0, label, s("line", "small"))
                sheet.text(row, 1, unit, s("line", "small"))
                paths, values = [f"zone[{zone.name}].{what}" for zone in project.zones], more[0]
                for k, path in enumerate(paths):
                    self._mirror_zone(sheet, row, ZONE_COLUMN + k, path, values[k], style, own)
                if numbers is not None:
                    there = [np.nan if path in self._own else self.registry.contents[path] for path in paths]
                    there = [v if isinstance(v, (int, float)) else np.nan for v in there]
                    pen.compare(sheet.name, name, numbers, [there], label)
            elif kind == "member":
                sheet.text(row, 0, what, s("line", "small"))
                sheet.text(row, 1, "1/0", s("line", "small"))
                for k in range(self.count):
                    sheet.number(row, ZONE_COLUMN + k, float(numbers[0, k]), style)
            else:
                label, unit, template = what
                sheet.text(row, 0, label, s("line", "small"))
                sheet.text(row, 1, unit, s("line", "small"))
                if template is None:
                    for k in range(self.count):
                        sheet.number(row, ZONE_COLUMN + k, float(numbers[0, k]), style)
                    continue
                found = np.broadcast_to(self._zone_local.evaluate(template), numbers.shape)
                pen.compare(sheet.name, name, found, numbers, label)
                text = self._zone_local.formula(template)
                for k in range(self.count):
                    this = self._of_group(text, k).replace(COLUMN, letters[k])
                    pen.formula(sheet, row, ZONE_COLUMN + k, "=" + this, numbers[0, k], style)
        last = self._zone_rows[-1][0]
        sheet.freeze(5, ZONE_COLUMN)
        sheet.on_paper(
            footer=pen.work.footer,
            last_row=last,
            last_column=ZONE_COLUMN + self.count - 1,
            repeat_rows=(3, 4),
            repeat_columns=(0, 1),
            letter=False,
            pages_wide=1 + self.count // 30,
        )

    def _of_group(self, text: str, zone: int) -> str:
        """Put in the inputs of a zone's own group."""
        if GROUP not in text:
            return text
        for part in _OF_GROUP:
            text = text.replace(GROUP + part, self.scope.address(f"g{self.group[zone]}.{part}"))
        return text

    def _mirror_zone(self, sheet, row: int, column: int, path: str, value, style, own) -> None:
        source = self.source(path)
        if source is None:
            shown = value_cell(value)
            sheet.cell(row, column, shown, own)
            return
        if value is None or isinstance(value, str):
            cached: object = self.registry.contents[path]
        else:
            cached = value
        self.pen.formula(sheet, row, column, "=" + source, cached, style)

    # --- loads

    def write_loads(self, sheet, base_rows, demand_sat: bool) -> None:
        """Loads of every zone in every running row.

        Parameters
        ----------
        base_rows : Rows or None
            Rows of the first site where this one's conditions are those of the sheet of rows.
        demand_sat : bool
            A candidate of the site resets supply temperature by demand.
        """
        pen, rows, unit = self.pen, self.run.rows, self.unit
        on, loads = rows.on, rows.loads
        n, z_count = len(rows.running), self.count
        groups = range(len(self.project.groups))
        grid = self.loads = Grid(pen, sheet, self.scope, n)
        col = lambda values: np.asarray(values, dtype=float).reshape(-1, 1)
        title(
            pen.work,
            sheet,
            "Loads" + ("" if self.number == 1 else f" of {', '.join(self.users)}"),
            "Running rows: conditions, then for every zone what does not depend on setpoints. Zone columns are one "
            "zone each, not times its multiplier.",
            link_column=11,
        )
        bin_rows = base_rows
        pick = lambda key: bin_rows(key) if bin_rows else None
        grid.group("Row")
        grid.add("row", "Row", "no.", None, "f0", values=col(rows.running + 1.0))
        when = [when_text(*at) for at in zip(on.month.tolist(), on.day.tolist(), on.hour_start.tolist())]
        grid.add("when", "Date and hour", "std. time", None, "inset", values=when, text=True)
        grid.add(
            "weight", "Weight", "h/yr", pick("weight_h"), "f2", values=col(on.hours), total="weight", total_unit="h"
        )
        grid.group("Conditions")
        grid.add("oat", "Outdoor dry bulb", "°F", pick("oat_f"), "f1", values=col(on.oat_f))
        grid.add("oawb", "Outdoor wet bulb", "°F", pick("oawb_f"), "f1", values=col(on.oawb_f))
        grid.add(
            "dewpoint",
            "Outdoor dew point",
            "°F",
            pick("oa_dewpoint_f") if "oa_dewpoint_f" in self.results.row_table.columns else None,
            "f1",
            values=col(on.oa_dewpoint_f),
        )
        grid.add("w", "Outdoor humidity ratio", "lb/lb", pick("humidity_ratio"), "f5", values=col(on.humidity_ratio))
        grid.add("occupied", "Occupied", "1/0", pick("occupied"), "f0", values=col(on.occupied))
        if self.project.heating.type == "none":
            grid.add("enabled", "Heating plant enabled", "1/0", None, "f0", values=col(np.zeros(n)))
        else:
            grid.add("enabled", "Heating plant enabled", "1/0", "IF({oat}<{heating.enabled_below_f},1,0)", "f0")
        grid.group("Shares of the groups (value block)")
        for kind in ("people_gain", "lights_gain", "equipment_gain", "people", "lights", "group_occupied"):
            values = getattr(on, kind if kind == "group_occupied" else f"{kind}_frac")
            label = {
                "people_gain": "People, delayed",
                "lights_gain": "Lights, delayed",
                "equipment_gain": "Equipment, delayed",
                "people": "People present",
                "lights": "Lights on",
                "group_occupied": "Group occupied",
            }[kind]
            full = {"people": ("latent_full", "oa_full"), "lights": ("plenum_full",)}.get(kind, ())
            for g in groups:
                grid.add(
                    f"{kind}_{g}",
                    f"{label}: {self.project.groups[g].name}",
                    "share",
                    None,
                    "f3",
                    values=col(values[:, g]),
                    above=tuple(f"g{g}.{name}" for name in full),
                )
            ends = f"{kind}_0", f"{kind}_{len(groups) - 1}"
            grid.block(f"{kind}_row", *ends)
            for tier, name in enumerate(full):
                grid.block_above(f"{name}_row", *ends, tier)
        grid.group("Gains per area, and sun (value block)")
        for g in groups:
            grid.add(
                f"gain_{g}",
                f"Gains per area: {self.project.groups[g].name}",
                "Btu/h·ft²",
                f"{{people_gain_{g}}}*{{g{g}.people}}+{{lights_gain_{g}}}*{{g{g}.lights}}+{{equipment_gain_{g}}}*{{g{g}.equipment}}",
                "f2",
                above=tuple(f"g{g}.{name}" for name in ("people", "lights", "equipment")),
            )
        for j, side in enumerate(SUN):
            grid.add(
                f"sun_{side}",
                f"Sun through clear glass, {side}",
                "Btu/h·ft²",
                None,
                "f1",
                values=col(on.glass_sun_btuh_ft2[:, j]),
            )
        grid.add("sun_roof", "Sun on the roof", "Btu/h·ft²", None, "f1", values=col(on.roof_sun_btuh_ft2))
        grid.group("Whole building")
        grid.add(
            "infiltration_frac",
            "Infiltration that remains",
            "share",
            "IF({occupied}=1,{building.infiltration_running_frac},1)",
            "f2",
        )
        grid.add(
            "infiltration",
            "Infiltration of all rooms",
            "cfm",
            "{infiltration_frac}*SUMPRODUCT({z.mult},{z.infiltration_cfm})",
            "f0",
        )
        grid.add(
            "latent",
            "Moisture gain",
            "Btu/h",
            "SUMPRODUCT({people_row},{latent_full_row})+{occupied}*{air_handler.latent_extra_btuh}",
            "f0",
        )
        grid.add("plenum", "Light into the plenum", "Btu/h", "SUMPRODUCT({lights_row},{plenum_full_row})", "f0")
        grid.add(
            "oa_people",
            "Outdoor air by people present, at the zones",
            "cfm",
            "SUMPRODUCT({people_row},{oa_full_row})",
            "f0",
        )
        names = tuple(z.name for z in self.project.zones)
        block = lambda key, label, unit, template, style="f0": (
            grid.group(label + ", zone by zone"),
            grid.add(key, label, unit, template, style, width=z_count, array=True, head=names),
        )
        grid.block("gain_row", "gain_0", "sun_roof")
        block("gains", "Room gains with sun", "Btu/h", "MMULT({gain_row},{z.matrix})")
        block(
            "ua",
            "Conductance with infiltration",
            "Btu/h·°F",
            "{z.ua_btuh_f}+{fs}*{infiltration_frac}*{z.infiltration_cfm}",
            "f1",
        )
        block("tc", "Cooling setpoint", "°F", "{z.tcu}+MMULT({group_occupied_row},{z.members})*({z.tco}-{z.tcu})", "f1")
        block("th", "Heating setpoint", "°F", "{z.thu}+MMULT({group_occupied_row},{z.members})*({z.tho}-{z.thu})", "f1")
        block(
            "vmin",
            "Minimum airflow",
            "cfm",
            "{z.min_off}+MMULT({group_occupied_row},{z.members})*({z.min}-{z.min_off})",
        )
        block("qc", "Load at the cooling setpoint", "Btu/h", "{gains}+{ua}*({oat}-{tc})")
        block("qh", "Load at the heating setpoint", "Btu/h", "{gains}+{ua}*({oat}-{th})")
        self.dual = bool((unit.zones.dual_maximum & unit.zones.has_reheat).any())
        if self.dual:
            block("heat_low", "Least airflow while heating", "cfm", "IF({z.heat_min}>{vmin},{z.heat_min},{vmin})")
            block("heat_high", "Most airflow while heating", "cfm", "IF({z.heat_max}>{vmin},{z.heat_max},{vmin})")
            block(
                "heat_air",
                "Airflow that carries the heat at the highest discharge",
                "cfm",
                "-{qh}/({fs}*{z.reheat_rise_max_f})",
            )
        if demand_sat:
            for key, label, share in (
                ("t_ask", "Supply air at which the loop asks", "{limits.loop_ask_pct}"),
                ("t_release", "Supply air at which the loop releases", "{limits.loop_release_pct}"),
            ):
                block(
                    key,
                    label,
                    "°F",
                    f"IF({{qc}}>0,"
                    f"{{tc}}-{{qc}}/({{fs}}*({{vmin}}+{share}/100*({{z.max_cfm}}-{{vmin}})))-{{air_handler.duct_gain_f}},{{k.never_f}})",
                    "f1",
                )
            for key, label, excess in (
                ("t_second", "Supply air of the second request", "{k.second_f}"),
                ("t_third", "Supply air of the third request", "{k.third_f}"),
            ):
                warm = f"{{tc}}+{excess}-({{qc}}-{{ua}}*{excess})/({{fs}}*{{z.max_cfm}})-{{air_handler.duct_gain_f}}"
                block(
                    key,
                    label,
                    "°F",
                    f"IF({{qc}}<={{ua}}*{excess},{{k.never_f}},IF({warm}>{{t_ask}},{warm},{{t_ask}}))",
                    "f1",
                )
        for key, values in (
            ("infiltration", loads.infiltration_cfm),
            ("latent", loads.latent_btuh),
            ("plenum", loads.plenum_btuh),
            ("oa_people", loads.oa_people_cfm),
            ("gains", loads.gains_btuh),
            ("ua", loads.ua_btuh_f),
            ("tc", loads.cool_f),
            ("th", loads.heat_f),
            ("vmin", loads.min_cfm),
            ("qc", loads.q_cool_btuh),
            ("qh", loads.q_heat_btuh),
        ):
            wanted = np.asarray(values, dtype=float).reshape(n, -1)
            grid.compare(key, wanted)
            grid.set_values(key, wanted)
        if demand_sat:
            keys = ("t_ask", "t_release", "t_second", "t_third")
            for key, wanted in zip(keys, temperature_thresholds_f(unit, loads), strict=True):
                grid.compare(key, wanted)
        grid.write()
        sheet.widths([5.5, 12, *[9.5] * (grid.width - 2)])
        grid.show(3, pen.work.footer)

    # --- heating plant that stays enabled while the air handler is off

    def has_idle(self) -> bool:
        """Whether the heating plant can take energy while the air handler is off."""
        heat = self.project.heating
        return (
            heat.type != "none"
            and heat.enabled_unoccupied
            and len(self.run.rows.running) < len(self.run.rows.conditions.oat_f)
        )

    def write_idle(self, sheet, base_rows) -> None:
        """Energy of the idle heating plant in the rows with the air handler off."""
        c, heat = self.run.rows.conditions, self.project.heating
        off = np.flatnonzero(c.fan_on <= 0.0)
        grid = Grid(self.pen, sheet, self.scope, len(off))
        col = lambda values: np.asarray(values, dtype=float).reshape(-1, 1)
        title(
            self.pen.work,
            sheet,
            "Idle heating plant" + ("" if self.number == 1 else f" of {', '.join(self.users)}"),
            "Rows with the air handler off: what the heating plant takes while it stays enabled. The same for all "
            "options.",
            link_column=11,
        )
        grid.group("Row")
        grid.add("row", "Row", "no.", None, "f0", values=col(off + 1.0))
        grid.add(
            "weight", "Weight", "h/yr", base_rows("weight_h") if base_rows else None, "f2", values=col(c.hours[off])
        )
        grid.add(
            "oat", "Outdoor dry bulb", "°F", base_rows("oat_f") if base_rows else None, "f1", values=col(c.oat_f[off])
        )
        grid.group("Heat source")
        add = lambda key, label, unit, template, style="f2": grid.add(key, label, unit, template, style)
        electric, fuel, purchased, pumps, _ = source_columns(
            add,
            "heat",
            heat_source(heat),
            "heating.capacity_kbtuh",
            "0",
            "IF({oat}<{heating.enabled_below_f},1,0)",
            "{oat}",
        )
        self.idle = {}
        grid.group("Energy")
        for annual, label, unit, terms in (
            ("heating_kwh", "Electric heat", "kW", electric),
            ("fuel_therm", "Fuel", "therm/h", fuel),
            ("purchased_heating_kbtu", "Purchased heat", "kBtu/h", purchased),
            ("pump_tower_kwh", "Hot-water pump", "kW", pumps),
        ):
            if terms:
                grid.add(annual, label, unit, "+".join(terms), "f4")
        style = self.pen.s("f1", "subtotal", "small")
        sheet.text(TOTAL_ROWS["rows"], 0, "Rows", self.pen.s("subtotal", "small"))
        names = Scope()
        names.put("weight", grid.area("weight"), grid.scope["weight"].T)
        for c_ in grid.groups[-1].columns:
            names.put("column", grid.area(c_.key), c_.values.T)
            template = "SUMPRODUCT({weight},{column})"
            value = self.pen.evaluated(sheet, TOTAL_ROWS["rows"], c_.column, names, template, style)
            self.idle[c_.key] = (f"{sheet_ref(sheet.name)}!${column_name(c_.column)}${TOTAL_ROWS['rows'] + 1}", value)
        grid.write()
        sheet.widths([9.5] * grid.width)
        grid.show(1, self.pen.work.footer)

    idle: dict = {}


def _code_of(numbers) -> str:
    """Number style of a line of zones, so that its largest value fits a narrow column."""
    known = np.abs(numbers[np.isfinite(numbers)]) if numbers is not None else np.array([])
    if not known.size or known.max() == 0.0:
        return "general"
    # A whole number among broken ones does not hide their digits.
    largest = float(known.max()) * (1.0 if np.all(known == np.floor(known)) else 1.0 + 1e-9)
    return "sci" if largest < 0.001 else number_style(largest)


# Colder than any air and less than any airflow: the abscissa from which the first point's value holds.
_BELOW_ALL_POINTS = -1000.0


def write_points(
    pen,
    sheet,
    row: int,
    scope: Scope,
    name: str,
    path: str,
    registry,
    points,
    own_values: bool = False,
    x_unit: str = "",
) -> int:
    """Points of a line and the slope after each; returns the next row.

    Abscissas, ordinates and slopes are one below the other, each after a line for what lies below
    the first point, so that formulas can look up in them. ``x_unit`` where it is not that of the input.
    """
    s = pen.s
    label, unit = registry.label(path)
    # Points of two kinds name both, as "degF:in. w.c. or %:in. w.c.".
    x_unit, y_unit = x_unit or unit.partition(":")[0], unit.rpartition(":")[2]
    style = s("general", "line", "left")
    at = lambda k: f"{sheet_ref(sheet.name)}!$B${k + 1}"
    flat = "flat outside the points"
    count = len(points)

    def line(words: str, u: str, value: float, formula: str | None, how: str) -> float:
        nonlocal row
        sheet.text(row, 0, f"{label}: {words}", s("line", "small"))
        sheet.text(row, 2, u, s("line", "small"))
        sheet.text(row, 3, how, s("line", "small", "quiet"))
        if formula is None:
            sheet.number(row, 1, value, style)
        else:
            pen.formula(sheet, row, 1, "=" + formula, value, style)
        row += 1
        return value

    starts, columns = [], []
    for axis, numbers, u in (
        ("x", [float(x) for x, _ in points], x_unit),
        ("y", [float(y) for _, y in points], y_unit),
    ):
        starts.append(row)
        below = (
            [
                line(
                    f"{axis} below all points",
                    u,
                    *((_BELOW_ALL_POINTS, None) if axis == "x" else (numbers[0], at(row + 1))),
                    flat,
                )
            ]
            if count > 1
            else []
        )
        for k, number in enumerate(numbers, 1):
            scope.put(f"{name}.{axis}{k}", at(row), number)
            line(
                f"{axis}{k}",
                u,
                number,
                None if own_values else registry.address(f"{path}.{axis}{k}"),
                "the option's own value" if own_values else "input",
            )
        columns.append([*below, *numbers])
    if count == 1:
        return row
    starts.append(row)
    slopes = [line("slope below all points", "", 0.0, None, flat)]
    for k in range(1, count):
        template = f"({{{name}.y{k + 1}}}-{{{name}.y{k}}})/({{{name}.x{k + 1}}}-{{{name}.x{k}}})"
        slopes.append(
            line(f"slope from {k} to {k + 1}", "", float(scope.evaluate(template)), scope.formula(template), "")
        )
    slopes.append(line(f"slope from {count} on", "", 0.0, None, flat))
    for part, start, numbers in zip("xys", starts, (*columns, slopes), strict=True):
        scope.put(f"{name}.{part}", f"{at(start)}:$B${start + len(numbers)}", np.array([numbers]))
    return row


def ln_pressure(phase: str, t: str) -> str:
    """Template of ln of the vapour pressure [psi] at an absolute temperature."""
    a = [f"{{k.{phase}_{i}}}" for i in range(7)]
    t = f"({t})"
    return f"{a[0]}/{t}+{a[1]}+{t}*({a[2]}+{t}*({a[3]}+{t}*({a[4]}+{t}*{a[5]})))+{a[6]}*LN({t})"
