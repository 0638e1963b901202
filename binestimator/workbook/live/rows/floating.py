"""Rows whose supply air cannot be held, as formulas: the root of ``model.floating`` step by step, and what closes the
row.

The steps do not see the supply setpoint. They are on sheets of their own, for the rows that float
in the run or are near it; a row that only an edit makes float is counted on the sheet of held values. With
hundreds of zone lines the steps are too wide for a sheet: what the run found is held then.
"""

from __future__ import annotations

import re

import numpy as np

from ....dataclass import dataclass
from ....model import floating as steps
from ....model.system import supply_heating_mode
from ...addresses import quoted
from ...page import title
from ...strict import MOST_COLUMNS
from ..grid import Grid
from .air import air_columns
from .chain import Steps
from .coils import coil_columns
from .mixing import economizer_test, economizing, mixed_air, outdoor_air_share
from .plant import capacity_columns
from .terminals import terminal_columns

DOWN, UP = "Cold air", "Plant short"
# Rows this close to floating have their steps as well, so that small edits stay live. [degF, share of capacity]
NEAR_F, NEAR_FRAC = 3.0, 0.85
# Later steps differ from this one by names alone: their columns are not drawn from the model again.
DRAWN_STEPS = 2
# Columns that an evaluation takes at most beside its blocks of one a zone line.
STEP_COLUMNS = 110


def floating_rows(results, id_: str) -> dict[str, np.ndarray]:
    """Running rows of a candidate that float or are near it, by the kind of sheet; none where the kind does not
    occur."""
    run = results.runs[id_]
    mode, cool = supply_heating_mode(run.unit), run.project.cooling
    count = len(run.rows.running)
    found = {}
    if mode != "hold":
        rows = np.zeros(count, dtype=bool)
        for p in run.parts:
            s = p.state
            share = s.oa_frac if run.unit.economizer.stuck_frac is not None else s.oa_min_frac
            mixed = s.rat_f + share * (run.rows.on.oat_f - s.rat_f)
            if mode == "own_setpoint":
                mixed = np.maximum(mixed, run.unit.air_handler.supply_heating_setpoint_f)
            rows |= mixed + s.fan_rise_f < s.sat_set_f + NEAR_F
        found[DOWN] = np.flatnonzero(rows)
    limited = any(p.state.capacity_limited.any() for p in run.parts)
    if cool.type in ("direct_expansion", "none") or limited:
        rows = np.zeros(count, dtype=bool)
        for p in run.parts:
            s = p.state
            off = (s.cooling_capacity_kbtuh <= 0.0) & (run.rows.on.oat_f > s.sat_set_f - s.fan_rise_f - NEAR_F)
            rows |= (
                (s.capacity_limited > 0.0)
                | off
                | ((s.cooling_kbtuh > NEAR_FRAC * s.cooling_capacity_kbtuh) & (s.cooling_kbtuh > 0.0))
            )
        found[UP] = np.flatnonzero(rows)
    return {kind: rows for kind, rows in found.items() if rows.size}


def steps_fit(results, id_: str, kind: str) -> bool:
    """Whether the steps of rows that float one way fit on a sheet: each takes some columns a zone line.

    Where they do not (from some 190 to 420 zone lines on where plants are too small, 280 to 620 where mixed air is too
    cold), the rows that float keep the supply temperature of the run.
    """
    run = results.runs[id_]
    demand = results[id_].candidate.dsp.strategy == "demand"
    zone_blocks = 3 + 2 * bool(run.unit.zones.dual_maximum.any()) + 2 * demand
    evaluations = steps.DOWN_EVALUATIONS if kind == DOWN else steps.UP_EVALUATIONS
    return evaluations * (zone_blocks * len(run.unit.zones) + STEP_COLUMNS) <= MOST_COLUMNS


def sheet_name(kind: str, position: int) -> str:
    """Sheet of the rows of a candidate that float one way."""
    return f"{kind} {position + 1}"


