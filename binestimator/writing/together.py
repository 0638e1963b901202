"""All files of a run take their names, or none does."""

from __future__ import annotations

import contextlib
import os
from collections.abc import Sequence
from pathlib import Path

from binestimator.errors import WorkbookError
from binestimator.writing.files import Manners, NewFile
from binestimator.writing.moves import HIDDEN_PREFIX, Move, free_number, kept_name
from binestimator.writing.places import check_places, judge, signature, signature_of
from binestimator.writing.refusals import reason, refusal
from binestimator.writing.undisturbed import alone, deaf


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
    with deaf():
        moves: list[Move] = []
        try:
            for file in files:
                moves.append(Move(file, judge(file.path, file.kind, manners)))
                moves[-1].make(manners)
            with alone({move.place.target.parent for move in moves}):
                return _move_all(moves, manners)
        finally:
            for move in moves:
                move.clean()


def _move_all(moves: list[Move], manners: Manners) -> dict[Path, Path]:
    at = moves[0]
    try:
        # Another run may have been here since.
        for move in moves:
            at = move
            move.place = judge(move.file.path, move.file.kind, manners)
        keeps = any(move.place.keeps for move in moves)
        number = free_number([move.place.target for move in moves]) if keeps else None
        for move in moves:
            at = move
            if move.place.found is not None:
                move.set_aside(number)
        for move in moves:
            at = move
            if signature(move.place.target) != (None if move.place.found is None else signature_of(move.place.found)):
                raise WorkbookError(f"{move.file.path}: was changed while this run was about to write it; run again")
            assert move.made is not None, "all files are made before the first is moved"
            os.replace(move.made, move.place.target)
    except BaseException as error:
        left = _put_all_back(moves)
        if left:
            raise WorkbookError(
                f"{at.file.path}: cannot be written ({reason(error)}), and not all could be put back: {'; '.join(left)}"
            ) from error
        if isinstance(error, OSError):
            raise refusal(at.file.path, error, manners, replaces=at.place.found is not None) from error
        raise
    return {
        move.file.path: move.file.path.with_name(move.kept.name)
        if move.file.path.parent.resolve() == move.kept.parent
        else move.kept
        for move in moves
        if move.kept is not None
    }


def _put_all_back(moves: list[Move]) -> list[str]:
    """Put back what was moved; what could not be, in words."""
    left = []
    for move in reversed(moves):
        try:
            move.put_back()
        except OSError as error:
            if not move.has_moved():
                continue  # the old file is in its place; only its second name could not be removed
            if move.old is None:
                left.append(f"{move.file.path} is new and should be deleted ({reason(error)})")
            else:
                move.kept = Path(move.old)  # not to be cleaned up
                left.append(
                    f"{move.file.path} is new, its earlier content is in {_out_of_hiding(move)} ({reason(error)})"
                )
    return left


def _out_of_hiding(move: Move) -> str:
    """The old file under a name that can be seen, if that can be had."""
    assert move.old is not None, "called for a file that was set aside"
    if Path(move.old).name.startswith(HIDDEN_PREFIX):
        seen = kept_name(move.place.target, free_number([move.place.target]))
        with contextlib.suppress(OSError):
            os.rename(move.old, seen)
            move.old, move.kept = str(seen), seen
    return move.old
