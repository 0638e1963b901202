"""An option against the baseline: rises of the depths, the limits in words, the verdict."""

from __future__ import annotations

from dataclasses import fields

import numpy as np

from ..inputs.schema import value_text
from ..results import EqualService, ServiceRise
from .depths import COIL_KEYS, ROUNDING, ServiceFigures, Yardstick

# The limits in words: one list for the guide, the README and all sheets.
RULES = (
    (
        "Temperature",
        "Degree-hours of any zone beyond its setpoints by more than {unmet_tolerance_f:g} °F, warm and cold "
        "separately, rise by no more than "
        "{temperature_rise_f:g} °F times its occupied hours",
    ),
    (
        "Outdoor air at the unit",
        "What is missing of {margin:g} % of the required outdoor air rises by no more than {outdoor_air_rise:g} % of "
        "the year's requirement",
    ),
    (
        "Outdoor air of a zone",
        "What is missing of {margin:g} % of a zone's own need, by area and people, rises by no more than "
        "{zone_outdoor_air_rise:g} % of that need; air beyond what the unit is required to give is no promise",
    ),
    (
        "Moisture",
        "Degree-hours of the rooms' dew point above {humid_dewpoint_f:g} °F rise by no more than {dewpoint_rise_f:g} "
        "°F times the running hours",
    ),
    (
        "Start of occupancy",
        "Degrees outside the setpoints at the first occupied hour rise by no more than {start_rise_f:g} °F times the "
        "days; the lowest night "
        "temperature falls by no more than {night_low_drop_f:g} °F",
    ),
    (
        "Loads not served",
        "Cooling and heat beyond the plant, which are not charged for, each rise by no more than {unserved_rise:g} "
        "% of the baseline's coil energy",
    ),
)


def rule_texts(project) -> tuple[tuple[str, str], ...]:
    """The limits of equal service with the tolerances of a project: heading, sentence."""
    s = project.service
    values = {f.name: getattr(s, f.name) for f in fields(s)} | {
        "humid_dewpoint_f": project.air_handler.humid_dewpoint_f,
        "margin": 100.0 * (1.0 - s.outdoor_air_margin_frac),
        "outdoor_air_rise": 100.0 * s.outdoor_air_rise_frac,
        "zone_outdoor_air_rise": 100.0 * s.zone_outdoor_air_rise_frac,
        "unserved_rise": 100.0 * s.unserved_rise_frac,
    }
    return tuple((head, text.format(**values)) for head, text in RULES)


def _worst(rise: np.ndarray, limit: np.ndarray) -> tuple[int, float]:
    """Zone line that goes farthest beyond its limit, or comes nearest to it, and its rise over its limit."""
    share = np.where(
        rise > ROUNDING,
        rise / np.maximum(limit, ROUNDING),
        np.where(rise < -ROUNDING, rise / np.maximum(limit, 1.0), 0.0),
    )
    at = int(np.argmax(share))
    return at, float(share[at])


def _beyond(rise: float, limit: float) -> bool:
    return rise > limit + ROUNDING


def _rise_of_zone_oa(found: ServiceFigures, base: ServiceFigures) -> np.ndarray:
    """Rise of what zones lack of their own outdoor air, where the baseline's is all that was promised. (Z,) [cfm h]

    Air that the baseline gives beyond the requirement, by an excess at the minimum or by its economizer, is no promise:
    a candidate may trim it. So a rise counts from what zones would lack without that excess, a fall from what they do
    lack.
    """
    above = found.zone_oa_short_cfmh - base.zone_oa_promised_short_cfmh
    below = found.zone_oa_short_cfmh - base.zone_oa_short_cfmh
    return np.maximum(above, 0.0) + np.minimum(below, 0.0)


