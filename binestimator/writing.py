"""Files are written all or none, and nobody's work is overwritten.

All files of a run are first made whole under hidden names beside their places. Then, one run at
a time in a folder and with interruptions held back for these milliseconds, they take their names; if one
cannot, those before it are put back from what was set aside.

A file that already has a name is replaced when it is, byte for byte, what the program wrote (see
:mod:`binestimator.seal`): it can be made again. Anything else may hold somebody's work:

- a workbook or results file of the program that was changed, or has no seal yet (earlier versions), is kept under
  another name if the caller allows that, and refused if not;
- any other file, and one that is write-protected, is refused unless the caller insists;
- a file that was read in this run is refused always.

A symbolic link stays: the file it leads to is replaced. Permissions, and the owner where that is allowed, are
those of the file that is replaced. Of hard links only the name written to gets the new file; other names keep the old
one.
"""

from __future__ import annotations

import contextlib
import errno
import os
import shutil
import signal
import stat
import tempfile
import threading
import time
from collections.abc import Callable, Iterable, Iterator, Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from binestimator.dataclass import dataclass
from binestimator.errors import WorkbookError
from binestimator.seal import Mark, mark_of

if TYPE_CHECKING:
    from types import FrameType

#: Beginning of the hidden names under which files are made.
HIDDEN_PREFIX = ".binestimator-"
#: Files larger than this are none of the program's. [bytes]
_LARGEST = 200_000_000
#: How long a run waits for another one that writes into the same folder. [s]
_LONGEST_WAIT_S = 20.0


@dataclass(frozen=True, slots=True)
class NewFile:
    """A file to write.

    Parameters
    ----------
    path : Path
    content : bytes
        With its seal.
    kind : str
        Kind of file as in :mod:`binestimator.seal`: a file of another kind is not replaced.
    """

    path: Path
    content: bytes
    kind: str


@dataclass(frozen=True, slots=True)
class Manners:
    """How to treat existing files.

    Parameters
    ----------
    read : tuple of path
        Files that were read in this run, which are never overwritten.
    keep : bool
        Keep files of the program that are not as it wrote them under another name.
    force : bool
        Replace what would be kept or refused.
    elsewhere : str
        How a user names another place, for messages.
    insist : str
        How a user insists.
    """

    read: tuple = ()
    keep: bool = False
    force: bool = False
    elsewhere: str = "give another name"
    insist: str = "force=True"


# ---------------------------------------------------------------- what is there


@dataclass(frozen=True, slots=True)
class _Place:
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
    return _signature(found)


def _signature(found: os.stat_result) -> tuple:
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
        _judge(Path(path), kind, manners)


def _judge(path: Path, kind: str, manners: Manners) -> _Place:
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
        raise _refusal(path, error, manners) from error
    if stat.S_ISDIR(found.st_mode):
        raise WorkbookError(f"{path}: is a folder where a file has to be written; move it or {manners.elsewhere}")
    if not stat.S_ISREG(found.st_mode):
        raise WorkbookError(f"{path}: is a device or a pipe, not a file; {manners.elsewhere}")
    if manners.force:
        return _Place(path, target, found)
    if not found.st_mode & 0o222:
        raise WorkbookError(f"{path}: is write-protected; {manners.elsewhere}, or replace it with {manners.insist}")
    mark, found = _mark(path, found, manners)
    if mark.whole and mark.kind == kind:
        return _Place(path, target, found)
    if mark.kind == kind and manners.keep:
        return _Place(path, target, found, keeps=True)
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


