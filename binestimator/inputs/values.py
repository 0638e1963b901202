"""Values of inputs: one at a time, from raw to checked."""

from __future__ import annotations

import datetime
import difflib
import math
import numbers
import re
import unicodedata
from collections.abc import Iterable

from binestimator.inputs.field import Field, plain
from binestimator.inputs.hints import as_clock_hours, instead_of, not_modelled, number_hint
from binestimator.inputs.problems import sentence

MOST_POINTS = 50
#: First values of points: outdoor temperature [degF] or airflow [% of design].
POINT_X_RANGE = (-60.0, 150.0)
#: Beginning of the texts that mark tables on forms; no text of a user may begin so.
TABLE_MARK = "key: "
# Signs that a backslash and a letter mean in a text in double quotes: what a path with backslashes turns into.
_ESCAPED = {"\t": "t", "\n": "n", "\r": "r", "\b": "b", "\f": "f"}
_DAYS = (31, 28, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31)


def raw_from_text(field: Field, text: str) -> object:
    """Text of a table cell or of a default as the raw value that :func:`check_value` takes.

    What cannot be read as the type of the field is returned as it is, so that the check
    reports it. Lists are separated by commas, points are written ``x:y,x:y``.
    """
    text = text.strip()
    if text.casefold() == "none":
        return "none"
    if field.type in ("float", "optional_float", "int", "choice_float"):
        return number_or_text(text)
    if field.type == "bool":
        return {"true": True, "yes": True, "false": False, "no": False}.get(text.casefold(), text)
    if field.type in ("hour_pair", "profile12", "profile24"):
        return [number_or_text(part) for part in text.split(",")] if text else []
    if field.type in ("date_list", "choice_list"):
        return [part.strip() for part in text.split(",")] if text else []
    if field.type == "points":
        return [[number_or_text(part) for part in pair.split(":")] for pair in text.split(",")]
    return text


def number_or_text(text: str) -> object:
    """Number that a text is, or the text itself when it is none."""
    text = text.strip()
    if re.fullmatch(r"[+-]?(\d+\.?\d*|\.\d+)([eE][+-]?\d+)?", text, re.ASCII):
        number = float(text)
        return int(number) if math.isfinite(number) and number.is_integer() and abs(number) < 1e15 else number
    return text


def check_value(field: Field, raw: object, *, in_cell: bool = False) -> tuple[object, str | None]:
    """Check one raw value.

    Parameters
    ----------
    field : Field
        The input.
    raw : object
        As read: text, number, truth value or list. For an optional input ``None`` or the
        text ``"none"`` unsets it.
    in_cell : bool
        The value was typed into a cell of a form: what is wrong is said in words that suit a cell.

    Returns
    -------
    value : object
        In the form the records hold: ``str, bool, int, float``; ``hour_pair`` a tuple of
        two floats or the empty tuple (closed); ``date_list`` a tuple of ``MM-DD`` texts;
        ``choice_list`` a tuple of choices in their order;
        ``profile12`` and ``profile24`` tuples of so many floats; ``points`` a tuple of (x, y) tuples.
        ``None`` when wrong or unset.
    problem : str or None
        What is wrong, or ``None``.
    """
    if field.optional and (raw is None or (isinstance(raw, str) and raw.strip().casefold() in ("none", ""))):
        return None, None
    return _CHECKS[field.type](field, raw, in_cell)


