"""Time stamps of any form to wall-clock time.

Findings are about clocks on walls (schedules, weekdays), so that stamps become wall-clock seconds. Stamps without
zone or
offset are taken as they are; stamps with an offset are read as written, or moved to a time zone that the user names;
UTC
stamps stay in UTC, said so, until a zone is named.
"""

from __future__ import annotations

import datetime
import re
from collections import Counter
from collections.abc import Sequence
from dataclasses import replace
from functools import lru_cache

import numpy as np
import pandas as pd

from binestimator.dataclass import dataclass
from binestimator.errors import InputError

#: Second that marks a stamp that cannot be read.
NO_TIME = np.iinfo(np.int64).min
ORDERS = ("year first", "month first", "day first")
_MONTH_NAMES = ("jan", "feb", "mar", "apr", "may", "jun", "jul", "aug", "sep", "oct", "nov", "dec")
_MONTHS = {name: k + 1 for k, name in enumerate(_MONTH_NAMES)}
_STAMP = re.compile(
    r"\s*(?:(?:mon|tue|wed|thu|fri|sat|sun)[a-z]*[,.]?\s+)?"
    r"(?:(?P<a>\d{1,4})(?P<sep>[-/. ])\s?(?P<b>\d{1,2}|[A-Za-z]{3,9})(?P=sep)\s?(?P<c>\d{2,4})"
    r"|(?P<name>[A-Za-z]{3,9})\.?\s+(?P<day>\d{1,2}),?\s+(?P<year>\d{4})"
    r"|(?P<compact>(?:19|20)\d{6}))"
    r"(?P<join>[T,]?\s*)"
    r"(?:(?P<h>\d{1,2}):(?P<m>\d{2})(?::(?P<s>\d{2})(?:[.,](?P<f>\d{1,9}))?)?|(?<=T)(?P<h4>\d{4}(?:\d\d)?))?"
    r"\s*(?P<half>[AaPp]\.?\s?[Mm]\.?)?"
    r"\s*(?P<zone>Z|UTC|GMT|[+-]\d{2}:?\d{2}|[A-Z]{2,4})?(?:\s+[A-Za-z_]+(?:/[A-Za-z_]+)*)?\s*",
    re.I,
)
_TIME_ONLY = re.compile(r"\s*\d{1,2}:\d{2}(?::\d{2}(?:[.,]\d+)?)?\s*(?:[AaPp]\.?\s?[Mm]\.?)?\s*")
_SUFFIX = re.compile(r"\s*(?:Z|UTC|GMT|[+-]\d{2}:?\d{2})(?:\s+[A-Za-z_]+(?:/[A-Za-z_]+)*)?\s*$")
_ZONE_TAIL = re.compile(r"\s+[A-Za-z_]{4,}(?:/[A-Za-z_]+)*\s*$")
_EPOCH = datetime.datetime(1970, 1, 1)
#: Range of years that a log can be of, in seconds.
_FIRST, _LAST = 631152000, 4102444800  # 1990 to 2100
_SERIAL = (32874.0, 73051.0)  # the same in days of a spreadsheet
#: Stamps that are remembered: those of the lines that are looked at come several times.
_STAMPS_KEPT = 20_000


@dataclass(frozen=True, slots=True)
class TimeForm:
    """How stamps are written.

    Parameters
    ----------
    kind : str
        ``text``, ``s`` or ``ms`` (since 1970, UTC), ``serial`` (days of a spreadsheet), ``stamps`` (dates of cells).
    order : str
        One of ``ORDERS``; of texts.
    pattern : str
        Pattern of most of them for the fast reader, or empty.
    zoned : str
        Empty (no zone in the stamps), ``offset`` or ``utc``.
    reason : str
        How the order is known.
    guessed : bool
        The order is a guess.
    """

    kind: str
    order: str = "year first"
    pattern: str = ""
    zoned: str = ""
    reason: str = ""
    guessed: bool = False

    def words(self) -> str:
        """The form in plain words."""
        if self.kind in ("s", "ms"):
            return f"{'seconds' if self.kind == 's' else 'milliseconds'} since 1970, UTC"
        if self.kind == "serial":
            return "days of a spreadsheet"
        if self.kind == "stamps":
            return "dates of cells"
        zone = {"": "", "offset": ", with offset from UTC", "utc": ", UTC"}[self.zoned]
        return f"{self.order}{zone} ({self.reason})"


