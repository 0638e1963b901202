"""The year in time steps: chunks of days side by side, and of each all runs that share a unit.

Each chunk starts some days before it counts (``spin_up_days``), since rooms carry a weekend over. The phase of limit
cycles depends on where a chunk starts, so only sums and means are reported.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import fields, replace
from typing import Any

import numpy as np

from ..dataclass import dataclass
from ..hours import Conditions
from ..model.loads import zone_loads
from ..model.night import NightDuct, night_air_cfm
from ..model.night_rooms import heat_capacity_btu_f, most_cooling_kbtuh, most_heat_kbtuh
from ..model.system import RowState, supply_heating_mode
from ..model.unit import Unit
from .hour_off import hour_off, steps_an_hour
from .hour_on import SHORT, HourOn, State, short
from .rooms import Masses
from .seek import Seeker
from .served import AT_UNIT, Served
from .settings import Settings, TrimRespond

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
    respond, None where there is none: then the setpoint is asked for with None in its place · ``dsp_by_step`` whether
    duct pressure depends on the loop or on airflow setpoints, else it is asked for with None in their place ·
    ``resets_pressure`` which published fan curve applies · ``duct`` duct pressure at night · ``reads_arriving`` duct
    pressure is asked for with the airflows that arrived in the step before, not with their setpoints ·
    ``end_switch_frac`` position above which dampers are known to be open, where nothing else is known of them and of
    airflows; None where both are measured · ``sat_seek`` how the output of ``sat_loop`` is moved for cost as well, None
    where it is not.
    """

    share: float
    sat_set_f: Callable
    dsp_set_inwc: Callable
    limits: Callable
    sat_loop: TrimRespond | None
    dsp_loop: TrimRespond | None
    dsp_by_step: bool
    resets_pressure: bool
    duct: NightDuct | None
    reads_arriving: bool = False
    end_switch_frac: float | None = None
    sat_seek: Seeker | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Outcome:
    """What a run comes to in a year.

    ``totals`` by field of ``RowState``: its sum over the running time [rate x h] · ``limits`` the same of the limits of
    ``Setpoints`` [h] · ``hourly`` by name of ``HOURLY`` (H,), NaN while the unit is off · ``zones`` by name of
    ``BY_ZONE`` (Z,) · ``heat_btuh``, ``cool_btuh`` given to rooms while the unit is off by schedule (H, Z) ·
    ``released_btuh`` what rooms gave of the heat they store, less what they took (H, Z) · ``trace`` by name of
    ``HOURLY`` (D, steps of a day) · ``depths`` by field of ``ServiceFigures``, None without a yardstick · ``warm_when``
    degree-hours too warm by hour of the day (24, Z), by month (12, Z) and at the start (Z,), None without a yardstick.
    """

    totals: dict[str, float]
    limits: dict[str, float]
    hourly: dict[str, np.ndarray]
    zones: dict[str, np.ndarray]
    heat_btuh: np.ndarray
    cool_btuh: np.ndarray
    released_btuh: np.ndarray
    trace: dict[str, np.ndarray]
    depths: dict[str, Any] | None
    warm_when: dict[str, np.ndarray] | None


