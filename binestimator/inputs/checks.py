"""Checks between inputs: one small function for each rule.

Each function takes the project and adds to ``problems`` what cannot be right, or returns
findings for what is merely unlikely. A rule is silent when an input it looks at is itself wrong.
"""

from __future__ import annotations

from collections.abc import Iterator

from binestimator.errors import Finding
from binestimator.inputs.follows import default_lines, used_by
from binestimator.inputs.paths import item_path
from binestimator.inputs.problems import Problems
from binestimator.inputs.schema import (
    SINGLE_SECTIONS,
    STRATEGY_SECTIONS,
    Field,
    fields_of,
    is_used,
    used_when_text,
    value_text,
)
from binestimator.inputs.values import POINT_X_RANGE
from binestimator.units import FAN_CFM_INWC_PER_HP, HORSEPOWER_KW

#: Supply air has to be this much colder than a room it cools. [degF]
SAT_MARGIN_F = 3.0
#: Least distance between heating and cooling setpoint. [degF]
LEAST_DEADBAND_F = 1.0
#: Fan input per airflow seen in practice [kW/cfm]; assumption. Twice beyond it is an error.
KW_PER_CFM_LOW, KW_PER_CFM_HIGH = 0.0002, 0.003
#: Power above nameplate by more than this factor is taken for a mistake.
NAMEPLATE_FACTOR = 1.25


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
    for rule in (_ordered_pairs, _setpoints, _airflows, _cold_zones, _survey, _outdoor_air, _calendar, _standing_loss):
        rule(project, problems)
    _strategies(project, problems, places)
    _supply_below_rooms(project, problems, places)
    findings += _fan(project, problems)
    findings += _unlikely(project)
    findings += _given_but_unused(project)
    findings += _status_without_value(project)
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
    if project.bins.by_rate_period and not (project.calendar.rate_period_hours or project.calendar.mid_peak_hours):
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


# ---------------------------------------------------------------- fan and nameplates


def _fan(project, problems: Problems) -> list[Finding]:
    fan, cfm = project.fan, project.air_handler.design_cfm
    findings: list[Finding] = []
    air_hp_per_cfm = fan.design_total_inwc / FAN_CFM_INWC_PER_HP
    input_kw_per_cfm = (
        air_hp_per_cfm
        * HORSEPOWER_KW
        / (fan.efficiency_frac * fan.belt_efficiency_frac * fan.motor_efficiency_frac * fan.drive_efficiency_frac)
    )
    if input_kw_per_cfm > KW_PER_CFM_HIGH or input_kw_per_cfm < KW_PER_CFM_LOW:
        findings.append(
            Finding(
                "check",
                "fan",
                f"The design point of the fan takes {input_kw_per_cfm:.5f} kW/cfm; {KW_PER_CFM_LOW} to "
                f"{KW_PER_CFM_HIGH} "
                "is usual. Check design_total_inwc and the efficiencies.",
            )
        )
    if cfm is not None and fan.motor_hp is not None:
        bhp = cfm * air_hp_per_cfm / (fan.efficiency_frac * fan.belt_efficiency_frac)
        if bhp > NAMEPLATE_FACTOR * fan.motor_hp:
            problems.add(
                "fan.motor_hp",
                f"the design point needs {bhp:.1f} hp at the shaft (design_cfm x design_total_inwc / "
                "(6356 x efficiency_frac x belt_efficiency_frac)), more than the motor gives",
                fan.motor_hp,
                f"at least {bhp / NAMEPLATE_FACTOR:.1f} hp",
                "enter the nameplate output of all supply fan motors together, and check airflow, pressure and "
                "efficiency",
                involves=(
                    "air_handler.design_cfm",
                    "fan.design_total_inwc",
                    "fan.efficiency_frac",
                    "fan.belt_efficiency_frac",
                ),
            )
        elif bhp > fan.motor_hp:
            findings.append(
                Finding(
                    "check",
                    "fan.motor_hp",
                    f"The design point needs {bhp:.1f} hp at the shaft, more than the {fan.motor_hp:g} hp of the "
                    "motor.",
                )
            )
        elif bhp < 0.3 * fan.motor_hp:
            findings.append(
                Finding(
                    "check",
                    "fan.motor_hp",
                    f"The design point needs only {bhp:.1f} hp of the {fan.motor_hp:g} hp of the motor; "
                    "check airflow, pressure and nameplate.",
                )
            )
    return findings + _measured_fan(project, problems)


