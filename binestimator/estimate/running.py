"""A candidate on rows: its parts by operators' overrides, its annual figures, its nights."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import fields, replace

import numpy as np

from ..dataclass import dataclass
from ..end_uses import ELECTRIC, ELECTRICITY_KEY, END_USES
from ..hours import Conditions
from ..model.loads import loads_of
from ..model.night import NightBlock, NightDuct, NightSteps, night_air_cfm, run_nights, same_air
from ..model.system import Floating, RowState, evaluate, heat_sources, heating_enabled
from ..model.unit import Unit
from ..money import annual_cost_usd
from ..rates import Rates, hourly_cost_usd
from ..results import ANNUAL_KEYS
from ..strategies.choose import (
    Setpoints,
    at_dsp_ends,
    dsp_of_sat,
    dsp_setpoint_inwc,
    night_dsp_inwc,
    resets_pressure,
    setpoints,
)
from .rows import Part, Rows

# Up to so many rows an evaluation takes hardly longer for twice as many.
FEW_ROWS = 1000


def run_parts(
    unit: Unit,
    candidate,
    rows: Rows,
    other_sats=(),
    optimal_sat=None,
    oa_least_cfm=None,
    floating=None,
    pulled_f=None,
) -> list[Part]:
    """Evaluate a candidate on running rows, split by its operators' overrides.

    An override rules for a share of every running row, so the row is evaluated with and
    without it and the parts are weighted: the mean of the setpoints would not do, since
    energy is not linear in them. ``oa_least_cfm`` raises the minimum outdoor air of each part, in their
    order. [cfm] Many rows and zones are worked on in blocks. ``floating`` (dict) keeps the supply temperatures of rows
    that float by pressure strategy, for other candidates on the same unit and rows; of rows in one block alone.
    ``optimal_sat`` and ``pulled_f`` (R,) as for :func:`setpoints`.
    """
    found = []
    for here, block in rows.blocks():
        least = None if oa_least_cfm is None else [cfm[here] for cfm in oa_least_cfm]
        held = [None if each is None else each[here] for each in (optimal_sat, pulled_f)]
        kept = floating if block is rows else None
        others = [sat[here] for sat in other_sats]
        found.append(_parts_of_block(unit, candidate, block, others, held, least, kept))
    return joined_parts(found)


def joined_parts(found: Sequence[list[Part]]) -> list[Part]:
    """Parts of a candidate on rows that follow one another, from those on each block of them."""
    return found[0] if len(found) == 1 else [_joined(same) for same in zip(*found, strict=True)]


def _joined(parts: Sequence[Part]) -> Part:
    """A part on rows that follow one another."""
    setpoints_ = {
        f.name: np.concatenate([getattr(p.setpoints, f.name) for p in parts]) for f in fields(parts[0].setpoints)
    }
    return Part(
        share=parts[0].share,
        setpoints=replace(parts[0].setpoints, **setpoints_),
        state=RowState.joined([p.state for p in parts]),
    )


def _parts_of_block(unit: Unit, candidate, rows: Rows, other_sats, held, oa_least_cfm, floating=None) -> list[Part]:
    """:func:`run_parts` of rows that are worked on at once; ``held`` its setpoints and what pulls them."""
    rows = replace(rows, kept=rows.loads.for_once())
    normal = setpoints(unit, candidate, rows.on, rows.loads, other_sats, *held)
    sat, dsp = candidate.sat, candidate.dsp
    shape = rows.on.oat_f.shape
    cases = [(1.0 - sat.override_frac, None)] + (
        [(sat.override_frac, float(sat.override_f))] if sat.override_frac > 0.0 else []
    )
    pressures = [(1.0 - dsp.override_frac, None)] + (
        [(dsp.override_frac, float(dsp.override_inwc))] if dsp.override_frac > 0.0 else []
    )
    wanted: list[_Wanted] = []
    for sat_share, sat_value in cases:
        for dsp_share, dsp_value in pressures:
            share = sat_share * dsp_share
            if share <= 0.0:
                continue
            used = normal
            if sat_value is not None or dsp_value is not None:
                shift, factor = unit.found.sat_shift_f, unit.found.dsp_factor
                new_sat = normal.sat_f if sat_value is None else np.full(shape, sat_value + shift)
                if dsp_value is not None:
                    new_dsp = np.full(shape, dsp_value * factor)
                elif sat_value is None:
                    new_dsp = normal.dsp_inwc
                else:
                    new_dsp = dsp_setpoint_inwc(unit, dsp, rows.on, rows.loads, new_sat)
                none = np.zeros(shape, dtype=bool)
                marks: dict[str, np.ndarray] = {}
                if sat_value is not None:
                    marks.update(humidity_limited=none, cold_zone_limited=none, sat_at_max=none, sat_at_min=none)
                if dsp_value is not None:
                    marks.update(dsp_at_max=none, dsp_at_min=none)
                used = replace(normal, sat_f=new_sat, dsp_inwc=new_dsp, **marks)
            least = None if oa_least_cfm is None else oa_least_cfm[len(wanted)]
            wanted.append(_Wanted(share=share, setpoints=used, dsp_inwc=dsp_value, oa_least_cfm=least))
    parts: list[Part] = []
    for one, state in zip(wanted, _states(unit, dsp, rows, wanted, floating), strict=True):
        used = one.setpoints
        if one.dsp_inwc is None:
            # Where the supply air floats, the pressure strategy answers to the temperature that results.
            used = replace(used, dsp_inwc=state.dsp_set_inwc, **at_dsp_ends(dsp, state.dsp_set_inwc))
        parts.append(Part(share=one.share, setpoints=used, state=state))
    return parts


@dataclass(frozen=True, slots=True, kw_only=True)
class _Wanted:
    """A part to be evaluated: its share and setpoints, the operators' override of duct pressure if there is one, and
    the least outdoor air (R,) if it is raised. [in. w.c., cfm]"""

    share: float
    setpoints: Setpoints
    dsp_inwc: float | None
    oa_least_cfm: np.ndarray | None


def _states(unit: Unit, dsp, rows: Rows, wanted: Sequence[_Wanted], floating=None) -> list[RowState]:
    """States of parts in their order. Parts at the same duct pressure are further rows of one evaluation where rows are
    few: what they take is calls of functions, whatever the number of rows."""
    count = len(rows.on)
    alike: dict[object, list[int]] = {}
    for k, one in enumerate(wanted):
        alike.setdefault(one.dsp_inwc if count <= FEW_ROWS else k, []).append(k)
    states: dict[int, RowState] = {}
    for places in alike.values():
        some = [wanted[k] for k in places]
        on, loads, here = rows.on, rows.loads, unit
        if len(some) > 1:
            index = np.tile(np.arange(count), len(some))
            on, loads, here = on.take(index), loads.take(index), unit.take(index)
        least = [one.oa_least_cfm for one in some if one.oa_least_cfm is not None]
        known = None
        if floating is not None and not least:
            known = floating.setdefault((dsp, some[0].dsp_inwc, len(some)), Floating(count * len(some)))
        state = evaluate(
            here,
            on,
            loads,
            np.concatenate([one.setpoints.sat_f for one in some]),
            np.concatenate([one.setpoints.dsp_inwc for one in some]),
            resets_pressure=resets_pressure(dsp),
            dsp_of_sat=dsp_of_sat(unit, dsp, some[0].dsp_inwc),
            oa_least_cfm=np.concatenate(least) if least else None,
            floating=known,
        )
        for k, place in enumerate(places):
            states[place] = state.take(slice(k * count, (k + 1) * count)) if len(places) > 1 else state
    return [states[k] for k in range(len(wanted))]


def off_energy(unit: Unit, conditions: Conditions):
    """Energy of hours with the air handler off: the heating plant's losses if it stays enabled. (R,) arrays"""
    off = conditions.fan_on <= 0.0
    zero = np.zeros(conditions.oat_f.shape)
    enabled = np.where(off, heating_enabled(unit, conditions.oat_f, conditions.fan_on), 0.0)
    if not enabled.any():
        return {"fuel_thermh": zero, "heating_kw": zero, "pump_tower_kw": zero, "purchased_heating_kbtuh": zero}
    heat, second = heat_sources(unit, zero, zero, enabled, conditions.oat_f)
    return {
        "fuel_thermh": heat.fuel_thermh + second.fuel_thermh,
        "heating_kw": heat.electric_kw + second.electric_kw,
        "pump_tower_kw": heat.pump_kw + second.pump_kw,
        "purchased_heating_kbtuh": heat.purchased_kbtuh + second.purchased_kbtuh,
    }


