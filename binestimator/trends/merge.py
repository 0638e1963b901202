"""Found inputs into a project: what is given stays unless the user says otherwise, and each is reported."""

from __future__ import annotations

import copy
import tomllib
from collections.abc import Mapping, Sequence
from pathlib import Path

from binestimator.dataclass import dataclass
from binestimator.errors import InputError
from binestimator.inputs.files import read_text
from binestimator.inputs.problems import InputErrors
from binestimator.inputs.project import Project
from binestimator.inputs.read import project_from_mapping, read_project
from binestimator.inputs.write import project_to_toml
from binestimator.seal import MERGED, UNSEALED
from binestimator.trends.found import InputFound
from binestimator.trends.fragment import STATUS, evidence_of, path_in_file, place_of, source_of
from binestimator.trends.study import TrendStudy

#: What became of an input.
ADDED, REPLACED, KEPT, SAME, REFUSED = "added", "replaced", "kept", "same", "refused"


@dataclass(frozen=True, slots=True)
class Merged:
    """What became of a found input.

    Parameters
    ----------
    path : str
    action : str
        One of ``ADDED, REPLACED, KEPT, SAME, REFUSED``.
    found : object
        Value of the log.
    given : object
        Value of the project before, or None.
    why : str
        Of those refused.
    """

    path: str
    action: str
    found: object
    given: object = None
    why: str = ""


def merge(path: str | Path, study: TrendStudy, *, replace_given: bool = False) -> tuple[Project, list[Merged], str]:
    """A project file with the inputs that a study found.

    Parameters
    ----------
    path : str or Path
        Project file (TOML).
    study : TrendStudy
    replace_given : bool
        Found values take the place of given ones.

    Returns
    -------
    project : Project
    merged : list of Merged
        What became of each found input.
    text : str
        The new project file, with a place for its seal.

    Raises
    ------
    InputError
        The project file cannot be used.
    """
    path = Path(path)
    read_project(path)  # every error with its line
    raw = tomllib.loads(read_text(path, "project file", ""))
    names = {zone.name for zone in project_from_mapping(copy.deepcopy(raw), path.parent).zones}
    actions: list[Merged] = []
    groups: dict[str, list[InputFound]] = {}
    for one in study.inputs:
        if one.path.startswith("zone["):
            name = one.path[5 : one.path.rindex("].")]
            if name != "*" and name not in names:
                actions.append(Merged(one.path, REFUSED, one.value, None, f"the project has no zone {name}"))
                continue
            groups.setdefault(f"{name}.{'survey' if '.survey_' in one.path else one.path}", []).append(one)
        else:
            groups.setdefault(one.path.rpartition(".")[0], []).append(one)
    merged, done = _all(raw, [one for group in groups.values() for one in group], study, replace_given)
    try:
        project = project_from_mapping(copy.deepcopy(merged), path.parent)
        actions += done
    except InputErrors:
        # Some do not go with what the project has: each group by itself then.
        merged = raw
        project = project_from_mapping(copy.deepcopy(raw), path.parent)
        for group in groups.values():
            tried, done = _all(merged, group, study, replace_given)
            try:
                project = project_from_mapping(copy.deepcopy(tried), path.parent)
            except InputErrors as error:
                why = str(error.problems[0])
                actions += [
                    Merged(m.path, REFUSED if m.action in (ADDED, REPLACED) else m.action, m.found, m.given, why)
                    for m in done
                ]
                continue
            merged = tried
            actions += done
    head = (
        f"# binestimator {MERGED} {UNSEALED}\n# {path.name} with inputs found in trend logs: {source_of(study)}.\n"
        "# Comments of the project file are not carried over.\n\n"
    )
    return project, actions, head + project_to_toml(project)


def _all(raw: Mapping, inputs: Sequence[InputFound], study: TrendStudy, replace_given: bool):
    """The mapping with inputs put in where they may be, and what became of each."""
    new = copy.deepcopy(dict(raw))
    source = source_of(study)
    done = []
    for one in inputs:
        given = _given(new, one.path)
        if given is not None and _same(given, one.value):
            done.append(Merged(one.path, SAME, one.value, given))
        elif given is not None and not replace_given:
            done.append(Merged(one.path, KEPT, one.value, given))
            continue
        else:
            done.append(Merged(one.path, ADDED if given is None else REPLACED, one.value, given))
            _put(new, one)
        for table, text in (("evidence", evidence_of(one, source)), ("status", STATUS)):
            about = new.setdefault(table, {})
            if done[-1].action != SAME or path_in_file(one.path) not in about:
                about[path_in_file(one.path)] = text
    return new, done


def _same(given: object, found: object) -> bool:
    if isinstance(given, (list, tuple)) and isinstance(found, (list, tuple)):
        if len(given) == len(found) == 1 and all(isinstance(v[0], (list, tuple)) for v in (given, found)):
            return _same(given[0][-1], found[0][-1])  # a table of one point is the same wherever the point is
        return len(given) == len(found) and all(map(_same, given, found))
    if isinstance(given, (int, float)) and isinstance(found, (int, float)) and not isinstance(given, bool):
        return abs(given - found) <= 1e-9
    return given == found


def _own_strategy(raw: Mapping, part: str) -> dict | None:
    """Table of a strategy that the as-found candidate has of its own."""
    for candidate in raw.get("candidate", []):
        if candidate.get("id") == "as_found" and isinstance(candidate.get(part), dict):
            return candidate[part]
    return None


def _given(raw: Mapping, path: str) -> object:
    """Value that the project gives for an input, or None."""
    place = place_of(path)
    if place[0] == "override":
        name, tail = path[5 : path.rindex("].")], path.rpartition(".")[2]
        overrides = raw.get("override", {})
        for key in (place[1], path):
            if key in overrides:
                return overrides[key]
        return next((zone[tail] for zone in raw.get("zone", []) if zone.get("name") == name and tail in zone), None)
    if place[0] in raw.get("override", {}) or path in raw.get("override", {}):
        return raw["override"].get(path)
    if len(place) == 3:
        own = _own_strategy(raw, place[0])
        if own is not None and place[2] in own:
            return own[place[2]]
        return raw.get(place[0], {}).get("as_found", {}).get(place[2])
    return raw.get(place[0], {}).get(place[1])


def _put(raw: dict, one: InputFound) -> None:
    place = place_of(one.path)
    if place[0] == "override":
        overrides = raw.setdefault("override", {})
        overrides.pop(one.path, None)
        overrides[place[1]] = one.value
    elif one.path in raw.get("override", {}):
        raw["override"][one.path] = one.value
    elif len(place) == 3:
        own = _own_strategy(raw, place[0])
        target = own if own is not None and place[2] in own else raw.setdefault(place[0], {}).setdefault("as_found", {})
        target[place[2]] = one.value
    else:
        raw.setdefault(place[0], {})[place[1]] = one.value


def check_place(project: str | Path, out: str | Path) -> None:
    """Refuse a place for the merged project in another folder: files that it names are looked up from there.

    Raises
    ------
    InputError
    """
    if Path(project).resolve().parent != Path(out).resolve().parent:
        raise InputError(
            f"{out}: the merged project has to be in the folder of {project}, since files that it names are "
            f"looked up from "
            "there; give a name in that folder"
        )
