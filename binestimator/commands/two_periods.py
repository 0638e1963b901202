"""What commands of logs of two periods share: dates, what they read, and what they say."""

from __future__ import annotations

from pathlib import Path

from binestimator.console import Watched, progress, say
from binestimator.errors import InputError


def day(text, name: str):
    """A date, or None where none is given."""
    from datetime import date

    if text is None:
        return None
    try:
        return date.fromisoformat(text)
    except ValueError:
        raise InputError(f"{name}: {text[:40]!r} is no date; expected YYYY-MM-DD") from None


def measured(args, kind: str):
    """Project, typical year, option that was put in place, and logs of both periods (None where there are none)."""
    from binestimator.steps import files_read, read_any, weather_of
    from binestimator.writing import Manners, check_places

    project = read_any(args.project)[0]
    maps = [args.map_before or args.map, args.map_after or args.map]
    logs = [args.before, args.after or []]
    read = [*files_read(args.project, project), *map(Path, (*logs[0], *logs[1], *filter(None, maps)))]
    args.manners = Manners(read=tuple(read), force=args.force, elsewhere="give another name", insist="--force")
    args.watched = Watched(*filter(None, [args.json]))
    if args.json is not None:
        check_places([args.json], [kind], args.manners)
    from binestimator.realised.year import check_option
    from binestimator.trends.map_file import read_map
    from binestimator.trends.study import read_trends
    from binestimator.trends.times import check_zone

    if args.timezone:
        check_zone(args.timezone)
    if args.option is not None:
        check_option(project, args.option)
    weather = weather_of(project)
    found: list = []
    for files, given, words in zip(logs, maps, ("Before", "After")):
        if not files:
            found.append(None)
            continue
        points = None if given is None else read_map(given)
        found.append(
            read_trends(
                files,
                points,
                air_handler=args.air_handler or "",
                timezone=args.timezone or "",
                progress=progress(words),
            )
        )
    option = args.option if args.option is not None else _handed_over(project, weather)
    return project, weather, option, found[0], found[1]


def _handed_over(project, weather) -> str:
    """The option of a project that is handed over; the only one where there is but one."""
    others = [candidate.id for candidate in project.candidates if candidate.id != project.baseline_id]
    if len(others) == 1:
        return others[0]
    from binestimator.advice import estimate_and_advise
    from binestimator.workbook.write import handed_over

    chosen = handed_over(estimate_and_advise(project, weather, drivers=False)).choice.candidate_id
    if chosen is None or chosen == project.baseline_id:
        raise InputError(
            "--option: the project hands over no option of its own; give the one that was put in place, "
            f"one of {', '.join(others)}"
        )
    return chosen


def say_measured(args, text: str, made, kind: str) -> None:
    """Write the results file if there is to be one, and print."""
    from binestimator.seal import seal_text
    from binestimator.writing import NewFile, write_files

    if args.json is not None:
        write_files([NewFile(Path(args.json), seal_text(made()), kind)], args.manners)
        text += f"\n\nResults file  {args.json}"
    say(args, text)
