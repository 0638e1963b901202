"""Lists of a form that name their inputs by path: overrides, values under them, evidence and status; and terms."""

from __future__ import annotations

from binestimator.inputs.form_records import remarks_of, term_records
from binestimator.inputs.form_said import Said
from binestimator.inputs.form_terms import terms_from
from binestimator.inputs.overrides import override_place
from binestimator.inputs.paths import InputPath, item_path, parse_path
from binestimator.inputs.problems import printable


def read_paths(said: Said, table: str, target: str) -> None:
    """A list of paths and values into the raw table ``target``."""
    for record in said.records(table):
        path, raw, place = record.path, record.raw, record.place
        if path in said.raw.get(target, {}):
            said.bad(place, f"the path {printable(path[:80])} appears twice; remove one of the lines")
            continue
        said.raw.setdefault(target, {})[path] = raw
        said.places[override_place(target, path)] = place


def lay_underneath(said: Said) -> None:
    """Given values under the project's own overrides: kept, though they do not count."""
    for record in said.records("underneath"):
        path, raw, place = record.path, record.raw, record.place
        parsed, problem = parse_path(path)
        if parsed is None:
            said.bad(place, problem or "")
            continue
        target = _table_of(said, parsed)
        if target is None:
            continue  # the thing was removed
        if parsed.field.name not in target:
            target[parsed.field.name] = raw
            full = item_path(parsed.kind, parsed.name, parsed.tail) if parsed.name else parsed.field.path
            said.places[full] = place


def _table_of(said: Said, parsed: InputPath) -> dict | None:
    if parsed.name is None:
        return said.raw.setdefault(parsed.kind, {})
    key = "id" if parsed.kind == "candidate" else "name"
    lines = [*said.raw.get(parsed.kind, []), *(said.csv_zones if parsed.kind == "zone" else [])]
    found = next((line for line in lines if line.get(key) == parsed.name), None)
    return found if found is None or parsed.part is None else found.setdefault(parsed.part, {})


def read_about(said: Said) -> None:
    """Evidence and status of inputs that come in numbers."""
    for remark in remarks_of(said.tables["about"], said.problems):
        target = said.raw.setdefault(remark.name, {})
        if remark.path in target:
            said.bad(remark.place, f"the {remark.name} of {printable(remark.path[:80])} appears twice; remove one")
            continue
        target[remark.path] = remark.text
        said.places[override_place(remark.name, remark.path)] = remark.place


def read_terms(said: Said) -> None:
    """Terms of utilities and programmes."""
    if "terms" in said.tables:
        raw, places = terms_from(term_records(said.tables["terms"], said.problems), said.problems)
        said.raw |= raw
        said.places |= places
