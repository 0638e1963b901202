"""The tariff on a sheet: marginal prices by rate period as formulas; demand and tiers by month, values of the hours."""

from __future__ import annotations

import numpy as np

from ...dataclass import dataclass
from ...hours import MONTHS, clock_calendar, price_tiers, tariff_periods
from ...inputs.form_terms import term_path
from ...rates import SOURCE_OF, Rates, tier_usd
from ..addresses import column_name, quoted
from ..formats import money_words
from ..layout import TARIFF
from ..page import title
from .formulas import Scope

SHEET = TARIFF
_HEAD_ROW = 5
_FIRST_COLUMN = 2
_LABELS = {
    "electricity_usd_kwh": ("Electricity", "USD/kWh"),
    "fuel_usd_therm": ("Fuel", "USD/therm"),
    "cooling_usd_kbtu": ("Purchased cooling", "USD/kBtu"),
    "heat_usd_kbtu": ("Purchased heat", "USD/kBtu"),
}
OPTIMISER = (
    "The cost-optimal supply air temperature sees these prices of energy at the margin, hour by hour. Demand charges, "
    "ratchets and tiers that change with the month's total are not in its price: they are added from the hours."
)


@dataclass(slots=True)
class TariffPlan:
    """Rows of the sheet, so that the sheets of options and “Live year” can refer to it before it is written."""

    periods: int
    charges: int
    rates: bool

    @classmethod
    def of(cls, results) -> TariffPlan | None:
        """Plan for a project with a tariff, else None."""
        terms = results.project.terms
        if not terms.has_tariff:
            return None
        prices = results.unit.prices
        rates = isinstance(prices, Rates)
        return cls(periods=len(prices.labels) if rates else 0, charges=len(terms.demand_charges), rates=rates)

    @property
    def first_period(self) -> int:
        return _HEAD_ROW + 1

    def price_area(self, price: str) -> str:
        """Prices of an energy by rate period."""
        letter = column_name(_FIRST_COLUMN + list(_LABELS).index(price))
        first = self.first_period + 1
        return f"{quoted(SHEET)}!${letter}${first}:${letter}${first + self.periods - 1}"

    @property
    def months_head(self) -> int:
        return self.first_period + max(self.periods, 1) + 2

    @property
    def held_row(self) -> int:
        """What is held of the run for each option, together."""
        return self.months_head + 1

    def held_address(self, column: int) -> str:
        """What is added to the running rows of the option in a column of “Live year”."""
        return f"{quoted(SHEET)}!{column_name(column)}{self.held_row + 1}"


def held_usd(candidate, rows_usd: float | None) -> tuple[float, float]:
    """Nights and idle plant at the prices of their hours, and charges of the tariff. [USD]

    Nothing of the first at flat prices, where ``rows_usd`` is None: “Live year” prices them with the rest.
    """
    charged = candidate.charges.year_usd
    return (0.0 if rows_usd is None else candidate.annual["cost_usd"] - charged - rows_usd), charged


def put_prices(plan: TariffPlan, results, scope: Scope) -> None:
    """Name the prices by rate period for formulas of rows."""
    if plan.rates:
        for price in _LABELS:
            values = results.unit.prices.usd[price][:-1]
            scope.put(f"rates.{price}", plan.price_area(price), values[:, None])


def write(pen, sheet, results, registry, positions, plan: TariffPlan, rows_usd: dict[int, float]) -> None:
    """Write the sheet.

    Parameters
    ----------
    plan : TariffPlan
    rows_usd : dict
        Position of an option -> cost of its running rows. [USD]
    """
    s, work, project = pen.s, pen.work, results.project
    terms = project.terms
    last = _FIRST_COLUMN + max(len(positions), 5)
    name = terms.tariff.name or "Tariff"
    title(
        work,
        sheet,
        "Tariff",
        f"{name}: what one more kWh or therm costs, and what is charged by the month",
        link_column=last,
    )
    sheet.text(2, 0, OPTIMISER, s("small", "quiet"))
    fixed = terms.tariff.fixed_usd_month
    sheet.text(
        3,
        0,
        "Prices are live: they follow the terms on the sheet of inputs. Charges by the month are values of the run."
        + (f" Fixed charges of {fixed:g} {project.prices.currency} a month are in no figure." if fixed else ""),
        s("small", "quiet"),
    )
    sheet.widths([46, 12, *[17] * (last - _FIRST_COLUMN), 60])
    for place, text in enumerate(("Rate period", "Hours", *(f"{a} [{money_words(b)}]" for a, b in _LABELS.values()))):
        sheet.text(_HEAD_ROW, place, text, s("head_left" if place == 0 else "head"))
    sheet.height(_HEAD_ROW, 27)
    if plan.rates:
        _prices(pen, sheet, results, registry, plan)
    else:
        sheet.text(plan.first_period, 0, "Energy at the flat prices of the project", s("line"))
    _months(pen, sheet, results, positions, plan, rows_usd)


