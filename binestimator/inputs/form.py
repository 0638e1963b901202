"""Reads an input form, or any workbook of results, into a project.

What counts as given are the cells of the user; cells with defaults, formulas and results are not
read. The reviewer's overrides are kept apart: they never become part of the project. Everything is
checked as in a project file, and what is wrong is named by sheet and cell.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from dataclasses import field as dataclass_field
from pathlib import Path

from binestimator.errors import InputError
from binestimator.inputs.cells import Cell, SheetCells, WorkbookFile, address_of
from binestimator.inputs.form_content import (
    CLIENT_SHEETS,
    CORNER,
    EARLIER_NAMES,
    END,
    FORM_SHEETS,
    FROM_FILE,
    FROM_QUICK,
    INPUTS,
    NOT_READ,
    OPTIONAL_TABLES,
    OTHERWISE,
    REVIEWER,
    TABLES,
    UNUSED,
    YOURS,
    can_review,
    hit_by,
    raw_of,
)
from binestimator.inputs.paths import item_path, parse_path
from binestimator.inputs.problems import InputErrors, Problem, Problems, printable, sentence
from binestimator.inputs.project import MOST, Project, build_project, nameless, override_place
from binestimator.inputs.read import given_from_mapping, zone_values
from binestimator.inputs.schema import (
    MOST_POINTS,
    SECTIONS,
    SINGLE_SECTIONS,
    STRATEGY_SECTIONS,
    Field,
    check_value,
    did_you_mean,
    fields_of,
    number_or_text,
    replaced,
)

#: Endings of files that are taken for a form or a workbook, not for a project file.
WORKBOOK_ENDINGS = (".xlsx", ".xlsm", ".xltx", ".xltm", ".xlsb", ".xls", ".ods")
#: Lines of a table, empty ones with a key among them.
MOST_LINES = 5_000
_ABOUT_ONE = (YOURS, OTHERWISE, REVIEWER, "evidence", "status")
_LASTS = tuple(f"{axis}{place}" for axis in "xy" for place in range(1, MOST_POINTS + 3))
_SINGLES = {field.path: field for section in SINGLE_SECTIONS for field in fields_of(section).values()}


@dataclass(frozen=True, slots=True)
class Form:
    """What a form says.

    Parameters
    ----------
    project : Project
        Of the cells of the user: the claim.
    review : dict
        Path -> value that a reviewer put over it.
    reviewed : Project or None
        The project with the reviewer's overrides; None when there are none.
    """

    project: Project
    review: dict[str, object]
    reviewed: Project | None


def is_workbook(path: str | Path) -> bool:
    """Whether a file is to be read as a form or workbook: by its ending, else by its first bytes."""
    path = Path(path)
    if path.suffix.casefold() in WORKBOOK_ENDINGS:
        return True
    if path.suffix.casefold() == ".toml":
        return False
    try:
        if not path.is_file():
            return False
        with path.open("rb") as file:
            return file.read(4) in (b"PK\x03\x04", b"\xd0\xcf\x11\xe0")
    except OSError:
        return False


def read_form(path: str | Path) -> Form:
    """Read, check and complete an input form or a workbook of results.

    Parameters
    ----------
    path : str or Path
        Workbook (.xlsx). The weather file named in it is looked up from its folder; zones of a zones
        file are in the workbook and are not read from that file again.

    Returns
    -------
    Form

    Raises
    ------
    InputError
        When the file cannot be read, or with everything that is wrong in it, by sheet and cell.
    """
    path = Path(path)
    with WorkbookFile(path) as file:
        tables = _tables(file, path.name)
    return _FormReader(tables, path).form()


# ---------------------------------------------------------------- tables


@dataclass(slots=True)
class _Table:
    """A table found on a sheet.

    Parameters
    ----------
    lines : list of (str, int)
        Key, or empty, and row of each line with a key or content.
    columns : dict
        Key -> column.
    """

    name: str
    sheet: SheetCells
    lines: list[tuple[str, int]]
    columns: dict[str, int]
    place: str = ""

    def at(self, row: int, column: int) -> str:
        """Sheet and address of a cell."""
        return f"{self.sheet.name}!{address_of(row, column)}"


def _tables(file: WorkbookFile, name: str) -> dict[str, _Table]:
    """Tables of the form by name; refuses missing, doubled and copied ones."""
    named = {sheet: sheet if sheet in file.sheet_names else EARLIER_NAMES.get(sheet, sheet) for sheet in FORM_SHEETS}
    missing = [sheet for sheet in FORM_SHEETS if named[sheet] not in file.sheet_names]
    if len(missing) == len(FORM_SHEETS) and set(CLIENT_SHEETS) <= set(file.sheet_names):
        stem = name.rpartition(".")[0].removesuffix("_client")
        raise InputError(
            f"{name}: is a client edition: pages to read, without the sheets of inputs; give the workbook of the same "
            f"run, which it was written beside (such as {stem}.xlsx), or the project file"
        )
    if missing:
        raise InputError(
            f"{name}: no sheet {', '.join(f'“{sheet}”' for sheet in missing)}; expected an input form, or a workbook "
            "that this "
            "program wrote, with its sheets of inputs under their own names; write a form with: binestimator form "
            "OUT.xlsx"
        )
    copies = [
        sheet
        for sheet in file.sheet_names
        if sheet not in (*named.values(), *CLIENT_SHEETS)
        and any(form.casefold() in sheet.casefold() and sheet[:1].strip().isalpha() for form in FORM_SHEETS)
    ]
    if copies:
        raise InputError(
            f"{name}: the sheet “{printable(copies[0])}” looks like a copy of a sheet of inputs; "
            "which one counts is not clear; delete it or give it another name"
        )
    found: dict[str, _Table] = {}
    for sheet_name in FORM_SHEETS:
        sheet = file.sheet(named[sheet_name])
        corners = {
            place: cell.value[len(CORNER) :]
            for place, cell in sheet.cells.items()
            if cell.kind == "text" and cell.value.startswith(CORNER)
        }
        for (row, column), table in sorted(corners.items()):
            if table == END[len(CORNER) :]:
                continue
            place = f"{sheet.name}!{address_of(row, column)}"
            if TABLES.get(table) != sheet_name:
                raise InputError(
                    f"{name}: {place}: unknown key of a table “{printable(table[:40])}”; the cell was changed; "
                    "take the sheet from a new form"
                )
            if table in found:
                raise InputError(
                    f"{name}: {place}: the table “{table}” appears twice, also at {found[table].place}; delete one"
                )
            found[table] = _table(sheet, table, row, column, corners, name)
    lacking = [table for table in TABLES if table not in found and table not in OPTIONAL_TABLES]
    if lacking:
        raise InputError(
            f"{name}: sheet {TABLES[lacking[0]]}: the table with the key “{CORNER}{lacking[0]}” is missing; "
            "write a new form and copy the values into it"
        )
    return found


def _table(sheet: SheetCells, table: str, corner_row: int, corner_column: int, corners, name: str) -> _Table:
    below = [row for row, column in corners if column == corner_column and row > corner_row]
    end = min(below, default=1 << 30)
    columns: dict[str, int] = {}
    lines: dict[int, str] = {}
    for (row, column), cell in sheet.cells.items():
        if cell.kind != "text":
            continue
        if row == corner_row and column != corner_column and cell.value.strip() != NOT_READ:
            key = cell.value.strip()
            if key in columns:
                raise InputError(
                    f"{name}: {sheet.name}!{address_of(row, column)}: the key “{printable(key[:60])}” of a column "
                    f"appears twice, also at {address_of(row, columns[key])}; restore the keys"
                )
            columns[key] = column
        elif column == corner_column and corner_row < row < end:
            lines[row] = cell.value.strip()
    keyed = set(columns.values())
    inner = {
        row
        for (row, column), cell in sheet.cells.items()
        if column in keyed and corner_row < row < end and cell.kind != "formula"
    }
    if len({*lines, *inner}) > MOST_LINES:
        raise InputError(
            f"{name}: sheet {sheet.name}: the table of the key at {address_of(corner_row, corner_column)} has "
            f"{len({*lines, *inner}):,} lines; expected at most {MOST_LINES:,}; remove what does not belong to it"
        )
    return _Table(
        table,
        sheet,
        sorted(((lines.get(row, ""), row) for row in {*lines, *inner}), key=lambda line: line[1]),
        columns,
        f"{sheet.name}!{address_of(corner_row, corner_column)}",
    )


# ---------------------------------------------------------------- reading


@dataclass(slots=True)
class _Layers:
    """Contents of the cells of one thing: input -> content, for each layer, and where they are."""

    key: str
    yours: dict[str, object] = dataclass_field(default_factory=dict)
    otherwise: dict[str, object] = dataclass_field(default_factory=dict)
    reviewer: dict[str, object] = dataclass_field(default_factory=dict)
    places: dict[tuple[str, str], str] = dataclass_field(default_factory=dict)

    def of(self, layer: str) -> dict[str, object]:
        return {YOURS: self.yours, OTHERWISE: self.otherwise, REVIEWER: self.reviewer}[layer]


@dataclass(frozen=True, slots=True)
class _Points:
    """Coordinates of a line of a candidate that someone gave.

    Parameters
    ----------
    table : dict
        Raw table of the candidate.
    candidate, key : str
        Its id, and the input such as ``sat.points``.
    coordinates : dict
        ``x1`` -> content.
    lies_over : bool
        An override of the project lies on the input.
    """

    table: dict
    candidate: str
    key: str
    coordinates: dict[str, object]
    lies_over: bool

    def over(self, project: Project) -> object:
        """Raw points: the given coordinates over those of a project; ``none`` leaves a point out."""
        part, _, name = self.key.partition(".")
        found = next((candidate for candidate in project.candidates if candidate.id == self.candidate), None)
        base = (getattr(getattr(found, part), name) or ()) if found is not None else ()
        merged = {
            f"{axis}{place}": value
            for place, point in enumerate(base, 1)
            for axis, value in zip("xy", point, strict=True)
        }
        return _joined({**merged, **self.coordinates})


class _FormReader:
    """Work of :func:`read_form`."""

    def __init__(self, tables: dict[str, _Table], path: Path):
        self.tables, self.path = tables, path
        self.problems: list[Problem] = []
        self.places: dict[str, str] = {}
        self.review_places: dict[str, str] = {}
        self.raw: dict = {}
        self.csv_zones: list[dict] = []
        self.review: dict[str, object] = {}
        self.extra: dict[str, object] = {}
        self.points: list[_Points] = []
        self.review_points: list[_Points] = []
        self._merged = {id(table): _merged_cells(table) for table in tables.values()}

    def form(self) -> Form:
        """The form, or one error with everything wrong."""
        self._paths_and_values("overrides", "override")
        self._read_lists()
        self._read_singles()
        self._read_library()
        self._lay_underneath()
        self._read_about()
        if self.points:
            self._fill_points()
        override = self.raw.get("override", {})
        for path, value in self.extra.items():  # a value typed where an override lies comes after it
            override.pop(path, None)
            override[path] = value
        if override:
            self.raw["override"] = override
        project = self._build()
        for points in self.review_points:
            self.review[item_path("candidate", points.candidate, points.key)] = points.over(project)
        reviewed = self._reviewed(project) if self.review else None
        review = {path: reviewed.overrides[path] for path in self.review} if reviewed is not None else {}
        return Form(project, review, reviewed)

    # -- cells

    def _bad(self, place: str, text: str) -> None:
        self.problems.append(Problem(place, text))

    def _content(self, table: _Table, row: int, column: int, field: Field | None = None) -> object:
        """Content of an input cell: text, number, truth value or None; what is wrong is noted, with what ``field``
        allows."""
        wanted = "a value" if field is None else field.allowed_as(in_cell=True)
        cell: Cell | None = table.sheet.cells.get((row, column))
        if (row, column) in self._merged[id(table)]:
            self._bad(
                table.at(row, column),
                "is part of merged cells, so that it is not clear which input the value is for; unmerge them",
            )
            return None
        if cell is None:
            return None
        place = table.at(row, column) + (f", {field.label}" if field is not None else "")
        if cell.kind == "formula":
            self._bad(
                place,
                f"holds a formula; expected {wanted}, as formulas are not worked out here; copy the cell and paste it "
                "as a value",
            )
        elif cell.kind == "error":
            self._bad(place, f"holds an error value; expected {wanted}; type it again")
        elif cell.kind == "date":
            self._bad(
                place, f"holds a date or time; expected {wanted}; format the cell as text and type the value again"
            )
        elif cell.kind == "text":
            return cell.value if cell.value.strip() else None
        else:
            return cell.value
        return None

    def _cells(self, table: _Table, column: int) -> Iterator[tuple[str, int, object]]:
        for key, row in table.lines:
            content = self._content(table, row, column)
            if content is not None:
                yield key, row, content

    def _columns(self, table: _Table, *wanted: str) -> list[int | None]:
        for key in wanted:
            if key not in table.columns:
                raise InputError(
                    f"{self.path.name}: sheet {table.sheet.name}: the column with the key “{key}” of the table at "
                    f"{table.place} "
                    "is missing; take the sheet from a new form"
                )
        return [table.columns[key] for key in wanted]

    # -- inputs that occur once

    def _read_singles(self) -> None:
        table = self.tables["inputs"]
        columns = dict(zip(_ABOUT_ONE, self._columns(table, *_ABOUT_ONE), strict=True))
        layers = _Layers("")
        about: dict[tuple[str, str], object] = {}
        known = {
            **_SINGLES,
            **{
                f"{path}.{last}": field for path, field in _SINGLES.items() if field.type == "points" for last in _LASTS
            },
        }
        seen: dict[str, str] = {}
        for key, row in table.lines:
            contents = {
                name: self._content(table, row, column, known.get(key) if name in (YOURS, REVIEWER) else None)
                for name, column in columns.items()
                if name != OTHERWISE
            }
            given = next((name for name, content in contents.items() if content is not None), None)
            place = table.at(row, columns[given or YOURS])
            if key not in known:
                old = replaced(*key.split(".", 1)) if "." in key else None
                if old:
                    if contents[YOURS] is not None or contents[REVIEWER] not in (None, UNUSED):
                        self._bad(place, sentence(old[0], key, do=old[1]))
                elif key:
                    self._bad(
                        place, sentence(f"unknown key “{printable(key[:60])}” of a line", do=did_you_mean(key, known))
                    )
                elif given is not None:
                    self._bad(
                        place,
                        "the line has no key that says which input it is; remove the line, or take the sheet from a "
                        "new form",
                    )
                continue
            if key in seen:
                self._bad(place, f"the input {key} appears twice, also at {seen[key]}; remove one of the lines")
                continue
            seen[key] = place
            path = known[key].path
            cell = table.sheet.cells.get((row, columns[OTHERWISE]))
            if cell is not None and isinstance(cell.value, (str, float)):
                layers.otherwise[key] = cell.value
            for name in (YOURS, REVIEWER):
                layers.places.setdefault((name, path), table.at(row, columns[name]))
                layers.places.setdefault((name, key), table.at(row, columns[name]))
                if contents[name] is not None and (name, contents[name]) != (REVIEWER, UNUSED):
                    layers.of(name)[key] = contents[name]
                    layers.places[name, path] = table.at(row, columns[name])
            for name in ("evidence", "status"):
                if contents[name] is not None and (name, path) not in about:
                    about[name, path] = contents[name]
                    self.places[override_place(name, path)] = table.at(row, columns[name])
        for (name, path), content in about.items():
            self.raw.setdefault(name, {})[path] = _as_text(content)
        hit = hit_by(self.raw.get("override", {}), {})
        for (layer, path), place in layers.places.items():
            if layer == YOURS:
                self.places[path] = place
        for path, raw in _whole_inputs(layers.yours, layers.otherwise, _SINGLES):
            if path in hit:
                self.extra[path] = raw
                self.places[override_place("override", path)] = self.places[path]
            else:
                section, _, name = path.partition(".")
                self.raw.setdefault(section, {})[name] = raw
        for path, raw in _whole_inputs(layers.reviewer, {**layers.otherwise, **layers.yours}, _SINGLES):
            self._review(_SINGLES[path], path, raw, layers.places[REVIEWER, path])

    def _review(self, field: Field, path: str, raw: object, place: str) -> None:
        if not can_review(field):
            self._bad(place, "this input cannot be overridden; leave the cell empty, and have the value itself changed")
            return
        self.review[path] = raw
        self.review_places[path] = place

    # -- things that come in numbers

    def _read_lists(self) -> None:
        side = {kind: self._side_by_side(kind) for kind in ("group", "special", "candidate")}
        zones = self._zone_lines()
        names = {
            kind: [self._name(layers, "name") for layers in side[kind] if layers.yours] for kind in ("group", "special")
        }
        names["zone"] = [self._name(layers, "name") for _, layers in zones if layers.yours]
        names["candidate"] = [self._candidate_id(layers) for layers in side["candidate"]]
        hit = hit_by(
            self.raw.get("override", {}),
            {kind: [n for n in found if isinstance(n, str)] for kind, found in names.items()},
        )
        for kind in ("special", "group"):
            for layers in side[kind]:
                self._take_item(kind, layers, self.raw.setdefault(kind, []), hit)
        for origin, layers in zones:
            if origin == FROM_QUICK:
                self._take_quick_zone(layers)
            elif origin == FROM_FILE:
                self._take_item("zone", layers, self.csv_zones, hit)
            else:
                self._take_item("zone", layers, self.raw.setdefault("zone", []), hit)
        self._take_candidates(side["candidate"], hit)
        for kind in ("special", "group", "zone", "candidate"):
            if not self.raw.get(kind, True):
                del self.raw[kind]

    def _name(self, layers: _Layers, key: str) -> object:
        content = layers.yours.get(key)
        return None if content is None else raw_of(fields_of("zone")["name"], content)

    def _side_by_side(self, kind: str) -> list[_Layers]:
        """Things of a table with inputs down and things across, in the order of their columns."""
        if kind not in self.tables:
            return []
        table = self.tables[kind]
        known = _known_lines(kind)
        found: dict[str, _Layers] = {}
        order: list[str] = []
        for header, column in sorted(table.columns.items(), key=lambda pair: pair[1]):
            layer, _, number = header.partition(" ")
            if layer not in (YOURS, OTHERWISE, REVIEWER) or not number.isdigit():
                if layer != "counts":
                    self._bad(
                        table.place,
                        f"unknown key “{printable(header[:60])}” of a column; take the sheet from a new form",
                    )
                continue
            layers = found.setdefault(number, _Layers(number))
            if layer == YOURS:
                order.append(number)
            for key, row in table.lines:
                if layer == OTHERWISE:
                    cell = table.sheet.cells.get((row, column))
                    shown = cell is not None and isinstance(cell.value, (str, float))
                    if key in known and shown and not (cell.kind == "formula" and key in ("id", "name")):
                        layers.otherwise[key] = cell.value
                    continue
                cell = table.sheet.cells.get((row, column))
                if (
                    layer == REVIEWER
                    and cell is not None
                    and (cell.value == UNUSED or (key in ("id", "name") and cell.kind == "formula"))
                ):
                    continue  # written so: nothing to override, or the name as a heading
                layers.places.setdefault((layer, key), table.at(row, column))
                content = self._content(table, row, column, _line_field(kind, key))
                if content is None:
                    continue
                if key not in known:
                    self._bad(
                        table.at(row, column),
                        f"unknown key “{printable(key[:60])}” of a line"
                        if key
                        else "the line has no key that says which input it is; remove the line or its content",
                    )
                    continue
                layers.of(layer)[key] = content
        self._unkeyed_columns(table)
        return [found[number] for number in order]

    def _unkeyed_columns(self, table: _Table) -> None:
        """Refuse content in columns that a user put between those of the table."""
        keyed = {*table.columns.values()}
        rows = {row for key, row in table.lines if key}
        corner_row = _row_of(table)
        informing = {
            column for (row, column), cell in table.sheet.cells.items() if row == corner_row and cell.value == NOT_READ
        }
        first, last = min(keyed), max(keyed)
        for (row, column), _cell in table.sheet.cells.items():
            if first < column < last and row in rows and column not in keyed | informing:
                self._bad(
                    table.at(row, column),
                    "the column has no key in the line of keys, so that its content counts for nothing; "
                    "use a spare column, or remove this one",
                )
                return

    def _zone_lines(self) -> list[tuple[str, _Layers]]:
        table = self.tables["zone"]
        fields = fields_of("zone")
        (origin_column,) = self._columns(table, "from")
        found: list[tuple[str, _Layers]] = []
        columns: list[tuple[str, str, int]] = []
        for header, column in table.columns.items():
            layer, _, name = header.partition(" ")
            if layer in (YOURS, REVIEWER) and name in fields:
                columns.append((layer, name, column))
            elif header not in ("from",) and layer not in (OTHERWISE, "counts"):
                self._bad(
                    table.at(_row_of(table), column),
                    sentence(f"unknown key “{printable(header[:60])}” of a column", do=did_you_mean(name, fields)),
                )
        self._columns(table, *(f"{YOURS} {name}" for name, field in fields.items() if field.required))
        self._unkeyed_columns(table)
        for key, row in table.lines:
            layers = _Layers(key)
            for layer, name, column in columns:
                layers.places[layer, name] = table.at(row, column)
                content = self._content(table, row, column, fields[name])
                if content is not None and (layer, content) != (REVIEWER, UNUSED):
                    layers.of(layer)[name] = content
            cell = table.sheet.cells.get((row, origin_column))
            origin = cell.value if cell is not None and cell.kind == "text" else ""
            if layers.yours or layers.reviewer:
                found.append((origin, layers))
            if len(found) > 2 * MOST["zone"]:  # those of the quick description are here as well
                self._bad(
                    table.at(row, columns[0][2]),
                    f"more than {2 * MOST['zone']} lines of zones; expected at most {MOST['zone']}; "
                    "join alike zones by their multiplier",
                )
                break
        return found

    def _take_item(self, kind: str, layers: _Layers, target: list[dict], hit: set[str]) -> None:
        """Put the given values of a thing into its list, and what lies over others into the overrides."""
        if not layers.yours:
            self._review_of_nothing(layers)
            return
        name = self._name(layers, "name")
        index = len(target)
        shown = name if isinstance(name, str) and name else nameless(index)
        values: dict[str, object] = {}
        first = layers.places[YOURS, "name"]
        self.places.setdefault(f"{kind}[{shown}]", first)
        for key, place in layers.places.items():
            if key[0] == YOURS and key[1]:
                for item in (shown, nameless(index)):
                    self.places.setdefault(f"{kind}[{item}].{key[1]}", place)
        for key, content in layers.yours.items():
            raw, path = raw_of(fields_of(kind)[key], content), item_path(kind, str(shown), key)
            if path in hit and key != "name":
                self.extra[path] = raw
                self.places[override_place("override", path)] = layers.places[YOURS, key]
            else:
                values[key] = raw
        target.append(values)
        self._review_item(kind, str(shown), layers)

    def _take_quick_zone(self, layers: _Layers) -> None:
        name = self._name(layers, "name")
        for key, content in layers.yours.items():
            if key != "name":
                path = item_path("zone", str(name), key)
                self.extra[path] = raw_of(fields_of("zone")[key], content)
                self.places[override_place("override", path)] = layers.places[YOURS, key]
        for key, place in layers.places.items():
            if key[0] == YOURS:
                self.places.setdefault(f"zone[{name}].{key[1]}", place)
        self._review_item("zone", str(name), layers)

    def _review_item(self, kind: str, name: str, layers: _Layers) -> None:
        for key, content in layers.reviewer.items():
            field = fields_of(kind)[key]
            self._review(field, item_path(kind, name, key), raw_of(field, content), layers.places[REVIEWER, key])

    def _review_of_nothing(self, layers: _Layers) -> None:
        for key in layers.reviewer:
            self._bad(layers.places[REVIEWER, key], "overrides an input of a line that is empty; remove it")

    # -- candidates

    def _candidate_id(self, layers: _Layers) -> object:
        content = layers.yours.get("id", layers.otherwise.get("id"))
        return None if content in (None, "required") else raw_of(fields_of("candidate")["id"], content)

    def _take_candidates(self, columns: list[_Layers], hit: set[str]) -> None:
        listed: list[tuple[float, int, dict]] = []
        for at, layers in enumerate(columns):
            candidate_id = self._candidate_id(layers)
            own = dict(layers.yours.items())
            place = own.pop("listed", None)
            if not own and place is None:
                if candidate_id is None:
                    self._review_of_nothing(layers)
                else:
                    self._review_candidate(str(candidate_id), layers)
                continue
            if place is not None and (isinstance(place, bool) or not isinstance(place, float)):
                self._bad(
                    layers.places[YOURS, "listed"],
                    sentence("not a place in the list", place, "a whole number, or nothing"),
                )
                place = None
            table = self._candidate_table(candidate_id, own, layers, hit)
            listed.append((float("inf") if place is None else place, at, table))
        listed.sort(key=lambda entry: entry[:2])
        if not listed:
            return
        self.raw["candidate"] = [table for _, _, table in listed]
        for index, (_, at, _) in enumerate(listed):  # one whose id cannot be used is called by its place
            for (layer, key), place in columns[at].places.items():
                if layer == YOURS and key:
                    self.places.setdefault(f"candidate[{nameless(index)}].{key}", place)
            self.places.setdefault(f"candidate[{nameless(index)}]", columns[at].places.get((YOURS, "id"), ""))
        for candidate_id, path, raw, place in self._path_lines("changes"):
            target = next((table for table in self.raw["candidate"] if table.get("id") == candidate_id), None)
            if target is None:
                ids = [str(table.get("id")) for table in self.raw["candidate"]]
                self._bad(
                    place,
                    sentence(
                        "no candidate of this id is listed above", candidate_id, do=did_you_mean(candidate_id, ids)
                    ),
                )
                continue
            target.setdefault("override", {})[path] = raw
            self.places[override_place(f"candidate[{candidate_id}].override", path)] = place
            self.places.setdefault(f"candidate[{candidate_id}].override", place)

    def _candidate_table(self, candidate_id, own: dict, layers: _Layers, hit: set[str]) -> dict:
        table: dict = {} if candidate_id is None else {"id": candidate_id}
        name = str(candidate_id)
        self.places.setdefault(f"candidate[{name}]", layers.places.get((YOURS, "id"), ""))
        for (layer, key), place in layers.places.items():
            if layer == YOURS and key:
                self.places.setdefault(f"candidate[{name}].{key}", place)
        own.pop("id", None)
        baseline = own.pop("baseline", None)
        if baseline is not None:
            raw = raw_of(fields_of("zone")["reheat"], baseline)
            table["baseline"] = raw
        for key, coordinates in _take_points(own).items():
            place = next(layers.places[YOURS, f"{key}.{last}"] for last in coordinates)
            self.places.setdefault(f"candidate[{name}].{key}", place)
            self.points.append(_Points(table, name, key, coordinates, item_path("candidate", name, key) in hit))
        for key, content in own.items():
            field, part = _candidate_field(key)
            raw, path = raw_of(field, content), item_path("candidate", name, key)
            if path in hit and field.name != "strategy":
                self.extra[path] = raw
                self.places[override_place("override", path)] = self.places[f"candidate[{name}].{key}"]
            elif part:
                table.setdefault(part, {})[field.name] = raw
            else:
                table[field.name] = raw
        self._review_candidate(name, layers)
        return table

    def _review_candidate(self, name: str, layers: _Layers) -> None:
        own = dict(layers.reviewer.items())
        for key in ("listed", "baseline"):
            if key in own:
                self._bad(layers.places[REVIEWER, key], "this input cannot be overridden; leave the cell empty")
                del own[key]
        for key, coordinates in _take_points(own).items():
            place = next(layers.places[REVIEWER, f"{key}.{last}"] for last in coordinates)
            path = item_path("candidate", name, key)
            self.review[path], self.review_places[path] = None, place  # filled in when the claimed line is known
            self.review_points.append(_Points({}, name, key, coordinates, False))
        for key, content in own.items():
            field, _ = _candidate_field(key)
            self._review(field, item_path("candidate", name, key), raw_of(field, content), layers.places[REVIEWER, key])

    def _read_library(self) -> None:
        table = self.tables["library"]
        (value,) = self._columns(table, YOURS)
        own: dict[str, object] = {}
        rows: dict[str, str] = {}
        known = _library_lines()
        for key, row, content in self._cells(table, value):
            if key not in known and key.rpartition(".")[0] not in known:
                self._bad(
                    table.at(row, value),
                    f"unknown key “{printable(key[:60])}” of a line; take the sheet from a new form",
                )
                continue
            if key in own:
                self._bad(table.at(row, value), f"the setting {key} appears twice; remove one of the lines")
                continue
            own[key] = content
            rows[key] = table.at(row, value)
        for key, raw in _whole_inputs(own, {}, known):
            part, strategy, name = key.split(".")
            self.raw.setdefault(part, {}).setdefault(strategy, {})[name] = raw
            self.places[key] = next(place for each, place in rows.items() if each == key or each.startswith(f"{key}."))
        for key, place in rows.items():
            self.places.setdefault(key, place)

    def _fill_points(self) -> None:
        """Lines of candidates from the coordinates that are given and those that count otherwise.

        What counts otherwise is found by completing the project without these lines; formulas in
        the file, or what they may have given, are not trusted.
        """
        given, overrides = given_from_mapping(self._without_zones_file(), self.path.parent, Problems())
        bare = build_project(given, overrides, Problems(), source_path="", source_dir="", try_candidates=False)
        for points in self.points:
            raw = points.over(bare)
            if points.lies_over:
                path = item_path("candidate", points.candidate, points.key)
                self.extra[path] = raw
                self.places[override_place("override", path)] = self.places[
                    f"candidate[{points.candidate}].{points.key}"
                ]
            else:
                part, _, name = points.key.partition(".")
                points.table.setdefault(part, {})[name] = raw

    def _without_zones_file(self) -> dict:
        """The mapping without the name of a zones file, so that it is not read."""
        project = {name: value for name, value in self.raw.get("project", {}).items() if name != "zones_csv"}
        return {**self.raw, "project": project} if "project" in self.raw else self.raw

    # -- paths with values

    def _path_lines(self, name: str) -> Iterator[tuple[str, str, object, str]]:
        """(candidate id, path, raw value, place) of a table of paths."""
        table = self.tables.get(name)
        if table is None:
            return
        keys = ["path", YOURS] if name != "changes" else ["id", "path", YOURS]
        columns = self._columns(table, *keys)
        for _, row in table.lines:
            contents = [self._content(table, row, column) for column in columns]
            if all(content is None for content in contents):
                continue
            place = table.at(row, columns[-1])
            lacking = [key for key, content in zip(keys, contents, strict=True) if content is None]
            if lacking:
                self._bad(place, f"the line lacks its {' and '.join(lacking)}; fill in the whole line or empty it")
                continue
            *head, content = contents
            texts = [str(_as_text(text)) for text in head]
            parsed, _ = parse_path(texts[-1])
            yield (
                texts[0] if name == "changes" else "",
                texts[-1],
                raw_of(parsed.field, content) if parsed is not None else content,
                place,
            )

    def _paths_and_values(self, table: str, target: str) -> None:
        for _, path, raw, place in self._path_lines(table):
            if path in self.raw.get(target, {}):
                self._bad(place, f"the path {printable(path[:80])} appears twice; remove one of the lines")
                continue
            self.raw.setdefault(target, {})[path] = raw
            self.places[override_place(target, path)] = place

    def _lay_underneath(self) -> None:
        """Given values under the project's own overrides: kept, though they do not count."""
        for _, path, raw, place in self._path_lines("underneath"):
            parsed, problem = parse_path(path)
            if problem:
                self._bad(place, problem)
                continue
            target = self._table_of(parsed)
            if target is None:
                continue  # the thing was removed
            if parsed.field.name not in target:
                target[parsed.field.name] = raw
                full = item_path(parsed.kind, parsed.name, parsed.tail) if parsed.name else parsed.field.path
                self.places[full] = place

    def _table_of(self, parsed) -> dict | None:
        if parsed.name is None:
            return self.raw.setdefault(parsed.kind, {})
        key = "id" if parsed.kind == "candidate" else "name"
        lines = [*self.raw.get(parsed.kind, []), *(self.csv_zones if parsed.kind == "zone" else [])]
        found = next((line for line in lines if line.get(key) == parsed.name), None)
        return found if found is None or parsed.part is None else found.setdefault(parsed.part, {})

    def _read_about(self) -> None:
        table = self.tables["about"]
        path_column, evidence, status = self._columns(table, "path", "evidence", "status")
        for _, row in table.lines:
            path, *texts = (self._content(table, row, column) for column in (path_column, evidence, status))
            if path is None and texts == [None, None]:
                continue
            if not isinstance(path, str) or texts == [None, None]:
                self._bad(
                    table.at(row, path_column),
                    "the line needs the path of an input, such as zone.*.max_cfm, and evidence or status",
                )
                continue
            for name, column, text in zip(("evidence", "status"), (evidence, status), texts, strict=True):
                if text is None:
                    continue
                target = self.raw.setdefault(name, {})
                if path in target:
                    self._bad(table.at(row, column), f"the {name} of {printable(path[:80])} appears twice; remove one")
                    continue
                target[path] = _as_text(text)
                self.places[override_place(name, path)] = table.at(row, column)

    # -- the project

    def _build(self) -> Project:
        problems = Problems(in_cells=True)
        zones_csv = self.raw.get("project", {}).get("zones_csv")
        given, overrides = given_from_mapping(self._without_zones_file(), self.path.parent, problems)
        if zones_csv is not None:
            value, problem = check_value(_SINGLES["project.zones_csv"], zones_csv, in_cell=True)
            if problem:
                problems.add_bad("project.zones_csv", problem)
            elif value is not None or zones_csv == "none":
                given.sections.setdefault("project", {})["zones_csv"] = value
        if len(given.zones) + len(self.csv_zones) > MOST["zone"]:
            problems.add_bad(
                "zone",
                sentence(f"too many: {len(given.zones) + len(self.csv_zones)}", expected=f"at most {MOST['zone']}"),
            )
        else:
            given.csv_zones = zone_values(problems, self.csv_zones, len(given.zones))
        project = build_project(
            given,
            overrides,
            problems,
            source_path=self.path.name,
            source_dir=str(self.path.parent),
            try_candidates=True,
        )
        self._raise_if_any(problems.items, self.places, "the inputs")
        return project

    def _reviewed(self, project: Project) -> Project:
        places = {**self.places, **self.review_places}
        places |= {override_place("override", path): place for path, place in self.review_places.items()}
        try:
            return project.with_overrides(self.review, in_cells=True)
        except InputErrors as error:
            self._raise_if_any(error.problems, places, "the reviewer's overrides")
            raise

    def _raise_if_any(self, items, places: Mapping[str, str], what: str) -> None:
        placed = [*self.problems, *(self._placed(problem, places) for problem in items)]
        placed = list(dict.fromkeys(placed))
        if placed:
            noun = "problem" if len(placed) == 1 else "problems"
            raise InputErrors(f"{self.path.name}: {len(placed)} {noun} in {what}", tuple(placed))

    def _placed(self, problem: Problem, places: Mapping[str, str]) -> Problem:
        """A problem as a reader of the form sees it: its cell, or the nearest known, and inputs by their
        labels."""
        where, text = problem.where, _with_labels(problem.text, places)
        label = _label_of(where)
        inner = _ABOUT_PATH.fullmatch(where)
        shown = inner[1] if inner else where
        named = f"{label} ({shown})" if label else where
        point = re.match(r"([xy]) of point (\d+) ", problem.text)
        nearest = f"{where}.{point[1]}{point[2]}" if point else where
        while nearest:
            if places.get(nearest):
                return Problem(f"{places[nearest]}, {named}" if label else f"{places[nearest]} ({shown})", text)
            nearest = nearest[: max(nearest.rfind("."), 0)]
        sheet = TABLES.get(where, INPUTS if where in (*SINGLE_SECTIONS, "override", "evidence", "status") else "")
        return Problem(f"sheet {sheet} ({where})" if sheet else named, text)


