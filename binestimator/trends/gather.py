"""Samples of a log to a common time base, in memory that does not grow with their number.

Each piece of a table is put to wall-clock time, values that cannot be are left out and counted by reason, and what is
left
is added to the slot of its day. A slot holds the mean of its samples. Points sampled more slowly than the slots hold
for
their own interval, points logged on change of value until the next sample; nothing else fills a gap.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Sequence
from dataclasses import field

import numpy as np
import pandas as pd

from binestimator.dataclass import dataclass
from binestimator.errors import InputError
from binestimator.inputs.problems import printable
from binestimator.trends import times
from binestimator.trends.cells import Words, numbers
from binestimator.trends.point_map import Entry, PointMap
from binestimator.trends.point_units import converted
from binestimator.trends.points import kinds
from binestimator.trends.tables import BAD_STATUS, Table

#: Slots that a log may be put into. [s]
SLOTS = (60, 120, 300, 600, 900, 1800, 3600)
#: Cells (slots times points) up to which the finest are taken: some 100 MB.
MOST_CELLS = 8_000_000
_DAY = 86_400
#: A sample this far from the median of the five around it is a spike. [degF]
SPIKE_F = 10.0
#: Longest interval between samples at which spikes can be told from changes. [s]
_SPIKE_INTERVAL = 300
#: How long a sensor that is logged on change of value is taken to hold. [s]
SENSOR_HOLD = _DAY
_MOST_STEPS = 4_000
#: Kinds that stay where they are put, so that on change of value they hold to the end of the log.
_HELD = ("setpoint", "mode", "status")


#: Of a point that is logged on change of value: changes it takes to tell, share that may be none or tiny, and a rest as
#: a multiple of the usual step, in at least a share of the time.
_LEAST_CHANGES, _FEW, _RESTED, _LEAST_REST = 20, 0.01, 2.5, 0.1


@dataclass(slots=True)
class PointStats:
    """What became of the samples of a point.

    Parameters
    ----------
    entry : Entry
    samples : int
        Cells with a time, empty ones included.
    kept : int
    words : Words
        Cells without a number.
    out_of_range, zeros, spikes, repeated, untrusted : int
        Samples left out: outside the plausible range, zero where no air is, spikes, a second sample of the same time,
        marked bad by a column of status.
    low, high : float
        Range of those kept.
    first_s, last_s : float
    interval_s : float
        Usual step between samples.
    on_change : bool
        Logged on change of value.
    stuck_h : float
        Hours left out because the value did not move at all.
    outliers : list
        Some of the values out of range, for the reader.
    """

    entry: Entry
    samples: int = 0
    kept: int = 0
    words: Words = field(default_factory=Words)
    out_of_range: int = 0
    zeros: int = 0
    spikes: int = 0
    repeated: int = 0
    untrusted: int = 0
    low: float = np.inf
    high: float = -np.inf
    first_s: float = np.inf
    last_s: float = -np.inf
    interval_s: float = np.nan
    on_change: bool = False
    stuck_h: float = 0.0
    outliers: list = field(default_factory=list)
    steps: Counter = field(default_factory=Counter)
    equal: int = 0
    changes: list = field(default_factory=list)
    last_value: float = np.nan
    tail_s: float = np.nan

    @property
    def left_out(self) -> int:
        """Samples with a number that were left out."""
        return self.out_of_range + self.zeros + self.spikes + self.repeated + self.untrusted


@dataclass(slots=True)
class Log:
    """A log on a common time base.

    Parameters
    ----------
    start : ndarray of datetime64[s] (R,)
        Wall-clock start of each slot; only slots of days that the log has.
    step_s : int
    values : dict
        Key of a point -> float32 (R,), NaN where nothing was logged.
    stats : dict
        Key -> :class:`PointStats`.
    points : PointMap
    tables : tuple of Table
    zero_lines : int
        Lines in which all temperatures are zero: left out whole.
    set_back, set_forward, backwards : int
        Clock changes seen, and lines out of order.
    """

    start: np.ndarray
    step_s: int
    values: dict[str, np.ndarray]
    stats: dict[str, PointStats]
    points: PointMap
    tables: tuple[Table, ...]
    zero_lines: int = 0
    set_back: int = 0
    set_forward: int = 0
    backwards: int = 0

    @property
    def step_h(self) -> float:
        """Length of a slot. [h]"""
        return self.step_s / 3600.0

    def get(self, key: str) -> np.ndarray | None:
        """Values of a point, or None where the log has none."""
        values = self.values.get(key)
        return values if values is not None and np.isfinite(values).any() else None

    @property
    def zones(self) -> tuple[str, ...]:
        """Names of the zones that have points."""
        return tuple(dict.fromkeys(key.partition("@")[2] for key in self.values if "@" in key))

    @property
    def day(self) -> np.ndarray:
        """Day of each slot. (R,)"""
        return self.start.astype("datetime64[D]")

    @property
    def hour(self) -> np.ndarray:
        """Clock hour of each slot's start, with fraction. (R,)"""
        return (self.start - self.day).astype(np.int64) / 3600.0

    @property
    def weekday(self) -> np.ndarray:
        """0 for Monday to 6. (R,)"""
        return (self.day.astype(np.int64) + 3) % 7  # 1 January 1970 was a Thursday


