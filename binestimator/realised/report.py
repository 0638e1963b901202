"""What was realised, and plans of measurement, as text for a terminal and as plain data."""

from __future__ import annotations

import json
from datetime import date, timedelta

import numpy as np

from binestimator import __version__
from binestimator.inputs.problems import printable
from binestimator.realised.compare import MOST_HELD
from binestimator.realised.periods import PRECISION
from binestimator.realised.plan import Expected, Weeks
from binestimator.realised.planning import Plan
from binestimator.realised.results_file import defeat_words, modelled_words
from binestimator.realised.spread import Fit
from binestimator.realised.study import Realised, Use
from binestimator.seal import UNSEALED
from binestimator.trends.points import kinds
from binestimator.trends.report import plain, wrapped

_MOST_LINES = 12


def _period(study) -> str:
    log = study.log
    files = ", ".join(dict.fromkeys(table.path.name for table in log.tables))
    ran = len(np.unique(log.day[study.running.on]))
    return f"{files}: {log.day[0]} to {log.day[-1]}, {ran} days with the fan running"


def _number(value: float | None) -> str:
    if value is None:
        return "-"
    return f"{value:,.0f}" if abs(value) >= 100.0 else f"{value:,.1f}"


def _ends(ends: tuple[float, float] | None) -> str:
    return "-" if ends is None else f"{_number(ends[0])} to {_number(ends[1])}"


def _ratio(use: Use) -> str:
    frac, ends = use.realised_frac, use.realised_interval_90
    if frac is None:
        return "-"
    percent = lambda v: f"{round(100 * v) + 0:.0f}"  # no minus zero
    said = f"{percent(frac)} %"
    return said if ends is None else f"{said} ({percent(ends[0])} to {percent(ends[1])})"


def _rows(found: Realised):
    for use in found.uses:
        unit = f"{use.label}, {use.unit}"
        if not use.measured:
            yield unit, _number(use.saving_year), "as modelled", _number(use.claimed_year), _ratio(use)
        elif use.saving_year is not None:
            yield unit, _number(use.saving_year), _ends(use.interval_90_year), _number(use.claimed_year), _ratio(use)
        elif use.saving is not None:
            part = f"{unit}, in {100 * use.covered_frac:.0f} % of h"
            yield part, _number(use.saving), _ends(use.interval_90), _number(use.claimed), _ratio(use)
        else:
            yield unit, "not told", "-", _number(use.claimed_year), "-"


def _table(heads, rows, width: int) -> list[str]:
    rows = [tuple(printable(cell) for cell in row) for row in rows]
    sizes = [max(len(row[k]) for row in (heads, *rows)) for k in range(len(heads))]
    line = lambda row: "  ".join(
        cell.ljust(size) if k == 0 else cell.rjust(size) for k, (cell, size) in enumerate(zip(row, sizes))
    ).rstrip()
    rule = "-" * min(sum(sizes) + 2 * (len(sizes) - 1), width)
    return [line(heads), rule, *map(line, rows)]


def realised_text(found: Realised, width: int) -> str:
    """What was saved of each end use beside its claim, what else differs, what kept the reset from acting.

    Parameters
    ----------
    found : Realised
    width : int
        Columns.
    """
    year = found.year
    blocks = [
        [
            wrapped(f"{year.project.info.name}: option {year.option.id} ({year.option.name})", width, first="Realised"),
            wrapped(_period(found.studies[0]), width, first="Before"),
            wrapped(_period(found.studies[1]), width, first="After"),
        ]
    ]
    heads = ("Saved in running hours of a year", "Saving", "90 % within", "Claimed", "Realised / claimed")
    if found.uses:
        blocks.append(_table(heads, list(_rows(found)), width))
    else:
        blocks.append(["Nothing can be said of what was saved"])
    lines = []
    for use in found.uses:
        if use.why:
            lines.append(wrapped(f"{use.label}: no number: {use.why}", width, 2, "!"))
        if use.compared is not None:
            lines.append(wrapped(_basis(use), width, 2, ""))
        lines += [wrapped(f"{use.label}: {note}", width, 2, "!") for note in _notes(use)]
    lines += [wrapped(note, width, 2, "!") for note in found.notes]
    if any(not use.measured for use in found.uses):
        lines.append(wrapped(modelled_words(found.gain), width, 2, ""))
    realised, claimed = found.cost_usd
    if realised is not None:
        lines.append(
            wrapped(f"Energy cost: {realised:,.0f} of {claimed:,.0f} USD a year claimed in running hours", width, 2, "")
        )
    blocks.append(lines)
    blocks.append([wrapped(text, width, 2, "!") for text in _needed_texts(found)])
    if found.changes:
        blocks.append(
            [
                "What else differs between both periods (! may make the saving look other than it is)",
                *(wrapped(c.text, width, 2, "!" if c.caution else "") for c in found.changes[:_MOST_LINES]),
            ]
        )
    if found.defeats or found.blind:
        blocks.append(
            [
                "What kept the reset from acting, after the work (! a tenth of the time and more)",
                *(
                    wrapped(defeat_words(d.text, d.kind, d.frac), width, 2, "!" if d.caution else "")
                    for d in found.defeats[:_MOST_LINES]
                ),
                *(wrapped(text, width, 2, "?") for text in found.blind),
            ]
        )
    else:
        blocks.append(["Nothing was found that kept the reset from acting"])
    return "\n\n".join("\n".join(block) for block in blocks if block)


