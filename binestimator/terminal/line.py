"""Width, numbers, marks and lines of text that every block uses."""

from __future__ import annotations

import re
import textwrap
from collections.abc import Iterator
from contextlib import contextmanager
from contextvars import ContextVar

from binestimator.inputs.schema import USUAL_CURRENCY
from binestimator.results import CHANGED_SERVICE

#: Columns of text that is not for a narrower terminal, and the fewest that text is made for.
WIDTH, LEAST_WIDTH = 100, 80
columns_now: ContextVar[int] = ContextVar("width", default=WIDTH)
#: Mark of a row, and what it says.
BASELINE, BEST, FLAGGED, CHANGED, NO_CURE = "=", "*", "!", "~", "-"


@contextmanager
def made_for(width: int) -> Iterator[None]:
    """Make text for so many columns."""
    before = columns_now.set(min(max(width, LEAST_WIDTH), WIDTH))
    try:
        yield
    finally:
        columns_now.reset(before)


def in_currency(results, blocks) -> str:
    """Blocks of lines as one text; names and headings say USD for the currency of the project."""
    text = "\n\n".join("\n".join(block) for block in blocks if block)
    currency = results.project.prices.currency
    return text if currency == USUAL_CURRENCY else re.sub(r"\bUSD\b", lambda found: currency, text)


def whole(value: float) -> str:
    """Whole number with thousands separated; never ``-0``."""
    return f"{round(value) + 0:,d}"


def tenths(value: float) -> str:
    """Number to one decimal; never ``-0.0``."""
    return f"{round(value, 1) + 0.0:.1f}"


def wrapped(text: str, first: str = "", later: str | None = None) -> list[str]:
    """Lines of a sentence behind a heading word; a word that is too long gets a line of its own."""
    return textwrap.wrap(
        text,
        columns_now.get(),
        initial_indent=first,
        subsequent_indent=" " * len(first) if later is None else later,
        break_long_words=False,
        break_on_hyphens=False,
    ) or [first.rstrip()]


def plain_ascii(text: str) -> str:
    return text.replace("±", "+/-")


def share_of(part: float, of: float) -> float:
    return part / of if of else 0.0


def mark_of(results, candidate) -> str:
    """Mark of a candidate: of another service, flagged, best, baseline, no cure of what the baseline fails in, or a
    blank."""
    if candidate.kind == CHANGED_SERVICE:
        return CHANGED
    if candidate.equal_service.flagged:
        return FLAGGED
    if results.best is not None and candidate.id == results.best.id:
        return BEST
    if candidate.id == results.baseline_id:
        return BASELINE
    return NO_CURE if candidate.rank is None else " "


def years_text(cost_usd: float, years: float | None) -> str:
    """Payback of a candidate that costs something; a dash where it never pays back."""
    if cost_usd <= 0.0:
        return ""
    return "-" if years is None else f"{years:.1f}"


def probability_text(value: float | None) -> str:
    """A probability in whole per cent; what is neither never nor always does not read as if it were."""
    if value is None:
        return "-"
    percent = 100.0 * value
    return "<1" if 0.0 < percent < 0.5 else ">99" if 99.5 <= percent < 100.0 else whole(percent)


def file_of(weather) -> str:
    """Format and name of the weather file, and where it was found if not beside the project."""
    return f"{weather.format}, {weather.file_name}" + (f" from {weather.found}" if weather.found else "")


def position_of(weather) -> str:
    north, east = weather.latitude_deg, weather.longitude_deg
    return f"{abs(north):.2f} {'N' if north >= 0 else 'S'} {abs(east):.2f} {'E' if east >= 0 else 'W'}"
