"""What is at a name that is to be written: replaced, kept, or refused."""

from __future__ import annotations

import os
import stat
from collections.abc import Iterable
from pathlib import Path

from binestimator.dataclass import dataclass
from binestimator.errors import WorkbookError
from binestimator.seal import Mark, mark_of
from binestimator.writing.files import Manners
from binestimator.writing.refusals import current_folder_is_gone, refusal

#: Files larger than this are none of the program's. [bytes]
_LARGEST = 200_000_000


@dataclass(frozen=True, slots=True)
class Place:
    """A name to write to: the file it leads to, and what is there."""

    path: Path
    target: Path
    found: os.stat_result | None
    keeps: bool = False


def signature(path) -> tuple | None:
    """What tells one state of a file from another without reading it; ``None`` where there is no file."""
    try:
        found = os.stat(path)
    except OSError:
        return None
    return signature_of(found)


def signature_of(found: os.stat_result) -> tuple:
    """The same of what the system has said about a file."""
    return found.st_dev, found.st_ino, found.st_size, found.st_mtime_ns


def same_file(path, other) -> bool:
    """Whether two names lead to the same file: by links of either kind, by case, or by ``..``."""
    try:
        return os.path.samefile(path, other)
    except (OSError, ValueError):
        return False


def check_places(paths: Iterable, kinds: Iterable[str], manners: Manners) -> None:
    """Refuse at once what :func:`write_files` would refuse later.

    Raises
    ------
    WorkbookError
    """
    for path, kind in zip(paths, kinds, strict=True):
        judge(Path(path), kind, manners)


def judge(path: Path, kind: str, manners: Manners) -> Place:
    """What file has a name, and whether it is replaced or kept; anything else is refused."""
    for other in manners.read:
        if same_file(path, other):
            raise WorkbookError(
                f"{path}: is {_named(path, other)} that this run reads, which is never overwritten; {manners.elsewhere}"
            )
    try:
        target = Path(os.path.realpath(path))
        found = os.stat(path)
    except FileNotFoundError:
        return _new_place(path, manners)
    except (OSError, ValueError) as error:
        raise refusal(path, error, manners) from error
    if stat.S_ISDIR(found.st_mode):
        raise WorkbookError(f"{path}: is a folder where a file has to be written; move it or {manners.elsewhere}")
    if not stat.S_ISREG(found.st_mode):
        raise WorkbookError(f"{path}: is a device or a pipe, not a file; {manners.elsewhere}")
    if manners.force:
        return Place(path, target, found)
    if not found.st_mode & 0o222:
        raise WorkbookError(f"{path}: is write-protected; {manners.elsewhere}, or replace it with {manners.insist}")
    mark, found = _mark(path, found, manners)
    if mark.whole and mark.kind == kind:
        return Place(path, target, found)
    if mark.kind == kind and manners.keep:
        return Place(path, target, found, keeps=True)
    what = (
        f"is no {kind} of this program"
        if mark.kind is None
        else (
            f"is a file of another kind ({mark.kind})"
            if mark.kind != kind
            else "is not as this program wrote it: it was changed, or is of an earlier version"
        )
    )
    raise WorkbookError(
        f"{path}: already exists and {what}; move it, {manners.elsewhere}, or replace it with {manners.insist}"
    )


def _named(path: Path, other) -> str:
    return "the file" if os.path.abspath(path) == os.path.abspath(other) else f"the same file as {other}"


def _new_place(path: Path, manners: Manners) -> Place:
    try:
        target = Path(os.path.realpath(path))
        folder = os.stat(target.parent)
    except OSError as error:
        if isinstance(error, FileNotFoundError) and not current_folder_is_gone(path):
            raise WorkbookError(
                f"{path}: the folder {path.parent} does not exist; make it or {manners.elsewhere}"
                if not os.path.islink(path)
                else f"{path}: is a link to {os.readlink(path)}, whose folder does not exist; {manners.elsewhere}"
            ) from error
        raise refusal(path, error, manners) from error
    if not stat.S_ISDIR(folder.st_mode):
        raise WorkbookError(f"{path}: {path.parent} is a file, not a folder; {manners.elsewhere}")
    return Place(path, target, None)


def _mark(path: Path, found: os.stat_result, manners: Manners) -> tuple[Mark, os.stat_result]:
    if found.st_size > _LARGEST:
        return Mark(None, False), found
    try:
        handle = os.open(path, os.O_RDONLY | getattr(os, "O_NONBLOCK", 0) | getattr(os, "O_BINARY", 0))
        with open(handle, "rb") as file:
            found = os.fstat(handle)
            return mark_of(file.read(_LARGEST + 1)), found
    except OSError as error:
        raise WorkbookError(
            f"{path}: already exists and cannot be read to see whether it may be replaced "
            f"({error.strerror or error}); {manners.elsewhere}"
        ) from error
