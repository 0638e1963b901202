"""Reads project files (TOML) and zones files (CSV); reports everything wrong at once."""

from __future__ import annotations

import csv
import io
import re
import tomllib
from collections.abc import Mapping
from pathlib import Path

from binestimator.errors import InputError
from binestimator.inputs.checks import unused_strategy_inputs
from binestimator.inputs.paths import parse_path
from binestimator.inputs.problems import Problems, sentence, shown
from binestimator.inputs.project import (
    DEFAULT_CANDIDATES, MOST, Given, Project, build_project, check_overrides, nameless, override_place,
)  # fmt: skip
from binestimator.inputs.schema import (
    LIST_SECTIONS, NOT_MODELLED_ADVICE, SECTIONS, SINGLE_SECTIONS, STATUSES, STRATEGY_SECTIONS, check_free_text, check_value,
    did_you_mean, fields_of, not_modelled, raw_from_text, replaced, used_when_text,
)  # fmt: skip

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
    text = read_text(path, "project file")
    line = _line_of_deep_key(text)
    if line:
        raise InputError(f"{path.name}: line {line}: a key with too many dots; expected keys such as design_sat_f = 55")
    try:
        raw = tomllib.loads(text)
    except RecursionError:
        raise InputError(f"{path.name}: lists or tables stand too deep inside each other") from None
    except ValueError as error:  # includes TOMLDecodeError, whose text names line and column
        raise InputError(
            f"{path.name}: not valid TOML: {error}; expected lines such as design_sat_f = 55 under [air_handler], "
            "texts in quotes"
        ) from None
    return _project(raw, path.name, path.parent)


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
    project = build_project(
        given, overrides, problems, source_path=name, source_dir=str(folder), try_candidates=True
    )
    problems.raise_if_any(name or "project")
    return project


# Texts in quotes (of several lines first) and comments: where dots are no part of a key.
_QUOTED = re.compile(
    r'"""(?:[^"\\]|\\.|"(?!""))*+(?:"{3,5}+|\Z)'
    r"|'''(?:[^']|'(?!''))*+(?:'{3,5}+|\Z)"
    r'|"(?:[^"\\\n]|\\[^\n])*+"?+'
    r"|'[^'\n]*+'?+"
    r"|#[^\n]*+",
    re.DOTALL,
)
_MOST_KEY_DOTS = 4


def _line_of_deep_key(text: str) -> int:
    """Number of the first line with an absurdly long dotted key, or 0.

    The standard TOML reader keeps every beginning of a dotted key, so that memory grows with
    the square of its parts: a small file could fill any machine. A key stands on one line.
    """
    bare = _QUOTED.sub(lambda match: "q" + "\n" * match[0].count("\n"), text)
    for number, line in enumerate(bare.split("\n"), start=1):
        if line.count(".") > _MOST_KEY_DOTS:
            joined = ".".join(part.strip(" \t") for part in line.split("."))
            if any(word.count(".") > _MOST_KEY_DOTS for word in re.split(r"[\s=,{}\[\]]", joined)):
                return number
    return 0


def read_text(path: Path, what: str) -> str:
    """Text of a file of limited size in UTF-8, with or without a byte order mark.

    Raises
    ------
    InputError
        Missing, a folder or another special file, too large, not UTF-8, not readable.
    """
    try:
        if not path.exists():
            raise InputError(f"{path}: the {what} does not exist; expected the path of a file; check name and folder")
        if not path.is_file():
            kind = "a folder" if path.is_dir() else "not a regular file"
            raise InputError(f"{path}: the {what} is {kind}; expected a file")
        size = path.stat().st_size
        if size > LARGEST_FILE:
            raise InputError(f"{path}: the {what} has {size:,} bytes; expected at most {LARGEST_FILE:,}")
        with path.open("rb") as file:
            data = file.read(LARGEST_FILE + 1)
    except (OSError, ValueError) as error:  # ValueError: a zero byte in the name
        if isinstance(error, InputError):
            raise
        reason = getattr(error, "strerror", None) or str(error)
        raise InputError(f"{path}: the {what} cannot be read: {reason}") from None
    if len(data) > LARGEST_FILE:
        raise InputError(f"{path}: the {what} has more than {LARGEST_FILE:,} bytes")
    try:
        return data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = data[: error.start].count(b"\n") + 1
        raise InputError(
            f"{path}: the {what} is not UTF-8 text (line {line}, byte {error.start + 1}); save it as UTF-8"
        ) from None


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
            target.append(_values(problems, kind, table, _item(kind, table, place)))
    for part in STRATEGY_SECTIONS:
        if part in raw:
            given.library[part] = _library(problems, part, raw[part])
    for place, table in enumerate(_tables(problems, "candidate", raw.get("candidate", []))):
        given.candidates.append(_candidate(problems, table, _item("candidate", table, place, "id")))
    if "override" in raw:
        table = _table(problems, "override", raw["override"], '[override] with "path" = value')
        overrides = check_overrides(table, problems, "override")
    if "evidence" in raw:
        given.evidence = _about_inputs(problems, "evidence", raw["evidence"], '"text"',
                                       lambda text: check_free_text(text, EVIDENCE_LENGTH))  # fmt: skip
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