_PATH = re.compile(
    r'(?P<quoted>"[^"]*")'
    r"|(?P<item>(?:group|zone|special|candidate)\[(?:[^\]]+)\](?:\.\w+)+)"
    rf"|(?P<single>\b(?:{'|'.join(SINGLE_SECTIONS)})\.[a-z][a-z0-9_]*)\b"
    r"|(?P<name>\b[a-z][a-z0-9]*(?:_[a-z0-9]+)+\b)"
)
_ABOUT_PATH = re.compile(r'.*?(?:override|evidence|status)\["(.*)"\]')
_LABELS: dict[str, str] = {}
for _section in SECTIONS:
    for _field in fields_of(_section).values():
        if "_" in _field.name:
            _LABELS.setdefault(_field.name, _field.label)


def _with_labels(text: str, places: Mapping[str, str]) -> str:
    """Text with paths and keys of inputs replaced by the labels on the sheets; what is in quotes stays."""

    def named(match: re.Match) -> str:
        if match["quoted"]:
            return match[0]
        if match["name"]:
            return f"“{_LABELS[match[0]]}”" if match[0] in _LABELS else match[0]
        label = _label_of(match[0])
        if not label:
            return match[0]
        return f"“{label}”" + (f" at {places[match[0]]}" if places.get(match[0]) else "")

    return _PATH.sub(named, text)


