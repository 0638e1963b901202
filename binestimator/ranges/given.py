"""What options give the rooms in a draw, hour by hour: depths of service on the yardstick of its baseline."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from ..estimate.rows import Part, Rows
from ..model.system import MOST_APART_FRAC, full_supply, heating_enabled, starved_rows, zones_of
from ..model.terminals import ZoneState
from ..model.unit import Unit
from ..service import COIL_KEYS, ZONE_DEPTHS, ServiceFigures, Yardstick, degrees_beyond, service_figures, zone_depths

#: Annual figures that equal service goes by, and the rates that they are sums of.
_FIGURES = {
    "cooling_sensible_kbtu": "cooling_sensible_kbtuh",
    "cooling_latent_kbtu": "cooling_latent_kbtuh",
    "reheat_kbtu": "reheat_kbtuh",
    "preheat_kbtu": "preheat_kbtuh",
    "unserved_cooling_kbtu": "unserved_kbtuh",
    "unserved_heating_kbtu": "heat_unserved_kbtuh",
}


class Promised:
    """What the baseline of a draw promises, and what options give of it.

    Parameters
    ----------
    unit : Unit
        Of the baseline, in the draw.
    rows : Rows
        Its running hours.
    """

    def __init__(self, unit: Unit, rows: Rows):
        self.yardstick = Yardstick.joined([Yardstick.of(unit, block.on, block.loads) for _, block in rows.blocks()])
        self._need: np.ndarray | None = None

    def given(self, unit: Unit, rows: Rows, parts: Sequence[Part], night) -> ServiceFigures:
        """Figures of an option from its parts, which have their shares of the draw, and its night block."""
        depths = dict.fromkeys(ZONE_DEPTHS, 0.0)
        for here, block in rows.blocks():
            for p in parts:
                for name, values in self._depths(unit, block, p, here).items():
                    depths[name] = depths[name] + p.share * values
        hours = rows.on.hours
        figures = {
            key: sum(p.share * float(hours @ getattr(p.state, rate)) for p in parts) for key, rate in _FIGURES.items()
        }
        # Hours are not counted in draws; nothing is judged by this one.
        figures["humid_hours"] = 0.0
        return service_figures(self.yardstick, parts, depths, night, figures)

    def _depths(self, unit: Unit, block: Rows, p: Part, here: slice) -> dict[str, np.ndarray]:
        """Depths of a part by zone in some of the hours. (Z,) each

        Hours whose supply air is held and whose duct pressure starves no zone have the rooms of full supply, which
        options at the same supply temperature share; the others are worked out.
        """
        promised, state, loads = self.yardstick.take(here), p.state.take(here), block.loads
        if loads.known is None:
            return zone_depths(promised, state, zones_of(unit, block.on, loads, state))
        sat_f = p.setpoints.sat_f[here]
        full = full_supply(unit, loads, sat_f, heating_enabled(unit, block.on.oat_f, block.on.fan_on))
        apart = state.sat_f != sat_f
        apart[starved_rows(full, state.dsp_held_inwc)] = True
        if apart.mean() > MOST_APART_FRAC:
            return zone_depths(promised, state, zones_of(unit, block.on, loads, state), self._need_cfm())
        rooms = ZoneState(
            requested_cfm=full.requested_cfm,
            available_cfm=full.requested_cfm,
            flow_cfm=full.requested_cfm,
            room_f=full.room_f,
            reheat_btuh=full.room_f,
            starved=apart,
            ventilation_short=apart,
        )
        beyond = loads.known.of(lambda: degrees_beyond(promised, rooms.room_f), "beyond", sat_f)
        alike = replace(promised, hours=np.where(apart, 0.0, promised.hours))
        found = zone_depths(alike, state, rooms, self._need_cfm(), beyond)
        some = np.flatnonzero(apart)
        if some.size:
            of, rest = state.take(some), promised.take(some)
            zones = zones_of(unit.take(some), block.on.take(some), loads.take(some), of)
            for name, values in zone_depths(rest, of, zones).items():
                found[name] = found[name] + values
        return found

    def _need_cfm(self) -> np.ndarray:
        """Outdoor air that zones need, of all hours in one block. (R, Z) [cfm]"""
        if self._need is None:
            self._need = self.yardstick.need_cfm()
        return self._need