def _notes(use: Use) -> list[str]:
    """What to know of a figure."""
    ends = use.realised_interval_90
    if not use.measured or ends is None or ends[0] <= 1.0:
        return list(use.notes)
    return [
        "more was saved than claimed, whole interval: before it is believed, see what else differs between both "
        "periods",
        *use.notes,
    ]


def _basis(use: Use) -> str:
    """What a measured figure rests on."""
    c = use.compared
    assert c is not None
    temperatures = [k for k in c.terms.knots.values() if len(k)]
    low, high = min(k[0] for k in temperatures), max(k[-1] for k in temperatures)
    said = (
        f"{use.label}: {c.before.days} and {c.after.days} days, which tell as much as "
        f"{c.before.independent_days:.0f} and {c.after.independent_days:.0f} independent ones; "
        f"{low:.0f} to {high:.0f} degF outdoors, "
        f"{100 * use.covered_frac:.0f} % of the year's running hours"
    )
    if use.saving_year is not None and c.held:
        said += (
            f"; the other hours are taken at the nearest temperature ({_number(c.held)} {use.unit}, from none to twice "
            "that)"
        )
    if abs(c.season) >= 0.02 * max(abs(use.saving or 0.0), 1e-9):
        said += (
            f"; corrected by {_number(c.season)} {use.unit} for the season of the logs, by the model, "
            "half of it taken as uncertain"
        )
    if use.modelled_year is not None:
        said += (
            f"; the model at the measured setpoints and equal loads saves {_number(use.modelled_year)} {use.unit} in "
            "the year"
        )
    return said


def _needed_texts(found: Realised) -> list[str]:
    """What it takes for a figure of the year, or for a better one."""
    measured = [use for use in found.uses if use.measured]
    if not measured:
        return []
    main = next((use for use in measured if use.saving is not None), measured[0])
    texts = []
    if main.saving_year is None and main.saving is not None:
        texts.append(
            f"{main.label}: a figure of the year takes logs like {100 * (1 - MOST_HELD):.0f} % of its running hours; "
            f"these are like {100 * main.covered_frac:.0f} %, so that saving and claim are those of these hours alone"
        )
    missing = main.missing_parts(found.year.hours)
    if missing:
        texts.append(f"Still needed: the hours {' and '.join(missing)}, which are not in both logs: log day and night")
    elif found.needed is not None:
        texts.append(f"Still needed: {weeks_text(found.needed, found)}")
    elif main.interval_90_year is None and main.claimed_year:
        texts.append(
            "Still needed: a year of further weeks would not be enough at this spread; look for what makes days differ"
        )
    return texts


def weeks_text(weeks: Weeks, found: Realised | None = None) -> str:
    """Further weeks in words, with what they give."""
    parts = []
    if weeks.before:
        again = " at the setpoints as found, with the reset off," if found is not None else ""
        parts.append(f"{weeks.before} more week{'' if weeks.before == 1 else 's'}{again} before")
    if weeks.after or not weeks.before:
        parts.append(f"{weeks.after} more week{'' if weeks.after == 1 else 's'} after")
    said = " and ".join(parts)
    if weeks.expected is not None:
        said += (
            f"; expected then: {100 * weeks.expected.covered_frac:.0f} % of the year's hours, interval within "
            f"{100 * weeks.expected.precision:.0f} % of the "
            + ("claim" if found is not None else "saving")
            + (f" ({100 * PRECISION:.0f} % asked for)" if found is not None else "")
        )
    return said


