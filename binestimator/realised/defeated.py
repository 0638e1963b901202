"""What kept a reset from acting: zones that pin it, overrides, its limits, another sequence than handed over."""

from __future__ import annotations

import numpy as np

from binestimator.dataclass import dataclass
from binestimator.realised.compare import BIN_F
from binestimator.realised.year import YearModel
from binestimator.strategies.registry import dsp_strategy, sat_strategy
from binestimator.strategies.tables import line
from binestimator.trends.setpoint_tables import DSP, SAT, Quantity
from binestimator.trends.study import TrendStudy
from binestimator.trends.terminals import zone_requests

#: A setpoint this near to an end of its range is at it; farther beyond it than this, the range is another.
_AT_END = {"sat": 0.3, "dsp": 0.03}
#: A setpoint may miss the line that was handed over by this. (tests of the hand-over: 0.2 degF, 0.02 in. w.c.; with the
#: outdoor sensor read at another moment)
_OFF_LINE = {"sat": 1.0, "dsp": 0.05}
#: Shares of the running time above which it is told.
_TOLD_FRAC, _CAUTION_FRAC = 0.02, 0.1
#: Most zones that are named.
_MOST_ZONES = 5


@dataclass(frozen=True, slots=True)
class Defeat:
    """Something that kept a reset from acting.

    Parameters
    ----------
    part : str
        ``sat`` or ``dsp``.
    kind : str
        ``pinned``, ``overridden``, ``at_limit``, ``other_sequence``, ``not_held``.
    text : str
    hours : float
        Of the log.
    frac : float
        Share of the running hours with the setpoint.
    zone : str
    """

    part: str
    kind: str
    text: str
    hours: float
    frac: float
    zone: str = ""

    @property
    def caution(self) -> bool:
        """Much of the time."""
        return self.frac >= _CAUTION_FRAC


def defeats(study: TrendStudy, model: YearModel) -> tuple[list[Defeat], list[str]]:
    """What kept the resets of an option from acting, and what cannot be told.

    Parameters
    ----------
    study : TrendStudy
        Of the log after the work.
    model : YearModel
        The setpoints of its option are those of the hand-over.
    """
    project, option = model.project, model.option
    found: list[Defeat] = []
    blind: list[str] = []
    for quantity, record, way in (
        (SAT, option.sat, sat_strategy(option.sat)),
        (DSP, option.dsp, dsp_strategy(option.dsp)),
    ):
        setpoint = study.log.get(quantity.setpoint)
        if setpoint is None:
            if way.resets:
                blind.append(
                    f"the setpoint of {quantity.words.lower()} is not in the log: whether its reset acted "
                    "cannot be told"
                )
            continue
        used = study.running.on & np.isfinite(setpoint)
        if not used.any():
            blind.append(f"the setpoint of {quantity.words.lower()} is in no running hour of the log")
            continue
        found += _overridden(study, quantity, way.range(record) if way.listens else ())
        if way.resets:
            found += _sequence(study, quantity, record, way, setpoint, used)
            found += _at_limit(study, model, quantity, record, way, setpoint, used)
            if way.listens:
                pins, why = _pinned(study, quantity, record, project, setpoint, used, way)
                found += pins
                blind += why
        found += _not_held(study, quantity)
    return sorted((d for d in found if d.frac >= _TOLD_FRAC), key=lambda d: -d.frac), blind


def _text(quantity: Quantity, value: float) -> str:
    return f"{value:.1f} degF" if quantity.part == "sat" else f"{value:.2f} in. w.c."


def _overridden(study: TrendStudy, quantity: Quantity, ends):
    """A constant that operators have put in; one at an end of the range is where the reset itself may be."""
    found = next((f for f in study.found if f.key == f"{quantity.part}_override" and f.known), None)
    share = 0.0 if found is None else float(found.value.get("override_frac", 0.0) or 0.0)
    if found is None or share <= 0.0:
        return []
    if any(abs(float(found.value["override"]) - end) <= _AT_END[quantity.part] for end in ends):
        return []
    hours = share * found.hours
    return [
        Defeat(
            quantity.part, "overridden", f"{quantity.words} overridden for {hours:.0f} h: {found.text}", hours, share
        )
    ]


def _sequence(study, quantity, record, way, setpoint, used):
    """Whether the setpoint does what was handed over."""
    log, part = study.log, quantity.part
    values = setpoint[used].astype(float)
    step = log.step_h
    oat = log.get("oat")
    by_outdoor_air = getattr(record, "points", None) and record.strategy == "outdoor_air"
    if by_outdoor_air and oat is not None:
        good = used & study.running.settled & np.isfinite(oat)
        occupied_line = line(oat[good].astype(float), record.points)
        night = getattr(record, "points_unoccupied", None)
        if night is not None:
            occupied_line = np.where(study.running.occupied[good], occupied_line, line(oat[good].astype(float), night))
        off = setpoint[good] - occupied_line
        far = np.abs(off) > _OFF_LINE[part]
        override = next((f for f in study.found if f.key == f"{part}_override" and f.known), None)
        if override is not None and override.value.get("override") is not None:
            far &= np.abs(setpoint[good] - float(override.value["override"])) > quantity.grain  # told as that
        share = float(far.mean()) if far.size else 0.0
        if share > 0.0:
            hours = float(np.count_nonzero(far)) * step
            mean, above = float(np.abs(off[far]).mean()), float(np.mean(off[far] > 0.0)) > 0.5
            yield Defeat(
                part,
                "other_sequence",
                f"{quantity.words} setpoint off the line that was handed over for {hours:.0f} h "
                f"({_text(quantity, mean)} in the mean, mostly {'above' if above else 'below'} it)",
                hours,
                share,
            )
        return
    low, high = way.range(record)
    spread = float(np.quantile(values, 0.98) - np.quantile(values, 0.02))
    hours = len(values) * step
    if spread < quantity.no_reset and high - low >= quantity.no_reset:
        yield Defeat(
            part,
            "other_sequence",
            f"{quantity.words} setpoint stays at {_text(quantity, float(np.median(values)))}: no reset "
            f"acts in {hours:.0f} h, "
            f"handed over was one between {_text(quantity, low)} and {_text(quantity, high)}",
            hours,
            1.0,
        )
        return
    outside = (values < low - _OFF_LINE[part]) | (values > high + _OFF_LINE[part])
    if outside.any():
        beyond = values[outside]
        yield Defeat(
            part,
            "other_sequence",
            f"{quantity.words} setpoint outside the range that was handed over ({_text(quantity, low)} to "
            f"{_text(quantity, high)}) for {np.count_nonzero(outside) * step:.0f} h, such as "
            f"{_text(quantity, float(np.median(beyond)))}",
            float(np.count_nonzero(outside)) * step,
            float(outside.mean()),
        )


