"""The baseline by itself: what it fails in by limits of its own, and which inputs may be why."""

from __future__ import annotations

import numpy as np

from ..model.unit import Unit
from ..results import BaselineService
from .depths import ServiceFigures, Yardstick

# What the baseline can fail in: the word of the input that confirms it, and how to say it.
FAILURES = {
    "outdoor_air": "less outdoor air than is required",
    "temperature": "rooms beyond their setpoints",
    "airflow": "a fan that cannot give what zones ask for",
    "capacity": "cooling or heat beyond the plant",
}


def shortfalls(found: ServiceFigures, yardstick: Yardstick) -> dict[str, float]:
    """What a run lacks in itself, by the words of :data:`FAILURES`: mean degF beyond the setpoints, shares."""
    y, f = yardstick, found.figures
    share = lambda part, whole: part / whole if whole > 0.0 else 0.0
    degrees = float((found.warm_degree_hours + found.cold_degree_hours) @ y.multiplier)
    cooling = f["cooling_sensible_kbtu"] + f["cooling_latent_kbtu"]
    heat = f["reheat_kbtu"] + f["preheat_kbtu"]
    # A plant too small leaves hardly a load unserved: its supply air warms, and the rooms with it.
    lacking = f["unserved_cooling_kbtu"] + found.cooling_missing_kbtu
    return {
        "outdoor_air": share(found.oa_missing_cfmh, y.required_cfmh),
        "temperature": share(degrees, y.zone_hours),
        "airflow": share(f["airflow_ceiling_hours"], f["running_hours"]),
        "capacity": max(share(lacking, cooling + lacking), share(f["unserved_heating_kbtu"], heat)),
    }


def failing(found: ServiceFigures, yardstick: Yardstick) -> tuple[str, ...]:
    """Words of what a run fails in."""
    rules = yardstick.rules
    limits = {
        "outdoor_air": rules.baseline_outdoor_air_frac,
        "temperature": rules.baseline_temperature_f,
        "airflow": rules.baseline_airflow_frac,
        "capacity": rules.baseline_capacity_frac,
    }
    lacks = shortfalls(found, yardstick)
    return tuple(word for word, limit in limits.items() if lacks[word] > limit + 1e-9)


def judge_baseline(found: ServiceFigures, yardstick: Yardstick, project, unit: Unit, parts) -> BaselineService:
    """The baseline before anything is compared with it: what it fails in, and the input suspected of it.

    Parameters
    ----------
    project : Project
        With the baseline's own overrides.
    parts : sequence of Part
        Of its hour-by-hour run.
    """
    fails = failing(found, yardstick)
    lacks = shortfalls(found, yardstick)
    y = yardstick
    suspects = tuple((word, *_SUSPECTS[word](found, y, project, unit, parts)) for word in fails)
    return BaselineService(
        fails=fails,
        confirmed=tuple(word for word in project.service.as_found_confirmed if word in fails),
        suspects=suspects,
        figures={
            "oa_missing_frac": lacks["outdoor_air"],
            "required_oa_cfmh": y.required_cfmh,
            "oa_missing_cfmh": found.oa_missing_cfmh,
            "mean_degrees_beyond_f": lacks["temperature"],
            "occupied_zone_hours": y.zone_hours,
            "unmet_degree_hours": float(found.warm_degree_hours @ y.multiplier),
            "cold_degree_hours": float(found.cold_degree_hours @ y.multiplier),
            "airflow_ceiling_frac": lacks["airflow"],
            "unserved_frac": lacks["capacity"],
            "dewpoint_degree_hours": found.dewpoint_degree_hours,
        },
    )


def _suspect_airflow(found, y, project, unit, parts):
    if found.short_ceiling_hours > 0.5 * found.figures["airflow_ceiling_hours"]:
        return (
            "cooling.capacity_tons",
            f"supply air warms for lack of cooling ({unit.cooling_tons:,.0f} tons), and zones ask for more of it than "
            "the fan gives",
        )
    path = "air_handler.max_cfm" if project.air_handler.max_cfm is not None else "air_handler.design_cfm"
    asked = max(float((p.state.requested_cfm + p.state.leakage_cfm).max(initial=0.0)) for p in parts)
    return path, f"{unit.max_cfm:,.0f} cfm, where zones ask for up to {asked:,.0f}"


