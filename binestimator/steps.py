"""The steps of a run that touch files: the weather of a project, and the two files that come out.

The workbook and the results file belong together: a new one beside an old one would be
worse than none. Both are first written into a hidden folder beside their places; only when
both are whole do they take their names, and if the second cannot, the first is put back: all or
none.
"""

from __future__ import annotations

import os
import shutil
import tempfile
from pathlib import Path

from binestimator.errors import WorkbookError

_FOLDER_PREFIX = ".binestimator-"


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


def free_stem(source, folder) -> str:
    """Name for the files of a run: that of the file that was read, with an addition where they would replace it."""
    source, folder = Path(source), Path(folder)
    stem = source.stem
    while any(os.path.realpath(folder / f"{stem}{ending}") == os.path.realpath(source) for ending in (".xlsx", ".json")):
        stem += "_rerun"
    return stem


def write_outputs(results, folder, stem: str, review=None) -> tuple[Path, Path]:
    """Write the workbook and the results file of a run.

    Parameters
    ----------
    results : Results
        From ``estimate``.
    folder : str or Path
        Made if it is missing, with its parents.
    stem : str
        Name of both files without their endings.
    review : Review, optional
        A second run with a reviewer's overrides, reported beside the claim.

    Returns
    -------
    workbook, results_file : Path
        ``<stem>.xlsx`` and ``<stem>.json`` in the folder.

    Raises
    ------
    WorkbookError
        The folder cannot be made or written, or one of the names belongs to a folder.

    Notes
    -----
    After any error or interruption both files are as they were before. A process that is
    killed outright can leave a hidden folder ``.binestimator-...`` behind, never a file that
    is half written.
    """
    from binestimator.workbook.write import write_results_json, write_workbook

    folder = Path(folder)
    made = _make_folder(folder)
    targets = (folder / f"{stem}.xlsx", folder / f"{stem}.json")
    for target in targets:
        if target.is_dir():
            _remove_folders(made)
            raise WorkbookError(f"{target}: is a folder where a file has to be written; move it or choose another --out")
    done = False
    working = None
    try:
        try:
            working = Path(tempfile.mkdtemp(dir=folder, prefix=_FOLDER_PREFIX))
        except OSError as error:
            raise _cannot_write(folder, error) from error
        new = tuple(working / f"new{target.suffix}" for target in targets)
        beside = () if review is None else (review,)
        write_workbook(results, new[0], *beside)
        write_results_json(results, new[1], *beside)
        _move_all(new, targets, working)
        done = True
    finally:
        if working is not None:
            shutil.rmtree(working, ignore_errors=True)
        if not done:
            _remove_folders(made)
    return targets


def _make_folder(folder: Path) -> list[Path]:
    """Make a folder and its parents; returns those made, the deepest first."""
    missing = []
    at = folder
    while not os.path.lexists(at):
        missing.append(at)
        at = at.parent
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except (FileExistsError, NotADirectoryError) as error:
        raise WorkbookError(f"{folder}: {at} is a file, not a folder; choose another folder with --out") from error
    except OSError as error:
        _remove_folders(missing)
        raise _cannot_write(folder, error) from error
    return missing


def _remove_folders(folders: list[Path]) -> None:
    """Remove folders made for a run that failed, as far as they are empty."""
    for folder in folders:
        try:
            folder.rmdir()
        except OSError:
            return  # something else is in it by now


def _cannot_write(folder: Path, error: OSError) -> WorkbookError:
    return WorkbookError(f"{folder}: the output folder cannot be written ({error.strerror or error}); "
                         "check its permissions and the space left, or choose another folder with --out")  # fmt: skip


def _move_all(new: tuple[Path, ...], targets: tuple[Path, ...], working: Path) -> None:
    """Give finished files their names; on failure put back what stood there."""
    moved: list[tuple[Path, Path | None]] = []
    try:
        for source, target in zip(new, targets, strict=True):
            kept = None
            if target.exists():
                kept = working / f"old{target.suffix}"
                # A copy, so that the name is never without a file.
                shutil.copy2(target, kept)
            moved.append((target, kept))
            os.replace(source, target)
    except BaseException as error:
        for target, kept in reversed(moved):
            if kept is not None:
                os.replace(kept, target)
            else:
                target.unlink(missing_ok=True)
        if isinstance(error, OSError):
            raise WorkbookError(f"{targets[len(moved) - 1]}: cannot be written ({error.strerror or error}); "
                                "check that the file is not open in another program, or choose another folder "
                                "with --out") from error  # fmt: skip
        raise
