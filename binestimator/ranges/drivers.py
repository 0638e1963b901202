"""What the saving depends on, for people: inputs as they were drawn, or assumptions one at a time where no draws were
made."""

from __future__ import annotations

from dataclasses import replace

from binestimator.results import Results

from ..dataclass import dataclass
from .results import sensible

#: Drivers that people are shown.
MOST_SHOWN = 5


@dataclass(frozen=True, slots=True, kw_only=True)
class ShownDriver:
    """An input and what the saving is at both ends of it.

    ``paths`` of the input · ``label`` · ``low``, ``high`` ends, in words · ``saving_low_usd``, ``saving_high_usd``
    saving there [USD/yr] · ``saving_low_pct``, ``saving_high_pct`` the same as a share of the baseline's cost [%] ·
    ``points`` how far the share moves between both ends, or from the run's where one input is changed at a time
    [points] · ``source`` of the ends.
    """

    paths: tuple[str, ...]
    label: str
    low: str
    high: str
    saving_low_usd: float
    saving_high_usd: float
    saving_low_pct: float
    saving_high_pct: float
    points: float
    source: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Drivers:
    """``option_id`` that ``shown``, the strongest first, are about; ``how`` both ends were tried, in words."""

    option_id: str | None
    how: str
    shown: tuple[ShownDriver, ...]


def drivers_of(results: Results) -> Drivers:
    """What the saving of the advised option depends on."""
    cost_usd = results.baseline.annual["cost_usd"]
    share_pct = lambda usd: 100.0 * usd / cost_usd if cost_usd > 0.0 else 0.0
    if results.ranges is not None:
        about = results.ranges.about_id
        if about is None:
            return Drivers(option_id=None, how="", shown=())
        option, inputs = results.ranges[about], {one.key: one for one in results.ranges.inputs}
        saving, shown = option.quantities["cost_saving_usd"], []
        for driver in option.drivers[:MOST_SHOWN]:
            one = inputs[driver.key]
            low, high = (
                float(sensible(replace(saving, run=usd)).run or 0.0) for usd in (driver.low_usd, driver.high_usd)
            )
            shown.append(
                ShownDriver(
                    paths=one.paths,
                    label=driver.label,
                    low=driver.low,
                    high=driver.high,
                    saving_low_usd=low,
                    saving_high_usd=high,
                    saving_low_pct=share_pct(low),
                    saving_high_pct=share_pct(high),
                    points=abs(share_pct(high) - share_pct(low)),
                    source=one.source,
                )
            )
        return Drivers(option_id=about, how="with one input at its P10, then P90, in all draws", shown=tuple(shown))
    advice = results.advice
    if advice is None:
        return Drivers(option_id=None, how="", shown=())
    return Drivers(
        option_id=advice.drivers_of,
        how="with one assumption changed at a time",
        shown=tuple(
            ShownDriver(
                paths=(each.assumption.path,),
                label=each.assumption.label,
                low=each.low,
                high=each.high,
                saving_low_usd=each.saving_low_usd,
                saving_high_usd=each.saving_high_usd,
                saving_low_pct=each.saving_low_pct,
                saving_high_pct=each.saving_high_pct,
                points=each.points,
                source=each.assumption.source,
            )
            for each in advice.drivers
        ),
    )