def _check_text(field: Field, raw: object, in_cell: bool) -> tuple[object, str | None]:
    if isinstance(raw, (datetime.date, datetime.time)):  # an unquoted date in a TOML file
        raw = raw.isoformat()
    if not isinstance(raw, str):
        do = "format the cell as text and type it again" if in_cell else "put it in quotes"
        return None, sentence("not a text", raw, field.allowed_as(in_cell=in_cell), do)
    text = raw.strip()
    if field.required and not text:
        return None, sentence("is empty", raw, field.allowed_as(in_cell=in_cell))
    if len(text) > field.max_length:
        return None, sentence(
            f"is too long ({len(text)} characters)", raw, field.allowed_as(in_cell=in_cell), "shorten it"
        )
    if text.startswith(TABLE_MARK):
        return None, _marks_table(raw)
    place = _forbidden(text, several_lines=field.name == "notes")
    if place is not None:
        what = f"holds a control or unprintable character (U+{ord(text[place]):04X} at place {place + 1})"
        escaped = field.type == "path" and not in_cell and text[place] in _ESCAPED
        do = (
            f"a backslash in double quotes begins a special sign, here \\{_ESCAPED[text[place]]}: write / for it"
            if escaped
            else "remove it"
        )
        return None, sentence(what, raw, "printable text", do)
    return text, None


def check_free_text(raw: object, length: int) -> tuple[str | None, str | None]:
    """Check a text that is not an input of its own, such as evidence; lines may break."""
    if not isinstance(raw, str):
        return None, sentence("not a text", raw, f"text of at most {length} characters", "put it in quotes")
    text = raw.strip()
    if len(text) > length:
        return None, sentence(
            f"is too long ({len(text)} characters)", raw, f"text of at most {length} characters", "shorten it"
        )
    if text.startswith(TABLE_MARK):
        return None, _marks_table(raw)
    place = _forbidden(text, several_lines=True)
    if place is not None:
        return None, sentence(
            f"holds a control or unprintable character (U+{ord(text[place]):04X} at place {place + 1})",
            raw,
            "printable text",
            "remove it",
        )
    return text, None


def _marks_table(raw: str) -> str:
    return sentence(
        f'begins with "{TABLE_MARK}", as the marks of tables on forms do', raw, "another beginning", "change it"
    )


def _forbidden(text: str, several_lines: bool) -> int | None:
    """Place of the first character that may not be printed, or None.

    Refused: control characters, lone surrogates, line separators, code points that no
    character has, private ones, and marks that turn the direction of writing (they can
    make a name look like another).
    """
    if text.isascii() and text.isprintable():
        return None
    for place, character in enumerate(text):
        if several_lines and character in "\n\t":
            continue
        if unicodedata.category(character) in ("Cc", "Cs", "Cn", "Co", "Zl", "Zp"):
            return place
        if "\u202a" <= character <= "\u202e" or "\u2066" <= character <= "\u2069" or character == "\ufeff":
            return place
    return None


def _check_path(field: Field, raw: object, in_cell: bool) -> tuple[object, str | None]:
    return _check_text(field, raw, in_cell)


def _check_bool(field: Field, raw: object, in_cell: bool) -> tuple[object, str | None]:
    if isinstance(raw, bool):
        return raw, None
    positive = {
        "true": True,
        "yes": True,
        "y": True,
        "on": True,
        "1": True,
        "false": False,
        "no": False,
        "n": False,
        "off": False,
        "0": False,
    }.get(str(raw).strip().casefold())
    if positive is None:
        do = "" if in_cell else "write it without quotes"
    else:
        do = (
            ("type yes" if positive else "type no")
            if in_cell
            else f"write {field.name} = {'true' if positive else 'false'}, without quotes"
        )
    return None, sentence("not a truth value", raw, field.allowed_as(in_cell=in_cell), do)


def _as_number(
    raw: object, field: Field, in_cell: bool, low: float | None = None, high: float | None = None
) -> tuple[float | int | None, tuple[str, str]]:
    """Finite number of a raw value, or None, and (what is wrong, what to do); the hint keeps within the range, that
    of the field if none is given."""
    if isinstance(raw, bool) or not isinstance(raw, numbers.Real):
        hint = ""
        if isinstance(raw, str):
            if isinstance(number_or_text(raw), (int, float)):
                hint = "write it without quotes"
            else:
                hint = number_hint(
                    raw,
                    "type" if in_cell else "write",
                    field.low if low is None else low,
                    field.high if high is None else high,
                )
        return None, ("not a number", hint)
    try:
        # A zero has no sign here: equal inputs are written alike and have one checksum.
        number = int(raw) if isinstance(raw, numbers.Integral) else float(raw) + 0.0
        if math.isfinite(number):
            return number, ("", "")
    except OverflowError:
        pass
    return None, ("not a finite number", "")


