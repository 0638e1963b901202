"""Demand resets: where trim and respond settles.

Every zone has closed-form thresholds at which it sends its first, second and third request
(Guideline 36: 5.6.8.1 for supply air temperature, 5.6.8.2 for duct pressure), with the loops
of its room at rest: wound up where the room is short of air. Trim and
respond moves the setpoint until the requests of all zones just equal those ignored, so it
settles at one of these thresholds: the first of the pooled list that takes the sum of
requests above the ignored ones. A first request latches until the loop or damper falls
to its release point; the setpoint then swings between the two, and the mean of the
settled setpoints at both edges represents the mean of the swing.

Zones that the reset of duct pressure leaves short of air grow warm and ask for colder air: both
resets settle together.
"""

from __future__ import annotations

import numpy as np

from ..model.loads import ZoneLoads
from ..model.system import full_supply, heating_enabled, starved_rows
from ..model.terminals import available_flow_cfm, cooling_flow_cfm
from ..model.unit import Unit, beside_zones, damper_flow_frac, rows_of
from .strategy import DspStrategy, SatRows, SatStrategy, Strategy

# Guideline 36 5.6.8.1: two and three requests at these temperatures above the cooling setpoint.
SECOND_REQUEST_F, THIRD_REQUEST_F = 3.0, 5.0
# Guideline 36 5.6.8.2: two and three requests below these shares of the airflow setpoint.
SECOND_REQUEST_FLOW, THIRD_REQUEST_FLOW = 0.7, 0.5
# The most requests of one kind that a zone sends.
MOST_REQUESTS = 3.0
# Sums of weights that differ by less are equal: added in another order they are not the same to the last digit.
REQUEST_SLACK = 1e-9
# Rounds in which both resets are brought together, and the fall of supply air in one of them below which they are: a
# tenth of a trim of the guideline. [degF]
STARVED_ROUNDS, STARVED_F = 12, 0.02
# A supply temperature above any that is ever reached: a zone that asks for nothing.
NEVER_F = 1000.0
# Rows times zones below which calls of functions take longer than numbers.
_FEW_NUMBERS = 8000


def settled(thresholds, weights, ignored):
    """The threshold at which pooled requests first exceed the ignored ones.

    Parameters
    ----------
    thresholds : ndarray (R, N)
        One per request; a request holds where the setpoint is below its threshold.
    weights : ndarray (N,)
        Requests that each represents, >= 0.
    ignored : float
        Requests that are ignored, >= 0.

    Returns
    -------
    ndarray (R,)
        The largest threshold with (sum of weights of thresholds at or above it) > ``ignored``;
        ``-inf`` where all requests together are ignored.
    """
    thresholds = np.asarray(thresholds, dtype=float)
    rows, n = thresholds.shape
    keep = weights > 0.0
    ignored = ignored + REQUEST_SLACK
    if not keep.any() or float(weights[keep].sum()) <= ignored:
        return np.full(rows, -np.inf)
    if not keep.all():
        thresholds, weights = thresholds[:, keep], weights[keep]
    n = thresholds.shape[1]
    # With weights of at least one only the largest few can matter.
    most = int(np.floor(ignored)) + 1 if weights.min() >= 1.0 else n
    if most < n:
        index = np.argpartition(-thresholds, most - 1, axis=1)[:, :most]
    else:
        index = np.broadcast_to(np.arange(n), (rows, n))
    values = np.take_along_axis(thresholds, index, axis=1)
    order = np.argsort(-values, axis=1, kind="stable")
    values = np.take_along_axis(values, order, axis=1)
    stacked = np.cumsum(np.take_along_axis(weights[index], order, axis=1), axis=1)
    first = np.argmax(stacked > ignored, axis=1)
    return values[np.arange(rows), first]


