"""Reads an input form, or any workbook of results, into a project.

What counts as given are the cells of the user; cells with defaults, formulas and results are not
read. The reviewer's overrides are kept apart: they never become part of the project. Everything is
checked as in a project file, and what is wrong is named by sheet and cell.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from pathlib import Path

from binestimator.dataclass import dataclass
from binestimator.inputs.build import build_project
from binestimator.inputs.cells import WorkbookFile
from binestimator.inputs.form_facts import lay_facts, read_facts
from binestimator.inputs.form_inputs import read_tables
from binestimator.inputs.form_lists import lay_underneath, read_about, read_paths, read_terms
from binestimator.inputs.form_said import Said, store
from binestimator.inputs.form_sheets import find_tables
from binestimator.inputs.form_things import things_of
from binestimator.inputs.form_words import placed
from binestimator.inputs.given import MOST
from binestimator.inputs.mapping import given_from_mapping, zone_values
from binestimator.inputs.overrides import override_place
from binestimator.inputs.problems import InputErrors, Problem, Problems, sentence
from binestimator.inputs.project import Project
from binestimator.inputs.schema import fields_of
from binestimator.inputs.values import check_value

#: Endings of files that are taken for a form or a workbook, not for a project file.
WORKBOOK_ENDINGS = (".xlsx", ".xlsm", ".xltx", ".xltm", ".xlsb", ".xls", ".ods")


@dataclass(frozen=True, slots=True)
class Form:
    """What a form says.

    Parameters
    ----------
    project : Project
        Of the cells of the user: the claim.
    review : dict
        Path -> value that a reviewer put over it.
    reviewed : Project or None
        The project with the reviewer's overrides; None when there are none.
    """

    project: Project
    review: dict[str, object]
    reviewed: Project | None


def is_workbook(path: str | Path) -> bool:
    """Whether a file is to be read as a form or workbook: by its ending, else by its first bytes."""
    path = Path(path)
    if path.suffix.casefold() in WORKBOOK_ENDINGS:
        return True
    if path.suffix.casefold() == ".toml":
        return False
    try:
        if not path.is_file():
            return False
        with path.open("rb") as file:
            return file.read(4) in (b"PK\x03\x04", b"\xd0\xcf\x11\xe0")
    except OSError:
        return False


def read_form(path: str | Path) -> Form:
    """Read, check and complete an input form or a workbook of results.

    Parameters
    ----------
    path : str or Path
        Workbook (.xlsx). The weather file named in it is looked up from its folder; zones of a zones
        file are in the workbook and are not read from that file again.

    Returns
    -------
    Form

    Raises
    ------
    InputError
        When the file cannot be read, or with everything that is wrong in it, by sheet and cell.
    """
    path = Path(path)
    with WorkbookFile(path) as file:
        tables = find_tables(file, path.name)
    return _form(Said(tables, path))


def _form(said: Said) -> Form:
    """The form, or one error with everything wrong."""
    read_paths(said, "overrides", "override")
    read_tables(said)
    lay_underneath(said)
    read_about(said)
    read_terms(said)
    _read_facts(said)
    if said.points:
        _fill_points(said)
    override = said.raw.get("override", {})
    for path, value in said.extra.items():  # a value typed where an override lies comes after it
        override.pop(path, None)
        override[path] = value
    if override:
        said.raw["override"] = override
    project = _build(said)
    for points in said.review_points:
        said.review[points.path] = points.over(project)
    reviewed = _reviewed(said, project) if said.review else None
    review = {path: reviewed.overrides[path] for path in said.review} if reviewed is not None else {}
    return Form(project, review, reviewed)


def _read_facts(said: Said) -> None:
    """The facts of a quick check: the project that follows from them lies under what the other sheets say."""
    for thing in things_of(said.tables["facts"], said.problems) if "facts" in said.tables else ():
        facts = {each.name: each for each in read_facts(thing, said.problems)}
        if facts:
            before = len(said.problems)
            lay_facts(facts, said.raw, said.places, said.problems)
            if len(said.problems) > before or any(each.wrong for each in facts.values()):
                _raise_if_any(said, (), {}, "the inputs")  # what lacks a fact would lack much else


def _fill_points(said: Said) -> None:
    """Lines of candidates and of inputs from the coordinates that are given and those that count otherwise.

    What counts otherwise is found by completing the project without these lines; formulas in
    the file, or what they may have given, are not trusted.
    """
    given, overrides = given_from_mapping(said.without_zones_file(), said.path.parent, Problems())
    bare = build_project(given, overrides, Problems(), source_path="", source_dir="", try_candidates=False)
    for points in said.points:
        raw = points.over(bare)
        if points.lies_over:
            said.lay_over(points.path, raw, said.places[points.path])
        else:
            store(points.target, points.key, raw)


def _build(said: Said) -> Project:
    problems = Problems(in_cells=True)
    zones_csv = said.raw.get("project", {}).get("zones_csv")
    given, overrides = given_from_mapping(said.without_zones_file(), said.path.parent, problems)
    if zones_csv is not None:
        value, problem = check_value(fields_of("project")["zones_csv"], zones_csv, in_cell=True)
        if problem:
            problems.add_bad("project.zones_csv", problem)
        elif value is not None or zones_csv == "none":
            given.sections.setdefault("project", {})["zones_csv"] = value
    if len(given.zones) + len(said.csv_zones) > MOST["zone"]:
        problems.add_bad(
            "zone",
            sentence(f"too many: {len(given.zones) + len(said.csv_zones)}", expected=f"at most {MOST['zone']}"),
        )
    else:
        given.csv_zones = zone_values(problems, said.csv_zones, len(given.zones))
    project = build_project(
        given,
        overrides,
        problems,
        source_path=said.path.name,
        source_dir=str(said.path.parent),
        try_candidates=True,
    )
    _raise_if_any(said, problems.items, said.places, "the inputs")
    return project


def _reviewed(said: Said, project: Project) -> Project:
    places = {**said.places, **said.review_places}
    places |= {override_place("override", path): place for path, place in said.review_places.items()}
    try:
        return project.with_overrides(said.review, in_cells=True)
    except InputErrors as error:
        _raise_if_any(said, error.problems, places, "the reviewer's overrides")
        raise


def _raise_if_any(said: Said, items: Iterable[Problem], places: Mapping[str, str], what: str) -> None:
    found = list(dict.fromkeys([*said.problems, *(placed(problem, places) for problem in items)]))
    if found:
        noun = "problem" if len(found) == 1 else "problems"
        raise InputErrors(f"{said.path.name}: {len(found)} {noun} in {what}", tuple(found))
