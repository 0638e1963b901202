"""What trend logs say, as text for a terminal and as plain data. Plain ASCII but for the user's words."""

from __future__ import annotations

import json
import math
import textwrap
from collections.abc import Sequence

from binestimator import __version__
from binestimator.inputs.problems import printable
from binestimator.inputs.schema import value_text
from binestimator.seal import UNSEALED
from binestimator.trends.fragment import path_in_file, source_of
from binestimator.trends.merge import ADDED, KEPT, REFUSED, REPLACED, SAME, Merged
from binestimator.trends.point_map import PointMap
from binestimator.trends.profiles import by_outdoor_air, typical_week
from binestimator.trends.study import TrendStudy

_TITLE_WIDTH = 36
_MOST_NOTES, _MOST_ZONE_LINES = 4, 12


def wrapped(text: str, width: int, indent: int = 10, first: str = "") -> str:
    """Text of others in lines of a width, the first one behind ``first``."""
    return textwrap.fill(
        printable(text),
        width,
        initial_indent=first.ljust(indent),
        subsequent_indent=" " * indent,
        break_long_words=False,
    )


def map_lines(points: PointMap, width: int) -> list[str]:
    """What a draft guessed, and which columns are not used."""
    used = points.used
    lines = []
    if points.drafted:
        sure = sum(entry.sure == "sure" for entry in used)
        lines.append(
            wrapped(
                f"drafted by name and content: {len(used)} points, {sure} of them sure; look at it with "
                "--draft-map MAP.toml, change it and give it with --map",
                width,
                first="Map",
            )
        )
        shown = [entry for entry in used if entry.sure != "sure"]
        lines += [
            wrapped(f"{entry.sure}: {entry.column} is {entry.key} [{entry.unit}]: {entry.reason}", width)
            for entry in shown[:_MOST_ZONE_LINES]
        ]
        if len(shown) > _MOST_ZONE_LINES:
            lines.append(wrapped(f"and {len(shown) - _MOST_ZONE_LINES} more that are not sure", width))
        by_size = [
            entry
            for entry in used
            if entry.sure == "sure" and "by its size" in entry.reason and "named" in entry.reason
        ]
        lines += [wrapped(f"{entry.column}: {entry.reason}", width) for entry in by_size[:_MOST_ZONE_LINES]]
    else:
        lines.append(wrapped(f"as given: {len(used)} points", width, first="Map"))
    if points.air_handler and points.others:
        lines.append(
            wrapped(
                f"{points.air_handler} is studied; the log also holds {', '.join(points.others)} "
                f"(choose with "
                "--air-handler)",
                width,
            )
        )
    unused = [entry for entry in points.entries if not (entry.kind and entry.unit)]
    if unused and points.drafted:
        names = "; ".join(f"{entry.column} ({entry.reason})" for entry in unused[:_MOST_ZONE_LINES])
        more = f" and {len(unused) - _MOST_ZONE_LINES} more" if len(unused) > _MOST_ZONE_LINES else ""
        lines.append(wrapped(f"{names}{more}", width, first="Not used"))
    return lines


def _log_lines(study: TrendStudy, width: int) -> list[str]:
    log = study.log
    days = len(set(log.day.tolist()))
    span = int((log.day[-1] - log.day[0]).astype(int)) + 1
    gaps = "" if days >= 0.97 * span else f" (of {span} from first to last)"
    step = f"{log.step_s // 60} min"
    lines = [
        wrapped(
            f"{source_of(study)}: {days} day{'' if days == 1 else 's'}{gaps}, {len(log.values)} points, "
            f"{sum(q.samples for q in study.quality):,} samples in slots of {step}",
            width,
            first="Trends",
        )
    ]
    for table in log.tables[:6]:
        lines.append(wrapped(f"{table.name}: {table.words()}", width))
    if len(log.tables) > 6:
        lines.append(wrapped(f"and {len(log.tables) - 6} more files", width))
    said = []
    for count, words in (
        (sum(table.skipped for table in log.tables), "lines with more cells than columns left out"),
        (sum(table.unread_times for table in log.tables), "lines whose time cannot be read left out"),
        (log.zero_lines, "lines of zeros left out (a controller that has just started)"),
        (log.backwards, "times run backwards: put in order"),
        (log.set_back, "times the clock was set back (end of daylight saving): the hour counts once, as a mean"),
        (log.set_forward, "times the clock was set forward (start of daylight saving)"),
    ):
        if count:
            said.append(
                f"{count:,} {words if count != 1 else words.replace('lines', 'line', 1).replace('times', 'time', 1)}"
            )
    if said:
        lines.append(wrapped("; ".join(said), width))
    return lines


