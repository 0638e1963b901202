"""Rooms of two masses: air with furniture, and the mass behind them.

The delay of radiant gains is already in the loads (``building.room_lag_h``); the masses here answer to room
temperature alone.
"""

from __future__ import annotations

import numpy as np

from ..dataclass import dataclass


@dataclass(frozen=True, slots=True, kw_only=True)
class Masses:
    """Heat capacities and coupling of zones over a time step. (Z,)

    ``air_btuh_f``, ``mass_btuh_f`` capacity over the step [Btu/h.F] · ``coupling_btuh_f`` between both [Btu/h.F] ·
    ``through_btuh_f`` from room air to what the mass was at the start of the step [Btu/h.F] · ``follow_frac`` share of
    the way to room air that the mass goes in the step.
    """

    air_btuh_f: np.ndarray
    mass_btuh_f: np.ndarray
    coupling_btuh_f: np.ndarray
    through_btuh_f: np.ndarray
    follow_frac: np.ndarray

    @classmethod
    def of(cls, area_ft2, capacity_btu_f, settings, step_h) -> Masses:
        """Of zones with a whole heat capacity each, of which the air takes its share by floor area. (Z,) [Btu/F]"""
        air = settings.air_capacity_btu_f_ft2 * area_ft2
        mass = np.maximum(capacity_btu_f - air, 0.0) / step_h
        coupling = np.where(mass > 0.0, settings.mass_coupling_btuh_f_ft2 * area_ft2, 0.0)
        together = np.where(mass > 0.0, mass + coupling, 1.0)
        return cls(
            air_btuh_f=air / step_h,
            mass_btuh_f=mass,
            coupling_btuh_f=coupling,
            through_btuh_f=coupling * mass / together,
            follow_frac=coupling / together,
        )

    def balance(self, air_f, mass_f, gains_btuh, ua_btuh_f, oat_f):
        """Heat (..., Z) [Btu/h] and conductance (..., Z) [Btu/h.F] that make ``T = heat / conductance`` without supply
        air.

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

    def follow(self, mass_f, air_f, work):
        """The mass at the end of the step, in place of what it was (..., Z) [F]; ``work`` is overwritten."""
        np.subtract(air_f, mass_f, out=work)
        work *= self.follow_frac
        mass_f += work
