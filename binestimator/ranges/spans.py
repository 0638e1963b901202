"""Draws in spans that are worked on one after the other, or side by side by copies of the process."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import TypeVar

from ..parallel import copies_at_once, in_order, shared_numbers

Result = TypeVar("Result")


def even_spans(count: int, most: int) -> list[slice]:
    """Spans of nearly equal length that hold so many at most, or a sixteenth more: the run itself, which goes with a
    power of two of draws, is not evaluated alone, which takes the calls of many draws."""
    spans = -(-count // (most + most // 16))
    ends = [count * k // max(spans, 1) for k in range(spans + 1)]
    return [slice(first, last) for first, last in zip(ends, ends[1:], strict=False)]


def told_in_order(
    work: Callable[[slice], Result], spans: Sequence[slice], progress: Callable[[float], None] | None
) -> list[Result]:
    """``work`` of each span of draws in order, by copies of the process where it may copy itself; ``progress`` is told
    the share of the draws that are done."""
    done, count = shared_numbers(len(spans)), max((span.stop for span in spans), default=1)

    def told(place: int) -> Result:
        found = work(spans[place])
        done[place] = spans[place].stop - spans[place].start
        if progress is not None:
            progress(sum(done) / count)
        return found

    return in_order(told, range(len(spans)), copies_at_once())
