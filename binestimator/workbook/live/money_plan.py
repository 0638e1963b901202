"""Where on the sheet “Money” each figure is, so that other sheets can refer to it before it is written."""

from __future__ import annotations

from dataclasses import field

from ...dataclass import dataclass
from ...end_uses import PRICED
from ...money.cost import BUILD_UP, LEVELS, LINES
from ...money.life_cycle import MOST_YEARS
from ...money.worth import RULES
from ..addresses import column_name, quoted
from ..layout import MONEY

SHEET = MONEY
HEAD_ROW = 5
FIRST_COLUMN = 2
TERMS = (
    "years",
    "discount_frac",
    "electricity_escalation_frac",
    "fuel_escalation_frac",
    "purchased_escalation_frac",
    "saving_fade_frac",
)
RULE_FIELDS = (
    "usd_kwh",
    "usd_kw",
    "usd_therm",
    "cost_share_frac",
    "cap_usd",
    "buy_down_years",
    "shortest_payback_years",
    "longest_payback_years",
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
        rows(*(f"term.{name}" for name in TERMS))
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
            rows(*(f"rule.{n}.{name}" for name in RULE_FIELDS))
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
