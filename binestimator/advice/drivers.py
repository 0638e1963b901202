"""Assumptions ranked by how much they change the saving of one candidate.

Baseline and candidate are run again on the rows of the run with one assumption low and high,
everything else as it was. ``assumptions.csv`` lists what is varied and how far; an input
that the user has measured, read off a drawing or nameplate, or trended is not varied.
"""

from __future__ import annotations

import csv
import functools
from dataclasses import replace
from importlib import resources

import numpy as np

from ..dataclass import dataclass
from ..errors import InputError
from ..estimate import Rows, annual_figures, run_parts, size_unit, with_charges
from ..inputs.paths import item_path, known_path
from ..inputs.schema import Field, is_used
from ..model.build import build_unit
from ..model.plant import STANDING_LOSS_FRAC
from ..money import annual_cost_usd
from ..parallel import copies_at_once, in_order
from ..rates import Rates

#: Ways an assumption is applied to a project (column ``kind``): another value, a multiple of the value
#: in force, or the lowest of the pressure shares that were spread.
KINDS = ("value", "scale", "spread")
#: How a user came to a value that is no longer an assumption.
EVIDENCED = ("measured", "nameplate", "drawing", "trended")
#: A saving that changes by less counts as unchanged. [points of the baseline's cost]
LEAST_POINTS = 0.01
#: Drivers that people are shown.
SHOWN = 5


@dataclass(frozen=True, slots=True, kw_only=True)
class Assumption:
    """One line of ``assumptions.csv``: ``low`` and ``high`` are values, or factors where ``kind`` is ``scale``;
    ``resizes`` whether sizes that were not given follow."""

    label: str
    path: str
    kind: str
    low: float
    high: float
    resizes: bool
    source: str

    @property
    def field(self) -> Field:
        return known_path(self.path).field


@dataclass(frozen=True, slots=True, kw_only=True)
class Driver:
    """What one assumption does to the saving of a candidate.

    ``low``, ``high`` what was tried, in words · ``saving_low_usd``, ``saving_high_usd`` saving of the
    candidate then [USD/yr] · ``saving_low_pct``, ``saving_high_pct`` the same as a share of the baseline's cost
    then [%] · ``points`` how far the share moves between both ends or from the run's, the larger [points].
    """

    assumption: Assumption
    low: str
    high: str
    saving_low_usd: float
    saving_high_usd: float
    saving_low_pct: float
    saving_high_pct: float
    points: float


@functools.cache
def assumptions() -> tuple[Assumption, ...]:
    """Lines of ``assumptions.csv``."""
    text = resources.files(__package__).joinpath("assumptions.csv").read_text(encoding="utf-8")
    lines = []
    for row in csv.DictReader(text.splitlines()):
        line = Assumption(
            label=row["label"],
            path=row["path"],
            kind=row["kind"],
            low=float(row["low"]),
            high=float(row["high"]),
            resizes=row["resizes"] == "yes",
            source=row["source"],
        )
        known_path(line.path)  # raises for a line about no input
        if line.kind not in KINDS or not line.low < line.high:
            raise ValueError(f"assumptions.csv: {row}")
        lines.append(line)
    return tuple(lines)


def paths_assumed(project, line: Assumption) -> list[str]:
    """Full paths of the inputs that a line means and for which there is no evidence."""
    parsed = known_path(line.path)
    field = parsed.field
    if parsed.kind in ("group", "zone"):
        records = project.groups if parsed.kind == "group" else project.zones
        named = [(item_path(parsed.kind, r.name, field.name), r) for r in records]
    else:
        named = [(field.path, project.section(parsed.kind))]
    out = []
    for path, record in named:
        used = is_used(
            field,
            lambda section, name, r=record, kind=parsed.kind: getattr(
                r if section == kind else project.section(section), name
            ),
        )
        if (
            used
            and project.status_of(path) not in EVIDENCED
            and not (line.kind == "spread" and project.origins.get(path) == "given")
        ):
            out.append(path)
    if line.path == "air_handler.zone_sizing_factor" and all(zone.max_cfm is not None for zone in project.zones):
        return []
    return out


def overrides_of(project, unit, line: Assumption, end: float) -> dict[str, object]:
    """Overrides that put an assumption at one end, kept inside the allowed ranges; empty where it would change
    nothing."""
    field = line.field
    out: dict[str, object] = {}
    low_share = project.building.index_share_low
    for path in paths_assumed(project, line):
        value = _value_at(project, unit, path)
        if line.kind == "spread":
            if value is None:
                continue  # surveyed
            new = 1.0 - (1.0 - value) * (1.0 - end) / max(1.0 - low_share, 1e-9)
        elif line.kind == "scale":
            if value is None:
                continue
            new = value * end
        else:
            new = end
        new = float(np.clip(new, field.low, field.high))
        if value is None or abs(new - value) > 1e-12:
            out[path] = new
    return out