def _quality_lines(study: TrendStudy, width: int) -> list[str]:
    heads = ("Point", "Known", "Lowest", "Highest")
    first = min(max([len(q.key) for q in study.quality] + [len(heads[0])]) + 2, 40)
    lines = [f"{heads[0].ljust(first)}{heads[1]:>6}{heads[2]:>11}{heads[3]:>11}  Notes"]
    lines.append("-" * width)
    plain = [q for q in study.quality if "@" not in q.key or q.notes]
    silent = len(study.quality) - len(plain)
    zones = 0
    for q in plain:
        zones += "@" in q.key
        if zones > _MOST_ZONE_LINES and "@" in q.key:
            silent += 1
            continue
        number = lambda v: "-" if not math.isfinite(v) else f"{v:,.4g}" if abs(v) < 1e4 else f"{v:,.0f}"
        start = f"{printable(q.key)[: first - 1].ljust(first)}{100 * q.coverage:>5.0f}%"
        start += f"{number(q.low):>11}{number(q.high):>11}  "
        lines.append(wrapped("; ".join(q.notes[:_MOST_NOTES]) or "-", width, len(start), start))
    if silent:
        lines.append(f"and {silent} points of zones" + ("" if zones > _MOST_ZONE_LINES else " without notes"))
    lines += [wrapped(text, width, first="!") for text in study.contradictions]
    return lines


def _found_lines(study: TrendStudy, width: int) -> list[str]:
    lines = []
    for found in study.found:
        if not found.known:
            continue
        mark = "!" if found.caution else " "
        lines.append(wrapped(found.text, width, _TITLE_WIDTH + 2, f"{mark} {found.title}"))
        lines.append(wrapped(f"({found.hours:,.0f} h; {found.reason})", width, _TITLE_WIDTH + 2))
    return lines


def _beside_lines(study: TrendStudy) -> list[str]:
    """Measured beside modelled means by outdoor temperature, of occupied running hours that both have."""
    modelled = {(line["oat_low_f"], line["occupied"]): line for line in study.modelled}
    shown = [
        (line, modelled[line["oat_low_f"], True])
        for line in by_outdoor_air(study.log, study.running)
        if line["occupied"] and (line["oat_low_f"], True) in modelled
    ]
    columns = [
        (head, name, digits)
        for head, name, digits in (
            ("SAT degF", "sat_f", 1),
            ("DSP in. w.c.", "dsp_inwc", 2),
            ("Airflow cfm", "flow_cfm", 0),
            ("Fan kW", "fan_kw", 1),
        )
        if any(name in line for line, _ in shown)
    ]
    if not shown or not columns:
        return []
    lines = ["Measured and modelled: occupied running hours of the log, and of the baseline with the inputs found"]
    lines.append("Outdoors".ljust(12) + "Hours".rjust(7) + "".join(head.rjust(20) for head, _, _ in columns))
    for line, model in shown:
        cells = "".join(
            (f"{line[name]:,.{digits}f}" if name in line else "-").rjust(10) + f"{model[name]:,.{digits}f}".rjust(10)
            for _, name, digits in columns
        )
        lines.append(
            f"{line['oat_low_f']:g} to {line['oat_low_f'] + 5:g}".ljust(12) + f"{line['hours']:.0f}".rjust(7) + cells
        )
    return lines


def _unknown_lines(study: TrendStudy, width: int) -> list[str]:
    return [
        wrapped(found.reason, width, _TITLE_WIDTH + 2, f"? {found.title}") for found in study.found if not found.known
    ]


def _input_lines(study: TrendStudy, merged: Sequence[Merged] | None, width: int) -> list[str]:
    if merged is not None:
        lines = []
        words = {
            ADDED: "added",
            REPLACED: "replaces the given value",
            KEPT: "KEPT as given; --replace-given takes the found value",
            SAME: "as given",
            REFUSED: "not taken",
        }
        zone_lines = 0
        for m in merged:
            zone_lines += m.path.startswith("zone[") and m.action in (ADDED, SAME)
            if zone_lines > _MOST_ZONE_LINES and m.path.startswith("zone[") and m.action in (ADDED, SAME):
                continue
            given = "" if m.given is None or m.action == SAME else f", given {_shown(m.given)}"
            why = f": {m.why}" if m.why else ""
            lines.append(
                wrapped(f"{path_in_file(m.path)} = {_shown(m.found)}{given}: {words[m.action]}{why}", width, 4, "  ")
            )
        if zone_lines > _MOST_ZONE_LINES:
            lines.append(f"  and {zone_lines - _MOST_ZONE_LINES} more inputs of zones, added or as given")
        return lines
    inputs = study.inputs
    unit = [one for one in inputs if not one.path.startswith("zone[")]
    lines = []
    for one in unit:
        spread = (
            f"  (range {one.low:.4g} to {one.high:.4g})"
            if one.low is not None and one.high is not None and one.high > one.low
            else ""
        )
        lines.append(wrapped(f"{path_in_file(one.path)} = {_shown(one.value)}{spread}", width, 4, "  "))
    if len(unit) < len(inputs):
        zones = {one.path[5 : one.path.rindex("].")] for one in inputs if one.path.startswith("zone[")}
        lines.append(f"  and {len(inputs) - len(unit)} inputs of {len(zones)} zones")
    return lines


