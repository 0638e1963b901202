"""Zones from the quick description of a building: floor area, floors, footprint, glazing.

Assumptions, all of them visible as inputs or stated here:

- The footprint is a rectangle; every floor is alike; only the top floor has a roof.
- Each floor has perimeter zones of ``perimeter_depth_ft`` along the four facades, mitred at
  the corners, and a core. The depth is at most half the depth of the footprint (then there
  is no core).
- Floors below the top are one set of zones with a multiplier; the top floor is a second set.
- Each kind of zone (a facade or the core of a set of floors) is cut into zones of about
  ``zone_area_ft2``, one terminal each, unless ``zones_per_facade`` or ``core_zones`` says how many
  there are on a floor. Like zones share lines: at most ``MOST_LINES_OF_KIND`` a kind and ``MOST_LINES`` in all.
- Rooms of a kind do not all have the same load: internal gains of the lines of a kind cut by area are spread evenly
  from 1 - ``diversity_frac`` to 1 + ``diversity_frac`` times those of the group, and their mean stays.
  Lines with more and with less alternate, both near the fan and far from it.
- Special zones come out of the core, spread evenly over all floors: each carries
  1/floors of its area as roof, and has no outer wall.
- Rogue zones given by number (``failed_sensor_zones``, ``starved_branch_zones``, ``undersized_zones``) are dealt to
  the lines with the most zones, one each in turn; each such zone leaves its line for one of its own.
- The fan is at the core: the core needs least duct pressure, then special zones, then the
  north and south facades, then east and west (the far ends of the footprint); of alike zones
  those of the top floor come later, as the farthest from the riser.
"""

from __future__ import annotations

import functools
import math

from binestimator.dataclass import dataclass
from binestimator.inputs.problems import Problems
from binestimator.inputs.schema import fields_of
from binestimator.inputs.values import check_value

