"""The project that follows from the facts of a quick check."""

from __future__ import annotations

from collections.abc import Callable, Mapping

from binestimator.inputs.cell_parts import TypedContent
from binestimator.inputs.facts import Fact, facts, uses
from binestimator.inputs.form_values import raw_of
from binestimator.inputs.paths import item_path
from binestimator.inputs.problems import Problems, sentence
from binestimator.inputs.schema import fields_of
from binestimator.inputs.values import check_value

#: Status of what somebody said, and of what a use of the building stands for.
SAID, ASSUMED = "interview", "default"
_DAY = (0.0, 24.0)
# Of a setpoint that is the same at every outdoor temperature. [degF]
_ANY_OAT_F = 65.0


def read_fact(each: Fact, content: TypedContent) -> tuple[object, str | None]:
    """Value of what was typed, and what is wrong with it.

    A text without content is no answer: ``None`` without a problem.
    """
    if isinstance(content, str) and not content.strip():
        return None, None
    if isinstance(content, str) and each.field.type == "hour_pair" and "," not in content:
        words = content.split()
        content = ", ".join(words) if len(words) == 2 else content
    raw = raw_of(each.field, content)
    if each.one_number:
        if isinstance(raw, list) and len(raw) == 1 and isinstance(raw[0], list) and len(raw[0]) == 1:
            raw = raw[0][0]
        if not isinstance(raw, list):
            raw = [[_ANY_OAT_F, raw]]
    value, problem = check_value(each.field, raw, in_cell=True)
    if each.field.type == "hour_pair" and (problem is not None or not value):
        problem = sentence("not hours of use", content, each.allowed())
    if each.one_number and problem is not None:
        problem = sentence("not a setpoint", content, each.allowed())
    return (None, problem.replace(", or the word none", "")) if problem else (value, None)


def without_need(values: Mapping[str, object]) -> set[str]:
    """Facts that need not be asked, given what is known: a price of fuel where none is burnt."""
    heat = values.get("heating")
    return {"fuel"} if heat is not None and heat != "boiler" else set()


def raw_project(values: Mapping[str, object]) -> dict:
    """Project of checked facts, in the layout of the project file.

    Parameters
    ----------
    values : mapping
        Name of a fact -> value as :func:`read_fact` gives it; facts that are not known are left out.

    Returns
    -------
    dict
        Raw tables as the TOML reader gives them. Costs come from the build-up, since nobody has priced the work.
        What was said has the status ``interview``; what the use of the building stands for, ``default``.
    """
    raw: dict = {}
    status: dict[str, str] = {}
    evidence: dict[str, str] = {}
    for each in facts():
        if each.path and values.get(each.name) is not None:
            section, _, name = each.path.partition(".")
            raw.setdefault(section, {})[name] = values[each.name]
            if section not in ("project", "weather"):
                status[each.path] = SAID
    if (use := values.get("use")) is not None:
        raw["group"] = [_group(str(use), values, status, evidence)]
    area, zones = values.get("area"), values.get("zones")
    if isinstance(area, float) and isinstance(zones, int):
        raw["building"]["zone_area_ft2"] = round(area / zones, 1)
        status["building.zone_area_ft2"] = SAID
    for part in ("sat", "dsp"):
        points = values.get(part)
        if isinstance(points, tuple):
            raw[part] = {"as_found": {"points": [list(point) for point in points]}}
    if isinstance(points := values.get("dsp"), tuple):
        # The fan makes the highest setpoint of today at its design airflow; what lies before the sensor takes as much
        # as between the defaults.
        fan, total = fields_of("fan"), "design_total_inwc"
        highest = max(y for _, y in points)
        raw["fan"] = {"design_dsp_inwc": highest}
        status["fan.design_dsp_inwc"] = SAID
        before = float(str(fan[total].default)) - float(str(fan["design_dsp_inwc"].default))
        if (pressure := round(highest + before, 3)) != fan[total].default:
            raw["fan"][total] = pressure
            path = f"fan.{total}"
            status[path], evidence[path] = ASSUMED, f"duct static pressure and {before:g} in. w.c. before its sensor"
    raw["cost"] = {"build_up": True}
    if status:
        raw["status"] = status
    if evidence:
        raw["evidence"] = evidence
    return raw


def _group(use: str, values: Mapping[str, object], status: dict[str, str], evidence: dict[str, str]) -> dict:
    """Profile group of a use, with the hours that are known."""
    group: dict[str, object] = {"name": use}
    hours = values.get("hours")
    if hours == _DAY:
        group["always_on"] = True
        status[item_path("group", use, "always_on")] = SAID
    elif isinstance(hours, tuple):
        group["weekday_hours"] = list(hours)
        status[item_path("group", use, "weekday_hours")] = SAID
    for name, (value, source) in uses()[use].items():
        group[name] = value
        path = item_path("group", use, name)
        status[path], evidence[path] = ASSUMED, f"use of the building ({use}): {source}"
    return group


def check_together(values: Mapping[str, object], problems: Problems, where: Callable[[str], str]) -> None:
    """What facts must be together: terminals of a size that there is."""
    area, zones = values.get("area"), values.get("zones")
    low, high = fields_of("building")["zone_area_ft2"].bounds
    if isinstance(area, float) and isinstance(zones, int) and not low <= round(area / zones, 1) <= high:
        least, most = max(-(-area // high), 1), area // low
        problems.add(
            where("zones"),
            f"each terminal would serve {area / zones:,.0f} ft2",
            zones,
            f"{least:.0f} to {most:.0f} terminals for {area:,.0f} ft2",
            "check terminals and floor area",
        )
