"""Statements of a project file as messages show them, and whether a mended one can be read."""

from __future__ import annotations

import datetime
import tomllib

from binestimator.inputs.problems import printable

CURLY = dict.fromkeys("“”„‟«»＂″", '"') | dict.fromkeys("‘’‚‛′＇´`", "'")
LONGEST_SHOWN = 90


def quoted_line(text: str) -> str:
    """First line of a text between accents, shortened, for a message."""
    line = printable(text.partition("\n")[0].strip().replace("\t", " "))
    more = "\n" in text or len(line) > LONGEST_SHOWN
    return f"`{line[:LONGEST_SHOWN]}{' ...' if more else ''}`"


def parses(line: str) -> bool:
    """Whether a line is TOML whose value an input can have: no date and no time."""
    try:
        value = tomllib.loads(line)
    except (ValueError, RecursionError):
        return False
    return not any(isinstance(each, (datetime.time, datetime.date)) for each in value.values())
