"""Both periods brought to the typical year: the same terms of weather and time in each, the difference, its interval.

What an hour takes is a line over outdoor temperature, straight between the middles of bins, one line for occupied
hours and
one for others; parts of the day and weekends add to it, and for cooling the moisture of outdoor air. The terms of both
periods are the same, their coefficients are not. Only temperatures, parts of the day and kinds of days that both
periods
have are compared; the typical year tells how many hours of each there are.
"""

from __future__ import annotations

import numpy as np
from scipy.special import ndtri

from binestimator.dataclass import dataclass
from binestimator.realised.hours import Hours
from binestimator.realised.season import SEASON_DOUBT, season_deviation, size_of
from binestimator.realised.spread import QUANTILES, Fit, combined, fit_hours, interval

#: Width of bins of outdoor temperature, as those of an estimate. [degF]
BIN_F = 5.0
#: An end of the temperatures that a period has lies where so many hours of so many days are beyond it or at it.
_END_HOURS, _END_DAYS = 6, 3
#: Hours and days behind every bin, part of the day and kind of day.
_LEAST_HOURS, _LEAST_DAYS = 4.0, 3
#: Bins may be joined over so much where few hours are; what is joined over more is not covered. [degF]
_WIDEST_F = 10.5
#: Share of the typical year's running hours that a figure of the year may hold at the nearest that is covered.
#: Assumption.
MOST_HELD = 0.15
#: Clock hours at which parts of the day begin.
PARTS = (0, 6, 10, 14, 18)
PART_WORDS = ("0 to 6", "6 to 10", "10 to 14", "14 to 18", "18 to 24")
#: Dew points from which moisture is a term of cooling, and counts once more. [degF]
_MOIST_F = (50.0, 60.0)
#: Share of the hours with such a dew point that both periods need for a term.
_MOIST_FRAC = 0.05


@dataclass(frozen=True, slots=True)
class Terms:
    """Terms of weather and time that two periods and a typical year share.

    Parameters
    ----------
    knots : dict
        Occupied or not -> outdoor temperatures between which lines are straight; empty where such hours are not in
        both.
    parts : tuple of int
        Parts of the day (places in :data:`PARTS`) that both periods have; the first is the one others add to.
    weekend : tuple of bool
        Kinds of days that both have; the first is the one the other adds to.
    moist : tuple of float
        Dew points from which moisture counts.
    """

    knots: dict[bool, np.ndarray]
    parts: tuple[int, ...]
    weekend: tuple[bool, ...]
    moist: tuple[float, ...] = ()

    @property
    def names(self) -> list[str]:
        """What each term is."""
        found = [f"{'occupied' if occ else 'unoccupied'} {t:.1f} degF" for occ, ts in self.knots.items() for t in ts]
        found += [f"{PART_WORDS[k]} h" for k in self.parts[1:]] + [
            "weekend" if w else "weekday" for w in self.weekend[1:]
        ]
        return found + [f"dew point above {t:g} degF" for t in self.moist]

    def matrix(self, hours: Hours) -> np.ndarray:
        """Terms of hours; temperatures beyond the ends are held there, what is not shared adds nothing. (n, p)"""
        columns = []
        for occupied, knots in self.knots.items():
            if len(knots):
                here = (hours.occupied == occupied).astype(float)
                held = np.clip(hours.oat_f, knots[0], knots[-1])
                if len(knots) == 1:
                    columns.append(here)
                else:
                    columns += [here * np.interp(held, knots, row) for row in np.eye(len(knots))]
        part = part_of(hours.hour)
        columns += [(part == k).astype(float) for k in self.parts[1:]]
        columns += [(hours.weekend == w).astype(float) for w in self.weekend[1:]]
        dewpoint = np.nan_to_num(hours.dewpoint_f, nan=0.0)
        columns += [np.maximum(dewpoint - t, 0.0) / 10.0 for t in self.moist]
        return np.column_stack(columns) if columns else np.zeros((len(hours), 0))

    def inside(self, hours: Hours) -> np.ndarray:
        """Whether both periods have hours like these. (n,) of bool"""
        found = np.zeros(len(hours), bool)
        for occupied, knots in self.knots.items():
            if len(knots):
                here = (hours.occupied == occupied) & (hours.oat_f >= knots[0]) & (hours.oat_f <= knots[-1])
                wide = np.diff(knots) > _WIDEST_F
                if wide.any():
                    at = np.clip(np.searchsorted(knots, hours.oat_f, side="right") - 1, 0, len(wide) - 1)
                    here &= ~wide[at]
                found |= here
        found &= np.isin(part_of(hours.hour), self.parts) & np.isin(hours.weekend, self.weekend)
        return found & np.isfinite(hours.dewpoint_f) if self.moist else found


