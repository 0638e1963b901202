"""How long to measure: weeks before and after that prove a saving to the wanted confidence, interval, points.

Weeks to come have the weather of the typical year in their season; their days scatter as those seen so far do. With
that
the uncertainty of the comparison is known before it is measured: the same terms, the same covariance of days.
"""

from __future__ import annotations

from collections.abc import Sequence
from functools import cache

import numpy as np
from scipy.special import stdtrit

from binestimator.dataclass import dataclass
from binestimator.realised.compare import MOST_HELD, terms_of
from binestimator.realised.hours import Hours
from binestimator.realised.season import SEASON_DOUBT, Climate, season_deviation
from binestimator.realised.spread import Fit, sizes_of

_DAYS = 365
#: Longest spells that are looked through. [weeks]
MOST_WEEKS = 52
#: Further weeks before that are tried.
_BEFORE_STEPS = (0, 2, 4, 8, 13, 26, 39)


@dataclass(frozen=True, slots=True)
class Spread:
    """How days scatter about their weather.

    Parameters
    ----------
    rho, day_frac, sigma : float
        Correlation from day to day, share of days in the variance, standard deviation of an hour relative to its size.
    days : int
        Behind it.
    """

    rho: float
    day_frac: float
    sigma: float
    days: int

    @classmethod
    def of(cls, fit: Fit) -> Spread:
        """Means of what a log allows."""
        mean = lambda v: float(fit.weight @ v)
        return cls(mean(fit.rho), mean(fit.day_frac), mean(fit.sigma), fit.days)


@dataclass(frozen=True, slots=True)
class Expected:
    """What a comparison would be worth.

    Parameters
    ----------
    half_width : float
        Of the interval of the saving in the covered hours. [unit of the measured]
    saving : float
        In the covered hours, that is expected.
    covered_frac : float
        Share of the typical year's running hours.
    """

    half_width: float
    saving: float
    covered_frac: float

    @property
    def precision(self) -> float:
        """Half width over saving."""
        return self.half_width / abs(self.saving) if self.saving else np.inf


def expected(
    year: Hours,
    modelled: tuple[np.ndarray, np.ndarray],
    spells: tuple[np.ndarray, np.ndarray],
    spread: tuple[Spread, Spread],
    saving: float,
    confidence: float,
    moisture: bool = False,
    climate: Climate | None = None,
) -> Expected | None:
    """What logs of these days of the year would say, or None where they have too little in common.

    Parameters
    ----------
    year : Hours
        Running hours of the typical year.
    modelled : two ndarrays (H,)
        What is measured, as the model has it before and after.
    spells : two ndarrays of int
        Days of the year (0 to 364) before and after.
    spread : two Spread
    saving : float
        That is expected in the whole year.
    confidence : float
    climate : Climate, optional
        Of the year, where it is at hand.
    """
    places = [np.flatnonzero(np.isin(year.day, days % _DAYS)) for days in spells]
    designs = [year.take(place) for place in places]
    if not all(len(d) for d in designs):
        return None
    terms = terms_of(designs[0], designs[1], year, moisture)
    if terms is None:
        return None
    x_year, covered = terms.matrix(year), terms.inside(year)
    if not covered.any():
        return None
    c = x_year[covered].sum(axis=0)
    variance, shifts, independent = 0.0, [], 0.0
    for design, place, days, model, one in zip(designs, places, spells, modelled, spread):
        inside = terms.inside(design)
        design, y = design.take(inside), model[place][inside]
        x = terms.matrix(design)
        if len(design) <= x.shape[1] + 5 or np.linalg.matrix_rank(x) < x.shape[1]:
            return None
        order = {int(day % _DAYS): k for k, day in enumerate(days)}
        m = sizes_of(x, y)[1]
        variance += _variance(x, m, np.array([order[int(d)] for d in design.day]), c, one)
        count = len(np.unique(design.day))
        independent += max(count * (1.0 - one.rho) / (1.0 + one.rho) - 1.0, 1.0)
        off = season_deviation(year, x_year, model, design, climate) * m
        shifts.append(float(c @ np.linalg.lstsq(x, off, rcond=None)[0]))
    share = covered.mean()
    claimed = modelled[0] - modelled[1]
    if abs(claimed.sum()) > 0.0:
        share = float(claimed[covered].sum() / claimed.sum())
    doubt = SEASON_DOUBT * (shifts[1] - shifts[0])
    t = float(stdtrit(independent, 0.5 + 0.5 * confidence))
    return Expected(t * float(np.sqrt(variance + doubt**2)), saving * share, float(covered.mean()))


