"""Which column of a log is which point: the map and its lines."""

from __future__ import annotations

from binestimator.dataclass import dataclass
from binestimator.trends.points import kinds

#: Words for how sure a draft is.
_SURE, _LIKELY = 0.85, 0.6


@dataclass(frozen=True, slots=True)
class Entry:
    """A line of the map.

    Parameters
    ----------
    column : str
        Name of the series in the log.
    file : str
        Name of its file; empty: any.
    kind : str
        One of :func:`binestimator.trends.points.kinds`; empty: not used.
    unit : str
        One of ``point_units.UNITS``; empty where it cannot be told, and the point is left out.
    air_handler, zone : str
    score : float
        How well name and content fit, 0 to 1; of a map that somebody wrote 1.
    reason : str
    """

    column: str
    file: str
    kind: str
    unit: str
    air_handler: str = ""
    zone: str = ""
    score: float = 1.0
    reason: str = ""

    @property
    def key(self) -> str:
        """Name of the point in the log of a study: the kind, with the zone after an at sign."""
        return f"{self.kind}@{self.zone}" if self.zone and kinds()[self.kind].scope == "zone" else self.kind

    @property
    def sure(self) -> str:
        """How sure a draft is, in a word."""
        return "sure" if self.score >= _SURE else "likely" if self.score >= _LIKELY else "guess"


@dataclass(frozen=True, slots=True)
class PointMap:
    """Map of points of one air handler.

    Parameters
    ----------
    air_handler : str
        Which one is studied; empty where the log names none.
    others : tuple of str
        Air handlers that the log holds besides.
    entries : tuple of Entry
    timezone, date_order : str
        Empty: as the log has it.
    drafted : bool
        The program made it.
    """

    air_handler: str
    others: tuple[str, ...]
    entries: tuple[Entry, ...]
    timezone: str = ""
    date_order: str = ""
    drafted: bool = True

    @property
    def used(self) -> tuple[Entry, ...]:
        """Entries whose points are read."""
        return tuple(entry for entry in self.entries if entry.kind and entry.unit)
