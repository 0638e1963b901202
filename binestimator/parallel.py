"""Work side by side, with results in order: in copies of this process where that is allowed, else on threads.

numpy lets other threads go on while it works on long arrays, but most of an estimate is the interpreter itself, which
runs one thread at a time. Copies of the process (fork) run at the same time whatever they do. They begin with all that
this process knows, cost some hundredths of a second, and send back what they found. Only a process that is the
program alone may copy itself: the command line allows it (:func:`allow_copies`), on Linux. What was found is the same
to the last digit either way.
"""

from __future__ import annotations

import contextlib
import itertools
import mmap
import os
import pickle
import signal
import struct
import threading
from collections.abc import Callable, Iterable
from typing import Generic, TypeVar

Item = TypeVar("Item")
Result = TypeVar("Result")

#: Threads that work side by side at most: they gain little, since much of the work holds the interpreter.
MOST_THREADS = 2
#: Processes that work side by side at most, this one among them: each keeps arrays of its own.
MOST_PROCESSES = 4
#: Largest array that each of several may work on, in numbers: some twenty of them are alive at a time.
MOST_NUMBERS = 1_500_000
#: Numbers of items that fit into a pipe, which is how processes take them in turns.
_MOST_ITEMS = 4096

#: Signals that ask a process to end.
_INTERRUPTIONS = tuple(getattr(signal, name) for name in ("SIGINT", "SIGTERM", "SIGHUP") if hasattr(signal, name))

_copies_allowed = False
#: Copies that are at work now.
_at_work = 0


def allow_copies() -> None:
    """From here on this process may copy itself for work; where the system cannot, nothing changes."""
    global _copies_allowed
    _copies_allowed = hasattr(os, "fork") and hasattr(os, "memfd_create")


def cores() -> int:
    """Processors that this process may use."""
    return len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count() or 1


def at_once(numbers: int = 0) -> int:
    """How many may work side by side, this one among them, on arrays of so many numbers each: memory goes before
    time."""
    if numbers > MOST_NUMBERS:
        return 1
    return min(MOST_PROCESSES if _copies_allowed else MOST_THREADS, cores())


def copies_at_once() -> int:
    """How many copies of this process may work side by side, this one among them, on what threads gain nothing for:
    much interpreter and short arrays."""
    return at_once() if _copies_allowed else 1


def in_order(work: Callable[[Item], Result], items: Iterable[Item], at_once: int) -> list[Result]:
    """``work`` of each item, in the order of the items.

    Parameters
    ----------
    work : callable
        Must not depend on what it did with other items, nor change anything that is used later; what it gives must
        bear pickling.
    at_once : int
        At most so many are worked on side by side.

    Raises
    ------
    Exception
        That of the first item that fails; few later ones are then begun.
    """
    waiting = list(items)
    count = min(len(waiting), at_once)
    if count < 2:
        return [work(item) for item in waiting]
    if _copies_allowed:
        # Others are at work already, or threads that a copy would lack: one after the other.
        copies = min(count - 1, cores() - 1 - _at_work) if _may_copy() and len(waiting) <= _MOST_ITEMS else 0
        return _by_copies(work, waiting, copies) if copies > 0 else [work(item) for item in waiting]
    return _by_threads(work, waiting, min(count, MOST_THREADS))


class Beside(Generic[Result]):
    """Work that a copy of this process does while this one goes on.

    Used as a context: leaving it ends the copy if nobody asked for the answer. Where no copy can be made, or it comes
    to no answer, :meth:`answer` does the work itself, so that its errors are raised there.
    """

    def __init__(self, work: Callable[[], Result]) -> None:
        self._work = work
        self._copy: _Copy | None = None

    def __enter__(self) -> Beside[Result]:
        if _copies_allowed and _may_copy() and cores() - 1 > _at_work:
            _give_back_memory()
            try:
                _Copy.start(self._work, self._kept)
            except BaseException:  # an interruption: who is not entered is not left either
                self.__exit__()
                raise
        return self

    def _kept(self, copy: _Copy) -> None:
        self._copy = copy

    def __exit__(self, *_) -> None:
        if self._copy is not None:
            self._copy.end()
            self._copy = None

    def answer(self) -> Result:
        """What the work gave; it is waited for."""
        copy, self._copy = self._copy, None
        found = None if copy is None else copy.answer()
        return self._work() if found is None else found[0]


