"""Economizer and outdoor air: what the damper's signal does, and what three temperatures say about the air.

The outdoor-air share is (return - mixed)/(return - outdoor). It is only taken where outdoor and return air are far
enough
apart for it: with sensors good to 1 degF each, 10 degF apart give a share within some 0.15, 20 degF within 0.08.
"""

from __future__ import annotations

import numpy as np

from binestimator.trends.found import Found, InputFound, quantiles, unknown
from binestimator.trends.log import Log
from binestimator.trends.running import Running

#: Least difference of outdoor and return air for a balance [degF], and hours it needs.
APART_F, LEAST_HOURS = 10.0, 4.0
#: A damper this much over its minimum is open; one above this is fully open.
_OVER_MINIMUM, _FULL = 0.05, 0.95
#: Shares closer than this at minimum and at full opening: the damper does not move the air.
_NO_CHANGE = 0.15
_SENSOR_F = 1.0


def _share(log: Log, running: Running) -> tuple[np.ndarray | None, np.ndarray, str]:
    """Outdoor-air share by temperatures, where they can tell, and why they cannot."""
    oat, mat, rat = log.get("oat"), log.get("mat"), log.get("rat")
    missing = [w for w, v in (("outdoor", oat), ("mixed", mat), ("return", rat)) if v is None]
    if oat is None or mat is None or rat is None:
        return None, np.zeros(len(log.start), bool), f"{' and '.join(missing)} air temperature not in the log"
    apart = rat - oat
    good = running.settled & np.isfinite(oat) & np.isfinite(mat) & np.isfinite(rat) & (np.abs(apart) >= APART_F)
    if np.count_nonzero(good) * log.step_h < LEAST_HOURS:
        return (
            None,
            good,
            (
                f"outdoor and return air are {APART_F:g} degF and more apart in only "
                f"{np.count_nonzero(good) * log.step_h:.1f} settled running hours"
            ),
        )
    with np.errstate(divide="ignore", invalid="ignore"):
        share = (rat - mat) / apart
    return share, good, ""


