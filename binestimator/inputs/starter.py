"""A project file to grow from: what was given, and beside it, as comments, the defaults in force."""

from __future__ import annotations

from collections.abc import Mapping

from binestimator.inputs.paths import item_path
from binestimator.inputs.problems import printable
from binestimator.inputs.project import Project
from binestimator.inputs.schema import SECTIONS, Field, fields_of, is_used
from binestimator.inputs.write import project_tables, toml_key, toml_value

#: Sections whose defaults are listed: what there is, what it does and what it costs to run. The frame of a run, the
#: lines of a cost and what programmes pay are left to the reference.
LISTED = (
    "schedule",
    "building",
    "group",
    "air_handler",
    "outdoor_air",
    "economizer",
    "fan",
    "return_fan",
    "cooling",
    "heating",
    "preheat",
    "limits",
    "prices",
)
_INTRODUCTION = (
    "What is written without # in front was given, or follows from what was given and from the use of the building.",
    "Lines that begin with # and a name are defaults in force, each with what it rests on: take the # away and put in",
    "what is known, and say under [status] how: measured, nameplate, drawing, trended or interview.",
    "All other inputs: binestimator inputs. What an option costs: [[candidate]] with its id and cost_usd.",
)


def starter_text(project: Project, title: str, end: str = "") -> str:
    """Project file of a project with its defaults as comments; reading it in the same folder gives an equal project.

    Parameters
    ----------
    project : Project
        In its climate, so that defaults that follow from it are those in force.
    title, end : str
        First and last line, without the mark of a comment.
    """
    blocks = ["\n".join(f"# {line}" for line in (title, *_INTRODUCTION))]
    tables = project_tables(project)
    for section in (*SECTIONS, *dict.fromkeys(section for section, *_ in tables if section not in SECTIONS)):
        own = [(header, values) for of, header, values in tables if of == section]
        for header, values in own or ([(f"[{section}]", {})] if section in LISTED and section != "group" else []):
            lines = [header, *(_given(name, value) for name, value in values.items())]
            if section in LISTED:
                lines += _defaults(project, section, str(values.get("name", "")), values)
            blocks.append("\n".join(lines))
    if end:
        blocks.append(f"# {end}")
    return "\n\n".join(blocks) + "\n"


def _given(name: str, value: object) -> str:
    return f"{toml_key(name)} = {toml_value(value)}"


def _defaults(project: Project, section: str, item: str, given: Mapping) -> list[str]:
    """Comments of the inputs of a section, or of one profile group, that count by default."""
    if section == "group":
        record = next(group for group in project.groups if group.name == item)
        value_of = lambda other, name: getattr(record if other == section else project.section(other), name)
        path_of = lambda field: item_path(section, item, field.name)
    else:
        record = project.section(section)
        value_of = lambda other, name: getattr(project.section(other), name)
        path_of = lambda field: field.path
    lines = []
    for field in fields_of(section).values():
        if field.name in given or not is_used(field, value_of) or project.origins.get(path_of(field)) != "default":
            continue
        lines.append(f"# {_given(field.name, getattr(record, field.name))}  # {_words(project, field)}")
    return lines


def _words(project: Project, field: Field) -> str:
    """What a default is and where it comes from, on one line."""
    value, source = project.default_of(field)
    unit = f" [{field.unit}]" if field.unit else ""
    why = source or ("not given" if value is None else "the usual")
    return printable(f"{field.label}{unit}; {why}")
