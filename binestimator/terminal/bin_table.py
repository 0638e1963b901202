"""The table of bins as text."""

from __future__ import annotations

import math

from .line import WIDTH, file_of, made_for, position_of, wrapped

_BIN_COLUMNS = (
    ("range", "Outdoor", "degF"),
    ("hours", "Hours", "h/yr"),
    ("hours_occupied", "Occupied", "h/yr"),
    ("hours_unoccupied_running", "Unocc. on", "h/yr"),
    ("hours_off", "Off", "h/yr"),
    ("mean_oat_f", "Mean db", "degF"),
    ("mcwb_f", "MC wb", "degF"),
    ("mcwb_occupied_f", "occupied", "degF"),
    ("mean_humidity_ratio", "Mean W", "lb/lb"),
    ("mean_humidity_ratio_occupied", "occupied", "lb/lb"),
)


def bins(table, weather, schedule: str, total_hours: float, width: int = WIDTH) -> str:
    """Bin-hour table as text.

    Parameters
    ----------
    table : DataFrame
        From ``bins.bin_table`` with ``mcwb_occupied_f`` and ``mean_humidity_ratio_occupied``.
    weather : Weather
    schedule : str
        Schedule in words.
    total_hours : float
        Hours of the file.
    width : int
        As for :func:`comparison`.
    """
    with made_for(width):
        return _bins(table, weather, schedule, total_hours)


def _bins(table, weather, schedule: str, total_hours: float) -> str:
    shown = [
        c for c in _BIN_COLUMNS if c[0] in table.columns and (c[0] != "hours_unoccupied_running" or table[c[0]].any())
    ]
    cells = {key: [_bin_cell(key, value) for value in table[key]] for key, _, _ in shown}
    totals = {key: _bin_cell(key, table[key].sum()) if key.startswith("hours") else "" for key, _, _ in shown}
    totals["range"] = "Total"
    widths = [max(len(head), len(unit), len(totals[key]), *map(len, cells[key])) + 2 for key, head, unit in shown]
    line = lambda values: "".join(v.rjust(w) for v, w in zip(values, widths, strict=True))
    lines = [
        *wrapped(
            f"{weather.name or 'station'} ({file_of(weather)}), {position_of(weather)}, "
            f"{weather.elevation_ft:,.0f} ft, {weather.pressure_psia:.2f} psia",
            "Weather   ",
        ),
        *wrapped(schedule, "Schedule  "),
        *(
            text
            for finding in weather.findings
            if finding.level == "caution"
            for text in wrapped(finding.text, "Caution   ")
        ),
        "",
        line([head for _, head, _ in shown]),
        line([unit for _, _, unit in shown]),
        "-" * sum(widths),
    ]
    lines += [line([cells[key][k] for key, _, _ in shown]) for k in range(len(table))]
    lines += ["-" * sum(widths), line([totals[key] for key, _, _ in shown]), ""]
    missing = total_hours - float(table["hours"].sum())
    agree = "all of them" if abs(missing) < 1e-6 else f"{missing:,.1f} h missing"
    lines += wrapped(
        "Bins are left-closed: a bin from 60 holds 60.0 up to, not with, its upper end. Hours total "
        f"{table['hours'].sum():,.0f} of "
        f"{total_hours:,.0f} h of the file, {agree}. MC wb: mean coincident wet bulb; W: humidity ratio."
    )
    return "\n".join(line.rstrip() for line in lines)


def _bin_cell(key: str, value) -> str:
    if key == "range":
        return str(value)
    number = float(value)
    if math.isnan(number):
        return "-"
    if key.startswith("hours"):
        return f"{number:,.0f}"
    return f"{number:.5f}" if "humidity" in key else f"{number:.1f}"
