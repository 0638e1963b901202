"""Zones that pin a reset by demand: what it saves as found, and after their repair or exclusion.

A repair is worth something by itself and lets a reset save; neither is the reset's own. So three amounts stand
apart: the saving as found, which is the claim and by which options are ranked; what the repair saves at the
baseline's setpoints; and what the reset saves in the repaired building.
"""

from __future__ import annotations

import numpy as np

from ..dataclass import dataclass
from ..errors import InputError
from ..estimate import Rows, annual_figures, night_duct, night_totals, run_parts, with_charges, zone_report
from ..hours import build_conditions
from ..inputs.paths import item_path
from ..model.build import build_unit
from ..model.loads import loads_of
from ..model.night import run_nights
from ..rates import Rates
from ..results import overrides_key
from ..service import Yardstick, judge, rises, service_figures
from ..strategies.registry import sat_strategy, strategies_of

REPAIR, EXCLUSION = "repair", "exclusion"
#: Kinds of rogue zones that a part hears.
HEARD = {
    "sat": ("failed_sensor", "both", "undersized"),
    "dsp": ("starved_branch", "both", "undersized"),
}
#: Share of the index run's pressure that a starved branch needs at most once it is repaired (assumption).
REPAIRED_INDEX_SHARE = 1.0


@dataclass(frozen=True, slots=True, kw_only=True)
class AfterRepair:
    """A candidate that goes by requests, as found and with the zones that pin it repaired or left out.

    ``way`` repair or exclusion · ``zones`` their lines and ``kinds`` what is wrong with each (empty: nothing, it needs
    what it asks for) · ``overrides`` path to value that make it · ``saving_usd`` of the candidate as found ·
    ``after_usd`` the same afterwards, against the same baseline · ``repair_usd`` of the change alone, at the baseline's
    setpoints; the rest, ``reset_usd``, is what the reset saves afterwards · ``serves`` whether it is then of equal
    service by the rows of the run · ``reasons`` why not. [USD/yr]
    """

    candidate_id: str
    way: str
    zones: tuple[str, ...]
    kinds: tuple[str, ...]
    overrides: dict[str, object]
    saving_usd: float
    after_usd: float
    repair_usd: float
    serves: bool
    reasons: tuple[str, ...]

    @property
    def value_usd(self) -> float:
        """What the candidate saves more by it."""
        return self.after_usd - self.saving_usd

    @property
    def reset_usd(self) -> float:
        """What the reset saves in the building so changed."""
        return self.after_usd - self.repair_usd


def rogue_places(run, candidate) -> list[int]:
    """Lines of rogue zones that a candidate which goes by requests hears, by their place."""
    weight, kinds = run.unit.zones.weight, [zone.rogue for zone in run.project.zones]
    heard = {kind for part, _ in _listening(candidate) for kind in HEARD[part]}
    return [k for k, kind in enumerate(kinds) if kind in heard and weight[k] > 0.0]


def pinning_places(results, candidate) -> list[int]:
    """Lines of which one zone pins a reset of the candidate for longer than ``rogue_zones.pinned_frac``."""
    running = candidate.hourly["running_hours"]
    least = max(results.project.rogue_zones.pinned_frac * running, 1e-9)
    found = np.zeros(len(candidate.zones), dtype=bool)
    for part, _ in _listening(candidate.candidate):
        found |= candidate.zones[f"{part}_pinned_hours"].to_numpy(dtype=float) >= least
    return [int(k) for k in np.flatnonzero(found)]


def _listening(candidate):
    return [(part, way) for part, way in zip(("sat", "dsp"), strategies_of(candidate), strict=True) if way.listens]


def repairs(run, places) -> dict[str, object]:
    """Overrides that put rogue zones right.

    A larger terminal keeps its minimum airflow. A starved branch then needs no more pressure than the index run.
    """
    out: dict[str, object] = {}
    for k in places:
        zone = run.project.zones[k]
        path = lambda name, zone=zone: item_path("zone", zone.name, name)
        out[path("rogue")] = "none"
        if zone.rogue == "undersized":
            whole = round(float(run.unit.zones.max_cfm[k]) / run.project.rogue_zones.undersized_frac)
            out[path("max_cfm")] = float(whole)
            if zone.min_cfm is None:
                out[path("min_cfm")] = float(run.unit.zones.min_cfm[k])
        if zone.rogue in HEARD["dsp"][:2] and run.unit.zones.index_share[k] > REPAIRED_INDEX_SHARE:
            out |= {path(name): None for name in ("survey_flow_cfm", "survey_damper_pct", "survey_dsp_inwc")}
            out[path("index_share")] = REPAIRED_INDEX_SHARE
    return out