def _new_place(path: Path, manners: Manners) -> _Place:
    try:
        target = Path(os.path.realpath(path))
        folder = os.stat(target.parent)
    except OSError as error:
        if isinstance(error, FileNotFoundError) and not _current_folder_is_gone(path):
            raise WorkbookError(
                f"{path}: the folder {path.parent} does not exist; make it or {manners.elsewhere}"
                if not os.path.islink(path)
                else f"{path}: is a link to {os.readlink(path)}, whose folder does not exist; {manners.elsewhere}"
            ) from error
        raise _refusal(path, error, manners) from error
    if not stat.S_ISDIR(folder.st_mode):
        raise WorkbookError(f"{path}: {path.parent} is a file, not a folder; {manners.elsewhere}")
    return _Place(path, target, None)


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


# ---------------------------------------------------------------- writing


def write_files(files: Sequence[NewFile], manners: Manners = Manners()) -> dict[Path, Path]:
    """Write files, all or none.

    Parameters
    ----------
    files : sequence of NewFile
    manners : Manners

    Returns
    -------
    dict
        Of each file that was kept: its name -> the name it has now. If one of the
        files is kept, those of the others that already exist are kept with it.

    Raises
    ------
    WorkbookError
        One of the places cannot be written or must not be; then all are as they were, or the
        message says what is where.
    """
    kinds = [file.kind for file in files]
    check_places([file.path for file in files], kinds, manners)
    with _deaf():
        moves: list[_Move] = []
        try:
            for file in files:
                moves.append(_Move(file, _judge(file.path, file.kind, manners)))
                moves[-1].make(manners)
            with _alone({move.place.target.parent for move in moves}):
                return _move_all(moves, manners)
        finally:
            for move in moves:
                move.clean()


class _Move:
    """One file on its way to its name."""

    def __init__(self, file: NewFile, place: _Place):
        self.file, self.place = file, place
        self.made: str | None = None  # hidden name of the new file
        self.identity: tuple | None = None  # of the new file, wherever it is
        self.old: str | None = None  # where the old file is set aside
        self.kept: Path | None = None  # the same, when it stays there

    def make(self, manners: Manners) -> None:
        """Write the new file under a hidden name beside its place."""
        try:
            handle, self.made = tempfile.mkstemp(dir=self.place.target.parent, prefix=HIDDEN_PREFIX, suffix=".part")
            with open(handle, "wb") as stream:
                stream.write(self.file.content)
                stream.flush()
                os.fsync(stream.fileno())
            _dress(self.made, self.place.target, self.place.found)
            found = os.stat(self.made)
            self.identity = found.st_dev, found.st_ino
        except OSError as error:
            raise _folder_refusal(self.file.path, error, manners) from error

    def set_aside(self, number: int | None) -> None:
        """A second name for the old file: ``<stem>_kept_<number>`` where it is to stay, else a hidden one."""
        target, found = self.place.target, self.place.found
        assert found is not None, "only a file that was found is set aside"
        if number is not None:
            self.kept = kept_name(target, number)
            self.old = str(self.kept)
            _second_name(target, self.old, found)
        else:
            handle, self.old = tempfile.mkstemp(dir=target.parent, prefix=HIDDEN_PREFIX, suffix=".old")
            os.close(handle)
            os.unlink(self.old)
            _second_name(target, self.old, found)

    def has_moved(self) -> bool:
        """Whether the new file has its name: seen there, whatever was reported."""
        try:
            found = os.lstat(self.place.target)
        except OSError:
            return False
        return (found.st_dev, found.st_ino) == self.identity

    def put_back(self) -> None:
        if self.has_moved():
            if self.old is None:
                os.unlink(self.place.target)
            else:
                os.replace(self.old, self.place.target)
                self.old = self.kept = None
        elif self.old is not None:
            os.unlink(self.old)
            self.old = self.kept = None

    def clean(self) -> None:
        """Remove hidden files; what made writing fail can make this fail too, and the first error is the one to
        tell."""
        for name in (self.made, None if self.kept is not None else self.old):
            if name is not None:
                with contextlib.suppress(OSError):
                    os.unlink(name)


