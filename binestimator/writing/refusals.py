"""What went wrong, and what a user can do about it: messages for places that cannot be written."""

from __future__ import annotations

import errno
import os
from pathlib import Path

from binestimator.errors import WorkbookError
from binestimator.writing.files import Manners

_FULL = (errno.ENOSPC, getattr(errno, "EDQUOT", errno.ENOSPC))


def reason(error: BaseException) -> str:
    """What an error says, in a word or two."""
    return getattr(error, "strerror", None) or str(error) or type(error).__name__


def current_folder_is_gone(path) -> bool:
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


def refusal(path, error: OSError | ValueError, manners: Manners, *, replaces: bool = False) -> WorkbookError:
    """A place that cannot be written."""
    if current_folder_is_gone(path):
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
        f"{path}: cannot be {verb} ({reason(error)}); {do or f'check its permissions, or {manners.elsewhere}'}"
    )


def folder_refusal(path: Path, error: OSError, manners: Manners) -> WorkbookError:
    """A folder in which no file can be made."""
    do = remedy(error, manners.elsewhere)
    if do or current_folder_is_gone(path):
        return refusal(path, error, manners)
    return WorkbookError(
        f"{path}: cannot be written: no file can be made in the folder {path.parent} ({reason(error)}); "
        f"check its permissions, or {manners.elsewhere}"
    )
