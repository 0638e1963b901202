"""What each command does. Libraries are loaded by the command that needs them."""

from __future__ import annotations

import os
import shlex
from pathlib import Path

from binestimator.console import FINDINGS, Watched, columns, progress, say
from binestimator.errors import InputError


def run_estimate(args) -> None:
    """Estimate a project, form or workbook, and write its files."""
    from dataclasses import replace
    from functools import partial

    from binestimator.parallel import Beside
    from binestimator.steps import (
        check_outputs,
        files_read,
        free_stem,
        output_places,
        read_any,
        trail_of,
        weather_of,
        weather_years_of,
        write_outputs,
    )
    from binestimator.writing import Manners

    project, overrides, reviewed_project = read_any(args.project)
    ranged = args.ranges or project.terms.draws.coarse and not args.no_ranges
    if args.weather_year:
        from binestimator.inputs.weather_years import with_weather_years

        if not ranged:
            raise InputError("--weather-year: is for ranges, which this run leaves out; leave out one of them")
        project = with_weather_years(project, args.weather_year)
    with Beside(partial(weather_of, project)) as reading:
        from binestimator.handover.choose import check_asked

        check_asked(project.candidates, args.handover)
        trail = trail_of(args.project)
        # Only now the heavy part: whatever is wrong with a file, or is in the way, has been reported by now.
        read = files_read(args.project, project, *([] if reviewed_project is None else [reviewed_project]))
        read = (*read, *(Path(path) for path in (args.trends, args.realised) if path is not None))
        client = args.edition == "client"
        stem = free_stem(args.project, args.out, read, client=client)
        manners = Manners(read=read, force=args.force, elsewhere="choose another folder with --out", insist="--force")
        args.watched = Watched(*output_places(args.out, stem, client=client))
        check_outputs(args.out, stem, manners, client=client)
        measured = None
        if args.trends is not None:
            from binestimator.trends.measured import read_measured

            measured = read_measured(args.trends)
        realised = None
        if args.realised is not None:
            from binestimator.realised.results_file import OTHER_INPUTS, of_project, read_realised

            realised = of_project(read_realised(args.realised), project, args.realised)

        # All that will be needed is loaded while the weather is read.
        from binestimator.results import Review
        from binestimator.terminal import comparison, reviewed
        from binestimator.workbook.write import handed_over

        weather = reading.answer()
    years = weather_years_of(project, weather) if ranged else ()
    results = _estimated(args, project, weather, drivers=not ranged)
    results = replace(results, handover_id=args.handover)
    drawn = None
    if ranged:
        from binestimator.ranges.find import with_ranges

        if args.ranges:
            results = with_ranges(results, full=True, progress=progress("Ranges"), years=years)
        else:
            drawn = partial(with_ranges, years=years)
    if measured is not None:
        from dataclasses import replace

        from binestimator.trends.measured import beside_model

        results = replace(results, trends=beside_model(measured, project, results.weather))
    results = replace(results, realised=realised)
    review = None
    if reviewed_project is not None:
        again = _estimated(args, reviewed_project, weather_of(reviewed_project), drivers=False, of="Reviewed, ")
        review = Review(overrides=overrides, results=again)
    written = write_outputs(results, args.out, stem, review, manners, client=client, trail=trail, with_ranges=drawn)
    results = written.results
    failed = any(check.status == "fail" for check in results.checks)
    cautions = any(finding.level == "caution" for finding in results.findings)
    if failed or args.strict and (cautions or written.kept):
        args.code = FINDINGS
    parts = [comparison(results, columns())]
    if review is not None:
        parts.append(reviewed(results, review, columns()))
    if trail is not None and trail.run_id not in ("", results.run_id):
        changed, carried = len(trail.changes(project)), len(trail.questions)
        parts.append(
            f"Earlier   run {trail.run_id}: {changed} input{'' if changed == 1 else 's'} changed since, {carried} "
            f"question{'' if carried == 1 else 's'} carried over; see the sheet Review"
        )
    if realised is not None and realised.other_inputs:
        parts.append(f"Realised  {OTHER_INPUTS}")
    files = [
        f"Workbook      {written.workbook}",
        f"Results file  {written.results_file}",
        f"Hand-over     {written.handover} ({handed_over(results).choice.candidate_id or 'no option: it says why'})",
    ]
    if written.client is not None:
        files.append(f"Client        {written.client}")
    if written.kept:
        files.append(
            f"Kept          {', '.join(map(str, written.kept.values()))}\n"
            "              (earlier results that are not as this program wrote them: changed since, or of an earlier "
            "version)"
        )
    if args.code == FINDINGS:
        why = (
            ["a check that must hold has failed"]
            if failed
            else [
                *(["there is a caution"] if cautions else []),
                *(["an earlier file was kept under another name"] if written.kept else []),
            ]
        )
        files.append(f"Exit code     1: {' and '.join(why)}" + ("" if failed else " (--strict)"))
    say(args, "\n\n".join([*parts, "\n".join(files)]))


