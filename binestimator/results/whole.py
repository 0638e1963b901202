"""Results of a run and of a reviewer's second one."""

from __future__ import annotations

from dataclasses import field
from typing import TYPE_CHECKING

import pandas as pd

from ..dataclass import dataclass
from ..end_uses import END_USES, KBTU_IN, site_kbtu
from ..errors import Finding
from .annual import SAVING_KEYS
from .options import BaselineService, CandidateResult, Check, EqualService, Interaction
from .runs import CandidateRun, Held, RowChoice
from .steps import AsRun, ChangedAsRun, Indicator

if TYPE_CHECKING:  # names of types only: nothing of these is loaded by results
    from ..advice.drivers import Driver
    from ..advice.remedies import Remedy
    from ..advice.rogue import AfterRepair
    from ..advice.value import Coincidence, Parts, Value
    from ..inputs.project import Project
    from ..model.unit import Unit
    from ..money.bills import Reconciled
    from ..ranges.results import Ranges
    from ..realised.results_file import RealisedFile
    from ..trends.measured import Measured
    from ..weather import Weather


#: What ranks go by: energy cost and service of rooms at rest on the bin rows and hours, or of the runs at time steps.
BINS, AS_RUN = "bins", "as_run"


@dataclass(frozen=True, slots=True, kw_only=True)
class Advice:
    """Which assumptions the result depends on, and which option is the best value (package ``advice``).

    ``drivers_of`` id of the candidate that ``drivers`` (strongest first) are about, None where there is none ·
    ``value`` best value and the way to it · ``parts`` repair, companion and reset parts of combined options ·
    ``coincidences`` options whose year is the same · ``remedies`` what would cure flagged demand resets ·
    ``after_repairs`` options whose resets are pinned by zones, after their repair or exclusion.
    """

    drivers_of: str | None
    drivers: tuple[Driver, ...]
    value: Value
    parts: tuple[Parts, ...]
    coincidences: tuple[Coincidence, ...]
    remedies: tuple[Remedy, ...]
    after_repairs: tuple[AfterRepair, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Results:
    """Everything an estimate found.

    ``bin_table`` one line per outdoor-temperature bin · ``row_table`` one line per bin row (hours,
    date, hour, outdoor conditions) · ``night`` annual figures of setback and warm-up,
    included in every candidate · ``sizes`` path to (value, unit, 'given' or 'sized') ·
    ``bound`` annual figures of perfect resets (``estimate.reset_bound``), ``bound_service`` whether they are of equal
    service by the rows · ``baseline_service`` the baseline judged by itself · ``row_method`` how rows were chosen, in
    words · ``selection`` the same with its errors · ``held`` what a changed project can be run on again · ``runs``
    candidate id to what its annual figures are made of · ``advice`` drivers and value, None until they were found ·
    ``as_run`` candidate id to the run at time steps, None where there was none · ``indicators`` options as run with
    something wrong, None where they were not asked for · ``changed_as_run`` options as run with repairs and remedies ·
    ``handover_id`` candidate that is to be handed over, None for the one that the first page presents · ``bills`` of
    twelve months beside the baseline, empty where none are given · ``trends`` what trend logs have measured
    (``trends.measured.Measured``), None where none were given · ``realised`` what logs of before and after the work say
    was saved (``realised.results_file.RealisedFile``), None where that was not given · ``ranges`` how sure all of it is
    (``ranges.results.Ranges``), None where no draws were made · ``ranked_by`` what ranks, service and the best option
    go by, ``BINS`` or ``AS_RUN``.
    """

    project: Project
    weather: Weather
    baseline_id: str
    candidates: tuple[CandidateResult, ...]
    bin_table: pd.DataFrame
    row_table: pd.DataFrame
    row_method: str
    selection: RowChoice
    night: dict[str, float]
    bound: dict[str, float]
    bound_service: EqualService
    baseline_service: BaselineService
    sizes: dict[str, tuple[float, str, str]]
    interactions: tuple[Interaction, ...]
    checks: tuple[Check, ...]
    findings: tuple[Finding, ...]
    run_id: str
    unit: Unit = field(repr=False)
    held: Held = field(repr=False)
    runs: dict[str, CandidateRun] = field(repr=False)
    advice: Advice | None = field(default=None, repr=False)
    bills: tuple[Reconciled, ...] = field(default=(), repr=False)
    as_run: dict[str, AsRun] | None = field(default=None, repr=False)
    indicators: tuple[Indicator, ...] | None = field(default=None, repr=False)
    changed_as_run: tuple[ChangedAsRun, ...] = field(default=(), repr=False)
    handover_id: str | None = None
    trends: Measured | None = field(default=None, repr=False)
    realised: RealisedFile | None = field(default=None, repr=False)
    ranges: Ranges | None = field(default=None, repr=False)
    ranked_by: str = BINS

    def __getitem__(self, candidate_id: str) -> CandidateResult:
        for c in self.candidates:
            if c.id == candidate_id:
                return c
        raise KeyError(candidate_id)

    @property
    def baseline(self) -> CandidateResult:
        return self[self.baseline_id]

    def share_of_bound(self, candidate_id: str) -> float | None:
        """Cost saving of a candidate over that of perfect resets of the same plant. [-]

        None where the candidate changes more than setpoints, or where perfect resets save
        nothing. Above 1 a candidate saves by leaving zones short that ignored requests allow.
        """
        c = self[candidate_id]
        possible = self.baseline.annual["cost_usd"] - self.bound["cost_usd"]
        if (
            c.candidate.overrides != self.baseline.candidate.overrides
            or possible <= 0.005 * self.baseline.annual["cost_usd"]
        ):
            return None
        return c.saving["cost_usd"] / possible

    def share_of_bound_as_run(self, candidate_id: str) -> float | None:
        """The same of the saving at time steps, each as a share of its own baseline's cost; None without a run."""
        share, c = self.share_of_bound(candidate_id), self[candidate_id]
        if share is None or self.as_run is None or candidate_id not in self.as_run:
            return None
        possible = self.baseline.annual["cost_usd"] - self.bound["cost_usd"]
        base, run = self.baseline.annual["cost_usd"], self.as_run[self.baseline_id].annual["cost_usd"]
        return self.as_run[c.id].saving["cost_usd"] / run / (possible / base) if run > 0.0 else None

    @property
    def code_baseline(self) -> CandidateResult | None:
        """The candidate that stands for what the code requires; None where none is named."""
        named = self.project.terms.measures.code_baseline
        return self[named] if named else None

    @property
    def bill_usd(self) -> float | None:
        """Bills of twelve months; None where their cost is not given. [USD]"""
        known = [float(each.usd.sum()) for each in self.bills if each.usd is not None]
        return sum(known) if known else None

    def saving_against_code(self, candidate_id: str) -> dict[str, float] | None:
        """Code baseline minus candidate by the keys of a saving; None without a code baseline."""
        code = self.code_baseline
        if code is None:
            return None
        return {key: code.annual[key] - self[candidate_id].annual[key] for key in SAVING_KEYS}

    def saving_shares(self, candidate_id: str) -> dict[str, float | None]:
        """Savings of a candidate as shares: of each end use by its key, ``hvac_energy``, ``hvac_cost``, ``bill_cost``;
        None where there is nothing to take a share of."""
        base, saving = self.baseline.annual, self[candidate_id].saving
        of = lambda part, whole: part / whole if whole else None
        out = {use.key: of(saving[use.key], base[use.key]) for use in END_USES}
        out["hvac_energy"] = of(sum(saving[use.key] * KBTU_IN[use.unit] for use in END_USES), site_kbtu(base))
        out["hvac_cost"] = of(saving["cost_usd"], base["cost_usd"])
        out["bill_cost"] = of(saving["cost_usd"], self.bill_usd)
        return out

    def as_run_points(self, candidate_id: str) -> tuple[float, float]:
        """Saving of a candidate in % of the baseline's energy cost, hour by hour with rooms at rest and as run."""
        at_rest, run = self.baseline.hourly["cost_usd"], self._runs()[self.baseline_id].annual["cost_usd"]
        percent = lambda part, of: 100.0 * part / of if of else 0.0
        return (
            percent(at_rest - self[candidate_id].hourly["cost_usd"], at_rest),
            percent(self._runs()[candidate_id].saving["cost_usd"], run),
        )

    def ranked_saving_usd(self, candidate_id: str) -> float:
        """Saving of energy cost of a candidate on the basis of the ranks."""
        found = self._runs()[candidate_id] if self.ranked_by == AS_RUN else self[candidate_id]
        return found.saving["cost_usd"]

    def as_run_corrected_points(self, candidate_id: str) -> float:
        """Saving of a candidate in % with rooms at rest that release the heat which they stored as run: the closed form
        of the bins, corrected by what room mass changes."""
        return self.as_run_points(candidate_id)[0] + self.as_run_causes(candidate_id)[0]

    def as_run_causes(self, candidate_id: str) -> tuple[float, float]:
        """What lies between both savings of :meth:`as_run_points`: heat that rooms store, and loops. [points]"""
        rest, run = self.as_run_points(candidate_id)
        base = self._runs()[self.baseline_id].with_room_heat["cost_usd"]
        stored = base - self._runs()[candidate_id].with_room_heat["cost_usd"]
        between = 100.0 * stored / base if base else 0.0
        return between - rest, run - between

    def _runs(self) -> dict[str, AsRun]:
        if self.as_run is None:
            raise ValueError("the candidates were not run at time steps")
        return self.as_run

    @property
    def best(self) -> CandidateResult | None:
        """The least energy cost among candidates of equal service, the baseline included; None where nothing may be
        best."""
        ranked = [c for c in self.candidates if c.rank == 1]
        return ranked[0] if ranked else None


@dataclass(frozen=True, slots=True, kw_only=True)
class ReviewLine:
    """Energy-cost saving of a candidate: claimed, as reviewed, and their ratio (None: nothing is claimed); the same as
    run at time steps, None where the run was not. [USD/yr]"""

    id: str
    name: str
    claimed_usd: float
    reviewed_usd: float
    claimed_as_run_usd: float | None = None
    reviewed_as_run_usd: float | None = None

    @property
    def ratio(self) -> float | None:
        """Reviewed over claimed saving."""
        return self.reviewed_usd / self.claimed_usd if self.claimed_usd else None


@dataclass(frozen=True, slots=True, kw_only=True)
class Review:
    """A second run with what a reviewer put over the inputs. It never becomes the claim.

    ``overrides`` path to value · ``results`` of the whole project with them, rows, sizes and setpoints found anew.
    """

    overrides: dict[str, object]
    results: Results

    def lines(self, claimed: Results) -> tuple[ReviewLine, ...]:
        """Claimed and reviewed saving of every candidate that both runs have, the baseline left out."""
        reviewed = {c.id: c for c in self.results.candidates}
        as_run = lambda of, id_: of.as_run[id_].saving["cost_usd"] if of.as_run and id_ in of.as_run else None
        return tuple(
            ReviewLine(
                id=c.id,
                name=c.name,
                claimed_usd=c.saving["cost_usd"],
                reviewed_usd=reviewed[c.id].saving["cost_usd"],
                claimed_as_run_usd=as_run(claimed, c.id),
                reviewed_as_run_usd=as_run(self.results, c.id),
            )
            for c in claimed.candidates
            if c.id in reviewed and c.id != claimed.baseline_id
        )
