"""``binestimator form``: an input form, empty or filled."""

from __future__ import annotations

import os
from pathlib import Path

from binestimator.console import Watched, say
from binestimator.errors import InputError


def run_form(args) -> None:
    """Write an input form, empty or filled."""
    from binestimator.seal import FORM
    from binestimator.steps import files_read, read_any, trail_of
    from binestimator.writing import Manners, check_places

    out = Path(args.out)
    if out.suffix.casefold() != ".xlsx":
        raise InputError(f"{out}: a form is a workbook; give it a name that ends in .xlsx")
    project = trail = None
    read: tuple[Path, ...] = ()
    if args.source is not None:
        if os.path.realpath(out) == os.path.realpath(args.source):
            raise InputError(f"{out}: is the file that the form is filled from; give another name")
        project, trail = read_any(args.source)[0], trail_of(args.source)
        read = files_read(args.source, project, weather=False)
    manners = Manners(read=read, force=args.force, elsewhere="give another name", insist="--force")
    args.watched = Watched(out)
    check_places([out], [FORM], manners)

    from binestimator.workbook.form import write_form

    write_form(out, project, manners, trail)
    said = f"Form  {out}"
    if trail is not None and trail.run_id:
        carried = f"{len(trail.questions)} question{'' if len(trail.questions) == 1 else 's'} carried over"
        said += f"\nEarlier   run {trail.run_id}: {carried}; see the sheet Review"
    say(args, said)
