"""Reads project files (TOML) and zones files (CSV); reports everything wrong at once."""

from __future__ import annotations

import csv
import re
import tomllib
from collections.abc import Mapping
from pathlib import Path

from binestimator.errors import InputError
from binestimator.inputs.checks import unused_strategy_inputs
from binestimator.inputs.files import read_file, text_of
from binestimator.inputs.hints import instead_of, not_modelled
from binestimator.inputs.paths import parse_path
from binestimator.inputs.problems import NOT_GIVEN, InputErrors, Problem, Problems, sentence, shown
from binestimator.inputs.project import (
    DEFAULT_CANDIDATES,
    MOST,
    Given,
    Project,
    build_project,
    check_overrides,
    nameless,
    override_place,
)
from binestimator.inputs.schema import (
    LIST_SECTIONS,
    SECTIONS,
    SINGLE_SECTIONS,
    STATUSES,
    STRATEGY_SECTIONS,
    check_free_text,
    check_value,
    did_you_mean,
    fields_of,
    raw_from_text,
    replaced,
    used_when_text,
)
from binestimator.inputs.toml_text import QUOTED, Outline, outline, quoted_line

#: Largest project or zones file. [bytes]
LARGEST_FILE = 5_000_000
EVIDENCE_LENGTH = 1000
MOST_EVIDENCE = 2000
_CANDIDATE_KEYS = ("baseline", "sat", "dsp", "override")
_TOP_LEVEL = (*SINGLE_SECTIONS, *LIST_SECTIONS, *STRATEGY_SECTIONS, "override", "evidence", "status")


def read_project(path: str | Path) -> Project:
    """Read, check and complete a project file.

    Parameters
    ----------
    path : str or Path
        TOML file. Files named in it are looked up from its folder.

    Returns
    -------
    Project

    Raises
    ------
    InputError
        When the file cannot be read, or with everything that is wrong in it.
    """
    path = Path(path)
    text = read_text(path, "project file", "a form or workbook is read when its name ends in .xlsx")
    line = _line_of_deep_key(text)
    if line:
        raise InputError(f"{path.name}: line {line}: a key with too many dots; expected keys such as design_sat_f = 55")
    try:
        raw = tomllib.loads(text)
    except RecursionError:
        raise InputError(f"{path.name}: lists or tables are nested too deep") from None
    except ValueError as error:  # includes TOMLDecodeError, whose text names line and column
        raise _unreadable(text, str(error), path) from None
    try:
        return _project(raw, path.name, path.parent)
    except InputErrors as error:
        raise _by_line(error, outline(text)) from None


def _unreadable(text: str, message: str, path: Path) -> InputError:
    """Everything that can be said about a file that is no TOML: its lines, and the values of those that can be read."""
    other = _other_kind(text)
    if other:
        return InputError(
            f"{path.name}: line 1: {other}; got {quoted_line(text.lstrip())}; expected a project file with lines such "
            "as "
            "design_sat_f = 55 under [air_handler]"
        )
    found = outline(text)
    if not found.problems:  # what is wrong lies between the lines
        number = re.search(r"line (\d+)", message)
        line = text.split("\n")[int(number[1]) - 1] if number else ""
        found.problems.append(
            Problem(
                f"line {number[1]}" if number else "",
                "not valid TOML"
                + (f"; got {quoted_line(line)}" if line else "")
                + f"; {message}; expected lines such as design_sat_f = 55 under [air_handler]",
            )
        )
    problems = Problems()
    given_from_mapping(found.raw, path.parent, problems)
    problems.items[:0] = found.problems
    return _by_line(problems.error(path.name), found)


# A file of so many lines, of which less than such a share looks like a heading or a key with its value, is prose.
_LEAST_PROSE_LINES, _MOST_STATEMENTS_FRAC = 10, 0.1