def _move_all(moves: list[_Move], manners: Manners) -> dict[Path, Path]:
    at = moves[0]
    try:
        # Another run may have been here since.
        for move in moves:
            at = move
            move.place = _judge(move.file.path, move.file.kind, manners)
        keeps = any(move.place.keeps for move in moves)
        number = _free_number([move.place.target for move in moves]) if keeps else None
        for move in moves:
            at = move
            if move.place.found is not None:
                move.set_aside(number)
        for move in moves:
            at = move
            if signature(move.place.target) != (None if move.place.found is None else _signature(move.place.found)):
                raise WorkbookError(f"{move.file.path}: was changed while this run was about to write it; run again")
            assert move.made is not None, "all files are made before the first is moved"
            os.replace(move.made, move.place.target)
    except BaseException as error:
        left = _put_all_back(moves)
        if left:
            raise WorkbookError(
                f"{at.file.path}: cannot be written ({_reason(error)}), and not all could be put back: "
                f"{'; '.join(left)}"
            ) from error
        if isinstance(error, OSError):
            raise _refusal(at.file.path, error, manners, replaces=at.place.found is not None) from error
        raise
    return {
        move.file.path: move.file.path.with_name(move.kept.name)
        if move.file.path.parent.resolve() == move.kept.parent
        else move.kept
        for move in moves
        if move.kept is not None
    }


def _put_all_back(moves: list[_Move]) -> list[str]:
    """Put back what was moved; what could not be, in words."""
    left = []
    for move in reversed(moves):
        try:
            move.put_back()
        except OSError as error:
            if not move.has_moved():
                continue  # the old file is in its place; only its second name could not be removed
            if move.old is None:
                left.append(f"{move.file.path} is new and should be deleted ({_reason(error)})")
            else:
                move.kept = Path(move.old)  # not to be cleaned up
                left.append(
                    f"{move.file.path} is new, its earlier content is in {_out_of_hiding(move)} ({_reason(error)})"
                )
    return left


def _out_of_hiding(move: _Move) -> str:
    """The old file under a name that can be seen, if that can be had."""
    assert move.old is not None, "called for a file that was set aside"
    if Path(move.old).name.startswith(HIDDEN_PREFIX):
        seen = kept_name(move.place.target, _free_number([move.place.target]))
        with contextlib.suppress(OSError):
            os.rename(move.old, seen)
            move.old, move.kept = str(seen), seen
    return move.old


def kept_name(path: Path, number: int) -> Path:
    """Name under which a file is kept: ``<stem>_kept_<number>`` with its ending."""
    return path.with_name(f"{path.stem}_kept_{number}{path.suffix}")


def _free_number(targets: list[Path]) -> int:
    """Least number from 1 on with which no kept name of these is taken."""
    number = 1
    while any(os.path.lexists(kept_name(target, number)) for target in targets):
        number += 1
    return number


def _second_name(target: Path, name: str, found: os.stat_result) -> None:
    """A second name for a file that must not exist yet: the file itself, or a copy where links cannot be made.

    A file of somebody else is copied: in a folder where only owners may delete, a further name of it
    could not be removed again.
    """
    mine = not hasattr(os, "geteuid") or os.geteuid() in (0, found.st_uid)
    if mine:
        try:
            os.link(target, name)
            return
        except FileExistsError:
            raise
        except OSError:
            pass  # the file system knows no links, or the file is locked
    handle = os.open(name, os.O_WRONLY | os.O_CREAT | os.O_EXCL | getattr(os, "O_BINARY", 0), 0o600)
    try:
        with open(handle, "wb") as copy, open(target, "rb") as file:
            shutil.copyfileobj(file, copy)
            copy.flush()
            os.fsync(copy.fileno())
        with contextlib.suppress(OSError):
            shutil.copystat(target, name)
    except BaseException:
        os.unlink(name)
        raise