def _pool(first, second, third, weights, ignored):
    """Settled setpoint of three requests per zone; first requests must be the largest of a zone.

    With weights of at least one a few zones decide. The largest request left is taken away, its zone goes on with its
    next one, until those taken outweigh what is ignored: :func:`settled` of all, to the last digit, without sorting.
    """
    keep = weights > 0.0
    if not keep.all():
        first, second, third, weights = *(each.T[keep].T for each in (first, second, third)), weights[keep]
    limit = ignored + REQUEST_SLACK
    if not keep.any() or weights.min() < 1.0 or MOST_REQUESTS * float(weights.sum()) <= limit:
        return settled(np.concatenate([first, second, third], axis=1), np.concatenate([weights] * 3), ignored)
    value, zone = _largest(first)
    taken = weights[zone]
    going = np.flatnonzero(taken <= limit)
    zone, taken, left = zone[going], taken[going], rows_of(first, going)
    sent = np.zeros_like(left, dtype=np.int8)
    while going.size:
        here = np.arange(going.size)
        before, ends = sent[here, zone], (second[going, zone], third[going, zone])
        left[here, zone] = np.where(before == 0, np.maximum(*ends), np.where(before == 1, np.minimum(*ends), -np.inf))
        sent[here, zone] += 1
        value[going], zone = _largest(left)
        taken = taken + weights[zone]
        more = np.flatnonzero(taken <= limit)
        going, zone, taken = going[more], zone[more], taken[more]
        left, sent = rows_of(left, more), rows_of(sent, more)
    return value


def _largest(values) -> tuple[np.ndarray, np.ndarray]:
    """The largest value of each row (R, Z) and its first place. (R,) each

    Of many rows in half the time of ``argmax``, since the rows of a zone lie side by side in memory.
    """
    rows, count = values.shape
    if rows * count < _FEW_NUMBERS:
        place = values.argmax(axis=1)
        return values[np.arange(rows), place], place
    top = values.max(axis=1)
    from_end = np.arange(count, 0, -1, dtype=np.int8 if count < 128 else np.int32)
    return top, count - ((values == top[:, None]) * from_end).max(axis=1).astype(np.intp)


def edges(first, release, second, third, weights, left):
    """Settled setpoints at the asking and at the releasing edge, two arrays (R,); of :func:`settled` the rest."""
    return _pool(first, second, third, weights, left), _pool(release, second, third, weights, left)


def temperature_thresholds_f(unit: Unit, loads: ZoneLoads, most_cfm=None):
    """Supply air temperatures above which each zone sends requests.

    Parameters
    ----------
    most_cfm : ndarray (R, Z), optional
        Airflow that the duct pressure pushes through each open damper; without it every terminal reaches its maximum.
        [cfm]

    Returns
    -------
    first, first_release, second, third : ndarray (R, Z)
        Cooling loop at its asking and release points; room 3 and 5 degF above its cooling
        setpoint at full airflow. [degF] ``NEVER_F`` where the zone needs no cooling.

    Notes
    -----
    The loop represents flow between minimum and maximum: at share s it asks
    ``Vmin + s (Vmax - Vmin)``, which carries the load at
    ``SATz = Tcool - q(Tcool) / (fs V)``. A terminal that gets no more than ``V``, less than its loop asks for at its
    asking point, has its room warm and its loop wound up above the temperature at which ``V`` carries the load.
    """
    z, limits, fs = unit.zones, unit.limits, loads.fs
    gain = beside_zones(unit.air_handler.duct_gain_f)
    largest = z.max_cfm if most_cfm is None else np.minimum(z.max_cfm, most_cfm)

    def at_excess(excess):
        # In place, here and below: half of the time went into making arrays of hours by zones.
        load = loads.ua_btuh_f * excess
        np.subtract(loads.q_cool_btuh, load, out=load)
        never = ~(load > 0.0)
        load /= fs * largest
        np.subtract(loads.cool_f + excess, load, out=load)
        load -= gain
        np.copyto(load, NEVER_F, where=never)
        # A zone with hardly any span between minimum and maximum may be warm before its loop is.
        return np.maximum(load, first, out=load)

    first = _loop_threshold_f(unit, loads, limits.loop_ask_pct, most_cfm)
    release = _loop_threshold_f(unit, loads, limits.loop_release_pct, most_cfm)
    return first, release, at_excess(SECOND_REQUEST_F), at_excess(THIRD_REQUEST_F)


def asking_sat_f(unit: Unit, loads: ZoneLoads):
    """Supply air temperatures above which each zone sends its first request: of :func:`temperature_thresholds_f` the
    first. (R, Z) [degF]"""
    return _loop_threshold_f(unit, loads, unit.limits.loop_ask_pct)