def outdoor_air_findings(log: Log, running: Running) -> list[Found]:
    """Economizer, its high limit, minimum position and outdoor-air share."""
    titles = {
        "economizer": "Economizer",
        "economizer_limit": "Economizer high limit",
        "minimum_outdoor_air": "Minimum outdoor air",
    }
    if not running.by:
        return [unknown(key, title, "when the fan runs cannot be told") for key, title in titles.items()]
    share, good, why = _share(log, running)
    damper, oat = log.get("oa_damper"), log.get("oat")
    flow = _flow_share(log, running)
    if damper is None or not np.isfinite(damper[running.on]).any():
        return _without_signal(log, running, share, good, why, titles, flow)
    settled = running.settled & np.isfinite(damper)
    low = _minimum(damper, running, settled)
    found = []
    most = float(np.nanquantile(damper[settled], 0.995))
    open_ = settled & (damper > low + _OVER_MINIMUM)
    hours = float(np.count_nonzero(settled)) * log.step_h
    at_low = settled & (np.abs(damper - low) <= _OVER_MINIMUM)
    full = settled & (damper >= max(_FULL * most, low + 0.2))
    balance = {}
    rat = log.get("rat")
    apart = np.full(len(damper), np.nan) if rat is None or oat is None else rat - oat
    for name, where in (("minimum", at_low), ("full", full)):
        chosen = good & where if share is not None else np.zeros(len(damper), bool)
        if share is not None and np.count_nonzero(chosen) * log.step_h >= 1.0:
            q10, q50, q90 = quantiles(share[chosen].astype(float), 0.1, 0.5, 0.9)
            gap = np.median(np.abs(apart[chosen]))
            balance[name] = (q10, q50, q90, float(np.count_nonzero(chosen)) * log.step_h, 2.0 * _SENSOR_F / float(gap))
    value: dict = {
        "minimum_position": round(low, 3),
        "largest_position": round(most, 3),
        "open_h": round(float(np.count_nonzero(open_)) * log.step_h, 1),
        "full_h": round(float(np.count_nonzero(full)) * log.step_h, 1),
    }
    for name, (q10, q50, q90, h, _) in balance.items():
        value[f"share_at_{name}"] = [round(q10, 3), round(q50, 3), round(q90, 3)]
        value[f"share_at_{name}_h"] = round(h, 1)
    moves = most - low > 0.1 and np.count_nonzero(open_) * log.step_h >= 1.0
    cool = oat is not None and bool(np.count_nonzero(settled & (oat < 60.0)) * log.step_h >= LEAST_HOURS)
    inputs: list[InputFound] = []
    shares = ""
    if balance:
        shares = "; outdoor-air share by temperatures " + ", ".join(
            f"{100 * q50:.0f} % at {name} opening (80 % between {100 * q10:.0f} and {100 * q90:.0f} %)"
            for name, (q10, q50, q90, _, _) in balance.items()
        )
    caution = False
    if not moves and cool:
        if share is not None and np.count_nonzero(good) * log.step_h >= LEAST_HOURS:
            q10, q50, q90 = quantiles(share[good].astype(float), 0.1, 0.5, 0.9)
            text = f"never opens: its signal stays at {100 * low:.0f} % also below 60 degF outdoors{shares}"
            value["state"] = "never opens"
            evidence = (
                f"Trend log, {np.count_nonzero(good) * log.step_h:.0f} h: damper signal stays at {100 * low:.0f} "
                f"% while it is "
                f"cold enough outdoors; outdoor-air share by temperatures {100 * q50:.0f} %"
            )
            inputs.append(InputFound("economizer.type", "none", evidence))
        else:
            text, value["state"] = (
                f"never opens: its signal stays at {100 * low:.0f} % also below 60 degF outdoors",
                "never opens",
            )
            inputs.append(InputFound("economizer.type", "none", f"Trend log, {hours:.0f} h: {text}"))
        caution = True
        found.append(
            Found(
                "economizer",
                titles["economizer"],
                True,
                text,
                "by the damper's signal",
                hours,
                value,
                tuple(inputs),
                caution,
            )
        )
    elif not moves:
        found.append(
            unknown(
                "economizer",
                titles["economizer"],
                f"the damper stays at {100 * low:.0f} %, and the log has too few hours "
                "below 60 degF outdoors in which it should open",
                hours,
            )
        )
    else:
        stuck = _stuck(balance)
        if stuck is not None:
            at, spread = stuck
            text = (
                f"the signal moves from {100 * low:.0f} to {100 * most:.0f} %, the air does not: outdoor-air share "
                f"{100 * at:.0f} % at either end (stuck damper or linkage, or a mixed-air sensor that reads wrong)"
            )
            value["state"] = "stuck"
            inputs.append(
                InputFound(
                    "economizer.stuck_frac",
                    round(at, 2),
                    f"Trend log, {sum(b[3] for b in balance.values()):.0f} h of temperature balance: {text}",
                    at - spread,
                    at + spread,
                )
            )
            caution = True
        else:
            value["state"] = "works" if len(balance) == 2 else "signal moves"
            known = "works" if len(balance) == 2 else "its signal works; what the air does cannot be told"
            text = (
                f"{known}: from {100 * low:.0f} to {100 * most:.0f} % open, {value['open_h']:.0f} h above its "
                f"minimum{shares}"
            )
            if "full" in balance and balance["full"][1] < 0.9:
                text += f"; {100 * balance['full'][1]:.0f} % is the most it lets in"
                q10, q50, q90, h, error = balance["full"]
                inputs.append(
                    InputFound(
                        "outdoor_air.maximum_frac",
                        round(float(np.clip(q50, 0.1, 1.0)), 2),
                        f"Trend log, {h:.0f} h with the damper open: share by temperatures {100 * q50:.0f} % "
                        f"(80 % between {100 * q10:.0f} and {100 * q90:.0f} %)",
                        q10,
                        q90,
                    )
                )
        mechanical = _mechanical(log, running, damper, low, full, oat, inputs)
        if mechanical:
            text += f"; {mechanical}"
        reason = "damper signal" + (" and temperature balance" if balance else f"; {why}" if why else "")
        found.append(
            Found("economizer", titles["economizer"], True, text, reason, hours, value, tuple(inputs), caution)
        )
    found.append(_limit(log, running, damper, low, settled, oat, moves, titles["economizer_limit"]))
    found.append(_minimum_air(titles["minimum_outdoor_air"], low, balance, why, hours, flow))
    return found


