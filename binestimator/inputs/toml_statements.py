"""A project file taken apart into statements: headings of tables, and keys with their values."""

from __future__ import annotations

import re
from collections.abc import Iterator

# Texts in quotes (of several lines first) and comments: where signs are no part of the layout.
QUOTED = re.compile(
    r'"""(?:[^"\\]|\\.|"(?!""))*+(?:"{3,5}+|\Z)'
    r"|'''(?:[^']|'(?!''))*+(?:'{3,5}+|\Z)"
    r'|"(?:[^"\\\n]|\\[^\n])*+"?+'
    r"|'[^'\n]*+'?+"
    r"|#[^\n]*+",
    re.DOTALL,
)
_STATEMENT = re.compile(r'\s*(?:"[^"]*"|[A-Za-z_][\w.-]*)\s*=')
HEADING = re.compile(r"\s*\[{1,4}\s*[A-Za-z_]")
KEY = re.compile(r'\s*("[^"]*"|[A-Za-z_][\w.-]*)[ \t]*')


def statements(text: str) -> Iterator[tuple[int, str, bool]]:
    """(number of the first line, text, whether its brackets and quotes close) of each statement."""
    lines = text.split("\n")
    at = 0
    while at < len(lines):
        if not lines[at].strip() or lines[at].lstrip().startswith("#"):
            at += 1
            continue
        end, closed = at + 1, True
        if not HEADING.match(lines[at]):
            end, closed = _end(lines, at)
        yield at + 1, "\n".join(lines[at:end]), closed
        at = end


def _end(lines: list[str], at: int) -> tuple[int, bool]:
    """Line after a statement, and whether it closes what it opens."""
    for mark in ('"""', "'''"):
        before, opened, after = lines[at].partition(mark)
        if opened and "=" in before and not before.partition("=")[2].strip():
            if mark in after:
                return at + 1, True
            for place in range(at + 1, len(lines)):
                if mark in lines[place]:
                    return place + 1, True
            return at + 1, False
    depth = _depth(lines[at])
    place = at + 1
    while depth > 0 and place < len(lines) and not _STATEMENT.match(lines[place]) and not HEADING.match(lines[place]):
        depth += _depth(lines[place])
        place += 1
    if depth > 0:  # what follows may still be read: the list ends with its first line
        while place > at + 1 and not lines[place - 1].strip():
            place -= 1
    return place, depth <= 0


def _depth(line: str) -> int:
    bare = bare_of(line)
    return bare.count("[") + bare.count("{") - bare.count("]") - bare.count("}")


def bare_of(text: str) -> str:
    """Text with what is in quotes shortened to ``q`` and without comments."""
    return QUOTED.sub(lambda match: "" if match[0].startswith("#") else "q" + "\n" * match[0].count("\n"), text)


def key_of(statement: str) -> str:
    """Key that a statement begins with, without quotes; empty where there is none."""
    match = KEY.match(statement)
    return match[1].strip('"') if match else ""
