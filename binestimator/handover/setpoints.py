"""Setpoints and parameters of an option, and its setpoints over the outdoor temperature."""

from __future__ import annotations

from types import SimpleNamespace

import numpy as np

from ..strategies.demand import SECOND_REQUEST_F, SECOND_REQUEST_FLOW, THIRD_REQUEST_F, THIRD_REQUEST_FLOW
from ..strategies.strategy import DspRows
from ..strategies.tables import line
from .facts import Facts, some
from .records import Row, Setpoint, Table
from .seeking import setpoints_of as seeking_setpoints

#: What nobody gave and no source gives: decisions of the hand-over, labelled so wherever they are shown.
DECISION = "decision (common practice, no source)"
GUIDELINE = "Guideline 36 5.6.8, quoted"
#: A setpoint that moves less than this in a month of use is no reset.
FLAT_SAT_F, FLAT_DSP_INWC = 2.0, 0.25
FLAT_SOURCE = "PNNL-27338, thresholds by which a missing reset is detected, quoted"
SENSOR_MIN, OFFLINE_PCT, OVERRIDE_H, ROOM_DEW_BAND_F = 5.0, 20.0, 4.0, 2.0
FROZEN_H, RAMP_MIN, RETURN_MIN, EVERY_MIN, ZONE_LOW_F, ZONE_HIGH_F = 6.0, 10.0, 30.0, 5.0, 50.0, 100.0
#: Tolerances of tests: supply air, outdoor temperature [degF], duct pressure [in. w.c.], airflow [%]. (DECISION)
SAT_TOLERANCE_F, SETPOINT_TOLERANCE_F, DSP_TOLERANCE_INWC, SETPOINT_TOLERANCE_INWC = 1.0, 0.2, 0.05, 0.02
OAT_TOLERANCE_F, FLOW_TOLERANCE_PCT = 2.0, 10.0
# Steps of the tables over outdoor temperature and airflow. [degF, % of design]
_STEP_F, _STEP_PCT = 10.0, 10.0


def is_input(setpoint: Setpoint) -> bool:
    """Whether a setpoint is an input of the estimate or a size: then it had a value before."""
    return ": " in setpoint.source and not setpoint.source.startswith((DECISION, GUIDELINE, FLAT_SOURCE))


def degf(value: float) -> str:
    """``55.0 degF``."""
    return f"{value:.1f} degF"


def inwc(value: float) -> str:
    """``0.30 in. w.c.``"""
    return f"{value:.2f} in. w.c."


def line_text(points, x_unit: str, y_unit: str, y_format: str) -> str:
    """A line through points in words."""
    if len({y for _, y in points}) == 1:
        return f"{points[0][1]:{y_format}} {y_unit} throughout"
    return "; ".join(f"{y:{y_format}} {y_unit} at {x:g} {x_unit}" for x, y in points) + (
        "; straight between, flat beyond"
    )


def setpoints_of(f: Facts) -> list[Setpoint]:
    """All setpoints and parameters that the sequence of an option reads."""
    return [
        *_sat(f),
        *seeking_setpoints(f),
        *_dsp(f),
        *_requests(f),
        *_limits(f),
        *_modes(f),
        *_air_side(f),
        *_upkeep(f),
    ]


def _number(id_, label, value, unit, source) -> Setpoint:
    said = {"degF": degf, "in. w.c.": inwc}.get(unit, lambda v: f"{v:,g} {unit}".rstrip())
    return Setpoint(id=id_, label=label, value=said(value), source=source, number=float(value), unit=unit)


def _small(id_, label, value, unit, source) -> Setpoint:
    """A step of a reset: in as many digits as it has."""
    return Setpoint(id=id_, label=label, value=f"{value:g} {unit}", source=source, number=float(value), unit=unit)


