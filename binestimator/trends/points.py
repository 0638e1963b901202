"""Kinds of points of an air handler and its terminals, and the words that names of points are made of.

``points.csv`` has a row for each kind: unit class and plausible range, the ideas that a name must hold (``a|b``: one of
them) and those that rule the kind out, Brick classes and Haystack tags. ``point_words.csv`` says which words stand for
which ideas: those of the trade in English, and the usual ones in German, French, Spanish, Italian and Dutch without
their accents. A new word or kind is a new row.

References
----------
Brick Schema 1.3 class names and Project Haystack 4 tags, from memory.
"""

from __future__ import annotations

import csv
import functools
import re
import unicodedata
from importlib import resources

from ..dataclass import dataclass

#: What a name holds of nothing but this says nothing about the kind of point.
_IGNORED = "ignored"
_UNIT_NAME = re.compile(
    r"(?<![A-Za-z])(AHU|RTU|MAU|ACU|DOAS|AC|AH)(?:[ _\-.:#]*(\d+[A-Za-z]?)|[ _\-.#]+([A-Z])(?=[ _\-.:/]|$))"
    r"(?![A-Za-z0-9])",
    re.I,
)
_ZONE_NAME = re.compile(
    r"(?<![A-Za-z])(VAV|FPB|FPT|CAV|TU|ZONE|ZN|ROOM|RM|BOX|TERMINAL|SPACE)[ _\-.:#]*"
    r"(\d+[A-Za-z]?(?:-\d+[A-Za-z]?|\.\d+[A-Za-z]?)*)(?![A-Za-z0-9])",
    re.I,
)
_TOKEN = re.compile(r"[A-Z]+(?![a-z])|[A-Z]?[a-z]+|\d+")
_BRACKETS = re.compile(r"[\[(]([^\[\]()]*)[\])]")
_LONGEST_NAME = 300
#: Pressure, status, output and command as a name's last letter (common practice, no source).
_LAST_LETTERS = frozenset("psoc")
#: Ideas that the class of a unit stands for.
CLASS_IDEAS = {
    "temperature": "temp",
    "pressure": "pressure",
    "flow": "flow",
    "power": "power",
}
#: Kinds of the air handler and the kind that the same name means on a terminal.
_ON_ZONE = {"supply_flow": "zone_flow", "sat": "zone_discharge_temp", "heating_valve": "zone_reheat"}


@dataclass(frozen=True, slots=True)
class Kind:
    """A kind of point: a row of ``points.csv``.

    Parameters
    ----------
    name, label : str
    scope : str
        ``unit`` (the air handler) or ``zone``.
    unit_class : str
        ``temperature`` [degF], ``pressure`` [in. w.c.], ``flow`` [cfm], ``percent`` [share 0 to 1], ``power`` [kW],
        ``status`` [0 or 1], ``humidity`` [%].
    low, high : float
        Plausible range in that unit; what lies outside is left out.
    needs : tuple of tuple of str
        Of each group one idea must be in the name.
    refuses : frozenset of str
    brick : frozenset of str
        Class names in small letters.
    haystack : tuple of frozenset of str
        Sets of tags.
    """

    name: str
    label: str
    scope: str
    unit_class: str
    low: float
    high: float
    needs: tuple[tuple[str, ...], ...]
    refuses: frozenset[str]
    brick: frozenset[str]
    haystack: tuple[frozenset[str], ...]


def _rows(name: str) -> list[dict[str, str]]:
    text = resources.files("binestimator.trends").joinpath(name).read_text(encoding="utf-8")
    return list(csv.DictReader(text.splitlines()))


@functools.cache
def kinds() -> dict[str, Kind]:
    """All kinds by name, in the order of the file."""
    return {
        row["kind"]: Kind(
            name=row["kind"],
            label=row["label"],
            scope=row["scope"],
            unit_class=row["unit_class"],
            low=float(row["low"]),
            high=float(row["high"]),
            needs=tuple(tuple(group.split("|")) for group in row["needs"].split()),
            refuses=frozenset(row["refuses"].split()),
            brick=frozenset(row["brick"].lower().split("|")),
            haystack=tuple(frozenset(tags.split()) for tags in row["haystack"].split("|")),
        )
        for row in _rows("points.csv")
    }


@functools.cache
def _words() -> dict[str, frozenset[str]]:
    found: dict[str, frozenset[str]] = {}
    for row in _rows("point_words.csv"):
        for word in row["words"].split():
            found[word] = found.get(word, frozenset()) | frozenset(row["concepts"].split())
    return found


@dataclass(frozen=True, slots=True)
class Name:
    """What the name of a point holds.

    Parameters
    ----------
    ideas : frozenset of str
    unknown : tuple of str
        Words that stand for nothing known.
    unit : str
        Name of the air handler, such as ``AHU-1``, or empty.
    zone : str
        Name of the terminal or room, or empty.
    """

    ideas: frozenset[str]
    unknown: tuple[str, ...]
    unit: str
    zone: str


