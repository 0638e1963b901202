"""Suggestions for a value that is not written as required: what was probably meant."""

from __future__ import annotations

import csv
import datetime
import functools
import re
from importlib import resources

_CLOCK = re.compile(
    r"(\d{1,2})(?:[:.h](\d{2}))?(?::\d{2}(?:\.\d*)?)?\s*(h|am|pm|a\.m\.|p\.m\.|o'clock)?", re.IGNORECASE | re.ASCII
)
_UNITS = re.compile(
    r"([+-]?(?:\d+\.?\d*|\.\d+))\s*(%|°?\s?[CF]|deg\s?[CF]|[A-Za-z$€²\"'][\w./²^$€-]*(?:\s[A-Za-z.]+){0,2})", re.ASCII
)


def as_clock_hours(items: list) -> str | None:
    """Times of day as the clock hours they mean, ``7, 18.5``; ``None`` unless all are times or hours.

    Parameters
    ----------
    items : list
        Times, numbers, or texts such as ``07:00``, ``6 pm``, ``07``.
    """
    hours = [hour for item in items if (hour := _clock_hour(item)) is not None]
    return ", ".join(hours) if hours and len(hours) == len(items) else None


def _clock_hour(item: object) -> str | None:
    if isinstance(item, datetime.time):
        return f"{item.hour + item.minute / 60:.12g}"
    if isinstance(item, (int, float)) and not isinstance(item, bool):
        return f"{item:.12g}"
    match = _CLOCK.fullmatch(item.strip().strip("\"'")) if isinstance(item, str) else None
    if match is None:
        return None
    hour, minutes, half = int(match[1]), int(match[2] or 0), (match[3] or "").casefold().replace(".", "")
    if half in ("am", "pm"):
        if not 1 <= hour <= 12:
            return None
        hour = hour % 12 + (12 if half == "pm" else 0)
    if minutes >= 60 or hour + minutes / 60 > 24:
        return None
    return f"{hour + minutes / 60:.12g}"


def plain_number(text: str) -> str | None:
    """Number written with a decimal comma, separators of thousands or zeros in front, as plain digits.

    The last comma or point counts as the decimal one when the other sign comes before it, or when it occurs once and
    is not followed by three digits. ``None`` when the text is no number.
    """
    text = re.sub(r"[ \u00a0\u202f'’_]", "", text.strip())
    if not re.fullmatch(r"[+-]?\d[\d.,]*", text, re.ASCII):
        return None
    comma, point = text.rfind(","), text.rfind(".")
    if comma >= 0 and point >= 0:
        thousands, decimal = (",", ".") if point > comma else (".", ",")
        text = text.replace(thousands, "")
        if text.count(decimal) > 1:
            return None
        text = text.replace(decimal, ".")
    elif comma >= 0:
        if re.fullmatch(r"[+-]?\d{1,3}(,\d{3})+", text):
            text = text.replace(",", "")
        elif text.count(",") == 1 and not text.endswith(","):
            text = text.replace(",", ".")
        else:
            return None
    elif text.count(".") > 1:
        if not re.fullmatch(r"[+-]?\d{1,3}(\.\d{3})+", text):
            return None
        text = text.replace(".", "")
    sign = text[0] if text[0] in "+-" else ""
    digits = text.lstrip("+-").lstrip("0")
    digits = digits if digits[:1].isdigit() else f"0{digits}"
    return f"{sign}{digits.rstrip('.')}"


def unit_suffixed(text: str) -> tuple[str, str]:
    """(number, unit) of a number with a unit after it, or two empty texts."""
    match = _UNITS.fullmatch(text.strip())
    if match is None:
        return "", ""
    number = re.sub(r"^([+-]?)\.", r"\g<1>0.", match[1])
    return number.rstrip("."), match[2].strip()


def number_hint(text: str, writing: str, low: float | None = None, high: float | None = None) -> str:
    """How a number that was written otherwise should be, or ``""``.

    Parameters
    ----------
    text : str
        As it was written.
    writing : str
        ``write`` or ``type``.
    low, high : float, optional
        Allowed range: of two readings that which lies in it is offered.
    """
    plain = plain_number(text)
    if plain is not None and re.fullmatch(r"[+-]?\d{1,3},\d{3}", text.strip()):
        decimal = f"{float(text.replace(',', '.')):.12g}"
        fits = [low is None or high is None or low <= float(each) <= high for each in (plain, decimal)]
        if fits == [True, False]:
            return f"{writing} {plain} without the thousands separator"
        if fits == [False, True]:
            return f"{writing} {decimal} with a decimal point"
        return f"{writing} {plain} if the comma is a thousands separator, {decimal} if it is a decimal comma"
    if plain is not None:
        if "," in text and "." in plain:
            return f"{writing} {plain} with a decimal point"
        return (
            f"{writing} {plain} without the thousands separator"
            if re.search(r"\d[,.'’ ]\d", text)
            else f"{writing} {plain}"
        )
    number, unit = unit_suffixed(text)
    return f"{writing} {number} alone; the unit ({unit}) is not part of the value" if unit else ""


# ---------------------------------------------------------------- what is not modelled


@functools.cache
def _not_modelled() -> tuple[tuple[re.Pattern, str, str], ...]:
    text = resources.files("binestimator.inputs").joinpath("not_modelled.csv").read_text(encoding="utf-8")
    return tuple((re.compile(row["pattern"]), row["name"], row["instead"]) for row in csv.DictReader(text.splitlines()))


def _found(text: str) -> tuple[str, str]:
    key = re.sub(r"[^a-z0-9]+", "_", text.casefold())
    return next(((name, instead) for pattern, name, instead in _not_modelled() if pattern.search(key)), ("", ""))


def not_modelled(text: str) -> str:
    """Name of what a key or choice means and the program does not model, in the plural, or ``""``."""
    return _found(text)[0]


def instead_of(text: str) -> str:
    """What to do about something that :func:`not_modelled` names."""
    return _found(text)[1] or (
        "the program models one air handler with single-duct variable-air-volume terminals, with or without reheat "
        "coils; "
        "leave that equipment out of the project and estimate it by other means"
    )
