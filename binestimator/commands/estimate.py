"""``binestimator estimate``: results of a project, and its files."""

from __future__ import annotations

from contextlib import ExitStack
from dataclasses import replace
from functools import partial
from pathlib import Path

from binestimator.console import FINDINGS, Watched, columns, progress, say
from binestimator.errors import InputError
from binestimator.parallel import Beside


def run_estimate(args) -> None:
    """Estimate a project, form or workbook, and write its files."""
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
    # What reads the weather is loaded first, once for both processes.
    import binestimator.weather.year  # noqa: F401

    with Beside(partial(weather_of, project)) as reading:
        from binestimator.handover.choose import check_asked

        check_asked(project.candidates, args.handover)
        trail = trail_of(args.project)
        # Whatever is wrong with a file, or is in the way, is reported before the estimate.
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
    with _Drawing(years) as drawing:
        coarse = drawing if ranged and not args.ranges else None
        results = _estimated(args, project, weather, drivers=not ranged, drawing=coarse)
        results = replace(results, handover_id=args.handover)
        if args.ranges:
            from binestimator.ranges.find import with_ranges

            results = with_ranges(results, full=True, progress=progress("Ranges"), years=years)
        if measured is not None:
            from binestimator.trends.measured import beside_model

            results = replace(results, trends=beside_model(measured, project, results.weather))
        results = replace(results, realised=realised)
        review = None
        if reviewed_project is not None:
            again = _estimated(args, reviewed_project, weather_of(reviewed_project), drivers=False, of="Reviewed, ")
            review = Review(overrides=overrides, results=again)
        drawn = None if coarse is None else coarse.with_ranges
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


class _Drawing:
    """Coarse ranges, drawn by a copy of the process while this one goes on; of other weather ``years`` as well."""

    def __init__(self, years) -> None:
        self._years = years
        self._stack = ExitStack()
        self._beside: Beside | None = None

    def __enter__(self) -> _Drawing:
        return self

    def __exit__(self, *_) -> None:
        self._stack.close()

    def begin(self, results) -> None:
        """Draw from here on; ``results`` may lack advice."""
        from binestimator.ranges.find import with_ranges

        self._beside = self._stack.enter_context(Beside(lambda: with_ranges(results, years=self._years).ranges))

    def with_ranges(self, results):
        """The results with their ranges, which are waited for."""
        if self._beside is None:
            self.begin(results)
        assert self._beside is not None
        return replace(results, ranges=self._beside.answer())


def _estimated(args, project, weather, *, drivers: bool, of: str = "", drawing: _Drawing | None = None):
    """Results with advice, at time steps as well where that is asked for; ``of`` which run it is, for its progress;
    ``drawing`` begins with the ranges as soon as may be."""
    from binestimator.advice import advise, estimate_and_advise
    from binestimator.estimate import estimate

    told = lambda what: progress(of + what[0].lower() + what[1:] if of else what)
    if not (args.as_run or args.indicators or args.rank_as_run or project.as_run.enabled):
        begin = None if drawing is None else drawing.begin
        return estimate_and_advise(project, weather, drivers=drivers, estimated=begin)
    # Time steps have the processors to themselves, and ranges go by ranks.
    results = estimate(project, weather) if args.rank_as_run else estimate_and_advise(project, weather, drivers=drivers)
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
    results = with_changes_as_run(results, progress=told("Repairs and remedies as run"))
    if drawing is not None:
        drawing.begin(results)
    return results