def _loop_threshold_f(unit: Unit, loads: ZoneLoads, loop_pct, most_cfm=None):
    """Supply air temperatures that bring each zone's cooling loop to a point. (R, Z) [degF]"""
    warm = unit.zones.max_cfm - loads.min_cfm
    warm *= loop_pct / 100.0
    warm += loads.min_cfm
    if most_cfm is not None:
        np.minimum(warm, most_cfm, out=warm)
    warm *= loads.fs
    np.divide(loads.q_cool_btuh, warm, out=warm)
    np.subtract(loads.cool_f, warm, out=warm)
    warm -= beside_zones(unit.air_handler.duct_gain_f)
    np.copyto(warm, NEVER_F, where=~(loads.q_cool_btuh > 0.0))
    return warm


def pressure_thresholds_inwc(unit: Unit, requested_cfm, cooling_cfm):
    """Duct pressures below which each zone sends requests.

    Parameters
    ----------
    requested_cfm : ndarray (R, Z)
        Airflow setpoints of rooms that get what they ask for. [cfm]
    cooling_cfm : ndarray (R, Z)
        Airflow that holds the cooling setpoint (``terminals.cooling_flow_cfm``). [cfm]

    Returns
    -------
    first, first_release, second, third : ndarray (R, Z)
        Damper at its asking and release positions; flow at 70 % and 50 % of setpoint with
        the damper open. [in. w.c.]

    Notes
    -----
    A room that gets less than its cooling takes grows warm, and its loop raises the airflow
    setpoint until it is at the maximum. So below the pressure that passes the cooling
    airflow the setpoint to compare with is the maximum: a busy room short of a little air
    soon sends two or three requests.
    """
    z, limits = unit.zones, unit.limits
    widest = beside_zones(unit.index_dsp_inwc) * z.index_share
    full = _full_flow_inwc(unit, requested_cfm)
    cooling = cooling_cfm / z.max_cfm
    np.clip(cooling, 0.0, 1.0, out=cooling)
    cooling *= cooling
    cooling *= widest
    exponent = beside_zones(limits.damper_exponent)
    release = damper_flow_frac(limits.damper_release_pct / 100.0, exponent)

    def below(flow):
        warm = np.minimum(cooling, widest * flow**2)
        return np.maximum(full * flow**2, warm, out=warm)

    return (
        full / _asking_flow_frac(unit) ** 2,
        full / release**2,
        below(SECOND_REQUEST_FLOW),
        below(THIRD_REQUEST_FLOW),
    )


def asking_dsp_inwc(unit: Unit, requested_cfm):
    """Duct pressures below which each zone sends its first request: of :func:`pressure_thresholds_inwc` the first.
    (R, Z) [in. w.c.]"""
    full = _full_flow_inwc(unit, requested_cfm)
    full /= _asking_flow_frac(unit) ** 2
    return full


def _full_flow_inwc(unit: Unit, requested_cfm):
    """Duct pressure that passes the airflow setpoint through an open damper. (R, Z) [in. w.c.]"""
    z = unit.zones
    share = requested_cfm / z.max_cfm
    full = beside_zones(unit.index_dsp_inwc) * z.index_share * share
    full *= share
    return full


def _asking_flow_frac(unit: Unit):
    """Flow through a damper at its asking point, as a share of that of an open one."""
    return damper_flow_frac(unit.limits.damper_open_pct / 100.0, beside_zones(unit.limits.damper_exponent))


def _left_to_ignore(weights, asks_always, ignored):
    """Ignored requests left for honest zones once zones that always ask have taken theirs."""
    return ignored - MOST_REQUESTS * float(np.sum(weights * asks_always))