def _other_kind(text: str) -> str:
    """What a file is that was taken for a project file, in words, or an empty text."""
    start = text.lstrip()[:2000]
    first = start.partition("\n")[0]
    if start.startswith(("{", "[{")) or first.strip() == "[":
        return "this looks like a JSON file, such as the results of a run, not a project file"
    if start.startswith("<"):
        return "this looks like a web page or XML file, not a project file"
    if first.startswith("LOCATION,") or re.match(r'"?\d{5,6}"?,.*,-?\d+\.\d+,', first) or "Date (MM/DD/YYYY)" in start:
        return "this looks like a weather file, not a project file; name it there as file under [weather]"
    names = set(re.split(r"[,;\t]", first.strip()))
    if {"name", "area_ft2"} <= names:
        return "this looks like a zones file, not a project file; name it there as zones_csv under [project]"
    lines = [line for line in text.splitlines() if line.strip() and not line.lstrip().startswith("#")]
    statements = sum(re.match(r"\s*(\[|[\w.\"'-]+\s*[=:])", line) is not None for line in lines)
    if len(lines) >= _LEAST_PROSE_LINES and statements < _MOST_STATEMENTS_FRAC * len(lines):
        return "this looks like prose, not a project file"
    return ""


def _by_line(error: InputErrors, found: Outline) -> InputErrors:
    """The error with the line of each problem's input, or of the nearest thing it belongs to, and in the order of the
    file."""
    places = _lines_of_inputs(found)

    def placed(problem: Problem) -> tuple[int, Problem]:
        number = re.match(r"line (\d+)$", problem.where)
        if number:
            return int(number[1]), problem
        where = problem.where
        while where and where not in places:
            where = where[: max(where.rfind("."), where.rfind("["), 0)]
        if not where:
            return 1 << 30, problem
        return places[where], Problem(f"line {places[where]}, {problem.where}", problem.text)

    return InputErrors(
        error.title, tuple(problem for _, problem in sorted(map(placed, error.problems), key=lambda pair: pair[0]))
    )


def _lines_of_inputs(found: Outline) -> dict[str, int]:
    """Line of each input of a project file by its path in messages."""
    places: dict[str, int] = {}

    def note(path: str, lines: object) -> None:
        if isinstance(lines, int):
            places.setdefault(path, lines)
        elif isinstance(lines, dict):
            places.setdefault(path, lines.get("", 0))
            for key, inner in lines.items():
                if key and isinstance(key, str):
                    listed = path in ("override", "evidence", "status") or path.endswith(".override")
                    note(override_place(path, key) if listed else f"{path}.{key}", inner)

    for section, lines in found.lines.items():
        tables = found.raw.get(section)
        if isinstance(lines, list) and isinstance(tables, list):
            key = "id" if section == "candidate" else "name"
            for place, (table, inner) in enumerate(zip(tables, lines, strict=False)):
                if section in LIST_SECTIONS and isinstance(table, Mapping):
                    note(_item(section, table, place, key), inner)
        elif section:
            note(section, lines)
    return {path: line for path, line in places.items() if line}


def project_from_mapping(raw: Mapping, source_dir: str | Path | None = None) -> Project:
    """Project from a mapping of the layout of the project file.

    Parameters
    ----------
    raw : mapping
        As the TOML reader gives it: sections, lists of tables, values.
    source_dir : path, optional
        Folder from which file names in it are looked up; the current one when not given.

    Raises
    ------
    InputError
        With everything that is wrong.
    """
    if not isinstance(raw, Mapping):
        raise InputError(f"project: {sentence('not a table of sections', raw)}")
    return _project(raw, "", Path("." if source_dir is None else source_dir))


def _project(raw: Mapping, name: str, folder: Path) -> Project:
    problems = Problems()
    given, overrides = given_from_mapping(raw, folder, problems)
    project = build_project(given, overrides, problems, source_path=name, source_dir=str(folder), try_candidates=True)
    problems.raise_if_any(name or "project")
    return project


_MOST_KEY_DOTS = 4