def _suspect_outdoor_air(found, y, project, unit, parts):
    oa, eco = project.outdoor_air, project.economizer
    if eco.stuck_frac is not None:
        return "economizer.stuck_frac", f"the damper is stuck at {100.0 * eco.stuck_frac:g} %"
    if unit.oa_required_by == "design" and oa.control == "people":
        return "outdoor_air.required_by", "outdoor air follows the people present, while it is required by design"
    if oa.control == "position":
        return (
            "outdoor_air.position_frac",
            f"at {100.0 * unit.oa_position_frac:.0f} % of supply air outdoor air falls with the airflow; "
            f"{unit.oa_required_cfm:,.0f} cfm are required",
        )
    if oa.control == "flow" and unit.oa_minimum_cfm < unit.oa_required_cfm:
        return (
            "outdoor_air.minimum_cfm",
            f"{unit.oa_minimum_cfm:,.0f} cfm, where {unit.oa_required_cfm:,.0f} are required "
            "(outdoor_air.required_cfm)",
        )
    return "outdoor_air.maximum_frac", "the supply airflow is too small for the outdoor air required in it"


def _suspect_temperature(found, y, project, unit, parts):
    warm, cold = float(found.warm_degree_hours @ y.multiplier), float(found.cold_degree_hours @ y.multiplier)
    f = found.figures
    some = 0.02 * f["running_hours"]
    if warm >= cold:
        zone = y.names[int(np.argmax(found.warm_degree_hours))]
        said = f"{warm:,.0f} zone degF.h too warm, most in {zone}"
        if project.cooling.type == "none":
            return "cooling.type", said + "; there is no cooling"
        if f["airflow_ceiling_hours"] > some:
            path, text = _suspect_airflow(found, y, project, unit, parts)
            return path, f"{said}; {text}"
        if f["capacity_hours"] > some:
            return "cooling.capacity_tons", f"{said}; the plant is short in {f['capacity_hours']:,.0f} h"
        if f["starved_zone_hours"] > 0.02 * y.zone_hours:
            return (
                "fan.design_dsp_inwc",
                f"{said}; duct pressure starves zones for {f['starved_zone_hours']:,.0f} zone-hours",
            )
        return f"zone[{zone}].max_cfm", said + "; its terminal, or the supply air as found"
    zone = y.names[int(np.argmax(found.cold_degree_hours))]
    said = f"{cold:,.0f} zone degF.h too cold, most in {zone}"
    if unit.heating.type == "none":
        return "heating.type", said + "; there is no heat"
    if not unit.zones.has_reheat[y.names.index(zone)]:
        return f"zone[{zone}].reheat", said + "; it has no reheat"
    if unit.heating.enabled_below_f < float(np.max(y.heat_f)):
        return "heating.enabled_below_f", said + "; the plant is off in mild weather"
    return f"zone[{zone}].reheat_kbtuh", said + "; its coil, its minimum airflow or its discharge limit"


def _suspect_capacity(found, y, project, unit, parts):
    f = found.figures
    lacking = f["unserved_cooling_kbtu"] + found.cooling_missing_kbtu
    if lacking >= f["unserved_heating_kbtu"]:
        return (
            ("cooling.type", "there is no cooling")
            if project.cooling.type == "none"
            else (
                "cooling.capacity_tons",
                f"{lacking:,.0f} kBtu of cooling a year are beyond the plant (its capacity of "
                f"{unit.cooling_tons:,.0f} tons, or its lockout)",
            )
        )
    return (
        "heating.capacity_kbtuh",
        f"{f['unserved_heating_kbtu']:,.0f} kBtu of heat a year are beyond the source of {unit.heating_kbtuh:,.0f} "
        "kBtu/h",
    )


_SUSPECTS = {
    "outdoor_air": _suspect_outdoor_air,
    "temperature": _suspect_temperature,
    "airflow": _suspect_airflow,
    "capacity": _suspect_capacity,
}