def shared_numbers(count: int) -> memoryview[float]:
    """Zeros that copies of this process write into as well. (count,)"""
    return memoryview(mmap.mmap(-1, 8 * max(count, 1))).cast("d")[:count]


def _give_back_memory() -> None:
    """Memory that is free in this process back to the system: both would keep it, and use it for things of their
    own."""
    import ctypes  # here, since it is of use only where copies are made

    with contextlib.suppress(OSError, AttributeError):  # another library of the system
        ctypes.CDLL(None).malloc_trim(0)


def _may_copy() -> bool:
    """A copy has only the thread that made it: what others held would stay locked in it."""
    return threading.active_count() == 1


class _Copy:
    """A copy of this process at work, and the file in memory that its answer comes in."""

    def __init__(self, process: int, file: int) -> None:
        global _at_work
        self._process, self._file = process, file
        _at_work += 1

    @classmethod
    def start(cls, work: Callable[[], object], keep: Callable[[_Copy], object]) -> None:
        """Give ``keep`` a copy that does the work, or nothing where the system has no room for one."""
        try:
            file = os.memfd_create("binestimator")
        except OSError:
            return
        # An interruption waits until it is known who is to be ended.
        before = signal.pthread_sigmask(signal.SIG_BLOCK, _INTERRUPTIONS)
        try:
            process = os.fork()
            if process == 0:
                _in_copy(work, file, before)
            keep(cls(process, file))
        except OSError:
            os.close(file)
        finally:
            signal.pthread_sigmask(signal.SIG_SETMASK, before)

    def answer(self) -> tuple | None:
        """What the work gave, alone in a tuple; None where it failed."""
        try:
            status = os.waitpid(self._process, 0)[1]
        except BaseException:  # an interruption: whoever handles it must not leave a copy at work
            self.end()
            raise
        self._gone()
        try:
            if os.waitstatus_to_exitcode(status) != 0:
                return None
            os.lseek(self._file, 0, os.SEEK_SET)
            with open(self._file, "rb", closefd=False) as file:
                return (pickle.load(file),)
        finally:
            os.close(self._file)

    def end(self) -> None:
        """End it, whatever it is doing."""
        with contextlib.suppress(ProcessLookupError, ChildProcessError):  # it had ended, and was waited for
            os.kill(self._process, signal.SIGKILL)
            os.waitpid(self._process, 0)
        self._gone()
        os.close(self._file)

    @staticmethod
    def _gone() -> None:
        global _at_work
        _at_work -= 1


def _in_copy(work: Callable[[], object], file: int, signals) -> None:
    """All that a copy does. It never returns, and says nothing: this process does again what failed."""
    global _copies_allowed
    code = 1
    try:
        _copies_allowed = False
        for number in _INTERRUPTIONS:
            if signal.getsignal(number) is not signal.SIG_IGN:
                signal.signal(number, signal.SIG_DFL)
        signal.pthread_sigmask(signal.SIG_SETMASK, signals)
        with open(file, "wb", closefd=False) as out:
            pickle.dump(work(), out, protocol=pickle.HIGHEST_PROTOCOL)
        code = 0
    finally:
        os._exit(code)


def _by_copies(work: Callable[[Item], Result], waiting: list[Item], copies: int) -> list[Result]:
    """:func:`in_order` by this process and copies of it, each of which takes the next item when it is free."""
    reading, writing = os.pipe()
    started: list[_Copy] = []
    found: dict[int, Result] = {}
    try:
        os.write(writing, b"".join(struct.pack("<I", place) for place in range(len(waiting))))
        os.close(writing)

        def take(results: dict[int, Result]) -> dict[int, Result]:
            while number := os.read(reading, 4):
                place = struct.unpack("<I", number)[0]
                try:
                    results[place] = work(waiting[place])
                except Exception:  # noqa: BLE001 - raised again below, where the first that fails is known
                    while os.read(reading, 4096):
                        pass
            return results

        for _ in range(copies):
            _Copy.start(lambda: take({}), started.append)
        take(found)
        while started:
            found |= (started.pop().answer() or ({},))[0]
    finally:
        os.close(reading)
        for copy in started:
            copy.end()
    return [found[place] if place in found else work(waiting[place]) for place in range(len(waiting))]


def _by_threads(work: Callable[[Item], Result], waiting: list[Item], count: int) -> list[Result]:
    """:func:`in_order` on threads."""
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
