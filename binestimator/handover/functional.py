"""Functional tests of an option: steps, and what has to be seen, with the numbers of the project."""

from __future__ import annotations

import math

import numpy as np

from ..as_run.loops import moved
from ..as_run.settings import TrimRespond
from .facts import Facts
from .records import Names, Test
from .seeking import tests_of as seeking_tests
from .setpoints import (
    DSP_TOLERANCE_INWC,
    FLOW_TOLERANCE_PCT,
    OAT_TOLERANCE_F,
    SAT_TOLERANCE_F,
    SETPOINT_TOLERANCE_F,
    SETPOINT_TOLERANCE_INWC,
    degf,
    dsp_range_inwc,
    inwc,
    reads_outdoor,
    sat_range_f,
)


def tests_of(f: Facts, n: Names) -> list[Test]:
    """All functional tests, in the order in which they are done."""
    return [
        _sensors(f, n),
        *_changes(f, n),
        *_modes(f, n),
        *_requests(f, n),
        *_supply_air(f, n),
        *_duct_pressure(f, n),
        *_air_side(f, n),
        *_failures(f, n),
        *_last(f, n),
    ]


def _sensors(f: Facts, n: Names) -> Test:
    steps = [
        "Hold calibrated instruments beside the sensors of outdoor <P_OAT>, supply <P_SAT> and mixed air <P_MAT> and "
        "of duct pressure <P_DSP>, with the fan at a steady speed <P_FAN>.",
        "Note where each sensor is: outdoor in the shade and away from exhaust, duct pressure where it was.",
    ]
    passes = [
        f"Supply and mixed air within {degf(SAT_TOLERANCE_F)}, outdoor within {degf(OAT_TOLERANCE_F)}, duct pressure "
        f"within {inwc(DSP_TOLERANCE_INWC)} of the instrument.",
    ]
    if "P_FLOW" in n:
        steps.append("Traverse the supply duct at two airflows; compare with the station <P_FLOW>.")
        passes.append(
            f"Airflow within {100.0 * max(abs(f.dsp.flow_error_frac), 0.05):.0f} % of the traverse, as the estimate "
            "takes it, and 100 % of the reset at <S_FLOW_DESIGN>."
        )
    if f.project.outdoor_air.control != "position":
        steps.append("Measure outdoor airflow at its least and compare with its sensor <P_OA_FLOW>.")
        passes.append(f"Outdoor airflow within {FLOW_TOLERANCE_PCT:g} % of the measurement.")
    steps.append("Compare the dew point of return air <P_ROOM_DEW> with a hand instrument.")
    if "P_OA_DEW" in n:
        steps.append("Compare the outdoor dew point <P_OA_DEW> with a hand instrument.")
    passes.append(f"Dew points within {degf(2.0 * SAT_TOLERANCE_F)}.")
    return n.test("T_SENSORS", "Sensors, before anything else", steps, passes)


def _changes(f: Facts, n: Names) -> list[Test]:
    changes = f.changes()
    if not changes:
        return []
    values = {f"c{k}": f"{what}: from {was} to {new}" for k, (what, was, new) in enumerate(changes)}
    steps = ["Find each change on site and note what shows it, with a reading or a photograph:"]
    steps += [f"<c{k}>." for k in range(len(changes))]
    passes = ["Every change is there as listed; the zones hold the table of zones <S_ROOMS>."]
    if any(path == "economizer.stuck_frac" for path in f.c.candidate.overrides):
        steps.append("Command the outdoor-air damper <P_OA_DAMPER> to 0, 50 and 100 % and read mixed air <P_MAT>.")
        passes.append(
            "The blades follow each command within 5 %; at 100 % mixed air is within 2 degF of outdoor temperature "
            "<P_OAT>, at 0 % within 2 degF of return air."
        )
    return [n.test("T_CHANGES", "What else the option changes", steps, passes, **values)]


