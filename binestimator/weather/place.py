"""Whether two weather files are of the same place."""

from __future__ import annotations

import numpy as np

from binestimator.weather.year import Weather

#: How far apart stations of one place may be. Assumption: within some 60 miles and 1,000 ft the years of two stations
#: differ by less than years do.
MOST_KM, MOST_FT = 100.0, 1000.0
_EARTH_KM = 6371.0


def distance_km(first: Weather, second: Weather) -> float:
    """Along the ground, on a sphere. [km]"""
    phi = np.radians([first.latitude_deg, second.latitude_deg])
    east = np.radians(second.longitude_deg - first.longitude_deg)
    half = np.sin(np.diff(phi)[0] / 2.0) ** 2 + np.cos(phi[0]) * np.cos(phi[1]) * np.sin(east / 2.0) ** 2
    return float(2.0 * _EARTH_KM * np.arcsin(np.sqrt(min(half, 1.0))))


def elsewhere(own: Weather, other: Weather) -> str:
    """What is wrong with a file that is to be another year of the same place; empty where nothing is."""
    apart, higher = distance_km(own, other), abs(other.elevation_ft - own.elevation_ft)
    if apart <= MOST_KM and higher <= MOST_FT:
        return ""
    what = f"{apart:,.0f} km away from" if apart > MOST_KM else f"{higher:,.0f} ft above or below"
    return (
        f"{other.file_name} is of another place: {other.name}, {what} {own.name} ({own.file_name}); expected a year of "
        f"the same place, within {MOST_KM:g} km and {MOST_FT:,.0f} ft of elevation; give another file"
    )
