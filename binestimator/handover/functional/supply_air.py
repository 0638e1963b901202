"""Tests of the supply air setpoint, its limits, and how it is held."""

from __future__ import annotations

from ..facts import Facts
from ..records import Names, Test
from ..seeking import tests_of as seeking_tests
from ..setpoints import SAT_TOLERANCE_F, SETPOINT_TOLERANCE_F, degf, sat_range_f
from .moves import line_test, move_test


def supply_air_tests(f: Facts, n: Names) -> list[Test]:
    """How the setpoint moves, what limits it, and that it is held."""
    tests, tolerance = [], degf(SETPOINT_TOLERANCE_F)
    if f.seeker is not None:
        tests += seeking_tests(f, n)
    elif f.sat_loop is not None:
        tests.append(move_test(n, "SAT", f.sat_loop, "Supply air"))
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
        tests.append(line_test(f, n, "SAT"))
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
