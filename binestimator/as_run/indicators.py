"""What weakens resets in the field, as run: the same option with something wrong, beside itself without it.

Each indicator is one fault or condition at the size that an input says. Faults of the controls leave the baseline as
it was; conditions of the building change the baseline too, so that a saving is always against the baseline in the same
building.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import fields, replace
from typing import Any

import numpy as np

from ..dataclass import dataclass
from ..estimate.tariff import with_charges
from ..hours import Conditions, build_conditions
from ..inputs.follows import followed
from ..inputs.project import Candidate
from ..inputs.schema import record_type
from ..model.loads import zone_loads
from ..model.unit import Unit, Zones
from ..results import Indicator, Results
from ..strategies.registry import sat_strategy, strategies_of
from .audit import RUNS_TOGETHER, annual_as_run, night_as_run, runs_of
from .settings import Settings
from .steps import Run, Year

#: Keys of the indicators, in their order.
KEYS = (
    "station_reads_high",
    "station_reads_low",
    "summed_terminals",
    "end_switches",
    "high_internal_load",
    "stuck_open",
)


@dataclass(frozen=True, slots=True, kw_only=True)
class _Wrong:
    """What is wrong: its ``key`` and ``text``, the option ``of`` which it is told and whether that was ``made`` for it.

    ``runs`` changes the runs of the option, ``error_frac`` its measured airflow · ``unit`` the building, with the
    positions (Z,) of dampers that are stuck or None, for the baseline as well.
    """

    key: str
    text: str
    of: Candidate
    made: bool
    runs: Callable[[Run], Run] | None = None
    error_frac: float | None = None
    unit: tuple[Unit, np.ndarray | None] | None = None


def with_indicators(results: Results, progress: Callable[[float], None] | None = None) -> Results:
    """Results that were run at time steps, with the indicators.

    Parameters
    ----------
    progress : callable, optional
        Called with the share that is done.
    """
    return replace(results, indicators=indicators(results, progress))


def indicators(results: Results, progress: Callable[[float], None] | None = None) -> tuple[Indicator, ...]:
    """All indicators, in the order of :data:`KEYS`.

    Notes
    -----
    Each is told of the option that it concerns and that saves most as run: one that changes setpoints alone, on the
    baseline's unit. Where the project has none that goes by airflow or by outdoor air, the baseline with that strategy
    and its default line stands for it. Sizes are held. Demand and tiers of a tariff are those of the option with rooms
    at rest, of one that was made those of the baseline.
    """
    runner = _Runner(results)
    found = _wrongs(results, runner.unit)
    jobs = len({(w.of.sat, w.of.dsp) for w in found if w.made}) + len(found)
    done = [0]

    def told(figures):
        done[0] += 1
        if progress is not None:
            progress(min(done[0] / jobs, 1.0))
        return figures

    as_run = results.as_run or {}
    base = results.baseline.candidate
    base_clean = as_run[base.id].annual
    clean: dict[str, dict[str, float]] = {id_: run.annual for id_, run in as_run.items()}
    out = []
    for w in found:
        key = f"{w.of.id} {w.of.dsp.strategy} {w.of.sat.strategy}" if w.made else w.of.id
        if key not in clean:
            clean[key] = told(runner.annual([w.of])[0])
        changed = w.of if w.error_frac is None else _reading(w.of, w.error_frac)
        if w.unit is None:
            base_wrong, wrong = base_clean, told(runner.annual([changed], w.runs)[0])
        else:
            base_wrong, wrong = told(runner.annual([base, changed], w.runs, *w.unit))
        out.append(
            Indicator(
                key=w.key,
                text=w.text,
                candidate_id=w.of.id,
                made=w.made,
                clean=clean[key],
                wrong=wrong,
                base_clean=base_clean,
                base_wrong=base_wrong,
            )
        )
    return tuple(out)


class _Runner:
    """Runs candidates on the baseline's building, or on one that was changed."""

    def __init__(self, results: Results) -> None:
        self.results = results
        of = results.runs[results.baseline_id]
        self.unit, self.project = of.unit, of.project
        self.conditions: Conditions = build_conditions(results.weather, self.project)

    def annual(self, candidates: Sequence[Candidate], change=None, unit: Unit | None = None, stuck_frac=None):
        """Annual figures of candidates, in their order; ``change`` is applied to the runs of the last."""
        unit = self.unit if unit is None else unit
        loads = zone_loads(unit, self.conditions)
        runs: list[Run] = []
        owners: list[int] = []
        for k, candidate in enumerate(candidates):
            mine = runs_of(unit, self.conditions, loads, self.project, candidate)
            if change is not None and k == len(candidates) - 1:
                mine = [change(run) for run in mine]
            runs += mine
            owners += [k] * len(mine)
        outcomes = []
        for first in range(0, len(runs), RUNS_TOGETHER):
            year = Year(
                unit,
                self.conditions,
                self.project.schedule,
                runs[first : first + RUNS_TOGETHER],
                Settings.of(self.project.as_run),
                stuck_frac=stuck_frac,
            )
            outcomes += year.run()
        figures = []
        for k, candidate in enumerate(candidates):
            pairs = [(run, o) for run, o, owner in zip(runs, outcomes, owners) if owner == k]
            nights = [night_as_run(unit, self.conditions, loads, self.project.schedule, *pair) for pair in pairs]
            charges = self.results[candidate.id].charges
            figures.append(with_charges(annual_as_run(unit, self.conditions, pairs, nights), charges))
        return figures


