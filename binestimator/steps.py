"""The steps of a run that touch files: the weather of a project, and the files that come out."""

from __future__ import annotations

import functools
import os
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

from binestimator.dataclass import dataclass
from binestimator.errors import WeatherError, WorkbookError
from binestimator.writing import Manners, NewFile, check_places, remedy, same_file, write_files

if TYPE_CHECKING:
    from binestimator.results import Results

_ENDINGS = (".xlsx", ".json", "_handover.txt")
_CLIENT_ENDING = "_client.xlsx"


def weather_of(project):
    """Typical year that a project names, read as the project asks.

    Parameters
    ----------
    project : Project
        Its ``weather`` section and the folder of its file are used.

    Returns
    -------
    Weather

    Raises
    ------
    WeatherError
        The file is not found or cannot be used.
    """
    from binestimator.weather import weather_for

    record = project.weather
    return weather_for(record.file, project.source_dir, whole_f=record.whole_f, pressure_psia=record.pressure_psia)


def weather_years_of(project, weather) -> tuple:
    """Other weather years of a project's ranges, in the order of its terms.

    Parameters
    ----------
    project : Project
    weather : Weather
        Of the project's own year.

    Returns
    -------
    tuple of Weather

    Raises
    ------
    WeatherError
        Names every file that cannot be used, or is of another place.
    """
    from binestimator.weather import weather_for
    from binestimator.weather.place import elsewhere

    found, wrong, record = [], [], project.weather
    for one in project.terms.weather_years:
        where = f"weather_year[{one.name}].file"
        try:
            other = weather_for(
                one.file, project.source_dir, whole_f=record.whole_f, pressure_psia=record.pressure_psia
            )
        except WeatherError as error:
            wrong.append(f"{where}: {error}")
            continue
        said = elsewhere(weather, other)
        if said:
            wrong.append(f"{where}: {said}")
        found.append(other)
    if wrong:
        raise WeatherError("\n".join(wrong))
    return tuple(found)


def read_any(path):
    """Project of a project file, an input form or a workbook of results.

    Parameters
    ----------
    path : str or Path

    Returns
    -------
    project : Project
        The claim.
    review : dict
        Path -> value that a reviewer put over it; empty for project files.
    reviewed : Project or None
        The project with these; None when there are none.

    Raises
    ------
    InputError
        The file cannot be used.
    """
    from binestimator.inputs.form import is_workbook, read_form
    from binestimator.inputs.read import read_project

    if not is_workbook(path):
        return read_project(path), {}, None
    form = read_form(path)
    return form.project, form.review, form.reviewed


def trail_of(path):
    """What a form or workbook carries over from those who reviewed it and from its run; None for a project file.

    Raises
    ------
    InputError
        Its sheet for reviews breaks a limit.
    """
    from binestimator.inputs.form import is_workbook
    from binestimator.inputs.trail import read_trail

    return read_trail(path) if is_workbook(path) else None


def files_read(path, *projects, weather: bool = True) -> tuple[Path, ...]:
    """Files that a run on a project file, form or workbook reads: that file, zones, and weather if it does.

    Parameters
    ----------
    path : str or Path
    projects : Project
        As it was read, and with a reviewer's overrides.
    """
    from binestimator.weather import find_weather

    found = [Path(path)]
    for project in projects:
        if weather:
            found.append(find_weather(project.weather.file, project.source_dir))
            found += _found_years(project)
        if project.info.zones_csv:
            found.append(Path(project.source_dir) / project.info.zones_csv)
    return tuple(dict.fromkeys(found))


def _found_years(project) -> list[Path]:
    """Files of other weather years, those that there are: :func:`weather_years_of` tells of the others."""
    from binestimator.weather import find_weather

    found = []
    for one in project.terms.weather_years:
        try:
            found.append(find_weather(one.file, project.source_dir))
        except WeatherError:
            continue
    return found


def output_places(folder, stem: str, *, client: bool = False) -> tuple[Path, ...]:
    """Names of workbook, results file and hand-over of a run, and of the client edition if there is to be one."""
    endings = (*_ENDINGS, _CLIENT_ENDING) if client else _ENDINGS
    return tuple(Path(folder) / f"{stem}{ending}" for ending in endings)


def free_stem(source, folder, read=(), *, client: bool = False) -> str:
    """Name for the files of a run: that of the file that was read, with an addition where they would replace a file
    that was read."""
    stem = Path(source).stem
    while any(
        same_file(place, other) for place in output_places(folder, stem, client=client) for other in (source, *read)
    ):
        stem += "_rerun"
    return stem


@dataclass(frozen=True, slots=True)
class Written:
    """Files of a run.

    Parameters
    ----------
    workbook, results_file, handover : Path
    kept : dict
        Files that already existed and may hold somebody's work: name -> name under which each is kept.
    client : Path or None
        The client edition.
    results : Results
        What was written, with the ranges that were drawn meanwhile.
    """

    workbook: Path
    results_file: Path
    handover: Path
    kept: dict[Path, Path]
    client: Path | None
    results: Results


