"""What the figures of an option are made of: rows, setpoints, states, how rows were chosen."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import field
from typing import TYPE_CHECKING

import numpy as np

from ..dataclass import dataclass

if TYPE_CHECKING:  # names of types only: nothing of these is loaded by results
    from ..estimate.rows import Part, Rows
    from ..inputs.project import Project
    from ..model.night import NightBlock
    from ..model.unit import Sizes, Unit


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
    that they do not pull [degF] · ``hourly`` energy of each hour of the year by key of ``end_uses.PRICED``, and
    ``cooling_kwh`` of it (8760,).
    """

    project: Project
    unit: Unit
    rows: Rows
    parts: tuple[Part, ...]
    night: dict[str, float]
    site: str
    pulled_f: np.ndarray | None = None
    hourly: dict[str, np.ndarray] = field(default_factory=dict, repr=False)


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
