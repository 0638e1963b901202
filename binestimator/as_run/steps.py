"""The year in time steps: chunks of days side by side, and of each all runs that share a unit.

Each chunk starts some days before it counts (``spin_up_days``), since rooms carry a weekend over. The phase of limit
cycles depends on where a chunk starts, so only sums and means are reported.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, fields, replace

import numpy as np

from ..hours import Conditions
from ..model import fan as fans
from ..model.loads import zone_loads
from ..model.night import NightDuct, night_air_cfm
from ..model.night_rooms import (
    heat_capacity_btu_f,
    most_cooling_kbtuh,
    most_heat_kbtuh,
    night_caps,
    setback_calls,
    within,
)
from ..model.system import Air, Coils, RowState, air_of, heating_enabled, supply_heating_mode
from ..model.terminals import ZoneState, available_flow_cfm, rationed_dsp_inwc, zone_supply_f
from ..model.unit import Unit, damper_flow_frac
from .held import energy, held
from .loops import ProportionalIntegral, Requests, moved
from .rooms import Masses
from .settings import Settings, TrimRespond

# A terminal short of its setpoint by less is not starved: dampers, and loops that hunt, take a step to follow.
STARVED_FRAC = 0.05
# Share of the heating loop at which a terminal of the dual maximum law is at its heating minimum (assumption).
HEATING_MINIMUM_SHARE = 0.1
# What is kept of every hour: mean setpoints and requests of the time in which the unit ran.
HOURLY = ("sat_set_f", "sat_f", "dsp_set_inwc", "flow_cfm", "temperature_requests", "pressure_requests")
# What is kept of every zone line, of one zone of it: degree-hours beyond the tolerance and hours. [degF.h, h]
BY_ZONE = (
    "warm_degree_hours",
    "cold_degree_hours",
    "starved_hours",
    "temperature_request_hours",
    "pressure_request_hours",
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Run:
    """A candidate, or the share of its time in which an operators' override applies.

    ``sat_set_f(c, loop_f)`` supply setpoint (K,) in conditions of K rows at outputs of the loop · ``dsp_set_inwc(c,
    asked_cfm, loop_inwc)`` the same of duct pressure, from airflow setpoints of zones (K, Z) · ``limits(c, sat_set_f,
    dsp_set_inwc)`` the limits in force, by their names in ``Setpoints`` (K,) bool · ``sat_loop``, ``dsp_loop`` trim and
    respond, None where there is none · ``resets_pressure`` which published fan curve applies · ``duct`` duct pressure
    at night.
    """

    share: float
    sat_set_f: Callable
    dsp_set_inwc: Callable
    limits: Callable
    sat_loop: TrimRespond | None
    dsp_loop: TrimRespond | None
    resets_pressure: bool
    duct: NightDuct | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Outcome:
    """What a run comes to in a year.

    ``totals`` by field of ``RowState``: its sum over the running time [rate x h] · ``limits`` the same of the limits of
    ``Setpoints`` [h] · ``hourly`` by name of ``HOURLY`` (H,), NaN while the unit is off · ``zones`` by name of
    ``BY_ZONE`` (Z,) · ``heat_btuh``, ``cool_btuh`` given to rooms while the unit is off by schedule (H, Z) · ``trace``
    by name of ``HOURLY`` (D, steps of a day).
    """

    totals: dict[str, float]
    limits: dict[str, float]
    hourly: dict[str, np.ndarray]
    zones: dict[str, np.ndarray]
    heat_btuh: np.ndarray
    cool_btuh: np.ndarray
    trace: dict[str, np.ndarray]


class Year:
    """Rooms and loops of all runs at once; a row is a chunk of days of one run.

    Parameters
    ----------
    unit : Unit
    conditions : Conditions
        All hours of the year in order.
    schedule : record of section ``schedule``
    runs : list of Run
    settings : Settings
    capacity_btu_f : ndarray (Z,), optional
        Heat capacity of each room, else from ``schedule.room_time_constant_h``.
    trace_days : sequence of int
        Days of the year whose steps are kept.
    progress : callable, optional
        Called with the share that is done, an hour of all chunks at a time.
    """

    def __init__(
        self,
        unit: Unit,
        conditions: Conditions,
        schedule,
        runs,
        settings: Settings,
        *,
        capacity_btu_f=None,
        trace_days=(),
        progress=None,
    ):
        self.unit, self.conditions, self.schedule, self.runs, self.settings = unit, conditions, schedule, runs, settings
        self.progress = progress
        self.hours, self.lines = len(conditions.oat_f), len(unit.zones)
        z, days = unit.zones, self.hours // 24
        self.step_h, self.per_hour = settings.step_min / 60.0, round(60.0 / settings.step_min)
        self.chunks = -(-days // settings.chunk_days)
        self.first_hour = np.arange(self.chunks) * settings.chunk_days * 24
        self.counts_hours = 24 * np.minimum(settings.chunk_days, days - np.arange(self.chunks) * settings.chunk_days)
        self.rows = [slice(i * self.chunks, (i + 1) * self.chunks) for i in range(len(runs))]
        shape = (len(runs) * self.chunks, self.lines)

        self.loads = zone_loads(unit, conditions)
        sun = conditions.glass_sun_btuh_ft2 @ z.aperture_ft2.T + conditions.roof_sun_btuh_ft2[:, None] * z.roof_ft2_eq
        self.sun_btuh, self.inside_btuh = sun, self.loads.gains_btuh - sun
        if capacity_btu_f is None:
            capacity_btu_f = heat_capacity_btu_f(unit, schedule.room_time_constant_h, self.loads.fs)
        self.masses = Masses.of(z.area_ft2, capacity_btu_f, settings, self.step_h)
        self.exchange_btuh_f = settings.room_exchange_btuh_f_ft2 * z.area_ft2
        self.share_of_area = z.area_ft2 / np.sum(z.area_ft2 * z.multiplier)

        self.fan_on = conditions.fan_on > 0.0
        self.served = schedule.unoccupied_mode == "setback"
        self.warmup = int(np.ceil(schedule.warmup_hours)) if self.served else 0
        self.to_start = _hours_to_start(self.fan_on)
        central = supply_heating_mode(unit) == "hold"
        self.most_at_night = (
            1000.0 * most_heat_kbtuh(unit, central, conditions.oat_f),
            1000.0 * most_cooling_kbtuh(unit, conditions),
        )
        self.most_by_day = 1000.0 * most_heat_kbtuh(unit, False, conditions.oat_f)
        self.night_air = [night_air_cfm(unit, conditions, run.duct) for run in runs]
        self.resets = np.repeat([run.resets_pressure for run in runs], self.chunks)

        middle = 0.5 * (z.heat_occupied_f + z.cool_occupied_f)
        self.air_f, self.mass_f = (np.broadcast_to(middle, shape).copy() for _ in range(2))
        self.cooling, self.heating = (ProportionalIntegral(shape, settings) for _ in range(2))
        self.position, self.valve = np.zeros(shape), np.zeros(shape)
        self.requests = Requests(unit, shape)
        self.loops = {
            name: np.repeat([0.0 if loop is None else loop.start for loop in loops], self.chunks)
            for name, loops in (("sat", [r.sat_loop for r in runs]), ("dsp", [r.dsp_loop for r in runs]))
        }
        self.ran_min = np.zeros(shape[0])
        self.ran_before = np.zeros(shape[0], dtype=bool)

        count = len(runs)
        self.totals: dict[str, np.ndarray] = {f.name: np.zeros(count) for f in fields(RowState)}
        self.limits: list[dict[str, float]] = [{} for _ in runs]
        self.hourly = {name: np.full((count, self.hours), np.nan) for name in HOURLY}
        self.by_zone = {name: np.zeros((count, self.lines)) for name in BY_ZONE}
        self.heat_btuh, self.cool_btuh = (np.zeros((count, self.hours, self.lines)) for _ in range(2))
        self.trace_days = np.asarray(trace_days, dtype=int)
        self.trace = {name: np.full((count, len(self.trace_days), 24 * self.per_hour), np.nan) for name in HOURLY}

    def run(self) -> list[Outcome]:
        """All steps; what each run comes to."""
        first, last = -24 * self.settings.spin_up_days, 24 * self.settings.chunk_days
        for t in range(first, last):
            self._hour(t)
            if self.progress is not None:
                self.progress((t + 1 - first) / (last - first))
        return [
            Outcome(
                totals={name: float(v[i]) for name, v in self.totals.items()},
                limits={name: float(v) for name, v in self.limits[i].items()},
                hourly={name: v[i] for name, v in self.hourly.items()},
                zones={name: v[i] for name, v in self.by_zone.items()},
                heat_btuh=self.heat_btuh[i],
                cool_btuh=self.cool_btuh[i],
                trace={name: v[i] for name, v in self.trace.items()},
            )
            for i in range(len(self.runs))
        ]

    # --- an hour ---------------------------------------------------------------------------------

    def _hour(self, t: int) -> None:
        """An hour of all chunks; ``t`` hours after their first one that counts."""
        unit, z = self.unit, self.unit.zones
        hour = (self.first_hour + t) % self.hours
        counts = (t >= 0) & (t < self.counts_hours)
        count = len(self.runs)
        h = np.tile(hour, count)
        now = _Hour(self, h, hour)
        self._start(now)
        steps, sat_sets = [], []
        sums: dict[str, np.ndarray] = {name: np.zeros(len(h)) for name in HOURLY}
        given = [np.zeros(self.air_f.shape) for _ in range(2)]
        zones = {name: np.zeros(self.air_f.shape) for name in BY_ZONE}
        counted = np.tile(counts, count) & now.on
        for j in range(self.per_hour):
            w = now.inside((j + 0.5) / self.per_hour)
            gains = now.indoor_btuh + now.weather(self.sun_btuh)
            if now.off is not None:
                # Rooms reach each other while no supply air holds them apart.
                common = (self.air_f * self.share_of_area) @ z.multiplier
                gains = gains + np.where(now.off, self.exchange_btuh_f * (common[:, None] - self.air_f), 0.0)
            heat, conductance = self.masses.balance(
                self.air_f, self.mass_f, gains, now.loads.ua_btuh_f, w.oat_f[:, None]
            )
            if now.off is not None and self.served:
                heat = heat + self._night(now, heat / conductance, conductance, given)
            if not now.any_on:
                self._settle(heat / conductance)
                continue
            day = self._day(now, w, heat, conductance)
            steps.append((w, day.air, day.coils, day.short))
            sat_sets.append(day.air_set_f)
            for name, values in zip(
                HOURLY, (day.air_set_f, day.air.sat_f, day.air.dsp_set_inwc, day.air.flow, *day.sums)
            ):
                sums[name] += values
                if t >= 0 and len(self.trace_days):
                    self._keep_trace(name, values, hour, counts & now.on[: self.chunks], j)
            if t >= 0:
                if j == self.per_hour // 2:
                    self._count_limits(now, day, counted)
                tolerance = unit.service.unmet_tolerance_f
                for name, values in zip(
                    BY_ZONE,
                    (
                        np.maximum(self.air_f - now.loads.cool_f - tolerance, 0.0),
                        np.maximum(now.loads.heat_f - self.air_f - tolerance, 0.0),
                        day.air.zones.starved,
                        day.sent[0] > 0.0,
                        day.sent[1] > 0.0,
                    ),
                ):
                    zones[name] += values
        if t < 0:
            return
        if now.off is not None and self.served:
            use = np.flatnonzero(counts)
            for i, rows in enumerate(self.rows):
                for kept, got in zip((self.heat_btuh, self.cool_btuh), given):
                    kept[i, hour[use]] = got[rows][use] / self.per_hour
        running = np.flatnonzero(counted)
        if not len(running):
            return
        owner = running // self.chunks
        for name in HOURLY:
            self.hourly[name][owner, h[running]] = sums[name][running] / self.per_hour
        for name in BY_ZONE:
            np.add.at(self.by_zone[name], owner, zones[name][running] * self.step_h)
        state = energy(unit, now.conditions, now.loads, steps, sat_sets, now.enabled, running)
        owner = np.tile(owner, self.per_hour)
        for name, sum_of in self.totals.items():
            rates = np.nan_to_num(getattr(state, name))
            sum_of += self.step_h * np.bincount(owner, weights=rates, minlength=count)

    def _night(self, now: _Hour, drift_f, conductance, given) -> np.ndarray:
        """Heat given to rooms while the unit is off by schedule, less cooling; added to ``given``. (R, Z) [Btu/h]"""
        calls = ~now.on & ((drift_f < now.low_f) | (drift_f > now.high_f)).any(axis=1)
        rows = np.flatnonzero(calls)
        if not len(rows):
            return np.zeros(1)
        drift, per_f = drift_f[rows], conductance[rows]
        heat, cool = setback_calls(
            self.unit,
            (now.low_f[rows] - drift) * per_f,
            (drift - now.high_f[rows]) * per_f,
            {name: values[rows] for name, values in now.caps.items()},
            tuple(most[rows] for most in now.most_at_night),
            now.warming[rows],
        )
        given[0][rows] += heat
        given[1][rows] += cool
        net = np.zeros(drift_f.shape)
        net[rows] = heat - cool
        return net

    def _start(self, now: _Hour) -> None:
        """Loops at the start of the fan: nothing asked, setpoints where trim and respond begins."""
        starts = now.on & ~self.ran_before
        self.ran_before = now.on
        if not starts.any():
            return
        self.cooling.reset(starts)
        self.heating.reset(starts)
        self.position[starts] = 0.0
        self.valve[starts] = 0.0
        self.requests.reset(starts)
        self.ran_min[starts] = 0.0
        for name, loops in self._trim_respond():
            for loop, rows in loops:
                self.loops[name][rows] = np.where(starts[rows], loop.start, self.loops[name][rows])

    def _trim_respond(self):
        """Name of the setpoint, and its loops with their rows."""
        for name in ("sat", "dsp"):
            yield (
                name,
                [
                    (loop, rows)
                    for run, rows in zip(self.runs, self.rows)
                    if (loop := getattr(run, f"{name}_loop")) is not None
                ],
            )

    def _count_limits(self, now: _Hour, day: _Day, counted) -> None:
        """Hours at limits and ends of ranges, by the middle of the hour."""
        for run, rows, kept in zip(self.runs, self.rows, self.limits):
            found = run.limits(now.chunk_weather, day.air_set_f[rows], day.air.dsp_set_inwc[rows])
            for name, at in found.items():
                kept[name] = kept.get(name, 0.0) + float(np.count_nonzero(at & counted[rows]))

    def _keep_trace(self, name, values, hour, counts, j) -> None:
        """A step of the days that are kept."""
        for k, day in enumerate(self.trace_days):
            chunk = np.flatnonzero(counts & (hour // 24 == day))
            if len(chunk):
                step = (int(hour[chunk[0]]) % 24) * self.per_hour + j
                for i, rows in enumerate(self.rows):
                    self.trace[name][i, k, step] = values[rows][chunk[0]]

    def _settle(self, air_f) -> None:
        """Room temperatures at the end of a step."""
        self.air_f = air_f
        self.mass_f = self.masses.mass_after(self.mass_f, air_f)

    # --- a step of the day -----------------------------------------------------------------------

    def _day(self, now: _Hour, w: Conditions, heat, conductance) -> _Day:
        """Loops, dampers, supply air, rooms and requests of a step in which some rows run."""
        unit, z, loads = self.unit, self.unit.zones, now.loads
        setpoint, warmth = self._airflow_setpoints(now)
        sat_set, dsp_set = np.empty(len(now.on)), np.empty(len(now.on))
        for run, rows in zip(self.runs, self.rows):
            sat_set[rows] = run.sat_set_f(now.chunk_weather, self.loops["sat"][rows])
            dsp_set[rows] = run.dsp_set_inwc(now.chunk_weather, setpoint[rows], self.loops["dsp"][rows])

        leak_at = lambda dsp: fans.leakage_cfm(unit, dsp)
        standing = fans.standing_dsp_inwc(unit, setpoint @ z.multiplier + leak_at(dsp_set), dsp_set)
        full = np.maximum(available_flow_cfm(unit, standing), 1e-9)
        wanted = np.minimum(setpoint / full, 1.0) ** (1.0 / unit.limits.damper_exponent)
        self.position = _towards(self.position, wanted, self.settings.step_min / self.settings.damper_stroke_min)
        passing = full * damper_flow_frac(self.position, unit.limits.damper_exponent)
        dsp, share, binds = rationed_dsp_inwc(unit, passing, standing, leak_at)
        flow = np.where(now.on[:, None], np.minimum(passing, available_flow_cfm(unit, dsp)), 0.0)
        zones = ZoneState(
            requested_cfm=setpoint,
            available_cfm=full,
            flow_cfm=flow,
            room_f=self.air_f,
            reheat_btuh=np.zeros(flow.shape),
            starved=flow < (1.0 - STARVED_FRAC) * setpoint,
            ventilation_short=flow < (1.0 - STARVED_FRAC) * loads.min_cfm,
        )
        dsp = np.where(now.on, dsp, 0.0)
        air = air_of(unit, w, loads, zones, sat_set, dsp_set, dsp, share, binds, self.resets)
        air, coils, short = held(unit, w, loads, air)

        satz = zone_supply_f(unit, air.sat_f)[:, None]
        carried = loads.fs * flow
        self.valve = _towards(self.valve, warmth, self.settings.step_min / self.settings.valve_stroke_min)
        rise = np.maximum(loads.heat_f + z.reheat_rise_max_f - satz, 0.0)
        reheat = self.valve * np.minimum(z.reheat_btuh * now.enabled[:, None], carried * rise)
        reheat = within(np.where(now.on[:, None], reheat, 0.0), z.multiplier, now.most_by_day)
        self._settle((heat + carried * satz + reheat) / (conductance + carried))
        sent = self._requests(now, flow, setpoint)
        zones = replace(zones, room_f=self.air_f, reheat_btuh=reheat)
        return _Day(
            air=replace(air, zones=zones),
            coils=coils,
            short=short,
            air_set_f=sat_set,
            sent=sent,
            sums=tuple(requests @ z.weight for requests in sent),
        )

    def _airflow_setpoints(self, now: _Hour):
        """Airflow setpoints [cfm] and the share of heat that terminals ask for, from the loops. (R, Z) each

        Cooling from minimum to maximum. Dual maximum: the first half of the heating loop raises the heat at the heating
        minimum, the second half the airflow (Guideline 36, from memory).
        """
        z, loads = self.unit.zones, now.loads
        on = now.on[:, None]
        cooling = self.cooling.step(self.air_f - loads.cool_f, on)
        heating = self.heating.step(loads.heat_f - self.air_f, on)
        setpoint = loads.min_cfm + cooling * (z.max_cfm - loads.min_cfm)
        if not z.dual_maximum.any():
            return setpoint, heating
        dual = z.dual_maximum & z.has_reheat & (now.enabled > 0.0)[:, None]
        first = np.minimum(2.0 * heating, 1.0)
        starting = np.minimum(heating / HEATING_MINIMUM_SHARE, 1.0)
        least = loads.min_cfm + starting * np.maximum(z.heat_min_cfm - loads.min_cfm, 0.0)
        most = np.maximum(np.maximum(z.heat_max_cfm, loads.min_cfm), least)
        raised = least + np.maximum(2.0 * heating - 1.0, 0.0) * (most - least)
        return np.where(dual, np.maximum(setpoint, raised), setpoint), np.where(dual, first, heating)

    def _requests(self, now: _Hour, flow, setpoint):
        """Requests of zones for colder air and for pressure (R, Z) each, and the moves that follow."""
        z = self.unit.zones
        asked = (
            self.requests.temperature(self.cooling.output, self.air_f - now.loads.cool_f),
            self.requests.pressure(self.position, flow, setpoint),
        )
        sent = tuple(np.where(now.on[:, None], requests, 0.0) for requests in asked)
        before = self.ran_min
        self.ran_min = np.where(now.on, before + self.settings.step_min, 0.0)
        for (name, loops), requests in zip(self._trim_respond(), sent):
            total = requests @ z.weight
            for loop, rows in loops:
                moves = lambda minutes, loop=loop: np.floor((minutes - loop.delay_min) / loop.step_min + 1e-9)
                due = now.on[rows] * (moves(self.ran_min[rows]) - np.maximum(moves(before[rows]), -1.0))
                state = self.loops[name]
                # Moves closer together than the time steps are made one after the other.
                for k in range(max(int(due.max()), 0)):
                    state[rows] = np.where(due > k, moved(loop, state[rows], total[rows]), state[rows])
        return sent


@dataclass(frozen=True, slots=True, kw_only=True)
class _Day:
    """What a step of the day gives: air and coils (R,), requests of zones (R, Z) and their weighted sums (R,)."""

    air: Air
    coils: Coils
    short: np.ndarray
    air_set_f: np.ndarray
    sent: tuple[np.ndarray, ...]
    sums: tuple[np.ndarray, ...]


class _Hour:
    """What all steps of an hour share; rows R, ``hour`` (K,) hours of the year of the chunks."""

    def __init__(self, year: Year, h, hour):
        unit, z = year.unit, year.unit.zones
        self.year, self.h, self.hour = year, h, hour
        self.before, self.after = (h - 1) % year.hours, (h + 1) % year.hours
        self.conditions, self.loads = year.conditions.take(h), year.loads.take(h)
        self.chunk_conditions = year.conditions.take(hour)
        self.indoor_btuh = year.inside_btuh[h]
        self.on = year.fan_on[h]
        self.any_on = bool(self.on.any())
        self.enabled = heating_enabled(unit, self.conditions.oat_f, self.conditions.fan_on)
        self.most_by_day = year.most_by_day[h]
        self.off = None if self.on.all() else ~self.on[:, None]
        if self.off is not None and year.served:
            heat_f, cool_f = self.loads.heat_f, self.loads.cool_f
            left = year.to_start[h]
            ramp = np.where((left > 0) & (left <= year.warmup), (year.warmup - left + 1) / max(year.warmup, 1), 0.0)
            self.warming = ramp > 0.0
            self.low_f = heat_f + ramp[:, None] * (np.maximum(z.heat_occupied_f, heat_f) - heat_f)
            self.high_f = cool_f + ramp[:, None] * (np.minimum(z.cool_occupied_f, cool_f) - cool_f)
            self.most_at_night = tuple(most[h] for most in year.most_at_night)
            flows = [
                [flow[hour] if len(flow) > 1 else np.broadcast_to(flow, (len(hour), year.lines)) for flow in air]
                for air in year.night_air
            ]
            heat_flow, cool_flow = (np.concatenate(parts) for parts in zip(*flows))
            self.caps = {
                name: np.broadcast_to(values, heat_flow.shape)
                for name, values in night_caps(unit, year.schedule, self.loads.fs, heat_flow, cool_flow).items()
            }

    def inside(self, part: float) -> Conditions:
        """Weather at a part of the hour, on straight lines between the middles of hours."""
        self.ahead, self.weight = part >= 0.5, abs(part - 0.5)
        c = self.year.conditions
        found = {name: self.weather(getattr(c, name)) for name in ("oat_f", "oawb_f", "humidity_ratio")}
        of_chunks = {name: values[: len(self.hour)] for name, values in found.items()}
        self.chunk_weather = replace(self.chunk_conditions, **of_chunks)
        return replace(self.conditions, **found)

    def weather(self, hourly):
        """Of an hourly array (H, ...) the same part of the hour. (R, ...)"""
        here = hourly[self.h]
        return here + self.weight * (hourly[self.after if self.ahead else self.before] - here)


def _towards(now, wanted, most):
    """An actuator that moves by at most a share of its stroke in a step."""
    return wanted if most >= 1.0 else now + np.clip(wanted - now, -most, most)


def _hours_to_start(fan_on):
    """Hours until the unit starts, the present one included; 0 while it runs. (H,)"""
    left, wait = np.zeros(len(fan_on), dtype=int), 0
    if fan_on.any():
        for h in range(2 * len(fan_on) - 1, -1, -1):
            wait = 0 if fan_on[h % len(fan_on)] else wait + 1
            left[h % len(fan_on)] = wait
    return left