def _check_float(field: Field, raw: object, in_cell: bool) -> tuple[object, str | None]:
    number, wrong = _as_number(raw, field, in_cell)
    if number is None:
        return None, sentence(wrong[0], raw, field.allowed_as(in_cell=in_cell), wrong[1])
    outside = _outside(field, float(number), in_cell)
    return (None, outside) if outside else (float(number), None)


def _outside(field: Field, number: float, in_cell: bool) -> str | None:
    if field.low is None or field.high is None or field.low <= number <= field.high:
        return None
    hint = ""
    of_one = field.high <= 1 and field.name.endswith(("_frac", "_factor", "efficiency"))
    if of_one and field.high < number <= 100:
        hint = f"enter {number / 100:g} for {number:g} %"
    what = "below the smallest allowed value" if number < field.low else "above the largest allowed value"
    return sentence(what, number, field.allowed_as(in_cell=in_cell), hint)


def _check_int(field: Field, raw: object, in_cell: bool) -> tuple[object, str | None]:
    number, wrong = _as_number(raw, field, in_cell)
    if number is None:
        return None, sentence(wrong[0], raw, field.allowed_as(in_cell=in_cell), wrong[1])
    if number != int(number):
        return None, sentence("not a whole number", raw, field.allowed_as(in_cell=in_cell))
    outside = _outside(field, number, in_cell)
    return (None, outside) if outside else (int(number), None)


def _check_choice(field: Field, raw: object, in_cell: bool) -> tuple[object, str | None]:
    if isinstance(raw, str):
        for choice in field.choices:
            if raw.strip().casefold() == choice.casefold():
                return choice, None
        for old, choice in field.earlier:
            if raw.strip().casefold() == old.casefold():
                return choice, None
        name = not_modelled(raw[:200])
        if name:
            return None, sentence(
                f"{name} are not modelled", raw, field.allowed_as(in_cell=in_cell), instead_of(raw[:200])
            )
    if isinstance(raw, bool) and {"yes", "no"} <= set(field.choices):
        word = "yes" if raw else "no"
        return None, sentence(
            "not a text", raw, field.allowed_as(in_cell=in_cell), f"type {word}" if in_cell else f'write "{word}"'
        )
    hint = did_you_mean(raw, field.choices) if isinstance(raw, str) else ""
    return None, sentence("not one of the choices", raw, field.allowed_as(in_cell=in_cell), hint)


def _check_choice_float(field: Field, raw: object, in_cell: bool) -> tuple[object, str | None]:
    number, wrong = _as_number(raw, field, in_cell)
    if number is None:
        return None, sentence(wrong[0], raw, field.allowed_as(in_cell=in_cell), wrong[1])
    if float(number) not in field.choices:
        return None, sentence("not one of the choices", raw, field.allowed_as(in_cell=in_cell))
    return float(number), None


def _check_choice_list(field: Field, raw: object, in_cell: bool) -> tuple[object, str | None]:
    allowed = field.allowed_as(in_cell=in_cell)
    if not isinstance(raw, (list, tuple)):
        word = raw.strip().casefold() if isinstance(raw, str) else ""
        hint = (f"type {word}" if in_cell else f'write ["{word}"]') if word in field.choices else ""
        return None, sentence("not a list", raw, allowed, hint)
    found = set()
    for place, item in enumerate(raw):
        word = item.strip().casefold() if isinstance(item, str) else item
        if word not in field.choices:
            hint = did_you_mean(item, field.choices) if isinstance(item, str) else ""
            return None, sentence(f"value {place + 1} is not one of the choices", item, allowed, hint)
        found.add(word)
    return tuple(choice for choice in field.choices if choice in found), None