def settled_sat_f(unit: Unit, loads: ZoneLoads, ignored_requests, min_f, max_f, most_cfm=None):
    """Supply air temperature at which trim and respond settles, before the outdoor-air envelope.

    Parameters
    ----------
    ignored_requests : float
    min_f : float
    max_f : float or ndarray (R,)
        Range of the loop. [degF]
    most_cfm : ndarray (R, Z), optional
        As for :func:`temperature_thresholds_f`.

    Returns
    -------
    ndarray (R,)
        ``min_f`` where zones that always ask take more than what is ignored.
    """
    z = unit.zones
    rows = loads.q_cool_btuh.shape[0]
    left = _left_to_ignore(z.weight, z.asks_temperature, ignored_requests)
    if left < -REQUEST_SLACK:
        return np.full(rows, float(min_f))
    weights = np.where(z.asks_temperature, 0.0, z.weight)

    def find():
        thresholds = temperature_thresholds_f(unit, loads, most_cfm)
        # A request holds while the setpoint is above its threshold: the mirror image of pressure.
        first, release, second, third = (np.negative(each, out=each) for each in thresholds)
        return tuple(-edge for edge in edges(first, release, second, third, weights, left))

    # Ranges of loops differ by candidate, what zones ask for does not.
    known = loads.known if most_cfm is None else None
    ask, hold = find() if known is None else known.of(find, "settled", left)
    top = np.broadcast_to(np.asarray(max_f, dtype=float), (rows,))
    return 0.5 * (np.clip(ask, min_f, top) + np.clip(hold, min_f, top))


def colder_for_starved_f(unit: Unit, loads: ZoneLoads, ignored_requests, min_f, max_f, sat_f, dsp_at, among=None):
    """How much colder than at full airflow trim and respond settles, since zones are short of air.

    Parameters
    ----------
    ignored_requests, min_f, max_f
        As for :func:`settled_sat_f`.
    sat_f : ndarray (R,)
        What :func:`settled_sat_f` gives at full airflow. [degF]
    dsp_at : callable
        Duct pressure setpoint of rows (their index) at a supply temperature of each. [in. w.c.]
    among : ndarray, optional
        Positions of the only rows in which a zone may be short of air.

    Returns
    -------
    ndarray (R,)
        At least 0. [degF]

    Notes
    -----
    A zone whose requests the reset of duct pressure ignores gets ``V = Vmax sqrt(DSP / (DSP_index k))``. Its room is
    warm where that does not carry its load, so that it asks for colder air, whatever the airflow that its loop asks
    for. Colder air takes less airflow, less airflow less pressure, and less pressure starves the zone more: both resets
    settle together. They start each morning at the warmest supply air and come down, so it is the warmest of the points
    at which both rest: supply air that settles at the pressure of the round before falls from round to round, and the
    limit of that is this point (a map that rises with its argument, begun above all its fixed points). No constant is
    in it.
    """
    colder = np.zeros(sat_f.shape)
    asks = (unit.zones.weight > 0.0) & ~unit.zones.asks_temperature
    top = np.broadcast_to(np.asarray(max_f, dtype=float), sat_f.shape)
    at = np.flatnonzero(sat_f > min_f) if among is None else among[sat_f[among] > min_f]
    for _ in range(STARVED_ROUNDS):
        if not at.size:
            break
        sat, some, here = sat_f[at] - colder[at], loads.take(at), unit.take(at)
        most = available_flow_cfm(here, dsp_at(at, sat))
        short = ((np.minimum(cooling_flow_cfm(here, some, sat), here.zones.max_cfm) > most) & asks).any(axis=1)
        at, sat, some, here, most = at[short], sat[short], some.take(short), here.take(short), most[short]
        new = settled_sat_f(here, some, ignored_requests, min_f, top[at], most)
        falls = sat - new > STARVED_F
        at = at[falls]
        colder[at] = sat_f[at] - new[falls]
    return colder


def settled_together_f(rows: SatRows, record, top_f):
    """Where trim and respond settles with rooms at full airflow, and how much colder than that rooms which the duct
    pressure of ``rows`` leaves short of air pull it (:func:`colder_for_starved_f`). (R,) each [degF]

    ``record`` of a strategy that listens, with ``min_f`` and ``ignored_requests`` · ``top_f`` (R,) warmest that the
    loop may give.
    """
    unit, loads, ignored, low = rows.unit, rows.loads, record.ignored_requests, record.min_f
    sat = settled_sat_f(unit, loads, ignored, low, top_f)
    if rows.held_pulled_f is not None:
        return sat, rows.held_pulled_f
    held, among = rows.held_dsp_inwc, None
    if held is None and loads.known is not None and loads.known.full:
        # The pressure of all rows is known to whoever asks for it next; it starves zones in few of them.
        c = rows.conditions
        full = full_supply(unit, loads, sat, heating_enabled(unit, c.oat_f, c.fan_on))
        among = starved_rows(full, rows.dsp_of_sat(c, loads, sat))
    if held is None:
        of_rows = lambda at: (unit.take(at),) if unit.by_row else ()
        dsp_at = lambda at, sat: rows.dsp_of_sat(rows.conditions.take(at), loads.take(at), sat, *of_rows(at))
    else:
        dsp_at = lambda at, sat: held[at]
    return sat, colder_for_starved_f(unit, loads, ignored, low, top_f, sat, dsp_at, among)


