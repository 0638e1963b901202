"""Below the comparison: why options are not ranked, units, and where the lines for reviews begin."""

from __future__ import annotations

from ....results import CHANGED_SERVICE
from ...figures import (
    options,
    plain_words,
    what_moves,
)
from ...page import Work, height_of, lines_of
from ...strict import Sheet
from .columns import columns_of
from .places import FIRST_ROW

# Reasons of options that serve worse, each on a line of its own.
_MOST_REASONS = 3
# What the units are, for readers who do not live with them.
_UNIT_WORDS = {
    "kWh": "kWh: kilowatt-hours of electricity",
    "therm": "therm: 100,000 Btu of fuel",
    "kBtu": "kBtu: 1,000 Btu of heat",
}


def remark_texts(results) -> list[str]:
    """What is below the table: why options are not ranked, what the limit is, units."""
    reasons: dict[tuple[str, str], list[int]] = {}
    for number, c in enumerate(results.candidates, 1):
        if c.equal_service.flagged:
            head = "changes the service" if c.kind == CHANGED_SERVICE else "serves the rooms worse"
            reasons.setdefault((head, "; ".join(plain_words(reason) for reason in c.equal_service.reasons)), []).append(
                number
            )
    several = {"changes the service": "change the service", "serves the rooms worse": "serve the rooms worse"}
    texts = [
        f"▲ {options(numbers)} {'is' if len(numbers) == 1 else 'are'} not ranked, as "
        f"{f'it {head}' if len(numbers) == 1 else f'they {several[head]}'}: {text}."
        for (head, text), numbers in reasons.items()
    ]
    if len(texts) > _MOST_REASONS:
        # One paragraph, so that the page stays readable however many options there are.
        both = " or ".join(several[head] for head in several if any(head == h for h, _ in reasons))
        texts = [
            f"▲ Not ranked, as they {both}: "
            + "  ·  ".join(f"{options(numbers).lower()}: {text}" for (_, text), numbers in reasons.items())
            + "."
        ]
    without = [k for k, c in enumerate(results.candidates, 1) if c.rank is None and not c.equal_service.flagged]
    if without and results.baseline_service.open:
        texts.append(
            f"▲ {options(without)}: not ranked, as what the baseline fails in is not cured "
            f"({', '.join(results.baseline_service.open).replace('_', ' ')})."
        )
    moves = what_moves(results)
    shown = {unit for _, _, unit, _ in columns_of(results)}
    units = [unit for unit in _UNIT_WORDS if unit in shown or f" {unit}" in moves]
    texts.append(
        "  ·  ".join(
            [
                "Rounded; in full on “Options in figures”",
                *(_UNIT_WORDS[unit] for unit in units),
                *(["cooling: with pumps and tower"] if any("+" in key for key, *_ in columns_of(results)) else []),
                *(
                    ["8 of 10 draws: from P10 to P90 of the saving, values of the run"]
                    if results.ranges is not None
                    else []
                ),
                "payback is simple, not discounted"
                + (", after the incentive" if any(key == "payback_after" for key, *_ in columns_of(results)) else ""),
            ]
        )
        + "."
    )
    return texts


def write_remarks(work: Work, sheet: Sheet, last: int, width: float) -> None:
    """The texts below the table."""
    for row, text in enumerate(remark_texts(work.results), FIRST_ROW + len(work.results.candidates) + 1):
        sheet.merged_text(row, 0, row, last, text, work.styles("wrap", "quiet"))
        sheet.height(row, height_of(lines_of(text, width, 9.0), 9.0) - 1)


def review_row(results) -> int:
    """First of the lines for reviews: claimed, as reviewed, ratio."""
    return FIRST_ROW + len(results.candidates) + 1 + len(remark_texts(results))
