"""Cost of energy at flat prices.

A price is one number per source of energy: no demand charge, no tiers, no time of use.
What depends on the hour belongs beside this in a module of its own, with the same four
amounts as arrays of rows; the amounts here may be arrays already.
"""

from __future__ import annotations


def annual_cost_by_source_usd(electricity_kwh, fuel_therm, purchased_cooling_kbtu, purchased_heating_kbtu, prices):
    """Cost of energy by source at flat prices.

    Parameters
    ----------
    electricity_kwh : float or ndarray
        All electricity [kWh].
    fuel_therm : float or ndarray
        All fuel [therm].
    purchased_cooling_kbtu, purchased_heating_kbtu : float or ndarray
        Purchased cooling and heat at the meter [kBtu].
    prices : record of section prices
        ``electricity_usd_kwh``, ``fuel_usd_therm``, ``cooling_usd_kbtu``, ``heat_usd_kbtu``.

    Returns
    -------
    dict of str to float or ndarray
        ``electricity``, ``fuel``, ``purchased_cooling``, ``purchased_heating`` [USD]. Signs
        are kept: a negative amount (a difference) has a negative cost.
    """
    return {
        "electricity": electricity_kwh * prices.electricity_usd_kwh,
        "fuel": fuel_therm * prices.fuel_usd_therm,
        "purchased_cooling": purchased_cooling_kbtu * prices.cooling_usd_kbtu,
        "purchased_heating": purchased_heating_kbtu * prices.heat_usd_kbtu,
    }


def annual_cost_usd(electricity_kwh, fuel_therm, purchased_cooling_kbtu, purchased_heating_kbtu, prices):
    """Cost of all energy at flat prices [USD].

    Parameters are those of :func:`annual_cost_by_source_usd`, whose parts it sums. Linear
    in every amount: the cost of a saving is the saving of cost.

    Examples
    --------
    1000 kWh at 0.10 USD/kWh and 100 therm at 1 USD/therm cost 200 USD.
    """
    return sum(
        annual_cost_by_source_usd(
            electricity_kwh, fuel_therm, purchased_cooling_kbtu, purchased_heating_kbtu, prices
        ).values()
    )
