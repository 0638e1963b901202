"""Representative hours of a project: what they must reproduce, and the choice itself.

The rows are chosen once, from *reference settings*: pairs of supply temperature and duct
pressure that span what strategies may ask for. Hours that give the right cost of every end
use at all of them give it for the strategies between them as well. The candidates of the
project are among the references too, with what the hourly run found for them, so that its
own comparison is as near as rows can be; the others keep the rows good for what is edited
later and for strategies that nobody has named yet. A candidate of the project, or one whose
setpoints happen to be those of a reference, is no evidence of that.

The settings at constant supply temperature are evaluated with the model. Those that lie
between them, and those whose supply temperature moves (with outdoor temperature, with
demand, to the least cost), are read from them: straight between neighbours, with a step
where mechanical cooling stops. They need little further work, and to be right only in which
hours they tell apart.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import fields, replace

import numpy as np

from .bins import RowSelection, representative_rows
from .dataclass import dataclass
from .end_uses import END_USES, ENERGY_KEYS
from .inputs.schema import fields_of
from .model.air_handler import economizer_allowed
from .model.loads import ZoneLoads, zone_loads
from .model.system import Floating, RowState, evaluate, heating_enabled
from .model.terminals import cooling_flow_cfm, requested_flow_cfm
from .model.unit import Unit
from .parallel import at_once, in_order
from .rates import prices_at
from .strategies.choose import resets_pressure, setpoints
from .strategies.demand import outdoor_envelope_f, settled_dsp_inwc, settled_sat_f
from .strategies.limits import sat_limits
from .strategies.registry import sat_strategy
from .strategies.tables import line

#: Constant supply temperatures evaluated with the design duct pressure, and with that of
#: demand. Thresholds of plant and economizer lie at other hours for every temperature, so
#: fewer let errors between them grow; more leave the rows less freedom for the rest.
DESIGN_PRESSURE_SATS, DEMAND_PRESSURE_SATS = 12, 8
#: Supply temperatures read between neighbours at the design duct pressure; and, with an
#: economizer that shuts the plant off, at that of demand as well: its switching moves whole
#: degrees of outdoor temperature, many hours, at once.
READ_BETWEEN = 2
#: A differential economizer compares with the return air, which differs a little from setting
#: to setting: shifts of the outdoor temperature for which its hours are held too [degF], and
#: what such an hour counts, as a share of the mean cost of an hour. Tuned on seventeen projects.
ECONOMIZER_SHIFTS_F, ECONOMIZER_WORTH_FRAC = (-2.0, -1.0, -0.5, 0.5, 1.0, 2.0), 0.1
#: Edits that rows must bear: limits of supply temperature, and internal gains. [degF, factor]
EDIT_MARGIN_F, EDIT_GAINS = 3.0, 1.2
#: Outdoor temperatures around which a reset by outdoor air falls from its warmest to its
#: coldest supply temperature, and over how much. [degF]
LINE_MIDDLES_F, LINE_SPAN_F = (40.0, 48.0, 56.0, 64.0, 72.0), 8.0
#: Outdoor temperatures between which a reset of duct pressure by outdoor air rises to design. [degF]
DSP_LINE_F = (48.0, 85.0)
#: Step of the search for the cheapest supply temperature of an hour. [degF]
SEARCH_STEP_F = 1.0
#: Requests that demand ignores, and the outdoor temperatures between which its range narrows.
DEMANDS = ((3.0, 57.0, 72.0), (5.0, 50.0, 80.0), (0.0, 55.0, 75.0))
#: Requests that demand of duct pressure ignores.
IGNORED_REQUESTS = 2.0
#: Least share of its default price at which an energy counts, however little it costs.
LEAST_WORTH_FRAC = 0.25
#: Place among the other settings of the one by demand.
BY_DEMAND = 4
#: Distances at which the choice of a strategy in one hour says little of that in another: of
#: outdoor temperature [degF], cooling airflow [of its standard deviation], humidity ratio [lb/lb].
#: Tuned with ``bins._LOCAL_WEIGHT``; half and twice of each are nearly as good.
ALIKE_OAT_F, ALIKE_FLOW, ALIKE_HUMIDITY = 3.0, 0.5, 0.003
#: Places of the cooling plant in ``end_use_costs``: compressors, pumps and tower, purchased.
_COOLING_PLANT = tuple(
    place for place, key in enumerate(ENERGY_KEYS) if key in ("cooling_kwh", "pump_tower_kwh", "purchased_cooling_kbtu")
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Setting:
    """A reference: setpoints (R,) of the running hours [degF, in. w.c.], whether duct pressure is reset, room loads,
    and the pressure strategy where it depends on the supply temperature (see ``system.evaluate``); then ``dsp_inwc`` is
    what it gives."""

    sat_f: np.ndarray
    dsp_inwc: np.ndarray | None
    resets: bool
    loads: ZoneLoads
    dsp_of_sat: Callable | None = None


def sat_range_f(project) -> tuple[float, float]:
    """Coldest and warmest supply temperature that any candidate may ask for. [degF]"""
    low, high = [project.limits.sat_min_f], [project.limits.sat_max_f]
    for record in (candidate.sat for candidate in project.candidates):
        coldest, warmest = sat_strategy(record).range(record)
        low.append(coldest)
        high.append(warmest)
    return float(min(low)), float(max(high))


def reference_settings(project, unit: Unit, rows, moving):
    """Settings that are evaluated with the model.

    Parameters
    ----------
    project : Project
    unit : Unit
    rows : Rows
        Hours; ``on`` (conditions of the R running ones) and ``loads`` are used.
    moving : list of ndarray (R,)
        From :func:`moving_sats_f`. [degF]

    Returns
    -------
    dict of str to list of Setting
        ``design`` and ``demand``: constant supply temperatures, ascending and evenly spaced,
        at the design duct pressure (one step beyond the range of the resets at both ends) and
        at that of demand. ``other``: the baseline as it is (without operators' overrides); the
        baseline's and the coldest supply temperature at low duct pressures; the warmest at the
        lowest; at the duct pressure of demand a supply temperature by demand, the warmest that
        the limits allow, one between it and the coldest, and one a little above the coldest
        with more requests ignored; the baseline's at a duct pressure by outdoor temperature;
        and for later edits a supply temperature warmer than all, and that which demand
        settles at with larger internal gains.
    """
    on = rows.on
    design = float(unit.fan.design_dsp_inwc)
    low, high = sat_range_f(project)
    baseline = next(c for c in project.candidates if c.id == project.baseline_id)
    found = setpoints(unit, baseline, on, rows.loads)
    lowest = float(unit.limits.dsp_min_inwc)
    louder = zone_loads(_with_gains(unit, EDIT_GAINS), on)

    def constant(value):
        return np.full(on.oat_f.shape, float(value))

    def fixed(sat, dsp):
        return Setting(sat_f=sat, dsp_inwc=constant(dsp), resets=False, loads=rows.loads)

    def demanded(sat, loads=rows.loads, ignored=IGNORED_REQUESTS, least=lowest):
        def settles(conditions, loads, sat_f):
            enabled = heating_enabled(unit, conditions.oat_f, conditions.fan_on)
            requested = requested_flow_cfm(unit, loads, sat_f, enabled)
            return settled_dsp_inwc(
                unit, requested, cooling_flow_cfm(unit, loads, sat_f), ignored, least, _highest_dsp(unit)
            )

        return Setting(sat_f=sat, dsp_inwc=None, resets=True, loads=loads, dsp_of_sat=settles)

    # The ends of the range are among them: resets rest there for many hours.
    step = (high - low) / (DESIGN_PRESSURE_SATS - 3)
    by_demand, ceiling = moving[len(LINE_MIDDLES_F) + 1], moving[-1]
    first_f, last_f = DSP_LINE_F
    by_outdoor_air = line(on.oat_f, ((first_f, 0.5 * (lowest + design)), (last_f, design)))
    return {
        "design": [fixed(constant(v), design) for v in np.linspace(low - step, high + step, DESIGN_PRESSURE_SATS)],
        "demand": [demanded(constant(v)) for v in np.linspace(low, high, DEMAND_PRESSURE_SATS)],
        "other": [
            Setting(sat_f=found.sat_f, dsp_inwc=found.dsp_inwc, resets=resets_pressure(baseline.dsp), loads=rows.loads),
            fixed(found.sat_f, 0.5 * (design + lowest)),
            fixed(constant(low), 0.4 * design + 0.6 * lowest),
            Setting(sat_f=constant(high), dsp_inwc=constant(lowest), resets=True, loads=rows.loads),
            demanded(by_demand),
            demanded(ceiling),
            demanded(0.4 * low + 0.6 * ceiling),
            demanded(
                constant(low + 0.15 * (high - low)), ignored=2.0 * IGNORED_REQUESTS, least=0.5 * lowest + 0.25 * design
            ),
            Setting(sat_f=found.sat_f, dsp_inwc=by_outdoor_air, resets=True, loads=rows.loads),
            fixed(constant(high + EDIT_MARGIN_F), design),
            demanded(settled_sat_f(unit, louder, DEMANDS[0][0], low, high), louder),
        ],
    }


def _with_gains(unit: Unit, factor: float) -> Unit:
    """The unit with all internal gains times a factor; its people multiply as well."""
    groups = unit.groups
    return replace(
        unit,
        groups=replace(
            groups,
            people_ft2=groups.people_ft2 / factor,
            lights_btuh_ft2=groups.lights_btuh_ft2 * factor,
            equipment_btuh_ft2=groups.equipment_btuh_ft2 * factor,
        ),
    )


def _highest_dsp(unit: Unit) -> float:
    return float(unit.fan.design_dsp_inwc if unit.limits.dsp_max_inwc is None else unit.limits.dsp_max_inwc)


def moving_sats_f(project, unit: Unit, rows) -> list[np.ndarray]:
    """Supply temperatures of the references that move. (R,) each [degF]

    By outdoor temperature (``LINE_MIDDLES_F``), by demand without and with its outdoor-air
    envelope (``DEMANDS``), and the warmest that the project's limits (humidity, zones that must stay
    cold) allow, which caps the others.
    """
    low, high = sat_range_f(project)
    half, oat = 0.5 * LINE_SPAN_F, rows.on.oat_f
    ceiling = np.broadcast_to(sat_limits(unit, rows.on, rows.loads, low, high).max_f, oat.shape)
    moving = [line(oat, ((middle - half, high), (middle + half, low))) for middle in LINE_MIDDLES_F]
    settled = [settled_sat_f(unit, rows.loads, ignored, low, high) for ignored, _, _ in DEMANDS]
    moving += [settled[0], *(outdoor_envelope_f(oat, sat, low, a, b) for sat, (_, a, b) in zip(settled, DEMANDS))]
    return [*(np.minimum(sat, ceiling) for sat in moving), ceiling]


@dataclass(frozen=True, slots=True, kw_only=True)
class _Answer:
    """What is kept of the model's answer to a reference setting: all of it would take some hundred megabytes.

    ``set_f`` supply temperature that is set, of the first row where it moves [degF] · ``cost`` (7, R) of the end uses
    [USD/h] · ``cooling_kbtuh`` (R,) load of the coil while mechanical cooling runs, else 0 · ``rise_f`` (R,) from coil
    to supply [degF] · ``rat_f`` (R,) return air [degF] · ``room_humidity_ratio`` (R,) [lb/lb].
    """

    set_f: float
    cost: np.ndarray
    cooling_kbtuh: np.ndarray
    rise_f: np.ndarray
    rat_f: np.ndarray
    room_humidity_ratio: np.ndarray

    @classmethod
    def of(cls, unit: Unit, on, setting: Setting, floating: Floating | None) -> _Answer:
        dsp_inwc, dsp_of_sat, loads = setting.dsp_inwc, setting.dsp_of_sat, setting.loads.for_once()
        if dsp_inwc is None and dsp_of_sat is not None:
            dsp_inwc = dsp_of_sat(on, loads, setting.sat_f)
        state = evaluate(
            unit,
            on,
            loads,
            setting.sat_f,
            dsp_inwc,
            resets_pressure=setting.resets,
            dsp_of_sat=dsp_of_sat,
            floating=floating,
        )
        runs = state.cooling_kw + state.purchased_cooling_kbtuh > 0.0
        return cls(
            set_f=float(setting.sat_f[0]),
            cost=end_use_costs(prices_at(unit.prices, on.rate_period), state),
            cooling_kbtuh=np.where(runs, state.cooling_kbtuh, 0.0),
            rise_f=state.sat_f - state.coil_leaving_f,
            rat_f=state.rat_f,
            room_humidity_ratio=state.room_humidity_ratio,
        )

    @classmethod
    def joined(cls, blocks: Sequence[_Answer]) -> _Answer:
        """Of rows that follow one another."""
        by_row = [f.name for f in fields(cls) if f.name != "set_f"]
        whole = {name: np.concatenate([getattr(block, name) for block in blocks], axis=-1) for name in by_row}
        return cls(set_f=blocks[0].set_f, **whole)


@dataclass(frozen=True, slots=True, kw_only=True)
class Answers:
    """The model's answers to all reference settings in a block of rows.

    ``moving`` supply temperatures of :func:`moving_sats_f` [degF] · ``answers`` by the names of
    :func:`reference_settings` · ``unedited`` which of them are at the loads as they are.
    """

    moving: list[np.ndarray]
    answers: dict[str, list[_Answer]]
    unedited: dict[str, list[bool]]


def reference_answers(project, unit: Unit, rows) -> list[Answers]:
    """The model's answers to all reference settings in the running rows, block by block: what :func:`choose_rows`
    begins with, and most of its work."""
    side_by_side = at_once(len(rows.running) * len(unit.zones))
    return [_answers(project, unit, block, side_by_side) for _, block in rows.blocks()] if len(rows.running) else []


def _answers(project, unit: Unit, rows, side_by_side: int) -> Answers:
    """Answers in rows that are worked on at once."""
    unit = replace(unit, counts=False)  # costs are asked for alone
    moving = moving_sats_f(project, unit, rows)
    settings = reference_settings(project, unit, rows, moving)
    # At one pressure strategy rows that float end at the same temperature whatever the setpoint.
    floating = {name: Floating(len(rows.running)) for name in ("design", "demand")}
    # Which of them finds it must not go by chance, so these are evaluated one after the other.
    pieces = [(name, settings[name]) for name in ("demand", "design")] + [("other", [one]) for one in settings["other"]]
    found = in_order(
        lambda piece: [_Answer.of(unit, rows.on, setting, floating.get(piece[0])) for setting in piece[1]],
        pieces,
        side_by_side,
    )
    answers: dict[str, list[_Answer]] = {name: [] for name in settings}
    for (name, _), of_piece in zip(pieces, found, strict=True):
        answers[name] += of_piece
    unedited = {name: [setting.loads is rows.loads for setting in listed] for name, listed in settings.items()}
    return Answers(moving=moving, answers=answers, unedited=unedited)


@dataclass(frozen=True, slots=True, kw_only=True)
class Columns:
    """What rows must reproduce; see ``bins.representative_rows``.

    ``match`` (H, M): cost of all end uses and of each at every reference, and hours of a differential
    economizer at a cost [USD/h] · ``scale`` (M,): mean annual cost of all end uses together, what
    an error of a column counts against [USD] · ``variation`` (H, V): those costs at settings less those of
    the mean setting, over the scale [1/h] · ``place`` (H, 3): coordinates in which strategies treat
    near hours alike · ``jump`` (H,): see :meth:`_Table.jump`, over the scale [1/h]. All are 0 while the air handler is
    off.
    """

    match: np.ndarray
    scale: np.ndarray
    variation: np.ndarray
    place: np.ndarray
    jump: np.ndarray


def match_columns(project, unit: Unit, rows, candidates=(), asked: Sequence[Answers] | None = None) -> Columns:
    """Hourly cost of every end use at every reference setting.

    Parameters
    ----------
    project : Project
    unit : Unit
    rows : Rows
        H hours, of which R run.
    candidates : sequence of ndarray (7, R)
        Costs of the end uses of candidates (:func:`end_use_costs`). [USD/h]
    asked : list of Answers, optional
        From :func:`reference_answers`, where they were found before.

    Returns
    -------
    Columns
    """
    hours = len(rows.conditions.oat_f)
    nothing = Columns(
        match=np.zeros((hours, 1)),
        scale=np.ones(1),
        variation=np.zeros((hours, 0)),
        place=np.zeros((hours, 0)),
        jump=np.zeros(hours),
    )
    if len(rows.running) == 0:
        return nothing
    asked = reference_answers(project, unit, rows) if asked is None else asked
    moving = [np.concatenate(same) for same in zip(*(block.moving for block in asked), strict=True)]
    evaluated = {
        name: [_Answer.joined(same) for same in zip(*(block.answers[name] for block in asked), strict=True)]
        for name in asked[0].answers
    }
    costs = {name: np.stack([answer.cost for answer in listed]) for name, listed in evaluated.items()}
    used = np.any([np.any(c != 0.0, axis=(0, 2)) for c in costs.values()], axis=0)
    if not used.any():
        return nothing
    costs = {name: c[:, used] for name, c in costs.items()}
    plant = np.isin(np.arange(len(used)), _COOLING_PLANT)[used]

    columns = [*costs["design"], *costs["demand"], *costs["other"]]
    coldest, jumps = sat_range_f(project)[0], []
    for name in ("design", "demand"):
        table = _Table.of(evaluated[name], costs[name], plant, rows.on.oat_f)
        jumps.append(table.jump())
        columns += [table.at(sat) for sat in moving]
        columns.append(table.cheapest(coldest, moving[-1]))
        # Beyond the range of the resets the evaluated ones suffice.
        first, last = (1.0, len(costs[name]) - 2.0) if name == "design" else (0.0, len(costs[name]) - 1.0)
        switching = unit.economizer.type != "none" and not unit.economizer.integrated
        if name == "design" or switching:
            between = np.arange(first, last, 1.0 / (READ_BETWEEN + 1))
            columns += [
                table.at(table.first_f + table.step_f * place) for place in between if abs(place - round(place)) > 1e-6
            ]
    count = sum(len(c) for c in costs.values())
    total = sum(float((c @ rows.on.hours).sum()) for c in costs.values()) / count
    worth = ECONOMIZER_WORTH_FRAC * total / float(rows.on.hours.sum())
    open_hours = []
    for answer in (evaluated["demand"][0], evaluated["other"][BY_DEMAND]):
        open_hours.append(worth * _economizer_hours(unit, rows.on, answer))
    # Of the loads as they are: what an edit changes is not for a strategy to choose.
    ways = np.concatenate([costs[name][asked[0].unedited[name]] for name in costs])

    def of_all_hours(running):
        out = np.zeros((hours, len(running)))
        out[rows.running] = running.T
        return out

    match = of_all_hours(
        np.concatenate([*(_with_total(c) for c in columns), *open_hours, *(_with_total(c) for c in candidates)])
    )
    return Columns(
        match=match,
        scale=np.full(match.shape[1], total),
        place=of_all_hours(_places(unit, rows, coldest)),
        variation=of_all_hours(np.concatenate([_with_total(c) for c in ways - ways.mean(axis=0)]) / total),
        jump=of_all_hours(np.max(jumps, axis=0, keepdims=True) / total)[:, 0],
    )


def _with_total(cost: np.ndarray) -> np.ndarray:
    """Cost of all end uses together, which savings are made of, and of each. (E, R) to (1 + E, R)"""
    return np.concatenate([cost.sum(axis=0, keepdims=True), cost])


def _places(unit: Unit, rows, sat_f: float) -> np.ndarray:
    """Outdoor temperature, cooling airflow at a supply temperature and humidity, over the distances of like hours. (3,
    R)"""
    flow = np.concatenate(
        [
            cooling_flow_cfm(unit, block.loads, np.full(len(block.on), sat_f)) @ unit.zones.multiplier
            for _, block in rows.blocks()
        ]
    )
    return np.stack(
        [
            rows.on.oat_f / ALIKE_OAT_F,
            flow / (ALIKE_FLOW * max(float(flow.std()), 1.0)),
            rows.on.humidity_ratio / ALIKE_HUMIDITY,
        ]
    )


def _economizer_hours(unit: Unit, on, answer: _Answer) -> np.ndarray:
    """1 in hours in which a differential economizer may open, by shift of the outdoor temperature. (shifts or 0, R)"""
    if not unit.economizer.type.startswith("differential") or unit.economizer.stuck_frac is not None:
        return np.zeros((0, len(on.oat_f)))
    return np.stack(
        [
            economizer_allowed(
                unit, on.oat_f + shift, on.humidity_ratio, answer.rat_f, answer.room_humidity_ratio
            ).astype(float)
            for shift in ECONOMIZER_SHIFTS_F
        ]
    )


def end_use_costs(prices, state: RowState) -> np.ndarray:
    """Cost of each of the U end uses of ``end_uses``. (U, R) [USD/h]"""
    return np.stack([sum(getattr(state, rate) for rate in use.rates) * _worth(prices, use.price) for use in END_USES])


def _worth(prices, name: str):
    """What a unit of energy counts for: its price, but at least a share of the usual one, since an
    energy that costs nothing is reported as well and its price may be edited later."""
    usual = fields_of("prices")[name].default
    assert isinstance(usual, float), "prices of energy have a default"
    return np.maximum(getattr(prices, name), LEAST_WORTH_FRAC * usual)


@dataclass(frozen=True, slots=True, kw_only=True)
class _Table:
    """Costs at evenly spaced supply temperatures, to be read at any other.

    ``first_f``, ``step_f`` [degF] · ``cost`` (K, E, R) [USD/h] · ``plant`` (E,) bool: end uses of the
    cooling plant · ``stop_f`` (K - 1, R) supply temperature between neighbours at which mechanical
    cooling stops, NaN where it does not. [degF]
    """

    first_f: float
    step_f: float
    cost: np.ndarray
    plant: np.ndarray
    stop_f: np.ndarray

    @classmethod
    def of(cls, answers, cost, plant, oat_f) -> _Table:
        """Table of answers at ascending supply temperatures, with their costs of the end uses that occur.

        Cooling stops where the load, straight on from the two colder neighbours, reaches zero.
        If it does not before the next neighbour, an economizer that shuts the plant off stops it:
        at the supply temperature whose coil temperature is that of the outdoor air, else midway.
        """
        sats_f, load = [answer.set_f for answer in answers], [answer.cooling_kbtuh for answer in answers]
        step = sats_f[1] - sats_f[0]
        stop = np.full((len(answers) - 1, len(oat_f)), np.nan)
        for k in range(len(answers) - 1):
            left, right = sats_f[k], sats_f[k + 1]
            fall = np.maximum(load[k - 1] - load[k], 0.0) if k else np.zeros(len(oat_f))
            runs_out = np.where(fall > 0.0, left + step * load[k] / np.where(fall > 0.0, fall, 1.0), left + 0.5 * step)
            outdoors = oat_f + answers[k].rise_f
            else_f = np.where((outdoors > left) & (outdoors < right), outdoors, left + 0.5 * step)
            stops = (load[k] > 0.0) & (load[k + 1] <= 0.0)
            stop[k] = np.where(stops, np.where(runs_out < right, runs_out, else_f), np.nan)
        return cls(first_f=sats_f[0], step_f=step, cost=cost, plant=plant, stop_f=stop)

    def at(self, sat_f) -> np.ndarray:
        """Costs (E, R) at a supply temperature, a number or (R,); held at the ends of the table. [USD/h]"""
        rows = self.cost.shape[2]
        sat_f = np.broadcast_to(np.asarray(sat_f, dtype=float), (rows,))
        place = np.clip((sat_f - self.first_f) / self.step_f, 0.0, len(self.cost) - 1.0)
        below = np.minimum(place.astype(np.int64), len(self.cost) - 2)
        share = place - below

        def pick(k):
            return np.take_along_axis(self.cost, k[None, None, :], axis=0)[0]

        colder, warmer = pick(below), pick(below + 1)
        out = colder + share * (warmer - colder)
        stop = self.stop_f[below, np.arange(rows)]
        steps = np.flatnonzero(~np.isnan(stop))
        if len(steps):
            # On the colder side of the stop the plant goes on as between the two colder
            # neighbours, and does not rise; on the warmer side it is what it is without cooling.
            part = np.ix_(self.plant, steps)
            at_colder = colder[part]
            slope = at_colder - self.cost[np.maximum(below - 1, 0)[steps], :, steps].T[self.plant]
            going_on = np.clip(at_colder + share[steps] * slope, 0.0, at_colder)
            out[part] = np.where(sat_f[steps] < stop[steps], going_on, warmer[part])
        return out

    def jump(self) -> np.ndarray:
        """By how much cost changes at most between neighbouring supply temperatures, beyond the next largest of these
        changes. (R,) [USD/h]"""
        steps = np.partition(np.abs(np.diff(self.cost.sum(axis=1), axis=0)), -2, axis=0)
        return steps[-1] - steps[-2]

    def cheapest(self, low_f, high_f) -> np.ndarray:
        """Least costs (E, R) from a supply temperature up to that of each row: what an optimum asks for. [USD/h]"""
        best = self.at(low_f)
        total = best.sum(axis=0)
        steps = int(np.ceil((np.max(high_f) - low_f) / SEARCH_STEP_F))
        for k in range(1, steps + 1):
            cost = self.at(np.minimum(low_f + k * SEARCH_STEP_F, high_f))
            now = cost.sum(axis=0)
            best, total = np.where(now < total, cost, best), np.minimum(now, total)
        return best


def choose_rows(
    project, unit: Unit, rows, group_id, candidates=(), asked: Sequence[Answers] | None = None
) -> RowSelection:
    """Representative hours of the project's grouping.

    Parameters
    ----------
    project : Project
    unit : Unit
    rows : Rows
        All hours.
    group_id : ndarray (H,), int
        From ``bins.group_keys``.
    candidates : sequence of ndarray (7, R), optional
        Costs of the end uses of candidates in the R running hours (:func:`end_use_costs`), to
        be reproduced as well. [USD/h]
    asked : list of Answers, optional
        From :func:`reference_answers`, where they were found before.

    Notes
    -----
    Totals are reproduced in each rate period, whether it is a key of the groups or not.
    """
    columns = match_columns(project, unit, rows, candidates, asked)
    return representative_rows(
        rows.conditions,
        group_id,
        columns.match,
        scale=columns.scale,
        period=rows.conditions.rate_period,
        variation=columns.variation,
        place=columns.place,
        jump=columns.jump,
    )