def part_of(hour: np.ndarray) -> np.ndarray:
    """Part of the day of a clock hour, as a place in :data:`PARTS`. (n,)"""
    return np.searchsorted(PARTS, hour, side="right") - 1


def terms_of(before: Hours, after: Hours, year: Hours, moisture: bool = False) -> Terms | None:
    """Terms that two periods share, or None where they have no hours in common.

    Parameters
    ----------
    before, after : Hours
        With something measured in all of them.
    year : Hours
        Running hours of the typical year: what it has none of is no term.
    moisture : bool
        The dew point of outdoor air matters.
    """
    periods = (before, after)
    parts: list = []
    weekend: list = []
    for found, names, of in (
        (parts, np.unique(part_of(year.hour)), lambda h: part_of(h.hour)),
        (weekend, np.unique(year.weekend), lambda h: h.weekend),
    ):
        for name in names:
            if all(_enough(p, of(p) == name) for p in periods):
                found.append((-int(np.count_nonzero(of(year) == name)), name))
    parts = [k for _, k in sorted(parts)]
    weekend = [bool(w) for _, w in sorted(weekend)]
    if not parts or not weekend:
        return None
    shared = [p.take(np.isin(part_of(p.hour), parts) & np.isin(p.weekend, weekend)) for p in periods]
    knots = {
        bool(occupied): _knots([p.take(p.occupied == occupied) for p in shared])
        for occupied in np.unique(year.occupied)
    }
    if not any(len(k) for k in knots.values()):
        return None
    # A part of the day, or a kind of day, that only hours without a shared temperature have is none.
    terms = Terms(knots, tuple(int(k) for k in parts), tuple(weekend))
    used = [p.take(terms.inside(p)) for p in shared]
    parts = [k for k in terms.parts if all(_enough(p, part_of(p.hour) == k) for p in used)]
    weekend = [w for w in terms.weekend if all(_enough(p, p.weekend == w) for p in used)]
    if not parts or not weekend:
        return None
    moist: tuple[float, ...] = ()
    if moisture and all(np.isfinite(p.dewpoint_f).mean() > 0.9 for p in used):
        moist = tuple(
            t for t in _MOIST_F if all(np.mean(np.nan_to_num(p.dewpoint_f) > t + 2.0) >= _MOIST_FRAC for p in used)
        )
    return Terms(knots, tuple(parts), tuple(weekend), moist)


def _enough(hours: Hours, mask: np.ndarray) -> bool:
    return bool(np.count_nonzero(mask) >= _LEAST_HOURS) and len(np.unique(hours.day[mask])) >= _LEAST_DAYS


def _ends(hours: Hours) -> tuple[float, float]:
    """Outdoor temperatures beyond which too few hours of too few days lie."""
    order = np.argsort(hours.oat_f)
    ends = []
    for o in (order, order[::-1]):
        days = np.empty(len(o), int)
        seen: set[int] = set()
        for k, day in enumerate(hours.day[o]):
            seen.add(int(day))
            days[k] = len(seen)
            if days[k] >= _END_DAYS and k + 1 >= _END_HOURS:
                ends.append(float(hours.oat_f[o[k]]))
                break
        else:
            return np.inf, -np.inf
    return ends[0], ends[1]


def _knots(periods: list[Hours]) -> np.ndarray:
    """Outdoor temperatures between which lines are straight, each with hours of both periods behind it."""
    lows, highs = zip(*(_ends(p) for p in periods))
    low, high = max(lows), min(highs)
    if not high - low >= 1.0:
        return np.zeros(0)
    knots = np.linspace(low, high, max(int(round((high - low) / BIN_F)), 1) + 1)
    while len(knots) > 2:
        weakest, at = np.inf, 0
        for p in periods:
            inside = p.take((p.oat_f >= low) & (p.oat_f <= high))
            for k, row in enumerate(np.eye(len(knots))):
                share = np.interp(inside.oat_f, knots, row)
                days = len(np.unique(inside.day[share > 0.25]))
                strength = min(share.sum() / _LEAST_HOURS, days / _LEAST_DAYS)
                if strength < weakest:
                    weakest, at = strength, k
        if weakest >= 1.0:
            break
        # An end stays: the hours beyond it were counted; its neighbour goes.
        knots = np.delete(knots, min(max(at, 1), len(knots) - 2))
    return knots


