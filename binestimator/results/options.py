"""An option over the year, its service, its place among the others, and the checks of a run."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pandas as pd

from ..dataclass import dataclass

if TYPE_CHECKING:  # names of types only: nothing of these is loaded by results
    from ..inputs.project import Candidate
    from ..money.tariffs import Charges
    from ..money.worth import Worth


CHANGED_SERVICE = "changed_service"


@dataclass(frozen=True, slots=True, kw_only=True)
class EqualService:
    """Whether a candidate serves the zones as well as the baseline does.

    ``flagged`` candidates are shown but neither ranked nor called best; ``reasons`` says why
    in plain words.
    """

    flagged: bool
    reasons: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class ServiceRise:
    """What a candidate takes from the rooms more than the baseline does, from the hour-by-hour run and by the
    baseline's standard.

    ``zone`` the zone line that goes farthest beyond one of its limits, or comes nearest to it; None where nothing
    rises. Of one zone, the worst for its limit, named in ``..._zone`` beside it: ``unmet_degree_hours_rise,
    cold_degree_hours_rise`` beyond its setpoints [degF.h] · ``zone_oa_short_cfmh_rise`` of its own outdoor-air need
    [cfm.h] · ``start_miss_f_rise`` outside its setpoints at the first occupied hour, summed over the days [degF] ·
    ``night_low_drop_f`` of its lowest night temperature [degF]. At the unit: ``oa_short_cfmh_rise`` [cfm.h] ·
    ``dewpoint_degree_hours_rise`` [degF.h] · ``unserved_cooling_kbtu_rise, unserved_heating_kbtu_rise`` [kBtu].
    ``total_...`` over all zones · ``humid_hours_rise`` [h], shown and never judged · ``limits`` what is allowed, by the
    name of each rise that is judged.
    """

    zone: str | None
    unmet_degree_hours_rise: float
    unmet_zone: str
    cold_degree_hours_rise: float
    cold_zone: str
    zone_oa_short_cfmh_rise: float
    zone_oa_zone: str
    start_miss_f_rise: float
    start_miss_zone: str
    night_low_drop_f: float
    night_low_zone: str
    oa_short_cfmh_rise: float
    dewpoint_degree_hours_rise: float
    unserved_cooling_kbtu_rise: float
    unserved_heating_kbtu_rise: float
    total_unmet_degree_hours_rise: float
    total_cold_degree_hours_rise: float
    total_zone_oa_short_cfmh_rise: float
    humid_hours_rise: float
    limits: dict[str, float]


@dataclass(frozen=True, slots=True, kw_only=True)
class BaselineService:
    """The baseline judged by itself.

    ``fails`` words of what it fails in (outdoor_air, temperature, airflow, capacity) · ``confirmed`` those of them that
    the project confirms as found · ``suspects`` (word, path of the input suspected, why) · ``figures`` behind it.
    """

    fails: tuple[str, ...]
    confirmed: tuple[str, ...]
    suspects: tuple[tuple[str, str, str], ...]
    figures: dict[str, float]

    @property
    def open(self) -> tuple[str, ...]:
        """Failures that are not confirmed: only candidates that cure them may be best."""
        return tuple(word for word in self.fails if word not in self.confirmed)


@dataclass(frozen=True, slots=True, kw_only=True)
class CandidateResult:
    """One candidate over the year.

    Parameters
    ----------
    candidate : Candidate
        As it was evaluated, with the cost and the incentive that count (see ``worth``).
    annual, hourly, classic : dict
        Figures of ``ANNUAL`` from the bin rows, from the hour-by-hour run, and from classic mean
        bins of the same grouping (for comparison only).
    saving : dict
        Baseline minus candidate for the energies and ``cost_usd``, ``electricity_kwh``,
        ``reheat_kbtu``, from the bin rows.
    saving_at_equal_oa : dict
        The same with the candidate's minimum outdoor air raised, row by row, to what the baseline gives at its minimum,
        as far as that is required: without the saving of air that it does not ventilate with.
    equal_service : EqualService
    service : ServiceRise
    fails : tuple of str
        What the candidate fails in by itself, as ``BaselineService.fails``.
    payback_years, payback_after_incentive_years : float or None
        Simple payback; None with the reason in ``payback_note``.
    rank : int or None
        1 is the least energy cost among candidates of equal service that may be best.
    not_ranked : str
        Why there is no rank; empty where there is one.
    rows : DataFrame
        One line per bin row: weights, conditions and every field of ``RowState`` (fan-off
        rows hold zeros for energy and NaN for temperatures and setpoints).
    monthly : DataFrame
        Twelve months from the hourly run: ENERGY_KEYS, electricity_kwh, cost_usd.
    by_temperature : DataFrame
        By outdoor-temperature bin from the hourly run (running hours): hours, mean sat_f,
        dsp_inwc, flow_cfm, and cost_usd.
    flow_hours : DataFrame
        Running hours by airflow in tenths of the design airflow: low_pct, hours.
    zones : DataFrame
        By zone from the hourly run: unmet_hours, unmet_degree_hours, starved_hours,
        ventilation_short_hours, cold_hours, reheat_kbtu, temperature_request_hours,
        pressure_request_hours, minimum_flow_hours; and for parts that go by requests, else 0, sat_requests and
        dsp_requests (requests times hours), sat_alarm_hours and dsp_alarm_hours, sat_pinned_hours and dsp_pinned_hours
        (``estimate.requests.RequestHours``).
    pinned_hours : dict
        By part (sat, dsp) that goes by requests, hours in which one zone alone pins its setpoint. [h]
    peak_kw : float
        Largest hourly electricity of the year. [kW]
    worth : Worth
        Cost, incentive, life cycle, demand in peak windows, emissions (package ``money``).
    charges : Charges or None
        What a tariff adds to energy at marginal prices, by month; None without a tariff.
    by_rate_period : DataFrame or None
        Energy by rate period of the tariff, rows beside hours (``estimate.tariff.by_rate_period``).
    """

    candidate: Candidate
    annual: dict[str, float]
    hourly: dict[str, float]
    classic: dict[str, float]
    saving: dict[str, float]
    saving_at_equal_oa: dict[str, float]
    equal_service: EqualService
    service: ServiceRise
    fails: tuple[str, ...]
    payback_years: float | None
    payback_after_incentive_years: float | None
    payback_note: str
    rank: int | None
    not_ranked: str
    rows: pd.DataFrame
    monthly: pd.DataFrame
    by_temperature: pd.DataFrame
    flow_hours: pd.DataFrame
    zones: pd.DataFrame
    pinned_hours: dict[str, float]
    peak_kw: float
    worth: Worth
    charges: Charges | None = None
    by_rate_period: pd.DataFrame | None = None

    @property
    def id(self) -> str:
        return self.candidate.id

    @property
    def name(self) -> str:
        return self.candidate.name

    @property
    def kind(self) -> str:
        """Kind of the candidate: as given, or ``changed_service`` where it changes what the rooms are promised."""
        return CHANGED_SERVICE if self.candidate.changed_service else self.candidate.kind

    @property
    def oa_not_given_usd(self) -> float:
        """Part of the cost saving that is ventilation not given. [USD/yr]"""
        return self.saving["cost_usd"] - self.saving_at_equal_oa["cost_usd"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Interaction:
    """Cost savings of SAT alone, DSP alone and both, and what is left over. [USD]"""

    sat_id: str
    dsp_id: str
    both_id: str
    sat_usd: float
    dsp_usd: float
    both_usd: float

    @property
    def sat_after_dsp_usd(self) -> float:
        """What SAT adds where DSP comes first."""
        return self.both_usd - self.dsp_usd

    @property
    def dsp_after_sat_usd(self) -> float:
        """What DSP adds where SAT comes first."""
        return self.both_usd - self.sat_usd

    @property
    def interaction_usd(self) -> float:
        """Saving of both minus the sum of each alone; negative: they share a saving."""
        return self.both_usd - self.sat_usd - self.dsp_usd


@dataclass(frozen=True, slots=True, kw_only=True)
class Check:
    """One check of the run: ``status`` is pass, explain or fail."""

    name: str
    status: str
    value: str
    expected: str
    text: str
    source: str = ""
