"""Sheet “Money”: cost and incentive that count, programme by programme."""

from __future__ import annotations

from ...inputs.form_terms import term_path
from ...inputs.schema import fields_of
from ...money.cost import BUILD_UP
from ...money.incentives import BOUND_BY, BUY_DOWN, CAP, CEILING, FLOOR, NO_COST, NOTHING, RATES, SHARE
from ...money.worth import RULES
from ..addresses import column_name
from .formulas import Scope
from .money_lines import MoneyLines
from .money_plan import FIRST_COLUMN, RULE_FIELDS

#: Stands for a limit that a programme does not set.
_NO_LIMIT = 1e15


def write_counted(w: MoneyLines) -> None:
    """Cost and incentive that count, and the programmes."""
    results, registry = w.results, w.registry
    basis = w.head("cost_basis", "Cost is", "", "Given for the option, or its build-up where it gives none")
    w.head("cost_usd", "Cost to carry out", "USD")
    paid = w.head("incentive_basis", "Incentive is", "", "Given for the option, or by the rules above")
    w.head("incentive_usd", "Incentive, once", "USD")
    w.head("outlay_usd", "Outlay after incentive", "USD", "Not below 0")
    words = {"given": "given", "build_up": "build-up", "rules": "by rules", "none": "not given"}
    for n, rule in enumerate(results.project.terms.incentives):
        _rule(w, n, rule)
    for column, k in enumerate(w.positions, FIRST_COLUMN):
        c = results.candidates[k]
        worth = c.worth
        path = f"candidate[{c.id}]"
        w.sheet.text(basis, column, words[worth.cost_basis], w.s("line", "small", "right"))
        w.sheet.text(paid, column, words[worth.incentive_basis], w.s("line", "small", "right"))
        names = Scope()
        if worth.cost_basis == BUILD_UP:
            names.put("cost", w.own(column, "cost.total.expected"), worth.cost_usd)
        else:
            names.put("cost", registry.address(f"{path}.cost_usd"), worth.cost_usd)
        w.put("cost_usd", column, names, "{cost}", "usd2", worth.cost_usd, f"Cost, {c.name}")
        if worth.incentive_basis == RULES:
            lines = worth.incentive_lines
            for n, line in enumerate(lines):
                names.put(f"paid{n}", w.own(column, f"rule.{n}.usd"), line.usd)
            names.put("cost", w.own(column, "cost_usd"), worth.cost_usd)
            template = "MIN(" + "+".join(f"{{paid{n}}}" for n in range(len(lines))) + ",{cost})"
        else:
            names.put("given", registry.address(f"{path}.incentive_usd"), worth.incentive_usd)
            template = "{given}"
        w.put("incentive_usd", column, names, template, "usd2", worth.incentive_usd, f"Incentive, {c.name}")
        names = Scope()
        names.put("cost", w.own(column, "cost_usd"), worth.cost_usd)
        names.put("incentive", w.own(column, "incentive_usd"), worth.incentive_usd)
        outlay = float(worth.life.outlay_usd)
        w.put("outlay_usd", column, names, "MAX({cost}-{incentive},0)", "usd2", outlay, f"Outlay, {c.name}")


def _rule(w: MoneyLines, n: int, rule) -> None:
    """One programme: its numbers once, in the first column of options, then what it pays."""
    results, registry = w.results, w.registry
    fields = fields_of("incentive")
    limits = {"cap_usd": _NO_LIMIT, "longest_payback_years": _NO_LIMIT}
    values: dict[str, float] = {}
    for name in RULE_FIELDS:
        value = getattr(rule, name)
        values[name] = limits[name] if value is None else float(value)
        row = w.head(
            f"rule.{n}.{name}",
            f"{rule.name}: {fields[name].label[0].lower()}{fields[name].label[1:]}",
            fields[name].unit,
            fields[name].description,
        )
        place = registry.term_address(term_path("incentive", n, name))
        if value is not None and place is not None:
            w.pen.formula(w.sheet, row, FIRST_COLUMN, "=" + place, values[name], w.s("general", "line"))
        elif value is None:
            w.sheet.text(row, FIRST_COLUMN, "no limit", w.s("line", "right"))
        else:
            w.sheet.number(row, FIRST_COLUMN, values[name], w.s("general", "line"))
    at = lambda name: f"${column_name(FIRST_COLUMN)}${w.plan.rows[f'rule.{n}.{name}'] + 1}"
    w.head(f"rule.{n}.earned", f"{rule.name}: by its rates", "USD", "Rates times what is saved, fuel by its sign")
    w.head(f"rule.{n}.usd", f"{rule.name}: paid", "USD", "The least of its limits; nothing outside its paybacks")
    bound_row = w.head(f"rule.{n}.bound", f"{rule.name}: bound by", "")
    for column, k in enumerate(w.positions, FIRST_COLUMN):
        c = results.candidates[k]
        worth = c.worth
        if worth.incentive_basis != RULES:
            for key in ("earned", "usd", "bound"):
                w.sheet.text(w.plan.rows[f"rule.{n}.{key}"], column, "", w.s("line"))
            continue
        line = worth.incentive_lines[n]
        window = results.project.terms.window_of(rule)
        names = Scope()
        for name in RULE_FIELDS:
            limit = name in limits and getattr(rule, name) is None
            names.put(name, f"{_NO_LIMIT:.0f}" if limit else at(name), values[name])
        names.put("kwh", w.year_cell(column, "saving.electricity_kwh"), c.saving["electricity_kwh"])
        names.put("therm", w.year_cell(column, "saving.fuel_therm"), c.saving["fuel_therm"])
        names.put("kw", w.own(column, f"window.{window}.saving"), worth.windows[window].saving_kw)
        names.put("cost", w.own(column, "cost_usd"), worth.cost_usd)
        names.put("saving", w.year_cell(column, "saving.cost_usd"), c.saving["cost_usd"])
        earned = rule.usd_kwh * c.saving["electricity_kwh"] + rule.usd_kw * worth.windows[window].saving_kw
        earned += rule.usd_therm * c.saving["fuel_therm"]
        label = f"{rule.name}, {c.name}"
        template = "{usd_kwh}*{kwh}+{usd_kw}*{kw}+{usd_therm}*{therm}"
        w.put(f"rule.{n}.earned", column, names, template, "usd2_signed", earned, label)
        names.put("earned", w.own(column, f"rule.{n}.earned"), earned)
        names.put("late", f"{_NO_LIMIT:.0f}", _NO_LIMIT)
        payback = "IF({saving}>0,{cost}/MAX({saving},1/1000000),{late}*2)"
        share, buy = "{cost_share_frac}*{cost}", "{cost}-{buy_down_years}*MAX({saving},0)"
        least = f"MIN({{earned}},{share},{{cap_usd}},{buy})"
        outside = [f"{payback}<{{shortest_payback_years}}"]
        if rule.longest_payback_years is not None:
            outside.append(f"{payback}>{{longest_payback_years}}")
        w.put(
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
        w.pen.formula(w.sheet, bound_row, column, "=" + names.formula(text), line.bound_by, w.s("text_small", "line"))
    w.sheet.height(bound_row, 36)
