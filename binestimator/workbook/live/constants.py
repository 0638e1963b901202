"""Sheet of constants: what formulas need besides inputs, each with its source."""

from __future__ import annotations

from ... import moist_air, units
from ...model import air_handler, build, fan, plant, system, terminals
from ...model import floating as floats
from ...strategies import demand
from ..page import Work, title, unit_text
from .formulas import Scope
from .symbols import Drawing

SHEET = "Constants"

_HANDBOOK = "ASHRAE Handbook, Fundamentals (2017), chapter 1"
_PHYSICS = (
    (
        "k.sensible",
        "Sensible heat of standard air",
        "Btu/h·cfm·°F",
        units.SENSIBLE_BTUH_CFM_F,
        "60 min/h × 0.075 lb/ft³ × 0.24 Btu/lb·°F, rounded as the trade does",
    ),
    (
        "k.latent",
        "Latent heat of standard air",
        "Btu/h·cfm per lb/lb",
        units.LATENT_BTUH_CFM_LBLB,
        "60 min/h × 0.075 lb/ft³ × 1076 Btu/lb, rounded as the trade does",
    ),
    ("k.standard_psia", "Standard pressure", "psia", units.STANDARD_PRESSURE_PSIA, _HANDBOOK),
    ("k.btu_wh", "Heat of a watt-hour", "Btu/Wh", units.BTU_PER_WH, "Exact: 3600 s over the International Table Btu"),
    ("k.kbtu_ton", "Cooling of a ton", "kBtu/h per ton", units.KBTUH_PER_TON, "Exact by definition"),
    ("k.kw_ton", "Cooling of a ton", "kW per ton", units.KW_PER_TON, "Exact by definition"),
    ("k.kbtu_therm", "Heat of a therm", "kBtu/therm", units.KBTU_PER_THERM, "Exact by definition"),
    (
        "k.fan",
        "Airflow times pressure of a horsepower",
        "cfm·in. w.c./hp",
        units.FAN_CFM_INWC_PER_HP,
        "33 000 ft·lbf/min over 5.192 lbf/ft² in an inch of water (common practice)",
    ),
    ("k.hp_kw", "Power of a horsepower", "kW/hp", units.HORSEPOWER_KW, "Exact: 550 ft·lbf/s"),
    (
        "k.phi_max",
        "Largest operating point of the droop",
        "",
        fan.PHI_MAX,
        "Assumption: beyond it power would no longer fall with pressure",
    ),
    (
        "k.least_exchange",
        "Least air exchange of a moisture balance",
        "cfm",
        air_handler.LEAST_EXCHANGE_CFM,
        "Keeps a room without any outdoor air from having no answer",
    ),
    (
        "k.film",
        "Outside film of a roof",
        "Btu/h·ft²·°F",
        build.ROOF_FILM_BTUH_FT2_F,
        "ASHRAE Fundamentals, sol-air temperature in summer (from memory)",
    ),
    (
        "k.w_ceiling_f",
        "Most humid rooms: saturated at",
        "°F",
        air_handler.ROOM_SATURATION_F,
        "Assumption: moisture would condense elsewhere",
    ),
    (
        "k.warmest_drying_f",
        "Saturation at a coil held at",
        "°F",
        air_handler.WARMEST_DRYING_F,
        "Far beyond any coil: nothing condenses there, and near boiling nothing would be defined",
    ),
    (
        "k.capacity_slack",
        "Excess of load that counts as short of cooling",
        "share",
        system.CAPACITY_SLACK_FRAC,
        "Rounding",
    ),
    ("k.unserved", "Load beyond capacity that is rounding", "share", system.UNSERVED_FRAC, "Rounding"),
    ("k.sat_held", "Supply air off its setpoint by less is held", "°F", system.SAT_HELD_F, "Rounding"),
    *(
        (f"k.{name}", label, unit, value, "This program: see “Method”")
        for name, label, unit, value in (
            ("down_low", "Supply air that floats down: coldest", "°F", floats.DOWN_LOWEST_F),
            ("down_high", "Supply air that floats down: warmest", "°F", floats.DOWN_HIGHEST_F),
            ("up_low", "Supply air that floats up: coldest", "°F", floats.UP_LOWEST_F),
            ("up_high", "Supply air that floats up: warmest", "°F", floats.UP_HIGHEST_F),
            ("up_start", "Supply air that floats up: first guess", "°F", floats.UP_START_F),
            ("up_cold", "Supply air that floats up: second start", "°F", floats.UP_COLD_F),
            ("least_fall", "Least fall of the residual in a step", "°F/°F", floats.LEAST_FALL),
            ("early_least_fall", f"The same in the first {floats.EARLY_STEPS} steps", "°F/°F", floats.EARLY_LEAST_FALL),
            (
                "far",
                f"From step {floats.FAR_FROM + 1} on, while no residual was negative, a step is so many secants",
                "",
                floats.FAR,
            ),
            ("chord_margin", "A chord stays off the ends of its bracket by", "share", floats.CHORD_MARGIN),
            ("found", "A residual below this is none", "°F", floats.FOUND_F),
            ("same_step", "Steps closer than this give no slope", "°F", floats.SAME_F),
        )
    ),
    (
        "k.heating_ramp",
        "Heating minimum of the dual maximum law is reached over",
        "°F",
        terminals.HEATING_RAMP_F,
        "Assumption: band of a room's loop",
    ),
    (
        "k.ceiling_slack",
        "Airflow above the ceiling that is rounding",
        "share",
        terminals.CEILING_SLACK_FRAC,
        "Rounding",
    ),
    ("k.same_f", "Temperatures closer than this are the same", "°F", system.SAME_AIR_F, "Rounding"),
    ("k.least_load", "Share of capacity below which a load is rounding", "share", plant.LEAST_LOAD_FRAC, "Rounding"),
    ("k.staging", "Load above a whole number of units that starts no other", "units", plant.STAGING_SLACK, "Rounding"),
    (
        "k.other_design_f",
        "Outdoor temperature of the other load as given",
        "°F",
        plant.OTHER_LOAD_DESIGN_F,
        "Assumption",
    ),
    ("k.standing_share", "Standing loss over capacity when not given", "share", plant.STANDING_LOSS_FRAC, "Assumption"),
    (
        "k.fan_free_a",
        "Fan-free COP: factor of EER × capacity",
        "1/(Btu/h)",
        plant.FAN_FREE_A,
        "ANSI/ASHRAE/IES 90.1-2022, 12.5.2(c)",
    ),
    ("k.fan_free_b", "Fan-free COP: factor of EER", "", plant.FAN_FREE_B, "ANSI/ASHRAE/IES 90.1-2022, 12.5.2(c)"),
    (
        "k.fan_free_cap",
        "Fan-free COP: capacity held at",
        "Btu/h",
        plant.FAN_FREE_COP_CAP_BTUH,
        "ANSI/ASHRAE/IES 90.1-2022, 12.5.2(c)",
    ),
    (
        "k.second_f",
        "Second temperature request at this above setpoint",
        "°F",
        demand.SECOND_REQUEST_F,
        "Guideline 36, 5.6.8.1",
    ),
    (
        "k.third_f",
        "Third temperature request at this above setpoint",
        "°F",
        demand.THIRD_REQUEST_F,
        "Guideline 36, 5.6.8.1",
    ),
    (
        "k.second_flow",
        "Second pressure request below this share of flow",
        "share",
        demand.SECOND_REQUEST_FLOW,
        "Guideline 36, 5.6.8.2",
    ),
    (
        "k.third_flow",
        "Third pressure request below this share of flow",
        "share",
        demand.THIRD_REQUEST_FLOW,
        "Guideline 36, 5.6.8.2",
    ),
    ("k.request_slack", "Requests that are rounding of a sum", "requests", demand.REQUEST_SLACK, "Rounding"),
    ("k.most_requests", "Requests of a zone that always asks", "requests", demand.MOST_REQUESTS, "Guideline 36, 5.6.8"),
    (
        "k.never_f",
        "Supply temperature of a zone that asks for nothing",
        "°F",
        demand.NEVER_F,
        "Above any supply temperature",
    ),
    ("k.molar", "Molar mass of water over that of dry air", "", moist_air.MOLAR_MASS_RATIO, _HANDBOOK),
    ("k.rankine", "Absolute temperature of 0 °F", "°R", units.RANKINE_AT_0_F, "Exact"),
    ("k.freezing", "Vapour pressure over ice below", "°F", moist_air.FREEZING_F, _HANDBOOK),
    ("k.cp", "Heat of dry air", "Btu/lb·°F", moist_air.DRY_AIR_CP, _HANDBOOK),
    ("k.cpv", "Heat of vapour", "Btu/lb·°F", moist_air.VAPOUR_CP, _HANDBOOK),
    ("k.h0", "Enthalpy of vapour at 0 °F", "Btu/lb", moist_air.VAPOUR_ENTHALPY_AT_0_F, _HANDBOOK),
    ("k.wick_a", "Wet wick: constant", "Btu/lb", moist_air.WET_WICK[0], _HANDBOOK),
    ("k.wick_b", "Wet wick: slope of the heat of evaporation", "Btu/lb·°F", moist_air.WET_WICK[1], _HANDBOOK),
    ("k.wick_c", "Wet wick: heat of water", "Btu/lb·°F", moist_air.WET_WICK[2], _HANDBOOK),
    ("k.least_h", "Wet bulb start: least enthalpy", "Btu/lb", moist_air.LEAST_START_ENTHALPY, "This program"),
    *(
        (
            f"k.start_{x}",
            f"Wet bulb start: {x.upper()}",
            "",
            v,
            "This program: least-squares fit, only sets where the steps begin",
        )
        for x, v in zip("abcde", moist_air.WETBULB_START)
    ),
    *(
        (f"k.water_{i}", f"ln vapour pressure over water: a{i}", "", v, f"{_HANDBOOK}, equation 4 in psi and °R")
        for i, v in enumerate(moist_air.OVER_WATER)
    ),
    *(
        (f"k.ice_{i}", f"ln vapour pressure over ice: a{i}", "", v, f"{_HANDBOOK}, equation 3 in psi and °R")
        for i, v in enumerate(moist_air.OVER_ICE)
    ),
    ("k.least_coil_w", "Least humidity ratio of a limit", "lb/lb", 1e-4, "Keeps the dew point defined"),
    ("k.least_flow", "Least airflow of a limit", "", 1e-6, "Keeps a division defined"),
    *(
        (f"k.reset_{i}", f"Fan with pressure reset: c{i}", "", v, "ANSI/ASHRAE/IES 90.1-2022, table L4.2.3-1")
        for i, v in enumerate(fan.CURVE_RESET_STATIC)
    ),
    *(
        (f"k.static_{i}", f"Fan at fixed pressure: c{i}", "", v, "ANSI/ASHRAE/IES 90.1-2022, table L4.2.3-1")
        for i, v in enumerate(fan.CURVE_FIXED_STATIC)
    ),
    (
        "k.heat_share",
        "Most airflow while heating over the cooling maximum, when not given",
        "share",
        0.5,
        "From memory: at most half of the cooling maximum",
    ),
    ("k.least_preheat", "Supply heating that is rounding", "kBtu/h", system.LEAST_PREHEAT_KBTUH, "Rounding"),
    ("k.flow_tolerance", "Shortfall of airflow that is rounding", "share", terminals.FLOW_TOLERANCE_FRAC, "Rounding"),
)


