"""Samples of a log to a common time base, in memory that does not grow with their number.

Each piece of a table is put to wall-clock time, values that cannot be are left out and counted by reason, and what is
left
is added to the slot of its day. A slot holds the mean of its samples. Points sampled more slowly than the slots hold
for
their own interval, points logged on change of value until the next sample; nothing else fills a gap.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence

import numpy as np
import pandas as pd

from binestimator.errors import InputError
from binestimator.inputs.problems import printable
from binestimator.trends import times
from binestimator.trends.cells import numbers
from binestimator.trends.cleaning import add, leave_out, zero_lines
from binestimator.trends.days import DAY_S, Days, slot_seconds
from binestimator.trends.log import Log, PointStats
from binestimator.trends.paces import held_on, paces
from binestimator.trends.point_map import PointMap
from binestimator.trends.points import kinds
from binestimator.trends.tables import Table

#: How long a sensor that is logged on change of value is taken to hold. [s]
SENSOR_HOLD = DAY_S
#: Kinds that stay where they are put, so that on change of value they hold to the end of the log.
_HELD = ("setpoint", "mode", "status")


def gather(tables: Sequence[Table], points: PointMap, progress: Callable[[float], None] | None = None) -> Log:
    """Read all samples of the mapped points.

    Parameters
    ----------
    tables : sequence of Table
    points : PointMap
    progress : callable, optional
        Called with the share that is done.

    Raises
    ------
    InputError
        No sample of any point could be used.
    """
    used = points.used
    keys = list(dict.fromkeys(entry.key for entry in used))
    stats = {key: PointStats(next(entry for entry in used if entry.key == key)) for key in keys}
    step_s = slot_seconds(tables, len(keys))
    days = Days(len(keys), step_s)
    log = Log(np.zeros(0, "datetime64[s]"), step_s, {}, stats, points, tuple(tables))
    sizes = [table.path.stat().st_size for table in tables]
    done = 0.0
    for table, size in zip(tables, sizes):
        share = size / max(sum(sizes), 1)
        tell = None if progress is None else (lambda part, done=done, share=share: progress(done + share * part))
        _read_table(table, used, keys, days, log, tell)
        done += share
    if progress is not None:
        progress(1.0)
    _assemble(log, keys, days)
    return log


def _read_table(table: Table, used, keys, days: Days, log: Log, progress) -> None:
    mine = [entry for entry in used if entry.file in ("", table.path.name)]
    zone = log.points.timezone
    for piece in table.pieces(progress):
        if table.long is not None:
            _long_piece(table, piece, mine, keys, days, log, zone)
            continue
        for group in table.groups:
            seconds = _seconds(piece, group, zone)
            good = seconds != times.NO_TIME
            table.unread_times += int(np.count_nonzero(~good))
            by_name = {column.name: column for column in group.columns}
            chosen = [(entry, by_name[entry.column]) for entry in mine if entry.column in by_name]
            if not chosen or not good.any():
                continue
            order, seconds = _in_order(seconds, good, log, table.interval_s)
            columns = []
            for entry, column in chosen:
                stats = log.stats[entry.key]
                raw = numbers(piece[column.place].iloc[order], table.decimal, stats.words)
                if column.status >= 0:
                    leave_out(raw, piece[column.status].iloc[order], stats)
                columns.append((entry, raw))
            zero = zero_lines(columns)
            log.zero_lines += int(np.count_nonzero(zero))
            for entry, raw in columns:
                raw[zero] = np.nan
                add(log.stats[entry.key], keys.index(entry.key), entry, seconds, raw, days)


def _long_piece(table: Table, piece, mine, keys, days, log, zone) -> None:
    long = table.long
    assert long is not None
    seconds = _seconds(piece, table.groups[0], zone)
    good = seconds != times.NO_TIME
    table.unread_times += int(np.count_nonzero(~good))
    names = piece[long.name].astype(str).str.strip()
    wanted = {entry.column: entry for entry in mine}
    for name, rows in piece.groupby(names, sort=False).indices.items():
        entry = wanted.get(str(name))
        if entry is None:
            continue
        rows = rows[good[rows]]
        if not len(rows):
            continue
        rows = rows[np.argsort(seconds[rows], kind="stable")]
        stats = log.stats[entry.key]
        raw = numbers(piece[long.value].iloc[rows], table.decimal, stats.words)
        if long.status >= 0:
            leave_out(raw, piece[long.status].iloc[rows], stats)
        add(stats, keys.index(entry.key), entry, seconds[rows], raw, days)


def _seconds(piece: pd.DataFrame, group, zone: str) -> np.ndarray:
    places = group.time_places
    column = piece[places[0]]
    if len(places) > 1:
        column = (
            column.astype(str).str.strip().str.replace(r" 00:00:00$", "", regex=True)
            + " "
            + piece[places[1]].astype(str)
        )
    return times.wall_clock(column, group.form, zone)


def _in_order(seconds: np.ndarray, good: np.ndarray, log: Log, interval_s: float) -> tuple[np.ndarray, np.ndarray]:
    """Places of lines with a time, in the order of time, and their times; clock changes are counted."""
    places = np.flatnonzero(good)
    seconds = seconds[places]
    steps = np.diff(seconds)
    regular = bool(len(steps)) and float(np.mean(np.abs(steps - interval_s) <= 60)) > 0.8
    back = steps < 0
    if back.any():
        hour = (seconds[1:] % DAY_S) / 3600.0
        clock = back & (np.abs(steps + 3600 - interval_s) <= interval_s + 60) & (hour < 3.0)
        log.set_back += int(np.count_nonzero(clock))
        if np.count_nonzero(back) < 0.9 * len(steps):  # a log that begins with its newest line is in order
            log.backwards += int(np.count_nonzero(back & ~clock))
        order = np.argsort(seconds, kind="stable")
        places, seconds = places[order], seconds[order]
    else:
        hour = (seconds[:-1] % DAY_S) / 3600.0
        ahead = (np.abs(steps - 3600 - interval_s) <= 60) & (hour >= 1.5) & (hour < 2.1)
        if not regular or interval_s >= 1800:
            ahead = back
        log.set_forward += int(np.count_nonzero(ahead))
    return places, seconds


def _assemble(log: Log, keys: list[str], days: Days) -> None:
    """Days to arrays; slow points and those on change of value hold as long as they may."""
    if not days.sums:
        raise InputError(
            f"{', '.join(printable(table.name) for table in log.tables)}: no value of any mapped point can be "
            f"used; look at "
            "the units and kinds of the map (--draft-map MAP.toml), and at the range of the values"
        )
    order = sorted(days.sums)
    start = np.concatenate([day * DAY_S + np.arange(days.slots) * days.step for day in order])
    anything = np.concatenate([(days.counts[day] > 0).any(axis=0) for day in order])
    paces(list(log.stats.values()))
    ends = {}
    for place, key in enumerate(keys):
        count = np.concatenate([days.counts[day][place] for day in order])
        with np.errstate(invalid="ignore", divide="ignore"):
            mean = np.concatenate([days.sums[day][place] for day in order]) / count
        last = np.concatenate([days.lasts[day][place] for day in order])
        stats = log.stats[key]
        hold = 0.0
        if stats.on_change:
            kind = kinds()[stats.entry.kind]
            held = any(word in kind.name for word in _HELD) or kind.unit_class == "status"
            hold = np.inf if held else SENSOR_HOLD
            mean = np.where(count > 0, last, np.nan)
        elif stats.interval_s > 1.2 * log.step_s:
            hold = 1.05 * stats.interval_s
        if hold:
            mean = held_on(mean, last, start, hold)
            # A value is known from its sample on, and not after the log has ended.
        ends[key] = mean.astype(np.float32)
    if any(log.stats[key].on_change for key in keys):
        known = np.flatnonzero(anything)
        anything = np.zeros_like(anything)
        anything[known[0] : known[-1] + 1] = True
    log.start = start[anything].astype("datetime64[s]")
    log.values = {key: values[anything] for key, values in ends.items()}
