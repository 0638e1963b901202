"""Results of an estimate: what comes out, with names and units, and its plain-data form.

Signs: a saving is the baseline minus the candidate, so that a positive number is saved and a
negative one is spent more. Nothing is clipped to look better.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import asdict, dataclass, field
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from .end_uses import END_USES, ENERGY_KEYS, KBTU_IN, site_kbtu
from .errors import Finding

if TYPE_CHECKING:  # names of types only: nothing of these is loaded by results
    from .advice.drivers import Driver
    from .advice.remedies import Remedy
    from .advice.rogue import AfterRepair
    from .advice.value import Coincidence, Parts, Value
    from .estimate.rows import Part, Rows
    from .inputs.project import Candidate, Project
    from .model.night import NightBlock
    from .model.unit import Sizes, Unit
    from .money.bills import Reconciled
    from .money.tariffs import Charges
    from .money.worth import Worth
    from .ranges.results import Ranges
    from .realised.results_file import RealisedFile
    from .service import ServiceFigures
    from .trends.measured import Measured
    from .weather import Weather

# What each annual figure is: key, label, unit, what it contains. One list for the results
# file, the README, the terminal table and the workbook.
ANNUAL = (
    ("hours", "Hours of the file", "h", "All hours, running and off"),
    (
        "running_hours",
        "Running hours",
        "h",
        "Hours with the air handler on in a steady mode; night cycling is not among them",
    ),
    *((use.key, use.label, use.unit, use.contains) for use in END_USES),
    ("electricity_kwh", "Electricity", "kWh", "Fans, cooling, pumps and tower, electric heat"),
    ("reheat_kbtu", "Reheat", "kBtu", "Heat of all terminal coils in running hours, at the coil"),
    ("preheat_kbtu", "Preheat", "kBtu", "Heat of the supply heating coil in running hours, at the coil"),
    ("cooling_sensible_kbtu", "Sensible cooling", "kBtu", "Sensible load of the cooling coil in running hours"),
    ("cooling_latent_kbtu", "Latent cooling", "kBtu", "Moisture taken out by the cooling coil in running hours"),
    ("cost_usd", "Energy cost", "USD", "Electricity, fuel and purchased energy at the prices of the project"),
    (
        "unmet_zone_hours",
        "Unmet zone-hours",
        "zone h",
        "Zone-hours warmer than the cooling setpoint by more than the tolerance",
    ),
    ("unmet_degree_hours", "Unmet degree-hours", "zone degF.h", "How far beyond that tolerance, summed"),
    (
        "cold_zone_hours",
        "Under-heated zone-hours",
        "zone h",
        "Zone-hours colder than the heating setpoint by more than the tolerance",
    ),
    (
        "starved_zone_hours",
        "Starved zone-hours",
        "zone h",
        "Zone-hours whose airflow is cut by too little duct pressure",
    ),
    (
        "ventilation_short_hours",
        "Ventilation-short zone-hours",
        "zone h",
        "Zone-hours with less than the minimum airflow of the zone",
    ),
    ("oa_short_hours", "Outdoor-air-short hours", "h", "Hours with less than 98 % of the required outdoor air"),
    ("airflow_ceiling_hours", "Airflow-ceiling hours", "h", "Hours in which zones ask for more than the fan can give"),
    ("humid_hours", "Humid hours", "h", "Occupied hours with the room dew point above the limit"),
    (
        "capacity_hours",
        "Cooling-short hours",
        "h",
        "Hours in which supply air rises because the plant cannot give more",
    ),
    ("freeze_hours", "Cold mixed-air hours", "h", "Hours with mixed air below the freeze caution limit"),
    (
        "minimum_speed_hours",
        "Minimum-speed hours",
        "h",
        "Hours with the fan at its lowest speed, duct pressure above setpoint",
    ),
    (
        "low_flow_hours",
        "Low-airflow DX hours",
        "h",
        "Hours of direct-expansion cooling with less than its least airflow",
    ),
    (
        "stage_cycling_hours",
        "Stage-cycling DX hours",
        "h",
        "Hours of direct-expansion cooling below the capacity of the first stage: the compressor cycles and dries less",
    ),
    (
        "cold_dx_hours",
        "Cold-supply DX hours",
        "h",
        "Hours of direct-expansion cooling with supply air colder than the coldest that it allows",
    ),
    (
        "sat_at_max_hours",
        "Warmest-SAT hours",
        "h",
        "Hours with the supply setpoint at the warmest that the reset allows (resets only)",
    ),
    (
        "sat_at_min_hours",
        "Coldest-SAT hours",
        "h",
        "Hours with the supply setpoint at the coldest of the reset (resets only)",
    ),
    (
        "dsp_at_max_hours",
        "Highest-DSP hours",
        "h",
        "Hours with the duct pressure setpoint at the highest of the reset (resets only)",
    ),
    (
        "dsp_at_min_hours",
        "Lowest-DSP hours",
        "h",
        "Hours with the duct pressure setpoint at the lowest of the reset (resets only)",
    ),
    ("economizer_hours", "Economizer hours", "h", "Hours with more outdoor air than the minimum, for free cooling"),
    (
        "economizer_cooling_hours",
        "Economizer-with-cooling hours",
        "h",
        "Hours with the economizer and mechanical cooling together: warmer supply air leaves more to outdoor air",
    ),
    (
        "reset_excluded_hours",
        "Hours out of the reset",
        "h",
        "Running time in setback, warm-up and cool-down, in which no supply air reset acts; a purge is not modelled",
    ),
    (
        "humidity_limited_hours",
        "Humidity-limited hours",
        "h",
        "Hours in which the humidity limit holds supply air down",
    ),
    (
        "cold_zone_limited_hours",
        "Cold-zone-limited hours",
        "h",
        "Hours in which a zone that must stay cold holds supply air down",
    ),
    ("unserved_cooling_kbtu", "Cooling not served", "kBtu", "Cooling beyond the plant after the supply air has risen"),
    (
        "unserved_heating_kbtu",
        "Heat not served",
        "kBtu",
        "Heat of coils in running hours beyond the capacity of its source, which is not charged for",
    ),
    ("mean_sat_f", "Mean supply air", "degF", "Mean over running hours of the supply air temperature that results"),
    ("mean_dsp_inwc", "Mean duct static", "in. w.c.", "Mean over running hours of the duct pressure that results"),
    ("mean_flow_cfm", "Mean airflow", "cfm", "Mean over running hours of supply airflow with leakage"),
)
ANNUAL_KEYS = tuple(key for key, *_ in ANNUAL)

# Counts and means are shown from the hourly run: rows chosen for energies do not reproduce counts.
COUNT_KEYS = tuple(key for key, _, unit, _ in ANNUAL if key.endswith(("_hours",)) and key not in ("hours",))

# Amounts whose saving is given.
SAVING_KEYS = (
    *ENERGY_KEYS,
    "electricity_kwh",
    "reheat_kbtu",
    "preheat_kbtu",
    "cooling_sensible_kbtu",
    "cooling_latent_kbtu",
    "cost_usd",
)


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


CHANGED_SERVICE = "changed_service"


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


@dataclass(frozen=True, slots=True, kw_only=True)
class Held:
    """What a run found once and a changed project can be run on again.

    ``sizes`` (Sizes) · ``row_index``, ``row_weights`` (rows of the hourly conditions; None for mean
    rows) · ``optimal_sat`` candidate id to the supply temperatures (R,) in the running rows of a strategy whose
    setpoints are held (a search, a controller's rest) · ``nights`` candidate id to its night block · ``pulled_f``
    candidate id to how much colder (R,) rooms short of air pull its supply air there.
    """

    sizes: Sizes
    row_index: np.ndarray | None
    row_weights: np.ndarray | None
    optimal_sat: dict[str, np.ndarray]
    nights: dict[str, NightBlock]
    pulled_f: dict[str, np.ndarray] = field(default_factory=dict)


#: What ranks go by: energy cost and service of rooms at rest on the bin rows and hours, or of the runs at time steps.
BINS, AS_RUN = "bins", "as_run"


def overrides_key(overrides: Mapping[str, object]) -> str:
    """Text that is the same for candidates that change the same inputs to the same values."""
    return repr(tuple(sorted(overrides.items(), key=lambda item: item[0])))


@dataclass(frozen=True, slots=True, kw_only=True)
class CandidateRun:
    """What the annual figures of a candidate are made of, for sheets that compute them again.

    ``project`` with the candidate's overrides · ``unit`` its arrays · ``rows`` (estimate.Rows) conditions
    and loads · ``parts`` (estimate.Part) setpoints and states by share of the running time ·
    ``night`` annual figures of its night block · ``site`` text equal for candidates that share all of these but parts ·
    ``pulled_f`` how much colder rooms short of air pull its supply air in the running rows (R,), None for a strategy
    that they do not pull [degF].
    """

    project: Project
    unit: Unit
    rows: Rows
    parts: tuple[Part, ...]
    night: dict[str, float]
    site: str
    pulled_f: np.ndarray | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class RowChoice:
    """How the bin rows of a run were chosen, and how well they do.

    ``method`` in words · ``fallback`` True if that is not the method meant for the project ·
    ``groups`` of like hours · ``rows`` and the most that this grouping can give (``bound``) ·
    ``worst_residual_frac`` largest error in the annual cost of all end uses or one at a reference
    setting in a rate period, as a share of the mean annual cost of all end uses; None for rows
    that were not chosen by it · ``exact_error_frac`` largest relative error of what each group
    keeps exactly (hours, temperature, humidity), None for mean rows · ``worst_cost_frac``,
    ``worst_end_use_frac`` (of all HVAC energy), ``worst_saving_points``: largest absolute error
    of any candidate against the hourly run.
    """

    method: str
    fallback: bool
    groups: int
    rows: int
    bound: int
    worst_residual_frac: float | None
    exact_error_frac: float | None
    worst_cost_frac: float
    worst_end_use_frac: float
    worst_saving_points: float


@dataclass(frozen=True, slots=True, kw_only=True)
class SoughtCase:
    """A cost-seeking controller as run with something wrong, or nothing.

    ``words`` what · ``saving_usd`` against the baseline as run · ``of_ideal`` share of what the least cost saves beyond
    the baseline's supply air at the same duct pressure, None where that is next to nothing · ``mean_sat_f`` ·
    ``unmet_degree_hours``.
    """

    words: str
    saving_usd: float
    of_ideal: float | None
    mean_sat_f: float
    unmet_degree_hours: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Sought:
    """What a cost-seeking controller reaches of the least cost at time steps.

    ``plain_usd`` energy cost with the baseline's supply air at the option's duct pressure · ``ideal_usd`` with the
    least-cost supply air of the hours at rest · ``ideal_saving_usd`` of that against the baseline ·
    ``at_rest_of_ideal`` the share that the hours at rest give · ``cases`` the controller as given, then with something
    wrong.
    """

    plain_usd: float
    ideal_usd: float
    ideal_saving_usd: float
    at_rest_of_ideal: float | None
    cases: tuple[SoughtCase, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class AsRun:
    """A candidate at time steps, as controllers run it (package ``as_run``).

    ``annual`` figures by the keys of ``ANNUAL`` · ``with_room_heat`` the same at rest, with the heat that rooms
    released as run as a gain (``as_run.room_heat``) · ``saving`` of ``SAVING_KEYS`` against the baseline as run ·
    ``zones`` by name of ``as_run.steps.BY_ZONE``, (Z,) of one zone of each line · ``hourly`` by name of
    ``as_run.steps.HOURLY`` (H,), means of the time in which the unit ran · ``trace`` the same at the steps of the days
    of the year ``trace_days``, (D, steps) · ``service`` figures by which it is judged (``service.ServiceFigures``) ·
    ``sought`` of a cost-seeking option, else None.
    """

    annual: dict[str, float]
    service: ServiceFigures
    with_room_heat: dict[str, float]
    saving: dict[str, float]
    zones: dict[str, np.ndarray]
    hourly: dict[str, np.ndarray]
    trace: dict[str, np.ndarray]
    trace_days: tuple[int, ...]
    sought: Sought | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Indicator:
    """An option as run with something wrong, beside the same option as run without it (``as_run.indicators``).

    ``key`` of what is wrong and ``text`` of it · ``candidate_id`` of the option, ``made`` whether it was made for this:
    the baseline with the strategy that is looked at · ``clean``, ``wrong`` annual figures of the option by the keys of
    ``ANNUAL`` · ``base_clean``, ``base_wrong`` the same of the baseline, which a fault of the controls alone leaves as
    it was.
    """

    key: str
    text: str
    candidate_id: str
    made: bool
    clean: dict[str, float]
    wrong: dict[str, float]
    base_clean: dict[str, float]
    base_wrong: dict[str, float]

    @property
    def saving_pct(self) -> tuple[float, float]:
        """Saving of energy cost without and with it, each of its own baseline's cost. [%]"""
        pairs = ((self.base_clean, self.clean), (self.base_wrong, self.wrong))
        share = lambda base, own: 100.0 * (base - own) / base if base else 0.0
        without, with_it = (share(base["cost_usd"], own["cost_usd"]) for base, own in pairs)
        return without, with_it

    def change(self, key: str) -> float:
        """Of an annual figure of the option."""
        return self.wrong[key] - self.clean[key]

    def change_of_saving_usd(self) -> float:
        """Of the saving of energy cost against its own baseline. [USD/yr]"""
        return (self.base_wrong["cost_usd"] - self.base_clean["cost_usd"]) - self.change("cost_usd")


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
    something wrong, None where they were not asked for · ``handover_id`` candidate that is to
    be handed over, None for the one that the first page presents · ``bills`` of twelve months beside the baseline,
    empty where none are given · ``trends`` what trend logs have measured (``trends.measured.Measured``), None where
    none were given · ``realised`` what logs of before and after the work say was saved
    (``realised.results_file.RealisedFile``), None where that was not given · ``ranges`` how sure all of it is
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


@dataclass(frozen=True, slots=True, kw_only=True)
class ReviewLine:
    """Energy-cost saving of a candidate: claimed, as reviewed, and their ratio (None: nothing is claimed). [USD/yr]"""

    id: str
    name: str
    claimed_usd: float
    reviewed_usd: float

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
        return tuple(
            ReviewLine(
                id=c.id, name=c.name, claimed_usd=c.saving["cost_usd"], reviewed_usd=reviewed[c.id].saving["cost_usd"]
            )
            for c in claimed.candidates
            if c.id in reviewed and c.id != claimed.baseline_id
        )


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
        "share_of_bound": results.share_of_bound_as_run(candidate_id),
        "cost_seeking": None if run.sought is None else asdict(run.sought),
        "zones": [
            {"zone": name, **{key: values[k] for key, values in run.zones.items()}} for k, name in enumerate(zones)
        ],
    }


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
