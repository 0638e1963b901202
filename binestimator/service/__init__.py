"""Equal service: what a candidate takes from the rooms, by the baseline's standard.

Everything is measured by depth (degree-hours, cfm-hours) in the hour-by-hour run, against the baseline's setpoints,
required outdoor air and humidity limit, and judged as a rise over the baseline: what the baseline lacks already is not
held against a candidate. The baseline itself is judged first, by limits of its own.

Room temperatures are steady in the hour. Rooms have mass, so that short peaks are rounded off: degree-hours are an
upper bound of the warmth (and the cold) of real rooms.

``depths`` what is measured · ``judged`` a candidate against the baseline · ``baseline`` the baseline by itself.
"""

from .baseline import FAILURES, failing, judge_baseline, shortfalls
from .depths import (
    COIL_KEYS,
    ZONE_DEPTHS,
    ServiceFigures,
    Yardstick,
    degrees_beyond,
    service_figures,
    unit_depths,
    zone_depths,
)
from .judged import RULES, judge, rises, rule_texts

__all__ = [
    "COIL_KEYS",
    "FAILURES",
    "RULES",
    "ServiceFigures",
    "Yardstick",
    "ZONE_DEPTHS",
    "degrees_beyond",
    "failing",
    "judge",
    "judge_baseline",
    "rises",
    "rule_texts",
    "service_figures",
    "shortfalls",
    "unit_depths",
    "zone_depths",
]