def _variance(x: np.ndarray, m: np.ndarray, day: np.ndarray, c: np.ndarray, one: Spread) -> float:
    """Variance of ``c b`` of least squares, where hours of size ``m`` and days scatter as in ``spread``."""
    xs = x / m[:, None]
    inverse = np.linalg.inv(xs.T @ xs)
    days, place = np.unique(day, return_inverse=True)
    zx = np.zeros((len(days), x.shape[1]))
    np.add.at(zx, place, xs)
    w = inverse @ c
    of_days = zx @ w
    near = one.rho ** np.abs(days[:, None] - days[None, :])
    return one.sigma**2 * (
        one.day_frac * float(of_days @ near @ of_days) + (1.0 - one.day_frac) * float(np.sum((xs @ w) ** 2))
    )


@dataclass(frozen=True, slots=True)
class Weeks:
    """A plan: weeks to measure, beyond what there is, and what comes of it.

    Parameters
    ----------
    before, after : int
        Further weeks.
    expected : Expected or None
    enough : bool
        Precise enough, and enough of the year covered.
    """

    before: int
    after: int
    expected: Expected | None
    enough: bool


def spell(first: int, weeks: int) -> np.ndarray:
    """Days of the year of weeks that follow one another."""
    return first + np.arange(7 * weeks)


def plan_weeks(
    year: Hours,
    modelled: tuple[np.ndarray, np.ndarray],
    have: tuple[np.ndarray, np.ndarray],
    spread: tuple[Spread, Spread],
    saving: float,
    confidence: float,
    precision: float,
    *,
    start: int | None = None,
    more_before: bool = True,
    moisture: bool = False,
) -> tuple[Weeks | None, list[Weeks]]:
    """The fewest further weeks that are enough, and what fewer and more would give.

    Parameters
    ----------
    have : two ndarrays of int
        Days of the year that are measured already, in the order of time; they may be none.
    saving : float
        Expected in the year, in the unit of what is measured.
    confidence, precision : float
        Of the interval, and its half width over the saving.
    start : int, optional
        Day of the year on which the next weeks begin; the day after the last one measured where not given.
    more_before : bool
        Weeks before may still be measured.

    Returns
    -------
    best : Weeks or None
        None where a year is not enough.
    table : list of Weeks
        Of the further weeks before that are best, by weeks after.
    """

    climate = Climate.of(year)

    @cache
    def tried(before: int, after: int) -> Weeks:
        last = have[1] if len(have[1]) else have[0]
        begin = (int(last[-1]) + 1 if len(last) else 0) if start is None else start
        first = np.concatenate([have[0], spell(begin, before)]).astype(int)
        second = np.concatenate([have[1], spell(begin + 7 * before, after)]).astype(int)
        days = _once(first), _once(second)
        found = expected(year, modelled, days, spread, saving, confidence, moisture, climate)
        ok = found is not None and found.precision <= precision and found.covered_frac >= 1.0 - MOST_HELD
        return Weeks(before, after, found, ok)

    best: Weeks | None = None
    for before in _BEFORE_STEPS if more_before else (0,):
        most = MOST_WEEKS if best is None else best.before + best.after - before - 1
        low = _fewest(lambda after, before=before: tried(before, after), most)
        if low is not None and (best is None or low.before + low.after < best.before + best.after):
            best = low
    shown = best.before if best is not None else 0
    table = [tried(shown, after) for after in sorted({2, 4, 8, 13, 26, 39, 52, *([best.after] if best else [])})]
    return best, table