def settled_dsp_inwc(unit: Unit, requested_cfm, cooling_cfm, ignored_requests, min_inwc, max_inwc):
    """Duct pressure at which trim and respond settles. (R,) [in. w.c.]

    Airflows (R, Z) as for :func:`pressure_thresholds_inwc`. ``max_inwc`` where zones that always ask take more than
    what is ignored.
    """
    thresholds = lambda: pressure_thresholds_inwc(unit, requested_cfm, cooling_cfm)
    return settled_at_inwc(unit, len(requested_cfm), thresholds, ignored_requests, min_inwc, max_inwc)


def settled_at_inwc(unit: Unit, rows: int, thresholds, ignored_requests, min_inwc, max_inwc):
    """:func:`settled_dsp_inwc` of rows whose ``thresholds``, when called, are :func:`pressure_thresholds_inwc`."""
    z = unit.zones
    left = _left_to_ignore(z.weight, z.asks_pressure, ignored_requests)
    if left < -REQUEST_SLACK:
        return np.full(rows, float(max_inwc))
    weights = np.where(z.asks_pressure, 0.0, z.weight)
    first, release, second, third = thresholds()
    ask, hold = edges(first, release, second, third, weights, left)
    return 0.5 * (np.clip(ask, min_inwc, max_inwc) + np.clip(hold, min_inwc, max_inwc))


def outdoor_envelope_f(oat_f, settled_f, min_f, oat_min_f, oat_max_f):
    """Supply setpoint from the loop's output, by outdoor temperature (Guideline 36 5.16.2.2).

    The loop's output at and below ``oat_min_f``, falling to ``min_f`` at and above
    ``oat_max_f``. Since the settled value is where zones are satisfied, the loop rises until the
    supply reaches it or the envelope of its largest output: callers pass that output's
    ceiling and take the lower of both.
    """
    share = np.clip((oat_max_f - oat_f) / (oat_max_f - oat_min_f), 0.0, 1.0)
    return min_f + share * (settled_f - min_f)


class _Demand(Strategy):
    #: Name of the constant of zones that always ask.
    always: str

    name = "demand"
    words = "by demand"
    resets = True
    listens = True

    def say(self, record):
        return f"{super().say(record)} of the zones, {record.ignored_requests:g} requests ignored"

    def parameters(self, record, sheet):
        super().parameters(record, sheet)
        sheet.input("ignored_requests", "ignored")
        sheet.derived(
            "left",
            "Ignored requests left for zones that do not always ask",
            "requests",
            f"{{p.{self.part}_ignored}}-{self.always}",
        )


