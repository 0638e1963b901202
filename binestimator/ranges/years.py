"""Weather years that draws are made in: the run's own, and others that the project names.

Another year is an estimate of its own, with rows chosen in it, nights, demand and tiers of it, and the run's sizes;
setpoints that a strategy searches for are found in it. Draws in it are further rows of these.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from functools import partial

import numpy as np

from ..dataclass import dataclass
from ..errors import InputError
from ..estimate import estimate
from ..inputs.weather_years import shares_of
from ..results import Results
from .draw import Factors, taken
from .energies import Energies, Model
from .hourly import HourlyDraws, Hours
from .lines import Drawn
from .nights import NIGHTS, Nights, all_nights, with_nights
from .peaks import Demand, Peaks, is_asked
from .results import OWN, WEATHER, RangedInput, RangedYear

#: Key of the year among the drawn inputs, and its label.
YEAR = "weather_year"
LABEL = "Weather year"


@dataclass(frozen=True, slots=True, kw_only=True)
class Years:
    """Weather years from the coldest to the warmest, with what draws in each are evaluated with.

    ``names`` · ``shares`` probabilities (Y,) · ``own`` place of the run's own year · ``runs`` the estimate in each ·
    ``models`` of these · ``nights`` that stand for those of each · ``peaks`` hours that
    demand rests on in each, none where nothing rests on demand or tiers.
    """

    names: tuple[str, ...]
    shares: np.ndarray
    own: int
    runs: tuple[Results, ...]
    models: tuple[Model, ...]
    nights: tuple[Nights, ...]
    peaks: tuple[Peaks, ...]

    @classmethod
    def of(cls, results: Results, drawn: tuple[Drawn, ...], others: Sequence = (), nights: int = NIGHTS) -> Years:
        """Years of a run.

        Parameters
        ----------
        results : Results
        drawn : tuple of Drawn
        others : sequence of Weather
            Of ``steps.weather_years_of``, in the order of the project's terms.
        nights : int
            That stand for those of a year.

        Raises
        ------
        InputError
            Not one weather for each of the years that the project names.
        """
        records = results.project.terms.weather_years
        if len(others) != len(records):
            raise InputError(
                f"weather_year: the project names {len(records)} other years; got {len(others)}; expected the "
                "weather of each, as steps.weather_years_of(project, weather) reads it"
            )
        first = Model(results, drawn)
        runs, models = [results], [first]
        for weather in others:
            run = estimate(results.project, weather, sizes=results.held.sizes)
            runs.append(run)
            # Sizes of a draw follow from the design hours of the run's own year: the building stands.
            models.append(Model(run, drawn, first))
        order = sorted(range(len(runs)), key=lambda k: _mean_f(runs[k]))
        return cls(
            names=tuple(["own year", *(one.name for one in records)][k] for k in order),
            shares=np.array(shares_of(records))[order],
            own=order.index(0),
            runs=tuple(runs[k] for k in order),
            models=tuple(models[k] for k in order),
            nights=tuple(Nights(models[k], nights) for k in order),
            peaks=tuple(Peaks(models[k]) for k in order) if is_asked(results.project) else (),
        )

    @property
    def several(self) -> bool:
        """Whether draws are made in more than one year."""
        return len(self.runs) > 1

    def drawn(self, u) -> np.ndarray:
        """Places of the years of draws from points in [0, 1). (D,) of int"""
        return np.searchsorted(np.cumsum(self.shares)[:-1], u, side="right")

    # --- draws, each in its year ---------------------------------------------------------------

    def on_rows(
        self, factors: Factors, year: np.ndarray, progress: Callable[[float], None] | None = None
    ) -> dict[str, Energies]:
        """Energies of all options by id, in all draws. As ``Model.on_rows``"""
        tell, done = progress or (lambda share: None), 0

        def found(k: int, index: np.ndarray) -> dict[str, Energies]:
            nonlocal done
            part = partial(_part, tell, done / len(year), len(index) / len(year))
            done += len(index)
            mine = taken(factors, index)
            return with_nights(self.models[k].on_rows(mine, part), self.nights[k].changed(mine))

        return self._joined(year, found)

    def searched(self, factors: Factors, year: np.ndarray, ids: Sequence[str]) -> dict[str, Energies]:
        """Energies of options whose setpoints are searched for anew in each draw. As ``Model.searched``"""

        def found(k: int, index: np.ndarray) -> dict[str, Energies]:
            mine = taken(factors, index)
            return with_nights(self.models[k].searched(mine, ids), self.nights[k].changed(mine))

        return self._joined(year, found)

    def hour_by_hour(self, factors: Factors, year: np.ndarray, progress: Callable[[float], None]) -> HourlyDraws:
        """Draws hour by hour. As ``Hours.draws``"""
        serves: dict[str, np.ndarray] = {id_: np.zeros(len(year), dtype=bool) for id_ in self.runs[0].runs}
        done = 0

        def found(k: int, index: np.ndarray) -> dict[str, Energies]:
            nonlocal done
            part = partial(_part, progress, done / len(year), len(index) / len(year))
            done += len(index)
            mine = taken(factors, index)
            hourly = Hours(self.models[k]).draws(mine, len(index), part)
            for id_, each in hourly.serves.items():
                serves[id_][index] = each
            return with_nights(hourly.energies, self.nights[k].changed(mine))

        return HourlyDraws(energies=self._joined(year, found), serves=serves)

    def demand(self, factors: Factors, year: np.ndarray) -> DemandOfYears | None:
        """Demand in draws, each in its year; None where nothing rests on demand or tiers."""
        if not self.peaks:
            return None
        places = self._places(year)
        found = {k: self.peaks[k].under(taken(factors, index)) for k, index in places.items()}
        return DemandOfYears(places=places, found=found)

    def nights_alone(self, factors: Factors, year: np.ndarray, count: int) -> tuple[int, dict, dict]:
        """The first draws in the run's own year, so many at most: how many, what they change of its nights by the
        chosen nights, and by all."""
        index = np.flatnonzero(year == self.own)[:count]
        mine = taken(factors, index)
        return len(index), self.nights[self.own].changed(mine), all_nights(self.models[self.own], mine)

    def _places(self, year: np.ndarray) -> dict[int, np.ndarray]:
        """Draws of each year that has any."""
        return {k: np.flatnonzero(year == k) for k in range(len(self.runs)) if (year == k).any()}

    def _joined(self, year, found: Callable[[int, np.ndarray], dict[str, Energies]]) -> dict[str, Energies]:
        places = self._places(year)
        each = {k: found(k, index) for k, index in places.items()}
        return {
            id_: _in_order(places, {k: energies[id_] for k, energies in each.items()})
            for id_ in next(iter(each.values()))
        }

    # --- what is shown of them -----------------------------------------------------------------

    def shown(self, year: np.ndarray) -> tuple[RangedYear, ...]:
        """Records of the years, where there are several."""
        if not self.several:
            return ()
        return tuple(
            RangedYear(
                name=name,
                file=run.weather.file_name,
                station=run.weather.name,
                own=k == self.own,
                mean_f=_mean_f(run),
                share_frac=float(share),
                draws=int((year == k).sum()),
                cost_usd=run.baseline.annual["cost_usd"],
                saving_usd={c.id: c.saving["cost_usd"] for c in run.candidates},
            )
            for k, (name, share, run) in enumerate(zip(self.names, self.shares, self.runs, strict=True))
        )

    def as_input(self) -> RangedInput:
        """The year among the inputs that were drawn."""
        cumulative = np.cumsum(self.shares)
        at = lambda share: self.names[int(np.searchsorted(cumulative[:-1], share, side="right"))]
        return RangedInput(
            key=YEAR,
            label=LABEL,
            kind=WEATHER,
            paths=(),
            low=self.names[0],
            base=self.names[self.own],
            high=self.names[-1],
            p10=at(0.1),
            p90=at(0.9),
            distribution="; ".join(
                f"{name} {100.0 * share:.0f} %" for name, share in zip(self.names, self.shares, strict=True)
            ),
            basis=OWN,
            status="",
            source="weather files of the project",
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class DemandOfYears:
    """Demand in draws of several years: ``places`` of the draws of each, and what was ``found`` in it."""

    places: Mapping[int, np.ndarray]
    found: Mapping[int, Demand]

    def charges_usd(self, id_: str, compressor, amounts: Mapping[str, np.ndarray]) -> np.ndarray:
        """As ``Demand.charges_usd``"""
        out = np.zeros(np.shape(compressor))
        for k, index in self.places.items():
            mine = {key: values[index] for key, values in amounts.items()}
            out[index] = self.found[k].charges_usd(id_, compressor[index], mine)
        return out

    @property
    def windows(self) -> tuple[int, ...]:
        """Places of the windows whose demand is drawn."""
        return tuple(next(iter(self.found.values())).peaks.of_window)

    def window_kw(self, id_: str, window: int, compressor) -> np.ndarray:
        """As ``Demand.window_kw``"""
        out = np.zeros(np.shape(compressor))
        for k, index in self.places.items():
            out[index] = self.found[k].window_kw(id_, window, compressor[index])
        return out


def _part(tell: Callable[[float], None], before: float, mine: float, share: float) -> None:
    """Tell the share that is done of the whole, from the share of one year's part."""
    tell(before + share * mine)


def _mean_f(run: Results) -> float:
    return float(run.weather.frame["oat_f"].mean())


def _in_order(places: Mapping[int, np.ndarray], found: Mapping[int, Energies]) -> Energies:
    """Draws of several years back in their order."""
    order = np.argsort(np.concatenate([places[k] for k in places]), kind="stable")
    return Energies.joined([found[k] for k in places]).take(order)
