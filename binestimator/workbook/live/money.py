"""Money of every option by formulas: cost line by line, incentive, saving by source, cash flow, life-cycle measures."""

from __future__ import annotations

from dataclasses import field

import numpy as np

from ...dataclass import dataclass
from ...end_uses import PRICED
from ...inputs.form_terms import term_path
from ...inputs.schema import fields_of
from ...money.cost import BUILD_UP, LEVELS, LINES, QUANTITIES, input_name
from ...money.emissions import FACTORS
from ...money.incentives import BOUND_BY, BUY_DOWN, CAP, CEILING, FLOOR, NO_COST, NOTHING, RATES, SHARE
from ...money.life_cycle import ESCALATION_OF, MOST_YEARS, NEVER
from ...money.peaks import AVERAGING, windows_asked
from ...money.worth import RULES, cost_marks
from ..formats import money_words
from ..layout import LIVE_YEAR, MONEY
from ..page import height_of, lines_of, title
from ..strict import column_name, quoted
from .formulas import Scope

SHEET = MONEY
HEAD_ROW = 5
_LABEL_WIDTH, _NOTE_WIDTH = 46.0, 70.0
FIRST_COLUMN = 2
_SOURCES = {
    "electricity_kwh": "Electricity",
    "fuel_therm": "Fuel",
    "purchased_cooling_kbtu": "Purchased cooling",
    "purchased_heating_kbtu": "Purchased heat",
}
_TERMS = (
    "years",
    "discount_frac",
    "electricity_escalation_frac",
    "fuel_escalation_frac",
    "purchased_escalation_frac",
    "saving_fade_frac",
)
_LEVEL_WORDS = {"low": "low", "expected": "expected", "high": "high"}
_RULE_FIELDS = (
    "usd_kwh",
    "usd_kw",
    "usd_therm",
    "cost_share_frac",
    "cap_usd",
    "buy_down_years",
    "shortest_payback_years",
    "longest_payback_years",
)
#: Stands for a year that does not come.
_NO_YEAR = 999
#: Stands for a limit that a programme does not set.
_NO_LIMIT = 1e15
YEAR_ZERO = (
    "Year 0 is today: cost less incentive is paid then and is not discounted. Savings of a year come at its end, at "
    "today's prices of the currency (real rates, without inflation)."
)


@dataclass(slots=True)
class MoneyPlan:
    """Rows of the sheet by key, in order, so that other sheets can refer to them before it is written."""

    rows: dict[str, int] = field(default_factory=dict)
    sections: list[tuple[int, str]] = field(default_factory=list)
    lines: tuple = ()
    sources: tuple[str, ...] = ()
    last_row: int = 0

    @classmethod
    def of(cls, results, positions) -> MoneyPlan:
        """Plan for the candidates that have a sheet."""
        plan, at = cls(), HEAD_ROW + 1
        chosen = [results.candidates[k] for k in positions]
        used = {line.key for c in chosen for line in c.worth.build_up.lines}
        plan.lines = tuple(line for line in LINES if line.key in used)
        plan.sources = tuple(
            key for key, _, _ in PRICED if key == "electricity_kwh" or any(c.annual[key] for c in results.candidates)
        )

        def section(text):
            nonlocal at
            plan.sections.append((at + 1, text))
            at += 2

        def rows(*keys):
            nonlocal at
            for key in keys:
                plan.rows[key] = at
                at += 1

        section("Terms of the life cycle, the same for all options")
        rows(*(f"term.{name}" for name in _TERMS))
        section("Cost to carry out, line by line: low, expected, high")
        for line in (*plan.lines, *(("hardware",) if "hardware" in used else ())):
            key = line if isinstance(line, str) else line.key
            rows(*(f"cost.{key}.{level}" for level in LEVELS))
        rows(*(f"cost.contingency.{level}" for level in LEVELS), *(f"cost.total.{level}" for level in LEVELS))
        rows("cost.marks", "cost.lacks")
        section("Demand in peak windows, from their own hours (values of the run)")
        for n, _ in enumerate(results.project.terms.windows):
            rows(f"window.{n}.kw", f"window.{n}.saving")
        section("Cost and incentive that count")
        rows("cost_basis", "cost_usd")
        for n, _ in enumerate(results.project.terms.incentives):
            rows(*(f"rule.{n}.{name}" for name in _RULE_FIELDS))
            rows(f"rule.{n}.earned", f"rule.{n}.usd", f"rule.{n}.bound")
        rows("incentive_basis", "incentive_usd", "outlay_usd")
        section("Saving of energy cost in a year, at today's prices")
        rows(*(f"saving.{key}" for key in plan.sources), "saving.cost_usd", "maintenance")
        section("Life cycle: minus is paid, plus is received")
        rows("saved_present", "npv", "sir", "airr", "irr", "discounted_payback")
        section("Emissions of a year")
        rows("emissions", "emissions_saving")
        section("Cash flow of each year")
        rows(*(f"flow.{t}" for t in range(MOST_YEARS + 1)))
        section("The same discounted and summed: what is back by the end of the year")
        rows(*(f"back.{t}" for t in range(MOST_YEARS + 1)))
        section("Years by whose end the outlay is back (999: not yet)")
        rows(*(f"reached.{t}" for t in range(MOST_YEARS + 1)))
        plan.last_row = at - 1
        return plan

    def address(self, key: str, column: int) -> str:
        """Address of a figure of the option in a column, for other sheets."""
        return f"{quoted(SHEET)}!${column_name(column)}${self.rows[key] + 1}"