def _sat(f: Facts) -> list[Setpoint]:
    record, found = f.sat, []
    low, high = f.sat_way.range(record)
    if f.sat_loop is not None:
        t, source = f.sat_loop, f.source
        by_trim = f.seeker is None
        found += [
            _number("S_SAT_MIN", "Supply air, coldest", low, "degF", source("sat.min_f")),
            _number("S_SAT_MAX", "Supply air, warmest", high, "degF", source("sat.max_f")),
        ]
        if by_trim:
            found += [
                _number("S_SAT_OAT_LOW", "Outdoor temperature at and below which requests alone decide",
                        record.oat_min_f, "degF", source("sat.oat_min_f")),
                _number("S_SAT_OAT_HIGH", "Outdoor temperature at and above which supply air is coldest",
                        record.oat_max_f, "degF", source("sat.oat_max_f")),
            ]  # fmt: skip
        if np.isfinite(t.start):
            found.append(_number("S_SAT_START", "Supply air loop at the start of the fan", t.start, "degF",
                                 source("as_run.sat_start_f")))  # fmt: skip
        found += [
            _small("S_SAT_DELAY", "Supply air loop, wait after the start", t.delay_min, "min",
                   source("as_run.sat_delay_min")),
            _small("S_SAT_STEP", "Supply air loop, time between moves", t.step_min, "min",
                   source("as_run.reset_step_min")),
        ]  # fmt: skip
        if by_trim:
            found.append(_small("S_SAT_TRIM", "Supply air loop, trim upwards", abs(t.trim), "degF",
                                source("as_run.sat_trim_f")))  # fmt: skip
        found += [
            _small("S_SAT_RESPOND", "Supply air loop, response downwards a request", abs(t.respond), "degF",
                   source("as_run.sat_respond_f")),
            _small("S_SAT_MOST", "Supply air loop, largest response", abs(t.respond_most), "degF",
                   source("as_run.sat_respond_most_f")),
            _small("S_SAT_IGNORED", "Requests for colder air that are ignored", t.ignored, "requests",
                   source("sat.ignored_requests")),
        ]  # fmt: skip
    elif getattr(record, "points", None) and record.strategy != "fixed":
        found.append(_line("S_SAT_LINE", "Supply air by outdoor temperature", record.points, "degF outdoors", "degF",
                           ".1f", f.source("sat.points")))  # fmt: skip
        if record.points_unoccupied is not None:
            found.append(_line("S_SAT_NIGHT", "Supply air by outdoor temperature, unoccupied", record.points_unoccupied,
                               "degF outdoors", "degF", ".1f", f.source("sat.points_unoccupied")))  # fmt: skip
    else:
        found.append(_number("S_SAT", "Supply air, in all hours", low, "degF", f.source("sat.setpoint_f")))
    if f.sat_moves:
        found.append(_number("S_SAT_FALLBACK", "Supply air where the reset cannot act", low, "degF",
                             f"{DECISION}: the coldest of the reset, which every zone was sized for"))  # fmt: skip
    return found


def _dsp(f: Facts) -> list[Setpoint]:
    record, found = f.dsp, []
    low, high = f.dsp_way.range(record)
    if f.dsp_loop is not None:
        t, source = f.dsp_loop, f.source
        found += [
            _number("S_DSP_MIN", "Duct static pressure, lowest", low, "in. w.c.", source("dsp.min_inwc")),
            _number("S_DSP_MAX", "Duct static pressure, highest", high, "in. w.c.", source("dsp.max_inwc")),
            _number("S_DSP_START", "Duct pressure loop at the start of the fan", t.start, "in. w.c.",
                    source("as_run.dsp_start_inwc")),
            _small("S_DSP_DELAY", "Duct pressure loop, wait after the start", t.delay_min, "min",
                   source("as_run.dsp_delay_min")),
            _small("S_DSP_STEP", "Duct pressure loop, time between moves", t.step_min, "min",
                   source("as_run.reset_step_min")),
            _small("S_DSP_TRIM", "Duct pressure loop, trim downwards", abs(t.trim), "in. w.c.",
                   source("as_run.dsp_trim_inwc")),
            _small("S_DSP_RESPOND", "Duct pressure loop, response upwards a request", abs(t.respond), "in. w.c.",
                   source("as_run.dsp_respond_inwc")),
            _small("S_DSP_MOST", "Duct pressure loop, largest response", abs(t.respond_most), "in. w.c.",
                   source("as_run.dsp_respond_most_inwc")),
            _small("S_DSP_IGNORED", "Requests for duct pressure that are ignored", t.ignored, "requests",
                   source("dsp.ignored_requests")),
        ]  # fmt: skip
    elif record.strategy == "airflow":
        found.append(_line("S_DSP_LINE", "Duct static pressure by supply airflow", record.points, "% of design airflow",
                           "in. w.c.", ".2f", f.source("dsp.points")))  # fmt: skip
        found.append(_number("S_FLOW_DESIGN", "Design supply airflow, 100 %", round(f.unit.design_cfm), "cfm",
                             _size_source(f, "air_handler.design_cfm")))  # fmt: skip
    elif getattr(record, "points", None) and record.strategy != "fixed":
        found.append(_line("S_DSP_LINE", "Duct static pressure by outdoor temperature", record.points, "degF outdoors",
                           "in. w.c.", ".2f", f.source("dsp.points")))  # fmt: skip
        if record.points_unoccupied is not None:
            found.append(_line("S_DSP_NIGHT", "Duct static pressure by outdoor temperature, unoccupied",
                               record.points_unoccupied, "degF outdoors", "in. w.c.", ".2f",
                               f.source("dsp.points_unoccupied")))  # fmt: skip
    else:
        found.append(_number("S_DSP", "Duct static pressure, in all hours", low, "in. w.c.",
                             f.source("dsp.setpoint_inwc")))  # fmt: skip
    if f.dsp_moves:
        found.append(_number("S_DSP_FALLBACK", "Duct static pressure where the reset cannot act", high, "in. w.c.",
                             f"{DECISION}: the highest of the reset, which serves every zone"))  # fmt: skip
    found.append(_small("S_FAN_LEAST", "Lowest fan speed", 100.0 * f.project.fan.minimum_speed_frac, "%",
                        f.source("fan.minimum_speed_frac")))  # fmt: skip
    return found


