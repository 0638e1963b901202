"""Constants of every zone, a column a zone: inputs and what follows from them."""

from __future__ import annotations

import numpy as np

from ...addresses import column_name, sheet_ref
from ...page import title
from ...sheets.inputs import number_style, value_cell
from ..formulas import Scope
from .site import SUN, Site

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


class ZonesSheet:
    """The sheet of zones. Made, it fixes its rows and names them, so that the air handler's formulas can; then it is
    written.

    Parameters
    ----------
    site : Site
    """

    def __init__(self, site: Site) -> None:
        self.site, self.pen = site, site.pen
        project, scope = site.project, site.scope
        self._rows: list[tuple] = []
        names = {"multiplier": "z.mult"}
        at = 5
        for part in _MIRRORED:
            values = [site.value(f"zone[{zone.name}].{part}") for zone in project.zones]
            numbers = None if part == "rogue" else np.array([[np.nan if v is None else float(v) for v in values]])
            words = np.array([["" if v is None else str(v) for v in values]]) if numbers is None else None
            self._rows.append((at, names.get(part, f"z.{part}"), "input", part, numbers, (values, words)))
            at += 1
        at += 1
        g = site.group
        matrix_row = 0
        member = [np.array([(g == k).astype(float)]) for k in range(len(project.groups))]
        for k, record in enumerate(project.groups):
            self._rows.append((at, f"z.in_{k}", "member", f"In group {record.name}", member[k], None))
            at += 1
        derived = self._derived(member)
        for name, label, unit, template, value in derived:
            if name == "z.first_of_matrix":
                matrix_row = at
                continue
            self._rows.append((at, name, "derived", (label, unit, template), value, None))
            at += 1
        last = ZONE_COLUMN + site.count - 1
        left, right = column_name(ZONE_COLUMN), column_name(last)
        self._local = Scope(scope)
        for row, name, _kind, _, value, more in self._rows:
            address = f"{sheet_ref(site.zones_name)}!${left}${row + 1}:${right}${row + 1}"
            if value is not None:
                scope.put(name, address, value)
            self._local.put(name, f"{COLUMN}{row + 1}", more[1] if value is None else value)
        for part in _OF_GROUP:
            values = [site.value(f"group[{project.groups[g].name}].{part}") for g in site.group]
            self._local.put(f"group.{part}", GROUP + part, np.array([values], dtype=float))
        for path in (f"building.{part}" for part in ("window_shgc", "shading_factor", "roof_u", "roof_absorptance")):
            value, source = float(site.value(path)), site.source(path)
            self._local.put(path, repr(value) if source is None else source, value)
        for word in ("failed_sensor", "starved_branch", "both"):
            self._local.put(f"word.{word}", f'"{word}"', word)
        k = len(project.groups)
        rows = k + len(SUN) + 1
        matrix = np.vstack(
            [scope[n] for n in (*(f"z.area_{j}" for j in range(k)), *(f"z.aperture_{s}" for s in SUN), "z.roof_eq")]
        )
        scope.put(
            "z.matrix", f"{sheet_ref(site.zones_name)}!${left}${matrix_row + 1}:${right}${matrix_row + rows}", matrix
        )
        first = next(row for row, name, *_ in self._rows if name == "z.in_0")
        scope.put(
            "z.members", f"{sheet_ref(site.zones_name)}!${left}${first + 1}:${right}${first + k}", np.vstack(member)
        )

    def _derived(self, member) -> list[tuple]:
        """Constants of zones that follow from inputs: name, label, unit, template, engine's value."""
        z, project = self.site.unit.zones, self.site.project
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
            *self._following(),
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
                row(z.max_cfm / np.sqrt(self.site.unit.index_dsp_inwc * z.index_share)),
            ),
            (
                "z.kv",
                "Pressure over airflow² of an open damper",
                "in. w.c./cfm²",
                "{c.index}*{z.k}/{z.max_cfm}^2",
                row(self.site.unit.index_dsp_inwc * z.index_share / z.max_cfm**2),
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

    def _following(self) -> list[tuple]:
        """Rooms whose occupied setpoints go by the outdoor temperature, where any do."""
        site, z = self.site, self.site.unit.zones
        if not site.follows:
            return []
        row = lambda values: np.array([np.asarray(values, dtype=float)])
        groups = [bool(record.follows_outdoor_air) for record in site.project.groups]
        out: list[tuple] = [
            (
                "z.follows",
                "Its group follows the outdoor temperature",
                "1/0",
                None,
                row([groups[g] for g in site.group]),
            )
        ]
        for name, own, follows in (
            ("z.follows_c", "cooling_setpoint_f", z.follows_cool),
            ("z.follows_h", "heating_setpoint_f", z.follows_heat),
        ):
            label = f"{'Cooling' if own.startswith('cool') else 'Heating'} setpoint follows the outdoor temperature"
            out.append((name, label, "1/0", f"IF(ISNUMBER({{z.{own}}}),0,{{z.follows}})", row(follows)))
        return out

    def write(self, sheet) -> None:
        """Constants of zones, one column a zone."""
        pen, s, project = self.pen, self.pen.s, self.site.project
        title(
            pen.work,
            sheet,
            "Zones" + ("" if self.site.number == 1 else f" of {', '.join(self.site.users)}"),
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
        for k, place in enumerate(self.site.group):
            sheet.text(4, ZONE_COLUMN + k, project.groups[place].name, s("line", "small", "centre"))
        sheet.widths([46, 12, 2, *[9.5] * self.site.count])
        letters = [column_name(ZONE_COLUMN + k) for k in range(self.site.count)]
        for row, name, kind, what, numbers, more in self._rows:
            code = _code_of(numbers)
            style, own = s(code, "line", "right", "small"), s(code, "line", "right", "small", "derived")
            if kind == "input":
                first = f"zone[{project.zones[0].name}].{what}"
                label, unit = self.site.registry.label(first)
                sheet.text(row, 0, label, s("line", "small"))
                sheet.text(row, 1, unit, s("line", "small"))
                paths, values = [f"zone[{zone.name}].{what}" for zone in project.zones], more[0]
                for k, path in enumerate(paths):
                    self._mirror_zone(sheet, row, ZONE_COLUMN + k, path, values[k], style, own)
                if numbers is not None:
                    there = [np.nan if path in self.site.own else self.site.registry.contents[path] for path in paths]
                    there = [v if isinstance(v, (int, float)) else np.nan for v in there]
                    pen.compare(sheet.name, name, numbers, [there], label)
            elif kind == "member":
                sheet.text(row, 0, what, s("line", "small"))
                sheet.text(row, 1, "1/0", s("line", "small"))
                for k in range(self.site.count):
                    sheet.number(row, ZONE_COLUMN + k, float(numbers[0, k]), style)
            else:
                label, unit, template = what
                sheet.text(row, 0, label, s("line", "small"))
                sheet.text(row, 1, unit, s("line", "small"))
                if template is None:
                    for k in range(self.site.count):
                        sheet.number(row, ZONE_COLUMN + k, float(numbers[0, k]), style)
                    continue
                found = np.broadcast_to(self._local.evaluate(template), numbers.shape)
                pen.compare(sheet.name, name, found, numbers, label)
                text = self._local.formula(template)
                for k in range(self.site.count):
                    this = self._of_group(text, k).replace(COLUMN, letters[k])
                    pen.formula(sheet, row, ZONE_COLUMN + k, "=" + this, numbers[0, k], style)
        last = self._rows[-1][0]
        sheet.freeze(5, ZONE_COLUMN)
        sheet.on_paper(
            footer=pen.work.footer,
            last_row=last,
            last_column=ZONE_COLUMN + self.site.count - 1,
            repeat_rows=(3, 4),
            repeat_columns=(0, 1),
            letter=False,
            pages_wide=1 + self.site.count // 30,
        )

    def _of_group(self, text: str, zone: int) -> str:
        """Put in the inputs of a zone's own group."""
        if GROUP not in text:
            return text
        for part in _OF_GROUP:
            text = text.replace(GROUP + part, self.site.scope.address(f"g{self.site.group[zone]}.{part}"))
        return text

    def _mirror_zone(self, sheet, row: int, column: int, path: str, value, style, own) -> None:
        source = self.site.source(path)
        if source is None:
            shown = value_cell(value)
            sheet.cell(row, column, shown, own)
            return
        if value is None or isinstance(value, str):
            cached: object = self.site.registry.contents[path]
        else:
            cached = value
        self.pen.formula(sheet, row, column, "=" + source, cached, style)


def _code_of(numbers) -> str:
    """Number style of a line of zones, so that its largest value fits a narrow column."""
    known = np.abs(numbers[np.isfinite(numbers)]) if numbers is not None else np.array([])
    if not known.size or known.max() == 0.0:
        return "general"
    # A whole number among broken ones does not hide their digits.
    largest = float(known.max()) * (1.0 if np.all(known == np.floor(known)) else 1.0 + 1e-9)
    return "sci" if largest < 0.001 else number_style(largest)
