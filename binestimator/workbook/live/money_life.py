"""Sheet “Money”: savings by source, cash flow of each year, life-cycle measures, emissions."""

from __future__ import annotations

import numpy as np

from ...end_uses import PRICED
from ...money.emissions import FACTORS
from ...money.life_cycle import ESCALATION_OF, MOST_YEARS, NEVER
from ..addresses import column_name
from .formulas import Scope
from .money_lines import MoneyLines
from .money_plan import FIRST_COLUMN, TERMS

SOURCES = {
    "electricity_kwh": "Electricity",
    "fuel_therm": "Fuel",
    "purchased_cooling_kbtu": "Purchased cooling",
    "purchased_heating_kbtu": "Purchased heat",
}
#: Stands for a year that does not come.
_NO_YEAR = 999
YEAR_ZERO = (
    "Year 0 is today: cost less incentive is paid then and is not discounted. Savings of a year come at its end, at "
    "today's prices of the currency (real rates, without inflation)."
)


def write_savings(w: MoneyLines) -> None:
    """Saving of energy cost by source."""
    for key in w.plan.sources:
        w.head(f"saving.{key}", SOURCES[key], "USD/yr")
    w.head("saving.cost_usd", "Energy cost together", "USD/yr")
    w.head("maintenance", "More maintenance", "USD/yr", "As given for the option")
    for column, k in enumerate(w.positions, FIRST_COLUMN):
        c = w.results.candidates[k]
        total = Scope()
        for key, price, _ in PRICED:
            if key not in w.plan.sources:
                continue
            names = Scope()
            if w.results.project.terms.has_tariff:
                _saving_by_tariff(w, column, c, key, total)
                continue
            names.put("amount", w.year_cell(column, f"saving.{key}"), c.saving[key])
            value = float(w.registry.value("prices." + price))
            names.put("price", w.registry.address("prices." + price), value)
            usd = c.worth.saving_by_source_usd[key]
            w.put(f"saving.{key}", column, names, "{amount}*{price}", "usd2_signed", usd, SOURCES[key])
            total.put(key, w.own(column, f"saving.{key}"), usd)
        w.put(
            "saving.cost_usd",
            column,
            total,
            "+".join(f"{{{key}}}" for key in w.plan.sources),
            "usd2_signed",
            c.saving["cost_usd"],
            f"Saving, {c.name}",
        )
        names = Scope()
        path = f"candidate[{c.id}].maintenance_usd_yr"
        names.put("given", w.registry.address(path), float(c.candidate.maintenance_usd_yr))
        w.put("maintenance", column, names, "{given}", "usd2_signed", c.candidate.maintenance_usd_yr, path)


def _saving_by_tariff(w: MoneyLines, column: int, c, key: str, total: Scope) -> None:
    """A source under a tariff: what is not electricity as in the run; electricity, with demand, is the rest."""
    usd = c.worth.saving_by_source_usd[key]
    if key != "electricity_kwh":
        w.sheet.number(w.plan.rows[f"saving.{key}"], column, usd, w.s("usd2_signed", "line"))
    else:
        names = Scope()
        names.put("all", w.year_cell(column, "saving.cost_usd"), c.saving["cost_usd"])
        others = [other for other in w.plan.sources if other != key]
        for other in others:
            value = c.worth.saving_by_source_usd[other]
            names.put(other, w.own(column, f"saving.{other}"), value)
        template = "{all}" + "".join(f"-{{{other}}}" for other in others)
        w.put(f"saving.{key}", column, names, template, "usd2_signed", usd, SOURCES[key])
    total.put(key, w.own(column, f"saving.{key}"), usd)


def write_life(w: MoneyLines) -> None:
    """Life-cycle measures and the cash flow of each year."""
    record = w.results.project.life_cycle
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
        w.head(key, label, unit, text)
    for t in range(MOST_YEARS + 1):
        w.head(f"flow.{t}", f"Year {t}", "USD", YEAR_ZERO if t == 0 else "", bold=False)
        w.head(f"back.{t}", f"Year {t}", "USD", bold=False)
        w.head(f"reached.{t}", f"Year {t}", "year", bold=False)
    for column, k in enumerate(w.positions, FIRST_COLUMN):
        _cash_flow(w, column, w.results.candidates[k], record)


