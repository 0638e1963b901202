"""Makes the unit that the physics works on from a project and sizes."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from types import MappingProxyType

import numpy as np

from ..rates import prices_of
from ..units import BTU_PER_WH
from .air_handler import design_outdoor_air_cfm
from .fan import fan_power_at
from .unit import Groups, Sizes, Unit, Zones, beside_zones, damper_flow_frac, number

# Combined outside film of a roof in summer, Btu/h.ft2.F. ASHRAE Fundamentals uses 3.0
# for the sol-air temperature of surfaces in summer (from memory).
ROOF_FILM_BTUH_FT2_F = 3.0
_NOTHING: Mapping[str, np.ndarray] = MappingProxyType({})


class Columns:
    """Inputs of records of one kind as arrays (N,).

    Parameters
    ----------
    records : sequence
    drawn : mapping
        Name of an input -> array (N,), or (D, N) of D draws, in place of what the records say.
    """

    def __init__(self, records, drawn: Mapping[str, np.ndarray]):
        self.records, self.drawn = records, drawn

    def __call__(self, name: str) -> np.ndarray:
        """An input of all records."""
        if name in self.drawn:
            return self.drawn[name]
        return np.array([float(getattr(record, name)) for record in self.records])

    def given(self, name: str) -> np.ndarray:
        """An optional input, NaN where it is not given."""
        if name in self.drawn:
            return self.drawn[name]
        return np.array([np.nan if getattr(r, name) is None else float(getattr(r, name)) for r in self.records])


def _or(first: np.ndarray, second) -> np.ndarray:
    return np.where(np.isnan(first), second, first)


def surveyed_index_share(flow_cfm, damper_pct, dsp_inwc, max_cfm, index_dsp_inwc, exponent):
    """Share of the index run's pressure a zone needs at its own design flow, from a damper survey.

    The open damper would pass ``flow / f(position)`` at the surveyed pressure; flow goes
    with the square root of pressure. Cautious where the damper was nearly shut: small
    errors of position then matter much.

    Returns
    -------
    index_share : ndarray (Z,)
        k of the zone (NaN where no survey is given). [-]
    """
    open_cfm = flow_cfm / damper_flow_frac(damper_pct / 100.0, exponent)
    return dsp_inwc / index_dsp_inwc * (max_cfm / open_cfm) ** 2


def _groups(of_groups: Columns) -> Groups:
    return Groups(
        names=tuple(r.name for r in of_groups.records),
        people_ft2=of_groups("people_ft2"),
        people_sensible_btuh=of_groups("people_sensible_btuh"),
        people_latent_btuh=of_groups("people_latent_btuh"),
        lights_btuh_ft2=of_groups("lights_w_ft2") * BTU_PER_WH,
        lights_plenum_frac=of_groups("lights_plenum_frac"),
        equipment_btuh_ft2=of_groups("equipment_w_ft2") * BTU_PER_WH,
        oa_cfm_person=of_groups("oa_cfm_person"),
        oa_cfm_ft2=of_groups("oa_cfm_ft2"),
    )


def _beside_facades(value):
    """A number, or one by draw (D,), beside zones and facades."""
    return value if np.ndim(value) == 0 else value[:, None, None]


def group_of_zones(project) -> np.ndarray:
    """Index (Z,) of each zone's profile group; the first group where none is named."""
    index = {record.name: i for i, record in enumerate(project.groups)}
    return np.array([0 if z.group is None else index[z.group] for z in project.zones], dtype=int)


