"""Points of all draws: those of the model, and others nested in each."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from ..dataclass import dataclass
from .distributions import joined
from .draw import Factors, factors_of
from .lines import Drawn
from .money import Nested
from .sobol import sobol
from .years import Years

#: Draws of prices, plant efficiencies, cost and realisation nested in each.
NESTED_DRAWS = 16
# Offset of the seeds of nested draws.
_NESTED_SEED = 1_000_003


@dataclass(frozen=True, slots=True, kw_only=True)
class DrawnPoints:
    """Shares and factors of all draws: of the model (D,), and nested in them (D, K); place of the weather year (D,)."""

    drawn: tuple[Drawn, ...]
    shares: dict[str, np.ndarray]
    factors: Factors
    nested: Nested
    year: np.ndarray


def points_of(drawn: tuple[Drawn, ...], count: int, seed: int, years: Years) -> DrawnPoints:
    """Points of all draws: those of the model first, then nested ones with scrambles of their own."""
    outer = [one for one in drawn if not one.nested]
    inner = [one for one in drawn if one.nested]
    groups = lambda lines: sorted({one.line.together for one in lines if one.line.together})
    first = len(outer) + len(groups(outer))
    shares = _shares(outer, groups(outer), sobol(count, range(first), seed))
    last = first + len(inner) + len(groups(inner))
    each = [
        _shares(inner, groups(inner), sobol(count, range(first, last), seed + _NESTED_SEED * (k + 1)))
        for k in range(NESTED_DRAWS)
    ]
    # The year has points of its own after all others, which stay as they are without it.
    year = np.zeros(count, dtype=int)
    if years.several:
        year = years.drawn(sobol(count, range(last, last + 1), seed)[:, 0])
    nested = {one.key: np.stack([shares_[one.key] for shares_ in each], axis=1) for one in inner}
    return DrawnPoints(
        drawn=drawn,
        shares=shares,
        factors=factors_of(tuple(outer), shares),
        nested=_nested(tuple(inner), nested, (count, NESTED_DRAWS)),
        year=year,
    )


def _shares(lines, groups, points: np.ndarray) -> dict[str, np.ndarray]:
    """Shares by key from points; those of a group are correlated where it has more than one line."""
    common = {name: points[:, len(lines) + k] for k, name in enumerate(groups)}
    size = {name: sum(one.line.together == name for one in lines) for name in groups}
    return {
        one.key: joined(points[:, k], common[one.line.together], one.line.correlation)
        if size.get(one.line.together, 0) > 1
        else points[:, k]
        for k, one in enumerate(lines)
    }


def _nested(inner: tuple[Drawn, ...], shares: Mapping[str, np.ndarray], shape) -> Nested:
    return Nested(drawn=inner, factors=factors_of(inner, shares), shares=shares, shape=shape)


def nested_at_base(points: DrawnPoints) -> Nested:
    """What is nested, at its base values, in one draw. Shares are those at which a build-up is as expected."""
    inner = points.nested.drawn
    factors = {one.key: {basis: np.full((1, 1), one.line.base) for basis in one.distributions} for one in inner}
    return Nested(drawn=inner, factors=factors, shares={}, shape=(1, 1))