def _modes(f: Facts, n: Names) -> list[Test]:
    steps = [
        "Note the modes <P_MODE> of one week from the trend against <S_HOURS>.",
        "Stop the fan in occupied mode, wait until it stands, start it again; watch fan speed <P_FAN> and both "
        "setpoints <P_SAT_SET>, <P_DSP_SET>.",
    ]
    passes = [
        "The modes follow the schedule within 5 minutes.",
        "The fan starts at <S_FAN_LEAST> and duct pressure never passes its setpoint by more than 0.5 in. w.c.",
    ]
    for part, loop in (("SAT", f.sat_loop), ("DSP", f.dsp_loop)):
        if loop is None:
            continue
        if "S_SAT_START" not in n and part == "SAT":
            passes.append("The supply air loop is where it stopped until <S_SAT_DELAY> after the start.")
            continue
        # With one request more where the start is an end of the range, from which nothing would move.
        move = lambda requests, loop=loop: float(moved(loop, np.array([loop.start]), np.array([requests]))[0])
        more = 1.0 if move(loop.ignored) == loop.start else 0.0
        first = move(loop.ignored + more)
        passes.append(
            f"The {'supply air' if part == 'SAT' else 'pressure'} loop is at <S_{part}_START> until <S_{part}_DELAY> "
            f"after the start; with requests forced to {loop.ignored + more:g} (ignored: <S_{part}_IGNORED>) its "
            f"first move is to {first:.2f} {'degF' if part == 'SAT' else 'in. w.c.'}."
        )
    tests = [n.test("T_START", "Modes and start-up", steps, passes)]
    if f.setback:
        steps = [
            "On a morning with outdoor temperature <P_OAT> below 50 degF read the trend of the warm-up; else raise "
            "the heating setpoints <P_Z_COOL> of most zones before occupancy.",
            "At night raise the unoccupied heating setpoint of one zone above its temperature <P_Z_TEMP>, then set it "
            "back.",
            "On a morning after a hot night, or with cooling setpoints lowered before occupancy, read the cool-down.",
        ]
        passes = [
            "Warm-up lasts no longer than <S_WARMUP> and ends when zones are at their setpoints <S_ROOMS>.",
            "Least outdoor air is shut in warm-up and setback; requests for colder air count for nothing; the "
            "setpoint <P_SAT_SET> "
            + ("is <S_NIGHT_SAT> in heating" if "S_NIGHT_SAT" in n else "is not moved by a reset")
            + (f", and in cool-down {'<S_SAT_FALLBACK>' if 'S_SAT_FALLBACK' in n else 'that of occupied hours'}."),
        ]
        if "S_NIGHT_DSP" in n:
            passes.append("Duct pressure is at <S_NIGHT_DSP> in all three.")
        tests.append(n.test("T_NIGHT", "Warm-up, cool-down and setback", steps, passes))
    return tests


def _heard_zone(f: Facts, column: str) -> str:
    """Zone line that asks most and is heard, for tests on one zone."""
    heard = f.unit.zones.weight > 0.0
    asked = np.where(heard, f.c.zones[column].to_numpy(dtype=float), -1.0)
    return str(f.unit.zones.names[int(np.argmax(asked))])