@dataclass(frozen=True, slots=True)
class Floats:
    """``rows`` of ``floating_rows`` and the sheet of each kind; a kind without a sheet is held (``steps_fit``).
    ``title`` of the option comes before that of a sheet."""

    rows: dict[str, np.ndarray]
    sheets: dict
    title: str


def heated(chain, mixed: str) -> str:
    """Template of mixed air after as much heating as the mode gives without following the supply setpoint."""
    return (
        f"MAX({mixed},{{air_handler.supply_heating_setpoint_f}})"
        if supply_heating_mode(chain.unit) == "own_setpoint"
        else mixed
    )


def excess(load: str, capacity: str) -> str:
    """Template of whether a load is beyond a capacity."""
    return f"{load}-{capacity}>{{k.capacity_slack}}*MAX({load},1/1000)"


def result(chain) -> None:
    """Columns of the supply temperature that results from the setpoint, behind a first look at the setpoint."""
    g, project = chain.grid, chain.project
    hold = supply_heating_mode(chain.unit) == "hold"
    cold = "0" if hold else f"IF({heated(chain, '{a_mat_f}')}+{{a_fan_rise_f}}<{{sat_set_f}}-{{k.sat_held}},1,0)"
    chain.col("floats_low", "Colder than its setpoint", "1/0", cold, "f0")
    short = (
        "0"
        if project.cooling.type == "purchased"
        else f"IF(AND({{floats_low}}=0,"
        f"{excess('({a_sensible}+{a_cooling_latent_kbtuh})', '{a_cooling_capacity_kbtuh}')}),1,0)"
    )
    chain.col("floats_high", "Short of cooling", "1/0", short, "f0")
    missing, template = [], "{sat_set_f}"
    for kind, flag, limit in ((UP, "floats_high", "MAX"), (DOWN, "floats_low", "MIN")):
        if kind not in chain.floats.rows:
            missing.append(f"{{{flag}}}")
            continue
        own = {UP: "up", DOWN: "down"}[kind]
        if kind not in chain.floats.sheets:
            held = np.zeros((chain.parts, chain.lines))
            held[:, chain.floats.rows[kind]] = 1.0
            g.add(f"{own}_line", f"Floats {own} in the run, or is near it", "1/0", None, "f0", values=held)
            g.add(
                f"{own}_f",
                "Supply air that resulted in the run (value)",
                "°F",
                None,
                "f2",
                values=np.where(held.ravel() > 0.0, chain.engine("sat_f"), 0.0),
            )
            template = f"IF(AND({{{flag}}}=1,{{{own}_line}}>0),{{{own}_f}},{template})"
            # What the run found holds until an input is edited.
            missing.append(f"AND({{{flag}}}=1,OR({{{own}_line}}=0,{{held.edited}}>0))")
            continue
        rows = chain.floats.rows[kind]
        grid, key = steps_of(chain, kind)
        line = np.zeros((chain.parts, chain.lines))
        line[:, rows] = np.arange(chain.parts * len(rows)).reshape(chain.parts, -1) + 1.0
        g.add(f"{own}_line", f"Its line on “{grid.sheet.name}”, 0 none", "no.", None, "f0", values=line)
        g.scope.put(f"F.{own}", f"{quoted(grid.sheet.name)}!{grid.area(key)}", grid.scope[key])
        g.add(
            f"{own}_f",
            "Supply air at which it floats " + own,
            "°F",
            f"IF({{{own}_line}}>0,INDEX({{F.{own}}},{{{own}_line}}),0)",
            "f2",
        )
        template = f"IF(AND({{{flag}}}=1,{{{own}_line}}>0),{limit}({{sat_set_f}},{{{own}_f}}),{template})"
        missing.append(f"AND({{{flag}}}=1,{{{own}_line}}=0)")
    missing = [f"{m}=1" if m.startswith("{") else m for m in missing]
    chain.col(
        "short", "Floats, but has no line for it: needs a new run", "1/0", f"IF(OR({','.join(missing)}),1,0)", "f0"
    )
    chain.grid.compare("short", np.zeros((chain.lines * chain.parts, 1)))
    chain.out("sat_f", template)


