"""Reports of a candidate: zones, hourly energy, months, outdoor temperature, airflow, rows."""

from __future__ import annotations

from dataclasses import fields

import numpy as np
import pandas as pd

from ..end_uses import ELECTRIC, ELECTRICITY_KEY, END_USES, ENERGY_KEYS
from ..hours import Conditions
from ..model.night import NightBlock
from ..model.system import RowState, zones_of
from ..model.unit import Unit
from ..money import annual_cost_usd
from ..rates import Rates, hourly_cost_usd
from ..service import ZONE_DEPTHS, Yardstick, zone_depths
from ..strategies.demand import asking_dsp_inwc, asking_sat_f
from .rows import Part, Rows
from .running import off_energy


def zone_report(
    unit: Unit, rows: Rows, parts: list[Part], yardstick: Yardstick, night: NightBlock | None = None
) -> tuple[pd.DataFrame, dict[str, np.ndarray]]:
    """What happens zone by zone over the hourly run (see ``CandidateResult.zones``), and its depths on the yardstick.

    Room temperatures are found once a part, added up and dropped: those of all hours and zones are large. Hours of
    rooms that catch up after the start of occupancy are among the cold ones; the yardstick has the start of occupancy
    as a depth of its own. Without a night block they are left out.
    """
    z = unit.zones
    names = (
        "unmet_hours",
        "unmet_degree_hours",
        "starved_hours",
        "ventilation_short_hours",
        "cold_hours",
        "cold_degree_hours",
        "reheat_kbtu",
        "temperature_request_hours",
        "pressure_request_hours",
        "minimum_flow_hours",
    )
    out = {name: np.zeros(len(z)) for name in names}
    depths = {name: np.zeros(len(z)) for name in ZONE_DEPTHS}
    tolerance = unit.service.unmet_tolerance_f
    for here, block in rows.blocks():
        loads, w, promised = block.loads, block.on.hours, yardstick.take(here)
        ask_sat, need = asking_sat_f(unit, loads), promised.need_cfm()
        for p in parts:
            state = p.state.take(here)
            s = zones_of(unit, block.on, loads, state)
            over = np.maximum(s.room_f - loads.cool_f - tolerance, 0.0)
            ask_dsp = asking_dsp_inwc(unit, s.requested_cfm)
            asks_t = (state.sat_set_f[:, None] > ask_sat) | z.asks_temperature
            asks_p = (state.dsp_inwc[:, None] < ask_dsp) | z.asks_pressure
            for name, values in (
                ("unmet_hours", over > 0.0),
                ("unmet_degree_hours", over),
                ("starved_hours", s.starved),
                ("ventilation_short_hours", s.ventilation_short),
                ("cold_hours", s.room_f < loads.heat_f - tolerance),
                ("cold_degree_hours", np.maximum(loads.heat_f - tolerance - s.room_f, 0.0)),
                ("reheat_kbtu", s.reheat_btuh / 1000.0),
                ("temperature_request_hours", asks_t),
                ("pressure_request_hours", asks_p),
                ("minimum_flow_hours", s.flow_cfm <= loads.min_cfm * (1.0 + 1e-9)),
            ):
                out[name] += p.share * (w @ values)
            for name, values in zone_depths(promised, state, s, need).items():
                depths[name] += p.share * values
    if night is not None:
        out["cold_hours"] += night.late_cold_hours
        out["cold_degree_hours"] += night.late_cold_degree_hours
    frame = pd.DataFrame(
        {"zone": z.names, "group": [unit.groups.names[g] for g in z.group], "multiplier": z.multiplier, **out}
    )
    return frame, depths


def hourly_energy(unit: Unit, rows: Rows, parts: list[Part], night: NightBlock) -> dict[str, np.ndarray]:
    """Hour-by-hour energies of a candidate, night runs and idle plant included. (H,) each"""
    n = len(rows.conditions.oat_f)
    off = off_energy(unit, rows.conditions)

    def spread(name):
        whole = np.zeros(n)
        whole[rows.running] = sum(p.share * getattr(p.state, name) for p in parts)
        return whole

    energy = {}
    for use in END_USES:
        energy[use.key] = sum(spread(rate) for rate in use.rates)
        energy[use.key] = energy[use.key] + (getattr(night, use.night) if use.night else 0.0)
        energy[use.key] = energy[use.key] + (off[use.off] if use.off else 0.0)
    return energy