def _shown(value: object) -> str:
    if isinstance(value, (list, tuple)):
        return "[" + ", ".join(_shown(item) for item in value) + "]"
    return value_text(value)


def trends_text(study: TrendStudy, width: int, merged: Sequence[Merged] | None = None) -> str:
    """What was read, what it is worth, what was found, what cannot be told, which inputs follow.

    Parameters
    ----------
    study : TrendStudy
    width : int
        Columns.
    merged : sequence of Merged, optional
        What became of each input in a project.
    """
    blocks = [
        [*_log_lines(study, width), *map_lines(study.log.points, width)],
        _quality_lines(study, width),
        ["Found (! to be looked at)", *_found_lines(study, width)],
        ["Cannot be told from this", *_unknown_lines(study, width)] if any(not f.known for f in study.found) else [],
    ]
    beside = _beside_lines(study)
    if beside:
        blocks.append(beside)
    lines = _input_lines(study, merged, width)
    if lines:
        blocks.append(
            ["Inputs of a project that follow, status trended" if merged is None else "Inputs in the project", *lines]
        )
    return "\n\n".join("\n".join(block) for block in blocks if block)


def trends_plain(study: TrendStudy, merged: Sequence[Merged] | None = None) -> dict:
    """The study as plain data: what the file of ``--json`` holds."""
    log = study.log
    data = {
        "trends": "binestimator",
        "version": __version__,
        "log": {
            "files": list(dict.fromkeys(table.path.name for table in log.tables)),
            "air_handler": log.points.air_handler,
            "first_day": str(log.day[0]),
            "last_day": str(log.day[-1]),
            "days": len(set(log.day.tolist())),
            "slot_min": log.step_s / 60.0,
            "lines_too_long": sum(table.skipped for table in log.tables),
            "lines_without_time": sum(table.unread_times for table in log.tables),
            "lines_of_zeros": log.zero_lines,
            "times": [table.groups[0].form.words() for table in log.tables],
        },
        "map": [
            {
                "column": e.column,
                "file": e.file,
                "kind": e.kind,
                "zone": e.zone,
                "unit": e.unit,
                "score": round(e.score, 3),
                "reason": e.reason,
            }
            for e in log.points.entries
        ],
        "quality": [
            {
                "point": q.key,
                "column": q.column,
                "samples": q.samples,
                "kept": q.kept,
                "coverage_frac": round(q.coverage, 4),
                "low": q.low,
                "high": q.high,
                "notes": list(q.notes),
            }
            for q in study.quality
        ],
        "contradictions": list(study.contradictions),
        "by_outdoor_air": by_outdoor_air(log, study.running),
        "modelled_by_outdoor_air": list(study.modelled),
        "typical_week": typical_week(log, study.running),
        "found": [
            {
                "key": f.key,
                "title": f.title,
                "known": f.known,
                "caution": f.caution,
                "text": f.text,
                "reason": f.reason,
                "hours": round(f.hours, 2),
                "value": f.value,
                "inputs": [
                    {"path": path_in_file(i.path), "value": i.value, "low": i.low, "high": i.high} for i in f.inputs
                ],
            }
            for f in study.found
        ],
        "inputs": [
            {
                "path": path_in_file(i.path),
                "value": i.value,
                "low": i.low,
                "high": i.high,
                "evidence": i.evidence,
                "status": "trended",
            }
            for i in study.inputs
        ],
    }
    if merged is not None:
        data["merged"] = [
            {"path": path_in_file(m.path), "action": m.action, "found": m.found, "given": m.given, "why": m.why}
            for m in merged
        ]
    data["checksum"] = UNSEALED
    return plain(data)


def plain(value):
    """Plain data: no numbers of other libraries, none that JSON has no word for."""
    if isinstance(value, dict):
        return {str(key): plain(item) for key, item in value.items()}
    if isinstance(value, (list, tuple)):
        return [plain(item) for item in value]
    if isinstance(value, (str, bool)) or value is None:
        return value
    if hasattr(value, "item"):
        value = value.item()
    if isinstance(value, float):
        return value if math.isfinite(value) else None
    return value


def trends_json(study: TrendStudy, merged: Sequence[Merged] | None = None) -> str:
    """The study as JSON, with a place for its seal."""
    return json.dumps(trends_plain(study, merged), indent=1, ensure_ascii=False, allow_nan=False) + "\n"