@lru_cache(maxsize=_STAMPS_KEPT)
def is_stamp(text: str) -> bool:
    """Whether a text is a date, with or without a time of day."""
    match = _STAMP.fullmatch(text[:60]) if 6 <= len(text) <= 60 else None
    if match is None:
        return False
    if match["a"]:
        wordy = not match["b"].isdigit()
        if wordy and match["b"][:3].casefold() not in _MONTHS:
            return False
        if match["sep"] == " " and not wordy:
            return False
        if match["sep"] == "." and match["h"] is None and len(match["c"]) < 4 and len(match["a"]) < 4:
            return False
        return len(match["a"]) in (1, 2, 4) and (len(match["a"]) == 4 or len(match["c"]) in (2, 4))
    if match["name"]:
        return match["name"][:3].casefold() in _MONTHS
    return bool(match["h"] or match["h4"])  # eight digits alone may be any number


def is_time_of_day(text: str) -> bool:
    """Whether a text is a time of day without a date."""
    return _TIME_ONLY.fullmatch(text) is not None


def has_time_of_day(text: str) -> bool:
    """Whether a stamp has a time of day."""
    return ":" in text or "T" in text


def number_form(values: Sequence[float]) -> TimeForm | None:
    """Form of numbers that may be times, or None."""
    found = np.asarray(values, dtype=float)
    if found.size < 1 or not np.all(np.isfinite(found)):
        return None
    for kind, low, high in (("s", _FIRST, _LAST), ("ms", _FIRST * 1000.0, _LAST * 1000.0), ("serial", *_SERIAL)):
        if found.min() >= low and found.max() <= high:
            return TimeForm(kind, zoned="utc" if kind != "serial" else "")
    return None


def text_form(samples: Sequence[str], european: bool, order: str = "") -> TimeForm:
    """Form of stamps.

    Parameters
    ----------
    samples : sequence of str
        From all over the file, in its order, each an :func:`is_stamp`.
    european : bool
        The file has decimal commas or semicolons, which go with the day first.
    order : str
        What the user says, or empty.
    """
    matches = [match for match in map(_STAMP.fullmatch, samples) if match is not None]
    zones = [match["zone"] for match in matches if match["zone"]]
    zoned = ""
    if len(zones) > 0.5 * len(matches):
        plain = {zone.upper() for zone in zones}
        if plain <= {"Z", "UTC", "GMT", "+00:00", "-00:00", "+0000"}:
            zoned = "utc"
        elif all(zone[0] in "+-" or zone.upper() in ("Z", "UTC", "GMT") for zone in zones):
            zoned = "offset"
    found, reason, guessed = _order(matches, samples, european)
    if order:
        found, reason, guessed = order, "as the map says", False
    form = TimeForm("text", found, "", zoned, reason, guessed)
    patterns = Counter(_pattern(match, found) for match in matches[:400])
    return replace(form, pattern=patterns.most_common(1)[0][0] if patterns else "")


