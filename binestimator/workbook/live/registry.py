"""Where the effective value of every input is."""

from __future__ import annotations

from collections.abc import Callable

from ...errors import WorkbookError
from ...inputs.form_keys import COUNTS, REVIEWER
from ...inputs.schema import fields_of
from ..addresses import reference
from ..page import unit_text

# Sizes that follow from other inputs where they are not given: their cells show what came out of the run.
FOLLOWS = ("air_handler.max_cfm", "outdoor_air.minimum_cfm")
# Inputs that no figure depends on.
WORDS_ONLY = (
    "project.",
    "candidate.name",
    "candidate.kind",
    "candidate.id",
    "prices.currency",
    "emissions.factor_year",
    "emissions.factor_kind",
    "tariff.name",
    "energy_price.name",
    "demand_charge.name",
    "incentive.name",
)


class Registry:
    """Addresses of the effective values of inputs, by path.

    The only place that knows how the sheets of inputs are laid out; formulas ask it. It keeps
    account of the paths they asked for: an edit of any other input cannot reach the figures
    by formulas and calls for a new run. ``decides`` holds paths that formulas read, but whose value also decided
    which formulas were written: an edit may not reach all of the figures.

    Parameters
    ----------
    results : Results
    places : dict
        Path -> (sheet, row, column) of the cell that counts; points by coordinate where they have
        cells of their own (``candidate[a].sat.points.x1``).
    contents : dict
        Path -> what that cell holds.
    edited : dict
        Path -> cell that a user edits.
    follows : dict
        Path -> addresses of the cells where its value may be typed, of inputs that follow others where nobody gives
        them and that nobody gave in the run.
    """

    def __init__(
        self,
        results,
        places: dict[str, tuple[str, int, int]],
        contents: dict[str, object],
        edited: dict[str, tuple[str, int, int]],
        follows: dict[str, tuple[str, ...]],
    ):
        self._results = results
        self._values = {row[0]: row for row in results.project.effective_rows()}
        self.places = places
        self.contents = contents
        self.edited = edited
        self.follows = follows
        self.read: set[str] = set()
        self.decides: set[str] = set()
        self.terms: Callable[[str], tuple[str, int, int] | None] = lambda path: None
        self.term_contents: dict[str, object] = {}
        self._held: dict[str, str] = {}

    def paths(self) -> list[str]:
        """All paths in reading order; points by coordinate where they have cells."""
        found = []
        for path in self._values:
            value = self._values[path][2]
            coordinates = (
                [p for k in range(1, len(value) + 1) for a in "xy" if (p := f"{path}.{a}{k}") in self.places]
                if self._is_points(value)
                else []
            )
            found += coordinates or ([path] if path in self.places else [])
        return found

    @staticmethod
    def _is_points(value) -> bool:
        return isinstance(value, tuple) and bool(value) and isinstance(value[0], tuple)

    def label(self, path: str) -> tuple[str, str]:
        """Label and unit of an input."""
        row = self._values.get(path) or self._values[path.rsplit(".", 1)[0]]
        end = "" if path in self._values else f", {path.rsplit('.', 1)[1]}"
        return row[1] + end, unit_text(row[3])

    def value(self, path: str):
        """Value of the run; None where not given."""
        return self._values[path][2]

    def shown(self, path: str):
        """What the cell holds: the value, or the size that takes its place."""
        value = self._values[path][2]
        if value is None and path in self._results.sizes and self._results.sizes[path][2] == "sized":
            return self._results.sizes[path][0]
        return value

    def place(self, path: str) -> str:
        """Address of the cell that counts."""
        if path not in self.places:
            raise WorkbookError(f"input {path!r}: has no cell")
        return reference(*self.places[path])

    def address(self, path: str) -> str:
        """The same, counted as read by a formula."""
        self.read.add(path)
        return self.place(path)

    def term_address(self, path: str) -> str | None:
        """Address of a value of the terms of utilities and programmes; None for one that is not given."""
        place = self.terms(path)
        if place is None:
            return None
        self.read.add(path)
        return reference(*place)

    def term_lines(self) -> list[tuple[str, str, object, str]]:
        """Path, label, content in the run and address of every value of the terms that was given."""
        found = []
        for path, content in self.term_contents.items():
            section, _, rest = path.partition("[")
            name = path.rpartition(".")[2]
            field = fields_of(section if rest else path.partition(".")[0])[name]
            place = self.terms(path)
            if place is not None:
                found.append((path, field.label, content, reference(*place)))
        return found

    def held(self, path: str) -> str:
        """Address of the value of the run on the sheet of held values."""
        return self._held[path]

    def set_held(self, path: str, address: str) -> None:
        """Record where the value of the run is."""
        self._held[path] = address


def form_registry(results, plan) -> Registry:
    """Registry of a form: the cells that count, points by coordinate.

    Parameters
    ----------
    plan : FormPlan
    """
    counting = [cell for cell in plan.cells if cell.layer == COUNTS]
    review = plan.places(REVIEWER)
    typed = lambda entry: (plan.yours, review) if entry.can_review else (plan.yours,)
    registry = Registry(
        results,
        dict(plan.counts),
        contents={cell.path: cell.content for cell in counting},
        edited=dict(plan.yours),
        follows={
            cell.path: tuple(reference(*places[cell.path]) for places in typed(cell.entry))
            for cell in counting
            if cell.entry.follows and cell.entry.yours is None
        },
    )
    registry.terms = plan.term_place
    registry.term_contents = dict(plan.content.terms)
    return registry
