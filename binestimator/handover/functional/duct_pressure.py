"""Tests of the duct pressure setpoint, how it is held, and of both ends of its range."""

from __future__ import annotations

from ..facts import Facts
from ..records import Names, Test
from ..setpoints import DSP_TOLERANCE_INWC, FLOW_TOLERANCE_PCT, SETPOINT_TOLERANCE_INWC, degf, inwc, sat_range_f
from .moves import line_test, move_test


def duct_pressure_tests(f: Facts, n: Names) -> list[Test]:
    """How the setpoint moves, that it is held, and that it is enough at both ends."""
    tests, tolerance = [], inwc(SETPOINT_TOLERANCE_INWC)
    low, high = f.dsp_way.range(f.dsp)
    if f.dsp_loop is not None:
        tests.append(move_test(n, "DSP", f.dsp_loop, "Duct pressure"))
    elif "S_DSP_LINE" in n:
        tests.append(line_test(f, n, "DSP"))
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