def _line_of_deep_key(text: str) -> int:
    """Number of the first line with an absurdly long dotted key, or 0.

    The standard TOML reader keeps every beginning of a dotted key, so that memory grows with
    the square of its parts: a small file could exhaust the memory of any machine. A key is on one line.
    """
    bare = QUOTED.sub(lambda match: "q" + "\n" * match[0].count("\n"), text)
    for number, line in enumerate(bare.split("\n"), start=1):
        if line.count(".") > _MOST_KEY_DOTS:
            joined = ".".join(part.strip(" \t") for part in line.split("."))
            if any(word.count(".") > _MOST_KEY_DOTS for word in re.split(r"[\s=,{}\[\]]", joined)):
                return number
    return 0


def read_text(path: Path, what: str, remedy: str) -> str:
    """Text of a file of limited size in UTF-8, with or without a byte order mark, or in UTF-16 with one.

    Parameters
    ----------
    what, remedy : str
        What the file is for, and what to do when it is no text at all.

    Raises
    ------
    InputError
        Missing, a folder or another special file, too large, not text, not readable.
    """
    return text_of(read_file(path, what, largest=LARGEST_FILE), str(path), what, remedy)


# ---------------------------------------------------------------- mapping -> Given


def given_from_mapping(raw: Mapping, folder: Path, problems: Problems) -> tuple[Given, dict]:
    """Checked values of a mapping and the overrides over them; wrong ones are left out and reported."""
    given, overrides = Given(), {}
    for key, value in raw.items():
        if key not in _TOP_LEVEL:
            _unknown(problems, "", key, value, _TOP_LEVEL)
    for section in SINGLE_SECTIONS:
        if section in raw:
            table = _table(problems, section, raw[section], f"[{section}]")
            values = _values(problems, section, table, section)
            if values:
                given.sections[section] = values
    for kind, target in (("special", given.specials), ("group", given.groups), ("zone", given.zones)):
        for place, table in enumerate(_tables(problems, kind, raw.get(kind, []))):
            target.append(_without_share(_values(problems, kind, table, _item(kind, table, place))))
    for part in STRATEGY_SECTIONS:
        if part in raw:
            given.library[part] = _library(problems, part, raw[part])
    for place, table in enumerate(_tables(problems, "candidate", raw.get("candidate", []))):
        given.candidates.append(_candidate(problems, table, _item("candidate", table, place, "id")))
    if "override" in raw:
        table = _table(problems, "override", raw["override"], '[override] with "path" = value')
        overrides = check_overrides(table, problems, "override")
    if "evidence" in raw:
        given.evidence = _about_inputs(
            problems, "evidence", raw["evidence"], '"text"', lambda text: check_free_text(text, EVIDENCE_LENGTH)
        )
    if "status" in raw:
        given.status = _about_inputs(problems, "status", raw["status"], f'"{STATUSES[0]}"', check_status)
    zones_csv = given.sections.get("project", {}).get("zones_csv")
    if zones_csv is not None:
        given.csv_zones = _read_zones_csv(problems, folder / zones_csv, len(given.zones))
    return given, overrides


def _table(problems: Problems, where: str, raw: object, expected: str) -> Mapping:
    if isinstance(raw, Mapping):
        return raw
    do = f"write [{where}] once, with single brackets" if isinstance(raw, (list, tuple)) else ""
    problems.add_bad(where, sentence("not a table", raw, expected, do))
    return {}


def _tables(problems: Problems, kind: str, raw: object) -> list[Mapping]:
    if not isinstance(raw, (list, tuple)):
        problems.add_bad(kind, sentence("not a list of tables", raw, f"[[{kind}]] with double brackets, one for each"))
        return []
    tables = []
    if len(raw) > MOST[kind]:
        problems.add_bad(kind, sentence(f"too many: {len(raw)}", expected=f"at most {MOST[kind]}"))
    for place, table in enumerate(raw[: MOST[kind]]):
        if isinstance(table, Mapping):
            tables.append(table)
        else:
            problems.add_bad(kind, sentence(f"entry {place + 1} is not a table", table, f"[[{kind}]] with its inputs"))
    return tables


