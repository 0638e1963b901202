"""A hand-over arranged for readers: sections of texts, tables and tests, the same for sheets and text file."""

from __future__ import annotations

from ..dataclass import dataclass
from .records import Handover, Table, Zone
from .upkeep import MONTHLY_F, MONTHLY_INWC

#: Parts that a reader looks for, in order: what to program, how it acts, how it is proven and kept.
PROGRAM, ACTS, PROVEN = "program", "acts", "proven"
#: Title of each, and a line below it.
TITLES = {
    PROGRAM: ("Hand-over", "What to program: setpoints, parameters, tables, and what to restore"),
    ACTS: ("Sequence", "Sequence of operation and points"),
    PROVEN: ("Tests and alarms", "Functional tests, alarms, monthly check, rogue zones, cautions"),
}
NONE = "-"
#: There was no such setting as found.
NOT_IN_USE = "not in use"


@dataclass(frozen=True, slots=True, kw_only=True)
class Words:
    """A paragraph; ``strong`` is one not to be missed."""

    text: str
    strong: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Grid:
    """A table. ``weights`` relative widths of columns · ``entries`` rows are too wide for a line of text: the first
    column names the entry · ``numbers`` places of columns of short figures."""

    heads: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    weights: tuple[float, ...]
    entries: bool = False
    numbers: tuple[int, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Procedure:
    """A test: numbered steps, what has to be seen, and room for the result."""

    id: str
    title: str
    steps: tuple[str, ...]
    passes: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Section:
    """A heading and what is below it; ``part`` one of the parts."""

    part: str
    title: str
    blocks: tuple[Words | Grid | Procedure, ...]


def sections_of(h: Handover) -> list[Section]:
    """All sections in reading order. Without an option: head, reason and cautions."""
    notes = tuple(Words(text=text, strong=True) for text in h.choice.notes)
    head = Section(
        part=PROGRAM,
        title="What is handed over",
        blocks=(*notes, Grid(heads=("", ""), rows=h.head, weights=(1.0, 6.0))),
    )
    if h.choice.candidate_id is None:
        return [head, *_cautions(h)]
    return [
        head,
        Section(part=PROGRAM, title="How to read it", blocks=(Words(text=_HOW),)),
        Section(part=PROGRAM, title="Setpoints and parameters", blocks=(_setpoints(h),)),
        *_tables(h),
        *_changes(h),
        Section(part=PROGRAM, title="Zones", blocks=_zones(h)),
        Section(part=PROGRAM, title="How to reverse it", blocks=_numbered(h.reversal)),
        Section(part=ACTS, title="Sequence of operation", blocks=(_clauses(h),)),
        Section(part=ACTS, title="Points", blocks=(Words(text=_POINTS), _points(h))),
        Section(part=PROVEN, title="Functional tests", blocks=(Words(text=_TESTS), *_tests(h))),
        Section(
            part=PROVEN,
            title="Alarms",
            blocks=(
                Words(text=_ALARMS),
                _watches(h.alarms, "Alarm", "When", "What to do"),
            ),
        ),
        *_monthly(h),
        *([Section(part=PROVEN, title="Rogue zones", blocks=_numbered(h.procedure))] if h.procedure else []),
        *_cautions(h),
        Section(part=PROVEN, title="Accepted", blocks=(_signatures(),)),
    ]


_HOW = (
    "Every setpoint has an id (S_...), and so has every point (P_...), clause of the sequence (Q_...), functional "
    "test (T_...), alarm (A_...) and line of the monthly check (M_...). A setpoint is followed from the table to the "
    "clauses that read it and the tests that prove it. Each value says where it comes from: an input of the estimate "
    "by its path, with its origin; a result of this run; a published figure; or a decision of this hand-over, which "
    "is common practice without a source and which the designer may change. Not in use: the controls had no such "
    "setting as found."
)
_POINTS = (
    "Trended from two weeks before the change to four weeks after, and kept for a year; intervals are common "
    "practice, no source. On change: with the time of each change."
)
_TESTS = (
    "Done in this order, in the presence of an operator, outside hours where rooms could suffer; every force and "
    "override is taken off afterwards and noted. Tolerances and times are common practice, no source. Expected "
    "setpoints are worked out by the equations of the estimate."
)


_ALARMS = (
    "Limits and times without an id are decisions of this hand-over (common practice, no source). An alarm goes to "
    "somebody who acts on it, by name."
)


def _numbered(texts) -> tuple[Words, ...]:
    return tuple(Words(text=f"{k}. {text}") for k, text in enumerate(texts, 1))


def _joined(ids) -> str:
    return ", ".join(ids) or NONE


def _setpoints(h: Handover) -> Grid:
    return Grid(
        heads=("Id", "Setpoint", "Value", "As found", "Read by", "Tested by", "From"),
        rows=tuple(
            (s.id, s.label, s.value, s.as_found or NOT_IN_USE, _joined(h.readers(s.id)), _joined(h.tested_by(s.id)),
             s.source)
            for s in h.setpoints
        ),
        weights=(18.0, 24.0, 19.0, 17.0, 17.0, 16.0, 24.0),
        entries=True,
    )  # fmt: skip


def _tables(h: Handover) -> list[Section]:
    return [
        Section(part=PROGRAM, title=f"{t.title} by {t.x_label.split(',')[0].lower()}", blocks=_table(t))
        for t in h.tables
    ]


def _table(t: Table) -> tuple[Words | Grid, ...]:
    digits = ".1f" if t.unit == "degF" else ".2f"
    night = any(r.unoccupied is not None for r in t.rows)
    moves = any(
        high - low > 1e-9 for r in t.rows for low, high in (r.occupied, *([r.unoccupied] if r.unoccupied else []))
    )
    ends = ("least", "most") if moves else ("",)
    shown = lambda pair: [f"{v:{digits}}" for v in (pair if moves else pair[:1])]
    heads = [t.x_label, *(f"Occupied {end}, {t.unit}".replace(" ,", ",") for end in ends)]
    if night:
        heads += [f"Unoccupied {end}, {t.unit}".replace(" ,", ",") for end in ends]
    rows = tuple(
        (f"{r.x:g}", *shown(r.occupied), *(shown(r.unoccupied) if r.unoccupied is not None else [])) for r in t.rows
    )
    how = (
        "Between the two, requests decide; a limit of humidity, where there is one, comes on top."
        if moves
        else "Straight lines between the points of the setpoint; values in between to check a program by."
    )
    return (
        Words(text=how + " Worked out by the equations of the estimate (result)."),
        Grid(heads=tuple(heads), rows=rows, weights=(2.0, *[1.0] * (len(heads) - 1)), numbers=tuple(range(len(heads)))),
    )


def _changes(h: Handover) -> list[Section]:
    if not h.changes:
        return []
    grid = Grid(
        heads=("What", "As found", "New"),
        rows=h.changes,
        weights=(4.0, 2.0, 2.0),
        entries=True,
    )
    text = "The saving is estimated with these; without them it is another. They are proven by test T_CHANGES."
    return [Section(part=PROGRAM, title="What else changes", blocks=(Words(text=text), grid))]


def _zones(h: Handover) -> tuple[Words | Grid, ...]:
    def row(z: Zone) -> tuple[str, ...]:
        notes = [
            *([f"supply air no warmer than {z.sat_max_f:g} degF"] if z.sat_max_f is not None else []),
            *([f"known: {z.rogue.replace('_', ' ')}"] if z.rogue != "none" else []),
        ]
        return (
            z.name,
            str(z.count),
            f"{z.importance:g}",
            f"{z.heat_f:g}-{z.cool_f:g}",
            f"{z.heat_unoccupied_f:g}-{z.cool_unoccupied_f:g}",
            f"{z.min_cfm:,.0f}",
            f"{z.max_cfm:,.0f}",
            f"{z.temperature_request_hours:,.0f}",
            f"{z.pressure_request_hours:,.0f}",
            "; ".join(notes),
        )

    text = (
        "S_ROOMS and S_IMPORTANCE zone by zone (inputs; airflows as given or sized by the run). Request-hours a year "
        "are results, hour by hour, of one zone of each line: they say which zones are likely to drive a reset by "
        "requests."
    )
    return (
        Words(text=text),
        Grid(
            heads=(
                "Zone",
                "Count",
                "Importance",
                "Occupied, degF",
                "Unoccupied, degF",
                "Least, cfm",
                "Largest, cfm",
                "Asks for colder air, h",
                "Asks for pressure, h",
                "Note",
            ),
            rows=tuple(row(z) for z in h.zones),
            weights=(26.0, 7.0, 11.5, 11.0, 12.5, 9.0, 9.0, 11.5, 11.5, 22.0),
            entries=True,
            numbers=(1, 2, 3, 4, 5, 6, 7, 8),
        ),
    )


def _clauses(h: Handover) -> Grid:
    return Grid(
        heads=("Id", "Clause", "What the controls do"),
        rows=tuple((c.id, c.title, c.text) for c in h.clauses),
        weights=(13.0, 20.0, 90.0),
        entries=True,
    )


def _points(h: Handover) -> Grid:
    return Grid(
        heads=("Id", "Point", "Unit", "Trended", "Why", "Read by", "Tested by"),
        rows=tuple(
            (p.id, p.label, p.unit, p.interval, p.why, _joined(h.readers(p.id)), _joined(h.tested_by(p.id)))
            for p in h.points
        ),
        weights=(16.0, 24.0, 13.0, 13.0, 23.0, 23.0, 23.0),
        entries=True,
    )


def _tests(h: Handover) -> tuple[Procedure, ...]:
    return tuple(Procedure(id=t.id, title=t.title, steps=t.steps, passes=t.passes) for t in h.tests)


def _watches(watches, what: str, when: str, do: str) -> Grid:
    return Grid(
        heads=("Id", what, when, do),
        rows=tuple((w.id, w.title, w.when, w.do) for w in watches),
        weights=(16.0, 21.0, 49.0, 44.0),
        entries=True,
    )


def _monthly(h: Handover) -> list[Section]:
    text = (
        "Half an hour a month by whoever runs the building; it tells when a reset has been defeated. Keep the "
        "figures: the trend over months says more than one of them."
    )
    expected = Grid(
        heads=("Outdoor, degF", "Hours a year", "Mean supply air, degF", "Mean duct static, in. w.c."),
        rows=tuple(
            (f"{e.low_f:g} to {e.high_f:g}", f"{e.hours:,.0f}", f"{e.sat_f:.1f}", f"{e.dsp_inwc:.2f}")
            for e in h.expected
        ),
        weights=(2.0, 2.0, 2.0, 2.0),
        numbers=(0, 1, 2, 3),
    )
    note = (
        "What the estimate expects, running hours of the typical year (result, hour by hour). Months differ: "
        f"{MONTHLY_F:g} degF and {MONTHLY_INWC:g} in. w.c. are the limits of M_MEANS (decision of this hand-over)."
    )
    return [
        Section(
            part=PROVEN,
            title="Monthly check",
            blocks=(
                Words(text=text),
                _watches(h.monthly, "Look at", "How", "What it says"),
                *((Words(text=note), expected) if h.expected else ()),
            ),
        )
    ]


def _cautions(h: Handover) -> list[Section]:
    if not (h.cautions or h.deference):
        return []
    return [
        Section(
            part=PROVEN if h.choice.candidate_id is not None else PROGRAM,
            title="Cautions",
            blocks=(
                *([Words(text=h.deference, strong=True)] if h.deference else []),
                Grid(heads=("", ""), rows=h.cautions, weights=(1.0, 4.0), entries=True),
            ),
        )
    ]


def _signatures() -> Grid:
    line = "_" * 20
    return Grid(
        heads=("", "Name", "Date"),
        rows=tuple((who, line, line) for who in ("Programmed", "Tested", "Reviewed", "Accepted for the owner")),
        weights=(3.0, 3.0, 3.0),
    )
