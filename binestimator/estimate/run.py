"""The estimate: a project and a typical year in, results out.

No files, no printing, no clock. The same functions run on the hours of the year (the audit,
and all counts shown to people) and on the bin rows (the annual figures).
"""

from __future__ import annotations

import hashlib
from functools import partial

import numpy as np
import pandas as pd

from .. import __version__
from ..bins import bin_table, group_keys, row_table
from ..checks import run_checks
from ..climate import climate_of
from ..dataclass import dataclass
from ..end_uses import ELECTRIC
from ..hours import build_conditions, clock_calendar
from ..inputs.project import Project
from ..model.air_handler import required_oa_cfm
from ..model.unit import Sizes
from ..money.bills import reconcile
from ..money.worth import effective, worth_of
from ..parallel import in_order
from ..rates import prices_at
from ..results import SAVING_KEYS, BaselineService, CandidateResult, CandidateRun, Held, Results
from ..selection import choose_rows, end_use_costs, reference_answers
from ..service import ServiceFigures, Yardstick, failing, judge, judge_baseline, rises, service_figures
from ..strategies.choose import sat_rows
from ..strategies.registry import sat_strategy
from ..weather import Weather
from .bound import bound_service, reset_bound
from .choice import choice_findings, held_selection, row_choice
from .comparing import baseline_of, figures_at_equal_oa, find_interactions, oa_at_minimum_cfm, ranked
from .peaks import Windows
from .reports import (
    flow_table,
    hourly_energy,
    mean_row_table,
    monthly_table,
    rows_frame,
    temperature_table,
    zone_report,
)
from .requests import request_hours
from .rows import Part
from .running import annual_figures, cheapest_night, joined_parts, night_totals, nights_of, run_parts
from .sites import Site, Sites
from .sizing import size_list, size_unit
from .tariff import add_charges, by_rate_period, charges_of, cost_by_source_usd, priced_amounts, with_charges


def make_run_id(project: Project, weather: Weather) -> str:
    """Short id from everything the results depend on: inputs, weather and version."""
    text = repr(
        (__version__, project.effective_rows(), weather.sha256, weather.whole_f, round(weather.pressure_psia, 9))
    )
    text += repr(project.terms.given) if project.terms.given else ""
    return hashlib.sha256(text.encode()).hexdigest()[:12]


@dataclass(frozen=True, slots=True, kw_only=True)
class _Evaluated:
    """Parts of every candidate by id on one kind of rows, and the supply temperatures tried."""

    name: str
    parts: dict[str, list[Part]]
    tried: tuple[np.ndarray, ...]


