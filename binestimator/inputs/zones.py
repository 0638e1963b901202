"""Zones of a project: those of the quick description and of the lists, with groups and index shares."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from binestimator.inputs.quick import quick_zones, spread_index_share
from binestimator.inputs.records import Build
from binestimator.inputs.schema import Record

_SURVEY = ("survey_flow_cfm", "survey_damper_pct", "survey_dsp_inwc")


def zones_of(build: Build, building: Record, specials: Sequence[Record], group_names: list[str]) -> tuple[Record, ...]:
    """Zones of the quick description and of the lists, with groups and index shares."""
    first = group_names[0] if group_names else None
    complete = [special for special in specials if special.area_ft2 is not None]
    quick = quick_zones(building, complete, first, build.problems)
    lines = [{name: value for name, value in zone.values.items() if value is not None} for zone in quick]
    derived = [set(values) for values in lines]
    explicit = [dict(values) for values in (*build.given.zones, *build.given.csv_zones)]
    if not explicit and building.floor_area_ft2 is None:
        build.problems.add(
            "zone",
            "no zone",
            expected="at least one",
            do="give building.floor_area_ft2 for zones from the quick description"
            + build.problems.words(", list [[zone]], or name a zones_csv file under [project]", ", or list zones here"),
            involves=("building.floor_area_ft2", "project.zones_csv", "zone"),
        )
    lines += explicit
    derived += [set() for _ in explicit]
    build.name_lines("zone", lines)
    lacking = [_lacks_share(values) for values in lines]
    overridden = build.override_lines("zone", lines)
    for values, made, changed in zip(lines, derived, overridden, strict=False):
        made -= changed
        if values.get("group") is None and first is not None:
            values["group"] = first
            made.add("group")
    for places, keys, counts in (
        (range(len(quick)), [zone.nearness for zone in quick], [zone.values["multiplier"] for zone in quick]),
        (
            range(len(quick), len(lines)),
            [(place,) for place in range(len(lines) - len(quick))],
            [1] * (len(lines) - len(quick)),
        ),
    ):
        _spread(lines, derived, lacking, list(places), keys, counts, building.index_share_low)
    zones = []
    for values, made in zip(lines, derived, strict=False):
        prefix = f"zone[{values['name']}]"
        if "group" not in made:  # else it comes from the quick description, which is checked itself
            build.group_exists(f"{prefix}.group", values.get("group"), group_names)
        zones.append(build.record("zone", values, prefix, frozenset(made)))
    return tuple(zones)


def _spread(
    lines: list[dict],
    derived: list[set],
    lacking: list[bool],
    places: list[int],
    keys: list[tuple],
    counts: list[int],
    low: float,
) -> None:
    """Fill in index shares along one list of zones.

    Zones that lacked a share before overrides keep their place in the spread, so that
    overriding one zone's share moves no other zone's.
    """
    spread = [
        (place, key, count)
        for place, key, count in zip(places, keys, counts, strict=False)
        if lacking[place] or _lacks_share(lines[place])
    ]
    shares = spread_index_share([key for _, key, _ in spread], low, [count for *_, count in spread])
    for (place, *_), share in zip(spread, shares, strict=True):
        if _lacks_share(lines[place]):
            lines[place]["index_share"] = share
            derived[place].add("index_share")


def _lacks_share(values: Mapping) -> bool:
    return values.get("index_share") is None and any(values.get(name) is None for name in _SURVEY)
