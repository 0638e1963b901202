"""Simple payback of a candidate before and after its incentive."""

from __future__ import annotations

import numpy as np

from binestimator.dataclass import dataclass
from binestimator.errors import InputError


@dataclass(frozen=True, slots=True, kw_only=True)
class Payback:
    """Years in which the saving of energy cost returns what was spent.

    Parameters
    ----------
    before_years, after_years : float or None
        Simple payback before and after the incentive [yr]; None when there is none.
    before_reason, after_reason : str
        Why a payback is None or 0, in plain words; empty otherwise.
    """

    before_years: float | None
    after_years: float | None
    before_reason: str
    after_reason: str


def simple_payback_years(cost_usd, incentive_usd, saving_usd):
    """Simple payback before and after the incentive.

    Parameters
    ----------
    cost_usd : float
        Implementation cost [USD], 0 or more.
    incentive_usd : float
        Incentive paid once [USD], 0 or more.
    saving_usd : float
        Annual saving of energy cost against the baseline [USD/yr], any sign.

    Returns
    -------
    Payback

    Raises
    ------
    InputError
        A negative cost or incentive, or any value that is not a finite number.

    Notes
    -----
    cost / saving and (cost - incentive) / saving, not discounted. No payback when the
    saving is 0 or less, whatever the cost: such a candidate loses money every year, or
    nothing happens. With a saving, no cost pays back at once (0 years), and so does a cost
    that the incentive covers; an incentive above the cost is not counted further.

    Examples
    --------
    >>> payback = simple_payback_years(6000.0, 1500.0, 3000.0)
    >>> payback.before_years, payback.after_years
    (2.0, 1.5)
    """
    # inputs are checked where they are read; a NaN here would pass on as a payback
    for name, value, least in (
        ("cost_usd", cost_usd, 0.0),
        ("incentive_usd", incentive_usd, 0.0),
        ("saving_usd", saving_usd, None),
    ):
        finite = value == value and abs(value) != float("inf")
        if not finite or (least is not None and value < least):
            allowed = "any finite number" if least is None else "0 or more"
            raise InputError(
                f"{name}: cannot be used for a payback; got {value}; allowed is {allowed}; "
                "check the value in the project file or the energy it comes from"
            )
    before_years, before_reason = _years(cost_usd, saving_usd, "no cost is given")
    covered = "the incentive covers the cost" if cost_usd > 0.0 else "no cost is given"
    after_years, after_reason = _years(max(cost_usd - incentive_usd, 0.0), saving_usd, covered)
    return Payback(
        before_years=before_years,
        after_years=after_years,
        before_reason=before_reason,
        after_reason=after_reason,
    )


def payback_years(outlay_usd, saving_usd):
    """Simple payback of arrays of draws. (...) [yr]

    Parameters
    ----------
    outlay_usd, saving_usd : array
        What is spent, 0 or more [USD], and the annual saving, any sign [USD/yr].

    Returns
    -------
    ndarray
        As :func:`simple_payback_years` gives one by one; infinite where there is no payback, so that percentiles
        rank it last.
    """
    outlay, saving = np.broadcast_arrays(np.asarray(outlay_usd, dtype=float), np.asarray(saving_usd, dtype=float))
    pays = saving > 0.0
    with np.errstate(over="ignore"):
        return np.where(pays, outlay / np.where(pays, saving, 1.0), np.inf)


def _years(outlay_usd, saving_usd, reason_at_no_outlay):
    if saving_usd < 0.0:
        return None, "no payback: energy cost rises"
    if saving_usd == 0.0:
        return None, "no payback: no saving"
    if outlay_usd == 0.0:
        return 0.0, reason_at_no_outlay
    years = outlay_usd / saving_usd
    if years == float("inf"):
        return None, "no payback: no saving"
    return years, ""