def build_unit(project, sizes: Sizes, zones_drawn=_NOTHING, groups_drawn=_NOTHING) -> Unit:
    """Arrays and records of a project with every size resolved.

    Parameters
    ----------
    project : Project
        Validated inputs; what is given there rules over ``sizes``.
    sizes : Sizes
        Used where an input is not given.
    zones_drawn, groups_drawn : mapping
        Inputs of zones and of groups that differ between D draws: name -> array (D, Z) or (D, G). Records of sections
        and ``sizes`` may hold arrays (D,), sizes of zones (D, Z), likewise; what follows from them then has one more
        axis in front. The unit is one of draws and no unit of the model until it is spread over rows (``ranges.draw``).
    """
    z, of_groups = Columns(project.zones, zones_drawn), Columns(project.groups, groups_drawn)
    building = project.building
    group = group_of_zones(project)
    by_group = lambda name: of_groups(name)[..., group]

    max_cfm = _or(z.given("max_cfm"), sizes.zone_max_cfm)
    min_cfm = np.minimum(_or(z.given("min_cfm"), by_group("minimum_flow_frac") * max_cfm), max_cfm)
    heat_max = np.maximum(_or(z.given("heat_max_cfm"), np.maximum(0.5 * max_cfm, min_cfm)), min_cfm)
    heat_min = np.clip(_or(z.given("heat_min_cfm"), min_cfm), None, heat_max)
    glass = np.stack([z(f"glass_{side}_ft2") for side in ("north", "east", "south", "west")], axis=1)
    fan = project.fan
    index_dsp = fan.design_dsp_inwc if fan.index_dsp_inwc is None else fan.index_dsp_inwc
    surveyed = surveyed_index_share(
        z.given("survey_flow_cfm"),
        z.given("survey_damper_pct"),
        z.given("survey_dsp_inwc"),
        max_cfm,
        beside_zones(index_dsp),
        beside_zones(project.limits.damper_exponent),
    )
    multiplier = z("multiplier")
    rogue = np.array([r.rogue for r in project.zones])
    reheat = np.array([bool(r.reheat) for r in project.zones]) & (project.heating.type != "none")

    follows = np.array([bool(record.follows_outdoor_air) for record in project.groups])[group]
    follows &= project.room_setpoints.rule == "outdoor_air"

    zones = Zones(
        names=tuple(r.name for r in project.zones),
        group=group,
        multiplier=multiplier,
        area_ft2=z("area_ft2"),
        gain_multiplier=z("gain_multiplier"),
        ua_btuh_f=z("ua_btuh_f"),
        aperture_ft2=glass * building.window_shgc * _beside_facades(building.shading_factor),
        roof_ft2_eq=z("roof_ft2") * building.roof_u * building.roof_absorptance / ROOF_FILM_BTUH_FT2_F,
        infiltration_cfm=z("infiltration_cfm"),
        max_cfm=max_cfm,
        min_cfm=min_cfm,
        min_unoccupied_cfm=np.minimum(by_group("minimum_unoccupied_frac") * max_cfm, max_cfm),
        dual_maximum=np.array([r.heating_law == "dual_maximum" for r in project.zones]),
        heat_min_cfm=heat_min,
        heat_max_cfm=heat_max,
        has_reheat=reheat,
        reheat_btuh=np.where(reheat, _or(z.given("reheat_kbtuh") * 1000.0, sizes.zone_reheat_btuh), 0.0),
        reheat_rise_max_f=z("reheat_rise_max_f"),
        cool_occupied_f=_or(z.given("cooling_setpoint_f"), by_group("cooling_setpoint_f")),
        heat_occupied_f=_or(z.given("heating_setpoint_f"), by_group("heating_setpoint_f")),
        cool_unoccupied_f=by_group("cooling_unoccupied_f"),
        heat_unoccupied_f=by_group("heating_unoccupied_f"),
        follows_cool=follows & np.isnan(z.given("cooling_setpoint_f")),
        follows_heat=follows & np.isnan(z.given("heating_setpoint_f")),
        index_share=_or(surveyed, z.given("index_share")),
        weight=multiplier * z("importance"),
        asks_temperature=np.isin(rogue, ("failed_sensor", "both")),
        asks_pressure=np.isin(rogue, ("starved_branch", "both")),
        sat_max_f=_or(z.given("sat_max_f"), np.inf),
    )

    design_cfm = sizes.design_cfm if project.air_handler.design_cfm is None else project.air_handler.design_cfm
    max_fan_cfm = design_cfm if project.air_handler.max_cfm is None else project.air_handler.max_cfm
    motor_hp = sizes.motor_hp if fan.motor_hp is None else fan.motor_hp
    groups = _groups(of_groups)
    oa = project.outdoor_air
    oa_area, oa_people = design_outdoor_air_cfm(zones, groups)
    oa_required = (oa_area + oa_people) / oa.ventilation_efficiency if oa.required_cfm is None else oa.required_cfm
    oa_minimum = oa_required if oa.minimum_cfm is None else oa.minimum_cfm
    oa_required_by = oa.required_by or ("people" if oa.control == "people" else "design")
    oa_position = np.minimum(oa_minimum / design_cfm, 1.0) if oa.position_frac is None else oa.position_frac

    unit = Unit(
        zones=zones,
        groups=groups,
        room_setpoints=project.room_setpoints,
        air_handler=project.air_handler,
        outdoor_air=oa,
        economizer=project.economizer,
        fan=fan,
        return_fan=project.return_fan,
        cooling=project.cooling,
        heating=project.heating,
        preheat=project.preheat,
        limits=project.limits,
        service=project.service,
        prices=prices_of(project),
        infiltration_running_frac=building.infiltration_running_frac,
        design_cfm=number(design_cfm),
        max_cfm=number(max_fan_cfm),
        motor_hp=number(motor_hp),
        fan_scale=1.0,
        index_dsp_inwc=number(index_dsp),
        oa_minimum_cfm=number(oa_minimum),
        oa_required_cfm=number(oa_required),
        oa_required_by=oa_required_by,
        oa_area_cfm=number(oa_area / oa.ventilation_efficiency),
        oa_position_frac=number(oa_position),
        cooling_tons=number(
            sizes.cooling_tons if project.cooling.capacity_tons is None else project.cooling.capacity_tons
        ),
        heating_kbtuh=number(
            sizes.heating_kbtuh if project.heating.capacity_kbtuh is None else project.heating.capacity_kbtuh
        ),
        preheat_kbtuh=number(sizes.preheat_kbtuh),
    )
    return _calibrated(unit)


def _calibrated(unit: Unit) -> Unit:
    """The unit with the fan's measured point applied, when one is given."""
    fan = unit.fan
    if fan.measured_kw is None:
        return unit
    modelled = fan_power_at(unit, fan.measured_cfm, fan.measured_total_inwc).kw
    return replace(unit, fan_scale=fan.measured_kw / number(modelled))