def _check_numbers(field: Field, raw: object, count: int, in_cell: bool) -> tuple[tuple | None, str | None]:
    allowed = field.allowed_as(in_cell=in_cell)
    if not isinstance(raw, (list, tuple)):
        return None, sentence("not a list", raw, allowed, _hours_hint(field, [raw], in_cell))
    if len(raw) != count:
        do = _hours_hint(field, list(raw), in_cell) if count == 2 else ""
        return None, sentence(f"has {len(raw)} value{'' if len(raw) == 1 else 's'}", raw, allowed, do)
    values = []
    low, high = field.bounds
    for place, item in enumerate(raw):
        number, not_number = _as_number(item, field, in_cell)
        if number is None or not low <= number <= high:
            wrong = not_number[0] or "outside the range"
            return None, sentence(
                f"value {place + 1} is {wrong}", item, allowed, _hours_hint(field, list(raw), in_cell)
            )
        values.append(float(number))
    return tuple(values), None


def _hours_hint(field: Field, raw: list, in_cell: bool) -> str:
    """How clock hours that were written otherwise should be, or an empty text."""
    if field.type != "hour_pair":
        return ""
    if len(raw) == 1 and isinstance(raw[0], str):
        raw = re.split(r"\s*(?:,|;|\bto\b|[-\u2013])\s*", raw[0].strip("[] "))
    if in_cell and len(raw) == 1 and isinstance(raw[0], float) and not raw[0].is_integer():
        return "if the program made one number of two hours, format the cell as text and type them again"
    if len(raw) == 4 and all(isinstance(part, int) for part in raw):
        return "half hours have a decimal point, such as 7.5"
    hours = as_clock_hours(raw) if len(raw) == 2 else None
    if hours is None or any(isinstance(part, (int, float)) for part in raw):
        return ""
    return f"type {hours}" if in_cell else f"clock hours are numbers: write [{hours}]"


def _check_hour_pair(field: Field, raw: object, in_cell: bool) -> tuple[object, str | None]:
    if isinstance(raw, (list, tuple)) and len(raw) == 0:
        return (), None
    pair, wrong = _check_numbers(field, raw, 2, in_cell)
    if pair is not None and pair[0] % 24 == pair[1] % 24 and pair != (0.0, 24.0):
        wrong = sentence(
            "starts when it ends",
            raw,
            field.allowed_as(in_cell=in_cell),
            "type 0, 24 for the whole day" if in_cell else "write [0, 24] for the whole day",
        )
    return (None, wrong) if wrong else (pair, None)


def _check_profile24(field: Field, raw: object, in_cell: bool) -> tuple[object, str | None]:
    return _check_numbers(field, raw, 24, in_cell)


def _check_profile12(field: Field, raw: object, in_cell: bool) -> tuple[object, str | None]:
    return _check_numbers(field, raw, 12, in_cell)


def _check_date_list(field: Field, raw: object, in_cell: bool) -> tuple[object, str | None]:
    if not isinstance(raw, (list, tuple)):
        return None, sentence("not a list", raw, field.allowed_as(in_cell=in_cell))
    if len(raw) > 365:
        return None, sentence(f"has {len(raw)} days", expected="at most 365 days")
    days: list[str] = []
    for place, item in enumerate(raw):
        match = re.fullmatch(r"(\d\d)-(\d\d)", item.strip(), re.ASCII) if isinstance(item, str) else None
        if not match or not 1 <= int(match[1]) <= 12 or not 1 <= int(match[2]) <= _DAYS[int(match[1]) - 1]:
            return None, sentence(
                f"value {place + 1} is not a day of a 365-day year",
                item,
                field.allowed_as(in_cell=in_cell),
                _day_hint(item),
            )
        if match[0] not in days:
            days.append(match[0])
    return tuple(days), None


def _day_hint(item: object) -> str:
    if isinstance(item, datetime.date):
        return f'write "{item.month:02d}-{item.day:02d}": the year does not matter'
    match = (
        re.fullmatch(r"(?:\d{4}[-/])?(\d{1,2})[-/.](\d{1,2})(?:[-/.]\d{2,4})?", item.strip(), re.ASCII)
        if isinstance(item, str)
        else None
    )
    if match and 1 <= int(match[1]) <= 12 and 1 <= int(match[2]) <= _DAYS[int(match[1]) - 1]:
        return f"write month-day with two digits each: {int(match[1]):02d}-{int(match[2]):02d}"
    return "write month-day"