def _item(kind: str, table: Mapping, place: int, key: str = "name") -> str:
    """Path of a table of a list: by its name when it has a usable one, else by its place."""
    field = fields_of(kind)[key]
    name, problem = check_value(field, table[key]) if key in table else (None, "")
    if problem is None and key == "id" and not _id_is_plain(name):
        problem = ""
    return f"{kind}[{name if problem is None else nameless(place)}]"


def _values(
    problems: Problems, section: str, table: Mapping, where: str, extra: tuple[str, ...] = (), in_cells: bool = False
) -> dict:
    """Checked values of one table, or of a line of a zones file (``in_cells``)."""
    fields, values = fields_of(section), {}
    for key, raw in table.items():
        if key in extra:
            continue
        if key not in fields:
            _unknown(problems, where, key, raw, (*fields, *extra), section)
            continue
        value, problem = check_value(fields[key], raw, in_cell=in_cells or problems.in_cells)
        if problem is None:
            values[key] = value
        else:
            problems.add_bad(f"{where}.{key}", problem)
    return values


def _unknown(problems: Problems, where: str, key: object, raw: object, known, section: str = "") -> None:
    key = key if isinstance(key, str) else shown(key)
    short = key if len(key) <= 60 and key.isprintable() else shown(key)
    place = f"{where}.{short}" if where else short
    if problems.crowded:
        problems.add(place, "unknown input" if where else "unknown section")
        return
    old = replaced(section, key)
    if old:
        problems.add(place, old[0], do=old[1])
        return
    for text in (key[:200], raw[:200] if isinstance(raw, str) else ""):
        if not_modelled(text):
            problems.add(place, f"{not_modelled(text)} are not modelled", text, do=instead_of(text))
            return
    hint = did_you_mean(key, known)
    others = [other for other in SECTIONS if other != section and key in fields_of(other)]
    if others and where and not hint:
        hint = f"{key} belongs to {', '.join(others)}"
    listed = ", ".join(list(known)[:12]) + (", ..." if len(known) > 12 else "")
    problems.add(place, "unknown input" if where else "unknown section", do=hint or f"known are {listed}")


def _library(problems: Problems, part: str, raw: object) -> dict:
    strategies = fields_of(part)["strategy"].choices
    library: dict[str, dict] = {}
    for strategy, table in _table(problems, part, raw, f"tables such as [{part}.demand]").items():
        where = f"{part}.{strategy if isinstance(strategy, str) else shown(strategy)}"
        if strategy not in strategies:
            if strategy in fields_of(part):
                problems.add(
                    where,
                    "is outside a strategy",
                    table,
                    f"[{part}.<strategy>] with {strategy} under it",
                    "choose the strategy: " + ", ".join(strategies),
                )
            else:
                _unknown(problems, part, strategy, table, strategies, part)
            continue
        values = _values(problems, part, _table(problems, where, table, f"[{where}]"), where)
        if values.pop("strategy", strategy) != strategy:
            problems.add(f"{where}.strategy", "differs from the name of its table", do="remove it")
        _refuse_unused(problems, part, {"strategy": strategy, **values}, where)
        if values:
            library[strategy] = values
    return library


def _refuse_unused(problems: Problems, part: str, values: dict, where: str) -> None:
    for field in list(unused_strategy_inputs(part, values)):
        problems.add(
            f"{where}.{field.name}",
            f'{field.name} is not used by strategy "{values["strategy"]}"',
            values[field.name],
            f"{field.name} only where {used_when_text(field)}",
            "remove it or choose another strategy",
        )
        del values[field.name]


def _id_is_plain(text: object) -> bool:
    return isinstance(text, str) and re.fullmatch(r"[a-z0-9_-]+", text, re.ASCII) is not None


