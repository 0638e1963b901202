"""Both ends of every range and count: what is accepted can be written, and what is written can be read."""

from __future__ import annotations

import copy
import html
import io
import itertools
import random
import re
import zipfile
from functools import cache

import edges
import pytest
from builders import weather_of
from recalculation import Spreadsheet, cells

from binestimator.errors import InputError, WorkbookError
from binestimator.estimate import estimate
from binestimator.inputs.form import read_form
from binestimator.inputs.given import MOST, MOST_ZONES_BY_CANDIDATES
from binestimator.inputs.problems import InputErrors
from binestimator.inputs.read import project_from_mapping
from binestimator.inputs.schema import FIELDS
from binestimator.inputs.values import MOST_POINTS, TABLE_MARK
from binestimator.seal import RESULTS
from binestimator.workbook.layout import candidate_sheet_names
from binestimator.workbook.strict import LONGEST_FORMULA, Book, utf16_length
from binestimator.workbook.write import build_workbook

LARGER = 6  # of some seven hundred; all of them by python -m tests.edges
# The whole computation of these is heavy: they are read only, and run by the module.
HEAVY = re.compile(r"zone: \d{3}|zone and candidate|candidate: 4\d|special: 5\d|group: 5\d")


@cache
def all_edges():
    """Projects by label, to be copied before they are changed."""
    return dict(edges.range_edges(1))


@pytest.mark.invariant
def test_every_edge_is_accepted_or_refused_by_name():
    """Each input is put at both its ends; reading ends in a project or in a message that names the input or the
    count."""
    labels, accepted = [], 0
    for label, mapping in all_edges().items():
        labels.append(label)
        try:
            project_from_mapping(mapping)
            accepted += 1
        except InputError as error:
            assert edges.names_limit(label, mapping, str(error)), (label, str(error))
    assert len(labels) == len(set(labels))
    met = {label.partition(":")[0] for label in labels}
    assert {field.path for field in FIELDS if field.type != "path"} <= met
    assert accepted > 550


@pytest.mark.invariant
@pytest.mark.parametrize("kind", MOST)
def test_counts_are_allowed_up_to_their_limit_and_named_beyond(kind):
    mapping = copy.deepcopy(all_edges()[f"{kind}: {MOST[kind]}"])
    least = MOST[kind]
    if kind == "range":  # no project has all inputs: those that it lacks are named, and the others allowed
        with pytest.raises(InputErrors) as caught:
            project_from_mapping(mapping)
        lacking = {problem.where for problem in caught.value.problems}
        assert all("this project has no such input to draw" in problem.text for problem in caught.value.problems)
        mapping[kind] = [given for given in mapping[kind] if f"range[{given['name']}]" not in lacking]
        least -= len(lacking)
        assert least > 20
    project = project_from_mapping(mapping)
    name = {"peak_window": "windows"}.get(kind, f"{kind}s")
    assert len(getattr(project if hasattr(project, name) else project.terms, name)) >= least
    with pytest.raises(InputError, match=f"{kind}: too many: {MOST[kind] + 1}; expected at most {MOST[kind]}"):
        project_from_mapping(all_edges()[f"{kind}: {MOST[kind] + 1}"])


@pytest.mark.invariant
def test_zones_times_candidates_have_a_limit_of_their_own():
    most = MOST["zone"]
    fit = MOST_ZONES_BY_CANDIDATES // most
    project = project_from_mapping(all_edges()[f"zone and candidate: {most} by {fit}"])
    assert len(project.zones) * len(project.candidates) == MOST_ZONES_BY_CANDIDATES
    with pytest.raises(
        InputError,
        match=f"{most} zones times {fit + 1} candidates are {most * (fit + 1)}; expected zones times candidates at "
        f"most {MOST_ZONES_BY_CANDIDATES}",
    ):
        project_from_mapping(all_edges()[f"zone and candidate: {most} by {fit + 1}"])


