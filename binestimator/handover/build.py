"""A hand-over from results: one record that the sheets, the text file and the results file are written from."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from ..results import CandidateResult, Results
from .choose import choose
from .facts import Facts
from .functional import tests_of
from .points import points_of
from .records import Handover, Names, Setpoint, Zone
from .sequence import clauses_of
from .setpoints import is_input, setpoints_of, tables_of
from .upkeep import alarms_of, cautions_of, expected_of, monthly_of, procedure_of, reversal_of


def handover_of(
    results: Results,
    advised: CandidateResult | None,
    asked: str | None = None,
    *,
    cautions=(),
    deference: str = "",
) -> Handover:
    """The hand-over of an option.

    Parameters
    ----------
    results : Results
    advised : CandidateResult or None
        The option that the first page presents, which is handed over where no other is asked for.
    asked : str, optional
        Id of another option.
    cautions : sequence of (label, text)
        Those that are true of every run.
    deference : str
        Who decides where this program and others differ.

    Raises
    ------
    InputError
        There is no option of the id that is asked for.
    """
    choice = choose(results, advised, asked)
    common = {
        "choice": choice,
        "run_id": results.run_id,
        "project": results.project.info.name,
        "deference": deference,
    }
    if choice.candidate_id is None:
        return Handover(name="", head=_head(results, None), cautions=tuple(cautions), **common)
    facts = Facts(results, results[choice.candidate_id])
    setpoints = _with_as_found(facts, setpoints_of(facts))
    names = Names(setpoints, points_of(facts))
    return Handover(
        name=facts.c.name,
        head=_head(results, facts),
        setpoints=tuple(setpoints),
        tables=tuple(tables_of(facts)),
        zones=tuple(_zones(facts)),
        changes=facts.changes(),
        points=tuple(points_of(facts)),
        clauses=tuple(clauses_of(facts, names)),
        tests=tuple(tests_of(facts, names)),
        alarms=tuple(alarms_of(facts, names)),
        monthly=tuple(monthly_of(facts, names)),
        expected=tuple(expected_of(facts)),
        procedure=tuple(procedure_of(facts, names)),
        reversal=tuple(reversal_of(facts, names)),
        cautions=(*cautions_of(facts), *cautions),
        **common,
    )


def _with_as_found(f: Facts, setpoints: list[Setpoint]) -> list[Setpoint]:
    """Setpoints with what they were as found; empty where the controls had no such setting."""
    # Decisions and thresholds of the hand-over are new in any case.
    was = {s.id: s.value for s in setpoints_of(Facts(f.results, f.before)) if is_input(s)}
    # A line or a range that takes the place of one setpoint goes back to that.
    for part in ("sat", "dsp"):
        old = f.before_words(part)
        for id_ in (f"S_{part.upper()}", f"S_{part.upper()}_LINE", f"S_{part.upper()}_MAX"):
            was.setdefault(id_, old)
    return [replace(s, as_found=was.get(s.id, "")) for s in setpoints]


def _head(results: Results, f: Facts | None) -> tuple[tuple[str, str], ...]:
    project, weather = results.project, results.weather
    info = project.info
    checked = f"checked by {info.checked_by}" if info.checked_by else ""
    lines = [("Project", info.name), ("Building", info.building)]
    if f is not None:
        c, number = f.c, [c.id for c in results.candidates].index(f.c.id) + 1
        base = results.baseline.annual["cost_usd"]
        saving = c.saving["cost_usd"]
        lines += [
            ("Option", f"{number}  {c.name} (id {c.id})"),
            ("Supply air", f.words("sat")),
            ("Duct pressure", f.words("dsp")),
        ]
        if c.id != results.baseline_id:
            less = "saves" if saving >= 0.0 else "costs"
            more = "" if saving >= 0.0 else " more"
            said = f"{less} {abs(saving):,.0f} USD a year{more}, {100.0 * abs(saving) / base if base else 0.0:.1f} %"
            said += f" of the energy cost of {results.baseline.name} (result, bin rows)"
            if results.as_run is not None and c.id in results.as_run:
                said += f"; {results.as_run_points(c.id)[1]:.1f} % as run at time steps"
            lines.append(("Estimate", said))
    lines += [
        ("Weather", f"{weather.name or 'station'} ({weather.file_name}), a typical year"),
        ("Run", f"{results.run_id}, inputs {project.checksum()}"),
        ("Prepared by", "; ".join(text for text in (info.prepared_by, checked, info.date) if text)),
    ]
    return tuple((label, text) for label, text in lines if text)


def _zones(f: Facts) -> list[Zone]:
    z, project = f.unit.zones, f.project
    asked = f.c.zones
    running = np.isfinite(z.sat_max_f)
    return [
        Zone(
            name=str(name),
            count=int(z.multiplier[k]),
            importance=float(project.zones[k].importance),
            heat_f=float(z.heat_occupied_f[k]),
            cool_f=float(z.cool_occupied_f[k]),
            heat_unoccupied_f=float(z.heat_unoccupied_f[k]),
            cool_unoccupied_f=float(z.cool_unoccupied_f[k]),
            min_cfm=float(z.min_cfm[k]),
            max_cfm=float(z.max_cfm[k]),
            sat_max_f=float(z.sat_max_f[k]) if running[k] else None,
            rogue=str(project.zones[k].rogue),
            temperature_request_hours=float(asked["temperature_request_hours"].iloc[k]),
            pressure_request_hours=float(asked["pressure_request_hours"].iloc[k]),
        )
        for k, name in enumerate(z.names)
    ]


def handover_data(h: Handover) -> dict:
    """Plain data of a hand-over for the results file."""
    return {
        "option": h.choice.candidate_id,
        "notes": list(h.choice.notes),
        "setpoints": [
            {
                "id": s.id,
                "label": s.label,
                "value": s.value,
                "number": s.number,
                "unit": s.unit,
                "points": [list(p) for p in s.points],
                "source": s.source,
                "as_found": s.as_found or None,
                "read_by": list(h.readers(s.id)),
                "tested_by": list(h.tested_by(s.id)),
            }
            for s in h.setpoints
        ],
        "tables": [
            {
                "of": t.key,
                "x": t.x_label,
                "unit": t.unit,
                "rows": [
                    {
                        "at": r.x,
                        "occupied": list(r.occupied),
                        "unoccupied": None if r.unoccupied is None else list(r.unoccupied),
                    }
                    for r in t.rows
                ],
            }
            for t in h.tables
        ],
        "points": [
            {"id": p.id, "label": p.label, "unit": p.unit, "interval": p.interval, "why": p.why} for p in h.points
        ],
    }
