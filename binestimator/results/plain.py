"""The plain-data form of results, as the results file holds it."""

from __future__ import annotations

import math
from dataclasses import asdict
from typing import TYPE_CHECKING

import numpy as np

from .options import BaselineService, CandidateResult
from .steps import Indicator
from .whole import Results, Review

if TYPE_CHECKING:  # names of types only: nothing of these is loaded by results
    from ..money.worth import Worth


def plain(value):
    """A value as plain data for a results file: numbers, text, lists and dicts; NaN as None."""
    if isinstance(value, dict):
        return {k: plain(v) for k, v in value.items()}
    if isinstance(value, (list, tuple)):
        return [plain(v) for v in value]
    if isinstance(value, np.ndarray) and value.ndim == 0:
        return plain(value[()])
    if isinstance(value, (np.floating, float)):
        number = float(value)
        return number if math.isfinite(number) else None
    if isinstance(value, (np.integer,)):
        return int(value)
    if isinstance(value, np.bool_):
        return bool(value)
    return value


def to_plain(results: Results, review: Review | None = None) -> dict:
    """The results file as plain data; its keys are documented in output/README.md.

    ``reviewed`` is there only when the form that was read had a reviewer's overrides.
    """
    data = _claimed(results)
    if review is not None:
        data["reviewed"] = plain(
            {
                "run_id": review.results.run_id,
                "overrides": {
                    path: list(value) if isinstance(value, tuple) else value for path, value in review.overrides.items()
                },
                "baseline_cost_usd": review.results.baseline.annual["cost_usd"],
                "best": _id_of(review.results.best),
                "baseline_rank": review.results.baseline.rank,
                "baseline_service": _baseline_service(review.results.baseline_service),
                "candidates": [
                    {
                        "id": line.id,
                        "claimed_saving_usd": line.claimed_usd,
                        "reviewed_saving_usd": line.reviewed_usd,
                        "reviewed_over_claimed": line.ratio,
                        "claimed_saving_as_run_usd": line.claimed_as_run_usd,
                        "reviewed_saving_as_run_usd": line.reviewed_as_run_usd,
                        "annual": review.results[line.id].annual,
                        "saving": review.results[line.id].saving,
                        **_service_of(review.results[line.id]),
                    }
                    for line in review.lines(results)
                ],
            }
        )
    return data


def _id_of(candidate: CandidateResult | None) -> str | None:
    return None if candidate is None else candidate.id


def _baseline_service(found: BaselineService) -> dict:
    """Plain data of the baseline judged by itself."""
    return {
        "fails": list(found.fails),
        "confirmed": list(found.confirmed),
        "suspects": [{"fails": word, "input": path, "text": text} for word, path, text in found.suspects],
        **found.figures,
    }


def _service_of(c: CandidateResult) -> dict:
    """Plain data of the judgement of a candidate, the same for claim and review."""
    return {
        "kind": c.kind,
        "saving_at_equal_oa": c.saving_at_equal_oa,
        "equal_service": not c.equal_service.flagged,
        "equal_service_reasons": list(c.equal_service.reasons),
        "service": asdict(c.service),
        "fails": list(c.fails),
        "rank": c.rank,
        "not_ranked": c.not_ranked or None,
    }


