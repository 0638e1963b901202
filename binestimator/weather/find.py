"""Where weather files are looked for, and what is said where there is none."""

from __future__ import annotations

import importlib.util
import os
import re
from difflib import get_close_matches
from pathlib import Path

from binestimator.dataclass import dataclass
from binestimator.errors import WeatherError
from binestimator.inputs.files import read_file

WEATHER_FOLDER = Path(__file__).resolve().parents[2] / "weather"
"""Folder of the weather files that come with the project."""

_LARGEST_FILE_BYTES = 50_000_000

#: Typical years are named by the number of their station, or by their ending.
_LOOKS_LIKE_WEATHER = re.compile(r"\d{5,6}\w*\.csv|.*\.(?:epw|tm2|tmy2|tmy3|tmy)", re.IGNORECASE)
_SOURCES = (
    "typical years are published, free of charge, by the US National Renewable Energy Laboratory (TMY3 archive of the "
    "National Solar "
    "Radiation Database), by the US Department of Energy (EPW, worldwide), by the European Commission's PVGIS (EPW "
    "for any place) and by national "
    "weather services"
)


@dataclass(frozen=True, slots=True)
class _Place:
    """A folder in which weather is looked for: for people, and whether anything that is there counts as weather."""

    folder: Path
    words: str
    only_weather: bool = True


def _places(project_dir) -> list[_Place]:
    project = Path(project_dir)
    found = [_Place(project, "", False), _Place(project / "weather", "weather/ beside the project")]
    above = Path(os.path.abspath(project)).parents
    found += [
        _Place(folder / "weather", f"weather/ {_count(steps)} above the project")
        for steps, folder in enumerate(above, start=1)
    ]
    found += [
        _Place(Path("."), "the working folder", False),
        _Place(Path("weather"), "weather/ of the working folder"),
        _Place(WEATHER_FOLDER, "weather/ of this program"),
    ]
    data = _pvlib_data()
    return found if data is None else [*found, _Place(data, "the data of the installed pvlib", False)]


def _count(steps: int) -> str:
    words = ("one folder", "two folders", "three folders", "four folders", "five folders")
    return words[steps - 1] if steps <= len(words) else f"{steps} folders"


def _pvlib_data() -> Path | None:
    """Folder in which the installed pvlib keeps its typical years; pvlib itself is not loaded."""
    spec = importlib.util.find_spec("pvlib")
    return Path(spec.origin).parent / "data" if spec is not None and spec.origin else None


def find_weather(name, project_dir) -> Path:
    """Path of a weather file named in a project.

    Looked up as given when absolute; else beside the project file, in a ``weather`` folder
    beside it, in ``weather`` of the folders above it, in the working folder, in ``weather`` of
    it, among the files that come with the project, and among the typical years that come
    with pvlib.

    Parameters
    ----------
    name : str or Path
        File name or path.
    project_dir : str or Path
        Folder of the project file.

    Raises
    ------
    WeatherError
        When it is in none of these places; says where it was looked for, which weather files there are, and where
        others are to be had.
    """
    return find_place(name, project_dir)[0]


def find_place(name, project_dir) -> tuple[Path, str]:
    """Path of a weather file, and the place in words; empty beside the project or as given."""
    places = _places(project_dir)
    if os.path.isabs(name):
        return Path(name), ""
    if str(name).strip() in ("", ".", ".."):
        raise WeatherError(f"{str(name)!r}: not the name of a weather file; give its name, such as 723170TYA.CSV")
    for there in (os.path.isfile, os.path.lexists):  # a pipe or dead link only when there is no file
        for place in places:
            candidate = place.folder / name
            try:
                if there(candidate):
                    return candidate, place.words
            except ValueError:  # a zero byte in the name
                break
    project = os.path.abspath(project_dir)
    working = os.path.abspath(".")
    places_text = f"{project}, weather/ in it and in the folders above it"
    if working != project:
        places_text += f", the working folder {working} and its weather/"
    places_text += ", weather/ of this program" if WEATHER_FOLDER.is_dir() else ""
    places_text += ", and the typical years that come with pvlib" if _pvlib_data() is not None else ""
    raise WeatherError(
        f"{name}: weather file not found; looked in {places_text}; {_what_there_is(Path(name).name, places)}; "
        f"{_SOURCES}"
    )


_MOST_NAMED = 12


def _what_there_is(name: str, places: list[_Place]) -> str:
    """Names of the weather files in these folders, the likeliest first."""
    names: set[str] = set()
    for place in places:
        try:
            with os.scandir(place.folder) as entries:
                names |= {
                    entry.name
                    for entry, _ in zip(entries, range(2_000))
                    if _LOOKS_LIKE_WEATHER.fullmatch(entry.name)
                    and entry.is_file()
                    or place.only_weather
                    and entry.name.lower().endswith(".csv")
                    and entry.is_file()
                }
        except OSError:
            continue
    by_lower = {entry.lower(): entry for entry in sorted(names)}
    close = [by_lower[key] for key in get_close_matches(name.lower(), by_lower, n=1, cutoff=0.6)]
    hint = f"did you mean {close[0]}? " if close else ""
    listed = ", ".join(sorted(names)[:_MOST_NAMED]) + (
        f" and {len(names) - _MOST_NAMED} more" if len(names) > _MOST_NAMED else ""
    )
    return (
        f"{hint}there {'is' if len(names) == 1 else 'are'} {listed}" if names else "no weather file is in any of them"
    )


def bytes_of(path: Path) -> bytes:
    """Content of a weather file; where it is not there, what is and where others are to be had."""
    try:
        return read_file(path, "weather file", largest=_LARGEST_FILE_BYTES, error=WeatherError)
    except WeatherError as error:
        if os.path.lexists(path):
            raise
        raise WeatherError(f"{error}; {_what_there_is(path.name, _places(path.parent))}; {_SOURCES}") from None
