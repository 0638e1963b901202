"""Label, unit and number style of the steps that ``model.plant`` names."""

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
STEPS: dict[str, tuple[str, str, str]] = {
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
