"""What options give the rooms in draws, hour by hour: depths of service on the yardstick of each draw's baseline."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from ..estimate.rows import Part
from ..model.system import MOST_APART_FRAC, full_supply, heating_enabled, not_worked_out, starved_rows, zones_of
from ..model.terminals import ZoneState
from ..model.unit import Unit, rows_of
from ..service import ZONE_DEPTHS, ServiceFigures, Yardstick, degrees_beyond, service_figures, zone_depths
from .energies import DrawnRows

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
    """What the baseline of each of some draws promises, and what options give of it.

    Parameters
    ----------
    alone : sequence of Unit
        Of the baseline, one for each draw.
    rows : DrawnRows
        Its running hours.
    """

    def __init__(self, alone: Sequence[Unit], rows: DrawnRows):
        self.yardsticks = [
            Yardstick.joined([Yardstick.of(unit, block.on, block.loads) for _, block in rows.of_draw(d).blocks()])
            for d, unit in enumerate(alone)
        ]
        self._needs: dict[int, np.ndarray] = {}

    def given(
        self, unit: Unit, alone: Sequence[Unit], rows: DrawnRows, parts: Sequence[Part], weights, night, baseline: bool
    ) -> list[ServiceFigures]:
        """Figures of an option in each draw.

        Parameters
        ----------
        unit : Unit
            Of the rows of all draws; ``alone`` of each draw.
        parts : sequence of Part
            In the rows of all draws.
        weights : sequence of ndarray (D,)
            Shares of the parts in each draw.
        night : NightBlock
        baseline : bool
            Whether the option is the baseline, of whose air also that is counted which was promised.
        """
        depths = [dict.fromkeys(ZONE_DEPTHS, 0.0) for _ in alone]
        states = [[p.state.take(rows.of(d)) for p in parts] for d in range(rows.count)]
        for k, p in enumerate(parts):
            shared = self._shared(unit, rows, p) if rows.shares else None
            for d, one in enumerate(alone):
                if shared is None:
                    found = self._depths_of_blocks(one, rows, d, states[d][k], baseline)
                else:
                    found = self._depths(one, rows, d, states[d][k], baseline, *shared)
                for name, values in found.items():
                    depths[d][name] = depths[d][name] + weights[k][d] * values
        hours = rows.on.hours
        out = []
        for d, yardstick in enumerate(self.yardsticks):
            here = [replace(p, share=float(weights[k][d]), state=states[d][k]) for k, p in enumerate(parts)]
            figures = {
                key: sum(p.share * float(hours @ getattr(p.state, rate)) for p in here)
                for key, rate in _FIGURES.items()
            }
            # Hours are not counted in draws; nothing is judged by this count.
            figures["humid_hours"] = 0.0
            out.append(service_figures(yardstick, here, depths[d], night, figures))
        return out

    def _shared(self, unit: Unit, rows: DrawnRows, p: Part):
        """Rooms of a part at full supply in all draws, degrees beyond their setpoints, and rows that are not so: whose
        supply air is not held or whose duct pressure starves a zone."""
        on, loads, sat_f = rows.rows.on, rows.rows.loads, p.setpoints.sat_f
        full = full_supply(unit, loads, sat_f, heating_enabled(unit, on.oat_f, on.fan_on))
        apart = p.state.sat_f != sat_f
        apart[starved_rows(full, p.state.dsp_held_inwc)] = True
        assert loads.known is not None, "loads that sites share"
        beyond = loads.known.of(
            lambda: [degrees_beyond(y, full.room_f[rows.of(d)]) for d, y in enumerate(self.yardsticks)],
            "beyond",
            sat_f,
        )
        return full, beyond, apart

    def _depths(
        self, unit: Unit, rows: DrawnRows, d: int, state, baseline, full, beyond, apart
    ) -> dict[str, np.ndarray]:
        """Depths of a part by zone in one draw. (Z,) each

        Hours at full supply have rooms that options at the same supply temperature share; others are worked out.
        """
        here, promised = rows.of(d), self.yardsticks[d]
        apart = apart[here]
        if apart.mean() > MOST_APART_FRAC:
            found, some = dict.fromkeys(ZONE_DEPTHS, np.zeros(len(promised.names))), slice(None)
        else:
            flow, none = full.requested_cfm[here], not_worked_out(len(apart))
            rooms = ZoneState(
                requested_cfm=flow,
                available_cfm=flow,
                flow_cfm=flow,
                room_f=full.room_f[here],
                reheat_btuh=none,
                starved=none,
                ventilation_short=none,
            )
            alike = replace(promised, hours=np.where(apart, 0.0, promised.hours))
            found = zone_depths(alike, state, rooms, self._need_cfm(d), beyond[d], baseline)
            some = np.flatnonzero(apart)
            if not some.size:
                return found
        of_draw, of = rows.of_draw(d), state.take(some)
        zones = zones_of(unit, of_draw.on.take(some), of_draw.loads.take(some), of)
        rest = zone_depths(promised.take(some), of, zones, rows_of(self._need_cfm(d), some), None, baseline)
        return {name: values + rest[name] for name, values in found.items()}

    def _depths_of_blocks(self, unit: Unit, rows: DrawnRows, d: int, state, baseline) -> dict[str, np.ndarray]:
        """The same where loads are worked out block by block."""
        found = dict.fromkeys(ZONE_DEPTHS, np.zeros(len(unit.zones)))
        for here, block in rows.of_draw(d).blocks():
            of = state.take(here)
            zones = zones_of(unit, block.on, block.loads, of)
            rest = zone_depths(self.yardsticks[d].take(here), of, zones, None, None, baseline)
            found = {name: values + rest[name] for name, values in found.items()}
        return found

    def _need_cfm(self, d: int) -> np.ndarray:
        """Outdoor air that zones need in a draw. (R, Z) [cfm]"""
        if d not in self._needs:
            self._needs[d] = self.yardsticks[d].need_cfm()
        return self._needs[d]