# ---------------------------------------------------------------- plan


def _date(day: int) -> str:
    return f"{date(2025, 1, 1) + timedelta(days=day % 365):%d %B}".lstrip("0")


def plan_text(plan: Plan, width: int) -> str:
    """Points, interval and weeks of a plan.

    Parameters
    ----------
    plan : Plan
    width : int
        Columns.
    """
    head = (
        f"{plan.year.project.info.name}: {plan.label.lower()} saving of {100 * plan.saving_frac:.1f} % by option "
        f"{plan.year.option.id}, to within {100 * plan.precision:.0f} % of it at "
        f"{100 * plan.confidence:.0f} % confidence"
    )
    spread = plan.spread[0]
    seen = (
        f"{plan.have[0]} days before and {plan.have[1]} after so far; at equal weather and time an hour differs by "
        f"{100 * spread.sigma:.0f} %, {100 * spread.day_frac:.0f} % of the variance by whole days, which "
        "hang together from "
        f"day to day by {spread.rho:.2f}"
    )
    blocks = [[wrapped(head, width, first="Plan"), wrapped(seen, width, first="Spread")]]
    if plan.notes:
        blocks.append([wrapped(note, width, 2, "!") for note in plan.notes])
    if plan.best is None:
        words = (
            "No number of weeks up to a year is enough: the saving is too small for the scatter of days. Ask for less "
            "(--precision, --confidence), or prove a larger part"
        )
    elif plan.best.before == plan.best.after == 0:
        words = "What is measured already is enough"
    else:
        words = f"From {_date(plan.start)} on: {weeks_text(plan.best)}"
    blocks.append([wrapped(words, width, first="Weeks")])
    rows = []
    for weeks in plan.table:
        e = weeks.expected
        rows.append(
            (
                f"{weeks.before} before, {weeks.after} after",
                "-" if e is None else f"{100 * e.covered_frac:.0f} %",
                "-" if e is None else f"{100 * e.precision:.0f} %",
                "enough" if weeks.enough else "",
            )
        )
    blocks.append(_table(("Further weeks", "Year's hours", "Saving within", ""), rows, width))
    if plan.intervals:
        said = ", ".join(f"{minutes} min {100 * share:.0f} %" for minutes, share in plan.intervals)
        longest = plan.longest_interval_min
        advice = f"every {longest} min or more often" if longest is not None else "more often than the log so far"
        blocks.append(
            [
                wrapped(
                    f"{advice} for energy; single samples add to the scatter of hours: {said}", width, first="Interval"
                )
            ]
        )
    table = kinds()
    blocks.append(
        [
            "Points (- in the log so far, ! to be added)",
            *(
                wrapped(f"{table[kind].label}, every {minutes} min: {why}", width, 2, "-" if has else "!")
                for kind, minutes, why, has in plan.points
            ),
        ]
    )
    return "\n\n".join("\n".join(block) for block in blocks if block)


# ---------------------------------------------------------------- plain data


def _fit(fit: Fit) -> dict:
    return {
        "days": fit.days,
        "hours": fit.hours,
        "day_to_day_correlation": round(fit.mean_rho, 3),
        "independent_days": round(fit.independent_days, 1),
        "cv_rmse_day": round(fit.cv_day, 4),
    }


def _expected(e: Expected | None) -> dict | None:
    if e is None:
        return None
    return {
        "half_width": e.half_width,
        "saving": e.saving,
        "precision": e.precision if np.isfinite(e.precision) else None,
        "covered_frac": round(e.covered_frac, 4),
    }


def _weeks(weeks: Weeks | None) -> dict | None:
    if weeks is None:
        return None
    return {
        "weeks_before": weeks.before,
        "weeks_after": weeks.after,
        "enough": weeks.enough,
        "expected": _expected(weeks.expected),
    }


