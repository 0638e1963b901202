"""Whether a result may stand behind a programme claim: what its saving depends on must have been looked at."""

from __future__ import annotations

from binestimator.results import Results

from ..dataclass import dataclass
from .results import DEFAULT, PHYSICS, PLANT, SETPOINTS

#: An input that makes up less of the variance of the saving than this may stay a default (assumption).
LEAST_SPREAD_FRAC = 0.05
#: Points of the saving, from end to end of the range that is tried, below which an assumption may stay a default where
#: no draws were made (assumption).
LEAST_POINTS = 1.0
# A programme pays for energy: prices, costs, weather and what practice leaves are its own business.
_KINDS = (PHYSICS, SETPOINTS, PLANT)


@dataclass(frozen=True, slots=True)
class Claim:
    """What stands between a result and a programme claim.

    ``option_id`` that it is about, None where no option is worth claiming · ``defaults`` labels of the inputs that the
    saving depends on and nobody has looked at, the strongest first.
    """

    option_id: str | None
    defaults: tuple[str, ...]

    @property
    def fit(self) -> bool:
        """Whether nothing stands between."""
        return self.option_id is not None and not self.defaults

    @property
    def words(self) -> str:
        """The defaults that it rests on, in a sentence."""
        small = [label if label[:2].isupper() else label[:1].lower() + label[1:] for label in self.defaults]
        return " and ".join(filter(None, (", ".join(small[:-1]), *small[-1:])))


def claim_of(results: Results) -> Claim:
    """What stands between a result and a programme claim, by its ranges, or by its drivers where none were drawn."""
    if results.ranges is not None:
        about = results.ranges.about_id
        if about is None:
            return Claim(None, ())
        kinds = {one.key: one.kind for one in results.ranges.inputs}
        drivers = sorted(results.ranges[about].drivers, key=lambda driver: -driver.spread_frac)
        return Claim(
            about,
            tuple(
                driver.label
                for driver in drivers
                if driver.basis == DEFAULT
                and kinds.get(driver.key) in _KINDS
                and driver.spread_frac >= LEAST_SPREAD_FRAC
            ),
        )
    advice = results.advice
    if advice is None or advice.drivers_of is None:
        return Claim(None, ())
    # What somebody measured, read off or trended is not among the drivers of the advice.
    found = [each for each in advice.drivers if each.points >= LEAST_POINTS]
    labels = (each.assumption.label for each in found if not each.assumption.path.startswith("prices."))
    return Claim(advice.drivers_of, tuple(labels))
