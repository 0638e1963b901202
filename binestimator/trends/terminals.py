"""Terminals: minimum and maximum airflow, setpoints, requests they would have sent, rogue zones, pressure they need.

References
----------
Requests: Guideline 36 5.6.8.1 and 5.6.8.2. Rogue zones: request-hours above 70 % of more than 40 running hours, 5.6.8.
The cooling loop of a zone is not in a log as a rule, so that its request (loop above 95 %) is left out: counts of
temperature requests are a lower bound.
"""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from binestimator.dataclass import dataclass
from binestimator.trends.found import Found, InputFound, quantiles, unknown
from binestimator.trends.log import Log
from binestimator.trends.running import Running

#: A damper at and above this is wide open [share]; it asks until it is below the second.
ASKS, RELEASES = 0.95, 0.85
#: Rogue: share of running hours with requests, and hours it takes.
_ROGUE_FRAC, _ROGUE_HOURS = 0.7, 40.0
#: A zone stands out where the middle one asks for less than this share of the hours.
_USUAL_FRAC = 0.2
#: Least wide-open time that tells a pressure share [h], and least flow through the damper. [cfm]
_OPEN_HOURS, _LEAST_CFM = 0.5, 10.0
_LEAST_HOURS = 8.0
#: Requests that resets ignore by default, Guideline 36.
IGNORED = 2
_MOST_NAMED = 6


@dataclass(frozen=True, slots=True)
class ZoneFound:
    """What the log says about one zone; None where it does not.

    Parameters
    ----------
    name : str
    hours : float
        Settled occupied hours with any of its points.
    min_cfm, max_cfm : float or None
        Lowest setpoint at which it rests; highest seen.
    cooling_f, heating_f : float or None
        Occupied setpoints.
    temperature_frac, pressure_frac : float or None
        Share of hours with a request of each kind.
    open_h : float
        Hours with the damper wide open.
    open_cfm, open_dsp_inwc : float or None
        Airflow through the open damper at that duct pressure.
    index_share : float or None
        k at the duct pressure of the index run and the zone's design airflow, where that is known.
    """

    name: str
    hours: float
    min_cfm: float | None = None
    max_cfm: float | None = None
    cooling_f: float | None = None
    heating_f: float | None = None
    temperature_frac: float | None = None
    pressure_frac: float | None = None
    open_h: float = 0.0
    open_cfm: float | None = None
    open_dsp_inwc: float | None = None
    open_pct: float | None = None
    index_share: float | None = None
    max_is_limit: bool = False


def zone_path(name: str, tail: str) -> str:
    """Path of an input of a zone."""
    return f"zone[{name}].{tail}"


def terminal_findings(
    log: Log,
    running: Running,
    index_dsp_inwc: float | None = None,
    max_cfm: Mapping[str, float] | None = None,
) -> list[Found]:
    """What the log says about zones.

    Parameters
    ----------
    index_dsp_inwc : float, optional
        Duct pressure of the index run; the highest setpoint of the log when not given.
    max_cfm : mapping, optional
        Design airflow of zones that is known; the airflow setpoint at which a zone rests where it is highest when not.
    """
    titles = {
        "zone_minimums": "Zone airflow limits",
        "zone_setpoints": "Zone setpoints",
        "requests": "Requests of zones",
        "rogue_zones": "Rogue zones",
        "pressure_shares": "Pressure that zones need (k)",
    }
    if not log.zones:
        return [unknown(key, title, "no zone points in the log") for key, title in titles.items()]
    if not running.by:
        return [unknown(key, title, "when the fan runs cannot be told") for key, title in titles.items()]
    used = running.settled & running.occupied
    if np.count_nonzero(used) * log.step_h < _LEAST_HOURS:
        hours = float(np.count_nonzero(used)) * log.step_h
        return [unknown(key, title, f"only {hours:.1f} settled occupied hours", hours) for key, title in titles.items()]
    asks_t = np.zeros(len(used), np.int16)
    asks_p = np.zeros(len(used), np.int16)
    index = index_dsp_inwc if index_dsp_inwc is not None else _index_pressure(log, running)
    zones, knows_t, knows_p = [], 0, 0
    for name in log.zones:
        temperature, pressure = zone_requests(log, name, running)
        knows_t += temperature is not None
        knows_p += pressure is not None
        if temperature is not None:
            asks_t += temperature.astype(np.int16)
        if pressure is not None:
            asks_p += pressure.astype(np.int16)
        zones.append(_zone(log, running, used, name, temperature, pressure, index, (max_cfm or {}).get(name)))
    return [
        _limits(zones, titles["zone_minimums"]),
        _setpoints(zones, titles["zone_setpoints"]),
        _requests(log, used, asks_t, asks_p, knows_t, knows_p, zones, titles["requests"]),
        _rogue(zones, titles["rogue_zones"]),
        _shares(zones, index, log, titles["pressure_shares"]),
    ]


