"""What a table's headings and first lines say: columns of time, of values, of points, of status."""

from __future__ import annotations

import re
from dataclasses import replace
from pathlib import Path

from binestimator.errors import InputError
from binestimator.inputs.problems import printable
from binestimator.trends import times
from binestimator.trends.cells import MISSING, STATES, plain_number
from binestimator.trends.point_units import unit_in_name, unit_named
from binestimator.trends.points import kind_of_class, read_name

from .table import HEAD_RECORDS, MOST_COLUMNS, Column, Group, Long, Table, text_of

_POINT_HEADS = frozenset(
    [
        "point",
        "pointname",
        "point_name",
        "name",
        "tag",
        "tagname",
        "object",
        "objectname",
        "object_name",
        "sensor",
        "variable",
        "id",
        "pointid",
        "point_id",
        "trend",
        "trendname",
        "item",
        "parameter",
        "metric",
        "series",
        "channel",
        "path",
        "ref",
        "key",
        "label",
        "objectid",
    ]
)
_VALUE_HEADS = frozenset(
    ["value", "val", "reading", "data", "measurement", "presentvalue", "present_value", "result", "actual"]
)
_CLASS_HEADS = frozenset(
    ["class", "brick", "brickclass", "brick_class", "type", "brick_type", "tags", "haystack", "haystacktags", "markers"]
)
_UNIT_HEADS = frozenset(["unit", "units", "uom", "engineeringunits", "engunits", "unit_of_measure"])
_STATUS_HEADS = frozenset(["status", "quality", "reliability", "flag", "flags", "statusflags"])
_TIME_HEADS = re.compile(r"time|date|stamp|epoch|\bts\b", re.I)
#: Words of a status column that say the value is not to be trusted.
BAD_STATUS = re.compile(
    r"bad|fault|stale|down|offline|invalid|unreliable|uncertain|questionable|null|overridden_bad", re.I
)


def is_number(text: str) -> bool:
    return plain_number(text, ".") is not None


