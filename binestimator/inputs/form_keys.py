"""Keys by which cells of a form are found: its sheets, its tables, and what a line and a column of each mean.

A form has four layers of each input: *yours* (what the user gives; empty: nothing given), what counts *otherwise*
(default, derived, sized, or set by the project's own overrides), the *reviewer's* override, and what *counts* (the
first of reviewer's, yours, otherwise that is not empty).

Tables have a key for each line and each column, so that a cell is found wherever a user has moved it. Writers ask a
:class:`FormTable` for the keys of a cell, readers ask it what a cell with such keys is for.
"""

from __future__ import annotations

import functools

from binestimator.dataclass import dataclass
from binestimator.inputs.facts import facts
from binestimator.inputs.schema import SINGLE_SECTIONS, STRATEGY_SECTIONS, Field, fields_of
from binestimator.inputs.values import MOST_POINTS, TABLE_MARK, replaced

#: Sheets of a form; workbooks of results have them too.
INPUTS, PROFILES, ZONES, STRATEGIES = "Inputs", "Profile groups", "Zone inputs", "Strategies"
FORM_SHEETS = (INPUTS, PROFILES, ZONES, STRATEGIES)
#: First sheet of an empty form: the facts of a quick check. Filled forms and workbooks of results have none.
QUICK = "Quick check"
#: What they were called by earlier versions, whose forms are read as well.
EARLIER_NAMES = {ZONES: "Zone schedule"}
#: Sheets of a client edition, which has none of the above; workbooks of results have these too.
CLIENT_SHEETS = ("At a glance", "Options in figures", "Inputs that matter", "Checks in brief", "Cautions")

#: Text of the corner of a table, where its column of line keys and its line of column keys meet.
CORNER = TABLE_MARK
#: In the column of line keys: what follows belongs to no table until the next corner.
END = CORNER + "end"
#: Key of columns of a table that hold nothing to read, and content of what a strategy does not use.
NOT_READ, UNUSED = "–", "–"
YOURS, OTHERWISE, REVIEWER, COUNTS = "value", "otherwise", "override", "counts"
LAYERS = (YOURS, OTHERWISE, REVIEWER, COUNTS)
#: Columns beside the layers: what is said of an input, and where a line of zones comes from.
EVIDENCE, STATUS, FROM = "evidence", "status", "from"
#: Where a line of the zones or a candidate comes from.
FROM_PROJECT, FROM_FILE, FROM_QUICK, FROM_DEFAULT = "project", "zones file", "quick description", "default eight"

# What lines and columns of a table are.
_LAYERS_ACROSS, _THINGS_ACROSS, _INPUTS_ACROSS, _RECORDS = "layers", "things", "inputs", "records"
_COORDINATES = tuple(f"{axis}{place}" for axis in "xy" for place in range(1, MOST_POINTS + 3))


@dataclass(frozen=True, slots=True)
class Spot:
    """What a cell of a form is for.

    Parameters
    ----------
    layer : str
        One of ``LAYERS``, or ``EVIDENCE, STATUS, FROM``.
    thing : str
        Which of the things of a table of many, by its number or line; empty in other tables.
    key : str
        Input as its table knows it: ``fan.motor_hp``, ``lights_w_ft2``, ``sat.max_f``, ``sat.points.x1``.
    """

    layer: str
    thing: str
    key: str


