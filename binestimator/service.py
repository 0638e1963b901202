"""Equal service: what a candidate takes from the rooms, by the baseline's standard.

Everything is measured by depth (degree-hours, cfm-hours) in the hour-by-hour run, against the baseline's setpoints,
required outdoor air and humidity limit, and judged as a rise over the baseline: what the baseline lacks already is not
held against a candidate. The baseline itself is judged first, by limits of its own.

Room temperatures are steady in the hour. Rooms have mass, so that short peaks are rounded off: degree-hours are an
upper bound of the warmth (and the cold) of real rooms.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import fields, replace
from typing import Any

import numpy as np

from .dataclass import dataclass
from .inputs.schema import value_text
from .model.air_handler import required_oa_cfm
from .model.loads import ZoneLoads
from .model.system import RowState
from .model.terminals import ZoneState
from .model.unit import Unit
from .moist_air import dewpoint_f, humidity_ratio_from_dewpoint
from .results import BaselineService, EqualService, ServiceRise

# Rises below this are rounding. [in the unit of the figure, over the year]
ROUNDING = 1e-6
COIL_KEYS = ("cooling_sensible_kbtu", "cooling_latent_kbtu", "reheat_kbtu", "preheat_kbtu")

# Depths by zone line that are summed over the hours.
ZONE_DEPTHS = ("warm_degree_hours", "cold_degree_hours", "zone_oa_short_cfmh", "zone_oa_promised_short_cfmh")

# What the baseline can fail in: the word of the input that confirms it, and how to say it.
FAILURES = {
    "outdoor_air": "less outdoor air than is required",
    "temperature": "rooms beyond their setpoints",
    "airflow": "a fan that cannot give what zones ask for",
    "capacity": "cooling or heat beyond the plant",
}
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


@dataclass(frozen=True, slots=True, kw_only=True)
class Yardstick:
    """What the baseline promises in its R running hours.

    ``hours`` (R,) · ``cool_f, heat_f`` (R, Z) setpoints in force [degF] · ``occupied_hours`` (Z,) ·
    ``required_cfm`` (R,) outdoor air at the unit · ``area_cfm, people_cfm`` (Z,) outdoor air of one zone for its area
    and for its people when full, of which ``area_share, people_share`` (R, G) are needed, by the ``group`` (Z,) of the
    zone · ``humid_dewpoint_f`` · ``pressure_psia`` · ``air_btuh_cfm_f`` heat of a degree of a cfm [Btu/h cfm degF] ·
    ``multiplier`` (Z,), ``names`` of zones · ``rules`` record of section ``service``.
    """

    hours: np.ndarray
    cool_f: np.ndarray
    heat_f: np.ndarray
    occupied_hours: np.ndarray
    required_cfm: np.ndarray
    group: np.ndarray
    area_share: np.ndarray
    people_share: np.ndarray
    area_cfm: np.ndarray
    people_cfm: np.ndarray
    humid_dewpoint_f: float
    pressure_psia: float
    air_btuh_cfm_f: float
    multiplier: np.ndarray
    names: tuple[str, ...]
    rules: Any

    @classmethod
    def of(cls, unit: Unit, conditions, loads: ZoneLoads) -> Yardstick:
        """Yardstick of the baseline's unit in its running hours, with their loads."""
        z, g = unit.zones, unit.groups
        here = conditions.group_occupied * conditions.occupied[:, None]
        # By design a zone needs its share for all people while it is occupied, else for those present.
        people = conditions.people_frac * conditions.occupied[:, None] if unit.oa_required_by == "people" else here
        area = z.area_ft2
        hours = conditions.hours @ conditions.group_occupied
        return cls(
            hours=conditions.hours,
            cool_f=loads.cool_f,
            heat_f=loads.heat_f,
            occupied_hours=hours[z.group],
            required_cfm=required_oa_cfm(unit, conditions.occupied, loads.oa_people_cfm),
            group=z.group,
            area_share=here,
            people_share=people,
            area_cfm=area * g.oa_cfm_ft2[z.group],
            people_cfm=area * z.gain_multiplier / g.people_ft2[z.group] * g.oa_cfm_person[z.group],
            humid_dewpoint_f=unit.air_handler.humid_dewpoint_f,
            pressure_psia=conditions.pressure_psia,
            air_btuh_cfm_f=float(loads.fs),
            multiplier=z.multiplier,
            names=z.names,
            rules=unit.service,
        )

    @classmethod
    def joined(cls, blocks: Sequence[Yardstick]) -> Yardstick:
        """Of hours that follow one another, from yardsticks of the same unit."""
        by_hour: dict[str, Any] = {
            name: np.concatenate([getattr(block, name) for block in blocks]) for name in _BY_HOUR
        }
        return replace(blocks[0], **by_hour, occupied_hours=np.sum([block.occupied_hours for block in blocks], axis=0))

    def take(self, index) -> Yardstick:
        """What is promised in chosen hours; ``occupied_hours`` stay those of all."""
        chosen: dict[str, Any] = {name: getattr(self, name)[index] for name in _BY_HOUR}
        return replace(self, **chosen)

    def need_cfm(self) -> np.ndarray:
        """Outdoor air of each zone by its own area and people. (R, Z) [cfm]"""
        return self.area_share[:, self.group] * self.area_cfm + self.people_share[:, self.group] * self.people_cfm

    @property
    def required_cfmh(self) -> float:
        """Outdoor air required over the year. [cfm h]"""
        return float(self.hours @ self.required_cfm)

    @property
    def zone_hours(self) -> float:
        """Occupied hours of all zones."""
        return float(self.occupied_hours @ self.multiplier)

    def zone_need_cfmh(self) -> np.ndarray:
        """Outdoor air that each zone needs over the year. (Z,) [cfm h]"""
        area, people = self.hours @ self.area_share, self.hours @ self.people_share
        return area[self.group] * self.area_cfm + people[self.group] * self.people_cfm


