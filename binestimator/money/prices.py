"""Cost of energy at flat prices.

A price is one number per source of energy: no demand charge, no tiers, no time of use.
What depends on the hour belongs beside this in a module of its own, with the same
amounts as arrays of rows; the amounts here may be arrays already.
"""

from __future__ import annotations

from ..end_uses import PRICED


def annual_cost_by_source_usd(amounts, prices):
    """Cost of energy by source at flat prices.

    Parameters
    ----------
    amounts : mapping of str to float or ndarray
        Annual figures of ``end_uses.PRICED``: ``electricity_kwh`` and every end use with a price of its own.
    prices : record of section prices

    Returns
    -------
    dict of str to float or ndarray
        By the same keys. [USD] Signs are kept: a negative amount (a difference) has a negative cost.
    """
    return {key: amounts[key] * getattr(prices, price) for key, price, _ in PRICED}


def annual_cost_usd(amounts, prices):
    """Cost of all energy at flat prices [USD].

    Parameters are those of :func:`annual_cost_by_source_usd`, whose parts it sums. Linear
    in every amount: the cost of a saving is the saving of cost.

    Examples
    --------
    1000 kWh at 0.10 USD/kWh and 100 therm at 1 USD/therm cost 200 USD.
    """
    return sum(annual_cost_by_source_usd(amounts, prices).values())