def _claimed(results: Results) -> dict:
    """Plain data of a run."""
    w = results.weather
    return plain(
        {
            "program": "binestimator",
            "run_id": results.run_id,
            "project": results.project.info.name,
            "currency": results.project.prices.currency,
            "weather": {
                "file": w.file_name,
                "station": w.station,
                "name": w.name,
                "format": w.format,
                "latitude_deg": w.latitude_deg,
                "longitude_deg": w.longitude_deg,
                "elevation_ft": w.elevation_ft,
                "pressure_psia": w.pressure_psia,
                "whole_f": w.whole_f,
                "sha256": w.sha256,
            },
            "baseline": results.baseline_id,
            "code_baseline": results.project.terms.measures.code_baseline or None,
            "bills": [
                {
                    "energy": each.key,
                    "measured": each.measured.tolist(),
                    "air_handler": each.air_handler.tolist(),
                    "other": None if each.other is None else each.other.tolist(),
                    "nmbe_frac": each.nmbe_frac,
                    "cv_rmse_frac": each.cv_rmse_frac,
                    "within_guideline_14": each.within,
                }
                for each in results.bills
            ],
            "best": _id_of(results.best),
            "ranked_by": results.ranked_by,
            "baseline_service": _baseline_service(results.baseline_service),
            **_advised(results),
            "rows": {"count": len(results.row_table), **asdict(results.selection)},
            "sizes": {k: {"value": v, "unit": u, "origin": o} for k, (v, u, o) in results.sizes.items()},
            "night": results.night,
            "bound": results.bound,
            "bound_service": asdict(results.bound_service),
            "candidates": [
                {
                    "id": c.id,
                    "name": c.name,
                    "sat": {"strategy": c.candidate.sat.strategy},
                    "dsp": {"strategy": c.candidate.dsp.strategy},
                    "annual": c.annual,
                    "hourly": c.hourly,
                    "as_run": _as_run(results, c.id),
                    "classic_mean_bins": c.classic,
                    "saving": c.saving,
                    **_service_of(c),
                    "share_of_bound": results.share_of_bound(c.id),
                    "implementation_cost_usd": c.candidate.cost_usd,
                    "incentive_usd": c.candidate.incentive_usd,
                    "simple_payback_years": c.payback_years,
                    "simple_payback_after_incentive_years": c.payback_after_incentive_years,
                    "payback_note": c.payback_note,
                    "peak_kw": c.peak_kw,
                    "requests": _requests(results, c),
                    **_worth(c.worth),
                    "saving_against_code": results.saving_against_code(c.id),
                    "saving_shares": results.saving_shares(c.id),
                    **_tariff(c),
                }
                for c in results.candidates
            ],
            "interactions": [
                {
                    "sat": i.sat_id,
                    "dsp": i.dsp_id,
                    "both": i.both_id,
                    "sat_usd": i.sat_usd,
                    "dsp_usd": i.dsp_usd,
                    "both_usd": i.both_usd,
                    "interaction_usd": i.interaction_usd,
                    "sat_after_dsp_usd": i.sat_after_dsp_usd,
                    "dsp_after_sat_usd": i.dsp_after_sat_usd,
                }
                for i in results.interactions
            ],
            "checks": [
                {
                    "name": k.name,
                    "status": k.status,
                    "value": k.value,
                    "expected": k.expected,
                    "text": k.text,
                    "source": k.source,
                }
                for k in results.checks
            ],
            "findings": [{"level": f.level, "where": f.where, "text": f.text} for f in results.findings],
            "indicators": None if results.indicators is None else [_indicator(each) for each in results.indicators],
            "repairs_and_remedies_as_run": [
                asdict(each) | {"value_usd": each.value_usd} for each in results.changed_as_run
            ],
            "realised": None if results.realised is None else results.realised.data,
        }
    )


def _tariff(c: CandidateResult) -> dict:
    """Plain data of what a tariff charges a candidate; ``None`` without one."""
    table = c.by_rate_period
    return {
        "charges": None
        if c.charges is None
        else {
            "year_usd": c.charges.year_usd,
            "tiers_usd": c.charges.tiers_usd.tolist(),
            "demand_kw": c.charges.demand_kw.tolist(),
            "demand_usd": c.charges.demand_usd.tolist(),
        },
        "by_rate_period": None if table is None else [dict(row) for row in table.to_dict("records")],
    }


def _worth(worth: Worth) -> dict:
    """Plain data of what a candidate costs and is worth."""
    life = worth.life
    return {
        "peak_kw_saving": worth.peak_saving_kw,
        "peak_windows": [asdict(window) for window in worth.windows],
        "npv_usd": life.npv_usd,
        "sir": life.sir,
        "airr": life.airr,
        "irr": life.irr,
        "discounted_payback_years": life.discounted_payback_years,
        "life_cycle_notes": life.notes(),
        "cash_flow_usd": [float(flow) for flow in life.flows_usd],
        "maintenance_usd_yr": worth.maintenance_usd_yr,
        "saving_by_source_usd": worth.saving_by_source_usd,
        "cost_build_up": {
            "counts": worth.cost_basis,
            "low_usd": worth.build_up.total_usd["low"],
            "expected_usd": worth.build_up.total_usd["expected"],
            "high_usd": worth.build_up.total_usd["high"],
            "hours": worth.build_up.hours,
            "contingency_usd": worth.build_up.contingency_usd,
            "lacks": worth.build_up.lacks or None,
            "lines": [asdict(line) for line in worth.build_up.lines],
        },
        "incentive": {
            "counts": worth.incentive_basis,
            "bound_by": worth.incentive_bound_by or None,
            "lines": [asdict(line) for line in worth.incentive_lines],
        },
        "emissions_kg": worth.emissions_kg,
        "emissions_saving_kg": worth.emissions_saving_kg,
    }


