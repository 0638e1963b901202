"""Where everything is: sheet names, columns, rows, defined names. Nothing else knows addresses.

A column is described once, by what it holds, and keeps its place whatever fills it. Rows of
a candidate are laid out in the order of the calculation, so that a cell needs only cells to
its left, cells of the same row on the sheet of rows, and inputs.
"""

from __future__ import annotations

import re
from collections.abc import Sequence

from ..dataclass import dataclass
from ..end_uses import END_USES as _USES
from ..inputs.form_keys import CLIENT_SHEETS, INPUTS, PROFILES, STRATEGIES, ZONES
from .strict import LONGEST_SHEET_NAME, utf16_length

# ---------------------------------------------------------------- sheets, in order

GLANCE, OPTIONS, INPUTS_BRIEF, CHECKS_BRIEF, CAUTIONS = CLIENT_SHEETS
# How sure the figures are, and what money does over months and years.
RANGES, MONEY_CHARTS = "Ranges", "Money in charts"
# What is handed over of an option: to program, how it acts, how it is proven.
HANDOVER, SEQUENCE, ACCEPTANCE = "Hand-over", "Sequence", "Tests and alarms"
GUIDE = "Guide"
BINS = "Weather bins"
ROWS = "Bin rows"
COMPARISON = "Comparison"
MEASURES = "Measures"
PATTERNS = "Patterns"
AS_RUN = "As run"
TRENDS = "Trends"
REALISED = "Realised"
SERVICE = "Zone service"
CHECKS = "Checks"
SOURCES = "Sources"
REVIEW = "Review"

# What each sheet holds, for the guide.
CONTENTS = {
    GLANCE: "What was compared, what it saves and costs; behind it charts, what can go wrong and how sure it is",
    RANGES: "How sure the savings are: percentiles and probabilities of every option, what moves them, what to measure "
    "next, and the ranges that were drawn",
    MONEY_CHARTS: "Ranges of the savings and what moves them, cash flow, months before and after; saving against hours "
    "of work",
    OPTIONS: "Energy, cost, saving, payback and service of every option on a page",
    CAUTIONS: "Where a reset can hurt someone or something, what is not modelled, what weather cannot tell",
    INPUTS_BRIEF: "Assumptions that move the saving most, and what was given for the air handler and its plant",
    CHECKS_BRIEF: "Checks of the run, and the baseline beside what is usual",
    HANDOVER: "What a contractor programs of one option: setpoints with their sources, readers and tests, tables over "
    "the outdoor temperature, zones, how to reverse it",
    SEQUENCE: "Sequence of operation of that option in plain words, and the points it needs with trending intervals",
    ACCEPTANCE: "Functional tests with pass criteria, alarms, monthly check, rogue zones, cautions of that option",
    GUIDE: "How to read this file: sheets, marks, signs, words",
    REVIEW: "Revisions, questions of a reviewer with their answers, what changed since the earlier run, its claim "
    "beside this one",
    INPUTS: "Every input: given value, what counts otherwise, reviewer’s override, unit, allowed range, source, "
    "evidence, status",
    PROFILES: "Inputs of the profile groups and of the special zones, side by side",
    ZONES: "Inputs of every zone, one line each",
    STRATEGIES: "Parameters of every option, side by side, and what else it changes",
    COMPARISON: "Every annual figure of every option in full, from the bin rows and hour by hour",
    MEASURES: "Savings against the existing and the code baseline, as shares, in either order and by parts; bills by "
    "month",
    PATTERNS: "By month, by outdoor temperature and by airflow; the numbers behind the charts",
    AS_RUN: "Options at time steps, as controllers run them, beside rooms at rest: savings, zones that ask, three days",
    TRENDS: "Measured beside modelled by outdoor temperature, and a typical week, where trend logs were given",
    REALISED: "What logs of before and after the work say was saved, beside the claim; what kept the reset from "
    "acting, where a results file of realised savings was given",
    SERVICE: "Equal service: every rise over the baseline beside what is allowed; which zones are unmet or starved, "
    "and which drive the resets",
    CHECKS: "Hours, balances, bins against hours, plausibility",
    SOURCES: "Where equations and figures come from, and how each was seen",
    BINS: "Hours by outdoor temperature, coincident moisture and airflow, hours that represent each bin",
    ROWS: "The rows that represent the year: hours, weights, outdoor conditions",
}
LIVE_YEAR = "Live year"
MONEY = "Money"
TARIFF = "Tariff"
# State of a file in which nobody has changed an input.
NOTHING_EDITED = "No input has been edited since the run: all figures are those of the run."
#: Sheets of a set of inputs; another set (a repair, a companion measure) has the number of its first option behind it.
SITE_SHEETS = ("Air handler", "Zones", "Loads", "Idle")
# Sheets of the formulas; a number behind the name is that of an option.
LIVE_CONTENTS = {
    "Constants": "Constants and curve coefficients that the formulas use, each with unit and source",
    "Air handler": "Air handler, fan and plant as the formulas take them, from the inputs",
    "Zones": "Zones as the formulas take them: areas, airflows, apertures, setpoints",
    "Loads": "Load of every zone in every row, before any setpoint is decided",
    "Idle": "Standing loss of a heating plant that stays enabled with the air handler off",
    "Setpoints": "Parameters of every option's strategies as the formulas take them",
    "Cold air": "Supply air that mixed air gives by itself where nothing heats it enough, step by step",
    "Plant short": "Supply air at which a plant too small carries the load, step by step",
    LIVE_YEAR: "Annual figures, savings and payback of every option with a sheet, by formulas",
    TARIFF: "Marginal prices by rate period, by formulas; demand and tiers by month, from the hours",
    MONEY: "Cost line by line, incentive, demand in peak windows, cash flow and life-cycle measures, by formulas",
    "Row inspector": "Pick an option and a row: the calculation of every zone in plain cells",
    "Method": "Equations with sources and limits, and one row worked in words and numbers",
    "Held values": "What is held as values of the run, what it depends on, and what an edit has made stale",
}


