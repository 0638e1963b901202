"""Emissions of energy by factors: mass of CO2 equivalent of what is used or saved."""

from __future__ import annotations

from ..end_uses import PRICED

#: Annual amount that is priced -> its factor, an input of section ``emissions``.
FACTORS = {
    "electricity_kwh": "electricity_kg_kwh",
    "fuel_therm": "fuel_kg_therm",
    "purchased_cooling_kbtu": "cooling_kg_kbtu",
    "purchased_heating_kbtu": "heat_kg_kbtu",
}


def emissions_kg(amounts, factors):
    """Emissions of energies. [kg]

    Parameters
    ----------
    amounts : mapping of str to float or ndarray
        Annual figures of ``end_uses.PRICED``, or differences of them.
    factors : record of section ``emissions``

    Returns
    -------
    float, ndarray or None
        None where energy is used whose factor is not given. Signs are kept.
    """
    total = 0.0
    for key, _, _ in PRICED:
        factor = getattr(factors, FACTORS[key])
        if factor is None:
            if abs(amounts[key]) > 0.0:
                return None
            continue
        total = total + amounts[key] * factor
    return total