def _estimated(args, project, weather, *, drivers: bool, of: str = ""):
    """Results with advice, at time steps as well where that is asked for; ``of`` which run it is, for its progress."""
    from binestimator.advice import advise, estimate_and_advise
    from binestimator.estimate import estimate

    told = lambda what: progress(of + what[0].lower() + what[1:] if of else what)
    results = estimate(project, weather) if args.rank_as_run else estimate_and_advise(project, weather, drivers=drivers)
    if not (args.as_run or args.indicators or args.rank_as_run or project.as_run.enabled):
        return results
    from binestimator.as_run.audit import audit
    from binestimator.as_run.changed import with_changes_as_run
    from binestimator.as_run.report import with_as_run

    results = with_as_run(results, audit(results, progress=told("As run")))
    if args.indicators or project.as_run.indicators:
        from binestimator.as_run.indicators import with_indicators

        results = with_indicators(results, progress=told("Indicators"))
    if args.rank_as_run:
        from binestimator.as_run.ranking import ranked_as_run

        # Advice goes by ranks.
        results = advise(ranked_as_run(results), drivers=drivers)
    return with_changes_as_run(results, progress=told("Repairs and remedies as run"))


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
        project, schedule = _schedule_project(args)
        folder, whole_f, pressure_psia = ".", args.whole_f or "auto", None
        read: tuple[Path, ...] = ()
    else:
        given = _schedule_options(args)
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


#: Options of ``bins`` that describe a schedule.
_SCHEDULE_OPTIONS = ("hours", "saturday", "sunday", "day_and_night", "first_weekday", "holidays", "standard_time")


def _schedule_options(args) -> list[str]:
    return [f"--{name.replace('_', '-')}" for name in _SCHEDULE_OPTIONS if getattr(args, name) not in (None, False)]


def _schedule_project(args):
    """Project that carries nothing but the schedule of the options, and the schedule in words."""
    from binestimator.inputs.read import project_from_mapping

    group: dict[str, object] = {"name": "schedule"}
    if args.day_and_night:
        clash = [option for option in _schedule_options(args) if option in ("--hours", "--saturday", "--sunday")]
        if clash:
            raise InputError(f"{clash[0]}: --day-and-night occupies every hour; leave out one of them")
        group["always_on"] = True
    calendar: dict = {"daylight_saving": not args.standard_time}
    if args.first_weekday:
        calendar["first_weekday"] = args.first_weekday
    if args.holidays is not None:
        calendar["holidays"] = [day.strip() for day in args.holidays.split(",") if day.strip()]
    for option, name in (("hours", "weekday_hours"), ("saturday", "saturday_hours"), ("sunday", "sunday_hours")):
        if getattr(args, option) is not None:
            group[name] = getattr(args, option)
    project = project_from_mapping(
        {
            "project": {"name": "bins"},
            "weather": {"file": args.weather},
            "calendar": calendar,
            "group": [group],
            "schedule": {"unoccupied_mode": "off"},
            "zone": [{"name": "zone", "area_ft2": 1000}],
        }
    )
    clock = "clock time with daylight saving" if project.calendar.daylight_saving else "standard time"
    record = project.groups[0]
    spans = (
        (record.weekday_hours, "weekdays"),
        (record.saturday_hours, "Saturdays"),
        (record.sunday_hours, "Sundays and holidays"),
    )
    hours = (
        "day and night"
        if record.always_on
        else "; ".join(f"{day} {span[0]:g} to {span[1]:g}" if span else f"{day} closed" for span, day in spans)
    )
    return (
        project,
        f"{hours}; {clock}; 1 January is a {project.calendar.first_weekday}; {len(project.calendar.holidays)} holidays",
    )


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