def live_contents(name: str) -> str:
    """What a sheet of the formulas holds; ``Zones 10`` is described as ``Zones``, with the option it is for."""
    found = re.fullmatch(r"(\D+?) (\d+)", name)
    if not found:
        return LIVE_CONTENTS[name]
    kind, option = found.groups()
    also = " and those with the same inputs" if kind in SITE_SHEETS else ""
    return f"{LIVE_CONTENTS[kind]} (option {option}{also})"


CANDIDATE_CONTENTS = "row by row from outdoor air to cost, by formulas"

#: Sheets for the owner, which the working file prints by itself, eight pages at most: the case, how sure it is, money,
#: options, what can hurt; then what it rests on.
PRINTED_SHEETS = (GLANCE, RANGES, MONEY_CHARTS, OPTIONS, CAUTIONS, INPUTS_BRIEF, CHECKS_BRIEF)
#: Sheets for the owner and those who program and test, of which the client edition consists.
OWNER_SHEETS = (*PRINTED_SHEETS, HANDOVER, SEQUENCE, ACCEPTANCE)
#: Sheets for whoever checks the file; those of the formulas about the whole year follow them.
REVIEWER_SHEETS = (
    GUIDE,
    REVIEW,
    INPUTS,
    PROFILES,
    ZONES,
    STRATEGIES,
    COMPARISON,
    MEASURES,
    SERVICE,
    CHECKS,
    PATTERNS,
    AS_RUN,
    TRENDS,
    REALISED,
    SOURCES,
)
REVIEWER_LIVE_SHEETS = (LIVE_YEAR, MONEY, TARIFF, "Row inspector", "Method", "Held values")
#: Sheets that the candidates' own are computed from; further ones of the formulas and the candidates follow them.
MACHINE_SHEETS = (BINS, ROWS)


