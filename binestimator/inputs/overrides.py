"""Overrides: values of inputs by their paths, checked one by one."""

from __future__ import annotations

from collections.abc import Mapping

from binestimator.inputs.paths import InputPath, parse_path
from binestimator.inputs.problems import Problems, printable, sentence, shown
from binestimator.inputs.schema import LIST_SECTIONS
from binestimator.inputs.values import check_value

MOST_OVERRIDES = 500


def check_overrides(overrides: Mapping[str, object], problems: Problems, where: str) -> dict[str, object]:
    """Checked overrides: path as written -> value as the records hold it.

    Whether the names in a path exist is seen when the overrides are applied.
    """
    checked: dict[str, object] = {}
    if len(overrides) > MOST_OVERRIDES:
        problems.add_bad(where, sentence(f"too many: {len(overrides)}", expected=f"at most {MOST_OVERRIDES}"))
        return checked
    for path, raw in overrides.items():
        place = override_place(where, path)
        parsed, problem = parse_path(path)
        value = None
        if parsed is not None:
            problem = _cannot_override(parsed)
            if problem is None:
                value, problem = check_value(parsed.field, raw, in_cell=problems.in_cells)
        if problem is None:
            checked[path] = value
        else:
            problems.add_bad(place, problem)
    return checked


def override_place(where: str, path: object) -> str:
    """Place of an override in messages."""
    return f'{where}["{printable(path[:100]) if isinstance(path, str) else shown(path)}"]'


def _cannot_override(path: InputPath) -> str | None:
    name = path.field.name
    if (path.kind in LIST_SECTIONS and path.part is None and name in ("name", "id")) or path.field.path in (
        "project.zones_csv",
        "project.default_candidates",
    ):
        return sentence("this input cannot be overridden", do="change it in the project itself")
    if name == "strategy":
        return sentence("the strategy of a candidate cannot be overridden", do="list another candidate")
    return None