def _line(id_, label, points, x_unit, y_unit, y_format, source) -> Setpoint:
    return Setpoint(
        id=id_,
        label=label,
        value=line_text(points, x_unit, y_unit, y_format),
        source=source,
        unit=y_unit,
        points=tuple((float(x), float(y)) for x, y in points),
    )


def _size_source(f: Facts, path: str) -> str:
    found = f.results.sizes.get(path)
    if found is not None and found[2] != "given":
        return f"result: {path}, sized by the run"
    return f.source(path)


def _requests(f: Facts) -> list[Setpoint]:
    found = []
    if f.sat_way.listens:
        found += [
            _small("S_LOOP_ASK", "Cooling loop of a zone above which it asks for colder air",
                   f.project.limits.loop_ask_pct, "%", f.source("limits.loop_ask_pct")),
            _small("S_LOOP_RELEASE", "Cooling loop of a zone below which it stops",
                   f.project.limits.loop_release_pct, "%", f.source("limits.loop_release_pct")),
            _small("S_WARM_2", "Zone above its cooling setpoint: two requests", SECOND_REQUEST_F, "degF", GUIDELINE),
            _small("S_WARM_3", "Zone above its cooling setpoint: three requests", THIRD_REQUEST_F, "degF", GUIDELINE),
        ]  # fmt: skip
    if f.dsp_way.listens:
        found += [
            _small("S_DAMPER_ASK", "Damper of a terminal above which it asks for pressure",
                   f.project.limits.damper_open_pct, "%", f.source("limits.damper_open_pct")),
            _small("S_DAMPER_RELEASE", "Damper of a terminal below which it stops",
                   f.project.limits.damper_release_pct, "%", f.source("limits.damper_release_pct")),
            _small("S_FLOW_2", "Airflow of a terminal below this part of its setpoint: two requests",
                   100.0 * SECOND_REQUEST_FLOW, "%", GUIDELINE),
            _small("S_FLOW_3", "Airflow of a terminal below this part of its setpoint: three requests",
                   100.0 * THIRD_REQUEST_FLOW, "%", GUIDELINE),
        ]  # fmt: skip
    if f.listens:
        rogue = f.project.rogue_zones
        weights = sorted({(z.importance, z.name) for z in f.project.zones if z.importance != 1.0})
        said = some([f"{w:g} for {name}" for w, name in weights])
        found += [
            Setpoint(
                id="S_IMPORTANCE",
                label="Importance: number by which the requests of a zone are multiplied",
                value=f"{said}; 1 for all others" if said else "1 for every zone",
                source="zone.importance: zone by zone",
                by_id=True,
            ),
            _small("S_ROGUE_PCT", "Request-hours of a rogue zone, of the hours that it ran", rogue.alarm_request_pct,
                   "%", f.source("rogue_zones.alarm_request_pct")),
            _small("S_ROGUE_LEAST", "Least running hours before a zone is judged", rogue.alarm_run_hours, "h",
                   f.source("rogue_zones.alarm_run_hours")),
            _small("S_ROGUE_RESET", "Running hours after which request-hours count anew", rogue.alarm_reset_hours,
                   "h", f.source("rogue_zones.alarm_reset_hours")),
            _small("S_OFFLINE", "Zones without data above which the reset falls back", OFFLINE_PCT, "%", DECISION),
        ]  # fmt: skip
    return found


