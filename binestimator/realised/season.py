"""The season of a log: what the sun and the time of year do at the same outdoor temperature.

Sixty degrees in March are not sixty degrees in September: the sun stands elsewhere, and the hour at which it is as
warm is
another. A log has no sun, but the project's model has, in every hour of the typical year: how far its hours of a
season lie
off what temperature and time of day explain over the whole year. By that the measured hours of a log are corrected.
Half of
the correction is taken as its standard uncertainty, since the model's windows are not the building's.
"""

from __future__ import annotations

from functools import cache

import numpy as np

from binestimator.dataclass import dataclass
from binestimator.realised.hours import Hours
from binestimator.realised.spread import sizes_of

#: Days over which the deviation of a season is averaged (standard deviation of a bell).
_BELL_DAYS = 25.0
_BELL_HOURS = 1.0
_STEADY_F2 = 300.0
_FAR_F = 20.0
#: Standard uncertainty of the correction, of itself. Assumption: the model knows the sun's part to a half.
SEASON_DOUBT = 0.5
_DAYS = 365


def day_of_year(day: np.ndarray) -> np.ndarray:
    """Place in a year of 365 days of days counted from 1 January 1970; 29 February counts as the 28th. (n,)"""
    date = day.astype("datetime64[D]")
    year = date.astype("datetime64[Y]")
    place = (date - year.astype("datetime64[D]")).astype(np.int64)
    number = year.astype(np.int64) + 1970
    leap = (number % 4 == 0) & ((number % 100 != 0) | (number % 400 == 0))
    return np.where(leap & (place >= 59), place - 1, place)


@dataclass(frozen=True, slots=True)
class Climate:
    """Temperatures of the typical year about each day and hour: what deviations of any model are related to.

    Parameters
    ----------
    place : ndarray (H,) of int
        Hour of the year of each running hour.
    apart_f : ndarray (H,)
        Outdoor temperature less its mean over the year.
    middle_f : float
    n, mean_f, square : ndarray (365, 24)
        Weight of hours, their mean of ``apart_f``, and the sum of its squares about that.
    """

    place: np.ndarray
    apart_f: np.ndarray
    middle_f: float
    n: np.ndarray
    mean_f: np.ndarray
    square: np.ndarray

    @classmethod
    def of(cls, year: Hours) -> Climate:
        """From the running hours of the typical year; their ``day`` counts from 0 on 1 January."""
        place, middle = (year.day % _DAYS) * 24 + year.hour, float(year.oat_f.mean())
        t = year.oat_f - middle
        n, st, stt = (_spread(place, v) for v in (np.ones(len(t)), t, t * t))
        with np.errstate(invalid="ignore", divide="ignore"):
            mean = st / n
            return cls(place, t, middle, n, mean, stt - n * mean**2)


def season_deviation(
    year: Hours, x: np.ndarray, modelled: np.ndarray, hours: Hours, climate: Climate | None = None
) -> np.ndarray:
    """Deviation of the model from what temperature and time of day explain, at season, hour and temperature of hours.

    Parameters
    ----------
    year : Hours
        Running hours of the typical year; their ``day`` counts from 0 on 1 January.
    x : ndarray (H, p)
        Terms of these hours.
    modelled : ndarray (H,)
    hours : Hours
        Of a log.
    climate : Climate, optional
        Of the year, where it is at hand.

    Returns
    -------
    ndarray (n,)
        Relative to what is explained.
    """
    explained, size, _ = sizes_of(x, modelled)
    off = (modelled - explained) / size
    c = Climate.of(year) if climate is None else climate
    so, sto = (_spread(c.place, v) for v in (off, c.apart_f * off))
    with np.errstate(invalid="ignore", divide="ignore"):
        mean_o = so / c.n
        # A slope that few or like temperatures tell is drawn to none.
        slope = (sto - c.n * c.mean_f * mean_o) / (c.square + _STEADY_F2 * 1.0)
    at = (day_of_year(hours.day), hours.hour)
    apart = np.clip(hours.oat_f - c.middle_f - c.mean_f[at], -_FAR_F, _FAR_F)
    found = mean_o[at] + slope[at] * apart
    return np.where(c.n[at] > 0.5, found, 0.0)


def _spread(place: np.ndarray, values: np.ndarray) -> np.ndarray:
    """Sums about each day and hour of the year. (365, 24)"""
    by_hour = np.bincount(place, values, _DAYS * 24).reshape(_DAYS, 24)
    return _bell(_DAYS, _BELL_DAYS) @ by_hour @ _bell(24, _BELL_HOURS)


@cache
def _bell(count: int, width: float) -> np.ndarray:
    apart = np.abs(np.arange(count)[:, None] - np.arange(count))
    return np.exp(-0.5 * (np.minimum(apart, count - apart) / width) ** 2)


def size_of(x: np.ndarray, y: np.ndarray) -> np.ndarray:
    """Size of what is measured, to which relative deviations are applied. (n,)"""
    return sizes_of(x, y)[1]
