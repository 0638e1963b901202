"""The inputs as data: one row of ``inputs.csv`` is one input.

The same rows make the records that hold the values, check each value, give the defaults
and the reference that users read. A new input is one new row.

Columns of ``inputs.csv``
    section, name
        Table of the project file and key in it.
    role
        What a candidate that overrides it changes: one of :data:`ROLES`.
    type
        ``text, path, bool, int, float, optional_float, choice, choice_float, hour_pair,
        date_list, profile12, profile24, points, choice_list`` (see :func:`binestimator.inputs.values.check_value`).
    unit, low, high
        Unit and allowed range, ends included; of ``points`` the range of the second value.
    default
        ``required``: has to be given. ``none``: may be left out and is then ``None``.
    choices
        Allowed values, separated by ``|``.
    description, source
        One sentence, and where the default comes from.
    used_when
        Empty: always. ``name=a|b``: only while that input has one of these values;
        ``name=given``, ``name=none``: only while that input is given or is not. A name of another section is written
        with it (``preheat.type=boiler``); alternatives are joined by `` or ``.
    label
        Name in plain words; made from ``name`` when empty.

The last two columns may be left out of a row.
"""

from __future__ import annotations

import csv
import functools
from importlib import resources
from typing import TYPE_CHECKING, Any

from binestimator.dataclass import dataclass
from binestimator.inputs.field import Field, label_of, plain
from binestimator.inputs.values import check_value, raw_from_text

#: Sections that are in the project file as lists of tables or as strategy libraries.
LIST_SECTIONS = ("special", "group", "zone", "candidate")
STRATEGY_SECTIONS = ("sat", "dsp")

TYPES = frozenset(
    ["text", "path", "bool", "int", "float", "optional_float", "choice", "choice_float"]
    + ["hour_pair", "date_list", "profile12", "profile24", "points", "choice_list"]
)

#: Roles of inputs. ``service``: what the rooms are promised (a candidate that changes it is no equal service);
#: ``building`` and ``assumption``: what the estimate is about (another value is another project); ``equipment``,
#: ``control``: what may be repaired or set otherwise; ``shared``: the frame of the run, the same for all candidates.
ROLES = ("service", "building", "assumption", "equipment", "control", "shared")
ROLES_TEXT = (
    "Role says what a candidate may do with an input under [candidate.override]: equipment and control are free; "
    "service makes it a candidate "
    "of another service, shown and never ranked; building, assumption and shared are refused."
)

#: Currency of names that end in ``_usd`` and of sheets, unless the project names another.
USUAL_CURRENCY = "USD"

#: How sure a value is: how the user came to it. ``default``: it was not looked at.
STATUSES = ("measured", "nameplate", "drawing", "trended", "interview", "default")


def _read_fields(name: str) -> tuple[Field, ...]:
    text = resources.files("binestimator.inputs").joinpath(name).read_text(encoding="utf-8")
    return tuple(_field_from_row(row) for row in csv.DictReader(text.splitlines()))


def _field_from_row(row: dict[str, str]) -> Field:
    """Field of one row; a row that contradicts itself is a mistake of the program and raises ValueError."""
    kind, name = row["type"], f"inputs.csv {row['section']}.{row['name']}"
    if kind not in TYPES:
        raise ValueError(f"{name}: unknown type {kind!r}")
    if row["role"] not in ROLES:
        raise ValueError(f"{name}: unknown role {row['role']!r}")
    named = [choice.partition("=") for choice in row["choices"].split("|")] if row["choices"] else []
    texts = tuple(choice for choice, _, _ in named)
    choices = tuple(float(choice) for choice in texts) if kind == "choice_float" else texts
    if (kind in ("choice", "choice_float", "choice_list")) != bool(choices):
        raise ValueError(f"{name}: choices do not go with type {kind!r}")
    ranged = kind in ("int", "float", "optional_float", "hour_pair", "profile12", "profile24", "points")
    low, high = (float(row[end]) if row[end] else None for end in ("low", "high"))
    if ranged and (low is None or high is None or low >= high):
        raise ValueError(f"{name}: needs a range")
    default, required = row["default"], row["default"] == "required"
    unset = default == "none" and "none" not in choices
    used_when = []
    for alternative in filter(None, (row.get("used_when") or "").split(" or ")):
        left, _, values = alternative.partition("=")
        section, _, other = left.rpartition(".")
        used_when.append((section or row["section"], other, tuple(values.split("|"))))
    field = Field(
        section=row["section"],
        name=row["name"],
        role=row["role"],
        type=kind,
        unit=row["unit"],
        low=low,
        high=high,
        default=None if required or unset else default,
        required=required,
        choices=choices,
        earlier=tuple((old, choice) for choice, _, old in named if old),
        used_when=tuple(used_when),
        description=row["description"],
        source=row["source"],
        label=row.get("label") or label_of(row["name"]),
    )
    if required or unset:
        return field
    value, problem = check_value(field, raw_from_text(field, default))
    if problem:
        raise ValueError(f"{name}: default {problem}")
    return Field(**{**{part: getattr(field, part) for part in Field.__slots__}, "default": value})


#: All inputs in the order of the file.
FIELDS = _read_fields("inputs.csv")
#: Names of the sections in the order of the file.
SECTIONS = tuple(dict.fromkeys(field.section for field in FIELDS))
#: Sections that are in the project file as one table.
SINGLE_SECTIONS = tuple(name for name in SECTIONS if name not in LIST_SECTIONS + STRATEGY_SECTIONS)

