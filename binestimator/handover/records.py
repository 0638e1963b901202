"""Plain records of a hand-over, and the mapping between them: setpoint, who reads it, how it is tested.

Texts name what they speak of by marks ``<S_SAT_MAX>``. :func:`resolve` puts the value and the id in place of a mark and
keeps which were named, so that the mapping is what the texts say and cannot differ from it.

Ids begin with ``S_`` (setpoint), ``P_`` (point), ``Q_`` (clause of the sequence), ``T_`` (functional test), ``A_``
(alarm), ``M_`` (line of the monthly check): names that a controller takes as they are.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping

from ..dataclass import dataclass

_MARK = re.compile(r"<([SP]_[A-Z0-9_]+|[a-z_0-9]+)>")


@dataclass(frozen=True, slots=True, kw_only=True)
class Setpoint:
    """A number, line or table that is programmed.

    ``id`` · ``label`` · ``value`` with its unit · ``number`` where it is one, in ``unit`` · ``points`` of a line (x, y)
    · ``source`` where it comes from · ``as_found`` what to restore, empty where there was no such setting ·
    ``by_id`` texts name it by its id alone, since its value is a table.
    """

    id: str
    label: str
    value: str
    source: str
    number: float | None = None
    unit: str = ""
    points: tuple[tuple[float, float], ...] = ()
    as_found: str = ""
    by_id: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Point:
    """A point of the controls that is read or trended: ``interval`` of trending, ``why`` it is needed."""

    id: str
    label: str
    unit: str
    interval: str
    why: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Clause:
    """A paragraph of the sequence of operation; ``names`` ids of setpoints and points that it reads."""

    id: str
    title: str
    text: str
    names: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Test:
    """A functional test: what is done, and what has to be seen. ``names`` as in :class:`Clause`."""

    #: Not a case for pytest.
    __test__ = False

    id: str
    title: str
    steps: tuple[str, ...]
    passes: tuple[str, ...]
    names: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Watch:
    """An alarm or a line of the monthly check: when it speaks, and what to do. ``names`` as in :class:`Clause`."""

    id: str
    title: str
    when: str
    do: str
    names: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Row:
    """Setpoints at an outdoor temperature (or at an airflow in % of design): the least and the most that the strategy
    gives there, the same where requests do not move it. ``unoccupied`` None: as in occupied hours."""

    x: float
    occupied: tuple[float, float]
    unoccupied: tuple[float, float] | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Table:
    """Setpoints over what they depend on. ``key`` sat or dsp · ``x_label`` and ``unit`` of the setpoint."""

    key: str
    title: str
    x_label: str
    unit: str
    rows: tuple[Row, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Choice:
    """Which option is handed over: its id (None: none), and why that one in plain words."""

    candidate_id: str | None
    notes: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Expected:
    """What the estimate expects at an outdoor temperature, for the monthly check.

    From, up to [degF], hours a year, mean supply air [degF], mean duct static [in. w.c.].
    """

    low_f: float
    high_f: float
    hours: float
    sat_f: float
    dsp_inwc: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Zone:
    """Zone line as the resets know it.

    ``count`` of alike zones · ``importance`` multiplier of its requests · setpoints occupied and unoccupied [degF] ·
    least and largest airflow [cfm] · ``sat_max_f`` warmest supply air allowed, None without · ``rogue`` known to ask
    without need (none, failed_sensor, starved_branch, both) · hours a year with requests, as estimated.
    """

    name: str
    count: int
    importance: float
    heat_f: float
    cool_f: float
    heat_unoccupied_f: float
    cool_unoccupied_f: float
    min_cfm: float
    max_cfm: float
    sat_max_f: float | None
    rogue: str
    temperature_request_hours: float
    pressure_request_hours: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Handover:
    """Everything that is handed over of one option. With ``choice.candidate_id`` None all but head and cautions is
    empty.

    ``head`` (label, text) · ``changes`` other inputs that the option changes: (what, as found, new) · ``reversal``
    steps · ``cautions`` (label, text) · ``procedure`` for rogue zones, step by step.
    """

    choice: Choice
    run_id: str
    project: str
    name: str
    head: tuple[tuple[str, str], ...]
    setpoints: tuple[Setpoint, ...] = ()
    tables: tuple[Table, ...] = ()
    zones: tuple[Zone, ...] = ()
    changes: tuple[tuple[str, str, str], ...] = ()
    points: tuple[Point, ...] = ()
    clauses: tuple[Clause, ...] = ()
    tests: tuple[Test, ...] = ()
    alarms: tuple[Watch, ...] = ()
    monthly: tuple[Watch, ...] = ()
    expected: tuple[Expected, ...] = ()
    procedure: tuple[str, ...] = ()
    reversal: tuple[str, ...] = ()
    cautions: tuple[tuple[str, str], ...] = ()
    deference: str = ""

    def readers(self, id_: str) -> tuple[str, ...]:
        """Clauses, alarms and monthly lines that read a setpoint or point."""
        parts: tuple[Clause | Watch, ...] = (*self.clauses, *self.alarms, *self.monthly)
        return tuple(part.id for part in parts if id_ in part.names)

    def tested_by(self, id_: str) -> tuple[str, ...]:
        """Functional tests of a setpoint or point."""
        return tuple(test.id for test in self.tests if id_ in test.names)


class Names:
    """Setpoints and points by id, for texts that name them.

    Parameters
    ----------
    setpoints, points : sequence
    """

    def __init__(self, setpoints, points):
        self._said = {s.id: f"[{s.id}]" if s.by_id else f"{s.value} [{s.id}]" for s in setpoints}
        self._said |= {p.id: f"[{p.id}]" for p in points}
        self.setpoints: Mapping[str, Setpoint] = {s.id: s for s in setpoints}

    def __contains__(self, id_: str) -> bool:
        return id_ in self._said

    def number(self, id_: str) -> float:
        """Number of a setpoint.

        Raises
        ------
        ValueError
            It is a line or a text.
        """
        found = self.setpoints[id_].number
        if found is None:
            raise ValueError(f"{id_} is no number")
        return found

    def resolve(self, template: str, **values: object) -> tuple[str, tuple[str, ...]]:
        """Text with marks replaced, and the ids that it names in order. Words of a user come as ``values``: what they
        hold is never looked at.

        Raises
        ------
        KeyError
            A mark of nothing that there is: a mistake of the program.
        """
        named: dict[str, None] = {}

        def said(match: re.Match) -> str:
            key = match[1]
            if key[:2] in ("S_", "P_"):
                named[key] = None
                return self._said[key]
            return str(values[key])

        # A unit that ends with a point ends the sentence as well.
        return _MARK.sub(said, template).replace("w.c..", "w.c."), tuple(named)

    def clause(self, id_: str, title: str, template: str, **values: object) -> Clause:
        """A clause from a template."""
        text, names = self.resolve(template, **values)
        return Clause(id=id_, title=title, text=text, names=names)

    def test(self, id_: str, title: str, steps, passes, **values: object) -> Test:
        """A test from templates."""
        done = [self.resolve(step, **values) for step in steps]
        seen = [self.resolve(line, **values) for line in passes]
        names = dict.fromkeys(name for _, found in (*done, *seen) for name in found)
        return Test(
            id=id_, title=title, steps=tuple(t for t, _ in done), passes=tuple(t for t, _ in seen), names=tuple(names)
        )

    def watch(self, id_: str, title: str, when: str, do: str, **values: object) -> Watch:
        """An alarm or a monthly line from templates."""
        (when_text, first), (do_text, second) = (self.resolve(t, **values) for t in (when, do))
        return Watch(id=id_, title=title, when=when_text, do=do_text, names=tuple(dict.fromkeys((*first, *second))))


#: What builds a record when it is wanted: parts that depend on inputs return lists of these.
Builder = Callable[[Names], list]
