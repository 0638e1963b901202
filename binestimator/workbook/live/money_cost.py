"""Sheet “Money”: terms of the life cycle, cost line by line, demand in peak windows."""

from __future__ import annotations

from ...inputs.schema import fields_of
from ...money.cost import LEVELS, QUANTITIES, input_name
from ...money.peaks import AVERAGING, windows_asked
from ...money.worth import cost_marks
from ..page import height_of, lines_of
from .formulas import Scope
from .money_lines import MoneyLines
from .money_plan import FIRST_COLUMN, TERMS

_LEVEL_WORDS = {"low": "low", "expected": "expected", "high": "high"}


def write_terms(w: MoneyLines) -> None:
    """Terms of the life cycle, the same for all options."""
    record = w.results.project.life_cycle
    for name in TERMS:
        f = fields_of("life_cycle")[name]
        row = w.head(f"term.{name}", f.label, f.unit, f.description)
        value = float(getattr(record, name))
        style = "f0" if name == "years" else "pct2"
        w.pen.formula(
            w.sheet,
            row,
            FIRST_COLUMN,
            "=" + w.registry.address(f"life_cycle.{name}"),
            value,
            w.s(style, "line"),
        )


def write_cost(w: MoneyLines) -> None:
    """Cost line by line, contingency and total."""
    results, registry, record = w.results, w.registry, w.results.project.cost
    for path in registry.paths():
        # Amounts of lines that no option has change no figure.
        if path.startswith("cost.") and path != "cost.build_up":
            registry.read.add(path)
    address = lambda name: registry.address(f"cost.{name}")
    marks = cost_marks(results.project)
    chosen = {k: {line.key: line for line in results.candidates[k].worth.build_up.lines} for k in w.positions}
    for line in w.plan.lines:
        for level in LEVELS:
            amount = input_name(line.amount, line.unit, level)
            unit = "h" if line.unit == "h" else results.project.prices.currency
            row = w.head(
                f"cost.{line.key}.{level}",
                line.label if level == "low" else "",
                _LEVEL_WORDS[level],
                f"{getattr(record, amount):g} {unit} each: {marks[amount]}; for {QUANTITIES[line.of]}",
                bold=level == "low",
            )
            for column, k in enumerate(w.positions, FIRST_COLUMN):
                found = chosen[k].get(line.key)
                if found is None:
                    w.sheet.text(row, column, "", w.s("line"))
                    continue
                names = Scope()
                names.put("amount", address(amount), float(getattr(record, amount)))
                template = "{quantity}*{amount}"
                if line.of == "rogue_zones":
                    zones = float(sum(z.multiplier for z in results.project.zones))
                    marked = float(sum(z.multiplier for z in results.project.zones if z.rogue != "none"))
                    share = input_name("rogue_share", "frac", level)
                    names.put("share", address(share), float(getattr(record, share)))
                    names.put("zones", repr(zones), zones)
                    names.put("marked", repr(marked), marked)
                    template = "MAX({share}*{zones},{marked})*{amount}"
                elif line.of == "new_points":
                    zones = float(sum(z.multiplier for z in results.project.zones))
                    names.put("each", address("new_points_per_zone"), float(record.new_points_per_zone))
                    names.put("zones", repr(zones), zones)
                    template = "{each}*{zones}*{amount}"
                else:
                    names.put("quantity", repr(float(found.quantity[level])), float(found.quantity[level]))
                if line.unit == "h":
                    rate = input_name("rate", "usd_h", level)
                    names.put("rate", address(rate), float(getattr(record, rate)))
                    template += "*{rate}"
                w.put(f"cost.{line.key}.{level}", column, names, template, "usd", found.usd[level], line.label)
    if "cost.hardware.low" in w.plan.rows:
        for level in LEVELS:
            row = w.head(
                f"cost.hardware.{level}",
                "Equipment of the option itself" if level == "low" else "",
                _LEVEL_WORDS[level],
                "As given for the option" if level == "low" else "",
                bold=level == "low",
            )
            for column, k in enumerate(w.positions, FIRST_COLUMN):
                c = results.candidates[k]
                path = f"candidate[{c.id}].hardware_usd"
                names = Scope()
                names.put("given", registry.address(path), float(c.candidate.hardware_usd))
                w.put(f"cost.hardware.{level}", column, names, "{given}", "usd", c.candidate.hardware_usd, path)
    keys = [line.key for line in w.plan.lines]
    keys += ["hardware"] if "cost.hardware.low" in w.plan.rows else []
    for level in LEVELS:
        share = input_name("contingency", "frac", level)
        w.head(
            f"cost.contingency.{level}",
            "Contingency" if level == "low" else "",
            _LEVEL_WORDS[level],
            "Share of the lines above" if level == "low" else "",
            bold=level == "low",
        )
        w.head(f"cost.total.{level}", "Cost by the build-up" if level == "low" else "", _LEVEL_WORDS[level])
        for column, k in enumerate(w.positions, FIRST_COLUMN):
            own = results.candidates[k].worth.build_up
            names = Scope()
            names.put("share", address(share), float(getattr(record, share)))
            mine = [key for key in keys if key in chosen[k] or key == "hardware"]
            for key in mine:
                value = chosen[k][key].usd[level] if key in chosen[k] else 0.0
                names.put(f"l.{key}", w.own(column, f"cost.{key}.{level}"), value)
            total = "+".join(f"{{l.{key}}}" for key in mine) or "0"
            w.put(
                f"cost.contingency.{level}",
                column,
                names,
                f"{{share}}*({total})",
                "usd",
                own.contingency_usd[level],
                "Contingency",
            )
            names.put("more", w.own(column, f"cost.contingency.{level}"), own.contingency_usd[level])
            w.put(f"cost.total.{level}", column, names, f"{total}+{{more}}", "usd", own.total_usd[level], "Cost")
    row = w.head("cost.marks", "Lines by the estimator", "of all", "The others are defaults: assumptions")
    for column, k in enumerate(w.positions, FIRST_COLUMN):
        lines = results.candidates[k].worth.build_up.lines
        mine = sum(line.mark != "default" for line in lines)
        w.sheet.text(row, column, f"{mine} of {len(lines)}" if lines else "–", w.s("line", "right"))
    row = w.head("cost.lacks", "Not in the build-up", "", "Give it as candidate.hardware_usd")
    # A column is too narrow for the key, which stands beside.
    texts = [results.candidates[k].worth.build_up.lacks.partition(" (")[0] for k in w.positions]
    for column, text in enumerate(texts, FIRST_COLUMN):
        w.sheet.text(row, column, text, w.s("text_small", "line"))
    w.sheet.height(row, height_of(max(lines_of(t, 17, 8.0) for t in texts), 8.2))


def write_windows(w: MoneyLines) -> None:
    """Demand in peak windows."""
    terms = w.results.project.terms
    for n, window in enumerate(terms.windows):
        start, end = window.hours
        rule = AVERAGING[window.averaging].format(top=window.top_hours)
        text = f"{', '.join(window.months)}; {', '.join(window.days)}; {start:g} to {end:g} h by the clock; {rule}"
        if terms.window_assumed:
            text += "; assumption: no programme's window is given"
        demand = w.head(f"window.{n}.kw", f"Demand, {window.name}", "kW", text)
        note = "Baseline minus option; minus: it raises demand"
        if w.pen.work.ranged:
            drawn = n in windows_asked(w.results.project)
            note += "; varies in the ranges" if drawn else "; not drawn in the ranges, as no money rests on it"
        saved = w.head(f"window.{n}.saving", f"Saved, {window.name}", "kW", note)
        for column, k in enumerate(w.positions, FIRST_COLUMN):
            own = w.results.candidates[k].worth.windows[n]
            w.sheet.number(demand, column, own.demand_kw, w.s("f2", "line"))
            w.sheet.number(saved, column, own.saving_kw, w.s("signed1", "line"))