def estimate(project: Project, weather: Weather, held: Held | None = None, sizes: Sizes | None = None) -> Results:
    """Evaluate every candidate of a project in a typical year.

    Parameters
    ----------
    project : Project
        From ``inputs.read_project``.
    weather : Weather
        From ``weather.read_weather``.
    held : Held, optional
        Sizes, rows with weights, optimiser setpoints and night block of an earlier run, used
        instead of finding them again: what a live workbook does after an edit.
    sizes : Sizes, optional
        Those of an earlier run alone are held, and so is the climate that its defaults go by: the same building in
        another year.

    Returns
    -------
    Results

    Notes
    -----
    Sizes are found once from the baseline and held. Every candidate is run hour by hour
    first; rows are chosen once, from reference settings and these runs, and held. Counts,
    months, peaks and the equal-service rule come from the hourly run.
    """
    if sizes is None:
        project = project.in_climate(climate_of(weather))
    conditions = build_conditions(weather, project)
    if held is not None:
        sizes = held.sizes
    elif sizes is None:
        sizes = size_unit(project, conditions)
    group_id, _ = group_keys(conditions, project.bins)
    sites = Sites(project, weather, conditions, sizes, group_id)
    unit = sites.unit

    # The baseline first; strategies that search last, so that they can try what the others do.
    ordered = sorted(project.candidates, key=lambda c: (sat_strategy(c.sat).searches, c.id != project.baseline_id))
    for candidate in ordered:
        sites.of(candidate)
    # A held run may be asked for further candidates.
    nights = {} if held is None else dict(held.nights)
    missing = [c for c in ordered if c.id not in nights]
    of_hours, found = _evaluated(ordered, sites, "hourly", beside=lambda: nights_of(missing, sites.of))
    nights |= found
    totals = {c.id: night_totals(nights[c.id], sites.of(c).unit, conditions) for c in ordered}
    hourly_figures = _figures(of_hours, sites, totals)

    row_index, row_weights, selection = None, None, None
    choosing = None
    if held is not None:
        row_index, row_weights = held.row_index, held.row_weights
    elif project.bins.rows == "representative":
        costs = [
            sum(
                p.share * end_use_costs(prices_at(site.unit.prices, site.hourly.on.rate_period), p.state)
                for p in of_hours.parts[c.id]
            )
            for c, site in ((c, sites.of(c)) for c in ordered)
        ]
        asked = reference_answers(project, unit, sites.hourly)
        choosing = lambda: choose_rows(project, unit, sites.hourly, group_id, costs, asked)
    served, selection = _served(project, sites, of_hours.parts, hourly_figures, nights, beside=choosing)
    if selection is not None:
        order = np.lexsort((selection.index, selection.group))
        row_index, row_weights = selection.index[order], selection.weights[order]
    if row_index is not None and row_weights is not None:
        sites.on_rows(row_index, row_weights)
    of_rows, _ = _evaluated(ordered, sites, "rows", held)
    of_means = of_rows if row_index is None else _evaluated(ordered, sites, "mean")[0]
    figures = {"hourly": hourly_figures, "rows": _figures(of_rows, sites, totals)}
    figures["mean"] = figures["rows"] if of_means is of_rows else _figures(of_means, sites, totals)
    energies = {
        c.id: hourly_energy(sites.of(c).unit, sites.of(c).hourly, of_hours.parts[c.id], nights[c.id]) for c in ordered
    }
    charges = charges_of(project, sites, energies)
    add_charges(figures, charges)

    runs = {c.id: (sites.of(c), of_hours.parts[c.id], of_rows.parts[c.id]) for c in ordered}
    optimal = {c.id: of_rows.parts[c.id][0].setpoints.sat_f for c in ordered if sat_strategy(c.sat).held}
    pulled = {c.id: _pulled_f(sites.of(c), c, held) for c in ordered}
    results, baseline_service = _results_of_candidates(
        project, runs, served, totals, figures, energies, charges, nights
    )
    baseline = baseline_of(project, results)
    base_site, base_parts, base_rows = runs[project.baseline_id]

    flow = np.full(len(conditions.oat_f), np.nan)
    flow[base_site.hourly.running] = sum(p.share * p.state.flow_cfm for p in base_parts)
    if row_index is not None and selection is None:
        selection = held_selection(conditions, row_index, row_weights, group_id)
    grouped = sites.mean_group_id if selection is None else group_id
    choice = row_choice(selection, int(grouped.max()) + 1, results, baseline)
    table = bin_table(conditions, selection, width_f=project.bins.width_f, means={"mean_flow_cfm": flow})
    rows_of_table = (
        row_table(conditions, selection) if selection is not None else mean_row_table(base_site.rows.conditions)
    )
    interactions = find_interactions(results, baseline)
    checks, findings = run_checks(
        project, weather, unit, results, baseline, runs, selection, interactions, baseline_service
    )
    results = ranked(results, baseline_service.open, [check.name for check in checks if check.status == "fail"])
    asked = [p.setpoints for site, _, parts in runs.values() if site is base_site for p in parts]
    bound, perfect = reset_bound(project, base_site, cheapest_night(totals, runs, base_site), of_rows.tried, asked)
    bound = with_charges(bound, charges.get(project.baseline_id))
    return Results(
        project=project,
        weather=weather,
        baseline_id=project.baseline_id,
        candidates=tuple(results),
        bin_table=table,
        row_table=rows_of_table,
        row_method=choice.method,
        selection=choice,
        night=totals[project.baseline_id],
        sizes=size_list(project, unit),
        interactions=interactions,
        checks=checks,
        bound=bound,
        bound_service=bound_service(base_site, nights[project.baseline_id], base_rows, baseline.annual, perfect, bound),
        baseline_service=baseline_service,
        findings=tuple(project.findings) + tuple(weather.findings) + findings + choice_findings(choice),
        run_id=make_run_id(project, weather),
        unit=unit,
        held=Held(
            sizes=sizes,
            row_index=row_index,
            row_weights=row_weights,
            optimal_sat=optimal,
            nights=nights,
            pulled_f={id_: each for id_, each in pulled.items() if each is not None},
        ),
        bills=reconcile(project, baseline.monthly),
        runs={
            id_: CandidateRun(
                project=site.project,
                unit=site.unit,
                rows=site.rows,
                parts=tuple(parts),
                night=totals[id_],
                site=site.key,
                pulled_f=pulled[id_],
                hourly={**priced_amounts(energies[id_]), "cooling_kwh": energies[id_]["cooling_kwh"]},
            )
            for id_, (site, _, parts) in runs.items()
        },
    )