def read_name(name: str) -> Name:
    """Ideas, air handler and zone that a name of a point holds; any text is allowed."""
    rest = _unaccented(name[:_LONGEST_NAME])
    rest = _BRACKETS.sub(lambda match: " " if len(match[1]) < 12 else f" {match[1]} ", rest)
    rest = re.sub(r"k(?:W|w)(h?)(?![a-z])", r" kw\1 ", rest)
    unit = zone = ""
    found = _UNIT_NAME.search(rest)
    if found:
        unit = f"{found[1].upper()}-{(found[2] or found[3]).upper()}"
        rest = f"{rest[: found.start()]} {rest[found.end() :]}"
    found = _ZONE_NAME.search(rest)
    ideas: set[str] = set()
    if found:
        zone = f"{found[1].upper()}-{found[2].upper()}"
        rest = f"{rest[: found.start()]} {rest[found.end() :]}"
        ideas.add("zone")
    unknown = []
    tokens = _TOKEN.findall(rest)
    last = max((place for place, token in enumerate(tokens) if not token.isdigit()), default=-1)
    for place, token in enumerate(tokens):
        if token.isdigit():
            unknown.append(token)
            continue
        # A letter by itself is short for a quantity at the end of a name only (SF-S, DA-P); elsewhere it may be a wing.
        known = None if token.lower() in _LAST_LETTERS and place != last else _ideas_of(token.lower())
        if known is None:
            unknown.append(token)
        else:
            ideas |= known
    ideas.discard(_IGNORED)
    if "zone" in ideas and not zone:
        zone = " ".join(unknown)
    return Name(frozenset(ideas), tuple(unknown), unit, zone)


def _unaccented(text: str) -> str:
    """Letters without the signs that other languages put on them, as the words of ``point_words.csv`` are written."""
    parts = unicodedata.normalize("NFKD", text.replace("ß", "ss"))
    return "".join(sign for sign in parts if not unicodedata.combining(sign))


@functools.lru_cache(maxsize=4096)
def _ideas_of(token: str) -> frozenset[str] | None:
    """Ideas of a word, or of the known words that it is made of; None where it is not made of such."""
    words = _words()
    if token in words:
        return words[token]
    if len(token) > 40:
        return None
    # The fewest known words of two letters and more that make the token.
    best: list[tuple[int, frozenset[str]] | None] = [(0, frozenset())] + [None] * len(token)
    for end in range(2, len(token) + 1):
        for start in range(end - 1):
            before, known = best[start], words.get(token[start:end])
            if before is not None and known is not None:
                count = before[0] + 1
                if best[end] is None or count < best[end][0]:  # type: ignore[index]
                    best[end] = (count, before[1] | known)
    found = best[len(token)]
    return None if found is None or found[0] > 5 else found[1]


def score(kind: Kind, name: Name) -> float:
    """How well a name fits a kind: 0 (not at all) to 1."""
    if kind.scope == "zone" and "zone" not in name.ideas:
        return 0.0
    if name.ideas & kind.refuses or name.ideas & {"fault", "unoccupied", "people", "hours", "energy"}:
        return 0.0
    if not all(any(idea in name.ideas for idea in group) for group in kind.needs):
        return 0.0
    matched = {idea for group in kind.needs for idea in group} & name.ideas
    extra = name.ideas - matched - {"air", "signal", "supply", "mode", "zone", "duct", "static", "coil", "status"}
    known = 0.95 - 0.08 * len(extra) - 0.03 * min(len([w for w in name.unknown if not w.isdigit()]), 4)
    if kind.unit_class == "status" and "fan" in matched and "status" not in name.ideas:
        known -= 0.1  # a command says less than a status
    if kind.scope == "unit" and "fan" in matched and "supply" not in name.ideas and "return" not in matched:
        known -= 0.1
    return max(known, 0.3)


def kind_of_class(text: str, on_zone: bool) -> Kind | None:
    """Kind that a Brick class or a list of Haystack tags names, or None.

    Parameters
    ----------
    text : str
        ``Supply_Air_Temperature_Sensor``, with or without prefix; or ``discharge air temp sensor point``, divided by
        spaces, commas or hyphens.
    on_zone : bool
        The point belongs to a terminal, where supply means that of the terminal.
    """
    bare = re.split(r"[#:/]", text.strip())[-1].strip().lower()
    table = kinds()
    names = [kind.name for kind in table.values() if bare in kind.brick]
    if not names:
        tags = frozenset(re.split(r"[\s,;\-]+", text.strip().casefold()))
        fits = [
            (len(wanted), kind.name)
            for kind in table.values()
            for wanted in kind.haystack
            if {tag.casefold() for tag in wanted} <= tags
            and not (kind.scope == "unit" and "zone" in tags)
            and ("sp" in tags) == ("sp" in wanted)
        ]
        names = [max(fits)[1]] if fits else []
    for name in names:
        if on_zone and name in _ON_ZONE:
            return table[_ON_ZONE[name]]
    zones = [name for name in names if (table[name].scope == "zone") == on_zone]
    return table[(zones or names)[0]] if names else None
