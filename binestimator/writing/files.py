"""Files to write, and how to treat existing ones."""

from __future__ import annotations

from pathlib import Path

from binestimator.dataclass import dataclass


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
