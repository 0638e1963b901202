"""Sun on the facades, through glass whose solar heat gain coefficient and shading factor are 1."""

from __future__ import annotations

from functools import lru_cache

import numpy as np

from binestimator.units import BTUH_FT2_PER_WM2, FOOT_M, PSI_PA
from binestimator.weather.parsing import HOURS_IN_YEAR
from binestimator.weather.pvlib_parts import pvlib_part
from binestimator.weather.year import Weather

FACADE_AZIMUTH_DEG = (0.0, 90.0, 180.0, 270.0)
"""Azimuth of the N, E, S and W facades before rotation [deg clockwise from north]."""


GROUND_REFLECTANCE = 0.2
"""Solar reflectance of the ground in front of the facades (assumption: the usual 0.2)."""


GLASS_INCIDENCE_B0 = 0.17
"""Coefficient of the incidence modifier 1 - b0 (1 / cos(incidence) - 1) of glass.

Assumption: fits the heat gain coefficients of uncoated double glazing by angle as recalled
from the ASHRAE Handbook, Fundamentals (0.96 at 40, 0.83 at 60, 0.64 at 70 degrees and 0.86
for diffuse light, relative to normal incidence; from memory).
"""


GLASS_DIFFUSE_MODIFIER = 1.0 / (1.0 + GLASS_INCIDENCE_B0)
"""The same for isotropic light from sky and ground: the modifier averaged over the
hemisphere, 2 x integral of K sin cos, K cut off at 0. Sky and ground mirror each other in
front of a vertical pane, so one value serves both."""


SUN_YEAR = 2001
"""Year of the solar position. Any common year serves: declination on a date differs by at
most 0.3 degrees between years."""


EARTH_TIME_LAG_S = 67.0
"""Terrestrial time less universal time [s] (Delta T of about 2010, as pvlib takes it)."""


_LEAST_COSINE = 1e-9  # of incidence: no light comes along a pane
_LEAST_COSINE_ZENITH = 0.01745  # a sun lower than 1 degree is taken to be there, as in pvlib


def solar_position(weather: Weather) -> tuple[np.ndarray, np.ndarray]:
    """Apparent zenith and azimuth of the sun in the middle of each hour, (8760,) [deg].

    Notes
    -----
    The NREL solar position algorithm in pvlib (0.0003 degrees by its authors) takes 0.03 s
    for a year; its faster siblings are no better off: ``ephemeris`` is within 0.02 degrees
    but uses what pandas has deprecated, and the analytical formulas are off by 0.6 degrees
    and not faster. Air of 12 degC and a refraction of 0.5667 degrees at the horizon, as pvlib assumes.
    """
    return _position(
        weather.utc_offset_h,
        weather.latitude_deg,
        weather.longitude_deg,
        weather.elevation_ft * FOOT_M,
        weather.pressure_psia * PSI_PA / 100.0,
    )


# Whoever changes an input of a project has the sun of the same site.
@lru_cache(maxsize=8)
def _position(utc_offset_h, latitude_deg, longitude_deg, elevation_m, pressure_mbar) -> tuple[np.ndarray, np.ndarray]:
    start_s = np.datetime64(f"{SUN_YEAR}-01-01T00:30", "s").astype(np.int64) - 3600.0 * utc_offset_h
    apparent_zenith, _, _, _, azimuth, _ = pvlib_part("spa").solar_position(
        start_s + 3600.0 * np.arange(HOURS_IN_YEAR),
        latitude_deg,
        longitude_deg,
        elevation_m,
        pressure_mbar,
        12.0,
        EARTH_TIME_LAG_S,
        0.5667,
    )
    for angle in (apparent_zenith, azimuth):
        angle.flags.writeable = False
    return apparent_zenith, azimuth


def extraterrestrial_wm2(day_of_year) -> np.ndarray:
    """Normal irradiance above the atmosphere by the day of the year, 1 to 365. [W/m2]

    References
    ----------
    Spencer, Fourier series representation of the position of the sun, Search 2 (1971); solar constant
    1,366.1 W/m2 (ASTM E490), as pvlib takes them.
    """
    angle = (2.0 * np.pi / 365.0) * (np.asarray(day_of_year) - 1)
    return 1366.1 * (
        1.00011
        + 0.034221 * np.cos(angle)
        + 0.00128 * np.sin(angle)
        + 0.000719 * np.cos(2.0 * angle)
        + 7.7e-05 * np.sin(2.0 * angle)
    )


def glass_modifier(cosine) -> np.ndarray:
    """Transmission of glass for light at a cosine of incidence, over that at normal incidence.

    References
    ----------
    ASHRAE 93 (incidence angle modifier).
    """
    return np.maximum(1.0 - GLASS_INCIDENCE_B0 * (1.0 / np.maximum(cosine, _LEAST_COSINE) - 1.0), 0.0)


def sun_on_building(weather: Weather, rotation_deg: float = 0.0) -> tuple[np.ndarray, np.ndarray]:
    """Sun through the glass of the four facades and on the roof, before any lag.

    Parameters
    ----------
    weather : Weather
        The typical year.
    rotation_deg : float
        Rotation of the footprint clockwise from north [deg].

    Returns
    -------
    glass_btuh_ft2 : ndarray (8760, 4)
        Through glass of SHGC 1 and shading factor 1 in the N, E, S and W facade
        [Btu/h.ft2 of glass].
    roof_btuh_ft2 : ndarray (8760,)
        On the flat roof, the file's global horizontal irradiance [Btu/h.ft2].

    Notes
    -----
    Beam and circumsolar light with the sun's position in the middle of the hour, times the
    incidence modifier; isotropic sky and ground light times its mean over the hemisphere.
    Sky light by Hay and Davies. In the hours of sunrise and sunset in which the sun is down
    at mid-hour the beam is left out (0.2 to 0.7 % of the year's direct normal irradiation at
    three stations between 26 and 55 degrees north). No horizon, no neighbours.

    References
    ----------
    Hay and Davies, Calculation of the solar radiation incident on an inclined surface, First Canadian solar radiation
    data workshop (1980), and the incidence modifier of ASHRAE 93; the tests compare both with pvlib.
    """
    zenith, azimuth = solar_position(weather)
    ghi, dni, dhi = (weather.frame[f"{name}_wm2"].to_numpy() for name in ("ghi", "dni", "dhi"))
    dni = np.where(zenith < 90.0, dni, 0.0)
    # Share of the sky light that comes from around the sun.
    around = dni / extraterrestrial_wm2(np.repeat(np.arange(1, 366), 24))
    # A wall sees half of the sky and half of the ground.
    isotropic = 0.5 * (np.maximum(dhi * (1.0 - around), 0.0) + GROUND_REFLECTANCE * ghi)
    zenith_rad = np.radians(zenith)
    height, level = np.maximum(np.cos(zenith_rad), _LEAST_COSINE_ZENITH), np.sin(zenith_rad)

    glass = np.empty((HOURS_IN_YEAR, len(FACADE_AZIMUTH_DEG)))
    for facade, facade_azimuth in enumerate(FACADE_AZIMUTH_DEG):
        facing = (facade_azimuth + rotation_deg) % 360.0
        cosine = np.clip(level * np.cos(np.radians(azimuth - facing)), 0.0, 1.0)
        circumsolar = np.maximum(dhi * around * (cosine / height), 0.0)
        glass[:, facade] = glass_modifier(cosine) * (dni * cosine + circumsolar) + GLASS_DIFFUSE_MODIFIER * isotropic
    return glass * BTUH_FT2_PER_WM2, ghi * BTUH_FT2_PER_WM2