FACADES = ("north", "east", "south", "west")
# From near the fan to far from it.
_NEARNESS = {"core": 0, "special": 1, "north": 2, "south": 3, "east": 4, "west": 5}
#: Most lines of zones from the quick description, special ones included, and most of one kind.
MOST_LINES, MOST_LINES_OF_KIND = 60, 5
# Gains of the lines of a kind from near the fan to far from it, as shares of the diversity: evenly spread from
# -1 to 1, of opposite signs at opposite places (so that their mean is 0), and with four or five without a trend.
_SPREAD = {
    1: (0.0,),
    2: (1.0, -1.0),
    3: (1.0, 0.0, -1.0),
    4: (-1 / 3, 1.0, -1.0, 1 / 3),
    5: (-0.5, 1.0, 0.0, -1.0, 0.5),
}
#: Kinds of rogue zones that are given by number.
ROGUE_KINDS = ("failed_sensor", "starved_branch", "undersized")
#: Smallest floor that the quick description accepts: below it the zones make no sense. [ft2]
LEAST_FLOOR_FT2 = 400.0
_LEAST_ZONE_FT2, _ = fields_of("zone")["area_ft2"].bounds


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
class _Line:
    """Line of like zones of one kind.

    Parameters
    ----------
    name : str
    count : int
        Zones that the line represents.
    gain_multiplier : float or None
        None: that of the group.
    """

    name: str
    count: int
    gain_multiplier: float | None


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
    if footprint.core_ft2 < _LEAST_ZONE_FT2 * (building.core_zones or 1):
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
            "building.floor_area_ft2",
            f"{building.floor_area_ft2 / floors:.0f} ft2 on each of {floors} floors",
            building.floor_area_ft2,
            f"at least {LEAST_FLOOR_FT2:.0f} ft2 a floor",
            "check floor area and floors",
            involves=("building.floors",),
        )
        return []
    footprint = footprint_of(building)
    core_ft2 = footprint.core_ft2 - sum(special.area_ft2 * special.count for special in specials) / floors
    if core_ft2 < -1e-6:
        problems.add(
            "special",
            "the special zones take more than the core of the quick description",
            sum(special.area_ft2 * special.count for special in specials),
            f"at most {footprint.core_ft2 * floors:.0f} ft2 in all",
            "make them smaller or fewer, or list zones instead",
        )
        return []
    cores = building.core_zones or 1
    if 1e-6 < core_ft2 < _LEAST_ZONE_FT2 * cores:
        problems.add(
            "special",
            f"the special zones leave {core_ft2:.1f} ft2 of core on each floor for {cores} zones",
            expected=f"none, or at least {_LEAST_ZONE_FT2:.0f} ft2 a zone",
            do="change the area of a special zone",
        )
        return []
    group = building.group or first_group
    sets = [("Top floor", 1, True)] if floors > 1 else [("", 1, True)]
    if floors > 1:
        sets.insert(0, ("Lower floors", floors - 1, False))
    kinds = [*FACADES, *(["core"] if core_ft2 > 1e-6 else [])]
    most = max(1, min(MOST_LINES_OF_KIND, (MOST_LINES - len(specials)) // (len(sets) * len(kinds))))
    zones: list[QuickZone] = []
    for rank, (prefix, alike, roofed) in enumerate(sets):
        for place, kind in enumerate(kinds):
            area = core_ft2 if kind == "core" else footprint.perimeter_ft2(kind)
            count = building.core_zones if kind == "core" else building.zones_per_facade
            by_area = count is None
            if by_area:
                count = max(1, round(area / building.zone_area_ft2))
            # Kinds alternate, so that the order within a kind favours neither end of the duct.
            lines = (
                _lines(prefix, kind, count, alike, most, building.diversity_frac * (-1) ** (place + rank))
                if by_area
                else [_Line(_name(prefix, kind, part, count), alike, None) for part in range(count)]
            )
            for part, line in enumerate(lines):
                values = {"name": line.name, "group": group, "multiplier": line.count}
                if line.gain_multiplier is not None:
                    values["gain_multiplier"] = line.gain_multiplier
                if kind == "core":
                    values |= {"area_ft2": area / count, **_roof(building, area / count if roofed else 0.0)}
                else:
                    values |= _perimeter(building, footprint, kind, count, roofed)
                zones.append(QuickZone(values, (_NEARNESS[kind], rank, part)))
    zones = _with_rogue(building, zones, problems)
    for place, special in enumerate(specials):
        values = {"name": special.name, "group": special.group, "multiplier": special.count}
        values |= {"area_ft2": special.area_ft2, **_roof(building, special.area_ft2 / floors)}
        values |= {
            "importance": special.importance,
            "rogue": special.rogue,
            "sat_max_f": special.sat_max_f,
            "index_share": special.index_share,
        }
        zones.append(QuickZone(values, (_NEARNESS["special"], 0, place)))
    return zones if _all_fit(zones, problems) else []


def _with_rogue(building, zones: list[QuickZone], problems: Problems) -> list[QuickZone]:
    """Zones with the rogue ones of each kind on lines of their own, next to those they are taken from."""
    total = sum(zone.values["multiplier"] for zone in zones)
    left = [zone.values["multiplier"] for zone in zones]
    taken: dict[tuple[int, str], int] = {}
    # From the line with the most zones on; of equal ones the first.
    order = sorted(range(len(zones)), key=lambda place: -left[place])
    turn = 0
    for kind in ROGUE_KINDS:
        given = getattr(building, f"{kind}_zones")
        number = round(given if given >= 1.0 else given * total)
        if number > sum(left):
            problems.add(
                f"building.{kind}_zones",
                "more rogue zones than the quick description has zones",
                given,
                f"with the other kinds at most {total}",
                "give fewer, or a share below 1",
            )
            return zones
        for _ in range(number):
            while left[order[turn % len(order)]] == 0:
                turn += 1
            place = order[turn % len(order)]
            left[place] -= 1
            taken[place, kind] = taken.get((place, kind), 0) + 1
            turn += 1
    out: list[QuickZone] = []
    for place, zone in enumerate(zones):
        if left[place]:
            out.append(QuickZone(zone.values | {"multiplier": left[place]}, zone.nearness))
        for kind in ROGUE_KINDS:
            if (place, kind) in taken:
                name = f"{zone.values['name']}, {kind.replace('_', ' ')}"
                values = zone.values | {"name": name, "multiplier": taken[place, kind], "rogue": kind}
                out.append(QuickZone(values, (*zone.nearness, 1)))
    return out


def _name(prefix: str, what: str, part: int, parts: int) -> str:
    name = f"{prefix} {what}" if prefix else what.capitalize()
    return f"{name} {part + 1}" if parts > 1 else name


def _lines(prefix: str, kind: str, count: int, floors: int, most: int, diversity: float) -> list[_Line]:
    """Lines of the zones of a kind: as many as there are zones, at most ``most``.

    Zones are dealt out so that lines at opposite places represent equally many; a line fewer
    where that cannot be. Then the mean gain of all zones is that of the group.
    """
    zones = count * floors
    number = min(zones, most)
    if number % 2 == 0 and (zones % number) % 2 == 1:
        number -= 1
    each, left = divmod(zones, number)
    counts = [each] * number
    if left % 2:
        counts[number // 2] += 1
    for place in range(left // 2):
        counts[place] += 1
        counts[number - 1 - place] += 1
    return [
        _Line(_name(prefix, kind, part, number), counts[part], 1.0 + diversity * _SPREAD[number][part])
        for part in range(number)
    ]


def _perimeter(building, footprint: Footprint, facade: str, parts: int, roofed: bool) -> dict:
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


@functools.lru_cache(maxsize=4096, typed=True)
def _problem_of(name: str, value: object) -> str | None:
    """What is wrong with a value of a zone: drivers build the same zones by the dozen."""
    return check_value(fields_of("zone")[name], value)[1]


def _all_fit(zones: list[QuickZone], problems: Problems) -> bool:
    """Whether the zones keep the ranges that zones given one by one have to keep."""
    fit = True
    for zone in zones:
        for name, value in zone.values.items():
            problem = _problem_of(name, value)
            if problem and name != "group":
                fit = False
                problems.add_text(
                    "building",
                    f'the quick description gives a zone "{zone.values["name"]}" whose {name} is {problem}; '
                    "change zone_area_ft2, zones_per_facade, core_zones or floors, or list zones instead",
                )
    return fit


def spread_index_share(nearness: list[tuple], low: float, counts: list[int] | None = None) -> list[float]:
    """Shares of the index run's pressure, evenly over the zones from ``low`` (nearest the fan) to 1 (farthest).

    Parameters
    ----------
    nearness : list
        Sort key of each line; equal keys keep their order.
    low : float
        Share of the nearest line.
    counts : list of int, optional
        Zones that each line represents; one each when not given.

    Returns
    -------
    list of float
        In the order of ``nearness``: each line has the share at the middle of its zones, drawn out so that
        the first has ``low`` and the last 1. A single line is the index zone: 1.
    """
    order = sorted(range(len(nearness)), key=lambda place: nearness[place])
    counts = [1] * len(nearness) if counts is None else counts
    middles, before = {}, 0
    for place in order:
        middles[place] = before + counts[place] / 2
        before += counts[place]
    shares = [1.0] * len(nearness)
    for place in order[:-1]:
        shares[place] = low + (1.0 - low) * (middles[place] - middles[order[0]]) / (
            middles[order[-1]] - middles[order[0]]
        )
    return shares
