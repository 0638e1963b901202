"""Candidates of a form, and what they change besides their setpoints."""

from __future__ import annotations

from binestimator.inputs.form_keys import YOURS
from binestimator.inputs.form_said import Said
from binestimator.inputs.form_take import note_places, review_of_nothing, take, take_review
from binestimator.inputs.form_things import Thing
from binestimator.inputs.form_values import raw_of
from binestimator.inputs.given import nameless
from binestimator.inputs.overrides import override_place
from binestimator.inputs.problems import sentence
from binestimator.inputs.schema import fields_of
from binestimator.inputs.values import did_you_mean


def take_candidates(said: Said, things: list[Thing], hit: set[str]) -> None:
    """Candidates in the order in which the form lists them."""
    listed: list[tuple[float, int, dict]] = []
    for at, thing in enumerate(things):
        if not thing.yours:
            if thing.id is None:
                review_of_nothing(said, thing)
            else:
                take_review(said, thing, f"candidate[{thing.id}].", str(thing.id))
            continue
        place = thing.yours.get("listed")
        if place is not None and (isinstance(place, bool) or not isinstance(place, float)):
            said.bad(
                thing.places[YOURS, "listed"],
                sentence("not a place in the list", place, "a whole number, or nothing"),
            )
            place = None
        listed.append((float("inf") if place is None else place, at, _candidate(said, thing, hit)))
    listed.sort(key=lambda entry: entry[:2])
    if not listed:
        return
    said.raw["candidate"] = [table for _, _, table in listed]
    for index, (_, at, _) in enumerate(listed):  # one whose id cannot be used is called by its place
        note_places(said, f"candidate[{nameless(index)}].", things[at])
        said.places.setdefault(f"candidate[{nameless(index)}]", things[at].places.get((YOURS, "id"), ""))
    read_changes(said)


def _candidate(said: Said, thing: Thing, hit: set[str]) -> dict:
    """Raw table of a candidate."""
    table: dict = {} if thing.id is None else {"id": thing.id}
    name = str(thing.id)
    prefix = f"candidate[{name}]."
    said.places.setdefault(f"candidate[{name}]", thing.places.get((YOURS, "id"), ""))
    note_places(said, prefix, thing)
    if "baseline" in thing.yours:
        table["baseline"] = raw_of(fields_of("zone")["reheat"], thing.yours["baseline"])
    take(said, thing, prefix, table, hit, name, without=("id", "listed", "baseline"))
    take_review(said, thing, prefix, name)
    return table


def read_changes(said: Said) -> None:
    """What candidates change besides their setpoints."""
    for record in said.records("changes"):
        candidate_id, path, raw, place = record.candidate_id, record.path, record.raw, record.place
        target = next((table for table in said.raw["candidate"] if table.get("id") == candidate_id), None)
        if target is None:
            ids = [str(table.get("id")) for table in said.raw["candidate"]]
            said.bad(
                place,
                sentence("no candidate of this id is listed above", candidate_id, do=did_you_mean(candidate_id, ids)),
            )
            continue
        target.setdefault("override", {})[path] = raw
        said.places[override_place(f"candidate[{candidate_id}].override", path)] = place
        said.places.setdefault(f"candidate[{candidate_id}].override", place)
