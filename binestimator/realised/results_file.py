"""What was realised, from a results file of ``binestimator realised``: for the workbook of the same project."""

from __future__ import annotations

import json
import math
from dataclasses import replace
from pathlib import Path

from binestimator.dataclass import dataclass
from binestimator.errors import InputError
from binestimator.inputs.files import LARGEST_FILE, read_file, text_of
from binestimator.inputs.problems import printable
from binestimator.inputs.project import Project
from binestimator.seal import REALISED, mark_of

_MAKE = (
    "expected one as `binestimator realised PROJECT --before LOG.csv --after LOG.csv --json FILE.json` has written it"
)
#: Bounds of what is read: lines of a list, characters of a text, values in all, depth of lists in lists.
_MOST_LINES, _MOST_CHARACTERS, _MOST_VALUES, _DEEPEST = 200, 2_000, 50_000, 8
_LARGEST = 1e12


@dataclass(frozen=True, slots=True)
class Measurement:
    """What a measured saving rests on.

    Parameters
    ----------
    days, independent_days : (float, float)
        Before and after; the second are as many days without correlation that would tell as much.
    season, held : float
        Correction for the season of the logs, and saving of hours that the logs do not cover. [unit of the end use]
    """

    days: tuple[float, float]
    independent_days: tuple[float, float]
    season: float
    held: float


@dataclass(frozen=True, slots=True)
class UseFound:
    """An end use, or a load of a coil.

    Parameters
    ----------
    label, unit : str
    measured : bool
        Else as modelled from the measured setpoints.
    of_year : bool
        Whether saving, interval and claim are of all running hours of the year, else of the covered ones.
    saving, claimed : float or None
        ``saving`` is None where the logs carry no number.
    interval_90 : (float, float) or None
    realised_frac, realised_interval_90 : float, (float, float) or None
        Realised over claimed.
    covered_frac : float
        Share of the year's running hours that both logs have the weather of.
    of_before : tuple of float or None
        Saving, claim, and both ends of the interval where there is one, over the energy before of the same hours; None
        where there is no saving, or nothing was used before.
    modelled_year : float or None
        Of what is measured: the saving by the model at the measured setpoints.
    measurement : Measurement or None
    no_number : str
    notes : tuple of str
    """

    label: str
    unit: str
    measured: bool
    of_year: bool
    saving: float | None
    claimed: float | None
    interval_90: tuple[float, float] | None
    realised_frac: float | None
    realised_interval_90: tuple[float, float] | None
    covered_frac: float
    of_before: tuple[float, ...] | None
    modelled_year: float | None
    measurement: Measurement | None
    no_number: str
    notes: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class RealisedFile:
    """What a results file of realised savings says.

    Parameters
    ----------
    data : dict
        All of it as plain data, texts made printable.
    project, inputs, option, baseline : str
        Name of the project, checksum of its inputs, ids.
    before, after : str
        Files and days of the logs.
    uses : tuple of UseFound
    cost_usd : (float or None, float or None)
        Realised and claimed. [USD/yr]
    gain : float
        Multiplier of internal gains with which the model has the measured airflow.
    needed : tuple of str
        What it takes for a better figure.
    changes, defeats : tuple of (text, caution)
        What else differs between both periods; what kept the reset from acting.
    not_told : tuple of str
    other_inputs : bool
        Whether the inputs are others than those of the project that it is shown with.
    """

    data: dict
    project: str
    inputs: str
    option: str
    baseline: str
    before: str
    after: str
    uses: tuple[UseFound, ...]
    cost_usd: tuple[float | None, float | None]
    gain: float
    needed: tuple[str, ...]
    changes: tuple[tuple[str, bool], ...]
    defeats: tuple[tuple[str, bool], ...]
    not_told: tuple[str, ...]
    other_inputs: bool = False


# ---------------------------------------------------------------- words that terminal and workbook share


#: Said where a project is another than at the time of the file.
OTHER_INPUTS = (
    "inputs have changed since what was saved was found: the claim beside it is that of the inputs of that time; make "
    "its results file again with: binestimator realised"
)


def modelled_words(gain: float) -> str:
    """What a figure as modelled is."""
    more = "" if gain == 1.0 else f", with internal gains times {gain:.2f} so that airflow is as measured"
    return (
        "As modelled: the project's model at the supply temperatures and duct pressures measured before and after"
        f"{more}; it has no interval, since what the model lacks is not known"
    )


