"""Tables of representative hours and of bins."""

from __future__ import annotations

import numpy as np
import pandas as pd

from ..hours import bin_low_f


def row_table(conditions, selection):
    """Each representative hour with its date, weight and weather.

    Parameters
    ----------
    conditions : Conditions
        The hourly conditions that the selection was made from.
    selection : RowSelection
        The rows.

    Returns
    -------
    DataFrame
        One line a row, by group, then by hour of the year: ``group, bin_low_f, occupied,
        fan_on, month, day, hour_start`` (standard time), ``hour_of_year, when`` (text such
        as "Jul 04 14h"), ``weight_h, oat_f, oawb_f, humidity_ratio, rate_period`` and
        ``index`` (row of the hourly conditions).
    """
    order = np.lexsort((selection.index, selection.group))
    index = selection.index[order]
    table = pd.DataFrame({"group": selection.group[order]})
    for name in ("bin_low_f", "occupied", "fan_on", "month", "day", "hour_start", "hour_of_year"):
        table[name] = np.asarray(getattr(conditions, name))[index].astype(np.int64)
    table["when"] = [
        f"{_MONTHS[m]} {d:02d} {h:02d}h" for m, d, h in zip(table["month"], table["day"], table["hour_start"])
    ]
    table["weight_h"] = selection.weights[order]
    for name in ("oat_f", "oawb_f", "humidity_ratio"):
        table[name] = np.asarray(getattr(conditions, name))[index]
    table["rate_period"] = np.asarray(conditions.rate_period)[index].astype(np.int64)
    table["index"] = index
    return table


_MONTHS = ("", "Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")


def bin_table(conditions, selection=None, *, width_f=5, means=None):
    """Bins of outdoor temperature: hours, coincident moisture, representative hours.

    Parameters
    ----------
    conditions : Conditions
        Hourly conditions (R rows).
    selection : RowSelection, optional
        Representative hours to list.
    width_f : int
        Bin width. [degF] 2, 5 or 10
    means : mapping of name to ndarray (R,), optional
        Further columns to average by hours, such as airflow; hours with NaN (fan off) do
        not count.

    Returns
    -------
    DataFrame
        One line a bin, ascending, without gaps between the coldest and the warmest:
        ``bin_low_f, bin_high_f`` (left-closed), ``range`` (text), ``midpoint_f, hours,
        hours_occupied, hours_unoccupied_running, hours_off`` [h/yr], ``mean_oat_f, mcwb_f``
        (mean coincident wet bulb) [degF], ``mean_humidity_ratio`` [lb/lb], those of
        ``means``, ``rows`` and ``representative_hours`` (text "Jul 04 14h x 31.2; ...",
        date, hour, weight in h/yr). A bin without hours has 0 hours and NaN means.

    Raises
    ------
    ArithmeticError
        Hours of the bins do not total those of the conditions.
    """
    low = bin_low_f(conditions.oat_f, width_f).astype(np.int64)
    first = int(low.min())
    bins = (low - first) // int(width_f)
    count = int(bins.max()) + 1
    hours = np.asarray(conditions.hours, dtype=float)
    fan_on = np.asarray(conditions.fan_on) > 0.5
    occupied = (np.asarray(conditions.occupied) > 0.5) & fan_on

    def total(values):
        return np.bincount(bins, values, count)

    def mean(values):
        values = np.asarray(values, dtype=float)
        weight = np.where(np.isnan(values), 0.0, hours)
        counted = total(weight)
        result = np.full(count, np.nan)
        np.divide(total(weight * np.nan_to_num(values)), counted, out=result, where=counted > 0)
        return result

    low_f = first + int(width_f) * np.arange(count)
    table = pd.DataFrame({"bin_low_f": low_f, "bin_high_f": low_f + int(width_f)})
    table["range"] = [f"{a} to <{a + int(width_f)}" for a in low_f]
    table["midpoint_f"] = low_f + int(width_f) / 2
    table["hours"] = total(hours)
    table["hours_occupied"] = total(hours * occupied)
    table["hours_unoccupied_running"] = total(hours * (fan_on & ~occupied))
    table["hours_off"] = total(hours * ~fan_on)
    table["mean_oat_f"] = mean(conditions.oat_f)
    table["mcwb_f"] = mean(conditions.oawb_f)
    table["mean_humidity_ratio"] = mean(conditions.humidity_ratio)
    for name, values in (means or {}).items():
        table[name] = mean(values)
    parts = table[["hours_occupied", "hours_unoccupied_running", "hours_off"]].sum(axis=1)
    year = hours.sum()
    miss = max(abs(table["hours"].sum() - year), (parts - table["hours"]).abs().max())
    if not miss <= 1e-9 * year:
        raise ArithmeticError(f"bin hours total {table['hours'].sum()}, not the {year} h given")
    if selection is not None:
        rows = row_table(conditions, selection)
        rows = rows.assign(bin=bins[rows["index"].to_numpy()]).sort_values(["bin", "index"])
        texts = [""] * count
        for b, when, weight in zip(rows["bin"], rows["when"], rows["weight_h"]):
            texts[b] += f"{'; ' if texts[b] else ''}{when} x {weight:.1f}"
        table["rows"] = np.bincount(rows["bin"].to_numpy(), minlength=count)
        table["representative_hours"] = texts
    return table
