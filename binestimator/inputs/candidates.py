"""Candidates of a project: strategies resolved, and what they may change besides."""

from __future__ import annotations

from collections.abc import Mapping

from binestimator.inputs.follows import followed, used_by
from binestimator.inputs.given import DEFAULT_CANDIDATES, MOST, nameless
from binestimator.inputs.overrides import override_place
from binestimator.inputs.paths import item_path, known_path
from binestimator.inputs.problems import Problems, sentence
from binestimator.inputs.project import Candidate, Project
from binestimator.inputs.records import Build
from binestimator.inputs.schema import STRATEGY_SECTIONS, Field, Record, fields_of, used_when_text

# What a candidate may not override, by the role of the input: what is wrong, and what to do.
_NOT_OF_A_CANDIDATE = {
    "shared": ("all candidates share it", "change it for the whole project"),
    "building": (
        "it says what the building is, so that the saving would be that of another building",
        "estimate a second project file with that change",
    ),
    "assumption": (
        "it is an assumption of the estimate, so that the saving would be that of another assumption",
        "estimate a second project file with that change",
    ),
}
#: Pressure that a zone's run needs: a repair where zones are named, an assumption where all are meant.
_RUN_INPUTS = ("index_share", "survey_flow_cfm", "survey_damper_pct", "survey_dsp_inwc")


def candidates_of(build: Build, sections: Mapping) -> tuple[tuple[Candidate, ...], str]:
    """Candidates in order, and the id of the baseline."""
    given, problems = build.given.candidates, build.problems
    listed: dict[str, dict] = {}
    for place, values in enumerate(given):
        candidate_id = values.get("id", nameless(place))
        if candidate_id in listed:
            problems.add(
                f"candidate[{candidate_id}]",
                "the id is given twice",
                expected="unique ids",
                do="rename one of them",
            )
        listed[candidate_id] = values
    ids = list(listed)
    if sections["project"].default_candidates:
        ids = [*DEFAULT_CANDIDATES, *(each for each in ids if each not in DEFAULT_CANDIDATES)]
    if not ids:
        problems.add(
            "candidate",
            "no candidate",
            expected=problems.words("at least one [[candidate]]", "at least one"),
            do="list candidates or "
            + problems.words("set project.default_candidates = true", "answer yes to project.default_candidates"),
        )
    if len(ids) > MOST["candidate"]:
        problems.add(
            "candidate", f"too many: {len(ids)}", expected=f"at most {MOST['candidate']}, the default ones counted"
        )
        ids = ids[: MOST["candidate"]]
    build.names["candidate"] = ids
    candidates = tuple(_candidate(build, each, listed.get(each, {}), sections) for each in ids)
    _candidate_overrides_met(build)
    marked = [each for each in ids if listed.get(each, {}).get("baseline")]
    if len(marked) > 1:
        problems.add(
            "candidate",
            "more than one baseline",
            ", ".join(marked),
            problems.words("baseline = true at most once", "yes at most once"),
        )
    default = "as_found" if "as_found" in ids and sections["project"].default_candidates else None
    return candidates, (marked or [default or (ids[0] if ids else "")])[0]


def _overrides_of(build: Build, candidate_id: str, part: str | None) -> list[tuple[Field, object, str, str]]:
    return [
        (parsed.field, value, where, path)
        for parsed, value, where, path in build.overrides
        if parsed.kind == "candidate"
        and parsed.part == part
        and parsed.matches(build.names["candidate"])
        and build.names["candidate"].index(candidate_id) in parsed.matches(build.names["candidate"])
    ]


def _candidate_overrides_met(build: Build) -> None:
    for parsed, _, where, path in build.overrides:
        if parsed.kind == "candidate" and path not in build.met:
            build.met.add(path)
            if not parsed.matches(build.names["candidate"]):
                build.no_match(where, "candidate", parsed.name)
            else:
                build.problems.add(
                    where,
                    f"{parsed.field.name} has no effect: it counts when {used_when_text(parsed.field)}",
                    do="remove it",
                )


def _candidate(build: Build, candidate_id: str, listed: dict, sections: Mapping) -> Candidate:
    prefix = f"candidate[{candidate_id}]"
    own = {name: value for name, value in listed.items() if name in fields_of("candidate")}
    default = DEFAULT_CANDIDATES.get(candidate_id)
    for field, value, _, path in _overrides_of(build, candidate_id, None):
        own[field.name] = value
        build.met.add(path)
    filled = {"id": candidate_id, **({"name": default[0]} if default else {}), **own}
    record = build.record("candidate", filled, prefix)
    for name in filled:
        if name not in own:
            build.origins[f"{prefix}.{name}"] = "default"
    parts = {
        part: _strategy(
            build, candidate_id, part, listed.get(part, {}), default[1 + place] if default else None, sections
        )
        for place, part in enumerate(STRATEGY_SECTIONS)
    }
    values = {name: getattr(record, name) for name in fields_of("candidate")}
    return Candidate(**values, **parts, overrides=dict(listed.get("override", {})))