def _label_of(path: str) -> str:
    """Label of an input on the sheets, with the name of the thing it belongs to; empty when the path is none of an
    input."""
    inner = _ABOUT_PATH.fullmatch(path)
    path = inner[1] if inner else path
    thing = re.fullmatch(r"(group|zone|special|candidate)\[(.+)\](?:\.(baseline|override))?", path)
    if thing:
        kind = {"group": "profile group", "special": "special zone"}.get(thing[1], thing[1])
        return (
            f"{'baseline of ' if thing[3] == 'baseline' else 'changes of ' if thing[3] else ''}{kind} "
            f"{printable(thing[2])}"
        )
    part, _, rest = path.partition(".")
    if part in STRATEGY_SECTIONS:
        strategy, _, name = rest.partition(".")
        field = fields_of(part).get(name)
        return f"{field.label} of the {part.upper()} strategy {strategy}" if field else ""
    parsed, _ = parse_path(path)
    if parsed is None:
        return ""
    of = f" of {printable(parsed.name)}" if parsed.name else ""
    return f"{f'{parsed.part.upper()}: ' if parsed.part else ''}{parsed.field.label}{of}"


def _row_of(table: _Table) -> int:
    """Row of the line of keys of a table."""
    digits = "".join(character for character in table.place.rpartition("!")[2] if character.isdigit())
    return int(digits) - 1


