"""One run at a time in a folder, with requests to stop held back."""

from __future__ import annotations

import contextlib
import os
import signal
import threading
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import TYPE_CHECKING

from binestimator.errors import WorkbookError

if TYPE_CHECKING:
    from types import FrameType


#: How long a run waits for another one that writes into the same folder. [s]
_LONGEST_WAIT_S = 20.0


@contextlib.contextmanager
def alone(folders: set[Path]) -> Iterator[None]:
    """Keep other runs from writing into these folders, where the system can do that."""
    try:
        import fcntl
    except ImportError:  # a system without such locks
        yield
        return
    with contextlib.ExitStack() as held:
        for folder in sorted(folders):  # in one order, so that two runs never wait for each other
            try:
                handle = os.open(folder, os.O_RDONLY)
            except OSError:
                continue  # a folder that may be written but not listed
            held.callback(os.close, handle)
            end = time.monotonic() + _LONGEST_WAIT_S
            while True:
                try:
                    fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
                    break
                except BlockingIOError:
                    if time.monotonic() > end:
                        raise WorkbookError(
                            f"{folder}: another run has been writing here for {_LONGEST_WAIT_S:g} s; run again when "
                            "it has ended"
                        ) from None
                    time.sleep(0.02)
                except OSError:
                    break  # a file system without locks
        yield


@contextlib.contextmanager
def deaf() -> Iterator[None]:
    """Hold back requests to stop until the files are in place or as they were."""
    heard: list[int] = []
    before: dict[int, Callable[[int, FrameType | None], object] | int] = {}

    def listen() -> None:
        for number, handler in before.items():
            signal.signal(number, handler)

    if threading.current_thread() is threading.main_thread():
        try:
            for name in ("SIGINT", "SIGTERM", "SIGHUP"):  # some systems do not know all of them
                number = getattr(signal, name, None)
                if number is None:
                    continue
                handler = signal.getsignal(number)
                if handler is not None and handler is not signal.SIG_IGN:
                    before[number] = handler
                    signal.signal(number, lambda number, _: heard.append(number))
        except BaseException:
            listen()
            raise
    try:
        yield
    finally:
        listen()
        if heard:
            signal.raise_signal(heard[0])
