"""Rooms of two masses: air with furniture, and the mass behind them.

The delay of radiant gains is already in the loads (``building.room_lag_h``); the masses here answer to room
temperature alone.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np


@dataclass(frozen=True, slots=True, kw_only=True)
class Masses:
    """Heat capacities and coupling of zones over a time step. (Z,)

    ``air_btuh_f``, ``mass_btuh_f`` capacity over the step [Btu/h.F] · ``coupling_btuh_f`` between both [Btu/h.F].
    """

    air_btuh_f: np.ndarray
    mass_btuh_f: np.ndarray
    coupling_btuh_f: np.ndarray

    @classmethod
    def of(cls, area_ft2, capacity_btu_f, settings, step_h) -> Masses:
        """Of zones with a whole heat capacity each, of which the air takes its share by floor area. (Z,) [Btu/F]"""
        air = settings.air_capacity_btu_f_ft2 * area_ft2
        mass = np.maximum(capacity_btu_f - air, 0.0)
        return cls(
            air_btuh_f=air / step_h,
            mass_btuh_f=mass / step_h,
            coupling_btuh_f=np.where(mass > 0.0, settings.mass_coupling_btuh_f_ft2 * area_ft2, 0.0),
        )

    @property
    def through_btuh_f(self):
        """Conductance from room air to what the mass was at the start of the step. (Z,) [Btu/h.F]"""
        return self.coupling_btuh_f * self.mass_btuh_f / np.maximum(self.mass_btuh_f + self.coupling_btuh_f, 1e-300)

    def balance(self, air_f, mass_f, gains_btuh, ua_btuh_f, oat_f):
        """Heat (..., Z) [Btu/h] and conductance (..., Z) [Btu/h.F] that make ``T = heat / conductance`` without supply air.

        Implicit over the step (backward Euler): what leaves one mass enters the other, whatever the step.
        """
        heat = self.stored(air_f, mass_f, np.empty(air_f.shape), np.empty(air_f.shape))
        heat += gains_btuh + ua_btuh_f * oat_f
        return heat, self.air_btuh_f + self.through_btuh_f + ua_btuh_f

    def stored(self, air_f, mass_f, out, work):
        """What both masses bring into the heat of :meth:`balance`, in ``out`` (..., Z); ``work`` is overwritten.
        [Btu/h]"""
        np.multiply(air_f, self.air_btuh_f, out=out)
        np.multiply(mass_f, self.through_btuh_f, out=work)
        out += work
        return out

    def mass_after(self, mass_f, air_f):
        """Temperature of the mass at the end of the step. (..., Z) [F]"""
        mass_f = mass_f.copy()
        self.follow(mass_f, air_f, np.empty(mass_f.shape))
        return mass_f

    def follow(self, mass_f, air_f, work):
        """The same in place of what the mass was; ``work`` (..., Z) is overwritten."""
        together = np.maximum(self.mass_btuh_f + self.coupling_btuh_f, 1e-300)
        mass_f *= self.mass_btuh_f / together
        np.multiply(air_f, self.coupling_btuh_f / together, out=work)
        mass_f += work