def sheet_order(
    live_before: list[str],
    candidates: list[str],
    live_after: list[str],
    *,
    as_run: bool = False,
    trends: bool = False,
    realised: bool = False,
) -> list[str]:
    """All sheets of a workbook: the owner's first, then the reviewer's, then those of the calculation.

    Parameters
    ----------
    live_before, live_after : list of str
        Sheets of the formulas that come before and after those of the candidates.
    candidates : list of str
    as_run : bool
        Whether options were run at time steps.
    trends : bool
        Whether trend logs were given.
    realised : bool
        Whether it was given what was realised.
    """
    given = {AS_RUN: as_run, TRENDS: trends, REALISED: realised}
    live = [*live_before, *live_after]
    return [
        *OWNER_SHEETS,
        *(name for name in REVIEWER_SHEETS if given.get(name, True)),
        *(name for name in REVIEWER_LIVE_SHEETS if name in live),
        *MACHINE_SHEETS,
        *(name for name in live_before if name not in REVIEWER_LIVE_SHEETS),
        *candidates,
        *(name for name in live_after if name not in REVIEWER_LIVE_SHEETS),
    ]


# Candidates with a sheet and a line in the charts; further ones are in all tables.
MOST_CANDIDATE_SHEETS = 8

# Characters that sheet names may not hold (file format), and those that upset footers and links.
_FORBIDDEN = re.compile(r"[\[\]:*?/\\\x00-\x1f\x7f#!]")
# The file format reads this as the escape of a character.
_ESCAPE = re.compile(r"_(?=x[0-9A-Fa-f]{4}_)")


def candidate_sheet_names(names: list[str], others: Sequence[str] = ()) -> list[str]:
    """Unique valid sheet names ``1 Name`` for candidates in order, none of them in ``others``.

    Forbidden characters become spaces, long names are cut; the number keeps them apart.
    """
    taken = {name.casefold() for name in (*CONTENTS, *others)} | {
        "history"
    }  # "History" is reserved by one spreadsheet program
    found = []
    for number, name in enumerate(names, 1):
        plain = " ".join(_ESCAPE.sub(" ", _FORBIDDEN.sub(" ", name)).split()).strip("' ")
        sheet = f"{number} {plain}"[:LONGEST_SHEET_NAME]
        while utf16_length(sheet) > LONGEST_SHEET_NAME:
            sheet = sheet[:-1]
        sheet = sheet.rstrip("' ")
        while sheet.casefold() in taken:  # two of them can only meet through case folding
            sheet = f"{number}"
        taken.add(sheet.casefold())
        found.append(sheet)
    return found


def sheet_candidates(results) -> list[int]:
    """Positions of the candidates that get a sheet: the first ones, baseline, best and best value among them."""
    count = len(results.candidates)
    chosen = list(range(min(count, MOST_CANDIDATE_SHEETS)))
    must = [
        k
        for k, c in enumerate(results.candidates)
        if c.id == results.baseline_id
        or c.rank == 1
        or (results.advice is not None and c.id == results.advice.value.best_id)
    ]
    for k in must:
        if k not in chosen:
            chosen.remove(next(j for j in reversed(chosen) if j not in must))
            chosen.append(k)
    return sorted(chosen)


# ---------------------------------------------------------------- columns


@dataclass(frozen=True, slots=True)
class Column:
    """One column of a table.

    Parameters
    ----------
    key : str
        Column of the data it shows.
    label, unit : str
        As printed.
    style : str
        Number style of ``formats``.
    total : str
        How the column is totalled: ``sum`` (weight times value), ``mean`` (weighted, over
        running hours), ``weight`` (plain sum) or empty; bins: ``total``, ``hours_mean``,
        ``running_mean``.
    total_unit : str
        Unit of that total.
    annual : str
        Annual figure that the total leads to, or empty.
    width : float
        [characters]
    """

    key: str
    label: str
    unit: str
    style: str = "f1"
    total: str = ""
    total_unit: str = ""
    annual: str = ""
    width: float = 9.5