def _use(use: Use) -> dict:
    found: dict = {
        "key": use.key,
        "label": use.label,
        "unit": use.unit,
        "basis": "measured" if use.measured else "modelled",
        "saving": use.saving,
        "interval_90": None if use.interval_90 is None else list(use.interval_90),
        "before": use.before,
        "claimed": use.claimed,
        "covered_frac": round(use.covered_frac, 4),
        "saving_year": use.saving_year,
        "interval_90_year": None if use.interval_90_year is None else list(use.interval_90_year),
        "claimed_year": use.claimed_year,
        "modelled_year": use.modelled_year,
        "realised_frac": use.realised_frac,
        "realised_interval_90": None if use.realised_interval_90 is None else list(use.realised_interval_90),
        "no_number": use.why or None,
        "notes": _notes(use),
    }
    c = use.compared
    if c is not None:
        found |= {
            "fractional_savings_uncertainty": None
            if not use.saving or use.interval_90 is None
            else 0.5 * (use.interval_90[1] - use.interval_90[0]) / abs(use.saving),
            "season_correction": c.season,
            "held": c.held,
            "days_before": _fit(c.before),
            "days_after": _fit(c.after),
            "terms": c.terms.names,
            "by_bin": list(c.by_bin),
        }
    return found


def _log(study) -> dict:
    log = study.log
    return {
        "files": list(dict.fromkeys(table.path.name for table in log.tables)),
        "first_day": str(log.day[0]),
        "last_day": str(log.day[-1]),
        "days": len(np.unique(log.day)),
        "days_running": len(np.unique(log.day[study.running.on])),
        "slot_min": log.step_s / 60.0,
    }


def realised_plain(found: Realised) -> dict:
    """Plain data of what was realised: what the file of ``--json`` holds."""
    year = found.year
    realised, claimed = found.cost_usd
    return plain(
        {
            "realised": "binestimator",
            "version": __version__,
            "project": year.project.info.name,
            "inputs": year.project.checksum(),
            "option": year.option.id,
            "baseline": year.project.baseline_id,
            "weather": {"file": year.weather.file_name, "running_hours": len(year.hours)},
            "before": _log(found.studies[0]),
            "after": _log(found.studies[1]),
            "uses": [_use(use) for use in found.uses],
            "cost_usd": {"realised_year": realised, "claimed_year": claimed},
            "gain_multiplier": found.gain,
            "still_needed": _weeks(found.needed),
            "still_needed_text": _needed_texts(found),
            "changes": [{"key": c.key, "text": c.text, "caution": c.caution, "value": c.value} for c in found.changes],
            "defeats": [
                {
                    "part": d.part,
                    "kind": d.kind,
                    "text": d.text,
                    "hours": round(d.hours, 1),
                    "frac": round(d.frac, 4),
                    "zone": d.zone or None,
                    "caution": d.caution,
                }
                for d in found.defeats
            ],
            "not_told": [*found.blind, *found.notes],
            "checksum": UNSEALED,
        }
    )


def plan_plain(plan: Plan) -> dict:
    """Plain data of a plan: what the file of ``--json`` holds."""
    return plain(
        {
            "measurement_plan": "binestimator",
            "version": __version__,
            "project": plan.year.project.info.name,
            "inputs": plan.year.project.checksum(),
            "option": plan.year.option.id,
            "of": plan.label,
            "unit": plan.unit,
            "before_year": plan.before_year,
            "saving_frac": plan.saving_frac,
            "confidence": plan.confidence,
            "precision": plan.precision,
            "starts": _date(plan.start),
            "best": _weeks(plan.best),
            "table": [_weeks(weeks) for weeks in plan.table],
            "interval_min": plan.longest_interval_min,
            "intervals": [{"minutes": m, "adds_frac": round(s, 4)} for m, s in plan.intervals],
            "spread": [
                {"correlation": round(s.rho, 3), "day_frac": round(s.day_frac, 3), "sigma": round(s.sigma, 4)}
                for s in plan.spread
            ],
            "days": {"before": plan.have[0], "after": plan.have[1]},
            "points": [
                {"kind": kind, "interval_min": minutes, "why": why, "in_log": has}
                for kind, minutes, why, has in plan.points
            ],
            "notes": list(plan.notes),
            "checksum": UNSEALED,
        }
    )


def as_json(data: dict) -> str:
    """Plain data as JSON, with a place for its seal."""
    return json.dumps(data, indent=1, ensure_ascii=False, allow_nan=False) + "\n"
