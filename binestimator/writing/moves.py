"""One file on its way to its name, and back."""

from __future__ import annotations

import contextlib
import os
import shutil
import stat
import tempfile
from pathlib import Path

from binestimator.writing.files import Manners, NewFile
from binestimator.writing.places import Place
from binestimator.writing.refusals import folder_refusal

#: Beginning of the hidden names under which files are made.
HIDDEN_PREFIX = ".binestimator-"


class Move:
    """One file on its way to its name."""

    def __init__(self, file: NewFile, place: Place):
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
            raise folder_refusal(self.file.path, error, manners) from error

    def set_aside(self, number: int | None) -> None:
        """A second name for the old file: ``<stem>_kept_<number>`` where it is to stay, else a hidden one."""
        target, found = self.place.target, self.place.found
        assert found is not None, "only a file that was found is set aside"
        if number is not None:
            self.kept = kept_name(target, number)
            self.old = str(self.kept)
            second_name(target, self.old, found)
        else:
            handle, self.old = tempfile.mkstemp(dir=target.parent, prefix=HIDDEN_PREFIX, suffix=".old")
            os.close(handle)
            os.unlink(self.old)
            second_name(target, self.old, found)

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


def kept_name(path: Path, number: int) -> Path:
    """Name under which a file is kept: ``<stem>_kept_<number>`` with its ending."""
    return path.with_name(f"{path.stem}_kept_{number}{path.suffix}")


def free_number(targets: list[Path]) -> int:
    """Least number from 1 on with which no kept name of these is taken."""
    number = 1
    while any(os.path.lexists(kept_name(target, number)) for target in targets):
        number += 1
    return number


def second_name(target: Path, name: str, found: os.stat_result) -> None:
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