def _limits(f: Facts) -> list[Setpoint]:
    found = []
    limits = f.project.limits
    if f.cold_limit_f is not None:
        names = some([z.name for z in f.project.zones if z.sat_max_f is not None])
        found.append(_number("S_SAT_COLD", f"Supply air no warmer than this, for {names}", f.cold_limit_f, "degF",
                             "zone.sat_max_f: the coldest of all zones"))  # fmt: skip
    if f.humidity == "outdoor_dewpoint":
        found += [
            _number("S_DEW_LOW", "Outdoor dew point at and below which the warmest supply air is not lowered",
                    limits.oa_dewpoint_low_f, "degF", f.source("limits.oa_dewpoint_low_f")),
            _number("S_DEW_HIGH", "Outdoor dew point at and above which supply air stays coldest",
                    limits.oa_dewpoint_high_f, "degF", f.source("limits.oa_dewpoint_high_f")),
        ]  # fmt: skip
    if f.humidity == "room_dewpoint":
        found += [
            _number("S_ROOM_DEW", "Room dew point not to be exceeded", f.project.air_handler.humid_dewpoint_f, "degF",
                    f.source("air_handler.humid_dewpoint_f")),
            _small("S_ROOM_DEW_BAND", "Band below it in which the warmest supply air falls to the coldest",
                   ROOM_DEW_BAND_F, "degF", DECISION),
        ]  # fmt: skip
    return found


def _modes(f: Facts) -> list[Setpoint]:
    schedule, found = f.project.schedule, []
    found.append(Setpoint(id="S_HOURS", label="Occupied hours of the air handler", value=f.hours_text,
                          source="schedule and groups: as given or default"))  # fmt: skip
    found.append(Setpoint(id="S_ROOMS", label="Temperatures and airflows of zones",
                          value="table of zones, which the option does not change" if not _changes_zones(f)
                          else "table of zones, with what the option changes",
                          source="groups and zones: as given, default or sized", by_id=True))  # fmt: skip
    if f.setback:
        found.append(_small("S_WARMUP", "Longest warm-up before occupancy", schedule.warmup_hours, "h",
                            f.source("schedule.warmup_hours")))  # fmt: skip
        if f.heating_mode == "hold":
            found.append(_number("S_NIGHT_SAT", "Supply air in warm-up and setback heating", schedule.night_sat_f,
                                 "degF", f.source("schedule.night_sat_f")))  # fmt: skip
        if schedule.night_dsp == "design":
            found.append(_number("S_NIGHT_DSP", "Duct static pressure in setback, warm-up and cool-down",
                                 f.project.fan.design_dsp_inwc, "in. w.c.",
                                 f.source("fan.design_dsp_inwc")))  # fmt: skip
    return found


def _changes_zones(f: Facts) -> bool:
    return any(path.startswith(("zone", "group", "special")) for path in f.c.candidate.overrides)