def _requests(f: Facts, n: Names) -> list[Test]:
    tests = []
    if f.sat_way.listens:
        name = _heard_zone(f, "temperature_request_hours")
        tests.append(
            n.test(
                "T_ASK_T",
                "Requests for colder air",
                [
                    "Choose a zone that is satisfied, with importance above 0 (<zone> asks most as estimated), and "
                    "note its cooling setpoint <P_Z_COOL> and the sum of requests <P_ASK_T>.",
                    "Lower the setpoint until it is 1, then 3.5, then 5.5 degF below the zone's temperature "
                    "<P_Z_TEMP>, each for 10 minutes; watch its cooling loop <P_Z_LOOP> and requests <P_Z_ASK_T>.",
                    "Set the setpoint back; watch the loop fall.",
                    "Set the zone's importance <S_IMPORTANCE> to 0, then to 2, then back, while it asks.",
                ],
                [
                    "At 1 degF one request, once the loop is above <S_LOOP_ASK>, held until it is below "
                    "<S_LOOP_RELEASE>.",
                    "At 3.5 degF two (beyond <S_WARM_2>), at 5.5 degF three (beyond <S_WARM_3>).",
                    "The sum changes by requests times importance: by nothing at 0, by twice the requests at 2.",
                ],
                zone=name,
            )
        )
    if f.dsp_way.listens:
        name = _heard_zone(f, "pressure_request_hours")
        tests.append(
            n.test(
                "T_ASK_P",
                "Requests for duct pressure",
                [
                    "Choose a terminal far from the fan (<zone> asks most as estimated); note its airflow and "
                    "setpoint <P_Z_FLOW>, damper <P_Z_DAMPER> and the sum of requests <P_ASK_P>.",
                    "Raise its airflow setpoint in steps until the damper passes <S_DAMPER_ASK>.",
                    "Raise it until the airflow is below <S_FLOW_2>, then below <S_FLOW_3> of the setpoint; watch its "
                    "requests <P_Z_ASK_P>.",
                    "Set it back; watch the damper close.",
                    "Set the zone's importance <S_IMPORTANCE> to 0, then to 2, then back, while it asks.",
                ],
                [
                    "One request once the damper is above <S_DAMPER_ASK>, held until it is below <S_DAMPER_RELEASE>.",
                    "Two below <S_FLOW_2>, three below <S_FLOW_3> of the airflow setpoint.",
                    "The sum changes by requests times importance: by nothing at 0, by twice the requests at 2.",
                ],
                zone=name,
            )
        )
    if f.listens:
        tests.append(
            n.test(
                "T_ACCOUNT",
                "Account of requests and alarm of a rogue zone",
                [
                    "Let one zone ask by force for an hour; read its request-hours.",
                    "Set its request-hours and hours by hand beyond <S_ROGUE_PCT> at more than <S_ROGUE_LEAST>.",
                    "Set its hours by hand to just below <S_ROGUE_RESET> and wait.",
                ],
                [
                    "Request-hours grow by requests times one hour.",
                    "The alarm of rogue zones comes, names the zone, and not while its importance <S_IMPORTANCE> is 0.",
                    "Both counts begin anew at <S_ROGUE_RESET>.",
                ],
            )
        )
    return tests


def _move_test(n: Names, part: str, loop: TrimRespond, what: str) -> Test:
    """Arithmetic of trim and respond: expected setpoints after moves with forced sums of requests."""
    middle = 0.5 * (loop.low + loop.high)
    digits = 2 if part == "SAT" else 3
    unit = "degF" if part == "SAT" else "in. w.c."
    say = lambda value: f"{value:.{digits}f} {unit}"
    after = lambda requests: say(float(moved(loop, np.array([middle]), np.array([float(requests)]))[0]))
    # Near enough to tell a move from none, and one move from another.
    tolerance = say(0.25 * min(abs(loop.trim), abs(loop.respond)))
    one = loop.ignored + 1.0
    many = loop.ignored + math.ceil(abs(loop.respond_most) / abs(loop.respond)) + 2.0
    trims = math.ceil((loop.high - loop.low) / abs(loop.trim))
    toward, away = ("warmest", "coldest") if part == "SAT" else ("lowest", "highest")
    ends = {"SAT": ("<S_SAT_MAX>", "<S_SAT_MIN>"), "DSP": ("<S_DSP_MIN>", "<S_DSP_MAX>")}[part]
    sums = "<P_ASK_T>" if part == "SAT" else "<P_ASK_P>"
    return n.test(
        f"T_{part}_MOVE",
        f"{what}: moves of the request loop",
        [
            f"In occupied mode set the loop to {say(middle)} and force the sum of requests {sums} for one move each "
            f"to {loop.ignored:g} (those ignored, <S_{part}_IGNORED>), {one:g} and {many:g}, from {say(middle)} each "
            "time.",
            f"Force the sum to 0 for {trims} moves ({trims * loop.step_min:g} minutes), then to {many:g} until the "
            "loop stands.",
        ],
        [
            f"With {loop.ignored:g} requests to {after(loop.ignored)} (trim <S_{part}_TRIM>); with {one:g} to "
            f"{after(one)} (response <S_{part}_RESPOND>); with {many:g} to {after(many)} (no more than "
            f"<S_{part}_MOST>); each within {tolerance}.",
            f"One move every <S_{part}_STEP>.",
            f"It ends at the {toward} {ends[0]} and at the {away} {ends[1]} and passes neither.",
        ],
    )