def curve_key(name: str) -> str:
    """Name of a curve in formulas."""
    return f"q.{name}"


def write(work: Work, sheet, pen, curve_names) -> Scope:
    """Write the sheet; returns the scope of its names."""
    scope = Scope()
    s = work.styles
    title(
        work,
        sheet,
        "Constants",
        "What the formulas need besides inputs. Numbers here are no inputs: change them only to try something.",
        link_column=5,
    )
    sheet.widths([58, 16, 22, 92])
    for place, text in enumerate(("Constant", "Value", "Unit", "Source")):
        sheet.text(3, place, text, s("head_left"))
    row = 4
    for name, label, unit, value, source in _PHYSICS:
        row = _line(sheet, s, scope, pen, row, name, label, unit, value, source)
    draw = Drawing(scope)
    table = plant.curves()
    for name in curve_names:
        curve = table[name]
        row += 1
        sheet.text(row, 0, curve.title, s("section"))
        for place in (1, 2, 3):
            sheet.text(row, place, "", s("section"))
        row += 1
        key = curve_key(name)
        source = f"{curve.source}, {curve.table}" + (f" ({curve.note})" if curve.note else "")
        for i, value in enumerate(curve.coefficients):
            row = _line(sheet, s, scope, pen, row, f"{key}.c{i}", f"c{i}", "", value, source if i == 0 else "")
            pen.labels[f"{key}.c{i}"] = (f"{_subject(curve)}: c{i}", "")
        limits: list[tuple[str, str, str, float]] = [
            ("x_low", f"X = {curve.x}, held from", curve.x_unit, curve.x_range[0]),
            ("x_high", "X held to", curve.x_unit, curve.x_range[1]),
            ("x_rated", "X at rating", curve.x_unit, curve.x_rated),
        ]
        if curve.y_range is not None and curve.y_rated is not None:
            limits += [
                ("y_low", f"Y = {curve.y}, held from", curve.y_unit, curve.y_range[0]),
                ("y_high", "Y held to", curve.y_unit, curve.y_range[1]),
                ("y_rated", "Y at rating", curve.y_unit, curve.y_rated),
            ]
        for part, label, unit, value in limits:
            row = _line(sheet, s, scope, pen, row, f"{key}.{part}", label, unit_text(unit), value, "")
            pen.labels[f"{key}.{part}"] = (f"{_subject(curve)}: {label}", unit_text(unit))
        at = [draw.name(f"{key}.{axis}_rated") for axis in ("xy" if curve.form == "biquadratic" else "x")]
        template = draw.symbol(curve.within(*at)).text
        value = scope.evaluate(template)
        sheet.text(row, 0, "Value at rating, by which the curve is divided", s("line", "small"))
        pen.formula(sheet, row, 1, "=" + scope.formula(template), value, s("general", "line", "left"))
        scope.put(f"{key}.rated", f"{SHEET}!$B${row + 1}", value)
        pen.labels[f"{key}.rated"] = (f"{_subject(curve)}: value at rating", "")
        row += 1
    sheet.freeze(4, 1)
    sheet.on_paper(footer=work.footer, last_row=row, last_column=3, repeat_rows=(3, 3))
    return scope


def _subject(curve) -> str:
    """What a curve gives, above the columns of its plant: its title without the plant."""
    return curve.title.partition(": ")[2].capitalize()


def _line(sheet, s, scope, pen, row, name, label, unit, value, source) -> int:
    sheet.text(row, 0, label, s("line", "small"))
    sheet.number(row, 1, value, s("general", "line", "left"))
    sheet.text(row, 2, unit, s("line", "small"))
    sheet.text(row, 3, source, s("line", "small"))
    scope.put(name, f"{SHEET}!$B${row + 1}", float(value))
    pen.labels[name] = (label, unit)
    return row + 1


def ln_pressure(phase: str, t: str) -> str:
    """Template of ln of the vapour pressure [psi] at an absolute temperature."""
    a = [f"{{k.{phase}_{i}}}" for i in range(7)]
    t = f"({t})"
    return f"{a[0]}/{t}+{a[1]}+{t}*({a[2]}+{t}*({a[3]}+{t}*({a[4]}+{t}*{a[5]})))+{a[6]}*LN({t})"