def monthly_table(unit: Unit, rows: Rows, energy: dict[str, np.ndarray], charges=None) -> pd.DataFrame:
    """Energies, electricity and cost by month from the hourly run, with the charges of a tariff."""
    month = rows.conditions.month
    table = {key: np.bincount(month, energy[key], 13)[1:] for key in ENERGY_KEYS}
    table[ELECTRICITY_KEY] = np.sum([table[use.key] for use in ELECTRIC], axis=0)
    if isinstance(unit.prices, Rates):
        hourly = {**energy, ELECTRICITY_KEY: np.sum([energy[use.key] for use in ELECTRIC], axis=0)}
        cost = hourly_cost_usd(hourly, unit.prices, rows.conditions.rate_period)
        table["cost_usd"] = np.bincount(month, cost, 13)[1:]
    else:
        table["cost_usd"] = annual_cost_usd(table, unit.prices)
    if charges is not None:
        table["cost_usd"] = table["cost_usd"] + charges.by_month_usd
    return pd.DataFrame({"month": np.arange(1, 13), **table})


def temperature_table(rows: Rows, parts: list[Part]) -> pd.DataFrame:
    """Means of supply temperature, duct pressure and airflow, and cost, by outdoor-temperature bin (running hours)."""
    low = rows.on.bin_low_f
    edges, inverse = np.unique(low, return_inverse=True)
    w = rows.on.hours
    hours = np.bincount(inverse, w, len(edges))
    out = {"bin_low_f": edges, "hours": hours}
    for label, name in (("sat_f", "sat_f"), ("dsp_inwc", "dsp_inwc"), ("flow_cfm", "flow_cfm")):
        values = sum(p.share * getattr(p.state, name) for p in parts)
        out[label] = np.bincount(inverse, w * values, len(edges)) / hours
    out["cost_usd"] = np.bincount(inverse, w * sum(p.share * p.state.cost_usd_h for p in parts), len(edges))
    return pd.DataFrame(out)


def flow_table(unit: Unit, rows: Rows, parts: list[Part]) -> pd.DataFrame:
    """Running hours by airflow in tenths of the design airflow; the last class is open upwards."""
    hours = np.zeros(11)
    for p in parts:
        tenth = np.clip((10.0 * p.state.flow_cfm / unit.design_cfm + 1e-9).astype(int), 0, 10)
        hours += p.share * np.bincount(tenth, rows.on.hours, 11)
    return pd.DataFrame({"low_pct": np.arange(0, 110, 10), "hours": hours})


ROW_CONDITION_COLUMNS = (
    "hours",
    "bin_low_f",
    "occupied",
    "fan_on",
    "month",
    "day",
    "hour_start",
    "hour_of_year",
    "rate_period",
    "oat_f",
    "oawb_f",
    "oa_dewpoint_f",
    "humidity_ratio",
)


def rows_frame(rows: Rows, parts: list[Part]) -> pd.DataFrame:
    """One line per row and part: conditions, then every field of ``RowState``.

    Off rows have zero energy and no temperatures. With operators' overrides a row has one line
    per part, ``share`` says which part of its hours.
    """
    c = rows.conditions
    count = len(c.oat_f)
    base = {name: np.asarray(getattr(c, name)) for name in ROW_CONDITION_COLUMNS}
    names = [f.name for f in fields(RowState)]
    empty = dict.fromkeys(names, 0.0)
    for name in (
        "sat_set_f",
        "sat_f",
        "dsp_set_inwc",
        "dsp_inwc",
        "room_mean_f",
        "rat_f",
        "mat_f",
        "coil_leaving_f",
        "coil_entering_f",
        "coil_entering_wb_f",
        "room_humidity_ratio",
        "mixed_humidity_ratio",
        "leaving_humidity_ratio",
        "fan_rise_f",
        "fan_total_inwc",
        "cooling_capacity_kbtuh",
        "ceiling_frac",
    ):
        empty[name] = np.nan
    frames = []
    for k, p in enumerate(parts):
        whole = {name: np.full(count, empty[name]) for name in names}
        for name in names:
            whole[name][rows.running] = getattr(p.state, name)
        share = np.where(c.fan_on > 0.0, p.share, 1.0 if k == 0 else 0.0)
        frames.append(pd.DataFrame({"row": np.arange(1, count + 1), "share": share, **base, **whole}))
    if len(frames) == 1:
        return frames[0]
    joined = pd.concat(frames, ignore_index=True)
    return joined[joined["share"] > 0.0].sort_values(["row"], kind="stable", ignore_index=True)


def mean_row_table(c: Conditions) -> pd.DataFrame:
    return pd.DataFrame(
        {
            "group": np.arange(len(c.oat_f)),
            "bin_low_f": c.bin_low_f,
            "occupied": c.occupied,
            "fan_on": c.fan_on,
            "month": c.month,
            "day": c.day,
            "hour_start": c.hour_start,
            "hour_of_year": c.hour_of_year,
            "when": ["mean of the bin"] * len(c.oat_f),
            "weight_h": c.hours,
            "oat_f": c.oat_f,
            "oawb_f": c.oawb_f,
            "humidity_ratio": c.humidity_ratio,
            "rate_period": c.rate_period,
        }
    )
