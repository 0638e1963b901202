"""Candidates against the baseline: savings at equal outdoor air, interactions, ranks."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from ..model.system import RowState
from ..model.unit import Unit
from ..results import CandidateResult, Interaction
from ..service import FAILURES
from .rows import Part, Rows
from .running import annual_figures, run_parts
from .tariff import with_charges

# Outdoor air missing by less is rounding. [cfm]
OA_ROUNDING_CFM = 1e-6


def oa_at_minimum_cfm(unit: Unit, state: RowState) -> np.ndarray:
    """Outdoor air that dampers at their minimum give, without what the economizer adds. (R,) [cfm]"""
    share = state.oa_frac if unit.economizer.stuck_frac is not None else np.minimum(state.oa_frac, state.oa_min_frac)
    return share * state.flow_cfm


def figures_at_equal_oa(
    unit: Unit,
    candidate,
    rows: Rows,
    parts: list[Part],
    wanted_cfm,
    night: dict[str, float],
    figures: dict[str, float],
    charges=None,
):
    """Annual figures of a candidate whose minimum outdoor air is raised to what is wanted; those it has where it gives
    as much.

    Parameters
    ----------
    wanted_cfm : ndarray (R,)
        What the baseline gives at its minimum, as far as that is required. [cfm]
    charges : Charges, optional
        Of the candidate's tariff: the same with more outdoor air.

    Notes
    -----
    The mean over the parts is raised, each part by the same airflow, and economizer air is not topped up: an hour in
    which the candidate's dampers open wider by themselves has what it needs.
    """
    given = [oa_at_minimum_cfm(unit, p.state) for p in parts]
    missing = wanted_cfm - sum(p.share * cfm for p, cfm in zip(parts, given, strict=True))
    missing = np.where(missing > OA_ROUNDING_CFM, missing, 0.0)
    if not missing.any():
        return figures
    raised = run_parts(
        unit,
        candidate,
        rows,
        (),
        parts[0].setpoints.sat_f,
        [np.where(missing > 0.0, cfm + missing, 0.0) for cfm in given],
    )
    return with_charges(annual_figures(unit, rows, raised, night), charges)


def find_interactions(candidates: list[CandidateResult], baseline: CandidateResult) -> tuple[Interaction, ...]:
    """SAT alone, DSP alone and both, wherever all three were evaluated with the same overrides as the baseline."""
    plain = [c for c in candidates if c.candidate.overrides == baseline.candidate.overrides]
    base_sat, base_dsp = baseline.candidate.sat, baseline.candidate.dsp
    out = []
    for both in plain:
        if both.candidate.sat == base_sat or both.candidate.dsp == base_dsp:
            continue
        sat_only = next(
            (c for c in plain if c.candidate.sat == both.candidate.sat and c.candidate.dsp == base_dsp), None
        )
        dsp_only = next(
            (c for c in plain if c.candidate.dsp == both.candidate.dsp and c.candidate.sat == base_sat), None
        )
        if sat_only and dsp_only:
            out.append(
                Interaction(
                    sat_id=sat_only.id,
                    dsp_id=dsp_only.id,
                    both_id=both.id,
                    sat_usd=sat_only.saving["cost_usd"],
                    dsp_usd=dsp_only.saving["cost_usd"],
                    both_usd=both.saving["cost_usd"],
                )
            )
    return tuple(out)


def baseline_of(project, results) -> CandidateResult:
    """The baseline among the results of candidates."""
    return next(c for c in results if c.id == project.baseline_id)


def ranked(
    results: list[CandidateResult],
    to_cure: tuple[str, ...],
    failed: list[str],
    cost_usd=lambda c: c.annual["cost_usd"],
) -> list[CandidateResult]:
    """Ranks by energy cost among candidates of equal service that may be best; equal costs keep the order of the list.

    Parameters
    ----------
    to_cure : tuple of str
        What the baseline fails in and is not confirmed: a candidate that fails in it as well is not ranked.
    failed : list of str
        Checks that must not fail and did: nothing is ranked.
    cost_usd : callable
        Energy cost by which a candidate is ranked; that of the bin rows unless said.
    """
    why = {}
    for c in results:
        left = [word for word in to_cure if word in c.fails]
        if failed:
            why[c.id] = f"a check that must not fail has failed: {failed[0]}"
        elif c.equal_service.flagged:
            why[c.id] = "; ".join(c.equal_service.reasons)
        elif left:
            why[c.id] = "fails as the baseline does: " + ", ".join(FAILURES[word] for word in left)
    order = sorted((c for c in results if c.id not in why), key=lambda c: round(cost_usd(c), 6))
    rank = {c.id: i + 1 for i, c in enumerate(order)}
    return [replace(c, rank=rank.get(c.id), not_ranked=why.get(c.id, "")) for c in results]
