"""Units with their hours and rows, one for all candidates that change the same inputs."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from ..bins import mean_rows, split_groups
from ..dataclass import dataclass
from ..errors import InputError
from ..hours import Conditions, build_conditions
from ..inputs.project import Candidate, Project
from ..model.build import build_unit
from ..model.unit import Sizes, Unit
from ..parallel import at_once
from ..rates import Rates
from ..results import overrides_key
from ..weather import Weather
from .rows import Rows

# Sizes and rows are shared by all candidates, so these cannot differ between them.
_OTHER_PROJECT = (
    "candidate[{}].override: changes {}, which all candidates share; expected overrides that leave it "
    "as it is; estimate a second project file with that change and compare the two"
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Site:
    """A unit with its hours and rows: shared by candidates with the same overrides."""

    project: Project
    key: str
    unit: Unit
    hourly: Rows
    rows: Rows
    mean: Rows


class Sites:
    """Sites of a project, made when they are first asked for.

    Parameters
    ----------
    project : Project
    weather : Weather
    conditions : Conditions
        Hours of the project itself.
    sizes : Sizes
        Held for all.
    group_id : ndarray (H,)
        Group of each hour. Those of mean rows, ``mean_group_id``, have one rate period each where a tariff prices
        hours by it: one mean row has one price.
    """

    def __init__(self, project: Project, weather: Weather, conditions: Conditions, sizes: Sizes, group_id: np.ndarray):
        self.project, self.weather, self.sizes = project, weather, sizes
        self.unit = build_unit(project, sizes)
        priced = isinstance(self.unit.prices, Rates)
        self.mean_group_id = split_groups(group_id, conditions.rate_period) if priced else group_id
        self.hourly = Rows.of(self.unit, conditions)
        self._found: dict[str, Site] = {}

    @property
    def at_once(self) -> int:
        """How many may work side by side on the hours of all zones."""
        return at_once(len(self.hourly.running) * len(self.unit.zones))

    def of(self, candidate: Candidate) -> Site:
        """Site of a candidate; InputError where its overrides change what all candidates share."""
        key = overrides_key(candidate.overrides)
        if key not in self._found:
            changed = self.project.with_overrides(candidate.overrides) if candidate.overrides else self.project
            self._found[key] = self._made(changed, key, candidate.id)
        return self._found[key]

    def on_rows(self, index: np.ndarray, weights: np.ndarray) -> None:
        """From here on the rows of all sites are these hours with these weights."""
        for key, site in self._found.items():
            rows = Rows.of(site.unit, site.hourly.conditions.take(index).with_hours(weights))
            self._found[key] = replace(site, rows=rows)

    def _made(self, project: Project, key: str, candidate_id: str) -> Site:
        first, conditions = self.project, self.hourly.conditions
        same = project is first
        if not same and len(project.zones) != len(first.zones):
            raise InputError(_OTHER_PROJECT.format(candidate_id, "the list of zones"))
        # Sun and profiles are costly and most overrides leave them as they are.
        as_before = all(getattr(project, name) == getattr(first, name) for name in ("schedule", "building", "groups"))
        c = conditions if as_before else build_conditions(self.weather, project)
        if not as_before and not (
            np.array_equal(c.fan_on, conditions.fan_on) and np.array_equal(c.occupied, conditions.occupied)
        ):
            raise InputError(_OTHER_PROJECT.format(candidate_id, "the running hours of the air handler"))
        unit = self.unit if same else build_unit(project, self.sizes)
        mean = Rows.of(unit, mean_rows(c, self.mean_group_id))
        hourly = self.hourly if same else Rows.of(unit, c)
        return Site(project=project, key=key, unit=unit, hourly=hourly, rows=mean, mean=mean)