def _as_run(results: Results, candidate_id: str) -> dict | None:
    """Plain data of a candidate at time steps: annual figures by their keys, the saving, and zone by zone."""
    if results.as_run is None or candidate_id not in results.as_run:
        return None
    run = results.as_run[candidate_id]
    zones = results.runs[candidate_id].unit.zones.names
    return {
        **run.annual,
        "with_room_heat": run.with_room_heat,
        "saving": run.saving,
        "saving_pct": dict(zip(("at_rest", "corrected", "as_run"), _points(results, candidate_id), strict=True)),
        "share_of_bound": results.share_of_bound_as_run(candidate_id),
        "service": None if run.equal_service is None else asdict(run.equal_service),
        "warm": None if run.warm is None else asdict(run.warm),
        "cost_seeking": None if run.sought is None else asdict(run.sought),
        "zones": [
            {"zone": name, **{key: values[k] for key, values in run.zones.items()}} for k, name in enumerate(zones)
        ],
    }


def _points(results: Results, candidate_id: str) -> tuple[float, float, float]:
    """Saving at rest, corrected by room heat and as run. [%]"""
    rest, run = results.as_run_points(candidate_id)
    return rest, results.as_run_corrected_points(candidate_id), run


def _indicator(found: Indicator) -> dict:
    """Plain data of an option as run with something wrong."""
    clean, wrong = found.saving_pct
    return {
        "key": found.key,
        "text": found.text,
        "candidate": found.candidate_id,
        "made": found.made,
        "saving_pct_clean": clean,
        "saving_pct": wrong,
        "saving_change_usd": found.change_of_saving_usd(),
        "fan_kwh_change": found.change("fan_kwh"),
        "starved_zone_hours_change": found.change("starved_zone_hours"),
        "unmet_degree_hours_change": found.change("unmet_degree_hours"),
        "clean": found.clean,
        "annual": found.wrong,
        "baseline_clean": found.base_clean,
        "baseline": found.base_wrong,
    }


def _requests(results: Results, c: CandidateResult) -> dict:
    """Plain data of the requests of a candidate by part that goes by them: zones that ask, of one zone of each line."""
    run = results.runs[c.id]
    out = {}
    for part, pinned in c.pinned_hours.items():
        table = c.zones[c.zones[f"{part}_requests"] > 0.0]
        out[part] = {
            "pinned_by_one_hours": pinned,
            "zones": [
                {
                    "zone": c.zones["zone"].iloc[k],
                    "rogue": run.project.zones[k].rogue,
                    **{
                        name: float(table.at[k, f"{part}_{name}"])
                        for name in ("requests", "alarm_hours", "pinned_hours")
                    },
                }
                for k in table.index
            ],
        }
    return out


def _advised(results: Results) -> dict:
    """What the advice adds to the results file; the keys are there without it as well."""
    advice = results.advice
    if advice is None:
        return {
            "best_value": None,
            "value": None,
            "drivers_of": None,
            "drivers": [],
            "parts": [],
            "coincidences": [],
            "remedies": [],
            "after_repairs": [],
        }
    return {
        "best_value": advice.value.best_id,
        "value": {
            "payback_limit_years": advice.value.limit_years,
            "note": advice.value.note,
            "path": [asdict(step) for step in advice.value.path],
        },
        "drivers_of": advice.drivers_of,
        "drivers": [
            {
                "input": d.assumption.path,
                "label": d.assumption.label,
                "low": d.low,
                "high": d.high,
                "saving_low_usd": d.saving_low_usd,
                "saving_high_usd": d.saving_high_usd,
                "saving_low_pct": d.saving_low_pct,
                "saving_high_pct": d.saving_high_pct,
                "points": d.points,
                "source": d.assumption.source,
            }
            for d in advice.drivers
        ],
        "parts": [{**asdict(part), "total_usd": part.total_usd} for part in advice.parts],
        "coincidences": [{"ids": list(c.ids), "why": c.why} for c in advice.coincidences],
        "remedies": [
            {
                "id": r.candidate_id,
                "kind": r.kind,
                "zone": r.zone,
                "overrides": dict(r.overrides),
                "saving_usd": r.saving_usd,
                "change_usd": r.change_usd,
                "cost_usd": r.cost_usd,
                "serves": r.serves,
                "text": r.text,
            }
            for r in advice.remedies
        ],
        "after_repairs": [
            {
                "id": a.candidate_id,
                "way": a.way,
                "zones": [{"zone": zone, "rogue": kind or "none"} for zone, kind in zip(a.zones, a.kinds, strict=True)],
                "overrides": [{"input": path, "value": value} for path, value in a.overrides.items()],
                "saving_usd": a.saving_usd,
                "after_usd": a.after_usd,
                "value_usd": a.value_usd,
                "repair_usd": a.repair_usd,
                "reset_usd": a.reset_usd,
                "serves": a.serves,
                "reasons": list(a.reasons),
            }
            for a in advice.after_repairs
        ],
    }