def _pulled_f(site: Site, candidate, held: Held | None):
    """How much colder rooms short of air pull the supply air of a candidate in the running rows, None where they do
    not. (R,) [degF]"""
    before = None if held is None else held.pulled_f.get(candidate.id)
    rows = site.rows
    if before is not None or not len(rows.running):
        return before
    return sat_strategy(candidate.sat).pulled_f(candidate.sat, sat_rows(site.unit, candidate, rows.on, rows.loads))


def _evaluated(candidates, sites: Sites, name: str, held: Held | None = None, beside=None):
    """Candidates on the hours (``hourly``), the rows or the ``mean`` rows of their sites.

    ``held`` what was found before on these rows. ``beside`` is called while strategies search, each of which goes step
    by step; its answer is the second thing returned.
    """
    kept = {} if held is None else held.optimal_sat
    pulled = {} if held is None else held.pulled_f

    def evaluated(candidate, tried=()):
        site = sites.of(candidate)
        found = kept.get(candidate.id), pulled.get(candidate.id)
        return run_parts(site.unit, candidate, getattr(site, name), tried, found[0], pulled_f=found[1])

    def searched(candidate, part, rows):
        return run_parts(sites.of(candidate).unit, candidate, rows, [sat[part] for sat in tried])

    first = [c for c in candidates if not sat_strategy(c.sat).searches]
    last = [c for c in candidates if sat_strategy(c.sat).searches]
    # Only the hours take long enough to be worked on side by side.
    side_by_side = sites.at_once if name == "hourly" else 1
    found = in_order(evaluated, first, side_by_side)
    tried = _distinct([parts[0].setpoints.sat_f for parts in found])
    jobs = [] if beside is None else [beside]
    pieces: dict[str, int] = {}
    for candidate in last:
        halves = sites.of(candidate).hourly.halves() if name == "hourly" and candidate.id not in kept else []
        pieces[candidate.id] = len(halves)
        jobs += [partial(searched, candidate, *half) for half in halves] or [partial(evaluated, candidate, tried)]
    done = in_order(lambda job: job(), jobs, side_by_side)
    answer = done.pop(0) if beside is not None else None
    parts = {candidate.id: each for candidate, each in zip(first, found, strict=True)}
    for candidate in last:
        count = max(pieces[candidate.id], 1)
        parts[candidate.id] = joined_parts(done[:count])
        del done[:count]
    return _Evaluated(name=name, parts=parts, tried=tuple(tried)), answer


def _figures(evaluated: _Evaluated, sites: Sites, totals) -> dict[str, dict[str, float]]:
    """Annual figures of candidates by id; ``totals`` of their nights."""
    found = {}
    for id_, parts in evaluated.parts.items():
        site = sites.of(sites.project.candidate(id_))
        found[id_] = annual_figures(site.unit, getattr(site, evaluated.name), parts, totals[id_])
    return found


@dataclass(frozen=True, slots=True, kw_only=True)
class _Served:
    """How candidates serve the rooms over the hours: what the baseline is measured by, a table of the zones and the
    figures of each by id, and hours in which one zone pins a reset by part."""

    yardstick: Yardstick
    zones: dict[str, pd.DataFrame]
    figures: dict[str, ServiceFigures]
    pinned_hours: dict[str, dict[str, float]]


def _served(project, sites: Sites, parts, figures, nights, beside=None):
    """Service of candidates from their hours; the answer of ``beside``, which is called meanwhile, is the second thing
    returned."""
    base = sites.of(project.baseline)
    yardstick = Yardstick.joined([Yardstick.of(base.unit, block.on, block.loads) for _, block in base.hourly.blocks()])

    def of_candidate(id_):
        site = sites.of(project.candidate(id_))
        zones, depths = zone_report(site.unit, site.hourly, parts[id_], yardstick, nights[id_])
        asked = request_hours(site.unit, project.candidate(id_), site.hourly, parts[id_], project.rogue_zones)
        own = service_figures(yardstick, parts[id_], depths, nights[id_], figures[id_])
        return zones.assign(**asked.columns()), own, asked.by_one_hours

    jobs = [partial(of_candidate, id_) for id_ in parts]
    if beside is not None:
        jobs.insert(0, beside)
    found = in_order(lambda job: job(), jobs, sites.at_once)
    answer = found.pop(0) if beside is not None else None
    by_id = dict(zip(parts, found, strict=True))
    served = _Served(
        yardstick=yardstick,
        zones={id_: zones for id_, (zones, _, _) in by_id.items()},
        figures={id_: own for id_, (_, own, _) in by_id.items()},
        pinned_hours={id_: hours for id_, (_, _, hours) in by_id.items()},
    )
    return served, answer