def _candidate(problems: Problems, table: Mapping, where: str) -> dict:
    values = _values(problems, "candidate", table, where, _CANDIDATE_KEYS)
    if "id" in values and not _id_is_plain(values["id"]):
        problems.add_bad(
            f"{where}.id",
            sentence(
                "holds characters an id cannot have",
                values.pop("id"),
                "small letters a-z, digits, _ and - without spaces",
                "it names a sheet and a key of the results",
            ),
        )
    elif "id" not in values and f"{where}.id" not in problems.bad:
        problems.add_bad(f"{where}.id", sentence("is missing", expected="small letters a-z, digits, _ and -"))
    if "baseline" in table:
        if isinstance(table["baseline"], bool):
            values["baseline"] = table["baseline"]
        else:
            problems.add_bad(
                f"{where}.baseline",
                sentence("not a truth value", table["baseline"], problems.words("true or false", "yes or no")),
            )
    default = DEFAULT_CANDIDATES.get(values.get("id", ""))
    for place, part in enumerate(STRATEGY_SECTIONS):
        if part not in table:
            continue
        raw = {"strategy": table[part]} if isinstance(table[part], str) else table[part]
        if not isinstance(raw, Mapping):
            problems.add_bad(
                f"{where}.{part}",
                sentence(
                    "not a strategy",
                    raw,
                    problems.words(
                        f'{part} = "demand" or {part} = {{strategy = "demand", ...}}', "a choice of the list"
                    ),
                ),
            )
            continue
        given = _values(problems, part, raw, f"{where}.{part}")
        strategy = given.get("strategy") or (default[1 + place] if default else None)
        if strategy and f"{where}.{part}.strategy" not in problems.bad:
            used = {"strategy": strategy, **given}
            _refuse_unused(problems, part, used, f"{where}.{part}")
            given = {name: value for name, value in used.items() if name in given}
        if given:
            values[part] = given
    if "override" in table:
        raw = _table(problems, f"{where}.override", table["override"], '[candidate.override] with "path" = value')
        overrides = check_overrides(raw, problems, f"{where}.override")
        if overrides:
            values["override"] = overrides
    return values


def check_status(raw: object) -> tuple[str | None, str | None]:
    """Check the status of a value; returns it and what is wrong, one of them ``None``."""
    expected = "one of " + ", ".join(f'"{status}"' for status in STATUSES)
    if not isinstance(raw, str):
        return None, sentence("not a text", raw, expected)
    status = raw.strip().casefold()
    if status in STATUSES:
        return status, None
    return None, sentence("not a status", raw, expected, did_you_mean(raw, STATUSES))


def _about_inputs(problems: Problems, name: str, raw: object, example: str, check) -> dict[str, str]:
    """Checked table of texts about inputs: evidence or status by path."""
    texts: dict[str, str] = {}
    table = _table(problems, name, raw, f'[{name}] with "path" = {example}')
    if len(table) > MOST_EVIDENCE:
        problems.add_bad(
            name,
            sentence(
                f"too many: {len(table)}", expected=f"at most {MOST_EVIDENCE}", do="use patterns such as zone.*.max_cfm"
            ),
        )
        return texts
    for path, text in table.items():
        _, problem = parse_path(path)
        if problem is None:
            value, problem = check(text)
        if problem is None:
            texts[path] = value
        else:
            problems.add_bad(override_place(name, path), problem)
    return texts


def zone_values(problems: Problems, tables: list[dict], before: int) -> list[dict]:
    """Checked values of zones of a zones file that were read elsewhere.

    Parameters
    ----------
    tables : list of dict
        Raw values by input.
    before : int
        Zones listed before them, for the stand-ins of missing names.
    """
    return [
        _without_share(_values(problems, "zone", table, _item("zone", table, before + place)))
        for place, table in enumerate(tables)
    ]


