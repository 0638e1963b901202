"""Points of the controls that are read, commanded or trended, each with interval and reason."""

from __future__ import annotations

from .facts import Facts
from .records import Point

SLOW, STEADY, CHANGE = "15 min", "5 min", "on change"


def points_of(f: Facts) -> list[Point]:
    """Points that sequence, tests, alarms and the monthly check of an option read."""
    moving = [loop.step_min for loop in (f.sat_loop, f.dsp_loop) if loop is not None]
    # A reset that moves by steps is seen at its steps while it is tested; later a mean will do.
    loop = f"{min(moving):g} min in tests, then {STEADY}" if moving else STEADY
    point = lambda id_, label, unit, interval, why: Point(id=id_, label=label, unit=unit, interval=interval, why=why)
    air = [
        point(
            "P_MODE",
            "Mode of the air handler",
            "occupied, warm-up, cool-down, setback, off",
            CHANGE,
            "tells when which reset acts; every other figure is sorted by it",
        ),
        point("P_FAN", "Supply fan speed", "%", STEADY, "shows the saving of pressure, and a fan at its lowest speed"),
        point("P_FAN_KW", "Supply fan power", "kW", SLOW, "the saving as measured; from the drive where it has it"),
        point(
            "P_OAT", "Outdoor temperature", "degF", STEADY, "resets and economizer read it; figures are sorted by it"
        ),
        point("P_SAT", "Supply air temperature", "degF", STEADY, "held to its setpoint by dampers and valves"),
        point("P_SAT_SET", "Supply air setpoint", "degF", loop, "moves over its range, or there is no reset"),
        point("P_DSP", "Duct static pressure", "in. w.c.", STEADY, "held to its setpoint by the fan"),
        point(
            "P_DSP_SET", "Duct static pressure setpoint", "in. w.c.", loop, "moves over its range, or there is no reset"
        ),
        point(
            "P_MAT", "Mixed air temperature", "degF", STEADY, "economizer, freezing, and heat that is fought by cooling"
        ),
        point(
            "P_OA_DAMPER",
            "Outdoor-air damper, command and position",
            "%",
            STEADY,
            "economizer and least outdoor air; a damper that does not follow",
        ),
        point(
            "P_OVERRIDE",
            "Override of a setpoint or output by hand, with who and when",
            "yes or no",
            CHANGE,
            "an override that stays is how resets are lost",
        ),
    ]
    if f.project.outdoor_air.control != "position":
        air.append(
            point("P_OA_FLOW", "Outdoor airflow", "cfm", SLOW, "least outdoor air at the low end of both resets")
        )
    if f.dsp.strategy == "airflow":
        air.append(point("P_FLOW", "Supply airflow, from its station", "cfm", STEADY, "the reset of pressure reads it"))
    if f.cools:
        air.append(point("P_COOL", "Cooling valve or stages", "%", STEADY, "cooling beside free cooling or heating"))
    if f.heating_mode != "none":
        air.append(
            point(
                "P_HEAT",
                "Heating valve or stages of the air handler",
                "%",
                STEADY,
                "heating and cooling at once; warm-up",
            )
        )
    if f.humidity == "outdoor_dewpoint":
        air.append(point("P_OA_DEW", "Outdoor dew point", "degF", SLOW, "lowers the warmest supply air"))
    air.append(
        point(
            "P_ROOM_DEW",
            "Dew point of return air",
            "degF",
            SLOW,
            "lowers the warmest supply air"
            if f.humidity == "room_dewpoint"
            else "shows whether rooms get damp; a portable logger will do where there is no sensor",
        )
    )
    if f.economizer and "enthalpy" in f.project.economizer.type:
        air.append(point("P_OA_ENTHALPY", "Outdoor enthalpy", "Btu/lb", SLOW, "opens and shuts the economizer"))
    if f.economizer and f.project.economizer.type.startswith("differential"):
        what = "enthalpy" if "enthalpy" in f.project.economizer.type else "temperature"
        unit = "Btu/lb" if what == "enthalpy" else "degF"
        air.append(point("P_RETURN", f"Return air {what}", unit, SLOW, "opens and shuts the economizer"))
    air.append(
        point("P_CUTOUT", "Low-temperature cut-out of the coils", "tripped or not", CHANGE, "goes before every reset")
    )
    if f.sat_way.listens:
        air.append(
            point("P_ASK_T", "Requests for colder air, all zones, weighted", "requests", loop, "moves supply air")
        )
    if f.dsp_way.listens:
        air.append(
            point("P_ASK_P", "Requests for duct pressure, all zones, weighted", "requests", loop, "moves duct pressure")
        )
    zones = [
        point("P_Z_TEMP", "Zone temperature, each zone", "degF", STEADY, "service, before and after"),
        point(
            "P_Z_COOL",
            "Zone cooling and heating setpoints in force, each zone",
            "degF",
            CHANGE,
            "a setpoint moved by somebody makes a zone ask",
        ),
        point(
            "P_Z_FLOW",
            "Zone airflow and its setpoint, each zone",
            "cfm",
            STEADY,
            "a zone short of air; least airflow at low pressure",
        ),
        point(
            "P_Z_DAMPER",
            "Terminal damper, each zone",
            "%",
            STEADY,
            "pressure too low or too high for the zone; a damper that does not move",
        ),
    ]
    if f.reheats:
        zones.append(
            point(
                "P_Z_HEAT",
                "Reheat valve or stages, each zone with reheat",
                "%",
                STEADY,
                "heat that colder supply air costs",
            )
        )
    if f.sat_way.listens:
        zones.append(point("P_Z_LOOP", "Cooling loop, each zone", "%", STEADY, "what requests for colder air follow"))
        zones.append(
            point(
                "P_Z_ASK_T",
                "Requests for colder air and their request-hours, each zone",
                "requests, h",
                STEADY,
                "which zones drive the reset; rogue zones",
            )
        )
    if f.dsp_way.listens:
        zones.append(
            point(
                "P_Z_ASK_P",
                "Requests for duct pressure and their request-hours, each zone",
                "requests, h",
                STEADY,
                "which zones drive the reset; rogue zones",
            )
        )
    return [*air, *zones]
