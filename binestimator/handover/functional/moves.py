"""Tests of a setpoint that moves: arithmetic of a request loop, points of a line."""

from __future__ import annotations

import math

import numpy as np

from ...as_run.loops import moved
from ...as_run.settings import TrimRespond
from ..facts import Facts
from ..records import Names, Test
from ..setpoints import SETPOINT_TOLERANCE_F, SETPOINT_TOLERANCE_INWC, degf, dsp_range_inwc, inwc, sat_range_f


def move_test(n: Names, part: str, loop: TrimRespond, what: str) -> Test:
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


def line_test(f: Facts, n: Names, part: str) -> Test:
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
