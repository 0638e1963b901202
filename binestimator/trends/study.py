"""A study of trend logs: look, map, gather, judge, find."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from pathlib import Path

from binestimator.dataclass import dataclass
from binestimator.trends.coils import coil_findings
from binestimator.trends.draft import draft
from binestimator.trends.fans import fan_findings
from binestimator.trends.found import Found, InputFound
from binestimator.trends.gather import gather
from binestimator.trends.log import Log
from binestimator.trends.map_file import check_map
from binestimator.trends.outdoor_air import outdoor_air_findings
from binestimator.trends.point_map import PointMap
from binestimator.trends.quality import PointQuality, contradictions, leave_out_stuck, quality_of
from binestimator.trends.running import Running, find_running, operating_hours
from binestimator.trends.series import Source, sources
from binestimator.trends.setpoint_tables import DSP, SAT
from binestimator.trends.setpoints import setpoint_findings
from binestimator.trends.tables import Table, look
from binestimator.trends.terminals import terminal_findings


@dataclass(frozen=True, slots=True)
class TrendStudy:
    """What trend logs say.

    Parameters
    ----------
    log : Log
        On a common time base.
    running : Running
    quality : tuple of PointQuality
    contradictions : tuple of str
    found : tuple of Found
        Every finding, those that cannot be told included.
    modelled : tuple of dict
        What the baseline of a project does by bins of outdoor temperature; empty without a project.
    """

    log: Log
    running: Running
    quality: tuple[PointQuality, ...]
    contradictions: tuple[str, ...]
    found: tuple[Found, ...]
    modelled: tuple[dict, ...] = ()

    def __getitem__(self, key: str) -> Found:
        """A finding by its key."""
        return next(found for found in self.found if found.key == key)

    @property
    def inputs(self) -> tuple[InputFound, ...]:
        """Inputs of a project that the findings give, each once."""
        chosen: dict[str, InputFound] = {}
        for found in self.found:
            for one in found.inputs:
                chosen[one.path] = one
        if "economizer.stuck_frac" in chosen:
            for path in ("economizer.integrated", "outdoor_air.position_frac", "outdoor_air.control"):
                chosen.pop(path, None)  # a damper that is stuck has no minimum position of its own
        return tuple(chosen.values())


def look_at(
    files: Sequence[str | Path], date_order: str = "", progress: Callable[[float], None] | None = None
) -> tuple[list[Table], list[Source]]:
    """Tables of files, and the series in them.

    Raises
    ------
    InputError
        A file cannot be used.
    """
    tables = [table for file in files for table in look(file, date_order)]
    return tables, sources(tables, progress)


def read_trends(
    files: Sequence[str | Path],
    points: PointMap | None = None,
    *,
    air_handler: str = "",
    timezone: str = "",
    progress: Callable[[float], None] | None = None,
) -> Log:
    """Read logs of one air handler.

    Parameters
    ----------
    files : sequence of path
    points : PointMap, optional
        Which column is which point; drafted by name and content when not given.
    air_handler : str
        Which one is studied, where the log holds several.
    timezone : str
        Name of the time zone to which stamps in UTC or with an offset are moved.
    progress : callable, optional
        Called with the share that is done.

    Raises
    ------
    InputError
        A file or the map cannot be used.
    """
    tables, found = look_at(files, "" if points is None else points.date_order)
    if points is None:
        points = draft(tables, found, air_handler)
    else:
        check_map(points, tables, found, "map of trend points")
    if timezone:
        points = replace(points, timezone=timezone)
    return gather(tables, points, progress)


def study(log: Log, index_dsp_inwc: float | None = None, max_cfm: Mapping[str, float] | None = None) -> TrendStudy:
    """What a log says.

    Parameters
    ----------
    log : Log
    index_dsp_inwc : float, optional
        Duct pressure of the index run of the project, by which pressure shares go.
    max_cfm : mapping, optional
        Design airflow of zones, by name, of the project.
    """
    running = find_running(log)
    leave_out_stuck(log, running)
    found: list[Found] = []
    hours, _ = operating_hours(log, running)
    found += hours
    for quantity in (SAT, DSP):
        found += setpoint_findings(log, running, quantity)
    found += outdoor_air_findings(log, running)
    found += coil_findings(log, running)
    found += fan_findings(log, running)
    found += terminal_findings(log, running, index_dsp_inwc, max_cfm)
    return TrendStudy(log, running, tuple(quality_of(log)), tuple(contradictions(log, running)), tuple(found))