def defeat_words(text: str, kind: str, frac: float) -> str:
    """What kept a reset from acting, with its share of the running time; at a limit that is beyond the claim's."""
    return f"{text} ({100 * frac:.0f} %{' more' if kind == 'at_limit' else ''} of the running time)"


# ---------------------------------------------------------------- reading


def read_realised(path: str | Path) -> RealisedFile:
    """A results file that ``binestimator realised --json`` has written.

    Raises
    ------
    InputError
        It is no such file, or is not as it was written.
    """
    path = Path(path)
    what = "results file of realised savings"
    content = read_file(path, what, largest=LARGEST_FILE)
    text = text_of(content, str(path), what, _MAKE)
    try:
        raw = json.loads(text)
    except (ValueError, RecursionError) as error:
        raise InputError(f"{path}: not valid JSON ({printable(str(error))[:100]}); {_MAKE}") from None
    mark = mark_of(content)
    if not isinstance(raw, dict) or raw.get("realised") != "binestimator":
        other = f", but of the kind {mark.kind!r}" if mark.kind not in (None, REALISED) else ""
        raise InputError(f"{path}: no {what}{other}; {_MAKE}")
    if not mark.whole:
        raise InputError(f"{path}: was changed since it was written: its checksum is another; {_MAKE}")
    return _Part(path, "", _Plain(path).of(raw)).file()


def of_project(found: RealisedFile, project: Project, path: str | Path) -> RealisedFile:
    """The same for a project that it was made for, with whether inputs have changed since.

    Raises
    ------
    InputError
        It is of another project, baseline or option.
    """
    asks = "give the results file of this project, or make it again with: binestimator realised"
    if found.project != printable(project.info.name):
        raise InputError(
            f"{path}: is of another project; got {found.project!r}; expected {printable(project.info.name)!r}; {asks}"
        )
    if found.baseline != project.baseline_id:
        raise InputError(
            f"{path}: compares with another baseline; got {found.baseline!r}; expected {project.baseline_id!r}; {asks}"
        )
    others = [candidate.id for candidate in project.candidates if candidate.id != project.baseline_id]
    if found.option not in others:
        raise InputError(
            f"{path}: is of an option that the project does not have; got {found.option!r}; expected one of "
            f"{', '.join(others)}; {asks}"
        )
    return replace(found, other_inputs=found.inputs != project.checksum())


class _Plain:
    """Copies plain data within bounds: texts printable, numbers finite."""

    def __init__(self, path: Path):
        self.path, self.left = path, _MOST_VALUES

    def of(self, value, depth: int = 0):
        self.left -= 1
        if depth > _DEEPEST or self.left < 0:
            raise InputError(f"{self.path}: holds more than such a file does; {_MAKE}")
        if isinstance(value, dict):
            return {printable(key)[:_MOST_CHARACTERS]: self.of(v, depth + 1) for key, v in value.items()}
        if isinstance(value, list):
            return [self.of(v, depth + 1) for v in value]
        if isinstance(value, str):
            return printable(value)[:_MOST_CHARACTERS]
        if value is None or isinstance(value, bool) or _is_number(value):
            return value
        raise InputError(f"{self.path}: holds a number out of range; {_MAKE}")


def _is_number(value: object) -> bool:
    return (
        isinstance(value, (int, float))
        and not isinstance(value, bool)
        and math.isfinite(value)
        and abs(value) < _LARGEST
    )


