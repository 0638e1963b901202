"""The table of a candidate: what its columns are written through, and the conditions that each line begins with."""

from __future__ import annotations

from types import SimpleNamespace
from typing import Any

import numpy as np

from ....strategies.registry import dsp_strategy
from ...layout import CANDIDATE_COLUMN, CANDIDATE_COLUMNS
from ..formulas import Scope
from ..grid import Grid
from ..site.site import Site
from ..symbols import Drawing
from .steps import STEPS


class Chain:
    """The columns of one candidate on its sheet.

    Parameters
    ----------
    pen : Pen
    sheet : Sheet
    site : Site
    run : CandidateRun
    candidate : Candidate
    parameters : Scope
        Names ``p.*`` of the candidate's own parameters, over the site's.
    floats : Floats
        Rows that may end off their setpoint, and sheets for them; where there are any the air side is worked out at the
        setpoint first.
    rationed : bool
        The fan comes to its airflow ceiling in some rows.
    by_line : bool
        Formulas stand line by line, where otherwise one fills a column.
    """

    def __init__(
        self, pen, sheet, site: Site, run, candidate, parameters: Scope, floats, rationed: bool, by_line: bool = True
    ):
        self.pen, self.site, self.run, self.candidate, self.floats, self.rationed = (
            pen,
            site,
            run,
            candidate,
            floats,
            rationed,
        )
        self.two_pass = bool(floats.rows)
        self.parameters = parameters
        self.unit, self.project = run.unit, run.project
        self.parts = len(run.parts)
        self.lines = len(run.rows.running)
        self.rows = np.arange(self.lines)
        scope = Scope(parameters)
        loads = site.loads
        for c in loads.columns:
            if not c.text:
                scope.put(f"L.{c.key}", loads.outside_address(c.key), np.tile(c.values, (self.parts, 1)))
            else:
                scope.put(f"L.{c.key}", loads.outside_address(c.key), c.texts * self.parts)
        self.grid = Grid(pen, sheet, scope, self.lines, self.parts, by_line=by_line)
        self.drawing = Drawing(self.grid.scope, self.step, STEPS)
        self.known = {c.key: c for c in CANDIDATE_COLUMNS}
        self.year_cells: dict[str, tuple[str, float]] = {}

    def engine(self, name: str) -> np.ndarray:
        """A field of the engine's rows, part after part."""
        if name == "fans_kw":
            return self.engine("fan_kw") + self.engine("return_fan_kw")
        return np.concatenate([np.asarray(getattr(p.state, name), dtype=float) for p in self.run.parts])

    def col(self, key: str, label: str, unit: str, template, style: str = "f2") -> None:
        """A helper column."""
        self.grid.add(key, label, unit, template, style)

    def step(self, key: str, label: str, unit: str, template: str, style: str) -> None:
        """A step of the model: a column of the layout where that has it, else a helper column."""
        if key in self.known:
            self.out(key, template)
        else:
            self.col(key, label, unit, template, style)

    def out(self, key: str, template, *, prefix: str = "") -> None:
        """A column of the layout; its values are those of the engine."""
        c = self.known[key]
        if template is None:
            self.grid.add(
                prefix + key,
                c.label + self.more(prefix),
                c.unit,
                None,
                c.style,
                total=c.total,
                total_unit=c.total_unit,
                annual=c.annual,
                values=np.zeros(self.lines * self.parts),
            )
            if not prefix and key in CANDIDATE_COLUMN:
                self.grid.compare(key, self.engine(key)[:, None])
            return
        if prefix:
            self.grid.add(prefix + key, c.label + self.more(prefix), c.unit, template, c.style)
            return
        column = self.grid.add(
            key, c.label, c.unit, template, c.style, total=c.total, total_unit=c.total_unit, annual=c.annual
        )
        if key in CANDIDATE_COLUMN:
            values = self.engine(key)
            self.pen.compare(self.grid.sheet.name, key, column.values[:, 0], values, c.label)
            self.grid.set_values(key, np.where(np.isfinite(values), values, 0.0))

    def group(self, label: str) -> None:
        self.grid.group(label)

    @property
    def engine_loads(self):
        """The engine's loads of the lines."""
        return self.run.rows.loads.take(np.tile(self.rows, self.parts))

    def more(self, x: str) -> str:
        """What a prefix of columns stands for, behind their labels."""
        return {"a_": ", first look", "b_": ", before closing"}.get(x, "")

    def block(self, key: str, label: str, unit: str, template, style: str = "f0") -> None:
        names = tuple(z.name for z in self.project.zones)
        self.grid.group(label + ", zone by zone")
        self.grid.add(key, label, unit, template, style, width=self.site.count, array=True, head=names)

    def row_columns(self) -> None:
        g = self.grid
        g.group("Row")
        g.add("row", "Row", "no.", "{L.row}", "f0")
        g.add("when", "Date and hour", "std. time", "{L.when}", "inset", texts=g.outer["L.when"])
        shares = tuple(f"{{L.weight}}*{{p.share_{k}}}" for k in range(self.parts))
        g.add(
            "weight_h",
            "Weight",
            "h/yr",
            shares if self.parts > 1 else "{L.weight}",
            "f2",
            total="weight",
            total_unit="h",
            annual="running_hours",
        )
        g.compare("weight_h", np.concatenate([p.share * self.run.rows.on.hours for p in self.run.parts])[:, None])
        self.condition_columns()

    def condition_columns(self) -> None:
        g = self.grid
        g.group("Conditions, and what the whole building gives")
        for key, source in (("oat_f", "oat"), ("oawb_f", "oawb"), ("humidity_ratio", "w")):
            c = self.known[key]
            g.add(key, c.label, c.unit, f"{{L.{source}}}", c.style, total="mean", total_unit=c.total_unit)
        g.add("occupied", "Occupied", "1/0", "{L.occupied}", "f0", total="sum", total_unit="h")
        g.add("enabled", "Heating plant enabled", "1/0", "{L.enabled}", "f0", total="sum", total_unit="h")
        for key, label, unit in (
            ("latent", "Moisture gain", "Btu/h"),
            ("plenum", "Light into the plenum", "Btu/h"),
            ("infiltration", "Infiltration", "cfm"),
        ):
            g.add(key, label, unit, f"{{L.{key}}}", "f0")
        if self.project.outdoor_air.control == "people":
            g.add("oa_people", "Outdoor air by people present", "cfm", "{L.oa_people}", "f0")

    @property
    def dsp_strategy(self):
        """Strategy of duct static pressure."""
        return dsp_strategy(self.candidate.dsp)

    def compare_rows(self, key: str, wanted) -> None:
        """Compare a column that is the same in each part with the engine's rows."""
        self.grid.compare(key, np.tile(wanted, self.parts)[:, None])

    def dsp(self, x: str) -> str:
        """Template of the pressure setpoint of these columns."""
        return f"{{{x if self.dsp_strategy.follows_zones else ''}dsp_set_inwc}}"

    @property
    def unit_symbols(self) -> Any:
        """Records of inputs of the air handler as symbols; stands in for the unit where the model reads only these."""
        draw = self.drawing
        sections = ("air_handler", "outdoor_air", "economizer", "fan", "return_fan")
        return SimpleNamespace(
            **{name: draw.inputs(name, getattr(self.project, name)) for name in sections},
            design_cfm=draw.name("air_handler.design_cfm", low=1.0),
            motor_hp=draw.name("fan.motor_hp", low=0.0),
            fan_scale=draw.name("c.scale", low=0.0),
        )

    @property
    def draw(self) -> bool:
        return self.project.fan.arrangement == "draw_through"