def _worst_end(quantity: Quantity, way, record) -> float:
    """The end of the range at which a reset saves nothing: coldest supply air, highest pressure."""
    low, high = way.range(record)
    return low if quantity.part == "sat" else high


def _at_limit(study, model, quantity, record, way, setpoint, used):
    """Hours at the end at which nothing is saved, beyond those that the claim has at the same outdoor temperatures."""
    low, high = way.range(record)
    if high - low < quantity.no_reset:
        return
    end = _worst_end(quantity, way, record)
    here = np.abs(setpoint[used] - end) <= _AT_END[quantity.part]
    hours = float(np.count_nonzero(here)) * study.log.step_h
    claimed = _claimed_frac(model, quantity.part, study.log.get("oat"), used)
    beyond = float(here.mean()) - claimed
    if beyond > _TOLD_FRAC:
        word = "coldest" if quantity.part == "sat" else "highest"
        yield Defeat(
            quantity.part,
            "at_limit",
            f"{quantity.words} setpoint at its {word} ({_text(quantity, end)}) for {hours:.0f} h, "
            f"where the reset saves nothing: {100 * here.mean():.0f} % of the time, claimed were {100 * claimed:.0f} %",
            beyond * here.size * study.log.step_h,
            beyond,
        )


def _claimed_frac(model: YearModel, part: str, oat, used) -> float:
    """Share of a log's hours that the claim has at that end, by bins of outdoor temperature."""
    claimed, bins = model.at_limit[part], np.floor(model.hours.oat_f / BIN_F).astype(int)
    if oat is None or not np.isfinite(oat[used]).any():
        return float(claimed.mean())
    mine = np.floor(oat[used & np.isfinite(oat)] / BIN_F).astype(int)
    numbers = np.unique(bins)
    share = np.array([claimed[bins == k].mean() for k in numbers])
    return float(np.interp(mine, numbers, share).mean())


def _pinned(study, quantity, record, project, setpoint, used, way):
    """Hours in which one zone alone holds the setpoint at the end at which nothing is saved."""
    log = study.log
    if not log.zones:
        return [], [f"no zone points in the log: which zones drive {quantity.words.lower()} cannot be told"]
    importance = {zone.name: float(zone.importance) for zone in project.zones}
    asks = {}
    for name in log.zones:
        temperature, pressure = zone_requests(log, name, study.running)
        own = temperature if quantity.part == "sat" else pressure
        if own is not None:
            asks[name] = own * importance.get(name, 1.0)
    if not asks:
        need = "room temperatures with setpoints" if quantity.part == "sat" else "dampers"
        return [], [f"no {need} of zones in the log: which zones drive {quantity.words.lower()} cannot be told"]
    ignored = float(getattr(record, "ignored_requests", 0) or 0)
    total = np.sum(list(asks.values()), axis=0)
    low, high = way.range(record)
    end = _worst_end(quantity, way, record)
    # Towards that end by more than half of the range.
    near = used & (np.abs(np.nan_to_num(setpoint, nan=1e9) - end) < 0.5 * (high - low))
    found = []
    for name, own in asks.items():
        alone = near & (total > ignored) & (total - own <= ignored)
        hours = float(np.count_nonzero(alone)) * log.step_h
        frac = np.count_nonzero(alone) / np.count_nonzero(used)
        found.append(
            Defeat(
                quantity.part,
                "pinned",
                f"{quantity.words} pinned by zone {name} for {hours:.0f} h: without its requests the "
                "setpoint would have moved on",
                hours,
                frac,
                name,
            )
        )
    return sorted(found, key=lambda d: -d.hours)[:_MOST_ZONES], []


def _not_held(study, quantity):
    log = study.log
    setpoint, measured = log.get(quantity.setpoint), log.get(quantity.measured)
    if measured is None:
        return
    good = study.running.settled & np.isfinite(setpoint) & np.isfinite(measured)
    if not good.any():
        return
    off = measured[good] - setpoint[good]
    far = np.abs(off) > quantity.held
    hours = float(np.count_nonzero(far)) * log.step_h
    if far.mean() >= _CAUTION_FRAC:
        mean = float(off[far].mean())
        yield Defeat(
            quantity.part,
            "not_held",
            f"{quantity.words} not held for {hours:.0f} h: {_text(quantity, abs(mean))} "
            f"{'above' if mean > 0 else 'below'} its setpoint in the mean",
            hours,
            float(far.mean()),
        )
