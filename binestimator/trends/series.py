"""Series of values in a log, which a map says the points of: columns, or lines that name a point."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Sequence

from binestimator.dataclass import dataclass
from binestimator.errors import InputError
from binestimator.trends.point_units import unit_named
from binestimator.trends.tables import Table

_MOST_NAMES = 20_000


@dataclass(frozen=True, slots=True)
class Source:
    """A series of values in a log: a column, or the lines that name a point.

    Parameters
    ----------
    table : int
        Place of its table in the list of tables.
    place : int
        Column of its values.
    name, unit, label : str
        As the log has them; label is a class or tags.
    sample : tuple
        Some cells.
    """

    table: int
    place: int
    name: str
    unit: str
    label: str
    sample: tuple


def sources(tables: Sequence[Table], progress: Callable[[float], None] | None = None) -> list[Source]:
    """All series of the tables; tables whose lines name their points are read through for the names.

    Raises
    ------
    InputError
        A table names more points than a log has.
    """
    found: list[Source] = []
    for number, table in enumerate(tables):
        if table.long is None:
            for group in table.groups:
                found += [Source(number, c.place, c.name, c.unit, c.label, c.sample) for c in group.columns]
            continue
        found += _named_lines(number, table, progress)
    return found


def _named_lines(number: int, table: Table, progress) -> list[Source]:
    long = table.long
    assert long is not None
    samples: dict[str, list] = defaultdict(list)
    about: dict[str, tuple[str, str]] = {}
    for piece in table.pieces(progress):
        names = piece[long.name].astype(str).str.strip()
        for name, rows in piece.groupby(names, sort=False):
            if name in ("", "nan", "None"):
                continue
            if name not in about:
                cell = lambda place, rows=rows: "" if place < 0 else str(rows[place].iloc[0]).strip()
                about[str(name)] = (unit_named(cell(long.unit)), cell(long.label))
                if len(about) > _MOST_NAMES:
                    raise InputError(
                        f"{table.name}: lines name more than {_MOST_NAMES:,} points; check that the column of names is "
                        "one, or export fewer points at a time"
                    )
            kept = samples[str(name)]
            if len(kept) < 2000:
                kept += rows[long.value].dropna().iloc[:: max(len(rows) // 100, 1)].tolist()[:200]
    return [
        Source(number, long.value, name, unit, "" if label == "nan" else label, tuple(samples[name]))
        for name, (unit, label) in about.items()
    ]