class Steps(Chain):
    """Some rows of a candidate at supply temperatures of a search, on a sheet of their own.

    Parameters
    ----------
    chain : Chain
        The candidate's own.
    sheet : Sheet
    rows : ndarray of int
        Its lines that these stand for.
    """

    def __init__(self, chain: Chain, sheet, rows):
        self.pen, self.site, self.run, self.candidate, self.rationed = (
            chain.pen,
            chain.site,
            chain.run,
            chain.candidate,
            chain.rationed,
        )
        self.unit, self.project, self.parts, self.known, self.two_pass = (
            chain.unit,
            chain.project,
            chain.parts,
            chain.known,
            False,
        )
        self.lines, self.rows = len(rows), rows
        scope = Scope(chain.parameters)
        loads = self.site.loads
        for c in loads.columns:
            if not c.text:
                scope.put(f"L.{c.key}", loads.outside_address(c.key), np.tile(c.values[rows], (self.parts, 1)))
        self.grid = Grid(self.pen, sheet, scope, self.lines, self.parts, source=rows)
        self.drawing = Drawing(self.grid.scope, self.step, STEPS)
        self.grid.group("Row")
        self.grid.add("row", "Row", "no.", "{L.row}", "f0")
        self.condition_columns()

    def more(self, x: str) -> str:
        return f", step {x[1:-1]}" if x[1:-1].isdigit() else ""

    def out(self, key: str, template, *, prefix: str = "") -> None:
        if prefix + key in self.grid:
            return
        c = self.known[key]
        values = np.zeros(self.lines * self.parts) if template is None else None
        self.grid.add(prefix + key, c.label + self.more(prefix), c.unit, template, c.style, values=values)


def part_overrides(candidate) -> list[tuple[bool, bool]]:
    """Which parts of a candidate's lines have operators' overrides of supply air and duct pressure, in the engine's
    order."""
    sat, dsp = candidate.sat, candidate.dsp
    cases = [(1.0 - sat.override_frac, False)] + ([(sat.override_frac, True)] if sat.override_frac > 0.0 else [])
    pressures = [(1.0 - dsp.override_frac, False)] + ([(dsp.override_frac, True)] if dsp.override_frac > 0.0 else [])
    return [(a, b) for share_a, a in cases for share_b, b in pressures if share_a * share_b > 0.0]