def slot_seconds(tables: Sequence[Table], points: int) -> int:
    """Length of slots: the finest that the samples fill and that memory allows. [s]"""
    finest = min((table.interval_s for table in tables), default=300.0)
    spans = 0.0
    for table in tables:
        span = table.last_s - table.first_s
        by_lines = np.inf if table.long else table.records * table.interval_s * 1.2
        spans = max(spans, min(span, by_lines) + _DAY)
    for step in SLOTS:
        if step >= 0.75 * finest and spans / step * max(points, 1) <= MOST_CELLS:
            return step
    return SLOTS[-1]


class _Days:
    """Sums and counts of samples by day, point and slot."""

    def __init__(self, points: int, step_s: int):
        self.points, self.step, self.slots = points, step_s, _DAY // step_s
        self.sums: dict[int, np.ndarray] = {}
        self.counts: dict[int, np.ndarray] = {}
        self.lasts: dict[int, np.ndarray] = {}

    def add(self, place: int, seconds: np.ndarray, values: np.ndarray) -> None:
        """Samples of a point in the order of time."""
        days = seconds // _DAY
        slot = (seconds - days * _DAY) // self.step
        edges = np.flatnonzero(np.diff(days)) + 1
        for begin, end in zip((0, *edges), (*edges, len(days))):
            day = int(days[begin])
            if day not in self.sums:
                self.sums[day] = np.zeros((self.points, self.slots), np.float32)
                self.counts[day] = np.zeros((self.points, self.slots), np.uint16)
                self.lasts[day] = np.full((self.points, self.slots), np.nan, np.float32)
            part, within = slot[begin:end], values[begin:end]
            self.sums[day][place] += np.bincount(part, within, self.slots).astype(np.float32)
            count = self.counts[day][place]
            count += np.minimum(np.bincount(part, minlength=self.slots), 65_535 - count).astype(np.uint16)
            self.lasts[day][place][part] = within


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
    days = _Days(len(keys), step_s)
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


def _read_table(table: Table, used, keys, days: _Days, log: Log, progress) -> None:
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
                    _leave_out(raw, piece[column.status].iloc[order], stats)
                columns.append((entry, raw))
            zero = _zero_lines(columns)
            log.zero_lines += int(np.count_nonzero(zero))
            for entry, raw in columns:
                raw[zero] = np.nan
                _add(log.stats[entry.key], keys.index(entry.key), entry, seconds, raw, days)


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
            _leave_out(raw, piece[long.status].iloc[rows], stats)
        _add(stats, keys.index(entry.key), entry, seconds[rows], raw, days)


