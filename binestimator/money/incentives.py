"""Incentives by the rules of a programme: what is earned, what limits it, and which limit binds."""

from __future__ import annotations

import numpy as np

from ..dataclass import dataclass

#: What an amount comes from: which rule binds. In the order in which rules that give the same amount are named.
RATES, SHARE, CAP, BUY_DOWN, FLOOR, CEILING, NOTHING, NO_COST = range(8)
BOUND_BY = (
    "rates for what is saved",
    "share of the cost",
    "cap",
    "buy-down of the payback",
    "payback floor: it pays back too soon",
    "payback ceiling: it pays back too late",
    "nothing saved that is paid for",
    "no cost",
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Paid:
    """An incentive. ``usd`` amount [USD] · ``bound`` place in ``BOUND_BY`` of the rule that it comes from; arrays
    where amounts were."""

    usd: np.ndarray
    bound: np.ndarray

    @property
    def bound_by(self) -> str:
        """Of one amount, the binding rule in words."""
        return BOUND_BY[int(self.bound)]


def incentive(rule, kwh, kw, therm, cost_usd, saving_usd) -> Paid:
    """What a programme pays for a candidate.

    Parameters
    ----------
    rule : record of section ``incentive``
    kwh, kw, therm : float or ndarray
        Saved in the first year, and in the peak window; any sign: what is spent more counts against the rest.
    cost_usd : float or ndarray
        Cost of the measure. [USD]
    saving_usd : float or ndarray
        Saving of energy cost, for the simple payback before the incentive. [USD/yr]

    Returns
    -------
    Paid

    Notes
    -----
    The least of what the rates give, the share of the cost, the cap, and what brings the simple payback down to
    ``buy_down_years``; nothing where the simple payback before it is outside the floor and the ceiling.
    """
    shape = np.broadcast_shapes(*(np.shape(v) for v in (kwh, kw, therm, cost_usd, saving_usd)))
    wide = lambda value: np.broadcast_to(np.asarray(value, dtype=float), shape)
    cost, saving = wide(cost_usd), wide(saving_usd)
    earned = wide(rule.usd_kwh * np.asarray(kwh) + rule.usd_kw * np.asarray(kw) + rule.usd_therm * np.asarray(therm))
    bounds = np.stack(
        [
            earned,
            rule.cost_share_frac * cost,
            wide(np.inf if rule.cap_usd is None else rule.cap_usd),
            cost - rule.buy_down_years * np.maximum(saving, 0.0) if rule.buy_down_years else cost,
        ]
    )
    bound = np.argmin(bounds, axis=0)
    # A share of all the cost and a buy-down to nothing are no limits of their own but the cost itself.
    bound = np.where((bound == BUY_DOWN) & (not rule.buy_down_years), SHARE, bound)
    usd = np.maximum(bounds.min(axis=0), 0.0)
    with np.errstate(divide="ignore", invalid="ignore"):
        payback = np.where(saving > 0.0, cost / np.where(saving > 0.0, saving, 1.0), np.inf)
    soon = payback < rule.shortest_payback_years
    late = payback > (np.inf if rule.longest_payback_years is None else rule.longest_payback_years)
    bound = np.select([cost <= 0.0, earned <= 0.0, soon, late], [NO_COST, NOTHING, FLOOR, CEILING], bound)
    return Paid(usd=np.where(bound >= FLOOR, 0.0, usd), bound=bound)
