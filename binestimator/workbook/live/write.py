"""The live part of a workbook: formulas from inputs and rows to the annual figures."""

from __future__ import annotations

import numpy as np

from ...model.plant import plant_curve_names
from ...results import ANNUAL
from ...strategies.registry import sat_strategy
from ..addresses import column_name, quoted
from ..figures import advised, setpoint_words
from ..layout import CANDIDATE_TITLE_ROW, NOTHING_EDITED, ROW_COLUMNS, ROWS, ROWS_FIRST_ROW, sheet_candidates
from ..page import title
from . import constants, held, inspector, method, money, money_plan, tariff, year
from .columns import TOTAL_ROWS
from .formulas import Scope
from .lines import SHEET as SETPOINTS
from .lines import Lines
from .pen import Pen
from .registry import Registry
from .rows import candidate as candidate_rows
from .rows import floating
from .rows.chain import Chain
from .site import idle, loads, unit
from .site.site import Site, SitePlan
from .site.zones import ZonesSheet


def sites_of(results) -> list[tuple[str, list[int]]]:
    """Sets of inputs among the candidates with a sheet, the baseline's first: key and positions of its candidates."""
    positions = sheet_candidates(results)
    found: dict[str, list[int]] = {}
    base = next(k for k in positions if results.candidates[k].id == results.baseline_id)
    for k in [base, *positions]:
        users = found.setdefault(results.runs[results.candidates[k].id].site, [])
        if k not in users:
            users.append(k)
    return [(key, sorted(users)) for key, users in found.items()]


def live_sheet_names(results) -> tuple[list[str], list[str]]:
    """Sheets of the live part before and after those of the candidates, in order."""
    before = [constants.SHEET]
    for number, (_key, users) in enumerate(sites_of(results), 1):
        site = SitePlan(results, results.runs[results.candidates[users[0]].id], number, users[0] + 1)
        before += (
            [site.unit_name] if number > 1 and site.can_share() else [site.unit_name, site.zones_name, site.loads_name]
        )
        before += [site.idle_name] if site.has_idle() else []
    floats = [
        floating.sheet_name(kind, k)
        for k in sheet_candidates(results)
        for kind in floating.floating_rows(results, results.candidates[k].id)
        if floating.steps_fit(results, results.candidates[k].id, kind)
    ]
    paid = [money_plan.SHEET, *([tariff.SHEET] if results.project.terms.has_tariff else [])]
    return [*before, SETPOINTS], [*floats, year.SHEET, *paid, inspector.SHEET, method.SHEET, held.SHEET]