def _order(matches: list[re.Match], samples: Sequence[str], european: bool) -> tuple[str, str, bool]:
    numeric = [match for match in matches if match["a"]]
    if not numeric:
        return "year first", "months by name or years first", False
    if sum(len(match["a"]) == 4 for match in numeric) > 0.5 * len(numeric):
        return "year first", "years have four digits", False
    if sum(not match["b"].isdigit() for match in numeric) > 0.5 * len(numeric):
        return "day first", "months by name", False
    days_first = sum(int(match["a"]) > 12 for match in numeric)
    months_first = sum(match["b"].isdigit() and int(match["b"]) > 12 for match in numeric)
    if days_first != months_first:
        most, fewest = max(days_first, months_first), min(days_first, months_first)
        order = "day first" if days_first > months_first else "month first"
        return order, f"{most} of {len(numeric)} sampled dates can be read no other way", fewest > 0
    steps = {order: _unsteady(samples, order) for order in ("month first", "day first")}
    if steps["month first"] != steps["day first"]:
        order = min(steps, key=steps.get)  # type: ignore[arg-type]
        return order, "read so, days follow one another", False
    if european or numeric[0]["sep"] == ".":
        return "day first", "a guess, from decimal commas, semicolons or dots; say date_order in the map", True
    return "month first", "a guess; say date_order in the map", True


def _unsteady(samples: Sequence[str], order: str) -> int:
    """Steps between stamps of more than three days, or backwards by more than one."""
    seconds = np.array([second for second in (seconds_of(text, order) for text in samples) if second is not None])
    if seconds.size < 2:
        return 0
    steps = np.diff(seconds) / 86400.0
    return int(np.count_nonzero(np.abs(steps) > 3.0))


def _pattern(match: re.Match, order: str) -> str:
    """Pattern of a stamp for the fast reader; empty where only the slow one can."""
    if not match["a"] or match["half"] and "." in match["half"] or match["h4"]:
        return ""
    text, sep = match.string, match["sep"]
    if re.match(r"\s*[A-Za-z]", text) or text[match.end("a") : match.start("b")] != sep:
        return ""
    year = lambda digits: "%Y" if len(digits) == 4 else "%y"
    month = "%m" if match["b"].isdigit() else ("%b" if len(match["b"]) == 3 else "%B")
    if order == "year first":
        date = f"{year(match['a'])}{sep}{month}{sep}%d"
    elif order == "month first" and match["b"].isdigit():
        date = f"%m{sep}%d{sep}{year(match['c'])}"
    else:
        date = f"%d{sep}{month}{sep}{year(match['c'])}"
    if not match["h"]:
        return date
    clock = ("%I" if match["half"] else "%H") + ":%M" + (":%S" if match["s"] else "") + (".%f" if match["f"] else "")
    if match["half"]:
        clock += (
            text[match.end("f") if match["f"] else match.end("s" if match["s"] else "m") : match.start("half")] + "%p"
        )
    return f"{date}{match['join']}{clock}"


@lru_cache(maxsize=_STAMPS_KEPT)
def seconds_of(text: str, order: str) -> float | None:
    """Wall-clock seconds since 1970 of one stamp, an offset left out of account; None where it cannot be read."""
    match = _STAMP.fullmatch(text[:60])
    if match is None:
        return None
    try:
        if match["compact"]:
            year, month, day = int(text.strip()[:4]), int(match["compact"][4:6]), int(match["compact"][6:8])
        elif match["name"]:
            year, month, day = int(match["year"]), _MONTHS[match["name"][:3].casefold()], int(match["day"])
        else:
            a, b, c = match["a"], match["b"], match["c"]
            number = _MONTHS[b[:3].casefold()] if not b.isdigit() else int(b)
            if order == "year first" or len(a) == 4:
                year, month, day = int(a), number, int(c)
            elif order == "month first" and b.isdigit():
                year, month, day = int(c), int(a), number
            else:
                year, month, day = int(c), number, int(a)
        if year < 100:
            year += 2000 if year < 70 else 1900
        hour, minute, second = int(match["h"] or 0), int(match["m"] or 0), int(match["s"] or 0)
        if match["h4"]:
            hour, minute, second = int(match["h4"][:2]), int(match["h4"][2:4]), int(match["h4"][4:] or 0)
        if match["half"]:
            if not 1 <= hour <= 12:
                return None
            hour = hour % 12 + (12 if match["half"][0] in "pP" else 0)
        if hour == 24 and minute == second == 0:  # the end of a day, as some write midnight
            start = datetime.datetime(year, month, day) + datetime.timedelta(days=1)
        else:
            start = datetime.datetime(year, month, day, hour, minute, second)
    except (ValueError, KeyError, OverflowError):
        return None
    return (start - _EPOCH).total_seconds()


