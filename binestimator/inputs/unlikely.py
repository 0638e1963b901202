"""Findings about inputs that may be right: unlikely values, and values given without effect."""

from __future__ import annotations

from collections.abc import Iterator

from binestimator.errors import Finding
from binestimator.inputs.paths import item_path
from binestimator.inputs.schema import (
    SINGLE_SECTIONS,
    STRATEGY_SECTIONS,
    Field,
    fields_of,
    is_used,
    used_when_text,
)


def unlikely(project) -> list[Finding]:
    """Values outside what is usual, alone or together."""
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
    for low in (field.name for field in fields_of("cost").values() if "_low" in field.name):
        names = low, low.replace("_low", ""), low.replace("_low", "_high")
        values = [getattr(project.cost, name) for name in names]
        if values != sorted(values):
            check(
                f"cost.{low}",
                "Low, expected and high of a line of the cost do not rise: "
                + ", ".join(f"{name} = {value:g}" for name, value in zip(names, values, strict=True))
                + ". Check whether two are swapped.",
            )
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


def given_but_unused(project) -> list[Finding]:
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


def status_without_value(project) -> list[Finding]:
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