def cost_address(plan: MoneyPlan, worth, column: int, name: str) -> str | None:
    """Address of a cost or an incentive that is found on the sheet; None where it is an input of the option."""
    if name == "cost_usd":
        return plan.address("cost_usd", column) if worth.cost_basis == BUILD_UP else None
    return plan.address("incentive_usd", column) if worth.incentive_basis == RULES else None


class _Writer:
    def __init__(self, pen, sheet, results, registry, positions, plan: MoneyPlan, year: dict):
        self.pen, self.sheet, self.results, self.registry = pen, sheet, results, registry
        self.positions, self.plan, self.year = positions, plan, year
        self.note_column = FIRST_COLUMN + len(positions)

    def s(self, *pieces):
        return self.pen.s(*pieces)

    def head(self, key: str, label: str, unit: str, text: str = "", *, bold: bool = True) -> int:
        row, s = self.plan.rows[key], self.s
        sheet = self.sheet
        sheet.text(row, 0, label, s("line", "wrap", "middle", *(("bold",) if bold else ())))
        sheet.text(row, 1, money_words(unit), s("line", "small"))
        sheet.text(row, self.note_column, text, s("line", "text_small", "quiet", "left", "inset"))
        lines, own = lines_of(text, _NOTE_WIDTH - 1.5, 8.0), lines_of(label, _LABEL_WIDTH - 1.0, bold=bold)
        if lines > 1 or own > 1:
            sheet.height(row, max(height_of(lines, 8.2), height_of(own)))
        return row

    def own(self, column: int, key: str) -> str:
        """Address of a figure of the option in a column, on the sheet itself."""
        return f"{column_name(column)}{self.plan.rows[key] + 1}"

    def term(self, name: str) -> str:
        return f"${column_name(FIRST_COLUMN)}${self.plan.rows['term.' + name] + 1}"

    def year_cell(self, column: int, key: str) -> str:
        """Address on the sheet “Live year”, whose options are in the same columns."""
        return f"{quoted(LIVE_YEAR)}!{column_name(column)}{self.year[key] + 1}"

    def put(self, key: str, column: int, names: Scope, template: str, style: str, value, label: str) -> float:
        """A formula in the row of a key, compared with the engine's value."""
        found = self.pen.evaluated(
            self.sheet, self.plan.rows[key], column, names, template, self.s(style, "line"), value
        )
        self.pen.compare(SHEET, f"{column}.{key}", found, value, label)
        return float(value)

    def put_or_word(self, key: str, column: int, names: Scope, template: str, style: str, value, word: str, label: str):
        """A formula that gives a number or, where the engine has none, a word."""
        missing = value is None or not np.isfinite(value)
        found = float(np.asarray(names.evaluate(template), dtype=float).reshape(()))
        self.pen.compare(SHEET, f"{column}.{key}.none", float(np.isnan(found)), float(missing), label)
        if not missing:
            self.pen.compare(SHEET, f"{column}.{key}", found, value, label)
        self.pen.formula(
            self.sheet,
            self.plan.rows[key],
            column,
            "=" + names.formula(template),
            word if missing else float(value),
            self.s(style, "line", "right"),
        )

    # ------------------------------------------------------------ parts

    def terms(self) -> None:
        record = self.results.project.life_cycle
        for name in _TERMS:
            f = fields_of("life_cycle")[name]
            row = self.head(f"term.{name}", f.label, f.unit, f.description)
            value = float(getattr(record, name))
            style = "f0" if name == "years" else "pct2"
            self.pen.formula(
                self.sheet,
                row,
                FIRST_COLUMN,
                "=" + self.registry.address(f"life_cycle.{name}"),
                value,
                self.s(style, "line"),
            )

    def cost(self) -> None:
        results, registry, record = self.results, self.registry, self.results.project.cost
        for path in registry.paths():
            # Amounts of lines that no option has change no figure.
            if path.startswith("cost.") and path != "cost.build_up":
                registry.read.add(path)
        address = lambda name: registry.address(f"cost.{name}")
        marks = cost_marks(results.project)
        chosen = {k: {line.key: line for line in results.candidates[k].worth.build_up.lines} for k in self.positions}
        for line in self.plan.lines:
            for level in LEVELS:
                amount = input_name(line.amount, line.unit, level)
                unit = "h" if line.unit == "h" else results.project.prices.currency
                row = self.head(
                    f"cost.{line.key}.{level}",
                    line.label if level == "low" else "",
                    _LEVEL_WORDS[level],
                    f"{getattr(record, amount):g} {unit} each: {marks[amount]}; for {QUANTITIES[line.of]}",
                    bold=level == "low",
                )
                for column, k in enumerate(self.positions, FIRST_COLUMN):
                    found = chosen[k].get(line.key)
                    if found is None:
                        self.sheet.text(row, column, "", self.s("line"))
                        continue
                    names = Scope()
                    names.put("amount", address(amount), float(getattr(record, amount)))
                    template = "{quantity}*{amount}"
                    if line.of == "rogue_zones":
                        zones = float(sum(z.multiplier for z in results.project.zones))
                        marked = float(sum(z.multiplier for z in results.project.zones if z.rogue != "none"))
                        share = input_name("rogue_share", "frac", level)
                        names.put("share", address(share), float(getattr(record, share)))
                        names.put("zones", repr(zones), zones)
                        names.put("marked", repr(marked), marked)
                        template = "MAX({share}*{zones},{marked})*{amount}"
                    elif line.of == "new_points":
                        zones = float(sum(z.multiplier for z in results.project.zones))
                        names.put("each", address("new_points_per_zone"), float(record.new_points_per_zone))
                        names.put("zones", repr(zones), zones)
                        template = "{each}*{zones}*{amount}"
                    else:
                        names.put("quantity", repr(float(found.quantity[level])), float(found.quantity[level]))
                    if line.unit == "h":
                        rate = input_name("rate", "usd_h", level)
                        names.put("rate", address(rate), float(getattr(record, rate)))
                        template += "*{rate}"
                    self.put(f"cost.{line.key}.{level}", column, names, template, "usd", found.usd[level], line.label)
        if "cost.hardware.low" in self.plan.rows:
            for level in LEVELS:
                row = self.head(
                    f"cost.hardware.{level}",
                    "Equipment of the option itself" if level == "low" else "",
                    _LEVEL_WORDS[level],
                    "As given for the option" if level == "low" else "",
                    bold=level == "low",
                )
                for column, k in enumerate(self.positions, FIRST_COLUMN):
                    c = results.candidates[k]
                    path = f"candidate[{c.id}].hardware_usd"
                    names = Scope()
                    names.put("given", registry.address(path), float(c.candidate.hardware_usd))
                    self.put(f"cost.hardware.{level}", column, names, "{given}", "usd", c.candidate.hardware_usd, path)
        keys = [line.key for line in self.plan.lines]
        keys += ["hardware"] if "cost.hardware.low" in self.plan.rows else []
        for level in LEVELS:
            share = input_name("contingency", "frac", level)
            self.head(
                f"cost.contingency.{level}",
                "Contingency" if level == "low" else "",
                _LEVEL_WORDS[level],
                "Share of the lines above" if level == "low" else "",
                bold=level == "low",
            )
            self.head(f"cost.total.{level}", "Cost by the build-up" if level == "low" else "", _LEVEL_WORDS[level])
            for column, k in enumerate(self.positions, FIRST_COLUMN):
                own = results.candidates[k].worth.build_up
                names = Scope()
                names.put("share", address(share), float(getattr(record, share)))
                mine = [key for key in keys if key in chosen[k] or key == "hardware"]
                for key in mine:
                    value = chosen[k][key].usd[level] if key in chosen[k] else 0.0
                    names.put(f"l.{key}", self.own(column, f"cost.{key}.{level}"), value)
                total = "+".join(f"{{l.{key}}}" for key in mine) or "0"
                self.put(
                    f"cost.contingency.{level}",
                    column,
                    names,
                    f"{{share}}*({total})",
                    "usd",
                    own.contingency_usd[level],
                    "Contingency",
                )
                names.put("more", self.own(column, f"cost.contingency.{level}"), own.contingency_usd[level])
                self.put(f"cost.total.{level}", column, names, f"{total}+{{more}}", "usd", own.total_usd[level], "Cost")
        row = self.head("cost.marks", "Lines by the estimator", "of all", "The others are defaults: assumptions")
        for column, k in enumerate(self.positions, FIRST_COLUMN):
            lines = results.candidates[k].worth.build_up.lines
            mine = sum(line.mark != "default" for line in lines)
            self.sheet.text(row, column, f"{mine} of {len(lines)}" if lines else "–", self.s("line", "right"))
        row = self.head("cost.lacks", "Not in the build-up", "", "Give it as candidate.hardware_usd")
        # A column is too narrow for the key, which stands beside.
        texts = [results.candidates[k].worth.build_up.lacks.partition(" (")[0] for k in self.positions]
        for column, text in enumerate(texts, FIRST_COLUMN):
            self.sheet.text(row, column, text, self.s("text_small", "line"))
        self.sheet.height(row, height_of(max(lines_of(t, 17, 8.0) for t in texts), 8.2))

    def windows(self) -> None:
        terms = self.results.project.terms
        for n, window in enumerate(terms.windows):
            start, end = window.hours
            rule = AVERAGING[window.averaging].format(top=window.top_hours)
            text = f"{', '.join(window.months)}; {', '.join(window.days)}; {start:g} to {end:g} h by the clock; {rule}"
            if terms.window_assumed:
                text += "; assumption: no programme's window is given"
            demand = self.head(f"window.{n}.kw", f"Demand, {window.name}", "kW", text)
            note = "Baseline minus option; minus: it raises demand"
            if self.pen.work.ranged:
                drawn = n in windows_asked(self.results.project)
                note += "; varies in the ranges" if drawn else "; not drawn in the ranges, as no money rests on it"
            saved = self.head(f"window.{n}.saving", f"Saved, {window.name}", "kW", note)
            for column, k in enumerate(self.positions, FIRST_COLUMN):
                own = self.results.candidates[k].worth.windows[n]
                self.sheet.number(demand, column, own.demand_kw, self.s("f2", "line"))
                self.sheet.number(saved, column, own.saving_kw, self.s("signed1", "line"))

    def counted(self) -> None:
        results, registry = self.results, self.registry
        basis = self.head("cost_basis", "Cost is", "", "Given for the option, or its build-up where it gives none")
        self.head("cost_usd", "Cost to carry out", "USD")
        paid = self.head("incentive_basis", "Incentive is", "", "Given for the option, or by the rules above")
        self.head("incentive_usd", "Incentive, once", "USD")
        self.head("outlay_usd", "Outlay after incentive", "USD", "Not below 0")
        words = {"given": "given", "build_up": "build-up", "rules": "by rules", "none": "not given"}
        for n, rule in enumerate(results.project.terms.incentives):
            self._rule(n, rule)
        for column, k in enumerate(self.positions, FIRST_COLUMN):
            c = results.candidates[k]
            worth = c.worth
            path = f"candidate[{c.id}]"
            self.sheet.text(basis, column, words[worth.cost_basis], self.s("line", "small", "right"))
            self.sheet.text(paid, column, words[worth.incentive_basis], self.s("line", "small", "right"))
            names = Scope()
            if worth.cost_basis == BUILD_UP:
                names.put("cost", self.own(column, "cost.total.expected"), worth.cost_usd)
            else:
                names.put("cost", registry.address(f"{path}.cost_usd"), worth.cost_usd)
            self.put("cost_usd", column, names, "{cost}", "usd2", worth.cost_usd, f"Cost, {c.name}")
            if worth.incentive_basis == RULES:
                lines = worth.incentive_lines
                for n, line in enumerate(lines):
                    names.put(f"paid{n}", self.own(column, f"rule.{n}.usd"), line.usd)
                names.put("cost", self.own(column, "cost_usd"), worth.cost_usd)
                template = "MIN(" + "+".join(f"{{paid{n}}}" for n in range(len(lines))) + ",{cost})"
            else:
                names.put("given", registry.address(f"{path}.incentive_usd"), worth.incentive_usd)
                template = "{given}"
            self.put("incentive_usd", column, names, template, "usd2", worth.incentive_usd, f"Incentive, {c.name}")
            names = Scope()
            names.put("cost", self.own(column, "cost_usd"), worth.cost_usd)
            names.put("incentive", self.own(column, "incentive_usd"), worth.incentive_usd)
            outlay = float(worth.life.outlay_usd)
            self.put("outlay_usd", column, names, "MAX({cost}-{incentive},0)", "usd2", outlay, f"Outlay, {c.name}")

    def _rule(self, n: int, rule) -> None:
        """One programme: its numbers once, in the first column of options, then what it pays."""
        results, registry = self.results, self.registry
        fields = fields_of("incentive")
        limits = {"cap_usd": _NO_LIMIT, "longest_payback_years": _NO_LIMIT}
        values: dict[str, float] = {}
        for name in _RULE_FIELDS:
            value = getattr(rule, name)
            values[name] = limits[name] if value is None else float(value)
            row = self.head(
                f"rule.{n}.{name}",
                f"{rule.name}: {fields[name].label[0].lower()}{fields[name].label[1:]}",
                fields[name].unit,
                fields[name].description,
            )
            place = registry.term_address(term_path("incentive", n, name))
            if value is not None and place is not None:
                self.pen.formula(self.sheet, row, FIRST_COLUMN, "=" + place, values[name], self.s("general", "line"))
            elif value is None:
                self.sheet.text(row, FIRST_COLUMN, "no limit", self.s("line", "right"))
            else:
                self.sheet.number(row, FIRST_COLUMN, values[name], self.s("general", "line"))
        at = lambda name: f"${column_name(FIRST_COLUMN)}${self.plan.rows[f'rule.{n}.{name}'] + 1}"
        self.head(
            f"rule.{n}.earned", f"{rule.name}: by its rates", "USD", "Rates times what is saved, fuel by its sign"
        )
        self.head(f"rule.{n}.usd", f"{rule.name}: paid", "USD", "The least of its limits; nothing outside its paybacks")
        bound_row = self.head(f"rule.{n}.bound", f"{rule.name}: bound by", "")
        for column, k in enumerate(self.positions, FIRST_COLUMN):
            c = results.candidates[k]
            worth = c.worth
            if worth.incentive_basis != RULES:
                for key in ("earned", "usd", "bound"):
                    self.sheet.text(self.plan.rows[f"rule.{n}.{key}"], column, "", self.s("line"))
                continue
            line = worth.incentive_lines[n]
            window = results.project.terms.window_of(rule)
            names = Scope()
            for name in _RULE_FIELDS:
                limit = name in limits and getattr(rule, name) is None
                names.put(name, f"{_NO_LIMIT:.0f}" if limit else at(name), values[name])
            names.put("kwh", self.year_cell(column, "saving.electricity_kwh"), c.saving["electricity_kwh"])
            names.put("therm", self.year_cell(column, "saving.fuel_therm"), c.saving["fuel_therm"])
            names.put("kw", self.own(column, f"window.{window}.saving"), worth.windows[window].saving_kw)
            names.put("cost", self.own(column, "cost_usd"), worth.cost_usd)
            names.put("saving", self.year_cell(column, "saving.cost_usd"), c.saving["cost_usd"])
            earned = rule.usd_kwh * c.saving["electricity_kwh"] + rule.usd_kw * worth.windows[window].saving_kw
            earned += rule.usd_therm * c.saving["fuel_therm"]
            label = f"{rule.name}, {c.name}"
            template = "{usd_kwh}*{kwh}+{usd_kw}*{kw}+{usd_therm}*{therm}"
            self.put(f"rule.{n}.earned", column, names, template, "usd2_signed", earned, label)
            names.put("earned", self.own(column, f"rule.{n}.earned"), earned)
            names.put("late", f"{_NO_LIMIT:.0f}", _NO_LIMIT)
            payback = "IF({saving}>0,{cost}/MAX({saving},1/1000000),{late}*2)"
            share, buy = "{cost_share_frac}*{cost}", "{cost}-{buy_down_years}*MAX({saving},0)"
            least = f"MIN({{earned}},{share},{{cap_usd}},{buy})"
            outside = [f"{payback}<{{shortest_payback_years}}"]
            if rule.longest_payback_years is not None:
                outside.append(f"{payback}>{{longest_payback_years}}")
            self.put(
                f"rule.{n}.usd",
                column,
                names,
                f"IF(OR({{earned}}<=0,{{cost}}<=0,{','.join(outside)}),0,MAX({least},0))",
                "usd2",
                line.usd,
                label,
            )
            word = lambda place: f'"{BOUND_BY[place]}"'
            late = (
                f"IF({payback}>{{longest_payback_years}},{word(CEILING)},"
                if rule.longest_payback_years is not None
                else "("
            )
            text = (
                f"IF({{cost}}<=0,{word(NO_COST)},IF({{earned}}<=0,{word(NOTHING)},"
                f"IF({payback}<{{shortest_payback_years}},{word(FLOOR)},{late}"
                f"IF({{earned}}<={least},{word(RATES)},IF({share}<={least},{word(SHARE)},"
                f"IF({{cap_usd}}<={least},{word(CAP)},{word(BUY_DOWN)})))))))"
            )
            self.pen.formula(
                self.sheet, bound_row, column, "=" + names.formula(text), line.bound_by, self.s("text_small", "line")
            )
        self.sheet.height(bound_row, 36)

    def savings(self) -> None:
        for key in self.plan.sources:
            self.head(f"saving.{key}", _SOURCES[key], "USD/yr")
        self.head("saving.cost_usd", "Energy cost together", "USD/yr")
        self.head("maintenance", "More maintenance", "USD/yr", "As given for the option")
        for column, k in enumerate(self.positions, FIRST_COLUMN):
            c = self.results.candidates[k]
            total = Scope()
            for key, price, _ in PRICED:
                if key not in self.plan.sources:
                    continue
                names = Scope()
                if self.results.project.terms.has_tariff:
                    self._saving_by_tariff(column, c, key, total)
                    continue
                names.put("amount", self.year_cell(column, f"saving.{key}"), c.saving[key])
                value = float(self.registry.value("prices." + price))
                names.put("price", self.registry.address("prices." + price), value)
                usd = c.worth.saving_by_source_usd[key]
                self.put(f"saving.{key}", column, names, "{amount}*{price}", "usd2_signed", usd, _SOURCES[key])
                total.put(key, self.own(column, f"saving.{key}"), usd)
            self.put(
                "saving.cost_usd",
                column,
                total,
                "+".join(f"{{{key}}}" for key in self.plan.sources),
                "usd2_signed",
                c.saving["cost_usd"],
                f"Saving, {c.name}",
            )
            names = Scope()
            path = f"candidate[{c.id}].maintenance_usd_yr"
            names.put("given", self.registry.address(path), float(c.candidate.maintenance_usd_yr))
            self.put("maintenance", column, names, "{given}", "usd2_signed", c.candidate.maintenance_usd_yr, path)

    def _saving_by_tariff(self, column: int, c, key: str, total: Scope) -> None:
        """A source under a tariff: what is not electricity as in the run; electricity, with demand, is the rest."""
        usd = c.worth.saving_by_source_usd[key]
        if key != "electricity_kwh":
            self.sheet.number(self.plan.rows[f"saving.{key}"], column, usd, self.s("usd2_signed", "line"))
        else:
            names = Scope()
            names.put("all", self.year_cell(column, "saving.cost_usd"), c.saving["cost_usd"])
            others = [other for other in self.plan.sources if other != key]
            for other in others:
                value = c.worth.saving_by_source_usd[other]
                names.put(other, self.own(column, f"saving.{other}"), value)
            template = "{all}" + "".join(f"-{{{other}}}" for other in others)
            self.put(f"saving.{key}", column, names, template, "usd2_signed", usd, _SOURCES[key])
        total.put(key, self.own(column, f"saving.{key}"), usd)

    def life(self) -> None:
        record = self.results.project.life_cycle
        for key, label, unit, text in (
            ("saved_present", "Present value of savings", "USD", "Savings less maintenance, discounted"),
            ("npv", "Net present value", "USD", "That less the outlay; net savings in NIST Handbook 135"),
            ("sir", "Savings-to-investment ratio", "–", "Present value of savings over the outlay; above 1 it pays"),
            ("airr", "Adjusted internal rate of return", "1/yr", "Savings reinvested at the discount rate"),
            ("irr", "Internal rate of return", "1/yr", "Where cash flows change their sign once"),
            (
                "discounted_payback",
                "Discounted payback",
                "years",
                "First year by whose end discounted savings have returned the outlay",
            ),
        ):
            self.head(key, label, unit, text)
        for t in range(MOST_YEARS + 1):
            self.head(f"flow.{t}", f"Year {t}", "USD", YEAR_ZERO if t == 0 else "", bold=False)
            self.head(f"back.{t}", f"Year {t}", "USD", bold=False)
            self.head(f"reached.{t}", f"Year {t}", "year", bold=False)
        for column, k in enumerate(self.positions, FIRST_COLUMN):
            self._cash_flow(column, self.results.candidates[k], record)

    def _cash_flow(self, column: int, c, record) -> None:
        life, letter = c.worth.life, column_name(column)
        terms = Scope()
        for name in _TERMS:
            terms.put(name, self.term(name), float(getattr(record, name)))
        years = record.years
        flows = np.zeros(MOST_YEARS + 1)
        flows[: years + 1] = life.flows_usd
        worths = flows * (1.0 + record.discount_frac) ** -np.arange(MOST_YEARS + 1.0)
        back = np.cumsum(worths)
        by_source = "+".join(f"{{s.{key}}}*(1+{{{ESCALATION_OF[key]}}})^{{t}}" for key in self.plan.sources)
        for t in range(MOST_YEARS + 1):
            names = Scope(terms)
            names.put("t", str(t), float(t))
            names.put("outlay", self.own(column, "outlay_usd"), float(life.outlay_usd))
            for key in self.plan.sources:
                names.put(
                    f"s.{key}", f"{letter}${self.plan.rows['saving.' + key] + 1}", c.worth.saving_by_source_usd[key]
                )
            names.put("maintenance", f"{letter}${self.plan.rows['maintenance'] + 1}", c.worth.maintenance_usd_yr)
            template = (
                "-{outlay}"
                if t == 0
                else f"IF({{t}}<={{years}},({by_source})*(1-{{saving_fade_frac}})^({{t}}-1)-{{maintenance}},0)"
            )
            self.put(f"flow.{t}", column, names, template, "usd2_signed", flows[t], f"Cash flow, {c.name}")
            names.put("flow", self.own(column, f"flow.{t}"), flows[t])
            if t:
                names.put("before", self.own(column, f"back.{t - 1}"), back[t - 1])
            template = "{flow}" if t == 0 else "{before}+{flow}/(1+{discount_frac})^{t}"
            self.put(f"back.{t}", column, names, template, "usd2_signed", back[t], f"Discounted sum, {c.name}")
            names.put("back", self.own(column, f"back.{t}"), back[t])
            reached = float(t) if t <= years and back[t] >= 0.0 else float(_NO_YEAR)
            template = f"IF(AND({{t}}<={{years}},{{back}}>=0),{{t}},{_NO_YEAR})"
            self.put(f"reached.{t}", column, names, template, "f0", reached, f"Back, {c.name}")
        area = lambda key, first, last: (
            f"{letter}{self.plan.rows[f'{key}.{first}'] + 1}:{letter}{self.plan.rows[f'{key}.{last}'] + 1}"
        )
        names = Scope(terms)
        names.put("later", area("flow", 1, MOST_YEARS), flows[None, 1:])
        names.put("flows", area("flow", 0, MOST_YEARS), flows[None])
        names.put("before", area("flow", 0, MOST_YEARS - 1), flows[None, :-1])
        names.put("outlay", self.own(column, "outlay_usd"), float(life.outlay_usd))
        present = float(life.saved_present_usd)
        self.put(
            "saved_present", column, names, "NPV({discount_frac},{later})", "usd2_signed", present, "Present value"
        )
        names.put("present", self.own(column, "saved_present"), present)
        # Spreadsheet programs discount the first value of NPV by a year: what is paid in year 0 stays outside.
        self.put("npv", column, names, "-{outlay}+{present}", "usd2_signed", float(life.npv_usd), "Net present value")
        names.put("none", '"no cost"', np.nan)
        self.put_or_word(
            "sir",
            column,
            names,
            "IF({outlay}>0,{present}/MAX({outlay},1/1000000),{none})",
            "f2",
            life.sir,
            "no cost",
            "SIR",
        )
        lacks = "no cost" if np.isnan(life.sir) else "none"
        ratio = "{present}/MAX({outlay},1/1000000)"
        names.put("none", '"none"' if lacks == "none" else '"no cost"', np.nan)
        names.put("some", f'IF({self.own(column, "outlay_usd")}>0,"none","no cost")', np.nan)
        self.put_or_word(
            "airr",
            column,
            names,
            f"IF(AND({{outlay}}>0,{{present}}>0),(1+{{discount_frac}})*MAX({ratio},0)^(1/{{years}})-1,{{some}})",
            "pct2_signed",
            life.airr,
            lacks,
            "AIRR",
        )
        names.put("first", self.own(column, "flow.1"), flows[1])
        # Programs search from a guess, and may find a rate below -100 % from a poor one: what comes back over the
        # outlay, spread over the mean year, is near enough; high rates are near the yield of the first year.
        back_of_one = "MAX(SUM({later})/MAX({outlay},1/1000000),1/1000)"
        even = f"({back_of_one}^(2/({{years}}+1))-1)"
        guess = f"IF({back_of_one}>1,MAX({{first}}/MAX({{outlay}},1/1000000)-1/{{years}},{even}),{even})"
        self.put_or_word(
            "irr",
            column,
            names,
            f"IF(AND({{outlay}}>0,SUMPRODUCT(({{before}}*{{later}}<0)*1)=1),IRR({{flows}},{guess}),{{some}})",
            "pct2_signed",
            life.irr,
            lacks,
            "IRR",
        )
        found = [float(t) if t <= years and back[t] >= 0.0 else float(_NO_YEAR) for t in range(MOST_YEARS + 1)]
        names.put("reached", area("reached", 0, MOST_YEARS), np.array([found]))
        names.put("never", f'"{NEVER}"', np.nan)
        self.put_or_word(
            "discounted_payback",
            column,
            names,
            f"IF(AND({{present}}>0,MIN({{reached}})<{_NO_YEAR}),MIN({{reached}}),{{never}})",
            "f0",
            life.discounted_payback_years,
            NEVER,
            "Discounted payback",
        )

    def emissions(self) -> None:
        record = self.results.project.emissions
        text = f"CO2 by factors of {record.factor_year}, {record.factor_kind.replace('_', '-')} for electricity"
        rows = {
            "emissions": self.head("emissions", "Emissions of the option", "kg CO2/yr", text),
            "emissions_saving": self.head("emissions_saving", "Saved against the baseline", "kg CO2/yr", text),
        }
        for column, k in enumerate(self.positions, FIRST_COLUMN):
            c = self.results.candidates[k]
            for key, prefix, amounts, value in (
                ("emissions", "", c.annual, c.worth.emissions_kg),
                ("emissions_saving", "saving.", c.saving, c.worth.emissions_saving_kg),
            ):
                if value is None:
                    self.sheet.text(rows[key], column, "factor missing", self.s("line", "right"))
                    continue
                names, parts = Scope(), []
                for use, factor in FACTORS.items():
                    if use in self.plan.sources and getattr(record, factor) is not None:
                        names.put(use, self.year_cell(column, prefix + use), amounts[use])
                        names.put(factor, self.registry.address(f"emissions.{factor}"), float(getattr(record, factor)))
                        parts.append(f"{{{use}}}*{{{factor}}}")
                style = "f0" if key == "emissions" else "signed"
                self.put(key, column, names, "+".join(parts) or "0", style, value, f"Emissions, {c.name}")