def _supply_air(f: Facts, n: Names) -> list[Test]:
    tests, tolerance = [], degf(SETPOINT_TOLERANCE_F)
    if f.seeker is not None:
        tests += seeking_tests(f, n)
    elif f.sat_loop is not None:
        tests.append(_move_test(n, "SAT", f.sat_loop, "Supply air"))
        low, high = f.sat.oat_min_f, f.sat.oat_max_f
        at = [low - 5.0, 0.5 * (low + high), high + 5.0]
        most = sat_range_f(f, at)[1]
        said = ", ".join(f"{degf(y)} at {x:g} degF" for x, y in zip(at, most))
        tests.append(
            n.test(
                "T_SAT_SET",
                "Supply air: envelope of the outdoor temperature",
                [
                    "Force the loop to its warmest <S_SAT_MAX>.",
                    f"Force outdoor temperature <P_OAT> to {at[0]:g}, {at[1]:g} and {at[2]:g} degF, each for at least "
                    "<S_EVERY>; read the setpoint <P_SAT_SET>.",
                    "Release both.",
                ],
                [
                    f"The setpoint is {said}, each within {tolerance}.",
                    "At and below <S_SAT_OAT_LOW> it is what the loop gives, at and above <S_SAT_OAT_HIGH> the "
                    "coldest <S_SAT_MIN>.",
                ],
            )
        )
    elif "S_SAT_LINE" in n:
        tests.append(_line_test(f, n, "SAT"))
    else:
        tests.append(
            n.test(
                "T_SAT_SET",
                "Supply air: the setpoint is held",
                ["Read the setpoint <P_SAT_SET> in the trend of two weeks and at three times by hand."],
                [f"It is <S_SAT> within {tolerance} in all occupied hours; nothing else writes it."],
            )
        )
    if "S_SAT_COLD" in n:
        tests.append(
            n.test(
                "T_SAT_COLD",
                "Supply air: rooms that must stay cold",
                [
                    "Let the reset ask for its warmest supply air (force outdoor temperature <P_OAT>, or requests, as "
                    "above); read the setpoint <P_SAT_SET> and those rooms <P_Z_TEMP> after two hours.",
                ],
                [
                    f"The setpoint is no warmer than <S_SAT_COLD>, within {tolerance}.",
                    "No such room is above its cooling setpoint by more than 1 degF; its own alarm is in service.",
                ],
            )
        )
    if f.humidity == "outdoor_dewpoint":
        low, high = f.sat_way.range(f.sat)
        half = 0.5 * (low + high)
        tests.append(
            n.test(
                "T_DEW",
                "Supply air: limit by outdoor dew point",
                [
                    "Let the reset ask for its warmest supply air (force outdoor temperature or requests).",
                    "Force outdoor dew point <P_OA_DEW> to the low value, half way, and to the high value; read the "
                    "setpoint <P_SAT_SET>.",
                ],
                [
                    f"At <S_DEW_LOW> no lower than without the limit; half way no warmer than {degf(half)}; at "
                    f"<S_DEW_HIGH> {degf(low)}; each within {tolerance}.",
                ],
            )
        )
    if f.humidity == "room_dewpoint":
        low, high = f.sat_way.range(f.sat)
        tests.append(
            n.test(
                "T_DEW",
                "Supply air: limit by room dew point",
                [
                    "Let the reset ask for its warmest supply air (force outdoor temperature or requests).",
                    "Force the dew point of return air <P_ROOM_DEW> to 5 degF below <S_ROOM_DEW>, to half of "
                    "<S_ROOM_DEW_BAND> below it, and to 1 degF above it; read the setpoint <P_SAT_SET>.",
                    "In humid weather read the true dew point in three rooms by hand.",
                ],
                [
                    f"At 5 degF below: not lowered. At half of the band: no warmer than {degf(0.5 * (low + high))}. "
                    f"Above: {degf(low)}. Each within {tolerance}.",
                    "No room is above <S_ROOM_DEW> for more than an hour of occupied mode.",
                ],
            )
        )
    outputs = "".join((", <P_HEAT>" if "P_HEAT" in n else "", ", <P_COOL>" if "P_COOL" in n else ""))
    tests.append(
        n.test(
            "T_SAT_HOLD",
            "Supply air: held, without heating and cooling at once",
            [
                "Override the setpoint <P_SAT_SET> by 3 degF up, then down; watch supply air <P_SAT>, mixed air "
                f"<P_MAT> and outputs <P_OA_DAMPER>{outputs} for 20 minutes each.",
                *(["Read the air leaving the heating coil in cold weather."] if "S_HEAT" in n else []),
            ],
            [
                f"Supply air is within {degf(SAT_TOLERANCE_F)} of the setpoint within 15 minutes and does not swing "
                "by more than that" + (" beyond a stage of compressors" if f.direct_expansion else "") + ".",
                "Heating and cooling are never both above 5 %"
                + ("; cooling does not start before the economizer is open." if f.economizer else "."),
                *(["The heating coil holds <S_HEAT> and no more."] if "S_HEAT" in n else []),
            ],
        )
    )
    return tests


