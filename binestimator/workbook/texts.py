"""Fixed texts of the workbook: cautions, limits, sources, glossary.

What a run finds is in its results; here is what is true of every run.
"""

from __future__ import annotations

CAUTIONS = (
    (
        "Ventilation",
        "Outdoor air must meet the local code in every zone and every hour, at the lowest duct pressure and airflow "
        "that a reset "
        "reaches. With a fixed damper position, outdoor air changes with supply airflow and pressure. Hours and "
        "zone-hours short of air are "
        "counted; a count of zero does not prove compliance. Confirm by measurement at the reset's low "
        "end.",
    ),
    (
        "Humidity and mould",
        "Warmer supply air takes less moisture out. Where outdoor air is humid, rooms, ducts and cool surfaces can "
        "stay damp and grow mould, also "
        "in hours that save energy. Hold the reset by outdoor or room dew point and watch it. Part of a cooling "
        "saving can be moisture left in the rooms; it is judged by depth, and humid hours are counted.",
    ),
    (
        "Freezing coils",
        "Mixed air near freezing can burst water coils. Resets must not delay, bypass or defeat low-temperature "
        "cut-outs, preheat, "
        "coil pumps or damper interlocks. Hours of cold mixed air are counted from hourly means, which hide "
        "stratification and gusts.",
    ),
    (
        "Pressure relationships",
        "Supply airflow moves with both resets. Return, relief and exhaust must follow, or doors stick, smoke and "
        "odours travel, and rooms "
        "that must be under positive or negative pressure lose it.",
    ),
    (
        "Smoke control and life safety",
        "Fans, dampers and setpoints that serve smoke control, stair or elevator pressurisation or any other "
        "life-safety duty "
        "must keep it in every mode. No reset may act on them; the fire and life-safety sequences take precedence.",
    ),
    (
        "Healthcare, laboratories, clean rooms",
        "Isolation and operating rooms, pharmacies, laboratories, animal and clean rooms have air-change, pressure, "
        "temperature and humidity "
        "requirements of their own that this program does not check. Leave such zones out of the reset, or have the "
        "change approved by "
        "those responsible for the space.",
    ),
    (
        "Rooms that must stay cold",
        "Network and electrical rooms, archives and stores of food or medicine can be harmed by warm supply air. Give "
        "each its warmest "
        "allowed supply air as an input, and an alarm in the field.",
    ),
    (
        "Heat and cold for people",
        "Zones that are too warm or too cold are counted against the project's setpoints, not against the needs of "
        "the old, the ill or the very young. "
        "Watch complaints after the change and keep a way to reverse it at once.",
    ),
    (
        "Direct expansion",
        "Low airflow and low load can freeze the evaporator or flood the compressor. Keep the manufacturer's least "
        "airflow, least load and "
        "lockout; hours below the least airflow are counted.",
    ),
    (
        "Work on live equipment",
        "Measuring, balancing and programming at running air handlers is work for trained people under the site's "
        "safety rules.",
    ),
)

DEFERENCE = (
    "This is an estimate for comparing strategies. It is not a design, a commissioning record or a certificate of "
    "compliance. Local codes, the authority having jurisdiction and licensed practitioners decide; where they and "
    "this program differ, they take precedence."
)

NOT_MODELLED = (
    "Fan-powered, dual-duct, induction and underfloor terminals, chilled beams, fan coils, multizone units, dedicated "
    "outdoor air, energy recovery, evaporative "
    "cooling and storage: refused as input, not treated as something else.",
    "Trim and respond step by step, unless the run is asked for it (`--as-run`): else demand setpoints are those at "
    "which the loops settle, without the time it takes, overshoot or hunting.",
    "Resets of chilled water, hot water and condenser water, and savings of pumps that would come with them.",
    "Demand of quarter-hours (billed demand is that of hourly means), real-time prices, tiers of fuel that start from "
    "other loads; the contract demand and the load factor of a tariff.",
    "Memory of the building in running hours: the radiant share of gains is delayed by one lag; room temperatures are "
    "steady in the hour. "
    "Setback and warm-up do follow room heat storage.",
    "Moisture stored in furniture and walls; condensation on surfaces; stratified mixed air.",
    "Zones that trade air or heat with each other; wind and stack effect; terminals and sensors out of calibration "
    "beyond the rogue zones given.",
    "Leakage of dampers and valves, fouling and other faults, unless described by an input.",
    "Acoustics, surge and stall of fans, bearing limits.",
)