def _measured_fan(project, problems: Problems) -> list[Finding]:
    fan = project.fan
    findings: list[Finding] = []
    names = ("measured_cfm", "measured_total_inwc", "measured_kw")
    paths = tuple(f"fan.{name}" for name in names)
    missing = [name for name in names if getattr(fan, name) is None]
    if len(missing) == 3:
        return findings
    if missing:
        problems.add(
            "fan",
            f"measured point without {' and '.join(missing)}",
            expected="all three measured values or none",
            do="give the missing value or remove the others",
            involves=paths,
        )
    if fan.measured_kw is not None and fan.motor_hp is not None:
        nameplate_kw = fan.motor_hp * HORSEPOWER_KW / fan.motor_efficiency_frac
        if fan.measured_kw > NAMEPLATE_FACTOR * nameplate_kw:
            problems.add(
                "fan.measured_kw",
                f"above what a motor of {fan.motor_hp:g} hp can take: output against input power "
                f"(the nameplate is output, {nameplate_kw:.1f} kW of input at full load)",
                fan.measured_kw,
                f"at most {NAMEPLATE_FACTOR * nameplate_kw:.1f} kW",
                "check that motor_hp is the nameplate output of all supply fan motors and measured_kw the input of "
                "the same",
                involves=(*paths, "fan.motor_hp", "fan.motor_efficiency_frac"),
            )
    if fan.measured_kw is None or fan.measured_cfm is None:
        return findings
    kw_per_cfm = fan.measured_kw / fan.measured_cfm
    if not KW_PER_CFM_LOW / 2 <= kw_per_cfm <= KW_PER_CFM_HIGH * 2:
        problems.add(
            "fan.measured_kw",
            f"{kw_per_cfm:.6f} kW/cfm at the measured point is out of reach",
            fan.measured_kw,
            f"{KW_PER_CFM_LOW} to {KW_PER_CFM_HIGH} kW/cfm",
            "check the units of measured_kw and measured_cfm",
            involves=paths,
        )
    elif not KW_PER_CFM_LOW <= kw_per_cfm <= KW_PER_CFM_HIGH:
        findings.append(
            Finding(
                "check",
                "fan.measured_kw",
                f"{kw_per_cfm:.5f} kW/cfm at the measured point; {KW_PER_CFM_LOW} to {KW_PER_CFM_HIGH} is usual.",
            )
        )
    if fan.measured_total_inwc is not None:
        air_kw = fan.measured_cfm * fan.measured_total_inwc / FAN_CFM_INWC_PER_HP * HORSEPOWER_KW
        if air_kw >= fan.measured_kw:
            problems.add(
                "fan.measured_kw",
                f"the air at the measured point carries {air_kw:.2f} kW: efficiency above 1",
                fan.measured_kw,
                f"more than {air_kw:.2f} kW",
                "check the measured airflow, pressure and power",
                involves=paths,
            )
        elif air_kw > 0.85 * fan.measured_kw:
            findings.append(
                Finding(
                    "check",
                    "fan.measured_kw",
                    f"The measured point means an efficiency of {air_kw / fan.measured_kw:.0%} from the drive to the "
                    "air; "
                    "fan, belt, motor and drive together rarely pass 75 %.",
                )
            )
    return findings


# ---------------------------------------------------------------- findings