def _values(problems: Problems, section: str, table: Mapping, where: str, extra: tuple[str, ...] = ()) -> dict:
    """Checked values of one table."""
    fields, values = fields_of(section), {}
    for key, raw in table.items():
        if key in extra:
            continue
        if key not in fields:
            _unknown(problems, where, key, raw, (*fields, *extra), section)
            continue
        value, problem = check_value(fields[key], raw)
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
    what = not_modelled(key[:200]) or (not_modelled(raw[:200]) if isinstance(raw, str) else "")
    if what:
        problems.add(place, f"{what} are not modelled", raw if isinstance(raw, str) and raw else key, do=NOT_MODELLED_ADVICE)
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
                problems.add(where, "stands outside a strategy", table, f"[{part}.<strategy>] with {strategy} under it",
                             "choose the strategy: " + ", ".join(strategies))  # fmt: skip
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
            f"{where}.{field.name}", f'{field.name} is not used by strategy "{values["strategy"]}"', values[field.name],
            f"{field.name} only where {used_when_text(field)}", "remove it or choose another strategy",
        )  # fmt: skip
        del values[field.name]


def _id_is_plain(text: object) -> bool:
    return isinstance(text, str) and re.fullmatch(r"[a-z0-9_-]+", text, re.ASCII) is not None


def _candidate(problems: Problems, table: Mapping, where: str) -> dict:
    values = _values(problems, "candidate", table, where, _CANDIDATE_KEYS)
    if "id" in values and not _id_is_plain(values["id"]):
        problems.add_bad(f"{where}.id", sentence(
            "holds characters an id cannot have", values.pop("id"), "small letters a-z, digits, _ and - without spaces",
            "it names a sheet and a key of the results",
        ))  # fmt: skip
    elif "id" not in values and f"{where}.id" not in problems.bad:
        problems.add_bad(f"{where}.id", sentence("is missing", expected="small letters a-z, digits, _ and -"))
    if "baseline" in table:
        if isinstance(table["baseline"], bool):
            values["baseline"] = table["baseline"]
        else:
            problems.add_bad(f"{where}.baseline", sentence("not a truth value", table["baseline"], "true or false"))
    default = DEFAULT_CANDIDATES.get(values.get("id", ""))
    for place, part in enumerate(STRATEGY_SECTIONS):
        if part not in table:
            continue
        raw = {"strategy": table[part]} if isinstance(table[part], str) else table[part]
        if not isinstance(raw, Mapping):
            problems.add_bad(f"{where}.{part}", sentence(
                "not a strategy", raw, f'{part} = "demand" or {part} = {{strategy = "demand", ...}}'
            ))  # fmt: skip
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
        problems.add_bad(name, sentence(f"too many: {len(table)}", expected=f"at most {MOST_EVIDENCE}",
                                        do="use patterns such as zone.*.max_cfm"))  # fmt: skip
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
    return [_values(problems, "zone", table, _item("zone", table, before + place)) for place, table in enumerate(tables)]


# ---------------------------------------------------------------- zones file


def _read_zones_csv(problems: Problems, path: Path, before: int) -> list[dict]:
    """Zones of a CSV file: a header of input names, one zone a line, empty cells not given.

    Columns are separated by commas or, when the header has none, by semicolons. Empty lines
    are skipped.
    """
    where, fields = path.name, fields_of("zone")
    try:
        text = read_text(path, "zones file")
        header = text.partition("\n")[0]
        delimiter = ";" if ";" in header and "," not in header else ","
        reader = csv.reader(io.StringIO(text, newline=""), delimiter=delimiter, strict=True)
        lines = [(reader.line_num, line) for line in reader if any(cell.strip() for cell in line)]
    except InputError as error:
        problems.add_bad("project.zones_csv", str(error))
        return []
    except csv.Error as error:
        problems.add_bad("project.zones_csv", f"{where} line {reader.line_num}: not valid CSV: {error}")
        return []
    if not lines:
        problems.add_bad("project.zones_csv", sentence(f"{where} is empty", expected="a header line of zone inputs"))
        return []
    columns = [name.strip() for name in lines[0][1]]
    for name in columns:
        if name not in fields:
            _unknown(problems, f"{where} line {lines[0][0]}", name, "", tuple(fields), "zone")
        elif columns.count(name) > 1:
            problems.add(f"{where} line {lines[0][0]}.{name}", "the column stands twice", do="remove one")
    if len(lines) - 1 > MOST["zone"]:
        problems.add_bad("zone", sentence(
            f"{where} has {len(lines) - 1} zones", expected=f"at most {MOST['zone']}", do="join alike zones by their multiplier"
        ))  # fmt: skip
        return []
    zones = []
    for number, line in lines[1:]:
        place = f"{where} line {number}"
        if len(line) > len(columns):
            problems.add(place, f"has {len(line)} cells, the header {len(columns)}", do="quote cells that hold a comma")
        cells = {name: raw_from_text(fields[name], cell)
                 for name, cell in zip(columns, line, strict=False) if name in fields and cell.strip()}  # fmt: skip
        values = _values(problems, "zone", cells, place)
        name = values.get("name", nameless(before + len(zones)))
        for key in cells:
            if f"{place}.{key}" in problems.bad:
                problems.bad.add(f"zone[{name}].{key}")
        zones.append(values)
    return zones