def _mean(key, label, unit, style="f1", annual=""):
    return Column(key, label, unit, style, "mean", unit, annual)


def _sum(key, label, unit, total_unit, annual="", style="f2"):
    return Column(key, label, unit, style, "sum", total_unit, annual)


def _use(key):
    """Column of an end use."""
    use = next(use for use in _USES if use.key == key)
    return _sum(use.column, use.column_label, use.rate_unit, use.unit, use.key, use.column_style)


# The columns of a candidate's sheet by step of the calculation. ``fans_kw`` is the sum of the
# two fan columns before it.
CANDIDATE_GROUPS: tuple[tuple[str, tuple[Column, ...]], ...] = (
    (
        "Row",
        (
            Column("row", "Row", "no.", "f0", width=5.5),
            Column("when", "Date and hour", "std. time", "text", width=13),
            Column("weight_h", "Weight", "h/yr", "f2", "weight", "h", "hours"),
        ),
    ),
    (
        "Conditions",
        (
            Column("fan_on", "Fan on", "1/0", "f0", "sum", "h", "running_hours", 7),
            Column("occupied", "Occupied", "1/0", "f0", "sum", "h", width=8.5),
            _mean("oat_f", "Outdoor dry bulb", "°F"),
            _mean("oawb_f", "Outdoor wet bulb", "°F"),
            _mean("humidity_ratio", "Outdoor humidity ratio", "lb/lb", "f5"),
        ),
    ),
    (
        "Setpoints",
        (
            _mean("sat_set_f", "Supply air setpoint", "°F", "f2"),
            _mean("sat_f", "Supply air that results", "°F", "f2", "mean_sat_f"),
            _mean("dsp_set_inwc", "Duct static setpoint", "in. w.c.", "f3"),
        ),
    ),
    (
        "Airflow",
        (
            _mean("requested_cfm", "Asked for by zones", "cfm", "f0"),
            _mean("ceiling_frac", "Share the fan can give", "0–1", "f3"),
            _mean("room_flow_cfm", "To the rooms", "cfm", "f0"),
            _mean("leakage_cfm", "Duct leakage", "cfm", "f0"),
            _mean("flow_cfm", "Supply airflow", "cfm", "f0", "mean_flow_cfm"),
        ),
    ),
    (
        "Fans",
        (
            _mean("dsp_inwc", "Duct static that results", "in. w.c.", "f3", "mean_dsp_inwc"),
            _mean("fan_total_inwc", "Fan total static", "in. w.c.", "f3"),
            _mean("fan_speed_frac", "Fan speed", "0–1", "f3"),
            _sum("fan_kw", "Supply fan", "kW", "kWh"),
            _sum("return_fan_kw", "Return or relief fan", "kW", "kWh"),
            _use("fan_kwh"),
            _mean("fan_rise_f", "Fan temperature rise", "°F", "f2"),
        ),
    ),
    (
        "Mixing",
        (
            _mean("room_mean_f", "Rooms, mean", "°F", "f2"),
            _mean("rat_f", "Return air", "°F", "f2"),
            _mean("oa_min_frac", "Least outdoor-air share", "0–1", "f3"),
            _sum("economizing", "Economizer", "1/0", "h", "economizer_hours", "f0"),
            _mean("oa_frac", "Outdoor-air share", "0–1", "f3"),
            _mean("oa_cfm", "Outdoor air", "cfm", "f0"),
            _mean("mat_f", "Mixed air", "°F", "f2"),
        ),
    ),
    (
        "Moisture",
        (
            _mean("room_humidity_ratio", "Rooms", "lb/lb", "f5"),
            _mean("mixed_humidity_ratio", "Mixed air", "lb/lb", "f5"),
            _mean("leaving_humidity_ratio", "Leaving the coil", "lb/lb", "f5"),
        ),
    ),
    (
        "Cooling coil",
        (
            _mean("coil_entering_f", "Entering dry bulb", "°F", "f2"),
            _mean("coil_entering_wb_f", "Entering wet bulb", "°F", "f2"),
            _mean("coil_leaving_f", "Leaving dry bulb", "°F", "f2"),
            _sum("cooling_sensible_kbtuh", "Sensible", "kBtu/h", "kBtu", "cooling_sensible_kbtu"),
            _sum("cooling_latent_kbtuh", "Latent", "kBtu/h", "kBtu", "cooling_latent_kbtu"),
            _sum("cooling_kbtuh", "Total", "kBtu/h", "kBtu"),
            Column("cooling_capacity_kbtuh", "Plant can give", "kBtu/h", "f1"),
            _sum("unserved_kbtuh", "Not served", "kBtu/h", "kBtu", "unserved_cooling_kbtu"),
        ),
    ),
    (
        "Heating coils",
        (
            _sum("preheat_kbtuh", "Preheat", "kBtu/h", "kBtu", "preheat_kbtu"),
            _sum("reheat_kbtuh", "Reheat", "kBtu/h", "kBtu", "reheat_kbtu"),
            _sum("heat_unserved_kbtuh", "Beyond the heat source", "kBtu/h", "kBtu", "unserved_heating_kbtu"),
        ),
    ),
    (
        "Plant",
        (
            *(_use(use.key) for use in _USES if use.key != "fan_kwh"),
            _sum("electricity_kw", "Electricity together", "kW", "kWh", "electricity_kwh"),
        ),
    ),
    ("Cost", (_sum("cost_usd_h", "Energy cost", "USD/h", "USD", "cost_usd"),)),
    # Rows are chosen for energies, not for counts: annual counts come from the hourly run.
    (
        "Service in the row (annual counts come from the hourly run)",
        (
            Column("unmet_zones", "Zones too warm", "zones", "f0"),
            Column("unmet_degrees", "Too warm, summed", "zone °F", "f2"),
            Column("cold_zones", "Zones too cold", "zones", "f0"),
            Column("starved_zones", "Zones starved", "zones", "f0"),
            Column("ventilation_short_zones", "Zones short of ventilation", "zones", "f0"),
            Column("reheating_zones", "Zones reheating", "zones", "f0"),
            Column("humid", "Humid", "1/0", "f0", width=7),
            Column("airflow_ceiling", "Airflow ceiling", "1/0", "f0", width=7.5),
            Column("oa_short", "Outdoor air short", "1/0", "f0", width=7.5),
            Column("minimum_speed", "Fan at least speed", "1/0", "f0", width=7.5),
            Column("capacity_limited", "Cooling short", "1/0", "f0", width=7.5),
            Column("freeze", "Cold mixed air", "1/0", "f0", width=7.5),
            Column("low_flow", "Low flow, DX", "1/0", "f0", width=7.5),
            Column("stage_cycling", "First stage cycles, DX", "1/0", "f0", width=8.5),
            Column("cold_dx", "Supply too cold, DX", "1/0", "f0", width=8.5),
            Column("economizer_cooling", "Economizer with cooling", "1/0", "f0", width=9.5),
        ),
    ),
)
CANDIDATE_COLUMNS = tuple(column for _, columns in CANDIDATE_GROUPS for column in columns)
CANDIDATE_COLUMN = {column.key: place for place, column in enumerate(CANDIDATE_COLUMNS)}

