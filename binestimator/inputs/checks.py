"""Checks between inputs: one small function for each rule.

Each function takes the project and adds to ``problems`` what cannot be right, or returns
findings for what is merely unlikely. A rule is silent when an input it looks at is itself wrong.
"""

from __future__ import annotations

from collections.abc import Iterator

from binestimator.errors import Finding
from binestimator.inputs.fan_checks import fan_findings
from binestimator.inputs.follows import default_lines, used_by
from binestimator.inputs.paths import item_path
from binestimator.inputs.problems import Problems
from binestimator.inputs.schema import (
    STRATEGY_SECTIONS,
    fields_of,
    value_text,
)
from binestimator.inputs.unlikely import given_but_unused, status_without_value, unlikely
from binestimator.inputs.values import POINT_X_RANGE

#: Supply air has to be this much colder than a room it cools. [degF]
SAT_MARGIN_F = 3.0
#: Least distance between heating and cooling setpoint. [degF]
LEAST_DEADBAND_F = 1.0


def check_all(project, problems: Problems, places: dict[str, str]) -> list[Finding]:
    """Run every rule.

    Parameters
    ----------
    project : Project
        Complete; inputs that are wrong hold their defaults and are named in ``problems.bad``.
    problems : Problems
        Takes the errors.
    places : dict
        For strategy inputs of candidates: where the user gave the value.

    Returns
    -------
    list of Finding
    """
    findings: list[Finding] = []
    for rule in (
        _ordered_pairs,
        _setpoints,
        _setpoint_lines,
        _airflows,
        _cold_zones,
        _survey,
        _outdoor_air,
        _calendar,
        _standing_loss,
    ):
        rule(project, problems)
    _strategies(project, problems, places)
    _supply_below_rooms(project, problems, places)
    findings += fan_findings(project, problems)
    findings += unlikely(project)
    findings += given_but_unused(project)
    findings += status_without_value(project)
    return findings


def _ordered_pairs(project, problems: Problems) -> None:
    """Pairs of a section of which the first has to be below the second."""
    fan = project.fan
    dsp_max = project.limits.dsp_max_inwc
    pairs = [
        ("limits.sat_min_f", project.limits.sat_min_f, "limits.sat_max_f", project.limits.sat_max_f),
        (
            "limits.dsp_min_inwc",
            project.limits.dsp_min_inwc,
            "fan.design_dsp_inwc" if dsp_max is None else "limits.dsp_max_inwc",
            fan.design_dsp_inwc if dsp_max is None else dsp_max,
        ),
        (
            "limits.oa_dewpoint_low_f",
            project.limits.oa_dewpoint_low_f,
            "limits.oa_dewpoint_high_f",
            project.limits.oa_dewpoint_high_f,
        ),
        (
            "limits.damper_release_pct",
            project.limits.damper_release_pct,
            "limits.damper_open_pct",
            project.limits.damper_open_pct,
        ),
        (
            "limits.loop_release_pct",
            project.limits.loop_release_pct,
            "limits.loop_ask_pct",
            project.limits.loop_ask_pct,
        ),
        ("fan.design_dsp_inwc", fan.design_dsp_inwc, "fan.design_total_inwc", fan.design_total_inwc),
    ]
    for low_path, low, high_path, high in pairs:
        if low >= high:
            problems.add(
                low_path,
                f"not below {high_path}",
                low,
                f"less than {value_text(high)}",
                "check whether the two are swapped",
                involves=(low_path, high_path),
            )


def _standing_loss(project, problems: Problems) -> None:
    """A standing loss that no plant would have: it would silently count for nothing."""
    path, loss = "heating.standing_loss_kbtuh", project.heating.standing_loss_kbtuh
    if loss is None or project.origins.get(path) != "given":
        return
    kinds = {project.heating.type, project.preheat.type if project.preheat.type != "same" else project.heating.type}
    if not kinds & {"boiler"} and project.heating.type != "heat_pump":
        problems.add(
            path,
            f"a source of type {project.heating.type} has no standing loss",
            loss,
            "none",
            "remove it; losses of purchased heat are heating.purchased_loss_frac"
            if "purchased" in kinds
            else "remove it",
            involves=(path, "heating.type"),
        )


def _setpoints(project, problems: Problems) -> None:
    def pair(heating_path, heating, cooling_path, cooling):
        if heating > cooling - LEAST_DEADBAND_F:
            problems.add(
                heating_path,
                f"not at least {LEAST_DEADBAND_F:g} degF below {cooling_path} ({value_text(cooling)})",
                heating,
                f"at most {value_text(cooling - LEAST_DEADBAND_F)} degF",
                "check whether the two are swapped",
                involves=(heating_path, cooling_path),
            )

    for group in project.groups:
        for heating, cooling in (
            ("heating_setpoint_f", "cooling_setpoint_f"),
            ("heating_unoccupied_f", "cooling_unoccupied_f"),
        ):
            pair(
                item_path("group", group.name, heating),
                getattr(group, heating),
                item_path("group", group.name, cooling),
                getattr(group, cooling),
            )
    groups = {group.name: group for group in project.groups}
    for zone in project.zones:
        if zone.heating_setpoint_f is None and zone.cooling_setpoint_f is None:
            continue
        values = []
        for name in ("heating_setpoint_f", "cooling_setpoint_f"):
            if getattr(zone, name) is not None:
                values += [item_path("zone", zone.name, name), getattr(zone, name)]
            elif zone.group in groups:
                values += [item_path("group", zone.group, name), getattr(groups[zone.group], name)]
        if len(values) == 4:
            pair(*values)