def light(count):
    """The first edges of an order that are quickly computed."""
    found = ((label, mapping) for label, mapping in edges.range_edges(20) if not HEAVY.match(label))
    return itertools.islice(found, count)


@pytest.mark.slow
@pytest.mark.crosscheck
def test_a_larger_slice_of_the_edges_reaches_the_recalculated_workbook(tmp_path):
    """With what once failed as well: tables of many points, a locked-out plant with a load of nothing but rounding, and
    a plant so short that supply air would boil."""
    failed = (f"tables of {MOST_POINTS} points", "cooling.lockout_f: high", "sizes: none", "zone.roof_ft2: high")
    chosen = [*light(LARGER), *((label, all_edges()[label]) for label in failed)]
    counts = edges.prove(chosen, tmp_path, Spreadsheet(tmp_path))
    assert counts["refused"] + counts["written"] == len(chosen) == LARGER + len(failed)
    assert counts["recalculated"] == counts["written"] >= len(failed) and counts["numbers"] > 10_000 * counts["written"]


@pytest.mark.crosscheck
def test_a_slice_of_the_edges_reaches_the_recalculated_workbook(tmp_path):
    """No error cell, reads back equal, and another program computes the engine's values."""
    # What once failed: tables of one point together with sizes of "none".
    tables = copy.deepcopy(all_edges()["tables of 1 points"])
    tables["override"] = all_edges()["sizes: none as overrides"]["override"]
    failed = [("tables of 1 points, sizes: none as overrides", tables)]
    counts = edges.prove(failed, tmp_path, Spreadsheet(tmp_path))
    assert counts["refused"] + counts["written"] == len(failed)
    assert counts["recalculated"] == counts["written"] >= len(failed) and counts["numbers"] > 10_000 * counts["written"]


@pytest.mark.slow
@pytest.mark.crosscheck
def test_most_groups_and_points_are_written_with_short_formulas_and_recalculate(tmp_path):
    """Fifty groups and tables of fifty points at once, on every sheet of formulas."""
    mapping = copy.deepcopy(all_edges()[f"group: {MOST['group']}"])
    tables = all_edges()[f"tables of {MOST_POINTS} points"]
    mapping["heating"] |= {key: tables["heating"][key] for key in ("type", "cop_points", "capacity_points")}
    mapping["candidate"] = tables["candidate"][:1]
    books = {}
    assert edges.prove([("groups and points", mapping)], tmp_path, Spreadsheet(tmp_path), books)["recalculated"] == 1
    longest = depth = 0
    for text in _formulas(books["groups and points"]):
        longest = max(longest, len(text))
        nested = 0
        for sign in re.sub(r'"[^"]*"', "", text):
            nested += (sign == "(") - (sign == ")")
            depth = max(depth, nested)
    # Limits of spreadsheet programs: 8,192 characters and 64 levels.
    assert 100 < longest < LONGEST_FORMULA and depth < 30


def _formulas(content: bytes):
    with zipfile.ZipFile(io.BytesIO(content)) as file:
        for name in file.namelist():
            if name.startswith("xl/worksheets/sheet"):
                yield from (
                    html.unescape(text) for text in re.findall(r"<f[^>]*>([^<]+)</f>", file.read(name).decode())
                )


# Refused at reading: a group called "none", and what begins as the marks of tables on forms do.
NAMES = [name for name in (*edges.RESERVED, "\U0001f3e2" * 40) if name != "none" and not name.startswith(TABLE_MARK)]


