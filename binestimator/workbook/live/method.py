"""How a row is worked out: equations with sources and limits, and one row in words and numbers."""

from __future__ import annotations

from decimal import ROUND_HALF_UP, Decimal

from ...model.plant import curve_description
from ..formats import money_words
from ..page import height_of, lines_of, title
from .inspector import address

SHEET = "Method"

# step; equation; source or standing; limits
EQUATIONS = (
    (
        "Room load",
        "q(T) = gains + UA (OAT − T); gains = area (people + lights in the room + equipment, their radiant share "
        "delayed) + sun through glass and roof; UA with infiltration",
        "Heat balance of the room in the hour; conduction and gains as in ASHRAE Fundamentals",
        "Steady in the hour: the room keeps no heat of its own while the unit runs",
    ),
    (
        "Airflow asked for",
        "V = q(Tcool) / (fs (Tcool − SAT − duct gain)), not below the minimum, not above the maximum; fs = 1.08 p / "
        "14.696. Dual maximum: −q(Theat) / (fs × highest rise) while heating",
        "Sensible balance; heating law of Guideline 36",
        "Where supply air is not colder than the room a zone that needs cooling opens fully",
    ),
    (
        "Airflow that arrives",
        "V = min(asked for, Vmax √(DSP / (DSP of the index run × k))). At the fan's airflow ceiling DSP falls to "
        "where zones and leaks take just what it gives",
        "Turbulent flow goes with the root of pressure; k by damper survey or assumption",
        "k is the largest assumption behind savings of pressure resets",
    ),
    (
        "Reheat",
        "Q = least of fs V (Theat − SAT) − q(Theat), coil, and fs V (Theat + highest rise − SAT); not below 0",
        "Heat balance of the room",
        "One pass; a coil too small leaves the room cold",
    ),
    (
        "Room temperature",
        "T = Tcool + (q(Tcool) − fs V (Tcool − SAT) + Q) / (UA + fs V)",
        "Heat balance of the room",
        "",
    ),
    ("Setpoint by a line", "Straight lines between points, flat outside", "Guideline 36, 5.16.2.2", ""),
    (
        "Setpoint by demand",
        "The pressure (temperature) at which the requests of all zones just pass the ignored ones: the largest "
        "threshold whose requests, summed with their weights, are more. "
        "Mean of asking and releasing. A room short of cooling air ends with its airflow setpoint at the maximum, "
        "from which 70 % and 50 % of flow then count",
        "Guideline 36, 5.1.14.4 and 5.6.8; settled state is this program's own",
        "No hunting, no time to settle; a zone that always asks takes 3 ignored requests times its weight",
    ),
    (
        "Least-cost setpoint",
        "Value block: search over the whole range, row by row",
        "This program",
        "Marginal prices of energy by rate period; no demand charges",
    ),
    (
        "Fan pressure",
        "Δp = DSP + (Δp design − DSP design) (V / V design)²; at least a smin² − b V² at minimum speed",
        "System curve and fan law (common practice)",
        "",
    ),
    (
        "Fan power",
        "kW = V Δp / (6356 η fan) × 0.7457 through belt, motor and drive; η fan = η design (1 − droop (1 − φ)²), φ = "
        "(V/Vd)/√(Δp/Δpd); motor and drive: loss in a fixed and a load part",
        "Common practice; part-load shapes are labelled assumptions",
        "φ held at 1.6; or the two curves of 90.1-2022 table L4.2.3-1 by input",
    ),
    (
        "Return air",
        "Mean of rooms by airflow, with leaked supply air, plenum light and return fan heat; duct gain taken off",
        "Heat balance",
        "",
    ),
    (
        "Mixing",
        "x = (Tr − target) / (Tr − OAT) within least and largest share while the economizer is allowed, else the "
        "least share; target = supply air less fan rise",
        "Heat balance; high limits by input",
        "Stuck dampers stay",
    ),
    (
        "Moisture",
        "Wet coil: W leaving = 0.95 Wsat(T leaving); rooms from fl V (…) + infiltration + gain = 0; dry coil: no "
        "drying. Wet share rises over the first degrees of sensible drop",
        "Mass balance; vapour pressure of ASHRAE Fundamentals 2017, chapter 1",
        "Steady; rooms not above saturation at 80 °F",
    ),
    (
        "Coils",
        "Sensible = fs V (Tm − T leaving); latent = fl V (Wm − W leaving); preheat = fs V (target − Tm)",
        "Heat and mass balance",
        "",
    ),
    (
        "Supply air that results",
        "Where mixed air is too cold and not heated enough: the lower of setpoint and the temperature at which it "
        "gives itself. Where the plant is too small: the higher of setpoint and the temperature at which it carries "
        "the load. "
        "Found by secants inside a bracket without looking at the setpoint; the outdoor-air share or the latent load "
        "closes what the steps leave",
        "Heat and mass balance; steps are this program's own",
        "A fixed number of steps; energies of the year within 0.1 % of the root as a rule",
    ),
    (
        "Cost",
        "Electricity × price + fuel × price + purchased cooling and heat × price",
        "Prices by input, or those of the rate period (sheet “Tariff”)",
        "Demand charges and tiers by the month are added from the hours",
    ),
)


