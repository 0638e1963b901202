"""What moves a saving: drivers, what to measure next, where it breaks even."""

from __future__ import annotations

import numpy as np

from ..end_uses import ELECTRICITY_KEY
from ..inputs.paths import known_path
from ..money.life_cycle import life_cycle
from ..rates import Rates
from ..results import CandidateResult, Results
from .distributions import Distribution
from .effects import HIGH, LOW, Effects
from .lines import Drawn
from .money import MoneyDraws
from .percentiles import quantiles
from .points import DrawnPoints
from .results import (
    OWN,
    BreakEven,
    Driver,
    MeasureNext,
)
from .years import LABEL, YEAR, Years

#: A driver below this share of the variance is not shown. [-]
LEAST_SHARE = 0.005


def effects_of(points: DrawnPoints, years: Years) -> Effects:
    """Effects of all inputs on quantities (D K,) of the draws."""
    k = points.nested.shape[1]
    shares = {key: np.repeat(u, k) for key, u in points.shares.items()}
    shares |= {key: np.ravel(u) for key, u in points.nested.shares.items() if key != "realisation"}
    together = {}
    for one in points.drawn:
        if one.line.together:
            others = [
                other.key for other in points.drawn if other.line.together == one.line.together and other is not one
            ]
            together[one.key] = others
    return Effects(shares, together, {YEAR: np.repeat(points.year, k)} if years.several else {})


def drivers_by_share(points: DrawnPoints, found, years: Years) -> tuple[Driver, ...]:
    out = []
    of_year = found.get(YEAR)
    if of_year is not None and of_year.share >= LEAST_SHARE:
        out.append(
            Driver(
                key=YEAR,
                label=LABEL,
                low=years.names[0],
                high=years.names[-1],
                low_usd=of_year.low,
                high_usd=of_year.high,
                spread_frac=of_year.share,
                basis=OWN,
            )
        )
    for one in points.drawn:
        effect = found.get(one.key)
        if effect is None or effect.share < LEAST_SHARE:
            continue
        low, high = one.distribution.quantile(np.array([LOW, HIGH]))
        out.append(
            Driver(
                key=one.key,
                label=one.line.label,
                low=words_of(one, low),
                high=words_of(one, high),
                low_usd=effect.low,
                high_usd=effect.high,
                spread_frac=effect.share,
                basis=one.basis,
            )
        )
    return tuple(sorted(out, key=lambda driver: -round(driver.spread_frac, 9)))


def words_of(one: Drawn, number: float) -> str:
    """A factor or difference in words: the value itself where the line is about one input."""
    line = one.line
    if line.act in ("weather", "found_sat"):
        return f"{number:+.1f} degF"
    if line.act == "pattern":
        return f"{100.0 * number:+.0f} %"
    if line.act == "realisation":
        return f"{100.0 * number:.0f} %"
    value = one.items[0].value
    if len(one.items) == 1 and value is not None and line.act not in ("cost", "found_dsp", "people", "from_one"):
        unit = known_path(one.items[0].path).field.unit
        new = value + number if line.base == 0.0 else value * number
        digits = f"{float(f'{new:.3g}'):,.0f}" if abs(new) >= 1000.0 else f"{new:.3g}"
        return f"{digits} {unit}".strip()
    return f"x {number:.2f}"


def measures_of(points: DrawnPoints, effects: Effects, paid: MoneyDraws) -> tuple[MeasureNext, ...]:
    found = effects.of(np.ravel(paid.saving_usd))
    saving = quantiles(paid.saving_usd, None)
    spread = saving.spread or 0.0
    out = []
    for one in points.drawn:
        effect = found.get(one.key)
        line = one.line
        if effect is None or not line.measure or effect.share < LEAST_SHARE or line.kind == "realisation":
            continue
        low, high = line.ends[-1]
        left = Distribution(line.distribution, low, line.base, high).width / max(one.distribution.width, 1e-12)
        removed = 1.0 - np.sqrt(1.0 - effect.share * max(1.0 - left**2, 0.0))
        if removed > 0.0:
            out.append(
                MeasureNext(
                    key=one.key,
                    label=line.label,
                    what=line.measure,
                    spread_removed_frac=float(removed),
                    spread_removed_usd=float(removed * spread),
                )
            )
    return tuple(sorted(out, key=lambda each: -round(each.spread_removed_frac, 9)))


def break_even_of(results: Results, c: CandidateResult, paid: MoneyDraws) -> BreakEven:
    """Electricity price at which the net present value is 0, all else as in the run; the incentive does not follow."""
    project = results.project
    one = lambda value: float(np.ravel(value)[0])
    by_source = {key: one(value) for key, value in paid.saving_by_source_usd.items()}
    zero = dict.fromkeys(by_source, 0.0)
    terms = project.life_cycle
    worth = lambda sources: one(life_cycle(0.0, 0.0, zero | sources, 0.0, terms, internal=False).saved_present_usd)
    electric = worth({ELECTRICITY_KEY: by_source[ELECTRICITY_KEY]})
    rest = one(paid.life.npv_usd) - electric
    flat = not isinstance(results.unit.prices, Rates)
    price = project.prices.electricity_usd_kwh
    money = project.prices.currency
    if abs(electric) <= 1e-9:
        return BreakEven(usd_kwh=None, multiple=None, words="does not depend on the price of electricity")
    multiple = -rest / electric
    if multiple <= 0.0:
        words = "worth it at any price of electricity" if electric > 0.0 else "not worth it at any price of electricity"
        return BreakEven(usd_kwh=None, multiple=None, words=words)
    side = "above" if electric > 0.0 else "below"
    at = f"{multiple * price:.3g} {money}/kWh" if flat else f"{multiple:.2g} times today's prices of electricity"
    return BreakEven(usd_kwh=multiple * price if flat else None, multiple=multiple, words=f"worth it {side} {at}")