def _at(x: float, points) -> float:
    """Straight lines between points, flat outside."""
    below = [p for p in points if p[0] <= x]
    above = [p for p in points if p[0] > x]
    if not below or not above:
        return float((below or above)[-1 if below else 0][1])
    (x0, y0), (x1, y1) = below[-1], above[0]
    return y0 + (x - x0) / (x1 - x0) * (y1 - y0)


def _setpoint_lines(project, problems: Problems) -> None:
    """Room setpoints by outdoor temperature keep apart at every outdoor temperature."""
    rule = project.room_setpoints
    if rule.rule != "outdoor_air":
        return
    for x in sorted({x for points in (rule.heating_points, rule.cooling_points) for x, _ in points}):
        low, high = _at(x, rule.heating_points), _at(x, rule.cooling_points)
        if low > high - LEAST_DEADBAND_F:
            problems.add(
                "room_setpoints.heating_points",
                f"at {x:g} degF outdoors not at least {LEAST_DEADBAND_F:g} degF below room_setpoints.cooling_points "
                f"({high:g})",
                round(low, 3),
                f"at most {high - LEAST_DEADBAND_F:g} degF there",
                "move one of the two lines",
                involves=("room_setpoints.heating_points", "room_setpoints.cooling_points"),
            )
            return


def _airflows(project, problems: Problems) -> None:
    for zone in project.zones:
        dual = zone.heating_law == "dual_maximum"
        order = [("min_cfm", zone.min_cfm), ("max_cfm", zone.max_cfm)]
        _ascending(zone.name, order, problems)
        if dual:
            _ascending(zone.name, [("heat_min_cfm", zone.heat_min_cfm), ("heat_max_cfm", zone.heat_max_cfm)], problems)
            _ascending(zone.name, [("heat_max_cfm", zone.heat_max_cfm), ("max_cfm", zone.max_cfm)], problems)
            _ascending(zone.name, [("min_cfm", zone.min_cfm), ("heat_max_cfm", zone.heat_max_cfm)], problems)
            if zone.heat_max_cfm is None:
                _ascending(zone.name, [("heat_min_cfm", zone.heat_min_cfm), ("max_cfm", zone.max_cfm)], problems)


def _ascending(zone: str, pair: list[tuple[str, float | None]], problems: Problems) -> None:
    (low_name, low), (high_name, high) = pair
    if low is not None and high is not None and low > high:
        low_path, high_path = (item_path("zone", zone, name) for name in (low_name, high_name))
        problems.add(
            low_path,
            f"above {high_name} ({value_text(high)})",
            low,
            f"at most {value_text(high)} cfm",
            "check whether the two are swapped",
            involves=(low_path, high_path),
        )


def _cold_zones(project, problems: Problems) -> None:
    coldest = project.limits.sat_min_f
    for zone in project.zones:
        if zone.sat_max_f is not None and zone.sat_max_f < coldest:
            path = item_path("zone", zone.name, "sat_max_f")
            problems.add(
                path,
                "colder than the coldest supply air of the resets (limits.sat_min_f)",
                zone.sat_max_f,
                f"at least {value_text(coldest)} degF",
                "lower limits.sat_min_f, or raise this limit",
                involves=(path, "limits.sat_min_f"),
            )


def _survey(project, problems: Problems) -> None:
    names = ("survey_flow_cfm", "survey_damper_pct", "survey_dsp_inwc")
    for zone in project.zones:
        missing = [name for name in names if getattr(zone, name) is None]
        if 0 < len(missing) < 3:
            problems.add(
                f"zone[{zone.name}]",
                f"damper survey without {' and '.join(missing)}",
                expected="all three survey values or none",
                do="give the missing value or remove the others",
                involves=tuple(item_path("zone", zone.name, name) for name in names),
            )


def _outdoor_air(project, problems: Problems) -> None:
    oa, unit = project.outdoor_air, project.air_handler
    largest, path = unit.design_cfm, "air_handler.design_cfm"
    if largest is not None and oa.minimum_cfm is not None and oa.minimum_cfm > largest:
        problems.add(
            "outdoor_air.minimum_cfm",
            f"above {path}",
            oa.minimum_cfm,
            f"at most {value_text(largest)} cfm",
            involves=(path,),
        )
    if oa.position_frac is not None and oa.position_frac > oa.maximum_frac:
        problems.add(
            "outdoor_air.position_frac",
            "above outdoor_air.maximum_frac",
            oa.position_frac,
            f"at most {value_text(oa.maximum_frac)}",
            involves=("outdoor_air.maximum_frac",),
        )