def _index_pressure(log: Log, running: Running) -> float | None:
    for key in ("dsp_setpoint", "dsp"):
        values = log.get(key)
        if values is not None and np.isfinite(values[running.settled]).any():
            return float(np.nanquantile(values[running.settled], 0.99))
    return None


def zone_requests(log: Log, name: str, running: Running) -> tuple[np.ndarray | None, np.ndarray | None]:
    """Temperature and pressure requests a zone would have sent in each slot, or None where they cannot be told. (R,)"""
    at = lambda kind: log.get(f"{kind}@{name}")
    temperature = pressure = None
    room, cooling = at("zone_temp"), at("zone_cooling_setpoint")
    if cooling is None:
        cooling = at("zone_setpoint")
    if room is not None and cooling is not None:
        above = np.nan_to_num(room - cooling, nan=-99.0)
        temperature = np.where(above >= 5.0, 3, np.where(above >= 3.0, 2, 0)) * running.on
    damper, flow, setpoint = at("zone_damper"), at("zone_flow"), at("zone_flow_setpoint")
    if damper is not None:
        position = np.nan_to_num(damper, nan=0.0)
        asking = latched(position > ASKS, position < RELEASES)
        pressure = asking.astype(int)
        if flow is not None and setpoint is not None:
            with np.errstate(divide="ignore", invalid="ignore"):
                ratio = np.nan_to_num(np.where(setpoint > 0.0, flow / setpoint, 1.0), nan=1.0)
            wide = position > ASKS
            pressure = np.where(wide & (ratio < 0.5), 3, np.where(wide & (ratio < 0.7), 2, pressure))
        pressure = pressure * running.on
    return temperature, pressure


def latched(begins: np.ndarray, ends: np.ndarray) -> np.ndarray:
    """True from where ``begins`` until where ``ends``. (R,)"""
    event = np.where(begins, 1, np.where(ends, -1, 0))
    place = np.maximum.accumulate(np.where(event != 0, np.arange(len(event)), 0))
    return event[place] > 0


def _zone(log, running, used, name, temperature, pressure, index, design_cfm) -> ZoneFound:
    at = lambda kind: log.get(f"{kind}@{name}")
    finite = np.zeros(len(used), bool)
    for key, values in log.values.items():
        if key.endswith(f"@{name}"):
            finite |= np.isfinite(values)
    hours = float(np.count_nonzero(used & finite)) * log.step_h
    lowest = highest = None
    is_limit = False
    setpoint, flow, damper, dsp = at("zone_flow_setpoint"), at("zone_flow"), at("zone_damper"), log.get("dsp")
    if setpoint is not None and np.count_nonzero(used & np.isfinite(setpoint)) * log.step_h >= _LEAST_HOURS:
        values = setpoint[used & np.isfinite(setpoint)].astype(float)
        low, high = quantiles(values, 0.02, 0.998)
        grain = max(0.01 * high, 2.0)
        lowest = low if np.mean(np.abs(values - low) <= grain) >= 0.05 and low > 0.0 else None
        highest, is_limit = high, bool(np.mean(np.abs(values - high) <= grain) >= 0.02 and high > 1.05 * low)
    open_h, open_cfm, open_dsp, open_pct, share = 0.0, None, None, None, None
    if damper is not None and flow is not None and dsp is not None:
        wide = (
            running.settled
            & (np.nan_to_num(damper) >= ASKS)
            & (np.nan_to_num(flow) > _LEAST_CFM)
            & (np.nan_to_num(dsp) > 0.05)
        )
        open_h = float(np.count_nonzero(wide)) * log.step_h
        if open_h >= _OPEN_HOURS:
            # Flow through an open damper goes with the root of duct pressure.
            open_dsp = float(np.median(dsp[wide]))
            open_cfm = float(np.median(flow[wide] / np.sqrt(dsp[wide]))) * open_dsp**0.5
            open_pct = 100.0 * min(float(np.median(damper[wide])), 1.0)
            design_cfm = highest if design_cfm is None and is_limit else design_cfm
            if design_cfm is not None and index:
                share = open_dsp / index * (design_cfm / open_cfm) ** 2
    return ZoneFound(
        name=name,
        hours=hours,
        min_cfm=lowest,
        max_cfm=highest,
        cooling_f=_usual(at("zone_cooling_setpoint"), used),
        heating_f=_usual(at("zone_heating_setpoint"), used),
        temperature_frac=None if temperature is None else float(np.mean(temperature[used] > 0)),
        pressure_frac=None if pressure is None else float(np.mean(pressure[used] > 0)),
        open_h=open_h,
        open_cfm=open_cfm,
        open_dsp_inwc=open_dsp,
        open_pct=open_pct,
        index_share=share,
        max_is_limit=is_limit,
    )