def _dress(made: str, target: Path, like: os.stat_result | None) -> None:
    """Permissions and owner of the file that is replaced, or those of a new file."""
    if like is None:
        mask = os.umask(0)
        os.umask(mask)
        os.chmod(made, 0o666 & ~mask)
        return
    if hasattr(os, "chown"):
        own = os.stat(made)
        if (own.st_uid, own.st_gid) != (like.st_uid, like.st_gid):
            try:
                os.chown(made, like.st_uid, like.st_gid)
            except OSError:
                # Only some may give files away; a group one belongs to can be kept.
                with contextlib.suppress(OSError):
                    os.chown(made, -1, like.st_gid)
    os.chmod(made, stat.S_IMODE(like.st_mode))
    with contextlib.suppress(OSError, AttributeError):  # lists of further permissions are not known everywhere
        for name in os.listxattr(target):
            if name.startswith("system.posix_acl_"):
                os.setxattr(made, name, os.getxattr(target, name))


# ---------------------------------------------------------------- one at a time, undisturbed


@contextlib.contextmanager
def _alone(folders: set[Path]) -> Iterator[None]:
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
def _deaf() -> Iterator[None]:
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


# ---------------------------------------------------------------- what went wrong

_FULL = (errno.ENOSPC, getattr(errno, "EDQUOT", errno.ENOSPC))


def _reason(error: BaseException) -> str:
    return getattr(error, "strerror", None) or str(error) or type(error).__name__


def _current_folder_is_gone(path) -> bool:
    """Whether a relative name leads nowhere because the current folder was deleted."""
    if os.path.isabs(path):
        return False
    try:
        os.getcwd()
    except OSError:
        return True
    return False


def remedy(error: OSError, elsewhere: str) -> str:
    """What a user can do about an error of the system, or ``""`` if the number says nothing."""
    if error.errno in _FULL:
        return f"free some space, or {elsewhere}"
    if error.errno == errno.EROFS:
        return f"the drive can only be read; {elsewhere}"
    if error.errno == errno.EFBIG:
        return f"a limit on the size of files is set here; lift it, or {elsewhere}"
    if error.errno == errno.ENAMETOOLONG:
        return "give a shorter name"
    if error.errno == errno.ELOOP:
        return f"links lead in a circle; {elsewhere}"
    if error.errno in (errno.EIO, errno.ENXIO, errno.ENODEV, getattr(errno, "ESTALE", errno.EIO)):
        return f"check the drive, or {elsewhere}"
    if error.errno in (errno.EMFILE, errno.ENFILE):
        return "too many files are open; close other programs and run again"
    return ""


def _refusal(path, error: OSError | ValueError, manners: Manners, *, replaces: bool = False) -> WorkbookError:
    """A place that cannot be written."""
    if _current_folder_is_gone(path):
        return WorkbookError(
            f"{path}: the current folder no longer exists; change to another one (cd), or give a full path"
        )
    do = (
        remedy(error, manners.elsewhere)
        if isinstance(error, OSError)
        else f"the name has unprintable characters; {manners.elsewhere}"
    )
    if (
        not do
        and replaces
        and isinstance(error, OSError)
        and error.errno in (errno.EPERM, errno.EACCES, errno.EBUSY, errno.ETXTBSY)
    ):
        do = (
            "it belongs to somebody else, is locked, or is open in another program; close or unlock it, or "
            f"{manners.elsewhere}"
        )
    verb = "replaced" if replaces else "written"
    return WorkbookError(
        f"{path}: cannot be {verb} ({_reason(error)}); {do or f'check its permissions, or {manners.elsewhere}'}"
    )


def _folder_refusal(path: Path, error: OSError, manners: Manners) -> WorkbookError:
    """A folder in which no file can be made."""
    do = remedy(error, manners.elsewhere)
    if do or _current_folder_is_gone(path):
        return _refusal(path, error, manners)
    return WorkbookError(
        f"{path}: cannot be written: no file can be made in the folder {path.parent} ({_reason(error)}); "
        f"check its permissions, or {manners.elsewhere}"
    )
