"""Figures of a run beside what is usual, so that a slip of an input is seen at once.

The ranges are data (``benchmarks.csv``) with their sources. A figure outside is not a mistake, but it
needs an explanation.
"""

from __future__ import annotations

import csv
import functools
from importlib import resources

from .dataclass import dataclass
from .end_uses import site_kbtu
from .model.fan import fan_power_at, secondary_design_kw
from .rates import typical_prices

# What lies outside, and what to look at first.
_REMARKS = {
    "fan_w_cfm": (
        "a small fan duty: check design pressure and efficiencies",
        "a heavy fan duty: check design pressure, efficiencies and the measured point",
    ),
    "cfm_ft2": (
        "little air: check design airflow and floor areas",
        "much air: check design airflow, floor areas and gains",
    ),
    "oa_cfm_ft2": (
        "little outdoor air: check the minimum against the rates and local code",
        "much outdoor air: check minimum, occupancy and rates",
    ),
    "ft2_ton": (
        "a large plant: check capacity and floor areas",
        "a small plant, or a cool climate: check capacity and floor areas",
    ),
    "kbtu_ft2": (
        "little energy: check hours, setpoints and plant",
        "much energy: check hours, minimum airflows and outdoor air",
    ),
    "usd_ft2": ("a low cost: check prices and hours", "a high cost: check prices, hours and what drives the energy"),
}
_PRICE_REMARK = ("a low price: check its unit", "a high price: check its unit; savings follow it in proportion")


@dataclass(frozen=True, slots=True)
class Benchmark:
    """A figure of a run with its usual range.

    Parameters
    ----------
    key, label, unit, what, source : str
    value : float
    low, high : float
        Usual range, ends included.
    remark : str
        What to look at when the figure lies outside; empty within.
    """

    key: str
    label: str
    unit: str
    value: float
    low: float
    high: float
    what: str
    source: str
    remark: str

    @property
    def usual(self) -> bool:
        """Whether it lies within the usual range."""
        return self.low <= self.value <= self.high

    @property
    def price(self) -> bool:
        """Whether it is a price that the user gives."""
        return self.key not in _REMARKS


@functools.cache
def ranges() -> tuple[dict[str, str], ...]:
    """Rows of ``benchmarks.csv``."""
    text = resources.files("binestimator").joinpath("benchmarks.csv").read_text(encoding="utf-8")
    return tuple(csv.DictReader(text.splitlines()))


def benchmarks(unit, annual: dict[str, float]) -> tuple[Benchmark, ...]:
    """Figures of the baseline beside what is usual.

    Parameters
    ----------
    unit : Unit
        Of the baseline.
    annual : dict
        Figures of the baseline, by the keys of ``results.ANNUAL``.

    Returns
    -------
    tuple of Benchmark
        In the order of ``benchmarks.csv``; what the project has not (a plant, an energy) is left out.
    """
    prices = typical_prices(unit.prices)
    fan_kw = float(fan_power_at(unit, unit.design_cfm, unit.fan.design_total_inwc).kw) + secondary_design_kw(unit)
    area = float(unit.zones.area_ft2 @ unit.zones.multiplier)
    site = site_kbtu(annual)
    tons = unit.cooling_tons if unit.cooling.type in ("chilled_water", "direct_expansion") else 0.0
    runs = annual["running_hours"] > 0.0
    values = {
        "fan_w_cfm": 1000.0 * fan_kw / unit.design_cfm,
        "cfm_ft2": unit.design_cfm / area,
        "oa_cfm_ft2": unit.oa_minimum_cfm / area,
        "ft2_ton": area / tons if tons > 0.0 else None,
        "kbtu_ft2": site / area if runs else None,
        "usd_ft2": annual["cost_usd"] / area if runs else None,
        "electricity_usd_kwh": prices.electricity_usd_kwh if annual["electricity_kwh"] > 0.0 else None,
        "fuel_usd_therm": prices.fuel_usd_therm if annual["fuel_therm"] > 0.0 else None,
        "cooling_usd_kbtu": prices.cooling_usd_kbtu if annual["purchased_cooling_kbtu"] > 0.0 else None,
        "heat_usd_kbtu": prices.heat_usd_kbtu if annual["purchased_heating_kbtu"] > 0.0 else None,
    }
    out = []
    for row in ranges():
        value = values[row["key"]]
        if value is None:
            continue
        low, high = float(row["low"]), float(row["high"])
        words = _REMARKS.get(row["key"], _PRICE_REMARK)
        remark = words[0] if value < low else words[1] if value > high else ""
        out.append(
            Benchmark(
                row["key"], row["label"], row["unit"], float(value), low, high, row["what"], row["source"], remark
            )
        )
    return tuple(out)
