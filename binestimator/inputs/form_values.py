"""Values of inputs as cells of a form hold them, and back."""

from __future__ import annotations

from collections.abc import Mapping

from binestimator.inputs.cell_parts import TypedContent
from binestimator.inputs.form_keys import UNUSED, is_coordinate
from binestimator.inputs.schema import Field, value_text
from binestimator.inputs.values import number_or_text, raw_from_text

#: What the program writes into the cell of an input.
Content = str | float

_WORDS = {"hour_pair": "closed", "date_list": "no days", "choice_list": "none of them"}


def cell_of(field: Field, value: object) -> Content:
    """Value of an input as a cell holds it; :func:`raw_of` gives it back exactly.

    Numbers are numbers; lists are texts with all their digits; ``none`` unsets; a text of
    nothing but quotes gets one more on either side, so that ``""`` is the empty text.
    """
    if value is None:
        return "none"
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, (int, float)):
        return float(value)
    if isinstance(value, str):
        return f'"{value}"' if set(value) <= {'"'} else value
    if not value:
        return _WORDS[field.type]
    if not isinstance(value, (tuple, list)):
        raise TypeError(f"{field.path}: {value!r} is no value of an input")
    if field.type == "points":
        return ", ".join(f"{digits(x)}: {digits(y)}" for x, y in value)
    return ", ".join(part if isinstance(part, str) else digits(part) for part in value)


def digits(number: float) -> str:
    """A number with all its digits."""
    return str(int(number)) if float(number).is_integer() and abs(number) < 1e15 else repr(float(number))


def raw_of(field: Field, content: TypedContent) -> object:
    """Raw value, as the TOML reader would give it, of what a cell of a form holds."""
    if isinstance(content, bool):
        if field.type == "bool":
            return content
        if field.type == "choice" and {"yes", "no"} <= set(field.choices):
            return "yes" if content else "no"
        return content
    if isinstance(content, float):
        if field.type in ("text", "path"):
            return value_text(content)
        if field.type == "hour_pair" or field.type == "date_list":
            return [content]
        return int(content) if content.is_integer() and abs(content) < 1e15 else content
    text = content.strip()
    if field.type in ("text", "path"):
        return text[1:-1] if len(text) >= 2 and set(text) == {'"'} else text
    if text.casefold() == _WORDS.get(field.type):
        return []
    if field.type == "hour_pair":
        for divider in (" to ", "-", "\u2013"):
            if "," not in text and text.count(divider) == 1:
                text = text.replace(divider, ",")
    return raw_from_text(field, text)


def as_text(content: TypedContent) -> str:
    """A number or truth value that was typed where a text belongs, as text."""
    if isinstance(content, bool):
        return "yes" if content else "no"
    return value_text(content) if isinstance(content, float) else content


def points_of(contents: Mapping[str, TypedContent]) -> dict[str, dict[str, TypedContent]]:
    """Coordinates of points among contents by key: key of the points -> ``x1`` -> content."""
    found: dict[str, dict[str, TypedContent]] = {}
    for key, content in contents.items():
        if is_coordinate(key):
            head, _, last = key.rpartition(".")
            found.setdefault(head, {})[last] = content
    return found


def joined(coordinates: Mapping[str, TypedContent]) -> object:
    """Raw points of coordinates; a point with both ``none`` or empty is left out."""
    points = []
    for place in sorted({int(last[1:]) for last in coordinates}):
        pair = [_coordinate(coordinates.get(f"{axis}{place}")) for axis in "xy"]
        if pair != ["none", "none"]:
            points.append([None if part == "none" else part for part in pair])
    return points or "none"


def _coordinate(content: TypedContent | None) -> object:
    if content is None:
        return "none"
    if isinstance(content, str):
        text = content.strip()
        return "none" if text.casefold() == "none" or text == UNUSED else number_or_text(text)
    return int(content) if isinstance(content, float) and content.is_integer() and abs(content) < 1e15 else content
