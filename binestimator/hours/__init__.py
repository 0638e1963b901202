"""Conditions of every hour of the year: weather, sun, calendar, schedules and gains.

Weather is in standard time all year; schedules, profiles and rate periods are in clock time,
an hour ahead of it while daylight saving lasts. ``month``, ``day``, ``hour_start`` and
``hour_of_year`` of :class:`Conditions` are those of the weather row, in standard time.

Sun on the facades is taken through glass whose solar heat gain coefficient and shading
factor are 1; a zone multiplies it by its own glass area and factors. What surfaces absorb
of the sun and of internal gains reaches the room air late, by a first-order lag.
"""

from .clock import (
    MONTHS,
    WEEKDAYS,
    Clock,
    air_handler_occupied,
    clock_calendar,
    price_lines,
    scheduled,
    tariff_periods,
    window_hours,
)
from .conditions import Conditions, bin_low_f, build_conditions, room_lag
from .meter import other_load_kw, price_tiers, tier_of
from .sun import (
    FACADE_AZIMUTH_DEG,
    GLASS_DIFFUSE_MODIFIER,
    GLASS_INCIDENCE_B0,
    GROUND_REFLECTANCE,
    extraterrestrial_wm2,
    glass_modifier,
    solar_position,
    sun_on_building,
)

__all__ = [
    "Clock",
    "Conditions",
    "FACADE_AZIMUTH_DEG",
    "GLASS_DIFFUSE_MODIFIER",
    "GLASS_INCIDENCE_B0",
    "GROUND_REFLECTANCE",
    "MONTHS",
    "WEEKDAYS",
    "air_handler_occupied",
    "bin_low_f",
    "build_conditions",
    "clock_calendar",
    "extraterrestrial_wm2",
    "glass_modifier",
    "other_load_kw",
    "price_lines",
    "price_tiers",
    "room_lag",
    "scheduled",
    "solar_position",
    "sun_on_building",
    "tariff_periods",
    "tier_of",
    "window_hours",
]