def exclusions(run, places) -> dict[str, object]:
    """Overrides that leave zones out of the resets."""
    return {item_path("zone", run.project.zones[k].name, "importance"): 0.0 for k in places}


def find_after_repairs(results) -> tuple[AfterRepair, ...]:
    """Candidates that go by requests and hear rogue zones, or zones that pin them, afterwards.

    Returns
    -------
    tuple of AfterRepair
        By candidate: repair and exclusion of all rogue zones that it hears, then exclusion of the others that pin it.

    Notes
    -----
    On the rows of the run, their weights and its sizes; nights are run again. Setpoints of the cost-optimal search
    are held. Equal service by rows is a forecast, which an estimate with the overrides confirms hour by hour.
    """
    if len(results.runs[results.baseline_id].rows.running) == 0:
        return ()
    changed = _Changed(results)
    out = []
    for candidate in results.candidates:
        for way, places, overrides in after_ways(results, candidate):
            found = changed.of(candidate, way, places, overrides)
            if found is not None:
                out.append(found)
    return tuple(out)


def after_ways(results, candidate) -> list[tuple[str, list[int], dict[str, object]]]:
    """What is looked at of a candidate that goes by requests: repair or exclusion, of which zone lines by their place,
    and the overrides that make it."""
    if not _listening(candidate.candidate):
        return []
    run = results.runs[candidate.id]
    rogue = rogue_places(run, candidate.candidate)
    others = [k for k in pinning_places(results, candidate) if k not in rogue]
    ways = (
        (REPAIR, rogue, repairs(run, rogue)),
        (EXCLUSION, rogue, exclusions(run, rogue)),
        (EXCLUSION, others, exclusions(run, others)),
    )
    return [(way, places, overrides) for way, places, overrides in ways if places]


@dataclass(frozen=True, slots=True, kw_only=True)
class Driving:
    """What one zone of a line does to a reset by demand of a candidate, from the hourly run.

    ``part`` sat or dsp · ``zone`` its line, ``alike`` zones of it, ``kind`` what is wrong with it, or empty ·
    ``request_pct`` requests times hours over running hours [%] · ``alarm_hours`` in which its alarm stands ·
    ``pinned_hours`` in which it alone holds the setpoint by more than a step · ``as_run_hours`` in which it asks as
    run, None where the candidate was not run [h].
    """

    candidate_id: str
    part: str
    zone: str
    alike: int
    kind: str
    request_pct: float
    alarm_hours: float
    pinned_hours: float
    as_run_hours: float | None


_ASKS_AS_RUN = {"sat": "temperature_request_hours", "dsp": "pressure_request_hours"}


def driving_zones(results, candidate) -> list[Driving]:
    """Zones that ask, by part that goes by requests: those that hold it longest first, then those that ask most."""
    run, table = results.runs[candidate.id], candidate.zones
    as_run = None if results.as_run is None else results.as_run.get(candidate.id)
    running = max(candidate.hourly["running_hours"], 1e-9)
    out = []
    for part, _ in _listening(candidate.candidate):
        requests, alarm, pinned = (
            table[f"{part}_{name}"].to_numpy(dtype=float) for name in ("requests", "alarm_hours", "pinned_hours")
        )
        for k in sorted(np.flatnonzero(requests > 0.0), key=lambda k: (-pinned[k], -requests[k])):
            zone = run.project.zones[k]
            out.append(
                Driving(
                    candidate_id=candidate.id,
                    part=part,
                    zone=zone.name,
                    alike=zone.multiplier,
                    kind=zone.rogue if zone.rogue in HEARD[part] else "",
                    request_pct=100.0 * float(requests[k]) / running,
                    alarm_hours=float(alarm[k]),
                    pinned_hours=float(pinned[k]),
                    as_run_hours=None if as_run is None else float(as_run.zones[_ASKS_AS_RUN[part]][k]),
                )
            )
    return out