def write(pen, sheet, results, registry, positions, plan: MoneyPlan, year: dict) -> None:
    """Write the sheet.

    Parameters
    ----------
    pen : Pen
    sheet : Sheet
    results : Results
    registry : Registry
    positions : list of int
        Candidates with a sheet.
    plan : MoneyPlan
    year : dict
        Row by key of the sheet “Live year”.
    """
    s, work = pen.s, pen.work
    last = FIRST_COLUMN + len(positions)
    title(
        work,
        sheet,
        "Money",
        "What each option costs, what a programme pays, and what it is worth over its life, by formulas from inputs "
        "and the sheet “Live year”.",
        link_column=last,
    )
    currency = results.project.prices.currency
    widths = [_LABEL_WIDTH, 11.0, *[17.0] * len(positions), _NOTE_WIDTH]
    sheet.widths(widths)
    about = (
        f"All amounts are in {currency}. Fixed charges of utilities are in no saving. Edit hours, rates and terms on "
        "the sheet of inputs: this sheet follows. What nobody gave is a default and an assumption."
    )
    # Within the columns of the first options, which stay together on paper.
    for row, text in ((2, YEAR_ZERO), (3, about)):
        end = min(FIRST_COLUMN + 3, last)
        sheet.merged_text(row, 0, row, end, text, s("text_small", "quiet"))
        sheet.height(row, height_of(lines_of(text, sum(widths[: end + 1]), 8.0), 8.2))
    for place, text in enumerate(("Figure", "Unit")):
        sheet.text(HEAD_ROW, place, text, s("head_left"))
    for place, k in enumerate(positions, FIRST_COLUMN):
        sheet.text(HEAD_ROW, place, f"{k + 1} {results.candidates[k].name}", s("head"))
    sheet.text(HEAD_ROW, last, "What it is", s("head_left", "inset"))
    sheet.height(HEAD_ROW, 40)
    sheet.freeze(HEAD_ROW + 1, 2)
    for row, text in plan.sections:
        for place in range(last + 1):
            sheet.text(row, place, text if place == 0 else "", s("section"))
    writer = _Writer(pen, sheet, results, registry, positions, plan, year)
    writer.terms()
    writer.cost()
    writer.windows()
    writer.counted()
    writer.savings()
    writer.life()
    writer.emissions()
    shown = plan.rows[f"flow.{min(results.project.life_cycle.years, MOST_YEARS)}"]
    sheet.on_paper(
        footer=work.footer, last_row=shown, last_column=last, repeat_rows=(HEAD_ROW, HEAD_ROW), repeat_columns=(0, 1)
    )