WEATHER_CAVEATS = (
    "A typical year is put together from typical months of past years. It is neither next year nor an extreme year, "
    "and it does not size equipment.",
    "The climate has moved since many typical-year files were made; recent summers can be warmer and recent winters "
    "milder than the file.",
    "The station is not the site: distance, height, coast and city change temperature and humidity.",
    "Hourly values hide gusts, showers and minutes; dry bulb and dew point are observations near the end of the hour.",
    "The hottest hour of the file is not the utility's peak; peak kW here is the largest hour of this air handler "
    "alone.",
    "Typical years have no weekdays of their own: that of 1 January is an input, and so are holidays and daylight "
    "saving.",
)

# How a source was seen: read, quoted, memory, practice.
SEEN = {
    "read": "numbers read in the document",
    "quoted": "quoted by another public text",
    "memory": "from memory, not checked",
    "practice": "common practice, no source",
    "project": "this program's own",
}

# document; where in it; used for; how seen
SOURCES = (
    (
        "ANSI/ASHRAE/IES Standard 90.1-2022",
        "Table L4.2.3-1",
        "Published part-load curves of fans with and without pressure reset, and of pumps",
        "read",
    ),
    ("ANSI/ASHRAE/IES Standard 90.1-2022", "Table J-4", "Chiller curves and full-load input by size", "read"),
    (
        "ANSI/ASHRAE/IES Standard 90.1-2022",
        "12.5.2",
        "Least part load of 0.25; removing the indoor fan from rated direct-expansion efficiency",
        "read",
    ),
    ("ANSI/ASHRAE/IES Standard 90.1-2022", "C3.3", "Default prices of electricity and fuel", "read"),
    (
        "ANSI/ASHRAE/IES Standard 90.1-2022",
        "C3.5.5.3",
        "Solar absorptance of the roof; infiltration at operating pressure",
        "read",
    ),
    ("ANSI/ASHRAE/IES Standard 90.1-2022", "Appendix L", "System ventilation efficiency 0.75; sizing factors", "read"),
    ("ANSI/ASHRAE/IES Standard 90.1", "Table 6.5.1.1.3", "Economizer high limits by climate zone", "quoted"),
    ("ANSI/ASHRAE/IES Standard 90.1", "6.4.3.3.2", "Night setback and setup", "quoted"),
    (
        "ASHRAE Guideline 36-2021, 2024",
        "5.16.2.2",
        "Outdoor-air envelope of the supply air temperature, 95 °F in warm-up; humidity limit of addendum z",
        "quoted",
    ),
    (
        "ASHRAE Guideline 36-2021",
        "5.6.8",
        "Requests of zones for temperature and pressure, their thresholds and importance",
        "quoted",
    ),
    ("ASHRAE Guideline 36-2021", "5.1.14.4", "Arithmetic of trim and respond, requests ignored", "read"),
    ("ANSI/ASHRAE Standard 62.1", "Table 6-1", "Outdoor air of offices, 5 cfm/person and 0.06 cfm/ft²", "quoted"),
    ("National Energy Code of Canada for Buildings 2025", "8.4.6", "Curves of direct expansion and boilers", "quoted"),
    (
        "ASHRAE Handbook, Fundamentals 2017",
        "Chapter 1",
        "Saturation pressure, moist air properties and their check values",
        "quoted",
    ),
    ("ASHRAE Handbook, Fundamentals", "Chapter 18", "Heat of people, delay of radiant gains", "memory"),
    ("NREL/TP-581-43156, Users Manual for TMY3 Data Sets (2008)", "", "Meaning of weather files", "quoted"),
    ("PNNL-25985 (2017)", "", "Savings of resets in the field and in simulation, as plausibility only", "quoted"),
    (
        "NREL technical report 98345",
        "",
        "Savings of static pressure reset over a building stock, as plausibility only",
        "read",
    ),
    (
        "Fan law, system curve, efficiency of motor and drive at part load",
        "",
        "Fan power from airflow and pressure; defaults are labelled assumptions",
        "practice",
    ),
    (
        "Terminal flow at a duct pressure, demand setpoint as an order statistic of the zones' thresholds",
        "",
        "Airflow that a duct pressure can deliver; where trim and respond settles",
        "project",
    ),
    (
        "Rows that represent the year",
        "",
        "Hours chosen with weights so that hours, temperature and moisture of each bin are exact and energies of "
        "reference settings and candidates are kept",
        "project",
    ),
)

