"""Inputs of all tables of a form but the lists of paths."""

from __future__ import annotations

from binestimator.inputs.form_entries import hit_by
from binestimator.inputs.form_keys import EVIDENCE, FROM_FILE, FROM_QUICK, STATUS, YOURS, is_coordinate
from binestimator.inputs.form_options import take_candidates
from binestimator.inputs.form_said import Said, store
from binestimator.inputs.form_take import note_places, review_of_nothing, take, take_review
from binestimator.inputs.form_things import Thing, things_of
from binestimator.inputs.form_values import as_text, joined, points_of, raw_of
from binestimator.inputs.given import MOST, nameless
from binestimator.inputs.overrides import override_place

# Tables whose cells are inputs of things; the others are lists of paths.
_TABLES_OF_INPUTS = ("inputs", "group", "special", "zone", "candidate", "library")


def read_tables(said: Said) -> None:
    """Inputs of all tables but those of records."""
    things = {
        name: things_of(said.tables[name], said.problems) if name in said.tables else [] for name in _TABLES_OF_INPUTS
    }
    given = {kind: [thing for thing in things[kind] if thing.yours] for kind in ("group", "special", "zone")}
    names: dict[str, list[object]] = {kind: [thing.name for thing in given[kind]] for kind in given}
    names["candidate"] = [thing.id for thing in things["candidate"]]
    hit = hit_by(
        said.raw.get("override", {}),
        {kind: [name for name in found if isinstance(name, str)] for kind, found in names.items()},
    )
    for kind in ("special", "group"):
        for thing in things[kind]:
            _take_item(said, kind, thing, said.raw.setdefault(kind, []), hit)
    for thing in _zone_lines(said, things["zone"]):
        if thing.origin == FROM_QUICK:
            _take_quick_zone(said, thing)
        elif thing.origin == FROM_FILE:
            _take_item(said, "zone", thing, said.csv_zones, hit)
        else:
            _take_item(said, "zone", thing, said.raw.setdefault("zone", []), hit)
    take_candidates(said, things["candidate"], hit)
    for kind in ("special", "group", "zone", "candidate"):
        if not said.raw.get(kind, True):
            del said.raw[kind]
    for thing in things["inputs"]:
        note_places(said, "", thing)
        take(said, thing, "", said.raw, hit)
        take_review(said, thing, "")
        _take_remarks(said, thing)
    for thing in things["library"]:
        for head, coordinates in points_of(thing.yours).items():
            store(said.raw, head, joined(coordinates))
            said.places[head] = thing.place_of_points(YOURS, head)
        for key, content in thing.yours.items():
            said.places[key] = thing.places[YOURS, key]
            if not is_coordinate(key):
                store(said.raw, key, raw_of(thing.field(key), content))


def _take_remarks(said: Said, thing: Thing) -> None:
    """Evidence and status on the lines of inputs; of points the first that is given."""
    for name in (EVIDENCE, STATUS):
        for key, content in thing.contents.get(name, {}).items():
            path, remarks = thing.field(key).path, said.raw.setdefault(name, {})
            if path not in remarks:
                remarks[path] = as_text(content)
                said.places[override_place(name, path)] = thing.places[name, key]


def _zone_lines(said: Said, things: list[Thing]) -> list[Thing]:
    """Lines of zones with content, as many as may be."""
    lines = [thing for thing in things if thing.yours or thing.reviewer]
    most = 2 * MOST["zone"]  # those of the quick description are here as well
    if len(lines) > most:
        said.bad(
            next(iter(lines[most].places.values())),
            f"more than {most} lines of zones; expected at most {MOST['zone']}; join alike zones by their multiplier",
        )
    return lines[:most]


def _take_item(said: Said, kind: str, thing: Thing, target: list[dict], hit: set[str]) -> None:
    """Put a thing into the raw list of its kind."""
    if not thing.yours:
        review_of_nothing(said, thing)
        return
    name, index = thing.name, len(target)
    shown = name if isinstance(name, str) and name else nameless(index)
    for each in (shown, nameless(index)):
        note_places(said, f"{kind}[{each}].", thing)
    said.places.setdefault(f"{kind}[{shown}]", thing.places[YOURS, "name"])
    values: dict[str, object] = {}
    take(said, thing, f"{kind}[{shown}].", values, hit)
    target.append(values)
    take_review(said, thing, f"{kind}[{shown}].")


def _take_quick_zone(said: Said, thing: Thing) -> None:
    """What is typed on a line of the quick description lies over it."""
    prefix = f"zone[{thing.name}]."
    note_places(said, prefix, thing)
    take(said, thing, prefix, {}, {f"{prefix}{key}" for key in thing.yours})
    take_review(said, thing, prefix)