def _check_points(field: Field, raw: object, in_cell: bool) -> tuple[object, str | None]:
    if not isinstance(raw, (list, tuple)):
        return None, sentence(
            "not points" if in_cell else "not a list of points", raw, field.allowed_as(in_cell=in_cell)
        )
    if not 1 <= len(raw) <= MOST_POINTS:
        return None, sentence(f"has {len(raw)} points", raw, f"1 to {MOST_POINTS} points")
    points = []
    for place, item in enumerate(raw):
        if not isinstance(item, (list, tuple)) or len(item) != 2:
            return None, sentence(f"point {place + 1} is not a pair", item, field.allowed_as(in_cell=in_cell))
        pair = []
        for name, part, (low, high) in zip("xy", item, (POINT_X_RANGE, field.bounds), strict=True):
            number, wrong = _as_number(part, field, in_cell, low, high)
            if number is None:
                return None, sentence(
                    f"{name} of point {place + 1} is {wrong[0]}", part, field.allowed_as(in_cell=in_cell), wrong[1]
                )
            if not low <= number <= high:
                return None, sentence(
                    f"{name} of point {place + 1} is outside the range", part, f"{plain(low)} to {plain(high)}"
                )
            pair.append(float(number))
        points.append(tuple(pair))
    for place in range(1, len(points)):
        if points[place][0] == points[place - 1][0]:
            return None, sentence(
                f"points {place} and {place + 1} have the same x",
                points[place][0],
                "x strictly ascending",
                "move one of them",
            )
        if points[place][0] < points[place - 1][0]:
            return None, sentence(
                f"points {place} and {place + 1} are swapped: x must ascend",
                raw,
                "x strictly ascending",
                f"write the point at {plain(points[place][0])} before the one at {plain(points[place - 1][0])}",
            )
    return tuple(points), None


_CHECKS = {
    "text": _check_text,
    "path": _check_path,
    "bool": _check_bool,
    "int": _check_int,
    "float": _check_float,
    "optional_float": _check_float,
    "choice": _check_choice,
    "choice_float": _check_choice_float,
    "hour_pair": _check_hour_pair,
    "date_list": _check_date_list,
    "profile12": _check_profile12,
    "profile24": _check_profile24,
    "points": _check_points,
    "choice_list": _check_choice_list,
}

#: Inputs of earlier versions: path -> those that took their place.
REPLACED = {
    "service.degree_hours_tolerance_frac": "service.temperature_rise_f",
    "service.degree_hours_tolerance": "service.temperature_rise_f",
    "service.zone_hours_tolerance": "service.temperature_rise_f and service.zone_outdoor_air_rise_frac",
    "service.zone_hours_tolerance_frac": "service.temperature_rise_f and service.zone_outdoor_air_rise_frac",
    "service.humid_hours_tolerance": "service.dewpoint_rise_f",
    "service.moisture_share_limit_frac": "service.dewpoint_rise_f",
}


def replaced(section: str, name: str) -> tuple[str, str] | None:
    """What is wrong with an input of an earlier version, and what to do; None for any other name."""
    new = REPLACED.get(f"{section}.{name}")
    return (
        None
        if new is None
        else (
            "this input of an earlier version has been replaced: service is judged by depth, no longer by counts and "
            "shares",
            f"remove it; what may be lost is said by {new}",
        )
    )


def did_you_mean(word: object, known: Iterable[str]) -> str:
    """``did you mean ...?`` for the nearest known word, or ``""`` when none is near."""
    known = list(known)
    folded = {name.casefold(): name for name in known}
    near = difflib.get_close_matches(str(word)[:100].casefold(), list(folded), n=1, cutoff=0.55)
    return f'did you mean "{folded[near[0]]}"?' if near else ""