@dataclass(frozen=True, slots=True)
class _Part:
    """A part of the file under its name, asked for what it must hold."""

    path: Path
    name: str
    data: dict

    def _bad(self, key: str) -> InputError:
        return InputError(f"{self.path}: the part {self.name}{key} is missing or damaged; {_MAKE}")

    def text(self, key: str, *, empty: bool = False) -> str:
        value = self.data.get(key)
        if value is None and empty:
            return ""
        if not isinstance(value, str):
            raise self._bad(key)
        return value

    def truth(self, key: str) -> bool:
        value = self.data.get(key)
        if not isinstance(value, bool):
            raise self._bad(key)
        return value

    def number(self, key: str) -> float:
        value = self.maybe(key)
        if value is None:
            raise self._bad(key)
        return value

    def maybe(self, key: str) -> float | None:
        """A number, None where it says null."""
        value = self.data.get(key, "")
        if value is not None and not _is_number(value):
            raise self._bad(key)
        return None if value is None else float(value)

    def ends(self, key: str) -> tuple[float, float] | None:
        value = self.data.get(key, "")
        if value is None:
            return None
        if not isinstance(value, list) or len(value) != 2 or not all(map(_is_number, value)) or value[0] > value[1]:
            raise self._bad(key)
        return float(value[0]), float(value[1])

    def lines(self, key: str) -> list:
        value = self.data.get(key)
        if not isinstance(value, list) or len(value) > _MOST_LINES:
            raise self._bad(key)
        return value

    def texts(self, key: str) -> tuple[str, ...]:
        lines = self.lines(key)
        if not all(isinstance(line, str) for line in lines):
            raise self._bad(key)
        return tuple(lines)

    def part(self, key: str) -> _Part:
        value = self.data.get(key)
        if not isinstance(value, dict):
            raise self._bad(key)
        return _Part(self.path, f"{self.name}{key}.", value)

    def parts(self, key: str) -> list[_Part]:
        lines = self.lines(key)
        if not all(isinstance(line, dict) for line in lines):
            raise self._bad(key)
        return [_Part(self.path, f"{self.name}{key}[{k}].", line) for k, line in enumerate(lines)]

    def file(self) -> RealisedFile:
        cost = self.part("cost_usd")
        return RealisedFile(
            data=self.data,
            project=self.text("project"),
            inputs=self.text("inputs"),
            option=self.text("option"),
            baseline=self.text("baseline"),
            before=self.part("before").log(),
            after=self.part("after").log(),
            uses=tuple(part.use() for part in self.parts("uses")),
            cost_usd=(cost.maybe("realised_year"), cost.maybe("claimed_year")),
            gain=self.number("gain_multiplier"),
            needed=self.texts("still_needed_text"),
            changes=tuple((part.text("text"), part.truth("caution")) for part in self.parts("changes")),
            defeats=tuple(
                (defeat_words(part.text("text"), part.text("kind"), part.number("frac")), part.truth("caution"))
                for part in self.parts("defeats")
            ),
            not_told=self.texts("not_told"),
        )

    def log(self) -> str:
        files = self.texts("files")
        more = f" and {len(files) - 3} more" if len(files) > 3 else ""
        days = f"{self.text('first_day')} to {self.text('last_day')}, {self.number('days_running'):.0f} days"
        return f"{', '.join(files[:3])}{more}: {days} with the fan running"

    def use(self) -> UseFound:
        basis = self.text("basis")
        if basis not in ("measured", "modelled"):
            raise self._bad("basis")
        measured = basis == "measured"
        kinds = [(self.maybe(f"saving{of}"), self.ends(f"interval_90{of}"), self.maybe(f"claimed{of}"))
                 for of in ("_year", "")]  # fmt: skip
        # As the terminal does: the year where there is a figure of it, else the covered hours.
        of_year = kinds[0][0] is not None or kinds[1][0] is None
        saving, interval, claimed = kinds[0] if of_year else kinds[1]
        covered, before = kinds[1], self.maybe("before")
        of_before = None
        if covered[0] is not None and covered[2] is not None and before is not None and before > 0.0:
            of_before = tuple(v / before for v in (covered[0], covered[2], *(covered[1] or ())))
        return UseFound(
            label=self.text("label"),
            unit=self.text("unit"),
            measured=measured,
            of_year=of_year,
            saving=saving,
            claimed=claimed,
            interval_90=interval,
            realised_frac=self.maybe("realised_frac"),
            realised_interval_90=self.ends("realised_interval_90"),
            covered_frac=self.number("covered_frac"),
            of_before=of_before,
            modelled_year=self.maybe("modelled_year"),
            measurement=self.measurement() if measured and saving is not None else None,
            no_number=self.text("no_number", empty=True),
            notes=self.texts("notes"),
        )

    def measurement(self) -> Measurement:
        before, after = self.part("days_before"), self.part("days_after")
        return Measurement(
            (before.number("days"), after.number("days")),
            (before.number("independent_days"), after.number("independent_days")),
            self.number("season_correction"),
            self.number("held"),
        )
