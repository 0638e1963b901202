"""Years and money of all options in draws."""

from __future__ import annotations

from collections.abc import Mapping

from ..dataclass import dataclass
from ..results import Results
from .energies import Energies
from .money import MoneyDraws, Nested, Year, money_of, year_of


@dataclass(frozen=True, slots=True, kw_only=True)
class DrawnMoney:
    """Years and money of all options by id in draws."""

    nested: Nested
    years: dict[str, Year]
    money: dict[str, MoneyDraws]
    realised: dict[str, MoneyDraws]

    @classmethod
    def of(cls, results: Results, energies: Mapping[str, Energies], nested: Nested, demand) -> DrawnMoney:
        project = results.project
        years = {
            c.id: year_of(
                energies[c.id],
                project.candidate(c.id),
                nested,
                0.0 if c.charges is None else c.charges.year_usd,
                demand,
            )
            for c in results.candidates
        }
        base = years[results.baseline_id]
        practice = nested.factor("realisation", project.baseline)
        money, realised = {}, {}
        for c in results.candidates:
            args = project, project.candidate(c.id), c.worth, years[c.id], base, nested
            money[c.id] = money_of(*args)
            realised[c.id] = money_of(*args, practice)
        return cls(nested=nested, years=years, money=money, realised=realised)