def _line_test(f: Facts, n: Names, part: str) -> Test:
    """Setpoints of a line at, between and beyond its points."""
    sat = part == "SAT"
    record = f.sat if sat else f.dsp
    points = [x for x, _ in record.points]
    by_flow = "S_FLOW_DESIGN" in n and not sat
    beyond = 10.0
    at = sorted({points[0] - beyond, *points[:6], *(0.5 * (a + b) for a, b in zip(points[:6], points[1:6])),
                 points[-1] + beyond})  # fmt: skip
    if by_flow:
        at = [x for x in at if 0.0 <= x <= 110.0]
    found = (sat_range_f if sat else dsp_range_inwc)(f, at)[1]
    digits, unit = (degf, "degF") if sat else (inwc, "%" if by_flow else "degF")
    tolerance = degf(SETPOINT_TOLERANCE_F) if sat else inwc(SETPOINT_TOLERANCE_INWC)
    said = ", ".join(f"{digits(y)} at {x:g} {unit}" for x, y in zip(at, found))
    read = "supply airflow <P_FLOW>, in % of <S_FLOW_DESIGN>," if by_flow else "outdoor temperature <P_OAT>"
    moves = f.sat_moves if sat else f.dsp_moves
    wait = " each for at least <S_EVERY>;" if moves else " each for 10 minutes;"
    what = "Supply air" if sat else "Duct pressure"
    steps = [
        f"In occupied mode force {read} to {', '.join(f'{x:g}' for x in at)} {unit},{wait} read the setpoint "
        f"<P_{part}_SET>.",
    ]
    if sat and f.humidity != "none":
        steps.insert(0, "Choose a dry day, or force the dew point low, so that the limit of humidity does not act.")
    passes = [f"The setpoint is {said}, each within {tolerance}: <S_{part}_LINE>."]
    if f"S_{part}_NIGHT" in n:
        steps.append("The same in unoccupied running.")
        night = (sat_range_f if sat else dsp_range_inwc)(f, at, 0.0)[1]
        said = ", ".join(f"{digits(y)} at {x:g} {unit}" for x, y in zip(at, night))
        passes.append(f"Unoccupied: {said}: <S_{part}_NIGHT>.")
    return n.test(f"T_{part}_SET", f"{what}: setpoint over {'airflow' if by_flow else 'outdoor temperature'}", steps,
                  passes)  # fmt: skip