def _merged_cells(table: _Table) -> set[tuple[int, int]]:
    """Input cells of a table that are part of merged areas."""
    columns = {
        column for key, column in table.columns.items() if key.partition(" ")[0] not in (OTHERWISE, "counts", "from")
    }
    if not table.sheet.merged or not columns:
        return set()
    rows = {row for _, row in table.lines}
    keyed = {row for key, row in table.lines if key}
    found: set[tuple[int, int]] = set()
    for first_row, first_column, last_row, last_column in table.sheet.merged:
        wide = [column for column in columns if first_column <= column <= last_column]
        if wide:
            for row in keyed | rows if len(keyed) < last_row - first_row else range(first_row, last_row + 1):
                if first_row <= row <= last_row and row in keyed:
                    found |= {(row, column) for column in wide}
    return found


def _as_text(content: object) -> object:
    """A number or truth value that was typed where a text belongs, as text."""
    if isinstance(content, bool):
        return "yes" if content else "no"
    return str(raw_of(_SINGLES["project.name"], content)) if isinstance(content, float) else content


# ---------------------------------------------------------------- keys of lines


def _known_lines(kind: str) -> set[str]:
    """Keys of lines of a table with things across; those of points end with the coordinate."""
    known = set(fields_of(kind))
    if kind == "candidate":
        known |= {"listed", "baseline"}
        for part in STRATEGY_SECTIONS:
            for field in fields_of(part).values():
                known |= _coordinates(f"{part}.{field.name}") if field.type == "points" else {f"{part}.{field.name}"}
    return known


