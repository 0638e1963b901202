"""Uncertain inputs of a project: which there are, of what range, and whose range it is.

``inputs/ranges.csv`` has a line for each: what it moves, how, and how far it may be off where the input is a default,
was stated without evidence, or was measured, trended or read off. A project puts ranges of its own in their place
(tables ``[[range]]``).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ..errors import InputError
from ..inputs.paths import item_path, known_path
from ..inputs.range_lines import RangeLine, range_lines
from ..inputs.schema import is_used
from ..money.worth import is_given
from .distributions import Distribution
from .results import DEFAULT, EVIDENCED, OWN, STATED

#: How a user came to a value that is no longer an assumption.
EVIDENCE = ("measured", "nameplate", "drawing", "trended")
#: Kinds of lines that only multiply results: their draws are nested in those of the model.
NESTED_KINDS = ("plant", "prices", "cost", "realisation")
#: From the least certain to the most, as the columns of ``ranges.csv`` go.
BASES = (DEFAULT, STATED, EVIDENCED)
#: Numbers of the unit that count where an input is not given.
_RESOLVED = {
    "fan.index_dsp_inwc": "index_dsp_inwc",
    "outdoor_air.minimum_cfm": "oa_minimum_cfm",
    "outdoor_air.position_frac": "oa_position_frac",
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Item:
    """One input that a line moves.

    ``path`` in full · ``pattern`` of the line that it is of · ``place`` among groups, zones or candidates, 0 of a
    section · ``value`` in force, None for terminals that were sized · ``basis`` one of ``BASES``.
    """

    path: str
    pattern: str
    place: int
    value: float | None
    basis: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Drawn:
    """A line with the inputs of a project that it moves.

    ``distributions`` by basis that occurs among ``items`` (all ``OWN`` where the project has a range of its own) ·
    ``usual`` what the program would take for an own range, None for others · ``source`` of the range.
    """

    line: RangeLine
    items: tuple[Item, ...]
    distributions: dict[str, Distribution]
    usual: Distribution | None
    source: str

    @property
    def key(self) -> str:
        return self.line.key

    @property
    def nested(self) -> bool:
        """Whether draws of it multiply results of the model."""
        return self.line.kind in NESTED_KINDS

    @property
    def basis(self) -> str:
        """Basis of the least certain of its inputs."""
        return next(basis for basis in (OWN, *BASES) if basis in self.distributions)

    @property
    def distribution(self) -> Distribution:
        """That of the least certain of its inputs."""
        return self.distributions[self.basis]

    def basis_of(self, item: Item) -> str:
        """Which of the distributions an input has."""
        return OWN if OWN in self.distributions else item.basis


def drawn_lines(project, unit) -> tuple[Drawn, ...]:
    """Lines that a project has an input for, in the order of the list; nested ones last.

    Parameters
    ----------
    project : Project
        Of the run, in its climate.
    unit : Unit
        Of the baseline: values that count where none is given.

    Raises
    ------
    InputError
        An own range does not hold the value in force, or is of an input that this project does not have.
    """
    own = {one.name: one for one in project.terms.ranges}
    out, unused = [], []
    for key, line in range_lines().items():
        items = _items(project, unit, line)
        if not items:
            if key in own:
                unused.append(key)
            continue
        if line.act == "weather" and project.terms.draws.weather_years == "typical":
            continue
        if line.act == "boiler" and not _all_fuel_by_boiler(project):
            continue
        out.append(_drawn(project, line, items, own.get(key)))
    if unused:
        raise InputError(
            "\n".join(
                f"range[{key}]: this project has no such input to draw; expected one of "
                f"{', '.join(one.key for one in out)}; remove the range"
                for key in unused
            )
        )
    return tuple(sorted(out, key=lambda one: one.nested))


def _drawn(project, line: RangeLine, items: tuple[Item, ...], own) -> Drawn:
    usual = {
        basis: Distribution(line.distribution, low, line.base, high)
        for basis, (low, high) in zip(BASES, line.ends, strict=True)
        if any(item.basis == basis for item in items)
    }
    if own is None:
        return Drawn(line=line, items=items, distributions=usual, usual=None, source=line.source)
    low, high, base = own.low, own.high, line.base
    if own.given_as == "value":
        value = items[0].value
        if value is None or not low <= value <= high or (base == 1.0 and value == 0.0):
            raise InputError(
                f"range[{own.name}]: does not hold the value in force; got [{low:g}, {high:g}]; expected low up to "
                f"{'none' if value is None else format(value, 'g')} and high from there on; change the input itself, "
                "then say how far it may be off"
            )
        low, high = (low - value, high - value) if base == 0.0 else (low / value, high / value)
    widest = next(usual[basis] for basis in BASES if basis in usual)
    return Drawn(
        line=line,
        items=items,
        distributions={OWN: Distribution(own.distribution, low, base, high)},
        usual=widest,
        source=own.source or "the project",
    )


def _basis(project, path: str) -> str:
    if project.status_of(path) in EVIDENCE:
        return EVIDENCED
    return STATED if project.origins.get(path) == "given" else DEFAULT


def _items(project, unit, line: RangeLine) -> tuple[Item, ...]:
    """Inputs that a line moves; of lines without one a stand-in."""
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
            value = _value(project, unit, line, pattern, place, record, field)
            if value is None and line.act != "terminals":
                continue
            # Sized terminals are as sure as the factor that they are sized with.
            sized = value is None and line.act == "terminals"
            basis = _basis(project, "air_handler.zone_sizing_factor" if sized else path)
            out.append(Item(path=path, pattern=pattern, place=place, value=value, basis=basis))
    return tuple(out)


def _value(project, unit, line: RangeLine, pattern: str, place: int, record, field) -> float | None:
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
    if value is None and pattern in _RESOLVED:
        return float(getattr(unit, _RESOLVED[pattern]))
    if value is None and pattern == "heating.standing_loss_kbtuh":
        from ..model.plant import STANDING_LOSS_FRAC

        return float(STANDING_LOSS_FRAC * unit.heating_kbtuh)
    if pattern == "zone.*.gain_multiplier":
        return float(value)
    if value is None or (value == 0.0 and line.base == 1.0 and line.act != "from_one"):
        return None
    return float(value)


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
                basis = _basis(project, path) if is_given(project, candidate, "cost_usd") else DEFAULT
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


def _all_fuel_by_boiler(project) -> bool:
    """Whether all fuel is divided by the efficiency of the boiler of section ``heating``."""
    return project.heating.type == "boiler" and project.preheat.type != "gas_furnace"


def overridden(candidate, item: Item) -> bool:
    """Whether a candidate sets an input itself: what it changes takes precedence over draws."""
    target = known_path(item.path) if item.path else None
    if target is None:
        return False
    for path in candidate.overrides:
        parsed = known_path(path)
        same = parsed.kind == target.kind and parsed.part == target.part and parsed.field is target.field
        if same and (parsed.name is None or parsed.matches([target.name or ""])):
            return True
    return False


def shares(drawn: tuple[Drawn, ...], points: np.ndarray, common: dict[str, np.ndarray]) -> dict[str, np.ndarray]:
    """Shares (N,) of each line from its own points (N, lines) and those common to groups that are correlated."""
    from .distributions import joined

    out = {}
    for place, one in enumerate(drawn):
        u = points[:, place]
        out[one.key] = joined(u, common[one.line.together], one.line.correlation) if one.line.together in common else u
    return out