def _prices(pen, sheet, results, registry, plan: TariffPlan) -> None:
    s, project = pen.s, results.project
    terms, rates = project.terms, results.unit.prices
    clock = clock_calendar(project.calendar)
    tiers = price_tiers(clock, project.calendar, terms)
    _, lines = tariff_periods(clock, project.calendar, terms.energy_prices, tiers)

    def term(section, place, name, value):
        address = registry.term_address(term_path(section, place, name))
        return (address or repr(float(value))), float(value)

    for p in range(plan.periods):
        row = plan.first_period + p
        sheet.text(row, 0, rates.labels[p], s("line", "bold"))
        sheet.number(row, 1, float(rates.hours[p]), s("f0", "line"))
        for place, price in enumerate(_LABELS):
            source = SOURCE_OF[price]
            names = Scope()
            n = int(lines[place, p])
            if n >= 0:
                line = terms.energy_prices[n]
                tier = int(rates.tiers[place, p])
                names.put(
                    "usd", *term("energy_price", n, "usd" if tier == 1 else f"tier{tier}_usd", tier_usd(line, tier))
                )
            else:
                names.put("usd", registry.address("prices." + price), float(getattr(project.prices, price)))
            names.put("tax", *term("tariff", 0, "tax_frac", terms.tariff.tax_frac))
            template = "{usd}*(1+{tax})"
            if source in ("electricity", "fuel"):
                rider = "electricity_rider_usd_kwh" if source == "electricity" else "fuel_rider_usd_therm"
                names.put("rider", *term("tariff", 0, rider, getattr(terms.tariff, rider)))
                template = "({usd}+{rider})*(1+{tax})"
            value = float(rates.usd[price][p])
            found = pen.evaluated(sheet, row, _FIRST_COLUMN + place, names, template, s("f5", "line"), value)
            pen.compare(SHEET, f"{price}.{p}", found, value, f"Price, {rates.labels[p]}")


def _months(pen, sheet, results, positions, plan: TariffPlan, rows_usd) -> None:
    s, terms = pen.s, results.project.terms
    row = plan.months_head
    for place, text in enumerate(("Charged beside the running rows", "Unit")):
        sheet.text(row, place, text, s("head_left"))
    for place, k in enumerate(positions, _FIRST_COLUMN):
        sheet.text(row, place, f"{k + 1} {results.candidates[k].name}", s("head"))
    sheet.height(row, 40)
    lines: list[tuple[str, str, str, list[float]]] = []
    chosen = [results.candidates[k] for k in positions]
    rows_usd = rows_usd if plan.rates else dict.fromkeys(positions)
    if plan.rates:
        nights = [held_usd(c, rows_usd[k])[0] for k, c in zip(positions, chosen, strict=True)]
        lines.append(("Nights and idle plant, at the prices of their hours", money_words("USD"), "usd2", nights))
    if np.any([c.charges.tiers_usd for c in chosen]):
        for m, month in enumerate(MONTHS):
            values = [float(c.charges.tiers_usd[m]) for c in chosen]
            lines.append((f"Tiers beside the margin, {month}", money_words("USD"), "usd2_signed", values))
    for n, charge in enumerate(terms.demand_charges):
        for m, month in enumerate(MONTHS):
            if not np.any([c.charges.demand_kw[n, m] for c in chosen]):
                continue
            values = [float(c.charges.demand_usd[n, m]) for c in chosen]
            lines.append((f"{charge.name}, {month}", money_words("USD"), "usd2", values))
    if not lines:
        lines.append(("No demand is billed", money_words("USD"), "usd2", [0.0] * len(chosen)))
    demand = [
        (f"{charge.name}, billed in {month}", "kW", "f2", [float(c.charges.demand_kw[n, m]) for c in chosen])
        for n, charge in enumerate(terms.demand_charges)
        for m, month in enumerate(MONTHS)
        if np.any([c.charges.demand_kw[n, m] for c in chosen])
    ]
    first = plan.held_row + 1
    at = plan.held_row
    sheet.text(at, 0, "Together", s("line", "bold"))
    sheet.text(at, 1, money_words("USD"), s("line", "small"))
    for place, (k, c) in enumerate(zip(positions, chosen, strict=True), _FIRST_COLUMN):
        letter = column_name(place)
        names = Scope()
        summed = np.array([[line[3][place - _FIRST_COLUMN] for line in lines]])
        names.put("lines", f"{letter}{first + 1}:{letter}{first + len(lines)}", summed)
        total = sum(held_usd(c, rows_usd[k]))
        found = pen.evaluated(sheet, at, place, names, "SUM({lines})", s("usd2", "line"), total)
        pen.compare(SHEET, f"{k + 1}.held", found, total, f"Charges, {c.name}")
    for label, unit, style, values in [*lines, *demand]:
        at += 1
        sheet.text(at, 0, label, s("line"))
        sheet.text(at, 1, unit, s("line", "small"))
        for place, value in enumerate(values, _FIRST_COLUMN):
            sheet.number(at, place, value, s(style, "line"))
    at += 2
    table = chosen[0].by_rate_period
    if table is not None:
        sheet.text(at, 0, f"Energy by rate period of {chosen[0].name}, running time: rows beside hours", s("section"))
        at += 1
        for place, text in enumerate(("Rate period", "", "kWh, rows", "kWh, hours", "therm, rows", "therm, hours")):
            sheet.text(at, place, text, s("head_left" if place == 0 else "head"))
        for _, line in table.iterrows():
            at += 1
            sheet.text(at, 0, str(line["label"]), s("line"))
            for place, key in enumerate(
                ("electricity_kwh_rows", "electricity_kwh_hours", "fuel_therm_rows", "fuel_therm_hours"), _FIRST_COLUMN
            ):
                sheet.number(at, place, float(line[key]), s("f1", "line"))
    sheet.freeze(_HEAD_ROW + 1, 1)
    sheet.on_paper(
        footer=pen.work.footer, last_row=at, last_column=_FIRST_COLUMN + max(len(positions), 5), letter=False
    )