# Titles of a candidate's sheet begin here; its rows are laid out by ``live.columns``.
CANDIDATE_TITLE_ROW = 0

ROW_COLUMNS = (
    Column("row", "Row", "no.", "f0", width=6),
    Column("bin_low_f", "Bin from", "°F", "f0", width=8),
    Column("when", "Date and hour", "std. time", "text", width=14),
    Column("month", "Month", "1–12", "f0", width=8),
    Column("day", "Day", "", "f0", width=7),
    Column("hour_start", "Hour from", "0–23", "f0", width=8),
    Column("hour_of_year", "Hour of year", "0–8759", "f0", width=9),
    Column("fan_on", "Fan on", "1/0", "f0", width=8),
    Column("occupied", "Occupied", "1/0", "f0", width=9),
    Column("rate_period", "Rate period", "no.", "f0", width=9),
    Column("weight_h", "Weight", "h/yr", "f4", width=12),
    Column("oat_f", "Dry bulb", "°F", "f2", width=10),
    Column("oawb_f", "Wet bulb", "°F", "f2", width=10),
    Column("oa_dewpoint_f", "Dew point", "°F", "f2", width=10),
    Column("humidity_ratio", "Humidity ratio", "lb/lb", "f6", width=11),
)
ROWS_FIRST_ROW = 8

