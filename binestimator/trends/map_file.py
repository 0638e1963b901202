"""The map of points as TOML: written to look at and to change, read and checked against the log."""

from __future__ import annotations

import difflib
import tomllib
from collections.abc import Sequence
from pathlib import Path

from binestimator.errors import InputError
from binestimator.inputs.files import read_text
from binestimator.inputs.problems import Problems, printable
from binestimator.inputs.values import did_you_mean
from binestimator.inputs.write import toml_text
from binestimator.seal import UNSEALED
from binestimator.trends import times
from binestimator.trends.point_map import Entry, PointMap
from binestimator.trends.point_units import UNITS, unit_named
from binestimator.trends.points import Kind, kinds
from binestimator.trends.series import Source
from binestimator.trends.tables import Table


def map_to_toml(points: PointMap) -> str:
    """The map as a file to look at and to change."""
    lines = [
        f"# binestimator map of trend points {UNSEALED}",
        "# Which column of the log is which point. Change kind, unit or zone where the draft is wrong; leave kind "
        "empty",
        "# for a column that is not used. Kinds:",
    ]
    lines += [f"#   {kind.name:22s} {kind.label} [{_units_of(kind)}]" for kind in kinds().values()]
    lines += ["", "[log]", f"air_handler = {toml_text(points.air_handler)}"]
    if points.others:
        lines.append(f"# the log also holds {printable(', '.join(points.others))}")
    lines += [
        f"timezone = {toml_text(points.timezone)}  # such as America/New_York; moves stamps in UTC or with an offset",
        f"date_order = {toml_text(points.date_order)}  # empty (as found), " + ", ".join(times.ORDERS),
    ]
    for entry in points.entries:
        lines += ["", "[[point]]", f"column = {toml_text(entry.column)}"]
        if entry.file:
            lines.append(f"file = {toml_text(entry.file)}")
        lines += [f"kind = {toml_text(entry.kind)}", f"unit = {toml_text(entry.unit)}"]
        if entry.zone:
            lines.append(f"zone = {toml_text(entry.zone)}")
        said = f"{entry.sure} ({entry.score:.2f}): {entry.reason}" if entry.kind else f"not used: {entry.reason}"
        lines.append(f"# {printable(said)}")
    return "\n".join([*lines, ""])


def _units_of(kind: Kind) -> str:
    return ", ".join(unit for unit, (unit_class, *_) in UNITS.items() if unit_class == kind.unit_class)


_LOG_KEYS, _POINT_KEYS = ("air_handler", "timezone", "date_order"), ("column", "file", "kind", "unit", "zone")


def read_map(path: str | Path) -> PointMap:
    """Map of a file.

    Raises
    ------
    InputError
        With everything that is wrong in it.
    """
    path = Path(path)
    text = read_text(path, "map of trend points", "make one with --draft-map MAP.toml")
    try:
        raw = tomllib.loads(text)
    except (ValueError, RecursionError) as error:
        raise InputError(
            f"{path.name}: not valid TOML; {printable(str(error))[:200]}; expected [[point]] with column, kind "
            f"and unit; "
            "make one with --draft-map MAP.toml"
        ) from None
    problems = Problems()
    for key in raw:
        if key not in ("log", "point"):
            problems.add(
                key[:60], "unknown table", expected="[log] and [[point]]", do=did_you_mean(key, ("log", "point"))
            )
    log = raw.get("log", {})
    if not isinstance(log, dict):
        problems.add("log", "not a table", log, "[log]")
        log = {}
    said = _texts(problems, "log", log, _LOG_KEYS)
    if said["timezone"]:
        try:
            times.check_zone(said["timezone"])
        except InputError as error:
            problems.add_text("log", str(error))
    if said["date_order"] not in ("", *times.ORDERS):
        problems.add(
            "log.date_order", "unknown order", said["date_order"], ", ".join(times.ORDERS) + " or an empty text"
        )
    listed = raw.get("point", [])
    entries = []
    if not isinstance(listed, list) or not listed:
        problems.add("point", "no points", expected="[[point]] with column, kind and unit")
        listed = []
    for place, table in enumerate(listed):
        where = f"point[{place + 1}]"
        if not isinstance(table, dict):
            problems.add(where, "not a table", table, "[[point]]")
            continue
        entry = _read_entry(problems, where, _texts(problems, where, table, _POINT_KEYS))
        if entry is not None:
            entries.append(entry)
    seen: dict[tuple[str, str], str] = {}
    for entry in entries:
        if entry.kind:
            before = seen.setdefault((entry.file, entry.key), entry.column)
            if before != entry.column:
                problems.add_text(
                    entry.column,
                    f"is {entry.key} as {before} is; expected one column for a point; leave the kind of one empty",
                )
    problems.raise_if_any(path.name)
    return PointMap(said["air_handler"], (), tuple(entries), said["timezone"], said["date_order"], drafted=False)


def _texts(problems: Problems, where: str, table: dict, keys: Sequence[str]) -> dict[str, str]:
    found = dict.fromkeys(keys, "")
    for key, value in table.items():
        if key not in keys:
            problems.add(f"{where}.{key[:60]}", "unknown key", value, ", ".join(keys), did_you_mean(key, keys))
        elif not isinstance(value, str):
            problems.add(f"{where}.{key}", "not a text", value, '"text"')
        else:
            found[key] = value.strip() if key != "column" else value
    return found


def _read_entry(problems: Problems, where: str, said: dict[str, str]) -> Entry | None:
    if not said["column"]:
        problems.add(f"{where}.column", "is missing", expected="the heading of a column, as in the log")
        return None
    if not said["kind"]:
        return Entry(said["column"], said["file"], "", "", zone=said["zone"], reason="as the map says")
    kind = kinds().get(said["kind"])
    if kind is None:
        problems.add(
            f"{where}.kind",
            "unknown kind of point",
            said["kind"],
            "one of " + ", ".join(kinds()),
            did_you_mean(said["kind"], list(kinds())),
        )
        return None
    unit = said["unit"] if said["unit"] in UNITS else unit_named(said["unit"])
    if kind.unit_class == "status" and not said["unit"]:
        unit = "on"
    if kind.unit_class == "humidity" and unit == "%":
        unit = "% RH"
    if not unit or UNITS[unit][0] != kind.unit_class:
        problems.add(f"{where}.unit", f"no unit of {kind.label.lower()}", said["unit"], f"one of {_units_of(kind)}")
        return None
    if kind.scope == "zone" and not said["zone"]:
        problems.add(f"{where}.zone", "is missing", expected="the name of the zone, since a zone's point needs one")
        return None
    return Entry(said["column"], said["file"], kind.name, unit, zone=said["zone"], reason="as the map says")


def check_map(points: PointMap, tables: Sequence[Table], found: Sequence[Source], name: str) -> None:
    """Refuse a map whose columns are not in the log.

    Raises
    ------
    InputError
        With every column that is missing.
    """
    have = {(tables[source.table].path.name, source.name) for source in found}
    names = sorted({column for _, column in have})
    problems = Problems()
    for entry in points.entries:
        if not entry.kind:
            continue
        if not any(column == entry.column and entry.file in ("", file) for file, column in have):
            near = difflib.get_close_matches(entry.column, names, n=1, cutoff=0.5)
            problems.add(
                printable(entry.column)[:80],
                f"the log has no such column{f' in {entry.file}' if entry.file else ''}",
                expected="one of its columns",
                do=f"did you mean {printable(near[0])}?" if near else f"it has {', '.join(map(printable, names[:6]))}",
            )
    problems.raise_if_any(name)
