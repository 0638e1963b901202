"""Conversion factors and fixed constants of the trade, each with its source.

Everything inside the package is in inch-pound units; files in SI units are converted
once, where they are read. Factors that follow from definitions are exact (or written as
an exact quotient); the few rounded constants of the trade say so.

References
----------
NIST Special Publication 811 (2008), appendix B: pound, foot, degree Fahrenheit, British
thermal unit (International Table), horsepower (550 ft.lbf/s), ton of refrigeration
(12 000 Btu/h). The definitions are quoted from memory; the tests tie them together.
"""

from __future__ import annotations

# --- exact by definition -------------------------------------------------------------
FOOT_M = 0.3048
"""Metres in a foot [m/ft] (international foot, exact)."""

POUND_KG = 0.45359237
"""Kilograms in a pound [kg/lb] (international pound, exact)."""

GRAVITY_M_S2 = 9.80665
"""Standard gravity [m/s2] (exact)."""

BTU_J = 1055.05585262
"""Joules in a British thermal unit, International Table [J/Btu] (exact)."""

KBTUH_PER_TON = 12.0
"""Cooling of a ton of refrigeration [kBtu/h per ton] (exact)."""

KBTU_PER_THERM = 100.0
"""Heat of a therm [kBtu/therm] (exact; the US and the EC therm differ by 0.02 %)."""

RANKINE_AT_0_F = 459.67
"""Absolute temperature of 0 degF [degR] (exact)."""

STANDARD_PRESSURE_PSIA = 14.696
"""Standard atmosphere at sea level as printed in the handbook tables [psia]."""

# --- derived from the exact ones -----------------------------------------------------
BTU_PER_WH = 3600.0 / BTU_J
"""Heat of a watt-hour, 3.412 14 [Btu/Wh]; also kBtu/h per kW."""

KBTU_PER_KWH = BTU_PER_WH
"""Heat of a kilowatt-hour, 3.412 14 [kBtu/kWh]."""

KW_PER_TON = KBTUH_PER_TON / KBTU_PER_KWH
"""Cooling of a ton of refrigeration, 3.516 85 [kW per ton]."""

PSI_PA = POUND_KG * GRAVITY_M_S2 / (FOOT_M / 12.0) ** 2
"""Pascals in a pound-force per square inch, 6894.757 [Pa/psi]."""

HORSEPOWER_KW = 550.0 * FOOT_M * POUND_KG * GRAVITY_M_S2 / 1000.0
"""Kilowatts in a mechanical horsepower, 0.745 70 [kW/hp]."""

BTUH_FT2_PER_WM2 = (3600.0 / BTU_J) * FOOT_M**2
"""Irradiance, 0.316 998 [Btu/h.ft2 per W/m2]."""

# --- rounded constants of the trade --------------------------------------------------
FAN_CFM_INWC_PER_HP = 6356.0
"""Airflow times pressure of one horsepower of air power [cfm.in.w.c./hp]: 33 000 ft.lbf/min
over 5.192 lbf/ft2 in an inch of water at room temperature (standard practice, from memory)."""

SENSIBLE_BTUH_CFM_F = 1.08
"""Sensible heat of standard air, 60 min/h x 0.075 lb/ft3 x 0.24 Btu/lb.F [Btu/h.cfm.F]."""

LATENT_BTUH_CFM_LBLB = 4840.0
"""Latent heat of standard air, 60 min/h x 0.075 lb/ft3 x 1076 Btu/lb, rounded
[Btu/h.cfm per lb/lb]."""

MASS_LBH_CFM = 4.5
"""Mass flow of standard air, 60 min/h x 0.075 lb/ft3 [lb/h per cfm]."""


def fahrenheit_from_celsius(t_c):
    """Temperature in degrees Fahrenheit [degF] from degrees Celsius (exact scale)."""
    return t_c * 1.8 + 32.0


def celsius_from_fahrenheit(t_f):
    """Temperature in degrees Celsius [degC] from degrees Fahrenheit (exact scale)."""
    return (t_f - 32.0) / 1.8
