"""Cells of a thing as raw values: what the user gave, what lies over it, what a reviewer put there."""

from __future__ import annotations

from collections.abc import Iterable

from binestimator.inputs.form_entries import can_review
from binestimator.inputs.form_keys import REVIEWER, YOURS, is_coordinate
from binestimator.inputs.form_said import Points, Said, store
from binestimator.inputs.form_things import Thing
from binestimator.inputs.form_values import points_of, raw_of


def note_places(said: Said, prefix: str, thing: Thing) -> None:
    """Cells of the user by the paths of their inputs; of points by coordinate and as a whole."""
    for (layer, key), place in thing.places.items():
        if layer == YOURS and key:
            said.places.setdefault(f"{prefix}{key}", place)
            if is_coordinate(key) and key in thing.table.fields:
                head = key.rpartition(".")[0]
                said.places.setdefault(f"{prefix}{head}", thing.place_of_points(YOURS, head))


def take(
    said: Said,
    thing: Thing,
    prefix: str,
    target: dict,
    hit: set[str],
    candidate: str | None = None,
    without: Iterable[str] = (),
) -> None:
    """Put what the user gave into a raw table, and what lies over others into the overrides."""
    for head, coordinates in points_of(thing.yours).items():
        path = f"{prefix}{head}"
        said.points.append(Points(target, path, head, candidate, coordinates, path in hit))
    for key, content in thing.yours.items():
        if is_coordinate(key) or key in without:
            continue
        field, path = thing.field(key), f"{prefix}{key}"
        if path in hit and can_review(field):
            said.lay_over(path, raw_of(field, content), thing.places[YOURS, key])
        else:
            store(target, key, raw_of(field, content))


def take_review(said: Said, thing: Thing, prefix: str, candidate: str | None = None) -> None:
    """What a reviewer put over the inputs of a thing."""
    for head, coordinates in points_of(thing.reviewer).items():
        path = f"{prefix}{head}"
        said.review[path] = None  # filled in when the claimed points are known
        said.review_places[path] = thing.place_of_points(REVIEWER, head)
        said.review_points.append(Points({}, path, head, candidate, coordinates, False))
    for key, content in thing.reviewer.items():
        if is_coordinate(key):
            continue
        field, place = thing.table.fields[key], thing.places[REVIEWER, key]
        if field is None:
            said.bad(place, "this input cannot be overridden; leave the cell empty")
        elif not can_review(field):
            said.bad(
                place,
                "this input cannot be overridden; leave the cell empty, and have the value itself changed",
            )
        else:
            said.review[f"{prefix}{key}"] = raw_of(field, content)
            said.review_places[f"{prefix}{key}"] = place


def review_of_nothing(said: Said, thing: Thing) -> None:
    for key in thing.reviewer:
        said.bad(thing.places[REVIEWER, key], "overrides an input of a line that is empty; remove it")