def closed(chain) -> None:
    """Mixing and coils at the supply temperature that results, with what closes the balances of rows that float."""
    kinds = chain.floats.rows
    up, down = UP in kinds, DOWN in kinds
    share = outdoor_air_share(chain, "", "{sat_f}")
    chain.group("Mixing")
    chain.col("b_oa_frac", "Share wanted by the economizer", "0–1", share, "f3")
    chain.col("b_mat_f", "Mixed air wanted by the economizer", "°F", mixed_air("", "{b_oa_frac}"))
    moved = []
    wanted = "{target_f}"
    if down:
        heats = (
            "{b_mat_f}>={air_handler.supply_heating_setpoint_f}"
            if supply_heating_mode(chain.unit) == "own_setpoint"
            else ""
        )
        moved.append(f"AND({{floats_low}}=1,{{down_line}}>0{',' + heats if heats else ''})")
    if up:
        coil_columns(chain, "", "b_", "{sat_f}")
        chain.col("high", "Short of cooling and followed", "1/0", "IF(AND({floats_high}=1,{up_line}>0),1,0)", "f0")
        chain.col(
            "beyond",
            "Sensible load alone beyond the plant",
            "1/0",
            "IF(AND({high}=1,{b_sensible}-{b_cooling_capacity_kbtuh}>{k.unserved}*MAX({b_sensible},1/1000)),1,0)",
            "f0",
        )
        moved += ["{beyond}=1", "AND({high}=1,{b_mat_f}<{target_f},{b_cooling_capacity_kbtuh}<=0)"]
        wanted = "({target_f}+1000*{beyond}*{b_cooling_capacity_kbtuh}/({fs}*IF({flow_cfm}>0,{flow_cfm},1)))"
    chain.group("Mixing that results")
    gap = "({rat_f}-{oat_f})"
    chain.out(
        "oa_frac",
        f"IF({moved[0] if len(moved) == 1 else 'OR(' + ','.join(moved) + ')'},MEDIAN(0,IF(ABS({gap})>{{k.same_f}},"
        f"({{rat_f}}-{wanted})/IF(ABS({gap})>{{k.same_f}},{gap},1),{{b_oa_frac}}),1),{{b_oa_frac}})",
    )
    economizing(chain, "{b_oa_frac}", ",OR({floats_low}=0,{down_line}=0)" if down else "")
    chain.out("oa_cfm", "{oa_frac}*{flow_cfm}")
    chain.out("mat_f", mixed_air("", "{oa_frac}"))
    if not up:
        coil_columns(chain, "", "", "{sat_f}")
        return
    coil_columns(chain, "", "", "{sat_f}", open_latent="latent_open")
    chain.group("Held to capacity")
    chain.out("cooling_capacity_kbtuh", "IF({high}=1,{b_cooling_capacity_kbtuh},{open_capacity_kbtuh})")
    chain.col(
        "latent_left",
        "Latent load that capacity leaves",
        "kBtu/h",
        "MEDIAN(0,{latent_open},MAX({b_cooling_capacity_kbtuh}-{sensible},0))",
    )
    chain.col(
        "less",
        "Dries less than it could",
        "1/0",
        "IF(AND({high}=1,{latent_open}-{latent_left}>{k.unserved}*MAX({latent_open},1/1000)),1,0)",
        "f0",
    )
    chain.out("cooling_latent_kbtuh", "IF({less}=1,{latent_left},{latent_open})")
    outside = "MAX({fl}*({flow_cfm}*{oa_frac}+{infiltration}),{fl}*{k.least_exchange})"
    chain.out(
        "room_humidity_ratio",
        f"IF({{less}}=1,{{humidity_ratio}}+({{latent}}-1000*{{cooling_latent_kbtuh}})/{outside},"
        f"{{o_room_humidity_ratio}})",
    )
    chain.out(
        "mixed_humidity_ratio",
        "IF({less}=1,{oa_frac}*{humidity_ratio}+(1-{oa_frac})*{room_humidity_ratio},{o_mixed_humidity_ratio})",
    )
    chain.out(
        "leaving_humidity_ratio",
        "IF({less}=1,{mixed_humidity_ratio}-1000*{cooling_latent_kbtuh}/({fl}*IF({flow_cfm}>0,{flow_cfm},1)),"
        "{o_leaving_humidity_ratio})",
    )


