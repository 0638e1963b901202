"""Results of an estimate: what comes out, with names and units, and its plain-data form.

Signs: a saving is the baseline minus the candidate, so that a positive number is saved and a
negative one is spent more. Nothing is clipped to look better.

``annual`` the figures of a year · ``options`` an option over the year, its service and its place · ``runs`` what its
figures are made of · ``steps`` the same at time steps · ``whole`` all of a run and of a reviewer's second one ·
``plain`` as the results file holds it.
"""

from .annual import ANNUAL, ANNUAL_KEYS, COUNT_KEYS, SAVING_KEYS
from .options import (
    CHANGED_SERVICE,
    BaselineService,
    CandidateResult,
    Check,
    EqualService,
    Interaction,
    ServiceRise,
)
from .plain import plain, to_plain
from .runs import CandidateRun, Held, RowChoice, overrides_key
from .steps import AsRun, ChangedAsRun, Indicator, Sought, SoughtCase, WarmAsRun
from .whole import AS_RUN, BINS, Advice, Results, Review, ReviewLine

__all__ = [
    "ANNUAL",
    "ANNUAL_KEYS",
    "AS_RUN",
    "Advice",
    "AsRun",
    "BINS",
    "BaselineService",
    "CHANGED_SERVICE",
    "COUNT_KEYS",
    "CandidateResult",
    "CandidateRun",
    "ChangedAsRun",
    "Check",
    "EqualService",
    "Held",
    "Indicator",
    "Interaction",
    "Results",
    "Review",
    "ReviewLine",
    "RowChoice",
    "SAVING_KEYS",
    "ServiceRise",
    "Sought",
    "SoughtCase",
    "WarmAsRun",
    "overrides_key",
    "plain",
    "to_plain",
]