def _usual(values: np.ndarray | None, used: np.ndarray) -> float | None:
    if values is None or not np.isfinite(values[used]).any():
        return None
    return round(float(np.nanmedian(values[used])), 1)


def _limits(zones, title) -> Found:
    known = [z for z in zones if z.min_cfm is not None or z.max_cfm is not None]
    if not known:
        return unknown("zone_minimums", title, "no airflow setpoint of a zone is in the log for long enough")
    inputs = []
    shares = []
    for z in known:
        said = f"Trend log, {z.hours:.0f} settled occupied hours: "
        if z.min_cfm is not None:
            inputs.append(
                InputFound(
                    zone_path(z.name, "min_cfm"), round(z.min_cfm), f"{said}lowest airflow setpoint, at which it rests"
                )
            )
        if z.max_is_limit and z.max_cfm is not None and z.max_cfm >= 10.0:
            inputs.append(
                InputFound(
                    zone_path(z.name, "max_cfm"), round(z.max_cfm), f"{said}highest airflow setpoint, at which it rests"
                )
            )
        if z.min_cfm and z.max_cfm:
            shares.append(z.min_cfm / z.max_cfm)
    text = f"{len(known)} zones"
    if shares:
        low, middle, high = quantiles(np.array(shares), 0.1, 0.5, 0.9)
        text += f"; lowest over highest setpoint seen {100 * middle:.0f} % in the middle"
        text += f" (80 % between {100 * low:.0f} and {100 * high:.0f} %)"
    value = {z.name: {"min_cfm": _r(z.min_cfm), "max_cfm": _r(z.max_cfm)} for z in known}
    return Found(
        "zone_minimums",
        title,
        True,
        text,
        "airflow setpoints while occupied",
        max(z.hours for z in known),
        value,
        tuple(inputs),
    )


def _r(value: float | None, digits: int = 0) -> float | None:
    return None if value is None else round(value, digits)


def _setpoints(zones, title) -> Found:
    known = [z for z in zones if z.cooling_f is not None or z.heating_f is not None]
    if not known:
        return unknown("zone_setpoints", title, "no temperature setpoint of a zone is in the log")
    inputs = []
    for z in known:
        for name, value, low, high in (
            ("cooling_setpoint_f", z.cooling_f, 55, 85),
            ("heating_setpoint_f", z.heating_f, 50, 80),
        ):
            if value is not None and low <= value <= high:
                inputs.append(
                    InputFound(
                        zone_path(z.name, name), value, f"Trend log, {z.hours:.0f} occupied hours: usual setpoint"
                    )
                )
    middle = lambda values: f"{np.median(values):.1f} ({min(values):.1f} to {max(values):.1f}) degF"
    parts = [
        f"{words} {middle(values)}"
        for words, values in (
            ("cooling", [z.cooling_f for z in known if z.cooling_f is not None]),
            ("heating", [z.heating_f for z in known if z.heating_f is not None]),
        )
        if values
    ]
    return Found(
        "zone_setpoints",
        title,
        True,
        f"{len(known)} zones: {', '.join(parts)}",
        "usual value while occupied",
        max(z.hours for z in known),
        {z.name: [z.cooling_f, z.heating_f] for z in known},
        tuple(inputs),
    )


def _requests(log, used, asks_t, asks_p, knows_t, knows_p, zones, title) -> Found:
    key = "requests"
    if not knows_t and not knows_p:
        return unknown(key, title, "neither zone temperatures with setpoints nor zone dampers are in the log")
    hours = float(np.count_nonzero(used)) * log.step_h
    parts, value = [], {}
    for name, asks, knows in (("temperature", asks_t, knows_t), ("pressure", asks_p, knows_p)):
        if not knows:
            parts.append(f"{name} requests cannot be told")
            continue
        over = float(np.mean(asks[used] > IGNORED))
        value[name] = {"mean": round(float(asks[used].mean()), 3), "over_ignored_frac": round(over, 4), "zones": knows}
        parts.append(
            f"more than {IGNORED} {name} requests in {100 * over:.0f} % of the time "
            f"(mean {asks[used].mean():.1f}, {knows} zones)"
        )
    top = sorted(zones, key=lambda z: -((z.temperature_frac or 0) + (z.pressure_frac or 0)))[:3]
    most = [
        f"{z.name} ({100 * max(z.temperature_frac or 0, z.pressure_frac or 0):.0f} %)"
        for z in top
        if max(z.temperature_frac or 0, z.pressure_frac or 0) > 0.02
    ]
    text = "; ".join(parts) + (f"; most by {', '.join(most)}" if most else "")
    return Found(
        key,
        title,
        True,
        text,
        "as Guideline 36 5.6.8 counts them; requests of cooling loops are not in it",
        hours,
        value,
    )