def _without_share(values: dict) -> dict:
    """Values of a zone; an ``index_share`` of none means that it is not given: the share is then spread, and shown so
    wherever inputs are shown."""
    return {name: value for name, value in values.items() if name != "index_share" or value is not None}


# ---------------------------------------------------------------- zones file


def _read_zones_csv(problems: Problems, path: Path, before: int) -> list[dict]:
    """Zones of a CSV file: a header of input names, one zone a line, empty cells not given.

    Cells are separated by commas, semicolons, tabs or bars, whichever the header uses. Empty lines are skipped, and so
    is a first line ``sep=;``. A cell cannot hold a line break: no input of a zone may, so that each line is read for
    itself.
    """
    where, fields = path.name, fields_of("zone")
    try:
        text = read_text(path, "zones file", "in a spreadsheet program, save the sheet of zones as CSV (UTF-8)")
    except InputError as error:
        problems.add_bad("project.zones_csv", str(error))
        return []
    lines = [(number, line) for number, line in enumerate(text.split("\n"), start=1) if line.strip(" \t,;|")]
    if lines and re.fullmatch(r'"?sep=.?"?', lines[0][1].strip(), re.IGNORECASE):
        del lines[0]
    if not lines:
        problems.add_bad("project.zones_csv", sentence(f"{where} is empty", expected="a header line of zone inputs"))
        return []
    delimiter = _delimiter(lines[0][1], fields)
    number, header = lines[0]
    columns = [name.strip() for name in _csv_cells(problems, where, number, header, delimiter) or ()]
    while columns and not columns[-1]:  # a separator at the end of the line
        columns.pop()
    if not _good_columns(problems, f"{where} line {number}", header, columns, fields):
        problems.bad.add("zone")
        return []
    if len(lines) - 1 > MOST["zone"]:
        problems.add_bad(
            "zone",
            sentence(
                f"{where} has {len(lines) - 1} zones",
                expected=f"at most {MOST['zone']}",
                do="join alike zones by their multiplier",
            ),
        )
        return []
    zones: list[dict] = []
    for number, line in lines[1:]:
        place = f"{where} line {number}"
        cells = _csv_cells(problems, where, number, line, delimiter)
        if cells is not None and (len(cells) < len(columns) or any(cell.strip() for cell in cells[len(columns) :])):
            problems.add(place, *_miscounted(line, cells, columns, delimiter, fields))
            cells = None
        stand_in = nameless(before + len(zones))
        if cells is None:  # nothing is said about the values of a line that is not whole
            problems.bad.update(f"zone[{stand_in}].{name}" for name in fields)
            zones.append({})
            continue
        raw = {
            name: raw_from_text(fields[name], cell)
            for name, cell in zip(columns, cells, strict=False)
            if name in fields and cell.strip()
        }
        values = _values(problems, "zone", raw, place, in_cells=True)
        name = values.get("name", stand_in)
        for key in raw:
            if f"{place}.{key}" in problems.bad:
                problems.bad.add(f"zone[{name}].{key}")
        zones.append(values)
    return zones


_DELIMITERS = {",": "comma", ";": "semicolon", "\t": "tab", "|": "bar"}


def _delimiter(header: str, fields: Mapping) -> str:
    """Separator under which most cells of the header name inputs; the comma if none does better."""

    def known(delimiter: str) -> int:
        return sum(cell.strip(' "') in fields for cell in header.split(delimiter))

    return max(_DELIMITERS, key=known)


def _csv_cells(problems: Problems, where: str, number: int, line: str, delimiter: str) -> list[str] | None:
    """Cells of a line, or ``None`` with the problem noted."""
    try:
        return next(csv.reader([line], delimiter=delimiter, strict=True))
    except csv.Error as error:
        if line.count('"') % 2:
            what, do = (
                "a quote without its partner",
                'put a whole cell in quotes, or write "" for a quote (inch sign) inside one',
            )
        elif '"' in line:
            what, do = (
                "text after a closing quote",
                f'put the {_DELIMITERS[delimiter]} after it, or write "" for a quote inside a cell',
            )
        else:
            what, do = f"not valid CSV ({error})", "remove what does not print"
        problems.add_bad(f"{where} line {number}", f"{what}; got {quoted_line(line)}; {do}")
        return None


