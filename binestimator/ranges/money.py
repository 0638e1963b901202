"""Money of options in draws: prices, plant efficiencies, cost and realisation nested in draws of the model."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from ..dataclass import dataclass
from ..end_uses import ELECTRIC, ELECTRICITY_KEY, END_USES, PRICED
from ..inputs.paths import known_path
from ..money.cost import BUILD_UP
from ..money.incentives import incentive
from ..money.life_cycle import LifeCycle, life_cycle
from ..money.payback import payback_years
from ..money.worth import RULES
from .distributions import Distribution
from .energies import Energies
from .lines import Drawn, overridden
from .results import OWN

#: End uses that a plant efficiency multiplies exactly, by the act of its line: compressors' input, or fuel of a boiler.
MULTIPLIED = {"plant": "cooling_kwh", "plant_inverse": "cooling_kwh", "boiler": "fuel_therm"}


@dataclass(frozen=True, slots=True, kw_only=True)
class Nested:
    """Draws that multiply results: factors by key of a line and basis, and their shares, (D, K) each."""

    drawn: tuple[Drawn, ...]
    factors: Mapping[str, Mapping[str, np.ndarray]]
    shares: Mapping[str, np.ndarray]
    shape: tuple[int, int]

    def factor(self, act_or_key: str, candidate, path: str = "") -> np.ndarray:
        """Product of the factors of lines of an act, or of one key, that this option does not set itself. (D, K)"""
        out = np.ones(self.shape)
        for one in self.drawn:
            if act_or_key not in (one.line.act, one.key):
                continue
            item = next((item for item in one.items if not path or item.path == path), None)
            if item is None or (item.path and overridden(candidate, item)):
                continue
            out = out * _bounded(item, self.factors[one.key][one.basis_of(item)])
        return out


def _bounded(item, factor):
    """A factor that keeps its input inside the allowed range."""
    if not item.path or not item.value:
        return factor
    field = known_path(item.path).field
    low = -np.inf if field.low is None else field.low / item.value
    high = np.inf if field.high is None else field.high / item.value
    return np.clip(factor, low, high)


@dataclass(frozen=True, slots=True, kw_only=True)
class Year:
    """A year of an option in draws with what is nested in them, (D, K) each.

    ``amounts``, ``costs_usd`` by key of ``end_uses.PRICED`` · ``windows_kw`` demand by place of the window, of those
    that are drawn.
    """

    amounts: dict[str, np.ndarray]
    costs_usd: dict[str, np.ndarray]
    windows_kw: dict[int, np.ndarray]

    @property
    def cost_usd(self) -> np.ndarray:
        return sum(self.costs_usd.values())  # type: ignore[return-value]


def year_of(energies: Energies, candidate, nested: Nested, charges_usd: float, demand=None) -> Year:
    """A year of an option at drawn prices and plant efficiencies.

    Parameters
    ----------
    charges_usd : float
        What a tariff charges by the month, as in the run; it goes with the price of electricity. [USD/yr]
    demand : DemandOfYears, optional
        What it charges in the draws instead.
    """
    plant = {
        "plant": 1.0 / nested.factor("plant", candidate),
        "plant_inverse": nested.factor("plant_inverse", candidate),
        "boiler": 1.0 / nested.factor("boiler", candidate),
    }
    price = {
        name: nested.factor("price", candidate, f"prices.{name}")
        for name in ("electricity_usd_kwh", "fuel_usd_therm", "cooling_usd_kbtu", "heat_usd_kbtu")
    }
    amounts, costs = {}, {}
    for key, _, _ in PRICED:
        uses = ELECTRIC if key == ELECTRICITY_KEY else [use for use in END_USES if use.key == key]
        amount, cost = np.zeros(nested.shape), np.zeros(nested.shape)
        for use in uses:
            factor = np.ones(nested.shape)
            for act, key_of_use in MULTIPLIED.items():
                if key_of_use == use.key:
                    factor = factor * plant[act]
            amount = amount + energies.amounts[use.key][:, None] * factor
            cost = cost + energies.costs_usd[use.key][:, None] * factor
        amounts[key], costs[key] = amount, cost
    compressor = plant["plant"] * plant["plant_inverse"]
    charges = charges_usd if demand is None else demand.charges_usd(candidate.id, compressor, amounts)
    costs[ELECTRICITY_KEY] = costs[ELECTRICITY_KEY] + charges
    return Year(
        amounts=amounts,
        costs_usd={key: costs[key] * price[price_name] for key, price_name, _ in PRICED},
        windows_kw={} if demand is None else {k: demand.window_kw(candidate.id, k, compressor) for k in demand.windows},
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class MoneyDraws:
    """Money of an option against the baseline in draws, (D, K) each; ``life`` of it."""

    saving_by_source_usd: dict[str, np.ndarray]
    saving_usd: np.ndarray
    cost_usd: np.ndarray
    incentive_usd: np.ndarray
    payback_years: np.ndarray
    payback_after_years: np.ndarray
    life: LifeCycle


def cost_of(project, candidate, worth, nested: Nested) -> np.ndarray:
    """Cost of an option in draws. (D, K) [USD]

    A build-up has its own low, expected and high, unless the project gives a range for costs; other costs have the
    factor of the range. All options share one draw: who is dear is dear for all.
    """
    own = any(one.line.act == "cost" and OWN in one.distributions for one in nested.drawn)
    if worth.cost_basis == BUILD_UP and not own and "implementation_cost" in nested.shares:
        total = worth.build_up.total_usd
        low, high = min(total["low"], total["expected"]), max(total["high"], total["expected"])
        return Distribution("triangular", low, total["expected"], high).quantile(nested.shares["implementation_cost"])
    return worth.cost_usd * nested.factor("cost", candidate, f"candidate[{candidate.id}].cost_usd")


def money_of(project, candidate, worth, year: Year, base: Year, nested: Nested, realised=None) -> MoneyDraws:
    """Money of an option in draws.

    Parameters
    ----------
    worth : Worth
        Of the run.
    realised : ndarray (D, K), optional
        Share of the saving that practice leaves.
    """
    share = 1.0 if realised is None else realised
    by_source = {key: share * (base.costs_usd[key] - year.costs_usd[key]) for key in year.costs_usd}
    amounts = {key: share * (base.amounts[key] - year.amounts[key]) for key in year.amounts}
    saving = sum(by_source.values())
    cost = cost_of(project, candidate, worth, nested)
    if worth.incentive_basis == RULES:
        paid = np.zeros(nested.shape)
        for rule in project.terms.incentives:
            window = project.terms.window_of(rule)
            kw = share * (base.windows_kw[window] - year.windows_kw[window]) if rule.usd_kw > 0.0 else 0.0
            paid = paid + incentive(rule, amounts[ELECTRICITY_KEY], kw, amounts["fuel_therm"], cost, saving).usd
        paid = np.minimum(paid, cost)
    else:
        paid = np.full(nested.shape, float(worth.incentive_usd))
    life = life_cycle(cost, paid, by_source, worth.maintenance_usd_yr, project.life_cycle, internal=False)
    return MoneyDraws(
        saving_by_source_usd=by_source,
        saving_usd=saving,
        cost_usd=cost,
        incentive_usd=paid,
        payback_years=payback_years(cost, saving),
        payback_after_years=payback_years(np.maximum(cost - paid, 0.0), saving),
        life=life,
    )