def night_totals(night: NightBlock, unit: Unit | None = None, conditions: Conditions | None = None) -> dict[str, float]:
    """Annual figures of setback, warm-up and cool-down, and of what the morning makes up.

    With the unit and the hours of the year also their cost, ``cost_usd``, where prices differ by rate period.
    """
    totals = {
        "running_hours": float(night.running_frac.sum()),
        "heat_kbtu": float(night.heat_kbtuh.sum()),
        "late_heat_kbtu": float(night.late_heat_kbtuh.sum()),
        "cold_zone_hours": night.cold_zone_hours,
        "cool_kbtu": float(night.cool_kbtuh.sum()),
        **{use.key: float(getattr(night, use.night).sum()) if use.night else 0.0 for use in END_USES},
        "electricity_kwh": float(night.electricity_kw.sum()),
    }
    if unit is not None and conditions is not None and isinstance(unit.prices, Rates):
        energies = {use.key: getattr(night, use.night) if use.night else 0.0 for use in END_USES}
        amounts = {**energies, ELECTRICITY_KEY: night.electricity_kw}
        totals["cost_usd"] = float(np.sum(hourly_cost_usd(amounts, unit.prices, conditions.rate_period)))
    return totals


def annual_figures(unit: Unit, rows: Rows, parts: list[Part], night: dict[str, float]) -> dict[str, float]:
    """Figures of ``results.ANNUAL`` from evaluated rows and the night block."""
    w = rows.on.hours
    total = lambda name: sum(p.share * float(w @ getattr(p.state, name)) for p in parts)
    limit = lambda name: sum(p.share * float(w @ getattr(p.setpoints, name)) for p in parts)
    return figures_of_totals(unit, rows.conditions, total, limit, night)