@dataclass(frozen=True, slots=True)
class FormTable:
    """A table of a form.

    Parameters
    ----------
    name : str
        In its corner; of a table of things their section.
    sheet : str
    across : str
        What its columns are: layers of the inputs of the lines; things in each layer, with inputs down; inputs in each
        layer, with things down; or parts of records.
    optional : bool
        Only written when it holds something.
    """

    name: str
    sheet: str
    across: str
    optional: bool = False

    @property
    def things_across(self) -> bool:
        """Whether its lines are inputs and its columns things."""
        return self.across == _THINGS_ACROSS

    @property
    def things_down(self) -> bool:
        """Whether its lines are things and its columns inputs."""
        return self.across == _INPUTS_ACROSS

    def column_key(self, layer: str, thing: str = "", key: str = "") -> str:
        """Key of the column of a cell; of the name of a thing, a number or an input, as its columns are."""
        more = {_THINGS_ACROSS: thing, _INPUTS_ACROSS: key}.get(self.across, "")
        return f"{layer} {more}" if more else layer

    def spot(self, line: str, row: int, column_key: str) -> Spot | None:
        """What the cell with the key of a line, in a row, and of a column is for; None where that is nothing to read.

        A column that says none of what is known is for nothing.
        """
        layer, _, more = column_key.partition(" ")
        if self.across == _LAYERS_ACROSS:
            return Spot(column_key, "", line) if column_key in (*LAYERS, EVIDENCE, STATUS) else None
        if self.across == _THINGS_ACROSS:
            return Spot(layer, more, line) if layer in LAYERS and more.isdigit() else None
        if column_key == FROM:
            return Spot(FROM, str(row), "")
        return Spot(layer, str(row), more) if layer in LAYERS and (more in self.fields or layer == COUNTS) else None

    @property
    def fields(self) -> dict[str, Field | None]:
        """Key of each line (of each column where things are down) -> its input; None for marks of candidates."""
        return _fields(self.name)

    def retired(self, key: str) -> tuple[str, str] | None:
        """What took the place of an input of earlier versions, and what to do; None for a key that never was one."""
        section, _, name = key.rpartition(".")
        return replaced(section or self.name, name)


#: All tables by their names.
TABLES = {
    table.name: table
    for table in (
        FormTable("facts", QUICK, _LAYERS_ACROSS, optional=True),
        FormTable("inputs", INPUTS, _LAYERS_ACROSS),
        FormTable("overrides", INPUTS, _RECORDS, optional=True),
        FormTable("underneath", INPUTS, _RECORDS, optional=True),
        FormTable("about", INPUTS, _RECORDS),
        FormTable("terms", INPUTS, _RECORDS, optional=True),
        FormTable("group", PROFILES, _THINGS_ACROSS),
        FormTable("special", PROFILES, _THINGS_ACROSS, optional=True),
        FormTable("zone", ZONES, _INPUTS_ACROSS),
        FormTable("candidate", STRATEGIES, _THINGS_ACROSS),
        FormTable("library", STRATEGIES, _LAYERS_ACROSS),
        FormTable("changes", STRATEGIES, _RECORDS),
    )
}


def is_coordinate(key: str) -> bool:
    """Whether a key is that of a coordinate of points: ``sat.points.x1``."""
    return key.rpartition(".")[2] in _COORDINATES


def with_coordinates(key: str) -> list[str]:
    """Keys of all coordinates that points may have."""
    return [f"{key}.{last}" for last in _COORDINATES]


@functools.cache
def _fields(name: str) -> dict[str, Field | None]:
    found: dict[str, Field | None] = {}

    def put(key: str, field: Field) -> None:
        if field.type == "points":
            found.update((each, field) for each in with_coordinates(key))
        if field.type != "points" or name in ("inputs", "library"):  # there a whole line may be typed as text
            found[key] = field

    if name == "facts":
        found.update((each.name, each.field) for each in facts())
    elif name == "inputs":
        for section in SINGLE_SECTIONS:
            for field in fields_of(section).values():
                put(field.path, field)
    elif name == "library":
        for part in STRATEGY_SECTIONS:
            for strategy in fields_of(part)["strategy"].choices:
                for field in fields_of(part).values():
                    if field.name != "strategy":
                        put(f"{part}.{strategy}.{field.name}", field)
    else:
        for field in fields_of(name).values():
            put(field.name, field)
        if name == "candidate":
            found |= {"listed": None, "baseline": None}
            for part in STRATEGY_SECTIONS:
                for field in fields_of(part).values():
                    put(f"{part}.{field.name}", field)
    return found
