"""One row of one candidate, zone by zone in plain cells that sum to the row."""

from __future__ import annotations

import numpy as np

from ...end_uses import END_USES
from ..addresses import cell_name, column_name, quoted
from ..page import title
from ..sheets.inputs import number_style
from .columns import FIRST_ROW
from .formulas import OWN, Scope
from .site.zones import COLUMN

SHEET = "Row inspector"
_CHOICE, _LINE, _NUMBER, _USED, _LOADS_LINE, _SITE = 4, 5, 6, 7, 8, 9
_VALUE = 2
_SCALAR_ROW = 12
# Names of candidates run on into the empty cells beside them.
_LIST_COLUMN, _LIST_NUMBERS = 7, 10


class Inspector:
    """The sheet; ``values`` holds addresses and values of the chosen row for the sheet of the method."""

    def __init__(self, pen, sheet, results, chains: dict, sites: list):
        self.pen, self.sheet, self.results, self.chains, self.sites = pen, sheet, results, chains, sites
        self.positions = sorted(chains)
        self.values: dict[str, tuple[str, float]] = {}
        base = next(k for k in self.positions if results.candidates[k].id == results.baseline_id)
        self.default = base
        chain = chains[base]
        reheat = chain.grid.scope["reheat_kbtuh"][: chain.lines, 0]
        flow = chain.grid.scope["requested_cfm"][: chain.lines, 0]
        # A row in which much happens: reheat and airflow both.
        self.line = int(np.argmax(reheat / max(reheat.max(), 1e-9) + flow / max(flow.max(), 1e-9))) + 1

    def write(self) -> None:
        pen, sheet, s = self.pen, self.sheet, self.pen.s
        title(
            pen.work,
            sheet,
            "Row inspector",
            "Choose an option and a line: every zone of that row is shown below in plain cells, and sums to the row.",
            link_column=8,
        )
        count = len(self.positions)
        names = [f"{k + 1} {self.results.candidates[k].name}" for k in self.positions]
        at = self.positions.index(self.default)
        chain = self.chains[self.default]
        lines = [self.chains[k].lines * self.chains[k].parts for k in self.positions]
        sheet.text(_CHOICE - 1, 0, "Choose", s("section"))
        for place in range(1, 4):
            sheet.text(_CHOICE - 1, place, "", s("section"))
        head = _CHOICE - 1
        for place, text in enumerate(("Option", "", "", "Lines", "Loads sheet", "Lines of a part")):
            sheet.text(head, _LIST_COLUMN + place, text, s("head_left" if place < 3 else "head"))
        loads_names = list(dict.fromkeys(self.chains[k].site.loads_name for k in self.positions))
        for row, k in enumerate(self.positions, head + 1):
            sheet.text(row, _LIST_COLUMN, names[row - head - 1], s("line", "small"))
            sheet.number(row, _LIST_NUMBERS + 0, float(lines[row - head - 1]), s("f0", "line", "small"))
            sheet.number(
                row,
                _LIST_NUMBERS + 1,
                float(loads_names.index(self.chains[k].site.loads_name) + 1),
                s("f0", "line", "small"),
            )
            sheet.number(row, _LIST_NUMBERS + 2, float(self.chains[k].lines), s("f0", "line", "small"))
        first, last = head + 2, head + 1 + count
        area = lambda at: f"${column_name(at)}${first}:${column_name(at)}${last}"
        column = lambda k: area(_LIST_NUMBERS + k - 1 if k else _LIST_COLUMN)
        cell = lambda row: f"${column_name(_VALUE)}${row + 1}"
        self._label(_CHOICE, "Option", "", "choose from the list")
        sheet.text(_CHOICE, _VALUE, names[at], s("given", "line", "small"))
        self._label(
            _LINE, "Line of its table", "", f"1 to the number of its lines; line 1 is row {FIRST_ROW + 1} of its sheet"
        )
        sheet.number(_LINE, _VALUE, float(self.line), s("given", "line", "f0", "left"))
        sheet.validate(
            _CHOICE,
            _VALUE,
            _CHOICE,
            _VALUE,
            validate="list",
            source="=" + column(0),
            input_title="Option",
            input_message="Choose an option from the list beside.",
            error_title="Not allowed",
            error_message="Expected one of the options in the list beside.",
        )
        sheet.validate(
            _LINE,
            _VALUE,
            _LINE,
            _VALUE,
            validate="integer",
            criteria="between",
            minimum=1,
            maximum=max(lines),
            input_title="Line",
            input_message="A whole number from 1 to the lines of the option.",
            error_title="Not allowed",
            error_message=f"Expected a whole number from 1 to {max(lines)}.",
        )
        number, used = cell(_NUMBER), cell(_USED)
        # Compared as texts: MATCH would take ~ * ? in a name for signs of its own.
        steps = (
            (
                _NUMBER,
                "Its place in the list",
                f"=MAX(1,SUMPRODUCT(({column(0)}={cell(_CHOICE)})*(ROW({column(0)})-{first - 1})))",
                at + 1.0,
                "",
            ),
            (
                _USED,
                "Line that is shown",
                f"=MAX(1,MIN({cell(_LINE)},INDEX({column(1)},{number})))",
                float(self.line),
                "held within its lines",
            ),
            (
                _LOADS_LINE,
                "Line of its loads",
                f"={used}-INDEX({column(3)},{number})*INT(({used}-1)/INDEX({column(3)},{number}))",
                float((self.line - 1) % chain.lines + 1),
                "the rows are once on the sheet of loads",
            ),
            (
                _SITE,
                "Its sheet of loads",
                f"=INDEX({column(2)},{number})",
                float(loads_names.index(chain.site.loads_name) + 1),
                "",
            ),
        )
        for row, label, formula, value, how in steps:
            self._label(row, label, "", how)
            pen.formula(sheet, row, _VALUE, formula, value, s("f0", "line", "left"))
        self._number, self._used, self._loads_line, self._site = number, used, cell(_LOADS_LINE), cell(_SITE)
        self._loads = [next(c.site for c in self.chains.values() if c.site.loads_name == n) for n in loads_names]
        row = self._scalars(max(_SCALAR_ROW, head + count + 3))
        row = self._zones(row + 1)
        sheet.widths([30, 14, 16, 14, 14, *[14] * 14])
        sheet.on_paper(footer=pen.work.footer, last_row=row, last_column=17, letter=False)

    def _label(self, row: int, label: str, unit: str, how: str) -> None:
        s = self.pen.s
        self.sheet.text(row, 0, label, s("line", "small"))
        self.sheet.text(row, 1, unit, s("line", "small"))
        self.sheet.text(row, 3, how, s("small", "quiet"))

    # --- the row

    def _of_row(self, key: str) -> str:
        """Formula of a column of the chosen candidate in the chosen line."""
        parts = [
            f"INDEX({quoted(self.chains[k].grid.sheet.name)}!{self.chains[k].grid.area(key)},{self._used})"
            for k in self.positions
        ]
        return parts[0] if len(parts) == 1 else f"CHOOSE({self._number},{','.join(parts)})"

    def _of_block(self, key: str, zone: int) -> str:
        """Formula of a zone's column of the chosen candidate in the chosen line; 0 where the candidate has none."""
        parts = [
            f"INDEX({quoted(self.chains[k].grid.sheet.name)}!{self.chains[k].grid.area(key)},{self._used},{zone + 1})"
            if key in self.chains[k].grid
            else "0"
            for k in self.positions
        ]
        return parts[0] if len(parts) == 1 else f"CHOOSE({self._number},{','.join(parts)})"

    def _constant(self, name: str) -> str:
        parts = [self.chains[k].grid.outer.address(name) for k in self.positions]
        return parts[0] if len(set(parts)) == 1 else f"CHOOSE({self._number},{','.join(parts)})"

    def _scalars(self, row: int) -> int:
        pen, sheet, s = self.pen, self.sheet, self.pen.s
        chain = self.chains[self.default]
        for place in range(4):
            sheet.text(row, place, "The row, from its sheet" if place == 0 else "", s("section"))
        row += 1
        common = [
            c
            for c in chain.grid.columns
            if c.width == 1 and not c.text and all(c.key in self.chains[k].grid for k in self.positions)
        ]
        shown = (
            "row",
            "weight_h",
            "oat_f",
            "oawb_f",
            "humidity_ratio",
            "enabled",
            "sat_set_f",
            "sat_f",
            "satz",
            "dsp_set_inwc",
            "requested_cfm",
            "ceiling_frac",
            "dsp_held",
            "root",
            "room_flow_cfm",
            "leakage_cfm",
            "flow_cfm",
            "fan_total_inwc",
            "fan_kw",
            "fan_rise_f",
            "room_mean_f",
            "rat_f",
            "oa_min_frac",
            "oa_frac",
            "mat_f",
            "room_humidity_ratio",
            "mixed_humidity_ratio",
            "leaving_humidity_ratio",
            "cooling_sensible_kbtuh",
            "cooling_latent_kbtuh",
            "preheat_kbtuh",
            "reheat_kbtuh",
            *(use.column for use in END_USES),
            "electricity_kw",
            "cost_usd_h",
        )
        by_key = {c.key: c for c in common}
        for key in shown:
            if key not in by_key:
                continue
            c = by_key[key]
            value = float(c.values[self.line - 1, 0])
            self._label(row, c.label, c.unit, "")
            pen.formula(sheet, row, _VALUE, "=" + self._of_row(key), value, s(c.style, "line", "left"))
            self.values[key] = (f"${column_name(_VALUE)}${row + 1}", value)
            row += 1
        for name, label, unit in (
            ("fs", "Sensible factor", "Btu/h·cfm·°F"),
            ("air_handler.design_cfm", "Design airflow", "cfm"),
        ):
            value = float(chain.grid.outer[name])
            self._label(row, label, unit, "")
            pen.formula(sheet, row, _VALUE, "=" + self._constant(name), value, s(number_style(value), "line", "left"))
            self.values[name] = (f"${column_name(_VALUE)}${row + 1}", value)
            row += 1
        return row

    # --- the zones

    def _zone_value(self, name: str, zone: int) -> str:
        """Formula of a zone's constant or load for the chosen candidate."""
        if name.startswith("L."):
            parts = [
                f"INDEX({quoted(site.loads_name)}!{site.loads.area(name[2:])},{self._loads_line},{zone + 1})"
                if name[2:] in site.loads
                else "0"
                for site in self._loads
            ]
        else:
            parts = []
            for site in self._loads:
                parts.append(f"INDEX({site.scope.address(name)},1,{zone + 1})")
        return parts[0] if len(set(parts)) == 1 else f"CHOOSE({self._site},{','.join(parts)})"

    def _zones(self, row: int) -> int:
        pen, sheet, s = self.pen, self.sheet, self.pen.s
        chain = self.chains[self.default]
        site = chain.site
        dual = any(x.dual for x in self._loads)
        line, source = self.line - 1, (self.line - 1) % chain.lines
        for place in range(18):
            sheet.text(
                row, place, "Its zones, one zone each; totals count multipliers" if place == 0 else "", s("section")
            )
        row += 1
        plan = [
            ("mult", "Zones like it", "no.", "f0", "z.mult"),
            ("qc", "Load at cooling setpoint", "Btu/h", "f0", "L.qc"),
            ("qh", "Load at heating setpoint", "Btu/h", "f0", "L.qh"),
            ("ua", "Conductance", "Btu/h·°F", "f1", "L.ua"),
            ("tc", "Cooling setpoint", "°F", "f1", "L.tc"),
            ("th", "Heating setpoint", "°F", "f1", "L.th"),
            ("vmin", "Minimum airflow", "cfm", "f0", "L.vmin"),
            ("vmax", "Maximum airflow", "cfm", "f0", "z.max_cfm"),
            ("extra", "Airflow above minimum while heating", "cfm", "f0", None),
            ("drop", "Cooling of a cfm", "Btu/h·cfm", "f2", None),
            ("req", "Asked for", "cfm", "f0", None),
            ("available", "Open damper passes", "cfm", "f0", None),
            ("v", "Airflow", "cfm", "f0", None),
            ("need", "Reheat to hold", "Btu/h", "f0", None),
            ("limit", "Coil and discharge allow", "Btu/h", "f0", None),
            ("reheat", "Reheat", "Btu/h", "f0", None),
            ("t", "Room", "°F", "f2", None),
        ]
        if not dual:
            plan = [p for p in plan if p[0] != "extra"]
        letters = {key: column_name(k + 1) for k, (key, *_) in enumerate(plan)}
        sheet.text(row, 0, "Zone", s("head_left"))
        sheet.text(row + 1, 0, "", s("units"))
        for k, (_, label, unit, _, _) in enumerate(plan, 1):
            sheet.text(row, k, label, s("head"))
            sheet.text(row + 1, k, unit, s("units"))
        sheet.height(row, 40)
        row += 2
        first = row
        ref = lambda key: self.values[key][0]
        num = lambda key: self.values[key][1]
        g = chain.grid
        z_count = site.count
        fixed = {}
        for key, _, _, _, source_name in plan:
            if source_name is None:
                continue
            if source_name.startswith("L."):
                fixed[key] = (
                    site.loads.column(source_name[2:]).values[source]
                    if source_name[2:] in site.loads
                    else np.zeros(z_count)
                )
            else:
                fixed[key] = np.asarray(site.scope[source_name])[0]
        if dual:
            fixed["extra"] = g.column("extra").values[line] if "extra" in g else np.zeros(z_count)
        # Names of the formulas below: cells of the same line, cells of the row, and constants of the zone.
        names = Scope()
        for key, values in fixed.items():
            names.put(key, f"{letters[key]}{OWN}", values[None])
        for key in ("fs", "satz", "root", "enabled"):
            names.put(key, ref(key), num(key))
        constants = ("z.open", "z.coil", "z.reheat_rise_max_f")
        for name in constants:
            names.put(name, COLUMN + name, site.scope[name])
        engine = {key: g.column(key).values[line] for key in ("req", "v", "reheat")}
        labels = {key: label for key, label, *_ in plan}
        templates = _templates(dual)
        for key, template in templates.items():
            found = np.broadcast_to(names.evaluate(template), (1, z_count))[0]
            if key in engine:
                pen.compare(SHEET, key, found, engine[key], labels[key])
            fixed[key] = engine.get(key, found)
            names.put(key, f"{letters[key]}{OWN}", fixed[key][None])
        if num("room_flow_cfm") > 0.0:
            mean = float(fixed["mult"] * fixed["v"] @ fixed["t"]) / num("room_flow_cfm")
            pen.compare(SHEET, "t", mean, num("room_mean_f"), labels["t"])
        for k, zone in enumerate(chain.project.zones):
            sheet.text(row, 0, zone.name, s("line", "small"))
            for place, (key, _, _, style, source_name) in enumerate(plan, 1):
                if source_name is not None:
                    formula = self._zone_value(source_name, k)
                elif key == "extra":
                    formula = self._of_block("extra", k)
                else:
                    formula = names.formula(templates[key]).replace(OWN, str(row + 1))
                    for name in constants:
                        formula = formula.replace(COLUMN + name, self._zone_value(name, k))
                pen.formula(sheet, row, place, "=" + formula, float(fixed[key][k]), s(style, "line", "small"))
            row += 1
        last = row
        totals = (
            ("req", "requested_cfm", 1.0, "Asked for by all zones"),
            ("v", "room_flow_cfm", 1.0, "Airflow to all rooms"),
            ("reheat", "reheat_kbtuh", 1000.0, "Reheat of all zones"),
        )
        for place in range(len(plan) + 1):
            sheet.text(row, place, "Zones times multipliers" if place == 0 else "", s("total", "small"))
        for key, of_row, factor, _ in totals:
            place = 1 + [p[0] for p in plan].index(key)
            letter = letters[key]
            value = float(fixed["mult"] @ fixed[key])
            pen.formula(
                sheet,
                row,
                place,
                f"=SUMPRODUCT({letters['mult']}{first + 1}:{letters['mult']}{last},{letter}{first + 1}:{letter}{last})",
                value,
                s("f0", "total", "small"),
            )
            said = num(of_row) * factor
            pen.compare(SHEET, f"sum.{key}", value, said, f"{labels[key]}, all zones")
            scale = "" if factor == 1.0 else "*1000"
            pen.formula(sheet, row + 1, place, f"={ref(of_row)}{scale}", said, s("f0", "subtotal", "small"))
            pen.formula(
                sheet,
                row + 2,
                place,
                f"=IF(ABS({cell_name(row, place)}-{cell_name(row + 1, place)})"
                f'<=ABS({cell_name(row + 1, place)})/1000000,"agrees","differs")',
                "agrees",
                s("agree", "small"),
            )
        sheet.text(row + 1, 0, "The row says", s("subtotal", "small"))
        return row + 3


def _templates(dual: bool) -> dict[str, str]:
    """Templates of a zone's cells, each from those before it."""
    least = "{vmin}+{extra}" if dual else "{vmin}"
    return {
        "drop": "{fs}*MAX({tc}-{satz},0)",
        "req": f"IF({{qc}}<={{vmin}}*{{drop}},{least},IF({{qc}}>={{vmax}}*{{drop}},{{vmax}},{{qc}}/{{drop}}))",
        "available": "{z.open}*{root}",
        "v": "MIN({req},{available})",
        "need": "{fs}*{v}*({th}-{satz})-{qh}",
        "limit": "MAX(MIN({z.coil}*{enabled},{fs}*{v}*({th}+{z.reheat_rise_max_f}-{satz})),0)",
        "reheat": "MAX(MIN({need},{limit}),0)",
        "t": "{tc}+IF({ua}+{fs}*{v}>0,({qc}-{fs}*{v}*({tc}-{satz})+{reheat})/({ua}+{fs}*{v}),0)",
    }


def address(name: str) -> str:
    """Address of a cell of the inspector for other sheets."""
    return f"{quoted(SHEET)}!{name}"