def steps_of(chain, kind: str) -> tuple[Grid, str]:
    """Write the sheet of the rows that float one way; returns its table and the column of the root."""
    sheet, rows = chain.floats.sheets[kind], chain.floats.rows[kind]
    one = Steps(chain, sheet, rows)
    words = {
        DOWN: "mixed air too cold: supply air at which it gives itself",
        UP: "plant too small: supply air at which it carries the load",
    }
    title(
        chain.pen.work,
        sheet,
        f"{chain.floats.title}, {words[kind]}",
        "The rows that float in the run or are near it. Each step tries a supply temperature without "
        "looking at the setpoint, by the secant through the last two and inside what is known. The option's rows "
        "take the last column.",
        link_column=11,
    )
    key = _root(one, kind)
    one.grid.write()
    sheet.widths([5.5, *[9.5] * (one.grid.width - 1)])
    one.grid.show(1, chain.pen.work.footer, whole=False)
    return one.grid, key


def _root(one, kind: str) -> str:
    """Columns of ``model.floating._root``; returns the key of the last."""
    down = kind == DOWN
    count = steps.DOWN_EVALUATIONS if down else steps.UP_EVALUATIONS
    side = "down" if down else "up"
    one.group("Step 1: a guess")
    one.col(
        "s_sat_1",
        "Supply air, step 1",
        "°F",
        f"MEDIAN({{k.down_low}},{heated(one, '{oat_f}')},{{k.down_high}})" if down else "{k.up_start}",
    )
    low, high, low_f, high_f = f"{{k.{side}_low}}", f"{{k.{side}_high}}", "0", "0"
    for k in range(1, count + 1):
        x, s = f"s{k}_", f"{{s_sat_{k}}}"
        terminal_columns(one, x, s)
        if k <= DRAWN_STEPS:
            first = one.grid.place
            air_columns(one, x, s)
            one.group(f"Residual, step {k}")
            one.col(
                f"r_{k}",
                f"Air that results above it, step {k}",
                "°F",
                _cold(one, x, s) if down else _excess(one, x, s),
                "f4",
            )
            last = one.grid.place
        else:
            one.grid.repeat(first, last, *_of_step(k))
        one.col(f"f_{k}", "The same without rounding", "°F", f"IF(ABS({{r_{k}}})>{{k.found}},{{r_{k}}},0)", "f4")
        f = f"{{f_{k}}}"
        one.group(f"Bracket, and step {k + 1}")
        one.col(f"lf_{k}", "Residual at its lower end, 0 unknown", "°F", f"IF(AND({f}>0,{s}>={low}),{f},{low_f})", "f4")
        one.col(
            f"hf_{k}", "Residual at its upper end, 0 unknown", "°F", f"IF(AND({f}<=0,{s}<={high}),{f},{high_f})", "f4"
        )
        one.col(f"l_{k}", "Lower end", "°F", f"IF({f}>0,MAX({low},{s}),{low})")
        one.col(f"h_{k}", "Upper end", "°F", f"IF({f}>0,{high},MIN({high},{s}))")
        low, high, low_f, high_f = f"{{l_{k}}}", f"{{h_{k}}}", f"{{lf_{k}}}", f"{{hf_{k}}}"
        fall = "1"
        if k > 1:
            run = f"({s}-{{s_sat_{k - 1}}})"
            least = "early_least_fall" if k <= steps.EARLY_STEPS else "least_fall"
            slope = (
                f"IF(ABS({run})>{{k.same_step}},MAX(({{f_{k - 1}}}-{f})/IF(ABS({run})>{{k.same_step}},{run},1),"
                f"{{k.{least}}}),1)"
            )
            # Rows that start a second time know no slope yet.
            one.col(
                f"fall_{k}",
                "Fall of the residual",
                "°F/°F",
                f"IF({{f_1}}>0,{slope},1)" if k == 2 and not down else slope,
                "f3",
            )
            fall = f"{{fall_{k}}}"
        far = f"*IF({high_f}=0,{{k.far}},1)" if k > steps.FAR_FROM else ""
        one.col(f"secant_{k}", "Secant's next", "°F", f"{s}+{f}/{fall}{far}")
        secant = f"{{secant_{k}}}"
        both = f"AND({low_f}>0,{high_f}<0)"
        chord = (
            f"{low}+MEDIAN({{k.chord_margin}},{low_f}/IF({both},{low_f}-{high_f},1),"
            f"1-{{k.chord_margin}})*({high}-{low})"
        )
        following = f"IF(AND({secant}>{low},{secant}<{high}),{secant},IF({both},{chord},MEDIAN({low},{secant},{high})))"
        if k == 1 and not down:
            following = f"IF({f}>0,{following},{{k.up_cold}})"
        one.col(
            f"s_sat_{k + 1}",
            f"Supply air, step {k + 1}" if k < count else "Supply air that results",
            "°F",
            f"IF({f}<>0,{following},{s})",
        )
    return f"s_sat_{count + 1}"