GLOSSARY = (
    ("Air handler", "The unit that mixes, filters, cools or heats and blows air to the zones"),
    ("Baseline", "The option all others are compared with: how the plant runs today, or as the code requires"),
    ("Bin", "All hours in a range of outdoor temperature; here also split by running mode"),
    (
        "Bin rows",
        "The real hours, each with a weight, that represent the year; they are chosen so that energies agree with the "
        "hour-by-hour run",
    ),
    (
        "Classic bins",
        "The usual bin method: one row of mean conditions for each bin and running mode. Shown only for comparison",
    ),
    ("Demand reset", "The zones' own requests move the setpoint: the few zones that need most decide"),
    (
        "Duct static pressure (DSP)",
        "Pressure held in the supply duct so that terminals get their air, in inches of water",
    ),
    ("Economizer", "More outdoor air than the minimum, when that cools for free"),
    (
        "Equal service",
        "No room warmer, colder, moister, less ventilated or less ready at the start of occupancy than under the "
        "baseline, by depth and within what "
        "sensors can tell; an option that takes more from the rooms is shown but not ranked. The limits are on “Zone "
        "service”",
    ),
    (
        "Other service",
        "An option that changes what the rooms are promised (setpoints, hours, required outdoor air, humidity "
        "limit): shown with what it changes, never ranked",
    ),
    (
        "Saving at equal outdoor air",
        "The saving with the option's minimum outdoor air raised to what the baseline gives at its minimum, as far "
        "as that is required",
    ),
    (
        "Perfect resets",
        "The least energy cost that setpoints alone could reach on the plant as it is, hour by hour: a limit to "
        "measure options by, not something to buy",
    ),
    (
        "Option",
        "A supply air temperature strategy paired with a duct static pressure strategy, and what else changes with "
        "them. Project files, forms and the results file call it “candidate” and name it by its id",
    ),
    ("Preheat", "Heat of the coil in the air handler"),
    ("Reheat", "Heat of the coils at the terminals, which warms air that was cooled before"),
    ("Request-hours", "Requests of a zone times the hours in which it sends them, over the hours that the unit runs"),
    ("Reset", "Moving a setpoint with conditions instead of holding it"),
    (
        "Rogue zone",
        "A zone that keeps sending requests because of a fault or a terminal too small, and so pins a reset: without "
        "it the setpoint would be elsewhere",
    ),
    ("Starved zone", "A zone whose airflow is cut because duct pressure is too low for it"),
    ("Supply air temperature (SAT)", "Temperature of the air leaving the air handler"),
    ("Unmet zone-hours", "Zones times hours warmer than the cooling setpoint by more than the tolerance"),
)

HOW_TO_READ = (
    "Start with “At a glance”. Each number there is given in full on “Comparison”, which says what it contains; each "
    "of those is the total of a column on the option's own sheet, shown at its head.",
    "A change is option minus baseline: + is more, − is less. A saving is baseline minus option: + is saved. "
    "Nothing is clipped: a reset that costs more is shown as costing more.",
    "Fans rise when supply air gets warmer, because the same cooling takes more air; that is part of the result and "
    "is never left out.",
    "Figures of a year come from the bin rows; the same equations run on every hour are shown beside them as an audit "
    "(“Checks”).",
    "The file calculates: edit an input (or type a reviewer's override beside it) and “Live year”, the options' "
    "sheets and the lines “as reviewed” and “ratio” "
    "on the first sheet follow by formulas. Tables, charts and texts of the first sheet, “Comparison”, “Patterns”, "
    "“Zone service” and “Checks” remain those of the run.",
    "Rows and weights, sizes, optimiser setpoints, night runs, counts and peaks are found by the program and held as "
    "values. “Held values” lists what each depends on; the first sheet says when an edit has made some of them "
    "stale and the program should run again.",
    "Printed as a whole, this file prints its first five sheets, those for the owner; the client edition prints the "
    "hand-over as well. The print "
    "area of every other sheet is one empty cell. To print one of them, make the area with the name “paper” of that "
    "sheet its print area (of rows a specimen, of inputs what counts), or clear the print area to print all of it.",
)

KINDS = (
    ("BEST", "best", "The least energy cost among options that serve the rooms as well as the baseline"),
    ("baseline", "base", "What the others are compared with"),
    (
        "not ranked",
        "flagged",
        "Serves the rooms worse than the baseline, changes the service, or does not cure what the baseline fails in; "
        "reasons are given",
    ),
    ("Total", "total", "Sum or weighted mean of a column"),
    ("agrees", "agree", "Two ways to the same figure agree"),
    ("PASS", "good", "A check that holds"),
    ("EXPLAIN", "explain", "A check that needs an explanation"),
    ("FAIL", "bad", "A check that must not fail: do not use the results; nothing is ranked"),
)
