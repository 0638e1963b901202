"""Files that a user names: looked at before they are opened.

Opening a pipe waits for whoever writes into it, and some devices never end. So a file is first
looked at, opened without waiting, and looked at once more: between the two it may have been
replaced.
"""

from __future__ import annotations

import difflib
import errno
import os
import stat
from pathlib import Path

from binestimator.errors import BinestimatorError, InputError
from binestimator.inputs.problems import printable

_KINDS = (
    (stat.S_ISDIR, "a folder"),
    (stat.S_ISFIFO, "a pipe"),
    (stat.S_ISSOCK, "a socket"),
    (stat.S_ISCHR, "a device"),
    (stat.S_ISBLK, "a device"),
)
#: Largest project file or zones file. [bytes]
LARGEST_FILE = 5_000_000
_MOST_NEIGHBOURS = 2_000


def readable_file(
    path: str | Path, what: str, *, largest: int | None = None, error: type[BinestimatorError] = InputError
) -> Path:
    """Path of a regular file that can be opened for reading, without opening it.

    Parameters
    ----------
    path : str or Path
        As the user gave it; links are followed.
    what : str
        What the file is for, in messages: ``project file``, ``weather file``.
    largest : int, optional
        Largest size allowed. [bytes]
    error : type
        Class of the error.

    Returns
    -------
    Path

    Raises
    ------
    BinestimatorError
        Of the class ``error``: the file is missing, a folder, a pipe, a socket or a device, a link that leads
        nowhere or in a circle, too large, or may not be read; says which and what to do.
    """
    try:
        found = os.stat(path)
    except (OSError, ValueError) as problem:
        raise error(_not_found(path, what, problem)) from None
    unusable = _unusable(found, largest)
    if unusable:
        raise error(f"{path}: the {what} {unusable}")
    if not os.access(path, os.R_OK):
        raise error(
            f"{path}: the {what} cannot be read (Permission denied); ask its owner for permission to read it, or use "
            "a copy"
        )
    return Path(path)


def read_file(path: str | Path, what: str, *, largest: int, error: type[BinestimatorError] = InputError) -> bytes:
    """Content of a file that :func:`readable_file` accepts; never waits, never reads more than ``largest`` bytes.

    Raises
    ------
    BinestimatorError
        As :func:`readable_file`.
    """
    readable_file(path, what, largest=largest, error=error)
    try:
        # Without waiting: the name may belong to a pipe by now.
        handle = os.open(path, os.O_RDONLY | getattr(os, "O_NONBLOCK", 0) | getattr(os, "O_BINARY", 0))
        with open(handle, "rb") as file:
            problem = _unusable(os.fstat(handle), largest)
            content = b"" if problem else file.read(largest + 1)
    except (OSError, ValueError) as failure:
        raise error(
            f"{path}: the {what} cannot be read ({getattr(failure, 'strerror', None) or failure}); "
            "check the drive, or use a copy of the file"
        ) from None
    if not problem and len(content) > largest:
        problem = f"has more than {largest:,} bytes, the most allowed; check that it is the right file"
    if problem:
        raise error(f"{path}: the {what} {problem}")
    return content


_MARKS = ((b"\xff\xfe\0\0", "utf-32"), (b"\0\0\xfe\xff", "utf-32"), (b"\xff\xfe", "utf-16"), (b"\xfe\xff", "utf-16"))
_OTHER_FILES = (
    (b"PK\x03\x04", "a workbook or another packed file"),
    (b"\xd0\xcf\x11\xe0", "a document of the old office kind (such as .xls)"),
    (b"%PDF", "a PDF document"),
    (b"\x1f\x8b", "a packed file (gzip)"),
    (b"BZh", "a packed file (bzip2)"),
    (b"{\\rtf", "a document of a word processor (RTF)"),
)