def _minimum(damper: np.ndarray, running: Running, settled: np.ndarray) -> float:
    """Position at which the damper rests while running: the lowest that occurs in a twentieth of the time, or the
    lowest usual one."""
    chosen = settled & running.occupied if np.count_nonzero(settled & running.occupied) else settled
    grains = np.round(damper[chosen].astype(float), 2)
    values, counts = np.unique(grains, return_counts=True)
    share = counts / counts.sum()
    usual = values[(share >= 0.05) & (values > 0.0)]
    return float(usual[0]) if len(usual) else float(np.quantile(grains, 0.05))


def _stuck(balance) -> tuple[float, float] | None:
    """Share at which the air stays, with its spread, where both ends of the signal give the same."""
    if len(balance) < 2:
        return None
    low, full = balance["minimum"], balance["full"]
    # Both are uncertain by the sensors: only what is outside that counts as a change.
    error = float(np.hypot(low[4], full[4]))
    if full[1] - low[1] > _NO_CHANGE or error > 0.5:
        return None
    hours = low[3] + full[3]
    return (low[1] * low[3] + full[1] * full[3]) / hours, max(error, 0.5 * abs(full[1] - low[1]))


def _mechanical(log, running, damper, low, full, oat, inputs) -> str:
    """How economizer and mechanical cooling share the work below the limit."""
    valve = log.get("cooling_valve")
    if valve is None or oat is None:
        return ""
    cooling = running.settled & (np.nan_to_num(valve) > 0.05)
    open_ = running.settled & (damper > low + _OVER_MINIMUM)
    both = cooling & open_
    h = lambda mask: float(np.count_nonzero(mask)) * log.step_h
    if h(open_) < LEAST_HOURS:
        return ""
    beside = h(both & full)
    partly = h(both & ~full)
    if beside >= 1.0:
        words = f"mechanical cooling runs beside full outdoor air for {beside:.0f} h"
        if partly < 0.05 * (beside + partly):
            words += ", and not before it is open"
        elif partly > 0.25 * (beside + partly):
            words += f", and for {partly:.0f} h with the damper only partly open"
        inputs.append(
            InputFound("economizer.integrated", True, f"Trend log, {h(open_):.0f} h above minimum opening: {words}")
        )
        return words
    return ""