def _leave_out(raw: np.ndarray, status: pd.Series, stats: PointStats) -> None:
    """Take out values that their status says are not to be trusted."""
    bad = status.astype(str).str.contains(BAD_STATUS).to_numpy(dtype=bool)
    stats.untrusted += int(np.count_nonzero(bad & np.isfinite(raw)))
    raw[bad] = np.nan


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
        hour = (seconds[1:] % _DAY) / 3600.0
        clock = back & (np.abs(steps + 3600 - interval_s) <= interval_s + 60) & (hour < 3.0)
        log.set_back += int(np.count_nonzero(clock))
        if np.count_nonzero(back) < 0.9 * len(steps):  # a log that begins with its newest line is in order
            log.backwards += int(np.count_nonzero(back & ~clock))
        order = np.argsort(seconds, kind="stable")
        places, seconds = places[order], seconds[order]
    else:
        hour = (seconds[:-1] % _DAY) / 3600.0
        ahead = (np.abs(steps - 3600 - interval_s) <= 60) & (hour >= 1.5) & (hour < 2.1)
        if not regular or interval_s >= 1800:
            ahead = back
        log.set_forward += int(np.count_nonzero(ahead))
    return places, seconds


def _zero_lines(columns) -> np.ndarray:
    """Lines in which all air temperatures of the unit are exactly zero: a controller that has just started. (n,)"""
    raws = [
        raw
        for entry, raw in columns
        if kinds()[entry.kind].unit_class == "temperature" and entry.kind in ("sat", "mat", "rat")
    ]
    n = len(columns[0][1])
    if len(raws) < 2:
        return np.zeros(n, dtype=bool)
    return np.all([raw == 0.0 for raw in raws], axis=0)


def _add(stats: PointStats, place: int, entry: Entry, seconds: np.ndarray, raw: np.ndarray, days: _Days) -> None:
    """Clean the samples of a point, count what is left out, and add the rest."""
    kind = kinds()[entry.kind]
    stats.samples += len(raw)
    valid = np.isfinite(raw)
    seconds, raw = seconds[valid], raw[valid]
    if not len(raw):
        return
    if kind.unit_class == "status":
        values = (raw > 0.0).astype(float) if raw.max() > 1.0 else raw.astype(float)
    else:
        values = converted(raw, entry.unit)
    # A temperature of exactly zero in the log's own unit is what a lost sensor reads; outdoors it may be true.
    zero = np.zeros(len(raw), dtype=bool)
    if kind.unit_class == "temperature" and entry.kind not in ("oat", "oa_dewpoint"):
        zero = raw == 0.0
        stats.zeros += int(np.count_nonzero(zero))
    outside = ~zero & ((values < kind.low) | (values > kind.high))
    count = int(np.count_nonzero(outside))
    if count:
        stats.out_of_range += count
        if len(stats.outliers) < 3:
            stats.outliers += [float(v) for v in raw[outside][: 3 - len(stats.outliers)]]
    keep = ~(zero | outside)
    seconds, values = seconds[keep], values[keep]
    again = np.zeros(len(seconds), dtype=bool)
    if len(seconds) > 1:
        again[1:] = (seconds[1:] == seconds[:-1]) & (values[1:] == values[:-1])
        stats.repeated += int(np.count_nonzero(again))
        seconds, values = seconds[~again], values[~again]
    if not len(values):
        return
    steps = np.diff(seconds)
    if sum(stats.steps.values()) < _MOST_STEPS and len(steps):
        part = steps[:_MOST_STEPS]
        stats.steps.update(part[part > 0].tolist())
        changes = np.abs(np.diff(values[: _MOST_STEPS + 1]))
        stats.equal += int(np.count_nonzero(changes == 0.0))
        stats.changes.append(changes.astype(np.float32))
    elif sum(stats.steps.values()) < _MOST_STEPS and np.isfinite(stats.tail_s) and seconds[0] > stats.tail_s:
        stats.steps[int(seconds[0] - stats.tail_s)] += 1
        stats.equal += int(values[0] == stats.last_value)
    if kind.unit_class == "temperature" and len(values) >= 5 and np.median(steps) <= _SPIKE_INTERVAL:
        spike = _spikes(values)
        stats.spikes += int(np.count_nonzero(spike))
        seconds, values = seconds[~spike], values[~spike]
    stats.kept += len(values)
    stats.low, stats.high = min(stats.low, float(values.min())), max(stats.high, float(values.max()))
    stats.first_s, stats.last_s = min(stats.first_s, float(seconds[0])), max(stats.last_s, float(seconds[-1]))
    stats.tail_s, stats.last_value = float(seconds[-1]), float(values[-1])
    days.add(place, seconds, values)


