"""What the time-step audit needs to know of controllers and rooms."""

from __future__ import annotations

from ..dataclass import dataclass


@dataclass(frozen=True, slots=True, kw_only=True)
class TrimRespond:
    """A trim-and-respond loop (Guideline 36 5.1.14.4) in the unit of its setpoint.

    ``start`` while the fan is off and at its start · ``delay_min`` from there to the first move · ``step_min`` from
    move to move · ``trim`` with requests within those ignored, with its sign · ``respond`` a request beyond them, with
    its sign · ``respond_most`` largest move · ``ignored`` requests · ``low``, ``high`` ends of the range.
    """

    start: float
    delay_min: float
    step_min: float
    trim: float
    respond: float
    respond_most: float
    ignored: float
    low: float
    high: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Settings:
    """Steps, rooms, zone loops and stroke times; the inputs of section ``as_run``."""

    step_min: float
    chunk_days: int
    spin_up_days: int
    air_capacity_btu_f_ft2: float
    mass_coupling_btuh_f_ft2: float
    room_exchange_btuh_f_ft2: float
    loop_band_f: float
    loop_integral_min: float
    damper_stroke_min: float
    valve_stroke_min: float

    @classmethod
    def of(cls, record) -> Settings:
        """From the record of section ``as_run``."""
        return cls(**{name: getattr(record, name) for name in cls.__slots__})
