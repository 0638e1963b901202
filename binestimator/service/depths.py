"""How options serve the rooms, by depth: what the baseline promises, and degree-hours and cfm-hours beyond it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import Any

import numpy as np

from ..dataclass import dataclass
from ..model.air_handler import required_oa_cfm
from ..model.loads import ZoneLoads
from ..model.system import RowState
from ..model.terminals import ZoneState
from ..model.unit import Unit
from ..moist_air import dewpoint_f, humidity_ratio_from_dewpoint

# Rises below this are rounding. [in the unit of the figure, over the year]
ROUNDING = 1e-6
COIL_KEYS = ("cooling_sensible_kbtu", "cooling_latent_kbtu", "reheat_kbtu", "preheat_kbtu")
# Depths by zone line that are summed over the hours.
ZONE_DEPTHS = ("warm_degree_hours", "cold_degree_hours", "zone_oa_short_cfmh", "zone_oa_promised_short_cfmh")


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