def rises(found: ServiceFigures, base: ServiceFigures, yardstick: Yardstick) -> ServiceRise:
    """Rise of every depth over the baseline, beside its limit.

    Returns
    -------
    ServiceRise
        By zone line that of the zone that is worst for its own limit, with its name.
    """
    y, rules = yardstick, yardstick.rules
    warm_limit = rules.temperature_rise_f * y.occupied_hours
    days = max(found.starts, base.starts)
    zone_oa = _rise_of_zone_oa(found, base)
    by_zone = {
        "unmet_degree_hours": (found.warm_degree_hours - base.warm_degree_hours, warm_limit),
        "cold_degree_hours": (found.cold_degree_hours - base.cold_degree_hours, warm_limit),
        "zone_oa_short_cfmh": (zone_oa, rules.zone_outdoor_air_rise_frac * y.zone_need_cfmh()),
        "start_miss_f": (found.start_miss_f - base.start_miss_f, np.full(len(y.names), rules.start_rise_f * days)),
        "night_low_f": (
            np.nan_to_num(base.lowest_f - found.lowest_f, nan=0.0),
            np.full(len(y.names), rules.night_low_drop_f),
        ),
    }
    values: dict[str, float] = {}
    zones: dict[str, str] = {}
    limits: dict[str, float] = {}
    worst = (0, -np.inf)
    for name, (rise, limit) in by_zone.items():
        at, share = _worst(rise, limit)
        key = "night_low_drop_f" if name == "night_low_f" else f"{name}_rise"
        values[key], limits[key] = float(rise[at]), float(limit[at])
        zones[f"{name.removesuffix('_f').removesuffix('_degree_hours').removesuffix('_short_cfmh')}_zone"] = y.names[at]
        if share > worst[1]:
            worst = (at, share)
    at_unit = {
        "oa_short_cfmh_rise": (found.oa_short_cfmh - base.oa_short_cfmh, rules.outdoor_air_rise_frac * y.required_cfmh),
        "dewpoint_degree_hours_rise": (
            found.dewpoint_degree_hours - base.dewpoint_degree_hours,
            rules.dewpoint_rise_f * float(y.hours.sum()),
        ),
    }
    coil = rules.unserved_rise_frac * sum(base.figures[key] for key in COIL_KEYS)
    for name in ("unserved_cooling_kbtu", "unserved_heating_kbtu"):
        at_unit[f"{name}_rise"] = (found.figures[name] - base.figures[name], coil)
    for key, (rise, limit) in at_unit.items():
        values[key], limits[key] = rise, limit
    total = lambda name: float((getattr(found, name) - getattr(base, name)) @ y.multiplier)
    return ServiceRise(
        zone=y.names[worst[0]] if worst[1] > 0.0 else None,
        limits=limits,
        **values,  # type: ignore[arg-type]  # numbers and names of zones by their names
        **zones,  # type: ignore[arg-type]
        total_unmet_degree_hours_rise=total("warm_degree_hours"),
        total_cold_degree_hours_rise=total("cold_degree_hours"),
        total_zone_oa_short_cfmh_rise=float(zone_oa @ y.multiplier),
        humid_hours_rise=found.figures["humid_hours"] - base.figures["humid_hours"],
    )


def judge(rise: ServiceRise, yardstick: Yardstick, changes=()) -> EqualService:
    """Whether a candidate serves no worse than the baseline.

    Parameters
    ----------
    changes : sequence of (path, value)
        Overrides that change what the rooms are promised: no equal service, whatever the rises.
    """
    y, r, limits = yardstick, rise, rise.limits
    beyond = lambda key: _beyond(getattr(r, key), limits[key])
    required, need = max(y.required_cfmh, ROUNDING), y.zone_need_cfmh()
    reasons = []
    if changes:
        reasons.append(
            "changes what the rooms are promised: "
            + ", ".join(f"{path} = {value_text(value)}" for path, value in changes)
        )
    for key, words, where, total in (
        ("unmet_degree_hours_rise", "rooms too warm", r.unmet_zone, r.total_unmet_degree_hours_rise),
        ("cold_degree_hours_rise", "rooms too cold", r.cold_zone, r.total_cold_degree_hours_rise),
    ):
        if beyond(key):
            reasons.append(
                f"{words}: {getattr(r, key):,.0f} degF.h a year more than in the baseline in {where}, "
                f"{limits[key]:,.0f} allowed "
                f"({total:,.0f} in all zones)"
            )
    if beyond("oa_short_cfmh_rise"):
        reasons.append(
            f"less outdoor air at the unit: {100.0 * r.oa_short_cfmh_rise / required:,.1f} % of the year's "
            "requirement more missing than in the "
            f"baseline, {100.0 * y.rules.outdoor_air_rise_frac:g} allowed"
        )
    if beyond("zone_oa_short_cfmh_rise"):
        at = y.names.index(r.zone_oa_zone)
        reasons.append(
            f"less outdoor air in {r.zone_oa_zone}: "
            f"{100.0 * r.zone_oa_short_cfmh_rise / max(float(need[at]), ROUNDING):,.1f} % of its own need more "
            "missing than "
            f"in the baseline, {100.0 * y.rules.zone_outdoor_air_rise_frac:g} allowed"
        )
    if beyond("dewpoint_degree_hours_rise"):
        reasons.append(
            f"rooms too moist: dew point {r.dewpoint_degree_hours_rise:,.0f} degF.h a year further above "
            f"{y.humid_dewpoint_f:g} degF than in the baseline, "
            f"{limits['dewpoint_degree_hours_rise']:,.0f} allowed"
        )
    if beyond("start_miss_f_rise"):
        reasons.append(
            f"rooms not ready at the start of occupancy: {r.start_miss_f_rise:,.0f} degF summed over the days more "
            f"than in the baseline in {r.start_miss_zone}, "
            f"{limits['start_miss_f_rise']:,.0f} allowed"
        )
    if beyond("night_low_drop_f"):
        reasons.append(
            f"colder nights: {r.night_low_zone} falls {r.night_low_drop_f:,.1f} degF below the baseline's lowest, "
            f"{limits['night_low_drop_f']:g} allowed"
        )
    for key, words in (
        ("unserved_cooling_kbtu_rise", "cooling beyond the plant"),
        ("unserved_heating_kbtu_rise", "heat beyond its source"),
    ):
        if beyond(key):
            reasons.append(
                f"{words}, not in the cost: {getattr(r, key):,.0f} kBtu more than in the baseline, {limits[key]:,.0f} "
                "allowed"
            )
    return EqualService(flagged=bool(reasons), reasons=tuple(reasons))
