"""Inputs of a project that are uncertain, line by line of ``ranges.csv``, and whether own ranges go with them."""

from __future__ import annotations

from collections.abc import Callable

from binestimator.dataclass import dataclass
from binestimator.inputs.defaults import paths_by
from binestimator.inputs.paths import item_path, known_path
from binestimator.inputs.problems import Problems
from binestimator.inputs.range_lines import RangeLine, range_lines
from binestimator.inputs.schema import is_used

#: How sure an input is: a default, stated without evidence, or measured, trended or read off (``Item.basis``).
DEFAULT, STATED, EVIDENCED = "default", "stated", "evidenced"
#: How a user came to a value that is no longer an assumption.
EVIDENCE = ("measured", "nameplate", "drawing", "trended")
#: Inputs whose value follows from others, sizes included, where they are not given.
RESOLVED = (
    "fan.index_dsp_inwc",
    "outdoor_air.minimum_cfm",
    "outdoor_air.position_frac",
    "heating.standing_loss_kbtuh",
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Item:
    """One input that a line moves.

    ``path`` in full · ``pattern`` of the line that it is of · ``place`` among groups, zones or candidates, 0 of a
    section · ``value`` in force, None for terminals that were sized and prices by a tariff · ``basis`` how
    sure it is.
    """

    path: str
    pattern: str
    place: int
    value: float | None
    basis: str


def in_use(project, line: RangeLine) -> bool:
    """Whether draws of a line do anything to a project that has inputs for it."""
    if line.act == "weather":
        return project.terms.draws.weather_years != "typical"
    return line.act != "boiler" or all_fuel_by_boiler(project)


def check_own_ranges(project, problems: Problems) -> None:
    """Own ranges of inputs that a project has, around the values in force.

    Where what a line is about follows from the climate, and that is not known yet, nothing is said before it is.
    """
    lines = range_lines()
    found: dict[str, RangeLine] = {}
    unknown = lambda pattern: float("nan")
    for own in project.terms.ranges:
        line = lines.get(own.name)
        if line is None:
            continue  # told where the range was read
        items = items_of(project, line, unknown)
        if not items or not in_use(project, line):
            if not _waits_for_climate(project, line.used_when.partition("=")[0]):
                found = found or {
                    key: line
                    for key, line in lines.items()
                    if items_of(project, line, unknown) and in_use(project, line)
                }
                problems.add(
                    f"range[{own.name}]",
                    "this project has no such input to draw",
                    expected=f"one of {', '.join(found)}",
                    do="remove the range",
                )
        elif own.given_as == "value" and len(line.paths) == 1 and "*" not in line.paths[0]:
            if _waits_for_climate(project, line.paths[0]):
                continue
            _check_values(own, line, items[0].value, problems)


def _check_values(own, line: RangeLine, value: float | None, problems: Problems) -> None:
    """Low and high of the values of one input."""
    path = line.paths[0]
    if value is None or value != value:
        problems.add(
            f"range[{own.name}]",
            f"is of values of {path}, which is not given",
            do=f'give {path} itself, or low and high as factors (given_as = "factor")',
        )
    elif not own.low <= value <= own.high or (line.base == 1.0 and value == 0.0):
        problems.add(
            f"range[{own.name}]",
            "does not hold the value in force",
            [own.low, own.high],
            f"low up to {value:g} and high from there on",
            "change the input itself, then say how far it may be off",
            involves=(path,),
        )


def _waits_for_climate(project, path: str) -> bool:
    """Whether the climate, which is not known yet, decides an input that is not given."""
    return not project.climate and project.origins.get(path) == "default" and path in paths_by("climate")


def _basis(project, path: str) -> str:
    if project.status_of(path) in EVIDENCE:
        return EVIDENCED
    return STATED if project.origins.get(path) == "given" else DEFAULT


def items_of(project, line: RangeLine, resolved: Callable[[str], float | None]) -> tuple[Item, ...]:
    """Inputs that a line moves; of lines without one a stand-in.

    Parameters
    ----------
    project : Project
    line : RangeLine
    resolved : callable
        Value that counts of an input of ``RESOLVED`` that is not given; None where that is not known.
    """
    if line.act in ("weather", "realisation"):
        return (Item(path="", pattern="", place=0, value=line.base, basis=DEFAULT),)
    if not _is_asked(project, line.used_when):
        return ()
    out: list[Item] = []
    for pattern in line.paths:
        parsed = known_path(pattern)
        field, kind = parsed.field, parsed.kind
        if kind == "candidate":
            out += _candidate_items(project, line, pattern, parsed)
            continue
        lists = {"group": project.groups, "zone": project.zones}
        records = lists[kind] if kind in lists else (project.section(kind),)
        for place, record in enumerate(records):
            value_of = lambda section, name, r=record, k=kind: getattr(
                r if section == k else project.section(section), name
            )
            if not is_used(field, value_of):
                continue
            path = item_path(kind, record.name, field.name) if kind in ("group", "zone") else field.path
            value = _value(project, resolved, line, pattern, place, record, field)
            if value is not None and line.act == "price" and _by_tariff(project, field.name):
                value = None  # the price of the section counts in no hour: draws are factors of those of the tariff
            elif value is None and line.act != "terminals":
                continue
            # Sized terminals are as sure as the factor that they are sized with.
            sized = value is None and line.act == "terminals"
            basis = _basis(project, "air_handler.zone_sizing_factor" if sized else path)
            out.append(Item(path=path, pattern=pattern, place=place, value=value, basis=basis))
    return tuple(out)


def _value(project, resolved, line: RangeLine, pattern: str, place: int, record, field) -> float | None:
    """Value in force of an input that is drawn, None where it is not; of terminals None where they were sized."""
    value = getattr(record, field.name)
    surveyed = "zone" in pattern and all(
        getattr(record, f"survey_{name}") is not None for name in ("flow_cfm", "damper_pct", "dsp_inwc")
    )
    if pattern == "zone.*.index_share" and (surveyed or value is None):
        return None
    if pattern == "zone.*.survey_dsp_inwc" and not surveyed:
        return None
    if pattern == "outdoor_air.minimum_cfm" and project.outdoor_air.control != "flow":
        return None
    if line.act == "people":
        return _people_value(record, field)
    if line.act == "price" and not _is_bought(project, field.name):
        return None
    if value is None and pattern in RESOLVED:
        return resolved(pattern)
    if pattern == "zone.*.gain_multiplier":
        return float(value)
    if value is None or (value == 0.0 and line.base == 1.0 and line.act != "from_one"):
        return None
    return float(value)


def _by_tariff(project, price: str) -> bool:
    """Whether lines of a tariff take the place of a price of section ``prices``."""
    source = price.partition("_")[0]
    return any(line.source == source for line in project.terms.energy_prices)


def _is_bought(project, price: str) -> bool:
    """Whether anything of a project is paid by a price."""
    cooling, heating, preheat = project.cooling.type, project.heating.type, project.preheat.type
    if price == "fuel_usd_therm":
        return heating == "boiler" or preheat in ("boiler", "gas_furnace")
    if price == "cooling_usd_kbtu":
        return cooling == "purchased"
    return price == "electricity_usd_kwh" or "purchased" in (heating, preheat)


def _people_value(record, field) -> float | None:
    """Largest share of people that an input of a group says; None where it says none, or another one counts."""
    value = getattr(record, field.name)
    if field.name == "people_profile":
        return None if value is None else float(max(value)) or None
    return None if not value else float(value)


def _candidate_items(project, line: RangeLine, pattern: str, parsed) -> list[Item]:
    """Inputs of candidates: tables and overrides as found, costs."""
    out = []
    for place, candidate in enumerate(project.candidates):
        path = item_path("candidate", candidate.id, parsed.tail)
        if line.act == "cost":
            if candidate.id != project.baseline_id and (candidate.cost_usd > 0.0 or project.cost.build_up):
                basis = _basis(project, path) if project.origins.get(path) == "given" else DEFAULT
                out.append(Item(path=path, pattern=pattern, place=place, value=candidate.cost_usd, basis=basis))
            continue
        record = getattr(candidate, parsed.part)
        if line.act == "share":
            if 0.0 < record.override_frac < 1.0:
                basis = _basis(project, path)
                out.append(Item(path=path, pattern=pattern, place=place, value=record.override_frac, basis=basis))
        elif record.strategy == "as_found":
            out.append(Item(path=path, pattern=pattern, place=place, value=line.base, basis=_basis(project, path)))
    return out


def _is_asked(project, used_when: str) -> bool:
    """Whether the other input of a line is what the line is about."""
    path, equals, values = used_when.partition("=")
    if not path or not equals:
        return True
    return project.value_of(path) in values.split("|")


def all_fuel_by_boiler(project) -> bool:
    """Whether all fuel is divided by the efficiency of the boiler of section ``heating``."""
    return project.heating.type == "boiler" and project.preheat.type != "gas_furnace"