def _wrongs(results: Results, unit: Unit) -> list[_Wrong]:
    """What is told of the options of a run, in the order of :data:`KEYS`."""
    tuning = results.project.as_run
    out: list[_Wrong] = []
    by_flow = _option(results, "dsp", "airflow")
    if by_flow is not None:
        of, made = by_flow
        error = of.dsp.flow_error_frac
        for key, word, sign in (("station_reads_high", "high", 1.0), ("station_reads_low", "low", -1.0)):
            size = tuning.station_error_frac
            text = f"duct pressure by airflow, the station reads {100.0 * size:.3g} % {word}"
            out.append(_Wrong(key=key, text=text, of=of, made=made, error_frac=error + sign * size))
        size = tuning.terminal_error_frac
        text = "duct pressure by the sum of terminal airflows as they arrive"
        if size:
            text += f", read {100.0 * abs(size):.3g} % {'high' if size > 0.0 else 'low'} together"
        out.append(
            _Wrong(
                key="summed_terminals",
                text=text,
                of=of,
                made=made,
                error_frac=size,
                runs=lambda run: replace(run, reads_arriving=True),
            )  # fmt: skip
        )
    by_demand = _option(results, "dsp", "demand")
    if by_demand is not None:
        of, made = by_demand
        share = tuning.end_switch_pct / 100.0
        text = f"duct pressure by demand from end switches (open beyond {tuning.end_switch_pct:g} %), no airflows"
        out.append(
            _Wrong(
                key="end_switches", text=text, of=of, made=made, runs=lambda run: replace(run, end_switch_frac=share)
            )
        )
    by_outdoors = _option(results, "sat", "outdoor_air")
    if by_outdoors is not None:
        of, made = by_outdoors
        count = _count(tuning.high_load_zones, unit)
        changed = _some_zones(unit, count)
        if changed is not None:
            more, some = changed
            gains = np.where(some, tuning.high_load_factor, 1.0) * more.zones.gain_multiplier
            more = replace(more, zones=replace(more.zones, gain_multiplier=gains))
            text = f"supply air by outdoor air alone, {_zones(count)} with {tuning.high_load_factor:g} times the gains"
            out.append(_Wrong(key="high_internal_load", text=text, of=of, made=made, unit=(more, None)))
    listening = _listening(results)
    if listening is not None:
        count = _count(tuning.stuck_zones, unit)
        changed = _some_zones(unit, count)
        if changed is not None:
            more, some = changed
            stuck = np.where(some, tuning.stuck_position_pct / 100.0, np.nan)
            text = f"by demand, dampers of {_zones(count)} stuck or driven by hand at {tuning.stuck_position_pct:g} %"
            out.append(_Wrong(key="stuck_open", text=text, of=listening, made=False, unit=(more, stuck)))
    return out


