"""Annual figures of every candidate by formulas, savings and payback."""

from __future__ import annotations

import numpy as np

from ...end_uses import ELECTRIC, ENERGY_KEYS, PRICED
from ...money import simple_payback_years
from ...results import ANNUAL, SAVING_KEYS
from ..addresses import column_name
from ..formats import money_words
from ..layout import LIVE_YEAR
from ..page import title, unit_text
from .formulas import Scope
from .money_plan import MoneyPlan, cost_address
from .tariff import TariffPlan

SHEET = LIVE_YEAR
BANNER_ROW = 2
SUMMED = (
    "running_hours",
    *ENERGY_KEYS,
    "reheat_kbtu",
    "preheat_kbtu",
    "cooling_sensible_kbtu",
    "cooling_latent_kbtu",
    "unserved_cooling_kbtu",
    "mean_sat_f",
    "mean_dsp_inwc",
    "mean_flow_cfm",
)
_STYLE = {"degF": "f2", "in. w.c.": "f3", "USD": "usd2"}


def write(pen, sheet, results, registry, chains, plan: MoneyPlan, charged: TariffPlan | None = None) -> dict:
    """Write the sheet; returns row by key of its tables."""
    s, work = pen.s, pen.work
    positions = sorted(chains)
    title(
        work,
        sheet,
        "Live year",
        "Every figure here is a chain of formulas from inputs and rows; it moves when an input is edited.",
        link_column=2 + len(positions),
    )
    sheet.widths([30, 11, *[17] * len(positions), 70])
    row = 4
    for place, text in enumerate(("Figure", "Unit")):
        sheet.text(row, place, text, s("head_left"))
    sheet.text(row, 2 + len(positions), "What it is", s("head_left", "inset"))
    for place, k in enumerate(positions, 2):
        sheet.text(row, place, f"{k + 1} {results.candidates[k].name}", s("head"))
    sheet.height(row, 40)
    sheet.freeze(5, 2)
    known = {key: (label, unit, text) for key, label, unit, text in ANNUAL}
    base = next(k for k in positions if results.candidates[k].id == results.baseline_id)
    base_place = 2 + positions.index(base)
    places: dict[str, int] = {}
    value: dict[tuple[str, int], float] = {}
    row = _section(pen, sheet, row + 1, "A year", len(positions))
    order = [key for key, *_ in ANNUAL if key in SUMMED or key in ("electricity_kwh", "cost_usd")]
    for key in order:
        label, unit, text = known[key]
        places[key] = row
        row += 1
    for key in order:
        label, unit, text = known[key]
        at = places[key]
        sheet.text(at, 0, label, s("line", "bold"))
        sheet.text(at, 1, unit_text(unit), s("line", "small"))
        sheet.text(at, 2 + len(positions), text, s("line", "small", "quiet", "inset"))
        for place, k in enumerate(positions, 2):
            letter, annual = column_name(place), results.candidates[k].annual
            names = Scope()
            for other in order:
                if (other, k) in value:
                    names.put(other, f"{letter}{places[other] + 1}", value[(other, k)])
            if key == "electricity_kwh":
                template = "+".join(f"{{{use.key}}}" for use in ELECTRIC)
            elif key == "cost_usd" and charged is not None and charged.rates:
                # Each row at the price of its rate period; nights, idle plant and charges by the month are held.
                names.put("rows", *chains[k].year_cells["rows_usd"])
                names.put("held", charged.held_address(place), annual[key] - chains[k].year_cells["rows_usd"][1])
                template = "{rows}+{held}"
            elif key == "cost_usd":
                for _, price, _ in PRICED:
                    names.put(price, registry.address("prices." + price), float(registry.value("prices." + price)))
                template = "+".join(f"{{{e}}}*{{{price}}}" for e, price, _ in PRICED)
                if charged is not None:
                    names.put("held", charged.held_address(place), results.candidates[k].charges.year_usd)
                    template += "+{held}"
            else:
                names.put(key, *chains[k].year_cells[key])
                template = f"{{{key}}}"
            look = s(_STYLE.get(unit, "f1"), "line")
            found = pen.evaluated(sheet, at, place, names, template, look, annual[key])
            pen.compare(SHEET, f"{k + 1}.{key}", found, annual[key], f"{label}, {results.candidates[k].name}")
            value[(key, k)] = annual[key]
    row = _section(pen, sheet, row + 1, "Saving against the baseline (+ is saved)", len(positions))
    for key in SAVING_KEYS:
        label, unit, _ = known[key]
        sheet.text(row, 0, label, s("line", "bold"))
        sheet.text(row, 1, money_words(unit), s("line", "small"))
        for place, k in enumerate(positions, 2):
            names = Scope()
            names.put("base", f"${column_name(base_place)}{places[key] + 1}", value[(key, base)])
            names.put("own", f"{column_name(place)}{places[key] + 1}", value[(key, k)])
            look = s("usd2_signed" if unit == "USD" else "signed", "line")
            saving = results.candidates[k].saving[key]
            found = pen.evaluated(sheet, row, place, names, "{base}-{own}", look, saving)
            # A small difference of large figures: as exact as they are.
            pen.compare(
                SHEET,
                f"{k + 1}.saving.{key}",
                value[(key, base)] - found,
                value[(key, base)] - saving,
                f"Saving of {label.lower()}, {results.candidates[k].name}",
            )
        places["saving." + key] = row
        row += 1
    row = _section(pen, sheet, row + 1, "Simple payback", len(positions))
    for name, label in (("cost_usd", "Implementation cost"), ("incentive_usd", "Incentive")):
        sheet.text(row, 0, label, s("line", "bold"))
        sheet.text(row, 1, money_words("USD"), s("line", "small"))
        for place, k in enumerate(positions, 2):
            c = results.candidates[k].candidate
            found = cost_address(plan, results.candidates[k].worth, place, name)
            pen.formula(
                sheet,
                row,
                place,
                "=" + (found or registry.address(f"candidate[{c.id}].{name}")),
                getattr(c, name),
                s("usd2", "line"),
            )
        places["money." + name] = row
        row += 1
    for key, label in (("before", "Payback"), ("after", "Payback after incentive")):
        sheet.text(row, 0, label, s("line", "bold"))
        sheet.text(row, 1, "years", s("line", "small"))
        for place, k in enumerate(positions, 2):
            c = results.candidates[k]
            letter = column_name(place)
            outlay = "{outlay}" if key == "before" else "MAX({outlay}-{incentive},0)"
            names = Scope()
            names.put("outlay", f"{letter}{places['money.cost_usd'] + 1}", c.candidate.cost_usd)
            names.put("incentive", f"{letter}{places['money.incentive_usd'] + 1}", c.candidate.incentive_usd)
            names.put("saving", f"{letter}{places['saving.cost_usd'] + 1}", c.saving["cost_usd"])
            names.put("none", '"no saving"', np.nan)
            template = f"IF({{saving}}>0,{outlay}/{{saving}},{{none}})"
            paid = simple_payback_years(c.candidate.cost_usd, c.candidate.incentive_usd, c.saving["cost_usd"])
            years = paid.before_years if key == "before" else paid.after_years
            if years is not None:
                pen.compare(SHEET, f"{k + 1}.payback.{key}", names.evaluate(template), years, f"{label}, {c.name}")
            pen.formula(
                sheet,
                row,
                place,
                "=" + names.formula(template),
                "no saving" if years is None else years,
                s("years", "line", "right"),
            )
        places["payback." + key] = row
        row += 1
    sheet.on_paper(
        footer=work.footer, last_row=row, last_column=2 + len(positions), repeat_rows=(4, 4), repeat_columns=(0, 1)
    )
    return places


def _section(pen, sheet, row: int, text: str, count: int) -> int:
    for place in range(count + 3):
        sheet.text(row, place, text if place == 0 else "", pen.s("section"))
    return row + 1