class _Changed:
    """Candidates run again with overrides, on the rows of a run."""

    def __init__(self, results) -> None:
        self.results = results
        base = results.runs[results.baseline_id]
        self.yardstick = Yardstick.of(base.unit, base.rows.on, base.rows.loads)
        self.base_served = self._served(
            results.baseline_id, base.unit, base.rows, base.parts, results.baseline.annual,
            results.held.nights[results.baseline_id],
        )  # fmt: skip
        self._hours: dict[str, object] = {}
        self._nights: dict[str, object] = {}

    def of(self, candidate, way: str, places, overrides) -> AfterRepair | None:
        """A candidate with overrides; None where they do not fit other inputs."""
        results, run = self.results, self.results.runs[candidate.id]
        base, cost = results.baseline.candidate, results.baseline.annual["cost_usd"]
        # What is left out of a reset matters where there is one.
        matters = lambda part: way == REPAIR or part.listens
        try:
            annual, verdict = self._annual(candidate.candidate, overrides, matters, judged=True)
            alone = cost
            if any(matters(part) for part in strategies_of(base)):
                alone = self._annual(base, overrides, matters, judged=False)[0]["cost_usd"]
        except InputError:
            return None
        zones = [run.project.zones[k] for k in places]
        return AfterRepair(
            candidate_id=candidate.id,
            way=way,
            zones=tuple(zone.name for zone in zones),
            kinds=tuple("" if zone.rogue == "none" else zone.rogue for zone in zones),
            overrides=overrides,
            saving_usd=candidate.saving["cost_usd"],
            after_usd=cost - annual["cost_usd"],
            repair_usd=cost - alone,
            serves=not verdict.flagged,
            reasons=verdict.reasons,
        )

    def _annual(self, candidate, overrides, matters, *, judged: bool):
        """Annual figures of a candidate with overrides, and the judgement of its service if wanted."""
        results, run = self.results, self.results.runs[candidate.id]
        project = results.project.with_overrides(dict(candidate.overrides) | overrides)
        unit = build_unit(project, results.held.sizes)
        rows = Rows.of(unit, run.rows.conditions)
        own = project.candidate(candidate.id)
        # A search stays as it was found; a controller answers to its own inputs.
        kept = results.held.optimal_sat.get(candidate.id) if sat_strategy(own.sat).searches else None
        parts = run_parts(unit, own, rows, (), kept)
        night = results.held.nights[candidate.id]
        if matters(strategies_of(own)[1]):
            night = self._night(project, unit, own, overrides_key(dict(candidate.overrides) | overrides))
        hours = self._hours_of(project) if isinstance(unit.prices, Rates) else None
        annual = annual_figures(unit, rows, parts, night_totals(night, unit, hours))
        annual = with_charges(annual, results[candidate.id].charges)
        if not judged:
            return annual, None
        served = self._served(candidate.id, unit, rows, parts, annual, night)
        verdict = judge(
            rises(served, self.base_served, self.yardstick),
            self.yardstick,
            [(path, own.overrides[path]) for path in own.changed_service],
        )
        return annual, verdict

    def _hours_of(self, project):
        """Hours of the year of a project, found once for each calendar, building and groups."""
        of = repr((project.schedule, project.building, project.groups))
        if of not in self._hours:
            self._hours[of] = build_conditions(self.results.weather, project)
        return self._hours[of]

    def _night(self, project, unit, candidate, key: str):
        key = repr((key, candidate.dsp if project.schedule.night_dsp == "strategy" else None))
        if key not in self._nights:
            hours = self._hours_of(project)
            self._nights[key] = run_nights(
                unit, hours, loads_of(unit, hours), project.schedule,
                night_duct(unit, project.schedule, candidate.dsp),
            )  # fmt: skip
        return self._nights[key]

    def _served(self, candidate_id, unit, rows, parts, annual, night):
        depths = zone_report(unit, rows, parts, self.yardstick)[1]
        return service_figures(self.yardstick, parts, depths, night, annual)