def table_of(path, sheet, records, windows, delimiter, encoding, date_order) -> Table:
    import datetime

    where = f"{path.name}, sheet {sheet}" if sheet else str(path)
    width = max((len(record) for record in records[:HEAD_RECORDS]), default=0)
    if width > MOST_COLUMNS:
        raise InputError(
            f"{where}: {width:,} columns; at most {MOST_COLUMNS:,} are read; export fewer points at a time"
        )
    real_dates = [False] * width
    for record in records:
        for k, cell in enumerate(record[:width]):
            if type(cell) is not str and isinstance(cell, (datetime.datetime, datetime.date)):
                real_dates[k] = True
    head = [[text_of(cell) for cell in record] + [""] * (width - len(record)) for record in records]
    later = head[min(len(head) // 4, 25) :][:HEAD_RECORDS]
    time_places, dates_only, clocks = _time_columns(head, later, width)
    if not time_places:
        shown = "; ".join(printable(" | ".join(cell for cell in row if cell)[:60]) for row in head[:2])
        what = "times of day but no dates" if clocks else "no column of dates and times"
        raise InputError(
            f"{where}: {what}; got lines such as `{shown}`; expected a table with a column such as 2024-01-31 "
            f"07:05; check "
            "that it is the right file, or export it with dates"
        )
    paired = {place: next((c for c in clocks if abs(c - place) == 1), None) for place in dates_only}
    first_time = time_places[0]
    start = next(k for k, row in enumerate(head) if _stamp_like(row[first_time]))
    heads = head[:start]
    names, units, labels = _headings(heads, head[start:], width, time_places)
    decimal = _decimal(head[start : start + 200], delimiter, time_places)
    european = decimal == "," or delimiter == ";"

    def form_of(place: int) -> tuple[times.TimeForm, tuple[int, ...]]:
        clock = paired.get(place)
        places = (place,) if clock is None else (place, clock)
        if real_dates[place]:
            return times.TimeForm("stamps" if clock is None else "text"), places
        texts = [
            " ".join(row[p] for p in places)
            for part in (head[start:], *windows)
            for row in part
            if len(row) > max(places) and _stamp_like(row[place])
        ]
        if texts and all(is_number(text) for text in texts[:50]):
            form = times.number_form([float(text) for text in texts if is_number(text)])
            if form is not None:
                return form, places
        return times.text_form(texts, european, date_order), places

    used = set(time_places) | {clock for clock in paired.values() if clock is not None}
    groups = []
    for k, place in enumerate(time_places):
        end = time_places[k + 1] if k + 1 < len(time_places) else width
        begin = place if k else 0
        columns = [p for p in range(begin, end) if p not in used]
        if not columns:
            continue
        form, places = form_of(place)
        groups.append(
            Group(
                places,
                form,
                tuple(Column(p, names[p], units[p], labels[p], _sample(p, head[start:], windows)) for p in columns),
            )
        )
    if not groups:
        raise InputError(f"{where}: columns of times and no column of values; check that it is the right file")
    long = _long(names, groups[0], head[start:]) if len(groups) == 1 else None
    if long is None:
        groups = [_named_by_file(_with_status(group), path, sheet, heads) for group in groups]
    else:
        groups = [Group(groups[0].time_places, groups[0].form, ())]
    seconds = [s for part in (head[start:], *windows) for s in _stamps_of(part, groups[0], first_time) if s is not None]
    interval = _interval(head[start:], groups[0], first_time, long)
    # Duplicated headings and gaps do not matter here; that times are found at all does.
    if not seconds:
        raise InputError(
            f"{where}: stamps such as `{printable(head[start][first_time])[:40]}` cannot be read as dates and times; "
            "expected such as 2024-01-31 07:05"
        )
    table = Table(
        path,
        sheet,
        encoding,
        delimiter,
        decimal,
        start,
        width,
        tuple(groups),
        long,
        float(min(seconds)),
        float(max(seconds)),
        interval,
        float(len(head)),
        head[start:],
    )
    return table


def _sample(place, data, windows) -> tuple[str, ...]:
    """Cells of a column from all over what was looked at."""
    parts = ([row[place] for row in part if len(row) > place and row[place]] for part in (data, *windows))
    return tuple(cell for part in parts for cell in part[:: max(len(part) // 300, 1)])


def _stamp_like(text: str) -> bool:
    if times.is_stamp(text):
        return True
    if is_number(text):
        return times.number_form([float(text.replace(",", "."))]) is not None
    return False


def _time_columns(head, later, width) -> tuple[list[int], list[int], list[int]]:
    """Places of columns of time, those of them with dates alone, and columns of times of day."""
    found, dates_only, clocks = [], [], []
    for place in range(width):
        cells = [row[place] for row in later if row[place]]
        if len(later) == len(head):  # of a log of a few lines headings are a good part
            first = next((k for k, cell in enumerate(cells) if times.is_stamp(cell)), 0)
            cells = cells[first:]
        if not cells:
            continue
        stamps = sum(map(times.is_stamp, cells))
        if stamps >= 0.6 * len(cells):
            found.append(place)
            if not any(times.has_time_of_day(cell) for cell in cells):
                dates_only.append(place)
        elif sum(map(times.is_time_of_day, cells)) >= 0.6 * len(cells):
            clocks.append(place)
    if not found:
        for place in range(min(width, 12)):
            cells = [row[place] for row in later if row[place]]
            heads = " ".join(row[place] for row in head[:6] if not is_number(row[place]))
            if not cells or not (place == 0 or _TIME_HEADS.search(heads)):
                continue
            values = [float(cell) for cell in cells if re.fullmatch(r"\d+(\.\d+)?", cell)]
            if len(values) >= 0.9 * len(cells) and times.number_form(values) is not None:
                if len(values) > 2 and len(set(values)) < 2:
                    continue
                found.append(place)
                break
    # Beside a column with dates and times, one with dates alone or a second stamp of the same line says nothing more.
    whole = [place for place in found if place not in dates_only]
    if whole:
        found = whole
        if len(found) > 1 and any(b - a == 1 for a, b in zip(found, found[1:])):
            found = found[:1]
        dates_only = []
    else:
        found = found[:1]
    return found, dates_only, clocks


def _headings(heads, data, width, time_places) -> tuple[list[str], list[str], list[str]]:
    """Names, units and classes of columns, of the lines right above the data."""
    rows: list[list[str]] = []
    for row in reversed(heads[-6:]):
        cells = [cell for place, cell in enumerate(row) if cell and place not in time_places]
        if not cells or (len(cells) < 2 and width > 3 and len([c for c in row if c]) < 3):
            break
        if sum(map(is_number, cells)) > 0.5 * len(cells):
            break
        rows.insert(0, row)
    names, units, labels = [""] * width, [""] * width, [""] * width
    parts: list[list[str]] = []
    for row in rows:
        cells = [cell for place, cell in enumerate(row) if cell and place not in time_places]
        named = sum(bool(unit_named(cell)) for cell in cells)
        classes = sum(
            kind_of_class(cell, False) is not None and ("_" in cell or len(re.split(r"[\s,;-]+", cell)) > 2)
            for cell in cells
        )
        if rows.index(row) > 0 and named >= 0.5 * len(cells):
            units = [unit_named(cell) for cell in row]
        elif len(rows) > 1 and classes >= 0.5 * len(cells) and (parts or row is not rows[-1]):
            labels = list(row)
        else:
            parts.append(row)
    if not parts and any(labels):
        parts, labels = [labels], [""] * width
    for row in parts[-2:]:
        names = [f"{before} {cell}".strip() if cell != before else before for before, cell in zip(names, row)]
    lines = {row[0].rstrip(":").strip(): row[1] for row in heads if width > 1 and row[0] and row[1] and row not in rows}
    for place, name in enumerate(names):
        # Some exports number their columns and say above the table which point each is.
        if name in lines and read_name(lines[name]).ideas:
            names[place] = lines[name]
        if not units[place]:
            units[place] = unit_in_name(names[place])
    seen: dict[str, int] = {}
    for place, name in enumerate(names):
        name = name or f"column {place + 1}"
        seen[name] = seen.get(name, 0) + 1
        names[place] = name if seen[name] == 1 else f"{name} ({seen[name]})"
    return names, units, labels


def _decimal(data, delimiter, time_places) -> str:
    """The decimal sign of the numbers."""
    if delimiter == ",":
        cells = [c for row in data for p, c in enumerate(row) if p not in time_places and "," in c]
        return "," if cells and all(re.fullmatch(r"-?\d+,\d{1,2}", c) for c in cells) else "."
    commas = points = 0
    for row in data:
        for place, cell in enumerate(row):
            if place not in time_places:
                commas += re.fullmatch(r"[-+]?\d{1,7},\d+(\s*\D.*)?", cell) is not None
                points += re.fullmatch(r"[-+]?\d{1,7}\.\d+(\s*\D.*)?", cell) is not None
    return "," if commas > points else "."


def _long(names, group: Group, data) -> Long | None:
    """Places of a table whose lines name their points, or None."""
    if len(group.columns) > 12:
        return None
    plain = {c.place: re.sub(r"[\s.]+", "", c.name.casefold()) for c in group.columns}
    numeric, texts = [], []
    for column in group.columns:
        cells = [row[column.place] for row in data if row[column.place]]
        if not cells:
            continue
        kinds = [is_number(c) or c.casefold() in STATES or c.casefold() in MISSING for c in cells]
        head = plain[column.place]
        if sum(kinds) < 0.3 * len(cells) or head in _POINT_HEADS | _CLASS_HEADS | _UNIT_HEADS | _STATUS_HEADS:
            texts.append(column.place)
        else:
            numeric.append(column.place)
    if not texts:
        return None
    distinct = {place: len({row[place] for row in data}) for place in texts}
    by_head = lambda heads, places: next((p for p in places if plain[p] in heads), -1)
    unit, label = by_head(_UNIT_HEADS, texts), by_head(_CLASS_HEADS, texts)
    status = by_head(_STATUS_HEADS, texts)
    rest = [p for p in texts if p not in (unit, label, status)]
    name = by_head(_POINT_HEADS, rest)
    if name < 0:
        likely = [p for p in rest if any(read_name(row[p]).ideas for row in data[:50])]
        repeated = [p for p in likely if 1 < distinct[p] <= max(0.5 * len(data), 2)]
        name = max(repeated, key=lambda p: distinct[p], default=-1) if len(numeric) == 1 else -1
    value = by_head(_VALUE_HEADS, [*numeric, *rest])
    if value < 0 and len(numeric) == 1:
        value = numeric[0]
    if name < 0 or value < 0 or value == name:
        return None
    return Long(name, value, unit, label, status)


def _with_status(group: Group) -> Group:
    """Columns of values, each with the column of status right behind it."""
    columns: list[Column] = []
    for column in group.columns:
        head = re.sub(r"[\s.]+", "", re.sub(r" \(\d+\)$", "", column.name).casefold())
        plain = sum(is_number(cell) or cell.casefold() in STATES for cell in column.sample)
        says = columns and head in _STATUS_HEADS and columns[-1].place == column.place - 1
        if says and plain < 0.5 * max(len(column.sample), 1):
            columns[-1] = replace(columns[-1], status=column.place)
        else:
            columns.append(column)
    return replace(group, columns=tuple(columns))


def _named_by_file(group: Group, path: Path, sheet: str, heads) -> Group:
    """Columns with names; where the only one's says nothing, that of the file, of the sheet or above the table."""
    if len(group.columns) > 2:
        return group
    columns = []
    for column in group.columns:
        ideas = read_name(re.sub(r"(?i)^(present )?val(ue)?\b", "", column.name)).ideas
        name = column.name
        if not ideas - {"status", "signal"}:
            above = [cell.partition(":")[2].strip() or cell for row in heads for cell in row if cell and cell != name]
            choices = [text for text in (path.stem, sheet, *above) if read_name(text).ideas]
            name = choices[0] if choices else f"{path.stem} {column.name}"
        columns.append(replace(column, name=name, unit=column.unit or unit_in_name(name)))
    return Group(group.time_places, group.form, tuple(columns))


def _stamps_of(rows, group: Group, place: int) -> list[float | None]:
    form = group.form
    found: list[float | None] = []
    for row in rows:
        if len(row) <= max(group.time_places):
            continue
        text = " ".join(row[p] for p in group.time_places)
        if form.kind in ("s", "ms", "serial"):
            if is_number(text):
                number = float(text)
                found.append({"s": number, "ms": number / 1000.0}.get(form.kind, (number - 25569.0) * 86400.0))
        else:
            found.append(times.seconds_of(text, "year first" if form.kind == "stamps" else form.order))
    return found


def _interval(rows, group: Group, place: int, long: Long | None) -> float:
    """Usual step between stamps of one point, of the lines looked at. [s]"""
    import numpy as np

    if long is not None:
        counts: dict[str, int] = {}
        for row in rows:
            counts[row[long.name]] = counts.get(row[long.name], 0) + 1
        most = max(counts, key=counts.get) if counts else ""  # type: ignore[arg-type]
        rows = [row for row in rows if row[long.name] == most]
    stamps = [s for s in _stamps_of(rows, group, place) if s is not None]
    steps = np.diff(np.array(stamps))
    back = float(np.mean(steps < 0)) if steps.size else 0.0
    if 0.1 < back < 0.9:  # in no order: neighbours in time may not be among the lines looked at
        steps = np.diff(np.unique(stamps))
        return float(np.quantile(steps, 0.1)) if steps.size else 300.0
    steps = np.abs(steps)[steps != 0]
    return float(np.median(steps)) if steps.size else 300.0
