"""A candidate row by row, as formulas: from outdoor air to cost, in the order of the calculation."""

from __future__ import annotations

import numpy as np

from ...end_uses import ELECTRIC, ELECTRICITY_PRICE, END_USES
from ...model.plant import AIR_COOLED_SETS, heat_source, preheat_source
from ...model.system import supply_heating_mode, zones_of
from ...model.terminals import cooling_flow_cfm
from ...strategies import demand
from ...strategies.limits import sat_limits
from ...strategies.registry import dsp_strategy, sat_strategy
from ..layout import CANDIDATE_COLUMN, CANDIDATE_COLUMNS
from . import floating
from .ceiling import rationing
from .constants import biquadratic, curve_key, polynomial
from .formulas import Scope, line_through
from .grid import Grid
from .plants import coefficients, source_columns
from .site import Site, ln_pressure


class Chain:
    """The columns of one candidate on its sheet.

    Parameters
    ----------
    pen : Pen
    sheet : Sheet
    site : Site
    run : CandidateRun
    candidate : Candidate
    parameters : Scope
        Names ``p.*`` of the candidate's own parameters, over the site's.
    floats : Floats
        Rows that may end off their setpoint, and sheets for them; where there are any the air side is worked out at the
        setpoint first.
    rationed : bool
        The fan comes to its airflow ceiling in some rows.
    """

    def __init__(self, pen, sheet, site: Site, run, candidate, parameters: Scope, floats, rationed: bool):
        self.pen, self.site, self.run, self.candidate, self.floats, self.rationed = (
            pen,
            site,
            run,
            candidate,
            floats,
            rationed,
        )
        self.two_pass = bool(floats.rows)
        self.parameters = parameters
        self.unit, self.project = run.unit, run.project
        self.parts = len(run.parts)
        self.lines = len(run.rows.running)
        self.rows = np.arange(self.lines)
        scope = Scope(parameters)
        loads = site.loads
        for c in loads.columns:
            if not c.text:
                scope.put(f"L.{c.key}", loads.outside_address(c.key), np.tile(c.values, (self.parts, 1)))
            else:
                scope.put(f"L.{c.key}", loads.outside_address(c.key), c.values * self.parts)
        self.grid = Grid(pen, sheet, scope, self.lines, self.parts)
        self.known = {c.key: c for c in CANDIDATE_COLUMNS}

    # --- helpers

    def engine(self, name: str) -> np.ndarray:
        """A field of the engine's rows, part after part."""
        if name == "fans_kw":
            return self.engine("fan_kw") + self.engine("return_fan_kw")
        return np.concatenate([np.asarray(getattr(p.state, name), dtype=float) for p in self.run.parts])

    def col(self, key: str, label: str, unit: str, template, style: str = "f2") -> None:
        """A helper column."""
        self.grid.add(key, label, unit, template, style)

    def out(self, key: str, template, *, prefix: str = "") -> None:
        """A column of the layout; its values are those of the engine."""
        c = self.known[key]
        if template is None:
            self.grid.add(
                prefix + key,
                c.label + self.more(prefix),
                c.unit,
                None,
                c.style,
                total=c.total,
                total_unit=c.total_unit,
                annual=c.annual,
                values=np.zeros(self.lines * self.parts),
            )
            if not prefix and key in CANDIDATE_COLUMN:
                self.grid.compare(key, self.engine(key)[:, None])
            return
        if prefix:
            self.grid.add(prefix + key, c.label + self.more(prefix), c.unit, template, c.style)
            return
        column = self.grid.add(
            key, c.label, c.unit, template, c.style, total=c.total, total_unit=c.total_unit, annual=c.annual
        )
        if key in CANDIDATE_COLUMN:
            values = self.engine(key)
            self.pen.compare(self.grid.sheet.name, key, column.values[:, 0], values, c.label)
            self.grid.set_values(key, np.where(np.isfinite(values), values, 0.0))

    def _group(self, label: str) -> None:
        self.grid.group(label)

    @property
    def engine_loads(self):
        """The engine's loads of the lines."""
        return self.run.rows.loads.take(np.tile(self.rows, self.parts))

    def more(self, x: str) -> str:
        """What a prefix of columns means, behind their labels."""
        return {"a_": ", first look", "b_": ", before closing"}.get(x, "")

    def block(self, key: str, label: str, unit: str, template, style: str = "f0") -> None:
        names = tuple(z.name for z in self.project.zones)
        self.grid.group(label + ", zone by zone")
        self.grid.add(key, label, unit, template, style, width=self.site.count, array=True, head=names)

    # --- the chain

    def build(self) -> Grid:
        """All columns."""
        g = self.grid
        self._row()
        self._setpoint_sat()
        if self.two_pass:
            self._terminals("a_", "{sat_set_f}")
            self._air("a_", "{sat_set_f}")
            self._mix("a_", "{sat_set_f}")
            self._coils("a_", "a_", "{sat_set_f}")
            self._group("Supply air that results")
            floating.result(self)
        else:
            g.group("Supply air")
            self.out("sat_f", "{sat_set_f}")
        self._terminals("", "{sat_f}")
        self._air("", "{sat_f}")
        if self.two_pass:
            floating.closed(self)
        else:
            self._mix("", "{sat_f}")
            self._coils("", "", "{sat_f}")
        self._count()
        self._plant()
        return g

    def of_rows(self, sheet, rows) -> Steps:
        """Columns of some of its lines at other supply temperatures, on another sheet."""
        return Steps(self, sheet, rows)

    def _row(self) -> None:
        g = self.grid
        g.group("Row")
        g.add("row", "Row", "no.", "{L.row}", "f0")
        g.add("when", "Date and hour", "std. time", "{L.when}", "inset", values=g.outer["L.when"], text=True)
        shares = tuple(f"{{L.weight}}*{{p.share_{k}}}" for k in range(self.parts))
        g.add(
            "weight_h",
            "Weight",
            "h/yr",
            shares if self.parts > 1 else "{L.weight}",
            "f2",
            total="weight",
            total_unit="h",
            annual="running_hours",
        )
        g.compare("weight_h", np.concatenate([p.share * self.run.rows.on.hours for p in self.run.parts])[:, None])
        self._conditions()

    def _conditions(self) -> None:
        g = self.grid
        g.group("Conditions, and what the whole building gives")
        for key, source in (("oat_f", "oat"), ("oawb_f", "oawb"), ("humidity_ratio", "w")):
            c = self.known[key]
            g.add(key, c.label, c.unit, f"{{L.{source}}}", c.style, total="mean", total_unit=c.total_unit)
        g.add("occupied", "Occupied", "1/0", "{L.occupied}", "f0", total="sum", total_unit="h")
        g.add("enabled", "Heating plant enabled", "1/0", "{L.enabled}", "f0", total="sum", total_unit="h")
        for key, label, unit in (
            ("latent", "Moisture gain", "Btu/h"),
            ("plenum", "Light into the plenum", "Btu/h"),
            ("infiltration", "Infiltration", "cfm"),
        ):
            g.add(key, label, unit, f"{{L.{key}}}", "f0")
        if self.project.outdoor_air.control == "people":
            g.add("oa_people", "Outdoor air by people present", "cfm", "{L.oa_people}", "f0")

    # --- setpoints

    def _by_part(self, normal: str, override: str, which: int) -> tuple[str, ...] | str:
        """Formula of each part: the operators' override where that part has it.

        ``which`` 0 is supply temperature, 1 duct pressure.
        """
        record = (self.candidate.sat, self.candidate.dsp)[which]
        if record.override_frac <= 0.0:
            return normal
        return tuple(override if has[which] else normal for has in part_overrides(self.candidate))

    @property
    def dsp_strategy(self):
        """Strategy of duct static pressure."""
        return dsp_strategy(self.candidate.dsp)

    def _setpoint_sat(self) -> None:
        record, strategy = self.candidate.sat, sat_strategy(self.candidate.sat)
        if strategy.resets and strategy.buildable:
            self._sat_limits()
        columns = StrategyColumns(self, "", "sat", "Supply setpoint", self._settled)
        normal = strategy.formula(record, columns)
        columns.start()
        self.out("sat_set_f", self._by_part(normal, "{p.sat_override_f}", 0))

    def _sat_limits(self) -> None:
        """Warmest supply air that limits allow, ``sat_top``."""
        g, kind = self.grid, self.project.limits.humidity
        g.group("Limits of the supply air")
        top = "MIN({p.sat_high},MAX({c.zone_top},{p.sat_low}))"
        if kind == "outdoor_dewpoint":
            self.col(
                "humidity_top",
                "Warmest by outdoor dew point",
                "°F",
                "{p.sat_low}+MEDIAN(0,"
                "({limits.oa_dewpoint_high_f}-{L.dewpoint})/({limits.oa_dewpoint_high_f}-{limits.oa_dewpoint_low_f}),"
                "1)*({p.sat_high}-{p.sat_low})",
            )
            top = "MIN({humidity_top},{p.sat_high},MAX({c.zone_top},{p.sat_low}))"
        elif kind == "room_dewpoint":
            self._room_dewpoint()
            top = "MIN({humidity_top},{p.sat_high},MAX({c.zone_top},{p.sat_low}))"
        self.col("sat_top", "Warmest that limits allow", "°F", top)
        low, high = sat_strategy(self.candidate.sat).range(self.candidate.sat)
        limits = sat_limits(self.unit, self.run.rows.on, self.run.rows.loads, low, high)
        if "humidity_top" in g:
            self._compare_rows("humidity_top", limits.humidity_f)
        self._compare_rows("sat_top", limits.max_f)

    def _compare_rows(self, key: str, wanted) -> None:
        """Compare a column that is the same in each part with the engine's rows."""
        self.grid.compare(key, np.tile(wanted, self.parts)[:, None])

    def _room_dewpoint(self) -> None:
        """Warmest supply air that keeps the rooms at the humid limit, at the airflow of the coldest."""
        g = self.grid
        g.group("Limit by room dew point: warmest supply air that keeps the rooms dry enough")
        s = "({p.sat_low}+{air_handler.duct_gain_f})"
        g.add(
            "h_asked",
            "Zones ask for, at the coldest supply air",
            "cfm",
            f"SUM({{z.mult}}*({self._request('h_', s, heats=False)}))",
            "f0",
            array=True,
        )
        self.col("h_flow", "Airflow", "cfm", "MIN({h_asked},{c.max_cfm})", "f0")
        self._least_oa("h_oa", "{h_flow}")
        self.col(
            "h_dry_w",
            "Rooms without any drying",
            "lb/lb",
            "{humidity_ratio}+{latent}/MAX({fl}*({h_flow}*{h_oa}+{infiltration}),{k.least_flow})",
            "f5",
        )
        self.col(
            "h_coil_w",
            "Leaving air that holds the limit",
            "lb/lb",
            "MAX(({c.humid_w}*{fl}*({h_flow}+{infiltration})-{fl}*{infiltration}*{humidity_ratio}-{latent})/MAX({fl}*{h_flow},{k.least_flow})/{air_handler.coil_rh_frac},{k.least_coil_w})",
            "f5",
        )
        self.col("h_ln", "ln of its vapour pressure", "", "LN({pressure}*{h_coil_w}/({k.molar}+{h_coil_w}))", "f5")
        t = "{k.freezing}+{k.rankine}"
        for k in range(1, 6):
            now = f"({t})" if k == 1 else f"{{h_t{k - 1}}}"
            a = [f"{{k.water_{i}}}" for i in range(7)]
            slope = f"({a[2]}+{now}*(2*{a[3]}+{now}*(3*{a[4]}+{now}*4*{a[5]}))+({a[6]}-{a[0]}/{now})/{now})"
            self.col(
                f"h_t{k}",
                f"Dew point by Newton, step {k}",
                "°R",
                f"1/(1/{now}+({ln_pressure('water', now)}-{{h_ln}})/({slope}*{now}^2))",
            )
        draw = self.project.fan.arrangement == "draw_through"
        if draw:
            self._fan("h_", "{h_flow}", "{c.lowest_inwc}")
        rise = "+{h_fan_rise_f}" if draw else ""
        self.col(
            "humidity_top",
            "Warmest by room dew point",
            "°F",
            f"IF({{h_dry_w}}<={{c.humid_w}},{{p.sat_high}},MEDIAN({{p.sat_low}},{{h_t5}}-{{k.rankine}}{rise},"
            f"{{p.sat_high}}))",
        )

    def _settled(self, x: str) -> None:
        """Six helper cells of trim and respond for supply air: where the requests of a level settle."""
        g = self.grid
        for edge, first in (("ask", "t_ask"), ("release", "t_release")):
            levels = (first, "t_second", "t_third")
            for k, level in enumerate(levels, 1):
                count = "+".join(f"(TRANSPOSE({{L.{other}}})<={{L.{level}}})" for other in levels)
                over = f"MMULT({{z.weight_t}},{count})>{{p.sat_left}}+{{k.request_slack}}"
                template = f"MIN(IF({over},{{L.{level}}},{{k.never_f}}))"
                g.add(
                    f"sat_{edge}_{k}",
                    f"Settles at request {k}, {'asking' if edge == 'ask' else 'releasing'}",
                    "°F",
                    template,
                    "f2",
                    array=True,
                )
        left, weights = float(g.outer["p.sat_left"]), np.ravel(g.outer["z.weight_t"])
        if left < -demand.REQUEST_SLACK:  # zones that always ask decide alone
            return
        first, release, second, third = demand.temperature_thresholds_f(self.unit, self.engine_loads)
        settled = demand.edges(-first, -release, -second, -third, weights, left)
        self._compare_settled("sat", np.minimum.reduce, [-edge for edge in settled], "Settled supply air")

    def _compare_settled(self, start: str, of_three, settled, label: str) -> None:
        """Compare what the cells of three requests give together with the engine's pool; where all requests are
        ignored there is none."""
        for edge, wanted in zip(("ask", "release"), settled, strict=True):
            found = of_three([self.grid.scope[f"{start}_{edge}_{k}"][:, 0] for k in (1, 2, 3)])
            self.pen.compare(self.grid.sheet.name, f"{start}_{edge}", found, wanted, f"{label}, {edge} edge")

    def _setpoint_dsp(self, x: str) -> None:
        """Pressure setpoint, which may follow what zones ask for at the supply temperature of these columns."""
        follows = self.dsp_strategy.follows_zones
        if x == "" and self.two_pass and not follows:
            return
        columns = StrategyColumns(self, x, "dsp", "Pressure setpoint", self._settled_pressure)
        normal = self.dsp_strategy.formula(self.candidate.dsp, columns)
        columns.start()
        self.out("dsp_set_inwc", self._by_part(normal, "{p.dsp_override_inwc}", 1), prefix=x if follows else "")

    def _settled_pressure(self, x: str) -> None:
        """Six helper cells of trim and respond for duct pressure, as :meth:`_settled`."""
        g, more = self.grid, self.more(x)
        asked = f"{x}req"
        opens = f"{{{asked}}}^2*{{z.kv}}"
        second, third = f"{{{x}p_second}}", f"{{{x}p_third}}"
        for edge, first in (("ask", "c.ask"), ("release", "c.release")):
            levels = (f"{opens}*{{{first}}}", second, third)
            turned = (f"TRANSPOSE({opens})*{{{first}}}", f"TRANSPOSE({second})", f"TRANSPOSE({third})")
            for k, level in enumerate(levels, 1):
                count = "+".join(f"({other}>={level})" for other in turned)
                template = f"MAX(IF(MMULT({{z.weight_p}},{count})>{{p.dsp_left}}+{{k.request_slack}},{level},0))"
                g.add(
                    f"{x}dsp_{edge}_{k}",
                    f"Settles at request {k}, {'asking' if edge == 'ask' else 'releasing'}" + more,
                    "in. w.c.",
                    template,
                    "f3",
                    array=True,
                )
        self._compare_pressures(x, asked)

    def _compare_pressures(self, x: str, asked: str) -> None:
        """Thresholds of pressure requests, and where they settle, beside the engine's at the same airflows."""
        g = self.grid
        sat = g.scope[f"{x}satz"][:, 0] - self.unit.air_handler.duct_gain_f
        thresholds = demand.pressure_thresholds_inwc(
            self.unit, g.scope[asked], cooling_flow_cfm(self.unit, self.engine_loads, sat)
        )
        for which, wanted in zip(("second", "third"), thresholds[2:], strict=True):
            g.compare(f"{x}p_{which}", wanted)
        left, weights = float(g.outer["p.dsp_left"]), np.ravel(g.outer["z.weight_p"])
        if left < -demand.REQUEST_SLACK:
            return
        settled = demand.edges(*thresholds, weights, left)
        self._compare_settled(f"{x}dsp", np.maximum.reduce, settled, "Settled duct pressure" + self.more(x))

    def _dsp(self, x: str) -> str:
        """Template of the pressure setpoint of these columns."""
        return f"{{{x if self.dsp_strategy.follows_zones else ''}dsp_set_inwc}}"

    # --- zones and air side

    def _drop(self, satz: str) -> str:
        """Template of the heat that a cfm takes from a room at its cooling setpoint."""
        return f"{{fs}}*({{L.tc}}>{satz})*({{L.tc}}-{satz})"

    def _request(self, x: str, satz: str, heats: bool = True) -> str:
        """Template of the airflow that zones ask for."""
        drop = self._drop(satz)
        least = "{L.vmin}"
        if self.site.dual and heats:
            least += f"+{{{x}extra}}"
        return (
            f"IF({{L.qc}}<={{L.vmin}}*{drop},{least},IF({{L.qc}}>={{z.max_cfm}}*{drop},{{z.max_cfm}},"
            f"{{L.qc}}/({{fs}}*({{L.tc}}-{satz}))))"
        )

    def _heating_flow(self, x: str, satz: str) -> None:
        """Airflow above the minimum while a zone of the dual maximum law heats; the heating minimum is reached over a
        band."""
        need = f"({{fs}}*{{L.vmin}}*({{L.th}}-{satz})-{{L.qh}})"
        self.block(
            x + "band",
            "Share of the heating minimum" + self.more(x),
            "0–1",
            f"IF({need}>0,IF({need}<{{k.heating_ramp}}*({{L.ua}}+{{fs}}*{{L.vmin}}),"
            f"{need}/({{k.heating_ramp}}*({{L.ua}}+{{fs}}*{{L.vmin}})),1),0)",
            "f3",
        )
        least = f"({{L.vmin}}+{{{x}band}}*({{L.heat_low}}-{{L.vmin}}))"
        self.block(
            x + "extra",
            "Airflow above minimum while heating" + self.more(x),
            "cfm",
            f"{{enabled}}*{{z.dual}}*({{{x}band}}>0)*(IF({{L.heat_air}}<{least},{least},"
            f"IF({{L.heat_air}}>{{L.heat_high}},{{L.heat_high}},{{L.heat_air}}))-{{L.vmin}})",
        )

    def _terminals(self, x: str, sat: str) -> None:
        g = self.grid
        more = self.more(x)
        g.group("Zones" + more)
        self.col(x + "satz", "Supply air at the terminals" + more, "°F", f"{sat}+{{air_handler.duct_gain_f}}")
        s = f"{{{x}satz}}"
        if self.site.dual:
            self._heating_flow(x, s)
        self.block(x + "req", "Airflow asked for" + more, "cfm", self._request(x, s))
        self._setpoint_dsp(x)
        g.group("Duct pressure" + more)
        self.out("requested_cfm", f"SUMPRODUCT({{z.mult}},{{{x}req}})", prefix=x)
        dsp = self._dsp(x)
        self.col(
            x + "leak_set",
            "Leakage at the setpoint" + more,
            "cfm",
            f"{{c.leak_cfm}}*(MAX({dsp},0)/{{fan.design_dsp_inwc}})^{{air_handler.leakage_exponent}}",
            "f0",
        )
        asked = f"{{{x}requested_cfm}}"
        standing = f"MAX({dsp},{{c.minimum_inwc}}-({{c.droop}}+{{c.system}})*({asked}+{{{x}leak_set}})^2)"
        if self.rationed:
            self.col(x + "dsp_open", "Duct static without a ceiling" + more, "in. w.c.", standing, "f3")
            rationing(self, x)
        else:
            self.col(x + "dsp_held", "Duct static at the terminals" + more, "in. w.c.", standing, "f3")
        if not x:
            g.compare("dsp_held", self.engine("dsp_held_inwc")[:, None])
        self.col(x + "root", "Its root" + more, "√in. w.c.", f"SQRT(MAX({{{x}dsp_held}},0))", "f3")
        self.block(
            x + "v", "Airflow" + more, "cfm", f"IF({{{x}req}}<{{z.open}}*{{{x}root}},{{{x}req}},{{z.open}}*{{{x}root}})"
        )
        need = f"{{fs}}*{{{x}v}}*({{L.th}}-{s})-{{L.qh}}"
        hottest = f"{{fs}}*{{{x}v}}*({{L.th}}+{{z.reheat_rise_max_f}}-{s})"
        coil = "{z.coil}*{enabled}"
        # The least of need, coil and highest discharge; none where the supply air is warmer than that.
        self.block(
            x + "reheat",
            "Reheat" + more,
            "Btu/h",
            f"({need}>0)*({{L.th}}+{{z.reheat_rise_max_f}}>{s})*IF({need}<{hottest},IF({need}<{coil},{need},{coil}),"
            f"IF({hottest}<{coil},{hottest},{coil}))",
        )
        if not x:
            self._zones_of_engine()

    def _zones_of_engine(self) -> None:
        """The engine's zones behind the values of the blocks."""
        found = {"req": [], "v": [], "reheat": []}
        on, loads = self.run.rows.on, self.run.rows.loads
        for p in self.run.parts:
            z = zones_of(self.unit, on, loads, p.state)
            found["req"].append(z.requested_cfm)
            found["v"].append(z.flow_cfm)
            found["reheat"].append(z.reheat_btuh)
        for key, values in found.items():
            values = np.vstack(values)
            self.grid.compare(key, values)
            self.grid.set_values(key, values)

    def _fan(self, x: str, flow: str, dsp: str, *, out: bool = False) -> None:
        """Fan power and temperature rise at a flow and a duct pressure setpoint."""
        fan = self.project.fan
        vd = "{air_handler.design_cfm}"
        total = f"MAX({dsp}+{{c.system}}*{flow}^2,{{c.minimum_inwc}}-{{c.droop}}*{flow}^2)"
        if out:
            self.out("fan_total_inwc", total)
            self.out("dsp_inwc", "{fan_total_inwc}-{c.system}*{flow_cfm}^2")
            self.out("fan_speed_frac", "SQRT((MAX({fan_total_inwc},0)+{c.droop}*{flow_cfm}^2)/{c.shutoff})")
        else:
            self.col(x + "fan_total_inwc", "Fan total static", "in. w.c.", total, "f3")
        p = f"{{{x}fan_total_inwc}}"
        published = fan.part_load == "published_curves"
        if published:
            kind = "reset" if self.dsp_strategy.moves(self.candidate.dsp) else "static"
            if self.candidate.dsp.strategy == "as_found":
                self._decided_by_points()
            # The limit by room dew point knows no strategy yet and takes the curve with reset.
            kind = "reset" if x == "h_" else kind
            share = f"MAX({flow}/{vd},{{fan.curve_least_flow_frac}})"
            self.col(x + "curve_x", "Share of design airflow, held", "share", share, "f3")
            q = f"{{{x}curve_x}}"
            self.col(
                x + "curve",
                "Power over design power by the curve",
                "share",
                f"IF({flow}>0,"
                f"({{k.{kind}_0}}+{q}*({{k.{kind}_1}}+{q}*({{k.{kind}_2}}+{q}*{{k.{kind}_3}})))/{{c.{kind}_sum}},0)",
                "f3",
            )
            heat = "{c.design_motor}" if fan.motor_in_airstream else "{c.design_shaft}"
            self.col(x + "fan_heat_kw", "Fan heat into the air", "kW", f"{{c.scale}}*{heat}*{{{x}curve}}")
            kw = f"{{c.scale}}*{{c.design_kw}}*{{{x}curve}}"
        else:
            self.col(
                x + "phi",
                "Operating point of the fan",
                "1 at design",
                f"IF({flow}>0,MIN({{k.phi_max}},{flow}/{vd}/SQRT({p}/{{fan.design_total_inwc}})),1)",
                "f3",
            )
            self.col(
                x + "fan_eff",
                "Fan efficiency",
                "0–1",
                f"{{fan.efficiency_frac}}*(1-{{fan.efficiency_droop}}*(1-{{{x}phi}})^2)",
                "f3",
            )
            self.col(x + "shaft_kw", "Fan shaft", "kW", f"{flow}*{p}/({{k.fan}}*{{{x}fan_eff}})*{{k.hp_kw}}")
            self.col(
                x + "motor_load",
                "Motor load",
                "share",
                f"{{{x}shaft_kw}}/{{fan.belt_efficiency_frac}}/{{c.rated_kw}}",
                "f3",
            )
            m = f"{{{x}motor_load}}"
            self.col(
                x + "motor_kw",
                "Motor input",
                "kW",
                f"IF({flow}>0,"
                f"{{c.rated_kw}}*({m}+{{c.motor_loss}}*({{fan.motor_fixed_loss_frac}}+(1-{{fan.motor_fixed_loss_frac}})*{m}^2)),0)",
            )
            heat = f"{{{x}motor_kw}}" if fan.motor_in_airstream else f"{{{x}shaft_kw}}"
            self.col(x + "fan_heat_kw", "Fan heat into the air", "kW", f"{{c.scale}}*{heat}")
            d = f"({{{x}motor_kw}}/{{c.drive_rated_kw}})"
            kw = (
                f"IF({flow}>0,"
                f"{{c.scale}}*{{c.drive_rated_kw}}*({d}+{{c.drive_loss}}*({{fan.drive_fixed_loss_frac}}+(1-{{fan.drive_fixed_loss_frac}})*{d})),0)"
            )
        if out:
            self.out("fan_kw", kw)
        rise = f"IF({flow}>0,1000*{{k.btu_wh}}*{{{x}fan_heat_kw}}/({{fs}}*{flow}),0)"
        if out:
            self.out("fan_rise_f", rise)
        else:
            self.col(x + "fan_rise_f", "Fan temperature rise", "°F", rise)

    def _decided_by_points(self) -> None:
        """Note that the curve of the fan goes by whether as-found duct pressures are all the same."""
        start = f"candidate[{self.candidate.id}].dsp.points"
        registry = self.pen.registry
        registry.decides |= {
            path for path in registry.places if path.startswith((start + ".y", start + "_unoccupied.y"))
        }

    def _second_fan(self, flow: str) -> str:
        """Template of the return or relief fan's power at its own flow."""
        share = f"({flow}/({{air_handler.design_cfm}}*{{return_fan.flow_frac}}))"
        return (
            f"IF({flow}>0,"
            f"{{c.second_kw}}*({{k.reset_0}}+{share}*({{k.reset_1}}+{share}*({{k.reset_2}}+{share}*{{k.reset_3}})))/{{c.reset_sum}},0)"
        )

    def _least_oa(self, key: str, flow: str, out: bool = False, more: str = "") -> None:
        control = self.project.outdoor_air.control
        safe = f"IF({flow}>0,{flow},1)"
        if control == "position":
            share = "{c.oa_position}"
        elif control == "people":
            share = f"({{c.oa_area_cfm}}+{{L.oa_people}}/{{outdoor_air.ventilation_efficiency}})/{safe}"
        else:
            share = f"{{c.oa_minimum}}/{safe}"
        template = f"MIN({share}*{{occupied}},{{outdoor_air.maximum_frac}})"
        if out:
            self.out("oa_min_frac", template)
        else:
            self.col(key, "Least outdoor-air share" + more, "0–1", template, "f3")

    def _air(self, x: str, sat: str) -> None:
        """Airflow, fan, return air and the least outdoor air."""
        g, project = self.grid, self.project
        n = lambda key: f"{{{x}{key}}}"
        more = self.more(x)
        g.group("Airflow" + more)
        self.out("room_flow_cfm", f"SUMPRODUCT({{z.mult}},{n('v')})", prefix=x)
        self.out(
            "leakage_cfm",
            f"{{c.leak_cfm}}*(MAX({n('dsp_held')},0)/{{fan.design_dsp_inwc}})^{{air_handler.leakage_exponent}}",
            prefix=x,
        )
        self.out("flow_cfm", f"{n('room_flow_cfm')}+{n('leakage_cfm')}", prefix=x)
        if self.rationed:
            self.out(
                "ceiling_frac",
                f"IF({n('binds')}=1,{n('room_flow_cfm')}/IF({n('full_cfm')}>0,{n('full_cfm')},1),1)",
                prefix=x,
            )
        elif not x:
            # Below 1 only after an edit, which needs a new run.
            self.out("ceiling_frac", "IF({flow_cfm}>{c.max_cfm}*(1+{k.ceiling_slack}),{c.max_cfm}/{flow_cfm},1)")
        g.group("Supply fan" + more)
        dsp = self._dsp(x)
        self._fan(
            x,
            n("flow_cfm"),
            f"IF({n('binds')}=1,MIN({n('dsp_held')},{dsp}),{dsp})" if self.rationed else dsp,
            out=not x,
        )
        kind = project.return_fan.type
        if kind == "return":
            self.col(
                x + "return_kw",
                "Return fan" + more,
                "kW",
                self._second_fan(f"({n('flow_cfm')}*{{return_fan.flow_frac}})"),
            )
        g.group("Return air" + more)
        air = f"({{fs}}*{n('v')})"
        balance = f"({{L.qc}}-{air}*({{L.tc}}-{n('satz')})+{n('reheat')})/({{L.ua}}+{air})"
        self.grid.add(
            x + "room_sum",
            "Airflow × room temperature, all zones" + more,
            "cfm·°F",
            f"SUM({{z.mult}}*{n('v')}*({{L.tc}}+IF({{L.ua}}+{air}>0,{balance},0)))",
            "f0",
            array=True,
        )
        if not x:
            self.out(
                "room_mean_f",
                f"IF({n('room_flow_cfm')}>0,{n('room_sum')}/IF({n('room_flow_cfm')}>0,{n('room_flow_cfm')},1),0)",
            )
        taken = (
            f"-{n('room_flow_cfm')}*{{air_handler.duct_gain_f}}"
            if project.air_handler.duct_gain_from == "plenum"
            else ""
        )
        second = f"+1000*{{k.btu_wh}}*{n('return_kw')}/({{fs}}*{n('flow_cfm')})" if kind == "return" else ""
        self.out(
            "rat_f",
            f"IF({n('flow_cfm')}>0,"
            f"({n('room_sum')}+{n('leakage_cfm')}*{sat}{taken}+{{plenum}}/{{fs}})/{n('flow_cfm')}{second},{sat})",
            prefix=x,
        )
        self.col(x + "target_f", "Mixed air that needs no coil" + more, "°F", f"{sat}-{n('fan_rise_f')}")
        if x:
            self._least_oa(x + "oa_min_frac", n("flow_cfm"), more=more)
        else:
            self._least_oa("oa_min_frac", "{flow_cfm}", out=True)

    @property
    def draw(self) -> bool:
        return self.project.fan.arrangement == "draw_through"

    def _mixed(self, a: str, share: str) -> str:
        """Template of mixed air at an outdoor-air share."""
        return f"{{{a}rat_f}}+{share}*({{oat_f}}-{{{a}rat_f}})"

    def _mix(self, x: str, sat: str) -> None:
        """The outdoor-air share that controls choose, and the mixed air it gives."""
        self._group("Mixing" + self.more(x))
        self.out("oa_frac", self._share(x, sat), prefix=x)
        if not x:
            self._economizing("{oa_frac}")
            self.out("oa_cfm", "{oa_frac}*{flow_cfm}")
        self.out("mat_f", self._mixed(x, f"{{{x}oa_frac}}"), prefix=x)

    def _economizing(self, chosen: str, unless: str = "") -> None:
        eco = self.project.economizer
        if eco.type == "none" or eco.stuck_frac is not None:
            self.out("economizing", None)
        else:
            self.out("economizing", f"IF(AND({{allowed}}=1,{chosen}>{{oa_min_frac}}{unless}),1,0)")

    def _share(self, a: str, sat: str) -> str:
        """Template of the outdoor-air share that controls choose, after the columns of the economizer's decision."""
        eco = self.project.economizer
        if eco.stuck_frac is not None:
            return "{economizer.stuck_frac}"
        if eco.type == "none":
            return f"{{{a}oa_min_frac}}"
        return self._economizer(a, sat)

    def _coils(self, a: str, x: str, sat: str, *, open_latent: str = "") -> None:
        """Heating coil, cooling coil and moisture behind mixed air.

        ``a`` begins the names of the air, ``x`` those of the mixing and of these columns. ``open_latent``: the latent
        load is only a first one, under this name, and columns that follow from it are left to others.
        """
        g, project = self.grid, self.project
        out = not x
        n = lambda key: f"{{{a}{key}}}"
        m = lambda key: f"{{{x}{key}}}"
        more = self.more(x)
        g.group("Heating coil and cooling coil" + more)
        if out:
            self.out("preheat_kbtuh", f"{{fs}}*{n('flow_cfm')}*MAX({n('target_f')}-{m('mat_f')},0)/1000")
        self.out(
            "coil_entering_f",
            f"MAX({m('mat_f')},{n('target_f')})" + ("" if self.draw else f"+{n('fan_rise_f')}"),
            prefix=x,
        )
        self.out("coil_leaving_f", n("target_f") if self.draw else sat, prefix=x)
        g.group("Moisture" + more)
        args = (m("oa_frac"), m("coil_entering_f"), m("coil_leaving_f"))
        dx = project.cooling.type == "direct_expansion"
        dries = dx and project.cooling.cycling_drying_loss_frac > 0.0
        last = x + "o_" if open_latent else x
        first = x + "s_" if dries else last
        self._moisture(first, a, *args, "", out=out and first == "")
        if dx:
            self._wet_bulb(x, m("coil_entering_f"), f"{{{first}mixed_humidity_ratio}}", out=out)
        g.group("Cooling load" + more)
        self._capacity(x, out=out and not open_latent)
        self.col(
            x + "sensible",
            "Sensible load" + (more or ", held to capacity or not"),
            "kBtu/h",
            f"{{fs}}*{n('flow_cfm')}*({m('coil_entering_f')}-{m('coil_leaving_f')})/1000",
        )
        if dries:
            latent = f"{{fl}}*{n('flow_cfm')}*({{{first}mixed_humidity_ratio}}-{{{first}leaving_humidity_ratio}})/1000"
            capacity = m("cooling_capacity_kbtuh") if not open_latent else "{open_capacity_kbtuh}"
            stage = f"({capacity}/{{cooling.stages}})"
            self.col(
                x + "running",
                "Running share of the first stage" + more,
                "0–1",
                f"IF({stage}>0,MEDIAN(0,({m('sensible')}+{latent})/IF({stage}>0,{stage},1),1),0)",
                "f3",
            )
            self.col(
                x + "drying",
                "Share of the drying that remains" + more,
                "0–1",
                f"1-{{cooling.cycling_drying_loss_frac}}*(1-{m('running')})",
                "f3",
            )
            self._moisture(last, a, *args, "*" + m("drying"), out=out and last == "")
        latent = f"{{fl}}*{n('flow_cfm')}*({{{last}mixed_humidity_ratio}}-{{{last}leaving_humidity_ratio}})/1000"
        if open_latent:
            self.col(open_latent, "Latent load of the coil before it is held to capacity", "kBtu/h", latent)
        else:
            self.out("cooling_latent_kbtuh", latent, prefix=x)

    def _allowed(self, x: str, sat: str) -> str:
        """Template of whether the economizer may open."""
        eco = self.project.economizer
        n = lambda key: f"{{{x}{key}}}"
        if eco.type == "differential_enthalpy":
            self._return_moisture(x, sat, self.draw)
        cap = "AND({oat_f}<={economizer.high_limit_f},"
        outdoor = _enthalpy("{oat_f}", "{humidity_ratio}")
        return {
            "fixed_dry_bulb": "{oat_f}<={economizer.high_limit_f}",
            "differential_dry_bulb": f"{{oat_f}}<={n('rat_f')}",
            "fixed_enthalpy": f"{cap}{outdoor}<={{economizer.high_limit_btu_lb}})",
            "differential_enthalpy": f"{cap}{outdoor}<={_enthalpy(n('rat_f'), n('r_room_humidity_ratio'))})",
        }[eco.type]

    def _economizer(self, x: str, sat: str) -> str:
        """Columns of the economizer's decision; returns the template of the outdoor-air share."""
        n = lambda key: f"{{{x}{key}}}"
        test = self._allowed(x, sat)
        if not self.project.economizer.integrated:
            test = f"AND({test},{{oat_f}}<{n('target_f')})"
        self.col(x + "allowed", "Economizer allowed" + self.more(x), "1/0", f"IF({test},1,0)", "f0")
        gap = f"({n('rat_f')}-{{oat_f}})"
        self.col(
            x + "modulated",
            "Share that gives the target" + self.more(x),
            "0–1",
            f"IF(AND({{oat_f}}<{n('target_f')},{gap}>0),({n('rat_f')}-{n('target_f')})/IF({gap}>0,{gap},1),1)",
            "f3",
        )
        return (
            f"IF({n('allowed')}=1,MEDIAN({n('oa_min_frac')},{n('modulated')},MAX({{outdoor_air.maximum_frac}},"
            f"{n('oa_min_frac')})),{n('oa_min_frac')})"
        )

    def _return_moisture(self, x: str, sat: str, draw: bool) -> None:
        n = lambda key: f"{{{x}{key}}}"
        before = "" if draw else f"+{n('fan_rise_f')}"
        leaving = n("target_f") if draw else sat
        self.col(
            x + "r_entering",
            "Entering the coil at least outdoor air",
            "°F",
            f"MAX({n('rat_f')}+{n('oa_min_frac')}*({{oat_f}}-{n('rat_f')}){before},{leaving})",
        )
        self._moisture(x + "r_", x, n("oa_min_frac"), n("r_entering"), leaving, "", out=False)

    def _moisture(self, m: str, x: str, share: str, entering: str, leaving: str, drying: str, *, out: bool) -> None:
        """Steady moisture balance of rooms and coil; names start with ``m``, airflow with ``x``."""
        flow = f"{{{x}flow_cfm}}"
        n = lambda key: f"{{{m}{key}}}"
        outside = f"({{fl}}*({flow}*{share}+{{infiltration}}))"
        least = "{fl}*{k.least_exchange}"
        self.col(
            m + "dry_room",
            "Rooms with a dry coil",
            "lb/lb",
            f"MIN({{humidity_ratio}}+{{latent}}/MAX({outside},{least}),MAX({{c.w_ceiling}},{{humidity_ratio}}))",
            "f5",
        )
        self.col(
            m + "dry_mixed",
            "Mixed air with a dry coil",
            "lb/lb",
            f"{share}*{{humidity_ratio}}+(1-{share})*{n('dry_room')}",
            "f5",
        )
        t = f"(MIN({leaving},{{k.warmest_drying_f}})+{{k.rankine}})"
        self.col(
            m + "ln_ps",
            "ln of saturation pressure, leaving",
            "",
            f"IF({leaving}<{{k.freezing}},{ln_pressure('ice', t)},{ln_pressure('water', t)})",
            "f5",
        )
        self.col(
            m + "coil_w",
            "Leaving a wet coil",
            "lb/lb",
            f"{{air_handler.coil_rh_frac}}*{{k.molar}}*EXP({n('ln_ps')})/({{pressure}}-EXP({n('ln_ps')}))",
            "f5",
        )
        self.col(
            m + "wet",
            "Wet share of the coil",
            "0–1",
            f"IF({n('dry_mixed')}>{n('coil_w')},MEDIAN(0,({entering}-{leaving})/{{air_handler.coil_contact_f}},"
            f"1){drying},0)",
            "f3",
        )
        through = f"(1-{n('wet')})"
        self.col(
            m + "wet_room",
            "Rooms with a wet coil",
            "lb/lb",
            f"({{fl}}*{flow}*({through}*{share}*{{humidity_ratio}}+{n('wet')}*{n('coil_w')})+{{fl}}*{{infiltration}}*{{humidity_ratio}}+{{latent}})"
            f"/MAX({{fl}}*({flow}*(1-{through}*(1-{share}))+{{infiltration}}),{least})",
            "f5",
        )
        room = f"IF({n('wet')}>0,MIN({n('wet_room')},{n('dry_room')}),{n('dry_room')})"
        mixed = f"{share}*{{humidity_ratio}}+(1-{share})*{n('room_humidity_ratio')}"
        after = f"{through}*{n('mixed_humidity_ratio')}+{n('wet')}*MIN({n('mixed_humidity_ratio')},{n('coil_w')})"
        for key, template in (
            ("room_humidity_ratio", room),
            ("mixed_humidity_ratio", mixed),
            ("leaving_humidity_ratio", after),
        ):
            if out:
                self.out(key, template)
            else:
                self.col(
                    m + key, self.known[key].label + (", steady" if m.endswith("s_") else ""), "lb/lb", template, "f5"
                )

    def _wet_bulb(self, x: str, t: str, w: str, *, out: bool) -> None:
        """Entering wet bulb: a start and two Newton steps."""
        self.col(x + "wb_y", "Wet bulb: ln of enthalpy", "", f"LN(MAX({_enthalpy(t, w)},{{k.least_h}}))", "f5")
        y = f"{{{x}wb_y}}"
        self.col(
            x + "wb_0",
            "Wet bulb: start",
            "°F",
            f"MIN({{k.start_a}}+{y}*({{k.start_b}}+{{k.start_c}}*{y})+({{k.start_d}}+{{k.start_e}}*{y})*LN({{pressure}}/{{k.standard_psia}}),{t})",
        )
        for k in (1, 2):
            tw = f"{{{x}wb_{k - 1}}}"
            absolute = f"({tw}+{{k.rankine}})"
            a = [f"{{k.water_{i}}}" for i in range(7)]
            slope = (
                f"({a[2]}+{absolute}*(2*{a[3]}+{absolute}*(3*{a[4]}+{absolute}*4*{a[5]}))"
                f"+({a[6]}-{a[0]}/{absolute})/{absolute})"
            )
            self.col(
                f"{x}wb_p{k}",
                f"Wet bulb, step {k}: vapour pressure",
                "psia",
                f"EXP({ln_pressure('water', absolute)})",
                "f5",
            )
            self.col(
                f"{x}wb_w{k}",
                f"Wet bulb, step {k}: saturated",
                "lb/lb",
                f"{{k.molar}}*{{{x}wb_p{k}}}/({{pressure}}-{{{x}wb_p{k}}})",
                "f5",
            )
            ws = f"{{{x}wb_w{k}}}"
            self.col(
                f"{x}wb_s{k}",
                f"Wet bulb, step {k}: slope",
                "Btu/lb·°F",
                f"({{k.wick_a}}-{{k.wick_b}}*{tw})*{ws}*{slope}*{{pressure}}/({{pressure}}-{{{x}wb_p{k}}})-{{k.wick_b}}*{ws}+{{k.cp}}+{{k.wick_c}}*{w}",
                "f5",
            )
            excess = (
                f"(({{k.wick_a}}-{{k.wick_b}}*{tw})*{ws}-{{k.cp}}*({t}-{tw})"
                f"-{w}*({{k.wick_a}}+{{k.cpv}}*{t}-{{k.wick_c}}*{tw}))"
            )
            self.col(f"{x}wb_{k}", f"Wet bulb, step {k}", "°F", f"{tw}-{excess}/{{{x}wb_s{k}}}")
        template = f"MIN({{{x}wb_2}},{t})"
        if out:
            self.out("coil_entering_wb_f", template)
        else:
            self.col(x + "coil_entering_wb_f", "Entering wet bulb", "°F", template)

    def _capacity(self, x: str, *, out: bool) -> None:
        """Cooling that the plant can give; the outdoor part is written once."""
        cool = self.project.cooling
        if cool.type == "purchased":
            return
        if cool.type == "none":
            if x == "" and not out:
                self.grid.add(
                    "open_capacity_kbtuh",
                    "Plant can give, before closing",
                    "kBtu/h",
                    None,
                    "f1",
                    values=np.zeros(self.lines * self.parts),
                )
            else:
                self.out("cooling_capacity_kbtuh", None, prefix=x)
            return
        dx = cool.type == "direct_expansion"
        cap = curve_key("dx_cap_f_t" if dx else f"chiller_{cool.chiller_set}_cap_f_t")
        if dx:
            self.col(
                x + "cap_x",
                "Entering wet bulb within the curve",
                "°F",
                f"MEDIAN({{{cap}.x_low}},{{{x}coil_entering_wb_f}},{{{cap}.x_high}})",
            )
        y = x if dx else ""
        if dx or "plant_y" not in self.grid:
            condenser = (
                "{oat_f}"
                if dx or cool.chiller_set in AIR_COOLED_SETS
                else "MAX({oawb_f}+{cooling.tower_approach_f},{cooling.condenser_water_min_f})"
            )
            self.col(
                y + "plant_y",
                "Heat rejection temperature within the curve",
                "°F",
                f"MEDIAN({{{cap}.y_low}},{condenser},{{{cap}.y_high}})",
                "f1",
            )
            variable = f"{{{x}cap_x}}" if dx else "{c.chw_f}"
            self.col(
                y + "cap_factor",
                "Capacity over rating",
                "share",
                f"{biquadratic(cap, variable, f'{{{y}plant_y}}')}/{{{cap}.rated}}",
                "f3",
            )
            full = f"{{c.rated_kbtuh}}*{{{y}cap_factor}}"
            self.col(
                y + "plant_kbtuh",
                "Plant at the conditions",
                "kBtu/h",
                f"IF({{oat_f}}<{{cooling.lockout_f}},0,{full})" if dx else full,
                "f1",
            )
            if cool.type == "chilled_water" and cool.other_load_tons > 0.0:
                self.col(
                    "other_load",
                    "Other load on the plant",
                    "kBtu/h",
                    "{cooling.other_load_tons}*{k.kbtu_ton}*MAX(({oat_f}-{cooling.other_load_zero_f})/({k.other_design_f}-{cooling.other_load_zero_f}),0)",
                    "f1",
                )
        other = "-{other_load}" if "other_load" in self.grid else ""
        template = f"MAX({{{y}plant_kbtuh}}{other},0)"
        if x == "" and not out:
            self.col("open_capacity_kbtuh", "Plant can give, before closing", "kBtu/h", template, "f1")
        else:
            self.out("cooling_capacity_kbtuh", template, prefix=x)

    # --- loads and plant

    def _count(self) -> None:
        """What the coil carries, what is not served, and rows that an edit lets float."""
        bought = self.project.cooling.type == "purchased"
        self._group("Load that is carried")
        load = "({sensible}+{cooling_latent_kbtuh})"
        self.out(
            "unserved_kbtuh",
            None
            if bought
            else f"IF({load}-{{cooling_capacity_kbtuh}}>{{k.unserved}}*MAX({load},1/1000),"
            f"{load}-{{cooling_capacity_kbtuh}},0)",
        )
        self.out("cooling_sensible_kbtuh", "{sensible}" if bought else "{sensible}-{unserved_kbtuh}")
        self.out("cooling_kbtuh", "MAX({cooling_sensible_kbtuh}+{cooling_latent_kbtuh},0)")
        if not self.two_pass:
            tests = (
                [] if bought else ["{unserved_kbtuh}>{k.capacity_slack}*MAX({sensible}+{cooling_latent_kbtuh},1/1000)"]
            )
            if supply_heating_mode(self.unit) != "hold":
                tests.append(f"{floating.heated(self, '{mat_f}')}+{{fan_rise_f}}<{{sat_f}}-{{k.sat_held}}")
            if tests:
                self.col(
                    "short",
                    "Would float after an edit: needs a new run",
                    "1/0",
                    f"IF({tests[0] if len(tests) == 1 else 'OR(' + ','.join(tests) + ')'},1,0)",
                    "f0",
                )
                self._compare_rows("short", np.zeros(self.lines))

    def _plant(self) -> None:
        g, project = self.grid, self.project
        cool = project.cooling
        bought = cool.type == "purchased"
        pumps = []
        g.group("Cooling plant")
        if cool.type in ("chilled_water", "direct_expansion"):
            pumps += self._chillers()
        else:
            self.out("cooling_kw", None)
        self.out("purchased_cooling_kbtuh", "{cooling_kbtuh}/(1-{cooling.purchased_loss_frac})" if bought else None)
        g.group("Reheat and heat sources")
        self.out("reheat_kbtuh", "SUMPRODUCT({z.mult},{reheat})/1000")
        electric, fuel, purchased, unserved = [], [], [], []
        for n, source, capacity, load, on in self._sources():
            e, f, b, w, missing = source_columns(self.col, n, source, capacity, load, on, "{oat_f}")
            electric, fuel, purchased, pumps = electric + e, fuel + f, purchased + b, pumps + w
            unserved.append(missing)
        if project.heating.type == "none":
            unserved.append("{reheat_kbtuh}" + ("+{preheat_kbtuh}" if project.preheat.type == "same" else ""))
        if project.preheat.type == "none":
            unserved.append("{preheat_kbtuh}")
        self.out("heat_unserved_kbtuh", "+".join(unserved) or None)
        kind = project.return_fan.type
        second = {"none": None, "return": "{return_kw}", "relief": self._second_fan("MAX({oa_cfm},0)")}[kind]
        g.group("Energy")
        self.out("return_fan_kw", second)
        self.out("fans_kw", "{fan_kw}+{return_fan_kw}")
        self.out("pump_tower_kw", "+".join(pumps) or None)
        self.out("heating_kw", "+".join(electric) or None)
        self.out("fuel_thermh", "+".join(fuel) or None)
        self.out("purchased_heating_kbtuh", "+".join(purchased) or None)
        for use in END_USES:
            if use.formula:
                self.out(use.column, use.formula)
        self.out("electricity_kw", "+".join(f"{{{use.column}}}" for use in ELECTRIC))
        g.group("Cost")
        self.out(
            "cost_usd_h",
            "+".join(
                f"{{{column}}}*{{prices.{price}}}"
                for column, price in (
                    ("electricity_kw", ELECTRICITY_PRICE),
                    *((use.column, use.price) for use in END_USES if not use.electric),
                )
            ),
        )

    def _sources(self):
        """Heat sources: name, source, capacity, load, whether enabled."""
        heat, pre = self.project.heating, self.project.preheat
        if heat.type != "none":
            if pre.type == "same":
                yield (
                    "heat",
                    heat_source(heat),
                    "heating.capacity_kbtuh",
                    "({reheat_kbtuh}+{preheat_kbtuh})",
                    "IF({preheat_kbtuh}>{k.least_preheat},1,{enabled})",
                )
            else:
                yield ("heat", heat_source(heat), "heating.capacity_kbtuh", "{reheat_kbtuh}", "{enabled}")
        if pre.type not in ("same", "none"):
            yield (
                "pre",
                preheat_source(pre, heat),
                "c.preheat_capacity",
                "{preheat_kbtuh}",
                "IF({preheat_kbtuh}>{k.least_preheat},1,0)",
            )

    def _chillers(self) -> list[str]:
        cool = self.project.cooling
        dx = cool.type == "direct_expansion"
        eir = curve_key("dx_eir_f_t" if dx else f"chiller_{cool.chiller_set}_eir_f_t")
        self.col(
            "eir_factor",
            "Full-load input over rating",
            "share",
            f"{biquadratic(eir, '{cap_x}' if dx else '{c.chw_f}', '{plant_y}')}/{{{eir}.rated}}",
            "f3",
        )
        self.col(
            "unit_kw",
            "Full load of a unit",
            "kW",
            "{cooling.capacity_tons}/{cooling.units}*{c.full_kw_ton}*({plant_kbtuh}/{c.rated_kbtuh})*{eir_factor}",
        )
        if "other_load" in self.grid:
            self.col("other", "Other load that is served", "kBtu/h", "MIN({other_load},{plant_kbtuh})", "f1")
            self.col(
                "total_load", "Load of the plant", "kBtu/h", "MIN({cooling_kbtuh},{plant_kbtuh}-{other})+{other}", "f1"
            )
            main, pumps = self._units("n_", "{total_load}")
            alone, pumps_alone = self._units("o_", "{other}")
            self.out("cooling_kw", f"{main}-{alone}")
            return [*pumps, f"(-1)*({'+'.join(pumps_alone)})"]
        main, pumps = self._units("n_", "{cooling_kbtuh}")
        self.out("cooling_kw", main)
        return pumps

    def _units(self, n: str, load: str) -> tuple[str, list[str]]:
        """Running units, their part load and power under a load."""
        cool = self.project.cooling
        dx = cool.type == "direct_expansion"
        self.col(
            n + "load",
            "Load of the plant" + (" without this air handler" if n == "o_" else ""),
            "kBtu/h",
            f"IF({load}>{{k.least_load}}*{{c.rated_kbtuh}},{load},0)",
            "f1",
        )
        kbtuh = f"{{{n}load}}"
        each = "({plant_kbtuh}/{cooling.units})"
        self.col(
            n + "on",
            "Units on",
            "units",
            f"IF(AND({kbtuh}>0,{each}>0),MEDIAN(1,ROUNDUP({kbtuh}/IF({each}>0,{each},1)-{{k.staging}},0),{{cooling.units}}),0)",
            "f0",
        )
        on = f"{{{n}on}}"
        self.col(
            n + "plr",
            "Part load ratio",
            "0–1",
            f"MIN(IF({on}*{each}>0,{kbtuh}/IF({on}*{each}>0,{on}*{each},1),0),1)",
            "f3",
        )
        plr = f"{{{n}plr}}"
        hold = cool.below_minimum == "hold"
        self.col(
            n + "run",
            "Running share of the units",
            "0–1",
            f"IF({plr}>0,1,0)" if hold else f"MIN({plr},{{c.least_plr}})/{{c.least_plr}}",
            "f3",
        )
        q = curve_key("dx_eir_f_plr" if dx else f"chiller_{cool.chiller_set}_eir_f_plr")
        count = 4 if dx else len(coefficients(q))
        self.col(n + "steady", "Steady part load", "0–1", f"MAX({plr},{{c.least_plr}})", "f3")
        power = f"{on}*{{unit_kw}}*{polynomial(q, count, f'{{{n}steady}}')}/{{{q}.rated}}*{{{n}run}}"
        if dx:
            return power, []
        share = f"({kbtuh}/{{c.rated_kbtuh}})"
        pump = "{cooling.chilled_pump_w_ton}*{cooling.capacity_tons}/1000*"
        if cool.chilled_pump_control == "constant":
            pump += f"IF({kbtuh}>0,1,0)"
        else:
            v = curve_key("pump_variable")
            pump += f"{polynomial(v, 4, f'MEDIAN({{{v}.x_low}},{share},{{{v}.x_high}})')}/{{{v}.rated}}"
        self.col(n + "pump_kw", "Chilled-water pump", "kW", pump)
        pumps = [f"{{{n}pump_kw}}"]
        if cool.chiller_set not in AIR_COOLED_SETS:
            self.col(
                n + "tower_kw",
                "Condenser pump and tower",
                "kW",
                f"({on}*{{{n}run}}*{{cooling.capacity_tons}}/{{cooling.units}}*{{cooling.condenser_pump_w_ton}}+{kbtuh}/{{k.kbtu_ton}}*{{cooling.tower_w_ton}})/1000",
            )
            pumps.append(f"{{{n}tower_kw}}")
        return power, pumps


