"""What runs at time steps add to an option."""

from __future__ import annotations

from dataclasses import field
from typing import TYPE_CHECKING

import numpy as np

from ..dataclass import dataclass

if TYPE_CHECKING:  # names of types only: nothing of these is loaded by results
    from ..service import ServiceFigures
    from .options import EqualService, ServiceRise


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
class WarmAsRun:
    """Where and when an option as run leaves rooms warmer than is allowed.

    ``zone`` worst for its limit · ``rise_degree_hours`` over the baseline as run, ``limit_degree_hours`` allowed,
    ``baseline_degree_hours`` of the baseline itself [degF.h] · ``at_start_frac`` share of the rise in the first hour
    after the unit starts · ``hours`` first and last hour of the day (standard time, the last one included) and
    ``months`` first and last month in which most of the rise falls.
    """

    zone: str
    rise_degree_hours: float
    limit_degree_hours: float
    baseline_degree_hours: float
    at_start_frac: float
    hours: tuple[int, int]
    months: tuple[int, int]


@dataclass(frozen=True, slots=True, kw_only=True)
class ChangedAsRun:
    """An option as run with a repair, an exclusion from the resets, or a remedy, beside the same without it
    (``as_run.changed``).

    ``candidate_id`` · ``kind`` repair, exclusion, or that of a remedy · ``zones`` that it is made at (empty: none) ·
    ``text`` in plain words · ``overrides`` path to value that make it · against the baseline as run the ``saving_usd``
    of the option as found and ``after_usd`` with it, of which ``alone_usd`` is what the change saves at the baseline's
    setpoints; ``after_at_rest_usd`` the same as ``after_usd`` with rooms at rest, None where that was not found
    [USD/yr] · ``serves`` whether it is then of equal service as run · ``reasons`` why not.
    """

    candidate_id: str
    kind: str
    zones: tuple[str, ...]
    text: str
    overrides: dict[str, object]
    saving_usd: float
    after_usd: float
    alone_usd: float
    after_at_rest_usd: float | None
    serves: bool
    reasons: tuple[str, ...]

    @property
    def value_usd(self) -> float:
        """What the option saves more by it."""
        return self.after_usd - self.saving_usd


@dataclass(frozen=True, slots=True, kw_only=True)
class AsRun:
    """A candidate at time steps, as controllers run it (package ``as_run``).

    ``annual`` figures by the keys of ``ANNUAL`` · ``with_room_heat`` the same at rest, with the heat that rooms
    released as run as a gain (``as_run.room_heat``) · ``saving`` of ``SAVING_KEYS`` against the baseline as run ·
    ``zones`` by name of ``as_run.steps.BY_ZONE``, (Z,) of one zone of each line · ``hourly`` by name of
    ``as_run.steps.HOURLY`` (H,), means of the time in which the unit ran · ``trace`` the same at the steps of the days
    of the year ``trace_days``, (D, steps) · ``service`` figures by which it is judged (``service.ServiceFigures``), and
    against the baseline as run its ``rise`` and whether it serves as well (``equal_service``) · ``warm_when``
    degree-hours too warm of one zone of each line by hour of the day (``by_hour`` (24, Z), standard time), by month
    (``by_month`` (12, Z)) and in the first hour after each start (``at_start`` (Z,)) · ``warm`` where and when rooms
    are left warmer than is allowed, None where they are not · ``sought`` of a cost-seeking option, else None.
    """

    annual: dict[str, float]
    service: ServiceFigures
    with_room_heat: dict[str, float]
    saving: dict[str, float]
    zones: dict[str, np.ndarray]
    hourly: dict[str, np.ndarray]
    trace: dict[str, np.ndarray]
    trace_days: tuple[int, ...]
    warm_when: dict[str, np.ndarray] = field(default_factory=dict)
    warm: WarmAsRun | None = None
    rise: ServiceRise | None = None
    equal_service: EqualService | None = None
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