def _duct_pressure(f: Facts, n: Names) -> list[Test]:
    tests, tolerance = [], inwc(SETPOINT_TOLERANCE_INWC)
    low, high = f.dsp_way.range(f.dsp)
    if f.dsp_loop is not None:
        tests.append(_move_test(n, "DSP", f.dsp_loop, "Duct pressure"))
    elif "S_DSP_LINE" in n:
        tests.append(_line_test(f, n, "DSP"))
    else:
        tests.append(
            n.test(
                "T_DSP_SET",
                "Duct pressure: the setpoint is held",
                ["Read the setpoint <P_DSP_SET> in the trend of two weeks and at three times by hand."],
                [f"It is <S_DSP> within {tolerance} while the fan runs; nothing else writes it."],
            )
        )
    tests.append(
        n.test(
            "T_DSP_HOLD",
            "Duct pressure: held by the fan",
            [
                "Override the setpoint <P_DSP_SET> by 0.3 in. w.c. up, then back; watch duct pressure <P_DSP> and fan "
                "speed <P_FAN> for 10 minutes each.",
                "Note fan power <P_FAN_KW> before, with the higher setpoint, and after.",
            ],
            [
                f"Duct pressure is within {inwc(DSP_TOLERANCE_INWC)} of the setpoint within 3 minutes and does not "
                "swing by more than that; no damper hunts.",
                "Fan power rises and falls with pressure. At <S_FAN_LEAST> the fan stays, and pressure may be above "
                "its setpoint.",
            ],
        )
    )
    tests.append(
        n.test(
            "T_DSP_HIGH",
            "Duct pressure: enough at the high end",
            [
                f"Hold duct pressure at {inwc(high)} and command all terminals to their largest airflow, as far as "
                "the fan gives it. Note the fan speed <P_FAN>: it is the speed of a failed pressure sensor.",
            ],
            [
                f"The terminal that needs most is at its largest airflow <P_Z_FLOW> within {FLOW_TOLERANCE_PCT:g} % "
                "with its damper <P_Z_DAMPER> nearly open; if not, the highest setpoint is too low and goes back to "
                "whoever made the estimate.",
            ],
        )
    )
    zone_minimums = "table of zones <S_ROOMS>"
    position = f.project.outdoor_air.control == "position"
    oa = "<S_OA_POSITION>" if position else "<S_OA_MIN>"
    warm = sat_range_f(f, f.results.weather.frame["oat_f"].to_numpy(dtype=float))[1].max()
    tests.append(
        n.test(
            "T_LOW",
            "Ventilation and pressures between rooms at the low end",
            [
                f"Hold duct pressure at {inwc(low)} and supply air at {degf(float(warm))}, with zones satisfied.",
                "Read airflow of every terminal <P_Z_FLOW>, outdoor "
                + ("air by traverse or by temperatures <P_MAT>" if position else "airflow <P_OA_FLOW>")
                + ", and the pressure of the building and of rooms with a required pressure by hand.",
                "Repeat half way and at the high end.",
            ],
            [
                f"Each terminal passes at least its least airflow ({zone_minimums}) within {FLOW_TOLERANCE_PCT:g} %.",
                f"Outdoor air is at least {oa} within {FLOW_TOLERANCE_PCT:g} %, and what the local code asks for.",
                "The building stays at its pressure to outdoors, doors close, and every room with a required pressure "
                "keeps it.",
            ],
        )
    )
    return tests


def _air_side(f: Facts, n: Names) -> list[Test]:
    tests = []
    if f.economizer:
        shuts = " and ".join(
            text
            for id_, text in (
                ("S_ECO_LIMIT", "<S_ECO_LIMIT> outdoors"),
                ("S_ECO_ENTHALPY", "<S_ECO_ENTHALPY>"),
            )
            if id_ in n
        )
        compared = " and ".join(p for p in ("<P_OA_ENTHALPY>", "<P_RETURN>") if p[1:-1] in n)
        tests.append(
            n.test(
                "T_ECO",
                "Economizer with the reset",
                [
                    "Force outdoor conditions to 2 beyond and 2 below where it shuts "
                    f"({shuts or 'those of return air'}{', reading ' + compared if compared else ''}).",
                    "In mild weather let the supply setpoint <P_SAT_SET> rise by 3 degF by its reset; watch the "
                    "damper <P_OA_DAMPER>, mixed air <P_MAT>" + (" and cooling <P_COOL>." if "P_COOL" in n else "."),
                ],
                [
                    "Beyond, outdoor air is at its least; below, the damper follows the need.",
                    "Mixed air follows the setpoint, less the warmth of the fan, within 2 degF; cooling is off while "
                    "the damper has room to open"
                    + ("." if f.project.economizer.integrated else ", and while it is open."),
                ],
            )
        )
    if f.direct_expansion:
        tests.append(
            n.test(
                "T_DX",
                "Direct expansion at low airflow",
                [
                    "Force outdoor temperature <P_OAT> below the lockout; then let supply airflow fall to the low end "
                    "with one stage on; watch stages <P_COOL> and suction pressure.",
                ],
                [
                    "No compressor runs below <S_DX_LOCKOUT> or below <S_DX_FLOW>; run and rest times are kept; the "
                    "coil does not freeze.",
                ],
            )
        )
    tests.append(
        n.test(
            "T_FREEZE",
            "Cold mixed air",
            [
                "Force mixed air <P_MAT> to 1 degF below the limit at the controller; never freeze a coil for a test.",
                "Have the cut-out <P_CUTOUT> tripped at its own terminals by whoever is trained for it.",
            ],
            [
                "Below <S_FREEZE> the alarm comes and the outdoor-air damper goes to its least position.",
                "The cut-out stops the fan and acts as before the change, whatever the setpoints are.",
            ],
        )
    )
    return tests


