"""Label, unit and number style of the steps that the model names."""

from ...layout import CANDIDATE_COLUMNS

_HUMIDITY = ("room_humidity_ratio", "mixed_humidity_ratio", "leaving_humidity_ratio")

# Of the plant with all its loads, and again with its other load alone.
_ALL: dict[str, tuple[str, str, str]] = {
    "load": ("Load of the plant", "kBtu/h", "f1"),
    "on": ("Units on", "units", "f0"),
    "plr": ("Part load ratio", "0–1", "f3"),
    "run": ("Running share of the units", "0–1", "f3"),
    "steady": ("Steady part load", "0–1", "f3"),
    "pump_kw": ("Chilled-water pump", "kW", "f2"),
    "tower_kw": ("Condenser pump and tower", "kW", "f2"),
}
_MOISTURE: dict[str, tuple[str, str, str]] = {
    "dry_room": ("Rooms with a dry coil", "lb/lb", "f5"),
    "dry_mixed": ("Mixed air with a dry coil", "lb/lb", "f5"),
    "coil_p": ("Saturation pressure, leaving", "psia", "f5"),
    "coil_w": ("Leaving a wet coil", "lb/lb", "f5"),
    "wet": ("Wet share of the coil", "0–1", "f3"),
    "wet_room": ("Rooms with a wet coil", "lb/lb", "f5"),
    **{c.key: (c.label, c.unit, c.style) for c in CANDIDATE_COLUMNS if c.key in _HUMIDITY},
}
# A moisture balance that is not the last of its pass.
_BALANCE = {"r_": ", return air at least outdoor air", "s_": ", steady", "o_": ", before it is held to capacity"}
_FAN: dict[str, tuple[str, str, str]] = {
    "fan_total_inwc": ("Fan total static", "in. w.c.", "f3"),
    "phi": ("Operating point of the fan", "1 at design", "f3"),
    "fan_eff": ("Fan efficiency", "0–1", "f3"),
    "shaft_kw": ("Fan shaft", "kW", "f2"),
    "motor_load": ("Motor load", "share", "f3"),
    "motor_kw": ("Motor input", "kW", "f2"),
    "curve_x": ("Share of design airflow, held", "share", "f3"),
    "curve": ("Power over design power by the curve", "share", "f3"),
    "fan_heat_kw": ("Fan heat into the air", "kW", "f2"),
    "fan_rise_f": ("Fan temperature rise", "°F", "f2"),
}
STEPS: dict[str, tuple[str, str, str]] = {
    "leak_set": ("Leakage at the setpoint", "cfm", "f0"),
    **_FAN,
    "allowed": ("Economizer allowed", "1/0", "f0"),
    "modulated": ("Share that gives the target", "0–1", "f3"),
    **_MOISTURE,
    **{
        part + key: (label + more, unit, style)
        for part, more in _BALANCE.items()
        for key, (label, unit, style) in _MOISTURE.items()
    },
    "wb_y": ("Wet bulb: ln of enthalpy", "", "f5"),
    "wb_0": ("Wet bulb: start", "°F", "f2"),
    **{
        f"wb_{part}{step}": (f"Wet bulb, step {step}{words}", unit, style)
        for step in "12"
        for part, words, unit, style in (
            ("p", ": vapour pressure", "psia", "f5"),
            ("w", ": saturated", "lb/lb", "f5"),
            ("s", ": slope", "Btu/lb·°F", "f5"),
            ("", "", "°F", "f2"),
        )
    },
    "curve_wb_f": ("Entering wet bulb within the curve", "°F", "f2"),
    "rejection_f": ("Heat rejection temperature within the curve", "°F", "f1"),
    "cap_factor": ("Capacity over rating", "share", "f3"),
    "eir_factor": ("Full-load input over rating", "share", "f3"),
    "plant_kbtuh": ("Plant at the conditions", "kBtu/h", "f1"),
    "other_load": ("Other load on the plant", "kBtu/h", "f1"),
    "other": ("Other load that is served", "kBtu/h", "f1"),
    "total_load": ("Load that the plant serves", "kBtu/h", "f1"),
    "unit_kw": ("Full load of a unit", "kW", "f2"),
    **{f"all_{key}": words for key, words in _ALL.items()},
    **{
        f"alone_{key}": (f"{label} without this air handler", unit, style) for key, (label, unit, style) in _ALL.items()
    },
    "cap": ("Heat pump can give", "kBtu/h", "f1"),
    "served": ("Heat served", "kBtu/h", "f1"),
    "output": ("Output with standing loss", "kBtu/h", "f1"),
    "plr": ("Part load ratio", "0–1", "f3"),
    "steady": ("Steady part load", "0–1", "f3"),
    "run": ("Running share of the burner", "0–1", "f3"),
    "fuel": ("Fuel", "therm/h", "f4"),
    "cop": ("COP", "", "f2"),
    "kw": ("Heat pump and supplementary heat", "kW", "f2"),
    "pump": ("Hot-water pump", "kW", "f2"),
}
