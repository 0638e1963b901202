"""What was measured, from a results file of trend logs, beside what a project's baseline does: for the workbook."""

from __future__ import annotations

import json
import math
from pathlib import Path

from binestimator.dataclass import dataclass
from binestimator.errors import InputError
from binestimator.inputs.files import read_text
from binestimator.inputs.problems import printable
from binestimator.inputs.project import Project
from binestimator.trends.match import modelled_by_outdoor_air
from binestimator.trends.profiles import SHOWN

_MOST_LINES = 400
_KEYS = frozenset([*SHOWN.values(), "oat_f", "running_frac", "hours"])


@dataclass(frozen=True, slots=True)
class Measured:
    """Measured means, and modelled ones.

    Parameters
    ----------
    source : str
        Files and days of the log.
    by_outdoor_air, modelled : tuple of dict
        Lines of :func:`binestimator.trends.profiles.by_outdoor_air`, and the same of the baseline.
    typical_week : tuple of dict
    """

    source: str
    by_outdoor_air: tuple[dict, ...]
    typical_week: tuple[dict, ...]
    modelled: tuple[dict, ...] = ()


def read_measured(path: str | Path) -> Measured:
    """Measured means of a results file that ``binestimator trends --json`` has written.

    Raises
    ------
    InputError
        It is no such file.
    """
    path = Path(path)
    text = read_text(path, "results file of trend logs", "make one with: binestimator trends LOG.csv --json FILE.json")
    make = "expected one that `binestimator trends LOG.csv --json FILE.json` has written"
    try:
        raw = json.loads(text)
    except (ValueError, RecursionError) as error:
        raise InputError(f"{path}: not valid JSON ({printable(str(error))[:100]}); {make}") from None
    if not isinstance(raw, dict) or raw.get("trends") != "binestimator":
        raise InputError(f"{path}: no results file of trend logs; {make}")
    log = raw.get("log")
    names = log.get("files") if isinstance(log, dict) else None
    if not isinstance(log, dict) or not isinstance(names, list):
        raise InputError(f"{path}: the part log is missing or damaged; {make}")
    shown = ", ".join(printable(str(name))[:60] for name in names[:3])
    days = f"{printable(str(log.get('first_day')))[:10]} to {printable(str(log.get('last_day')))[:10]}"
    found = Measured(
        f"{shown}, {days}",
        _lines(path, raw, "by_outdoor_air", ("oat_low_f", "occupied", "hours"), make),
        _lines(path, raw, "typical_week", ("hour", "hours"), make),
    )
    if not found.by_outdoor_air:
        raise InputError(
            f"{path}: nothing was measured by outdoor temperature; the log needs it, and when the fan runs"
        )
    return found


def _lines(path: Path, raw: dict, part: str, needed: tuple[str, ...], make: str) -> tuple[dict, ...]:
    lines = raw.get(part)
    if not isinstance(lines, list) or len(lines) > _MOST_LINES:
        raise InputError(f"{path}: the part {part} is missing or damaged; {make}")
    kept = []
    for line in lines:
        if not isinstance(line, dict) or not all(_is_number(line.get(key)) for key in needed):
            raise InputError(f"{path}: a line of {part} lacks {', '.join(needed)}; {make}")
        kept.append({key: float(v) for key, v in line.items() if key in (*needed, *_KEYS) and _is_number(v)})
    return tuple(kept)


def _is_number(value: object) -> bool:
    return isinstance(value, (int, float)) and math.isfinite(value) and abs(value) < 1e12


def beside_model(found: Measured, project: Project, weather) -> Measured:
    """The same with what the project's baseline does in the same bins."""
    return Measured(
        found.source, found.by_outdoor_air, found.typical_week, tuple(modelled_by_outdoor_air(project, weather))
    )