def _cash_flow(w: MoneyLines, column: int, c, record) -> None:
    """Years of one option, and what follows from them."""
    life, letter = c.worth.life, column_name(column)
    terms = Scope()
    for name in TERMS:
        terms.put(name, w.term(name), float(getattr(record, name)))
    years = record.years
    flows = np.zeros(MOST_YEARS + 1)
    flows[: years + 1] = life.flows_usd
    worths = flows * (1.0 + record.discount_frac) ** -np.arange(MOST_YEARS + 1.0)
    back = np.cumsum(worths)
    by_source = "+".join(f"{{s.{key}}}*(1+{{{ESCALATION_OF[key]}}})^{{t}}" for key in w.plan.sources)
    for t in range(MOST_YEARS + 1):
        names = Scope(terms)
        names.put("t", str(t), float(t))
        names.put("outlay", w.own(column, "outlay_usd"), float(life.outlay_usd))
        for key in w.plan.sources:
            names.put(f"s.{key}", f"{letter}${w.plan.rows['saving.' + key] + 1}", c.worth.saving_by_source_usd[key])
        names.put("maintenance", f"{letter}${w.plan.rows['maintenance'] + 1}", c.worth.maintenance_usd_yr)
        template = (
            "-{outlay}"
            if t == 0
            else f"IF({{t}}<={{years}},({by_source})*(1-{{saving_fade_frac}})^({{t}}-1)-{{maintenance}},0)"
        )
        w.put(f"flow.{t}", column, names, template, "usd2_signed", flows[t], f"Cash flow, {c.name}")
        names.put("flow", w.own(column, f"flow.{t}"), flows[t])
        if t:
            names.put("before", w.own(column, f"back.{t - 1}"), back[t - 1])
        template = "{flow}" if t == 0 else "{before}+{flow}/(1+{discount_frac})^{t}"
        w.put(f"back.{t}", column, names, template, "usd2_signed", back[t], f"Discounted sum, {c.name}")
        names.put("back", w.own(column, f"back.{t}"), back[t])
        reached = float(t) if t <= years and back[t] >= 0.0 else float(_NO_YEAR)
        template = f"IF(AND({{t}}<={{years}},{{back}}>=0),{{t}},{_NO_YEAR})"
        w.put(f"reached.{t}", column, names, template, "f0", reached, f"Back, {c.name}")
    area = lambda key, first, last: (
        f"{letter}{w.plan.rows[f'{key}.{first}'] + 1}:{letter}{w.plan.rows[f'{key}.{last}'] + 1}"
    )
    names = Scope(terms)
    names.put("later", area("flow", 1, MOST_YEARS), flows[None, 1:])
    names.put("flows", area("flow", 0, MOST_YEARS), flows[None])
    names.put("before", area("flow", 0, MOST_YEARS - 1), flows[None, :-1])
    names.put("outlay", w.own(column, "outlay_usd"), float(life.outlay_usd))
    present = float(life.saved_present_usd)
    w.put("saved_present", column, names, "NPV({discount_frac},{later})", "usd2_signed", present, "Present value")
    names.put("present", w.own(column, "saved_present"), present)
    # Spreadsheet programs discount the first value of NPV by a year: what is paid in year 0 stays outside.
    w.put("npv", column, names, "-{outlay}+{present}", "usd2_signed", float(life.npv_usd), "Net present value")
    names.put("none", '"no cost"', np.nan)
    w.put_or_word(
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
    names.put("some", f'IF({w.own(column, "outlay_usd")}>0,"none","no cost")', np.nan)
    w.put_or_word(
        "airr",
        column,
        names,
        f"IF(AND({{outlay}}>0,{{present}}>0),(1+{{discount_frac}})*MAX({ratio},0)^(1/{{years}})-1,{{some}})",
        "pct2_signed",
        life.airr,
        lacks,
        "AIRR",
    )
    names.put("first", w.own(column, "flow.1"), flows[1])
    # Programs search from a guess, and may find a rate below -100 % from a poor one: what comes back over the
    # outlay, spread over the mean year, is near enough; high rates are near the yield of the first year.
    back_of_one = "MAX(SUM({later})/MAX({outlay},1/1000000),1/1000)"
    even = f"({back_of_one}^(2/({{years}}+1))-1)"
    guess = f"IF({back_of_one}>1,MAX({{first}}/MAX({{outlay}},1/1000000)-1/{{years}},{even}),{even})"
    w.put_or_word(
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
    w.put_or_word(
        "discounted_payback",
        column,
        names,
        f"IF(AND({{present}}>0,MIN({{reached}})<{_NO_YEAR}),MIN({{reached}}),{{never}})",
        "f0",
        life.discounted_payback_years,
        NEVER,
        "Discounted payback",
    )


def write_emissions(w: MoneyLines) -> None:
    """Emissions of a year."""
    record = w.results.project.emissions
    text = f"CO2 by factors of {record.factor_year}, {record.factor_kind.replace('_', '-')} for electricity"
    rows = {
        "emissions": w.head("emissions", "Emissions of the option", "kg CO2/yr", text),
        "emissions_saving": w.head("emissions_saving", "Saved against the baseline", "kg CO2/yr", text),
    }
    for column, k in enumerate(w.positions, FIRST_COLUMN):
        c = w.results.candidates[k]
        for key, prefix, amounts, value in (
            ("emissions", "", c.annual, c.worth.emissions_kg),
            ("emissions_saving", "saving.", c.saving, c.worth.emissions_saving_kg),
        ):
            if value is None:
                w.sheet.text(rows[key], column, "factor missing", w.s("line", "right"))
                continue
            names, parts = Scope(), []
            for use, factor in FACTORS.items():
                if use in w.plan.sources and getattr(record, factor) is not None:
                    names.put(use, w.year_cell(column, prefix + use), amounts[use])
                    names.put(factor, w.registry.address(f"emissions.{factor}"), float(getattr(record, factor)))
                    parts.append(f"{{{use}}}*{{{factor}}}")
            style = "f0" if key == "emissions" else "signed"
            w.put(key, column, names, "+".join(parts) or "0", style, value, f"Emissions, {c.name}")