def _good_columns(problems: Problems, place: str, header: str, columns: list[str], fields: Mapping) -> bool:
    """Whether the columns can be used; what is wrong with them is noted."""
    if columns and not any(name in fields for name in columns):
        problems.add_bad(
            "project.zones_csv",
            f"{place}: no column is an input of a zone; got {quoted_line(header)}; expected a header line such as "
            "name,group,area_ft2,max_cfm with commas, semicolons or tabs between the names",
        )
        return False
    for name in columns:
        if not name:
            problems.add(place, f"a column without a name; got {quoted_line(header)}", do="name it, or remove it")
        elif name not in fields:
            _unknown(problems, place, name, "", tuple(fields), "zone")
        elif columns.count(name) > 1:
            problems.add(f"{place}.{name}", "the column appears twice", do="remove one")
    lacking = [name for name, field in fields.items() if field.required and name not in columns]
    if columns and lacking:
        problems.add_bad(
            place,
            f"no column {' and no column '.join(lacking)}, which every zone needs; got {quoted_line(header)}; add it",
        )
    return bool(columns) and not lacking


def _fits(cells: list[str], columns: list[str], fields: Mapping) -> bool:
    """Whether every cell of a line could be meant as it is."""
    return all(
        not cell.strip()
        or name not in fields
        or check_value(fields[name], raw_from_text(fields[name], cell))[1] is None
        for name, cell in zip(columns, cells, strict=False)
    )


def _miscounted(line: str, cells: list[str], columns: list[str], delimiter: str, fields: Mapping) -> tuple:
    """What is wrong with a line of too few or too many cells: what, got, expected, do."""
    sign, missing = _DELIMITERS[delimiter], len(columns) - len(cells)
    what = f"has {len(cells)} cell{'' if len(cells) == 1 else 's'}, the header {len(columns)}; got {quoted_line(line)}"
    other = next((each for each in _DELIMITERS if each != delimiter and line.count(each) >= len(columns) - 1 > 0), None)
    if other and len(cells) == 1:
        return f"{what} with {_DELIMITERS[other]}s", NOT_GIVEN, f"{sign}s between the cells, as in the header"
    if missing > 0:
        return (
            what,
            NOT_GIVEN,
            "",
            f"an empty cell keeps its {sign}: add the {missing} missing {sign}{'s' if missing > 1 else ''} where a "
            "cell is empty",
        )
    if delimiter == "," and missing == -1:
        split = [
            at
            for at in range(len(columns))
            if _fits([*cells[:at], f"{cells[at]}.{cells[at + 1]}".replace(" ", ""), *cells[at + 2 :]], columns, fields)
            or _fits([*cells[:at], f"{cells[at]}{cells[at + 1]}".replace(" ", ""), *cells[at + 2 :]], columns, fields)
        ]
        numeric = [at for at in split if all(re.fullmatch(r"\s*-?\d+\s*", part) for part in cells[at : at + 2])]
        if len(numeric) == 1:
            left, right = (part.strip() for part in cells[numeric[0] : numeric[0] + 2])
            return (
                f"{what}; if {columns[numeric[0]]} is {left},{right}, its comma separates two cells",
                NOT_GIVEN,
                "",
                f"write {left}.{right} with a decimal point, or {left}{right} without the separator of thousands",
            )
        return (
            what,
            NOT_GIVEN,
            "",
            "write numbers without commas inside (12.5, 1000), and put a name that holds a comma in quotes",
        )
    return what, NOT_GIVEN, "", f"put a cell that holds a {sign} in quotes"
