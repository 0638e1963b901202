"""What a form gives: raw tables, a reviewer's values, points, and the cells that all of it stands in."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

from binestimator.dataclass import dataclass
from binestimator.inputs.cell_parts import TypedContent
from binestimator.inputs.form_records import PathRecord, path_records
from binestimator.inputs.form_sheets import FoundTable
from binestimator.inputs.form_values import joined
from binestimator.inputs.overrides import override_place
from binestimator.inputs.problems import Problem
from binestimator.inputs.project import Project


@dataclass(frozen=True, slots=True)
class Points:
    """Coordinates of points that someone gave.

    Parameters
    ----------
    target : dict
        Raw table that they belong to.
    path, key : str
        Full path, and the key within that table, such as ``sat.points``.
    candidate : str or None
        Id of the candidate that they are of.
    coordinates : dict
        ``x1`` -> content.
    lies_over : bool
        An override of the project lies on the input.
    """

    target: dict
    path: str
    key: str
    candidate: str | None
    coordinates: dict[str, TypedContent]
    lies_over: bool

    def over(self, project: Project) -> object:
        """Raw points: the given coordinates over those of a project; ``none`` leaves a point out."""
        base: object = ()
        if self.candidate is None:
            base = project.value_of(self.path)
        else:
            part, _, name = self.key.partition(".")
            found = next((candidate for candidate in project.candidates if candidate.id == self.candidate), None)
            base = None if found is None else getattr(getattr(found, part), name)
        below = {
            f"{axis}{place}": value
            for place, point in enumerate(base if isinstance(base, tuple) else (), 1)
            for axis, value in zip("xy", point, strict=True)
        }
        return joined({**below, **self.coordinates})


class Said:
    """What has been read of a form so far, and what is wrong with it.

    Parameters
    ----------
    tables : dict
        Name -> table as found.
    path : Path

    Attributes
    ----------
    raw : dict
        The project as raw tables, as a project file would have them; ``csv_zones`` are zones of a zones file.
    extra : dict
        Path -> value typed where an override of the project lies: it comes after that.
    review : dict
        Path -> raw value that a reviewer put over it.
    places, review_places : dict
        Path -> cell.
    points, review_points : list of Points
        Lines whose other coordinates are found once the project is known.
    problems : list of Problem
    """

    def __init__(self, tables: dict[str, FoundTable], path: Path):
        self.tables, self.path = tables, path
        self.problems: list[Problem] = []
        self.places: dict[str, str] = {}
        self.review_places: dict[str, str] = {}
        self.raw: dict = {}
        self.csv_zones: list[dict] = []
        self.review: dict[str, object] = {}
        self.extra: dict[str, object] = {}
        self.points: list[Points] = []
        self.review_points: list[Points] = []

    def bad(self, place: str, text: str) -> None:
        """Note what is wrong in a cell."""
        self.problems.append(Problem(place, text))

    def lay_over(self, path: str, raw: object, place: str) -> None:
        """A value that comes after an override of the project."""
        self.extra[path] = raw
        self.places[override_place("override", path)] = place

    def records(self, name: str) -> Iterator[PathRecord]:
        """Lines of a list of paths; none where the form lacks it."""
        return path_records(self.tables[name], self.problems) if name in self.tables else iter(())

    def without_zones_file(self) -> dict:
        """The mapping without the name of a zones file, so that it is not read."""
        project = {name: value for name, value in self.raw.get("project", {}).items() if name != "zones_csv"}
        return {**self.raw, "project": project} if "project" in self.raw else self.raw


def store(target: dict, key: str, raw: object) -> None:
    """Put a raw value into nested tables: ``sat.demand.max_f``."""
    *outer, name = key.split(".")
    for part in outer:
        target = target.setdefault(part, {})
    target[name] = raw