@dataclass(frozen=True, slots=True)
class Compared:
    """Something measured in both periods, in the hours of the typical year.

    Parameters
    ----------
    terms : Terms
    before, after : Fit
    covered : ndarray (H,) of bool
        Running hours of the typical year like hours that both periods have.
    before_total, after_total : ndarray (Q,)
        Distributions of the energy in the covered hours: values at ``spread.QUANTILES``.
    saving : ndarray (Q,)
        Of the saving in the covered hours.
    held : float
        Saving in the other hours if in each it is what it is at the nearest temperature that is covered.
    saving_year : ndarray (Q,)
        Of the saving in all running hours: with those that are not covered at anything from none to twice ``held``.
    season : float
        Part of the saving that is a correction for the season of the logs, by the model.
    before_year_expected : float
        Energy before in all running hours.
    by_bin : tuple of dict
    """

    terms: Terms
    before: Fit
    after: Fit
    covered: np.ndarray
    before_total: np.ndarray
    after_total: np.ndarray
    saving: np.ndarray
    held: float
    saving_year: np.ndarray
    season: float
    before_year_expected: float
    by_bin: tuple[dict, ...]

    @property
    def covered_frac(self) -> float:
        """Share of the running hours of the typical year that is covered."""
        return float(self.covered.mean())

    def interval(self, confidence: float = 0.90) -> tuple[float, float]:
        """Of the saving in the covered hours."""
        return interval(self.saving, confidence)


def compare(
    before: Hours,
    after: Hours,
    year: Hours,
    name: str,
    moisture: bool = False,
    modelled: tuple[np.ndarray, np.ndarray] | None = None,
) -> Compared | None:
    """Both periods in the typical year, or None where they have too little in common.

    Parameters
    ----------
    before, after : Hours
    year : Hours
        Running hours of the typical year, each of one hour.
    name : str
        Which of the measured values.
    moisture : bool
        The dew point of outdoor air matters.
    modelled : two ndarrays (H,), optional
        The same of the model in the hours of the typical year, with the controls of before and after: by it goes the
        correction for the season.
    """
    before, after = before.measured(name), after.measured(name)
    if not len(before) or not len(after):
        return None
    terms = terms_of(before, after, year, moisture)
    if terms is None:
        return None
    x_year = terms.matrix(year)
    covered = terms.inside(year)
    if not covered.any():
        return None
    c, c_all = x_year[covered].sum(axis=0), x_year.sum(axis=0)
    periods = [p.take(terms.inside(p)) for p in (before, after)]
    fits, shifts = [], []
    for period, model in zip(periods, (None, None) if modelled is None else modelled):
        x, y = terms.matrix(period), period.values[name]
        if len(period) <= x.shape[1] + 5 or np.linalg.matrix_rank(x) < x.shape[1]:
            return None
        shift = 0.0
        if model is not None:
            off = season_deviation(year, x_year, model, period) * size_of(x, y)
            y = y - off
            shift = float(c @ np.linalg.lstsq(x, off, rcond=None)[0])
        fits.append(fit_hours(x, y, period.day))
        shifts.append(shift)
    season = shifts[1] - shifts[0]
    doubt = SEASON_DOUBT * abs(season) * ndtri(QUANTILES)
    totals = [fit.total(c) for fit in fits]
    saving = combined(totals[0], totals[1])
    if season:
        saving = combined(saving, doubt, 1.0)
    rest = c_all - c
    held = float(fits[0].expected(rest) - fits[1].expected(rest))
    # The year with the nearest temperatures held, then the hours beyond at anything from none to twice that.
    saving_year = combined(fits[0].total(c_all), fits[1].total(c_all))
    if season:
        saving_year = combined(saving_year, doubt, 1.0)
    if held:
        saving_year = combined(saving_year, (2.0 * QUANTILES - 1.0) * abs(held), 1.0)
    return Compared(
        terms=terms,
        before=fits[0],
        after=fits[1],
        covered=covered,
        before_total=totals[0],
        after_total=totals[1],
        saving=saving,
        held=held,
        saving_year=saving_year,
        season=season,
        before_year_expected=fits[0].expected(c_all),
        by_bin=tuple(_by_bin(terms, fits, periods[0], periods[1], year, covered, x_year)),
    )


def _by_bin(terms, fits, before, after, year, covered, x_year):
    """Means of the typical year's covered hours by bins of outdoor temperature and occupancy."""
    key = np.floor(np.round(year.oat_f, 6) / BIN_F).astype(int) * 2 + year.occupied
    lines = []
    for k in np.unique(key[covered]):
        here = covered & (key == k)
        c = x_year[here].mean(axis=0)
        count = lambda p, k=k: int(np.count_nonzero(np.floor(p.oat_f / BIN_F).astype(int) * 2 + p.occupied == k))
        lines.append(
            {
                "oat_low_f": float(k // 2 * BIN_F),
                "occupied": bool(k % 2),
                "hours_year": int(np.count_nonzero(here)),
                "hours_before": count(before),
                "hours_after": count(after),
                "before": fits[0].expected(c),
                "after": fits[1].expected(c),
            }
        )
    return lines
