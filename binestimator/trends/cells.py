"""Cells of a log to numbers: decimal signs, units after the number, words of status, words for nothing."""

from __future__ import annotations

import re
from collections import Counter
from dataclasses import field

import numpy as np
import pandas as pd

from ..dataclass import dataclass

#: Words for nothing, besides an empty cell.
MISSING = frozenset(
    [
        "nan",
        "na",
        "n/a",
        "#n/a",
        "null",
        "none",
        "nil",
        "no_data",
        "nodata",
        "no-data",
        "bad",
        "--",
        "---",
        "----",
        "-",
        ".",
        "?",
        "??",
        "???",
        "####",
        "error",
        "err",
        "#error",
        "fault",
        "failed",
        "offline",
        "off-line",
        "down",
        "stale",
        "unreliable",
        "invalid",
        "unknown",
        "missing",
        "inf",
        "-inf",
        "infinity",
        "#value!",
        "#ref!",
        "#div/0!",
        "#name?",
        "questionable",
        "uncertain",
        "disconnected",
        "timeout",
        "undefined",
    ]
) | {"no data", "no value", "not available", "comm loss", "bad value", "bad data", "out of service", "no samples"}
#: Words of status and what they are worth.
STATES = dict.fromkeys(
    [
        "on",
        "true",
        "yes",
        "occ",
        "occupied",
        "active",
        "run",
        "running",
        "start",
        "started",
        "open",
        "enable",
        "enabled",
        "high",
        "warmup",
        "warm-up",
        "cooldown",
        "cool-down",
        "bypass",
        "proven",
        # German, French, Spanish, Italian, Dutch.
        "ein",
        "an",
        "marche",
        "oui",
        "encendido",
        "acceso",
        "aan",
    ],
    1.0,
) | dict.fromkeys(
    [
        "off",
        "false",
        "no",
        "unocc",
        "unoccupied",
        "inactive",
        "stop",
        "stopped",
        "closed",
        "close",
        "disable",
        "disabled",
        "low",
        "standby",
        "idle",
        "night",
        "vacant",
        "shutdown",
        "unocc.",
        "setback",
        "aus",
        "arrêt",
        "arret",
        "non",
        "apagado",
        "spento",
        "uit",
    ],
    0.0,
)
_BAD_MARK = re.compile(
    r"\{[^{}]*(?:fault|stale|down|disabled|alarm|null|bad)[^{}]*\}|\((?:bad|stale|fault)[^()]*\)", re.I
)
_NUMBER = re.compile(r"\s*([-+]?(?:\d[\d.,' \u00a0\u202f]*\d|\d|[.,]\d+)(?:[eE][-+]?\d{1,3})?)\s*(.*?)\s*", re.S)
_MOST_WORDS = 8


@dataclass(slots=True)
class Words:
    """What cells held besides numbers: empty or for nothing, and words that mean no number, each counted."""

    missing: int = 0
    other: Counter = field(default_factory=Counter)
    states: Counter = field(default_factory=Counter)
    units: Counter = field(default_factory=Counter)

    def add(self, kind: Counter, word: str, count: int) -> None:
        if word in kind or len(kind) < _MOST_WORDS:
            kind[word] += count
        else:
            kind["(others)"] += count


def numbers(column: pd.Series, decimal: str, words: Words) -> np.ndarray:
    """Numbers of cells, NaN where there is none; what was no number is counted in ``words``. (n,)

    Parameters
    ----------
    column : Series
        Numbers, texts, or both.
    decimal : str
        ``.`` or ``,``.
    """
    if column.dtype.kind == "b":
        return column.to_numpy(dtype=float)
    if column.dtype.kind in "iuf":
        values = column.to_numpy(dtype=float, copy=True)
        values[np.isinf(values)] = np.nan
        words.missing += int(np.count_nonzero(np.isnan(values)))
        return values
    codes, distinct = pd.factorize(column)
    table = np.full(len(distinct) + 1, np.nan)
    counts = np.bincount(codes[codes >= 0], minlength=len(distinct))
    words.missing += int(np.count_nonzero(codes < 0))
    for place, cell in enumerate(distinct):
        table[place] = _number(cell, decimal, words, int(counts[place]))
    return table[codes]  # code -1, of nothing, is the last


def _number(cell: object, decimal: str, words: Words, count: int) -> float:
    if isinstance(cell, (bool, np.bool_)):
        return float(cell)
    if isinstance(cell, (int, float, np.integer, np.floating)):
        value = float(cell)
        if np.isfinite(value):
            return value
        words.missing += count
        return np.nan
    text = str(cell).strip()
    low = text.casefold().strip("'\"")
    if not low or low in MISSING or _BAD_MARK.search(text):
        words.missing += count
        return np.nan
    if low in STATES:
        words.add(words.states, text[:30], count)
        return STATES[low]
    match = _NUMBER.fullmatch(text)
    if match is not None and not re.match(r"[-/:]\d", match[2]):
        read = plain_number(match[1], decimal)
        if read is not None:
            if match[2]:
                words.add(words.units, match[2][:20], count)
            return read
    # Numbered states: "1: Occupied", "Occupied (1)".
    for part in re.split(r"[^a-z\-]+", low):
        if part in STATES:
            words.add(words.states, text[:30], count)
            return STATES[part]
    words.add(words.other, text[:30], count)
    return np.nan


def plain_number(text: str, decimal: str) -> float | None:
    """Number of a text with a decimal sign and signs between thousands, or None."""
    bare = re.sub(r"[' \u00a0\u202f]", "", text)
    other = "," if decimal == "." else "."
    if other in bare:
        whole = bare.split(decimal)[0]
        if not re.fullmatch(rf"[-+]?\d{{1,3}}(?:{re.escape(other)}\d{{3}})+", whole):
            # The other sign divides no thousands, so that it is the decimal one here.
            if bare.count(other) == 1 and decimal not in bare:
                bare = bare.replace(other, ".")
            else:
                return None
        else:
            bare = bare.replace(other, "")
    try:
        return float(bare.replace(",", "."))
    except ValueError:
        return None