def _of_step(k: int):
    """Names and labels of step ``DRAWN_STEPS`` as those of step ``k``, two functions."""
    n = DRAWN_STEPS
    return (
        lambda text: re.sub(rf"(?<![a-z0-9_])(s|r_|s_sat_){n}(?=_|\b)", rf"\g<1>{k}", text),
        lambda label: re.sub(rf", step {n}$", f", step {k}", label),
    )


def _cold(one, x: str, s: str) -> str:
    """Template of the residual where mixed air is too cold."""
    share = "{economizer.stuck_frac}" if one.project.economizer.stuck_frac is not None else f"{{{x}oa_min_frac}}"
    one.col(x + "mat_f", "Mixed air" + one.more(x), "°F", mixed_air(x, share))
    return f"{heated(one, f'{{{x}mat_f}}')}+{{{x}fan_rise_f}}-{s}"


def _excess(one, x: str, s: str) -> str:
    """Template of the residual where the plant is too small: load beyond capacity over the heat of a degree of the
    air."""
    eco = one.project.economizer
    n = lambda key: f"{{{x}{key}}}"
    share = "{economizer.stuck_frac}" if eco.stuck_frac is not None else n("oa_min_frac")
    if eco.stuck_frac is None and eco.type != "none":
        test = economizer_test(one, x, s)
        if not eco.integrated:
            test = f"AND({test},{_no_capacity(one)})"
        share = f"IF({test},MAX({{outdoor_air.maximum_frac}},{n('oa_min_frac')}),{n('oa_min_frac')})"
    one.group("Mixing" + one.more(x))
    one.col(x + "oa_frac", "Outdoor-air share that helps most" + one.more(x), "0–1", share, "f3")
    one.col(x + "mat_f", "Mixed air" + one.more(x), "°F", mixed_air(x, n("oa_frac")))
    coil_columns(one, x, x, s)
    one.group(f"Residual{one.more(x)}")
    return (
        f"({{fs}}*{n('flow_cfm')}*({n('mat_f')}-{n('target_f')})+1000*({n('cooling_latent_kbtuh')}-{n('cooling_capacity_kbtuh')}))"
        f"/({{fs}}*MAX({n('flow_cfm')},1))"
    )


def _no_capacity(one) -> str:
    """Template of whether the plant gives nothing whatever the state of the coil."""
    cool = one.project.cooling
    if cool.type == "none":
        return "1=1"
    if cool.type == "direct_expansion":
        return "{oat_f}<{cooling.lockout_f}"
    capacity_columns(one, "z_", out=False)
    return "{z_cooling_capacity_kbtuh}<=0"
