"""Lists of paths on a form, one record a line: overrides, changes of candidates, evidence and status."""

from __future__ import annotations

from collections.abc import Iterator

from binestimator.dataclass import dataclass
from binestimator.inputs.cell_parts import TypedContent
from binestimator.inputs.form_keys import EVIDENCE, STATUS, YOURS
from binestimator.inputs.form_sheets import FoundTable
from binestimator.inputs.form_values import as_text, raw_of
from binestimator.inputs.paths import parse_path
from binestimator.inputs.problems import Problem


@dataclass(frozen=True, slots=True)
class PathRecord:
    """A path and a raw value, and the cell of the value; ``candidate_id`` where candidates change inputs."""

    path: str
    raw: object
    place: str
    candidate_id: str = ""


@dataclass(frozen=True, slots=True)
class Remark:
    """Evidence or status of the inputs that a path names, and its cell."""

    name: str
    path: str
    text: str
    place: str


def path_records(found: FoundTable, problems: list[Problem]) -> Iterator[PathRecord]:
    """Lines of a table of paths and values; what is wrong goes to ``problems``.

    Raises
    ------
    InputError
        A column is missing.
    """
    keys = ["path", YOURS] if found.table.name != "changes" else ["id", "path", YOURS]
    columns = found.needed(*keys)
    for _, row in found.lines:
        contents = [_content(found, row, column, problems) for column in columns]
        given = [content for content in contents if content is not None]
        if not given:
            continue
        place = found.at(row, columns[-1])
        lacking = [key for key, content in zip(keys, contents, strict=True) if content is None]
        if lacking:
            text = f"the line lacks its {' and '.join(lacking)}; fill in the whole line or empty it"
            problems.append(Problem(place, text))
            continue
        *ids, path = (as_text(content) for content in given[:-1])
        parsed, _ = parse_path(path)
        raw = given[-1] if parsed is None else raw_of(parsed.field, given[-1])
        yield PathRecord(path, raw, place, *ids)


def term_records(found: FoundTable, problems: list[Problem]) -> Iterator[tuple[str, TypedContent, str]]:
    """Path, content and cell of the lines of the table of terms; what is wrong goes to ``problems``.

    Raises
    ------
    InputError
        A column is missing.
    """
    columns = found.needed("path", YOURS)
    for _, row in found.lines:
        path, content = (_content(found, row, column, problems) for column in columns)
        if path is None and content is None:
            continue
        place = found.at(row, columns[-1])
        if path is None or content is None:
            text = f"the line lacks its {'path' if path is None else YOURS}; fill in the whole line or empty it"
            problems.append(Problem(place, text))
            continue
        yield as_text(path), content, place


def remarks_of(found: FoundTable, problems: list[Problem]) -> Iterator[Remark]:
    """Evidence and status in the table of both; what is wrong goes to ``problems``.

    Raises
    ------
    InputError
        A column is missing.
    """
    path_column, *columns = found.needed("path", EVIDENCE, STATUS)
    for _, row in found.lines:
        path, *texts = (_content(found, row, column, problems) for column in (path_column, *columns))
        if path is None and texts == [None, None]:
            continue
        if not isinstance(path, str) or texts == [None, None]:
            text = "the line needs the path of an input, such as zone.*.max_cfm, and evidence or status"
            problems.append(Problem(found.at(row, path_column), text))
            continue
        for name, column, content in zip((EVIDENCE, STATUS), columns, texts, strict=True):
            if content is not None:
                yield Remark(name, path, as_text(content), found.at(row, column))


def _content(found: FoundTable, row: int, column: int, problems: list[Problem]) -> TypedContent | None:
    content, problem = found.read(row, column)
    if problem is not None:
        problems.append(problem)
    return content