def check_outputs(folder, stem: str, manners: Manners = Manners(), *, client: bool = False) -> None:
    """Refuse before the work what :func:`write_outputs` would refuse after it.

    Raises
    ------
    WorkbookError
    """
    at = _missing(Path(folder))[1]
    if not os.path.isdir(at):
        raise _no_folder(folder, at, manners)
    if not os.access(at, os.W_OK | os.X_OK):
        raise WorkbookError(
            f"{folder}: nothing can be written in the folder {at}; check its permissions, or {manners.elsewhere}"
        )
    if os.path.isdir(folder):
        places = output_places(folder, stem, client=client)
        check_places(places, _kinds()[: len(places)], replace(manners, keep=True))


def _kinds() -> tuple[str, ...]:
    """Kinds of the files of :func:`output_places`."""
    from binestimator.seal import CLIENT, HANDOVER, RESULTS

    return RESULTS, RESULTS, HANDOVER, CLIENT


def write_outputs(
    results,
    folder,
    stem: str,
    review=None,
    manners: Manners = Manners(),
    *,
    client: bool = False,
    trail=None,
    with_ranges: Callable[[Results], Results] | None = None,
) -> Written:
    """Write workbook, results file and hand-over of a run, and the client edition if asked for, all or none.

    Parameters
    ----------
    results : Results
        From ``estimate``.
    folder : str or Path
        Made if it is missing, with its parents.
    stem : str
        Name of the files without their endings.
    review : Review, optional
        A second run with a reviewer's overrides, reported beside the claim.
    manners : Manners
        Files that were read, and whether to replace others. Files of an earlier run that were changed since, or have
        no seal, are kept under another name unless ``force`` is set.
    client : bool
        Write the client edition as well: the sheets for the owner alone, with values.
    trail : Trail, optional
        What the file that was read carries over; see :func:`trail_of`.
    with_ranges : callable, optional
        Gives the results with ranges, as ``ranges.find.with_ranges`` does. It is called when the sheets that do not
        show them are written: they may be drawn meanwhile.

    Returns
    -------
    Written
        ``<stem>.xlsx``, ``<stem>.json``, ``<stem>_handover.txt`` and, if asked for, ``<stem>_client.xlsx`` in the
        folder, and what was kept.

    Raises
    ------
    WorkbookError
        The folder cannot be made or written, or one of the names belongs to a file that must not be replaced.
    InputError
        From ``with_ranges``.

    Notes
    -----
    The files of a run belong together: a new one beside an old one would be worse than
    none. After any error or interruption all are as they were before. A process that is killed outright can
    leave hidden files ``.binestimator-...`` behind, never one that is half written.
    """
    from binestimator.workbook.write import client_bytes, handover_bytes, results_bytes, workbook_bytes

    more: dict[str, Any] = {name: value for name, value in (("review", review), ("trail", trail)) if value is not None}

    later: dict[str, Any] = {}
    if with_ranges is not None:
        ranged = functools.cache(lambda: with_ranges(results))
        later["ranged"] = ranged
    workbook = workbook_bytes(results, **more, **later)
    if with_ranges is not None:
        results = ranged()
    contents = [workbook, results_bytes(results, **more), handover_bytes(results)]
    if client:
        contents.append(client_bytes(results))
    places = output_places(folder, stem, client=client)
    made = _make_folder(Path(folder), manners)
    done = False
    try:
        kept = write_files(
            [NewFile(*file) for file in zip(places, contents, _kinds()[: len(places)], strict=True)],
            replace(manners, keep=True),
        )
        done = True
    finally:
        if not done:
            _remove_folders(made)
    return Written(places[0], places[1], places[2], kept, places[3] if client else None, results)


def _missing(folder: Path) -> tuple[list[Path], Path]:
    """Folders to be made, the deepest first, and what exists above them."""
    missing = []
    at = folder
    while not os.path.lexists(at) and at != at.parent:
        missing.append(at)
        at = at.parent
    return missing, at


def _no_folder(folder, at: Path, manners: Manners) -> WorkbookError:
    what = "a link that leads to no folder" if os.path.islink(at) else "a file, not a folder"
    return WorkbookError(f"{folder}: {at} is {what}; {manners.elsewhere}")


def _make_folder(folder: Path, manners: Manners) -> list[Path]:
    """Make a folder and its parents; returns those made, the deepest first."""
    missing, at = _missing(folder)
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except (FileExistsError, NotADirectoryError) as error:
        raise _no_folder(folder, at, manners) from error
    except OSError as error:
        _remove_folders(missing)
        do = remedy(error, manners.elsewhere) or f"check the permissions of {at}, or {manners.elsewhere}"
        raise WorkbookError(f"{folder}: the output folder cannot be made ({error.strerror or error}); {do}") from error
    return missing


def _remove_folders(folders: list[Path]) -> None:
    """Remove folders made for a run that failed, as far as they are empty."""
    for folder in folders:
        try:
            folder.rmdir()
        except OSError:
            return  # something else is in it by now