def _limit(log, running, damper, low, settled, oat, moves, title) -> Found:
    """Outdoor temperature above which the damper is back at its minimum."""
    key = "economizer_limit"
    if oat is None:
        return unknown(key, title, "outdoor temperature is not in the log")
    if not moves:
        return unknown(key, title, "the damper does not open in this log")
    valve = log.get("cooling_valve")
    chosen = settled & np.isfinite(oat)
    if valve is not None:
        # Only while there is something to cool does the limit show.
        wants = chosen & ((np.nan_to_num(valve) > 0.02) | (damper > low + _OVER_MINIMUM))
        chosen = wants if np.count_nonzero(wants) * log.step_h >= LEAST_HOURS else chosen
    x, opened = oat[chosen].astype(float), (damper > low + _OVER_MINIMUM)[chosen]
    warm = x > 45.0
    x, opened = x[warm], opened[warm]
    hours = len(x) * log.step_h
    above, below = x[~opened], x[opened]
    if len(below) * log.step_h < 2.0 or len(above) * log.step_h < 2.0:
        return unknown(
            key,
            title,
            "the log does not show the damper both open and back at its minimum above 45 degF outdoors",
            hours,
        )
    cuts = np.arange(45.0, 90.01, 0.5)
    wrong = lambda values, flags: np.array([np.mean(flags != (values < cut)) for cut in cuts])
    by_oat = wrong(x, opened)
    if by_oat.min() > 0.25:
        return unknown(
            key,
            title,
            f"no outdoor temperature divides open from shut (the best is wrong for "
            f"{100 * by_oat.min():.0f} % of the time)",
            hours,
        )
    cut = float(cuts[by_oat <= by_oat.min() + 1e-9].mean())
    lowest_shut, highest_open = float(np.quantile(above, 0.05)), float(np.quantile(below, 0.95))
    low_f, high_f = min(lowest_shut, cut), max(highest_open, cut)
    text = f"{cut:.1f} degF outdoors (range {low_f:.0f} to {high_f:.0f} degF)"
    reason = f"right for {100 * (1 - by_oat.min()):.0f} % of {hours:.0f} h above 45 degF with cooling"
    inputs = [
        InputFound(
            "economizer.high_limit_f",
            round(float(np.clip(cut, 40.0, 85.0)), 1),
            f"Trend log: {text}; {reason}",
            low_f,
            high_f,
        )
    ]
    rat = log.get("rat")
    value = {
        "limit_f": round(cut, 1),
        "range_f": [round(low_f, 1), round(high_f, 1)],
        "wrong_frac": round(float(by_oat.min()), 4),
    }
    if rat is not None:
        difference = (oat - rat)[chosen][warm].astype(float)
        finite = np.isfinite(difference)
        d_cuts = np.arange(-30.0, 15.01, 0.5)
        by_difference = np.array([np.mean(opened[finite] != (difference[finite] < c)) for c in d_cuts])
        best = float(d_cuts[by_difference.argmin()])
        value["difference_f"], value["difference_wrong_frac"] = best, round(float(by_difference.min()), 4)
        if by_difference.min() < 0.6 * by_oat.min() and by_oat.min() > 0.03 and abs(best) <= 3.0:
            text = (
                f"open while outdoor air is {-best:.0f} degF colder than return air"
                if best < -0.5
                else "open while outdoor air is colder than return air"
            )
            inputs = [
                InputFound(
                    "economizer.type",
                    "differential_dry_bulb",
                    f"Trend log, {hours:.0f} h: {text}; explains more than an outdoor temperature alone",
                )
            ]
        elif np.ptp(rat[chosen][np.isfinite(rat[chosen])]) < 6.0 and abs(by_difference.min() - by_oat.min()) < 0.02:
            text += "; fixed or by return air cannot be told, since return air hardly moves"
        else:
            inputs.insert(0, InputFound("economizer.type", "fixed_dry_bulb", f"Trend log: {text}; {reason}"))
    return Found(key, title, True, text, reason, hours, value, tuple(inputs), high_f - low_f > 5.0)


def _minimum_air(title, low, balance, why, hours, flow) -> Found:
    key = "minimum_outdoor_air"
    value: dict = {"minimum_position": round(low, 3)}
    inputs: list[InputFound] = []
    words = f"damper signal rests at {100 * low:.0f} %"
    if flow is not None:
        q10, q50, q90, h = flow
        value["flow_share"] = [round(q10, 3), round(q50, 3), round(q90, 3)]
        words += (
            f"; by airflow stations a share of {100 * q50:.0f} % (80 % between {100 * q10:.0f} and {100 * q90:.0f} %)"
        )
    if "minimum" not in balance:
        if flow is None:
            reason = why or "too few hours at the minimum with outdoor and return air far apart"
            return Found(
                key, title, True, f"{words}; what share of air that lets in cannot be told", reason, hours, value
            )
        return Found(key, title, True, words, "airflow stations", flow[3], value)
    q10, q50, q90, h, error = balance["minimum"]
    value |= {"share": [round(q10, 3), round(q50, 3), round(q90, 3)]}
    low_frac, high_frac = max(min(q10, q50 - error), 0.0), min(max(q90, q50 + error), 1.0)
    words += f"; that lets in {100 * q50:.0f} % outdoor air (range {100 * low_frac:.0f} to {100 * high_frac:.0f} %)"
    reason = f"balance of three temperatures over {h:.0f} h with outdoor and return air {APART_F:g} degF and more apart"
    evidence = f"Trend log: {words}; {reason}"
    if 0.0 <= q50 <= 1.0:
        inputs = [
            InputFound(
                "outdoor_air.control", "position", f"Trend log: the damper rests at one position, {100 * low:.0f} %"
            ),
            InputFound("outdoor_air.position_frac", round(q50, 2), evidence, low_frac, high_frac),
        ]
    return Found(key, title, True, words, reason, h, value, tuple(inputs))


