"""``binestimator bins``: bins of a weather file."""

from __future__ import annotations

import os
from pathlib import Path

from binestimator.commands.schedule import schedule_options, schedule_project
from binestimator.console import Watched, columns, say
from binestimator.errors import InputError


def run_bins(args) -> None:
    """Print a table of bins of a weather file, and write it where wished."""
    import csv
    import io

    import numpy as np

    from binestimator.bins import bin_table
    from binestimator.hours import bin_low_f, build_conditions
    from binestimator.seal import BINS, UNSEALED, seal_text
    from binestimator.steps import files_read, read_any
    from binestimator.terminal import bins as bins_text
    from binestimator.weather import find_weather, read_weather, weather_for
    from binestimator.writing import Manners, NewFile, check_places, write_files

    if args.project is None:
        project, schedule = schedule_project(args)
        folder, whole_f, pressure_psia = ".", args.whole_f or "auto", None
        read: tuple[Path, ...] = ()
    else:
        given = schedule_options(args)
        if given:
            raise InputError(f"{given[0]}: the schedule is that of --project; leave out one of them")
        project = read_any(args.project)[0]
        schedule = f"that of {project.info.name}"
        folder, whole_f, pressure_psia = (
            project.source_dir,
            args.whole_f or project.weather.whole_f,
            project.weather.pressure_psia,
        )
        read = files_read(args.project, project, weather=False)
    here = os.path.lexists(args.weather)
    path = Path(args.weather) if here else find_weather(args.weather, folder)
    manners = Manners(read=(path, *read), force=args.force, elsewhere="give another name with --csv", insist="--force")
    if args.csv is not None:
        args.watched = Watched(args.csv)
        check_places([args.csv], [BINS], manners)
    weather = (
        read_weather(path, whole_f=whole_f, pressure_psia=pressure_psia)
        if here
        else weather_for(args.weather, folder, whole_f=whole_f, pressure_psia=pressure_psia)
    )
    width_f = args.width or project.bins.width_f
    conditions = build_conditions(weather, project)
    occupied = conditions.occupied > 0.5
    means = {"mcwb_occupied_f": conditions.oawb_f, "mean_humidity_ratio_occupied": conditions.humidity_ratio}
    table = bin_table(
        conditions, width_f=int(width_f), means={k: np.where(occupied, v, np.nan) for k, v in means.items()}
    )
    text = bins_text(table, weather, schedule, float(len(weather.frame)), columns())
    if args.csv is not None:
        place = ((bin_low_f(conditions.oat_f, width_f) - table["bin_low_f"].iloc[0]) / width_f).astype(int)
        for start in (0, 8, 16):
            third = (conditions.hour_start >= start) & (conditions.hour_start < start + 8)
            table[f"hours_{start:02d}_{start + 8:02d}"] = np.bincount(place, third, len(table))
        file = io.StringIO()
        writer = csv.writer(file, lineterminator="\n")
        # The checksum of the file is in its first line: a line of its own would be taken for a bin.
        writer.writerow([*table.columns, "checksum"])
        writer.writerows(
            [*(_csv_cell(value) for value in row), "" if number else UNSEALED]
            for number, row in enumerate(table.itertuples(index=False))
        )
        write_files([NewFile(Path(args.csv), seal_text(file.getvalue()), BINS)], manners)
        text += f"\n\nTable  {args.csv}"
    say(args, text)


def _csv_cell(value) -> str:
    """Ten digits of a number, nothing for NaN (a bin without hours)."""
    if isinstance(value, str):
        return value
    return "" if value != value else f"{value:.10g}"
