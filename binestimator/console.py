"""What a command says, and what has become of its files."""

from __future__ import annotations

import contextlib
import os
import shutil
import sys

from binestimator.errors import BinestimatorError

#: Exit codes.
DONE, FINDINGS, BAD_INPUT, FAULT, INTERRUPTED = 0, 1, 2, 3, 130


class OutputError(BinestimatorError):
    """Standard output cannot be written."""


class Watched:
    """Files that a run is about to write: what has become of them is looked up, not remembered."""

    def __init__(self, *paths):
        from binestimator.writing import signature

        self._signature = signature
        self._before = {path: signature(path) for path in paths}

    def state(self) -> str:
        """What has become of them, in words."""
        changed = [path for path, before in self._before.items() if self._signature(path) != before]
        if not changed:
            return "nothing was written, files of earlier runs are as they were"
        if len(changed) == len(self._before):
            return "the files of this run are complete"
        return f"only these were written: {', '.join(map(str, changed))}"


def state_of_files(args) -> str:
    """What has been written so far, in words."""
    return "no file had been written yet" if args.watched is None else args.watched.state()


def columns() -> int:
    """Columns of the terminal; those of text that is not for a terminal where the output goes elsewhere."""
    from binestimator.terminal import WIDTH

    if sys.stdout is None or not sys.stdout.isatty():
        return WIDTH
    return shutil.get_terminal_size((WIDTH, 24)).columns


def progress(what: str):
    """Shows the share that is done on the error stream, where a person watches; else nothing."""
    stream = sys.stderr
    if stream is None or not stream.isatty():
        return None
    shown = [-1]

    def tell(share: float) -> None:
        percent = int(100.0 * share)
        if percent != shown[0]:
            shown[0] = percent
            stream.write(f"\r{what} {percent} %" + ("\r" + " " * (len(what) + 6) + "\r" if percent >= 100 else ""))
            stream.flush()

    return tell


def say(args, text: str | None) -> None:
    """Print, and make sure that this and what was printed before arrives."""
    try:
        if text is not None:
            print(printable_lines(text))
        sys.stdout.flush()
    except BrokenPipeError:
        raise
    except OSError as error:
        silence(sys.stdout)
        raise OutputError(
            f"standard output cannot be written ({error.strerror or error}); {state_of_files(args)}; free some space "
            "where it goes, or send it elsewhere"
        ) from error


def silence(stream) -> None:
    """Send what is left in a stream nowhere: it must not fail at exit."""
    with contextlib.suppress(OSError, ValueError):  # no stream of the system
        os.dup2(os.open(os.devnull, os.O_WRONLY), stream.fileno())


def ended(args, code: int, message: str) -> int:
    """Say how a run that failed has ended; returns its exit code."""
    if sys.stderr is None:
        return code
    try:
        if args.debug:
            import traceback

            traceback.print_exc()
        print(printable_lines(message), file=sys.stderr)
        sys.stderr.flush()
    except OSError:
        silence(sys.stderr)  # there is nowhere to print; the exit code reports it
    return code


def printable_lines(text: str) -> str:
    """Text without control characters, which files of others could bring along."""
    from binestimator.inputs.problems import printable

    return "\n".join(printable(line) for line in text.split("\n"))
