"""A candidate row by row: from outdoor air to cost, in the order of the calculation."""

from __future__ import annotations

from types import SimpleNamespace

import numpy as np

from ...estimate import off_energy
from ...money import annual_cost_usd
from ..figures import setpoint_words
from ..layout import (
    CANDIDATE_COLUMNS, CANDIDATE_FIRST_ROW, CANDIDATE_FIRST_RUNNING_COLUMN, CANDIDATE_FROZEN_COLUMNS, CANDIDATE_GROUP_ROW, CANDIDATE_GROUPS,
    CANDIDATE_LABEL_ROW, CANDIDATE_TITLE_ROW, CANDIDATE_TOTAL_ROWS, CANDIDATE_UNIT_ROW,
)
from ..page import Work, title
from ..strict import Sheet
from .inputs import change_text

# Sums agree when they differ by less than this share: the order of adding differs.
AGREES_FRAC = 1e-9

_MONTHS = ("", "Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")

_TOTAL_LABELS = {
    "unit": "Unit of the totals", "rows": "Rows: sum of weight × value", "night": "Setback, warm-up, idle plant",
    "year": "Year", "results": "As on Comparison", "difference": "Difference",
}


def when_text(month: int, day: int, hour: int) -> str:
    """``Jul 04 14h``; rows that are no real hour are means of their bin."""
    return f"{_MONTHS[month]} {day:02d} {hour:02d}h" if month > 0 else "mean of bin"


def column_values(candidate) -> dict[str, np.ndarray]:
    """Columns of the sheet by key; ``when`` is a list of texts."""
    rows = candidate.rows
    values: dict = {}
    for column in CANDIDATE_COLUMNS:
        if column.key == "weight_h":
            values["weight_h"] = (rows["hours"] * rows["share"]).to_numpy(dtype=float)
        elif column.key == "fans_kw":
            values["fans_kw"] = (rows["fan_kw"] + rows["return_fan_kw"]).to_numpy(dtype=float)
        elif column.key == "when":
            values["when"] = [when_text(*at) for at in zip(rows["month"].tolist(), rows["day"].tolist(), rows["hour_start"].tolist())]
        else:
            values[column.key] = rows[column.key].to_numpy(dtype=float)
    return values


def outside_rows(results, candidate, values) -> dict[str, float]:
    """Annual figures that come from no running row: setback and warm-up, and the heating plant
    where it stays enabled while the air handler is off."""
    run = results.runs[candidate.id]
    off = off_energy(run.unit, SimpleNamespace(fan_on=values["fan_on"], oat_f=values["oat_f"]))
    weight = values["weight_h"]
    figures = {key: run.night[key] for key in (
        "fan_kwh", "cooling_kwh", "pump_tower_kwh", "heating_kwh", "fuel_therm", "purchased_cooling_kbtu",
        "purchased_heating_kbtu")}
    for key, name in (("pump_tower_kwh", "pump_tower_kw"), ("heating_kwh", "heating_kw"), ("fuel_therm", "fuel_thermh"),
                      ("purchased_heating_kbtu", "purchased_heating_kbtuh")):
        figures[key] += float(weight @ off[name])
    figures["electricity_kwh"] = sum(figures[k] for k in ("fan_kwh", "cooling_kwh", "pump_tower_kwh", "heating_kwh"))
    figures["cost_usd"] = float(annual_cost_usd(
        figures["electricity_kwh"], figures["fuel_therm"], figures["purchased_cooling_kbtu"],
        figures["purchased_heating_kbtu"], results.project.prices))
    return figures


def totals(candidate, values: dict, outside: dict) -> list[dict[str, float | str | None]]:
    """Totals of every column, by the keys of ``CANDIDATE_TOTAL_ROWS``; empty where there are none."""
    weight = values["weight_h"]
    running = weight * values["fan_on"]
    hours = float(running.sum())
    found = []
    for column in CANDIDATE_COLUMNS:
        if not column.total:
            found.append({})
            continue
        data = values[column.key]
        if column.total == "mean":
            known = running > 0.0
            total = float(running[known] @ data[known]) / hours if hours > 0.0 else None
        elif column.total == "weight":
            total = float(weight.sum())
        else:
            total = float(weight @ data)
        line: dict = {"unit": column.total_unit, "rows": total}
        if column.annual and total is not None:
            said = candidate.annual[column.annual]
            night = outside.get(column.annual)
            year = total + (night or 0.0)
            apart = abs(year - said)
            line |= {"night": night, "year": year, "results": said,
                     "difference": "agrees" if apart <= AGREES_FRAC * max(abs(said), 1.0) else year - said}
        found.append(line)
    return found