def _air_side(f: Facts) -> list[Setpoint]:
    project, unit, found = f.project, f.unit, []
    oa = project.outdoor_air
    if oa.control == "position":
        found.append(_small("S_OA_POSITION", "Outdoor-air share at the least damper position, at design airflow",
                            round(100.0 * unit.oa_position_frac, 1), "%",
                            f.source("outdoor_air.position_frac")))  # fmt: skip
    else:
        label = "Least outdoor airflow while occupied" + (
            ", with all people present; its part for people follows those present" if oa.control == "people" else ""
        )
        found.append(_number("S_OA_MIN", label, round(unit.oa_minimum_cfm), "cfm",
                             f.source("outdoor_air.minimum_cfm")))  # fmt: skip
    if f.economizer:
        e = project.economizer
        if e.type in ("fixed_dry_bulb", "fixed_enthalpy", "differential_enthalpy"):
            found.append(_number("S_ECO_LIMIT", "Outdoor temperature above which the economizer stays shut",
                                 e.high_limit_f, "degF", f.source("economizer.high_limit_f")))  # fmt: skip
        if e.type == "fixed_enthalpy":
            found.append(_small("S_ECO_ENTHALPY", "Outdoor enthalpy above which the economizer stays shut",
                                e.high_limit_btu_lb, "Btu/lb", f.source("economizer.high_limit_btu_lb")))  # fmt: skip
    if f.heating_mode == "own_setpoint":
        found.append(_number("S_HEAT", "Air leaving the heating coil", project.air_handler.supply_heating_setpoint_f,
                             "degF", f.source("air_handler.supply_heating_setpoint_f")))  # fmt: skip
    found.append(_number("S_FREEZE", "Mixed air below which an alarm is given; safety cut-outs stay as they are",
                         project.air_handler.freeze_limit_f, "degF",
                         f.source("air_handler.freeze_limit_f")))  # fmt: skip
    if f.direct_expansion:
        found += [
            _number("S_DX_LOCKOUT", "Outdoor temperature below which compressors stay off", project.cooling.lockout_f,
                    "degF", f.source("cooling.lockout_f")),
            _number("S_DX_FLOW", "Least supply airflow with compressors on",
                    round(project.cooling.dx_minimum_flow_frac * unit.design_cfm), "cfm",
                    f.source("cooling.dx_minimum_flow_frac") + ", of the design airflow"),
        ]  # fmt: skip
    return found


def _upkeep(f: Facts) -> list[Setpoint]:
    found = [
        _small("S_SENSOR", "Time for which a sensor may be out of its range before it counts as failed", SENSOR_MIN,
               "min", DECISION),
        _small("S_OVERRIDE", "Time after which an operator's override ends by itself", OVERRIDE_H, "h", DECISION),
    ]  # fmt: skip
    if f.sat_moves or f.dsp_moves:
        found += [
            _small("S_RAMP", "Time in which a setpoint moves to its fallback", RAMP_MIN, "min", DECISION),
            _small("S_RETURN", "Time for which a cause must be gone before the reset acts again", RETURN_MIN, "min",
                   DECISION),
        ]  # fmt: skip
    if reads_outdoor(f) or f.dsp.strategy == "airflow":
        found.append(_small("S_EVERY", "Longest time between two looks at what a setpoint follows", EVERY_MIN, "min",
                            DECISION))  # fmt: skip
    if reads_outdoor(f):
        found += [
            _small("S_FROZEN", "Time without a change of 0.1 degF after which the outdoor sensor counts as failed",
                   FROZEN_H, "h", DECISION),
        ]  # fmt: skip
    if f.listens:
        found += [
            _number("S_ZONE_LOW", "Zone temperature below which its sensor counts as failed", ZONE_LOW_F, "degF",
                    DECISION),
            _number("S_ZONE_HIGH", "Zone temperature above which its sensor counts as failed", ZONE_HIGH_F, "degF",
                    DECISION),
        ]  # fmt: skip
    low, high = f.sat_way.range(f.sat)
    if f.sat_moves:
        # Where the whole range is small, half of it.
        least, source = (FLAT_SAT_F, FLAT_SOURCE) if high - low > FLAT_SAT_F else (0.5 * (high - low), DECISION)
        found.append(_small("S_FLAT_SAT", "Supply setpoint that moves less than this in a month has no reset",
                            round(least, 2), "degF", source))  # fmt: skip
    low, high = f.dsp_way.range(f.dsp)
    if f.dsp_moves:
        least, source = (FLAT_DSP_INWC, FLAT_SOURCE) if high - low > FLAT_DSP_INWC else (0.5 * (high - low), DECISION)
        found.append(_small("S_FLAT_DSP", "Duct pressure setpoint that moves less than this in a month has no reset",
                            round(least, 3), "in. w.c.", source))  # fmt: skip
    return found