def write_live(work, results, registry: Registry, *, blank: bool = False) -> Pen:
    """Write all live sheets; those of ``live_sheet_names`` and of the candidates must have been made.

    Parameters
    ----------
    work : Work
    results : Results
    registry : Registry
        Where inputs are.
    blank : bool
        Formulas without values.
    """
    pen = Pen(work, blank)
    pen.registry = registry
    held_values = held.HeldSheet(pen, work.sheets[held.SHEET], registry)
    positions = sheet_candidates(results)
    sites = sites_of(results)
    curves: list[str] = []
    for _key, users in sites:
        p = results.runs[results.candidates[users[0]].id].project
        curves += [n for n in plant_curve_names(p.cooling, p.heating, p.preheat) if n not in curves]
    scope = constants.write(work, work.sheets[constants.SHEET], pen, curves)
    _name_bin_rows(scope, results)
    scope.put("held.edited", held.EDITED, 0.0)
    charged = tariff.TariffPlan.of(results)
    if charged is not None:
        tariff.put_prices(charged, results, scope)
    lines = Lines(pen, work.sheets[SETPOINTS], registry)
    # What a reader follows first has its formulas line by line, the others one for each column.
    presented = advised(results)
    followed = {results.baseline_id, *([] if presented is None else [presented.id])}
    chains: dict[int, Chain] = {}
    by_position: dict[int, Site] = {}
    first: Site | None = None
    base_rows = results.runs[results.baseline_id].rows
    for number, (_key, users) in enumerate(sites, 1):
        run = results.runs[results.candidates[users[0]].id]
        names = [results.candidates[k].name for k in users]
        site = Site(SitePlan(results, run, number, users[0] + 1), pen, registry, scope, names)
        bin_rows = _bin_row_template if _same_rows(run.rows, base_rows) else None
        if first is not None and site.can_share():
            site.share(first)
            unit.write_unit(site, work.sheets[site.unit_name])
        else:
            zones = ZonesSheet(site)
            unit.write_unit(site, work.sheets[site.unit_name])
            zones.write(work.sheets[site.zones_name])
            demand_sat = any(sat_strategy(c.candidate.sat).listens for c in results.candidates)
            loads.write_loads(site, work.sheets[site.loads_name], bin_rows, demand_sat)
        if site.has_idle():
            idle.write_idle(site, work.sheets[site.idle_name], bin_rows)
        first = first or site
        for k in users:
            by_position[k] = site
    for k in positions:
        candidate = results.candidates[k]
        run = results.runs[candidate.id]
        site = by_position[k]
        sheet = work.sheets[work.candidate_sheets[k]]
        parameters = lines.candidate(candidate.candidate, k + 1, site.scope)
        rows = floating.floating_rows(results, candidate.id)
        floats = floating.Floats(
            rows,
            {
                kind: work.sheets[floating.sheet_name(kind, k)]
                for kind in rows
                if floating.steps_fit(results, candidate.id, kind)
            },
            f"{k + 1}  {candidate.name}",
        )
        chain = Chain(
            pen,
            sheet,
            site,
            run,
            candidate.candidate,
            parameters,
            floats,
            _rationed(results, [results.candidates[j].id for j in _users(sites, k)]),
            by_line=candidate.id in followed,
        )
        candidate_rows.build(chain)
        chains[k] = chain
        _write_candidate(pen, sheet, results, k, chain)
    lines.finish()
    plan = money_plan.MoneyPlan.of(results, positions)
    pen.places = year.write(pen, work.sheets[year.SHEET], results, registry, chains, plan, charged)
    if charged is not None:
        rows_usd = {k: chains[k].year_cells["rows_usd"][1] for k in positions}
        tariff.write(pen, work.sheets[tariff.SHEET], results, registry, positions, charged, rows_usd)
    money.write(pen, work.sheets[money_plan.SHEET], results, registry, positions, plan, pen.places)
    look = inspector.Inspector(pen, work.sheets[inspector.SHEET], results, chains, list(by_position.values()))
    look.write()
    method.write(pen, work.sheets[method.SHEET], results, look, curves)
    areas = lambda key, which: [f"{quoted(c.grid.sheet.name)}!{c.grid.area(key)}" for c in which if key in c.grid]
    beyond = areas("ceiling_frac", [c for c in chains.values() if not c.rationed])
    pen.banner = held_values.write(results, areas("short", chains.values()), beyond)
    pen.formula(work.sheets[year.SHEET], year.BANNER_ROW, 0, "=" + pen.banner, NOTHING_EDITED, pen.s("bold"))
    return pen


def _users(sites, position: int) -> list[int]:
    return next(users for _, users in sites if position in users)


def _same_rows(rows, base) -> bool:
    return (
        len(rows.running) == len(base.running)
        and np.array_equal(rows.running, base.running)
        and all(
            np.array_equal(getattr(rows.on, name), getattr(base.on, name))
            for name in ("hours", "oat_f", "oawb_f", "humidity_ratio", "occupied")
        )
    )


def _name_bin_rows(scope, results) -> None:
    """Name the columns of the sheet of rows that formulas take."""
    columns = [c for c in ROW_COLUMNS if c.key == "row" or c.key in results.row_table.columns]
    first, last = ROWS_FIRST_ROW + 1, ROWS_FIRST_ROW + len(results.row_table)
    for k, c in enumerate(columns):
        if c.key in ("weight_h", "oat_f", "oawb_f", "oa_dewpoint_f", "humidity_ratio", "occupied"):
            letter = column_name(k)
            values = np.asarray(results.row_table[c.key], dtype=float)
            scope.put(f"rows.{c.key}", f"{quoted(ROWS)}!${letter}${first}:${letter}${last}", values[:, None])


def _bin_row_template(key: str) -> str:
    """Template that takes a column of the sheet of rows."""
    return f"INDEX({{rows.{key}}},{{row}})"


def _rationed(results, ids: list[str]) -> bool:
    """Whether the fan comes to its airflow ceiling in some row of these candidates."""
    return any(p.state.airflow_ceiling.any() for id_ in ids for p in results.runs[id_].parts)


