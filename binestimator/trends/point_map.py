"""Which column of a log is which point: drafted by name and content, written and read as TOML."""

from __future__ import annotations

import difflib
import tomllib
from collections import Counter, defaultdict
from collections.abc import Callable, Sequence
from dataclasses import replace
from pathlib import Path

import numpy as np
import pandas as pd

from binestimator.dataclass import dataclass
from binestimator.errors import InputError
from binestimator.inputs.files import read_text
from binestimator.inputs.problems import Problems, printable
from binestimator.inputs.values import did_you_mean
from binestimator.inputs.write import toml_text
from binestimator.seal import UNSEALED
from binestimator.trends import times
from binestimator.trends.cells import Words, numbers
from binestimator.trends.point_units import UNITS, converted, unit_named, unit_of_values
from binestimator.trends.points import CLASS_IDEAS, Kind, Name, kind_of_class, kinds, read_name, score
from binestimator.trends.tables import Table

#: Words for how sure a draft is.
_SURE, _LIKELY = 0.85, 0.6
_MOST_NAMES = 20_000


@dataclass(frozen=True, slots=True)
class Source:
    """A series of values in a log: a column, or the lines that name a point.

    Parameters
    ----------
    table : int
        Place of its table in the list of tables.
    place : int
        Column of its values.
    name, unit, label : str
        As the log has them; label is a class or tags.
    sample : tuple
        Some cells.
    """

    table: int
    place: int
    name: str
    unit: str
    label: str
    sample: tuple


@dataclass(frozen=True, slots=True)
class Entry:
    """A line of the map.

    Parameters
    ----------
    column : str
        Name of the series in the log.
    file : str
        Name of its file; empty: any.
    kind : str
        One of :func:`binestimator.trends.points.kinds`; empty: not used.
    unit : str
        One of ``point_units.UNITS``; empty where it cannot be told, and the point is left out.
    air_handler, zone : str
    score : float
        How well name and content fit, 0 to 1; of a map that somebody wrote 1.
    reason : str
    """

    column: str
    file: str
    kind: str
    unit: str
    air_handler: str = ""
    zone: str = ""
    score: float = 1.0
    reason: str = ""

    @property
    def key(self) -> str:
        """Name of the point in the log of a study: the kind, with the zone after an at sign."""
        return f"{self.kind}@{self.zone}" if self.zone and kinds()[self.kind].scope == "zone" else self.kind

    @property
    def sure(self) -> str:
        """How sure a draft is, in a word."""
        return "sure" if self.score >= _SURE else "likely" if self.score >= _LIKELY else "guess"


@dataclass(frozen=True, slots=True)
class PointMap:
    """Map of points of one air handler.

    Parameters
    ----------
    air_handler : str
        Which one is studied; empty where the log names none.
    others : tuple of str
        Air handlers that the log holds besides.
    entries : tuple of Entry
    timezone, date_order : str
        Empty: as the log has it.
    drafted : bool
        The program made it.
    """

    air_handler: str
    others: tuple[str, ...]
    entries: tuple[Entry, ...]
    timezone: str = ""
    date_order: str = ""
    drafted: bool = True

    @property
    def used(self) -> tuple[Entry, ...]:
        """Entries whose points are read."""
        return tuple(entry for entry in self.entries if entry.kind and entry.unit)


# ---------------------------------------------------------------- sources


def sources(tables: Sequence[Table], progress: Callable[[float], None] | None = None) -> list[Source]:
    """All series of the tables; tables whose lines name their points are read through for the names.

    Raises
    ------
    InputError
        A table names more points than a log has.
    """
    found: list[Source] = []
    for number, table in enumerate(tables):
        if table.long is None:
            for group in table.groups:
                found += [Source(number, c.place, c.name, c.unit, c.label, c.sample) for c in group.columns]
            continue
        found += _named_lines(number, table, progress)
    return found


