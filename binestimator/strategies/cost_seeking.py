"""Cost-seeking supply air temperature: a controller that estimates what one step warmer and one colder would cost.

Each period it works out the cost of fan, cooling and heat at its setpoint, one step warmer and one colder, from what a
controller has, and moves the cheaper way. Requests of zones go first: beyond those ignored the setpoint falls by the
response of trim and respond, and no estimate warms it. At rest it stays where its own estimate favours neither step:
not where the energy cost of the row is least, since the estimate is simpler than the plant.
"""

from __future__ import annotations

import numpy as np

from ..dataclass import dataclass
from ..model.loads import ZoneLoads
from ..model.plant import cooling_power, heating_power
from ..model.system import evaluate, supply_heating_mode, zones_of
from ..model.unit import Unit
from ..rates import prices_at
from ..units import BTU_PER_WH, KBTU_PER_KWH, KBTU_PER_THERM, KBTUH_PER_TON
from .demand import settled_together_f
from .strategy import SatStrategy

# Costs of two steps that differ by less are equal. [USD/h]
LEAST_GAIN_USD_H = 1e-9
# An airflow within this share of its least or most is there.
AT_END_FRAC = 0.01
# Mixed air this near to what needs no coil needs none while the economizer acts. [degF]
NO_COIL_F = 0.1
# The plant's own figures: from this to that share of its capacity, at these outdoor conditions. [degF]
LOADS_FRAC = (0.25, 0.75)
COOLING_OAT_F, COOLING_OAWB_F, COOLING_ENTERING_WB_F, HEATING_OAT_F = 75.0, 65.0, 63.0, 40.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Figures:
    """What the controller takes plants and fan to need: energy of a kBtu, and how fan power goes with airflow.

    ``cooling_kwh``, ``heat_kwh`` [kWh/kBtu] · ``cooling_kbtu``, ``heat_kbtu`` purchased [kBtu/kBtu] · ``heat_therm``
    [therm/kBtu] · ``fan_exponent`` · ``oa_by_flow`` least outdoor air is held as an airflow, else by a damper position
    · ``holds_by_heat`` the air handler's coil heats where mixed air is too cold.
    """

    cooling_kwh: float
    cooling_kbtu: float
    heat_kwh: float
    heat_therm: float
    heat_kbtu: float
    fan_exponent: float
    oa_by_flow: bool
    holds_by_heat: bool

    @classmethod
    def of(cls, unit: Unit, record) -> Figures:
        """From the inputs of the strategy, and from the unit's plants where they give none."""
        size = lambda capacity: capacity if 0.0 < capacity < np.inf else 1.0
        slope = lambda found, load: float((found[1] - found[0]) / (load[1] - load[0]))
        share = np.array(LOADS_FRAC)
        tons = size(unit.cooling_tons)
        load = share * KBTUH_PER_TON * tons
        weather = (np.full(2, f) for f in (COOLING_OAT_F, COOLING_OAWB_F, COOLING_ENTERING_WB_F))
        cool = cooling_power(unit.cooling, tons, load, np.ones(2), *weather)
        cooling_kwh = slope(cool.compressor_kw + cool.pump_tower_kw, load)
        if record.cooling_kw_ton is not None and unit.cooling.type in ("chilled_water", "direct_expansion"):
            cooling_kwh = record.cooling_kw_ton / KBTUH_PER_TON
        capacity = size(unit.heating_kbtuh)
        heat_load = share * capacity
        heat = heating_power(unit.heating, capacity, heat_load, np.ones(2), np.full(2, HEATING_OAT_F))
        needs = {
            "heat_kwh": slope(heat.electric_kw + heat.pump_kw, heat_load),
            "heat_therm": slope(heat.fuel_thermh, heat_load),
            "heat_kbtu": slope(heat.purchased_kbtuh, heat_load),
        }
        if record.heat_eff_frac is not None:
            # All of it in the energy that the plant mainly takes.
            in_kbtu = {"heat_kwh": KBTU_PER_KWH, "heat_therm": KBTU_PER_THERM, "heat_kbtu": 1.0}
            main = max(needs, key=lambda name: needs[name] * in_kbtu[name])
            needs = {name: 1.0 / (record.heat_eff_frac * in_kbtu[name]) * (name == main) for name in needs}
        return cls(
            cooling_kwh=cooling_kwh,
            cooling_kbtu=slope(cool.purchased_kbtuh, load),
            fan_exponent=float(record.fan_exponent),
            oa_by_flow=unit.outdoor_air.control != "position" and unit.economizer.stuck_frac is None,
            holds_by_heat=supply_heating_mode(unit) == "hold",
            **needs,
        )

    def cooling_usd_kbtu(self, prices):
        """Price of a kBtu of cooling; ``prices`` in force."""
        return self.cooling_kwh * prices.electricity_usd_kwh + self.cooling_kbtu * prices.cooling_usd_kbtu

    def heat_usd_kbtu(self, prices):
        """Price of a kBtu of heat; ``prices`` in force."""
        return (
            self.heat_kwh * prices.electricity_usd_kwh
            + self.heat_therm * prices.fuel_usd_therm
            + self.heat_kbtu * prices.heat_usd_kbtu
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class Readings:
    """What the controller reads in R rows: arrays (R,), and (R, Z) of zones.

    ``flow_cfm`` of terminals, with ``least_cfm`` and ``most_cfm`` in force · ``room_f`` · ``heats`` reheat is on (bool)
    · ``multiplier`` zones of each line (Z,) · ``supply_cfm`` of the fan · ``fan_kw`` · ``sat_f``, ``mat_f``, ``oat_f``
    · ``oa_frac`` outdoor air as a share, from its damper or station · ``economizing`` the economizer holds mixed air
    (bool) · ``fs`` heat of a degree of a cfm [Btu/h.cfm.F].
    """

    flow_cfm: np.ndarray
    least_cfm: np.ndarray
    most_cfm: np.ndarray
    room_f: np.ndarray
    heats: np.ndarray
    multiplier: np.ndarray
    supply_cfm: np.ndarray
    fan_kw: np.ndarray
    sat_f: np.ndarray
    mat_f: np.ndarray
    oat_f: np.ndarray
    oa_frac: np.ndarray
    economizing: np.ndarray
    fs: float


def cost_usd_h(read: Readings, figures: Figures, prices, step_f: float) -> np.ndarray:
    """Cost of fan, cooling and heat as the controller estimates it for a supply temperature a step warmer. (R,)
    [USD/h]

    Parameters
    ----------
    step_f : float
        Negative for colder air, 0 for what stands. Heat of terminals counts from what they give now. [degF]

    Notes
    -----
    Rooms that cool by airflow keep their temperature: ``V' = V (T - SAT) / (T - SAT')`` between their least and most
    airflow. Rooms with reheat on keep theirs by heat: less by ``fs V`` for each degree. All others follow the supply
    air. Fan power goes with a power of airflow, fan heat with fan power. Mixed air follows return air by the share that
    is no outdoor air; an economizer that holds it keeps on doing so down to the outdoor temperature. The load of the
    coil is the sensible one alone: moisture that is left in rooms is no saving.
    """
    flow, fs = read.flow_cfm, read.fs
    drop = read.room_f - read.sat_f[:, None]
    after = drop - step_f
    least, most = read.least_cfm * (1.0 + AT_END_FRAC), read.most_cfm * (1.0 - AT_END_FRAC)
    cools = ~read.heats & (flow > least) & (drop > 0.0) & (after > 0.0)
    # At its most a room follows warmer air; colder air lets its airflow fall.
    cools &= (flow < most) | (step_f < 0.0)
    carried = np.where(cools, drop / np.where(cools, after, 1.0), 1.0)
    moved = np.where(cools, np.clip(flow * carried, np.minimum(read.least_cfm, flow), np.maximum(read.most_cfm, flow)),
                     flow)  # fmt: skip
    follows = ~(cools | read.heats)
    weight = read.multiplier
    before, now = flow @ weight, moved @ weight
    rooms = (flow * read.room_f) @ weight / np.where(before > 0.0, before, 1.0)
    rooms_after = (moved * (read.room_f + step_f * follows)) @ weight / np.where(now > 0.0, now, 1.0)
    # Leaks and the like stay as they are.
    supply = np.maximum(read.supply_cfm + now - before, 0.0)
    share = supply / np.where(read.supply_cfm > 0.0, read.supply_cfm, 1.0)
    fan_kw = read.fan_kw * share**figures.fan_exponent
    rise = 1000.0 * BTU_PER_WH * fan_kw / (fs * np.where(supply > 0.0, supply, 1.0))
    target = read.sat_f + step_f - rise

    oa = read.oa_frac
    new_oa = np.clip(oa / np.where(share > 0.0, share, 1.0), 0.0, 1.0) if figures.oa_by_flow else oa
    # At full outdoor air nothing is left of the return.
    new_oa = np.where(oa >= 1.0 - AT_END_FRAC, oa, new_oa)
    returned = np.where(
        oa < 1.0 - AT_END_FRAC, (read.mat_f - oa * read.oat_f) / np.maximum(1.0 - oa, AT_END_FRAC), read.oat_f
    )
    mixed = new_oa * read.oat_f + (1.0 - new_oa) * (returned + rooms_after - rooms)
    mixed = np.where(oa >= 1.0 - AT_END_FRAC, read.mat_f, mixed)
    was_target = read.sat_f - 1000.0 * BTU_PER_WH * read.fan_kw / (
        fs * np.where(read.supply_cfm > 0.0, read.supply_cfm, 1.0)
    )
    free = read.economizing & (np.abs(read.mat_f - was_target) < NO_COIL_F)
    mixed = np.where(free, np.maximum(target, read.oat_f), mixed)

    load = fs * supply * np.maximum(mixed - target, 0.0) / 1000.0
    heat = -fs * step_f * ((flow * read.heats) @ weight) / 1000.0
    if figures.holds_by_heat:
        heat = heat + fs * supply * np.maximum(target - mixed, 0.0) / 1000.0
    return (
        fan_kw * prices.electricity_usd_kwh
        + load * figures.cooling_usd_kbtu(prices)
        + heat * figures.heat_usd_kbtu(prices)
    )


def cheaper(colder, stays, warmer) -> np.ndarray:
    """Which way is cheaper: -1 colder, 0 neither, 1 warmer. Costs and the answer (R,)"""
    down, up = stays - colder, stays - warmer
    way = np.where(up > down, 1.0, -1.0)
    return np.where(np.maximum(up, down) > LEAST_GAIN_USD_H, way, 0.0)


def direction(read: Readings, figures: Figures, prices, step_f: float) -> np.ndarray:
    """Which way the controller moves: -1 colder, 0 stays, 1 warmer. (R,)"""
    return cheaper(*(cost_usd_h(read, figures, prices, step) for step in (-step_f, 0.0, step_f)))


def settled_f(ways_of, low_f, top_f, step_f: float) -> np.ndarray:
    """Setpoint at which the controller comes to rest between two ends. (R,) [degF]

    Parameters
    ----------
    ways_of : callable
        Which way it moves (R,) at supply temperatures (R,).
    low_f, top_f : ndarray (R,)

    Notes
    -----
    Halves the range until it is smaller than a step: the rest is where it moves up and down. Of several places of
    rest one is found, as the controller comes to one of them by where it starts.
    """
    low, top = np.array(low_f, dtype=float), np.array(top_f, dtype=float)
    first, last = low.copy(), top.copy()
    widest = float(np.max(top - low, initial=0.0))
    for _ in range(int(np.ceil(np.log2(max(widest / step_f, 1.0)))) + 1):
        middle = 0.5 * (low + top)
        way = ways_of(middle)
        low, top = np.where(way >= 0.0, middle, low), np.where(way <= 0.0, middle, top)
    found = 0.5 * (low + top)
    return np.where(top >= last, last, np.where(low <= first, first, found))


class CostSeekingSat(SatStrategy):
    """Supply air by a controller that tries a step either way on its own estimate of the cost."""

    name = "cost_seeking"
    words = "cost-seeking"
    about = "a controller that estimates the cost a step warmer and colder and moves the cheaper way"
    note = (
        "The cost-seeking supply temperature at rest is where the controller's own estimate of cost favours neither "
        "step; what it reaches of the least cost, hour by hour and with wrong figures, the run at time steps tells "
        "(--as-run)."
    )
    resets = True
    listens = True
    held = True
    seeks = True

    def setpoint_f(self, record, rows, top_f):
        if rows.held_sat is not None:
            return np.asarray(rows.held_sat, dtype=float)
        unit, c = rows.unit, rows.conditions
        figures, prices = Figures.of(unit, record), prices_at(unit.prices, c.rate_period)
        low = np.full(c.oat_f.shape, float(record.min_f))
        top = self.asked_f(record, rows, top_f)

        def ways(sat_f):
            return direction(readings_at_rest(rows, sat_f), figures, prices, record.step_f)

        return settled_f(ways, low, top, record.step_f)

    def asked_f(self, record, rows, top_f):
        top = np.maximum(np.broadcast_to(top_f, rows.conditions.oat_f.shape), record.min_f)
        settled, colder = settled_together_f(rows, record, top)
        return settled - colder

    def of_step_f(self, record, rows, loop_f, top_f):
        inside = np.maximum(np.minimum(loop_f, top_f), record.min_f)
        return np.broadcast_to(inside, rows.conditions.oat_f.shape)

    def limited(self, record, rows, sat_f):
        high = self.range(record)[1]
        return (sat_f >= rows.limits.max_f - 1e-9) & (rows.limits.max_f < high - 1e-9)

    def say(self, record):
        return (
            f"{super().say(record)}, a step of {record.step_f:g} °F tried either way every {record.period_min:g} "
            f"minutes, {record.ignored_requests:g} requests ignored"
        )

    def formula(self, record, sheet):
        # No formula follows the controller: the setpoints of the run are held as values.
        return sheet.values("sat_held", "Supply air where the cost estimate rests (value block)", "°F")


def readings_at_rest(rows, sat_f) -> Readings:
    """What the controller reads in rows with rooms at rest at supply temperatures (R,)."""
    unit, c, loads = rows.unit, rows.conditions, rows.loads
    state = evaluate(
        unit,
        c,
        loads,
        sat_f,
        rows.dsp_of_sat(c, loads, sat_f),
        resets_pressure=rows.resets_pressure,
        dsp_of_sat=rows.dsp_of_sat,
    )
    zones = zones_of(unit, c, loads, state)
    return readings(unit, loads, state, zones, zones.reheat_btuh > 0.0, c.oat_f)


def readings(unit: Unit, loads: ZoneLoads, state, zones, heats, oat_f) -> Readings:
    """From a state of rows and their zones; ``heats`` (R, Z) where reheat is on."""
    return Readings(
        flow_cfm=zones.flow_cfm,
        least_cfm=loads.min_cfm,
        most_cfm=np.broadcast_to(unit.zones.max_cfm, zones.flow_cfm.shape),
        room_f=zones.room_f,
        heats=heats,
        multiplier=unit.zones.multiplier,
        supply_cfm=state.flow_cfm,
        fan_kw=state.fan_kw,
        sat_f=state.sat_f,
        mat_f=state.mat_f,
        oat_f=oat_f,
        oa_frac=state.oa_frac,
        economizing=state.economizing > 0.0,
        fs=float(loads.fs),
    )


SAT = CostSeekingSat()
