"""What keeps options from being ranked, and what can go wrong."""

from __future__ import annotations

import numpy as np

from ...dataclass import dataclass
from ...findings import NOT_VENTILATED, more_humid, saves_by_ventilation, short_of_outdoor_air
from ...results import Results
from ...strategies.registry import strategies_of
from .amounts import money, money_step, rounded
from .words import options, plain_words

# Something that rules in this share of running hours defeats a reset; below the second it is not worth a line on the
# summary (both assumptions).
DEFEATS_FRAC, WORTH_A_LINE_FRAC = 0.5, 0.05


@dataclass(frozen=True, slots=True)
class Holdback:
    """Something that keeps resets from saving.

    Parameters
    ----------
    label : str
        In the words of an owner.
    shares : dict of int to float
        Number of a candidate -> share of its running hours; only candidates it can act on.
    least : float
        Share from which it is worth a line on the summary. [0-1]
    """

    label: str
    shares: dict[int, float]
    least: float = WORTH_A_LINE_FRAC

    @property
    def worst(self) -> float:
        """Largest share of any candidate."""
        return max(self.shares.values(), default=0.0)


# Counts of the hourly run that concern resets: key, words, part whose reset it concerns, share from which to tell.
# A reset that is at the limit where it saves is doing its work, unless it is there most of the time.
_LIMITS = (
    (
        "sat_at_min_hours",
        "Supply air held at its coldest limit, where its reset saves nothing",
        "sat",
        WORTH_A_LINE_FRAC,
    ),
    (
        "sat_at_max_hours",
        "Supply air at its warmest limit most of the time: hardly more than another fixed setpoint",
        "sat",
        DEFEATS_FRAC,
    ),
    (
        "dsp_at_max_hours",
        "Duct pressure held at its highest limit, where its reset saves nothing",
        "dsp",
        WORTH_A_LINE_FRAC,
    ),
    (
        "dsp_at_min_hours",
        "Duct pressure at its lowest limit most of the time: only a lower limit would save more",
        "dsp",
        DEFEATS_FRAC,
    ),
    ("humidity_limited_hours", "Humidity limit holds supply air down", "sat", WORTH_A_LINE_FRAC),
    ("cold_zone_limited_hours", "A zone that must stay cold holds supply air down", "sat", WORTH_A_LINE_FRAC),
    ("airflow_ceiling_hours", "Fan at its most: zones ask for more air than it can give", "sat", WORTH_A_LINE_FRAC),
    ("minimum_speed_hours", "Fan at its lowest speed: pressure cannot fall further", "dsp", WORTH_A_LINE_FRAC),
)


def holdbacks(results: Results) -> list[Holdback]:
    """What holds resets back, worst first; causes that can act on no candidate are left out.

    Zones count while a reset by demand uses their requests. A rogue zone asks without need; any
    other zone is named where it asks most of all zones in some candidate.
    """
    limits: dict[str, dict[int, float]] = {key: {} for key, *_ in _LIMITS}
    zones: dict[tuple[str, bool, str], dict[int, float]] = {}
    for number, c in enumerate(results.candidates, 1):
        running = c.hourly["running_hours"]
        if not running > 0.0:
            continue
        strategies = dict(zip(("sat", "dsp"), strategies_of(c.candidate), strict=True))
        for key, _, part, _ in _LIMITS:
            if strategies[part].resets:
                limits[key][number] = c.hourly[key] / running
        known = results.runs[c.id].unit.zones
        heard = known.weight > 0.0
        for part, column, rogue, what in (
            ("sat", "temperature_request_hours", known.asks_temperature, "colder air"),
            ("dsp", "pressure_request_hours", known.asks_pressure, "more pressure"),
        ):
            if not strategies[part].listens:
                continue
            asked = np.where(heard, c.zones[column].to_numpy(dtype=float) / running, 0.0)
            rogue = np.asarray(rogue, dtype=bool) & heard
            chosen = [*np.flatnonzero(rogue)]
            if not rogue.all():
                chosen.append(int(np.argmax(np.where(rogue, -1.0, asked))))
            for at in chosen:
                zones.setdefault((what, bool(rogue[at]), str(known.names[at])), {})[number] = float(asked[at])
    found = [
        Holdback(
            f"Faulty zone “{name}” asks for {what} without need" if rogue else f"Zone “{name}” asks for {what}", shares
        )
        for (what, rogue, name), shares in zones.items()
    ]
    found += [Holdback(words, limits[key], least) for key, words, _, least in _LIMITS if limits[key]]
    return sorted(found, key=lambda h: -h.worst)