#: Fields of a yardstick by running hour.
_BY_HOUR = ("hours", "cool_f", "heat_f", "required_cfm", "area_share", "people_share")


@dataclass(frozen=True, slots=True, kw_only=True)
class ServiceFigures:
    """What a candidate gives over the year, on a yardstick.

    By zone line (one zone of it), (Z,): ``warm_degree_hours, cold_degree_hours`` beyond the setpoints and the tolerance
    · ``zone_oa_short_cfmh`` of its own need · ``zone_oa_promised_short_cfmh`` the same, were no more outdoor air given
    than the unit is required to · ``start_miss_f`` degrees outside the setpoints at the first occupied hour, summed
    over ``starts`` days · ``lowest_f`` lowest night temperature (NaN: not known). At the unit: ``oa_short_cfmh`` below
    the requirement less its margin · ``oa_missing_cfmh`` below the requirement · ``dewpoint_degree_hours`` ·
    ``cooling_missing_kbtu`` between supply air and its setpoint where the plant is short · ``short_ceiling_hours`` of
    the fan at its ceiling while the plant is short · ``figures`` annual figures of the hour-by-hour run.
    """

    warm_degree_hours: np.ndarray
    cold_degree_hours: np.ndarray
    zone_oa_short_cfmh: np.ndarray
    zone_oa_promised_short_cfmh: np.ndarray
    start_miss_f: np.ndarray
    lowest_f: np.ndarray
    starts: float
    oa_short_cfmh: float
    oa_missing_cfmh: float
    dewpoint_degree_hours: float
    cooling_missing_kbtu: float
    short_ceiling_hours: float
    figures: dict[str, float]


def degrees_beyond(yardstick: Yardstick, room_f) -> tuple[np.ndarray, np.ndarray]:
    """How far rooms (R, Z) are too warm and too cold, beyond the setpoints and the tolerance. (R, Z) each [degF]"""
    y, tolerance = yardstick, yardstick.rules.unmet_tolerance_f
    return np.maximum(room_f - y.cool_f - tolerance, 0.0), np.maximum(y.heat_f - tolerance - room_f, 0.0)