def _calendar(project, problems: Problems) -> None:
    calendar = project.calendar
    given = calendar.rate_period_hours or calendar.mid_peak_hours or project.terms.energy_prices
    if project.bins.by_rate_period and not given:
        problems.add(
            "bins.by_rate_period",
            "asks for rate periods, but none is given",
            project.bins.by_rate_period,
            do="give calendar.rate_period_hours, such as " + problems.words("[12, 18]", "12, 18"),
            involves=("calendar.rate_period_hours",),
        )


# ---------------------------------------------------------------- strategies


#: Inputs of a strategy that are the two ends of a range.
_RANGES_OF_STRATEGIES = (("sat", "min_f", "max_f"), ("sat", "oat_min_f", "oat_max_f"), ("dsp", "min_inwc", "max_inwc"))


def _strategies(project, problems: Problems, places: dict[str, str]) -> None:
    for candidate in project.candidates:
        pairs = []
        for part, low_name, high_name in _RANGES_OF_STRATEGIES:
            record = getattr(candidate, part)
            if used_by(fields_of(part)[low_name], record.strategy):
                pairs.append((part, low_name, getattr(record, low_name), high_name, getattr(record, high_name)))
        for part, low_name, low, high_name, high in pairs:
            if low < high:
                continue
            low_path, high_path = (
                item_path("candidate", candidate.id, f"{part}.{name}") for name in (low_name, high_name)
            )
            given = [path for path in (low_path, high_path) if path in places]
            if not given:  # both from the limits, which are reported there
                continue
            where = places[given[0]]
            problems.add(
                where,
                f"{low_name} is not below {high_name} of candidate {candidate.id}",
                low,
                f"less than {value_text(high)}",
                "check whether the two are swapped",
                involves=(
                    *(places[path] for path in given),
                    "limits.sat_min_f",
                    "limits.sat_max_f",
                    "limits.dsp_min_inwc",
                    "limits.dsp_max_inwc",
                ),
            )
        for part in STRATEGY_SECTIONS:
            record = getattr(candidate, part)
            line = default_lines().get((part, record.strategy))
            if line is not None and line.x_low is not None and record.points[0][0] < line.x_low:
                path = item_path("candidate", candidate.id, f"{part}.points")
                problems.add(
                    places.get(path, path),
                    f"{line.x} below {'zero' if line.x_low == 0.0 else value_text(line.x_low)}",
                    record.points[0][0],
                    f"{line.x} in {line.x_unit}, {value_text(line.x_low)} to {value_text(POINT_X_RANGE[1])}",
                )


def _supply_values(project, places: dict[str, str]) -> Iterator[tuple[str, float, bool]]:
    """Warmest supply setpoints that the user gave: (path, [degF], in unoccupied hours)."""
    yield "air_handler.design_sat_f", project.air_handler.design_sat_f, False
    yield "limits.sat_max_f", project.limits.sat_max_f, False
    for candidate in project.candidates:
        for name in ("setpoint_f", "max_f", "override_f", "points", "points_unoccupied"):
            path = item_path("candidate", candidate.id, f"sat.{name}")
            value = getattr(candidate.sat, name)
            if path in places and value is not None:
                if isinstance(value, tuple):
                    value = max(y for _, y in value)
                yield places[path], value, name == "points_unoccupied"


def _supply_below_rooms(project, problems: Problems, places: dict[str, str]) -> None:
    coldest: dict[bool, tuple[float, str] | None] = {}
    occupied = [
        (group.cooling_setpoint_f, item_path("group", group.name, "cooling_setpoint_f")) for group in project.groups
    ]
    occupied += [
        (zone.cooling_setpoint_f, item_path("zone", zone.name, "cooling_setpoint_f"))
        for zone in project.zones
        if zone.cooling_setpoint_f is not None
    ]
    if project.room_setpoints.rule == "outdoor_air":
        least = min(y for _, y in project.room_setpoints.cooling_points)
        occupied.append((least, "room_setpoints.cooling_points"))
    unoccupied = [
        (group.cooling_unoccupied_f, item_path("group", group.name, "cooling_unoccupied_f")) for group in project.groups
    ]
    coldest[False] = min((room for room in occupied if room[1] not in problems.bad), default=None)
    coldest[True] = min((room for room in unoccupied if room[1] not in problems.bad), default=None)
    for path, warmest, at_night in _supply_values(project, places):
        room = coldest[at_night]
        if room is not None and warmest > room[0] - SAT_MARGIN_F:
            problems.add(
                path,
                f"supply air not at least {SAT_MARGIN_F:g} degF colder than {room[1]} ({value_text(room[0])})",
                warmest,
                f"at most {value_text(room[0] - SAT_MARGIN_F)} degF",
                "lower the supply setpoint or raise the room setpoint",
                involves=(path,),
            )
