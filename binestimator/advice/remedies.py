"""What would cure a flagged demand reset, what the reset would then save, and what that costs.

A demand reset takes from the rooms where the requests of the zone that needs most are ignored, or where its terminal
is too small to be helped: fewer ignored requests, more weight for that zone, or a larger terminal.
"""

from __future__ import annotations

import math

from ..dataclass import dataclass
from ..errors import InputError
from ..estimate import Rows, annual_figures, run_parts, with_charges, zone_report
from ..inputs.paths import item_path
from ..inputs.schema import STRATEGY_SECTIONS, fields_of
from ..model.build import build_unit
from ..service import Yardstick, judge, rises, service_figures
from ..strategies.registry import sat_strategy, strategies_of

#: Kinds of remedies in the order in which they are tried.
KINDS = ("ignored_requests", "importance", "terminal_size")
#: A larger terminal takes the air of this many of the old one: about the next size (assumption).
LARGER_TERMINAL = 1.25
#: Rises that a demand reset brings about, by the name of the worst zone of each in ``results.ServiceRise``.
_BY_ZONE = {
    "unmet_degree_hours_rise": "unmet_zone",
    "cold_degree_hours_rise": "cold_zone",
    "zone_oa_short_cfmh_rise": "zone_oa_zone",
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Remedy:
    """One remedy of one flagged candidate.

    ``candidate_id`` · ``kind`` one of ``KINDS`` · ``zone`` that is helped (its line; None: all) · ``overrides`` path to
    value that make it, as ``Project.with_overrides`` takes them · ``saving_usd`` of the candidate with it, against the
    same baseline [USD/yr] · ``change_usd`` against the flagged candidate's own saving [USD/yr] · ``cost_usd`` of the
    remedy beside the candidate's own cost [USD] · ``serves`` whether the candidate is then of equal service by the rows
    of the run · ``reasons`` why not · ``text`` in plain words.
    """

    candidate_id: str
    kind: str
    zone: str | None
    overrides: dict[str, object]
    saving_usd: float
    change_usd: float
    cost_usd: float
    serves: bool
    reasons: tuple[str, ...]
    text: str


def worst_zone(candidate, zone_names) -> int | None:
    """Place of the zone line that goes farthest beyond a limit of equal service; None where none does."""
    rise, worst, at = candidate.service, 1.0, None
    for key, name in _BY_ZONE.items():
        limit = rise.limits[key]
        over = getattr(rise, key) / limit if limit > 0.0 else math.inf if getattr(rise, key) > 0.0 else 0.0
        if over > worst:
            worst, at = over, list(zone_names).index(getattr(rise, name))
    return at


def find_remedies(results, candidate_ids=None) -> tuple[Remedy, ...]:
    """Remedies of flagged candidates with a demand reset.

    Parameters
    ----------
    results : Results
    candidate_ids : sequence of str, optional
        Only of these; of all when not given.

    Returns
    -------
    tuple of Remedy
        By candidate, then in the order of ``KINDS``; none for candidates that are flagged for what no zone
        suffers (moisture, outdoor air at the unit, a promise changed on purpose).

    Notes
    -----
    On the rows of the run with its sizes and nights; at most four evaluations a candidate. Setpoints of the
    cost-optimal search are held. Equal service by rows is a forecast, which an estimate with the overrides confirms
    hour by hour. A larger terminal keeps its minimum airflow and its share of the index run's pressure.
    """
    project, base = results.project, results.runs[results.baseline_id]
    if len(base.rows.running) == 0:
        return ()
    yardstick = Yardstick.of(base.unit, base.rows.on, base.rows.loads)
    base_served = _served(
        results, results.baseline_id, base.unit, base.rows, base.parts, yardstick, results.baseline.annual
    )
    out = []
    for candidate in results.candidates:
        strategies = zip(STRATEGY_SECTIONS, strategies_of(candidate.candidate), strict=True)
        resets = [part for part, strategy in strategies if strategy.listens]
        wanted = candidate_ids is None or candidate.id in candidate_ids
        if not (wanted and resets and candidate.equal_service.flagged) or candidate.candidate.changed_service:
            continue
        place = worst_zone(candidate, base.unit.zones.names)
        if place is None:
            continue
        for kind in KINDS:
            found = None
            for overrides, cost, text in ways_of(
                project, candidate.candidate, resets, results.runs[candidate.id].unit, kind, place
            ):
                tried = _try(results, candidate, overrides, yardstick, base_served)
                if tried is None:
                    continue  # it does not go with other inputs
                annual, verdict = tried
                saving = results.baseline.annual["cost_usd"] - annual["cost_usd"]
                found = Remedy(
                    candidate_id=candidate.id,
                    kind=kind,
                    zone=None if kind == "ignored_requests" else project.zones[place].name,
                    overrides=overrides,
                    saving_usd=saving,
                    change_usd=saving - candidate.saving["cost_usd"],
                    cost_usd=cost,
                    serves=not verdict.flagged,
                    reasons=verdict.reasons,
                    text=text,
                )
                if found.serves:
                    break
            if found is not None:
                out.append(found)
    return tuple(out)


def ways_of(project, candidate, resets, unit, kind: str, place: int):
    """Overrides, cost and words of each way to make a remedy, the mildest first."""
    costs, zone = project.remedies, project.zones[place]
    ignored = max(getattr(candidate, part).ignored_requests for part in resets)
    if kind == "ignored_requests":
        for number in dict.fromkeys((math.floor(ignored / 2), 0)):
            parts = [part for part in resets if getattr(candidate, part).ignored_requests > number]
            if parts:
                yield (
                    {item_path("candidate", candidate.id, f"{part}.ignored_requests"): float(number) for part in parts},
                    costs.setting_usd,
                    f"ignore {number:g} requests instead of {ignored:g}",
                )
    elif kind == "importance":
        field = fields_of("zone")["importance"]
        needed = math.floor(ignored / zone.multiplier) + 1.0
        if zone.importance < needed <= field.high:
            yield (
                {item_path("zone", zone.name, "importance"): needed},
                costs.setting_usd,
                f"count requests of {zone.name} {needed:g} times, so that they are enough by themselves",
            )
    else:
        before = float(unit.zones.max_cfm[place])
        most = fields_of("zone")["max_cfm"].high
        assert most is not None, "airflow has a range"
        after = min(round(before * LARGER_TERMINAL), most)
        changes = {item_path("zone", zone.name, "max_cfm"): float(after)}
        if zone.min_cfm is None:
            changes[item_path("zone", zone.name, "min_cfm")] = float(unit.zones.min_cfm[place])
        many = f" in each of its {zone.multiplier} zones" if zone.multiplier > 1 else ""
        yield (
            changes,
            costs.terminal_usd * zone.multiplier,
            f"a terminal of {after:,.0f} cfm instead of {before:,.0f} for {zone.name}{many}",
        )


def _try(results, candidate, overrides, yardstick, base_served):
    """Annual figures of a candidate with overrides and whether it serves, on the rows of the run; None where they do
    not fit."""
    run = results.runs[candidate.id]
    try:
        project = results.project.with_overrides(dict(candidate.candidate.overrides) | overrides)
    except InputError:
        return None
    unit = build_unit(project, results.held.sizes)
    rows = Rows.of(unit, run.rows.conditions)
    own = project.candidate(candidate.id)
    # A search stays as it was found; a controller answers to its own inputs.
    kept = results.held.optimal_sat.get(candidate.id) if sat_strategy(own.sat).searches else None
    parts = run_parts(unit, own, rows, (), kept)
    annual = with_charges(annual_figures(unit, rows, parts, run.night), results[candidate.id].charges)
    served = _served(results, candidate.id, unit, rows, parts, yardstick, annual)
    return annual, judge(rises(served, base_served, yardstick), yardstick)


def _served(results, candidate_id, unit, rows, parts, yardstick, annual):
    depths = zone_report(unit, rows, parts, yardstick)[1]
    return service_figures(yardstick, parts, depths, results.held.nights[candidate_id], annual)