def figures_of_totals(unit: Unit, conditions: Conditions, total, limit, night: dict[str, float]) -> dict[str, float]:
    """Figures of ``results.ANNUAL`` from sums over the running time.

    Parameters
    ----------
    conditions : Conditions
        All rows, running and off.
    total, limit : callable
        Sum of a field of ``RowState``, and of ``Setpoints``, by its name [rate x h].
    night : dict
        From :func:`night_totals`.
    """
    off = off_energy(unit, conditions)
    idle = {k: float(conditions.hours @ v) for k, v in off.items()}
    running = float(conditions.hours[conditions.fan_on > 0.0].sum())
    mean = lambda name: total(name) / running if running > 0.0 else float("nan")
    figures = {
        "hours": float(conditions.hours.sum()),
        "running_hours": running,
        "reheat_kbtu": total("reheat_kbtuh"),
        "preheat_kbtu": total("preheat_kbtuh"),
        "cooling_sensible_kbtu": total("cooling_sensible_kbtuh"),
        "cooling_latent_kbtu": total("cooling_latent_kbtuh"),
        "unmet_zone_hours": total("unmet_zones"),
        "unmet_degree_hours": total("unmet_degrees"),
        "cold_zone_hours": total("cold_zones") + night["cold_zone_hours"],
        "starved_zone_hours": total("starved_zones"),
        "ventilation_short_hours": total("ventilation_short_zones"),
        "oa_short_hours": total("oa_short"),
        "airflow_ceiling_hours": total("airflow_ceiling"),
        "humid_hours": total("humid"),
        "capacity_hours": total("capacity_limited"),
        "freeze_hours": total("freeze"),
        "minimum_speed_hours": total("minimum_speed"),
        "low_flow_hours": total("low_flow"),
        "stage_cycling_hours": total("stage_cycling"),
        "cold_dx_hours": total("cold_dx"),
        "sat_at_max_hours": limit("sat_at_max"),
        "sat_at_min_hours": limit("sat_at_min"),
        "dsp_at_max_hours": limit("dsp_at_max"),
        "dsp_at_min_hours": limit("dsp_at_min"),
        "economizer_hours": total("economizing"),
        "economizer_cooling_hours": total("economizer_cooling"),
        "reset_excluded_hours": night["running_hours"],
        "humidity_limited_hours": limit("humidity_limited"),
        "cold_zone_limited_hours": limit("cold_zone_limited"),
        "unserved_cooling_kbtu": total("unserved_kbtuh"),
        "unserved_heating_kbtu": total("heat_unserved_kbtuh"),
        "mean_sat_f": mean("sat_f"),
        "mean_dsp_inwc": mean("dsp_inwc"),
        "mean_flow_cfm": mean("flow_cfm"),
    }
    for use in END_USES:
        figures[use.key] = sum(total(rate) for rate in use.rates) + night[use.key] + idle.get(use.off, 0.0)
    figures[ELECTRICITY_KEY] = sum(figures[use.key] for use in ELECTRIC)
    if isinstance(unit.prices, Rates):
        # Each row and hour at the price of its rate period; what a tariff charges by the month is added from the hours.
        figures["cost_usd"] = total("cost_usd_h") + night["cost_usd"] + idle_cost_usd(unit, conditions, off)
    else:
        figures["cost_usd"] = annual_cost_usd(figures, unit.prices)
    return {key: float(figures[key]) for key in ANNUAL_KEYS}


