"""Columns of the comparison on the first page, and fields beside one another on both."""

from __future__ import annotations

from ...charts import FULL_SIZE_PIXELS, pixels_of
from ...figures import (
    use_step,
    used_end_uses,
)
from ...page import Work
from ...strict import CHARACTER_PIXELS, PADDING_PIXELS

_RANK_WIDTH, _OTHER_WIDTH = 10.5, 9.0
#: Most columns of the table, rank and name among them.
MOST_COLUMNS = 10
# Columns that give way, in this order, where a project uses many kinds of energy.
_GIVES_WAY = ("saving_frac", "cost_usd", "implementation", "saving_usd")
# Columns of ranges, which are values of the run.
RANGE, BEST = "saving_range", "probability_best"
_RANGE_WIDTH = 12.5
# End uses that make one column, since a reader of the first page asks what cools and what heats: label, keys.
_USE_COLUMNS = (
    ("Fans", ("fan_kwh",)),
    ("Cooling", ("cooling_kwh", "pump_tower_kwh")),
    ("Purchased cooling", ("purchased_cooling_kbtu",)),
    ("Electric heat", ("heating_kwh",)),
    ("Fuel", ("fuel_therm",)),
    ("Purchased heat", ("purchased_heating_kbtu",)),
)


def columns_of(results) -> list[tuple[str, str, str, str]]:
    """Columns of the comparison after rank and name: key, label, unit, part. The key of a column that sums end uses
    joins theirs with a plus sign."""
    used = {key: (label, unit) for key, label, unit in used_end_uses(results)}
    changes = []
    for label, keys in _USE_COLUMNS:
        here = [key for key in keys if key in used]
        if here:
            name = label if len(here) == len(keys) else used[here[0]][0]
            changes.append(("+".join(here), name, used[here[0]][1], "change"))
    after = any(c.candidate.incentive_usd > 0.0 for c in results.candidates)
    paid = ("payback_after", "Pays back", "years, net", "once") if after else ("payback", "Pays back", "years", "once")
    if results.ranges is not None:
        others = [
            ("saving_usd", "Saving", "as estimated", "money"),
            (RANGE, "8 of 10 draws", "within", "money"),
            (BEST, "Best in", "% of draws", "money"),
            ("implementation", "Cost", "once", "once"),
            paid,
        ]
    else:
        others = _without_ranges(paid)
    for key in _GIVES_WAY:
        if 2 + len(changes) + len(others) > MOST_COLUMNS:
            others = [column for column in others if column[0] != key]
    return [*changes, *others]


def _without_ranges(paid: tuple[str, str, str, str]) -> list[tuple[str, str, str, str]]:
    """Columns of money where no draws were made."""
    return [
        ("cost_usd", "Energy cost", "a year", "money"),
        ("saving_usd", "Saving", "a year", "money"),
        ("saving_frac", "Saving", "of cost", "money"),
        ("implementation", "Cost", "once", "once"),
        paid,
    ]


def change_of(results, annual, key: str) -> float:
    """Change against the baseline of a column of end uses."""
    return sum(annual[part] - results.baseline.annual[part] for part in key.split("+"))


def step_of(results, key: str) -> float:
    """Rounding of a column of end uses: the coarsest of its parts'."""
    return max(use_step(results, part) for part in key.split("+"))


def widths_of(work: Work) -> list[float]:
    """Widths of the columns of the page, which fill it at full size. [characters]"""
    others = [_RANGE_WIDTH if key == RANGE else _OTHER_WIDTH for key, *_ in columns_of(work.results)]
    left = FULL_SIZE_PIXELS - sum(pixels_of(w) for w in (_RANK_WIDTH, *others))
    return [_RANK_WIDTH, (left - PADDING_PIXELS) / CHARACTER_PIXELS, *others]


def spans(widths: list[float], count: int) -> list[tuple[int, int]]:
    """First and last column of ``count`` neighbouring fields: rank and name, and about equal parts of the rest."""
    found, first = [(0, 1)], 2
    for left in range(count - 1, 0, -1):
        last = first
        target = sum(widths[first:]) / left
        while len(widths) - 1 - last > left - 1 and (
            left == 1 or sum(widths[first : last + 1]) + widths[last + 1] / 2 < target
        ):
            last += 1
        found.append((first, last))
        first = last + 1
    return found