def _once(days: np.ndarray) -> np.ndarray:
    """Days in their order, those of a second year left out: the typical year has each once."""
    _, first = np.unique(days % _DAYS, return_index=True)
    return days[np.sort(first)]


def _fewest(tried, most: int) -> Weeks | None:
    """The least number of weeks that is enough, by coarse steps and then fine ones."""
    last = 0
    for after in (0, 2, 4, 6, 8, 10, 13, 16, 20, 26, 32, 39, 45, 52):
        if after > most:
            return None
        found = tried(after)
        if found.enough:
            for fine in range(last + 1, after):
                one = tried(fine)
                if one.enough:
                    return one
            return found
        last = after
    return None


# ---------------------------------------------------------------- sampling


def sampling(values: np.ndarray, on: np.ndarray, step_s: int, spread: Spread) -> Sequence[tuple[int, float]]:
    """What coarser sampling adds to the scatter of hours.

    Parameters
    ----------
    values : ndarray (R,)
        Measured, by slots that follow one another.
    on : ndarray (R,) of bool
        Slots with the fan running.
    step_s : int
    spread : Spread

    Returns
    -------
    list of (minutes, share)
        Interval of single samples, and by how much the standard deviation of an hour about its day grows.
    """
    per_hour = 3600 // step_s
    if per_hour < 2:
        return []
    whole = len(values) // per_hour * per_hour
    v = values[:whole].reshape(-1, per_hour).astype(float)
    good = (np.isfinite(v) & on[:whole].reshape(-1, per_hour)).all(axis=1)
    v = v[good]
    if len(v) < 24:
        return []
    mean = v.mean(axis=1)
    own = (1.0 - spread.day_frac) ** 0.5 * spread.sigma
    found = []
    for minutes in (1, 5, 10, 15, 30, 60):
        step = minutes * 60 // step_s
        if step < 1 or minutes * 60 % step_s:
            continue
        off = v[:, ::step].mean(axis=1) / np.maximum(mean, 1e-9) - 1.0
        extra = float(np.sqrt(np.mean(off**2)))
        found.append((minutes, float(np.hypot(own, extra) / max(own, 1e-9) - 1.0)))
    return found


def points_wanted(option, measured: str = "fan_kw") -> list[tuple[str, int, str]]:
    """Points to log: kind, longest interval [min], and why.

    Parameters
    ----------
    option : Candidate
    """
    from binestimator.strategies.registry import dsp_strategy, sat_strategy

    wanted = [
        ("oat", 15, "brings both periods to the typical year"),
        ("supply_fan_power", 15, "is what is proven; a speed with one measured kW is no proof"),
        ("supply_fan_status", 5, "tells running hours"),
        ("mode", 15, "tells occupied hours where the fan runs outside them"),
        ("dsp_setpoint", 5, "shows whether the reset acts"),
        ("dsp", 5, "shows whether the setpoint is held"),
        ("sat_setpoint", 5, "shows whether the reset acts"),
        ("sat", 5, "shows whether the setpoint is held, and gives cooling with airflow and mixed air"),
        ("supply_flow", 15, "tells a change of load from the reset"),
        ("mat", 15, "gives the cooling of the coil"),
        ("rat", 15, "tells a change of load from the reset"),
        ("cooling_valve", 15, "tells when the coil cools"),
        ("oa_rh", 15, "cooling of humid outdoor air goes by moisture"),
    ]
    if sat_strategy(option.sat).listens:
        wanted += [
            ("zone_temp", 5, "every zone: which zones ask for colder air"),
            ("zone_cooling_setpoint", 15, "every zone: a changed setpoint is no reset"),
        ]
    if dsp_strategy(option.dsp).listens:
        wanted += [
            ("zone_damper", 5, "every zone: which zones ask for pressure"),
            ("zone_flow", 15, "every zone: starved zones"),
            ("zone_flow_setpoint", 15, "every zone: a changed minimum is no reset"),
        ]
    return wanted