def _write_candidate(pen, sheet, results, position: int, chain: Chain) -> None:
    """Title, totals and rows of a candidate's sheet."""
    work, s, grid = pen.work, pen.s, chain.grid
    candidate = results.candidates[position]
    record, run = candidate.candidate, results.runs[candidate.id]
    title(work, sheet, f"{position + 1}  {candidate.name}", link_column=grid.width - 1)
    sheet.text(CANDIDATE_TITLE_ROW + 1, 0, "Supply air temperature " + setpoint_words("sat", record.sat), s("subtitle"))
    changed = ", ".join(f"{path} = {value}" for path, value in record.overrides.items())
    sheet.text(
        CANDIDATE_TITLE_ROW + 2,
        0,
        "Duct static pressure "
        + setpoint_words("dsp", record.dsp)
        + (f"  ·  also changes ({record.kind}): {changed}" if changed else ""),
        s("subtitle"),
    )
    note = (
        "Formulas from inputs and loads to cost, one line for each running row; the same row is on the same line of "
        "“Loads”. Constants are above the columns "
        "that use them. Sums are weight × value."
    )
    if chain.parts > 1:
        note += (
            f" Each row appears {chain.parts} times: without and with the operators' overrides, by their shares of the "
            "time."
        )
    if not grid.by_line:
        note += " One array formula fills a column; the baseline's sheet has the same formulas line by line."
    elif chain.parts > 1:
        note += " One array formula fills a column of the lines that repeat."
    sheet.text(CANDIDATE_TITLE_ROW + 3, 0, note, s("small", "quiet"))
    labels = {
        "unit": "Unit of the totals",
        "rows": "Rows",
        "night": "Nights (values)",
        "idle": "Idle heating plant",
        "year": "Year",
        "run": "Of the run",
        "difference": "Live less run",
    }
    for key, row in TOTAL_ROWS.items():
        sheet.merged_text(row, 0, row, 1, labels[key], s("total" if key == "year" else "subtotal", "small"))
    names = Scope()
    names.put("weight", grid.area("weight_h"), grid.scope["weight_h"].T)
    cell = lambda name, letter, key, value: names.put(name, f"{letter}{TOTAL_ROWS[key] + 1}", value)
    first = True
    for c in grid.columns:
        if not c.total or c.width > 1:
            continue
        at, letter = c.column, column_name(c.column)
        names.put("column", grid.area(c.key), c.values.T)
        sheet.text(TOTAL_ROWS["unit"], at, c.total_unit, s("units"))
        style = c.style if c.total == "mean" else "f1"
        template = {
            "mean": "SUMPRODUCT({weight},{column})/SUM({weight})",
            "weight": "SUM({column})",
            "sum": "SUMPRODUCT({weight},{column})",
        }[c.total]
        total = pen.evaluated(sheet, TOTAL_ROWS["rows"], at, names, template, s(style, "subtotal", "small"))
        if c.key == "cost_usd_h":
            chain.year_cells["rows_usd"] = (f"{quoted(sheet.name)}!${letter}${TOTAL_ROWS['rows'] + 1}", total)
        if not c.annual:
            continue
        parts = ["{total}"]
        cell("total", letter, "rows", total)
        if c.annual in run.night and c.annual != "running_hours":
            night = run.night[c.annual]
            sheet.number(TOTAL_ROWS["night"], at, night, s("f1", "subtotal", "small"))
            parts.append("{night}")
            cell("night", letter, "night", night)
        if c.annual in chain.site.idle:
            address, amount = chain.site.idle[c.annual]
            pen.formula(sheet, TOTAL_ROWS["idle"], at, "=" + address, amount, s("f1", "subtotal", "small"))
            parts.append("{idle}")
            cell("idle", letter, "idle", amount)
        if c.annual in ("electricity_kwh", "cost_usd"):
            continue
        said = candidate.annual[c.annual]
        value = pen.evaluated(sheet, TOTAL_ROWS["year"], at, names, "+".join(parts), s(style, "total", "small"))
        label = next(label for key, label, *_ in ANNUAL if key == c.annual)
        pen.compare(sheet.name, f"year.{c.annual}", value, said, f"{label} of the year")
        sheet.number(TOTAL_ROWS["run"], at, said, s(style, "subtotal", "small"))
        pen.formula(
            sheet,
            TOTAL_ROWS["difference"],
            at,
            f"=ROUND({letter}{TOTAL_ROWS['year'] + 1}-{letter}{TOTAL_ROWS['run'] + 1},6)",
            round(value - said, 6) + 0.0,
            s(style, "subtotal", "small"),
        )
        chain.year_cells[c.annual] = (f"{quoted(sheet.name)}!${letter}${TOTAL_ROWS['year'] + 1}", value)
        first = False
    assert not first
    grid.write()
    sheet.widths([5.5, 12, *[9.5] * (grid.width - 2)])
    grid.show(3, work.footer)
