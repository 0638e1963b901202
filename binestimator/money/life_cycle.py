"""Life-cycle measures of a candidate: net saving, savings-to-investment ratio, rates of return, discounted payback.

Definitions are those of NIST Handbook 135: constant prices of the base date, a real discount rate, everything of a
year at its end. Year 0 is the base date, at which the investment is made; it is not discounted and has no saving.
"""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from ..dataclass import dataclass
from ..end_uses import PRICED
from ..errors import InputError

#: Longest study period. [yr]
MOST_YEARS = 40
#: Word of a payback that does not come within the study period.
NEVER = "never"
NO_COST = "no cost"
_NO_RETURN = "no return: savings are worth nothing over the study period"
_NO_SIGN = "no rate: what is saved never returns any of the cost"
_SIGNS = "no single rate: cash flows change their sign more than once"
#: Search of the internal rate of return: discount factors of a year, and halvings between their logarithms.
_FACTORS, _HALVINGS = (1e-9, 1e3), 70
#: Source of energy -> its input of section ``life_cycle`` with the escalation of its price.
ESCALATION = {
    "electricity_usd_kwh": "electricity_escalation_frac",
    "fuel_usd_therm": "fuel_escalation_frac",
    "cooling_usd_kbtu": "purchased_escalation_frac",
    "heat_usd_kbtu": "purchased_escalation_frac",
}
#: The same by the annual amount that is priced.
ESCALATION_OF = {key: ESCALATION[price] for key, price, _ in PRICED}


def present_value_factor(discount_frac, year):
    """Single present value (SPV): what 1 USD at the end of a year is worth at the base date. [-]

    Parameters
    ----------
    discount_frac : float or ndarray
        Real discount rate, above -1. [1/yr]
    year : float or ndarray
        Years after the base date. [yr]

    References
    ----------
    NIST Handbook 135: 1 / (1 + d)^n.
    """
    return (1.0 + np.asarray(discount_frac, dtype=float)) ** (-np.asarray(year, dtype=float))


def uniform_present_value_factor(discount_frac, years: int, escalation_frac=0.0):
    """Uniform present value, modified for escalation (UPV*): present value of 1 USD a year at prices of the base date.

    Parameters
    ----------
    discount_frac, escalation_frac : float or ndarray
        Real discount rate and real yearly rise of the price. [1/yr]
    years : int
        Study period. [yr]

    Notes
    -----
    sum over t = 1..N of ((1 + e) / (1 + d))^t; without escalation ((1 + d)^N - 1) / (d (1 + d)^N), and N without
    discounting. The price rises from the first year on.

    References
    ----------
    NIST Handbook 135, UPV and UPV*.
    """
    ratio = (1.0 + np.asarray(escalation_frac, dtype=float)) / (1.0 + np.asarray(discount_frac, dtype=float))
    return sum(ratio**t for t in range(1, years + 1))