def _value_at(project, unit, path):
    """Value in force of an input; that of the unit where it was sized."""
    parsed = known_path(path)
    if parsed.kind in ("group", "zone"):
        records = project.groups if parsed.kind == "group" else project.zones
        record = next(r for r in records if r.name == parsed.name)
    else:
        record = project.section(parsed.kind)
    value = getattr(record, parsed.field.name)
    if value is not None:
        return float(value)
    if path == "outdoor_air.minimum_cfm":
        return unit.oa_minimum_cfm
    if path == "heating.standing_loss_kbtuh":
        return STANDING_LOSS_FRAC * unit.heating_kbtuh
    return None


def find_drivers(results, candidate_id: str, lines=None, count: int | None = SHOWN) -> tuple[Driver, ...]:
    """Assumptions by what they do to the saving of a candidate, the strongest first.

    Parameters
    ----------
    results : Results
    candidate_id : str
    lines : sequence of Assumption, optional
        Instead of those of ``assumptions.csv``.
    count : int or None
        The first so many; None for all that move the saving.

    Notes
    -----
    On the rows of the run (weights as they were). Sizes that were not given follow in the
    proportion in which they change on these rows. Setpoints of the cost-optimal search are held, so
    that its own saving is low by what a new search would gain. Night runs are those of the run.
    """
    project = results.project
    if candidate_id == results.baseline_id:
        return ()
    base, ours = results.runs[results.baseline_id], results.runs[candidate_id]
    if len(base.rows.running) == 0:
        return ()
    before = size_unit(project, base.rows.conditions)
    as_run = _pct(results[candidate_id].saving["cost_usd"], results.baseline.annual["cost_usd"])

    def saving(changes, resizes):
        changed = project.with_overrides(changes)
        if not isinstance(base.unit.prices, Rates) and all(path.startswith("prices.") for path in changes):
            costs = [
                annual_cost_usd(results[id_].annual, changed.prices) for id_ in (results.baseline_id, candidate_id)
            ]
            return costs[0] - costs[1], costs[0]
        sizes = results.held.sizes
        if resizes:
            sizes = _scaled(sizes, before, size_unit(changed, base.rows.conditions))
        costs, made = [], {}
        for id_, run in ((results.baseline_id, base), (candidate_id, ours)):
            candidate = project.candidate(id_)
            if run.site not in made:
                # What a candidate changes takes precedence over the assumption.
                own = project.with_overrides(changes | candidate.overrides) if candidate.overrides else changed
                unit = build_unit(own, sizes)
                made[run.site] = unit, Rows.of(unit, run.rows.conditions)
            unit, rows = made[run.site]
            parts = run_parts(unit, candidate, rows, (), results.held.optimal_sat.get(id_))
            figures = annual_figures(unit, rows, parts, run.night)
            costs.append(with_charges(figures, results[id_].charges)["cost_usd"])
        return costs[0] - costs[1], costs[0]

    def driver(line: Assumption) -> Driver | None:
        ends, words = [], []
        for end in (line.low, line.high):
            changes = overrides_of(project, base.unit, line, end)
            try:
                ends.append(
                    saving(changes, line.resizes)
                    if changes
                    else (results[candidate_id].saving["cost_usd"], results.baseline.annual["cost_usd"])
                )
            except InputError:
                return None  # this end does not go with other inputs: nothing to be said about it
            words.append(_words(line, end))
        low, high = (_pct(*end) for end in ends)
        points = max(abs(high - low), abs(high - as_run), abs(low - as_run))
        if points < LEAST_POINTS:
            return None
        return Driver(
            assumption=line,
            low=words[0],
            high=words[1],
            saving_low_usd=ends[0][0],
            saving_high_usd=ends[1][0],
            saving_low_pct=low,
            saving_high_pct=high,
            points=points,
        )

    found = in_order(driver, assumptions() if lines is None else lines, copies_at_once())
    out = [each for each in found if each is not None]
    out.sort(key=lambda d: -round(d.points, 9))
    return tuple(out[:count])


def _pct(saving_usd, baseline_usd) -> float:
    return 100.0 * saving_usd / baseline_usd if baseline_usd > 0.0 else 0.0


def _scaled(held, before, after):
    """Held sizes times what the rows say of their change."""
    ratio = lambda new, old: np.where(np.isfinite(old) & (old > 0.0), new / np.where(old > 0.0, old, 1.0), 1.0)
    names = (
        "zone_max_cfm",
        "zone_reheat_btuh",
        "design_cfm",
        "motor_hp",
        "cooling_tons",
        "heating_kbtuh",
        "preheat_kbtuh",
    )
    values = {
        name: np.asarray(getattr(held, name))
        * ratio(np.asarray(getattr(after, name), dtype=float), np.asarray(getattr(before, name), dtype=float))
        for name in names
    }
    return replace(held, **{name: value if value.ndim else float(value) for name, value in values.items()})


def _words(line: Assumption, end: float) -> str:
    if line.kind == "scale":
        return f"x {end:g}"
    unit = line.field.unit
    return f"{end:g} {unit}".strip()