def zone_depths(
    yardstick: Yardstick, state: RowState, zones: ZoneState, need_cfm=None, beyond=None, promised=True
) -> dict[str, np.ndarray]:
    """Depths of a part of a candidate by zone line, over all of its hours. Name of ``ServiceFigures`` -> (Z,)

    ``need_cfm`` and ``beyond`` are :meth:`Yardstick.need_cfm` and :func:`degrees_beyond` where they are known. Without
    ``promised`` nobody asks for ``zone_oa_promised_short_cfmh``, which is that of all outdoor air then: it counts of
    the baseline alone.
    """
    y = yardstick
    wanted = (1.0 - y.rules.outdoor_air_margin_frac) * (y.need_cfm() if need_cfm is None else need_cfm)
    warm, cold = degrees_beyond(y, zones.room_f) if beyond is None else beyond
    short = lambda frac: y.hours @ np.maximum(wanted - frac[:, None] * zones.flow_cfm, 0.0)
    of_all = short(state.oa_frac)
    of_promised = of_all
    if promised:
        of_promised = short(
            np.minimum(state.oa_frac, y.required_cfm / np.where(state.flow_cfm > 0.0, state.flow_cfm, 1.0))
        )
    return {
        "warm_degree_hours": y.hours @ warm,
        "cold_degree_hours": y.hours @ cold,
        "zone_oa_short_cfmh": of_all,
        "zone_oa_promised_short_cfmh": of_promised,
    }


def unit_depths(yardstick: Yardstick, state: RowState) -> dict[str, float]:
    """The same at the unit. Name of ``ServiceFigures`` -> figure"""
    y = yardstick
    # Humidity says where the dew point is above the limit: most rooms are dry most of the time.
    ratio = np.maximum(state.room_humidity_ratio, 1e-6)
    over = np.zeros(ratio.shape)
    humid = ratio >= 0.999 * humidity_ratio_from_dewpoint(y.humid_dewpoint_f, y.pressure_psia)
    over[humid] = dewpoint_f(ratio[humid], y.pressure_psia) - y.humid_dewpoint_f
    return {
        "oa_short_cfmh": float(
            y.hours @ np.maximum((1.0 - y.rules.outdoor_air_margin_frac) * y.required_cfm - state.oa_cfm, 0.0)
        ),
        "oa_missing_cfmh": float(y.hours @ np.maximum(y.required_cfm - state.oa_cfm, 0.0)),
        "dewpoint_degree_hours": float(y.hours @ np.maximum(over, 0.0)),
        "cooling_missing_kbtu": float(
            y.hours @ (state.capacity_limited * state.flow_cfm * np.maximum(state.sat_f - state.sat_set_f, 0.0))
        )
        * y.air_btuh_cfm_f
        / 1000.0,
        "short_ceiling_hours": float(y.hours @ (state.capacity_limited * state.airflow_ceiling)),
    }


_AT_UNIT = ("oa_short_cfmh", "oa_missing_cfmh", "dewpoint_degree_hours", "cooling_missing_kbtu", "short_ceiling_hours")


def service_figures(
    yardstick: Yardstick, parts, by_zone: dict[str, np.ndarray], night, figures: dict[str, float]
) -> ServiceFigures:
    """Figures of a candidate from its parts, their depths by zone and its night block.

    Parameters
    ----------
    parts : sequence of Part
        Each with its ``share`` of the running time and its ``state`` in the yardstick's hours.
    by_zone : dict
        Of :func:`zone_depths`, added up over the parts by share.
    night : NightBlock
        ``start_miss_f``, ``starts`` and ``lowest_f`` are used where it has them, and ``warm_degree_hours,
        cold_degree_hours`` (Z,) of rooms that catch up after the start of occupancy are added to those of the hours.
    """
    at_unit = dict.fromkeys(_AT_UNIT, 0.0)
    for p in parts:
        for name, value in unit_depths(yardstick, p.state).items():
            at_unit[name] += p.share * value
    count = len(yardstick.names)
    known = lambda name, other: other if getattr(night, name, None) is None else getattr(night, name)
    by_zone = by_zone | {name: by_zone[name] + known(name, 0.0) for name in ("warm_degree_hours", "cold_degree_hours")}
    return ServiceFigures(
        **by_zone,  # type: ignore[arg-type]  # arrays and numbers by their names
        **at_unit,  # type: ignore[arg-type]
        figures=figures,
        starts=float(known("starts", 0.0)),
        start_miss_f=np.broadcast_to(np.asarray(known("start_miss_f", 0.0), dtype=float), (count,)),
        lowest_f=np.broadcast_to(np.asarray(known("lowest_f", np.nan), dtype=float), (count,)),
    )


# --- a candidate against the baseline --------------------------------------------------------


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


# --- the baseline itself -----------------------------------------------------------------------


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