def _spikes(values: np.ndarray) -> np.ndarray:
    """Single samples, or two, that leave the median of the five around them and come back. (n,)"""
    padded = np.pad(values, 2, mode="edge")
    around = np.stack([padded[k : k + len(values)] for k in range(5)])
    return np.abs(values - np.median(around, axis=0)) > SPIKE_F


def _assemble(log: Log, keys: list[str], days: _Days) -> None:
    """Days to arrays; slow points and those on change of value hold as long as they may."""
    if not days.sums:
        raise InputError(
            f"{', '.join(printable(table.name) for table in log.tables)}: no value of any mapped point can be "
            f"used; look at "
            "the units and kinds of the map (--draft-map MAP.toml), and at the range of the values"
        )
    order = sorted(days.sums)
    start = np.concatenate([day * _DAY + np.arange(days.slots) * days.step for day in order])
    anything = np.concatenate([(days.counts[day] > 0).any(axis=0) for day in order])
    _paces(list(log.stats.values()))
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
            mean = _held(mean, last, start, hold)
            # A value is known from its sample on, and not after the log has ended.
        ends[key] = mean.astype(np.float32)
    if any(log.stats[key].on_change for key in keys):
        known = np.flatnonzero(anything)
        anything = np.zeros_like(anything)
        anything[known[0] : known[-1] + 1] = True
    log.start = start[anything].astype("datetime64[s]")
    log.values = {key: values[anything] for key, values in ends.items()}


def _paces(points: Sequence[PointStats]) -> None:
    """Pace of all points. Where most are logged on change of value, a noisy one that rests at times is as well."""
    for stats in points:
        _pace(stats)
    if sum(stats.on_change for stats in points) > 0.5 * len(points):
        for stats in points:
            stats.on_change = stats.on_change or _rests(stats)


def _pace(stats: PointStats) -> None:
    """Usual interval, and whether the point is logged on change of value."""
    total = sum(stats.steps.values())
    if not total:
        stats.on_change = stats.kept > 0
        return
    steps = np.array(list(stats.steps), dtype=float)
    weights = np.array(list(stats.steps.values()), dtype=float)
    order = np.argsort(steps)
    middle = int(np.searchsorted(np.cumsum(weights[order]), 0.5 * total))
    stats.interval_s = float(steps[order][min(middle, len(steps) - 1)])
    usual = (
        weights[np.abs(steps - steps[np.argmax(weights)]) <= max(2.0, 0.02 * steps[np.argmax(weights)])].sum() / total
    )
    # On and off that never repeats itself is a list of starts and stops.
    switches = kinds()[stats.entry.kind].unit_class == "status" and total > 1 and stats.equal == 0
    stats.on_change = (
        bool(usual < 0.6 and (stats.equal < 0.3 * total or total < 50)) or switches or _by_threshold(stats)
    )


def _by_threshold(stats: PointStats) -> bool:
    """Whether samples are there only where the value has moved: none repeats the one before, all move by some least
    amount, and where it rested there is none. A value that is read at fixed times repeats itself or moves by next to
    nothing now and then, whatever is missing."""
    if not _rests(stats):
        return False
    changes = np.concatenate(stats.changes)
    return bool(np.mean(changes < 0.25 * np.median(changes)) <= _FEW)


def _rests(stats: PointStats) -> bool:
    """Whether a point has pauses and hardly a sample that repeats the one before."""
    steps = np.array(list(stats.steps), dtype=float)
    counts = np.array(list(stats.steps.values()), dtype=float)
    changes = sum(map(len, stats.changes))
    if changes < _LEAST_CHANGES or stats.equal > _FEW * changes:
        return False
    rested = steps > _RESTED * stats.interval_s
    return bool((steps * counts)[rested].sum() >= _LEAST_REST * (steps * counts).sum())


def _held(mean: np.ndarray, last: np.ndarray, start: np.ndarray, hold_s: float) -> np.ndarray:
    """Empty slots take the last value before them while it holds."""
    known = np.isfinite(mean)
    place = np.where(known, np.arange(len(mean)), -1)
    place = np.maximum.accumulate(place)
    filled = mean.copy()
    empty = ~known & (place >= 0)
    age = start[empty] - start[place[empty]]
    within = age <= hold_s
    target = np.flatnonzero(empty)[within]
    filled[target] = last[place[target]]
    return filled