def _flow_share(log: Log, running: Running):
    outdoor, supply = log.get("oa_flow"), log.get("supply_flow")
    if outdoor is None or supply is None:
        return None
    good = running.settled & np.isfinite(outdoor) & np.isfinite(supply) & (np.nan_to_num(supply) > 50.0)
    if np.count_nonzero(good) * log.step_h < LEAST_HOURS:
        return None
    return *quantiles((outdoor[good] / supply[good]).astype(float), 0.1, 0.5, 0.9), float(
        np.count_nonzero(good)
    ) * log.step_h


def _without_signal(log, running, share, good, why, titles, flow) -> list[Found]:
    """What temperatures alone say."""
    key = "economizer"
    if share is None:
        reason = f"the damper's signal is not in the log; {why}"
        found = [unknown(key, titles[key], reason)]
    else:
        values, oat = share[good].astype(float), log.get("oat")[good]
        hours = float(np.count_nonzero(good)) * log.step_h
        cold, mild = values[oat < 35.0], values[(oat >= 45.0) & (oat < 60.0)]
        q10, q50, q90 = quantiles(values, 0.1, 0.5, 0.9)
        shares = (
            f"outdoor-air share by temperatures {100 * q50:.0f} % (80 % between {100 * q10:.0f} and {100 * q90:.0f} %)"
        )
        value = {"share": [round(q10, 3), round(q50, 3), round(q90, 3)]}
        if len(mild) * log.step_h >= LEAST_HOURS and np.quantile(mild, 0.9) < 0.45 and q90 - q10 < 0.2:
            text = f"the air stays at one share at all outdoor temperatures, mild ones included: {shares}"
            found = [
                Found(
                    key,
                    titles[key],
                    True,
                    text,
                    "temperatures alone; a damper that is stuck or never "
                    "told to open "
                    "cannot be told apart without its signal",
                    hours,
                    value,
                    (
                        InputFound(
                            "economizer.stuck_frac",
                            round(float(np.clip(q50, 0, 1)), 2),
                            f"Trend log, {hours:.0f} h: {text}",
                            q10,
                            q90,
                        ),
                    ),
                    True,
                )
            ]
        elif len(mild) * log.step_h >= LEAST_HOURS and np.median(mild) > 0.6:
            found = [
                Found(key, titles[key], True, f"opens in mild weather; {shares}", "temperatures alone", hours, value)
            ]
        else:
            found = [
                unknown(
                    key,
                    titles[key],
                    f"the damper's signal is not in the log, and temperatures alone do not tell: {shares}",
                    hours,
                )
            ]
        del cold
    found.append(unknown("economizer_limit", titles["economizer_limit"], "the damper's signal is not in the log"))
    if flow is not None:
        q10, q50, q90, h = flow
        found.append(
            Found(
                "minimum_outdoor_air",
                titles["minimum_outdoor_air"],
                True,
                f"by airflow stations a share of {100 * q50:.0f} %",
                "airflow stations",
                h,
                {"flow_share": [q10, q50, q90]},
            )
        )
    else:
        found.append(
            unknown("minimum_outdoor_air", titles["minimum_outdoor_air"], "the damper's signal is not in the log")
        )
    return found
