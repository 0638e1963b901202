"""``binestimator quick``: a project of a few facts."""

from __future__ import annotations

import shlex
from pathlib import Path

from binestimator.console import Watched, columns, say
from binestimator.errors import InputError


def run_quick(args) -> None:
    """Make a project of a few facts, estimate it, and write it as a project file to grow from."""
    from dataclasses import replace

    from binestimator.inputs.facts import facts
    from binestimator.quick import quick_project
    from binestimator.seal import QUICK
    from binestimator.steps import files_read, weather_of
    from binestimator.writing import Manners, NewFile, check_places, write_files

    out = Path(args.out)
    if out.suffix.casefold() != ".toml":
        raise InputError(f"{out}: is to be a project file; give it a name that ends in .toml")
    manners = Manners(force=args.force, elsewhere="give another name", insist="--force")
    args.watched = Watched(out)
    check_places([out], [QUICK], manners)
    given = {each.name: getattr(args, each.name) for each in facts() if getattr(args, each.name) is not None}
    typed = {name: ", ".join(value) if isinstance(value, list) else value for name, value in given.items()}
    project = quick_project(typed, out)
    manners = replace(manners, read=files_read(out, project)[1:])
    check_places([out], [QUICK], manners)

    from binestimator.advice import estimate_and_advise as estimate
    from binestimator.inputs.starter import starter_text
    from binestimator.ranges.find import with_ranges
    from binestimator.seal import UNSEALED, seal_text
    from binestimator.terminal import quick_check

    results = with_ranges(estimate(project, weather_of(project)))
    text = starter_text(results.project, f"binestimator {QUICK}", UNSEALED)
    before = out.exists()
    write_files([NewFile(out, seal_text(text), QUICK)], manners)
    written = f"Project   {out}" + (" (in place of the one that was there)" if before else "")
    again = f"Next      put in what you measure, then: binestimator estimate {shlex.quote(str(out))}"
    say(args, "\n\n".join([quick_check(results, columns()), f"{written}\n{again}"]))