def _strategy(
    build: Build, candidate_id: str, part: str, inline: dict, default: str | None, sections: Mapping
) -> Record:
    """Record of a strategy: library, then the candidate's own values, then what the project says."""
    prefix = item_path("candidate", candidate_id, part)
    choice, strategy = fields_of(part)["strategy"], inline.get("strategy", default)
    if strategy is None:
        if prefix not in build.problems.bad and f"{prefix}.strategy" not in build.problems.bad:
            choices = choice.allowed_as(in_cell=build.problems.in_cells)
            do = build.problems.words(f'write {part} = "{choice.choices[0]}"', "choose one")
            build.problems.add_bad(prefix, sentence("is missing", expected=choices, do=do))
        strategy = choice.choices[0]
    values = {"strategy": strategy}
    for name, value in build.given.library[part].get(strategy, {}).items():
        values[name] = value
        build.places[f"{prefix}.{name}"] = f"{part}.{strategy}.{name}"
    for name, value in inline.items():
        values[name] = value
        build.places[f"{prefix}.{name}"] = f"{prefix}.{name}"
    for field, value, where, path in _overrides_of(build, candidate_id, part):
        if used_by(field, strategy):
            values[field.name] = value
            build.places[f"{prefix}.{field.name}"] = where
            build.met.add(path)
    found = followed(part, strategy, lambda path: getattr(sections[path.partition(".")[0]], path.partition(".")[2]))
    resolved = {name: value for name, value in found.items() if values.get(name) is None}
    record = build.record(part, values | resolved, prefix, frozenset(resolved))
    if "strategy" not in inline:
        build.origins[f"{prefix}.strategy"] = "default"
    return record


def try_candidates_of(project: Project, problems: Problems) -> None:
    """Check each candidate's overrides by building the project they make."""
    for candidate in project.candidates:
        where = item_path("candidate", candidate.id, "override")
        if not candidate.overrides:
            continue
        if candidate.kind == "reset" and not candidate.changed_service:
            problems.add(
                item_path("candidate", candidate.id, "kind"),
                "a candidate that overrides other inputs is not a reset only",
                candidate.kind,
                '"repair" or "companion"',
                "say which, so that its saving is told apart from the reset's",
            )
        _check_roles(project, candidate, where, problems)
        merged = {path: value for path, value in project.overrides.items() if path not in candidate.overrides}
        merged |= candidate.overrides
        changed = Problems()
        changed.bad |= problems.bad
        project.rebuild(
            project.given,
            merged,
            changed,
            source_path="",
            source_dir=project.source_dir,
            try_candidates=False,
            override_where={path: override_place(where, path) for path in candidate.overrides},
            climate=project.climate,
        )
        for problem in changed.items:
            if problem.where.startswith(where):
                problems.add_text(problem.where, problem.text)
            elif problem not in problems:
                problems.add_text(where, f"with these values {problem}")


def _check_roles(project: Project, candidate: Candidate, where: str, problems: Problems) -> None:
    """Refuse overrides of a candidate that make another project of it."""
    zones = [zone.name for zone in project.zones]
    specials = [special.name for special in project.specials]
    why, do = _NOT_OF_A_CANDIDATE["assumption"]
    repaired: set[str] = set()
    for path in candidate.overrides:
        parsed = known_path(path)
        role = (
            "shared" if parsed.kind == "candidate" else parsed.field.role
        )  # its strategies have inputs of role control
        if role in _NOT_OF_A_CANDIDATE:
            reason = _NOT_OF_A_CANDIDATE[role]
            problems.add(
                override_place(where, path), f"a candidate cannot change {parsed.field.path}: {reason[0]}", do=reason[1]
            )
        elif parsed.field.name in _RUN_INPUTS:
            if parsed.name is not None and parsed.name in (zones if parsed.kind == "zone" else specials):
                repaired.add(parsed.name)
            else:
                problems.add(
                    override_place(where, path),
                    f"a candidate cannot change {parsed.field.name} of zones by a pattern: {why}",
                    do=f"{do}, or name the zones that are repaired",
                )
        elif parsed.field.name == "rogue" and candidate.overrides[path] == "none":
            _larger_terminals(project, candidate, path, where, problems)
    if len(zones) > 1 and repaired.issuperset(zones):
        problems.add(where, f"a candidate cannot change the pressure that every zone needs: {why}", do=do)
    if candidate.id == project.baseline_id and candidate.changed_service:
        problems.add(
            override_place(where, candidate.changed_service[0]),
            "the baseline cannot change what the rooms are promised: all others are judged by it",
            do="change it for the whole project",
        )


def _larger_terminals(project: Project, candidate: Candidate, path: str, where: str, problems: Problems) -> None:
    """Refuse a repair of undersized terminals that leaves their size: it would change nothing."""
    names = [zone.name for zone in project.zones]
    sized = {
        place
        for other in map(known_path, candidate.overrides)
        if other.kind == "zone" and other.field.name == "max_cfm"
        for place in other.matches(names)
    }
    parsed = known_path(path)
    small = (
        [k for k in parsed.matches(names) if project.zones[k].rogue == "undersized"] if parsed.kind == "zone" else []
    )
    for k in small:
        if k not in sized:
            problems.add(
                override_place(where, path),
                f"{names[k]} is undersized: its terminal stays as small as it is",
                do=f"override {item_path('zone', names[k], 'max_cfm')} as well",
            )
            return