def holdback_text(found: Holdback) -> str:
    """One line: mark, what, share of running hours, which options."""
    shown = {number: value for number, value in found.shares.items() if value >= found.least}
    mark = "▲" if found.worst >= DEFEATS_FRAC else "△"
    low, high = rounded(100 * min(shown.values()), 1), rounded(100 * max(shown.values()), 1)
    often = f"{high:.0f} %" if low == high else f"{low:.0f} to {high:.0f} %"
    return f"{mark} {found.label}: {often} of running hours ({options(sorted(shown)).lower()})."


def holdback_lines(results: Results, most: int = 5, *, table: bool = True) -> list[str]:
    """What holds resets back, for the summary; further causes are counted, not dropped. ``table``: the file has the
    table of all shares."""
    worth = [h for h in holdbacks(results) if h.worst >= h.least]
    lines = [holdback_text(h) for h in worth[:most]]
    if not worth:
        lines.append(
            "Nothing found that rules in 5 % or more of the running hours: no faulty zone, no limit, no zone that "
            "asks all the time."
        )
    rest = f"{len(worth) - most} more, and each" if len(worth) > most else "Each"
    where = "on “Patterns”" if table else "in the working file"
    lines.append(f"{rest} option’s share: {where}. ▲: in half of the hours or more.")
    return lines


# Always true of such work; on every summary.
STANDING_CAUTION = (
    "Ventilation, humidity and pressure relationships must stay within local codes; have changes designed and checked "
    "by licensed practitioners. To undo a reset, put the setpoints back: note them first."
)


def risk_lines(results: Results) -> list[str]:
    """What can go wrong, from the run, and what is always true. What the baseline itself fails in is at the top of
    the page."""
    lines = []
    damp = more_humid(results.candidates, results.baseline)
    humid = {k: c.hourly["humid_hours"] for k, c in enumerate(results.candidates, 1) if c.id in damp}
    if humid:
        said = ", ".join(f"{hours:,.0f} h with option {k}" for k, hours in humid.items())
        lines.append(
            f"▲ Damp rooms: {said}, against {results.baseline.hourly['humid_hours']:,.0f} h. Comfort and mould need a "
            "humidity limit on the reset."
        )
    short = short_of_outdoor_air(results.candidates, results.baseline)
    if short:
        said = ", ".join(
            f"{c.hourly['oa_short_hours']:,.0f} h with option {k}"
            for k, c in enumerate(results.candidates, 1)
            if c.id in short
        )
        lines.append(f"▲ Less outdoor air than is required: {said}. {NOT_VENTILATED}")
    part = saves_by_ventilation(results.candidates, results.baseline)
    if part:
        step = money_step(results)
        pairs = [
            (k, money(c.saving_at_equal_oa["cost_usd"], step), money(c.saving["cost_usd"], step))
            for k, c in enumerate(results.candidates, 1)
            if c.id in part
        ]
        said = ", ".join(f"{equal} instead of {plain} with option {k}" for k, equal, plain in pairs if equal != plain)
        if said:
            lines.append(f"▲ Saving a year with as much outdoor air as the baseline gives: {said}.")
    for finding in results.findings:
        # That some are not ranked is under the table; the baseline, damp rooms and short ventilation are above.
        if finding.level == "caution" and finding.where not in (
            "humidity",
            "outdoor air",
            "equal outdoor air",
            "baseline",
            "summary",
        ):
            lines.append("▲ " + plain_words(finding.text))
    lines += ["▲ " + plain_words(f.text) for f in results.findings if f.level == "check" and f.where == "economizer"]
    return [*lines, STANDING_CAUTION]
