"""What all candidates with the same other inputs share: air handler, zones, loads row by row.

Three sheets: constants of the air handler and its groups, constants of every zone, and the
loads of every zone in every running row. A candidate that changes other inputs than its
setpoints has three of its own.
"""

from __future__ import annotations

from typing import Any

from ....model.build import group_of_zones
from ..formulas import Scope
from ..grid import Grid
from ..pen import Pen
from ..registry import Registry

SUN = ("north", "east", "south", "west")

# What zones and loads read besides sections of their own.
_ALSO_READ = (
    "fan.index_dsp_inwc",
    "fan.design_dsp_inwc",
    "limits.damper_exponent",
    "limits.loop_ask_pct",
    "limits.loop_release_pct",
    "air_handler.duct_gain_f",
    "air_handler.latent_extra_btuh",
    "heating.enabled_below_f",
    "heating.type",
)


class SitePlan:
    """A set of inputs before its sheets are written: their names, and values that are not the project's.

    Parameters
    ----------
    results : Results
    run : CandidateRun
        Of any candidate of this site.
    number : int
        From 1.
    option : int
        Number of the first option that uses it, by which all but the first set are named.
    """

    def __init__(self, results, run, number: int, option: int) -> None:
        self.results, self.run, self.number, self.option = results, run, number, option
        self.project, self.unit = run.project, run.unit
        end = "" if number == 1 else f" {option}"
        self.unit_name, self.zones_name, self.loads_name = f"Air handler{end}", f"Zones{end}", f"Loads{end}"
        self.idle_name = f"Idle{end}"
        self.own: dict[str, Any] = {}
        if run.project is not results.project:
            base = {row[0]: row[2] for row in results.project.effective_rows()}
            self.own = {row[0]: row[2] for row in run.project.effective_rows() if base.get(row[0]) != row[2]}

    def can_share(self) -> bool:
        """Whether zones and loads are those of the first site: nothing that they read is changed."""
        sections = ("building", "room_setpoints", "group", "zone", "special", "schedule", "calendar", "weather")
        return not any(path in _ALSO_READ or path.startswith(sections) for path in self.own)

    @property
    def follows(self) -> bool:
        """Whether room setpoints go by the outdoor temperature."""
        return self.unit.room_setpoints.rule == "outdoor_air"

    def has_idle(self) -> bool:
        """Whether the heating plant can take energy while the air handler is off."""
        heat = self.project.heating
        return (
            heat.type != "none"
            and heat.enabled_unoccupied
            and len(self.run.rows.running) < len(self.run.rows.conditions.oat_f)
        )


class Site(SitePlan):
    """A set of inputs with the names that its sheets give.

    Parameters
    ----------
    plan : SitePlan
    pen : Pen
    registry : Registry
    constants : Scope
    users : list of str
        Names of the candidates that use it.

    Of its sheets once they are written: ``loads`` the table of loads, ``dual`` whether zones of the dual maximum law
    have reheat, ``idle`` address and value by annual key of what the idle heating plant takes.
    """

    loads: Grid
    dual: bool

    def __init__(self, plan: SitePlan, pen: Pen, registry: Registry, constants: Scope, users: list[str]) -> None:
        super().__init__(plan.results, plan.run, plan.number, plan.option)
        self.pen, self.registry, self.users = pen, registry, users
        self.scope = Scope(constants)
        self.count = len(self.unit.zones)
        self.group = group_of_zones(self.project)
        self.idle: dict[str, tuple[str, float]] = {}

    def share(self, base: Site) -> None:
        """Take zones and loads from another site."""
        self.zones_name, self.loads_name = base.zones_name, base.loads_name
        self.loads, self.dual = base.loads, base.dual
        base.scope.copy_to(self.scope, "z.")

    def value(self, path: str):
        """Value of an input in this site; the size that is used where it was not given."""
        if path in self.own:
            return self.own[path]
        return self.registry.shown(path)

    def source(self, path: str) -> str | None:
        """Address of an input, or None where the candidate has its own value."""
        return None if path in self.own else self.registry.address(path)