@pytest.mark.invariant
@pytest.mark.parametrize(
    ("things", "names"),
    [
        pytest.param("groups and zones", NAMES[::4], id="some groups and zones"),
        pytest.param("groups and zones", NAMES, id="groups and zones", marks=pytest.mark.slow),
        pytest.param("candidates", NAMES, id="candidates", marks=pytest.mark.slow),
    ],
)
def test_things_named_like_reserved_words_are_written_and_read_back(tmp_path, things, names):
    """Groups and zones, or candidates: words of forms, files, results and sheets are names like others."""
    mapping = copy.deepcopy(all_edges()["group: 1"])
    as_found = {"sat": "as_found", "dsp": "as_found"}
    if things == "groups and zones":
        zone = mapping["zone"][0]
        mapping["group"] = [{"name": name} for name in names]
        mapping["zone"] = [{**zone, "name": name, "group": name} for name in names]
        mapping["air_handler"]["design_cfm"], mapping["fan"]["motor_hp"] = 450 * len(names), len(names)
        mapping["cooling"]["capacity_tons"], mapping["outdoor_air"]["minimum_cfm"] = len(names), 40 * len(names)
        # Candidates of some of these names as well: they meet on one sheet.
        mapping["candidate"] = [{"id": f"c{k}", "name": name, **as_found} for k, name in enumerate(names[:2])]
    else:
        mapping["candidate"] = [{"id": f"c{k}", "name": name, **as_found} for k, name in enumerate(names[:8])]
        mapping["candidate"] += [
            {"id": word, "name": word, **as_found} for word in ("none", "end", "value", "best", "baseline", "counts")
        ]
    project = project_from_mapping(mapping)
    content, pen = build_workbook(estimate(project, weather_of()))
    assert max(pen.residuals.values()) < 1e-9
    assert not [1 for sheet in cells(content).values() for kind, _ in sheet.values() if kind == "e"]
    file = tmp_path / "named.xlsx"
    file.write_bytes(content)
    again = read_form(file).project
    assert again.checksum() == project.checksum()
    assert [zone.name for zone in again.zones] == [zone["name"] for zone in mapping["zone"]]
    assert [c.id for c in again.candidates] == [c["id"] for c in mapping["candidate"]]


@pytest.mark.invariant
@pytest.mark.parametrize("place", ["group", "zone", "candidate", "notes", "evidence"])
def test_texts_that_begin_as_marks_of_tables_do_are_refused(place):
    mapping = copy.deepcopy(edges.BASE)
    if place == "notes":
        mapping["project"]["notes"] = "key: zone"
    elif place == "evidence":
        mapping["evidence"] = {"fan.motor_hp": "key: end"}
    else:
        mapping[place][-1]["name"] = "key: zone"
    with pytest.raises(InputError, match='begins with "key: ", as the marks of tables on forms do'):
        project_from_mapping(mapping)


@pytest.mark.invariant
@pytest.mark.parametrize(
    "name", ["\U0001f3e2" * 40, "x" + "\U0001f3e2" * 40, "\U0001f3e2x" * 20, "Zones", "History", "a" * 80, "' '" * 20]
)
def test_sheet_names_are_cut_by_the_units_that_the_file_counts(name):
    """Spreadsheet programs count UTF-16 units: a sign outside the basic plane takes two."""
    names = candidate_sheet_names([name] * 8)
    assert all(0 < utf16_length(each) == len(each.encode("utf-16-le")) // 2 <= 31 for each in names)
    with Book(title="Names", kind=RESULTS) as book:
        for each in names:
            book.sheet(each)
        with pytest.raises(WorkbookError, match="32 characters"):
            book.sheet("\U0001f3e2" * 16)


@pytest.mark.invariant
def test_size_of_parts_that_are_not_asked_for_does_not_matter(tmp_path):
    """Sheets of formulas of a large project fill tens of megabytes, of which reading inputs unpacks nothing."""
    project = project_from_mapping(edges.BASE)
    content, _ = build_workbook(estimate(project, weather_of()))
    file = tmp_path / "large.xlsx"
    file.write_bytes(content)
    with zipfile.ZipFile(file, "a") as archive:
        archive.writestr("xl/worksheets/sheet99.xml", random.Random(1).randbytes(45_000_000))
    assert file.stat().st_size > 45_000_000
    assert read_form(file).project.checksum() == project.checksum()
