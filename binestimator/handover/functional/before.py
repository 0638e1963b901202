"""Tests that come before anything is reset: sensors, changes, modes and start-up."""

from __future__ import annotations

import numpy as np

from ...as_run.loops import moved
from ..facts import Facts
from ..records import Names, Test
from ..setpoints import DSP_TOLERANCE_INWC, FLOW_TOLERANCE_PCT, OAT_TOLERANCE_F, SAT_TOLERANCE_F, degf, inwc


def sensor_test(f: Facts, n: Names) -> Test:
    """Sensors beside calibrated instruments."""
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


def change_tests(f: Facts, n: Names) -> list[Test]:
    """What the option changes besides setpoints; no test where it changes nothing."""
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


def mode_tests(f: Facts, n: Names) -> list[Test]:
    """Modes and start-up; night operation where the unit has it."""
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