class DemandSat(_Demand, SatStrategy):
    """Supply air where trim and respond settles, inside the outdoor-air envelope."""

    about = "where trim and respond settles, inside the outdoor-air envelope"
    always = "{c.always_t}"

    def setpoint_f(self, record, rows, top_f):
        sat, colder = self._settled_f(record, rows, top_f)
        return sat - colder

    def _settled_f(self, record, rows, top_f):
        """Where it settles with rooms at full airflow, and how much colder rooms short of air pull it. (R,) [degF]"""
        warmest = outdoor_envelope_f(
            rows.conditions.oat_f, record.max_f, record.min_f, record.oat_min_f, record.oat_max_f
        )
        return settled_together_f(rows, record, np.maximum(np.minimum(warmest, top_f), record.min_f))

    def limited(self, record, rows, sat_f):
        # Only where a limit lies below the end of the range can it hold the setpoint down.
        at = np.flatnonzero(rows.limits.max_f < self.range(record)[1])
        found = np.zeros(sat_f.shape, dtype=bool)
        if at.size:
            found[at] = super().limited(record, rows.take(at), sat_f[at])
        return found

    def pulled_f(self, record, rows):
        return self._settled_f(record, rows, rows.limits.max_f)[1]

    def of_step_f(self, record, rows, loop_f, top_f):
        # Guideline 36 5.16.2.2: the loop's output inside the envelope.
        inside = outdoor_envelope_f(rows.conditions.oat_f, loop_f, record.min_f, record.oat_min_f, record.oat_max_f)
        return np.maximum(np.minimum(inside, top_f), record.min_f)

    def say(self, record):
        return f"{super().say(record)}, coldest at and above {record.oat_max_f:g} °F outdoors"

    def parameters(self, record, sheet):
        super().parameters(record, sheet)
        sheet.input("oat_min_f")
        sheet.input("oat_max_f")

    def formula(self, record, sheet):
        sheet.column(
            "sat_envelope",
            "Outdoor-air envelope of the loop",
            "°F",
            "{p.sat_low}+MEDIAN(0,({p.sat_oat_max_f}-{oat_f})/({p.sat_oat_max_f}-{p.sat_oat_min_f}),"
            "1)*({p.sat_high}-{p.sat_low})",
        )
        sheet.column(
            "sat_loop_top", "Warmest that the loop may give", "°F", "MAX(MIN({sat_envelope},{sat_top}),{p.sat_low})"
        )
        sheet.settled()
        colder = sheet.values("sat_starved", "Colder for rooms short of air", "°F", pulled=True)
        return (
            "IF({p.sat_left}<-{k.request_slack},{p.sat_low},"
            "(MEDIAN({p.sat_low},MIN({sat_ask_1},{sat_ask_2},{sat_ask_3}),{sat_loop_top})"
            "+MEDIAN({p.sat_low},MIN({sat_release_1},{sat_release_2},{sat_release_3}),{sat_loop_top}))/2"
            f"-{colder})"
        )


class DemandDsp(_Demand, DspStrategy):
    """Duct static pressure where trim and respond settles."""

    about = "where trim and respond settles"
    always = "{c.always_p}"
    follows_zones = True

    def setpoint_inwc(self, record, rows):
        if rows.thresholds is not None:
            return settled_at_inwc(
                rows.unit,
                len(rows.oat_f),
                rows.thresholds,
                record.ignored_requests,
                record.min_inwc,
                record.max_inwc,
            )
        return settled_dsp_inwc(
            rows.unit,
            rows.requested_cfm(),
            rows.cooling_cfm(),
            record.ignored_requests,
            record.min_inwc,
            record.max_inwc,
        )

    def formula(self, record, sheet):
        asked, satz, per_cfm = sheet.own("req"), sheet.own("satz"), sheet.cooling_per_cfm()
        for which in ("second", "third"):
            flow, factor = f"{{k.{which}_flow}}", f"{{c.{which}}}"
            # At a share of the setpoint, or, where the room grows warm before, of the maximum that its loop then
            # asks for.
            sheet.zones(
                f"p_{which}",
                f"Pressure of the {which} request",
                "in. w.c.",
                f"IF({{L.qc}}<={flow}*{asked}*{per_cfm},{asked}^2*{{z.kv}}*{factor},"
                f"IF({{L.qc}}>={flow}*{{z.max_cfm}}*{per_cfm},{{c.index}}*{{z.k}}*{factor},"
                f"({{L.qc}}/({{fs}}*({{L.tc}}-{satz})))^2*{{z.kv}}))",
                "f3",
            )
        sheet.settled()
        at = lambda edge: ",".join(sheet.own(f"dsp_{edge}_{k}") for k in (1, 2, 3))
        return (
            f"IF({{p.dsp_left}}<-{{k.request_slack}},{{p.dsp_high}},"
            f"(MEDIAN({{p.dsp_low}},MAX({at('ask')}),{{p.dsp_high}})"
            f"+MEDIAN({{p.dsp_low}},MAX({at('release')}),{{p.dsp_high}}))/2)"
        )


SAT, DSP = DemandSat(), DemandDsp()
