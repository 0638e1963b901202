"""Climate zone of a typical year, by which some defaults go.

Only an estimate of the zone: tables of counties go before it, and rain, by which the standard tells
dry from moist, is not in a weather file.
"""

from __future__ import annotations

import numpy as np

#: Thermal zones by degree-days in degF.days: (zone, ``cooling`` above 50 degF or ``heating`` below 65 degF, more than);
#: the first that fits. ASHRAE 169 (limits of zones 1, 4 and 7 as quoted by a public text, the
#: others from memory).
THERMAL_ZONES = (
    ("0", "cooling", 10800.0),
    ("1", "cooling", 9000.0),
    ("2", "cooling", 6300.0),
    ("8", "heating", 12600.0),
    ("7", "heating", 9000.0),
    ("6", "heating", 7200.0),
    ("5", "heating", 5400.0),
    ("4", "heating", 3600.0),
    ("3", "heating", -1.0),
)
#: Marine (C): means of the coldest and warmest month, and months warmer than 50 degF. ASHRAE 169 (from memory), there
#: with a dry summer besides. [degF]
MARINE_COLDEST_F, MARINE_WARMEST_F, MARINE_MONTH_F, MARINE_MONTHS = (27.0, 65.0), 72.0, 50.0, 4
#: Dry (B): mean dew point of hours warmer than this lies below that. This program's own, since what matters to an
#: economizer is the moisture of warm air: 57 degF is a room of 75 degF at 53 % relative humidity. [degF]
WARM_HOUR_F, DRY_DEWPOINT_F = 70.0, 57.0


def degree_days(oat_f: np.ndarray) -> tuple[float, float]:
    """Heating degree-days below 65 degF and cooling degree-days above 50 degF, from daily means.

    Parameters
    ----------
    oat_f : ndarray (8760,)
        Hourly dry bulb of a year. [degF]

    Returns
    -------
    float, float
        [degF.days]
    """
    daily = np.asarray(oat_f, dtype=float).reshape(-1, 24).mean(axis=1)
    return float(np.maximum(65.0 - daily, 0.0).sum()), float(np.maximum(daily - 50.0, 0.0).sum())


def climate_zone(oat_f: np.ndarray, dewpoint_f: np.ndarray, month: np.ndarray) -> str:
    """Climate zone of 90.1 of a typical year, such as ``4A``.

    Parameters
    ----------
    oat_f, dewpoint_f : ndarray (8760,)
        Hourly outdoor dry bulb and dew point. [degF]
    month : ndarray (8760,)
        1 to 12.

    Returns
    -------
    str
        Thermal zone 0 to 8, then in zones 0 to 6 A (moist), B (dry) or C (marine, zones 3 to 5).

    References
    ----------
    ASHRAE 169, see the constants of this module for what of it is from memory and what is this program's own.
    """
    oat, dewpoint, month = (np.asarray(values) for values in (oat_f, dewpoint_f, month))
    days = dict(zip(("heating", "cooling"), degree_days(oat), strict=True))
    zone = next(zone for zone, season, least in THERMAL_ZONES if days[season] > least)
    if zone in ("7", "8"):
        return zone
    monthly = np.array([oat[month == m].mean() for m in range(1, 13)])
    marine = (
        MARINE_COLDEST_F[0] < monthly.min() < MARINE_COLDEST_F[1]
        and monthly.max() < MARINE_WARMEST_F
        and np.count_nonzero(monthly > MARINE_MONTH_F) >= MARINE_MONTHS
    )
    warm = oat > WARM_HOUR_F
    dry = bool(warm.any()) and float(dewpoint[warm].mean()) < DRY_DEWPOINT_F
    if marine and zone in ("3", "4", "5"):
        return zone + "C"
    return zone + ("B" if dry else "A")


def climate_of(weather) -> str:
    """Climate zone of a :class:`~binestimator.weather.Weather`."""
    frame = weather.frame
    return climate_zone(frame["oat_f"].to_numpy(), frame["dewpoint_f"].to_numpy(), frame["month"].to_numpy())
