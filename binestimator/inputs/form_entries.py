"""Entries of a form: inputs in their layers, the things they belong to, and all that a form says."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import field as dataclass_field

from binestimator.dataclass import dataclass
from binestimator.inputs.form_values import Content
from binestimator.inputs.paths import item_path, parse_path
from binestimator.inputs.schema import LIST_SECTIONS, STRATEGY_SECTIONS, Field


@dataclass(frozen=True, slots=True)
class Entry:
    """One input in its layers.

    Parameters
    ----------
    path : str
        Full path, for names and for the registry of addresses.
    field : Field
    yours : object
        Content of the cell of the user, or ``None`` for an empty one.
    otherwise : object
        Content of the cell with what counts when the user gives nothing.
    kind : str
        What *otherwise* is: ``default, derived, sized, override, required``, or ``unused`` by
        the strategy of a candidate.
    source : str
        Where it comes from.
    can_review : bool
        The reviewer may override it.
    follows : str
        Formula template of *otherwise* with paths in braces when it follows from other cells,
        else empty.
    """

    path: str
    field: Field
    yours: Content | None
    otherwise: Content
    kind: str
    source: str
    can_review: bool
    follows: str = ""

    @property
    def numbers_only(self) -> bool:
        """A ``none`` of the user means what counts otherwise, as for numbers of strategies."""
        return self.field.section in STRATEGY_SECTIONS and self.field.type in ("float", "optional_float")

    @property
    def counts(self) -> Content:
        """Content of the cell with what counts without a reviewer's override."""
        return self.otherwise if self.yours is None or (self.numbers_only and self.yours == "none") else self.yours


@dataclass(frozen=True, slots=True)
class Item:
    """A thing that comes in numbers: group, special zone, zone or candidate.

    Parameters
    ----------
    name : str
        Its name, or the id of a candidate.
    origin : str
        Where the line comes from.
    entries : dict
        Input (``sat.max_f`` of candidates) -> :class:`Entry`; points have one for each
        coordinate (``sat.points.x1``).
    baseline : bool or None
        Mark of a candidate; None: not given.
    listed : int or None
        Place of a candidate in the list of the project; None: not listed, one of the default eight.
    """

    name: str
    origin: str
    entries: dict[str, Entry]
    baseline: bool | None = None
    listed: int | None = None


@dataclass(slots=True)
class FormContent:
    """All that a form says.

    Parameters
    ----------
    singles : list of Entry
        Inputs that occur once; points by coordinate (``heating.cop_points.x1``).
    evidence, status : dict
        Of those, by path.
    groups, specials, zones, candidates : list of Item
    library : list of Entry
        Settings of strategies shared by all candidates, points by coordinate; path
        ``sat.demand.max_f``.
    overrides : list of (path, content)
        The project's own.
    underneath : list of (path, content)
        Given values under those.
    changes : list of (candidate id, path, content)
        What candidates change besides their setpoints.
    about : list of (path, evidence, status)
        Of inputs that come in numbers.
    terms : list of (path, content)
        Of utilities and programmes.
    points : dict
        ``sat.points`` -> number of points that there is room for.
    """

    singles: list[Entry] = dataclass_field(default_factory=list)
    evidence: dict[str, str] = dataclass_field(default_factory=dict)
    status: dict[str, str] = dataclass_field(default_factory=dict)
    groups: list[Item] = dataclass_field(default_factory=list)
    specials: list[Item] = dataclass_field(default_factory=list)
    zones: list[Item] = dataclass_field(default_factory=list)
    candidates: list[Item] = dataclass_field(default_factory=list)
    library: list[Entry] = dataclass_field(default_factory=list)
    overrides: list[tuple[str, Content]] = dataclass_field(default_factory=list)
    underneath: list[tuple[str, Content]] = dataclass_field(default_factory=list)
    changes: list[tuple[str, str, Content]] = dataclass_field(default_factory=list)
    about: list[tuple[str, str | None, str | None]] = dataclass_field(default_factory=list)
    terms: list[tuple[str, Content]] = dataclass_field(default_factory=list)
    points: dict[str, int] = dataclass_field(default_factory=dict)

    def items(self, kind: str) -> list[Item]:
        """Items of a section."""
        return {"group": self.groups, "special": self.specials, "zone": self.zones, "candidate": self.candidates}[kind]


def hit_by(overrides: Mapping[str, object], names: Mapping[str, list[str]]) -> set[str]:
    """Full paths of the inputs that a project's own overrides lie on.

    Parameters
    ----------
    names : mapping
        Section of a list -> names in it (ids of candidates).
    """
    found: set[str] = set()
    for path in overrides:
        parsed, _ = parse_path(path)
        if parsed is None:
            continue
        if parsed.kind in LIST_SECTIONS:
            own = names.get(parsed.kind, [])
            found |= {item_path(parsed.kind, own[place], parsed.tail) for place in parsed.matches(own)}
        else:
            found.add(parsed.field.path)
    return found


def can_review(field: Field) -> bool:
    """Whether a reviewer may override an input: not what names things or makes lists."""
    return not (
        field.name == "strategy"
        or (field.section in LIST_SECTIONS and field.name in ("name", "id"))
        or field.path in ("project.zones_csv", "project.default_candidates")
    )