class StrategyColumns:
    """Columns of a strategy on the sheet of its candidate (``strategies.strategy.Columns``).

    Parameters
    ----------
    chain : Chain
    x : str
        Prefix of the columns of this pass.
    part : str
        ``sat`` or ``dsp``.
    label : str
        Of the group of columns; it starts with the first of them, blocks of zones have groups of their own.
    settled : callable
        Writes the columns where pooled requests settle, for a prefix.
    """

    def __init__(self, chain: Chain, x: str, part: str, label: str, settled):
        self.chain, self.x, self.part, self.label, self._settled, self._started = chain, x, part, label, settled, False

    def start(self) -> None:
        """Start the group unless it has been."""
        if not self._started:
            self.chain._group(self.label + self.chain.more(self.x))
        self._started = True

    def own(self, key: str) -> str:
        return f"{{{self.x}{key}}}"

    def column(self, key: str, label: str, unit: str, template: str, style: str = "f2", wanted=None) -> None:
        self.start()
        self.chain.col(self.x + key, label + self.chain.more(self.x), unit, template, style)
        if wanted is not None:
            self.chain._compare_rows(key, wanted(self.chain.run.rows.on))

    def zones(self, key: str, label: str, unit: str, template: str, style: str = "f0") -> None:
        self.chain.block(self.x + key, label + self.chain.more(self.x), unit, template, style)

    def line(self, x: str, points: str = "points") -> str:
        record = getattr(self.chain.candidate, self.part)
        return line_through(x, len(getattr(record, points)), f"p.{self.part}_{points}")

    def cooling_per_cfm(self) -> str:
        return self.chain._drop(self.own("satz"))

    def values(self, key: str, label: str, unit: str) -> str:
        self.start()
        name = {"sat": "sat_f", "dsp": "dsp_inwc"}[self.part]
        held = np.concatenate([getattr(p.setpoints, name) for p in self.chain.run.parts])
        self.chain.grid.add(key, label, unit, None, "f2", values=held)
        return f"{{{key}}}"

    def settled(self) -> None:
        self.start()
        self._settled(self.x)


