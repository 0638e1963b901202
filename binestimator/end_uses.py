"""End uses of energy: one record each, from the rows of the model to the price, the columns and the headings.

Adding an end use is a record here, a field of ``model.system.RowState`` with its value in ``evaluate``, and, where the
workbook cannot write its column from other columns, its formula in ``workbook/live/rows/energy.py``.
"""

from __future__ import annotations

from .dataclass import dataclass
from .units import KBTU_PER_KWH, KBTU_PER_THERM

#: Energy at the site in a unit of an end use. [kBtu]
KBTU_IN = {"kWh": KBTU_PER_KWH, "therm": KBTU_PER_THERM, "kBtu": 1.0}
_RATE_UNITS = {"kWh": "kW", "therm": "therm/h", "kBtu": "kBtu/h"}
ELECTRICITY_KEY, ELECTRICITY_PRICE = "electricity_kwh", "electricity_usd_kwh"


@dataclass(frozen=True, slots=True, kw_only=True)
class EndUse:
    """An end use of energy.

    ``key`` annual figure, in results files and frames · ``unit`` kWh, therm or kBtu · ``label`` in tables, ``word`` in
    a sentence, ``contains`` what is in it · ``rates`` fields of ``RowState`` that are summed · ``night`` field of
    ``NightBlock`` and ``off`` key of ``estimate.off_energy`` that are added, empty where there is none · ``price``
    input of section ``prices`` · ``column`` of a candidate's sheet, its label and number style; ``formula`` its
    template where other columns give it (else ``live.rows.energy`` writes it) · ``heats`` it is heat, which charts
    hatch · ``heading`` on the terminal, ``keeps`` its place there: the last ones go when the table is too wide.
    """

    key: str
    unit: str
    label: str
    word: str
    contains: str
    rates: tuple[str, ...]
    night: str = ""
    off: str = ""
    price: str = ELECTRICITY_PRICE
    column: str
    column_label: str
    column_style: str = "f2"
    formula: str = ""
    heats: bool = False
    heading: str
    keeps: int

    @property
    def rate_unit(self) -> str:
        """Unit of the energy of a row in an hour."""
        return _RATE_UNITS[self.unit]

    @property
    def electric(self) -> bool:
        """Whether it is part of ``electricity_kwh``."""
        return self.price == ELECTRICITY_PRICE


#: In the order of stacks, tables and results files.
END_USES = (
    EndUse(
        key="fan_kwh",
        unit="kWh",
        label="Fans",
        word="fans",
        contains="Supply fan with motor and drive, return or relief fan, and night runs",
        rates=("fan_kw", "return_fan_kw"),
        night="fan_kw",
        column="fans_kw",
        column_label="Fans together",
        heading="Fans",
        keeps=1,
    ),
    EndUse(
        key="cooling_kwh",
        unit="kWh",
        label="Cooling",
        word="cooling",
        contains="Chiller or compressors with condenser fans; no pumps, no tower",
        rates=("cooling_kw",),
        night="cooling_kw",
        column="cooling_kw",
        column_label="Mechanical cooling",
        heading="Cooling",
        keeps=2,
    ),
    EndUse(
        key="pump_tower_kwh",
        unit="kWh",
        label="Pumps and tower",
        word="pumps and tower",
        contains="Chilled, condenser and hot-water pumps and tower fans",
        rates=("pump_tower_kw",),
        night="pump_tower_kw",
        off="pump_tower_kw",
        column="pump_tower_kw",
        column_label="Pumps and tower",
        heading="Pumps",
        keeps=7,
    ),
    EndUse(
        key="heating_kwh",
        unit="kWh",
        label="Electric heat",
        word="electric heat",
        contains="Electric reheat and supply heating, heat pump with its supplementary heat",
        rates=("heating_kw",),
        night="heating_kw",
        off="heating_kw",
        column="heating_kw",
        column_label="Electric heat",
        heats=True,
        heading="El. heat",
        keeps=4,
    ),
    EndUse(
        key="fuel_therm",
        unit="therm",
        label="Fuel",
        word="fuel",
        contains="Boiler or furnace fuel, with standby and distribution losses while enabled",
        rates=("fuel_thermh",),
        night="fuel_thermh",
        off="fuel_thermh",
        price="fuel_usd_therm",
        column="fuel_thermh",
        column_label="Fuel",
        column_style="f4",
        heats=True,
        heading="Fuel",
        keeps=5,
    ),
    EndUse(
        key="purchased_cooling_kbtu",
        unit="kBtu",
        label="Purchased cooling",
        word="purchased cooling",
        contains="Cooling at the meter, with losses",
        rates=("purchased_cooling_kbtuh",),
        night="purchased_cooling_kbtuh",
        price="cooling_usd_kbtu",
        column="purchased_cooling_kbtuh",
        column_label="Purchased cooling",
        heading="Cooling",
        keeps=3,
    ),
    EndUse(
        key="purchased_heating_kbtu",
        unit="kBtu",
        label="Purchased heat",
        word="purchased heat",
        contains="Heat at the meter, with losses",
        rates=("purchased_heating_kbtuh",),
        night="purchased_heating_kbtuh",
        off="purchased_heating_kbtuh",
        price="heat_usd_kbtu",
        column="purchased_heating_kbtuh",
        column_label="Purchased heat",
        heats=True,
        heading="Heat",
        keeps=6,
    ),
)

ENERGY_KEYS = tuple(use.key for use in END_USES)
ELECTRIC = tuple(use for use in END_USES if use.electric)
#: Rates of a row that are electricity. [kW]
ELECTRIC_RATES = tuple(rate for use in ELECTRIC for rate in use.rates)
#: Amounts that have a price: annual key, input of section ``prices``, unit.
PRICED = (
    (ELECTRICITY_KEY, ELECTRICITY_PRICE, "kWh"),
    *((use.key, use.price, use.unit) for use in END_USES if not use.electric),
)


def site_kbtu(figures) -> float:
    """All energy of annual figures at the site in one unit. [kBtu]"""
    return sum(figures[key] * KBTU_IN[unit] for key, _, unit in PRICED)


def cost_rate_usd_h(rates, prices):
    """Cost of an hour of rows from rates by the name of their field. (R,) [USD/h]"""
    electricity = sum(rates[name] for name in ELECTRIC_RATES) * getattr(prices, ELECTRICITY_PRICE)
    others = [use for use in END_USES if not use.electric]
    return sum((sum(rates[name] for name in use.rates) * getattr(prices, use.price) for use in others), electricity)