def reads_outdoor(f: Facts) -> bool:
    """Whether a setpoint that moves reads the outdoor temperature."""
    by_dsp = f.dsp_moves and f.dsp_loop is None and f.dsp.strategy != "airflow"
    return bool(f.sat_moves or by_dsp)


# ---------------------------------------------------------------- over outdoor temperature


def sat_range_f(f: Facts, oat_f, occupied: float = 1.0):
    """Least and most of the supply setpoint at outdoor temperatures, without the limit of humidity. Two arrays. "
    "[degF]"""
    low, high = f.sat_way.range(f.sat)
    top = high if f.cold_limit_f is None else min(high, f.cold_limit_f)
    oat = np.atleast_1d(np.asarray(oat_f, dtype=float))
    # Of all that rows have, strategies with a sequence of their own read these at a step.
    conditions = SimpleNamespace(oat_f=oat, occupied=np.full(oat.shape, occupied))
    rows = SimpleNamespace(unit=f.unit, conditions=conditions)
    return tuple(np.asarray(f.sat_way.of_step_f(f.sat, rows, loop, top), dtype=float) for loop in (low, high))


def dsp_range_inwc(f: Facts, x, occupied: float = 1.0):
    """Least and most of the duct pressure setpoint at outdoor temperatures (by airflow: % of design). [in. w.c.]"""
    at = np.atleast_1d(np.asarray(x, dtype=float))
    if f.dsp_way.listens:
        return tuple(np.full(at.shape, float(end)) for end in f.dsp_way.range(f.dsp))
    if f.dsp.strategy == "airflow":
        found = line(at, f.dsp.points)
        return found, found
    nobody = lambda: np.zeros((len(at), 1))
    rows = DspRows(
        unit=f.unit, oat_f=at, occupied=np.full(at.shape, occupied), requested_cfm=nobody, cooling_cfm=nobody
    )
    found = np.broadcast_to(f.dsp_way.setpoint_inwc(f.dsp, rows), at.shape)
    return found, found


def tables_of(f: Facts) -> list[Table]:
    """Setpoints over outdoor temperature, or airflow, at round steps and at every point of the line."""
    oat = f.results.weather.frame["oat_f"].to_numpy(dtype=float)
    low, high = _STEP_F * np.floor(oat.min() / _STEP_F), _STEP_F * np.ceil(oat.max() / _STEP_F)
    grid = set(np.arange(low, high + 1.0, _STEP_F))
    sat_x = grid | {x for x, _ in (f.sat.points or ())} if f.sat_loop is None else grid
    sat_x |= {x for x, _ in (f.sat.points_unoccupied or ())}
    if f.sat_loop is not None and f.seeker is None:
        sat_x |= {f.sat.oat_min_f, f.sat.oat_max_f}
    found = [_table("sat", "Supply air setpoint", "Outdoor temperature, degF", "degF", sorted(sat_x), sat_range_f, f)]
    if f.dsp.strategy == "airflow":
        x = sorted({*np.arange(0.0, 101.0, _STEP_PCT), *(x for x, _ in f.dsp.points)})
        label = "Supply airflow, % of design"
    else:
        x = sorted(grid | {x for x, _ in ((f.dsp.points or ()) if f.dsp_loop is None else ())})
        label = "Outdoor temperature, degF"
    found.append(_table("dsp", "Duct static pressure setpoint", label, "in. w.c.", x, dsp_range_inwc, f))
    return found


def _table(key: str, title: str, x_label: str, unit: str, x, ranges, f: Facts) -> Table:
    by_day, by_night = ranges(f, x), ranges(f, x, 0.0)
    differs = any(not np.allclose(day, night) for day, night in zip(by_day, by_night))
    rows = [
        Row(
            x=float(value),
            occupied=(float(by_day[0][k]), float(by_day[1][k])),
            unoccupied=(float(by_night[0][k]), float(by_night[1][k])) if differs else None,
        )
        for k, value in enumerate(x)
    ]
    # Of a run of rows that are alike the first and the last say it.
    alike = lambda k: all(
        rows[k].occupied == rows[other].occupied and rows[k].unoccupied == rows[other].unoccupied
        for other in (k - 1, k + 1)
    )
    kept = [row for k, row in enumerate(rows) if k in (0, len(rows) - 1) or not alike(k)]
    return Table(key=key, title=title, x_label=x_label, unit=unit, rows=tuple(kept))