BIN_COLUMNS = (
    Column("range", "Outdoor temperature", "°F", "text", width=13),
    Column("midpoint_f", "Midpoint", "°F", "f1", width=9),
    Column("hours", "Hours", "h/yr", "f0", "total", "h", width=9),
    Column("hours_occupied", "Occupied", "h/yr", "f0", "total", "h", width=9.5),
    Column("hours_unoccupied_running", "Unoccupied, running", "h/yr", "f0", "total", "h", width=11),
    Column("hours_off", "Air handler off", "h/yr", "f0", "total", "h", width=9.5),
    Column("mean_oat_f", "Mean dry bulb", "°F", "f1", "hours_mean", "°F", width=9),
    Column("mcwb_f", "Mean coinc. wet bulb", "°F", "f1", "hours_mean", "°F", width=10),
    Column("mean_humidity_ratio", "Mean humidity ratio", "lb/lb", "f5", "hours_mean", "lb/lb", width=10),
    Column("mean_flow_cfm", "Mean airflow, baseline", "cfm", "f0", "running_mean", "cfm", width=10.5),
    Column("rows", "Rows", "no.", "f0", "total", "no.", width=6.5),
    Column(
        "representative_hours",
        "Hours that represent the bin: date, hour from (standard time) × weight in h/yr",
        "",
        "text_small",
        width=88,
    ),
)
BINS_FIRST_ROW = 8

ZONE_RESULT_COLUMNS = (
    Column("unmet_hours", "Too warm", "h", "f0"),
    Column("unmet_degree_hours", "Too warm, summed", "°F·h", "f1", width=10),
    Column("starved_hours", "Starved", "h", "f0"),
    Column("ventilation_short_hours", "Ventilation short", "h", "f0", width=10),
    Column("cold_hours", "Too cold", "h", "f0"),
    Column("cold_degree_hours", "Too cold, summed", "°F·h", "f1", width=10),
    Column("minimum_flow_hours", "At least airflow", "h", "f0"),
    Column("temperature_request_hours", "Asks for colder air", "h", "f0", width=10),
    Column("pressure_request_hours", "Asks for pressure", "h", "f0", width=10),
    Column("reheat_kbtu", "Reheat", "kBtu", "f0", width=11),
)

# End uses in the order of stacks and tables: annual key, column label, short label.
END_USES = tuple((use.key, use.label, use.unit) for use in _USES)

# ---------------------------------------------------------------- defined names

_NAME_PART = re.compile(r"[^a-z0-9_]+")
_LOOKS_LIKE_ADDRESS = re.compile(r"(?i)^([a-z]{1,3}\d+|r\d*c\d*|r|c)$")


def input_name(path: str) -> str:
    """Defined name of an input that occurs once: ``fan.motor_hp`` is ``in_fan_motor_hp``."""
    return _checked("in_" + _NAME_PART.sub("_", path.casefold()))


def annual_name(number: int, key: str) -> str:
    """Defined name of an annual figure of the candidate with this number."""
    return _checked(f"year_{number}_{key}")


def _checked(name: str) -> str:
    # Names such as SAT1 are cells: SAT is column 12 890.
    if _LOOKS_LIKE_ADDRESS.match(name) or len(name) > 255:
        raise ValueError(f"defined name {name!r} could be read as a cell address or is too long")
    return name