def text_of(
    content: bytes, place: str, what: str, remedy: str, error: type[BinestimatorError] = InputError, other: str = ""
) -> str:
    """Text of the bytes of a file; ends of lines become ``\\n``.

    UTF-8, and UTF-16 or UTF-32 where a byte order mark says so.

    Parameters
    ----------
    place : str
        Name of the file in messages.
    what, remedy : str
        What the file is for, and what to do when it is no text at all.
    other : str
        Encoding to fall back on; none when empty.

    Raises
    ------
    BinestimatorError
        Of the class ``error``: it is not text, or not in one of these encodings.
    """
    kind = next((kind for start, kind in _OTHER_FILES if content.startswith(start)), "")
    if kind:
        raise error(f"{place}: the {what} is {kind}, not a plain text file; {remedy}")
    encoding = next((encoding for mark, encoding in _MARKS if content.startswith(mark)), "utf-8-sig")
    try:
        text = content.decode(encoding)
    except UnicodeDecodeError as problem:
        if encoding != "utf-8-sig":
            raise error(f"{place}: the {what} is not whole {encoding.upper()} text; save it as UTF-8") from None
        if other and b"\0" not in content:
            text = content.decode(other)
        else:
            start = content.rfind(b"\n", 0, problem.start) + 1
            line = printable(content[start : start + 90].partition(b"\n")[0].decode("cp1252", "replace").strip())
            number = content[: problem.start].count(b"\n") + 1
            raise error(
                f"{place}: line {number}: the {what} is not UTF-8 text; got `{line}`; save it with the encoding UTF-8 "
                "(it may be Windows-1252 or another of one byte a letter)"
            ) from None
    if "\0" in text:
        wide = any(half.count(0) > 0.6 * len(half) for half in (content[0:80:2], content[1:80:2]))
        raise error(
            f"{place}: the {what} is {'UTF-16 text without its mark' if wide else 'not a plain text file'}; "
            + ("save it with the encoding UTF-8" if wide else remedy)
        )
    return text.replace("\r\n", "\n").replace("\r", "\n")


def _unusable(found: os.stat_result, largest: int | None) -> str:
    for test, kind in _KINDS:
        if test(found.st_mode):
            return f"is {kind}, not a file; give the name of a file" + (" in it" if kind == "a folder" else "")
    if not stat.S_ISREG(found.st_mode):
        return "is not a regular file; give the name of a file"
    if largest is not None and found.st_size > largest:
        return f"has {found.st_size:,} bytes; expected at most {largest:,}; check that it is the right file"
    return ""


def _not_found(path: str | Path, what: str, problem: OSError | ValueError) -> str:
    """Why a name leads to no file, in the user's words."""
    if not isinstance(problem, OSError):  # a zero byte in the name
        return f"{str(path)!r}: the {what} cannot be read ({problem}); give a name without unprintable characters"
    at = Path(path)
    if problem.errno == errno.ELOOP:
        return f"{path}: the {what} cannot be read: links lead in a circle; give the name of the file itself"
    if problem.errno not in (errno.ENOENT, errno.ENOTDIR):
        return (
            f"{path}: the {what} cannot be read ({problem.strerror}); check the name and your permissions for its "
            "folder"
        )
    if os.path.islink(at):
        return (
            f"{path}: the {what} does not exist: the name is a link to {os.readlink(at)}, and nothing is there; give "
            "the name of a file"
        )
    for folder in reversed(at.parents):
        if not folder.exists():
            return f"{path}: the {what} does not exist: there is no folder {folder}; check the name"
        if not folder.is_dir():
            return f"{path}: the {what} does not exist: {folder} is a file, not a folder; check the name"
    return f"{path}: the {what} does not exist; {near_name(at) or 'check name and folder'}"


def near_name(path: Path) -> str:
    """``did you mean ...?`` for the file of the nearest name in the same folder, or ``""``."""
    try:
        with os.scandir(path.parent) as entries:
            names = [
                entry.name
                for entry, _ in zip(entries, range(_MOST_NEIGHBOURS))
                if entry.is_file() and not entry.name.startswith(".")
            ]
    except (OSError, ValueError):
        return ""
    folded = {name.casefold(): name for name in sorted(names)}
    near = difflib.get_close_matches(path.name.casefold(), folded, n=1, cutoff=0.75)
    return f"did you mean {folded[near[0]]}?" if near else ""


def read_text(path: Path, what: str, remedy: str) -> str:
    """Text of a file of limited size in UTF-8, with or without a byte order mark, or in UTF-16 with one.

    Parameters
    ----------
    what, remedy : str
        What the file is for, and what to do when it is no text at all.

    Raises
    ------
    InputError
        Missing, a folder or another special file, too large, not text, not readable.
    """
    return text_of(read_file(path, what, largest=LARGEST_FILE), str(path), what, remedy)
