"""An hour of steps with the unit on: zone loops, dampers, supply air, rooms, requests, setpoints.

Arrays are (N, K) of runs and chunks, or (N, K, Z) of their zones, unless said. The steps change work arrays in place:
there are thousands of them, and making arrays would take longer than what is done with them.
"""

from __future__ import annotations

from dataclasses import fields, replace
from typing import Any

import numpy as np

from ..dataclass import dataclass
from ..model import fan as fans
from ..model.system import Air, RowState, ZoneSums, air_of, finished, heating_enabled
from ..model.terminals import available_flow_cfm, open_flow_cfm, rationed_dsp_inwc, zone_supply_f
from ..model.unit import damper_flow_frac
from .held import Outdoors, WholeLoads, held, not_held, taken
from .loops import ProportionalIntegral, Requests, moved
from .seek import sought

# Numbers of zones: half the memory takes half the time, and digits of a step are lost far behind those of a sum: 4e-6
# degF of a room. Sums of all zones, and what follows from them, have all digits.
SHORT = np.float32
# A terminal short of its setpoint by less is not starved: dampers, and loops that hunt, take a step to follow.
STARVED_FRAC = 0.05
# Share of the heating loop at which a terminal of the dual maximum law is at its heating minimum (assumption).
HEATING_MINIMUM_SHARE = 0.1
# Counts of zones in a row, and what is counted at steps for them.
COUNTED = {
    "unmet_zones": "warm",
    "unmet_degrees": "",
    "cold_zones": "cold",
    "starved_zones": "starved",
    "ventilation_short_zones": "short",
    "reheating_zones": "reheating",
}
# Duct pressures below this push no air. [in. w.c.]
LEAST_DSP_INWC = 1e-12


@dataclass(slots=True)
class State:
    """What carries on from step to step; (N, K, Z) but for loops of setpoints (N, K) and ``ran_min`` (K,).

    ``cooling``, ``heating`` outputs of zone loops, with their integral parts ``..._integral`` · ``position`` of
    dampers, ``valve`` of reheat · ``flow_cfm`` airflows as they arrive · ``for_air``, ``for_pressure`` first requests
    that stand · ``sat_f``, ``dsp_inwc`` outputs of trim and respond · ``ran_min`` since the fan started.
    """

    air_f: np.ndarray
    mass_f: np.ndarray
    cooling: np.ndarray
    cooling_integral: np.ndarray
    heating: np.ndarray
    heating_integral: np.ndarray
    position: np.ndarray
    valve: np.ndarray
    flow_cfm: np.ndarray
    for_air: np.ndarray
    for_pressure: np.ndarray
    sat_f: np.ndarray
    dsp_inwc: np.ndarray
    ran_min: np.ndarray

    def of(self, chunks) -> State:
        """Those of some chunks, to be changed and to be put back."""
        # By index alone the rows would lie in memory chunk by chunk, and every step would be slower.
        whole = {f.name: getattr(self, f.name)[_at(f.name, chunks)] for f in fields(self)}
        return State(**{name: np.array(values, order="C") for name, values in whole.items()})

    def put(self, chunks, part: State) -> None:
        for f in fields(self):
            getattr(self, f.name)[_at(f.name, chunks)] = getattr(part, f.name)

    def start(self, chunks, sat_f, dsp_inwc) -> None:
        """The fan starts: nothing asked, setpoints where their loops begin, or where they were (NaN). (N, 1) each"""
        for f in fields(self):
            if f.name not in ("air_f", "mass_f", "sat_f", "dsp_inwc"):
                getattr(self, f.name)[_at(f.name, chunks)] = 0
        for loop, start in ((self.sat_f, sat_f), (self.dsp_inwc, dsp_inwc)):
            loop[:, chunks] = np.where(np.isnan(start), loop[:, chunks], start)


def _at(name, chunks):
    return chunks if name == "ran_min" else (slice(None), chunks)


