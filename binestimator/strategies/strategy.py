"""What a strategy is: one object that says all that the program has to know of it.

Its inputs are rows of ``inputs/inputs.csv``; its setpoint in rows, the formula of it, its range and its words are
together in the module of the strategy. ``registry`` lists the strategies.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import Protocol

import numpy as np

from ..dataclass import dataclass
from ..hours import Conditions
from ..model.loads import ZoneLoads
from ..model.unit import Unit
from .limits import SatLimits


@dataclass(frozen=True, slots=True, kw_only=True)
class SatRows:
    """What a supply temperature strategy may read in R rows: what zones ask for, never what they get.

    ``limits`` of the reset, None for a strategy that does not reset · ``dsp_of_sat`` duct pressure setpoint (R,) of the
    partner strategy for ``(conditions, loads, sat_f)`` · ``resets_pressure`` whether that partner moves its setpoint ·
    ``other_sats`` supply temperatures (R,) of other candidates [degF] · ``held_sat`` those that this candidate found in
    an earlier run, or None · ``held_dsp_inwc`` duct pressure (R,) that stands whatever the supply temperature, or
    None · ``held_pulled_f`` what :meth:`SatStrategy.pulled_f` gave in an earlier run, or None.
    """

    unit: Unit
    conditions: Conditions
    loads: ZoneLoads
    limits: SatLimits | None
    dsp_of_sat: Callable
    resets_pressure: bool
    other_sats: tuple[np.ndarray, ...] = ()
    held_sat: np.ndarray | None = None
    held_dsp_inwc: np.ndarray | None = None
    held_pulled_f: np.ndarray | None = None

    def take(self, index) -> SatRows:
        """The rows with these positions, as :meth:`SatStrategy.limited` asks for some of them again: limits and other
        candidates' temperatures stay whole."""
        pick = lambda values: None if values is None else values[index]
        return replace(
            self,
            unit=self.unit.take(index),
            conditions=self.conditions.take(index),
            loads=self.loads.take(index),
            held_dsp_inwc=pick(self.held_dsp_inwc),
            held_pulled_f=pick(self.held_pulled_f),
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class DspRows:
    """What a duct pressure strategy may read in R rows.

    ``oat_f``, ``occupied`` (R,) · ``requested_cfm`` and ``cooling_cfm`` give, when called, what zones ask for and what
    holds their cooling setpoints (R, Z) [cfm]; they are worked out only where a strategy reads them · ``thresholds``
    gives what follows from them for a strategy that listens (``demand.pressure_thresholds_inwc``), where it is known.
    """

    unit: Unit
    oat_f: np.ndarray
    occupied: np.ndarray
    requested_cfm: Callable[[], np.ndarray]
    cooling_cfm: Callable[[], np.ndarray]
    thresholds: Callable[[], tuple[np.ndarray, ...]] | None = None


class Parameters(Protocol):
    """Where a strategy writes its parameters for formulas; each becomes a name ``p.<part>_<name>``."""

    def input(self, field: str, name: str | None = None) -> None:
        """An input of the candidate, by another name if one is given."""

    def points(self, field: str, x_unit: str = "") -> None:
        """Points of a line: names ``.x``, ``.y``, ``.s`` and ``.y1``."""

    def derived(self, name: str, label: str, unit: str, template: str) -> None:
        """A number that follows from others."""


class Columns(Protocol):
    """Where a strategy writes the columns of its setpoint, in a pass of the calculation.

    Where supply air floats the zones are worked out more than once; ``own`` names a column of this pass.
    """

    def own(self, key: str) -> str:
        """Template of a column of this pass."""

    def column(
        self,
        key: str,
        label: str,
        unit: str,
        template: str,
        style: str = "f2",
        wanted: Callable[[Conditions], np.ndarray] | None = None,
    ) -> None:
        """A column of one number a row.

        ``wanted`` gives what the engine has there, with which the formula is compared in every run; the setpoint itself
        always is.
        """

    def zones(self, key: str, label: str, unit: str, template: str, style: str = "f0") -> None:
        """A block of one column a zone."""

    def line(self, x: str, points: str = "points") -> str:
        """Template of straight lines through points of the candidate, flat outside."""

    def cooling_per_cfm(self) -> str:
        """Template of the heat that a cfm takes from a room at its cooling setpoint. [Btu/h per cfm]"""

    def values(self, key: str, label: str, unit: str, *, pulled: bool = False) -> str:
        """A column of values for what no formula finds: the engine's setpoints, or how much colder rooms short of air
        pull supply air (:meth:`SatStrategy.pulled_f`); gives its template."""

    def settled(self) -> None:
        """Columns ``<part>_ask_1`` to ``_3`` and ``<part>_release_1`` to ``_3``: where the requests of each level
        settle."""


class Strategy:
    """A way to set supply air temperature or duct static pressure.

    ``name`` as in the inputs · ``words`` in tables and under charts · ``about`` its line in the README · ``resets``
    the limits of resets bind it and its ends are reported · ``listens`` it goes by requests of zones ·
    ``changes_nothing`` it leaves the setpoint as it was found · ``note`` what its figures leave out, a finding of every
    run that has it, or empty. Of its kind:
    ``part`` section of its inputs · ``suffix`` unit at the end of their names · ``shown_unit`` the same for people ·
    ``what`` it sets, in words.
    """

    part: str
    suffix: str
    shown_unit: str
    what: str

    name: str
    words: str
    about: str
    resets = False
    listens = False
    changes_nothing = False
    note = ""

    def range(self, record) -> tuple[float, float]:
        """Lowest and highest setpoint that the strategy may give; of a reset the ends that are reported."""
        return getattr(record, f"min_{self.suffix}"), getattr(record, f"max_{self.suffix}")

    def say(self, record) -> str:
        """The strategy with its parameters in one sentence, without operators' overrides."""
        low, high = self.range(record)
        return f"{self.words} from {low:g} to {high:g} {self.shown_unit}"

    def parameters(self, record, sheet: Parameters) -> None:
        """Write the parameters that formulas read, in the order of the sheet."""
        sheet.input(f"min_{self.suffix}", "low")
        sheet.input(f"max_{self.suffix}", "high")

    def formula(self, record, sheet: Columns) -> str:
        """Write helper columns and give the template of the setpoint.

        A reset of supply air finds the warmest that the limits allow in ``{sat_top}`` (unless ``held``).
        """
        raise NotImplementedError


class SatStrategy(Strategy):
    """A way to set the supply air temperature. ``buildable`` is False for a limit that no control loop reaches;
    ``searches`` is True where it needs to know the supply temperatures of the other candidates; ``held`` where no
    formula finds its setpoint in rows, which sheets then hold as values; ``seeks`` where a controller moves it by its
    own estimate of cost."""

    part, suffix, shown_unit, what = "sat", "f", "°F", "supply air"
    buildable = True
    searches = False
    held = False
    seeks = False

    def setpoint_f(self, record, rows: SatRows, top_f) -> np.ndarray:
        """Setpoint in rows. (R,) [degF]

        ``top_f`` number or (R,): the warmest that a reset may give; other strategies ignore it.
        """
        raise NotImplementedError

    def of_step_f(self, record, rows: SatRows, loop_f, top_f) -> np.ndarray:
        """Setpoint at a time step, of a strategy that listens at an output of its request loop. (R,) [degF]

        Of ``rows`` only the conditions are those of the step.
        """
        return self.setpoint_f(record, rows, top_f)

    def asked_f(self, record, rows: SatRows, top_f) -> np.ndarray:
        """Warmest setpoint that requests of zones allow, of a strategy that listens. (R,) [degF]"""
        return self.setpoint_f(record, rows, top_f)

    def pulled_f(self, record, rows: SatRows) -> np.ndarray | None:
        """How much colder rooms short of air pull the setpoint in rows, None where they do not. (R,) [degF]

        No formula finds it: sheets hold it as values, and so does a changed project that is run on the same rows.
        """
        return None

    def limited(self, record, rows: SatRows, sat_f) -> np.ndarray:
        """Where the limits hold the setpoint of a reset down. (R,) bool"""
        return sat_f < self.setpoint_f(record, rows, self.range(record)[1]) - 1e-9


class DspStrategy(Strategy):
    """A way to set the duct static pressure. ``follows_zones`` is True where the setpoint depends on what zones ask
    for, and so on the supply temperature."""

    part, suffix, shown_unit, what = "dsp", "inwc", "in. w.c.", "duct static"
    follows_zones = False

    def setpoint_inwc(self, record, rows: DspRows) -> np.ndarray:
        """Setpoint in rows, by day and by night; (1,) where it is the same in all. [in. w.c.]"""
        raise NotImplementedError

    def moves(self, record) -> bool:
        """Whether the setpoint moves at all: fans with a constant setpoint have their own part-load curve."""
        return True
