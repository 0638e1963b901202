"""Words for options, setpoints and inputs."""

from __future__ import annotations

import re

from ...results import Results
from ...strategies.registry import DSP_STRATEGIES, SAT_STRATEGIES, dsp_strategy, sat_strategy

SAT_WORDS = {strategy.name: strategy.words for strategy in SAT_STRATEGIES}
DSP_WORDS = {strategy.name: strategy.words for strategy in DSP_STRATEGIES}


def number_of(results: Results, candidate_id: str) -> int:
    """Number of a candidate as printed, from 1."""
    return next(k for k, c in enumerate(results.candidates, 1) if c.id == candidate_id)


def setpoint_words(part: str, record) -> str:
    """A strategy with its parameters in one sentence."""
    strategy = sat_strategy(record) if part == "sat" else dsp_strategy(record)
    said = strategy.say(record)
    if record.override_frac > 0.0:
        value = getattr(record, f"override_{strategy.suffix}")
        said += f"; overridden to {value:g} {strategy.shown_unit} in {100 * record.override_frac:g} % of running hours"
    return said


def with_numbers(results: Results, text: str, ids) -> str:
    """Words of a run for the summary: options by their numbers, rows by what they are."""
    for id_ in sorted(ids, key=len, reverse=True):
        text = re.sub(rf"(?<!\w){re.escape(id_)}(?!\w)", f"option {number_of(results, id_)}", text)
    return text.replace("in every row", "in every hour").replace("of each row", "of each hour")


def options(numbers: list[int]) -> str:
    """``Option 3``, ``Options 3 and 4``, ``Options 2, 3 and 7``."""
    if len(numbers) == 1:
        return f"Option {numbers[0]}"
    return f"Options {', '.join(str(n) for n in numbers[:-1])} and {numbers[-1]}"


def plain_words(text: str) -> str:
    """A sentence of the run for readers of the summary, without terms of the trade."""
    text = re.sub(r"zone degF\.h (too \w+)", r"degree-hours \1 over all zones", text)
    for term, plain in (("degF.h", "degree-hours"), ("degF", "°F")):
        text = text.replace(term, plain)
    return text