def write(work: Work, sheet: Sheet, position: int) -> None:
    """Write the sheet of the candidate at this position."""
    s, results = work.styles, work.results
    candidate = results.candidates[position]
    columns = CANDIDATE_COLUMNS
    values = column_values(candidate)
    outside = outside_rows(results, candidate, values)

    # Columns that repeat on every printed page hold only what fits into them.
    record, beside = candidate.candidate, CANDIDATE_FROZEN_COLUMNS
    title(work, sheet, f"Candidate {position + 1}", link_column=len(columns) - 1)
    sheet.text(CANDIDATE_TITLE_ROW, beside, candidate.name, s("sheet_title"))
    sheet.text(CANDIDATE_TITLE_ROW + 1, beside, "Supply air temperature " + setpoint_words("sat", record.sat), s("subtitle"))
    sheet.text(CANDIDATE_TITLE_ROW + 2, beside, "Duct static pressure " + setpoint_words("dsp", record.dsp)
               + _overrides_text(record), s("subtitle"))
    note = ("One line a bin row; rates hold during the row's hours. Lines that end at “off”: the air handler does not run. Sums are weight × value, "
            "means are weighted over running hours.")
    sheet.text(CANDIDATE_TITLE_ROW + 3, beside, note, s("small", "quiet"))

    at = 0
    for label, group in CANDIDATE_GROUPS:
        sheet.merged_text(CANDIDATE_GROUP_ROW, at, CANDIDATE_GROUP_ROW, at + len(group) - 1, label, s("step"))
        at += len(group)
    sheet.height(CANDIDATE_LABEL_ROW, 50)
    found = totals(candidate, values, outside)
    for place, column in enumerate(columns):
        sheet.text(CANDIDATE_LABEL_ROW, place, column.label, s("head"))
        sheet.text(CANDIDATE_UNIT_ROW, place, column.unit, s("units"))
        if place >= 2:
            _total_cells(work, sheet, place, column, found[place])
    for key, row in CANDIDATE_TOTAL_ROWS.items():
        sheet.merged_text(row, 0, row, 1, _TOTAL_LABELS[key], s("total" if key in ("year",) else "subtotal", "small"))

    first, count = CANDIDATE_FIRST_ROW, len(values["weight_h"])
    body = [s(column.style, "line", "small") for column in columns]
    date_style = s("line", "small", "inset")
    for row, text in enumerate(values["when"], first):
        sheet.text(row, 1, text, date_style)
    off = values["fan_on"] <= 0.0
    off_style = s("small", "quiet", "italic", "right")
    for row in np.flatnonzero(off).tolist():
        sheet.text(first + row, CANDIDATE_FIRST_RUNNING_COLUMN, "off", off_style)
    sheet.number_columns(first, 0, [values["row"]], body[:1])
    sheet.number_columns(first, 2, [_shown(column.key, values, off, place) for place, column in enumerate(columns[2:], 2)], body[2:],
                         bare=True)
    sheet.widths(column.width for column in columns)
    sheet.freeze(CANDIDATE_UNIT_ROW + 1, CANDIDATE_FROZEN_COLUMNS)
    sheet.on_paper(
        footer=work.footer, last_row=first + count - 1, last_column=len(columns) - 1, letter=False, pages_wide=2,
        repeat_rows=(CANDIDATE_GROUP_ROW, CANDIDATE_UNIT_ROW), repeat_columns=(0, CANDIDATE_FROZEN_COLUMNS - 1))


def _total_cells(work: Work, sheet: Sheet, place: int, column, line: dict) -> None:
    s = work.styles
    for key, row in CANDIDATE_TOTAL_ROWS.items():
        value = line.get(key)
        kind = "total" if key == "year" else "subtotal"
        if key == "unit":
            sheet.cell(row, place, value, s("units"))
        elif isinstance(value, str):
            sheet.text(row, place, value, s("agree", "small"))
        else:
            style = column.style if column.total == "mean" or key == "difference" else "f1"
            sheet.cell(row, place, value, s(style, kind, "small"))


def _shown(key: str, values: dict, off: np.ndarray, place: int) -> np.ndarray:
    """A column as printed: nothing where the air handler is off, nothing for a capacity without limit."""
    data = values[key]
    if place >= CANDIDATE_FIRST_RUNNING_COLUMN:
        data = np.where(off & (data == 0.0), np.nan, data)
    if key == "cooling_capacity_kbtuh":
        data = np.where(np.isinf(data), np.nan, data)
    return data


def _overrides_text(record) -> str:
    if not record.overrides:
        return ""
    return f"  ·  also changes ({record.kind}): {change_text(record.overrides)}"