def _named_lines(number: int, table: Table, progress) -> list[Source]:
    long = table.long
    assert long is not None
    samples: dict[str, list] = defaultdict(list)
    about: dict[str, tuple[str, str]] = {}
    for piece in table.pieces(progress):
        names = piece[long.name].astype(str).str.strip()
        for name, rows in piece.groupby(names, sort=False):
            if name in ("", "nan", "None"):
                continue
            if name not in about:
                cell = lambda place, rows=rows: "" if place < 0 else str(rows[place].iloc[0]).strip()
                about[str(name)] = (unit_named(cell(long.unit)), cell(long.label))
                if len(about) > _MOST_NAMES:
                    raise InputError(
                        f"{table.name}: lines name more than {_MOST_NAMES:,} points; check that the column of names is "
                        "one, or export fewer points at a time"
                    )
            kept = samples[str(name)]
            if len(kept) < 2000:
                kept += rows[long.value].dropna().iloc[:: max(len(rows) // 100, 1)].tolist()[:200]
    return [
        Source(number, long.value, name, unit, "" if label == "nan" else label, tuple(samples[name]))
        for name, (unit, label) in about.items()
    ]


# ---------------------------------------------------------------- draft


def draft(tables: Sequence[Table], found: Sequence[Source], air_handler: str = "") -> PointMap:
    """Map of the sources by their names, classes or tags, units and values.

    Parameters
    ----------
    tables : sequence of Table
    found : sequence of Source
    air_handler : str
        Which one is studied; the one with most points when empty.

    Raises
    ------
    InputError
        The log names no such air handler.
    """
    drafts = [_draft(tables[source.table], source) for source in found]
    celsius = _celsius(drafts)
    units = Counter(d.name.unit for d in drafts if d.kind is not None and d.kind.scope == "unit" and d.name.unit)
    chosen = _chosen(air_handler, units)
    several = len({(table.path, table.sheet) for table in tables}) > 1
    entries: list[Entry] = []
    for source, d in zip(found, drafts):
        file = tables[source.table].path.name if several else ""
        entry = Entry(source.name, file, "", "", d.name.unit, "", 0.0, d.reason)
        if d.kind is None:
            entries.append(entry)
            continue
        other = d.name.unit and chosen and d.name.unit != chosen
        if other:
            entries.append(replace(entry, reason=f"of {d.name.unit}, not of {chosen}"))
            continue
        entries.append(_entry(entry, d, celsius))
    return PointMap(chosen, tuple(sorted(set(units) - {chosen})), tuple(_one_each(entries)))


@dataclass(slots=True)
class _Draft:
    name: Name
    kind: Kind | None
    score: float
    reason: str
    values: np.ndarray
    words: Words
    named: str


def _draft(table: Table, source: Source) -> _Draft:
    name = read_name(source.name)
    words = Words()
    values = numbers(pd.Series(list(source.sample), dtype=object), table.decimal, words)
    values = values[np.isfinite(values)]
    named = source.unit
    if not named and words.units and max(words.units.values()) > 0.5 * max(len(values), 1):
        named = unit_named(words.units.most_common(1)[0][0])
    by_class = kind_of_class(source.label, bool(name.zone)) if source.label else None
    if by_class is not None:
        return _Draft(name, by_class, 0.97, f"class or tags {source.label}", values, words, named)
    # The unit says what is measured where the name does not, unless it says something else.
    unit_class = UNITS[named][0] if named else ""
    quantity = CLASS_IDEAS.get(unit_class)
    if quantity and not name.ideas & {"temp", "pressure", "flow", "power", "humidity", "dewpoint"}:
        name = replace(name, ideas=name.ideas | {quantity})
    scored = [(score(kind, name), kind) for kind in kinds().values()]
    best = max(scored, key=lambda pair: pair[0])
    if best[0] <= 0.0:
        why = "its name holds no known kind of point" if name.ideas else "its name holds no known word"
        return _Draft(name, None, 0.0, why, values, words, named)
    kind, fit = best[1], best[0]
    if kind.unit_class == "status" and "status" not in name.ideas and values.size and values.max() > 1.0:
        # A command of a fan that is more than on and off is its speed.
        kind = kinds().get(kind.name.replace("_status", "_speed"), kind)
    if unit_class and not _fits(unit_class, kind.unit_class):
        return _Draft(
            name, None, 0.0, f"named like {kind.label.lower()}, but its unit is {named}", values, words, named
        )
    return _Draft(name, kind, fit, f"by its name ({', '.join(sorted(name.ideas))})", values, words, named)


def _fits(unit_class: str, wanted: str) -> bool:
    # % stands for shares and for humidity, on and off for commands; a speed may be in Hz.
    return unit_class == wanted or {unit_class, wanted} <= {"percent", "humidity", "status"}


def _celsius(drafts: Sequence[_Draft]) -> bool | None:
    """Whether the temperatures of the log are in degC; None where none tells."""
    votes: Counter = Counter()
    for d in drafts:
        if d.kind is not None and d.kind.unit_class == "temperature":
            outdoor = d.kind.name in ("oat", "oa_dewpoint")
            if outdoor and not d.named:
                continue
            guess = unit_of_values(
                "temperature", d.named if d.named in ("degF", "degC", "K") else "", d.values, None, outdoor
            )
            if guess.unit:
                votes[guess.unit != "degF"] += 1
    return votes.most_common(1)[0][0] if votes else None


def _chosen(air_handler: str, units: Counter) -> str:
    if air_handler:
        known = {unit.casefold(): unit for unit in units}
        if units and air_handler.casefold() not in known:
            raise InputError(f"--air-handler: the log names no {air_handler[:40]}; it has {', '.join(sorted(units))}")
        return known.get(air_handler.casefold(), air_handler)
    return max(sorted(units), key=lambda unit: units[unit]) if units else ""


def _entry(entry: Entry, d: _Draft, celsius: bool | None) -> Entry:
    """The entry with unit and what its values say."""
    kind = d.kind
    assert kind is not None
    reason, fit = d.reason, d.score
    zone = d.name.zone if kind.scope == "zone" else ""
    if kind.scope == "zone" and not zone:
        return replace(entry, reason=f"{kind.label.lower()}, but of which zone its name does not say")
    if not d.values.size:
        what = f" but {d.words.other.most_common(1)[0][0]!r}" if d.words.other else ""
        return replace(entry, reason=f"{kind.label.lower()}, but no numbers were seen{what}")
    if kind.unit_class == "status":
        top = float(d.values.max())
        if kind.name == "mode" and top > 1.0:
            return replace(entry, reason=f"occupied mode in codes up to {top:g}; which mean occupied cannot be told")
        more = f"; above 0 (up to {top:g}) is on" if top > 1.0 else ""
        return replace(entry, kind=kind.name, unit="on", zone=zone, score=fit, reason=f"{reason}; on and off{more}")
    guess = unit_of_values(kind.unit_class, d.named, d.values, celsius, kind.name in ("oat", "oa_dewpoint"))
    if not guess.unit:
        return replace(
            entry, reason=f"{kind.label.lower()}, but its unit cannot be told: {guess.reason}; say unit in the map"
        )
    values = converted(d.values, guess.unit)
    inside = float(np.mean((values >= kind.low) & (values <= kind.high)))
    if inside < 0.5:
        return replace(
            entry,
            reason=f"named like {kind.label.lower()}, but {100 * (1 - inside):.0f} % of the values seen are outside "
            f"{kind.low:g} to {kind.high:g}",
        )
    if "by its size" in guess.reason or "alone" in guess.reason:
        fit -= 0.05
    return replace(
        entry, kind=kind.name, unit=guess.unit, zone=zone, score=fit, reason=f"{reason}; {guess.unit}, {guess.reason}"
    )


def _one_each(entries: list[Entry]) -> list[Entry]:
    """Of several columns for one point only the best is used."""
    best: dict[str, int] = {}
    for place, entry in enumerate(entries):
        if entry.kind and (entry.key not in best or entry.score > entries[best[entry.key]].score):
            best[entry.key] = place
    return [
        replace(
            entry,
            kind="",
            unit="",
            reason=f"a second column for {entry.kind}; {entries[best[entry.key]].column} is used",
        )
        if entry.kind and best[entry.key] != place and not _same_point_in_other_file(entry, entries[best[entry.key]])
        else entry
        for place, entry in enumerate(entries)
    ]


def _same_point_in_other_file(one: Entry, other: Entry) -> bool:
    """Files that continue one another, each with the same column."""
    return one.column == other.column and one.file != other.file


# ---------------------------------------------------------------- files


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
