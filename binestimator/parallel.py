"""Work on two threads, with results in order.

numpy lets other threads go on while it works on long arrays, so that evaluations of thousands of rows run side by side
on two cores. Short arrays gain nothing: what they take is the interpreter itself, which runs one thread at a time.
"""

from __future__ import annotations

import itertools
import os
import threading
from collections.abc import Callable, Iterable
from typing import TypeVar

Item = TypeVar("Item")
Result = TypeVar("Result")

#: More gain little, since half of the work holds the interpreter, and each keeps arrays of its own.
MOST_THREADS = 2


#: Largest array that each of several threads may work on, in numbers: some twenty of them are alive at a time.
MOST_NUMBERS = 1_500_000


def cores() -> int:
    """Processors that this process may use."""
    return len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count() or 1


def threads_for(numbers: int) -> int:
    """Threads for work on arrays of so many numbers each: memory goes before time."""
    return min(MOST_THREADS, cores()) if numbers <= MOST_NUMBERS else 1


def in_order(work: Callable[[Item], Result], items: Iterable[Item], threads: int) -> list[Result]:
    """``work`` of each item, in the order of the items.

    Parameters
    ----------
    work : callable
        Must not depend on what it did with other items.
    threads : int
        At most so many.

    Raises
    ------
    Exception
        That of the first item that fails; later ones are then not begun.
    """
    waiting = list(items)
    count = min(len(waiting), threads)
    if count < 2:
        return [work(item) for item in waiting]
    results: dict[int, Result] = {}
    faults: dict[int, BaseException] = {}
    places = itertools.count()

    ended = threading.Event()

    def run() -> None:
        while not ended.is_set() and (place := next(places)) < len(waiting):
            try:
                results[place] = work(waiting[place])
            except BaseException as fault:  # noqa: BLE001 - raised again below
                faults[place] = fault
                ended.set()

    helpers = [threading.Thread(target=run, name="binestimator-rows", daemon=True) for _ in range(count - 1)]
    for helper in helpers:
        helper.start()
    try:
        run()
    finally:
        # All items are begun by now; an interruption reaches the main thread alone.
        ended.set()
        for helper in helpers:
            helper.join()
    if faults:
        raise faults[min(faults)]
    return [results[place] for place in range(len(waiting))]