def _failures(f: Facts, n: Names) -> list[Test]:
    steps = ["One after the other, take the sensor off its terminals (or force it out of range), and put it back:"]
    passes = ["Each alarm comes after <S_SENSOR> and names the sensor."]
    if reads_outdoor(f):
        steps.append("Outdoor temperature <P_OAT>; then hold it at one value by force for longer than <S_FROZEN>.")
    steps += ["Supply air temperature <P_SAT>.", "Duct pressure <P_DSP>, with a person at the fan."]
    if "P_FLOW" in n:
        steps.append("Supply airflow <P_FLOW>.")
    for dew in ("P_OA_DEW", "P_ROOM_DEW"):
        if (dew == "P_OA_DEW" and dew in n) or (dew == "P_ROOM_DEW" and f.humidity == "room_dewpoint"):
            steps.append(f"Dew point <{dew}>.")
    if f.listens:
        steps.append("One zone sensor <P_Z_TEMP>; then the data of more than <S_OFFLINE> of the zones at once.")
        passes.append(
            "A zone without data, below <S_ZONE_LOW> or above <S_ZONE_HIGH>, sends no request; beyond <S_OFFLINE> the "
            "reset falls back."
        )
    if f.sat_moves:
        passes.append("Supply air goes to <S_SAT_FALLBACK> where its clause says so.")
    if f.dsp_moves:
        passes.append("Duct pressure goes to <S_DSP_FALLBACK> where its clause says so.")
    if f.sat_moves or f.dsp_moves:
        passes.append("It gets there within <S_RAMP>; with the sensor back the reset acts again after <S_RETURN>.")
    passes.append("With the pressure sensor off, the fan stands at the speed noted in T_DSP_HIGH.")
    return [n.test("T_FAIL", "Failure of sensors, and fallbacks", steps, passes)]


def _last(f: Facts, n: Names) -> list[Test]:
    steps = [
        "Override both setpoints <P_SAT_SET>, <P_DSP_SET> by hand; wait.",
        "Read the log of overrides <P_OVERRIDE>.",
    ]
    passes = ["Both go back after <S_OVERRIDE>; the log has name, time and reason."]
    tests = [n.test("T_OVERRIDE", "Overrides end by themselves", steps, passes)]
    steps = ["Trend all points of the list for two to four weeks that have warm, mild and cool days."]
    passes = ["No gaps longer than an hour; every point moves that should."]
    if f.sat_moves:
        passes.append("The supply setpoint <P_SAT_SET> moves by more than <S_FLAT_SAT>.")
    if f.dsp_moves:
        passes.append("The pressure setpoint <P_DSP_SET> moves by more than <S_FLAT_DSP>.")
    passes += [
        "Zones <P_Z_TEMP> are above their cooling or below their heating setpoints <P_Z_COOL> by more than "
        f"{f.project.service.unmet_tolerance_f:g} degF no more than before the change.",
        "Means by outdoor temperature are near the table of what the estimate expects (monthly check).",
    ]
    if f.reheats:
        passes.append("Reheat <P_Z_HEAT> is open in fewer hours than before, or in no more.")
    tests.append(n.test("T_TREND", "Trend of the first weeks", steps, passes))
    tests.append(
        n.test(
            "T_REVERSE",
            "Reversal, tried once",
            [
                'Restore the values of the column "as found" in one go, as under "How to reverse it"; note how long it '
                "takes; then put the new ones back.",
            ],
            [
                "An operator can do it alone within 15 minutes; setpoints <P_SAT_SET> and <P_DSP_SET> are those as "
                "found."
            ],
        )
    )
    return tests