def _results_of_candidates(
    project, runs, served: _Served, totals, figures, energies, charges, nights
) -> tuple[list[CandidateResult], BaselineService]:
    """What each candidate gives, not ranked yet, and the baseline judged by itself.

    ``runs`` candidate id to its site and its parts on the hours and on the rows; ``totals`` of nights by id;
    ``figures`` annual ones by kind of rows and id; ``energies`` hour by hour, ``charges`` of the tariff
    and ``nights`` by id.
    """
    base_annual = figures["rows"][project.baseline_id]

    base_site, base_parts, base_rows = runs[project.baseline_id]
    yardstick, base_served = served.yardstick, served.figures[project.baseline_id]
    baseline_service = judge_baseline(base_served, yardstick, base_site.project, base_site.unit, base_parts)
    required_cfm = required_oa_cfm(base_site.unit, base_site.rows.on.occupied, base_site.rows.loads.oa_people_cfm)
    wanted_cfm = np.minimum(required_cfm, sum(p.share * oa_at_minimum_cfm(base_site.unit, p.state) for p in base_rows))

    windows = Windows.of(project, clock_calendar(project.calendar))
    power = {id_: np.sum([energy[use.key] for use in ELECTRIC], axis=0) for id_, energy in energies.items()}
    paid = {
        id_: cost_by_source_usd(site.unit, site.rows, rows_parts, totals[id_], figures["rows"][id_], charges.get(id_))
        for id_, (site, _, rows_parts) in runs.items()
    }

    results = []
    for candidate in project.candidates:
        site, parts_h, parts_r = runs[candidate.id]
        annual = figures["rows"][candidate.id]
        saving = {key: base_annual[key] - annual[key] for key in SAVING_KEYS}
        equal = figures_at_equal_oa(
            site.unit,
            candidate,
            site.rows,
            parts_r,
            wanted_cfm,
            totals[candidate.id],
            annual,
            charges.get(candidate.id),
        )
        rise = rises(served.figures[candidate.id], base_served, yardstick)
        worth = worth_of(
            project,
            candidate,
            annual,
            saving,
            {key: paid[project.baseline_id][key] - paid[candidate.id][key] for key in paid[candidate.id]},
            windows.savings(power[candidate.id], power[project.baseline_id]),
        )
        results.append(
            CandidateResult(
                candidate=effective(candidate, worth),
                annual=annual,
                hourly=figures["hourly"][candidate.id],
                classic=figures["mean"][candidate.id],
                saving=saving,
                saving_at_equal_oa={key: base_annual[key] - equal[key] for key in SAVING_KEYS},
                equal_service=judge(
                    rise, yardstick, [(path, candidate.overrides[path]) for path in candidate.changed_service]
                ),
                service=rise,
                fails=failing(served.figures[candidate.id], yardstick),
                payback_years=worth.payback.before_years,
                payback_after_incentive_years=worth.payback.after_years,
                payback_note=worth.payback.before_reason or worth.payback.after_reason,
                rank=None,
                not_ranked="",
                rows=rows_frame(site.rows, parts_r),
                monthly=monthly_table(site.unit, site.hourly, energies[candidate.id], charges.get(candidate.id)),
                by_temperature=temperature_table(site.hourly, parts_h),
                flow_hours=flow_table(site.unit, site.hourly, parts_h),
                zones=served.zones[candidate.id],
                pinned_hours=served.pinned_hours[candidate.id],
                peak_kw=float(power[candidate.id].max()),
                worth=worth,
                charges=charges.get(candidate.id),
                by_rate_period=by_rate_period(site, parts_r, nights[candidate.id], energies[candidate.id]),
            )
        )
    return results, baseline_service


def _distinct(arrays: list[np.ndarray]) -> list[np.ndarray]:
    """The arrays without repetitions, in order."""
    out: list[np.ndarray] = []
    for a in arrays:
        if not any(np.array_equal(a, b) for b in out):
            out.append(a)
    return out