#: Inputs of the terms of utilities and programmes (``terms.csv``), of which a project may have none: no path leads to
#: them, no candidate overrides them.
TERM_FIELDS = _read_fields("terms.csv")
TERM_SECTIONS = tuple(dict.fromkeys(field.section for field in TERM_FIELDS))

_BY_SECTION = {
    section: {field.name: field for field in (*FIELDS, *TERM_FIELDS) if field.section == section}
    for section in (*SECTIONS, *TERM_SECTIONS)
}


def fields_of(section: str) -> dict[str, Field]:
    """Inputs of a section by name, in the order of the file."""
    return _BY_SECTION[section]


class Record:
    """Base of the records that are made from the rows of ``inputs.csv``, whose values no type checker can know."""

    __slots__ = ()

    if TYPE_CHECKING:

        def __getattr__(self, name: str) -> Any: ...


@functools.cache
def record_type(section: str) -> type:
    """Class whose instances hold the values of one section: frozen, slots, keywords only.

    It has one attribute for each row of the section, with the default of the row (none for
    required inputs); values are not checked again.
    """
    name = _record_name(section)
    lines = [f"Values of section ``{section}``.", "", "Attributes", "----------"]
    annotations: dict[str, object] = {}
    defaults: dict[str, object] = {}
    for field in fields_of(section).values():
        unit = f" [{field.unit}]" if field.unit else ""
        lines += [f"{field.name} : {field.type}", f"    {field.description}.{unit}"]
        annotations[field.name] = object
        if not field.required:
            defaults[field.name] = field.default
    body = {"__module__": __name__, "__doc__": "\n".join(lines), "__annotations__": annotations, **defaults}
    return dataclass(frozen=True, slots=True, kw_only=True)(type(name, (Record,), body))


def _record_name(section: str) -> str:
    return "".join(word.capitalize() for word in section.split("_")) + "Inputs"


def __getattr__(name: str) -> type:
    # Lets copies of records travel between processes: pickle looks the class up by its name.
    for section in _BY_SECTION:
        if name == _record_name(section):
            return record_type(section)
    raise AttributeError(f"module {__name__!r} has no attribute {name!r}")


def is_used(field: Field, value_of) -> bool:
    """Whether the other inputs let this one have an effect.

    Parameters
    ----------
    value_of : callable
        ``value_of(section, name)`` gives the value of another input.
    """
    if not field.used_when:
        return True
    for section, name, values in field.used_when:
        value = value_of(section, name)
        if values == ("given",):
            if value is not None:
                return True
        elif (
            value is None
            and values == ("none",)
            or (str(value).lower() if isinstance(value, bool) else value) in values
        ):
            return True
    return False


def used_when_text(field: Field) -> str:
    """Condition of :func:`is_used` in words."""
    texts = []
    for section, name, values in field.used_when:
        left = name if section == field.section else f"{section}.{name}"
        texts.append(f"{left} is {' or '.join(values)}")
    return ", or ".join(texts)


# ---------------------------------------------------------------- documentation

_TITLES = {
    "project": "Project",
    "weather": "Weather",
    "calendar": "Calendar",
    "schedule": "Schedule of the air handler",
    "building": "Building and quick description",
    "room_setpoints": "Room setpoints by outdoor temperature",
    "special": "Special zones of the quick description",
    "group": "Profile groups",
    "zone": "Zones",
    "air_handler": "Air handler",
    "outdoor_air": "Outdoor air",
    "economizer": "Economizer",
    "fan": "Supply fan",
    "return_fan": "Return or relief fan",
    "cooling": "Cooling",
    "heating": "Heating",
    "preheat": "Supply heating coil",
    "limits": "Limits of the resets",
    "service": "Equal service",
    "prices": "Prices",
    "life_cycle": "Life cycle",
    "cost": "Cost build-up",
    "emissions": "Emissions",
    "peak_window": "Peak windows",
    "incentive": "Incentives",
    "tariff": "Tariff of the utility",
    "energy_price": "Prices of energy by season, day and hour",
    "demand_charge": "Demand charges",
    "measures": "Measure accounting",
    "bills": "Bills of twelve months",
    "ranges": "Ranges of results",
    "range": "Ranges of uncertain inputs",
    "weather_year": "Other weather years of ranges",
    "remedies": "Costs of remedies",
    "rogue_zones": "Rogue zones",
    "bins": "Bins",
    "as_run": "As run, at time steps",
    "sat": "Supply air temperature strategies",
    "dsp": "Duct static pressure strategies",
    "candidate": "Candidates",
}


def title_of(section: str) -> str:
    """Heading of a section in the documentation and on sheets."""
    return _TITLES.get(section, section.replace("_", " ").capitalize())


def default_text(field: Field) -> str:
    """Default as it would be written in the project file, or ``required`` or ``none``."""
    if field.required:
        return "required"
    return value_text(field.default)


def value_text(value: object) -> str:
    """Value on one line, for people; lists without brackets around the points."""
    if value is None:
        return "none"
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, float):
        return plain(value)
    if isinstance(value, tuple):
        return "[" + ", ".join(value_text(item) for item in value) + "]"
    return str(value)
