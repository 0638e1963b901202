"""Uncertain inputs of a project: which there are, of what range, and whose range it is.

``inputs/ranges.csv`` has a line for each: what it moves, how, and how far it may be off where the input is a default,
was stated without evidence, or was measured, trended or read off. A project puts ranges of its own in their place
(tables ``[[range]]``).
"""

from __future__ import annotations

from ..dataclass import dataclass
from ..inputs.paths import known_path
from ..inputs.problems import Problems
from ..inputs.range_items import DEFAULT, EVIDENCED, STATED, Item, check_own_ranges, in_use, items_of
from ..inputs.range_lines import RangeLine, range_lines
from ..model.plant import STANDING_LOSS_FRAC
from .distributions import Distribution
from .results import OWN

#: Kinds of lines that only multiply results: their draws are nested in those of the model.
NESTED_KINDS = ("plant", "prices", "cost", "realisation")
#: From the least certain to the most, as the columns of ``ranges.csv`` go.
BASES = (DEFAULT, STATED, EVIDENCED)


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
    problems = Problems()
    check_own_ranges(project, problems)
    problems.raise_if_any("ranges")
    own = {one.name: one for one in project.terms.ranges}

    def resolved(path: str) -> float:
        if path == "heating.standing_loss_kbtuh":
            return float(STANDING_LOSS_FRAC * unit.heating_kbtuh)
        return float(
            getattr(unit, {"fan.index_dsp_inwc": "index_dsp_inwc"}.get(path, f"oa_{known_path(path).field.name}"))
        )

    out = []
    for key, line in range_lines().items():
        items = items_of(project, line, resolved)
        if items and in_use(project, line):
            out.append(_drawn(project, line, items, own.get(key)))
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
        assert value is not None, "checked before"
        low, high = (low - value, high - value) if base == 0.0 else (low / value, high / value)
    widest = next(usual[basis] for basis in BASES if basis in usual)
    return Drawn(
        line=line,
        items=items,
        distributions={OWN: Distribution(own.distribution, low, base, high)},
        usual=widest,
        source=own.source or "the project",
    )


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
