"""Builds a project: fills in, expands, resolves and checks."""

from __future__ import annotations

from collections.abc import Mapping

from binestimator.inputs.candidates import candidates_of, try_candidates_of
from binestimator.inputs.checks import check_all
from binestimator.inputs.given import MOST_ZONES_BY_CANDIDATES, Given
from binestimator.inputs.paths import item_path
from binestimator.inputs.problems import Problems
from binestimator.inputs.project import Project
from binestimator.inputs.range_items import check_own_ranges
from binestimator.inputs.records import Build
from binestimator.inputs.schema import SINGLE_SECTIONS
from binestimator.inputs.terms import terms_of
from binestimator.inputs.zones import zones_of


def build_project(
    given: Given,
    overrides: Mapping[str, object],
    problems: Problems,
    *,
    source_path: str,
    source_dir: str,
    try_candidates: bool,
    override_where: Mapping[str, str] | None = None,
    climate: str = "",
) -> Project:
    """Fill in, expand, resolve and check.

    Parameters
    ----------
    given : Given
        Not changed.
    overrides : mapping
        Checked overrides.
    problems : Problems
        Takes everything wrong; when it has any, the returned project must not be used.
    try_candidates : bool
        Also build the project of each candidate that overrides inputs, to check it.
    override_where : mapping, optional
        Path of an override -> its place in messages.
    climate : str
        Climate zone of the weather where it is known; what ``weather.climate_zone`` says goes before it.

    Returns
    -------
    Project
    """
    build = Build(given, overrides, problems, override_where or {})
    sections = {section: build.single(section) for section in SINGLE_SECTIONS}
    if sections["weather"].climate_zone != "auto":
        climate = sections["weather"].climate_zone
    build.follow_choices(sections, climate)
    groups = build.items("group", given.groups)
    specials = build.items("special", given.specials)
    group_names = [group.name for group in groups]
    if not groups:
        problems.add(
            "group",
            "no profile group",
            expected=problems.words("at least one [[group]]", "at least one"),
            do=problems.words("add [[group]] with a name", "give one a name"),
        )
    building = sections["building"]
    if specials and building.floor_area_ft2 is None:
        problems.add(
            "special",
            "special zones without the quick description they are taken from",
            do="give building.floor_area_ft2, or " + problems.words("list them under [[zone]]", "list them as zones"),
            involves=("building.floor_area_ft2",),
        )
    build.group_exists("building.group", building.group, group_names)
    for special in specials:
        build.group_exists(item_path("special", special.name, "group"), special.group, group_names)
    zones = zones_of(build, building, specials, group_names)
    build.follow_zones(sum(zone.multiplier for zone in zones))
    candidates, baseline_id = candidates_of(build, sections)
    build.all_overrides_used()
    if len(zones) * len(candidates) > MOST_ZONES_BY_CANDIDATES:
        problems.add(
            "candidate",
            f"{len(zones)} zones times {len(candidates)} candidates are {len(zones) * len(candidates)}",
            expected=f"zones times candidates at most {MOST_ZONES_BY_CANDIDATES}, the default candidates counted",
            do="join alike zones by their multiplier, or list fewer candidates",
            involves=("zone", "candidate"),
        )

    project = Project(
        info=sections.pop("project"),
        **sections,
        specials=specials,
        groups=groups,
        zones=zones,
        candidates=candidates,
        baseline_id=baseline_id,
        origins=build.origins,
        evidence=build.about_inputs("evidence", given.evidence, try_candidates),
        statuses=build.about_inputs("status", given.status, try_candidates),
        overrides=dict(overrides),
        source_path=source_path,
        source_dir=source_dir,
        findings=(),
        given=given,
        defaults=build.defaults,
        rebuild=build_project,
        climate=climate,
        terms=terms_of(given.terms, problems, [candidate.id for candidate in candidates]),
    )
    findings = check_all(project, problems, build.places)
    object.__setattr__(project, "findings", tuple(findings))  # before anyone else has seen the project
    if try_candidates:
        check_own_ranges(project, problems)
        try_candidates_of(project, problems)
    return project