def _rogue(zones, title) -> Found:
    key = "rogue_zones"
    judged = [
        z for z in zones if z.hours >= _ROGUE_HOURS and (z.temperature_frac is not None or z.pressure_frac is not None)
    ]
    if not judged:
        return unknown(
            key, title, f"it takes {_ROGUE_HOURS:g} running hours with temperatures and setpoints, or dampers"
        )
    inputs, words = [], []
    for z in judged:
        hot, starved = (z.temperature_frac or 0.0) > _ROGUE_FRAC, (z.pressure_frac or 0.0) > _ROGUE_FRAC
        if hot or starved:
            kind = "both" if hot and starved else "failed_sensor" if hot else "starved_branch"
            share = max(z.temperature_frac or 0.0, z.pressure_frac or 0.0)
            what = {"both": "temperature and pressure", "failed_sensor": "temperature", "starved_branch": "pressure"}[
                kind
            ]
            words.append(f"{z.name} ({what} requests {100 * share:.0f} % of {z.hours:.0f} h)")
            # Where many zones ask it is the setpoint that is wrong for all, and no zone that stands out.
            if all(
                float(np.median([getattr(o, field) or 0.0 for o in judged])) < _USUAL_FRAC
                for field, asks in (("temperature_frac", hot), ("pressure_frac", starved))
                if asks
            ):
                inputs.append(InputFound(zone_path(z.name, "rogue"), kind, f"Trend log: {words[-1]}"))
    if not words:
        return Found(
            key,
            title,
            True,
            f"none of {len(judged)} zones",
            "request-hours below 70 % (Guideline 36)",
            max(z.hours for z in judged),
            {"rogue": []},
        )
    more = f" and {len(words) - _MOST_NAMED} more" if len(words) > _MOST_NAMED else ""
    return Found(
        key,
        title,
        True,
        ", ".join(words[:_MOST_NAMED]) + more,
        "request-hours above 70 % (Guideline 36)",
        max(z.hours for z in judged),
        {"rogue": words},
        tuple(inputs),
        True,
    )


def _shares(zones, index, log, title) -> Found:
    key = "pressure_shares"
    known = [z for z in zones if z.open_cfm is not None]
    if not known:
        if log.get("dsp") is None:
            return unknown(key, title, "duct pressure is not in the log")
        if not any(f"zone_damper@{z.name}" in log.values and f"zone_flow@{z.name}" in log.values for z in zones):
            return unknown(key, title, "no zone has both damper and airflow in the log")
        return unknown(
            key,
            title,
            f"no damper was wide open for {_OPEN_HOURS:g} h: only then does its airflow tell the pressure it needs",
        )
    inputs = []
    for z in known:
        said = f"Trend log, {z.open_h:.1f} h with the damper wide open"
        assert z.open_cfm is not None and z.open_dsp_inwc is not None and z.open_pct is not None
        inputs += [
            InputFound(zone_path(z.name, "survey_flow_cfm"), round(z.open_cfm, 1), said),
            InputFound(
                zone_path(z.name, "survey_damper_pct"), 100.0 if z.open_pct > 99.0 else round(z.open_pct, 1), said
            ),
            InputFound(zone_path(z.name, "survey_dsp_inwc"), round(z.open_dsp_inwc, 3), said),
        ]
    values = np.array([z.index_share for z in known if z.index_share is not None])
    text = f"{len(known)} of {len(zones)} zones had their damper wide open"
    if len(values):
        text += f"; k between {values.min():.2f} and {values.max():.2f} of {index:.2f} in. w.c."
    if len(values) < len(known):
        text += f"; k of {len(known) - len(values)} needs their design airflow, which a project gives"
    rest = len(zones) - len(known)
    if rest:
        text += f"; of the other {rest} it cannot be told"
    return Found(
        key,
        title,
        True,
        text,
        "airflow through the open damper over the root of duct pressure",
        max(z.open_h for z in known),
        {
            z.name: {
                "k": _r(z.index_share, 3),
                "open_h": round(z.open_h, 1),
                "cfm": _r(z.open_cfm, 1),
                "dsp_inwc": _r(z.open_dsp_inwc, 3),
            }
            for z in known
        },
        tuple(inputs),
    )