def idle_cost_usd(unit: Unit, conditions: Conditions, off) -> float:
    """Cost of the idle heating plant at the prices of the rate periods. [USD]

    Parameters
    ----------
    off : dict
        From :func:`off_energy`.
    """
    rates = {use.key: off[use.off] if use.off else np.zeros(len(conditions.oat_f)) for use in END_USES}
    rates[ELECTRICITY_KEY] = sum(rates[use.key] for use in ELECTRIC)
    return float(conditions.hours @ hourly_cost_usd(rates, unit.prices, conditions.rate_period))


def night_duct(unit: Unit, schedule, dsp) -> NightDuct | None:
    """Duct pressure of a strategy at night; None where the sequence holds it at design."""
    if schedule.night_dsp == "design":
        return None
    return NightDuct(
        setpoint_inwc=lambda oat_f, zone_cfm, of_rows=unit: night_dsp_inwc(of_rows, dsp, oat_f, zone_cfm),
        override_frac=dsp.override_frac,
        override_inwc=dsp.override_inwc,
        resets_pressure=resets_pressure(dsp),
    )


def nights_of(candidates, site_for) -> dict[str, NightBlock]:
    """Night block of every candidate by id; rooms are run once for candidates that share unit and air."""
    found: dict[str, NightBlock] = {}
    of_sites: dict = {}
    for candidate in candidates:
        site = site_for(candidate)
        duct = night_duct(site.unit, site.project.schedule, candidate.dsp)
        users = of_sites.setdefault(site.key, (site, {}))[1]
        users.setdefault(None if duct is None else candidate.dsp, (duct, []))[1].append(candidate.id)
    for site, users in of_sites.values():
        unit, conditions = site.unit, site.hourly.conditions
        loads = loads_of(unit, conditions)
        steps = NightSteps()
        by_air: dict[bytes, list] = {}
        for duct, ids in users.values():
            by_air.setdefault(same_air(night_air_cfm(unit, conditions, duct)), []).append((duct, ids))
        # One airflow after the other: what rooms were given takes more memory than all the rest of the estimate.
        for key, listed in by_air.items():
            air = night_air_cfm(unit, conditions, listed[0][0])
            rooms: dict = {}
            for duct, ids in listed:
                block = run_nights(
                    unit, conditions, loads, site.project.schedule, duct, rooms, air, steps=steps, air_key=key
                )
                found.update(dict.fromkeys(ids, block))
    return found


def cheapest_night(totals, runs, site) -> dict[str, float]:
    """Annual figures of the cheapest night block of candidates that share a site, of their ``totals`` by id."""
    mine = [totals[id_] for id_, (of, _, _) in runs.items() if of is site]
    return min(mine, key=lambda n: n["cost_usd"] if "cost_usd" in n else annual_cost_usd(n, site.unit.prices))
