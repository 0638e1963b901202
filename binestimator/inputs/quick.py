"""Zones from the quick description of a building: floor area, floors, footprint, glazing.

Assumptions, all of them visible as inputs or stated here:

- The footprint is a rectangle; every floor is alike; only the top floor has a roof.
- Each floor has perimeter zones of ``perimeter_depth_ft`` along the four facades, mitred at
  the corners, and a core. The depth is at most half the depth of the footprint (then there
  is no core).
- Floors below the top are one set of zones with a multiplier; the top floor is a second set.
- Special zones come out of the core, spread evenly over all floors: each carries
  1/floors of its area as roof, and has no outer wall.
- The fan stands at the core: the core needs least duct pressure, then special zones, then the
  north and south facades, then east and west (the far ends of the footprint); of alike zones
  those of the top floor come later, as the farthest from the riser.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from binestimator.inputs.problems import Problems
from binestimator.inputs.schema import check_value, fields_of

FACADES = ("north", "east", "south", "west")
# From near the fan to far from it.
_NEARNESS = {"core": 0, "special": 1, "north": 2, "south": 3, "east": 4, "west": 5}
#: Smallest floor that the quick description accepts: below it the zones have no sense. [ft2]
LEAST_FLOOR_FT2 = 400.0
_LEAST_ZONE_FT2 = fields_of("zone")["area_ft2"].low


@dataclass(frozen=True, slots=True)
class QuickZone:
    """One zone line from the quick description.

    Parameters
    ----------
    values : dict
        Values of inputs of a zone, by name.
    nearness : tuple
        Sort key from the zone nearest the fan to the farthest.
    """

    values: dict
    nearness: tuple


@dataclass(frozen=True, slots=True)
class Footprint:
    """Rectangle of one floor with its perimeter and core.

    Parameters
    ----------
    length_ft, width_ft : float
        East-west and north-south sides before rotation. [ft]
    depth_ft : float
        Depth of the perimeter zones after the limits. [ft]
    """

    length_ft: float
    width_ft: float
    depth_ft: float

    @property
    def core_ft2(self) -> float:
        """Core area of a floor. [ft2]"""
        return max(0.0, (self.length_ft - 2 * self.depth_ft) * (self.width_ft - 2 * self.depth_ft))

    def wall_length_ft(self, facade: str) -> float:
        """Length of a facade. [ft]"""
        return self.length_ft if facade in ("north", "south") else self.width_ft

    def perimeter_ft2(self, facade: str) -> float:
        """Area of the mitred perimeter strip along a facade. [ft2]"""
        return (self.wall_length_ft(facade) - self.depth_ft) * self.depth_ft


def footprint_of(building) -> Footprint:
    """Footprint of the quick description.

    Parameters
    ----------
    building : record of section building
        ``floor_area_ft2`` given.

    Notes
    -----
    A core that would leave less than the smallest zone is given to the perimeter.
    """
    floor_ft2 = building.floor_area_ft2 / building.floors
    length = math.sqrt(floor_ft2 * building.aspect_ratio)
    width = floor_ft2 / length
    footprint = Footprint(length, width, min(building.perimeter_depth_ft, width / 2))
    if footprint.core_ft2 < _LEAST_ZONE_FT2 * building.core_zones:
        footprint = Footprint(length, width, width / 2)
    return footprint


def quick_zones(building, specials, first_group: str | None, problems: Problems) -> list[QuickZone]:
    """Zone lines of the quick description.

    Parameters
    ----------
    building : record of section building
    specials : sequence of records of section special
        Complete ones only.
    first_group : str or None
        Group of zones when ``building.group`` is not given.
    problems : Problems
        Takes what does not fit.

    Returns
    -------
    list of QuickZone
        Lower floors, top floor, special zones; empty without ``floor_area_ft2``.
    """
    if building.floor_area_ft2 is None:
        return []
    floors = building.floors
    if building.floor_area_ft2 / floors < LEAST_FLOOR_FT2:
        problems.add(
            "building.floor_area_ft2", f"{building.floor_area_ft2 / floors:.0f} ft2 on each of {floors} floors",
            building.floor_area_ft2, f"at least {LEAST_FLOOR_FT2:.0f} ft2 a floor", "check floor area and floors",
            involves=("building.floors",),
        )  # fmt: skip
        return []
    footprint = footprint_of(building)
    core_ft2 = footprint.core_ft2 - sum(special.area_ft2 * special.count for special in specials) / floors
    if core_ft2 < -1e-6:
        problems.add(
            "special", "the special zones take more than the core of the quick description",
            sum(special.area_ft2 * special.count for special in specials),
            f"at most {footprint.core_ft2 * floors:.0f} ft2 in all", "make them smaller or fewer, or list zones instead",
        )  # fmt: skip
        return []
    cores = building.core_zones
    if 1e-6 < core_ft2 < _LEAST_ZONE_FT2 * cores:
        problems.add(
            "special", f"the special zones leave {core_ft2:.1f} ft2 of core on each floor for {cores} zones",
            expected=f"none, or at least {_LEAST_ZONE_FT2:.0f} ft2 a zone", do="change the area of a special zone",
        )  # fmt: skip
        return []
    group = building.group or first_group
    sets = [("Top floor", 1, True)] if floors > 1 else [("", 1, True)]
    if floors > 1:
        sets.insert(0, ("Lower floors", floors - 1, False))
    zones: list[QuickZone] = []
    for rank, (prefix, multiplier, roofed) in enumerate(sets):
        common = {"group": group, "multiplier": multiplier}
        for facade in FACADES:
            for part in range(building.zones_per_facade):
                name = _name(prefix, facade, part, building.zones_per_facade)
                values = {"name": name, **common, **_perimeter(building, footprint, facade, roofed)}
                zones.append(QuickZone(values, (_NEARNESS[facade], rank, part)))
        for part in range(cores if core_ft2 > 1e-6 else 0):
            area = core_ft2 / cores
            values = {"name": _name(prefix, "core", part, cores), **common, "area_ft2": area}
            values |= _roof(building, area if roofed else 0.0)
            zones.append(QuickZone(values, (_NEARNESS["core"], rank, part)))
    for place, special in enumerate(specials):
        values = {"name": special.name, "group": special.group, "multiplier": special.count}
        values |= {"area_ft2": special.area_ft2, **_roof(building, special.area_ft2 / floors)}
        values |= {"importance": special.importance, "rogue": special.rogue, "sat_max_f": special.sat_max_f, "index_share": special.index_share}
        zones.append(QuickZone(values, (_NEARNESS["special"], 0, place)))
    return zones if _all_fit(zones, problems) else []


def _name(prefix: str, what: str, part: int, parts: int) -> str:
    name = f"{prefix} {what}" if prefix else what.capitalize()
    return f"{name} {part + 1}" if parts > 1 else name


def _perimeter(building, footprint: Footprint, facade: str, roofed: bool) -> dict:
    parts = building.zones_per_facade
    area = footprint.perimeter_ft2(facade) / parts
    wall = footprint.wall_length_ft(facade) * building.floor_height_ft / parts
    glass = wall * getattr(building, f"glazing_{facade}_frac")
    values = _roof(building, area if roofed else 0.0)
    values["area_ft2"] = area
    values["ua_btuh_f"] += building.wall_u * (wall - glass) + building.window_u * glass
    values["infiltration_cfm"] += building.infiltration_cfm_ft2 * wall
    values[f"glass_{facade}_ft2"] = glass
    return values


def _roof(building, roof_ft2: float) -> dict:
    return {
        "roof_ft2": roof_ft2,
        "ua_btuh_f": building.roof_u * roof_ft2,
        "infiltration_cfm": building.infiltration_cfm_ft2 * roof_ft2,
    }


def _all_fit(zones: list[QuickZone], problems: Problems) -> bool:
    """Whether the zones keep the ranges that zones given one by one have to keep."""
    fields, fit = fields_of("zone"), True
    for zone in zones:
        for name, value in zone.values.items():
            _, problem = check_value(fields[name], value)
            if problem and name != "group":
                fit = False
                problems.add_text(
                    "building",
                    f'the quick description gives a zone "{zone.values["name"]}" whose {name} is {problem}; '
                    "change zones_per_facade, core_zones or floors, or list zones instead",
                )
    return fit


def spread_index_share(nearness: list[tuple], low: float) -> list[float]:
    """Shares of the index run's pressure, evenly from ``low`` (nearest the fan) to 1 (farthest).

    Parameters
    ----------
    nearness : list
        Sort key of each zone; equal keys keep their order.
    low : float
        Share of the nearest zone.

    Returns
    -------
    list of float
        In the order of ``nearness``. A single zone is the index zone: 1.
    """
    order = sorted(range(len(nearness)), key=lambda place: nearness[place])
    shares = [1.0] * len(nearness)
    for rank, place in enumerate(order[:-1]):
        shares[place] = low + (1.0 - low) * rank / (len(nearness) - 1)
    return shares
