"""``binestimator trends``: what trend logs say."""

from __future__ import annotations

import os
from pathlib import Path

from binestimator.console import Watched, columns, progress, say
from binestimator.errors import InputError


def run_trends(args) -> None:
    """Read trend logs: draft a map, or find inputs and write them."""
    from binestimator.inputs.form import is_workbook
    from binestimator.seal import FRAGMENT, MERGED, TREND_MAP, TRENDS, seal_text
    from binestimator.steps import files_read, read_any
    from binestimator.writing import Manners, NewFile, check_places, write_files

    if args.merged is not None and args.project is None:
        raise InputError("--merged: the project that inputs are merged into is missing; give it with --project")
    if args.replace_given and args.merged is None:
        raise InputError("--replace-given: there is nothing to replace in; give --merged NEW.toml")
    project = None
    read: list[Path] = [Path(file) for file in (*args.files, *filter(None, [args.map]))]
    if args.project is not None:
        if args.merged is not None and is_workbook(args.project):
            raise InputError(
                f"{args.project}: inputs are merged into a project file (.toml), not into a form or workbook"
            )
        project = read_any(args.project)[0]
        read += files_read(args.project, project, weather=False)
    places = ((args.draft_map, TREND_MAP), (args.out, FRAGMENT), (args.json, TRENDS), (args.merged, MERGED))
    wanted = [(path, kind) for path, kind in places if path is not None]
    names = [os.path.realpath(path) for path, _ in wanted]
    if len(set(names)) < len(names):
        raise InputError(f"{wanted[-1][0]}: is the place of two files of this run; give each its own name")
    manners = Manners(read=tuple(read), force=args.force, elsewhere="give another name", insist="--force")
    args.watched = Watched(*(path for path, _ in wanted))
    check_places([path for path, _ in wanted], [kind for _, kind in wanted], manners)

    from dataclasses import replace

    from binestimator.trends.draft import draft
    from binestimator.trends.gather import gather
    from binestimator.trends.map_file import check_map, map_to_toml, read_map
    from binestimator.trends.merge import check_place, merge
    from binestimator.trends.report import map_lines, trends_json, trends_text
    from binestimator.trends.study import look_at, study
    from binestimator.trends.times import check_zone

    if args.timezone:
        check_zone(args.timezone)
    if args.merged is not None:
        check_place(args.project, args.merged)
    points = None if args.map is None else read_map(args.map)
    tables, sources = look_at(args.files, "" if points is None else points.date_order, progress("Looking"))
    if points is None:
        points = draft(tables, sources, args.air_handler or "")
    else:
        check_map(points, tables, sources, args.map)
    if args.timezone:
        points = replace(points, timezone=args.timezone)
    new: list[NewFile] = []
    if args.draft_map is not None:
        new.append(NewFile(Path(args.draft_map), seal_text(map_to_toml(points)), TREND_MAP))
        if len(wanted) == 1:
            write_files(new, manners)
            lines = map_lines(points, columns())
            say(args, "\n".join([*lines, "", f"Map       {args.draft_map}"]))
            return
    index, max_cfm = None, {}
    if project is not None:
        index = project.fan.index_dsp_inwc or project.fan.design_dsp_inwc
        max_cfm = {zone.name: float(zone.max_cfm) for zone in project.zones if zone.max_cfm is not None}
    found = study(gather(tables, points, progress("Reading")), index, max_cfm)
    merged = None
    if project is not None:
        # Airflow is compared at the setpoints and hours of the log; what is given stays in the merged project.
        at_log = project if is_workbook(args.project) else merge(args.project, found, replace_given=True)[0]
        found = _compared(found, at_log)
    if args.merged is not None:
        _, merged, text = merge(args.project, found, replace_given=args.replace_given)
        new.append(NewFile(Path(args.merged), seal_text(text), MERGED))
    if args.out is not None:
        from binestimator.trends.fragment import fragment_text

        new.append(NewFile(Path(args.out), seal_text(fragment_text(found)), FRAGMENT))
    if args.json is not None:
        new.append(NewFile(Path(args.json), seal_text(trends_json(found, merged)), TRENDS))
    if new:
        write_files(new, manners)
    said = [trends_text(found, columns(), merged)]
    labels = {TREND_MAP: "Map", FRAGMENT: "Fragment", TRENDS: "Results file", MERGED: "Project"}
    if new:
        said.append("\n".join(f"{labels[file.kind]:<14}{file.path}" for file in new))
    say(args, "\n\n".join(said))


def _compared(found, project):
    """The study beside the model of a project, where its typical year can be read."""
    from dataclasses import replace

    from binestimator.errors import WeatherError
    from binestimator.steps import weather_of
    from binestimator.trends.found import unknown
    from binestimator.trends.match import KEY, TITLE, compare_with_model

    try:
        weather = weather_of(project)
    except WeatherError as error:
        missing = unknown(KEY, TITLE, f"the typical year of the project cannot be read: {error}")
        return replace(found, found=(*found.found, missing))
    return compare_with_model(found, project, weather)
