"""Where the effective value of every input stands."""

from __future__ import annotations

from ...errors import WorkbookError
from ..layout import PROFILES, STRATEGIES, ZONES, input_name
from ..sheets.inputs import split_path
from ..sheets.tables import collect
from ..strict import column_name, quoted

# Sizes that follow from other inputs where they are not given: their cells hold what came out.
FOLLOWS = ("air_handler.max_cfm", "outdoor_air.minimum_cfm", "outdoor_air.position_frac")


class InputRegistry:
    """Addresses of the effective values of inputs, by path.

    The only place that knows how the sheets of inputs are laid out; formulas ask it. It keeps
    account of the paths they asked for: an edit of any other input cannot reach the figures
    by formulas and calls for a new run.

    Parameters
    ----------
    results : Results
    """

    def __init__(self, results):
        self._results = results
        self._project = results.project
        self._values = {row[0]: row for row in results.project.effective_rows()}
        self._places: dict[str, str] = {}
        self.read: set[str] = set()
        self.points: dict[str, list[tuple[str, int, int]]] = {}
        for path in self._values:
            section, item, _ = split_path(path)
            if not item:
                self._places[path] = input_name(path)
        self._place_zones()
        self._place_items("group", PROFILES, 4)
        self._place_items("candidate", STRATEGIES, 4)

    def _place_zones(self) -> None:
        items, inputs = collect(self._results, "zone")
        names = [name for name in inputs if name != "name"]
        for row, item in enumerate(items, 7):
            for column, name in enumerate(names, 1):
                self._places[inputs[name][item][0]] = f"{quoted(ZONES)}!${column_name(column)}${row + 1}"

    def _place_items(self, section: str, sheet: str, row: int) -> None:
        items, inputs = collect(self._results, section)
        inputs.pop("name", None)
        if section == "candidate":
            from ...inputs.schema import fields_of

            order = [*fields_of("candidate"), *(f"{part}.{name}" for part in ("sat", "dsp") for name in fields_of(part))]
            inputs = dict(sorted(inputs.items(), key=lambda pair: order.index(pair[0])))
        row, part = row + 1, ""
        for name, cells in inputs.items():
            this = name.split(".")[0] if "." in name else ""
            if this != part:
                part, row = this, row + 1
            for column, item in enumerate(items, 3):
                if item in cells:
                    self._places[cells[item][0]] = f"{quoted(sheet)}!${column_name(column)}${row + 1}"
            row += 1

    def paths(self) -> list[str]:
        """All paths in reading order."""
        return list(self._values)

    def label(self, path: str) -> tuple[str, str]:
        """Label and unit of an input."""
        return self._values[path][1], self._values[path][3].replace("degF", "°F")

    def value(self, path: str):
        """Value of the run; None where not given."""
        return self._values[path][2]

    def address(self, path: str) -> str:
        """Address of the effective value of an input, which is read by a formula."""
        if path not in self._places:
            raise WorkbookError(f"input {path!r}: has no cell")
        self.read.add(path)
        return self._places[path]

    def place(self, path: str) -> str:
        """Address without counting it as read."""
        return self._places.get(path, "")

    def shown(self, path: str):
        """What the cell holds: the value, or the size that stands in for it."""
        value = self._values[path][2]
        if value is None and path in self._results.sizes and self._results.sizes[path][2] == "sized":
            return self._results.sizes[path][0]
        return value

    def optional(self, path: str) -> str | None:
        """Address of an input that may be left out; None where the cell shows what follows from others."""
        if self._values[path][2] is None and path in FOLLOWS:
            return None
        return self.address(path)
