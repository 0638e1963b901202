"""Reference of all inputs for people."""

from __future__ import annotations

from binestimator.inputs.defaults import defaults_text, sources_text
from binestimator.inputs.schema import (
    LIST_SECTIONS,
    ROLES_TEXT,
    SECTIONS,
    STRATEGY_SECTIONS,
    TERM_SECTIONS,
    fields_of,
    title_of,
    used_when_text,
)
from binestimator.inputs.terms import TERM_LISTS


def _header_of(section: str) -> str:
    if section in LIST_SECTIONS or section in TERM_LISTS:
        return f"`[[{section}]]`, one for each"
    if section in STRATEGY_SECTIONS:
        strategies = fields_of(section)["strategy"].choices
        return ", ".join(f"`[{section}.{strategy}]`" for strategy in strategies)
    return f"`[{section}]`"


def documentation_markdown() -> str:
    """Reference of all inputs as Markdown: one table for each section."""
    lines = ["# Inputs", "", ROLES_TEXT, ""]
    for section in (*SECTIONS, *TERM_SECTIONS):
        lines += [f"## {title_of(section)}", "", f"{_header_of(section)}", ""]
        lines += ["| Input | Unit | Allowed | Default | Role | What it is | Source of the default |"]
        lines += ["|---|---|---|---|---|---|---|"]
        for field in fields_of(section).values():
            what = field.description
            if field.used_when and section not in STRATEGY_SECTIONS:
                what += f" (used when {used_when_text(field)})"
            cells = [
                f"`{field.name}`",
                field.unit,
                field.allowed,
                defaults_text(field),
                field.role,
                what,
                sources_text(field),
            ]
            lines.append("| " + " | ".join(cell.replace("|", "\\|") for cell in cells) + " |")
        lines.append("")
    return "\n".join(lines)