class Steps:
    """Kept of every step of an hour (J, N, K): setpoints, supply air, duct pressure, sums of zones, requests."""

    def __init__(self, shape):
        self.sat_set, self.sat, self.dsp_set, self.dsp, self.share = (np.empty(shape) for _ in range(5))
        self.requested, self.flow, self.room_cfm_f, self.reheat = (np.empty(shape) for _ in range(4))
        self.requests = np.empty(shape), np.empty(shape)  # for colder air, for more pressure
        self.binds, self.short = np.zeros(shape, dtype=bool), np.zeros(shape, dtype=bool)


class HourOn:
    """Some chunks of all runs through an hour in which their unit runs.

    Parameters
    ----------
    year : Year
    hour : ndarray (K,)
        Hours of the year of the chunks.
    state : State
        Changed in place.
    closes : bool
        Whether each step finds the supply temperature that can be held. Without it setpoints are taken to be held, and
        :attr:`broken` says afterwards where they are not.
    counts : bool
        Whether zones are counted.
    """

    def __init__(self, year, hour, state: State, *, closes: bool, counts: bool):
        self.year, self.unit, self.hour, self.state = year, year.unit, hour, state
        self.closes, self.counts = closes, counts
        unit, z, loads = year.unit, year.unit.zones, year.loads
        runs, lines, steps = len(year.runs), year.lines, year.per_hour
        self.shape = (runs, len(hour), lines)
        self.steps = Steps((steps, runs, len(hour)))

        self.multiplier, self.weight = short(z.multiplier), short(z.weight)
        self.cool_f, self.heat_f = short(loads.cool_f[hour]), short(loads.heat_f[hour])
        self.min_cfm, self.max_cfm = short(loads.min_cfm[hour]), short(z.max_cfm)
        self.span_cfm = self.max_cfm - self.min_cfm
        ua = loads.ua_btuh_f[hour]
        self.still_btuh_f = short(year.masses.air_btuh_f + year.masses.through_btuh_f + ua)
        self.enabled = heating_enabled(unit, year.conditions.oat_f[hour], year.conditions.fan_on[hour])
        self.coil_btuh = short(z.reheat_btuh * self.enabled[:, None])
        self.discharge_f = self.heat_f + short(z.reheat_rise_max_f)
        self.dual = z.dual_maximum & z.has_reheat & (self.enabled > 0.0)[:, None] if z.dual_maximum.any() else None
        self.heat_min_cfm, self.heat_max_cfm = short(z.heat_min_cfm), short(z.heat_max_cfm)
        self.most_btuh = year.most_by_day[hour]
        self.passes_cfm, self.short_cfm = short(open_flow_cfm(unit)), (1.0 - STARVED_FRAC) * self.min_cfm

        self.oat_f = year.inside(year.conditions.oat_f, hour)
        # What rooms get from sun, inside and outdoors: (J, K, Z).
        gains = year.inside(year.sun_btuh, hour)
        gains += year.inside_btuh[hour]
        gains += ua * self.oat_f[:, :, None]
        self.gains_btuh = short(gains)
        self._weather(hour)
        self._plans()

        self.cooling = ProportionalIntegral(state.cooling, state.cooling_integral, year.settings)
        self.heating = ProportionalIntegral(state.heating, state.heating_integral, year.settings)
        self.requests = Requests(unit, state.for_air, state.for_pressure, year.end_switches)
        self.over_f, self.under_f = state.air_f - self.cool_f, self.heat_f - state.air_f
        self.flow_cfm = state.flow_cfm
        self.work, self.more, self.open_cfm, self.given_btuh = (np.empty(self.shape, dtype=SHORT) for _ in range(4))
        self.zone_cfm = np.zeros(self.shape, dtype=SHORT)
        self.there = np.empty(self.shape, dtype=bool)
        self.beyond_f = {name: np.zeros(self.shape, dtype=SHORT) for name in ("warm", "cold")}
        self.times = {
            name: np.zeros(self.shape, dtype=np.uint8)
            for name in ("warm", "cold", "starved", "short", "reheating", "for_air", "for_pressure")
        }

    def run(self) -> None:
        """All steps."""
        for j in range(self.year.per_hour):
            self._step(j)
        self.state.ran_min += 60.0
        self._air_side()

    # --- what is known before the first step ------------------------------------------------------

    def _weather(self, hour) -> None:
        """Outdoor air of chunks (J * K,) and of rows (J * N * K,), and the loads of all zones together."""
        year, c, loads = self.year, self.year.conditions, self.year.loads
        steps, runs, chunks = self.steps.sat.shape
        inside = {name: year.inside(getattr(c, name), hour) for name in ("oawb_f", "humidity_ratio")}
        inside["oat_f"] = self.oat_f
        same = {name: getattr(c, name)[hour] for name in ("occupied", "fan_on", "hour_of_year", "rate_period")}
        flat = lambda values, runs: np.broadcast_to(
            values[:, None, :] if values.ndim == 2 else values, (steps, runs, chunks)
        ).reshape(steps * runs * chunks)
        of = lambda runs: Outdoors(
            **{name: flat(values, runs) for name, values in (inside | same).items()}, pressure_psia=c.pressure_psia
        )
        self.of_chunks, self.of_rows = of(1), of(runs)
        names = ("latent_btuh", "plenum_btuh", "infiltration_cfm", "oa_people_cfm")
        self.whole: Any = WholeLoads(
            **{name: flat(getattr(loads, name)[hour], runs) for name in names}, fs=loads.fs, fl=loads.fl
        )
        resets = np.array([[run.resets_pressure] for run in year.runs])
        self.resets = np.broadcast_to(resets, (steps, runs, chunks)).reshape(-1)

    def _plans(self) -> None:
        """Setpoints of runs that do not look at zones, for all steps; moves of trim and respond that are due."""
        year, steps = self.year, self.steps
        plan = lambda values: values.reshape(len(steps.sat), -1) if len(values) > 1 else values
        for i, run in enumerate(year.runs):
            if run.sat_loop is None:
                steps.sat_set[:, i] = plan(run.sat_set_f(self.of_chunks, None))
            if not run.dsp_by_step:
                steps.dsp_set[:, i] = plan(run.dsp_set_inwc(self.of_chunks, None, None))
        self.by_step = [self.at_step(j) for j in range(len(steps.sat))] if year.by_step else []
        before = self.state.ran_min + year.settings.step_min * np.arange(len(steps.sat))[:, None]
        self.due = {}
        for name, (_, loop) in year.trim_respond.items():
            count = lambda minutes, loop=loop: np.floor((minutes[:, None] - loop.delay_min) / loop.step_min + 1e-9)
            self.due[name] = count(before + year.settings.step_min) - np.maximum(count(before), -1.0)
        self.seeks = {i: seeker.due(before, year.settings.step_min) for i, seeker in year.seekers}

    def at_step(self, j: int) -> Outdoors:
        """Outdoor air of chunks at a step. (K,)"""
        return taken(self.of_chunks, slice(j * len(self.hour), (j + 1) * len(self.hour)))

    # --- a step -----------------------------------------------------------------------------------

    def _sum(self, values, weights):
        """Of zones, weighted. (N, K)"""
        return (values.reshape(-1, self.shape[2]) @ weights).reshape(self.shape[:2])

    def _step(self, j: int) -> None:
        unit, state, steps = self.unit, self.state, self.steps
        mult, fs = self.multiplier, float(self.whole.fs)
        work, flow = self.work, self.flow_cfm

        setpoint, warmth = self._airflow_setpoints()
        steps.requested[j] = self._sum(setpoint, mult)
        self._setpoints(j, setpoint)
        self._dampers(j, setpoint)
        np.multiply(flow, state.air_f, out=work)
        steps.room_cfm_f[j] = self._sum(work, mult)

        sat = self._held(j) if self.closes else steps.sat_set[j]
        steps.sat[j] = sat
        satz = short(zone_supply_f(unit, sat))[:, :, None]
        if self.counts:
            self._count("starved", np.less, flow, np.multiply(setpoint, 1.0 - STARVED_FRAC, out=work))
        sent_pressure = self.requests.pressure(state.position, flow, setpoint)

        carried = np.multiply(flow, fs, out=self.more)
        reheat = self._reheat(j, warmth, carried, satz)
        # Rooms at the end of the step.
        heat = self.year.masses_on.stored(state.air_f, state.mass_f, self.open_cfm, work)
        heat += self.gains_btuh[j]
        heat += reheat
        heat += np.multiply(carried, satz, out=work)
        carried += self.still_btuh_f
        np.divide(heat, carried, out=state.air_f)
        self.year.masses_on.follow(state.mass_f, state.air_f, work)
        over = np.subtract(state.air_f, self.cool_f, out=self.over_f)
        under = np.subtract(self.heat_f, state.air_f, out=self.under_f)

        sent_air = self.requests.temperature(state.cooling, over)
        for kept, sent in zip(steps.requests, (sent_air, sent_pressure)):
            kept[j] = self._sum(sent, self.weight)
        self._trim_and_respond(j)
        self._seek(j)
        if self.counts:
            tolerance = unit.service.unmet_tolerance_f
            self.zone_cfm += flow
            self.beyond_f["warm"] += np.maximum(over, tolerance, out=work)
            self.beyond_f["cold"] += np.maximum(under, tolerance, out=work)
            for name, is_beyond, values, limit in (
                ("warm", np.greater, over, tolerance),
                ("cold", np.greater, under, tolerance),
                ("short", np.less, flow, self.short_cfm),
                ("reheating", np.greater, reheat, 0.0),
                ("for_air", np.greater, sent_air, 0.0),
                ("for_pressure", np.greater, sent_pressure, 0.0),
            ):
                self._count(name, is_beyond, values, limit)

    def _count(self, name: str, is_beyond, values, limit) -> None:
        """Add the zones in which values are beyond a limit."""
        is_beyond(values, limit, out=self.there)
        self.times[name] += self.there.view(np.uint8)

    def _airflow_setpoints(self):
        """Airflow setpoints [cfm] and the share of heat that terminals ask for, from the loops. (N, K, Z) each

        Cooling from minimum to maximum. Dual maximum: the first half of the heating loop raises the heat at the heating
        minimum, the second half the airflow (Guideline 36, from memory).
        """
        least = self.min_cfm
        cooling, heating = self.cooling.step(self.over_f), self.heating.step(self.under_f)
        setpoint = cooling * self.span_cfm
        setpoint += least
        if self.dual is None:
            return setpoint, heating
        first = np.minimum(2.0 * heating, 1.0)
        starting = np.minimum(heating / HEATING_MINIMUM_SHARE, 1.0)
        least = least + starting * np.maximum(self.heat_min_cfm - least, 0.0)
        most = np.maximum(np.maximum(self.heat_max_cfm, self.min_cfm), least)
        raised = least + np.maximum(2.0 * heating - 1.0, 0.0) * (most - least)
        return np.where(self.dual, np.maximum(setpoint, raised), setpoint), np.where(self.dual, first, heating)

    def _setpoints(self, j: int, setpoint) -> None:
        """Setpoints of runs that look at zones."""
        for i, run in enumerate(self.year.runs):
            if run.sat_loop is not None:
                self.steps.sat_set[j, i] = run.sat_set_f(self.by_step[j], self.state.sat_f[i])
            if run.dsp_by_step:
                zones = self.flow_cfm[i] if run.reads_arriving else setpoint[i]
                self.steps.dsp_set[j, i] = run.dsp_set_inwc(self.by_step[j], zones, self.state.dsp_inwc[i])

    def _dampers(self, j: int, setpoint) -> None:
        """Airflows of zones, from dampers and the duct pressure that stands."""
        unit, state, steps, full = self.unit, self.state, self.steps, self.open_cfm
        exponent, settings = unit.limits.damper_exponent, self.year.settings
        leak_at = lambda dsp: fans.leakage_cfm(unit, dsp)
        dsp_set = steps.dsp_set[j]
        leak = leak_at(dsp_set)
        standing = np.maximum(fans.standing_dsp_inwc(unit, steps.requested[j] + leak, dsp_set), LEAST_DSP_INWC)
        np.multiply(self.passes_cfm, short(np.sqrt(standing))[:, :, None], out=full)
        wanted = np.divide(setpoint, full, out=self.work)
        np.minimum(wanted, 1.0, out=wanted)
        if exponent != 1.0:
            np.power(wanted, 1.0 / exponent, out=wanted)
        towards(state.position, wanted, settings.step_min / settings.damper_stroke_min, self.more)
        if self.year.stuck is not None:
            np.copyto(state.position, self.year.stuck, where=self.year.stuck >= 0.0)
        opened = state.position if exponent == 1.0 else damper_flow_frac(state.position, exponent)
        flow = np.multiply(opened, full, out=self.flow_cfm)
        room_flow = self._sum(flow, self.multiplier)
        if (standing > dsp_set).any():
            leak = leak_at(standing)
        if (room_flow + leak > unit.max_cfm).any():
            rows = self.shape[:2]
            found, share, binds = rationed_dsp_inwc(unit, flow.reshape(-1, self.shape[2]), standing.ravel(), leak_at)
            np.minimum(flow, short(available_flow_cfm(unit, found)).reshape(self.shape), out=flow)
            room_flow = self._sum(flow, self.multiplier)
            steps.dsp[j], steps.share[j], steps.binds[j] = (a.reshape(rows) for a in (found, share, binds))
        else:
            steps.dsp[j], steps.share[j] = standing, 1.0
        steps.flow[j] = room_flow

    def _reheat(self, j: int, warmth, carried, satz):
        """Heat of terminals. (N, K, Z) [Btu/h]"""
        state, given, settings = self.state, self.given_btuh, self.year.settings
        towards(state.valve, warmth, settings.step_min / settings.valve_stroke_min, given)
        np.subtract(self.discharge_f, satz, out=given)
        np.maximum(given, 0.0, out=given)
        given *= carried
        np.minimum(given, self.coil_btuh, out=given)
        given *= state.valve
        together = self._sum(given, self.multiplier)
        if (together > self.most_btuh).any():
            share = np.where(together > self.most_btuh, self.most_btuh / np.where(together > 0.0, together, 1.0), 1.0)
            given *= short(share)[:, :, None]
            together *= share
        self.steps.reheat[j] = together
        return given

    def _trim_and_respond(self, j: int) -> None:
        """Moves that are due."""
        asked = {name: kept[j] for name, kept in zip(("sat_f", "dsp_inwc"), self.steps.requests)}
        for name, (runs, loop) in self.year.trim_respond.items():
            due = self.due[name][j]
            output = getattr(self.state, name)
            # Moves closer together than the time steps are made one after the other.
            for k in range(max(int(due.max()), 0)):
                output[runs] = np.where(due > k, moved(loop, output[runs], asked[name][runs]), output[runs])

    def _seek(self, j: int) -> None:
        """Moves of cost-seeking loops that are due."""
        for i, seeker in self.year.seekers:
            due = self.seeks[i][j]
            if due.any():
                new = sought(self, j, i, seeker, self.steps.requests[0][j, i])
                self.state.sat_f[i] = np.where(due, new, self.state.sat_f[i])

    # --- supply air and energy --------------------------------------------------------------------

    def _air(self, at, c, whole, resets, counted) -> Air:
        """Air side at the setpoints of steps ``at``; of zones ``counted`` by name of ``ZoneSums``."""
        steps = self.steps
        pick = lambda values: values[at].reshape(-1)
        sums = ZoneSums(
            requested_cfm=pick(steps.requested),
            flow_cfm=pick(steps.flow),
            room_cfm_f=pick(steps.room_cfm_f),
            reheat_btuh=pick(steps.reheat),
            **counted,
        )
        setpoints = (pick(steps.sat_set), pick(steps.dsp_set))
        return air_of(
            self.unit, c, whole, sums, *setpoints, pick(steps.dsp), pick(steps.share), pick(steps.binds), resets
        )

    def air_at(self, at, c, whole, resets) -> Air:
        """Air side at the setpoints of steps ``at``, whose zones have not been counted."""
        return self._air(at, c, whole, resets, dict.fromkeys(COUNTED, np.zeros(1)))

    def _held(self, j: int):
        """Supply temperature that can be held in a step. (N, K) [degF]"""
        rows = self.shape[0] * self.shape[1]
        at = slice(j * rows, (j + 1) * rows)
        c, whole = taken(self.of_rows, at), taken(self.whole, at)
        air = self.air_at(j, c, whole, self.resets[at])
        sat, short = held(self.unit, c, whole, air)
        self.steps.short[j] = short.reshape(self.shape[:2])
        return sat.reshape(self.shape[:2])

    def _air_side(self) -> None:
        """Air and coils of all steps; which chunks did not hold a setpoint that was taken to be held."""
        steps, many = self.steps, len(self.steps.sat)
        degrees = self.beyond_f["warm"] - many * self.unit.service.unmet_tolerance_f
        by_zone = {name: self.times[key] for name, key in COUNTED.items() if key} | {"unmet_degrees": degrees}
        # Of counts only sums are asked for: each step has the mean of its hour.
        counted = {
            name: np.broadcast_to(self._sum(values, self.multiplier) / many, steps.sat.shape).reshape(-1)
            for name, values in by_zone.items()
        }
        air = self._air(slice(None), self.of_rows, self.whole, self.resets, counted)
        if self.closes:
            air = replace(air, sat_f=steps.sat.reshape(-1))
        self.air = air
        self.coils, off = not_held(self.unit, self.of_rows, self.whole, air)
        moved = steps.sat != steps.sat_set if self.closes else off.reshape(steps.sat.shape)
        self.broken = moved.any(axis=(0, 1))

    def by_zone(self):
        """What ``steps.BY_ZONE`` names, in its order, summed over the steps. (N, K, Z) each"""
        tolerance = len(self.steps.sat) * self.unit.service.unmet_tolerance_f
        yield from (self.beyond_f[name] - tolerance for name in ("warm", "cold"))
        yield from (self.times[name] for name in ("starved", "for_air", "for_pressure"))

    def rows(self) -> RowState:
        """What all steps come to. (J * N * K,)"""
        steps = self.steps
        flat = steps.sat.shape
        enabled = np.broadcast_to(self.enabled, flat).reshape(-1)
        return finished(
            self.unit,
            self.of_rows,
            self.whole,
            steps.sat_set.reshape(-1),
            self.air,
            self.coils,
            enabled,
            steps.short.reshape(-1),
        )

    def totals(self, state: RowState, weights) -> dict[str, np.ndarray]:
        """Sums over steps and over chunks, each with its weight (K,), by field of ``RowState``. (N,) [rate x steps]"""
        shape = self.steps.sat.shape
        return {f.name: total(getattr(state, f.name).reshape(shape), weights) for f in fields(state)}

    def means(self, state: RowState, names) -> dict[str, np.ndarray]:
        """Hourly means of fields of ``RowState``. (N, K) each"""
        shape = self.steps.sat.shape
        return {name: getattr(state, name).reshape(shape).mean(axis=0) for name in names}


def total(rates, weights):
    """Sum over steps and over chunks, each with its weight (K,), of rates (J, N, K). (N,)

    NaN, as a room mean without airflow, and the infinite capacity of purchased cooling count as nothing: no figure of a
    year is their sum.
    """
    found = rates.sum(axis=0)
    if not np.isfinite(found).all():
        found = np.where(np.isfinite(rates), rates, 0.0).sum(axis=0)
    return found @ weights


def short(values):
    """As numbers of zones."""
    return np.asarray(values, dtype=SHORT)


def towards(now, wanted, most, work) -> None:
    """Actuators, in place, that move by at most a share of their stroke in a step; ``work`` is overwritten."""
    if most >= 1.0:
        now[:] = wanted
    else:
        np.subtract(wanted, now, out=work)
        np.minimum(work, most, out=work)
        np.maximum(work, -most, out=work)
        now += work