def run_inputs(args) -> None:
    """Print the reference of the inputs, or of one section."""
    from binestimator.inputs.reference import documentation_markdown
    from binestimator.inputs.schema import SECTIONS, TERM_SECTIONS, title_of
    from binestimator.inputs.values import did_you_mean

    text = documentation_markdown()
    if args.section is not None:
        known = (*SECTIONS, *TERM_SECTIONS)
        if args.section not in known:
            hint = did_you_mean(args.section, known)
            raise InputError(f"{args.section}: unknown section; {hint or 'known are ' + ', '.join(known)}")
        start = text.index(f"## {title_of(args.section)}\n")
        end = text.find("\n## ", start)
        text = text[start : len(text) if end < 0 else end]
    say(args, text.rstrip())


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

    from binestimator.trends.gather import gather
    from binestimator.trends.merge import check_place, merge
    from binestimator.trends.point_map import check_map, draft, map_to_toml, read_map
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


def run_realised(args) -> None:
    """What was saved, from logs of both periods."""
    from binestimator.seal import REALISED

    changed = _day(args.changed_on, "--changed-on")
    project, weather, option, before, after = _measured(args, REALISED)
    from binestimator.realised.periods import cut
    from binestimator.realised.report import as_json, realised_plain, realised_text
    from binestimator.realised.study import realised

    if changed is not None:
        from datetime import timedelta

        before = cut(before, last=str(changed - timedelta(days=1)))
        after = cut(after, first=str(changed + timedelta(days=1)))
    found = realised(project, weather, option, before, after)
    _say_measured(args, realised_text(found, columns()), lambda: as_json(realised_plain(found)), REALISED)


def run_plan_measurement(args) -> None:
    """How long to measure, from logs so far."""
    from binestimator.seal import PLAN

    for value, name, low, high in (
        (args.saving, "--saving", 0.1, 90.0),
        (args.confidence, "--confidence", 50.0, 99.9),
        (args.precision, "--precision", 1.0, 500.0),
    ):
        if value is not None and not low <= value <= high:
            raise InputError(f"{name}: {value:g} is out of range; expected {low:g} to {high:g} %")
    start = _day(args.start, "--start")
    project, weather, option, before, after = _measured(args, PLAN)
    from binestimator.realised.planning import plan_measurement
    from binestimator.realised.report import as_json, plan_plain, plan_text

    plan = plan_measurement(
        project,
        weather,
        option,
        before,
        after,
        saving_frac=None if args.saving is None else args.saving / 100.0,
        confidence=args.confidence / 100.0,
        precision=args.precision / 100.0,
        start=None if start is None else str(start),
    )
    _say_measured(args, plan_text(plan, columns()), lambda: as_json(plan_plain(plan)), PLAN)


def _day(text, name: str):
    """A date, or None where none is given."""
    from datetime import date

    if text is None:
        return None
    try:
        return date.fromisoformat(text)
    except ValueError:
        raise InputError(f"{name}: {text[:40]!r} is no date; expected YYYY-MM-DD") from None


def _measured(args, kind: str):
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
    from binestimator.trends.point_map import read_map
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


def _say_measured(args, text: str, made, kind: str) -> None:
    """Write the results file if there is to be one, and print."""
    from binestimator.seal import seal_text
    from binestimator.writing import NewFile, write_files

    if args.json is not None:
        write_files([NewFile(Path(args.json), seal_text(made()), kind)], args.manners)
        text += f"\n\nResults file  {args.json}"
    say(args, text)
