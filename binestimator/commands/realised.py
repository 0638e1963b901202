"""``binestimator realised`` and ``plan-measurement``: savings from logs, and how long to log."""

from __future__ import annotations

from binestimator.commands.two_periods import day, measured, say_measured
from binestimator.console import columns
from binestimator.errors import InputError


def run_realised(args) -> None:
    """What was saved, from logs of both periods."""
    from binestimator.seal import REALISED

    changed = day(args.changed_on, "--changed-on")
    project, weather, option, before, after = measured(args, REALISED)
    from binestimator.realised.periods import cut
    from binestimator.realised.report import as_json, realised_plain, realised_text
    from binestimator.realised.study import realised

    if changed is not None:
        from datetime import timedelta

        before = cut(before, last=str(changed - timedelta(days=1)))
        after = cut(after, first=str(changed + timedelta(days=1)))
    found = realised(project, weather, option, before, after)
    say_measured(args, realised_text(found, columns()), lambda: as_json(realised_plain(found)), REALISED)


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
    start = day(args.start, "--start")
    project, weather, option, before, after = measured(args, PLAN)
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
    say_measured(args, plan_text(plan, columns()), lambda: as_json(plan_plain(plan)), PLAN)
