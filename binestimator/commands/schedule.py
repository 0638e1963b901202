"""The schedule that options of a command describe."""

from __future__ import annotations

from binestimator.errors import InputError

#: Options of ``bins`` that describe a schedule.
_SCHEDULE_OPTIONS = ("hours", "saturday", "sunday", "day_and_night", "first_weekday", "holidays", "standard_time")


def schedule_options(args) -> list[str]:
    """Those of the options that were given."""
    return [f"--{name.replace('_', '-')}" for name in _SCHEDULE_OPTIONS if getattr(args, name) not in (None, False)]


def schedule_project(args):
    """Project that carries nothing but the schedule of the options, and the schedule in words."""
    from binestimator.inputs.read import project_from_mapping

    group: dict[str, object] = {"name": "schedule"}
    if args.day_and_night:
        clash = [option for option in schedule_options(args) if option in ("--hours", "--saturday", "--sunday")]
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
