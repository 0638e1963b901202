"""What a candidate costs and is worth: cost, incentive, payback, life cycle, peak demand, emissions."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

from ..dataclass import dataclass
from ..inputs.paths import item_path
from .cost import BUILD_UP, DEFAULT, ESTIMATORS, GIVEN, NO_HARDWARE, NONE, BuildUp, build_up, lines_of, quantities_of
from .emissions import emissions_kg
from .incentives import incentive
from .life_cycle import LifeCycle, life_cycle
from .payback import Payback, simple_payback_years

#: Where an incentive comes from, beside ``cost.GIVEN`` and ``cost.NONE``.
RULES = "rules"
ALL_OF_COST = "all of them together: the cost"


@dataclass(frozen=True, slots=True, kw_only=True)
class WindowDemand:
    """Demand of a candidate in a peak window, and what it saves against the baseline; negative where it rises. [kW]"""

    name: str
    demand_kw: float
    saving_kw: float


@dataclass(frozen=True, slots=True, kw_only=True)
class IncentiveLine:
    """What one programme pays, and the rule that it comes from."""

    name: str
    usd: float
    bound_by: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Worth:
    """What a candidate costs and is worth against the baseline.

    ``cost_basis`` one of ``cost.GIVEN``, ``BUILD_UP``, ``NONE`` · ``cost_usd`` that counts [USD] · ``build_up`` of the
    cost, shown whatever counts · ``incentive_basis`` ``GIVEN``, ``RULES`` or ``NONE`` · ``incentive_usd`` [USD] ·
    ``incentive_lines`` by programme · ``incentive_bound_by`` the rule that binds, empty for one that is given ·
    ``payback`` simple · ``maintenance_usd_yr`` more than in the baseline · ``saving_by_source_usd`` of a year by key
    of ``end_uses.PRICED`` [USD/yr] · ``life`` life cycle · ``windows`` peak demand · ``emissions_kg`` of a year,
    ``emissions_saving_kg``; None where a factor is missing.
    """

    cost_basis: str
    cost_usd: float
    build_up: BuildUp
    incentive_basis: str
    incentive_usd: float
    incentive_lines: tuple[IncentiveLine, ...]
    incentive_bound_by: str
    payback: Payback
    maintenance_usd_yr: float
    saving_by_source_usd: dict[str, float]
    life: LifeCycle
    windows: tuple[WindowDemand, ...]
    emissions_kg: float | None
    emissions_saving_kg: float | None

    @property
    def peak_saving_kw(self) -> float:
        """Saving of demand in the first window. [kW]"""
        return self.windows[0].saving_kw


def cost_marks(project) -> dict[str, str]:
    """Who each amount of the build-up is from: input of section ``cost`` -> ``ESTIMATORS`` or ``DEFAULT``."""
    marks = {
        path.partition(".")[2]: DEFAULT if origin == "default" else ESTIMATORS
        for path, origin in project.origins.items()
        if path.startswith("cost.")
    }
    return {**marks, "hardware_usd": ESTIMATORS}


def build_up_of(project, candidate) -> BuildUp:
    """Build-up of the cost of a candidate of a project."""
    zones = float(sum(zone.multiplier for zone in project.zones))
    rogue = float(sum(zone.multiplier for zone in project.zones if zone.rogue != "none"))
    lines = lines_of(candidate, project.baseline)
    quantities = quantities_of(project.cost, zones, rogue, project.cost.airflow_measured)
    changes = dict(candidate.overrides) != dict(project.baseline.overrides)
    lacks = NO_HARDWARE if changes and not candidate.hardware_usd else ""
    return build_up(project.cost, lines, quantities, candidate.hardware_usd, cost_marks(project), lacks)


def is_given(project, candidate, name: str) -> bool:
    """Whether the project gives an amount of a candidate."""
    return project.origins.get(item_path("candidate", candidate.id, name)) == "given"


def effective(candidate, worth: Worth):
    """The candidate with the cost and the incentive that count."""
    same = worth.cost_usd == candidate.cost_usd and worth.incentive_usd == candidate.incentive_usd
    return candidate if same else replace(candidate, cost_usd=worth.cost_usd, incentive_usd=worth.incentive_usd)


def worth_of(
    project,
    candidate,
    annual: Mapping,
    saving: Mapping,
    saving_by_source_usd: Mapping,
    windows: tuple[WindowDemand, ...],
) -> Worth:
    """What a candidate costs and is worth.

    Parameters
    ----------
    project : Project
    candidate : Candidate
    annual, saving : mapping
        Annual figures of the candidate, and the baseline's minus these.
    saving_by_source_usd : mapping
        Saving of energy cost by key of ``end_uses.PRICED``. [USD/yr]
    windows : tuple of WindowDemand
        In the order of the project's terms.
    """
    own = build_up_of(project, candidate)
    if is_given(project, candidate, "cost_usd"):
        basis, cost = GIVEN, candidate.cost_usd
    elif project.cost.build_up and own.lines:
        basis, cost = BUILD_UP, own.total_usd["expected"]
    else:
        basis, cost = NONE, candidate.cost_usd
    lines: tuple[IncentiveLine, ...] = ()
    paid, paid_basis, bound = candidate.incentive_usd, NONE, ""
    if is_given(project, candidate, "incentive_usd"):
        paid_basis = GIVEN
    elif project.terms.incentives and candidate.id != project.baseline_id:
        paid_basis = RULES
        found = []
        for rule in project.terms.incentives:
            kw = windows[project.terms.window_of(rule)].saving_kw
            one = incentive(rule, saving["electricity_kwh"], kw, saving["fuel_therm"], cost, saving["cost_usd"])
            found.append(IncentiveLine(name=rule.name, usd=float(one.usd), bound_by=one.bound_by))
        lines, paid = tuple(found), min(sum(line.usd for line in found), cost)
        if sum(line.usd for line in lines) > cost:
            bound = ALL_OF_COST
        else:
            bound = "; ".join(f"{line.name}: {line.bound_by}" if len(lines) > 1 else line.bound_by for line in lines)
    life = life_cycle(cost, paid, saving_by_source_usd, candidate.maintenance_usd_yr, project.life_cycle)
    return Worth(
        cost_basis=basis,
        cost_usd=cost,
        build_up=own,
        incentive_basis=paid_basis,
        incentive_usd=paid,
        incentive_lines=lines,
        incentive_bound_by=bound,
        payback=simple_payback_years(cost, paid, saving["cost_usd"]),
        maintenance_usd_yr=candidate.maintenance_usd_yr,
        saving_by_source_usd=dict(saving_by_source_usd),
        life=life,
        windows=windows,
        emissions_kg=emissions_kg(annual, project.emissions),
        emissions_saving_kg=emissions_kg(saving, project.emissions),
    )