def _line_field(kind: str, key: str) -> Field | None:
    """Input of a line of a table with things across; ``None`` for lines of their own, and for coordinates of points."""
    part, divider, name = key.partition(".")
    fields = fields_of(part) if divider and part in STRATEGY_SECTIONS else fields_of(kind)
    return fields.get(name if divider else key)


def _library_lines() -> dict[str, Field]:
    known: dict[str, Field] = {}
    for part in STRATEGY_SECTIONS:
        for strategy in fields_of(part)["strategy"].choices:
            known |= {
                f"{part}.{strategy}.{field.name}": field
                for field in fields_of(part).values()
                if field.name != "strategy"
            }
    return known


def _coordinates(key: str) -> set[str]:
    return {f"{key}.{last}" for last in _LASTS}


def _candidate_field(key: str) -> tuple[Field, str]:
    """Field of a key of a candidate and its part, or an empty text."""
    part, divider, name = key.partition(".")
    return (fields_of(part)[name], part) if divider else (fields_of("candidate")[key], "")


def _take_points(own: dict[str, object]) -> dict[str, dict[str, object]]:
    """Take the coordinates of points out of contents by key: input -> coordinate -> content."""
    found: dict[str, dict[str, object]] = {}
    for key in [key for key in own if key.rpartition(".")[2] in _LASTS]:
        head, _, last = key.rpartition(".")
        found.setdefault(head, {})[last] = own.pop(key)
    return found


def _joined(coordinates: Mapping[str, object]) -> object:
    """Raw points of coordinates; a point with both ``none`` or empty is left out."""
    points = []
    for place in sorted({int(last[1:]) for last in coordinates}):
        pair = [_coordinate(coordinates.get(f"{axis}{place}")) for axis in "xy"]
        if pair != ["none", "none"]:
            points.append([None if part == "none" else part for part in pair])
    return points or "none"


def _whole_inputs(own: Mapping[str, object], base: Mapping[str, object], fields: Mapping[str, Field]):
    """(key, raw value) of contents by key, coordinates of points joined; those that are empty are taken from
    ``base``."""
    own = dict(own)
    for head, coordinates in _take_points(own).items():
        under = {key.rpartition(".")[2]: content for key, content in base.items() if key.startswith(f"{head}.")}
        yield head, _joined({**under, **coordinates})
    for key, content in own.items():
        yield key, raw_of(fields[key], content)


def _coordinate(content: object) -> object:
    if content is None:
        return "none"
    if isinstance(content, str):
        text = content.strip()
        return "none" if text.casefold() == "none" or text == UNUSED else number_or_text(text)
    return int(content) if isinstance(content, float) and content.is_integer() and abs(content) < 1e15 else content
