"""Annual figures: key, label, unit and what each contains."""

from __future__ import annotations

from typing import TYPE_CHECKING

from ..end_uses import END_USES, ENERGY_KEYS

if TYPE_CHECKING:  # names of types only: nothing of these is loaded by results
    pass


# What each annual figure is: key, label, unit, what it contains. One list for the results
# file, the README, the terminal table and the workbook.
ANNUAL = (
    ("hours", "Hours of the file", "h", "All hours, running and off"),
    (
        "running_hours",
        "Running hours",
        "h",
        "Hours with the air handler on in a steady mode; night cycling is not among them",
    ),
    *((use.key, use.label, use.unit, use.contains) for use in END_USES),
    ("electricity_kwh", "Electricity", "kWh", "Fans, cooling, pumps and tower, electric heat"),
    ("reheat_kbtu", "Reheat", "kBtu", "Heat of all terminal coils in running hours, at the coil"),
    ("preheat_kbtu", "Preheat", "kBtu", "Heat of the supply heating coil in running hours, at the coil"),
    ("cooling_sensible_kbtu", "Sensible cooling", "kBtu", "Sensible load of the cooling coil in running hours"),
    ("cooling_latent_kbtu", "Latent cooling", "kBtu", "Moisture taken out by the cooling coil in running hours"),
    ("cost_usd", "Energy cost", "USD", "Electricity, fuel and purchased energy at the prices of the project"),
    (
        "unmet_zone_hours",
        "Unmet zone-hours",
        "zone h",
        "Zone-hours warmer than the cooling setpoint by more than the tolerance",
    ),
    ("unmet_degree_hours", "Unmet degree-hours", "zone degF.h", "How far beyond that tolerance, summed"),
    (
        "cold_zone_hours",
        "Under-heated zone-hours",
        "zone h",
        "Zone-hours colder than the heating setpoint by more than the tolerance",
    ),
    (
        "starved_zone_hours",
        "Starved zone-hours",
        "zone h",
        "Zone-hours whose airflow is cut by too little duct pressure",
    ),
    (
        "ventilation_short_hours",
        "Ventilation-short zone-hours",
        "zone h",
        "Zone-hours with less than the minimum airflow of the zone",
    ),
    ("oa_short_hours", "Outdoor-air-short hours", "h", "Hours with less than 98 % of the required outdoor air"),
    ("airflow_ceiling_hours", "Airflow-ceiling hours", "h", "Hours in which zones ask for more than the fan can give"),
    ("humid_hours", "Humid hours", "h", "Occupied hours with the room dew point above the limit"),
    (
        "capacity_hours",
        "Cooling-short hours",
        "h",
        "Hours in which supply air rises because the plant cannot give more",
    ),
    ("freeze_hours", "Cold mixed-air hours", "h", "Hours with mixed air below the freeze caution limit"),
    (
        "minimum_speed_hours",
        "Minimum-speed hours",
        "h",
        "Hours with the fan at its lowest speed, duct pressure above setpoint",
    ),
    (
        "low_flow_hours",
        "Low-airflow DX hours",
        "h",
        "Hours of direct-expansion cooling with less than its least airflow",
    ),
    (
        "stage_cycling_hours",
        "Stage-cycling DX hours",
        "h",
        "Hours of direct-expansion cooling below the capacity of the first stage: the compressor cycles and dries less",
    ),
    (
        "cold_dx_hours",
        "Cold-supply DX hours",
        "h",
        "Hours of direct-expansion cooling with supply air colder than the coldest that it allows",
    ),
    (
        "sat_at_max_hours",
        "Warmest-SAT hours",
        "h",
        "Hours with the supply setpoint at the warmest that the reset allows (resets only)",
    ),
    (
        "sat_at_min_hours",
        "Coldest-SAT hours",
        "h",
        "Hours with the supply setpoint at the coldest of the reset (resets only)",
    ),
    (
        "dsp_at_max_hours",
        "Highest-DSP hours",
        "h",
        "Hours with the duct pressure setpoint at the highest of the reset (resets only)",
    ),
    (
        "dsp_at_min_hours",
        "Lowest-DSP hours",
        "h",
        "Hours with the duct pressure setpoint at the lowest of the reset (resets only)",
    ),
    ("economizer_hours", "Economizer hours", "h", "Hours with more outdoor air than the minimum, for free cooling"),
    (
        "economizer_cooling_hours",
        "Economizer-with-cooling hours",
        "h",
        "Hours with the economizer and mechanical cooling together: warmer supply air leaves more to outdoor air",
    ),
    (
        "reset_excluded_hours",
        "Hours out of the reset",
        "h",
        "Running time in setback, warm-up and cool-down, in which no supply air reset acts; a purge is not modelled",
    ),
    (
        "humidity_limited_hours",
        "Humidity-limited hours",
        "h",
        "Hours in which the humidity limit holds supply air down",
    ),
    (
        "cold_zone_limited_hours",
        "Cold-zone-limited hours",
        "h",
        "Hours in which a zone that must stay cold holds supply air down",
    ),
    ("unserved_cooling_kbtu", "Cooling not served", "kBtu", "Cooling beyond the plant after the supply air has risen"),
    (
        "unserved_heating_kbtu",
        "Heat not served",
        "kBtu",
        "Heat of coils in running hours beyond the capacity of its source, which is not charged for",
    ),
    ("mean_sat_f", "Mean supply air", "degF", "Mean over running hours of the supply air temperature that results"),
    ("mean_dsp_inwc", "Mean duct static", "in. w.c.", "Mean over running hours of the duct pressure that results"),
    ("mean_flow_cfm", "Mean airflow", "cfm", "Mean over running hours of supply airflow with leakage"),
)
ANNUAL_KEYS = tuple(key for key, *_ in ANNUAL)

# Counts and means are shown from the hourly run: rows chosen for energies do not reproduce counts.
COUNT_KEYS = tuple(key for key, _, unit, _ in ANNUAL if key.endswith(("_hours",)) and key not in ("hours",))

# Amounts whose saving is given.
SAVING_KEYS = (
    *ENERGY_KEYS,
    "electricity_kwh",
    "reheat_kbtu",
    "preheat_kbtu",
    "cooling_sensible_kbtu",
    "cooling_latent_kbtu",
    "cost_usd",
)