def fixed(value: float, decimals: int) -> str:
    """A number as ``FIXED`` writes it: of its fifteen digits, halves away from zero, where Python rounds the binary
    number."""
    rounded = Decimal(f"{value:.15g}").quantize(Decimal(1).scaleb(-decimals), ROUND_HALF_UP)
    return f"{rounded:,.{decimals}f}"


def write(pen, sheet, results, inspector, curve_names) -> None:
    """Write the sheet."""
    s, work = pen.s, pen.work
    title(
        work,
        sheet,
        "Method",
        "Equations of a row in the order of the columns, with sources and limits; below them one row in words and "
        "numbers",
        link_column=3,
    )
    sheet.widths([24, 90, 60, 50])
    for place, text in enumerate(("Step", "Equation", "Source", "Limits")):
        sheet.text(3, place, text, s("head_left"))
    row = 4
    for line in EQUATIONS:
        for place, text in enumerate(line):
            sheet.text(row, place, text, s("text_small", "line", *(("bold",) if place == 0 else ())))
        sheet.height(row, height_of(max(lines_of(line[1], 92), lines_of(line[2], 60), lines_of(line[3], 50)), 8.4))
        row += 1
    for name in curve_names:
        text = curve_description(name)
        sheet.text(row, 0, "Curve", s("text_small", "line", "bold"))
        sheet.merged_text(row, 1, row, 3, text.replace("degF", "°F"), s("text_small", "line"))
        sheet.height(row, height_of(lines_of(text, 195), 8.4))
        row += 1
    row += 1
    for place in range(4):
        sheet.text(
            row,
            place,
            "One row in words and numbers: the one chosen on the row inspector" if place == 0 else "",
            s("section"),
        )
    row += 1
    v = inspector.values

    def say(step: str, *pieces) -> None:
        nonlocal row
        formula, text = [], ""
        for piece in pieces:
            if isinstance(piece, tuple):
                key, decimals = piece
                formula.append(f"FIXED({address(v[key][0])},{decimals})")
                text += fixed(v[key][1], decimals)
            else:
                formula.append('"' + piece + '"')
                text += piece
        sheet.text(row, 0, step, s("text_small", "line", "bold"))
        pen.formula(sheet, row, 1, "=" + "&".join(formula), text, s("text_small", "line"))
        sheet.height(row, height_of(lines_of(text, 92), 8.4))
        row += 1

    say(
        "Row",
        "Row ",
        ("row", 0),
        " stands for ",
        ("weight_h", 1),
        " hours of the year at ",
        ("oat_f", 1),
        " °F outdoors and a humidity ratio of ",
        ("humidity_ratio", 5),
        ".",
    )
    say(
        "Setpoints",
        "The supply air setpoint is ",
        ("sat_set_f", 2),
        " °F and the supply air that results ",
        ("sat_f", 2),
        " °F; duct static pressure is set to ",
        ("dsp_set_inwc", 3),
        " in. w.c.",
    )
    say(
        "Airflow",
        "At ",
        ("satz", 2),
        " °F at the terminals the zones ask for ",
        ("requested_cfm", 0),
        " cfm; ",
        ("room_flow_cfm", 0),
        " cfm reach the rooms and ",
        ("leakage_cfm", 0),
        " cfm leak: ",
        ("flow_cfm", 0),
        " cfm.",
    )
    say(
        "Fan",
        "The fan works against ",
        ("fan_total_inwc", 3),
        " in. w.c., takes ",
        ("fan_kw", 2),
        " kW and warms the air by ",
        ("fan_rise_f", 2),
        " °F.",
    )
    say(
        "Mixing",
        "Rooms at ",
        ("room_mean_f", 2),
        " °F on average give return air of ",
        ("rat_f", 2),
        " °F; with an outdoor-air share of ",
        ("oa_frac", 3),
        " mixed air is at ",
        ("mat_f", 2),
        " °F.",
    )
    say(
        "Coils",
        "The cooling coil takes ",
        ("cooling_sensible_kbtuh", 1),
        " kBtu/h of heat and ",
        ("cooling_latent_kbtuh", 1),
        " kBtu/h of moisture; preheat gives ",
        ("preheat_kbtuh", 1),
        " and reheat ",
        ("reheat_kbtuh", 1),
        " kBtu/h.",
    )
    say(
        "Energy",
        "Electricity is ",
        ("electricity_kw", 2),
        " kW, of which cooling ",
        ("cooling_kw", 2),
        ", pumps and tower ",
        ("pump_tower_kw", 2),
        ", electric heat ",
        ("heating_kw", 2),
        "; fuel is ",
        ("fuel_thermh", 4),
        " therm/h.",
    )
    say("Cost", "An hour of this row costs ", ("cost_usd_h", 3), money_words(" USD."))
    sheet.freeze(4, 1)
    sheet.on_paper(footer=work.footer, last_row=row, last_column=3, repeat_rows=(3, 3), letter=False)