class Steps(Chain):
    """Some rows of a candidate at supply temperatures of a search, on a sheet of their own.

    Parameters
    ----------
    chain : Chain
        The candidate's own.
    sheet : Sheet
    rows : ndarray of int
        Its lines that these represent.
    """

    def __init__(self, chain: Chain, sheet, rows):
        self.pen, self.site, self.run, self.candidate, self.rationed = (
            chain.pen,
            chain.site,
            chain.run,
            chain.candidate,
            chain.rationed,
        )
        self.unit, self.project, self.parts, self.known, self.two_pass = (
            chain.unit,
            chain.project,
            chain.parts,
            chain.known,
            False,
        )
        self.lines, self.rows = len(rows), rows
        scope = Scope(chain.parameters)
        loads = self.site.loads
        for c in loads.columns:
            if not c.text:
                scope.put(f"L.{c.key}", loads.outside_address(c.key), np.tile(c.values[rows], (self.parts, 1)))
        self.grid = Grid(self.pen, sheet, scope, self.lines, self.parts, source=rows)
        self.grid.group("Row")
        self.grid.add("row", "Row", "no.", "{L.row}", "f0")
        self._conditions()

    def more(self, x: str) -> str:
        return f", step {x[1:-1]}" if x[1:-1].isdigit() else ""

    def out(self, key: str, template, *, prefix: str = "") -> None:
        if prefix + key in self.grid:
            return
        c = self.known[key]
        values = np.zeros(self.lines * self.parts) if template is None else None
        self.grid.add(prefix + key, c.label + self.more(prefix), c.unit, template, c.style, values=values)


def _enthalpy(t: str, w: str) -> str:
    return f"({{k.cp}}*{t}+{w}*({{k.h0}}+{{k.cpv}}*{t}))"


def part_overrides(candidate) -> list[tuple[bool, bool]]:
    """Which parts of a candidate's lines have operators' overrides of supply air and duct pressure, in the engine's
    order."""
    sat, dsp = candidate.sat, candidate.dsp
    cases = [(1.0 - sat.override_frac, False)] + ([(sat.override_frac, True)] if sat.override_frac > 0.0 else [])
    pressures = [(1.0 - dsp.override_frac, False)] + ([(dsp.override_frac, True)] if dsp.override_frac > 0.0 else [])
    return [(a, b) for share_a, a in cases for share_b, b in pressures if share_a * share_b > 0.0]