class Year:
    """Rooms and loops of all runs at once, in chunks of days side by side.

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
    stuck_frac : ndarray (Z,), optional
        Positions of dampers that do not move while the unit runs, NaN for those that do.
    yardstick : tuple of (Yardstick, ndarray), optional
        What the baseline promises, and its running hours of the year: then service is kept as well.
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
        stuck_frac=None,
        yardstick=None,
        progress=None,
    ):
        self.unit, self.conditions, self.schedule, self.runs, self.settings = unit, conditions, schedule, runs, settings
        self.progress = progress
        self.hours, self.lines = len(conditions.oat_f), len(unit.zones)
        z, days = unit.zones, self.hours // 24
        self.step_h, self.per_hour = settings.step_min / 60.0, round(60.0 / settings.step_min)
        self.per_hour_off = steps_an_hour(settings)
        self.chunks = -(-days // settings.chunk_days)
        self.first_hour = np.arange(self.chunks) * settings.chunk_days * 24
        self.counts_hours = 24 * np.minimum(settings.chunk_days, days - np.arange(self.chunks) * settings.chunk_days)

        self.loads = zone_loads(unit, conditions)
        sun = conditions.glass_sun_btuh_ft2 @ z.aperture_ft2.T + conditions.roof_sun_btuh_ft2[:, None] * z.roof_ft2_eq
        self.sun_btuh, self.inside_btuh = sun, self.loads.gains_btuh - sun
        if capacity_btu_f is None:
            capacity_btu_f = heat_capacity_btu_f(unit, schedule.room_time_constant_h, self.loads.fs)
        self.masses = Masses.of(z.area_ft2, capacity_btu_f, settings, self.step_h)
        self.masses_on, self.masses_off = (
            replace(masses, **{f.name: short(getattr(masses, f.name)) for f in fields(Masses)})
            for masses in (self.masses, Masses.of(z.area_ft2, capacity_btu_f, settings, 1.0 / self.per_hour_off))
        )
        # A position below nothing marks dampers that move.
        self.stuck = None if stuck_frac is None else short(np.nan_to_num(stuck_frac, nan=-1.0))
        self.end_switches = np.array([[[np.nan if r.end_switch_frac is None else r.end_switch_frac]] for r in runs])
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

        count = len(runs)
        shape = (count, self.chunks, self.lines)
        loops = {"sat_f": [r.sat_loop for r in runs], "dsp_inwc": [r.dsp_loop for r in runs]}
        self.starts = {name: np.array([[0.0 if x is None else x.start] for x in of]) for name, of in loops.items()}
        self.trim_respond = {name: _together(of) for name, of in loops.items() if any(x is not None for x in of)}
        self.seekers = [(i, run.sat_seek) for i, run in enumerate(runs) if run.sat_seek is not None]
        self.by_step = any(run.sat_loop is not None or run.dsp_by_step for run in runs)
        middle = 0.5 * (z.heat_occupied_f + z.cool_occupied_f)
        self.state = State(
            air_f=short(np.broadcast_to(middle, shape)).copy(),
            mass_f=short(np.broadcast_to(middle, shape)).copy(),
            **{name: np.zeros(shape, dtype=SHORT) for name in ("cooling", "cooling_integral", "heating")},
            **{name: np.zeros(shape, dtype=SHORT) for name in ("heating_integral", "position", "valve", "flow_cfm")},
            **{name: np.zeros(shape, dtype=bool) for name in ("for_air", "for_pressure")},
            **{name: np.broadcast_to(_first(loops[name]), shape[:2]).copy() for name in loops},
            ran_min=np.zeros(self.chunks),
        )
        self.ran_before = np.zeros(self.chunks, dtype=bool)
        # Chunks whose supply air was off its setpoint when they ran last.
        self.off_setpoint = np.zeros(self.chunks, dtype=bool)

        self.totals: dict[str, np.ndarray] = {f.name: np.zeros(count) for f in fields(RowState)}
        self.limits: list[dict[str, float]] = [{} for _ in runs]
        self.hourly = {name: np.full((count, self.hours), np.nan) for name in HOURLY}
        self.by_zone = {name: np.zeros((count, self.lines)) for name in BY_ZONE}
        self.heat_btuh, self.cool_btuh, self.released_btuh = (
            np.zeros((count, self.hours, self.lines)) for _ in range(3)
        )
        self.served_by = (
            None
            if yardstick is None
            else Served(yardstick[0], yardstick[1], count, self.hours, self.lines, conditions.month)
        )
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
                released_btuh=self.released_btuh[i],
                trace={name: v[i] for name, v in self.trace.items()},
                depths=None
                if self.served_by is None
                else self.served_by.depths(i, *(self.by_zone[f"{name}_degree_hours"][i] for name in ("warm", "cold"))),
                warm_when=None
                if self.served_by is None
                else {name: values[i] for name, values in self.served_by.warm.items()},
            )
            for i in range(len(self.runs))
        ]

    def inside(self, hourly, hour, steps=None) -> np.ndarray:
        """An hourly array (H, ...) at the middles of the steps of hours (K,), on straight lines between the middles of
        hours. (J, K, ...)"""
        steps = self.per_hour if steps is None else steps
        part = (np.arange(steps) + 0.5) / steps
        part = part.reshape((-1,) + (1,) * hourly.ndim)
        here, before, after = hourly[hour], hourly[hour - 1], hourly[(hour + 1) % self.hours]
        return here + np.where(part < 0.5, (0.5 - part) * (before - here), (part - 0.5) * (after - here))

    # --- an hour ---------------------------------------------------------------------------------

    def _hour(self, t: int) -> None:
        """An hour of all chunks; ``t`` hours after their first one that counts."""
        hour = (self.first_hour + t) % self.hours
        counts = (t >= 0) & (t < self.counts_hours)
        on = self.fan_on[hour]
        before = self._stored_btu()
        starting = np.flatnonzero(on & ~self.ran_before)
        self.ran_before = on
        if len(starting):
            self.state.start(starting, self.starts["sat_f"], self.starts["dsp_inwc"])
            if self.served_by is not None and counts[starting].any():
                now = starting[counts[starting]]
                self.served_by.started(
                    self.state.air_f[:, now], self.loads.heat_f[hour[now]], self.loads.cool_f[hour[now]]
                )
        self._off(np.flatnonzero(~on), hour, counts)
        # Chunks are first taken to hold their supply temperature. Those that do not are run through the hour again,
        # and at once in the hour after it.
        firm, loose = np.flatnonzero(on & ~self.off_setpoint), np.flatnonzero(on & self.off_setpoint)
        broken = self._on(firm, hour, counts, closes=False)
        self._on(np.concatenate([loose, broken]), hour, counts, closes=True)
        self.released_btuh[:, hour[counts]] = (before - self._stored_btu())[:, counts]

    def _stored_btu(self) -> np.ndarray:
        """Heat in rooms and in the mass behind them, above 0 degF. (N, K, Z) [Btu]"""
        masses, state = self.masses, self.state
        return self.step_h * (masses.air_btuh_f * state.air_f + masses.mass_btuh_f * state.mass_f)

    def _off(self, chunks, hour, counts) -> None:
        """Chunks whose unit is off."""
        if not len(chunks):
            return
        state = self.state
        air, mass, heat, cool = hour_off(
            self, hour[chunks], *(np.array(x[:, chunks], order="C") for x in (state.air_f, state.mass_f))
        )
        state.air_f[:, chunks], state.mass_f[:, chunks] = air, mass
        use = counts[chunks]
        if self.served_by is not None and use.any():
            self.served_by.off(air[:, use])
        if self.served and use.any():
            self.heat_btuh[:, hour[chunks[use]]] = heat[:, use]
            self.cool_btuh[:, hour[chunks[use]]] = cool[:, use]

    def _on(self, chunks, hour, counts, *, closes) -> np.ndarray:
        """Chunks whose unit runs; gives those whose hour does not count, since they did not hold their setpoint."""
        if not len(chunks):
            return chunks
        part = self.state.of(chunks)
        ran = HourOn(self, hour[chunks], part, closes=closes, counts=bool(counts[chunks].any()))
        ran.run()
        self.off_setpoint[chunks] = ran.broken
        valid = np.ones(len(chunks), dtype=bool) if closes else ~ran.broken
        self.state.put(chunks[valid], part.of(valid))
        use = counts[chunks] & valid
        if use.any():
            self._keep(ran, chunks, hour[chunks], use)
        return chunks[~valid]

    def _keep(self, ran: HourOn, chunks, hour, use) -> None:
        """Sums, means and traces of an hour, of the chunks to ``use``. (K,) bool"""
        steps, middle = ran.steps, self.per_hour // 2
        kept = dict(zip(HOURLY, (steps.sat_set, steps.sat, steps.dsp_set, steps.flow, *steps.requests)))
        for name, values in kept.items():
            self.hourly[name][:, hour[use]] = values.mean(axis=0)[:, use]
            for d, day in enumerate(self.trace_days):
                for k in np.flatnonzero(use & (hour // 24 == day)):
                    first = (int(hour[k]) % 24) * self.per_hour
                    self.trace[name][:, d, first : first + self.per_hour] = values[:, :, k].T
        for name, values in zip(BY_ZONE, ran.by_zone()):
            self.by_zone[name] += self.step_h * values[:, use].sum(axis=1)
            if name == "warm_degree_hours" and self.served_by is not None:
                first = ran.state.ran_min[use] <= 60.0
                self.served_by.too_warm(hour[use], self.step_h * values[:, use], first)
        c = ran.at_step(middle)
        for i, (run, found) in enumerate(zip(self.runs, self.limits)):
            for name, at in run.limits(c, steps.sat_set[middle, i], steps.dsp_set[middle, i]).items():
                found[name] = found.get(name, 0.0) + float(np.count_nonzero(at & use))
        state = ran.rows()
        for name, values in ran.totals(state, use.astype(float)).items():
            self.totals[name] += self.step_h * values
        if self.served_by is not None:
            self.served_by.on(hour, use, ran.means(state, AT_UNIT), ran.zone_cfm / self.per_hour)


def _first(loops):
    """Where loops begin: in the middle of their range those that go on from where they stopped. (N, 1)"""
    first = [0.0 if x is None else 0.5 * (x.low + x.high) if np.isnan(x.start) else x.start for x in loops]
    return np.array(first)[:, None]


def _together(loops):
    """Runs that have a loop, and one record for all of them with numbers (N, 1)."""
    runs = np.array([i for i, loop in enumerate(loops) if loop is not None])
    own = [loops[i] for i in runs]
    numbers: dict[str, Any] = {f.name: np.array([[getattr(loop, f.name)] for loop in own]) for f in fields(TrimRespond)}
    return runs, TrimRespond(**numbers)


def _hours_to_start(fan_on):
    """Hours until the unit starts, the present one included; 0 while it runs. (H,)"""
    left, wait = np.zeros(len(fan_on), dtype=int), 0
    if fan_on.any():
        for h in range(2 * len(fan_on) - 1, -1, -1):
            wait = 0 if fan_on[h % len(fan_on)] else wait + 1
            left[h % len(fan_on)] = wait
    return left
