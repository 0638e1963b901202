"""Plant: electricity, fuel and purchased energy that coil and reheat loads take.

Loads come in as arrays of rows in kBtu/h; energy rates go out. Sizes are given (or were
sized once) and never change here. Part-load and temperature behaviour are published
curves kept as data in ``plant_curves.csv``, clamped to their ranges and divided by their
value at rating conditions, so that a plant at rating takes exactly what its nameplate
says: the published coefficients miss that by up to 0.5 %.

All results are continuous in the load apart from real switching: a second unit of several
equal ones starts (:func:`cooling_power`), a pump at constant flow starts with the first
load, and ``hold`` keeps a unit at its least steady load down to no load.

Not modelled: starting losses of units, chilled-water reset, heat of pumps and pipes in the
chilled water, free cooling by the tower, frost on heat pumps beyond what the coefficient
of performance by outdoor temperature holds.

References
----------
ANSI/ASHRAE/IES Standard 90.1-2022, tables J-4 and L4.2.3-1, section 12.5.2. National
Energy Code of Canada for Buildings 2025, 8.4.6. The table with each coefficient, its
limits and its source is ``plant_curves.csv``; :func:`curve_description` prints a line of it.
"""

from .common import KBTU_PER_KWH, KBTU_PER_THERM, LEAST_LOAD_FRAC
from .cooling import (
    FAN_FREE_A,
    FAN_FREE_B,
    FAN_FREE_COP_CAP_BTUH,
    KBTUH_PER_TON,
    KW_PER_TON,
    OTHER_LOAD_DESIGN_F,
    STAGING_SLACK,
    CoolingPower,
    cooling_capacity_kbtuh,
    cooling_power,
    fan_free_cop,
    other_load_kbtuh,
    rated_input_kw_per_ton,
)
from .curve_names import plant_curve_names
from .heating import (
    CONDENSING_FURNACE_EFFICIENCY_FRAC,
    STANDING_LOSS_FRAC,
    HeatingPower,
    HeatSource,
    heat_pump_capacity_frac,
    heat_pump_cop,
    heat_source,
    heating_power,
    most_heat_of_source_kbtuh,
    preheat_source,
    standing_loss_kbtuh,
)
from .published import AIR_COOLED_SETS, CURVES_FILE, Curve, curve_description, curves, part_load_input_frac

__all__ = [
    "AIR_COOLED_SETS",
    "CONDENSING_FURNACE_EFFICIENCY_FRAC",
    "CURVES_FILE",
    "CoolingPower",
    "Curve",
    "FAN_FREE_A",
    "FAN_FREE_B",
    "FAN_FREE_COP_CAP_BTUH",
    "HeatSource",
    "HeatingPower",
    "KBTUH_PER_TON",
    "KBTU_PER_KWH",
    "KBTU_PER_THERM",
    "KW_PER_TON",
    "LEAST_LOAD_FRAC",
    "OTHER_LOAD_DESIGN_F",
    "STAGING_SLACK",
    "STANDING_LOSS_FRAC",
    "cooling_capacity_kbtuh",
    "cooling_power",
    "curve_description",
    "curves",
    "fan_free_cop",
    "heat_pump_capacity_frac",
    "heat_pump_cop",
    "heat_source",
    "heating_power",
    "most_heat_of_source_kbtuh",
    "other_load_kbtuh",
    "part_load_input_frac",
    "plant_curve_names",
    "preheat_source",
    "rated_input_kw_per_ton",
    "standing_loss_kbtuh",
]