def life_cycle_cost_usd(investment_usd, annual_by_source_usd: Mapping, discount_frac, years: int, factors: Mapping):
    """Life-cycle cost: investment and the present value of what is paid every year. [USD]

    Parameters
    ----------
    investment_usd : float or ndarray
    annual_by_source_usd : mapping
        Source of energy -> cost of a year at prices of the base date. [USD/yr]
    discount_frac : float
        Real discount rate, for sources without a factor of their own. [1/yr]
    years : int
    factors : mapping
        Source -> UPV* that is given for it, as in published tables; may be empty.
    """
    own = lambda source: factors.get(source, None)
    return investment_usd + sum(
        amount * (uniform_present_value_factor(discount_frac, years) if own(source) is None else own(source))
        for source, amount in annual_by_source_usd.items()
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class LifeCycle:
    """What a candidate is worth over its study period, against the baseline.

    Parameters
    ----------
    flows_usd : ndarray (N + 1, ...)
        Cash flow of each year, the first one of year 0: minus the outlay, then savings less maintenance. [USD]
    outlay_usd : float or ndarray
        Cost less incentive, not below 0. [USD]
    saved_present_usd : float or ndarray
        Present value of savings less maintenance. [USD]
    npv_usd : float or ndarray
        Net present value, in the handbook's words net savings. [USD]
    sir, airr, irr : float or ndarray
        Savings-to-investment ratio [-]; adjusted internal rate of return, savings reinvested at the discount rate, and
        internal rate of return [1/yr]; NaN where there is none.
    discounted_payback_years : float or ndarray
        First year by whose end discounted savings have returned the outlay; NaN where they never do. [yr]
    """

    flows_usd: np.ndarray
    outlay_usd: np.ndarray
    saved_present_usd: np.ndarray
    npv_usd: np.ndarray
    sir: np.ndarray
    airr: np.ndarray
    irr: np.ndarray
    discounted_payback_years: np.ndarray

    def notes(self) -> dict[str, str]:
        """Why a measure of one candidate is missing, in plain words, by its key; of those that are missing alone."""
        out = {}
        if np.isnan(self.sir):
            out["sir"] = NO_COST
        if np.isnan(self.airr):
            out["airr"] = NO_COST if np.isnan(self.sir) else _NO_RETURN
        if np.isnan(self.irr):
            signs = _sign_changes(self.flows_usd)
            out["irr"] = NO_COST if np.isnan(self.sir) else _SIGNS if signs > 1 else _NO_SIGN
        if np.isnan(self.discounted_payback_years):
            out["discounted_payback_years"] = NEVER
        return out


def yearly_savings_usd(saving_by_source_usd: Mapping, terms) -> np.ndarray:
    """Energy-cost saving of each year of the study period. (N, ...) [USD]

    Parameters
    ----------
    saving_by_source_usd : mapping
        Key of ``end_uses.PRICED`` -> saving of the first year at today's prices, any sign; arrays of draws allowed.
        [USD/yr]
    terms : record of section ``life_cycle``

    Notes
    -----
    In year t: saving x (1 + e)^t x (1 - f)^(t - 1): the price rises from the base date on, the saving fades from the
    second year on.
    """
    year = np.arange(1, terms.years + 1)
    kept = (1.0 - terms.saving_fade_frac) ** (year - 1.0)
    out = None
    for source, saving in saving_by_source_usd.items():
        rise = (1.0 + getattr(terms, ESCALATION_OF[source])) ** year
        amount = np.asarray(saving, dtype=float)
        one = (rise * kept).reshape(-1, *[1] * amount.ndim) * amount
        out = one if out is None else out + one
    return np.zeros(terms.years) if out is None else out


def life_cycle(
    cost_usd, incentive_usd, saving_by_source_usd: Mapping, maintenance_usd, terms, *, internal: bool = True
) -> LifeCycle:
    """Life-cycle measures of what a candidate saves and costs more than the baseline.

    Parameters
    ----------
    cost_usd, incentive_usd : float or ndarray
        Paid and received at the base date, 0 or more. [USD]
    saving_by_source_usd : mapping
        As for :func:`yearly_savings_usd`. [USD/yr]
    maintenance_usd : float or ndarray
        More maintenance than in the baseline, every year. [USD/yr]
    terms : record of section ``life_cycle``
        ``years`` (1 to 40), ``discount_frac``, escalations and ``saving_fade_frac``. Arrays in place of numbers are
        allowed where amounts have the same shape.
    internal : bool
        Find the internal rate of return; it takes most of the time where amounts are draws. Without, it is NaN.

    Returns
    -------
    LifeCycle

    Raises
    ------
    InputError
        An amount that is not finite, or a negative cost or incentive.

    Notes
    -----
    SIR and AIRR are those of the outlay after the incentive, and have no value without an outlay. AIRR =
    (1 + d) SIR^(1/N) - 1. IRR is given where cash flows change their sign once, from minus to plus: then there is one
    rate alone. An incentive above the cost is not counted further, as in simple payback.

    References
    ----------
    NIST Handbook 135, sections on net savings, SIR, AIRR and discounted payback.
    """
    for name, value in (("cost_usd", cost_usd), ("incentive_usd", incentive_usd), ("maintenance_usd", maintenance_usd)):
        amount = np.asarray(value, dtype=float)
        if not np.isfinite(amount).all() or (name != "maintenance_usd" and (amount < 0.0).any()):
            allowed = "any finite number" if name == "maintenance_usd" else "0 or more"
            raise InputError(
                f"{name}: cannot be used for a life-cycle measure; got {value}; allowed is {allowed}; check the value "
                "in the project file or the energy it comes from"
            )
    saved = yearly_savings_usd(saving_by_source_usd, terms) - np.asarray(maintenance_usd, dtype=float)
    if not np.isfinite(saved).all():
        raise InputError("saving: not a finite number; check prices and energies")
    outlay = np.maximum(np.asarray(cost_usd, dtype=float) - np.asarray(incentive_usd, dtype=float), 0.0)
    year = np.arange(1, terms.years + 1).reshape(-1, *[1] * (saved.ndim - 1))
    present = saved * present_value_factor(terms.discount_frac, year)
    outlay = np.broadcast_to(outlay, saved.shape[1:])
    worth = present.sum(axis=0)
    with np.errstate(divide="ignore", invalid="ignore"):
        sir = np.where(outlay > 0.0, worth / np.where(outlay > 0.0, outlay, 1.0), np.nan)
        airr = (1.0 + terms.discount_frac) * np.where(sir > 0.0, sir, np.nan) ** (1.0 / terms.years) - 1.0
    returned = np.concatenate([np.zeros((1, *outlay.shape)), np.cumsum(present, axis=0)]) >= outlay
    pays = returned.any(axis=0) & (worth > 0.0)
    flows = np.concatenate([-outlay[None], saved])
    return LifeCycle(
        flows_usd=flows,
        outlay_usd=outlay,
        saved_present_usd=worth,
        npv_usd=worth - outlay,
        sir=sir,
        airr=airr,
        irr=internal_rate(flows) if internal else np.full(flows.shape[1:], np.nan),
        discounted_payback_years=np.where(pays, np.argmax(returned, axis=0), np.nan),
    )


def _sign_changes(flows):
    """How often cash flows change their sign from year to year, years without any left out. (...,)"""
    signs = np.sign(flows)
    changes = np.zeros(flows.shape[1:], dtype=int)
    last = np.zeros(flows.shape[1:])
    for sign in signs:
        changes += (sign != 0.0) & (last != 0.0) & (sign != last)
        last = np.where(sign != 0.0, sign, last)
    return changes


def internal_rate(flows_usd):
    """Internal rate of return: the discount rate at which cash flows are worth nothing. (...,) [1/yr]

    Parameters
    ----------
    flows_usd : array-like (N + 1, ...)
        Of years 0 to N. [USD]

    Returns
    -------
    ndarray
        NaN where the first flow is not negative or flows do not change their sign exactly once: there is no rate, or
        more than one.

    Notes
    -----
    With one change of sign the sum of flows x v^t has one root in the discount factor v > 0 (rule of signs), which is
    found by halving between logarithms of v; rates below -99.9 % are not looked for.
    """
    flows = np.asarray(flows_usd, dtype=float)
    single = (_sign_changes(flows) == 1) & (flows[0] < 0.0)
    low, high = (np.full(flows.shape[1:], np.log(v)) for v in _FACTORS)

    def worth(log_v):
        v, total = np.exp(log_v), np.zeros(log_v.shape)
        for flow in flows[::-1]:
            total = total * v + flow
        return total

    with np.errstate(over="ignore"):
        single = single & (worth(high) > 0.0)
        for _ in range(_HALVINGS):
            middle = 0.5 * (low + high)
            above = worth(middle) > 0.0
            low, high = np.where(above, low, middle), np.where(above, middle, high)
    return np.where(single, np.exp(-0.5 * (low + high)) - 1.0, np.nan)