def wall_clock(column: pd.Series, form: TimeForm, zone: str = "") -> np.ndarray:
    """Wall-clock seconds since 1970 of stamps; ``NO_TIME`` where one cannot be read. (n,)

    Parameters
    ----------
    column : Series
        Texts, numbers or dates, as the form says.
    zone : str
        Name of a time zone to which stamps with a zone are moved, or empty.

    Raises
    ------
    InputError
        The zone is not known.
    """
    if form.kind in ("s", "ms", "serial"):
        numbers = pd.to_numeric(column, errors="coerce").to_numpy(dtype=float)
        if form.kind == "serial":
            numbers = np.round((numbers - 25569.0) * 86400.0)  # 25569 days from the start of 1900 to that of 1970
        elif form.kind == "ms":
            numbers = numbers / 1000.0
        good = np.isfinite(numbers) & (numbers > _FIRST) & (numbers < _LAST)
        seconds = np.full(len(numbers), NO_TIME)
        seconds[good] = np.floor(numbers[good]).astype(np.int64)
        return _moved(seconds, zone) if form.kind != "serial" else seconds
    if form.kind == "stamps":
        return _seconds(pd.to_datetime(column, errors="coerce", format="mixed"))
    texts = column.fillna("").astype(str).str.strip()
    if form.zoned and zone:
        bare = texts.str.replace(_ZONE_TAIL, "", regex=True).str.replace(r"(?:UTC|GMT)$", "+00:00", regex=True)
        pattern = f"{form.pattern}%z" if form.pattern else "ISO8601"
        moments = pd.to_datetime(bare, format=pattern, errors="coerce", utc=True)
        if moments.isna().mean() > 0.2:
            moments = pd.to_datetime(bare, format="ISO8601", errors="coerce", utc=True)
        return _moved(_seconds(moments.dt.tz_localize(None)), zone)
    if form.zoned:
        texts = texts.str.replace(_SUFFIX, "", regex=True)
    if form.pattern:
        seconds = _seconds(pd.to_datetime(texts, format=form.pattern, errors="coerce"))
        missing = np.flatnonzero(seconds == NO_TIME)
    else:
        seconds, missing = np.full(len(texts), NO_TIME), np.arange(len(texts))
    if len(missing):
        odd = texts.iloc[missing]
        known = {text: seconds_of(text, form.order) for text in odd.unique() if text}
        for place, text in zip(missing, odd, strict=True):
            second = known.get(text)
            if second is not None:
                seconds[place] = int(second)
    seconds[(seconds < _FIRST) | (seconds > _LAST)] = NO_TIME
    return seconds


def _seconds(stamps: pd.Series) -> np.ndarray:
    values = stamps.to_numpy().astype("datetime64[s]")
    seconds = values.astype(np.int64)
    seconds[np.isnat(values)] = NO_TIME
    return seconds


def _moved(seconds: np.ndarray, zone: str) -> np.ndarray:
    """Seconds of UTC moved to the wall clocks of a zone."""
    if not zone:
        return seconds
    check_zone(zone)
    good = seconds != NO_TIME
    moments = pd.DatetimeIndex(seconds[good].astype("datetime64[s]")).tz_localize("UTC").tz_convert(zone)
    moved = seconds.copy()
    moved[good] = moments.tz_localize(None).to_numpy().astype("datetime64[s]").astype(np.int64)
    return moved


def check_zone(zone: str) -> None:
    """Refuse a time zone that is not known.

    Raises
    ------
    InputError
    """
    import zoneinfo

    try:
        zoneinfo.ZoneInfo(zone)
    except (zoneinfo.ZoneInfoNotFoundError, ValueError, OSError):
        raise InputError(
            f"timezone: not a time zone this machine knows; got {zone[:60]!r}; expected a name such as America/New_York"
        ) from None