def _unlikely(project) -> list[Finding]:
    findings = []

    def check(where: str, text: str) -> None:
        findings.append(Finding("check", where, text))

    for zone in project.zones:
        surveyed = zone.survey_flow_cfm is not None
        path = item_path("zone", zone.name, "index_share")
        if zone.index_share is not None and zone.index_share > 1:
            check(
                path,
                f"{zone.index_share:g} means that the zone cannot get its design airflow at the pressure of the "
                "index run; it will be starved or hold up a reset.",
            )
        if surveyed and project.origins.get(path) == "given":
            check(path, "Given but not used: the damper survey of the zone replaces it.")
    for group in project.groups:
        for name, limit, text in (
            ("cooling_unoccupied_f", group.cooling_setpoint_f, "colder than the occupied cooling setpoint"),
            ("heating_unoccupied_f", group.heating_setpoint_f, "warmer than the occupied heating setpoint"),
        ):
            value = getattr(group, name)
            if (value < limit) if name.startswith("cooling") else (value > limit):
                check(item_path("group", group.name, name), f"{value:g} degF is {text} ({limit:g}).")
    limits, fan, unit = project.limits, project.fan, project.air_handler
    if limits.sat_min_f < unit.design_sat_f:
        check(
            "limits.sat_min_f",
            f"{limits.sat_min_f:g} degF is colder than the design supply temperature "
            f"({unit.design_sat_f:g}): resets may run colder than the plant was sized for.",
        )
    if limits.dsp_max_inwc is not None and limits.dsp_max_inwc > fan.design_dsp_inwc:
        check(
            "limits.dsp_max_inwc",
            f"{limits.dsp_max_inwc:g} in. w.c. is above the design duct static pressure ({fan.design_dsp_inwc:g}).",
        )
    if fan.index_dsp_inwc is not None and fan.index_dsp_inwc > fan.design_dsp_inwc:
        check(
            "fan.index_dsp_inwc",
            f"{fan.index_dsp_inwc:g} in. w.c. is above the design duct static pressure "
            f"({fan.design_dsp_inwc:g}): the neediest zone is starved at design.",
        )
    if unit.max_cfm is not None and unit.design_cfm is not None and unit.max_cfm < unit.design_cfm:
        check("air_handler.max_cfm", f"{unit.max_cfm:g} cfm is below the design airflow ({unit.design_cfm:g}).")
    if unit.supply_heating == "own_setpoint" and unit.supply_heating_setpoint_f > limits.sat_min_f:
        check(
            "air_handler.supply_heating_setpoint_f",
            f"{unit.supply_heating_setpoint_f:g} degF is above the coldest "
            "supply air of the resets: the heating coil may work against the cooling coil.",
        )
    if project.cooling.type == "chilled_water" and project.cooling.chilled_water_f > limits.sat_min_f - 5:
        check(
            "cooling.chilled_water_f",
            f"{project.cooling.chilled_water_f:g} degF is within 5 degF of the coldest "
            f"supply air ({limits.sat_min_f:g}).",
        )
    for candidate in project.candidates:
        if candidate.kind != "reset" and not candidate.overrides:
            check(
                item_path("candidate", candidate.id, "kind"),
                f"The candidate is called a {candidate.kind} measure but overrides no input.",
            )
        if candidate.incentive_usd > candidate.cost_usd:
            check(
                item_path("candidate", candidate.id, "incentive_usd"),
                f"The incentive ({candidate.incentive_usd:,.0f} "
                f"USD) is larger than the cost ({candidate.cost_usd:,.0f} USD).",
            )
    return findings


def _given_but_unused(project) -> list[Finding]:
    """Values that the user gave and that other inputs keep from having an effect."""
    findings = []

    def look(path: str, field: Field, value_of) -> None:
        if field.used_when and project.origins.get(path) == "given" and not is_used(field, value_of):
            findings.append(Finding("check", path, f"Given but not used: it counts when {used_when_text(field)}."))

    def of_section(section: str, name: str):
        return getattr(project.section(section), name)

    for section in SINGLE_SECTIONS:
        for field in fields_of(section).values():
            look(field.path, field, of_section)
    for kind, records in (("special", project.specials), ("group", project.groups), ("zone", project.zones)):
        for field in fields_of(kind).values():
            if field.used_when:
                for record in records:
                    look(
                        item_path(kind, record.name, field.name),
                        field,
                        lambda section, name, record=record, kind=kind: (
                            getattr(record, name) if section == kind else of_section(section, name)
                        ),
                    )
    return findings


def _status_without_value(project) -> list[Finding]:
    """Values with a status that were never given."""
    if all(status == "default" for status in project.statuses.values()):
        return []
    found: dict[tuple[str, str], list[str]] = {}  # one finding for alike inputs of many zones
    for path, origin in project.origins.items():  # in the order of the inputs, whatever the order of the table
        status = project.statuses.get(path, "default")
        if status != "default" and origin == "default":
            start, _, end = path.partition("[")
            found.setdefault((status, start + end.rpartition("]")[2]), []).append(path)
    return [
        Finding(
            "check",
            paths[0],
            f"Called {status}, but no value is given: the default counts"
            + (f" (and {len(paths) - 1} more)." if len(paths) > 1 else "."),
        )
        for (status, _), paths in found.items()
    ]


def unused_strategy_inputs(part: str, values: dict) -> Iterator[Field]:
    """Inputs of a strategy table that its strategy does not use.

    Parameters
    ----------
    part : str
        ``sat`` or ``dsp``.
    values : dict
        Given values with ``strategy``.
    """
    assert part in STRATEGY_SECTIONS
    for name in values:
        field = fields_of(part)[name]
        if not is_used(field, lambda section, other: values.get(other)):
            yield field
