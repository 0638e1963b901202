"""A map of points drafted by the names of columns and what they hold."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import pandas as pd

from binestimator.dataclass import dataclass
from binestimator.errors import InputError
from binestimator.trends.cells import Words, numbers
from binestimator.trends.point_map import Entry, PointMap
from binestimator.trends.point_units import UNITS, converted, unit_named, unit_of_values
from binestimator.trends.points import CLASS_IDEAS, Kind, Name, kind_of_class, kinds, read_name, score
from binestimator.trends.series import Source
from binestimator.trends.tables import Table


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