def _reading(candidate: Candidate, error_frac: float) -> Candidate:
    """A candidate by airflow whose measurement has an error."""
    dsp: Any = candidate.dsp
    return replace(candidate, dsp=replace(dsp, flow_error_frac=error_frac))


def _comparable(results: Results) -> list[Candidate]:
    """Candidates that change setpoints alone and were run, those that save most as run first."""
    base, runs = results.baseline.candidate, results.as_run or {}
    same = [
        c.candidate
        for c in results.candidates
        if c.id in runs and c.id != base.id and c.candidate.overrides == base.overrides
        and not sat_strategy(c.candidate.sat).searches
    ]  # fmt: skip
    return sorted(same, key=lambda c: -runs[c.id].saving["cost_usd"])


def _option(results: Results, part: str, strategy: str) -> tuple[Candidate, bool] | None:
    """The option whose ``part`` has a strategy: of those whose other part is the baseline's, else of all; or the
    baseline with it, and True. None where the baseline searches."""
    base = results.baseline.candidate
    other = "sat" if part == "dsp" else "dsp"
    having = [c for c in _comparable(results) if getattr(c, part).strategy == strategy]
    alone = [c for c in having if getattr(c, other) == getattr(base, other)]
    if having:
        return (alone or having)[0], False
    if sat_strategy(base.sat).searches:
        return None
    project = results.project
    values = followed(part, strategy, project.value_of) | project.given.library[part].get(strategy, {})
    return replace(base, **{part: record_type(part)(strategy=strategy, **values)}), True


def _listening(results: Results) -> Candidate | None:
    """The option by demand that saves most as run; None where there is none."""
    found = [c for c in _comparable(results) if any(way.listens for way in strategies_of(c))]
    return found[0] if found else None


def _zones(count: int) -> str:
    return f"{count} zone{'' if count == 1 else 's'}"


def _count(given: float, unit: Unit) -> int:
    """Zones, from their number, or below 1 from their share of all; never none where some are asked for."""
    if given <= 0.0:
        return 0
    total = int(round(float(unit.zones.multiplier.sum())))
    return min(max(round(given if given >= 1.0 else given * total), 1), total)


def _some_zones(unit: Unit, count: int) -> tuple[Unit, np.ndarray] | None:
    """The unit with some of its zones on lines of their own, and where these are (Z,) bool; None without any.

    They are taken evenly over the list of zones, so that they are as diverse as all.
    """
    if count == 0:
        return None
    z = unit.zones
    ends = np.cumsum(z.multiplier)
    places = np.searchsorted(ends, (np.arange(count) + 0.5) * ends[-1] / count, side="right")
    taken = np.minimum(np.bincount(places, minlength=len(z)), z.multiplier)
    lines = np.concatenate([np.flatnonzero(z.multiplier > taken), np.flatnonzero(taken > 0.0)])
    some = np.arange(len(lines)) >= np.count_nonzero(z.multiplier > taken)
    multiplier = np.where(some, taken[lines], (z.multiplier - taken)[lines])
    importance = np.divide(z.weight, z.multiplier)
    of_lines: dict[str, Any] = {
        f.name: value[lines] if isinstance(value := getattr(z, f.name), np.ndarray) else tuple(value[k] for k in lines)
        for f in fields(Zones)
    }
    zones = replace(z, **of_lines | {"multiplier": multiplier, "weight": multiplier * importance[lines]})
    return replace(unit, zones=zones), some
